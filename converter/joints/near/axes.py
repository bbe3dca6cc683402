"""Where straight lines come nearest to bends, for many pairs at once.

The squared distance of a line's places from a bend's centerline is looked at in even steps; about its low points the
bracket is narrowed to a part of a step, and then the place is found where the way to the bend is square to the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from converter.arrays import Array, Flags, Ints
from converter.model.curve import Arc

#: Steps along a line; then about a low point, and how often each is done (a round leaves a quarter of the width).
_SAMPLES, _FINE, _ROUNDS = 129, 9, 3
#: Places about a low point that has no square foot within its bracket, to what width (mm), and by what it narrows.
_SLOW, _LEAST, _NARROWER = 65, 1e-10, 16.0
#: Halvings (or better) of the bracket in which the foot is square to the line.
_STEPS = 60
#: Pairs looked at together: few enough for their places to stay in the processor's cache.
_AT_ONCE = 1024


@dataclass(frozen=True, slots=True)
class BentLegs:
    """Some bends as arrays, one row each.

    Attributes:
        center: (n, 3); x, y, normal: (n, 3) unit vectors to the bend's start, ahead there, and square to both.
        radius: of the centerline, mm; sweep: radians.
    """

    center: Array
    x: Array
    y: Array
    normal: Array
    radius: Array
    sweep: Array

    @classmethod
    def of(cls, arcs: Sequence[Arc]) -> BentLegs:
        """Of single bends."""
        rows = [(*arc.center, *arc.start, *arc.normal, arc.radius, arc.angle) for arc in arcs]
        table = np.array(rows, dtype=np.float64).reshape(-1, 11)
        center, normal, radius = table[:, 0:3], table[:, 6:9], table[:, 9]
        x = (table[:, 3:6] - center) / radius[:, None]
        return cls(center, x, np.cross(normal, x), normal, radius, np.radians(table[:, 10]))

    def rows(self, chosen: Ints) -> BentLegs:
        """Some of them."""
        return BentLegs(*(getattr(self, name)[chosen] for name in ("center", "x", "y", "normal", "radius", "sweep")))

    def axes(self, vectors: Array) -> Array:
        """Vectors (n, 3) in the bends' own axes, (3, n)."""
        return np.stack([(vectors * axis).sum(axis=1) for axis in (self.x, self.y, self.normal)])

    def at(self, turned: Array) -> tuple[Array, Array]:
        """Points of the centerlines at angles (n,) from their starts, radians, and the directions of travel there."""
        c, s = np.cos(turned)[:, None], np.sin(turned)[:, None]
        return self.center + self.radius[:, None] * (c * self.x + s * self.y), c * self.y - s * self.x


@dataclass(frozen=True, slots=True)
class NearPlaces:
    """Places where lines come near bends, of one pair one after another, the likeliest first.

    Attributes:
        pair: (k,) whose, rising; rank: (k,) the how manieth of its pair, from 0.
        ahead: length along the line; turned: radians around the bend.
    """

    pair: Ints
    rank: Ints
    ahead: Array
    turned: Array


class _Pairs:
    """Lines and bends, in axes of the bends that are turned so that x goes to the bend's middle."""

    def __init__(self, start: Array, way: Array, radius: Array, half: Array) -> None:
        self.start, self.way, self.radius, self.half = start, way, radius, half
        self.end = np.stack([radius * np.cos(half), radius * np.sin(half)])
        self.cosine = np.cos(half)

    def rows(self, chosen: Ints) -> _Pairs:
        return _Pairs(self.start[:, chosen], self.way[:, chosen], self.radius[chosen], self.half[chosen])

    def squared(self, s: Array) -> Array:
        """Squared distances of the places s (n, k) along the lines from the bends."""
        x, y, z, ring, on_it = self._places(s)
        beside = np.abs(y) - self.end[1][:, None]
        x -= self.end[0][:, None]
        value: Array = np.where(on_it, ring * ring, x * x + beside * beside) + z * z
        return value

    def slope(self, s: Array) -> Array:
        """How fast half of that grows along the lines, at one place of each, s (n,): it is 0 where it is least."""
        x, y, z, ring, on_it = (one[:, 0] for one in self._places(s[:, None]))
        # from the nearest place of the bend to the line's
        out = ring / np.maximum(np.hypot(x, y), 1e-300)
        fx = np.where(on_it, out * x, x - self.end[0])
        fy = np.where(on_it, out * y, y - np.copysign(self.end[1], y))
        value: Array = fx * self.way[0] + fy * self.way[1] + z * self.way[2]
        return value

    def turned(self, s: Array) -> Array:
        """How far around the bends the nearest places lie, radians from their starts, s (n,)."""
        x, y = (self.start[i] + s * self.way[i] for i in (0, 1))
        value: Array = np.clip(np.arctan2(y, x), -self.half, self.half) + self.half
        return value

    def _places(self, s: Array) -> tuple[Array, Array, Array, Array, Flags]:
        x, y, z = (self.start[i][:, None] + s * self.way[i][:, None] for i in range(3))
        ring = np.sqrt(x * x + y * y)
        on_it = x >= ring * self.cosine[:, None]
        ring -= self.radius[:, None]
        return x, y, z, ring, on_it


def places_near_bends(points: Array, ways: Array, bends: BentLegs, window: Array, within: Array) -> NearPlaces:
    """Where lines come nearest to bends, pair by pair: every low point of the distance, at least one for a pair.

    Args:
        points, ways: (n, 3) where the lines start, and their unit directions.
        bends: (n,) of each line.
        window: (n,) so far either way the lines are looked at, mm.
        within: (n,) half size of the bent tube: of places in its metal the one nearest to the line's start comes
            first, and else the one nearest to the bend.
    """
    middle = bends.sweep / 2.0
    x, y, z = bends.axes(points - bends.center)
    dx, dy, dz = bends.axes(ways)
    c, s = np.cos(middle), np.sin(middle)
    pairs = _Pairs(
        np.stack([c * x + s * y, c * y - s * x, z]),
        np.stack([c * dx + s * dy, c * dy - s * dx, dz]),
        bends.radius,
        middle,
    )
    row, centre = _low_points(pairs, window)
    pairs, width = pairs.rows(row), window[row] * 2.0 / (_SAMPLES - 1)
    ahead = np.empty(len(row))
    for first in range(0, len(row), _AT_ONCE):
        some = np.arange(first, min(first + _AT_ONCE, len(row)))
        ahead[some] = _narrowed(pairs.rows(some), centre[some], width[some])
    best = pairs.squared(ahead[:, None])[:, 0]
    outside = best >= within[row] ** 2
    order = np.lexsort((ahead, np.where(outside, best, np.abs(ahead)), outside, row))
    row, ahead, turned = row[order], ahead[order], pairs.turned(ahead)[order]
    first_of = np.concatenate(([True], row[1:] != row[:-1])) if len(row) else np.zeros(0, dtype=np.bool_)
    starts = np.flatnonzero(first_of)
    rank = np.arange(len(row)) - np.repeat(starts, np.diff(np.append(starts, len(row))))
    return NearPlaces(row, rank, ahead, turned)


def _low_points(pairs: _Pairs, window: Array) -> tuple[Ints, Array]:
    """The steps (pair, length) at which the distance is less than at their neighbours; the least where none is."""
    rows: list[Ints] = [np.zeros(0, dtype=np.int64)]
    centres: list[Array] = [np.zeros(0)]
    for first in range(0, len(window), _AT_ONCE):
        some = np.arange(first, min(first + _AT_ONCE, len(window)))
        grid = np.ascontiguousarray(np.linspace(-window[some], window[some], _SAMPLES, axis=1))
        off = pairs.rows(some).squared(grid)
        low = np.zeros(off.shape, dtype=np.bool_)
        low[:, 1:-1] = (off[:, 1:-1] <= off[:, :-2]) & (off[:, 1:-1] < off[:, 2:])
        none = np.flatnonzero(~low.any(axis=1))
        low[none, off[none].argmin(axis=1)] = True
        row, column = np.nonzero(low)
        rows.append(some[row])
        centres.append(grid[row, column])
    return np.concatenate(rows), np.concatenate(centres)


def _narrowed(pairs: _Pairs, centre: Array, width: Array) -> Array:
    """The length at which each line is nearest, within ``width`` of ``centre``."""
    every, start = np.arange(len(centre)), centre
    even = np.linspace(-1.0, 1.0, _FINE)
    size = width
    for _ in range(_ROUNDS):
        s = centre[:, None] + size[:, None] * even
        centre = s[every, pairs.squared(s).argmin(axis=1)]
        size = size / 4.0
    low, high = centre - size, centre + size
    below, above = pairs.slope(low), pairs.slope(high)
    found = _square_foot(pairs, low, high, below, above)
    open_ = np.flatnonzero(~((below <= 0.0) & (above >= 0.0)))
    if len(open_):
        found[open_] = _slowly(pairs.rows(open_), start[open_], width[open_])
    return found


def _square_foot(pairs: _Pairs, low: Array, high: Array, below: Array, above: Array) -> Array:
    """Where the slope goes through 0, by regula falsi with the Illinois correction; rows without such a place: any."""
    found = (low + high) / 2.0
    todo = np.flatnonzero((below <= 0.0) & (above >= 0.0))
    a, b, fa, fb = low[todo], high[todo], below[todo], above[todo]
    pairs = pairs.rows(todo)
    side = np.zeros(len(todo), dtype=np.int64)
    for _ in range(_STEPS):
        if not len(todo):
            break
        rise = fb - fa
        c = np.where(rise > 0.0, (a * fb - b * fa) / np.where(rise > 0.0, rise, 1.0), (a + b) / 2.0)
        c = np.where((c - a) * (c - b) <= 0.0, c, (a + b) / 2.0)
        fc = pairs.slope(c)
        found[todo] = c
        up = fc > 0.0
        # the end that stays twice has its value halved
        fa, fb = np.where(up & (side == 1), fa / 2.0, fa), np.where(~up & (side == -1), fb / 2.0, fb)
        a, fa = np.where(up, a, c), np.where(up, fa, fc)
        b, fb = np.where(up, c, b), np.where(up, fc, fb)
        side = np.where(up, 1, -1)
        left = np.flatnonzero((np.abs(fc) > 1e-14) & (b - a > 1e-13))
        if len(left) < len(todo):
            todo, pairs, side = todo[left], pairs.rows(left), side[left]
            a, b, fa, fb = a[left], b[left], fa[left], fb[left]
    return found


def _slowly(pairs: _Pairs, centre: Array, width: Array) -> Array:
    """As `_narrowed`, by the least of many places alone: at the edge of what is looked at nothing need be square."""
    best = np.full(len(centre), np.inf)
    even = np.linspace(-1.0, 1.0, _SLOW)
    every = np.arange(len(centre))
    while bool((width > _LEAST).any()):
        s = centre[:, None] + width[:, None] * even
        found = pairs.squared(s)
        k = found.argmin(axis=1)
        better = (found[every, k] < best) & (width > _LEAST)
        best = np.where(better, found[every, k], best)
        centre = np.where(better, s[every, k], centre)
        width = width / _NARROWER
    return centre
