"""How work ends that does not end well, each end in one sentence.

A limit is reached, a library takes the process with it, the system refuses something, we made a mistake: a command, and
each drawing of a batch, tells them in the same words.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
from typing import TYPE_CHECKING

from converter.errors import ElbowroomError
from converter.quoting import LONGEST_PATH, quoted, reason_of, shortened

if TYPE_CHECKING:
    from resource import struct_rusage

#: Part of the memory allowed whose use makes want of memory the likely cause of a crash.
_NEARLY_ALL = 0.8


class WorkerTask:  # no dataclass, whose making costs more than all else that every start-up pays here
    """What a process is doing, with which input ('' for none yet), and what it may use for it.

    Attributes:
        doing: ``reading`` or ``writing``.
        seconds: of processor time for each input, None for no limit.
        memory: bytes, None for no limit.
        begun: greatest memory by the system's count when the process began, bytes: that of the one that began it.
        folder: where it last began to write ('' for nowhere), to be cleared by who waits if it ends by violence.
    """

    __slots__ = ("begun", "doing", "file", "folder", "memory", "seconds")

    def __init__(self, doing: str, file: str, seconds: float | None, memory: int | None, begun: int = 0) -> None:
        self.folder = ""
        self.doing = doing
        self.file = file
        self.seconds = seconds
        self.memory = memory
        self.begun = begun

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


def why_ended(status: int, usage: struct_rusage, task: WorkerTask) -> ElbowroomError:
    """What the violent end of a process means.

    Args:
        status, usage: as `os.wait4` gave them.
        task: what the process noted last.
    """
    seconds, memory = usage.ru_utime + usage.ru_stime, greatest_memory(usage)
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
    if task.memory is not None and memory > max(_NEARLY_ALL * task.memory, task.begun):
        return task.out_of_memory()
    return task.crashed(signal.Signals(number).name if number in set(signal.Signals) else f"signal {number}")


def greatest_memory(usage: struct_rusage) -> int:
    """Greatest memory of a process in bytes, from what the system counts in kilobytes (macOS: in bytes)."""
    return usage.ru_maxrss if sys.platform == "darwin" else usage.ru_maxrss * 1024


def used_memory() -> int:
    """Bytes that this process has used at most; 0 where the system does not tell."""
    try:
        import resource
    except ImportError:
        return 0
    return greatest_memory(resource.getrusage(resource.RUSAGE_SELF))


def refused(error: OSError) -> ElbowroomError:
    """What the system would not do as one sentence; a failed write names no file, as those to standard output do."""
    why = reason_of(error)
    if error.filename is not None:
        named = str(error.filename)
        return ElbowroomError(f"The system refused {quoted(named, LONGEST_PATH)}: {why}.", code="system", file=named)
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF):
        text = f"The results cannot be written ({why.lower()}): make room for them, or lead them elsewhere."
        return ElbowroomError(text, code="unwritable")
    return ElbowroomError(f"The system refused: {why}.", code="system")


def mistake(error: Exception) -> ElbowroomError:
    """A mistake of ours as one sentence."""
    text = (
        f"Something went wrong inside elbowroom ({type(error).__name__}: {shortened(error, 100)}): "
        "please report it with the drawing, and with what --verbose adds."
    )
    return ElbowroomError(text, code="internal")
