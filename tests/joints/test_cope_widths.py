"""Ends that reach past their mate's sides by a corner, and angles that are only rounded: what is said, and when not."""

from __future__ import annotations

from math import cos, radians, sin, sqrt

import pytest
from copes import find_joints, straight
from tubes import run_of, tube_of

from converter.joints.cope import cope_frame
from converter.model.bends import Placement
from converter.model.section import Section
from converter.shop.model import HoleSaw, Shop

BOX = Section("square", 50.0, 3.0, corner=6.0)
ROUND = Section("round", 60.3, 3.0)


def turned(degrees, section=BOX, mate=ROUND, aside=0.0):
    """A square post on a rail along x, turned about its own axis: at 0 its sides look along and across the rail."""
    a = radians(degrees)
    place = Placement((0.0, aside, 0.0), (0.0, 0.0, 1.0), (cos(a), sin(a), 0.0))
    post = tube_of(run_of([], 400.0, place, name="POST"), section)
    return find_joints([straight("RAIL", (-500.0, 0.0, 0.0), (500.0, 0.0, 0.0), mate), post])[1]


def test_a_square_tube_on_edge_reaches_past_a_round_one_that_is_wider():
    """Half the way across corners, by hand: 25 sqrt 2 - 6 (sqrt 2 - 1) = 32.87, the round one ends at 30.15."""
    assert turned(0.0) == []
    [said] = turned(45.0)
    over = 25.0 * sqrt(2.0) - 6.0 * (sqrt(2.0) - 1.0) - 30.15
    assert said.code == "cope-partial"
    assert "turned as it is, it is wider across than RAIL" in said.message
    assert f"by up to {over:.2f} mm" in said.message


def test_a_turn_that_still_fits_is_not_said():
    """At 5 degrees: 19 (cos + sin) + 6 = 26.58, within 30.15."""
    assert turned(5.0) == []


def test_square_tubes_of_one_size_lie_flush_and_stand_over_by_their_offset():
    [said] = turned(0.0, mate=BOX)
    assert said.code == "cope-open" and said.measured == pytest.approx(6.0)  # as wide: the whole corner radius
    [said] = turned(0.0, mate=BOX, aside=4.0)
    assert said.code == "cope-partial" and "it sits 4.00 mm off" in said.message and "by up to 4.00 mm" in said.message


def test_angles_as_a_drawing_rounds_them():
    """15 degrees to three decimals of a millimetre is 15 degrees, 14.9 is not; likewise 30 for a notcher."""
    shop = Shop("yard", (), hole_saws=(HoleSaw(60.3, 200.0),))

    def codes(theta):
        a = radians(theta)
        far = (round(600.0 * cos(a), 3), 0.0, round(600.0 * sin(a), 3))
        rail = straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), ROUND)
        made = cope_frame([rail, straight("RUNG", (0.0, 0.0, 0.0), far, Section("round", 38.1, 2.4))], shop)
        assert made.joints[0].angle == pytest.approx(theta, abs=1e-4)
        return {finding.code for finding in made.findings}

    for theta in (15.0, 15.00001, 14.99999):
        assert codes(theta) == {"hole-saw-angle"}
    assert codes(14.9) == {"hole-saw-angle", "joint-angle"}
    for theta in (30.0, 29.99999):
        assert codes(theta) == set()
    assert codes(29.9) == {"hole-saw-angle"}
