"""Curves drawn twice or lying on one another: what drops out, what stays. Expectations worked by hand."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, sin

import numpy as np
import pytest
from drawn_curves import line

from converter.model.curve import Arc, Ellipse, Line, Path, Polyline, Spline
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.chain import chain
from converter.reducer.chaining.ends import curve_length

Z = (0.0, 0.0, 1.0)


def on_circle(begin, angle, layer="A", r=50.0, flip=False, center=(0.0, 0.0, 0.0)):
    t = begin * pi / 180.0
    start = (center[0] + r * cos(t), center[1] + r * sin(t), center[2])
    a = Arc.swept(center, Z, start, float(angle))
    return DrawnCurve(a.reversed() if flip else a, layer)


def lengths(chains):
    return [round(sum(curve_length(d.curve) for d, _ in c.items), 6) for c in chains]


def lost(found):
    return [f for f in found if f.code == "duplicate-removed"]


# --- twins ---------------------------------------------------------------------------------------


def spline(back=False):
    control = np.array([[0.0, 0, 0], [40, 0, 0], [40, 40, 10], [80, 40, 10]])
    s = Spline(3, control, np.array([0.0, 0, 0, 0, 1, 1, 1, 1]), None, (0.0, 0.0, 0.0), (80.0, 40.0, 10.0))
    return s.reversed() if back else s


POINTS = np.array([[0.0, 0, 0], [50, 0, 0], [50, 30, 0], [90, 30, 20]])
KINDS = {
    "line": Line((0.0, 0.0, 0.0), (70.0, 10.0, 5.0)),
    "arc": Arc.swept((0.0, 0.0, 0.0), Z, (50.0, 0.0, 0.0), 200.0),
    "circle": Arc.swept((0.0, 0.0, 0.0), Z, (50.0, 0.0, 0.0), 360.0),
    "polyline": Polyline(POINTS),
    "spline": spline(),
    "ellipse": Ellipse((0.0, 0.0, 0.0), (30.0, 0.0, 0.0), (0.0, 10.0, 0.0), 20.0, 200.0),
    "path": Path(
        (
            Line((0.0, 50.0, 0.0), (50.0, 50.0, 0.0)),
            Arc.swept((50.0, 0.0, 0.0), (0.0, 0.0, -1.0), (50.0, 50.0, 0.0), 90.0),
        )
    ),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("back", [False, True])
def test_every_kind_drawn_twice_is_one(kind, back):
    curve = KINDS[kind]
    first = DrawnCurve(curve, "A", "1")
    again = DrawnCurve(curve.reversed() if back else curve, "A", "2")
    chains, found = chain([first, again, again])
    assert [c.items for c in chains] == [((first, False),)]
    assert [f.code for f in found] == ["duplicate-removed"]
    assert found[0].measured == pytest.approx(2.0 * curve_length(curve), rel=1e-9)
    assert found[0].message.startswith("2 curves")


def test_a_run_drawn_twice_and_reversed_is_one_run():
    once = [line((0, 0), (100, 0)), DrawnCurve(Arc.swept((100.0, 50.0, 0.0), Z, (100.0, 0.0, 0.0), 90.0), "A")]
    once.append(line((150, 50), (150, 120)))
    twice = [*once, *(DrawnCurve(d.curve.reversed(), "A") for d in reversed(once))]
    chains, found = chain(twice)
    assert [tuple(d for d, _ in c.items) for c in chains] == [tuple(once)]
    assert len(lost(found)) == 1 and found[0].measured == pytest.approx(170.0 + 50.0 * pi / 2.0)


def test_copies_a_hair_apart_are_one():
    chains, found = chain([line((0, 0), (100, 0)), line((0.03, 0.05), (99.98, 0.04))])
    assert len(chains) == 1 and len(lost(found)) == 1


def test_circles_drawn_from_other_starting_points_are_one():
    chains, found = chain([on_circle(0, 360), on_circle(77, 360), on_circle(200, 360, flip=True)])
    assert len(chains) == 1 and chains[0].closed and chains[0].first == 0
    assert lost(found)[0].measured == pytest.approx(2.0 * 2.0 * pi * 50.0)


def test_a_closed_polyline_from_another_corner_is_one():
    ring = POINTS.tolist()
    one = Polyline(np.array([*ring, ring[0]]))
    other = Polyline(np.array([ring[2], ring[1], ring[0], ring[3], ring[2]]))
    chains, found = chain([DrawnCurve(one, "A"), DrawnCurve(other, "A")])
    assert len(chains) == 1 and chains[0].closed and len(lost(found)) == 1


def test_different_curves_between_the_same_ends_stay():
    #  a straight, the bulge above and the bulge below
    curves = [line((0, 0), (100, 0)), *(DrawnCurve(a, "B") for a in (
        Arc.swept((50.0, 0.0, 0.0), Z, (100.0, 0.0, 0.0), 180.0),
        Arc.swept((50.0, 0.0, 0.0), (0.0, 0.0, -1.0), (100.0, 0.0, 0.0), 180.0),
    ))]  # fmt: skip
    chains, found = chain(curves)
    assert sorted(len(c.items) for c in chains) == [1, 2] and not lost(found)


# --- straights on one line -----------------------------------------------------------------------


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("turn", [0.0, 0.7, 2.9])
def test_partial_overlap_becomes_the_union(flip, turn):
    #  0==========100        drawn first
    #        60========150
    def at(s):
        return (10 + s * cos(turn), 20 + s * sin(turn), 0.3 * s)

    second = line(at(150), at(60)) if flip else line(at(60), at(150))
    chains, found = chain([line(at(0), at(100), handle="1F"), second])
    assert len(chains) == 1 and len(chains[0].items) == 1
    drawn, back = chains[0].items[0]
    assert drawn.handle == "1F" and not back
    assert drawn.curve.start == pytest.approx(at(0)) and drawn.curve.end == pytest.approx(at(150))
    scale = (1.0 + 0.09) ** 0.5
    assert [f.code for f in found] == ["duplicate-removed"] and found[0].measured == pytest.approx(40.0 * scale)


def test_a_union_stays_in_the_group_of_its_lines():
    """Curves of different groups never join, so a union without one would end its tube there."""
    curves = [line((0, 0), (100, 0)), line((60, 0), (150, 0)), line((150, 0), (150, 80))]
    chains, _ = chain([replace(drawn, group="rail") for drawn in curves])
    assert lengths(chains) == [230.0]


def test_contained_straights_drop_out_whoever_was_first():
    for curves in ([line((0, 0), (100, 0)), line((20, 0), (50, 0))], [line((20, 0), (50, 0)), line((0, 0), (100, 0))]):
        chains, found = chain(curves)
        assert lengths(chains) == [100.0] and chains[0].first == curves.index(max(curves, key=lambda d: d.curve.length))
        assert len(chains[0].items) == 1 and lost(found)[0].measured == pytest.approx(30.0)


def test_touching_pieces_stay_pieces():
    curves = [line((0, 0), (100, 0)), line((100, 0), (150, 0))]
    chains, found = chain(curves)
    assert [tuple(d for d, _ in c.items) for c in chains] == [tuple(curves)] and not found


def test_parallel_neighbours_and_crossings_are_left_alone():
    curves = [line((0, 0.5 * k), (100 + k, 0.5 * k)) for k in range(20)] + [line((50, -5), (50, 40))]
    chains, found = chain(curves)
    assert len(chains) == 21 and not lost(found)


def test_many_straights_on_one_line():
    #  steps of 10, each 12 long: one straight of 1002; a second row of pieces 5 mm beside it
    row = [line((10 * k, 0), (10 * k + 12, 0)) for k in range(100)]
    beside = [line((10 * k, 5), (10 * k + 9, 5)) for k in range(100)]
    chains, found = chain([*row, *beside])
    assert lengths(chains) == [1002.0] + [9.0] * 100
    assert lost(found)[0].measured == pytest.approx(99 * 2.0)


def test_the_union_is_cut_where_another_curve_attaches():
    #  0-----60=====100-----140     a branch stands on 100, the end of the first-drawn
    curves = [line((0, 0), (100, 0)), line((60, 0), (140, 0)), line((100, 0), (100, 70))]
    chains, found = chain(curves)
    assert lengths(chains) == [140.0, 70.0] and len(chains[0].items) == 2
    assert [f.code for f in found] == ["duplicate-removed", "junction"]


def test_a_bend_keeps_its_straight_when_a_longer_line_lies_over_it():
    #  a run: straight from 40 to 100, bend. Over it lies a line from 40 to 100 again, drawn as 40..80 and 70..100
    bend = DrawnCurve(Arc.swept((100.0, 50.0, 0.0), Z, (100.0, 0.0, 0.0), 90.0), "A")
    curves = [line((40, 0), (100, 0)), bend, line((40, 0), (80, 0)), line((70, 0), (100, 0))]
    chains, _ = chain(curves)
    assert [tuple(d for d, _ in c.items) for c in chains] == [(curves[0], bend)]


def test_overlap_far_from_the_origin():
    o = 1e7
    chains, found = chain([line((o, o, o), (o + 100, o + 40, o)), line((o + 50, o + 20, o), (o + 150, o + 60, o))])
    assert lengths(chains) == pytest.approx([(150.0**2 + 60.0**2) ** 0.5], abs=1e-6) and len(lost(found)) == 1


# --- arcs on one circle -----------------------------------------------------------------------------


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("turn", [0, 100, 200, 290, 350])
def test_overlapping_arcs_become_their_union(flip, turn):
    chains, found = chain([on_circle(turn, 60), on_circle(turn + 40, 50, flip=flip)])
    assert len(chains) == 1
    curve = chains[0].items[0][0].curve
    assert curve.angle == pytest.approx(90.0) and curve.radius == 50.0
    want = on_circle(turn, 90).curve
    assert curve.start == pytest.approx(want.start, abs=1e-9) and curve.end == pytest.approx(want.end, abs=1e-9)
    assert lost(found)[0].measured == pytest.approx(50.0 * 10.0 * 2.0 * pi / 360.0 * 2.0)


def test_contained_arcs_drop_out():
    for curves in ([on_circle(10, 100), on_circle(30, 20)], [on_circle(30, 20, flip=True), on_circle(10, 100)]):
        chains, found = chain(curves)
        assert [c.items[0][0].curve.angle for c in chains] == [100.0] and len(lost(found)) == 1


def test_an_arc_split_in_two_is_two_edges_of_one_chain():
    curves = [on_circle(10, 40), on_circle(50, 30)]
    chains, found = chain(curves)
    assert [len(c.items) for c in chains] == [2] and not found


def test_arcs_that_lie_on_a_full_circle_drop_out():
    chains, found = chain([on_circle(30, 80), on_circle(0, 360), on_circle(300, 100)])
    assert len(chains) == 1 and chains[0].closed and chains[0].items[0][0].curve.angle == 360.0
    assert lost(found)[0].measured == pytest.approx(pi * 50.0)


def test_arcs_that_together_go_all_round_are_a_ring():
    chains, _ = chain([on_circle(0, 150), on_circle(120, 150), on_circle(240, 150)])
    assert [c.closed for c in chains] == [True] and lengths(chains) == pytest.approx([100.0 * pi])


def test_concentric_arcs_and_tilted_circles_are_left_alone():
    tilted = Arc.swept((0.0, 0.0, 0.0), (0.0, 0.6, 0.8), (50.0, 0.0, 0.0), 100.0)
    curves = [on_circle(0, 90), on_circle(0, 90, r=52.0), DrawnCurve(tilted, "A")]
    chains, found = chain(curves)
    assert sum(len(c.items) for c in chains) == 3 and not lost(found)


# --- inside polylines and paths ------------------------------------------------------------------------


def test_a_line_on_a_segment_of_a_polyline_drops_out():
    poly = DrawnCurve(Polyline(POINTS), "A")
    chains, found = chain([line((10, 0), (40, 0)), poly, line((50, 30), (90, 30, 20))])
    assert [c.items for c in chains] == [((poly, False),)] and lost(found)[0].message.startswith("2 curves")


def test_a_run_drawn_as_pieces_over_a_path_drops_out():
    path = KINDS["path"]
    pieces = [DrawnCurve(part, "A") for part in path.parts]
    chains, found = chain([*pieces, DrawnCurve(path, "A")])
    assert len(chains) == 1 and isinstance(chains[0].items[0][0].curve, Path) and len(lost(found)) == 1


def test_a_line_that_sticks_out_of_a_polyline_stays():
    chains, _ = chain([DrawnCurve(Polyline(POINTS), "A"), line((-20, 0), (40, 0))])
    assert len(chains) == 2


# --- from layer to layer ------------------------------------------------------------------------------


def test_a_copy_on_a_later_layer_drops_out_and_names_both_layers():
    run = [((0, 0), (100, 0)), ((100, 0), (100, 60)), ((100, 60), (180, 60))]
    curves = [line(*run[0], "NEW"), *(line(a, b, "OLD") for a, b in run), *(line(a, b, "NEW") for a, b in run[1:])]
    chains, found = chain(curves)
    assert [[d.layer for d, _ in c.items] for c in chains] == [["NEW"] * 3]
    assert [f.code for f in found] == ["duplicate-removed"]
    assert "'NEW'" in found[0].message and "'OLD'" in found[0].message and found[0].message.startswith("3 curves")


@pytest.mark.parametrize("mode", [True, False])
def test_a_trace_of_one_straight_never_takes_it_out_of_its_run(mode):
    #  the axis was drawn first, on a layer of its own, exactly over the first straight
    tube = [line((0, 0), (100, 0), "TUBE"), line((100, 0), (100, 60), "TUBE")]
    chains, found = chain([line((100, 0), (0, 0), "AXIS"), *tube], across_layers=mode)
    assert [tuple(d for d, _ in c.items) for c in chains] == [tuple(tube)]
    assert [f.layer for f in lost(found)] == ["AXIS"]


def test_a_short_mark_over_a_tube_on_another_layer_drops_out():
    tube = [line((0, 0), (100, 0), "TUBE"), line((100, 0), (100, 60), "TUBE")]
    marks = [line((20, 0), (30, 0), "MARK"), line((30, 0), (50, 0), "MARK")]
    chains, found = chain([*marks, *tube])
    assert [tuple(d for d, _ in c.items) for c in chains] == [tuple(tube)]
    assert lost(found)[0].measured == pytest.approx(30.0) and lost(found)[0].message.startswith("2 curves")


def test_an_axis_longer_than_the_tube_leaves_the_tube_whole_and_is_said():
    tube = [line((0, 0), (100, 0), "TUBE"), line((100, 0), (100, 60), "TUBE")]
    chains, found = chain([line((-50, 0), (150, 0), "AXIS"), *tube])
    assert [[d.layer for d, _ in c.items] for c in chains] == [["AXIS"], ["TUBE", "TUBE"]]
    kept = [f for f in found if f.code == "overlap-kept"]
    assert len(kept) == 1 and kept[0].severity == "warning" and kept[0].measured == pytest.approx(100.0)
    assert "'AXIS'" in kept[0].message and "'TUBE'" in kept[0].message and not lost(found)


def test_one_long_line_against_two_pieces_on_another_layer():
    #  the whole stands first; the pieces together are the same straight and stand alone on their layer
    whole, pieces = line((0, 0), (100, 0), "A"), [line((0, 0), (40, 0), "B"), line((40, 0), (100, 0), "B")]
    chains, found = chain([whole, *pieces])
    assert [tuple(d for d, _ in c.items) for c in chains] == [(whole,)] and lost(found)[0].measured == 100.0
    chains, found = chain([*pieces, whole])
    assert [tuple(d for d, _ in c.items) for c in chains] == [tuple(pieces)] and lost(found)[0].measured == 100.0


def test_an_arc_over_an_arc_of_another_layer():
    tube = [on_circle(0, 90, "TUBE"), line((0, 50), (-80, 50), "TUBE")]
    chains, found = chain([on_circle(20, 30, "MARK", flip=True), *tube])
    assert [tuple(d for d, _ in c.items) for c in chains] == [tuple(tube)] and len(lost(found)) == 1
