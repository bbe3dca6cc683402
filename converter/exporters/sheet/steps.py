"""One step at the bender, large enough to read at arm's length: feed to, turn, stop."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

from converter.bending.setup import Setup, Step
from converter.bending.setup_words import Sheet, turn_words
from converter.units import BothUnits

_KNOWN = {
    "tests": "springback from test bends",
    "estimate": "springback by estimate: prove it",
    "none": "springback not known: bend short and measure",
}


@dataclass(frozen=True, slots=True)
class Dial:
    """The roll as a clock face, seen from the end fed first toward the other, as everywhere in the set-up.

    Attributes:
        path: of the arc and its arrow head, in a square of 100 with y down, SVG path data.
        words: what it shows.
        end: letter of the end that is looked at.
    """

    path: str
    words: str
    end: str


@dataclass(frozen=True, slots=True)
class Line:
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
        dial: the roll as a picture, or None.
        bend: number of the bend, 0 for the stick before the first.
    """

    title: str
    lines: tuple[Line, ...]
    dial: Dial | None
    bend: int


def first_big_step(setup: Setup, both: BothUnits) -> BigStep:
    """The stick before the first bend: cut and marked."""
    sheets = {one.unit: Sheet(setup, one) for one in both.alone}
    first = setup.feed_from
    steps = sorted(setup.steps, key=lambda step: step.mark)
    # a number, its unit and its bend stay on one line
    places = [
        both.each(lambda one, step=step: _kept(one.length(sheets[one.unit].mark(first, step))))  # type: ignore[misc]
        for step in steps
    ]
    marks = "; ".join(f"{at}\u00a0(bend\u00a0{step.bend})" for at, step in zip(places, steps, strict=True))
    return BigStep(
        "Cut and mark",
        (
            Line(
                "Cut", both.each(lambda one: one.length(sheets[one.unit].stick)), "write A on one end, B on the other"
            ),
            Line("Mark" if len(steps) == 1 else "Marks", marks, f"all measured from end {first}"),
        ),
        None,
        0,
    )


def _kept(text: str) -> str:
    """The same with blanks at which no line ends."""
    return text.replace(" ", "\u00a0")


def big_steps(setup: Setup, both: BothUnits) -> tuple[BigStep, ...]:
    """The bends, in the order made."""
    sheets = {one.unit: Sheet(setup, one) for one in both.alone}
    found = []
    for i, step in enumerate(setup.steps):
        before = setup.steps[i - 1] if i else None
        lines = []
        die, last = step.die.name if step.die else None, before.die.name if before and before.die else None
        if die is not None and (before is None or die != last):
            lines.append(Line("Die", die, "put it on" if before is None else "change to it"))
        elif die is None and (before is None or last is not None):
            lines.append(Line("Die", "none", "the shop file has no die for this bend: see its findings"))
        lines.append(_feed(setup, step, before, sheets, both))
        lines.append(_turn(setup, step, before, both))
        if step.inverted is not None:
            lines.append(Line("Clamp", "turned over", "and back after this bend"))
        lines.append(
            Line(
                "Stop",
                both.angle(step.stop),
                f"comes out at {both.angle(step.target)}; {_KNOWN[step.springback.source]}",
            )
        )
        found.append(BigStep(f"Bend {step.bend}", tuple(lines), _dial(setup, step) if i else None, step.bend))
    return tuple(found)


def _feed(setup: Setup, step: Step, before: Step | None, sheets: dict[str, Sheet], both: BothUnits) -> Line:
    offset = step.die is not None and step.die.mark_offset is not None
    where = "at the die's mark line" if offset else "where the bend starts on the die"
    value = both.each(lambda one: one.length(sheets[one.unit].mark(setup.feed_from, step)))
    if before is None:
        return Line("Feed to", value, f"end {setup.feed_from} first; its mark {where}")
    if step.mark > before.mark:
        return Line("Feed to", value, f"its mark from end {setup.feed_from}, {where}")
    return Line("Draw back to", value, f"its mark from end {setup.feed_from}, {where}")


def _turn(setup: Setup, step: Step, before: Step | None, both: BothUnits) -> Line:
    if before is None:
        return Line(
            "Turn", "as it lies", "first bend: draw a line along the stick to turn by" if len(setup.steps) > 1 else ""
        )
    if not step.roll:
        return Line("Turn", "not at all", "same plane as the bend before")
    other = "B" if setup.feed_from == "A" else "A"
    around = "" if step.roll_arc is None else f"{both.length(abs(step.roll_arc))} around the outside"
    if abs(step.roll) > 180.0 - 1e-9:
        return Line("Turn", both.angle(180.0), around, "half round")
    mine, theirs = turn_words(step.roll), turn_words(-step.roll)
    note = f"seen from end {setup.feed_from} toward end {other}; {theirs} for who stands at end {other}"
    return Line("Turn", both.angle(abs(step.roll)), f"{note}; {around}" if around else note, mine)


def _dial(setup: Setup, step: Step) -> Dial | None:
    """The roll as an arrow on a clock face; None where the tube is not turned."""
    if not step.roll:
        return None
    other = "B" if setup.feed_from == "A" else "A"
    # seen along the direction of feed a positive roll goes clockwise
    sense = 1.0 if step.roll > 0.0 else -1.0
    size = min(abs(step.roll), 180.0)

    def at(degrees: float, radius: float) -> str:
        a = radians(sense * degrees)
        return f"{50.0 + radius * sin(a):.1f} {50.0 - radius * cos(a):.1f}"

    head = min(14.0, size / 2.0)
    arc = f"M{at(0.0, 36.0)}A36 36 0 0 {1 if sense > 0.0 else 0} {at(size - head / 2.0, 36.0)}"
    tip = f"M{at(size - head, 28.0)}L{at(size, 36.0)}L{at(size - head, 44.0)}Z"
    turned = "half round" if size > 180.0 - 1e-9 else turn_words(step.roll)
    return Dial(
        arc + tip, f"Turn the tube {turned}, seen from end {setup.feed_from} toward end {other}", setup.feed_from
    )
