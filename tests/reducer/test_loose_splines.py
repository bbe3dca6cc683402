"""A tube of many bends drawn as one spline that strays by more than the fit tolerance names the fit that takes it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline, splprep
from splines import even_points

from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Spline
from converter.model.drawing import Drawing, DrawnCurve
from converter.reducer import reduce_drawing
from converter.tolerances import Tolerances

SIX = BendTable(
    (
        Bend(69.7, 0, 145.3, 100),
        Bend(176.6, 118.9, 145.7, 100),
        Bend(145.9, -100.6, 33.8, 100),
        Bend(93.5, 108, 148.3, 100),
        Bend(187.8, 37.1, 34.8, 100),
        Bend(83.7, 126.3, 59.6, 100),
    ),
    194.4,
)
FIVE = BendTable(
    (
        Bend(154.8, 0, 21.5, 60),
        Bend(257.1, 30.2, 137.8, 60),
        Bend(111.5, -28.9, 47.5, 60),
        Bend(192.3, 24, 142.9, 60),
        Bend(211.4, -156.8, 94, 60),
    ),
    71.9,
)
THREE = BendTable((Bend(80.4, 0, 127.8, 40), Bend(236.6, -68.4, 96.8, 40), Bend(205.6, -122.1, 73.1, 40)), 154.4)


def through(table: BendTable, count: int) -> Spline:
    """The cubic through about so many even points: it swings where straights and arcs meet."""
    points = even_points(table, Placement(), table.developed_length / (count - 1))
    u = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))))
    fitted = make_interp_spline(u, points, 3)
    return _spline(3, fitted.c, fitted.t)


def near(table: BendTable, degree: int, off: float) -> Spline:
    """The spline of few knots that misses 4,000 points by so many mm in the mean (FITPACK's smoothing)."""
    points = even_points(table, Placement(), table.developed_length / 4000.0)
    u = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))))
    (knots, control, _), _ = splprep(points.T, u=u, s=len(points) * off**2, k=degree)[:2]
    return _spline(degree, np.array(control).T, knots)


def _spline(degree: int, control: np.ndarray, knots: np.ndarray) -> Spline:
    ends = (tuple(control[0].tolist()), tuple(control[-1].tolist()))
    return Spline(degree, np.asarray(control), np.asarray(knots), None, *ends)


def read(curve: Spline, **tolerances: float):
    """What is read of one curve, without dies."""
    (run,), _ = reduce_drawing(Drawing("loose", curves=[DrawnCurve(curve, "L", "1")]), Tolerances(**tolerances))
    return run


@pytest.mark.parametrize(
    ("table", "curve", "fit"),
    [
        (SIX, through(SIX, 100), 0.2),
        (FIVE, near(FIVE, 5, 0.02), 0.2),
        (THREE, near(THREE, 3, 0.02), 0.2),
    ],
    ids=["six, through 100 points", "five, degree 5", "three, degree 3"],
)
def test_a_spline_that_strays_names_the_fit_at_which_it_has_its_bends(table, curve, fit):
    """Of 7 to 33 bends that follow it within 0.05 mm none is a bend; the true ones are told, with how far off it lies.

    The right table is the one the points were taken from; the fit that is told gives it back.
    """
    run = read(curve)
    told = [f for f in run.findings if f.code == "fit-looser"]
    assert [dict(f.values)["bends"] for f in told] == [len(table.bends)]
    assert dict(told[0].values)["fit"] == pytest.approx(fit) and 0.05 < told[0].measured <= fit
    assert any(f.code == "not-line-arc" for f in run.findings)
    again = read(curve, fit=fit)
    assert again.deviation == pytest.approx(told[0].measured, abs=1e-9)
    assert not [f for f in again.findings if f.severity == "error"]
    away = again.deviation
    for got, want in zip(again.table.bends, table.bends, strict=True):
        assert got.feed == pytest.approx(want.feed, abs=1.5 * away)
        assert got.angle == pytest.approx(want.angle, abs=0.3 * away)
        assert (got.rotation - want.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.3 * away)
        assert got.clr == pytest.approx(want.clr, abs=0.3 * away)
    assert again.table.tail == pytest.approx(table.tail, abs=1.5 * away)


def test_a_stretch_between_swings_is_no_arc_of_a_million_kilometres():
    """Where a spline swings about a straight, a stretch of it has hardly a radius: the whole drawing was refused."""
    assert len(read(through(SIX, 111)).table.bends) >= len(SIX.bends)
