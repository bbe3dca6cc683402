"""The set-up of each tube: which end goes first, the order of its bends, where the marks lie, stop and turn.

Everything is exact here; rounding happens where it is shown. Conventions, with a worked example, are in
docs/setup.md. In short: a stick is cut square at the longest point of metal of each end and coped after it is
bent, so all of it is there to be held. The *direction of feed* is the bend table's, along the tube from the end
fed first toward the other (the stick itself travels the other way); a mark is measured along the stick as cut from the
end fed first; ``roll`` is the tube's turn, what it is turned by in the fixed machine, right-hand positive about the
direction of feed, which is less the rotation of the bend plane.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from converter.bending.metal.springback import Springback, springback_for
from converter.bending.room.questions import Steps, together
from converter.bending.room.sweep import Clearance
from converter.bending.setup.clamping import BendPlan
from converter.bending.setup.findings import setup_findings
from converter.bending.setup.machine_steps import stop_to_step, to_step, wrapped
from converter.bending.setup.order import (
    TOGETHER,
    ChosenOrder,
    LeastRoom,
    OrderChoice,
    OrderChooser,
    metal_reach,
)
from converter.bending.setup.shape import MachineBend, machine_bend
from converter.bending.setup.ways_out import ask_ways_out
from converter.errors import OptionError
from converter.findings import Clause, Finding
from converter.geometry.vectors import within_half_turn
from converter.model.end_cuts import EndCuts
from converter.model.run import Tube
from converter.model.section import Section
from converter.processes.memory import paused_gc
from converter.progress import steps
from converter.quoting import quoted
from converter.shop.assign import Seat, seats
from converter.shop.model import Die, Machine, Shop
from converter.tolerances import PAST_LENGTH

#: What may be asked for: an end, or the best of both.
FEEDS = ("A", "B", "best")
#: mm and degrees within which two set-ups are made alike: less than a mark or a stop is set to.
_ALIKE_LENGTH, _ALIKE_ANGLE = 0.1, 0.02


class Step(NamedTuple):
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
        roll: the tube's turn: what it is turned by before this bend, in (-180, 180]; 0 for the first.
        total: the turns so far, from the exact planes and so without drift, in (-180, 180].
        roll_arc: ``roll`` around the outside of the tube, or None when its size is not known.
        stop_set, comes_out: the stop to the step of the machine's scale, and the angle that it gives.
        turn_set, total_set: the turn and the turns so far to the step of the machine's ring.
        turn_arc: ``turn_set`` around the outside of the tube, or None.
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
    stop_set: float
    comes_out: float
    turn_set: float
    total_set: float
    turn_arc: float | None
    inverted: int | None = None


@dataclass(frozen=True, slots=True)
class Setup:
    """The set-up of one tube.

    Attributes:
        tube: the tube.
        feed_from: 'A' or 'B', the end fed first.
        steps: its bends in the order made; empty for a straight, and where something is ``lacking``.
        length: stick that the tube takes from one end of its centerline to the other.
        extra_a, extra_b: extra stick at the ends, to be trimmed after bending.
        room: the least room while it is bent, measured when it is asked for; None when it cannot be worked out.
        plan: how it is clamped, bends numbered from 0 from the end fed first.
        findings: what is to be said of it.
        cuts: of its ends; the stick reaches to their long points.
        machine: that it is set up on.
        excess: by how much springback takes more than each straight of the table has, the tail last, mm; 0 for most.
        lacking: what the bends lack where there are no steps: 'radius' (a corner), 'curve' (no straights and arcs),
            'die' (no section, so no die); '' for nothing.
    """

    tube: Tube
    feed_from: str
    steps: tuple[Step, ...]
    length: float
    extra_a: float
    extra_b: float
    room: LeastRoom | None = field(compare=False, repr=False)
    plan: BendPlan
    findings: tuple[Finding, ...] = ()
    cuts: EndCuts = field(default_factory=EndCuts)
    machine: Machine = field(default_factory=Machine)
    excess: tuple[float, ...] = ()
    lacking: str = ""

    @property
    def clearance(self) -> Clearance | None:
        """The least room while it is bent, or None when that could not be worked out."""
        return None if self.room is None else self.room.clearance

    @property
    def room_unknown(self) -> str:
        """Why the least room is not known: 'section' (none is), 'ring', 'overlap' (of bends), 'turn' (past a full one).

        '' where it is known, or there are no steps.
        """
        if self.room is not None or not self.steps:
            return ""
        if self.tube.section is None:
            return "section"
        if self.tube.run.closed:
            return "ring"
        return "turn" if any(step.stop >= 360.0 for step in self.steps) else "overlap"

    @property
    def stick_length(self) -> float:
        """Length to cut, mm, exact: from longest point to longest point of metal, and the extra."""
        return self.length + self.cuts.change("A") + self.cuts.change("B") + self.extra_a + self.extra_b

    @property
    def is_nothing(self) -> bool:
        """Whether the cuts leave nothing of the tube: no stick is cut for it."""
        return self.stick_length <= PAST_LENGTH

    def extra(self, end: str) -> float:
        """``extra_a`` or ``extra_b``."""
        return self.extra_a if end == "A" else self.extra_b

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
    feed_from: str | None = None,
    cuts: Mapping[str, EndCuts] | None = None,
) -> list[Setup]:
    """The set-up of every tube.

    Args:
        tubes: with their sections, dies and metals.
        shop: whose dies, machine and test bends count.
        feed_from: 'A' or 'B' for that end, in another order where the simple one cannot be held or hits
            something; 'best' for the end and order that need least; None for end A in the simple order
            unless it cannot be held or hits, and then the best.
        cuts: by name of a tube, of its ends; those of a tube that is not named are square at the centerline's.

    Raises:
        OptionError: ``feed_from`` is none of these.
    """
    if feed_from is not None and feed_from not in FEEDS:
        raise OptionError(f"A tube is fed from end A or end B, or from the best of them, not {quoted(feed_from)}.")
    bench = _SpringbackBench(shop, cuts or {})
    tubes = tuple(tubes)
    found: list[Setup] = []
    chosen: list[_Chosen | None] = []
    for i, tube in enumerate(steps(tubes, "tubes set up")):
        if i == len(chosen):
            with paused_gc():
                chosen += bench.chosen(tubes[i : i + TOGETHER], feed_from)
        found.append(bench.setup(tube, feed_from, chosen[i]))
    return found


@dataclass(frozen=True, slots=True)
class _Chosen:
    """End and order of a tube, its least room, why not the simple ones, and what is to be told of its room."""

    order: OrderChoice
    room: LeastRoom | None
    why: tuple[str, ...]
    findings: tuple[Finding, ...]


class _SpringbackBench:
    """What the tubes of one job share: springback per die, section and metal, and what equal tubes come to."""

    def __init__(self, shop: Shop, cuts: Mapping[str, EndCuts]) -> None:
        self.shop = shop
        self._cuts = cuts
        #: Of tubes that are alike, by the number of their kind.
        self._kinds: dict[tuple[object, ...], int] = {}
        self._orders: dict[int, tuple[ChosenOrder, LeastRoom | None]] = {}
        self._ways_out: dict[int, Clause] = {}
        self._unmeasured: list[LeastRoom] = []
        self._springback: dict[tuple[Section | None, str | None], dict[tuple[str | None, bool], Springback]] = {}

    def chosen(self, tubes: Sequence[Tube], feed_from: str | None) -> list[_Chosen | None]:
        """The end and order taken for each tube; None for one without bends, and where something is lacking.

        They are weighed side by side, and those of equal tubes once: sweeping is what takes long.
        """
        choosers: list[tuple[OrderChooser, int] | None] = []
        asked: dict[int, OrderChooser] = {}
        for tube in tubes:
            choosers.append(None)
            if tube.run.table.bends and not self._lacking(tube):
                bends, cuts = self._machine_bends(tube), self._cuts_of(tube)
                kind = self._kinds.setdefault((feed_from, cuts.changes, *_same(tube, bends)), len(self._kinds))
                chooser = OrderChooser(tube, bends, self.shop, cuts)
                choosers[-1] = chooser, kind
                if kind not in self._orders:
                    asked.setdefault(kind, chooser)
        found = together([chooser.choosing(feed_from) for chooser in asked.values()])
        for (kind, chooser), taken in zip(asked.items(), found, strict=True):
            self._orders[kind] = taken, chooser.least_room(taken[0], self._unmeasured)
        # what would help is tried for one of equal tubes
        near: dict[int, Steps[Clause]] = {}
        for kind, chooser in asked.items():
            chosen, _, search = self._orders[kind][0]
            if chosen.clearance is not None and chooser.is_near(chosen, search):
                near[kind] = ask_ways_out(chooser, chosen, chosen.clearance)
        self._ways_out |= zip(near, together(list(near.values())), strict=True)
        found_of: list[_Chosen | None] = []
        for one in choosers:
            found_of.append(None)
            if one is not None:
                chooser, kind = one
                (chosen, why, search), room = self._orders[kind]
                chosen = chosen if asked.get(kind) is chooser else chooser.again(chosen)
                findings = chooser.findings(chosen, search, self._ways_out.get(kind))
                found_of[-1] = _Chosen(chosen, room, why, tuple(findings))
        return found_of

    def _cuts_of(self, tube: Tube) -> EndCuts:
        return self._cuts.get(tube.name) or EndCuts()

    def setup(self, tube: Tube, feed_from: str | None, taken: _Chosen | None) -> Setup:
        """One tube, with what `chosen` says of it."""
        table = tube.run.table
        cuts = self._cuts_of(tube)
        if taken is None:
            lacking = self._lacking(tube)
            plan = BendPlan((), (), (), 0.0, 0.0)
            end = feed_from if feed_from in ("A", "B") else "A"
            reach, machine = metal_reach(tube, cuts), self.shop.machine
            bare = Setup(tube, end, (), table.developed_length, *reach, None, plan, (), cuts, machine, (), lacking)
            return replace(bare, findings=tuple(setup_findings(bare, self.shop, ())))
        chosen = taken.order
        lead, trail = chosen.plan.lead, chosen.plan.trail
        extra_a, extra_b = (lead, trail) if chosen.end == "A" else (trail, lead)
        setup = Setup(
            tube,
            chosen.end,
            self._steps(tube, chosen),
            chosen.shape.length - (cuts.change("A") + cuts.change("B")),
            extra_a,
            extra_b,
            taken.room,
            chosen.plan,
            (),
            cuts,
            self.shop.machine,
            chosen.shape.excess,
        )
        findings = (*setup_findings(setup, self.shop, taken.why), *taken.findings)
        return replace(setup, findings=findings) if findings else setup

    def _lacking(self, tube: Tube) -> str:
        """What a tube with bends lacks for a set-up: 'radius', 'curve' or 'die'; '' for nothing."""
        if any(bend.clr is None for bend in tube.run.table.bends):
            return "radius"
        if tube.run.is_free_curve:
            return "curve"
        no_die = tube.section is None and any(seat.die is None for seat in seats(tube, self.shop))
        return "die" if no_die else ""

    def _machine_bends(self, tube: Tube) -> list[MachineBend]:
        """Every bend on its die, from end A."""
        known = self._springback.setdefault((tube.section, tube.metal), {})
        found = []
        for bend, seat in zip(tube.run.table.bends, seats(tube, self.shop), strict=True):
            key = None if seat.die is None else seat.die.name, seat.turned
            if key not in known:
                known[key] = self._springback_at(seat, tube)
            found.append(machine_bend(bend, seat, known[key]))
        return found

    def _springback_at(self, seat: Seat, tube: Tube) -> Springback:
        if seat.die is None:
            return Springback("none", note="There is no die for this section.")
        return springback_for(self.shop, seat.die, tube.section, tube.metal, seat.turned)

    def _steps(self, tube: Tube, choice: OrderChoice) -> tuple[Step, ...]:
        """The bends in the order made."""
        count = len(choice.shape.machine_bends)
        around = _around(tube.section, choice.shape.machine_bends)
        inverted = dict(choice.plan.inverted)
        order, rolls = choice.plan.order, choice.shape.rolls
        machine = self.shop.machine
        found: list[Step] = []
        for i, k in enumerate(order):
            one = choice.shape.machine_bends[k]
            die = one.seat.die
            total = wrapped(rolls[order[0]] - rolls[k])
            total_set = wrapped(to_step(total, machine.turn_step))
            roll = wrapped(rolls[order[i - 1]] - rolls[k]) if i else 0.0
            turn_set = roll
            if machine.turn_step is not None:
                turn_set = wrapped(total_set - found[-1].total_set) if found else 0.0
            stop_set = stop_to_step(one.stop, machine.stop_step, self.shop.greatest_angle(die))
            start = choice.plan.lead + choice.shape.starts[k]
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
                    total=total,
                    roll_arc=None if around is None else around * roll / 360.0,
                    stop_set=stop_set,
                    comes_out=one.target + (stop_set - one.stop) / one.springback.b,
                    turn_set=turn_set,
                    total_set=total_set,
                    turn_arc=None if around is None else around * turn_set / 360.0,
                    inverted=None if against is None else _number(against, count, choice.end),
                )
            )
        return tuple(found)


def _same(tube: Tube, made: Sequence[MachineBend]) -> tuple[object, ...]:
    """What decides the end and order of a tube; lengths and angles to a millionth, which is rounding of places."""
    table = tube.run.table
    numbers = [table.tail]
    for bend, one in zip(table.bends, made, strict=True):
        numbers += (bend.feed, bend.rotation, bend.angle, bend.clr or 0.0, one.stop, one.radius, one.stick)
    # 0.0 is added since a hair below zero rounds to -0.0
    rounded = (np.round(numbers, 6) + 0.0).tobytes()
    held = tuple((one.seat.die and one.seat.die.name, one.seat.turned) for one in made)
    return tube.section, tube.run.metal, tube.run.closed, rounded, held


def _number(index: int, count: int, end: str) -> int:
    """Number in the bend table of a bend counted from 0 from the end fed first."""
    return index + 1 if end == "A" else count - index


def _around(section: Section | None, made: Sequence[MachineBend]) -> float | None:
    """Once around the outside in mm; the die's groove for want of a section.

    A quarter turn of a square or rectangle is a quarter of the outline, from middle of face to middle of face.
    """
    if section is not None:
        return section.outer.perimeter
    die = made[0].seat.die
    return None if die is None else die.around


def mirrored(one: Setup, other: Setup) -> bool:
    """Whether the same bends are made in the same order at the same marks to the same stops, turned the other way."""
    if (one.feed_from, len(one.steps)) != (other.feed_from, len(other.steps)):
        return False
    if one.cuts.by_end.keys() != other.cuts.by_end.keys():
        return False
    if bool(one.plan.lacks) != bool(other.plan.lacks):
        return False
    ends = zip(
        (one.stick_length, one.extra_a, one.extra_b), (other.stick_length, other.extra_a, other.extra_b), strict=True
    )
    return all(abs(a - b) <= _ALIKE_LENGTH for a, b in ends) and all(map(_mirrored_step, one.steps, other.steps))


def _mirrored_step(one: Step, other: Step) -> bool:
    if (one.bend, one.die, one.inverted) != (other.bend, other.die, other.inverted):
        return False
    turn = within_half_turn(one.roll + other.roll)
    return (
        abs(one.mark - other.mark) <= _ALIKE_LENGTH
        and abs(one.stop - other.stop) <= _ALIKE_ANGLE
        and abs(turn) <= _ALIKE_ANGLE
    )
