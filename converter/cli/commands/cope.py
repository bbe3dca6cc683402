"""``elbowroom cope``: the joints of a frame, hole-saw set-up, cut lengths, templates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from converter.cli import options, outputs, values
from converter.cli.console import Console
from converter.cli.inputs import open_jobs
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.settings import Settings


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
    formats = _USUAL if chosen.to is None else outputs.formats_named(chosen.to, FORMATS)
    how = WriteOptions(paper=paper, paper_thickness=outputs.thickness_from(thickness), one_each=chosen.one_each)
    return CopeFiles(chosen.out, formats, how, chosen.force)


_files = options.grouped(
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


@click.command(
    short_help="Fit the ends: joints, hole-saw set-up, cut lengths.",
    epilog=options.example(
        "elbowroom cope frame.dxf --section 1.75x0.120in",
        "elbowroom cope frame.dxf --job job.toml --shop myshop.toml --gap 0.5mm",
        "elbowroom cope frame.dxf --job job.toml --out copes --to cope-pdf,step-coped",
        "elbowroom cope frame.dxf --job job.toml --json > copes.json",
        "elbowroom cope frame.dxf --job job.toml --csv > copes.csv",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@_files
@options.settings_to_cope
@options.talking_lists
def cope(
    sources: tuple[str, ...],
    settings: Settings,
    files: CopeFiles,
    console: Console,
) -> int:
    """Find where tubes of every INPUT ('-' reads standard input) meet, and say how each end is cut to fit.

    Equal tubes once. For each end: what it is cut to, at what angle and offset, its long and short point, where the
    zero line of the template lies, and which hole saw to set up how. Lengths count back from the
    end of the centerline. With --out, full-size templates are written too. Exit status 1 means that
    some end cannot be fitted as drawn.
    """
    options.one_input_for_csv(sources, console)

    from converter.findings import has_errors

    jobs = open_jobs(sources, settings, console, "reading", ask=lambda job: job.copes)
    with console.progress("writing"):
        written = [str(path) for path in files.write(jobs)]
    if console.as_json:
        from converter.exporters.data.cope_json import job_cope
        from converter.exporters.data.table_json import together

        document = together([job_cope(job) for job in jobs])
        console.json({**document, "written": written} if files.out is not None else document)
    elif console.as_csv:
        from converter.exporters.data.cope_csv import cope_csv

        (job,) = jobs
        console.csv(cope_csv(job.shown.joints, job.display))
        for path in written:
            console.say(path)
        options.say_findings(console, job.shown.joint_findings, job.display)
    else:
        from converter.cli.screens.cope import all_copes_text

        console.result(all_copes_text(jobs, everything=console.verbose))
        for path in written:
            console.result(path)
    told = [finding for job in jobs for finding in job.shown.joint_findings]
    return 1 if has_errors(told) or any(finding.code == "joint-skipped" for finding in told) else 0
