"""Bend tables as text: one block per part."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import TYPE_CHECKING

from converter.cli.screens.findings import bend_marks, findings_text, ignored_text, jobs_text, titled, with_marks
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.page import faint
from converter.findings.wording import counted, listed
from converter.model.part import Part
from converter.model.run import Run, Tube
from converter.quoting import one_line
from converter.units import MM_PER, Display, fine_length, unit_word
from converter.words import ROTATION, mirror_text, part_title, part_tubes_text

if TYPE_CHECKING:
    from converter.findings import Finding
    from converter.job import Job
    from converter.shop.model import Shop

#: Drawings named where one heading is for more.
_NAMED = 4


def all_tables_text(jobs: Sequence[Job], *, everything: bool) -> str:
    """The tables of several jobs, and what is to be told of several of them once below."""

    def one_text(job: Job, findings: Sequence[Finding]) -> str:
        return _tables_text(job, findings, everything=everything)

    return jobs_text(jobs, lambda job: job.shown.reading_findings, one_text, everything=everything)


def _tables_text(job: Job, findings: Sequence[Finding], *, everything: bool) -> str:
    """The heading, a block for every part, what the rotation is of, findings of reading, what was left out."""
    shown, display = job.shown, job.display
    marks = bend_marks(shown.reading_findings)
    blocks = [heading(job)]
    blocks += (part_text(part, display, marks, die_text(part.first, job.shop, display)) for part in shown.parts)
    if any(len(tube.run.table.bends) > 1 for tube in shown.tubes):
        blocks.append(faint(fill(ROTATION)))
    if findings:
        blocks.append(findings_text(findings, display, everything=everything))
    left_out = ignored_text(job.drawing.ignored, display)
    return "\n\n".join([*blocks, left_out] if left_out else blocks)


def heading(job: Job) -> str:
    """Two lines about the drawing: name, unit, how many tubes and bends, the unit shown; the tolerances used."""
    return headings([job])


def headings(jobs: Sequence[Job]) -> str:
    """The same of several drawings: those that differ in nothing but counts together, a few of them by name."""
    alike: dict[tuple[str, ...], list[Job]] = {}
    for job in jobs:
        shown = f"lengths in {unit_word(job.display.unit)}, angles in degrees"
        alike.setdefault((_unit(job), shown, _tolerances(job)), []).append(job)
    lines = []
    for (unit, shown, tolerances), some in alike.items():
        names = [_name(job) for job in some]
        if len(names) > _NAMED + 1:
            names[_NAMED:] = [f"{len(names) - _NAMED} more"]
        text = titled(listed(names), f"{unit}; {_counts(some)}; {shown}", ": ")
        lines += [text, *(faint(line) for line in fill(tolerances, rest="  ").split("\n"))]
    return "\n".join(lines)


def _name(job: Job) -> str:
    return "standard input" if job.drawing.source == "-" else one_line(job.drawing.source)


def _unit(job: Job) -> str:
    named, read_as = (unit and unit_word(unit) for unit in (job.drawing.units, job.drawing.read_as))
    if named and named != read_as:
        return f"says {named}, read as {read_as}"
    return f"drawn in {named}" if named else f"no unit, read as {read_as}"


def _counts(jobs: Sequence[Job]) -> str:
    shown, tubes = sum(len(job.shown.tubes) for job in jobs), sum(len(job.tubes) for job in jobs)
    picked = f" ({shown} shown)" if shown < tubes else ""
    return f"{counted(tubes, 'tube')}{picked}, {counted(sum(job.bend_count for job in jobs), 'bend')}"


def _tolerances(job: Job) -> str:
    tol, unit = job.tolerances, job.display.unit
    join, fit = (f"{length / MM_PER[unit]:.3g} {unit}" for length in (tol.join, tol.fit))
    return f"tolerances: join {join}, fit {fit}, tangent {tol.tangent:g}°"


def part_text(part: Part, display: Display, marks: Mapping[tuple[str, int], str] | None = None, dies: str = "") -> str:
    """Name, quantity, layer, section, die, its tubes; a row per bend and the tail; developed length.

    Args:
        part: what to show.
        display: how.
        marks: of `converter.cli.screens.findings.bend_marks`: bends that something is said of.
        dies: of `die_text`.
    """
    from converter.shop.sections import describe

    tube = part.first
    run = tube.run
    about = []
    if run.layer is not None and not part.name.startswith(run.layer):
        about.append(f"layer {one_line(run.layer)}")
    about.append(describe(tube.section, display) if tube.section else "section unknown")
    if dies:
        about.append(dies)
    if run.closed:
        about.append("closed")
    lines = [titled(part_title(part), ", ".join(about)), *part_lines(part)]
    marks = part_marks(part, marks or {})
    if run.is_free_curve:
        lines += _free_rows(run, display)
    elif run.table.bends:
        rows = [
            [str(i), display.number(b.feed), _degrees(b.rotation), _degrees(b.angle), _radius(b.clr, display)]
            for i, b in enumerate(run.table.bends, 1)
        ]
        rows.append(["tail", display.number(run.table.tail), "", "", ""])
        said = {i - 1: marks[run.name, i] for i in range(1, len(rows)) if (run.name, i) in marks}
        heads, rows, tint = with_marks(["bend", "feed", "rotation", "angle", "CLR"], rows, said)
        lines.append(Grid(heads, rows, "rrrrrl"[: len(heads)], tint=tint).text())
    length = display.length(run.table.developed_length)
    lines.append(f"  developed length {length}" + ("" if run.table.bends else ", straight"))
    if run.metal is not None and max(map(abs, run.metal)) > _WORTH_SAYING:
        lines[-1] += f"; from long point to long point {display.length(run.table.developed_length + sum(run.metal))}"
    deviation = max(one.run.deviation for one in part.tubes)
    if deviation > _WORTH_SAYING:
        lines.append(f"  strays up to {fine_length(deviation, display)} from what was drawn")
    return "\n".join(lines)


def _free_rows(run: Run, display: Display) -> list[str]:
    """What there is of a tube with free curves in it: not a table to bend from, and each curve in one row."""
    lines = ["  not to be bent from: it has a curve that is not made of straights and arcs"]
    stretches = run.free_stretches
    if not stretches:
        return lines
    free = {number: stretch for stretch in stretches for number in range(stretch[0], stretch[1] + 1)}
    rows = []
    for i, b in enumerate(run.table.bends, 1):
        if i not in free:
            # the plane of the bend before is not known where that is a free curve's
            rotation = "-" if i - 1 in free else _degrees(b.rotation)
            rows.append([str(i), display.number(b.feed), rotation, _degrees(b.angle), _radius(b.clr, display), ""])
        elif free[i][0] == i:
            begins, ends = (display.number(place) for place in run.places_along(*free[i]))
            what = f"free curve, from {begins} to {ends} along the centerline"
            rows.append([f"{i} to {free[i][1]}", display.number(b.feed), "-", "-", "-", what])
    rows.append(["tail", display.number(run.table.tail), "", "", "", ""])
    return [*lines, Grid(["bend", "feed", "rotation", "angle", "CLR", ""], rows, "rrrrrl").text()]


def die_text(tube: Tube, shop: Shop, display: Display) -> str:
    """The dies of a tube in words, ``die R1750``; of one that makes no bend as it is, that it is but the nearest."""
    from converter.shop.assign import die_for_bend, seats

    radii: dict[str, float] = {}
    makes: set[str] = set()
    for bend, seat in zip(tube.run.table.bends, seats(tube, shop), strict=True):
        if seat.die is not None:
            radii[seat.die.name] = seat.die.clr
            if die_for_bend(bend, (seat.die,)) is not None:
                makes.add(seat.die.name)
    made = [one_line(name) for name in radii if name in makes]
    nearest = [
        f"nearest die {one_line(name)} (CLR {display.length(radii[name])})" for name in radii if name not in makes
    ]
    return ", ".join([*([f"{'die' if len(made) == 1 else 'dies'} {' and '.join(made)}"] if made else []), *nearest])


def tube_text(tube: Tube, display: Display, marks: Mapping[tuple[str, int], str] | None = None, dies: str = "") -> str:
    """The same of a tube that stands alone."""
    return part_text(Part(tube.name, (tube,), 1), display, marks, dies)


#: mm; below this a rebuilt centerline is the drawing to the last digit a shop can read
_WORTH_SAYING = 1e-3


def _degrees(value: float) -> str:
    return Display().angle(value)


def _radius(clr: float | None, display: Display) -> str:
    return "none" if clr is None else display.number(clr)


def part_lines(part: Part) -> list[str]:
    """The tubes of a part by name, and what it mirrors, wrapped; nothing of a single tube."""
    return [fill(one_line(words), "  ") for words in (part_tubes_text(part), mirror_text(part)) if words]


def part_marks(part: Part, marks: Mapping[tuple[str, int], str]) -> dict[tuple[str, int], str]:
    """What is said of bends of any of its tubes, as of its first one: (its name, bend) -> the worst severity."""
    found: dict[tuple[str, int], str] = {}
    for name in part.names:
        for bend in range(1, len(part.first.run.table.bends) + 1):
            severity = marks.get((name, bend))
            key = part.first.name, part.bend_of(name, bend)
            if severity and found.get(key) != "error":
                found[key] = severity
    return found


def to_cut_text(rows: Sequence[tuple[Part, str, str]], not_yet: Container[str] = ()) -> str:
    """How many of each part are cut how long.

    Args:
        rows: part, cut length and section of each, as shown.
        not_yet: names of the parts of which no stick is cut yet.
    """
    cells = [
        ["not yet" if part.name in not_yet else f"{len(part.tubes)} x", length, section, one_line(part.name)]
        for part, length, section in rows
    ]
    return Grid(["to cut", "cut length", "section", "part"], cells, "rrll").text()
