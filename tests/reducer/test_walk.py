"""A tube's least squares in linear time against the same worked out densely, and by moving its vertices."""

from __future__ import annotations

import numpy as np
import pytest

import converter.reducer.fitting.follow as follow_module
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line
from converter.reducer.adjusting.linear import RowVertices, linearized, segments_of
from converter.reducer.adjusting.walk import WalkStep, solve_walk
from converter.reducer.fitting.divisions import DividedPart
from converter.reducer.fitting.follow import flatten, follow

HOOK = BendTable((Bend(200, 0, 90, 60), Bend(150, 90, 45, 60), Bend(0, -60, 60, 80), Bend(40, 20, 30, None)), 180)
PLACE = Placement((1e3, 200, -30), (0.6, 0.8, 0), (0, 0, 1))
PLACES = [("line", 0), ("arc", 0), ("line", 1), ("arc", 1), ("arc", 2), ("line", 3), ("line", 4)]


@pytest.mark.parametrize("count", [5, 700], ids=["few", "more than a block of them"])
def test_a_walk_is_solved_as_the_whole_system_is(count):
    """Random steps with 0 to 3 unknowns: numpy's lstsq of the matrix written out, and its covariance."""
    rng = np.random.default_rng(5)
    steps = []
    for k in range(9):
        x = k % 4
        steps.append(
            WalkStep(*(rng.normal(size=s) for s in ((count, 2), (count, x), count, (2, 2), (2, x))))  # a, c, b, f, g
        )
    size = 2 + sum(s.c.shape[1] for s in steps)
    state, at = np.eye(2, size), 2
    rows = []
    for s in steps:
        own = np.eye(size)[at : at + s.c.shape[1]]
        rows.append(s.a @ state + s.c @ own)
        state = s.f @ state + s.g @ own
        at += s.c.shape[1]
    matrix, right = np.concatenate(rows), np.concatenate([s.b for s in steps])
    dense = np.linalg.lstsq(matrix, right, rcond=None)[0]
    solved = solve_walk(steps)
    assert np.concatenate((solved.state, *solved.unknowns)) == pytest.approx(dense, rel=1e-7, abs=1e-9)
    spread = np.diag(np.linalg.inv(matrix.T @ matrix))[2:]
    assert np.concatenate(solved.variances) == pytest.approx(spread, rel=1e-6)


def vertices(noise):
    rng = np.random.default_rng(2)
    out = []
    for (kind, row), segment in zip(PLACES, segments_of(HOOK, PLACE, PLACES), strict=True):
        shares = np.linspace(0.05, 0.95, 12)
        if isinstance(segment, Arc):
            points = np.array([segment.point(segment.angle * u) for u in shares])
        else:
            assert isinstance(segment, Line)
            points = np.array(segment.start) + shares[:, None] * (np.array(segment.end) - segment.start)
        out.append(RowVertices(kind, row, points + rng.normal(0.0, noise, points.shape), rng.uniform(0.5, 2.0, 12)))
    return out


def test_derivatives_are_those_of_the_distances():
    """Every number of the table moved by a hair: all residuals change as the steps say, but for their own size."""
    proofs, end = vertices(1e-4), (1200.0, 700.0, 90.0)

    def residuals(table, placement):
        tube = linearized(table, placement, proofs, {2}, PLACE.start, end)
        return tube, np.concatenate([s.b for s in tube.steps])

    tube, begun = residuals(HOOK, PLACE)
    assert [names[-1] for names in tube.names] == ["radius", "radius", "angle", "angle", "tail"], "fixed, none, corner"
    for row in range(-1, len(tube.steps)):
        for k in range(6 if row < 0 else len(tube.names[row])):
            state, unknowns = np.zeros(6), [np.zeros(len(names)) for names in tube.names]
            (state if row < 0 else unknowns[row])[k] = 1.0
            told, s = [], state
            for step, x in zip(tube.steps, unknowns, strict=True):
                told.append(step.a @ s + step.c @ x)
                s = step.f @ s + step.g @ x
            hair = 1e-6
            moved = residuals(*tube.moved(state, unknowns, hair))[1]
            assert (begun - moved) / hair == pytest.approx(np.concatenate(told), abs=2e-3), (row, k)


def test_what_a_program_cannot_bring_near_is_given_up(monkeypatch):
    """Half a wave on one arc: what the closest arc misses by is found by trying every center on its axis."""
    x = np.linspace(0.0, 200.0, 60)
    points = np.column_stack((x, 30.0 * np.sin(np.pi * x / 200.0), 0.0 * x))
    chain = follow(points, [DividedPart("arc", 0, len(points) - 1)])
    assert chain is not None
    away = np.hypot(points[:, 0] - 100.0, points[:, 1] + np.linspace(20.0, 400.0, 100_000)[:, None])
    least = float((away.max(axis=1) - away.min(axis=1)).min()) / 2.0
    programs = []
    step = follow_module.least_largest_step

    def counted(*given):
        programs.append(step(*given))
        return programs[-1]

    monkeypatch.setattr(follow_module, "least_largest_step", counted)
    assert flatten(points, chain, least / 1.2).miss > least / 1.2
    assert len(programs) == 1 and programs[0].largest == pytest.approx(least, rel=0.1)
    assert flatten(points, chain, 1.1 * least).miss <= 1.1 * least < chain.miss
