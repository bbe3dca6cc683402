"""Where a reader's bytes come from: a file, or standard input read once into memory."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

from converter.disk.reading import (
    HEAD,
    cannot_read,
    check_regular,
    complete_folder_of,
    open_to_read,
    read_standard_input,
    standard_input,
)
from converter.errors import ReadError, TooLargeError
from converter.limits import FILE_BYTES, size_text

#: What to do with a pipe or a device that is named as a drawing.
_PIPE_IT = "pipe it into the command and name '-' as the input"
_SPLIT_IT = "export the tubes alone, or split the drawing"
_PACKAGE = Path(__file__).resolve().parent.parent
#: What a line of ours raises where it is wrong, whatever the file holds.
_SLIPS = (AttributeError, TypeError, NameError, AssertionError, ImportError, NotImplementedError)


@dataclass(frozen=True)
class Source:
    """One input: its name as the user gave it, and a file or the bytes themselves.

    Attributes:
        name: what messages call it ('-' for standard input).
        path: the file, or None for bytes held in memory.
        data: the bytes, or None for a file.
    """

    name: str
    path: Path | None = None
    data: bytes | None = None

    @classmethod
    def of(cls, source: str | os.PathLike[str] | Source, limit: Callable[[bytes], int] | None = None) -> Source:
        """The source behind a name; '-' takes all of standard input now.

        Args:
            source: file name, '-', or a source, which is given back.
            limit: bytes that standard input may have, told from its first ones before the rest is read; it may raise.

        Raises:
            ReadError: it is missing, no regular file, unreadable, empty or larger than `limits.FILE_BYTES`.
        """
        if isinstance(source, Source):
            return source
        name = os.fspath(source)
        if name == "-":
            data = b"" if sys.stdin is None else read_standard_input(standard_input(), limit)
            if not data:
                raise ReadError("Standard input is empty: pipe a drawing into it.", code="empty-file", file="-")
            return cls("-", None, data)
        path = Path(name)
        try:
            complete_folder_of(path)
            if path.is_dir():
                raise ReadError(f"{name} is a directory: name a file inside it.", code="is-directory", file=name)
            seen = path.stat()
        except (OSError, ValueError) as error:
            raise cannot_read(name, error) from error
        check_regular(name, seen, _PIPE_IT)
        if seen.st_size == 0:
            raise ReadError(f"{name} is empty: export the drawing again.", code="empty-file", file=name)
        given = cls(name, path)
        given.check_size(FILE_BYTES)
        return given

    @property
    def size(self) -> int:
        """Bytes it has.

        Raises:
            ReadError: the file is gone.
        """
        if self.data is not None:
            return len(self.data)
        try:
            return (self.path or Path(self.name)).stat().st_size
        except (OSError, ValueError) as error:
            raise cannot_read(self.name, error) from error

    def check_size(self, most: int) -> None:
        """Refuse it when it has more bytes than ``most``.

        Raises:
            TooLargeError: it has.
        """
        if self.size > most:
            name = "Standard input" if self.name == "-" else self.name
            raise TooLargeError.of(name, size_text(self.size), size_text(most), _SPLIT_IT)

    def __fspath__(self) -> str:
        """The path of the file, so that a source can be opened like a name."""
        return self.name if self.path is None else str(self.path)

    def open(self) -> BinaryIO:
        """The bytes as a stream.

        Raises:
            ReadError: the file cannot be opened.
        """
        if self.data is not None:
            return BytesIO(self.data)
        try:
            return open_to_read(self.path or self.name, _PIPE_IT)
        except (OSError, ValueError) as error:
            raise cannot_read(self.name, error) from error

    def read_bytes(self) -> bytes:
        """All of it.

        Raises:
            ReadError: the file cannot be read.
        """
        if self.data is not None:
            return self.data
        try:
            with self.open() as stream:
                return stream.read()
        except OSError as error:
            raise cannot_read(self.name, error) from error

    def digest(self) -> str:
        """SHA-256 of all of it, 64 hexadecimal digits.

        Raises:
            ReadError: the file cannot be read.
        """
        from hashlib import sha256

        return sha256(self.read_bytes()).hexdigest()

    def ends(self, head: int = HEAD, tail: int = 4096) -> tuple[bytes, bytes]:
        """The first and the last bytes (fewer when it is shorter).

        Raises:
            ReadError: the file cannot be read.
        """
        if self.data is not None:
            return self.data[:head], self.data[-tail:]
        try:
            with self.open() as stream:
                first = stream.read(head)
                size = stream.seek(0, os.SEEK_END)
                stream.seek(max(0, size - tail))
                return first, stream.read()
        except OSError as error:
            raise cannot_read(self.name, error) from error


def raise_own_mistake(error: BaseException) -> None:
    """Raise an exception again that a wrong line of this package raised, so that no file is blamed for it.

    What libraries raise, and what lines of ours raise for values that they cannot take (`ValueError`, `KeyError` and
    the like), is left to the caller to tell.
    """
    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    if at is None or not isinstance(error, _SLIPS):
        return
    if Path(at.tb_frame.f_code.co_filename).resolve().is_relative_to(_PACKAGE):
        raise error
