"""Lines and parts, many at once: in pairs, each line with its part, and the lines of one branch with all parts.

Both say of straight round parts the same as these say of the lines of one branch, to the last bit, for they share what
is said of a cylinder here; what is flat is left to the parts. `Obstacles` says it of bends, too, which are asked only
about lines that come into the box around them, and no more about lines that something else stops before they do.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from converter.arrays import Array, Flags, Ints
from converter.geometry.vectors import Vec
from converter.joints.cuts.lines import Branch, ObstaclePart, ParallelLines
from converter.joints.cuts.round import GRAZE, RoundPrism
from converter.joints.cuts.torus import BendPart, Rings

#: Fewer parts are quicker asked one by one; pairs of lines and bends looked at together, for the processor's cache.
_FEW, _AT_ONCE = 3, 1024
#: mm by which the boxes around bends are larger than the bends, and what of a direction still counts as level with a
#: side of one: a line so level drifts by less than that over any length of tube.
_SLACK, _LEVEL = 1e-3, 1e-9


class EachLine(NamedTuple):
    """Lines (k,), each of a branch of its own, as rows of numbers; see `ParallelLines`.

    Attributes:
        point, direction, zero, side: (3, k) of the branches.
        p, q: (k,) offsets from the branches' axes, mm.
    """

    point: Array
    direction: Array
    zero: Array
    side: Array
    p: Array
    q: Array

    @classmethod
    def axes_of(cls, branches: Sequence[Branch]) -> EachLine:
        """The axes of branches."""
        rows = [(*one.point, *one.direction, *one.zero, *one.side) for one in branches]
        point, direction, zero, side = np.array(rows, dtype=np.float64).reshape(-1, 4, 3).transpose(1, 2, 0)
        return cls(point, direction, zero, side, np.zeros(len(rows)), np.zeros(len(rows)))

    def rows(self, chosen: Ints) -> EachLine:
        """Some of them."""
        return EachLine(*(one[..., chosen] for one in self))


class ManyParts:
    """Parts as arrays; ``part`` (k,) says by its place in the list with which part each of some lines is paired."""

    def __init__(self, every: Sequence[ObstaclePart]) -> None:
        self._bent = np.array([isinstance(part, BendPart) for part in every], dtype=np.bool_)
        self._flat = np.array([isinstance(p, BendPart) and not p.half_up == p.half_across == p.corner for p in every])
        self._round = np.array([_is_plain_tube(part) for part in every], dtype=np.bool_)
        self._bends = _bends(every)
        self._tubes = _Tubes.of(every)

    def stops(self, lines: EachLine, part: Ints, low: Array, high: Array) -> tuple[Array, Ints]:
        """(t, left): where each line enters its part, -inf where it does not; and which are left for the part to tell.

        Bends are looked for between the lengths ``low`` and ``high`` (k,).
        """
        t = np.full(len(part), -np.inf)
        for some in self._bend_groups(part):
            t[some] = self._rings(lines.rows(some), part[some]).entries(low[some], high[some]).t
        left = ~self._bent[part]
        some = np.flatnonzero(self._round[part])
        if len(some):
            t[some], left[some] = self._tubes.rows(part[some]).stops(lines.rows(some))
        return t, np.flatnonzero(left)

    def hold(self, lines: EachLine, part: Ints, t: Array) -> tuple[Flags, Ints]:
        """(held, left): whether the place at the length ``t`` of each line lies inside its part; and which are left."""
        held = np.zeros(len(part), dtype=np.bool_)
        for some in self._bend_groups(part):
            held[some] = self._rings(lines.rows(some), part[some]).hold(np.arange(len(some)), t[some])
        some = np.flatnonzero(self._round[part])
        held[some] = self._tubes.rows(part[some]).hold(lines.rows(some), t[some])
        return held, np.flatnonzero(~self._bent[part] & ~self._round[part])

    def _bend_groups(self, part: Ints) -> list[Ints]:
        bent, flat = self._bent[part], self._flat[part]
        return [some for some in (np.flatnonzero(bent & ~flat), np.flatnonzero(bent & flat)) if len(some)]

    def _rings(self, lines: EachLine, part: Ints) -> Rings:
        table = self._bends[part]
        axes = [table[:, i : i + 3].T for i in (3, 6, 9)]
        start, step = (
            np.stack([_along(lines, table[:, :3].T, axis) for axis in axes]),
            np.stack([_dot(lines.direction, axis) for axis in axes]),
        )
        return _rings(table, start, step)


class Obstacles:
    """Parts in the way of the lines of one branch.

    Args:
        parts: in any order; rows of what `each` tells are in theirs.
    """

    def __init__(self, parts: Sequence[ObstaclePart]) -> None:
        self._every = tuple(parts)
        many = len(self._every) >= _FEW
        self._round = [i for i, part in enumerate(self._every) if many and _is_plain_tube(part)]
        self._bent = [i for i, part in enumerate(self._every) if many and isinstance(part, BendPart)]
        at_once = {*self._round, *self._bent}
        self._single = [i for i in range(len(self._every)) if i not in at_once]
        tubes = [self._every[i] for i in self._round]
        self._tubes = _Tubes.of(tubes).column() if tubes else None
        bends = [part for i in self._bent if isinstance(part := self._every[i], BendPart)]
        self._bends = _BendRows.of(bends) if bends else None

    def at(self, lines: ParallelLines) -> LinesAtParts:
        """The lines beside the parts: what `each` and `first_met` want."""
        bends = None if self._bends is None else _LinesAtBends(self._bends, lines)
        return LinesAtParts(self._straights(lines), self._bent, bends)

    def _straights(self, lines: ParallelLines) -> Array:
        """(parts, lines): where lines enter all but the bends, -inf where they do not."""
        t = np.full((len(self._every), len(lines.p)), -np.inf)
        every = np.ones(len(lines.p), dtype=np.bool_)
        for i in self._single:
            at, hit, _ = self._every[i].stops(lines, every)
            t[i] = np.where(hit, at, -np.inf)
        if self._tubes is not None:
            t[self._round], lengthwise = self._tubes.stops(_one_for_all(lines))
            for i in np.flatnonzero(lengthwise).tolist():
                at, hit, _ = self._every[self._round[i]].stops(lines, every)
                t[self._round[i]] = np.where(hit, at, -np.inf)
        return t


class _Tubes(NamedTuple):
    """Straight round parts as numbers (n,), or in columns (n, 1) beside lines that each is asked about.

    Attributes:
        point, axis: three numbers of each, (3, n); radius: (n,), mm.
        bounds: (2, 2, 3, n): point and normal of two half-spaces; 0 where there are fewer.
    """

    point: Array
    axis: Array
    radius: Array
    bounds: Array

    @classmethod
    def of(cls, every: Iterable[ObstaclePart]) -> _Tubes:
        """The straight round parts among some that no more than two half-spaces end; others have no direction."""
        rows = [part.numbers if isinstance(part, RoundPrism) else _NO_TUBE for part in every]
        table = np.array(rows, dtype=np.float64).reshape(-1, len(_NO_TUBE)).T
        return cls(table[:3], table[3:6], table[6], table[7:].reshape(2, 2, 3, -1))

    def rows(self, chosen: Ints) -> _Tubes:
        """Some of them."""
        return _Tubes(*(one[..., chosen] for one in self))

    def column(self) -> _Tubes:
        """They, in columns."""
        return _Tubes(*(one[..., None] for one in self))

    def stops(self, lines: EachLine | _OneForAll) -> tuple[Array, Flags]:
        """(t, lengthwise): where lines enter, -inf where they do not; and which run lengthwise, of which t is nothing.

        See `RoundPrism.stops`, step by step the same.
        """
        d, a = lines.direction, self.axis
        k = _cross(a, d)
        sine = _length(k)
        lengthwise = sine < 1e-9
        sine = np.where(lengthwise, 1.0, sine)
        lean = -_dot(d, a)
        across = [d[i] + a[i] * lean for i in range(3)]
        off = _along(lines, self.point, [one * (1.0 / sine) for one in k])
        beside = _along(lines, self.point, [one * (1.0 / (sine * sine)) for one in across])
        squared = self.radius * self.radius
        room = squared - off * off
        half = np.sqrt(np.maximum(room, 0.0)) / sine
        low, high, hit = beside - half, beside + half, room >= -GRAZE * self.radius * self.radius
        for at, normal in self.bounds:
            if not normal.any():
                continue
            ahead, start = _dot(normal, d), _along(lines, at, normal)
            level = np.abs(ahead) < 1e-12
            hit &= ~level | (start <= 1e-9)
            edge = start / np.where(level, 1.0, ahead)
            low = np.where(~level & (ahead > 0.0), np.maximum(low, edge), low)
            high = np.where(~level & (ahead < 0.0), np.minimum(high, edge), high)
        return np.where(hit & (low <= high), high, -np.inf), lengthwise.reshape(len(lengthwise))

    def hold(self, lines: EachLine, t: Array) -> Flags:
        """Whether places at the lengths ``t`` of lines lie inside; see `RoundPrism.holds`, step by step the same."""
        d = lines.direction
        ahead = _along(lines, self.point, self.axis) - t * _dot(self.axis, d)
        start = _along(lines, self.point, d)
        squared = sum(_along(lines, self.point, v) ** 2 for v in (d, lines.zero, lines.side))
        far = squared - 2.0 * t * start + t * t - ahead * ahead
        held: Flags = far < self.radius * self.radius
        for at, normal in self.bounds:
            held &= _along(lines, at, normal) - t * _dot(normal, d) <= 0.0
        return held


class _OneForAll(NamedTuple):
    """The lines of one branch, (k,), as `EachLine` has them: three numbers of the branch for all."""

    point: Vec
    direction: Vec
    zero: Vec
    side: Vec
    p: Array
    q: Array


def _one_for_all(lines: ParallelLines) -> _OneForAll:
    one = lines.branch
    return _OneForAll(one.point, one.direction, one.zero, one.side, lines.p, lines.q)


class _BendRows(NamedTuple):
    """Bends as `_bends` has them, the lengths (n, 2) to look in, and which are of tube with flats."""

    table: Array
    windows: Array
    flat: Flags

    @classmethod
    def of(cls, bends: Sequence[BendPart]) -> _BendRows:
        flat = [not part.half_up == part.half_across == part.corner for part in bends]
        windows = np.array([part.window for part in bends]).reshape(-1, 2)
        return cls(_bends(bends), windows, np.array(flat, dtype=np.bool_))


class _LinesAtBends:
    """The lines of one branch beside some bends: rows for bends, columns for lines.

    Attributes:
        table, windows, flat: see `_BendRows`.
        start, step: (3, bends, lines), (3, bends): the lines in the bends' own axes.
        enters, leaves: the lengths between which each line is in the box around each bend.
        likely: whether it is there within what is looked at.
    """

    def __init__(self, bends: _BendRows, lines: ParallelLines) -> None:
        self.table, self.windows, self.flat = bends
        axes = [self.table[:, i : i + 3].T for i in (3, 6, 9)]
        center, all_lines = self.table[:, :3].T[..., None], _one_for_all(lines)
        self.start = np.stack([_along(all_lines, center, axis[..., None]) for axis in axes])
        self.step = np.stack([_dot(lines.branch.direction, axis) for axis in axes])
        self.enters, self.leaves = _in_boxes(self.table, self.start, self.step)
        low, high = self.windows[:, :1] - _SLACK, self.windows[:, 1:] + _SLACK
        self.likely: Flags = (self.enters <= np.minimum(self.leaves, high)) & (self.leaves >= low)

    def pairs(self, row: Ints, column: Ints) -> tuple[Array, Array, Array, Array, Array, Array]:
        """Some lines with a bend each: table, windows, start, step, enters, leaves, a pair in each last column."""
        return (
            self.table[row].T,
            self.windows[row].T,
            self.start[:, row, column],
            self.step[:, row],
            self.enters[row, column],
            self.leaves[row, column],
        )


class LinesAtParts(NamedTuple):
    """The lines of one branch beside parts in their way.

    Attributes:
        straights: (parts, lines): the greatest length at which each line enters each part, -inf where it does not, and
            for bends; bent: which parts these are; bends: they, None where there are none.
    """

    straights: Array
    bent: list[int]
    bends: _LinesAtBends | None


def each(asked: Sequence[LinesAtParts]) -> list[Array]:
    """Of each (parts, lines): the greatest length at which each line enters each part, -inf where it does not.

    The bends of all are looked at together, which takes a fraction of the time that they take one by one.
    """
    some = [one for one in asked if one.bends is not None]
    found = _entries([(one.bends, one.bends.likely) for one in some if one.bends is not None])
    for one, entered in zip(some, found, strict=True):
        one.straights[one.bent] = entered
    return [one.straights for one in asked]


def first_met(asked: Sequence[LinesAtParts]) -> list[Array]:
    """Of each (lines,): the greatest length at which each line enters any part, -inf where it enters none."""
    best: list[Array] = [one.straights.max(axis=0, initial=-np.inf) for one in asked]
    at = [(n, bends) for n, one in enumerate(asked) if (bends := one.bends) is not None]
    # first the bend that each line may enter furthest on, which saves the question for most others
    likely = [bends.likely & (bends.leaves >= best[n] - _SLACK) for n, bends in at]
    furthest = []
    for (_, bends), some in zip(at, likely, strict=True):
        first = np.where(some, bends.leaves, -np.inf).argmax(axis=0)
        furthest.append(first == np.arange(len(some))[:, None])
    asked_first = [(bends, some & first) for (_, bends), some, first in zip(at, likely, furthest, strict=True)]
    for (n, _), entered in zip(at, _entries(asked_first), strict=True):
        best[n] = np.maximum(best[n], entered.max(axis=0))
    rest = [
        (bends, some & ~first & (bends.leaves >= best[n] - _SLACK))
        for (n, bends), some, first in zip(at, likely, furthest, strict=True)
    ]
    for (n, _), entered in zip(at, _entries(rest), strict=True):
        best[n] = np.maximum(best[n], entered.max(axis=0))
    return best


def _entries(asked: Sequence[tuple[_LinesAtBends, Flags]]) -> list[Array]:
    """The greatest length at which some lines enter their bends; -inf where they do not, and for the others."""
    found = [np.full(some.shape, -np.inf) for _, some in asked]
    for flat in (False, True):
        places = [np.nonzero(some & (bends.flat == flat)[:, None]) for bends, some in asked]
        if not any(len(row) for row, _ in places):
            continue
        table, windows, start, step, enters, leaves = (
            np.concatenate(column, axis=-1)
            for column in zip(
                *(bends.pairs(row, column) for (bends, _), (row, column) in zip(asked, places, strict=True)),
                strict=True,
            )
        )
        t = np.empty(len(enters))
        # lines that are in their boxes equally long together: so far they are looked at
        order = np.argsort(leaves - enters, kind="stable")
        for first in range(0, len(order), _AT_ONCE):
            now = order[first : first + _AT_ONCE]
            rings = _rings(table[:, now].T, start[:, now], step[:, now])
            box = enters[now] - _SLACK, leaves[now] + _SLACK
            t[now] = rings.entries(windows[0, now], windows[1, now], box).t
        ends = np.cumsum([len(row) for row, _ in places])[:-1]
        for one, (row, column), entered in zip(found, places, np.split(t, ends), strict=True):
            one[row, column] = entered
    return found


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


def _along(lines: EachLine | _OneForAll, origin: Any, v: Any) -> Array:
    """`ParallelLines.along` for many origins and vectors, three numbers one after another; summed in its order."""
    away = _dot([lines.point[i] - origin[i] for i in range(3)], v)
    value: Array = lines.p * _dot(lines.zero, v) + lines.q * _dot(lines.side, v) + away
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


_NO_TUBE = (0.0,) * 19
