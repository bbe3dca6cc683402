"""The options that several commands share, each written once, and what becomes of them.

Each group of options is a decorator, and reaches the command as one value of the group's own
class (`ReadingChoices`...); `settings_from` and `console_from` turn those into the library's own
values. Lengths are checked for being lengths above zero (`converter.cli.values`), and kept as typed:
a bare number is in the drawing's unit, which is known only after reading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from converter.cli import values
from converter.cli.console import Console
from converter.cli.streams import silence_libraries
from converter.errors import OptionError
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.exporters.options import WriteOptions
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


def grouped(keyword: str, kind: type[Any], *options: Callable[[Any], Any]) -> Decorator[Any]:
    """Options that reach the command as one value.

    Args:
        keyword: the command's argument for it.
        kind: a dataclass with a field for each option, named as click names it.
        options: the options, in the order of --help.
    """
    names = [field.name for field in fields(kind)]

    def decorate(function: Any) -> Any:
        @wraps(function)
        def command(*args: Any, **typed: Any) -> Any:
            chosen = kind(**{name: typed.pop(name) for name in names})
            return function(*args, **{keyword: chosen}, **typed)

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


reading = grouped(
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
        "--take-all", is_flag=True, help="Take screws, pins, bosses and fittings in a STEP file for stock, too."
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


reducing = grouped(
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


tube = grouped(
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
    click.option("--shop", metavar="FILE", help="Your shop file.  [an invented demo shop]"),
    click.option("--job", metavar="FILE", help="Job file: which section and die each layer or tube gets."),
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
        help="Ends that land squarely on a flat: cut square, or coped around its corner radii.  [square]",
    ),
)


weld_gap = click.option("--gap", callback=values.gap, metavar="LENGTH", help="Weld gap the cuts leave.  [0]")


@dataclass(frozen=True, slots=True)
class BenderChoices:
    """What shapes the stick at the bender: the end that goes first, how its ends are cut; the gap as typed."""

    feed_from: str | None = None
    no_copes: bool = False
    gap: str | None = None


at_the_bender = grouped(
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
    weld_gap,
)

shown_runs = click.option(
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


paper = click.option(
    "--paper", metavar="A4|Letter", callback=values.paper_size, help="Paper of the PDF.  [Letter with inches, else A4]"
)

paper_thickness = click.option(
    "--paper-thickness", metavar="LENGTH", help="Thickness of the paper that is wrapped around the tube.  [0.1mm]"
)

force = click.option("--force", is_flag=True, help="Replace files that exist already.")


@dataclass(frozen=True, slots=True)
class WritingChoices:
    """Which files are written and how: formats and unit as typed."""

    to: str | None
    force: bool
    one_file: bool
    step_unit: str | None
    paper: str
    paper_thickness: str | None


def writing(function: F) -> F:
    """The options of commands that write files; the formats come from the registry."""
    from converter.exporters.registry import FORMATS

    usual = ",".join(written.name for written in FORMATS if written.default)
    names = ", ".join(written.name for written in FORMATS)
    decorate = grouped(
        "writing",
        WritingChoices,
        click.option("--to", metavar="FORMAT,...", help=f"What to write: {names}, or all.  [{usual}]"),
        force,
        click.option("--one-file/--file-each", default=True, help="All solids in one STEP file, or one file each."),
        click.option(
            "--step-unit",
            metavar="mm|in",
            help="Unit that STEP and mesh files are written in.  [inches where lengths show in inches, else mm]",
        ),
        paper,
        paper_thickness,
    )
    return cast("F", decorate(function))


@dataclass(frozen=True, slots=True)
class TalkingChoices:
    """How much a command says."""

    quiet: bool
    verbose: bool


talking = grouped(
    "talking",
    TalkingChoices,
    click.option("-q", "--quiet", is_flag=True, help="Say only results and failures."),
    click.option("-v", "--verbose", is_flag=True, help="Say more."),
)

as_json = click.option("--json", "as_json", is_flag=True, help="Write JSON instead of text.")
as_csv = click.option("--csv", "as_csv", is_flag=True, help="Write a list as CSV instead of text.")


def one_input_for_csv(sources: Sequence[str], as_csv: bool) -> None:
    """Refuse several inputs in one CSV, whose rows name no file.

    Raises:
        OptionError: there are several.
    """
    if as_csv and len(sources) > 1:
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


def console_from(talking: TalkingChoices, as_json: bool = False, as_csv: bool = False) -> Console:
    """Where a command's results and messages go.

    Raises:
        OptionError: --quiet and --verbose, or --json and --csv.
    """
    silence_libraries()
    if as_json and as_csv:
        raise OptionError("--json and --csv both want standard output: give one.")
    if talking.quiet and talking.verbose:
        raise OptionError("--quiet and --verbose contradict each other: give one.")
    return Console(talking.quiet, talking.verbose, as_json)


def say_findings(console: Console, findings: Sequence[Finding], display: Display) -> None:
    """What was found, on stderr, where stdout has the result of a program's sort."""
    from converter.cli.screens.findings import findings_text

    if findings:
        console.say(lambda: findings_text(findings, display, everything=console.verbose))


@dataclass(frozen=True, slots=True)
class Writing:
    """What to write: formats (empty for the usual), whether to replace files, and how."""

    formats: tuple[str, ...]
    force: bool
    options: WriteOptions


def writing_from(chosen: WritingChoices) -> Writing:
    """The writing options, understood.

    Raises:
        OptionError: an unknown format, or none at all after --to; SOURCE_DATE_EPOCH is no date.
    """
    from converter.dates import fixed_time

    fixed_time()
    if chosen.step_unit is not None and chosen.step_unit not in ("mm", "in"):
        raise OptionError(f"--step-unit takes mm or in, not {quoted(chosen.step_unit)}.")
    formats: tuple[str, ...] = ()
    if chosen.to is not None:
        from converter.exporters.registry import FORMATS, find

        names = [name for name in chosen.to.replace(" ", "").split(",") if name]
        every = [written.name for written in FORMATS]
        if not names:
            raise OptionError(f"--to names no format: use {', '.join(every)}.")
        formats = tuple(every) if names == ["all"] else tuple(find(name).name for name in names)
    from converter.exporters.options import WriteOptions

    how = WriteOptions(
        step_unit=chosen.step_unit or "",
        one_file=chosen.one_file,
        paper=chosen.paper,
        paper_thickness=thickness_from(chosen.paper_thickness),
    )
    return Writing(formats, chosen.force, how)


def thickness_from(typed: str | None) -> float:
    """Thickness of paper as typed, mm; of ordinary paper for None.

    Raises:
        OptionError: it is no length.
    """
    from converter.exporters.options import PAPER_THICKNESS
    from converter.units import parse_length

    return PAPER_THICKNESS if typed is None else parse_length(typed, "mm")


def settings_from(
    reading: ReadingChoices,
    reducing: ReducingChoices,
    tube: TubeChoices,
    showing: ShowingChoices,
    *,
    runs: tuple[str, ...] = (),
    bender: BenderChoices | None = None,
) -> Settings:
    """The library's settings from the options of a command that reads.

    Raises:
        OptionError: two options contradict each other.
    """
    # here and not above: --help must not pay for the readers
    from converter.importers.registry import ReadOptions
    from converter.settings import Settings

    bender = bender or BenderChoices()
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
