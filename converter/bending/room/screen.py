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

from converter.arrays import Array
from converter.bending.room.bound import LOOSE, RoomMotion, ball_rooms, box_gaps
from converter.bending.room.shape import APART
from converter.bending.room.space import Space
from converter.model.bends import BendTable

#: Radians; wider arcs have no corner near enough to be of use.
_WIDEST = np.radians(150.0)
#: Tubes looked at in one go: a bound on memory.
_TOGETHER = 256
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
    """Answer questions, those of tubes of as many bends on one machine together."""
    some: dict[tuple[int, int], list[SimpleQuestion]] = {}
    for one in questions:
        if one.space.ahead and one.table.bends:
            some.setdefault((id(one.space), len(one.table.bends)), []).append(one)
    for alike in some.values():
        for i in range(0, len(alike), _TOGETHER):
            _answer_alike(alike[i : i + _TOGETHER])


@dataclass(frozen=True, slots=True, eq=False)
class _BentTubes:
    """Tubes of n bends as they come out, walked from the end fed first.

    Attributes:
        points: (1 + 3 n, 3, tubes) the free end; then of each arc its start, its corner and its end.
        travel, normal: (n, 3, tubes) at the start of each bend, the normal that of its plane.
        clr, angle, stop: (n, tubes) mm and radians.
        along: (1 + 3 n, tubes) mm from the free end along the tube, of corners those of the start.
        stock: (n, tubes) mm of straight stock behind the start of each bend.
        radius: (tubes,) mm.
    """

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
        rows = [[(b.feed, b.rotation, b.angle, b.clr or 0.0) for b in table.bends] for table in tables]
        feed, rotation, angle, clr = np.array(rows).transpose(2, 1, 0)
        rotation, angle = np.radians(rotation), np.radians(angle)
        count, several = feed.shape
        points = np.zeros((1 + 3 * count, 3, several))
        travel, normal = np.zeros((2, count, 3, several))
        point, t, n = np.zeros((3, 3, several))
        t[0], n[2] = 1.0, 1.0
        for i in range(count):
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
        along = np.stack([begin, begin, begin + clr * angle], axis=1).reshape(3 * count, several)
        length = np.array([table.developed_length for table in tables])
        stop = np.radians(np.array([one.stops for one in questions]).T)
        radius = np.array([one.radius for one in questions])
        along = np.concatenate([np.zeros((1, several)), along])
        return cls(points, travel, normal, clr, angle, stop, along, length - begin, radius)

    def ahead(self, k: int) -> Array:
        """(3, 3 k + 2, tubes) the points up to the start of bend k, in bend coordinates as it begins."""
        apart = self.points[: 3 * k + 2] - self.points[3 * k + 1]
        across = np.cross(self.normal[k], self.travel[k], axis=0)
        x, y, z = ((apart * axis).sum(axis=1) for axis in (self.travel[k], across, self.normal[k]))
        return np.stack([-x, y - self.clr[k], -z])


def _answer_alike(questions: Sequence[SimpleQuestion]) -> None:
    tubes, space = _BentTubes.of(questions), questions[0].space
    least, most = np.full((2, len(questions)), inf)
    for k in range(len(tubes.clr)):
        low, high = _rooms(tubes, k, space)
        least, most = np.minimum(least, low), np.minimum(most, high)
    wide = np.maximum(tubes.angle, tubes.stop).max(axis=0) > _WIDEST
    for one, *room in zip(questions, np.where(wide, -inf, least).tolist(), most.tolist(), strict=True):
        one.room = SimpleRoom(*room)


def _rooms(tubes: _BentTubes, k: int, space: Space) -> tuple[Array, Array]:
    """(tubes,) mm that is left at least and at most while bend k is made."""
    points, radius, end = tubes.ahead(k), tubes.radius, tubes.stop[[k]]
    swing, slide = (RoomMotion.until(*way, end) for way in ((1, np.zeros_like(end)), (0, tubes.clr[[k]])))
    stock = np.stack([-tubes.stock[k], -tubes.clr[k], np.zeros_like(radius)])
    balls = np.broadcast_to(ball_rooms(points, space, swing) - radius, points.shape[1:])
    least = np.minimum(balls.min(axis=0), ball_rooms(stock[:, None], space, slide).min() - radius)
    # the tube is there, but for its ends, which are cut flat, and corners
    there = (tubes.along[: 3 * k + 2] > radius) & (tubes.stock[k] > radius)
    there[2::3] = False
    most = np.where(there, balls, inf).min(axis=0)
    held = stock - radius, np.stack([np.zeros_like(radius), -tubes.clr[k], np.zeros_like(radius)]) + radius
    straights, arcs = _boxes(points, end, radius)
    for low, high in zip(space.low, space.high, strict=True):
        corners = low[:, None, None], high[:, None, None]
        for box in (straights, arcs, (held[0][:, None], held[1][:, None])):
            least = np.minimum(least, _gap(box, corners).min(axis=0, initial=inf))
    if space.boxes:
        seen = np.where(there, points, _FAR)[:, :, None]
        most = np.minimum(most, np.sqrt(box_gaps(seen, 0.0, space, swing)[0]) - radius + LOOSE)
    # against the bend itself what lies ahead stands still: both as they lie before it, its arc turned back from T
    back = np.tan(np.minimum(end[0], _WIDEST) / 2.0)
    x, y = tubes.clr[k] * np.stack([0.0 * back, -back, -np.sin(end[0])]), tubes.clr[k] * -np.cos(end[0])
    y = np.stack([-tubes.clr[k], -tubes.clr[k], y])
    own = np.stack([x.min(axis=0), y.min(axis=0), 0.0 * back]), np.stack([x.max(axis=0), y.max(axis=0), 0.0 * back])
    grown = (own[0] - radius)[:, None], (own[1] + radius)[:, None]
    turned = np.cumsum(np.concatenate([0.0 * end, tubes.angle[:k]]), axis=0)
    still = _around(points, points, radius)
    for moving, standing, before in zip((straights, arcs), still, (turned, turned[:k]), strict=True):
        far = turned[k] + end[0] - before >= APART - 1e-6
        gap = np.minimum(_gap(moving, (held[0][:, None], held[1][:, None])), _gap(standing, grown))
        least = np.minimum(least, np.where(far, gap, inf).min(axis=0, initial=inf))
    return least, most


#: (3, n, tubes) least and greatest coordinates of n bodies.
_Boxes: TypeAlias = tuple[Array, Array]


def _boxes(points: Array, end: Array, radius: Array) -> tuple[_Boxes, _Boxes]:
    """The boxes around straights and arcs with these (3, 3 k + 2, tubes) points that turn about Z."""
    x, y, z = points
    size = np.hypot(x, y)
    first = np.arctan2(y, x)
    last = first + end

    def passes(direction: float) -> NDArray[np.bool_]:
        return np.asarray(np.floor((last - direction) / (2.0 * np.pi)) > np.floor((first - direction) / (2.0 * np.pi)))

    x1, y1 = size * np.cos(last), size * np.sin(last)
    low = np.where(passes(np.pi), -size, np.minimum(x, x1)), np.where(passes(-np.pi / 2.0), -size, np.minimum(y, y1)), z
    high = np.where(passes(0.0), size, np.maximum(x, x1)), np.where(passes(np.pi / 2.0), size, np.maximum(y, y1)), z
    return _around(np.stack(low), np.stack(high), radius)


def _around(low: Array, high: Array, radius: Array) -> tuple[_Boxes, _Boxes]:
    """The boxes around straights and around arcs, of those around their points."""
    several = low.shape[-1]
    straights = np.minimum(low[:, 0::3], low[:, 1::3]) - radius, np.maximum(high[:, 0::3], high[:, 1::3]) + radius
    inner = (one[:, 1:-1].reshape(3, -1, 3, several) for one in (low, high))
    arcs = next(inner).min(axis=2) - radius, next(inner).max(axis=2) + radius
    return straights, arcs


def _gap(one: _Boxes, other: _Boxes) -> Array:
    """(n, tubes) the distance along the axis that parts each pair of boxes most."""
    found: Array = np.maximum(one[0] - other[1], other[0] - one[1]).max(axis=0)
    return found
