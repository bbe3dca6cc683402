"""What part of a loaded bend springs back: the moment of an elastic, perfectly plastic section over E I."""

from __future__ import annotations

from converter.model.section import Outline, Section


def yielding_modulus(section: Section, elastic_half: float, turned: bool = False) -> float:
    """Moment per unit of yield stress of a section bent past yield, mm3: elastic, perfectly plastic.

    The metal within ``elastic_half`` of the axis is still elastic, the rest is at yield: the elastic
    part's I over that distance, and the plastic part's integral of abs(y) dA. It goes to Z as the
    bend tightens. A hollow section is the outer outline less the inner one at the same distance.

    Args:
        section: the tube's section.
        elastic_half: yield stress x radius / modulus of elasticity, mm, above zero.
        turned: it lies a quarter turn from its first bend (matters to sections of two sizes).
    """
    outer, *inner = (loop.turned() if turned else loop for loop in section.loops)
    return _yielding(outer, elastic_half) - sum(_yielding(bore, elastic_half) for bore in inner)


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
        turned: as for `yielding_modulus`.
    """
    own = section.about_axis(turned)
    elastic_half = stress_mpa * clr_mm / (modulus_gpa * 1000.0)
    if elastic_half >= own.depth / 2.0:
        return 1.0
    return min(1.0, elastic_half * yielding_modulus(section, elastic_half, turned) / own.inertia)


def _yielding(outline: Outline, elastic_half: float) -> float:
    _, first, second = outline.within(elastic_half)
    return second / elastic_half + outline.within(outline.height / 2.0)[1] - first
