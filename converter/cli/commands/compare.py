"""``elbowroom compare``: a made tube against the drawn one, and what to set for the next piece."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from converter.cli import options, outputs
from converter.cli.as_read import picture_file
from converter.cli.console import Console
from converter.errors import OptionError
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.job.made_tubes import TubeComparison
    from converter.settings import Settings


@dataclass(frozen=True, slots=True)
class MeasuredChoices:
    """What was measured by hand, as typed."""

    angles: tuple[str, ...]
    rotations: tuple[str, ...]
    straights: tuple[str, ...]
    stops: tuple[str, ...]


#: Ending of a sheet.
_SHEET = ".pdf"


def _sheet_file(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """A file name with the ending of a sheet."""
    if value is not None and not value.lower().endswith(_SHEET):
        raise OptionError(f"--sheet takes a file whose name ends in {_SHEET}, not {quoted(value)}.")
    return value


_measured = options.grouped(
    "typed",
    MeasuredChoices,
    click.option("--measured", "angles", multiple=True, metavar="ANGLE:BEND,...",
                 help="Angles as measured, each with the number of its bend."),
    click.option("--rotations", multiple=True, metavar="ANGLE:BEND,...",
                 help="Rotations as measured, each with the number of the bend behind it."),
    click.option("--straights", multiple=True, metavar="LENGTH:NUMBER,...",
                 help="Straights as measured: 1 before bend 1, 2 before bend 2 ... the tail last."),
    click.option("--stops", multiple=True, metavar="ANGLE:BEND,...",
                 help="Stops as they were set, where not as 'setup' says."),
)  # fmt: skip


@click.command(
    short_help="Compare a made tube with the drawn one; what to set for the next piece.",
    epilog=options.example(
        "elbowroom compare rail.dxf measured.csv --shop myshop.toml --section 1.75x0.120in",
        "elbowroom compare frame.dxf made.step --run RAIL-2 --tolerance iso2768-c --picture miss.svg",
        "elbowroom compare rail.dxf --measured 88.5:1,91:2 --straights 12in:1 --shop myshop.toml --learn",
        reads=True,
    ),
)
@click.argument("nominal", metavar="NOMINAL")
@click.argument("made", metavar="[MEASURED]", required=False)
@_measured
@click.option("--tolerance", metavar="NAME", help="Judge by: shop, iso2768-f|m|c|v, iso13920-a|b|c|d.  [shop]")
@click.option("--learn", is_flag=True, help="Record the bends as test bends of the shop file, for springback.")
@click.option(
    "--picture",
    metavar="FILE",
    callback=picture_file,
    help="Also draw both, the miss larger: FILE.svg or FILE.png.",
)
@click.option("--sheet", metavar="FILE", callback=_sheet_file, help="Also write a sheet with all of it: FILE.pdf.")
@outputs.force
@options.settings_to_bend
@options.talking_json
def compare(
    nominal: str,
    made: str | None,
    typed: MeasuredChoices,
    tolerance: str | None,
    learn: bool,
    picture: str | None,
    sheet: str | None,
    force: bool,
    settings: Settings,
    console: Console,
) -> int:
    """Lay the tube that was made on the one of NOMINAL, and say how they differ.

    MEASURED is anything that can be read: a bend table or points typed in (CSV), a STEP or mesh of the made tube; or
    type what protractor and tape say with --measured, --rotations and --straights, the rest being right. Either end
    may come first. Exit status 1 means that something is off by more than the limits allow.
    """
    has_typed = bool(typed.angles or typed.rotations or typed.straights)
    if (made is None) != has_typed:
        raise OptionError(
            "Name what was measured: a file MEASURED, or --measured, --rotations and --straights, and not both."
        )
    if force and picture is None and sheet is None:
        raise OptionError("--force replaces what --picture or --sheet writes: give one of them too.")
    if learn and settings.shop is None:
        raise OptionError("--learn writes into your shop file: name it with --shop FILE.")
    with console.progress(f"comparing {nominal}"):
        answer = _answer(nominal, made, typed, tolerance, settings)
    made_of = "what was typed" if made is None else made
    if console.as_json:
        from converter.exporters.data.compare_json import compare_document

        console.json(compare_document(answer, made_of))
    else:
        from converter.cli.screens.compare import comparison_text

        console.result(comparison_text(answer, made_of, answer.job.display))
    if picture is not None:
        from converter.exporters.pictures.comparison import comparison_picture
        from converter.exporters.pictures.files import write_one

        shown = comparison_picture(answer.comparison, answer.tube.name, answer.job.display)
        console.say(f"drawn in {write_one(shown, picture, answer.job, force=force)}")
    if sheet is not None:
        from converter.exporters.sheet.pdf.comparison import write_comparison

        console.say(f"sheet in {write_comparison(answer, made_of, sheet, force=force)}")
    if learn:
        _record(answer, str(settings.shop), console)
    return 1 if answer.comparison.excesses else 0


def _answer(
    nominal: str, made: str | None, typed: MeasuredChoices, tolerance: str | None, settings: Settings
) -> TubeComparison:
    """Read both, and compare."""
    from dataclasses import replace

    from converter.job import open_job
    from converter.job.made_tubes import compare_tube, drawn_tube, limits_named, measured_tube, typed_table
    from converter.units import parse_length

    job = open_job(nominal, settings)
    limits = limits_named(tolerance, job.shop)
    tube = drawn_tube(job)
    stops = _numbered("--stops", typed.stops, _degrees)
    if made is None:
        unit = job.drawing.read_as
        table = typed_table(
            job.shown.setup_of[tube.name],
            _numbered("--measured", typed.angles, _degrees),
            _numbered("--rotations", typed.rotations, _degrees),
            _numbered("--straights", typed.straights, lambda text: parse_length(text, unit)),
            stops,
        )
    else:
        # the made tube is as it is: neither the job file nor another radius speaks of it; what names no unit was
        # measured in the drawing's
        read = replace(settings.read, shop_units=job.drawing.read_as)
        own = replace(settings, read=read, runs=(), job=None, refit=False, clr=None, reverse=False)
        other = open_job(made, own)
        job.note_files(other.inputs)
        table = measured_tube(other, tube).run.table
    if any(bend.clr is None for bend in tube.run.table.bends):
        raise OptionError(
            f"{quoted(tube.name)} has a sharp corner without a radius: give its die with --shop, or --clr LENGTH."
        )
    return compare_tube(job, tube, table, limits, stops)


def _numbered(option: str, typed: Sequence[str], read: Callable[[str], float]) -> dict[int, float]:
    """``93:1,88.5:2`` as number -> value.

    Raises:
        OptionError: it is not so written, or a number stands twice.
    """
    from converter.errors import ElbowroomError

    values: dict[int, float] = {}
    for text in (part for each in typed for part in each.split(",")):
        value, colon, number = text.rpartition(":")
        number = number.strip()
        if not colon or not (number.isascii() and number.isdigit() and len(number) < 7):
            raise OptionError(f"{option} takes VALUE:NUMBER, several with commas between, not {quoted(text)}.")
        if int(number) in values:
            raise OptionError(f"{option} names {int(number)} twice.")
        try:
            values[int(number)] = read(value)
        except ElbowroomError as error:
            raise OptionError(f"{option}: {error.message}") from error
    return values


def _degrees(text: str) -> float:
    from math import isfinite

    try:
        value = float(text.strip().removesuffix("°").removesuffix("deg"))
    except ValueError:
        value = float("nan")
    if not isfinite(value) or abs(value) > 360.0:
        raise OptionError(f"{quoted(text)} is not an angle in degrees.")
    return value


def _record(answer: TubeComparison, shop: str, console: Console) -> None:
    """Write what was learned into the shop file."""
    from converter.shop.test_bends import record

    tests = answer.test_bends()
    if not tests:
        raise OptionError("Nothing was learned: no bend of the tube has a die of the shop.")
    before = record(shop, tests)
    console.say(
        f"Recorded {len(tests)} test bend{'s' if len(tests) > 1 else ''} in {shop}; {before} says what it said before."
    )
