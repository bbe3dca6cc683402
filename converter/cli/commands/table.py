"""``elbowroom table``: the bend table of every run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import options
from converter.cli.as_read import AsReadPicture, picture_option
from converter.cli.console import Console
from converter.cli.inputs import open_jobs

if TYPE_CHECKING:
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
        from converter.cli.screens.table import all_tables_text

        console.result(all_tables_text(jobs, everything=console.verbose))
    return 1 if any(has_errors(job.shown.reading_findings) for job in jobs) else 0
