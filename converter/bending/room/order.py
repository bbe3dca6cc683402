"""Which bend first, and from which end: the order that leaves the most room to swing.

For a tube of up to `ALL` bends every order from both ends is weighed. That takes no list of orders: what
can happen while one bend is made depends only on *which* bends were made before, so the best order is the
widest path through the sets of bends made (dynamic programming over subsets). Above that the best `BEAM`
sets of each size are kept (a beam search).
"""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf

import numpy as np
from numpy.typing import NDArray

from converter.bending.room.order_search import ALIKE, AS_GOOD, WORTH, OrderSearch, RoomyOrder, SureRoom, ask_both
from converter.bending.room.order_sets import lattice
from converter.bending.room.questions import ITSELF, Steps, side_by_side
from converter.bending.room.sweep import Clearance, Sweeper
from converter.findings import Clause, Finding
from converter.shop.model import Machine

#: mm; a tube that clears by less is too close to trust to a person's aim (common practice, no source).
MARGIN = 10.0
#: Tubes of up to this many bends get every order weighed.
ALL = 8
#: Sets of bends kept at each size above that, and of tubes of how many bends; fewer of longer ones.
BEAM, BEAM_BENDS = 32, 12
#: Whether a bend (number from 1, in the table's order from end A) can be held when the bends of these numbers,
#: rising, are made already: fed from 'A' or 'B'.
Feasible = Callable[[tuple[int, ...], int, str], bool]


@dataclass(frozen=True, slots=True, eq=False)
class NeighbourRule:
    """A `Feasible` for which only the nearest bends on either side count, so that it is asked of pairs once for all.

    Attributes:
        pairs: by the end fed first, where it may be fed so, (n, n) whether each bend can be held when each other one
            alone is made already; bends counted from 0 from the end fed first.
        ends: by the same, (n, 2) whether each bend can be made while none nearer the end fed first is made, and while
            none nearer the other end is; an end that is missing allows both.
    """

    pairs: Mapping[str, NDArray[np.bool_]]
    ends: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)

    def __call__(self, made: tuple[int, ...], bend: int, end: str) -> bool:
        """As `Feasible` says."""
        if end not in self.pairs:
            return False
        i = bisect(made, bend)
        pairs, at_ends = self.pairs[end], self._at_ends(end)
        if end == "B":  # as seen from end A
            pairs, at_ends = pairs[::-1, ::-1], at_ends[::-1, ::-1]
        if (i == 0 and not at_ends[bend - 1, 0]) or (i == len(made) and not at_ends[bend - 1, 1]):
            return False
        return all(pairs[bend - 1, other - 1] for other in made[max(0, i - 1) : i + 1])

    def _at_ends(self, end: str) -> NDArray[np.bool_]:
        return self.ends[end] if end in self.ends else np.ones((len(self.pairs[end]), 2), bool)

    def held(self, end: str, count: int) -> NDArray[np.bool_]:
        """(2^n, n) whether each bend can be held after each set of others; bends counted from the end fed first."""
        sets = lattice(count)
        if end not in self.pairs:
            return np.zeros((1 << count, count), bool)
        at_ends = self._at_ends(end)
        if self.pairs[end].sum() == count * (count - 1) and at_ends.all():
            return sets.open
        # the last column is for no neighbour
        ahead, behind = (np.concatenate([self.pairs[end], one[:, None]], axis=1) for one in at_ends.T)
        every = np.arange(count)
        found: NDArray[np.bool_] = sets.open & ahead[every, sets.ahead] & behind[every, sets.behind]
        return found


@dataclass(frozen=True, slots=True)
class WeighedOrders:
    """What weighing the orders of a tube came to.

    Attributes:
        best: the roomiest order that can be held, the simplest of those that are alike; None where none can be.
        every: whether every order was weighed.
        swept_count: how many bends in how many situations were weighed.
    """

    best: RoomyOrder | None
    every: bool
    swept_count: int


def weigh_orders(ends: Mapping[str, Sweeper], feasible: Feasible | None) -> Steps[WeighedOrders]:
    """Weigh the orders from both ends.

    Args:
        ends: the sweepers of ends 'A' and 'B'.
        feasible: as for `best_order`.
    """
    every = ends["A"].count <= ALL
    found, count = yield from (_every if every else _beam)(ends, feasible)
    top = max((one.room for one in found), default=inf)
    good = [one for one in found if one.room >= top - AS_GOOD or one.room == top]
    return WeighedOrders(min(good, key=lambda one: not one.is_simple, default=None), every, count)


def _simple_orders_of(ends: Mapping[str, Sweeper]) -> Steps[dict[str, Clearance]]:
    """The least room in the simple orders."""
    yield from side_by_side([one.ask_sequence(one.simple_order) for one in ends.values()])
    return {end: one.sequence(one.simple_order) for end, one in ends.items()}


def _clampable(order: Sequence[int], rule: Feasible, end: str) -> bool:
    return all(rule(tuple(sorted(order[:i])), bend, end) for i, bend in enumerate(order))


def _allowed(one: Sweeper, made: frozenset[int], rule: Feasible) -> Iterable[int]:
    numbers = tuple(sorted(i + 1 for i in made))
    return (k for k in range(one.count) if k not in made and rule(numbers, k + 1, one.feed_from))


def _swaps(one: Sweeper, made: Iterable[int], bend: int) -> int:
    """How many bends that the simple order makes later were made before this one."""
    if one.feed_from == "A":
        return sum(i > bend for i in made)
    return sum(i < bend for i in made)


def _every(ends: Mapping[str, Sweeper], rule: Feasible | None) -> Steps[tuple[list[RoomyOrder], int]]:
    """Of each end the roomiest order there is, the simplest of those alike, and how many situations were weighed.

    Each situation is weighed by the most room there can be (`Sweeper.most`). Only those on an order that would be
    the roomiest, or the simplest of those alike, are swept, until nothing on it is unswept: whatever was not swept
    has less room than it was weighed by, and was no part of a better order even so. An end is missing where the
    clamp allows nothing, or where no order can come up to one from the other end.
    """
    mosts = yield from side_by_side([one.ask_most() for one in ends.values()])
    sure = SureRoom()
    helds = [_held(one, rule) for one in ends.values()]
    weighing = list(zip(ends.values(), helds, mosts, strict=True))
    searches = [OrderSearch(one, held, most.to_all, sure) for one, held, most in weighing]
    yield from side_by_side([one.ask_top() for one in searches])
    # the end of the better prospects first; the other one is mostly spared
    searches.sort(key=lambda one: -one.top)
    if searches[0].top - searches[-1].top <= WORTH:
        searches.sort(key=lambda one: one.sweeper.feed_from)
    first, second = searches
    found = yield from ask_both(first, second)
    orders = sorted((one for one in found if one is not None), key=lambda one: one.feed_from)
    if max((one.room for one in orders), default=inf) <= max(one.deepest for one in ends.values()) + WORTH:
        # as deep nothing is measured well enough to say by it alone which order is better
        orders, poor = yield from _simple_and_poor(ends, rule)
        deep = yield from side_by_side(
            [OrderSearch(one, held, most.to_planes).ask_within_finished(poor) for one, held, most in weighing]
        )
        orders += [one for one in deep if one is not None]
    return orders, sum(int(held.sum()) for held in helds)


def _simple_and_poor(ends: Mapping[str, Sweeper], rule: Feasible | None) -> Steps[tuple[list[RoomyOrder], float]]:
    """The simple orders that can be held, and mm of room that is of no use, since one of them has more."""
    plain = yield from _simple_orders_of(ends)
    found = [
        RoomyOrder(end, ends[end].simple_order, one.room)
        for end, one in plain.items()
        if rule is None or _clampable(one.order, rule, end)
    ]
    return found, max((one.room for one in found), default=-inf) - ALIKE


def _held(one: Sweeper, rule: Feasible | None) -> NDArray[np.bool_]:
    """(2^n, n): whether each bend can be held after each set of bends that orders come by."""
    sets = lattice(one.count)
    if rule is None:
        return sets.open
    if isinstance(rule, NeighbourRule):
        held = rule.held(one.feed_from, one.count)
        return held if held is sets.open else sets.come_by(held)
    names = one.simple_order
    found = np.zeros((1 << one.count, one.count), bool)
    come = [False] * (1 << one.count)
    come[0] = True
    for made in range(1 << one.count):  # a set comes after every part of it
        if not come[made]:
            continue
        numbers = tuple(sorted(names[i] + 1 for i in sets.members[made]))
        for k in range(one.count):
            if not made >> k & 1 and rule(numbers, names[k] + 1, one.feed_from):
                found[made, k] = come[made | 1 << k] = True
    return found


def _beam(ends: Mapping[str, Sweeper], rule: Feasible | None) -> Steps[tuple[list[RoomyOrder], int]]:
    """The simple orders that can be held and of each end a roomy one, and how many situations were swept."""
    found, poor = yield from _simple_and_poor(ends, rule)
    count = 0
    for end, one in ends.items():
        yield from one.ask_finished()
        quick = one.quick(one.finished + ALIKE, poor)
        order, swept = yield from _beam_of(quick, rule or (lambda made, bend, end: True))
        count += swept
        if order is not None:
            yield from one.ask_sequence(order)
            found.append(RoomyOrder(end, order, one.sequence(order).room))
    return found, count


def _beam_of(one: Sweeper, rule: Feasible) -> Steps[tuple[tuple[int, ...] | None, int]]:
    """A roomy order: at each step the best sets of bends made are kept."""
    kept: dict[frozenset[int], tuple[float, int, tuple[int, ...]]] = {frozenset(): (inf, 0, ())}
    count = 0
    width = max(8, BEAM * BEAM_BENDS // max(one.count, BEAM_BENDS))
    for _ in range(one.count):
        states = [(k, made) for made in kept for k in _allowed(one, made, rule)]
        count += len(states)
        yield from one.ask_states(states)
        grown: dict[frozenset[int], tuple[float, int, tuple[int, ...]]] = {}
        for (k, made), moment in zip(states, one.moments(states), strict=True):
            room, swaps, order = kept[made]
            least = min(moment.least, one.enough)
            step = (min(room, least), swaps + _swaps(one, made, k), (*order, k))
            to = made | {k}
            if to not in grown or _rank(step) < _rank(grown[to]):
                grown[to] = step
        kept = dict(sorted(grown.items(), key=lambda item: _rank(item[1]))[:width])
    best = kept.get(frozenset(range(one.count)))
    return (None if best is None else best[2]), count


def _rank(step: tuple[float, int, tuple[int, ...]]) -> tuple[float, int, tuple[int, ...]]:
    return -step[0], step[1], step[2]


def space_known(machine: Machine) -> bool:
    """Whether the shop file says enough of the room to speak of the sweep: the bend plane and the pivot's height."""
    return machine.plane is not None and machine.pivot_height is not None


def meeting(one: Clearance) -> Clause:
    """How near the tube comes to what, or how deep it runs into it; something must be near."""
    if one.keeps(0.0):
        return Clause.of("comes-within", least=max(0.0, float(one.room)), against=one.against)
    if one.against == ITSELF:
        return Clause.of("runs-into-itself")
    return Clause.of("runs-into", deep=float(-one.room), against=one.against)


def swept_values(one: Clearance, way_out: Clause) -> dict[str, object]:
    """What the words of 'sweep-hits' and 'sweep-close' need of the best order there is."""
    doubtful = not one.hits and not one.keeps(one.tolerance)
    return {
        "feed": one.feed_from,
        "turned": float(one.at_angle or 0.0),
        "meets": meeting(one),
        "doubt": Clause.of("may-touch") if doubtful else "",
        "way_out": way_out,
    }


def unknown_room(machine: Machine) -> Finding | None:
    """'sweep-unknown', the same for every tube, when the shop file says too little of the room around; else None."""
    if space_known(machine):
        return None
    missing = tuple(key for key in ("plane", "pivot_height") if getattr(machine, key) is None)
    return Finding(
        "sweep-unknown", variant="no plane" if machine.plane is None else "no floor", values={"keys": missing}
    )
