"""What is written on: how wide it is, and whether it is a terminal that takes colour and rules.

Text is made for standard output unless `on` says otherwise. Colour never carries meaning alone: whatever is
coloured says the same in words, and without colour every word stays.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TextIO

import click

#: Columns to write for where there is no terminal: files, pipes, paper.
FILE_WIDTH = 80
#: Longest lines of sentences, however wide the terminal: longer ones are hard to read.
_LONGEST = 100
_NARROWEST = 40

_STREAM: ContextVar[TextIO | None] = ContextVar("stream", default=None)

#: Control characters that may not reach a terminal; line breaks and our own colours may.
_CONTROL_CHARACTERS = re.compile(r"\x1b(?!\[[0-9;]*m)|[\x00-\x09\x0b-\x1a\x1c-\x1f\x7f-\x9f]")


@contextmanager
def on(stream: TextIO) -> Iterator[None]:
    """Make text for this stream in the body."""
    before = _STREAM.set(stream)
    try:
        yield
    finally:
        _STREAM.reset(before)


def _current() -> TextIO:
    return _STREAM.get() or sys.stdout


def is_terminal(stream: TextIO | None = None) -> bool:
    """Whether it is a terminal that can move its cursor: not a file, not a pipe, not TERM=dumb."""
    return (stream or _current()).isatty() and os.environ.get("TERM") != "dumb"


def coloured(stream: TextIO | None = None) -> bool:
    """Whether to colour: on a terminal, or when FORCE_COLOR or CLICOLOR_FORCE ask for it; never with NO_COLOR.

    As https://no-color.org and https://force-color.org have it: set and not empty counts, for the forcing ones
    also not ``0``.
    """
    if os.environ.get("NO_COLOR"):
        return False
    if any(os.environ.get(name, "0") not in ("", "0") for name in ("FORCE_COLOR", "CLICOLOR_FORCE")):
        return True
    return is_terminal(stream)


def ruled() -> bool:
    """Whether to draw rules: where there is a terminal, or colour is forced."""
    return is_terminal() or coloured()


def rule(length: int) -> str:
    """A light rule, in characters that the stream can hold."""
    try:
        "─".encode(_current().encoding or "ascii")
    except UnicodeEncodeError:
        return faint("-" * length)
    return faint("─" * length)


def room() -> int:
    """Columns there are: the terminal's, at least 40; 80 where there is none."""
    if not _current().isatty():
        return FILE_WIDTH
    import shutil

    return max(_NARROWEST, shutil.get_terminal_size((FILE_WIDTH, 24)).columns)


def width() -> int:
    """Columns for sentences: what there is, at most 100."""
    return min(_LONGEST, room())


def bold(text: str) -> str:
    """Bold, where there is colour."""
    return click.style(text, bold=True) if coloured() else text


def faint(text: str) -> str:
    """Dim, where there is colour."""
    return click.style(text, dim=True) if coloured() else text


def tinted(text: str, color: str) -> str:
    """Bold in a colour, where there is colour."""
    return click.style(text, fg=color, bold=True) if coloured() else text


def echo(text: str, stream: TextIO | None = None) -> None:
    """Write lines, free of control characters but for our own colours, which stay only where `coloured`."""
    stream = stream or sys.stdout
    click.echo(_CONTROL_CHARACTERS.sub(" ", text), file=stream, color=coloured(stream))
