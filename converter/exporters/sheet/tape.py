"""The stick as a ruler: where everything on it lies, from either end and from what comes before it."""

from __future__ import annotations

from dataclasses import dataclass

from converter.bending.setup.setup import Setup
from converter.bending.setup.words import SetupView
from converter.units import BothUnits, Display


@dataclass(frozen=True, slots=True)
class TapeRow:
    """One place on the stick.

    Attributes:
        what: ``bend 2``, whose mark is there, ``end A``, ``trim B``.
        bend: number of the bend, 0 for an end or a cut.
        running: from the end fed first.
        step: from the place before; '' for the first.
        other: from the other end of the stick as cut.
    """

    what: str
    bend: int
    running: str
    step: str
    other: str


def tape_rows(setup: Setup | None, both: BothUnits) -> tuple[TapeRow, ...]:
    """Ends, trim marks and pencil marks in the order in which a tape passes them from the end fed first.

    Each number is rounded from its exact place on the stick as cut, which is rounded up and so depends on the display.
    () where there is nothing to mark. Not for a tube that is not to be made as drawn: of that no stick is cut.
    """
    if setup is None or not setup.steps:
        return ()
    sheets = {one: SetupView(setup, one) for one in both.every}
    places = {one: _places(sheet) for one, sheet in sheets.items()}
    names = [(what, bend) for what, bend, _ in places[both.every[0]]]

    def along(i: int, one: Display) -> float:
        return places[one][i][2]

    rows = []
    for i, (what, bend) in enumerate(names):
        rows.append(
            TapeRow(
                what,
                bend,
                both.each(lambda one, i=i: one.length(along(i, one))),  # type: ignore[misc]
                both.each(lambda one, i=i: one.length(along(i, one) - along(i - 1, one))) if i else "",  # type: ignore[misc]
                both.each(lambda one, i=i: one.length(sheets[one].stick - along(i, one))),  # type: ignore[misc]
            )
        )
    return tuple(rows)


def _places(sheet: SetupView) -> list[tuple[str, int, float]]:
    """What lies on the stick, the number of its bend, and how far from the end fed first, in order."""
    first, other = sheet.setup.feed_from, sheet.other
    found = [(f"bend {step.bend}", step.bend, sheet.mark(first, step)) for step in sheet.marked]
    if sheet.trim(first) > 0.0:
        found.append((f"trim {first}", 0, sheet.trim(first)))
    if sheet.trim(other) > 0.0:
        found.append((f"trim {other}", 0, sheet.stick - sheet.trim(other)))
    found.sort(key=lambda place: place[2])
    return [(f"end {first}", 0, 0.0), *found, (f"end {other}", 0, sheet.stick)]
