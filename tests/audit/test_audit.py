"""The audit, first family: each check fires just past its limit and keeps still just inside it.

Limits and distances are worked by hand beside each case; refit distances also against a brute-force
comparison of points along both centerlines.
"""

from dataclasses import replace
from math import cos, radians, sqrt, tan
from time import process_time

import numpy as np
import pytest
from any_finding import any_finding

from converter.audit.registry import audit
from converter.audit.shape import turn_gap
from converter.findings import CODES
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line
from converter.model.run import Run, Tube
from converter.reducer.refit import refit
from converter.shop.assign import die_for_bend
from converter.shop.model import Die, Machine, Shop
from converter.shop.sections import parse_section
from converter.units import Display

TUBE = parse_section("50x2mm")
TIGHT = Die("TIGHT", "round", 50.0, 100.0, max_angle=120.0, clamp=60.0, between=60.0, tail=40.0)
WIDE = Die("WIDE", "round", 50.0, 150.0, max_angle=180.0, clamp=80.0, between=80.0, tail=50.0)
SHOP = Shop("shed", (WIDE, TIGHT), Machine(max_angle=170.0), source="s.toml")
INCH = Display("in")


def bend(clr, feed=500.0, angle=90.0, rotation=0.0, **more):
    return Bend(feed, rotation, angle, clr, **more)


def tube(*bends, tail=500.0, section=TUBE, die=None, closed=False, findings=(), run_findings=(), **more):
    run = Run("T1", "RAIL", closed, BendTable(tuple(bends), tail), Placement(), findings=tuple(run_findings), **more)
    return Tube(run, section, die, findings=tuple(findings))


def said(*bends, shop=SHOP, **more):
    return audit([tube(*bends, **more)], shop)


def codes(*bends, **more):
    return [(f.code, f.bend) for f in said(*bends, **more)]


def only(*bends, **more):
    (finding,) = said(*bends, **more)
    return finding


# --- section and die ------------------------------------------------------------------------


def test_all_is_well():
    assert said(bend(100.0), bend(150.0, rotation=30.0)) == []
    assert said(tail=300.0, section=None) == []  # a straight needs no die


def test_no_section():
    finding = only(bend(100.0), section=None)
    assert (finding.code, finding.severity, finding.bend, finding.tube, finding.layer) == (
        "section-unknown", "warning", None, "T1", "RAIL",
    )  # fmt: skip
    assert finding.message == "T1: no section is known, so the dies cannot be checked."
    # with a die named the radius is checked all the same
    assert codes(bend(100.0), section=None, die="TIGHT") == [("section-unknown", None)]
    assert codes(bend(99.0), section=None, die="TIGHT") == [("radius-too-tight", 1), ("section-unknown", None)]


def test_no_die():
    finding = only(bend(100.0), section=parse_section("48x2mm"))
    assert (finding.code, finding.severity, finding.measured, finding.limit) == ("no-die", "error", 48.0, 50.0)
    assert finding.message == ("T1: the shop has no die for 48.00 x 2.00 mm tube; its nearest take 50.00 mm round.")
    assert said(bend(100.0), section=parse_section("50.24x2mm")) == []  # within the match of 0.25 mm
    assert [f.code for f in said(bend(100.0), section=parse_section("50.26x2mm"))] == ["no-die"]
    shop = replace(SHOP, dies=(replace(TIGHT, size=20.0), replace(WIDE, size=90.0), Die("S", "square", 48.0, 99.0)))
    far = only(bend(100.0), section=parse_section("60x2mm"), shop=shop)  # round ones first, the nearest first
    assert "its nearest take 90.00 mm round, 20.00 mm round and 48.00 mm square." in far.message
    boxy = only(bend(100.0), section=parse_section("60x60x2mm"), shop=shop)
    assert "its nearest take 48.00 mm square, 90.00 mm round and 20.00 mm round." in boxy.message
    assert "no dies at all" in only(bend(100.0), shop=Shop("bare", ())).message
    assert [f.code for f in said(bend(100.0), section=parse_section("50x50x2mm"))] == ["no-die"]


def test_no_die_is_said_once():
    before = any_finding("no-die", tube="T1")
    assert said(bend(100.0), section=parse_section("48x2mm"), findings=(before,)) == [before]


# --- radius ---------------------------------------------------------------------------------


def test_too_tight():
    finding = only(bend(99.94, handle="2F", layer="L2"))
    assert (finding.code, finding.severity, finding.bend) == ("radius-too-tight", "error", 1)
    assert (finding.measured, finding.limit, finding.unit) == (99.94, 100.0, "mm")
    assert (finding.handle, finding.layer, finding.tube) == ("2F", "L2", "T1")
    assert said(bend(99.96)) == []  # equal within 0.05 mm


def test_too_tight_in_words():
    finding = only(bend(76.2))
    assert finding.message_in(INCH) == (
        "T1, bend 1: it has a centerline radius of 3.000 in; the tightest die for 1.969 x 0.079 in tube is 'TIGHT' "
        "(3.937 in), so it is 0.937 in too tight."
    )
    # 23.8 mm (1/cos 45 deg - 1) = 9.858 mm = 0.388 in
    assert (
        finding.cure_in(INCH)
        == "Bend it on 'TIGHT' (3.937 in) instead (--refit, or refit = true in the job file): the centerline moves by "
        "up to 0.388 in."
    )


def test_too_wide_and_between():
    wide = only(bend(150.06))
    assert (wide.code, wide.limit) == ("radius-too-wide", 150.0) and said(bend(150.04)) == []
    assert only(bend(160.0)).message == (
        "T1, bend 1: it has a centerline radius of 160.00 mm; the widest die for 50.00 x 2.00 mm tube is 'WIDE' "
        "(150.00 mm), 10.00 mm less."
    )
    between = only(bend(130.0))
    assert (between.code, between.measured, between.limit) == ("radius-between-dies", 130.0, 150.0)
    assert "between 'TIGHT' (100.00 mm) and 'WIDE' (150.00 mm); no die makes it." in between.message
    assert only(bend(100.06)).limit == 100.0 and said(bend(100.04)) == []


def sampled(run, n=4001):
    """Points along a centerline, dense on arcs, for brute-force distances."""
    points = []
    for part in run.centerline:
        if isinstance(part, Line):
            u = np.linspace(0.0, 1.0, n)[:, None]
            points.append(np.array(part.start) * (1 - u) + np.array(part.end) * u)
        else:
            assert isinstance(part, Arc)
            points.append(np.array([part.point(a) for a in np.linspace(0.0, part.angle, n)]))
    return np.concatenate(points)


@pytest.mark.parametrize(("clr", "angle"), [(60.0, 90.0), (80.0, 30.0), (40.0, 110.0), (130.0, 45.0)])
def test_refit_distance_against_brute_force(clr, angle):
    finding = only(bend(clr, angle=angle))
    die = TIGHT if clr < 120.0 else WIDE
    drawn = tube(bend(clr, angle=angle)).run
    moved, _ = refit(drawn, die.clr)
    old, new = sampled(drawn), sampled(moved)
    middle = old[len(old) // 2 - 2600 : len(old) // 2 + 2600 : 13]  # the arc and what is next to it
    brute = max(np.min(np.linalg.norm(new - point, axis=1)) for point in middle)
    worked = abs(die.clr - clr) * (1.0 / cos(radians(angle) / 2.0) - 1.0)
    assert brute == pytest.approx(worked, abs=0.01)
    told = f"{finding.message[:-1]}; {finding.cure_in()}"
    assert f"end it on '{die.name}' ({die.clr:.2f} mm)" in told and "--refit, or" in told
    assert f"the centerline moves by up to {worked:.2f} mm" in told


def test_a_radius_that_a_die_all_but_has_is_told_by_what_to_do():
    """139.88 mm (5.507 in) on the die of 139.7 mm (5.5 in): 0.18 (1/cos 45 deg - 1) = 0.07 mm = 0.003 in."""
    shop = replace(SHOP, dies=(replace(TIGHT, name="D55", clr=139.7),))
    finding = only(bend(139.878), shop=shop)
    assert (finding.code, finding.severity) == ("radius-too-wide", "error")
    assert finding.message_in(INCH) == (
        "T1, bend 1: bend it on 'D55' (5.500 in): it is drawn to 5.507 in, and the centerline moves by up to 0.003 in."
    )
    assert finding.cure_in(INCH) == "Name --refit, or write refit = true in the job file."


def test_refit_that_does_not_fit_says_which_straight():
    # both tangent lengths grow by 50 tan 45 = 50: of 90 mm between, -10 are left
    findings = said(bend(50.0), bend(50.0, feed=90.0, rotation=90.0))
    assert [f.code for f in findings] == ["radius-too-tight", "radius-too-tight"]
    expected = "Bent on 'TIGHT' (100.00 mm) instead (refit) it lacks 10.00 mm of straight before bend 2: move the "
    assert all(f.cure_in() == expected + "corners apart, or get a tighter die." for f in findings)
    assert (
        "at end B"
        in only(bend(60.0), tail=39.0, die="TIGHT", shop=replace(SHOP, dies=(replace(TIGHT, tail=0.0),))).cure_in()
    )


def test_fitted_radii_are_judged_as_surely_as_they_are_known():
    # known to 1 of 99 mm: agrees with the die, and is said
    near = only(bend(99.0, clr_uncertainty=1.0))
    assert (near.code, near.severity, near.limit) == ("radius-approximate", "note", 100.0)
    assert "99.00 mm (within 1.00 mm)" in near.message
    assert said(bend(100.02, clr_uncertainty=1.0)) == []  # on the die as nearly as anyone can tell
    # the die is 1.1 mm away, the radius is known within 1 (and 0.05 of rounding): too tight for certain
    assert codes(bend(98.9, clr_uncertainty=1.0)) == [("radius-too-tight", 1)]
    assert codes(bend(98.96, clr_uncertainty=1.0)) == [("radius-approximate", 1)]
    # known within 2 percent, and just not
    assert codes(bend(99.0, clr_uncertainty=1.97)) == [("radius-approximate", 1)]
    assert codes(bend(99.0, clr_uncertainty=1.99)) == [("radius-uncertain", 1)]
    loose = only(bend(70.0, angle=10.0, clr_uncertainty=66.0))
    assert (loose.code, loose.severity, loose.limit) == ("radius-uncertain", "warning", 100.0)
    # a short arc hardly moves: 30 (1/cos 5 deg - 1) = 0.11 mm
    assert loose.cure_in().startswith("Bend it on 'TIGHT' (100.00 mm) instead (--refit, or refit = true")
    # loosely known, but on the tight side of every die for certain
    assert codes(bend(40.0, clr_uncertainty=59.9)) == [("radius-too-tight", 1)]
    assert codes(bend(40.0, clr_uncertainty=59.96)) == [("radius-uncertain", 1)]
    assert codes(bend(125.0, clr_uncertainty=24.0)) == [("radius-between-dies", 1)]
    assert codes(bend(175.0, clr_uncertainty=24.9)) == [("radius-too-wide", 1)]
    assert codes(bend(175.0, clr_uncertainty=24.96)) == [("radius-uncertain", 1)]  # 0.04 short of the die: rounding
    assert "T1, bend 1: its radius, 70.00 mm (within 66.00 mm), is too loosely known" in loose.message
    assert "T1, bend 1: its fitted radius, 99.00 mm (within 1.00 mm), agrees with the die 'TIGHT'" in near.message


def test_two_dies_within_the_uncertainty_settle_nothing():
    twins = Shop("shed", (TIGHT, replace(TIGHT, name="NEXT", clr=101.0)), source="s")
    assert codes(bend(100.5, clr_uncertainty=1.0), shop=twins) == [("radius-uncertain", 1)]
    assert codes(bend(100.0), shop=twins) == [] == codes(bend(101.0), shop=twins)
    # of two dies within the rounding of an exact arc the nearer makes it
    close = [replace(TIGHT, name="OVER", clr=100.08), TIGHT]
    assert die_for_bend(bend(100.05), close) is close[0] and die_for_bend(bend(100.03), close) is TIGHT
    assert die_for_bend(bend(100.14), close) is None and die_for_bend(bend(None), close) is None


def test_sharp_corner():
    found = said(bend(None, angle=45.0, corner=True), section=parse_section("48x2mm"))
    assert [(f.code, f.bend) for f in found] == [("no-die", None), ("corner-no-radius", 1)]
    assert found[1].message == ("T1, bend 1: a sharp corner that nothing gives a radius (no die takes its section).")
    assert (found[1].measured, found[1].unit, found[1].severity) == (45.0, "deg", "error")
    assert "no section is known" in said(bend(None), section=None)[0].message


# --- angle ----------------------------------------------------------------------------------


def test_angle():
    die = only(bend(100.0, angle=120.02))
    assert (die.code, die.measured, die.limit, die.unit) == ("angle-too-great", 120.02, 120.0, "deg")
    assert die.message == "T1, bend 1: it turns 120.02°; the die 'TIGHT' turns up to 120.00°."
    assert said(bend(100.0, angle=120.005)) == []
    machine = only(bend(150.0, angle=170.02))
    assert machine.limit == 170.0 and "the machine turns up to 170.00°" in machine.message
    assert said(bend(150.0, angle=170.0)) == []
    # without a die the machine's limit still stands; without a limit nothing is said
    bare = Shop("bare", (), Machine(max_angle=90.0))
    assert ("angle-too-great", 1) in codes(bend(100.0, angle=91.0), shop=bare)
    free = Shop("free", (replace(WIDE, max_angle=None),))
    assert said(bend(150.0, angle=179.0), shop=free) == []


# --- straights ------------------------------------------------------------------------------


def test_straight_between_bends():
    short = only(bend(100.0), bend(100.0, feed=59.98))
    assert (short.code, short.severity, short.bend) == ("straight-too-short", "error", 2)
    assert (short.measured, short.limit) == (59.98, 60.0)
    assert (
        short.message
        == "T1, bend 2: the straight before it is 59.98 mm; the clamp of 'TIGHT' needs 60.00 mm between bends."
    )
    assert short.cure_in() == "Move the bends 0.02 mm apart, or split the tube there."
    assert said(bend(100.0), bend(100.0, feed=59.995)) == []
    # the die of the later bend clamps: WIDE needs 80
    assert codes(bend(100.0), bend(150.0, feed=79.0)) == [("straight-too-short", 2)]
    assert codes(bend(150.0), bend(100.0, feed=79.0)) == []
    assert codes(bend(100.0), bend(100.0, feed=0.0)) == [("straight-too-short", 2)]


def test_a_bend_that_no_die_makes_needs_the_room_of_the_tubes_die_or_the_nearest():
    def need(clr, die=None):
        found = said(bend(100.0), bend(clr, feed=10.0), die=die)
        return next(f.limit for f in found if f.code == "straight-too-short")

    assert (need(130.0), need(115.0), need(None)) == (80.0, 60.0, 60.0)
    assert (need(130.0, "TIGHT"), need(115.0, "WIDE"), need(100.0, "WIDE")) == (60.0, 80.0, 60.0)


def test_s_bend_with_an_inverted_clamp():
    turns = Shop("shed", (replace(TIGHT, invert_clamp=True),), source="s")
    ess = (bend(100.0), bend(100.0, feed=0.0, rotation=180.0))
    assert only(*ess).severity == "error"
    note = only(*ess, shop=turns)
    assert (note.code, note.severity, note.bend) == ("straight-too-short", "note", 2)
    assert "T1, bend 2: the straight before it is 0.00 mm" in note.message and "clamp is turned over" in note.message
    almost = (bend(100.0), bend(100.0, feed=0.0, rotation=-179.1))
    assert only(*almost, shop=turns).severity == "note"
    askew = (bend(100.0), bend(100.0, feed=0.0, rotation=178.9))
    assert only(*askew, shop=turns).severity == "error"


def test_ends():
    start = only(bend(100.0, feed=59.98))
    assert (start.code, start.severity, start.bend, start.limit) == ("end-too-short", "warning", 1, 60.0)
    assert start.message.startswith("T1, bend 1, end A: the straight there is 59.98 mm; the clamp of 'TIGHT' ")
    assert start.cure_in() == "Leave 0.02 mm extra at that end and trim it after bending, or feed it from end B."
    assert said(bend(100.0, feed=59.995)) == []
    end = only(bend(100.0), tail=39.98)
    assert (end.bend, end.measured, end.limit) == (1, 39.98, 40.0)
    assert end.message.startswith("T1, bend 1, end B: the straight there is 39.98 mm; the pressure die of 'TIGHT' ")
    assert end.cure_in() == "Leave 0.02 mm extra at that end and trim it after bending."
    assert said(bend(100.0), tail=39.995) == []
    # fed from end B the tail must hold the clamp (60) and the start the grip (40), to within 0.01
    for feed, tail, turned in ((50.0, 59.995, True), (50.0, 59.98, False), (39.995, 60.0, True), (39.98, 60.0, False)):
        (one,) = said(bend(100.0, feed=feed), tail=tail)
        assert ("feed it from end B" in one.cure_in()) is turned, (feed, tail)
    both = said(bend(100.0, feed=0.0), bend(100.0), tail=0.0)
    assert [(f.bend, f.measured) for f in both] == [(1, 0.0), (2, 0.0)]
    assert not any("feed it from end B" in f.cure_in() for f in both)


def test_negative_straights():
    middle = only(bend(100.0), bend(100.0, feed=-2.0))
    assert (middle.code, middle.bend, middle.measured, middle.limit) == ("negative-straight", 2, -2.0, 0.0)
    assert middle.message == "T1, bend 2: it and the bend before it overlap by 2.00 mm."
    assert codes(bend(100.0, feed=-1.0)) == [("negative-straight", 1)]
    assert said(bend(100.0), tail=-1.0)[0].message.startswith("T1, bend 1, end B: it reaches 1.00 mm past that end")
    earlier = refit(tube(bend(60.0, feed=30.0)).run, 100.0)[0]
    again = audit([Tube(earlier, TUBE)], SHOP)
    assert [f.code for f in again] == [
        "negative-straight",
        "refit",
    ]  # what the refit said is not said twice


# --- shape ----------------------------------------------------------------------------------


def test_hoop_and_loop():
    ring = (bend(150.0, feed=0.0, angle=120.0), bend(150.0, feed=0.05, angle=120.0), bend(150.0, feed=0.0, angle=120.0))
    found = {f.code: f for f in said(*ring, tail=0.0, closed=True)}
    assert found["hoop"].severity == "error" and found["hoop"].measured == 360.0 and "closed-loop" not in found
    loop = tuple(bend(100.0, feed=100.0 if i else 150.0) for i in range(4))
    (one,) = said(*loop, tail=100.0, closed=True)
    assert (one.code, one.severity, one.measured) == ("closed-loop", "warning", 250.0)
    # not closed, its ends lie in one another
    assert [f.code for f in said(*loop, tail=100.0)] == ["self-contact"]
    before = any_finding("closed-loop", tube="T1")
    assert said(*loop, tail=100.0, closed=True, run_findings=(before,)) == [before]


def test_inside_that_folds():
    small = Shop("shed", (replace(TIGHT, clr=26.0),), source="s")
    assert ("self-contact", 1) in codes(bend(25.0), shop=small)
    assert any(
        f.message.startswith("T1, bend 1: it has a centerline radius of 25.00 mm, not above half")
        for f in said(bend(25.0), shop=small)
    )
    assert ("self-contact", 1) not in codes(bend(25.2), shop=small)
    # a rectangle is taken at its smaller side
    flat = parse_section("100x20x2mm")
    assert ("self-contact", 1) in codes(bend(10.0), section=flat)
    assert ("self-contact", 1) not in codes(bend(10.1), section=flat)


def test_turning_into_itself():
    free = Shop("free", (replace(TIGHT, max_angle=None),), source="s")
    # after 270 deg the straights cross at right angles, 100 mm (= CLR) from both tangent points
    assert turn_gap(100.0, 270.0, 500.0, 500.0) == 0.0
    # the second straight stops short: its end is 100 - after above the first
    assert turn_gap(100.0, 270.0, 500.0, 49.9) == pytest.approx(50.1)
    (hit,) = said(bend(100.0, angle=270.0), shop=free, tail=50.1)
    assert (hit.code, hit.bend, hit.severity, hit.limit) == ("self-contact", 1, "error", 50.0)
    assert hit.measured == pytest.approx(49.9)
    assert "T1, bend 1: it turns 270.00°, so the centerline comes within 49.90 mm of itself" in hit.message
    assert codes(bend(100.0, angle=270.0), shop=free, tail=49.9) == []
    # 225 deg: the tangent lines meet 100 tan(67.5 deg) = 241.42 mm out
    meet = 100.0 * tan(radians(67.5))
    assert turn_gap(100.0, 225.0, meet + 1.0, meet + 1.0) == 0.0
    assert turn_gap(100.0, 225.0, meet - 50.0, meet - 50.0) == pytest.approx(
        50.0 * sqrt(2.0) * sqrt(1 - cos(radians(45))), abs=1e-9
    )
    # nearly a full turn: the ends of the arc alone are 2 R sin(5 deg) apart
    assert turn_gap(100.0, 350.0, 0.0, 0.0) == pytest.approx(200.0 * 0.08715574274765817)
    assert codes(bend(100.0, angle=180.0, feed=500.0), shop=free) == []


@pytest.mark.slow
def test_turn_gap_against_brute_force():
    rng = np.random.default_rng(5)
    for _ in range(60):
        clr, angle = rng.uniform(20, 200), rng.uniform(181, 355)
        before, after = rng.uniform(0, 400, 2)
        a = radians(angle)
        first = np.column_stack([np.linspace(-before, 0, 801), np.zeros(801)])
        end = np.array([clr * np.sin(a), clr - clr * np.cos(a)])
        second = end + np.linspace(0, after, 801)[:, None] * np.array([np.cos(a), np.sin(a)])
        brute = np.min(np.linalg.norm(first[:, None] - second[None], axis=2))
        assert turn_gap(clr, angle, before, after) == pytest.approx(brute, abs=0.8)  # half a step each


def test_stray_marks():
    short = only(tail=49.9)
    assert (short.code, short.severity, short.measured, short.limit) == ("short-run", "note", 49.9, 50.0)
    assert said(tail=50.0) == [] == said(tail=1.0, section=None)
    # 10 + 100 * 20 deg + 4 = 48.907 mm of arc and straights
    assert ("short-run", None) in codes(bend(100.0, feed=10.0, angle=20.0), tail=4.0)
    assert ("short-run", None) not in codes(bend(100.0, feed=10.0, angle=20.0), tail=5.2)
    told = any_finding("leftover-line", tube="T1")  # by the reader, with what to do about it
    assert [f.code for f in said(tail=1.0, run_findings=[told])] == ["leftover-line"]
    assert codes(tail=1.0, run_findings=[any_finding("near-tangent", tube="T1")])[-1] == ("short-run", None)


def test_square_and_rectangular_tube():
    square = Die("S", "square", 40.0, 120.0)
    lying = Die("LYING", "rectangular", 50.0, 120.0, height=25.0)
    shop = Shop("shed", (square, lying), source="s")
    box, bar = parse_section("40x40x2mm"), parse_section("50x25x2mm")
    assert said(bend(120.0), bend(120.0, rotation=90.4), section=box, shop=shop) == []
    askew = only(bend(120.0), bend(120.0, rotation=45.0), section=box, shop=shop)
    assert (askew.code, askew.bend, askew.measured, askew.limit) == ("roll-not-quarter", 2, 45.0, 0.5)
    assert codes(bend(120.0), bend(120.0, rotation=-90.6), section=box, shop=shop) == [("roll-not-quarter", 2)]
    # lying on its flat it has a die, standing on edge it has none
    assert said(bend(120.0), bend(120.0, rotation=180.0), section=bar, shop=shop) == []
    edge = only(bend(120.0), bend(120.0, rotation=90.0), section=bar, shop=shop)
    assert (edge.code, edge.bend) == ("no-die", 2) and edge.message.startswith(
        "T1, bend 2: the shop has no die for 50.00 x 25.00 x 2.00 mm rectangular tube as it lies there; "
    )
    both = replace(shop, dies=(*shop.dies, Die("EDGE", "rectangular", 25.0, 150.0, height=50.0)))
    assert said(bend(120.0), bend(150.0, rotation=90.0), section=bar, shop=both) == []
    assert codes(bend(120.0), bend(120.0, rotation=90.0), section=bar, shop=both) == [("radius-too-tight", 2)]


# --- the whole ------------------------------------------------------------------------------


def test_what_was_said_before_is_passed_through_and_the_worst_comes_first():
    note = any_finding("healed-gap", tube="T1")
    kink = any_finding("kink", tube="T1", bend=2)
    found = said(bend(130.0, feed=10.0), bend(100.0), run_findings=(note, kink), findings=(note,))
    assert [(f.code, f.bend) for f in found] == [
        ("radius-between-dies", 1), ("kink", 2), ("end-too-short", 1), ("healed-gap", None),
    ]  # fmt: skip


def test_tubes_stay_in_order_and_every_code_is_known():
    tubes = [replace_name(tube(bend(clr)), f"T{i}") for i, clr in enumerate((30.0, 100.0, 500.0))]
    found = audit(tubes, SHOP)
    assert [f.tube for f in found] == ["T0", "T2"]
    assert all(f.code in CODES and f.message.endswith(".") and "\n" not in f.message for f in found)
    assert audit([], SHOP) == []


def replace_name(one, name):
    return replace(one, run=replace(one.run, name=name))


def test_it_is_told_the_same_from_either_end():
    from converter.model.run import reverse_run

    one = tube(bend(130.0), bend(80.0, rotation=40.0, feed=300.0), bend(100.0, angle=130.0, rotation=-20.0, feed=200.0))
    there = audit([one], SHOP)
    back = audit([replace(one, run=reverse_run(one.run))], SHOP)
    assert sorted((f.code, f.bend) for f in there) == sorted((f.code, 4 - (f.bend or 0)) for f in back)


@pytest.mark.slow
def test_two_thousand_runs_take_no_time():
    """Ratio, not seconds: the audit of 2,000 runs of 10 bends against rebuilding the same centerlines once."""
    table = BendTable(tuple(bend(100.0 if i % 2 else 150.0, rotation=10.0 * i) for i in range(10)), 300.0)
    tubes = [Tube(Run(f"T{i}", "L", False, table, Placement()), TUBE, "WIDE") for i in range(2000)]
    audit(tubes[:10], SHOP)
    start = process_time()
    for one in tubes:
        assert len(one.run.centerline) == 21
    rebuilt = process_time() - start
    start = process_time()
    assert audit(tubes, SHOP) == []
    audited = process_time() - start
    assert audited < 5.0 * rebuilt, (audited, rebuilt)
