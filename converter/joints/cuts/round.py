"""Round tube in a joint: a straight mate, whose outside a line meets in closed form."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from converter.arrays import Array, Flags
from converter.geometry.vectors import Vec, along, cross, dot, norm, scale
from converter.joints.cuts.lines import Bound, ParallelLines, clipped, end_on, moved_out, within

#: Lines that pass a mate by this part of its radius count as touching it (equal tubes, rounding).
GRAZE = 1e-9


@dataclass(frozen=True)
class RoundPrism:
    """A straight round mate: a cylinder without ends, cut down to half-spaces.

    Attributes:
        point, axis: a point of its axis and the axis' unit direction.
        radius: of its outside (and the weld gap), mm.
        bounds: half-spaces it is cut down to.
    """

    point: Vec
    axis: Vec
    radius: float
    bounds: tuple[Bound, ...] = ()

    @cached_property
    def numbers(self) -> tuple[float, ...]:
        """Point, axis, radius, and point and normal of the first two half-spaces (0 for none): 19 numbers."""
        ends = [number for bound in self.bounds[:2] for vector in bound for number in vector]
        return (*self.point, *self.axis, self.radius, *ends, *(0.0,) * (12 - len(ends)))

    def stops(self, lines: ParallelLines, stopped: Flags | None = None) -> tuple[Array, Flags, Array]:
        """See `ObstaclePart`."""
        d = lines.branch.direction
        k = cross(self.axis, d)
        sine = norm(k)
        if sine < 1e-9:
            return self._lengthwise(lines)
        off = lines.along(self.point, scale(k, 1.0 / sine))
        across = along(d, self.axis, -dot(d, self.axis))
        beside = lines.along(self.point, scale(across, 1.0 / (sine * sine)))
        room = self.radius * self.radius - off * off
        half = np.sqrt(np.maximum(room, 0.0)) / sine
        hit = room >= -GRAZE * self.radius * self.radius
        if not self.bounds:
            return beside + half, hit, beside
        _, high, hit = clipped(lines, beside - half, beside + half, hit, self.bounds)
        return high, hit, beside

    def holds(self, lines: ParallelLines, t: Array) -> Flags:
        """See `ObstaclePart`."""
        ahead = lines.along(self.point, self.axis) - t * dot(self.axis, lines.branch.direction)
        start = lines.along(self.point, lines.branch.direction)
        far = lines.squared(self.point) - 2.0 * t * start + t * t - ahead * ahead
        value: Flags = (far < self.radius * self.radius) & within(lines, t, self.bounds)
        return value

    def grown(self, by: float) -> RoundPrism:
        """See `ObstaclePart`."""
        return RoundPrism(self.point, self.axis, self.radius + by, moved_out(self.bounds, by))

    def _lengthwise(self, lines: ParallelLines) -> tuple[Array, Flags, Array]:
        """A mate in line with the tube: only its end can stop a line."""
        off = lines.along(self.point, self.axis)
        far = lines.squared(self.point) - off * off
        return end_on(lines, far <= self.radius * self.radius, self.bounds)
