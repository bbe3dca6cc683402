"""Cuts, the die that fits best, the one radius for a drawing."""

from __future__ import annotations

from math import radians

import pytest
from tubes import run_of

from converter.bending.split import best_refit, best_split, common_radii, die_to_buy, makeable_by, splits
from converter.model.bends import Bend, BendTable
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.model import Die, Machine, Shop
from converter.units import Display

TUBE = Section("round", 40.0, 3.0)
TABLE = BendTable((Bend(100, 0, 90, 100), Bend(300, 90, 60, 100), Bend(150, 180, 45, 100)), 200)


def test_cuts_lie_in_the_middle_of_straights_between_bends_longest_first():
    found = list(splits(TABLE, 40.0))
    assert [one.straight for one in found] == [1, 2]
    assert found[0].at == pytest.approx(100 + 100 * radians(90) + 150)
    assert found[0].joint == "sleeve" and found[1].joint == "butt"  # a sleeve wants 4 diameters: 160
    for one in found:
        whole = one.first.developed_length + one.second.developed_length
        assert whole == pytest.approx(TABLE.developed_length)
    assert found[0].second.bends[0].rotation == 0.0


def test_the_longest_straight_that_leaves_both_pieces_makeable():
    assert best_split(TABLE, 40.0, lambda cut: True).straight == 1
    assert best_split(TABLE, 40.0, lambda cut: len(cut.first.bends) == 2).straight == 2
    assert best_split(TABLE, 40.0, lambda cut: False) is None


def test_what_a_die_can_hold():
    die = Die("d", "round", 40.0, 100.0, max_angle=120.0, between=200.0)
    shop = Shop("s", (die,), Machine(max_angle=170.0))
    judge = makeable_by(shop, die)
    assert not judge(TABLE)  # 150 between the last two
    cut = best_split(TABLE, 40.0, lambda one: judge(one.first) and judge(one.second))
    assert cut.straight == 2
    assert not judge(BendTable((Bend(500, 0, 130, 100),), 500))
    assert makeable_by(shop, None)(BendTable((Bend(500, 0, 130, 100),), 500))


def test_the_die_that_moves_the_tube_least():
    dies = (Die("tight", "round", 40.0, 90.0), Die("near", "round", 40.0, 105.0), Die("wide", "round", 40.0, 400.0))
    die, made, moved = best_refit(run_of([(500, 0, 90, 100), (500, 0, 90, 100)], 500), dies)
    # |R' - R| (1 / cos 45 - 1), elementary geometry of the tangent circle
    assert die.name == "near" and moved == pytest.approx(5 * (2**0.5 - 1))
    assert all(bend.clr == 105.0 for bend in made.table.bends)
    assert best_refit(run_of([(500, 0, 90, 100), (20, 0, 90, 100)], 500), dies[2:]) is None


def tube(*rows, tail=500.0, section=TUBE, name="t"):
    return Tube(run_of(rows, tail, name=name), section)


def test_one_radius_that_is_drawn_everywhere():
    [one] = common_radii([tube((500, 0, 90, 120)), tube((500, 0, 45, 120), (300, 0, 30, 120))])
    assert (one.clr, one.exact, one.moved, one.bends, one.tubes) == (120, True, 0.0, 3, 2)


def test_one_radius_for_a_mixed_drawing():
    members = [tube((500, 0, 90, 110)), tube((500, 0, 90, 120)), tube((500, 0, 90, 130))]
    [one] = common_radii(members)
    assert one.clr == pytest.approx(120.0) and not one.exact
    assert one.moved == pytest.approx(10 * (2**0.5 - 1))


@pytest.mark.parametrize("inches", [5.507, 5.513, 6.001])
def test_the_radius_of_a_die_to_buy_is_the_drawn_one(inches):
    """It was rounded to 0.05 mm: 5.508 in for bends that the drawing shows as 5.507 in."""
    clr = 25.4 * inches
    members = [tube((500, 0, 90, one)) for one in (clr, clr, clr + 1e-9, 120.0)]
    (one,) = common_radii(members)
    assert (one.clr, one.exact) == (clr, False)
    (told,) = die_to_buy(members, Shop("s", (Die("d", "round", 40.0, 90.0),), source="s.toml"))
    assert f"radius of {inches:.3f} in" in told.message_in(Display("in"))


def test_one_radius_must_leave_room_between_the_bends():
    # the wide bend could come down to 100, the tight ones cannot go up: 110 between them, 80 needed
    members = [tube((500, 0, 90, 100), (110, 0, 90, 100)), tube((500, 0, 90, 140))]
    [one] = common_radii(members)
    assert one.clr <= 115.0
    assert common_radii([tube((10, 0, 90, 100), tail=10), tube((10, 0, 90, 300), tail=0.0)])[0].clr <= 110.0


def test_each_section_has_its_own_die():
    thin = Section("round", 25.0, 2.0)
    found = common_radii([tube((500, 0, 90, 120)), tube((500, 0, 90, 75), section=thin), Tube(run_of([], 9.0), TUBE)])
    assert [(one.section.od, one.clr) for one in found] == [(40.0, 120), (25.0, 75)]
    assert common_radii([Tube(run_of([(9, 0, 90, 120)], 9.0), None)]) == []


def test_the_die_to_buy_is_a_note_for_the_drawing():
    tubes = [tube((500, 0, 90, 120)), tube((500, 0, 45, 120), (300, 0, 30, 120))]
    none = Shop("s", (Die("d", "round", 40.0, 90.0),), source="s.toml")
    [one] = die_to_buy(tubes, none)
    assert one.code == "die-to-buy" and one.measured == 120
    assert "120.00 mm" in one.message and "all 3 bends in 2 tubes as drawn" in one.message
    owned = Shop("s", (Die("d", "round", 40.0, 120.0),), source="s.toml")
    assert die_to_buy(tubes, owned) == []
    # an owned die of 118 moves the corner by 2 (sqrt 2 - 1) = 0.83 mm, no more than bends come out; one of 117 by 1.24
    near, further = (Shop("s", (Die("d", "round", 40.0, clr),), source="s.toml") for clr in (118.0, 117.0))
    assert (die_to_buy(tubes, near), len(die_to_buy(tubes, further))) == ([], 1)
    mixed = [tube((500, 0, 90, 110)), tube((500, 0, 90, 130))]
    [one] = die_to_buy(mixed, none)
    assert "make all 2 bends in 2 tubes bent on it instead (refit), which moves the centerline by" in one.message
    assert die_to_buy(mixed, Shop("s", (Die("a", "round", 40.0, 110.0), Die("b", "round", 40.0, 130.0)))) == []


def test_a_drawing_refitted_by_hand_moves_as_refit_says():
    """The quick sum over many tubes against the reducer's own refit."""
    from converter.bending.split import _moves
    from converter.reducer.refit import refit

    for clr in (80.0, 101.5, 130.0):
        members = [tube((500, 0, 90, 110), (300, 20, 35, 90)), tube((500, 0, 160, 130))]
        expected = max(refit(one.run, clr)[1] for one in members)
        assert _moves(members, clr, 0.0) == pytest.approx(expected, rel=1e-9)
