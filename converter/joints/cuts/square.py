"""Tube with flats in a joint: as the end that is cut, and as a straight mate.

A rounded rectangle is two plain rectangles and four circles laid over one another, so where a
line enters it is the first of six entries that all have closed forms.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np

from converter.arrays import Array, Flags
from converter.geometry.vectors import Vec, cross, dot
from converter.joints.cuts.lines import Bound, ParallelLines, clipped, end_on, moved_out, within


def rounded(p: Array, q: Array, a: float | Array, b: float | Array, corner: float | Array) -> Array:
    """Signed distance of the points (p, q) to a rounded rectangle of half sizes a, b: negative inside."""
    x, y = np.abs(p) - (a - corner), np.abs(q) - (b - corner)
    value: Array = np.hypot(np.maximum(x, 0.0), np.maximum(y, 0.0)) + np.minimum(np.maximum(x, y), 0.0) - corner
    return value


@dataclass(frozen=True)
class RectPrism:
    """A straight mate with flats, without ends, cut down to half-spaces.

    Attributes:
        point, axis: a point of its axis and the axis' unit direction.
        up: unit direction of its height.
        half_up, half_across, corner: half sizes and corner radius, the weld gap added, mm.
        bounds: half-spaces it is cut down to.
    """

    point: Vec
    axis: Vec
    up: Vec
    half_up: float
    half_across: float
    corner: float
    bounds: tuple[Bound, ...] = ()

    def stops(self, lines: ParallelLines, stopped: Flags | None = None) -> tuple[Array, Flags, Array]:
        """See `converter.joints.cuts.lines.ObstaclePart`."""
        d = lines.branch.direction
        across = cross(self.axis, self.up)
        p, q = lines.along(self.point, self.up), lines.along(self.point, across)
        dp, dq = dot(d, self.up), dot(d, across)
        speed = hypot(dp, dq)
        a, b, c = self.half_up, self.half_across, self.corner
        if speed < 1e-9:
            return end_on(lines, rounded(p, q, a, b, c) <= 0.0, self.bounds)
        best = np.full(p.shape, -np.inf)
        found = np.zeros(p.shape, dtype=np.bool_)
        for low, high, inside in (
            *(_box(p, q, dp, dq, x, y) for x, y in ((a, b - c), (a - c, b))),
            *(_circle(p - x, q - y, dp, dq, c) for x in (a - c, c - a) for y in (b - c, c - b) if c > 0.0),
        ):
            _, t, hit = clipped(lines, low, high, inside, self.bounds)
            best = np.where(hit & (t > best), t, best)
            found = found | hit
        return best, found, (p * dp + q * dq) / (speed * speed)

    def holds(self, lines: ParallelLines, t: Array) -> Flags:
        """See `converter.joints.cuts.lines.ObstaclePart`."""
        d, across = lines.branch.direction, cross(self.axis, self.up)
        p, q = (lines.along(self.point, v) - t * dot(d, v) for v in (self.up, across))
        value: Flags = (rounded(p, q, self.half_up, self.half_across, self.corner) < 0.0) & within(
            lines, t, self.bounds
        )
        return value

    def grown(self, by: float) -> RectPrism:
        """See `converter.joints.cuts.lines.ObstaclePart`."""
        halves = (self.half_up + by, self.half_across + by, max(self.corner + by, 0.0))
        return RectPrism(self.point, self.axis, self.up, *halves, moved_out(self.bounds, by))


def _slab(p: Array, dp: float, half: float) -> tuple[Array, Array, Flags]:
    """Lengths t at which |p - t dp| <= half."""
    inside = np.ones(p.shape, dtype=np.bool_)
    if abs(dp) < 1e-12:
        wide = np.full(p.shape, np.inf)
        return -wide, wide, np.abs(p) <= half + 1e-9
    one, two = (p - half) / dp, (p + half) / dp
    return np.minimum(one, two), np.maximum(one, two), inside


def _box(p: Array, q: Array, dp: float, dq: float, a: float, b: float) -> tuple[Array, Array, Flags]:
    low_p, high_p, in_p = _slab(p, dp, a)
    low_q, high_q, in_q = _slab(q, dq, b)
    low, high = np.maximum(low_p, low_q), np.minimum(high_p, high_q)
    return low, high, in_p & in_q & (low <= high)


def _circle(p: Array, q: Array, dp: float, dq: float, radius: float) -> tuple[Array, Array, Flags]:
    speed = hypot(dp, dq)
    middle = (p * dp + q * dq) / (speed * speed)
    room = radius * radius - ((p * dq - q * dp) / speed) ** 2
    half = np.sqrt(np.maximum(room, 0.0)) / speed
    return middle - half, middle + half, room >= 0.0
