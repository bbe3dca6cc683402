"""Holes where a tube passes through a larger one: place, clock, size and outline, against closed forms."""

from __future__ import annotations

import json
from math import asin, cos, degrees, radians, sin

import numpy as np
import pytest
from command_line import run
from copes import straight
from frames import RAIL, RUNG, draw, hoop
from passing_tubes import BIG, POST, R, holes, passing, points

from converter.joints.cope import cope_frame
from converter.model.section import Section
from converter.shop.model import Shop


@pytest.mark.parametrize("offset", [0.0, 4.0, 10.0])
def test_square_through_the_middle_and_beside_it(offset):
    """At 90 degrees 2 r long, and R (asin((e + r) / R) - asin((e - r) / R)) around."""
    one, two = holes(POST, passing(offset=offset))
    for hole in (one, two):
        assert (hole.tube, hole.through) == ("POST", "BAR")
        assert hole.angle == pytest.approx(90.0)
        assert hole.offset == pytest.approx(offset)
        assert hole.from_a == pytest.approx(300.0)
        assert hole.along == pytest.approx(24.0)
        assert hole.around == pytest.approx(R * (asin((offset + 12.0) / R) - asin((offset - 12.0) / R)), rel=1e-9)
    lean = degrees(asin(offset / R))
    apart = (two.clock - one.clock) % 360.0
    assert min(apart, 360.0 - apart) == pytest.approx(180.0 - 2.0 * lean)
    assert hole.node == pytest.approx((0.0, 0.0, 100.0))


@pytest.mark.parametrize(("theta", "offset"), [(90.0, 0.0), (60.0, 0.0), (40.0, 5.0), (120.0, -8.0)])
def test_every_point_of_the_outline_lies_on_both_tubes(theta, offset):
    bar = passing(theta, offset)
    both = holes(POST, bar)
    assert len(both) == 2
    way = np.asarray(bar.run.placement.direction)
    for hole in both:
        p = points(hole)
        assert np.hypot(p[:, 0], p[:, 1]) == pytest.approx(np.full(len(p), R), abs=1e-9)
        off = np.linalg.norm(np.cross(p - np.asarray(bar.run.placement.start), way), axis=1)
        assert off == pytest.approx(np.full(len(p), 12.0), abs=1e-9)
    # where its axis comes out, R / tan further along on one side and before on the other
    lean = np.sqrt(R * R - offset * offset) * cos(radians(theta)) / sin(radians(theta))
    assert sorted(hole.from_a for hole in both) == pytest.approx(sorted((300.0 - lean, 300.0 + lean)))


def test_square_tube_makes_a_square_hole():
    both = holes(POST, passing(section=Section("square", 20.0, 2.0, corner=3.0)))
    assert [hole.along for hole in both] == [pytest.approx(20.0)] * 2
    assert [hole.around for hole in both] == [pytest.approx(2.0 * R * asin(10.0 / R))] * 2


def test_on_a_bent_tube_the_zero_line_is_the_outside_of_the_nearest_bend():
    """Through the hoop's leg 100 below its first bend: the outside of that bend points to -x, away from its centre."""
    bar = straight("BAR", (-200.0, 0.0, 350.0), (200.0, 0.0, 350.0), Section("round", 20.0, 2.0))
    one, two = holes(hoop("HOOP", 0.0, 0.0), bar)
    assert one.zero == two.zero == "the outside of bend 1"
    assert one.zero_direction == pytest.approx((-1.0, 0.0, 0.0))
    assert sorted((one.clock, two.clock)) == pytest.approx([0.0, 180.0])
    assert one.from_a == pytest.approx(350.0)


def test_on_a_straight_tube_the_zero_line_is_that_of_its_cut_ends():
    rail = straight("RAIL", (-300.0, 0.0, 800.0), (300.0, 0.0, 800.0), Section("round", 76.1, 3.0))
    made = cope_frame([rail, POST, passing()], Shop("none", ()))
    [joint] = made.joints
    one, two = made.holes
    assert one.zero == "in line with the long point of the cut at end B (the tube has no bend)"
    assert one.zero_direction == pytest.approx(joint.zero_direction)
    assert {round(one.clock, 6), round(two.clock, 6)} == {90.0, 270.0}


def test_too_large_to_pass_through_is_a_crossing_and_needs_no_hole():
    assert holes(POST, passing(section=BIG)) == ()
    assert holes(straight("A", (0, 0, 0), (500, 0, 0), RAIL), straight("B", (250, 0, 0), (250, 0, 300), RUNG)) == ()


def test_the_json_has_them_in_a_list_of_their_own(tmp_path, capsys):
    drawing = draw([POST, passing()], tmp_path / "frame.dxf")
    import ezdxf

    doc = ezdxf.readfile(drawing)
    for line in doc.modelspace().query("LINE"):
        line.dxf.layer = "POST" if abs(line.dxf.start.x) < 1e-9 else "BAR"
    doc.saveas(drawing)
    words = ("--section", "POST=60x3mm", "--section", "BAR=24x2mm", "--json")
    said = json.loads(run(capsys, "cope", drawing, *words).out)
    assert said["joints"] == []
    assert [(hole["tube"], hole["through"]) for hole in said["holes"]] == [("POST", "BAR")] * 2
    assert said["holes"][0]["along"] == pytest.approx(24.0)
    assert len(said["holes"][0]["outline"]) == 180
    assert [f["code"] for f in said["findings"]] == ["tube-through"]
