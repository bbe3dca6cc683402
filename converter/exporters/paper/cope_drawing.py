"""The drawing of a cope template, for DXF and PDF alike: lines, curves and labels in mm.

x as in `converter.joints.cuts.wrap`; y is up, the centerline's end point at 0, so that the cut lies at
minus its length. The tube's name, the zero line and the short
point are told on the paper that stays on the tube; the mates' names and the long point on what is cut away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import cos, isnan, pi, sin

import numpy as np
import numpy.typing as npt

from converter.arrays import Array
from converter.exporters.paper.cope_words import title
from converter.exporters.paper.figure import Figure, Point, Text, text_width
from converter.joints.cuts.wrap import Wrap
from converter.joints.model import PLANE
from converter.units import Display

CUT, BORE, MATE, ZERO, EDGE, END = "cut", "bore", "mate-outlines", "zero-line", "sheet-edge", "centerline-end"
QUARTERS, CLOSING, POINTS, LABELS, TITLES, SCALE = "quarters", "closing-marks", "points", "labels", "titles", "scale"

#: Height of labels on the template, and the least they get where room is short (7.6 pt type), mm.
TEXT, LEAST_TEXT = 2.6, 1.95
_END_TEXT = 0.8 * TEXT
#: The centerline's end is shown when the cut stays this near to it, mm.
_SHOWN = 30.0
Box = tuple[float, float, float, float]
#: What is left free around a label, and how far it may move, mm.
_FREE, _FURTHEST = 0.35, 14.0
_STEP = 0.7


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
    """Labels off the lines: each stays on its own side of the cut, and the centerline's words on their line."""

    def may_stand(text: Text, box: tuple[float, float, float, float]) -> bool:
        x0, y0, x1, y1 = box
        if text.layer not in (POINTS, LABELS) or text.rotation or text.text.startswith("to end "):
            return False
        if x0 < 0.5 or x1 > one.width - 0.5 or y0 < 0.5 - one.base:
            return False
        middle, half = (x0 + x1) / 2.0, (x1 - x0) / 2.0
        if text.text.startswith("short "):
            return y1 < _bottom(one, middle, half)
        return y0 > _top(one, middle, half)

    _clear_labels(drawing.figure, [points for points, _ in drawing.curves], may_stand)


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


# --- labels that stand clear ------------------------------------------------------------------


def _clear_labels(figure: Figure, curves: Sequence[Sequence[Point]], may_stand: Callable[[Text, Box], bool]) -> None:
    """Move labels off lines and off each other.

    Args:
        figure: its labels move; its lines do not.
        curves: lines through points, mm, that no label may stand on.
        may_stand: whether a label may be moved to a box (x0, y0, x1, y1) at all.
    """
    ink = _Ink([*curves, *((a, b) for a, b, _ in figure.lines)])
    for i, text in enumerate(figure.texts):
        box = text.box()
        if not may_stand(text, box):
            continue
        others = [other.box() for k, other in enumerate(figure.texts) if k != i]
        near = ink.near(box, _FURTHEST + _FREE)
        if _is_clear(box, near, others):
            continue
        for at in _around(text.at):
            moved = replace(text, at=at)
            if may_stand(text, moved.box()) and _is_clear(moved.box(), near, others):
                figure.texts.pop(i)
                figure.texts.insert(i, moved)
                x0, y0, x1, y1 = moved.box()
                figure.low = (min(figure.low[0], x0), min(figure.low[1], y0))
                figure.high = (max(figure.high[0], x1), max(figure.high[1], y1))
                break


def _around(at: Point) -> list[Point]:
    """Places around a place, the nearest first."""
    rings = [_STEP * k for k in range(1, int(_FURTHEST / _STEP) + 1)]
    return [(at[0] + r * cos(a * pi / 8.0), at[1] + r * sin(a * pi / 8.0)) for r in rings for a in range(16)]


def _is_clear(box: Box, ink: npt.NDArray[np.float64], others: Sequence[Box]) -> bool:
    x0, y0, x1, y1 = box[0] - _FREE, box[1] - _FREE, box[2] + _FREE, box[3] + _FREE
    if any(b[0] < x1 and b[2] > x0 and b[1] < y1 and b[3] > y0 for b in others):
        return False
    x, y = ink[:, 0], ink[:, 1]
    return not bool(((x > x0) & (x < x1) & (y > y0) & (y < y1)).any())


class _Ink:
    """Lines as points no further apart than half a millimetre, asked of a part of them at a time.

    Args:
        lines: each through points, mm.
    """

    def __init__(self, lines: Sequence[Sequence[Point]]) -> None:
        corners = [np.asarray(points, dtype=np.float64) for points in lines if len(points) > 1]
        self._starts = np.vstack([np.empty((0, 2)), *(one[:-1] for one in corners)])
        self._ends = np.vstack([np.empty((0, 2)), *(one[1:] for one in corners)])
        self._low, self._high = np.minimum(self._starts, self._ends), np.maximum(self._starts, self._ends)

    def near(self, box: Box, reach: float) -> npt.NDArray[np.float64]:
        """The points of all pieces that come within reach of a box, mm, and more."""
        low, high = np.array(box[:2]) - reach, np.array(box[2:]) + reach
        chosen = ((self._low <= high) & (self._high >= low)).all(axis=1)
        starts, ends = self._starts[chosen], self._ends[chosen]
        gaps = ends - starts
        counts = 2 + (np.hypot(gaps[:, 0], gaps[:, 1]) / 0.5).astype(int)
        piece = np.repeat(np.arange(len(counts)), counts)
        place = np.arange(len(piece)) - np.repeat(np.cumsum(counts) - counts, counts)
        share = (place / (counts - 1)[piece])[:, None]
        dense: npt.NDArray[np.float64] = (1.0 - share) * starts[piece] + share * ends[piece]
        return dense
