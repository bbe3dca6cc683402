"""Set-ups as text: one block per part, to be printed and taken to the bender."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from converter.cli.screens.findings import bend_marks, findings_text, ignored_text, titled, with_marks
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.page import faint
from converter.cli.screens.table import part_lines, part_marks, to_cut_text
from converter.quoting import one_line
from converter.words import BOTH_TURNS, ROTATION, TURN, part_title, room_text, sign_meanings, stop_text

if TYPE_CHECKING:
    from converter.bending.setup.setup import Setup
    from converter.bending.setup.words import SetupView
    from converter.findings import Finding
    from converter.job import Job
    from converter.model.part import Part


def setups_text(job: Job, findings: Sequence[Finding], *, brief: bool = False, everything: bool = False) -> str:
    """The whole page: heading, tube by tube, what holds for all, findings.

    Args:
        job: whose set-ups.
        findings: those that are told here.
        brief: leave the instructions out.
        everything: show all findings with their details.
    """
    from converter.bending.setup.setup import mirrored
    from converter.bending.setup.words import CAUTIONS, CUT_LENGTHS, SetupView
    from converter.cli.screens.table import heading

    blocks = [heading(job)]
    alike: dict[tuple[str, ...], str] = {}
    are_marks_shown = False
    shown, marks, setups = job.shown, bend_marks(job.shown.findings), job.part_setups
    for part in shown.parts:
        setup = shown.setup_of[part.first.name]
        sheet = SetupView(setup, job.display, shown.refusal(part))
        are_marks_shown |= bool(sheet.kept_steps)
        # by all that would be done: two tubes are not alike because neither may be made
        first = alike.setdefault(_work_key(SetupView(setup, job.display)), part.name)
        like = None if first == part.name else f"to be made just like {first}"
        original = None if like or part.mirror_of is None else setups.get(part.mirror_of)
        if original is not None and part.mirror_of in alike.values() and mirrored(sheet.setup, original):
            like = f"to be made like {part.mirror_of}, with every turn the other way"
        blocks.append(setup_text(part, sheet, brief=brief, like=like, marks=marks))
    if len(shown.tubes) > 1:
        blocks.append(_to_cut(job))
    if are_marks_shown:
        legend = (
            f"{CUT_LENGTHS} Marks lie along the stick as cut. {TURN} Around: how far a point on the outside moves. "
            f"Turned in all: since the first bend made. {ROTATION} {BOTH_TURNS}"
        )
        blocks.append("\n".join(_wrapped(text) for text in ((legend,) if brief else (legend, *CAUTIONS))))
    if findings:
        blocks.append(findings_text(findings, job.display, everything=everything))
    left_out = ignored_text(job.drawing.ignored, job.display)
    if left_out:
        blocks.append(left_out)
    return "\n\n".join(blocks)


def _work_key(sheet: SetupView) -> tuple[str, ...]:
    """All that would be done, with every number of it."""
    return (*sheet.instructions(), *(text for row in sheet.mark_rows() for text in row))


def _to_cut(job: Job) -> str:
    """How many of each part are cut, and how long."""
    from converter.shop.sections import describe
    from converter.units import cut_length

    display, rows = job.display, []
    for part in job.shown.parts:
        setup, section = job.shown.setup_of[part.first.name], part.first.section
        stick = "none" if setup.is_nothing else cut_length(setup.stick_length, display)
        rows.append((part, stick, describe(section, display) if section else "section unknown"))
    return to_cut_text(rows, {part.name for part in job.shown.parts if job.shown.is_refused(part)})


def setup_text(
    part: Part,
    sheet: SetupView,
    *,
    brief: bool = False,
    like: str | None = None,
    marks: Mapping[tuple[str, int], str] | None = None,
) -> str:
    """One part: its tubes, cut length, end and order, a row per bend in the order made, room, instructions.

    Args:
        part: what to show.
        sheet: the set-up of its first tube.
        brief: leave the instructions out.
        like: how it is made where a part shown before tells it; its own instructions are left out.
        marks: of `converter.cli.screens.findings.bend_marks`: bends that something is said of.
    """
    from converter.bending.setup.words import CUT_NOTHING, NO_SET_UP, NOT_AS_DRAWN
    from converter.shop.sections import describe

    setup, display = sheet.setup, sheet.display
    tube = setup.tube
    about = [describe(tube.section, display) if tube.section else "section unknown"]
    about.append(one_line(tube.metal) if tube.metal else "metal not named")
    head = [titled(part_title(part), ", ".join(about)), *part_lines(part)]
    lines = [*head, _wrapped(_stick(sheet))]
    if setup.is_nothing:
        return "\n".join([*head, _wrapped("no cut length: its cuts leave nothing of it, see the findings below")])
    lines += [_wrapped(words) for words in sheet.cope_words()]
    if setup.steps:
        own_marks = part_marks(part, marks or {})
        said = {i: own_marks.get((tube.name, step.bend), "") for i, step in enumerate(setup.steps)}
        heads, rows, tint = with_marks(*_rows(sheet), {i: severity for i, severity in said.items() if severity})
        table = Grid(heads, rows, "rrrlrrlrll"[: len(heads)], fold=_TURNING, tint=tint).text()
        lines += [_wrapped(_order(setup)), "", table, ""]
        notes = " ".join([*sheet.rounding_notes(), *sign_meanings(sheet.kept_steps)])
        lines += [faint(line) for line in _wrapped(notes).split("\n")] if notes else []
        lines.append(_wrapped(f"room around the bender: {room_text(setup, display)}"))
    elif setup.lacking:
        lines.append(_wrapped(f"no set-up: {NO_SET_UP[setup.lacking]}"))
    if setup.plan.lacks:
        lines.append("  cannot be bent so: see the findings below")
    elif sheet.refusal is not None:
        lines.append(_wrapped(f"{NOT_AS_DRAWN}: see the findings below. {CUT_NOTHING}"))
    elif not brief and like is not None:
        by_template = any(cut.saw_angle is None for cut in setup.cuts.by_end.values())
        own = ", with its own templates for the cuts" if by_template else ""
        lines.append(_wrapped(f"{one_line(like)}{own}"))
    elif not brief:
        lines += [""] if setup.steps else []
        for i, text in enumerate(sheet.instructions(), 1):
            lines.append(_wrapped(text, f"{i:>4}. "))
            if marks_of := sheet.mark_rows(text):
                lines.append(Grid(["mark", f"from end {setup.feed_from}"], marks_of, "lr", indent=_UNDER_TEXT).text())
    return "\n".join(lines)


def _stick(sheet: SetupView) -> str:
    setup, length = sheet.setup, sheet.display.length
    extras = [
        f"{length(extra)} extra at end {end}"
        for end, extra in (("A", setup.extra_a), ("B", setup.extra_b))
        if extra > 0.0
    ]
    words = f"cut length {length(sheet.stick)}"
    if extras:
        words += f", {' and '.join(extras)} to be trimmed"
    if setup.stretches:
        words += ", the stretch of the bends taken off"
    return words


def _order(setup: Setup) -> str:
    words = f"end {setup.feed_from} first"
    if not setup.plan.is_simple:
        words += f", bends in the order {', '.join(str(step.bend) for step in setup.steps)}"
    return words


#: Where the text of a numbered instruction begins.
_UNDER_TEXT = 6
#: The column where a table too wide for its page is folded: how to turn the tube comes under where and how far.
_TURNING = 6


def _rows(sheet: SetupView) -> tuple[list[str], list[list[str]]]:
    """Heads and rows, in the order made."""
    from converter.bending.setup.words import NOT_AS_DRAWN

    display = sheet.display
    heads = ["bend", "mark from A", "from B", "die", "stop", "angle", "turn the tube", "around", "turned in all"]
    arounds = sheet.arounds()
    rows = []
    for i, step in enumerate(sheet.setup.steps):
        if step.bend in sheet.refused:
            rows.append([str(step.bend), *["-"] * 5, NOT_AS_DRAWN, "-", "-"])
            continue
        rows.append(
            [
                str(step.bend),
                display.number(sheet.mark("A", step)),
                display.number(sheet.mark("B", step)),
                one_line(step.die.name) if step.die else "none",
                stop_text(step, display),
                display.angle(step.comes_out),
                sheet.turn(step) if i else "as loaded",
                arounds[i],
                sheet.so_far(step) if i else "",
            ]
        )
    return heads, rows


def _wrapped(text: str, first: str = "  ") -> str:
    """A paragraph that keeps its indent."""
    return fill(one_line(text), first)
