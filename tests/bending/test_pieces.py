"""Tubes in pieces: the pieces lie where the tube lay, as few as can be, each of them made from one stick."""

from __future__ import annotations

from itertools import pairwise
from math import ceil, pi

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from strategies import placements, tables
from tubes import cut_ends, run_of

from converter.bending.pieces import SLIP, at_lengths, need_pieces, pieces_of
from converter.bending.setup.setup import set_up
from converter.bending.split import SLEEVE
from converter.errors import OptionError
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.model import Die, Machine, Shop, Stick

TUBE = Section("round", 40.0, 3.0)
DIE = Die("R100", "round", 40.0, 100.0, clamp=50.0, between=60.0, tail=40.0)


def shop(longest: float | None = None, rack: float | None = None, die: Die = DIE) -> Shop:
    stock = () if rack is None else (Stick(TUBE, None, rack),)
    return Shop("s", (die,), Machine(max_length=longest), stock=stock, source="s.toml")


def straight(length: float, section: Section = TUBE) -> Tube:
    return Tube(run_of([], length), section)


@given(tables(most=6, greatest=200.0), placements(), st.lists(st.floats(0.02, 0.98), min_size=1, max_size=4))
@settings(max_examples=60)
def test_the_pieces_lie_where_the_tube_lay(table, placement, shares):
    """Walked one by one, the pieces pass through the same arcs, end at the same ends and leave no gap."""
    run = Run("r", "L", False, table, placement)
    straights = [(i, length) for i, length in enumerate(table.straights) if length > 1.0]
    assume(straights)
    starts = np.cumsum([0.0, *(s + b.arc_length for s, b in zip(table.straights, table.bends, strict=False))])
    places = {
        round(float(starts[i] + share * length), 6) for share, (i, length) in zip(shares, straights * 4, strict=False)
    }
    found = at_lengths(Tube(run, TUBE), sorted(places))
    assert len(found.pieces) == len(places) + 1 == len(found.joints) + 1
    assert sum(p.run.table.developed_length for p in found.pieces) == pytest.approx(table.developed_length, abs=1e-6)
    assert np.allclose(found.pieces[0].run.start, run.start, atol=1e-6)
    assert np.allclose(found.pieces[-1].run.end, run.end, atol=1e-5)
    for (a, b), joint in zip(pairwise(found.pieces), found.joints, strict=True):
        assert np.allclose(a.run.end, b.run.start, atol=1e-5) and np.allclose(joint.place, b.run.start)
    arcs = [s for piece in found.pieces for s in piece.run.centerline if hasattr(s, "radius")]
    drawn = [s for s in run.centerline if hasattr(s, "radius")]
    for a, b in zip(arcs, drawn, strict=True):
        assert np.allclose(a.center, b.center, atol=1e-5) and np.allclose(a.normal, b.normal, atol=1e-6)


@example(10_000.0, 2_000.0)  # five full bars, to the last digit
@given(st.floats(100.0, 20_000.0), st.floats(2_000.0, 8_000.0))
@settings(max_examples=60)
def test_a_straight_comes_in_as_few_equal_pieces_as_can_be(length, bar):
    """n bars reach n times the bar: by hand, the least n is length / bar rounded up."""
    [found] = pieces_of([straight(length)], shop(rack=bar))
    if length <= bar:
        assert need_pieces([straight(length)], shop(rack=bar), {}, None) == [False]
        return
    lengths = [piece.run.table.developed_length for piece in found.pieces]
    assert len(lengths) == ceil(length / bar - 1e-9)
    assert max(lengths) - min(lengths) < 1e-6


@given(st.lists(st.floats(80.0, 900.0), min_size=4, max_size=7), st.floats(900.0, 1800.0))
@settings(max_examples=25)
def test_no_cut_in_many_does_with_fewer_pieces(feeds, bar):
    """Held to a greedy walk: from each cut on as far as a stick reaches, on a fine grid of places in straights.

    With square ends and no extra a piece of a piece can be made when the piece can, for which greedy is exact.
    """
    die = Die("R100", "round", 40.0, 100.0)
    tube = Tube(run_of([(feed, 90.0, 60.0, 100.0) for feed in feeds], 400.0), TUBE, die="R100")
    [found] = pieces_of([tube], shop(rack=bar, die=die))
    table, places, at = tube.run.table, [], 0.0
    for i, length in enumerate(table.straights):
        places += [at + length * (j + 0.5) / 400 for j in range(400)]
        at += length + (table.bends[i].arc_length if i < len(table.bends) else 0.0)
    count, here = 1, 0.0
    while table.developed_length - here > bar:
        here = max(place for place in places if place - here <= bar)
        count += 1
    assert len(found.pieces) == count
    for setup in set_up(found.pieces, shop(rack=bar, die=die)):
        assert setup.stick_length <= bar + 1e-6


def test_every_piece_can_be_held_and_its_own_cut_ends_stay():
    """Extra for clamp and follower counts, and what a cope adds at the ends of the whole."""
    where, cuts = shop(longest=1300.0), {"R": cut_ends(25.0, 12.0)}
    tube = Tube(run_of([(200, 0, 90, 100), (700, 90, 60, 100), (700, 90, 45, 100)], 300, name="R"), TUBE, die="R100")
    [found] = pieces_of([tube], where, cuts)
    ends = {found.pieces[0].name: cut_ends(25.0), found.pieces[-1].name: cut_ends(None, 12.0)}
    for setup in set_up(found.pieces, where, None, ends):
        assert setup.stick_length <= 1300.0
        assert not [f for f in setup.findings if f.severity == "error"]
    assert need_pieces([found.pieces[0]], where, ends, None) == [False]
    assert pieces_of([tube], shop(longest=200.0)) == [None]  # a bend alone is longer


def test_sleeves_slide_and_reach_into_both_pieces():
    found = at_lengths(straight(1000.0), [400.0])
    sleeve = found.joints[0].sleeve
    assert (found.joints[0].kind, sleeve.section.wall) == ("sleeve", 3.0)
    assert sleeve.section.od == pytest.approx(40.0 - 2 * 3.0 - 2 * SLIP)
    assert sleeve.run.table.developed_length == pytest.approx(2 * SLEEVE * 40.0)
    middle = (np.array(sleeve.run.start) + sleeve.run.end) / 2.0
    assert np.allclose(middle, found.joints[0].place)
    square = at_lengths(straight(1000.0, Section("square", 40.0, 3.0, corner=6.0)), [400.0]).joints[0].sleeve.section
    assert (square.shape, square.od, square.corner) == ("square", pytest.approx(33.5), pytest.approx(2.75))
    assert at_lengths(straight(1000.0, Section("bar", 20.0, 10.0)), [400.0]).joints[0].kind == "butt"
    assert at_lengths(straight(1000.0), [70.0]).joints[0].kind == "butt"  # 80 of sleeve find no room in 70
    assert [j.kind for j in at_lengths(straight(1000.0), [400.0, 470.0]).joints] == ["butt", "butt"]


def test_a_place_that_is_no_straight_is_refused():
    tube = Tube(run_of([(100, 0, 90, 100)], 100), TUBE)
    for place in (100.0 + 50.0 * pi / 2.0, -5.0, 0.0, 1e6):
        with pytest.raises(OptionError, match="no straight there"):
            at_lengths(tube, [place])


def test_a_bar_too_short_is_an_error_of_the_set_up():
    for length, said in ((3000.0, False), (3001.0, True)):
        findings = set_up([straight(length)], shop(rack=3000.0))[0].findings
        assert ["stick-too-long" in f.code for f in findings] == ([True] if said else [])
    other = Shop("s", (DIE,), stock=(Stick(Section("round", 40.0, 2.0), None, 500.0), Stick(TUBE, "brass", 500.0)))
    assert set_up([Tube(run_of([], 900.0), TUBE, metal="mild steel")], other)[0].findings == ()


def test_tubes_side_by_side_come_in_the_pieces_of_each_alone():
    """Tubes of names like those of pieces, too, each with what its own cuts add."""
    tubes = [
        Tube(run_of([(feed, 90.0, 60.0, 100.0) for feed in feeds], 300.0, name=name), TUBE, die="R100")
        for name, feeds in (
            ("rail", [400.0, 250.0, 700.0]),
            ("rail piece 1", [150.0, 1900.0, 300.0, 200.0]),
            ("0", [600.0, 80.0, 500.0]),
            ("short", [120.0]),
        )
    ]
    where = shop(longest=1200.0)
    cuts = {"rail": cut_ends(40.0), "rail piece 1": cut_ends(None, -15.0), "0": cut_ends(200.0)}
    alone = [pieces_of([tube], where, cuts)[0] for tube in tubes]
    assert pieces_of(tubes, where, cuts) == alone
    assert pieces_of(tubes, where) != alone, "the cuts count"
    assert [len(one.pieces) for one in alone] == [2, 3, 2, 2]
    needed = need_pieces(tubes, where, cuts, None)
    assert needed == [need_pieces([tube], where, cuts, None)[0] for tube in tubes] == [True, True, True, False]
