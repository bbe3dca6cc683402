"""A cutting list as files: CSV, JSON, a diagram of each section as SVG, and all of it as PDF."""

from __future__ import annotations

import os
from collections.abc import Callable, Container, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from converter.exporters.cutting.diagram import bars_picture, legend
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.registry import write_all
from converter.findings import ERROR
from converter.job import Job
from converter.job.cutlist import CutGroup, CutList
from converter.job.cutlist_words import group_sentences, group_title, title_text
from converter.units import Display
from converter.words import SAW_CAUTION

if TYPE_CHECKING:
    from converter.exporters.sheet.pdf.flow import Flow


#: What can be written; all of it is usual.
KINDS = ("pdf", "svg", "csv", "json")
#: Shares of the width of the columns of letters, and room for a bar, mm.
_WIDTHS = {"letter": 12, "piece": 80, "stop of the saw": 30, "ends from square": 36, "make": 14}
_BAR = 20.0


def write_cut_list(
    jobs: Sequence[Job],
    cuts: CutList,
    out_dir: str | os.PathLike[str],
    kinds: Sequence[str],
    options: WriteOptions,
    *,
    force: bool = False,
    own: Container[str] = (),
    last: Callable[[OutputSet], None] | None = None,
) -> list[Path]:
    """Write a cutting list to a folder: every file, or on any failure none.

    Args:
        jobs: whose list it is.
        cuts: the list.
        out_dir: the folder; made when it does not exist.
        kinds: of `KINDS`.
        options: paper, stem.
        force: replace files that exist already (never an input).
        own, last: as of `converter.exporters.registry.write`.

    Raises:
        WriteError: a file exists or cannot be written.
        MissingLibraryError: the PDF library is not installed.
    """
    stem = options.stem or (jobs[0].stem if len(jobs) == 1 else "jobs")

    def work(out: OutputSet) -> Iterator[Callable[[], None]]:
        for kind in KINDS:
            if kind in kinds:
                yield partial(_WRITERS[kind], jobs, cuts, out, f"{stem}-cutlist", options)

    return write_all(jobs, out_dir, work, force=force, own=own, last=last)


def _csv(jobs: Sequence[Job], cuts: CutList, out: OutputSet, name: str, options: WriteOptions) -> None:
    from converter.exporters.data.cutlist import cutlist_csv

    out.path(f"{name}.csv").write_text(cutlist_csv(cuts, jobs[0].display), encoding="utf-8", newline="")


def _json(jobs: Sequence[Job], cuts: CutList, out: OutputSet, name: str, options: WriteOptions) -> None:
    from converter.exporters.data.cutlist import cutlist_document
    from converter.exporters.data.table_json import dumps

    out.path(f"{name}.json").write_text(dumps(cutlist_document(jobs, cuts)), encoding="utf-8", newline="\n")


def _svg(jobs: Sequence[Job], cuts: CutList, out: OutputSet, name: str, options: WriteOptions) -> None:
    """A file for each section, numbered where there are several."""
    from converter.exporters.pictures.written.svg import svg_text

    groups = [group for group in cuts.groups if group.plan is not None and group.plan.patterns]
    for n, group in enumerate(groups, 1):
        assert group.plan is not None
        text = svg_text(bars_picture(group, group.plan.patterns, jobs[0].display), unit=jobs[0].display.unit)
        own = f"{name}-{n}" if len(groups) > 1 else name
        out.path(f"{own}.svg").write_text(text, encoding="utf-8", newline="\n")


def _pdf(jobs: Sequence[Job], cuts: CutList, out: OutputSet, name: str, options: WriteOptions) -> None:
    out.path(f"{name}.pdf").write_bytes(cut_list_pdf(jobs, cuts, options))


def cut_list_pdf(jobs: Sequence[Job], cuts: CutList, options: WriteOptions | None = None) -> bytes:
    """The page for the saw: the diagram of each section's bars, its letters, what is bought and left.

    Raises:
        MissingLibraryError: the PDF library is not installed.
    """
    from converter.exporters.paper.title import TitleBlock
    from converter.exporters.pdf.canvas import Pdf
    from converter.exporters.sheet.pdf.flow import Flow
    from converter.exporters.sheet.revision import revision_of

    display = jobs[0].display
    heading = jobs[0].source if len(jobs) == 1 else f"{jobs[0].source} and {len(jobs) - 1} more"
    pdf = Pdf(f"{heading} – cutting list", {})
    flow = Flow(pdf, (options or WriteOptions()).paper_size(display))
    cutting_pages(flow, cuts, display)
    block = TitleBlock.of(heading, revision_of(jobs))
    flow.draw(block.with_parts([part for job in jobs for part in job.shown.parts], display), display)
    return pdf.data()


_WRITERS: dict[str, Callable[[Sequence[Job], CutList, OutputSet, str, WriteOptions], None]] = {
    "pdf": _pdf, "svg": _svg, "csv": _csv, "json": _json,
}  # fmt: skip


def cutting_pages(flow: Flow, cuts: CutList, display: Display, bookmark: str = "") -> None:
    """What stands in the way, every section, whole on a page where it fits, and what to take care of at the saw.

    Args:
        flow: where to.
        cuts: the list.
        display: how lengths are shown, in one unit.
        bookmark: key of the first page in the reader's list of contents, '' for none.
    """
    flow.begin("Cutting list", bookmark)
    flow.paragraph(f"{title_text(cuts)}. Lengths in {'inches' if display.unit == 'in' else 'millimetres'}.")
    for finding in cuts.findings:  # before the saw is set
        told = " ".join((finding.message_in(display), finding.cure_in(display)))
        flow.notice(told) if finding.severity == ERROR else flow.paragraph(told)
    for group in cuts.groups:
        section = partial(_group, group=group, display=display, currency=cuts.currency)
        if (height := flow.measured(section)) <= flow.whole_page:
            flow.keep(height)
        section(flow)
    flow.space(2.0)
    flow.paragraph(SAW_CAUTION)


def _group(flow: Flow, group: CutGroup, display: Display, currency: str) -> None:
    """The bars of a section, as many to a page as there is room for, then its letters and what holds for it."""
    from converter.exporters.sheet.pdf.flow import TableColumn

    flow.heading(group_title(group, display), _BAR)
    for sentence in group_sentences(group, display, currency):
        flow.paragraph(sentence)
    flow.space(3.0)
    for pattern in () if group.plan is None else group.plan.patterns:
        flow.picture(bars_picture(group, (pattern,), display), display.unit, _BAR)
    flow.space(2.0)
    heads, rows = legend(group, display)
    flow.table(tuple(TableColumn(one, _WIDTHS[one], "left" if i < 2 else "right") for i, one in enumerate(heads)), rows)
