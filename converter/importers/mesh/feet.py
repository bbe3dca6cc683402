"""Where points stand on a tube: its straights and bends with their frames, and the foot of each point."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np

from converter.arrays import Array, Ints
from converter.geometry.circles import along_axis
from converter.geometry.vectors import Vec, along, cross, dot, rotate, unit
from converter.model.bends import BendTable, Placement
from converter.model.curve import Arc, Line, Segment
from converter.model.deviation import distances


@dataclass(frozen=True, slots=True)
class TablePart:
    """A straight or bend of a table in place: its row, its frame at the start, and its segment.

    Attributes:
        row: of the table; the tail has the number of bends.
        point, t, n: where it starts, the direction of travel, the bend plane's normal.
        length: of a straight, mm.
        arc: of a bend.
        place: length along the tube from end A to its start, mm.
    """

    row: int
    point: Vec
    t: Vec
    n: Vec
    length: float
    arc: Arc | None
    place: float


@dataclass(frozen=True, slots=True, eq=False)
class Feet:
    """Where vertices (n, 3) stand on a tube.

    Attributes:
        part: (n,) index of the part.
        off: (n,) distance from the centerline, mm.
        up: (n, 3) unit vector from the centerline to the vertex.
        place: (n,) length along the tube from end A, mm; below 0 before it, above the length after it.
    """

    part: Ints
    off: Array
    up: Array
    place: Array


def parts_of(table: BendTable, placement: Placement) -> list[TablePart]:
    """The straights (also those of no length at both ends) and bends of a table, in place."""
    out: list[TablePart] = []
    point, t, n = placement.start, placement.direction, placement.normal
    place = 0.0
    for k, bend in enumerate(table.bends):
        if bend.feed > 0.0 or k == 0 or bend.clr is None:
            out.append(TablePart(k, point, t, n, bend.feed, None, place))
        n = rotate(n, t, bend.rotation)
        begin = along(point, t, bend.feed)
        place += bend.feed
        if bend.clr is not None:
            arc = Arc.swept(along(begin, cross(n, t), bend.clr), n, begin, bend.angle)
            out.append(TablePart(k, begin, t, n, 0.0, arc, place))
            begin = arc.end
            place += bend.arc_length
        point = begin
        t = unit(rotate(t, n, bend.angle))
        n = unit(along(n, t, -dot(n, t)))
    out.append(TablePart(len(table.bends), point, t, n, table.tail, None, place))
    return out


def feet_of(
    points: Array, parts: list[TablePart], beyond: float, hint: Array | None = None, reach: float = 0.0
) -> Feet:
    """Where points stand on a tube whose first and last straights are prolonged.

    Args:
        points: (n, 3) mm.
        parts: the tube.
        beyond: by how much, mm.
        hint: (n,) rising, roughly the place of each point; parts are then sought within ``reach`` mm of it only.
        reach: mm.
    """
    count = len(points)
    best = np.full(count, np.inf)
    which = np.zeros(count, np.int64)
    last = len(parts) - 1
    for k, part in enumerate(parts):
        a, b = 0, count
        if hint is not None:
            end = part.place + (part.length if part.arc is None else part.arc.length)
            a = 0 if k == 0 else int(np.searchsorted(hint, part.place - reach))
            b = count if k == last else int(np.searchsorted(hint, end + reach))
        if a >= b:
            continue
        d = distances(points[a:b], _segment(part, beyond if k == 0 else 0.0, beyond if k == last else 0.0))
        closer = d < best[a:b]
        best[a:b][closer] = d[closer]
        which[a:b][closer] = k
    off, place = np.empty(count), np.empty(count)
    up = np.empty((count, 3))
    for k, part in enumerate(parts):
        own = np.flatnonzero(which == k)
        if len(own) == 0:
            continue
        x = points[own]
        if part.arc is None:
            t = np.array(part.t)
            arm = x - np.array(part.point)
            ahead = along_axis(arm, t)
            away = arm - ahead[:, None] * t
            place[own] = part.place + ahead
        else:
            c, n = np.array(part.arc.center), np.array(part.n)
            first = (np.array(part.point) - c) / part.arc.radius
            arm = x - c
            high = along_axis(arm, n)
            flat = arm - high[:, None] * n
            size = np.sqrt((flat * flat).sum(axis=1))
            away = flat * (1.0 - part.arc.radius / np.where(size > 0.0, size, 1.0))[:, None] + high[:, None] * n
            turn = np.arctan2(along_axis(flat, np.array(part.t)), along_axis(flat, first))
            half = radians(part.arc.angle) / 2.0
            turn = half + np.mod(turn - half + np.pi, 2.0 * np.pi) - np.pi
            place[own] = part.place + turn * part.arc.radius
        dist = np.sqrt((away * away).sum(axis=1))
        off[own] = dist
        up[own] = away / np.where(dist > 0.0, dist, 1.0)[:, None]
    return Feet(which, off, up, place)


def _segment(part: TablePart, before: float, after: float) -> Segment:
    if part.arc is not None:
        return part.arc
    return Line(along(part.point, part.t, -before), along(part.point, part.t, max(part.length, 1e-9) + after))
