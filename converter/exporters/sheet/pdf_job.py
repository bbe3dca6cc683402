"""The first printed pages: what the job is, all its runs with their pages, what holds for all of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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

#: Least and greatest height of the picture of the drawing, with its list, mm.
_LEAST, _MOST = 90.0, 170.0
#: Headings ask for more than they take, mm.
_SLACK = 9.0

#: Letters that no font has, named at most.
_MOST_CODES = 8


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
    if flow.pdf.lacking:
        flow.notice(lacking_words(flow.pdf.lacking))
    flow.facts(_facts(page, display))

    def rest(flow: Flow) -> None:
        _rest(flow, page, display, starts)

    if job.drawing is not None:
        flow.space(2.0)
        # as high as leaves room for the rest; where that needs more pages anyway, as high as is of use
        spare = flow.room - flow.measured(rest) - _SLACK
        if spare < _LEAST:
            spare = flow.room - flow.measured(lambda flow: _cautions(flow, page)) - _SLACK
        tall = max(_LEAST, min(spare, _MOST))
        picture = drawing_picture(job.drawing, job.tubes, job.findings, display, size=(flow.width, tall))
        flow.picture(picture, display.unit, tall)
    rest(flow)


def _rest(flow: Flow, page: JobPage, display: Display, starts: Sequence[int]) -> None:
    """What stands below the picture."""
    job = page.job
    _cautions(flow, page)
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


def _cautions(flow: Flow, page: JobPage) -> None:
    flow.heading("Before anything moves", keep=20.0)
    for words in page.cautions:
        flow.paragraph(words, tick=True)
        flow.space(1.0)


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


def lacking_words(letters: Iterable[str]) -> str:
    """Says which letters came out as question marks."""
    codes = sorted(f"U+{ord(letter):04X}" for letter in letters)
    shown = ", ".join(codes[:_MOST_CODES]) + (f" and {len(codes) - _MOST_CODES} more" if codes[_MOST_CODES:] else "")
    return (
        f"Some letters of the names show as ? here: no font on this machine has {shown}. Go by the number of the run, "
        "or read the names in the HTML sheet."
    )


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
