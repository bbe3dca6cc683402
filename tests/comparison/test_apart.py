"""How far two centerlines lie apart: against shapely and scipy on the same curves in many points, and by hand."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sqrt, tan

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from scipy.spatial.distance import directed_hausdorff
from scipy.spatial.transform import Rotation

from converter.comparison.align import aligned, element_points, paired
from converter.comparison.apart import farthest, feet_on
from converter.comparison.differences import compare
from converter.geometry.vectors import within_half_turn
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild, reverse_table, walk
from converter.model.curve import Arc, Line
from converter.model.deviation import points_along

bends = st.builds(
    Bend, feed=st.floats(5.0, 600.0), rotation=st.floats(-170.0, 170.0), angle=st.floats(5.0, 150.0),
    clr=st.floats(20.0, 200.0),
)  # fmt: skip
tables = st.builds(
    lambda rows, tail: BendTable((replace(rows[0], rotation=0.0), *rows[1:]) if rows else (), tail),
    st.lists(bends, max_size=5), st.floats(5.0, 600.0),
)  # fmt: skip


def made_of(table: BendTable, seed: int, off: float = 1.0) -> BendTable:
    """The same with every value off by chance: lengths by some mm, angles by some degrees, radii by a few percent."""
    random = np.random.default_rng(seed)
    return BendTable(
        tuple(
            replace(
                bend,
                feed=abs(bend.feed + off * random.normal(0, 2)),
                rotation=within_half_turn(bend.rotation + off * random.normal(0, 0.5)) if i else 0.0,
                angle=max(1.0, bend.angle + off * random.normal(0, 0.5)),
                clr=bend.clr * (1.0 + off * 0.02 * random.normal()),
            )
            for i, bend in enumerate(table.bends)
        ),
        table.tail + abs(random.normal(0, 2)),
    )


def spread(chain, step: float) -> np.ndarray:
    """Points along a chain no farther apart than ``step`` mm."""
    return np.concatenate(
        [points_along(each, np.linspace(0.0, 1.0, 2 + int(each.length / step))) for each in chain]
    )  # fmt: skip


@settings(max_examples=12)
@given(tables, st.integers(0, 10_000), st.sampled_from([0.01, 1.0, 10.0]))
def test_the_greatest_distance_is_that_of_many_points(table, seed, off):
    """scipy's cKDTree and directed_hausdorff, on points at most 0.5 and 5 mm apart."""
    one, other = rebuild(table), rebuild(made_of(table, seed, off))
    found = farthest(one, other)
    many, against = spread(one, 0.5), spread(other, 0.5)
    theirs = cKDTree(against).query(many)[0].max()
    # a foot is off by a quarter of a millimetre along at most, a farthest point as well
    assert found.distance <= theirs + 0.26
    assert found.distance >= sqrt(max(0.0, theirs**2 - 0.25**2)) - 1e-3
    coarse = spread(one, 5.0), spread(other, 5.0)
    assert found.distance == pytest.approx(directed_hausdorff(*coarse)[0], abs=5.1)
    # and where it is said to be
    assert feet_on(one, found.point[None])[0][0] == pytest.approx(found.point, abs=1e-6)
    assert feet_on(other, found.point[None])[0][0] == pytest.approx(found.foot, abs=1e-9)
    assert np.linalg.norm(found.point - found.foot) == pytest.approx(found.distance)


@settings(max_examples=12)
@given(tables, st.integers(0, 10_000))
def test_in_a_plane_it_is_the_hausdorff_distance_of_shapely(table, seed):
    flat = replace(table, bends=tuple(replace(b, rotation=180.0 * (i % 2)) for i, b in enumerate(table.bends)))
    made = made_of(flat, seed)
    made = replace(made, bends=tuple(replace(b, rotation=180.0 * (i % 2)) for i, b in enumerate(made.bends)))
    one, other = rebuild(flat), rebuild(made)
    lines = [shapely.LineString(spread(chain, 1.0)[:, :2]) for chain in (one, other)]
    theirs = shapely.hausdorff_distance(*lines)
    ours = max(farthest(one, other).distance, farthest(other, one).distance)
    # chords of 1 mm rise 0.006 mm at 20 mm of radius; shapely looks at vertices, half a millimetre from any place
    assert theirs - 0.01 < ours < theirs + 0.5
    assert ours == pytest.approx(theirs, rel=0.02, abs=0.05)


def test_by_hand():
    """Two straights side by side, an arc and its chord, concentric arcs, a straight that goes on."""
    line = Line((0.0, 0.0, 0.0), (1000.0, 0.0, 0.0))
    assert farthest([line], [Line((0.0, 3.0, 4.0), (1000.0, 3.0, 4.0))]).distance == pytest.approx(5.0)
    assert farthest([line], [Line((0.0, 0.0, 0.0), (990.0, 0.0, 0.0))]).distance == pytest.approx(10.0)
    assert farthest([Line((0.0, 0.0, 0.0), (990.0, 0.0, 0.0))], [line]).distance == pytest.approx(0.0)
    arc = Arc.swept((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (100.0, 0.0, 0.0), 90.0)
    chord = Line(arc.start, arc.end)
    rise = 100.0 * (1.0 - cos(radians(45.0)))
    assert farthest([arc], [chord]).distance == pytest.approx(rise, abs=1e-4)
    assert farthest([chord], [arc]).distance == pytest.approx(rise, abs=1e-4)
    wider = Arc.swept((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (102.5, 0.0, 0.0), 90.0)
    assert farthest([arc], [wider]).distance == pytest.approx(2.5)
    # on the axis of a circle every point of the arc is as near
    above = Line((0.0, 0.0, 0.0), (0.0, 0.0, 100.0))
    assert farthest([above], [arc]).distance == pytest.approx(100.0 * sqrt(2.0))


def test_a_bend_of_another_radius_is_off_by_what_lies_between_the_arcs():
    """Corners as drawn, radius 80 or 90: by hand the arcs are (sec 45° - 1) 10 = 4.14 mm apart, less once fitted."""
    drawn = BendTable((Bend(300.0, 0.0, 90.0, 80.0),), 400.0)
    less = 10.0 * tan(radians(45.0))
    made = BendTable((Bend(300.0 - less, 0.0, 90.0, 90.0),), 400.0 - less)
    between = 10.0 * (sqrt(2.0) - 1.0)
    assert farthest(rebuild(drawn), rebuild(made)).distance == pytest.approx(between, abs=1e-4)
    found = compare(drawn, made)
    assert found.fit.most < between
    assert found.fit.mean < 0.4 * between
    assert found.fit.at == pytest.approx(300.0 + 40.0 * radians(90.0), abs=1.0)  # the middle of the bend
    assert found.legs == pytest.approx((0.0, 0.0), abs=1e-9)
    assert found.end_miss == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=8)
@given(tables, st.integers(0, 10_000))
def test_no_other_place_lies_nearer(table, seed):
    """Laid on it by scipy's simplex (Nelder and Mead), on distances that cKDTree finds on many points."""
    made = made_of(table, seed, 0.5)
    fit = aligned(table, made)
    one, other = spread(rebuild(table), 4.0), spread(rebuild(made), 4.0)
    # points by length: those of short pieces stand closer
    fine = [cKDTree(spread(rebuild(each), 0.2)) for each in (table, made)]

    def mean(six) -> float:
        turn = Rotation.from_rotvec(six[:3] / 500.0).as_matrix() @ fit.turn
        shift = fit.shift + six[3:]
        there = fine[1].query((one - shift) @ turn)[0]
        back = fine[0].query(other @ turn.T + shift)[0]
        return float(np.sqrt((np.mean(there**2) + np.mean(back**2)) / 2.0))

    best = minimize(mean, np.zeros(6), method="Nelder-Mead", options={"maxiter": 200})
    # the points weigh places by other shares than lengths do, and are found to a tenth of a millimetre
    assert best.fun > 0.8 * mean(np.zeros(6)) - 0.1
    assert fit.mean <= paired(table, made).mean + 1e-9


@settings(max_examples=12)
@given(tables, st.integers(0, 10_000))
def test_ends_and_the_farthest_place_are_where_they_are_said_to_be(table, seed):
    made = made_of(table, seed)
    place = Placement((10.0, -20.0, 30.0), (0.0, 0.6, 0.8), (1.0, 0.0, 0.0))
    fit = aligned(table, made, place)
    ends = [(place.start, walk(each, place)[1].start) for each in (table, made)]
    for off, drawn, end in zip(fit.ends, *ends, strict=True):
        assert np.linalg.norm(fit.turn @ np.array(end) + fit.shift - drawn) == pytest.approx(off)
    drawn = rebuild(table, place)
    # the place along it: a table cut there ends at the point
    assert sum(each.length for each in drawn) >= fit.at >= 0.0
    starts = np.cumsum([0.0, *(each.length for each in drawn)])
    i = min(int(np.searchsorted(starts, fit.at, "right")) - 1, len(drawn) - 1)
    share = np.array([min(1.0, (fit.at - starts[i]) / drawn[i].length)])
    assert points_along(drawn[i], share)[0] == pytest.approx(fit.worst[0], abs=1e-5)
    assert np.linalg.norm(fit.worst[1] - fit.worst[0]) == pytest.approx(fit.most)
    # a picture draws the ends where they are
    assert np.linalg.norm(fit.moved[[0, -1]] - fit.nominal[[0, -1]], axis=1) == pytest.approx(fit.ends)


def test_a_tube_of_very_many_bends_keeps_its_frame():
    """Rounding of one bend grew with each that followed: of 100 bends nothing was left."""
    random = np.random.default_rng(1)
    rows = [
        Bend(random.uniform(50, 400), random.uniform(-150, 150) if i else 0.0, random.uniform(20, 100), 60.0)
        for i in range(100)
    ]
    table = BendTable(tuple(rows), 300.0)
    points = element_points(table, Placement(), np.array([0.0, 1.0]))
    assert points[-1, -1] == pytest.approx(walk(table)[1].start, abs=1e-6)
    assert paired(table, table).mean == pytest.approx(0.0, abs=1e-6)
    assert paired(table, reverse_table(reverse_table(table)[0])[0]).mean == pytest.approx(0.0, abs=1e-6)
