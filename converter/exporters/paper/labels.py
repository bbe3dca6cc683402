"""Labels among lines: each finds a place where it touches no line and no other label, or is left out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from converter.exporters.paper.figure import Figure, Point, Text

#: Kept free around a label, mm.
CLEAR = 0.4
Box = tuple[float, float, float, float]
#: Where a label may stand: its anchor, how it is aligned, and degrees that it is turned.
Place = tuple[Point, str, float]


class LabelPlacer:
    """The free room of a figure whose lines are all drawn.

    Args:
        figure: gets the labels.
        room: (x low, y low, x high, y high) in which every label must lie.
        besides: further lines that labels keep off, as pairs of points.
    """

    def __init__(self, figure: Figure, room: Box, besides: Iterable[tuple[Point, Point]] = ()) -> None:
        self._figure = figure
        self._room = room
        pairs = [(a, b) for a, b, _ in figure.lines]
        for points, _ in figure.curves:
            pairs += pairwise(points)
        pairs += besides
        self._lines: NDArray[np.float64] = np.array(pairs, dtype=np.float64).reshape(-1, 2, 2)
        self._boxes = [text.box() for text in figure.texts]

    def put(self, wordings: Sequence[str], height: float, layer: str, places: Sequence[Place]) -> bool:
        """Write the first wording that finds a place; False when none does.

        Args:
            wordings: the best first.
            height: of the text, mm.
            layer: its layer.
            places: where it may stand, the best first.
        """
        for words in wordings:
            for at, align, rotation in places:
                text = Text(words, at, height, layer, align, rotation)
                box = text.box()
                if self._is_free(box):
                    self._figure.text(words, at, height, layer, align, rotation)
                    self._boxes.append(box)
                    return True
        return False

    def _is_free(self, box: Box) -> bool:
        x0, y0, x1, y1 = box
        a0, b0, a1, b1 = self._room
        if x0 < a0 + CLEAR or y0 < b0 + CLEAR or x1 > a1 - CLEAR or y1 > b1 - CLEAR:
            return False
        x0, y0, x1, y1 = x0 - CLEAR, y0 - CLEAR, x1 + CLEAR, y1 + CLEAR
        if any(x0 < c and x1 > a and y0 < d and y1 > b for a, b, c, d in self._boxes):
            return False
        return not _meets(self._lines, (x0, y0), (x1, y1))


def _meets(lines: NDArray[np.float64], low: Point, high: Point) -> bool:
    """Whether a straight line of an array (n, 2, 2) meets a box (slabs of Liang and Barsky)."""
    enter, leave = np.zeros(len(lines)), np.ones(len(lines))
    for axis in (0, 1):
        start, way = lines[:, 0, axis], lines[:, 1, axis] - lines[:, 0, axis]
        still = way == 0.0
        step = np.where(still, 1.0, way)
        first, last = (low[axis] - start) / step, (high[axis] - start) / step
        inside = (start >= low[axis]) & (start <= high[axis])
        enter = np.maximum(enter, np.where(still, np.where(inside, 0.0, 2.0), np.minimum(first, last)))
        leave = np.minimum(leave, np.where(still, np.where(inside, 1.0, -1.0), np.maximum(first, last)))
    return bool((enter <= leave).any())


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
