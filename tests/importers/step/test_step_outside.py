"""Names as files write them, parts in other files, curves beside solids, faults that are none."""

from __future__ import annotations

import os
import re

import pytest
from OCP.gp import gp_Trsf, gp_Vec
from OCP.STEPCAFControl import STEPCAFControl_Writer
from OCP.STEPControl import STEPControl_StepModelType
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDocStd import TDocStd_Document
from OCP.TopLoc import TopLoc_Location
from OCP.XCAFDoc import XCAFDoc_DocumentTool
from places import FIXTURES
from step_tools import build, hook, step_bytes
from tube_bodies import pipe
from tubes import run_of

from converter.disk.reading import files_read, recorded
from converter.importers.registry import ReadOptions
from converter.importers.step.read import read_step
from converter.kernel.shapes.solids import tube_solid
from converter.kernel.step.labels import best_name
from converter.kernel.step.outside import decoded, without_file_names
from converter.kernel.step.read import load_step
from converter.kernel.step.write import StepItem
from converter.model.section import Section

TUBE = Section("round", 33.7, 2.6)


# --- names ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "name"),
    [
        (b"Tub\xe9 1", "Tubé 1"),
        (b"Stra\xdf", "Straß"),
        (b"\xc4nderung \x96 B\xf6gen", "Änderung – Bögen"),
        ("Bügel".encode() + b" \xe9", "Bügel é"),
        (rb"R\X2\00FC\X0\ckrohr", "Rückrohr"),
        (rb"R\X\FCckrohr", "Rückrohr"),
        (rb"R\S\|ckrohr", "Rückrohr"),
    ],
)
def test_names_of_old_programs(tmp_path, written, name):
    """ISO 8859-1 and Windows-1252 letters as they stand, and the escapes of ISO 10303-21, 6.4.3."""
    path = tmp_path / "x.step"
    path.write_bytes(build(hook(), name="@").encode().replace(b"@", written))
    assert {c.name for c in read_step(path).curves} == {name}
    if b"\\" in written:
        assert decoded(written.decode()) == name


@pytest.mark.parametrize(
    ("names", "best"),
    [
        (("Body1", "Rail"), "Rail"),
        (("", "Boss-Extrude2[1]", "Solid (3)"), "Boss-Extrude2[1]"),
        (("Tube 7", "Frame"), "Tube 7"),
        ((None, ""), ""),
    ],
)
def test_a_programs_own_name_counts_last(names, best):
    assert best_name(*names) == best


def test_a_body_is_called_by_its_part_where_its_own_name_is_a_programs(tmp_path):
    text = step_bytes([StepItem("Body1", tube_solid(run_of([], 200), TUBE))]).decode()
    path = tmp_path / "x.step"
    path.write_text(text)
    assert [t.name for t in read_step(path).tables] == ["Body1"]
    path.write_text(re.sub(r"(PRODUCT\()'[^']*','[^']*'", r"\1'Handrail','Handrail'", text))
    assert [t.name for t in read_step(path).tables] == ["Handrail"]


# --- faults that are none ---------------------------------------------------------------------


def test_texts_that_are_not_set_are_no_damage(tmp_path):
    text = (FIXTURES / "step" / "freecad-assembly.step").read_text()
    unset = text.replace("ITEM_DEFINED_TRANSFORMATION('',''", "ITEM_DEFINED_TRANSFORMATION($,$")
    assert unset != text
    path = tmp_path / "x.step"
    path.write_text(unset)
    session = load_step(path.read_bytes(), "x")
    assert (session.broken, session.nameless) == ("", False)
    assert read_step(path).findings == []
    nameless = load_step(text.replace("CARTESIAN_POINT('',", "CARTESIAN_POINT($,").encode(), "x")
    assert nameless.broken and nameless.nameless and not nameless.serious
    worse = load_step(text.replace("CATEGORY('part',$,(#490))", "CATEGORY($,$,5)").encode(), "x")
    assert worse.broken and not worse.nameless


# --- parts in other files -----------------------------------------------------------------------


def document_with_files(folder):
    """A frame of a rail placed twice and a post once, each in a file of its own, as the kernel's writer makes them."""
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    shapes = {"Rail": tube_solid(run_of([(150, 0, 90, 90)], 200), TUBE), "Post": pipe((0, 0, 0), (0, 0, 1), 20, 2, 300)}
    labels = {name: tool.AddShape(getattr(shape, "wrapped", shape), False) for name, shape in shapes.items()}
    frame = tool.NewShape()
    for name, label in [*labels.items(), ("Frame", frame)]:
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(name))
    for name, x in (("Rail", 0), ("Rail", 1000), ("Post", 500)):
        move = gp_Trsf()
        move.SetTranslation(gp_Vec(x, 0, 0))
        tool.AddComponent(frame, labels[name], TopLoc_Location(move))
    tool.UpdateAssemblies()
    writer = STEPCAFControl_Writer()
    before = os.getcwd()
    os.chdir(folder)  # the kernel writes such files where the program runs
    try:
        assert writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs, "of-")
        writer.Write("frame.step")
    finally:
        os.chdir(before)
    return folder / "frame.step"


@pytest.fixture(scope="module")
def frame(tmp_path_factory):
    return document_with_files(tmp_path_factory.mktemp("frame"))


def places(drawing):
    return [(t.name, round(t.placement.start[0])) for t in drawing.tables]


def findings(drawing):
    return [(f.variant, dict(f.value_pairs).get("file")) for f in drawing.findings if f.code == "part-elsewhere"]


def test_parts_beside_the_file_are_read_in_their_places(frame):
    with recorded():
        drawing = read_step(frame)
        names = {os.path.basename(file.path) for file in files_read()}
    assert places(drawing) == [("Rail", 0), ("Rail", 1000), ("Post", 500)]
    assert names == {"frame.step", "of-Rail.stp", "of-Post.stp"}  # so that none of them is written over
    assert findings(drawing) == [("read", None)] and not drawing.ignored


def test_units_and_layers_reach_parts_in_other_files(frame):
    drawing = read_step(frame, ReadOptions(units="in"))
    assert places(drawing) == [("Rail", 0), ("Rail", 25400), ("Post", 12700)]
    assert drawing.tables[0].section.od == pytest.approx(33.7 * 25.4)
    assert places(read_step(frame, ReadOptions(layers=("post",)))) == [("Post", 500)]


def test_missing_parts_are_named(frame, tmp_path):
    alone = tmp_path / "frame.step"
    alone.write_bytes(frame.read_bytes())
    (tmp_path / "of-Post.stp").write_bytes((frame.parent / "of-Post.stp").read_bytes())
    drawing = read_step(alone)
    assert places(drawing) == [("Post", 500)]
    assert findings(drawing) == [("read", None), ("", "of-Rail.stp")]
    assert "'Rail' lies in another file" in drawing.findings[-1].message


@pytest.mark.parametrize(
    "named", ["../{}/of-Rail.stp", "{}/of-Rail.stp", "/etc/passwd", ".of-Rail.stp", "c:of-Rail.stp"]
)
def test_only_plain_names_in_the_same_folder_are_opened(frame, tmp_path, monkeypatch, named):
    """Neither by us nor by the kernel, which goes by where the program runs."""
    other = tmp_path / "inner"
    other.mkdir()
    name = named.format(frame.parent.name)
    text = frame.read_text().replace("of-Rail.stp'", name + "'")
    (other / "frame.step").write_text(text)
    monkeypatch.chdir(frame.parent.parent if named[0] == "{" else frame.parent)
    drawing = read_step(other / "frame.step")
    assert drawing.tables == []
    assert ("", name) in findings(drawing) and ("", "of-Post.stp") in findings(drawing)


def test_a_part_that_is_damaged_or_holds_itself(frame, tmp_path):
    whole = tmp_path / "frame.step"
    whole.write_bytes(frame.read_bytes())
    (tmp_path / "of-Rail.stp").write_text("ISO-10303-21;\nHEADER;")
    (tmp_path / "of-Post.stp").write_text(frame.read_text().replace("of-Post.stp", "of-Post.stp"))
    drawing = read_step(whole)
    assert drawing.tables == []
    told = {
        dict(f.value_pairs)["file"]: f.message for f in drawing.findings if f.code == "part-elsewhere" and not f.variant
    }
    assert "cut short" in told["of-Rail.stp"] and "part of itself" in told["of-Post.stp"]


def test_the_kernel_never_sees_a_files_name(frame):
    data, names = without_file_names(frame.read_bytes())
    assert b"of-Rail.stp'" not in data.replace(b"of-Rail.stp-Doc", b"") and {"of-Rail.stp", "of-Post.stp"} == set(names)
    assert without_file_names(build(hook()).encode())[1] == []


# --- surfaces in parts --------------------------------------------------------------------------


def faces_of(shape):
    import cadquery as cq

    return [f for f in cq.Shape.cast(getattr(shape, "wrapped", shape)).Faces() if f.geomType() != "PLANE"]


def read_parts(path, shapes):
    import cadquery as cq

    assembly = cq.Assembly(name="all")
    for name, shape in shapes:
        assembly.add(shape, name=name)
    assembly.export(str(path), "STEP")
    return read_step(path)


def test_faces_that_are_parts_make_each_tube_of_a_frame(tmp_path):
    """Names are those of the parts in the middle of each; what is one body in no file is not told as one."""
    post, branch = pipe((0, 0, 0), (1, 0, 0), 15, 2, 400), pipe((200, 15, 0), (0, 1, 0), 10, 2, 300)
    named = [(f"post {i}", f) for i, f in enumerate(faces_of(post))]
    drawing = read_parts(tmp_path / "x.step", [*named, *((f"branch {i}", f) for i, f in enumerate(faces_of(branch)))])
    assert sorted((t.name, t.section.od, t.section.wall) for t in drawing.tables) == [
        ("branch 0", pytest.approx(20), pytest.approx(2)), ("post 0", pytest.approx(30), pytest.approx(2)),
    ]  # fmt: skip
    assert {f.code for t in drawing.tables for f in t.findings} == {"solid-joined"}


def test_skins_of_two_tubes_side_by_side_stay_two(tmp_path):
    import cadquery as cq

    hook = cq.Compound.makeCompound(faces_of(tube_solid(run_of([(150, 0, 90, 90)], 200), Section("bar", 33.7, 16.85))))
    bar = cq.Compound.makeCompound(faces_of(tube_solid(run_of([], 400), Section("bar", 20, 10)))).translate((0, 60, 50))
    drawing = read_parts(tmp_path / "x.step", [("hook", hook), ("bar", bar)])
    assert [(t.name, t.section, len(t.table.bends)) for t in drawing.tables] == [("hook", None, 1), ("bar", None, 0)]
    assert {f.code for t in drawing.tables for f in t.findings} == {"solid-skin"}


def test_a_hole_whose_plate_is_in_other_parts_is_no_tube(tmp_path):
    import cadquery as cq

    plate = cq.Workplane("XY").box(100, 60, 5).faces(">Z").workplane().hole(5).val()
    drawing = read_parts(tmp_path / "x.step", [(f"f{i}", face) for i, face in enumerate(plate.Faces())])
    assert not drawing.tables and len(drawing.ignored) == 1 and "boss" in drawing.ignored[0].why_in()


# --- curves beside solids -----------------------------------------------------------------------


def test_a_centerline_that_is_a_part_of_its_own_beside_its_solid(tmp_path):
    """The same hook as a solid and as a sketch is one tube; beside it, another sketch stays."""
    import cadquery as cq

    path = tmp_path / "x.step"
    run = run_of([(150, 0, 90, 90)], 200)
    points = [cq.Vector(*p) for p in ((0, 0), (150, 0), (150 + 90 / 2**0.5, 90 - 90 / 2**0.5), (240, 90), (240, 290))]
    arc = cq.Edge.makeThreePointArc(*points[1:4])
    wire = cq.Wire.assembleEdges([cq.Edge.makeLine(*points[:2]), arc, cq.Edge.makeLine(*points[3:])])
    for away, curves in ((0.0, 0), (300.0, 3)):
        assembly = cq.Assembly(name="all")
        assembly.add(cq.Shape.cast(tube_solid(run, TUBE)), name="rail")
        assembly.add(wire.translate(cq.Vector(0, 0, away)), name="path")
        assembly.export(str(path), "STEP")
        drawing = read_step(path)
        assert len(drawing.tables) == 1 and len(drawing.curves) == curves
        assert sum(i.count for i in drawing.ignored) == 3 - curves
