"""Bays: processes of their own in which drawings of a batch are worked out; the end of one harms no other drawing.

A drawing may crash a library or run against a limit; then its bay ends, that drawing is told of, and the next one gets
a new bay. A bay is used again while all is well, since most of the time of a small drawing goes into loading the
libraries.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager, suppress
from dataclasses import replace
from itertools import islice
from pathlib import Path
from queue import SimpleQueue
from threading import Lock, local
from time import monotonic, sleep
from typing import Any

from converter.batch.item import BatchItem
from converter.batch.record import leftovers_of
from converter.batch.verdict import DrawingVerdict
from converter.disk.stage import recover
from converter.errors import ElbowroomError
from converter.processes.failures import WorkerTask, why_ended
from converter.processes.worker import isolated_python
from converter.quoting import LONGEST_REASON, shortened

#: Ends not through the libraries' own endings, which cost time and have been known to crash.
_CODE = "import os; from converter.batch.in_bay import serve; os._exit(serve({ending}, {patience}))"
#: Seconds that a bay of an executor which is not ours waits for another drawing: nobody tells when a batch is over.
_IDLE = 60.0
#: Seconds that a bay which is told to stop may take to clean up.
_PATIENCE = 20.0
#: Failures that want of memory may have brought about, of which a drawing that came before may have taken a share.
_WANT_OF_MEMORY = "limit-memory"
#: Drawings that an executor is handed ahead of those that are done.
_AHEAD = 1000


class BayEndedError(ElbowroomError):
    """The process of a bay ended before it had answered; the sentence says why."""

    default_code = "crashed"


class Bay:
    """A process that works out one drawing after another.

    Args:
        patience: seconds that it waits for another before it ends by itself, None for as long as it takes.

    Attributes:
        done: how many it has worked out.

    Raises:
        OSError: it cannot be started.
    """

    def __init__(self, patience: float | None) -> None:
        self.done = 0
        self._task = WorkerTask("", "", None, None)
        self._lifeline: int | None = None
        ending: int | None = None
        if os.name != "nt":
            ending, self._lifeline = os.pipe()
        try:
            self._process = subprocess.Popen(
                isolated_python(_CODE.format(ending=ending, patience=patience)),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                pass_fds=() if ending is None else (ending,),
            )
        except BaseException:
            if self._lifeline is not None:
                os.close(self._lifeline)
            raise
        finally:
            if ending is not None:
                os.close(ending)

    def run(self, item: BatchItem) -> tuple[DrawingVerdict, bool]:
        """What came of a drawing, and whether this bay is fit for another.

        Raises:
            BayEndedError: its process ended before that.
        """
        requests, answers = self._process.stdin, self._process.stdout
        assert requests is not None and answers is not None
        self._task = WorkerTask("", item.source, item.limits.seconds, item.limits.memory)
        try:
            pickle.dump(item, requests)
            requests.flush()
            while True:
                answer: tuple[Any, ...] = pickle.load(answers)
                if isinstance(answer[0], DrawingVerdict):
                    self.done += 1
                    return answer[0], answer[1]
                doing, file, seconds, memory, begun, folder = answer
                self._task = WorkerTask(doing, file or item.source, seconds, memory, begun)
                self._task.folder = os.path.join(item.current, folder) if folder else ""
        except (EOFError, OSError, pickle.UnpicklingError) as error:
            told = self._why_ended()
            if self._task.folder:
                recover(Path(self._task.folder))
            raise BayEndedError(told.message, code=told.code, file=item.source) from error

    def stop(self, number: int = signal.SIGTERM) -> None:
        """Ask it to stop as Ctrl-C would, or by another signal."""
        with suppress(OSError):
            self._process.send_signal(number)

    def close(self) -> None:
        """End it: at once where it works at nothing."""
        if self._lifeline is not None:
            os.close(self._lifeline)
            self._lifeline = None
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()
        try:
            self._process.wait(_PATIENCE)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def _why_ended(self) -> ElbowroomError:
        """Why the process ended; it is waited for."""
        if not hasattr(os, "wait4"):
            return self._task.crashed(f"it ended the program with status {self._process.wait()}")
        try:
            _, status, usage = os.wait4(self._process.pid, 0)
        except ChildProcessError:  # somebody else has asked the system first
            return self._task.killed()
        self._process.returncode = os.waitstatus_to_exitcode(status)
        return why_ended(status, usage, self._task)


class BayPool:
    """Bays that wait for work and bays at work, of one process; as many as there are drawings worked out at once.

    Args:
        patience: of its bays.
    """

    def __init__(self, patience: float | None = None) -> None:
        self._patience = patience
        self.process = os.getpid()
        self._idle: list[Bay] = []
        self._busy: set[Bay] = set()
        self._lock = Lock()
        self._stopping = False

    def run(self, item: BatchItem) -> DrawingVerdict:
        """What came of a drawing, also where that is nothing."""
        bay = self._bay(self._idle)
        while True:
            fresh = bay.done == 0
            try:
                verdict, fit = bay.run(item)
            except BayEndedError as end:
                self._put_away(bay, fit=False)
                if fresh or self._stopping:
                    verdict = DrawingVerdict.of_failure(item.source, end, item.folder)
                    return replace(verdict, leftovers=leftovers_of(item))
            except BaseException:  # what cannot be sent or understood; the bay may be anywhere in it
                self._put_away(bay, fit=False)
                raise
            else:
                self._put_away(bay, fit=fit)
                short = verdict.failure is not None and verdict.failure.code == _WANT_OF_MEMORY
                if fresh or not short:
                    return verdict
            # what drawings before have left behind may be to blame: once more, where there were none
            bay = self._bay([])

    def stop(self) -> None:
        """Stop every bay, kill those that do not heed it in time, and take no more work."""
        with self._lock:
            self._stopping = True
            for bay in self._busy:
                bay.stop()
        end = monotonic() + _PATIENCE
        try:
            while self._busy and monotonic() < end:
                sleep(0.01)
        finally:  # an impatient Ctrl-C ends the waiting
            with self._lock:
                for bay in self._busy:
                    bay.stop(signal.SIGKILL)

    def close(self) -> None:
        """End all that wait."""
        with self._lock:
            idle, self._idle = self._idle, []
        for bay in idle:
            bay.close()

    def _bay(self, idle: list[Bay]) -> Bay:
        with self._lock:
            if self._stopping:
                raise BayEndedError("The batch was stopped before this drawing.", code="stopped")
            bay = idle.pop() if idle else Bay(self._patience)
            self._busy.add(bay)
            return bay

    def _put_away(self, bay: Bay, *, fit: bool) -> None:
        with self._lock:
            self._busy.discard(bay)
            if fit and not self._stopping:
                self._idle.append(bay)
                return
        bay.close()


class _PoolOfThread(local):
    """The pool that a thread of `local_bays` uses."""

    pool: BayPool | None = None


_OWN = _PoolOfThread()
_SHARED = BayPool(_IDLE)


def run_item(item: BatchItem) -> DrawingVerdict:
    """What came of a drawing, worked out in a bay of this process; what an executor is handed."""
    global _SHARED  # noqa: PLW0603 - a process that was forked must not use its parent's bays
    if _OWN.pool is not None:
        return _OWN.pool.run(item)
    if _SHARED.process != os.getpid():
        _SHARED = BayPool(_IDLE)
    return _SHARED.run(item)


@contextmanager
def local_bays(processes: int) -> Iterator[Executor]:
    """An executor that works out so many drawings at once on this machine; whatever ends the block ends them."""
    from concurrent.futures import ThreadPoolExecutor

    pool = BayPool()

    def begin() -> None:
        _OWN.pool = pool

    executor = ThreadPoolExecutor(processes, "bay", begin)
    try:
        yield executor
    except BaseException:
        pool.stop()
        raise
    finally:
        executor.shutdown(wait=True, cancel_futures=True)
        pool.close()


# --- any executor of concurrent.futures: threads, processes, another machine's ----------------


def work_through(items: Iterable[BatchItem], executor: Executor) -> Iterator[DrawingVerdict]:
    """What came of each drawing, as soon as it is known; the order is that in which they are done.

    Every drawing has a verdict: one that cannot be read, crashes a library or is lost by the executor is told as a
    failure, and the others go on. When the caller stops asking, what has not begun is cancelled.

    Args:
        items: of `converter.batch.batch_items`.
        executor: of `converter.batch.local_bays`, a pool of processes or threads, one of Dask's (``get_executor``), or
            any other. Its processes need this package, the files under the same paths, and nothing else.
    """
    done: SimpleQueue[Future[DrawingVerdict]] = SimpleQueue()
    waiting: dict[Future[DrawingVerdict], BatchItem] = {}
    left = iter(items)
    try:
        while True:
            for item in islice(left, _AHEAD - len(waiting)):
                try:
                    future = executor.submit(run_item, item)
                except RuntimeError as error:  # its processes are gone
                    yield _lost(item, error)
                    continue
                waiting[future] = item
                future.add_done_callback(done.put)
            if not waiting:
                return
            future = done.get()
            item = waiting.pop(future)
            lost = CancelledError("it was cancelled") if future.cancelled() else future.exception()
            yield future.result() if lost is None else _lost(item, lost)
    finally:
        for future in waiting:
            future.cancel()


def _lost(item: BatchItem, error: BaseException) -> DrawingVerdict:
    """That of a drawing whose bay could not be asked."""
    if isinstance(error, ElbowroomError):
        return DrawingVerdict.of_failure(item.source, error, item.folder)
    why = shortened(f"{type(error).__name__}: {error}", LONGEST_REASON)
    told = ElbowroomError(f"The executor gave no answer for {item.source} ({why}): run the batch again.", code="lost")
    return DrawingVerdict.of_failure(item.source, told, item.folder)
