"""The set-up of each tube: which end goes first, the order of its bends, where the marks lie, stop and roll.

Everything is exact here; rounding happens where it is shown. Conventions, with a worked example, are in
docs/setup.md. In short: a stick is cut square at the longest point of metal of each end and coped after it is
bent, so all of it is there to be held. The *direction of feed* is the bend table's, along the tube from the end
fed first toward the other; a mark is measured along the stick as cut from the end fed first; ``roll`` is what the
tube is turned by in the fixed machine, right-hand positive about the direction of feed, which is less the
rotation of the bend plane.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi

from converter.bending.clamping import Plan
from converter.bending.dies import seats
from converter.bending.order import BestOrder
from converter.bending.setup_order import Choice, Chooser, metal_reach
from converter.bending.setup_said import said_of
from converter.bending.setup_shape import Made, made_bend
from converter.bending.springback import Springback, springback_for
from converter.bending.sweep import Clearance
from converter.errors import OptionError
from converter.findings import Finding
from converter.geometry.vectors import HALF_TURN
from converter.model.run import Tube
from converter.model.section import Section
from converter.progress import steps
from converter.shop.model import Die, Shop
from converter.units import Display

#: What may be asked for: an end, or the best of both.
FEEDS = ("A", "B", "best")
#: Findings of the audit, which looks at the simple order from end A, that the set-up says anew for its own.
SETTLED = ("straight-too-short", "end-too-short", "order-changed", "sweep-hits", "sweep-close", "sweep-unknown")


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
        length: stick that the tube takes from one end of its centerline to the other.
        extra_a, extra_b: extra stick at the ends, to be trimmed after bending.
        clearance: the least room while it is bent, or None when that could not be worked out.
        plan: how it is clamped, bends numbered from 0 from the end fed first.
        findings: what is to be said of it.
        cope_a, cope_b: how far the stick reaches past the centerline's ends to the long points of the copes there
            (negative: stops before them); 0 where an end is cut square at the centerline's end.
        coped: the ends that are cut to fit, of 'A' and 'B'.
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
    cope_a: float = 0.0
    cope_b: float = 0.0
    coped: tuple[str, ...] = ()

    @property
    def stick_length(self) -> float:
        """Length to cut, mm, exact: from longest point to longest point of metal, and the extra."""
        return self.length + self.cope_a + self.cope_b + self.extra_a + self.extra_b

    def cope(self, end: str) -> float:
        """``cope_a`` or ``cope_b``."""
        return self.cope_a if end == "A" else self.cope_b

    def extra(self, end: str) -> float:
        """``extra_a`` or ``extra_b``."""
        return self.extra_a if end == "A" else self.extra_b

    @property
    def lead(self) -> float:
        """Extra stick at the end fed first."""
        return self.extra(self.feed_from)

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
    tubes: Iterable[Tube],
    shop: Shop,
    display: Display | None = None,
    feed_from: str | None = None,
    changes: Mapping[tuple[str, str], float] | None = None,
) -> list[Setup]:
    """The set-up of every tube.

    Args:
        tubes: with their sections, dies and metals.
        shop: whose dies, machine and test bends count.
        display: how messages show lengths; millimetres when None.
        feed_from: 'A' or 'B' for that end, in another order where the simple one cannot be held or hits
            something; 'best' for the end and order that need least; None for end A in the simple order
            unless it cannot be held or hits, and then the best.
        changes: by name of a tube and end 'A' or 'B', how far the longest point of metal there lies past the
            centerline's end, mm (negative: before it); an end that is not named is cut square at the centerline's end.

    Raises:
        OptionError: ``feed_from`` is none of these.
    """
    if feed_from is not None and feed_from not in FEEDS:
        raise OptionError(f"A tube is fed from end A or end B, or from the best of them, not {feed_from!r}.")
    bench = _Bench(shop, display or Display(), changes or {})
    return [bench.setup(tube, feed_from) for tube in steps(tubes, "tubes set up")]


class _Bench:
    """What the tubes of one job share: springback per die, section and metal, and what equal tubes come to."""

    def __init__(self, shop: Shop, display: Display, changes: Mapping[tuple[str, str], float]) -> None:
        self.shop = shop
        self.display = display
        self.changes = changes
        self._chosen: dict[tuple[object, ...], tuple[Choice, tuple[str, ...], BestOrder | None]] = {}
        self._springback: dict[tuple[str, Section | None, str | None, bool], Springback] = {}

    def setup(self, tube: Tube, feed_from: str | None) -> Setup:
        """One tube."""
        table = tube.run.table
        copes = (self.changes.get((tube.name, "A")), self.changes.get((tube.name, "B")))
        at_a, at_b = (cope or 0.0 for cope in copes)
        coped = tuple(end for end, cope in zip("AB", copes, strict=True) if cope is not None)
        if not table.bends or any(bend.clr is None for bend in table.bends):
            plan = Plan((), (), (), 0.0, 0.0)
            end = feed_from if feed_from in ("A", "B") else "A"
            reach = metal_reach(tube, copes)
            bare = Setup(tube, end, (), table.developed_length, *reach, None, plan, (), at_a, at_b, coped)
            return replace(bare, findings=tuple(said_of(bare, self.shop, self.display, ())))
        made = self._made(tube)
        chooser = Chooser(tube, made, self.shop, self.display, copes)
        key = (feed_from, copes, *_same(tube, made))
        if key in self._chosen:  # equal tubes sweep alike, which is what takes long
            known, why, search = self._chosen[key]
            chosen = chooser.again(known)
        else:
            chosen, why, search = self._chosen[key] = chooser.choose(feed_from)
        lead, trail = chosen.plan.lead, chosen.plan.trail
        extra_a, extra_b = (lead, trail) if chosen.end == "A" else (trail, lead)
        setup = Setup(
            tube,
            chosen.end,
            self._steps(tube, chosen),
            chosen.shape.length - (at_a + at_b),
            extra_a,
            extra_b,
            chosen.clearance,
            chosen.plan,
            (),
            at_a,
            at_b,
            coped,
        )
        said = said_of(setup, self.shop, self.display, why)
        return replace(setup, findings=(*said, *chooser.said(chosen, search)))

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

    def _steps(self, tube: Tube, choice: Choice) -> tuple[Step, ...]:
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


def _same(tube: Tube, made: Sequence[Made]) -> tuple[object, ...]:
    """What decides the end and order of a tube; lengths and angles to a millionth, which is rounding of places."""
    table = tube.run.table
    bends = tuple(
        (
            *(round(value, 6) for value in (bend.feed, bend.rotation, bend.angle, bend.clr or 0.0)),
            *(round(value, 6) for value in (one.stop, one.radius, one.stick)),
            one.seat.die,
            one.seat.turned,
        )
        for bend, one in zip(table.bends, made, strict=True)
    )
    return tube.section, tube.run.metal, tube.run.closed, round(table.tail, 6), bends


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
