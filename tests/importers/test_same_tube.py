"""One invented 3D tube in every form a drawing office may send: the same table comes out of all of them.

The handrail of an invented boathouse: OD 33.7, wall 2.6, four bends in space, two of them back to back.
Run with ``-s`` to see the comparison.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from jobs import job_of, write_job
from mesh_tools import scanned, swept
from step_tools import step_bytes
from tubes import run_of, tube_of

from converter.importers.registry import ReadOptions
from converter.job import open_job
from converter.kernel.shapes.solids import centerline_wire, tube_solid
from converter.kernel.step.write import StepItem
from converter.model.bends import Placement
from converter.model.run import Run
from converter.model.section import Section
from converter.settings import Settings

SECTION = Section("round", 33.7, 2.6)
RAIL = run_of(
    [(180.0, 0.0, 90.0, 95.0), (120.0, 65.0, 40.0, 95.0), (0.0, -90.0, 75.0, 110.0), (140.0, 180.0, 55.0, 95.0)],
    160.0,
    Placement((12.0, -7.0, 850.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
    name="rail",
)


def from_exports(kind: str, name: str):
    """The file our own exporter writes."""

    def make(folder: Path) -> Path:
        job = job_of([tube_of(RAIL, SECTION)], "rail.dxf")
        paths = write_job(job, folder, [kind])
        return next(p for p in paths if p.name.endswith(name))

    return make


def step_of(name: str, shape_of):
    """A STEP file of whatever shape the kernel makes."""

    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(step_bytes([StepItem("rail", shape_of())], title="rail", assembly=False))
        return path

    return make


def nurbs():
    """The solid with every face and edge turned into B-splines."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    return BRepBuilderAPI_NurbsConvert(tube_solid(RAIL, SECTION), True).Shape()


def piped():
    """The solid as a CAD package sweeps it: two circles along the wire, one cut from the other."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.BRepOffsetAPI import BRepOffsetAPI_MakePipeShell
    from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Pnt

    spine = centerline_wire(RAIL)

    def sweep(radius: float):
        at = gp_Ax2(gp_Pnt(*RAIL.placement.start), gp_Dir(*RAIL.placement.direction))
        circle = BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(gp_Circ(at, radius)).Edge()).Wire()
        pipe = BRepOffsetAPI_MakePipeShell(spine)
        pipe.SetDiscreteMode()
        pipe.Add(circle)
        pipe.Build()
        pipe.MakeSolid()
        return pipe.Shape()

    return BRepAlgoAPI_Cut(sweep(33.7 / 2.0), sweep(33.7 / 2.0 - 2.6)).Shape()


def mesh_of(name: str, make_mesh):
    def make(folder: Path) -> Path:
        path = folder / name
        make_mesh().export(str(path))
        return path

    return make


#: form -> (how it is made, tolerance of lengths in mm, of angles in degrees, whether it knows the section)
FORMS = {
    "DXF lines and arcs": (from_exports("dxf", ".dxf"), 1e-6, 1e-6, False),
    "CSV table": (from_exports("csv", ".csv"), 1e-6, 1e-6, True),
    "STEP wire": (step_of("wire.step", lambda: centerline_wire(RAIL)), 1e-6, 1e-6, False),
    "STEP solid, analytic": (step_of("solid.step", lambda: tube_solid(RAIL, SECTION)), 1e-6, 1e-6, True),
    "STEP solid, B-splines": (step_of("nurbs.step", nurbs), 1e-6, 1e-6, True),
    "STEP solid, swept": (step_of("swept.step", piped), 1e-6, 1e-6, True),
    "STL, hollow": (mesh_of("fine.stl", lambda: swept(RAIL, SECTION, 0.1)), 1e-3, 1e-3, True),
    "3MF, coarse": (mesh_of("coarse.3mf", lambda: swept(RAIL, SECTION, 2.0)), 1e-5, 1e-5, True),
    "PLY, scanned, 0.05 mm of noise": (
        mesh_of("scan.ply", lambda: scanned(RAIL, 33.7 / 2.0, 2.5, 0.05)), 0.5, 0.1, False,
    ),
}  # fmt: skip


def canonical(run: Run) -> list[float]:
    """Straights, rotations, angles, radii from the end that comes first by x, y, z."""
    from converter.model.run import reverse_run

    if run.end < run.start:
        run = reverse_run(run)
    bends = run.table.bends
    return [
        *run.table.straights,
        *(b.rotation for b in bends),
        *(b.angle for b in bends),
        *(b.clr or 0.0 for b in bends),
    ]


@pytest.mark.parametrize("form", FORMS)
def test_same_tube_same_table(form, tmp_path):
    """Every form within its stated tolerance of the numbers the tube was drawn from."""
    make, length, angle, knows = FORMS[form]
    path = make(tmp_path)
    units = "mm" if path.suffix in (".stl", ".ply") else None
    result = open_job(str(path), Settings(read=ReadOptions(units=units)))
    assert len(result.tubes) == 1, result.drawing.ignored
    found, want = canonical(result.tubes[0].run), canonical(RAIL)
    assert len(found) == len(want)
    n = len(RAIL.table.bends)
    turns = range(n + 1, 3 * n + 1)
    off = [
        abs((a - b + 180.0) % 360.0 - 180.0) if k in turns else abs(a - b)
        for k, (a, b) in enumerate(zip(found, want, strict=True))
    ]
    lengths = max(v for k, v in enumerate(off) if k not in turns)
    angles = max(v for k, v in enumerate(off) if k in turns)
    print(f"\n{form:32} lengths off by {lengths:.1e} mm (<= {length:g}), angles by {angles:.1e} deg (<= {angle:g})")
    assert lengths <= length
    assert angles <= angle
    if knows:
        section = result.tubes[0].section
        assert section is not None
        assert (section.shape, section.od, section.wall) == pytest.approx(("round", 33.7, 2.6), abs=1e-3)
