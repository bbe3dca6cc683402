"""Drawings that are worked out again whenever they, the shop or the job file are saved.

The file watcher only wakes: what is due is told by comparing every file that a drawing depends on with how it was when
the drawing was last worked out. So an event too many costs nothing, and files that are written in pieces, or replaced
by a rename as editors do, are worked out once they are whole.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from time import monotonic

from converter.batch.bay import work_through
from converter.batch.drawings import BatchDrawings, find_drawings
from converter.batch.item import BatchItem
from converter.batch.verdict import DrawingVerdict
from converter.errors import ElbowroomError, MissingLibraryError, OptionError
from converter.quoting import LONGEST_PATH, quoted, reason_of

#: Milliseconds without another event after which files count as saved, and after which those are worked out anyway.
_QUIET, _LONGEST = 150, 2000
#: Milliseconds after which something that is in doubt is looked at again.
_AGAIN = 300
#: Seconds for which a drawing must be missing to be told as gone: some programs remove it before they write it anew.
_GONE = 1.0

#: (path, state of the file there), of every file that a drawing depends on.
_States = tuple[tuple[str, object], ...]


@dataclass(frozen=True, slots=True)
class BatchUpdate:
    """What is new of one drawing.

    Attributes:
        source: the drawing, as it was named.
        verdict: what came of it now; None where it is gone.
        before: what came of it when it last could be read, or None.
    """

    source: str
    verdict: DrawingVerdict | None
    before: DrawingVerdict | None


def watch_batch(
    inputs: Sequence[str],
    plan: Callable[[BatchDrawings], Sequence[BatchItem]],
    executor: Executor,
    out: str | None = None,
    progress: Callable[[Iterable[DrawingVerdict], int], Iterable[DrawingVerdict]] = lambda verdicts, total: verdicts,
) -> Iterator[list[BatchUpdate]]:
    """Work all drawings out, then again those that are saved, until the caller stops asking.

    Args:
        inputs: as of `converter.batch.find_drawings`; what comes into a folder later is taken, too.
        plan: what is to be done with drawings (`converter.batch.batch_items`).
        executor: as of `converter.batch.work_through`.
        out: the folder that is written to, or None.
        progress: passes verdicts of so many drawings on as they come.

    Yields:
        What is new, at first of all drawings.

    Raises:
        OptionError: an input stands for no drawing, or for none that is there, when this begins.
        MissingLibraryError: the file watcher is not installed.
        ElbowroomError: the system watches no more folders.
    """
    state = _WatchState()
    gathered = find_drawings(inputs, out)
    for item in plan(gathered):
        if not os.path.lexists(_absolute(item, item.source)):
            raise OptionError(f"There is no file {quoted(item.source, LONGEST_PATH)} to watch.", file=item.source)
        state.states_of(item)
    while True:
        folders = _folders_of(gathered, state)
        state.in_doubt = True  # whatever was saved while nobody watched
        for _ in _woken(folders, state):
            gathered = _gathered_again(inputs, out)
            items = [item for item in plan(gathered) if os.path.lexists(_absolute(item, item.source))]
            due = {item.source: item for item in items if state.is_due(item)}
            before = {source: state.states_of(item) for source, item in due.items()}
            updates = state.gone(items)
            for verdict in progress(work_through(due.values(), executor), len(due)):
                updates += state.noted(due[verdict.source], verdict, before[verdict.source])
            if updates:
                order = {item.source: n for n, item in enumerate(items)}
                yield sorted(updates, key=lambda update: order.get(update.source, -1))
            if _folders_of(gathered, state) != folders:
                break


class _WatchState:
    """What is known of each drawing."""

    def __init__(self) -> None:
        self.in_doubt = False  # something is to be looked at again soon
        self.files: dict[str, tuple[str, ...]] = {}  # source -> what it depends on
        self._done: dict[str, _States] = {}
        self._verdicts: dict[str, DrawingVerdict] = {}  # the last of each that is no failure
        self._missing: dict[str, float] = {}  # source -> since when

    def states_of(self, item: BatchItem) -> _States:
        """How the files are now that a drawing depends on."""
        settings = (item.settings.shop, item.settings.job, getattr(item.work, "rack", None))
        paths = {_absolute(item, path) for path in (item.source, *settings) if path is not None}
        paths |= set(self.files.get(item.source, ()))
        self.files[item.source] = tuple(sorted(paths))
        return tuple((path, _state(path)) for path in self.files[item.source])

    def is_due(self, item: BatchItem) -> bool:
        """Whether one of these files has changed since the drawing was worked out."""
        return self._done.get(item.source) != self.states_of(item)

    def noted(self, item: BatchItem, verdict: DrawingVerdict, before: _States) -> list[BatchUpdate]:
        """What is new, of a drawing that was worked out while its files were as ``before``, or not quite."""
        if self.states_of(item) != before:  # saved meanwhile: what came of it may be of half a file
            self.in_doubt = True
            return []
        self.files[item.source] = tuple({*self.files[item.source], *verdict.inputs})
        self._done[item.source] = self.states_of(item)
        last = self._verdicts.get(item.source)
        if verdict.failure is None:
            self._verdicts[item.source] = verdict
        return [BatchUpdate(item.source, verdict, last)]

    def gone(self, items: Sequence[BatchItem]) -> list[BatchUpdate]:
        """Drawings that have been missing for a while."""
        here, now = {item.source for item in items}, monotonic()
        missing = [source for source in self._done if source not in here]
        self._missing = {source: self._missing.get(source, now) for source in missing}
        updates = []
        for source, since in self._missing.items():
            if now - since > _GONE:
                del self._done[source]
                updates.append(BatchUpdate(source, None, self._verdicts.pop(source, None)))
        self.in_doubt = len(updates) < len(missing)
        return updates


def _woken(folders: tuple[str, ...], state: _WatchState) -> Iterator[None]:
    """Once the watcher is at work; then whenever files were saved, or something is in doubt.

    Raises:
        MissingLibraryError, ElbowroomError: as of `watch_batch`.
    """
    try:
        from watchfiles import watch
    except ImportError as error:
        raise MissingLibraryError(
            "--watch needs the library watchfiles, which is not installed: pip install watchfiles."
        ) from error
    try:
        for events in watch(
            *folders,
            watch_filter=lambda _, path: not os.path.basename(path).startswith("."),
            debounce=_LONGEST,
            step=_QUIET,
            rust_timeout=_AGAIN,
            yield_on_timeout=True,
            recursive=False,
            ignore_permission_denied=True,
        ):
            if events or state.in_doubt:
                yield
    except (OSError, RuntimeError) as error:
        raise ElbowroomError(
            f"The system watches no more folders ({reason_of(error).lower()}): name fewer, or raise its limit."
        ) from error


def _gathered_again(inputs: Sequence[str], out: str | None) -> BatchDrawings:
    try:
        return find_drawings(inputs, out)
    except OptionError:  # the last drawing is gone, perhaps to come back
        return BatchDrawings()


def _folders_of(gathered: BatchDrawings, state: _WatchState) -> tuple[str, ...]:
    """The folders in which something may be saved that matters."""
    files = [path for paths in state.files.values() for path in paths]
    files += [os.path.abspath(drawing.path) for drawing in gathered.drawings]
    folders = {os.path.dirname(path) for path in files} | {os.path.abspath(folder) for folder in gathered.folders}
    return tuple(sorted(folder for folder in folders if os.path.isdir(folder)))


def _absolute(item: BatchItem, path: str) -> str:
    return os.path.abspath(os.path.join(item.current, path))


def _state(path: str) -> object:
    """What changes when a file is saved; None for no file."""
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns
