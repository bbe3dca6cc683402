"""Checks of the bend angle against what the die and the machine can turn."""

from __future__ import annotations

from collections.abc import Iterator

from converter.audit.registry import check
from converter.audit.subject import Subject
from converter.findings import Finding

#: Degrees; a half circle drawn with rounded ends is still 180.
SLACK = 0.01


@check
def angle_reached(subject: Subject) -> Iterator[Finding]:
    """The die and the machine turn as far as the bend does."""
    shop = subject.bench.shop
    for i, bend in enumerate(subject.bends):
        die = subject.die_at(i)
        of_die = None if die is None else die.max_angle
        of_machine = shop.machine.max_angle
        if (of_die is None or bend.angle <= of_die + SLACK) and (
            of_machine is None or bend.angle <= of_machine + SLACK
        ):
            continue
        limit = shop.greatest_angle(die)
        who = f"the die {die.name!r}" if die is not None and limit == of_die else "the machine"
        yield subject.finding(
            "angle-too-great",
            f"bend {i + 1} turns {subject.angle(bend.angle)}; {who} turns up to {subject.angle(limit or 0.0)}",
            i,
            measured=bend.angle,
            limit=limit,
            unit="deg",
            cure="Split the bend into two with a straight between, or use a die and a machine that turn further.",
        )
