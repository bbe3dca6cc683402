"""The most room that floor, ceiling and walls can leave each side of a tube, for all sets of bends made at once.

While a bend is made, the side ahead of the die depends only on which bends ahead are made, and the side behind on
which bends behind are: of n bends 2^n - 1 sides each way. A side with one more bend made, farther out, is the same
up to there, so that a set needs the walk of one straight and one arc more than the set without its outermost bend.

Boxes and the tube itself are left out and only take room away: what stands here is never less than the room that
`converter.bending.room.sweep.Sweeper` finds, which a search may rule out by, never accept by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, inf, pi, radians, sin

import numpy as np

from converter.bending.room.shape import steps_of
from converter.bending.room.space import Array, Index, Space
from converter.bending.room.walls import DIP, grid_steps
from converter.model.bends import BendTable

#: mm; the walk here rounds otherwise than that of one side, by far less than this.
ROUNDING = 1e-6
#: Lines of the grid that are passed over at first.
_STRIDE = 8


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


def most_room(table: BendTable, space: Space, radius: float, stops: Sequence[float]) -> Array:
    """(2^n, n) mm that bend k may have at most when the bends of a set are made, inf where the bend itself is.

    Args:
        table: n bends, fed from its own end A.
        space: around the machine.
        radius: half the outside diameter, mm.
        stops: degrees each bend is turned to.

    Returns:
        A row per set of bends made (bit i stands for bend i), a column per bend; never less than the room there
        is, but for `ROUNDING`.
    """
    count = len(table.bends)
    found = np.full((1 << count, count), inf)
    if not space.planes or not count:
        return found
    made = np.arange(1 << count)
    mirrored = sum((made >> i & 1) << (count - 1 - i) for i in range(count))
    ahead = _side(table, True, space, radius, stops)
    behind = _side(table, False, space, radius, stops)
    for k in range(count):
        before, after = 1 << k, 1 << (count - 1 - k)
        room = np.minimum(ahead[before - 1 + (made & (before - 1))], behind[after - 1 + (mirrored & (after - 1))])
        found[:, k] = np.where(made >> k & 1, inf, room)
    return found


def _side(table: BendTable, ahead: bool, space: Space, radius: float, stops: Sequence[float]) -> Array:
    """(2^n - 1,) mm that one side keeps at most.

    Bends are counted from the free end of that side, so that those on it are the lower ones: bend k after the set
    ``made`` of these is row ``2^k - 1 + made``. Walked outward, a set comes after the same without its lowest bend.
    """
    bends = table.bends if ahead else table.bends[::-1]
    count = len(bends)
    spans = _spans(table)
    # from the free end of this side: where each bend begins and ends as walked outward, and its roll
    begins = [one[0 if ahead else 1] for one in spans]
    finishes = [one[1 if ahead else 0] for one in spans]
    rolls = [one[2] for one in spans]
    if not ahead:
        begins, finishes, rolls = begins[::-1], finishes[::-1], rolls[::-1]
    of = np.concatenate([np.full(1 << k, k) for k in range(count)])
    clr = np.array([bend.clr or 0.0 for bend in bends])
    end = np.radians(list(stops) if ahead else list(stops)[::-1])
    turns = (1 if space.ahead else 0) if ahead else (0 if space.ahead else -1)
    motion = _RoomMotion.until(turns, np.zeros(len(of)) if ahead else clr[of], end[of])
    side = 1.0 if ahead else -1.0
    first = (1 << np.arange(count)) - 1
    point, t, n = (np.zeros((len(of), 3)) for _ in range(3))
    point[first, 1], t[first, 0], n[first, 2] = -clr, side, side
    before = np.full(len(of), inf)
    if turns >= 0:  # T itself: on the side behind it is held there while the rest slides past
        before[first] = _balls(point[first], space, radius, _RoomMotion.until(turns, np.zeros(count), end))
    # where along the stick, and rolled by how much, the walk leaves the outermost bend made; the stock behind T holds
    # the metal of the bend itself
    left = np.array([one[0] for one in (spans if ahead else spans[::-1])])[of]
    rolled = np.array(rolls)[of]
    for i in range(count - 2, -1, -1):
        bit = 1 << i
        sets = [(1 << k) - 1 + np.arange(0, 1 << k, 2 * bit) for k in range(i + 1, count)]
        old = np.concatenate(sets)
        new = old + bit
        straight = side * (left[old] - finishes[i])
        turn = side * (rolled[old] - rolls[i])
        at_start = point[old] + t[old] * straight[:, None]
        b = _cross(n[old], t[old])
        axis = n[old] * np.cos(turn)[:, None] - b * np.sin(turn)[:, None]
        b = _cross(axis, t[old])
        angle = radians(bends[i].angle)
        steps = steps_of(angle, float(clr[i]))
        share = np.linspace(0.0, angle, steps + 1)
        arc = (
            at_start[:, None, :]
            + (clr[i] * (1.0 - np.cos(share)))[None, :, None] * b[:, None, :]
            + (clr[i] * np.sin(share))[None, :, None] * t[old][:, None, :]
        )
        room = _balls(arc.reshape(-1, 3), space, radius, motion.of(np.repeat(new, steps + 1)))
        before[new] = np.minimum(before[old], room.reshape(len(old), steps + 1).min(axis=1))
        point[new], n[new] = arc[:, -1], axis
        t[new] = t[old] * cos(angle) + b * sin(angle)
        left[new], rolled[new] = begins[i], rolls[i]
    tail = left if ahead else table.developed_length - left
    point += t * tail[:, None]
    room = np.minimum(before, _balls(point - radius * t, space, radius, motion))
    room = np.minimum(room, _discs(point, t, room, space, radius, motion))
    # nearer the end than a radius, arcs count as discs too, which are thinner: nothing is said of such ends
    return np.where(tail > radius + ROUNDING, room, inf)


def _spans(table: BendTable) -> list[tuple[float, float, float]]:
    """Where each bend starts and ends along the stick from end A, mm, and its roll from the first bend's, radians."""
    found, at, roll = [], 0.0, 0.0
    for i, bend in enumerate(table.bends):
        at += bend.feed
        roll += radians(bend.rotation) if i else 0.0
        found.append((at, at + bend.arc_length, roll))
        at += bend.arc_length
    return found


def _balls(p: Array, space: Space, radius: float, motion: _RoomMotion) -> Array:
    """(m,) mm that balls at points (m, 3) keep from the nearest plane while they move, at most."""
    x, y, z = p.T
    least = np.full(len(p), inf)
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


def _discs(p: Array, t: Array, before: Array, space: Space, radius: float, motion: _RoomMotion) -> Array:
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
    p: Array, t: Array, rows: Index, times: Array, space: Space, radius: float, motion: _RoomMotion
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
        value = nxt * x + nyt * y + nz * z - radius * np.sqrt(np.maximum(0.0, 1.0 - lean * lean))
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
