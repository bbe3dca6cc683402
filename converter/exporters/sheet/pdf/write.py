"""The job sheet as PDF for paper: a first page for the job, then a page or two for each run.

docs/sheet.md says what each part means. Text can be selected and searched; nothing is told by colour alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from converter import __version__
from converter.exporters.options import WriteOptions
from converter.exporters.pdf.paper import Pdf
from converter.exporters.pictures.run.sketches import sketches_of
from converter.exporters.sheet.content import JobPage, job_page
from converter.exporters.sheet.pdf.flow import Flow
from converter.exporters.sheet.pdf.job import job_pages
from converter.exporters.sheet.pdf.run import run_pages
from converter.progress import steps
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.pictures.picture import Picture
    from converter.job import Job


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-sheet.pdf``.

    Raises:
        WriteError: the shop file or the job file is gone.
        MissingLibraryError: the PDF library is not installed.
    """
    out.path(f"{options.stem}-sheet.pdf").write_bytes(
        sheet_pdf(job_page(job, options.stem, quote=options.quote), options)
    )


def sheet_pdf(page: JobPage, options: WriteOptions | None = None) -> bytes:
    """The document: the same bytes for the same page."""
    job = page.job
    display = job.display
    size = (options or WriteOptions()).paper_size(display)
    pdf = Pdf(f"{page.heading} – job sheet", {})
    runs = Flow(pdf, size)
    names = {run.key: run.name for run in page.runs}
    starts: list[int] = []
    sketches = sketches_of(job)
    for run in steps(page.runs, "tubes laid out"):
        starts.append(len(runs.pages) + 1)
        run_pages(runs, run, len(page.runs), job.shop.name, display, sketches, names.get(run.like or "", ""))
    for text in (page.heading, page.job.source, *names.values()):
        pdf.width(text, 1.0)  # takes note of letters that no font has
    pictures: dict[float, Picture] = {}
    first = _job(pdf, page, display, size, starts, pictures)
    # the table of contents takes as many pages whatever the numbers in it
    first = _job(pdf, page, display, size, [start + len(first.pages) for start in starts], pictures)
    first.pages += runs.pages
    first.draw(f"mark {page.revision.text}", _foot(page))
    return pdf.data()


def _job(
    pdf: Pdf,
    page: JobPage,
    display: Display,
    size: tuple[float, float],
    starts: list[int],
    pictures: dict[float, Picture],
) -> Flow:
    flow = Flow(pdf, size)
    job_pages(flow, page, display, starts, pictures)
    return flow


def _foot(page: JobPage) -> str:
    return (
        f"{page.heading}, mark {page.revision.mark}. A sheet of this job with another mark was made from another "
        "drawing, another shop file or other settings: use the newer one and throw the older away. "
        f"elbowroom {__version__}"
    )
