"""Which end goes first and in which order the bends are made: what can be held, what clears, what needs least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

import numpy as np

from converter.bending.room.advice import ask_way_out, swept_values, unknown_room
from converter.bending.room.order import MARGIN, BestOrder, NeighbourRule, best_order, weigh_orders
from converter.bending.room.questions import Steps
from converter.bending.room.space import space_of
from converter.bending.room.sweep import Clearance, Sweepers
from converter.bending.setup.clamping import BendPlan, Clamping, Need
from converter.bending.setup.shape import BentShape, MachineBend, shape_of
from converter.errors import GeometryError, OptionError
from converter.findings import Finding
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.model import Shop

#: How far the long points of cut ends A and B lie past the centerline's ends (negative: before them), mm; None for an
#: end that is left square.
Copes = tuple[float | None, float | None]


def metal_reach(tube: Tube, copes: Copes = (None, None)) -> tuple[float, float]:
    """How far the metal of a solid reaches past the centerline's ends A and B, mm, never below zero.

    Args:
        tube: the tube.
        copes: an end that is cut to fit is as long as its cut leaves it, however the solid was drawn.
    """
    reach = tube.run.metal or (0.0, 0.0)
    at_a, at_b = (max(0.0, past) if cope is None else 0.0 for past, cope in zip(reach, copes, strict=True))
    return at_a, at_b


@dataclass(slots=True)
class OrderChoice:
    """One end and one order under consideration."""

    end: str
    shape: BentShape
    clamping: Clamping
    plan: BendPlan
    clearance: Clearance | None = None

    @property
    def danger(self) -> int:
        """0 when it clears by the margin or only meets itself as it is drawn, 1 when it comes close, 2 when it hits."""
        one = self.clearance
        if one is None or one.keeps(MARGIN) or one.as_drawn:
            return 0
        return 2 if one.hits else 1

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


#: The end and order taken, why not the simple ones, and the search where there was one.
ChosenOrder: TypeAlias = tuple[OrderChoice, tuple[str, ...], BestOrder | None]


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

    @property
    def section(self) -> Section | None:
        """The tube's section; where it is not known, a bar as thick as what its die takes; None without a die."""
        if self.tube.section is not None:
            return self.tube.section
        sizes = [max(one.seat.die.size, one.seat.die.height) for one in self.machine_bends if one.seat.die is not None]
        return Section("bar", max(sizes), 0.0) if sizes else None

    def _choice(self, end: str) -> OrderChoice:
        """The simple order from an end, not yet swept."""
        shape = shape_of(self.tube.run.table, self.machine_bends, end, *(cope or 0.0 for cope in self.copes))
        needs = [
            Need.of(one.seat.die, one.stick, roll) for one, roll in zip(shape.machine_bends, shape.rolls, strict=True)
        ]
        clamping = Clamping(shape.table.straights, tuple(needs))
        return self._ordered(OrderChoice(end, shape, clamping, BendPlan((), (), (), 0.0, 0.0)), range(len(needs)))

    def _ordered(self, choice: OrderChoice, order: Sequence[int]) -> OrderChoice:
        """The same end with another order (indices from the end fed first), not yet swept."""
        plan = choice.clamping.plan(order)
        at_a, at_b = metal_reach(self.tube, self.copes)
        lead, trail = (at_a, at_b) if choice.end == "A" else (at_b, at_a)
        plan = replace(plan, lead=max(plan.lead, lead), trail=max(plan.trail, trail))
        return replace(choice, plan=plan, clearance=None)

    def _sweep(self, choice: OrderChoice) -> Steps[None]:
        """Work out the least room of a choice."""
        if self.section is None or self.tube.run.closed:  # the ends of a ring are meant to meet
            return
        lead, trail, order = choice.plan.lead, choice.plan.trail, list(choice.plan.order)
        stops = [one.stop for one in choice.shape.machine_bends]
        if choice.end == "B":  # the sweeper counts everything from end A
            lead, trail = trail, lead
            stops.reverse()
            order = [len(order) - 1 - k for k in order]
        try:
            if not self._sweepers:
                space = space_of(self.shop.machine)
                self._sweepers.append(Sweepers(choice.shape.from_a, self.section, space, stops))
            one = self._sweepers[0].of(choice.end, lead, trail)
        except (GeometryError, OptionError):
            # bends that overlap, or a stop of a full turn: an error finding says so, and nothing can be swept
            choice.clearance = None
            return
        yield from one.ask_sequence(order)
        choice.clearance = one.sequence(order)

    def again(self, known: OrderChoice) -> OrderChoice:
        """The end and order taken for an equal tube, with its room, for this one."""
        choice = self._ordered(self._choice(known.end), known.plan.order)
        choice.clearance = known.clearance
        return choice

    def choosing(self, feed_from: str | None) -> Steps[ChosenOrder]:
        """Work that comes to the end and order taken, why not the simple ones ('held', 'clear', 'room', 'stick'), and
        the search; `converter.bending.room.questions.together` takes that of many tubes through at once."""
        ends = ("A", "B") if feed_from in (None, "best") else (feed_from or "A",)
        first = self._choice(ends[0])
        yield from self._sweep(first)
        if first.good and feed_from != "best":
            return first, (), None
        plain = [first, *(self._choice(end) for end in ends[1:])]
        tried = list(plain)
        for choice in plain:
            if choice is not first:
                yield from self._sweep(choice)
            order = choice.clamping.recommended() if choice.plan.lacks else None
            if order is not None:
                tried.append(self._ordered(choice, order))
                yield from self._sweep(tried[-1])
        search = None
        if not any(choice.good for choice in tried):
            search, found = yield from self._searched(plain)
            tried += found
        best = min(tried, key=OrderChoice.rank)
        if best is first:
            return best, (), search
        if len(best.plan.lacks) < len(first.plan.lacks):
            return best, ("held",), search
        if best.danger:
            return best, ("room",), search
        return best, ("clear",) if first.danger else ("stick",), search

    def _searched(self, plain: Sequence[OrderChoice]) -> Steps[tuple[BestOrder | None, list[OrderChoice]]]:
        """The order that leaves the most room of those that can be held, from the ends in question."""
        if self.section is None or any(choice.clearance is None for choice in plain):
            return None, []
        ends = {choice.end: choice for choice in plain}
        count = len(plain[0].shape.machine_bends)
        # what holds a bend depends on the nearest ones bent on either side only
        feasible = NeighbourRule({end: np.array(choice.clamping.pairs) for end, choice in ends.items()})
        shape, plan = plain[0].shape, plain[0].plan
        stops = [one.stop for one in shape.machine_bends]
        extras = (plan.lead, plan.trail)
        if plain[0].end == "B":
            stops, extras = stops[::-1], extras[::-1]
        sweepers = self._sweepers[0]
        weighed = yield from weigh_orders({end: sweepers.of(end, *extras) for end in "AB"}, feasible)
        found = best_order(
            shape.from_a,
            self.section,
            self.shop.machine,
            feasible=feasible,
            extra_a=extras[0],
            extra_b=extras[1],
            stops=stops,
            sweepers=sweepers,
            weighed=weighed,
        )
        if found.best is None:
            return found, []
        end = found.best.feed_from
        order = [number - 1 if end == "A" else count - number for number in found.best.order]
        choice = self._ordered(ends[end], order)
        yield from self._sweep(choice)
        return found, [choice]

    def ask_findings(self, chosen: OrderChoice, search: BestOrder | None) -> Steps[list[Finding]]:
        """Work that comes to what is to be told of the room to swing in the order taken."""
        unknown = unknown_room(self.shop.machine)
        findings = [] if unknown is None else [unknown]
        if search is None or self.section is None or chosen.clearance is None or chosen.plan.lacks:
            return findings
        if chosen.danger:
            found = replace(search, best=chosen.clearance)
            findings.append((yield from self._near_finding(chosen, found, chosen.clearance)))
        return findings

    def _near_finding(self, chosen: OrderChoice, search: BestOrder, clearance: Clearance) -> Steps[Finding]:
        """The tube hits or comes close in the best order there is; the cures are tried in the simple orders only."""
        assert self.section is not None
        hits = chosen.danger == 2
        dies = {one.seat.die for one in chosen.shape.machine_bends}
        way = yield from ask_way_out(
            chosen.shape.from_a,
            self.section,
            self.shop,
            search,
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
            limit=0.0 if hits else search.margin,
            unit="mm",
        )
