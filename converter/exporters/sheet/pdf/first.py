"""The first printed pages: what the job is, all its parts with their pages, what holds for all of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import ceil, fsum

from converter import __version__
from converter.bending.setup.words import CUT_LENGTHS
from converter.exporters.cutting.files import cutting_pages
from converter.exporters.pictures.drawing.view import drawing_picture
from converter.exporters.pictures.picture import Picture
from converter.exporters.sheet.content import DrawingPage, JobSheet, PartPage, severity_word
from converter.exporters.sheet.pdf.flow import Cell, Flow, Section, TableColumn
from converter.exporters.sheet.pdf.frame import BODY, SMALL
from converter.exporters.sheet.pdf.part import die_names, findings
from converter.findings import ERROR, WARNING
from converter.job.quotation import QUOTATION_HEADS, money_text, quotation_rows
from converter.shop.sections import describe
from converter.tolerances import Tolerances
from converter.units import Display, cut_number, rounded_up
from converter.words import mass_text, total_mass_text

_COLUMNS = (
    TableColumn("", 8, "right"),
    TableColumn("part", 34, bold=True),
    TableColumn("make", 10, "right"),
    TableColumn("section", 39),
    TableColumn("die", 23),
    TableColumn("bends", 11, "right"),
    TableColumn("cut length", 22, "right", bold=True),
    TableColumn("mass", 18, "right"),
    TableColumn("worst finding", 23),
    TableColumn("page", 11, "right", bold=True),
)

#: Least height of the picture of the drawing, with its list: of one tube, more for each further one, of many; and the
#: greatest, mm.
_LEAST, _EACH, _LEAST_OF_MANY, _MOST = 66.0, 4.0, 90.0, 170.0
#: The picture goes onto a page of its own where that leaves no more than this share of the first page empty.
_MOST_EMPTY = 0.4
#: Headings ask for more than they take, mm.
_SLACK = 9.0

_MARK_WORDS = (
    "Every page bears the mark at its foot. A sheet or a template of this job with another mark was made from another "
    "drawing, another shop file or other settings: use the newer one and throw the older away. elbowroom {version}"
)

#: Letters that no font has, named at most.
_MOST_CODES = 8
#: Shares of the width, as of `QUOTATION_HEADS`.
_WIDTHS = (38, 9, 17, 19, 12, 11, 13, 16, 15, 16, 16, 16, 20)


def first_pages(
    flow: Flow, page: JobSheet, display: Display, starts: Sequence[int], pictures: dict[tuple[int, float], Picture]
) -> None:
    """Lay out what comes before the parts.

    Args:
        flow: where to.
        page: what to say.
        display: how lengths are shown, in one unit.
        starts: page on which each part begins.
        pictures: of the drawings, by number and height, for laying out once more; takes what is drawn.
    """
    flow.begin(page.heading, "job")
    if page.job.shop.is_demo:
        flow.notice(
            "Invented demo shop: the dies, the machine and the test bends on these sheets are not yours. Nothing here "
            "is to be bent before your own shop file is named with --shop."
        )
    bad = [part for part in page.parts if part.worst == ERROR]
    if bad:
        flow.notice(
            f"{len(bad)} of {len(page.parts)} parts cannot be made as drawn: cut no stick for what has ERROR in the "
            "list of parts; its page says why."
        )
    if flow.pdf.lacking:
        flow.notice(lacking_words(flow.pdf.lacking))
    flow.facts(_facts(page, display))
    flow.space(1.0)
    flow.paragraph(_MARK_WORDS.format(version=__version__), SMALL)
    if len(page.drawings) == 1:
        (drawing,) = page.drawings

        def rest(flow: Flow) -> None:
            _cautions(flow, page)
            _parts(flow, page, display, starts)
            _about(flow, drawing, display)

        if _goes_last(flow, page, rest):
            rest(flow)
            flow.turn(ended=True)
            _picture(flow, page, 0, display, pictures, lambda flow: None, lambda flow: None, flow.whole_page)
        else:
            _picture(flow, page, 0, display, pictures, rest, lambda flow: _cautions(flow, page))
            rest(flow)
    else:
        _cautions(flow, page)
        _parts(flow, page, display, starts)
        for number in range(len(page.drawings)):
            _drawing(flow, page, number, display, pictures)
    if page.cuts is not None:
        cutting_pages(flow, page.cuts, display, "bars")
    for drawing in page.drawings:
        quotation_pages(flow, drawing, display)


def _drawing(
    flow: Flow, page: JobSheet, number: int, display: Display, pictures: dict[tuple[int, float], Picture]
) -> None:
    """What is said of one drawing of several, on a page of its own."""
    drawing = page.drawings[number]
    flow.begin(drawing.heading, f"drawing-{number}")
    flow.paragraph(f"Drawing {number + 1} of {len(page.drawings)}: {drawing.source}")

    def about(flow: Flow) -> None:
        _about(flow, drawing, display)

    _picture(flow, page, number, display, pictures, about, lambda flow: None)
    about(flow)


def _least(page: JobSheet, number: int) -> float:
    """Least height of the picture of a drawing, mm."""
    return min(_LEAST + _EACH * max(0, len(page.drawings[number].job.tubes) - 1), _LEAST_OF_MANY)


def _goes_last(flow: Flow, page: JobSheet, rest: Section) -> bool:
    """Whether the picture takes the second page for itself: the words fill most of the first, and it needs more."""
    if page.job.program_tubes is not None:
        return False
    left = flow.room - flow.measured(rest) - _SLACK
    return 0.0 <= left < min(_least(page, 0), _MOST_EMPTY * flow.whole_page)


def _picture(
    flow: Flow,
    page: JobSheet,
    number: int,
    display: Display,
    pictures: dict[tuple[int, float], Picture],
    rest: Section,
    least: Section,
    most: float = _MOST,
) -> None:
    """The drawing as read, as high as leaves room for the rest, and at most ``most`` mm.

    Where the rest needs more pages, it is as high as lets that end at the foot of one, with the least of it on this.
    """
    job = page.drawings[number].job
    if job.program_tubes is not None:
        return
    flow.space(2.0)
    lowest = _least(page, number)
    spare = flow.room - flow.measured(rest) - _SLACK
    if spare < lowest:
        pages = ceil((lowest - spare) / (flow.whole_page - _SLACK))
        spare += pages * (flow.whole_page - _SLACK)
        spare = min(spare, flow.room - flow.measured(least) - _SLACK)
    tall = max(lowest, min(spare, most))
    if (number, tall) not in pictures:
        pictures[number, tall] = drawing_picture(job.drawing, job.tubes, job.findings, display, size=(flow.width, tall))
    flow.picture(pictures[number, tall], display.unit, tall)


def _parts(flow: Flow, page: JobSheet, display: Display, starts: Sequence[int]) -> None:
    """The list of all parts."""
    flow.heading("Parts", keep=24.0)
    flow.table(_COLUMNS, [_row(part, display, start) for part, start in zip(page.parts, starts, strict=True)], BODY)
    flow.space(1.0)
    unit = "inches" if display.unit == "in" else "millimetres"
    flow.paragraph(f"Cut length in {unit}; cut length and mass of one piece.", SMALL)


def _about(flow: Flow, drawing: DrawingPage, display: Display) -> None:
    """Findings on a whole drawing, what was left out of it, how it was read."""
    job = drawing.job
    findings(flow, drawing.findings, display, "Findings on the whole job")
    if job.drawing.ignored:
        flow.heading("Left out of the drawing")
        for one in job.drawing.ignored:
            flow.paragraph(f"{one.amount}: {one.why_in(display)}.")
    flow.heading("How this was read")
    flow.paragraph(_tolerances(job.tolerances, display))


def _cautions(flow: Flow, page: JobSheet) -> None:
    flow.heading("Before anything moves", keep=20.0)
    for words in page.cautions:
        flow.paragraph(words, tick=True)
        flow.space(1.0)


def _facts(page: JobSheet, display: Display) -> list[tuple[str, str]]:
    shop, parts = page.job.shop, page.parts
    setups = [(part.count, part.setup) for part in parts if part.setup is not None and not part.setup.is_nothing]
    sticks = [count * rounded_up(setup.stick_length, display) for count, setup in setups]
    tubes = sum(part.count for part in parts)
    return [
        ("drawing" if len(page.drawings) == 1 else "drawings", ", ".join(one.source for one in page.drawings)),
        ("shop", shop.name or "not named"),
        ("tubes", str(tubes) if len(parts) == tubes else f"{tubes}, {len(parts)} different"),
        ("bends", str(sum(part.count * len(part.tube.run.table.bends) for part in parts))),
        ("cut lengths in all", display.length(fsum(sticks))),
        ("mass", total_mass_text([part.mass for part in parts for _ in part.pieces], display)),
        ("mark", page.revision.mark),
        ("made on", page.revision.issued.isoformat()),
    ]


def lacking_words(letters: Iterable[str]) -> str:
    """Says which letters came out as question marks."""
    codes = sorted(f"U+{ord(letter):04X}" for letter in letters)
    shown = ", ".join(codes[:_MOST_CODES]) + (f" and {len(codes) - _MOST_CODES} more" if codes[_MOST_CODES:] else "")
    return (
        f"Some letters of the names show as ? here: no font on this machine has {shown}. Go by the number of the part, "
        "or read the names in the HTML sheet."
    )


def _row(part: PartPage, display: Display, start: int) -> list[Cell]:
    tube = part.tube
    setup = part.setup
    stick = "" if setup is None else "none" if setup.is_nothing else cut_number(setup.stick_length, display)
    count = sum(finding.severity in (ERROR, WARNING) for finding in part.findings)
    worst = severity_word(part.findings[0]) if part.findings else "none"
    return [
        str(part.number),
        part.name,
        str(part.count),
        describe(tube.section, display) if tube.section else "not known",
        die_names(part.setup),
        str(len(tube.run.table.bends)),
        stick,
        mass_text(part.mass, display),
        f"{worst} ({count})" if count > 1 else worst,
        str(start),
    ]


def _tolerances(tol: Tolerances, display: Display) -> str:
    small = Display(display.unit).length
    return (
        f"Ends up to {small(tol.join)} apart were joined, gaps up to {small(tol.near)} named; fitted curves stray at "
        f"most {small(tol.fit)}; directions within {display.angle(tol.tangent)} were taken for tangent. Every length "
        f"is rounded from its exact value, never from another rounded one. {CUT_LENGTHS}"
    )


def quotation_pages(flow: Flow, page: DrawingPage, display: Display) -> None:
    """Lay out the quotation where one was asked for."""
    estimate = page.quotation
    if estimate is None:
        return
    flow.begin(f"{page.heading}: quotation, estimated", "quotation")
    flow.paragraph(f"Rates of {page.job.shop.name}; {money_text(estimate)}.")
    flow.space(2.0)
    last = len(QUOTATION_HEADS) - 1
    columns = tuple(
        TableColumn(head, width, "right" if i else "left", bold=i in (0, last))
        for i, (head, width) in enumerate(zip(QUOTATION_HEADS, _WIDTHS, strict=True))
    )
    for finding in estimate.findings:
        flow.notice(" ".join((finding.message_in(display), finding.cure_in(display))))
    flow.table(columns, quotation_rows(estimate, display), SMALL)
    flow.space(2.0)
    unit = "inches" if display.unit == "in" else "millimetres"
    flow.paragraph(f"Stick and weld in {unit}.", SMALL)
    for note in estimate.notes:
        flow.space(1.0)
        flow.paragraph(note)
