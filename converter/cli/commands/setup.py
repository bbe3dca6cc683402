"""``elbowroom setup``: stick, marks, stops, turns and order for the person at the bender."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from converter.cli import options
from converter.cli.console import Console
from converter.cli.inputs import open_jobs

if TYPE_CHECKING:
    from converter.findings import Finding
    from converter.job import Job
    from converter.settings import Settings


@click.command(
    short_help="Show the bender's set-up: cut length, marks, stops, turns, order.",
    epilog=options.example(
        "elbowroom setup rail.dxf --shop myshop.toml --section 1.75x0.120in --metal 'mild steel' --fraction 16",
        "elbowroom setup frame.dxf --shop myshop.toml --job job.toml --feed-from best --json > setup.json",
        "elbowroom setup frame.dxf --shop myshop.toml --job job.toml --csv > setup.csv",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@click.option("--brief", is_flag=True, help="Leave out the step-by-step instructions.")
@options.settings_to_bend
@options.talking_lists
def setup(
    sources: tuple[str, ...],
    settings: Settings,
    brief: bool,
    console: Console,
) -> int:
    """Show for every tube in every INPUT what the person at the bender needs ('-' reads standard input).

    Equal tubes once, with their number. Cut length, to the long points of ends that are coped; for each bend
    the mark from either end, die, stop with springback, and how the tube is turned; the end that goes first,
    the order where the simple one cannot be held, and the least room around. Exit status 1 means that something
    would scrap a stick, such as an end that cannot be fitted as drawn.
    """
    options.one_input_for_csv(sources, console)

    jobs = open_jobs(sources, settings, console, "setting up", ask=lambda job: job.findings)
    if console.as_json:
        from converter.exporters.data.setup_json import job_setup
        from converter.exporters.data.table_json import together

        console.json(together([job_setup(job) for job in jobs]))
    elif console.as_csv:
        from converter.exporters.data.setup_csv import setup_csv

        (job,) = jobs
        console.csv(setup_csv(job.shown.setups, job.display, job.shown.findings))
        options.say_findings(console, job.shown.findings, job.display)
    else:
        from converter.cli.screens.findings import jobs_text
        from converter.cli.screens.setup import setups_text

        def one_text(job: Job, findings: Sequence[Finding]) -> str:
            return setups_text(job, findings, brief=brief, everything=console.verbose)

        console.result(jobs_text(jobs, lambda job: job.shown.findings, one_text, everything=console.verbose))
    return 1 if any(job.has_errors for job in jobs) else 0
