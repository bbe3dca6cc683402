"""The search of orders: that it finds what trying everything finds, by bounds that hold, and how much it leaves out."""

from __future__ import annotations

import gc
import time
from dataclasses import replace
from itertools import permutations
from math import inf

import numpy as np
import pytest
from bench_sweep import MACHINE, SECTION, TABLE
from best_order import best_order
from sweep_tools import POST, STAND, random_table

from converter.bending.room import order as searched
from converter.bending.room.bound import ROUNDING
from converter.bending.room.order_search import ALIKE, OrderSearch, SureRoom
from converter.bending.room.questions import alone, sides_of
from converter.bending.room.shape import TubeSide, halves
from converter.bending.room.space import space_of
from converter.bending.room.sweep import Sweeper
from converter.bending.room.walls import least_to_planes
from converter.bending.setup import order as setup_order
from converter.bending.setup import setup as setups
from converter.bending.setup.setup import set_up
from converter.model.bends import BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.load import demo_shop
from converter.shop.model import Machine

SECTIONS = (Section("round", 44.45, 3.0), Section("rectangular", 38.1, 2.0, height=25.4))
MACHINES = (
    Machine(plane="vertical", pivot_height=700.0),
    Machine(plane="vertical", pivot_height=965.0, ceiling=1900.0, wall_ahead=1500.0, boxes=(STAND,)),
    Machine(plane="horizontal", wall_left=700.0, wall_behind=2500.0, boxes=(STAND, POST)),
    Machine(plane="vertical", pivot_height=900.0, swings="behind", boxes=(STAND,)),
    Machine(),
)


def short_table(seed: int, count: int) -> BendTable:
    rng = np.random.default_rng(seed)
    return random_table(rng, count, (40.0, 420.0), (20.0, 160.0), shortest_tail=15.0)


def random_sweeper(seed: int, end: str) -> Sweeper:
    count = 2 + seed % 3
    table = short_table(4000 + seed, count)
    return Sweeper(
        table,
        SECTIONS[seed // 5 % 2],
        space_of(MACHINES[seed % 5]),
        end,
        extra_a=7.0 * (seed % 4),
        stops=[bend.angle * 1.03 for bend in table.bends],
    )


def situations(count: int) -> list[tuple[int, frozenset[int]]]:
    """Every bend after every set of others."""
    sets = [frozenset(i for i in range(count) if made >> i & 1) for made in range(1 << count)]
    return [(k, made) for made in sets for k in range(count) if k not in made]


def rule(made: tuple[int, ...], bend: int, end: str) -> bool:
    """A clamp that has something against bend 2 between bends 1 and 3."""
    return not (bend == 2 and 1 in made and 3 in made)


def rooms_of(one: Sweeper, enough: float, poor: float) -> dict[tuple[int, frozenset[int]], float]:
    """The room of every situation, as far as it is asked for."""
    states = situations(one.count)
    moments = one.quick(enough, poor).moments(states)
    return {state: min(moment.least, enough) for state, moment in zip(states, moments, strict=True)}


def by_trying(one: Sweeper, rooms: dict[tuple[int, frozenset[int]], float], held) -> tuple[int, ...] | None:
    """Each order tried, the widest taken, of those that are alike the one with the fewest exchanges."""
    found = []
    for order in permutations(range(one.count)):
        steps = [(bend, frozenset(order[:i])) for i, bend in enumerate(order)]
        if all(held(tuple(sorted(i + 1 for i in made)), bend + 1, one.feed_from) for bend, made in steps):
            late = [sum(i > bend if one.feed_from == "A" else i < bend for i in made) for bend, made in steps]
            found.append((min(rooms[step] for step in steps), sum(late), order))
    if not found:
        return None
    top = max(room for room, _, _ in found)
    return min((swaps, order) for room, swaps, order in found if room >= top - ALIKE)[1]


@pytest.mark.slow
def test_the_search_finds_what_trying_everything_finds():
    sure: list[int] = []
    for seed in range(40):
        search_and_try(seed, sure)
    assert len(sure) > 40


def search_and_try(seed: int, sure: list[int]) -> None:
    one = random_sweeper(seed, "AB"[seed // 10 % 2])  # each section on each machine from both ends
    enough = one.finished + ALIKE
    poor = one.sequence(one.simple_order).room - ALIKE if seed % 2 else -inf
    rooms = rooms_of(one, enough, poor)
    for held in (None, rule):
        expected = by_trying(one, rooms, held or (lambda made, bend, end: True))
        search = OrderSearch(one, searched._held(one, held))
        assert alone(search.ask_order(enough, poor)) == expected
        # measured no further than what is known leaves a doubt, with no word of what the finished tube leaves
        told = alone(OrderSearch(one, searched._held(one, held), None, SureRoom()).ask_roomiest())
        deep = one.deepest + ALIKE + 2.0
        if told is not None and told.room > deep and (poor == -inf or told.room > poor + 2.0 * ALIKE):
            assert told.order == expected and told.room == one.sequence(expected).room
            sure.append(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(40))
def test_bounds_are_never_less_than_the_room_there_is(seed):
    """What walls leave at most, and what one situation tells of others: only by these is anything left unswept."""
    for end in "AB":
        one = random_sweeper(seed, end)
        quick = one.quick(one.finished + ALIKE, -20.0 if seed % 2 else -inf)
        states = situations(one.count)
        rooms = {quick._fed(s): min(m.least, quick.enough) for s, m in zip(states, quick.moments(states), strict=True)}
        most = one.most()
        for (k, made), room in rooms.items():
            place = sum(1 << i for i in made), k
            # what is poor, or hits a box, is not measured exactly
            assert room <= max(most.to_planes[place], quick._poor)
            assert room <= max(most.to_all[place], quick._deep)
            assert most.to_all[place] <= most.to_planes[place]
        for state in states:
            k, made = quick._fed(state)
            for (first, last), told in quick.implied_fed(quick._coded(state)):
                span = frozenset(range(first, last + 1))
                alike = [room for (bend, others), room in rooms.items() if bend == k and others & span == made & span]
                assert max(alike) <= told + 1e-9


def test_walls_bound_tightly_where_nothing_else_stands():
    one = Sweeper(TABLE, SECTION, space_of(replace(MACHINE, boxes=())))
    most = one.most().to_planes
    states = situations(4)
    one.moments(states)
    for k, made in states:
        walls = min(one._rooms[side].least for side in sides_of((k, sum(1 << i for i in made))))
        assert walls <= most[sum(1 << i for i in made), k] <= walls + 2.0 + 2.0 * ROUNDING


def test_a_box_bounds_where_it_is_hit():
    """Most situations in which the tube runs into the stand are known to be poor before anything is swept."""
    one = Sweeper(TABLE, SECTION, space_of(replace(MACHINE, pivot_height=None, ceiling=None, wall_ahead=None)))
    most = one.most().to_all
    states = situations(4)
    rooms = [(state, moment.least) for state, moment in zip(states, one.moments(states), strict=True)]
    hit = [(k, made) for (k, made), room in rooms if room < -1.0]
    known = [most[sum(1 << i for i in made), k] < 5.0 for k, made in hit]
    assert len(hit) > 3 and sum(known) > 0.7 * len(known), (len(hit), sum(known))


def test_an_order_is_asked_of_the_clamp_by_rising_numbers():
    asked = []

    def held(made, bend, end):
        asked.append(made)
        return True

    best_order(short_table(9, 4), SECTIONS[0], MACHINES[1], feasible=held, thorough=True)
    assert asked and all(made == tuple(sorted(made)) for made in asked)


@pytest.mark.slow
def test_a_clear_or_not_is_what_a_sweep_measures():
    told = set()
    for seed in range(60):
        one = random_sweeper(seed, "AB"[seed % 2])
        room = one.sequence(one.simple_order).room
        for margin in (-20.0, 0.0, 10.0, room - 0.01, room + 0.01):
            if np.isfinite(margin):
                told.add(one.clears(one.simple_order, margin))
                assert one.clears(one.simple_order, margin) == (room >= margin)
    assert told == {True, False}


@pytest.mark.slow
def test_a_finished_tube_keeps_what_is_measured_of_it():
    told = set()
    for seed in range(60):
        one = random_sweeper(seed, "AB"[seed % 2])
        for margin in (-5.0, 11.0, one.finished - 0.01, one.finished + 0.01):
            if np.isfinite(margin) and margin > one.deepest:
                told.add(one.finished_keeps(margin))
                assert one.finished_keeps(margin) == (one.finished > margin)
    assert told == {True, False}


def test_walls_out_of_doubt_are_on_the_side_they_are_said_to_be():
    """What is surely as little as one line or as much as another is no more exact, and between them the same."""
    cut = {"little": 0, "much": 0, "between": 0}
    for seed in range(20):
        one = random_sweeper(seed, "AB"[seed % 2])
        whole = (1 << one.count) - 1
        keys = [key for k in range(one.count) for key in sides_of((k, whole ^ 1 << k))]
        rows = halves([TubeSide(one._table, key) for key in keys])
        motions, radius = [one._tube.motion(key) for key in keys], np.full(len(keys), one._radius)
        exact = least_to_planes(rows, motions, one.space, radius)
        doubt = np.repeat([[350.0], [600.0]], len(keys), axis=1)
        quick = least_to_planes(rows, motions, one.space, radius, doubt)
        for least, at_once, plane, angle, same in zip(exact[0], *quick[:2], exact[2], quick[2], strict=True):
            if plane >= 0 or not one.space.planes:
                cut["between"] += 1
                assert (at_once, same) == (least, angle)
            elif least <= 350.0:
                cut["little"] += 1
                assert least <= at_once <= 350.0
            else:
                cut["much"] += 1
                assert 600.0 <= at_once <= least
    assert all(cut.values()), cut


def test_the_room_of_a_set_up_is_measured_when_somebody_asks(monkeypatch):
    """Every room of the job at once then, and what is asked again is at hand."""
    swept, exactly = [], []
    real, measure = setup_order.LeastRoom._ask, Sweeper.ask_sequence
    monkeypatch.setattr(setup_order.LeastRoom, "_ask", lambda self: swept.append(self) or real(self))
    monkeypatch.setattr(Sweeper, "ask_sequence", lambda self, order: exactly.append(order) or measure(self, order))
    high = replace(demo_shop(), machine=Machine(plane="vertical", pivot_height=5000.0))
    tubes = [tube_of(f"T{i}", short_table(i, 3), 2000.0 * i) for i in range(4)]
    setups = set_up(tubes, high)
    assert not swept and not exactly
    rooms = [one.clearance for one in setups]
    assert len(swept) == 4 and all(room is not None for room in rooms)
    assert [one.clearance for one in setups] == rooms and len(swept) == 4
    assert rooms == [set_up([tube], high)[0].clearance for tube in tubes]


# --- equal tubes ------------------------------------------------------------------------------


def tube_of(name: str, table: BendTable, at: float = 0.0) -> Tube:
    bends = tuple(replace(bend, handle=f"{name}{i}", clr=152.4) for i, bend in enumerate(table.bends))
    run = Run(name, name, False, BendTable(bends, table.tail), Placement((0.0, at, 0.0)))
    return Tube(run, Section("round", 44.45, 3.048), metal="mild steel")


def mirrored(table: BendTable) -> BendTable:
    return BendTable(
        tuple(replace(one, rotation=one.rotation if one.rotation == 180.0 else -one.rotation) for one in table.bends),
        table.tail,
    )


def tight_shop():
    shop = demo_shop()
    return replace(shop, machine=replace(shop.machine, pivot_height=560.0, boxes=(STAND,)))


def test_equal_tubes_are_searched_once(monkeypatch):
    calls = []
    real = setup_order.weigh_orders

    def counted(ends, *args):
        calls.append(ends)
        return real(ends, *args)

    monkeypatch.setattr(setup_order, "weigh_orders", counted)
    table = short_table(31, 4)
    # places round differently; a mirror image is another tube
    noisy = replace(table, bends=tuple(replace(bend, feed=bend.feed + 1e-10) for bend in table.bends))
    alike = [tube_of(f"T{i}", table if i % 2 else noisy, 500.0 * i) for i in range(8)]
    alone = set_up(alike[:1], tight_shop())
    assert len(calls) == 1
    together = set_up(alike, tight_shop())
    assert len(calls) == 2
    assert {one.plan.order for one in together} == {alone[0].plan.order}
    set_up([*alike, tube_of("M", mirrored(table))], tight_shop())
    assert len(calls) == 4


def test_ways_out_are_tried_once_for_equal_tubes(monkeypatch):
    calls = []
    real = setups.ask_ways_out

    def counted(chooser, *args):
        calls.append(chooser.tube.name)
        return real(chooser, *args)

    monkeypatch.setattr(setups, "ask_ways_out", counted)
    table = short_table(33, 4)
    alike = [tube_of(f"T{i}", table, 500.0 * i) for i in range(8)]
    low = tight_shop()
    low = replace(low, machine=replace(low.machine, pivot_height=200.0))

    def told(tubes):
        found = [finding for setup in set_up(tubes, low) for finding in setup.findings]
        return [one for one in found if one.code in ("sweep-hits", "sweep-close")]

    (alone,) = told(alike[:1])
    together = told(alike)
    assert calls == ["T0", "T0"] and [one.tube for one in together] == [f"T{i}" for i in range(8)]
    assert {replace(one, tube="T0", layer="T0", handle=alone.handle) for one in together} == {alone}
    told([*alike, tube_of("M", mirrored(table))])
    assert calls[2:] == ["T0", "M"]


# --- what it costs ----------------------------------------------------------------------------


def test_most_situations_are_left_unswept(monkeypatch):
    swept = []
    real = OrderSearch._sweep

    def counted(self, steps):
        swept.extend(steps)
        real(self, steps)

    monkeypatch.setattr(OrderSearch, "_sweep", counted)
    found = best_order(TABLE, SECTION, MACHINE, thorough=True)
    assert found.every and found.swept_count > 2000
    assert len(swept) < found.swept_count / 8


@pytest.mark.slow
def test_the_search_costs_less_than_sweeping_every_situation():
    """Processor time, each the least of five, turn and turn about: the search of both ends against all it may look at.

    How much it leaves out is counted above; on an idle machine it is a factor of three; a busy one eats some.
    """
    states = situations(len(TABLE.bends))

    def all_of_them():
        for end in "AB":
            one = Sweeper(TABLE, SECTION, space_of(MACHINE), end)
            one.quick(one.finished + ALIKE, -inf).moments(states)

    def the_search():
        best_order(TABLE, SECTION, MACHINE, thorough=True)

    taken: dict[str, list[float]] = {"all": [], "search": []}
    for _ in range(5):
        for name, work in (("all", all_of_them), ("search", the_search)):
            gc.collect()
            begun = time.process_time()
            work()
            taken[name].append(time.process_time() - begun)
    assert min(taken["all"]) > 1.2 * min(taken["search"])
