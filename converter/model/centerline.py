"""From a bend table to a centerline in place: what the table means.

The frame travels along the tube: t is the direction of feed, n the normal of the current
bend plane. Each row advances along t, rolls n about t by the rotation, then turns t about
n by the angle on the radius. This is the step from internal to Cartesian coordinates
(Parsons et al., J. Comput. Chem. 26:1063, 2005, from memory), with arcs for corners.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, radians, sin
from typing import Any

from converter.geometry.vectors import Vec, cross, norm, scale, sub
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


def nearest_to_itself(segments: Sequence[Segment], thick: float) -> tuple[float, float] | None:
    """How near a centerline comes to itself away from its ends, for a tube ``thick`` mm across.

    Looks a thickness apart first and, where that comes close, a tenth of it apart; what is
    returned is at most that much too large.

    Returns:
        The distance in mm and the later place along the centerline; None where it stays well clear, or is longer than
        `_MOST_TIMES` its thickness.
    """
    from converter.geometry.near import self_approach

    if all(surely_apart([(segments, thick)])) or sum(s.length for s in segments) > _MOST_TIMES * thick:
        return None
    for step in (thick, thick / 10.0):
        points, place = sampled(segments, step)
        met = self_approach(points, place, 2.0 * thick, 1.5 * thick, thick + step)
        if met is None:
            return None
    return met


def surely_apart(tubes: Sequence[tuple[Sequence[Segment], float]]) -> list[bool]:
    """A quick look at chords, of many tubes at once: whether parts of each stay a thickness apart.

    Parts with less than half a turn between them cannot meet (Fenchel's theorem).

    Args:
        tubes: of each its centerline, and mm of its thickness.
    """
    found: list[bool] = []
    some: list[_PartPairs] = []
    count = 0
    for i, (segments, thick) in enumerate(tubes):
        some.append(_PartPairs.of(segments, thick))
        count += len(some[-1].first)
        if count >= _PAIRS or i == len(tubes) - 1:
            found += _keep_apart(some)
            some, count = [], 0
    return found


#: Thicknesses that a centerline is looked at along: of tube of 25 mm 2.5 km, beyond what `run-size` takes for a tube.
_MOST_TIMES = 100_000
#: Pairs of parts looked at in one go: a bound on memory.
_PAIRS = 100_000


@dataclass(frozen=True, slots=True, eq=False)
class _PartPairs:
    """The chords of a centerline's parts, (n, 3) from start to end each; every pair of them with half a turn or more
    from the start of the first to the end of the second; and the mm that chords must keep for the tube to be clear."""

    start: Any
    end: Any
    first: Any
    second: Any
    clear: float

    @classmethod
    def of(cls, segments: Sequence[Segment], thick: float) -> _PartPairs:
        """Those of one tube."""
        import numpy as np

        from converter.geometry.near import pairs_apart

        points: list[Vec] = []
        turns: list[float] = []
        slack = 0.0
        for s in segments:
            points.append(s.start)
            if not isinstance(s, Arc):
                turns.append(0.0)
                continue
            # up to a right angle the chord serves: what it leaves out is slack
            count = max(1, ceil(s.angle / 90.0 - 1e-9))
            points += [s.point(s.angle * k / count) for k in range(1, count)]
            turns += [s.angle / count] * count
            slack = max(slack, s.radius * (1.0 - cos(radians(s.angle / count / 2.0))))
        points.append(segments[-1].end)
        total, ends = np.cumsum(turns), np.array(points)
        i, j = pairs_apart(len(turns))
        some = total[j] - total[i] + np.array(turns)[i] >= 180.0
        return cls(ends[:-1], ends[1:], i[some], j[some], thick + 2.0 * slack)


def _keep_apart(some: Sequence[_PartPairs]) -> list[bool]:
    import numpy as np

    from converter.geometry.near import least_between

    sizes = [len(one.first) for one in some]
    shifts = np.repeat(np.cumsum([0, *(len(one.start) for one in some[:-1])]), sizes)
    start, end, first, second = (
        np.concatenate([getattr(one, name) for one in some]) for name in ("start", "end", "first", "second")
    )
    apart = least_between(start, end, first + shifts, second + shifts)
    least = np.full(len(some), np.inf)
    np.minimum.at(least, np.repeat(np.arange(len(some)), sizes), apart)
    return [near > one.clear for near, one in zip(least.tolist(), some, strict=True)]


def sampled(segments: Sequence[Segment], step: float) -> tuple[Any, Any]:
    """Points (n, 3) at most ``step`` mm apart along segments that follow each other, and their places (n,) in mm."""
    import numpy as np

    points: list[Any] = []
    place: list[Any] = []
    at = 0.0
    for s in segments:
        u = np.arange(0.0, (count := max(1, ceil(s.length / step))) + 1.0) / count
        if isinstance(s, Arc):
            points.append(np.array([s.point(k * s.angle) for k in u.tolist()]))
        else:
            points.append(np.array(s.start) + np.array(sub(s.end, s.start)) * u[:, None])
        place.append(at + u * s.length)
        at += s.length
    return np.concatenate(points), np.concatenate(place)
