"""Cuts that lie in one plane, which a saw makes: mitres, planes, and ends on the flat of a mate.

A tube that stands square on a flat is cut square there, the trade's way: where it is wider than the flat, the mate's
corner radii c leave it open by c - sqrt(c^2 - y^2), y being how far the tube reaches past the end of the flat (the
sagitta of a circle, elementary); a tube as wide as its mate is left open by the whole radius. One that leans along its
mate, as a rail between the posts of a stair does, is sawn at a slant there, and along it the same gap is longer by one
over the sine of the angle between the axes. Of mates that lie side by side, their flats flush, one plane serves for all
that stands square; at each edge between them it is left open by the whole radius.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product
from math import cos, degrees, radians, sin

import numpy as np

from converter.arrays import Array, Flags
from converter.geometry.vectors import Vec, along, angle_between, cross, dot, norm, scale, sub
from converter.joints.cuts.lines import Branch, ObstaclePart
from converter.joints.cuts.saddle import Cut, HalfSpace, angles
from converter.joints.cuts.square import RectPrism

#: Degrees by which a cut may lean and still be square: a tenth of a millimetre across 50 mm tube, no source.
SQUARE = 0.1
#: Sine below which an axis runs along a face.
_LEAST_LEAN = 1e-6
#: mm; a cut that strays no further from a plane lies in it.
_IN_PLANE = 1e-6
#: Planes that one end is sawn along at most.
_MOST_PLANES = 4
#: mm; flats no further apart are flush: below what tube is made to.
_FLUSH = 0.05
#: mm; tubes this much wider than a mate are as wide as it: below what tube is made to.
_AS_WIDE = 0.05
#: Share of a tube's width that must stand on the flat for a square cut: common practice, no source.
_LEAST_ON_FLAT = 0.5


@dataclass(frozen=True, slots=True)
class Flat:
    """A flat of a mate that an end lands on, square to it or leaning along the mate.

    Attributes:
        plane: where the end stops, the weld gap before the flat.
        stop: what stops it there: that plane; of an end at a slant the mate without its corner radii.
        is_square: whether the end lands square.
        corner_gap: what a cut along it leaves open to the mate's corner radii along the tube, at most, the weld gap
            counted; 0 where the tube is no wider than the flat, mm.
        fits: whether the flat carries enough of the tube for such a cut.
        between: percent of the end that comes down between mates side by side, on neither.
    """

    plane: HalfSpace
    stop: ObstaclePart
    is_square: bool
    corner_gap: float
    fits: bool
    between: float = 0.0

    def is_flush(self, other: Flat | None) -> bool:
        """Whether another flat lies in the same plane."""
        if other is None:
            return False
        return _flush(self.plane, other.plane)


@dataclass(frozen=True, slots=True)
class _Face:
    """A flat of a mate that an end points at, square to it or leaning along the mate.

    Attributes:
        plane: where the end stops; sharp: the mate without its corner radii; aside: unit direction across the face.
        rise: sine of the angle between the end's axis and the face, 1 where it lands square.
        off: (n,) how far from the middle of the face each line of the end's outside lies, mm.
        flat, corner: half width of the flat, and the corner radius beside it (the weld gap taken off), mm.
    """

    plane: HalfSpace
    sharp: RectPrism
    aside: Vec
    rise: float
    off: Array
    flat: float
    corner: float

    @property
    def is_square(self) -> bool:
        """Whether the end lands square on it."""
        return self.rise >= cos(radians(SQUARE))

    @property
    def over_mate(self) -> Flags:
        """(n,) which lines come down on the mate."""
        value: Flags = np.abs(self.off) <= self.flat + self.corner + _AS_WIDE
        return value

    def alone(self, gap: float) -> Flat | None:
        """What an end on this face alone stands on; None where a part of it would pass beside the mate, and of an end
        at a slant that keeps to the flat: the mate itself cuts that in a plane, as far as it reaches."""
        left_open = float(self.left_open(gap).max())
        if not bool(self.over_mate.all()) or not (self.is_square or left_open > 0.0):
            return None
        low, high = float(self.off.min()), float(self.off.max())
        on_flat = min(high, self.flat) - max(low, -self.flat)
        middle = (low + high) / 2.0
        fits = abs(middle) <= self.flat and on_flat > _LEAST_ON_FLAT * (high - low)
        return Flat(self.plane, self.plane if self.is_square else self.sharp, self.is_square, left_open, fits)

    def left_open(self, gap: float) -> Array:
        """(n,) how far a cut along it stays off the mate, along the tube: nothing on the flat, the whole radius past
        its side."""
        past = np.clip(np.abs(self.off) - self.flat, 0.0, self.corner)
        open_ = gap + self.corner - np.sqrt(self.corner * self.corner - past * past)
        value: Array = np.where(past > _IN_PLANE, open_ / self.rise, 0.0)
        return value

    def is_flush(self, other: _Face) -> bool:
        """Whether the other face lies in the same plane."""
        return _flush(self.plane, other.plane)


def flats_under(branch: Branch, parts: Sequence[ObstaclePart | None], gap: float) -> list[Flat | None]:
    """For each mate the flat that an end lands on, or None; square on flush flats it may stand together.

    Args:
        branch: the end.
        parts: straight mates, the weld gap added to their outsides; None for others.
        gap: the weld gap, mm.
    """
    faces = [None if part is None else _face_under(branch, part, gap) for part in parts]
    if not any(faces):
        return [None] * len(faces)
    flats = [None if face is None else face.alone(gap) for face in faces]
    over = [(i, face) for i, face in enumerate(faces) if face is not None and face.is_square and face.over_mate.any()]
    for _, first in over:
        flush = [(i, face) for i, face in over if first.is_flush(face)]
        if len(flush) < 2:
            continue
        whole = next((flat for i, _ in flush if (flat := flats[i]) is not None and flat.fits), None)
        whole = whole or _together([face for _, face in flush], gap)
        for i, _ in flush if whole is not None else ():
            one = flats[i]
            flats[i] = one if one is not None and one.fits else whole
    return flats


def _together(faces: Sequence[_Face], gap: float) -> Flat | None:
    """What an end stands on that reaches over several flush faces; None where a part of it passes beside them all."""
    over: Flags = np.logical_or.reduce([face.over_mate for face in faces])
    between, edges = np.zeros(over.shape, dtype=np.bool_), 0.0
    for one, other in permutations(faces, 2):
        way = dot(one.aside, other.aside)
        if abs(way) < cos(radians(SQUARE)):
            continue
        apart = float((one.off - way * other.off).mean())  # of their middles
        toward = one.off if apart > 0.0 else -one.off
        between |= (toward > 0.0) & (toward < abs(apart))
        if float(toward.max()) >= one.flat + one.corner:
            edges = max(edges, gap + one.corner)
    if not bool((over | between).all()):
        return None
    on_flat = np.flatnonzero(np.array([np.abs(face.off) <= face.flat for face in faces]).any(axis=0))
    if len(on_flat) <= _LEAST_ON_FLAT * len(over):
        return None
    left_open = np.array([np.where(face.over_mate, face.left_open(gap), np.inf) for face in faces]).min(axis=0)
    # it stands on both sides of its middle: no half of its outside is without a flat
    gaps = np.diff(np.append(on_flat, on_flat[0] + len(over)))
    fits = int(gaps.max()) <= len(over) // 2
    beside = 100.0 * float(np.count_nonzero(~over)) / len(over)
    return Flat(faces[0].plane, faces[0].plane, True, max(edges, float(left_open[over].max())), fits, beside)


def _flush(one: HalfSpace, other: HalfSpace) -> bool:
    off = abs(dot(sub(other.point, one.point), one.normal))
    return off <= _FLUSH and dot(other.normal, one.normal) > cos(radians(SQUARE))


def _face_under(branch: Branch, part: ObstaclePart, gap: float) -> _Face | None:
    """The face of a straight mate that an end points at without leaning across it, or None."""
    if not isinstance(part, RectPrism):
        return None
    across = cross(part.axis, part.up)
    for face, half, aside, wide in (
        (part.up, part.half_up, across, part.half_across),
        (across, part.half_across, part.up, part.half_up),
    ):
        lean = dot(face, branch.direction)
        if abs(dot(aside, branch.direction)) > sin(radians(SQUARE)) or abs(lean) < _LEAST_LEAN:
            continue
        outward = scale(face, -1.0 if lean > 0.0 else 1.0)  # out of the mate, toward the tube
        plane = HalfSpace(along(part.point, outward, half), scale(outward, -1.0))
        off = branch.lines(angles()).along(part.point, aside)
        more_up, more_across = (0.0, _AS_WIDE) if face is part.up else (_AS_WIDE, 0.0)  # what counts as no wider
        half_up, half_across = part.half_up + more_up, part.half_across + more_across
        sharp = replace(part, half_up=half_up, half_across=half_across, corner=0.0)
        return _Face(plane, sharp, aside, abs(lean), off, wide - part.corner, part.corner - gap)
    return None


def plane_of(cut: Cut) -> HalfSpace | None:
    """The plane that the whole cut lies in, facing out of the tube, or None."""
    if len(cut.mates) != 1 or len(cut.mates[0]) != 1:
        return None
    part = cut.mates[0][0]
    if isinstance(part, HalfSpace):
        return part
    faces = _faces(part, cut.branch.direction)
    if not faces:
        return None
    lines = cut.branch.lines(angles(5.0))
    reached, met = cut.reach(lines)
    if not bool(met.all()):
        return None
    return next((plane for plane in faces if np.abs(plane.stops(lines)[0] - reached).max() <= _IN_PLANE), None)


def planes_of(cut: Cut) -> tuple[HalfSpace, ...]:
    """The planes that make up an end that is cut to several mates, one for each, facing out of the tube; () for others.

    A line along the tube stops at the plane that it meets first; each plane stops some.
    """
    faces = [_faces(mate[0], cut.branch.direction) if len(mate) == 1 else () for mate in cut.mates]
    if not 1 < len(faces) <= _MOST_PLANES or not all(faces):
        return ()
    lines = cut.branch.lines(angles(5.0))
    reached, met = cut.reach(lines)
    if not bool(met.all()):
        return ()
    for planes in product(*faces):
        stops = np.array([plane.stops(lines)[0] for plane in planes])
        if float(np.abs(stops.max(axis=0) - reached).max()) <= _IN_PLANE:
            return planes if bool((np.abs(stops - reached) <= _IN_PLANE).any(axis=1).all()) else ()
    return ()


def _faces(part: ObstaclePart, direction: Vec) -> tuple[HalfSpace, ...]:
    """The planes of a part that an end may stop at: the part itself, or the sides of a rectangle that face the end."""
    if isinstance(part, HalfSpace):
        return (part,)
    if not isinstance(part, RectPrism):
        return ()
    across = cross(part.axis, part.up)
    found = []
    for face, half in ((part.up, part.half_up), (across, part.half_across)):
        lean = dot(face, direction)
        if abs(lean) >= _LEAST_LEAN:
            outward = scale(face, -1.0 if lean > 0.0 else 1.0)
            found.append(HalfSpace(along(part.point, outward, half), scale(outward, -1.0)))
    return tuple(found)


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
