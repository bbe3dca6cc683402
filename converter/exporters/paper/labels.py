"""Labels among lines at full size: each finds a place where it touches no line and no other label, or is left out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from converter.exporters.paper.figure import Box, Figure, Point, Text
from converter.exporters.paper.room import Room

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
        self._room = Room(0.0, frame)
        for points in (*((a, b) for a, b, _ in figure.lines), *(points for points, _ in figure.curves), *besides):
            self._room.take_line(points)
        for text in figure.texts:
            self._room.take_text(text.box())

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
            found = self._room.first(_grown(text.box()) for text in texts)
            if found is not None:
                at, align, rotation = places[found]
                self._room.take_text(self._figure.text(words, at, height, layer, align, rotation).box())
                return True
        return False


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
