"""Room for the labels of a drawing as read: beside lines where it can be, never on another label."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import ceil, dist, inf

import numpy as np

from converter.arrays import Array
from converter.exporters.paper.figure import Point
from converter.exporters.pictures.cells import Cells
from converter.exporters.pictures.drawing.lines import toward_edge
from converter.exporters.pictures.drawing.plane import Box

#: Directions tried around a place, degrees from the wanted one, and from ring to ring of places, mm.
_TURNS = np.array((0, 30, -30, 60, -60, 90, -90, 120, -120, 150, -150, 180), dtype=float)
_FIRST, _NEXT = 1.6, 1.5
#: A leader may run over its own tube so far, and ends so far before its label's edge, mm.
_OWN, _EDGE, _STEP = 1.5, 1.2, 0.8
#: So much nearer a place must be that lies farther down the list of anchors, mm.
_WORTH = 2.0
#: So much longer a leader may be that crosses a line less, mm.
CROSSING = 14.0


class Free:
    """Finds room for labels inside a frame.

    Args:
        frame: the box labels stay in, mm of paper.
    """

    #: Above so many straights a drawing is too dense to keep labels off its lines.
    MOST = 6000

    def __init__(self, frame: Box) -> None:
        self._frame = frame
        self._labels = Cells(frame, 1.0)
        self._all = Cells(frame, 1.0)
        self._straights = 0

    def keep_off(self, line: Sequence[Point]) -> None:
        """Labels should not lie on this line."""
        self._straights += len(line) - 1
        if self._straights <= self.MOST:
            for a, b in pairwise(line):
                self._all.take_line(a, b, 0.4)

    def take(self, box: Box) -> None:
        """Labels must not lie here."""
        self._labels.take_box(box)
        self._all.take_box(box)

    def take_leader(self, start: Point, end: Point) -> None:
        """A leader that was drawn: no label should lie on it, and no leader cross it."""
        self._all.take_line(start, end, 0.2)

    def place(
        self, anchor: Point, size: Point, toward: float = 45.0, reach: float = 30.0, *, on_lines: bool = True
    ) -> Point | None:
        """Centre of the nearest free box beside an anchor, which is then taken; None when there is none.

        Args:
            anchor: what it belongs to.
            size: width and height, mm.
            toward: preferred direction, degrees.
            reach: how far away it may be, mm.
            on_lines: whether it may lie on lines where no place is clear of them.
        """
        for room in (self._all, self._labels) if on_lines or self._straights > self.MOST else (self._all,):
            for center in self._boxes(room, anchor, size, toward, reach):
                return self._claim(center, size)
        return None

    def place_led(
        self,
        anchors: Sequence[Point],
        size: Point,
        toward: float,
        reach: float,
        *,
        crossing: bool = True,
        dearest: float | None = None,
    ) -> tuple[Point, Point] | None:
        """A label with a leader: centre of its box, which is then taken, and the anchor that the leader starts from.

        Of all places the one whose leader costs least: its length, and `CROSSING` for each line that it crosses. None
        crosses a label.

        Args:
            anchors: places on what it belongs to, the best first.
            size, toward, reach: see `place`.
            crossing: whether a leader may cross lines at all.
            dearest: what a leader may cost, mm.
        """
        best, found = inf if dearest is None else dearest, None
        for worse, anchor in enumerate(anchors):
            for center in self._boxes(self._all, anchor, size, toward, reach):
                near = toward_edge(center, size, anchor)
                far = dist(near, anchor)
                if far + _WORTH * worse >= best:
                    continue
                step = (near[0] - anchor[0]) / max(far, 1e-9) * _STEP, (near[1] - anchor[1]) / max(far, 1e-9) * _STEP
                if not self._labels.is_line_free(anchor, step, int(max(0.0, far - _EDGE) / _STEP) + 1):
                    continue
                start = (anchor[0] + step[0] * _OWN / _STEP, anchor[1] + step[1] * _OWN / _STEP)
                crossed = self._all.crossings(start, step, int(max(0.0, far - _OWN - _EDGE) / _STEP) + 1)
                cost = far + _WORTH * worse + CROSSING * crossed
                if cost < best and (crossing or not crossed):
                    best, found = cost, (center, anchor)
        if found is not None:
            self._claim(found[0], size)
        return found

    def place_anywhere(self, size: Point) -> Point | None:
        """Lower left corner of a box of a size in the emptiest corner of the frame, which is then taken."""
        x0, y0, x1, y1 = self._frame
        across, up = (np.arange(a + k / 2.0, b - k / 2.0, 2.0) for a, b, k in ((x0, x1, size[0]), (y0, y1, size[1])))
        x, y = np.meshgrid(across, up)
        x, y = x.ravel(), y.ravel()
        if not len(x):
            return None
        free = self._all.are_free(x, y, size)
        if not free.any():
            return None
        # as near to an edge of the frame, left or right, and to its top as it comes
        aside = np.minimum(x - x0, x1 - x) - size[0] / 2.0 + (y1 - y) / 2.0
        at = int(np.where(free, aside, np.inf).argmin())
        corner = (float(x[at]) - size[0] / 2.0, float(y[at]) - size[1] / 2.0)
        self.take((*corner, corner[0] + size[0], corner[1] + size[1]))
        return corner

    def place_along(self, start: Point, end: Point, size: Point) -> tuple[Point, float] | None:
        """Middle and direction (degrees, upright) of a text of a size beside a straight, taken; None without room."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        length = dist(start, end)
        if length < size[0] or length < 1e-9:
            return None
        ux, uy = dx / length, dy / length
        turn = float(np.degrees(np.arctan2(uy, ux)))
        turn = turn - 180.0 if turn > 90.0 + 1e-6 else turn + 180.0 if turn <= -90.0 + 1e-6 else turn
        half = size[1] / 2.0
        for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8):
            for side in (1.0, -1.0):
                off = side * (half + 0.9)
                x, y = start[0] + share * dx - off * uy, start[1] + share * dy + off * ux
                reach = size[0] / 2.0
                a, b = (x - reach * ux, y - reach * uy), (x + reach * ux, y + reach * uy)
                boxes = [
                    (p - half, q - half, p + half, q + half)
                    for k in range(ceil(size[0] / half) + 1)
                    for p, q in [(a[0] + (b[0] - a[0]) * k * half / size[0], a[1] + (b[1] - a[1]) * k * half / size[0])]
                ]
                # its own line passes at the edge of the room that boxes keep, so that is measured a little less
                slim = [(p + 0.35, q + 0.35, r - 0.35, s - 0.35) for p, q, r, s in boxes]
                if all(map(self._inside, boxes)) and all(map(self._all.is_free, slim)):
                    for room in (self._all, self._labels):
                        room.take_line(a, b, half)
                    return (x, y), turn
        return None

    def _claim(self, center: Point, size: Point) -> Point:
        x, y = center
        self.take((x - size[0] / 2.0, y - size[1] / 2.0, x + size[0] / 2.0, y + size[1] / 2.0))
        return center

    def _inside(self, box: Box) -> bool:
        x0, y0, x1, y1 = self._frame
        return box[0] >= x0 and box[1] >= y0 and box[2] <= x1 and box[3] <= y1

    def _boxes(self, room: Cells, anchor: Point, size: Point, toward: float, reach: float) -> list[Point]:
        """Centres of free boxes beside an anchor, the nearest and those in the wanted direction first."""
        x, y = _around(anchor, size, toward, reach)
        x0, y0, x1, y1 = self._frame
        w, h = size[0] / 2.0, size[1] / 2.0
        inside = (x - w >= x0) & (y - h >= y0) & (x + w <= x1) & (y + h <= y1)
        x, y = x[inside], y[inside]
        if not len(x):
            return []
        free = room.are_free(x, y, size)
        return list(zip(x[free].tolist(), y[free].tolist(), strict=True))


def _around(anchor: Point, size: Point, toward: float, reach: float) -> tuple[Array, Array]:
    """Centres of boxes of a size whose edges lie ring by ring farther from an anchor."""
    a = np.radians(toward + _TURNS)
    c, s = np.cos(a), np.sin(a)
    with np.errstate(divide="ignore"):
        edge = np.minimum(
            np.where(np.abs(c) > 1e-9, size[0] / 2.0 / np.abs(c), 1e9),
            np.where(np.abs(s) > 1e-9, size[1] / 2.0 / np.abs(s), 1e9),
        )
    out = (_FIRST + _NEXT * np.arange(ceil(reach / _NEXT)))[:, None] + edge
    return (anchor[0] + c * out).ravel(), (anchor[1] + s * out).ravel()
