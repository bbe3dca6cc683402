"""Properties of a section about its bending axis: area, I, S, Z, and its moment once it yields. mm throughout.

The bending axis is normal to the plane of the bend, through the middle. Every shape is an outer
outline less an inner one, and every outline is a rectangle with rounded corners (a circle is one
whose corners are all of it), so one set of closed forms serves all. They are the textbook integrals
of ``w(y)``, ``y w(y)`` and ``y**2 w(y)`` over the part of the section within a distance of the axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, pi, sqrt

from converter.model.section import Section


@dataclass(frozen=True, slots=True)
class Outline:
    """A rectangle with rounded corners, symmetric about the bending axis.

    Attributes:
        width: along the bending axis.
        depth: across it, in the plane of the bend.
        corner: radius of its corners, up to half the smaller side.
    """

    width: float
    depth: float
    corner: float

    def within(self, distance: float) -> tuple[float, float, float]:
        """Integrals of dA, abs(y) dA and y**2 dA over the part no further than ``distance`` from the axis.

        Args:
            distance: zero or more, in mm; the whole outline from half its depth on.

        Returns:
            In mm2, mm3 and mm4.
        """
        radius = self.corner
        flat = self.depth / 2.0 - radius  # where the corners begin
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
        return 2.0 * area, 2.0 * first, 2.0 * second


@dataclass(frozen=True, slots=True)
class Properties:
    """A section about its bending axis.

    Attributes:
        area: metal, mm2.
        inertia: I, mm4.
        elastic: S = I / (depth / 2), mm3.
        plastic: Z, the integral of abs(y) dA, mm3.
        depth: size in the plane of the bend, mm.
    """

    area: float
    inertia: float
    elastic: float
    plastic: float
    depth: float

    @property
    def shape_factor(self) -> float:
        """Z / S: how much further it goes from first yield to all yielded."""
        return self.plastic / self.elastic


def outlines(section: Section, turned: bool = False) -> tuple[Outline, Outline | None]:
    """The outer and the inner outline (None for a bar).

    Args:
        section: the tube's section.
        turned: it lies a quarter turn from its first bend (matters to rectangles only).
    """
    width, depth = (section.height, section.od) if turned else (section.od, section.height)
    if section.is_round:
        outer = Outline(width, depth, section.od / 2.0)
        bore = section.bore
        return outer, Outline(bore, bore, bore / 2.0) if bore > 0.0 else None
    twice = 2.0 * section.wall
    return Outline(width, depth, section.corner), Outline(width - twice, depth - twice, section.inner_corner)


def properties(section: Section, turned: bool = False) -> Properties:
    """Area, I, S and Z of a section about its bending axis; see `outlines` for the arguments."""
    outer, inner = outlines(section, turned)
    area, first, second = outer.within(outer.depth / 2.0)
    if inner is not None:
        less = inner.within(inner.depth / 2.0)
        area, first, second = area - less[0], first - less[1], second - less[2]
    return Properties(area, second, second / (outer.depth / 2.0), first, outer.depth)


def yielding_modulus(section: Section, elastic_half: float, turned: bool = False) -> float:
    """Moment per unit of yield stress of a section bent past yield, mm3: elastic, perfectly plastic.

    The metal within ``elastic_half`` of the axis is still elastic, the rest is at yield: the elastic
    part's I over that distance, and the plastic part's integral of abs(y) dA. It goes to Z as the
    bend tightens. A hollow section is the outer outline less the inner one at the same distance.

    Args:
        section: the tube's section.
        elastic_half: yield stress x radius / modulus of elasticity, mm, above zero.
        turned: as for `outlines`.
    """
    outer, inner = outlines(section, turned)
    moment = _yielding(outer, elastic_half)
    return moment if inner is None else moment - _yielding(inner, elastic_half)


def springback_part(
    section: Section, stress_mpa: float, modulus_gpa: float, clr_mm: float, turned: bool = False
) -> float:
    """The part f of the loaded angle that springs back, from 0 to 1 (1: it never yields).

    ``f = M R / (E I)`` with the exact elastic, perfectly plastic moment of the section.

    Args:
        section: the tube's section.
        stress_mpa: stress at which the metal flows, MPa.
        modulus_gpa: modulus of elasticity, GPa.
        clr_mm: centerline radius on the die.
        turned: as for `outlines`.
    """
    own = properties(section, turned)
    elastic_half = stress_mpa * clr_mm / (modulus_gpa * 1000.0)
    if elastic_half >= own.depth / 2.0:
        return 1.0
    return min(1.0, elastic_half * yielding_modulus(section, elastic_half, turned) / own.inertia)


def _yielding(outline: Outline, elastic_half: float) -> float:
    _, first, second = outline.within(elastic_half)
    return second / elastic_half + outline.within(outline.depth / 2.0)[1] - first
