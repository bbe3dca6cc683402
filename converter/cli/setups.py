"""Set-ups as text: one block per tube, to be printed and taken to the bender."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from converter.cli.grid import Grid, fill
from converter.cli.main import one_line
from converter.cli.page import faint
from converter.cli.text import bend_marks, findings_text, ignored_text, titled, with_marks
from converter.units import Display

if TYPE_CHECKING:
    from converter.api import Result
    from converter.bending.setup import Setup
    from converter.bending.setup_words import Sheet


def setups_text(result: Result, setups: Sequence[Setup], *, brief: bool = False, everything: bool = False) -> str:
    """The whole page: heading, tube by tube, what holds for all, findings.

    Args:
        result: what was read, with all findings.
        setups: of its tubes.
        brief: leave the instructions out.
        everything: show all findings with their details.
    """
    from converter.bending.setup_words import CAUTIONS, Sheet
    from converter.cli.tables import heading

    blocks = [heading(result)]
    alike: dict[tuple[str, ...], str] = {}
    marks = bend_marks(result.findings)
    for setup in setups:
        sheet = Sheet(setup, result.display)
        first = alike.setdefault(tuple(sheet.instructions()), setup.tube.name)
        blocks.append(setup_text(sheet, brief=brief, like=None if first == setup.tube.name else first, marks=marks))
    if any(setup.steps for setup in setups):
        legend = (
            "Marks lie along the stick as cut. Rolls turn the tube, not the plane; they are positive clockwise, seen "
            "from the end fed first toward the other; 'so far' counts from the first bend made."
        )
        blocks.append("\n".join(_wrapped(text) for text in ((legend,) if brief else (legend, *CAUTIONS))))
    if result.findings:
        blocks.append(findings_text(result.findings, everything=everything))
    left_out = ignored_text(result.drawing.ignored)
    if left_out:
        blocks.append(left_out)
    return "\n\n".join(blocks)


def setup_text(
    sheet: Sheet,
    *,
    brief: bool = False,
    like: str | None = None,
    marks: Mapping[tuple[str, int], str] | None = None,
) -> str:
    """One tube: stick, end and order, a row per bend in the order made, room, instructions.

    Args:
        sheet: what to show.
        brief: leave the instructions out.
        like: name of a tube shown before whose instructions are the same to the letter.
        marks: of `converter.cli.text.bend_marks`: bends that something is said of.
    """
    from converter.shop.sections import describe

    setup, display = sheet.setup, sheet.display
    tube = setup.tube
    about = [describe(tube.section, display) if tube.section else "section unknown"]
    about.append(one_line(tube.metal) if tube.metal else "metal not named")
    lines = [titled(tube.name, ", ".join(about)), _wrapped(_stick(sheet))]
    if setup.stick_length <= 0.0:
        return "\n".join([lines[0], _wrapped("no stick: its cuts leave nothing of it, see the findings below")])
    lines += [_wrapped(words) for words in sheet.cope_words()]
    if setup.steps:
        said = {i: (marks or {}).get((tube.name, step.bend), "") for i, step in enumerate(setup.steps)}
        heads, rows, tint = with_marks(*_rows(sheet), {i: severity for i, severity in said.items() if severity})
        table = Grid(heads, rows, "rrrlrrrrrll"[: len(heads)], fold=_TURNING, tint=tint).text()
        lines += [_wrapped(_order(setup)), "", table, ""]
        lines += [faint(line) for line in _wrapped(_rounding(sheet)).split("\n")]
        lines.append(_wrapped(_room(setup, display)))
    elif tube.run.table.bends:
        lines.append("  no set-up: a corner has no radius")
    if setup.plan.lacks:
        lines.append("  cannot be bent so: see the findings below")
    elif not brief and like is not None:
        own = ", with its own templates for the cuts" if setup.coped else ""
        lines.append(_wrapped(f"to be made just like {one_line(like)}{own}"))
    elif not brief:
        lines += [""] if setup.steps else []
        lines += [_wrapped(text, f"{i:>4}. ") for i, text in enumerate(sheet.instructions(), 1)]
    return "\n".join(lines)


def _stick(sheet: Sheet) -> str:
    setup, length = sheet.setup, sheet.display.length
    extras = [
        f"{length(extra)} extra at end {end}"
        for end, extra in (("A", setup.extra_a), ("B", setup.extra_b))
        if extra > 0.0
    ]
    words = f"stick {length(sheet.stick)}"
    if extras:
        words += f", {' and '.join(extras)} to be trimmed"
    if setup.stretches:
        words += ", the stretch of the bends taken off"
    return words


def _order(setup: Setup) -> str:
    words = f"end {setup.feed_from} first"
    if not setup.plan.plain:
        words += f", bends in the order {', '.join(str(step.bend) for step in setup.steps)}"
    return words


#: The column where a table too wide for its page is folded: how to turn the tube comes under where and how far.
_TURNING = 6


def _rows(sheet: Sheet) -> tuple[list[str], list[list[str]]]:
    """Heads and rows, in the order made."""
    display = sheet.display
    heads = ["bend", "mark from A", "from B", "die", "stop", "angle", "roll", "around", "so far", "turn the tube"]
    rows = []
    for i, step in enumerate(sheet.setup.steps):
        stop = display.angle(step.stop) + {"estimate": "~", "none": "?"}.get(step.springback.source, "")
        around = "" if step.roll_arc is None else display.number(step.roll_arc)
        rows.append(
            [
                str(step.bend),
                display.number(sheet.mark("A", step)),
                display.number(sheet.mark("B", step)),
                one_line(step.die.name) if step.die else "none",
                stop,
                display.angle(step.target),
                display.angle(step.roll) if i else "",
                around if i else "",
                display.angle(step.total) if i else "",
                sheet.turn(step) if i else "",
            ]
        )
    return heads, rows


def _rounding(sheet: Sheet) -> str:
    """How far rounding goes, and what the signs behind the stops mean."""
    off = f"{sheet.worst_rounding() / (25.4 if sheet.display.unit == 'in' else 1.0):.4f} {sheet.display.unit}"
    words = f"each mark is rounded from its exact place, by at most {off}"
    sources = {step.springback.source for step in sheet.setup.steps}
    if "estimate" in sources:
        words += "; ~ springback by estimate"
    if "none" in sources:
        words += "; ? springback not known: bend short and measure"
    return words


def _room(setup: Setup, display: Display) -> str:
    """The least room while it is bent."""
    found = setup.clearance
    if found is None:
        return "room around the bender not worked out"
    if found.least is None or found.against is None:
        return "nothing comes near it while it is bent"
    if found.least < 0.0:
        return f"hits {found.against} in bend {found.bend}, by {display.length(-found.least)}"
    return f"comes nearest to {found.against} in bend {found.bend}: {display.length(found.least)}"


def _wrapped(text: str, first: str = "  ") -> str:
    """A paragraph that keeps its indent."""
    return fill(one_line(text), first)
