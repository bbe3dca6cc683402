"""The options that several commands share, each written once, and what becomes of them.

A command wears them as decorators and gets keyword arguments; `settings_from` and
`console_from` turn those into the library's own values. Lengths are checked here for being
lengths above zero, and kept as typed: a bare number is in the drawing's unit, which is
known only after reading.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar, cast

import click

from converter.cli.console import Console
from converter.errors import ElbowroomError, OptionError
from converter.units import UNIT_CHOICES, parse_length, unit_name

F = TypeVar("F", bound=Callable[..., Any])
Decorator = Callable[[F], F]


def _length(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Check that it is a length above zero; the text itself is the value."""
    if value is None:
        return None
    try:
        mm = parse_length(value)
    except ElbowroomError as error:
        raise OptionError(f"{param.opts[0]}: {error.message}", code=error.code) from error
    if mm <= 0.0:
        raise OptionError(f"{param.opts[0]} must be a length above zero, not {value}.")
    return value


def _unit(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """The canonical name of a unit a drawing may be read in; 'inch' and '"' do as well as 'in'."""
    if value is None:
        return None
    unit = unit_name(value)
    if unit not in UNIT_CHOICES:
        raise OptionError(f"{value!r} is not a unit for a drawing: use one of {', '.join(UNIT_CHOICES)}.")
    return unit


def _tangent(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:
    """Degrees, above 0 and below 45."""
    if value is None:
        return None
    try:
        angle = float(value.strip().removesuffix("°").removesuffix("deg"))
    except ValueError as error:
        raise OptionError(f"{param.opts[0]} takes degrees, not {value!r}.") from error
    if not 0.0 < angle < 45.0:
        raise OptionError(f"{param.opts[0]} must lie between 0 and 45 degrees, not {value}.")
    return angle


def _end(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """'A' or 'B', in either case."""
    if value.strip().upper() not in ("A", "B"):
        raise OptionError(f"{param.opts[0]} takes A or B, not {value!r}.")
    return value.strip().upper()


def _stacked(*options: Callable[[Any], Any]) -> Decorator[Any]:
    """Options that appear in --help in the order written here."""

    def wear(function: Any) -> Any:
        for option in reversed(options):
            function = option(function)
        return function

    return wear


reading = _stacked(
    click.option("--units", callback=_unit, metavar="UNIT", help="Read the numbers as mm, cm, m, in or ft."),
    click.option("--layout", metavar="NAME", help="Read this paper-space layout instead of model space."),
    click.option("--layer", multiple=True, metavar="PATTERN", help="Read only layers like this, e.g. 'TUBE*'."),
    click.option("--skip-layer", multiple=True, metavar="PATTERN", help="Leave out layers like this."),
    click.option("--skip-color", multiple=True, metavar="COLOR", help="Leave out what is drawn in this color number."),
    click.option("--skip-linetype", multiple=True, metavar="PATTERN", help="Leave out linetypes like this."),
)

reducing = _stacked(
    click.option(
        "--layers",
        type=click.Choice(["join", "separate"]),
        default="join",
        help="Whether a run may continue tangent onto another layer.  [join]",
    ),
    click.option("--join", callback=_length, metavar="LENGTH", help="Close gaps up to this.  [0.1 mm]"),
    click.option("--near", callback=_length, metavar="LENGTH", help="Name gaps up to this.  [2 mm]"),
    click.option("--fit", callback=_length, metavar="LENGTH", help="Let a fitted curve stray this far.  [0.05 mm]"),
    click.option("--tangent", callback=_tangent, metavar="DEGREES", help="Take this for tangent.  [0.2]"),
)

_METAL = (
    click.option(
        "--section",
        multiple=True,
        metavar="[LAYER=]SIZE",
        help="Tube size, for all runs or one layer: 1.75x0.120in, 'NPS 1-1/4 sch 40', '25mm bar', 'RAIL=1.5x0.095in'.",
    ),
    click.option(
        "--metal", metavar="NAME", help="Metal of runs that the job file gives none: 'mild steel', 4130, 304."
    ),
    click.option("--clr", callback=_length, metavar="LENGTH", help="Centerline radius for sharp corners."),
    click.option("--refit", is_flag=True, help="Move every bend to the radius of its die (or to --clr)."),
    click.option("--shop", metavar="FILE", help="Your shop file.  [an invented demo shop]"),
    click.option("--job", metavar="FILE", help="Job file: which section and die each layer or run gets."),
)

metal = _stacked(
    *_METAL,
    click.option(
        "--feed-from",
        metavar="A|B",
        callback=_end,
        default="A",
        help="The end that goes first.  [A]",
    ),
)

#: The same without --feed-from, for a command that chooses the end itself.
metal_alone = _stacked(*_METAL)

square_ends = click.option(
    "--no-copes",
    is_flag=True,
    help="Cut every stick where its centerline ends.  [to the long points of coped ends]",
)


def _first(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """'A', 'B' or 'best', in either case; None when not asked."""
    if value is None:
        return None
    word = value.strip()
    if word.lower() == "best":
        return "best"
    if word.upper() not in ("A", "B"):
        raise OptionError(f"{param.opts[0]} takes A, B or best, not {value!r}.")
    return word.upper()


#: what shapes the stick at the bender
at_the_bender = _stacked(
    click.option(
        "--feed-from",
        metavar="A|B|best",
        callback=_first,
        help="The end that goes first; 'best' takes the end and order that need least.  "
        "[A, unless only another way works]",
    ),
    square_ends,
    click.option("--gap", metavar="LENGTH", help="Weld gap the copes leave, as given to cope.  [0]"),
)

showing = _stacked(
    click.option("--in", "inches", is_flag=True, help="Show inches.  [as the drawing]"),
    click.option("--mm", "millimetres", is_flag=True, help="Show millimetres.  [as the drawing]"),
    click.option("--fraction", type=int, metavar="N", help="Show inches as fractions of N: 2, 4, 8 ... 128."),
)


def writing(function: F) -> F:
    """The options of commands that write files; the formats come from the registry."""
    from converter.exporters.registry import FORMATS

    usual = ",".join(one.name for one in FORMATS if one.default)
    names = ", ".join(one.name for one in FORMATS)
    wear = _stacked(
        click.option("--to", metavar="FORMAT,...", help=f"What to write: {names}, or all.  [{usual}]"),
        click.option("--force", is_flag=True, help="Replace files that exist already."),
        click.option("--one-file/--file-each", default=True, help="All solids in one STEP file, or one file each."),
        click.option("--step-unit", metavar="mm|in", help="Unit of STEP and mesh files.  [the unit shown]"),
    )
    return cast("F", wear(function))


talking = _stacked(
    click.option("-q", "--quiet", is_flag=True, help="Say only results and failures."),
    click.option("-v", "--verbose", is_flag=True, help="Say more."),
)

as_json = click.option("--json", "as_json", is_flag=True, help="Write JSON instead of text.")


def example(*lines: str, reads: bool = False) -> str:
    """The epilog that shows how a command is used and, with ``reads``, what it reads."""
    shown = "\b\n" + "\n".join(["Example:" if len(lines) == 1 else "Examples:", *(f"  {line}" for line in lines)])
    return f"{readable()}\n\n{shown}" if reads else shown


def readable() -> str:
    """A paragraph that names what can be read, from the registry."""
    from converter.importers.registry import FORMATS

    lines = [f"  {' '.join(one.extensions)}  {one.summary}" for one in FORMATS]
    return "\n".join(["\b", "INPUT is one of:", *lines])


def folder(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """A folder to write to; an empty name is a slip in a script, not the current folder."""
    if not value.strip():
        raise OptionError(f"{param.opts[0]} names no folder: write --out . for the current one.")
    return value


def console_from(given: dict[str, Any]) -> Console:
    """Take the talking options out of a command's arguments."""
    console = Console(given.pop("quiet", False), given.pop("verbose", False), given.pop("as_json", False))
    if console.quiet and console.verbose:
        raise OptionError("--quiet and --verbose contradict each other: give one.")
    return console


@dataclass(frozen=True, slots=True)
class Writing:
    """What to write: formats (empty for the usual), whether to replace files, and how STEP comes."""

    formats: tuple[str, ...]
    force: bool
    one_file: bool
    step_unit: str | None


def writing_from(given: dict[str, Any]) -> Writing:
    """Take the writing options out of a command's arguments.

    Raises:
        OptionError: an unknown format, or none at all after --to.
    """
    text, unit = given.pop("to"), given.pop("step_unit")
    if unit is not None and unit not in ("mm", "in"):
        raise OptionError(f"--step-unit takes mm or in, not {unit!r}.")
    formats: tuple[str, ...] = ()
    if text is not None:
        from converter.exporters.registry import FORMATS, find

        names = [name for name in text.replace(" ", "").split(",") if name]
        if not names:
            raise OptionError(f"--to names no format: use {', '.join(one.name for one in FORMATS)}.")
        formats = tuple(one.name for one in FORMATS) if names == ["all"] else tuple(find(name).name for name in names)
    return Writing(formats, given.pop("force"), given.pop("one_file"), unit)


def shown_unit(given: dict[str, Any]) -> str | None:
    """'in' or 'mm' as the showing options say, or None.

    Raises:
        OptionError: both were given.
    """
    if given["inches"] and given["millimetres"]:
        raise OptionError("--in and --mm contradict each other: give one.")
    return "in" if given["inches"] else "mm" if given["millimetres"] else None


def settings_from(given: dict[str, Any]) -> Any:
    """The library's `converter.settings.Settings` from a command's arguments (reading, reducing, metal, showing).

    Raises:
        OptionError: two options contradict each other.
    """
    # here and not above: --help must not pay for the readers
    from converter.importers.registry import ReadOptions
    from converter.settings import Settings

    settings = Settings(
        read=ReadOptions(
            units=given["units"],
            layout=given["layout"],
            layers=given["layer"],
            skip_layers=given["skip_layer"],
            skip_colors=given["skip_color"],
            skip_linetypes=given["skip_linetype"],
        ),
        join=given["join"],
        near=given["near"],
        fit=given["fit"],
        tangent=given["tangent"],
        across_layers=given["layers"] == "join",
        sections=given["section"],
        metal=given["metal"],
        clr=given["clr"],
        refit=given["refit"],
        shop=given["shop"],
        job=given["job"],
        feed_from=given["feed_from"],
        unit=shown_unit(given),
        denominator=given["fraction"],
    )
    settings.display("mm")  # a bad --fraction fails before anything is read
    return settings
