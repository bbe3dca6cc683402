"""The process that watches a command: crashes, limits, signals; and nothing in the current folder is ever run."""

from __future__ import annotations

import contextlib
import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from command_line import Outcome, files, hook, one_sentence, run
from step_tools import build
from step_tools import hook as step_hook

from converter.errors import ReadError
from converter.importers.step.read import read_step
from converter.importers.step.trial import trial_seconds
from converter.processes import allowance
from converter.processes.worker import isolated_python

MAIN = "import sys\nfrom converter.cli.main import main\n"
#: A convert that has written one file of several when it is time to stop it.
HALFWAY = (
    MAIN
    + """
import time
from converter.exporters.data import table_csv
def export(job, out, options):
    out.path("half.csv").write_text("half")
    time.sleep(100)
table_csv.export = export
sys.exit(main())
"""
)


def started(code: str, *words: object, **given: object) -> subprocess.Popen[str]:
    """Python code in a process of its own, whose arguments are ``words``."""
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        text=True,
        **given,
    )


def outcome_of(process: subprocess.Popen[str]) -> Outcome:
    try:
        out, err = process.communicate(timeout=120)
    finally:
        process.kill()
    return Outcome(process.returncode, out, err)


def command(doing: str, *words: object) -> Outcome:
    """``elbowroom table WORDS...`` whose body is ``doing``, lines of Python."""
    body = "\n    ".join(doing.splitlines())
    code = f"""{MAIN}
import os, signal, time
from converter.cli.commands import table
from converter.processes import worker
from converter.progress import begin_file
worker._GRACE = 1.0
def body(**_):
    begin_file("frame.step", "reading")
    {body}
    return 0
table.table.callback = body
sys.exit(main())
"""
    return outcome_of(started(code, "table", "frame.step", *words))


def until(true, patience: float = 60.0):
    """What ``true`` gives once it is something."""
    end = time.monotonic() + patience
    while time.monotonic() < end:
        if found := true():
            return found
        time.sleep(0.02)
    pytest.fail("it never came to that")


def child_of(process: subprocess.Popen[str]) -> int | None:
    text = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
    return int(text[0]) if text else None


def state(pid: int) -> str:
    """One letter, as ps shows it; X when there is no such process."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return "X"


# --- a violent end ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["SIGSEGV", "SIGABRT", "SIGBUS", "SIGFPE", "SIGILL"])
def test_a_crash_is_one_sentence_and_one_document(name):
    outcome = command(f"os.kill(os.getpid(), signal.{name})", "--json")
    assert outcome.status == 2
    assert outcome.json["schema"] == "elbowroom/error/1"
    error = outcome.json["error"]
    assert (error["code"], error["file"]) == ("crashed", "frame.step")
    assert one_sentence(outcome.err) == error["message"]
    assert name in error["message"] and "Reading frame.step" in error["message"]


def test_a_kill_is_put_down_to_memory():
    outcome = command("os.kill(os.getpid(), signal.SIGKILL)")
    assert (outcome.status, outcome.out) == (2, "")
    assert "stopped by the system while reading frame.step, most likely for want of memory" in one_sentence(outcome.err)


def test_a_library_that_ends_the_program_is_a_crash():
    """Its exit status is not taken for ours: 0 and 1 mean that all was done."""
    for status in (0, 1):
        outcome = command(f"os._exit({status})")
        assert outcome.status == 2
        assert f"ended the program with status {status}" in one_sentence(outcome.err)


def test_a_document_follows_nothing():
    """What stands on standard output already is not made worse by a second document."""
    outcome = command("sys.stdout.write('[')\nsys.stdout.flush()\nos.abort()", "--json")
    assert (outcome.status, outcome.out) == (2, "[")
    assert "crashed" in one_sentence(outcome.err)
    outcome = command("sys.stdout.write('[')\nos.abort()", "--json")  # never left the process
    assert outcome.json["error"]["code"] == "crashed"


def test_writing_that_crashes_does_not_blame_the_file():
    outcome = command("begin_file('frame.step', 'writing')\nos.abort()")
    said = one_sentence(outcome.err)
    assert "Writing what comes of frame.step crashed" in said and "damaged" not in said


# --- limits -------------------------------------------------------------------------------------


def test_python_that_never_ends_is_stopped_and_cleans_up(tmp_path):
    doing = f"""
from converter.exporters.files import OutputSet
with OutputSet({str(tmp_path)!r}) as out:
    out.path("half.csv").write_text("half")
    while True:
        try:
            sum(range(1000))
        except Exception:
            continue"""
    outcome = command(doing, "--limit-time", "1", "--json")
    assert outcome.status == 2
    assert outcome.json["error"]["code"] == "limit-time"
    assert "frame.step takes more than 1 s" in one_sentence(outcome.err) and "--limit-time" in outcome.err
    assert files(tmp_path) == set() and list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_library_that_never_returns_is_killed():
    """A sum in C looks at no signal."""
    outcome = command("sum(range(10**13))", "--limit-time", "1")
    assert (outcome.status, outcome.out) == (2, "")
    assert "frame.step takes more than 1 s" in one_sentence(outcome.err)


@pytest.mark.slow
def test_a_library_that_turns_the_end_of_time_into_its_own_error_is_not_believed():
    doing = """
try:
    while True: pass
except BaseException as error:
    raise ImportError("initialization failed") from None"""
    assert "frame.step takes more than 1 s" in one_sentence(command(doing, "--limit-time", "1").err)


@pytest.mark.slow
def test_every_input_has_its_own_time():
    doing = """
import resource
def left():
    return resource.getrlimit(resource.RLIMIT_CPU)[0] - time.process_time(), signal.getitimer(signal.ITIMER_PROF)[0]
while time.process_time() < 1.2: pass
print(*left())
begin_file("other.step", "reading")
print(*left())"""
    before, after = ([float(x) for x in line.split()] for line in command(doing, "--limit-time", "3").out.splitlines())
    assert before[0] < 3.0 <= after[0] < 4.1
    assert before[1] < 4.0 < after[1] < 5.1


def test_memory_without_end_is_stopped():
    doing = "held = []\nwhile True: held.append(bytearray(20_000_000))"
    outcome = command(doing, "--limit-memory", "500MB", "--json")
    assert outcome.status == 2
    assert (outcome.json["error"]["code"], outcome.json["error"]["file"]) == ("limit-memory", "frame.step")
    said = one_sentence(outcome.err)
    assert "frame.step takes more than 500 MB of memory" in said and "--limit-memory" in said


def test_want_of_memory_is_told_as_such_whatever_became_of_it():
    hidden = "from converter.errors import ReadError\ntry:\n    bytearray(10**15)\nexcept MemoryError as error:\n"
    outcome = command(hidden + "    raise ReadError('frame.step is damaged.') from error", "--json")
    assert outcome.json["error"]["code"] == "limit-memory"
    broken = "held = bytearray(450_000_000)\nheld[::4096] = bytes(len(held[::4096]))\nos.abort()"
    assert "memory" in one_sentence(command(broken, "--limit-memory", "500MB").err)
    large = bytearray(700_000_000)  # whoever starts the command is large: no matter of the command's
    large[::4096] = b"1" * len(large[::4096])
    assert "memory" in one_sentence(command(broken, "--limit-memory", "500MB").err)
    del large


def test_none_lifts_the_limits():
    doing = """
import resource
print(resource.getrlimit(resource.RLIMIT_CPU)[0], resource.getrlimit(resource.RLIMIT_DATA)[0],
    signal.getitimer(signal.ITIMER_PROF)[0])"""
    assert command(doing, "--limit-time", "none", "--limit-memory", "none").out == "-1 -1 0.0\n"
    seconds, memory, timer = map(float, command(doing).out.split())
    assert (1800 <= seconds <= 1801, timer) == (True, pytest.approx(1802.0, abs=0.5))
    assert 0 < memory <= 4e9


@pytest.mark.parametrize(
    "words",
    [("--limit-time", x) for x in ("0", "-3", "nan", "inf", "soon")]
    + [("--limit-memory", x) for x in ("0", "-3GB", "nanGB", "1e400GB", "4", "10MB", "much")],
)
def test_a_limit_that_is_none_is_refused(words, capsys):
    outcome = run(capsys, "table", "x.dxf", *words)
    assert outcome.status == 2
    assert words[0] in one_sentence(outcome.err)


def test_a_caller_in_the_same_process_is_not_limited(tmp_path, capsys):
    def limits():
        return resource.getrlimit(resource.RLIMIT_CPU), resource.getrlimit(resource.RLIMIT_DATA)

    before = limits()
    drawing = hook(tmp_path / "hook.dxf")
    assert run(capsys, "table", drawing, "--limit-time", "1", "--limit-memory", "500MB").status == 0
    assert (limits(), signal.getitimer(signal.ITIMER_PROF)) == (before, (0.0, 0.0))


def test_a_trial_keeps_the_limits():
    """Those of the process that tries a file, or the usual ones where it has none."""
    code = """
import math, resource, time
from converter.importers.step import read as step
def shown(*_, **__):
    limits = [resource.getrlimit(one)[0] for one in (resource.RLIMIT_CPU, resource.RLIMIT_DATA)]
    print(*limits, math.ceil(time.process_time()))
step.read_step = shown
step.read_for_trial(bounded={})"""

    def limits(bounded, **given):
        done = subprocess.run(
            isolated_python(code.format(bounded)), input="", capture_output=True, text=True, check=True, **given
        )
        return [int(word) for word in done.stdout.split()]

    seconds, memory, spent = limits(bounded=False)
    # those of an empty file, which are less than the usual ones, besides what it took to start
    assert trial_seconds(0) < seconds <= trial_seconds(0) + spent < allowance.SECONDS and 0 < memory <= 4e9

    def limited():
        resource.setrlimit(resource.RLIMIT_CPU, (7, 999))
        resource.setrlimit(resource.RLIMIT_DATA, (3 * 10**9, 9 * 10**9))

    assert limits(bounded=True, preexec_fn=limited)[:2] == [7, 3 * 10**9]


# --- signals ------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_what_hears_no_signal_is_ended_all_the_same(number):
    """A library in C++ that never returns: Ctrl-C was handed on to it for ever, and nothing came of it."""
    code = """
import signal, sys, time
from converter.cli import supervise
supervise._GRACE = 0.3
def deaf():
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
    print("begun", flush=True)
    while True:
        time.sleep(1)
sys.exit(supervise.supervised(deaf, lambda error, begun: 9))"""
    with subprocess.Popen(isolated_python(code), stdout=subprocess.PIPE, start_new_session=True) as process:
        assert process.stdout.readline() == b"begun\n"
        os.kill(process.pid, number)
        assert process.stdout.read() == b"", "ends once both processes have"
        assert process.wait(60) == 128 + number


@pytest.fixture
def halfway(tmp_path):
    """A convert that has begun to write to tmp_path/out, and ends with the test."""
    hook(tmp_path / "hook.dxf")
    begun = []

    def start(words=("--out", "out"), **given):
        begun.append(started(HALFWAY, "convert", "hook.dxf", *words, "--to", "csv", cwd=tmp_path, **given))
        until(lambda: begun[-1].poll() is not None or list(tmp_path.glob(".elbowroom-*/half.csv")))
        assert begun[-1].poll() is None, begun[-1].communicate()
        return begun[-1]

    yield start
    for process in begun:
        # the child first: stopped, it would outlive its parent and hold the pipes open for ever
        for pid in filter(None, (child_of(process) if process.poll() is None else None, process.pid)):
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        process.communicate(timeout=120)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "status"), [("SIGINT", 130), ("SIGTERM", 143), ("SIGHUP", 129)])
def test_asked_to_stop_it_leaves_nothing_behind(halfway, tmp_path, name, status):
    process = halfway()
    child = child_of(process)
    process.send_signal(getattr(signal, name))
    process.send_signal(getattr(signal, name))  # as when a terminal and a program both send it
    outcome = outcome_of(process)
    assert (outcome.status, outcome.out) == (status, "")
    assert outcome.err.splitlines()[-1] == "Interrupted; nothing more was written."
    assert "Traceback" not in outcome.err
    assert [path.name for path in tmp_path.iterdir()] == ["hook.dxf"]
    assert state(child) == "X"


def test_a_command_whose_parent_is_killed_stops_by_itself(halfway, tmp_path):
    process = halfway()
    child = child_of(process)
    process.kill()
    until(lambda: state(child) in "XZ")
    assert [path.name for path in tmp_path.iterdir()] == ["hook.dxf"]


@pytest.mark.parametrize("words", [("--out", "out"), ("--out", "-")], ids=["folder", "standard output"])
def test_a_violent_end_leaves_nothing_behind(halfway, tmp_path, words):
    """A crash, or an end from outside, of the process that writes: the one that waits clears what it began."""
    process = halfway(words=words, env=os.environ | {"TMPDIR": str(tmp_path)})
    os.kill(child_of(process), signal.SIGKILL)
    outcome = outcome_of(process)
    assert (outcome.status, outcome.out) == (2, "") and "stopped by the system" in one_sentence(outcome.err)
    assert [path.name for path in tmp_path.iterdir()] == ["hook.dxf"]


def test_stop_and_go(halfway):
    """Ctrl-Z stops both processes and fg goes on with both."""
    process = halfway(process_group=0)
    both = (process.pid, child_of(process))
    os.killpg(process.pid, signal.SIGTSTP)
    until(lambda: {state(pid) for pid in both} == {"T"})
    os.killpg(process.pid, signal.SIGCONT)
    until(lambda: {state(pid) for pid in both} == {"S"})
    process.terminate()
    assert outcome_of(process).status == 143


def test_what_nohup_ignores_stays_ignored(halfway):
    process = halfway(preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN))
    child = child_of(process)
    process.send_signal(signal.SIGHUP)
    os.kill(child, signal.SIGHUP)
    time.sleep(0.2)
    assert (state(process.pid), state(child)) == ("S", "S")
    process.terminate()
    assert outcome_of(process).status == 143


def test_streams_are_those_of_the_caller(tmp_path):
    """Standard input is read, status and output come through, a closed stream disturbs nothing."""
    drawing = hook(tmp_path / "hook.dxf").read_bytes()
    given = {"input": drawing, "capture_output": True, "cwd": tmp_path}
    done = subprocess.run([sys.executable, "-m", "converter", "table", "-", "--json"], check=False, **given)
    assert (done.returncode, json.loads(done.stdout)["tubes"][0]["bends"][0]["clr"]) == (0, pytest.approx(100.0))
    script = f"exec {sys.executable} -m converter table - <&- >&- 2>&-"
    assert subprocess.run(["sh", "-c", script], timeout=60, check=False, cwd=tmp_path).returncode in (1, 2)


# --- what a STEP file can do to the kernel ------------------------------------------------------

GOOD = build(step_hook())


def with_entities(*lines: str, roots: str = "") -> str:
    text = GOOD.replace("(#110,#116,#123)", f"(#110,#116,#123{roots})")
    return text.replace("ENDSEC;\nEND-ISO", "\n".join(lines) + "\nENDSEC;\nEND-ISO")


BEYOND = {
    "deep": (with_entities(f"#900=CARTESIAN_POINT('',{'(' * 70_000}0.{')' * 70_000});"), "parentheses 70,001 deep"),
    "open": (with_entities(f"#900=CARTESIAN_POINT('',{'(' * 70_000}0.);"), "parentheses 70,001 deep"),
    "text": (with_entities(f"#900=CARTESIAN_POINT('{'x(' * 8_001}',(0.,0.,0.));"), "a text of 16,002 bytes in #900"),
    "number": (
        with_entities(f"#900=CARTESIAN_POINT('',({'1' * 40_000}.,0.,0.));"),
        "a word or number of 40,001 bytes in #900",
    ),
    "word": (with_entities(f"#900={'A' * 16_001}('');"), "a word or number of 16,001 bytes in #900"),
    "types": (
        with_entities(f"#900=({' '.join(f'A{i}()' for i in range(1_001))});"),
        "an entity of 1,001 types at once in #900",
    ),
}


@pytest.mark.parametrize("kind", BEYOND)
def test_a_structure_beyond_reason_never_reaches_the_kernel(tmp_path, monkeypatch, kind):
    from converter.kernel.step import read as step_read

    monkeypatch.setattr(step_read, "load_step", lambda *_: pytest.fail("the kernel was given it"))
    text, says = BEYOND[kind]
    (tmp_path / "x.step").write_text(text)
    with pytest.raises(ReadError) as caught:
        read_step(tmp_path / "x.step")
    assert caught.value.code == "damaged-file"
    assert f"x.step is damaged: it holds {says}" in caught.value.message


def test_what_only_looks_like_it_is_read(tmp_path):
    """Signs within texts and comments count for nothing, and unbalanced ones not beyond their entity."""
    texts = [f"#{900 + i}=CARTESIAN_POINT('{'(' * 200}=;''{i}',(0.,0.,0.));" for i in range(40)]
    comment = f"/* it's {'(' * 20_000} */"
    (tmp_path / "x.step").write_text(with_entities(comment, *texts, comment))
    drawing = read_step(tmp_path / "x.step")
    assert (len(drawing.curves), drawing.findings) == (3, [])


@pytest.mark.slow
def test_as_much_as_is_allowed_is_read(tmp_path):
    long = "x" * 15_990
    nested = f"#901=CARTESIAN_POINT('',{'(' * 98}0.{')' * 98});"
    (tmp_path / "x.step").write_text(with_entities(f"#900=CARTESIAN_POINT('{long}',(0.,0.,0.));", nested))
    assert len(read_step(tmp_path / "x.step").curves) == 3


def test_too_many_entities(tmp_path, monkeypatch):
    from converter.importers.step import bounds as step_check

    monkeypatch.setattr(step_check, "MOST_ENTITIES", 20)
    (tmp_path / "x.step").write_text(GOOD.replace("'rail'", "'====='"))
    with pytest.raises(ReadError, match=rf"holds {GOOD.count('=')} entities, and 20 are the most") as caught:
        read_step(tmp_path / "x.step")
    assert caught.value.code == "too-large"


@pytest.mark.slow
def test_the_bounds_are_looked_at_in_linear_time():
    """Four times the text takes about four times as long, of whatever it consists."""
    from converter.importers.step.bounds import _without_comments, check_bounds

    def took(data: bytes) -> float:
        best = float("inf")
        for _ in range(3):
            begin = time.process_time()
            with contextlib.suppress(ReadError):
                check_bounds(_without_comments(data), "x")
            best = min(best, time.process_time() - begin)
        return best

    for piece in (b"'", b"''", b"/*", b"*/", b"/**/", b"'/*", b"(", b"=(", b"();", b"x" * 15_999 + b",", b"= ", b"'a"):
        small, large = (piece * (n // len(piece)) for n in (400_000, 1_600_000))
        assert took(large) < 12.0 * took(small) + 0.02, piece


@pytest.mark.slow
def test_a_chain_that_crashes_the_kernel_is_one_sentence(tmp_path):
    """A hundred thousand curves, each an offset of the next, which the kernel follows by recursion."""
    n = 100_000
    chain = [f"#{1000 + i}=OFFSET_CURVE_3D('',#{1001 + i},1.,.F.,#120);" for i in range(n)]
    text = with_entities(*chain, f"#{1000 + n}=LINE('',#103,#121);", roots=",#1000")
    (tmp_path / "x.step").write_text(text)
    process = started(f"{MAIN}sys.exit(main())", "table", tmp_path / "x.step", "--json")
    outcome = outcome_of(process)
    assert outcome.status == 2
    assert outcome.json["error"]["code"] == "damaged-file"  # it was tried out in a process of its own
    assert "x.step" in (said := one_sentence(outcome.err)) and "CAD kernel" in said


# --- nothing in the current folder is run -------------------------------------------------------

PLANTS = ("converter/__init__.py", "numpy.py", "OCP.py", "json.py", "click.py", "sitecustomize.py", "usercustomize.py")
#: The kernel sees that it is malformed, so that it is tried out in a process of its own first.
MALFORMED = GOOD.replace("#122=LINE('',#103,#121)", "#122=LINE('',#121,#103)")


@pytest.fixture
def planted(tmp_path):
    """A folder of modules that write what they are into a file; and that file."""
    folder, witness = tmp_path / "folder", tmp_path / "witness"
    for name in PLANTS:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(f"open({str(witness)!r}, 'a').write({name!r} + '\\n')\n")
    (folder / "x.step").write_text(MALFORMED)
    return folder, witness


def test_the_plants_would_bite(planted):
    folder, witness = planted
    subprocess.run([sys.executable, "-c", "import json, converter"], cwd=folder, check=True)
    assert set(witness.read_text().split()) == {"json.py", "converter/__init__.py"}


@pytest.mark.slow
def test_the_command_runs_nothing_of_the_current_folder(planted, tmp_path):
    """Neither in the process that is started, as installers write its script, nor in the trial of a malformed file."""
    folder, witness = planted
    script = tmp_path / "bin" / "elbowroom"
    script.parent.mkdir()
    script.write_text(f"{MAIN}sys.exit(main())\n")
    surroundings = {**os.environ, "PYTHONSTARTUP": str(folder / "json.py")}
    surroundings.pop("PYTHONPATH", None)
    done = subprocess.run(
        [sys.executable, script, "table", "x.step"], cwd=folder, env=surroundings, capture_output=True, check=False
    )
    assert (done.returncode, b"malformed in places" in done.stdout, witness.exists()) == (0, True, False)


@pytest.mark.slow
def test_a_trial_runs_nothing_that_its_surroundings_name(planted, monkeypatch):
    folder, witness = planted
    monkeypatch.chdir(folder)
    for name in ("PYTHONPATH", "PYTHONHOME", "PYTHONUSERBASE"):
        monkeypatch.setenv(name, str(folder))
    monkeypatch.setenv("PYTHONSTARTUP", str(folder / "json.py"))
    monkeypatch.setenv("PYTHONINSPECT", "1")
    assert [finding.code for finding in read_step("x.step").findings] == ["file-repaired"]
    assert not witness.exists()


@pytest.mark.parametrize("keeps_none", [True, False])
def test_an_isolated_python_keeps_bytecode_where_this_one_does(monkeypatch, keeps_none):
    monkeypatch.setattr(sys, "dont_write_bytecode", keeps_none)
    command = isolated_python("print(sys.dont_write_bytecode)")
    assert subprocess.run(command, capture_output=True, text=True, check=True).stdout == f"{keeps_none}\n"


def test_a_trial_finds_the_package_and_what_it_needs_where_we_did(planted, monkeypatch):
    """Also where no interpreter would look by itself, as for a package that PYTHONPATH led to."""
    import numpy

    import converter

    folder, witness = planted
    monkeypatch.chdir(folder)
    command = isolated_python("import converter, numpy; print(converter.__file__, numpy.__file__)")
    command.insert(2, "-S")  # no folder of installed packages
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [converter.__file__, numpy.__file__]
    assert not witness.exists()
