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
    from converter.job import Job
    from converter.job.made_tubes import Comparisons
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
        "elbowroom compare frame.dxf made.step --run 'RAIL*' --tolerance iso2768-c --sheet miss.pdf",
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
    """Lay the tubes that were made on those of NOMINAL, and say how they differ.

    MEASURED is anything that can be read: a bend table or points typed in (CSV), a STEP or mesh of what was made. Of
    several tubes each is compared with the one of its name (--run picks some). Or type what protractor and tape say of
    one tube with --measured, --rotations and --straights, the rest being right. Either end may come first. Exit
    status 1 means that something is off by more than the limits allow.
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
        job, answers = _answers(nominal, made, typed, tolerance, settings)
    if picture is not None and len(answers.tubes) > 1:
        raise OptionError(
            f"--picture draws one tube, and {len(answers.tubes)} are compared: pick one with --run NAME, or write a "
            "sheet of all with --sheet FILE.pdf."
        )
    made_of = "what was typed" if made is None else made
    read_from = f"{made_of}, the rest as the set-up means it" if made is None else made
    if console.as_json:
        from converter.exporters.data.compare_json import compare_document

        console.json(compare_document(answers, made_of))
    else:
        from converter.cli.screens.compare import comparison_text

        console.result("\n\n\n".join(comparison_text(answer, read_from, job.display) for answer in answers.tubes))
    from converter.job.made_tubes import names_text

    if answers.not_measured:
        console.say(f"Not in {made_of}, and not compared: {names_text(answers.not_measured)}.")
    for name, error in answers.refused.items():
        console.say(f"{quoted(name)} was not compared: {error.message}")
    if picture is not None:
        from converter.exporters.pictures.comparison import comparison_picture
        from converter.exporters.pictures.files import write_one

        (answer,) = answers.tubes
        shown = comparison_picture(answer.comparison, answer.tube.name, job.display)
        console.say(f"drawn in {write_one(shown, picture, job, force=force)}")
    if sheet is not None:
        from converter.exporters.sheet.pdf.comparison import write_comparison

        console.say(f"sheet in {write_comparison(job, answers.tubes, read_from, sheet, force=force)}")
    if learn:
        _record(answers, str(settings.shop), console)
    if answers.refused:
        return 2
    return 1 if any(answer.comparison.excesses for answer in answers.tubes) else 0


def _answers(
    nominal: str, made: str | None, typed: MeasuredChoices, tolerance: str | None, settings: Settings
) -> tuple[Job, Comparisons]:
    """Read both, and compare."""
    from dataclasses import replace

    from converter.job import open_job
    from converter.job.made_tubes import (
        Comparisons,
        compare_file,
        compare_tube,
        drawn_tube,
        limits_named,
        typed_table,
    )
    from converter.units import parse_length

    job = open_job(nominal, settings)
    limits = limits_named(tolerance, job.shop)
    stops = _numbered("--stops", typed.stops, _degrees)
    if made is None:
        tube = drawn_tube(job)
        unit = job.drawing.read_as
        table = typed_table(
            job.shown.setup_of[tube.name],
            _numbered("--measured", typed.angles, _degrees),
            _numbered("--rotations", typed.rotations, _degrees),
            _numbered("--straights", typed.straights, lambda text: parse_length(text, unit)),
            stops,
        )
        return job, Comparisons(job.source, (compare_tube(job, tube, table, limits, stops),))
    # the made tubes are as they are: neither the job file nor another radius speaks of them; what names no unit was
    # measured in the drawing's
    read = replace(settings.read, shop_units=job.drawing.read_as)
    own = replace(settings, read=read, runs=(), job=None, refit=False, clr=None, reverse=False)
    other = open_job(made, own)
    job.note_files(other.inputs)
    return job, compare_file(job, other, limits, stops)


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


def _record(answers: Comparisons, shop: str, console: Console) -> None:
    """Write what was learned into the shop file."""
    from converter.shop.test_bends import record

    tests = [test for answer in answers.tubes for test in answer.test_bends()]
    if not tests:
        raise OptionError("Nothing was learned: no bend has a die of the shop.")
    before = record(shop, tests)
    console.say(
        f"Recorded {len(tests)} test bend{'s' if len(tests) > 1 else ''} in {shop}; {before} says what it said before."
    )
