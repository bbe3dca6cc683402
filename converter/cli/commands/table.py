"""``elbowroom table``: the bend table of every run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import options
from converter.cli.console import Console
from converter.cli.inputs import open_jobs
from converter.cli.seen import AsReadPicture, picture_option

if TYPE_CHECKING:
    from converter.job import Job
    from converter.settings import Settings


@click.command(
    short_help="Show the bend table of every tube.",
    epilog=options.example(
        "elbowroom table rail.dxf",
        "elbowroom table rail.dxf --section 1.75x0.120in --fraction 16",
        "elbowroom table rail.dxf --picture seen.svg",
        "elbowroom table frame.dxf --skip-layer 'CONSTRUCTION*' --json > frame.json",
        "elbowroom table *.dxf --run 'RAIL*'",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@options.settings_to_read
@picture_option
@options.talking_json
def table(
    sources: tuple[str, ...],
    settings: Settings,
    picture: AsReadPicture,
    console: Console,
) -> int:
    """Show the bend table of every run in every INPUT ('-' reads standard input), equal ones once.

    Feed is the straight before a bend, tangent point to tangent point; rotation is how far the
    bend plane rotates since the bend before, plus being clockwise seen from end A toward end B;
    angle is the deflection; CLR the centerline radius. Exit status 1 means that something in the
    drawing cannot become a tube as it stands.
    """
    picture.check(sources)

    from converter.findings import has_errors

    jobs = open_jobs(sources, settings, console, "reading", open_one=picture.open_job)
    picture.draw(jobs[0], console)
    if console.as_json:
        from converter.exporters.data.table_json import job_table, together

        console.json(together([job_table(job, job.shown.reading_findings) for job in jobs]))
    else:
        for i, job in enumerate(jobs):
            if i:
                console.result("")
            _show(job, console)
    return 1 if any(has_errors(job.shown.reading_findings) for job in jobs) else 0


def _show(job: Job, console: Console) -> None:
    from converter.bending.dies import die_names
    from converter.cli.screens.findings import bend_marks, findings_text, ignored_text
    from converter.cli.screens.table import heading, legend, part_text

    console.result(heading(job))
    marks = bend_marks(job.shown.reading_findings)
    for part in job.shown.parts:
        console.result("")
        console.result(part_text(part, job.display, marks, die_names(part.first, job.shop)))
    if any(len(tube.run.table.bends) > 1 for tube in job.shown.tubes):
        console.result(f"\n{legend()}")
    if job.shown.reading_findings:
        console.result("")
        console.result(findings_text(job.shown.reading_findings, job.display, everything=console.verbose))
    left_out = ignored_text(job.drawing.ignored, job.display)
    if left_out:
        console.result("")
        console.result(left_out)
