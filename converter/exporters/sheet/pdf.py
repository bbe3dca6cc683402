"""The job sheet as PDF for paper: a first page for the job, then a page or two for each run.

docs/sheet.md says what each part means. Text can be selected and searched; nothing is told by colour alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from converter import __version__
from converter.exporters.cope_options import SHEETS
from converter.exporters.pdf_sheet import Pdf
from converter.exporters.sheet.content import JobPage, job_page
from converter.exporters.sheet.paper import Flow
from converter.exporters.sheet.pdf_job import job_pages
from converter.exporters.sheet.pdf_run import run_pages
from converter.progress import steps
from converter.units import BothUnits, Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.registry import ExportJob


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem-sheet.pdf``.

    Raises:
        WriteError: the set-ups were not worked out, or the shop file is gone.
        MissingLibraryError: the PDF library is not installed.
    """
    out.path(f"{job.stem}-sheet.pdf").write_bytes(sheet_pdf(job_page(job)))


def sheet_pdf(page: JobPage) -> bytes:
    """The document: the same bytes for the same page."""
    job = page.job
    display = job.display.preferred if isinstance(job.display, BothUnits) else job.display
    size = SHEETS[job.cope.sheet or ("Letter" if display.unit == "in" else "A4")]
    pdf = Pdf(f"{page.title}: job sheet {page.revision.text}", {})
    runs = Flow(pdf, size)
    names = {run.key: run.name for run in page.runs}
    starts: list[int] = []
    for run in steps(page.runs, "runs laid out"):
        starts.append(len(runs.pages) + 1)
        run_pages(runs, run, len(page.runs), job.shop_name, display, names.get(run.like or "", ""))
    for text in (page.title, page.job.source, *names.values()):
        pdf.width(text, 1.0)  # takes note of letters that no font has
    first = _job(pdf, page, display, size, starts)
    # the table of contents takes as many pages whatever the numbers in it
    first = _job(pdf, page, display, size, [start + len(first.pages) for start in starts])
    first.pages += runs.pages
    first.draw(f"mark {page.revision.text}", _foot(page))
    return pdf.data()


def _job(pdf: Pdf, page: JobPage, display: Display, size: tuple[float, float], starts: list[int]) -> Flow:
    flow = Flow(pdf, size)
    job_pages(flow, page, display, starts)
    return flow


def _foot(page: JobPage) -> str:
    return (
        f"{page.title}, mark {page.revision.mark}. A sheet of this job with another mark was made from another "
        "drawing, another shop file or other settings: use the newer one and throw the older away. "
        f"elbowroom {__version__}"
    )
