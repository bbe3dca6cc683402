"""Cuts that lie in one plane, which a saw makes: mitres, planes, and ends on the flat of a mate.

A tube that stands square on a flat is cut square there, the trade's way: where it is wider than the flat, the mate's
corner radii c leave it open by c - sqrt(c^2 - y^2), y being how far the tube reaches past the end of the flat (the
sagitta of a circle, elementary); a tube as wide as its mate is left open by the whole radius.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, degrees, radians, sqrt

import numpy as np

from converter.geometry.vectors import Vec, along, angle_between, cross, dot, norm, scale, sub
from converter.joints.cuts.lines import Branch, ObstaclePart
from converter.joints.cuts.saddle import Cut, HalfSpace, angles
from converter.joints.cuts.square import RectPrism

#: Degrees by which a cut may lean and still be square: a tenth of a millimetre across 50 mm tube, no source.
SQUARE = 0.1
#: mm; a cut that strays no further from a plane lies in it.
_IN_PLANE = 1e-6
#: mm; flats no further apart are flush: below what tube is made to.
_FLUSH = 0.05
#: mm; tubes this much wider than a mate are as wide as it: below what tube is made to.
_AS_WIDE = 0.05
#: Share of a tube's width that must stand on the flat for a square cut: common practice, no source.
_LEAST_ON_FLAT = 0.5


@dataclass(frozen=True, slots=True)
class Flat:
    """A flat of a mate that an end lands on squarely.

    Attributes:
        plane: where the end stops, the weld gap before the flat.
        corner_gap: what a square cut leaves open to the mate's corner radii along the tube, at most, the weld gap
            counted; 0 where the tube is no wider than the flat, mm.
        fits: whether the flat carries enough of the tube for a square cut.
    """

    plane: HalfSpace
    corner_gap: float
    fits: bool

    def is_flush(self, other: Flat | None) -> bool:
        """Whether another flat lies in the same plane."""
        if other is None:
            return False
        off = abs(dot(sub(other.plane.point, self.plane.point), self.plane.normal))
        return off <= _FLUSH and dot(other.plane.normal, self.plane.normal) > cos(radians(SQUARE))


def flat_under(branch: Branch, part: ObstaclePart, gap: float) -> Flat | None:
    """The flat that an end lands on squarely, or None.

    Args:
        branch: the end.
        part: a straight mate, the weld gap added to its outside.
        gap: the weld gap, mm.
    """
    if not isinstance(part, RectPrism):
        return None
    across = cross(part.axis, part.up)
    for face, half, aside, wide in (
        (part.up, part.half_up, across, part.half_across),
        (across, part.half_across, part.up, part.half_up),
    ):
        lean = dot(face, branch.direction)
        if abs(lean) < cos(radians(SQUARE)):
            continue
        outward = scale(face, -1.0 if lean > 0.0 else 1.0)  # out of the mate, toward the tube
        plane = HalfSpace(along(part.point, outward, half), scale(outward, -1.0))
        flat, corner = wide - part.corner, part.corner - gap
        off = branch.lines(angles()).along(part.point, aside)
        low, high = float(off.min()), float(off.max())
        past = max(high, -low) - flat
        if past > corner + _AS_WIDE:
            return None  # part of it would pass beside the mate
        past = min(past, corner)
        open_ = gap + corner - sqrt(corner * corner - past * past) if past > _IN_PLANE else 0.0
        on_flat = min(high, flat) - max(low, -flat)
        middle = (low + high) / 2.0
        return Flat(plane, open_, abs(middle) <= flat and on_flat > _LEAST_ON_FLAT * (high - low))
    return None


def plane_of(cut: Cut) -> HalfSpace | None:
    """The plane that the whole cut lies in, facing out of the tube, or None."""
    if len(cut.mates) != 1 or len(cut.mates[0]) != 1:
        return None
    part = cut.mates[0][0]
    if isinstance(part, HalfSpace):
        return part
    if not isinstance(part, RectPrism):
        return None
    lines = cut.branch.lines(angles(5.0))
    reached, met = cut.reach(lines)
    if not bool(met.all()):
        return None
    across = cross(part.axis, part.up)
    for face, half in ((part.up, part.half_up), (across, part.half_across)):
        lean = dot(face, cut.branch.direction)
        if abs(lean) < 1e-6:
            continue
        outward = scale(face, -1.0 if lean > 0.0 else 1.0)
        plane = HalfSpace(along(part.point, outward, half), scale(outward, -1.0))
        if float(np.abs(plane.stops(lines)[0] - reached).max()) <= _IN_PLANE:
            return plane
    return None


def from_square(plane: HalfSpace, direction: Vec) -> float:
    """Degrees that a saw is turned from square to cut a tube along a plane: 0 for a cut square to the tube."""
    lean = angle_between(plane.normal, direction)
    lean = min(lean, 180.0 - lean)
    return 0.0 if lean < degrees(1e-9) else lean


def long_side(plane: HalfSpace, direction: Vec) -> Vec | None:
    """Unit vector from the axis to the middle of the side where the metal reaches furthest; None for a square cut."""
    ahead = dot(plane.normal, direction)
    lean = along(plane.normal, direction, -ahead)
    size = norm(lean)
    if size < 1e-9:
        return None
    return scale(lean, (-1.0 if ahead > 0.0 else 1.0) / size)
