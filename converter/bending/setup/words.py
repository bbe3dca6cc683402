"""The set-up in words and round numbers: what a person at the bender reads.

Every number is rounded from its exact place, never from another rounded one, so rounding never adds up.
The stick is rounded up; what that adds lies at the end fed last. Marks that are measured from that end are
measured on the stick as cut. A stick is cut square at the long points of its copes (or longer, where the clamp
needs it, and trimmed back to them), bent, and coped last.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import floor

from converter.bending.setup.machine_steps import arcs_within, wrapped
from converter.bending.setup.setup import Setup, Step
from converter.findings.wording import counted, listed
from converter.model.end_cuts import SawCut
from converter.quoting import quoted
from converter.shop.sections import describe
from converter.units import MM_PER, Display, rounded_up

#: What holds for every bend on every machine, said once.
CAUTIONS = (
    "Keep hands away from die, clamp and pressure die while anything moves: they pinch.",
    "The leg that swings round, and the stick behind the die, move far and fast: look where they will go and keep "
    "everyone out of their way.",
    "Bend to the stop, let go, measure. A bend that is short can be bent on; one that has gone too far cannot be "
    "taken back.",
)


#: Why a tube with bends has no set-up, by what is lacking.
NO_SET_UP = {
    "radius": "a corner has no radius",
    "curve": "it is no tube of straights and bends",
    "die": "no section is known, so there is no die, and no mark or stop to work out: name the section with "
    "--section, in a job file or in the layer's name",
}

#: mm; what rounding the stick up leaves past the long point of a cope, when it is more than this, is told.
LEAST_ROUNDING_NAMED = 0.1
#: Where a cut lies that needs no other place to be named.
STICK_END = "the end of the stick"

#: From so many marks on they stand in a table.
_LEAST_MARKS = 3


def rounded(mm: float, display: Display) -> float:
    """The length in mm that is shown for ``mm``."""
    step = display.step
    return floor(mm / step + 0.5) * step


#: Said of a bend that an error names, and of its tube.
NOT_AS_DRAWN = "not to be made as drawn"
REFUSAL = f"{NOT_AS_DRAWN.capitalize()}: see the findings"
REFUSED = f"is {NOT_AS_DRAWN}: see the findings"
#: Why a cut length is not the developed length that tables and pictures show.
CUT_LENGTHS = (
    "Cut lengths count springback, stretch, extra and cut ends, and are rounded up; a developed length is that of the "
    "centerline as drawn."
)
#: Instead of the cut length of a tube that its cuts take away whole.
NO_CUT_LENGTH = "none: its cuts leave nothing of it"
CUT_NOTHING = "Cut no stick for it yet."


@dataclass(frozen=True)
class SetupView:
    """One set-up as it is shown.

    Attributes:
        setup: exact.
        display: how lengths are shown.
        refusal: numbers of the bends that an error names, which get no mark and no stop in words; None where no error
            names the tube, see `converter.job.shown.Shown.refusal`.
    """

    setup: Setup
    display: Display
    refusal: frozenset[int] | None = None

    @property
    def refused(self) -> frozenset[int]:
        """Numbers of bends that are not to be made as drawn."""
        return self.refusal or frozenset()

    @property
    def kept_steps(self) -> tuple[Step, ...]:
        """The bends that have a mark and a stop, in the order made."""
        return tuple(step for step in self.setup.steps if step.bend not in self.refused)

    @cached_property
    def stick(self) -> float:
        """The stick as cut, mm: rounded up."""
        return rounded_up(self.setup.stick_length, self.display)

    @cached_property
    def marked(self) -> tuple[Step, ...]:
        """The bends that get a mark, in the order made."""
        return tuple(step for step in self.setup.steps if step.bend not in self.refused)

    @cached_property
    def along(self) -> tuple[Step, ...]:
        """The same as a tape from the end fed first passes them."""
        return tuple(sorted(self.marked, key=lambda step: step.mark))

    @property
    def other(self) -> str:
        """The end fed last."""
        return "B" if self.setup.feed_from == "A" else "A"

    def mark(self, end: str, step: Step) -> float:
        """A mark from an end on the stick as cut, mm, exact."""
        return self.setup.mark_from(end, step, self.stick)

    def arounds(self) -> list[str]:
        """How far a point on the outside of the tube moves in each turn, without its unit, in the order made.

        In decimals where a fraction would cost more than the machine's ``turn_within``; '' where decimals would too,
        where the tube is not turned, and where its size is not known.
        """
        return self._arounds

    @cached_property
    def _arounds(self) -> list[str]:
        arcs = [step.turn_arc or 0.0 for step in self.setup.steps]
        per_degree = max((abs(step.turn_arc / step.turn_set) for step in self.setup.steps if step.turn_arc), default=0)
        if not per_degree:
            return ["" for _ in arcs]
        decimals = Display(self.display.unit)
        shown = {self.display.step: self.display, decimals.step: decimals}
        told = arcs_within(arcs, per_degree * self.setup.machine.turn_within, shown)
        return ["" if one is None else shown[one[1]].number(abs(one[0])) for one in told]

    def around(self, i: int) -> str:
        """The same of one turn with its unit, or ''."""
        number = self._arounds[i]
        return f"{number} {self.display.unit}" if number else ""

    def rounding_notes(self) -> list[str]:
        """How far what is told lies from what is exact, a sentence each."""
        shown, machine = self.display, self.setup.machine
        half = f"{shown.step / MM_PER[shown.unit] / 2.0:g}"
        if shown.denominator:
            half = f"1/{2 * shown.denominator}"
        if not self.kept_steps:  # no mark is told
            return []
        notes = [f"Each mark is rounded from its exact place, by at most {half} {shown.unit}."]
        told = [text for text, step in zip(self._arounds, self.setup.steps, strict=True) if step.turn_arc]
        if told:
            words = f"A distance around the tube is off by at most {machine.turn_within:g}° of turn"
            if shown.denominator:
                words += ": where a fraction would be further off it is in decimals"
            notes.append(f"{words}{'' if all(told) else '; where rounding costs more, only the angle is told'}.")
        if machine.stop_step is not None:
            stops = [(step.stop - step.stop_set, f" for bend {step.bend}") for step in self.marked]
            notes.append(stop_step_note(machine.stop_step, stops))
        if machine.turn_step is not None and len(self.setup.steps) > 1:
            left = [(step.bend, wrapped(step.total - step.total_set)) for step in self.marked]
            over = [f"before bend {bend} {abs(off):.2f}° {turn_words(off)}" for bend, off in left if _shows(off)]
            rest = f" Left over, and not adding up: {listed(over)}." if over else ""
            notes.append(f"Turns are given to the step of the machine's ring, {machine.turn_step:g}°.{rest}")
        return notes

    def trim(self, end: str) -> float:
        """What is trimmed at an end after bending, mm; at the end fed last with what rounding up added."""
        extra = self.setup.extra_a if end == "A" else self.setup.extra_b
        if extra <= 0.0:
            return 0.0
        return extra + (self.stick - self.setup.stick_length if end == self.other else 0.0)

    def cope_place(self, end: str) -> str:
        """Where the long point of an end that is cut to fit lies: ``11.45 mm before the centerline's end``."""
        return reach_words(self.setup.cuts.change(end), self.display)

    def cope_words(self) -> list[str]:
        """Where the stick ends for the cuts at its ends: a sentence for each end cut to fit, one for both if alike."""
        found = {}
        for end in self.setup.cuts.by_end:
            trim = self.trim(end)
            here = f"the trim mark, {self.display.length(trim)} from" if trim > 0.0 else ""
            here = f"{here} the end of the stick".strip()
            found[end] = f"{here}, {self.cope_place(end)}"
        square = {end: self.is_square(end) for end in found}
        if len(found) == 2 and found["A"] == found["B"] and square["A"] == square["B"]:
            if square["A"]:
                return [f"ends A and B are cut square, each at {found['A']}"]
            return [f"ends A and B are cut to fit, the long point of each at {found['A']}"]
        return [
            f"end {end} is cut square at {words}"
            if square[end]
            else f"end {end} is cut to fit, its long point at {words}"
            for end, words in found.items()
        ]

    def is_square(self, end: str) -> bool:
        """Whether an end that is cut to fit is cut square."""
        return self.setup.cuts.saw_angle(end) == 0.0

    def turn(self, step: Step) -> str:
        """The tube's turn before a bend, seen from the end fed first toward the other: ``90.00° clockwise``."""
        return turned(step.turn_set, self.display) or "not at all"

    def so_far(self, step: Step) -> str:
        """The turns from the first bend made up to a bend, the same way: ``30.00° counter-clockwise``."""
        return turned(step.total_set, self.display) or "as loaded"

    def instructions(self) -> list[str]:
        """What to do, one sentence or a few each, in order.

        Nothing of a tube that an error names, where a bend cannot be held, or where no stick is left.
        """
        setup = self.setup
        if self.refusal is not None or setup.plan.lacks or setup.lacking or setup.is_nothing:
            return []
        length = self.display.length
        about = describe(setup.tube.section, self.display) if setup.tube.section else "tube"
        metal = f", {setup.tube.metal}" if setup.tube.metal else ""
        ends = " Write A on one end and B on the other." if setup.steps else ""
        found = [f"Cut a stick to {length(self.stick)} ({about}{metal}).{self._square()}{ends}"]
        if setup.steps:
            found.append(self._marking)
            found += [self._bend(i) for i in range(len(setup.steps))]
        found += self._trimming()
        found += self._coping()
        return found

    def mark_rows(self, sentence: str = "") -> tuple[tuple[str, str], ...]:
        """Each mark and how far it is from the end fed first, ``("bend 2", "720.26 mm")``: a table of the marking.

        Args:
            sentence: one of `instructions`; of another than that on the marks nothing is told.

        Returns:
            In the order in which a tape passes them; () where fewer than three are drawn: then the sentence says where.
        """
        if len(self.marked) < _LEAST_MARKS or (sentence and sentence != self._marking):
            return ()
        first = self.setup.feed_from
        return tuple((f"bend {step.bend}", self.display.length(self.mark(first, step))) for step in self.along)

    def _square(self) -> str:
        cuts = self.setup.cuts.by_end
        ends = [end for end, cut in cuts.items() if cut.saw_angle != 0.0]
        if not cuts or (not self.setup.steps and len(ends) == 2 and all(cut.saw_angle for cut in cuts.values())):
            return ""  # two slanted cuts of the saw make a stick by themselves
        later = f"; end{'s' if len(ends) > 1 else ''} {listed(ends)} will be cut to fit after bending"
        return f" Cut it square{later if ends and self.setup.steps else ''}."

    @cached_property
    def _marking(self) -> str:
        setup, first = self.setup, self.setup.feed_from
        trims = [f"{self.display.length(self.trim(end))} from end {end}" for end in "AB" if self.trim(end) > 0.0]
        trim = f" Make trim marks {listed(trims)}." if trims else ""
        line = " Draw a line along the stick to see how far it is turned." if len(setup.steps) > 1 else ""
        if rows := self.mark_rows():
            return f"Measure each of these {len(rows)} marks from end {first}, and draw it all round.{trim}{line}"
        places = [f"{self.display.length(self.mark(first, step))} (bend {step.bend})" for step in self.along]
        marks = f"marks at {listed(places)}" if len(places) > 1 else f"a mark at {places[0]}"
        return f"Measure every mark from end {first}: draw {marks} all round.{trim}{line}"

    def _bend(self, i: int) -> str:
        steps = self.setup.steps
        step, before = steps[i], steps[i - 1] if i else None
        words = []
        name = step.die.name if step.die else None
        if before is None:
            on = f"Put the die {quoted(name)} on. " if name else ""
            words.append(
                f"{on}Load the stick with end {self.setup.feed_from} first until its mark for bend {step.bend}"
            )
        else:
            if name and (before.die is None or before.die.name != name):
                words.append(f"Change to the die {quoted(name)}. ")
            move = "Feed the stick on" if step.mark > before.mark else "Draw the stick back"
            words.append(f"{move} until its mark for bend {step.bend}")
        offset = step.die is not None and step.die.mark_offset is not None
        words.append(" is at the die's mark line." if offset else " is where the bend starts on the die.")
        if step.turn_set:
            words.append(f" {self._turn(i)}")
        if step.inverted is not None:
            words.append(" Turn the clamp over for this bend, and back after it.")
        words.append(
            f" Set the stop to {self.display.angle(step.stop_set)} and bend: it should come out at "
            f"{self.display.angle(step.comes_out)}."
        )
        return "".join(words)

    def _turn(self, i: int) -> str:
        turn = self.setup.steps[i].turn_set
        size, around = self.display.angle(abs(turn)), self.around(i)
        arc = f", that is {around} around its outside" if around else ""
        if is_half(turn):
            return f"Turn the tube half round ({size}{arc})."
        mine, theirs = turn_words(turn), turn_words(-turn)
        first, other = self.setup.feed_from, self.other
        return (
            f"Turn the tube {size} {mine}, seen from end {first} toward end {other} ({theirs} when you stand at end "
            f"{other} and look at the die){arc}."
        )

    def _finer(self, mm: float) -> str:
        """A length that is less than the fraction shown, in a fraction a quarter as large."""
        if self.display.denominator is None:
            return self.display.length(mm)
        return Display("in", min(128, max(64, 4 * self.display.denominator))).length(mm)

    def _trimming(self) -> list[str]:
        ends = [f"{self.display.length(self.trim(end))} off end {end}" for end in "AB" if self.trim(end) > 0.0]
        return [f"Trim {listed(ends)}."] if ends else []

    def _coping(self) -> list[str]:
        """Where each cut lies once the stick is trimmed, and what makes it: the template needs one place along it."""
        found = []
        for end, cut in self.setup.cuts.by_end.items():
            over = self.stick - self.setup.stick_length if end == self.other and not self.trim(end) else 0.0
            at = STICK_END + (" as trimmed" if self.trim(end) > 0.0 else "")
            if over > LEAST_ROUNDING_NAMED:
                at = f"{self._finer(over)} inside {at} (that much it was rounded up)"
            place = self.cope_place(end)
            if cut.saw_angle is None:
                cuts = flat_cuts_words(cut.flat_cuts, self.display)
                found.append(f"Cut end {end} to its template{cuts}: the long point of the cut is {at}, {place}.")
            else:
                side = self._side() if end == "B" else ""
                found.append(saw_words(end, cut.saw_angle, at, f"{place}{side}", self.display))
        return found

    def _side(self) -> str:
        """Where the long point of end B lies as against that of end A, both sawn on a straight tube; '' else."""
        cuts, apart = self.setup.cuts, self.setup.cuts.apart
        if apart is None:
            return ""
        if cuts.on_one_side:
            return ", on the same side of the tube as that of end A"
        if cuts.on_opposite_sides:
            return ", on the side of the tube opposite to that of end A"
        way = "clockwise" if apart > 0.0 else "counter-clockwise"
        return f", {self.display.angle(abs(apart))} {way} from that of end A, seen from end A toward end B"


def flat_cuts_words(cuts: Sequence[SawCut], display: Display) -> str:
    """What makes an end that several flats end: ``, by 2 saw cuts, 51.34° and 38.66° from square``; else ''."""
    if not cuts:
        return ""
    return f", by {counted(len(cuts), 'saw cut')}, {listed([display.angle(one.angle) for one in cuts])} from square"


def saw_words(end: str, angle: float, at: str, place: str, display: Display, later: str = "") -> str:
    """How a saw cuts an end, a sentence: ``Saw end A 45.00° from square: the long point of the cut is ...``.

    Args:
        end: 'A' or 'B'.
        angle: from square, degrees; 0 for a square cut.
        at: where the cut, or its long point, lies on the stick: `STICK_END` or other words.
        place: where that is as against the centerline's end, in words.
        display: how the angle is shown.
        later: `` after bending`` where it is to be said, or ''.
    """
    if angle == 0.0 and at == STICK_END:
        return f"End {end} is square where the stick ends, {place}: it needs no other cut."
    if angle == 0.0:
        return f"Cut end {end} square{later}: the cut is {at}, {place}."
    return f"Saw end {end} {display.angle(angle)} from square{later}: the long point of the cut is {at}, {place}."


def reach_words(reach: float, display: Display) -> str:
    """``4.20 mm past the centerline's end``, ``before`` it, or at it; ``reach`` in mm, positive past it."""
    if rounded(abs(reach), display) <= 0.0:
        return "where the centerline ends"
    return f"{display.length(abs(reach))} {'past' if reach > 0.0 else 'before'} the centerline's end"


def is_half(turn: float) -> bool:
    """Whether a turn in degrees is half a turn, as one is that shows so: it has no direction."""
    return abs(turn) >= 180.0 - 0.005


def turn_words(turn: float) -> str:
    """Which way the tube is turned, seen along the table's direction: from the end fed first toward the other."""
    if not turn:
        return ""
    if is_half(turn):
        return "half round"
    return "clockwise" if turn > 0.0 else "counter-clockwise"


def turned(turn: float, display: Display) -> str:
    """A turn with its direction in words and so without a sign: ``33.01° clockwise``, ``180.00° half round``; or ''."""
    return f"{display.angle(abs(turn))} {turn_words(turn)}" if turn else ""


def stop_step_note(step: float, left: Iterable[tuple[float, str]]) -> str:
    """That stops are given to a machine's step, and what that leaves over.

    Args:
        step: of the machine's scale, degrees.
        left: exact stop less the one given, degrees, and which bend's, in words after it.
    """
    over = [f"{abs(off):.2f}° {'more' if off > 0.0 else 'less'}{whose}" for off, whose in left if _shows(off)]
    rest = f" Exact would be {listed(over)}." if over else ""
    return f"Stops are given to the machine's step of {step:g}°.{rest}"


def _shows(degrees: float) -> bool:
    """Whether what rounding leaves over shows in hundredths of a degree."""
    return abs(degrees) >= 0.005
