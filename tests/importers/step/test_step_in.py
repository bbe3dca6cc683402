"""STEP sketches: units, contexts, curve kinds, names, layers and groups, against files written by hand."""

from __future__ import annotations

from math import pi, sqrt

import pytest
from step_tools import METRE, MM, based, build, hook, rows, runs_of

from converter.errors import OptionError, UnitsError
from converter.importers.registry import ReadOptions, detect, read
from converter.importers.step.read import read_step

HOOK = [100.0, 0.0, 90.0, 50.0, 80.0]
INCH_MM = based("INCH", 25.4, MM)
INCH_M = based("inch", 0.0254, METRE)


@pytest.mark.parametrize(
    ("unit", "scale", "ours"),
    [
        (MM, 1.0, "mm"),
        (METRE, 1e-3, "m"),
        (INCH_MM, 1 / 25.4, "in"),
        (INCH_M, 1 / 25.4, "in"),
        (based("Zoll", 25.4, MM), 1 / 25.4, "in"),
        (based("FOOT", 304.8, MM), 1 / 304.8, "ft"),
        (["( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.CENTI.,.METRE.) )"], 0.1, "cm"),
    ],
)
@pytest.mark.parametrize("degrees", [False, True])
@pytest.mark.parametrize("name", ["rail", None])
def test_units_and_angle_contexts(tmp_path, unit, scale, ours, degrees, name):
    """The same hook in every unit, with trim parameters in radians and in degrees, with and without a product."""
    path = tmp_path / "x.step"
    (run,) = runs_of(path, build(hook(degrees, scale), unit=unit, degrees=degrees, name=name))
    assert rows(run) == pytest.approx(HOOK, abs=1e-6)
    drawing = read_step(path)
    assert (drawing.units, drawing.read_as) == (ours, ours)
    assert not drawing.findings


def test_a_file_without_a_unit_says_so(tmp_path):
    path = tmp_path / "x.step"
    (run,) = runs_of(path, build(hook(), unit=None))
    assert rows(run) == pytest.approx(HOOK, abs=1e-9)
    drawing = read_step(path)
    assert drawing.units is None
    assert [f.code for f in drawing.findings] == ["units-assumed"]
    drawing = read_step(path, ReadOptions(units="in"))
    assert (drawing.units, drawing.read_as, drawing.findings) == (None, "in", [])
    assert drawing.curves[1].curve.radius == pytest.approx(50.0 * 25.4, rel=1e-12)


@pytest.mark.parametrize(("unit", "factor"), [(MM, 25.4), (INCH_M, 1.0), (METRE, 0.0254)])
def test_the_units_option_overrides_the_file(tmp_path, unit, factor):
    """The numbers stay, the unit changes: a radius of 50 file units is 50 in."""
    (tmp_path / "x.step").write_text(build(hook(), unit=unit))
    drawing = read_step(tmp_path / "x.step", ReadOptions(units="in"))
    assert drawing.curves[1].curve.radius == pytest.approx(50.0 * 25.4, rel=1e-12)
    assert [f.code for f in drawing.findings] == ([] if factor == 1.0 else ["units-overridden"])
    assert drawing.read_as == "in"


def test_bad_units_options(tmp_path):
    (tmp_path / "x.step").write_text(build(hook()))
    with pytest.raises(UnitsError):
        read_step(tmp_path / "x.step", ReadOptions(units="furlong"))
    with pytest.raises(OptionError, match="use one of mm, cm, m, in, ft"):
        read_step(tmp_path / "x.step", ReadOptions(units="km"))


@pytest.mark.parametrize(
    ("kind", "group"),
    [
        ("GEOMETRICALLY_BOUNDED_WIREFRAME_SHAPE_REPRESENTATION", "GEOMETRIC_CURVE_SET"),
        ("SHAPE_REPRESENTATION", "GEOMETRIC_CURVE_SET"),
        ("GEOMETRICALLY_BOUNDED_SURFACE_SHAPE_REPRESENTATION", "GEOMETRIC_SET"),
    ],
)
@pytest.mark.parametrize(
    "schema", ["CONFIG_CONTROL_DESIGN", "AUTOMOTIVE_DESIGN", "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF"]
)
def test_representations_and_protocols(tmp_path, kind, group, schema):
    (run,) = runs_of(tmp_path / "x.step", build(hook(), kind=kind, group=group, schema=schema))
    assert (run.name, run.layer) == ("rail", "rail")
    assert rows(run) == pytest.approx(HOOK, abs=1e-9)


def test_start_is_found_after_mark_blanks_and_comments(tmp_path):
    text = "\ufeff \n/* exported; ISO-10303-21; */\n" + build(hook())
    path = tmp_path / "x.dat"
    (run,) = runs_of(path, text)
    assert rows(run) == pytest.approx(HOOK, abs=1e-9)
    assert detect(path.read_bytes(), "x.dat").name == "step"
    assert len(read(path).curves) == 3


def test_names_in_any_alphabet(tmp_path):
    """ISO 10303-21, 6.4.3: X2 and X4 escapes; UTF-8 as it stands is what many programs write."""
    for written in ("R\\X2\\00FC\\X0\\ckrohr \\X4\\0001F6B2\\X0\\", "Rückrohr 🚲"):
        (run,) = runs_of(tmp_path / "x.step", build(hook(), name=written))
        assert run.name == "Rückrohr 🚲"


@pytest.mark.parametrize("name", ["", "Open CASCADE STEP translator 7.6 1", "SOLID", "Line001", "NAUO12", "None"])
def test_made_up_names_are_not_names(tmp_path, name):
    (run,) = runs_of(tmp_path / "x.step", build(hook(), name=name))
    assert (run.name, run.layer) == ("tube-1", None)


# --- kinds of curves -------------------------------------------------------------------------

HALF = sqrt(0.5)


def test_a_rational_spline_is_its_arc_exactly(tmp_path):
    """A quarter circle as a rational quadratic: weights 1, cos 45, 1 (any text on NURBS)."""
    spline = [
        "#130=CARTESIAN_POINT('',(100.,0.,0.));",
        "#131=CARTESIAN_POINT('',(150.,0.,0.));",
        "#132=CARTESIAN_POINT('',(150.,50.,0.));",
        "#116=( BOUNDED_CURVE() B_SPLINE_CURVE(2,(#130,#131,#132),.UNSPECIFIED.,.F.,.F.) "
        "B_SPLINE_CURVE_WITH_KNOTS((3,3),(0.,1.),.UNSPECIFIED.) CURVE() GEOMETRIC_REPRESENTATION_ITEM() "
        f"RATIONAL_B_SPLINE_CURVE((1.,{HALF},1.)) REPRESENTATION_ITEM('') );",
    ]
    entities = [line for line in hook() if not line.startswith("#116=")] + spline
    (run,) = runs_of(tmp_path / "x.step", build(entities))
    assert rows(run) == pytest.approx(HOOK, abs=1e-6)


def test_an_ellipse_is_a_finding_and_a_full_circle_a_ring(tmp_path):
    entities = [
        *hook(),
        "#140=ELLIPSE('',#114,80.,40.);",
        f"#141=TRIMMED_CURVE('',#140,(PARAMETER_VALUE(0.)),(PARAMETER_VALUE({pi})),.T.,.PARAMETER.);",
    ]
    (run,) = runs_of(tmp_path / "x.step", build(entities, "#141"))
    assert "not-line-arc" in [f.code for f in run.findings]
    (ring,) = runs_of(tmp_path / "y.step", build(hook(), "#115"))
    assert ring.closed
    assert ring.table.developed_length == pytest.approx(100.0 * pi, rel=1e-12)


def test_an_offset_curve_is_sampled_and_said(tmp_path):
    """A quarter circle of radius 50 offset by 10 outwards (ISO 10303-42: normal = ref x tangent) is one of 60 or 40."""
    entities = [*hook(), "#150=OFFSET_CURVE_3D('',#116,10.,.F.,#112);"]
    path = tmp_path / "x.step"
    (run,) = runs_of(path, build(entities, "#150"))
    (bend,) = run.table.bends
    assert bend.angle == pytest.approx(90.0, abs=0.05)
    assert min(abs(bend.clr - 60.0), abs(bend.clr - 40.0)) < 0.01
    assert [f.code for f in read_step(path).findings] == ["curve-sampled"]


def test_reversed_trims_and_direction(tmp_path):
    """sense_agreement .F. runs the other way: from 90 degrees back to 0 is the same arc turned round."""
    entities = [
        line.replace("(PARAMETER_VALUE(0.)),(PARAMETER_VALUE(1.5", "(PARAMETER_VALUE(9.)),(PARAMETER_VALUE(1.5")
        for line in hook()
    ]
    entities = [
        line.replace("9.)),(PARAMETER_VALUE(1.5707963267948966)),.T.", "1.5707963267948966)),(PARAMETER_VALUE(0.)),.F.")
        for line in entities
    ]
    (run,) = runs_of(tmp_path / "x.step", build(entities))
    assert rows(run) == pytest.approx(HOOK, abs=1e-9)


def test_what_is_no_centerline_is_listed(tmp_path):
    path = tmp_path / "x.step"
    (run,) = runs_of(path, build(hook(), "#110,#116,#123,#101"))
    assert rows(run) == pytest.approx(HOOK, abs=1e-9)
    assert [(i.kind, i.count) for i in read_step(path).ignored] == [("point", 1)]


# --- layers, names and groups within a part ---------------------------------------------------


def test_layers_of_single_curves(tmp_path):
    layers = [
        "#200=PRESENTATION_LAYER_ASSIGNMENT('TUBE 38','',(#110,#116));",
        "#201=PRESENTATION_LAYER_ASSIGNMENT('axis','',(#123));",
    ]
    path = tmp_path / "x.step"
    path.write_text(build(hook(), more=layers))
    assert [c.layer for c in read_step(path).curves] == ["TUBE 38", "TUBE 38", "axis"]
    assert len(read_step(path, ReadOptions(skip_layers=("AX*",))).curves) == 2
    kept = read_step(path, ReadOptions(layers=("axis",)))
    assert len(kept.curves) == 1
    assert sum(i.count for i in kept.ignored) == 2
    with pytest.raises(OptionError, match="TUBE 38"):
        read_step(path, ReadOptions(layers=("nothing",)))


def test_hidden_layers_are_left_out_and_said(tmp_path):
    hidden = ["#201=PRESENTATION_LAYER_ASSIGNMENT('axis','',(#123));", "#202=INVISIBILITY((#201));"]
    path = tmp_path / "x.step"
    path.write_text(build(hook(), more=hidden))
    drawing = read_step(path)
    assert len(drawing.curves) == 2
    assert [f.code for f in drawing.findings] == ["layers-skipped"]


def composite(number: int, name: str, *curves: int) -> list[str]:
    """A COMPOSITE_CURVE of curves in order."""
    segments = [
        f"#{number + 1 + i}=COMPOSITE_CURVE_SEGMENT(.CONTINUOUS.,.T.,#{curve});" for i, curve in enumerate(curves)
    ]
    refs = ",".join(f"#{number + 1 + i}" for i in range(len(curves)))
    return [*segments, f"#{number}=COMPOSITE_CURVE('{name}',({refs}),.F.);"]


SECOND = [
    "#104=CARTESIAN_POINT('',(150.,130.,0.));",
    "#105=CARTESIAN_POINT('',(150.,200.,0.));",
    "#106=CARTESIAN_POINT('',(220.,200.,0.));",
    "#170=POLYLINE('',(#104,#105));",
    "#171=POLYLINE('',(#105,#106));",
]


def test_named_wires_stay_apart_where_they_touch(tmp_path):
    """The second wire goes on straight where the first one ends; named apart, they are two tubes."""
    entities = [*hook(), *SECOND, *composite(300, "rail", 110, 116, 123), *composite(310, "stub", 170, 171)]
    runs = runs_of(tmp_path / "x.step", build(entities, "#300,#310", name="frame"))
    assert [(r.name, r.layer) for r in runs] == [("rail", "frame"), ("stub", "frame")]
    assert rows(runs[0]) == pytest.approx(HOOK, abs=1e-9)


def test_unnamed_wires_of_one_part_are_one_sketch(tmp_path):
    entities = [*hook(), *SECOND, *composite(300, "", 110, 116, 123), *composite(310, "", 170, 171)]
    (run,) = runs_of(tmp_path / "x.step", build(entities, "#300,#310", name="frame"))
    assert run.name == "frame"
    assert rows(run)[:5] == pytest.approx([100.0, 0.0, 90.0, 50.0, 150.0], abs=1e-9)
