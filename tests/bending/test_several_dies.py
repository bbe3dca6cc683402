"""Orders of tubes bent on several dies: each with the extra stick that it takes, held to every order there is."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from sweep_tools import random_table
from test_sweep import TUBE

from converter.bending.room.order import MARGIN, NeighbourRule
from converter.bending.room.questions import together
from converter.bending.room.space import space_of
from converter.bending.room.sweep import TOLERANCE, Sweepers
from converter.bending.setup import order as orders
from converter.bending.setup.order import OrderChooser
from converter.bending.setup.setup import _SpringbackBench, set_up
from converter.model.bends import Placement
from converter.model.end_cuts import EndCuts
from converter.model.run import Run, Tube
from converter.shop.model import Die, Machine, Shop

#: The last holds far ahead and far behind: where its bends are made first they take the most extra stick.
DIES = (
    Die("small", "round", 44.45, 100.0, clamp=30.0, between=20.0, tail=20.0),
    Die("large", "round", 44.45, 160.0, clamp=900.0, between=20.0, tail=20.0),
    Die("behind", "round", 44.45, 130.0, clamp=40.0, between=20.0, tail=900.0),
)


def case(seed):
    rng = np.random.default_rng(seed)
    drawn = random_table(rng, int(rng.integers(2, 5)), (30.0, 200.0), (15.0, 80.0), shortest_tail=15.0)
    radii = rng.choice([die.clr for die in DIES], len(drawn.bends))
    bends = tuple(replace(bend, clr=float(clr)) for bend, clr in zip(drawn.bends, radii, strict=True))
    machine = Machine(plane="vertical", pivot_height=float(rng.uniform(400.0, 1300.0)))
    tube = Tube(Run("T", "L", False, replace(drawn, bends=bends), Placement()), TUBE, "small")
    return tube, Shop("shed", DIES, machine, source="s.toml")


def every_order(tube, shop):
    """(room in mm, extra stick) of every order that can be held, each swept with the extra it takes."""
    bench = _SpringbackBench(shop, {})
    chooser = OrderChooser(tube, bench._machine_bends(tube), shop, EndCuts())
    space, found = space_of(shop.machine), []
    for simple in chooser.simple():
        for order in permutations(range(len(tube.run.table.bends))):
            choice = chooser._ordered(simple, order)
            if not choice.plan.lacks:
                swing, bends = choice.swing
                found.append((Sweepers(choice.shape.from_a, TUBE, space, choice.stops).of(*swing), bends, swing[1:]))
    together([one.ask_sequence(bends) for one, bends, _ in found])
    return [(one.sequence(bends).room, extras) for one, bends, extras in found]


@pytest.mark.parametrize("end", "AB")
@pytest.mark.parametrize("seed", range(40))
def test_each_extra_stick_is_asked_of_the_orders_that_take_no_more(seed, end):
    """Every order is among those of its own extra stick, and those of the least are no more than that takes."""
    tube, shop = case(seed)
    chooser = OrderChooser(tube, _SpringbackBench(shop, {})._machine_bends(tube), shop, EndCuts())
    simple = chooser._choice(end)
    count = len(tube.run.table.bends)
    pairs = {end: np.array(simple.clamping.pairs)}
    asked = orders._extras_of_orders(simple, (0.0, 0.0))
    assert asked == sorted(asked, key=sum) and len(set(asked)) == len(asked)
    own = {order: chooser._ordered(simple, order) for order in permutations(range(count))}
    assert {choice.swing[0][1:] for choice in own.values()} <= set(asked)
    for extras in asked:
        rule = NeighbourRule(pairs, {end: orders._within(simple, extras)})
        held = rule.held(end, count)
        for order, choice in own.items():
            steps = [(sum(1 << i for i in order[:n]), bend) for n, bend in enumerate(order)]
            fits = all(one <= most for one, most in zip(choice.swing[0][1:], extras, strict=True))
            assert all(held[step] for step in steps) == (fits and not choice.plan.lacks)
            numbers = [k + 1 if end == "A" else count - k for k in order]
            asks = [(tuple(sorted(numbers[:n])), bend) for n, bend in enumerate(numbers)]
            assert all(rule(*one, end) for one in asks) == (fits and not choice.plan.lacks)


def told_otherwise(seeds):
    """Seeds of which the set-up says it hits or comes close where an order clears, or the other way round."""
    wrong, differ = [], 0
    for seed in seeds:
        tube, shop = case(seed)
        rooms = every_order(tube, shop)
        if not rooms:
            continue
        differ += len({extra for _, extra in rooms}) > 2  # one from each end is usual
        setup = set_up([tube], shop, "best")[0]
        near = [f for f in setup.findings if f.code in ("sweep-hits", "sweep-close")]
        most = max(room for room, _ in rooms)
        if setup.clearance.as_drawn:
            continue  # it meets itself as it is drawn, whatever the order
        if bool(near) != (most < MARGIN) or (near and setup.clearance.room < most - 1.0 - 2.0 * TOLERANCE):
            wrong.append(seed)
    return wrong, differ


def test_every_order_is_weighed_with_its_own_extra_stick():
    wrong, differ = told_otherwise(range(20))
    assert not wrong and differ > 3


@pytest.mark.slow
def test_every_order_is_weighed_with_its_own_extra_stick_in_many_tubes():
    wrong, differ = told_otherwise(range(20, 100))
    assert not wrong and differ > 15
