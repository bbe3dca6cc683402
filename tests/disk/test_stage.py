"""A set of files over an old set: whatever cuts the run off, the old set or the new one stands, and nothing hidden."""

from __future__ import annotations

import errno
import gc
import os
import signal
import stat
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import hook, run
from stage_kills import (
    NAMES,
    NEW,
    OLD,
    end,
    next_read,
    next_write,
    old_set,
    scenario,
    start,
    tree,
    visible,
    write_set,
)

from converter.disk import lock as lock_module
from converter.disk.lock import LOCK_FILE, FolderLock, locked, uninterrupted
from converter.disk.stage import Stage
from converter.errors import WriteError
from converter.exporters.files import OutputSet

LOCKS = pytest.mark.parametrize("locks", ["folder locks", "lock files"])


def no_folder_locks(monkeypatch: pytest.MonkeyPatch, locks: str = "lock files") -> None:
    """As on a system that locks no folders: a file in it is locked."""
    lock = lock_module._lock
    if locks == "lock files":
        monkeypatch.setattr(
            lock_module, "_lock", lambda handle: None if stat.S_ISDIR(os.fstat(handle).st_mode) else lock(handle)
        )


# --- kills --------------------------------------------------------------------------------------------


@pytest.fixture
def memory(tmp_path: Path) -> Iterator[Path]:
    """A folder on a disk in memory where there is one: thousands of small files come and go."""
    base = Path("/dev/shm")
    if not os.access(base, os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=base) as folder:
        yield Path(folder)


@pytest.mark.parametrize(("locks", "next_start"), [("folder locks", "read"), ("lock files", "write")])
def test_killed_at_every_call_the_old_set_or_the_new_one_stands(memory, locks, next_start):
    outcome = scenario("every_call", locks, memory / "out", next_start)
    # before the journal has its name the old set comes back, from then on the new one comes
    came = outcome["came"]
    first = came.index(True)
    assert not any(came[:first]) and all(came[first:]) and first > 12 and len(came) - first > 24
    assert outcome["torn"] > 12, "no kill came between the files"


@pytest.mark.parametrize(("locks", "below"), [("folder locks", "out"), ("lock files", "a/b/c/out")])
def test_killed_at_every_call_a_new_folder_is_there_whole_or_not_at_all(memory, locks, below):
    came = scenario("every_call_new_folder", locks, memory, below)
    first = came.index(True)
    assert not any(came[:first]) and all(came[first:]) and first > 12


def test_a_new_folder_is_made_like_any_other(tmp_path):
    (tmp_path / "usual").mkdir()
    write_set(tmp_path / "out")
    assert (tmp_path / "out").stat().st_mode == (tmp_path / "usual").stat().st_mode


@pytest.mark.parametrize("next_start", ["write", "read"])
def test_killed_again_at_every_call_of_the_recovery(memory, next_start):
    assert scenario("every_call_of_recovery", memory / "out", next_start) > 15


def test_killed_at_every_call_while_it_takes_back(memory):
    came = scenario("every_call_of_undoing", memory / "out")
    # killed while it puts files in place the new set comes; from the moment it takes back, the old one
    last = len(came) - 1 - came[::-1].index(True)
    first = came.index(True)
    assert all(came[first : last + 1]) and first > 12 and last - first > 12 and len(came) - last > 20


@pytest.mark.slow
@pytest.mark.parametrize("next_start", ["write", "read"])
def test_killed_at_random_moments(memory, next_start):
    outcome = scenario("random_moments", memory / "out", 250, next_start)
    assert outcome["cut off"] > 50 and outcome["torn"] > 20, outcome


def test_what_a_person_changed_after_the_cut_is_left_alone(tmp_path):
    scenario("changed_by_hand", tmp_path / "out")


def test_a_file_system_without_hard_links(memory):
    scenario("without_links", memory / "out")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root makes files of others")
def test_another_users_journal_is_not_followed(tmp_path):
    scenario("anothers_journal", tmp_path / "out")


COMMAND = """
import os, signal, sys
from converter.cli.main import main
replace, left = os.replace, [int(sys.argv[1])]
def counted(source, target):
    left[0] -= not os.path.basename(target).startswith(".elbowroom")
    if left[0] < 0:
        os.kill(os.getpid(), signal.SIGKILL)
    replace(source, target)
os.replace = counted
sys.exit(main(sys.argv[2:]))
"""


@pytest.mark.slow
@pytest.mark.parametrize("placed", [0, 2])
def test_the_command_killed_between_its_files(tmp_path, capsys, placed):
    """`convert --force` over what another drawing gave; the next command reads the folder."""
    words = ["convert", tmp_path / "part.dxf", "--to", "csv,json,svg,as-read", "--out", tmp_path / "out"]
    hook(tmp_path / "part.dxf", radius=150.0)
    assert run(capsys, *words).status in (0, 1)
    wanted = tree(tmp_path / "out")
    (tmp_path / "out").rename(tmp_path / "wanted")
    hook(tmp_path / "part.dxf")
    assert run(capsys, *words).status in (0, 1)
    before = tree(tmp_path / "out")
    hook(tmp_path / "part.dxf", radius=150.0)
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, str(placed), *map(str, words), "--force"], capture_output=True, check=False
    )
    assert done.returncode == -signal.SIGKILL
    assert any(name.startswith(".elbowroom-") for name in os.listdir(tmp_path / "out"))
    torn = visible(tmp_path / "out")
    assert sum(torn[name] != before[name] for name in before) == placed
    assert run(capsys, "table", tmp_path / "out" / "part.csv").status == 0
    assert tree(tmp_path / "out") == wanted


def test_every_file_is_on_the_disk_before_the_next_depends_on_it(tmp_path, monkeypatch):
    """What a power cut needs: files and journal before the first is replaced, the names before the journal goes."""
    folder = old_set(tmp_path / "out")
    log: list[tuple[str, str]] = []

    def names(handle: int) -> str:
        return os.readlink(f"/proc/self/fd/{handle}")

    fsync, replace, unlink = os.fsync, os.replace, os.unlink
    monkeypatch.setattr(os, "fsync", lambda handle: (log.append(("fsync", names(handle))), fsync(handle))[1])
    monkeypatch.setattr(os, "replace", lambda a, b: (log.append(("replace", str(b))), replace(a, b))[1])
    monkeypatch.setattr(os, "unlink", lambda p, **k: (log.append(("unlink", str(p))), unlink(p, **k))[1])
    write_set(folder)
    first = log.index(("replace", str(folder / NAMES[0])))
    last = log.index(("replace", str(folder / NAMES[-1])))
    flushed = [Path(what) for call, what in log[:first] if call == "fsync"]
    assert {path.name for path in flushed} >= {*NAMES, ".elbowroom-journal-"}
    named = log.index(next(entry for entry in log if entry[1].endswith("elbowroom-journal")))
    stages = {path.parent for path in flushed if path.name == NAMES[0]}
    assert named < first and {("fsync", str(stage)) for stage in stages} <= set(log[named:first])
    gone = next(i for i, entry in enumerate(log) if entry[0] == "unlink" and entry[1].endswith("elbowroom-journal"))
    assert ("fsync", str(folder)) in log[last:gone]


# --- interrupts ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("again", "step"), [(0, 5), (1, 31), (9, 37), (60, 41)])
def test_interrupted_at_any_line_by_a_signal(memory, again, step):
    """Ctrl-C once, and twice: the second while the first is being cleared up."""
    outcome = scenario("any_line", memory / "out", "signal", again, step)
    assert outcome["old"] > 300 / step and outcome["new"] > 40 / step, outcome


def test_interrupted_at_any_line_by_an_exception(memory):
    """Also one that no handler of signals raised."""
    outcome = scenario("any_line", memory / "out", "exception", 0, 7)
    assert outcome["old"] > 50 and outcome["new"] > 5, outcome


def test_an_interrupt_waits_and_comes():
    done = []
    with pytest.raises(KeyboardInterrupt), uninterrupted():
        signal.raise_signal(signal.SIGINT)
        with uninterrupted():
            signal.raise_signal(signal.SIGINT)
        done.append(True)
    assert done and signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_a_second_thread_needs_no_signals():
    seen = []

    def work() -> None:
        with uninterrupted():
            seen.append(signal.getsignal(signal.SIGINT))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert seen == [signal.default_int_handler]


# --- several runs at once -----------------------------------------------------------------------------


@LOCKS
def test_of_several_runs_at_once_the_last_wins_wholly(memory, locks):
    assert len(scenario("at_once", locks, memory / "out", 4, 12)) == 1


@LOCKS
@pytest.mark.parametrize("force", [True, False])
def test_of_several_runs_that_make_the_folder_one_wins_wholly(tmp_path, monkeypatch, locks, force):
    """They all begin while it does not exist; without --force the others are refused."""
    no_folder_locks(monkeypatch, locks)
    folder = tmp_path / "a" / "out"
    sets = {mark: OutputSet(folder, force=force) for mark in "abc"}
    for mark, out in sets.items():
        for name in NAMES:
            out.path(name).write_bytes(mark.encode())
    for mark, out in sets.items():
        if force or mark == "a":
            out.commit()
        else:
            with pytest.raises(WriteError, match="exists already"):
                out.commit()
    assert tree(folder) == dict.fromkeys(NAMES, b"c" if force else b"a")
    assert tree(tmp_path).keys() == {"a/", "a/out/", *(f"a/out/{name}" for name in NAMES)}


def test_a_folder_half_made_by_another_run(tmp_path):
    out = OutputSet(tmp_path / "a" / "b" / "c")
    out.path("x.csv").write_bytes(b"x")
    (tmp_path / "a" / "b").mkdir(parents=True)
    out.commit()
    assert tree(tmp_path) == {"a/": b"", "a/b/": b"", "a/b/c/": b"", "a/b/c/x.csv": b"x"}


@LOCKS
def test_the_stage_of_a_living_run_is_left_alone(tmp_path, monkeypatch, locks):
    no_folder_locks(monkeypatch, locks)
    folder = old_set(tmp_path / "out")
    out = OutputSet(folder, force=True)
    out.path("mine.csv").write_bytes(b"mine")
    assert end(start(lambda: write_set(folder)))
    next_read(folder)
    out.commit()
    assert tree(folder) == {**NEW, "mine.csv": b"mine"}


def test_a_fork_leaves_its_parents_stage_alone(tmp_path):
    out = OutputSet(tmp_path / "out")
    out.path("mine.csv").write_bytes(b"mine")
    assert end(start(out.discard))
    out.commit()
    assert tree(tmp_path / "out") == {"mine.csv": b"mine"}


@LOCKS
def test_a_lock_that_is_held_too_long_is_one_sentence(tmp_path, monkeypatch, locks):
    no_folder_locks(monkeypatch, locks)
    folder = old_set(tmp_path / "out")
    monkeypatch.setattr(lock_module, "WAIT", 0.05)
    with locked(folder), pytest.raises(WriteError, match="being written to by another elbowroom") as caught:
        write_set(folder)
    assert caught.value.code == "busy" and tree(folder) == OLD
    write_set(folder)
    assert tree(folder) == NEW


@LOCKS
def test_a_killed_holder_lets_go(tmp_path, monkeypatch, locks):
    no_folder_locks(monkeypatch, locks)

    def hold() -> None:
        lock = FolderLock(tmp_path)
        while not lock.take():  # the parent asks too, and may hold it just now
            time.sleep(0.001)
        time.sleep(60)

    process = start(hold)
    mine = FolderLock(tmp_path)
    while mine.take():
        mine.release()
        time.sleep(0.001)
    os.kill(process, signal.SIGKILL)
    end(process)
    write_set(tmp_path)
    assert set(tree(tmp_path)) == set(NAMES)


def test_a_lock_file_that_was_removed_meanwhile_is_no_lock(tmp_path, monkeypatch):
    """Two runs with one lock file each of the same name would both go on."""
    no_folder_locks(monkeypatch)
    first, second = FolderLock(tmp_path), FolderLock(tmp_path)
    lock = lock_module._lock

    def late(handle: int) -> bool | None:
        if not stat.S_ISDIR(os.fstat(handle).st_mode):
            first.release()  # between the second's opening of the file and its lock
        return lock(handle)

    assert first.take() and (tmp_path / LOCK_FILE).exists()
    monkeypatch.setattr(lock_module, "_lock", late)
    assert not second.take() and list(tmp_path.iterdir()) == []


def test_a_file_system_without_locks(tmp_path, monkeypatch):
    monkeypatch.setattr(lock_module, "_lock", lambda handle: None)
    folder = old_set(tmp_path / "out")
    out = OutputSet(folder, force=True)
    out.path("mine.csv").write_bytes(b"mine")
    write_set(folder)  # without locks nobody can tell a dead run: the other stage stays
    out.commit()
    assert {name for name in tree(folder) if not name.startswith(".elbowroom-lock")} == {*NEW, "mine.csv"}


# --- a folder that is not what it was -----------------------------------------------------------------


def test_a_folder_replaced_by_a_link_meanwhile(tmp_path):
    folder, other = old_set(tmp_path / "out"), tmp_path / "other"
    other.mkdir()
    out = OutputSet(folder, force=True)
    out.path(NAMES[0]).write_bytes(b"new")
    folder.rename(tmp_path / "moved")
    folder.symlink_to(other)
    with pytest.raises(WriteError, match="was moved or replaced"):
        out.commit()
    assert list(other.iterdir()) == []
    next_write(tmp_path / "moved")
    assert tree(tmp_path / "moved") == OLD


def test_what_cannot_be_put_back_is_kept_for_the_next_run(tmp_path, monkeypatch):
    folder = old_set(tmp_path / "out")
    replace = os.replace

    def broken(source: Path, target: Path) -> None:
        # the last file does not come, and nothing goes back
        back = "-kept" in str(source) or Path(target).parent.name.startswith(".elbowroom-")
        if Path(target).name == NAMES[-1] or (back and not Path(target).name.startswith(".elbowroom-")):
            raise OSError(errno.EIO, "Input/output error")
        replace(source, target)

    monkeypatch.setattr(os, "replace", broken)
    with pytest.raises(WriteError, match=r"cannot be put back \(input/output error\).*\.elbowroom-"):
        write_set(folder)
    monkeypatch.undo()
    gc.collect()
    next_read(folder)
    assert tree(folder) == OLD


@pytest.mark.parametrize(
    "journal",
    [
        b"{",
        b"[]",
        b'{"in": [], "files": [{"name": "../../victim", "old": [6, 0], "new": [1, 0]}]}',
        b'{"in": [".."], "files": [{"name": "victim", "old": null, "new": [1, 0]}]}',
        b'{"in": [], "files": [{"name": "..", "old": null, "new": [1, 0]}]}',
    ],
)
def test_a_journal_that_no_run_of_ours_wrote_moves_nothing(tmp_path, journal):
    (tmp_path / "victim").write_bytes(b"victim")
    stage = tmp_path / "out" / ".elbowroom-0123456789abcdef"
    stage.mkdir(parents=True)
    (stage / ".elbowroom-journal").write_bytes(journal)
    (stage / "victim").write_bytes(b"x")
    (tmp_path / "out" / "notes.txt").write_bytes(b"mine")
    before = tree(tmp_path)
    next_read(tmp_path / "out")
    next_write(tmp_path / "out")
    assert tree(tmp_path) == before


@pytest.mark.parametrize("name", [".elbowroom-notes", ".elbowroom-0123456789abcdeg", "elbowroom-0123456789abcdef"])
def test_a_folder_that_only_looks_like_ours_stays(tmp_path, name):
    (tmp_path / name).mkdir()
    (tmp_path / name / "diary.txt").write_bytes(b"mine")
    next_write(tmp_path)
    assert tree(tmp_path) == {f"{name}/": b"", f"{name}/diary.txt": b"mine"}


def test_a_folder_in_the_place_of_a_file_is_never_kept_away(tmp_path):
    """A folder is no old file: it would go with the stage."""
    (tmp_path / "x.csv").mkdir()
    (tmp_path / "x.csv" / "diary.txt").write_bytes(b"mine")
    stage = Stage(tmp_path)
    stage.begin()
    (stage.files / "x.csv").write_bytes(b"new")
    with pytest.raises(IsADirectoryError):
        stage.commit(["x.csv"], lambda target: None)
    assert tree(tmp_path) == {"x.csv/": b"", "x.csv/diary.txt": b"mine"}
