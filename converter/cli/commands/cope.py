"""``elbowroom cope``: the joints of a frame, hole-saw set-up, cut lengths, templates."""

from __future__ import annotations

import click

from converter.cli import options
from converter.cli.commands import cope_files
from converter.cli.inputs import open_jobs


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
@options.reading
@options.reducing
@options.tube
@options.weld_gap
@cope_files.writing
@options.shown_runs
@options.showing
@options.as_json
@options.as_csv
@options.talking
def cope(
    sources: tuple[str, ...],
    reading: options.ReadingChoices,
    reducing: options.ReducingChoices,
    tube: options.TubeChoices,
    gap: str | None,
    templates: cope_files.TemplateChoices,
    runs: tuple[str, ...],
    showing: options.ShowingChoices,
    as_json: bool,
    as_csv: bool,
    talking: options.TalkingChoices,
) -> int:
    """Find where tubes of every INPUT ('-' reads standard input) meet, and say how each end is cut to fit.

    Equal tubes once. For each end: what it is cut to, at what angle and offset, its long and short point, where the
    zero line of the template lies, and which hole saw to set up how. Lengths count back from the
    end of the centerline. With --out, full-size templates are written too. Exit status 1 means that
    some end cannot be fitted as drawn.
    """
    console = options.console_from(talking, as_json, as_csv)
    options.one_input_for_csv(sources, as_csv)
    files = cope_files.cope_files_from(templates)
    settings = options.settings_from(reading, reducing, tube, showing, runs=runs, bender=options.BenderChoices(gap=gap))

    from converter.findings import has_errors

    jobs = open_jobs(sources, settings, console, "reading", ask=lambda job: job.copes)
    with console.progress("writing"):
        written = [str(path) for path in files.write(jobs)]
    if console.as_json:
        from converter.exporters.data.cope_json import job_cope
        from converter.exporters.data.table_json import together

        document = together([job_cope(job) for job in jobs])
        console.json({**document, "written": written} if files.out is not None else document)
    elif as_csv:
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
