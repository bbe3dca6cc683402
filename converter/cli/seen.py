"""The option ``--picture`` of commands that read: the drawing as read, also where nothing in it became a run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from converter.cli.console import Console
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.api import Result, Settings


def _file(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """A file name with the ending of a picture."""
    if value is None:
        return None
    from converter.exporters.as_read import check_ending

    check_ending(value)
    return value


def picture(function: Callable[..., Any]) -> Callable[..., Any]:
    """The options --picture and --force."""
    function = click.option("--force", is_flag=True, help="Replace the picture if it exists already.")(function)
    return click.option(
        "--picture",
        metavar="FILE",
        callback=_file,
        help="Also draw what was read, healed and left out: FILE.svg or FILE.png.",
    )(function)


@dataclass(frozen=True, slots=True)
class Sketch:
    """What was asked for: the file, or None, and whether it may be replaced."""

    file: str | None
    force: bool

    def settings(self, settings: Settings) -> Settings:
        """How to read so that the picture shows what was left out."""
        return settings.keeping_left_out(self.file is not None)

    def load(self, source: str, settings: Settings, console: Console) -> Result:
        """Read a drawing; where it holds no run, draw it before that is said.

        Raises:
            NoRunsError: with the picture's name, or how to have one, in its sentence.
        """
        from converter.api import NoRunsError, load, write_picture

        try:
            return load(source, settings)
        except NoRunsError as error:
            hint = "--picture seen.svg would show what is there"
            if self.file is not None:
                hint = f"{str(write_picture(error, self.file, force=self.force))!r} shows what is there"
            message = f"{error.message.removesuffix('.')}; {hint}."
            raise NoRunsError(message, error.drawing, error.findings, error.display) from error

    def draw(self, result: Result, console: Console) -> None:
        """Draw what was read, and say where."""
        if self.file is not None:
            from converter.api import write_picture

            console.say(f"drawn as read in {write_picture(result, self.file, force=self.force)}")


def sketch_from(given: dict[str, Any], sources: tuple[str, ...]) -> Sketch:
    """Take the picture's options out of a command's arguments.

    Raises:
        OptionError: several drawings, one picture; or --force without one.
    """
    sketch = Sketch(given.pop("picture"), given.pop("force"))
    if sketch.file is not None and len(sources) > 1:
        raise OptionError("--picture shows one drawing: name one INPUT.")
    if sketch.force and sketch.file is None:
        raise OptionError("--force goes with --picture: give both, or neither.")
    return sketch
