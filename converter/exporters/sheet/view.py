"""The job sheet in words: everything its page shows, as text, in both units, before it becomes HTML.

Lengths stay written in both units at once (`converter.units.BothUnits`); `said.said` turns them into HTML.
Names and messages are raw.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from converter.bending.setup import Setup
from converter.bending.setup_words import Sheet
from converter.exporters.cope_words import cut_to, saw_words
from converter.exporters.sheet.content import JobPage, RunPage, total_mass
from converter.exporters.sheet.steps import BigStep, big_steps, first_big_step
from converter.findings import Finding
from converter.joints.model import PLANE, Joint
from converter.shop.sections import describe
from converter.units import BothUnits, Display

_KG_PER_LB = 0.45359237  # exact, by the agreement of 1959
SOURCES = {"tests": "test bends", "estimate": "an estimate", "none": "not known"}
#: What stands behind a stop whose springback is not tested.
SIGNS = {"tests": "", "estimate": "~", "none": "?"}


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do and tick off: a name for the page's memory, and a sentence or a few."""

    key: str
    text: str


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


@dataclass(frozen=True)
class RunView:
    """One tube on the page; all texts raw, lengths in both units.

    Attributes:
        page: what it shows.
        section, metal, die, stick, mass: facts of the list of runs.
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
    """

    page: RunPage
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


def both_of(display: Display) -> BothUnits:
    """A display that writes both units, the given one first."""
    return display if isinstance(display, BothUnits) else BothUnits(display.unit, None, display.denominator)


def mass_text(kg: float | None, both: BothUnits) -> str:
    """``4.12 kg`` and ``9.08 lb``; a dash where it is not known."""
    if kg is None:
        return "not known"
    return both.each(lambda one: f"{kg:.2f} kg" if one.unit == "mm" else f"{kg / _KG_PER_LB:.2f} lb")


def job_facts(job: JobPage, both: BothUnits) -> tuple[tuple[str, str], ...]:
    """Label and text for the head of the sheet."""
    shop = job.job.cope.shop
    runs = len(job.runs)
    bends = sum(len(run.tube.run.table.bends) for run in job.runs)
    facts = [
        ("Drawing", "standard input" if job.job.source == "-" else PurePath(job.job.source).name),
        ("Shop", job.job.shop_name + (" (invented)" if shop is not None and shop.is_demo else "")),
        ("Runs", f"{runs}, with {bends} bend{'' if bends == 1 else 's'}"),
        ("Mass of all runs", _total_mass(job, both)),
    ]
    return tuple(facts)


def _total_mass(job: JobPage, both: BothUnits) -> str:
    total = total_mass(job.runs)
    known = [run.mass for run in job.runs if run.mass is not None]
    if total is not None or not known:
        return mass_text(total, both)
    return f"{mass_text(sum(known), both)} for {len(known)} of them; the others' metal or section is not known"


def run_view(run: RunPage, both: BothUnits, known: dict[str, RunPage]) -> RunView:
    """One tube.

    Args:
        run: the tube.
        both: how lengths are written.
        known: the runs by key.
    """
    tube, setup = run.tube, run.setup
    sheets = {one.unit: Sheet(setup, one) for one in both.alone} if setup else {}
    table = tube.run.table
    section = describe(tube.section, both) if tube.section else "not known"
    stick = both.each(lambda one: one.length(sheets[one.unit].stick)) if sheets else both.length(table.developed_length)
    dies = dict.fromkeys(step.die.name for step in setup.steps if step.die) if setup else {}
    die = ", ".join(dies) or tube.die or "none"
    mass = mass_text(run.mass, both)
    facts = [
        ("Section", section),
        ("Metal", tube.metal or "not named"),
        ("Die", die if table.bends else "none needed"),
        ("Stick to cut", stick + (_extras(setup, sheets, both) if setup else "")),
    ]
    if setup and setup.steps:
        order = "" if setup.plan.plain else f"; bends in the order {', '.join(str(s.bend) for s in setup.steps)}"
        facts.append(("First into the bender", f"end {setup.feed_from}{order}"))
    facts += [
        ("Bends", str(len(table.bends))),
        ("Along the centerline", both.length(table.developed_length)),
        ("Mass", mass),
    ]
    if run.length is not None and run.joints:
        facts.append(("Metal, end to end of the copes", both.length(run.length.cut)))
    steps = big_steps(setup, both) if setup and not setup.plan.lacks else ()
    return RunView(
        page=run,
        section=section,
        metal=tube.metal or "",
        die=die if table.bends else "none needed",
        stick=stick,
        mass=mass,
        facts=tuple(facts),
        steps=steps,
        before=first_big_step(setup, both) if setup and steps else None,
        setup_heads=_SETUP_HEADS,
        setup_rows=_setup_rows(run, sheets, both),
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
        tasks=_tasks(run, sheets, both),
        springback=_springback(run),
        ends=tuple(_end(joint, both) for joint in run.joints),
        notes=_notes(run, sheets, both, known),
        blocked=_blocked(run),
    )


_SETUP_HEADS = (
    "Mark from A", "Mark from B", "Die", "Stop", "Comes out at", "Roll", "Around the outside", "Rolled so far",
    "Turn the tube",
)  # fmt: skip


def _setup_rows(run: RunPage, sheets: dict[str, Sheet], both: BothUnits) -> tuple[SetupRow, ...]:
    setup = run.setup
    if setup is None:
        return ()

    def mark(end: str, i: int) -> str:
        return both.each(lambda one: one.length(sheets[one.unit].mark(end, setup.steps[i])))

    rows = []
    for i, step in enumerate(setup.steps):
        turned = i > 0
        rows.append(
            SetupRow(
                step.bend,
                (
                    mark("A", i),
                    mark("B", i),
                    step.die.name if step.die else "none",
                    both.angle(step.stop) + SIGNS[step.springback.source],
                    both.angle(step.target),
                    both.angle(step.roll) if turned else "–",
                    both.length(abs(step.roll_arc)) if turned and step.roll_arc is not None else "–",
                    both.angle(step.total) if turned else "–",
                    (sheets["mm"].turn(step) or "not at all") if turned else "as it lies",
                ),
                step.bend in run.bad_bends,
            )
        )
    return tuple(rows)


def _extras(setup: Setup, sheets: dict[str, Sheet], both: BothUnits) -> str:
    parts = [
        f"{both.each(lambda one, end=end: one.length(sheets[one.unit].trim(end)))} of it trimmed off end {end}"  # type: ignore[misc]
        for end, extra in (("A", setup.extra_a), ("B", setup.extra_b))
        if extra > 0.0
    ]
    words = f" ({' and '.join(parts)})" if parts else ""
    return words + ("; the stretch of the bends is taken off" if setup.stretches else "")


def _tasks(run: RunPage, sheets: dict[str, Sheet], both: BothUnits) -> tuple[Task, ...]:
    """Cut, mark, each bend, trim, measure, cope: what a person ticks."""
    setup = run.setup
    if setup is None or setup.plan.lacks:
        return ()
    texts = {unit: sheet.instructions() for unit, sheet in sheets.items()}
    lines = [both.each(_line(texts, i)) for i in range(len(texts["mm"]))]
    bends = [f"bend-{step.bend}" for step in setup.steps]
    keys = ["cut", "mark", *bends] if bends else ["cut"]
    keys += ["trim"] * any(sheets["mm"].trim(end) > 0.0 for end in "AB")
    keys += [f"cut-{end}" for end in setup.coped]
    tasks = [Task(key, line) for key, line in zip(keys, lines, strict=True)]
    if bends:
        angles = ", ".join(f"bend {s.bend} {both.angle(s.target)}" for s in sorted(setup.steps, key=lambda s: s.bend))
        after = 2 + len(bends)
        tasks.insert(after, Task("measured", f"Measure the tube: {angles}. Write down what each stop gave."))
    return tuple(tasks)


def _line(texts: dict[str, list[str]], i: int) -> Callable[[Display], str]:
    return lambda one: texts[one.unit][i]


def _springback(run: RunPage) -> tuple[str, ...]:
    """Where the stops come from, once for each die and note."""
    if run.setup is None:
        return ()
    found: dict[str, None] = {}
    for step in run.setup.steps:
        name = f"Die {step.die.name}" if step.die else "No die"
        known = step.springback
        count = f" ({known.count})" if known.source == "tests" and known.count else ""
        found[f"{name}: springback from {SOURCES[known.source]}{count}. {known.note}".strip()] = None
    return tuple(text.replace("springback from not known", "springback not known") for text in found)


def _notes(run: RunPage, sheets: dict[str, Sheet], both: BothUnits, known: dict[str, RunPage]) -> tuple[str, ...]:
    setup = run.setup
    notes = []
    if run.like is not None:
        notes.append(f"Made exactly like {known[run.like].name} (run {known[run.like].number}).")
    if setup is None or not setup.steps:
        return tuple(notes)
    off = both.each(
        lambda one: f"{sheets[one.unit].worst_rounding() / (25.4 if one.unit == 'in' else 1.0):.4f} {one.unit}"
    )
    notes.append(f"Each mark is rounded from its exact place, by {off} at most.")
    signs = {step.springback.source for step in setup.steps}
    if "estimate" in signs:
        notes.append("~ behind a stop: springback by estimate. Prove it on a trial bend.")
    if "none" in signs:
        notes.append("? behind a stop: springback not known, the stop is the angle itself. Bend short and measure.")
    notes.append(_room(run, both))
    return tuple(notes)


def _room(run: RunPage, both: BothUnits) -> str:
    found = run.setup.clearance if run.setup else None
    if found is None:
        return "Room around the bender: not worked out (the shop file does not say enough of the machine)."
    if found.least is None or found.against is None:
        return "Room around the bender: nothing comes near the tube while it is bent."
    if found.least < 0.0:
        return f"Room around the bender: it hits {found.against} in bend {found.bend}, by {both.length(-found.least)}."
    return f"Room around the bender: {both.length(found.least)} at least, to {found.against}, in bend {found.bend}."


def _blocked(run: RunPage) -> str:
    setup = run.setup
    if setup is not None and setup.plan.lacks:
        return "This run cannot be bent so: the bender cannot hold it. See its findings."
    if run.tube.run.table.bends and (setup is None or not setup.steps):
        return "This run has a corner without a radius, so there is no set-up. See its findings."
    return ""


def _end(joint: Joint, both: BothUnits) -> EndView:
    facts = [
        ("Between the tubes" if joint.kind != PLANE else "To the plane", both.angle(joint.angle)),
        ("Off its centerline", both.length(joint.offset)),
        ("Long point, back from the end", both.length(joint.long_point)),
        ("Short point, back from the end", both.length(joint.short_point)),
        ("Clocking: the zero line is", joint.zero),
        ("Hole saw", saw_words(joint.hole_saw, both) if joint.hole_saw else "no single hole saw makes this cut"),
    ]
    if joint.gap > 0.0:
        facts.insert(2, ("Weld gap", both.length(joint.gap)))
    return EndView(joint.end, cut_to(joint), tuple(facts))


def tally(findings: Sequence[Finding]) -> dict[str, int]:
    """How many of each severity."""
    return {name: sum(f.severity == name for f in findings) for name in ("error", "warning", "note")}
