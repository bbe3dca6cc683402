"""Room for labels: what of a drawing is taken, and where a label of a size stands clear of it.

All that places labels does it here: pictures, profiles, strips and cope templates. Lines and texts are taken; a label
says what it is like (`Wish`) or names places, and gets the best one that is free, which is then taken, too. All lengths
are mm in the drawing's coordinates.

What is taken of a picture is kept in square cells, which are quick to ask about hundreds of places at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice, pairwise
from math import atan2, degrees, dist, inf

import numpy as np

from converter.arrays import Array, Flags
from converter.exporters.paper.cells import LINE, TEXT, Cells, Strips
from converter.exporters.paper.figure import Box, Point

#: Directions tried around a place, degrees from the wanted one, the nearest to it first.
_TURNS = np.array(sorted(range(-165, 195, 15), key=abs), dtype=float)
#: From ring to ring of places around an anchor: at least so many cells, else this share of how far out they are.
_STEP, _GROWTH = 1.7, 0.12
#: So many of the nearest rings are tried at once, then all others.
_NEAREST = 5
#: So many times as far as the nearest rings is looked next where cells are made for one label.
_FARTHER = 3.0
#: So much nearer a place must be that lies farther down a list of anchors, mm.
_WORTH = 2.0
#: Through so many points, a line is taken piece by piece.
_FEW = 10
#: So many boxes that were named are looked at together.
_AT_ONCE = 8
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
        cell: side of a cell, mm: labels keep about this far from what is taken. 0 for none: then all places for labels
            are named, and looked at exactly.
        frame: labels stay within; None for a drawing without an edge, however large.
    """

    def __init__(self, cell: float, frame: Box | None = None) -> None:
        self.frame: Box = frame or (-inf, -inf, inf, inf)
        self._cell = cell
        self._whole = Cells(frame, cell) if frame and cell else None
        self._rows: list[Array] = [np.empty((0, 6))]

    def copy(self) -> Room:
        """The same, of which more can be taken while this stays."""
        one = object.__new__(Room)
        whole = None if self._whole is None else self._whole.copy()
        one.__dict__ |= self.__dict__ | {"_whole": whole, "_rows": self._rows[:]}
        return one

    # --- what is taken --------------------------------------------------------------------

    def take_strips(self, strips: Iterable[Strips], by: int = LINE) -> None:
        """Take many straight strips: no label lies on them, leaders may cross them."""
        if self._whole is not None:
            self._whole.take_strips(strips, by)
        else:
            for a, b, half in strips:
                n = len(a)
                self._rows.append(np.column_stack((a, b, np.broadcast_to(half, n), np.full(n, float(by)))))

    def take_line(self, points: Sequence[Point], half: float = 0.0, by: int = LINE) -> None:
        """Take a line through points, as wide as twice the half width."""
        if self._whole is not None and len(points) < _FEW:
            for a, b in pairwise(points):
                self._whole.take_line(a, b, half, by)
        elif len(points) > 1:
            way = np.array(points, dtype=np.float64)
            self.take_strips([(way[:-1], way[1:], half)], by)

    def take_text(self, box: Box) -> None:
        """Take a box that holds a text: leaders keep clear of it, too."""
        if self._whole is not None:
            self._whole.take_box(box, TEXT)
            return
        half = min(box[2] - box[0], box[3] - box[1]) / 2.0
        self.take_slant((box[0] + half, box[1] + half), (box[2] - half, box[3] - half), half)

    def take_slant(self, a: Point, b: Point, half: float) -> None:
        """Take a strip that holds a slanted text."""
        self.take_line((a, b), half, TEXT)

    # --- what is free ---------------------------------------------------------------------

    def is_free(self, box: Box) -> bool:
        """Whether a box is within the frame and nothing in it is taken."""
        return self._holds(box) and (self._whole.is_free(box) if self._whole else self.first([box]) is not None)

    def is_clear(self, a: Point, b: Point, half: float) -> bool:
        """Whether a strip is within the frame and nothing in it is taken."""
        low = (min(a[0], b[0]) - half, min(a[1], b[1]) - half)
        high = (max(a[0], b[0]) + half, max(a[1], b[1]) + half)
        return self._holds((*low, *high)) and self._within((*low, *high)).is_strip_free(a, b, half)

    def crosses_text(self, a: Point, b: Point) -> bool:
        """Whether a line runs through a text."""
        window = (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))
        return self._within(window).crossed(a, b, inf) is None

    # --- places ---------------------------------------------------------------------------

    def first(self, boxes: Iterable[Box]) -> int | None:
        """The number of the first box that is free; it is not taken, and few behind it are worked out."""
        left, at = iter(boxes), 0
        # mostly the first will do
        while some := list(islice(left, _AT_ONCE if at else 1)):
            asked = np.array(some, dtype=np.float64).T
            free = self._are_inside(asked)
            if free.any():
                free &= self._are_empty(asked)
                if free.any():
                    return at + int(free.argmax())
            at += len(some)
        return None

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
            for reach in self._reaches(wish):
                cells = self._within(_reached(anchor, wish.size, reach))
                for box in self._around(cells, anchor, wish, reach):
                    end = nearest(box, anchor)
                    cost = dist(anchor, end) + worse
                    if cost >= best:
                        break
                    crossed = cells.crossed(anchor, end, wish.own, (best - cost) / max(wish.crossing, 1e-9))
                    if crossed is None:
                        continue
                    cost += wish.crossing * crossed if crossed else 0.0
                    if cost < best:
                        best, found = cost, LabelSpot(box, anchor, end, crossed)
                    if not crossed:
                        break
                else:
                    continue
                break  # what lies farther out costs more
        if found is not None:
            self.take_text(found.box)
        return found

    def over_lines(self, anchor: Point, wish: Wish) -> LabelSpot | None:
        """Take the nearest box that lies on no text, whatever lines it lies on."""
        cells = self._within(_reached(anchor, wish.size, wish.reach))
        for boxes in self._rings(anchor, wish, wish.reach):
            free = cells.are_free(boxes, TEXT)
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
        free = self._within(self.frame).are_free(boxes) if len(x) else np.zeros(0, dtype=bool)
        if not free.any():
            return None
        # as near to an edge of the frame, left or right, and to its top as it comes
        aside = np.minimum(x - x0, x1 - x - size[0]) + (y1 - y - size[1]) / 2.0
        ax, ay, bx, by = boxes[:, int(np.where(free, aside, inf).argmin())].tolist()
        self.take_text((ax, ay, bx, by))
        return ax, ay

    def _reaches(self, wish: Wish) -> Iterable[float]:
        """How far around an anchor is looked: where cells are made for it, near it first."""
        if self._whole is not None:
            return (wish.reach,)
        near = float(_radii(wish.gap, wish.reach, _STEP * self._cell)[0][-1, 0])
        return (near, _FARTHER * near, wish.reach) if _FARTHER * near < wish.reach else (near, wish.reach)

    def _around(self, cells: Cells, anchor: Point, wish: Wish, reach: float) -> Iterator[Box]:
        """Free boxes beside an anchor, ring by ring."""
        for boxes in self._rings(anchor, wish, reach):
            for k in np.flatnonzero(cells.are_free(boxes)).tolist():
                x0, y0, x1, y1 = boxes[:, k].tolist()
                yield x0, y0, x1, y1

    def _rings(self, anchor: Point, wish: Wish, reach: float) -> Iterator[Array]:
        """Boxes (4, n) around an anchor within the frame: some of the nearest, then the rest."""
        a = np.radians(wish.toward + _TURNS)
        c, s = np.cos(a), np.sin(a)
        right, up = wish.size[0] / 2.0, wish.size[1] / 2.0
        # the box touches the circle of this radius from outside
        edge = np.minimum(right / np.maximum(np.abs(c), 1e-9), up / np.maximum(np.abs(s), 1e-9))
        for rings in _radii(wish.gap, reach, _STEP * self._cell):
            k = rings + edge
            x, y = (anchor[0] + c * k).ravel(), (anchor[1] + s * k).ravel()
            boxes = np.empty((4, len(x)))
            boxes[0], boxes[1], boxes[2], boxes[3] = x - right, y - up, x + right, y + up
            inside = self._are_inside(boxes)
            if inside.all():
                yield boxes
            elif inside.any():
                yield boxes[:, inside]

    def _holds(self, box: Box) -> bool:
        x0, y0, x1, y1 = self.frame
        return box[0] >= x0 and box[1] >= y0 and box[2] <= x1 and box[3] <= y1

    def _are_inside(self, boxes: Array) -> Flags:
        x0, y0, x1, y1 = self.frame
        return np.asarray((boxes[0] >= x0) & (boxes[1] >= y0) & (boxes[2] <= x1) & (boxes[3] <= y1))

    def _are_empty(self, boxes: Array) -> Flags:
        if self._whole is not None:
            return self._whole.are_free(boxes)
        empty: Flags = np.logical_not(_met(self._obstacles, boxes[:, :, None])[0].any(axis=1))
        return empty

    def _within(self, window: Box) -> Cells:
        """The cells of a window, or those of the whole frame."""
        if self._whole is not None:
            return self._whole
        cells, margin = Cells(window, self._cell), self._cell
        rows = self._obstacles
        met, enter, leave = _met(rows, (window[0] - margin, window[1] - margin, window[2] + margin, window[3] + margin))
        start, way = rows[:, :2], rows[:, 2:4] - rows[:, :2]
        a, b = (start + way * share[:, None] for share in (enter, leave))
        for by in (LINE, TEXT):
            own = met & (rows[:, 5] == by)
            cells.take_strips([(a[own], b[own], rows[own, 4])], by)
        return cells

    @property
    def _obstacles(self) -> Array:
        """All strips that were taken, (n, 6): both ends, half the width, by what."""
        if len(self._rows) > 1:
            self._rows = [np.concatenate(self._rows)]
        return self._rows[0]


def _met(strips: Array, box: Box | Array) -> tuple[Flags, Array, Array]:
    """Whether strips (n, 6) meet a box, or each of some (4, m, 1), and between which shares of their lengths.

    By the slabs of Liang and Barsky.
    """
    enter, leave, half = np.zeros(len(strips)), np.ones(len(strips)), strips[:, 4]
    for axis in (0, 1):
        start, way = strips[:, axis], strips[:, axis + 2] - strips[:, axis]
        low, high = box[axis] - half - start, box[axis + 2] + half - start
        still = way == 0.0
        step = np.where(still, 1.0, way)
        first, last = low / step, high / step
        inside = (low <= 0.0) & (high >= 0.0)
        enter = np.maximum(enter, np.where(still, np.where(inside, 0.0, 2.0), np.minimum(first, last)))
        leave = np.minimum(leave, np.where(still, np.where(inside, 1.0, -1.0), np.maximum(first, last)))
    return np.asarray(enter <= leave), enter, leave


def nearest(box: Box, p: Point) -> Point:
    """The point of a box nearest to a point."""
    (x, y), (x0, y0, x1, y1) = p, box
    return x0 if x < x0 else x1 if x > x1 else x, y0 if y < y0 else y1 if y > y1 else y


def _reached(anchor: Point, size: Point, reach: float) -> Box:
    """Where all boxes of a size lie that are no farther away."""
    across, up = reach + size[0], reach + size[1]
    return anchor[0] - across, anchor[1] - up, anchor[0] + across, anchor[1] + up


@lru_cache(maxsize=256)
def _radii(gap: float, reach: float, step: float) -> Sequence[Array]:
    """Distances of a box from its anchor, the nearest first, in columns of as many as are asked about at once."""
    found, out = [], gap
    while out <= reach:
        found.append(out)
        out += max(step, _GROWTH * out)
    return [np.array(rings)[:, None] for rings in (found[:_NEAREST], found[_NEAREST:]) if rings]
