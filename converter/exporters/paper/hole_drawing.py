"""The drawing and the words of a hole template, for DXF and PDF alike.

x and y as in `converter.joints.holes.wrap`, y moved so that the lower edge lies at 0: end B is up.
"""

from __future__ import annotations

from itertools import pairwise
from math import hypot

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
    fitting,
)  # fmt: skip
from converter.exporters.paper.figure import Figure, text_width
from converter.exporters.paper.labels import LabelPlacer
from converter.joints.holes.hole import Hole
from converter.joints.holes.wrap import HoleWrap
from converter.shop.sections import describe
from converter.units import Display
from converter.words import NO_LENGTH, crossing_text

#: Places of a label are tried so far apart, mm.
_STEP = 2.0


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
        *(_size(number, each, display) for number, each in enumerate(one.holes, 1)),
    ]
    line = "both side edges" if one.seam == 0.0 else "drawn on the template; the side edges are elsewhere"
    said.append(f"Zero line ({line}): {hole.zero}.")
    if hole.bend is not None and all(each.from_tangent is not None for each in one.holes):
        ways = " and ".join(display.length(each.from_tangent or 0.0) for each in one.holes)
        said[-1] += f" From that bend's tangent point to the middles: {ways}."
    return said


def _size(number: int, hole: Hole, display: Display) -> str:
    return (
        f"Hole {number}: {display.length(hole.along)} along the tube, {display.length(hole.around)} around its "
        f"outside, its middle {display.angle(hole.clock)} from the zero line."
    )


def hole_drawing(one: HoleWrap, display: Display) -> CopeDrawing:
    """Draw a template, its cut lines last so that they lie on top."""
    drawing = CopeDrawing()
    figure = drawing.figure
    _frame(figure, one)
    _words(figure, one)
    for hole, (x, length) in zip(one.holes, one.centers, strict=True):
        _center(figure, hole, x, length - one.low)
    for across, lengths in one.outlines:
        drawing.curves.append((list(zip(across.tolist(), (lengths - one.low).tolist(), strict=True)), CUT))
    cuts = [pair for points, _ in drawing.curves for pair in pairwise(points)]
    labels = LabelPlacer(figure, (0.0, 0.0, one.width, one.high - one.low), cuts)
    for hole, (x, length) in zip(one.holes, one.centers, strict=True):
        _label(labels, hole, x, length - one.low, display.number(one.as_cut(length)))
    return drawing


def _frame(figure: Figure, one: HoleWrap) -> None:
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


def _words(figure: Figure, one: HoleWrap) -> None:
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


def _center(figure: Figure, hole: Hole, x: float, y: float) -> None:
    """A cross in the middle of a hole."""
    arm = min(3.0, 0.2 * hole.along, 0.2 * hole.around)
    figure.line((x - arm, y), (x + arm, y), POINTS)
    figure.line((x, y - arm), (x, y + arm), POINTS)


def _label(labels: LabelPlacer, hole: Hole, x: float, y: float, number: str) -> None:
    """What passes there, and how far the middle is from end A as cut: in the hole or beside it, off every line."""
    size = 0.9 * TEXT
    spots = sorted(
        ((dx, dy) for dx in _steps(0.5 * hole.around + 24.0) for dy in _steps(0.5 * hole.along + 8.0)),
        key=lambda d: (hypot(d[0], 1.5 * d[1]), d),
    )
    for wordings, height, layer in (((f"{number} from A", number), size, POINTS), ((hole.through,), size, LABELS)):
        places = [((x + dx, y + dy - height / 2.0), "center", 0.0) for dx, dy in spots]
        if not labels.put(wordings, height, layer, places):
            labels.put(wordings, LEAST_TEXT, layer, places)


def _steps(reach: float) -> list[float]:
    """From the middle outward both ways, mm."""
    count = int(reach / _STEP)
    return [k * _STEP for k in range(-count, count + 1)]
