"""The first printed pages: what the job is, all its runs with their pages, what holds for all of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import fsum

from converter.bending.setup.words import SetupView
from converter.exporters.pictures.drawing.view import drawing_picture
from converter.exporters.pictures.picture import Picture
from converter.exporters.sheet.content import JobPage, RunPage, severity_word
from converter.exporters.sheet.pdf.flow import BODY, SMALL, Cell, Flow, TableColumn
from converter.exporters.sheet.pdf.quotation import quotation_pages
from converter.exporters.sheet.pdf.run import die_names, findings
from converter.findings import ERROR, WARNING
from converter.shop.sections import describe
from converter.tolerances import Tolerances
from converter.units import Display
from converter.words import mass_text, total_mass_text

_COLUMNS = (
    TableColumn("", 8, "right"),
    TableColumn("tube", 40, bold=True),
    TableColumn("section", 37),
    TableColumn("die", 28),
    TableColumn("bends", 11, "right"),
    TableColumn("cut length", 22, "right", bold=True),
    TableColumn("mass", 18, "right"),
    TableColumn("worst finding", 19),
    TableColumn("page", 11, "right", bold=True),
)

#: Least and greatest height of the picture of the drawing, with its list, mm.
_LEAST, _MOST = 90.0, 170.0
#: Headings ask for more than they take, mm.
_SLACK = 9.0

#: Letters that no font has, named at most.
_MOST_CODES = 8


def job_pages(
    flow: Flow, page: JobPage, display: Display, starts: Sequence[int], pictures: dict[float, Picture]
) -> None:
    """Lay out what comes before the runs.

    Args:
        flow: where to.
        page: what to say.
        display: how lengths are shown, in one unit.
        starts: page on which each run begins.
        pictures: of the drawing, by their height, for laying out once more; takes what is drawn.
    """
    job = page.job
    flow.begin(page.heading, "job")
    shop = job.shop
    if shop.is_demo:
        flow.notice(
            "Invented demo shop: the dies, the machine and the test bends on these sheets are not yours. Nothing here "
            "is to be bent before your own shop file is named with --shop."
        )
    bad = [run.name for run in page.runs if run.worst == ERROR]
    if bad:
        flow.notice(f"{len(bad)} of {len(page.runs)} tubes cannot be made as drawn: see the column of findings.")
    if flow.pdf.lacking:
        flow.notice(lacking_words(flow.pdf.lacking))
    flow.facts(_facts(page, display))

    def rest(flow: Flow) -> None:
        _rest(flow, page, display, starts)

    if job.program_tubes is None:
        flow.space(2.0)
        # as high as leaves room for the rest; where that needs more pages anyway, as high as is of use
        spare = flow.room - flow.measured(rest) - _SLACK
        if spare < _LEAST:
            spare = flow.room - flow.measured(lambda flow: _cautions(flow, page)) - _SLACK
        tall = max(_LEAST, min(spare, _MOST))
        if tall not in pictures:
            pictures[tall] = drawing_picture(job.drawing, job.tubes, job.findings, display, size=(flow.width, tall))
        flow.picture(pictures[tall], display.unit, tall)
    rest(flow)
    quotation_pages(flow, page, display)


def _rest(flow: Flow, page: JobPage, display: Display, starts: Sequence[int]) -> None:
    """What stands below the picture."""
    job = page.job
    _cautions(flow, page)
    flow.heading("Tubes", keep=24.0)
    flow.table(_COLUMNS, [_row(run, display, start) for run, start in zip(page.runs, starts, strict=True)], BODY)
    flow.space(1.0)
    unit = "inches" if display.unit == "in" else "millimetres"
    flow.paragraph(f"Cut length in {unit}.", SMALL)
    findings(flow, page.findings, display, "Findings on the whole job")
    if job.drawing.ignored:
        flow.heading("Left out of the drawing")
        for one in job.drawing.ignored:
            flow.paragraph(f"{one.count} {one.kind}: {one.why_in(display)}.")
    flow.heading("How this was read")
    flow.paragraph(_tolerances(job.tolerances, display))


def _cautions(flow: Flow, page: JobPage) -> None:
    flow.heading("Before anything moves", keep=20.0)
    for words in page.cautions:
        flow.paragraph(words, tick=True)
        flow.space(1.0)


def _facts(page: JobPage, display: Display) -> list[tuple[str, str]]:
    job, length = page.job, display.length
    sticks = [SetupView(run.setup, display).stick for run in page.runs if run.setup is not None]
    bends = sum(len(run.tube.run.table.bends) for run in page.runs)
    return [
        ("drawing", "standard input" if job.source == "-" else job.source),
        ("shop", job.shop.name or "not named"),
        ("tubes", str(len(page.runs))),
        ("bends", str(bends)),
        ("cut lengths in all", length(fsum(sticks))),
        ("mass", total_mass_text([run.mass for run in page.runs], display)),
        ("mark", page.revision.mark),
        ("made on", page.revision.issued.isoformat()),
    ]


def lacking_words(letters: Iterable[str]) -> str:
    """Says which letters came out as question marks."""
    codes = sorted(f"U+{ord(letter):04X}" for letter in letters)
    shown = ", ".join(codes[:_MOST_CODES]) + (f" and {len(codes) - _MOST_CODES} more" if codes[_MOST_CODES:] else "")
    return (
        f"Some letters of the names show as ? here: no font on this machine has {shown}. Go by the number of the tube, "
        "or read the names in the HTML sheet."
    )


def _row(run: RunPage, display: Display, start: int) -> list[Cell]:
    tube = run.tube
    stick = "" if run.setup is None else display.number(SetupView(run.setup, display).stick)
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
        "is rounded from its exact value, never from another rounded one; cut lengths are rounded up."
    )
