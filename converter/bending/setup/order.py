"""Which end goes first and in which order the bends are made: what can be held, what clears, what needs least."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from functools import cached_property
from itertools import product, zip_longest
from math import inf
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from converter.bending.room.order import MARGIN, NeighbourRule, WeighedOrders, swept_values, unknown_room, weigh_orders
from converter.bending.room.questions import TOLERANCE, Steps, side_by_side, together
from converter.bending.room.space import space_of
from converter.bending.room.sweep import AS_DRAWN, Clearance, Sweeper, Sweepers
from converter.bending.setup.clamping import BendPlan, Clamping, Need
from converter.bending.setup.shape import BentShape, MachineBend, as_cut, held, seen_from
from converter.bending.split import in_two
from converter.errors import GeometryError, OptionError
from converter.findings import Clause, Finding
from converter.model.bends import BendTable
from converter.model.end_cuts import EndCuts
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.model import Shop
from converter.tolerances import PAST_LENGTH

#: Tubes whose orders are weighed, or whose room is measured, side by side: a bound on memory.
TOGETHER = 200
#: mm of room that is enough but for rounding, as `Clearance.keeps` has it.
CLEAR = MARGIN - PAST_LENGTH
#: mm; a finished tube that keeps as far from itself is never as near to itself as one that does not clear.
_APART = MARGIN + AS_DRAWN + 2.0 * TOLERANCE


def metal_reach(tube: Tube, cuts: EndCuts) -> tuple[float, float]:
    """How far the metal of a solid reaches past the centerline's ends A and B, mm, never below zero; 0 for rounding.

    Args:
        tube: the tube.
        cuts: an end that is cut to fit is as long as its cut leaves it, however the solid was drawn.
    """
    reach = tube.run.metal or (0.0, 0.0)
    ends = zip(reach, cuts.changes, strict=True)
    at_a, at_b = (past if change is None and past > PAST_LENGTH else 0.0 for past, change in ends)
    return at_a, at_b


class Danger(IntEnum):
    """What swinging comes to: it clears by the margin or only meets itself as it is drawn; it does not, by how much is
    not measured yet; it comes close; it hits."""

    NONE = 0
    SOME = 1
    CLOSE = 2
    HITS = 3


@dataclass(slots=True)
class OrderChoice:
    """One end and one order under consideration.

    Attributes:
        end: 'A' or 'B', fed first.
        shape, clamping, plan: of the tube in that order.
        swept: whether it could be swept.
        danger: what that came to.
        clearance: its least room, where that was measured.
    """

    end: str
    shape: BentShape
    clamping: Clamping
    plan: BendPlan
    swept: bool = False
    danger: Danger = Danger.NONE
    clearance: Clearance | None = None

    @property
    def good(self) -> bool:
        """Whether it can be held and clears."""
        return not self.plan.lacks and not self.danger

    @property
    def swing(self) -> tuple[tuple[str, float, float], tuple[int, ...]]:
        """What a sweeper is asked for it: end and extra stick at ends A and B, and bends numbered from end A."""
        lead, trail, order = self.plan.lead, self.plan.trail, self.plan.order
        if self.end == "A":
            return ("A", lead, trail), order
        last = len(order) - 1
        return ("B", trail, lead), tuple(last - k for k in order)

    @property
    def stick(self) -> float:
        """Length of the stick it takes, mm: the cut ends and the extra counted."""
        return self.shape.length + self.plan.lead + self.plan.trail

    @property
    def stops(self) -> list[float]:
        """What the bends are turned to, from end A."""
        stops = [one.stop for one in self.shape.machine_bends]
        return stops if self.end == "A" else stops[::-1]

    def rank(self) -> tuple[int, int, float, bool, float, bool]:
        """Sorts the best first: held, clear (or else roomy), in the simple order, with little extra, from end A."""
        # but for rounding: ends of a tube that is the same from both are as good as each other
        room = -round(self.clearance.room, 2) if self.danger and self.clearance else 0.0
        extra = round(self.plan.lead + self.plan.trail, 3)
        return len(self.plan.lacks), self.danger, room, not self.plan.is_simple, extra, self.end == "B"

    def measured(self, clearance: Clearance) -> None:
        """Take its least room."""
        self.clearance = clearance
        if clearance.keeps(MARGIN) or clearance.as_drawn:
            self.danger = Danger.NONE
        else:
            self.danger = Danger.HITS if clearance.hits else Danger.CLOSE


@dataclass(slots=True, eq=False)
class LeastRoom:
    """The least room of a tube in the order taken, measured only when somebody asks for it, along with that of others.

    Attributes:
        others: of the same job, that wait to be measured, this one among them.
        sweeper: of the tube.
        order: for `Sweeper.sequence`.
        result: once it is measured.
    """

    others: list[LeastRoom]
    sweeper: Callable[[], Sweeper]
    order: tuple[int, ...]
    result: Clearance | None = None

    @property
    def clearance(self) -> Clearance:
        """The least room."""
        while self.result is None:
            some = self.others[:TOGETHER]
            together([one._ask() for one in some])
            del self.others[: len(some)]
        return self.result

    def _ask(self) -> Steps[None]:
        one = self.sweeper()
        yield from one.ask_sequence(self.order)
        self.result = one.sequence(self.order)


#: The end and order taken, why not the simple ones, and the search where there was one.
ChosenOrder: TypeAlias = tuple[OrderChoice, tuple[str, ...], WeighedOrders | None]


@dataclass(frozen=True, eq=False)
class OrderChooser:
    """Chooses for one tube.

    Attributes:
        tube: the tube.
        machine_bends: its bends as the machine makes them, from end A.
        shop: as for `converter.bending.setup.setup.set_up`.
        cuts: of its ends.
    """

    tube: Tube
    machine_bends: Sequence[MachineBend]
    shop: Shop
    cuts: EndCuts

    @property
    def section(self) -> Section | None:
        """The tube's section; where it is not known, a bar as thick as what its die takes; None without a die."""
        if self.tube.section is not None:
            return self.tube.section
        sizes = [max(one.seat.die.size, one.seat.die.height) for one in self.machine_bends if one.seat.die is not None]
        return Section("bar", max(sizes), 0.0) if sizes else None

    def _choice(self, end: str, order: Sequence[int] | None = None) -> OrderChoice:
        """An order from an end (indices from the end fed first; None for the simple one), not yet swept."""
        from_a, excess = self._held
        shape = seen_from(from_a, excess, self.machine_bends, end)
        return _planned(end, shape, metal_reach(self.tube, self.cuts), order)

    @cached_property
    def _held(self) -> tuple[BendTable, tuple[float, ...]]:
        """The tube as it comes off the machine, from end A, and by how much springback takes more than each straight
        has, mm."""
        whole, excess = held(self.tube.run.table, self.machine_bends)
        return as_cut(whole, self.cuts.change("A"), self.cuts.change("B")), excess

    @cached_property
    def _sweepers(self) -> Sweepers:
        """What all orders of the tube share; the section is known."""
        assert self.section is not None
        stops = [one.stop for one in self.machine_bends]
        return Sweepers(self._held[0], self.section, space_of(self.shop.machine), stops)

    def simple(self) -> tuple[OrderChoice, OrderChoice]:
        """The simple orders from ends A and B, not yet swept."""
        return self._choice("A"), self._choice("B")

    def is_left(self, straight: int) -> bool:
        """Whether something is left, on the dies, of the straight before the bend of that index (from 0)."""
        return self._held[0].bends[straight].feed > PAST_LENGTH

    def pieces(self, straight: int) -> Iterator[tuple[OrderChoice, OrderChoice]]:
        """The same of the two pieces when the straight before the bend of that index (from 0) is cut in its middle."""
        reach_a, reach_b = metal_reach(self.tube, self.cuts)
        parts = self.machine_bends[:straight], self.machine_bends[straight:]
        for table, bends, reach in zip(
            in_two(self._held[0], straight), parts, ((reach_a, 0.0), (0.0, reach_b)), strict=True
        ):
            a, b = (_planned(end, seen_from(table, (), bends, end), reach) for end in "AB")
            yield a, b

    def _ordered(self, choice: OrderChoice, order: Sequence[int]) -> OrderChoice:
        """The same end with another order, not yet swept."""
        return _planned(choice.end, choice.shape, metal_reach(self.tube, self.cuts), order, choice.clamping)

    def _sweeper(self, choice: OrderChoice) -> Sweeper:
        """The one that sweeps a choice; the section is known."""
        return self._sweepers.of(*choice.swing[0])

    def _sweep(self, choice: OrderChoice) -> Steps[None]:
        """Find out whether a choice clears; by how much it does not is measured only where that is a doubt."""
        yield from self._look(choice)
        yield from self._judge(choice)

    def _look(self, choice: OrderChoice) -> Steps[None]:
        """Find out whether a choice keeps clear of all there is, itself too."""
        if self.section is None or self.tube.run.closed:  # the ends of a ring are meant to meet
            return
        try:
            one, order = self._sweeper(choice), choice.swing[1]
        except (GeometryError, OptionError):
            # bends that overlap, or a stop of a full turn: an error finding says so, and nothing can be swept
            return
        choice.swept = True
        yield from one.ask_clear(order, CLEAR)
        if not one.clears(order, CLEAR):
            choice.danger = Danger.SOME

    def _judge(self, choice: OrderChoice) -> Steps[None]:
        """Find out of a choice that was looked at whether it only meets itself as it is drawn."""
        if not choice.danger:
            return
        one, order = self._sweeper(choice), choice.swing[1]
        if one.surely_outside(order, CLEAR):
            return
        # from either end the finished tube is as near to itself
        finished = self._sweepers.of("A").trimmed
        yield from finished.ask_finished_keeps(_APART)
        if not finished.finished_keeps(_APART):
            yield from self._measure(choice)

    def _measure(self, choice: OrderChoice) -> Steps[None]:
        """Work out the least room of a choice that does not clear."""
        if choice.danger and choice.clearance is None:
            one, order = self._sweeper(choice), choice.swing[1]
            yield from one.ask_sequence(order)
            choice.measured(one.sequence(order))

    def least_room(self, choice: OrderChoice, others: list[LeastRoom]) -> LeastRoom | None:
        """The least room of the choice taken, among others that wait to be measured; None where it cannot be swept."""
        if not choice.swept or self.section is None:
            return None
        swing, order = choice.swing
        tube = choice.shape.from_a, self.section, space_of(self.shop.machine), choice.stops
        found = LeastRoom(others, lambda: Sweepers(*tube).of(*swing), order, choice.clearance)
        if found.result is None:
            others.append(found)
        return found

    def again(self, known: OrderChoice) -> OrderChoice:
        """The end and order taken for an equal tube, with its room, for this one."""
        choice = self._choice(known.end, known.plan.order)
        choice.swept, choice.danger, choice.clearance = known.swept, known.danger, known.clearance
        return choice

    def choosing(self, feed_from: str | None) -> Steps[ChosenOrder]:
        """Work that comes to the end and order taken, why not the simple ones ('held', 'clear', 'room', 'stick'), and
        the search; `converter.bending.room.questions.together` takes that of many tubes through at once."""
        ends = ("A", "B") if feed_from in (None, "best") else (feed_from or "A",)
        first = self._choice(ends[0])
        yield from self._look(first)
        if first.good and feed_from != "best":
            return first, (), None
        plain = [first, *(self._choice(end) for end in ends[1:])]
        yield from side_by_side([self._judge(first), *map(self._look, plain[1:])])
        if first.good and feed_from != "best":
            return first, (), None
        tried = list(plain)
        for choice in plain:
            if choice is not first:
                yield from self._judge(choice)
            order = choice.clamping.recommended() if choice.plan.lacks else None
            if order is not None:
                tried.append(self._ordered(choice, order))
                yield from self._sweep(tried[-1])
        search = None
        if not any(choice.good for choice in tried):
            search, found = yield from self._searched(plain)
            tried += found
        fewest = min(len(choice.plan.lacks) for choice in tried)
        held = [choice for choice in tried if len(choice.plan.lacks) == fewest]
        if all(choice.danger for choice in held):  # which of them comes less near, or less deep?
            yield from side_by_side([self._measure(choice) for choice in held])
        best = min(tried, key=OrderChoice.rank)
        if best is first:
            return best, (), search
        if len(best.plan.lacks) < len(first.plan.lacks):
            return best, ("held",), search
        if best.danger:
            return best, ("room",), search
        return best, ("clear",) if first.danger else ("stick",), search

    def _searched(self, plain: Sequence[OrderChoice]) -> Steps[tuple[WeighedOrders | None, list[OrderChoice]]]:
        """The order that leaves the most room of those that can be held, from the ends in question."""
        if self.section is None or not all(choice.swept for choice in plain):
            return None, []
        weighed: list[WeighedOrders] = []
        found: list[OrderChoice] = []
        reach = metal_reach(self.tube, self.cuts)
        for round_of in zip_longest(*(_extras_of_orders(choice, reach) for choice in plain)):
            # an end whose orders all take the same extra stick is weighed in the first round only
            asked = [(choice, extras) for choice, extras in zip(plain, round_of, strict=True) if extras is not None]
            one, choices = yield from self._weighed(asked)
            weighed.append(one)
            found += choices
            if any(choice.good for choice in choices):
                break
        most = max(weighed, key=lambda one: -inf if one.best is None else one.best.room)
        every = all(one.every for one in weighed)
        return WeighedOrders(most.best, every, sum(one.swept_count for one in weighed)), found

    def _weighed(
        self, asked: Sequence[tuple[OrderChoice, tuple[float, float]]]
    ) -> Steps[tuple[WeighedOrders, list[OrderChoice]]]:
        """The order that leaves the most room of those that take no more than so much extra stick at ends A and B.

        Args:
            asked: the simple order from an end, and the extra stick of orders from there.
        """
        extras = {choice.end: extra for choice, extra in asked}
        ends = {choice.end: choice for choice, _ in asked}
        sweepers = {end: self._sweepers.of(end, *extras.get(end, (0.0, 0.0))) for end in "AB"}
        # what holds a bend depends on the nearest ones bent on either side only
        feasible = NeighbourRule(
            {end: np.array(choice.clamping.pairs) for end, choice in ends.items()},
            {end: _within(choice, extras[end]) for end, choice in ends.items()},
        )
        weighed = yield from weigh_orders(sweepers, feasible)
        best = weighed.best
        if best is None:
            return weighed, []
        last = len(best.order) - 1
        order = best.order if best.feed_from == "A" else [last - k for k in best.order]
        choice = self._ordered(ends[best.feed_from], order)
        if best.room >= CLEAR and choice.swing[0][1:] == extras[best.feed_from]:
            choice.swept = True
        else:
            yield from self._sweep(choice)
        return weighed, [choice]

    def is_near(self, chosen: OrderChoice, search: WeighedOrders | None) -> bool:
        """Whether the order taken can be held, but hits or comes close, and no order is better."""
        return (
            search is not None
            and self.section is not None
            and chosen.clearance is not None
            and not chosen.plan.lacks
            and bool(chosen.danger)
        )

    def findings(self, chosen: OrderChoice, search: WeighedOrders | None, ways_out: Clause | None) -> list[Finding]:
        """What is to be told of the room to swing in the order taken.

        Args:
            chosen, search: what `choosing` came to.
            ways_out: what would help, of a tube that `is_near` something.
        """
        unknown = unknown_room(self.shop.machine)
        findings = [] if unknown is None else [unknown]
        clearance = chosen.clearance
        if ways_out is None or search is None or clearance is None:
            return findings
        hits, run = chosen.danger == Danger.HITS, self.tube.run
        row = None if clearance.bend is None else run.table.bends[clearance.bend - 1]
        findings.append(
            Finding(
                "sweep-hits" if hits else "sweep-close",
                variant="every order" if search.every else "many orders",
                tube=self.tube.name,
                bend=clearance.bend,
                values=swept_values(clearance, ways_out),
                measured=clearance.least,
                limit=0.0 if hits else MARGIN,
                unit="mm",
                layer=(row and row.layer) or run.layer,
                handle=(row and row.handle) or (run.handles[0] if run.handles else None),
            )
        )
        return findings


def _extras_of_orders(simple: OrderChoice, reach: tuple[float, float]) -> list[tuple[float, float]]:
    """What extra stick at ends A and B the orders from an end may take, mm, the least first: on one die all the same.

    A bend takes extra stick at an end while none nearer that end is made. So every order takes what the bends next to
    the ends do, and what others do where their dies hold further away and they are made before those.

    Args:
        simple: the simple order from that end.
        reach: of the metal past ends A and B, mm.
    """
    leads, trails = zip(*simple.clamping.extras, strict=True)
    ahead, behind = reach if simple.end == "A" else reach[::-1]
    pairs = product(_least_and_more(leads[0], leads, ahead), _least_and_more(trails[-1], trails, behind))
    found = sorted(pairs, key=sum)
    return found if simple.end == "A" else [(trail, lead) for lead, trail in found]


def _least_and_more(least: float, all_there_are: Iterable[float], reach: float) -> list[float]:
    least = max(least, reach)
    return [least, *sorted({one for one in all_there_are if one > least})]


def _within(choice: OrderChoice, extras: tuple[float, float]) -> NDArray[np.bool_]:
    """(n, 2) of each bend from the end fed first whether so much extra stick at ends A and B does for it while no bend
    nearer the end fed first is made, and while none nearer the other end is."""
    found: NDArray[np.bool_] = np.array(choice.clamping.extras) <= (extras if choice.end == "A" else extras[::-1])
    return found


def _planned(
    end: str,
    shape: BentShape,
    reach: tuple[float, float],
    order: Sequence[int] | None = None,
    clamping: Clamping | None = None,
) -> OrderChoice:
    """An order of a tube seen from an end, not yet swept.

    Args:
        end: 'A' or 'B', fed first.
        shape: seen from there.
        reach: of the metal past ends A and B, mm.
        order: indices from the end fed first; None for the simple one.
        clamping: where it is known already.
    """
    if clamping is None:
        needs = [
            Need.of(one.seat.die, one.stick, roll) for one, roll in zip(shape.machine_bends, shape.rolls, strict=True)
        ]
        clamping = Clamping(shape.table.straights, tuple(needs))
    plan = clamping.plan(range(len(clamping.needs)) if order is None else order)
    lead, trail = reach if end == "A" else reach[::-1]
    if lead > plan.lead or trail > plan.trail:
        plan = replace(plan, lead=max(plan.lead, lead), trail=max(plan.trail, trail))
    return OrderChoice(end, shape, clamping, plan)
