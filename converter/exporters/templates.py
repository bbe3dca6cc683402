"""The wrap templates of a job, whatever they are for: drawing, words, and their line of the index."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.exporters.cope_drawing import CopeDrawing, cope_drawing
from converter.exporters.cope_words import copes_of, cut_to, facts, how_to, title
from converter.exporters.hole_drawing import hole_drawing, hole_facts, hole_how_to, hole_title
from converter.joints.cope import Copes
from converter.joints.hole_wrap import HoleWrap, hole_wraps
from converter.joints.wrap import Wrap, wrap
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.registry import ExportJob


@dataclass(frozen=True, slots=True)
class Template:
    """One template to print.

    Attributes:
        title: which; about: what it is cut to, or what passes.
        facts: a sentence or two each.
        drawing: at full size, mm.
        od: the tube's outside diameter or width, mm.
        row: its cells in the index, without the page.
        hole: whether it shows holes in a wall rather than the cut of an end.
        bore: whether it shows a line at the bore.
    """

    title: str
    about: str
    facts: tuple[str, ...]
    drawing: CopeDrawing
    od: float
    row: tuple[str, ...]
    hole: bool = False
    bore: bool = False

    @property
    def notes(self) -> list[str]:
        """Its facts, and how it is used."""
        return [*self.facts, *uses([self])]


def uses(templates: list[Template]) -> list[str]:
    """How templates are used, for every kind among them."""
    ends = [one for one in templates if not one.hole]
    said = [how_to(any(one.bore for one in ends))] if ends else []
    return said + ([hole_how_to()] if len(ends) < len(templates) else [])


def templates_of(job: ExportJob) -> list[Template]:
    """The templates of a job: its cut ends, then its holes.

    Raises:
        WriteError: it has neither.
    """
    step = 6.35 if job.display.unit == "in" else 5.0
    copes = copes_of(job)
    changes = end_changes(copes)
    ends = [wrap(joint, job.cope.paper, step) for joint in copes.joints]
    holes = hole_wraps(copes.holes, changes, job.cope.paper, step)
    return [*(_end(one, job.display) for one in ends), *(_hole(one, job.display) for one in holes)]


def end_changes(copes: Copes) -> dict[str, float | None]:
    """What the cut of end A adds to every tube, mm; None where that end is not cut to fit."""
    cut = {joint.tube for joint in copes.joints if joint.end == "A"}
    return {one.name: one.change_a if one.name in cut else None for one in copes.lengths}


def _end(one: Wrap, display: Display) -> Template:
    joint = one.joint
    saw = "" if joint.hole_saw is None else display.number(joint.hole_saw.size)
    row = (
        joint.tube, joint.end, " + ".join(joint.mates) or "plane", display.angle(joint.angle),
        display.number(joint.offset), display.number(joint.long_point), display.number(joint.short_point), saw,
    )  # fmt: skip
    return Template(
        title=title(joint),
        about=cut_to(joint),
        facts=tuple(facts(one, display)),
        drawing=cope_drawing(one, display),
        od=joint.section.od,
        row=row,
        bore=one.bore is not None,
    )


def _hole(one: HoleWrap, display: Display) -> Template:
    hole = one.holes[0]
    near = min(one.as_cut(each.from_a) for each in one.holes)
    row = (
        hole.tube, "", hole.through, display.angle(hole.angle), display.number(hole.offset),
        display.number(near), display.number(max(each.along for each in one.holes)),
        display.number(max(each.around for each in one.holes)),
    )  # fmt: skip
    return Template(
        title=hole_title(one),
        about=f"{hole.through} passes through",
        facts=tuple(hole_facts(one, display)),
        drawing=hole_drawing(one, display),
        od=hole.section.od,
        row=row,
        hole=True,
    )
