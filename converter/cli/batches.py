"""``--each``: a command on many drawings, each by itself, on several processes; one summary of all."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.cli.console import Console
from converter.errors import OptionError, WriteError
from converter.quoting import LONGEST_PATH, quoted

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from converter.batch import BatchDrawings, BatchItem, BatchLimits, DrawingVerdict
    from converter.batch.item import Work
    from converter.settings import Settings


@dataclass(frozen=True, slots=True)
class BatchChoices:
    """Whether each drawing is worked out by itself, and on how many processes, as typed."""

    each: bool
    processes: int | None
    watch: bool = False

    @property
    def is_batch(self) -> bool:
        """Whether each drawing is worked out by itself."""
        return self.each or self.watch


_each = click.option(
    "--each",
    is_flag=True,
    help="Each drawing by itself, one that fails harms no other; INPUT may be a folder or a pattern.",
)


def _processes(help_text: str) -> Callable[[Any], Any]:
    return click.option(
        "--processes",
        type=click.IntRange(1, 256),
        metavar="N",
        help=f"{help_text}  [as many as there are processors]",
    )


processes_option = _processes("How many processes at most a large job may use.")
_watch = click.option(
    "--watch",
    is_flag=True,
    help="As --each, and go on: each again when it, the shop or the job file is saved.",
)

_processes_each = _processes("With --each: how many processes at most, each for one drawing at a time.")
_processes_both = _processes("How many processes at most: one for each drawing with --each, else for large jobs.")

#: Of a command that works out several drawings together in one process; the same, which can watch; and of one that
#: works on a large job in several.
batch = options.grouped("batch", BatchChoices, _each, _processes_each)
batch_to_watch = options.grouped("batch", BatchChoices, _each, _processes_each, _watch)
batch_of_large_jobs = options.grouped("batch", BatchChoices, _each, _processes_both, _watch)


def check_together(sources: Sequence[str]) -> None:
    """Refuse inputs that go with ``--each`` only, of a command that works out all drawings together.

    Raises:
        OptionError: a folder or a pattern is named.
    """
    for source in sources:
        if os.path.isdir(source):
            raise OptionError(
                f"{quoted(source, LONGEST_PATH)} is a folder: give --each for each drawing in it by itself, or name "
                "drawings to work them out together."
            )
        if any(mark in source for mark in "*?[") and not os.path.lexists(source):
            raise OptionError(
                f"No file is called {quoted(source, LONGEST_PATH)}: give --each if it is a pattern of many, for each "
                "drawing by itself."
            )


def check_one_process(batch: BatchChoices) -> None:
    """Refuse to share out the work of a command that has one process for drawings it works out together.

    Raises:
        OptionError: it is asked for.
    """
    if batch.processes is not None:
        raise OptionError("--processes goes with --each: drawings that are worked out together take one process.")


def allow_processes(typed: int | None) -> None:
    """Let large work of this command use so many processes, by default as many as there are processors."""
    from converter.cli.supervise import owns_process
    from converter.processes.parallel import allow, free_processors

    if owns_process():  # not one that a test or a debugger runs a command in
        allow(typed or free_processors())


def check_csv(console: Console) -> None:
    """Refuse a list in CSV of a command that has one only with ``--each``.

    Raises:
        OptionError: it is asked for.
    """
    if console.as_csv:
        raise OptionError("--csv lists what came of each drawing: give --each.")


def run_batch(
    sources: Sequence[str],
    work: Work,
    settings: Settings,
    batch: BatchChoices,
    console: Console,
    *,
    out: str | None,
    force: bool,
) -> int:
    """Work out each drawing by itself, tell of all, and return the exit status; with ``--watch`` go on for ever.

    Raises:
        OptionError: an input stands for no drawing, or a pattern of ``--run`` meets no tube.
        WriteError: the summary cannot be written.
    """
    from converter.batch import batch_items, find_drawings, local_bays, work_through
    from converter.batch.summary import closed_folders, exit_status
    from converter.cli.supervise import allow_seconds
    from converter.processes.parallel import free_processors
    from converter.progress import steps

    with console.progress("looking for drawings"):
        gathered = find_drawings(sources, out)
    processes = max(1, min(batch.processes or free_processors(), len(gathered.drawings)))
    limits = limits_for(processes)
    allow_seconds(None)  # from here on what takes time is done in processes that have limits of their own

    def plan(gathered: BatchDrawings) -> list[BatchItem]:
        return batch_items(gathered.drawings, work, settings, out=out, force=force, limits=limits)

    with local_bays(processes) as executor:
        if batch.watch:
            return _watch_batch(sources, work, plan, executor, console, out)
        items = plan(gathered)
        with console.progress("working"):
            found = {one.source: one for one in steps(work_through(items, executor), "drawings", total=len(items))}
    verdicts = [*(found[item.source] for item in items), *closed_folders(gathered)]
    _tell(gathered, verdicts, work, console, out)
    _check_runs(settings, verdicts)
    return exit_status(verdicts)


def _watch_batch(
    sources: Sequence[str],
    work: Work,
    plan: Callable[[BatchDrawings], list[BatchItem]],
    executor: Executor,
    console: Console,
    out: str | None,
) -> int:
    """Tell of all drawings, then of those that are saved, until somebody stops it."""
    from converter.batch import BatchDrawings, watch_batch
    from converter.batch.summary import batch_document, write_summary
    from converter.cli.screens.batch import update_text
    from converter.progress import steps

    if console.as_json or console.as_csv:
        raise OptionError("--watch tells what changes as text: leave out --json and --csv.")

    def shown(verdicts: Iterable[DrawingVerdict], total: int) -> Iterator[DrawingVerdict]:
        with console.progress("working"):
            yield from steps(verdicts, "drawings", total=total)

    latest = BatchDrawings()

    def noted_plan(gathered: BatchDrawings) -> list[BatchItem]:
        nonlocal latest
        latest = gathered
        return plan(gathered)

    now: dict[str, DrawingVerdict] = {}
    for n, updates in enumerate(watch_batch(sources, noted_plan, executor, out, shown)):
        for update in updates:
            if update.verdict is None:
                now.pop(update.source, None)
            else:
                now[update.source] = update.verdict
        verdicts = list(now.values())
        if n == 0:
            _tell(latest, verdicts, work, console, out)
            console.say("watching; Ctrl-C ends it")
        else:
            console.result(update_text(updates))
            try:
                if out is not None:
                    write_summary(out, batch_document(work.command, latest, verdicts), verdicts)
            except WriteError as error:  # the next one may find room
                console.say(error.message)
        sys.stdout.flush()
    return 0


def limits_for(processes: int) -> BatchLimits:
    """What each drawing may use where so many are worked out at once: as typed, else the usual."""
    from converter.batch import BatchLimits
    from converter.cli.values import MEMORY, SECONDS
    from converter.processes import allowance

    typed = click.get_current_context().meta
    usual = BatchLimits(memory=allowance.usual_memory(processes))
    return BatchLimits(typed.get(SECONDS, usual.seconds), typed.get(MEMORY, usual.memory))


def _tell(
    gathered: BatchDrawings, verdicts: Sequence[DrawingVerdict], work: Work, console: Console, out: str | None
) -> None:
    """What came of all drawings, shown and written."""
    from converter.batch.summary import batch_csv, batch_document, write_summary
    from converter.cli.screens.batch import batch_text, left_out_text, leftovers_text

    document = batch_document(work.command, gathered, verdicts)
    if console.as_json:
        console.json(document)
    elif console.as_csv:
        console.csv(batch_csv(verdicts))
    else:
        console.result(batch_text(verdicts, everything=console.verbose))
    for text in (left_out_text(gathered), leftovers_text(verdicts)):
        if text:
            console.say(text)
    if out is not None:
        for path in write_summary(out, document, verdicts):
            console.say(str(path))


def _check_runs(settings: Settings, verdicts: Sequence[DrawingVerdict]) -> None:
    """Every pattern of ``--run`` meets a tube of some drawing that could be read.

    Raises:
        OptionError: one does not.
    """
    for pattern in settings.runs:
        if not any(pattern in verdict.runs for verdict in verdicts):
            raise OptionError(
                f"No tube of any drawing has a name or a layer like {quoted(pattern)}.", code="no-such-run"
            )
