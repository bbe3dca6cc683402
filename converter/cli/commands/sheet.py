"""``elbowroom sheet``: the job sheet, for the screen at the bender and for paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from converter.cli import batches, options, outputs, values
from converter.cli.console import Console
from converter.cli.inputs import open_jobs

if TYPE_CHECKING:
    from converter.job import Job
    from converter.settings import Settings

#: What a person types after --to -> name in the registry; both are usual.
KINDS = {"html": "sheet", "pdf": "sheet-pdf"}


def kinds(value: str) -> tuple[str, ...]:
    """What --to says as names of formats in the registry, each once.

    Raises:
        OptionError: it names none, or an unknown one.
    """
    return tuple(KINDS[kind] for kind in outputs.formats_named(value, tuple(KINDS)))


@click.command(
    short_help="Write the job sheet for the bender: HTML for the screen, PDF for paper.",
    epilog=options.example(
        "elbowroom sheet rail.dxf --shop myshop.toml --section 1.75x0.120in --metal 'mild steel'",
        "elbowroom sheet frame.dxf --shop myshop.toml --job job.toml --out job --to pdf --paper Letter",
        "elbowroom sheet frame.dxf rack.dxf --shop myshop.toml --out job --force",
        "elbowroom sheet frame.dxf --address http://bench.local/frame-sheet.html",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@click.option(
    "--out", default=".", metavar="DIR", callback=values.folder, help="Folder to write to.  [the current one]"
)
@click.option("--to", default="all", metavar="FORMAT,...", help="What to write: html, pdf, or all.  [html,pdf]")
@click.option("--quote", is_flag=True, help="Add what the job comes to, as 'quote' estimates it.")
@click.option(
    "--address",
    default="",
    metavar="URL",
    help="Where the HTML sheet will be opened (http or https): the code on each printed part leads there.  "
    "[it names mark and part]",
)
@outputs.paper
@outputs.force
@batches.processes_option
@options.settings_to_bend
@options.talking_json
def sheet(
    sources: tuple[str, ...],
    out: str,
    to: str,
    quote: bool,
    address: str,
    paper: str,
    force: bool,
    processes: int | None,
    settings: Settings,
    console: Console,
) -> int:
    """Write what the person at the bender looks at for INPUT ('-' reads standard input), of several one sheet for all.

    NAME-sheet.html shows the whole job and every part in 3D, step by step, and opens from a USB stick without
    a network; NAME-sheet.pdf is the same for paper. Equal tubes are one part with a quantity. With --quote both say
    what the job comes to. Both bear a mark that changes with the drawing, the shop file and every number, so that an
    old sheet is recognised. On paper a square code on each part leads to that part at --address, or names mark and
    part. Existing files stay unless --force is given. Exit status 1: written, but something would
    scrap a stick.
    """
    wanted = kinds(to)
    batches.allow_processes(processes)

    from converter.exporters.options import WriteOptions
    from converter.exporters.registry import usable_formats, write_together

    formats, _ = usable_formats(wanted)
    how = WriteOptions(paper=paper, quote=quote, address=address)
    jobs = open_jobs(sources, settings, console, "working out", ask=lambda job: job.findings)
    with console.progress("writing the sheet"):
        written = [str(path) for path in write_together(jobs, out, formats, how, force=force)]
    if console.as_json:
        console.json(_document(jobs, written))
    else:
        from converter.cli.screens.audit import verdicts_text

        console.say(lambda: f"{verdicts_text(jobs, everything=console.verbose)}\n")
        for path in written:
            console.result(path)
    return 1 if any(job.has_errors for job in jobs) else 0


def _document(jobs: Sequence[Job], written: list[str]) -> dict[str, Any]:
    """``elbowroom/sheet/1``: what was written and what was found (docs/sheet.md)."""
    from converter.exporters.data.table_json import audit_document
    from converter.exporters.sheet.revision import revision_of

    revision = revision_of(jobs)
    job = jobs[0]
    return {
        "schema": "elbowroom/sheet/1",
        "source": job.source if len(jobs) == 1 else None,
        "sources": [one.source for one in jobs],
        "shop": job.shop.name,
        "demo_shop": job.shop.is_demo,
        "revision": revision.mark,
        "made": revision.issued.isoformat(),
        "tubes": [tube.name for one in jobs for tube in one.shown.tubes],
        "parts": [
            {"source": one.source, "name": part.name, "quantity": len(part.tubes), "tubes": list(part.names)}
            for one in jobs
            for part in one.shown.parts
        ],
        "written": written,
        "findings": audit_document(jobs)["findings"],
    }
