"""Where a tube stops: its table cut to the metal, end A chosen, and how far the longest point reaches."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees, pi

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec, along, cross, rotate, unit
from converter.importers.mesh.feet import Feet, TablePart
from converter.importers.mesh.saddle import place_on_mate
from converter.model.bends import BendTable, Placement
from converter.model.centerline import reverse_table, walk

SECTORS = 24  #: around the tube, each with its own last vertex
MOSTLY = 0.6  #: of the sectors that a plane must pass
HAIR = 1e-6  #: mm; a straight at an end that is shorter is rounding


@dataclass(frozen=True, slots=True)
class MeshEnd:
    """An end of a round tube.

    Attributes:
        place: where the centerline ends, mm along the tube.
        farthest: where the longest point of metal is, mm along the tube.
        on: what it ends on, by the variants of the finding `solid-ends`: 'cut', 'mate' or 'edge'.
    """

    place: float
    farthest: float
    on: str


def end_of(feet: Feet, parts: list[TablePart], radius: float, slack: float, first: bool) -> MeshEnd:
    """An end of a tube: where a square or mitred cut crosses its axis, or where that comes nearest to a mate's.

    The last vertex of each of `SECTORS` directions counts, so that a hole near the end does not.

    Args:
        feet: of the vertices on the rims of the outside (or of all its vertices).
        parts: the tube.
        radius: of the outside, mm.
        slack: mm that vertices may lie off the surface of a cut.
        first: end A; else end B.
    """
    length = parts[-1].place + parts[-1].length
    place = feet.place if first else length - feet.place
    near = place < float(place.min()) + 4.0 * radius
    up = feet.up[near]
    part = parts[0] if first else parts[-1]
    x, y = np.array(part.n), np.array(cross(part.n, part.t))
    if part.arc is not None or not first:
        x, y = _across(np.array(part.t))
    angle = np.arctan2(up @ y, up @ x)
    sector = ((angle / np.pi + 1.0) * SECTORS / 2.0 + 0.01).astype(np.int64) % SECTORS
    order = np.lexsort((place[near], sector))
    last = order[np.unique(sector[order], return_index=True)[1]]
    least, angle = place[near][last], angle[last]
    # a plane cuts the tube in place = end + b cos + c sin, however its vertices are spread
    end, longest, on = float(least.mean()), float(place.min()), "edge"
    if len(least) >= 5:
        end, is_plane = _crossing(angle, least, radius, slack)
        on = "cut" if is_plane else "edge"
    if on == "edge" and bool((feet.part[near][last] == (0 if first else len(parts) - 1)).all()):
        mate = place_on_mate(np.stack((least, radius * np.cos(angle), radius * np.sin(angle)), axis=1), radius, slack)
        end, on = (end, on) if mate is None else (mate, "mate")
    return MeshEnd(end, longest, on) if first else MeshEnd(length - end, length - longest, on)


def _crossing(angle: Array, least: Array, radius: float, slack: float) -> tuple[float, bool]:
    """Where a plane cut crosses the axis, from the last vertices of sectors, and whether most of them lie in it.

    Sectors without a rim drop out.
    """
    design = np.stack((np.ones_like(angle), np.cos(angle), np.sin(angle)), axis=1)
    kept = np.ones(len(least), bool)
    answer = np.linalg.lstsq(design, least, rcond=None)[0]
    for _ in range(6):
        miss = least - design @ answer
        usual = 1.4826 * float(np.median(np.abs(miss)))
        inside = miss > max(3.0 * usual, 1e-5 * radius)
        if (~inside).sum() < 5 or bool((inside == ~kept).all()):
            break
        kept = ~inside
        answer = np.linalg.lstsq(design[kept], least[kept], rcond=None)[0]
    return float(answer[0]), bool((np.abs(least - design @ answer) <= slack).mean() >= MOSTLY)


def _across(t: Array) -> tuple[Array, Array]:
    x = np.cross(t, (1.0, 0.0, 0.0) if abs(t[0]) < 0.7 else (0.0, 1.0, 0.0))
    x /= np.sqrt(x @ x)
    return x, np.cross(t, x)


def cut_start(table: BendTable, placement: Placement, place: float) -> tuple[BendTable, Placement]:
    """The tube from ``place`` mm along it on (before it when negative); at most into its first bend."""
    if not table.bends:
        return BendTable((), table.tail - place), replace(
            placement, start=along(placement.start, placement.direction, place)
        )
    first = table.bends[0]
    if place <= first.feed or first.clr is None:
        feed = first.feed - place
        start = along(placement.start, placement.direction, place)
        bends = (replace(first, feed=0.0 if abs(feed) < HAIR else feed), *table.bends[1:])
        return BendTable(bends, table.tail), replace(placement, start=start)
    turn = degrees((place - first.feed) / first.clr)
    turn = min(first.angle - 1e-6, turn)
    t, n = placement.direction, placement.normal
    begin = along(placement.start, t, first.feed)
    center = along(begin, cross(n, t), first.clr)
    arm = tuple(a - b for a, b in zip(begin, center, strict=True))
    start = along(center, rotate((arm[0], arm[1], arm[2]), n, turn), 1.0)
    bends = (replace(first, feed=0.0, angle=first.angle - turn), *table.bends[1:])
    return BendTable(bends, table.tail), Placement(start, unit(rotate(t, n, turn)), n)


def cut_to(table: BendTable, placement: Placement, start: float, end: float) -> tuple[BendTable, Placement]:
    """The tube between two places along it, mm."""
    rest = table.developed_length - end
    back, from_b = reverse_table(table, placement)
    back, from_b = cut_start(back, from_b, rest)
    table, placement = reverse_table(back, from_b)
    return cut_start(table, placement, start)


def starts_smaller(table: BendTable, placement: Placement) -> bool:
    """Whether end A comes before end B by x, then y, then z (to 1e-3 mm)."""
    end = walk(table, placement)[1].start
    return _key(placement.start) <= _key(end)


def _key(p: Vec) -> tuple[float, ...]:
    return tuple(round(v, 3) for v in p)


def begun_in_middle(table: BendTable, placement: Placement) -> tuple[BendTable, Placement]:
    """A closed run begun in the middle of the straight that its ends share (as it is without one)."""
    if not table.bends or table.bends[0].feed + table.tail <= 0.0:
        return table, placement
    whole = table.bends[0].feed + table.tail
    first = replace(table.bends[0], feed=whole / 2.0)
    moved = along(placement.start, placement.direction, table.bends[0].feed - whole / 2.0)
    return BendTable((first, *table.bends[1:]), whole / 2.0), replace(placement, start=moved)


def is_ring(table: BendTable) -> bool:
    """Whether a closed run's table is one circle: bends of one radius in one plane and next to no straights."""
    radii = [b.clr for b in table.bends if b.clr is not None]
    if not radii or len(radii) != len(table.bends):
        return False
    mean = sum(b.arc_length for b in table.bends) / (2.0 * pi)
    return (
        abs(sum(b.angle for b in table.bends) - 360.0) < 3.0
        and sum(table.straights) < 0.05 * mean
        and max(radii) - min(radii) < 0.03 * mean
        and all(abs(b.rotation) < 3.0 for b in table.bends)
    )


def halves(table: BendTable, placement: Placement) -> tuple[BendTable, Placement]:
    """A ring as two bends of half a turn, on the radius of its longest bend."""
    longest = max(table.bends, key=lambda b: b.angle)
    bend = replace(longest, feed=0.0, rotation=0.0, angle=180.0)
    start = along(placement.start, placement.direction, table.bends[0].feed)
    return BendTable((bend, bend), 0.0), replace(placement, start=start)
