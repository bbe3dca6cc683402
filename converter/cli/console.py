"""What commands say and how: results on stdout, messages on stderr, colour and progress on a terminal only."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from converter.cli.screens.page import echo, is_terminal, on


@dataclass(frozen=True, slots=True)
class Console:
    """How one command talks.

    Attributes:
        quiet: say nothing but results and failures.
        verbose: say more.
        as_json: results are JSON.
        as_csv: results are a list in CSV.
    """

    quiet: bool = False
    verbose: bool = False
    as_json: bool = False
    as_csv: bool = False

    def result(self, text: str) -> None:
        """Write a result on stdout."""
        echo(text)

    def json(self, document: Mapping[str, Any]) -> None:
        """Write a JSON document on stdout."""
        from converter.exporters.data.table_json import dumps

        sys.stdout.write(dumps(document))

    def csv(self, text: str) -> None:
        """Write a CSV list on stdout, byte for byte as a file would have it."""
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode("utf-8"))
        sys.stdout.buffer.flush()

    def say(self, text: str | Callable[[], str]) -> None:
        """A message on stderr, unless quiet; a longer one is made when it is wanted, to fit what stderr is."""
        if not self.quiet:
            with on(sys.stderr):
                echo(text if isinstance(text, str) else text(), sys.stderr)

    @contextmanager
    def progress(self, text: str) -> Iterator[None]:
        """Show what is going on and how far it has come while the body runs, on a terminal only; then wipe it.

        Nothing shows when quiet, and none beside JSON that goes to the same terminal.
        """
        if self.quiet or not is_terminal(sys.stderr) or (self.as_json and sys.stdout.isatty()):
            yield
            return
        from converter.cli.screens.bar import ProgressBar
        from converter.quoting import one_line

        with ProgressBar(one_line(text)):
            yield
