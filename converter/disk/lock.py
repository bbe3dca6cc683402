"""Locks on folders that end with the process that holds them, and moments that no interrupt cuts in two."""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import Any

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

#: Seconds to wait for another run that writes into a folder; a set of files is put in place in far less.
WAIT = 30.0
#: The file that is locked where the system locks no folders.
LOCK_FILE = ".elbowroom-lock"
#: Signals that a program may turn into an exception.
_INTERRUPTS = [
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK", "SIGALRM") if hasattr(signal, name)
]
#: What a file system without any locks answers.
_LOCKLESS = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.ENOTSUP}


class FolderLock:
    """An exclusive lock on a folder. The system ends it with the process, also when that is killed.

    The folder itself is locked and nothing is left in it. Where folders cannot be locked (Windows, some network
    file systems), a file in it is, which goes with the lock. Two locks of one process exclude each other as well.

    Args:
        folder: to lock.
    """

    _handle: int | None = None
    _file: Path | None = None
    _process = 0

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __del__(self) -> None:
        if self._handle is not None:  # an interrupt came before it was released
            with suppress(OSError):
                self.release()

    def take(self) -> bool:
        """Take it, unless somebody holds it; never waits.

        Raises:
            OSError: the folder is gone, or this file system has no locks.
        """
        with uninterrupted():
            taken = self._take(self.folder, os.O_RDONLY) if sys.platform != "win32" else None
            if taken is None:
                taken = self._take(self.folder / LOCK_FILE, os.O_RDWR | os.O_CREAT)
            if taken is None:
                raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK), str(self.folder))
            return taken

    def release(self) -> None:
        """Let others have it; nothing when it is not held."""
        with uninterrupted():
            handle, file = self._handle, self._file
            if handle is None:
                return
            if self._process != os.getpid():  # a fork's copy: the lock is its parent's
                file = None
            elif sys.platform != "win32":
                # while it is still locked: who waits with the removed file in hand sees that it is no longer there
                if file is not None:
                    file.unlink(missing_ok=True)
                fcntl.flock(handle, fcntl.LOCK_UN)
            self._handle = self._file = None
            os.close(handle)
            if file is not None and sys.platform == "win32":
                with suppress(OSError):
                    file.unlink(missing_ok=True)  # stays where another run has it open

    def _take(self, path: Path, flags: int) -> bool | None:
        """Whether it was taken; None where such a thing cannot be locked."""
        try:
            handle = os.open(path, flags, 0o666)
        except PermissionError:
            if path != self.folder:
                raise
            return None
        self._handle, self._file, self._process = handle, (None if path == self.folder else path), os.getpid()
        keep = False
        try:
            taken = _lock(handle)
            # what was locked may have been moved away or removed meanwhile
            keep = taken is True and _leads_to(path, handle)
        finally:
            if not keep:
                self._handle = self._file = None
                os.close(handle)
        return None if taken is None else keep


def _lock(handle: int) -> bool | None:
    """Lock an open file: whether it was free; None when this kind cannot be locked."""
    try:
        if sys.platform == "win32":
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return False if error.errno in (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK) else None
    return True


def _leads_to(path: Path, handle: int) -> bool:
    try:
        return os.path.samestat(os.stat(path), os.fstat(handle))
    except FileNotFoundError:
        return False


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the lock of a folder; on a file system without locks nothing is held.

    Args:
        folder: to lock.

    Raises:
        TimeoutError: it was not free within `WAIT` seconds.
        OSError: the folder is gone.
    """
    lock = FolderLock(folder)
    deadline = time.monotonic() + WAIT
    pause = 0.002
    try:
        try:
            while not lock.take():
                if time.monotonic() > deadline:
                    raise TimeoutError(errno.ETIMEDOUT, "another elbowroom is writing there", str(folder))
                time.sleep(pause)
                pause = min(0.1, pause * 1.5)
        except OSError as error:
            if error.errno not in _LOCKLESS:
                raise
        yield
    finally:
        lock.release()


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Signals that a handler of this process would turn into an exception wait until the block is done.

    Only the main thread gets such exceptions; in others this does nothing. A signal without a handler still
    ends the process at once.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    waiting: list[int] = []
    handlers: dict[int, Callable[[int, FrameType | None], Any]] = {}
    busy = True

    def note(number: int, frame: FrameType | None) -> None:
        if busy:
            waiting.append(number)
        else:  # left in place by an interrupt that came while the handlers were put back
            signal.signal(number, handlers[number])
            handlers[number](number, frame)

    try:
        for number in _INTERRUPTS:
            handler = signal.getsignal(number)
            if callable(handler):
                handlers[number] = handler
                signal.signal(number, note)
        yield
    finally:
        busy = False
        for number, handler in handlers.items():
            signal.signal(number, handler)
        for number in dict.fromkeys(waiting):
            handlers[number](number, None)
