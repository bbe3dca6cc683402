"""Which entity types are drawn curves, and the one place that turns an entity into one, polylines and splines too."""

from __future__ import annotations

from collections.abc import Callable
from math import atan, degrees
from typing import Any

import numpy as np

from converter.errors import GeometryError, ReadError, TooLargeError
from converter.geometry.vectors import Vec, scale, vec_of
from converter.importers.dxf.entities import TINY, Attributes, arc, circle, ellipse, extrusion_axes, line
from converter.importers.dxf.left_out import LeftOut
from converter.limits import FIT_POINTS, GREATEST_RADIUS, SPLINE_DEGREE, SPLINE_POINTS
from converter.model.curve import Arc, Curve, Line, Path, Polyline, Spline
from converter.quoting import quoted, reason_of

Converter = Callable[[Any, Attributes, float], Curve]


#: what a converter or the model may raise on values that make no curve
BAD_VALUES = (ValueError, TypeError, ArithmeticError, AttributeError)
_PERIODIC = 2
#: vertices closer than this (mm) in every coordinate are one; also the sagitta of a straight
_SAME = 1e-9
_CLOSED, _POLYLINE_3D, _MESH = 1, 8, 16 | 64
_FRAME = 16  # a vertex of the frame that a spline was fitted to
PolyCurve = Line | Arc | Polyline | Path


def refused(error: Exception, kind: str, handle: str | None, layer: str, file: str) -> LeftOut:
    """What to do with an entity whose values the model, or plain arithmetic, refuses.

    Returns:
        the word that it is left out, for an entity that merely makes no curve.

    Raises:
        ReadError: a coordinate is not a number, or the entity has more points than are read; a
            tube with a hole in it must not be read in silence.
    """
    if getattr(error, "code", "") == "too-far":
        return LeftOut(f"too large or too far away for a tube ({error})", unread=True)
    code = getattr(error, "code", "")
    place = f"{kind} {handle or 'without a handle'} on layer {quoted(layer)}"
    if code == "too-large":
        raise TooLargeError(f"{file}: {place} {error}.", file=file, where=place) from error
    if code == "not-finite":
        raise ReadError(
            f"{file}: {place} has a coordinate that is not a finite number: "
            "delete or redraw it in the CAD package and export again.",
            code="not-finite",
            file=file,
            where=place,
        ) from error
    return LeftOut(f"it makes no curve ({reason_of(error)})", unread=True)


# --- LWPOLYLINE and POLYLINE, 2D and 3D -------------------------------------------------------
# Vertices of the 2D kinds lie in the OCS at one elevation; between two of them a bulge, the tangent of a quarter of
# the included angle and negative when it turns clockwise (DXF reference), makes an arc. Whole runs of plain vertices
# stay one array.


def lwpolyline(entity: Any, d: Attributes, k: float) -> PolyCurve:
    """An LWPOLYLINE.

    Raises:
        LeftOut: it has no length.
    """
    values = np.asarray(entity.lwpoints.values, dtype=np.float64).reshape(-1, 5)
    closed = bool(d.get("flags", 0) & _CLOSED)
    return _planar(values[:, :2] * k, values[:, 4], d.get("elevation", 0.0) * k, d, closed)


def polyline(entity: Any, d: Attributes, k: float) -> PolyCurve:
    """A POLYLINE with its vertices; of a fitted one the fitted curve, not the frame.

    Raises:
        LeftOut: it is a mesh, or it has no length.
    """
    flags = d.get("flags", 0)
    if flags & _MESH:
        raise LeftOut("a surface or mesh, not a centerline")
    rows: list[Vec] = []
    bulges: list[float] = []
    frame: list[bool] = []
    for vertex in entity.vertices:
        v = vertex.dxf.__dict__
        location = v.get("location")
        rows.append((0.0, 0.0, 0.0) if location is None else location.xyz)
        bulges.append(v.get("bulge", 0.0))
        frame.append(bool(v.get("flags", 0) & _FRAME))
    if len(rows) < 2:
        raise LeftOut("a polyline of fewer than two points")
    points = np.array(rows, dtype=np.float64) * k
    bulge = np.array(bulges, dtype=np.float64)
    fitted = ~np.array(frame)
    if int(fitted.sum()) >= 2:
        points, bulge = points[fitted], bulge[fitted]
    closed = bool(flags & _CLOSED)
    heights = points[:, 2]
    # some writers forget the 3D flag: heights that differ, and no bulge that only a plane can hold
    if flags & _POLYLINE_3D or (np.ptp(heights) > _SAME and not bulge.any()):
        return straight_polyline(_close(points) if closed else points)
    elevation = d.get("elevation")
    height = 0.0 if elevation is None else float(elevation.z) * k
    if height == 0.0:
        height = float(heights[0])  # others put it on the vertices alone
    return _planar(points[:, :2], bulge, height, d, closed)


def _planar(xy: Any, bulge: Any, height: float, d: Attributes, closed: bool) -> PolyCurve:
    """A polyline of OCS points (n, 2), mm, and the bulge after each."""
    if len(xy) < 2:
        raise LeftOut("a polyline of fewer than two points")
    if closed:
        xy = _close(xy)
    else:
        bulge = bulge[:-1]
    ux, uy, uz = extrusion_axes(d)
    points = np.empty((len(xy), 3))
    for i in range(3):
        points[:, i] = xy[:, 0] * ux[i] + xy[:, 1] * uy[i] + height * uz[i]
    if not bulge.any():
        return straight_polyline(points)
    return _bulged(points, bulge, uz)


def _close(points: Any) -> Any:
    return np.concatenate((points, points[:1]))


def straight_polyline(points: Any) -> Line | Polyline:
    """Points (n, 3), mm, joined by straights; doubled ones are dropped.

    Raises:
        LeftOut: no two of them differ.
    """
    moved = np.abs(np.diff(points, axis=0)).max(axis=1)
    moved[np.isnan(moved)] = np.inf  # kept, so that the model refuses it by name
    if not (moved > _SAME).all():
        points = points[np.concatenate(([True], moved > _SAME))]
    if len(points) < 2:
        raise LeftOut("no length")
    if len(points) == 2:
        return Line(vec_of(points[0]), vec_of(points[1]))
    return Polyline(points)


def _bulged(points: Any, bulge: Any, normal: Vec) -> PolyCurve:
    """Arcs where there is a bulge, runs of straights as one part each."""
    chords = np.linalg.norm(np.diff(points, axis=0), axis=1)
    # by the sagitta, and by the radius; NaN counts as curved and is refused there
    straight = (np.abs(bulge) * chords * 0.5 <= _SAME) | (np.abs(bulge) * 4.0 * GREATEST_RADIUS <= chords)
    curved = ~straight
    parts: list[Line | Arc | Polyline] = []
    at = 0
    for i in np.flatnonzero(curved).tolist():
        if i > at:
            _add_straight_polyline(parts, points[at : i + 1])
        parts.append(_bulge_arc(vec_of(points[i]), vec_of(points[i + 1]), float(bulge[i]), normal))
        at = i + 1
    if at < len(points) - 1:
        _add_straight_polyline(parts, points[at:])
    if not parts:
        raise LeftOut("no length")
    return parts[0] if len(parts) == 1 else Path(tuple(parts))


def _add_straight_polyline(parts: list[Line | Arc | Polyline], points: Any) -> None:
    try:
        parts.append(straight_polyline(points))
    except LeftOut:
        return  # a doubled vertex between two arcs


def _bulge_arc(p: Vec, q: Vec, bulge: float, normal: Vec) -> Arc:
    """The arc between two points in the plane across ``normal``; its centre lies left of the chord by (1 - b2)/4b."""
    dx, dy, dz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    # normal x chord: to the left, seen from the tip of the normal
    lx = normal[1] * dz - normal[2] * dy
    ly = normal[2] * dx - normal[0] * dz
    lz = normal[0] * dy - normal[1] * dx
    w = (1.0 - bulge * bulge) / (4.0 * bulge)
    center = (p[0] + dx / 2.0 + lx * w, p[1] + dy / 2.0 + ly * w, p[2] + dz / 2.0 + lz * w)
    radius = (dx * dx + dy * dy + dz * dz) ** 0.5 * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    about = normal if bulge > 0.0 else scale(normal, -1.0)
    return Arc(center, about, radius, p, q, degrees(4.0 * atan(abs(bulge))))


# --- SPLINE, and HELIX, which carries one: by control points, or fit points alone -------------


def spline(entity: Any, d: Attributes, k: float) -> Spline | Line | Polyline:
    """A SPLINE; one of degree 1 is the line or polyline it draws.

    Raises:
        LeftOut: it has no length, or its numbers do not make a curve.
    """
    points = np.asarray(entity.control_points.values, dtype=np.float64).reshape(-1, 3)
    if len(points) == 0:
        return _through(entity, d, k)
    _check_size(len(points), SPLINE_POINTS, "control points")
    degree = int(d.get("degree", 3))
    if degree < 1:
        raise LeftOut(f"a spline of degree {degree}", unread=True)
    if degree > SPLINE_DEGREE:
        raise GeometryError(
            f"is a spline of degree {degree:,}, higher than the {SPLINE_DEGREE} that are read: draw it anew",
            code="too-large",
        )
    knots = np.array(entity.knots, dtype=np.float64)
    weights = np.array(entity.weights, dtype=np.float64) if len(entity.weights) else None
    periodic = bool(d.get("flags", 0) & _PERIODIC)
    return make_spline(degree, points * k, knots, weights, periodic=periodic)


def make_spline(
    degree: int, points: Any, knots: Any, weights: Any | None, *, periodic: bool = False
) -> Spline | Line | Polyline:
    """A spline from its numbers, after checking that they agree.

    Args:
        degree: >= 1.
        points: (n, 3), mm.
        knots: n + degree + 1 values; none at all stands for a clamped uniform vector; n + 1 of them on
            a periodic spline leave the wrapped ones out.
        weights: (n,) or None.
        periodic: whether the file calls it periodic.

    Raises:
        LeftOut: they make no curve, or one of no length.
        GeometryError: a number is not finite.
    """
    n = len(points)
    if not all(np.isfinite(a).all() for a in (points, knots, weights) if a is not None):
        raise GeometryError("a spline has a value that is not a finite number", code="not-finite")
    if n < degree + 1:
        raise LeftOut(f"a spline of degree {degree} with only {n} control points", unread=True)
    if weights is not None and (len(weights) != n or not (weights > 0.0).all()):
        raise LeftOut("a spline whose weights do not suit its control points", unread=True)
    if len(knots) == 0:
        inner = np.arange(1.0, n - degree)
        knots = np.concatenate((np.zeros(degree + 1), inner, np.full(degree + 1, float(n - degree))))
    elif periodic and len(knots) == n + 1:
        points, knots, weights = _wrap(degree, points, knots, weights)
        n = len(points)
    if not (np.diff(knots) >= 0.0).all() or len(knots) != n + degree + 1 or not knots[degree] < knots[n]:
        raise LeftOut("a spline whose knots do not suit its control points", unread=True)
    if float(np.ptp(points, axis=0).max()) < TINY:
        raise LeftOut("no length")
    if weights is not None and float(np.ptp(weights)) <= 1e-12 * float(weights[0]):
        weights = None
    start = (
        vec_of(points[0]) if knots[0] == knots[degree] else _at(degree, points, knots, weights, degree, knots[degree])
    )
    last = n - 1
    end = vec_of(points[-1]) if knots[n] == knots[-1] else _at(degree, points, knots, weights, last, knots[n])
    if degree == 1:
        body = points[1:-1]
        return straight_polyline(np.concatenate((np.array([start]), body, np.array([end]))))
    return Spline(degree, points, knots, weights, start, end)


def _wrap(degree: int, points: Any, knots: Any, weights: Any | None) -> tuple[Any, Any, Any | None]:
    """The full knots and control points of a periodic spline that is written without the wrapped ones."""
    steps = np.diff(knots)
    if not np.allclose(steps, steps[0], rtol=1e-9, atol=0.0):
        raise LeftOut("a periodic spline whose knots are not complete", unread=True)
    around = knots[-1] - knots[0]
    knots = np.concatenate((knots[-1 - degree : -1] - around, knots, knots[1 : 1 + degree] + around))
    points = np.concatenate((points, points[:degree]))
    return points, knots, None if weights is None else np.concatenate((weights, weights[:degree]))


def _at(degree: int, points: Any, knots: Any, weights: Any | None, span: int, u: float) -> Vec:
    """The point at ``u`` in the knot span [knots[span], knots[span + 1]] by de Boor's algorithm."""
    low = span - degree
    w = np.ones(degree + 1) if weights is None else weights[low : span + 1]
    d = np.column_stack((points[low : span + 1] * w[:, None], w))
    for r in range(1, degree + 1):
        for j in range(degree, r - 1, -1):
            i = low + j
            width = knots[i + degree + 1 - r] - knots[i]
            a = 0.0 if width == 0.0 else (u - knots[i]) / width
            d[j] = (1.0 - a) * d[j - 1] + a * d[j]
    return vec_of(d[degree, :3] / d[degree, 3])


def _through(entity: Any, d: Attributes, k: float) -> Spline | Line | Polyline:
    """The curve a CAD package draws through fit points when the file gives no control points."""
    from ezdxf.math import Vec3, fit_points_to_cad_cv

    fit = np.asarray(entity.fit_points.values, dtype=np.float64).reshape(-1, 3) * k
    if len(fit) < 2:
        raise LeftOut("a spline of fewer than two points")
    _check_size(len(fit), FIT_POINTS, "fit points and no control points")
    if not np.isfinite(fit).all():
        return Polyline(fit)  # refused by the model, by name
    if d.get("flags", 0) & _CLOSED and np.abs(fit[0] - fit[-1]).max() > TINY:
        fit = np.concatenate((fit, fit[:1]))
    fit = fit[np.concatenate(([True], np.abs(np.diff(fit, axis=0)).max(axis=1) > TINY))]
    if len(fit) < 2:
        raise LeftOut("no length")
    first, last = d.get("start_tangent"), d.get("end_tangent")
    tangents = None if first is None or last is None else [first, last]
    if len(fit) == 2 and tangents is None:
        return Line(vec_of(fit[0]), vec_of(fit[1]))
    try:
        curve = fit_points_to_cad_cv(Vec3.list(fit.tolist()), tangents=tangents)
    except (ValueError, ArithmeticError) as error:
        raise LeftOut(f"a spline that cannot be drawn through its points ({error})", unread=True) from error
    points = np.array([p.xyz for p in curve.control_points])
    return make_spline(curve.degree, points, np.array(curve.knots()), None)


def _check_size(count: int, most: int, what: str) -> None:
    """Refuse a spline of more points than a tube's centerline needs.

    Raises:
        GeometryError: it has, with the code that `convert.refused` knows.
    """
    if count > most:
        raise GeometryError(
            f"is a spline of {count:,} {what}, more than the {most:,} that are read: leave it out with "
            "--skip-layer, or draw it with fewer",
            code="too-large",
        )


#: entity type -> its converter (entity, attributes, mm per drawing unit)
CONVERTERS: dict[str, Converter] = {
    "LINE": line,
    "ARC": arc,
    "CIRCLE": circle,
    "LWPOLYLINE": lwpolyline,
    "POLYLINE": polyline,
    "SPLINE": spline,
    "HELIX": spline,
    "ELLIPSE": ellipse,
}
