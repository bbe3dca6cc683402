"""``elbowroom cutlist``: every stick that the jobs need, nested on bars; what to buy, what is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from converter.cli import batches, options, outputs, values
from converter.cli.console import Console
from converter.cli.inputs import open_jobs
from converter.errors import OptionError
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.job import Job
    from converter.job.cutlist import CutList
    from converter.settings import Settings


@dataclass(frozen=True, slots=True)
class RackChoices:
    """What pieces may be cut from, and whether that is booked, as typed."""

    rack: str | None
    take: bool
    put_back: bool
    bar: tuple[str, ...]


_rack = options.grouped(
    "rack",
    RackChoices,
    click.option("--rack", metavar="FILE", help="Rack file: bars and drops on hand.  [stock of the shop file]"),
    click.option("--take", is_flag=True, help="Book cut bars out of the rack file, and drops into it."),
    click.option("--put-back", is_flag=True, help="Take the last booking of the rack file back; without INPUT."),
    click.option(
        "--bar",
        multiple=True,
        metavar="LENGTH",
        callback=values.lengths,
        help="Bars of this length can be bought; may be given again.  [stock of the shop file without a count]",
    ),
)


@click.command(
    short_help="Nest all sticks on bars: what to cut from what, what to buy, what is left.",
    epilog=options.example(
        "elbowroom cutlist frame.dxf --shop myshop.toml --job job.toml",
        "elbowroom cutlist frame.dxf gate.dxf --shop myshop.toml --job job.toml --jobs 4 --qty 'PICKET*=40'",
        "elbowroom cutlist frame.dxf --section 25x2mm --bar 6m --bar 3m --csv > cuts.csv",
        "elbowroom cutlist frame.dxf --shop myshop.toml --job job.toml --rack rack.toml --take",
        "elbowroom cutlist frame.dxf --section 40x40x2mm --bar 6m --mitre 45",
        "elbowroom cutlist frame.dxf --shop myshop.toml --job job.toml --out cuts --to pdf",
        "elbowroom cutlist drawings --each --shop myshop.toml --out cuts",
        "elbowroom cutlist --rack rack.toml --put-back",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1)
@batches.batch
@options.jobs
@click.option(
    "--qty",
    multiple=True,
    metavar="PATTERN=N",
    help="Make N in all of each part with a name or layer like PATTERN; may be given again.  [as drawn]",
)
@_rack
@click.option("--out", metavar="DIR", callback=values.folder, help="Folder to write the list to.  [none written]")
@click.option("--to", metavar="FORMAT,...", help="What to write: pdf, svg, csv, json, or all.  [all]")
@outputs.paper
@outputs.force
@click.option(
    "--mitre",
    metavar="DEGREES",
    callback=values.mitre,
    help="The saw turns so far from square: nest mitred ends back to back up to that.  [saw.mitre of the shop file]",
)
@click.option("--split", is_flag=True, help="Make tubes that are too long of pieces first, as 'split' does.")
@click.option(
    "--seconds",
    type=click.FloatRange(0.1, 3600.0),
    default=20.0,
    metavar="SECONDS",
    help="How long to look for a better way to cut each section.  [20]",
)
@options.settings_to_bend
@options.talking_lists
def cutlist(
    sources: tuple[str, ...],
    batch: batches.BatchChoices,
    jobs: int,
    qty: tuple[str, ...],
    rack: RackChoices,
    out: str | None,
    to: str | None,
    paper: str,
    force: bool,
    mitre: float | None,
    split: bool,
    seconds: float,
    settings: Settings,
    console: Console,
) -> int:
    """List every stick that the tubes of all INPUTs need, and the bars they are cut from so that least is bought.

    Sticks are cut lengths: to the long points of ends that are coped, with the extra that bending needs. Bars come
    from the rack file, or from the stock of the shop file that has a count; what else it takes is bought. What the
    saw takes of a bar stands under [saw] of the shop file. Exit status 1 means that some piece has no bar, or that
    something would scrap a stick.
    """
    if rack.put_back:
        return _put_back(rack, console)
    if not sources:
        raise OptionError("Name one INPUT or more: the drawings whose tubes are cut.")
    if rack.take and rack.rack is None:
        raise OptionError("--take books into a rack file: name it with --rack FILE.")
    counts = counts_from(qty)
    if out is None and (to is not None or paper or force):
        raise OptionError("--to, --paper and --force go with --out DIR: name the folder to write to.")

    from converter.exporters.cutting.files import KINDS, write_cut_list
    from converter.findings import has_errors
    from converter.job.cutlist import Quantities, bars_for, check_quantities, cut_list
    from converter.job.pieces import in_pieces
    from converter.shop.rack import load_rack
    from converter.shop.stock import bar_lengths

    kinds = outputs.formats_named("all" if to is None else to, KINDS)
    quantities = Quantities(jobs, counts)
    if batch.is_batch:
        from converter.batch import CutlistWork
        from converter.exporters.options import WriteOptions

        if rack.take:
            raise OptionError("--take books what is on one list: leave out --each.")
        console.say("note: each list is made as if the others took no bar; what is cut together wants one list.")
        work = CutlistWork(quantities, rack.rack, rack.bar, split, seconds, kinds, WriteOptions(paper=paper))
        return batches.run_batch(sources, work, settings, batch, console, out=out, force=force)
    batches.check_together(sources)
    batches.check_one_process(batch)
    on_rack = None if rack.rack is None else load_rack(rack.rack)
    opened = open_jobs(sources, settings, console, "reading", ask=lambda job: job.findings)
    if not opened:
        raise OptionError("No tube of any INPUT is shown: name other tubes with --run.")
    unit = opened[0].drawing.read_as
    buyable = bar_lengths(rack.bar, unit)
    if split:
        opened = [in_pieces(job, bars=bars_for(job, on_rack, buyable)).job for job in opened]
    check_quantities(opened, quantities)
    with console.progress("nesting"):
        cuts = cut_list(opened, quantities, rack=on_rack, buyable=buyable, mitre=mitre, seconds=seconds)
    written: list[str] = []
    if out is not None:
        from converter.exporters.options import WriteOptions

        how = WriteOptions(paper=paper)
        written = [str(path) for path in write_cut_list(opened, cuts, out, kinds, how, force=force)]
    booked = _take(rack.rack, cuts) if rack.take and rack.rack is not None else ""
    _show(opened, cuts, console, None if out is None else written)
    if booked:
        console.say(booked)
    return 1 if has_errors(cuts.findings) else 0


def counts_from(typed: Sequence[str]) -> tuple[tuple[str, int], ...]:
    """What --qty says: pattern, how many.

    Raises:
        OptionError: it is not so written, or a number is not whole or below 1.
    """
    counts = []
    for text in typed:
        pattern, _, number = text.rpartition("=")
        number = number.strip()
        count = int(number) if number.isascii() and number.isdigit() and len(number) < 8 else 0
        if count < 1 or not pattern.strip():
            raise OptionError(f"--qty takes PATTERN=NUMBER, a whole number from 1, not {quoted(text)}.")
        counts.append((pattern.strip(), count))
    return tuple(counts)


def _typed() -> set[str]:
    """The names of what was typed of the command."""
    context = click.get_current_context()
    # to click 8.2 an INPUT... of none is typed, too
    return {
        name
        for name, value in context.params.items()
        if value != () and context.get_parameter_source(name) is ParameterSource.COMMANDLINE
    }


def _put_back(rack: RackChoices, console: Console) -> int:
    from converter.shop.rack import put_back

    if rack.rack is None or not _typed() <= {"rack", "put_back", "quiet", "verbose"}:
        raise OptionError("--put-back goes with --rack FILE alone: it takes back what was booked last.")
    before = put_back(rack.rack)
    console.say(f"{rack.rack} says again what it said before the last booking; {before} says what it said until now.")
    return 0


def _show(jobs: Sequence[Job], cuts: CutList, console: Console, written: list[str] | None) -> None:
    display = jobs[0].display
    if console.as_json:
        from converter.exporters.data.cutlist import cutlist_document

        document = cutlist_document(jobs, cuts)
        console.json(document if written is None else {**document, "written": written})
    elif console.as_csv:
        from converter.exporters.data.cutlist import cutlist_csv

        console.csv(cutlist_csv(cuts, display))
        for path in written or ():
            console.say(path)
        options.say_findings(console, cuts.findings, display)
    else:
        from converter.cli.screens.cutlist import cutlist_text

        console.result(cutlist_text(jobs, cuts, display, everything=console.verbose))
        for path in written or ():
            console.result(path)


def _take(path: str, cuts: CutList) -> str:
    """Book what is cut; what there is to tell of it."""
    from dataclasses import replace

    from converter.findings.wording import counted
    from converter.shop.model import Stick
    from converter.shop.rack import take

    cut = [
        replace(supply.stick, count=times)
        for group in cuts.groups
        for supply, times in group.on_hand
        if supply.origin == "rack"
    ]
    drops = [Stick(group.section, group.metal, length, count) for group in cuts.groups for length, count in group.drops]
    before = take(path, cut, drops)
    out, into = sum(bar.count or 0 for bar in cut), sum(drop.count or 0 for drop in drops)
    return (
        f"Booked in {path}: {counted(out, 'bar')} out, {counted(into, 'drop')} in; "
        f"{before} says what it said before (--put-back)."
    )
