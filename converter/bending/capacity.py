"""Whether the machine is strong enough: the plastic moment of a section against what it is proven to bend."""

from __future__ import annotations

from dataclasses import dataclass

from converter.bending.sections import properties
from converter.model.section import Section
from converter.shop.metals import find_metal
from converter.shop.model import Metal, Shop
from converter.units import Display

#: Newton metres per pound-force foot, exact.
LBF_FT = 1.3558179483314004


def plastic_moment(section: Section, yield_mpa: float, turned: bool = False) -> float:
    """Moment in N m at which the whole section yields: yield stress x Z (textbook plastic hinge).

    Args:
        section: the tube's section.
        yield_mpa: stress at which the metal flows, MPa.
        turned: it lies a quarter turn from its first bend (matters to rectangles only).
    """
    return yield_mpa * properties(section, turned).plastic / 1000.0


@dataclass(frozen=True, slots=True)
class Proof:
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


def proven(shop: Shop) -> Proof | None:
    """What the shop's machine is proven to bend, or None when the shop file does not say it in full."""
    section, metal = shop.machine.proven_section, find_metal(shop.machine.proven_metal, shop.metals)
    if section is None or metal is None or metal.yield_mpa is None:
        return None
    hard = metal.tensile_mpa
    return Proof(
        section,
        metal,
        plastic_moment(section, metal.yield_mpa),
        None if hard is None else plastic_moment(section, hard),
    )


def wall_factor(section: Section) -> float | None:
    """Outside size over wall, the greater size of a rectangle; None for a bar."""
    return None if section.shape == "bar" else max(section.od, section.height) / section.wall


def moment_text(newton_metres: float, display: Display) -> str:
    """``1597 lbf·ft`` where lengths show in inches, else ``2165 N·m``."""
    return display.each(
        lambda one: f"{newton_metres / LBF_FT:.0f} lbf·ft" if one.unit == "in" else f"{newton_metres:.0f} N·m"
    )
