"""``elbowroom audit``: findings against the shop file; the exit status tells."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import batches, options, values
from converter.cli.as_read import AsReadPicture, picture_option
from converter.cli.console import Console
from converter.cli.inputs import open_jobs
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.settings import Settings


@click.command(
    short_help="Check drawings against the shop: what cannot be bent, and why.",
    epilog=options.example(
        "elbowroom audit rail.dxf --shop myshop.toml --section 1.75x0.120in",
        "elbowroom audit *.dxf --shop myshop.toml --job job.toml --json",
        "elbowroom audit drawings --each --shop myshop.toml --out audited",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@batches.batch_to_watch
@click.option(
    "--out",
    metavar="DIR",
    callback=values.folder,
    help="With --each: folder to write summary and findings to; what has not changed is skipped.  [none written]",
)
@options.settings_to_bend
@picture_option
@options.talking_lists
def audit(
    sources: tuple[str, ...],
    batch: batches.BatchChoices,
    out: str | None,
    settings: Settings,
    picture: AsReadPicture,
    console: Console,
) -> int:
    """Check every bend of every INPUT against the shop's dies and machines.

    Each finding names the tube and the bend, what was measured, the limit, and what would cure
    it. Exit status 0: it can be bent; 1: an error would scrap a stick; 2: a file could not be read.
    """
    if batch.is_batch:
        return _audit_each(sources, batch, out, settings, picture, console)
    batches.check_together(sources)
    batches.check_one_process(batch)
    batches.check_csv(console)
    if out is not None:
        raise OptionError("--out goes with --each: audit writes no files of drawings that are checked together.")
    picture.check(sources)

    jobs = open_jobs(sources, settings, console, "checking", ask=lambda job: job.findings, open_one=picture.open_job)
    picture.draw(jobs[0], console)
    if console.as_json:
        from converter.exporters.data.table_json import audit_document

        console.json(audit_document(jobs))
    else:
        from converter.cli.screens.audit import verdicts_text

        console.result(verdicts_text(jobs, everything=console.verbose))
    return 1 if any(job.has_errors for job in jobs) else 0


def _audit_each(
    sources: tuple[str, ...],
    batch: batches.BatchChoices,
    out: str | None,
    settings: Settings,
    picture: AsReadPicture,
    console: Console,
) -> int:
    from converter.batch import AuditWork

    if picture.file is not None:
        raise OptionError("--picture shows one drawing: leave out --each, and name one INPUT.")
    if picture.force and out is None:
        raise OptionError("--force goes with --out, whose files it replaces: give both, or neither.")
    return batches.run_batch(sources, AuditWork(), settings, batch, console, out=out, force=picture.force)
