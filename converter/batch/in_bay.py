"""What runs inside a bay: drawings are worked out one after another, each under its limits, and told of as verdicts."""

from __future__ import annotations

import io
import os
import pickle
import signal
from dataclasses import replace
from time import process_time
from typing import TYPE_CHECKING, Any

from converter.disk.reading import files_read, recorded
from converter.disk.silence import silence_streams
from converter.errors import ElbowroomError
from converter.processes.allowance import TimeLimitReached
from converter.processes.failures import WorkerTask, mistake, refused, used_memory
from converter.processes.memory import freeze_what_is_left, paused_gc, return_freed_memory
from converter.processes.worker import Worker
from converter.progress import begin_file

if TYPE_CHECKING:
    from pathlib import Path

    from converter.batch.item import BatchItem
    from converter.batch.record import BatchRecord
    from converter.batch.verdict import DrawingVerdict
    from converter.exporters.files import OutputSet

#: Bytes that a process may have come to use and still be handed another drawing: memory that libraries keep is not to
#: count against the next one.
_MOST_GROWTH = 1_000_000_000


def serve(ending: int | None, patience: float | None) -> int:
    """Work out what comes through standard input until it ends, and return the exit status.

    Args:
        ending: end of a pipe whose other end the process that waits holds as long as it lives; None for none.
        patience: seconds to wait for another drawing, None for as long as it takes.
    """
    requests, answers = (io.FileIO(os.dup(number), mode) for number, mode in ((0, "rb"), (1, "wb")))
    silence_streams()
    try:
        worker = Worker(lambda task: _send(answers, _task_values(task)))
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), worker.stop)
        if ending is not None:
            worker.stop_with(ending)
        worker.heed_limits()
        incoming = io.BufferedReader(requests)
        with recorded():  # around those of the drawings: what was cut off in a folder is looked for once
            most = worker.task.begun + _MOST_GROWTH
            while _is_due(incoming, patience):
                verdict, sound = _answer(pickle.load(incoming), worker)
                again = sound and used_memory() < most
                _send(answers, (verdict, again))
                if not again:
                    break
                freeze_what_is_left()  # once the answer is out
                return_freed_memory()
    except KeyboardInterrupt:
        return 128 + signal.SIGINT
    except (EOFError, OSError):  # nobody is there to ask or to be answered
        pass
    return 0


def _is_due(incoming: io.BufferedReader[io.FileIO], patience: float | None) -> bool:
    """Whether something comes before the bay has waited for too long."""
    if os.name == "nt":  # where pipes cannot be waited for in this way
        return True
    from select import select

    return bool(select([incoming], [], [], patience)[0])


def _task_values(task: WorkerTask) -> tuple[str, str, float | None, int | None, int, str]:
    return task.doing, task.file, task.seconds, task.memory, task.begun, task.folder


def _send(stream: io.FileIO, answer: Any) -> None:
    data = memoryview(pickle.dumps(answer))
    while data:
        data = data[stream.write(data) :]


def _answer(item: BatchItem, worker: Worker) -> tuple[DrawingVerdict, bool]:
    """What came of a drawing, and whether this process is sound after it."""
    from converter.batch.record import leftovers_of
    from converter.batch.verdict import DrawingVerdict

    began = process_time()
    worker.task.seconds, worker.task.memory = item.limits.seconds, item.limits.memory
    sound = True
    try:
        os.chdir(item.current)
        begin_file(item.source, "reading")
        with paused_gc(), recorded():
            verdict = _verdict_on(item)
    except (Exception, TimeLimitReached) as error:  # told as `converter.cli.main` tells it of a single drawing
        limit = worker.limit_reached(error)
        sound = limit is None and isinstance(error, (ElbowroomError, OSError))
        if isinstance(error, TimeLimitReached):
            told = limit or ElbowroomError(str(error))
        elif isinstance(error, ElbowroomError):
            told = limit or error
        else:
            told = limit or (refused(error) if isinstance(error, OSError) else mistake(error))
        verdict = replace(DrawingVerdict.of_failure(item.source, told, item.folder), leftovers=leftovers_of(item))
    return replace(verdict, seconds=process_time() - began), sound


def _verdict_on(item: BatchItem) -> DrawingVerdict:
    earlier = _record_of(item)
    if earlier is not None and not item.force and earlier.holds(item):
        return replace(earlier.verdict, folder=item.folder, unchanged=True)
    with recorded():  # the record is no input
        return _worked_out(item, {} if earlier is None or item.folder is None else earlier.own(item.folder))


def _record_of(item: BatchItem) -> BatchRecord | None:
    if item.folder is None:
        return None
    from converter.batch.record import read_record

    return read_record(item.folder)


def _worked_out(item: BatchItem, own: dict[str, str]) -> DrawingVerdict:
    """What came of a drawing, with its files written.

    Args:
        item: the drawing.
        own: name and digest of files in its folder that a run before wrote.
    """
    from converter.batch.item import WritePlace
    from converter.batch.record import RECORD, digests_of, key_of, record_text
    from converter.job import open_job

    job = open_job(item.source, item.settings)
    _ = job.findings
    verdict, write = item.work.begin(job)
    if item.folder is None or not verdict.shown:
        return replace(verdict, inputs=_paths_read())
    folder = item.folder

    def record(out: OutputSet) -> None:
        nonlocal verdict
        staged: dict[str, Path] = out.staged()
        leftovers = {name: digest for name, digest in own.items() if name not in staged}
        verdict = replace(verdict, folder=folder, files=tuple(staged), leftovers=tuple(leftovers), inputs=_paths_read())
        digests = digests_of([file for file in files_read() if file.path])
        # without a key it holds for nothing: a file was saved while it was read
        key = "" if digests is None else key_of(item)
        out.write(RECORD, record_text(key, digests or {}, staged, leftovers, verdict))

    write(WritePlace(folder, item.force, {RECORD, *own}, record))
    return verdict


def _paths_read() -> tuple[str, ...]:
    return tuple(dict.fromkeys(file.path for file in files_read() if file.path))
