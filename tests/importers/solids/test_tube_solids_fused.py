"""Several tubes as one body, and square and rectangular tube."""

from __future__ import annotations

import random
from math import cos, pi, radians, sin

import cadquery as cq
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from member_bodies import box, swept
from strategies import lengths, placements, tables
from test_tube_solids_writers import WRITERS, nurbs
from tube_bodies import ROUND, assert_is, codes, cylinder, only, pipe, reason, tubes
from tubes import run_of

from converter.importers.solids.rectangles import inside, rectangles
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Placement
from converter.model.frames import pieces
from converter.model.run import Run
from converter.model.section import Section
from converter.tolerances import DEFAULT

POST = pipe((0, 0, 0), (0, 0, 1), 20, 2, 300)


def ends_of(found):
    """Both centerline ends of straights, rounded, as a set of pairs."""
    out = set()
    for t in found:
        a, d = t.placement.start, t.placement.direction
        b = tuple(p + t.table.tail * v for p, v in zip(a, d, strict=True))
        out.add(tuple(tuple(round(v, 4) + 0.0 for v in p) for p in (a, b)))
    return out


def separated(shape, count):
    found, ignored = tubes(shape)
    assert len(found) == count and not ignored, (found, ignored)
    assert all(codes(t)["solid-fused"] == count for t in found)
    return found


@pytest.mark.parametrize("coped", [True, False])
def test_a_branch_on_a_post(coped):
    branch = pipe((0, 0, 150), (1, 0, 0), 15, 2, 200)
    if coped:
        branch = branch.cut(cylinder((0, 0, 0), (0, 0, 1), 20, 300))
    found = separated(POST.fuse(branch), 2)
    assert ends_of(found) == {((0, 0, 0), (0, 0, 300)), ((0, 0, 150), (200, 0, 150))}
    assert sorted(t.section.od for t in found) == [30, 40]


def test_a_branch_of_the_posts_own_size():
    same = pipe((0, 0, 0), (0, 0, 1), 15, 2, 300)
    branch = pipe((0, 0, 150), (1, 0, 0), 15, 2, 200).cut(cylinder((0, 0, 0), (0, 0, 1), 15, 300))
    assert ends_of(separated(same.fuse(branch), 2)) == {((0, 0, 0), (0, 0, 300)), ((0, 0, 150), (200, 0, 150))}


def test_a_rail_through_posts_stays_one_and_two_on_its_sides_stay_two():
    rail = pipe((-200, 0, 150), (1, 0, 0), 15, 2, 400)
    assert ends_of(separated(POST.fuse(rail), 2)) == {((0, 0, 0), (0, 0, 300)), ((-200, 0, 150), (200, 0, 150))}
    apart = separated(POST.fuse(rail.cut(cylinder((0, 0, 0), (0, 0, 1), 20, 300))), 3)
    assert ends_of(apart) == {
        ((0, 0, 0), (0, 0, 300)), ((-200, 0, 150), (0, 0, 150)), ((0, 0, 150), (200, 0, 150)),
    }  # fmt: skip
    cross = pipe((0, 0, 0), (0, 0, 1), 15, 2, 300).fuse(rail)
    assert ends_of(separated(cross, 2)) == {((0, 0, 0), (0, 0, 300)), ((-200, 0, 150), (200, 0, 150))}


def test_branches_on_a_bent_tube_its_straight_and_its_bend():
    run = run_of([(300, 0, 90, 120)], 300)
    section = Section("round", 40, 2)
    on = (300 + 120 * cos(-pi / 4), 120 + 120 * sin(-pi / 4), 0)
    body = cq.Shape.cast(tube_solid(run, section)).fuse(
        pipe((150, 0, 0), (0, 0, 1), 15, 2, 200), pipe(on, (0, 0, 1), 15, 2, 200)
    )
    found = separated(body, 3)
    main = max(found, key=lambda t: len(t.table.bends))
    assert_is(main, run, section)
    assert ends_of(t for t in found if t is not main) == {
        ((150, 0, 0), (150, 0, 200)),
        (tuple(round(v, 4) for v in on), (round(on[0], 4), round(on[1], 4), 200)),
    }


def test_a_mitred_frame_of_round_tubes():
    run = run_of([(100, 0, 90, None), (300, 0, 90, None), (400, 0, 90, None), (300, 0, 90, None)], 300, closed=True)
    found = separated(tube_solid(run, ROUND), 4)
    assert sorted(round(t.table.tail, 6) for t in found) == [300, 300, 400, 400]
    assert all(t.metal == pytest.approx((15, 15), abs=1e-6) for t in found)


def test_a_post_welded_to_a_plate_ends_on_it():
    body = POST.fuse(cq.Workplane("XY").box(100, 100, 8).translate((0, 0, -4)).val())
    found, _ = tubes(body)
    assert ends_of(found) == {((0, 0, 0), (0, 0, 300))} and found[0].section.wall == pytest.approx(2)


# --- square and rectangular -----------------------------------------------------------------


SQUARE = Section("square", 40, 3, 40, 6)
SHARP = Section("square", 40, 3)
TWISTED = run_of([(100, 0, 90, 80), (50, 90, 45, 80)], 80, Placement((10, 20, 30), (0.6, 0.8, 0), (0, 0, 1)))


@st.composite
def profiles(draw):
    od, height = draw(lengths(8.0, 28.0)), draw(lengths(8.0, 28.0))
    square = draw(st.booleans())
    small = od if square else min(od, height)
    wall = small * draw(st.floats(0.06, 0.3))
    corner = draw(st.sampled_from([0.0, 0.5 * wall, 1.5 * wall]) | st.floats(0.1, 0.4).map(lambda k: k * small))
    shape = ("square", "rectangular") if draw(st.booleans()) else ("square-bar", "flat-bar")
    return Section(shape[not square], od, wall, 0.0 if square else height, min(corner, 0.45 * small))


@pytest.mark.slow
@settings(max_examples=15, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(tables(most=4, zero_straights=False, least=10.0, greatest=180.0), placements(), profiles())
def test_our_own_profiles_give_their_tables_back(table, placement, section):
    found = pieces(table, placement)
    assume(section.shape in ("square", "square-bar") or abs(section.od - section.height) > 0.01)
    assume(all(p.arc is None or p.arc.radius > section.outer.support(p.roll) + 1.0 for p in found))
    # shorter, or bent tighter the hard way, it is a plate or block
    full = section.bore is None
    assume(not full or sum(p.length for p in found) > 4.0 * section.greater)
    assume(not full or all(p.arc is None or p.arc.radius > 2.0 * section.greater for p in found))
    run = Run("r", None, False, table, placement)
    one = only(tube_solid(run, section))
    assert_is(one, run, section)
    # read from its other end the section lies along another bend: what the rolls lack to quarter turns is left over
    off = max(abs((p.roll + 45.0) % 90.0 - 45.0) for p in found)
    left = radians(off) * section.od if off < 1e-3 else 0.0
    assert one.deviation < 1e-6 + left and one.metal == pytest.approx((0, 0), abs=1e-6)


@pytest.mark.parametrize(
    "section", [SQUARE, SHARP, Section("rectangular", 50, 2, 30, 1.5)], ids=["round corners", "sharp", "rectangular"]
)
@pytest.mark.parametrize("writer", ["B-splines", "inside out", "quarters"])
def test_profiles_of_other_writers(section, writer):
    assert_is(only(WRITERS[writer](tube_solid(TWISTED, section))), TWISTED, section)


def test_a_flat_bar_of_another_writer():
    bar = Section("flat-bar", 40, 4, 8, 2)
    assert_is(only(WRITERS["B-splines"](tube_solid(TWISTED, bar))), TWISTED, bar)


def test_a_profile_rolled_between_its_bends_and_a_closed_one():
    rolled = run_of([(100, 0, 90, 80), (50, 30, 45, 80)], 80)
    assert_is(only(tube_solid(rolled, SQUARE)), rolled, SQUARE)
    loop = only(tube_solid(run_of([(100, 0, 90, 60)] + [(200, 0, 90, 60)] * 3, 100, closed=True), SQUARE))
    assert loop.closed and len(loop.table.bends) == 4 and loop.deviation < 1e-9


@pytest.mark.parametrize("section", [SQUARE, SHARP], ids=["round corners", "sharp"])
def test_cut_ends_of_a_profile(section):
    whole = cq.Shape.cast(tube_solid(run_of([], 200), section))
    coped = only(whole.cut(cylinder((200, 0, -100), (0, 0, 1), 30, 200)))
    assert coped.table.tail == pytest.approx(200) and coped.metal[1] == pytest.approx(-((900 - 400) ** 0.5), abs=1e-5)
    box = (
        cq.Workplane("XY")
        .box(200, 200, 200)
        .translate((100, 0, 0))
        .rotate((0, 0, 0), (0, 1, 0), 30)
        .translate((150, 0, 0))
    )
    mitred = only(whole.cut(box.val()))
    assert mitred.table.tail == pytest.approx(150, abs=1e-6)
    assert mitred.metal[1] == pytest.approx(
        20 * sin(radians(30)) / cos(radians(30)), abs=0.9 if section.corner else 1e-6
    )
    drilled = only(whole.cut(cylinder((50, 0, -50), (0, 0, 1), 4, 100)))
    assert drilled.table.tail == pytest.approx(200) and drilled.section == section


def hollow(at, along, length):
    box = cq.Workplane("XY").box(length, 40, 40, centered=(False, True, True)).val()
    box = box.cut(cq.Workplane("XY").box(length, 34, 34, centered=(False, True, True)).val())
    if along == "y":
        box = box.rotate(cq.Vector(0, 0, 0), cq.Vector(0, 0, 1), 90)
    return box.translate(cq.Vector(*at))


@pytest.mark.parametrize("merged", [False, True])
def test_a_welded_frame_of_square_tube_by_its_bores(merged):
    frame = hollow((0, 0, 0), "x", 400).fuse(
        hollow((0, 300, 0), "x", 400), hollow((20, 20, 0), "y", 260), hollow((380, 20, 0), "y", 260)
    )
    found = separated(frame.clean() if merged else frame, 4)
    assert ends_of(found) == {
        ((0, 0, 0), (400, 0, 0)), ((0, 300, 0), (400, 300, 0)),
        ((20, 20, 0), (20, 280, 0)), ((380, 20, 0), (380, 280, 0)),
    }  # fmt: skip
    assert all(t.section == SHARP for t in found)


@pytest.mark.parametrize("section", [SQUARE, SHARP], ids=["round corners", "sharp"])
def test_a_mitred_frame_of_square_tube(section):
    run = run_of([(100, 0, 90, None), (300, 0, 90, None), (400, 0, 90, None), (300, 0, 90, None)], 300, closed=True)
    found = separated(nurbs(tube_solid(run, section)), 4)
    assert sorted(round(t.table.tail, 4) for t in found) == [300, 300, 400, 400]
    assert all(t.metal == pytest.approx((20, 20), abs=1e-5) for t in found)


def test_a_round_tube_on_a_square_one():
    body = cq.Shape.cast(tube_solid(run_of([], 200), SHARP)).fuse(pipe((100, 0, 20), (0, 0, 1), 15, 2, 100))
    found = separated(body, 2)
    assert {t.section.shape for t in found} == {"round", "square"}
    assert ends_of(found) == {((0, 0, 0), (200, 0, 0)), ((100, 0, 20), (100, 0, 120))}


def test_a_solid_square_bar_is_a_bar_and_a_short_one_a_block():
    one = only(cq.Workplane("YZ").rect(40, 40).extrude(200).val())
    assert one.section == Section("square-bar", 40, 20) and one.table.tail == pytest.approx(200)
    assert "flat" in reason(cq.Workplane("YZ").rect(40, 40).extrude(150).val())


def shape_of(run, section):
    return cq.Shape.cast(tube_solid(run, section))


def weighed(shape, count, overlap=0.0):
    """The members of a body, which together weigh what the kernel says but for what they share."""
    found = separated(shape, count)
    assert sum(t.section.area * t.table.developed_length for t in found) - overlap == pytest.approx(shape.Volume())
    assert all(set(codes(t)) <= {"solid-fused", "solid-ends", "solid-plate"} and t.deviation < 1e-6 for t in found)
    return found


@pytest.mark.parametrize("merged", [False, True])
def test_a_frame_of_flat_bar_in_one_plane_may_be_a_plate(merged):
    frame = box((0, 0, 0), (600, 50, 10)).fuse(
        box((0, 350, 0), (600, 50, 10)), box((0, 50, 0), (50, 300, 10)), box((550, 50, 0), (50, 300, 10))
    )
    found = weighed(frame.clean() if merged else frame, 4)
    assert ends_of(found) == {
        ((25, 25, 5), (575, 25, 5)), ((25, 375, 5), (575, 375, 5)), ((25, 25, 5), (25, 375, 5)),
        ((575, 25, 5), (575, 375, 5)),
    }  # fmt: skip
    assert all(t.section == Section("flat-bar", 50, 5, 10) and t.metal == pytest.approx((25, 25)) for t in found)
    assert all("a plate cut to this shape looks the same" in t.findings[-1].message for t in found)


def test_bars_across_each_other_and_rungs_between_bars():
    cross = box((-200, -20, 0), (400, 40, 8)).fuse(box((-20, -300, 0), (40, 600, 8))).clean()
    found = weighed(cross, 2, 40 * 40 * 8)
    assert ends_of(found) == {((-200, 0, 4), (200, 0, 4)), ((0, -300, 4), (0, 300, 4))}
    rungs = [box((x, 40, 5), (12, 360, 12)) for x in (100, 250, 400, 550, 700)]
    ladder = box((0, 0, 0), (800, 40, 20)).fuse(box((0, 400, 0), (800, 40, 20)), *rungs).clean()
    found = weighed(ladder, 7)
    assert sorted(round(t.table.tail, 6) for t in found) == [360.0] * 5 + [800.0] * 2


def test_bent_bars_with_others_fused_on():
    """A bent square bar with a bar on each leg, and a bent flat with a round bar and a lug on it."""
    run, square = run_of([(300, 0, 90, 80)], 300), Section("square-bar", 20, 10)
    body = shape_of(run, square).fuse(box((100, -200, -6), (12, 190, 12)), box((200, 10, -10), (12, 300, 12))).clean()
    assert_is(max(weighed(body, 3), key=lambda t: len(t.table.bends)), run, square)
    hook, flat = run_of([(300, 0, 90, 30), (200, 0, 90, 30)], 300), Section("flat-bar", 40, 3, 6)
    found = weighed(shape_of(hook, flat).fuse(cylinder((150, 0, -150), (0, 0, 1), 8, 130)).clean(), 2)
    assert_is(max(found, key=lambda t: len(t.table.bends)), hook, flat)
    (one,), left = tubes(shape_of(hook, flat).fuse(box((100, 3, -10), (5, 30, 20))))
    assert not left and "solid-remains" in codes(one)
    assert_is(one, hook, flat)


BENT_MEMBERS = [
    Section("square-bar", 20, 10), Section("flat-bar", 40, 5, 10), Section("flat-bar", 10, 5, 40),
    Section("rectangular", 50, 3, 30, 6),
]  # fmt: skip
BRANCHES = [
    Section("square-bar", 8, 4), Section("flat-bar", 12, 2.5, 5), Section("bar", 8, 4), Section("square", 9, 1, 9, 1.5),
    Section("round", 9, 1),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_what_was_fused_onto_a_bent_member_comes_apart(seed):
    """A bent member anywhere in space with straight ones square on its faces: each comes back, and no metal is left."""
    rnd = random.Random(seed)
    main = BENT_MEMBERS[seed % len(BENT_MEMBERS)]
    tight = 2.5 * main.greater
    rows = [(rnd.uniform(250, 500), turn, rnd.uniform(20, 110), rnd.uniform(tight, 2 * tight)) for turn in (0, 90, 180)]
    run = run_of(rows[: rnd.randint(1, 3)], rnd.uniform(250, 400), Placement((10, 20, 30), (0.6, 0.8, 0), (0, 0, 1)))
    body, expected = shape_of(run, main), [main]
    straights = [one for one in pieces(run.table, run.placement) if one.arc is None]
    for one in straights:
        section, start = rnd.choice(BRANCHES), one.start
        out, half = rnd.choice([(start.up, main.height / 2.0), (start.across, main.od / 2.0)])
        at = start.at(0.0, 0.0, rnd.uniform(60.0, one.length - 60.0))
        foot = tuple(p + half * v for p, v in zip(at, out, strict=True))
        branch = run_of([], rnd.uniform(120, 300), Placement(foot, out, start.direction))
        body = body.fuse(shape_of(branch, section))
        expected.append(section)
    found = separated(body, len(expected))
    assert_is(max(found, key=lambda table: len(table.table.bends)), run, main)
    kinds = [sorted((s.shape, round(s.greater, 6), round(s.smaller, 6), round(s.wall, 6)) for s in some)
             for some in ([t.section for t in found], expected)]  # fmt: skip
    assert kinds[0] == kinds[1]
    claimed = sum(table.section.area * table.table.developed_length for table in found)
    assert claimed == pytest.approx(body.Volume(), rel=1e-4)


def test_what_has_the_corners_of_bars_and_is_none():
    """Holes and slots in a plate, a bent beam, a ring sector cut from plate, an octagon."""
    plate = cq.Workplane().box(300, 200, 8).faces(">Z").workplane()
    beam = [(-40, -50), (40, -50), (40, -42), (4, -42), (4, 42), (40, 42), (40, 50), (-40, 50), (-40, 42), (-4, 42)]
    beam += [(-4, -42), (-40, -42)]
    loop = [("line", a, b) for a, b in zip(beam, beam[1:] + beam[:1], strict=True)]
    sector = shape_of(run_of([(0, 0, 180, 50)], 0), Section("flat-bar", 8, 4, 20))
    for shape in (
        plate.rarray(20, 1, 10, 1).rect(10, 140).cutThruAll().val(),
        plate.rarray(40, 40, 6, 4).rect(18, 18).cutThruAll().val(),
        swept(run_of([(300, 0, 45, 500)], 300), [loop]),
        sector,
    ):
        assert "plate" in reason(shape)
    for octagon in (cq.Workplane("YZ").polygon(8, 40), cq.Workplane("YZ").polygon(8, 40).polygon(8, 36)):
        assert "another section than tube or bar" in reason(octagon.extrude(400).val())


def test_rectangles_among_points():
    """Two squares one inside the other and two stray points; the middle of nothing else."""
    import numpy as np

    square = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    spots = np.array(
        [(20.0 * x + 5, 20.0 * y) for x, y in square] + [(17.0 * x + 5, 17.0 * y) for x, y in square] + [(0, 3), (9, 9)]
    )
    outs = np.array([(x / 2**0.5, y / 2**0.5) for x, y in (*square, *square, (-1, -1), (1, 1))])
    found = rectangles(spots, outs, list(range(10)), DEFAULT)
    assert [r.sizes for r in found] == [(34, 34), (40, 40)]
    inner = inside(found[1], spots, outs, list(range(10)), DEFAULT)
    assert inner is not None and set(inner[0]) == {4, 5, 6, 7} and inner[1] == pytest.approx((3, 3, 3, 3))
    assert inside(found[0], spots, outs, list(range(10)), DEFAULT) is None
    # the bore moved by half a millimetre: walls of 2.5 and 3.5 mm are none of one tube, of 2.9 and 3.1 mm are
    for off, is_one in ((0.5, False), (0.1, True)):
        moved = spots + np.array([(off if 4 <= k < 8 else 0.0, 0.0) for k in range(10)])
        walls = inside(found[1], moved, outs, list(range(10)), DEFAULT)
        assert (walls is not None) == is_one
        assert walls is None or walls[1][1] - walls[1][3] in (pytest.approx(2 * off), pytest.approx(-2 * off))
    # a corner that leads the other way is of something else
    outs[2] = -outs[2]
    assert [r.sizes for r in rectangles(spots, outs, list(range(10)), DEFAULT)] == [(34, 34)]
