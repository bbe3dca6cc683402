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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Index
from converter.bending.room.shape import ElementRows, Elements, ElementStations, stations
from converter.bending.room.space import Space

#: mm; how far a value may dip between two lines of the grid.
DIP = 0.15
_COARSEST = radians(3.0)
#: mm; what bounds may be off by through rounding.
_HAIR = 1e-6
#: Sides looked at in one go, and points at an angle: bounds on memory.
_SIDES = 512
_READ = 200_000


class Motion(NamedTuple):
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


@dataclass(frozen=True, slots=True, eq=False)
class _SideColumns:
    """Sides by columns: radians, sense of the turn, mm drawn per radian, mm of radius; and what came nearest so far.

    Attributes:
        least: (m,) mm.
        plane: (m,) index, -1 for none.
        moment: (m,) radians.
    """

    end: Array
    turns: Array
    draw: Array
    radius: Array
    least: Array
    plane: Index
    moment: Array

    def better(self, values: Array, times: Array, of: Index) -> None:
        """Take what is nearer than so far.

        Args:
            values: (planes, n) mm.
            times: (planes or 1, n) radians.
            of: (n,) the side, rising; of equal values the first plane's counts, then the first of these.
        """
        starts = np.flatnonzero(np.diff(of, prepend=-1))
        found = np.minimum.reduceat(values, starts, axis=1)
        plane = found.argmin(axis=0)
        least = found[plane, np.arange(len(starts))]
        sides = of[starts]
        nearer = np.flatnonzero(least < self.least[sides])
        if not len(nearer):
            return
        sides, plane, least = sides[nearer], plane[nearer], least[nearer]
        chosen = np.full(len(self.least), -1)
        chosen[sides] = np.arange(len(sides))
        rows = np.flatnonzero(chosen[of] >= 0)
        side = chosen[of[rows]]
        hits = values[plane[side], rows] == least[side]
        first = rows[hits][np.flatnonzero(np.diff(side[hits], prepend=-1))]
        self.least[sides], self.plane[sides] = least, plane
        self.moment[sides] = times[plane if len(times) > 1 else 0, first]


def least_to_planes(
    sides: Sequence[ElementRows],
    motions: Sequence[Motion],
    space: Space,
    radius: Array,
    doubt: Array | None = None,
) -> tuple[Array, Index, Array]:
    """The least distance between the tube's outside and the planes, of many sides.

    Args:
        sides: (m) of tubes before a bend.
        motions: one per side.
        space: the planes.
        radius: (m,) half the outside diameter, mm.
        doubt: (2, m) mm; what is surely as little as the first, or as much as the second, is measured no further.
            None measures all.

    Returns:
        Of each side, (m,) each: the distance in mm (negative: that far through the plane), index of the plane (-1:
        there is none), and degrees turned at that moment.
    """
    count = len(sides)
    if doubt is None:
        doubt = np.repeat([[-np.inf], [np.inf]], count, axis=1)
    found = _SideColumns(
        np.array([radians(one.angle) for one in motions]),
        np.array([float(one.turns) for one in motions]),
        np.array([one.draw for one in motions]),
        radius,
        np.full(count, np.inf),
        np.full(count, -1),
        np.zeros(count),
    )
    if space.planes and count:
        simple = np.array([one.simple for one in motions])
        for first in range(0, count, _SIDES):
            some = slice(first, first + _SIDES)
            elements = Elements.gathered(sides[some])
            rows = np.repeat(np.arange(first, first + len(sides[some])), [len(one) for one in sides[some]])
            worth = np.flatnonzero(~simple[rows] | _may_be_nearest(elements, rows, space, found, simple, doubt))
            if not len(worth):
                continue
            at = stations(Elements(elements.rows[worth]), near=radius[rows[worth]])
            side = rows[worth][at.row]
            disc = at.gap < radius[side] - 1e-9
            # a ball is nearest at a few angles that are known; a disc is where nothing turns
            read = np.where(disc, found.turns[side] == 0.0, simple[side])
            for shape in (False, True):
                _read_simply(at, side, np.flatnonzero((disc == shape) & read), shape, space, found)
                _read_on_grid(at, side, np.flatnonzero((disc == shape) & ~read), shape, space, found)
    return found.least, found.plane, np.degrees(found.moment)


def _may_be_nearest(
    elements: Elements,
    side: Index,
    space: Space,
    found: _SideColumns,
    simple: NDArray[np.bool_],
    doubt: Array,
) -> NDArray[np.bool_]:
    """(n,) which elements of sides that move simply may hold what is nearest; none of a side that is out of doubt.

    At any moment a straight is nearest at one of its ends, and an arc nearer than both of its ends by its sagitta at
    most. An element for which this is farther than the end of another one is left out. What counts as a disc is no
    nearer than a ball there, and reported nearer by `DIP` at most.
    """
    every = np.arange(len(elements))
    nearest = []
    for which in (0, 1):
        p = elements.point(every, np.full(len(every), float(which)))
        values, _ = _simple_values(p, None, elements.slide[:, which], side, space, found)
        nearest.append(values.min(axis=0))
    # the end of the tube itself counts as a disc
    balls = [np.where(elements.gap[:, i] < found.radius[side] - 1e-9, np.inf, nearest[i]) for i in (0, 1)]
    starts = np.flatnonzero(np.diff(side, prepend=-1))
    least = np.minimum.reduceat(np.minimum(*balls), starts)
    known = np.repeat(least, np.diff(starts, append=len(side)))
    bound = np.minimum(*nearest) - elements.sagitta(every, np.ones(len(every))) - DIP - _HAIR
    may: NDArray[np.bool_] = bound <= known
    sides, low = side[starts], np.minimum.reduceat(bound, starts)
    near = simple[sides] & (least <= doubt[0, sides])
    out = near | (simple[sides] & (low >= doubt[1, sides]))
    found.least[sides[out]] = np.where(near, least, low)[out]
    may &= ~np.repeat(out, np.diff(starts, append=len(side)))
    return may


def _simple_values(
    p: Array, tangents: Array | None, slide: Array, of: Index, space: Space, found: _SideColumns
) -> tuple[Array, Array]:
    """(planes, n) mm that points of sides keep at least from the planes, and the radians at which they do.

    Args:
        p: (n, 3) points.
        tangents: across which they stand for discs; None for balls.
        slide: (n,) share of the draw.
        of: (n,) the side of each.
    """
    end, turns, draw = found.end[of], found.turns[of], found.draw[of]
    times = np.where(
        turns[:, None] != 0.0,
        _turning(p, space, end),
        np.stack([np.zeros_like(end), np.where(draw > 0.0, end, 0.0), np.zeros_like(end)], axis=-1),
    )
    values = _distances(p, tangents, slide * draw, space, found.radius[of], turns, times)
    nearest = values.argmin(axis=2)[:, :, None]
    return (
        np.take_along_axis(values, nearest, axis=2)[:, :, 0],
        np.take_along_axis(times, nearest, axis=2)[:, :, 0],
    )


def _read_simply(at: ElementStations, side: Index, which: Index, disc: bool, space: Space, found: _SideColumns) -> None:
    """Better the sides by points that are nearest at a few known angles."""
    if len(which):
        tangents = at.tangents[which] if disc else None
        values, times = _simple_values(at.points[which], tangents, at.slide[which], side[which], space, found)
        found.better(values, times, side[which])


def _read_on_grid(
    at: ElementStations, side: Index, which: Index, disc: bool, space: Space, found: _SideColumns
) -> None:
    """Better the sides by points that are read on a grid of angles, some points at a time."""
    if not len(which):
        return
    of = side[which]
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    sides = of[starts]
    reach = np.maximum.reduceat(np.hypot(at.points[which, 0], at.points[which, 1]), starts)
    steps = np.zeros(len(found.end), np.intp)
    steps[sides] = grid_steps(reach, found.draw[sides], found.radius[sides], found.end[sides], disc)
    sizes = np.cumsum(steps[of] + 1)
    first = 0
    while first < len(which):
        # whole points, and one at least
        last = max(first + 1, int(np.searchsorted(sizes, _READ + (sizes[first - 1] if first else 0), "right")))
        _read_grid_points(at, which[first:last], side, steps, disc, space, found)
        first = last


def _read_grid_points(
    at: ElementStations, which: Index, side: Index, steps: Index, disc: bool, space: Space, found: _SideColumns
) -> None:
    counts = steps[side[which]] + 1
    row = np.repeat(which, counts)
    of = side[row]
    inside = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
    times = np.where(inside == steps[of], found.end[of], inside * (found.end[of] / steps[of]))
    slide = at.slide[row] * found.draw[of]
    tangents = at.tangents[row] if disc else None
    values = _distances(at.points[row], tangents, slide, space, found.radius[of], found.turns[of], times[None, :, None])
    found.better(values[:, :, 0] - DIP, times[None, :], of)


def grid_steps(reach: Array, draw: Array, radius: float | Array, end: Array, disc: bool) -> Index:
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
    p: Array, tangents: Array | None, slide: Array, space: Space, radius: Array, turns: Array, times: Array
) -> Array:
    """(planes, points, times) distances of balls, or of discs across the tangents, from the planes.

    ``radius``, ``turns``: of each point. ``times``: radians, (planes or 1, points, times).
    """
    n = space.normals
    c, s = np.cos(times), np.sin(times) * turns[:, None]
    c = np.where(turns[:, None] == 0.0, 1.0, c)
    # the plane turned back is cheaper than the points turned on
    nx = n[:, 0, None, None] * c + n[:, 1, None, None] * s
    ny = n[:, 1, None, None] * c - n[:, 0, None, None] * s
    nz = n[:, 2, None, None]
    x = p[None, :, 0, None] + slide[None, :, None] * times
    found = nx * x + ny * p[None, :, 1, None] + nz * p[None, :, 2, None] + space.offsets[:, None, None]
    if tangents is None:
        return np.asarray(found - radius[:, None])
    lean = nx * tangents[None, :, 0, None] + ny * tangents[None, :, 1, None] + nz * tangents[None, :, 2, None]
    return np.asarray(found - radius[:, None] * np.sqrt(np.maximum(0.0, 1.0 - lean * lean)))
