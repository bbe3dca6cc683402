"""How far points lie from the metal of a tube: of a whole, uncut one exactly, or quickly by its centerline, at least.

The CAD kernel takes milliseconds to tell that of one point.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import cos, hypot, inf, radians, sin, tan

import numpy as np

from converter.arrays import Array, Flags
from converter.exporters.solids.bodies import TubeBody
from converter.geometry.vectors import Vec
from converter.model.curve import Arc
from converter.model.frames import Piece, Station
from converter.model.metal import TubeMetal
from converter.model.section import Section

#: mm to which a point on a mate's surface is not inside it.
ON_SURFACE = 1e-4


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
