"""How a curve starts and ends: directions of travel, length, whether it is straight."""

from __future__ import annotations

from itertools import pairwise
from math import cos, radians, sin

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec, angle_between, cross, distance, dot, scale, sub, unit, vec_of
from converter.model.curve import Arc, Curve, Ellipse, Line, Path, Polyline, Spline
from converter.reducer.sample import de_boor, even_points, homogeneous

#: A polyline whose first turns are below this (degrees) and alike is a tessellated arc.
_CHORD_TURN = 30.0


def end_directions(curve: Curve) -> tuple[Vec, Vec]:
    """Unit tangents in the sense of travel at the start and at the end.

    A polyline that starts (ends) with even chords and even turns is a tessellated arc: there the
    tangent of the circle through the first three points is taken, not the chord, which is off by
    half a turn.
    """
    if isinstance(curve, Line):
        d = curve.direction
        return d, d
    if isinstance(curve, Arc):
        return curve.start_direction, curve.end_direction
    if isinstance(curve, Path):
        return end_directions(curve.parts[0])[0], end_directions(curve.parts[-1])[1]
    if isinstance(curve, Polyline):
        return _polyline_start(curve.points[:4]), scale(_polyline_start(curve.points[:-5:-1]), -1.0)
    if isinstance(curve, Ellipse):
        return _ellipse_direction(curve, curve.start_angle), _ellipse_direction(curve, curve.end_angle)
    back = scale(_spline_start(curve.reversed()), -1.0)
    return _spline_start(curve), back


def _polyline_start(points: Array) -> Vec:
    """Direction of travel at the first of up to four points."""
    p = [vec_of(row) for row in points]
    chords = [sub(b, a) for a, b in pairwise(p)]
    first = unit(chords[0])
    if len(p) < 4:
        return first
    lengths = [distance(b, a) for a, b in pairwise(p)]
    turn, turn2 = angle_between(chords[0], chords[1]), angle_between(chords[1], chords[2])
    even = max(lengths) <= 1.25 * min(lengths) and abs(turn - turn2) <= 0.2 * turn + 1e-6
    even = even and dot(cross(chords[0], chords[1]), cross(chords[1], chords[2])) > 0.0
    if not even or turn > _CHORD_TURN or turn < 1e-6:
        return first
    # chord-tangent angle: half the arc over the first chord, in the plane of the first turn
    half = radians(turn) * lengths[0] / (lengths[0] + lengths[1])
    second = unit(chords[1])
    k = sum(a * b for a, b in zip(first, second, strict=True))
    inside = unit(tuple(b - k * a for a, b in zip(first, second, strict=True)))  # type: ignore[arg-type]
    c, s = cos(half), sin(half)
    return unit((first[0] * c - inside[0] * s, first[1] * c - inside[1] * s, first[2] * c - inside[2] * s))


def _ellipse_direction(curve: Ellipse, angle: float) -> Vec:
    c, s = cos(radians(angle)), sin(radians(angle))
    a, b = curve.major, curve.minor
    return unit((b[0] * c - a[0] * s, b[1] * c - a[1] * s, b[2] * c - a[2] * s))


def _spline_start(spline: Spline) -> Vec:
    """Tangent at the start: the derivative's own B-spline; the next point where it vanishes."""
    control, knots, p = homogeneous(spline), spline.knots, spline.degree
    n = len(control)
    u = float(knots[p])
    first = control[1, :3] / control[1, 3] - control[0, :3] / control[0, 3]
    size = float(np.abs(spline.control_points - spline.control_points[0]).max())
    if knots[0] == u and float(first @ first) > (1e-9 * size) ** 2:
        return unit(vec_of(first))  # clamped: along the first leg of the control polygon
    spans = knots[p + 1 : p + n] - knots[1:n]
    safe = np.where(spans > 0.0, spans, 1.0)
    steps = np.where(spans[:, None] > 0.0, p * np.diff(control, axis=0) / safe[:, None], 0.0)
    at = np.array([u])
    point = de_boor(p, knots, control, at)[0]
    slope = de_boor(p - 1, knots[1:-1], steps, at)[0]
    tangent = slope[:3] - slope[3] * point[:3] / point[3]
    span = float(knots[n]) - u
    if float(np.linalg.norm(tangent)) * span > 1e-9 * size:
        return unit(vec_of(tangent))
    samples = even_points(spline, 513)
    away = np.linalg.norm(samples - samples[0], axis=1) > 1e-9 * size
    return unit(vec_of(samples[int(np.argmax(away))] - samples[0]))


def sample(curve: Curve, count: int = 65) -> Array:
    """Points along a curve in its own direction, (n, 3): corners of a polyline, else ``count`` even steps."""
    if isinstance(curve, Line):
        return np.array([curve.start, curve.end])
    if isinstance(curve, Polyline):
        return curve.points
    if isinstance(curve, Spline):
        return even_points(curve, count)
    if isinstance(curve, Path):
        return np.concatenate([sample(part, 17) for part in curve.parts])
    if isinstance(curve, Arc):
        return np.array([curve.point(a) for a in np.linspace(0.0, curve.angle, count)])
    return np.array([curve.point(a) for a in np.linspace(curve.start_angle, curve.end_angle, count)])


def corners_of(curve: Curve) -> tuple[Vec, ...]:
    """Points along a curve, mm, as its picture needs them."""
    return tuple((x, y, z) for x, y, z in sample(curve).tolist())


def middle(curve: Curve) -> Vec:
    """A point about halfway along a curve, for marks and messages."""
    if isinstance(curve, Path):
        return middle(curve.parts[len(curve.parts) // 2])
    if isinstance(curve, Arc):
        return curve.point(curve.angle / 2.0)
    points = sample(curve, 3)
    return vec_of((points[(len(points) - 1) // 2] + points[len(points) // 2]) / 2.0)


def curve_length(curve: Curve) -> float:
    """Length in mm; of splines and ellipses by chords (to about 1e-3 relative), good for comparing."""
    if isinstance(curve, (Line, Arc)):
        return curve.length
    if isinstance(curve, Path):
        return sum(curve_length(part) for part in curve.parts)
    return float(np.linalg.norm(np.diff(sample(curve), axis=0), axis=1).sum())


def is_straight(curve: Curve, tol: float) -> bool:
    """Whether the whole curve lies within ``tol`` of the straight from its start to its end."""
    if isinstance(curve, Line):
        return True
    if isinstance(curve, Arc):
        return False
    points = curve.control_points if isinstance(curve, Spline) else sample(curve)
    arms = points - points[0]
    chord = np.asarray(curve.end) - points[0]
    length = float(np.linalg.norm(chord))
    if length <= tol:
        return False
    off = arms - np.outer(arms @ chord / length, chord / length)
    return float(np.abs(off).max()) <= tol
