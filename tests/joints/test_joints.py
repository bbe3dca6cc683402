"""Finding joints: which ends are cut to which tubes, how they were drawn, and what is said of bad ones."""

from __future__ import annotations

import gc
import time
from dataclasses import replace
from math import cos, degrees, radians, sin, sqrt

import numpy as np
import pytest
from copes import find_joints, kernel_box, straight, surface_points
from frames import RAIL, RUNG, rack
from tubes import run_of, tube_of

from converter.errors import ShopError
from converter.joints.cope import cope_frame, tube_length
from converter.joints.cuts.clock import StraightClock
from converter.joints.cuts.lines import Branch, NoCutError
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut, angles
from converter.joints.cuts.square import RectPrism
from converter.model.bends import Placement
from converter.model.section import Section
from converter.shop.job_file import job_from_text
from converter.shop.load import demo_shop

R, r = RAIL.od / 2.0, RUNG.od / 2.0
CHORD = straight("RAIL", (0, 0, 0), (1000, 0, 0), RAIL)
EAR = sqrt(R * R - r * r)  # least length of a square rung on the rail: its ears


def found(*tubes, job=None, **given):
    joints, findings = find_joints(tubes, job_from_text(job) if job else None, **given)
    return {(j.tube, j.end): j for j in joints}, findings


def codes(findings):
    return [f.code for f in findings]


def rung(a=(300, 0, 0), b=(300, 400, 0), section=RUNG, name="RUNG"):
    return straight(name, a, b, section)


# --- end on middle -----------------------------------------------------------------------------


def test_end_on_middle():
    joints, said = found(CHORD, rung())
    assert list(joints) == [("RUNG", "A")] and said == []
    joint = joints["RUNG", "A"]
    assert (joint.kind, joint.mates) == ("saddle", ("RAIL",))
    assert joint.node == pytest.approx((300, 0, 0), abs=1e-9)
    assert (joint.angle, joint.offset) == pytest.approx((90.0, 0.0), abs=1e-9)
    assert (joint.long_point, joint.short_point, joint.center_cut) == pytest.approx((EAR, R, R), abs=1e-9)
    assert joint.end_cut.change == pytest.approx(-EAR, abs=1e-9)


@pytest.mark.parametrize("theta", [75.0, 60.0, 45.0, 30.0, 15.5])
def test_any_angle(theta):
    """Longest at the acute side's heel: (R + r cos theta) / sin theta at the crotch is the short point."""
    a = radians(theta)
    joints, said = found(CHORD, rung((300, 0, 0), (300 + 600 * cos(a), 600 * sin(a), 0)))
    joint = joints["RUNG", "A"]
    assert said == [] and joint.angle == pytest.approx(theta, abs=1e-9)
    assert joint.short_point == pytest.approx((R + r * cos(a)) / sin(a), abs=1e-9)


@pytest.mark.parametrize("offset", [1.0, -2.0, 3.0])
def test_offset(offset):
    joints, said = found(CHORD, rung((300, 0, offset), (300, 400, offset)))
    joint = joints["RUNG", "A"]
    assert said == [] and joint.offset == pytest.approx(abs(offset), abs=1e-12)
    wanted = sqrt(R * R - (abs(offset) + r) ** 2)
    assert joint.long_point == pytest.approx(wanted, abs=1e-9)
    # the ear that reaches furthest lies on the side of the offset
    assert joint.zero_direction[2] * offset > 0.0


@pytest.mark.parametrize(
    ("y", "words"),
    [
        (R, ""),
        (R + 0.1, ""),
        (R + 1.5, "stops at the outside of RAIL (but for 1.50 mm short)"),
        (R - 1.0, "stops at the outside of RAIL (but for 1.00 mm too far)"),
        (8.0, "stops 8.00 mm short of the centerline of RAIL"),
        (-8.0, "runs 8.00 mm past the centerline of RAIL"),
    ],
)
def test_ends_drawn_short_or_long_are_cut_to_fit_and_said(y, words):
    """The stick is the same whatever was drawn; the profile counts from the end as drawn."""
    tube = rung((300, y, 0))
    joints, said = found(CHORD, tube)
    joint = joints["RUNG", "A"]
    assert codes(said) == (["joint-drawn"] if words else [])  # to the outside, as outlines and solids are: no doubt
    for one in said:
        assert words in one.message and one.measured == pytest.approx(y) and one.severity == "note"
    assert joint.end_point == (300, y, 0) and joint.node == pytest.approx((300, 0, 0), abs=1e-9)
    assert joint.long_point == pytest.approx(EAR - y, abs=1e-9)
    assert tube_length(tube, [joint]).cut == pytest.approx(400.0 - EAR, abs=1e-9)


def test_an_end_that_misses_is_named_with_its_place():
    joints, said = found(CHORD, rung((300, R + 10.0, 0)))
    assert joints == {} and codes(said) == ["joint-missed"]
    text = "RUNG, end A: at (300.00, 0.00, 0.00) mm, it stops 10.00 mm short of the outside of RAIL"
    assert said[0].message.startswith(text)
    assert said[0].at is not None and "({:.2f}, {:.2f}, {:.2f})".format(*said[0].at) in said[0].message
    # a tube far away that points at it is not said
    assert found(CHORD, rung((300, R + 50.0, 0))) == ({}, [])


def test_near_is_the_tolerance():
    from converter.tolerances import Tolerances

    assert found(CHORD, rung((300, R + 2.1, 0)))[0] == {}
    assert found(CHORD, rung((300, R + 2.1, 0)), tol=Tolerances(near=3.0))[0] != {}


def test_beside_parallel_and_in_line():
    joints, said = found(CHORD, rung((300, 0, R + 5), (300, 400, R + 5)))
    assert joints == {} and codes(said) == ["joint-beside"] and "(300.00, 0.00, 0.00)" in said[0].message
    joints, said = found(CHORD, rung((300, 5, 0), (1500, 5, 0)))
    assert joints == {} and codes(said) == ["joint-parallel"] and "5.00 mm" in said[0].message
    joints, said = found(CHORD, rung((300, 0, 0), (1500, 0, 0)))
    assert joints == {} and codes(said) == ["joint-coaxial"]
    # side by side without overlap is no business of ours
    assert found(CHORD, rung((300, R + r + 0.1, 0), (1500, R + r + 0.1, 0))) == ({}, [])


def test_too_shallow():
    a = radians(10.0)
    joints, said = found(CHORD, rung((300, 0, 0), (300 + 800 * cos(a), 800 * sin(a), 0)))
    assert codes(said) == ["joint-angle"] and said[0].severity == "error"
    assert said[0].measured == pytest.approx(10.0) and said[0].limit == 15.0 and len(joints) == 1


def test_a_mate_smaller_than_the_tube_and_a_partial_wrap():
    _, said = found(CHORD, rung(section=Section("round", 60.3, 3.0)))
    assert codes(said) == ["mate-smaller"] and "at (300.00, 0.00, 0.00) mm" in said[0].message
    _, said = found(CHORD, rung((300, 0, 10), (300, 400, 10)))
    assert codes(said) == ["cope-partial"] and f"by up to {10 + r - R:.2f} mm" in said[0].message


def test_equal_tubes_with_a_hair_of_difference_are_equal():
    assert found(CHORD, rung(section=Section("round", RAIL.od + 0.15, 3.0)))[1] == []


def test_a_tube_without_a_section_is_said():
    _, said = found(CHORD, straight("BARE", (0, 50, 0), (0, 500, 0), None))
    assert codes(said) == ["joint-skipped"] and said[0].tube == "BARE"


# --- ends that meet ----------------------------------------------------------------------------


def test_equal_ends_are_mitred():
    joints, said = found(straight("A", (0, 0, 0), (500, 0, 0), RAIL), straight("B", (0, 500, 0), (0, 0, 0), RAIL))
    assert {k: (j.kind, j.mates) for k, j in joints.items()} == {
        ("A", "A"): ("mitre", ("B",)),
        ("B", "B"): ("mitre", ("A",)),
    }
    assert said == []
    for joint in joints.values():
        assert joint.angle == pytest.approx(90.0)
        assert (joint.long_point, joint.short_point) == pytest.approx((-R, R), abs=1e-9)
    # both cuts lie in the plane x = y
    for joint in joints.values():
        points = surface_points(joint.cut, angles(10.0))
        assert np.abs(points[:, 0] - points[:, 1]).max() < 1e-9


def test_a_smaller_end_is_cut_to_the_larger_which_must_run_on():
    joints, said = found(straight("A", (0, 0, 0), (500, 0, 0), RAIL), straight("B", (0, 0, 0), (0, 500, 0), RUNG))
    assert [(k, j.kind, j.mates) for k, j in joints.items()] == [(("B", "A"), "saddle", ("A",))]
    assert codes(said) == ["mate-ends"] and said[0].measured == pytest.approx(r, abs=0.05)


def test_a_rail_left_long_to_carry_its_rung_is_not_cut():
    rail = straight("RAIL", (-r - 0.5, 0, 0), (1000, 0, 0), RAIL)
    joints, said = found(rail, rung((0, 0, 0), (0, 400, 0)))
    assert list(joints) == [("RUNG", "A")] and said == []


def test_ends_in_line_are_cut_square():
    joints, said = found(straight("A", (0, 0, 0), (500, 0, 0), RAIL), straight("B", (500, 0, 0), (900, 0, 0), RAIL))
    assert {j.kind for j in joints.values()} == {"mitre"} and set(codes(said)) == {"joint-butt"}
    assert all(abs(j.long_point) + abs(j.short_point) < 1e-9 for j in joints.values())
    assert all(j.zero_in().startswith("anywhere") for j in joints.values())


def test_three_equal_ends_two_mitred_the_third_cut_to_both():
    joints, said = found(
        straight("A", (0, 0, 0), (500, 0, 0), RAIL),
        straight("B", (0, 0, 0), (0, 500, 0), RAIL),
        straight("C", (0, 0, 0), (0, 0, 500), RAIL),
    )
    assert [(k, j.kind) for k, j in joints.items()] == [
        (("A", "A"), "mitre"),
        (("B", "A"), "mitre"),
        (("C", "A"), "saddle"),
    ]
    assert joints["C", "A"].mates == ("A", "B") and codes(said) == []
    # toward -x, -y the mitred corner carries it: on the diagonal both cylinders give sqrt(R^2 - R^2/2)
    diagonal = joints["C", "A"].cut.with_zero((-1 / sqrt(2), -1 / sqrt(2), 0.0)).outside(np.zeros(1))[0]
    assert diagonal == pytest.approx(R / sqrt(2.0), abs=1e-9)


def test_the_pair_nearest_to_a_straight_line_is_mitred():
    joints, _ = found(
        straight("A", (0, 0, 0), (500, 0, 0), RAIL),
        straight("B", (0, 0, 0), (0, 500, 0), RAIL),
        straight("C", (0, 0, 0), (-500, 0, 0), RAIL),
    )
    assert {k for k, j in joints.items() if j.kind == "mitre"} == {("A", "A"), ("C", "A")}
    assert joints["B", "A"].kind == "saddle"


# --- several at one node -------------------------------------------------------------------------


def test_two_braces_that_overlap_on_a_chord():
    """The first in order is cut to the chord alone, the second to both; on the mirror plane they meet."""
    joints, _ = found(CHORD, rung((300, 0, 0), (500, 400, 0), name="B1"), rung((300, 0, 0), (100, 400, 0), name="B2"))
    assert joints["B1", "A"].mates == ("RAIL",) and joints["B2", "A"].mates == ("RAIL", "B1")
    assert joints["B2", "A"].short_point > joints["B1", "A"].short_point


def test_braces_apart_or_on_opposite_sides_do_not_see_each_other():
    for other in (rung((420, 0, 0), (220, -400, 0), name="B2"), rung((300, 0, 0), (300, -400, 0), name="B2")):
        joints, said = found(CHORD, rung((300, 0, 0), (300, 400, 0), name="B1"), other)
        assert {j.mates for j in joints.values()} == {("RAIL",)} and said == []


def test_an_end_on_two_tubes_at_once():
    """Two chords cross at the node at right angles and different height: the rung is cut to their union."""
    other = straight("CROSS", (300, 0, -300), (300, 0, 300), RAIL)
    joints, said = found(CHORD, other, rung((300, 0, 0), (300, 400, 0)))
    joint = joints["RUNG", "A"]
    assert set(joint.mates) == {"RAIL", "CROSS"} and "tube-crossing" in codes(said)
    both = joint.cut.outside(angles(3.0))
    assert both == pytest.approx(np.maximum(*joint.cut.by_mate(joint.cut.branch.lines(angles(3.0)))))
    assert joint.long_point == pytest.approx(sqrt(R * R - r * r / 2.0), abs=1e-9)


def test_larger_before_smaller_then_fewer_bends():
    big = Section("round", 44.0, 2.0)
    joints, _ = found(CHORD, rung((300, 0, 0), (500, 400, 0), name="B1"), rung((300, 0, 0), (100, 400, 0), big, "B2"))
    assert joints["B2", "A"].mates == ("RAIL",) and joints["B1", "A"].mates == ("RAIL", "B2")
    bent = tube_of(
        run_of([(200.0, 0.0, 30.0, 100.0)], 100.0, Placement((300, 0, 0), (0.6, 0.8, 0), (0, 0, 1)), name="BENT"), RUNG
    )
    joints, _ = found(CHORD, bent, rung((300, 0, 0), (100, 400, 0), name="B2"))
    assert joints["B2", "A"].mates == ("RAIL",) and joints["BENT", "A"].mates == ("RAIL", "B2")


# --- bends ---------------------------------------------------------------------------------------


def test_end_on_a_bend():
    bent = tube_of(run_of([(200.0, 0.0, 90.0, 114.3)], 200.0, name="BENT"), RAIL)
    arc = bent.run.centerline[1]
    q = arc.point(45.0)
    joints, said = found(bent, rung(q, (q[0], q[1], 300.0)))
    joint = joints["RUNG", "A"]
    assert joint.mates == ("BENT",) and said == []
    points = surface_points(joint.cut, angles(5.0)) - np.array(arc.center)
    off = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 114.3, points[:, 2])
    assert off == pytest.approx(R, abs=1e-9)
    assert joint.angle == pytest.approx(90.0) and joint.center_cut == pytest.approx(R, abs=1e-9)


def test_end_near_a_tangent_point_lies_on_bend_and_straight():
    bent = tube_of(run_of([(200.0, 0.0, 90.0, 114.3)], 200.0, name="BENT"), RAIL)
    joints, _ = found(bent, rung((200.0, 0.0, 0.0), (200.0, 0.0, 300.0)))
    points = surface_points(joints["RUNG", "A"].cut, angles(5.0))
    ahead = points[:, 0] > 200.0
    ring = np.hypot(np.hypot(points[:, 0] - 200.0, points[:, 1] - 114.3) - 114.3, points[:, 2])
    line = np.hypot(points[:, 1], points[:, 2])
    assert ring[ahead] == pytest.approx(R, abs=1e-9) and line[~ahead] == pytest.approx(R, abs=1e-9)
    assert ahead.any() and (~ahead).any()


@pytest.mark.parametrize(
    ("clr", "sweep", "at", "turn", "lift", "drawn"),
    [
        (60.0, 90.0, 15.0, 42.0, 0.0, 0.0),  # entered through the straight before the bend
        (60.0, 63.0, 36.0, -37.0, 30.0, 0.0),  # and through the one behind it
        (90.0, 93.0, 70.0, 40.0, 12.0, 0.0),
        (150.0, 97.0, 85.0, -33.0, 0.0, 20.0),  # drawn to the outside
        (90.0, 80.0, 40.0, 140.0, 20.0, -6.0),  # drawn past it
    ],
)
def test_an_end_that_meets_a_bend_aslant_is_cut_there(clr, sweep, at, turn, lift, drawn):
    """Against the kernel: metal of the mate begins at the cut, and none stands between it and the rest."""
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_State

    from converter.kernel.shapes.solids import tube_solid

    bent = tube_of(run_of([(300.0, 0.0, sweep, clr)], 300.0, name="BENT"), RAIL)
    arc = bent.run.centerline[1]
    foot = arc.point(at)
    a, b = radians(at + turn), radians(lift)  # from the way of travel, to the inside of the bend, and out of its plane
    way = (cos(a) * cos(b), sin(a) * cos(b), sin(b))
    start, far = (tuple(p + length * v for p, v in zip(foot, way, strict=True)) for length in (drawn, 250.0))
    joints, said = found(bent, rung(start, far, Section("round", 25.4, 2.0)))
    joint = joints["RUNG", "A"]
    assert joint.mates == ("BENT",) and set(codes(said)) <= {"joint-drawn"}
    mate = BRepClass3d_SolidClassifier(tube_solid(bent.run, Section("bar", RAIL.od, 0.0)))

    def inside(points):
        for x, y, z in points.tolist():
            mate.Perform(gp_Pnt(x, y, z), 1e-6)
            yield mate.State() == TopAbs_State.TopAbs_IN

    points, out = surface_points(joint.cut, np.arange(0.0, 360.0, 20.0)), np.array(joint.direction)
    assert all(inside(points + 0.01 * out))
    for back in (0.01, 2.0, 10.0, 40.0):
        assert not any(inside(points - back * out))


@pytest.mark.parametrize("apart", [RAIL.od, RAIL.od + 6.0])
@pytest.mark.parametrize(("aside", "theta"), [(0.0, 90.0), (5.0, 60.0), (10.0, 90.0)])
def test_an_end_between_twin_rails_is_cut_to_both(apart, aside, theta):
    """Against the kernel's boolean of the tube and both rails, less what would hang between them below their middle."""
    from coped_solids import coped
    from copes import kernel_cylinder
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    from converter.kernel.shapes.solids import tube_solid, volume

    rails = [
        straight(f"R{i}", (-900.0, y, 0.0), (900.0, y, 0.0), RAIL) for i, y in ((1, -apart / 2.0), (2, apart / 2.0))
    ]
    a = radians(theta)
    tube = straight("POST", (0.0, aside, 0.0), (300.0 * cos(a), aside, 300.0 * sin(a)), RUNG)
    joints, said = found(*rails, tube)
    joint = joints["POST", "A"]
    assert (joint.kind, set(joint.mates)) == ("saddle", {"R1", "R2"})
    assert set(codes(said)) <= {"cope-partial"}
    ((_, _, solid),) = coped([*rails, tube])
    longer = straight("POST", (-40.0 * cos(a), aside, -40.0 * sin(a)), (300.0 * cos(a), aside, 300.0 * sin(a)), RUNG)
    whole = tube_solid(longer.run, RUNG)
    for y in (-apart / 2.0, apart / 2.0):
        whole = BRepAlgoAPI_Cut(whole, kernel_cylinder((-900.0, y, 0.0), (1.0, 0.0, 0.0), R, 1800.0)).Shape()
    level = BRepAlgoAPI_Cut(whole, kernel_box((-900.0, -200.0, -200.0), (1800.0, 400.0, 200.0))).Shape()
    assert volume(solid) == pytest.approx(volume(level), rel=1e-6)


def test_zero_line_of_a_bent_tube():
    """First bend toward +y: its outside is -y at end A; at end B the tube runs along +y and the outside is +x."""
    tube = tube_of(run_of([(250.0, 0.0, 90.0, 114.3)], 180.0, name="BENT"), RUNG)
    end = tube.run.end
    floor = straight("ONE", (0, 0, -300), (0, 0, 300), RAIL)
    top = straight("TWO", (end[0] - 300, end[1], 0), (end[0] + 300, end[1], 0), RAIL)
    joints, _ = found(tube, floor, top)
    a, b = joints["BENT", "A"], joints["BENT", "B"]
    assert a.zero_direction == pytest.approx((0, -1, 0), abs=1e-12)
    assert b.zero_direction == pytest.approx((1, 0, 0), abs=1e-12)
    assert a.zero_in() == "the outside of bend 1, whose tangent point lies 250.00 mm from the centerline's end A"
    assert "180.00 mm from the centerline's end B" in b.zero_in()


def test_zero_line_does_not_depend_on_the_end_the_run_was_drawn_from():
    from converter.model.run import reverse_run

    rows = [(250.0, 0.0, 60.0, 114.3), (120.0, 70.0, 45.0, 114.3)]
    tube = tube_of(run_of(rows, 180.0, name="T"), RUNG)
    back = tube_of(reverse_run(tube.run), RUNG)
    floor = straight("ONE", (0, 0, -300), (0, 0, 300), RAIL)
    one, other = found(tube, floor)[0]["T", "A"], found(back, floor)[0]["T", "B"]
    assert one.zero_direction == pytest.approx(other.zero_direction, abs=1e-9)
    assert one.zero_in().replace("bend 1", "bend 2").replace("end A", "end B") == other.zero_in()
    assert np.array(one.profile) == pytest.approx(np.array(other.profile), abs=1e-6)


def test_zero_line_of_a_straight_tube_clocks_both_ends():
    a = radians(50.0)
    other = straight("TOP", (300 - 500 * cos(a), 400, -500 * sin(a)), (300 + 500 * cos(a), 400, 500 * sin(a)), RAIL)
    joints, _ = found(CHORD, other, rung((300, 0, 0), (300, 400, 0)))
    one, two = joints["RUNG", "A"], joints["RUNG", "B"]
    assert one.zero_direction == two.zero_direction == pytest.approx((0, 0, 1), abs=1e-9)
    assert "long point of this cut" in one.zero_in() and "long point of the cut at end A" in two.zero_in()
    assert one.long_phi == pytest.approx(0.0, abs=1e-3)
    # phi turns from z toward x about +y: the ears, square to (cos 50, 0, sin 50), stand at -50 and 130
    ears = [row[0] for row in two.profile if row[1] < two.long_point + 1e-6]
    assert {round(ear) for ear in ears} == {130, 310}
    along = np.array(surface_points(two.cut, np.array(ears[:1]))[0]) - np.array(two.end_point)
    assert abs(along @ np.array([cos(a), 0.0, sin(a)])) < 0.01 * r


def test_a_cut_that_reaches_into_the_bend_and_one_that_eats_the_end():
    a = radians(20.0)
    tube = tube_of(
        run_of([(40.0, 0.0, 40.0, 114.3)], 300.0, Placement((300, 0, 0), (cos(a), sin(a), 0), (0, 0, 1)), name="B"),
        RUNG,
    )
    _, said = found(CHORD, tube)
    assert "cope-into-bend" in codes(said)
    stub = rung((300, 0, 0), (300, 15, 0))
    _, said = found(CHORD, stub)
    assert "end-eaten" in codes(said) and "RUNG, end A:" in next(f.message for f in said if f.code == "end-eaten")


def test_a_tube_that_lies_along_a_bend_is_refused():
    """A chord of the bend's own circle: it would be inside the metal all the way."""
    bent = tube_of(run_of([(200.0, 0.0, 150.0, 100.0)], 200.0, name="BENT"), RAIL)
    arc = bent.run.centerline[1]
    _, said = found(bent, rung(arc.point(40.0), arc.point(115.0)))
    assert {"cope-again", "joint-parallel"} & set(codes(said)) and "BENT" in said[0].message
    spoke = rung(arc.point(0.01), arc.point(149.0), name="SPOKE")  # across a hoop: both ends on the same bend
    joints, said = found(bent, spoke)
    assert set(joints) == {("SPOKE", "A"), ("SPOKE", "B")} and "cope-again" not in codes(said)
    assert all(joint.short_point < 60.0 for joint in joints.values())


def test_a_tube_that_grazes_the_other_leg_of_its_mate_is_told():
    """One of 750 random ends (seed 789): 66.8 mm from the joint it is 0.21 mm deep in the straight beyond the bend."""
    bent = tube_of(run_of([(200.0, 0.0, 121.0954, 44.45)], 200.0, name="BENT"), Section("round", 44.45, 2.0))
    ends = (215.391, 2.75, 0.0), (203.796, 549.59, 237.678)
    joints, said = found(bent, straight("SPOKE", *ends, Section("round", 25.4, 2.0)))
    deep = distance_to_straight(bent.run.centerline[2], joints["SPOKE", "A"])
    assert 22.225 - 0.25 < deep < 22.225 - 0.18 and "cope-again" in codes(said)


def distance_to_straight(leg, joint):
    """How near the outside of a coped tube comes to the axis of a straight, behind the cut: at every degree and mm."""
    phi = np.arange(0.0, 360.0)
    lines = joint.cut.branch.lines(phi)
    far = joint.cut.reach(lines)[0][:, None] + np.arange(1.0, 150.0)
    points = surface_points(joint.cut, phi)
    points = points[:, None] - (far - joint.cut.reach(lines)[0][:, None])[..., None] * np.array(joint.direction)
    a, b = np.array(leg.start), np.array(leg.end)
    share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
    return float(np.linalg.norm(points - a - share[..., None] * (b - a), axis=-1).min())


def test_equal_tubes_on_a_bend_leave_part_of_the_wrap_beside_it():
    """Toward the inside of the bend the mate curves away from the ears: said, and still a smooth cut."""
    bent = tube_of(run_of([(200.0, 0.0, 90.0, 114.3)], 200.0, name="BENT"), RAIL)
    arc = bent.run.centerline[1]
    q = arc.point(45.0)
    out = tuple((a - b) / 114.3 for a, b in zip(q, arc.center, strict=True))
    joints, said = found(bent, rung(q, tuple(a + 300.0 * v for a, v in zip(q, out, strict=True)), RAIL))
    assert codes(said) in (["cope-partial"], [])
    profile = np.array(joints["RUNG", "A"].profile)
    assert np.abs(np.diff(profile[:, 1])).max() < 1.5, "no jumps"


def test_a_closed_hoop_is_a_mate_all_around():
    """Two half circles, closed: spokes land wherever, also where the run starts."""
    hoop = tube_of(run_of([(0.0, 0.0, 180.0, 200.0), (0.0, 0.0, 180.0, 200.0)], 0.0, closed=True, name="HOOP"), RAIL)
    for angle in (0.0, 90.0, 180.0, 271.0):
        first = hoop.run.centerline[angle >= 180.0]
        q = first.point(angle % 180.0)
        joints, said = found(hoop, rung(q, (q[0], q[1], 300.0)))
        assert list(joints) == [("RUNG", "A")] and said == []
        assert joints["RUNG", "A"].center_cut == pytest.approx(R, abs=1e-9)


# --- square ----------------------------------------------------------------------------------------

SQUARE = Section("square", 40.0, 3.0, corner=6.0)


def test_square_frames_are_mitred_and_tees_cut_flat():
    joints, said = found(straight("A", (0, 0, 0), (500, 0, 0), SQUARE), straight("B", (0, 0, 0), (0, 500, 0), SQUARE))
    assert {j.kind for j in joints.values()} == {"mitre"} and said == []
    assert joints["A", "A"].long_point == pytest.approx(-20.0, abs=1e-9)
    rail = straight("A", (0, 0, 0), (1000, 0, 0), SQUARE)
    joints, said = found(rail, replace(rung((300, 0, 0), (300, 400, 0)), coped_corners=True))
    joint = joints["RUNG", "A"]  # 19.05 beside the middle falls off the flat (14) into the corner radius
    assert joint.short_point == pytest.approx(20.0, abs=1e-9)
    assert joint.long_point == pytest.approx(14.0 + sqrt(36.0 - (r - 14.0) ** 2), abs=1e-9) and said == []


# --- crossings ---------------------------------------------------------------------------------------


def test_tube_through_tube():
    _, said = found(CHORD, rung((300, -200, 2), (300, 400, 2)))
    assert codes(said) == ["tube-through"]
    assert said[0].message.startswith("RAIL: RUNG passes through it at (300.00, 0.00, 0.00) mm, at 90.00°, 2.00 mm off")
    _, said = found(CHORD, rung((300, -200, 10), (300, 400, 10)))
    assert codes(said) == ["tube-crossing"] and said[0].severity == "warning"
    assert found(CHORD, rung((300, -200, R + r), (300, 400, R + r))) == ({}, [])


def test_a_bend_crossing_a_tube_is_found():
    bent = tube_of(run_of([(200.0, 0.0, 90.0, 114.3)], 300.0, name="BENT"), RAIL)
    q = bent.run.centerline[1].point(45.0)
    _, said = found(bent, rung((q[0], q[1], -200.0), (q[0], q[1], 200.0)))
    assert codes(said) == ["tube-through"]


# --- the job file ------------------------------------------------------------------------------------


def test_a_plane_from_the_job_file():
    job = 'units="mm"\n[[joint]]\ntube="RUNG"\nend="B"\nkind="plane"\npoint=[0,400,0]\nnormal=[0,1,0.2]\n'
    joints, said = found(CHORD, rung(), job=job)
    joint = joints["RUNG", "B"]
    assert said == [] and joint.kind == "plane" and joint.mates == ()
    assert joint.angle == pytest.approx(90.0 - degrees(np.arctan(0.2)))
    assert (joint.long_point, joint.short_point) == pytest.approx((-0.2 * r, 0.2 * r), abs=1e-9)
    assert joint.zero_in().startswith("in line with the long point of the cut at end A")


def test_who_is_cut_can_be_turned_round():
    a, b = straight("A", (0, 0, 0), (500, 0, 0), RAIL), straight("B", (0, 0, 0), (0, 500, 0), RUNG)
    joints, said = found(a, b, job='[[joint]]\ntube="A"\ncope_to=["B"]\n')
    assert list(joints) == [("A", "A")] and "mate-smaller" in codes(said)
    joints, _ = found(a, straight("B", (0, 0, 0), (0, 500, 0), RAIL), job='[[joint]]\ntube="B"\nkind="saddle"\n')
    assert [(k, j.kind) for k, j in joints.items()] == [(("B", "A"), "saddle")]
    joints, said = found(CHORD, rung(), job='[[joint]]\ntube="rung"\nkind="none"\n')
    assert joints == {} and said == []


def test_a_ring_in_the_job_file_is_refused():
    a, b = straight("A", (0, 0, 0), (500, 0, 0), RAIL), straight("B", (0, 0, 0), (0, 500, 0), RAIL)
    job = '[[joint]]\ntube="A"\ncope_to=["B"]\n[[joint]]\ntube="B"\ncope_to=["A"]\n'
    joints, said = found(a, b, job=job)
    assert len(joints) == 1
    assert "joint-ring" in codes(said)
    assert "(0.00, 0.00, 0.00) mm" in next(f.message for f in said if f.code == "joint-ring")


def test_names_and_places_that_meet_nothing_are_said():
    job = 'units="mm"\n[[joint]]\ntube="NOBODY"\n[[joint]]\ntube="RUNG"\nat=[0,0,900]\n'
    joints, said = found(CHORD, rung(), job=job)
    assert codes(said) == ["joint-unmatched"] * 2 and len(joints) == 1
    _, said = found(CHORD, rung(), job='[[joint]]\ntube="RUNG"\ncope_to=["LEG"]\n')
    assert codes(said) == ["joint-unmatched"] * 2


def test_weld_gap_by_option_and_by_job():
    joints, _ = found(CHORD, rung(), gap=0.8)
    assert joints["RUNG", "A"].center_cut == pytest.approx(R + 0.8)
    joints, _ = found(CHORD, rung(), gap=0.8, job='units="mm"\n[[joint]]\ntube="RUNG"\ngap=0\n')
    assert joints["RUNG", "A"].center_cut == pytest.approx(R)
    with pytest.raises(ShopError, match=r"gap must be a weld gap of 2 in \(50.8 mm\) at most, not 3"):
        found(CHORD, rung(), job='units="in"\n[[joint]]\ntube="RUNG"\ngap=3\n')


# --- lengths, frames, speed ----------------------------------------------------------------------------


def test_lengths_use_the_longest_point_of_metal():
    other = straight("TOP", (0, 400, 0), (1000, 400, 0), RAIL)
    tube = rung()
    made = cope_frame([CHORD, other, tube], demo_shop())
    assert made.cuts["RUNG"].changes == (pytest.approx(-EAR), pytest.approx(-EAR))
    assert [cuts.by_end for name, cuts in made.cuts.items() if name != "RUNG"] == [{}, {}]
    assert {one.name: one.cut for one in made.lengths}["RUNG"] == pytest.approx(400.0 - 2.0 * EAR)


def test_moved_and_turned_frames_have_the_same_joints():
    """A rigid motion far from the origin changes no length."""
    from converter.geometry.vectors import add, rotate

    def moved(p):
        return add(rotate(rotate(p, (0.6, 0.8, 0.0), 37.0), (0.0, 0.0, 1.0), -71.0), (12345.6, -9876.5, 432.1))

    plain = [((0, 0, 0), (1000, 0, 0), RAIL), ((300, 0, 3), (500, 400, 3), RUNG), ((600, 0, 0), (600, R, 400), RUNG)]
    one, _ = found(*(straight(f"T{i}", a, b, s) for i, (a, b, s) in enumerate(plain)))
    two, _ = found(*(straight(f"T{i}", moved(a), moved(b), s) for i, (a, b, s) in enumerate(plain)))
    assert one.keys() == two.keys() and len(one) == 2
    for key, joint in one.items():
        other = two[key]
        assert (joint.long_point, joint.short_point) == pytest.approx((other.long_point, other.short_point), abs=1e-7)
        assert joint.mates == other.mates and moved(joint.node) == pytest.approx(other.node, abs=1e-6)


def test_a_rack_of_201_tubes():
    """41 hoops, 160 ties: every tie's two ends land on hoops; no foot of a hoop is a joint; the order matters not."""
    tubes = rack(41)
    joints, said = find_joints(tubes)
    assert len(tubes) == 201 and len(joints) == 320
    assert {j.tube.split("-")[0] for j in joints} == {"LEFT", "RIGHT", "TOP", "BRACE"}
    for joint in joints:
        i = int(joint.tube.split("-")[1])
        wanted = i + (joint.end == "B")
        assert joint.mates[0] == f"HOOP-{wanted}"
    assert [f for f in said if f.severity == "error"] == []
    shuffled = [tubes[i] for i in np.random.default_rng(5).permutation(len(tubes))]
    again, _ = find_joints(shuffled)
    assert {(j.tube, j.end): j.mates[0] for j in again} == {(j.tube, j.end): j.mates[0] for j in joints}


@pytest.mark.slow
def test_time_grows_with_the_frame_and_not_with_its_square():
    def took(hoops):
        tubes = rack(hoops)
        best = 1e9
        for _ in range(3):
            gc.collect()
            start = time.process_time()
            find_joints(tubes)
            best = min(best, time.process_time() - start)
        return best

    assert took(121) < 10.0 * took(31)  # 4 times the tubes; all against all would be 16


# --- tubes without a place --------------------------------------------------------------------------


def test_tubes_of_a_bare_table_are_not_joined_at_the_origin(tmp_path):
    """A bend table without start columns puts every tube at the origin: they are no frame."""
    from converter import Settings, open_job

    path = tmp_path / "bare.csv"
    rows = [f"T{i},1,{100 + i},0,90,114.3\r\nT{i},tail,{200 + i},,,\r\n" for i in range(3)]
    path.write_text("tube,bend,feed_mm,rotation_deg,angle_deg,clr_mm\r\n" + "".join(rows))
    job = open_job(str(path), Settings(sections=("38.1x2.4mm",)))
    codes = [f.code for f in job.findings if f.code.startswith(("joint", "tube-"))]
    assert codes == ["joint-unplaced"] and not job.joints
    assert not any(tube.run.placed for tube in job.tubes)


def test_an_end_that_is_not_cut_after_all_leads_no_zero_line():
    """The lines of its cut run along a mate that nothing ends (seed 66, step-rare 30): the other end leads then."""
    flat = Section("rectangular", 40.0, 2.0, 20.0, 3.0)
    along_it = RectPrism((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), 10.0, 20.0, 3.0)
    across = RoundPrism((0.0, 400.0, 0.0), (1.0, 0.0, 0.0), R)
    clock = StraightClock()
    for end, point, direction, mate in (("A", (0.0, 0.0, 0.0), (0.0, -1.0, 0.0), along_it),
                                        ("B", (0.0, 400.0, 0.0), (0.0, 1.0, 0.0), across)):  # fmt: skip
        clock.add(end, Cut(Branch.at(point, direction, flat, up=(0.0, 0.0, 1.0)), ((mate,),)), (1.0, 0.0, 0.0))
    with pytest.raises(NoCutError):
        _ = clock.zero_line
    clock.drop("A")
    assert clock.zero_line[0] == "B" and abs(clock.direction("A")[1]) < 1e-12
