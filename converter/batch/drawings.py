"""Which drawings a batch has: files, folders with all that is beneath them, patterns.

Results of a batch are never drawings of the next one: a folder that holds a record or a summary
(`converter.batch.record`) is left out with all beneath it, wherever it stands, and so is the folder that the batch
writes to.
"""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path, PurePath

from converter.batch.record import RECORD, SUMMARY
from converter.errors import OptionError
from converter.importers.registry import FORMATS
from converter.quoting import LONGEST_PATH, quoted, reason_of

_TABLES = ("csv", "json")
#: Endings of files that can be read; in a folder those of tables do not count: most are lists and settings.
_READABLE = frozenset(ending for known in FORMATS for ending in known.extensions)
_DRAWN = frozenset(ending for known in FORMATS if known.name not in _TABLES for ending in known.extensions)
_MARKS = "*?["
_AT_ANY_DEPTH = "**"


@dataclass(frozen=True, slots=True)
class BatchDrawing:
    """One drawing: its path as it was named or, in a folder, as the folder was; and its place below the output."""

    path: str
    place: str


@dataclass(slots=True)
class BatchDrawings:
    """The drawings of a batch, and what was left out.

    Attributes:
        drawings: in the order of the inputs, in a folder in that of the names.
        others: files in folders whose names end as no drawing's.
        links: links to folders, which are not followed.
        results: folders that hold results of a batch.
        folders: that were looked through.
        closed: folders that cannot be listed, each with the reason.
    """

    drawings: list[BatchDrawing] = field(default_factory=list)
    others: int = 0
    links: int = 0
    results: list[str] = field(default_factory=list)
    folders: list[str] = field(default_factory=list)
    closed: list[tuple[str, str]] = field(default_factory=list)


def find_drawings(inputs: Sequence[str], out: str | os.PathLike[str] | None = None) -> BatchDrawings:
    """The drawings that inputs stand for, each once.

    Args:
        inputs: files, folders (all drawings beneath), patterns with ``*``, ``?``, ``[...]`` and ``**``.
        out: the folder that the batch writes to, or None.

    Raises:
        OptionError: one stands for no drawing at all, or is standard input.
    """
    walk = _Search(None if out is None else os.path.realpath(out))
    roots = []
    for typed in inputs:
        if typed == "-":
            raise OptionError("--each works on files: standard input holds a single drawing.")
        before = len(walk.paths) + len(walk.gathered.closed)
        if os.path.isdir(typed):
            if walk.is_output(typed):
                raise OptionError(
                    f"--out is the folder of the drawings itself, {quoted(typed, LONGEST_PATH)}: name another, "
                    f"such as {quoted(os.path.join(typed, 'out'), LONGEST_PATH)}."
                )
            roots.append(typed)
            walk.take_folder(typed)
        elif any(mark in typed for mark in _MARKS) and not os.path.lexists(typed):
            fixed, pattern = _split(typed)
            roots.append(fixed)
            walk.take_pattern(fixed, pattern)
        else:
            roots.append(os.path.dirname(typed) or os.curdir)
            walk.take_file(typed)
            continue
        if len(walk.paths) + len(walk.gathered.closed) == before and not walk.met_again:
            raise OptionError(_none_sentence(typed, walk.gathered))
    walk.gathered.drawings = _placed(walk.paths, roots)
    return walk.gathered


class _Search:
    """Gathers paths of drawings, each file once."""

    def __init__(self, out: str | None) -> None:
        self.gathered = BatchDrawings()
        self.paths: list[str] = []
        self.met_again = False
        self._out = out
        self._absolute: set[str] = set()

    def is_output(self, folder: str) -> bool:
        """Whether the batch writes there."""
        return self._out is not None and os.path.realpath(folder) == self._out

    def take_file(self, path: str) -> None:
        absolute = os.path.normcase(os.path.abspath(path))
        self.met_again = absolute in self._absolute
        if not self.met_again:
            self._absolute.add(absolute)
            self.paths.append(path)

    def take_folder(self, top: str) -> None:
        """All drawings beneath a folder."""
        left = [top]
        while left:
            folder = left.pop()
            files, folders = self._listed(folder)
            for path in files:
                self._take_if(path, _DRAWN)
            left += reversed(folders)

    def take_pattern(self, top: str, pattern: tuple[str, ...]) -> None:
        """All that meets a pattern beneath a folder; of a folder that does, all drawings beneath."""
        left = [(top, _onward(pattern, frozenset({0})))]
        while left:
            folder, states = left.pop()
            files, folders = self._listed(folder)
            for path in files:
                if len(pattern) in _stepped(pattern, states, os.path.basename(path)):
                    self._take_if(path, _READABLE)
            deeper = []
            for path in folders:
                after = _stepped(pattern, states, os.path.basename(path))
                if len(pattern) in after and pattern[-1] != _AT_ANY_DEPTH:
                    self.take_folder(path)
                elif after:
                    deeper.append((path, after))
            left += reversed(deeper)

    def _take_if(self, path: str, endings: frozenset[str]) -> None:
        if PurePath(path).suffix.lower() in endings:
            self.take_file(path)
        else:
            self.gathered.others += 1

    def _listed(self, folder: str) -> tuple[list[str], list[str]]:
        """Files and folders in a folder by name, without hidden ones; none of one that holds results."""
        if self.is_output(folder):
            self.gathered.results.append(folder)
            return [], []
        try:
            with os.scandir(folder) as entries:
                found = sorted(entries, key=lambda entry: entry.name)
        except OSError as error:
            self.gathered.closed.append((folder, reason_of(error)))
            return [], []
        if any(entry.name in (RECORD, SUMMARY) for entry in found):
            self.gathered.results.append(folder)
            return [], []
        self.gathered.folders.append(folder)
        files, folders = [], []
        for entry in found:
            path = entry.name if folder == os.curdir else os.path.join(folder, entry.name)
            if entry.name.startswith("."):
                continue
            if entry.is_dir(follow_symlinks=False):
                folders.append(path)
            elif entry.is_symlink() and os.path.isdir(path):
                self.gathered.links += 1
            else:  # also a link that leads nowhere, and a pipe: what has a drawing's name is told of
                files.append(path)
        return files, folders


def _split(typed: str) -> tuple[str, tuple[str, ...]]:
    """The folder in front of a pattern, and the pattern part by part."""
    parts = Path(typed).parts
    first = next(i for i, part in enumerate(parts) if any(mark in part for mark in _MARKS))
    return os.path.join(*parts[:first]) if first else os.curdir, parts[first:]


def _onward(pattern: tuple[str, ...], states: frozenset[int]) -> frozenset[int]:
    """States of a match and those reached without a further name: ``**`` stands for none as well."""
    found = set(states)
    for state in range(len(pattern)):
        if state in found and pattern[state] == _AT_ANY_DEPTH:
            found.add(state + 1)
    return frozenset(found)


def _stepped(pattern: tuple[str, ...], states: frozenset[int], name: str) -> frozenset[int]:
    """States of a match after one more name of a path."""
    after = {
        state if pattern[state] == _AT_ANY_DEPTH else state + 1
        for state in states
        if state < len(pattern) and (pattern[state] == _AT_ANY_DEPTH or fnmatchcase(name, pattern[state]))
    }
    return _onward(pattern, frozenset(after))


def _none_sentence(typed: str, seen: BatchDrawings) -> str:
    results = " but results of a batch" if seen.results else ""
    endings = ", ".join(sorted(_DRAWN))
    return (
        f"{quoted(typed, LONGEST_PATH)} stands for no drawing{results}: name a folder or a pattern of files that end "
        f"in {endings}; tables (.csv, .json) by a pattern or by name."
    )


def _placed(paths: Sequence[str], roots: Sequence[str]) -> list[BatchDrawing]:
    """The drawings with their places: their paths from the folder that all roots have in common.

    Where two would be one on a file system that folds case or composes letters, the second gets a number.
    """
    taken: set[str] = set()
    placed = []
    for path, inside in zip(paths, _inside(paths, roots), strict=True):
        place = inside
        for n in _numbers():
            place = inside if n == 1 else f"{inside}-{n}"
            key = unicodedata.normalize("NFC", unicodedata.normalize("NFC", place).casefold())
            if key not in taken:
                taken.add(key)
                break
        placed.append(BatchDrawing(path, place))
    return placed


def _numbers() -> Iterator[int]:
    n = 0
    while True:
        n += 1
        yield n


def _inside(paths: Sequence[str], roots: Sequence[str]) -> list[str]:
    absolute = [os.path.abspath(path) for path in paths]
    try:
        common = os.path.commonpath([os.path.abspath(root) for root in roots])
        return [os.path.relpath(path, common) for path in absolute]
    except ValueError:  # on several drives
        return [
            os.path.join(drive.rstrip(":"), rest.lstrip("\\/")) for drive, rest in map(os.path.splitdrive, absolute)
        ]
