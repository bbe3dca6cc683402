"""Straights and arcs found in chords, splines and noise; corners kept where nothing speaks for an arc."""

from __future__ import annotations

import itertools
from math import cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from splines import interpolating
from strategies import placements, tables

from converter.geometry.circles import fit_circle, fit_line, radius_uncertainty
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Ellipse, Line, Polyline, Spline
from converter.model.drawing import Drawing, DrawnCurve
from converter.reducer import general, reduce_drawing
from converter.reducer.fitting import looser, tangent_row
from converter.reducer.fitting.segment import split
from converter.tolerances import Tolerances
from converter.units import Display

TUBE = BendTable(
    (
        Bend(100, 0, 90, 50),
        Bend(40, 30, 45, 50),
        Bend(0, 180, 45, 80),
        Bend(30, -100, 200, 60),
        Bend(10, 90, 12, 114.3),
    ),
    80,
)
SOMEWHERE = Placement((1e3, 200, -30), (0.6, 0.8, 0), (0, 0, 1))


def chords(table, placement, step, dense=1):
    """Vertices of a table: arcs in chords of at most ``step`` degrees, straights in ``dense`` parts."""
    points = [placement.start]
    for s in rebuild(table, placement):
        if isinstance(s, Line):
            a, b = np.array(s.start), np.array(s.end)
            points += [tuple(a + (b - a) * k / dense) for k in range(1, dense + 1)]
        else:
            count = max(1, int(np.ceil(s.angle / step - 1e-9)))
            points += [s.point(s.angle * k / count) for k in range(1, count + 1)]
    return np.array(points, float)


def run_of(*curves, **tolerances):
    drawing = Drawing("fit", curves=[DrawnCurve(c, "L", f"{k:X}") for k, c in enumerate(curves)])
    runs, _ = reduce_drawing(drawing, Tolerances(**tolerances))
    assert len(runs) == 1
    return runs[0]


def assert_same(table, wanted, length, angle, radius):
    assert len(table.bends) == len(wanted.bends)
    assert table.straights == pytest.approx(wanted.straights, abs=length)
    for got, want in zip(table.bends, wanted.bends, strict=True):
        assert (got.rotation - want.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=angle)
        assert got.angle == pytest.approx(want.angle, abs=angle)
        assert got.clr == pytest.approx(want.clr, abs=radius)


@pytest.mark.parametrize(("step", "dense"), [(0.5, 1), (2.0, 1), (5.0, 1), (10.0, 1), (11.25, 3), (15.0, 1), (1.0, 40)])
def test_tessellated_arcs_come_back_exactly(step, dense):
    """Chords from fine to 24 a circle, straights in one piece or many: the table as it was."""
    run = run_of(Polyline(chords(TUBE, SOMEWHERE, step, dense)))
    assert_same(run.table, TUBE, 1e-5, 1e-6, 1e-5)
    assert run.deviation < 1e-6
    assert [f.code for f in run.findings] == ["curve-fitted"]


def test_chords_drawn_as_single_lines_in_any_order_come_back_too():
    points = chords(TUBE, SOMEWHERE, 6.0)
    lines = [Line(tuple(a), tuple(b)) for a, b in itertools.pairwise(points)]
    run = run_of(lines[0], *(k.reversed() if i % 3 else k for i, k in enumerate(lines[1:])))
    assert_same(run.table, TUBE, 1e-5, 1e-6, 1e-5)


@pytest.mark.parametrize("noise", [1e-4, 1e-3, 0.01, 0.03])
def test_noise_moves_the_table_by_no_more_than_it_says(noise):
    """Uniform noise on every vertex: the radius stays within a few of its own stated uncertainties."""
    rng = np.random.default_rng(7)
    points = chords(TUBE, SOMEWHERE, 2.0, 20)
    run = run_of(Polyline(points + rng.uniform(-noise, noise, points.shape)), fit=max(0.05, 2.5 * noise))
    assert len(run.table.bends) == 5
    assert run.deviation < 4.0 * noise
    for got, want in zip(run.table.bends, TUBE.bends, strict=True):
        assert abs(got.clr - want.clr) <= 3.0 * got.clr_uncertainty
        assert got.angle == pytest.approx(want.angle, abs=400.0 * noise / 50.0)
    assert run.table.developed_length == pytest.approx(TUBE.developed_length, abs=10.0 * noise)


@pytest.mark.slow
@given(
    tables(most=12, zero_straights=False, least=10.0, greatest=200.0), placements(), st.sampled_from([1.0, 3.0, 7.5])
)
@settings(max_examples=20)
def test_any_tessellated_tube_comes_back(table, placement, step):
    run = run_of(Polyline(chords(table, placement, step)))
    if len(run.table.bends) != len(table.bends):
        # two coplanar arcs of nearly one radius and a hair of straight between may honestly be one
        assert run.deviation <= 0.05
        return
    assert_same(run.table, table, 0.05, 0.05, 0.05 * 40)


# --- corners stay corners -------------------------------------------------------------------


def flat(*points):
    return Polyline(np.array([(x, y, 0.0) for x, y in points], float))


def test_an_octagon_keeps_its_eight_corners():
    """45 degrees a corner is a mitred ring or eight bends, not a tessellated circle."""
    ring = flat(*((300 * cos(k * pi / 4), 300 * sin(k * pi / 4)) for k in range(9)))
    run = run_of(ring)
    assert run.closed
    assert [b.angle for b in run.table.bends] == pytest.approx([45.0] * 8)
    assert all(b.clr is None and b.corner for b in run.table.bends)


def test_three_equal_legs_with_slight_corners_are_not_an_arc():
    """Four points of a trapezium always lie on one circle: the vertices alone prove nothing."""
    a = radians(20)
    run = run_of(flat((-300 * cos(a), 300 * sin(a)), (0, 0), (300, 0), (300 + 300 * cos(a), 300 * sin(a))))
    assert [b.angle for b in run.table.bends] == pytest.approx([20.0, 20.0])
    assert run.table.straights == pytest.approx((300, 300, 300))


def test_a_two_chord_bend_is_known_by_its_half_turns():
    """Turns of 10, 20 and 10 degrees on equal chords: a 40 degree bend of R = chord / (2 sin 10)."""
    radius = 60.0
    table = BendTable((Bend(200, 0, 40, radius),), 150)
    run = run_of(Polyline(chords(table, Placement(), 20.0)))
    assert_same(run.table, table, 1e-6, 1e-6, 1e-6)
    lone = run_of(flat((0, 0), (200, 0), (240, 40), (240, 240)))  # turns 45, 45: two corners
    assert [b.clr for b in lone.table.bends] == [None, None]


def test_a_circle_in_chords_is_a_closed_ring_of_two_half_turns():
    ring = flat(*((100 * cos(t), 100 * sin(t)) for t in np.linspace(0, 2 * pi, 73)))
    run = run_of(ring)
    assert run.closed
    assert [b.angle for b in run.table.bends] == pytest.approx([180.0, 180.0])
    assert run.table.developed_length == pytest.approx(2 * pi * 100.0)


# --- splines and ellipses -------------------------------------------------------------------


def quarter(radius, weights=True):
    """A quarter circle as a rational quadratic (exact), or as the usual non-rational cubic."""
    if weights:
        points = np.array([(radius, 0, 0), (radius, radius, 0), (0, radius, 0)], float)
        return Spline(
            2, points, np.array([0, 0, 0, 1, 1, 1.0]), np.array([1, sqrt(0.5), 1]), (radius, 0, 0), (0, radius, 0)
        )
    k = 4.0 / 3.0 * tan(pi / 8.0) * radius
    points = np.array([(radius, 0, 0), (radius, k, 0), (k, radius, 0), (0, radius, 0)], float)
    return Spline(3, points, np.array([0.0] * 4 + [1.0] * 4), None, (radius, 0, 0), (0, radius, 0))


def test_a_rational_arc_is_recognised_exactly():
    run = run_of(Line((80, -200, 0), (80, 0, 0)), quarter(80.0), Line((0, 80, 0), (-120, 80, 0)))
    assert_same(run.table, BendTable((Bend(200, 0, 90, 80),), 120), 1e-8, 1e-8, 1e-8)
    assert run.table.bends[0].clr_uncertainty < 1e-6


def test_a_cubic_that_stands_for_an_arc_is_found_within_its_own_error():
    """The four-point cubic is off a circle by 2.7e-4 of its radius at most (Dokken et al. 1990, from memory)."""
    run = run_of(Line((80, -200, 0), (80, 0, 0)), quarter(80.0, weights=False), Line((0, 80, 0), (-120, 80, 0)))
    assert len(run.table.bends) == 1
    bend = run.table.bends[0]
    assert bend.angle == pytest.approx(90.0, abs=1e-6)
    assert abs(bend.clr - 80.0) < 2.0 * 2.8e-4 * 80.0
    assert 0.0 < run.deviation < 2.8e-4 * 80.0
    assert not [f for f in run.findings if f.severity == "error"]


def test_straights_as_degree_one_splines_stay_straights():
    ends = ((0, 0, 0), (100, 0, 0))
    line = Spline(1, np.array(ends, float), np.array([0, 0, 1, 1.0]), None, *ends)
    run = run_of(line, Line((100, 0, 0), (100, 70, 0)))
    assert run.table.straights == pytest.approx((100, 70))
    assert run.table.bends[0].corner


def test_an_ellipse_with_equal_axes_is_an_arc():
    run = run_of(Ellipse((0, 0, 0), (0, 55, 0), (0, 0, 55), 0, 120))
    (bend,) = run.table.bends
    assert (bend.angle, bend.clr, bend.clr_uncertainty) == (pytest.approx(120), pytest.approx(55), 0.0)


@pytest.mark.parametrize(
    "curve",
    [
        Ellipse((0, 0, 0), (100, 0, 0), (0, 50, 0), 0, 360),
        Ellipse((0, 0, 0), (100, 0, 0), (0, 0, 80), 10, 170),
        Polyline(np.array([(x, x * x / 400, 0) for x in np.linspace(-200, 200, 400)])),  # a parabola
        Polyline(np.array([(100 * cos(t), 100 * sin(t), 10 * t) for t in np.linspace(0, 6, 300)])),  # a helix
    ],
    ids=["ellipse", "half ellipse", "parabola", "helix"],
)
def test_a_free_curve_is_an_error_with_its_measured_deviation(curve):
    run = run_of(curve)
    (finding,) = [f for f in run.findings if f.code == "not-line-arc"]
    assert finding.severity == "error"
    assert finding.measured > 1.0  # the best single bend misses these by millimetres
    assert finding.limit == 0.05
    # what stands in the table still follows the curve about as closely as asked
    assert run.deviation < 0.08


def test_the_ellipse_table_is_as_long_as_the_ellipse():
    """Perimeter by Ramanujan's second formula, good to 1e-8 at this ratio (from memory)."""
    a, b = 100.0, 50.0
    h = ((a - b) / (a + b)) ** 2
    perimeter = pi * (a + b) * (1 + 3 * h / (10 + sqrt(4 - 3 * h)))
    run = run_of(Ellipse((0, 0, 0), (a, 0, 0), (0, b, 0), 0, 360))
    assert run.table.developed_length == pytest.approx(perimeter, rel=2e-4)


# --- circles and lines ----------------------------------------------------------------------


@given(placements(far=1e5), st.floats(5.0, 500.0), st.floats(3.0, 350.0), st.integers(4, 60))
@settings(max_examples=100)
def test_circle_through_exact_points(placement, radius, sweep, count):
    arc = Arc.swept(
        placement.start,
        placement.normal,
        tuple(p + radius * d for p, d in zip(placement.start, placement.direction, strict=True)),
        sweep,
    )
    points = np.array([arc.point(sweep * k / count) for k in range(count + 1)])
    circle = fit_circle(points)
    sagitta = radius * (1 - cos(radians(min(sweep, 180.0)) / 2))
    assert circle.radius == pytest.approx(radius, abs=1e-8 * radius * radius / sagitta + 1e-9)
    assert circle.residual < 1e-8
    assert abs(np.dot(circle.normal, placement.normal)) == pytest.approx(1.0, abs=1e-6 * radius / sagitta)


def test_circle_fit_agrees_with_scipy_least_squares():
    """The same geometric fit by scipy's Levenberg-Marquardt on noisy points of a plane arc."""
    from scipy.optimize import least_squares

    rng = np.random.default_rng(3)
    t = np.radians(np.linspace(10, 80, 41))
    points = np.stack((70 * np.cos(t) + 5, 70 * np.sin(t) - 9, np.zeros_like(t)), axis=1)
    points[:, :2] += rng.normal(0, 0.02, (41, 2))
    ours = fit_circle(points)
    fit = least_squares(
        lambda v: np.hypot(points[:, 0] - v[0], points[:, 1] - v[1]) - v[2], [0, 0, 60], xtol=1e-15, ftol=1e-15
    )
    assert (*ours.center[:2], ours.radius) == pytest.approx(fit.x, abs=1e-6)


def test_line_fit_is_the_principal_axis():
    rng = np.random.default_rng(4)
    points = np.outer(np.linspace(0, 100, 50), [1, 2, 2]) / 3 + rng.normal(0, 0.01, (50, 3))
    point, direction, residual = fit_line(points)
    _, _, axes = np.linalg.svd(points - points.mean(axis=0))
    assert abs(np.dot(axes[0], direction)) == pytest.approx(1.0, abs=1e-12)
    assert point == pytest.approx(tuple(points.mean(axis=0)))
    assert 0.0 < residual < 0.06


@pytest.mark.parametrize(("sweep", "factor"), [(90, 2.41), (30, 28.3), (10, 262)])
def test_what_a_radius_is_worth(sweep, factor):
    """dR/dsagitta = cos h / (1 - cos h): values of the check list, and the derivative itself by differences."""
    h = radians(sweep) / 2
    assert radius_uncertainty(1.0, h) == pytest.approx(factor, rel=5e-3)
    half_chord, sagitta = 100 * sin(h), 100 * (1 - cos(h))

    def radius(s):
        return (half_chord**2 + s * s) / (2 * s)

    slope = (radius(sagitta + 1e-6) - radius(sagitta - 1e-6)) / 2e-6
    assert radius_uncertainty(1.0, h) == pytest.approx(abs(slope), rel=1e-4)


def test_splitting_visits_each_vertex_a_bounded_number_of_times(monkeypatch):
    """Ten times the vertices cost about ten times the work, counted in vertices looked at, not in seconds."""
    from converter.reducer.fitting import segment

    def work(count):
        looked = 0
        plain_line, plain_arc = segment.line_residual, segment.arc_test

        def line(q):
            nonlocal looked
            looked += len(q)
            return plain_line(q)

        def arc(q, eps):
            nonlocal looked
            looked += len(q)
            return plain_arc(q, eps)

        monkeypatch.setattr(segment, "line_residual", line)
        monkeypatch.setattr(segment, "arc_test", arc)
        found = split(chords(TUBE, SOMEWHERE, 447.0 / count, count // 10), 0.05)
        monkeypatch.undo()
        assert len(found.spans) == 10
        return looked

    small, large = work(2_000), work(20_000)
    assert large < 12 * small
    assert large < 4 * 22_000 + 20_000


def test_a_loop_may_begin_anywhere():
    """A racetrack in chords, begun in the middle of a bend and at every other vertex: always the same two bends."""
    table = BendTable((Bend(100, 0, 180, 50), Bend(200, 0, 180, 50)), 100)
    points = chords(table, Placement(), 7.5)[:-1]
    for shift in range(0, len(points), 7):
        loop = np.concatenate((np.roll(points, shift, axis=0), np.roll(points, shift, axis=0)[:1]))
        run = run_of(Polyline(loop))
        assert run.closed
        assert sorted(run.table.straights) == pytest.approx([100, 100, 200])
        assert [(b.angle, b.clr) for b in run.table.bends] == [(pytest.approx(180), pytest.approx(50))] * 2


def test_mixed_degree_one_and_rational_splines_chain_into_one_row():
    """Every edge as a NURBS, as some packages write it: straights of degree 1, arcs rational."""
    r, k = 50.0, sqrt(0.5)
    arc = Spline(
        2,
        np.array([(100, 0, 0), (150, 0, 0), (150, 50, 0)], float),
        np.array([0, 0, 0, 1, 1, 1.0]),
        np.array([1, k, 1]),
        (100, 0, 0),
        (150, 50, 0),
    )
    ends = [((0, 0, 0), (100, 0, 0)), ((150, 50, 0), (150, 130, 0))]
    lines = [Spline(1, np.array(e, float), np.array([0, 0, 1, 1.0]), None, *e) for e in ends]
    run = run_of(lines[0], arc, lines[1])
    assert_same(run.table, BendTable((Bend(100, 0, 90, r),), 80), 1e-8, 1e-8, 1e-8)


@pytest.mark.parametrize("count", [6, 12, 20])
@pytest.mark.parametrize("gap", [0.005, 0.02, 0.05])
def test_chords_that_miss_each_other_by_a_hair_alike_are_one_arc_to_its_ends(count, gap):
    """Every line starts late by the gap: inside the arc all vertices are moved alike and lie on a circle still."""
    table = BendTable((Bend(410, 0, 90, 90), Bend(288.44, 32.77, 56.9, 90)), 471.1)
    points = [SOMEWHERE.start]
    for s in rebuild(table, SOMEWHERE):
        points += [s.end] if isinstance(s, Line) else [s.point(s.angle * k / count) for k in range(1, count + 1)]
    lines = []
    for a, b in itertools.pairwise(np.array(points)):
        lines.append(Line(tuple(a + (b - a) / np.linalg.norm(b - a) * gap), tuple(b)))
    run = run_of(*lines)
    assert_same(run.table, table, 3 * gap, 0.1, 0.1)
    assert run.deviation <= 0.05


def chord_vertices(table, count):
    points = [SOMEWHERE.start]
    for s in rebuild(table, SOMEWHERE):
        points += [s.end] if isinstance(s, Line) else [s.point(s.angle * k / count) for k in range(1, count + 1)]
    return np.array(points)


THREE_BENDS = BendTable((Bend(410, 0, 90, 90), Bend(288.44, 32.77, 56.9, 90), Bend(471.1, -147, 56.2, 90)), 268.2)


@pytest.mark.parametrize(("digits", "fit"), [(0.254, "0.2mm"), (1.0, "0.8mm")])
def test_points_rounded_beyond_the_tolerance_name_the_fit_that_makes_a_tube_of_them(digits, fit):
    """To 0.01 in, and to a whole mm: nothing within 0.05 mm has few bends, and dozens of corners do not say why."""
    rounded = np.round(chord_vertices(THREE_BENDS, 16) / digits) * digits
    run = run_of(Polyline(rounded))
    (said,) = [finding for finding in run.findings if finding.code == "fit-looser"]
    assert "a tube of 3 bends" in said.message and f"--fit {fit}" in said.cure_in(None)
    looser = run_of(Polyline(rounded), fit=float(fit.removesuffix("mm")))
    assert_same(looser.table, THREE_BENDS, 1.0, 0.5, 0.6)
    assert looser.deviation == pytest.approx(said.measured, abs=1e-9)
    assert not [finding for finding in looser.findings if finding.code == "fit-looser"]


def test_a_tube_of_which_one_arc_was_not_found_names_the_fit():
    """Chords to 0.1 mm: two of three bends come out, of the third four slight corners."""
    table = BendTable((Bend(200, 0, 90, 76.2), Bend(150, 90, 90, 76.2), Bend(150, 45, 45, 76.2)), 180)
    points = [(0.0, 0.0, 0.0)]
    for s in rebuild(table, Placement()):
        points += [s.end] if isinstance(s, Line) else [s.point(s.angle * k / 8) for k in range(1, 9)]
    run = run_of(Polyline(np.round(points, 1)))
    assert sum(bend.clr is None for bend in run.table.bends) == 4 and len(run.table.bends) == 7
    (said,) = [finding for finding in run.findings if finding.code == "fit-looser"]
    assert "a tube of 3 bends" in said.message and "--fit 0.2mm" in said.cure_in(None)


@pytest.mark.parametrize(("step", "fit"), [(12.0, "0.2mm"), (30.0, "0.8mm")])
def test_a_spline_through_few_points_names_the_fit(step, fit):
    """It swings past the tangent points, so that arcs stand for what is beside the bends, too."""
    table = BendTable((Bend(200, 0, 90, 60), Bend(150, 90, 45, 60), Bend(120, -120, 60, 60)), 180)
    curve = interpolating(table, Placement(), step, 3)
    run = run_of(curve)
    assert len(run.table.bends) >= 9
    (said,) = [finding for finding in run.findings if finding.code == "fit-looser"]
    assert "a tube of 3 bends" in said.message and f"--fit {fit}" in said.cure_in(None)
    again = run_of(curve, fit=float(fit.removesuffix("mm")))
    assert len(again.table.bends) == 3 and again.deviation == pytest.approx(said.measured, abs=1e-9)


def test_a_spline_traced_by_hand_names_the_fit_that_gives_it_the_radius_of_a_die():
    """It waves by more than sixteen times the tolerance; that all bends then are those of a die speaks for a tube."""
    table = BendTable((Bend(500, 0, 60, 140), Bend(380, 0, 60, 140)), 500)
    drawing = Drawing("fit", curves=[DrawnCurve(interpolating(table, SOMEWHERE, 80.0, 3), "L", "1")])

    def read(fit, radii):
        (run,), _ = reduce_drawing(drawing, Tolerances(fit=fit), radii=radii)
        return run, [finding for finding in run.findings if finding.code == "fit-looser"]

    run, (said,) = read(0.05, (140.0, 178.0))
    assert len(run.table.bends) > 6 and said.measured > 0.8
    assert "a tube of 2 bends" in said.message and "--fit 3.2mm" in said.cure_in(None)
    assert "--fit 0.126in" in said.cure_in(Display("in"))
    again, none = read(3.2, (140.0, 178.0))
    assert not none and again.deviation == pytest.approx(said.measured, abs=1e-9)
    assert_same(again.table, table, 3.2, 0.5, 1e-6)
    assert not read(0.05, ())[1], "without dies it may as well be a curve"
    assert not read(0.05, (100.0,))[1], "of another radius"


def test_what_is_no_tube_at_any_fit_names_none():
    saw = np.array([(20.0 * k, 4.0 * (k % 2), 0.0) for k in range(30)])
    assert not [finding for finding in run_of(Polyline(saw)).findings if finding.code == "fit-looser"]


def test_what_no_fit_helps_is_not_searched_for_long(monkeypatch):
    """A wavering line in many tubes: one is tried, with the wider fit, for no more than 12 bends. The three that were
    tried with both, for as many bends as there might be, took 14 times as long as all the rest."""
    rng = np.random.default_rng(3)
    t = np.linspace(0.0, 1.0, 100)
    wave = np.c_[2000.0 * t, 100.0 * np.sin(9.0 * t), 60.0 * np.cos(7.0 * t * t)]
    curves = [
        DrawnCurve(Polyline(wave + rng.normal(0.0, 0.2, (100, 3)) + (0.0, 500.0 * k, 0.0)), "L", f"{k:X}")
        for k in range(4)
    ]
    asked, sizes = [], []
    within, follow = looser._within, tangent_row.follow

    def counted_within(one, run, tol, times, radii):
        asked.append(times)
        return within(one, run, tol, times, radii)

    def counted_follow(points, stretches, weights=None):
        sizes.append(len(stretches))
        return follow(points, stretches, weights)

    monkeypatch.setattr(looser, "_within", counted_within)
    monkeypatch.setattr(tangent_row, "follow", counted_follow)
    runs, _ = reduce_drawing(Drawing("waves", curves=curves))
    assert len(runs) == 4 and all(len(run.table.bends) > 80 for run in runs)
    assert asked == [16.0]
    assert sizes and max(sizes) <= 25 and len(sizes) <= tangent_row.ATTEMPTS


def test_a_search_for_radii_stays_within_bounds():
    """A spline through points 30 mm apart swings past the tangent points; one step of the search for its arcs had a
    radius of 3e15 mm, and the whole drawing was refused for it."""
    table = BendTable((Bend(210, 0, 90, 90), Bend(150, 30, 70, 90)), 200)
    run = run_of(interpolating(table, SOMEWHERE, 30, 3))
    assert run.deviation <= 0.06
    assert any(finding.code == "not-line-arc" for finding in run.findings)


def test_a_curve_of_more_bends_than_any_tube_is_not_cut_finer(monkeypatch):
    """A spline of 7 points in yards (seed 73, dxf-rare 80) took 11 s: 187 bends, fitted five times."""
    corners = [(0, 0, 0), (9, 7.2, 0), (18, 0, 4.5), (6, 15, 0), (0, 0, 0), (9, 7.2, 0), (18, 0, 4.5)]
    points = 3000.0 * np.array(corners)
    ends = (points[:3].T @ (1 / 6, 2 / 3, 1 / 6), points[4:].T @ (1 / 6, 2 / 3, 1 / 6))
    curve = Spline(3, points, np.arange(11.0), None, *(tuple(end.tolist()) for end in ends))
    fits = []
    settled = general._settled
    monkeypatch.setattr(general, "_settled", lambda *given: fits.append(given) or settled(*given))
    (run,), _ = reduce_drawing(Drawing("large", curves=[DrawnCurve(curve)]))
    assert len(run.table.bends) > general.MOST_FINER
    assert any(finding.code == "not-line-arc" and finding.severity == "error" for finding in run.findings)
    assert len(fits) <= 3, "once, and for a looser fit with as many bends at most once, and once finer"
    assert all(most == 25 for *_, most in fits[1:])
