"""``elbowroom split``: an over-long tube, made of pieces that fit the bender and the rack."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import options, outputs, values
from converter.cli.console import Console
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.settings import Settings


@click.command(
    short_help="Make an over-long tube of pieces that fit the bender and the rack.",
    epilog=options.example(
        "elbowroom split rail.dxf --shop myshop.toml --section 1.75x0.120in",
        "elbowroom split rail.dxf --shop myshop.toml --section 1.75x0.120in --longest 10ft --out pieces",
        "elbowroom split frame.dxf --shop myshop.toml --job job.toml --run RAIL --at 46in --out pieces --to csv,step",
        reads=True,
    ),
)
@click.argument("source", metavar="INPUT")
@click.option(
    "--longest",
    metavar="LENGTH",
    callback=values.length,
    help="Greatest cut length of a piece.  [what machine and rack take]",
)
@click.option(
    "--at",
    multiple=True,
    metavar="LENGTH",
    help="Cut here, along the centerline from end A; may be given again. Goes with one tube: see --run.",
)
@click.option("--out", metavar="DIR", callback=values.folder, help="Folder to write the pieces to.  [none written]")
@outputs.writing
@options.settings_to_bend
@options.talking_json
def split(
    source: str,
    longest: str | None,
    at: tuple[str, ...],
    out: str | None,
    writing: outputs.Writing,
    settings: Settings,
    console: Console,
) -> int:
    """Cut every tube of INPUT ('-' reads standard input) that cannot be made from one stick into pieces that can.

    A tube is split where its stick is longer than the machine or the rack takes, or where its bends cannot be
    held or swung whole: square, in a straight, into the fewest pieces, away from bends. Each piece gets its
    bend table and stick; where there is room the joint is a sleeve inside both pieces, else a butt weld.
    With --out, everything that `convert` writes is written of the frame with the pieces in it. Exit status 1
    means that some tube cannot be made even so.
    """
    if out is None and (writing.formats or writing.force):
        raise OptionError("--to and --force go with --out DIR: name the folder to write to.")

    from converter.exporters.registry import usable_formats, write
    from converter.job import open_job
    from converter.job.pieces import in_pieces
    from converter.units import parse_length

    with console.progress(f"splitting {source}"):
        whole = open_job(source, settings)
        unit = whole.drawing.read_as
        limit = None if longest is None else parse_length(longest, unit)
        result = in_pieces(whole, longest=limit, at=[parse_length(place, unit) for place in at])
        _ = result.job.findings
    written: list[str] = []
    if out is not None and result.split:
        formats, left_out = usable_formats(writing.formats)
        for reason in left_out:
            console.say(f"note: {reason}")
        with console.progress("writing"):
            written = [str(path) for path in write([result.job], out, formats, writing.options, force=writing.force)]
    if console.as_json:
        from converter.exporters.data.split_json import split_document

        document = split_document(result)
        console.json({**document, "written": written} if out is not None else document)
    else:
        from converter.cli.screens.split import split_text

        console.result(split_text(result, everything=console.verbose))
        for path in written:
            console.result(path)
    return 1 if result.impossible or result.job.has_errors else 0
