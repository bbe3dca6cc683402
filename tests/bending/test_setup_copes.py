"""Sticks of tubes whose ends are cut to fit: lengths, marks, clamp and sweep, words, templates, the same everywhere.

Numbers are worked by hand from the saddle of round on round, T(phi) = (sqrt(R^2 - r^2 sin^2 phi) + r cos phi cos a)
/ sin a (geometry of two cylinders), from the CAD kernel's coped solid, and from the simulated bender of machine.py.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from math import hypot, pi, sqrt

import ezdxf
import numpy as np
import pytest
from bending_checks import orders, own_points, shop_for
from command_line import failed, hook, run
from copes import straight
from frames import RAIL, RUNG, draw, hoop, rack
from hypothesis import given, settings
from hypothesis import strategies as st
from legible import assert_legible
from machine import apart, bend_stick
from strategies import placements, tables
from tubes import cut_ends, run_of, tube_of

from converter import Settings, open_job
from converter.bending.setup.setup import Setup, set_up
from converter.bending.setup.words import SetupView
from converter.exporters.dxf.profile import flat_pieces, profile_figure
from converter.exporters.dxf.stick_template import template_figure
from converter.exporters.paper.stick import StickTemplate, Strip
from converter.geometry.vectors import along
from converter.joints.cope import cope_frame
from converter.model.bends import BendTable, Placement
from converter.model.end_cuts import EndCuts
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.load import demo_shop
from converter.shop.model import Die, Machine, Shop, Trial
from converter.units import Display

ROUND = Section("round", 40.0, 2.0)
DIE = Die("R150", "round", 40.0, 150.0, clamp=90.0, between=90.0, tail=50.0, mark_offset=12.0)
#: nothing near: the bends lie flat, a metre above the floor
ROOM = Machine(plane="horizontal", pivot_height=1000.0)
SHOP = Shop("test", (DIE,), ROOM)
SIZES = ("--section", "RAIL=44.45x3.048mm", "--section", "RUNG=38.1x2.413mm")


def cuts_of(*tubes: Tube, gap: float = 0.0) -> dict[str, EndCuts]:
    return cope_frame(tubes, demo_shop(), gap=gap).cuts


def portal(section: Section = RUNG) -> list[Tube]:
    """A hoop that stands on two runners."""
    feet = [straight(f"FOOT-{side}", (x, -200.0, 0.0), (x, 200.0, 0.0), RAIL) for side, x in (("L", 0.0), ("R", 900.0))]
    return [hoop("HOOP", 0.0, 0.0, section), *feet]


# --- by hand ------------------------------------------------------------------------------


def test_a_square_saddle_ends_where_its_sides_meet_the_mate():
    """The sides of a 38.1 tube meet a 44.45 one at sqrt(22.225^2 - 19.05^2) from its axis; marks move as much."""
    tubes = portal()
    off = sqrt(22.225**2 - 19.05**2)
    shop = Shop("test", (replace(DIE, size=38.1),), ROOM)
    setup = set_up(tubes, shop, cuts=cuts_of(*tubes))[0]
    assert setup.cuts.changes == (pytest.approx(-off, abs=1e-9),) * 2
    assert [*setup.cuts.by_end] == ["A", "B"]
    assert setup.stick_length == pytest.approx(450.0 + 600.0 + 450.0 + 150.0 * pi - 2.0 * off, abs=1e-9)
    assert setup.length == pytest.approx(1500.0 + 150.0 * pi), "the tube itself is as long as ever"
    first, second = setup.steps
    assert first.mark == pytest.approx(450.0 - off - 12.0, abs=1e-9)
    assert second.mark == pytest.approx(450.0 - off + 75.0 * pi + 600.0 - 12.0, abs=1e-9)
    from_b = set_up(tubes, shop, feed_from="B", cuts=cuts_of(*tubes))[0]
    assert [step.mark for step in from_b.steps] == pytest.approx([first.mark, second.mark]), "it is the same from B"


def test_equal_tubes_at_90_end_at_the_centerline_and_are_still_cut_to_fit():
    """Two equal cylinders touch along their sides at the height of the axis: the long point is the node itself."""
    tubes = portal(RAIL)
    setup = set_up(tubes, Shop("test", (), ROOM), cuts=cuts_of(*tubes))[0]
    assert setup.cuts.changes == (pytest.approx(0.0, abs=1e-9),) * 2
    assert [*setup.cuts.by_end] == ["A", "B"]
    assert "where the centerline ends" in SetupView(setup, Display()).cope_words()[0]
    weld = set_up(tubes, Shop("test", (), ROOM), cuts=cuts_of(*tubes, gap=1.0))[0]
    assert weld.cuts.change("A") == pytest.approx(-sqrt(23.225**2 - 22.225**2), abs=1e-9), "a weld gap is a larger mate"


def test_a_slanted_saddle():
    """r 20 on R 25 at 60 degrees: sqrt(225 + 400 c^2) + 10 c is least at c^2 = 0.1875, 7.5 sqrt 3; over sin 60: 15."""
    rail = straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), Section("round", 50.0, 2.0))
    leg = straight("LEG", (0.0, 0.0, 0.0), (200.0, 0.0, 200.0 * sqrt(3.0)), ROUND)
    setup = set_up([leg, rail], SHOP, cuts=cuts_of(leg, rail))[0]
    assert setup.cuts.change("A") == pytest.approx(-15.0, abs=1e-3), "the profile is sampled at half degrees"
    assert (setup.cuts.change("B"), [*setup.cuts.by_end]) == (0.0, ["A"])
    assert setup.stick_length == pytest.approx(385.0, abs=1e-3)


def one(feed: float, tail: float, at_a: float | None, at_b: float | None, end: str = "A", **more) -> Setup:
    tube = tube_of(run_of([(feed, 0.0, 90.0, 150.0)], tail, **more), ROUND)
    return set_up([tube], SHOP, feed_from=end, cuts={"run": cut_ends(at_a, at_b)})[0]


@pytest.mark.parametrize(
    ("feed", "tail", "at_a", "at_b", "end", "extra"),
    [
        (100.0, 100.0, -25.0, None, "A", (15.0, 0.0)),  # 75 to the stick's end, the clamp takes 90
        (100.0, 100.0, -25.0, None, "B", (0.0, 0.0)),  # the pressure die's 50 find 75
        (75.0, 100.0, 20.0, None, "A", (0.0, 0.0)),  # 95 are there
        (75.0, 100.0, None, None, "A", (15.0, 0.0)),
        (200.0, 60.0, None, -14.0, "A", (0.0, 4.0)),
        (200.0, 60.0, None, -14.0, "B", (0.0, 44.0)),
        (200.0, 30.0, None, 25.0, "A", (0.0, 0.0)),
        (10.0, 200.0, -30.0, None, "A", (110.0, 0.0)),  # the cut takes more than the straight: none of it grips
    ],
)
def test_what_grips_is_the_stick_that_is_there(feed, tail, at_a, at_b, end, extra):
    setup = one(feed, tail, at_a, at_b, end)
    assert (setup.extra_a, setup.extra_b) == pytest.approx(extra)
    stick = feed + 75.0 * pi + tail + (at_a or 0.0) + (at_b or 0.0) + sum(extra)
    assert setup.stick_length == pytest.approx(stick)
    lead = feed + (at_a or 0.0) + extra[0] if end == "A" else tail + (at_b or 0.0) + extra[1]
    assert setup.steps[0].mark == pytest.approx(lead - 12.0)


def test_metal_of_a_solid_counts_where_no_joint_does():
    """A solid drawn past its centerline: extra without a joint; with one the cut decides how long the end is."""
    tube = tube_of(replace(run_of([(200.0, 0.0, 90.0, 150.0)], 200.0), metal=(7.0, 5.0)), ROUND)
    drawn = set_up([tube], SHOP)[0]
    assert (drawn.extra_a, drawn.extra_b) == (7.0, 5.0)
    jointed = set_up([tube], SHOP, cuts={"run": cut_ends(-11.0)})[0]
    assert (jointed.extra_a, jointed.extra_b, jointed.cuts.change("A")) == (0.0, 5.0, -11.0)


def test_an_end_without_a_joint_changes_nothing():
    tube = tube_of(run_of([(200.0, 0.0, 90.0, 150.0)], 200.0), ROUND)
    assert set_up([tube], SHOP)[0] == set_up([tube], SHOP, cuts={"other": cut_ends(-9.0)})[0]


# --- against the machine and against a tube drawn that long ---------------------------------


def longer(run: Run, at_a: float, at_b: float) -> Run:
    """The run with its ends drawn to where the stick ends."""
    table = run.table
    first = replace(table.bends[0], feed=table.bends[0].feed + at_a)
    place = run.placement
    start = along(place.start, place.direction, -at_a)
    return replace(
        run,
        table=BendTable((first, *table.bends[1:]), table.tail + at_b),
        placement=replace(place, start=start),
    )


@pytest.mark.slow
@settings(max_examples=60)
@given(
    table=tables(most=6), place=placements(), end=st.sampled_from("AB"), at_a=st.floats(-30.0, 40.0),
    at_b=st.floats(-30.0, 40.0),
)  # fmt: skip
def test_bent_as_told_the_stick_ends_at_the_long_points(table, place, end, at_a, at_b):
    """The stick as cut, bent on the simulated bender, lies on the drawing, its ends at the long points."""
    ends = (replace(table.bends[0], feed=table.bends[0].feed + 40.0), *table.bends[1:])
    shop = shop_for(table)
    fitting = [min((d.clr for d in shop.dies), key=lambda r, b=b: abs(r - b.clr)) for b in ends]
    table = BendTable(tuple(replace(b, clr=r) for b, r in zip(ends, fitting, strict=True)), table.tail + 40.0)
    drawn = Run("run", None, False, table, place)
    cuts = {"run": cut_ends(at_a, at_b)}
    setup = set_up([Tube(drawn, Section("round", 20.0, 2.0))], shop, feed_from=end, cuts=cuts)[0]
    finished = setup.stick_length - setup.extra_a - setup.extra_b
    assert finished == pytest.approx(table.developed_length + at_a + at_b, abs=1e-6)
    samples = [share * finished for share in np.linspace(0.0, 1.0, 40)]
    made = bend_stick(setup.stick_length, orders(setup), [setup.extra(setup.feed_from) + x for x in samples])
    wanted = own_points(longer(drawn, at_a, at_b), samples if end == "A" else [finished - x for x in samples])
    assert apart(made, wanted) < 1e-6


def test_springback_leaves_the_long_points_where_they_are():
    """Corners keep their places, so both ends do: as far apart as drawn, though every bend comes out wider."""
    run_ = run_of([(200.0, 0.0, 90.0, 150.0), (300.0, 90.0, 60.0, 150.0)], 150.0)
    tests = (Trial("R150", None, None, 46.0, 45.0), Trial("R150", None, None, 92.0, 90.0))
    cuts = {"run": cut_ends(-11.0, 6.5)}
    setup = set_up([tube_of(run_, ROUND)], replace(SHOP, tests=tests), cuts=cuts)[0]
    assert setup.stick_length < run_.table.developed_length - 11.0 + 6.5
    made = bend_stick(setup.stick_length, orders(setup), [0.0, setup.stick_length])
    goal = longer(run_, -11.0, 6.5)
    assert np.linalg.norm(made[1] - made[0]) == pytest.approx(
        np.linalg.norm(np.subtract(goal.end, goal.start)), abs=1e-6
    )
    assert setup.steps[0].mark == pytest.approx(184.667 - 11.0, abs=5e-4), "docs/setup.md, less what the cope takes"


@pytest.mark.slow
@settings(max_examples=40)
@given(
    table=tables(most=4, greatest=150.0), end=st.sampled_from([None, "A", "B", "best"]),
    at_a=st.floats(-30.0, 40.0), at_b=st.floats(-30.0, 40.0),
)  # fmt: skip
def test_it_is_held_and_swung_like_a_tube_that_is_drawn_that_long(table, end, at_a, at_b):
    """Clamp, order, end and room to swing are those of the square-cut stick."""
    first = replace(table.bends[0], feed=table.bends[0].feed + 40.0)
    table = BendTable((first, *table.bends[1:]), table.tail + 40.0)
    drawn = Run("run", None, False, table, Placement())
    shop = shop_for(table)
    dies = tuple(replace(die, clamp=60.0, between=5.0, tail=40.0) for die in shop.dies)
    shop = replace(shop, dies=dies, machine=Machine(plane="vertical", pivot_height=600.0))
    section = Section("round", 20.0, 2.0)
    coped = set_up([Tube(drawn, section)], shop, end, {"run": cut_ends(at_a, at_b)})[0]
    plain = set_up([Tube(longer(drawn, at_a, at_b), section)], shop, end)[0]
    assert (coped.feed_from, coped.plan.order) == (plain.feed_from, plain.plan.order)
    assert coped.stick_length == pytest.approx(plain.stick_length)
    assert (coped.extra_a, coped.extra_b) == pytest.approx((plain.extra_a, plain.extra_b))
    assert [step.mark for step in coped.steps] == pytest.approx([step.mark for step in plain.steps])
    assert [step.roll for step in coped.steps] == pytest.approx([step.roll for step in plain.steps])
    if plain.clearance is None or plain.clearance.least is None:
        assert coped.clearance is None or coped.clearance.least is None
    else:
        assert coped.clearance is not None
        assert coped.clearance.least == pytest.approx(plain.clearance.least, abs=1e-6)


# --- against the coped solid ----------------------------------------------------------------


def reach_of(solid, point, direction, ahead: float = 200.0) -> float:
    """How far a solid reaches past a point along a direction, near the axis: the kernel's distance to a plane ahead."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt

    plane = gp_Pln(gp_Pnt(*along(point, direction, ahead)), gp_Dir(*direction))
    face = BRepBuilderAPI_MakeFace(plane, -60.0, 60.0, -60.0, 60.0).Face()
    return ahead - BRepExtrema_DistShapeShape(face, solid).Value()


@pytest.mark.slow
@pytest.mark.parametrize("lean", [0.0, 0.4, -0.7])
def test_the_stick_is_as_long_as_the_coped_solid_reaches(lean):
    """Long points against the kernel's distances on the cut solid, at both ends, square and slanted."""
    from converter.exporters.solids.coped.ends import coped_solid

    table = BendTable(run_of([(300.0, 0.0, 70.0, 150.0)], 260.0).table.bends, 260.0)
    place = Placement((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
    leg = Tube(Run("LEG", None, False, table, place), RUNG)
    size = hypot(1.0, lean)
    foot, roof = (1.0 / size, 0.0, lean / size), (1.0, 0.0, 0.0)
    mates = [
        straight(name, along(at, way, -300.0), along(at, way, 300.0), RAIL)
        for name, at, way in (("FOOT", leg.run.start, foot), ("ROOF", leg.run.end, roof))
    ]
    copes = cope_frame([leg, *mates], demo_shop())
    joints = [joint for joint in copes.joints if joint.tube == "LEG"]
    assert [joint.end for joint in joints] == ["A", "B"]
    setup = set_up([leg], SHOP, cuts=copes.cuts)[0]
    solid = coped_solid(leg, RUNG, joints)
    for joint, told in zip(joints, setup.cuts.changes, strict=True):
        assert told == pytest.approx(reach_of(solid, joint.end_point, joint.direction), abs=2e-3)
        assert abs(told) > 0.1
    assert setup.stick_length - setup.extra_a - setup.extra_b == pytest.approx(
        leg.run.table.developed_length + sum(setup.cuts.changes)
    )
    assert copes.lengths[0].cut == pytest.approx(setup.length + sum(setup.cuts.changes)), (
        "the cope list says the same where springback is not known"
    )


# --- what people read -------------------------------------------------------------------------


def test_the_words():
    setup = one(100.0, 200.0, -25.0, 6.0)
    sheet = SetupView(setup, Display())
    assert sheet.cope_words() == [
        "end A is cut to fit, its long point at the trim mark, 15.00 mm from the end of the stick, 25.00 mm before the "
        "centerline's end",
        "end B is cut to fit, its long point at the end of the stick, 6.00 mm past the centerline's end",
    ]
    told = sheet.instructions()
    assert "Cut it square; ends A and B will be cut to fit after bending." in told[0]
    assert told[-3:] == [
        "Trim 15.00 mm off end A.",
        "Cut end A to its template: the long point of the cut is the end of the stick as trimmed, 25.00 mm before the "
        "centerline's end.",
        "Cut end B to its template: the long point of the cut is the end of the stick, 6.00 mm past the centerline's "
        "end.",
    ]


def test_fractions_say_what_rounding_leaves_past_the_long_point():
    setup = one(200.0, 200.0, None, -10.0)
    exact = 400.0 + 75.0 * pi - 10.0
    sheet = SetupView(setup, Display("in", 16))
    sixteenths = sheet.stick / 25.4 * 16.0
    assert sixteenths == pytest.approx(round(sixteenths))
    assert exact <= sheet.stick < exact + 25.4 / 16.0
    over = (sheet.stick - exact) / 25.4
    told = str(Fraction(round(over * 64.0), 64))
    assert f"the long point of the cut is {told} in inside the end of the stick" in sheet.instructions()[-1]
    assert sheet.mark("A", setup.steps[0]) + sheet.mark("B", setup.steps[0]) == pytest.approx(sheet.stick)
    assert "inside" not in SetupView(setup, Display("in")).instructions()[-1]


@pytest.fixture
def frame(tmp_path):
    return draw(portal(), tmp_path / "frame.dxf")


def test_the_command_counts_the_copes_in(frame, capsys):
    off = sqrt(22.225**2 - 19.05**2)
    outcome = run(capsys, "setup", frame, *SIZES, "--json")
    assert outcome.json["tubes"], outcome.err
    tubes = {tube["name"]: tube for tube in outcome.json["tubes"]}
    hoop_ = tubes["RUNG"]
    assert (hoop_["cope_a"], hoop_["cope_b"], hoop_["coped"]) == (pytest.approx(-off), pytest.approx(-off), ["A", "B"])
    assert hoop_["stick_length"] == pytest.approx(
        hoop_["developed_length"] + hoop_["extra_a"] + hoop_["extra_b"] - 2.0 * off
    )
    assert (tubes["RAIL-1"]["cope_a"], tubes["RAIL-1"]["coped"]) == (0.0, [])
    plain = run(capsys, "setup", frame, *SIZES, "--json", "--no-copes").json["tubes"][0]
    assert (plain["cope_a"], plain["coped"]) == (0.0, [])
    assert plain["bends"][0]["mark"] - hoop_["bends"][0]["mark"] == pytest.approx(off)
    gap = run(capsys, "setup", frame, *SIZES, "--json", "--gap", "1").json["tubes"][0]
    assert gap["cope_a"] == pytest.approx(-sqrt(23.225**2 - 19.05**2))
    assert "no-copes" in failed(run(capsys, "setup", frame, *SIZES, "--no-copes", "--gap", "1"))


def test_the_status_tells_an_end_that_cannot_be_cut(tmp_path, capsys):
    """An end that its cut eats up is a stick for the bin: status 1, unless copes are left out."""
    rail = straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)
    stub = straight("STUB", (0.0, 0.0, 0.0), (0.0, 0.0, 10.0), RUNG)
    path = draw([rail, stub], tmp_path / "stub.dxf")
    outcome = run(capsys, "setup", path, *SIZES, "--json")
    assert "end-eaten" in {finding["code"] for finding in outcome.json["findings"]}
    assert outcome.status == 1
    assert run(capsys, "setup", path, *SIZES, "--no-copes", "--json").status == 0


def test_each_joint_finding_comes_once_and_none_without_copes(tmp_path, capsys):
    path = draw(rack(2), tmp_path / "rack.dxf")
    found = run(capsys, "setup", path, *SIZES, "--json").json["findings"]
    assert len({finding["message"] for finding in found}) == len(found)
    assert "joint-skipped" not in {
        f["code"] for f in run(capsys, "setup", path, "--json", "--no-copes").json["findings"]
    }
    skipped = [f for f in run(capsys, "setup", path, "--json").json["findings"] if f["code"] == "joint-skipped"]
    assert {finding["severity"] for finding in skipped} == {"warning"}
    single = run(capsys, "setup", hook(tmp_path / "hook.dxf"), "--json").json["findings"]
    assert "joint-skipped" not in {finding["code"] for finding in single}


# --- templates --------------------------------------------------------------------------------


def places(path, layer: str) -> list[float]:
    """Where upright lines of a layer stand in a template, mm."""
    doc = ezdxf.readfile(path)  # type: ignore[attr-defined]
    found = [e for e in doc.modelspace().query("LINE") if e.dxf.layer == layer]
    return sorted(e.dxf.start.x for e in found if abs(e.dxf.start.x - e.dxf.end.x) < 1e-9)


@pytest.mark.parametrize("end", ["A", "B"])
def test_the_template_is_the_stick_of_the_set_up(tmp_path, end):
    """Cuts, trim lines, bends and the centerline's ends lie where the set-up puts them, whichever end goes first."""
    tests = (Trial("R150", None, None, 46.0, 45.0), Trial("R150", None, None, 92.0, 90.0))
    tube = tube_of(run_of([(95.0, 0.0, 90.0, 150.0), (300.0, 90.0, 60.0, 150.0)], 250.0), ROUND)
    cuts = {"run": cut_ends(-11.0, 6.5)}
    setup = set_up([tube], replace(SHOP, tests=tests), feed_from=end, cuts=cuts)[0]
    stick = StickTemplate.of(setup)
    assert stick.extra_a + stick.length + stick.extra_b == pytest.approx(setup.stick_length)
    for step in setup.steps:
        shown = stick.bends[step.bend - 1]
        from_end = shown.begin + setup.extra_a if end == "A" else stick.length - shown.end + setup.extra_b
        assert from_end == pytest.approx(step.start)
        assert shown.end - shown.begin == pytest.approx(step.stick)
    figure = template_figure(tube, stick, Strip.of(ROUND, 0.1), SHOP, Display())
    upright = [(a[0], layer) for a, b, layer in figure.lines if a[0] == b[0]]
    drawn = {layer: sorted({x for x, on in upright if on == layer}) for _, layer in upright}
    assert drawn["centerline-ends"] == pytest.approx([-11.0, stick.length - 6.5])
    assert drawn["cut"] == pytest.approx([-setup.extra_a, stick.length + setup.extra_b])
    assert drawn["tangent-start"] == pytest.approx([bend.begin for bend in stick.bends])


@settings(max_examples=40)
@given(table=tables(most=8, greatest=150.0), at_a=st.floats(-40.0, 60.0), at_b=st.floats(-40.0, 60.0))
def test_no_two_texts_of_a_coped_template_overlap(table, at_a, at_b):
    first = replace(table.bends[0], feed=table.bends[0].feed + 70.0)
    tube = tube_of(Run("run", None, False, BendTable((first, *table.bends[1:]), table.tail + 70.0), Placement()), ROUND)
    setup = set_up([tube], Shop("test", ()), "A", {"run": cut_ends(at_a, at_b)})[0]
    shop = Shop("test", ())
    assert_legible(template_figure(tube, StickTemplate.of(setup), Strip.of(ROUND, 0.1), shop, Display()))


def test_convert_and_setup_give_one_length(frame, tmp_path, capsys):
    """The written template is as long as the set-up says, with copes and without."""
    for words in ((), ("--no-copes",)):
        out = tmp_path / f"out{len(words)}"
        outcome = run(capsys, "convert", frame, *SIZES, "--to", "template", "--out", out, *words)
        assert outcome.status == 1, "no die of the demo shop makes a rung"
        document = run(capsys, "setup", frame, *SIZES, "--json", *words).json
        drawn = {part["tubes"][0] for part in document["parts"]}  # equal tubes share a template
        tubes = [tube for tube in document["tubes"] if tube["name"] in drawn]
        cuts = places(out / "frame-template.dxf", "cut")
        left = sorted(-tube["extra_a"] for tube in tubes)
        right = sorted(tube["stick_length"] - tube["extra_a"] for tube in tubes)
        assert cuts == pytest.approx(sorted([*left, *right]), abs=1e-6)


def test_a_table_alone_needs_no_set_up(frame, capsys, monkeypatch):
    def never(*_):
        raise AssertionError("set up for a table")

    monkeypatch.setattr("converter.bending.setup.setup.set_up", never)
    outcome = run(capsys, "table", frame, *SIZES)
    assert outcome.status == 0, outcome.err


def test_programs_get_the_same(frame, tmp_path):
    job = open_job(str(frame), Settings(sections=("RAIL=44.45x3.048mm", "RUNG=38.1x2.413mm")))
    cut = {length.name: length.cut for length in job.copes.lengths}
    for setup in job.setups:
        if not setup.steps:
            assert setup.stick_length == pytest.approx(cut[setup.tube.name]), "a straight is as long as cope says"


def test_a_stick_of_which_nothing_is_left_is_not_to_be_cut(tmp_path, capsys):
    rail = straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)
    path = draw([rail, straight("STUB", (0.0, 0.0, 0.0), (0.0, 0.0, 10.0), RUNG)], tmp_path / "stub.dxf")
    page = run(capsys, "setup", path, *SIZES).out
    assert "its cuts leave nothing of it" in page
    assert "stick -" not in page
    assert "Cut a stick to -" not in page
    from pypdf import PdfReader

    run(capsys, "sheet", path, *SIZES, "--out", tmp_path / "out")
    printed = " ".join(page.extract_text() for page in PdfReader(tmp_path / "out" / "stub-sheet.pdf").pages)
    told = "none: its cuts leave nothing of it"
    assert f"Cut length: {told}" in printed and told in (tmp_path / "out" / "stub-sheet.html").read_text("utf-8")
    assert re.search(r"(?<![\d.])-\d+\.\d+ mm", printed) is None


@pytest.mark.parametrize(("at_a", "at_b"), [(-11.0, 8.0), (25.0, -0.004)])
def test_the_profile_shows_where_the_bent_stick_ends(at_a, at_b):
    """On the lines of the straights, so far past the centerline's ends; none where it is that end itself."""
    tube = tube_of(run_of([(200.0, 0.0, 90.0, 100.0)], 150.0), ROUND)
    (piece,) = flat_pieces(tube.run, ROUND)
    figure = profile_figure(tube, piece, Display(), {"A": at_a, "B": at_b})
    drawn = [np.add(a, b) / 2.0 for a, b, layer in figure.lines if layer == "long-points"]
    # end A at the origin, the feed along +x, the bend turns left: end B straight up from (300, 100)
    wanted = [(-at_a, 0.0), (300.0, 250.0 + at_b)][: 2 if abs(at_b) > 0.01 else 1]
    assert np.allclose(drawn, wanted)
    assert_legible(figure)
    assert not [line for line in profile_figure(tube, piece, Display()).lines if line[2] == "long-points"]


@pytest.mark.slow
def test_coped_solids_read_back_give_the_same_sticks(frame, tmp_path, capsys):
    """Centerlines to coped STEP and back: the same joints, so the same sticks and marks, and no metal counted twice."""
    out = tmp_path / "copes"
    assert run(capsys, "cope", frame, *SIZES, "--to", "step-coped", "--out", out).status == 0
    drawn = run(capsys, "setup", frame, *SIZES, "--json").json["tubes"]
    back = run(capsys, "setup", out / "frame-coped.step", "--json").json["tubes"]
    assert [tube["name"] for tube in back] == [tube["name"] for tube in drawn]
    for one_, other in zip(drawn, back, strict=True):
        assert other["stick_length"] == pytest.approx(one_["stick_length"], abs=1e-4)
        assert other["coped"] == one_["coped"]
        assert [b["mark"] for b in other["bends"]] == pytest.approx([b["mark"] for b in one_["bends"]], abs=1e-4)
