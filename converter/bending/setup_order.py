"""Which end goes first and in which order the bends are made: what can be held, what clears, what needs least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from converter.bending.clamping import Clamping, Need, Plan
from converter.bending.order import MARGIN, BestOrder, best_order
from converter.bending.setup_shape import Made, Shape, shape_of
from converter.bending.sweep import Clearance, sweeper
from converter.bending.sweep_advice import place_words, sure_to_hit, unknown_room, way_out
from converter.errors import GeometryError, OptionError
from converter.findings import Finding
from converter.model.run import Tube
from converter.shop.model import Shop
from converter.units import Display

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
class Choice:
    """One end and one order under consideration."""

    end: str
    shape: Shape
    clamping: Clamping
    plan: Plan
    clearance: Clearance | None = None

    @property
    def danger(self) -> int:
        """0 when it clears by the margin or only meets itself as it is drawn, 1 when it comes close, 2 when it hits."""
        one = self.clearance
        if one is None or one.room >= MARGIN or one.as_drawn:
            return 0
        return 2 if sure_to_hit(one) else 1

    @property
    def good(self) -> bool:
        """Whether it can be held and clears."""
        return not self.plan.lacks and not self.danger

    def rank(self) -> tuple[int, int, float, bool, float, bool]:
        """Sorts the best first: held, clear (or else roomy), in the simple order, with little extra, from end A."""
        room = -self.clearance.room if self.danger and self.clearance else 0.0
        extra = round(self.plan.lead + self.plan.trail, 3)
        return len(self.plan.lacks), self.danger, room, not self.plan.plain, extra, self.end == "B"


@dataclass(frozen=True, slots=True)
class Chooser:
    """Chooses for one tube.

    Attributes:
        tube: the tube.
        made: its bends as the machine makes them, from end A.
        shop, display: as for `converter.bending.setup.set_up`.
        copes: of ends A and B that are cut to fit.
    """

    tube: Tube
    made: Sequence[Made]
    shop: Shop
    display: Display
    copes: Copes = (None, None)

    def _choice(self, end: str) -> Choice:
        """The simple order from an end, not yet swept."""
        shape = shape_of(self.tube.run.table, self.made, end, *(cope or 0.0 for cope in self.copes))
        needs = [Need.of(one.seat.die, one.stick, roll) for one, roll in zip(shape.made, shape.rolls, strict=True)]
        clamping = Clamping(shape.table.straights, tuple(needs))
        return self._ordered(Choice(end, shape, clamping, Plan((), (), (), 0.0, 0.0)), range(len(needs)))

    def _ordered(self, choice: Choice, order: Sequence[int]) -> Choice:
        """The same end with another order (indices from the end fed first), not yet swept."""
        plan = choice.clamping.plan(order)
        at_a, at_b = metal_reach(self.tube, self.copes)
        lead, trail = (at_a, at_b) if choice.end == "A" else (at_b, at_a)
        plan = replace(plan, lead=max(plan.lead, lead), trail=max(plan.trail, trail))
        return replace(choice, plan=plan, clearance=None)

    def _sweep(self, choice: Choice) -> None:
        """Work out the least room of a choice."""
        if self.tube.section is None or self.tube.run.closed:  # the ends of a ring are meant to meet
            return
        lead, trail, order = choice.plan.lead, choice.plan.trail, list(choice.plan.order)
        stops = [one.stop for one in choice.shape.made]
        if choice.end == "B":  # the sweeper counts everything from end A
            lead, trail = trail, lead
            stops.reverse()
            order = [len(order) - 1 - k for k in order]
        try:
            room = sweeper(
                choice.shape.from_a,
                self.tube.section,
                self.shop.machine,
                choice.end,
                extra_a=lead,
                extra_b=trail,
                stops=stops,
            )
            choice.clearance = room.sequence(order)
        except (GeometryError, OptionError):
            # bends that overlap, or a stop of a full turn: an error finding says so, and nothing can be swept
            choice.clearance = None

    def again(self, known: Choice) -> Choice:
        """The end and order taken for an equal tube, with its room, for this one."""
        choice = self._ordered(self._choice(known.end), known.plan.order)
        choice.clearance = known.clearance
        return choice

    def choose(self, feed_from: str | None) -> tuple[Choice, tuple[str, ...], BestOrder | None]:
        """The end and order taken, why not the simple ones ('held', 'clear', 'room', 'stick'), and the search."""
        ends = ("A", "B") if feed_from in (None, "best") else (feed_from or "A",)
        first = self._choice(ends[0])
        self._sweep(first)
        if first.good and feed_from != "best":
            return first, (), None
        plain = [first, *(self._choice(end) for end in ends[1:])]
        tried = list(plain)
        for choice in plain:
            if choice is not first:
                self._sweep(choice)
            order = choice.clamping.recommended() if choice.plan.lacks else None
            if order is not None:
                tried.append(self._ordered(choice, order))
                self._sweep(tried[-1])
        search = None
        if not any(choice.good for choice in tried):
            search, found = self._searched(plain)
            tried += found
        best = min(tried, key=Choice.rank)
        if best is first:
            return best, (), search
        if len(best.plan.lacks) < len(first.plan.lacks):
            return best, ("held",), search
        if best.danger:
            return best, ("room",), search
        return best, ("clear",) if first.danger else ("stick",), search

    def _searched(self, plain: Sequence[Choice]) -> tuple[BestOrder | None, list[Choice]]:
        """The order that leaves the most room of those that can be held, from the ends in question."""
        if self.tube.section is None or any(choice.clearance is None for choice in plain):
            return None, []
        ends = {choice.end: choice for choice in plain}
        count = len(plain[0].shape.made)

        def feasible(made: tuple[int, ...], bend: int, end: str) -> bool:
            """Bends numbered from 1 from end A."""
            if end not in ends:
                return False
            before = [number - 1 if end == "A" else count - number for number in made]
            return ends[end].clamping.feasible(before, bend - 1 if end == "A" else count - bend)

        shape, plan = plain[0].shape, plain[0].plan
        stops = [one.stop for one in shape.made]
        extras = (plan.lead, plan.trail)
        if plain[0].end == "B":
            stops, extras = stops[::-1], extras[::-1]
        found = best_order(
            shape.from_a,
            self.tube.section,
            self.shop.machine,
            feasible=feasible,
            extra_a=extras[0],
            extra_b=extras[1],
            stops=stops,
        )
        if found.best is None:
            return found, []
        end = found.best.feed_from
        order = [number - 1 if end == "A" else count - number for number in found.best.order]
        choice = self._ordered(ends[end], order)
        self._sweep(choice)
        return found, [choice]

    def said(self, chosen: Choice, search: BestOrder | None) -> list[Finding]:
        """What is to be said of the room to swing in the order taken."""
        unknown = unknown_room(self.tube.name, self.shop.machine)
        said = [] if unknown is None else [unknown]
        if search is None or self.tube.section is None or chosen.clearance is None or chosen.plan.lacks:
            return said
        if chosen.danger:
            said.append(self._near(chosen, replace(search, best=chosen.clearance), chosen.clearance))
        return said

    def _near(self, chosen: Choice, search: BestOrder, clearance: Clearance) -> Finding:
        """The tube hits or comes close in the best order there is; the cures are tried in the simple orders only."""
        assert self.tube.section is not None
        hits = chosen.danger == 2
        tried = "every order" if search.every else "the best of many orders"
        touching = "" if hits or clearance.room >= clearance.tolerance else ", which may touch"
        dies = {one.seat.die for one in chosen.shape.made}
        return Finding(
            "sweep-hits" if hits else "sweep-close",
            f"{self.tube.name}: fed from end {chosen.end}, {place_words(clearance, self.display)}{touching}; {tried} "
            "that can be held was tried and none is better.",
            tube=self.tube.name,
            bend=clearance.bend,
            measured=clearance.least,
            limit=0.0 if hits else search.margin,
            unit="mm",
            cure=way_out(
                chosen.shape.from_a,
                self.tube.section,
                self.shop,
                search,
                die=dies.pop() if len(dies) == 1 else None,
                search=False,
                display=self.display,
            ),
        )
