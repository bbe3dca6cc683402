"""The search of one end of a tube for the order that leaves the most room: best first, by bounds that only rule out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array
from converter.bending.room.bound import ROUNDING
from converter.bending.room.near import SURE
from converter.bending.room.order_sets import OrderQuestion, TopQuestion, lattice
from converter.bending.room.questions import Question, Result, Situation, Steps, side_by_side
from converter.bending.room.sweep import Sweeper
from converter.tolerances import PAST_LENGTH

#: mm; orders whose least room differs by less are as good as each other: the simpler one is taken.
ALIKE = 1.0
AS_GOOD = ALIKE + PAST_LENGTH
#: mm; rooms that are further apart than this are told apart however they were measured.
_CLEARLY = 2.0 * SURE
#: mm; an order that has less room than another one by more is surely not taken.
WORTH = AS_GOOD + _CLEARLY

#: Situations swept beside those of the best orders the second time round; twice as many each time after.
MORE = 64


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


@dataclass(slots=True)
class SureRoom:
    """Mm that some order of a tube, from either end, is known to keep."""

    room: float = -inf


class OrderSearch:
    """The search of one end; bends are counted from 0 from the end fed first, sets of them as in `order_sets`."""

    def __init__(
        self, one: Sweeper, held: NDArray[np.bool_], most: Array | None = None, sure: SureRoom | None = None
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
        #: Situations that were swept, of which it is not noted yet what they tell of others.
        self.untold: list[Situation] = []

    def ask_top(self) -> Steps[None]:
        """Work after which `top` is known."""
        question = TopQuestion(self.rooms)
        yield [question]
        self.top = question.most

    def cannot_replace(self, other: RoomyOrder) -> bool:
        """Whether no order of end B is to be taken, since end A has one that is about as good.

        That is so when none has clearly more room, and the simple one, which goes before all that are as good, less.
        """
        if (other.feed_from, self.sweeper.feed_from) != ("A", "B") or other.room <= self.sweeper.deepest + WORTH:
            return False
        simple = min((self.rooms[step] for step in _steps(range(self.sweeper.count))), default=inf)
        return self.top < other.room + AS_GOOD - _CLEARLY and simple < other.room - WORTH

    def ask_roomiest(self) -> Steps[RoomyOrder | None]:
        """Work that comes to the order to take and its room; None where there is none, or the other end has more."""
        self.result = yield from self._ask_roomiest()
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
            question = OrderQuestion(self.rooms, self.names, sure, 2.0 * ROUNDING, AS_GOOD, self.swept, more)
            yield [question]
            most, found = question.most, question.orders
            if most == -inf:
                return None
            if self.sure is not None:
                low = max(sure, self.sure.room) - WORTH
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
                new = set(zip(*np.nonzero(~self.swept & (self.rooms >= sure - AS_GOOD)), strict=True))
                if not new:
                    sure = most
                    continue
            steps = sorted(new.union(question.others))
            self.rounds += 1
            yield from self.sweeper.ask_moments(_situations(steps))
            self._sweep(steps)
            sure = max(sure, *(min((self.rooms[step] for step in _steps(order)), default=inf) for order in found))
            if self.sure is not None:
                self.sure.room = max(self.sure.room, sure)
            more = 2 * more or MORE

    def _unswept(self, orders: Iterable[Sequence[int]]) -> set[tuple[int, int]]:
        return {step for order in orders for step in _steps(order) if not self.swept[step]}

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
        tops = np.where(self.swept, -inf, self.rooms).max(axis=0).tolist()
        implied: dict[tuple[int, int, int], float] = {}
        for k, before in situations:
            for (first, last), least in self.sweeper.implied_fed((k, before)):
                part = (2 << last) - (1 << first)
                key = k, part, before & part
                if least < min(tops[k], implied.get(key, inf)):
                    implied[key] = least
        if not implied:
            return
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


def ask_both(first: OrderSearch, second: OrderSearch) -> Steps[list[RoomyOrder | None]]:
    """As `OrderSearch.ask_roomiest` of both ends; what the first end comes to at once mostly spares the second."""
    steps = first.ask_roomiest()
    for questions in steps:
        if first.rounds > 1:
            return (yield from side_by_side([_resumed(questions, steps), second.ask_roomiest()]))
        yield questions
    if first.result is not None and second.cannot_replace(first.result):
        return [first.result, None]
    return [first.result, (yield from second.ask_roomiest())]


def _resumed(questions: list[Question], steps: Steps[Result]) -> Steps[Result]:
    """Work that goes on with what it has asked."""
    yield questions
    return (yield from steps)


def _situations(steps: Iterable[tuple[int, int]]) -> list[Situation]:
    return [(k, made) for made, k in steps]


def _steps(order: Sequence[int]) -> list[tuple[int, int]]:
    """The set of bends made before each bend of an order, and the bend."""
    found, made = [], 0
    for k in order:
        found.append((made, k))
        made |= 1 << k
    return found
