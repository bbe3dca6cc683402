"""Chaining: joints, junctions, gaps, layers, direction. All cases drawn by hand, all expectations worked by hand."""

from __future__ import annotations

from itertools import pairwise
from math import cos, pi, radians, sin

import numpy as np
import pytest
from drawn_curves import line, p3

from converter.model.curve import Arc, Ellipse, Line, Path, Polyline, Spline
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.chain import Chain, chain
from converter.reducer.chaining.ends import curve_length, end_directions, is_straight
from converter.tolerances import Tolerances
from converter.units import Display


def arc(center, start, angle, layer="A", normal=(0.0, 0.0, 1.0)):
    return DrawnCurve(Arc.swept(p3(center), normal, p3(start), float(angle)), layer)


def poly(*points, layer="A"):
    return DrawnCurve(Polyline(np.array([p3(p) for p in points])), layer)


def order(curves, c: Chain):
    """Drawn numbers along a chain, negative (~n) where run backwards."""
    place = {id(d): k for k, d in enumerate(curves)}
    return [~place[id(d)] if back else place[id(d)] for d, back in c.items]


def run(curves, **options):
    chains, found = chain(curves, **options)
    return [order(curves, c) for c in chains], [f.code for f in found], chains, found


def head_and_tail(c: Chain):
    (first, back), (last, rback) = c.items[0], c.items[-1]
    return (first.curve.end if back else first.curve.start), (last.curve.start if rback else last.curve.end)


# --- two ends join ---------------------------------------------------------------------------


def test_nothing_gives_nothing():
    assert chain([]) == ([], [])


def test_one_curve_keeps_its_own_direction():
    curves = [line((5, 0), (0, 0))]
    orders, codes, chains, _ = run(curves)
    assert orders == [[0]] and codes == []
    assert chains[0] == Chain(((curves[0], False),), False, "A", 0, ())


def test_a_frame_of_loose_lines_is_one_run_with_sharp_corners():
    #  3---2
    #      |
    #  0---1     drawn: top (right to left), bottom (right to left), side (upwards)
    curves = [line((100, 100), (0, 100)), line((100, 0), (0, 0)), line((100, 0), (100, 100))]
    orders, codes, chains, _ = run(curves)
    # the top was drawn first and lies at an end: end A is its outer end, at (0, 100)
    assert orders == [[~0, ~2, 1]] and codes == []
    assert head_and_tail(chains[0]) == ((0.0, 100.0, 0.0), (0.0, 0.0, 0.0))
    assert not chains[0].closed


def test_split_arc_and_lines_chain_in_3d():
    #  line along x, quarter turn up into z as two arcs on one centre, line along z
    c, n = (100.0, 0.0, 50.0), (0.0, -1.0, 0.0)
    whole = Arc.swept(c, n, (100.0, 0.0, 0.0), 90.0)
    mid = whole.point(40.0)
    assert whole.end == pytest.approx((150.0, 0.0, 50.0), abs=1e-9)
    curves = [
        line((0, 0, 0), (100, 0, 0)),
        DrawnCurve(Arc(c, n, 50.0, mid, whole.end, 50.0), "A"),
        DrawnCurve(Arc(c, n, 50.0, whole.start, mid, 40.0), "A"),
        DrawnCurve(Line((150.0, 0.0, 200.0), whole.end), "A"),
    ]
    orders, codes, chains, _ = run(curves)
    assert orders == [[0, 2, 1, ~3]] and codes == []
    assert chains[0].gaps == ()


# --- closed ---------------------------------------------------------------------------------------


def test_closed_loop_starts_at_the_first_drawn_in_its_own_direction():
    #  2---1---,
    #  |       |    drawn first: the right side, downwards
    #  3-------0
    curves = [
        line((100, 50), (100, 0)),
        line((0, 50), (0, 0)),
        line((0, 0), (100, 0)),
        line((0, 50), (100, 50)),
    ]
    orders, codes, chains, _ = run(curves)
    assert orders == [[0, ~2, ~1, 3]] and chains[0].closed and codes == []


def test_full_circle_closed_polyline_and_closed_spline_are_closed():
    t = np.linspace(0.0, 2.0 * pi, 41)
    ring = Polyline(np.column_stack((500 + 20 * np.cos(t), 20 * np.sin(t), 0 * t)))
    control = np.array([[900, 0, 0], [950, 0, 0], [950, 50, 0], [900, 50, 0], [900, 0, 0]], dtype=float)
    loop = Spline(3, control, np.array([0, 0, 0, 0, 0.5, 1, 1, 1, 1]), None, (900.0, 0.0, 0.0), (900.0, 0.0, 0.0))
    curves = [arc((0, 0), (50, 0), 360), DrawnCurve(ring, "A"), DrawnCurve(loop, "A")]
    _, codes, chains, _ = run(curves)
    assert [c.closed for c in chains] == [True, True, True] and codes == []


def test_an_ellipse_all_round_is_closed_and_half_of_it_is_not():
    full = DrawnCurve(Ellipse((0.0, 0.0, 0.0), (30.0, 0.0, 0.0), (0.0, 10.0, 0.0), 15.0, 375.0), "A")
    half = DrawnCurve(Ellipse((0.0, 99.0, 0.0), (30.0, 0.0, 0.0), (0.0, 10.0, 0.0), 0.0, 180.0), "A")
    assert [c.closed for c in chain([full, half])[0]] == [True, False]


def test_two_half_circles_are_a_loop_not_duplicates():
    curves = [arc((0, 0), (50, 0), 180), arc((0, 0), (-50, 0), 180)]
    orders, codes, chains, _ = run(curves)
    assert orders == [[0, 1]] and chains[0].closed and codes == []


def test_a_branch_on_a_closed_loop_ends_there():
    curves = [poly((0, 0), (100, 0), (100, 100), (0, 100), (0, 0)), line((0, 0), (-50, 0))]
    orders, _, chains, _ = run(curves)
    assert orders == [[0], [1]] and [c.closed for c in chains] == [True, False]


# --- gaps -----------------------------------------------------------------------------------------


def test_gap_within_join_heals_and_is_said():
    #  0-----1  0.06  2-----3 (turned up)
    curves = [line((0, 0), (100, 0)), line((100.06, 0), (100.06, 80))]
    orders, codes, chains, found = run(curves)
    assert orders == [[0, 1]] and codes == ["healed-gap"]
    assert chains[0].gaps == pytest.approx((0.06,), abs=1e-9)
    assert found[0].measured == pytest.approx(0.06, abs=1e-9) and found[0].limit == 0.1 and found[0].unit == "mm"
    assert "0.06 mm" in found[0].message and "0.1 mm" in found[0].message


def test_several_gaps_of_one_run_are_one_note_with_the_largest():
    curves = [line((0, 0), (100, 0)), line((100, 0.02), (100, 80)), line((100, 80.07), (40, 80.07))]
    _, codes, chains, found = run(curves)
    assert codes == ["healed-gap"] and found[0].message.startswith("2 gaps, the largest of 0.07 mm")
    assert chains[0].gaps == pytest.approx((0.02, 0.07), abs=1e-9)


def test_rounding_of_the_file_is_recorded_but_not_worth_a_sentence():
    _, codes, chains, _ = run([line((0, 0), (100, 0)), line((100, 0.0004), (100, 80))])
    assert codes == [] and chains[0].gaps == pytest.approx((0.0004,), abs=1e-9)


def test_gap_that_closes_a_loop():
    curves = [line((0, 0), (100, 0)), line((100, 0), (50, 80)), line((50, 80), (0.03, 0.04))]
    _, codes, chains, _ = run(curves)
    assert chains[0].closed and codes == ["healed-gap"] and chains[0].gaps == pytest.approx((0.05,), abs=1e-9)
    loop = poly((0, 0), (100, 0), (50, 80), (0.03, 0.04))
    _, codes, chains, _ = run([loop])
    assert chains[0].closed and codes == ["healed-gap"] and chains[0].gaps == pytest.approx((0.05,), abs=1e-9)


def test_gap_at_the_join_tolerance_itself_heals_and_just_above_does_not():
    tol = Tolerances(join=0.125)  # exact in binary
    assert len(chain([line((0, 0), (64, 0)), line((64.125, 0), (64.125, 80))], tol)[0]) == 1
    chains, found = chain([line((0, 0), (64, 0)), line((64.1252, 0), (64.1252, 80))], tol)
    assert len(chains) == 2 and [f.code for f in found] == ["near-gap"]


def test_gap_a_little_larger_is_named_and_left_open():
    curves = [line((0, 0), (100, 0), "FRAME", "2F"), line((101.5, 0), (200, 0), "RAIL", "30")]
    orders, codes, _, found = run(curves)
    assert orders == [[0], [1]] and codes == ["near-gap"]
    f = found[0]
    assert f.severity == "warning" and f.measured == pytest.approx(1.5) and f.limit == 0.1
    for word in ("1.5 mm", "(100.00, 0.00, 0.00)", "(101.50, 0.00, 0.00)", "'FRAME'", "'RAIL'", "2F", "30"):
        assert word in f.message
    assert "0.0591 in" in f.message_in(Display("in"))


def test_ends_farther_than_near_and_ends_that_are_joined_are_no_near_gap():
    assert run([line((0, 0), (100, 0)), line((102.1, 0), (102.1, 100))])[1] == []
    # 1 mm from a joint, not from a free end: nothing
    assert run([line((0, 0), (100, 0)), line((100, 0), (100, 50)), line((101, 0), (200, 0))])[1] == []


def test_a_short_run_is_no_near_gap_of_its_own_but_an_open_ring_is():
    assert run([line((0, 0), (1.5, 0))])[1] == []
    _, codes, chains, found = run([poly((0, 0), (100, 0), (50, 80), (0, 1))])
    assert codes == ["near-gap"] and not chains[0].closed and found[0].measured == pytest.approx(1.0)


def test_each_end_names_its_nearest_only():
    #  three free ends at 0, 0.8 and 1.4 mm: 0.8-1.4 is nearest (0.6), then 0-0.8
    curves = [line((0, 0), (0, 50)), line((0.8, 0), (0.8, -50)), line((1.4, 0), (60, 30))]
    _, codes, _, found = run(curves)
    assert codes == ["near-gap", "near-gap"]
    assert [f.measured for f in found] == pytest.approx([0.6, 0.8])


def test_short_exact_segments_are_not_pulled_together():
    # chords of 0.05 mm, half the join tolerance, meeting exactly: every one stays, in order
    curves = [line((0.05 * k, 0.0), (0.05 * (k + 1), 0.0)) for k in range(200)]
    orders, codes, chains, _ = run(curves)
    assert orders == [list(range(200))] and codes == [] and chains[0].gaps == ()


def test_specks_are_counted_and_do_not_break_the_run():
    #  a stray mark of 0.05 mm sits in the joint
    curves = [line((0, 0), (100, 0)), line((100.01, 0), (100.06, 0)), line((100.07, 0), (100.07, 50))]
    orders, codes, _, found = run(curves)
    assert orders == [[0, 2]] and sorted(codes) == ["healed-gap", "speck-removed"]
    assert next(f for f in found if f.code == "speck-removed").measured == 1.0


# --- junctions --------------------------------------------------------------------------------------


def test_tee_the_straight_pair_runs_through():
    #        3
    #        |
    #  0-----+-----1
    curves = [line((0, 0), (100, 0)), line((100, 80), (100, 0)), line((200, 0), (100, 0))]
    orders, codes, _, found = run(curves)
    assert orders == [[0, ~2], [1]] and codes == ["junction"]
    assert found[0].measured == 3.0 and "(100.00, 0.00, 0.00)" in found[0].message
    assert "one tangent pair goes through, the other ends there" in found[0].message


def test_tee_of_a_bend_the_smooth_pair_runs_through():
    #  a straight goes into a bend; a brace ends on the joint
    curves = [line((100, -60), (100, 0)), line((0, 0), (100, 0)), arc((100, 50), (100, 0), 90)]
    orders, codes, _, _ = run(curves)
    assert orders == [[0], [1, 2]] and codes == ["junction"]


def test_no_tangent_pair_all_end():
    ends = [(100 * cos(radians(a)), 100 * sin(radians(a))) for a in (0, 100, 220)]
    orders, codes, _, found = run([line((0, 0), e) for e in ends])
    assert orders == [[0], [1], [2]] and codes == ["junction"]
    assert "no two continue tangent, so all end there" in found[0].message


def test_crossing_two_pairs_run_through():
    curves = [line((0, 0), (50, 0)), line((50, 0), (50, 40)), line((50, 0), (90, 0)), line((50, -40), (50, 0))]
    orders, codes, _, found = run(curves)
    assert orders == [[0, 2], [~1, ~3]] and codes == ["junction"]
    assert "2 tangent pairs go through" in found[0].message


@pytest.mark.parametrize(("miss", "through"), [(0.9, True), (1.1, False)])
def test_through_tolerance_is_one_degree(miss, through):
    far = (100 + 100 * cos(radians(miss)), 100 * sin(radians(miss)))
    orders, _, _, _ = run([line((0, 0), (100, 0)), line((100, 0), far), line((100, 0), (100, -50))])
    assert orders == ([[0, 1], [2]] if through else [[0], [1], [2]])


def test_the_smoothest_pair_wins_and_a_tie_is_said():
    slight = (100 + 100 * cos(radians(0.5)), 100 * sin(radians(0.5)))
    orders, _, _, _ = run([line((0, 0), (100, 0)), line((100, 0), slight), line((100, 0), (180, 0))])
    assert orders == [[0, 2], [1]]
    # a bend leaves a straight tangent, exactly at a joint of two straights: the straights run on
    curves = [line((0, 0), (100, 0)), arc((100, 50), (100, 0), 90), line((100, 0), (200, 0))]
    orders, _, _, found = run(curves)
    assert orders == [[0, 2], [1]] and "more than one pairing was tangent" in found[0].message


def test_a_star_of_many_ends_pairs_up_its_diameters():
    # 300 spokes, each with its opposite: above the number of ends that is compared pair by pair
    spokes = [line((0, 0), (100 * cos(pi * k / 150), 100 * sin(pi * k / 150))) for k in range(300)]
    orders, codes, chains, _ = run(spokes, tol=Tolerances(tangent=0.2))
    assert len(chains) == 150 and codes == ["junction"]
    assert all(abs(~a if a < 0 else a) + 150 == b for a, b in orders)


# --- layers ----------------------------------------------------------------------------------------


def sketch(lines="LINES", arcs="ARCS"):
    #  straight, quarter bend, straight, quarter bend (other way), straight
    return [
        line((0, 0), (100, 0), lines),
        arc((100, 50), (100, 0), 90, arcs),
        line((150, 150), (150, 50), lines),
        arc((200, 150), (200, 200), 90, arcs),
        line((200, 200), (300, 200), lines),
    ]


def test_one_sketch_over_two_layers_is_one_run_and_it_is_said():
    curves = sketch()
    orders, codes, chains, found = run(curves)
    assert orders == [[0, 1, ~2, ~3, 4]] and codes == ["joined-across-layers"]
    assert chains[0].layer == "LINES"  # 300 mm of straights, 157 mm of arcs
    assert found[0].measured == 4.0 and "4 times" in found[0].message and "'ARCS'" in found[0].message


def test_layers_kept_separate_on_request():
    orders, codes, _, _ = run(sketch(), across_layers=False)
    assert orders == [[0], [1], [2], [3], [4]] and codes == []


def test_the_layer_of_most_length_names_the_run():
    curves = [line((0, 0), (20, 0), "A"), arc((20, 50), (20, 0), 180, "B")]
    assert chain(curves)[0][0].layer == "B"


def test_layers_come_first_within_a_layer_second():
    #  layer A: a straight and a corner piece; layer B: a bend tangent to the straight at the same node
    curves = [line((0, 0), (100, 0)), line((100, 0), (100, -70)), arc((100, 50), (100, 0), 90, "B")]
    orders, codes, _, _ = run(curves)
    assert orders == [[0, 1], [2]] and codes == []


@pytest.mark.parametrize("axis_first", [True, False])
def test_a_lone_straight_never_lengthens_a_run_of_another_layer(axis_first):
    #  TUBE: straight, bend, straight ending at (150, 150); AXIS: a construction line going on upwards
    tube = [line((0, 0), (100, 0), "TUBE"), arc((100, 50), (100, 0), 90, "TUBE"), line((150, 50), (150, 150), "TUBE")]
    axis = [line((150, 150), (150, 400), "AXIS")]
    curves = axis + tube if axis_first else tube + axis
    orders, codes, _, _ = run(curves)
    assert sorted(map(len, orders)) == [1, 3] and codes == []


def test_lone_straights_split_in_two_are_lone_still():
    curves = [
        line((0, 0), (100, 0), "T"),
        arc((100, 50), (100, 0), 90, "T"),
        line((150, 50), (150, 150), "T"),
        line((150, 150), (150, 200), "AXIS"),
        poly((150, 200), (150, 250), (150, 300), layer="AXIS"),
    ]
    assert run(curves)[0] == [[0, 1, 2], [3, 4]]


def test_two_bent_runs_continue_straight_to_straight_across_layers():
    #  both sides have bends of their own: one tube, drawn on two layers
    curves = [
        arc((0, 50), (0, 0), 90, "A"),
        line((0, 0), (-80, 0), "A"),
        line((-80, 0), (-160, 0), "B"),
        arc((-160, -50), (-160, 0), 90, "B"),
    ]
    orders, codes, _, _ = run(curves)
    assert orders == [[~0, 1, 2, 3]] and codes == ["joined-across-layers"]


def test_no_joint_across_layers_at_a_corner():
    orders, codes, _, _ = run([line((0, 0), (100, 0), "A"), line((100, 0), (100, 50), "B")])
    assert orders == [[0], [1]] and codes == []


def test_two_candidates_on_two_layers_join_nothing():
    #  a straight meets a left and a right bend, each on a layer of its own: nobody can tell
    curves = [line((0, 0), (100, 0), "A"), arc((100, 50), (100, 0), 90, "B"), arc((100, -50), (150, -50), 90, "C")]
    orders, codes, _, _ = run(curves)
    assert orders == [[0], [1], [2]] and codes == []


def test_a_third_layer_that_only_touches_does_not_disturb():
    curves = [line((0, 0), (100, 0), "A"), arc((100, 50), (100, 0), 90, "B"), line((100, 0), (100, -60), "C")]
    assert run(curves)[0] == [[0, 1], [2]]


def test_no_layer_is_a_layer_too():
    curves = [line((0, 0), (100, 0), None), arc((100, 50), (100, 0), 90, "B")]
    orders, codes, chains, _ = run(curves)
    assert orders == [[0, 1]] and codes == ["joined-across-layers"] and chains[0].layer is None


# --- direction and order ---------------------------------------------------------------------------


def test_end_a_is_the_end_nearest_along_the_chain_to_the_first_drawn():
    #  0--1------2--3   first drawn: the piece 2-3, backwards
    curves = [line((30, 0), (25, 5)), line((5, 0), (25, 5)), line((5, 0), (0, 9))]
    assert run(curves)[0] == [[0, ~1, 2]]
    # the first drawn in the middle: 5 mm to its left, 40 mm to its right
    curves = [line((20, 0), (5, 0)), line((5, 0), (5, 5)), line((20, 0), (20, 40))]
    assert run(curves)[0] == [[~1, ~0, 2]]
    curves = [line((20, 0), (5, 0)), line((5, 0), (5, 50)), line((20, 0), (20, 40))]
    assert run(curves)[0] == [[~2, 0, 1]]


def test_first_drawn_exactly_in_the_middle_keeps_its_direction():
    curves = [line((20, 0), (5, 0)), line((5, 0), (5, 40)), line((20, 0), (20, 40))]
    assert run(curves)[0] == [[~2, 0, 1]]


def test_chains_come_in_the_order_of_their_first_drawn():
    a, b = sketch("A", "A"), [line((0, 900), (50, 900)), line((50, 900), (50, 950))]
    curves = [b[1], a[4], a[0], b[0], *a[1:4]]
    _, _, chains, _ = run(curves)
    assert [c.first for c in chains] == [0, 1] and [len(c.items) for c in chains] == [2, 5]


def test_inputs_stay_as_they_are():
    curves = [*sketch(), line((0, 0), (100, 0), "LINES")]
    before = list(curves)
    chain(curves)
    assert all(a is b for a, b in zip(curves, before, strict=True))


@pytest.mark.parametrize("offset", [0.0, 1e7, -1e7])
def test_ten_kilometres_away_gaps_are_still_told_apart(offset):
    o = offset
    curves = [line((o, o), (o + 100, o)), line((o + 100.05, o), (o + 100.05, o + 50))]
    _, codes, chains, _ = run(curves)
    assert codes == ["healed-gap"] and chains[0].gaps == pytest.approx((0.05,), abs=1e-8)
    curves = [line((o, o), (o + 100, o)), line((o + 100.2, o), (o + 100.2, o + 50))]
    assert run(curves)[1] == ["near-gap"]


# --- how curves start and end -------------------------------------------------------------------------


def test_end_directions_of_every_kind():
    up, right = (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)
    quarter = Arc.swept((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (50.0, 0.0, 0.0), 90.0)
    assert end_directions(Line((0.0, 0.0, 0.0), (0.0, 3.0, 0.0))) == (up, up)
    start, end = end_directions(quarter)
    assert start == pytest.approx(up, abs=1e-12) and end == pytest.approx((-1.0, 0.0, 0.0), abs=1e-12)
    start, end = end_directions(Path((Line((0.0, 0.0, 0.0), (50.0, 0.0, 0.0)), quarter)))
    assert start == right and end == pytest.approx((-1.0, 0.0, 0.0), abs=1e-12)
    ellipse = Ellipse((0.0, 0.0, 0.0), (30.0, 0.0, 0.0), (0.0, 10.0, 0.0), 0.0, 90.0)
    start, end = end_directions(ellipse)
    assert start == pytest.approx(up, abs=1e-12) and end == pytest.approx((-1.0, 0.0, 0.0), abs=1e-12)
    corner = Polyline(np.array([[0.0, 0, 0], [10, 0, 0], [10, 90, 0]]))
    assert end_directions(corner) == (right, up)


def test_end_directions_of_a_tessellated_arc_are_those_of_the_arc():
    t = np.radians(np.arange(0.0, 91.0, 6.0))  # the chord alone would be 3 degrees off
    start, end = end_directions(Polyline(np.column_stack((50 * np.cos(t), 50 * np.sin(t), 0 * t))))
    assert start == pytest.approx((0.0, 1.0, 0.0), abs=1e-9) and end == pytest.approx((-1.0, 0.0, 0.0), abs=1e-9)
    # a straight that ends in a corner is not an arc
    assert end_directions(Polyline(np.array([[0.0, 0, 0], [9, 0, 0], [18, 3, 0], [27, 3, 0]])))[0] == (1.0, 0.0, 0.0)


def test_end_directions_of_splines():
    # quarter circle of radius 1 as a rational quadratic, weights 1, sqrt(1/2), 1 (Piegl and Tiller, from memory)
    quarter = Spline(
        2,
        np.array([[1.0, 0, 0], [1, 1, 0], [0, 1, 0]]),
        np.array([0.0, 0, 0, 1, 1, 1]),
        np.array([1.0, 0.5**0.5, 1.0]),
        (1.0, 0.0, 0.0),
        (0.0, 1.0, 0.0),
    )
    start, end = end_directions(quarter)
    assert start == pytest.approx((0.0, 1.0, 0.0), abs=1e-12) and end == pytest.approx((-1.0, 0.0, 0.0), abs=1e-12)
    assert curve_length(quarter) == pytest.approx(pi / 2.0, rel=1e-3)
    # unclamped uniform cubic: C'(u_p) is along P2 - P0, at the other end along P[-1] - P[-3]
    control = np.array([[0.0, 0, 0], [1, 2, 0], [3, 3, 1], [6, 1, 2], [7, 0, 0]])
    ends = [(control[i] + 4 * control[i + 1] + control[i + 2]) / 6 for i in (0, 2)]
    free = Spline(3, control, np.arange(9.0), None, tuple(ends[0].tolist()), tuple(ends[1].tolist()))
    start, end = end_directions(free)
    first, last = control[2] - control[0], control[4] - control[2]
    assert start == pytest.approx(tuple(first / np.linalg.norm(first)), abs=1e-12)
    assert end == pytest.approx(tuple(last / np.linalg.norm(last)), abs=1e-12)
    # doubled first control point: the derivative vanishes, the curve still leaves towards the third
    stuck = Spline(
        2,
        np.array([[0.0, 0, 0], [0, 0, 0], [5, 0, 0], [5, 5, 0]]),
        np.array([0.0, 0, 0, 1, 2, 2, 2]),
        None,
        (0.0, 0.0, 0.0),
        (5.0, 5.0, 0.0),
    )
    start, end = end_directions(stuck)
    assert start == pytest.approx((1.0, 0.0, 0.0), abs=1e-3) and end == pytest.approx((0.0, 1.0, 0.0), abs=1e-12)
    # degree one: a straight
    straight = Spline(
        1, np.array([[0.0, 0, 0], [0, 4, 0]]), np.array([0.0, 0, 1, 1]), None, (0.0, 0.0, 0.0), (0.0, 4.0, 0.0)
    )
    assert end_directions(straight) == ((0.0, 1.0, 0.0), (0.0, 1.0, 0.0))
    assert is_straight(straight, 1e-6) and not is_straight(quarter, 1e-3)


# --- corners on another curve ------------------------------------------------------------------------


def test_two_ends_that_meet_on_a_post_end_there():
    """A rail and a brace land at one place of a post drawn in one piece: three tubes, no bend inside the post."""
    curves = [line((0, 0, 0), (0, 0, 800)), line((0, 0, 300), (900, 0, 300)), line((0, 0, 300), (500, 0, 800))]
    orders, codes, _, found = run(curves)
    assert orders == [[0], [1], [2]] and codes == ["junction"]
    assert found[0].at == pytest.approx((0, 0, 300)) and "on another line" in found[0].message


def test_a_corner_stays_a_corner_off_a_curve_and_on_another_layer():
    corner = [line((900, 0, 300), (0, 0, 300)), line((0, 0, 300), (500, 0, 800))]
    assert run([line((0, 0.2, 0), (0, 0.2, 800)), *corner])[0] == [[0], [1, 2]]
    assert run([line((0, 0, 300.2), (0, 0, 800)), *corner])[0] == [[0], [1, 2]]
    orders, codes, _, _ = run([line((0, 0, 0), (0, 0, 800), "axes"), *corner])
    assert orders == [[0], [1, 2]] and codes == []


def test_two_ends_in_line_run_through_a_post():
    """Drawn in two pieces, but straight on: the tangent pair goes through, as at any junction."""
    curves = [line((0, 0, 0), (0, 0, 800)), line((-400, 0, 300), (0, 0, 300)), line((0, 0, 300), (900, 0, 300))]
    orders, codes, _, _ = run(curves)
    assert orders == [[0], [1, 2]] and codes == []


@pytest.mark.parametrize(("sweep", "tubes"), [(90, 3), (40, 2)])
def test_a_corner_on_a_bend(sweep, tubes):
    """The corner lies at 45 degrees of the circle: on the arc, or past its end."""
    c = 100.0 * cos(radians(45.0))
    curves = [arc((0, 0), (100, 0), sweep), line((c, c, 0), (c, c, 300)), line((c, c, 0), (300, c, 200))]
    orders, codes, _, _ = run(curves)
    assert len(orders) == tubes and codes == ["junction"] * (tubes - 2)


def test_corners_on_a_polyline_many_at_once():
    """A pair of braces on every field of a long rail that is one polyline; each of them ends there."""
    curves = [poly(*((100.0 * i, 0.0) for i in range(41)))]
    for i in range(40):
        x = 100.0 * i + 50.0
        curves += [line((x, 0), (x - 30, 200 + i)), line((x, 0), (x + 30, 210 + i))]
    orders, codes, _, _ = run(curves)
    assert len(orders) == 81 and set(codes) == {"junction"}


# --- lines that were not trimmed to an arc ----------------------------------------------------

#: A quarter turn of radius 50 from (100, 0) to (150, 50).
FILLET = arc((100, 50), (100, 0), 90)


@pytest.mark.parametrize(
    ("curves", "ends"),
    [
        # both lines run on to the corner
        ([line((0, 0), (150, 0)), line((150, 0), (150, 200)), FILLET], 2),
        ([line((0, 0), (150, 0)), line((150, 50), (150, 200)), FILLET], 1),  # one was trimmed
        ([poly((0, 0), (150, 0), (150, 200)), FILLET], 2),
        # split where the arc begins, the corner left over
        ([line(*leg) for leg in pairwise([(0, 0), (100, 0), (150, 0), (150, 50), (150, 200)])] + [FILLET], 2),
        ([line((0, 0), (100, 0)), line((0, 90), (50, 50)), arc((100, 50), (150, 50), 360)], 1),  # a whole circle
        ([line((0, 0), (150, 0)), arc((100, 100), (100, 0), 90), arc((100, 60), (100, 0), 90)], 2),  # two radii
    ],
)  # fmt: skip
def test_lines_not_trimmed_to_an_arc_are_told(curves, ends):
    """An end that runs along into a curve which goes on past it: counted, with the first place."""
    _, codes, _, found = run(curves)
    assert codes.count("untrimmed") == 1
    told = next(finding for finding in found if finding.code == "untrimmed")
    assert (told.severity, told.measured) == ("warning", ends) and len(told.also) == ends - 1
    assert told.at == pytest.approx((100.0, 0.0, 0.0))


@pytest.mark.parametrize(
    "curves",
    [
        [line((0, 0), (100, 0)), FILLET, line((150, 50), (150, 200))],  # trimmed
        [line((0, 0), (300, 0)), line((150, 0), (150, 200))],  # a post on a rail
        [line((0, 0), (300, 0)), arc((150, 50), (200, 0), 90)],  # a bent brace lands on a rail at 45 degrees
        [line((0, 0), (200, 0)), line((100, 0), (300, 0))],  # drawn twice over a part
        [line((100, 50), (100, 300)), arc((100, 0), (150, 0), 360)],  # a ball on a post
    ],
)
def test_ends_that_land_at_an_angle_or_go_on_are_not_untrimmed(curves):
    assert "untrimmed" not in {finding.code for finding in chain(curves)[1]}


@pytest.mark.parametrize(("miss", "told"), [(0.99, True), (1.01, False)])
def test_up_to_a_degree_counts_as_along(miss, told):
    """The same degree that a tube runs through a junction with."""
    a = radians(270 + miss)
    start = (100 + 50 * cos(a), 50 + 50 * sin(a))
    curves = [line((0, start[1]), (300, start[1])), arc((100, 50), start, 60)]
    assert ("untrimmed" in run(curves)[1]) == told


@pytest.mark.parametrize(
    ("lines", "gaps"),
    [
        ([((0, 0), (400, 0)), ((405, 0), (900, 0))], [5.0]),
        ([((400, 0), (0, 0)), ((900, 0), (405, 0))], [5.0]),
        ([((0, 0), (400, 0)), ((405, 0.05), (900, 0.05))], [5.00025]),
        ([((0, 0), (400, 0)), ((411, 0), (900, 0))], []),  # farther
        ([((0, 0), (400, 0)), ((405, 3), (900, 3))], []),  # beside each other
        ([((0, 0), (400, 0)), ((405, 0), (405, 500))], []),  # at a corner
        ([((0, 0), (400, 0)), ((408, 0), (900, 0)), ((404, -300), (404, 300))], []),  # a rail between two pickets
        ([((0, 0), (400, 0)), ((405, 0), (440, 0))], []),  # one is short
        ([((0, 0), (400, 0)), ((395, 0), (-300, 0))], []),  # past each other
    ],
)
def test_a_gap_in_a_line_is_named_a_few_times_as_far(lines, gaps):
    """A gap of 3 mm between a straight and its bend was two tubes without a word."""
    curves = [DrawnCurve(Line((*map(float, a), 0.0), (*map(float, b), 0.0)), layer="T") for a, b in lines]
    _, found = chain(curves)
    assert [f.measured for f in found if f.code == "near-gap"] == pytest.approx(gaps, abs=1e-6)


def test_a_gap_between_a_straight_and_its_bend_is_named():
    arc = Arc.swept((440.0, 60.0, 0.0), (0.0, 0.0, 1.0), (440.0, 0.0, 0.0), 90.0)
    curves = [DrawnCurve(Line((0.0, 0.0, 0.0), (437.0, 0.0, 0.0)), layer="T"), DrawnCurve(arc, layer="T")]
    (found,) = chain(curves)[1]
    assert (found.code, found.measured) == ("near-gap", pytest.approx(3.0))
