"""Square and flat bar in a solid, alone or fused with others: where the kernel finds them full of metal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from converter.geometry.vectors import cross, dot, norm, scale, sub
from converter.importers.solids.faces import SolidBody
from converter.importers.solids.rails import Rail
from converter.importers.solids.square import square_bars
from converter.importers.solids.square_table import square_table
from converter.importers.solids.walls import asker, is_full_bar, volume_of
from converter.model.drawing import ReadyTable
from converter.tolerances import Tolerances

#: A straight bar shorter than so many sizes of something longer in its body is a lug on it. Common practice, no source.
_LUG = 3.0
#: Straight bars alone are less than this part of their body's metal only where they are the webs of a slotted plate.
_METAL = 0.6
#: Sine and mm within which bars lie in one plane.
_SLOPE, _FLUSH = 0.01, 0.05


def bars_in(
    solid: Any,
    body: SolidBody,
    rails: list[Rail],
    facing: int,
    others: Sequence[tuple[float, float]],
    name: str,
    tol: Tolerances,
) -> list[ReadyTable]:
    """The square and flat bars of a solid.

    Args:
        rails: corners that are no tube's.
        facing: 1 where faces look out of the metal, -1 where into it.
        others: length and greater size of the tubes and round bars of the same body, mm.
    """
    used: set[int] = set()
    bars: list[ReadyTable] = []
    for bar in square_bars(rails, tol, facing, asker(solid)):
        if used & bar.rails:
            continue
        made = square_table(body, bar, name, tol)
        if made is not None and is_full_bar(solid, made, len(body.patches) * (len(bars) + 1)):
            used |= bar.rails
            bars.append(made)
    sizes = [(bar.table.developed_length, bar.section.greater) for bar in bars if bar.section is not None]
    bars = [bar for bar in bars if not _is_lug(bar, [*others, *sizes])]
    if bars and not others and not any(bar.table.bends for bar in bars):
        metal = sum(bar.section.area * bar.table.developed_length for bar in bars if bar.section is not None)
        if metal < _METAL * volume_of(solid):
            return []
    return bars


def are_members(bars: list[ReadyTable]) -> bool:
    """Whether bars make a frame, by themselves; a single straight one is told better by cuts across its body."""
    return len(bars) > 1 or any(bar.table.bends for bar in bars)


def _is_lug(bar: ReadyTable, members: Sequence[tuple[float, float]]) -> bool:
    own = bar.table.developed_length
    return not bar.table.bends and any(length > own and own < _LUG * size for length, size in members)


def is_in_one_plane(tables: list[ReadyTable]) -> bool:
    """Whether straight bars of one thickness lie in one plane: a plate with windows cut looks the same."""
    rows = []
    for table in tables:
        if table.section is None or table.section.bore is not None or table.section.cylinder is not None:
            return False
        if table.placement is None or table.table.bends:
            return False
        rows.append((table.placement, table.section))
    first = rows[0][0]
    ways = [cross(first.direction, place.direction) for place, _ in rows]
    normal = max(ways, key=norm)
    if norm(normal) < _SLOPE:
        return False
    normal = scale(normal, 1.0 / norm(normal))
    thick = []
    for place, section in rows:
        lean = abs(dot(place.normal, normal))
        if abs(dot(place.direction, normal)) > _SLOPE or _SLOPE < lean < 1.0 - _SLOPE:
            return False
        thick.append((dot(sub(place.start, first.start), normal), section.od if lean > 0.5 else section.height))
    return all(abs(off) <= _FLUSH and abs(size - thick[0][1]) <= _FLUSH for off, size in thick)
