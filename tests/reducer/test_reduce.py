"""Whole drawings to runs: any order, any direction, any splitting; loops, kinks, gaps, names."""

from __future__ import annotations

import random
from math import cos, pi, radians, sin

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import placements, tables

from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Line, Path, Polyline
from converter.model.drawing import Drawing, DrawnCurve, ReadyTable
from converter.model.run import reverse_run
from converter.reducer import reduce_drawing
from converter.reducer.chaining.chain import chain
from converter.reducer.exact import exact_runs
from converter.reducer.general import reduce_chain
from converter.tolerances import DEFAULT, Tolerances


def drawing_of(*curves, layer="L"):
    return Drawing("test", curves=[DrawnCurve(c, layer, f"{k:X}") for k, c in enumerate(curves)])


def one_run(*curves, tol=DEFAULT):
    runs, found = reduce_drawing(drawing_of(*curves), tol)
    assert len(runs) == 1, [r.name for r in runs]
    return runs[0], found


def pieces_at_random(segments, seed):
    """The segments split, turned round and shuffled."""
    rng = random.Random(seed)
    out = []
    for s in segments:
        parts = [s]
        if rng.random() < 0.3:
            if isinstance(s, Line):
                middle = tuple(a + (b - a) * 0.4 for a, b in zip(s.start, s.end, strict=True))
                parts = [Line(s.start, middle), Line(middle, s.end)]
            else:
                first = Arc.swept(s.center, s.normal, s.start, s.angle / 3)
                parts = [first, Arc(s.center, s.normal, s.radius, first.end, s.end, s.angle * 2 / 3)]
        out += [p.reversed() if rng.random() < 0.5 else p for p in parts]
    rng.shuffle(out)
    return out


def self_touching(segments):
    """Whether two joints of the tube meet in space, so that the drawing alone cannot tell the runs apart."""
    ends = [s.start for s in segments] + [segments[-1].end]
    points = np.array(ends)
    apart = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2)) + 10 * np.eye(len(points))
    return apart.min() < 2.5


@pytest.mark.slow
@given(tables(shortest=2.6), placements(), st.integers(0, 2**32))
@settings(max_examples=60)
def test_shuffled_reversed_and_split_entities_give_the_table_back(table, placement, seed):
    segments = rebuild(table, placement)
    assume(not self_touching(segments))
    run, found = one_run(*pieces_at_random(segments, seed))
    assert not found
    if sum(abs(a - b) for a, b in zip(run.start, placement.start, strict=True)) > 1e-3:
        run = reverse_run(run)
    assert run.start == pytest.approx(placement.start, abs=1e-6)
    assert len(run.table.bends) == len(table.bends)
    assert run.table.straights == pytest.approx(table.straights, abs=1e-6)
    for got, want in zip(run.table.bends, table.bends, strict=True):
        assert (got.rotation - want.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)
        assert (got.angle, got.clr) == (pytest.approx(want.angle, abs=1e-6), pytest.approx(want.clr, abs=1e-6))
        assert got.clr_uncertainty == 0.0
    assert run.deviation <= 1e-6


@pytest.mark.slow
@given(tables(most=15, shortest=2.6), placements(far=1e6))
@settings(max_examples=50)
def test_the_fast_lane_and_the_general_way_agree(table, placement):
    segments = rebuild(table, placement)
    assume(not self_touching(segments))
    drawn = drawing_of(*segments).curves
    (one,), _ = chain(drawn)
    (quick,) = exact_runs([one], DEFAULT)
    slow = reduce_chain(one, "L")
    assert quick is not None
    assert quick.table.straights == pytest.approx(slow.table.straights, abs=1e-7)
    for a, b in zip(quick.table.bends, slow.table.bends, strict=True):
        assert (a.rotation - b.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-7)
        assert (a.angle, a.clr, a.handle, a.layer) == (
            pytest.approx(b.angle, abs=1e-8),
            pytest.approx(b.clr),
            b.handle,
            b.layer,
        )
    assert quick.end == pytest.approx(slow.end, abs=1e-6)
    assert quick.placement.normal == pytest.approx(slow.placement.normal, abs=1e-7)


def zigzag(*turns, length=60.0):
    """Lines that turn by so many degrees to the left and to the right in turn."""
    x, y, heading = 0.0, 0.0, 0.0
    lines = []
    for k, turn in enumerate((*turns, 0.0)):
        ahead = (x + length * cos(radians(heading)), y + length * sin(radians(heading)), 0.0)
        lines.append(Line((x, y, 0.0), ahead))
        x, y = ahead[0], ahead[1]
        heading += turn if k % 2 else -turn
    return lines


def quick_table(*turns, length=60.0):
    """The table of the fast lane, or None, and that of the general way."""
    (one,), _ = chain(drawing_of(*zigzag(*turns, length=length)).curves)
    (quick,) = exact_runs([one], DEFAULT)
    return quick and quick.table, reduce_chain(one, "L").table


@pytest.mark.parametrize("turns", [(30.0,), (5.0, 90.0, 12.0), (45.0, 2.0, 45.0, 30.9), (60.0, 15.0, 31.5)])
def test_a_slight_corner_between_others_that_are_not_needs_no_fitting(turns):
    quick, slow = quick_table(*turns)
    assert quick is not None
    assert quick.straights == pytest.approx(slow.straights, abs=1e-9)
    assert [b.angle for b in quick.bends] == pytest.approx([b.angle for b in slow.bends], abs=1e-9)
    assert all(a.clr is None and a.corner for a in (*quick.bends, *slow.bends))


@pytest.mark.parametrize(
    ("turns", "length"), [((10.0, 10.0), 60.0), ((90.0, 8.0, 16.0, 8.0), 60.0), ((0.3, 90.0), 60.0), ((20.0,), 0.9)]
)
def test_slight_corners_that_may_be_chords_or_noise_are_fitted(turns, length):
    assert quick_table(*turns, length=length)[0] is None


@pytest.mark.slow
@given(
    st.lists(st.floats(0.3, 31.0) | st.floats(31.0, 150.0), min_size=1, max_size=6),
    st.floats(1.0, 400.0),
)
@settings(max_examples=80)
def test_the_two_ways_agree_on_chains_with_slight_corners(turns, length):
    (one,), _ = chain(drawing_of(*zigzag(*turns, length=length)).curves)
    (quick,) = exact_runs([one], DEFAULT)
    assume(quick is not None)
    slow = reduce_chain(one, "L")
    assert not slow.findings
    assert quick.table.straights == pytest.approx(slow.table.straights, abs=1e-7)
    assert [b.angle for b in quick.table.bends] == pytest.approx([b.angle for b in slow.table.bends], abs=1e-7)


def test_a_drawing_ten_kilometres_out_keeps_its_digits():
    x, y = 1e7, -1e7
    run, _ = one_run(
        Line((x, y, 0), (x + 123.456, y, 0)),
        Arc.swept((x + 123.456, y + 50, 0), (0, 0, 1), (x + 123.456, y, 0), 37.5),
    )
    assert run.table.bends[0].feed == pytest.approx(123.456, abs=1e-8)
    assert run.table.bends[0].angle == pytest.approx(37.5, abs=1e-8)


# --- end A ---------------------------------------------------------------------------------


def elbow(first_length=100.0, second_length=60.0):
    return (
        Line((0, 0, 0), (first_length, 0, 0)),
        Arc.swept((first_length, 40, 0), (0, 0, 1), (first_length, 0, 0), 90),
        Line((first_length + 40, 40, 0), (first_length + 40, 40 + second_length, 0)),
    )


def test_end_a_is_the_end_drawn_first():
    a, b, c = elbow()
    assert one_run(a, b, c)[0].table.straights == pytest.approx((100, 60))
    assert one_run(c, b, a)[0].table.straights == pytest.approx((60, 100))
    assert one_run(c.reversed(), a.reversed(), b)[0].start == pytest.approx((140, 100, 0))


def test_a_lone_straight_is_a_run_without_bends():
    run, _ = one_run(Line((1, 2, 3), (1, 2, 50)))
    assert run.table == BendTable((), 47.0)
    assert (run.start, run.end) == ((1, 2, 3), (1, 2, 50))


# --- joints --------------------------------------------------------------------------------


def test_a_joint_that_misses_tangency_a_little_is_smoothed_and_said():
    """The straight keeps its direction, the bend takes up the 0.115 degrees."""
    start = (100, 50 - (2500 - 0.01) ** 0.5, 0)  # on a circle whose centre stands 0.1 mm short
    run, _ = one_run(Line((0, 0, 0), (100, 0, 0)), Arc.swept((99.9, 50, 0), (0, 0, 1), start, 60))
    (bend,) = run.table.bends
    assert bend.angle == pytest.approx(60 + np.degrees(np.arcsin(0.1 / 50)), abs=1e-3)
    assert bend.clr == pytest.approx(50.0)
    (note,) = run.findings
    assert (note.code, note.severity) == ("near-tangent", "note")
    assert note.measured == pytest.approx(np.degrees(np.arcsin(0.1 / 50)), abs=1e-3)
    assert run.deviation < 1e-3


def test_a_kink_is_an_error_that_names_the_bend():
    tilt = radians(5)
    start = (100.0, 0.0, 0.0)
    center = (100 - 50 * sin(tilt), 50 * cos(tilt), 0)
    run, _ = one_run(Line((0, 0, 0), start), Arc.swept(center, (0, 0, 1), start, 60))
    (finding,) = [f for f in run.findings if f.code == "kink"]
    assert finding.severity == "error"
    assert finding.measured == pytest.approx(5.0)
    assert (finding.bend, run.table.bends[0].clr, run.table.bends[0].corner) == (1, None, False)
    assert run.table.bends[1].angle == pytest.approx(60)
    assert run.deviation < 1e-9


def test_gaps_heal_without_bending_the_straights():
    """A short end and a sideways slip of 0.05 mm: directions as drawn, the bend's radius untouched."""
    run, found = one_run(
        Line((0, 0, 0), (99.95, 0, 0)),
        Arc.swept((100, 50, 0), (0, 0, 1), (100, 0, 0), 90),
        Line((150, 50.03, 0), (150, 100, 0)),
    )
    assert [f.code for f in found] == ["healed-gap"]
    assert found[0].measured == pytest.approx(0.05)
    assert run.table.straights == pytest.approx((100, 50), abs=1e-9)
    assert (run.table.bends[0].angle, run.table.bends[0].clr) == (pytest.approx(90), 50.0)


def test_a_corner_with_a_gap_is_where_its_straights_would_meet():
    run, _ = one_run(Line((0, 0, 0), (99.95, 0, 0)), Line((100, 0.05, 0), (100, 100, 0)))
    assert run.table.straights == pytest.approx((100, 100))
    assert run.table.bends[0].angle == pytest.approx(90)


def test_doubling_back_is_an_error():
    run, _ = one_run(Polyline(np.array([(0, 0, 0), (100, 0, 0), (40, 0, 0)], float)))
    (finding,) = run.findings
    assert (finding.code, finding.severity, finding.bend) == ("fold-back", "error", 1)


def test_rounded_coordinates_settle_on_one_tube():
    """A drawing rounded to 0.001 mm: the settled tube lies within the rounding of every drawn point."""
    table = BendTable((Bend(220, 0, 35, 88.9), Bend(70, 120, 110, 88.9), Bend(0, -90, 60, 88.9)), 150)
    place = Placement((12.3456, 7.89, 3.21), (0.36, 0.48, 0.8), (0.8, -0.6, 0.0))
    rounded = []
    for s in rebuild(table, place):

        def r(p):
            return tuple(round(v, 3) for v in p)

        if isinstance(s, Line):
            rounded.append(Line(r(s.start), r(s.end)))
        else:
            rounded.append(Arc(r(s.center), s.normal, round(s.radius, 3), r(s.start), r(s.end), round(s.angle, 4)))
    run, _ = one_run(*rounded)
    assert run.deviation < 0.0015
    assert run.table.straights == pytest.approx(table.straights, abs=0.004)
    assert [b.angle for b in run.table.bends] == pytest.approx([35, 110, 60], abs=0.002)
    assert [b.rotation for b in run.table.bends] == pytest.approx([0, 120, -90], abs=0.005)


# --- merging -------------------------------------------------------------------------------


def test_collinear_straights_and_split_arcs_merge():
    run, _ = one_run(
        Line((0, 0, 0), (30, 0, 0)),
        Line((30, 0, 0), (100, 0, 0)),
        Arc.swept((100, 40, 0), (0, 0, 1), (100, 0, 0), 20),
        Arc.swept((100, 40, 0), (0, 0, -1), (140, 40, 0), 70),
    )
    (bend,) = run.table.bends
    assert (bend.feed, bend.angle, bend.clr) == (pytest.approx(100), pytest.approx(90), pytest.approx(40))


def test_two_radii_in_one_plane_stay_two_bends():
    first = Arc.swept((0, 40, 0), (0, 0, 1), (0, 0, 0), 45)
    second_center = tuple(c + (e - c) * -0.5 for c, e in zip(first.center, first.end, strict=True))
    second = Arc.swept(second_center, (0, 0, 1), first.end, 45)
    run, _ = one_run(first, second)
    assert [(b.angle, b.clr) for b in run.table.bends] == [
        (pytest.approx(45), pytest.approx(40)),
        (pytest.approx(45), pytest.approx(60)),
    ]


# --- loops ---------------------------------------------------------------------------------


def test_a_closed_frame_starts_in_the_middle_of_its_longest_straight():
    run, _ = one_run(Polyline(np.array([(0, 0, 0), (400, 0, 0), (400, 200, 0), (0, 200, 0), (0, 0, 0)], float)))
    assert run.closed
    assert run.start == pytest.approx((200, 0, 0))
    assert run.end == pytest.approx((200, 0, 0))
    assert run.table.straights == pytest.approx((200, 200, 400, 200, 200))


def test_a_circle_is_two_half_turns_of_the_same_length():
    run, _ = one_run(Arc.swept((5, 6, 7), (0, 1, 0), (55, 6, 7), 360))
    assert run.closed
    assert [b.angle for b in run.table.bends] == [180.0, 180.0]
    assert run.table.developed_length == pytest.approx(2 * pi * 50)


def test_a_racetrack_of_bulges_is_one_closed_run():
    path = Path(
        (
            Line((0, 0, 0), (200, 0, 0)),
            Arc.swept((200, 50, 0), (0, 0, 1), (200, 0, 0), 180),
            Line((200, 100, 0), (0, 100, 0)),
            Arc.swept((0, 50, 0), (0, 0, 1), (0, 100, 0), 180),
        )
    )
    run, _ = one_run(path)
    assert run.closed
    assert run.table.straights == pytest.approx((100, 200, 100))


# --- names and tables ----------------------------------------------------------------------


def test_runs_are_called_after_their_layer_or_their_own_name():
    drawing = Drawing("names")
    for k, (layer, name) in enumerate([("rail", None), ("0", None), ("rail", None), (None, None), ("x", "strut")]):
        drawing.curves.append(DrawnCurve(Line((0, 100 * k, 0), (50, 100 * k, 0)), layer, str(k), name))
    runs, _ = reduce_drawing(drawing)
    assert [r.name for r in runs] == ["rail-1", "tube-1", "rail-2", "tube-2", "strut"]


def test_names_never_repeat_even_when_a_layer_looks_numbered():
    drawing = Drawing("names")
    for k, layer in enumerate(["rail-1", "rail", "rail"]):
        drawing.curves.append(DrawnCurve(Line((0, 100 * k, 0), (50, 100 * k, 0)), layer))
    runs, _ = reduce_drawing(drawing)
    assert [r.name for r in runs] == ["rail-1", "rail-2", "rail-3"]


def test_ready_tables_pass_through():
    table = BendTable((Bend(10, 0, 90, 20),), 5)
    drawing = Drawing("csv", tables=[ReadyTable("post", table)])
    (run,), _ = reduce_drawing(drawing)
    assert (run.name, run.table, run.start) == ("post", table, (0, 0, 0))


def test_an_empty_drawing_has_no_runs():
    assert reduce_drawing(Drawing("empty")) == ([], [])


def test_layers_can_be_kept_apart():
    a, b, c = elbow()
    drawing = Drawing("two layers", curves=[DrawnCurve(a, "lines"), DrawnCurve(b, "arcs"), DrawnCurve(c, "lines")])
    assert len(reduce_drawing(drawing)[0]) == 1
    assert len(reduce_drawing(drawing, across_layers=False)[0]) == 3


def test_a_wider_join_tolerance_joins_more():
    gap = (Line((0, 0, 0), (100, 0, 0)), Line((100.5, 0, 0), (200, 0, 0)))
    runs, found = reduce_drawing(drawing_of(*gap))
    assert (len(runs), [f.code for f in found]) == (2, ["near-gap"])
    run, _ = one_run(*gap, tol=Tolerances(join=0.6))
    assert run.table == BendTable((), 200.0)
