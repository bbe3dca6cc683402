"""The section's frame along a run: how a tube that is not round rolls with its bends.

The section is fixed in the tube. At end A its width (``across``) lies along the normal of
the first bend's plane and its height (``up``) points to the inside of the first bend. A
straight carries the frame along, a bend turns it about the bend's normal, and a rotation
turns only the plane of the next bend: by ``roll`` against the section, in all.

Angles around the section are measured from ``up`` towards ``across``, right-hand positive
about the direction of travel. The inside of a bend is at the angle ``roll``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, degrees, radians, sin, tan

from converter.errors import GeometryError
from converter.geometry.vectors import (
    Vec,
    along,
    cross,
    distance,
    dot,
    norm,
    rotate,
    scale,
    signed_angle,
    sub,
    within_turn,
)
from converter.model.bends import BendTable, Placement
from converter.model.curve import Arc

#: Straights not longer than this (mm) are no straights: nothing can be built on them.
SHORTEST_STRAIGHT = 1e-6


@dataclass(frozen=True, slots=True)
class Station:
    """A place on the centerline: point, direction of travel, and the section's width direction there."""

    point: Vec
    direction: Vec
    across: Vec

    @property
    def up(self) -> Vec:
        """The section's height direction; ``up x across`` is the direction of travel."""
        return cross(self.across, self.direction)

    def at(self, p: float, q: float, ahead: float = 0.0) -> Vec:
        """The point ``p`` along ``up``, ``q`` along ``across`` and ``ahead`` along the direction of travel."""
        return along(along(along(self.point, self.up, p), self.across, q), self.direction, ahead)


@dataclass(frozen=True, slots=True)
class Piece:
    """A straight or a bend with the frames at both its ends.

    Attributes:
        start, end: frames; the end of one is the start of the next, except at a sharp corner.
        length: along the centerline, mm.
        arc: None for a straight.
        bend: 1-based number of the bend, None for a straight.
        roll: degrees from ``up`` to the inside of the bend (0 for a straight).
        corner: of a straight that ends in a sharp corner: (deflection, roll, number of the bend).
    """

    start: Station
    end: Station
    length: float
    arc: Arc | None = None
    bend: int | None = None
    roll: float = 0.0
    corner: tuple[float, float, int] | None = None


def pieces(table: BendTable, placement: Placement, closed: bool = False) -> tuple[Piece, ...]:
    """The straights and bends of a table with the section's frame, in place.

    Straights of `SHORTEST_STRAIGHT` are left out and do not move what follows. A closed run starts
    at the end of its first straight, which is joined to its last one.

    Raises:
        GeometryError: a straight is negative, nothing is left, or a sharp corner has no straight beside it.
    """
    found: list[Piece] = []
    at = Station(placement.start, placement.direction, placement.normal)
    roll = 0.0
    for number, bend in enumerate(table.bends, 1):
        at = _straight(found, at, bend.feed, f"before bend {number}")
        roll = within_turn(roll + bend.rotation)
        normal = rotate(at.across, at.direction, roll)
        direction = rotate(at.direction, normal, bend.angle)
        across = rotate(at.across, normal, bend.angle)
        if bend.clr is None:
            if bend.angle >= 180.0:
                raise GeometryError(f"the sharp corner at bend {number} turns by {bend.angle:.2f} degrees")
            if not found or found[-1].arc is not None or found[-1].corner is not None:
                raise GeometryError(f"the sharp corner at bend {number} has no straight before it")
            found[-1] = replace(found[-1], corner=(bend.angle, roll, number))
            at = _squared(Station(at.point, direction, across))
            continue
        arc = Arc.swept(along(at.point, cross(normal, at.direction), bend.clr), normal, at.point, bend.angle)
        end = _squared(Station(arc.end, direction, across))
        found.append(Piece(at, end, bend.arc_length, arc, number, roll))
        at = end
    _straight(found, at, table.tail, "after the last bend")
    if not found:
        raise GeometryError("the tube has no length")
    _check_corners(found, closed)
    return _joined(found) if closed else tuple(found)


def _straight(found: list[Piece], at: Station, length: float, where: str) -> Station:
    if length < -SHORTEST_STRAIGHT:
        raise GeometryError(f"the straight {where} is {-length:.3f} mm shorter than nothing, so the bends overlap")
    if length <= SHORTEST_STRAIGHT:
        return at
    end = replace(at, point=along(at.point, at.direction, length))
    found.append(Piece(at, end, length))
    return end


def stretch(found: Sequence[Piece], begin: float, end: float) -> tuple[Piece, ...]:
    """The part of some pieces between two places, mm along them from the first one's start.

    Pieces are cut where a place lies in them; of a sharp corner the straight before it keeps it while it is not cut.
    """
    kept, at = [], 0.0
    for piece in found:
        first, last = max(begin - at, 0.0), min(end - at, piece.length)
        at += piece.length
        if last - first > SHORTEST_STRAIGHT:
            kept.append(_stretch_of(piece, first, last))
    return tuple(kept)


def _stretch_of(piece: Piece, first: float, last: float) -> Piece:
    """A piece from one place on it to another, each mm from its start; an end no further off than rounding is kept."""
    begins, ends = first > SHORTEST_STRAIGHT, last < piece.length - SHORTEST_STRAIGHT
    if not begins and not ends:
        return piece
    start = _station(piece, first) if begins else piece.start
    end = _station(piece, last) if ends else piece.end
    arc = piece.arc
    if arc is not None:
        arc = Arc.swept(arc.center, arc.normal, start.point, degrees((last - first) / arc.radius))
    return replace(piece, start=start, end=end, length=last - first, arc=arc, corner=None if ends else piece.corner)


def _station(piece: Piece, at: float) -> Station:
    """The frame on a piece, ``at`` mm from its start."""
    start, arc = piece.start, piece.arc
    if arc is None:
        return replace(start, point=along(start.point, start.direction, at))
    angle = degrees(at / arc.radius)
    way, across = (rotate(v, arc.normal, angle) for v in (start.direction, start.across))
    return _squared(Station(arc.point(angle), way, across))


def _squared(at: Station) -> Station:
    """Rounding kept from building up: direction exactly unit, across exactly square to it."""
    t = scale(at.direction, 1.0 / norm(at.direction))
    w = along(at.across, t, -dot(at.across, t))
    return Station(at.point, t, scale(w, 1.0 / norm(w)))


def _check_corners(found: list[Piece], closed: bool) -> None:
    for i, piece in enumerate(found):
        if piece.corner is None:
            continue
        number = piece.corner[2]
        follower = found[i + 1] if i + 1 < len(found) else (found[0] if closed else None)
        if follower is None or follower.arc is not None:
            raise GeometryError(f"the sharp corner at bend {number} has no straight after it")


def _joined(found: list[Piece]) -> tuple[Piece, ...]:
    """A closed run's last straight and first straight as one."""
    first, last = found[0], found[-1]
    if len(found) < 2 or first.arc is not None or last.arc is not None or last.corner is not None:
        return tuple(found)
    length = last.length + first.length
    end = replace(last.end, point=along(last.start.point, last.start.direction, length))
    return (*found[1:-1], replace(last, end=end, length=length, corner=first.corner))


def closing(found: tuple[Piece, ...]) -> tuple[float, float, float]:
    """How a closed run meets itself: gap (mm), kink (degrees), and the section's twist (degrees, -180..180).

    The twist is the angle around the section, seen in the first frame, at which the last
    frame's ``up`` arrives. A sharp corner at the closing point counts as no kink.
    """
    first, last = found[0].start, found[-1].end
    direction, across = last.direction, last.across
    if found[-1].corner is not None:
        angle, roll, _ = found[-1].corner
        normal = rotate(across, direction, roll)
        direction, across = rotate(direction, normal, angle), rotate(across, normal, angle)
    kink = norm(sub(direction, first.direction))
    return (
        distance(first.point, last.point),
        degrees(kink),
        signed_angle(first.across, across, first.direction),
    )


def slope(corner: tuple[float, float, int] | None) -> tuple[float, float]:
    """Slope of a corner's mitre plane along ``up`` and ``across`` (mm of length per mm off the axis).

    On the straight before the corner the metal ends ``slope . (p, q)`` before the corner's
    point; on the straight after it, it starts as much after it.
    """
    if corner is None:
        return 0.0, 0.0
    k, a = tan(radians(corner[0]) / 2.0), radians(corner[1])
    return k * cos(a), k * sin(a)
