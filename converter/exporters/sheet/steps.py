"""One step at the bender, large enough to read at arm's length: feed to, turn, stop."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

from converter.bending.setup.setup import Setup, Step
from converter.bending.setup.words import SetupView, is_half, turn_words
from converter.joints.model import Joint
from converter.units import BothUnits, Display
from converter.words import saw_notes, springback_source, stop_text


@dataclass(frozen=True, slots=True)
class Dial:
    """The tube's turn as a clock face, seen from the end fed first toward the other, as everywhere in the set-up.

    Attributes:
        path: of the arc and its arrow head, in a square of 100 with y down, SVG path data.
        words: what it shows.
        end: letter of the end that is looked at.
    """

    path: str
    words: str
    end: str


@dataclass(frozen=True, slots=True)
class StepLine:
    """One thing to set: what, to what, a smaller sentence on it, and a word that goes with the number."""

    what: str
    value: str
    note: str
    word: str = ""


@dataclass(frozen=True, slots=True)
class BigStep:
    """One step.

    Attributes:
        title: ``Bend 2``.
        lines: what to do, in order.
        dial: the turn as a picture, or None.
        bend: number of the bend, 0 for the stick before the first.
    """

    title: str
    lines: tuple[StepLine, ...]
    dial: Dial | None
    bend: int


def first_big_step(setup: Setup, both: BothUnits, marks: tuple[StepLine, ...]) -> BigStep:
    """The stick before the first bend: cut, and marked with its `mark_lines`."""
    sheets = {one: SetupView(setup, one) for one in both.every}
    cut = both.each(lambda one: one.length(sheets[one].stick))
    return BigStep("Cut and mark", (StepLine("Cut", cut, "write A on one end, B on the other"), *marks), None, 0)


def big_steps(setup: Setup, both: BothUnits) -> tuple[BigStep, ...]:
    """The bends, in the order made."""
    sheets = {one: SetupView(setup, one) for one in both.every}
    found = []
    for i, step in enumerate(setup.steps):
        before = setup.steps[i - 1] if i else None
        lines = []
        die, last = step.die.name if step.die else None, before.die.name if before and before.die else None
        if die is not None and (before is None or die != last):
            lines.append(StepLine("Die", die, "put it on" if before is None else "change to it"))
        elif die is None and (before is None or last is not None):
            lines.append(StepLine("Die", "none", "the shop file has no die for this bend: see its findings"))
        lines.append(_feed(setup, step, before, sheets, both))
        lines.append(_turn(sheets, i, both))
        if step.inverted is not None:
            lines.append(StepLine("Clamp", "turned over", "and back after this bend"))
        lines.append(
            StepLine(
                "Stop",
                stop_text(step, both),
                f"comes out at {both.angle(step.comes_out)}; {springback_source(step.springback)}",
            )
        )
        found.append(BigStep(f"Bend {step.bend}", tuple(lines), _dial(setup, step) if i else None, step.bend))
    return tuple(found)


def mark_lines(setup: Setup, both: BothUnits) -> tuple[StepLine, ...]:
    """Every mark on a line of its own, the nearest to the end fed first ahead; trim marks last."""
    sheets = {one: SetupView(setup, one) for one in both.every}
    first = setup.feed_from
    marks = tuple(
        StepLine(
            f"Bend {step.bend}",
            both.each(lambda one, step=step: one.length(sheets[one].mark(first, step))),  # type: ignore[misc]
            f"from end {first}" if not i else "",
        )
        for i, step in enumerate(sheets[both.every[0]].along)
    )
    return marks + trim_lines(setup, both, "from end")


def trim_lines(setup: Setup, both: BothUnits, words: str = "off end") -> tuple[StepLine, ...]:
    """What is trimmed at either end after bending."""
    sheets = {one: SetupView(setup, one) for one in both.every}
    return tuple(
        StepLine(
            f"Trim {end}",
            both.each(lambda one, end=end: one.length(sheets[one].trim(end))),  # type: ignore[misc]
            f"{words} {end}",
        )
        for end in "AB"
        if sheets[both.every[0]].trim(end) > 0.0
    )


def cut_lines(joint: Joint, both: BothUnits) -> tuple[StepLine, ...]:
    """What a saw or a hole saw is set to for an end; how far the cut reaches where it is cut to a template."""
    saw, length = joint.hole_saw, both.length
    if saw is not None:
        return (
            StepLine("Hole saw", length(saw.size), "" if saw.owned else "wanted: the shop file has none of this size"),
            StepLine("Tilt", both.angle(saw.from_square), "from square"),
            StepLine("Offset", length(saw.offset), "of the saw's axis from the tube's"),
            StepLine("Depth", length(saw.depth), "; ".join(("at least", *saw_notes(saw, both)))),
        )
    if joint.is_square:
        return (StepLine("Saw", both.angle(0.0), "square to the tube"),)
    if joint.end_cut.saw_angle is not None:
        return (StepLine("Saw", both.angle(joint.end_cut.saw_angle), "from square"),)
    flats = joint.end_cut.flat_cuts
    sawn = [StepLine("Saw", both.angle(cut.angle), f"from square, along {cut.mate}") for cut in flats]
    return (
        *sawn,
        StepLine("Long point", length(joint.long_point), "back from the centerline's end"),
        StepLine("Short point", length(joint.short_point), "back from the centerline's end"),
    )


def _feed(setup: Setup, step: Step, before: Step | None, sheets: dict[Display, SetupView], both: BothUnits) -> StepLine:
    offset = step.die is not None and step.die.mark_offset is not None
    where = "at the die's mark line" if offset else "where the bend starts on the die"
    value = both.each(lambda one: one.length(sheets[one].mark(setup.feed_from, step)))
    if before is None:
        return StepLine("Feed to", value, f"end {setup.feed_from} first; its mark {where}")
    if step.mark > before.mark:
        return StepLine("Feed to", value, f"its mark from end {setup.feed_from}, {where}")
    return StepLine("Draw back to", value, f"its mark from end {setup.feed_from}, {where}")


def _turn(sheets: dict[Display, SetupView], i: int, both: BothUnits) -> StepLine:
    setup = sheets[both.every[0]].setup
    turn = setup.steps[i].turn_set
    if not i:
        return StepLine(
            "Turn", "as it lies", "first bend: draw a line along the stick to turn by" if len(setup.steps) > 1 else ""
        )
    if not turn:
        return StepLine("Turn", "not at all", "same plane as the bend before")
    around = both.each(lambda one: _after(sheets[one].around(i), " around the outside"))
    if is_half(turn):
        return StepLine("Turn", both.angle(180.0), around, "half round")
    first, other, theirs = setup.feed_from, sheets[both.every[0]].other, turn_words(-turn)
    note = f"seen from end {first} toward end {other}; {theirs} for who stands at end {other}"
    return StepLine("Turn", both.angle(abs(turn)), f"{note}; {around}" if around else note, turn_words(turn))


def _after(text: str, words: str) -> str:
    """A text and what goes with it; '' for none."""
    return f"{text}{words}" if text else ""


def _dial(setup: Setup, step: Step) -> Dial | None:
    """The tube's turn as an arrow on a clock face; None where it is not turned."""
    turn = step.turn_set
    if not turn:
        return None
    other = "B" if setup.feed_from == "A" else "A"
    # seen from the end fed first toward the other a positive turn goes clockwise
    sense = 1.0 if turn > 0.0 else -1.0
    size = min(abs(turn), 180.0)

    def at(degrees: float, radius: float) -> str:
        a = radians(sense * degrees)
        return f"{50.0 + radius * sin(a):.1f} {50.0 - radius * cos(a):.1f}"

    head = min(14.0, size / 2.0)
    arc = f"M{at(0.0, 36.0)}A36 36 0 0 {1 if sense > 0.0 else 0} {at(size - head / 2.0, 36.0)}"
    tip = f"M{at(size - head, 28.0)}L{at(size, 36.0)}L{at(size - head, 44.0)}Z"
    return Dial(
        arc + tip,
        f"Turn the tube {turn_words(turn)}, seen from end {setup.feed_from} toward end {other}",
        setup.feed_from,
    )
