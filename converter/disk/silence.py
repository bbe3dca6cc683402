"""Compiled libraries that print past Python go unheard where their words would spoil a result."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def silent_stdout() -> Iterator[None]:
    """What is printed on the process's standard output goes nowhere for so long; Python's own text comes before."""
    if sys.stdout is not None:
        sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # there is no standard output
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def silence_streams() -> None:
    """From now on standard input holds nothing in this process, and whatever is printed goes nowhere."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(nowhere, number)
    if nowhere > 2:
        os.close(nowhere)
