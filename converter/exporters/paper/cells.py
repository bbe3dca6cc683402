"""Which places of a drawing are taken, in square cells of a frame: asked about hundreds of boxes at a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import ceil, dist, floor, hypot, inf, sqrt

import numpy as np
import numpy.typing as npt

from converter.arrays import Array
from converter.exporters.paper.figure import Box, Point

#: Ends a and b of many strips, (n, 2) each, and half their width, mm: of all or (n,).
Strips = tuple[Array, Array, float | Array]
#: What takes a cell, the greater before the less: leaders may cross a line, and no text.
LINE, TEXT = 1, 2
#: Cells around the frame in which it is still told what is taken.
_EDGE = 2
#: So many cells lie along a frame and in it at most: those of a larger one are larger.
_MOST_ALONG, _MOST = 1 << 15, 1 << 22
#: Where so many cells are summed up for each box that is taken, boxes are taken one by one.
_SPARSE = 250


class Cells:
    """The cells of a frame, a byte each; what lies outside is never taken.

    Args:
        frame: x low, y low, x high, y high, mm.
        cell: side of a cell, mm; more where there would be millions.
    """

    def __init__(self, frame: Box, cell: float) -> None:
        across, up = frame[2] - frame[0], frame[3] - frame[1]
        k = self._k = 1.0 / max(cell, max(across, up) / _MOST_ALONG, sqrt(across * up / _MOST))
        self._left, self._low = floor(frame[0] * k) - _EDGE, floor(frame[1] * k) - _EDGE
        self._columns = floor(frame[2] * k) + _EDGE - self._left + 1
        self._rows = floor(frame[3] * k) + _EDGE - self._low + 1
        self._hold(bytearray(self._columns * self._rows))
        self._corner = np.array([[self._left], [self._low], [self._left - 1], [self._low - 1]])
        self._most = np.array([[self._columns], [self._rows]] * 2)

    def _hold(self, cells: bytearray) -> None:
        """Keep cells, as bytes and as an array of the same memory."""
        self._bytes = cells
        self._array: npt.NDArray[np.uint8] = np.frombuffer(cells, dtype=np.uint8).reshape(self._rows, self._columns)

    def copy(self) -> Cells:
        """The same, of which more can be taken while this stays."""
        one = object.__new__(Cells)
        one.__dict__ |= self.__dict__
        one._hold(self._bytes[:])
        return one

    def take_box(self, box: Box, by: int) -> None:
        """Take a box; ``by``: `LINE` or `TEXT`."""
        k, left, low = self._k, self._left, self._low
        x0, y0 = max(floor(box[0] * k) - left, 0), max(floor(box[1] * k) - low, 0)
        x1, y1 = max(floor(box[2] * k) - left + 1, 0), max(floor(box[3] * k) - low + 1, 0)
        cells = self._array[y0:y1, x0:x1]
        if by == TEXT:
            cells.fill(by)
        else:
            np.maximum(cells, by, out=cells, casting="unsafe")

    def take_line(self, a: Point, b: Point, half: float, by: int) -> None:
        """Take a straight strip of twice the half width."""
        dx, dy = b[0] - a[0], b[1] - a[1]
        steps = max(1, ceil(hypot(dx, dy) * min(self._k, 1.0 / max(half, 1e-9))))
        for i in range(steps + 1):
            x, y = a[0] + dx * i / steps, a[1] + dy * i / steps
            self.take_box((x - half, y - half, x + half, y + half), by)

    def take_strips(self, strips: Iterable[Strips], by: int) -> None:
        """Take many strips at once."""
        boxes = [self._along(*strip) for strip in strips if len(strip[0])]
        if not boxes:
            return
        spans = self._spans(np.concatenate(boxes, axis=1))
        left, low, right, high = self._bounds(spans)
        rows, columns = high - low, right - left
        if rows * columns > _SPARSE * spans.shape[1]:
            for x0, y0, x1, y1 in spans.T.tolist():
                cells = self._array[y0:y1, x0:x1]
                np.maximum(cells, by, out=cells, casting="unsafe")
            return
        x0, y0, x1, y1 = spans - [[left], [low], [left], [low]]
        # where a box begins the count goes up, behind it down: sums along both axes count the boxes of every cell
        wide, size = columns + 1, (columns + 1) * (rows + 1)
        up = np.bincount(np.concatenate((y0 * wide + x0, y1 * wide + x1)), minlength=size)
        up -= np.bincount(np.concatenate((y0 * wide + x1, y1 * wide + x0)), minlength=size)
        met = up.reshape(rows + 1, wide)[:rows, :columns].cumsum(axis=1).cumsum(axis=0) > 0
        cells = self._array[low:high, left:right]
        np.maximum(cells, by, out=cells, where=met, casting="unsafe")

    def is_free(self, box: Box) -> bool:
        """Whether nothing in a box is taken."""
        return bool(self.are_free(np.array(box)[:, None])[0])

    def are_free(self, boxes: Array, of: int = LINE) -> npt.NDArray[np.bool_]:
        """Whether nothing is taken in each of many boxes, (4, n); ``of``: `LINE` or `TEXT`, for texts alone."""
        x0, y0, x1, y1 = spans = self._spans(boxes)
        left, low, right, high = self._bounds(spans)
        # sums along both axes count the cells that are taken below and left of each corner
        wide = right - left + 1
        sums = np.zeros((high - low + 1, wide), dtype=np.int32)
        np.cumsum(self._array[low:high, left:right] >= of, axis=1, out=sums[1:, 1:])
        flat = sums.cumsum(axis=0).ravel()
        below, above = (y0 - low) * wide - left, (y1 - low) * wide - left
        found: npt.NDArray[np.bool_] = flat[above + x1] - flat[above + x0] == flat[below + x1] - flat[below + x0]
        return found

    def is_strip_free(self, a: Point, b: Point, half: float) -> bool:
        """Whether nothing is taken in a straight strip, looked at in rows of places."""
        along, across = _even(dist(a, b) * self._k), _even(2.0 * half * self._k) - 0.5
        dx, dy = b[0] - a[0], b[1] - a[1]
        side = 2.0 * half / max(dist(a, b), 1e-9) * across[:, None]
        x, y = (a[0] + dx * along - dy * side).ravel(), (a[1] + dy * along + dx * side).ravel()
        return bool(self.are_free(np.stack((x, y, x, y))).all())

    def crossed(self, a: Point, b: Point, own: float, most: float = inf) -> int | None:
        """How often a line from a to b comes to something that is taken.

        Args:
            a, b: its ends; a text that a lies in is its own.
            own: mm from a in which only texts count.
            most: no more are counted.

        Returns:
            None where it runs through a text.
        """
        length, k = hypot(b[0] - a[0], b[1] - a[1]), self._k
        n = int(length * k)
        if not n:
            return 0
        x, y = a[0] * k - self._left, a[1] * k - self._low
        dx, dy = (b[0] - a[0]) * k / n, (b[1] - a[1]) * k / n
        first = own * k
        values, columns, rows = self._bytes, self._columns, self._rows
        passed = before = 0
        marked = True
        for i in range(n):
            column, row = int(x + i * dx), int(y + i * dy)
            taken = values[row * columns + column] if 0 <= column < columns and 0 <= row < rows else 0
            if taken == TEXT and not marked:
                return None
            marked = marked and taken == TEXT
            if first <= i:
                if taken > before:
                    passed += 1
                    if passed > most:
                        return passed
                before = taken
        return passed

    def _along(self, a: Array, b: Array, half: float | Array) -> Array:
        """Boxes that together cover strips, (4, n)."""
        (x, y), (dx, dy) = a.T, (b - a).T
        steps = np.maximum(np.ceil(np.hypot(dx, dy) * np.minimum(self._k, 1.0 / np.maximum(half, 1e-9))), 1.0)
        counts = steps.astype(int) + 1
        of = np.repeat(np.arange(len(a)), counts)
        share = (np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts)) / steps[of]
        x, y = x[of] + dx[of] * share, y[of] + dy[of] * share
        half = half if isinstance(half, float) else half[of]
        return np.stack((x - half, y - half, x + half, y + half))

    def _spans(self, boxes: Array) -> npt.NDArray[np.int64]:
        """First column and row of boxes, and those behind their last, within what is kept, (4, n)."""
        spans = np.floor(boxes * self._k).astype(np.int64)
        spans -= self._corner
        np.maximum(spans, 0, out=spans)
        np.minimum(spans, self._most, out=spans)
        return spans

    @staticmethod
    def _bounds(spans: npt.NDArray[np.int64]) -> tuple[int, int, int, int]:
        """First column and row of all, and those behind the last."""
        (left, low), (right, high) = spans[:2].min(axis=1).tolist(), spans[2:].max(axis=1).tolist()
        return left, low, right, high


def _even(cells: float) -> Array:
    """Shares of a way of so many cells, from 0 to 1, less than a cell apart."""
    return np.linspace(0.0, 1.0, int(1.4 * cells) + 2)


def chords_of(lines: Sequence[Array]) -> tuple[Array, Array]:
    """Both ends of every chord of lines of (n, 2) points each: strips are taken along such."""
    if not lines:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.concatenate([line[:-1] for line in lines]), np.concatenate([line[1:] for line in lines])
