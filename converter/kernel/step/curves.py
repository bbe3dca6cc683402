"""The kernel's edges as our curves: exact where we have the kind, close samples where we have not."""

from __future__ import annotations

from math import degrees, isfinite, tau
from typing import Any

import numpy as np

from converter.errors import GeometryError
from converter.geometry.vectors import Vec, cross, norm, scale, sub
from converter.kernel.session import kernel_failure
from converter.model.curve import Arc, Curve, Ellipse, Line, Points, Polyline, Spline, check_reach

#: Samples stray at most this far (mm) from a curve that has no exact counterpart here.
SAMPLED = 1e-4
#: Lengths below this (mm) are points.
TINY = 1e-9
#: Parameters beyond this are the kernel's "infinite".
ENDLESS = 1e50


class NotACurve(Exception):  # noqa: N818 - it is an answer, not an error
    """An edge that is no centerline; the text says why."""


def curve_of(edge: Any) -> tuple[Curve, str]:
    """A located edge as a curve in mm, run the way the edge is oriented.

    Args:
        edge: a TopoDS_Edge.

    Returns:
        The curve, and the kind of curve it was sampled from ('' where it is exact).

    Raises:
        NotACurve: it has no length, no end or no shape that can be followed.
    """
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_CurveType as Kind
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopoDS import TopoDS

    edge = TopoDS.Edge_s(edge)
    if BRep_Tool.Degenerated_s(edge):
        raise NotACurve("a point, where a surface narrows to nothing")
    try:
        adaptor = BRepAdaptor_Curve(edge)
        first, last = adaptor.FirstParameter(), adaptor.LastParameter()
        if not (isfinite(first) and isfinite(last)) or max(abs(first), abs(last)) > ENDLESS:
            raise NotACurve("a curve without an end")
        kind = adaptor.GetType()
        sampled = ""
        curve: Curve
        if kind == Kind.GeomAbs_Line:
            curve = _line(adaptor, first, last)
        elif kind == Kind.GeomAbs_Circle:
            curve = _arc(adaptor, first, last)
        elif kind == Kind.GeomAbs_Ellipse:
            curve = _ellipse(adaptor, first, last)
        elif kind in (Kind.GeomAbs_BSplineCurve, Kind.GeomAbs_BezierCurve):
            curve = _spline(adaptor, kind == Kind.GeomAbs_BezierCurve, first, last)
        else:
            curve, sampled = _samples(adaptor, first, last), _NAMES.get(kind.name, "free curve")
        check_reach(curve)
    except GeometryError as error:
        raise NotACurve(error.message) from error
    except NotACurve:
        raise
    except Exception as error:
        raise NotACurve(f"the CAD kernel cannot follow it ({kernel_failure(error)})") from error
    if edge.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        curve = curve.reversed()
    return curve, sampled


_NAMES = {
    "GeomAbs_Hyperbola": "hyperbola",
    "GeomAbs_Parabola": "parabola",
    "GeomAbs_OffsetCurve": "offset curve",
}


def _xyz(point: Any) -> Vec:
    return (point.X(), point.Y(), point.Z())


def _line(adaptor: Any, first: float, last: float) -> Line:
    start, end = _xyz(adaptor.Value(first)), _xyz(adaptor.Value(last))
    if norm(sub(end, start)) < TINY:
        raise NotACurve("no length")
    return Line(start, end)


def _arc(adaptor: Any, first: float, last: float) -> Arc:
    circle = adaptor.Circle()
    center, radius = _xyz(circle.Location()), circle.Radius()
    turn = last - first
    if radius < TINY or radius * turn < TINY:
        raise NotACurve("no length")
    start = _xyz(adaptor.Value(first))
    # from the axes, not the circle's own axis: under a mirrored placement that one points the other way
    normal = cross(_xyz(circle.XAxis().Direction()), _xyz(circle.YAxis().Direction()))
    normal = scale(normal, 1.0 / norm(normal))
    if turn > tau - 1e-9:
        return Arc(center, normal, radius, start, start, 360.0)
    return Arc(center, normal, radius, start, _xyz(adaptor.Value(last)), degrees(turn))


def _ellipse(adaptor: Any, first: float, last: float) -> Ellipse:
    ellipse = adaptor.Ellipse()
    major = scale(_xyz(ellipse.XAxis().Direction()), ellipse.MajorRadius())
    minor = scale(_xyz(ellipse.YAxis().Direction()), ellipse.MinorRadius())
    if norm(minor) < TINY or (last - first) * norm(major) < TINY:
        raise NotACurve("no length")
    if last - first > tau - 1e-9:
        return Ellipse(_xyz(ellipse.Location()), major, minor, degrees(first), degrees(first) + 360.0)
    return Ellipse(_xyz(ellipse.Location()), major, minor, degrees(first), degrees(last))


def _spline(adaptor: Any, bezier: bool, first: float, last: float) -> Spline | Line | Polyline:
    """The exact piece of a B-spline between two parameters; one of degree 1 is the polyline it draws."""
    from OCP.GeomConvert import GeomConvert

    spline = GeomConvert.CurveToBSplineCurve_s(adaptor.Bezier()) if bezier else adaptor.BSpline()
    low, high = spline.FirstParameter(), spline.LastParameter()
    slack = 1e-12 * max(abs(first), abs(last), high - low)
    trimmed = first > low + slack or last < high - slack
    if trimmed or spline.IsPeriodic():
        spline = spline.Copy()  # the kernel may hand out its own, which others use
        if trimmed:
            spline.Segment(first, last)
        if spline.IsPeriodic():
            spline.SetNotPeriodic()
    degree, n = spline.Degree(), spline.NbPoles()
    points = np.array([_xyz(spline.Pole(i)) for i in range(1, n + 1)])
    if not np.isfinite(points).all():
        raise GeometryError("a coordinate is not a finite number", code="not-finite")
    if float(np.ptp(points, axis=0).max()) < TINY:
        raise NotACurve("no length")
    if degree == 1:
        return straight_polyline(points)
    knots = np.repeat(
        [spline.Knot(i) for i in range(1, spline.NbKnots() + 1)],
        [spline.Multiplicity(i) for i in range(1, spline.NbKnots() + 1)],
    )
    weights = np.array([spline.Weight(i) for i in range(1, n + 1)]) if spline.IsRational() else None
    start, end = _xyz(spline.Value(spline.FirstParameter())), _xyz(spline.Value(spline.LastParameter()))
    return Spline(degree, points, knots, weights, start, end)


def straight_polyline(points: Points) -> Line | Polyline:
    """A line or polyline through points, repeated ones dropped.

    Raises:
        NotACurve: all points are one.
    """
    keep = np.concatenate(([True], np.abs(np.diff(points, axis=0)).max(axis=1) > TINY))
    points = points[keep]
    if len(points) < 2:
        raise NotACurve("no length")
    if len(points) == 2:
        a, b = points.tolist()
        return Line((a[0], a[1], a[2]), (b[0], b[1], b[2]))
    return Polyline(points)


def _samples(adaptor: Any, first: float, last: float) -> Line | Polyline:
    """Points on the curve whose chords stray at most `SAMPLED` from it."""
    from OCP.GCPnts import GCPnts_QuasiUniformDeflection

    points = GCPnts_QuasiUniformDeflection(adaptor, SAMPLED, first, last)
    if not points.IsDone() or points.NbPoints() < 2:
        raise NotACurve("the CAD kernel cannot follow it")
    return straight_polyline(np.array([_xyz(points.Value(i)) for i in range(1, points.NbPoints() + 1)]))
