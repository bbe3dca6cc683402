"""Tubes that meet, and the CAD kernel's own cut of the same pair, for the tests of joints."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, radians, sin, sqrt
from typing import Any

import numpy as np
from tubes import run_of, tube_of

from converter.findings import Finding
from converter.joints.cuts.lines import Branch
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut
from converter.joints.finding.joints import survey_frame
from converter.joints.model import Joint
from converter.model.bends import Placement
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.job_file import JobFile
from converter.tolerances import DEFAULT, Tolerances

IN = 25.4


def find_joints(
    tubes: Sequence[Tube], job: JobFile | None = None, tol: Tolerances = DEFAULT, gap: float = 0.0
) -> tuple[list[Joint], list[Finding]]:
    """Every end that is cut to fit, and what is to be said of the joints; arguments as of `survey_frame`."""
    found = survey_frame(tubes, job, tol, gap)
    return found.joints, [*found.findings, *found.crossing_findings]


def straight(name: str, a: tuple[float, float, float], b: tuple[float, float, float], section: Section | None) -> Tube:
    """A straight tube from a to b."""
    d = tuple(y - x for x, y in zip(a, b, strict=True))
    length = sqrt(sum(v * v for v in d))
    placement = Placement.leaving(a, tuple(v / length for v in d))  # type: ignore[arg-type]
    return tube_of(run_of([], length, placement, name=name), section)


def pair(
    r: float, big: float, theta: float, offset: float = 0.0, wall: float = 1e-3, gap: float = 0.0, zero: str = "obtuse"
) -> Cut:
    """A round end (radius r) on a round mate along x (radius ``big``) through the origin.

    The end point is the foot of the common perpendicular on the end's axis, ``offset`` along y. The zero
    line lies in the plane of both axes on the obtuse side, as in the closed forms.
    """
    a = radians(theta)
    direction = (-cos(a), 0.0, -sin(a))  # the tube leaves the mate toward +x, +z: obtuse is -x
    sign = 1.0 if zero == "obtuse" else -1.0
    line = (-sign * sin(a), 0.0, sign * cos(a))
    branch = Branch((0.0, offset, 0.0), direction, line, Section("round", 2.0 * r, wall))
    return Cut(branch, ((RoundPrism((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), big + gap),),))


def surface_points(cut: Cut, phi: Any, bore: bool = False) -> Any:
    """Points in space of the cut's outside (or bore) line, (n, 3)."""
    lines = cut.branch.lines(phi, bore)
    t = cut.reach(lines)[0]
    b = cut.branch
    return (
        np.asarray(b.point)
        + lines.p[:, None] * np.asarray(b.zero)
        + lines.q[:, None] * np.asarray(b.side)
        - t[:, None] * np.asarray(b.direction)
    )


def lengths_of(cut: Cut, points: Any) -> tuple[Any, Any]:
    """(phi, t) of points on the outside of the end, degrees and mm."""
    b = cut.branch
    w = points - np.asarray(b.point)
    phi = np.degrees(np.arctan2(w @ np.asarray(b.side), w @ np.asarray(b.zero))) % 360.0
    return phi, -(w @ np.asarray(b.direction))


def kernel_cylinder(point: Any, axis: Any, radius: float, length: float) -> Any:
    """A solid cylinder of the CAD kernel from ``point`` along ``axis``."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    axes = gp_Ax2(gp_Pnt(*map(float, point)), gp_Dir(*map(float, axis)))
    return BRepPrimAPI_MakeCylinder(axes, radius, length).Solid()


def kernel_box(corner: Any, size: Any) -> Any:
    """A solid box of the CAD kernel along the axes."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
    from OCP.gp import gp_Pnt

    return BRepPrimAPI_MakeBox(gp_Pnt(*map(float, corner)), *map(float, size)).Solid()


def kernel_cut(cut: Cut, mate: Any, back: float = 200.0, ahead: float = 200.0, bore: bool = False) -> Any:
    """The kernel's boolean: a tube about the end's axis less the mate."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    b = cut.branch
    start = np.asarray(b.point) - back * np.asarray(b.direction)
    tube = kernel_cylinder(start, b.direction, b.section.od / 2.0, back + ahead)
    if bore:
        inner = kernel_cylinder(start, b.direction, b.section.bore_radius, back + ahead)
        tube = BRepAlgoAPI_Cut(tube, inner).Shape()
    return BRepAlgoAPI_Cut(tube, mate).Shape()


def edge_points(shape: Any, cut: Cut, per_edge: int = 60) -> Any:
    """Points on the kernel's edges that lie on the end's outside and on no plane cap, (n, 3)."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.TopAbs import TopAbs_EDGE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    b = cut.branch
    found = []
    walk = TopExp_Explorer(shape, TopAbs_EDGE)
    while walk.More():
        edge = TopoDS.Edge_s(walk.Current())
        walk.Next()
        if BRep_Tool.Degenerated_s(edge):
            continue
        curve = BRepAdaptor_Curve(edge)
        rows = []
        for u in np.linspace(curve.FirstParameter(), curve.LastParameter(), per_edge):
            p = curve.Value(float(u))
            rows.append((p.X(), p.Y(), p.Z()))
        points = np.array(rows)
        w = points - np.asarray(b.point)
        along = w @ np.asarray(b.direction)
        radial = np.linalg.norm(w - along[:, None] * np.asarray(b.direction), axis=1)
        on_outside = np.abs(radial - b.section.od / 2.0).max() < 1e-4
        around = np.degrees(np.arctan2(w @ np.asarray(b.side), w @ np.asarray(b.zero)))
        lengthwise = np.abs(np.sin(np.radians(around - around[0]))).max() < 1e-6  # the seam
        if on_outside and not lengthwise and np.abs(along).max() < 190.0:
            found.append(points)
    return np.concatenate(found)
