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
from time import monotonic
from types import FrameType
from typing import Any, NoReturn

from converter import allowance
from converter.allowance import TimeLimitReached
from converter.errors import ElbowroomError
from converter.progress import watch_files

#: Exit status where none better is known.
_FAILED = 2
#: Signals that ask to stop. A terminal sends them to both processes, other programs to the parent alone.
_ASKING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
#: Seconds in which a second such signal is the same one, handed on, or impatience with a clean-up that is under way.
_SAME = 2.0
#: Seconds of processor time beyond the limit: to clean up, or for library code to come back to us before it is killed.
_GRACE = 5.0
#: Bytes beyond the limit with which to say that it was reached.
_RESERVE = 64 * 10**6
#: Part of the memory allowed whose use makes want of memory the likely cause of a crash.
_NEARLY_ALL = 0.8


class WorkerTask:  # no dataclass, whose making costs more than all else that every start-up pays here
    """What a process is doing, with which input ('' for none yet), and what it may use for it.

    Attributes:
        doing: ``reading`` or ``writing``.
        seconds: of processor time for each input, None for no limit.
        memory: bytes, None for no limit.
    """

    __slots__ = ("doing", "file", "memory", "seconds")

    def __init__(self, doing: str, file: str, seconds: float | None, memory: int | None) -> None:
        self.doing = doing
        self.file = file
        self.seconds = seconds
        self.memory = memory

    def out_of_time(self) -> ElbowroomError:
        """The processor time was not enough."""
        cure = "simplify the drawing, or allow more with --limit-time"
        return self._error("limit-time", f"takes more than {self.seconds or 0.0:g} s of processor time", cure)

    def out_of_memory(self) -> ElbowroomError:
        """The memory was not enough."""
        if self.memory is None:
            return self._error("limit-memory", "takes more memory than there is", "simplify or split the drawing")
        cure = "simplify or split the drawing, or allow more with --limit-memory"
        return self._error("limit-memory", f"takes more than {_size(self.memory)} of memory", cure)

    def killed(self) -> ElbowroomError:
        """The system ended the process."""
        while_ = f" {self.doing} {self._name()}" if self.file else ""
        text = (
            f"elbowroom was stopped by the system{' while' if while_ else ''}{while_}, most likely for want of memory: "
            "close other programs, or split the drawing."
        )
        return ElbowroomError(text, code="crashed", file=self.file or None)

    def crashed(self, how: str) -> ElbowroomError:
        """A library took the process with it, by a signal or otherwise."""
        what = f"{self.doing.capitalize()} {self._name()}" if self.file else "This"
        if self.doing == "writing":
            what = f"Writing what comes of {self._name()}"
        cure = "the file is most likely damaged, so export it again; if it is sound, please report it with the drawing"
        if self.doing != "reading":
            cure = "please report it with the drawing"
        text = f"{what} crashed a library that elbowroom uses ({how}): {cure}."
        return ElbowroomError(text, code="crashed", file=self.file or None)

    def _error(self, code: str, what: str, cure: str) -> ElbowroomError:
        subject = f"Writing what comes of {self._name()}" if self.doing == "writing" else self._name()
        work = " to read and work out" if self.doing == "reading" else ""
        return ElbowroomError(f"{subject} {what}{work}: {cure}.", code=code, file=self.file or None)

    def _name(self) -> str:
        return "Standard input" if self.file == "-" else self.file or "This"


def _size(bytes_: int) -> str:
    return f"{bytes_ / 1e9:.3g} GB" if bytes_ >= 10**9 else f"{bytes_ / 1e6:.3g} MB"


class Notes:
    """A page of memory that both processes see: the child's task, and how far it came."""

    _BEGUN, _ENDED, _TASK = 0, 1, 2

    def __init__(self) -> None:
        from mmap import mmap

        self._page = mmap(-1, 4096)

    @property
    def task(self) -> WorkerTask:
        """What the child noted last that it was doing; a very long file name is cut."""
        seconds, memory, doing, file, *_ = self._page[self._TASK :].decode("utf-8", "ignore").split("\0")
        return WorkerTask(doing, file, float(seconds) or None, int(memory) or None)

    @task.setter
    def task(self, task: WorkerTask) -> None:
        room = len(self._page) - self._TASK
        text = f"{task.seconds or 0.0}\0{task.memory or 0}\0{task.doing}\0{task.file}"
        self._page[self._TASK :] = text.encode("utf-8", "replace")[: room - 1].ljust(room, b"\0")

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


class _Worker:
    """The side of the child: its limits, what it was asked, and what it notes for the parent."""

    def __init__(self, notes: Notes) -> None:
        self.notes = notes
        self.task = WorkerTask("", "", allowance.SECONDS, allowance.usual_memory())
        self.stop_request: tuple[int, float] | None = None  # the signal that asked to stop, and when
        self.late = False  # the processor time was used up

    def begin(self, file: str, doing: str) -> None:
        """Work on an input begins: it may use as much time as every other."""
        self.task.file, self.task.doing = file, doing
        self.limit()

    def limit(self) -> None:
        """Set the limits of the task from now on."""
        task = self.task
        self.notes.task = task
        allowance.limit_memory(task.memory)
        allowance.limit_seconds(task.seconds)
        # a Python handler waits until library code returns; this signal has none, and ends the process
        most = 0.0 if task.seconds is None else task.seconds + 1.0 + _GRACE  # the other limit is in whole seconds
        signal.setitimer(signal.ITIMER_PROF, most)

    def stop(self, number: int, frame: FrameType | None) -> None:
        """Stop as on Ctrl-C: everything that is cleaned up then is cleaned up now."""
        now = monotonic()
        if self.stop_request is None or now - self.stop_request[1] > _SAME:
            self.stop_request = (number, now)
            raise KeyboardInterrupt

    def orphaned(self, number: int, frame: FrameType | None) -> None:
        """The parent is gone, which nothing but the system or ``kill -9`` brings about."""
        self.stop(signal.SIGTERM, frame)

    def out_of_time(self, number: int, frame: FrameType | None) -> NoReturn:
        """The processor time is used up."""
        self.late = True
        allowance.limit_seconds(_GRACE)  # to clean up in; else the signal would come again within a second
        raise TimeLimitReached


#: This process, when it is the one that works under a supervisor.
_WORKER: _Worker | None = None


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
        _work(work, _Worker(notes), handled, before, ending, parent)
    os.close(ending)

    def hand_on(number: int, frame: FrameType | None) -> None:
        os.kill(child, number)

    handlers = [(number, signal.signal(number, hand_on)) for number in handled]
    signal.pthread_sigmask(signal.SIG_SETMASK, before)
    _, status, usage = os.wait4(child, 0)
    for number, handler in handlers:
        signal.signal(number, handler)
    os.close(lifeline)
    if os.WIFEXITED(status) and notes.ended:
        return os.WEXITSTATUS(status)
    if os.WIFSIGNALED(status) and os.WTERMSIG(status) in _ASKING:
        return 128 + os.WTERMSIG(status)
    return tell(_why(status, usage.ru_utime + usage.ru_stime, _bytes(usage.ru_maxrss), notes.task), notes.begun)


def _why(status: int, seconds: float, memory: int, task: WorkerTask) -> ElbowroomError:
    """What a child's violent end means: its status, the processor time and the memory that it used, its task."""
    if not os.WIFSIGNALED(status):
        return task.crashed(f"it ended the program with status {os.WEXITSTATUS(status)}")
    number = os.WTERMSIG(status)
    if number == signal.SIGPROF:
        return task.out_of_time()
    if number == signal.SIGKILL:
        import resource

        allowed = resource.getrlimit(resource.RLIMIT_CPU)[1]
        if allowed != resource.RLIM_INFINITY and seconds > allowed - 1.0:  # set by the surroundings
            task.seconds = float(allowed)
            return task.out_of_time()
        return task.killed()
    if task.memory is not None and memory > _NEARLY_ALL * task.memory:
        return task.out_of_memory()
    return task.crashed(signal.Signals(number).name if number in set(signal.Signals) else f"signal {number}")


def _bytes(maxrss: int) -> int:
    """Greatest memory in bytes, from what the system counts in kilobytes (macOS: in bytes)."""
    return maxrss if sys.platform == "darwin" else maxrss * 1024


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
    worker: _Worker,
    handled: list[int],
    mask: set[int | signal.Signals],
    ending: int,
    parent: int,
) -> NoReturn:
    """The child's whole life.

    Args:
        handled: signals to stop at.
        mask: of signals, to go back to.
        ending: end of a pipe whose other end the parent holds as long as it lives.
        parent: its process number.
    """
    global _WORKER  # noqa: PLW0603 - the process becomes another one here
    status = _FAILED
    try:
        _WORKER = worker
        for number in handled:
            signal.signal(number, worker.stop)
        _stop_with_parent(ending, worker)
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        signal.signal(signal.SIGXCPU, worker.out_of_time)
        worker.limit()
        watch_files(worker.begin)
        if isinstance(sys.stdout, io.TextIOWrapper):  # else it is closed
            sys.stdout = _noting(sys.stdout, worker.notes)
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        if os.getppid() == parent:  # else it ended before we could be told
            status = work()
        worker.notes.end()
    except KeyboardInterrupt:
        status = stopped_status()
        worker.notes.end()
    finally:
        if sys.exc_info()[0] is not None:
            sys.excepthook(*sys.exc_info())
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except (AttributeError, OSError, ValueError):  # none, or nobody there to read it
                continue
        os._exit(status)  # not through the libraries' own endings, which cost time and have been known to crash


def _stop_with_parent(ending: int, worker: _Worker) -> None:
    """Be told by a signal when the other end of a pipe closes."""
    from fcntl import F_GETFL, F_SETFL, F_SETOWN, fcntl

    signal.signal(signal.SIGIO, worker.orphaned)
    fcntl(ending, F_SETOWN, os.getpid())
    fcntl(ending, F_SETFL, fcntl(ending, F_GETFL) | os.O_ASYNC)


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
    """The sentence for an error that stands for the end of time or memory, or comes of it; None for any other.

    A library that is interrupted at the end of the time may well raise an error of its own.
    """
    task = WorkerTask("", "", None, None) if _WORKER is None else _WORKER.task
    if _WORKER is not None and _WORKER.late:
        return task.out_of_time()
    if allowance.is_want_of_memory(error):
        if task.memory is not None:
            allowance.limit_memory(task.memory + _RESERVE)
        return task.out_of_memory()
    return None
