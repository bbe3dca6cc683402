"""STEP from general-purpose CAD programs, our own STEP read back, and assemblies."""

from __future__ import annotations

import io
import json
from math import cos, radians, sin

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from places import FIXTURES
from step_tools import rows, runs_of, step_bytes
from strategies import placements, tables
from tubes import run_of

from converter.findings import has_errors
from converter.importers.registry import ReadOptions
from converter.importers.solids import read as kernel_tubes
from converter.importers.step.read import read_step
from converter.kernel.shapes.solids import centerline_wire, tube_solid
from converter.kernel.step.write import StepItem
from converter.model.bends import Placement
from converter.model.run import Run
from converter.model.section import Section
from converter.reducer import reduce_drawing

FILES = FIXTURES / "step"
TUBES = json.loads((FILES.parent / "dxf" / "tubes.json").read_text())


def spec_rows(name: str) -> list[float]:
    spec = TUBES[name]
    return [v for row in spec["bends"] for v in row] + [spec["tail"]]


def turned_round(values: list[float]) -> list[float]:
    """The same tube fed from the other end: feeds and rotations reversed, rotations with the same sign."""
    bends = [values[i : i + 4] for i in range(0, len(values) - 1, 4)]
    feeds = [values[-1], *(b[0] for b in reversed(bends))]
    rolls = [0.0, *(b[1] for b in reversed(bends[1:]))]
    out = [v for feed, roll, b in zip(feeds, rolls, reversed(bends), strict=False) for v in (feed, roll, b[2], b[3])]
    return [*out, feeds[-1]]


# --- files of CAD programs --------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "tube", "unit"),
    [
        ("freecad-wire-ap203-inch", "space", "in"),
        ("freecad-wire-ap214-metre", "space", "m"),
        ("freecad-wire-ap242-mm", "space", "mm"),
        ("freecad-nurbs", "flat", "mm"),
        ("freecad-sketch", "flat", "mm"),
        ("gmsh-wires", "flat", "mm"),
        ("solvespace-wires", "flat", "mm"),
    ],
)
def test_wires_of_cad_programs(name, tube, unit):
    drawing = read_step(FILES / f"{name}.step")
    assert drawing.units == unit
    run = reduce_drawing(drawing)[0][0]
    # six decimals of an inch in the file; SolveSpace writes its arcs as splines with six decimals
    assert rows(run) == pytest.approx(spec_rows(tube), abs=2e-4)
    assert not has_errors(run.findings)


def test_loose_edges_in_any_order():
    (run,) = runs_of(FILES / "freecad-loose.step")
    assert rows(run) == pytest.approx(turned_round(spec_rows("space")), abs=1e-6)


def test_the_sketch_keeps_its_name():
    (run,) = runs_of(FILES / "freecad-sketch.step")
    assert run.name == "hook"
    # FreeCAD drops the placement of what it exports; the file itself has the sketch where it was drawn
    assert run.placement.start == pytest.approx((10.0, 20.0, 0.0), abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["gmsh-wires", "solvespace-wires"])
def test_a_straight_of_its_own_stays_one(name):
    runs = runs_of(FILES / f"{name}.step")
    assert [len(r.table.bends) for r in runs] == [3, 0]
    assert runs[1].table.tail == pytest.approx(200.0, abs=1e-6)


def test_a_nested_assembly():
    """Two uses of one sketch in a turned frame, a plate, a bent bar: names, places, and what is left out."""
    drawing = read_step(FILES / "freecad-assembly.step")
    runs, _ = reduce_drawing(drawing)
    assert [r.name for r in runs] == ["side", "other side", "handle"]
    assert rows(runs[0]) == pytest.approx(spec_rows("space"), abs=1e-6)
    assert rows(runs[1]) == pytest.approx(spec_rows("space"), abs=1e-6)
    # the part's (0, 0, 30) is turned by 90 about x and moved by y 500 (the root's own placement FreeCAD drops)
    assert runs[0].placement.start == pytest.approx((0.0, 470.0, 0.0), abs=1e-6)
    # the other one is first turned by 180 about z and moved by y 300: (0, 300, 30), then as before
    assert runs[1].placement.start == pytest.approx((0.0, 470.0, 300.0), abs=1e-6)
    assert runs[1].placement.direction == pytest.approx((-1.0, 0.0, 0.0), abs=1e-9)
    assert rows(runs[2]) == pytest.approx(spec_rows("body"), abs=1e-6)
    assert runs[2].section is not None
    assert runs[2].section.od == pytest.approx(38.0, abs=1e-6)
    assert [i for i in drawing.ignored if "plate" in f"{i.kind} {i.why_in()}"]


@pytest.mark.parametrize("seed", range(3))
def test_an_assembly_three_deep(tmp_path, seed):
    """Two straight tubes twice in a frame, that and one of them again in a larger one, twice, all moved at random.

    By the products of the places as the writing library multiplies them.
    """
    import cadquery as cq

    random = np.random.default_rng(seed)

    def place():
        return cq.Location(
            cq.Vector(*random.uniform(-3e3, 3e3, 3)), cq.Vector(*random.normal(size=3)), random.uniform(0.0, 360.0)
        )

    heights = {"TUBE": 400.0, "BAR": 250.0}
    shapes = {
        "TUBE": cq.Workplane("XY").circle(20.0).circle(18.0).extrude(heights["TUBE"]),
        "BAR": cq.Workplane("XY").circle(10.0).extrude(heights["BAR"]),
    }
    inner, middle, outer = (cq.Assembly(name=name, loc=place()) for name in ("INNER", "MIDDLE", "OUTER"))
    own = {name: place() for name in shapes}
    for name, shape in shapes.items():
        inner.add(shape, name=name, loc=own[name])
    inners, middles, lone = (place(), place()), (place(), place()), place()
    for number, at in enumerate(inners):
        middle.add(inner, name=f"IN-{number}", loc=at)
    middle.add(shapes["TUBE"], name="LONE", loc=lone)
    for number, at in enumerate(middles):
        outer.add(middle, name=f"MID-{number}", loc=at)
    path = tmp_path / "deep.step"
    outer.export(str(path))

    def ends(at, name):
        return np.array([(at * cq.Location(cq.Vector(0, 0, z))).toTuple()[0] for z in (0.0, heights[name])])

    wanted = []
    for at in middles:
        wanted += [(name, ends(outer.loc * at * one * own[name], name)) for one in inners for name in shapes]
        wanted.append(("TUBE", ends(outer.loc * at * lone, "TUBE")))
    runs, _ = reduce_drawing(read_step(path))
    assert len(runs) == len(wanted) == 10
    for run in runs:
        found = np.array([run.start, run.end])
        off, name = min(
            (min(np.abs(found - there).max(), np.abs(found[::-1] - there).max()), name) for name, there in wanted
        )
        assert off < 1e-6 and run.layer == name
        assert run.section is not None and run.section.od == pytest.approx(40.0 if name == "TUBE" else 20.0, abs=1e-6)


# --- our own STEP ------------------------------------------------------------------------------

TUBE = Section("round", 44.45, 3.048)


def _joints_lie_free(run, joints):
    """Whether no straight or bend passes within 1 mm of a joint that is not its own."""
    for i, segment in enumerate(run.centerline):
        steps = np.linspace(0.0, 1.0, max(2, int(segment.length)))
        if hasattr(segment, "angle"):
            way = np.array([segment.point(segment.angle * u) for u in steps])
        else:
            way = np.array(segment.start) + steps[:, None] * (np.array(segment.end) - np.array(segment.start))
        others = np.delete(joints, [i, i + 1], axis=0)
        if len(others) and np.sqrt(((way[:, None] - others[None]) ** 2).sum(axis=2)).min() < 1.0:
            return False
    return True


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(tables(most=12, shortest=2.6), placements())
def test_wires_come_back_to_a_millionth(tmp_path, table, placement):
    """Random tables of up to 12 bends, zero straights and bends over 180 degrees among them, in mm and in inches."""
    run = Run("rail", None, False, table, placement)
    joints = np.array([s.start for s in run.centerline] + [run.end])
    apart = np.sqrt(((joints[:, None] - joints[None]) ** 2).sum(axis=2)) + 10.0 * np.eye(len(joints))
    assume(apart.min() > 2.5)  # a tube that comes back to itself is more than one to a reader
    assume(_joints_lie_free(run, joints))
    for unit in ("mm", "in"):
        data = step_bytes([StepItem("rail", centerline_wire(run))], unit=unit, title="t", assembly=False)
        (back,) = runs_of(tmp_path / "x.step", data)
        assert back.name == "rail"
        assert back.placement.start == pytest.approx(placement.start, abs=1e-6)
        assert len(back.table.bends) == len(table.bends)
        for one, other in zip(table.bends, back.table.bends, strict=True):
            assert (other.feed, other.angle, other.clr) == pytest.approx((one.feed, one.angle, one.clr), abs=1e-6)
            assert abs((other.rotation - one.rotation + 180.0) % 360.0 - 180.0) < 1e-6
        assert back.table.tail == pytest.approx(table.tail, abs=1e-6)


def test_named_products_that_touch_are_tubes_of_their_own(tmp_path):
    """The second starts where, and goes on as, the first one ends."""
    first = run_of([(100.0, 0.0, 90.0, 50.0)], 80.0, name="a")
    second = run_of([(70.0, 0.0, 45.0, 50.0)], 60.0, Placement((150.0, 130.0, 0.0), (0.0, 1.0, 0.0)), name="b")
    items = [StepItem(r.name, centerline_wire(r)) for r in (first, second)]
    runs = runs_of(tmp_path / "x.step", step_bytes(items, title="t"))
    assert [(r.name, r.layer, r.table.tail) for r in runs] == [
        ("a", "a", pytest.approx(80.0)),
        ("b", "b", pytest.approx(60.0)),
    ]


def field(count: int, names: list[str]) -> bytes:
    """One tube solid used ``count`` times in an assembly, 500 mm apart, each turned a degree further."""
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    run = run_of([(100.0, 0.0, 90.0, 114.3), (80.0, 90.0, 45.0, 114.3)], 60.0, Placement((10.0, 20.0, 25.0)))
    part = tool.AddShape(tube_solid(run, TUBE), False)
    TDataStd_Name.Set_s(part, TCollection_ExtendedString("rail"))
    root = tool.NewShape()
    TDataStd_Name.Set_s(root, TCollection_ExtendedString("field"))
    for i in range(count):
        turn, shift = gp_Trsf(), gp_Trsf()
        turn.SetRotation(gp_Ax1(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 0.0, 1.0)), radians(i))
        shift.SetTranslation(gp_Vec(0.0, 500.0 * i, 0.0))
        use = tool.AddComponent(root, part, TopLoc_Location(shift.Multiplied(turn)))
        if i < len(names):
            TDataStd_Name.Set_s(use, TCollection_ExtendedString(names[i]))
    tool.UpdateAssemblies()
    writer = STEPCAFControl_Writer()
    writer.SetNameMode(True)
    assert writer.Transfer(document)
    out = io.BytesIO()
    assert writer.WriteStream(out) == IFSelect_ReturnStatus.IFSelect_RetDone
    return out.getvalue()


def test_one_solid_used_often_is_looked_at_once(tmp_path, monkeypatch):
    calls = []
    real = kernel_tubes.find_tubes

    def counted(*args):
        calls.append(args[1])
        return real(*args)

    monkeypatch.setattr(kernel_tubes, "find_tubes", counted)
    runs = runs_of(tmp_path / "x.step", field(400, ["left rail"]))
    assert len(calls) == 1
    assert len({r.name for r in runs}) == len(runs) == 400
    assert runs[0].name == "left rail"
    assert {r.layer for r in runs} == {"rail"}
    first = runs[0]
    for i in (1, 37, 399):
        run, c, s = runs[i], cos(radians(i)), sin(radians(i))
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        assert run.table is first.table or rows(run) == pytest.approx(rows(first), abs=1e-9)
        expected = turn @ first.placement.start + (0.0, 500.0 * i, 0.0)
        assert run.placement.start == pytest.approx(expected.tolist(), abs=1e-6)
        assert run.end == pytest.approx((turn @ first.end + (0.0, 500.0 * i, 0.0)).tolist(), abs=1e-6)
        assert run.placement.direction == pytest.approx((turn @ first.placement.direction).tolist(), abs=1e-9)
        assert run.placement.normal == pytest.approx((turn @ first.placement.normal).tolist(), abs=1e-9)


def test_sketch_solid_and_plate_in_one_file(tmp_path):
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox

    bent = run_of([(100.0, 0.0, 90.0, 114.3)], 60.0)
    items = [
        StepItem("sketch", centerline_wire(run_of([(90.0, 0.0, 30.0, 50.0)], 60.0, Placement((0.0, 0.0, 900.0))))),
        StepItem("tube", tube_solid(bent, TUBE)),
        StepItem("plate", BRepPrimAPI_MakeBox(60.0, 40.0, 6.0).Shape()),
    ]
    path = tmp_path / "x.step"
    runs = runs_of(path, step_bytes(items, title="t"))
    assert [r.name for r in runs] == ["sketch", "tube"]
    drawing = read_step(path)
    assert len(drawing.curves) == 3  # the wire's; no edge of a solid
    assert [i.count for i in drawing.ignored] == [1]
    assert "plate" in f"{drawing.ignored[0].kind} {drawing.ignored[0].why_in()}"
    only = read_step(path, ReadOptions(layers=("tu*",)))
    assert (len(only.curves), len(only.tables)) == (0, 1)


def test_the_units_option_also_scales_solids(tmp_path):
    """A file that says mm but means inches: all lengths 25.4 times as long."""
    path = tmp_path / "x.step"
    path.write_bytes(
        step_bytes(
            [StepItem("t", tube_solid(run_of([(10.0, 0.0, 90.0, 6.0)], 5.0), Section("round", 2.0, 0.1)))], title="t"
        )
    )
    (table,) = read_step(path, ReadOptions(units="in")).tables
    (bend,) = table.table.bends
    assert (bend.feed, bend.clr, table.table.tail) == pytest.approx((254.0, 152.4, 127.0), abs=1e-6)
    assert table.section.od == pytest.approx(50.8, abs=1e-6)


def test_the_repair_that_is_not_needed_stays_off_until_shapes_are_made() -> None:
    """To load a file sets the kernel's repairs back: without ours set after that, this one takes its time unseen."""
    from OCP.TCollection import TCollection_AsciiString

    from converter.kernel.step.read import load_step

    session = load_step((FILES / "solid-gmsh-pieces.step").read_bytes(), "pieces.step")
    session.transfer()
    repairs = session.reader.GetShapeFixParameters()
    set_to = {
        name: repairs.Find(TCollection_AsciiString(f"FixShape.{name}")).ToCString()
        for name in ("FixSameParameterMode", "FixAddPCurveMode", "CreateOpenSolidMode", "Tolerance3d")
    }
    # the others as the kernel sets them where nobody does
    assert set_to == {
        "FixSameParameterMode": "0",
        "FixAddPCurveMode": "-1",
        "CreateOpenSolidMode": "0",
        "Tolerance3d": "1e-06",
    }
