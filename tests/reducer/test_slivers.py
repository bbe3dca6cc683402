"""Lines that trimming left at corners and ends: none of them is a corner of its own."""

from __future__ import annotations

import re
from itertools import pairwise
from math import cos, radians, sin

import numpy as np
import pytest

from converter.model.curve import Line, Polyline
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import reverse_run
from converter.reducer import reduce_drawing
from converter.tolerances import Tolerances


def read(*corners, group=None):
    lines = [Line((*a, 0.0), (*b, 0.0)) for a, b in pairwise(corners)]
    layers = group or ["T"] * len(lines)
    curves = [DrawnCurve(line, layer=layer) for line, layer in zip(lines, layers, strict=True)]
    runs, findings = reduce_drawing(Drawing("d", curves=curves))
    return runs, [one.code for one in findings] + [one.code for run in runs for one in run.findings]


@pytest.mark.parametrize("length", [0.005, 0.05, 0.1])
@pytest.mark.parametrize("turn", [30.0, 90.0, 150.0])
@pytest.mark.parametrize("backward", [False, True])
def test_a_hook_at_an_end_is_left_out(length, turn, backward):
    end = (500.0 + length * cos(radians(turn)), length * sin(radians(turn)))
    corners = [(0.0, 0.0), (500.0, 0.0), end]
    (run,), told = read(*(corners[::-1] if backward else corners))
    assert not run.table.bends and run.table.tail == pytest.approx(500.0, abs=1e-9) and told == ["speck-removed"]


def test_a_jog_within_a_straight_is_a_gap_that_is_closed():
    (run,), told = read((0.0, 0.0), (500.0, 0.0), (500.0, 0.05), (1000.0, 0.05))
    assert not run.table.bends and run.table.tail == pytest.approx(1000.0, abs=1e-3)
    assert sorted(told) == ["healed-gap", "speck-removed"]


def test_a_sliver_across_a_corner_leaves_one_corner():
    """Lines of 500 and 499.95 mm, by hand: they meet within the sliver's 0.0707 mm."""
    (run,), told = read((0.0, 0.0), (500.0, 0.0), (500.05, 0.05), (500.05, 500.0))
    (bend,) = run.table.bends
    assert bend.angle == pytest.approx(90.0, abs=0.02) and "speck-removed" in told
    assert (bend.feed, run.table.tail) == (pytest.approx(500.0, abs=0.1), pytest.approx(500.0, abs=0.1))


def test_what_runs_on_straight_and_what_is_longer_stays():
    (run,), told = read((0.0, 0.0), (500.0, 0.0), (500.05, 0.0))
    assert run.table.tail == pytest.approx(500.05, abs=1e-9) and not told
    (run,), told = read((0.0, 0.0), (500.0, 0.0), (500.0, 0.11))
    assert len(run.table.bends) == 1 and "speck-removed" not in told


def test_chords_of_a_curve_are_no_slivers():
    """A quarter of a circle of 3 mm in chords of 0.09 mm, between straights."""
    arc = [(100.0 + 3.0 * sin(radians(a)), 3.0 - 3.0 * cos(radians(a))) for a in (90.0 / 52 * k for k in range(53))]
    (run,), told = read((0.0, 0.0), *arc, (103.0, 100.0))
    (bend,) = run.table.bends
    assert (bend.angle, bend.clr) == (pytest.approx(90.0, abs=0.1), pytest.approx(3.0, abs=0.01))
    assert "speck-removed" not in told


def test_where_three_meet_and_on_another_layer_nothing_is_taken_away():
    lines = [((0.0, 0.0), (500.0, 0.0)), ((500.0, 0.0), (500.0, 0.05)), ((500.0, 0.0), (500.0, -300.0))]
    curves = [DrawnCurve(Line((*a, 0.0), (*b, 0.0)), layer="T") for a, b in lines]
    _, findings = reduce_drawing(Drawing("d", curves=curves))
    assert "speck-removed" not in [one.code for one in findings]
    _, told = read((0.0, 0.0), (500.0, 0.0), (500.0, 0.05), group=["T", "U"])
    assert "speck-removed" not in told


# --- longer than the join tolerance: read as drawn, and named ----------------------------------


def leftovers(curves, **tolerances):
    """The tubes, and what is told of leftover lines."""
    runs, _ = reduce_drawing(Drawing("d", curves=curves), Tolerances(**tolerances))
    return runs, [one for run in runs for one in run.findings if one.code == "leftover-line"]


def lines(*corners):
    return [DrawnCurve(Line((*a, 0.0), (*b, 0.0)), "T", f"{k:X}") for k, (a, b) in enumerate(pairwise(corners))]


@pytest.mark.parametrize("length", [0.15, 1.0, 2.0])
@pytest.mark.parametrize("turn", [30.0, 90.0, 150.0])
@pytest.mark.parametrize("end", ["A", "B"])
def test_a_hook_longer_than_that_is_named_and_the_cure_leaves_it_out(length, turn, end):
    hook = (500.0 + length * cos(radians(turn)), length * sin(radians(turn)))
    corners = [(0.0, 0.0), (500.0, 0.0), hook]
    drawn = lines(*(corners if end == "B" else corners[::-1]))
    (run,), (told,) = leftovers(drawn)
    assert run.table.bends[0].angle == pytest.approx(turn)
    assert (told.severity, told.end, told.measured) == ("warning", end, pytest.approx(length))
    assert told.at == pytest.approx((500.0, 0.0, 0.0)) and "(500.00, 0.00, 0.00) mm" in told.message
    (typed,) = re.findall(r"--join ([0-9.]+)mm", told.cure_in())
    (run,), none = leftovers(drawn, join=float(typed))
    assert not none and not run.table.bends and run.table.tail == pytest.approx(500.0, abs=1e-9)


def test_a_jog_longer_than_that_is_named_once():
    (run,), (told,) = leftovers(lines((0.0, 0.0), (500.0, 0.0), (500.0, 1.2), (1000.0, 1.2)))
    assert [bend.angle for bend in run.table.bends] == pytest.approx([90.0, 90.0])
    assert told.message.startswith("T, bend 1: the straight of 1.2 mm between it and bend 2 turns off by 90.00°")
    (turned,) = [one for one in reverse_run(run).findings if one.code == "leftover-line"]
    assert {turned.bend, dict(turned.values)["other_bend"]} == {1, 2}


def test_part_of_a_polyline_is_deleted_from_it():
    """`--join` leaves no vertex of a polyline out, so that it is not told to; a hook of 0.05 mm is named there, too."""
    for length in (0.05, 1.0):
        corners = np.array([(0.0, 0.0, 0.0), (500.0, 0.0, 0.0), (500.0, length, 0.0)])
        _, (told,) = leftovers([DrawnCurve(Polyline(corners), "T")])
        assert told.measured == pytest.approx(length) and told.cure_in().startswith("Delete that part of the polyline")


def test_what_is_drawn_on_purpose_is_no_leftover():
    small = [(0.0, 0.0), (12.0, 0.0), (12.0, 1.5)]  # of a needle, or of a drawing read in the wrong unit
    bent = [(0.0, 0.0), (500.0, 0.0), (500.0, 2.1)]  # longer than the near tolerance
    slight = [(0.0, 0.0), (500.0, 0.0), (501.0, 0.3)]
    chords = [(0.0, 0.0), (500.0, 0.0), (501.5, 0.9), (502.4, 2.4), (502.4, 300.0)]
    for corners in (small, bent, slight, chords):
        assert leftovers(lines(*corners))[1] == []
