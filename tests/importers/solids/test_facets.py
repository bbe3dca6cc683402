"""Solids that are meshes: what was meshed is known, and the STL of the same triangles is read by the mesh reader."""

from __future__ import annotations

from math import radians

import cadquery as cq
import pytest
from places import FIXTURES
from tube_bodies import cylinder, faceted, pipe, same_table
from tubes import run_of

from converter.importers.registry import read
from converter.importers.step.read import read_step
from converter.kernel.shapes.solids import tube_solid
from converter.kernel.topology import subshapes
from converter.model.section import Section

MESH = FIXTURES / "mesh"
HOOK = run_of([(120, 0, 60, 80)], 90)
TUBE = Section("round", 30, 2)


def without_surfaces(shape, path):
    """STEP of AP242 with triangles alone, as programs write that share no more than what is seen."""
    from OCP.BRep import BRep_Builder, BRep_Tool
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shell

    BRepMesh_IncrementalMesh(shape, 0.05, False, 0.2, False)
    builder, shell = BRep_Builder(), TopoDS_Shell()
    builder.MakeShell(shell)
    for face in map(TopoDS.Face_s, subshapes(shape, "FACE")):
        bare = TopoDS_Face()
        builder.MakeFace(bare, BRep_Tool.Triangulation_s(face, TopLoc_Location()))
        bare.Orientation(face.Orientation())
        builder.Add(shell, bare)
    writer = STEPControl_Writer()
    old = Interface_Static.IVal_s("write.step.tessellated"), Interface_Static.CVal_s("write.step.schema")
    Interface_Static.SetIVal_s("write.step.tessellated", 1)
    Interface_Static.SetCVal_s("write.step.schema", "AP242DIS")
    try:
        writer.Transfer(shell, STEPControl_StepModelType.STEPControl_AsIs)
        writer.Write(str(path))
    finally:
        Interface_Static.SetIVal_s("write.step.tessellated", old[0])
        Interface_Static.SetCVal_s("write.step.schema", old[1])
    return path


def step_of(shape, path):
    shape.exportStep(str(path))
    return path


@pytest.mark.parametrize("name", ["freecad-square.stl", "openscad-hook.stl"])
def test_a_mesh_made_into_a_solid_is_read_as_the_mesh(name, tmp_path):
    (tube,) = read_step(step_of(faceted(MESH / name), tmp_path / "m.step")).tables
    (same,) = read(MESH / name).tables
    assert same_table(tube.table, same.table, 1e-4) and tube.section.is_same_stock(same.section, 1e-4)
    (told,) = [f for f in tube.findings if f.code == "solid-facets"]
    assert told.severity == "warning" and told.measured == tube.deviation


def test_triangles_without_surfaces_are_read(tmp_path):
    """The kernel's process crashed on them."""
    drawing = read_step(without_surfaces(tube_solid(HOOK, TUBE), tmp_path / "t.step"))
    (tube,) = drawing.tables
    assert same_table(tube.table, HOOK.table, 0.01) and tube.section.is_same_stock(TUBE, 0.01)
    assert tube.table.developed_length == pytest.approx(120 + 80 * radians(60) + 90, abs=0.01)
    assert not drawing.ignored


def test_triangles_that_are_no_tube_are_told(tmp_path):
    plate = cq.Workplane("XY").box(100, 60, 8).faces(">Z").hole(20).val()
    drawing = read_step(without_surfaces(plate.wrapped, tmp_path / "p.step"))
    assert not drawing.tables and "a mesh made into a solid" in drawing.ignored[0].why_in()


def test_facets_merged_to_flats_are_read_too(tmp_path):
    """FreeCAD merges triangles of one plane: of a straight tube the facets are long rectangles."""
    prism = cq.Workplane("YZ").polygon(48, 40).polygon(48, 36).extrude(300).val()
    (tube,) = read_step(step_of(prism, tmp_path / "m.step")).tables
    assert tube.section.od == pytest.approx(40, abs=0.01) and tube.table.tail == pytest.approx(300, abs=0.01)
    assert any(f.code == "solid-facets" for f in tube.findings)


def test_a_plate_of_many_flats_stays_a_plate(tmp_path):
    comb = cq.Workplane("XY").box(200, 60, 6).val()
    comb = comb.cut(*(cq.Solid.makeBox(4, 40, 8, cq.Vector(-90 + 12 * k, -20, -4)) for k in range(15)))
    drawing = read_step(step_of(comb, tmp_path / "c.step"))
    assert not drawing.tables and "a plate, block or bracket" in drawing.ignored[0].why_in()


def test_tubes_with_round_faces_go_by_those(tmp_path):
    body = pipe((0, 0, 0), (1, 0, 0), 20, 2, 300).cut(cylinder((100, 0, -50), (0, 0, 1), 5, 100))
    (tube,) = read_step(step_of(body, tmp_path / "r.step")).tables
    assert not any(f.code == "solid-facets" for f in tube.findings) and tube.deviation < 1e-6
