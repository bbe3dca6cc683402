"""Lines that trimming left at corners and ends: none of them is a corner of its own."""

from __future__ import annotations

import re
from itertools import pairwise
from math import cos, radians, sin

import numpy as np
import pytest

from converter.findings.wording import grouped
from converter.model.curve import Arc, Line, Polyline
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import reverse_run
from converter.reducer import reduce_drawing
from converter.tolerances import Tolerances
from converter.units import Display


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


@pytest.mark.parametrize("mark", [(440.0, 440.004), (440.0, 440.05), (439.98, 440.0), (440.0, 439.93)])
@pytest.mark.parametrize("first", [False, True])
def test_a_mark_along_the_straight_at_a_tangent_point_does_not_part_the_tube(mark, first):
    """By hand: 440, a quarter of a circle of 60 mm, 340. It was two tubes, or a third of 0.02 mm."""
    arc = Arc.swept((440.0, 60.0, 0.0), (0.0, 0.0, 1.0), (440.0, 0.0, 0.0), 90.0)
    tube = [Line((0.0, 0.0, 0.0), (440.0, 0.0, 0.0)), arc, Line((500.0, 60.0, 0.0), (500.0, 400.0, 0.0))]
    own = Line((mark[0], 0.0, 0.0), (mark[1], 0.0, 0.0))
    curves = [DrawnCurve(one, layer="T") for one in ([own, *tube] if first else [*tube, own])]
    (run,), findings = reduce_drawing(Drawing("d", curves=curves))
    assert [one.code for one in findings] == ["speck-removed"]
    (bend,) = run.table.bends
    assert (bend.feed, bend.angle, run.table.tail) == pytest.approx((440.0, 90.0, 340.0), abs=1e-9)


def test_where_it_goes_on_one_of_three_nothing_is_taken_away():
    lines = [((0.0, 0.0), (500.0, 0.0)), ((500.0, 0.0), (500.0, 0.05)), ((500.0, 0.0), (500.0, -300.0))]
    curves = [DrawnCurve(Line((*a, 0.0), (*b, 0.0)), layer="T") for a, b in lines]
    _, findings = reduce_drawing(Drawing("d", curves=curves))
    assert "speck-removed" not in [one.code for one in findings]


@pytest.mark.parametrize("corners", [[(0.0, 0.0), (500.0, 0.0), (500.0, 0.05)], [(0.0, 0.0), (500.0, 0.0)]])
def test_on_a_layer_of_its_own_too(corners):
    """A hook at an end; and one in the middle of a straight that was drawn in two parts, neither end of it on any."""
    (run,), told = read(*corners, group=["T", "U"][: len(corners) - 1])
    assert run.table.tail == pytest.approx(500.0, abs=1e-9) and told == ["speck-removed"] * (len(corners) - 2)


#  up, a quarter turn, across: tangent at (0, 200) and (60, 260)
QUARTER = (
    Line((0.0, 0.0, 0.0), (0.0, 200.0, 0.0)),
    Arc.swept((60.0, 200.0, 0.0), (0.0, 0.0, -1.0), (0.0, 200.0, 0.0), 90.0),
    Line((60.0, 260.0, 0.0), (400.0, 260.0, 0.0)),
)


def with_mark(mark, tol=None):
    """What comes of a quarter turn with a mark somewhere."""
    curves = [DrawnCurve(one, "T", f"{k:X}") for k, one in enumerate((*QUARTER, mark))]
    return reduce_drawing(Drawing("d", curves=curves), tol or Tolerances())


MARKS = [
    ("at a tangent point", (0.0, 200.0), (-1.0, 0.0)),
    ("across a straight", (-0.5, 100.0), (1.0, 0.0)),
    ("beside the tube", (-8.0, 200.0), (-0.6, 0.8)),
    ("far away", (2000.0, 70.0), (0.0, 1.0)),
]


@pytest.mark.parametrize(("at", "way"), [mark[1:] for mark in MARKS], ids=[mark[0] for mark in MARKS])
@pytest.mark.parametrize("kind", ["line", "polyline", "arc"])
def test_a_mark_is_no_tube_of_its_own(at, way, kind):
    """Up to the join tolerance left out and told as that; longer it is a tube, and told; the cure leaves it out."""

    def mark(length):
        a = (*at, 0.0)
        b = (at[0] + length * way[0], at[1] + length * way[1], 0.0)
        if kind == "polyline":
            return Polyline(np.array([a, b]))
        if kind == "line":
            return Line(a, b)
        left = (-way[1] * length / 2.0, way[0] * length / 2.0)  # a quarter of a circle on the chord
        return Arc.swept(((a[0] + b[0]) / 2.0 + left[0], (a[1] + b[1]) / 2.0 + left[1], 0.0), (0.0, 0.0, 1.0), a, 90.0)

    for length in (0.03, 0.06):
        (run,), findings = with_mark(mark(length))
        assert [bend.clr for bend in run.table.bends] == pytest.approx([60.0])
        assert [one.code for one in findings] == ["speck-removed"]
    for length in (0.3, 1.2):
        runs, _ = with_mark(mark(length))
        (told,) = [one for run in runs for one in run.findings if one.code == "leftover-line"]
        (small,) = [run for run in runs if run.name == told.tube]
        assert (told.variant, told.severity, told.measured) == ("alone", "warning", small.table.developed_length)
        assert small.table.developed_length == pytest.approx(length if kind != "arc" else np.pi * length / 8.0**0.5)
        (typed,) = re.findall(r"--join ([0-9.]+)mm", told.cure_in())
        (run,), findings = with_mark(mark(length), Tolerances(join=float(typed)))
        assert [one.code for one in findings] == ["speck-removed"]


def test_tubes_all_as_short_as_marks_are_no_marks():
    """A drawing in metres, read as mm, or of needles: what is told is its unit."""
    curves = [DrawnCurve(Line((0.0, y, 0.0), (x, y, 0.0)), "T") for y, x in ((0.0, 0.05), (1.0, 1.5), (2.0, 6.0))]
    runs, _ = reduce_drawing(Drawing("d", curves=curves))
    assert [run.table.tail for run in runs] == pytest.approx([0.05, 1.5, 6.0])
    assert [one.code for run in runs for one in run.findings] == ["run-size"]


def test_many_marks_are_one_sentence():
    starts = [(3.0 * k, -20.0, 0.0) for k in range(12)]
    dashes = [DrawnCurve(Line(at, (1.01 * at[0] + 0.5, -20.0, 0.0)), "T") for at in starts]
    runs, _ = reduce_drawing(Drawing("d", curves=[*(DrawnCurve(one, "T") for one in QUARTER), *dashes]))
    told = [one for run in runs for one in run.findings if one.code == "leftover-line"]
    assert len(told) == 12 and len(grouped(told, Display())) == 1 and "no longer than 0.83 mm" in told[0].message


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
