"""Many cases in processes of their own, with a watchdog: a crash or a hang ends one case and not the campaign."""

from __future__ import annotations

import json
import mmap
import os
import random
import signal
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from struct import pack, unpack

from dxf_cases import dxf_case
from exchange_cases import brep_case, iges_case, step_case
from forked_trial import FORKING
from judge import HANG_SECONDS, FuzzVerdict, judged, judged_by_command, laid_out
from mesh_cases import mesh_case
from places import FIXTURES
from rare_cases import rare_dxf_case, rare_step_case
from records_cases import judged_records, records_case
from shop_cases import compare_case, options_case, toml_case, typed_case
from table_cases import csv_case, json_case
from wild import FuzzCase

#: Name of a sort of input -> what makes a case of it.
SORTS: dict[str, Callable[[random.Random], FuzzCase]] = {
    "dxf": dxf_case,
    "dxf-rare": rare_dxf_case,
    "records": records_case,
    "step": step_case,
    "step-rare": rare_step_case,
    "iges": iges_case,
    "brep": brep_case,
    "mesh": mesh_case,
    "csv": csv_case,
    "json": json_case,
    "toml": toml_case,
    "typed": typed_case,
    "compare": compare_case,
    "options": options_case,
}

#: Sorts that are not run as a command -> what judges them.
JUDGES: dict[str, Callable[[FuzzCase, Path], FuzzVerdict]] = {"records": judged_records}

#: Cases that one process works on before another takes over: what libraries leave behind must not add up.
_CASES_OF_A_PROCESS = 250
#: Seconds of processor time of a trial, where a person's waits for 20: the kernel reads one BREP in seven for ever.
_TRIAL_SECONDS = 2.0
#: Files that are read before the first fork.
_WARM = ("step/freecad-sketch.step", "step/solid-gmsh-rhs.step", "iges/freecad-two.igs")
#: Bytes of data of a process; a damaged file of a few kilobytes that needs more is a fault.
_MEMORY = 2_000_000_000
#: How a process ends that a timer ends.
_HANGING = (signal.SIGPROF, signal.SIGALRM)
#: Seconds on the clock after which a process that uses no processor time is taken for stuck.
_STUCK_SECONDS = 900


def made_case(sort: str, seed: int, count: int) -> FuzzCase:
    """The case of a sort with a number: the same on every run and every machine."""
    with warnings.catch_warnings():  # of the libraries that write the files
        warnings.simplefilter("ignore")
        return SORTS[sort](random.Random(f"{sort}/{seed}/{count}"))


@dataclass
class Tally:
    """How many cases of a sort ended how, and what was wrong with the others.

    Attributes:
        counts: by kind of verdict.
        by_command: how many of them were run by the installed command.
        seconds: of processor time, all together.
        slowest: processor time of the slowest case, s.
        faults: number of a case and what was wrong.
    """

    counts: Counter[str] = field(default_factory=Counter)
    by_command: int = 0
    seconds: float = 0.0
    slowest: float = 0.0
    faults: list[tuple[int, str]] = field(default_factory=list)

    def add(self, count: int, verdict: FuzzVerdict, *, by_command: bool) -> None:
        """Count a case."""
        self.counts[verdict.kind] += 1
        self.by_command += by_command
        self.seconds += verdict.seconds
        self.slowest = max(self.slowest, verdict.seconds)
        if verdict.kind == "fault":
            self.faults.append((count, verdict.why))


def campaign(
    sort: str,
    seed: int,
    numbers: Sequence[int],
    *,
    processes: int = 1,
    command_every: int = 0,
    keep: Path | None = None,
) -> Tally:
    """Run cases of a sort and tell how they ended.

    Args:
        sort: of `SORTS`.
        seed, numbers: which cases.
        processes: how many work side by side.
        command_every: each so manieth case is run by the installed command; 0 for none.
        keep: folder for the files of cases that are faults; None to keep none.
    """
    tally = Tally()
    for count, verdict, by_command in _run(sort, seed, numbers, processes, command_every):
        tally.add(count, verdict, by_command=by_command)
        if verdict.kind == "fault" and keep is not None:
            _keep(keep / f"{sort}-{seed}-{count}", made_case(sort, seed, count), verdict)
    return tally


def _keep(folder: Path, case: FuzzCase, verdict: FuzzVerdict) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    words, _ = laid_out(case, folder)
    (folder / "why.txt").write_text(f"{words}\n\n{verdict.why}\n", encoding="utf-8", errors="backslashreplace")


def _run(
    sort: str, seed: int, numbers: Sequence[int], processes: int, command_every: int
) -> Iterator[tuple[int, FuzzVerdict, bool]]:
    """The verdicts of cases as they come, from processes that share them out."""
    for warm in range(3):  # what is cached and imported is there before the first fork
        made_case(sort, seed, warm)
    _imported()
    shares = [list(numbers[k::processes]) for k in range(processes)]
    living: dict[int, tuple[list[int], mmap.mmap, Path]] = {}
    with tempfile.TemporaryDirectory(prefix="fuzz-") as scratch:
        waiting = [share for share in shares if share]
        while waiting or living:
            while waiting:
                share = waiting.pop()
                at, lines = mmap.mmap(-1, 16), Path(scratch) / f"{os.urandom(6).hex()}.jsonl"
                sys.stdout.flush()
                child = os.fork()
                if child == 0:
                    _work(sort, seed, share[:_CASES_OF_A_PROCESS], command_every, at, lines)
                living[child] = share, at, lines
            child, status = os.wait()
            share, at, lines = living.pop(child)
            done = 0
            if lines.exists():
                for line in lines.read_text(encoding="utf-8").splitlines():
                    count, kind, why, seconds, by_command = json.loads(line)
                    yield count, FuzzVerdict(kind, why, seconds), by_command
                    done += 1
                lines.unlink()
            if status != 0:
                count = unpack("q", at[:8])[0]
                verdict = FuzzVerdict("fault", _end_of(status, lines), 0.0)
                crashed = os.WIFSIGNALED(status) and os.WTERMSIG(status) not in _HANGING
                if crashed:  # the command may tell it; a hang stays one
                    told = judged_by_command(made_case(sort, seed, count), Path(scratch) / "again")
                    verdict = told if told.kind == "crash" else verdict
                yield count, verdict, crashed
                done += 1
            if share[done:]:
                waiting.append(share[done:])


def _end_of(status: int, lines: Path) -> str:
    """How a process ended that wrote these lines."""
    if not os.WIFSIGNALED(status):
        told = lines.with_suffix(".error")
        why = told.read_text(encoding="utf-8").strip().splitlines()[-1:] if told.exists() else []
        return f"the process ended with status {os.WEXITSTATUS(status)}: {' '.join(why)}"
    number = os.WTERMSIG(status)
    if number in _HANGING:
        return f"hang: more than {HANG_SECONDS:g} s of processor time"
    return f"signal: {signal.Signals(number).name}"


@cache
def _imported() -> None:
    """What every case needs, loaded once."""
    import converter.cli.main
    import converter.exporters.registry
    import converter.importers.dxf
    import converter.importers.mesh
    import converter.importers.step.read
    import converter.importers.tables.bend_csv
    import converter.job
    import converter.kernel.shapes.solids  # noqa: F401
    from converter.importers.registry import read

    for fixture in _WARM:  # what is loaded where it is used
        read(FIXTURES / fixture)


def _work(sort: str, seed: int, numbers: Sequence[int], command_every: int, at: mmap.mmap, lines: Path) -> None:
    """The whole life of a process that works on cases; writes a line for each."""
    import faulthandler
    import resource

    from converter.importers.step import trial

    # cases run by the command have the trial as it is
    trial.subprocess = FORKING  # type: ignore[attr-defined]
    trial._SECONDS = _TRIAL_SECONDS
    status = 1
    faulthandler.disable()  # a crash is told by the one who waits
    try:
        folder = lines.with_suffix("") / "case"
        folder.parent.mkdir()
        for number in _HANGING:
            signal.signal(number, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_DATA, (_MEMORY, _MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        chatter = os.open(folder.parent / "chatter", os.O_RDWR | os.O_CREAT | os.O_APPEND)
        for stream in (1, 2):  # what a library writes past Python
            os.dup2(chatter, stream)
        with lines.open("a", encoding="utf-8") as record:
            heard = 0
            for count in numbers:
                at[:8] = pack("q", count)
                case = made_case(sort, seed, count)
                by_command = sort not in JUDGES and bool(command_every) and count % command_every == command_every - 1
                signal.setitimer(signal.ITIMER_PROF, HANG_SECONDS)
                signal.setitimer(signal.ITIMER_REAL, _STUCK_SECONDS)
                verdict = (judged_by_command if by_command else JUDGES.get(sort, judged))(case, folder)
                signal.setitimer(signal.ITIMER_PROF, 0.0)
                signal.setitimer(signal.ITIMER_REAL, 0.0)
                size = os.fstat(chatter).st_size
                if size > heard:
                    said = os.pread(chatter, 500, heard).decode("utf-8", "replace")
                    verdict = FuzzVerdict("fault", f"a library wrote past us: {said}", verdict.seconds)
                    heard = size
                row = (count, verdict.kind, verdict.why, verdict.seconds, by_command)
                record.write(json.dumps(row) + "\n")
                record.flush()
        status = 0
    except BaseException:
        lines.with_suffix(".error").write_text(traceback.format_exc(), encoding="utf-8")
        print(traceback.format_exc(), file=sys.__stderr__)
    finally:
        os._exit(status)
