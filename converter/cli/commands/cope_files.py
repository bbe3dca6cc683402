"""What ``elbowroom cope --out`` writes: templates, solids with cut ends, the fit-up report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from converter.cli import options, outputs, values
from converter.errors import OptionError
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.exporters.options import WriteOptions
    from converter.job import Job

#: Formats of cut ends; the first two are usual.
FORMATS = ("cope-pdf", "cope-dxf", "cope-csv", "step-coped", "fit-up")
_USUAL = FORMATS[:2]


@dataclass(frozen=True, slots=True)
class TemplateChoices:
    """What of the cut ends is written, as typed."""

    out: str | None
    to: str | None
    paper: str
    one_each: bool
    paper_thickness: str | None
    force: bool


@dataclass(frozen=True, slots=True)
class CopeFiles:
    """The files of cut ends that were asked for.

    Attributes:
        out: folder to write to, or None to write none.
        formats: names of formats in the registry.
        options: how they are written.
        force: whether files are replaced.
    """

    out: str | None
    formats: tuple[str, ...]
    options: WriteOptions
    force: bool

    def write(self, jobs: Sequence[Job]) -> list[Path]:
        """Write the files of all jobs, when a folder was named.

        Raises:
            ElbowroomError: one sentence; nothing was written.
        """
        if self.out is None:
            return []
        from converter.exporters.registry import usable_formats, write

        formats, _ = usable_formats(self.formats)
        return write(jobs, self.out, formats, self.options, force=self.force)


def _cope_files_from(chosen: TemplateChoices) -> CopeFiles:
    """The writing options of the command, understood.

    Raises:
        OptionError: one of them is wrong, or has no --out to go with.
    """
    from converter.exporters.options import WriteOptions

    paper, thickness = chosen.paper, chosen.paper_thickness
    if chosen.out is None and (
        chosen.to is not None or paper or thickness is not None or chosen.force or chosen.one_each
    ):
        raise OptionError(
            "--to, --paper, --one-each, --paper-thickness and --force go with --out DIR: name the folder to write to."
        )
    typed = ",".join(_USUAL) if chosen.to is None else chosen.to
    names = tuple(name.strip().lower() for name in typed.split(",") if name.strip())
    formats = FORMATS if names == ("all",) else names
    wrong = [name for name in formats if name not in FORMATS]
    if wrong or not names:
        raise OptionError(f"--to takes {', '.join(FORMATS)} or all, not {quoted(wrong[0] if wrong else typed)}.")
    how = WriteOptions(paper=paper, paper_thickness=outputs.thickness_from(thickness), one_each=chosen.one_each)
    return CopeFiles(chosen.out, formats, how, chosen.force)


#: The files of cut ends, as a command's `files`.
cope_files = options.grouped(
    "files",
    TemplateChoices,
    click.option("--out", metavar="DIR", callback=values.folder, help="Folder to write templates to.  [none written]"),
    click.option(
        "--to", metavar="FORMAT,...", help=f"What to write: {', '.join(FORMATS)}, or all.  [{','.join(_USUAL)}]"
    ),
    outputs.paper,
    click.option("--one-each", is_flag=True, help="A sheet for every template.  [small ones share sheets]"),
    outputs.paper_thickness,
    outputs.force,
    into=_cope_files_from,
)
