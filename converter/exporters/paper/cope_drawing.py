"""The drawing of a cope template, for DXF and PDF alike: lines, curves and labels in mm.

x as in `converter.exporters.paper.wraps`; y is up, the centerline's end point at 0, so that the cut lies at
minus its length. The tube's name, the zero line and the short
point are told on the paper that stays on the tube; the mates' names and the long point on what is cut away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import cos, isnan, pi, sin

import numpy as np

from converter.arrays import Array
from converter.exporters.paper.cope_words import title
from converter.exporters.paper.figure import Figure, Point, Text, text_width
from converter.exporters.paper.labels import FigureLabels
from converter.exporters.paper.wraps import Wrap
from converter.joints.model import PLANE
from converter.units import Display

CUT, BORE, MATE, ZERO, EDGE, END = "cut", "bore", "mate-outlines", "zero-line", "sheet-edge", "centerline-end"
QUARTERS, CLOSING, POINTS, LABELS, TITLES, SCALE = "quarters", "closing-marks", "points", "labels", "titles", "scale"

#: Height of labels on the template, and the least they get where room is short (7.6 pt type), mm.
TEXT, LEAST_TEXT = 2.6, 1.95
_END_TEXT = 0.8 * TEXT
#: The centerline's end is shown when the cut stays this near to it, mm.
_SHOWN = 30.0
#: How far a label may move, mm, and where to, the nearest first.
_FURTHEST = 14.0
_AROUND = [(0.7 * k * cos(a * pi / 8.0), 0.7 * k * sin(a * pi / 8.0)) for k in range(1, 21) for a in range(16)]


@dataclass(slots=True)
class CopeDrawing:
    """A template.

    Attributes:
        curves: (points, layer) of open lines through points.
        figure: straight lines and labels.
    """

    curves: list[tuple[list[Point], str]] = field(default_factory=list)
    figure: Figure = field(default_factory=Figure)

    def bounds(self) -> tuple[Point, Point]:
        """Lower left and upper right corner of everything."""
        xs = [x for points, _ in self.curves for x, _ in points] + [self.figure.low[0], self.figure.high[0]]
        ys = [y for points, _ in self.curves for _, y in points] + [self.figure.low[1], self.figure.high[1]]
        return (min(xs), min(ys)), (max(xs), max(ys))


def cope_drawing(one: Wrap, display: Display) -> CopeDrawing:
    """Draw a template, its cut line last so that it lies on top."""
    drawing = CopeDrawing()
    y = -one.od
    _marks(drawing.figure, one, display)
    _mates(drawing, one)
    if one.bore is not None:
        drawing.curves += [(run, BORE) for run in _runs(one.x, -one.bore)]
    _frame(drawing.figure, one)
    drawing.curves.append((list(zip(one.x.tolist(), y.tolist(), strict=True)), CUT))
    _clear(drawing, one)
    return drawing


def _clear(drawing: CopeDrawing, one: Wrap) -> None:
    """Move labels off lines and off each other; each stays on its own side of the cut, and as near as it can."""

    def may_stand(text: Text) -> bool:
        x0, y0, x1, y1 = text.box()
        if x0 < 0.5 or x1 > one.width - 0.5 or y0 < 0.5 - one.base:
            return False
        middle, half = (x0 + x1) / 2.0, (x1 - x0) / 2.0
        return y1 < _bottom(one, middle, half) if text.text.startswith("short ") else y0 > _top(one, middle, half)

    figure, movable = drawing.figure, []
    for text in figure.texts:
        kept = text.layer not in (POINTS, LABELS) or text.rotation or text.text.startswith("to end ")
        if not kept and may_stand(text):
            movable.append(text)
    figure.texts = [text for text in figure.texts if text not in movable]
    (x0, y0), (x1, y1) = drawing.bounds()
    frame = (x0 - _FURTHEST, y0 - _FURTHEST, x1 + _FURTHEST, y1 + _FURTHEST)
    labels = FigureLabels(figure, frame, [points for points, _ in drawing.curves])
    # what stands clear stays; what finds no other place does, too
    for places in ([(0.0, 0.0)], _AROUND, None):
        for text in list(movable):
            moved = [replace(text, at=(text.at[0] + dx, text.at[1] + dy)) for dx, dy in places or ()]
            spots = [(each.at, each.align, 0.0) for each in moved if may_stand(each)]
            if places is None:
                figure.text(text.text, text.at, text.height, text.layer, text.align)
            elif labels.put((text.text,), text.height, text.layer, spots):
                movable.remove(text)


def _runs(x: Array, y: Array) -> list[list[Point]]:
    """Stretches of a line between gaps (nan)."""
    found: list[list[Point]] = [[]]
    for at, value in zip(x.tolist(), y.tolist(), strict=True):
        if not isnan(value):
            found[-1].append((at, value))
        elif found[-1]:
            found.append([])
    return [run for run in found if len(run) > 1]


def _mates(drawing: CopeDrawing, one: Wrap) -> None:
    """Each mate's own line where another takes over, and whose stretch is whose."""
    lowest = -one.base
    for _, lengths in one.mates:
        drawing.curves += [(run, MATE) for run in _runs(one.x, np.where(-lengths > -one.od + 40.0, np.nan, -lengths))]
    names = ", ".join(one.joint.mates) or ("plane" if one.joint.kind == PLANE else "")
    stretches = one.governs() or [(names, 0.0, one.width)]
    for name, start, end in stretches:
        size = min(TEXT, TEXT * (end - start) / max(text_width(name, TEXT), 1e-9))
        if not name or size < LEAST_TEXT:
            continue
        middle, half = (start + end) / 2.0, text_width(name, size) / 2.0
        low = max(_top(one, middle, half), lowest) + 1.5
        for x0, y0, x1, y1 in [t.box() for t in drawing.figure.texts]:
            if x0 < middle + half + 1.0 and x1 > middle - half - 1.0 and y0 < low + size + 1.0 and y1 > low - 1.0:
                low = y1 + 1.0
        drawing.figure.text(name, (middle, low), size, LABELS, "center")


def _top(one: Wrap, middle: float, half: float) -> float:
    near = (one.x >= middle - half - 1.5) & (one.x <= middle + half + 1.5)
    return float((-one.od[near]).max()) if near.any() else float(-np.interp(middle, one.x, one.od))


def _bottom(one: Wrap, middle: float, half: float) -> float:
    near = (one.x >= middle - half) & (one.x <= middle + half)
    return float((-one.od[near]).min()) if near.any() else float(-np.interp(middle, one.x, one.od))


def _frame(figure: Figure, one: Wrap) -> None:
    """Edges, the zero line, quarters and closing marks."""
    base, width = -one.base, one.width
    left = -float(one.od[0])
    tall = left - base
    # no other line may run through the words beside the zero line
    curves = [-one.od, *(() if one.bore is None else (-one.bore,)), *(-lengths for _, lengths in one.mates)]
    beside = [curve[one.x <= 3.5 + 1.4 * TEXT] for curve in curves]
    lowest = min(float(np.nanmin(part)) for part in beside if part.size and not np.isnan(part).all())
    upright = lowest - base > text_width("zero line", TEXT) + 6.0
    figure.line((0.0, base), (0.0, left), ZERO)
    figure.line((width, base), (width, left), ZERO)
    figure.line((0.0, base), (width, base), EDGE)
    for angle in (0, 90, 180, 270, 360):
        x = float(np.interp(angle, one.phi, one.x))
        if angle % 360:
            figure.line((x, base), (x, base + 4.0), QUARTERS)
        align = {0: "left", 360: "right"}.get(angle, "left")
        word = f"{angle % 360}°"
        if not angle and not upright:
            word = next(
                (w for w in ("0° zero line", "0° zero") if text_width(w, 0.8 * TEXT) < 0.25 * width - 2.0), word
            )
        figure.text(word, (x + (1.0 if angle < 360 else -1.0), base + 1.0), 0.8 * TEXT, QUARTERS, align)
    for part in (0.3, 0.75):
        y = base + part * tall
        figure.line((-3.0, y), (3.0, y), CLOSING)
        figure.line((width - 3.0, y), (width + 3.0, y), CLOSING)
    if upright:
        figure.text("zero line", (3.5 + TEXT, base + 5.0), TEXT, ZERO, "left", 90.0)


def _beside_end(figure: Figure, one: Wrap) -> Point | None:
    """Where on the line of the centerline's end its words stand clear of every other line and label."""
    curves = [-one.od, *(() if one.bore is None else (-one.bore,)), *(-lengths for _, lengths in one.mates)]
    texts = [text.box() for text in figure.texts]
    size = _END_TEXT
    wide = text_width("end of centerline", size)
    for x in np.arange(one.width - wide - 4.0, 4.0, -1.0).tolist():
        near = (one.x >= x - 1.5) & (one.x <= x + wide + 1.5)
        for y in (0.9, -0.9 - size):
            low, high = y - 0.6, y + size + 0.6
            if any(b[0] < x + wide + 1.0 and b[2] > x - 1.0 and b[1] < high and b[3] > low for b in texts):
                continue
            heights = [curve[near][~np.isnan(curve[near])] for curve in curves]
            if not any(part.size and part.min() < high and part.max() > low for part in heights):
                return x, y
    return None


def _marks(figure: Figure, one: Wrap, display: Display) -> None:
    """Long and short point, the centerline's end, whose end it is and which way it lies."""
    base, width = -one.base, one.width
    if -_SHOWN <= one.joint.long_point <= _SHOWN and base < 0.0:
        figure.line((0.0, 0.0), (width, 0.0), END)
    points = [("long", one.long)]
    if one.short[1] - one.long[1] > 0.01:
        points.append(("short", one.short))
    for word, (x, length) in points:
        figure.line((x - 1.5, -length), (x + 1.5, -length), POINTS)
        figure.line((x, -length - 1.5), (x, -length + 1.5), POINTS)
        text = f"{word} {display.number(length)}"
        half = text_width(text, TEXT) / 2.0
        middle = min(max(x, half + 1.0), width - half - 1.0)
        above = _top(one, middle, half) + 1.2
        below = _bottom(one, middle, half) - 1.4 * TEXT - 1.0
        figure.text(text, (middle, above if word == "long" else below), TEXT, POINTS, "center")
    if -_SHOWN <= one.joint.long_point <= _SHOWN and base < 0.0:
        spot = _beside_end(figure, one)
        if spot is not None:
            figure.text("end of centerline", spot, _END_TEXT, END)
    name, size = fitting((title(one.joint), f"end {one.joint.end}", one.joint.end), 1.4 * TEXT, 0.46 * width)
    figure.text(name, (0.44 * width, base + 5.0), size, TITLES, "center")
    x = 0.76 * width
    figure.line((x, base + 4.5), (x, base + 10.5), LABELS)
    for side in (-1.0, 1.0):
        figure.line((x, base + 10.5), (x + side, base + 8.5), LABELS)
    end = one.joint.end
    word, size = fitting((f"to end {end}", f"to {end}", end), 0.9 * TEXT, 0.24 * width - 4.8)
    figure.text(word, (x + 1.8, base + 5.0), size, LABELS)


def fitting(wordings: Sequence[str], height: float, room: float) -> tuple[str, float]:
    """The first wording that keeps to a width (mm) at the least height of text, and how high it can be."""
    for words in wordings:
        size = min(height, height * room / text_width(words, height))
        if size >= LEAST_TEXT:
            return words, size
    return wordings[-1], LEAST_TEXT
