"""The most room that floor, ceiling, walls and boxes can leave each side of a tube, for all sets of bends made at once.

While a bend is made, the side ahead of the die depends only on which bends ahead are made, and the side behind on
which bends behind are: of n bends 2^n - 1 sides each way. A side with one more bend made, farther out, is the same
up to there, so that a set needs the walk of one straight and one arc more than the set without its outermost bend.

Of boxes only some points of the tube at some angles are looked at (`boxes`), and the tube itself is left out; either
only takes room away: what stands here is never less than the room that `converter.bending.room.sweep.Sweeper` finds,
which a search may rule out by, never accept by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, pi, radians

import numpy as np

from converter.arrays import Array, Index
from converter.bending.room.near import SURE
from converter.bending.room.shape import cross_columns, steps_of
from converter.bending.room.space import Space
from converter.bending.room.walls import DIP
from converter.model.bends import BendTable

#: mm; the walk here rounds otherwise than that of one side, by far less than this.
ROUNDING = 1e-6
#: Of the points along an arc that are measured one in so many counts here: more cost more than they rule out.
_APART = 3
#: Of a straight, the places that are held against boxes.
_ALONG = (0.25, 0.5, 0.75, 1.0)
#: Radians between the angles at which boxes are looked at.
_TURNED = radians(10.0)
#: mm; the room to boxes may be reported by `SURE` too great, and the bound is worked out in single precision.
LOOSE = SURE + 0.05
#: Sets of bends of tubes looked at in one go: a bound on memory.
_ROWS = 1 << 14


@dataclass(frozen=True, slots=True, eq=False)
class RoomMotion:
    """How points of rows move in the room: turned with the die (1), the other way (-1) or not (0); mm drawn per radian;
    radians in all, and their cosines and sines, (rows, tubes) each."""

    turns: int
    draw: Array
    end: Array
    cos: Array
    sin: Array

    @classmethod
    def until(cls, turns: int, draw: Array, end: Array) -> RoomMotion:
        """That by so many radians."""
        return cls(turns, draw, end, np.cos(end), np.sin(end))

    def of(self, rows: Index | slice) -> RoomMotion:
        """The motion of some rows."""
        return RoomMotion(self.turns, *(one[rows] for one in (self.draw, self.end, self.cos, self.sin)))


@dataclass(frozen=True, slots=True, eq=False)
class MostRoom:
    """What a tube may have at most, (2^n, n) mm each.

    A row per set of bends made (bit i stands for bend i), a column per bend; inf where the bend itself is made, or
    nothing stands around.

    Attributes:
        to_planes: to floor, ceiling and walls.
        to_all: to boxes, too.
    """

    to_planes: Array
    to_all: Array


def most_rooms(
    tables: Sequence[BendTable], space: Space, radius: Sequence[float], stops: Sequence[Sequence[float]]
) -> list[MostRoom]:
    """What each tube may have at most for bend k when the bends of a set are made.

    Args:
        tables: of n bends each, fed from their own end A.
        space: around the machine.
        radius: half the outside diameters, mm.
        stops: degrees each bend is turned to.

    Returns:
        Never less than the room there is, but for `ROUNDING`.
    """
    count = len(tables[0].bends)
    if space.empty or not count:
        nothing = np.full((1 << count, count), inf)
        return [MostRoom(nothing, nothing) for _ in tables]
    found: list[MostRoom] = []
    several = max(1, _ROWS >> count)
    for i in range(0, len(tables), several):
        found += _most_rooms(tables[i : i + several], space, np.array(radius[i : i + several]), stops[i : i + several])
    return found


def _most_rooms(
    tables: Sequence[BendTable], space: Space, radius: Array, stops: Sequence[Sequence[float]]
) -> list[MostRoom]:
    count = len(tables[0].bends)
    made = np.arange(1 << count)
    mirrored = sum((made >> i & 1) << (count - 1 - i) for i in range(count))
    ahead, behind = (_side(_OutwardBends.of(tables, stops, way), way, space, radius) for way in (True, False))
    both: list[Array] = []
    for one, other in zip(ahead, behind, strict=True):
        both.append(np.full((len(tables), 1 << count, count), inf))
        for k in range(count):
            before, after = 1 << k, 1 << (count - 1 - k)
            room = np.minimum(
                one[:, before - 1 + (made & (before - 1))], other[:, after - 1 + (mirrored & (after - 1))]
            )
            both[-1][:, :, k] = np.where(made >> k & 1, inf, room)
    to_planes = both[0]
    to_all = np.minimum(to_planes, both[1]) if space.boxes else to_planes
    return [MostRoom(*one) for one in zip(to_planes, to_all, strict=True)]


@dataclass(frozen=True, slots=True, eq=False)
class _OutwardBends:
    """The bends of tubes, (tubes, n) each, counted from the free end of one side.

    Attributes:
        begin, finish: mm along the stick from end A where each begins and ends as walked outward.
        left: mm where the walk leaves each when it is the one that is made; the stock behind T holds its metal.
        roll: radians from the first bend's.
        clr: mm.
        angle, stop: radians that each has, and is turned to.
        steps: how many chords stand for each.
        length: (tubes,) mm of the stick.
    """

    begin: Array
    finish: Array
    left: Array
    roll: Array
    clr: Array
    angle: Array
    stop: Array
    steps: Index
    length: Array

    @classmethod
    def of(cls, tables: Sequence[BendTable], stops: Sequence[Sequence[float]], ahead: bool) -> _OutwardBends:
        """Those of the side ahead, or behind."""
        spans = np.array([_spans(table) for table in tables])
        clr = np.array([[bend.clr or 0.0 for bend in table.bends] for table in tables])
        angle = np.radians([[bend.angle for bend in table.bends] for table in tables])
        steps = [[steps_of(radians(bend.angle), bend.clr or 0.0) for bend in table.bends] for table in tables]
        outward = slice(None) if ahead else slice(None, None, -1)
        first, last = (0, 1) if ahead else (1, 0)
        return cls(
            spans[:, outward, first],
            spans[:, outward, last],
            spans[:, outward, 0],
            spans[:, outward, 2],
            clr[:, outward],
            angle[:, outward],
            np.radians(np.array(stops))[:, outward],
            np.array(steps)[:, outward],
            np.array([table.developed_length for table in tables]),
        )


@dataclass(slots=True, eq=False)
class _OutwardWalk:
    """How far the walks outward from T of the rows of one side have come; of a row per bend and set of bends made.

    Attributes:
        bend: (rows,) the bend in question, counted from the free end.
        bent: (rows,) the set of those made farther out.
        place: (9, rows, tubes) the point, the tangent and the normal there.
        along: (2, rows, tubes) mm along the stick from end A, and radians of roll from the first bend's.
        room: (rows, tubes) mm that planes leave up to there at most.
        gap: (rows, tubes) square mm from there to boxes at most.
    """

    bend: Index
    bent: Index
    place: Array
    along: Array
    room: Array
    gap: Array

    def and_more(self, other: _OutwardWalk) -> _OutwardWalk:
        """These and others."""
        return _OutwardWalk(
            *(np.concatenate([getattr(one, name) for one in (self, other)]) for name in ("bend", "bent")),
            *(np.concatenate([getattr(one, name) for one in (self, other)], axis=1) for name in ("place", "along")),
            *(np.concatenate([getattr(one, name) for one in (self, other)]) for name in ("room", "gap")),
        )


def _side(bends: _OutwardBends, ahead: bool, space: Space, radius: Array) -> tuple[Array, Array]:
    """(tubes, 2^n - 1) mm that one side keeps at most from planes, and from boxes.

    Bends are counted from the free end of that side, so that those on it are the lower ones: bend k after the set
    ``made`` of these is column ``2^k - 1 + made``. Walked outward, a set comes after the same without its lowest bend.
    """
    tubes, count = bends.clr.shape
    turns = (1 if space.ahead else 0) if ahead else (0 if space.ahead else -1)
    clr, stop = bends.clr.T, bends.stop.T
    motion = RoomMotion.until(turns, np.zeros_like(clr) if ahead else clr, stop)
    side = 1.0 if ahead else -1.0
    walk = _begun(count - 1, bends, side, space, radius, motion)
    for k in range(count - 1, 0, -1):
        walk = walk.and_more(_with_bend(k - 1, walk, bends, side, space, radius, motion))
        walk = walk.and_more(_begun(k - 1, bends, side, space, radius, motion))
    tail = walk.along[0] if ahead else bends.length - walk.along[0]
    point, t = walk.place[0:3], walk.place[3:6]
    end, moved = point + t * tail, motion.of(walk.bend)
    room = np.minimum(walk.room, ball_rooms(end - radius * t, space, moved) - radius)
    room = np.minimum(room, _discs(end, t, space, radius, moved))
    gap = np.minimum(walk.gap, box_gaps(*_along_straight(point, end, walk.bent), space, moved))
    columns = (1 << walk.bend) - 1 + walk.bent
    planes, boxes = np.empty((tubes, len(columns))), np.empty((tubes, len(columns)))
    # nearer the end than a radius, arcs count as discs too, which are thinner: nothing is said of such ends
    planes[:, columns] = np.where(tail > radius + ROUNDING, room, inf).T
    boxes[:, columns] = (np.sqrt(gap) - radius + LOOSE).T
    return planes, boxes


def _begun(k: int, bends: _OutwardBends, side: float, space: Space, radius: Array, motion: RoomMotion) -> _OutwardWalk:
    """The walk of bend k that has got no farther than T."""
    tubes = len(radius)
    place = np.zeros((9, 1, tubes))
    place[1, 0], place[3], place[8] = -bends.clr[:, k], side, side
    room = np.full((1, tubes), inf)
    if motion.turns >= 0:  # T itself: on the side behind it is held there while the rest slides past
        end = motion.end[[k]]
        room = ball_rooms(place[0:3], space, RoomMotion.until(motion.turns, np.zeros_like(end), end)) - radius
    zero = np.zeros(1, np.intp)
    along = np.stack([bends.left[:, k], bends.roll[:, k]])[:, None]
    return _OutwardWalk(zero + k, zero, place, along, room, np.full((1, tubes), inf))


def _with_bend(
    i: int, walk: _OutwardWalk, bends: _OutwardBends, side: float, space: Space, radius: Array, motion: RoomMotion
) -> _OutwardWalk:
    """Every walk, gone on along a straight and the arc of bend i."""
    point, t, n = walk.place[0:3], walk.place[3:6], walk.place[6:9]
    straight = side * (walk.along[0] - bends.finish[:, i])
    turn = side * (walk.along[1] - bends.roll[:, i])
    start = point + t * straight
    b = cross_columns(n, t)
    c, s = np.cos(turn), np.sin(turn)
    n, b = n * c - b * s, b * c + n * s
    # points along the arc, of each tube as many: some of those that are measured, and both ends
    steps, apart = bends.steps[:, i], int(-(-bends.steps[:, i].max() // _APART))
    share = np.arange(apart + 1)[:, None] * steps // apart * (bends.angle[:, i] / steps)
    to, on = bends.clr[:, i] * (1.0 - np.cos(share)), bends.clr[:, i] * np.sin(share)
    arc = (start, b, t), (to[:, None], on[:, None])
    room = ball_rooms(_ArcPoints(*arc), space, motion.of(walk.bend)).min(axis=0) - radius
    c, s = np.cos(bends.angle[:, i]), np.sin(bends.angle[:, i])
    place = np.concatenate([start + to[-1] * b + on[-1] * t, t * c + b * s, n])
    along = np.broadcast_to(np.stack([bends.begin[:, i], bends.roll[:, i]])[:, None], walk.along.shape)
    gap = walk.gap
    if space.boxes:
        middle = np.stack([_dot(_ArcPoints(arc[0], _halfway(*arc[1])), *axis)[0] for axis in np.eye(3).tolist()])
        moved = motion.of(walk.bend)
        gap = np.minimum(gap, box_gaps(*_along_straight(point, start, walk.bent), space, moved))
        gap = np.minimum(gap, box_gaps(np.stack([middle, place[0:3]], axis=1), 1.0, space, moved))
    return _OutwardWalk(walk.bend, walk.bent | 1 << i, place, along, np.minimum(walk.room, room), gap)


def _halfway(to: Array, on: Array) -> tuple[Array, Array]:
    """The middle one of some points along an arc."""
    middle = len(to) // 2
    return to[[middle]], on[[middle]]


def _along_straight(start: Array, end: Array, bent: Index) -> tuple[Array, Array]:
    """(3, points, rows, tubes) points along (3, rows, tubes) straights, and how much of the draw each shares.

    A straight of a side of which no bend is made begins at T, where it is held.
    """
    shares = np.array(_ALONG)[:, None, None]
    points = start[:, None] + shares * (end - start)[:, None]
    return points, np.where((bent == 0)[:, None], shares, 1.0)


def box_gaps(p: Array, slide: Array | float, space: Space, motion: RoomMotion) -> Array:
    """(rows, tubes) square mm that (3, points, rows, tubes) points keep from the nearest box while they move, at most.

    Args:
        p: the points before any motion.
        slide: share of the draw of each.
        space: with the boxes.
        motion: of the rows.
    """
    found = np.full(p.shape[2:], inf)
    if not space.boxes:
        return found
    x, y, z = (one.astype(np.float32) for one in p)
    pull = np.asarray(slide * motion.draw, np.float32)
    boxes = [(low, high, _past(z, low[2], high[2]) ** 2) for low, high in _corners(space)]
    if motion.turns == 0:
        # along X it is everywhere it comes by
        last = x + pull * motion.end.astype(np.float32)
        for low, high, level in boxes:
            apart = np.maximum(np.maximum(low[0] - last, x - high[0]), 0.0) ** 2 + _past(y, low[1], high[1]) ** 2
            np.minimum(found, (apart + level).min(axis=0), out=found)
        return found
    steps = int(np.ceil(motion.end.max() / _TURNED))
    for step in range(steps + 1):
        at = motion.end * (step / steps)
        c, s = np.cos(at).astype(np.float32), np.sin(at * motion.turns).astype(np.float32)
        drawn = x + pull * at.astype(np.float32) if motion.draw.any() else x
        turned_x, turned_y = drawn * c - y * s, drawn * s + y * c
        for low, high, level in boxes:
            apart = _past(turned_x, low[0], high[0]) ** 2 + _past(turned_y, low[1], high[1]) ** 2
            np.minimum(found, (apart + level).min(axis=0), out=found)
    return found


def _corners(space: Space) -> list[tuple[list[float], list[float]]]:
    return list(zip(space.low.tolist(), space.high.tolist(), strict=True))


def _past(value: Array, low: float, high: float) -> Array:
    """How far values lie outside a span."""
    found: Array = np.maximum(np.maximum(low - value, value - high), 0.0)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _ArcPoints:
    """Points along arcs: a start and two vectors, (3, rows, tubes) each, and by how much of these points lie off it,
    (points, 1, tubes) each."""

    vectors: tuple[Array, Array, Array]
    shares: tuple[Array, Array]

    @property
    def shape(self) -> tuple[int, ...]:
        """Coordinates, points, rows, tubes."""
        return 3, len(self.shares[0]), *self.vectors[0].shape[1:]

    def dot(self, x: float, y: float, z: float) -> Array:
        """(points, rows, tubes) the scalar products with a vector."""
        start, to, on = (_dot(one, x, y, z) for one in self.vectors)
        found: Array = start + self.shares[0] * to + self.shares[1] * on
        return found


def _dot(p: Array | _ArcPoints, x: float, y: float, z: float) -> Array:
    """The scalar products of points with a vector, of which some coordinates mostly are zero."""
    if isinstance(p, _ArcPoints):
        return p.dot(x, y, z)
    found = np.zeros(p.shape[1:])
    for part, factor in zip(p, (x, y, z), strict=True):
        if factor:
            found = found + part * factor
    return found


def _spans(table: BendTable) -> list[tuple[float, float, float]]:
    """Where each bend starts and ends along the stick from end A, mm, and its roll from the first bend's, radians."""
    found, at, roll = [], 0.0, 0.0
    for i, bend in enumerate(table.bends):
        at += bend.feed
        roll += radians(bend.rotation) if i else 0.0
        found.append((at, at + bend.arc_length, roll))
        at += bend.arc_length
    return found


def ball_rooms(p: Array | _ArcPoints, space: Space, motion: RoomMotion) -> Array:
    """Mm that points keep from the nearest plane while they move, at most: (3, ...) of them, or those along arcs."""
    least = np.full(p.shape[1:], inf)
    for (nx, ny, nz), offset in zip(space.normals.tolist(), space.offsets.tolist(), strict=True):
        level = _dot(p, 0.0, 0.0, nz) + offset if nz else offset
        if not nx and not ny:
            room = level
        else:
            a = _dot(p, nx, ny, 0.0)
            if motion.turns == 0:
                room = a + np.minimum(0.0, nx * (motion.draw * motion.end))
            else:
                b = _dot(p, ny, -nx, 0.0)
                c, s = motion.cos, motion.turns * motion.sin
                if motion.turns > 0:
                    # the bottom lies opposite to a, b: within the turn if on its way from the start to the end
                    after, before = b <= 0.0, a * s <= b * c
                    bottom = np.where(motion.end <= pi, after & before, after | before)
                    room = np.where(bottom, -np.sqrt(a * a + b * b), np.minimum(a, a * c + b * s))
                else:
                    drawn = motion.draw * motion.end
                    room = np.minimum(a, (a + nx * drawn) * c + (b + ny * drawn) * s) - DIP
            room = room + level
        least = np.minimum(least, room)
    return least


def _discs(p: Array, t: Array, space: Space, radius: Array, motion: RoomMotion) -> Array:
    """(rows, tubes) mm that discs at (3, rows, tubes) free ends across (3, rows, tubes) unit vectors keep from the
    nearest plane, at most: as they lie at first, at last, and where their middle is nearest."""
    found = np.full(p.shape[1:], inf)
    for (nx, ny, nz), offset in zip(space.normals.tolist(), space.offsets.tolist(), strict=True):
        level, rise = _dot(p, 0.0, 0.0, nz) + offset, _dot(t, 0.0, 0.0, nz)
        # what is read of discs that turn is lowered by so much, where it is read
        dip = DIP if motion.turns else 0.0
        times = [(np.zeros_like(motion.end), dip)]
        if motion.turns or motion.draw.any():
            times.append((motion.end, dip))
        if motion.turns > 0 and (nx or ny):
            bottom = (np.arctan2(ny * p[0] - nx * p[1], nx * p[0] + ny * p[1]) + pi) % (2.0 * pi)
            times.append((np.minimum(bottom, motion.end), 0.0))
        for at, dip in times:
            c, s = np.cos(at * abs(motion.turns)), np.sin(at) * motion.turns
            nxt, nyt = nx * c + ny * s, ny * c - nx * s
            lean = nxt * t[0] + nyt * t[1] + rise
            value = nxt * (p[0] + motion.draw * at) + nyt * p[1] + level
            np.minimum(found, value - radius * np.sqrt(np.maximum(0.0, 1.0 - lean * lean)) - dip, out=found)
    return found
