"""The search that works many tubes out at once, against one written down plainly, and by how much it looks at.

The plain one (`plain_search`) shares nothing with it but the bend table's own walk; there is no published source for
the room of such tubes.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import isfinite

import numpy as np
import pytest
from best_order import best_order
from many_tubes import different_tubes
from moved import redrawn
from plain_search import SAMPLING, plain_orders
from scipy.spatial.transform import Rotation
from sweep_tools import POST, STAND, random_table, sweep_order

from converter.bending.room import near, questions
from converter.bending.room.order import ALIKE, MARGIN, weigh_orders
from converter.bending.room.order_sets import TopQuestion
from converter.bending.room.questions import BoundQuestion, RoomQuestion, side_by_side, together
from converter.bending.room.shape import Elements, TubeSide, halves
from converter.bending.room.space import space_of
from converter.bending.room.sweep import TOLERANCE, Sweepers
from converter.bending.setup.setup import set_up
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import walk
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.load import demo_shop
from converter.shop.model import Die, Machine, Shop
from converter.tolerances import PAST_LENGTH

SECTIONS = (Section("round", 44.45, 3.0), Section("square", 38.1, 2.0))
MACHINES = (
    Machine(plane="vertical", pivot_height=965.0, ceiling=1900.0, wall_ahead=1500.0, boxes=(STAND,)),
    Machine(plane="horizontal", pivot_height=900.0, wall_left=700.0, wall_behind=2500.0, boxes=(POST,)),
    Machine(plane="vertical", pivot_height=900.0, swings="behind", boxes=(STAND,)),
    Machine(plane="vertical", pivot_height=1100.0, bends_to="down", wall_right=600.0),
    Machine(plane="horizontal", pivot_height=900.0, bends_to="right", swings="behind", wall_right=900.0),
)


def seeded(seed: int, count: int) -> tuple[BendTable, Section, Machine]:
    rng = np.random.default_rng(7000 + seed)
    table = random_table(rng, count, (60.0, 380.0), (30.0, 150.0), shortest_tail=40.0)
    return table, SECTIONS[seed % 2], MACHINES[seed % len(MACHINES)]


def is_as_plain(found: float, plain: float, section: Section) -> bool:
    """Whether room is what the plain search says, which may be a little too much; nothing is followed deep inside."""
    thinner = section.outer.bounding_radius - section.smaller / 2.0
    if plain < -0.4 * section.outer.bounding_radius and found < 0.0:
        return True
    return plain - SAMPLING - TOLERANCE - 2.0 * thinner <= found <= plain + TOLERANCE


def compare(seed: int, count: int) -> None:
    table, section, machine = seeded(seed, count)
    plain = {end: plain_orders(table, section, machine, end) for end in "AB"}
    for end, rooms in plain.items():
        for order in (min(rooms), max(rooms), max(rooms, key=rooms.get)):
            found = sweep_order(table, section, machine, end, order)
            assert is_as_plain(found.room, rooms[order], section), (end, order)
    best = best_order(table, section, machine, thorough=True).best
    most = max(room for rooms in plain.values() for room in rooms.values())
    assert is_as_plain(best.room, plain[best.feed_from][best.order], section)
    if isfinite(most) and most > 0.0:
        assert plain[best.feed_from][best.order] >= most - ALIKE - 2.0 * (TOLERANCE + SAMPLING)


@pytest.mark.parametrize("seed", range(5))
def test_the_search_is_the_plain_one(seed):
    """Every order from both ends, on a machine of each kind."""
    compare(seed, 2)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(5, 8))
def test_the_search_is_the_plain_one_for_more(seed):
    compare(seed, 3)


# --- side by side, to the last bit ------------------------------------------------------------


def test_sides_are_those_that_the_tables_walk_gives():
    """Each side as a table of its own, walked from T: the same numbers, whatever is walked along with it."""
    rng = np.random.default_rng(5)
    asked, expected = [], []
    for count in (1, 2, 5, 9):
        table = random_table(rng, count, (0.0, 300.0))
        for k in range(count):
            for ahead in (True, False):
                others = range(k - 1, -1, -1) if ahead else range(k + 1, count)
                made = [i for i in others if rng.random() < 0.6]
                asked.append(TubeSide(table, (k, ahead, sum(1 << i for i in made))))
                expected.append(walked(table, k, ahead, others, made))
    for rows, segments in zip(halves(asked), expected, strict=True):
        side = Elements.gathered([rows])
        assert len(segments) == len(side)
        for i, one in enumerate(segments):
            start = one.center if isinstance(one, Arc) else one.start
            assert tuple(side.origin[i]) == start
            tip = np.subtract(one.start, start) if isinstance(one, Arc) else np.subtract(one.end, one.start)
            assert tuple(side.along[i]) == tuple(tip)


def walked(table: BendTable, k: int, ahead: bool, others: range, made: list[int]):
    """The straights and arcs of one side, outward from T."""
    bends, straights = table.bends, table.straights
    rows = []
    length, roll = (0.0 if ahead else bends[k].arc_length), 0.0
    for i in others:
        nearer = i + 1 if ahead else i
        length += straights[nearer]
        roll += bends[nearer].rotation
        if i in made:
            rows.append(Bend(length, 180.0 - (180.0 - roll) % 360.0, bends[i].angle, bends[i].clr))
            length, roll = 0.0, 0.0
        else:
            length += bends[i].arc_length
    length += straights[0 if ahead else -1]
    side = 1.0 if ahead else -1.0
    start = Placement((0.0, -bends[k].clr, 0.0), (side, 0.0, 0.0), (0.0, 0.0, side))
    return walk(BendTable(tuple(rows), length), start)[0]


def test_tubes_side_by_side_come_to_what_each_comes_to_alone():
    jobs = [seeded(seed, 1 + seed % 5) for seed in range(15)]

    def work():
        for table, section, machine in jobs:
            shared = Sweepers(table, section, space_of(machine))
            yield {end: shared.of(end) for end in "AB"}

    alone = [together([weigh_orders(ends, None)])[0] for ends in work()]
    assert together([weigh_orders(ends, None) for ends in work()]) == alone
    assert all(one.best is not None for one in alone) and sum(not one.best.is_simple for one in alone) > 4


def test_tubes_side_by_side_wait_for_each_other_before_they_are_swept():
    """However many quick questions come between, what is swept at a time is that of all; bounds come after it."""
    table, section, machine = seeded(0, 3)
    one = Sweepers(table, section, space_of(machine)).of("A")
    room = RoomQuestion(one._tube, [(0, 0)])
    top, bound = TopQuestion(np.zeros((8, 3))), BoundQuestion(one._tube)

    def asking(*questions):
        for question in questions:
            yield [question]
        return questions

    works = [(top, room, bound), (room, top, top, room), (bound, room), (room,)]
    nested = [asking(*works[0]), side_by_side([asking(*works[1]), asking(*works[2])]), asking(*works[3])]
    steps = list(side_by_side(nested))
    assert steps == [[top], [room, room, room], [top], [top], [room], [bound, bound], [room]]
    assert together([asking(*work) for work in works]) == works


def test_what_does_not_fit_into_one_go_comes_to_the_same(monkeypatch):
    """Memory is bounded by working on fewer at a time, which must not show."""
    shop = replace(demo_shop(), machine=MACHINES[0])
    tubes = different_tubes(6, bends=5)
    expected = set_up(tubes, shop)
    for module, bounds in ((near, {"_MOST": 500, "_GLANCE": 60}), (questions, {"_SITUATIONS": 7})):
        for name, value in bounds.items():
            monkeypatch.setattr(module, name, value)
    assert [one.clearance for one in set_up(tubes, shop)] == [one.clearance for one in expected]
    assert [one.plan for one in set_up(tubes, shop)] == [one.plan for one in expected]


# --- extra stick that differs by the end fed first --------------------------------------------


#: (feed, rotation, angle) of each bend, tail; what the clamp and the pressure die need, the pivot's height; the end and
#: order taken, from a search that gave every order the extra of the simple one from end A: it found none of these.
SHORT_ENDS = {
    # clamp at A: 400 - 50 = 350, pressure die at B none. Fed from B: 400 < 500, and the pressure die has its 50 at A
    "from B, where A wants 350 mm": (
        ((50.0, 0.0, 45.0), (50.0, -90.0, 90.0), (300.0, 180.0, 120.0)), 500.0, (400.0, 50.0, 700.0),
        ("B", (2, 1, 3), 0.0, 0.0),
    ),
    # fed from B the clamp wants 250 - 50 = 200; from A it wants 50 there, and 100 - 50 = 50 behind
    "from A, whose simple order wants less": (
        ((200.0, 0.0, 45.0), (50.0, 180.0, 90.0), (100.0, 180.0, 120.0)), 50.0, (250.0, 100.0, 600.0),
        ("A", (1, 3, 2), 50.0, 50.0),
    ),
    # fed from B the clamp wants 400 - 100 = 300, and the pressure die 100 - 50 = 50 at A; from A the clamp wants 350
    "from B, with extra at both": (
        ((50.0, 0.0, 120.0), (300.0, 180.0, 90.0), (200.0, 0.0, 90.0)), 100.0, (400.0, 100.0, 500.0),
        ("B", (1, 3, 2), 50.0, 300.0),
    ),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", SHORT_ENDS)
def test_each_order_is_weighed_with_the_extra_stick_that_it_needs(name):
    """Worked by hand: the extra is what clamp and pressure die need more than the straights at the ends have; every
    order from both ends is then tried by the plain search on a tube that is so much longer."""
    rows, tail, (clamp, behind, height), expected = SHORT_ENDS[name]
    table = BendTable(tuple(Bend(*row, 150.0) for row in rows), tail)
    die = Die("D", "round", 50.0, 150.0, clamp=clamp, between=50.0, tail=behind, mark_offset=0.0)
    machine, section = Machine(plane="vertical", pivot_height=height), Section("round", 50.0, 2.0)
    (made,) = set_up(
        [Tube(Run("T", "T", False, table, Placement()), section, None)], Shop("s", (die,), machine=machine)
    )
    ahead, after = (max(0.0, clamp - end) for end in (rows[0][0], tail))
    extras = {"A": (ahead, max(0.0, behind - tail)), "B": (max(0.0, behind - rows[0][0]), after)}
    assert (made.extra_a, made.extra_b) == pytest.approx(extras[made.feed_from], abs=1e-9)
    drawn = sum(row[0] for row in rows) + tail + sum(np.radians(row[2]) * 150.0 for row in rows)
    assert made.stick_length == pytest.approx(drawn + sum(extras[made.feed_from]), abs=1e-9)
    rooms = {}
    for end, (at_a, at_b) in extras.items():
        first = replace(table.bends[0], feed=table.bends[0].feed + at_a)
        longer = BendTable((first, *table.bends[1:]), table.tail + at_b)
        rooms |= {(end, order): room for order, room in plain_orders(longer, section, machine, end).items()}
    taken = made.feed_from, tuple(step.bend for step in made.steps)
    assert is_as_plain(made.clearance.room, rooms[taken], section)
    assert rooms[taken] >= MARGIN or rooms[taken] >= max(rooms.values()) - ALIKE - 2.0 * (TOLERANCE + SAMPLING)
    assert {f.code for f in made.findings} & {"sweep-close", "sweep-hits"} == set()
    assert (made.feed_from, tuple(step.bend for step in made.steps), made.extra_a, made.extra_b) == expected
    # the first bend's mark is the extra and the straight there; the die's mark lies where a bend begins
    first = next(step for step in made.steps if step.bend == (1 if made.feed_from == "A" else 3))
    lead = made.extra(made.feed_from)
    assert first.mark == pytest.approx(lead + (rows[0][0] if made.feed_from == "A" else tail), abs=1e-9)


# --- how much is looked at --------------------------------------------------------------------


def test_many_tubes_take_few_looks_at_few_pairs(monkeypatch):
    """Array calls and pairs of pieces measured, for tubes of eight bends that must be searched.

    Before they were worked out side by side, forty such tubes took 4,500 calls and 5,100 pairs each.
    """
    seen = []

    def counted(look):
        def counting(self, items):
            seen.append(len(items))
            return look(self, items)

        return counting

    for kind in (near._NearItself, near._NearBoxes):
        monkeypatch.setattr(kind, "look", counted(kind.look))
    shop = replace(demo_shop(), machine=replace(demo_shop().machine, boxes=(STAND,)))
    calls = []
    for count in (10, 40):
        seen.clear()
        assert sum(f.code == "order-changed" for one in set_up(different_tubes(count), shop) for f in one.findings) > 5
        assert sum(seen) < 3000 * count
        calls.append(len(seen))
    assert calls[1] < 1.6 * calls[0] < 1600


# --- the same tube drawn otherwise, at the very limit -----------------------------------------


#: How a tube can be drawn otherwise: how it is turned, moved (mm), whether from its other end.
REDRAWN = {
    "moved": (np.eye(3), (1e7, -1e7, 7e6), False),
    "turned and moved": (
        Rotation.from_euler("xyz", (31.0, -77.0, 12.0), degrees=True).as_matrix(),
        (-1e7, 1e7, 1e7),
        False,
    ),
    "mirrored": (np.diag((1.0, 1.0, -1.0)), (50.0, 0.0, -300.0), False),
    "from the other end": (np.eye(3), (0.0, 0.0, 0.0), True),
}


@cache
def low_tubes() -> tuple[tuple[Tube, float], ...]:
    """Tubes that, fed from end A in the simple order, come nearest to the floor; and mm they reach below the pivot."""
    shop = demo_shop()
    found = []
    for seed in range(400, 440):
        (tube,) = different_tubes(1, bends=2 + seed % 3, seed=seed)
        (one,) = set_up([tube], replace(shop, machine=replace(shop.machine, pivot_height=1000.0)), "A")
        if one.plan.is_simple and one.clearance is not None and one.clearance.against == "the floor":
            found.append((tube, 1000.0 - one.clearance.room))
    assert len(found) >= 5
    return tuple(found[:5])


def at_the_limit(reach: float, limit: float, short: float) -> Shop:
    """A shop whose pivot leaves a tube so many mm above the floor, less what it is ``short`` by."""
    shop = demo_shop()
    return replace(shop, machine=replace(shop.machine, pivot_height=reach + limit - short))


def told(tube: Tube, shop: Shop, end: str) -> tuple[object, ...]:
    """What a person is told: the end fed first, the order from there, the findings and what is met."""
    (one,) = set_up([tube], shop, end)
    codes = sorted((f.code, f.severity) for f in one.findings)
    assert one.clearance is not None
    return one.feed_from == end, one.plan.order, codes, one.clearance.against


@cache
def told_as_drawn(number: int, limit: float, short: float) -> tuple[object, ...]:
    """The same of one of the low tubes at a limit."""
    tube, reach = low_tubes()[number]
    return told(tube, at_the_limit(reach, limit, short), "A")


@pytest.mark.parametrize("limit", [MARGIN, -TOLERANCE], ids=["clears", "hits"])
@pytest.mark.parametrize("drawn", REDRAWN)
def test_no_verdict_turns_on_how_a_tube_is_drawn(drawn, limit):
    """At the very limit: ten kilometres off, turned, in a mirror (the machine is its own), from its other end."""
    turn, shift, other = REDRAWN[drawn]
    met = set()
    for number, (tube, reach) in enumerate(low_tubes()):
        (again,) = redrawn([tube], (turn, np.array(shift)), "again", turned=other)
        for short in (0.0, 1e-7, -1e-7):
            expected = told_as_drawn(number, limit, short)
            assert told(again, at_the_limit(reach, limit, short), "B" if other else "A") == expected, short
            met.add(expected[3])
    assert "the floor" in met


def test_a_verdict_turns_a_little_beyond_the_limit():
    """What the tests above hold to is a limit: shorter by two hundredths, the simple order will not do."""
    for tube, reach in low_tubes():
        (inside,) = set_up([tube], at_the_limit(reach, MARGIN, 0.0), "A")
        (outside,) = set_up([tube], at_the_limit(reach, MARGIN, 2.0 * PAST_LENGTH), "A")
        assert inside.plan.is_simple and not {f.code for f in inside.findings} & {"sweep-close", "order-changed"}
        assert {f.code for f in outside.findings} & {"sweep-close", "order-changed"}
