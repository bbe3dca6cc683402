"""Room to swing: how near a tube comes to its surroundings and to itself while it is bent.

A bend turns the end that was fed first round the die (or the stock, on a machine that swings that side)
through the bend's angle; the other side is drawn along. `Sweeper` answers for one bend made after any set
of others. docs/sweep.md states the machine's coordinates, what turns,
and what is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass
from math import inf, isfinite
from typing import TypeAlias

import numpy as np

from converter.bending.room.bound import ROUNDING, MostRoom
from converter.bending.room.near import SURE, Moment
from converter.bending.room.questions import (
    ITSELF,
    TOLERANCE,
    BoundQuestion,
    RoomQuestion,
    Situation,
    Steps,
    SwungTube,
    alone,
    sides_of,
)
from converter.bending.room.screen import SimpleQuestion
from converter.bending.room.shape import SideKey, check_table
from converter.bending.room.space import Space
from converter.errors import OptionError
from converter.model.bends import BendTable
from converter.model.centerline import from_end_b
from converter.model.section import Section
from converter.quoting import quoted
from converter.tolerances import PAST_LENGTH


@dataclass(frozen=True, slots=True)
class Clearance:
    """The least room of a sequence of bends.

    Attributes:
        least: mm between the tube's outside and what it comes nearest to; negative when it hits; None when
            nothing stands around the machine and the tube does not turn back on itself.
        tolerance: mm by which ``least`` may be off; where an end of the tube is nearest to a box or to the
            tube itself the true clearance is up to this much greater, as ends count as rounded out.
        bend: number of the bend in which it happens, from 1 in the table's order, or None.
        against: what it comes nearest to, or None.
        at_angle: degrees the bend had been turned by, or None.
        order: numbers of the bends in the order made.
        feed_from: 'A' or 'B', the end fed first.
        as_drawn: whether the finished tube comes as near to itself: no other order changes that.
    """

    least: float | None
    bend: int | None
    against: str | None
    at_angle: float | None
    order: tuple[int, ...]
    feed_from: str
    tolerance: float = TOLERANCE
    as_drawn: bool = False

    @property
    def room(self) -> float:
        """`least`, infinite when there is nothing to meet: for comparing."""
        return inf if self.least is None else self.least

    def keeps(self, margin: float) -> bool:
        """Whether there is so much room, mm, but for rounding."""
        return self.room >= margin - PAST_LENGTH

    @property
    def hits(self) -> bool:
        """Whether the tube hits, whatever the tolerance."""
        return self.room + self.tolerance < -PAST_LENGTH


#: mm; a tube that comes nearer to itself while it is bent than when it is finished by no more meets itself as drawn.
AS_DRAWN = 2.0 * TOLERANCE

#: One bend (index from 0 in the table's order from end A) after a set of others.
State: TypeAlias = tuple[int, frozenset[int]]


def half_outside(section: Section) -> tuple[float, float]:
    """Radius in mm that the tube is taken to have, and how much thinner it may be in some direction.

    What is not round counts as the round that holds it.
    """
    outer = section.outer.bounding_radius
    return outer, outer - section.smaller / 2.0


class Sweeper:
    """One tube fed from one end on one machine; every bend after any set of others, each worked out once.

    Args:
        table: the bends from end A.
        section: of the tube.
        space: around the machine.
        feed_from: 'A' or 'B'.
        extra_a, extra_b: extra stick at the ends, mm.
        stops: degrees each bend is turned to while it is made (springback included), from end A; the
            table's angles when None.
        enough: mm; room to boxes and to the tube itself is not measured where it is more than this ...
        poor: ... nor exactly where it is less than this, which makes a search quick.

    Raises:
        GeometryError: a corner has no radius, or bends overlap.
        OptionError: ``feed_from``, an extra length or a stop makes no sense.
    """

    def __init__(
        self,
        table: BendTable,
        section: Section,
        space: Space,
        feed_from: str = "A",
        *,
        extra_a: float = 0.0,
        extra_b: float = 0.0,
        stops: Sequence[float] | None = None,
        enough: float = inf,
        poor: float = -inf,
    ) -> None:
        if feed_from not in ("A", "B"):
            raise OptionError(f"A tube is fed from end A or end B, not {quoted(feed_from)}.")
        if not (0.0 <= extra_a < inf and 0.0 <= extra_b < inf):
            raise OptionError("Extra at an end must be a length of zero or more.")
        check_table(table)
        angles = [bend.angle for bend in table.bends] if stops is None else list(stops)
        if len(angles) != len(table.bends) or not all(0.0 < angle < 360.0 for angle in angles):
            raise OptionError("Every bend needs one stop angle between 0 and 360 degrees.")
        longer = table
        if table.bends and (extra_a or extra_b):
            first, *others = table.bends
            first = first.moved(first.feed + extra_a, first.clr, first.clr_uncertainty)
            longer = BendTable((first, *others), table.tail + extra_b)
        self.feed_from = feed_from
        self.space = space
        self.count = len(table.bends)
        self._table = longer if feed_from == "A" else from_end_b(longer)
        self._stops = angles if feed_from == "A" else angles[::-1]
        self._radius, self._thinner = half_outside(section)
        self._tube = SwungTube(self._table, self._stops, space, self._radius, self._thinner)
        self.enough = enough
        self._poor, self._deep = poor, max(poor, self._tube.deepest)
        self._moments: dict[Situation, Moment] = {}
        #: Room of each side to planes and boxes, which depends on ``enough`` and ``poor``.
        self._rooms: dict[SideKey, Moment] = {}
        self._clearances: dict[tuple[int, ...], Clearance] = {}
        #: Mm of room that orders were seen to have at most, when it was asked whether they keep a margin.
        self._clear: dict[tuple[tuple[int, ...], float], float] = {}
        self._finished: float | None = None
        self._finished_keeps: dict[float, bool] = {}
        self._as_drawn = table, section, list(angles)
        self._trimmed = None if table.bends and (extra_a or extra_b) else self

    @property
    def trimmed(self) -> Sweeper:
        """The tube without its extra stick."""
        if self._trimmed is None:
            table, section, stops = self._as_drawn
            self._trimmed = Sweeper(table, section, self.space, self.feed_from, stops=stops)
        return self._trimmed

    def quick(self, enough: float, poor: float) -> Sweeper:
        """The same tube, measured within ``enough`` and ``poor`` only; poses and walls are worked out once for both."""
        other = copy(self)
        other.enough, other._poor, other._deep = enough, poor, max(poor, self._tube.deepest)
        other._moments, other._rooms, other._clearances, other._clear = {}, {}, {}, {}
        return other

    def narrowed(self, enough: float, poor: float) -> Sweeper:
        """The same again, with what it knows, measured within narrower bounds from now on."""
        other = copy(self)
        other.enough, other._poor = min(enough, self.enough), max(poor, self._poor)
        other._deep = max(poor, self._deep)
        return other

    @property
    def deepest(self) -> float:
        """Mm that room is never followed below: the tube hits."""
        return self._tube.deepest

    def moments(self, states: Iterable[State]) -> list[Moment]:
        """The least room while each bend is made, bends numbered from 0 in the table's order from end A."""
        return self.moments_fed([self._coded(state) for state in states])

    def moments_fed(self, situations: Sequence[Situation]) -> list[Moment]:
        """As `moments`, bends numbered from 0 from the end fed first."""
        self._work(self.ask_moments(situations))
        return [self._moments[one] for one in situations]

    def ask_states(self, states: Iterable[State]) -> Steps[None]:
        """Work after which `moments` are at hand."""
        return self.ask_moments(self._coded(state) for state in states)

    def ask_moments(self, situations: Iterable[Situation]) -> Steps[None]:
        """Work after which `moments_fed` are at hand."""
        new = [one for one in dict.fromkeys(situations) if one not in self._moments]
        if new:
            question = RoomQuestion(self._tube, new, self.enough, self._deep, self._poor, rooms=self._rooms)
            yield [question]
            self._moments.update(zip(new, question.moments, strict=True))

    def sequence(self, order: Sequence[int]) -> Clearance:
        """The least room over an order of bends, numbered from 0 in the table's order from end A.

        Raises:
            OptionError: the order does not name every bend once.
        """
        self._work(self.ask_sequence(order))
        return self._clearances[tuple(order)]

    def ask_sequence(self, order: Sequence[int]) -> Steps[None]:
        """Work after which a `sequence` is at hand."""
        order = tuple(order)
        if sorted(order) != list(range(self.count)):
            raise OptionError("An order must name every bend once.")
        if order in self._clearances:
            return
        numbers = tuple(bend + 1 for bend in order)
        found: list[Moment] = []
        if order:
            question = RoomQuestion(self._tube, self._situations(order), self.enough, self._deep, each=False)
            yield [question]
            found = question.moments
        least = min(range(len(found)), key=lambda i: found[i].least, default=None)
        if least is None or not isfinite(found[least].least):
            self._clearances[order] = Clearance(None, None, None, None, numbers, self.feed_from)
            return
        one, as_drawn = found[least], False
        if one.against == ITSELF:
            yield from self.trimmed.ask_finished()
            as_drawn = self.trimmed.finished < 0.0 or self.trimmed.finished <= one.least + AS_DRAWN
        self._clearances[order] = Clearance(
            one.least, order[least] + 1, one.against, one.angle, numbers, self.feed_from, one.tolerance, as_drawn
        )

    def clears(self, order: Sequence[int], margin: float) -> bool:
        """Whether an order keeps a margin (mm) throughout, as `sequence` would say, without measuring by how much.

        Args:
            order: as for `sequence`.
            margin: mm; nothing else is worth measuring once something comes nearer.
        """
        self._work(self.ask_clear(order, margin))
        return self._clear[tuple(order), margin] >= margin

    def surely_outside(self, order: Sequence[int], margin: float) -> bool:
        """Whether an order of which it was asked whether it keeps a margin comes deeper into what stands around than a
        tube can come into itself: then its least room is not that against itself."""
        return self._clear.get((tuple(order), margin), inf) < -2.0 * self._radius - TOLERANCE

    def ask_clear(self, order: Sequence[int], margin: float) -> Steps[None]:
        """Work after which it is at hand whether an order `clears`."""
        order = tuple(order)
        if (order, margin) not in self._clear:
            if order == self.simple_order:
                simple = SimpleQuestion(self._table, self._stops, self.space, self._radius)
                yield [simple]
                if simple.room.least > margin + TOLERANCE or simple.room.most < margin - PAST_LENGTH:
                    clears = simple.room.most >= margin
                    self._clear[order, margin] = simple.room.least if clears else simple.room.most
                    return
            line = float(np.nextafter(margin, -inf))
            deep = max(line, self._tube.deepest)
            question = RoomQuestion(self._tube, self._situations(order), self.enough, deep, each=False, line=line)
            yield [question]
            self._clear[order, margin] = min((moment.least for moment in question.moments), default=inf)

    @property
    def finished(self) -> float:
        """The least room in mm between parts of the finished tube, its extra stick not yet trimmed; inf for none.

        No order leaves more.
        """
        if self._finished is None:
            self._work(self.ask_finished())
        assert self._finished is not None
        return self._finished

    def ask_finished(self) -> Steps[None]:
        """Work after which the `finished` tube's room is at hand."""
        if self._finished is None:
            question = self._finished_question(self._tube.deepest)
            yield [question]
            self._finished = min((moment.least for moment in question.moments), default=inf)

    def finished_keeps(self, margin: float) -> bool:
        """Whether the finished tube has more room than a margin (mm) between parts of it."""
        if margin not in self._finished_keeps:
            self._work(self.ask_finished_keeps(margin))
        return self._finished_keeps[margin]

    def ask_finished_keeps(self, margin: float) -> Steps[None]:
        """Work after which it is at hand whether the `finished_keeps` a margin."""
        if margin not in self._finished_keeps:
            question = self._finished_question(max(margin, self._tube.deepest), margin)
            yield [question]
            self._finished_keeps[margin] = all(moment.least > margin for moment in question.moments)

    def _finished_question(self, deep: float, line: float = -inf) -> RoomQuestion:
        # of any two parts between which the tube turns, some bend lies between
        every = (1 << self.count) - 1
        states = [(k, every ^ 1 << k) for k in range(self.count)]
        return RoomQuestion(self._tube, states, deep=deep, each=False, line=line, finished=True)

    @property
    def simple_order(self) -> tuple[int, ...]:
        """The simple order, from the end fed first: indices from 0 in the table's order from end A."""
        order = range(self.count)
        return tuple(order if self.feed_from == "A" else reversed(order))

    def most(self) -> MostRoom:
        """What there may be at most, bends and sets of them counted from the end fed first."""
        return alone(self.ask_most())

    def ask_most(self) -> Steps[MostRoom]:
        """Work that comes to the `most` room."""
        question = BoundQuestion(self._tube)
        yield [question]
        assert question.most is not None
        return MostRoom(question.most.to_planes + ROUNDING, question.most.to_all + ROUNDING)

    def implied_fed(self, situation: Situation) -> list[tuple[tuple[int, int], float]]:
        """What a situation that was swept tells of others, bends numbered from 0 from the end fed first.

        Returns:
            First and last bend and mm: with the same of these bends made the bend in question has no more room.
        """
        k = situation[0]
        sides = [self._rooms[side] for side in sides_of(situation)]
        found = [((0, k), sides[0].least), ((k, self.count - 1), sides[1].least)]
        for one in (*sides, self._moments[situation]):
            if one.span is not None:
                # what is as low as that is not measured further, so the others are as low or measured like this one
                found.append((one.span, max(one.least, self._deep) + SURE))
        return found

    def _fed(self, state: State) -> State:
        """The state with bends numbered from the end fed first."""
        if self.feed_from == "A":
            return state
        last = self.count - 1
        return last - state[0], frozenset(last - i for i in state[1])

    def _coded(self, state: State) -> Situation:
        """The same with bends numbered from the end fed first, and the set of those made as bits."""
        k, made = self._fed(state)
        return k, sum(1 << i for i in made)

    def _situations(self, order: Sequence[int]) -> list[Situation]:
        return [self._coded((bend, frozenset(order[:i]))) for i, bend in enumerate(order)]

    def _work(self, steps: Steps[None]) -> None:
        """Take work of this tube through by itself."""
        alone(steps)


class Sweepers:
    """The sweepers of one tube on one machine, by end fed first and extra stick, each made once.

    Args:
        table, section, space, stops: as for `Sweeper`.
    """

    def __init__(self, table: BendTable, section: Section, space: Space, stops: Sequence[float] | None = None) -> None:
        self._tube = table, section, space
        self._stops = stops
        self._sweepers: dict[tuple[str, float, float], Sweeper] = {}

    def of(self, end: str, extra_a: float = 0.0, extra_b: float = 0.0) -> Sweeper:
        """The sweeper of an end fed first and of extra stick at the ends, mm."""
        key = (end, extra_a, extra_b)
        if key not in self._sweepers:
            self._sweepers[key] = Sweeper(*self._tube, end, extra_a=extra_a, extra_b=extra_b, stops=self._stops)
        return self._sweepers[key]
