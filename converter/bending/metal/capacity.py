"""What a bend asks of machine and wall: the plastic moment against what is proven, the wall that is left.

A bend makes the wall thinner outside, thicker inside, and stretches it at the outside: ratios of the wall.
Every formula takes the size in the plane of the bend (OD of round tube) and the radius of the
centerline, in one unit. docs/capacity.md says what each is worth. Flattening has no published formula
that holds without measurements, so none is given; `ovality` only puts a number on a measured one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

from converter.errors import GeometryError
from converter.model.section import Section
from converter.shop.metals import find_metal
from converter.shop.model import Metal, Shop

#: ASME B31.1 table 102.4.5, recommended wall before bending over the least wall required: (R / OD, factor).
B31_1: tuple[tuple[float, float], ...] = ((3.0, 1.25), (4.0, 1.14), (5.0, 1.08), (6.0, 1.06))


def plastic_moment(section: Section, yield_mpa: float, turned: bool = False) -> float:
    """Moment in N m at which the whole section yields: yield stress x Z (textbook plastic hinge).

    Args:
        section: the tube's section.
        yield_mpa: stress at which the metal flows, MPa.
        turned: it lies a quarter turn from its first bend (matters to rectangles only).
    """
    return yield_mpa * section.about_axis(turned).plastic / 1000.0


@dataclass(frozen=True, slots=True)
class ProvenBend:
    """What the machine is proven to bend.

    Attributes:
        section, metal: as the shop file says.
        at_yield: its plastic moment in N m.
        at_tensile: the same at tensile strength, or None when that is not known.
    """

    section: Section
    metal: Metal
    at_yield: float
    at_tensile: float | None


def proven(shop: Shop) -> ProvenBend | None:
    """What the shop's machine is proven to bend, or None when the shop file does not say it in full."""
    section, metal = shop.machine.proven_section, find_metal(shop.machine.proven_metal, shop.metals)
    if section is None or metal is None or metal.yield_mpa is None:
        return None
    hard = metal.tensile_mpa
    return ProvenBend(
        section,
        metal,
        plastic_moment(section, metal.yield_mpa),
        None if hard is None else plastic_moment(section, hard),
    )


def wall_factor(section: Section) -> float | None:
    """Outside size over wall, of two sizes the greater; None for a bar."""
    return None if section.bore is None else section.greater / section.wall


def outside_left(size: float, clr: float) -> float:
    """Part of the wall left at the outside of the bend: R / (R + D/2).

    Volume constancy with the neutral line on the centerline and no strain around the section (textbook,
    plane strain), so all the stretch comes out of the wall: the greatest loss of the usual formulas.
    """
    _check(size, clr)
    return clr / (clr + size / 2.0)


def outside_left_shared(size: float, clr: float) -> float:
    """Part of the wall left at the outside when wall and circumference share the contraction: sqrt(R / (R + D/2)).

    The least loss of the usual formulas; a real bend lies between this and `outside_left`, or outside both
    when boost, drag or a mandrel move the neutral line.
    """
    return sqrt(outside_left(size, clr))


def inside_gain(size: float, clr: float) -> float:
    """Wall at the inside of the bend over the wall before: R / (R - D/2), volume constancy as in `outside_left`."""
    _check(size, clr)
    return clr / (clr - size / 2.0)


def outside_strain(size: float, clr: float) -> float:
    """Strain of the outermost fibre: D / (2 R), the neutral line on the centerline."""
    _check(size, clr)
    return size / (2.0 * clr)


def pressure_factors(size: float, clr: float) -> tuple[float, float]:
    """Factor I inside and outside of the bend by ASME B31.3 304.2.1: (4k - 1)/(4k - 2) and (4k + 1)/(4k + 2), k = R/D.

    It says how much wall a pressure pipe needs there, not how much will be left. EN 13480-3 6.2.3 is the same
    formula written otherwise.
    """
    _check(size, clr)
    k = 4.0 * clr / size
    return (k - 1.0) / (k - 2.0), (k + 1.0) / (k + 2.0)


def wall_before_bending(size: float, clr: float) -> float | None:
    """Recommended wall before bending over the least wall required, by ASME B31.1 table 102.4.5, or None below 3 D.

    Interpolated in a straight line between the rows, as the table allows; from 6 D on it is 1.06.
    """
    _check(size, clr)
    k = clr / size
    if k < B31_1[0][0] - 1e-9:
        return None
    for (low, above), (high, below) in pairwise(B31_1):
        if k <= high:
            return above + (below - above) * max(0.0, k - low) / (high - low)
    return B31_1[-1][1]


def ovality(greatest: float, least: float, nominal: float) -> float:
    """Measured ovality in percent of the nominal diameter: 100 (Dmax - Dmin) / Dnom (ASME B16.49)."""
    if not 0.0 < least <= greatest or nominal <= 0.0:
        raise GeometryError(
            "Ovality needs a greatest and a least diameter, in that order, and a nominal one above zero."
        )
    return 100.0 * (greatest - least) / nominal


def _check(size: float, clr: float) -> None:
    if size <= 0.0 or clr <= size / 2.0:
        raise GeometryError(
            f"a centerline radius of {clr:g} is not above half the tube's size of {size:g}: the inside of the bend "
            "would have no radius"
        )
