"""Set-up by hand: marks, stops, rolls, ends, order, rounding, words. The example is that of docs/setup.md."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import cos, dist, hypot, pi, radians, sin, sqrt, tan

import pytest
from bending_checks import orders
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from machine import bend_stick
from strategies import placements, tables
from tubes import run_of, tube_of

from converter.bending.setup.setup import set_up
from converter.bending.setup.words import SetupView, rounded, turn_words
from converter.errors import OptionError
from converter.findings import ERROR, NOTE, WARNING
from converter.job.job import Job
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.model import Die, Machine, Metal, Shop, Trial
from converter.units import Display, parse_length, rounded_up
from converter.words import room_text

ROUND = Section("round", 40.0, 2.0)
DIE = Die("R150", "round", 40.0, 150.0, clamp=90.0, between=90.0, tail=50.0, mark_offset=12.0)
TESTS = (Trial("R150", None, None, 46.0, 45.0), Trial("R150", None, None, 92.0, 90.0))
#: nothing near: the bends lie flat, a metre above the floor
ROOM = Machine(plane="horizontal", pivot_height=1000.0)
ROWS = [(200.0, 0.0, 90.0, 150.0), (300.0, 90.0, 60.0, 150.0)]


def shop_of(*dies: Die, tests=(), machine=None) -> Shop:
    return Shop("test", dies or (DIE,), machine or ROOM, tests=tuple(tests))


def one(rows, tail, shop=None, feed_from=None, section=ROUND, **run):
    return set_up([tube_of(run_of(rows, tail, **run), section)], shop or shop_of(), feed_from)[0]


def codes(setup):
    return [(f.code, f.severity) for f in setup.findings]


def test_the_example_without_springback():
    setup = one(ROWS, 100.0)
    arc = 150.0 * pi / 2.0
    assert [step.mark for step in setup.steps] == pytest.approx([188.0, 200.0 + arc + 300.0 - 12.0])
    assert setup.stick_length == pytest.approx(200.0 + arc + 300.0 + 150.0 * pi / 3.0 + 100.0)
    assert [step.stop for step in setup.steps] == [90.0, 60.0]
    assert [step.roll for step in setup.steps] == [0.0, -90.0]
    assert setup.steps[1].roll_arc == pytest.approx(-10.0 * pi)
    assert ("springback-none", WARNING) in codes(setup)
    assert setup.length == setup.tube.run.table.developed_length


def test_the_example_with_springback():
    """Worked by hand in docs/setup.md."""
    setup = one(ROWS, 100.0, shop_of(tests=TESTS))
    first, second = setup.steps
    assert (first.stop, second.stop) == pytest.approx((92.0, 61.0 + 1.0 / 3.0))
    assert first.radius == pytest.approx(153.0 + 1.0 / 3.0)
    assert first.mark == pytest.approx(184.667, abs=5e-4)
    assert second.mark == pytest.approx(720.264, abs=5e-4)
    assert setup.stick_length == pytest.approx(990.911, abs=1e-3)
    assert first.stick == pytest.approx(150.0 * radians(92.0))
    assert {step.springback.source for step in setup.steps} == {"tests"}
    assert not setup.findings


def test_the_example_from_the_other_end():
    setup = one(ROWS, 100.0, shop_of(tests=TESTS), "B")
    assert [step.bend for step in setup.steps] == [2, 1]
    assert [step.mark for step in setup.steps] == pytest.approx([86.075, 541.388], abs=1e-3)
    assert [step.roll for step in setup.steps] == [0.0, -90.0], "a screw keeps its hand"
    from_a = one(ROWS, 100.0, shop_of(tests=TESTS), "A")
    assert setup.stick_length == pytest.approx(from_a.stick_length)
    starts_a = {step.bend: step.start for step in from_a.steps}
    for step in setup.steps:
        assert setup.stick_length - step.start - step.stick == pytest.approx(starts_a[step.bend])


def test_stretch_shortens_the_stick():
    """A test bend whose arc of 240.855 mm took 238.470 mm of stick stretches by 1 %."""
    arc = 150.0 * radians(92.0)
    tests = (Trial("R150", None, None, 92.0, 90.0, length=arc / 1.01),)
    setup, plain = one(ROWS, 100.0, shop_of(tests=tests)), one(ROWS, 100.0, shop_of(tests=TESTS))
    assert setup.stretches and not plain.stretches
    arcs = sum(step.stick for step in plain.steps)
    assert plain.stick_length - setup.stick_length == pytest.approx(arcs * (1.0 - 1.0 / 1.01))
    assert setup.steps[0].mark == pytest.approx(plain.steps[0].mark)
    assert plain.steps[1].mark - setup.steps[1].mark == pytest.approx(arc * (1.0 - 1.0 / 1.01))


def test_extra_stick_moves_every_mark():
    setup = one([(50.0, 0.0, 90.0, 150.0), ROWS[1]], 20.0)
    assert (setup.extra_a, setup.extra_b) == (40.0, 30.0)
    assert setup.steps[0].start == 90.0
    assert setup.steps[0].mark == 78.0
    assert setup.stick_length == pytest.approx(setup.length + 70.0)
    assert codes(setup).count(("end-too-short", NOTE)) == 2
    text = " ".join(SetupView(setup, Display()).instructions())
    assert "trim marks 40.00 mm from end A and 30.00 mm from end B" in text
    assert text.endswith("Trim 40.00 mm off end A and 30.00 mm off end B.")


def test_fed_from_b_the_needs_change_ends():
    setup = one([(50.0, 0.0, 90.0, 150.0), ROWS[1]], 20.0, feed_from="B")
    assert (setup.extra_a, setup.extra_b) == (0.0, 70.0)


def test_best_takes_the_end_that_needs_no_extra():
    rows = [(60.0, 0.0, 90.0, 150.0), (300.0, 0.0, 90.0, 150.0)]
    assert one(rows, 200.0).feed_from == "A"
    best = one(rows, 200.0, feed_from="best")
    assert (best.feed_from, best.extra_a, best.extra_b) == ("B", 0.0, 0.0)
    assert ("order-changed", NOTE) in codes(best)
    assert one(ROWS, 100.0, feed_from="best").feed_from == "A"


def test_a_short_straight_changes_the_order():
    rows = [(200.0, 0.0, 90.0, 150.0), (60.0, 90.0, 60.0, 150.0)]
    setup = one(rows, 100.0, feed_from="A")
    assert [step.bend for step in setup.steps] == [2, 1]
    assert [step.roll for step in setup.steps] == [0.0, 90.0]
    assert [step.total for step in setup.steps] == [0.0, 90.0]
    assert setup.steps[0].mark > setup.steps[1].mark
    assert ("order-changed", NOTE) in codes(setup)
    assert not any(severity == ERROR for _, severity in codes(setup))
    text = setup.findings[0].message
    assert "order 2, 1" in text
    assert any(line.startswith("Draw the stick back") for line in SetupView(setup, Display()).instructions())


def test_what_cannot_be_held_is_named_with_what_is_missing():
    rows = [(200.0, 0.0, 90.0, 150.0), (40.0, 90.0, 60.0, 150.0)]
    setup = one(rows, 100.0)
    found = [f for f in setup.findings if f.severity == ERROR]
    assert [(f.code, f.bend, f.measured, f.limit) for f in found] == [("straight-too-short", 2, 40.0, 90.0)]
    # half of the 40 straight lies behind the first 200 and 235.62 of arc
    assert found[0].message.startswith(
        "run, bend 2: it cannot be held: the straight between it and bend 1 is 40.00 mm, and the clamp "
    )
    assert found[0].cure_in() == (
        "Move it 50.00 mm away from bend 1, or split the tube 455.62 mm from end A, in the straight between bends 1 "
        "and 2, and join the pieces with a butt weld."
    )
    assert SetupView(setup, Display()).instructions() == []


def test_another_die_is_proposed_where_it_would_do():
    """On a radius of 60 the straight between quarter bends of 150 grows from 20 to 20 + 2 x 90."""
    small = Die("R60", "round", 40.0, 60.0, clamp=90.0, between=90.0, tail=50.0)
    rows = [(200.0, 0.0, 90.0, 150.0), (20.0, 90.0, 90.0, 150.0)]
    setup = one(rows, 200.0, shop_of(DIE, small))
    (found,) = [f for f in setup.findings if f.severity == ERROR]
    # the middle of a quarter bend moves by 90 (sqrt 2 - 1)
    assert (
        "bend it on 'R60' (60.00 mm) instead (refit), which moves the centerline by up to 37.28 mm." in found.cure_in()
    )


def test_a_tube_that_would_hit_the_floor_goes_from_the_other_end():
    """A Z bent upward, pivot 700, so the stick runs 550 above the floor.

    From A the first leg, 1500 long, hangs down for the second bend and hits; from B only 200 and the arc's
    150 hang down, and 550 - 150 - 200 = 200 are left below the end (20 less beside a hanging tube's side).
    """
    low = Machine(plane="vertical", pivot_height=700.0)
    rows = [(1500.0, 0.0, 90.0, 150.0), (700.0, 180.0, 90.0, 150.0)]
    setup = one(rows, 200.0, shop_of(machine=low))
    assert (setup.feed_from, [step.bend for step in setup.steps]) == ("B", [2, 1])
    assert setup.clearance is not None
    assert setup.clearance.least == pytest.approx(200.0, abs=21.0)
    assert "so that the tube clears what stands around" in setup.findings[0].message
    told = one(rows, 200.0, shop_of(machine=low), "A")
    assert told.feed_from == "A"
    assert [f.code for f in told.findings if f.code in ("sweep-hits", "order-changed")] == ["order-changed"]


def test_the_clamp_is_turned_over_for_an_s_bend():
    die = replace(DIE, invert_clamp=True)
    setup = one([(200.0, 0.0, 45.0, 150.0), (0.0, 180.0, 45.0, 150.0)], 100.0, shop_of(die))
    assert [step.inverted for step in setup.steps] == [None, 1]
    assert ("straight-too-short", NOTE) in codes(setup)
    assert not any(severity == ERROR for _, severity in codes(setup))
    assert setup.steps[1].roll == 180.0
    assert "Turn the clamp over" in SetupView(setup, Display()).instructions()[3]


def test_an_s_bend_that_springback_leaves_no_straight_is_made_with_none():
    """Radii of 153.333 take 2 x 3.333 x tan 22.5 = 2.761 mm of the 0 (or 2) mm that are drawn between."""
    die = replace(DIE, invert_clamp=True)
    shop = shop_of(die, tests=TESTS)
    for straight, lacks, severity in ((0.0, 2.7614, WARNING), (2.0, 0.7614, NOTE), (3.0, 0.0, None)):
        rows = [(200.0, 0.0, 45.0, 150.0), (straight, 180.0, 45.0, 150.0)]
        for end in "AB":
            setup = one(rows, 100.0, shop, end)
            assert not any(found == ERROR for _, found in codes(setup))
            assert [step.inverted is None for step in setup.steps] == [True, False]
            told = [f for f in setup.findings if f.code == "legs-shifted"]
            assert [(f.bend, f.severity, f.measured) for f in told] == (
                [(2, severity, pytest.approx(lacks, abs=1e-4))] if severity else []
            )
            if told:
                words = Display().length(lacks)
                assert told[0].cure_in() == f"Move it {words} away from bend 1 if that matters."
            first, second = sorted(setup.steps, key=lambda step: step.start)
            between = second.start - first.start - first.stick
            assert between == pytest.approx(max(0.0, straight - 2.7614), abs=1e-4)
            # from end to end off the machine: legs of 200 and 100 to their tangent points as drawn, the corners
            # further apart along the line between them, at 45 degrees
            setback = 150.0 * tan(radians(22.5))
            middle = straight + lacks + 2.0 * setback
            far = hypot(300.0 + 2.0 * setback + middle * cos(pi / 4.0), middle * sin(pi / 4.0))
            lead = setup.extra(setup.feed_from)
            ends = bend_stick(setup.stick_length, orders(setup), [lead, lead + setup.length])
            assert dist(*ends) == pytest.approx(far, abs=1e-3)


@pytest.mark.parametrize("end", ["A", "B"])
def test_an_end_that_springback_leaves_no_straight_is_made_with_none(end):
    """A radius of 153.333 takes 3.333 x tan 22.5 = 1.3807 mm of the 1 mm at end A: it comes out 0.38 mm further along.

    Nothing was swept then, and the room was "not worked out" without a word.
    """
    setup = one([(1.0, 0.0, 45.0, 150.0)], 300.0, shop_of(tests=TESTS), end)
    lacks = (460.0 / 3.0 - 150.0) * tan(radians(22.5)) - 1.0
    (told,) = [f for f in setup.findings if f.code == "legs-shifted"]
    assert (told.bend, told.end, told.severity, told.measured) == (1, "A", NOTE, pytest.approx(lacks, abs=1e-4))
    assert told.message.endswith("made with none, the end comes out 0.38 mm further along than drawn.")
    assert told.cure_in() == "Trim 0.38 mm more off that end, within the bend, if that matters."
    assert setup.clearance is not None and setup.room_unknown == ""
    assert "not worked out" not in room_text(setup, Display())
    # off the machine, its extra trimmed: from end to end with legs to the corner as drawn, but for that
    setback = 150.0 * tan(radians(22.5))
    legs = 1.0 + lacks + setback, 300.0 + setback
    far = sqrt(legs[0] ** 2 + legs[1] ** 2 + 2.0 * legs[0] * legs[1] * cos(pi / 4.0))
    lead = setup.extra(setup.feed_from)
    ends = bend_stick(setup.stick_length, orders(setup), [lead, lead + setup.length])
    assert dist(*ends) == pytest.approx(far, abs=1e-3)
    assert not [f for f in one([(2.0, 0.0, 45.0, 150.0)], 300.0, shop_of(tests=TESTS), end).findings
                if f.code == "legs-shifted"]  # fmt: skip


def test_why_the_room_is_not_worked_out_is_told():
    overlap = one([(200.0, 0.0, 45.0, 150.0), (-5.0, 180.0, 45.0, 150.0)], 100.0, shop_of(tests=TESTS))
    assert (overlap.clearance, overlap.room_unknown) == (None, "overlap")
    assert room_text(overlap, Display()) == "not worked out: its bends overlap; put that right first"
    bare = replace(overlap, tube=replace(overlap.tube, section=None))
    assert bare.room_unknown == "section" and "no section is known" in room_text(bare, Display())
    ring = replace(overlap, tube=replace(overlap.tube, run=replace(overlap.tube.run, closed=True)))
    assert ring.room_unknown == "ring" and "closed ring" in room_text(ring, Display())
    (step, other) = overlap.steps
    assert replace(overlap, steps=(step._replace(stop=360.0), other)).room_unknown == "turn"


def test_a_clamp_that_stays_needs_its_straight_after_springback():
    """The corners must move by the clamp's 90 and by the 2.761 that springback takes."""
    setup = one([(200.0, 0.0, 45.0, 150.0), (0.0, 180.0, 45.0, 150.0)], 100.0, shop_of(tests=TESTS))
    (found,) = [f for f in setup.findings if f.severity == ERROR]
    assert (found.measured, found.limit) == (0.0, 90.0)
    assert found.cure_in() == "Move it 92.76 mm away from bend 1."
    assert "legs-shifted" not in [f.code for f in setup.findings]


def test_an_overlap_as_drawn_is_never_made():
    """Bends that overlap by 5 as drawn, or on the die's radius, stay so: springback is not to blame."""
    die = replace(DIE, invert_clamp=True)
    drawn = run_of([(200.0, 0.0, 45.0, 150.0), (-5.0, 180.0, 45.0, 150.0)], 100.0)
    job = Job.of_tubes([Tube(drawn, ROUND)], shop_of(die, tests=TESTS))
    (setup,) = job.setups
    assert setup.plan.lacks and not setup.excess[1]
    # told once: as drawn, where the audit sees it
    assert [f.code for f in job.findings if f.severity == ERROR] == ["negative-straight"]
    setup = one([(200.0, 0.0, 45.0, 140.0), (0.0, 180.0, 45.0, 140.0)], 100.0, shop_of(die, tests=TESTS))
    (told,) = (f for f in setup.findings if f.severity == ERROR)
    # 10 mm more of radius takes 10 tan 22.5 = 4.14 mm at either bend, springback another 2.76
    assert (told.code, told.variant) == ("straight-too-short", "overlap")
    assert "it and bend 1 overlap by 11.05 mm after springback" in told.message
    assert "split the tube" not in told.cure_in()  # there is no straight to cut
    # where no springback is known none is told of
    setup = one([(200.0, 0.0, 45.0, 140.0), (0.0, 180.0, 45.0, 140.0)], 100.0, shop_of(die))
    (told,) = (f for f in setup.findings if f.severity == ERROR)
    assert {step.springback.source for step in setup.steps} == {"none"}
    assert "it and bend 1 overlap by 8.28 mm, and the clamp needs" in told.message


def test_a_stop_past_the_limit():
    shop = shop_of(replace(DIE, max_angle=90.0), tests=TESTS)
    found = [f for f in one(ROWS, 100.0, shop).findings if f.code == "stop-too-great"]
    assert [(f.bend, f.measured, f.limit, f.severity) for f in found] == [(1, pytest.approx(92.0), 90.0, ERROR)]


def test_an_estimated_stop_past_the_limit_is_an_error_only_when_it_is_sure():
    """Mild steel of these sizes springs back by a percent or three; 89 then fits a stop of 90 or it does not."""
    metal = Metal("soft", 200.0, 500.0, 200.0)
    tube = Tube(run_of([(200.0, 0.0, 90.0, 150.0)], 200.0), ROUND, metal="soft")
    for limit, severity in ((90.1, ERROR), (92.0, None)):
        shop = Shop("test", (replace(DIE, max_angle=limit),), metals=(metal,))
        setup = set_up([tube], shop)[0]
        step = setup.steps[0]
        low, high = step.springback.stop_range(90.0)
        assert (low < high, step.springback.source) == (True, "estimate")
        said = {f.severity for f in setup.findings if f.code == "stop-too-great"}
        assert said == ({severity} if severity and step.stop > limit else set()), (low, high)


def test_a_stick_too_long_for_the_machine():
    found = one(ROWS, 100.0, shop_of(machine=replace(ROOM, max_length=900.0))).findings
    assert [f.code for f in found if f.severity == ERROR] == ["stick-too-long"]


def test_a_die_without_offset_says_so():
    setup = one(ROWS, 100.0, shop_of(replace(DIE, mark_offset=None)))
    assert setup.steps[0].mark == setup.steps[0].start == 200.0
    assert ("mark-offset-unknown", NOTE) in codes(setup)
    assert "where the bend starts on the die" in SetupView(setup, Display()).instructions()[2]


def test_a_u_bend_has_no_corner_and_says_how_far_it_opens():
    """180 degrees at 2 % of stop per degree: radius 153.33, legs 6.67 further apart; its outermost point stays."""
    setup = one([(400.0, 0.0, 180.0, 150.0)], 400.0, shop_of(tests=TESTS))
    assert setup.steps[0].start == pytest.approx(400.0 - 10.0 / 3.0)
    found = [f for f in setup.findings if f.code == "bend-wider"]
    assert [(f.bend, f.measured) for f in found] == [(1, pytest.approx(20.0 / 3.0))]


def test_a_straight_has_only_a_stick():
    setup = one([], 500.0)
    assert (setup.steps, setup.stick_length, setup.findings) == ((), 500.0, ())
    assert SetupView(setup, Display()).instructions() == ["Cut a stick to 500.00 mm (40.00 x 2.00 mm tube)."]


def test_a_corner_without_radius_has_no_set_up():
    setup = one([(200.0, 0.0, 90.0, None)], 100.0)
    assert setup.steps == ()


def test_without_a_die_the_bends_are_listed_all_the_same():
    setup = one(ROWS, 100.0, section=Section("round", 50.0, 2.0))
    assert [step.die for step in setup.steps] == [None, None]
    assert [step.mark for step in setup.steps] == [step.start for step in setup.steps]


def test_metal_past_the_centerlines_ends_is_cut_too():
    run = replace(run_of(ROWS, 100.0), metal=(7.0, 130.0))
    setup = set_up([tube_of(run, ROUND)], shop_of())[0]
    assert (setup.extra_a, setup.extra_b) == (7.0, 130.0)
    assert setup.steps[0].start == 207.0


def test_the_face_that_bends_decides_the_die():
    """40 x 20: on its first bend 20 high, a quarter turn later 40 high and 20 across."""
    flat = Die("flat", "rectangular", 40.0, 100.0, height=20.0, mark_offset=5.0)
    tall = Die("tall", "rectangular", 20.0, 160.0, height=40.0, mark_offset=9.0)
    section = Section("rectangular", 40.0, 2.0, height=20.0, corner=4.0)
    rows = [(300.0, 0.0, 90.0, 100.0), (300.0, 90.0, 90.0, 160.0), (300.0, -90.0, 30.0, 100.0)]
    setup = one(rows, 300.0, shop_of(flat, tall), section=section)
    assert [step.die.name for step in setup.steps] == ["flat", "tall", "flat"]
    outline = 2.0 * 60.0 - (8.0 - 2.0 * pi) * 4.0
    assert [step.roll_arc for step in setup.steps] == pytest.approx([0.0, -outline / 4.0, outline / 4.0])
    assert "Change to the die 'tall'" in SetupView(setup, Display()).instructions()[3]


@pytest.mark.slow
@settings(max_examples=40)
@given(table=tables(most=12), place=placements())
def test_marks_are_the_centerlines_own_arc_lengths(table, place):
    """With no springback and the drawn radii a mark is where the centerline's own segments add up to."""
    bends = tuple(replace(bend, clr=150.0, feed=bend.feed + 1.0) for bend in table.bends)
    run = Run("run", None, False, replace(table, bends=bends), place)
    shop = shop_of(replace(DIE, clamp=0.0, between=0.0, tail=0.0))
    setup = set_up([Tube(run, None, "R150")], shop, feed_from="A")[0]
    assume(setup.plan.is_simple)  # not changed because the tube, as thick as its die, would run into itself
    at, starts = 0.0, []
    for segment in run.centerline:
        if isinstance(segment, Arc):
            starts.append(at)
        at += segment.length
    assert [step.start - setup.extra_a for step in setup.steps] == pytest.approx(starts, abs=1e-6)
    assert setup.length == pytest.approx(at, abs=1e-6)
    assert [step.mark for step in setup.steps] == pytest.approx([step.start - 12.0 for step in setup.steps])


@pytest.mark.slow
@given(table=tables(most=30), end=st.sampled_from("AB"), denominator=st.sampled_from([8, 16, 64]))
def test_rounding_never_adds_up(table, end, denominator):
    """Every shown mark is within half a step of its exact place, however many lie before it."""
    run = Run("run", None, False, table, run_of([], 1.0).placement)
    sheet = SetupView(set_up([Tube(run, None)], shop_of(), feed_from=end)[0], Display("in", denominator))
    exact = sheet.setup.stick_length
    assert exact - 1e-3 <= sheet.stick < exact + 25.4 / denominator
    for step in sheet.setup.steps:
        for side in "AB":
            shown = parse_length(sheet.display.length(sheet.mark(side, step)))
            assert abs(shown - sheet.mark(side, step)) <= 12.7 / denominator + 1e-9
            assert shown == pytest.approx(rounded(sheet.mark(side, step), sheet.display))
        assert abs(sheet.mark("A", step) + sheet.mark("B", step) - sheet.stick) < 1e-9


@given(st.floats(-180.0, 180.0), st.integers(2, 40))
def test_running_totals_do_not_drift(roll, count):
    """The total before the last of n equal rolls is n - 1 rolls, brought into (-180, 180]."""
    rotation = 180.0 if roll == -180.0 else roll
    rows = [(200.0, 0.0 if i == 0 else rotation, 10.0, 150.0) for i in range(count)]
    last = one(rows, 200.0, shop_of(replace(DIE, between=0.0)), "A", closed=True).steps[-1]
    exact = -Fraction(rotation) * (count - 1)
    off = float((Fraction(last.total) - exact + 180) % 360 - 180)
    # what is half a turn or none but for a millionth of a degree is told as such
    assert abs(off) < (1e-6 if last.total in (0.0, 180.0) else 1e-8)
    assert -180.0 < last.total <= 180.0


def test_rounding_up():
    assert rounded_up(25.4 * 1.001, Display("in", 16)) == pytest.approx(25.4 * (1.0 + 1.0 / 16.0))
    assert rounded_up(25.4, Display("in", 16)) == pytest.approx(25.4)
    assert rounded_up(10.0000000001, Display()) == pytest.approx(10.0)
    assert rounded_up(400.00000023, Display()) == pytest.approx(400.0)  # as a STEP file gave a rung of 400
    assert rounded_up(25.4 * 35.500001, Display("in")) == pytest.approx(25.4 * 35.5)  # six digits in inches
    assert rounded_up(10.0002, Display()) == pytest.approx(10.01)
    assert rounded_up(10.001, Display()) == pytest.approx(10.01)


def test_turning_in_words_agrees_with_the_profile():
    """The profile says of +90: the plane turns clockwise, the tube counter-clockwise, seen from A toward B."""
    from converter.exporters.dxf.profile import rotation_sentences

    said = rotation_sentences(90.0, 2, Display())[1]
    roll = one(ROWS, 100.0).steps[1].roll
    assert roll == -90.0
    assert f" {turn_words(roll)}," in said
    assert (turn_words(0.0), turn_words(180.0), turn_words(30.0)) == ("", "half round", "clockwise")


def test_instructions_can_be_followed():
    told = SetupView(one(ROWS, 100.0, shop_of(tests=TESTS)), Display()).instructions()
    assert told == [
        "Cut a stick to 990.92 mm (40.00 x 2.00 mm tube). Write A on one end and B on the other.",
        "Measure every mark from end A: draw marks at 184.67 mm (bend 1) and 720.26 mm (bend 2) all round. Draw a line "
        "along the stick to see how far it is turned.",
        "Put the die 'R150' on. Load the stick with end A first until its mark for bend 1 is at the die's mark line. "
        "Set the stop to 92.00° and bend: it should come out at 90.00°.",
        "Feed the stick on until its mark for bend 2 is at the die's mark line. Turn the tube 90.00° "
        "counter-clockwise, seen from end A toward end B (clockwise when you stand at end B and look at the die), "
        "that is 31.42 mm around its outside. Set the stop to 61.33° and bend: it should come out at 60.00°.",
    ]


def test_many_marks_stand_in_a_table_below_their_sentence():
    """Fed from end B: by the exact marks, in the order a tape passes them; nothing is told of a tube with an error."""
    setup = one([*ROWS, *ROWS], 100.0, shop_of(tests=TESTS), feed_from="B")
    for display in (Display(), Display("in"), Display("in", 16)):
        view = SetupView(setup, display)
        told = view.instructions()
        assert told[1].startswith("Measure each of these 4 marks from end B, and draw it all round. Draw a line along")
        assert [i for i, text in enumerate(told) if view.mark_rows(text)] == [1]
        assert [name for name, _ in view.mark_rows()] == ["bend 4", "bend 3", "bend 2", "bend 1"]
        for step, (_, place) in zip(sorted(setup.steps, key=lambda step: -step.bend), view.mark_rows(), strict=True):
            exact = setup.stick_length - setup.mark_from("A", step, setup.stick_length)
            assert parse_length(place) == pytest.approx(exact, abs=display.step / 2.0 + 1e-9)
    for refusal in (frozenset({4}), frozenset()):
        assert SetupView(setup, Display(), refusal).instructions() == []
    assert [step.bend for step in SetupView(setup, Display(), frozenset({4})).marked] == [3, 2, 1]


def test_without_a_section_there_is_no_die_and_nothing_to_set():
    setup = one(ROWS, 100.0, section=None)
    assert (setup.steps, setup.lacking, setup.stick_length) == ((), "die", setup.tube.run.table.developed_length)
    assert SetupView(setup, Display()).instructions() == []
    # a die that the job names for it gives marks and stops all the same
    tube = Tube(run_of(ROWS, 100.0), None, "R150")
    assert [step.die for step in set_up([tube], shop_of())[0].steps] == [DIE, DIE]


def test_asking_for_an_end_that_is_none():
    with pytest.raises(OptionError, match="'C'"):
        one(ROWS, 100.0, feed_from="C")


def test_corners_stay_where_they_were():
    """The straights shrink by what the radius grows, by hand: (153.33 - 150) tan 45 and tan 30."""
    setup = one(ROWS, 100.0, shop_of(tests=TESTS))
    between = setup.steps[1].start - setup.steps[0].start - setup.steps[0].stick
    shift = 10.0 / 3.0
    assert between == pytest.approx(300.0 - shift - shift * tan(radians(30.0)))
