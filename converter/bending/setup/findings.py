"""What is to be told of a set-up: what cannot be held, what was changed and why, what to trim."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from converter.bending.metal.law_findings import fit_findings
from converter.bending.setup.clamping import Lack
from converter.bending.setup.machine_steps import wrapped
from converter.bending.setup.shape import wider
from converter.bending.split import Split, best_refit, best_split, makeable_by
from converter.findings import NOTE, WARNING, Clause, Finding
from converter.model.bends import BendTable
from converter.model.run import turned_by_bend
from converter.shop.assign import die_for_bend
from converter.shop.model import Die, Shop
from converter.shop.stock import longest_bar, longest_stick
from converter.tolerances import AS_BENDS_GO, PAST_ANGLE, PAST_LENGTH, same_within

if TYPE_CHECKING:
    from converter.bending.setup.setup import Setup, Step

#: mm; legs that come out this little further apart need no words.
WORTH_SAYING = 0.5

#: Degrees that a machine's step may leave a bend or a rotation off where the shop file does not say how far a made tube
#: may be off. Common practice, no source.
MOST_LEFT_OVER = 1.0

_WHY = {"held": "held", "clear": "clears", "room": "most-room", "stick": "least-stick"}


def setup_findings(setup: Setup, shop: Shop, why: Sequence[str]) -> list[Finding]:
    """Every finding on one set-up.

    Args:
        setup: without findings yet.
        shop: whose limits count.
        why: why the end or the order is not the simple one: 'held', 'clear', 'room', 'stick'; empty when it is.
    """
    of = _Findings(setup, shop)
    return [
        *of.order(why),
        *of.lacks(),
        *of.inverted(),
        *of.shifted(),
        *of.ends(),
        *of.stops(),
        *of.left_over(),
        *of.metal(),
        *of.stick(),
    ]


class _Findings:
    """The findings of one set-up, by what they are about."""

    def __init__(self, setup: Setup, shop: Shop) -> None:
        self.setup = setup
        self.shop = shop
        self.run = setup.tube.run
        #: By the die, what would do instead of moving bends apart.
        self._others: dict[Die | None, tuple[Clause, ...]] = {}

    def order(self, why: Sequence[str]) -> Iterator[Finding]:
        """The order or the end is not the simple one."""
        if not why:
            return
        order = Clause.of("bends-in-order", order=tuple(step.bend for step in self.setup.steps))
        values = {
            "feed": self.setup.feed_from,
            "order": "" if self.setup.plan.is_simple else order,
            "reasons": tuple(Clause.of(_WHY[reason]) for reason in why),
        }
        yield self._finding("order-changed", None, values)

    def lacks(self) -> Iterator[Finding]:
        """Bends that cannot be held in any order tried."""
        for lack in self.setup.plan.lacks:
            bend, other = self._bend(lack.bend), self._bend(lack.other)
            if abs(bend - other) == 1 and self.run.table.bends[max(bend, other) - 1].feed < -PAST_LENGTH:
                continue  # that they overlap as drawn is the audit's to tell
            die = self._step(bend).die
            known = any(self._step(one).springback.source != "none" for one in (bend, other))
            values = {
                "other": other,
                "after": Clause.of("after-springback") if known else "",
                "straight": lack.have,
                "over": -lack.have,
                "need": lack.need,
                "die": Clause.of("die-by-name", name=die.name) if die else Clause.of("die-without-name"),
                "ways": self._ways(lack, other, die),
            }
            yield self._finding(
                "straight-too-short",
                bend,
                values,
                variant="overlap" if lack.have < -PAST_LENGTH else "clamp" if lack.ahead else "pressure die",
                measured=lack.have,
                limit=lack.need,
            )

    def _ways(self, lack: Lack, other: int, die: Die | None) -> tuple[Clause, ...]:
        """Bends apart, a cut that leaves two pieces that can be made, or another die that moves the corners little."""
        bend = self._bend(lack.bend)
        excess = self.setup.excess[max(bend, other) - 1] if abs(bend - other) == 1 else 0.0
        if die not in self._others:
            self._others[die] = tuple(self._other_ways(die))
        return Clause.of("move-bends-apart", by=lack.need - lack.have + excess, other=other), *self._others[die]

    def _other_ways(self, die: Die | None) -> Iterator[Clause]:
        """A cut that leaves two pieces that can be made on a die, and another die that moves the corners little."""
        section = self.setup.tube.section
        if section is None:
            return
        cut = best_split(self.run.table, section.greater, lambda one: self._makes(one, die))
        if cut is not None:
            yield cut.way
        lies = set(turned_by_bend(section, self.run.table.bends))
        others = [
            one
            for one in self.shop.dies_for(section)
            if (die is None or one.name != die.name) and all(one.takes(section, turned) for turned in lies)
        ]
        better = best_refit(self.run, others)
        if better is not None:
            to = Clause.of("die-of-radius", die=better[0].name, clr=better[0].clr)
            yield Clause.of("refit-to-die", die=to, moved=better[2])

    def _makes(self, cut: Split, die: Die | None) -> bool:
        """Whether both pieces can be made on a die, of sticks that there are."""
        tube, judge = self.setup.tube, makeable_by(self.shop, die)
        most = longest_stick(self.shop, tube.section, tube.metal, is_bent=True) + PAST_LENGTH
        pieces = zip((cut.first, cut.second), "AB", strict=True)
        return self._left(cut.straight) > PAST_LENGTH and all(
            judge(table) and table.developed_length + self.setup.cuts.change(end) + _extra(table, die) <= most
            for table, end in pieces
        )

    def _left(self, straight: int) -> float:
        """What is left on the dies, after springback, of the straight before the bend of that index, mm of stick."""
        one, other = sorted((self._step(straight), self._step(straight + 1)), key=lambda step: step.start)
        return other.start - (one.start + one.stick)

    def inverted(self) -> Iterator[Finding]:
        """Bends for which the clamp is turned over."""
        for step in self.setup.steps:
            if step.inverted is not None and step.die is not None:
                yield self._finding(
                    "straight-too-short",
                    step.bend,
                    {"other": step.inverted, "die": step.die.name},
                    variant="turned over",
                    limit=step.die.between,
                    severity=NOTE,
                )

    def shifted(self) -> Iterator[Finding]:
        """Bends without any straight left beside them, whose legs or ends come out further along than drawn."""
        lacks = {frozenset((self._bend(lack.bend), self._bend(lack.other))) for lack in self.setup.plan.lacks}
        for i, excess in enumerate(self.setup.excess):
            if excess <= PAST_LENGTH or {i, i + 1} in lacks:
                continue
            if i in (0, len(self.run.table.bends)):
                end = "A" if i == 0 else "B"
                yield self._finding(
                    "legs-shifted",
                    max(i, 1),
                    {"excess": excess},
                    variant="end",
                    end=end,
                    measured=excess,
                    severity=NOTE,
                )
            else:
                yield self._finding(
                    "legs-shifted",
                    i + 1,
                    {"other": i, "excess": excess},
                    measured=excess,
                    limit=AS_BENDS_GO,
                    severity=NOTE if excess <= same_within(AS_BENDS_GO) else WARNING,
                )

    def ends(self) -> Iterator[Finding]:
        """Extra stick at the ends."""
        for end, extra in (("A", self.setup.extra_a), ("B", self.setup.extra_b)):
            if extra <= 0.0:
                continue
            first = end == self.setup.feed_from
            reach = (self.run.metal or (0.0, 0.0))[0 if end == "A" else 1]
            if (extra <= reach and end not in self.setup.cuts.by_end) or not self.setup.steps:
                variant = "longer for metal"
            else:
                variant = "longer for clamp" if first else "longer for pressure die"
            yield self._finding(
                "end-too-short",
                self.setup.steps[0 if first else -1].bend if self.setup.steps else None,
                {"extra": extra},
                variant=variant,
                end=end,
                measured=extra,
                severity=NOTE,
            )

    def stops(self) -> Iterator[Finding]:
        """Stops past what die and machine turn (a target past it is the audit's to tell)."""
        for step in self.setup.steps:
            limit = self.shop.greatest_angle(step.die)
            # without a die the stop is the target
            if step.die is None or limit is None or step.stop <= limit + PAST_ANGLE or step.target > limit + PAST_ANGLE:
                continue
            sure = step.springback.stop_range(step.target)[0] > limit + PAST_ANGLE
            yield self._finding(
                "stop-too-great",
                step.bend,
                {"angle": step.target, "stop": step.stop, "die": step.die.name, "most": limit},
                measured=step.stop,
                limit=limit,
                unit="deg",
                severity="" if sure else WARNING,
            )

    def left_over(self) -> Iterator[Finding]:
        """What the steps of the machine's scale and ring leave over, where it is more than a made tube may be off."""
        machine, most = self.shop.machine, self.shop.allowed.angle or MOST_LEFT_OVER
        before: Step | None = None
        for step in sorted(self.setup.steps, key=lambda step: step.bend):
            short = step.comes_out - step.target
            turn = 0.0 if before is None else wrapped(step.total - step.total_set - before.total + before.total_set)
            before = step
            for variant, off, grain in (("scale", short, machine.stop_step), ("ring", turn, machine.turn_step)):
                if grain is not None and abs(off) > same_within(most):
                    values = {"grain": grain, "out": step.comes_out, "angle": step.target, "off": abs(off)}
                    yield self._finding(
                        "step-too-coarse", step.bend, values, variant=variant, measured=abs(off), limit=most, unit="deg"
                    )

    def metal(self) -> Iterator[Finding]:
        """What is known of springback and of the marks, once for each die."""
        told: set[str] = set()
        for step in self.setup.steps:
            if step.die is None or step.die.name in told:
                continue
            told.add(step.die.name)
            yield from fit_findings(step.springback, step.die, self.setup.tube.section, self.setup.tube.metal)
            if step.die.mark_offset is None:
                yield Finding("mark-offset-unknown", values={"die": step.die.name})
            if not step.die.is_clamp_known:
                yield Finding("clamp-unknown", values={"die": step.die.name})
        steps = sorted(self.setup.steps, key=lambda step: step.bend)
        for index, apart in wider(self.run.table, [step.radius for step in steps]) if steps else ():
            die = steps[index].die
            # the radius of another die than drawn has an error of its own
            as_drawn = die is not None and die_for_bend(self.run.table.bends[index], (die,)) is not None
            if abs(apart) > same_within(WORTH_SAYING) and as_drawn:
                yield self._finding("bend-wider", index + 1, {"apart": apart}, measured=apart)

    def stick(self) -> Iterator[Finding]:
        """The stick against the machine, and against the bars on the rack."""
        tube, stick = self.setup.tube, self.setup.stick_length
        machine = self.shop.machine.max_length if self.setup.steps else None
        bar = longest_bar(self.shop, tube.section, tube.metal)
        rack = None if bar is None else self.shop.cutting.saw.longest(bar)
        sawn = "rack" if bar is None or rack is None or bar - rack <= PAST_LENGTH else "saw"
        for variant, limit in (("machine", machine), (sawn, rack)):
            if limit is not None and stick > limit + PAST_LENGTH:
                values = {"stick": stick, "most": limit, "section": tube.section, "bar": bar}
                yield self._finding("stick-too-long", None, values, variant=variant, measured=stick, limit=limit)

    def _bend(self, index: int) -> int:
        """Number in the bend table of a bend counted from 0 from the end fed first."""
        return index + 1 if self.setup.feed_from == "A" else len(self.setup.steps) - index

    def _step(self, bend: int) -> Step:
        return next(step for step in self.setup.steps if step.bend == bend)

    def _finding(
        self,
        code: str,
        bend: int | None,
        values: Mapping[str, object],
        *,
        variant: str = "",
        end: str | None = None,
        measured: float | None = None,
        limit: float | None = None,
        unit: str = "mm",
        severity: str = "",
    ) -> Finding:
        row = self.run.table.bends[bend - 1] if bend else None
        return Finding(
            code,
            variant=variant,
            severity=severity,
            tube=self.run.name,
            bend=bend,
            end=end,
            values=values,
            measured=measured,
            limit=limit,
            unit=unit if measured is not None else None,
            layer=(row and row.layer) or self.run.layer,
            handle=(row and row.handle) or (self.run.handles[0] if self.run.handles else None),
        )


def _extra(table: BendTable, die: Die | None) -> float:
    """The extra stick that a die needs at the ends of a tube, mm, whichever end is fed first."""
    if die is None:
        return 0.0
    first, last = table.straights[0], table.straights[-1]
    return max(
        max(0.0, die.clamp - lead) + max(0.0, die.tail - trail) for lead, trail in ((first, last), (last, first))
    )
