"""Finished round tubes back to tables: our own solids, and what booleans and writers do to them."""

from __future__ import annotations

from dataclasses import replace
from math import atan2, cos, pi, radians, sin, sqrt

import cadquery as cq
import pytest
from hypothesis import HealthCheck, assume, given, settings
from strategies import lengths, placements, tables
from tube_bodies import (
    BENT,
    ROUND,
    angle_iron,
    assert_is,
    codes,
    cylinder,
    only,
    pipe,
    plate,
    reason,
    same_table,
    shaft,
    spring,
)
from tubes import run_of

from converter.importers.solids.read import find_tubes
from converter.importers.step.read import read_step
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import BendTable, Placement
from converter.model.centerline import reverse_table
from converter.model.frames import pieces
from converter.model.run import Run
from converter.model.section import Section
from converter.units import Display

QUICK = settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])


# --- round trip -----------------------------------------------------------------------------


@QUICK
@given(tables(most=8), placements(), lengths(4.0, 38.0))
def test_our_own_solids_give_their_tables_back(table, placement, od):
    section = Section("round", od, od * 0.1)
    found = pieces(table, placement)
    assume(all(p.arc is None or p.arc.radius > section.outer.support(p.roll) + 0.01 for p in found))
    run = Run("r", None, False, table, placement)
    one = only(tube_solid(run, section))
    assert_is(one, run, section)
    assert one.deviation < 1e-6 and one.findings == ()
    assert one.metal == pytest.approx((0.0, 0.0), abs=1e-6)


def test_a_bar_and_a_lone_straight():
    bar = Section("bar", 22.0, 11.0)
    assert_is(only(tube_solid(BENT, bar)), BENT, bar)
    straight = run_of([], 200)
    one = only(tube_solid(straight, ROUND))
    assert one.table == BendTable((), 200.0) and one.section == ROUND


def test_no_straights_and_bends_past_half_a_turn():
    run = run_of([(0, 0, 90, 60), (0, 180, 270, 90), (0, 90, 45, 50)], 0)
    assert_is(only(tube_solid(run, ROUND)), run, ROUND)


def test_end_a_is_the_end_that_comes_first_whatever_the_order():
    forward, backward = (
        BENT,
        replace(BENT, **dict(zip(("table", "placement"), reverse_table(BENT.table, BENT.placement), strict=True))),
    )
    a, b = only(tube_solid(forward, ROUND)), only(tube_solid(backward, ROUND))
    assert same_table(a.table, b.table, 1e-9)
    assert a.placement.start == pytest.approx(b.placement.start)
    assert a.placement.start[0] <= min(forward.start[0], forward.end[0]) + 1e-9


def test_a_closed_loop_and_a_ring():
    loop = run_of([(100, 0, 90, 60)] + [(200, 0, 90, 60)] * 3, 100, closed=True)
    one = only(tube_solid(loop, ROUND))
    assert one.closed and one.metal is None and one.deviation < 1e-9
    assert [b.feed for b in one.table.bends] == pytest.approx([100, 200, 200, 200]) and one.table.tail == pytest.approx(
        100
    )
    ring = only(cq.Solid.makeTorus(100, 15).cut(cq.Solid.makeTorus(100, 13)))
    assert ring.closed and sum(b.angle for b in ring.table.bends) == pytest.approx(360)
    assert {b.clr for b in ring.table.bends} == {100.0} and ring.section.wall == pytest.approx(2.0)


# --- ends -----------------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [90.0, 60.0, 45.0])
@pytest.mark.parametrize("offset", [0.0, 4.0])
def test_a_coped_end_stops_on_the_mates_axis_and_its_metal_before_it(angle, offset):
    """A mate of radius R' across at the node (200, 0, 0), beside the tube's axis by the offset.

    By hand: at (y, z) of the tube's outside the metal stops where it meets the mate's near side,
    (sqrt(R'2 - (y - offset)2) - z cos a) / sin a before the node; the longest point is the least of these.
    """
    a, mate, r = radians(angle), 20.0, 15.0
    cut = cylinder((200 - 300 * cos(a), offset, -300 * sin(a)), (cos(a), 0, sin(a)), mate, 600)
    parts = pipe((0, 0, 0), (1, 0, 0), r, 2.5, 400).cut(cut).Solids()
    one = only(min(parts, key=lambda s: s.Center().x))
    stops = []
    for k in range(72000):
        y, z = r * cos(k * pi / 36000), r * sin(k * pi / 36000)
        stops.append((sqrt(mate**2 - (y - offset) ** 2) - z * cos(a)) / sin(a))
    assert one.table.tail == pytest.approx(200, abs=1e-6)
    assert one.metal == pytest.approx((0.0, -min(stops)), abs=1e-5)
    assert one.section == ROUND and one.deviation < 1e-5


def test_a_mate_of_the_same_size_is_no_tube_of_its_own():
    one = only(pipe((0, 0, 0), (1, 0, 0), 15, 2.5, 200).cut(cylinder((200, 0, -100), (0, 0, 1), 15, 200)))
    assert one.table.tail == pytest.approx(200) and one.metal == pytest.approx((0, 0), abs=1e-6)


def test_a_cope_onto_a_bend_stops_on_its_centerline():
    bend = tube_solid(run_of([(300, 0, 90, 120)], 300), Section("bar", 40, 20))
    at = (300 + 120 * cos(radians(-45)), 120 + 120 * sin(radians(-45)), 0)
    one = only(pipe(at, (0, 0, 1), 15, 2, 200).cut(cq.Shape.cast(bend)))
    assert one.table.tail == pytest.approx(200, abs=1e-4)
    assert one.placement.start == pytest.approx(at, abs=1e-4)


def test_a_mitred_end_stops_where_the_plane_is_met():
    box = cq.Workplane("XY").box(200, 200, 200).translate((100, 0, 0)).rotate((0, 0, 0), (0, 1, 0), 30)
    one = only(pipe((0, 0, 0), (1, 0, 0), 15, 2.5, 300).cut(box.translate((170, 0, 0)).val()))
    assert one.table.tail == pytest.approx(170)
    assert one.metal == pytest.approx((0.0, 15 * sin(radians(30)) / cos(radians(30))), abs=1e-6)


def test_slots_holes_chamfers_and_roundings_leave_the_length_alone():
    tube = pipe((0, 0, 0), (1, 0, 0), 15, 2.5, 200)
    slot = cq.Workplane("XY").box(60, 8, 100).translate((200, 0, 0)).val()
    shapes = [
        tube.cut(slot),
        tube.cut(slot).cut(cylinder((170, 0, -50), (0, 0, 1), 4, 100)),
        tube.cut(cylinder((50, 0, -50), (0, 0, 1), 4, 100)).cut(cylinder((90, 0, 0), (0, 1, 0), 6, 100)),
        cq.Workplane(tube).faces(">X").edges().chamfer(1).val(),
        cq.Workplane(tube).faces(">X").edges().fillet(0.8).val(),
    ]
    for shape in shapes:
        one = only(shape)
        assert one.table.tail == pytest.approx(200, abs=1e-6) and one.section == ROUND
        assert one.metal == pytest.approx((0, 0), abs=1e-6) and one.deviation < 1e-5


def test_a_bent_tube_keeps_its_table_when_an_end_is_coped():
    run = run_of([(100, 0, 90, 60), (50, 45, 120, 60)], 80)
    one = only(cq.Shape.cast(tube_solid(run, ROUND)).cut(cylinder((0, 0, -100), (0, 0, 1), 20, 200)))
    assert_is(one, run, ROUND)
    assert one.metal == pytest.approx((-sqrt(20**2 - 15**2), 0.0), abs=1e-6)


# --- almost a tube, and none ----------------------------------------------------------------


def test_a_tapered_an_oval_and_a_stepped_tube_say_how_far_off():
    taper = only(cq.Solid.makeCone(15, 15.5, 200).cut(cq.Solid.makeCone(13, 13.5, 200)))
    assert codes(taper) == {"solid-tapered": pytest.approx(1.0)} and taper.section.od == pytest.approx(30.5)
    assert taper.deviation == pytest.approx(0.25)
    oval = only(cq.Workplane("XY").ellipse(15.2, 15).extrude(200).val())
    assert codes(oval) == {"solid-oval": pytest.approx(0.4, abs=0.01)}
    fat = tube_solid(run_of([(0, 0, 90, 60)], 0, Placement((100, 0, 0))), Section("bar", 30.4, 15.2))
    part = (
        cylinder((0, 0, 0), (1, 0, 0), 15, 100).fuse(cq.Shape.cast(fat)).fuse(cylinder((160, 60, 0), (0, 1, 0), 15, 80))
    )
    stepped = only(part)
    assert codes(stepped) == {"solid-off": pytest.approx(0.2)} and "30.00 mm to 30.40 mm" in stepped.findings[0].message


def test_a_bore_beside_the_axis_is_said():
    one = only(cylinder((0, 0, 0), (1, 0, 0), 15, 200).cut(cylinder((0, 0.5, 0), (1, 0, 0), 12, 200)))
    assert one.section.wall == pytest.approx(3.0) and codes(one) == {"solid-off": pytest.approx(0.5)}


def test_sentences_use_the_units_asked_for():
    (told, *_) = find_tubes(cq.Solid.makeCone(15, 15.5, 200).wrapped, "leg")[0][0].findings
    assert told.message_in(Display("in")).startswith("leg: the diameter changes by 0.039 in")
    (left,) = find_tubes(cq.Solid.makeCone(30, 10, 80).wrapped, "cap")[1]
    assert left.why_in(Display("in")) == "cap: a cone: it tapers from 0.787 in to 2.362 in across"
    assert left.why_in() == "cap: a cone: it tapers from 20.00 mm to 60.00 mm across"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shape", "word"),
    [
        (lambda: plate(100, 8).val(), "flat"),
        (lambda: plate(100, 8).edges("|Z").fillet(6).faces(">Z").workplane().hole(9).val(), "plate"),
        (lambda: plate(200, 8).faces(">Z").workplane().rarray(20, 20, 8, 8).rect(9, 9).cutThruAll().val(), "flat"),
        (angle_iron, "an angle (L) of 40.00 x 40.00 mm, 300.00 mm long: an open profile"),
        (lambda: cq.Solid.makeSphere(20, angleDegrees1=-90), "sphere"),
        (lambda: cq.Solid.makeCone(30, 10, 80), "tapers from 20.00 mm to 60.00 mm"),
        (lambda: cylinder((0, 0, 0), (0, 0, 1), 50, 10), "disc or ring: 10.00 mm long, 100.00 mm across"),
        (shaft, "steps from 24.00 mm to 40.00 mm"),
        (lambda: plate(50, 10).val().fuse(cylinder((0, 0, 0), (0, 0, 1), 6, 18)), "boss"),
        (spring, "free-form"),
    ],
)
def test_what_is_no_tube_is_ignored_for_a_reason(shape, word):
    assert word in reason(shape())


def test_nothing_at_all():
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound, TopoDS_Shape

    empty = TopoDS_Compound()
    BRep_Builder().MakeCompound(empty)
    assert find_tubes(empty, "x") == ([], []) and find_tubes(TopoDS_Shape(), "x") == ([], [])


def test_the_arm_of_the_longest_point_is_measured_along_the_end():
    """An end cut at a slant in a bend: the plane contains no axis of the bend."""
    run = run_of([(100, 0, 60, 80)], 0)
    box = cq.Workplane("XY").box(400, 400, 400).translate((200, 0, 0)).rotate((0, 0, 0), (0, 1, 0), 20)
    one = only(cq.Shape.cast(tube_solid(run, ROUND)).cut(box.translate((140, 0, 0)).val()))
    # the centerline meets the slanted plane through (140, 0, 0) at x = 140: sin(turn) = 40 / 80
    assert one.table.bends[0].angle == pytest.approx(30.0, abs=1e-6)
    assert one.metal[1] > 1.0 and atan2(one.metal[1], 15.0) < radians(60)


def test_what_is_no_tube_is_counted_as_often_as_it_is_used(tmp_path):
    """A part whose name is the beginning of the word 'solid' is one kind with its copies."""
    import cadquery as cq

    block = cq.Workplane().box(10, 20, 5)
    frame = cq.Assembly(name="frame").add(block, name="s").add(block, name="t", loc=cq.Location(cq.Vector(50, 0, 0)))
    frame.export(str(tmp_path / "frame.step"))
    drawing = read_step(tmp_path / "frame.step")
    assert [(left.kind, left.count) for left in drawing.ignored] == [("solid", 2)]
