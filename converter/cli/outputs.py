"""The options of commands that write files: which, over what, and how. They reach a command as one `Writing`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from converter.cli import options, values
from converter.errors import OptionError
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.exporters.options import WriteOptions

F = TypeVar("F", bound=Callable[..., Any])

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


@dataclass(frozen=True, slots=True)
class Writing:
    """What to write: formats (empty for the usual), whether to replace files, and how."""

    formats: tuple[str, ...]
    force: bool
    options: WriteOptions


def _writing_from(chosen: WritingChoices) -> Writing:
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


def formats_named(typed: str, known: Sequence[str]) -> tuple[str, ...]:
    """What --to says of a command with formats of its own, each once and as typed; 'all' stands for all of them.

    Raises:
        OptionError: it names none, or an unknown one.
    """
    words = [word.strip().lower() for word in typed.split(",") if word.strip()]
    wrong = [word for word in words if word not in (*known, "all")]
    if wrong or not words:
        raise OptionError(f"--to takes {', '.join(known)} or all, not {quoted(wrong[0] if wrong else typed)}.")
    return tuple(dict.fromkeys(name for word in words for name in (known if word == "all" else (word,))))


def thickness_from(typed: str | None) -> float:
    """Thickness of paper as typed, mm; of ordinary paper for None.

    Raises:
        OptionError: it is no length.
    """
    from converter.exporters.options import PAPER_THICKNESS
    from converter.units import parse_length

    return PAPER_THICKNESS if typed is None else parse_length(typed, "mm")


def writing(function: F) -> F:
    """The options of commands that write files; the formats come from the registry."""
    from converter.exporters.registry import FORMATS

    usual = ",".join(written.name for written in FORMATS if written.default)
    names = ", ".join(written.name for written in FORMATS)
    decorate = options.grouped(
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
        into=_writing_from,
    )
    return cast("F", decorate(function))
