"""Square and flat bar in a solid, alone or fused with others: where the kernel finds them full of metal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from converter.findings import Finding
from converter.geometry.vectors import Vec, cross, dot, norm, scale, sub
from converter.importers.solids.chains import PieceChain
from converter.importers.solids.faces import SolidBody
from converter.importers.solids.rails import Rail
from converter.importers.solids.square import square_bars
from converter.importers.solids.square_table import square_table
from converter.importers.solids.volume import volume_of
from converter.importers.solids.walls import asker, is_full_bar
from converter.model.bends import Placement
from converter.model.drawing import ReadyTable
from converter.model.frames import pieces
from converter.tolerances import Tolerances

#: A straight bar shorter than so many sizes of something longer in its body, and than so many of its own, is a lug on
#: it. Common practice, no source.
_LUG, _LUG_OWN = 3.0, 10.0
#: Straight bars alone are less than this part of their body's metal only where they are the webs of a slotted plate.
_METAL = 0.6
#: The kernel takes as long for a point as a body has faces: so many in all are asked of a body, and so many of a bar.
_MOST_ASKED, _TRIAL = 2_000_000, 12
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
    inside = asker(solid)
    left = _MOST_ASKED

    def is_metal(point: Vec) -> bool:
        nonlocal left
        left -= len(body.patches)
        return left > 0 and inside(point)

    for bar in square_bars(rails, tol, facing, is_metal):
        if used & bar.rails:
            continue
        left -= _TRIAL * len(body.patches)
        if left < 0:
            return []  # a body too large to be asked; a part of its bars would be told as all of them
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


def without_bends(chains: list[PieceChain], members: list[ReadyTable], tol: Tolerances) -> list[PieceChain]:
    """Round members without what is a bend of a square one or of a bar: the curl of a hinge is round, too."""
    sides = []
    for member in members:
        for one in pieces(member.table, member.placement or Placement(), member.closed):
            if one.arc is not None and member.section is not None:
                deep = member.section.size_in_plane(one.roll) / 2.0
                sides += [(one.arc.center, one.arc.normal, one.arc.radius + off) for off in (deep, -deep)]

    def is_bend(chain: PieceChain) -> bool:
        axis = chain.pieces[0].axis
        return (
            len(chain.pieces) == 1
            and not axis.is_ring
            and any(
                norm(cross(axis.direction, normal)) < 1e-4
                and norm(cross(sub(center, axis.point), axis.direction)) <= tol.fit
                and abs(radius - chain.radius) <= tol.fit
                for center, normal, radius in sides
            )
        )

    return [chain for chain in chains if not is_bend(chain)]


def _is_lug(bar: ReadyTable, members: Sequence[tuple[float, float]]) -> bool:
    own = bar.table.developed_length
    if bar.table.bends or bar.section is None or own >= _LUG_OWN * bar.section.greater:
        return False
    return any(length > own and own < _LUG * size for length, size in members)


def with_plate_doubt(tables: list[ReadyTable]) -> list[ReadyTable]:
    """The tables of a body; of bars of one thickness in one plane it is said that a plate cut so looks the same."""
    bars = [table for table in tables if table.section is not None and table.section.bore is None]
    if not bars or len(bars) < len(tables) or any(bar.section.cylinder is not None for bar in bars if bar.section):
        return tables
    if not _are_in_one_plane(bars):
        return tables
    variant, count = ("frame", len(bars)) if len(bars) > 1 else ("", 1)
    return [
        replace(
            bar,
            findings=(*bar.findings, Finding("solid-plate", variant=variant, tube=bar.name, values={"count": count})),
        )
        for bar in bars
    ]


def _are_in_one_plane(bars: list[ReadyTable]) -> bool:
    """Whether bars lie in one plane with one thickness across it: all their bends the hard way, or square bar's."""
    planes = []
    ways = []
    for bar in bars:
        if bar.section is None or bar.placement is None:
            return False
        for one in pieces(bar.table, bar.placement, bar.closed):
            ways.append(one.start.direction)
            if one.arc is not None:
                planes.append(one.arc.normal)
    crossed = [cross(ways[0], way) for way in ways[1:]]
    across = planes[:1] + sorted(crossed, key=norm)[-1:]
    if not across or norm(across[0]) < _SLOPE:
        return False
    normal = scale(across[0], 1.0 / norm(across[0]))
    rows = []
    for bar in bars:
        if bar.section is None or bar.placement is None:
            return False
        lean = abs(dot(bar.placement.normal, normal))
        if _SLOPE < lean < 1.0 - _SLOPE:
            return False
        thick, deep = bar.section.od, bar.section.height
        if lean < 0.5:
            thick, deep = deep, thick
        if bar.table.bends and thick > deep - _FLUSH:
            return False  # bent the easy way: nobody cuts that from plate
        rows.append((dot(bar.placement.start, normal), thick))
    level = all(abs(dot(way, normal)) <= _SLOPE for way in ways) and all(
        1.0 - abs(dot(n, normal)) <= _SLOPE for n in planes
    )
    return level and all(abs(a - rows[0][0]) <= _FLUSH and abs(t - rows[0][1]) <= _FLUSH for a, t in rows)
