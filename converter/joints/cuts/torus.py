"""Coping onto a bend: where lines meet a torus (or the bend of a square tube).

No closed form is used: along every line the signed distance to the bend's outside is sampled
over a window about the joint, all lines at once; the first change of sign is closed in on by
safeguarded Newton steps. A line that only grazes the bend between two samples shows as a low
point of the distance and is looked at again.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np

from converter.geometry.vectors import Vec, cross, dot, scale, sub, unit
from converter.joints.cuts.lines import Array, Hits, ParallelLines
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

    def stops(self, lines: ParallelLines, stopped: Hits | None = None) -> tuple[Array, Hits, Array]:
        """See `converter.joints.cuts.lines.ObstaclePart`."""
        rows = self._rows(lines)
        low, high = self.window
        grid = np.linspace(high, low, _SAMPLES)  # from inside the tube outward
        values = rows.distance(grid[None, :])
        t = np.full(values.shape[0], -np.inf)
        # low points above the first change of sign may hide two roots between samples
        middle = values[:, 1:-1]
        dips = (middle > 0.0) & (middle <= values[:, :-2]) & (middle < values[:, 2:])
        step = abs(float(grid[1] - grid[0]))
        # near its low point the distance grows at most like this (round), or by the way gone (corners)
        dips &= middle < (step * step / self.corner if rows.round else step)
        enters = (values[:, :-1] > 0.0) & (values[:, 1:] <= 0.0)
        row, column = np.nonzero(enters)
        outer, inner = grid[column], grid[column + 1]
        if dips.any():
            more, at = np.nonzero(dips)
            low_points = rows.lowest(more, grid[at], grid[at + 2])
            deep = rows.distance_at(more, low_points) <= 0.0
            row = np.concatenate((row, more[deep]))
            outer = np.concatenate((outer, grid[at][deep]))
            inner = np.concatenate((inner, low_points[deep]))
        roots = rows.roots(row, outer, inner)
        keep = rows.on_the_bend(row, roots)
        np.maximum.at(t, row[keep], roots[keep])
        met = np.isfinite(t)
        return t, met, self._beside(rows, grid, values, met if stopped is None else met | stopped)

    def holds(self, lines: ParallelLines, t: Array) -> Hits:
        """Whether the places at the lengths ``t`` of the lines lie inside the bend."""
        rows, every = self._rows(lines), np.arange(len(t))
        value: Hits = (rows.distance_at(every, t) < -1e-6) & rows.on_the_bend(every, t)
        return value

    def _rows(self, lines: ParallelLines) -> _TorusRows:
        x = unit(sub(self.start, self.center))
        y = cross(self.normal, x)
        d = lines.branch.direction
        return _TorusRows(
            self,
            np.stack([lines.along(self.center, v) for v in (x, y, self.normal)]),
            np.array([dot(d, x), dot(d, y), dot(d, self.normal)]),
        )

    def _beside(self, rows: _TorusRows, grid: Array, values: Array, met: Hits) -> Array:
        """Where lines that miss pass closest, of several places the one nearest to the joint."""
        beside = np.full(len(values), (grid[0] + grid[-1]) / 2.0)
        missing = np.flatnonzero(~met)
        if not len(missing):
            return beside
        v = values[missing]
        low = (v[:, 1:-1] <= v[:, :-2]) & (v[:, 1:-1] < v[:, 2:])
        away = np.where(low, np.abs(grid[1:-1] - self.near)[None, :], np.inf)
        at = np.where(low.any(axis=1), away.argmin(axis=1) + 1, np.clip(v.argmin(axis=1), 1, len(grid) - 2))
        beside[missing] = rows.lowest(missing, grid[at - 1], grid[at + 1])
        return beside


class _TorusRows:
    """Lines in the bend's own axes: x to its start, y ahead, z along its normal.

    Args:
        part: the bend.
        start: (3, n) where the lines start.
        step: (3,) their direction; a line is at start - t step.
    """

    def __init__(self, part: BendPart, start: Array, step: Array) -> None:
        self.part, self.start, self.step = part, start, step
        self.round = part.half_up == part.half_across == part.corner

    def distance(self, t: Array) -> Array:
        """Distances to the outside of the full ring at lengths (1, m): (n, m)."""
        return self._off(*(self.start[i][:, None] - t * self.step[i] for i in range(3)))

    def distance_at(self, row: NDInts, t: Array) -> Array:
        """Distances on the lines ``row`` at the lengths ``t``, both (k,)."""
        return self._off(*(self.start[i][row] - t * self.step[i] for i in range(3)))

    def _off(self, x: Array, y: Array, z: Array) -> Array:
        """Distances at places, whose arrays are written over: new ones for every step would take longer than it."""
        part = self.part
        x *= x
        y *= y
        x += y
        u = np.subtract(part.clr, np.sqrt(x, out=x), out=x)  # toward the inside of the bend
        if self.round:
            u *= u
            z *= z
            u += z
            value: Array = np.sqrt(u, out=u)
            value -= part.corner
            return value
        c, s = cos(radians(part.roll)), sin(radians(part.roll))
        return rounded(u * c - z * s, u * s + z * c, part.half_up, part.half_across, part.corner)

    def lowest(self, row: NDInts, high: Array, low: Array) -> Array:
        """The lengths between ``low`` and ``high`` where the distance is least.

        The bracket is narrowed to the neighbours of the best of some even steps, all lines at once.
        """
        every = np.arange(len(row))
        x, y, z = (self.start[i][row][:, None] for i in range(3))
        for _ in range(_NARROWED):
            t = low[:, None] + (high - low)[:, None] * _EVEN
            best = self._off(x - t * self.step[0], y - t * self.step[1], z - t * self.step[2]).argmin(axis=1)
            low = t[every, np.maximum(best - 1, 0)]
            high = t[every, np.minimum(best + 1, len(_EVEN) - 1)]
        middle: Array = (low + high) / 2.0
        return middle

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

    def on_the_bend(self, row: NDInts, t: Array) -> Hits:
        """Whether those places lie between the bend's start and its end."""
        x, y = (self.start[i][row] - t * self.step[i] for i in (0, 1))
        turned = np.degrees(np.arctan2(y, x))
        slack = np.degrees(_SLACK / self.part.clr)
        turned = np.where(turned < -slack, turned + 360.0, turned)
        value: Hits = turned <= self.part.sweep + slack
        return value


NDInts = np.ndarray[tuple[int, ...], np.dtype[np.int64]]


def tangent_at(center: Vec, normal: Vec, clr: float, point: Vec) -> Vec:
    """Unit direction of travel of a bend at a point of its centerline."""
    return unit(cross(normal, scale(sub(point, center), 1.0 / clr)))
