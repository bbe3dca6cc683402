"""The same tube as other writers would store it: B-splines, surfaces of revolution, halves, loose faces, inside out."""

from __future__ import annotations

import json
import random
from math import pi

import cadquery as cq
import pytest
from bench_solid import swept
from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy, BRepBuilderAPI_NurbsConvert
from OCP.ShapeCustom import ShapeCustom
from OCP.ShapeUpgrade import ShapeUpgrade_ShapeDivideAngle, ShapeUpgrade_ShapeDivideClosed
from OCP.STEPControl import STEPControl_Reader
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS_Compound
from places import FIXTURES
from step_tools import step_bytes
from tube_bodies import BENT, ROUND, assert_is, cylinder, only, pipe, reason, same_table, tubes
from tubes import run_of

from converter.importers.solids.read import find_tubes
from converter.kernel.shapes.solids import tube_solid
from converter.kernel.step.write import StepItem
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run
from converter.model.section import Section

STEP = FIXTURES / "step"


def nurbs(shape):
    return BRepBuilderAPI_NurbsConvert(getattr(shape, "wrapped", shape), True).Shape()


def divided(shape, angle):
    tool = ShapeUpgrade_ShapeDivideAngle(angle, shape)
    tool.Perform()
    return tool.Result()


def opened(shape):
    tool = ShapeUpgrade_ShapeDivideClosed(shape)
    tool.SetNbSplitPoints(1)
    tool.Perform()
    return tool.Result()


def parts(shape, kind=TopAbs_ShapeEnum.TopAbs_FACE):
    walk, out = TopExp_Explorer(shape, kind), []
    while walk.More():
        out.append(walk.Current())
        walk.Next()
    return out


def loose(shapes):
    """A compound of copies that share no edges."""
    compound, build = TopoDS_Compound(), BRep_Builder()
    build.MakeCompound(compound)
    for shape in shapes:
        build.Add(compound, BRepBuilderAPI_Copy(shape, True).Shape())
    return compound


WRITERS = {
    "B-splines": nurbs,
    "B-splines but planes": lambda s: ShapeCustom.ConvertToBSpline_s(s, True, True, True, True),
    "revolution": ShapeCustom.ConvertToRevolution_s,
    "quarters": lambda s: divided(s, pi / 2),
    "uneven parts": lambda s: divided(s, 0.7 * pi),
    "halves": opened,
    "revolution in quarters": lambda s: ShapeCustom.ConvertToRevolution_s(divided(s, pi / 2)),
    "B-spline halves": lambda s: ShapeCustom.ConvertToBSpline_s(opened(s), True, True, True, True),
    "inside out": lambda s: s.Reversed(),
    "loose faces": lambda s: loose(parts(s)),
    "loose B-spline faces": lambda s: loose(nurbs(f) for f in parts(s)),
    "open ends": lambda s: loose(parts(s)[:-2]),
}


@pytest.mark.parametrize("writer", WRITERS)
def test_whoever_wrote_it_the_table_is_the_same(writer):
    one = only(WRITERS[writer](tube_solid(BENT, ROUND)))
    assert_is(one, BENT, ROUND)
    assert one.metal == pytest.approx((0, 0), abs=1e-6) and one.findings == ()
    assert one.deviation < 1e-5  # splitting tools lay edges to a few 1e-6


def test_faces_in_any_order():
    faces = parts(tube_solid(BENT, ROUND))
    random.Random(3).shuffle(faces)
    assert_is(only(loose(faces)), BENT, ROUND)


def test_the_kernels_own_sweep_and_its_b_splines():
    body = swept(BENT, ROUND)
    for shape in (body.wrapped, nurbs(body)):
        assert_is(only(shape), BENT, ROUND)


def test_a_skin_without_a_bore_has_no_known_wall():
    bar = parts(tube_solid(BENT, Section("bar", 30, 15)))
    one = only(loose(bar[:-2]))
    assert one.section is None and one.deviation < 1e-9
    assert [(f.code, f.measured) for f in one.findings] == [("solid-skin", pytest.approx(30.0))]
    assert only(loose(bar)).section.shape == "bar"


def test_a_bar_inside_out_is_a_bar_and_a_hole_is_none():
    assert only(cylinder((0, 0, 0), (1, 2, 3), 10, 200).wrapped.Reversed()).section.shape == "bar"
    assert "plate" in reason(cq.Workplane("XY").box(60, 60, 80).faces(">Z").workplane().hole(20).val())


@pytest.mark.slow
def test_copes_and_joints_stored_as_b_splines():
    coped = pipe((0, 0, 0), (1, 0, 0), 15, 2.5, 200).cut(cylinder((200, 0, -100), (0, 0, 1), 20, 200))
    one = only(nurbs(coped))
    assert one.table.tail == pytest.approx(200, abs=1e-6) and one.metal[1] == pytest.approx(-(175**0.5), abs=1e-6)
    joint = pipe((0, 0, 0), (0, 0, 1), 20, 2, 300).fuse(pipe((0, 0, 150), (1, 0, 0), 15, 2, 200))
    found, _ = tubes(nurbs(joint))
    assert sorted(round(t.table.tail, 6) for t in found) == [200, 300]


def test_cones_and_spheres_stored_as_b_splines():
    one = only(nurbs(cq.Solid.makeCone(15, 15.5, 200)))
    assert [f.code for f in one.findings] == ["solid-tapered"] and one.section.od == pytest.approx(30.5)
    assert "sphere" in reason(nurbs(cq.Solid.makeSphere(20, angleDegrees1=-90)))


# --- files of other programs ----------------------------------------------------------------


def read(name):
    reader = STEPControl_Reader()
    assert reader.ReadFile(str(STEP / name)).name == "IFSelect_RetDone"
    reader.TransferRoots()
    return reader.OneShape()


KNOWN = json.loads((STEP / "solid-tubes.json").read_text(encoding="utf-8"))


def test_a_tube_swept_and_coped_in_freecad_stored_as_b_splines():
    spec = KNOWN["swept"]
    rows = tuple(Bend(*map(float, row)) for row in spec["bends"])
    place = Placement(*(tuple(map(float, spec[k])) for k in ("start", "direction", "normal")))
    run = Run("swept", None, False, BendTable(rows, float(spec["tail"])), place)
    one = only(read("solid-freecad-swept.step"))
    assert_is(one, run, Section("round", spec["od"], spec["wall"]))
    assert one.metal[1] == pytest.approx(-((24.15**2 - 16.85**2) ** 0.5), abs=1e-4)  # the mate is square to the end
    assert one.deviation < 1e-5


def test_a_rack_fused_in_freecad():
    found, ignored = tubes(read("solid-freecad-rack.step"))
    assert not ignored and sorted(round(t.table.tail, 6) for t in found) == [500, 600, 600]
    rail = min(found, key=lambda t: t.section.od)
    assert (rail.section.od, rail.section.wall) == pytest.approx((33.7, 2.6))
    assert rail.placement.start == pytest.approx((0, 0, 200), abs=1e-6)
    assert rail.metal == pytest.approx([-((21.2**2 - 16.85**2) ** 0.5)] * 2, abs=1e-5)


def test_a_rectangular_tube_and_a_plate_from_freecad():
    found, ignored = tubes(read("solid-freecad-profile.step"))
    assert len(found) == 1 and len(ignored) == 1 and "plate" in ignored[0].why_in()
    assert found[0].table.tail == pytest.approx(370, abs=1e-6) and found[0].metal == pytest.approx((0, 20), abs=1e-6)
    section = found[0].section
    assert (section.shape, section.od, section.height, section.wall, section.corner) == (
        "rectangular", *(pytest.approx(v) for v in (60.0, 40.0, 3.0, 5.0)),
    )  # fmt: skip


def test_a_pipe_of_another_kernel():
    spec = KNOWN["solvespace"]
    one = only(read("solid-solvespace-pipe.step"))
    assert one.table.tail == pytest.approx(spec["length"], abs=1e-6)
    assert (one.section.od, one.section.wall) == pytest.approx((spec["od"], spec["wall"]), abs=1e-6)


# --- through STEP, and how long it takes ----------------------------------------------------


def many(count):
    items = []
    for i in range(count):
        run = run_of([(250 + i, 0, 90, 114.3), (180, 90, 45, 114.3), (120, -30, 120, 152.4), (60, 180, 30, 114.3)], 200)
        items.append((run, StepItem(f"t{i}", tube_solid(run, Section("round", 44.45, 3.048)))))
    return items


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_out_through_step_and_in_again(tmp_path, unit):
    made = many(3)
    path = tmp_path / "out.step"
    path.write_bytes(step_bytes([item for _, item in made], unit=unit))
    reader = STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    found, ignored = tubes(reader.OneShape())
    assert not ignored and len(found) == 3
    for one, (run, _) in zip(found, made, strict=True):
        assert same_table(one.table, run.table, 1e-6) and one.deviation < 1e-6


@pytest.mark.slow
def test_two_hundred_tubes_in_one_file(tmp_path):
    """Every one is found; what it costs beside the kernel's own reading is measured by benchmark.py."""
    path = tmp_path / "many.step"
    path.write_bytes(step_bytes([item for _, item in many(200)]))
    reader = STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    solids = parts(reader.OneShape(), TopAbs_ShapeEnum.TopAbs_SOLID)
    assert sum(len(find_tubes(solid, "t")[0]) for solid in solids) == 200


def test_a_plate_with_hundreds_of_holes_is_no_trap():
    plate = cq.Workplane("XY").box(400, 400, 8).faces(">Z").workplane().rarray(25, 25, 15, 15).hole(9).val()
    assert "plate" in reason(plate)
