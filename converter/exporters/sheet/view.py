"""The job sheet in words: everything its page shows, as text, in both units, before it becomes HTML.

Lengths stay written in both units at once (`converter.units.BothUnits`); `converter.exporters.sheet.roundings` turns
them into HTML. Names and messages are raw.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from converter.bending.setup.setup import Setup
from converter.bending.setup.words import CUT_NOTHING, NO_CUT_LENGTH, NO_SET_UP, NOT_AS_DRAWN, SetupView
from converter.exporters.sheet.content import DrawingPage, JobSheet, PartPage, PlacedTube
from converter.exporters.sheet.steps import (
    BigStep,
    StepLine,
    big_steps,
    cut_lines,
    first_big_step,
    mark_lines,
    trim_lines,
)
from converter.findings import ERROR, SEVERITIES, Finding
from converter.findings.wording import counted, cure, grouped, message, without_place
from converter.job.quotation import QUOTATION_HEADS, money_text, quotation_rows
from converter.joints.model import PLANE, Joint
from converter.quoting import visible
from converter.shop.sections import describe
from converter.units import BothUnits, Display
from converter.words import (
    cut_to,
    mass_text,
    points_text,
    room_text,
    saw_cut_text,
    saw_text,
    sign_meanings,
    springback_source,
    stick_sides_text,
    stop_text,
    total_mass_text,
)


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do and tick off.

    Attributes:
        key: a name for the page's memory.
        text: a sentence or a few.
        lines: its few numbers; of a bend () as they are those of its step at the bender.
        caption: of its picture in bench view, or ''.
        table: what stands below its text, which speaks of it.
    """

    key: str
    text: str
    lines: tuple[StepLine, ...] = ()
    caption: str = ""
    table: tuple[StepLine, ...] = ()


@dataclass(frozen=True, slots=True)
class SetupRow:
    """One bend as set up: cells of the table, in its order."""

    bend: int
    cells: tuple[str, ...]
    bad: bool


@dataclass(frozen=True, slots=True)
class EndView:
    """One cut end: its letter, what it is cut to, and pairs of a label and a text."""

    end: str
    head: str
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class FindingView:
    """What is said once for all tubes and bends it holds for: severity, sentence, the same without its place, cure."""

    severity: str
    message: str
    short: str
    cure: str


@dataclass(frozen=True)
class PartView:
    """One part on the page; all texts raw, lengths in both units.

    Attributes:
        page: what it shows.
        names: of its tubes, every character showing.
        section, metal, die, stick, mass: facts of the list of parts.
        facts: label and text, in order.
        steps: in the bender, in the order made; () where it cannot be bent so or has no bends.
        before: the stick before the first bend, or None.
        setup_heads, setup_rows: the set-up table.
        bends: rows of the bend table: bend, feed, rotation, angle, radius.
        tail: straight after the last bend.
        tasks: what to do, in order.
        springback: where the stops come from, a sentence or a few for each die.
        ends: the cut ends.
        notes: what else holds for its set-up, a sentence each.
        blocked: why there are no instructions, or ''.
        findings: everything said of it, equal ones once.
        places: of several pieces: name, and what end A and end B of each are cut to.
    """

    page: PartPage
    names: tuple[str, ...]
    section: str
    metal: str
    die: str
    stick: str
    mass: str
    facts: tuple[tuple[str, str], ...]
    steps: tuple[BigStep, ...]
    before: BigStep | None
    setup_heads: tuple[str, ...]
    setup_rows: tuple[SetupRow, ...]
    bends: tuple[tuple[str, ...], ...]
    tail: str
    tasks: tuple[Task, ...]
    springback: tuple[str, ...]
    ends: tuple[EndView, ...]
    notes: tuple[str, ...]
    blocked: str
    findings: tuple[FindingView, ...]
    places: tuple[tuple[str, str, str], ...]


def sheet_facts(page: JobSheet, both: BothUnits) -> tuple[tuple[str, str], ...]:
    """Label and text for the head of the sheet."""
    shop = page.job.shop
    tubes = sum(part.count for part in page.parts)
    bends = sum(part.count * len(part.tube.run.table.bends) for part in page.parts)
    kinds = f" ({len(page.parts)} different)" if len(page.parts) < tubes else ""
    names = [PurePath(drawing.source).name for drawing in page.drawings]
    facts = [
        ("Drawing" if len(names) == 1 else "Drawings", ", ".join(names)),
        ("Shop", shop.name + (" (invented)" if shop.is_demo else "")),
        ("Tubes", f"{tubes}{kinds}, with {counted(bends, 'bend')}"),
        ("Mass of all tubes", total_mass_text([part.mass for part in page.parts for _ in part.pieces], both)),
    ]
    return tuple(facts)


@dataclass(frozen=True, slots=True)
class QuotationView:
    """What a job comes to: whose rates and which money, a row per part and one for all, what holds for it."""

    rates: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


def quotation_view(page: DrawingPage, display: Display) -> QuotationView | None:
    """The quotation of a drawing, lengths with their unit; None where it was not asked for."""
    estimate = page.quotation
    if estimate is None:
        return None
    return QuotationView(
        f"Rates of {page.job.shop.name}; {money_text(estimate)}.",
        QUOTATION_HEADS,
        tuple(map(tuple, quotation_rows(estimate, display, units=True))),
        (*(f"{one.message_in(display)} {one.cure_in(display)}" for one in estimate.findings), *estimate.notes),
    )


def findings_view(findings: Sequence[Finding], both: BothUnits) -> tuple[FindingView, ...]:
    """Findings as the page shows them, in order."""

    def view(alike: tuple[Finding, ...]) -> FindingView:
        first = alike[0]
        return FindingView(
            first.severity,
            both.each(lambda one: message(alike, one)),
            both.each(lambda one: without_place(alike, one)),
            both.each(lambda one: cure(alike, one)),
        )

    return tuple(map(view, grouped(findings, both)))


@dataclass(frozen=True, slots=True)
class Brief:
    """The worst finding of one part, or of several of which the same is said, and how many more each of them has."""

    parts: tuple[PartPage, ...]
    short: str
    more: int


def in_brief(parts: Sequence[PartView]) -> list[Brief]:
    """The worst finding of every part that has one, the worst first; parts of which the same is said together."""
    alike: dict[tuple[str, str, int], list[PartPage]] = {}
    for part in parts:
        if part.findings:
            first, *others = part.findings
            alike.setdefault((first.severity, first.short, len(others)), []).append(part.page)
    ranked = sorted(alike.items(), key=lambda item: SEVERITIES.index(item[0][0]))
    return [Brief(tuple(pages), short, more) for (_, short, more), pages in ranked]


def part_view(part: PartPage, both: BothUnits) -> PartView:
    """One part, its lengths in both units."""
    tube, setup = part.tube, part.setup
    sheets = {one: SetupView(setup, one, part.refusal) for one in both.every} if setup else {}
    table = tube.run.table
    section = describe(tube.section, both) if tube.section else "not known"
    if setup and setup.is_nothing:
        stick = NO_CUT_LENGTH
    elif setup:
        stick = both.each(lambda one: one.length(sheets[one].stick)) + _extras(setup, sheets, both)
    else:
        stick = both.length(table.developed_length)
    dies = dict.fromkeys(step.die.name for step in setup.steps if step.die) if setup else {}
    die = ", ".join(dies or part.dies) or "none"
    mass = mass_text(part.mass, both)
    facts = [
        *part.facts,
        ("Section", section),
        ("Metal", tube.metal or "not named"),
        ("Die", die if table.bends else "none needed"),
        ("Cut length", stick),
    ]
    if setup and setup.steps:
        order = "" if setup.plan.is_simple else f"; bends in the order {', '.join(str(s.bend) for s in setup.steps)}"
        facts.append(("First into the bender", f"end {setup.feed_from}{order}"))
    facts += [
        ("Bends", str(len(table.bends))),
        ("Along the centerline", both.length(table.developed_length)),
        ("Mass", mass + (" each" if part.count > 1 and part.mass is not None else "")),
    ]
    if part.over_cut_ends is not None:
        facts.append(("Over the cut ends", both.length(part.over_cut_ends)))
    if part.length is not None and part.joints and (sides := stick_sides_text(part.length, both)):
        facts.append(("Saw cuts", sides))
    steps = big_steps(setup, both) if setup and not setup.plan.lacks and part.refusal is None else ()
    marks = mark_lines(setup, both) if setup else ()
    before = first_big_step(setup, both, marks) if setup else None
    return PartView(
        page=part,
        names=tuple(map(visible, part.part.names)),
        section=section,
        metal=tube.metal or "",
        die=die if table.bends else "none needed",
        stick=stick,
        mass=mass,
        facts=tuple(facts),
        steps=steps,
        before=before if steps else None,
        setup_heads=_SETUP_HEADS,
        setup_rows=_setup_rows(part, sheets, both),
        bends=tuple(
            (
                str(number),
                both.length(bend.feed),
                both.angle(bend.rotation),
                both.angle(bend.angle),
                "none" if bend.clr is None else both.length(bend.clr),
            )
            for number, bend in enumerate(table.bends, 1)
        ),
        tail=both.length(table.tail),
        tasks=_tasks(part, sheets, both, before.lines[:1] if before else (), marks),
        springback=_springback(part),
        ends=tuple(_end(joint, both) for joint in part.joints),
        notes=_notes(part, sheets, both),
        blocked=_blocked(part, both),
        findings=findings_view(part.findings, both),
        places=tuple((piece.tube.name, *place_words(piece)) for piece in part.pieces) if part.count > 1 else (),
    )


def place_words(piece: PlacedTube) -> tuple[str, str]:
    """What a piece is cut to at the part's end A and end B."""
    a, b = ("; ".join(words for letter, words in piece.ends if letter == end) or "cut square" for end in "AB")
    return a, b


_SETUP_HEADS = (
    "Mark from A", "Mark from B", "Die", "Stop", "Comes out at", "Turn the tube", "Around the outside", "Turned in all",
)  # fmt: skip


def _setup_rows(part: PartPage, sheets: dict[Display, SetupView], both: BothUnits) -> tuple[SetupRow, ...]:
    setup = part.setup
    if setup is None:
        return ()

    def mark(end: str, i: int) -> str:
        return both.each(lambda one: one.length(sheets[one].mark(end, setup.steps[i])))

    def around(i: int) -> str:
        return both.each(lambda one: sheets[one].around(i) or "–")

    rows = []
    for i, step in enumerate(setup.steps):
        if step.bend in part.bad_bends:
            rows.append(SetupRow(step.bend, ("not to be made", *["–"] * (len(_SETUP_HEADS) - 1)), True))
            continue
        turned = i > 0
        rows.append(
            SetupRow(
                step.bend,
                (
                    mark("A", i),
                    mark("B", i),
                    step.die.name if step.die else "none",
                    stop_text(step, both),
                    both.angle(step.comes_out),
                    sheets[both.every[0]].turn(step) if turned else "as it lies",
                    around(i),
                    sheets[both.every[0]].so_far(step) if turned else "–",
                ),
                False,
            )
        )
    return tuple(rows)


def _extras(setup: Setup, sheets: dict[Display, SetupView], both: BothUnits) -> str:
    parts = [
        f"{both.each(lambda one, end=end: one.length(sheets[one].trim(end)))} of it trimmed off end {end}"  # type: ignore[misc]
        for end, extra in (("A", setup.extra_a), ("B", setup.extra_b))
        if extra > 0.0
    ]
    words = f" ({' and '.join(parts)})" if parts else ""
    return words + ("; the stretch of the bends is taken off" if setup.stretches else "")


def _tasks(
    part: PartPage,
    sheets: dict[Display, SetupView],
    both: BothUnits,
    cut: tuple[StepLine, ...],
    marks: tuple[StepLine, ...],
) -> tuple[Task, ...]:
    """Cut, mark, each bend, trim, measure, cope: what a person ticks."""
    setup = part.setup
    texts = {one: sheet.instructions() for one, sheet in sheets.items()}
    if setup is None or not texts[both.every[0]]:  # it cannot be bent, or nothing is known to set up
        return ()
    lines = [both.each(_line(texts, i)) for i in range(len(texts[both.every[0]]))]
    bends = [f"bend-{step.bend}" for step in setup.steps]
    keys = ["cut", "mark", *bends] if bends else ["cut"]
    keys += ["trim"] * any(sheets[both.every[0]].trim(end) > 0.0 for end in "AB")
    keys += [f"cut-{end}" for end in setup.cuts.by_end]
    lines_of: dict[str, tuple[StepLine, ...]] = {"cut": cut, "mark": marks, "trim": trim_lines(setup, both)}
    lines_of |= {f"cut-{joint.end}": cut_lines(joint, both) for joint in part.joints}
    zero = {
        f"cut-{joint.end}": f"The zero line is {both.each(joint.zero_in)}."
        for joint in part.joints
        if not joint.is_square
    }
    listed = [bool(sheets[both.every[0]].mark_rows(text)) for text in texts[both.every[0]]]
    tasks = [
        Task(key, text, lines_of.get(key, ()), zero.get(key, ""), lines_of["mark"] if below else ())
        for key, text, below in zip(keys, lines, listed, strict=True)
    ]
    if bends:
        in_order = sorted(setup.steps, key=lambda step: step.bend)
        angles = tuple(StepLine(f"Bend {step.bend}", both.angle(step.target), "") for step in in_order)
        text = "Measure each bend of the tube, and write down what its stop gave."
        tasks.insert(2 + len(bends), Task("measured", text, table=angles))
    return tuple(tasks)


def _line(texts: dict[Display, list[str]], i: int) -> Callable[[Display], str]:
    return lambda one: texts[one][i]


def _springback(part: PartPage) -> tuple[str, ...]:
    """Where the stops come from, once for each die and note."""
    if part.setup is None:
        return ()
    found: dict[str, None] = {}
    for step in part.setup.steps:
        name = f"Die {step.die.name}" if step.die else "No die"
        found[f"{name}: {springback_source(step.springback)}. {step.springback.note}".strip()] = None
    return tuple(found)


def _notes(part: PartPage, sheets: dict[Display, SetupView], both: BothUnits) -> tuple[str, ...]:
    setup = part.setup
    if setup is None or not setup.steps:
        return ()
    kept = next(iter(sheets.values())).kept_steps
    notes = [both.each(lambda shown: " ".join(sheets[shown].rounding_notes()))] if kept else []
    notes += sign_meanings(kept)
    notes.append(f"Room around the bender: {room_text(setup, both)}.")
    return tuple(notes)


def refusal(part: PartPage, display: Display) -> str:
    """The first error, and how many more there are, before all else; '' where there is none."""
    errors = [alike for alike in grouped(part.findings, display) if alike[0].severity == ERROR]
    if not errors:
        return ""
    first = display.each(lambda one: _cut_short(message(errors[0], one)))
    more = f" And {len(errors) - 1} more, named below." if len(errors) > 1 else ""
    return f"{NOT_AS_DRAWN.capitalize()}: {first}{more} {CUT_NOTHING}"


#: An error of more letters is cut short at the top; it stands in full among the findings.
_LONG_ERROR = 400


def _cut_short(text: str) -> str:
    return text if len(text) <= _LONG_ERROR else f"{text[:_LONG_ERROR].rstrip()} … (in full below)"


def _blocked(part: PartPage, both: BothUnits) -> str:
    setup, words = part.setup, [refusal(part, both)]
    if setup is not None and setup.plan.lacks:
        words.append("This tube cannot be bent so: the bender cannot hold it. See its findings.")
    elif setup is not None and setup.lacking:
        words.append(f"There is no set-up of this tube: {NO_SET_UP[setup.lacking]}.")
    return " ".join(filter(None, words))


def _end(joint: Joint, both: BothUnits) -> EndView:
    if joint.is_square:
        facts = [("Where", points_text(joint, both))]
        if joint.corner_gap > 0.0:
            facts.append(("Open at the corner radii, up to", both.length(joint.corner_gap)))
        return EndView(joint.end, cut_to(joint), tuple(facts))
    sawn = saw_cut_text(joint, both) if joint.hole_saw is None else ""
    facts = [
        ("Between the tubes" if joint.kind != PLANE else "To the plane", both.angle(joint.angle)),
        ("Off its centerline", both.length(joint.offset)),
        ("Long point, back from the end", both.length(joint.long_point)),
        ("Short point, back from the end", both.length(joint.short_point)),
        ("Clocking: the zero line is", both.each(joint.zero_in)),
        ("Saw", sawn)
        if sawn
        else ("Hole saw", saw_text(joint.hole_saw, both) if joint.hole_saw else "no single hole saw makes this cut"),
    ]
    if joint.gap > 0.0:
        facts.insert(2, ("Weld gap", both.length(joint.gap)))
    return EndView(joint.end, cut_to(joint), tuple(facts))
