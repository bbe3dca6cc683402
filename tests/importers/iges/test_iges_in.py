"""IGES and BREP from general-purpose CAD programs, and the same part as STEP and IGES."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from iges_tools import Entity, arc, build, kernel_iges, line
from many_tubes import different_tubes
from places import FIXTURES
from step_tools import rows, step_bytes
from tubes import run_of

from converter.importers.registry import ReadOptions, detect, read
from converter.kernel.shapes.solids import centerline_wire, tube_solid
from converter.kernel.step.write import StepItem
from converter.kernel.topology import compound
from converter.model.run import Run, reverse_run
from converter.model.section import Section
from converter.reducer import reduce_drawing

SPEC = json.loads((FIXTURES / "step" / "solid-tubes.json").read_text())["swept"]
DRAWN = [float(v) for row in SPEC["bends"] for v in row] + [float(SPEC["tail"])]
#: The same tube fed from the other end, by hand: feeds and rotations reversed.
BACK = [180.0, 0.0, 120.0, 80.0, 0.0, -45.0, 60.0, 100.0, 80.0, 90.0, 90.0, 100.0, 150.0]


@pytest.mark.parametrize(
    ("name", "wanted", "units"),
    [("freecad-wire-inch.igs", DRAWN, "in"), ("freecad-nurbs.igs", BACK, "mm")],
)
def test_wires_of_a_cad_program(name, wanted, units):
    drawing = read(FIXTURES / "iges" / name)
    (run,) = reduce_drawing(drawing)[0]
    assert drawing.units == units and rows(run) == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize(
    "name",
    [
        "iges/freecad-solid.igs",
        "iges/freecad-brep.igs",
        pytest.param("brep/freecad-solid.brep", marks=pytest.mark.slow),  # a process of its own
    ],
)
def test_solids_of_a_cad_program(name):
    """Surfaces side by side, a boundary representation, and the kernel's own text."""
    (table,) = read(FIXTURES / name).tables
    assert rows(table) in (pytest.approx(DRAWN, abs=1e-4), pytest.approx(BACK, abs=1e-4))
    section = table.section
    assert (section.shape, section.od, section.wall) == ("round", pytest.approx(33.7), pytest.approx(2.6))


def test_surfaces_of_several_bodies_are_told_apart():
    drawing = read(FIXTURES / "iges" / "freecad-two.igs")
    assert [table.name for table in drawing.tables] == ["two", "two"]  # the file's group of all
    (left,) = drawing.ignored
    assert (left.kind, left.count, dict(left.why.values)["part"]) == ("solid", 1, "plate")
    low, high = sorted(table.placement.start[2] for table in drawing.tables)
    assert high - low == pytest.approx(300.0, abs=1e-6)


@pytest.mark.slow
@pytest.mark.usefixtures("forked_trials")
def test_wires_of_another_program_as_brep():
    """The numbers stand in step/gmsh-wires.geo; no unit is named, which is said."""
    drawing = read(FIXTURES / "brep" / "gmsh-wires.brep")
    bent, straight = sorted(reduce_drawing(drawing)[0], key=lambda run: -run.table.developed_length)
    assert [b.angle for b in bent.table.bends] == pytest.approx([90.0, 45.0, 45.0], abs=1e-6)
    assert straight.table.tail == pytest.approx(200.0) and [one.code for one in drawing.findings] == ["units-assumed"]


@pytest.mark.parametrize("solids", [False, True])
@pytest.mark.parametrize("section", [Section("round", 38.1, 2.0), Section("square", 40.0, 3.0, corner=6.0)])
def test_the_same_part_as_step_and_iges_gives_the_same_table(tmp_path, section, solids):
    turn = 25.0 if section.shape == "round" else 90.0
    run = run_of([(120.0, 0.0, 90.0, 100.0), (60.0, turn, 40.0, 100.0)], 150.0, name="T")
    solid = tube_solid(run, section)
    (tmp_path / "a.step").write_bytes(step_bytes([StepItem("T", solid)]))
    iges = kernel_iges(solid, tmp_path / "a.igs", solids)
    (one,), (other,) = read(tmp_path / "a.step").tables, read(iges).tables
    assert rows(other) == pytest.approx(rows(one), abs=1e-5)
    for name in ("od", "wall", "height", "corner"):
        assert getattr(other.section, name) == pytest.approx(getattr(one.section, name), abs=1e-5)
    wire = kernel_iges(centerline_wire(run), tmp_path / "w.igs", solids)
    (drawn,) = reduce_drawing(read(wire))[0]
    assert rows(drawn) == pytest.approx(rows(run), abs=1e-5)


@pytest.mark.parametrize("away", [0.0, 1e7])
def test_tubes_of_many_bends_as_surfaces_wherever_they_lie(tmp_path, away):
    """Up to 120 m and 10 km away: the writer claims 1e-7 mm there, and one tube of four came out as several."""
    tubes = different_tubes(50, bends=4)
    some = []
    for number in (*range(6), 41, 46, 49) if not away else (0, 1, 2):
        x, y, z = tubes[number].run.start
        place = replace(tubes[number].run.placement, start=(x + away, y, z))
        some.append(replace(tubes[number].run, placement=place))
    solids = [tube_solid(run, tubes[0].section) for run in some]
    drawing = read(kernel_iges(compound(solids), tmp_path / "far.igs", solids=False))
    assert not drawing.ignored and not [one for made in drawing.tables for one in made.findings]
    within = 1e-3 + 1e-9 * away
    for made, wanted in zip(sorted(drawing.tables, key=lambda one: one.placement.start[1]), some, strict=True):
        run = Run("T", None, False, made.table, made.placement)
        same = run if run.start == pytest.approx(wanted.start, abs=within) else reverse_run(run)
        assert (same.start, same.end) == (
            pytest.approx(wanted.start, abs=within),
            pytest.approx(wanted.end, abs=within),
        )
        assert rows(same) == pytest.approx(rows(wanted), abs=within)
        assert (made.section.od, made.section.wall) == (pytest.approx(38.1, abs=within), pytest.approx(3.0, abs=within))


HOOK = [
    line((0, 0, 0), (100, 0, 0), 3, name="HOOP"),
    arc((100, 50, 0), (100, 0), (150, 50), 3),
    line((150, 50, 0), (150, 150, 0), 3),
    line((0, 0, 80), (100, 0, 80), 7),
    line((0, 0, 90), (100, 0, 90), 7, hidden=True),
]


def hook(tmp_path, entities=HOOK, **given):
    path = tmp_path / "hook.dat"  # told by its content
    path.write_text(build(entities, **given))
    return path


def test_levels_are_layers_and_hidden_curves_are_left_out(tmp_path):
    drawing = read(hook(tmp_path))
    assert [(curve.layer) for curve in drawing.curves] == ["3", "3", "3", "7"]
    assert [(one.kind, one.why) for one in drawing.ignored] == [("edge", "hidden in the file")]
    (bent,) = [run for run in reduce_drawing(drawing)[0] if run.table.bends]
    assert rows(bent) == pytest.approx([100.0, 0.0, 90.0, 50.0, 100.0], abs=1e-9)
    assert [curve.layer for curve in read(hook(tmp_path), ReadOptions(layers=("7",))).curves] == ["7"]


def test_levels_go_by_their_names(tmp_path):
    """IGES 5.3, 4.98: a level function (type 406, form 3) says what the level of its directory entry is for."""
    names = [Entity(406, f"2,{n},{len(name)}H{name}", n, form=3) for n, name in ((3, "bent tubes"), (7, "rails; (x)"))]
    drawing = read(hook(tmp_path, [*HOOK, *names, line((0, 0, 70), (100, 0, 70), 8)]))
    layers = [curve.layer for curve in drawing.curves]
    assert layers == ["bent tubes"] * 3 + ["rails; (x)", "8"]
    path = hook(tmp_path, [*HOOK, *names])
    assert [c.layer for c in read(path, ReadOptions(layers=("bent*",))).curves] == ["bent tubes"] * 3
    # one name for two levels tells none of them
    same = [Entity(406, "2,1,4Htube", n, form=3) for n in (3, 7)]
    assert {curve.layer for curve in read(hook(tmp_path, [*HOOK, *same])).curves} == {"3", "7"}


def test_colors_are_layers_where_there_are_no_levels(tmp_path):
    drawn = [line((0, 0, z), (100, 0, z)) for z in (0, 10, 20, 30)]
    own = [Entity(314, "100.,50.,0."), Entity(314, "1.,2.,3.,6Hcopper")]
    colored = [one._replace(color=color) for one, color in zip(drawn, (2, 0, -1, -3), strict=True)]
    layers = [curve.layer for curve in read(hook(tmp_path, [*own, *colored])).curves]
    assert layers == ["red", None, "#ff8000", "copper"]
    # one color for all sorts nothing, and levels count before colors
    alike = [one._replace(color=4) for one in drawn]
    assert {curve.layer for curve in read(hook(tmp_path, alike)).curves} == {None}
    on_level = [colored[0]._replace(level=5), *colored[1:2]]
    assert [curve.layer for curve in read(hook(tmp_path, on_level)).curves] == ["5", None]


@pytest.mark.parametrize(
    ("unit", "asked", "mm", "codes"),
    [
        ("1,4HINCH", None, 25.4, []),
        ("10,2HCM", None, 10.0, []),
        ("1,2HMM", None, 25.4, ["units-assumed"]),  # the flag counts; the name contradicts it
        ("3,2HMM", None, 1.0, []),
        ("4,2HFT", "m", 1000.0, ["units-overridden"]),
        (",", None, 25.4, ["units-assumed"]),  # inches where it says nothing: IGES 5.3, 2.2.4.3.14
        ("3,5HCHAIN", None, 1.0, ["units-assumed"]),
        ("3,5HCHAIN", "cm", 10.0, []),
        ("99,", None, 1.0, ["units-assumed"]),
        ("99,4HINCH", None, 25.4, ["units-assumed"]),
        ("-1,5HCHAIN", "in", 25.4, ["units-assumed"]),
        ("99,2HMM", "cm", 10.0, ["units-assumed", "units-overridden"]),
    ],
)
def test_the_unit_of_the_header(tmp_path, unit, asked, mm, codes):
    drawing = read(hook(tmp_path, HOOK[:1], unit=unit), ReadOptions(units=asked))
    assert drawing.curves[0].curve.length == pytest.approx(100.0 * mm, rel=1e-12)
    assert [one.code for one in drawing.findings] == codes


def test_a_model_scale_is_said_and_not_applied(tmp_path):
    drawing = read(hook(tmp_path, HOOK[:1], scale="0.5"))
    assert drawing.curves[0].curve.length == pytest.approx(100.0)
    assert [one.code for one in drawing.findings] == ["model-scale"]


def test_records_may_end_any_way(tmp_path):
    text = build(HOOK)
    for form in (text.replace("\n", "\r\n"), text.replace("\n", "\r"), text.replace("\n", "")):
        (tmp_path / "x.igs").write_bytes(form.encode())
        assert detect(form.encode(), "x").name == "iges" and len(read(tmp_path / "x.igs").curves) == 4
