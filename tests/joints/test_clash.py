"""Tubes in each other's way where no cut joins them: told with place and size, and nothing told of sound frames."""

from __future__ import annotations

import json
import random
from itertools import combinations
from math import dist, pi

import pytest
from command_line import run
from copes import straight
from frames import RAIL, RUNG, draw, hoop, rack
from test_joints import codes

from converter.errors import GeometryError
from converter.exporters.solids.coped.ends import coped_solid, joints_of
from converter.geometry.vectors import any_normal
from converter.joints.cope import cope_frame
from converter.joints.finding.joints import survey_frame
from converter.joints.in_the_way.clashes import find_clashes
from converter.kernel.fit_up import shared
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.job_file import JobFile, JointChoice
from converter.shop.load import demo_shop
from converter.shop.model import Shop
from converter.tolerances import DEFAULT

CHORD = straight("CHORD", (0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), RAIL)
TANGENT = RAIL.od


def in_the_way(tubes):
    return cope_frame(tubes, demo_shop()).in_the_way


def clashes(*tubes, job=None):
    return find_clashes(survey_frame(tubes, job), DEFAULT)


def over(height, name="OVER"):
    return straight(name, (500.0, -300.0, height), (500.0, 300.0, height), RAIL)


def upturned(z, x=200.0, width=500.0):
    """A U that stands on its bottom at height z: no end is near it."""
    bends = (Bend(400.0, 0.0, 90.0, 100.0), Bend(width - 200.0, 0.0, 90.0, 100.0))
    placement = Placement((x, 0.0, z + 500.0), (0.0, 0.0, -1.0), (0.0, -1.0, 0.0))
    return Tube(Run("U", "RAIL", False, BendTable(bends, 400.0), placement), RAIL)


def test_tubes_that_pass_too_near_overlap_by_the_radii_less_the_distance():
    """Axes 43 apart, radii 22.225 each: 1.45 of metal in metal, too little for a crossing, halfway between."""
    [one] = clashes(CHORD, over(43.0))
    assert (one.tube, one.other, one.more) == ("CHORD", "OVER", 0)
    assert one.overlap == pytest.approx(1.45, abs=1e-9)
    assert one.place == pytest.approx((500.0, 0.0, 21.5), abs=1e-9)


def test_touching_is_welding_and_a_little_more_is_near():
    assert clashes(CHORD, over(TANGENT)) == []
    assert clashes(CHORD, over(TANGENT - 0.05)) == []
    [near] = clashes(CHORD, over(TANGENT + 0.4))
    assert near.overlap == pytest.approx(-0.4, abs=1e-9)
    assert clashes(CHORD, over(TANGENT + 1.01)) == []


def test_tubes_side_by_side_whose_ends_are_elsewhere():
    """The hoop's top and the bottom of a U 40 above it run along one another."""
    [one] = clashes(hoop("HOOP", 0.0, 0.0), upturned(640.0))
    assert one.overlap == pytest.approx(4.45, abs=1e-9)
    assert one.place[2] == pytest.approx(620.0, abs=1e-6)


def test_a_bend_that_grazes_a_straight():
    """Outside of the bend: 150 from its centre (150, 450); a tube along y at 45 degrees, 43 further out."""
    out = (150.0 + 43.0) / 2.0**0.5
    x, z = 150.0 - out, 450.0 + out
    [one] = clashes(hoop("HOOP", 0.0, 0.0), straight("PIPE", (x, -300.0, z), (x, 300.0, z), RAIL))
    assert one.overlap == pytest.approx(1.45, abs=1e-6)


def test_square_tube_clashes_by_its_flats():
    box = Section("square", 40.0, 3.0, corner=6.0)
    ends = (0.0, 0.0, 0.0), (800.0, 0.0, 0.0)
    below = straight("BELOW", *ends, box)
    [one] = clashes(below, straight("ABOVE", (400.0, -200.0, 38.5), (400.0, 200.0, 38.5), box))
    assert one.overlap == pytest.approx(1.5, abs=0.01)
    on_top = straight("ABOVE", (400.0, -200.0, 40.0), (400.0, 200.0, 40.0), box)
    assert clashes(below, on_top) == []
    assert in_the_way([below, on_top]) == ()
    deep = straight("ABOVE", (400.0, -200.0, 30.0), (400.0, 200.0, 30.0), box)
    [crossing] = survey_frame([below, deep]).crossings
    assert crossing.overlap == pytest.approx(10.0, abs=0.01)


def test_sound_frames_are_left_alone():
    across = [
        straight("UP", (500.0, 0.0, 0.0), (500.0, 0.0, 400.0), RUNG),
        straight("DOWN", (500.0, 0.0, 0.0), (500.0, 0.0, -400.0), RAIL),
        straight("SIDE", (500.0, 0.0, 0.0), (500.0, 400.0, 0.0), RAIL),
        straight("BRACE", (500.0, 0.0, 0.0), (200.0, 300.0, 300.0), RUNG),
    ]
    assert clashes(CHORD, *across) == []
    corner = [
        straight(n, (0.0, 0.0, 0.0), p, RAIL)
        for n, p in zip("ABC", ((400, 0, 0), (0, 400, 0), (0, 0, 400)), strict=True)
    ]
    assert clashes(*corner) == []
    assert clashes(*rack(9)) == []
    assert find_clashes(survey_frame(rack(5), gap=1.0), DEFAULT) == []


def test_two_of_a_node_that_are_not_cut_to_each_other():
    """The job file cuts both braces to the chord alone, so that they run into one another in front of it."""
    one = straight("ONE", (500.0, 0.0, 0.0), (300.0, 0.0, 400.0), RUNG)
    two = straight("TWO", (500.0, 0.0, 0.0), (700.0, 0.0, 400.0), RUNG)
    assert clashes(CHORD, one, two) == []
    job = JobFile("test", joints=tuple(JointChoice(tube=n, cope_to=("CHORD",)) for n in ("ONE", "TWO")))
    [found] = clashes(CHORD, one, two, job=job)
    assert (found.tube, found.other) == ("ONE", "TWO")
    assert found.place[0] == pytest.approx(500.0, abs=0.5)
    made = survey_frame([CHORD, one, two], job)
    by = joints_of(made.joints)
    volume, middle = shared(*(coped_solid(t, t.section, by[t.name]) for t in (one, two)))
    assert volume > 300.0  # of thin walls
    assert dist(middle, found.place) < RUNG.od


def test_an_end_that_the_job_file_leaves_alone_is_not_told_of():
    rung = straight("RUNG", (500.0, 0.0, 0.0), (500.0, 300.0, 0.0), RUNG)
    job = JobFile("test", joints=(JointChoice(tube="RUNG", kind="none"),))
    assert clashes(CHORD, rung, job=job) == []


def test_an_end_drawn_to_the_corner_that_a_bend_rounds_off_is_cut_where_the_job_file_says():
    """The end lies R (sqrt 2 - 1) past the hoop's centerline, beyond its metal; cut, it is as one drawn to that."""
    past = 150.0 * (2.0**0.5 - 1.0)
    frame = [hoop("HOOP", 0.0, 0.0), straight("BRACE", (600.0, 0.0, 0.0), (0.0, 0.0, 600.0), RAIL)]
    [told] = in_the_way(frame)
    assert (told.code, told.variant, told.tube, told.end) == ("tube-clash", "through", "BRACE", "B")
    assert told.value_pairs and dict(told.value_pairs)["past"] == pytest.approx(past, abs=1e-6)
    job = JobFile(joints=(JointChoice("BRACE", cope_to=("HOOP",)),))
    cut = cope_frame(frame, demo_shop(), job)
    assert [f.code for f in (*cut.findings, *cut.in_the_way) if f.severity == "warning"] == []
    share = 1.0 - past / dist((600.0, 0.0, 0.0), (0.0, 0.0, 600.0))
    to_axis = straight("BRACE", (600.0, 0.0, 0.0), (600.0 - 600.0 * share, 0.0, 600.0 * share), RAIL)
    drawn = cope_frame([frame[0], to_axis], demo_shop())
    lengths = [[one.cut for one in each.lengths if one.name == "BRACE"] for each in (cut, drawn)]
    assert lengths[0] == pytest.approx(lengths[1], abs=1e-6)


def test_what_is_told_once_is_not_told_twice():
    side = straight("SIDE", (200.0, 40.0, 0.0), (800.0, 40.0, 0.0), RAIL)
    said = cope_frame([CHORD, side], Shop("none", ())).findings
    assert codes(said) == ["joint-parallel"]
    assert in_the_way([CHORD, side]) == ()
    cross = straight("CROSS", (500.0, -200.0, 20.0), (500.0, 200.0, 20.0), RAIL)
    assert codes(in_the_way([CHORD, cross])) == ["tube-crossing"]


def solid_bar(od):
    """Tube with next to no bore: all within its outside is metal, as clashes count it."""
    return Section("round", od, od / 2.0 - 0.01)


def tangle(seed):
    """Seven bars, straight and bent, thrown into a box of 220."""
    pick = random.Random(seed)
    tubes = []
    for k in range(7):
        section = solid_bar(pick.choice([20.0, 25.4, 38.1]))
        a, b = (tuple(pick.uniform(0.0, 220.0) for _ in range(3)) for _ in range(2))
        if pick.random() < 0.6:
            tubes.append(straight(f"T{k}", a, b, section))
            continue
        size = dist(a, b)
        way = tuple((y - x) / size for x, y in zip(a, b, strict=True))
        table = BendTable((Bend(size / 2.0, 0.0, pick.uniform(30.0, 120.0), 80.0),), size / 2.0)
        tubes.append(Tube(Run(f"T{k}", None, False, table, Placement(a, way, any_normal(way))), section))
    return tubes


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_tangles_clash_where_the_kernel_finds_shared_metal(seed):
    """Every pair of a random heap, its cut ends heeded, against the boolean of the two coped solids."""
    tubes = tangle(seed)
    found = survey_frame(tubes)
    said = {frozenset((c.tube, c.other)): c.overlap for c in find_clashes(found, DEFAULT)}
    said |= {frozenset((c.outer, c.inner)): c.overlap for c in found.crossings}
    odd = {f.tube for f in found.findings if f.code in ("cope-partial", "mate-smaller", "cope-again")}
    by = joints_of(found.joints)
    solids = {}
    for tube in tubes:
        try:
            solids[tube.name] = coped_solid(tube, tube.section, by.get(tube.name, []))
        except GeometryError:
            odd.add(tube.name)
    pairs = [pair for pair in combinations(solids, 2) if not odd & set(pair)]
    assert len(pairs) >= 6
    for pair in pairs:
        volume, overlap = shared(solids[pair[0]], solids[pair[1]])[0], said.get(frozenset(pair), 0.0)
        if volume > 1.0:
            # of an end along or beside another tube the findings of joints tell
            at_ends = (f for f in found.findings if f.tube in pair)
            assert overlap > DEFAULT.join or any(all(name in f.message for name in pair) for f in at_ends), pair
        if overlap > 0.5:
            assert volume > 0.0, pair


def test_the_commands_tell(tmp_path, capsys):
    drawing = draw([CHORD, over(43.0)], tmp_path / "frame.dxf")
    sizes = ("--section", "44.45x3mm")
    for command in ("cope", "audit"):
        outcome = run(capsys, command, drawing, *sizes, "--json")
        [said] = [f for f in json.loads(outcome.out)["findings"] if f["code"] == "tube-clash"]
        assert said["severity"] == "warning"
        assert said["measured"] == pytest.approx(1.45, abs=1e-6)
        assert "run into one another at (500.00, 0.00, 21.50) mm" in said["message"]
        assert "overlap by 1.45 mm" in said["message"]
    near = run(capsys, "audit", draw([CHORD, over(44.85)], tmp_path / "near.dxf"), *sizes)
    assert "pass with 0.40 mm between them" in " ".join(near.out.split())


def test_depth_of_two_equal_tubes_is_that_of_the_volume_they_share():
    """Crossing cylinders 16 r^3 / 3: at distance 0 the deepest place is the common centre, the overlap the diameter."""
    found = survey_frame([CHORD, over(0.0)])
    assert [c.overlap for c in found.crossings] == [pytest.approx(RAIL.od)]
    bar = solid_bar(40.0)
    pair = [
        straight("A", (-99.0, 0.0, 0.0), (99.0, 0.0, 0.0), bar),
        straight("B", (0.0, -99.0, 0.0), (0.0, 99.0, 0.0), bar),
    ]
    volume, _ = shared(*(coped_solid(t, t.section, []) for t in pair))
    assert volume == pytest.approx(16.0 * 20.0**3 / 3.0, rel=2e-4)
    assert pi * 20.0**2 * 40.0 > volume
