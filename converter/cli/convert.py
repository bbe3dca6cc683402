"""``elbowroom convert``: the main job, from drawings to everything the shop and the assembly need."""

from __future__ import annotations

import sys
from functools import partial
from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.cli.console import Console

if TYPE_CHECKING:
    from converter.api import Result, Work


@click.command(
    short_help="Turn drawings into everything the bender and the assembly need.",
    epilog=options.example(
        "elbowroom convert rail.dxf --out job --section 1.75x0.120in --shop myshop.toml",
        "elbowroom convert frame.dxf --out job --to step,csv --step-unit in --file-each",
        "elbowroom convert rail.dxf --to csv --out - > rail.csv",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    callback=options.folder,
    help="Folder to write to; '-' writes a single file to stdout.",
)
@options.writing
@options.reading
@options.reducing
@options.metal
@options.square_ends
@options.showing
@options.as_json
@options.talking
def convert(sources: tuple[str, ...], out: str, no_copes: bool, **given: Any) -> int:
    """Read every INPUT, check it against the shop, and write bend tables, templates and solids to DIR.

    Nothing is written unless everything can be; existing files stay unless --force is given, and
    an input is never replaced. Exit status 1: written, but the audit found errors.
    """
    console = options.console_from(given)
    writing = options.writing_from(given)
    settings = options.settings_from(given)

    from dataclasses import replace

    from converter.api import (
        check,
        export,
        foresee,
        load,
        shows_left_out,
        shows_sticks,
        shows_whole,
        usable_formats,
        with_joints,
        work_out,
    )
    from converter.findings import has_errors
    from converter.pause import let_go
    from converter.progress import steps

    whole, sticks = shows_whole(writing.formats), shows_sticks(writing.formats)
    settings = replace(settings, both_units=whole).keeping_left_out(shows_left_out(writing.formats))
    results, works = [], []
    with console.progress(f"reading {sources[0]}" if len(sources) == 1 else "reading"):
        for source in steps(sources, "files"):
            results.append(check(load(source, settings)))
            if sticks:
                works.append(work_out(results[-1], coped=not no_copes))
                results[-1] = results[-1] if no_copes else with_joints(results[-1], works[-1])
            let_go(len(sources))
    with console.progress("loading what the formats need"):
        formats, left_out = usable_formats(writing.formats)
    for reason in left_out:
        console.say(f"note: {reason}")
    results = foresee(results, formats)
    # what a sheet says, the person is told as well: the set-up and the joints besides the audit
    shown = foresee([work.result.alone() for work in works], formats) if whole else results
    if out == "-":
        return _to_stdout(results, works, shown, formats, writing, console)
    with console.progress("writing"):
        paths = export(
            results,
            out,
            formats,
            force=writing.force,
            step_unit=writing.step_unit,
            one_file=writing.one_file,
            works=works,
        )
    if console.as_json:
        from converter.cli.audit import audit_document

        document = audit_document(shown)
        document["schema"] = "elbowroom/convert/1"
        document["written"] = [str(path) for path in paths]
        console.json(document)
    else:
        _report(shown, [str(path) for path in paths], console)
    return 1 if any(has_errors(result.findings) for result in shown) else 0


def _report(results: list[Result], paths: list[str], console: Console) -> None:
    """What was found, then what was written."""
    from converter.cli.audit import verdict

    if not console.quiet:
        for result in results:
            console.say(partial(verdict, result, console))
            console.say("")
    for path in paths:
        console.result(path)


def _to_stdout(
    results: list[Result],
    works: list[Work],
    shown: list[Result],
    formats: list[str],
    writing: options.Writing,
    console: Console,
) -> int:
    """The one file of the one format on standard output, byte for byte."""
    import tempfile
    from pathlib import Path

    from converter.api import export
    from converter.errors import OptionError
    from converter.findings import has_errors

    if console.as_json:
        raise OptionError("--json and --out - both want standard output: give one.")
    with tempfile.TemporaryDirectory(prefix="elbowroom-") as folder:
        paths = export(results, folder, formats, step_unit=writing.step_unit, one_file=writing.one_file, works=works)
        if len(paths) != 1:
            raise OptionError(
                f"--out - takes one file, and these would be {len(paths)}: name one INPUT and one format with --to."
            )
        data = Path(paths[0]).read_bytes()
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()
    for result in shown:
        from converter.cli.text import findings_text

        if result.findings:
            console.say(partial(findings_text, result.findings, everything=console.verbose))
    return 1 if any(has_errors(result.findings) for result in shown) else 0
