"""The most room that floor, ceiling and walls can leave each side of a tube, for all sets of bends made at once.

While a bend is made, the side ahead of the die depends only on which bends ahead are made, and the side behind on
which bends behind are: of n bends 2^n - 1 sides each way. A side with one more bend made, farther out, is the same
up to there, so that a set needs the walk of one straight and one arc more than the set without its outermost bend.

Boxes and the tube itself are left out and only take room away: what stands here is never less than the room that
`converter.bending.room.sweep.Sweeper` finds, which a search may rule out by, never accept by.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf, pi, radians

import numpy as np

from converter.bending.room.shape import steps_of
from converter.bending.room.space import Array, Index, Space
from converter.bending.room.walls import DIP, grid_steps
from converter.model.bends import BendTable

#: mm; the walk here rounds otherwise than that of one side, by far less than this.
ROUNDING = 1e-6
#: Of the points along an arc that are measured one in so many counts here: more cost more than they rule out.
_APART = 3
#: Lines of the grid that are passed over at first.
_STRIDE = 8
#: Sets of bends of tubes looked at in one go: a bound on memory.
_ROWS = 4096


@dataclass(frozen=True, slots=True, eq=False)
class _RoomMotion:
    """How points move in the room: turned with the die (1), the other way (-1) or not (0); (m,) mm drawn per radian;
    (m,) radians in all, and their cosines and sines."""

    turns: int
    draw: Array
    end: Array
    cos: Array
    sin: Array

    @classmethod
    def until(cls, turns: int, draw: Array, end: Array) -> _RoomMotion:
        """That by so many radians."""
        return cls(turns, draw, end, np.cos(end), np.sin(end))

    def of(self, rows: Index) -> _RoomMotion:
        """The motion of some."""
        return _RoomMotion(self.turns, *(one[rows] for one in (self.draw, self.end, self.cos, self.sin)))


def most_rooms(
    tables: Sequence[BendTable], space: Space, radius: Sequence[float], stops: Sequence[Sequence[float]]
) -> list[Array]:
    """(2^n, n) mm, of each tube, that bend k may have at most when the bends of a set are made, inf where the bend
    itself is.

    Args:
        tables: of n bends each, fed from their own end A.
        space: around the machine.
        radius: half the outside diameters, mm.
        stops: degrees each bend is turned to.

    Returns:
        A row per set of bends made (bit i stands for bend i), a column per bend; never less than the room there
        is, but for `ROUNDING`.
    """
    count = len(tables[0].bends)
    if not space.planes or not count:
        return [np.full((1 << count, count), inf) for _ in tables]
    found: list[Array] = []
    several = max(1, _ROWS >> count)
    for i in range(0, len(tables), several):
        found += _most_rooms(tables[i : i + several], space, np.array(radius[i : i + several]), stops[i : i + several])
    return found


def _most_rooms(
    tables: Sequence[BendTable], space: Space, radius: Array, stops: Sequence[Sequence[float]]
) -> list[Array]:
    count = len(tables[0].bends)
    made = np.arange(1 << count)
    mirrored = sum((made >> i & 1) << (count - 1 - i) for i in range(count))
    ahead, behind = (_side(_OutwardBends.of(tables, stops, way), way, space, radius) for way in (True, False))
    found = np.full((len(tables), 1 << count, count), inf)
    for k in range(count):
        before, after = 1 << k, 1 << (count - 1 - k)
        room = np.minimum(ahead[:, before - 1 + (made & (before - 1))], behind[:, after - 1 + (mirrored & (after - 1))])
        found[:, :, k] = np.where(made >> k & 1, inf, room)
    return list(found)


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


def _side(bends: _OutwardBends, ahead: bool, space: Space, radius: Array) -> Array:
    """(tubes, 2^n - 1) mm that one side keeps at most.

    Bends are counted from the free end of that side, so that those on it are the lower ones: bend k after the set
    ``made`` of these is column ``2^k - 1 + made``. Walked outward, a set comes after the same without its lowest bend.
    """
    tubes, count = bends.clr.shape
    of = np.concatenate([np.full(1 << k, k) for k in range(count)])
    sets = len(of)
    tube = np.repeat(np.arange(tubes), sets)
    clr, end = bends.clr[:, of].ravel(), bends.stop[:, of].ravel()
    turns = (1 if space.ahead else 0) if ahead else (0 if space.ahead else -1)
    motion = _RoomMotion.until(turns, np.zeros(len(tube)) if ahead else clr, end)
    wide = radius[tube]
    side = 1.0 if ahead else -1.0
    first = (np.arange(tubes)[:, None] * sets + (1 << np.arange(count)) - 1).ravel()
    point, t, n = (np.zeros((len(tube), 3)) for _ in range(3))
    point[first, 1], t[first, 0], n[first, 2] = -clr[first], side, side
    before = np.full(len(tube), inf)
    if turns >= 0:  # T itself: on the side behind it is held there while the rest slides past
        still = _RoomMotion.until(turns, np.zeros(len(first)), end[first])
        before[first] = _balls(point[first].T, space, wide[first], still)
    left, rolled = bends.left[:, of].ravel(), bends.roll[:, of].ravel()
    for i in range(count - 2, -1, -1):
        bit = 1 << i
        columns = np.concatenate([(1 << k) - 1 + np.arange(0, 1 << k, 2 * bit) for k in range(i + 1, count)])
        old = (np.arange(tubes)[:, None] * sets + columns).ravel()
        new, which = old + bit, tube[old]
        straight = side * (left[old] - bends.finish[which, i])
        turn = side * (rolled[old] - bends.roll[which, i])
        at_start = point[old] + t[old] * straight[:, None]
        b = _cross(n[old], t[old])
        axis = n[old] * np.cos(turn)[:, None] - b * np.sin(turn)[:, None]
        b = _cross(axis, t[old])
        # points along the arc, of each tube as many: some of those that are measured, and both ends
        steps, apart = bends.steps[:, i, None], int(-(-bends.steps[:, i].max() // _APART))
        share = np.arange(apart + 1) * steps // apart * (bends.angle[:, i, None] / steps)
        to, on = bends.clr[:, i, None] * (1.0 - np.cos(share)), bends.clr[:, i, None] * np.sin(share)
        to, on = to[which], on[which]
        arc = [
            p[:, None] + to * q[:, None] + on * r[:, None] for p, q, r in zip(at_start.T, b.T, t[old].T, strict=True)
        ]
        room = _balls(arc, space, wide[old, None], motion.of(new[:, None]))
        before[new] = np.minimum(before[old], room.min(axis=1))
        point[new], n[new] = np.stack([one[:, -1] for one in arc], axis=1), axis
        angle = bends.angle[which, i, None]
        t[new] = t[old] * np.cos(angle) + b * np.sin(angle)
        left[new], rolled[new] = bends.begin[which, i], bends.roll[which, i]
    tail = left if ahead else bends.length[tube] - left
    point += t * tail[:, None]
    room = np.minimum(before, _balls((point - wide[:, None] * t).T, space, wide, motion))
    room = np.minimum(room, _discs(point, t, room, space, wide, motion))
    # nearer the end than a radius, arcs count as discs too, which are thinner: nothing is said of such ends
    found: Array = np.where(tail > wide + ROUNDING, room, inf).reshape(tubes, sets)
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


def _balls(p: Iterable[Array], space: Space, radius: Array, motion: _RoomMotion) -> Array:
    """Mm that balls at points of some x, y and z keep from the nearest plane while they move, at most."""
    x, y, z = p
    least = np.full(x.shape, inf)
    drawn = x + motion.draw * motion.end if motion.turns <= 0 else x
    for (nx, ny, nz), offset in zip(space.normals.tolist(), space.offsets.tolist(), strict=True):
        room = nx * x + ny * y
        if not nx and not ny:
            pass
        elif motion.turns == 0:
            room = room + np.minimum(0.0, nx * (motion.draw * motion.end))
        else:
            c, s = motion.cos, motion.turns * motion.sin
            last = (nx * drawn + ny * y) * c + (ny * drawn - nx * y) * s
            if motion.turns > 0:
                # the bottom lies opposite to a, b: within the turn if on its way from the start to the end
                a, b = room, ny * x - nx * y
                after, before = b <= 0.0, a * s <= b * c
                bottom = np.where(motion.end <= pi, after & before, after | before)
                room = np.where(bottom, -np.sqrt(a * a + b * b), np.minimum(a, last))
            else:
                room = np.minimum(room, last) - DIP
        least = np.minimum(least, room + (nz * z + offset))
    found: Array = least - radius
    return found


def _discs(p: Array, t: Array, before: Array, space: Space, radius: Array, motion: _RoomMotion) -> Array:
    """(m,) mm that discs at (m, 3) free ends across (m, 3) unit vectors keep from the nearest plane, at most, or more
    than is kept ``before`` (m,) where that is less."""
    if motion.turns == 0:
        steps, dip = np.ones(len(p), np.intp), 0.0
    else:
        dip = DIP
        reach = np.hypot(p[:, 0], p[:, 1])
        if motion.turns > 0:
            steps = grid_steps(reach, motion.draw, radius, motion.end, True)
        else:  # the grid is as fine as the farthest of many points asks; its ends are always in it
            steps = np.ones(len(p), np.intp)
    # every few lines of the grid first: between them it dips by the square of that as much as between two
    strides = np.minimum(_STRIDE, steps)
    lines = -(-steps // strides) + 1
    rows = np.repeat(np.arange(len(p)), lines)
    starts = np.cumsum(lines) - lines
    line = np.minimum((np.arange(len(rows)) - starts[rows]) * strides[rows], steps[rows])
    values = _disc_values(p, t, rows, line * (motion.end / steps)[rows], space, radius, motion)
    found = np.minimum.reduceat(values, starts)
    if motion.turns > 0:
        # only a stretch that may dip below what is known is read line by line
        least = np.minimum(values[:-1], values[1:]) - dip * (strides[rows] ** 2)[:-1]
        some = np.flatnonzero((rows[1:] == rows[:-1]) & (least < np.minimum(found, before + dip)[rows[:-1]]))
        inner = np.arange(1, _STRIDE)
        within = line[some, None] + inner
        row, within = (
            one[within < line[some + 1, None]] for one in (np.repeat(rows[some, None], len(inner), axis=1), within)
        )
        fine = _disc_values(p, t, row, within * (motion.end / steps)[row], space, radius, motion)
        np.minimum.at(found, row, fine)
    return found - dip


def _disc_values(
    p: Array, t: Array, rows: Index, times: Array, space: Space, radius: Array, motion: _RoomMotion
) -> Array:
    """(n,) mm that the discs of some rows keep from the nearest plane at (n,) radians."""
    x, y, z = p[rows].T
    x = x + motion.draw[rows] * times
    tx, ty, tz = t[rows].T
    c, s = np.cos(times * abs(motion.turns)), np.sin(times) * motion.turns
    found = np.full(len(rows), inf)
    for (nx, ny, nz), offset in zip(space.normals.tolist(), space.offsets.tolist(), strict=True):
        nxt, nyt = nx * c + ny * s, ny * c - nx * s
        lean = nxt * tx + nyt * ty + nz * tz
        value = nxt * x + nyt * y + nz * z - radius[rows] * np.sqrt(np.maximum(0.0, 1.0 - lean * lean))
        found = np.minimum(found, value + offset)
    return found


def _cross(p: Array, q: Array) -> Array:
    return np.stack(
        [
            p[:, 1] * q[:, 2] - p[:, 2] * q[:, 1],
            p[:, 2] * q[:, 0] - p[:, 0] * q[:, 2],
            p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0],
        ],
        axis=1,
    )
