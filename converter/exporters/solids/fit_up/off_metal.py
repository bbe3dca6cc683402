"""How far points lie from the outside of a tube: exactly, for the whole of an uncut tube."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, inf, radians, sin, tan

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec
from converter.model.curve import Arc
from converter.model.frames import Piece, Station
from converter.model.metal import TubeMetal
from converter.model.section import Section


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
