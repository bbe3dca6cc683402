"""The standard streams of a command: there where the shell closed them, free of libraries' chatter, sound at the end.

A shell may close a stream (``>&-``), or lead it to a device without room. Then Python has no stream at all, and
files opened later take its number; or it complains at its own end, when nothing can be said any more.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Callable
from contextlib import suppress
from functools import wraps
from io import RawIOBase
from typing import ParamSpec

#: Number, name in `sys`, mode, and how what stands in for a closed stream is opened: input is empty, results
#: cannot be written (which is told), messages go nowhere.
_STREAMS = (
    (0, "stdin", "r", os.O_RDONLY),
    (1, "stdout", "w", os.O_RDONLY),
    (2, "stderr", "w", os.O_WRONLY),
)

P = ParamSpec("P")


def with_sound_streams(failed: int) -> Callable[[Callable[P, int]], Callable[P, int]]:
    """Give a main program streams that are there, take any character, and end without a complaint of Python's.

    Args:
        failed: exit status where even a message cannot be written.
    """

    def decorate(main: Callable[P, int]) -> Callable[P, int]:
        @wraps(main)
        def sound(*given: P.args, **named: P.kwargs) -> int:
            _open_closed()
            _buffer_results()
            _let_any_character_through()
            try:
                with warnings.catch_warnings():
                    # filters set from outside (python -W error) come first
                    warnings.filterwarnings("ignore", append=True)
                    status = main(*given, **named)
            except OSError:  # of a message: there is nobody left to tell
                status = failed
            finally:
                _hear_libraries()
            for stream in (sys.stdout, sys.stderr):
                if not _flushed(stream):
                    status = failed
                    drop(stream)
            return status

        return sound

    return decorate


def silence_libraries() -> None:
    """Let no library's log lines reach stderr until the command ends; handlers that somebody set up still get them.

    What a person must know of is a finding. Called once a command is at work: `logging` alone would slow --help down.
    """
    import logging

    logging.lastResort = logging.NullHandler()


def _hear_libraries() -> None:
    logging = sys.modules.get("logging")
    if logging is not None:
        logging.lastResort = logging._defaultLastResort  # type: ignore[attr-defined]


def drop(stream: object) -> None:
    """Lead a stream nowhere, so that what it still holds raises nothing when the program ends."""
    with suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())  # type: ignore[attr-defined]
        os.close(nowhere)


def _flushed(stream: object) -> bool:
    try:
        stream.flush()  # type: ignore[attr-defined]
    except (OSError, ValueError):
        return False
    return True


def _open_closed() -> None:
    """Put something in the place of each stream that the shell closed."""
    for number, name, mode, how in _STREAMS:
        if getattr(sys, name) is not None:
            continue
        with suppress(OSError):
            os.fstat(number)
            continue  # the number is taken by something else: it is not ours to use
        os.open(os.devnull, how)  # takes the lowest free number, which is this one
        setattr(sys, name, open(number, mode, encoding="utf-8", errors="backslashreplace"))  # noqa: SIM115


def _buffer_results() -> None:
    """Write results through a buffer also where Python was asked for none (``PYTHONUNBUFFERED``).

    Without one a write that the system takes only half of, on a disk that fills, loses the rest without a word.
    """
    if isinstance(getattr(sys.stdout, "buffer", None), RawIOBase):
        number, encoding = sys.stdout.fileno(), sys.stdout.encoding
        sys.stdout = open(number, "w", encoding=encoding, closefd=False)  # noqa: SIM115


def _let_any_character_through() -> None:
    """Let a terminal that cannot show a character show its code instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            with suppress(OSError, ValueError):  # a stream that nobody can write to is told of when it is written to
                reconfigure(errors="backslashreplace")
