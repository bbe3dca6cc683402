"""The curves a drawing is made of. All are frozen; all lengths in mm, angles in degrees.

Line, Arc: what a tube is made of. Polyline: chords, drawn or tessellated. Spline, Ellipse:
exact descriptions from the file, fitted by the reducer. Path: parts joined head to tail by
the file itself (a bulged polyline). Every curve runs from ``start`` to ``end`` and can be
``reversed()``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import atan2, cos, degrees, isfinite, radians, sin, tau
from typing import TYPE_CHECKING, Any, TypeAlias

from converter.errors import GeometryError
from converter.geometry.vectors import Vec, along, cross, distance, dot, norm, rotate, scale, sub, unit, within_turn
from converter.limits import FARTHEST, GREATEST_RADIUS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Points: TypeAlias = NDArray[np.float64]
else:
    Points: TypeAlias = Any


def check_finite(*values: float) -> None:
    """Raise GeometryError unless all are finite (x - x is not 0 for NaN and infinities).

    The curves below ask only where the sum of their numbers is not finite, which is quicker to see.
    """
    for v in values:
        if v - v != 0.0:
            raise GeometryError("a coordinate is not a finite number", code="not-finite")


@dataclass(frozen=True, slots=True)
class Line:
    """A straight from start to end, longer than nothing."""

    start: Vec
    end: Vec

    def __post_init__(self) -> None:
        a, b = self.start, self.end
        if not isfinite(a[0] + a[1] + a[2] + b[0] + b[1] + b[2]):
            check_finite(*a, *b)
        if a == b:
            raise GeometryError("a line has no length")

    @property
    def length(self) -> float:
        """Length in mm."""
        return distance(self.start, self.end)

    @property
    def direction(self) -> Vec:
        """Unit vector from start to end."""
        return unit(sub(self.end, self.start))

    @property
    def start_direction(self) -> Vec:
        """The same, as of an arc."""
        return self.direction

    @property
    def end_direction(self) -> Vec:
        """The same, as of an arc."""
        return self.direction

    def reversed(self) -> Line:
        """The same line run from its end."""
        return Line(self.end, self.start)


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc: from ``start``, right-hand positive about ``normal``, by ``angle`` degrees.

    Attributes:
        center: centre of the circle.
        normal: unit normal of its plane; the arc turns right-hand positive about it.
        radius: > 0.
        start, end: its end points (equal for a full circle).
        angle: 0 < angle <= 360.
    """

    center: Vec
    normal: Vec
    radius: float
    start: Vec
    end: Vec
    angle: float

    def __post_init__(self) -> None:
        c, s, e = self.center, self.start, self.end
        if not isfinite(c[0] + c[1] + c[2] + s[0] + s[1] + s[2] + e[0] + e[1] + e[2] + self.radius):
            check_finite(*c, *s, *e, self.radius)
        if not self.radius > 0.0:
            raise GeometryError(f"an arc has radius {self.radius}")
        if not 0.0 < self.angle <= 360.0:
            raise GeometryError(f"an arc turns by {self.angle} degrees")

    @classmethod
    def swept(cls, center: Vec, normal: Vec, start: Vec, angle: float) -> Arc:
        """The arc from ``start`` about ``center`` and the unit ``normal`` by ``angle`` degrees (0 < angle <= 360)."""
        arm = sub(start, center)
        end = start if angle == 360.0 else along(center, rotate(arm, normal, angle), 1.0)
        return cls(center, normal, norm(arm), start, end, angle)

    @property
    def length(self) -> float:
        """Arc length in mm."""
        return self.radius * radians(self.angle)

    @property
    def start_direction(self) -> Vec:
        """Unit tangent at the start, in the sense of travel."""
        return self._tangent(self.start)

    @property
    def end_direction(self) -> Vec:
        """Unit tangent at the end, in the sense of travel."""
        return self._tangent(self.end)

    def _tangent(self, at: Vec) -> Vec:
        """Unit tangent at a point of the circle; a drawing may have very many arcs, so the products are written out."""
        n, c = self.normal, self.center
        x, y, z = at[0] - c[0], at[1] - c[1], at[2] - c[2]
        return unit((n[1] * z - n[2] * y, n[2] * x - n[0] * z, n[0] * y - n[1] * x))

    def angle_to(self, point: Vec, slack: float = 0.0) -> float:
        """Degrees in [0, 360) from the start to where a point lies around the centre, in the sense of travel.

        What lies no more than ``slack`` degrees before the start is there, no whole turn on.
        """
        x, arm = sub(self.start, self.center), sub(point, self.center)
        return within_turn(degrees(atan2(dot(arm, cross(self.normal, x)), dot(arm, x))), slack)

    def point(self, angle: float) -> Vec:
        """The point after turning ``angle`` degrees from the start."""
        return along(self.center, rotate(sub(self.start, self.center), self.normal, angle), 1.0)

    def reversed(self) -> Arc:
        """The same arc run from its end."""
        return Arc(self.center, scale(self.normal, -1.0), self.radius, self.end, self.start, self.angle)


@dataclass(frozen=True, slots=True, eq=False)
class Polyline:
    """Two or more points joined by straights.

    Attributes:
        points: (n, 3) float array, n >= 2, consecutive points differ; treat as read-only.
    """

    points: Points

    def __post_init__(self) -> None:
        shape = self.points.shape
        if len(shape) != 2 or shape[1] != 3 or shape[0] < 2:
            raise GeometryError("a polyline needs two or more points in space")
        if not isfinite(float(self.points.sum())):
            check_finite(*self.points.ravel().tolist())

    @property
    def start(self) -> Vec:
        """First point."""
        x, y, z = self.points[0].tolist()
        return (x, y, z)

    @property
    def end(self) -> Vec:
        """Last point."""
        x, y, z = self.points[-1].tolist()
        return (x, y, z)

    def reversed(self) -> Polyline:
        """The same polyline run from its end."""
        return Polyline(self.points[::-1])


@dataclass(frozen=True, slots=True, eq=False)
class Spline:
    """A clamped or unclamped B-spline, rational when it has weights.

    Attributes:
        degree: >= 1.
        control_points: (n, 3) float array.
        knots: (n + degree + 1,) non-decreasing.
        weights: (n,) positive, or None.
        start, end: the points at the ends of the parameter range [knots[degree], knots[n]].
    """

    degree: int
    control_points: Points
    knots: Points
    weights: Points | None
    start: Vec
    end: Vec

    def __post_init__(self) -> None:
        n = len(self.control_points)
        if self.degree < 1 or n < self.degree + 1 or len(self.knots) != n + self.degree + 1:
            raise GeometryError("a spline's degree, knots and control points do not agree")
        total = float(self.control_points.sum()) + float(self.knots.sum())
        if self.weights is not None:
            if len(self.weights) != n or not float(self.weights.min()) > 0.0:
                raise GeometryError("a spline's weights do not suit its control points")
            total += float(self.weights.sum())
        if not isfinite(total):
            numbers = (self.control_points, self.knots, self.weights)
            check_finite(*(v for array in numbers if array is not None for v in array.ravel().tolist()))

    def reversed(self) -> Spline:
        """The same spline run from its end."""
        knots = (self.knots[0] + self.knots[-1]) - self.knots[::-1]
        weights = None if self.weights is None else self.weights[::-1]
        return Spline(self.degree, self.control_points[::-1], knots, weights, self.end, self.start)


@dataclass(frozen=True, slots=True)
class Ellipse:
    """center + major * cos(t) + minor * sin(t), t from ``start_angle`` to ``end_angle`` in degrees.

    Attributes:
        major, minor: perpendicular half-axis vectors (either may be the longer).
        start_angle, end_angle: parameters in degrees, start < end <= start + 360.
    """

    center: Vec
    major: Vec
    minor: Vec
    start_angle: float
    end_angle: float

    def __post_init__(self) -> None:
        check_finite(*self.center, *self.major, *self.minor, self.start_angle, self.end_angle)
        if norm(self.major) == 0.0 or norm(self.minor) == 0.0:
            raise GeometryError("an ellipse has an axis of no length")
        if not self.start_angle < self.end_angle <= self.start_angle + 360.0 + 1e-9:
            raise GeometryError("an ellipse's parameters do not increase")

    def point(self, angle: float) -> Vec:
        """The point at parameter ``angle`` (degrees)."""
        t = radians(angle)
        return along(along(self.center, self.major, cos(t)), self.minor, sin(t))

    @property
    def start(self) -> Vec:
        """Point at the start parameter."""
        return self.point(self.start_angle)

    @property
    def end(self) -> Vec:
        """Point at the end parameter."""
        return self.point(self.end_angle)

    def reversed(self) -> Ellipse:
        """The same ellipse run from its end (the minor axis flips)."""
        return replace(self, minor=scale(self.minor, -1.0), start_angle=-self.end_angle, end_angle=-self.start_angle)


@dataclass(frozen=True, slots=True)
class Path:
    """Lines, arcs and polylines joined head to tail by the file itself."""

    parts: tuple[Line | Arc | Polyline, ...]

    def __post_init__(self) -> None:
        if not self.parts:
            raise GeometryError("a path of no parts")

    @property
    def start(self) -> Vec:
        """Start of the first part."""
        return self.parts[0].start

    @property
    def end(self) -> Vec:
        """End of the last part."""
        return self.parts[-1].end

    def reversed(self) -> Path:
        """The same path run from its end."""
        return Path(tuple(part.reversed() for part in reversed(self.parts)))


Curve: TypeAlias = Line | Arc | Polyline | Spline | Ellipse | Path
Segment: TypeAlias = Line | Arc


def reach(curve: Curve) -> float:
    """Largest coordinate (either sign, mm) that describes a curve; of an arc also how far it goes round."""
    if isinstance(curve, Line):
        a, b = curve.start, curve.end
        return max(abs(a[0]), abs(a[1]), abs(a[2]), abs(b[0]), abs(b[1]), abs(b[2]))
    if isinstance(curve, Polyline):
        return float(abs(curve.points).max())
    if isinstance(curve, Spline):
        return float(abs(curve.control_points).max())
    if isinstance(curve, Arc):
        return max(map(abs, (*curve.start, *curve.end, curve.length / tau)))
    if isinstance(curve, Ellipse):
        return max(map(abs, curve.center)) + norm(curve.major) + norm(curve.minor)
    return max(map(reach, curve.parts))


def too_far(mm: float) -> GeometryError:
    """What refuses a curve that reaches so far away, or farther than numbers hold."""
    how = f"{mm:.3g} mm away" if isfinite(mm) else "beyond what numbers hold"
    return GeometryError(f"it reaches {how}", code="too-far")


def check_reach(curve: Curve) -> None:
    """Refuse a curve that no drawing of tubes holds, and that arithmetic would choke on.

    Raises:
        GeometryError: with the code 'too-far': a coordinate beyond `converter.limits.FARTHEST`, or a radius beyond
            `converter.limits.GREATEST_RADIUS`.
    """
    far = reach(curve)
    if not far <= FARTHEST:
        raise too_far(far)
    for part in curve.parts if isinstance(curve, Path) else (curve,):
        if isinstance(part, Arc) and not part.radius <= GREATEST_RADIUS:
            raise GeometryError(f"it has a radius of {part.radius:.3g} mm", code="too-far")
