"""Exact points on free curves, dense enough to find the straights and arcs in them.

Points lie on the curve itself (only rounding off it): a spline, rational or not, through de Boor's basis (A
Practical Guide to Splines, ch. X), an ellipse by its parameter. Angles between neighbouring samples stay at
a couple of degrees.
"""

from __future__ import annotations

from math import ceil, radians

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import vec
from converter.geometry.vectors import cross, distance, norm, unit
from converter.model.curve import Arc, Ellipse, Spline
from converter.reducer.limits import too_many_pieces

STEP_DEG = 1.5  #: aimed-at turn between neighbouring samples
MOST_PER_SPAN = 400
#: of one spline: `limits.BENDS` bends that turn half round have less
MOST_SAMPLES = 400_000


def sample_spline(spline: Spline, finer: int = 1) -> Array:
    """Points along a spline in order, (m, 3): per knot span as many as its control polygon turns, times ``finer``.

    Raises:
        GeometryError: it turns more than any tube does.
    """
    p = spline.degree
    points = np.asarray(spline.control_points, float)
    knots = np.asarray(spline.knots, float)
    n = len(points)
    if p == 1:
        return points.copy()
    params: list[Array] = []
    total = 0
    for k in range(p, n):
        a, b = float(knots[k]), float(knots[k + 1])
        if b <= a:
            continue
        legs = np.diff(points[k - p : k + 1], axis=0)
        size = np.sqrt((legs * legs).sum(axis=1))
        legs = legs[size > 0.0] / size[size > 0.0][:, None]
        turn = 0.0
        if len(legs) > 1:
            turn = float(np.degrees(np.arccos(np.clip((legs[1:] * legs[:-1]).sum(axis=1), -1.0, 1.0))).sum())
        count = min(MOST_PER_SPAN, max(6, ceil(turn / STEP_DEG)))
        total += count
        if total > MOST_SAMPLES:
            raise too_many_pieces()
        params.append(np.linspace(a, b, finer * count + 1)[:-1])
    params.append(np.array([knots[n]]))
    out = spline_points(spline, np.concatenate(params))
    out[0], out[-1] = spline.start, spline.end
    return _without_repeats(out)


def sample_ellipse(ellipse: Ellipse, finer: int = 1) -> Array:
    """Points along an ellipse in order, (m, 3), closer where it curves more; ``finer`` times as many as are fitted."""
    a, b = norm(ellipse.major), norm(ellipse.minor)
    start, end = radians(ellipse.start_angle), radians(ellipse.end_angle)
    # even steps of the direction of travel, so that a flat ellipse keeps its tight ends sharp
    fine = np.linspace(start, end, 2 + finer * ceil((end - start) / radians(0.25)))
    turn = np.unwrap(np.arctan2(b * np.cos(fine), -a * np.sin(fine)))
    count = finer * max(8, ceil(abs(turn[-1] - turn[0]) / radians(STEP_DEG)))
    t = np.interp(np.linspace(0.0, 1.0, count + 1), (turn - turn[0]) / (turn[-1] - turn[0]), fine)
    c, s = np.cos(t)[:, None], np.sin(t)[:, None]
    points: Array = np.asarray(ellipse.center) + c * np.asarray(ellipse.major) + s * np.asarray(ellipse.minor)
    return points


def ellipse_as_arc(ellipse: Ellipse, equal: float) -> Arc | None:
    """The exact arc where both half-axes are equal within ``equal`` mm; None otherwise."""
    a, b = norm(ellipse.major), norm(ellipse.minor)
    if abs(a - b) > equal:
        return None
    normal = unit(cross(ellipse.major, ellipse.minor))
    angle = ellipse.end_angle - ellipse.start_angle
    if angle > 360.0 - 1e-9 or distance(ellipse.start, ellipse.end) <= equal < a * radians(angle) / 2.0:
        angle = 360.0
    start = ellipse.start
    arc = Arc.swept(ellipse.center, normal, start, angle)
    return arc if angle == 360.0 else Arc(arc.center, normal, arc.radius, start, ellipse.end, angle)


def _without_repeats(points: Array) -> Array:
    keep = np.ones(len(points), bool)
    keep[1:] = (points[1:] != points[:-1]).any(axis=1)
    kept = points[keep]
    return kept if len(kept) > 1 else np.array([vec(points[0]), vec(points[-1])])


def homogeneous(spline: Spline) -> Array:
    """Control points times their weights, and the weights: (n, 4)."""
    w = np.ones(len(spline.control_points)) if spline.weights is None else spline.weights
    return np.column_stack((spline.control_points * w[:, None], w))


def de_boor(degree: int, knots: Array, control: Array, u: Array) -> Array:
    """Points of a B-spline of any dimension at the parameters u, (m, dim) (de Boor's algorithm, all at once)."""
    inner = knots[degree : len(control) + 1]
    # the span that holds u; at the far end the last one that is not empty
    k = np.searchsorted(inner, np.minimum(u, inner[-1]), side="right") - 1
    k = np.where(u >= inner[-1], np.searchsorted(inner, inner[-1], side="left") - 1, k)
    k = np.clip(k, 0, len(control) - 1 - degree) + degree
    d = [control[k - degree + j] for j in range(degree + 1)]
    for r in range(1, degree + 1):
        for j in range(degree, r - 1, -1):
            low, high = knots[k - degree + j], knots[k + 1 + j - r]
            span = high - low
            alpha = np.where(span > 0.0, (u - low) / np.where(span > 0.0, span, 1.0), 0.0)[:, None]
            d[j] = (1.0 - alpha) * d[j - 1] + alpha * d[j]
    points: Array = d[degree]
    return points


def spline_points(spline: Spline, t: Array) -> Array:
    """Points of a spline at parameters t (m,), shape (m, 3) in mm."""
    h = de_boor(spline.degree, np.asarray(spline.knots, float), homogeneous(spline), t)
    flat: Array = h[:, :3] / h[:, 3:]
    return flat


def even_points(spline: Spline, count: int) -> Array:
    """``count`` >= 2 points at even steps of the parameter, (count, 3), ends included."""
    lo, hi = float(spline.knots[spline.degree]), float(spline.knots[len(spline.control_points)])
    return spline_points(spline, np.linspace(lo, hi, count))
