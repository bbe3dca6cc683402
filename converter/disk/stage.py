"""Files that take their places in a folder together: after a kill or a power cut the old ones or the new ones stand.

Files are written into a hidden folder (the stage) on the same file system. Into a folder that does not exist yet
they come by one rename. Into one that does, each file takes its place by a rename of its own, and before the first
of them a journal in the stage says on disk what is to happen. A run that fails puts the old files back by that
journal; for one that was cut off the next run (`sweep`, `recover`) brings the new files to their places. A living
run holds a lock on its stage, so that nobody else touches it.
"""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import stat
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from converter.disk.lock import LOCK_FILE, FolderLock, locked, uninterrupted
from converter.progress import begin_folder

_PREFIX = ".elbowroom-"
_NAME = re.compile(re.escape(_PREFIX) + r"[0-9a-f]{16}\Z")
#: In a stage, beside the files: what is to happen, the same when it is to be taken back, and the files replaced.
_JOURNAL, _UNDO, _KEPT = _PREFIX + "journal", _PREFIX + "undo", _PREFIX + "kept"
#: Nanoseconds by which some file systems round the time of a file once it is on disk.
_ROUNDED = 2_000_000_000


class Stage:
    """A hidden folder in which files are written, and the move of these into place.

    Args:
        folder: an existing folder; the stage goes into it.
        missing: names of folders to make, each in the one before, the first in ``folder``; the files go into the
            last, or into ``folder`` itself when there is none.
    """

    def __init__(self, folder: Path, missing: Sequence[str] = ()) -> None:
        self.root = folder / (_PREFIX + os.urandom(8).hex())
        self.target = folder.joinpath(*missing)
        self._folder = folder
        self._missing = tuple(missing)
        self._lock = FolderLock(self.root)
        self._process = os.getpid()
        self._placed = False

    @property
    def files(self) -> Path:
        """Where to write the files."""
        return self.root.joinpath(*self._missing[1:])

    def begin(self) -> None:
        """Make the hidden folder. The caller holds the lock of ``folder``, so that no `sweep` sees it half-made.

        Raises:
            OSError: it cannot be made.
        """
        begin_folder(str(self._folder))
        with uninterrupted():
            # where it becomes the folder itself, it is made as any other is
            self.root.mkdir(0o777 if self._missing else 0o700)
            with suppress(OSError):  # no locks here: then nobody sweeps either
                self._lock.take()
            self.files.mkdir(parents=True, exist_ok=True)

    def flush(self, names: Sequence[str]) -> None:
        """Bring written files to the disk.

        Raises:
            OSError: the disk is full or fails; nothing was put in place.
        """
        paths = [self.files / name for name in names]
        if len(paths) < 3:
            for path in paths:
                _flush_file(path)
            return
        from concurrent.futures import ThreadPoolExecutor

        # side by side they share what the file system does for each: a third of the time for a dozen
        with ThreadPoolExecutor(8) as pool:
            list(pool.map(_flush_file, paths))

    def commit(self, names: Sequence[str], check: Callable[[Path], None]) -> None:
        """Put files in place, all or none. The caller holds the lock of ``folder``.

        Args:
            names: of files in `files`, after `flush`.
            check: called with every path that a file goes to, again where something stands there; raises when that
                must stay.

        Raises:
            OSError: one cannot be put in place; then all is as it was before, or `drop` makes it so.
        """
        for name in names:
            check(self.target / name)
        there = 0
        while there < len(self._missing) and self._folder.joinpath(*self._missing[: there + 1]).exists():
            there += 1
        if there < len(self._missing):
            with uninterrupted():
                self._appear(names, there)
        elif self._missing:  # another run has made it meanwhile
            with locked(self.target), uninterrupted():
                root = self.target / self.root.name
                os.rename(self.root, root)
                self.root = self._lock.folder = root
                self._exchange(names, check)
        else:
            with uninterrupted():
                self._exchange(names, check)

    def drop(self) -> None:
        """Remove the stage; what was begun and not completed is taken back. Nothing when that has been done.

        Raises:
            OSError: a file cannot be put back; then the stage stays, and the next run tries again.
        """
        if os.getpid() != self._process:  # a fork's copy: the stage is its parent's
            return
        with uninterrupted():
            if self._placed:
                (self.root / _JOURNAL).unlink(missing_ok=True)
            elif (self.root / _JOURNAL).exists():
                os.replace(self.root / _JOURNAL, self.root / _UNDO)
                _flush_folder(self.root)
            if self.root.exists():
                _settle(self.root)
            self._lock.release()
            shutil.rmtree(self.root, ignore_errors=True)

    def _appear(self, names: Sequence[str], there: int) -> None:
        """Put the files in place with the folder that they are in, of which the first ``there`` levels exist."""
        for entry in os.scandir(self.files):
            if entry.name not in names:
                _remove(Path(entry.path))
        for depth in range(len(self._missing), there, -1):
            _flush_folder(self.root.joinpath(*self._missing[1:depth]))
        top = self._folder.joinpath(*self._missing[: there + 1])
        if there == 0:
            self._lock.release()  # a lock file must not come along
        os.rename(self.root.joinpath(*self._missing[1 : there + 1]), top)
        self._placed = True
        _flush_folder(top.parent)

    def _exchange(self, names: Sequence[str], check: Callable[[Path], None]) -> None:
        """Put the files in place one by one, by a journal."""
        kept = self.root / _KEPT
        kept.mkdir()
        moves = [{"name": name, "old": _state(self.target / name), "new": _state(self.files / name)} for name in names]
        _write_journal(self.root, {"in": self._missing[1:], "files": moves})
        try:
            for name in names:
                target = self.target / name
                if os.path.lexists(target):
                    check(target)
                    _keep(target, kept / name)
                os.replace(self.files / name, target)
            _flush_folder(self.target)  # the journal must not go before the files have come
            self._placed = True
        except BaseException:
            self.drop()
            raise


def sweep(folder: Path) -> None:
    """Complete what runs that were cut off began in a folder, and remove what they left.

    The caller holds the lock of the folder. What cannot be completed stays for another time.
    """
    for root in list(_stages(folder)):
        lock = FolderLock(root)
        try:
            if lock.take():
                with uninterrupted():
                    _settle(root)
                    lock.release()
                    shutil.rmtree(root, ignore_errors=True)
        except OSError:
            continue
        finally:
            lock.release()


def recover(folder: Path) -> None:
    """As `sweep`, for who does not write there: never waits for another run, never fails."""
    if next(_stages(folder), None) is None and not os.path.lexists(folder / LOCK_FILE):
        return
    lock = FolderLock(folder)
    try:
        if lock.take():
            sweep(folder)
    except OSError:
        return
    finally:
        lock.release()


def _stages(folder: Path) -> Iterator[Path]:
    """The stages in a folder that this user made: nobody else's journal decides what happens to his files."""
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if (
                    _NAME.match(entry.name)
                    and entry.is_dir(follow_symlinks=False)
                    and (os.name == "nt" or entry.stat(follow_symlinks=False).st_uid == os.geteuid())
                ):
                    yield folder / entry.name
    except (OSError, ValueError):
        return


# --- the journal ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Move:
    """One file's way: from the stage to its place, and what was replaced from there to the stage.

    Attributes:
        staged, target, kept: the three places.
        old, new: `_state` of what stood there, and of the file that goes there.
    """

    staged: Path
    target: Path
    replaced: Path
    old: Any
    new: Any

    def forward(self) -> None:
        """Bring the new file to its place, where nobody has put another there meanwhile."""
        if os.path.lexists(self.staged) and _is_any(self.target, (None, self.old)):
            os.replace(self.staged, self.target)

    def back(self) -> None:
        """Bring the old file to its place, or take the new one away where there was none."""
        if not _is_any(self.target, (None, self.old, self.new)):
            return
        if os.path.lexists(self.replaced):
            os.replace(self.replaced, self.target)
        elif self.old is None and os.path.lexists(self.target) and not os.path.lexists(self.staged):
            os.replace(self.target, self.staged)


def _settle(root: Path) -> None:
    """Bring what a stage's journal says to its end; done twice or in two parts it comes to the same."""
    undo = (root / _UNDO).exists()
    journal = root / (_UNDO if undo else _JOURNAL)
    if not journal.exists():
        return
    moves = _moves(root, journal)
    for move in reversed(moves) if undo else moves:
        if undo:
            move.back()
        else:
            move.forward()
    _flush_folder(root.parent)
    journal.unlink()


def _moves(root: Path, journal: Path) -> list[_Move]:
    """What a journal says.

    Raises:
        OSError: it cannot be read, or is none of ours.
    """
    try:
        content = json.loads(journal.read_bytes())
        names = [move["name"] for move in content["files"]]
        if any(name in ("", ".", "..") or os.path.basename(name) != name for name in (*names, *content["in"])):
            raise ValueError
        files = root.joinpath(*content["in"])
        return [
            _Move(files / name, root.parent / name, root / _KEPT / name, move["old"], move["new"])
            for name, move in zip(names, content["files"], strict=True)
        ]
    except (ValueError, KeyError, TypeError) as error:
        raise OSError(errno.EINVAL, "not a journal", str(journal)) from error


def _write_journal(root: Path, content: dict[str, Any]) -> None:
    """Write the journal, on disk and whole before it has its name; then the names in the stage and its own."""
    fresh = root / (_JOURNAL + "-")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
    try:
        data = memoryview(json.dumps(content).encode())
        while data:
            data = data[os.write(handle, data) :]
        os.fsync(handle)
    finally:
        os.close(handle)
    os.replace(fresh, root / _JOURNAL)
    for folder in dict.fromkeys((root.joinpath(*content["in"]), root, root.parent)):
        _flush_folder(folder)


def _state(path: Path) -> list[int] | None:
    """Size in bytes and time of change in ns of what stands there; None for nothing."""
    try:
        seen = os.lstat(path)
    except FileNotFoundError:
        return None
    return [seen.st_size, seen.st_mtime_ns]


def _is_any(path: Path, states: Sequence[Any]) -> bool:
    """Whether what stands there is in one of these states."""
    seen = _state(path)
    return any(
        seen == state or (seen and state and seen[0] == state[0] and abs(seen[1] - state[1]) <= _ROUNDED)
        for state in states
    )


def _keep(target: Path, kept: Path) -> None:
    """Keep what is about to be replaced; by a second link where that can be, so that its name is never empty."""
    if stat.S_ISDIR(os.lstat(target).st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(target))
    try:
        os.link(target, kept, follow_symlinks=False)
    except (OSError, NotImplementedError):
        os.replace(target, kept)


def _flush_file(path: Path) -> None:
    """Bring a file's content to the disk."""
    handle = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _flush_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system can."""
    if os.name == "nt":
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink()
