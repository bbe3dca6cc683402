"""The set-up of each tube: which end goes first, the order of its bends, where the marks lie, stop and roll.

Everything is exact here; rounding happens where it is shown. Conventions, with a worked example, are in
docs/setup.md. In short: the *direction of feed* is the bend table's, along the tube from the end fed first
toward the other; a mark is measured along the stick as cut from the end fed first; ``roll`` is what the
tube is turned by in the fixed machine, right-hand positive about the direction of feed, which is less the
rotation of the bend plane.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import pi

from converter.bending.clamping import Clamping, Need, Plan
from converter.bending.dies import seats
from converter.bending.setup_said import said_of
from converter.bending.setup_shape import Made, Shape, made_bend, shape_of
from converter.bending.springback import Springback, springback_for
from converter.bending.sweep import Clearance, sweeper
from converter.errors import GeometryError, OptionError
from converter.findings import Finding
from converter.geometry.vectors import HALF_TURN
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.model import Die, Shop
from converter.units import Display

#: What may be asked for: an end, or the best of both.
FEEDS = ("A", "B", "best")
#: Findings of the audit, which looks at the simple order from end A, that the set-up says anew for its own.
SETTLED = ("straight-too-short", "end-too-short")


@dataclass(frozen=True, slots=True)
class Step:
    """One bend in the order made. Lengths mm, angles degrees.

    Attributes:
        bend: its number in the bend table, from end A.
        die: the die, or None when the shop has none for the section.
        springback: what is known of it.
        target, stop: the angle wanted and what the stop is set to.
        radius: centerline radius after springback.
        stick: stick that the arc uses.
        start: where the bend starts, from the end fed first along the stick as cut.
        mark: the same for the pencil mark: ``start`` less the die's mark offset.
        roll: what the tube is turned by before this bend, in (-180, 180]; 0 for the first.
        total: the rolls so far, from the exact planes and so without drift, in (-180, 180].
        roll_arc: ``roll`` around the outside of the tube, or None when its size is not known.
        inverted: the bend made before against which the clamp is turned over, or None.
    """

    bend: int
    die: Die | None
    springback: Springback
    target: float
    stop: float
    radius: float
    stick: float
    start: float
    mark: float
    roll: float
    total: float
    roll_arc: float | None
    inverted: int | None = None


@dataclass(frozen=True, slots=True)
class Setup:
    """The set-up of one tube.

    Attributes:
        tube: the tube.
        feed_from: 'A' or 'B', the end fed first.
        steps: its bends in the order made; empty for a straight, and for a corner that has no radius.
        length: stick that the tube takes, without extra.
        extra_a, extra_b: extra stick at the ends, to be trimmed after bending.
        clearance: the least room while it is bent, or None when that could not be worked out.
        plan: how it is clamped, bends numbered from 0 from the end fed first.
        findings: what is to be said of it.
    """

    tube: Tube
    feed_from: str
    steps: tuple[Step, ...]
    length: float
    extra_a: float
    extra_b: float
    clearance: Clearance | None
    plan: Plan
    findings: tuple[Finding, ...] = ()

    @property
    def stick_length(self) -> float:
        """Length to cut, mm, exact."""
        return self.length + self.extra_a + self.extra_b

    @property
    def lead(self) -> float:
        """Extra stick at the end fed first."""
        return self.extra_a if self.feed_from == "A" else self.extra_b

    @property
    def stretches(self) -> bool:
        """Whether any bend is known to use less stick than its arc is long."""
        return any(step.springback.stretch for step in self.steps)

    def mark_from(self, end: str, step: Step, stick: float | None = None) -> float:
        """A bend's mark from end 'A' or 'B'.

        Args:
            end: which end.
            step: of this set-up.
            stick: length of the stick as cut, when longer than need be; more stick lies at the end fed last.
        """
        if end == self.feed_from:
            return step.mark
        return (self.stick_length if stick is None else stick) - step.mark


def set_up(
    tubes: Iterable[Tube], shop: Shop, display: Display | None = None, feed_from: str | None = None
) -> list[Setup]:
    """The set-up of every tube.

    Args:
        tubes: with their sections, dies and metals.
        shop: whose dies, machine and test bends count.
        display: how messages show lengths; millimetres when None.
        feed_from: 'A' or 'B' for that end, in another order where the simple one cannot be held or hits
            something; 'best' for the end and order that need least; None for end A in the simple order
            unless it cannot be held or hits, and then the best.

    Raises:
        OptionError: ``feed_from`` is none of these.
    """
    if feed_from is not None and feed_from not in FEEDS:
        raise OptionError(f"A tube is fed from end A or end B, or from the best of them, not {feed_from!r}.")
    bench = _Bench(shop, display or Display())
    return [bench.setup(tube, feed_from) for tube in tubes]


@dataclass(slots=True)
class _Choice:
    """One end and one order under consideration."""

    end: str
    shape: Shape
    clamping: Clamping
    plan: Plan
    clearance: Clearance | None = None

    @property
    def hits(self) -> bool:
        """Whether the tube hits something on the way."""
        return self.clearance is not None and self.clearance.least is not None and self.clearance.least < 0.0

    @property
    def good(self) -> bool:
        """Whether it can be held and clears."""
        return not self.plan.lacks and not self.hits

    def rank(self) -> tuple[int, bool, bool, float, bool]:
        """Sorts the best first: held, clear, in the simple order, with little extra stick, from end A."""
        extra = round(self.plan.lead + self.plan.trail, 3)
        return len(self.plan.lacks), self.hits, not self.plan.plain, extra, self.end == "B"


class _Bench:
    """What the tubes of one job share: what is known of springback per die, section and metal."""

    def __init__(self, shop: Shop, display: Display) -> None:
        self.shop = shop
        self.display = display
        self._springback: dict[tuple[str, Section | None, str | None, bool], Springback] = {}

    def setup(self, tube: Tube, feed_from: str | None) -> Setup:
        """One tube."""
        table = tube.run.table
        if not table.bends or any(bend.clr is None for bend in table.bends):
            plan = Plan((), (), (), 0.0, 0.0)
            end = feed_from if feed_from in ("A", "B") else "A"
            bare = Setup(tube, end, (), table.developed_length, *self._reach(tube), None, plan)
            return replace(bare, findings=tuple(said_of(bare, self.shop, self.display, ())))
        made = self._made(tube)
        chosen, why = self._chosen(tube, made, feed_from)
        lead, trail = chosen.plan.lead, chosen.plan.trail
        extra_a, extra_b = (lead, trail) if chosen.end == "A" else (trail, lead)
        setup = Setup(
            tube,
            chosen.end,
            self._steps(tube, chosen),
            chosen.shape.length,
            extra_a,
            extra_b,
            chosen.clearance,
            chosen.plan,
        )
        return replace(setup, findings=tuple(said_of(setup, self.shop, self.display, why)))

    def _made(self, tube: Tube) -> list[Made]:
        """Every bend on its die, from end A."""
        found = []
        for bend, seat in zip(tube.run.table.bends, seats(tube, self.shop), strict=True):
            if seat.die is None:
                known = Springback("none", note="There is no die for this section.")
            else:
                key = (seat.die.name, tube.section, tube.metal, seat.turned)
                if key not in self._springback:
                    self._springback[key] = springback_for(self.shop, seat.die, tube.section, tube.metal, seat.turned)
                known = self._springback[key]
            found.append(made_bend(bend, seat, known))
        return found

    def _reach(self, tube: Tube) -> tuple[float, float]:
        """How far the metal of a solid reaches past the centerline's ends A and B, mm, never below zero."""
        reach = tube.run.metal or (0.0, 0.0)
        return max(0.0, reach[0]), max(0.0, reach[1])

    def _choice(self, tube: Tube, made: Sequence[Made], end: str) -> _Choice:
        """The simple order from an end, not yet swept."""
        shape = shape_of(tube.run.table, made, end)
        needs = [Need.of(one.seat.die, one.stick, roll) for one, roll in zip(shape.made, shape.rolls, strict=True)]
        clamping = Clamping(shape.table.straights, tuple(needs))
        return self._ordered(_Choice(end, shape, clamping, Plan((), (), (), 0.0, 0.0)), range(len(needs)), tube)

    def _ordered(self, choice: _Choice, order: Sequence[int], tube: Tube) -> _Choice:
        """The same end with another order (indices from the end fed first), not yet swept."""
        plan = choice.clamping.plan(order)
        at_a, at_b = self._reach(tube)
        lead, trail = (at_a, at_b) if choice.end == "A" else (at_b, at_a)
        plan = replace(plan, lead=max(plan.lead, lead), trail=max(plan.trail, trail))
        return replace(choice, plan=plan, clearance=None)

    def _sweep(self, choice: _Choice, tube: Tube) -> None:
        """Work out the least room of a choice."""
        if tube.section is None:
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
                tube.section,
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

    def _chosen(self, tube: Tube, made: Sequence[Made], feed_from: str | None) -> tuple[_Choice, tuple[str, ...]]:
        """The end and order taken, and why they are not the simple ones ('held', 'clear', 'stick')."""
        ends = ("A", "B") if feed_from in (None, "best") else (feed_from or "A",)
        plain = [self._choice(tube, made, end) for end in ends]
        if feed_from != "best":
            self._sweep(plain[0], tube)
            if plain[0].good:
                return plain[0], ()
        tried: list[_Choice] = []
        for choice in plain:
            if choice.clearance is None:
                self._sweep(choice, tube)
            tried.append(choice)
            if choice.plan.lacks:
                order = choice.clamping.recommended()
                if order is not None:
                    other = self._ordered(choice, order, tube)
                    self._sweep(other, tube)
                    tried.append(other)
        if not any(choice.good for choice in tried):
            tried += self._searched(tube, plain)
        best = min(tried, key=_Choice.rank)
        if best is plain[0]:
            return best, ()
        first = plain[0]
        if first.plan.lacks and len(best.plan.lacks) < len(first.plan.lacks):
            return best, ("held",)
        return best, ("clear",) if first.hits and not best.hits else ("stick",)

    def _searched(self, tube: Tube, plain: Sequence[_Choice]) -> list[_Choice]:
        """Orders that the search for room finds, where the simple ones hit something."""
        return []

    def _steps(self, tube: Tube, choice: _Choice) -> tuple[Step, ...]:
        """The bends in the order made."""
        count = len(choice.shape.made)
        around = _around(tube.section, choice.shape.made)
        inverted = dict(choice.plan.inverted)
        order, rolls = choice.plan.order, choice.shape.rolls
        found = []
        for i, k in enumerate(order):
            one = choice.shape.made[k]
            die = one.seat.die
            start = choice.plan.lead + choice.shape.starts[k]
            roll = _wrapped(rolls[order[i - 1]] - rolls[k]) if i else 0.0
            against = inverted.get(k)
            found.append(
                Step(
                    bend=_number(k, count, choice.end),
                    die=die,
                    springback=one.springback,
                    target=one.target,
                    stop=one.stop,
                    radius=one.radius,
                    stick=one.stick,
                    start=start,
                    mark=start - ((die.mark_offset or 0.0) if die else 0.0),
                    roll=roll,
                    total=_wrapped(rolls[order[0]] - rolls[k]),
                    roll_arc=None if around is None else around * roll / 360.0,
                    inverted=None if against is None else _number(against, count, choice.end),
                )
            )
        return tuple(found)


def _number(index: int, count: int, end: str) -> int:
    """Number in the bend table of a bend counted from 0 from the end fed first."""
    return index + 1 if end == "A" else count - index


def _wrapped(degrees: float) -> float:
    """The same roll in (-180, 180]; half a turn is 180 whichever side rounding leaves it on."""
    value = (degrees + 180.0) % 360.0 - 180.0
    if value <= HALF_TURN:
        return 180.0
    return 0.0 if abs(value) < 1e-9 else value


def _around(section: Section | None, made: Sequence[Made]) -> float | None:
    """Once around the outside in mm: pi x OD, or the outline of a square; the die's groove for want of a section.

    A quarter turn of a square or rectangle is a quarter of the outline, from middle of face to middle of face.
    """
    if section is not None:
        if section.is_round:
            return pi * section.od
        return 2.0 * (section.od + section.height) - (8.0 - 2.0 * pi) * section.corner
    die = made[0].seat.die
    return pi * die.size if die is not None and die.shape == "round" else None
