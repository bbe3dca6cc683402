"""Bounds that save work leave out nothing: balls around legs, and overlaps that lie where tubes are joined anyhow."""

from __future__ import annotations

import numpy as np
import pytest
from bent_frames import bent_frame
from heaps import heap
from plain_tubes import thrown
from scipy.optimize import minimize
from scipy.spatial.distance import cdist

from converter.joints.bodies import bodies
from converter.joints.finding.contacts import frame_index
from converter.joints.finding.joints import survey_frame
from converter.joints.in_the_way.clashes import find_clashes
from converter.joints.near import overlap
from converter.joints.near.index import _balls, near_pairs, places_on
from converter.joints.near.legs import Legs, nearest_of_pairs
from converter.tolerances import DEFAULT

FRAMES = [heap(25, 60.0), bent_frame(2), thrown(3)]


def _along(frame, count: int):
    """Points of every leg, in order of the legs: (legs, count, 3)."""
    return np.array([places_on(leg, np.linspace(0.0, leg.length, count)) for body in frame for leg in body.legs])


@pytest.mark.parametrize("tubes", FRAMES)
def test_balls_hold_their_legs(tubes):
    frame, _ = bodies(tubes)
    middle, radius = _balls(frame_index(frame, DEFAULT))
    away = np.linalg.norm(_along(frame, 60) - middle[:, None], axis=2)
    assert (away <= radius[:, None] + 1e-9).all()
    assert (away.max(axis=1) >= 0.9 * radius).all()  # nor are they larger than they need be


@pytest.mark.parametrize("tubes", FRAMES)
def test_no_pair_that_comes_near_is_left_out(tubes):
    """Against scipy's distances of points 1/60 of a leg apart."""
    frame, _ = bodies(tubes)
    index = frame_index(frame, DEFAULT)
    i, j, _ = near_pairs(index, frame, 1.0)
    found = set(zip(i.tolist(), j.tolist(), strict=True))
    points, half = _along(frame, 60), np.array([body.half for body in frame])
    near = 0
    for one in range(len(points)):
        for other in range(one + 1, len(points)):
            a, b = int(index.body[one]), int(index.body[other])
            if a == b or index.crowds.together(np.array([a]), np.array([b]))[0]:
                continue
            if cdist(points[one], points[other]).min() < half[a] + half[b] + 1.0:
                near += 1
                assert (one, other) in found
    assert near > 5


def test_nearest_places_of_legs_are_those_of_scipy():
    """Bends and straights of a heap, two by two: a minimum by scipy from the best of some places."""
    frame, _ = bodies(heap(8, 80.0, seed=4))
    legs = [leg for body in frame for leg in body.legs]
    pick = np.random.default_rng(5)
    one, two = pick.integers(len(legs), size=(2, 60))
    s, t, off = nearest_of_pairs(Legs.of([legs[i] for i in one]), Legs.of([legs[i] for i in two]))
    for k in range(60):
        a, b = legs[one[k]], legs[two[k]]
        if a is b:
            continue
        assert np.linalg.norm(np.subtract(a.point(s[k]), b.point(t[k]))) == pytest.approx(off[k], abs=1e-9)
        every = [np.linspace(0.0, leg.length, 40) for leg in (a, b)]
        apart = cdist(places_on(a, every[0]), places_on(b, every[1]))
        m, n = np.unravel_index(int(apart.argmin()), apart.shape)
        best = minimize(
            lambda at, a=a, b=b: float(np.linalg.norm(np.subtract(a.point(at[0]), b.point(at[1])))),
            (every[0][m], every[1][n]),
            bounds=((0.0, a.length), (0.0, b.length)),
            method="Nelder-Mead",
            options={"xatol": 1e-7, "fatol": 1e-9},
        )
        assert off[k] <= best.fun + 1e-6


@pytest.mark.parametrize("tubes", [heap(40, 60.0), heap(40, 150.0, seed=3), bent_frame(5, spokes=30), thrown(5, 14)])
def test_overlaps_at_joints_may_be_left_out_early(tubes, monkeypatch):
    """Every overlap climbed to its deepest place, wherever that lies, comes to the same clashes."""
    found = survey_frame(tubes)
    early = find_clashes(found, DEFAULT)
    left_out = []
    bound = overlap._lies_at
    monkeypatch.setattr(overlap, "_lies_at", lambda *given: left_out.append(bound(*given)) and False)
    assert find_clashes(found, DEFAULT) == early
    if len(tubes) == 40 and left_out:
        assert any(left_out)
