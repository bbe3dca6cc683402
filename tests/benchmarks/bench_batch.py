"""How a batch scales from one process to two, and what a watch run costs: not a test.

    python tests/benchmarks/bench_batch.py [DRAWINGS [TRIES]]

The time that passes says little on a machine that others use, so processor time is counted. Of two processes the
longer one counts, with all that the program itself does besides, as if that could not overlap; and never less than half
of all: that is how long two processors of their own would take at the most. The time that passed stands beside it.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage
from threading import get_ident
from time import perf_counter, process_time

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from random_drawings import random_drawing

from converter import Settings
from converter.batch import AuditWork, ConvertWork, batch_items, find_drawings, local_bays, watch_batch, work_through
from converter.batch import bay as bays

SETTINGS = Settings(sections=("1.5x0.120in",), clr="114.3mm")


def children() -> float:
    """Processor time of processes that have ended, s."""
    used = getrusage(RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def measured(folder: Path, work: AuditWork | ConvertWork, processes: int) -> tuple[float, float, float]:
    """Processor time in all, time at the most on processors of its own, time that passed: s."""
    busy: Counter[int] = Counter()
    sound = bays.BayPool.run

    def run(pool, item):
        verdict = sound(pool, item)
        busy[get_ident()] += verdict.seconds
        return verdict

    bays.BayPool.run = run
    try:
        with tempfile.TemporaryDirectory() as out:
            own, theirs, began = process_time(), children(), perf_counter()
            items = batch_items(find_drawings([str(folder)]).drawings, work, SETTINGS, out=out)
            with local_bays(processes) as executor:
                count = sum(1 for _ in work_through(items, executor))
            passed, own, theirs = perf_counter() - began, process_time() - own, children() - theirs
    finally:
        bays.BayPool.run = sound
    assert count == len(items) and len(busy) == processes
    started = (theirs - sum(busy.values())) / processes  # loading the libraries, and what answers cost
    return own + theirs, max((own + theirs) / processes, max(busy.values()) + started + own), passed


def scaling(folder: Path, work: AuditWork | ConvertWork, tries: int) -> str:
    """One process against two, in turn."""
    runs = [(measured(folder, work, 1), measured(folder, work, 2)) for _ in range(tries)]
    one, two = (tuple(min(run[k][i] for run in runs) for i in range(3)) for k in (0, 1))
    ratios = ", ".join(f"{a[1] / b[1]:.2f} ({a[2] / b[2]:.2f} of the time that passed)" for a, b in runs)
    return (
        f"{work.command}: one process {one[0]:.1f} s of processor time, two {two[0]:.1f} s in all, "
        f"{two[1]:.1f} s at the most; ratio {ratios}"
    )


def watching(folder: Path, tries: int) -> str:
    """A drawing that is saved while it is watched, against the same in a process that has loaded nothing yet."""
    path = folder / "watched.dxf"
    random_drawing(path, 7)
    updates = watch_batch([str(path)], lambda gathered: batch_items(gathered.drawings, AuditWork(), SETTINGS), EXECUTOR)
    cold = next(updates)[0].verdict.seconds
    warm, passed = [], []
    for seed in range(8, 8 + tries):
        random_drawing(path, seed)
        began = perf_counter()
        warm.append(next(updates)[0].verdict.seconds)
        passed.append(perf_counter() - began)
        random_drawing(path, 7)
        warm_again = next(updates)[0].verdict.seconds
        warm[-1] = warm_again
    updates.close()
    return (
        f"watch: first run {cold:.3f} s with the libraries to load, the same drawing again {min(warm):.3f} s; "
        f"{min(passed):.2f} s passed from the save to the answer at the least"
    )


if __name__ == "__main__":
    drawings = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    tries = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    with tempfile.TemporaryDirectory() as top, redirect_stdout(StringIO()) as _:
        folder = Path(top, "drawings")
        folder.mkdir()
        with local_bays(1) as EXECUTOR:
            sys.stderr.write(watching(Path(top), tries) + "\n")
        for seed in range(drawings):
            random_drawing(folder / f"{seed:04}.dxf", seed)
        for work in (AuditWork(), ConvertWork(("csv", "json", "dxf", "profile", "template"))):
            sys.stderr.write(scaling(folder, work, tries) + "\n")
