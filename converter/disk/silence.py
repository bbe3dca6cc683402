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
