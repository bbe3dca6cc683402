"""``elbowroom cope``: the joints of a frame, hole-saw set-up, cut lengths, templates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import options
from converter.cli.commands.cope_files import CopeFiles, cope_files
from converter.cli.console import Console
from converter.cli.inputs import open_jobs

if TYPE_CHECKING:
    from converter.settings import Settings


@click.command(
    short_help="Fit the ends: joints, hole-saw set-up, cut lengths.",
    epilog=options.example(
        "elbowroom cope frame.dxf --section 1.75x0.120in",
        "elbowroom cope frame.dxf --job job.toml --shop myshop.toml --gap 0.5mm",
        "elbowroom cope frame.dxf --job job.toml --out copes --to cope-pdf,step-coped",
        "elbowroom cope frame.dxf --job job.toml --json > copes.json",
        "elbowroom cope frame.dxf --job job.toml --csv > copes.csv",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@cope_files
@options.settings_to_cope
@options.talking_lists
def cope(
    sources: tuple[str, ...],
    settings: Settings,
    files: CopeFiles,
    console: Console,
) -> int:
    """Find where tubes of every INPUT ('-' reads standard input) meet, and say how each end is cut to fit.

    Equal tubes once. For each end: what it is cut to, at what angle and offset, its long and short point, where the
    zero line of the template lies, and which hole saw to set up how. Lengths count back from the
    end of the centerline. With --out, full-size templates are written too. Exit status 1 means that
    some end cannot be fitted as drawn.
    """
    options.one_input_for_csv(sources, console)

    from converter.findings import has_errors

    jobs = open_jobs(sources, settings, console, "reading", ask=lambda job: job.copes)
    with console.progress("writing"):
        written = [str(path) for path in files.write(jobs)]
    if console.as_json:
        from converter.exporters.data.cope_json import job_cope
        from converter.exporters.data.table_json import together

        document = together([job_cope(job) for job in jobs])
        console.json({**document, "written": written} if files.out is not None else document)
    elif console.as_csv:
        from converter.exporters.data.cope_csv import cope_csv

        (job,) = jobs
        console.csv(cope_csv(job.shown.joints, job.display))
        for path in written:
            console.say(path)
        options.say_findings(console, job.shown.joint_findings, job.display)
    else:
        from converter.cli.screens.cope import copes_text

        for i, job in enumerate(jobs):
            if i:
                console.result("")
            console.result(copes_text(job, everything=console.verbose))
        for path in written:
            console.result(path)
    told = [finding for job in jobs for finding in job.shown.joint_findings]
    return 1 if has_errors(told) or any(finding.code == "joint-skipped" for finding in told) else 0
