"""Block placements: affine maps, and what they make of each kind of curve.

A map that keeps shape sends arcs to arcs. Any other map sends an arc to an ellipse, given
by two conjugate half-diameters; their principal axes follow from tan 2t = 2 a.b / (a.a - b.b)
(the stationary values of |a cos t + b sin t|, textbook).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, degrees, pi, sin
from typing import Any

import numpy as np

from converter.geometry.vectors import Vec, add, cross, dot, norm, scale, sub
from converter.importers.dxf.left_out import LeftOut
from converter.model.curve import Arc, Curve, Ellipse, Line, Path, Polyline, Spline

#: two half-diameters this close (relative) to equal and perpendicular make a circle: far below any
#: drawing's own rounding, far above that of a few matrix products
_ROUND = 1e-9


@dataclass(frozen=True, slots=True)
class Affine:
    """p -> x*p[0] + y*p[1] + z*p[2] + origin.

    Attributes:
        x, y, z: images of the unit vectors.
        origin: image of the origin, mm.
    """

    x: Vec = (1.0, 0.0, 0.0)
    y: Vec = (0.0, 1.0, 0.0)
    z: Vec = (0.0, 0.0, 1.0)
    origin: Vec = (0.0, 0.0, 0.0)

    def direction(self, v: Vec) -> Vec:
        """The image of a difference of points."""
        a, b, c = v
        x, y, z = self.x, self.y, self.z
        return (
            x[0] * a + y[0] * b + z[0] * c,
            x[1] * a + y[1] * b + z[1] * c,
            x[2] * a + y[2] * b + z[2] * c,
        )

    def point(self, p: Vec) -> Vec:
        """The image of a point."""
        return add(self.direction(p), self.origin)

    def points(self, array: Any) -> Any:
        """The images of points, shape (n, 3)."""
        return array @ np.array((self.x, self.y, self.z)) + np.array(self.origin)


def transform(curve: Curve, m: Affine) -> tuple[Curve, ...]:
    """The image of a curve; a path falls into its parts when arcs in it become ellipses.

    Raises:
        LeftOut: its image has no length.
    """
    if isinstance(curve, Line):
        return (Line(m.point(curve.start), m.point(curve.end)),)
    if isinstance(curve, Arc):
        return (_arc(curve, m),)
    if isinstance(curve, Polyline):
        return (Polyline(m.points(curve.points)),)
    if isinstance(curve, Spline):
        points = m.points(curve.control_points)
        return (Spline(curve.degree, points, curve.knots, curve.weights, m.point(curve.start), m.point(curve.end)),)
    if isinstance(curve, Ellipse):
        return (
            _conic(
                m.point(curve.center),
                m.direction(curve.major),
                m.direction(curve.minor),
                curve.start_angle,
                curve.end_angle,
            ),
        )
    parts: list[Curve] = []
    for part in curve.parts:
        parts.extend(transform(part, m))
    kept = tuple(part for part in parts if isinstance(part, (Line, Arc, Polyline)))
    return (Path(kept),) if len(kept) == len(parts) else tuple(parts)


def _arc(arc: Arc, m: Affine) -> Curve:
    arm = sub(arc.start, arc.center)
    a = m.direction(arm)
    b = m.direction(cross(arc.normal, arm))
    image = _conic(m.point(arc.center), a, b, 0.0, arc.angle)
    if isinstance(image, Arc):
        # the drawn ends go through exactly, so that neighbours still meet
        start, end = m.point(arc.start), m.point(arc.end)
        return Arc(image.center, image.normal, image.radius, start, end, image.angle)
    return image


def _conic(center: Vec, a: Vec, b: Vec, start: float, end: float) -> Arc | Ellipse:
    """center + a cos t + b sin t for t from start to end (degrees), as an arc when it is one."""
    aa, bb, ab = dot(a, a), dot(b, b), dot(a, b)
    n = cross(a, b)
    size = norm(n)
    if size <= 1e-12 * max(aa, bb):
        raise LeftOut("an arc seen edge on after scaling, it has no width")
    if abs(ab) <= _ROUND * aa and abs(aa - bb) <= _ROUND * aa:
        normal = scale(n, 1.0 / size)
        radius = norm(a)
        return Arc(
            center,
            normal,
            radius,
            _on(center, a, b, start),
            _on(center, a, b, end if end - start < 360.0 else start),
            min(end - start, 360.0),
        )
    t = 0.5 * atan2(2.0 * ab, aa - bb)
    c, s = cos(t), sin(t)
    major = add(scale(a, c), scale(b, s))
    minor = add(scale(a, -s), scale(b, c))
    shift = degrees(t)
    return Ellipse(center, major, minor, start - shift, end - shift)


def _on(center: Vec, a: Vec, b: Vec, angle: float) -> Vec:
    t = angle * pi / 180.0
    return add(center, add(scale(a, cos(t)), scale(b, sin(t))))


def placement(axes: tuple[Vec, Vec, Vec], insert: Vec, rotation: float, scales: Vec, base: Vec) -> Affine:
    """The map of a block reference: base point to insertion point, scaled, rotated, in its OCS.

    Args:
        axes: the OCS axes in world coordinates.
        insert: insertion point in the OCS.
        rotation: about the OCS z axis, degrees.
        scales: along the block's own axes; negative ones mirror.
        base: the block's base point.
    """
    ux, uy, uz = axes
    t = rotation * pi / 180.0
    c, s = cos(t), sin(t)
    x = scale(add(scale(ux, c), scale(uy, s)), scales[0])
    y = scale(add(scale(ux, -s), scale(uy, c)), scales[1])
    z = scale(uz, scales[2])
    linear = Affine(x, y, z)
    at = Affine(ux, uy, uz).point(insert)
    return Affine(x, y, z, sub(at, linear.direction(base)))
