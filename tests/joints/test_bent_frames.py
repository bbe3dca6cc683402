"""Ends on bends, found for all pairs at once: against a plain search of every pair, and drawn otherwise the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bent_frames import bent_frame, entry_back, inside, mirrored, nearest_ahead, off_arc
from frames import RAIL
from scipy.spatial.transform import Rotation

from converter.joints.finding import contacts as finding
from converter.joints.finding.joints import survey_frame
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.run import Run, Tube, reverse_run

SEEDS = (1, 2, 3, 4)


def moved(tubes, turn, shift):
    def carried(tube):
        place = tube.run.placement
        start, way, normal = (turn @ np.array(v) for v in (place.start, place.direction, place.normal))
        there = Placement(*(tuple(v.tolist()) for v in (start + shift, way, normal)))
        return replace(tube, run=replace(tube.run, placement=there))

    return [carried(tube) for tube in tubes]


def cuts(tubes, other=None):
    """What is cut to what and how far, by tube and end."""
    swap = {"A": "B", "B": "A"}
    return {
        (j.tube, swap[j.end] if j.tube == other else j.end): (
            j.kind, j.mates, j.long_point, j.short_point, j.angle, j.offset,
        )
        for j in survey_frame(tubes).joints
    }  # fmt: skip


def same(one, two, within):
    assert one.keys() == two.keys() and one
    for key, (kind, mates, *numbers) in one.items():
        assert (kind, mates) == two[key][:2], key
        assert numbers == pytest.approx(two[key][2:], abs=within), key


@pytest.mark.parametrize("seed", SEEDS)
def test_every_pair_of_end_and_bend_is_as_a_plain_search_says(seed):
    """scipy's minimum and root for each pair; no end in a tube's metal is overlooked, whichever pairs are looked at."""
    tubes = bent_frame(seed)
    found = survey_frame(tubes)
    bends = entries = 0
    for (body, letter), contacts in found.contacts.items():
        for one in contacts:
            leg = found.frame[one.body].legs[one.leg]
            if leg.arc is None or one.angle < 1.0:
                continue
            point, way = one.end.point, one.end.direction
            ahead = nearest_ahead(leg.arc, point, way, one.ahead)
            assert one.ahead == pytest.approx(ahead, abs=1e-5)
            place = np.array(point) + one.ahead * np.array(way)
            assert np.linalg.norm(place - one.foot) == pytest.approx(one.offset, abs=1e-9)
            bends += 1
            radius = tubes[one.body].section.od / 2.0
            entered = np.array([point]) - one.enters * np.array(way)
            if one.state in ("on", "missed") and abs(off_arc(leg.arc, entered)[0] - radius) < 1e-6:
                assert one.enters == pytest.approx(entry_back(leg.arc, radius, point, way, one.enters), abs=1e-8)
                entries += 1
        end = next(end for end in found.frame[body].ends if end.letter == letter)
        for other, tube in enumerate(tubes):
            if other != body and tube.name.startswith("RAIL") and inside(tube, end.point) > 1.0:
                assert other in {one.body for one in contacts}, (tubes[body].name, tube.name)
    assert bends >= 4 and entries >= 4


@pytest.mark.parametrize("seed", SEEDS[:2])
def test_copes_are_the_same_moved_mirrored_shuffled_and_drawn_from_the_other_end(seed):
    tubes = bent_frame(seed)
    plain = cuts(tubes)
    turn = Rotation.random(random_state=seed).as_matrix()
    same(plain, cuts(moved(tubes, turn, np.array((1234.5, -987.6, 55.5)))), 1e-6)
    # 1e7 mm are 8 km: the last digit of a place there is 2e-9 mm, and grazing lines make a root of it
    same(plain, cuts(moved(tubes, turn, np.array((1e7, -1e7, 1e7)))), 1e-3)
    same(plain, cuts(mirrored(tubes)), 1e-6)
    shuffled = [tubes[i] for i in np.random.default_rng(seed).permutation(len(tubes))]
    same(plain, cuts(shuffled), 1e-6)
    name = next(iter(plain))[0]
    turned = [replace(t, run=replace(reverse_run(t.run), name=t.name)) if t.name == name else t for t in tubes]
    same(plain, cuts(turned, name), 1e-6)


def test_pairs_that_are_looked_at_grow_with_the_frame(monkeypatch):
    """Four times the tubes: four times the pairs of ends and straights, of ends and bends, and of legs, and no more."""

    def looked_at(rails):
        counts = {"straights": 0, "bends": 0}
        plain_straights, plain_bends = finding._on_straights, finding.places_near_bends

        def on_straights(ends, bodies, index, row, *args):
            counts["straights"] += len(row)
            return plain_straights(ends, bodies, index, row, *args)

        def near_bends(points, *args):
            counts["bends"] += len(points)
            return plain_bends(points, *args)

        with monkeypatch.context() as patch:
            patch.setattr(finding, "_on_straights", on_straights)
            patch.setattr(finding, "places_near_bends", near_bends)
            found = survey_frame(bent_frame(7, rails, 3 * rails))
        return counts | {"legs": len(found.index.legs_near_legs[0]), "tubes": len(found.frame)}

    small, large = looked_at(20), looked_at(80)
    times = large["tubes"] / small["tubes"]
    for what in ("straights", "bends", "legs"):
        assert 0 < large[what] <= 1.25 * times * small[what], what
    assert large["straights"] <= 2.0 * 2.0 * large["tubes"]


@pytest.mark.parametrize("rotation", [12.0, 13.0])
def test_the_ends_of_a_coil_are_cut_to_no_turn_beside_them(rotation):
    """Turns that lie more than an OD apart, by points along them: the end's axis enters no metal but its own tube's."""
    bends = (Bend(0.0, 0.0, 30.0, 150.0), *(Bend(0.0, rotation / 4.0, 30.0, 150.0) for _ in range(35)))
    placement = Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    coil = Tube(Run("COIL", "C", False, BendTable(bends, 0.0), placement), RAIL)
    points = np.array([arc.point(a) for arc in rebuild(coil.run.table, placement) for a in np.arange(0.0, 30.0, 1.0)])
    first, others = points[:60], points[180:]  # two bends, and what lies four bends on and further
    assert np.linalg.norm(first[:, None] - others, axis=2).min() > RAIL.od + 5.0
    found = survey_frame([coil])
    assert (found.joints, found.findings) == ([], [])
