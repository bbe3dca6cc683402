"""Several processes for one job: the answer of one, to the byte; errors, ends and interrupts as with one."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from io import BytesIO
from pathlib import Path

import pytest
from alone import alone
from many_tubes import different_tubes
from sheet_tools import job_of, shop

from converter.errors import ElbowroomError, GeometryError
from converter.exporters.sheet.content import job_sheet
from converter.exporters.sheet.html import html_text
from converter.exporters.solids.step_text import DrawnSolid, write_drawn
from converter.kernel.step.write import StepItem
from converter.model.metal import metal
from converter.processes import parallel

pytestmark = [
    pytest.mark.skipif(not sys.platform.startswith("linux"), reason="work stays in one process elsewhere"),
    pytest.mark.timeout(300, method="signal"),  # the usual one is a thread, beside which nothing is forked
]


@pytest.fixture
def two():
    """Two processes allowed, as the command line does in a process of its own."""
    parallel.allow(2)
    yield
    parallel.allow(1)


def no_child_is_left() -> bool:
    try:
        return os.waitpid(-1, os.WNOHANG) == (0, 0) and False
    except ChildProcessError:
        return True


@pytest.mark.parametrize("count", [0, 1, 2, 3, 7, 64, 301])
@alone
def test_results_come_in_order_and_from_other_processes(two, count):
    found = list(parallel.in_order(range(count), lambda n: (n * n, os.getpid()), least=2))
    assert [square for square, _ in found] == [n * n for n in range(count)]
    pids = {pid for _, pid in found}
    assert pids == {os.getpid()} if count == 1 else os.getpid() not in pids
    assert len(pids) == min(2, count)
    assert no_child_is_left()


@alone
def test_things_are_numbered_through_as_in_one_process(two):
    words = [f"{n}" * (n % 5) for n in range(150)]

    def numbers() -> list[tuple[str, int]]:
        return list(parallel.numbered(words, lambda w: (w, len(w)), lambda w, n: (w.upper(), n), first=7, least=2))

    found = numbers()
    assert [number for _, number in found] == [7 + sum(map(len, words[:i])) for i in range(len(words))]
    parallel.allow(1)
    assert numbers() == found


@alone
def test_few_things_stay_in_this_process(two):
    assert set(parallel.in_order(range(9), lambda _: os.getpid(), least=10)) == {os.getpid()}


def test_a_library_call_stays_in_its_process():
    assert set(parallel.in_order(range(99), lambda _: os.getpid(), least=2)) == {os.getpid()}


@alone
def test_processes_do_not_multiply(two):
    def inner(_n: int) -> tuple[int, set[int]]:
        return os.getpid(), set(parallel.in_order(range(50), lambda _: os.getpid(), least=2))

    assert all(within == {pid} for pid, within in parallel.in_order(range(8), inner, least=2))


@alone
def test_where_threads_run_nothing_is_forked(two):
    from threading import Event, Thread

    over = Event()
    thread = Thread(target=over.wait)
    thread.start()
    try:
        assert set(parallel.in_order(range(9), lambda _: os.getpid(), least=2)) == {os.getpid()}
    finally:
        over.set()
        thread.join()


@alone
def test_the_first_error_in_order_is_raised_after_what_came_before(two):
    def work(n: int) -> int:
        if n in (41, 90):
            raise GeometryError(f"tube {n} is wrong", where=f"T{n}")
        return n

    found = []
    with pytest.raises(GeometryError, match="tube 41") as caught:
        found += parallel.in_order(range(100), work, least=2)
    assert caught.value.where == "T41"
    assert no_child_is_left()


@alone
def test_an_error_that_cannot_be_pickled_is_told_in_words(two):
    class OddError(Exception):
        def __init__(self) -> None:
            super().__init__("odd")
            self.held = lambda: None

    def work(_n: int) -> int:
        raise OddError

    with pytest.raises(ElbowroomError, match="OddError: odd"):
        list(parallel.in_order(range(10), work, least=2))


@alone
def test_want_of_memory_stays_want_of_memory(two):
    def work(_n: int) -> int:
        raise MemoryError

    with pytest.raises(MemoryError):
        list(parallel.in_order(range(10), work, least=2))


@alone
def test_a_killed_process_is_one_sentence(two):
    """The system kills what takes too much memory."""

    def work(n: int) -> int:
        if n == 5:
            os.kill(os.getpid(), signal.SIGKILL)
        return n

    with pytest.raises(ElbowroomError, match="stopped by the system, most likely for want of memory") as caught:
        list(parallel.in_order(range(10), work, least=2))
    assert caught.value.code == "crashed" and "\n" not in caught.value.message
    assert no_child_is_left()


@alone
def test_a_crashed_process_is_one_sentence(two):
    """As a library that ends the program does."""
    with pytest.raises(ElbowroomError, match=r"crashed a library.*status 3"):
        list(parallel.in_order(range(10), lambda _: os._exit(3), least=2))


@pytest.mark.parametrize("ends", ["closed", "interrupted"])
@alone
def test_whoever_stops_asking_ends_the_others(two, ends):
    going = parallel.in_order(range(1000), lambda n: time.sleep(0.01) or n, least=2)
    assert next(going) == 0
    if ends == "closed":
        going.close()
    else:
        with pytest.raises(KeyboardInterrupt):
            going.throw(KeyboardInterrupt)
    assert no_child_is_left()


@alone
def test_the_end_of_a_processes_time_is_that_of_all(two):
    """What this process does at SIGXCPU tells what was used up (`converter.parallel.worker`)."""

    class UsedUpError(BaseException):
        pass

    def used_up(*_: object) -> None:
        raise UsedUpError

    before = signal.signal(signal.SIGXCPU, used_up)
    try:
        with pytest.raises(UsedUpError):
            list(parallel.in_order(range(10), lambda n: os.kill(os.getpid(), signal.SIGXCPU), least=2))
    finally:
        signal.signal(signal.SIGXCPU, before)
    assert no_child_is_left()


@alone
def test_a_step_file_has_the_same_bytes(two):
    """Places of products that another process writes among them."""
    tubes = different_tubes(30, bends=1)
    items = []
    solids = [DrawnSolid(tube.section, metal(tube.run, tube.section)) for tube in tubes]
    for i in range(90):
        shared = i % 4 == 0
        solid = (
            solids[i // 4]
            if shared
            else DrawnSolid(tubes[i % 30].section, metal(tubes[i % 30].run, tubes[i % 30].section))
        )
        items.append(StepItem(f"N{i}", solid, (0.5, 0.5, 0.1 * (i % 3)), f"P{i // 4}" if shared else None))
        if shared:
            items.append(StepItem(f"M{i}", solids[i % 3 * 4 // 4], None, "again"))

    def written(least: int) -> bytes:
        into = BytesIO()
        write_drawn(items, into, title="x", least=least)
        return into.getvalue()

    assert written(2) == written(10**6)


@alone
def test_a_sheet_has_the_same_bytes(two, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    jobs = [job_of(different_tubes(9, bends=2, seed=n), shop()) for n in (1, 2)]
    page = job_sheet(jobs)
    assert html_text(page, least=2) == html_text(page, least=10**6)


def written_by_command(folder: Path, *words: str, **environment: str) -> dict[str, bytes]:
    done = subprocess.run(
        [sys.executable, "-m", "converter", *words, "--out", str(folder)],
        check=False,
        capture_output=True,
        text=True,
        env={**os.environ, "SOURCE_DATE_EPOCH": "1700000000", **environment},
    )
    assert done.returncode in (0, 1), done.stderr
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.slow
def test_a_command_writes_the_same_files_with_one_process_and_two(tmp_path):
    from converter import Job, write

    job = Job.of_tubes(different_tubes(240, bends=1), source="many")
    job.__dict__["findings"] = ()
    [drawing] = write([job], tmp_path, ["dxf"])
    given = ("convert", str(drawing), "--section", "38.1x3mm", "--to", "step")
    one = written_by_command(tmp_path / "one", *given, "--processes", "1")
    two = written_by_command(tmp_path / "two", *given, "--processes", "2")
    assert one == two and len(one) == 1


@pytest.mark.slow
def test_ctrl_c_ends_all_processes_of_a_command(tmp_path):
    """A terminal sends it to all of them."""
    from converter import Job, write

    job = Job.of_tubes(different_tubes(60, bends=2), source="many")
    job.__dict__["findings"] = ()
    [drawing] = write([job], tmp_path, ["dxf"])
    out = tmp_path / "out"
    words = ["sheet", str(drawing), "--section", "38.1x3mm", "--to", "html", "--processes", "2", "--out", str(out)]
    command = subprocess.Popen(
        [sys.executable, "-m", "converter", *words],
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    deadline = time.monotonic() + 120.0
    while len(members(command.pid)) < 4 and command.poll() is None and time.monotonic() < deadline:
        time.sleep(0.01)
    assert len(members(command.pid)) >= 4, "never forked"
    os.killpg(command.pid, signal.SIGINT)
    _, said = command.communicate(timeout=60)
    assert command.returncode == 130
    assert "Interrupted; nothing more was written." in said and "Traceback" not in said
    assert members(command.pid) == []
    assert not out.exists() or list(out.iterdir()) == []


def members(session: int) -> list[int]:
    """Processes of a session."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                state = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(state[3]) == session and state[0] != "Z":
                found.append(int(entry.name))
    return found
