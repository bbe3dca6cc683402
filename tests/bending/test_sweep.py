"""Room to swing: signs, known facts, and brute force on meshes."""

from __future__ import annotations

from itertools import combinations
from math import hypot, inf, radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import tables
from sweep_tools import (
    along,
    bend_metal,
    box_distance,
    dense,
    mesh_of,
    misfit,
    pose,
    random_table,
    sweep_order,
    sweeper,
    to_itself,
)

from converter.bending.room.shape import half, stations
from converter.bending.room.space import other_plane, space_of
from converter.bending.room.sweep import ITSELF, TOLERANCE, Sweeper, half_outside
from converter.errors import ElbowroomError, OptionError
from converter.model.bends import Bend, BendTable
from converter.model.section import Section
from converter.shop.model import Box, Machine

TUBE = Section("round", 44.45, 3.0)
FT = 304.8
BARE = Machine(plane="vertical")


# --- which way things turn -------------------------------------------------------------------


@given(tables(most=6, greatest=200.0))
@settings(max_examples=40)
def test_a_stick_bent_by_the_machines_motions_is_the_tube(table):
    """Feed, turn clockwise looking ahead by the rotation, swing: marked points end where the table puts them."""
    s = np.unique(np.concatenate([np.linspace(0.0, table.developed_length, 60)]))
    assert misfit(bend_metal(table, s), along(table, s)) < 1e-6 * max(1.0, table.developed_length)


def test_turned_the_other_way_it_is_another_tube():
    """The check above can fail: a 90 degree roll the wrong way gives the mirror image."""
    right = BendTable((Bend(300, 0, 90, 100), Bend(300, 90, 90, 100)), 300)
    wrong = BendTable((Bend(300, 0, 90, 100), Bend(300, -90, 90, 100)), 300)
    s = np.linspace(0.0, right.developed_length, 50)
    assert misfit(bend_metal(wrong, s), along(right, s)) > 50.0


@given(tables(most=5, greatest=200.0), st.data())
@settings(max_examples=30)
def test_what_lies_ahead_is_what_the_motions_have_made(table, data):
    """Before bend k the side ahead of T, in place, is the bent stick fed and turned for bend k."""
    k = data.draw(st.integers(0, len(table.bends) - 1))
    start = sum(b.feed + b.arc_length for b in table.bends[:k]) + table.bends[k].feed
    s = np.linspace(0.0, start, 40)
    # bending by nearly nothing feeds and turns only
    nothing = BendTable((*table.bends[:k], Bend(table.bends[k].feed, table.bends[k].rotation, 1e-9, 100.0)), 10.0)
    made = bend_metal(nothing, s)
    clr = table.bends[k].clr
    at = stations(half(table, k, frozenset(range(k)), True), sagitta=0.001).points
    space = space_of(BARE)
    seen = at @ space.basis + np.array([0.0, 0.0, clr])  # the stick's own line is z = 0 there
    if k == 0:
        made = made[:, [0, 1, 2]]
    # every marked point lies on the polyline of the stations
    for point in made:
        assert _to_polyline(point, seen) < 0.01
    assert np.linalg.norm(seen[-1] - made[0]) < 1e-5
    assert np.linalg.norm(seen[0] - made[-1]) < 1e-5


def _to_polyline(p, line):
    a, b = line[:-1], line[1:]
    d = b - a
    size = (d * d).sum(axis=1)
    t = np.clip(((p - a) * d).sum(axis=1) / np.where(size > 0, size, 1), 0, 1)
    return np.linalg.norm(a + d * t[:, None] - p, axis=1).min()


def test_formed_legs_hang_where_the_roll_puts_them():
    """A first bend up, then a roll of +90: looking ahead the tube turns clockwise, so the leg points right (-y)."""
    table = BendTable((Bend(1000, 0, 90, 100), Bend(500, 90, 90, 100)), 1000)
    side = half(table, 1, frozenset({0}), True)
    end = stations(side).points[-1] @ space_of(BARE).basis
    # ahead by the straight and the radius, to the right by radius and leg, at the height of the stick
    assert end == pytest.approx([600.0, -1100.0, -100.0])
    table = BendTable((Bend(1000, 0, 90, 100), Bend(500, 180, 90, 100)), 1000)
    end = stations(half(table, 1, frozenset({0}), True)).points[-1] @ space_of(BARE).basis
    assert end == pytest.approx([600.0, 0.0, -1200.0])  # an S: the leg hangs down


# --- known facts -------------------------------------------------------------------------------


def test_a_stick_bent_at_its_middle_needs_a_circle_as_wide_as_it_is_long():
    """20 ft of stick in a horizontal plane: legs of 10 ft, a circle 20 ft across (common practice, no source).

    Straight leg l on radius R sweeps sqrt(l^2 + R^2): 120 in on 6 in reaches 120.150 in (computed by hand).
    """
    clr = 6 * 25.4
    leg = 10 * FT - clr * radians(90) / 2  # half the bend's own metal counts to each leg
    table = BendTable((Bend(leg, 0.0, 90.0, clr),), leg)
    machine = Machine(plane="horizontal", wall_left=4000.0)
    found = sweep_order(table, TUBE, machine)
    assert found.against == "the wall on the left" and found.at_angle == pytest.approx(90.0)
    swung = 4000.0 - found.least
    assert swung == pytest.approx(leg, abs=TOLERANCE)  # at 90 degrees the leg stands square to the wall
    reach = half_reach(table)
    assert reach == pytest.approx(hypot(leg, clr), abs=0.5)
    assert 2 * reach == pytest.approx(20 * FT, rel=0.04)
    exact = BendTable((Bend(120 * 25.4, 0.0, 90.0, clr),), 100.0)
    assert half_reach(exact) / 25.4 == pytest.approx(120.150, abs=0.01)


def half_reach(table):
    points = stations(half(table, 0, frozenset(), True)).points
    return float(np.hypot(points[:, 0], points[:, 1]).max())


def test_the_wall_ahead_is_met_on_the_way():
    """The end passes its farthest point ahead when the arm to it lies level: atan(R / l) into the bend."""
    clr, leg = 150.0, 900.0
    table = BendTable((Bend(leg, 0.0, 90.0, clr),), 200.0)
    found = sweep_order(table, TUBE, Machine(plane="horizontal", wall_ahead=1000.0))
    r = TUBE.od / 2
    # the corner of the rim farthest out is on the outside of the bend: radius R + r, length l
    assert found.least == pytest.approx(1000.0 - hypot(leg, clr + r), abs=TOLERANCE)
    assert found.at_angle == pytest.approx(np.degrees(np.arctan2(clr + r, leg)), abs=1.5)
    assert found.against == "the wall ahead" and found.bend == 1


def test_the_floor_under_an_s_bend():
    """Hand-worked: an S on a vertical machine hangs its first leg straight down at the start of the second bend."""
    table = BendTable((Bend(700, 0, 90, 100), Bend(300, 180, 45, 100)), 500)
    found = sweep_order(table, TUBE, Machine(plane="vertical", pivot_height=1200.0))
    # stick 100 below the pivot; bend 100 and leg 700 below that, cut square
    assert found.least == pytest.approx(1200 - 100 - 100 - 700, abs=TOLERANCE)
    assert (found.bend, found.against, found.at_angle) == (2, "the floor", 0.0)
    down = sweep_order(table, TUBE, Machine(plane="vertical", pivot_height=1200.0, bends_to="down"))
    assert down.bend == 1 and down.at_angle == pytest.approx(90.0)


def test_the_ceiling_counts_from_the_floor():
    table = BendTable((Bend(900, 0, 90, 100),), 500)
    found = sweep_order(table, TUBE, Machine(plane="vertical", pivot_height=1000.0, ceiling=2400.0))
    assert found.against == "the ceiling" and found.least == pytest.approx(1400 - 900, abs=TOLERANCE)


def test_when_the_stock_swings_it_is_the_other_leg_that_rises():
    table = BendTable((Bend(300, 0, 90, 100),), 900)
    room = {"plane": "vertical", "pivot_height": 1500.0, "ceiling": 2400.0}
    ahead = sweep_order(table, TUBE, Machine(**room))
    behind = sweep_order(table, TUBE, Machine(**room, swings="behind"))
    assert ahead.least == pytest.approx(900 - 300, abs=TOLERANCE)
    # the stock is still 100 d longer d radians before the end, and its rim leads: 0.27 mm more, worked by hand
    assert behind.least == pytest.approx(900 - 900 - 0.27, abs=TOLERANCE)
    assert behind.against == "the ceiling" and behind.at_angle == pytest.approx(90.0, abs=3.0)


def test_a_hairpin_closes_on_itself():
    """Two 90s and two straights: legs 2R + straight apart; 180 on one radius: 2R."""
    table = BendTable((Bend(400, 0, 180, 80),), 400)
    found = sweep_order(table, TUBE, BARE)
    assert found.against == ITSELF and found.least == pytest.approx(160 - TUBE.od, abs=TOLERANCE)
    assert found.at_angle == pytest.approx(180.0, abs=3.0)
    square = BendTable((Bend(400, 0, 90, 80), Bend(30, 0, 90, 80)), 400)
    assert sweep_order(square, TUBE, BARE).least == pytest.approx(190 - TUBE.od, abs=TOLERANCE)


def test_less_than_half_a_turn_meets_nothing():
    table = BendTable((Bend(50, 0, 20, 80), Bend(5, 90, 100, 80), Bend(5, 0, 50, 80)), 400)
    found = sweep_order(table, TUBE, BARE)
    assert found.least is None and found.bend is None and found.against is None and found.room == inf


def test_a_closed_square_runs_into_its_own_start():
    """Four 90s round a square of 300: the fourth leg ends where the first begins, hit before the last bend ends."""
    table = BendTable(tuple(Bend(300, 0, 90, 100) for _ in range(4)), 200)
    found = sweep_order(table, TUBE, BARE)
    assert found.least is not None and found.least < 0 and found.bend == 4 and found.against == ITSELF


def test_straights_have_nothing_to_sweep():
    found = sweep_order(BendTable((), 1000.0), TUBE, Machine(plane="vertical", pivot_height=1000.0))
    assert found.least is None and found.order == ()


# --- brute force -----------------------------------------------------------------------------

STAND = Box("stand", (-500.0, -300.0, -900.0), (350.0, 300.0, -290.0))
ROOM = {"pivot_height": 1400.0, "ceiling": 3600.0, "wall_ahead": 2500.0, "boxes": (STAND,)}
MACHINES = [
    Machine(plane="vertical", **ROOM),
    Machine(plane="horizontal", wall_left=2000.0, **ROOM),
    Machine(plane="vertical", swings="behind", **ROOM),
    Machine(plane="horizontal", bends_to="right", wall_right=1500.0, **ROOM),
]


def brute_room(table, machine, bend, made, feed_from, angles):
    """Least room to planes and the box over poses, from the vertices of meshes (and the box's edges)."""
    least = inf
    edges = box_edges(STAND)
    for angle in angles:
        run, _ = pose(table, machine, bend, made, angle, feed_from)
        mesh = mesh_of(run, TUBE, 0.3)
        v = mesh.vertices
        least = min(
            least,
            float(v[:, 2].min()) + machine.pivot_height,
            machine.ceiling - machine.pivot_height - float(v[:, 2].max()),
            machine.wall_ahead - float(v[:, 0].max()),
            *([machine.wall_left - float(v[:, 1].max())] if machine.wall_left else []),
            *([machine.wall_right + float(v[:, 1].min())] if machine.wall_right else []),
        )
        near = box_distance(v, STAND.low, STAND.high)
        # where an edge of the box is nearest, the mesh's vertices may lie to both sides of it
        line = dense(run.table, 5.0, run.placement)[0]
        apart = np.sqrt(((edges[:, None, :] - line[None, :, :]) ** 2).sum(axis=2))
        least = min(least, near, max(0.0, float(apart.min()) - TUBE.od / 2))
    return least


def box_edges(box, step=40.0):
    low, high = np.array(box.low), np.array(box.high)
    points = []
    for axis in range(3):
        for pick in range(4):
            n = int((high[axis] - low[axis]) / step) + 2
            p = np.empty((n, 3))
            other = [k for k in range(3) if k != axis]
            p[:, axis] = np.linspace(low[axis], high[axis], n)
            for bit, k in enumerate(other):
                p[:, k] = (low if pick >> bit & 1 else high)[k]
            points.append(p)
    return np.concatenate(points)


def wide_table(rng, n):
    return random_table(rng, n, (60.0, 450.0), (20.0, 190.0), odd_roll=33.0)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_room_around_the_machine_against_meshes(seed):
    rng = np.random.default_rng(seed)
    machine = MACHINES[seed % len(MACHINES)]
    table = wide_table(rng, int(rng.integers(1, 5)))
    feed_from = "AB"[seed // 4 % 2]
    n = len(table.bends)
    order = list(rng.permutation(n))
    bend, made = int(order[-1]), frozenset(int(i) for i in order[:-1] if rng.random() < 0.7)
    one = sweeper(table, TUBE, machine, feed_from)
    [found] = one.moments([(bend, made)])
    near = [a for a in np.linspace(-3, 3, 25) + found.angle if 0 < a <= table.bends[bend].angle]
    coarse = np.linspace(1e-6, table.bends[bend].angle, 60)
    brute = brute_room(table, machine, bend, made, feed_from, [*coarse, *near])
    if found.least < 0.0 and found.against == "stand":
        assert brute <= 1.0  # points of the mesh in the box count as touching it, however deep
        return
    # brute force tries finitely many angles, so it may miss a little of the least
    assert brute >= found.least - TOLERANCE
    if found.against != ITSELF:
        assert brute <= found.least + found.tolerance + 1.0


@pytest.mark.parametrize("seed", range(16))
def test_against_itself_by_trying_all_pairs(seed):
    rng = np.random.default_rng(100 + seed)
    table = wide_table(rng, int(rng.integers(2, 6)))
    feed_from = "AB"[seed % 2]
    n = len(table.bends)
    order = [int(i) for i in rng.permutation(n)]
    one = Sweeper(table, TUBE, space_of(BARE), feed_from)
    states = [(bend, frozenset(order[:i])) for i, bend in enumerate(order)]
    found = one.sequence(order)
    coarse = inf
    for bend, made in states:
        for angle in np.linspace(1e-6, table.bends[bend].angle, 25):
            run, _ = pose(table, BARE, bend, made, float(angle), feed_from)
            coarse = min(coarse, to_itself(run.table, TUBE.od, 12.0))
    if found.least is None:
        assert coarse == inf
        return
    deep = found.least < -TUBE.od / 4  # how deep it runs into itself is not followed further
    assert deep or coarse >= found.least - TOLERANCE
    i = order.index(found.bend - 1)
    run, _ = pose(table, BARE, order[i], states[i][1], max(found.at_angle, 1e-6), feed_from)
    fine = to_itself(run.table, TUBE.od, 1.5)
    if deep:
        assert fine < 0.0
    else:
        assert found.least - TOLERANCE <= fine <= found.least + TOLERANCE + 2.5  # points 1.5 mm apart on both parts


@pytest.mark.slow
def test_two_legs_against_meshes():
    """The legs of a hook that turns 210 degrees, as cylinders: their meshes' least distance is ours."""
    import trimesh

    table = BendTable((Bend(260, 0, 120, 150), Bend(180, 25, 90, 150)), 320)
    found = sweep_order(table, TUBE, BARE)
    run, _ = pose(table, BARE, 1, {0}, 90.0)
    first, last = run.centerline[0], run.centerline[-1]
    legs = [trimesh.creation.cylinder(TUBE.od / 2, segment=[s.start, s.end], sections=32) for s in (first, last)]
    points = legs[1].subdivide_to_size(15.0).vertices
    brute = float(trimesh.proximity.closest_point_naive(legs[0], points)[1].min())
    assert found.against == ITSELF
    assert found.least - TOLERANCE <= brute <= found.least + found.tolerance + 2.0


def test_many_states_at_once_are_the_same_as_one_by_one():
    table = wide_table(np.random.default_rng(5), 4)
    machine = MACHINES[0]
    states = [
        (k, frozenset(c)) for k in range(4) for n in range(4) for c in combinations([j for j in range(4) if j != k], n)
    ]
    together = sweeper(table, TUBE, machine).moments(states)
    for state, moment in zip(states, together, strict=True):
        [alone] = sweeper(table, TUBE, machine).moments([state])
        assert alone.least == pytest.approx(moment.least, abs=TOLERANCE)


def test_fed_from_either_end_the_last_moment_is_the_same_shape():
    """Self-contact of the finished tube does not depend on the end it was fed from."""
    table = BendTable((Bend(400, 0, 100, 80), Bend(90, 20, 110, 80)), 300)
    a, b = (sweep_order(table, TUBE, BARE, end) for end in "AB")
    assert a.least == pytest.approx(b.least, abs=TOLERANCE)


# --- words and bad input -------------------------------------------------------------------------


def test_square_tube_counts_as_the_round_that_holds_its_corners():
    sharp = Section("square", 40.0, 2.0)
    assert half_outside(sharp) == pytest.approx((hypot(20, 20), hypot(20, 20) - 20))
    rounded = Section("square", 40.0, 2.0, corner=4.0)
    assert half_outside(rounded)[0] == pytest.approx(hypot(16, 16) + 4)
    assert half_outside(TUBE) == (TUBE.od / 2, 0.0)


def test_stops_and_extra_stick_count():
    table = BendTable((Bend(300, 0, 90, 100),), 300)
    machine = Machine(plane="vertical", pivot_height=1000.0, ceiling=2000.0)
    more = sweeper(table, TUBE, machine, extra_a=50.0)
    assert more.sequence(more.simple_order).least == pytest.approx(1000 - 350, abs=TOLERANCE)
    over = sweeper(table, TUBE, machine, stops=[60.0])
    turned = radians(60)
    height = 300 * np.sin(turned) - 100 * np.cos(turned)
    rim = TUBE.od / 2 * np.cos(turned)
    assert 1000 - over.sequence((0,)).least == pytest.approx(height + rim, abs=TOLERANCE)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: sweep_order(BendTable((Bend(9, 0, 9, None),), 9), TUBE, BARE), "radius"),
        (lambda: sweep_order(BendTable((Bend(-9, 0, 9, 9),), 9), TUBE, BARE), "overlap"),
        (lambda: sweep_order(BendTable((Bend(9, 0, 9, 9),), 9), TUBE, BARE, "C"), "end A or end B"),
        (lambda: sweep_order(BendTable((Bend(9, 0, 9, 9),), 9), TUBE, BARE, order=(2,)), "every bend once"),
        (lambda: sweeper(BendTable((Bend(9, 0, 9, 9),), 9), TUBE, BARE, extra_a=-1.0), "zero or more"),
        (lambda: sweeper(BendTable((Bend(9, 0, 9, 9),), 9), TUBE, BARE, stops=[400.0]), "stop angle"),
    ],
)
def test_what_cannot_be_swept_is_said(make, message):
    with pytest.raises(ElbowroomError, match=message):
        make()


def test_option_errors_are_option_errors():
    with pytest.raises(OptionError):
        sweeper(BendTable((), 9.0), TUBE, BARE, "x")


def test_turning_the_machine_over():
    assert other_plane(Machine(plane="vertical", bends_to="up")).plane == "horizontal"
    assert other_plane(Machine(plane="horizontal")).plane == "vertical"
    for to, axis in (("up", 2), ("left", 1)):
        basis = space_of(Machine(plane="vertical" if axis == 2 else "horizontal", bends_to=to)).basis
        assert basis[1, axis] == 1.0 and np.linalg.det(basis) == pytest.approx(1.0)


@pytest.mark.parametrize("clr", [40.0, 2000.0])
def test_stations_keep_their_sagitta(clr):
    table = BendTable((Bend(10, 0, 170, clr), Bend(10, 0, 10, 50)), 10)
    at = stations(half(table, 1, frozenset({0}), True), 0.15).points
    chords = np.linalg.norm(np.diff(at, axis=0), axis=1)
    longest = chords[2:-1].max()
    assert clr - np.sqrt(clr**2 - (longest / 2) ** 2) <= 0.15 + 1e-9
    assert chords.sum() == pytest.approx(20 + clr * radians(170), rel=1e-3)


def test_rolls_that_add_up_to_half_a_turn_stay_in_range():
    """97.9 + 57.14 + 24.96 is 180.00000000000003 in floating point: half a turn, not minus half a turn."""
    assert 97.9 + 57.14 + 24.96 > 180.0
    rolls = (0.0, 24.96, 57.14, 97.9)
    table = BendTable(tuple(Bend(100.0, roll, 30.0, 50.0) for roll in rolls), 100.0)
    # bends 2 and 3 are straight stock still, so the roll of bend 1 against bend 4 is their sum
    assert len(half(table, 3, frozenset({0}), True)) == 3
