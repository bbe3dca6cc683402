"""From a bend table to a centerline in place: what the table means.

The frame travels along the tube: t is the direction of feed, n the normal of the current
bend plane. Each row advances along t, rolls n about t by the rotation, then turns t about
n by the angle on the radius. This is the step from internal to Cartesian coordinates
(Parsons et al., J. Comput. Chem. 26:1063, 2005, from memory), with arcs for corners.
"""

from __future__ import annotations

from math import cos, radians, sin

from converter.geometry.vectors import Vec, cross, norm, scale
from converter.model.bends import BendTable, Placement
from converter.model.curve import Arc, Line, Segment

#: mm; a straight no longer than this is none.
NO_LENGTH = 1e-9


def rebuild(table: BendTable, placement: Placement | None = None) -> tuple[Segment, ...]:
    """The straights and arcs of a bend table, in place.

    Args:
        table: lengths in mm, angles in degrees.
        placement: where end A stands; the origin along +x, first bend toward +y, when None.

    Returns:
        Lines and arcs, each starting where the one before ends; straights of no more than `NO_LENGTH` are left out.
        A sharp corner (clr None) is a change of direction between two lines. A negative straight moves the point
        backward without a line of its own.
    """
    return walk(table, placement)[0]


def walk(table: BendTable, placement: Placement | None = None) -> tuple[tuple[Segment, ...], Placement]:
    """As `rebuild`, and also the frame at end B: point, direction of travel, last bend's normal."""
    place = placement or Placement()
    point, t, n = place.start, place.direction, place.normal
    segments: list[Segment] = []
    for bend in table.bends:
        point = _straight(segments, point, t, bend.feed)
        # b points from the tube toward the inside of the bend; turns are written out: this loop is hot
        b = cross(n, t)
        if bend.rotation:
            a = radians(bend.rotation)
            c, s = cos(a), sin(a)
            # right-hand about t: n -> n cos + (t x n) sin, and t x n = -b
            n = (n[0] * c - b[0] * s, n[1] * c - b[1] * s, n[2] * c - b[2] * s)
            b = cross(n, t)
        a = radians(bend.angle)
        c, s = cos(a), sin(a)
        if bend.clr is not None:
            r = bend.clr
            center = (point[0] + b[0] * r, point[1] + b[1] * r, point[2] + b[2] * r)
            # the arm from center to tube is -b; turned by the angle it is -(b cos - t sin)
            end = (
                center[0] - r * (b[0] * c - t[0] * s),
                center[1] - r * (b[1] * c - t[1] * s),
                center[2] - r * (b[2] * c - t[2] * s),
            )
            segments.append(Arc(center, n, r, point, end, bend.angle))
            point = end
        t = (t[0] * c + b[0] * s, t[1] * c + b[1] * s, t[2] * c + b[2] * s)
        n, t = _orthonormal(n, t)
    point = _straight(segments, point, t, table.tail)
    return tuple(segments), Placement(point, t, n)


def reverse_table(table: BendTable, placement: Placement | None = None) -> tuple[BendTable, Placement]:
    """The same tube fed from end B: the table, and the placement that puts it on the same metal.

    Feeds and angles come in reverse order, rotations too and with the same sign (a screw keeps
    its hand); the first rotation is 0 again.
    """
    end = walk(table, placement)[1]
    normal = scale(end.normal, -1.0) if table.bends else end.normal
    return from_end_b(table), Placement(end.start, scale(end.direction, -1.0), normal)


def from_end_b(table: BendTable) -> BendTable:
    """The table alone of `reverse_table`."""
    bends = table.bends
    straights = table.straights
    rows = []
    for i in range(len(bends) - 1, -1, -1):
        rotation = 0.0 if i == len(bends) - 1 else bends[i + 1].rotation
        rows.append(bends[i].rolled(straights[i + 1], rotation))
    return BendTable(tuple(rows), straights[0])


def _straight(segments: list[Segment], point: Vec, t: Vec, length: float) -> Vec:
    end = (point[0] + t[0] * length, point[1] + t[1] * length, point[2] + t[2] * length)
    if length > NO_LENGTH and end != point:
        segments.append(Line(point, end))
    return end


def _orthonormal(n: Vec, t: Vec) -> tuple[Vec, Vec]:
    """Rounding kept from building up over many bends: t exactly unit, n exactly across it."""
    k = 1.0 / norm(t)
    t = (t[0] * k, t[1] * k, t[2] * k)
    d = n[0] * t[0] + n[1] * t[1] + n[2] * t[2]
    n = (n[0] - d * t[0], n[1] - d * t[1], n[2] - d * t[2])
    k = 1.0 / norm(n)
    return (n[0] * k, n[1] * k, n[2] * k), t
