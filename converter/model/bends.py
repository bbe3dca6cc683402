"""The bend table: feed, rotation, angle per bend, and the tail.

Conventions (lengths mm, angles degrees): ``feed`` is the straight from the end of the
previous bend (or end A) to the start of this one; ``rotation`` is the roll of the bend
plane since the previous bend, right-hand positive about the direction of feed, in
(-180, 180], the first being 0; ``angle`` is the deflection, 0 < angle < 360; ``clr`` the
centerline radius, None only for a sharp corner that nothing gives a radius (then the
neighbouring straights run to the corner itself).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from math import isfinite, radians

from converter.errors import GeometryError
from converter.geometry.vectors import Vec, any_normal, cross, dot, norm
from converter.limits import FARTHEST, GREATEST_RADIUS


@dataclass(frozen=True, slots=True)
class Bend:
    """One row of the table.

    Attributes:
        feed: mm; may be 0; negative only as the honest result of a refit that does not fit.
        rotation: degrees in (-180, 180].
        angle: degrees, 0 < angle < 360.
        clr: mm > 0, at most `converter.limits.GREATEST_RADIUS`, or None for a sharp corner.
        clr_uncertainty: +- mm within which the true radius lies; 0 for an exact arc.
        corner: True when it was drawn as a sharp corner between straights (its clr, if any, came from a
            die or an option). A kink beside an arc is False with clr None.
        handle: entity handle(s) it was drawn by, or None.
        layer: layer it was drawn on, or None.
    """

    feed: float
    rotation: float
    angle: float
    clr: float | None
    clr_uncertainty: float = 0.0
    corner: bool = False
    handle: str | None = None
    layer: str | None = None

    def __post_init__(self) -> None:
        if not isfinite(self.feed) or not isfinite(self.rotation) or not isfinite(self.angle):
            raise GeometryError("a bend has a value that is not a finite number", code="not-finite")
        if not -180.0 < self.rotation <= 180.0:
            raise GeometryError(f"rotation {self.rotation} is outside (-180, 180]")
        if not 0.0 < self.angle < 360.0:
            raise GeometryError(f"angle {self.angle} is outside (0, 360)")
        if self.clr is not None and not (isfinite(self.clr) and self.clr > 0.0):
            raise GeometryError(f"radius {self.clr} is not above zero")
        if self.clr is not None and self.clr > GREATEST_RADIUS:
            most = f"{GREATEST_RADIUS / 1e6:,.0f} km"
            raise GeometryError(f"a bend's radius of {self.clr:.3g} mm is larger than {most}", code="too-far")

    def moved(self, feed: float, clr: float | None, clr_uncertainty: float) -> Bend:
        """The same bend after another straight and on another radius; a drawing may have very many."""
        return Bend(feed, self.rotation, self.angle, clr, clr_uncertainty, self.corner, self.handle, self.layer)

    def rolled(self, feed: float, rotation: float) -> Bend:
        """The same bend after another straight and another rotation."""
        of = self.clr, self.clr_uncertainty, self.corner, self.handle, self.layer
        return Bend(feed, rotation, self.angle, *of)

    @property
    def arc_length(self) -> float:
        """Centerline length of the bend; 0 for a sharp corner."""
        return 0.0 if self.clr is None else self.clr * radians(self.angle)


@dataclass(frozen=True, slots=True)
class BendTable:
    """Bends from end A to end B, and the straight after the last one."""

    bends: tuple[Bend, ...]
    tail: float

    def __post_init__(self) -> None:
        if not isfinite(self.tail):
            raise GeometryError("the tail is not a finite number", code="not-finite")
        length = self.developed_length
        if not abs(length) <= FARTHEST:
            raise GeometryError(f"a tube of {length:.3g} mm is longer than {FARTHEST / 1e6:,.0f} km", code="too-far")

    @property
    def developed_length(self) -> float:
        """Sum of feeds, arcs and tail, in mm."""
        return sum(b.feed + b.arc_length for b in self.bends) + self.tail

    @property
    def straight_starts(self) -> tuple[float, ...]:
        """Where each of the ``straights`` begins, mm from end A along the centerline."""
        steps = (bend.feed + bend.arc_length for bend in self.bends)
        return tuple(accumulate(steps, initial=0.0))

    @property
    def straights(self) -> tuple[float, ...]:
        """The n + 1 straights of n bends: every feed, then the tail."""
        return (*(b.feed for b in self.bends), self.tail)


@dataclass(frozen=True, slots=True)
class Placement:
    """Where end A stands and how the tube leaves it.

    Attributes:
        start: the centerline's point at end A.
        direction: unit direction of travel at end A.
        normal: unit normal of the first bend's plane, perpendicular to ``direction``; the first
            bend turns right-hand positive about it. For a straight: any perpendicular.
    """

    start: Vec = (0.0, 0.0, 0.0)
    direction: Vec = (1.0, 0.0, 0.0)
    normal: Vec = (0.0, 0.0, 1.0)

    def __post_init__(self) -> None:
        if not isfinite(sum(self.start)):
            raise GeometryError("a tube begins at a coordinate that is not a finite number", code="not-finite")
        if not max(map(abs, self.start)) <= FARTHEST:
            raise GeometryError(f"a tube begins farther than {FARTHEST / 1e6:,.0f} km from the origin", code="too-far")
        if abs(norm(self.direction) - 1.0) > 1e-6 or abs(norm(self.normal) - 1.0) > 1e-6:
            raise GeometryError("a placement's directions must be unit vectors")
        if abs(dot(self.direction, self.normal)) > 1e-6:
            raise GeometryError("a placement's normal must be perpendicular to its direction")

    @classmethod
    def leaving(cls, start: Vec, direction: Vec) -> Placement:
        """A placement with an arbitrary, repeatable normal (for straights)."""
        return cls(start, direction, any_normal(direction))

    @property
    def toward(self) -> Vec:
        """Unit vector from end A toward the inside of the first bend."""
        return cross(self.normal, self.direction)
