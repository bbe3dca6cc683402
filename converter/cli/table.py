"""``elbowroom table``: the bend table of every run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.cli.console import Console
from converter.cli.seen import picture, sketch_from

if TYPE_CHECKING:
    from converter.api import Result


@click.command(
    short_help="Show the bend table of every run.",
    epilog=options.example(
        "elbowroom table rail.dxf",
        "elbowroom table rail.dxf --section 1.75x0.120in --fraction 16",
        "elbowroom table rail.dxf --picture seen.svg",
        "elbowroom table frame.dxf --skip-layer 'CONSTRUCTION*' --json > frame.json",
        reads=True,
    ),
)
@click.argument("source", metavar="INPUT")
@options.reading
@options.reducing
@options.metal
@options.showing
@picture
@options.as_json
@options.talking
def table(source: str, **given: Any) -> int:
    """Show the bend table of every run in INPUT ('-' reads standard input).

    Feed is the straight before a bend, tangent point to tangent point; rotation is how far the
    bend plane rolls since the bend before, right-hand positive about the direction of feed;
    angle is the deflection; CLR the centerline radius. Exit status 1 means that something in the
    drawing cannot become a tube as it stands.
    """
    console = options.console_from(given)
    sketch = sketch_from(given, (source,))
    settings = sketch.settings(options.settings_from(given))

    from converter.findings import has_errors

    with console.progress(f"reading {source}"):
        result = sketch.load(source, settings, console)
    sketch.draw(result, console)
    if console.as_json:
        from converter.exporters.table_json import table_document

        drawing = result.drawing
        console.json(table_document(drawing.source, drawing.units, result.tubes, result.findings, drawing.ignored))
    else:
        _show(result, console)
    return 1 if has_errors(result.findings) else 0


def _show(result: Result, console: Console) -> None:
    from converter.cli.tables import heading, tube_text
    from converter.cli.text import bend_marks, findings_text, ignored_text

    console.result(heading(result))
    marks = bend_marks(result.findings)
    for tube in result.tubes:
        console.result("")
        console.result(tube_text(tube, result.display, marks))
    if result.findings:
        console.result("")
        console.result(findings_text(result.findings, everything=console.verbose))
    left_out = ignored_text(result.drawing.ignored)
    if left_out:
        console.result("")
        console.result(left_out)
