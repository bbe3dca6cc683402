"""Frames whose ends a CAD kernel cut with the mates' own solids: the metal stops where the cope tables say."""

from __future__ import annotations

from math import cos, radians, sin
from typing import Any

import numpy as np
import pytest
from copes import kernel_cylinder, straight
from tubes import run_of, tube_of

from converter.importers.registry import read
from converter.joints.finding.joints import survey_frame
from converter.model.run import Tube
from converter.model.section import Section
from converter.reducer import reduce_drawing

RAILS = (
    ((-50, 0, 0), (1250, 0, 0), 48.3),
    ((-50, 0, 600), (1250, 0, 600), 48.3),
    ((-50, 500, 0), (1250, 500, 0), 60.3),
)
RUNGS = (  # from, to, OD, the rails that the ends are cut by: square, at angles, beside the axis, as large as the mate
    ((600, 6, 0), (600, 6, 600), 33.7, (0, 1)),
    ((700, -4, 0), (900, -4, 600), 26.9, (0, 1)),
    ((300, 0, 0), (700, 500, 0), 33.7, (0, 2)),
    ((50, 0, 600), (350, 500, 0), 26.9, (1, 2)),
    ((1200, 0, 0), (1200, 0, 600), 48.3, (0, 1)),
)
WALL = 2.6
INSET = 1e-4  #: mm under the outside, and over the bore, so that the ray runs in the metal


def cut_tube(a: Any, b: Any, od: float, obstacles: Any) -> Any:
    """A tube as the kernel's cylinders make it, less solids."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    a, b = np.array(a, float), np.array(b, float)
    length = float(np.linalg.norm(b - a))
    d = (b - a) / length
    outside, bore = kernel_cylinder(a, d, od / 2.0, length), kernel_cylinder(a - d, d, od / 2.0 - WALL, length + 2.0)
    shape = BRepAlgoAPI_Cut(outside, bore).Shape()
    for obstacle in obstacles:
        shape = BRepAlgoAPI_Cut(shape, obstacle).Shape()
    return shape


def stops(solid: Any, joint: Any, bore: bool) -> tuple[Any, Any]:
    """Length back from the end point to where the solid's metal stops, at 72 angles, and what the joint has there."""
    from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
    from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

    branch, phi = joint.cut.branch, np.arange(0.0, 360.0, 5.0)
    zero, side, out = (np.array(v) for v in (branch.zero, branch.side, branch.direction))
    back = joint.straight / 2.0
    radius = joint.section.od / 2.0 - (WALL - INSET if bore else INSET)
    rays, measured = IntCurvesFace_ShapeIntersector(), []
    rays.Load(solid, 1e-7)
    for a in np.radians(phi):
        begin = np.array(branch.point) + radius * (cos(a) * zero + sin(a) * side) - back * out
        rays.Perform(gp_Lin(gp_Pnt(*begin.tolist()), gp_Dir(*out.tolist())), 0.0, 1e4)
        measured.append(back - min(rays.WParameter(k + 1) for k in range(rays.NbPnt())))
    return np.array(measured), joint.cut.at(phi)[int(bore)]


def test_a_frame_read_from_solids_has_the_copes_that_its_metal_has(tmp_path):
    """Eight tubes through a STEP file; outside and bore of ten ends at 72 angles each."""
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer

    whole = []
    for a, b, od in RAILS:
        d = (np.array(b, float) - a) / np.linalg.norm(np.array(b, float) - a)
        whole.append(kernel_cylinder(a - 10.0 * d, d, od / 2.0, 1320.0))
    shapes = [cut_tube(a, b, od, ()) for a, b, od in RAILS]
    shapes += [cut_tube(a, b, od, [whole[k] for k in mates]) for a, b, od, mates in RUNGS]
    writer = STEPControl_Writer()
    for shape in shapes:
        writer.Transfer(shape, STEPControl_AsIs)
    path = tmp_path / "frame.step"
    writer.Write(str(path))
    runs, _ = reduce_drawing(read(str(path)))
    joints = survey_frame([Tube(run, run.section) for run in runs]).joints
    assert len(runs) == 8 and len(joints) == 2 * len(RUNGS)
    for joint in joints:
        solid = shapes[[run.name for run in runs].index(joint.tube)]
        for bore in (False, True):
            measured, told = stops(solid, joint, bore)
            # of equal tubes the ears end in a point, which the inset cuts off: a chord of it across the circle
            ear = (2.0 * 24.15 * INSET) ** 0.5 if joint.section.od == 48.3 else 0.0
            assert measured == pytest.approx(told, abs=2e-3 + ear), (joint.tube, joint.end, bore)


def test_an_end_on_a_bend_stops_where_the_kernels_torus_does():
    """A tube 25 degrees out of the plane of a bend, onto it: cut by a whole ring of the bend's size."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeTorus
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    bent = tube_of(run_of([(200.0, 0.0, 90.0, 140.0)], 200.0, name="BENT"), Section("round", 48.3, WALL))
    arc = bent.run.centerline[1]
    begin = np.array(arc.point(40.0))
    outward = (begin - np.array(arc.center)) / arc.radius
    way = cos(radians(25.0)) * outward + sin(radians(25.0)) * np.array(arc.normal)
    end = begin + 300.0 * way
    spoke = straight("SPOKE", tuple(begin.tolist()), tuple(end.tolist()), Section("round", 33.7, WALL))
    (joint,) = survey_frame([bent, spoke]).joints
    ring = BRepPrimAPI_MakeTorus(gp_Ax2(gp_Pnt(*arc.center), gp_Dir(*arc.normal)), arc.radius, 48.3 / 2.0).Shape()
    solid = cut_tube(begin, end, 33.7, [ring])
    for bore in (False, True):
        measured, told = stops(solid, joint, bore)
        assert measured == pytest.approx(told, abs=2e-3)
