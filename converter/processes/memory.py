"""A pause for Python's cycle collector, and memory that goes back to the system."""

from __future__ import annotations

import ctypes
import gc
import os
from collections.abc import Iterator
from contextlib import contextmanager

#: Whether `freeze_what_is_left` froze something in this process.
_FROZEN = False


@contextmanager
def paused_gc() -> Iterator[None]:
    """No cycle collection while hundreds of thousands of objects are made that all stay (15 % of the time).

    What was made meanwhile goes straight to the oldest generation, as if it had survived: the
    collector looks at it in its own time and not in one long stop at the end of the pause.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            # what is frozen would thaw; to count it takes a walk over all of it
            if not _FROZEN and gc.get_freeze_count() == 0:
                gc.freeze()
                gc.unfreeze()
            gc.enable()


@contextmanager
def own_garbage_collected() -> Iterator[None]:
    """At the end collect what was made within and refers to itself, and `return_freed_memory`.

    Only what was made within is looked at: to look at all that the libraries keep takes a tenth of a second.
    """
    apart = not _FROZEN and gc.get_freeze_count() == 0
    if apart:
        gc.freeze()
    try:
        yield
    finally:
        gc.collect()
        if apart:
            gc.unfreeze()
        return_freed_memory()


def freeze_what_is_left() -> None:
    """Collect, and never again look through what is left: libraries and what they keep, in a process that lives on."""
    global _FROZEN  # noqa: PLW0603 - true of a whole process
    gc.collect()
    gc.freeze()
    _FROZEN = True


def collect_garbage_between_files(files: int) -> None:
    """Collect what one of several files left behind; a single file's is left to the end of the process."""
    if files > 1:
        gc.collect()
        return_freed_memory()


def return_freed_memory() -> None:
    """Hand what was freed back to the system, where the C library keeps it (glibc).

    The tree of an XML file is millions of small pieces: freed, they stay with the process, and it grows from file to
    file. It takes about a hundredth of a second.
    """
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None) if os.name == "posix" else None
    if trim is not None:
        trim(0)
