"""LWPOLYLINE and POLYLINE (2D and 3D) as our curves.

Vertices of the 2D kinds lie in the OCS at one elevation; between two of them a bulge, the
tangent of a quarter of the included angle and negative when it turns clockwise (DXF
reference), makes an arc. Whole runs of plain vertices stay one array.
"""

from __future__ import annotations

from math import atan, degrees
from typing import Any

import numpy as np

from converter.geometry.vectors import Vec, scale, vec_of
from converter.importers.dxf.entities import Attributes, extrusion_axes
from converter.importers.dxf.left_out import LeftOut
from converter.limits import GREATEST_RADIUS
from converter.model.curve import Arc, Line, Path, Polyline

#: vertices closer than this (mm) in every coordinate are one; also the sagitta of a straight
_SAME = 1e-9

_CLOSED, _POLYLINE_3D, _MESH = 1, 8, 16 | 64
_FRAME = 16  # a vertex of the frame that a spline was fitted to

PolyCurve = Line | Arc | Polyline | Path


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
