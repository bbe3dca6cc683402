"""Whether one set-up is another with every turn the other way."""

from __future__ import annotations

from converter.bending.setup.setup import Setup, Step
from converter.geometry.vectors import within_half_turn

#: mm and degrees within which two set-ups are made alike: less than a mark or a stop is set to.
_LENGTH, _ANGLE = 0.1, 0.02


def mirrored(one: Setup, other: Setup) -> bool:
    """Whether the same bends are made in the same order at the same marks to the same stops, turned the other way."""
    if (one.feed_from, one.coped, len(one.steps)) != (other.feed_from, other.coped, len(other.steps)):
        return False
    if bool(one.plan.lacks) != bool(other.plan.lacks):
        return False
    ends = zip(
        (one.stick_length, one.extra_a, one.extra_b), (other.stick_length, other.extra_a, other.extra_b), strict=True
    )
    return all(abs(a - b) <= _LENGTH for a, b in ends) and all(map(_mirrored_step, one.steps, other.steps))


def _mirrored_step(one: Step, other: Step) -> bool:
    if (one.bend, one.die, one.inverted) != (other.bend, other.die, other.inverted):
        return False
    turn = within_half_turn(one.roll + other.roll)
    return abs(one.mark - other.mark) <= _LENGTH and abs(one.stop - other.stop) <= _ANGLE and abs(turn) <= _ANGLE
