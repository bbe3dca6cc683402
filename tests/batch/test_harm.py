"""No drawing harms another: crashes, limits, kills, mistakes, disks without room."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path
from threading import Thread

import pytest
from bays import sabotaged
from command_line import files, hook

from converter import Settings
from converter.batch import AuditWork, BatchLimits, ConvertWork, batch_items, find_drawings, local_bays, work_through
from converter.batch.record import RECORD
from converter.disk.stage import recover

SETTINGS = Settings(sections=("1.5x0.120in",))
#: Names of drawings that end a bay (`bays.sabotaged`), the code of the failure, and what is said.
HARM = {
    "segv.dxf": ("crashed", "Reading d/segv.dxf crashed a library that elbowroom uses (SIGSEGV)"),
    "exits.dxf": ("crashed", "crashed a library that elbowroom uses (it ended the program with status 7)"),
    "killed.dxf": ("crashed", "was stopped by the system while reading d/killed.dxf, most likely for want of memory"),
    "spins.dxf": ("limit-time", "d/spins.dxf takes more than 3 s of processor time to read and work out"),
    "hogs.dxf": ("limit-memory", "d/hogs.dxf takes more than 1 GB of memory to read and work out"),
    "slips.dxf": ("internal", "Something went wrong inside elbowroom (RuntimeError: a mistake)"),
}


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("d").mkdir()
    sabotaged(monkeypatch)
    return tmp_path


def drawing(name: str) -> None:
    hook(Path("d", name), radius=114.3)


def items(work=None, out=None, **given):
    return batch_items(find_drawings(["d"], out).drawings, work or AuditWork(), SETTINGS, out=out, **given)


def until(true, patience: float = 60.0):
    end = time.monotonic() + patience
    while time.monotonic() < end:
        if found := true():
            return found
        time.sleep(0.01)
    pytest.fail("it never came to that")


@pytest.mark.slow
def test_a_drawing_that_explodes_takes_no_other_with_it(here):
    """One bay does all, so that those before and behind are done beside each of them."""
    for name in ("a.dxf", *HARM, "u.dxf", "z.dxf"):
        drawing(name)
    with local_bays(1) as executor:
        found = {
            verdict.source.removeprefix("d/"): verdict
            for verdict in work_through(items(limits=BatchLimits(3.0, 10**9)), executor)
        }
    for name, (code, says) in HARM.items():
        assert found[name].failure is not None, found[name]
        assert found[name].failure.code == code
        assert says in found[name].failure.message
    assert {verdict.word for name, verdict in found.items() if name not in HARM} == {"warning"}


def test_a_drawing_that_ends_its_bay_while_it_is_written_leaves_nothing(here):
    drawing("bursts.dxf")
    with local_bays(1) as executor:
        (verdict,) = work_through(items(ConvertWork(("csv",)), "out"), executor)
    assert verdict.failure is not None and verdict.failure.code == "crashed"
    assert [path.name for path in here.iterdir()] == ["d"]


@pytest.mark.slow
def test_a_crash_is_not_taken_for_want_of_memory_where_this_process_is_large(here):
    """A process begins with the greatest memory of the one that began it, by the system's count."""
    drawing("segv.dxf")
    large = bytearray(1_200_000_000)
    large[::4096] = b"1" * len(large[::4096])
    with local_bays(1) as executor:
        (verdict,) = work_through(items(limits=BatchLimits(60.0, 10**9)), executor)
    assert verdict.failure is not None and verdict.failure.code == "crashed"
    del large


def test_a_bay_that_is_killed_is_replaced_and_its_drawing_done(here):
    """kill -9 of a worker: the drawing it was at is tried once more, since drawings before it may be to blame."""
    for name in ("a.dxf", "waits.dxf", "z.dxf"):
        drawing(name)
    pids = Path("d/waits.dxf.pid")
    done = []

    def work():
        with local_bays(1) as executor:
            done.extend(work_through(items(), executor))

    thread = Thread(target=work)
    thread.start()
    try:
        first = int(until(lambda: pids.exists() and pids.read_text()))
        os.kill(first, signal.SIGKILL)
        second = int(until(lambda: pids.read_text().split()[1:])[0])
        assert second != first
    finally:
        Path("d/waits.dxf.go").touch()
        thread.join()
    assert {verdict.source: verdict.word for verdict in done} == {
        "d/a.dxf": "warning", "d/waits.dxf": "warning", "d/z.dxf": "warning",
    }  # fmt: skip


def test_a_bay_ends_with_the_process_that_started_it(here):
    drawing("waits.dxf")
    code = f"""
import sys
sys.path.insert(0, {str(Path(__file__).parents[1] / "helpers")!r})
import pytest
from bays import sabotaged
from converter.batch import *
sabotaged(pytest.MonkeyPatch())
with local_bays(1) as executor:
    list(work_through(batch_items(find_drawings(["d"]).drawings, AuditWork()), executor))
"""
    process = subprocess.Popen([sys.executable, "-c", code])
    pids = Path("d/waits.dxf.pid")
    try:
        bay = int(until(lambda: pids.exists() and pids.read_text()))
    finally:
        process.kill()
        process.wait()
    until(lambda: not Path(f"/proc/{bay}").exists() or "\nState:\tZ" in Path(f"/proc/{bay}/status").read_text())


def test_a_batch_that_is_stopped_leaves_whole_files_only(here):
    for name in ("a.dxf", "waits.dxf", "z.dxf"):
        drawing(name)
    with pytest.raises(KeyboardInterrupt), local_bays(1) as executor:
        for verdict in work_through(items(ConvertWork(("csv",)), "out"), executor):
            assert verdict.source == "d/a.dxf"
            until(Path("d/waits.dxf.pid").exists)
            raise KeyboardInterrupt
    assert files(Path("out")) == {"a.dxf/a.csv", f"a.dxf/{RECORD}"}
    assert not list(Path().rglob(".elbowroom-*"))
    Path("d/waits.dxf.go").touch()
    with local_bays(1) as executor:
        again = {one.source: one for one in work_through(items(ConvertWork(("csv",)), "out"), executor)}
    assert {source for source, verdict in again.items() if verdict.unchanged} == {"d/a.dxf"}
    assert {verdict.word for verdict in again.values()} == {"warning"}


COMMAND = "import sys; from converter.cli.main import main; sys.exit(main())"


def command(*words: str, **given):
    """A command line in a process that keeps no bytecode: a limit on the size of files would cut it, for good."""
    line = [sys.executable, "-B", "-c", COMMAND, *words]
    return subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **given)


def test_a_disk_without_room_is_told_for_each_drawing_and_leaves_nothing_half_written(tmp_path):
    """The system refuses to let a file grow past a size: what is small is written, what is larger is not."""
    (tmp_path / "d").mkdir()
    for name in ("a.dxf", "b.dxf"):
        hook(tmp_path / "d" / name, radius=114.3)

    def small_disk():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (8000, 8000))

    words = ("convert", "d", "--each", "--out", "out", "--processes", "1", "--to", "csv,dxf")
    out, err = (process := command(*words, cwd=tmp_path, preexec_fn=small_disk)).communicate(timeout=120)
    assert process.returncode == 2
    assert out.count("failed ") == 2 and "2 drawings: 2 failed" in out
    assert "The files cannot be written to 'out/a.dxf' (file too large)" in " ".join(out.split())
    assert "Traceback" not in err
    assert not any(name.endswith(("csv", "dxf")) for name in files(tmp_path / "out") if "/" in name)
    assert not list(tmp_path.rglob(".elbowroom-*"))


@pytest.mark.slow
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGKILL, -9)])
def test_a_command_that_is_stopped_leaves_whole_folders(number, status, tmp_path):
    """Whenever the signal comes; what it had done is not done again."""
    (tmp_path / "d").mkdir()
    for n in range(40):
        hook(tmp_path / "d" / f"{n:02}.dxf", radius=114.3)
    words = ("convert", "d", "--each", "--out", "out", "--to", "csv,json,dxf")
    process = command(*words, cwd=tmp_path)
    out = tmp_path / "out"
    until(lambda: len(list(out.glob("[0-9]*/*.csv"))) > 5)
    process.send_signal(number)
    _, err = process.communicate(timeout=120)
    assert process.returncode == status
    if number != signal.SIGKILL:
        assert err.splitlines()[-1] == "Interrupted; nothing more was written."
        assert not list(tmp_path.rglob(".elbowroom-*"))
    for folder in (tmp_path, out):  # as the next command that comes by does
        recover(folder)
    done = {path.name for path in out.iterdir() if not path.name.startswith(".")}
    assert 5 < len(done) < 40
    for name in done:
        stem = name.removesuffix(".dxf")
        assert files(out / name) == {f"{stem}.csv", f"{stem}.json", f"{stem}-centerline.dxf", RECORD}
    rest = [path for path in sorted((tmp_path / "d").iterdir()) if path.name not in done][:2]
    for path in (tmp_path / "d").iterdir():
        if path.name not in done and path not in rest:
            path.unlink()  # to do two of them shows what all would
    told, _ = command(*words, cwd=tmp_path).communicate(timeout=120)
    count = len(done) + len(rest)
    assert f"{count} drawings: {count} with warnings; {len(done)} had not changed" in told
    assert not list(tmp_path.rglob(".elbowroom-*"))
