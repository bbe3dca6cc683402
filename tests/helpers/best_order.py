"""The best order of a table by itself, without a set-up: what the search of orders is held to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from converter.bending.room.order import MARGIN, Feasible, weigh_orders
from converter.bending.room.questions import alone
from converter.bending.room.space import space_of
from converter.bending.room.sweep import Clearance, Sweepers
from converter.model.bends import BendTable
from converter.model.section import Section
from converter.shop.model import Machine


@dataclass(frozen=True, slots=True)
class BestOrder:
    """What the search found.

    Attributes:
        best: the order to take.
        simple_a, simple_b: the simple orders from either end, whether or not they can be clamped.
        margin: mm that the order to take should clear by.
        every: whether every order was weighed.
        swept_count: how many bends in how many situations were swept.
    """

    best: Clearance | None
    simple_a: Clearance
    simple_b: Clearance
    margin: float
    every: bool
    swept_count: int

    @property
    def clears(self) -> bool:
        """Whether the order to take clears everything by the margin."""
        return self.best is not None and self.best.keeps(self.margin)

    @property
    def changed(self) -> bool:
        """Whether the order to take is not the simple one from end A."""
        return self.best is not None and (self.best.feed_from, self.best.order) != ("A", self.simple_a.order)


def best_order(
    table: BendTable,
    section: Section,
    machine: Machine,
    *,
    margin: float = MARGIN,
    feasible: Feasible | None = None,
    thorough: bool = False,
    extra_a: float = 0.0,
    extra_b: float = 0.0,
    stops: Sequence[float] | None = None,
) -> BestOrder:
    """Find the order and the end that leave the most room.

    The simple order from end A is taken when it clears by ``margin``; else the one from end B when that
    does; else the order of the largest least room, the simplest of those that are alike.

    Args:
        table: the bends from end A.
        section: of the tube.
        machine: with what the shop file says of its room.
        margin: mm that is room enough.
        feasible: which bend can be clamped after which; None allows everything.
        thorough: weigh every order even when a simple one will do, and take the roomiest.
        extra_a, extra_b, stops: as for `converter.bending.room.sweep.Sweeper`.

    Raises:
        GeometryError: a corner has no radius, or bends overlap.
    """
    shared = Sweepers(table, section, space_of(machine), stops)
    ends = {end: shared.of(end, extra_a, extra_b) for end in "AB"}
    plain = {end: one.sequence(one.simple_order) for end, one in ends.items()}
    rule = feasible or (lambda made, bend, end: True)
    can = {end: _clampable(plain[end].order, rule, end) for end in "AB"}
    simple = [plain[end] for end in "AB" if can[end] and plain[end].keeps(margin)]
    looked = 2 * len(table.bends)
    best: Clearance | None = simple[0] if simple else None
    every = False
    if thorough or best is None:
        weighed = alone(weigh_orders(ends, feasible))
        every = weighed.every
        looked += weighed.swept_count
        top = weighed.best
        best = None if top is None else ends[top.feed_from].sequence(top.order)
    return BestOrder(best, plain["A"], plain["B"], margin, every, looked)


def _clampable(order: Sequence[int], rule: Feasible, end: str) -> bool:
    return all(rule(tuple(sorted(order[:i])), bend, end) for i, bend in enumerate(order))
