"""``elbowroom demo``: an invented job, written out and run through the main job."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.cli.console import Console

if TYPE_CHECKING:
    from pathlib import Path

    from converter.api import Result


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
    callback=options.folder,
    help="Folder to write to.",
)
@options.writing
@options.showing
@options.as_json
@options.talking
def demo(out: str, **given: Any) -> int:
    """Write a kayak trolley and a dock ladder to DIR, then everything the shop needs to bend them.

    DIR gets the drawing, a shop file and a job file; DIR/out the job sheet, the cope templates of the
    ladder's rungs, and what `elbowroom convert` makes of them. One bend is drawn too tight on purpose,
    so that the audit has something to say.
    """
    console = options.console_from(given)
    writing = options.writing_from(given)
    unit = options.shown_unit(given)

    from dataclasses import replace
    from pathlib import Path

    from converter.api import (
        Settings,
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
    from converter.demo.boathouse import STEM

    folder = Path(out)
    settings = Settings(
        shop=str(folder / "shop.toml"),
        job=str(folder / "job.toml"),
        unit=unit,
        denominator=given["fraction"],
    )
    settings.display("in")  # a bad --fraction fails before anything is written
    with console.progress("loading what the formats need"):
        formats, left_out = usable_formats(writing.formats)
    if not writing.formats:
        formats = [*SHEETS, COPES, *formats]
    settings = replace(settings, both_units=shows_whole(formats)).keeping_left_out(shows_left_out(formats))
    for reason in left_out:
        console.say(f"note: {reason}")
    inputs = _write_inputs(folder, writing.force)
    with console.progress("reading and checking"):
        result = check(load(str(folder / f"{STEM}.dxf"), settings))
        works = [work_out(result)] if shows_sticks(formats) else []
        result = foresee([with_joints(result, works[0]) if works else result], formats)[0]
    with console.progress("writing"):
        paths = export(
            [result],
            str(folder / "out"),
            formats,
            force=writing.force,
            step_unit=writing.step_unit,
            one_file=writing.one_file,
            works=works,
        )
    shown = foresee([work.result.alone() for work in works], formats)[0] if settings.both_units else result
    # the sheet is what people look at: it is named before all else
    sheets = [path for path in paths if path.name.endswith(_SHEET_ENDINGS)]
    written = [*sheets, *inputs, *(path for path in paths if path not in sheets)]
    if console.as_json:
        from converter.cli.audit import audit_document

        document = audit_document([shown])
        document["schema"] = "elbowroom/convert/1"
        document["written"] = [str(path) for path in written]
        console.json(document)
    else:
        _tell(shown, inputs, written, console)
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


def _tell(result: Result, inputs: list[Path], written: list[Path], console: Console) -> None:
    """The tables, the verdict, the files, and what to try next."""
    from converter.cli.audit import verdict
    from converter.cli.tables import tube_text
    from converter.cli.text import bend_marks

    marks = bend_marks(result.findings)
    for tube in result.tubes:
        console.result(tube_text(tube, result.display, marks) + "\n")
    console.result(verdict(result, console))
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
