"""Large and odd jobs: what is done once for equal tubes, and places where too many tubes meet."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin

import numpy as np
import pytest
from copes import find_joints, straight
from frames import RUNG, hoop, ladder_beside
from tubes import cut_ends

from converter.bending.setup import order as setup_order
from converter.bending.setup.setup import set_up
from converter.joints.bodies import bodies
from converter.joints.cope import cope_frame
from converter.joints.finding.crowds import MOST
from converter.joints.finding.joints import survey_frame
from converter.joints.in_the_way import clashes as clash
from converter.joints.in_the_way import crossings as crossing
from converter.joints.in_the_way.clashes import clash_findings, find_clashes
from converter.joints.near import overlap as deep
from converter.joints.near.index import places_on
from converter.joints.near.legs import nearest
from converter.model.run import Tube
from converter.shop.load import demo_shop
from converter.tolerances import DEFAULT


def star(count: int, first: float = 0.0) -> list[Tube]:
    """Straight tubes of 600 mm from one place, evenly around it in a plane."""
    turns = [2.0 * pi * i / count for i in range(count)]
    return [
        straight(f"S{i}", (first * cos(t), first * sin(t), 0.0), (600.0 * cos(t), 600.0 * sin(t), 0.0), RUNG)
        for i, t in enumerate(turns)
    ]


@pytest.fixture
def searches(monkeypatch):
    """How often a search for the deepest place was made."""
    made = []
    real = deep._climb

    def counted(*args):
        made.append(args)
        return real(*args)

    monkeypatch.setattr(deep, "_climb", counted)
    return made


def test_twelve_tubes_at_one_place_are_cut_to_one_another():
    joints, said = find_joints(star(12))
    assert len(joints) == 12
    assert "joint-crowded" not in {finding.code for finding in said}


def test_a_crowd_is_named_once_with_its_place_and_nothing_else_is_told_of_it(searches):
    tubes = star(MOST + 1)
    found = survey_frame(tubes)
    assert found.joints == [] and found.crossings == [] and find_clashes(found, DEFAULT) == []
    [said] = found.findings
    assert (said.code, said.severity, said.measured, said.limit) == ("joint-crowded", "error", MOST + 1.0, MOST)
    assert said.at == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)
    assert f"{MOST + 1} ends meet at (0.00, 0.00, 0.00) mm (S0, S1, S2 and {MOST - 2} more)" in said.message
    assert cope_frame(tubes, demo_shop()).in_the_way == ()
    assert searches == []


def test_ends_a_little_apart_on_the_corner_of_a_grid_are_one_crowd():
    moved = [
        replace(t, run=replace(t.run, placement=replace(t.run.placement, start=(0.5 * (-1) ** i, 0.5, 0.0))))
        for i, t in enumerate(star(MOST + 1))
    ]
    assert [f.measured for f in survey_frame(moved).findings if f.code == "joint-crowded"] == [MOST + 1.0]


def test_as_many_as_are_allowed_are_no_crowd():
    assert "joint-crowded" not in {finding.code for finding in survey_frame(star(MOST)).findings}


def test_tubes_that_cross_in_one_place_are_told_without_a_search(searches):
    """Centerlines that meet: the place where both tubes are deepest is known, and rounding must not hide it."""
    through = [
        straight(f"T{i}", (-600.0 * cos(t), -600.0 * sin(t), 0.0), (600.0 * cos(t), 600.0 * sin(t), 0.0), RUNG)
        for i, t in enumerate(radians(9.0 * i) for i in range(20))
    ]
    found = survey_frame(through)
    assert len(found.crossings) == 20 * 19 // 2
    assert find_clashes(found, DEFAULT) == []
    assert searches == []


def test_of_a_tube_in_many_others_the_rest_is_counted():
    """A rail past 30 rungs overlaps each."""
    found = survey_frame(ladder_beside(30))
    clashes = find_clashes(found, DEFAULT)
    assert len(clashes) == clash.MOST
    assert sum(one.unseen for one in clashes) == 30 - clash.MOST
    assert any("more tubes as near were not looked at" in f.message for f in clash_findings(clashes, found.frame))


def test_nearest_places_of_many_pairs_agree_with_a_fine_grid():
    frame, _ = bodies([hoop("H0", 0.0, 0.0), hoop("H1", 70.0, 55.0), *star(3, 20.0)])
    legs = [leg for body in frame for leg in body.legs]
    for one in legs:
        for two in legs:
            if one is two:
                continue
            p = places_on(one, np.linspace(0.0, one.length, 400))
            q = places_on(two, np.linspace(0.0, two.length, 400))
            grid = float(np.linalg.norm(p[:, None] - q[None], axis=2).min())
            s, t, off = nearest(one, two)
            assert off <= grid + 1e-9
            assert off >= grid - (one.length + two.length) / 399.0
            assert np.linalg.norm(np.subtract(one.point(s), two.point(t))) == pytest.approx(off, abs=1e-6)


def test_equal_tubes_are_swept_once(monkeypatch):
    swept = []
    real = setup_order.OrderChooser._look

    def counted(self, choice):
        swept.append(self.tube.name)
        return real(self, choice)

    monkeypatch.setattr(setup_order.OrderChooser, "_look", counted)
    alike = [hoop(f"H{i}", 0.0, 500.0 * i) for i in range(6)]
    together = set_up(alike, demo_shop())
    once = len(swept)
    assert set(swept) == {"H0"}
    alone = [set_up([tube], demo_shop())[0] for tube in alike]
    assert together == alone and [one.clearance for one in together] == [one.clearance for one in alone]
    assert len(swept) == 7 * once
    # a cut end, another end first, another section: each is looked at anew
    set_up([alike[0], alike[1]], demo_shop(), cuts={"H1": cut_ends(5.0)})
    assert set(swept[7 * once :]) == {"H0", "H1"}


def test_crossings_of_a_grid_are_all_told():
    bars = [straight(f"X{i}", (-50.0, 60.0 * i, 0.0), (650.0, 60.0 * i, 0.0), RUNG) for i in range(10)]
    bars += [straight(f"Y{i}", (60.0 * i, -50.0, 0.0), (60.0 * i, 650.0, 0.0), RUNG) for i in range(10)]
    found = survey_frame(bars)
    assert len(crossing.find_crossings(found.frame, found.index, found.plans, {}, DEFAULT)) == 100
