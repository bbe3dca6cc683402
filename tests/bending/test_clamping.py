"""What the clamp, the pressure die and the tail need, by hand. The needs are common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.bending.setup.clamping import Clamping, Lack, Need
from converter.shop.model import Die

#: 90 mm clamp and between, 50 mm tail, 12 mm mark offset
DIE = Die("D", "round", 40.0, 100.0, clamp=90.0, between=90.0, tail=50.0, mark_offset=12.0)


def clamping(straights, rolls=None, die=DIE, stick=150.0):
    rolls = rolls or [0.0] * (len(straights) - 1)
    return Clamping(tuple(straights), tuple(Need.of(die, stick, roll) for roll in rolls))


def test_a_roomy_tube_needs_nothing():
    plan = clamping((100.0, 90.0, 50.0)).plan((0, 1))
    assert (plan.lacks, plan.inverted, plan.lead, plan.trail, plan.is_simple) == ((), (), 0.0, 0.0, True)


def test_short_ends_get_what_they_lack():
    plan = clamping((60.0, 90.0, 20.0)).plan((0, 1))
    assert (plan.lead, plan.trail) == (30.0, 30.0)
    assert plan.lacks == ()


def test_the_mark_must_lie_on_the_stick():
    die = Die("D", "round", 40.0, 100.0, mark_offset=12.0)
    assert clamping((5.0, 0.0), die=die).plan((0,)).lead == 7.0


def test_noise_is_no_lack():
    plan = clamping((89.995, 89.995, 49.995)).plan((0, 1))
    assert (plan.lacks, plan.lead, plan.trail) == ((), 0.0, 0.0)


def test_a_short_straight_between_is_made_from_behind():
    """60 mm between: too little for the clamp (90), enough for the pressure die (50), so bend 2 goes first."""
    one = clamping((100.0, 60.0, 200.0))
    assert one.plan((0, 1)).lacks == (Lack(1, 0, True, 60.0, 90.0),)
    assert one.recommended() == (1, 0)
    assert one.plan((1, 0)).lacks == ()


def test_a_straight_too_short_for_both_has_no_order():
    one = clamping((100.0, 49.0, 200.0))
    assert one.recommended() is None
    assert one.plan((1, 0)).lacks == (Lack(0, 1, False, 49.0, 50.0),)


def test_bends_not_yet_made_are_straight_stick():
    """Bend 3 after bend 1, bend 2 still to come: 20 + 150 (the arc of bend 2, straight) + 20 ahead of it."""
    one = clamping((100.0, 20.0, 20.0, 100.0))
    assert one.feasible([0], 2)
    assert not one.feasible([0, 2], 1)
    assert [lack.ahead for lack in one.lacks(1, [0, 2])] == [True, False]


def test_extra_stick_counts_bends_not_yet_made():
    """Bend 2 first: ahead of it lie 10 + 150 + 60; bend 1 after it still has only 10 of its 90."""
    one = clamping((10.0, 60.0, 200.0))
    assert one.plan((1, 0)).lead == 80.0
    assert one.plan((1, 0)).lacks == ()


@pytest.mark.parametrize(
    ("roll", "free"), [(180.0, True), (179.2, True), (-180.0, True), (178.0, False), (90.0, False)]
)
def test_an_s_bend_turns_the_clamp_over(roll, free):
    die = Die("D", "round", 40.0, 100.0, clamp=90.0, between=90.0, tail=50.0, invert_clamp=True)
    plan = clamping((100.0, 0.0, 100.0), [0.0, roll], die).plan((0, 1))
    assert plan.inverted == (((1, 0),) if free else ())
    assert bool(plan.lacks) is not free


def test_the_clamp_is_not_turned_over_for_bends_that_overlap_or_have_room():
    die = Die("D", "round", 40.0, 100.0, clamp=90.0, between=90.0, tail=50.0, invert_clamp=True)
    assert clamping((100.0, -1.0, 100.0), [0.0, 180.0], die).plan((0, 1)).lacks
    assert clamping((100.0, 90.0, 100.0), [0.0, 180.0], die).plan((0, 1)).inverted == ()


def test_a_die_that_cannot_invert_needs_its_straight():
    assert clamping((100.0, 0.0, 100.0), [0.0, 180.0]).plan((0, 1)).lacks


def test_without_a_die_nothing_is_needed():
    plan = Clamping((0.0, 0.0, 0.0), (Need.of(None, 1.0, 0.0), Need.of(None, 1.0, 90.0))).plan((0, 1))
    assert (plan.lacks, plan.lead, plan.trail) == ((), 0.0, 0.0)


@given(st.lists(st.sampled_from([0.0, 30.0, 60.0, 95.0]), min_size=2, max_size=7), st.sampled_from([5.0, 60.0, 150.0]))
def test_the_recommendation_is_found_whenever_any_order_exists(straights, stick):
    """Against every order there is (up to 720)."""
    from itertools import permutations

    one = clamping(tuple(straights), stick=stick)
    count = len(straights) - 1
    some = any(not one.plan(order).lacks for order in permutations(range(count)))
    found = one.recommended()
    assert (found is not None) == some
    if found is not None:
        assert one.plan(found).lacks == ()
        assert sorted(found) == list(range(count))
    if not one.plan(range(count)).lacks:
        assert found == tuple(range(count)), "the plain order must stay when it works"
