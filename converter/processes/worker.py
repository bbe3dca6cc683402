"""A process that works under limits while another waits for it; a Python that runs our code and nobody else's."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from time import monotonic
from types import FrameType
from typing import NoReturn

from converter.errors import ElbowroomError
from converter.processes import allowance
from converter.processes.allowance import TimeLimitReached
from converter.processes.failures import WorkerTask, used_memory
from converter.progress import watch_files, watch_folders

#: Seconds in which a second signal to stop is the same one, handed on, or impatience with a clean-up that is under way.
_SAME = 2.0
#: Seconds of processor time beyond the limit: to clean up, or for library code to come back to us before it is killed.
_GRACE = 5.0
#: Bytes beyond the limit with which to say that it was reached.
_RESERVE = 64 * 10**6
#: Loads this very package by its place, given first, so that nothing else beside it can be imported; what it needs is
#: looked for last where it was found for us (further places), since an isolated interpreter may not look there.
_ISOLATED = """
import sys
from importlib.util import module_from_spec, spec_from_file_location
spec = spec_from_file_location("converter", sys.argv[1] + "/__init__.py", submodule_search_locations=[sys.argv[1]])
sys.modules["converter"] = module_from_spec(spec)
spec.loader.exec_module(sys.modules["converter"])
sys.path += sys.argv[2:]
"""
#: What such a Python may need besides the standard library and this package, and may not find by itself.
_NEEDED = ("numpy", "OCP")


class Worker:
    """A process that works while another waits for it: its limits, what it was asked, and what it notes.

    Args:
        note: tells the process that waits what this one is doing, whenever that changes.
    """

    def __init__(self, note: Callable[[WorkerTask], None]) -> None:
        self._note = note
        self.task = WorkerTask("", "", allowance.SECONDS, allowance.usual_memory(), used_memory())
        self.stop_request: tuple[int, float] | None = None  # the signal that asked to stop, and when
        self.late = False  # the processor time was used up

    def begin(self, file: str, doing: str) -> None:
        """Work on an input begins: it may use as much time as every other."""
        self.task.file, self.task.doing = file, doing
        self.limit()

    def begin_folder(self, folder: str) -> None:
        """Files are written into a folder from now on."""
        self.task.folder = folder
        self._note(self.task)

    def limit(self) -> None:
        """Set the limits of the task from now on."""
        task = self.task
        self._note(task)
        allowance.limit_memory(task.memory)
        allowance.limit_seconds(task.seconds)
        # a Python handler waits until library code returns; this signal has none, and ends the process
        most = 0.0 if task.seconds is None else task.seconds + 1.0 + _GRACE  # the other limit is in whole seconds
        if hasattr(signal, "setitimer"):
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

    def stop_with(self, ending: int) -> None:
        """Be told by a signal when the other end of a pipe closes: its holder, who waits for us, is gone."""
        from fcntl import F_GETFL, F_SETFL, F_SETOWN, fcntl

        signal.signal(signal.SIGIO, self.orphaned)
        fcntl(ending, F_SETOWN, os.getpid())
        fcntl(ending, F_SETFL, fcntl(ending, F_GETFL) | os.O_ASYNC)

    def heed_limits(self) -> None:
        """End as the limits ask for, from now on, and be told of every input that work begins on."""
        if hasattr(signal, "SIGXCPU"):
            signal.signal(signal.SIGPROF, signal.SIG_DFL)
            signal.signal(signal.SIGXCPU, self.out_of_time)
        self.limit()
        watch_files(self.begin)
        watch_folders(self.begin_folder)

    def limit_reached(self, error: BaseException | None) -> ElbowroomError | None:
        """The sentence for an error that stands for the end of time or memory, or comes of it; None for any other.

        A library that is interrupted at the end of the time may well raise an error of its own.
        """
        if self.late:
            return self.task.out_of_time()
        if allowance.is_want_of_memory(error):
            if self.task.memory is not None:
                allowance.limit_memory(self.task.memory + _RESERVE)
            return self.task.out_of_memory()
        return None


def isolated_python(code: str) -> list[str]:
    """A command that runs Python code which may import this package, whatever lies in the current folder.

    Neither that folder nor one that PYTHONPATH names is on the path of the interpreter, and no other variable of
    Python's tells it what to do. Where this interpreter keeps no bytecode (``-B``), it keeps none either.
    """
    here = Path.cwd()
    package = Path(__file__).resolve().parents[1]
    places = []
    for name in _NEEDED:
        spec = getattr(sys.modules.get(name), "__spec__", None) or find_spec(name)
        file = None if spec is None else spec.origin
        if file is not None:
            folder = Path(file).resolve().parent
            places.append(folder.parent if folder.name == name else folder)
    found = [str(place) for place in dict.fromkeys(places) if place != here]
    options = ["-I", "-B"] if sys.dont_write_bytecode else ["-I"]
    return [sys.executable, *options, "-c", _ISOLATED + code, str(package), *found]
