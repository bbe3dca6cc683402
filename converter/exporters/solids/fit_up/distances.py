"""Distances between tubes: where a cut end comes nearest to its mates, and how far points lie from the metal.

The kernel takes half a second over two surfaces that run side by side, as those of a joint with a weld gap do. But of
tubes it is known how far any point lies from them (`off_metal`): the least of it is taken along the end's edges and
at turning points within its faces, both as the kernel has them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from math import cos, hypot, inf, radians, sin, tan
from typing import TYPE_CHECKING, Any

import numpy as np

from converter.arrays import Array, Flags
from converter.exporters.solids.bodies import TubeBody
from converter.geometry.vectors import Vec
from converter.model.curve import Arc
from converter.model.frames import Piece, Station
from converter.model.metal import TubeMetal
from converter.model.section import Section

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
#: mm to which a point on a mate's surface is not inside it.
ON_SURFACE = 1e-4


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


# --- how far points lie from the metal of a tube ----------------------------------------------
# Of a whole, uncut one exactly, or quickly by its centerline, at least. The CAD kernel takes milliseconds to tell that
# of one point.


def off_metal(points: Array, metal: TubeMetal, section: Section) -> Array:
    """How far points lie from a tube whose bore is full, mm; negative inside.

    Of a tube that is round it is the distance of its outside: of any other too, for its flats and corners are. Its two
    ends count as if they ran on, as those that are cut do, and straights into a sharp corner reach past it as far as
    the mitre does; so metal is never further off in the tube's solid than told here. Holes do not count.

    Args:
        points: (n, 3).
        metal: the tube; section: its section.
    """
    last = len(metal.pieces) - 1
    found = np.full(len(points), inf)
    for i, piece in enumerate(metal.pieces):
        before = metal.pieces[i - 1].corner if i or metal.closed else None
        first, final = i == 0 and not metal.closed, i == last and not metal.closed
        low = inf if first else _mitre(before, section)
        high = inf if final else _mitre(piece.corner, section)
        if piece.arc is None:
            off = _off_straight(points, piece.start, section, -low, piece.length + high)
        else:
            off = _off_bend(points, piece, piece.arc, section)
            if first:
                off = np.minimum(off, _off_straight(points, piece.start, section, -inf, 0.0))
            if final:
                off = np.minimum(off, _off_straight(points, piece.end, section, 0.0, inf))
        found = np.minimum(found, off)
    return found


def in_wall(points: Array, body: TubeBody, within: float) -> Flags:
    """Which points may lie in a tube's metal, further than ``within`` mm from its surface; none that does is missed.

    Most points of a good joint lie on a mate's surface.
    The ends count as if they ran on, for they do where a cut needs metal, and so do straights into a sharp corner.
    Around a section that is not round there is a ring from its bore's nearest to its outside's farthest point.
    """
    outside = _outside(body) - within
    bore = min((min(loop.halves[:2]) for loop in body.section.loops[1:]), default=-1.0) + within
    found = np.zeros(len(points), dtype=bool)
    for away, beyond in _off_pieces(points, body.metal.pieces):
        found |= (away < outside) & (away > bore) & (beyond <= within)
    return found


def off_outside(points: Array, body: TubeBody) -> Array:
    """How far points lie from the outside of a tube, mm, its ends counted as if they ran on; about, if not round."""
    outside = _outside(body)
    pieces = _off_pieces(points, body.metal.pieces)
    rows = [np.where(beyond <= 0.0, np.abs(away - outside), np.inf) for away, beyond in pieces]
    nearest: Array = np.minimum.reduce(rows)
    return nearest


def least_off(points: Array, body: TubeBody) -> Array:
    """How far points lie from a tube's metal, mm, at least: as if each straight ran on, and each bend all around."""
    away = np.minimum.reduce([away for away, _ in _off_pieces(points, body.metal.pieces)])
    least: Array = np.maximum(away - _outside(body) - ON_SURFACE, 0.0)
    return least


def _mitre(corner: tuple[float, float, int] | None, section: Section) -> float:
    """How far metal reaches past a sharp corner, at most."""
    return 0.0 if corner is None else section.outer.half_diagonal * tan(radians(corner[0]) / 2.0)


def _off_straight(points: Array, at: Station, section: Section, low: float, high: float) -> Array:
    ahead, up, across = _parts_along(points, at.point, (at.direction, at.up, at.across))
    side = _off_outline(up, across, section)
    beyond = np.maximum(low - ahead, ahead - high)
    return np.where(beyond <= 0.0, side, np.hypot(beyond, np.maximum(side, 0.0)))


def _off_bend(points: Array, piece: Piece, arc: Arc, section: Section) -> Array:
    """Off a bend: across its cross section in its stretch, and elsewhere from the nearer of its two ends."""
    normal = np.asarray(arc.normal)
    x = np.asarray(arc.start) - np.asarray(arc.center)
    x /= np.linalg.norm(x)
    off, y = points - np.asarray(arc.center), np.cross(normal, x)
    height = off @ normal
    at_x, at_y = off @ x, off @ y
    inward = arc.radius - np.hypot(at_x, at_y)
    turn = np.degrees(np.arctan2(at_y, at_x)) % 360.0
    c, s = cos(radians(piece.roll)), sin(radians(piece.roll))
    side = _off_outline(inward * c - height * s, inward * s + height * c, section)
    ends = []
    for at in (piece.start, piece.end):
        ahead, up, across = _parts_along(points, at.point, (at.direction, at.up, at.across))
        ends.append(np.hypot(ahead, np.maximum(_off_outline(up, across, section), 0.0)))
    return np.where(turn <= arc.angle, side, np.minimum(*ends))


def _parts_along(points: Array, origin: Vec, axes: Sequence[Vec]) -> list[Array]:
    off = points - np.asarray(origin)
    return [off @ np.asarray(axis) for axis in axes]


def _off_outline(up: Array, across: Array, section: Section) -> Array:
    """Off the outline of a section, in its plane: a rounded rectangle, or a circle."""
    half_up, half_across, corner = section.outer.halves
    p, q = np.abs(up) - (half_up - corner), np.abs(across) - (half_across - corner)
    value: Array = np.hypot(np.maximum(p, 0.0), np.maximum(q, 0.0)) + np.minimum(np.maximum(p, q), 0.0) - corner
    return value


def _outside(body: TubeBody) -> float:
    """From the centerline to the outside's farthest point, mm."""
    half_up, half_across, corner = body.section.loops[0].halves
    return hypot(half_up - corner, half_across - corner) + corner


def _off_pieces(points: Array, pieces: Sequence[Piece]) -> Iterator[tuple[Array, Array]]:
    """Of each piece of a tube: how far points lie from its centerline, and how far beyond its ends; mm."""
    last = len(pieces) - 1
    for i, piece in enumerate(pieces):
        start, end = piece.start, piece.end
        if piece.arc is not None:
            yield _off_arc(points, piece.arc)
            if i == 0:
                yield _off_line(points, start.point, start.direction, -inf, 0.0)
            if i == last:
                yield _off_line(points, end.point, end.direction, 0.0, inf)
        else:
            low = 0.0 if i > 0 and pieces[i - 1].arc is not None else -inf
            high = piece.length if i < last and pieces[i + 1].arc is not None else inf
            yield _off_line(points, start.point, start.direction, low, high)


def _off_line(points: Array, start: Vec, direction: Vec, low: float, high: float) -> tuple[Array, Array]:
    off, way = points - np.asarray(start), np.asarray(direction)
    at = off @ way
    return np.linalg.norm(np.cross(off, way), axis=1), np.maximum(low - at, at - high)


def _off_arc(points: Array, arc: Arc) -> tuple[Array, Array]:
    off, normal = points - np.asarray(arc.center), np.asarray(arc.normal)
    height = off @ normal
    across = np.linalg.norm(off - height[:, None] * normal, axis=1)
    # turned so that the middle of the bend is at 0 and the seam is opposite
    half = radians(arc.angle) / 2.0
    middle, ahead = (
        np.asarray(arc.point(angle)) - np.asarray(arc.center) for angle in (arc.angle / 2.0, arc.angle / 2.0 + 90.0)
    )
    turn = np.arctan2(off @ ahead, off @ middle)
    return np.hypot(across - arc.radius, height), (np.abs(turn) - half) * arc.radius
