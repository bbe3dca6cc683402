"""Working through a batch on any executor of `concurrent.futures`: threads, processes, another machine's."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from itertools import islice
from queue import SimpleQueue

from converter.batch.bay import run_item
from converter.batch.item import BatchItem
from converter.batch.verdict import DrawingVerdict
from converter.errors import ElbowroomError
from converter.quoting import LONGEST_REASON, shortened

#: Drawings that an executor is handed ahead of those that are done.
_AHEAD = 1000


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
