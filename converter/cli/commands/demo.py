"""``elbowroom demo``: an invented job, written out and run through the main job."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import options, outputs, values
from converter.cli.console import Console

if TYPE_CHECKING:
    from pathlib import Path

    from converter.job import Job


#: Written beside the usual formats: they are what people look at.
SHEETS = ("sheet", "sheet-pdf")
_SHEET_ENDINGS = ("-sheet.html", "-sheet.pdf")
#: Templates of the ends that are coped: the ladder has six.
COPES = "cope-pdf"


@click.command(
    short_help="Write an invented job and run the main job on it.",
    epilog=options.example("elbowroom demo", "elbowroom demo --out try-it --to csv,dxf"),
)
@click.option(
    "--out",
    default="elbowroom-demo",
    show_default=True,
    metavar="DIR",
    callback=values.folder,
    help="Folder to write to.",
)
@outputs.writing
@options.showing
@options.talking_json
def demo(
    out: str,
    writing: outputs.Writing,
    showing: options.ShowingChoices,
    console: Console,
) -> int:
    """Write a kayak trolley and a dock ladder to DIR, then everything the shop needs to bend them.

    DIR gets the drawing, a shop file and a job file; DIR/out the job sheet, the cope templates of the
    ladder's rungs, and what `elbowroom convert` makes of them. One bend is drawn too tight on purpose,
    so that the audit has something to say.
    """
    unit = showing.unit

    from pathlib import Path

    from converter.demo.boathouse import STEM
    from converter.exporters.registry import usable_formats, write
    from converter.job import open_job
    from converter.settings import Settings

    folder = Path(out)
    settings = Settings(
        shop=str(folder / "shop.toml"),
        job=str(folder / "job.toml"),
        unit=unit,
        denominator=showing.fraction,
    )
    settings.display("in")  # a bad --fraction fails before anything is written
    with console.progress("loading what the formats need"):
        formats, left_out = usable_formats(writing.formats)
    if not writing.formats:
        formats = [*SHEETS, COPES, *formats]
    for reason in left_out:
        console.say(f"note: {reason}")
    inputs = _write_inputs(folder, writing.force)
    with console.progress("reading and checking"):
        job = open_job(str(folder / f"{STEM}.dxf"), settings)
        _ = job.findings
    with console.progress("writing"):
        paths = write([job], str(folder / "out"), formats, writing.options, force=writing.force)
    # the sheet is what people look at: it is named before all else
    sheets = [path for path in paths if path.name.endswith(_SHEET_ENDINGS)]
    written = [*sheets, *inputs, *(path for path in paths if path not in sheets)]
    if console.as_json:
        from converter.cli.commands.convert import convert_document

        console.json(convert_document([job], written))
    else:
        _report(job, inputs, written, console)
    return 0


def _write_inputs(folder: Path, force: bool) -> list[Path]:
    """The drawing, the shop file and the job file: all or none."""
    from converter.demo.boathouse import JOB_TEXT, STEM
    from converter.demo.dxf_drawing import drawing_text
    from converter.exporters.files import OutputSet
    from converter.shop.load import demo_text

    texts = {f"{STEM}.dxf": drawing_text(), "shop.toml": demo_text(), "job.toml": JOB_TEXT}
    with OutputSet(folder, force=force) as out:
        for name, text in texts.items():
            out.path(name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in texts]


def _report(job: Job, inputs: list[Path], written: list[Path], console: Console) -> None:
    """The tables, the verdict, the files, and what to try next."""
    from converter.cli.screens.audit import verdict_text
    from converter.cli.screens.findings import bend_marks
    from converter.cli.screens.table import die_text, part_text

    marks = bend_marks(job.findings)
    for part in job.parts:
        console.result(part_text(part, job.display, marks, die_text(part.first, job.shop, job.display)) + "\n")
    console.result(verdict_text(job, everything=console.verbose))
    console.result("The tight bend on the trolley's leg is drawn wrong on purpose: it is the audit's to find.\n")
    for path in written:
        if path.name.endswith("-copes.pdf"):
            console.result("The ladder's rungs are coped to its rails: print the templates at full size and wrap them")
            console.result(f"around the ends. They are in {path}\n")
    console.result("written")
    for path in written:
        console.result(f"  {path}")
    again = f"elbowroom audit {inputs[0]} --shop {inputs[1]} --job {inputs[2]}"
    console.say(f"\nNext: change {inputs[0].name} in your CAD package, or the dies in {inputs[1]}, and run\n  {again}")
