"""Which end goes first and in which order the bends are made: what can be held, what clears, what needs least."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from enum import IntEnum
from typing import TypeAlias

import numpy as np

from converter.bending.room.advice import ask_way_out, swept_values, unknown_room
from converter.bending.room.order import MARGIN, NeighbourRule, WeighedOrders, weigh_orders
from converter.bending.room.questions import TOLERANCE, Steps, side_by_side, together
from converter.bending.room.space import space_of
from converter.bending.room.sweep import AS_DRAWN, Clearance, Sweeper, Sweepers
from converter.bending.setup.clamping import BendPlan, Clamping, Need
from converter.bending.setup.shape import BentShape, MachineBend, as_cut, held, seen_from
from converter.errors import GeometryError, OptionError
from converter.findings import Finding
from converter.model.bends import BendTable
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.model import Shop
from converter.tolerances import PAST_LENGTH

#: How far the long points of cut ends A and B lie past the centerline's ends (negative: before them), mm; None for an
#: end that is left square.
Copes = tuple[float | None, float | None]
#: Tubes whose orders are weighed, or whose room is measured, side by side: a bound on memory.
TOGETHER = 200
#: mm of room that is enough but for rounding, as `Clearance.keeps` has it.
_CLEAR = MARGIN - PAST_LENGTH
#: mm; a finished tube that keeps as far from itself is never as near to itself as one that does not clear.
_APART = MARGIN + AS_DRAWN + 2.0 * TOLERANCE


def metal_reach(tube: Tube, copes: Copes = (None, None)) -> tuple[float, float]:
    """How far the metal of a solid reaches past the centerline's ends A and B, mm, never below zero; 0 for rounding.

    Args:
        tube: the tube.
        copes: an end that is cut to fit is as long as its cut leaves it, however the solid was drawn.
    """
    reach = tube.run.metal or (0.0, 0.0)
    at_a, at_b = (past if cope is None and past > PAST_LENGTH else 0.0 for past, cope in zip(reach, copes, strict=True))
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


#: A tube as it comes off the machine, from end A, and by how much springback takes more than each straight has, mm.
HeldTable: TypeAlias = tuple[BendTable, tuple[float, ...]]
#: The end and order taken, why not the simple ones, and the search where there was one.
ChosenOrder: TypeAlias = tuple[OrderChoice, tuple[str, ...], WeighedOrders | None]


@dataclass(frozen=True, slots=True)
class OrderChooser:
    """Chooses for one tube.

    Attributes:
        tube: the tube.
        machine_bends: its bends as the machine makes them, from end A.
        shop: as for `converter.bending.setup.setup.set_up`.
        copes: of ends A and B that are cut to fit.
    """

    tube: Tube
    machine_bends: Sequence[MachineBend]
    shop: Shop
    copes: Copes = (None, None)
    #: Once something was swept, what all orders of the tube share.
    _sweepers: list[Sweepers] = field(default_factory=list, init=False, repr=False, compare=False)
    #: Once it was asked, the tube as it comes off the machine, from end A, and what springback takes too much.
    _held: list[HeldTable] = field(default_factory=list, init=False, repr=False, compare=False)
    #: By the extra stick at ends A and B whether the finished tube is well apart from itself, as far as it was asked.
    _apart: dict[tuple[float, float], bool] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def section(self) -> Section | None:
        """The tube's section; where it is not known, a bar as thick as what its die takes; None without a die."""
        if self.tube.section is not None:
            return self.tube.section
        sizes = [max(one.seat.die.size, one.seat.die.height) for one in self.machine_bends if one.seat.die is not None]
        return Section("bar", max(sizes), 0.0) if sizes else None

    def _choice(self, end: str, order: Sequence[int] | None = None) -> OrderChoice:
        """An order from an end (indices from the end fed first; None for the simple one), not yet swept."""
        if not self._held:
            whole, excess = held(self.tube.run.table, self.machine_bends)
            self._held.append((as_cut(whole, *(cope or 0.0 for cope in self.copes)), excess))
        shape = seen_from(*self._held[0], self.machine_bends, end)
        needs = [
            Need.of(one.seat.die, one.stick, roll) for one, roll in zip(shape.machine_bends, shape.rolls, strict=True)
        ]
        clamping = Clamping(shape.table.straights, tuple(needs))
        return self._planned(end, shape, clamping, range(len(needs)) if order is None else order)

    def _ordered(self, choice: OrderChoice, order: Sequence[int]) -> OrderChoice:
        """The same end with another order, not yet swept."""
        return self._planned(choice.end, choice.shape, choice.clamping, order)

    def _planned(self, end: str, shape: BentShape, clamping: Clamping, order: Sequence[int]) -> OrderChoice:
        plan = clamping.plan(order)
        at_a, at_b = metal_reach(self.tube, self.copes)
        lead, trail = (at_a, at_b) if end == "A" else (at_b, at_a)
        if lead > plan.lead or trail > plan.trail:
            plan = replace(plan, lead=max(plan.lead, lead), trail=max(plan.trail, trail))
        return OrderChoice(end, shape, clamping, plan)

    def _swing(self, choice: OrderChoice) -> tuple[tuple[str, float, float], tuple[int, ...]]:
        """What a sweeper is asked for a choice: end and extra stick at ends A and B, and bends numbered from end A."""
        lead, trail, order = choice.plan.lead, choice.plan.trail, choice.plan.order
        if choice.end == "A":
            return ("A", lead, trail), order
        last = len(order) - 1
        return ("B", trail, lead), tuple(last - k for k in order)

    def _stops(self, choice: OrderChoice) -> list[float]:
        """What the bends are turned to, from end A."""
        stops = [one.stop for one in choice.shape.machine_bends]
        return stops if choice.end == "A" else stops[::-1]

    def _sweeper(self, choice: OrderChoice) -> Sweeper:
        """The one that sweeps a choice; the section is known."""
        assert self.section is not None
        if not self._sweepers:
            space = space_of(self.shop.machine)
            self._sweepers.append(Sweepers(choice.shape.from_a, self.section, space, self._stops(choice)))
        return self._sweepers[0].of(*self._swing(choice)[0])

    def _sweep(self, choice: OrderChoice) -> Steps[None]:
        """Find out whether a choice clears; by how much it does not is measured only where that is a doubt."""
        yield from self._look(choice)
        yield from self._judge(choice)

    def _look(self, choice: OrderChoice) -> Steps[None]:
        """Find out whether a choice keeps clear of all there is, itself too."""
        if self.section is None or self.tube.run.closed:  # the ends of a ring are meant to meet
            return
        try:
            one, order = self._sweeper(choice), self._swing(choice)[1]
        except (GeometryError, OptionError):
            # bends that overlap, or a stop of a full turn: an error finding says so, and nothing can be swept
            return
        choice.swept = True
        yield from one.ask_clear(order, _CLEAR)
        if not one.clears(order, _CLEAR):
            choice.danger = Danger.SOME

    def _judge(self, choice: OrderChoice) -> Steps[None]:
        """Find out of a choice that was looked at whether it only meets itself as it is drawn."""
        if not choice.danger:
            return
        one, order = self._sweeper(choice), self._swing(choice)[1]
        if one.surely_outside(order, _CLEAR):
            return
        # from either end the finished tube is as near to itself
        extras = self._swing(choice)[0][1:]
        if extras not in self._apart:
            yield from one.ask_finished_keeps(_APART)
            self._apart[extras] = one.finished_keeps(_APART)
        if not self._apart[extras]:
            yield from self._measure(choice)

    def _measure(self, choice: OrderChoice) -> Steps[None]:
        """Work out the least room of a choice that does not clear."""
        if choice.danger and choice.clearance is None:
            one, order = self._sweeper(choice), self._swing(choice)[1]
            yield from one.ask_sequence(order)
            choice.measured(one.sequence(order))

    def least_room(self, choice: OrderChoice, others: list[LeastRoom]) -> LeastRoom | None:
        """The least room of the choice taken, among others that wait to be measured; None where it cannot be swept."""
        if not choice.swept or self.section is None:
            return None
        swing, order = self._swing(choice)
        tube = choice.shape.from_a, self.section, space_of(self.shop.machine), self._stops(choice)
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
        ends = {choice.end: choice for choice in plain}
        # on one die every order from an end takes the extra stick that the simple one from there does
        extras = {end: self._swing(choice)[0][1:] for end, choice in ends.items()}
        sweepers = {end: self._sweepers[0].of(end, *extras.get(end, (0.0, 0.0))) for end in "AB"}
        # what holds a bend depends on the nearest ones bent on either side only
        feasible = NeighbourRule({end: np.array(choice.clamping.pairs) for end, choice in ends.items()})
        weighed = yield from weigh_orders(sweepers, feasible)
        best = weighed.best
        if best is None:
            return weighed, []
        last = len(best.order) - 1
        order = best.order if best.feed_from == "A" else [last - k for k in best.order]
        choice = self._ordered(ends[best.feed_from], order)
        if best.room >= _CLEAR and self._swing(choice)[0][1:] == extras[best.feed_from]:
            choice.swept = True
        else:
            yield from self._sweep(choice)
        return weighed, [choice]

    def ask_findings(self, chosen: OrderChoice, search: WeighedOrders | None) -> Steps[list[Finding]]:
        """Work that comes to what is to be told of the room to swing in the order taken."""
        unknown = unknown_room(self.shop.machine)
        findings = [] if unknown is None else [unknown]
        if search is None or self.section is None or chosen.clearance is None or chosen.plan.lacks:
            return findings
        if chosen.danger:
            findings.append((yield from self._near_finding(chosen, search, chosen.clearance)))
        return findings

    def _near_finding(self, chosen: OrderChoice, search: WeighedOrders, clearance: Clearance) -> Steps[Finding]:
        """The tube hits or comes close in the best order there is; the cures are tried in the simple orders only."""
        assert self.section is not None
        hits = chosen.danger == Danger.HITS
        dies = {one.seat.die for one in chosen.shape.machine_bends}
        way = yield from ask_way_out(
            chosen.shape.from_a,
            self.section,
            self.shop,
            clearance,
            die=dies.pop() if len(dies) == 1 else None,
            search=False,
        )
        return Finding(
            "sweep-hits" if hits else "sweep-close",
            variant="every order" if search.every else "many orders",
            tube=self.tube.name,
            bend=clearance.bend,
            values=swept_values(clearance, way),
            measured=clearance.least,
            limit=0.0 if hits else MARGIN,
            unit="mm",
        )
