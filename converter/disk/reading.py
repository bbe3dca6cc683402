"""The door through which files are read, and which files came through it: none of them is ever written over.

Whoever opens a file of the user's to read it calls `open_to_read`. Within `recorded` every such file is noted, so that
a reader need not think of those who write, nor they of readers.

What is opened is a file and nothing else, and a stream is read no further than a limit: a pipe or a device that bears
a file's name may block for ever, never end, or do something when it is opened. Bytes that come through a pipe are read
from standard input, which has a limit of its own.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from io import BytesIO
from itertools import islice
from typing import BinaryIO

from converter.errors import ReadError, TooLargeError
from converter.limits import FILE_BYTES, size_text
from converter.quoting import LONGEST_PATH, quoted, shortened

#: Pipes open at once instead of waiting for a writer; a terminal does not become ours. Windows knows neither.
_FLAGS = os.O_RDONLY | sum(getattr(os, name, 0) for name in ("O_NONBLOCK", "O_NOCTTY", "O_CLOEXEC", "O_BINARY"))
_KINDS = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISDIR, "a directory"),
)
#: Bytes looked at before the rest of a stream is read, and read at a time.
HEAD, CHUNK = 65536, 1 << 20
#: Names of a folder that are looked at for one like a name that is not there.
_NAMES_BESIDE = 2000


@dataclass(frozen=True, slots=True)
class FileRead:
    """A file as it was when it was opened.

    Attributes:
        path: absolute; '' for standard input.
        device, inode, size, changed: from the system: which file, bytes, ns.
    """

    path: str
    device: int
    inode: int
    size: int
    changed: int

    @classmethod
    def of(cls, path: str | os.PathLike[str], seen: os.stat_result | None = None) -> FileRead:
        """The file that stands there now.

        Raises:
            OSError: none does.
        """
        seen = seen or os.stat(path)
        where = os.path.abspath(path) if os.fspath(path) else ""
        return cls(where, seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns)

    def is_at(self, target: str | os.PathLike[str]) -> bool:
        """Whether this file would be written over at ``target``, under whatever name, by whatever link.

        It would where its own path leads to the same file now, and where the very file stands that was opened
        (moved there since). The number of a file alone does not tell: a new file may get that of a removed one.
        """
        try:
            there = os.stat(target)
        except OSError:
            return bool(self.path) and os.path.realpath(self.path) == os.path.realpath(target)
        if (there.st_dev, there.st_ino, there.st_size, there.st_mtime_ns) == (
            self.device,
            self.inode,
            self.size,
            self.changed,
        ):
            return True
        try:
            return bool(self.path) and os.path.samestat(os.stat(self.path), there)
        except OSError:
            return False


@dataclass(slots=True)
class _Log:
    """What was read so far, and in which folders; what is noted here is noted in the log around it too."""

    around: _Log | None
    files: dict[FileRead, None] = field(default_factory=dict)
    folders: set[str] = field(default_factory=set)

    def has_seen(self, folder: str) -> bool:
        """Whether this was done in a folder, here or in a log around this one."""
        return folder in self.folders or (self.around is not None and self.around.has_seen(folder))

    def note(self, file: FileRead) -> None:
        self.files[file] = None
        if self.around is not None:
            self.around.note(file)


_LOG: ContextVar[_Log | None] = ContextVar("files read", default=None)


@contextmanager
def recorded() -> Iterator[None]:
    """Note every file that is opened to be read in this block."""
    token = _LOG.set(_Log(_LOG.get()))
    try:
        yield
    finally:
        _LOG.reset(token)


def files_read() -> tuple[FileRead, ...]:
    """The files opened so far in the innermost `recorded` block; none outside."""
    log = _LOG.get()
    return () if log is None else tuple(log.files)


def complete_folder_of(path: str | os.PathLike[str]) -> None:
    """Complete what a run that was cut off began in the folder of a file; looked for once in a `recorded` block.

    Raises:
        ValueError: the name holds a null character.
    """
    from pathlib import Path

    from converter.disk.stage import recover

    log = _LOG.get()
    folder = os.path.dirname(os.path.realpath(path))
    if log is None or not log.has_seen(folder):
        recover(Path(folder))
        if log is not None:
            log.folders.add(folder)


def open_to_read(path: str | os.PathLike[str], cure: str = "copy it into a file and name that") -> BinaryIO:
    """A file's bytes as a stream; the file is noted. Never waits: a pipe or a device is refused.

    What a run that was cut off began in its folder is completed first (`complete_folder_of`). Arguments and errors are
    those of `open_regular`.
    """
    log = _LOG.get()
    complete_folder_of(path)
    stream = open_regular(path, cure)
    if log is not None:
        log.note(FileRead.of(path, os.fstat(stream.fileno())))
    return stream


def standard_input() -> BinaryIO:
    """Standard input as a stream of bytes; where it comes from a file, the file is noted."""
    log = _LOG.get()
    if log is not None:
        with suppress(OSError, ValueError, AttributeError):  # none, or an object in its place
            log.note(FileRead.of("", os.fstat(sys.stdin.fileno())))
    return sys.stdin.buffer


def open_regular(path: str | os.PathLike[str], cure: str) -> BinaryIO:
    """A file's bytes as a stream; never waits.

    Args:
        path: the file as the user named it; a link is followed.
        cure: what to do when it is a pipe or a device.

    Raises:
        ReadError: it is no regular file.
        OSError: it cannot be opened.
        ValueError: the name holds a null character.
    """
    check_regular(path, os.stat(path), cure)
    handle = os.open(path, _FLAGS)
    try:
        check_regular(path, os.fstat(handle), cure)  # something else may stand there by now
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def check_regular(path: str | os.PathLike[str], seen: os.stat_result, cure: str) -> None:
    """Refuse what is no regular file.

    Raises:
        ReadError: it is a pipe, a socket, a device or a directory.
    """
    if not stat.S_ISREG(seen.st_mode):
        name = os.fspath(path)
        what = next((word for is_kind, word in _KINDS if is_kind(seen.st_mode)), "something else")
        raise ReadError(f"{name} is {what}, not a file: {cure}.", code="not-a-file", file=name)


def read_standard_input(stream: BinaryIO, limit: Callable[[bytes], int] | None = None) -> bytes:
    """All of a stream that has no size of its own.

    Args:
        stream: to read; a pipe too.
        limit: bytes that may come, told from the first ones (up to `HEAD`) before anything more is read; it may
            raise. `limits.FILE_BYTES` without it.

    Raises:
        TooLargeError: there is more; no more was read.
    """
    head = stream.read(HEAD)
    most = FILE_BYTES if limit is None or not head else min(limit(head), FILE_BYTES)
    # handed out without a copy; a list of pieces would need the memory twice
    whole = BytesIO()
    whole.write(head)
    while chunk := stream.read(CHUNK):
        whole.write(chunk)
        if whole.tell() > most:
            raise TooLargeError(
                f"Standard input has more than the {size_text(most)} that are read: export the tubes alone, or split "
                "the drawing.",
                file="-",
            )
    return whole.getvalue()


def cannot_read(name: str, error: OSError | ValueError) -> ReadError:
    """The sentence for a file that the system will not hand over."""
    if isinstance(error, FileNotFoundError):
        message = f"{shortened(name, LONGEST_PATH)} does not exist: {_where_to_look(name)}"
        return ReadError(message, code="no-such-file", file=name)
    if isinstance(error, PermissionError):
        return ReadError(f"{name} may not be read: check its permissions.", code="no-permission", file=name)
    reason = (getattr(error, "strerror", None) or str(error)).rstrip(".")
    return ReadError(f"{quoted(name, LONGEST_PATH)} cannot be read: {reason}.", code="unreadable", file=name)


def _where_to_look(name: str) -> str:
    """What to do about a file that is not there: the one meant, if a name beside it is like it, or where was looked."""
    from difflib import get_close_matches

    folder, file = os.path.split(name)
    where = shortened(os.path.abspath(folder), LONGEST_PATH)
    try:
        with os.scandir(folder or ".") as entries:
            beside = [entry.name for entry in islice(entries, _NAMES_BESIDE) if not entry.name.startswith(".")]
    except (FileNotFoundError, NotADirectoryError):
        return f"there is no folder {where}."
    except OSError:
        return "check the name."
    cut_short = sorted(one for one in beside if one.startswith(f"{file} "))
    unended = sorted(one for one in beside if one.startswith(f"{file}."))
    near = cut_short[:1] or unended[:1] or get_close_matches(file[:LONGEST_PATH], sorted(beside), 1, 0.7)
    if not near:
        return f"check the name; {where} was looked in."
    meant = shortened(os.path.join(folder, near[0]), LONGEST_PATH)
    if cut_short:
        return f'did you mean "{meant}"? A name with blanks stands in quotes.'
    return f"did you mean {meant}?"
