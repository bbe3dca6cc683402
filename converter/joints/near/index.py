"""Which straights and bends lie near which points or one another, and where, without comparing all with all.

Every centerline is sampled at even steps; samples go into the cells of a grid as wide as the
distance asked for, so that whatever lies that near shares a cell with the point or one of its
26 neighbours. Time and memory grow with the length of tube divided by that distance, and where
that would be too much the cells grow instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from math import radians
from typing import Any

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints, vectors
from converter.geometry.near import segments_apart
from converter.joints.bodies import Body, Leg
from converter.joints.finding.crowds import Crowds
from converter.joints.near.axes import BentLegs

#: Samples per leg on average at most; more would only propose the same legs again.
_MOST = 64
#: Points looked up together, and pairs of points and samples to expect of them at most.
_AT_ONCE, _PAIRS = 4096, 2_000_000
_MIX = np.array([73856093, 19349663, 83492791], dtype=np.int64)
_AROUND = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1], [-1, 0, 1], indexing="ij"), axis=-1).reshape(27, 3)
#: Degrees of bend per chord.
_TURN = 15.0
#: mm by which the balls around chords are larger: more than rounding.
_ROUNDING = 1e-3


class LegIndex:
    """The legs of many tubes, found by place.

    Attributes:
        body, leg: (m,) tube and place within it of every leg.
        length, begin: (m,) of every leg and of the centerline before it, mm; shape: see `rows_of`.
        start, way: (m, 3) where each leg starts, and its direction there.
        points, owner: (k, 3) samples and the leg of each.
        step: between samples, mm.
        crowds: places where too many ends meet to be told of one by one.
    """

    def __init__(self, bodies: Sequence[Body], near: float, crowds: Crowds) -> None:
        """Sample every leg so that legs within ``near`` mm of a point are found."""
        self.crowds = crowds
        legs = [(body.index, i, leg) for body in bodies for i, leg in enumerate(body.legs)]
        self.body = np.array([b for b, _, _ in legs], dtype=np.int64)
        self.leg = np.array([i for _, i, _ in legs], dtype=np.int64)
        length = np.array([leg.length for _, _, leg in legs])
        self.step = max(near, float(length.sum()) / (_MOST * max(len(legs), 1)))
        count = np.maximum(np.ceil(length / self.step).astype(np.int64), 1) + 1
        self.owner = np.repeat(np.arange(len(legs)), count)
        first = np.cumsum(count) - count
        part = (np.arange(int(count.sum())) - np.repeat(first, count)) / np.repeat(count - 1, count)
        self.shape = rows_of([leg for _, _, leg in legs])
        self.length = length
        self.begin = np.array([leg.begin for _, _, leg in legs])
        self.start = vectors(leg.start for _, _, leg in legs)
        self.way = vectors(leg.direction for _, _, leg in legs)
        self.points = _points(self.shape, self.owner, part)
        self.low = self.points.min(axis=0) if len(self.points) else np.zeros(3)
        # a sample lies at most half a step from any point of its leg
        self.width = near + self.step / 2.0
        key = self._cells(self.points) @ _MIX
        self.order = np.argsort(key, kind="stable")
        self.key = key[self.order]
        # most neighbouring cells are empty: a flag for each of some last bits of a key says so sooner than a search
        self._last_bits = (1 << (8 * len(key)).bit_length()) - 1
        self._filled = np.zeros(self._last_bits + 1, dtype=np.bool_)
        self._filled[key & self._last_bits] = True
        self._arcs = [leg.arc for _, _, leg in legs if leg.arc is not None]

    @cached_property
    def bend(self) -> Ints:
        """(m,) the place of each leg in `bends`, -1 for straights."""
        bent = self.shape[3] > 0.0
        value: Ints = np.where(bent, np.cumsum(bent) - 1, -1)
        return value

    @cached_property
    def bends(self) -> BentLegs:
        """The bends among the legs."""
        return BentLegs.of(self._arcs)

    @cached_property
    def legs_near_legs(self) -> tuple[Ints, Ints]:
        """Pairs of legs of different tubes that may lie within the distance, the lower number first, each once.

        Tubes that stand in one crowd are left out.
        """
        row, leg = self.near(self.points, _AROUND[13:])  # the other half of the cells finds the same pairs
        one = self.owner[row]
        low, high = np.minimum(one, leg), np.maximum(one, leg)
        pairs = once(low[low < high] * len(self.body) + high[low < high])
        i, j = pairs // len(self.body), pairs % len(self.body)
        one, other = self.body[i], self.body[j]
        kept = (one != other) & ~self.crowds.together(one, other)
        return i[kept], j[kept]

    def _cells(self, points: Array) -> Ints:
        return np.floor((points - self.low) / self.width).astype(np.int64)

    def near(self, points: Array, around: Ints = _AROUND) -> tuple[Ints, Ints]:
        """Pairs (row of ``points``, leg) where the leg may lie within the distance, each pair once.

        Args:
            points: (n, 3).
            around: the neighbouring cells to look in.
        """
        if not len(points) or not len(self.points):
            none = np.zeros(0, dtype=np.int64)
            return none, none
        mixed = self._cells(points) @ _MIX
        found = []
        row, most = 0, _AT_ONCE
        while row < len(points):
            # where samples crowd the pairs grow with the square of their number: a few points at a time
            some = np.arange(row, min(row + most, len(points)))
            code, looked = self._near(points, mixed, some, around)
            found.append(code)
            row += most
            most = max(1, min(_AT_ONCE, most * _PAIRS // max(looked, 1)))
        code = once(np.concatenate(found))
        return code // len(self.body), code % len(self.body)

    def _near(self, points: Array, mixed: Ints, some: Ints, around: Ints) -> tuple[Ints, int]:
        """Row x legs + leg of the pairs of ``some`` rows, and how many pairs of points and samples were looked at."""
        flat = (mixed[some][:, None] + (around @ _MIX)[None, :]).ravel()
        filled = np.flatnonzero(self._filled[flat & self._last_bits])
        low = np.searchsorted(self.key, flat[filled])
        many = np.searchsorted(self.key, flat[filled], "right") - low
        row = np.repeat(some[filled // len(around)], many)
        start = np.repeat(low - (np.cumsum(many) - many), many)
        sample = self.order[start + np.arange(int(many.sum()))]
        # column by column: rows of three numbers would make numpy start anew each time
        x, y, z = (self.points[:, k][sample] - points[:, k][row] for k in range(3))
        close = x * x + y * y + z * z <= self.width * self.width
        return once(row[close] * len(self.body) + self.owner[sample[close]]), len(row)


def once(values: Ints) -> Ints:
    """Every value once, rising; by sorting, which millions of numbers take better than numpy's hash table."""
    rising = np.sort(values)
    first = np.ones(len(rising), dtype=np.bool_)
    first[1:] = rising[1:] != rising[:-1]
    value: Ints = rising[first]
    return value


def rows_of(legs: Sequence[Leg]) -> tuple[Array, Array, Array, Array]:
    """Arrays over legs: origin (start or centre), chord or x axis, y axis, sweep in radians (0 for straights)."""
    origin = vectors(leg.start for leg in legs)
    x = vectors(leg.end for leg in legs) - origin
    y, sweep = np.zeros((len(legs), 3)), np.zeros(len(legs))
    bends = [(i, leg.arc, leg.direction) for i, leg in enumerate(legs) if leg.arc is not None]
    if bends:
        bent = np.array([i for i, _, _ in bends])
        center = vectors(arc.center for _, arc, _ in bends)
        x[bent] = vectors(arc.start for _, arc, _ in bends) - center
        y[bent] = vectors(way for _, _, way in bends) * np.array([arc.radius for _, arc, _ in bends])[:, None]
        origin[bent], sweep[bent] = center, np.radians([arc.angle for _, arc, _ in bends])
    return origin, x, y, sweep


def _points(legs: tuple[Array, Array, Array, Array], owner: Ints, part: Array) -> Array:
    """Sample points: straights by part of their length, bends by part of their sweep."""
    start, x, y, sweep = legs
    angle = part * sweep[owner]
    bent = sweep[owner] > 0.0
    c = np.where(bent, np.cos(angle), part)
    s = np.where(bent, np.sin(angle), 0.0)
    value: Array = start[owner] + c[:, None] * x[owner] + s[:, None] * y[owner]
    return value


def near_pairs(index: LegIndex, frame: Sequence[Body], more: float) -> tuple[Ints, Ints, Array]:
    """Legs of different tubes whose outsides come within ``more`` mm, and a place on the first where they do."""
    who, i, j, places = chords_near(index, frame, more)
    pairs, first = np.unique(who, return_index=True)
    return i[pairs], j[pairs], places[first]


def chords_near(index: LegIndex, frame: Sequence[Body], more: float) -> tuple[Ints, Ints, Ints, Array]:
    """(pair, i, j, places): chords of legs i[pair], j[pair] that come within their half sizes and ``more``, and where.

    A pair stands there once for every two chords that do.
    """
    half = np.array([body.half for body in frame])
    start, way, sag, first = _chords(index)
    i, j = index.legs_near_legs
    # balls around legs first, then around chords: most of two legs that come near do not come near themselves
    middle, ball = _balls(index)
    off = sum((middle[i, k] - middle[j, k]) ** 2 for k in range(3))
    some = np.flatnonzero(
        off <= (half[index.body[i]] + half[index.body[j]] + more + ball[i] + ball[j] + _ROUNDING) ** 2
    )
    i, j = i[some], j[some]
    count = np.diff(first)
    many = count[i] * count[j]
    pair = np.repeat(np.arange(len(i)), many)
    k = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
    a, b = first[i[pair]] + k // count[j[pair]], first[j[pair]] + k % count[j[pair]]
    limit = half[index.body[i]] + half[index.body[j]] + more
    middle, ball = start + way / 2.0, np.linalg.norm(way, axis=1) / 2.0 + sag
    off = sum((middle[a, k] - middle[b, k]) ** 2 for k in range(3))
    some = np.flatnonzero(off <= (limit[pair] + ball[a] + ball[b] + _ROUNDING) ** 2)
    pair, a, b = pair[some], a[some], b[some]
    off, places = segments_apart(start[a], way[a], start[b], way[b])
    close = np.flatnonzero(off < limit[pair] + sag[a] + sag[b])
    return pair[close], i, j, places[close]


def _balls(index: LegIndex) -> tuple[Array, Array]:
    """Balls that hold the centerlines of legs: middles (m, 3), and radii, mm."""
    origin, x, y, sweep = index.shape
    # a bend's lies about the middle of its chord, or of its circle where it goes further than half around
    bent, half = sweep > 0.0, np.minimum(sweep, np.pi) / 2.0
    c, s = np.cos(half), np.sin(half)
    along = np.where(bent, c * c, 0.5)
    aside = np.where(bent, c * s, 0.0)
    middle: Array = origin + along[:, None] * x + aside[:, None] * y
    return middle, np.linalg.norm(x, axis=1) * np.where(bent, s, 0.5)


def _chords(index: LegIndex) -> tuple[Array, Array, Array, Ints]:
    """Every leg as chords: (start, vector, greatest distance of the leg from it), and each leg's first chord."""
    origin, x, y, sweep = index.shape
    count = np.maximum(np.ceil(sweep / radians(_TURN)), 1.0).astype(np.int64)
    owner = np.repeat(np.arange(len(count)), count)
    first = np.concatenate(([0], np.cumsum(count)))
    part = np.arange(len(owner)) - first[owner]
    turn = (sweep / count)[owner]
    bent = (sweep > 0.0)[owner]

    def at(n: NDArray[np.floating[Any]]) -> Array:
        c, s = np.where(bent, np.cos(n * turn), n), np.where(bent, np.sin(n * turn), 0.0)
        value: Array = origin[owner] + c[:, None] * x[owner] + s[:, None] * y[owner]
        return value

    start = at(part.astype(np.float64))
    way = at(part.astype(np.float64) + 1.0) - start
    sag = np.where(bent, np.linalg.norm(x, axis=1)[owner] * (1.0 - np.cos(turn / 2.0)), 0.0)
    return start, way, sag, first


def places_on(leg: Leg, at: Array) -> Array:
    """Points of a leg's centerline at lengths from its start, (n, 3); a straight runs on past its ends."""
    if leg.arc is None:
        line: Array = np.asarray(leg.start) + at[:, None] * np.asarray(leg.direction)
        return line
    center = np.asarray(leg.arc.center)
    x = np.asarray(leg.arc.start) - center
    y = np.asarray(leg.direction) * leg.arc.radius
    turn = at / leg.arc.radius
    arc: Array = center + np.cos(turn)[:, None] * x + np.sin(turn)[:, None] * y
    return arc
