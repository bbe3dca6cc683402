"""``elbowroom quote``: what a job comes to, estimated from the rates of the shop file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import options
from converter.cli.console import Console

if TYPE_CHECKING:
    from converter.settings import Settings


@click.command(
    short_help="Estimate metal, work and price of every part from the shop's rates.",
    epilog=options.example(
        "elbowroom quote frame.dxf --shop myshop.toml --job job.toml",
        "elbowroom quote frame.dxf --shop myshop.toml --job job.toml --jobs 12",
        "elbowroom quote frame.dxf --shop myshop.toml --job job.toml --csv > quotation.csv",
        reads=True,
    ),
)
@click.argument("source", metavar="INPUT")
@options.jobs
@options.settings_to_bend
@options.talking_lists
def quote(
    source: str,
    jobs: int,
    settings: Settings,
    console: Console,
) -> int:
    """Estimate what every part of INPUT ('-' reads standard input) comes to, and the whole job.

    Equal tubes are one part, with how many there are. For one piece: the stick it takes and its mass, bends, saw
    cuts, copes, length of weld, minutes of work and price, from [rates] and [[price]] of the shop file; for all of
    the part the price. What has no rate there is not counted, and that is said.
    Exit status 1 means that some tube cannot be made as drawn.
    """

    from converter.job import open_job
    from converter.job.quotation import quotation

    with console.progress(f"estimating {source}"):
        job = open_job(source, settings)
        estimate = quotation(job, jobs)
    if console.as_json:
        from converter.exporters.data.quote import quotation_document

        console.json(quotation_document(job, estimate))
    elif console.as_csv:
        from converter.exporters.data.quote import quotation_csv

        console.csv(quotation_csv(estimate, job.display))
        options.say_findings(console, estimate.findings, job.display)
    else:
        from converter.cli.screens.quote import quotation_text

        console.result(quotation_text(job, estimate, everything=console.verbose))
    return 1 if job.has_errors else 0
