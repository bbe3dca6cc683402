"""The outline of a section in its own plane, as straight and round edges, and what follows from its form. mm.

The plane's coordinates (p, q) lie along the section's height (``up`` of `converter.model.frames`) and along its
width (``across``). The edges of an outline close: from its side at +p by way of +q, counter-clockwise seen against
the direction of travel, so that an edge's direction crossed with the direction of travel points out of it. The
bore's outline runs the same way; who needs its inside turns it over.

Every outline here is a rectangle with rounded corners: a circle is one whose corners are all of it, a flat oval
one whose corners take the whole of its smaller side. So one set of closed forms serves them all.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from math import asin, atan2, cos, hypot, pi, radians, sin, sqrt, tan, tau
from typing import NamedTuple

#: mm; a side shorter than this is none: rounding of sizes leaves it.
_NO_SIDE = 0.5e-6


@dataclass(frozen=True, slots=True)
class Edge:
    """One part of an outline: straight, or an arc.

    Attributes:
        start, end: its (p, q) ends.
        center: centre of an arc, None for a straight one.
        radius: of an arc.
        first, last: angles of an arc's ends, radians from ``up`` toward ``across``, growing.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    center: tuple[float, float] | None = None
    radius: float = 0.0
    first: float = 0.0
    last: float = 0.0

    @property
    def length(self) -> float:
        """Of the edge, mm."""
        if self.center is None:
            return hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])
        return self.radius * (self.last - self.first)


class Within(NamedTuple):
    """Integrals over the part of an outline no further than some distance from its axis across the height.

    Attributes:
        area: of dA, mm2; first: of abs(p) dA, mm3; second: of p**2 dA, mm4.
    """

    area: float
    first: float
    second: float


@dataclass(frozen=True)
class Outline:
    """A rectangle with rounded corners.

    Attributes:
        height, width: its sizes along ``up`` and along ``across``.
        corner: radius of its corners, up to half the smaller size; 0 for sharp.
    """

    height: float
    width: float
    corner: float

    @property
    def radius(self) -> float | None:
        """Its radius where it is a circle, else None."""
        return None

    @property
    def halves(self) -> tuple[float, float, float]:
        """Half the height, half the width, and the corner's radius."""
        return self.height / 2.0, self.width / 2.0, self.corner

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """The closed outline from its side at +p. Sides that the corners leave nothing of are left out.

        A quarter turn of an outline of equal sizes moves every edge on by a quarter of the edges, half a turn of any
        outline by half of them.
        """
        half_p, half_q = self.height / 2.0 - self.corner, self.width / 2.0 - self.corner
        found: list[Edge] = []
        for k in range(4):
            a = k * pi / 2.0
            c, s = (1.0, 0.0, -1.0, 0.0)[k], (0.0, 1.0, 0.0, -1.0)[k]
            p, q = (half_p, half_q) if k % 2 == 0 else (half_q, half_p)
            # the side at angle a, from its clockwise end to its counter-clockwise end
            ends = [(c * (p + self.corner) - s * w, s * (p + self.corner) + c * w) for w in (-q, q)]
            if q > _NO_SIDE:
                found.append(Edge(ends[0], ends[1]))
            if self.corner > 0.0:
                middle = (c * p - s * q, s * p + c * q)
                after = (middle[0] - self.corner * s, middle[1] + self.corner * c)
                found.append(Edge(ends[1], after, middle, self.corner, a, a + pi / 2.0))
        return closed(found)

    @property
    def creases(self) -> bool:
        """Whether a person sees edges along the tube: flats that meet at corners, sharp or rounded."""
        return min(self.height, self.width) / 2.0 - self.corner > 1e-9

    @property
    def area(self) -> float:
        """Enclosed, mm2: each corner takes (1 - pi / 4) r^2 off the rectangle."""
        return self.width * self.height - (4.0 - pi) * self.corner**2

    @property
    def perimeter(self) -> float:
        """Once around, mm: each corner takes (2 - pi / 2) r off the rectangle's."""
        return 2.0 * (self.width + self.height) - (8.0 - 2.0 * pi) * self.corner

    @property
    def bounding_radius(self) -> float:
        """Farthest point from the centre, mm."""
        half_p, half_q, corner = self.halves
        return hypot(half_q - corner, half_p - corner) + corner

    @property
    def half_diagonal(self) -> float:
        """Half the diagonal of the rectangle around it, mm, never less than its farthest point; a circle's radius."""
        return hypot(self.width, self.height) / 2.0

    def support(self, angle: float) -> float:
        """How far it reaches from its centre toward an angle (degrees from ``up`` toward ``across``), in mm.

        The support function of a rectangle less its corners, and the corners' disc: they add up (Minkowski).
        """
        a = radians(angle)
        half_p, half_q, corner = self.halves
        return (half_p - corner) * abs(cos(a)) + (half_q - corner) * abs(sin(a)) + corner

    def turned(self) -> Outline:
        """The same outline a quarter turn on."""
        return Outline(self.width, self.height, self.corner)

    def within(self, distance: float) -> Within:
        """Integrals of dA, abs(p) dA and p**2 dA over the part no further than ``distance`` from the axis p = 0.

        Textbook integrals of the width w(p): over a flat w is constant, over a corner w = core + 2 sqrt(r^2 - v^2).

        Args:
            distance: zero or more, in mm; the whole outline from half its height on.
        """
        radius = self.corner
        flat = self.height / 2.0 - radius  # where the corners begin
        h = min(distance, flat)
        area, first, second = self.width * h, self.width * h**2 / 2.0, self.width * h**3 / 3.0
        v = distance - flat
        if radius > 0.0 and v > 0.0:
            if v >= radius * (1.0 - 1e-12):  # rounding must not leave a sliver, whose root is large
                v, q, turn = radius, 0.0, pi / 2.0
            else:
                q, turn = sqrt(radius**2 - v**2), asin(v / radius)
            core = self.width - 2.0 * radius
            p0 = core * v + v * q + radius**2 * turn
            p1 = core * v**2 / 2.0 + 2.0 * (radius**3 - q**3) / 3.0
            p2 = core * v**3 / 3.0 + (v * (2.0 * v**2 - radius**2) * q + radius**4 * turn) / 4.0
            area += p0
            first += p1 + flat * p0
            second += p2 + 2.0 * flat * p1 + flat**2 * p0
        return Within(2.0 * area, 2.0 * first, 2.0 * second)

    def position(self, angle: float) -> float:
        """How far around it, in mm in [0, perimeter), the ray at an angle (degrees from ``up``) meets it."""
        angle %= 360.0
        half = self.perimeter / 2.0
        if angle >= 180.0:
            return half + self.position(angle - 180.0)
        return self._quarter(angle) if angle <= 90.0 else half - self._quarter(180.0 - angle)

    def _quarter(self, angle: float) -> float:
        a, b, r = self.halves
        if angle < 90.0 and a * tan(radians(angle)) <= b - r:
            return a * tan(radians(angle))
        if angle > 0.0 and (back := b / tan(radians(angle))) <= a - r:
            return (b - r) + r * pi / 2.0 + (a - r) - back
        c, s = cos(radians(angle)), sin(radians(angle))
        px, py = a - r, b - r
        reach = px * c + py * s
        out = reach + sqrt(max(0.0, reach * reach - px * px - py * py + r * r))
        return (b - r) + r * atan2(out * s - py, out * c - px)


@dataclass(frozen=True)
class CircleOutline(Outline):
    """A circle; made by `circle`."""

    @property
    def radius(self) -> float:
        """Its radius, mm."""
        return self.corner

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """One arc once around, from ``up``."""
        start = (self.corner, 0.0)
        return (Edge(start, start, (0.0, 0.0), self.corner, 0.0, tau),)

    @property
    def area(self) -> float:
        """Enclosed, mm2."""
        return pi * self.corner * self.corner

    @property
    def perimeter(self) -> float:
        """Once around, mm."""
        return tau * self.corner

    @property
    def half_diagonal(self) -> float:
        """Its radius, mm: no direction reaches further."""
        return self.corner

    def turned(self) -> CircleOutline:
        """Itself."""
        return self


def circle(radius: float) -> CircleOutline:
    """The circle of a radius in mm."""
    return CircleOutline(2.0 * radius, 2.0 * radius, radius)


def closed(edges: Iterable[Edge]) -> tuple[Edge, ...]:
    """Edges in a ring, each made to end exactly where the next one starts."""
    found = tuple(edges)
    return tuple(
        Edge(e.start, found[(i + 1) % len(found)].start, e.center, e.radius, e.first, e.last)
        for i, e in enumerate(found)
    )
