"""What is to be said of a set-up: what cannot be held, what was changed and why, what to trim."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from converter.bending.clamping import Lack
from converter.bending.setup_shape import wider
from converter.bending.split import best_refit, best_split, makeable_by
from converter.bending.springback import fit_findings
from converter.findings import NOTE, WARNING, Finding
from converter.shop.model import Shop
from converter.units import Display

if TYPE_CHECKING:
    from converter.bending.setup import Setup, Step

#: Degrees; a stop this little past the limit is rounding.
ANGLE_SLACK = 1e-6
#: mm; legs that come out this little further apart need no words.
WORTH_SAYING = 0.5

_WHY = {
    "held": "so that every bend can be held",
    "clear": "so that the tube clears what stands around",
    "room": "as that leaves the most room",
    "stick": "as that needs least",
}


def said_of(setup: Setup, shop: Shop, display: Display, why: Sequence[str]) -> list[Finding]:
    """Every finding on one set-up.

    Args:
        setup: without findings yet.
        shop: whose limits count.
        display: how lengths are shown.
        why: why the end or the order is not the simple one: 'held', 'clear', 'room', 'stick'; empty when it is.
    """
    one = _Sayer(setup, shop, display)
    return [*one.order(why), *one.lacks(), *one.inverted(), *one.ends(), *one.stops(), *one.metal(), *one.stick()]


class _Sayer:
    def __init__(self, setup: Setup, shop: Shop, display: Display) -> None:
        self.setup = setup
        self.shop = shop
        self.display = display
        self.run = setup.tube.run

    def order(self, why: Sequence[str]) -> Iterator[Finding]:
        """The order or the end is not the simple one."""
        if not why:
            return
        numbers = ", ".join(str(step.bend) for step in self.setup.steps)
        reasons = " and ".join(_WHY[reason] for reason in why)
        bends = f", bends in the order {numbers}" if not self.setup.plan.plain else ""
        yield self._finding("order-changed", f"fed from end {self.setup.feed_from}{bends}, {reasons}")

    def lacks(self) -> Iterator[Finding]:
        """Bends that cannot be held in any order tried."""
        for lack in self.setup.plan.lacks:
            bend, other = self._bend(lack.bend), self._bend(lack.other)
            die = self._step(bend).die
            name = repr(die.name) if die else "the die"
            first, second = min(bend, other), max(bend, other)
            what = "the clamp" if lack.ahead else "the pressure die"
            yield self._finding(
                "straight-too-short",
                f"bend {bend} cannot be held: the straight between bends {first} and {second} is "
                f"{self.display.length(lack.have)} after springback, and {what} of {name} needs "
                f"{self.display.length(lack.need)}",
                bend,
                measured=lack.have,
                limit=lack.need,
                cure=self._cure(lack, first, second),
            )

    def _cure(self, lack: Lack, first: int, second: int) -> str:
        """Bends apart, a cut that leaves two pieces that can be made, or another die that moves the corners little."""
        length, tube = self.display.length, self.setup.tube
        cures = [f"move bends {first} and {second} {length(lack.need - lack.have)} apart"]
        die = self._step(self._bend(lack.bend)).die
        if tube.section is not None:
            judge = makeable_by(self.shop, die)
            cut = best_split(self.run.table, max(tube.section.od, tube.section.height), judge)
            if cut is not None:
                joint = "a sleeve" if cut.joint == "sleeve" else "a butt weld"
                cures.append(
                    f"split the tube {length(cut.at)} from end A, in the straight between bends {cut.straight} and "
                    f"{cut.straight + 1}, and join the pieces with {joint}"
                )
            others = [one for one in self.shop.dies_for(tube.section) if die is None or one.name != die.name]
            better = best_refit(self.run, others, self.display)
            if better is not None:
                cures.append(
                    f"refit it to {better[0].name!r} ({length(better[0].clr)}), which moves the centerline by up to "
                    f"{length(better[2])}"
                )
        text = ", or ".join(cures)
        return f"{text[0].upper()}{text[1:]}."

    def inverted(self) -> Iterator[Finding]:
        """Bends for which the clamp is turned over."""
        for step in self.setup.steps:
            if step.inverted is not None and step.die is not None:
                yield self._finding(
                    "straight-too-short",
                    f"between bends {min(step.bend, step.inverted)} and {max(step.bend, step.inverted)} there is less "
                    f"straight than the clamp of {step.die.name!r} needs; it is turned over for bend {step.bend}",
                    step.bend,
                    limit=step.die.between,
                    severity=NOTE,
                    cure="Turn the clamp over for that bend and back after it.",
                )

    def ends(self) -> Iterator[Finding]:
        """Extra stick at the ends."""
        for end, extra in (("A", self.setup.extra_a), ("B", self.setup.extra_b)):
            if extra <= 0.0:
                continue
            first = end == self.setup.feed_from
            reach = (self.run.metal or (0.0, 0.0))[0 if end == "A" else 1]
            if (extra <= reach and end not in self.setup.coped) or not self.setup.steps:
                what, cure = "for the metal that reaches past the centerline there", "Cut the end to its shape."
            else:
                what = "for the clamp" if first else "for the pressure die"
                cure = "Trim it after bending."
            yield self._finding(
                "end-too-short",
                f"the stick is {self.display.length(extra)} longer at end {end} {what}",
                self.setup.steps[0 if first else -1].bend if self.setup.steps else None,
                measured=extra,
                severity=NOTE,
                cure=cure,
            )

    def stops(self) -> Iterator[Finding]:
        """Stops past what die and machine turn (a target past it is the audit's to say)."""
        for step in self.setup.steps:
            limit = self.shop.greatest_angle(step.die)
            if limit is None or step.stop <= limit + ANGLE_SLACK or step.target > limit + ANGLE_SLACK:
                continue
            die = step.die.name if step.die else ""
            sure = step.springback.stop_range(step.target)[0] > limit
            yield self._finding(
                "stop-too-great",
                f"bend {step.bend} of {self.display.angle(step.target)} needs a stop of "
                f"{self.display.angle(step.stop)} with springback; {die!r} on this machine turns "
                f"{self.display.angle(limit)}",
                step.bend,
                measured=step.stop,
                limit=limit,
                unit="deg",
                severity="" if sure else WARNING,
                cure="Use another die or machine, or draw a lesser bend.",
            )

    def metal(self) -> Iterator[Finding]:
        """What is known of springback and of the marks, once for each die."""
        said: set[str] = set()
        for step in self.setup.steps:
            if step.die is None or step.die.name in said:
                continue
            said.add(step.die.name)
            yield from fit_findings(step.springback, step.die)
            if step.die.mark_offset is None:
                yield Finding(
                    "mark-offset-unknown",
                    f"The die {step.die.name!r} has no mark offset, so its marks lie where the bends start.",
                    cure="Measure from the start of a test bend to where its mark was, and write it into the shop file "
                    "as mark_offset.",
                )
        radii = [step.radius for step in sorted(self.setup.steps, key=lambda step: step.bend)]
        for index, apart in wider(self.run.table, radii) if radii else ():
            if abs(apart) > WORTH_SAYING:
                yield self._finding(
                    "bend-wider",
                    f"bend {index + 1} has no corner to keep: its legs come out {self.display.length(apart)} further "
                    "apart than drawn",
                    index + 1,
                    measured=apart,
                    cure="Draw it with the radius it comes out at, if that matters.",
                )

    def stick(self) -> Iterator[Finding]:
        """The stick against the machine."""
        limit = self.shop.machine.max_length
        if limit is not None and self.setup.steps and self.setup.stick_length > limit:
            yield self._finding(
                "stick-too-long",
                f"its stick is {self.display.length(self.setup.stick_length)} long; the machine takes "
                f"{self.display.length(limit)}",
                measured=self.setup.stick_length,
                limit=limit,
                cure="Split the tube at a straight.",
            )

    def _bend(self, index: int) -> int:
        """Number in the bend table of a bend counted from 0 from the end fed first."""
        return index + 1 if self.setup.feed_from == "A" else len(self.setup.steps) - index

    def _step(self, bend: int) -> Step:
        return next(step for step in self.setup.steps if step.bend == bend)

    def _finding(
        self,
        code: str,
        text: str,
        bend: int | None = None,
        *,
        measured: float | None = None,
        limit: float | None = None,
        unit: str = "mm",
        cure: str = "",
        severity: str = "",
    ) -> Finding:
        row = self.run.table.bends[bend - 1] if bend else None
        return Finding(
            code,
            f"{self.run.name}: {text}.",
            severity=severity,
            tube=self.run.name,
            bend=bend,
            measured=measured,
            limit=limit,
            unit=unit if measured is not None else None,
            layer=(row and row.layer) or self.run.layer,
            handle=(row and row.handle) or (self.run.handles[0] if self.run.handles else None),
            cure=cure,
        )
