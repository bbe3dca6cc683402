"""The first printed pages: what the job is, all its runs with their pages, what holds for all of it."""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum

from converter.bending.setup_words import Sheet
from converter.exporters.pictures.drawing_view import drawing_picture
from converter.exporters.sheet.content import JobPage, RunPage, mass_text, severity_word, total_mass
from converter.exporters.sheet.paper import BODY, SMALL, Cell, Column, Flow
from converter.exporters.sheet.pdf_run import die_names, findings
from converter.findings import ERROR, WARNING
from converter.shop.sections import describe
from converter.tolerances import Tolerances
from converter.units import Display

_COLUMNS = (
    Column("", 8, "right"),
    Column("run", 40, bold=True),
    Column("section", 37),
    Column("die", 28),
    Column("bends", 11, "right"),
    Column("stick", 22, "right", bold=True),
    Column("mass", 18, "right"),
    Column("worst finding", 19),
    Column("page", 11, "right", bold=True),
)


def job_pages(flow: Flow, page: JobPage, display: Display, starts: Sequence[int]) -> None:
    """Lay out what comes before the runs.

    Args:
        flow: where to.
        page: what to say.
        display: how lengths are shown, in one unit.
        starts: page on which each run begins.
    """
    job = page.job
    flow.begin(page.title, "job")
    shop = job.cope.shop
    if shop is not None and shop.is_demo:
        flow.notice(
            "Invented demo shop: the dies, the machine and the test bends on these sheets are not yours. Nothing here "
            "is to be bent before your own shop file is named with --shop."
        )
    bad = [run.name for run in page.runs if run.worst == ERROR]
    if bad:
        flow.notice(f"{len(bad)} of {len(page.runs)} runs cannot be made as drawn: see the column of findings.")
    flow.facts(_facts(page, display))
    if job.drawing is not None:
        flow.space(2.0)
        tall = 74.0
        flow.picture(
            drawing_picture(job.drawing, job.tubes, (), display, size=(flow.width, tall), legend=False),
            display.unit,
            tall,
        )
    flow.heading("Before anything moves", keep=20.0)
    for words in page.cautions:
        flow.paragraph(words, tick=True)
        flow.space(1.0)
    flow.heading("Runs", keep=24.0)
    flow.table(_COLUMNS, [_row(run, display, start) for run, start in zip(page.runs, starts, strict=True)], BODY)
    flow.space(1.0)
    unit = "inches" if display.unit == "in" else "millimetres"
    flow.paragraph(f"Stick: length to cut, in {unit}.", SMALL)
    findings(flow, page.findings, display, "Findings on the whole job")
    if job.ignored:
        flow.heading("Left out of the drawing")
        for one in job.ignored:
            flow.paragraph(f"{one.count} {one.kind}: {one.why}.")
    flow.heading("How this was read")
    flow.paragraph(_tolerances(job.cope.tolerances, display))


def _facts(page: JobPage, display: Display) -> list[tuple[str, str]]:
    job, length = page.job, display.length
    sticks = [Sheet(run.setup, display).stick for run in page.runs if run.setup is not None]
    bends = sum(len(run.tube.run.table.bends) for run in page.runs)
    return [
        ("drawing", "standard input" if job.source == "-" else job.source),
        ("shop", job.shop_name or "not named"),
        ("runs", str(len(page.runs))),
        ("bends", str(bends)),
        ("all sticks", length(fsum(sticks))),
        ("mass", _mass(page, display)),
        ("mark", page.revision.mark),
        ("made on", page.revision.made.isoformat()),
    ]


def _mass(page: JobPage, display: Display) -> str:
    whole = total_mass(page.runs)
    known = [run.mass for run in page.runs if run.mass is not None]
    if whole is not None or not known:
        return mass_text(whole, display)
    return f"{mass_text(fsum(known), display)}, without the {len(page.runs) - len(known)} whose metal is not known"


def _row(run: RunPage, display: Display, start: int) -> list[Cell]:
    tube = run.tube
    stick = "" if run.setup is None else display.number(Sheet(run.setup, display).stick)
    count = sum(finding.severity in (ERROR, WARNING) for finding in run.findings)
    worst = severity_word(run.findings[0]) if run.findings else "none"
    return [
        str(run.number),
        run.name,
        describe(tube.section, display) if tube.section else "not known",
        die_names(run.setup),
        str(len(tube.run.table.bends)),
        stick,
        mass_text(run.mass, display),
        f"{worst} ({count})" if count > 1 else worst,
        str(start),
    ]


def _tolerances(tol: Tolerances, display: Display) -> str:
    small = Display(display.unit).length
    return (
        f"Ends up to {small(tol.join)} apart were joined, gaps up to {small(tol.near)} named; fitted curves stray at "
        f"most {small(tol.fit)}; directions within {display.angle(tol.tangent)} were taken for tangent. Every length "
        "is rounded from its exact value, never from another rounded one; sticks are rounded up."
    )
