"""Which bend first, and from which end: the order that leaves the most room to swing.

For a tube of up to `ALL` bends every order from both ends is weighed. That takes no list of orders: what
can happen while one bend is made depends only on *which* bends were made before, so the best order is the
widest path through the sets of bends made (dynamic programming over subsets). Above that the best `BEAM`
sets of each size are kept (a beam search).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import inf

from converter.bending.sweep import Clearance, State, Sweeper
from converter.bending.sweep_space import space_of
from converter.model.bends import BendTable
from converter.model.section import Section
from converter.shop.model import Machine

#: mm; a tube that clears by less is too close to trust to a person's aim (common practice, no source).
MARGIN = 10.0
#: Tubes of up to this many bends get every order weighed.
ALL = 8
#: Sets of bends kept at each size above that, and of tubes of how many bends; fewer of longer ones.
BEAM, BEAM_BENDS = 32, 12
#: mm; orders whose least room differs by less are as good as each other: the simpler one is taken.
ALIKE = 1.0

#: Whether a bend (number from 1, in the table's order from end A) can be held when the bends of these numbers,
#: rising, are made already: fed from 'A' or 'B'.
Feasible = Callable[[tuple[int, ...], int, str], bool]


@dataclass(frozen=True, slots=True)
class BestOrder:
    """What the search found.

    Attributes:
        best: the order to take.
        plain_a, plain_b: the simple orders from either end, whether or not they can be clamped.
        clampable_a, clampable_b: whether the clamp allows them.
        margin: mm that the order to take should clear by.
        every: whether every order was weighed.
        looked_at: how many bends in how many situations were swept.
    """

    best: Clearance | None
    plain_a: Clearance
    plain_b: Clearance
    clampable_a: bool
    clampable_b: bool
    margin: float
    every: bool
    looked_at: int

    @property
    def clears(self) -> bool:
        """Whether the order to take clears everything by the margin."""
        return self.best is not None and self.best.room >= self.margin

    @property
    def changed(self) -> bool:
        """Whether the order to take is not the simple one from end A."""
        return self.best is not None and (self.best.feed_from, self.best.order) != ("A", self.plain_a.order)


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
        extra_a, extra_b, stops: as for `converter.bending.sweep.Sweeper`.

    Raises:
        GeometryError: a corner has no radius, or bends overlap.
    """
    space = space_of(machine)
    sweepers = {end: Sweeper(table, section, space, end, extra_a=extra_a, extra_b=extra_b, stops=stops) for end in "AB"}
    plain = {end: one.sequence(one.plain) for end, one in sweepers.items()}
    rule = feasible or (lambda made, bend, end: True)
    can = {end: _clampable(plain[end].order, rule, end) for end in "AB"}
    simple = [plain[end] for end in "AB" if can[end] and plain[end].room >= margin]
    looked = 2 * len(table.bends)
    best: Clearance | None = simple[0] if simple else None
    every = False
    if thorough or best is None:
        every = len(table.bends) <= ALL
        found = [plain[end] for end in "AB" if can[end]]
        known = max((one.room for one in found), default=-inf)
        for end, one in sweepers.items():
            # no order leaves more room than the finished tube has; what is poorer than the simple orders is of no use
            quick = Sweeper(
                table, section, space, end,
                extra_a=extra_a, extra_b=extra_b, stops=stops, enough=one.finished + ALIKE, poor=known - ALIKE,
            )  # fmt: skip
            order, count = _every(quick, rule) if every else _beam(quick, rule)
            looked += count
            found += [one.sequence(order)] if order is not None else []
        top = max((one.room for one in found), default=inf)
        best = next((one for one in found if one.room >= top - ALIKE or one.room == top), None)
    return BestOrder(best, plain["A"], plain["B"], can["A"], can["B"], margin, every, looked)


def _clampable(order: Sequence[int], rule: Feasible, end: str) -> bool:
    return all(rule(tuple(order[:i]), bend, end) for i, bend in enumerate(order))


def _allowed(one: Sweeper, made: frozenset[int], rule: Feasible) -> Iterable[int]:
    numbers = tuple(sorted(i + 1 for i in made))
    return (k for k in range(one.count) if k not in made and rule(numbers, k + 1, one.feed_from))


def _rooms(one: Sweeper, states: Sequence[State]) -> list[float]:
    """The least room in each situation, as far as it is measured."""
    return [min(moment.least, one.enough) for moment in one.moments(states)]


def _swaps(one: Sweeper, made: Iterable[int], bend: int) -> int:
    """How many bends that the simple order makes later were made before this one."""
    if one.feed_from == "A":
        return sum(i > bend for i in made)
    return sum(i < bend for i in made)


def _every(one: Sweeper, rule: Feasible) -> tuple[tuple[int, ...] | None, int]:
    """The roomiest order there is, the simplest of those alike, and how many situations were swept.

    The order is None when the clamp allows none at all.
    """
    layers: list[dict[frozenset[int], list[int]]] = [{frozenset(): []}]
    for _ in range(one.count):
        for made, nexts in layers[-1].items():
            nexts.extend(_allowed(one, made, rule))
        layers.append({made | {k}: [] for made, nexts in layers[-1].items() for k in nexts})
    states = [(k, made) for layer in layers for made, nexts in layer.items() for k in nexts]
    rooms = dict(zip(states, _rooms(one, states), strict=True))
    widest: dict[frozenset[int], float] = {frozenset(): inf}
    for layer in layers:
        for made, nexts in layer.items():
            for k in nexts:
                room = min(widest[made], rooms[k, made])
                to = made | {k}
                widest[to] = max(widest.get(to, -inf), room)
    whole = frozenset(range(one.count))
    if whole not in widest:
        return None, len(states)
    return _simplest(one, layers, rooms, widest[whole] - ALIKE), len(states)


def _simplest(
    one: Sweeper, layers: Sequence[dict[frozenset[int], list[int]]], rooms: dict[State, float], enough: float
) -> tuple[int, ...]:
    """Of the orders that keep ``enough`` room all the way, the one with the fewest exchanges."""
    paths: dict[frozenset[int], tuple[int, tuple[int, ...]]] = {frozenset(): (0, ())}
    for layer in layers:
        for made, nexts in layer.items():
            if made not in paths:
                continue
            swaps, order = paths[made]
            for k in nexts:
                if rooms[k, made] < enough:
                    continue
                step = (swaps + _swaps(one, made, k), (*order, k))
                to = made | {k}
                if to not in paths or step < paths[to]:
                    paths[to] = step
    return paths[frozenset(range(one.count))][1]


def _beam(one: Sweeper, rule: Feasible) -> tuple[tuple[int, ...] | None, int]:
    """A roomy order: at each step the best sets of bends made are kept."""
    kept: dict[frozenset[int], tuple[float, int, tuple[int, ...]]] = {frozenset(): (inf, 0, ())}
    count = 0
    width = max(8, BEAM * BEAM_BENDS // max(one.count, BEAM_BENDS))
    for _ in range(one.count):
        states = [(k, made) for made in kept for k in _allowed(one, made, rule)]
        count += len(states)
        grown: dict[frozenset[int], tuple[float, int, tuple[int, ...]]] = {}
        for (k, made), least in zip(states, _rooms(one, states), strict=True):
            room, swaps, order = kept[made]
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
