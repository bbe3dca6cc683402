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
from math import cos, inf, radians, sin

import numpy as np

from converter.bending.room.shape import steps_of
from converter.bending.room.space import Array, Index, Space
from converter.bending.room.walls import DIP, grid_steps
from converter.model.bends import BendTable

#: mm; the walk here rounds otherwise than that of one side, by far less than this.
ROUNDING = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class _RoomMotion:
    """How points move in the room: turned with the die (1), the other way (-1) or not (0); (m,) mm drawn per radian;
    (m,) radians in all."""

    turns: int
    draw: Array
    end: Array

    def of(self, rows: Index) -> _RoomMotion:
        """The motion of some."""
        return _RoomMotion(self.turns, self.draw[rows], self.end[rows])


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
    motion = _RoomMotion(turns, np.zeros(len(of)) if ahead else clr[of], end[of])
    side = 1.0 if ahead else -1.0
    first = (1 << np.arange(count)) - 1
    point, t, n = (np.zeros((len(of), 3)) for _ in range(3))
    point[first, 1], t[first, 0], n[first, 2] = -clr, side, side
    before = np.full(len(of), inf)
    if turns >= 0:  # T itself: on the side behind it is held there while the rest slides past
        before[first] = _balls(point[first], space, radius, _RoomMotion(turns, np.zeros(count), end))
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
    room = np.minimum(room, _discs(point, t, space, radius, motion))
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
    normal = space.normals[:, :, None]
    x, y, z = p.T
    end = motion.end
    a = normal[:, 0] * x + normal[:, 1] * y
    if motion.turns == 0:
        least = a + np.minimum(0.0, normal[:, 0] * (motion.draw * end))
    else:
        drawn = x + motion.draw * end
        c, s = np.cos(end), motion.turns * np.sin(end)
        last = (normal[:, 0] * drawn + normal[:, 1] * y) * c + (normal[:, 1] * drawn - normal[:, 0] * y) * s
        least = np.minimum(a, last)
        if motion.turns > 0:
            b = normal[:, 1] * x - normal[:, 0] * y
            bottom = (np.arctan2(b, a) + np.pi) % (2.0 * np.pi)
            least = np.where(bottom <= end, -np.hypot(a, b), least)
        else:
            least = least - DIP
    found: Array = (least + normal[:, 2] * z + space.offsets[:, None]).min(axis=0) - radius
    return found


def _discs(p: Array, t: Array, space: Space, radius: float, motion: _RoomMotion) -> Array:
    """(m,) mm that discs at (m, 3) free ends across (m, 3) unit vectors keep from the nearest plane, at most."""
    if motion.turns == 0:
        steps, dip = np.ones(len(p), np.intp), 0.0
    else:
        dip = DIP
        reach = np.hypot(p[:, 0], p[:, 1])
        if motion.turns > 0:
            steps = grid_steps(reach, motion.draw, radius, motion.end, True)
        else:  # the grid is as fine as the farthest of many points asks; its ends are always in it
            steps = np.ones(len(p), np.intp)
    rows = np.repeat(np.arange(len(p)), steps + 1)
    starts = np.cumsum(steps + 1) - steps - 1
    times = (np.arange(len(rows)) - starts[rows]) * (motion.end / steps)[rows]
    x, y, z = p[rows].T
    x = x + motion.draw[rows] * times
    tx, ty, tz = t[rows].T
    c, s = np.cos(times * abs(motion.turns)), np.sin(times) * motion.turns
    found = np.full(len(p), inf)
    for (nx, ny, nz), offset in zip(space.normals, space.offsets, strict=True):
        nxt, nyt = nx * c + ny * s, ny * c - nx * s
        lean = nxt * tx + nyt * ty + nz * tz
        value = nxt * x + nyt * y + nz * z - radius * np.sqrt(np.maximum(0.0, 1.0 - lean * lean))
        found = np.minimum(found, np.minimum.reduceat(value, starts) + offset)
    return found - dip


def _cross(p: Array, q: Array) -> Array:
    return np.stack(
        [
            p[:, 1] * q[:, 2] - p[:, 2] * q[:, 1],
            p[:, 2] * q[:, 0] - p[:, 0] * q[:, 2],
            p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0],
        ],
        axis=1,
    )
