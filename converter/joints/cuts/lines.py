"""The end of a tube as a bundle of lines: one along the tube for each angle around it.

A cut is told by one length per line: how far back from the centerline's end point the metal
stops. ``phi`` counts around the tube from the zero line, right-hand positive about the
direction that points out of the end. Angles in degrees in public values, lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol, TypeAlias

import numpy as np

from converter.arrays import Array, Flags, distinct
from converter.errors import GeometryError
from converter.geometry.vectors import Vec, along, any_normal, cross, dot, signed_angle, sub
from converter.model.section import Outline, Section

#: Lines over a wall: degrees around and mm across between them, and how many there are across at most.
_AROUND, _ACROSS, _MOST_ACROSS = 0.5, 0.5, 33
#: Half-space: point and outward normal; inside is (x - point) . normal <= 0.
Bound: TypeAlias = tuple[Vec, Vec]


class NoCutError(GeometryError):
    """A tube lies so that no cut joins it to what it ends on.

    Attributes:
        variant: of the 'joint-parallel' finding that says so.
    """

    default_code = "parallel"

    def __init__(self, variant: str, message: str) -> None:
        super().__init__(message)
        self.variant = variant


@dataclass(frozen=True)
class Branch:
    """The end of the tube that is cut.

    Attributes:
        point: the centerline's end point.
        direction: unit vector that points out of the end.
        zero: unit vector from the axis to the zero line.
        section: the tube's section.
        up: the section's height direction at that end (no matter when round).
    """

    point: Vec
    direction: Vec
    zero: Vec
    section: Section
    up: Vec | None = None

    @classmethod
    def at(cls, point: Vec, direction: Vec, section: Section, zero: Vec | None = None, up: Vec | None = None) -> Branch:
        """A branch with an arbitrary, repeatable zero line unless one is given."""
        return cls(point, direction, zero or any_normal(direction), section, up)

    @cached_property
    def side(self) -> Vec:
        """Unit vector from the axis to the line at phi = 90."""
        return cross(self.direction, self.zero)

    @cached_property
    def turn_rad(self) -> float:
        """Angle from the section's height direction to the zero line about the outward direction, radians."""
        return 0.0 if self.up is None else float(np.radians(signed_angle(self.up, self.zero, self.direction)))

    def radii(self, phi_rad: Array, bore: bool) -> Array | float:
        """Distance of the outside (or the bore) from the axis at each angle, mm; the bore of a bar is its axis."""
        outline = self.section.bore if bore else self.section.outer
        if outline is None:
            return 0.0
        if outline.radius is not None:
            return outline.radius
        return outline_radii(outline, phi_rad + self.turn_rad)

    def lines(self, phi: Array, bore: bool = False) -> ParallelLines:
        """The lines along the outside, or along the bore, at the angles ``phi`` (degrees)."""
        rad = np.radians(phi)
        radii = self.radii(rad, bore)
        return ParallelLines(self, radii * np.cos(rad), radii * np.sin(rad))

    def outermost(self, way: Vec, bore: bool = False) -> ParallelLines:
        """The two lines of the outside, or of the bore, that lie furthest along a unit vector and against it.

        Args:
            way: unit vector square to the direction.
            bore: of the bore; that of a bar is its axis.
        """
        outline = self.section.bore if bore else self.section.outer
        if outline is None:
            return self.axis()
        height, width, corner = outline.halves
        turn = self.turn_rad
        c, s = dot(way, self.zero), dot(way, self.side)
        # along the height direction and square to it, as of `outline_radii`
        up, aside = c * np.cos(turn) - s * np.sin(turn), c * np.sin(turn) + s * np.cos(turn)
        v = corner * up + np.copysign(height - corner, up)
        w = corner * aside + np.copysign(width - corner, aside)
        p, q = v * np.cos(turn) + w * np.sin(turn), w * np.cos(turn) - v * np.sin(turn)
        return ParallelLines(self, np.array((p, -p)), np.array((q, -q)))

    def axis(self) -> ParallelLines:
        """The tube's axis as the only line."""
        return ParallelLines(self, np.zeros(1), np.zeros(1))

    def wall_lines(self) -> tuple[ParallelLines, float]:
        """Lines all over the wall, and how far any other line in it is from one of them at most, mm."""
        rad = np.radians(np.arange(0.0, 360.0, _AROUND))
        outer, inner = (np.broadcast_to(self.radii(rad, bore), rad.shape) for bore in (False, True))
        count = min(max(3, int(float((outer - inner).max()) / _ACROSS) + 2), _MOST_ACROSS)
        r = inner + np.linspace(0.0, 1.0, count)[:, None] * (outer - inner)
        p, q = r * np.cos(rad), r * np.sin(rad)
        # of four lines around a place the nearest is no further than half their greatest distance; curved a bit further
        corners = [(np.roll(v, i, axis=1)[j : count - 1 + j]) for v in (p, q) for i in (0, -1) for j in (0, 1)]
        (p00, p01, p10, p11), (q00, q01, q10, q11) = corners[:4], corners[4:]
        apart = max(float(np.hypot(p11 - p00, q11 - q00).max()), float(np.hypot(p10 - p01, q10 - q01).max()))
        return ParallelLines(self, p.ravel(), q.ravel()), 0.6 * apart

    def half_width(self) -> float:
        """The furthest the outside reaches from the axis, mm."""
        return self.section.outer.half_diagonal


@dataclass(frozen=True)
class ParallelLines:
    """Lines parallel to a branch: at length ``t`` a line is at its start - t * direction.

    Attributes:
        branch: whose.
        p, q: (n,) offsets from the axis along the branch's zero and side directions, mm.
    """

    branch: Branch
    p: Array
    q: Array

    def along(self, origin: Vec, v: Vec) -> Array:
        """(start - origin) . v of every line, (n,)."""
        branch = self.branch
        value: Array = self.p * dot(branch.zero, v) + self.q * dot(branch.side, v) + dot(sub(branch.point, origin), v)
        return value

    def squared(self, origin: Vec) -> Array:
        """Squared distance of every line's start from a point, (n,)."""
        branch = self.branch
        value: Array = sum(self.along(origin, v) ** 2 for v in (branch.direction, branch.zero, branch.side))  # type: ignore[assignment]
        return value


def outline_radii(outline: Outline, psi_rad: Array) -> Array:
    """Distance of an outline from its centre, mm.

    Args:
        outline: of the outside or the bore.
        psi_rad: (n,) angles from the height direction, radians.
    """
    a, b, corner = outline.halves
    c, s = np.abs(np.cos(psi_rad)), np.abs(np.sin(psi_rad))
    # corners that leave no flat make 0 / 0 in its middle: fmin takes the other
    with np.errstate(divide="ignore", invalid="ignore"):
        best: Array = np.maximum(
            np.fmin(a / c, (b - corner) / s),
            np.fmin((a - corner) / c, b / s),
        )
    if corner > 0.0:
        x, y = a - corner, b - corner
        ahead = x * c + y * s
        room = corner * corner - (x * s - y * c) ** 2
        best = np.maximum(best, np.where(room >= 0.0, ahead + np.sqrt(np.maximum(room, 0.0)), 0.0))
    return best


def corner_angles(outline: Outline, turn: float) -> Array:
    """Angles from the zero line at which flats end.

    Args:
        outline: not a circle.
        turn: degrees from its height direction to the zero line.

    Returns:
        Up to eight angles, degrees in [0, 360).
    """
    a, b, r = outline.halves
    quarter = np.degrees(np.array([np.arctan2(b - r, a), np.arctan2(b, a - r)]))
    full = np.concatenate((quarter, 180.0 - quarter, 180.0 + quarter, 360.0 - quarter))
    value: Array = distinct((full - turn) % 360.0)
    return value


class ObstaclePart(Protocol):
    """A piece of what stands in a tube's way."""

    def stops(self, lines: ParallelLines, stopped: Flags | None = None) -> tuple[Array, Flags, Array]:
        """Where the lines first meet the part on their way out of the tube.

        Args:
            lines: through the metal of the tube.
            stopped: of which lines nobody asks where they pass closest, for other parts stop them.

        Returns:
            (t, hit, beside): the greatest length at which each line enters the part (valid where
            ``hit``), and the length at which a line that misses it passes closest.
        """
        ...

    def holds(self, lines: ParallelLines, t: Array) -> Flags:
        """Whether the places at the lengths ``t`` of the lines lie inside the part."""
        ...

    def grown(self, by: float) -> ObstaclePart:
        """The part with its outside moved out by so many mm: it holds all that is no further from this one.

        Moved in, below 0: all that it holds is at least so deep in this one.
        """
        ...


def moved_out(bounds: tuple[Bound, ...], by: float) -> tuple[Bound, ...]:
    """Half-spaces with their planes moved out by so many mm."""
    return tuple((along(point, normal, by), normal) for point, normal in bounds)


def within(lines: ParallelLines, t: Array, bounds: tuple[Bound, ...]) -> Flags:
    """Whether the places at the lengths ``t`` of the lines lie in all half-spaces."""
    inside = np.ones(t.shape, dtype=np.bool_)
    for point, normal in bounds:
        inside &= lines.along(point, normal) - t * dot(normal, lines.branch.direction) <= 0.0
    return inside


def clipped(
    lines: ParallelLines, low: Array, high: Array, hit: Flags, bounds: tuple[Bound, ...]
) -> tuple[Array, Array, Flags]:
    """Intervals of lengths cut down to half-spaces.

    Args:
        lines: the lines.
        low, high: (n,) where each line is inside a convex part.
        hit: (n,) whether it is at all.
        bounds: the half-spaces.
    """
    for point, normal in bounds:
        ahead = dot(normal, lines.branch.direction)
        start = lines.along(point, normal)
        # the line is at start - t * ahead beyond the plane
        if abs(ahead) < 1e-12:
            hit = hit & (start <= 1e-9)
        elif ahead > 0.0:
            low = np.maximum(low, start / ahead)
        else:
            high = np.minimum(high, start / ahead)
    return low, high, hit & (low <= high)


def end_on(lines: ParallelLines, inside: Flags, bounds: tuple[Bound, ...]) -> tuple[Array, Flags, Array]:
    """Where lines that run lengthwise in a mate meet its end.

    Args:
        lines: the lines; inside: (n,) whether each lies within the mate's outside.
        bounds: half-spaces that end the mate.

    Raises:
        NoCutError: nothing ends the mate on that side.
    """
    wide = np.full(inside.shape, np.inf)
    _, high, hit = clipped(lines, -wide, wide, inside, bounds)
    if bool(np.isinf(high[hit]).any()) or not bounds:
        raise NoCutError("mate", "the tube and the one it is cut to are parallel, so no cut joins them")
    high = np.where(hit, high, 0.0)
    return high, hit, high
