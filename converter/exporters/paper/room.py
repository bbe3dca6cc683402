"""Room for labels: what of a drawing is taken, and where a label of a size stands clear of it.

Pictures and profiles place their labels here. Lines and texts are taken; a label says what it is like (`Wish`), and
gets the best place that is free, which is then taken, too. All lengths are mm in the drawing's coordinates. (On
templates, where every place is named, `labels` looks at them exactly.)

What is taken is kept in square cells, which are quick to ask about hundreds of places at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import atan2, degrees, dist, hypot, inf

import numpy as np

from converter.arrays import Array, Flags
from converter.exporters.paper.cells import LINE, TEXT, Cells, Strips
from converter.exporters.paper.figure import Box, Point

#: Directions tried around a place, degrees from the wanted one, the nearest to it first.
_TURNS = np.array(sorted(range(-165, 195, 15), key=abs), dtype=float)
#: From ring to ring of places around an anchor: at least so many cells, else this share of how far out they are.
_STEP, _GROWTH = 1.7, 0.12
#: So many of the nearest rings are tried at once, then as many again, and so on.
_NEAREST = 5
#: So much nearer a place must be that lies farther down a list of anchors, mm.
_WORTH = 2.0
#: Through so many points, a line is taken piece by piece.
_FEW = 10
#: Where along a straight a text is tried, as shares of its length, and how far off it, mm.
_SHARES, _OFF = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8), 0.9


@dataclass(frozen=True, slots=True)
class Wish:
    """What a label is like, and where it should stand.

    Attributes:
        size: its width and height, mm.
        toward: the wanted direction from what it belongs to, degrees.
        reach: how far away its edge may be, mm.
        gap: how far it is at least, mm.
        own: how far a leader may run over what it belongs to, mm.
        crossing: so much longer a leader may be that crosses a line less, mm; infinite where it may cross none.
        dearest: what a leader may cost at most: its length, and ``crossing`` for each line that it crosses, mm.
    """

    size: Point
    toward: float = 45.0
    reach: float = 30.0
    gap: float = 1.6
    own: float = 1.5
    crossing: float = 14.0
    dearest: float = inf


@dataclass(frozen=True, slots=True)
class LabelSpot:
    """A place for a label.

    Attributes:
        box: its box.
        anchor, end: where a leader to it starts and ends.
        crossed: how many lines that crosses.
    """

    box: Box
    anchor: Point
    end: Point
    crossed: int = 0

    @property
    def middle(self) -> Point:
        """Of the box."""
        return (self.box[0] + self.box[2]) / 2.0, (self.box[1] + self.box[3]) / 2.0

    @property
    def far(self) -> float:
        """Length of the leader, mm."""
        return dist(self.anchor, self.end)


class Room:
    """What is taken of a drawing.

    Args:
        cell: side of a cell, mm: labels keep about this far from what is taken.
        frame: labels stay within.
    """

    def __init__(self, cell: float, frame: Box) -> None:
        self.frame = frame
        self._cell, self._cells = cell, Cells(frame, cell)

    def copy(self) -> Room:
        """The same, of which more can be taken while this stays."""
        one = copy(self)
        one._cells = self._cells.copy()
        return one

    # --- what is taken --------------------------------------------------------------------

    def take_strips(self, strips: Iterable[Strips], by: int = LINE) -> None:
        """Take many straight strips: no label lies on them, leaders may cross them."""
        self._cells.take_strips(strips, by)

    def take_line(self, points: Sequence[Point], half: float = 0.0, by: int = LINE) -> None:
        """Take a line through points, as wide as twice the half width."""
        if len(points) < _FEW:
            for a, b in pairwise(points):
                self._cells.take_line(a, b, half, by)
        else:
            way = np.array(points, dtype=np.float64)
            self._cells.take_strips([(way[:-1], way[1:], half)], by)

    def take_text(self, box: Box) -> None:
        """Take a box that holds a text: leaders keep clear of it, too."""
        self._cells.take_box(box, TEXT)

    def take_slant(self, a: Point, b: Point, half: float) -> None:
        """Take a strip that holds a slanted text."""
        self._cells.take_line(a, b, half, TEXT)

    # --- what is free ---------------------------------------------------------------------

    def is_free(self, box: Box) -> bool:
        """Whether a box is within the frame and nothing in it is taken."""
        return self._holds(box) and self._cells.is_free(box)

    def is_clear(self, a: Point, b: Point, half: float) -> bool:
        """Whether a strip is within the frame and nothing in it is taken."""
        low = (min(a[0], b[0]) - half, min(a[1], b[1]) - half)
        high = (max(a[0], b[0]) + half, max(a[1], b[1]) + half)
        return self._holds((*low, *high)) and self._cells.is_strip_free(a, b, half)

    def crosses_text(self, a: Point, b: Point) -> bool:
        """Whether a line runs through a text."""
        return self._cells.crossed(a, b, inf) is None

    # --- places ---------------------------------------------------------------------------

    def beside(self, anchors: Sequence[Point], wish: Wish) -> LabelSpot | None:
        """Take the box beside an anchor whose leader costs least; None where there is none.

        The nearest in the wanted direction comes first. No leader crosses a text.

        Args:
            anchors: places on what it belongs to, the best first.
            wish: what it is like.
        """
        best, found = wish.dearest, None
        for rank, anchor in enumerate(anchors):
            worse = _WORTH * rank
            if worse + wish.gap >= best:
                break
            for box in self._around(anchor, wish):
                end = nearest(box, anchor)
                cost = dist(anchor, end) + worse
                if cost >= best:
                    break  # what lies farther out costs more
                crossed = self._cells.crossed(anchor, end, wish.own, (best - cost) / max(wish.crossing, 1e-9))
                if crossed is None:
                    continue
                cost += wish.crossing * crossed if crossed else 0.0
                if cost < best:
                    best, found = cost, LabelSpot(box, anchor, end, crossed)
                if not crossed:
                    break
        if found is not None:
            self.take_text(found.box)
        return found

    def over_lines(self, anchor: Point, wish: Wish) -> LabelSpot | None:
        """Take the nearest box that lies on no text, whatever lines it lies on."""
        for boxes in self._rings(anchor, wish):
            free = self._cells.are_free(boxes, TEXT)
            if free.any():
                x0, y0, x1, y1 = boxes[:, int(free.argmax())].tolist()
                box = (x0, y0, x1, y1)
                self.take_text(box)
                return LabelSpot(box, anchor, nearest(box, anchor))
        return None

    def along(self, a: Point, b: Point, size: Point) -> tuple[Point, float] | None:
        """Take a strip for a text beside a straight: its middle and direction (degrees, upright); None without room."""
        length = dist(a, b)
        if length < size[0] or length < 1e-9:
            return None
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        turn = degrees(atan2(uy, ux))
        turn = turn - 180.0 if turn > 90.0 + 1e-6 else turn + 180.0 if turn <= -90.0 + 1e-6 else turn
        half, reach = size[1] / 2.0, size[0] / 2.0
        for share in _SHARES:
            for side in (1.0, -1.0):
                off = side * (half + _OFF)
                x, y = a[0] + share * length * ux - off * uy, a[1] + share * length * uy + off * ux
                p, q = (x - reach * ux, y - reach * uy), (x + reach * ux, y + reach * uy)
                # its own line passes at the edge of the room that boxes keep, so that is measured a little less
                if self.is_clear(p, q, half - 0.35):
                    self.take_slant(p, q, half)
                    return (x, y), turn
        return None

    def in_a_corner(self, size: Point) -> Point | None:
        """Take a box of a size in the emptiest corner of the frame; its lower left corner."""
        x0, y0, x1, y1 = self.frame
        x, y = np.meshgrid(np.arange(x0, x1 - size[0], 2.0), np.arange(y0, y1 - size[1], 2.0))
        x, y = x.ravel(), y.ravel()
        boxes = np.stack((x, y, x + size[0], y + size[1]))
        free = self._cells.are_free(boxes) if len(x) else np.zeros(0, dtype=bool)
        if not free.any():
            return None
        # as near to an edge of the frame, left or right, and to its top as it comes
        aside = np.minimum(x - x0, x1 - x - size[0]) + (y1 - y - size[1]) / 2.0
        ax, ay, bx, by = boxes[:, int(np.where(free, aside, inf).argmin())].tolist()
        self.take_text((ax, ay, bx, by))
        return ax, ay

    def _around(self, anchor: Point, wish: Wish) -> Iterator[Box]:
        """Free boxes beside an anchor, ring by ring."""
        for boxes in self._rings(anchor, wish):
            yield from zip(*boxes[:, self._cells.are_free(boxes)].tolist(), strict=True)

    def _rings(self, anchor: Point, wish: Wish) -> Iterator[Array]:
        """Boxes (4, n) around an anchor within the frame: some of the nearest, then more and more."""
        a = np.radians(wish.toward + _TURNS)
        c, s = np.cos(a), np.sin(a)
        right, up = wish.size[0] / 2.0, wish.size[1] / 2.0
        # the box touches the circle of this radius from outside
        edge = np.minimum(right / np.maximum(np.abs(c), 1e-9), up / np.maximum(np.abs(s), 1e-9))
        for rings in _radii(wish.gap, wish.reach, _STEP * self._cell):
            k = rings + edge
            x, y = (anchor[0] + c * k).ravel(), (anchor[1] + s * k).ravel()
            boxes = np.empty((4, len(x)))
            boxes[0], boxes[1], boxes[2], boxes[3] = x - right, y - up, x + right, y + up
            out = float(rings[-1, 0]) + hypot(*wish.size)
            if not self._holds((anchor[0] - out, anchor[1] - out, anchor[0] + out, anchor[1] + out)):
                boxes = boxes[:, self._are_inside(boxes)]
            if boxes.size:
                yield boxes

    def _holds(self, box: Box) -> bool:
        x0, y0, x1, y1 = self.frame
        return box[0] >= x0 and box[1] >= y0 and box[2] <= x1 and box[3] <= y1

    def _are_inside(self, boxes: Array) -> Flags:
        x0, y0, x1, y1 = self.frame
        return np.asarray((boxes[0] >= x0) & (boxes[1] >= y0) & (boxes[2] <= x1) & (boxes[3] <= y1))


def nearest(box: Box, p: Point) -> Point:
    """The point of a box nearest to a point."""
    (x, y), (x0, y0, x1, y1) = p, box
    return x0 if x < x0 else x1 if x > x1 else x, y0 if y < y0 else y1 if y > y1 else y


@lru_cache(maxsize=256)
def _radii(gap: float, reach: float, step: float) -> Sequence[Array]:
    """Distances of a box from its anchor, the nearest first, in columns of as many as are asked about at once."""
    found, out = [], gap
    while out <= reach:
        found.append(out)
        out += max(step, _GROWTH * out)
    groups, first, count = [], 0, _NEAREST
    while first < len(found):
        groups.append(np.array(found[first : first + count])[:, None])
        first, count = first + count, first + count
    return groups
