"""The wrap templates of a job, whatever they are for: drawing, words, and their line of the index."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from converter.bending.setup.words import REFUSAL
from converter.errors import WriteError
from converter.exporters.paper.cope_drawing import CopeDrawing, cope_drawing
from converter.exporters.paper.cope_words import copes_of, facts, how_to, title
from converter.exporters.paper.hole_drawing import hole_drawing, hole_facts, hole_how_to, hole_title
from converter.job import once_per_job
from converter.joints.cope import Copes
from converter.joints.cuts.wrap import Wrap, wrap
from converter.joints.holes.wrap import HoleWrap, hole_wraps
from converter.quoting import LONGEST_PATH, quoted
from converter.units import Display
from converter.words import CUTTING, cut_to, end_text, part_tubes_text, quantity_text

if TYPE_CHECKING:
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.model.part import Part


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
        part: that it serves.
    """

    title: str
    about: str
    facts: tuple[str, ...]
    drawing: CopeDrawing
    od: float
    row: tuple[str, ...]
    hole: bool = False
    bore: bool = False
    part: Part | None = None

    @property
    def notes(self) -> list[str]:
        """Its facts, and how it is used."""
        return [*self.facts, *uses([self])]


def uses(templates: list[Template]) -> list[str]:
    """How templates are used, for every kind among them, and what to mind at the saw."""
    ends = [one for one in templates if not one.hole]
    said = [how_to(any(one.bore for one in ends))] if ends else []
    return said + ([hole_how_to()] if len(ends) < len(templates) else []) + [" ".join(CUTTING)]


def templates_of(job: Job, options: WriteOptions) -> list[Template]:
    """The templates of a job, one for equal tubes, on paper of the thickness that the options name.

    Its cut ends come first, then its holes.

    An end that is cut square needs none.

    Raises:
        WriteError: it has neither.
    """
    known = _known_templates(job)
    if options.paper_thickness not in known:
        known[options.paper_thickness] = _templates(job, options.paper_thickness)
    return list(known[options.paper_thickness])


@once_per_job
def _known_templates(job: Job) -> dict[float, list[Template]]:
    """The templates of a job by the thickness of the paper: DXF and PDF show the same."""
    return {}


def _templates(job: Job, paper_thickness: float) -> list[Template]:
    step = 6.35 if job.display.unit == "in" else 5.0
    copes = copes_of(job)
    changes = end_changes(copes)
    parts = {part.first.name: part for part in job.shown.parts}
    ends = [wrap(joint, paper_thickness, step) for joint in copes.joints if joint.tube in parts and not joint.is_square]
    if not ends and not copes.holes:
        raise WriteError(
            f"Every end of {quoted(job.source, LONGEST_PATH)} that meets another tube is cut square, so there is no "
            "template to write.",
            code="no-joints",
            file=job.source,
        )
    first_holes = [hole for hole in copes.holes if hole.tube in parts]
    holes = hole_wraps(first_holes, changes, paper_thickness, step)
    found = [(_end(one, job.display), parts[one.joint.tube], one.joint.end) for one in ends]
    found += [(_hole(one, job.display), parts[one.holes[0].tube], "") for one in holes]
    return [_for_part(template, part, end, job.shown.is_refused(part)) for template, part, end in found]


def _for_part(one: Template, part: Part, end: str, is_refused: bool) -> Template:
    """The same, with its part, how many tubes it serves, and which; ``end``: that it is of, '' for holes."""
    if is_refused:
        one = replace(one, facts=(f"{REFUSAL}.", *one.facts))
    quantity = quantity_text(part)
    one = replace(one, part=part)
    if not quantity:
        return one
    which = end_text(part, end) if end else part_tubes_text(part)
    return replace(one, title=f"{one.title}, {quantity}", facts=(f"For {which}.", *one.facts))


def end_changes(copes: Copes) -> dict[str, float | None]:
    """What the cut of end A adds to every tube, mm; None where that end is not cut to fit."""
    cut = {joint.tube for joint in copes.joints if joint.end == "A"}
    return {one.name: one.change_a if one.name in cut else None for one in copes.lengths}


def _end(one: Wrap, display: Display) -> Template:
    joint = one.joint
    saw = "" if joint.saw_angle is None else f"saw {display.angle(joint.saw_angle)}"
    saw = saw if joint.hole_saw is None else display.number(joint.hole_saw.size)
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
