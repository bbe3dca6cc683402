"""Where a cut end comes nearest to its mates when it does not touch them: quicker than the kernel finds it.

The kernel takes half a second over two surfaces that run side by side, as those of a joint with a weld gap do. But of
tubes it is known how far any point lies from them (`off_metal`): the least of it is taken along the end's edges and
at turning points within its faces, both as the kernel has them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec

if TYPE_CHECKING:
    from converter.kernel.fit_up import PartNear
    from converter.kernel.topology import Box

#: How far places lie from metal, mm: points in space or parameters in rows, distances (n,).
Off = Callable[[Array], Array]
#: mm between points tried along edges and over faces, about; how many there are along each at least and at most.
_STEP, _LEAST, _MOST = 5.0, 17, 401
#: Points tried about a turning point, each way; and how often, each time half as far off.
_FINE, _ROUNDS = 5, 14
#: mm by which a place must be nearer to count: the kernel's edges lie that far off the surfaces they bound.
_NEARER = 1e-6


def nearest_point(end: Any, box: Box, off: Off) -> tuple[Vec, float] | None:
    """The place of an end that comes nearest to metal, and how near, mm; None where none of it is in the box.

    Args:
        end: the tube's solid.
        box: around the end that is meant; what of the tube lies elsewhere does not count.
        off: signed distances from the metal.
    """
    from converter.kernel.fit_up import edges_near, faces_near

    low, high = np.asarray(box[0]), np.asarray(box[1])
    best, least = np.zeros(3), np.inf
    for part in (*edges_near(end, box), *faces_near(end, box)):

        def off_part(places: Array, at: Callable[[Array], Array] = part.at) -> Array:
            points = at(places)
            value: Array = np.full(len(points), np.inf)
            within = ((points >= low) & (points <= high)).all(axis=1)
            if within.any():
                value[within] = off(points[within])
            return value

        tried = _DistanceGrid.over(off_part, [np.linspace(*side) for side in _sides(part)])
        for place, value in tried.turning_points(least - _NEARER):
            if value < least - _NEARER and part.holds(place):
                best, least = part.at(place[None, :])[0], value
    return None if np.isinf(least) else ((float(best[0]), float(best[1]), float(best[2])), least)


def _sides(part: PartNear) -> list[tuple[float, float, int]]:
    """From where to where the parameters of a part go, and in how many places each is tried: by its length in space."""
    low, high = np.array(part.low), np.array(part.high)
    found = []
    for i in range(len(low)):
        places = np.tile((low + high) / 2.0, (_LEAST, 1))
        places[:, i] = np.linspace(low[i], high[i], _LEAST)
        length = float(np.linalg.norm(np.diff(part.at(places), axis=0), axis=1).sum())
        found.append((float(low[i]), float(high[i]), min(max(_LEAST, int(length / _STEP) + 2), _MOST)))
    return found


@dataclass(frozen=True, slots=True)
class _DistanceGrid:
    """Distances at evenly spaced places of a line or a rectangle of parameters.

    Attributes:
        off: distances at any places (n, sides).
        sides: the parameters along each side; values: distances at all of their pairings.
    """

    off: Off
    sides: list[Array]
    values: Array

    @classmethod
    def over(cls, off: Off, sides: list[Array]) -> _DistanceGrid:
        """Of all places of a grid."""
        return cls(off, sides, off(_pairings(sides)).reshape([len(side) for side in sides]))

    def turning_points(self, below: float) -> list[tuple[Array, float]]:
        """Places that are none farther than those around them and may be nearer than ``below`` mm, the nearest first.

        Between two points tried it is lower by no more than they differ: next to a turning point by far less. So
        flat stretches are left alone, but for the lowest of them.
        """
        shape = self.values.shape
        padded = np.pad(self.values, 1, constant_values=np.inf)
        around = [
            padded[tuple(slice(1 + move, 1 + move + count) for move, count in zip(moves, shape, strict=True))]
            for moves in product((-1, 0, 1), repeat=len(shape))
            if any(moves)
        ]
        lowest = np.logical_and.reduce([self.values <= other for other in around]) & np.isfinite(self.values)
        here = np.where(np.isfinite(self.values), self.values, 0.0)
        doubt = np.maximum.reduce([np.where(np.isfinite(other), other, here) - here for other in around])
        chosen = np.flatnonzero(lowest & (here - doubt < below))
        if not len(chosen):
            return []
        places, values = self._narrowed(_pairings(self.sides)[chosen], self.values.ravel()[chosen])
        return [(places[i], float(values[i])) for i in values.argsort(kind="stable").tolist()]

    def _narrowed(self, places: Array, values: Array) -> tuple[Array, Array]:
        """Turning points between the neighbours of places, all at once."""
        low, high = (np.array([side[i] for side in self.sides]) for i in (0, -1))
        step = np.array([side[1] - side[0] for side in self.sides])
        reach = np.linspace(-1.0, 1.0, _FINE).tolist()
        moves = np.array([move for move in product(reach, repeat=len(step)) if any(move)])
        rows = np.arange(len(places))
        for _ in range(_ROUNDS):
            tried = np.clip(places[:, None, :] + moves * step, low, high)
            found = self.off(tried.reshape(-1, len(step))).reshape(len(places), -1)
            best = found.argmin(axis=1)
            nearer = found[rows, best] < values
            places = np.where(nearer[:, None], tried[rows, best], places)
            values = np.where(nearer, found[rows, best], values)
            step = step * 0.5
        return places, values


def _pairings(sides: list[Array]) -> Array:
    """All places of a grid, (n, sides)."""
    return np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, len(sides))
