"""What to set for the next piece, so that it comes out as drawn: stops, turns and marks less what was off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import radians

from converter.bending.setup.machine_steps import stop_to_step, to_step, wrapped
from converter.bending.setup.setup import Setup, Step
from converter.comparison.differences import Comparison
from converter.model.bends import BendTable
from converter.reducer.refit import on_radii
from converter.shop.model import Shop


@dataclass(frozen=True, slots=True)
class NextStep:
    """One bend in the order made. Lengths mm, angles degrees.

    Attributes:
        bend: its number in the bend table, from end A.
        stop, stop_next: as it was set and as it is to be, to the machine's step; None where the angle that came out
            is too far off to tell.
        turns, turns_next: the tube's turns up to this bend, in all, the same way.
        mark, mark_next: along the stick as cut, from the end fed first.
    """

    bend: int
    stop: float
    stop_next: float | None
    turns: float
    turns_next: float
    mark: float
    mark_next: float


def intended_table(setup: Setup) -> BendTable:
    """The tube as its set-up makes it, where nothing is off: at the radius after springback, its corners as drawn.

    Args:
        setup: with its bends; without any the drawn table is what is intended.
    """
    drawn = setup.tube.run.table
    if not setup.steps:
        return drawn
    by_bend = {step.bend: step for step in setup.steps}
    first, other = ("A", "B") if setup.feed_from == "A" else ("B", "A")
    along = sorted(setup.steps, key=lambda step: step.start)
    ends = [setup.extra(first) + setup.cuts.change(first)]
    for step in along:
        ends += [step.start, step.start + step.stick]
    ends.append(setup.stick_length - setup.extra(other) - setup.cuts.change(other))
    straights = [ends[i + 1] - ends[i] for i in range(0, len(ends), 2)]
    if setup.feed_from == "B":
        straights.reverse()
    bends = tuple(
        replace(bend, feed=straight, clr=by_bend[i].radius)
        for i, (bend, straight) in enumerate(zip(drawn.bends, straights, strict=False), 1)
    )
    return BendTable(bends, straights[-1])


def opened_radius(step: Step, angle: float, stop: float | None = None) -> float:
    """Centerline radius, mm, of a bend that came out at another angle than the one wanted.

    Springback keeps the length of the arc (`converter.bending.setup.shape`), which is the die's radius times what the
    stop drove it.

    Args:
        step: of the set-up.
        angle: that came out, degrees, above 0.
        stop: degrees that it was set to, where not as the set-up says.
    """
    further = 0.0 if stop is None or step.die is None else step.die.clr * radians(stop - step.stop)
    arc = max(step.radius * radians(step.target) + further, 0.0)
    return arc / radians(angle)


def next_piece(found: Comparison, setup: Setup, shop: Shop, stops: Mapping[int, float] | None = None) -> list[NextStep]:
    """The set-up of the next piece.

    A stop moves by the springback law's own slope: what was set, and the stops for the angle wanted and the one that
    came out apart. A turn takes back by how much the planes are off, a mark by how much the straights
    before it are off what the set-up means them to be. Straights are those between the corners that were measured, at
    the radius that springback opens: a file of a made tube often bears the die's radius, or a fitted one.

    Args:
        found: the made tube against the drawn one.
        setup: by which it was made.
        shop: whose machine has the steps.
        stops: of bends that were set otherwise: number of the bend -> degrees.
    """
    planes, total = [], 0.0
    for difference in found.bends:
        total += difference.rotation
        planes.append(total)
    stops = stops or {}
    angles = [max(bend.angle, 1e-6) for bend in found.measured.bends]
    opened = {step.bend - 1: opened_radius(step, angles[step.bend - 1], stops.get(step.bend)) for step in setup.steps}
    made, meant = on_radii(found.measured, opened)[0].straights, intended_table(setup).straights
    slips = [one - other for one, other in zip(made, meant, strict=True)]
    sense = 1.0 if setup.feed_from == "A" else -1.0
    first = planes[setup.steps[0].bend - 1] if setup.steps else 0.0
    rows = []
    for step in setup.steps:
        i = step.bend - 1
        stop = stops.get(step.bend, step.stop_set)
        came_out = step.target + found.bends[i].angle
        wanted = stop + step.springback.stop(step.target) - step.springback.stop(max(came_out, 1e-6))
        turns = wrapped(step.total + sense * (planes[i] - first))
        # the straights between the end fed first and this bend
        before = slips[: i + 1] if setup.feed_from == "A" else slips[i + 1 :]
        rows.append(
            NextStep(
                step.bend,
                stop,
                None if wanted <= 0.0 else stop_to_step(wanted, shop.machine.stop_step, shop.greatest_angle(step.die)),
                step.total_set,
                to_step(turns, shop.machine.turn_step),
                step.mark,
                step.mark - sum(before),
            )
        )
    return rows
