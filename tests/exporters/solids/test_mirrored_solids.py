"""A tube that is another one in a mirror has that one's solid, mirrored: against the kernel's own cut of it, and the
curve of its cuts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from copes import straight, surface_points
from frames import RUNG, hoop
from jobs import job_of, write_job
from kernel_probe import read_step
from moved import motion, redrawn
from tubes import run_of, tube_of

from converter.exporters.solids.coped import bodies as module
from converter.exporters.solids.coped.bodies import coped_bodies
from converter.exporters.solids.coped.ends import coped_solid
from converter.kernel.shapes.solids import is_valid
from converter.model.bends import Placement
from converter.model.run import Tube
from converter.model.section import Section

THIN, BOX = Section("round", 25.0, 2.0), Section("square", 40.0, 3.0, corner=6.0)
#: Through the plane y = 0, 700 mm off.
ACROSS = np.diag((1.0, -1.0, 1.0)), np.array((0.0, -1400.0, 0.0))


def frame(section: Section) -> list[Tube]:
    """A hoop and a bar, a rung at a slant between them that passes beside both axes, and a bent stay on the bar."""
    rows = [(150.0, 0.0, 40.0, 60.0), (150.0, 35.0, 70.0, 60.0)]
    stay = Placement((100.0, -90.0, 0.0), (0.0, -0.6, 0.8), (1.0, 0.0, 0.0))
    return [
        hoop("HOOP", 0.0, 0.0, section),
        straight("BAR", (-200, 420, 0), (1200, 420, 0), section),
        straight("RUNG", (4, 0, 210), (60, 420, 0), section),
        straight("LOW", (-200, -90, 0), (1200, -90, 0), section),
        tube_of(run_of(rows, 180.0, stay, name="STAY"), section),
    ]


def measured(solid: Any) -> tuple[float, Any, Any]:
    """Volume, centre and matrix of inertia about it, mm."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, props, 1e-10)
    center, matrix = props.CentreOfMass(), props.MatrixOfInertia()
    return (
        props.Mass(),
        np.array((center.X(), center.Y(), center.Z())),
        np.array([[matrix.Value(i, j) for j in (1, 2, 3)] for i in (1, 2, 3)]),
    )


def off_surface(solid: Any, points: Any) -> float:
    """How far the farthest of some points lies from a solid's surface, mm."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepClass3d import BRepClass3d
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt
    from OCP.TopoDS import TopoDS

    shell = BRepClass3d.OuterShell_s(TopoDS.Solid_s(solid))
    return max(
        BRepExtrema_DistShapeShape(BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex(), shell).Value()
        for point in points.tolist()
    )


@pytest.mark.parametrize(
    ("section", "where", "shared"),
    [
        # far from the origin the rung, which grazes its mates, is not the same to the last digit
        (RUNG, motion(7, mirrored=True), {"STAY"}),
        (RUNG, ACROSS, {"RUNG", "STAY"}),
        (BOX, ACROSS, {"RUNG", "STAY"}),
    ],
    ids=["round askew", "round", "square"],
)
def test_it_is_what_the_kernel_cuts_of_it(section, where, shared, monkeypatch, tmp_path):
    """Volume, centre and inertia of the kernel's own cut; points of the cut lie on its surface; STEP brings it back."""
    first = frame(section)
    tubes = [*first, *redrawn(first, where, " M")]
    job, cut = job_of(tubes), list[str]()
    with monkeypatch.context() as patch:
        patch.setattr(module, "coped_solid", lambda tube, *given: cut.append(tube.name) or coped_solid(tube, *given))
        made = {body.tube.name: (body, solid) for body, solid in coped_bodies(job)}
    assert {name.removesuffix(" M") for name in made if name not in cut and name.endswith(" M")} >= shared
    for name in shared:
        body, solid = made[f"{name} M"]
        joints = [joint for joint in job.joints if joint.tube == body.tube.name]
        assert joints and is_valid(solid)
        here, there = measured(solid), measured(coped_solid(body.tube, body.section, joints))
        assert here[0] == pytest.approx(there[0], rel=1e-7)
        assert np.abs(here[1] - there[1]).max() < 1e-4
        assert np.abs(here[2] - there[2]).max() < 1e-6 * np.abs(there[2]).max()
        for joint in joints:
            assert off_surface(solid, surface_points(joint.cut, np.arange(0.0, 360.0, 7.0))) < 2e-3
            assert off_surface(made[name][1], surface_points(joint.cut, np.arange(0.0, 360.0, 7.0))) > 1.0
    [path] = write_job(job, tmp_path, ["step-coped"])
    for product in read_step(path).products:
        one, read = measured(made[product.name][1]), measured(product.shape)
        assert read[0] == pytest.approx(one[0], rel=2e-6) and np.abs(read[1] - one[1]).max() < 1e-3


@pytest.mark.parametrize("off", [0.0, 0.001])
def test_what_is_off_by_a_thousandth_is_cut_by_itself(off, monkeypatch):
    """Still the mirror image to a shop, which saws to some tenths of a millimetre."""
    first = frame(RUNG)
    first[2] = straight("RUNG", (4, 0, 210), (60, 420, 0), THIN)
    image = redrawn(first, ACROSS, " M")
    image[2] = straight("RUNG M", (4, -1400, 210 + off), (60, -1820, off), THIN)
    job, cut = job_of([*first, *image]), list[str]()
    assert {part.name: part.mirror_of for part in job.parts}["RUNG M"] == "RUNG"
    monkeypatch.setattr(module, "coped_solid", lambda tube, *given: cut.append(tube.name) or coped_solid(tube, *given))
    coped_bodies(job)
    assert ("RUNG M" in cut) is (off > 0.0)
