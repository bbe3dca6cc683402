"""Faces of a body as primitives: planes, cylinders, tori, cones, spheres; and their edges as points.

What a writer stored as a B-spline, a surface of revolution or an extrusion is sampled and
recognised (`converter.importers.solids.primitives`). Everything after this module is plain numbers.

Only imported after `converter.kernel.require`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi, tau
from typing import Any

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType
from OCP.gp import gp_Pnt, gp_Vec
from OCP.TopAbs import TopAbs_Orientation
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedMapOfShape

from converter.arrays import Array
from converter.geometry.circles import crossed
from converter.geometry.vectors import Vec, along, cross, scale
from converter.importers.solids.primitives import ALMOST, Primitive, astray, recognise
from converter.kernel.topology import subshapes
from converter.tolerances import Tolerances

PLANE, CYLINDER, TORUS, CONE, SPHERE, OTHER = "plane", "cylinder", "torus", "cone", "sphere", "other"

_CIRCLE_POINTS = 17
_CURVE_POINTS = 33
_GRID = 9
#: Shares of a face's ranges beside its grid, in no step with it.
_BETWEEN = (0.1137, 0.4531, 0.7873)
# the kernel's kinds as numbers, which take a third of the time to compare
_LINE = GeomAbs_CurveType.GeomAbs_Line.value
_CIRCLE = GeomAbs_CurveType.GeomAbs_Circle.value
_REVERSED = TopAbs_Orientation.TopAbs_REVERSED.value
_FLAT = GeomAbs_SurfaceType.GeomAbs_Plane.value
_ROUND = GeomAbs_SurfaceType.GeomAbs_Cylinder.value
_RING = GeomAbs_SurfaceType.GeomAbs_Torus.value
_CONICAL = GeomAbs_SurfaceType.GeomAbs_Cone.value
_BALL = GeomAbs_SurfaceType.GeomAbs_Sphere.value
_NOWHERE = np.empty((0, 3))
_ALONG = np.linspace(0.0, 1.0, _CIRCLE_POINTS)


@dataclass(slots=True)
class Rim:
    """An edge.

    Attributes:
        points: (n, 3) along it, ends included.
        curve: the kernel's curve, for closer looks (`value`).
        first, last: its parameter range.
        faces: indices of the faces it bounds (a seam names its face twice).
        straight: whether it is a line.
        center: centre of a circular edge, else None.
        circle: of a circular edge: centre, vectors from it to parameter 0 and a quarter turn on, ``first``, ``last``.
    """

    points: Array
    curve: Any
    first: float
    last: float
    faces: list[int] = field(default_factory=list)
    straight: bool = False
    center: Vec | None = None
    circle: tuple[float, ...] | None = None

    @property
    def swept(self) -> Vec | None:
        """Half the integral of r x dr along a line or an arc, mm2: around a loop it is the area; None for others."""
        if not self.straight and self.circle is None:
            return None
        (a, b, c), (d, e, f) = self.points[0].tolist(), self.points[-1].tolist()
        if self.circle is None:
            return scale(cross((a, b, c), (d, e, f)), 0.5)
        o, x, y, turn = self.circle[0:3], self.circle[3:6], self.circle[6:9], self.circle[10] - self.circle[9]
        straight = cross((o[0], o[1], o[2]), (d - a, e - b, f - c))
        return scale(along(straight, cross((x[0], x[1], x[2]), (y[0], y[1], y[2])), turn), 0.5)

    def value(self, t: float) -> Vec:
        """The point at parameter ``t``."""
        point: Vec = self.curve.Value(t).Coord()
        return point


@dataclass(slots=True)
class Patch:
    """A face as a primitive.

    Attributes:
        index: its place in the body.
        shape: what it is.
        sign: +1 when its outward normal looks away from the axis (planes: along ``shape.axis``), -1 when towards it.
        rims: (edge, whether it is run forward) in the face's own sense.
        u: parameter range around the axis in radians, ``x`` being 0 (cylinder, torus, cone).
        v: cylinder and cone: along the axis from ``shape.point``; torus: the angle around the tube.
        x: direction of u = 0.
        samples: (n, 3) points of a face that was recognised, None for one that the file calls by its kind.
    """

    index: int
    shape: Primitive
    sign: int
    rims: list[tuple[int, bool]]
    u: tuple[float, float] = (0.0, tau)
    v: tuple[float, float] = (0.0, tau)
    x: Vec = (1.0, 0.0, 0.0)
    samples: Array | None = None


@dataclass(slots=True)
class SolidBody:
    """Faces and edges of one solid, shell or set of loose faces."""

    patches: list[Patch]
    rims: list[Rim]


def faces_of(shapes: list[Any], tol: Tolerances) -> SolidBody:
    """The faces of shapes (solids, shells, faces in place, mm) and their edges, as numbers.

    Args:
        shapes: kernel shapes; an edge they share is one edge.
        tol: how closely a free surface must follow a primitive to be taken for one.
    """
    edges = TopTools_IndexedMapOfShape()
    seen = TopTools_IndexedMapOfShape()
    rims: list[Rim] = []
    circles: list[Rim] = []
    patches: list[Patch] = []
    for shape in shapes:
        for face in map(TopoDS.Face_s, subshapes(shape, "FACE")):
            index = len(patches)
            if seen.Add(face) <= index:
                continue
            own: list[tuple[int, bool]] = []
            for edge in subshapes(face, "EDGE"):
                number = edges.Add(edge) - 1
                if number == len(rims):
                    rims.append(_rim(TopoDS.Edge_s(edge), circles))
                rims[number].faces.append(index)
                own.append((number, edge.Orientation().value != _REVERSED))
            patches.append(_patch(face, index, own, tol))
    _fill_circles(circles)
    return SolidBody(patches, rims)


def _rim(edge: Any, circles: list[Rim]) -> Rim:
    if BRep_Tool.Degenerated_s(edge):
        return Rim(_NOWHERE, None, 0.0, 0.0)
    curve = BRepAdaptor_Curve(edge)
    kind = curve.GetType().value
    first, last = curve.FirstParameter(), curve.LastParameter()
    rim = Rim(_NOWHERE, curve, first, last)
    if kind == _CIRCLE:
        circle = curve.Circle()
        place, r = circle.Position(), circle.Radius()
        rim.center = place.Location().Coord()
        (a, b, c), (d, e, f) = place.XDirection().Coord(), place.YDirection().Coord()
        rim.circle = (*rim.center, r * a, r * b, r * c, r * d, r * e, r * f, first, last)
        circles.append(rim)
        return rim
    if kind == _LINE:
        rim.straight = True
        params: Any = (first, last)
    else:
        params = np.linspace(first, last, _CURVE_POINTS).tolist()
    rim.points = np.array([rim.value(t) for t in params])
    return rim


def _fill_circles(circles: list[Rim]) -> None:
    """The points of all circular edges at once."""
    if not circles:
        return
    rows = np.array([rim.circle for rim in circles])
    t = rows[:, 9, None] + (rows[:, 10] - rows[:, 9])[:, None] * _ALONG
    points = (
        rows[:, None, 0:3] + np.cos(t)[:, :, None] * rows[:, None, 3:6] + np.sin(t)[:, :, None] * rows[:, None, 6:9]
    )
    for rim, row in zip(circles, points, strict=True):
        rim.points = row


def _axis(position: Any) -> tuple[Vec, Vec, Vec, bool]:
    c, d, x = position.Location().Coord(), position.Direction().Coord(), position.XDirection().Coord()
    return c, d, x, position.Direct()


def _patch(face: Any, index: int, rims: list[tuple[int, bool]], tol: Tolerances) -> Patch:
    surface = BRepAdaptor_Surface(face, True)
    kind = surface.GetType().value
    flip = -1 if face.Orientation().value == _REVERSED else 1
    if kind == _FLAT:
        c, d, x, direct = _axis(surface.Plane().Position())
        return Patch(index, Primitive(PLANE, c, d), flip if direct else -flip, rims, x=x)
    if kind == _ROUND:
        cylinder = surface.Cylinder()
        c, d, x, direct = _axis(cylinder.Position())
        shape = Primitive(CYLINDER, c, d, cylinder.Radius())
    elif kind == _RING:
        torus = surface.Torus()
        c, d, x, direct = _axis(torus.Position())
        shape = Primitive(TORUS, c, d, torus.MinorRadius(), torus.MajorRadius())
    elif kind == _CONICAL:
        cone = surface.Cone()
        c, d, x, direct = _axis(cone.Position())
        shape = Primitive(CONE, c, d, cone.RefRadius(), slope=cone.SemiAngle())
    elif kind == _BALL:
        sphere = surface.Sphere()
        c, d, x, direct = _axis(sphere.Position())
        shape = Primitive(SPHERE, c, d, sphere.Radius())
    else:
        return _recognised(surface, index, flip, rims, tol)
    u = (surface.FirstUParameter(), surface.LastUParameter())
    v = (surface.FirstVParameter(), surface.LastVParameter())
    if not direct:
        # a mirrored frame counts u backwards about its axis
        u = (-u[1], -u[0])
        flip = -flip
    if kind == _CONICAL:
        v = (v[0] * np.cos(shape.slope), v[1] * np.cos(shape.slope))
    return Patch(index, shape, flip, rims, u, v, x)


def _recognised(surface: Any, index: int, flip: int, rims: list[tuple[int, bool]], tol: Tolerances) -> Patch:
    """A face of any other kind: its points and normals on a grid, and the primitive they lie on."""
    bounds = (
        surface.FirstUParameter(),
        surface.LastUParameter(),
        surface.FirstVParameter(),
        surface.LastVParameter(),
    )
    if not all(abs(b) < 1e50 for b in bounds):
        return Patch(index, Primitive(OTHER, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), flip, rims)
    p, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    rows = []
    us = np.linspace(bounds[0], bounds[1], _GRID).tolist()
    vs = np.linspace(bounds[2], bounds[3], _GRID).tolist()
    for u in us:
        for v in vs:
            surface.D1(u, v, p, du, dv)
            rows.append(p.Coord() + du.Coord() + dv.Coord())
    data = np.array(rows)
    points = data[:, :3]
    data = _once(data)
    normals = crossed(data[:, 3:6], data[:, 6:9])
    sizes = np.sqrt((normals * normals).sum(axis=1))
    good = sizes > 1e-12 * max(float(sizes.max()), 1e-300)
    if int(good.sum()) < 6 or not np.isfinite(data).all():
        return Patch(index, Primitive(OTHER, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), flip, rims)
    unit_normals = normals[good] / sizes[good][:, None]
    shape, outward = recognise(data[good, :3], unit_normals, tol)
    between = [surface.Value(_at(bounds[:2], a), _at(bounds[2:], b)) for a in _BETWEEN for b in _BETWEEN]
    spots = np.array([q.Coord() for q in between])
    if shape.kind != OTHER and astray(shape, spots) > max(10.0 * tol.fit, ALMOST * shape.radius):
        shape = Primitive(OTHER, shape.point, shape.axis)  # a coil whose turns fall in step with the grid
    patch = Patch(index, shape, flip * outward, rims, samples=points)
    if shape.kind in (CYLINDER, TORUS, CONE):
        _ranges(patch, points.reshape(_GRID, _GRID, 3))
    return patch


def _at(ends: tuple[float, ...], share: float) -> float:
    return ends[0] + share * (ends[1] - ends[0])


def _once(data: Array) -> Array:
    """Grid rows without the seams of a face that closes on itself, which would count twice in a fit."""
    grid = data.reshape(_GRID, _GRID, -1)
    size = float(np.abs(np.ptp(data[:, :3], axis=0)).max())
    if float(np.abs(grid[0, :, :3] - grid[-1, :, :3]).max()) <= 1e-6 * size:
        grid = grid[:-1]
    if float(np.abs(grid[:, 0, :3] - grid[:, -1, :3]).max()) <= 1e-6 * size:
        grid = grid[:, :-1]
    return grid.reshape(-1, data.shape[1])


def _ranges(patch: Patch, grid: Array) -> None:
    """Parameter ranges of a recognised face on its primitive, from its grid of points (rows along u and v)."""
    shape = patch.shape
    c, d = np.array(shape.point), np.array(shape.axis)
    arms = grid - c
    along = arms @ d
    flat = arms - along[:, :, None] * d
    sizes = np.sqrt((flat * flat).sum(axis=2))
    row, column = np.unravel_index(int(sizes.argmax()), sizes.shape)
    x = flat[row, column] / sizes[row, column]
    patch.x = (float(x[0]), float(x[1]), float(x[2]))
    around = np.arctan2(flat @ np.cross(d, x), flat @ x)
    patch.u = _span(around)
    if shape.kind == TORUS:
        patch.v = _span(np.arctan2(along, sizes - shape.major))
    else:
        patch.v = (float(along.min()), float(along.max()))


def _span(angles: Array) -> tuple[float, float]:
    """The range that angles on a grid cover, turns counted along its rows and columns."""
    # a step between neighbours is always below half a turn: eight steps make at most one turn
    whole = _unwound(_unwound(angles.T).T)
    other = _unwound(_unwound(angles).T).T
    low, high = min(((float(w.min()), float(w.max())) for w in (whole, other)), key=lambda pair: pair[1] - pair[0])
    if high - low > tau + 1e-6:
        return low, low + tau
    return (low, low + tau) if high - low > tau - 1e-9 else (low, high)


def _unwound(angles: Array) -> Array:
    """Angles (radians) whose steps down a column are half a turn at most: `numpy.unwrap`, in a fifth of the time."""
    turns = np.cumsum(np.round(np.diff(angles, axis=0) / tau), axis=0)
    return np.concatenate((angles[:1], angles[1:] - tau * turns))


def half_turn(angle: float) -> float:
    """An angle in radians brought into (-pi, pi]."""
    return pi - (pi - angle) % tau
