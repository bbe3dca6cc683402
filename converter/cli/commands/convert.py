"""``elbowroom convert``: the main job, from drawings to everything the shop and the assembly need."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from converter.cli import batches, options, outputs, values
from converter.cli.console import Console
from converter.cli.inputs import open_jobs
from converter.errors import OptionError

if TYPE_CHECKING:
    from pathlib import Path

    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.settings import Settings


@click.command(
    short_help="Turn drawings into everything the bender and the assembly need.",
    epilog=options.example(
        "elbowroom convert rail.dxf --out job --section 1.75x0.120in --shop myshop.toml",
        "elbowroom convert frame.dxf --out job --to step,csv --step-unit in --file-each",
        "elbowroom convert rail.dxf --to csv --out - > rail.csv",
        "elbowroom convert drawings --each --out job --shop myshop.toml --processes 4",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    callback=values.folder,
    help="Folder to write to; '-' writes a single file to stdout.",
)
@batches.batch_of_large_jobs
@outputs.writing
@options.settings_to_bend
@options.talking_lists
def convert(
    sources: tuple[str, ...],
    out: str,
    batch: batches.BatchChoices,
    writing: outputs.Writing,
    settings: Settings,
    console: Console,
) -> int:
    """Read every INPUT, check it against the shop, and write bend tables, templates and solids to DIR.

    Nothing is written unless everything can be (with --each: of each drawing); existing files stay unless --force is
    given, and an input is never replaced. Exit status 1: written, but the audit found errors.
    """
    from converter.exporters.registry import usable_formats, write

    if batch.is_batch:
        return _convert_each(sources, out, batch, writing, settings, console)
    batches.check_together(sources)
    batches.allow_processes(batch.processes)
    batches.check_csv(console)
    jobs = open_jobs(sources, settings, console, "reading", ask=lambda job: job.findings)
    with console.progress("loading what the formats need"):
        formats, left_out = usable_formats(writing.formats)
    for reason in left_out:
        console.say(f"note: {reason}")
    if out == "-":
        return _to_stdout(jobs, formats, writing.options, console)
    with console.progress("writing"):
        paths = write(jobs, out, formats, writing.options, force=writing.force)
    if console.as_json:
        console.json(convert_document(jobs, paths))
    else:
        _report(jobs, [str(path) for path in paths], console)
    return 1 if any(job.has_errors for job in jobs) else 0


def _convert_each(
    sources: tuple[str, ...],
    out: str,
    batch: batches.BatchChoices,
    writing: outputs.Writing,
    settings: Settings,
    console: Console,
) -> int:
    if out == "-":
        raise OptionError("--out - takes the file of one drawing: name a folder for --each.")
    from converter.batch import ConvertWork
    from converter.exporters.registry import usable_formats

    with console.progress("loading what the formats need"):
        formats, left_out = usable_formats(writing.formats)
    for reason in left_out:
        console.say(f"note: {reason}")
    work = ConvertWork(tuple(formats), writing.options)
    return batches.run_batch(sources, work, settings, batch, console, out=out, force=writing.force)


def convert_document(jobs: Sequence[Job], written: Sequence[Path]) -> dict[str, Any]:
    """``elbowroom/convert/1``: that of the audit, and the files written (docs/commands.md)."""
    from converter.exporters.data.table_json import audit_document

    document = audit_document(jobs)
    document["schema"] = "elbowroom/convert/1"
    document["written"] = [str(path) for path in written]
    return document


def _report(jobs: Sequence[Job], paths: Sequence[str], console: Console) -> None:
    """What was found, then what was written."""
    from converter.cli.screens.audit import verdicts_text

    console.say(lambda: f"{verdicts_text(jobs, everything=console.verbose)}\n")
    for path in paths:
        console.result(path)


def _to_stdout(jobs: Sequence[Job], formats: Sequence[str], how: WriteOptions, console: Console) -> int:
    """The one file of the one format on standard output, byte for byte."""
    from converter.exporters.registry import contents

    if console.as_json:
        raise OptionError("--json and --out - both want standard output: give one.")
    files = contents(jobs, formats, how)
    if len(files) != 1:
        raise OptionError(
            f"--out - takes one file, and these would be {len(files)}: name one INPUT and one format with --to."
        )
    (data,) = files.values()
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()
    for job in jobs:
        options.say_findings(console, job.shown.findings, job.display)
    return 1 if any(job.has_errors for job in jobs) else 0
