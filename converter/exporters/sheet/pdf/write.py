"""The job sheet as PDF for paper: a first page for the job, then a page or two for each part.

docs/sheet.md says what each part means. Text can be selected and searched; nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.exporters.options import WriteOptions
from converter.exporters.paper.title import TitleBlock
from converter.exporters.pdf.canvas import Pdf
from converter.exporters.pictures.run.sketch import sketches_of
from converter.exporters.sheet.content import DrawingPage, JobSheet, PartPage, job_sheet
from converter.exporters.sheet.pdf.first import first_pages
from converter.exporters.sheet.pdf.flow import Flow
from converter.exporters.sheet.pdf.part import PartLayout
from converter.exporters.sheet.qr import Modules, code_modules, code_text
from converter.progress import steps
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.pictures.picture import Picture
    from converter.job import Job


def export(jobs: Sequence[Job], out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-sheet.pdf`` of one or several jobs.

    Raises:
        WriteError: the shop file or the job file is gone.
        MissingLibraryError: the PDF library is not installed.
    """
    page = job_sheet(jobs, options.stem, quote=options.quote)
    out.path(f"{page.title}-sheet.pdf").write_bytes(sheet_pdf(page, options))


def sheet_pdf(page: JobSheet, options: WriteOptions | None = None) -> bytes:
    """The document: the same bytes for the same page."""
    display = page.job.display
    options = options or WriteOptions()
    size, address = options.paper_size(display), options.address
    pdf = Pdf(f"{page.heading} – job sheet", {})
    parts = Flow(pdf, size)
    starts: list[int] = []
    for drawing in page.drawings:
        sketches = sketches_of(drawing.job)
        layouts = [
            PartLayout(
                part,
                len(page.parts),
                page.job.shop.name,
                display,
                sketches,
                _code(page, part, address),
                _mirror_of(part, drawing),
            )
            for part in drawing.parts
        ]
        for layout, following in zip(steps(layouts, "parts laid out"), [*layouts[1:], None], strict=True):
            # straight parts share a page where two stand on one
            joins = layout.is_straight and following is not None and following.is_straight
            starts.append(layout.lay_out(parts, following.least_height(parts) if joins and following else 0.0))
        parts.leaves_room = False
    names = [name for part in page.parts for name in (part.name, *part.part.names)]
    for text in (page.heading, *(drawing.source for drawing in page.drawings), *names):
        pdf.width(text, 1.0)  # takes note of letters that no font has
    pictures: dict[tuple[int, float], Picture] = {}
    first = _first(pdf, page, display, size, starts, pictures)
    # the table of contents takes as many pages whatever the numbers in it
    first = _first(pdf, page, display, size, [start + len(first.pages) for start in starts], pictures)
    first.pages += parts.pages
    block = TitleBlock.of(page.heading, page.revision)
    first.draw(block.with_parts([part.part for part in page.parts], display), display)
    return pdf.data()


def _code(page: JobSheet, part: PartPage, address: str) -> Modules:
    """The square code of a part."""
    return code_modules(code_text(address, page.revision.mark, part.key, part.title))


def _mirror_of(part: PartPage, drawing: DrawingPage) -> PartPage | None:
    """The mirror image of a part, or what it is that of, where both begin at the same end."""
    name = part.part.mirror_of or part.part.mirrored_by
    other = next((one for one in drawing.parts if one.name == name), None) if name else None
    return None if other is None or part.part.mirror_turned or other.part.mirror_turned else other


def _first(
    pdf: Pdf,
    page: JobSheet,
    display: Display,
    size: tuple[float, float],
    starts: list[int],
    pictures: dict[tuple[int, float], Picture],
) -> Flow:
    flow = Flow(pdf, size)
    first_pages(flow, page, display, starts, pictures)
    return flow
