"""Which bend first, and from which end: the order that leaves the most room to swing.

For a tube of up to `ALL` bends every order from both ends is weighed. That takes no list of orders: what
can happen while one bend is made depends only on *which* bends were made before, so the best order is the
widest path through the sets of bends made (dynamic programming over subsets). Above that the best `BEAM`
sets of each size are kept (a beam search).
"""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from converter.bending.room.bound import ROUNDING
from converter.bending.room.near import SURE
from converter.bending.room.order_sets import OrderQuestion, TopQuestion, lattice
from converter.bending.room.questions import Situation, Steps, alone, side_by_side
from converter.bending.room.space import Array, space_of
from converter.bending.room.sweep import Clearance, Sweeper, Sweepers
from converter.model.bends import BendTable
from converter.model.section import Section
from converter.shop.model import Machine
from converter.tolerances import PAST_LENGTH

#: mm; a tube that clears by less is too close to trust to a person's aim (common practice, no source).
MARGIN = 10.0
#: Tubes of up to this many bends get every order weighed.
ALL = 8
#: Sets of bends kept at each size above that, and of tubes of how many bends; fewer of longer ones.
BEAM, BEAM_BENDS = 32, 12
#: mm; orders whose least room differs by less are as good as each other: the simpler one is taken.
ALIKE = 1.0
_AS_GOOD = ALIKE + PAST_LENGTH
#: mm; rooms that are further apart than this are told apart however they were measured.
_CLEARLY = 2.0 * SURE
#: mm; an order that has less room than another one by more is surely not taken.
_WORTH = _AS_GOOD + _CLEARLY

#: Situations swept beside those of the best orders the second time round; twice as many each time after.
MORE = 16

#: Whether a bend (number from 1, in the table's order from end A) can be held when the bends of these numbers,
#: rising, are made already: fed from 'A' or 'B'.
Feasible = Callable[[tuple[int, ...], int, str], bool]


@dataclass(frozen=True, slots=True, eq=False)
class NeighbourRule:
    """A `Feasible` for which only the nearest bends on either side count, so that it is asked of pairs once for all.

    Attributes:
        pairs: by the end fed first, where it may be fed so, (n, n) whether each bend can be held when each other one
            alone is made already; bends counted from 0 from the end fed first.
    """

    pairs: Mapping[str, NDArray[np.bool_]]

    def __call__(self, made: tuple[int, ...], bend: int, end: str) -> bool:
        """As `Feasible` says."""
        if end not in self.pairs:
            return False
        i = bisect(made, bend)
        pairs = self.pairs[end] if end == "A" else self.pairs[end][::-1, ::-1]
        return all(pairs[bend - 1, other - 1] for other in made[max(0, i - 1) : i + 1])

    def held(self, end: str, count: int) -> NDArray[np.bool_]:
        """(2^n, n) whether each bend can be held after each set of others; bends counted from the end fed first."""
        sets = lattice(count)
        if end not in self.pairs:
            return np.zeros((1 << count, count), bool)
        if self.pairs[end].sum() == count * (count - 1):
            return sets.open
        # the column for no neighbour holds
        pairs = np.concatenate([self.pairs[end], np.ones((count, 1), bool)], axis=1)
        every = np.arange(count)
        found: NDArray[np.bool_] = sets.open & pairs[every, sets.ahead] & pairs[every, sets.behind]
        return found


@dataclass(frozen=True, slots=True)
class BestOrder:
    """What the search found.

    Attributes:
        best: the order to take.
        plain_a, plain_b: the simple orders from either end, whether or not they can be clamped.
        clampable_a, clampable_b: whether the clamp allows them.
        margin: mm that the order to take should clear by.
        every: whether every order was weighed.
        swept_count: how many bends in how many situations were swept.
    """

    best: Clearance | None
    simple_a: Clearance
    simple_b: Clearance
    clampable_a: bool
    clampable_b: bool
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


@dataclass(frozen=True, slots=True)
class RoomyOrder:
    """An order that leaves room.

    Attributes:
        feed_from: 'A' or 'B', the end fed first.
        order: bends in the order made, from 0 in the table's order from end A.
        room: mm, as `Clearance.room`.
    """

    feed_from: str
    order: tuple[int, ...]
    room: float

    @property
    def is_simple(self) -> bool:
        """Whether the bends are made one after the other from the end fed first."""
        return self.order == tuple(sorted(self.order, reverse=self.feed_from == "B"))


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
    plain = alone(_simple_orders_of(ends))
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
    return BestOrder(best, plain["A"], plain["B"], can["A"], can["B"], margin, every, looked)


def weigh_orders(ends: Mapping[str, Sweeper], feasible: Feasible | None) -> Steps[WeighedOrders]:
    """Weigh the orders from both ends.

    Args:
        ends: the sweepers of ends 'A' and 'B'.
        feasible: as for `best_order`.
    """
    every = ends["A"].count <= ALL
    found, count = yield from (_every if every else _beam)(ends, feasible)
    top = max((one.room for one in found), default=inf)
    good = [one for one in found if one.room >= top - _AS_GOOD or one.room == top]
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
    sure = _SureRoom()
    helds = [_held(one, rule) for one in ends.values()]
    weighing = list(zip(ends.values(), helds, mosts, strict=True))
    searches = [_OrderSearch(one, held, most.to_all, sure) for one, held, most in weighing]
    yield from side_by_side([one.ask_top() for one in searches])
    # the end of the better prospects first; the other one is mostly spared
    searches.sort(key=lambda one: -one.top)
    if searches[0].top - searches[-1].top <= _WORTH:
        searches.sort(key=lambda one: one.sweeper.feed_from)
    first, second = searches
    found = yield from side_by_side([first.ask_roomiest(), second.ask_after(first)])
    orders = sorted((one for one in found if one is not None), key=lambda one: one.feed_from)
    if max((one.room for one in orders), default=inf) <= max(one.deepest for one in ends.values()) + _WORTH:
        # as deep nothing is measured well enough to say by it alone which order is better
        orders, poor = yield from _simple_and_poor(ends, rule)
        deep = yield from side_by_side(
            [_OrderSearch(one, held, most.to_planes).ask_within_finished(poor) for one, held, most in weighing]
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


@dataclass(slots=True)
class _SureRoom:
    """Mm that some order of a tube, from either end, is known to keep."""

    room: float = -inf


class _OrderSearch:
    """The search of one end; bends are counted from 0 from the end fed first, sets of them as in `order_sets`."""

    def __init__(
        self, one: Sweeper, held: NDArray[np.bool_], most: Array | None = None, sure: _SureRoom | None = None
    ) -> None:
        self.sweeper = one
        self.sets = lattice(one.count)
        #: In the table's numbers from end A, by which orders that are alike are told apart.
        self.names = list(one.simple_order)
        #: (2^n, n) mm: what was swept is exact, the rest may have less room.
        self.rooms = np.where(held, one.most().to_all if most is None else most, -inf)
        self.swept = ~held
        #: What is known of both ends, where rooms are measured only as far as that leaves a doubt.
        self.sure = sure
        #: Mm that no order has more room than, once it was asked.
        self.top = inf
        #: How often something was swept, and what it came to, once that is known.
        self.rounds = 0
        self.result: RoomyOrder | None = None
        self.is_done = False
        #: Situations that were swept, of which it is not noted yet what they tell of others.
        self.untold: list[Situation] = []

    def order(self, enough: float, poor: float) -> tuple[int, ...] | None:
        """The order to take, in the table's numbers from end A; ``enough`` and ``poor`` as for `Sweeper`."""
        return alone(self.ask_order(enough, poor))

    def ask_top(self) -> Steps[None]:
        """Work after which `top` is known."""
        question = TopQuestion(self.rooms)
        yield [question]
        self.top = question.most

    def cannot_replace(self, other: RoomyOrder) -> bool:
        """Whether no order of end B is to be taken, since end A has one that is about as good.

        That is so when none has clearly more room, and the simple one, which goes before all that are as good, less.
        """
        if (other.feed_from, self.sweeper.feed_from) != ("A", "B") or other.room <= self.sweeper.deepest + _WORTH:
            return False
        simple = min((self.rooms[step] for step in _steps(range(self.sweeper.count))), default=inf)
        return self.top < other.room + _AS_GOOD - _CLEARLY and simple < other.room - _WORTH

    def ask_after(self, other: _OrderSearch) -> Steps[RoomyOrder | None]:
        """As `ask_roomiest`, while another end is searched; what which mostly spares this one."""
        while not other.is_done and other.rounds < 2:
            yield []
        if other.result is not None and self.cannot_replace(other.result):
            return None
        return (yield from self.ask_roomiest())

    def ask_roomiest(self) -> Steps[RoomyOrder | None]:
        """Work that comes to the order to take and its room; None where there is none, or the other end has more."""
        self.result = yield from self._ask_roomiest()
        self.is_done = True
        return self.result

    def _ask_roomiest(self) -> Steps[RoomyOrder | None]:
        one = self.sweeper
        enough = inf
        if not one.space.planes:
            # then nothing bounds the room, and no order leaves more than the finished tube has
            yield from one.ask_finished()
            enough = one.finished + ALIKE
        order = yield from self.ask_order(enough, -inf)
        if order is None:
            return None
        if not one.space.planes:
            yield from one.ask_sequence(order)
            return RoomyOrder(one.feed_from, order, one.sequence(order).room)
        fed = [self.names.index(bend) for bend in order]
        return RoomyOrder(one.feed_from, order, float(min(self.rooms[step] for step in _steps(fed))))

    def ask_within_finished(self, poor: float) -> Steps[RoomyOrder | None]:
        """Work that comes to the order to take of those that are better than ``poor`` (mm), by what the finished tube
        leaves; None where there is none."""
        one = self.sweeper
        yield from one.ask_finished()
        order = yield from self.ask_order(one.finished + ALIKE, poor)
        if order is None:
            return None
        yield from one.ask_sequence(order)
        return RoomyOrder(one.feed_from, order, one.sequence(order).room)

    def ask_order(self, enough: float, poor: float) -> Steps[tuple[int, ...] | None]:
        """Work that comes to the `order`."""
        self.sweeper = self.sweeper.quick(enough, poor)
        self.rooms = np.minimum(self.rooms, enough)
        # where rooms are measured over all there is, nearly all of them are needed in the end
        sure, more = -inf, 0 if self.sure is not None else 4 * MORE
        while True:
            question = OrderQuestion(self.rooms, self.names, sure, 2.0 * ROUNDING, _AS_GOOD)
            yield [question]
            most, found = question.most, question.orders
            if most == -inf:
                return None
            if self.sure is not None:
                low = max(sure, self.sure.room) - _WORTH
                if most < low:
                    return None
                # whether an order is taken is a matter of rooms between these two
                self.sweeper = self.sweeper.narrowed(most + _CLEARLY, low)
            new = self._unswept(found)
            if new and self.untold:
                self._tell()
                continue
            if not new:
                if not question.settled:
                    sure = most
                    continue
                if found[0] == found[1]:
                    return tuple(self.names[k] for k in found[0])
                if self.untold:
                    self._tell()
                    continue
                # the hair between the two decides: sweep all that could count, and then it is exact
                new = set(zip(*np.nonzero(~self.swept & (self.rooms >= sure - _AS_GOOD)), strict=True))
                if not new:
                    sure = most
                    continue
            steps = sorted(new.union(self._others(question.on, more)))
            self.rounds += 1
            yield from self.sweeper.ask_moments(_situations(steps))
            self._sweep(steps)
            sure = max(sure, *(min((self.rooms[step] for step in _steps(order)), default=inf) for order in found))
            if self.sure is not None:
                self.sure.room = max(self.sure.room, sure)
            more = 2 * more or MORE

    def _unswept(self, orders: Iterable[Sequence[int]]) -> set[tuple[int, int]]:
        return {step for order in orders for step in _steps(order) if not self.swept[step]}

    def _others(self, on: NDArray[np.bool_], count: int) -> list[tuple[int, int]]:
        """What to sweep along: steps of other orders that would do, since many at once cost little more than few."""
        if not count:
            return []
        made, bends = np.nonzero((on & ~self.swept)[self.sets.largest])
        return list(zip(self.sets.largest[made[:count]].tolist(), bends[:count].tolist(), strict=True))

    def _sweep(self, steps: Sequence[tuple[int, int]]) -> None:
        """Note the room of bends after sets of others."""
        situations = _situations(steps)
        made, bends = np.array(steps).T
        found = np.array([moment.least for moment in self.sweeper.moments_fed(situations)])
        self.rooms[made, bends] = np.minimum(found, self.sweeper.enough)
        self.swept[made, bends] = True
        self.untold += situations

    def _tell(self) -> None:
        """Note what was swept tells of situations that are like it, which is of use only when more are to be swept."""
        situations, self.untold = self.untold, []
        implied: dict[tuple[int, int, int], float] = {}
        for k, before in situations:
            for (first, last), least in self.sweeper.implied_fed((k, before)):
                part = (2 << last) - (1 << first)
                key = k, part, before & part
                implied[key] = min(least, implied.get(key, inf))
        rows = sorted(implied)
        of, part, same = np.array(rows).T
        limits = np.array([implied[row] for row in rows])
        alike = (np.arange(len(self.rooms)) & part[:, None]) == same[:, None]
        starts = np.flatnonzero(np.diff(of, prepend=-1))
        most = np.minimum.reduceat(np.where(alike, limits[:, None], inf), starts).T
        columns = of[starts]
        self.rooms[:, columns] = np.where(
            self.swept[:, columns], self.rooms[:, columns], np.minimum(self.rooms[:, columns], most)
        )


def _situations(steps: Iterable[tuple[int, int]]) -> list[Situation]:
    return [(k, made) for made, k in steps]


def _steps(order: Sequence[int]) -> list[tuple[int, int]]:
    """The set of bends made before each bend of an order, and the bend."""
    found, made = [], 0
    for k in order:
        found.append((made, k))
        made |= 1 << k
    return found


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
