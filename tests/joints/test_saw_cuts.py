"""Mitres and square ends as a saw cuts them, against hand trigonometry."""

import csv
import re
from dataclasses import replace
from itertools import pairwise
from math import acos, atan2, cos, degrees, pi, radians, sin, sqrt, tan

import ezdxf
import numpy as np
import pytest
from command_line import run
from copes import find_joints, straight, surface_points
from pypdf import PdfReader
from tubes import run_of, tube_of

from converter.exporters.data.cope_csv import cope_csv
from converter.exporters.data.cutlist import cutlist_csv
from converter.exporters.data.table_csv import flat_cells, flat_heads
from converter.exporters.sheet.content import job_sheet
from converter.exporters.sheet.view import part_view
from converter.geometry.vectors import within_half_turn
from converter.job.cutlist import cut_list
from converter.job.job import Job
from converter.joints.cope import cope_frame
from converter.model.bends import Placement
from converter.model.end_cuts import EndCut, SawCut
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.job_file import job_from_text
from converter.shop.load import demo_shop
from converter.shop.model import Shop
from converter.units import Display
from converter.words import saw_cut_text

BOX = Section("square", 50.0, 3.0, corner=6.0)
SMALL = Section("square", 30.0, 2.0, corner=4.0)
FLAT_BAR = Section("rectangular", 80.0, 3.0, height=40.0, corner=6.0)
ROUND = Section("round", 50.0, 3.0)
SHOP = Shop("yard", ())
RAIL = straight("RAIL", (-600.0, 0.0, 0.0), (600.0, 0.0, 0.0), BOX)


def joints_of(*tubes, job=None, **more):
    joints, said = find_joints(tubes, job_from_text(job) if job else None, **more)
    return {(joint.tube, joint.end): joint for joint in joints}, said


def lengths_of(*tubes):
    return {one.name: one for one in cope_frame(tubes, SHOP).lengths}


def polygon(count, side, section):
    """A regular polygon in the plane of x and y, a tube for each side, its flats along that plane."""
    radius = side / 2.0 / sin(pi / count)
    points = [(radius * cos(2.0 * pi * i / count), radius * sin(2.0 * pi * i / count), 0.0) for i in range(count)]
    tubes = []
    for i, (a, b) in enumerate(zip(points, [*points[1:], points[0]], strict=True)):
        direction = tuple((y - x) / side for x, y in zip(a, b, strict=True))
        tubes.append(tube_of(run_of([], side, Placement(a, direction, (0.0, 0.0, 1.0)), name=f"S{i}"), section))
    return tubes


@pytest.mark.parametrize("count", [3, 4, 6])
@pytest.mark.parametrize("section", [BOX, ROUND])
def test_a_frame_is_sawn_at_half_of_what_each_corner_turns(count, section):
    tubes = polygon(count, 700.0, section)
    joints, said = joints_of(*tubes)
    turn = 360.0 / count
    assert said == [] and len(joints) == 2 * count
    for joint in joints.values():
        assert joint.kind == "mitre" and joint.hole_saw is None
        assert joint.end_cut.saw_angle == pytest.approx(turn / 2.0, abs=1e-9)
        rise = 50.0 * tan(radians(turn / 2.0))
        assert joint.short_point - joint.long_point == pytest.approx(rise, abs=1e-9)
    for one in lengths_of(*tubes).values():
        assert one.cut == pytest.approx(700.0 + 50.0 * tan(radians(turn / 2.0)), abs=1e-9)
        assert one.short == pytest.approx(700.0 - 50.0 * tan(radians(turn / 2.0)), abs=1e-9)
        assert one.cuts.apart == pytest.approx(0.0, abs=1e-9)


def test_long_points_on_opposite_sides_and_a_quarter_turn_apart():
    """A Z in one plane, and a run that turns out of it: no side has both short points."""
    middle = tube_of(run_of([], 400.0, Placement((0, 0, 0), (1, 0, 0), (0, 0, 1)), name="M"), ROUND)
    low = straight("LOW", (0.0, 0.0, 0.0), (0.0, -300.0, 0.0), ROUND)
    one = lengths_of(middle, low, straight("UP", (400.0, 0.0, 0.0), (400.0, 300.0, 0.0), ROUND))["M"]
    assert one.short is None and one.cuts.apart == pytest.approx(180.0, abs=1e-9)
    one = lengths_of(middle, low, straight("UP", (400.0, 0.0, 0.0), (400.0, 0.0, 300.0), ROUND))["M"]
    # long points: +y at end A, -z at end B; from +y to -z about +x is a quarter turn back
    assert one.short is None and one.cuts.apart == pytest.approx(-90.0, abs=1e-9)


def test_one_slanted_end_has_a_short_side_too():
    """A leg on the floor at 60 degrees, square at the other end."""
    leg = straight("LEG", (0.0, 0.0, 0.0), (300.0 * cos(radians(60.0)), 0.0, 300.0 * sin(radians(60.0))), ROUND)
    job = '[[joint]]\ntube = "LEG"\nend = "A"\nkind = "plane"\npoint = [0, 0, 0]\nnormal = [0, 0, 1]\n'
    made = cope_frame([leg, RAIL], SHOP, job_from_text('units = "mm"\n' + job))
    (joint,) = [one for one in made.joints if one.tube == "LEG"]
    assert joint.end_cut.saw_angle == pytest.approx(30.0, abs=1e-9) and not joint.is_square
    (one,) = [one for one in made.lengths if one.name == "LEG"]
    assert one.cut - one.short == pytest.approx(50.0 * tan(radians(30.0)), abs=1e-9) and one.cuts.apart is None


# --- square ends -----------------------------------------------------------------------------------


def post(section, aside=0.0, lean=0.0, name="POST", top=400.0):
    a = radians(lean)
    place = Placement((0.0, aside, 0.0), (sin(a), 0.0, cos(a)), (0.0, 1.0, 0.0))
    return tube_of(run_of([], top, place, name=name), section)


@pytest.mark.parametrize(
    ("own", "mate", "aside", "left_open"),
    [
        (BOX, BOX, 0.0, 6.0),  # as wide as its mate: the whole radius
        (SMALL, BOX, 0.0, 0.0),  # 15 beside the middle; the flat goes to 19
        (SMALL, BOX, 7.0, 6.0 - sqrt(36.0 - 9.0)),  # 22 beside: 3 past the flat
        (ROUND, BOX, 0.0, 6.0),
        (BOX, FLAT_BAR, 0.0, 0.0),
    ],
)
def test_an_end_on_a_flat_is_cut_square(own, mate, aside, left_open):
    joints, said = joints_of(replace(RAIL, section=mate), post(own, aside))
    joint = joints["POST", "A"]
    high = 25.0 if mate == BOX else 20.0  # half the height of what stands under it
    assert (joint.kind, joint.end_cut.saw_angle, joint.is_square, joint.hole_saw) == ("square", 0.0, True, None)
    assert joint.long_point == joint.short_point == pytest.approx(high, abs=1e-9)
    assert joint.corner_gap == pytest.approx(left_open, abs=1e-9)
    assert [one.code for one in said] == (["cope-open"] if left_open else [])


def test_asked_for_it_is_coped_around_the_radii():
    """Kind, option (on the tube) and job file; the long points then reach down by the radius, where they can."""
    asked = '[[joint]]\ntube = "POST"\nkind = "saddle"\n'
    for joints, said in (
        joints_of(RAIL, post(BOX), job=asked),
        joints_of(RAIL, replace(post(BOX), coped_corners=True)),
    ):
        joint = joints["POST", "A"]
        assert (joint.kind, joint.end_cut.saw_angle, joint.corner_gap) == ("saddle", None, 0.0) and said == []
        assert (joint.long_point, joint.short_point) == (pytest.approx(19.0), pytest.approx(25.0))
    square = asked.replace("saddle", "square")
    joints, said = joints_of(RAIL, replace(post(BOX), coped_corners=True), job=square)
    assert joints["POST", "A"].kind == "square" and [one.code for one in said] == ["cope-open"]
    joints, _ = joints_of(RAIL, replace(post(SMALL), coped_corners=True))  # no radius to go around
    assert joints["POST", "A"].kind == "square"


def test_a_weld_gap_is_kept_before_the_flat():
    joints, _ = joints_of(RAIL, post(BOX), gap=1.5)
    joint = joints["POST", "A"]
    assert joint.long_point == joint.short_point == pytest.approx(26.5)
    assert joint.corner_gap == pytest.approx(7.5)  # along the tube to the mate's metal: the gap and the radius


def test_what_is_no_square_end():
    """Wider than its mate, off its side, on edge, leaning: as before."""
    wide = Section("square", 60.0, 3.0, corner=6.0)
    for tube in (post(wide), post(BOX, aside=4.0), post(BOX, lean=20.0)):
        assert joints_of(RAIL, tube)[0]["POST", "A"].kind == "saddle"
    edge = tube_of(run_of([], 1200.0, Placement((-600, 0, 0), (1, 0, 0), (0, sqrt(0.5), sqrt(0.5))), name="RAIL"), BOX)
    assert joints_of(edge, post(SMALL))[0]["POST", "A"].kind == "saddle"
    soft = Section("square", 50.0, 3.0, corner=20.0)  # a flat of 10 under 50 carries too little
    assert joints_of(replace(RAIL, section=soft), post(BOX))[0]["POST", "A"].kind == "saddle"


def test_a_slanted_end_that_stays_on_the_flat_is_a_saw_cut():
    joints, said = joints_of(RAIL, post(SMALL, lean=30.0))
    joint = joints["POST", "A"]
    assert joint.kind == "saddle" and joint.end_cut.saw_angle == pytest.approx(30.0, abs=1e-9) and not joint.is_square
    assert joint.short_point - joint.long_point == pytest.approx(30.0 * tan(radians(30.0)), abs=1e-9)
    assert [one.code for one in cope_frame([RAIL, post(SMALL, lean=30.0)], SHOP).findings] == [] and said == []


@pytest.mark.parametrize("lean", [0.2, 32.5, 57.5])
@pytest.mark.parametrize("own", [BOX, ROUND])
@pytest.mark.parametrize("gap", [0.0, 1.5])
def test_a_slanted_end_as_wide_as_its_mate_is_sawn_to_the_flat(own, lean, gap):
    """By hand: the flat's plane, a saw turned by the lean, the radius left open longer by one over its cosine."""
    joints, said = joints_of(RAIL, post(own, lean=lean), gap=gap)
    joint = joints["POST", "A"]
    c, t = cos(radians(lean)), tan(radians(lean))
    assert joint.end_cut.saw_angle == pytest.approx(lean, abs=1e-9) and joint.kind == "saddle" and not joint.is_square
    assert joint.center_cut == pytest.approx((25.0 + gap) / c, abs=1e-9)
    assert joint.long_point == pytest.approx((25.0 + gap) / c - 25.0 * t, abs=1e-9)
    assert joint.short_point == pytest.approx((25.0 + gap) / c + 25.0 * t, abs=1e-9)
    assert joint.corner_gap == pytest.approx((6.0 + gap) / c, abs=1e-9)
    assert [one.code for one in said] == ["cope-open"]


def test_what_is_sawn_at_a_slant_to_no_flat():
    """Asked for, on a flat that carries too little, leaning across the mate, or past its side: coped as before."""
    leaning = post(BOX, lean=32.5)
    soft = replace(RAIL, section=Section("square", 50.0, 3.0, corner=20.0))
    a = radians(10.0)
    tilted = Placement((0.0, 0.0, 0.0), (0.0, sin(a), cos(a)), (1.0, 0.0, 0.0))
    for mate, tube in (
        (RAIL, replace(leaning, coped_corners=True)),
        (soft, leaning),
        (RAIL, tube_of(run_of([], 400.0, tilted, name="POST"), BOX)),
        (RAIL, post(BOX, aside=4.0, lean=32.5)),
    ):
        joint = joints_of(mate, tube)[0]["POST", "A"]
        assert (joint.kind, joint.end_cut.saw_angle, joint.corner_gap) == ("saddle", None, 0.0)


def test_a_brace_in_the_corner_of_a_frame_stops_at_both_flats():
    """At 45 degrees into the corner of two rails of its own width: each of its sides lies on one of the flats."""
    rails = [straight("R1", (0, 0, 0), (600, 0, 0), BOX), straight("R2", (0, 0, 0), (0, 0, 600), BOX)]
    half = sqrt(0.5)
    place = Placement((0.0, 0.0, 0.0), (half, 0.0, half), (0.0, 1.0, 0.0))
    brace = tube_of(run_of([], 400.0, place, name="BRACE"), BOX)
    joint = joints_of(*rails, brace)[0]["BRACE", "A"]
    assert set(joint.mates) == {"R1", "R2"} and joint.end_cut.saw_angle is None
    # the corner of the flats lies at (25, 25): 25 sqrt 2 along the brace; its sides, 25 beside the axis, 25 further on
    assert joint.long_point == pytest.approx(25.0 * sqrt(2.0), abs=1e-6)
    assert joint.short_point == pytest.approx(25.0 * sqrt(2.0) + 25.0, abs=1e-6)


@pytest.mark.parametrize("swap", [False, True])
def test_nothing_depends_on_which_mate_comes_first(swap):
    """Under the rail lies a larger one, 5 mm lower; it takes nothing off: it does not lead, nor ask for a template."""
    big = Section("square", 80.0, 4.0, corner=8.0)
    low = straight("BIG", (0.0, -600.0, -20.0), (0.0, 600.0, -20.0), big)
    tubes = [low, RAIL] if swap else [RAIL, low]
    joint = joints_of(*tubes, post(BOX))[0]["POST", "A"]
    assert (joint.kind, joint.mates, joint.center_cut) == ("square", ("RAIL",), pytest.approx(25.0))
    assert not [one for one in cope_frame([*tubes, post(BOX)], SHOP).findings if one.code == "hole-saw-not"]


def test_on_flush_flats_both_mates_are_named():
    """A post on the corner of two mitred rails stands on both."""
    rails = [straight("R1", (0, 0, 0), (600, 0, 0), BOX), straight("R2", (0, 0, 0), (0, 600, 0), BOX)]
    joint = joints_of(*rails, post(BOX))[0]["POST", "A"]
    assert (joint.kind, set(joint.mates), joint.is_square) == ("square", {"R1", "R2"}, True)


@pytest.mark.parametrize("apart", [50.0, 56.0])
@pytest.mark.parametrize("aside", [0.0, 3.0])
@pytest.mark.parametrize("own", [BOX, SMALL, ROUND])
def test_a_post_across_two_flush_rails_is_cut_square_to_both(own, aside, apart):
    """By hand: it stops at the height of the flats, and at the edges between the whole radius stays open."""
    rails = [straight(f"R{y:g}", (-600.0, y, 0.0), (600.0, y, 0.0), BOX) for y in (-apart / 2.0, apart / 2.0)]
    joints, said = joints_of(*rails, post(own, aside))
    (joint,) = joints.values()
    assert (joint.kind, set(joint.mates), joint.is_square) == ("square", {one.name for one in rails}, True)
    assert joint.long_point == joint.short_point == pytest.approx(25.0) and joint.corner_gap == pytest.approx(6.0)
    assert [one.code for one in said] == (["cope-open"] if apart == 50.0 else ["cope-partial", "cope-open"])
    low = [rails[0], straight("LOW", (-600.0, apart / 2.0, -1.0), (600.0, apart / 2.0, -1.0), BOX)]  # 1 mm lower
    assert joints_of(*low, post(own, aside))[0]["POST", "A"].kind == "saddle"


def test_a_post_over_the_seam_of_a_flush_tee_is_cut_to_both():
    """Half of it stands on the rail that runs on, half on the one that ends there."""
    side = straight("SIDE", (0.0, 0.0, 0.0), (0.0, 600.0, 0.0), BOX)
    for aside in (10.0, 25.0, 40.0):
        joint = joints_of(RAIL, side, post(BOX, aside))[0]["POST", "A"]
        assert (joint.kind, set(joint.mates), joint.short_point) == ("square", {"RAIL", "SIDE"}, pytest.approx(25.0))


def test_square_rails_side_by_side_do_not_overlap():
    """Their half diagonals do, their sections do not; 3 mm nearer they do."""
    other = straight("TWIN", (-600.0, 50.0, 0.0), (500.0, 50.0, 0.0), BOX)
    assert joints_of(RAIL, other) == ({}, [])
    near = straight("TWIN", (-600.0, 47.0, 0.0), (500.0, 47.0, 0.0), BOX)
    assert [one.code for one in joints_of(RAIL, near)[1]] == ["joint-parallel"]


@pytest.mark.parametrize("section", [BOX, SMALL, ROUND])
@pytest.mark.parametrize(
    ("second", "apart"), [((0, 0, 1), 270.0), ((0, 0, -1), 90.0), ((0, 1, 0), 180.0), ((0, -1, 0), 0.0)]
)
def test_the_long_point_of_a_slanted_flat_is_its_middle(section, second, apart):
    """A whole flat is as long: its middle leads the zero line, and from there the other end's is told, by hand.

    The middle tube runs along x; the first one comes from -y, so that the long point at end A lies at +y. At end B it
    lies away from the third one; turning right-hand about x, from +y over +z, -z is at 270 degrees.
    """
    last = tuple(500.0 * (i == 0) + 400.0 * v for i, v in enumerate(second))
    ends = [(0.0, -600.0, 0.0), (0.0, 0.0, 0.0), (500.0, 0.0, 0.0), last]
    tubes = [straight(f"T{i}", a, b, section) for i, (a, b) in enumerate(pairwise(ends))]
    found, _ = joints_of(*tubes)
    a, b = found["T1", "A"], found["T1", "B"]
    assert (a.kind, b.kind, a.end_cut.saw_angle, b.end_cut.saw_angle) == (
        "mitre",
        "mitre",
        pytest.approx(45.0),
        pytest.approx(45.0),
    )
    assert a.zero_direction == b.zero_direction == pytest.approx((0.0, 1.0, 0.0), abs=1e-9)
    assert a.long_phi == pytest.approx(0.0, abs=1e-6)
    assert b.long_phi == pytest.approx(apart, abs=1e-4)
    # what the set-up tells of the same two ends
    setups = {one.tube.name: one for one in Job.of_tubes(tubes, SHOP).setups}
    assert within_half_turn(setups["T1"].cuts.apart - apart) == pytest.approx(0.0, abs=1e-6)


def test_of_a_coped_square_tube_the_middle_of_its_long_flat_leads():
    """On round tube its two flats along that reach furthest, all over: the zero line runs through a middle."""
    runner = straight("RUNNER", (-600.0, 0.0, 0.0), (600.0, 0.0, 0.0), Section("round", 80.0, 3.0))
    found, _ = joints_of(runner, straight("LEG", (0.0, 0.0, 0.0), (0.0, 0.0, 400.0), BOX))
    leg = found["LEG", "A"]
    assert abs(leg.zero_direction[1]) == pytest.approx(1.0) and leg.long_phi == pytest.approx(0.0, abs=1e-6)


def corner_brace() -> list[Tube]:
    """A brace that lands in the corner of a rail and a post of 40 x 40, and a round one beside, that is coped there."""
    box = Section("square", 40.0, 2.0, corner=4.0)
    return [
        straight("RAIL", (-500, 0, 0), (800, 0, 0), box),
        straight("POST", (0, 0, 0), (0, 0, 800), box),
        straight("BRACE", (0, 0, 0), (500, 0, 400), box),
        straight("PIPE", (0, 0, 0), (-400, 0, 500), Section("round", 30.0, 2.0)),
    ]


def test_an_end_that_two_flats_end_is_told_by_both_saw_cuts():
    """By hand: 500 across and 400 up is 38.66° to the rail: 51.34° from square along its flat, 38.66° along the post's.

    Each point of the cut lies on the one flat or the other (z = 20 or x = 20), and both have some.
    """
    joints, _ = find_joints(corner_brace(), None)
    brace = next(joint for joint in joints if (joint.tube, joint.end) == ("BRACE", "A"))
    lean = degrees(atan2(400.0, 500.0))
    assert brace.end_cut.flat_cuts == ((pytest.approx(90.0 - lean), "RAIL"), (pytest.approx(lean), "POST"))
    assert brace.end_cut.saw_angle is None
    phi = np.arange(0.0, 360.0, 1.0)
    points = surface_points(brace.cut, phi)
    on_rail, on_post = np.abs(points[:, 2] - 20.0) < 1e-6, np.abs(points[:, 0] - 20.0) < 1e-6
    assert (on_rail | on_post).all() and on_rail.sum() > 90 and on_post.sum() > 90
    text = "saw cuts 51.34° along RAIL and 38.66° along POST, from square, by the template"
    assert saw_cut_text(brace, Display()) == text

    def told_of_brace(tubes):
        return [f.variant for f in cope_frame(tubes, demo_shop()).findings if f.tube == "BRACE" and "saw" in f.code]

    assert told_of_brace(corner_brace()) == []
    # round tube is cut along these flats as well; a round mate is no flat
    pipe = next(joint for joint in joints if (joint.tube, joint.end) == ("PIPE", "A"))
    assert [cut.mate for cut in pipe.end_cut.flat_cuts] == list(pipe.mates) and len(pipe.mates) == 2
    tubes = corner_brace()
    tubes[1] = straight("POST", (0, 0, 0), (0, 0, 800), Section("round", 40.0, 2.0))
    joints, _ = find_joints(tubes, None)
    brace = next(joint for joint in joints if (joint.tube, joint.end) == ("BRACE", "A"))
    assert brace.saw_cuts == () and "by the template" not in saw_cut_text(brace, Display())
    assert told_of_brace(tubes) == ["several"]


def test_set_up_and_cutting_list_tell_both_saw_cuts(tmp_path, capsys):
    doc = ezdxf.new("R2010", units=4)
    for tube in corner_brace()[:3]:
        doc.modelspace().add_line(tube.run.start, tube.run.end, dxfattribs={"layer": tube.name})
    doc.saveas(tmp_path / "corner.dxf")
    given = [str(tmp_path / "corner.dxf"), "--section", "40x40x2mm", "--metal", "mild steel"]
    text = " ".join(run(capsys, "setup", *given, "--run", "BRACE").out.split())
    assert "Cut end A to its template, by 2 saw cuts, 51.34° and 38.66° from square: the long point of the cut" in text
    setup = next(t for t in run(capsys, "setup", *given, "--json").json["tubes"] if t["name"] == "BRACE")
    assert setup["flat_cuts"] == {"A": [pytest.approx(51.3402, abs=1e-4), pytest.approx(38.6598, abs=1e-4)]}
    cope = next(j for j in run(capsys, "cope", *given, "--json").json["joints"] if j["tube"] == "BRACE")
    assert [(cut["mate"], round(cut["angle"], 2)) for cut in cope["flat_cuts"]] == [("RAIL", 51.34), ("POST", 38.66)]
    run(capsys, "convert", *given, "--to", "cope-pdf", "--out", tmp_path)
    first, *_ = PdfReader(tmp_path / "corner-copes.pdf").pages
    assert re.search(r"RAIL \+ POST.*2 saw cuts", " ".join(first.extract_text().split()))
    run(capsys, "cutlist", *given, "--bar", "6000mm", "--to", "pdf", "--out", tmp_path)
    paper = "".join(page.extract_text() for page in PdfReader(tmp_path / "corner-cutlist.pdf").pages)
    assert "A 51.34° + 38.66° by template" in " ".join(paper.split())


def test_the_csv_of_copes_and_of_the_cutting_list_have_both_saw_cuts():
    """By hand as above, and measured: planes laid through the points of the cut, by least squares, against the axis."""
    job = Job.of_tubes([replace(tube, metal="mild steel") for tube in corner_brace()[:3]], SHOP)
    joint = next(one for one in job.joints if (one.tube, one.end) == ("BRACE", "A"))
    points = surface_points(joint.cut, np.arange(0.0, 360.0, 1.0))
    measured = []
    for on_flat in (np.abs(points[:, 2] - 20.0) < 1e-6, np.abs(points[:, 0] - 20.0) < 1e-6):
        one = points[on_flat]
        normal = np.linalg.svd(one - one.mean(axis=0))[2][-1]
        measured.append(degrees(acos(abs(float(normal @ np.array(joint.direction))))))
    lean = degrees(atan2(400.0, 500.0))
    assert measured == pytest.approx([90.0 - lean, lean], abs=1e-6)

    def rows(text: str) -> list[dict[str, str]]:
        return list(csv.DictReader(text.splitlines()))

    def told(row: dict[str, str], name: str) -> list[float]:
        return [float(row[f"{name}_{number}_deg"]) for number in (1, 2) if row[f"{name}_{number}_deg"]]

    of_end = {(row["tube"], row["end"]): row for row in rows(cope_csv(job.joints, Display()))}
    assert of_end["BRACE", "A"]["mates"] == "RAIL + POST" and of_end["BRACE", "A"]["saw_angle_deg"] == ""
    assert told(of_end["BRACE", "A"], "flat_cut") == pytest.approx(measured, abs=1e-5)
    assert told(of_end["POST", "A"], "flat_cut") == [] and of_end["POST", "A"]["saw_angle_deg"] == "0"
    pieces = {row["piece"]: row for row in rows(cutlist_csv(cut_list([job], buyable=[6000.0]), Display()))}
    assert told(pieces["BRACE"], "flat_cut_a") == pytest.approx(measured, abs=1e-5)
    assert told(pieces["BRACE"], "flat_cut_b") == [] and pieces["BRACE"]["front_end"] in ("A", "B")
    assert told(pieces["RAIL"], "flat_cut_a") == [] and pieces["RAIL"]["front_end"] == ""


def test_an_end_of_three_flats_has_a_third_column_and_one_without_none():
    three = EndCut(1.0, (SawCut(50.0, "A"), SawCut(40.0, "B"), SawCut(30.0, "C")))
    mitre = EndCut(-2.0, (SawCut(45.0, "A"),))
    assert flat_heads("flat_cut", [mitre]) == ["flat_cut_1_deg", "flat_cut_2_deg"]
    heads = flat_heads("flat_cut", [mitre, three])
    assert heads == ["flat_cut_1_deg", "flat_cut_2_deg", "flat_cut_3_deg"]
    assert flat_cells(heads, three) == ["50", "40", "30"]
    assert flat_cells(heads, mitre) == flat_cells(heads, None) == ["", "", ""]
    assert (three.saw_angle, mitre.saw_angle, mitre.flat_cuts) == (None, 45.0, ())


def test_an_html_sheet_names_the_saw_cuts_of_such_an_end():
    """It read "no single hole saw makes this cut"; its steps and the PDF had both angles."""
    job = Job.of_tubes([replace(tube, metal="mild steel") for tube in corner_brace()[:3]], SHOP)
    brace = next(part for part in job_sheet([job]).parts if part.part.name == "BRACE")
    (end,) = part_view(brace, job.both_units).ends
    facts = dict(end.facts)
    assert "Hole saw" not in facts and "51.34° along RAIL and 38.66° along POST" in facts["Saw"]
