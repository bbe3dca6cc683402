"""The kernel's topology made by hand (a `Maker`): vertices, edges with their curves on both faces, faces, solids.

The kernel's own sweeps approximate and are slow; a tube is known exactly, so its boundary
is written down. Every edge is made once and shared by the faces that meet there. Loops run
counter-clockwise on the surface's own parameters; a face whose surface looks the wrong way
is reversed as a whole. Planes need no curves in their parameters (the kernel works those out).

Only imported after `converter.kernel.require`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from OCP.BRep import BRep_Builder
from OCP.Geom import (
    Geom_Circle,
    Geom_ConicalSurface,
    Geom_Curve,
    Geom_CylindricalSurface,
    Geom_Ellipse,
    Geom_Line,
    Geom_Plane,
    Geom_Surface,
    Geom_ToroidalSurface,
)
from OCP.Geom2d import Geom2d_BSplineCurve, Geom2d_Curve, Geom2d_Line
from OCP.gp import gp_Ax2, gp_Ax3, gp_Dir, gp_Dir2d, gp_Pnt, gp_Pnt2d, gp_Trsf
from OCP.TColgp import TColgp_Array1OfPnt2d
from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal
from OCP.TopAbs import TopAbs_Orientation
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS_Edge, TopoDS_Face, TopoDS_Shell, TopoDS_Solid, TopoDS_Vertex, TopoDS_Wire

from converter.geometry.vectors import Vec, norm
from converter.kernel.shapes.maker import TOLERANCE, Jet
from converter.model.bends import Placement

FORWARD = TopAbs_Orientation.TopAbs_FORWARD
REVERSED = TopAbs_Orientation.TopAbs_REVERSED
_PLACE = TopLoc_Location()
_BUILD = BRep_Builder()


def ax2(point: Vec, axis: Vec, x: Vec) -> gp_Ax2:
    """A right-handed frame: z along ``axis``, x along ``x``."""
    return gp_Ax2(gp_Pnt(*point), gp_Dir(*axis), gp_Dir(*x))


def ax3(point: Vec, axis: Vec, x: Vec) -> gp_Ax3:
    """As `ax2`, for surfaces."""
    return gp_Ax3(gp_Pnt(*point), gp_Dir(*axis), gp_Dir(*x))


def to_own_frame(place: Placement) -> gp_Trsf:
    """The motion that brings a frame into the origin, its direction along x, its normal along z."""
    motion = gp_Trsf()
    motion.SetTransformation(ax3(place.start, place.normal, place.direction))
    return motion


def line(point: Vec, direction: Vec) -> Geom_Line:
    """A line with its length as parameter."""
    return Geom_Line(gp_Pnt(*point), gp_Dir(*direction))


def circle(point: Vec, axis: Vec, x: Vec, radius: float) -> Geom_Circle:
    """A circle with the angle (radians) from ``x`` as parameter."""
    return Geom_Circle(ax2(point, axis, x), radius)


def ellipse(point: Vec, axis: Vec, major: Vec, minor: float) -> Geom_Ellipse:
    """An ellipse; ``major`` is its longer half axis as a vector."""
    return Geom_Ellipse(ax2(point, axis, major), norm(major), minor)


def plane(point: Vec, normal: Vec, x: Vec) -> Geom_Plane:
    """A plane that looks along ``normal``."""
    return Geom_Plane(ax3(point, normal, x))


def cylinder(point: Vec, axis: Vec, x: Vec, radius: float) -> Geom_CylindricalSurface:
    """A cylinder around ``axis``, with angles from ``x``."""
    return Geom_CylindricalSurface(ax3(point, axis, x), radius)


def cone(point: Vec, axis: Vec, x: Vec, angle: float, radius: float) -> Geom_ConicalSurface:
    """A cone around ``axis`` that widens along it by half an ``angle`` (radians), of a ``radius`` at the point."""
    return Geom_ConicalSurface(ax3(point, axis, x), angle, radius)


def torus(point: Vec, axis: Vec, x: Vec, radius: float, tube: float) -> Geom_ToroidalSurface:
    """A torus around ``axis``: radius of its centerline and of its tube."""
    return Geom_ToroidalSurface(ax3(point, axis, x), radius, tube)


def flat(u: float, v: float, du: float, dv: float) -> Geom2d_Line:
    """A straight on a surface's parameters; ``(du, dv)`` is a unit vector."""
    return Geom2d_Line(gp_Pnt2d(u, v), gp_Dir2d(du, dv))


def traced(jet: Callable[[float], Jet], first: float, last: float) -> Geom2d_BSplineCurve:
    """A curve in a surface's parameters that no kernel type describes, such as a mitre on a cylinder.

    Quintic Hermite pieces, at most 1/16 rad long: for a sine of amplitude A the error is below
    A h^6 / 46080 = 1.3e-12 A (error of two-point Hermite interpolation of order 6, textbook).
    """
    count = max(1, int((last - first) * 16.0) + 1)
    step = (last - first) / count
    poles: list[tuple[float, float]] = []
    for i in range(count):
        (a0, a1, a2), (b0, b1, b2) = jet(first + i * step), jet(first + (i + 1) * step)
        h = step / 5.0
        k = step * step / 20.0
        ends = [
            a0,
            tuple(p + h * d for p, d in zip(a0, a1, strict=True)),
            tuple(p + 2.0 * h * d + k * dd for p, d, dd in zip(a0, a1, a2, strict=True)),
            tuple(p - 2.0 * h * d + k * dd for p, d, dd in zip(b0, b1, b2, strict=True)),
            tuple(p - h * d for p, d in zip(b0, b1, strict=True)),
            b0,
        ]
        poles.extend((p[0], p[1]) for p in (ends if i == 0 else ends[1:]))
    points = TColgp_Array1OfPnt2d(1, len(poles))
    for i, (u, v) in enumerate(poles, 1):
        points.SetValue(i, gp_Pnt2d(u, v))
    knots = TColStd_Array1OfReal(1, count + 1)
    repeats = TColStd_Array1OfInteger(1, count + 1)
    for i in range(count + 1):
        knots.SetValue(i + 1, first + i * step)
        repeats.SetValue(i + 1, 6 if i in (0, count) else 5)
    return Geom2d_BSplineCurve(points, knots, repeats, 5)


def vertex(point: Vec, tolerance: float = TOLERANCE) -> TopoDS_Vertex:
    """A vertex."""
    made = TopoDS_Vertex()
    _BUILD.MakeVertex(made, gp_Pnt(*point), tolerance)
    return made


def edge(
    curve: Geom_Curve,
    first: float,
    last: float,
    start: TopoDS_Vertex,
    end: TopoDS_Vertex,
    tolerance: float = TOLERANCE,
) -> TopoDS_Edge:
    """The part of a curve between two parameters; ``start`` and ``end`` may be the same vertex."""
    made = TopoDS_Edge()
    _BUILD.MakeEdge(made, curve, tolerance)
    _BUILD.Add(made, start.Oriented(FORWARD))
    _BUILD.Add(made, end.Oriented(REVERSED))
    _BUILD.Range(made, first, last)
    return made


def trace(of: TopoDS_Edge, curve: Geom2d_Curve, surface: Geom_Surface, tolerance: float = TOLERANCE) -> None:
    """Give an edge its curve in a surface's parameters, on the same parameter as its curve in space."""
    _BUILD.UpdateEdge(of, curve, surface, _PLACE, tolerance)


def trace_seam(of: TopoDS_Edge, ahead: Geom2d_Curve, back: Geom2d_Curve, surface: Geom_Surface) -> None:
    """Give a seam its two curves: where the loop runs along it, and where it comes back."""
    _BUILD.UpdateEdge(of, ahead, back, surface, _PLACE, TOLERANCE)


def wire(edges: Iterable[tuple[TopoDS_Edge, bool]]) -> TopoDS_Wire:
    """A closed loop of (edge, along it?)."""
    made = TopoDS_Wire()
    _BUILD.MakeWire(made)
    for one, ahead in edges:
        _BUILD.Add(made, one.Oriented(FORWARD if ahead else REVERSED))
    made.Closed(True)
    return made


def open_wire(edges: Iterable[TopoDS_Edge], closed: bool) -> TopoDS_Wire:
    """Edges head to tail as one wire."""
    made = TopoDS_Wire()
    _BUILD.MakeWire(made)
    for one in edges:
        _BUILD.Add(made, one)
    made.Closed(closed)
    return made


def face(surface: Geom_Surface, loops: Sequence[TopoDS_Wire], outward: bool = True) -> Any:
    """A face within its loops (the outer one first); ``outward``: the surface looks out of the metal."""
    made = TopoDS_Face()
    _BUILD.MakeFace(made, surface, TOLERANCE)
    for loop in loops:
        _BUILD.Add(made, loop)
    return made if outward else made.Reversed()


def solid(shells: Iterable[Iterable[Any]]) -> TopoDS_Solid:
    """A solid within closed shells, given as faces; the outer one first, then voids."""
    made = TopoDS_Solid()
    _BUILD.MakeSolid(made)
    for faces in shells:
        shell = TopoDS_Shell()
        _BUILD.MakeShell(shell)
        for one in faces:
            _BUILD.Add(shell, one)
        shell.Closed(True)
        _BUILD.Add(made, shell)
    return made
