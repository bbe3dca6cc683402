"""What a bend asks of machine and wall: the plastic moment against what is proven, the wall that is left.

A bend makes the wall thinner outside and stretches it there. Every formula takes the size in the plane of the bend
(OD of round tube) and the radius of the centerline, in one unit. docs/capacity.md says what each is worth.
Flattening has no published formula that holds without measurements, so none is given.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

from converter.errors import GeometryError
from converter.model.section import Section
from converter.shop.metals import find_metal
from converter.shop.model import Metal, Shop


@lru_cache(maxsize=256)
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


def outside_strain(size: float, clr: float) -> float:
    """Strain of the outermost fibre: D / (2 R), the neutral line on the centerline."""
    _check(size, clr)
    return size / (2.0 * clr)


def _check(size: float, clr: float) -> None:
    if size <= 0.0 or clr <= size / 2.0:
        raise GeometryError(
            f"a centerline radius of {clr:g} is not above half the tube's size of {size:g}: the inside of the bend "
            "would have no radius"
        )
