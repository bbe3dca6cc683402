"""The list of parts: in which order they stand, and by what its reader may sort them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from converter.exporters.sheet.content import PartPage
from converter.exporters.sheet.view import PartView
from converter.findings import SEVERITIES
from converter.model.part import Part


@dataclass(frozen=True, slots=True)
class ListedPart:
    """One line of the list.

    Attributes:
        part: what it shows.
        dies: name of each die that it is bent on, and the numbers of the bends, the die mounted first ahead.
        long: of its stick or, where that is not known, of its centerline, whole mm, to sort by.
        worst: rank of its worst finding, 0 for an error; one more than the last where there is none.
        mirror: name of the part that it is the mirror image of, or ''.
    """

    part: PartView
    dies: tuple[tuple[str, tuple[int, ...]], ...]
    long: int
    worst: int
    mirror: str


def listed_parts(parts: Sequence[PartView]) -> list[ListedPart]:
    """A line for every part in the order drawn, but a mirror image beside what it mirrors."""
    names = {part.page.name: i for i, part in enumerate(parts)}
    order = sorted(enumerate(parts), key=lambda item: (names.get(item[1].page.part.mirror_of or "", item[0]), item[0]))
    return [_listed(part) for _, part in order]


def _listed(part: PartView) -> ListedPart:
    page = part.page
    length = page.tube.run.table.developed_length if page.setup is None else page.setup.stick_length
    worst = SEVERITIES.index(page.worst) if page.worst else len(SEVERITIES)
    return ListedPart(part, _dies(page), round(length), worst, _mirror(page.part))


def _dies(page: PartPage) -> tuple[tuple[str, tuple[int, ...]], ...]:
    found: dict[str, list[int]] = {}
    for step in page.setup.steps if page.setup else ():
        if step.die is not None and step.bend not in page.bad_bends:
            found.setdefault(step.die.name, []).append(step.bend)
    return tuple((name, tuple(bends)) for name, bends in found.items())


def _mirror(part: Part) -> str:
    return part.mirror_of or part.mirrored_by or ""
