"""How far a long loop has come, told to whoever listens; next to free when nobody does.

The library never prints. A loop that may take long says ``for tube in steps(tubes, "tubes checked")``; the
command line listens while a command runs on a terminal (`listening`) and shows what it hears.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sized
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Protocol, TypeVar

T = TypeVar("T")


class Listener(Protocol):
    """Hears of loops: one is entered, steps on, and is left; loops may stand within loops.

    It is called in the thread that works, often, and must return at once; what it raises ends the work.
    """

    def enter(self, what: str, total: int | None) -> int:
        """A loop over ``total`` things (None when not known) begins; returns a mark that names it in later calls."""

    def step(self, mark: int, done: int) -> None:
        """So many are done."""

    def leave(self, mark: int) -> None:
        """The loop is over, for whatever reason."""


_LISTENER: ContextVar[Listener | None] = ContextVar("listener", default=None)


@contextmanager
def listening(listener: Listener) -> Iterator[None]:
    """Tell ``listener`` of every loop in the body, in this thread."""
    before = _LISTENER.set(listener)
    try:
        yield
    finally:
        _LISTENER.reset(before)


def steps(things: Iterable[T], what: str, total: int | None = None) -> Iterable[T]:
    """The same things, telling the listener how many are done; the very ``things`` when nobody listens.

    Args:
        things: to loop over, once.
        what: they are, in the plural, as a person would count them: ``solids``, ``tubes checked``.
        total: how many; taken from ``things`` when they know.
    """
    listener = _LISTENER.get()
    if listener is None:
        return things
    if total is None and isinstance(things, Sized):
        total = len(things)
    return _counted_steps(things, what, total, listener)


def _counted_steps(things: Iterable[T], what: str, total: int | None, listener: Listener) -> Iterator[T]:
    mark = listener.enter(what, total)
    try:
        for done, thing in enumerate(things):
            listener.step(mark, done)
            yield thing
    finally:
        listener.leave(mark)


_WATCHER: ContextVar[Callable[[str, str], None] | None] = ContextVar("watcher", default=None)


def watch_files(watcher: Callable[[str, str], None]) -> None:
    """From now on tell ``watcher``, in this thread, of each input that work begins on, and what is done with it."""
    _WATCHER.set(watcher)


_CLEANER: ContextVar[Callable[[str], None] | None] = ContextVar("cleaner", default=None)


def watch_folders(cleaner: Callable[[str], None]) -> None:
    """From now on tell ``cleaner``, in this thread, of each folder into which files that wait for their places go."""
    _CLEANER.set(cleaner)


def begin_folder(folder: str) -> None:
    """Say that files begin to be written into a hidden folder within ``folder``, which must not stay there."""
    cleaner = _CLEANER.get()
    if cleaner is not None:
        cleaner(folder)


def begin_file(name: str, doing: str) -> None:
    """Say that work on an input file begins.

    Args:
        name: the file, as the user named it.
        doing: ``reading`` (and working out what it holds) or ``writing`` (what comes of it).
    """
    watcher = _WATCHER.get()
    if watcher is not None:
        watcher(name, doing)
