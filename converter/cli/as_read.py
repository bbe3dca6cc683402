"""The option ``--picture`` of commands that read: the drawing as read, also where nothing in it became a run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from converter.cli import options, outputs
from converter.cli.console import Console
from converter.errors import OptionError
from converter.quoting import LONGEST_PATH, quoted

if TYPE_CHECKING:
    from converter.job import Job
    from converter.settings import Settings


def picture_file(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """A file name with the ending of a picture."""
    if value is None:
        return None
    from converter.exporters.pictures.files import check_ending

    check_ending(value)
    return value


@dataclass(frozen=True, slots=True)
class AsReadPicture:
    """The picture that was asked for: its file, or None, and whether it may be replaced."""

    file: str | None
    force: bool

    def check(self, sources: tuple[str, ...]) -> None:
        """Refuse what cannot be.

        Raises:
            OptionError: several drawings, one picture; or --force without one.
        """
        if self.file is not None and len(sources) > 1:
            raise OptionError("--picture shows one drawing: name one INPUT.")
        if self.force and self.file is None:
            raise OptionError("--force goes with --picture: give both, or neither.")

    def open_job(self, source: str, settings: Settings) -> Job:
        """Open a job; where its drawing holds no run, draw it before that is told.

        Raises:
            NoRunsError: with the picture's name, or how to have one, in its sentence.
        """
        from converter.job import NoRunsError, open_job

        try:
            return open_job(source, settings)
        except NoRunsError as error:
            hint = "--picture seen.svg would show what is there"
            if self.file is not None:
                from converter.exporters.pictures.files import write_picture

                shown = write_picture(error.job, self.file, force=self.force)
                hint = f"{quoted(shown, LONGEST_PATH)} shows what is there"
            raise NoRunsError(f"{error.message.removesuffix('.')}; {hint}.", error.job, error.findings) from error

    def draw(self, job: Job, console: Console) -> None:
        """Draw what was read, and tell where."""
        if self.file is not None:
            from converter.exporters.pictures.files import write_picture

            console.say(f"drawn as read in {write_picture(job, self.file, force=self.force)}")


#: The options --picture and --force.
picture_option = options.grouped(
    "picture",
    AsReadPicture,
    click.option(
        "--picture",
        "file",
        metavar="FILE",
        callback=picture_file,
        help="Also draw what was read, healed and left out: FILE.svg or FILE.png.",
    ),
    outputs.force,
)
