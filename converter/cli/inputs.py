"""Opening the inputs of a command that takes several: one job each, in the order named."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from converter.cli.console import Console

if TYPE_CHECKING:
    from converter.job import Job
    from converter.settings import Settings


def open_jobs(
    sources: Sequence[str],
    settings: Settings,
    console: Console,
    doing: str,
    *,
    ask: Callable[[Job], object] | None = None,
    open_one: Callable[[str, Settings], Job] | None = None,
) -> list[Job]:
    """The jobs of all inputs, with the progress told; without those of which no tube is to be shown.

    Args:
        sources: the files as named; '-' for standard input.
        settings: of all of them.
        console: where progress goes.
        doing: what is being done, as in ``reading rail.dxf``.
        ask: what to ask every job for while progress is shown.
        open_one: how a job is opened; the usual way when None.

    Raises:
        OptionError: a pattern of names meets no tube of any input.
        ElbowroomError: one sentence; of the first input that cannot be used.
    """
    from dataclasses import replace

    from converter.job import open_job
    from converter.processes.memory import collect_garbage_between_files
    from converter.progress import steps

    if len(sources) > 1:
        settings = replace(settings, runs_anywhere=True)
    jobs: list[Job] = []
    with console.progress(f"{doing} {sources[0]}" if len(sources) == 1 else doing):
        for source in steps(sources, "files"):
            jobs.append((open_one or open_job)(source, settings))
            if ask is not None:
                ask(jobs[-1])
            collect_garbage_between_files(len(sources))
    for pattern in settings.runs:
        if not any(job.shown.meets(pattern) for job in jobs):
            raise jobs[0].shown.no_such(pattern)
    return [job for job in jobs if job.shown.tubes] if settings.runs else jobs
