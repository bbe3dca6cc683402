"""The wrap templates of a job, whatever they are for: drawing, words, and their line of the index."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot
from typing import TYPE_CHECKING

from converter.bending.setup.words import REFUSAL
from converter.errors import WriteError
from converter.exporters.paper.cope_drawing import (
    CLOSING,
    CUT,
    EDGE,
    LABELS,
    LEAST_TEXT,
    POINTS,
    QUARTERS,
    TEXT,
    TITLES,
    ZERO,
    CopeDrawing,
    cope_drawing,
    fitting,
)
from converter.exporters.paper.cope_words import copes_of, facts, how_to, title
from converter.exporters.paper.figure import Figure, text_width
from converter.exporters.paper.labels import FigureLabels
from converter.exporters.paper.wraps import HoleWrap, Wrap, hole_wraps, wrap
from converter.job import once_per_job
from converter.joints.cope import Copes
from converter.joints.holes import Hole
from converter.quoting import LONGEST_PATH, quoted
from converter.shop.sections import describe
from converter.units import Display
from converter.words import CUTTING, NO_LENGTH, crossing_text, cut_to, end_text, part_tubes_text, quantity_text

if TYPE_CHECKING:
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.model.part import Part


#: Places of a label are tried so far apart, mm.
_STEP = 2.0


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
    return {name: cuts.changes[0] for name, cuts in copes.cuts.items()}


def _end(one: Wrap, display: Display) -> Template:
    joint = one.joint
    cut = joint.end_cut
    saw = "" if cut.saw_angle is None else f"saw {display.angle(cut.saw_angle)}"
    saw = f"{len(cut.flat_cuts)} saw cuts" if cut.flat_cuts else saw
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


# --- holes ------------------------------------------------------------------------------------
# x and y as in `converter.joints.holes`, y moved so that the lower edge lies at 0: end B is up.


def hole_title(one: HoleWrap) -> str:
    """``POST: holes for BAR``."""
    hole = one.holes[0]
    return f"{hole.tube}: {'hole' if len(one.holes) == 1 else 'holes'} for {hole.through}"


def hole_how_to() -> str:
    """How hole templates are used."""
    return (
        "Holes: wrap it around with the printed side out and the arrow toward the end that is named, so that the side "
        "edges meet; mark along the full lines, which are as large as the tube that passes, no clearance added."
    )


def hole_facts(one: HoleWrap, display: Display) -> list[str]:
    """What is to be known of one hole template, a sentence or two each."""
    hole = one.holes[0]
    first = f"{hole.through} passes through at {display.angle(hole.angle)}"
    if hole.offset > NO_LENGTH:
        first += f", {display.length(hole.offset)} off the centerline"
    middles = " and ".join(display.length(one.as_cut(each.from_a)) for each in one.holes)
    end = "the stick's end A as it is cut, its long point" if one.coped else "end A"
    where = (
        f"Along the tube from {end}: lower edge {display.length(one.as_cut(one.low))}, middles of the holes {middles}."
    )
    if one.coped:
        drawn = " and ".join(display.length(each.from_a) for each in one.holes)
        where += f" From the drawn centerline's end A: {drawn}."
    said = [
        f"{first}; {crossing_text(hole, display)}.",
        f"Tube {describe(hole.section, display)}. Once around {display.length(one.width)}: pi x (OD + paper), for "
        f"paper {one.paper_thickness:g} mm thick.",
        where,
        *(_hole_size(number, each, display) for number, each in enumerate(one.holes, 1)),
    ]
    line = "both side edges" if one.seam == 0.0 else "drawn on the template; the side edges are elsewhere"
    said.append(f"Zero line ({line}): {hole.zero}.")
    if hole.bend is not None and all(each.from_tangent is not None for each in one.holes):
        ways = " and ".join(display.length(each.from_tangent or 0.0) for each in one.holes)
        said[-1] += f" From that bend's tangent point to the middles: {ways}."
    return said


def _hole_size(number: int, hole: Hole, display: Display) -> str:
    return (
        f"Hole {number}: {display.length(hole.along)} along the tube, {display.length(hole.around)} around its "
        f"outside, its middle {display.angle(hole.clock)} from the zero line."
    )


def hole_drawing(one: HoleWrap, display: Display) -> CopeDrawing:
    """Draw a template, its cut lines last so that they lie on top."""
    drawing = CopeDrawing()
    figure = drawing.figure
    _hole_frame(figure, one)
    _hole_words(figure, one)
    for hole, (x, length) in zip(one.holes, one.centers, strict=True):
        _hole_center(figure, hole, x, length - one.low)
    for across, lengths in one.outlines:
        drawing.curves.append((list(zip(across.tolist(), (lengths - one.low).tolist(), strict=True)), CUT))
    cuts = [points for points, _ in drawing.curves]
    labels = FigureLabels(figure, (0.0, 0.0, one.width, one.high - one.low), cuts)
    for hole, (x, length) in zip(one.holes, one.centers, strict=True):
        _hole_label(labels, hole, x, length - one.low, display.number(one.as_cut(length)))
    return drawing


def _hole_frame(figure: Figure, one: HoleWrap) -> None:
    """Edges, the zero line, quarters and closing marks."""
    tall, width, zero = one.high - one.low, one.width, one.x(0.0)
    sides = ZERO if one.seam == 0.0 else EDGE
    for x in (0.0, width):
        figure.line((x, 0.0), (x, tall), sides)
    for y in (0.0, tall):
        figure.line((0.0, y), (width, y), EDGE)
    if one.seam:
        figure.line((zero, 0.0), (zero, tall), ZERO)
    for angle in (0, 90, 180, 270):
        x = one.x(float(angle))
        if angle and 0.0 < x < width:
            figure.line((x, 0.0), (x, 4.0), QUARTERS)
        align = "left" if x < width - 12.0 else "right"
        word = f"{angle}°"
        if not angle:
            room = 0.25 * width - 2.0
            word = next((w for w in ("0° zero line", "0° zero") if text_width(w, 0.8 * TEXT) < room), word)
        figure.text(word, (x + (1.0 if align == "left" else -1.0), 1.0), 0.8 * TEXT, QUARTERS, align)
    for part in (0.3, 0.75):
        for x in (0.0, width):
            figure.line((x - 3.0, part * tall), (x + 3.0, part * tall), CLOSING)


def _hole_words(figure: Figure, one: HoleWrap) -> None:
    """Whose holes they are and which way end B lies, in the widest room beside the zero line."""
    zero = one.x(0.0)
    left, right = max(((0.0, zero), (zero, one.width)), key=lambda room: (room[1] - room[0], room[0]))
    room = right - left
    name = hole_title(one)
    name, size = fitting((name, one.holes[0].tube, "holes"), 1.4 * TEXT, 0.62 * room)
    figure.text(name, (left + 0.36 * room, 5.0), size, TITLES, "center")
    x = left + 0.74 * room
    figure.line((x, 4.5), (x, 10.5), LABELS)
    for side in (-1.0, 1.0):
        figure.line((x, 10.5), (x + side, 8.5), LABELS)
    word, height = fitting(("to end B", "to B", "B"), 0.9 * TEXT, 0.26 * room - 5.0)
    figure.text(word, (x + 1.8, 5.0), height, LABELS)


def _hole_center(figure: Figure, hole: Hole, x: float, y: float) -> None:
    """A cross in the middle of a hole."""
    arm = min(3.0, 0.2 * hole.along, 0.2 * hole.around)
    figure.line((x - arm, y), (x + arm, y), POINTS)
    figure.line((x, y - arm), (x, y + arm), POINTS)


def _hole_label(labels: FigureLabels, hole: Hole, x: float, y: float, number: str) -> None:
    """What passes there, and how far the middle is from end A as cut: in the hole or beside it, off every line."""
    size = 0.9 * TEXT
    spots = sorted(
        ((dx, dy) for dx in _hole_steps(0.5 * hole.around + 24.0) for dy in _hole_steps(0.5 * hole.along + 8.0)),
        key=lambda d: (hypot(d[0], 1.5 * d[1]), d),
    )
    for wordings, height, layer in (((f"{number} from A", number), size, POINTS), ((hole.through,), size, LABELS)):
        places = [((x + dx, y + dy - height / 2.0), "center", 0.0) for dx, dy in spots]
        if not labels.put(wordings, height, layer, places):
            labels.put(wordings, LEAST_TEXT, layer, places)


def _hole_steps(reach: float) -> list[float]:
    """From the middle outward both ways, mm."""
    count = int(reach / _STEP)
    return [k * _STEP for k in range(-count, count + 1)]
