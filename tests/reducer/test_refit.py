"""The same tube on another radius: how far it moves, where straights go negative."""

from __future__ import annotations

from math import cos, pi, radians, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import lengths, placements, tables

from converter.errors import OptionError
from converter.findings import has_errors
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Polyline
from converter.model.deviation import distances
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Run
from converter.reducer import reduce_drawing
from converter.reducer.refit import fillet_corners, refit, with_bends_joined


def run_with(table, placement=None):
    return Run("tube", None, False, table, placement or Placement())


def cornered(*points):
    (run,), _ = reduce_drawing(Drawing("corners", curves=[DrawnCurve(Polyline(np.array(points, float)))]))
    return run


def test_a_right_angle_by_hand():
    """Legs of 200 and 100 round R 40: each straight loses 40, the arc adds 20 pi, the middle moves 40 (sqrt 2 - 1)."""
    run = fillet_corners(cornered((0, 0, 0), (200, 0, 0), (200, 100, 0)), 40.0)
    assert run.table.straights == pytest.approx((160, 60))
    assert run.table.developed_length == pytest.approx(220 + 20 * pi)
    wider, moved = refit(run, 50.0)
    assert wider.table.straights == pytest.approx((150, 50))
    assert moved == pytest.approx(10 * (2**0.5 - 1))
    assert wider.end == pytest.approx(run.end)


def test_a_u_as_wide_as_its_bend_is_one_bend():
    """Two corners 100 apart at R 50 leave nothing between them: 250 + 50 pi + 150, and the same path."""
    drawn = fillet_corners(cornered((0, 0, 0), (300, 0, 0), (300, 100, 0), (100, 100, 0)), 50.0)
    made = with_bends_joined(drawn)
    (bend,) = made.table.bends
    assert (bend.angle, bend.clr, bend.feed, made.table.tail) == pytest.approx((180.0, 50.0, 250.0, 150.0))
    assert made.table.developed_length == pytest.approx(400.0 + 50.0 * pi)
    assert made.end == pytest.approx(drawn.end, abs=1e-9)
    (told,) = [f for f in made.findings if f.code == "corners-joined"]
    assert told.bend == 1 and "2 sharp corners" in told.message and "180.00°" in told.message


@pytest.mark.parametrize(("width", "joins"), [(99.75, True), (99.0, True), (98.99, False), (90.0, False)])
def test_a_u_that_is_narrower_by_a_hair_is_one_bend_with_its_legs_apart(width, joins):
    """On R 50 it is 100 wide; up to 1 mm, as bends go, it is told so, at exactly 1 mm, too. More is an overlap."""
    drawn = fillet_corners(cornered((0, 0, 0), (300, 0, 0), (300, width, 0), (100, width, 0)), 50.0)
    made = with_bends_joined(drawn)
    codes = [(f.code, f.variant) for f in made.findings]
    assert (("negative-straight", "") in codes, ("corners-joined", "apart") in codes) == (not joins, joins)
    if not joins:
        assert made is drawn
        return
    (bend,) = made.table.bends
    assert (bend.angle, bend.clr, bend.feed, made.table.tail) == pytest.approx((180.0, 50.0, 250.0, 150.0))
    # the legs are 100 apart, not as drawn
    assert made.end == pytest.approx((100.0, 100.0, 0.0), abs=1e-9)
    assert made.deviation == pytest.approx(100.0 - width)
    told = next(f for f in made.findings if f.code == "corners-joined")
    assert dict(told.value_pairs)["apart"] == pytest.approx(100.0 - width)
    assert told.cure_in().startswith("Draw them ")


def test_a_ring_is_not_opened_by_bends_that_overlap():
    """A closed run of two such pairs would not close any more."""
    drawn = fillet_corners(cornered((0, 0, 0), (300, 0, 0), (300, 99.8, 0), (0, 99.8, 0), (0, 0, 0)), 50.0)
    assert drawn.closed and with_bends_joined(drawn) is drawn


def test_bends_behind_joined_corners_get_their_new_numbers():
    """A U, then a corner out of its plane, then one too near to the next: its error names bends 3 and 2."""
    path = [(0, 0, 0), (300, 0, 0), (300, 100, 0), (100, 100, 0), (100, 100, 60), (0, 100, 60)]
    drawn = fillet_corners(cornered(*path), 50.0)
    before = [(f.bend, dict(f.values)["other_bend"]) for f in drawn.findings if f.code == "negative-straight"]
    made = with_bends_joined(drawn)
    after = [(f.bend, dict(f.values)["other_bend"]) for f in made.findings if f.code == "negative-straight"]
    assert (before, after) == ([(4, 3)], [(3, 2)])
    first, _, *rest = (bend.rotation for bend in drawn.table.bends)
    assert [bend.rotation for bend in made.table.bends] == pytest.approx([first, *rest])
    assert made.end == pytest.approx(drawn.end, abs=1e-9)


@pytest.mark.parametrize(
    "path",
    [
        [(0, 0, 0), (300, 0, 0), (300, 100.1, 0), (100, 100.1, 0)],  # a tenth of straight between them
        [(0, 0, 0), (300, 0, 0), (300, 100, 0), (300, 100, 200)],  # not in one plane
        [(0, 0, 0), (300, 0, 0), (300, 100, 0), (500, 100, 0)],  # bent the other way
    ],
)
def test_other_corners_stay_apart(path):
    drawn = fillet_corners(cornered(*path), 50.0)
    assert with_bends_joined(drawn) is drawn


@given(
    tables(most=8, zero_straights=False, greatest=160.0, least=5.0),
    placements(),
    lengths(15.0, 400.0),
    st.integers(0, 7),
)
@settings(max_examples=80)
def test_refit_keeps_both_ends_and_moves_as_far_as_it_says(table, placement, clr, only):
    """Measured by points on the new centerline against the old one (and not by the closed form)."""
    run = run_with(table, placement)
    made, moved = refit(run, clr, bends=None if only > 6 else [only])
    assert made.start == run.start
    assert made.end == pytest.approx(run.end, abs=1e-6 * (1 + table.developed_length))
    assert [b.angle for b in made.table.bends] == [b.angle for b in table.bends]
    negative = min(made.table.straights) < -1e-6
    assert negative == has_errors(made.findings)
    if negative:
        return
    points = np.array([s.point(s.angle * k / 40) for s in made.centerline if hasattr(s, "angle") for k in range(41)])
    measured = np.min([distances(points, s) for s in run.centerline], axis=0).max()
    assert measured <= moved + 1e-6
    widest = (
        max(
            (abs(clr - b.clr) * (1 / cos(radians(b.angle) / 2) - 1), i)
            for i, b in enumerate(table.bends)
            if only > 6 or i == only
        )
        if only > 6 or only < len(table.bends)
        else (0.0, 0)
    )
    assert moved == pytest.approx(widest[0], abs=1e-9)


def test_refit_there_and_back_is_the_same_table():
    table = BendTable((Bend(300, 0, 35, 60), Bend(200, 70, 110, 60)), 250)
    back, _ = refit(refit(run_with(table), 80.0)[0], 60.0)
    assert back.table.straights == pytest.approx(table.straights)


def test_corners_too_close_give_a_negative_straight_and_an_error():
    run = fillet_corners(cornered((0, 0, 0), (200, 0, 0), (200, 50, 0), (400, 50, 0)), 40.0)
    (finding,) = [f for f in run.findings if f.code == "negative-straight"]
    assert run.table.bends[1].feed == pytest.approx(50 - 80)
    assert (finding.measured, finding.bend, finding.severity) == (pytest.approx(-30), 2, "error")
    assert "bend 2: it and bend 1 would overlap by 30.00 mm at these radii" in finding.message
    exact = fillet_corners(cornered((0, 0, 0), (200, 0, 0), (200, 80, 0), (400, 80, 0)), 40.0)
    assert exact.table.bends[1].feed == pytest.approx(0.0, abs=1e-9)
    assert not has_errors(exact.findings)


def test_arcs_are_left_alone_by_filleting():
    table = BendTable((Bend(100, 0, 90, 30), Bend(100, 0, 45, None, corner=True)), 100)
    run = fillet_corners(run_with(table), 50.0)
    assert [b.clr for b in run.table.bends] == [30, 50]
    assert run.table.straights == pytest.approx((100, 100 - 50 * tan(pi / 8), 100 - 50 * tan(pi / 8)))


def test_half_turns_keep_their_outermost_point():
    """A U of R 40 on R 50: legs 10 shorter, 20 further apart, the tip of the U where it was."""
    run = run_with(BendTable((Bend(100, 0, 180, 40),), 100))
    made, moved = refit(run, 50.0)
    assert made.table.straights == pytest.approx((90, 90))
    assert made.end == pytest.approx((0, 100, 0), abs=1e-9)
    assert moved == pytest.approx(20.0, abs=0.1)


def test_a_fold_back_is_never_filleted():
    run = cornered((0, 0, 0), (100, 0, 0), (40, 0, 0))
    assert fillet_corners(run, 10.0).table.bends[0].clr is None
    assert refit(run, 10.0) == (run, 0.0)


@pytest.mark.parametrize("clr", [0.0, -1.0, float("nan"), float("inf")])
def test_a_radius_must_be_above_zero(clr):
    with pytest.raises(OptionError, match="radius above zero"):
        fillet_corners(cornered((0, 0, 0), (9, 0, 0), (9, 9, 0)), clr)


@pytest.mark.parametrize(
    ("short", "overlaps"), [(0.0, False), (1e-9, False), (0.004, False), (0.0099, False), (0.02, True)]
)
def test_corners_that_bends_use_up_but_for_rounding_do_not_overlap(short, overlaps):
    """Two quarter bends of 100 on a leg of 200, drawn a little short: no straight is left, and none below nothing."""
    corners = Bend(300.0, 0.0, 90.0, None, corner=True), Bend(200.0 - short, 90.0, 90.0, None, corner=True)
    run = Run("run", None, False, BendTable(corners, 300.0), Placement())
    made = fillet_corners(run, 100.0)
    assert ("negative-straight" in [finding.code for finding in made.findings]) == overlaps
    assert (0.0 <= made.table.bends[1].feed < 1e-12) == (not overlaps)
