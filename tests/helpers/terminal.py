"""The command line in a real pseudo terminal, and what its screen then shows."""

from __future__ import annotations

import faulthandler
import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
import traceback
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from signal import SIGKILL
from tempfile import TemporaryFile
from typing import NoReturn

from converter.cli.main import main

#: Everything a command may send besides text: colours; and, for the bar, wiping a line and going up one.
_SIGNS = re.compile(r"\x1b\[(?P<numbers>[0-9;]*)(?P<kind>[A-Za-z])|(?P<text>[^\x00-\x1f\x7f-\x9f]|[\r\n])")
#: What decides about colour; taken out of the surroundings of the tests.
_DECIDING = ("NO_COLOR", "FORCE_COLOR", "CLICOLOR_FORCE", "CLICOLOR", "COLUMNS", "LINES", "TERM", "TTY_COMPATIBLE")

#: Seconds that a command may take on however busy a machine; reached only where it never ends.
PATIENCE = 600.0

#: What Python runs where the process itself is in question.
PROCESS = ("-m", "converter")

#: Makes standard input the controlling terminal, without which Ctrl-C does nothing, and goes on as what is wanted.
_TAKE_OVER = "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); os.execv(sys.argv[1], sys.argv[1:])"


@dataclass(frozen=True)
class Shown:
    """What came of a command in a terminal: its exit status and everything it sent."""

    status: int
    sent: str

    @property
    def screen(self) -> list[str]:
        """The lines that stand there in the end; fails on a sign that has no business in our output."""
        lines, row, column, at = [[""]], 0, 0, 0
        while at < len(self.sent):
            sign = _SIGNS.match(self.sent, at)
            assert sign, f"not to be sent to a terminal: {self.sent[at : at + 20]!r}"
            at = sign.end()
            if sign["text"] == "\r":
                column = 0
            elif sign["text"] == "\n":
                row += 1
                lines += [[""]] * (row == len(lines))
                lines[row] = list(lines[row])
            elif sign["text"]:
                lines[row] += [" "] * (column + 1 - len(lines[row]))
                lines[row][column] = sign["text"]
                column += 1
            elif sign["kind"] == "A":
                row -= int(sign["numbers"] or 1)
            elif sign["kind"] == "K":
                lines[row] = [""]
            else:
                assert sign["kind"] == "m", f"not to be sent to a terminal: {sign[0]!r}"
        return ["".join(line).rstrip() for line in lines]

    @property
    def text(self) -> str:
        """The screen as one text."""
        return "\n".join(self.screen)

    @property
    def colours(self) -> set[str]:
        """The colour signs sent, as they are."""
        return set(re.findall(r"\x1b\[[0-9;]*m", self.sent))


def columns_of(text: str) -> int:
    """Columns a line takes, from Unicode's East Asian width and combining classes alone (UAX 11)."""
    wide = {"W": 2, "F": 2}
    return sum(
        0 if unicodedata.category(c) in ("Mn", "Me") else wide.get(unicodedata.east_asian_width(c), 1) for c in text
    )


def surroundings(**given: str) -> dict[str, str]:
    """The environment without what decides about colour, with what is given."""
    kept = {name: value for name, value in os.environ.items() if name not in _DECIDING}
    return {**kept, "PYTHONIOENCODING": "utf-8", **given}


class ForkedCommand:
    """The command line in a fork of this process, which need not load it anew; for what is not about processes.

    Args:
        words: of the command line.
        environment: of the fork.
        streams: file descriptors that are its stdin, stdout and stderr.
    """

    def __init__(self, words: Sequence[object], environment: dict[str, str], streams: tuple[int, int, int]) -> None:
        self._pid = os.fork()
        if self._pid == 0:
            self._live([str(word) for word in words], environment, streams)

    @staticmethod
    def _live(words: list[str], environment: dict[str, str], streams: tuple[int, int, int]) -> NoReturn:
        status = -1
        try:
            faulthandler.disable()
            os.setsid()
            for number, stream in enumerate(streams):
                os.dup2(stream, number)
            os.environ.clear()
            os.environ.update(environment)
            encoding = environment["PYTHONIOENCODING"]
            sys.stdin = os.fdopen(0, encoding=encoding, closefd=False)
            sys.stdout = os.fdopen(1, "w", encoding=encoding, closefd=False)
            sys.stderr = os.fdopen(2, "w", encoding=encoding, errors="backslashreplace", closefd=False)
            status = main(words)
            sys.stdout.flush()
            sys.stderr.flush()
        except BaseException:
            os.write(2, traceback.format_exc().encode())
        finally:
            os._exit(status)

    def wait(self, timeout: float = 0.0) -> int:
        """Its exit status, once it has one."""
        pid, self._pid = self._pid, 0
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])

    def kill(self) -> None:
        """End it, whatever it does."""
        if self._pid:
            os.kill(self._pid, SIGKILL)
            self.wait()


def in_terminal(
    words: Sequence[object],
    *,
    program: Sequence[str] | None = None,
    columns: int = 80,
    after: Callable[[str], bool] | None = None,
    errors_to: int | None = None,
    **given: str,
) -> Shown:
    """Run ``elbowroom WORDS...`` in a fork, or ``python PROGRAM WORDS...``, in a pseudo terminal.

    Args:
        words: of the command line.
        program: what Python runs, in a process of its own whose controlling terminal it is.
        columns: how wide the terminal is.
        after: of what was sent so far: whether to press Ctrl-C now (once).
        errors_to: a file descriptor for stderr, which else goes to the terminal too.
        given: environment; TERM is xterm-256color unless given.
    """
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
    environment = surroundings(**{"TERM": "xterm-256color", **given})
    errors_to = theirs if errors_to is None else errors_to
    process: ForkedCommand | subprocess.Popen[bytes]
    if program is None:
        process = ForkedCommand(words, environment, (theirs, theirs, errors_to))
    else:
        process = subprocess.Popen(
            [sys.executable, "-c", _TAKE_OVER, sys.executable, *program, *map(str, words)],
            stdin=theirs,
            stdout=theirs,
            stderr=errors_to,
            env=environment,
            start_new_session=True,
        )
    os.close(theirs)
    sent, end = b"", time.monotonic() + PATIENCE
    try:
        while time.monotonic() < end:
            if select.select([ours], [], [], 0.1)[0]:
                try:
                    data = os.read(ours, 65536)
                except OSError:  # the other side has closed
                    break
                if not data:
                    break
                sent += data
            if after is not None and after(sent.decode("utf-8", "replace")):
                os.write(ours, b"\x03")
                after = None
        return Shown(process.wait(timeout=PATIENCE), sent.decode("utf-8"))
    finally:
        process.kill()
        os.close(ours)


def piped(words: Sequence[object], program: Sequence[str] | None = None, **given: str) -> tuple[int, str, str]:
    """The same with files that are no terminal: exit status, stdout, stderr."""
    with TemporaryFile() as out, TemporaryFile() as err, open(os.devnull, "rb") as nothing:
        streams = nothing.fileno(), out.fileno(), err.fileno()
        if program is None:
            status = ForkedCommand(words, surroundings(**given), streams).wait()
        else:
            command, environment = [sys.executable, *program, *map(str, words)], surroundings(**given)
            status = subprocess.run(
                command, stdin=nothing, stdout=out, stderr=err, env=environment, check=False, timeout=PATIENCE
            ).returncode
        texts = []
        for stream in (out, err):
            stream.seek(0)
            texts.append(stream.read().decode())
    return status, texts[0], texts[1]
