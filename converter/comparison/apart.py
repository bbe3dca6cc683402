"""How far two centerlines lie apart: from each point of one to the nearest of the other, the greatest both ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from converter.arrays import Array, Index
from converter.model.curve import Line, Segment
from converter.model.deviation import nearest, points_along

#: mm; the greatest distance is found to within this.
_EXACT = 1e-4
#: Parts that each straight and arc is looked at in first.
_PARTS = 8
#: Stretches that are halved in a round at most: what lies apart alike all along has no one place to be looked for.
_MOST_HALVED = 20_000


@dataclass(frozen=True)
class Farthest:
    """Where one centerline is farthest from another.

    Attributes:
        distance: mm.
        point, foot: (3,) of the one, and the nearest to it of the other, mm.
    """

    distance: float
    point: Array
    foot: Array


def feet_on(chain: Sequence[Segment], points: Array) -> tuple[Array, Index]:
    """The nearest point of a chain to each of points (n, 3), exactly: every straight and arc is asked.

    Returns:
        The points (n, 3), mm, and the number of the segment that each lies on, from 0.
    """
    feet, least, on = points, np.full(len(points), np.inf), np.zeros(len(points), dtype=np.intp)
    for i, segment in enumerate(chain):
        found = nearest(points, segment)
        squares = ((points - found) ** 2).sum(axis=1)
        nearer = squares < least
        feet = np.where(nearer[:, None], found, feet)
        least, on = np.where(nearer, squares, least), np.where(nearer, i, on)
    return feet, on


@dataclass(frozen=True)
class _Probes:
    """Places of a chain that were looked at: their points and feet (n, 3), and which segment each foot is on (n,)."""

    points: Array
    feet: Array
    on: Index

    @property
    def distances(self) -> Array:
        away: Array = np.sqrt(((self.points - self.feet) ** 2).sum(axis=1))
        return away

    def only(self, which: Index) -> _Probes:
        return _Probes(self.points[which], self.feet[which], self.on[which])

    def with_more(self, more: _Probes) -> _Probes:
        return _Probes(
            np.concatenate([self.points, more.points]),
            np.concatenate([self.feet, more.feet]),
            np.concatenate([self.on, more.on]),
        )

    def farthest(self) -> Farthest:
        worst = int(np.argmax(self.distances))
        return Farthest(float(self.distances[worst]), self.points[worst], self.feet[worst])


def farthest(one: Sequence[Segment], other: Sequence[Segment]) -> Farthest:
    """The point of one chain that lies farthest from the other: the directed Hausdorff distance.

    Stretches are halved for as long as one may hold a point that is farther away than the farthest found by more than
    `_EXACT` (branch and bound).

    Args:
        one, other: straights and arcs, each a chain; neither empty.
    """
    length = np.array([segment.length for segment in one])

    def look(which: Index, at: Array) -> _Probes:
        points = np.empty((len(at), 3))
        for i in np.unique(which):
            points[which == i] = points_along(one[i], at[which == i])
        return _Probes(points, *feet_on(other, points))

    grid = np.linspace(0.0, 1.0, _PARTS + 1)
    which = np.repeat(np.arange(len(one)), _PARTS)
    low, high = np.tile(grid[:-1], len(one)), np.tile(grid[1:], len(one))
    starts, ends = look(which, low), look(which, high)
    best = max(starts.farthest(), ends.farthest(), key=lambda each: each.distance)
    while True:
        most = _most_between(starts, ends, (high - low) * length[which], (_radii(one)[which], _radii(other)))
        open_ = np.flatnonzero(most > best.distance + _EXACT)
        if not 0 < len(open_) <= _MOST_HALVED:
            return best
        which, low, high = which[open_], low[open_], high[open_]
        middle = (low + high) / 2.0
        between = look(which, middle)
        best = max(best, between.farthest(), key=lambda each: each.distance)
        which = np.concatenate([which, which])
        low, high = np.concatenate([low, middle]), np.concatenate([middle, high])
        starts, ends = starts.only(open_).with_more(between), between.with_more(ends.only(open_))


def _radii(chain: Sequence[Segment]) -> Array:
    """Of each segment, mm; without end for a straight."""
    return np.array([np.inf if isinstance(segment, Line) else segment.radius for segment in chain])


def _most_between(starts: _Probes, ends: _Probes, length: Array, radii: tuple[Array, Array]) -> Array:
    """What the distance may be at most on stretches whose two ends were looked at, mm.

    Three bounds, each right by itself. No distance grows faster than one goes. The squares of the distances from the
    two feet are parabolas of the way along the chord, the lesser greatest at an end or where they are equal; an arc
    strays from its chord by its rise. Where both feet are on one segment, the distance to that is convex (a straight)
    or lacks of it at most 1 / (radius - distance) (a circle: a set of positive reach, Federer 1959), an arc's own
    curvature aside.

    Args:
        starts, ends: of the stretches, n of them.
        length: (n,) mm.
        radii: (n,) mm of what the stretches lie on; (m,) mm of what the feet lie on.
    """
    own, others = radii
    first, last = starts.distances, ends.distances
    greater = np.maximum(first, last)
    steady = (first + last + length) / 2.0
    chord = ends.points - starts.points
    span = np.sqrt((chord**2).sum(axis=1))
    rise = length**2 / (8.0 * own)
    slopes = [2.0 * (chord * (starts.points - looked.feet)).sum(axis=1) for looked in (starts, ends)]
    heights = [((starts.points - looked.feet) ** 2).sum(axis=1) for looked in (starts, ends)]
    with np.errstate(divide="ignore", invalid="ignore"):
        equal = np.clip(np.nan_to_num((heights[1] - heights[0]) / (slopes[0] - slopes[1]), nan=0.0), 0.0, 1.0)
    parabolas = np.sqrt(np.maximum(greater**2, heights[0] + equal * slopes[0] + (equal * span) ** 2)) + rise
    bounds = np.minimum(steady, parabolas)
    reach = others[starts.on] - greater - length
    is_same = (starts.on == ends.on) & (reach > 0.0)
    with np.errstate(divide="ignore"):
        curved = greater + length**2 / 8.0 * (1.0 / own + 1.0 / np.where(reach > 0.0, reach, np.inf))
    most: Array = np.where(is_same, np.minimum(bounds, curved), bounds)
    return most
