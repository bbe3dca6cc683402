"""The unit of a mesh held against the tubes in it: numbers in metres or inches read as millimetres, and the reverse."""

from __future__ import annotations

from collections.abc import Sequence

from converter.findings import Clause, Finding
from converter.shop.sound import LEAST_TUBE, MOST_TUBE
from converter.units import MM_PER, unit_word

#: Units that a mesh's numbers may be in, the likeliest first.
LIKELY = ("mm", "m", "in", "cm")
#: How far beyond all tube sizes those of a file must be that names its unit. Common practice, no source.
STATED = 4.0


def mesh_unit_doubt(diameters: Sequence[float], read_as: str, stated: bool) -> Finding | None:
    """The doubt where every tube is narrower, or every one wider, than tube is, and would be tube in another unit.

    Args:
        diameters: of the tubes' outsides, mm.
        read_as: the unit their numbers were read in.
        stated: whether the file names that unit.
    """
    if not diameters:
        return None
    least, most, factor = min(diameters), max(diameters), STATED if stated else 1.0
    if LEAST_TUBE / factor <= most and least <= MOST_TUBE * factor:
        return None
    size = most if most < LEAST_TUBE else least
    others = [
        (other, k)
        for other in LIKELY
        if other != read_as and least * (k := MM_PER[other] / MM_PER[read_as]) >= LEAST_TUBE and most * k <= MOST_TUBE
    ]
    if not others:
        return None
    readings = tuple(Clause.of("mesh-read-in", other=unit_word(other), od=size * k) for other, k in others)
    values = {"own": unit_word(read_as), "od": size, "others": readings, "unit": others[0][0], "stay": read_as}
    return Finding("units-doubted", variant="mesh", measured=size, unit="mm", values=values)
