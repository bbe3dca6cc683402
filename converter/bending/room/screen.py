"""A quick look at simple orders, which settles for most tubes whether they clear, without a sweep.

While a bend of a simple order is made, all of the tube ahead of the die is bent as it will be and all behind is
straight stock. An arc lies within the triangle of its ends and its corner, so the tube is nowhere nearer to a plane
than the nearest corner of these triangles; boxes around them over the whole swing bound the room to boxes and to the
tube itself. The ends of the arcs are points of the tube, which comes as near as they do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Index
from converter.bending.room.bound import LOOSE, RoomMotion, ball_rooms, box_gaps
from converter.bending.room.shape import APART
from converter.bending.room.space import Space
from converter.model.bends import BendTable

#: Radians; wider arcs have no corner near enough to be of use.
_WIDEST = np.radians(150.0)
#: Tubes looked at in one go, and points of all of them while some bends are made: bounds on memory.
_TOGETHER, _PLACES = 256, 1 << 13
#: mm; farther away than anything.
_FAR = 1e7


@dataclass(slots=True, eq=False)
class SimpleRoom:
    """The least room of the simple order from the end that a table begins at, mm: at least and at most."""

    least: float = -inf
    most: float = inf


@dataclass(slots=True, eq=False)
class SimpleQuestion:
    """What is asked about the simple order of one tube.

    Attributes:
        table: with a radius for each bend and no straight below zero, from the end fed first.
        stops: degrees each bend is turned to.
        space: around the machine.
        radius: half the outside diameter, mm.
        room: once it is answered.
    """

    table: BendTable
    stops: Sequence[float]
    space: Space
    radius: float
    room: SimpleRoom = field(default_factory=SimpleRoom)


def answer_simply(questions: Sequence[SimpleQuestion]) -> None:
    """Answer questions, those of tubes of about as many bends on one machine together."""
    some: dict[tuple[int, int], list[SimpleQuestion]] = {}
    for one in questions:
        if one.space.ahead and one.table.bends:
            some.setdefault((id(one.space), len(one.table.bends).bit_length()), []).append(one)
    for alike in some.values():
        for i in range(0, len(alike), _TOGETHER):
            _answer_alike(alike[i : i + _TOGETHER])


@dataclass(frozen=True, slots=True, eq=False)
class _BentTubes:
    """Tubes of up to n bends as they come out, walked from the end fed first; what one lacks is zero.

    Attributes:
        count: (tubes,) how many bends each has.
        points: (1 + 3 n, 3, tubes) the free end; then of each arc its start, its corner and its end.
        travel, normal: (n, 3, tubes) at the start of each bend, the normal that of its plane.
        clr, angle, stop: (n, tubes) mm and radians.
        along: (1 + 3 n, tubes) mm from the free end along the tube, of corners those of the start.
        stock: (n, tubes) mm of straight stock behind the start of each bend.
        radius: (tubes,) mm.
    """

    count: Index
    points: Array
    travel: Array
    normal: Array
    clr: Array
    angle: Array
    stop: Array
    along: Array
    stock: Array
    radius: Array

    @classmethod
    def of(cls, questions: Sequence[SimpleQuestion]) -> _BentTubes:
        """Those of some questions."""
        tables = [one.table for one in questions]
        counts, several = [len(table.bends) for table in tables], len(tables)
        most = max(counts)
        numbers = np.zeros((several, most, 5))
        for i, (one, table) in enumerate(zip(questions, tables, strict=True)):
            rows = zip(table.bends, one.stops, strict=True)
            numbers[i, : counts[i]] = [(b.feed, b.rotation, b.angle, b.clr or 0.0, stop) for b, stop in rows]
        feed, rotation, angle, clr, stop = np.ascontiguousarray(numbers.transpose(2, 1, 0))
        rotation, angle = np.radians(rotation), np.radians(angle)
        points = np.zeros((1 + 3 * most, 3, several))
        travel, normal = np.zeros((2, most, 3, several))
        point, t, n = np.zeros((3, 3, several))
        t[0], n[2] = 1.0, 1.0
        for i in range(most):
            point = point + t * feed[i]
            if i:
                n = n * np.cos(rotation[i]) - np.cross(n, t, axis=0) * np.sin(rotation[i])
            b = np.cross(n, t, axis=0)
            c, s, r = np.cos(angle[i]), np.sin(angle[i]), clr[i]
            travel[i], normal[i] = t, n
            points[1 + 3 * i] = point
            points[2 + 3 * i] = point + t * (r * np.tan(np.minimum(angle[i], _WIDEST) / 2.0))
            point = point + r * (b * (1.0 - c) + t * s)
            points[3 + 3 * i] = point
            t = t * c + b * s
        begin = np.cumsum(feed, axis=0) + np.cumsum(clr * angle, axis=0) - clr * angle
        along = np.stack([begin, begin, begin + clr * angle], axis=1).reshape(3 * most, several)
        length = np.array([table.developed_length for table in tables])
        radius = np.array([one.radius for one in questions])
        along = np.concatenate([np.zeros((1, several)), along])
        of = points, travel, normal, clr, angle, np.radians(stop), along, length - begin, radius
        return cls(np.array(counts), *of)

    def ahead(self, bends: slice) -> Array:
        """(3, bends, 3 last + 2, tubes) the points up to the start of each of some bends, in its coordinates as it
        begins; those up to the start of the last one for all of them."""
        apart = self.points[None, : 3 * bends.stop - 1] - self.points[1::3][bends][:, None]
        across = np.cross(self.normal[bends], self.travel[bends], axis=1)
        axes = self.travel[bends], across, self.normal[bends]
        x, y, z = ((apart * axis[:, None]).sum(axis=2) for axis in axes)
        return np.stack([-x, y - self.clr[bends, None], -z])

    def off_the_end(self, points: Array) -> Array:
        """(3, bends, 1, tubes) the point a radius off the free end on the first straight, where that is so long; of
        points `ahead`."""
        end, start = points[:, :, :1], points[:, :, 1:2]
        share: Array = self.radius / np.maximum(self.along[1], self.radius)
        return np.asarray(end + (start - end) * share)


def _answer_alike(questions: Sequence[SimpleQuestion]) -> None:
    tubes, space = _BentTubes.of(questions), questions[0].space
    least, most = np.full((2, len(questions)), inf)
    count = len(tubes.clr)
    several = max(1, _PLACES // (3 * count * len(questions)))
    for first in range(0, count, several):
        bends = slice(first, min(first + several, count))
        low, high = _rooms(tubes, bends, space)
        least, most = np.minimum(least, low), np.minimum(most, high)
    wide = np.maximum(tubes.angle, tubes.stop).max(axis=0) > _WIDEST
    for one, *room in zip(questions, np.where(wide, -inf, least).tolist(), most.tolist(), strict=True):
        one.room = SimpleRoom(*room)


def _rooms(tubes: _BentTubes, bends: slice, space: Space) -> tuple[Array, Array]:
    """(tubes,) mm that is left at least and at most while some bends are made."""
    points, radius, clr, end = tubes.ahead(bends), tubes.radius, tubes.clr[bends], tubes.stop[bends]
    k = np.arange(bends.start, bends.stop)[:, None, None]
    made = k < tubes.count
    nothing = np.zeros_like(end)
    swing = RoomMotion.until(1, np.zeros_like(end[:, None]), end[:, None])
    slide = RoomMotion.until(0, clr[:, None], end[:, None])
    stock = np.stack([-tubes.stock[bends], -clr, nothing])
    seen, place = np.concatenate([points, tubes.off_the_end(points)], axis=2), np.arange(points.shape[2])[:, None]
    balls = np.broadcast_to(ball_rooms(seen, space, swing) - radius, seen.shape[1:])
    before = made & (place <= 3 * k + 1)
    rooms = [
        np.where(before, balls[:, :-1], inf),
        np.where(made, ball_rooms(stock[:, :, None], space, slide) - radius, inf),
    ]
    # the tube is there, but for its ends, which are cut flat, and corners
    there = before & (place % 3 != 2) & (tubes.along[: points.shape[2]] > radius)
    there = np.concatenate([there, made & (tubes.along[1] > radius)], axis=1) & (tubes.stock[bends, None] > radius)
    most = np.where(there, balls, inf).min(axis=(0, 1))
    straight = stock - radius, np.stack([nothing, -clr, nothing]) + radius
    held = straight[0][:, :, None], straight[1][:, :, None]
    straights, arcs = _boxes(points, end, radius)
    # which straights and arcs lie ahead of the bend
    number = np.arange(bends.stop)[:, None]
    of_straights, of_arcs = made & (number <= k), made & (number[:-1] < k)
    for low, high in zip(space.low, space.high, strict=True):
        corners = low[:, None, None, None], high[:, None, None, None]
        for box, counts in ((straights, of_straights), (arcs, of_arcs), (held, made)):
            rooms.append(np.where(counts, _gap(box, corners), inf))
    if space.boxes:
        seen = np.where(there, seen, _FAR).swapaxes(1, 2)
        gaps = box_gaps(seen, 0.0, space, RoomMotion.until(1, nothing, end))
        most = np.minimum(most, (np.sqrt(gaps) - radius + LOOSE).min(axis=0))
    # against the bend itself what lies ahead stands still: both as they lie before it, its arc turned back from T
    back = np.tan(np.minimum(end, _WIDEST) / 2.0)
    x, y = clr * np.stack([nothing, -back, -np.sin(end)]), clr * -np.cos(end)
    y = np.stack([-clr, -clr, y])
    own = np.stack([x.min(axis=0), y.min(axis=0), nothing]), np.stack([x.max(axis=0), y.max(axis=0), nothing])
    grown = (own[0] - radius)[:, :, None], (own[1] + radius)[:, :, None]
    turned = np.concatenate([np.zeros((1, len(radius))), np.cumsum(tubes.angle, axis=0)])
    still = _around(points, points, radius)
    for moving, standing, counts in zip((straights, arcs), still, (of_straights, of_arcs), strict=True):
        far = (turned[bends] + end)[:, None] - turned[: counts.shape[1]] >= APART - 1e-6
        gap = np.minimum(_gap(moving, held), _gap(standing, grown))
        rooms.append(np.where(counts & far, gap, inf))
    return np.concatenate(rooms, axis=1).min(axis=(0, 1)), most


#: (3, bends, n, tubes) least and greatest coordinates of n bodies while each bend is made.
_Boxes: TypeAlias = tuple[Array, Array]


def _boxes(points: Array, end: Array, radius: Array) -> tuple[_Boxes, _Boxes]:
    """The boxes around straights and arcs with these (3, bends, 3 last + 2, tubes) points that turn about Z."""
    x, y, z = points
    size = np.hypot(x, y)
    first = np.arctan2(y, x)
    last = first + end[:, None]

    def passes(direction: float) -> NDArray[np.bool_]:
        return np.asarray(np.floor((last - direction) / (2.0 * np.pi)) > np.floor((first - direction) / (2.0 * np.pi)))

    x1, y1 = size * np.cos(last), size * np.sin(last)
    low = np.where(passes(np.pi), -size, np.minimum(x, x1)), np.where(passes(-np.pi / 2.0), -size, np.minimum(y, y1)), z
    high = np.where(passes(0.0), size, np.maximum(x, x1)), np.where(passes(np.pi / 2.0), size, np.maximum(y, y1)), z
    return _around(np.stack(low), np.stack(high), radius)


def _around(low: Array, high: Array, radius: Array) -> tuple[_Boxes, _Boxes]:
    """The boxes around straights and around arcs, of those around their points."""
    straights = (
        np.minimum(low[:, :, 0::3], low[:, :, 1::3]) - radius,
        np.maximum(high[:, :, 0::3], high[:, :, 1::3]) + radius,
    )
    bends, _, tubes = low.shape[1:]
    inner = (one[:, :, 1:-1].reshape(3, bends, -1, 3, tubes) for one in (low, high))
    arcs = next(inner).min(axis=3) - radius, next(inner).max(axis=3) + radius
    return straights, arcs


def _gap(one: _Boxes, other: _Boxes) -> Array:
    """(bends, n, tubes) the distance along the axis that parts each pair of boxes most."""
    found: Array = np.maximum(one[0] - other[1], other[0] - one[1]).max(axis=0)
    return found
