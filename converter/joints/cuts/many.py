"""Lines and parts, many at once: in pairs, each line with its part, and the lines of one branch with all parts.

`ManyParts` says the same as the parts say of the lines of one branch, to rounding; what is flat is left to them.
`Obstacles` says it to the last bit. A bend is asked only about lines that come into the box around it, and no more
about lines that something else stops before they do.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from converter.joints.cuts.lines import Array, Hits, ObstaclePart, ParallelLines
from converter.joints.cuts.round import GRAZE, RoundPrism
from converter.joints.cuts.torus import BendPart, Rings

Ints = NDArray[np.int64]

#: Fewer parts are quicker asked one by one; pairs of lines and bends looked at together, for the processor's cache.
_FEW, _AT_ONCE = 3, 1024
#: mm by which the boxes around bends are larger than the bends, and what of a direction still counts as level with a
#: side of one: a line so level drifts by less than that over any length of tube.
_SLACK, _LEVEL = 1e-3, 1e-9


class ManyParts:
    """Parts as arrays.

    A line is given by a point (k, 3) and a unit direction (k, 3): at length t it is at point - t direction. ``part``
    (k,) says by its place in the list with which part each is paired.
    """

    def __init__(self, every: Sequence[ObstaclePart]) -> None:
        self._bent = np.array([isinstance(part, BendPart) for part in every], dtype=np.bool_)
        self._flat = np.array([isinstance(p, BendPart) and not p.half_up == p.half_across == p.corner for p in every])
        self._round = np.array([isinstance(part, RoundPrism) for part in every], dtype=np.bool_)
        self._bends = _bends(every)
        self._tubes = _tubes(every)

    def stops(self, points: Array, ways: Array, part: Ints, low: Array, high: Array) -> tuple[Array, Ints]:
        """(t, left): where each line enters its part, -inf where it does not; and which are left for the part to tell.

        Bends are looked for between the lengths ``low`` and ``high`` (k,).
        """
        t = np.full(len(part), -np.inf)
        for some in self._bend_groups(part):
            t[some] = self._rings(points[some], ways[some], part[some]).entries(low[some], high[some]).t
        left = ~self._bent[part] & ~self._round[part]
        some = np.flatnonzero(self._round[part])
        if len(some):
            t[some], left[some] = self._into_tubes(points[some], ways[some], part[some])
        return t, np.flatnonzero(left)

    def hold(self, points: Array, ways: Array, part: Ints, t: Array) -> tuple[Hits, Ints]:
        """(held, left): whether the place at the length ``t`` of each line lies inside its part; and which are left."""
        held = np.zeros(len(part), dtype=np.bool_)
        for some in self._bend_groups(part):
            rings = self._rings(points[some], ways[some], part[some])
            held[some] = rings.hold(np.arange(len(some)), t[some])
        some = np.flatnonzero(self._round[part])
        held[some] = self._in_tubes(points[some], ways[some], part[some], t[some])
        return held, np.flatnonzero(~self._bent[part] & ~self._round[part])

    def _bend_groups(self, part: Ints) -> list[Ints]:
        bent, flat = self._bent[part], self._flat[part]
        return [some for some in (np.flatnonzero(bent & ~flat), np.flatnonzero(bent & flat)) if len(some)]

    def _rings(self, points: Array, ways: Array, part: Ints) -> Rings:
        table = self._bends[part]
        w = points - table[:, :3]
        axes = [table[:, i : i + 3] for i in (3, 6, 9)]
        start, step = (np.stack([(v * axis).sum(axis=1) for axis in axes]) for v in (w, ways))
        return _rings(table, start, step)

    def _into_tubes(self, points: Array, ways: Array, part: Ints) -> tuple[Array, Hits]:
        """See `RoundPrism.stops`; and which lines run lengthwise in a part that nothing ends."""
        point, axis, radius, bounds = (one[part] for one in self._tubes)
        w, d = points - point, ways
        k = np.cross(axis, d)
        sine = np.linalg.norm(k, axis=1)
        lengthwise = sine < 1e-9
        safe = np.where(lengthwise, 1.0, sine)
        off = (w * k).sum(axis=1) / safe
        across = d - (d * axis).sum(axis=1)[:, None] * axis
        beside = (w * across).sum(axis=1) / (safe * safe)
        room = radius * radius - off * off
        half = np.sqrt(np.maximum(room, 0.0)) / safe
        low, high, hit = beside - half, beside + half, room >= -GRAZE * radius * radius
        if bool(lengthwise.any()):
            along = (w * axis).sum(axis=1)
            hit = np.where(lengthwise, (w * w).sum(axis=1) - along * along <= radius * radius, hit)
            low, high = np.where(lengthwise, -np.inf, low), np.where(lengthwise, np.inf, high)
        for i in (0, 1):
            at, normal = bounds[:, i, :3], bounds[:, i, 3:]
            ahead = (normal * d).sum(axis=1)
            start = ((points - at) * normal).sum(axis=1)
            level = np.abs(ahead) < 1e-12
            hit &= ~level | (start <= 1e-9)
            edge = start / np.where(level, 1.0, ahead)
            low = np.where(~level & (ahead > 0.0), np.maximum(low, edge), low)
            high = np.where(~level & (ahead < 0.0), np.minimum(high, edge), high)
        hit &= low <= high
        endless = lengthwise & ((hit & np.isinf(high)) | ~bounds.any(axis=(1, 2)))
        return np.where(hit, high, -np.inf), endless

    def _in_tubes(self, points: Array, ways: Array, part: Ints, t: Array) -> Hits:
        """See `RoundPrism.holds`."""
        point, axis, radius, bounds = (one[part] for one in self._tubes)
        places = points - t[:, None] * ways
        w = places - point
        aside = w - (w * axis).sum(axis=1)[:, None] * axis
        held: Hits = (aside * aside).sum(axis=1) < radius * radius
        for i in (0, 1):
            held &= ((places - bounds[:, i, :3]) * bounds[:, i, 3:]).sum(axis=1) <= 0.0
        return held


class Obstacles:
    """Parts in the way of the lines of one branch.

    Args:
        parts: in any order; rows of what is told are in theirs.
    """

    def __init__(self, parts: Sequence[ObstaclePart]) -> None:
        self._every = tuple(parts)
        many = len(self._every) >= _FEW
        self._round = [i for i, part in enumerate(self._every) if many and _is_plain_tube(part)]
        self._bent = [i for i, part in enumerate(self._every) if many and isinstance(part, BendPart)]
        at_once = {*self._round, *self._bent}
        self._single = [i for i in range(len(self._every)) if i not in at_once]
        self._tubes = _tubes([self._every[i] for i in self._round])
        bends = [part for i in self._bent if isinstance(part := self._every[i], BendPart)]
        self._bends = _BendRows.of(bends)

    def each(self, lines: ParallelLines) -> Array:
        """(parts, lines): the greatest length at which each line enters each part, -inf where it does not."""
        t = self._straights(lines)
        if self._bent:
            bends = _LinesAtBends(self._bends, lines)
            t[self._bent] = bends.entries(bends.likely)
        return t

    def first_met(self, lines: ParallelLines) -> Array:
        """(lines,): the greatest length at which each line enters any part, -inf where it enters none."""
        best: Array = self._straights(lines).max(axis=0, initial=-np.inf)
        if self._bent:
            bends = _LinesAtBends(self._bends, lines)
            # first the bend that each line may enter furthest on, which saves the question for most others
            likely = bends.likely & (bends.leaves >= best - _SLACK)
            furthest = np.where(likely, bends.leaves, -np.inf).argmax(axis=0) == np.arange(len(likely))[:, None]
            best = np.maximum(best, bends.entries(likely & furthest).max(axis=0))
            best = np.maximum(best, bends.entries(likely & ~furthest & (bends.leaves >= best - _SLACK)).max(axis=0))
        return best

    def _straights(self, lines: ParallelLines) -> Array:
        """What `each` tells of all but the bends."""
        t = np.full((len(self._every), len(lines.p)), -np.inf)
        every = np.ones(len(lines.p), dtype=np.bool_)
        for i in self._single:
            at, hit, _ = self._every[i].stops(lines, every)
            t[i] = np.where(hit, at, -np.inf)
        if self._round:
            t[self._round] = self._into_tubes(lines)
            for i in np.flatnonzero(self._lengthwise(lines)).tolist():
                at, hit, _ = self._every[self._round[i]].stops(lines, every)
                t[self._round[i]] = np.where(hit, at, -np.inf)
        return t

    def _lengthwise(self, lines: ParallelLines) -> Hits:
        value: Hits = _length(_cross(self._tubes[1].T, lines.branch.direction)) < 1e-9
        return value

    def _into_tubes(self, lines: ParallelLines) -> Array:
        """See `RoundPrism.stops`, step by step the same; tubes in line with the branch: any."""
        point, axis, radius, bounds = self._tubes
        d, a = lines.branch.direction, axis.T
        k = _cross(a, d)
        sine = _length(k)
        sine = np.where(sine < 1e-9, 1.0, sine)
        lean = -_dot(d, a)
        across = [d[i] + a[i] * lean for i in range(3)]
        off = _along(lines, point.T, [one * (1.0 / sine) for one in k])
        beside = _along(lines, point.T, [one * (1.0 / (sine * sine)) for one in across])
        room = (radius * radius)[:, None] - off * off
        half = np.sqrt(np.maximum(room, 0.0)) / sine[:, None]
        low, high = beside - half, beside + half
        hit = room >= (-GRAZE * radius * radius)[:, None]
        for i in (0, 1):
            some = np.flatnonzero(bounds[:, i, 3:].any(axis=1))
            if not len(some):
                continue
            at, normal = bounds[some, i, :3].T, bounds[some, i, 3:].T
            ahead, start = _dot(normal, d)[:, None], _along(lines, at, normal)
            level = np.abs(ahead) < 1e-12
            hit[some] &= ~level | (start <= 1e-9)
            edge = start / np.where(level, 1.0, ahead)
            low[some] = np.where(~level & (ahead > 0.0), np.maximum(low[some], edge), low[some])
            high[some] = np.where(~level & (ahead < 0.0), np.minimum(high[some], edge), high[some])
        return np.where(hit & (low <= high), high, -np.inf)


class _BendRows(NamedTuple):
    """Bends as `_bends` has them, the lengths (n, 2) to look in, and which are of tube with flats."""

    table: Array
    windows: Array
    flat: Hits

    @classmethod
    def of(cls, bends: Sequence[BendPart]) -> _BendRows:
        flat = [not part.half_up == part.half_across == part.corner for part in bends]
        windows = np.array([part.window for part in bends]).reshape(-1, 2)
        return cls(_bends(bends), windows, np.array(flat, dtype=np.bool_))


class _LinesAtBends:
    """The lines of one branch beside some bends: rows for bends, columns for lines.

    Attributes:
        enters, leaves: the lengths between which each line is in the box around each bend.
        likely: whether it is there within what is looked at.
    """

    def __init__(self, bends: _BendRows, lines: ParallelLines) -> None:
        self._table, self._windows, self._flat = bends
        axes = [self._table[:, i : i + 3].T for i in (3, 6, 9)]
        self._start = np.stack([_along(lines, self._table[:, :3].T, axis) for axis in axes])
        self._step = np.stack([_dot(lines.branch.direction, axis) for axis in axes])
        self.enters, self.leaves = _in_boxes(self._table, self._start, self._step)
        low, high = self._windows[:, :1] - _SLACK, self._windows[:, 1:] + _SLACK
        self.likely: Hits = (self.enters <= np.minimum(self.leaves, high)) & (self.leaves >= low)

    def entries(self, some: Hits) -> Array:
        """The greatest length at which some lines enter their bends; -inf where they do not, and for the others."""
        t = np.full(some.shape, -np.inf)
        for flat in (False, True):
            rows, columns = np.nonzero(some & (self._flat == flat)[:, None])
            # lines that are in their boxes equally long together: so far they are looked at
            order = np.argsort(self.leaves[rows, columns] - self.enters[rows, columns], kind="stable")
            rows, columns = rows[order], columns[order]
            for first in range(0, len(rows), _AT_ONCE):
                row, column = rows[first : first + _AT_ONCE], columns[first : first + _AT_ONCE]
                rings = _rings(self._table[row], self._start[:, row, column], self._step[:, row])
                box = self.enters[row, column] - _SLACK, self.leaves[row, column] + _SLACK
                t[row, column] = rings.entries(self._windows[row, 0], self._windows[row, 1], box).t
        return t


def _in_boxes(table: Array, start: Array, step: Array) -> tuple[Array, Array]:
    """The lengths between which lines are in the box around each bend, (bends, lines) each; none where the first
    is the greater."""
    clr, sweep, up, across, corner = table[:, 12:17].T
    turn = np.radians(sweep) / 2.0
    c, s = np.cos(turn)[:, None], np.sin(turn)[:, None]
    half = np.hypot(up - corner, across - corner) + corner + _SLACK  # of the section, however it lies
    # along the way from the centre to the middle of the bend, across it, and along the normal
    inmost, wide = clr * np.cos(turn), clr * np.sin(np.minimum(turn, np.pi / 2.0))
    ranges = ((inmost - half, clr + half), (-wide - half, wide + half), (-half, half))
    places = (c * start[0] + s * start[1], c * start[1] - s * start[0], start[2])
    dx, dy, dz = step[:, :, None]
    ways = (c * dx + s * dy, c * dy - s * dx, dz)
    enters, leaves = np.full(start.shape[1:], -np.inf), np.full(start.shape[1:], np.inf)
    for (least, most), place, way in zip(ranges, places, ways, strict=True):
        level = np.abs(way) < _LEVEL
        divisor = np.where(level, 1.0, way)
        one, other = (place - most[:, None]) / divisor, (place - least[:, None]) / divisor
        outside = level & ((place < least[:, None]) | (place > most[:, None]))
        enters = np.maximum(enters, np.where(level, np.where(outside, np.inf, -np.inf), np.minimum(one, other)))
        leaves = np.minimum(leaves, np.where(level, np.inf, np.maximum(one, other)))
    return enters, leaves


def _is_plain_tube(part: ObstaclePart) -> bool:
    """Whether a part is a straight round mate that no more than two half-spaces end."""
    return isinstance(part, RoundPrism) and len(part.bounds) <= 2


def _dot(a: Any, b: Any) -> Array:
    """Scalar products, the three numbers of each vector one after another; summed in the order of `vectors.dot`."""
    value: Array = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return value


def _cross(a: Any, b: Any) -> list[Array]:
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]


def _length(a: Any) -> Array:
    value: Array = np.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])
    return value


def _along(lines: ParallelLines, origin: Any, v: Any) -> Array:
    """`ParallelLines.along` for many origins and vectors (k,), summed in its order; (k, lines)."""
    branch = lines.branch
    away = _dot([branch.point[i] - origin[i] for i in range(3)], v)
    value: Array = lines.p * _dot(branch.zero, v)[:, None] + lines.q * _dot(branch.side, v)[:, None] + away[:, None]
    return value


def _rings(table: Array, start: Array, step: Array) -> Rings:
    """Lines with a bend each, by rows of `_bends`; ``start`` and ``step`` (3, k) in the bends' own axes."""
    return Rings(table[:, 12], table[:, 13], (table[:, 14], table[:, 15], table[:, 16]), table[:, 17], start, step)


def _bends(every: Iterable[ObstaclePart]) -> Array:
    """Bends as rows: centre, the axes x, y and z, radius, sweep, half sizes, corner and roll; others as zeros."""
    rows = []
    for one in every:
        if not isinstance(one, BendPart):
            rows.append((0.0,) * 18)
            continue
        x, y = one.axes
        sizes = (one.clr, one.sweep, one.half_up, one.half_across, one.corner, one.roll)
        rows.append((*one.center, *x, *y, *one.normal, *sizes))
    return np.array(rows, dtype=np.float64).reshape(-1, 18)


def _tubes(every: Iterable[ObstaclePart]) -> tuple[Array, Array, Array, Array]:
    """Straight round parts as rows: point, axis, radius, and two half-spaces (of no effect where there are fewer)."""
    rows = [_tube_row(part) if isinstance(part, RoundPrism) else _NO_TUBE for part in every]
    table = np.array(rows, dtype=np.float64).reshape(-1, len(_NO_TUBE))
    return table[:, :3], table[:, 3:6], table[:, 6], table[:, 7:].reshape(-1, 2, 6)


_NO_BOUND = (0.0,) * 6
_NO_TUBE = (0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, *_NO_BOUND, *_NO_BOUND)


def _tube_row(part: RoundPrism) -> tuple[float, ...]:
    bounds = [(*point, *normal) for point, normal in part.bounds[:2]]
    return (*part.point, *part.axis, part.radius, *(v for one in (*bounds, _NO_BOUND, _NO_BOUND)[:2] for v in one))
