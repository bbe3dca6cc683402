"""Sets of files put in place by processes that are killed: at each call that changes the disk, or at any time.

`tests/disk/test_stage.py` runs the scenarios in a process of their own, which is small and so forks fast. What each
returns is a fact per kill; what must hold for every kill is asserted here.
"""

from __future__ import annotations

import errno
import gc
import io
import json
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from converter.disk import lock as lock_module
from converter.disk import stage as stage_module
from converter.disk.reading import open_to_read
from converter.disk.stage import recover
from converter.errors import WriteError
from converter.exporters.files import OutputSet
from converter.importers.source import Source
from converter.shop.load import load_shop
from converter.shop.test_bends import NewTest, record

NAMES = tuple(f"part-{i}.csv" for i in range(12))
#: Of the new set three files have no old ones; of the old set one file has no new one.
OLD = {**{name: b"old " + name.encode() for name in NAMES[:9]}, "notes.txt": b"mine"}
NEW = {**OLD, **{name: b"new " + name.encode() * 3 for name in NAMES}}
#: Calls that change what stands on the disk; ``io.open`` is what writes the files themselves.
CALLS = ("replace", "rename", "link", "unlink", "rmdir", "mkdir", "open", "write")


def scenario(name: str, *given: object) -> Any:
    """Run one of the functions below in a process of its own, and return what it returned."""
    words = [sys.executable, "-B", __file__, name, json.dumps(given, default=str)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


# --- sets of files ------------------------------------------------------------------------------------


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its content, hidden ones too; folders as names that end in '/'."""
    return {
        str(path.relative_to(folder)) + ("/" if path.is_dir() else ""): b"" if path.is_dir() else path.read_bytes()
        for path in folder.rglob("*")
    }


def visible(folder: Path) -> dict[str, bytes]:
    """Without what is hidden."""
    return {name: data for name, data in tree(folder).items() if not name.startswith(".")}


def old_set(folder: Path) -> Path:
    """The folder with the old set in it and nothing else."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, data in OLD.items():
        (folder / name).write_bytes(data)
    return folder


def write_set(folder: Path, mark: str = "new", names: tuple[str, ...] = NAMES) -> None:
    with OutputSet(folder, force=True) as out:
        for name in names:
            out.path(name).write_bytes(f"{mark} ".encode() + name.encode() * 3)


def next_write(folder: Path) -> None:
    """Any later run that writes there, here one that finds nothing to write after all."""
    out = OutputSet(folder, force=True)
    out.path("x.csv")
    out.discard()


def next_read(folder: Path) -> None:
    """Any later run that reads a file there."""
    open_to_read(folder / "notes.txt").close()


STARTS = {"write": next_write, "read": next_read}


def lock_files_only() -> None:
    """As on a system that locks no folders."""
    lock = lock_module._lock

    def files_only(handle: int) -> bool | None:
        return None if stat.S_ISDIR(os.fstat(handle).st_mode) else lock(handle)

    lock_module._lock = files_only


# --- processes that are killed ------------------------------------------------------------------------


@contextmanager
def killed_in(call: int) -> Iterator[None]:
    """Kill this process instead of its call of this number; 0 for never."""
    made = 0

    def counted(function: Callable[..., object]) -> Callable[..., object]:
        def instead(*args: object, **kwargs: object) -> object:
            nonlocal made
            made += 1
            if made == call:
                os.kill(os.getpid(), signal.SIGKILL)
            return function(*args, **kwargs)

        return instead

    for name in CALLS:
        setattr(os, name, counted(getattr(os, name)))
    io.open = counted(io.open)  # type: ignore[assignment]
    yield


def start(action: Callable[[], object], call: int = 0) -> int:
    """Begin an action in a fork, to be killed at its call of this number; its process."""
    process = os.fork()
    if process:
        return process
    try:
        with killed_in(call):
            action()
        os._exit(0)
    except BaseException:
        import traceback

        traceback.print_exc()
        os._exit(9)


def end(process: int) -> bool:
    """Wait for it: whether it came to its end by itself."""
    status = os.waitpid(process, 0)[1]
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, "the action itself failed"
    return not os.WIFSIGNALED(status)


def killed_at(action: Callable[[], object], call: int) -> bool:
    """Whether an action was killed at its call of this number; it was not when it makes fewer."""
    return not end(start(action, call))


def half_placed(folder: Path, call: int = 40) -> int:
    """Kill a run after its journal has its name and half of its files theirs; the number of its call."""
    while True:
        old_set(folder)
        assert killed_at(lambda: write_set(folder), call)
        placed = sum(visible(folder).get(name) == NEW[name] for name in NAMES)
        if 4 <= placed <= 8:
            return call
        call += 1 if placed < 4 else -1


# --- scenarios ----------------------------------------------------------------------------------------


def every_call(folder: Path, next_start: str) -> dict[str, Any]:
    """For each call: whether the new set came of it; besides, how many kills left a mixture to be mended."""
    came, torn = [], 0
    while True:
        old_set(folder)
        killed = killed_at(lambda: write_set(folder), len(came) + 1)
        torn += killed and visible(folder) not in (OLD, NEW)
        assert visible(folder).keys() >= OLD.keys(), "a name is never empty"
        STARTS[next_start](folder)
        assert tree(folder) in (OLD, NEW), len(came) + 1
        came.append(tree(folder) == NEW)
        if not killed:
            return {"came": came, "torn": torn}


def every_call_new_folder(top: Path, below: str) -> list[bool]:
    """For each call of a run that makes its folder: whether it came."""
    came: list[bool] = []
    killed = True
    while killed:
        base = top / str(len(came))
        base.mkdir()
        folder = base / below
        killed = killed_at(lambda folder=folder: write_set(folder), len(came) + 1)
        if folder.exists():
            recover(folder.parent)
        next_write(folder)
        came.append(folder.exists())
        content = {name: data for name, data in tree(base).items() if not name.endswith("/")}
        assert content == ({f"{below}/{name}": NEW[name] for name in NAMES} if came[-1] else {}), len(came)
        assert came[-1] or list(base.iterdir()) == [], len(came)
    return came


def every_call_of_recovery(folder: Path, next_start: str) -> int:
    """Kill the next run too, at every call, and at times the one after; how many calls there were."""
    recovery = STARTS[next_start]
    half, call, killed = half_placed(folder), 0, True
    while killed:
        call += 1
        half_placed(folder, half)
        killed = killed_at(lambda: recovery(folder), call)
        if call % 5 == 0:
            killed_at(lambda: recovery(folder), call // 5)
        recovery(folder)
        assert tree(folder) == NEW, call
    return call


def every_call_of_undoing(folder: Path) -> list[bool]:
    """The last file cannot be put in place, and the run is killed at a call: whether the new set came for each."""
    replace = os.replace

    def fails() -> None:
        counted = os.replace

        def full(source: Path, target: Path) -> None:
            if Path(target) == folder / NAMES[-1] and Path(source).parent.parent == folder:
                raise OSError(errno.ENOSPC, "No space left on device")
            counted(source, target)

        os.replace = full  # type: ignore[assignment]
        try:
            write_set(folder)
        except WriteError as error:
            assert "no space left" in error.message
        else:
            raise AssertionError("it had space")

    came: list[bool] = []
    killed = True
    while killed:
        old_set(folder)
        killed = killed_at(fails, len(came) + 1)
        assert os.replace is replace
        next_write(folder)
        assert tree(folder) in (OLD, NEW), len(came) + 1
        came.append(tree(folder) == NEW)
    return came


def random_moments(folder: Path, count: int, next_start: str) -> dict[str, int]:
    """Kill runs at random times: how many were cut off, and how many of these left something to be mended.

    On a busy machine most come too early or too late: it goes on, up to eight times as long, until enough came in time.
    """
    chance, usual = random.Random(7), []
    old_set(folder)
    for _ in range(9):
        begun = time.perf_counter()
        end(start(lambda: write_set(folder)))
        usual.append(time.perf_counter() - begun)
    cut_off = torn = 0
    for number in range(8 * count):
        if number >= count and cut_off > count // 5 and torn > count // 12:
            break
        old_set(folder)
        process = start(lambda: write_set(folder))
        time.sleep(chance.uniform(0.0, 1.2 * sorted(usual)[4]))
        os.kill(process, signal.SIGKILL)
        cut_off += not end(process)
        torn += any(name.startswith(".") for name in os.listdir(folder))
        STARTS[next_start](folder)
        assert tree(folder) in (OLD, NEW), number
    return {"cut off": cut_off, "torn": torn}


def any_line(folder: Path, how: str, again: int, step: int) -> dict[str, int]:
    """Interrupt at every so many lines of the code that stages files: how many left the old set, how many the new.

    Args:
        folder: to write to.
        how: 'signal' or 'exception'.
        again: so many lines later once more; 0 for only once.
        step: lines from one interrupt to the next.
    """
    names = (NAMES[0], NAMES[-1])
    new = {**OLD, **{name: NEW[name] for name in names}}
    inside = (stage_module.__file__, lock_module.__file__, sys.modules[OutputSet.__module__].__file__)
    lines = 0

    def on_line(frame: Any, event: str, _: object) -> Any:
        nonlocal lines
        if event == "line":
            lines += 1
            if lines == at or (again and lines == at + again):
                if how == "exception":
                    raise KeyboardInterrupt
                signal.raise_signal(signal.SIGINT)
        return on_line

    def on_call(frame: Any, *_: object) -> Any:
        # what is raised while an object goes, the interpreter drops
        own = frame.f_code.co_filename in inside and frame.f_code.co_name not in ("__del__", "_drop")
        return on_line if own else None

    gc.freeze()
    old_set(folder)
    counts, at, caught = {"old": 0, "new": 0}, 1, True
    while caught:
        caught, lines = False, 0
        try:
            sys.settrace(on_call)
            write_set(folder, names=names)
        except KeyboardInterrupt:
            caught = True
        finally:
            sys.settrace(None)
        gc.collect()  # the object that knows of the hidden folder goes with the traceback
        after = tree(folder)
        assert after in (OLD, new), (at, after.keys())
        if how == "signal":
            assert signal.getsignal(signal.SIGINT) is signal.default_int_handler, at
        counts["old" if after == OLD else "new"] += 1
        if after == new:
            old_set(folder)
        at += step
    return counts


def at_once(folder: Path, runs: int, times: int) -> list[str]:
    """Several processes write their sets over one another: whose files stand in the end."""
    old_set(folder)

    def many(mark: str) -> Callable[[], object]:
        return lambda: [write_set(folder, mark) for _ in range(times)]

    for process in [start(many(mark)) for mark in "abcdefgh"[:runs]]:
        assert end(process)
    assert tree(folder).keys() == NEW.keys()
    return sorted({tree(folder)[name].split()[0].decode() for name in NAMES})


def records_at_once(path: Path, runs: int) -> list[float]:
    """Several processes record a test bend each: the stops that the file has in the end."""
    ready, go = os.pipe()

    def one(number: int) -> Callable[[], object]:
        def action() -> None:
            os.close(go)
            os.read(ready, 1)  # until the last has begun
            record(path, [NewTest("A", None, None, 50.0 + number, 48.0 + number)])

        return action

    processes = [start(one(number)) for number in range(runs)]
    os.close(go)
    for process in processes:
        assert end(process)
    return sorted(test.stop for test in load_shop(path).tests)


def every_call_of_recording(path: Path) -> list[bool]:
    """For each call: whether the test bend was recorded, seen by the next to read the file."""
    text, came, killed = path.read_bytes(), [], True
    test = NewTest("A", None, None, 93.0, 90.0)
    while killed:
        for file in path.parent.iterdir():
            file.unlink()
        path.write_bytes(text)
        path.with_name(path.name + ".before").write_bytes(b"older")
        killed = killed_at(lambda: record(path, [test]), len(came) + 1)
        came.append(bool(load_shop(path).tests))
        before = path.with_name(path.name + ".before").read_bytes()
        assert before == (text if came[-1] else b"older"), len(came)
        assert came[-1] or path.read_bytes() == text, len(came)
        assert sorted(os.listdir(path.parent)) == [path.name, path.name + ".before"], len(came)
    return came


def changed_by_hand(folder: Path) -> None:
    """What a person changes after the cut stays as it is."""
    half_placed(folder)
    waiting = next(name for name in NAMES if visible(folder).get(name) == OLD.get(name, b"none"))
    (folder / waiting).write_bytes(b"changed by hand")
    (folder / NAMES[-1]).write_bytes(b"made by hand")
    next_write(folder)
    assert tree(folder) == {**NEW, waiting: b"changed by hand", NAMES[-1]: b"made by hand"}


def without_links(folder: Path) -> None:
    """Some file systems have no hard links: then a file is moved to where it is kept."""

    def none(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    os.link = none  # type: ignore[assignment]
    away = 0
    for call in range(34, 80, 4):
        old_set(folder)
        killed_at(lambda: write_set(folder), call)
        for name in OLD.keys() - visible(folder).keys():
            assert Source.of(folder / name).read_bytes() == NEW[name]
            away += 1
        next_write(folder)
        assert tree(folder) in (OLD, NEW), call
    write_set(folder)
    assert tree(folder) == NEW and away


def anothers_journal(folder: Path) -> None:
    """What another user's run left is not touched."""
    half_placed(folder)
    [stage] = [path for path in folder.iterdir() if path.name.startswith(".elbowroom-")]
    os.chown(stage, 65534, 65534)
    before = tree(folder)
    next_write(folder)
    assert tree(folder) == before


def main(name: str, given: str) -> None:
    # a killed process loses nothing that the system has, on the disk or not: these only take time here
    os.fsync = lambda handle: None  # type: ignore[assignment]
    stage_module.Stage.flush = lambda stage, names: None  # type: ignore[method-assign]
    words = [Path(word) if isinstance(word, str) and os.sep in word else word for word in json.loads(given)]
    if words and words[0] == "lock files":
        lock_files_only()
    if words and words[0] in ("lock files", "folder locks"):
        del words[0]
    print(json.dumps(globals()[name](*words)))


if __name__ == "__main__":
    main(*sys.argv[1:])
