"""The command line in two processes: one works, the other waits and says what became of it.

Libraries beneath us are written in C and C++; damaged input can make them crash, or never return. So the process that a
person starts forks before it has loaded anything: the child runs the command, within limits of processor time and
memory, and the parent turns any violent end of it into one sentence. Both stay in the terminal's foreground group, so
that Ctrl-Z, the terminal's size and standard input are as with one process; signals that ask to stop are handed on.
"""

from __future__ import annotations

import io
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

from converter.errors import ElbowroomError
from converter.processes import allowance
from converter.processes.failures import WorkerTask, why_ended
from converter.processes.worker import Worker

#: Exit status where none better is known.
_FAILED = 2
#: Signals that ask to stop. A terminal sends them to both processes, other programs to the parent alone.
_ASKING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))

#: Seconds that a command has to come to an end once it is asked to: within a library in C++ it hears of no signal.
_GRACE = 5.0


class Notes:
    """Memory that both processes see: the child's task, and how far it came."""

    _BEGUN, _ENDED, _TASK = 0, 1, 2

    def __init__(self) -> None:
        from mmap import mmap

        self._page = mmap(-1, 16384)

    @property
    def task(self) -> WorkerTask:
        """What the child noted last that it was doing; a very long file name is cut."""
        seconds, memory, begun, doing, folder, file, *_ = self._page[self._TASK :].split(b"\0")
        name = file.decode("utf-8", "ignore")
        task = WorkerTask(doing.decode(), name, float(seconds) or None, int(memory) or None, int(begun))
        task.folder = os.fsdecode(folder)
        return task

    def note(self, task: WorkerTask) -> None:
        """The child says what it is doing."""
        room = len(self._page) - self._TASK
        figures = f"{task.seconds or 0.0}\0{task.memory or 0}\0{task.begun}\0{task.doing}".encode()
        text = b"\0".join((figures, os.fsencode(task.folder), task.file.encode("utf-8", "replace")))
        self._page[self._TASK :] = text[: room - 1].ljust(room, b"\0")

    @property
    def begun(self) -> bool:
        """Whether something was written to standard output."""
        return self._page[self._BEGUN] == 1

    def begin(self) -> None:
        """Something is being written to standard output."""
        self._page[self._BEGUN] = 1

    @property
    def ended(self) -> bool:
        """Whether the command came to an end of its own."""
        return self._page[self._ENDED] == 1

    def end(self) -> None:
        """The command came to an end of its own."""
        self._page[self._ENDED] = 1


#: This process, when it is the one that works under a supervisor.
_WORKER: Worker | None = None


def supervised(work: Callable[[], int], tell: Callable[[ElbowroomError, bool], int]) -> int:
    """Run a command in a process of its own and return its exit status, whatever becomes of it.

    Args:
        work: the command; returns its exit status and raises nothing.
        tell: says what went wrong and returns the exit status; is also told whether standard output holds
            something already. Called in this process, only when ``work`` did not come to an end.

    Where a process cannot fork (the system does not know how, threads are running), ``work`` runs in this one.
    """
    if not hasattr(os, "fork") or _has_threads():
        return work()
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.flush()
    notes, parent = Notes(), os.getpid()
    ending, lifeline = (_out_of_the_way(end) for end in os.pipe())
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)  # ignored, it would keep the child's status from us
    handled = [number for number in _ASKING if signal.getsignal(number) != signal.SIG_IGN]  # nohup ignores one
    before = signal.pthread_sigmask(signal.SIG_BLOCK, handled)
    try:
        child = os.fork()
    except OSError:  # no more processes allowed
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        return work()
    if child == 0:
        os.close(lifeline)
        _work(work, notes, handled, before, ending, parent)
    os.close(ending)
    asked = 0

    def hand_on(number: int, frame: FrameType | None) -> None:
        nonlocal asked
        if not asked:
            asked = number
            signal.setitimer(signal.ITIMER_REAL, _GRACE)
        os.kill(child, number)

    def end_it(number: int, frame: FrameType | None) -> None:
        os.kill(child, signal.SIGKILL)

    handlers = [(number, signal.signal(number, hand_on)) for number in handled]
    handlers.append((signal.SIGALRM, signal.signal(signal.SIGALRM, end_it)))
    signal.pthread_sigmask(signal.SIG_SETMASK, before)
    _, status, usage = os.wait4(child, 0)
    signal.setitimer(signal.ITIMER_REAL, 0.0)
    for number, handler in handlers:
        signal.signal(number, handler)
    os.close(lifeline)
    if os.WIFEXITED(status) and notes.ended:
        return os.WEXITSTATUS(status)
    if notes.task.folder:  # what it was writing there goes, or takes its place, as after any run that is cut off
        from converter.disk.stage import recover

        recover(Path(notes.task.folder))
    if os.WIFSIGNALED(status) and os.WTERMSIG(status) in _ASKING:
        return 128 + os.WTERMSIG(status)
    if asked and os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL:
        return 128 + asked
    return tell(why_ended(status, usage, notes.task), notes.begun)


def _has_threads() -> bool:
    threading = sys.modules.get("threading")
    return threading is not None and threading.active_count() > 1


def _out_of_the_way(descriptor: int) -> int:
    """The same beyond the numbers of the standard streams, which a closed one leaves free."""
    from fcntl import F_DUPFD_CLOEXEC, fcntl

    moved = fcntl(descriptor, F_DUPFD_CLOEXEC, 3)
    os.close(descriptor)
    return moved


def _work(
    work: Callable[[], int],
    notes: Notes,
    handled: list[int],
    mask: set[int | signal.Signals],
    ending: int,
    parent: int,
) -> NoReturn:
    """The child's whole life.

    Args:
        work: the command.
        notes: what the parent reads.
        handled: signals to stop at.
        mask: of signals, to go back to.
        ending: end of a pipe whose other end the parent holds as long as it lives.
        parent: its process number.
    """
    global _WORKER  # noqa: PLW0603 - the process becomes another one here
    status = _FAILED
    try:
        worker = _WORKER = Worker(notes.note)
        for number in handled:
            signal.signal(number, worker.stop)
        worker.stop_with(ending)
        worker.heed_limits()
        if isinstance(sys.stdout, io.TextIOWrapper):  # else it is closed
            sys.stdout = _noting(sys.stdout, notes)
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        if os.getppid() == parent:  # else it ended before we could be told
            status = work()
        notes.end()
    except KeyboardInterrupt:
        status = stopped_status()
        notes.end()
    finally:
        if sys.exc_info()[0] is not None:
            sys.excepthook(*sys.exc_info())
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except (AttributeError, OSError, ValueError):  # none, or nobody there to read it
                continue
        os._exit(status)  # not through the libraries' own endings, which cost time and have been known to crash


class _WatchedOutput(io.FileIO):
    """Standard output that notes when something is written to it."""

    notes: Notes

    def write(self, data: Any, /) -> int:
        self.notes.begin()
        return super().write(data)


def _noting(stream: io.TextIOWrapper, notes: Notes) -> io.TextIOWrapper:
    """A stream like ``stream`` that notes when something reaches its file."""
    raw = _WatchedOutput(stream.fileno(), "wb", closefd=False)
    raw.notes = notes
    return io.TextIOWrapper(
        io.BufferedWriter(raw),
        encoding=stream.encoding,
        errors=stream.errors,
        newline="\n",
        line_buffering=stream.line_buffering,
        write_through=stream.write_through,
    )


# --- what the command itself asks and sets ------------------------------------------------------


def owns_process() -> bool:
    """Whether this process is one that a supervisor waits for."""
    return _WORKER is not None


def allow_seconds(seconds: float | None) -> None:
    """Processor time for each input from now on, s; None for any. Nothing happens in a process that is not ours."""
    if _WORKER is not None:
        _WORKER.task.seconds = seconds
        _WORKER.limit()


def allow_memory(bytes_: int | None) -> None:
    """Memory from now on, bytes; None for any. Nothing happens in a process that is not ours."""
    if _WORKER is not None:
        _WORKER.task.memory = bytes_
        _WORKER.limit()


def stopped_status() -> int:
    """Exit status of a command that was asked to stop: 128 and the number of the signal."""
    return 128 + (signal.SIGINT if _WORKER is None or _WORKER.stop_request is None else _WORKER.stop_request[0])


def limit_reached(error: BaseException | None) -> ElbowroomError | None:
    """The sentence for an error that comes of the end of time or memory (`Worker.limit_reached`), or None."""
    if _WORKER is not None:
        return _WORKER.limit_reached(error)
    return WorkerTask("", "", None, None).out_of_memory() if allowance.is_want_of_memory(error) else None
