"""When a die makes a bend: the tolerances of that judgement, in one place.

An exact arc (drawn as one, or written in a table) is judged exactly: its radius and the die's are
equal within `EQUAL`, which only covers the rounding of drawings to two or three decimals. A fitted
radius carries an uncertainty and is judged by it: on a short arc the sagitta hardly knows the radius
(dR/dsagitta = cos h/(1 - cos h), h half the sweep).
"""

from __future__ import annotations

from collections.abc import Sequence

from converter.model.bends import Bend
from converter.shop.model import Die

#: mm; radii closer than this are the same radius (0.002 in; the default fit tolerance).
EQUAL = 0.05
#: A fitted radius known to this share of itself is known well enough to name the die it was meant for.
SURE = 0.02


def span(bend: Bend) -> tuple[float, float] | None:
    """The least and the greatest radius in mm that the bend may have; None for a sharp corner."""
    if bend.clr is None:
        return None
    return bend.clr - bend.clr_uncertainty - EQUAL, bend.clr + bend.clr_uncertainty + EQUAL


def die_for_bend(bend: Bend, dies: Sequence[Die]) -> Die | None:
    """The die that makes the bend for sure, or None.

    For an exact arc the die of that radius; for a fitted one the only die within its uncertainty,
    when that is small (`SURE`). Of two dies that fit an exact arc the nearest.
    """
    clr = bend.clr
    if clr is None:
        return None
    reach = bend.clr_uncertainty + EQUAL
    fitting = [die for die in dies if abs(die.clr - clr) <= reach]
    if not fitting:
        return None
    nearest = min(fitting, key=lambda die: abs(die.clr - clr))
    if abs(nearest.clr - clr) <= EQUAL and bend.clr_uncertainty <= EQUAL:
        return nearest
    different = any(abs(die.clr - nearest.clr) > EQUAL for die in fitting)
    return None if different or bend.clr_uncertainty > SURE * clr else nearest
