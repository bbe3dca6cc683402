"""Coils: a free curve that is a helix is told for one, with what a roller is set to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

from converter.geometry.helix import fit_helix
from converter.model.curve import Polyline, Spline
from converter.model.drawing import Drawing, DrawnCurve
from converter.reducer import reduce_drawing


def helix(radius, rise, turns, count, phase=0.0):
    t = np.linspace(0.0, 2.0 * np.pi * turns, count)
    return np.column_stack((radius * np.cos(t + phase), radius * np.sin(t + phase), rise * t / (2.0 * np.pi)))


def told(curve):
    runs, _ = reduce_drawing(Drawing("d", curves=[DrawnCurve(curve)]))
    return [f.message for run in runs for f in run.findings if f.code == "not-line-arc"]


@settings(max_examples=60)
@given(
    radius=st.floats(20.0, 500.0),
    steepness=st.floats(0.02, 2.0),
    turns=st.floats(1.0, 8.0),
    turned=st.tuples(*[st.floats(-180.0, 180.0)] * 3),
    left=st.booleans(),
    seed=st.integers(0, 99),
)
def test_a_helix_anywhere_is_found_again(radius, steepness, turns, turned, left, seed):
    """Turned by scipy, of either hand, its points spaced as they come: what it was made with to a thousandth.

    Steps of 4 to 8 degrees: chords rise against the axis by their angle squared / 24, which uneven steps scatter.
    """
    rng = np.random.default_rng(seed)
    t = np.radians(np.arange(0.0, 360.0 * turns + 12.0, 6.0))
    t[1:-1] += np.radians(rng.uniform(-1.0, 1.0, len(t) - 2))
    points = np.column_stack((radius * np.cos(t), radius * np.sin(t), steepness * radius * t / (2.0 * np.pi)))
    points[:, 1] *= -1.0 if left else 1.0
    placed = Rotation.from_euler("xyz", turned, degrees=True).apply(points) + rng.uniform(-1e3, 1e3, 3)
    found = fit_helix(placed)
    made = t[-1] / (2.0 * np.pi)
    assert found is not None and found.residual < 1e-3 * radius
    assert (found.radius, found.rise, found.turns) == pytest.approx((radius, steepness * radius, made), rel=1e-3)


@pytest.mark.parametrize("points", [49, 145])
def test_a_coil_drawn_as_a_spline_or_as_chords_is_told_for_one(points):
    drawn = helix(100.0, 60.0, 3.0, points)
    curve = Polyline(drawn)
    if points < 100:  # sixteen points a turn, as a sketch has them
        made = make_interp_spline(np.linspace(0.0, 1.0, points), drawn, k=3)
        curve = Spline(3, made.c, made.t, None, tuple(drawn[0].tolist()), tuple(drawn[-1].tolist()))
    (words,) = told(curve)
    assert "(a coil of 3.00 turns, 100.00 mm centerline radius, rising 60.00 mm a turn)" in words


def test_other_free_curves_are_no_coil():
    t = np.linspace(0.0, 4.0 * np.pi, 200)
    spiral = np.column_stack(((40.0 + 8.0 * t) * np.cos(t), (40.0 + 8.0 * t) * np.sin(t), 0.0 * t))
    cone = helix(100.0, 60.0, 3.0, 200) * np.column_stack((*[np.linspace(1.0, 0.6, 200)] * 2, np.ones(200)))
    for points in (spiral, cone):
        assert all("coil" not in words for words in told(Polyline(points)))
        found = fit_helix(points)
        assert found is None or found.residual > 0.01 * found.radius


@pytest.mark.parametrize("turns", [0.3, 0.5, 1.0])
def test_a_rail_of_a_turn_and_less_is_a_coil_too(turns):
    """As along a winding stair: 900 mm around its post, 2500 mm up for each turn."""
    (words,) = told(Polyline(helix(900.0, 2500.0, turns, 200)))
    assert f"(a coil of {turns:.2f} turns, 900.00 mm centerline radius, rising 2500.00 mm a turn)" in words


def test_less_than_a_quarter_turn_is_no_coil():
    (words,) = told(Polyline(helix(900.0, 2500.0, 0.24, 200)))
    assert "coil" not in words
