"""The options that several commands share, each written once, and what becomes of them.

Each group of options is a decorator, and reaches the command as one value: the library's own where
there is one (`settings`, `console`), else of the group's own class (`ShowingChoices`...).
Lengths are checked for being lengths above zero (`converter.cli.values`), and kept as typed: a bare
number is in the drawing's unit, which is known only after reading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar

import click

from converter.cli import values
from converter.cli.console import Console
from converter.cli.streams import silence_libraries
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.findings import Finding
    from converter.settings import Settings
    from converter.units import Display

F = TypeVar("F", bound=Callable[..., Any])
Decorator = Callable[[F], F]


def _stacked(*options: Callable[[Any], Any]) -> Decorator[Any]:
    """Options that appear in --help in the order written here."""

    def decorate(function: Any) -> Any:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def grouped(
    keyword: str, kind: type[Any], *options: Callable[[Any], Any], into: Callable[[Any], Any] | None = None
) -> Decorator[Any]:
    """Options that reach the command as one value.

    Args:
        keyword: the command's argument for it.
        kind: a dataclass with a field for each option, named as click names it; fields without one keep their default.
        options: the options, in the order of --help.
        into: makes the value that reaches the command of what was typed; that itself when None.
    """
    names = [field.name for field in fields(kind)]

    def decorate(function: Any) -> Any:
        @wraps(function)
        def command(*args: Any, **typed: Any) -> Any:
            chosen = kind(**{name: typed.pop(name) for name in names if name in typed})
            return function(*args, **{keyword: chosen if into is None else into(chosen)}, **typed)

        return _stacked(*options)(command)

    return decorate


#: What a command that reads files may use of the machine; set where the command runs, and no value of it.
limits = _stacked(
    click.option(
        "--limit-time",
        metavar="SECONDS",
        callback=values.limit_seconds,
        expose_value=False,
        help="Give up an input after this much processor time, or never: none.  [1800]",
    ),
    click.option(
        "--limit-memory",
        metavar="SIZE",
        callback=values.limit_memory,
        expose_value=False,
        help="Give up beyond this much memory, or never: none.  [4GB, or 3/4 of the machine's]",
    ),
)


@dataclass(frozen=True, slots=True)
class ReadingChoices:
    """What is read from a file, as typed."""

    units: str | None
    layout: str | None
    layer: tuple[str, ...]
    skip_layer: tuple[str, ...]
    skip_color: tuple[str, ...]
    skip_linetype: tuple[str, ...]
    from_outline: bool
    take_all: bool


_reading = grouped(
    "reading",
    ReadingChoices,
    click.option(
        "--units", callback=values.drawing_unit, metavar="UNIT", help="Read the numbers as mm, cm, m, in or ft."
    ),
    click.option("--layout", metavar="NAME", help="Read this paper-space layout instead of model space."),
    click.option(
        "--layer",
        multiple=True,
        metavar="PATTERN",
        help="The drawing is only what is on layers like this, e.g. 'TUBE*'.",
    ),
    click.option(
        "--skip-layer", multiple=True, metavar="PATTERN", help="Layers like this do not belong to the drawing."
    ),
    click.option("--skip-color", multiple=True, metavar="COLOR", help="Leave out what is drawn in this color number."),
    click.option("--skip-linetype", multiple=True, metavar="PATTERN", help="Leave out linetypes like this."),
    click.option(
        "--from-outline",
        is_flag=True,
        help="The lines are outlines: read two that run side by side as the tube between them.",
    ),
    click.option(
        "--take-all",
        is_flag=True,
        help="Leave out nothing that looks like hardware in a STEP file, or like a section drawn on a path.",
    ),
    limits,
)


@dataclass(frozen=True, slots=True)
class ReducingChoices:
    """How curves become runs: lengths as typed, the tangent in degrees."""

    layers: str
    join: str | None
    near: str | None
    fit: str | None
    tangent: float | None


_reducing = grouped(
    "reducing",
    ReducingChoices,
    click.option(
        "--layers",
        type=click.Choice(["join", "separate"]),
        default="join",
        help="Whether a tube may go on tangent onto another layer.  [join]",
    ),
    click.option("--join", callback=values.length, metavar="LENGTH", help="Close gaps up to this.  [0.1 mm]"),
    click.option("--near", callback=values.length, metavar="LENGTH", help="Name gaps up to this.  [2 mm]"),
    click.option(
        "--fit", callback=values.length, metavar="LENGTH", help="Let a fitted curve stray this far.  [0.05 mm]"
    ),
    click.option("--tangent", callback=values.tangent_angle, metavar="DEGREES", help="Take this for tangent.  [0.2]"),
)


shop_file = click.option("--shop", metavar="FILE", help="Your shop file.  [an invented demo shop]")
job_file = click.option("--job", metavar="FILE", help="Job file: which section and die each layer or tube gets.")


@dataclass(frozen=True, slots=True)
class TubeChoices:
    """What tube the runs become, on which dies, as typed."""

    section: tuple[str, ...]
    metal: str | None
    clr: str | None
    refit: bool
    shop: str | None
    job: str | None
    reverse: bool
    corner: str | None
    on_flat: str | None


_tube = grouped(
    "tube",
    TubeChoices,
    click.option(
        "--section",
        multiple=True,
        metavar="[LAYER=]SIZE",
        help="Tube size, for all tubes or one layer: 1.75x0.120in, 'NPS 1-1/4 sch 40', '25mm bar', 'RAIL=1.5x0.095in'.",
    ),
    click.option(
        "--metal", metavar="NAME", help="Metal of tubes that the job file gives none: 'mild steel', 4130, 304."
    ),
    click.option("--clr", callback=values.length, metavar="LENGTH", help="Centerline radius for sharp corners."),
    click.option("--refit", is_flag=True, help="Bend every bend at the radius of its die (or of --clr)."),
    shop_file,
    job_file,
    click.option(
        "--reverse", is_flag=True, help="Begin each table at the other end of its tube, which is then called A."
    ),
    click.option(
        "--corner",
        type=click.Choice(["mitre", "bend"]),
        help="Sharp corners: mitre makes a tube of every straight between two, bend makes one tube.  [bend]",
    ),
    click.option(
        "--on-flat",
        type=click.Choice(["square", "cope"]),
        help="Ends that land on a flat: sawn to it, or coped around its corner radii.  [square]",
    ),
)


_gap = click.option("--gap", callback=values.gap, metavar="LENGTH", help="Weld gap the cuts leave.  [0]")


@dataclass(frozen=True, slots=True)
class BenderChoices:
    """What shapes the stick at the bender: the end that goes first, how its ends are cut; the gap as typed."""

    feed_from: str | None = None
    no_copes: bool = False
    gap: str | None = None


_cut_to_mates = grouped("bender", BenderChoices, _gap)

_at_the_bender = grouped(
    "bender",
    BenderChoices,
    click.option(
        "--feed-from",
        metavar="A|B|best",
        callback=values.first_end,
        help="The end that goes first; 'best' takes the end and order that need least.  "
        "[A, unless only another way works]",
    ),
    click.option(
        "--no-copes",
        is_flag=True,
        help="Cut every tube where its centerline ends.  [to the long points of coped ends]",
    ),
    _gap,
)

_shown_runs = click.option(
    "--run",
    "runs",
    multiple=True,
    metavar="PATTERN",
    help="Show and write only tubes with a name or layer like this, e.g. 'RAIL*'; the rest still counts.  [all]",
)


@dataclass(frozen=True, slots=True)
class ShowingChoices:
    """The unit lengths are shown in."""

    inches: bool
    millimetres: bool
    fraction: int | None

    @property
    def unit(self) -> str | None:
        """'in' or 'mm', or None when neither was asked for.

        Raises:
            OptionError: both were.
        """
        if self.inches and self.millimetres:
            raise OptionError("--in and --mm contradict each other: give one.")
        return "in" if self.inches else "mm" if self.millimetres else None


showing = grouped(
    "showing",
    ShowingChoices,
    click.option("--in", "inches", is_flag=True, help="Show inches.  [as the drawing]"),
    click.option("--mm", "millimetres", is_flag=True, help="Show millimetres.  [as the drawing]"),
    click.option("--fraction", type=int, metavar="N", help="Show inches as fractions of N: 2, 4, 8 ... 128."),
)


@dataclass(frozen=True, slots=True)
class TalkingChoices:
    """How much a command says, and in which form."""

    quiet: bool
    verbose: bool
    as_json: bool = False
    as_csv: bool = False


def _console_from(talking: TalkingChoices) -> Console:
    """Where a command's results and messages go.

    Raises:
        OptionError: --quiet and --verbose, or --json and --csv.
    """
    silence_libraries()
    if talking.as_json and talking.as_csv:
        raise OptionError("--json and --csv both want standard output: give one.")
    if talking.quiet and talking.verbose:
        raise OptionError("--quiet and --verbose contradict each other: give one.")
    return Console(talking.quiet, talking.verbose, talking.as_json, talking.as_csv)


_quiet = click.option("-q", "--quiet", is_flag=True, help="Say only results and failures.")
_verbose = click.option("-v", "--verbose", is_flag=True, help="Say more.")
_json = click.option("--json", "as_json", is_flag=True, help="Write JSON instead of text.")
_csv = click.option("--csv", "as_csv", is_flag=True, help="Write a list as CSV instead of text.")

#: How often everything is made, of commands that count what that takes.
jobs = click.option(
    "--jobs", type=click.IntRange(1, 1_000_000), default=1, metavar="N", help="How many times it is all made.  [1]"
)

#: How a command talks: in text; in text or JSON; in text, JSON or CSV.
talking = grouped("console", TalkingChoices, _quiet, _verbose, into=_console_from)
talking_json = grouped("console", TalkingChoices, _json, _quiet, _verbose, into=_console_from)
talking_lists = grouped("console", TalkingChoices, _json, _csv, _quiet, _verbose, into=_console_from)


def one_input_for_csv(sources: Sequence[str], console: Console) -> None:
    """Refuse several inputs in one CSV, whose rows name no file.

    Raises:
        OptionError: there are several.
    """
    if console.as_csv and len(sources) > 1:
        raise OptionError("--csv lists one drawing: name one INPUT.")


def example(*lines: str, reads: bool = False) -> str:
    """The epilog that shows how a command is used and, with ``reads``, what it reads."""
    shown = "\b\n" + "\n".join(["Example:" if len(lines) == 1 else "Examples:", *(f"  {line}" for line in lines)])
    return f"{readable()}\n\n{shown}" if reads else shown


def readable() -> str:
    """A paragraph that names what can be read, from the registry."""
    from converter.importers.registry import FORMATS

    lines = [f"  {' '.join(one.extensions)}  {one.summary}" for one in FORMATS]
    return "\n".join(["\b", "INPUT is one of:", *lines])


def say_findings(console: Console, findings: Sequence[Finding], display: Display) -> None:
    """What was found, on stderr, where stdout has the result of a program's sort."""
    from converter.cli.screens.findings import findings_text

    if findings:
        console.say(lambda: findings_text(findings, display, everything=console.verbose))


def _settings_from(
    reading: ReadingChoices,
    reducing: ReducingChoices,
    tube: TubeChoices,
    showing: ShowingChoices,
    runs: tuple[str, ...],
    bender: BenderChoices,
) -> Settings:
    """The library's settings from the options of a command that reads.

    Raises:
        OptionError: two options contradict each other.
    """
    # here and not above: --help must not pay for the readers
    from converter.importers.registry import ReadOptions
    from converter.settings import Settings

    if bender.no_copes and bender.gap is not None:
        raise OptionError("--gap is the gap that copes leave, and --no-copes leaves them out: give one.")
    settings = Settings(
        read=ReadOptions(
            units=reading.units,
            layout=reading.layout,
            layers=reading.layer,
            skip_layers=reading.skip_layer,
            skip_colors=reading.skip_color,
            skip_linetypes=reading.skip_linetype,
            from_outline=reading.from_outline,
            take_all=reading.take_all,
        ),
        join=reducing.join,
        near=reducing.near,
        fit=reducing.fit,
        tangent=reducing.tangent,
        across_layers=reducing.layers == "join",
        sections=tube.section,
        metal=tube.metal,
        clr=tube.clr,
        refit=tube.refit,
        shop=tube.shop,
        job=tube.job,
        reverse=tube.reverse,
        corner=tube.corner,
        on_flat=tube.on_flat,
        feed_from=bender.feed_from,
        coped=not bender.no_copes,
        gap=bender.gap,
        runs=runs,
        unit=showing.unit,
        denominator=showing.fraction,
    )
    settings.display("mm")  # a bad --fraction fails before anything is read
    return settings


def _settings(*at_the_ends: Decorator[Any]) -> Decorator[Any]:
    """All options that a job is opened by; they reach the command as its ``settings``, checked.

    Args:
        at_the_ends: the group, if any, that says how a stick's ends are cut and which goes first.
    """

    def decorate(function: Any) -> Any:
        @wraps(function)
        def command(
            *args: Any,
            reading: ReadingChoices,
            reducing: ReducingChoices,
            tube: TubeChoices,
            runs: tuple[str, ...],
            showing: ShowingChoices,
            bender: BenderChoices | None = None,
            **typed: Any,
        ) -> Any:
            settings = _settings_from(reading, reducing, tube, showing, runs, bender or BenderChoices())
            return function(*args, settings=settings, **typed)

        # what every job needs comes first in --help, how a drawing is read after it
        return _stacked(_tube, *at_the_ends, _shown_runs, showing, _reading, _reducing)(command)

    return decorate


#: The settings of a job that is read and no more; whose ends are fitted; that goes to the bender.
settings_to_read = _settings()
settings_to_cope = _settings(_cut_to_mates)
settings_to_bend = _settings(_at_the_bender)
