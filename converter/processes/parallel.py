"""Work on many things of one job in several processes, with the answer of one: results come in the order of the things.

A process is a fork of this one: it knows all that this one knows, so that nothing is handed over but what comes back.
Only whoever owns a whole process allows it (`allow`): the command line in the process that works. A library function, a
process of a batch and a forked process themselves stay alone, so that processes do not multiply. Where a system cannot
fork (Windows), or is known to harm what is forked (macOS), and where threads run, work stays in this process.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import suppress
from functools import partial
from typing import Any, NoReturn, TypeVar

from converter.errors import ElbowroomError
from converter.processes.failures import WorkerTask, why_ended

T = TypeVar("T")
S = TypeVar("S")
R = TypeVar("R")

#: Portions that each process works through, at least: they do not take equally long.
_PORTIONS = 4
#: Most things of a portion, which a process holds before it hands them over.
_MOST = 32
#: Signals to end at in a forked process, whatever ours does at them.
_ENDING = ("SIGINT", "SIGTERM", "SIGHUP", "SIGXCPU", "SIGPROF", "SIGIO")
#: Those of them that mean this process as well: to stop, and that the processor time is used up.
_HANDED_ON = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGXCPU") if hasattr(signal, name))

#: Processes that work in this one may use at once.
_ALLOWED = 1


def free_processors() -> int:
    """Processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def allow(processes: int) -> None:
    """From now on let large work of this process use so many processes at once."""
    global _ALLOWED  # noqa: PLW0603 - what a whole process may use
    _ALLOWED = processes


def in_order(things: Sequence[T], work: Callable[[T], R], *, least: int) -> Iterator[R]:
    """What ``work`` makes of each thing, one after the other.

    Args:
        things: to work on.
        work: depends on nothing that it changes; what it returns, and raises, can be pickled.
        least: from so many things on several processes pay.

    Raises:
        ElbowroomError: a process was ended from outside, or what ``work`` raises first in order.
    """

    def begin(thing: T) -> tuple[T, int]:
        return thing, 0

    return numbered(things, begin, lambda thing, number: work(thing), first=0, least=least)


def numbered(
    things: Sequence[T],
    begin: Callable[[T], tuple[S, int]],
    finish: Callable[[S, int], R],
    *,
    first: int,
    least: int,
) -> Iterator[R]:
    """The same of things that are numbered through, each from where the one before it ends.

    Args:
        things: to work on.
        begin: what can be done of a thing before its first number is known, and how many numbers it takes.
        finish: the rest, from its first number on.
        first: the first number of all.
        least: from so many things on several processes pay.

    Raises:
        ElbowroomError: a process was ended from outside, or what ``begin`` or ``finish`` raise first in order.
    """
    if len(things) < max(2, least) or not _can_fork():
        return _one_by_one(things, begin, finish, first)
    size = max(1, min(_MOST, len(things) // (_PORTIONS * _ALLOWED)))
    portions = [things[i : i + size] for i in range(0, len(things), size)]
    return _forked(portions, begin, finish, first, min(_ALLOWED, len(portions)))


def _can_fork() -> bool:
    threading = sys.modules.get("threading")
    alone = threading is None or threading.active_count() == 1
    return _ALLOWED > 1 and alone and sys.platform.startswith("linux")


def _one_by_one(
    things: Sequence[T], begin: Callable[[T], tuple[S, int]], finish: Callable[[S, int], R], number: int
) -> Iterator[R]:
    for thing in things:
        state, count = begin(thing)
        yield finish(state, number)
        number += count


def _forked(
    portions: Sequence[Sequence[T]],
    begin: Callable[[T], tuple[S, int]],
    finish: Callable[[S, int], R],
    number: int,
    processes: int,
) -> Iterator[R]:
    """Each process takes every so manieth portion, and is told its first number when those before are counted."""
    forks: list[_Fork] = []
    try:
        for place in range(processes):
            own = portions[place::processes]
            forks.append(_Fork(partial(_answers, own, begin, finish), len(own), forks))
        counts: dict[int, int] = {}
        results: dict[int, list[R] | Exception] = {}
        counted = 0
        for place in range(len(portions)):
            while place not in results:
                for fork in _ready(forks):
                    portion = forks.index(fork) + fork.done * processes
                    told = fork.answer()
                    if isinstance(told, int):
                        counts[portion] = told
                    else:
                        results[portion] = told
                        fork.done += 1
                        fork.left -= 1
                while counted in counts:
                    forks[counted % processes].tell(number)
                    number += counts.pop(counted)
                    counted += 1
            found = results.pop(place)
            if isinstance(found, Exception):
                raise found
            yield from found
    finally:
        for fork in forks:
            fork.end()


def _ready(forks: Sequence[_Fork]) -> list[_Fork]:
    """Those that have told something; waited for."""
    from select import select

    by_end = {fork.answers: fork for fork in forks if fork.left}
    return [by_end[end] for end in select(list(by_end), (), ())[0]]


def _answers(
    portions: Sequence[Sequence[T]], begin: Callable[[T], tuple[S, int]], finish: Callable[[S, int], R]
) -> Generator[Any, int, None]:
    """What a process tells: of each portion how many numbers it takes, then, told the first, its results."""
    for portion in portions:
        begun = [begin(thing) for thing in portion]
        number = yield sum(count for _, count in begun)
        results = []
        for state, count in begun:
            results.append(finish(state, number))
            number += count
        yield results


class _Fork:
    """A forked process that tells what a generator yields; a number that it tells is answered with another.

    Args:
        work: makes the generator.
        portions: whose results it tells.
        others: those there are already; this one must not hold their pipes open.

    Attributes:
        answers: the end of a pipe where it tells.
        done, left: portions whose results it has told, and has not.

    Raises:
        OSError: the system refuses another process.
    """

    def __init__(self, work: Callable[[], Generator[Any, int, None]], portions: int, others: Sequence[_Fork]) -> None:
        self.done, self.left = 0, portions
        self.answers, telling = os.pipe()
        asking, self._numbers = os.pipe()
        # until it has handlers of its own, a signal must not run ours in it
        known = {getattr(signal, name) for name in _ENDING if hasattr(signal, name)}
        before = signal.pthread_sigmask(signal.SIG_BLOCK, known)
        try:
            self._pid = os.fork()
            if self._pid == 0:
                for one in known:
                    signal.signal(one, signal.SIG_DFL)
                signal.pthread_sigmask(signal.SIG_SETMASK, before)
                for fork in (self, *others):
                    os.close(fork.answers)
                    os.close(fork._numbers)
                _serve(work, telling, asking)
        except OSError:
            os.close(self.answers)
            os.close(self._numbers)
            raise
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
            os.close(telling)
            os.close(asking)

    def answer(self) -> Any:
        """Its next answer: a number, results, or what was raised in it.

        Raises:
            ElbowroomError: it was ended from outside.
        """
        try:
            return _receive(self.answers)
        except EOFError:
            pass
        _, status, usage = os.wait4(self._pid, 0)
        self._pid = 0
        if os.WIFSIGNALED(status) and os.WTERMSIG(status) in _HANDED_ON:
            signal.raise_signal(os.WTERMSIG(status))  # what this process makes of it holds for all
        raise why_ended(status, usage, WorkerTask("writing", "", None, None))

    def tell(self, number: int) -> None:
        """Where its next portion begins."""
        with suppress(BrokenPipeError):  # its next answer says why
            _send(self._numbers, number)

    def end(self) -> None:
        """End it, whatever it is doing."""
        os.close(self.answers)
        os.close(self._numbers)
        if self._pid:
            os.kill(self._pid, signal.SIGKILL)
            os.waitpid(self._pid, 0)


def _send(end: int, value: Any) -> None:
    data = pickle.dumps(value, pickle.HIGHEST_PROTOCOL)
    view = memoryview(len(data).to_bytes(8, "little") + data)
    while view:
        view = view[os.write(end, view) :]


def _receive(end: int) -> Any:
    return pickle.loads(_read(end, int.from_bytes(_read(end, 8), "little")))


def _read(end: int, size: int) -> bytes:
    """So many bytes.

    Raises:
        EOFError: there are no more.
    """
    parts = []
    while size:
        part = os.read(end, size)
        if not part:
            raise EOFError
        parts.append(part)
        size -= len(part)
    return b"".join(parts)


def _serve(work: Callable[[], Generator[Any, int, None]], telling: int, asking: int) -> NoReturn:
    """The life of a forked process."""
    try:
        allow(1)
        going = work()
        try:
            told = next(going, None)
            while told is not None:
                _send(telling, told)
                told = going.send(_receive(asking)) if isinstance(told, int) else next(going, None)
        except Exception as error:
            _send(telling, _sendable(error))
    finally:
        os._exit(0)  # nothing of the process that it is a fork of is closed, flushed or put away


def _sendable(error: Exception) -> Exception:
    """The error itself, or its words where it cannot be pickled."""
    try:
        same = pickle.loads(pickle.dumps(error))
    except Exception:
        return ElbowroomError(f"{type(error).__name__}: {error}", code="internal")
    return error if type(same) is type(error) else RuntimeError(str(error))
