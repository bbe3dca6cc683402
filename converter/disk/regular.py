"""Opening what is a file and nothing else, and reading a stream no further than a limit.

A pipe or a device that bears a file's name may block for ever, never end, or do something when it is opened. Bytes
that come through a pipe are read from standard input, which has a limit of its own.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from io import BytesIO
from typing import BinaryIO

from converter.errors import ReadError, TooLargeError
from converter.limits import FILE_BYTES, size_text

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
