"""A tube that would run through itself is an error; ends welded to its own side and turns that pass are not."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from many_tubes import different_tubes
from scipy.spatial.distance import cdist
from test_audit import bend, codes, only

from converter.geometry import near
from converter.geometry.near import self_approach
from converter.model import self_approach as chords
from converter.model.bends import Bend, BendTable
from converter.model.centerline import rebuild
from converter.model.self_approach import nearest_to_itself, sampled, surely_apart


def test_a_flat_square_spiral_runs_through_its_own_first_leg():
    """Legs 500, 300, 300 and a tail of 500 at right angles on R 100: the tail crosses the first leg."""
    finding = only(bend(100.0), bend(100.0, feed=300.0), bend(100.0, feed=300.0), tail=700.0)
    assert (finding.code, finding.severity, finding.bend) == ("self-contact", "error", 3)
    assert finding.measured < 5.0
    assert finding.limit == 50.0


def test_the_same_turns_passing_beside_are_fine():
    """A roll before the third bend lifts the tail off the plane: 10 degrees over a run of 300 is more than 50."""
    lifted = [bend(100.0), bend(100.0, feed=300.0, rotation=12.0), bend(100.0, feed=300.0, rotation=12.0)]
    assert ("self-contact", 3) not in codes(*lifted, tail=700.0)


def test_an_end_drawn_up_to_its_own_side_is_a_weld_not_a_crossing():
    assert codes(bend(100.0), bend(100.0, feed=300.0), bend(100.0, feed=300.0), tail=300.0) == []


def test_a_hairpin_that_stays_apart_is_fine():
    """Two quarter turns round R 100 leave the legs 200 apart, well over the 50 of the tube."""
    assert codes(bend(100.0), bend(100.0, feed=60.0)) == []


@pytest.mark.parametrize("thick", [10.0, 50.0])
def test_the_least_approach_is_found_to_a_tenth_of_the_thickness(thick):
    """A helix-like pair of full turns a known pitch apart; scipy's distances of fine samples tell."""
    rows = [Bend(0.0 if i else 40.0, 0.0 if not i else 6.0, 90.0, 120.0) for i in range(8)]
    segments = rebuild(BendTable(tuple(rows), 40.0))
    points, place = sampled(segments, 1.0)
    inside = (place >= 1.5 * thick) & (place <= place[-1] - 1.5 * thick)
    apart = cdist(points[inside], points[inside])
    brute = apart[np.abs(np.subtract.outer(place[inside], place[inside])) > 2.0 * thick].min()
    met = nearest_to_itself(segments, thick)
    if brute > 1.2 * thick:
        assert met is None
    else:
        assert met[0] == pytest.approx(brute, abs=0.1 * thick)
        exact = self_approach(points, place, 2.0 * thick, 1.5 * thick, 1.2 * thick)
        assert exact[0] == pytest.approx(brute, abs=1e-12)


def test_few_points_are_looked_at_in_pairs_and_many_by_a_tree_with_the_same_answer(monkeypatch):
    """scipy's tree and the table of distances, each against the other."""
    walk = np.cumsum(np.random.default_rng(3).normal(size=(700, 3)), axis=0)
    place = np.arange(700.0)
    by_pairs = self_approach(walk, place, 20.0, 5.0, 3.0)
    monkeypatch.setattr(near, "_MANY", 0)
    assert by_pairs is not None and self_approach(walk, place, 20.0, 5.0, 3.0) == by_pairs


def test_a_coil_of_hundreds_of_metres_is_looked_at_too():
    """Two legs of 300 m that cross once, 25 mm thick: 240,000 samples, whose distances by pairs would be 6e10."""
    rows = (Bend(300_000.0, 0.0, 90.0, 100.0), Bend(500.0, 0.0, 90.0, 100.0), Bend(500.0, 0.0, 90.0, 100.0))
    gap, place = nearest_to_itself(rebuild(BendTable(rows, 300_000.0)), 25.0)
    assert gap < 2.5  # they cross; samples are 2.5 mm apart
    # the third bend ends 700 mm beside the first leg, less its radius and the first one's
    assert place == pytest.approx(300_000.0 + 1_000.0 + 3.0 * 50.0 * pi + 600.0, abs=5.0)


def test_samples_follow_the_curve():
    segments = rebuild(BendTable((Bend(100.0, 0.0, 90.0, 50.0),), 30.0))
    points, place = sampled(segments, 2.0)
    assert place[-1] == pytest.approx(130.0 + 25.0 * pi)
    steps = np.sqrt((np.diff(points, axis=0) ** 2).sum(axis=1))
    assert steps.max() <= 2.0 + 1e-9
    assert points[-1] == pytest.approx((150.0, 80.0, 0.0))


def test_segment_distances_against_brute_force():
    from converter.geometry.near import least_between

    rng = np.random.default_rng(11)
    start, end = rng.normal(size=(40, 3)), rng.normal(size=(40, 3))
    end[:5] = start[:5] + (start[5:10] - end[5:10])  # parallel ones too
    i, j = np.triu_indices(40, 1)
    u = np.linspace(0.0, 1.0, 201)[:, None]
    for a, b, gap in zip(i[::13], j[::13], least_between(start, end, i[::13], j[::13]), strict=True):
        p, q = start[a] + u * (end[a] - start[a]), start[b] + u * (end[b] - start[b])
        brute = np.sqrt(((p[:, None] - q[None]) ** 2).sum(axis=2)).min()
        assert gap <= brute + 1e-12
        assert gap == pytest.approx(brute, abs=0.02)


def test_tubes_looked_at_together_are_told_what_each_is_alone(monkeypatch):
    """A bound on memory must not show, nor a tube in whose chords nothing can meet."""
    tubes = [(one.run.centerline, 300.0 + 40.0 * i) for i, one in enumerate(different_tubes(12, bends=4))]
    tubes += [(one.run.centerline, 38.1) for one in different_tubes(3, bends=1)]
    alone = [surely_apart([one])[0] for one in tubes]
    assert set(alone) == {True, False} and surely_apart(tubes) == alone
    monkeypatch.setattr(chords, "_PAIRS", 30)
    assert surely_apart(tubes) == alone
    assert surely_apart([]) == []
