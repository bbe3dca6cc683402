"""Labels among lines at full size: each finds a place where it touches no line and no other label, or is left out.

Places are named, and looked at exactly. (`room` finds places for the labels of pictures and profiles.)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, pairwise

import numpy as np

from converter.arrays import Array, Flags
from converter.exporters.paper.figure import Box, Figure, Point, Text

#: So many places are looked at together, where the first is not free: mostly it is.
_AT_ONCE = 32
#: Kept free around a label, mm.
CLEAR = 0.4
#: Where a label may stand: its anchor, how it is aligned, and degrees that it is turned.
Place = tuple[Point, str, float]


class FigureLabels:
    """Labels of a figure whose lines are all drawn, each where it touches no line and no other label.

    Args:
        figure: gets the labels.
        frame: in which every label must lie.
        besides: further lines that labels keep off, each through points.
    """

    def __init__(self, figure: Figure, frame: Box, besides: Iterable[Sequence[Point]] = ()) -> None:
        self._figure = figure
        lines = [(*a, *b) for a, b, _ in figure.lines]
        for points in (*(points for points, _ in figure.curves), *besides):
            lines += [(*a, *b) for a, b in pairwise(points)]
        self._ink = Ink(frame, lines, [text.box() for text in figure.texts])

    def put(self, wordings: Sequence[str], height: float, layer: str, places: Sequence[Place]) -> bool:
        """Write the first wording that finds a place; False when none does.

        Args:
            wordings: the best first.
            height: of the text, mm.
            layer: its layer.
            places: where it may stand, the best first.
        """
        for words in wordings:
            texts = (Text(words, at, height, layer, align, rotation) for at, align, rotation in places)
            found = self._ink.first_clear(_grown(text.box()) for text in texts)
            if found is not None:
                at, align, rotation = places[found]
                self._ink.take(self._figure.text(words, at, height, layer, align, rotation).box())
                return True
        return False


class Ink:
    """Straight lines and boxes of texts within a frame.

    Args:
        frame: in which all that is clear lies.
        lines: x and y of both ends of each.
        boxes: of texts.
    """

    def __init__(self, frame: Box, lines: Sequence[Box], boxes: Sequence[Box] = ()) -> None:
        self._frame = frame
        ends = np.array(lines).reshape(-1, 2, 2)
        # low and high corners of all there is, (4, n): the boxes of lines first
        self._boxes = np.concatenate((ends.min(axis=1), ends.max(axis=1)), axis=1).T
        self._starts, self._ways = ends[:, 0].T, (ends[:, 1] - ends[:, 0]).T
        self._slanted = np.logical_and(*(self._ways != 0.0))
        for box in boxes:
            self.take(box)

    def take(self, box: Box) -> None:
        """Add the box of a text."""
        self._boxes = np.concatenate((self._boxes, np.array(box)[:, None]), axis=1)

    def first_clear(self, boxes: Iterable[Box]) -> int | None:
        """The number of the first box within the frame that touches nothing; few behind it are worked out."""
        left, at = iter(boxes), 0
        while some := list(islice(left, _AT_ONCE if at else 1)):
            clear = self._are_clear(np.array(some).T)
            if clear.any():
                return at + int(clear.argmax())
            at += len(some)
        return None

    def _are_clear(self, boxes: Array) -> Flags:
        """Whether boxes (4, n) touch nothing."""
        x0, y0, x1, y1 = boxes
        left, low, right, high = self._frame
        inside: Flags = (x0 >= left) & (y0 >= low) & (x1 <= right) & (y1 <= high)
        ax, ay, bx, by = self._boxes
        near = (ax <= x1[:, None]) & (bx >= x0[:, None]) & (ay <= y1[:, None]) & (by >= y0[:, None])
        # all that is level, upright or a text is its own box; a slanted line may pass the box by
        which, line = np.nonzero(near[:, : len(self._slanted)] & self._slanted)
        if len(which):
            near[which, line] = _met(self._starts[:, line], self._ways[:, line], boxes[:2, which], boxes[2:, which])
        clear: Flags = inside & np.logical_not(near.any(axis=1))
        return clear


def _met(start: Array, way: Array, low: Array, high: Array) -> Flags:
    """Whether each of some slanted lines meets its box, (2, n) all, by the slabs of Liang and Barsky."""
    first, last = (low - start) / way, (high - start) / way
    enter, leave = np.minimum(first, last).max(axis=0), np.maximum(first, last).min(axis=0)
    met: Flags = np.maximum(enter, 0.0) <= np.minimum(leave, 1.0)
    return met


def _grown(box: Box) -> Box:
    return box[0] - CLEAR, box[1] - CLEAR, box[2] + CLEAR, box[3] + CLEAR


def beside_upright(x: float, tall: float, height: float, *, left_first: bool) -> list[Place]:
    """Places of a label that runs up along an upright line, ``tall``, on either side of it, from its middle outward."""
    away = 2.5 * CLEAR
    left, right = x - away - 0.25 * height, x + away + height
    sides = (left, right) if left_first else (right, left)
    return [((side, y), "center", 90.0) for side in sides for y in spots(0.0, tall)]


def along_level(y: float, low: float, high: float, height: float) -> list[Place]:
    """Places of a label that runs along a level line, above or below it."""
    away = 2.5 * CLEAR
    return [
        ((x, side), "center", 0.0) for side in (y + away + 0.25 * height, y - away - height) for x in spots(low, high)
    ]


def spots(low: float, high: float, count: int = 17) -> list[float]:
    """Places between two ends, the middle first."""
    return sorted(
        (low + (high - low) * (i + 0.5) / count for i in range(count)), key=lambda v: abs(v - (low + high) / 2)
    )


def grid(low: Point, high: Point, pitch: float) -> Iterator[Point]:
    """Places of a rectangle, column by column from its left side."""
    x = low[0]
    while x <= high[0]:
        y = high[1]
        while y >= low[1]:
            yield (x, y)
            y -= pitch
        x += pitch
