"""Frames of every section held to a plain, slow search: ends on straights and bends, bends on bends, overlaps.

The tubes are measured from by `plain_tubes`: scipy's rotations walk the bend tables, shapely measures the sections.
"""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import numpy as np
import pytest
from copes import surface_points
from plain_tubes import PlainTube, landing_frame, thrown

from converter.joints.cuts.saddle import angles
from converter.joints.finding.joints import survey_frame
from converter.joints.in_the_way.clashes import find_clashes
from converter.tolerances import DEFAULT

SEEDS = (1, 2, 3)


@pytest.mark.parametrize("seed", SEEDS)
def test_ends_of_every_section_enter_their_mates_where_a_plain_search_says(seed):
    """Each end lands on its mate, and its axis comes from outside to inside where the contact says so."""
    tubes = landing_frame(seed)
    found = survey_frame(tubes)
    plain = [PlainTube(tube) for tube in tubes]
    looked_at: Counter[tuple[str, bool, bool]] = Counter()
    for (body, letter), contacts in found.contacts.items():
        point = next(end.point for end in found.frame[body].ends if end.letter == letter)
        if tubes[body].name.startswith("MATE"):
            continue
        for other, tube in enumerate(plain):
            if other != body and tube.outside(np.array([point]))[0] < -1.0:
                assert other in {one.body for one in contacts}, (tubes[body].name, tubes[other].name)
        for one in contacts:
            if one.state != "on" or one.angle < 1.0:
                continue
            back = np.array(one.end.point) - (one.enters + np.array([[0.0], [1e-3], [-1e-3]])) * one.end.direction
            on_it, before, behind = plain[one.body].outside(back)
            assert on_it == pytest.approx(0.0, abs=1e-6), (tubes[body].name, tubes[one.body].name)
            assert before > 0.0 > behind
            mate, own = found.frame[one.body], found.frame[body]
            on_bend = mate.legs[one.leg].arc is not None
            own_bend = own.legs[0 if letter == "A" else -1].arc is not None
            looked_at[mate.section.shape, on_bend, own_bend] += 1
    assert {shape for shape, _, _ in looked_at} == {"square", "rectangular", "flat-oval", "bar", "round"}
    assert sum(count for (_, on_bend, _), count in looked_at.items() if on_bend) >= 4
    assert any(on_bend and own_bend for _, on_bend, own_bend in looked_at)


@pytest.mark.parametrize("seed", SEEDS)
def test_cut_ends_of_every_section_stop_on_their_mates_and_leave_no_metal_in_them(seed):
    """Every line of outside and bore stops on the mate's outside, and the metal behind it stays out of the mate."""
    tubes = landing_frame(seed)
    found = survey_frame(tubes)
    plain = {tube.name: PlainTube(tube) for tube in tubes}
    size = {tube.name: tube.section.outer.half_diagonal for tube in tubes}
    again = {(f.tube, f.end) for f in found.findings if f.code == "cope-again"}
    cuts = 0
    for joint in found.joints:
        if joint.kind != "saddle" or len(joint.mates) != 1 or (joint.tube, joint.end) in again:
            continue
        mate = plain[joint.mates[0]]
        for bore in (False, True):
            met = joint.cut.reach(joint.cut.branch.lines(angles(10.0), bore))[1]
            places = surface_points(joint.cut, angles(10.0), bore)[met]
            off = mate.outside(places)
            there = np.isfinite(off)  # a cut may run on past the mate's end, which is told
            assert np.abs(off[there]).max(initial=0.0) < 1e-6, (joint.tube, joint.mates)
            for back in np.linspace(0.05, size[joint.mates[0]], 8):
                assert mate.outside(places - back * np.array(joint.direction)).min(initial=0.0) > -1e-6, joint.tube
            cuts += int(there.any())
    assert cuts >= 12


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_tubes_of_every_section_in_each_others_way_are_told_as_deep_as_a_plain_search_finds_them(seed):
    """Places all over one tube, away from all ends, that lie in another one too."""
    tubes = thrown(seed, 6)
    found = survey_frame(tubes)
    plain = [PlainTube(tube) for tube in tubes]
    clashes = {frozenset((c.tube, c.other)): c.overlap for c in find_clashes(found, DEFAULT)}
    crossing = {frozenset((c.outer, c.inner)) for c in found.crossings}
    joined = {
        frozenset((found.frame[key[0]].name, found.frame[one.body].name))
        for key, contacts in found.contacts.items()
        for one in contacts
    }
    held = 0
    for i, j in combinations(range(len(tubes)), 2):
        reach = max(tubes[k].section.outer.half_diagonal for k in (i, j))
        line = plain[i].within(5.0)
        line = line[plain[j].outside(line) < reach + 5.0]
        around = np.stack(np.meshgrid(*[np.arange(-reach, reach + 1.0, 5.0)] * 3, indexing="ij"), -1).reshape(-1, 3)
        places = np.unique(np.round((line[:, None] + around).reshape(-1, 3) / 5.0) * 5.0, axis=0)
        ends = np.array([end.point for k in (i, j) for end in found.frame[k].ends])
        places = places[(np.linalg.norm(places[:, None] - ends, axis=2) > 3.0 * reach).all(axis=1)]
        if not len(places):
            continue
        both = 2.0 * -np.maximum(plain[i].outside(places), plain[j].outside(places)).min()
        pair = frozenset((tubes[i].name, tubes[j].name))
        if both > 1.0:
            assert pair in clashes or pair in crossing or pair in joined, (pair, both)
            held += 1
        if pair in clashes:
            assert clashes[pair] >= both - 0.05, pair
    assert held >= 3
