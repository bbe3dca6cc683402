"""What ``elbowroom cope --out`` writes: templates, solids with cut ends, the fit-up report."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.api import Result

#: Formats of cut ends; the first two are usual.
FORMATS = ("cope-pdf", "cope-dxf", "step-coped", "fit-up")
_USUAL = FORMATS[:2]


def _folder(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    return None if value is None else options.folder(ctx, param, value)


_OPTIONS = (
    click.option("--out", metavar="DIR", callback=_folder, help="Folder to write templates to.  [none written]"),
    click.option(
        "--to", metavar="FORMAT,...", help=f"What to write: {', '.join(FORMATS)}, or all.  [{','.join(_USUAL)}]"
    ),
    click.option("--sheet", metavar="A4|Letter", help="Paper of the PDF.  [Letter with inches, else A4]"),
    click.option("--one-each", is_flag=True, help="A sheet for every template.  [small ones share sheets]"),
    click.option("--paper", metavar="LENGTH", help="Thickness of the paper of templates.  [0.1mm]"),
    click.option("--force", is_flag=True, help="Replace files that exist already."),
)


def writing(function: options.F) -> options.F:
    """The options of a command that writes cut ends."""
    for one in reversed(_OPTIONS):
        function = one(function)
    return function


class CopeFiles:
    """The writing options of the command, checked.

    Args:
        given: the command's arguments; the writing options are taken out.

    Raises:
        OptionError: one of them is wrong, or has no --out to go with.
    """

    def __init__(self, given: dict[str, Any]) -> None:
        from converter.exporters.cope_options import PAPER, SHEETS
        from converter.units import parse_length

        self.out: str | None = given.pop("out")
        to, sheet, paper = given.pop("to"), given.pop("sheet"), given.pop("paper")
        self.force: bool = given.pop("force")
        self.one_each: bool = given.pop("one_each")
        if self.out is None and (
            to is not None or sheet is not None or paper is not None or self.force or self.one_each
        ):
            raise OptionError(
                "--to, --sheet, --one-each, --paper and --force go with --out DIR: name the folder to write to."
            )
        names = _USUAL if to is None else tuple(name.strip().lower() for name in to.split(",") if name.strip())
        self.formats = FORMATS if names == ("all",) else names
        wrong = [name for name in self.formats if name not in FORMATS]
        if wrong or not names:
            raise OptionError(f"--to takes {', '.join(FORMATS)} or all, not {(wrong[0] if wrong else to)!r}.")
        by_name = {name.casefold(): name for name in SHEETS}
        if sheet is not None and sheet.strip().casefold() not in by_name:
            raise OptionError(f"--sheet takes {' or '.join(SHEETS)}, not {sheet!r}.")
        self.sheet = "" if sheet is None else by_name[sheet.strip().casefold()]
        self.paper = PAPER if paper is None else parse_length(paper, "mm")

    def write(self, result: Result, gap: float) -> list[Path]:
        """Write the files, when a folder was named.

        Args:
            result: of `converter.api.load`.
            gap: weld gap, mm.

        Raises:
            ElbowroomError: one sentence; nothing was written.
        """
        if self.out is None:
            return []
        from converter.api import export_job, usable_formats
        from converter.exporters.registry import write

        formats, _ = usable_formats(self.formats)
        job = export_job(result)
        job = replace(job, cope=replace(job.cope, gap=gap, sheet=self.sheet, paper=self.paper, one_each=self.one_each))
        return write(job, self.out, formats, self.force)
