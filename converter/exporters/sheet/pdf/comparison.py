"""Made tubes against the drawn ones on paper: both drawn, bend by bend what is off, the verdict, the next piece."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from converter.bending.setup.words import CAUTIONS
from converter.comparison.words import (
    DIFFERENCE_HEADS,
    NEXT_HEADS,
    difference_rows,
    difference_sentence,
    excess_text,
    miss_sentences,
    next_rows,
    next_sentences,
    refused_sentences,
    verdict_text,
)
from converter.exporters.options import WriteOptions
from converter.exporters.pictures.comparison import comparison_picture
from converter.job import Job
from converter.job.made_tubes import TubeComparison

if TYPE_CHECKING:
    from converter.exporters.sheet.pdf.flow import Flow

#: mm: the picture's height at most.
_PICTURE = 120.0


def write_comparison(
    job: Job, answers: Sequence[TubeComparison], made_of: str, file: str, *, force: bool = False
) -> Path:
    """Write the sheet of a comparison to a PDF file, each tube beginning a page.

    Args:
        job: with the drawn tubes.
        answers: the comparisons, at least one.
        made_of: what the made tubes were read from.
        file: to write.
        force: replace a file that exists already (never an input).

    Raises:
        MissingLibraryError: the PDF library is not installed.
        WriteError: the file exists or cannot be written.
    """
    from converter.exporters.files import OutputSet

    target = Path(file)
    with OutputSet(target.parent, force=force, inputs=job.inputs) as out:
        out.path(target.name).write_bytes(comparison_pdf(job, answers, made_of))
    return out.final(target.name)


def comparison_pdf(job: Job, answers: Sequence[TubeComparison], made_of: str) -> bytes:
    """The document: the same bytes for the same comparisons."""
    from converter.exporters.paper.title import TitleBlock
    from converter.exporters.pdf.canvas import Pdf
    from converter.exporters.sheet.pdf.flow import Flow

    name = answers[0].tube.name if len(answers) == 1 else job.stem
    pdf = Pdf(f"{name} – as made against as drawn", {})
    flow = Flow(pdf, WriteOptions().paper_size(job.display))
    for number, answer in enumerate(answers, 1):
        _tube(flow, answer, made_of, f"tube-{number}" if len(answers) > 1 else "")
    flow.draw(TitleBlock.of_job(job, job.stem), job.display)
    return pdf.data()


def _tube(flow: Flow, answer: TubeComparison, made_of: str, bookmark: str) -> None:
    """What is to say of one."""
    job, display = answer.job, answer.job.display
    flow.begin(f"{answer.tube.name}: as made against as drawn", bookmark, job.part_of[answer.tube.name])
    flow.paragraph(f"As drawn in {job.source}, as made in {made_of}.")
    flow.notice(verdict_text(answer.comparison))
    for excess in answer.comparison.excesses:
        flow.paragraph(excess_text(excess, display), indent=3.0)
    flow.space(2.0)
    flow.picture(comparison_picture(answer.comparison, answer.tube.name, display), display.unit, _PICTURE)
    for sentence in miss_sentences(answer.comparison, display):
        flow.paragraph(sentence)
    flow.space(2.0)
    _table(flow, DIFFERENCE_HEADS, difference_rows(answer.comparison, display))
    flow.space(1.5)
    flow.paragraph(difference_sentence(display))
    if answer.steps:
        flow.heading("For the next piece")
        _table(flow, NEXT_HEADS, next_rows(answer.steps, display))
        flow.space(1.5)
        for sentence in (*next_sentences(answer.setup.feed_from, answer.steps), *CAUTIONS):
            flow.paragraph(sentence)
    for sentence in refused_sentences(answer.refused):
        flow.paragraph(sentence)


def _table(flow: Flow, heads: tuple[str, ...], rows: list[list[str]]) -> None:
    from converter.exporters.sheet.pdf.flow import TableColumn

    flow.table(tuple(TableColumn(head, 20, "right") for head in heads), rows)
