"""Tubes that lie alone: no other is near enough to be cut to, so that parts are told without looking for joints.

How near two tubes come is measured apart from the survey: by the nearest neighbours of points along them (scipy).
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest
from copes import straight
from moved import motion, redrawn
from scipy.spatial import cKDTree
from tubes import run_of, tube_of

from converter import Job
from converter.joints.alike import find_parts
from converter.joints.cope import Copes, cope_frame
from converter.joints.near.alone import lying_alone
from converter.model.run import Tube
from converter.model.section import Section
from converter.model.self_approach import sampled
from converter.shop.job_file import job_from_text
from converter.shop.model import Shop
from converter.tolerances import DEFAULT

ROUND, FLAT = Section("round", 25.0, 2.0), Section("rectangular", 40.0, 2.0, 20.0, 3.0)
SHOP = Shop("none", ())


def scattered(seed: int, count: int = 14) -> list[Tube]:
    """Tubes of a few kinds in random places, near and far; some kinds come several times."""
    random = np.random.default_rng(seed)
    kinds = []
    for kind in range(4):
        rows = [
            (
                random.uniform(60.0, 300.0),
                random.uniform(-179.0, 180.0) if i else 0.0,
                random.uniform(10.0, 120.0),
                60.0,
            )
            for i in range(kind)
        ]
        kinds.append(tube_of(run_of(rows, 300.0, name=f"K{kind}"), (ROUND, FLAT)[seed % 2]))
    found = []
    for number in range(count):
        turn, shift = motion(100 * seed + number)
        found += redrawn([kinds[number % 4]], (turn, shift / 30.0), f"-{number}")
    return found


def apart(one: Tube, other: Tube) -> float:
    """How near two centerlines come, mm, found to within the step of their points."""
    here, there = (sampled(tube.run.centerline, 2.0)[0] for tube in (one, other))
    return float(cKDTree(here).query(there)[0].min())


@pytest.mark.parametrize("seed", range(6))
def test_what_lies_alone_is_far_from_all_others(seed):
    """Twice as far as an end looks for its mate; and some do lie alone, and some do not."""
    tubes = scattered(seed)
    alone = lying_alone(tubes, DEFAULT)
    half = max(tube.section.outer.half_diagonal for tube in tubes)
    for i, j in combinations(range(len(tubes)), 2):
        if alone[i] or alone[j]:
            assert apart(tubes[i], tubes[j]) > 2.0 * (3.0 * half + DEFAULT.near) - 2.0
    assert alone.any() and not alone.all()


@pytest.mark.parametrize("seed", range(6))
def test_nothing_is_cut_to_a_tube_that_lies_alone(seed):
    """By the survey of all tubes: no joint, no hole and no finding names it beside another."""
    tubes = scattered(seed)
    lone = {tube.name for tube, one in zip(tubes, lying_alone(tubes, DEFAULT), strict=True) if one}
    copes = cope_frame(tubes, SHOP)
    for joint in copes.joints:
        assert not lone & {joint.tube, *joint.mates} or {joint.tube} == set(joint.mates)
    assert not lone & {hole.tube for hole in copes.holes}
    for finding in (*copes.findings, *copes.in_the_way):
        assert finding.tube not in lone or not finding.others


@pytest.mark.parametrize("seed", range(6))
def test_the_parts_are_those_that_the_joints_tell(seed):
    tubes = scattered(seed)
    whole = cope_frame(tubes, SHOP)
    assert find_parts(tubes, lambda: whole, lambda: lying_alone(tubes, DEFAULT).tolist()) == find_parts(
        tubes, lambda: whole
    )


def post_at(point: np.ndarray) -> Tube:
    """An upright tube just beside a point."""
    x, y, z = point.tolist()
    return straight("POST", (x + 20.0, y, z - 200.0), (x + 20.0, y, z + 200.0), ROUND)


def refused() -> Copes:
    """Copes of which nobody may ask."""
    raise AssertionError("joints were looked for")


def side_by_side(gap: float, count: int = 5) -> list[Tube]:
    """Equal straight tubes in parallel, ``gap`` mm of air between them."""
    return [
        straight(f"S{i}", (0.0, i * (25.0 + gap), 0.0), (500.0, i * (25.0 + gap), 0.0), ROUND) for i in range(count)
    ]


def test_tubes_drawn_apart_are_told_without_their_joints():
    tubes = side_by_side(300.0)
    (part,) = find_parts(tubes, refused, lambda: lying_alone(tubes, DEFAULT).tolist())
    assert part.quantity == len(tubes)


@pytest.mark.parametrize(
    "tubes",
    [
        lambda: side_by_side(1.0),
        lambda: [*side_by_side(300.0, 2), straight("R", (250.0, 10.0, 0.0), (250.0, 315.0, 0.0), ROUND)],
    ],
    ids=["beside each other", "a rung between"],
)
def test_tubes_that_meet_do_not_lie_alone(tubes: Callable[[], list[Tube]]):
    assert not lying_alone(tubes(), DEFAULT).any()


def test_a_tube_longer_than_the_way_between_its_ends_has_room_to_bulge():
    """A hairpin whose ends are close together reaches far to one side: what stands there is near it."""
    hairpin = tube_of(run_of([(600.0, 0.0, 180.0, 60.0)], 600.0, name="PIN"), ROUND)
    points = sampled(hairpin.run.centerline, 5.0)[0]
    tip = points[np.linalg.norm(points - points[0], axis=1).argmax()]
    post = post_at(tip)
    assert not lying_alone([hairpin, post], DEFAULT).any()


def test_a_straight_gone_back_over_lengthens_the_way():
    """A table with a negative straight is no tube, but its metal is where the steps lead, not nearer."""
    run = run_of([(400.0, 0.0, 90.0, 50.0), (-300.0, 0.0, 90.0, 50.0)], 400.0, name="BACK")
    tube = tube_of(run, ROUND)
    far = sampled(tube.run.centerline, 5.0)[0].max(axis=0)
    post = post_at(far)
    assert not lying_alone([tube, post], DEFAULT).any()


def test_an_end_that_the_job_file_cuts_is_told_where_the_tubes_lie_alone():
    """Two equal tubes far apart, one of them cut by a plane that the job file gives: two parts."""
    tubes = side_by_side(300.0, 2)
    job_file = job_from_text(
        'units = "mm"\n[[joint]]\ntube = "S1"\nend = "B"\nkind = "plane"\npoint = [500, 325, 0]\nnormal = [1, 1, 0]\n'
    )
    assert len(Job.of_tubes(tubes, SHOP, job_file=job_file).parts) == 2
    assert len(Job.of_tubes(tubes, SHOP).parts) == 1
