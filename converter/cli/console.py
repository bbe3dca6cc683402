"""What commands say and how: results on stdout, messages on stderr, colour and progress on a terminal only."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import IO, Any

import click

_TERMINAL_WIDTH = 100


@dataclass(frozen=True, slots=True)
class Console:
    """How one command talks.

    Attributes:
        quiet: say nothing but results and failures.
        verbose: say more.
        as_json: results are JSON.
    """

    quiet: bool = False
    verbose: bool = False
    as_json: bool = False

    def result(self, text: str) -> None:
        """Write a result on stdout."""
        click.echo(text)

    def json(self, document: Mapping[str, Any]) -> None:
        """Write a JSON document on stdout."""
        from converter.exporters.table_json import dumps

        click.echo(dumps(document), nl=False)

    def say(self, text: str) -> None:
        """A message on stderr, unless quiet."""
        if not self.quiet:
            click.echo(text, err=True)

    @contextmanager
    def progress(self, text: str) -> Iterator[None]:
        """Show what is going on and how far it has come while the body runs, on a terminal only; then wipe it.

        Nothing shows when quiet, and none beside JSON that goes to the same terminal.
        """
        watched = sys.stderr.isatty() and os.environ.get("TERM") != "dumb" and not self.quiet
        if not watched or (self.as_json and sys.stdout.isatty()):
            yield
            return
        from converter.cli.bar import Bar
        from converter.cli.main import one_line

        with Bar(one_line(text)):
            yield


def width() -> int:
    """Columns to write for: the terminal's, at most 100; 100 when there is none."""
    if not sys.stdout.isatty():
        return _TERMINAL_WIDTH
    import shutil

    return max(40, min(_TERMINAL_WIDTH, shutil.get_terminal_size().columns))


def coloured(stream: IO[str] | None = None) -> bool:
    """Whether to colour: a terminal that is not dumb, and nobody set NO_COLOR (https://no-color.org)."""
    stream = stream or sys.stdout
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
