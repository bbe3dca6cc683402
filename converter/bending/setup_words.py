"""The set-up in words and round numbers: what a person at the bender reads.

Every number is rounded from its exact place, never from another rounded one, so rounding never adds up.
The stick is rounded up; what that adds lies at the end fed last. Marks that are measured from that end are
measured on the stick as cut. A stick is cut square at the long points of its copes (or longer, where the clamp
needs it, and trimmed back to them), bent, and coped last.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

from converter.bending.setup import Setup, Step
from converter.shop.sections import describe
from converter.units import Display

#: What holds for every bend on every machine, said once.
CAUTIONS = (
    "Keep hands away from die, clamp and pressure die while anything moves: they pinch.",
    "The leg that swings round, and the stick behind the die, move far and fast: look where they will go and keep "
    "everyone out of their way.",
    "Bend to the stop, let go, measure. A bend that is short can be bent on; one that has gone too far cannot be "
    "taken back.",
)


#: mm; what rounding the stick up leaves past the long point of a cope, when it is more than this, is told.
WORTH_TELLING = 0.1


def grain(display: Display) -> float:
    """The smallest step in mm in which lengths are shown: 0.01 mm, 0.001 in, or the fraction."""
    if display.unit == "mm":
        return 0.01
    return 25.4 / (display.denominator or 1000)


def rounded(mm: float, display: Display) -> float:
    """The length in mm that is shown for ``mm``."""
    step = grain(display)
    return floor(mm / step + 0.5) * step


def rounded_up(mm: float, display: Display) -> float:
    """The least length that can be shown and is not below ``mm`` (a millionth of a step may go)."""
    step = grain(display)
    return ceil(mm / step - 1e-6) * step


@dataclass(frozen=True, slots=True)
class Sheet:
    """One set-up as it is shown.

    Attributes:
        setup: exact.
        display: how lengths are shown.
    """

    setup: Setup
    display: Display

    @property
    def stick(self) -> float:
        """The stick as cut, mm: rounded up."""
        return rounded_up(self.setup.stick_length, self.display)

    @property
    def other(self) -> str:
        """The end fed last."""
        return "B" if self.setup.feed_from == "A" else "A"

    def mark(self, end: str, step: Step) -> float:
        """A mark from an end on the stick as cut, mm, exact."""
        return self.setup.mark_from(end, step, self.stick)

    def worst_rounding(self) -> float:
        """The furthest that a shown mark lies from its exact place, mm."""
        exact = [self.mark(end, step) for end in "AB" for step in self.setup.steps]
        return max((abs(rounded(mm, self.display) - mm) for mm in exact), default=0.0)

    def trim(self, end: str) -> float:
        """What is trimmed at an end after bending, mm; at the end fed last with what rounding up added."""
        extra = self.setup.extra_a if end == "A" else self.setup.extra_b
        if extra <= 0.0:
            return 0.0
        return extra + (self.stick - self.setup.stick_length if end == self.other else 0.0)

    def cope_place(self, end: str) -> str:
        """Where the long point of an end that is cut to fit lies: ``11.45 mm before the centerline's end``."""
        return reach_words(self.setup.cope(end), self.display)

    def cope_words(self) -> list[str]:
        """Where the stick ends for the cuts at its ends: a sentence for each end cut to fit, one for both if alike."""
        found = {}
        for end in self.setup.coped:
            trim = self.trim(end)
            here = f"the trim mark, {self.display.length(trim)} from" if trim > 0.0 else ""
            here = f"{here} the end of the stick".strip()
            found[end] = f"{here}, {self.cope_place(end)}"
        if len(found) == 2 and found["A"] == found["B"]:
            return [f"ends A and B are cut to fit, the long point of each at {found['A']}"]
        return [f"end {end} is cut to fit, its long point at {words}" for end, words in found.items()]

    def turn(self, step: Step) -> str:
        """Which way the tube is turned, seen from the end fed first toward the other; '' for not at all."""
        return turn_words(step.roll)

    def instructions(self) -> list[str]:
        """What to do, one sentence or a few each, in order; empty when a bend cannot be held or no stick is left."""
        setup = self.setup
        if setup.plan.lacks or setup.stick_length <= 0.0:
            return []
        length = self.display.length
        about = describe(setup.tube.section, self.display) if setup.tube.section else "tube"
        metal = f", {setup.tube.metal}" if setup.tube.metal else ""
        ends = " Write A on one end and B on the other." if setup.steps else ""
        found = [f"Cut the stick to {length(self.stick)} ({about}{metal}).{self._square()}{ends}"]
        if setup.steps:
            found.append(self._marking())
            found += [self._bend(i) for i in range(len(setup.steps))]
        found += self._trimming()
        found += self._coping()
        return found

    def _square(self) -> str:
        ends = list(self.setup.coped)
        if not ends:
            return ""
        later = f"; end{'s' if len(ends) > 1 else ''} {_listed(ends)} will be cut to fit after bending"
        return f" Cut it square{later if self.setup.steps else ''}."

    def _marking(self) -> str:
        setup, first = self.setup, self.setup.feed_from
        places = [
            f"{self.display.length(self.mark(first, step))} (bend {step.bend})"
            for step in sorted(setup.steps, key=lambda step: step.mark)
        ]
        marks = f"marks at {_listed(places)}" if len(places) > 1 else f"a mark at {places[0]}"
        trims = [f"{self.display.length(self.trim(end))} from end {end}" for end in "AB" if self.trim(end) > 0.0]
        trim = f" Make trim marks {_listed(trims)}." if trims else ""
        line = " Draw a line along the stick to see how far it is turned." if len(setup.steps) > 1 else ""
        return f"Measure every mark from end {first}: draw {marks} all round.{trim}{line}"

    def _bend(self, i: int) -> str:
        steps = self.setup.steps
        step, before = steps[i], steps[i - 1] if i else None
        words = []
        name = step.die.name if step.die else None
        if before is None:
            on = f"Put the die {name!r} on. " if name else ""
            words.append(
                f"{on}Load the stick with end {self.setup.feed_from} first until its mark for bend {step.bend}"
            )
        else:
            if name and (before.die is None or before.die.name != name):
                words.append(f"Change to the die {name!r}. ")
            move = "Feed the stick on" if step.mark > before.mark else "Draw the stick back"
            words.append(f"{move} until its mark for bend {step.bend}")
        offset = step.die is not None and step.die.mark_offset is not None
        words.append(" is at the die's mark line." if offset else " is where the bend starts on the die.")
        if step.roll:
            words.append(f" {self._roll(step)}")
        if step.inverted is not None:
            words.append(" Turn the clamp over for this bend, and back after it.")
        words.append(
            f" Set the stop to {self.display.angle(step.stop)} and bend: it should come out at "
            f"{self.display.angle(step.target)}."
        )
        return "".join(words)

    def _roll(self, step: Step) -> str:
        size = self.display.angle(abs(step.roll))
        arc = f", that is {self.display.length(abs(step.roll_arc))} around its outside" if step.roll_arc else ""
        if abs(step.roll) > 180.0 - 1e-9:
            return f"Turn the tube half round ({size}{arc})."
        mine, theirs = turn_words(step.roll), turn_words(-step.roll)
        first, other = self.setup.feed_from, self.other
        return (
            f"Turn the tube {size} {mine}, seen from end {first} toward end {other} ({theirs} when you stand at end "
            f"{other} and look at the die){arc}."
        )

    def _trimming(self) -> list[str]:
        ends = [f"{self.display.length(self.trim(end))} off end {end}" for end in "AB" if self.trim(end) > 0.0]
        return [f"Trim {_listed(ends)}."] if ends else []

    def _coping(self) -> list[str]:
        """Where the long point of each cut lies once the stick is trimmed: the template needs one place along it."""
        found = []
        for end in self.setup.coped:
            over = self.stick - self.setup.stick_length if end == self.other and not self.trim(end) else 0.0
            at = "the end of the stick" + (" as trimmed" if self.trim(end) > 0.0 else "")
            if over > WORTH_TELLING:  # in decimals: a fraction is what it was rounded to
                at = f"{Display(self.display.unit).length(over)} inside {at} (that much it was rounded up)"
            found.append(f"Cut end {end} to its template: the long point of the cut is {at}, {self.cope_place(end)}.")
        return found


def reach_words(reach: float, display: Display) -> str:
    """``4.20 mm past the centerline's end``, ``before`` it, or at it; ``reach`` in mm, positive past it."""
    if rounded(abs(reach), display) <= 0.0:
        return "where the centerline ends"
    return f"{display.length(abs(reach))} {'past' if reach > 0.0 else 'before'} the centerline's end"


def turn_words(roll: float) -> str:
    """Which way a roll goes, seen along the direction of feed: from the end fed first toward the other."""
    if not roll:
        return ""
    if abs(roll) > 180.0 - 1e-9:
        return "half round"
    return "clockwise" if roll > 0.0 else "counter-clockwise"


def _listed(parts: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
