"""How near one side of the tube comes to planes (floor, ceiling, walls) while a bend is made.

A round tube is a row of balls along its centerline, cut flat at the ends, where discs stand for it. A ball
that turns with the die follows A cos f + B sin f + C, whose least value is exact; anything less simple is
read on a fine grid of angles and lowered by what it can dip between two grid lines (step^2 / 8 times the
greatest second derivative).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import radians

import numpy as np

from converter.bending.room.shape import Elements, ElementStations, stations
from converter.bending.room.space import Array, Index, Space

#: mm; how far a value may dip between two lines of the grid.
DIP = 0.15
_COARSEST = radians(3.0)


@dataclass(frozen=True, slots=True)
class Motion:
    """How a side of the tube moves while a bend is made.

    Attributes:
        angle: degrees that the bend is made to.
        turns: 1 when this side turns with the die, -1 when it turns the other way about a die that stands still,
            0 when it does not turn.
        draw: mm per radian that this side is drawn ahead (the die's radius on the side behind, else 0).
    """

    angle: float
    turns: int
    draw: float

    @property
    def simple(self) -> bool:
        """Whether balls, which count by their places only, are nearest at a few angles that are known."""
        return self.turns == 0 or (self.turns == 1 and self.draw == 0.0)


def least_to_planes(
    sides: Sequence[Elements], motions: Sequence[Motion], space: Space, radius: float
) -> list[tuple[float, int, float]]:
    """The least distance between the tube's outside and the planes, of many sides.

    Args:
        sides: of the tube before a bend.
        motions: one per side.
        space: the planes.
        radius: half the outside diameter, mm.

    Returns:
        Of each side the distance in mm (negative: that far through the plane), index of the plane (-1: there is
        none), and degrees turned at that moment.
    """
    best = [(float("inf"), -1, 0.0)] * len(sides)
    if not space.planes or not sides:
        return best
    at = stations(Elements.joined(sides), near=radius)
    side = np.repeat(np.arange(len(sides)), [len(one) for one in sides])[at.row]
    end = np.radians([one.angle for one in motions])
    draw = np.array([one.draw for one in motions])
    at_end = at.gap < radius - 1e-9
    for disc in (False, True):
        shape = at_end if disc else ~at_end
        for turns in sorted({one.turns for one in motions}):
            several = [one.turns == turns and one.simple and not (disc and turns) for one in motions]
            which = np.flatnonzero(shape & np.array(several)[side])
            if len(which):
                _read_simply(at, which, side, end, draw, turns, disc, space, radius, best)
        for i, one in enumerate(motions):
            if not one.simple or (disc and one.turns):
                which = np.flatnonzero(shape & (side == i))
                if len(which):
                    best[i] = min(
                        best[i], _read_on_grid(at, which, one, disc, space, radius), key=lambda found: found[0]
                    )
    return best


def _read_simply(
    at: ElementStations, which: Index, side: Index, end: Array, draw: Array, turns: int, disc: bool, space: Space,
    radius: float, best: list[tuple[float, int, float]],
) -> None:  # fmt: skip
    """Better the ``best`` of the sides by points that are nearest at a few known angles."""
    p, of = at.points[which], side[which]
    ends = end[of]
    if turns:
        times = _turning(p, space, ends)
    else:
        times = np.stack([np.zeros_like(ends), np.where(draw[of] > 0.0, ends, 0.0)], axis=-1)[None]
    slide = at.slide[which] * draw[of]
    values = _distances(p, at.tangents[which] if disc else None, slide, space, radius, turns, times)
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    for first, last in zip(starts, [*starts[1:], len(of)], strict=True):
        part = values[:, first:last]
        plane, point, time = np.unravel_index(int(part.argmin()), part.shape)
        least, i = float(part[plane, point, time]), int(of[first])
        if least < best[i][0]:
            moment = times[plane if turns else 0, first + point, time]
            best[i] = (least, int(plane), float(np.degrees(moment)))


def _read_on_grid(
    at: ElementStations, which: Index, motion: Motion, disc: bool, space: Space, radius: float
) -> tuple[float, int, float]:
    """The least of one side's points, read on a grid of angles."""
    p, end = at.points[which], radians(motion.angle)
    reach = np.hypot(p[:, 0], p[:, 1]).max()
    steps = grid_steps(reach, np.asarray(motion.draw), radius, np.asarray(end), disc)
    times = np.linspace(0.0, end, int(steps) + 1)
    slide = at.slide[which] * motion.draw
    moments = times[None, None, :]
    values = _distances(p, at.tangents[which] if disc else None, slide, space, radius, motion.turns, moments)
    plane, point, time = np.unravel_index(int(values.argmin()), values.shape)
    return float(values[plane, point, time]) - DIP, int(plane), float(np.degrees(times[time]))


def grid_steps(reach: Array, draw: Array, radius: float, end: Array, disc: bool) -> Index:
    """(m,) how many steps of angle keep what is read on the grid within `DIP` of the truth.

    Args:
        reach: (m,) mm of the farthest point from the die's axis before the bend.
        draw: (m,) mm per radian that it is drawn ahead.
        radius: half the outside diameter, mm.
        end: (m,) radians turned in all.
        disc: whether points stand for discs across the tube, not for balls.
    """
    curve = reach + draw * end + 2.0 * draw + (2.0 * radius if disc else 0.0)
    steps = np.ceil(end / np.minimum(_COARSEST, np.sqrt(8.0 * DIP / np.maximum(curve, 1e-9))))
    return np.maximum(1, steps).astype(np.intp)


def _turning(p: Array, space: Space, end: Array) -> Array:
    """(planes, points, 3) radians at which each ball may be nearest: both ends, and the bottom of its cosine."""
    nx, ny = space.normals[:, 0:1], space.normals[:, 1:2]
    a = nx * p[:, 0] + ny * p[:, 1]
    b = ny * p[:, 0] - nx * p[:, 1]
    bottom = (np.arctan2(b, a) + np.pi) % (2.0 * np.pi)
    bottom = np.where(bottom <= end, bottom, 0.0)
    return np.stack([np.zeros_like(a), bottom, np.broadcast_to(end, a.shape)], axis=-1)


def _distances(
    p: Array, tangents: Array | None, slide: Array, space: Space, radius: float, turns: int, times: Array
) -> Array:
    """(planes, points, times) distances of balls, or of discs across the tangents, from the planes.

    ``times``: radians, (planes or 1, points or 1, times).
    """
    n = space.normals
    c, s = np.cos(times), np.sin(times) * turns
    if turns == 0:
        c = np.ones_like(c)
    # the plane turned back is cheaper than the points turned on
    nx = n[:, 0, None, None] * c + n[:, 1, None, None] * s
    ny = n[:, 1, None, None] * c - n[:, 0, None, None] * s
    nz = n[:, 2, None, None]
    x = p[None, :, 0, None] + slide[None, :, None] * times
    found = nx * x + ny * p[None, :, 1, None] + nz * p[None, :, 2, None] + space.offsets[:, None, None]
    if tangents is None:
        return np.asarray(found - radius)
    lean = nx * tangents[None, :, 0, None] + ny * tangents[None, :, 1, None] + nz * tangents[None, :, 2, None]
    return np.asarray(found - radius * np.sqrt(np.maximum(0.0, 1.0 - lean * lean)))
