"""Chains of one shape are fitted once: the others are that tube, moved to where each was drawn."""

from __future__ import annotations

from dataclasses import replace
from time import process_time

import numpy as np
import pytest
from moved import motion
from scipy.interpolate import BSpline

import converter.reducer.general as general
from converter.model.curve import Arc, Ellipse, Line, Polyline, Spline
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Run
from converter.reducer import reduce_drawing
from converter.reducer.chaining.chain import Chain
from converter.reducer.same_shape import ChainShape
from converter.tolerances import DEFAULT

STILL = (np.eye(3), np.zeros(3))


def carried(points, where):
    turn, shift = where
    return np.asarray(points, float) @ turn.T + shift


def vec(point, where):
    return tuple(carried(point, where).tolist())


def wave(where=STILL, scale: float = 1.0) -> Spline:
    """A cubic that bends in space, so that its mirror image is another shape."""
    control = carried(
        scale * np.array([(0, 0, 0), (90, 70, 10), (200, -40, 80), (330, 60, 40), (420, 160, -60)]), where
    )
    ends = (tuple(control[0].tolist()), tuple(control[-1].tolist()))
    return Spline(3, control, np.array([0, 0, 0, 0, 0.4, 1, 1, 1, 1.0]), None, *ends)


def oval(where=STILL) -> Ellipse:
    turn, _ = where
    axes = [tuple((turn @ np.array(axis)).tolist()) for axis in ((200.0, 0.0, 0.0), (0.0, 80.0, 0.0))]
    return Ellipse(vec((0.0, 0.0, 0.0), where), *axes, 10.0, 150.0)


def chords(where=STILL) -> Polyline:
    """A straight and a noisy arc drawn by chords."""
    angles = np.radians(np.arange(0.0, 91.0, 3.0))
    noise = 0.01 * np.random.default_rng(3).standard_normal(len(angles))
    bend = np.column_stack(((100.0 + noise) * np.sin(angles), 100.0 - (100.0 + noise) * np.cos(angles), 0.0 * angles))
    return Polyline(carried(np.concatenate(([(-300.0, 0.0, 0.0)], bend, [(100.0, 400.0, 0.0)])), where))


@pytest.fixture
def fits(monkeypatch) -> list[str]:
    """Names of the chains that are fitted, but for those tried with a looser fit."""
    seen: list[str] = []
    fit = general.reduce_chain

    def counted(one, name, tol, *given):
        if tol.fit == DEFAULT.fit:
            seen.append(name)
        return fit(one, name, tol, *given)

    monkeypatch.setattr(general, "reduce_chain", counted)
    return seen


def reduced(*curves) -> list[Run]:
    drawn = [DrawnCurve(c, layer=f"L{k}", handle=f"H{k}") for k, c in enumerate(curves)]
    return reduce_drawing(Drawing("copies", curves=drawn))[0]


def points_of(curve) -> np.ndarray:
    """Points on a drawn curve, by scipy and by hand."""
    if isinstance(curve, Spline):
        return BSpline(curve.knots, curve.control_points, curve.degree)(np.linspace(0.0, 1.0, 300))
    if isinstance(curve, Ellipse):
        t = np.radians(np.linspace(curve.start_angle, curve.end_angle, 300))[:, None]
        return curve.center + np.cos(t) * np.array(curve.major) + np.sin(t) * np.array(curve.minor)
    return np.asarray(curve.points)


def from_centerline(run: Run, points: np.ndarray) -> float:
    """The largest distance of points from a run's centerline, by the closed forms of segment and circle."""
    every = []
    for one in run.centerline:
        start, end = np.array(one.start), np.array(one.end)
        if isinstance(one, Line):
            along = np.clip((points - start) @ (end - start) / ((end - start) @ (end - start)), 0.0, 1.0)
            every.append(np.linalg.norm(points - start - along[:, None] * (end - start), axis=1))
            continue
        assert isinstance(one, Arc)
        u = (start - one.center) / one.radius
        v = np.cross(one.normal, u)
        x, y, z = (points - one.center) @ u, (points - one.center) @ v, (points - one.center) @ np.array(one.normal)
        inside = np.degrees(np.arctan2(y, x)) % 360.0 <= one.angle
        ring = np.hypot(np.hypot(x, y) - one.radius, z)
        ends = np.minimum(np.linalg.norm(points - start, axis=1), np.linalg.norm(points - end, axis=1))
        every.append(np.where(inside, ring, ends))
    return float(np.min(every, axis=0).max())


@pytest.mark.parametrize("draw", [wave, oval, chords])
def test_copies_are_the_same_tube_where_each_was_drawn(draw, fits):
    places = [STILL, (np.eye(3), np.array((4e3, -2e3, 50.0))), motion(1), motion(2), motion(3)]
    curves = [draw(where) for where in places]
    runs = reduced(*curves)
    assert fits == ["L0"]
    for k, (run, curve) in enumerate(zip(runs, curves, strict=True)):
        assert (run.name, run.layer, run.handles) == (f"L{k}", f"L{k}", (f"H{k}",))
        assert {(b.layer, b.handle) for b in run.table.bends} == {(f"L{k}", f"H{k}")}
        assert [replace(b, layer=None, handle=None) for b in run.table.bends] == [
            replace(b, layer=None, handle=None) for b in runs[0].table.bends
        ]
        assert run.table.tail == runs[0].table.tail
        assert from_centerline(run, points_of(curve)) == pytest.approx(run.deviation, abs=2e-3)
        assert run.start == pytest.approx(curve.start, abs=run.deviation + 1e-6)
        assert run.end == pytest.approx(curve.end, abs=run.deviation + 1e-6)


def test_what_is_told_is_told_of_each_copy_in_its_place(fits):
    where = motion(4)
    first, other = reduced(wave(), wave(where))
    assert [f.code for f in first.findings] == [f.code for f in other.findings] and "not-line-arc" in {
        f.code for f in first.findings
    }
    for mine, its in zip(first.findings, other.findings, strict=True):
        assert (its.tube, its.measured) == ("L1", mine.measured)
        assert (its.handle is None or its.handle == "H1") and its.layer == "L1"
        if mine.at is not None:
            assert its.at == pytest.approx(vec(mine.at, where), abs=1e-6)
        assert np.array(its.also) == pytest.approx(carried(mine.also, where) if mine.also else [], abs=1e-6)
    assert fits == ["L0"]


def test_a_mirror_image_in_space_is_another_shape(fits):
    first, other = reduced(wave(), wave(motion(5, mirrored=True)))
    assert fits == ["L0", "L1"]
    turns = [[b.rotation for b in run.table.bends[1:]] for run in (first, other)]
    assert np.sign(turns[0][:1]) == -np.sign(turns[1][:1])


def test_a_mirror_image_of_a_flat_curve_is_that_curve_turned_over(fits):
    over = (np.diag((1.0, -1.0, 1.0)), np.array((0.0, 900.0, 0.0)))
    first, other = reduced(oval(), oval(over))
    assert fits == ["L0"]
    x, y, z = first.placement.normal
    assert abs(z) == pytest.approx(1.0) and other.placement.normal == pytest.approx((x, -y, -z), abs=1e-9)


@pytest.mark.parametrize("scale", [1.0 + 1e-7, 1.001])
def test_what_is_nearly_of_one_shape_is_not(scale, fits):
    """1e-7 of it moves a point by 4e-5 mm, more than what counts as the same length (1e-6)."""
    reduced(wave(), wave((np.eye(3), np.array((0.0, 2e3, 0.0))), scale))
    assert fits == ["L0", "L1"]


def test_other_ends_and_ways_are_other_shapes():
    def shape(*items):
        return ChainShape(Chain(tuple((DrawnCurve(c), back) for c, back in items), False, None, 0))

    here = (oval(), False)
    assert shape(here).move_to(shape(here), 1e-6) is not None
    for other in (
        shape((oval(), True)),
        shape((replace(oval(), end_angle=151.0), False)),
        shape(here, here),
        shape((wave(), False)),
        shape((Polyline(np.zeros((3, 3))), False)),
    ):
        assert shape(here).move_to(other, 1e-6) is None
    line = shape((Line((0, 0, 0), (1, 0, 0)), False))
    assert line.move_to(shape((Line((5, 0, 0), (6, 0, 0)), False)), 1e-6).of_point((1.0, 0.0, 0.0)) == (6.0, 0.0, 0.0)
    assert line.move_to(shape((Line((0, 0, 0), (0, 1, 0)), False)), 1e-6) is None, "how a straight turns is not known"
    corner, point = (shape((Polyline(np.array(p, float)), False)) for p in (np.eye(3), np.zeros((3, 3))))
    assert corner.move_to(point, 1e-6) is None and point.move_to(corner, 1e-6) is None


def test_a_thousand_copies_take_little_longer_than_one():
    """In processor time; each took 60 ms of it."""
    reduced(oval())
    began = process_time()
    reduced(oval())
    one, began = process_time() - began, process_time()
    runs = reduced(*(oval((np.eye(3), np.array((500.0 * k, 0.0, 0.0)))) for k in range(1000)))
    assert len(runs) == 1000
    assert process_time() - began < 100.0 * one
