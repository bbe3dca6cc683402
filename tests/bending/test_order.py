"""The best order against trying every order, and what the clamp allows."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from best_order import best_order
from sweep_tools import STAND, random_table, sweeper

from converter.bending.room.order import ALIKE, MARGIN
from converter.bending.room.sweep import TOLERANCE
from converter.model.bends import Bend, BendTable
from converter.model.section import Section
from converter.shop.model import Machine

TUBE = Section("round", 44.45, 3.0)
MACHINE = Machine(plane="vertical", pivot_height=965.0, ceiling=2600.0, boxes=(STAND,))


def seeded_table(seed, n):
    return random_table(np.random.default_rng(seed), n)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_the_best_order_is_the_best_of_all(seed):
    n = 3 + seed % 2
    table = seeded_table(seed, n)
    found = best_order(table, TUBE, MACHINE, thorough=True)
    rooms = []
    for end in "AB":
        one = sweeper(table, TUBE, MACHINE, end)
        rooms += [(one.sequence(order).room, end, order) for order in permutations(range(n))]
    top = max(room for room, _, _ in rooms)
    assert found.every and found.best.room >= top - ALIKE - TOLERANCE
    # and what it says of that order is what a fresh sweep of it says
    again = sweeper(table, TUBE, MACHINE, found.best.feed_from).sequence([k - 1 for k in found.best.order])
    assert again.room == pytest.approx(found.best.room, abs=TOLERANCE)


def test_a_simple_order_that_clears_is_kept():
    table = BendTable((Bend(300, 0, 45, 150), Bend(300, 90, 45, 150)), 300)
    found = best_order(table, TUBE, Machine(plane="vertical", pivot_height=1200.0))
    assert found.best == found.simple_a and found.clears and not found.changed and not found.every
    assert found.best.order == (1, 2)


def test_the_other_end_first():
    """A long leg formed first hangs through the floor in an S; the short one first does not (hand-worked)."""
    table = BendTable((Bend(1500, 0, 90, 150), Bend(300, 180, 90, 150)), 200)
    found = best_order(table, TUBE, Machine(plane="vertical", pivot_height=1000.0))
    assert found.simple_a.least == pytest.approx(1000 - 150 - 150 - 1500, abs=TOLERANCE)
    assert found.best == found.simple_b and found.best.feed_from == "B" and found.changed
    assert found.best.order == (2, 1)
    assert found.best.least == pytest.approx(1000 - 150 - 150 - 200, abs=TOLERANCE)


def test_another_order_where_neither_end_will_do():
    """Found by search, then held to: some order clears by the margin, and both plain ones hit."""
    for seed in range(400):
        table = seeded_table(1000 + seed, 4)
        found = best_order(table, TUBE, MACHINE)
        if found.clears and found.simple_a.room < 0.0 and found.simple_b.room < 0.0:
            plain = (found.simple_a.order, found.simple_b.order)
            assert found.best.order not in plain and sorted(found.best.order) == [1, 2, 3, 4]
            assert found.best.room >= MARGIN and found.every
            return
    raise AssertionError("no such tube among 400")


def test_above_eight_bends_a_good_order_is_found():
    for seed in range(30):
        table = seeded_table(2000 + seed, 10)
        found = best_order(table, TUBE, MACHINE)
        assert found.best is not None
        assert found.best.room >= max(found.simple_a.room, found.simple_b.room) - ALIKE or found.clears
        assert sorted(found.best.order) == list(range(1, 11))
        if not found.clears:
            assert not found.every and found.swept_count > 100
            return
    raise AssertionError("every tube cleared at once: the search was never used")


def test_the_beam_is_no_worse_than_plain_and_near_the_best(monkeypatch):
    import converter.bending.room.order as order

    table = seeded_table(77, 6)
    full = best_order(table, TUBE, MACHINE, thorough=True)
    monkeypatch.setattr(order, "ALL", 0)
    quick = best_order(table, TUBE, MACHINE, thorough=True)
    assert full.every and not quick.every
    assert quick.best.room == pytest.approx(full.best.room, abs=ALIKE + TOLERANCE)


# --- the clamp --------------------------------------------------------------------------------


def test_only_orders_that_can_be_held_are_taken():
    """Bend 2 cannot be held once bend 1 is made and end A goes first, nor bend 1 after 2 from end B."""
    table = BendTable((Bend(300, 0, 90, 150), Bend(70, 90, 90, 150)), 300)

    def rule(made, bend, end):
        return not (made == (1,) and bend == 2 and end == "A") and not (made == (2,) and bend == 1 and end == "B")

    found = best_order(table, TUBE, Machine(plane="vertical", pivot_height=3000.0), feasible=rule)
    assert found.simple_a.keeps(found.margin) and found.simple_b.keeps(found.margin)
    assert (found.best.feed_from, found.best.order) in (("A", (2, 1)), ("B", (1, 2))) and found.changed


def test_the_rule_is_asked_about_sets_of_bends_in_the_tables_numbers():
    table = seeded_table(3, 3)
    asked = set()

    def rule(made, bend, end):
        asked.add((made, bend, end))
        return True

    best_order(table, TUBE, MACHINE, feasible=rule, thorough=True)
    sets = [(), (1,), (2,), (3,), (1, 2), (1, 3), (2, 3)]
    assert {(m, k, e) for m in sets for k in (1, 2, 3) if k not in m for e in "AB"} <= asked
    assert all(bend not in made for made, bend, _ in asked)


def test_no_order_can_be_held():
    table = BendTable((Bend(300, 0, 60, 150), Bend(10, 90, 60, 150)), 300)
    found = best_order(table, TUBE, MACHINE, feasible=lambda made, bend, end: not made)
    assert found.best is None and not found.clears and not found.changed
