"""Bend tables as text: one block per tube."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from converter.cli.grid import Grid, fill
from converter.cli.main import one_line
from converter.cli.page import faint
from converter.cli.text import UNIT_WORDS, counted, titled, with_marks
from converter.model.run import Tube
from converter.units import MM_PER, Display

if TYPE_CHECKING:
    from converter.api import Result


def heading(result: Result) -> str:
    """Two lines about the drawing: name, unit, how many runs and bends, the unit shown; the tolerances used."""
    drawing = result.drawing
    name = "standard input" if drawing.source == "-" else one_line(drawing.source)
    named, read_as = (UNIT_WORDS.get(unit or "", unit) for unit in (drawing.units, drawing.read_as))
    unit = f"drawn in {named}" if named else f"no unit, read as {read_as}"
    if named and named != read_as:
        unit = f"says {named}, read as {read_as}"
    bends = sum(len(tube.run.table.bends) for tube in result.tubes)
    counts = f"{counted(len(result.tubes), 'run')}, {counted(bends, 'bend')}"
    shown = f"lengths in {UNIT_WORDS[result.display.unit]}, angles in degrees"
    text = titled(name, f"{unit}; {counts}; {shown}", ": ")
    return "\n".join([text, *(faint(line) for line in fill(_tolerances(result), rest="  ").split("\n"))])


def _tolerances(result: Result) -> str:
    tol, unit = result.tolerances, result.display.unit
    join, fit = (f"{length / MM_PER[unit]:.3g} {unit}" for length in (tol.join, tol.fit))
    return f"tolerances: join {join}, fit {fit}, tangent {tol.tangent:g}°"


def tube_text(tube: Tube, display: Display, marks: Mapping[tuple[str, int], str] | None = None) -> str:
    """Name, layer, section, die and developed length; then a row per bend and the tail.

    Args:
        tube: what to show.
        display: how.
        marks: of `converter.cli.text.bend_marks`: bends that something is said of.
    """
    from converter.shop.sections import describe

    run = tube.run
    about = []
    if run.layer is not None and not run.name.startswith(run.layer):
        about.append(f"layer {one_line(run.layer)}")
    about.append(describe(tube.section, display) if tube.section else "section unknown")
    if tube.die:
        about.append(f"die {one_line(tube.die)}")
    if run.closed:
        about.append("closed")
    lines = [titled(run.name, ", ".join(about))]
    if run.table.bends:
        rows = [
            [str(i), display.number(b.feed), _degrees(b.rotation), _degrees(b.angle), _radius(b.clr, display)]
            for i, b in enumerate(run.table.bends, 1)
        ]
        rows.append(["tail", display.number(run.table.tail), "", "", ""])
        said = {i - 1: (marks or {})[run.name, i] for i in range(1, len(rows)) if (run.name, i) in (marks or {})}
        heads, rows, tint = with_marks(["bend", "feed", "rotation", "angle", "CLR"], rows, said)
        lines.append(Grid(heads, rows, "rrrrrl"[: len(heads)], tint=tint).text())
    length = display.length(run.table.developed_length)
    lines.append(f"  developed length {length}" + ("" if run.table.bends else ", straight"))
    if run.deviation > _WORTH_SAYING:
        lines.append(f"  strays up to {run.deviation:.3f} mm from what was drawn")
    return "\n".join(lines)


#: mm; below this a rebuilt centerline is the drawing to the last digit a shop can read
_WORTH_SAYING = 1e-3


def _degrees(value: float) -> str:
    return Display().angle(value)


def _radius(clr: float | None, display: Display) -> str:
    return "none" if clr is None else display.number(clr)
