"""Coping onto a bend: where lines meet a torus (or the bend of a square tube).

No closed form is used: along every line the signed distance to the bend's outside is sampled
over a window about the joint, all lines at once; the first change of sign is closed in on by
safeguarded Newton steps. A line that only grazes the bend between two samples shows as a low
point of the distance and is looked at again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees
from typing import Any

import numpy as np

from converter.arrays import Array, Flags
from converter.geometry.vectors import Vec, add, cross, dot, rotate, scale, sub, unit
from converter.joints.cuts.lines import ParallelLines
from converter.joints.cuts.square import rounded

#: Samples along each line, and the distance (mm) that is rounding alone.
_SAMPLES, _DONE = 65, 4e-13
#: Steps by which a low point is narrowed down (each time to a quarter of a bracket of nine), and how often.
_EVEN, _NARROWED = np.linspace(0.0, 1.0, 9), 14
_SLACK = 1e-9


@dataclass(frozen=True)
class BendPart:
    """The outside of a bend of the mate.

    Attributes:
        center, normal, start: of the bend: it turns from the point ``start`` right-hand about ``normal``.
        clr: centerline radius, mm.
        sweep: degrees.
        half_up, half_across, corner: half sizes and corner radius (all the radius for round tube), gap added, mm.
        roll: degrees from the section's height to the inside of the bend.
        window: lengths (from, to) on the branch to look in, mm.
        near: length on the branch at which its axis is nearest to the bend's, mm.
    """

    center: Vec
    normal: Vec
    start: Vec
    clr: float
    sweep: float
    half_up: float
    half_across: float
    corner: float
    roll: float
    window: tuple[float, float]
    near: float = 0.0

    def stops(self, lines: ParallelLines, stopped: Flags | None = None) -> tuple[Array, Flags, Array]:
        """See `converter.joints.cuts.lines.ObstaclePart`."""
        rings = self._rings(lines)
        low, high = (np.array([v]) for v in self.window)
        entries = rings.entries(low, high)
        met = np.isfinite(entries.t)
        return entries.t, met, self._beside(lines, entries, met if stopped is None else met | stopped)

    def holds(self, lines: ParallelLines, t: Array) -> Flags:
        """Whether the places at the lengths ``t`` of the lines lie inside the bend."""
        return self._rings(lines).hold(np.arange(len(t)), t)

    def grown(self, by: float) -> BendPart:
        """See `ObstaclePart`."""
        # where it is tightest, a way along it turns the most
        inside = self.clr - max(self.half_up, self.half_across) - abs(by)
        turn = min(max(degrees(by / max(inside, 1e-9)), -180.0), 180.0)
        arm = rotate(sub(self.start, self.center), self.normal, -turn)
        halves = (self.half_up + by, self.half_across + by, max(self.corner + by, 0.0))
        sweep = min(max(self.sweep + 2.0 * turn, 0.0), 360.0)
        return BendPart(
            self.center, self.normal, add(self.center, arm), self.clr, sweep, *halves, self.roll, self.window, self.near
        )

    @property
    def axes(self) -> tuple[Vec, Vec]:
        """Unit vectors from the centre to its start, and ahead there."""
        x = unit(sub(self.start, self.center))
        return x, cross(self.normal, x)

    def _rings(self, lines: ParallelLines) -> Rings:
        x, y = self.axes
        d = lines.branch.direction
        return Rings(
            self.clr,
            self.sweep,
            (self.half_up, self.half_across, self.corner),
            self.roll,
            np.stack([lines.along(self.center, v) for v in (x, y, self.normal)]),
            np.array([dot(d, x), dot(d, y), dot(d, self.normal)])[:, None],
        )

    def _beside(self, lines: ParallelLines, entries: RingEntries, met: Flags) -> Array:
        """Where lines that miss pass the centerline closest, of several places the one nearest to the joint."""
        grid = entries.grid[0]
        beside = np.full(len(met), (grid[0] + grid[-1]) / 2.0)
        missing = np.flatnonzero(~met)
        if not len(missing):
            return beside
        # not its outside, which may be closest at a corner of it
        line = replace(self, half_up=0.0, half_across=0.0, corner=0.0)
        rings = line._rings(ParallelLines(lines.branch, lines.p[missing], lines.q[missing]))
        v = rings.distances(grid[None, :])
        low = (v[:, 1:-1] <= v[:, :-2]) & (v[:, 1:-1] < v[:, 2:])
        away = np.where(low, np.abs(grid[1:-1] - self.near)[None, :], np.inf)
        at = np.where(low.any(axis=1), away.argmin(axis=1) + 1, np.clip(v.argmin(axis=1), 1, len(grid) - 2))
        beside[missing] = rings.lowest(np.arange(len(missing)), grid[at - 1], grid[at + 1])
        return beside


@dataclass(frozen=True, slots=True)
class RingEntries:
    """Where lines enter bends: the lengths ``t`` (n,), -inf for none; the lengths ``grid`` and distances ``values``
    that were looked at, (1 or n, m) and (n, m)."""

    t: Array
    grid: Array
    values: Array


class Rings:
    """Lines, each with a bend, in the bend's own axes: x to its start, y ahead, z along its normal.

    Numbers of the bends are either one for all lines or (n,), one for each.

    Args:
        clr: centerline radius, mm; sweep: degrees.
        half: half height, half width and corner radius, mm: all bends round, or none.
        roll: degrees from the section's height to the inside of the bend.
        start: (3, n) where the lines start.
        step: (3, 1 or n) their directions; a line is at start - t step.
    """

    def __init__(
        self,
        clr: float | Array,
        sweep: float | Array,
        half: tuple[float | Array, float | Array, float | Array],
        roll: float | Array,
        start: Array,
        step: Array,
    ) -> None:
        self.clr, self.sweep, self.half, self.start, self.step = clr, sweep, half, start, step
        self.round = bool(np.all((half[0] == half[1]) & (half[1] == half[2])))
        self._turned = (np.cos(np.radians(roll)), np.sin(np.radians(roll)))
        # of one bend for all lines, what `_sizes` says of any of them
        self._for_all = None if isinstance(clr, np.ndarray) else (clr, half, self._turned)
        if self._for_all is None:
            self._each = [np.broadcast_to(v, start.shape[1:]) for v in (clr, *half, *self._turned)]

    def entries(self, low: Array, high: Array, box: tuple[Array, Array] | None = None) -> RingEntries:
        """Where the lines first enter their bends between the lengths ``low`` and ``high``, (1,) or (n,).

        ``box`` holds the lengths (n,) between which no line leaves what surely holds its bend, so that places of the
        full ring beyond need no closer look.
        """
        grid = _grid(low, high) if box is None else _grid_in(low, high, *box)
        values = self.distances(grid)
        t = np.full(values.shape[0], -np.inf)
        # low points above the first change of sign may hide two roots between samples
        middle = values[:, 1:-1]
        dips = (middle > 0.0) & (middle <= values[:, :-2]) & (middle < values[:, 2:])
        step = np.abs(grid[:, 1:2] - grid[:, :1])
        # near its low point the distance grows at most like this (round), or by the way gone (corners)
        dips &= middle < (step * step / _column(self.half[2]) if self.round else step)
        enters = (values[:, :-1] > 0.0) & (values[:, 1:] <= 0.0)
        if box is not None:
            first, last = (one[:, None] for one in box)
            enters &= (grid[:, :-1] >= first) & (grid[:, 1:] <= last)
            dips &= (grid[:, :-2] >= first) & (grid[:, 2:] <= last)
        row, column = np.nonzero(enters)
        places = np.broadcast_to(grid, values.shape)
        outer, inner = places[row, column], places[row, column + 1]
        if dips.any():
            more, at = np.nonzero(dips)
            high, low = places[more, at], places[more, at + 2]
            deep = self._may_go_below(more, high, low)
            more, high, low = more[deep], high[deep], low[deep]
            low_points = self.lowest(more, high, low)
            deep = self.distance_at(more, low_points) <= 0.0
            row = np.concatenate((row, more[deep]))
            outer = np.concatenate((outer, high[deep]))
            inner = np.concatenate((inner, low_points[deep]))
        roots = self.roots(row, outer, inner)
        keep = self.on_the_bend(row, roots)
        np.maximum.at(t, row[keep], roots[keep])
        return RingEntries(t, grid, values)

    def distances(self, grid: Array) -> Array:
        """Distances (n, m) to the outside of the full ring on every line at the lengths ``grid``, (1 or n, m)."""
        x, y, z = (self.start[i][:, None] - grid * self.step[i][:, None] for i in range(3))
        return self._off(x, y, z, ...)

    def hold(self, row: NDInts, t: Array) -> Flags:
        """Whether the places on the lines ``row`` at the lengths ``t``, both (k,), lie inside their bends."""
        value: Flags = (self.distance_at(row, t) < -1e-6) & self.on_the_bend(row, t)
        return value

    def distance_at(self, row: NDInts, t: Array) -> Array:
        """Distances to the outside of the full ring on the lines ``row`` at the lengths ``t``, both (k,)."""
        x, y, z = (self.start[i][row] - t * self._step(i, row) for i in range(3))
        return self._off(x, y, z, row)

    def _step(self, i: int, row: NDInts) -> float | Array:
        step = self.step[i]
        return float(step[0]) if len(step) == 1 else step[row]

    def _off(self, x: Array, y: Array, z: Array, row: Any) -> Array:
        """Distances at places, whose arrays are written over: new ones for every step would take longer than it.

        ``row`` says whose places they are: the first axis of (k,) and of (k, m), ... for all lines in order.
        """
        clr, half, turned = self._for_all or self._sizes(row, x.ndim)
        x *= x
        y *= y
        x += y
        u = np.subtract(clr, np.sqrt(x, out=x), out=x)  # toward the inside of the bend
        if self.round:
            u *= u
            z *= z
            u += z
            value: Array = np.sqrt(u, out=u)
            value -= half[2]
            return value
        c, s = turned
        return rounded(u * c - z * s, u * s + z * c, *half)

    def _sizes(self, row: Any, dimensions: int) -> Any:
        """Radius, half sizes and turn of the bends of some lines, as columns beside places of two dimensions."""
        some = [one[row] for one in self._each]
        clr, up, across, corner, c, s = (one[:, None] for one in some) if dimensions == 2 else some
        return clr, (up, across, corner), (c, s)

    def lowest(self, row: NDInts, high: Array, low: Array) -> Array:
        """The lengths between ``low`` and ``high`` where the distance is least.

        The bracket is narrowed to the neighbours of the best of some even steps, all lines at once.
        """
        for _ in range(_NARROWED):
            high, low, _ = self._narrowed(row, high, low)
        middle: Array = (low + high) / 2.0
        return middle

    def _may_go_below(self, row: NDInts, high: Array, low: Array) -> Flags:
        """Which lines may come to a distance of zero or less between ``low`` and ``high``; surely not the others.

        No place is further from one of the even steps than half of one, and the distance changes no faster than it.
        """
        found = np.zeros(len(row), dtype=np.bool_)
        todo = np.arange(len(row))
        for _ in range(_NARROWED):
            step = np.abs(high - low) / (len(_EVEN) - 1)
            high, low, least = self._narrowed(row[todo], high, low)
            found[todo[least <= 0.0]] = True
            left = (least > 0.0) & (least <= step)
            todo, high, low = todo[left], high[left], low[left]
            if not len(todo):
                break
        found[todo] = True
        return found

    def _narrowed(self, row: NDInts, high: Array, low: Array) -> tuple[Array, Array, Array]:
        """(high, low) around the best of some even steps between ``low`` and ``high``, and the distance at that."""
        every = np.arange(len(row))
        t = low[:, None] + (high - low)[:, None] * _EVEN
        x, y, z = (self.start[i][row][:, None] - t * _column(self._step(i, row)) for i in range(3))
        off = self._off(x, y, z, row)
        best = off.argmin(axis=1)
        above, below = np.minimum(best + 1, len(_EVEN) - 1), np.maximum(best - 1, 0)
        return t[every, above], t[every, below], off[every, best]

    def roots(self, row: NDInts, outer: Array, inner: Array) -> Array:
        """Where the distance goes from above zero (at ``outer``) to zero or below (at ``inner``).

        Regula falsi with the Illinois correction: always bracketed, and superlinear. A line is done
        when its distance is rounding alone.
        """
        a, b = outer, inner
        fa, fb = self.distance_at(row, a), self.distance_at(row, b)
        found = np.where(np.abs(fa) < np.abs(fb), a, b)
        todo = np.flatnonzero((np.abs(fa) > _DONE) & (np.abs(fb) > _DONE))
        a, b, fa, fb = a[todo], b[todo], fa[todo], fb[todo]
        side = np.zeros(len(todo), dtype=np.int64)
        for _ in range(80):
            if not len(todo):
                break
            c = (a * fb - b * fa) / (fb - fa)
            c = np.where((c - a) * (c - b) <= 0.0, c, (a + b) / 2.0)
            fc = self.distance_at(row[todo], c)
            found[todo] = c
            above = fc > 0.0
            # the end that stays twice has its value halved
            fb = np.where(above & (side == 1), fb / 2.0, fb)
            fa = np.where(~above & (side == -1), fa / 2.0, fa)
            a, fa = np.where(above, c, a), np.where(above, fc, fa)
            b, fb = np.where(above, b, c), np.where(above, fb, fc)
            side = np.where(above, 1, -1)
            left = (np.abs(fc) > _DONE) & (np.abs(a - b) > _DONE)
            if not left.all():
                todo, a, b, fa, fb, side = todo[left], a[left], b[left], fa[left], fb[left], side[left]
        return found

    def on_the_bend(self, row: NDInts, t: Array) -> Flags:
        """Whether those places lie between the bend's start and its end."""
        x, y = (self.start[i][row] - t * self._step(i, row) for i in (0, 1))
        clr, sweep = (v[row] if isinstance(v, np.ndarray) else v for v in (self.clr, self.sweep))
        turned = np.degrees(np.arctan2(y, x))
        slack = np.degrees(_SLACK / clr)
        turned = np.where(turned < -slack, turned + 360.0, turned)
        value: Flags = turned <= sweep + slack
        return value


def _grid(low: Array, high: Array) -> Array:
    """Even steps from ``high`` to ``low``, from inside the tube outward, (n, `_SAMPLES`)."""
    return np.ascontiguousarray(np.linspace(high, low, _SAMPLES, axis=1))


def _grid_in(low: Array, high: Array, first: Array, last: Array) -> Array:
    """Those steps of `_grid` that reach from ``first`` to ``last`` (n,) and two further; as many for every line."""
    step = (low - high) / (_SAMPLES - 1)
    begin = np.clip(np.floor((last - high) / step) - 2.0, 0.0, _SAMPLES - 1.0)
    end = np.clip(np.ceil((first - high) / step) + 2.0, 0.0, _SAMPLES - 1.0)
    count = int((end - begin).max(initial=0.0)) + 1
    number = np.minimum(begin, _SAMPLES - count)[:, None] + np.arange(count)
    value: Array = np.where(number == _SAMPLES - 1.0, low[:, None], number * step[:, None] + high[:, None])
    return value


def _column(value: float | Array) -> float | Array:
    """Numbers of lines as a column beside their places (n, m); one for all as it is."""
    return value[:, None] if isinstance(value, np.ndarray) else value


NDInts = np.ndarray[tuple[int, ...], np.dtype[np.int64]]


def tangent_at(center: Vec, normal: Vec, clr: float, point: Vec) -> Vec:
    """Unit direction of travel of a bend at a point of its centerline."""
    return unit(cross(normal, scale(sub(point, center), 1.0 / clr)))
