"""Which places of a picture's frame are taken, in square cells: asked about thousands of labels at a time.

A drawing without a frame keeps the same in `converter.exporters.paper.figure.Room`.
"""

from __future__ import annotations

from math import ceil, floor, hypot
from typing import TYPE_CHECKING, Any

from converter.exporters.paper.figure import Point

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    #: Corners a and b of many strips, (n, 2) each, and half their width, mm.
    Strips = tuple[Any, Any, float]

#: Cells around a frame in which it is still told what is taken.
_EDGE = 8
#: Cells that a frame may have; in a larger one they are larger.
_MOST = 4_000_000


class Cells:
    """The cells of a frame and a little around it, a byte each; what lies farther out is never taken.

    Args:
        frame: x low, y low, x high, y high, mm.
        cell: side of a cell, mm.
    """

    def __init__(self, frame: tuple[float, float, float, float], cell: float) -> None:
        width, tall = frame[2] - frame[0], frame[3] - frame[1]
        self.cell = max(cell, (max(width, 0.0) * max(tall, 0.0) / _MOST) ** 0.5)
        k = self._k = 1.0 / self.cell
        self._left, self._low = floor(frame[0] * k) - _EDGE, floor(frame[1] * k) - _EDGE
        self._columns = floor(frame[2] * k) + _EDGE - self._left + 1
        self._rows = floor(frame[3] * k) + _EDGE - self._low + 1
        self._bytes = bytearray(self._columns * self._rows)
        self._full = bytes([1]) * self._columns

    def copy(self) -> Cells:
        """The same, of which more can be taken while this stays."""
        one = object.__new__(Cells)
        one.__dict__ |= self.__dict__ | {"_bytes": self._bytes[:]}
        return one

    def take_box(self, box: tuple[float, float, float, float]) -> None:
        """Take a box (x low, y low, x high, y high)."""
        first, behind, low, above = self._span(box)
        count = behind - first
        if count <= 0:
            return
        own, columns, full = self._bytes, self._columns, self._full[:count]
        for at in range(low * columns + first, above * columns + first, columns):
            own[at : at + count] = full

    def take_line(self, a: Point, b: Point, half: float) -> None:
        """Take a straight strip of twice the half width."""
        steps = max(1, ceil(hypot(b[0] - a[0], b[1] - a[1]) / max(self.cell, half)))
        for i in range(steps + 1):
            x, y = a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps
            self.take_box((x - half, y - half, x + half, y + half))

    def take_strips(self, strips: Iterable[Strips]) -> None:
        """Take many strips at once, each as `take_line` takes it."""
        import numpy as np

        boxes = []
        for a, b, half in strips:
            way = b - a
            steps = np.maximum(np.ceil(np.hypot(way[:, 0], way[:, 1]) / max(self.cell, half)), 1.0).astype(int)
            of = np.repeat(np.arange(len(a)), steps + 1)
            share = (np.arange(len(of)) - np.repeat(np.cumsum(steps + 1) - steps - 1, steps + 1)) / steps[of]
            at = a[of] + way[of] * share[:, None]
            boxes.append(np.concatenate((at - half, at + half), axis=1))
        if not boxes:
            return
        own = np.floor(np.concatenate(boxes) * self._k).astype(int) - [self._left, self._low] * 2
        # where a box begins the count goes up, behind it down: sums along both axes count the boxes of every cell
        rows, columns = self._rows, self._columns
        x0, x1 = np.clip(own[:, 0], 0, columns), np.clip(own[:, 2] + 1, 0, columns)
        y0, y1 = np.clip(own[:, 1], 0, rows), np.clip(own[:, 3] + 1, 0, rows)
        wide, size = columns + 1, (columns + 1) * (rows + 1)
        up = np.bincount(np.concatenate((y0 * wide + x0, y1 * wide + x1)), minlength=size)
        up -= np.bincount(np.concatenate((y0 * wide + x1, y1 * wide + x0)), minlength=size)
        sums = up.reshape(rows + 1, wide)[:rows, :columns].cumsum(axis=1).cumsum(axis=0)
        np.bitwise_or(self._array, sums > 0, out=self._array, casting="unsafe")

    @property
    def _array(self) -> Any:
        import numpy as np

        return np.frombuffer(self._bytes, dtype=np.uint8).reshape(self._rows, self._columns)

    def is_free(self, box: tuple[float, float, float, float]) -> bool:
        """Whether nothing in a box is taken."""
        first, behind, low, above = self._span(box)
        find, columns, count = self._bytes.find, self._columns, behind - first
        if count > 0:
            for at in range(low * columns + first, above * columns + first, columns):
                if find(1, at, at + count) >= 0:
                    return False
        return True

    def _span(self, box: tuple[float, float, float, float]) -> tuple[int, int, int, int]:
        """The columns and the rows of a box, the last of each exclusive."""
        k, columns, rows = self._k, self._columns, self._rows
        # comparing is quicker than `min` and `max`, here where most of a picture's time goes
        first = floor(box[0] * k) - self._left
        behind = floor(box[2] * k) - self._left + 1
        low = floor(box[1] * k) - self._low
        above = floor(box[3] * k) - self._low + 1
        return (
            first if first > 0 else 0,
            behind if behind < columns else columns,
            low if low > 0 else 0,
            above if above < rows else rows,
        )

    def are_free(self, x: Any, y: Any, size: Point) -> Any:
        """Whether nothing is taken in each of many boxes of one size, all within the frame.

        Args:
            x, y: (n,) their middles.
            size: width and height.
        """
        import numpy as np

        half, tall = size[0] / 2.0, size[1] / 2.0
        corners = np.floor(np.array((x - half, y - tall, x + half, y + tall)) * self._k).astype(int)
        x0, y0, x1, y1 = corners - (((self._left,), (self._low,)) * 2)
        low, high, columns = int(y0.min()), int(y1.max()), self._columns
        taken = self._array[low : high + 1].ravel()
        # what is taken of windows that begin at each cell, as wide and as tall as powers of two that boxes hold: a
        # window in each of its corners covers a box. What runs on into the next row begins no window of a box
        wide, taken = _gathered(taken, int((x1 - x0).min()) + 1, 1)
        rows, taken = _gathered(taken, int((y1 - y0).min()) + 1, columns)
        at, right, up = (y0 - low) * columns + x0, x1 + 1 - wide - x0, (y1 + 1 - rows - y0) * columns
        return (taken[at] | taken[at + right] | taken[at + up] | taken[at + right + up]) == 0

    def is_line_free(self, start: Point, step: Point, count: int) -> bool:
        """Whether none of so many places is taken that lie a step apart."""
        x, y, dx, dy = self._way(start, step)
        own, columns, rows = self._bytes, self._columns, self._rows
        for i in range(count):
            column, row = int(x + i * dx), int(y + i * dy)
            if 0 <= column < columns and 0 <= row < rows and own[row * columns + column]:
                return False
        return True

    def crossings(self, start: Point, step: Point, count: int) -> int:
        """How often such a row of places comes to one that is taken, from one that is not."""
        x, y, dx, dy = self._way(start, step)
        own, columns, rows = self._bytes, self._columns, self._rows
        passed, before = 0, 0
        for i in range(count):
            column, row = int(x + i * dx), int(y + i * dy)
            taken = own[row * columns + column] if 0 <= column < columns and 0 <= row < rows else 0
            passed += taken > before
            before = taken
        return passed

    def _way(self, start: Point, step: Point) -> tuple[float, float, float, float]:
        """A place and a step in cells."""
        k = self._k
        return start[0] * k - self._left, start[1] * k - self._low, step[0] * k, step[1] * k


def _gathered(taken: Any, most: int, step: int) -> tuple[int, Any]:
    """The greatest power of two that is not above ``most``; whether any of so many places a step apart is taken."""
    count = 1
    while 2 * count <= most:
        taken = taken[: -count * step] | taken[count * step :]
        count *= 2
    return count, taken


def chords_of(lines: Sequence[Any]) -> tuple[Any, Any]:
    """Both ends of every chord of lines of (n, 2) points each: strips are taken along such."""
    import numpy as np

    if not lines:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.concatenate([line[:-1] for line in lines]), np.concatenate([line[1:] for line in lines])
