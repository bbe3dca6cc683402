"""Long work on a terminal: loops say how far they are, one line shows it and goes without a trace, Ctrl-C stops."""

from __future__ import annotations

import re
from pathlib import Path

import ezdxf
import pytest
from command_line import files
from terminal import PROCESS, in_terminal, piped

from converter.cli import console as console_module
from converter.cli.console import ProgressBar
from converter.progress import listening, steps

#: A command that works for 2.25 s in 30 steps, in its own process: python -c SCRIPT [quiet|json|fail]. Half-way it
#: waits for the bar where there is to be one: on a busy machine what draws it takes long to load.
SCRIPT = """
import sys, time
from converter.cli.console import Console
from converter.cli.main import main
from converter.progress import _LISTENER, steps
told = sys.argv[1:]
with Console(quiet="quiet" in told, as_json="json" in told).progress("trying \\x1b[2J out"):
    bar = _LISTENER.get()
    for k in steps(range(30), "sticks"):
        time.sleep(0.05 if k < 15 else 0.1)
        while k == 15 and bar is not None and bar._shown is None:
            time.sleep(0.05)
        if "fail" in told and k == 25:
            raise SystemExit("it failed")
print("the result")
"""


class Heard:
    """Writes down what a listener is told."""

    def __init__(self) -> None:
        self.told: list[tuple[object, ...]] = []

    def enter(self, what: str, total: int | None) -> int:
        mark = len(self.told)
        self.told.append(("enter", what, total, mark))
        return mark

    def step(self, mark: int, done: int) -> None:
        self.told.append(("step", mark, done))

    def leave(self, mark: int) -> None:
        self.told.append(("leave", mark))


def _unequal_tubes(count: int, path: Path) -> Path:
    """A drawing of so many tubes of two bends each."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    for k in range(count):
        y, given = 1000.0 * k, {"layer": "TUBE"}
        model.add_line((0, y), (300, y), dxfattribs=given)
        model.add_arc((300, y + 152.4), 152.4, 270, 0, dxfattribs=given)
        model.add_line((452.4, y + 152.4), (452.4, y + 452.4), dxfattribs=given)
        model.add_arc((604.8, y + 452.4), 152.4, 90, 180, dxfattribs=given)
        model.add_line((604.8, y + 604.8), (904.8 + k, y + 604.8), dxfattribs=given)
    doc.saveas(path)
    return path


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """60 unequal tubes: some work whatever is asked of them."""
    return _unequal_tubes(60, tmp_path_factory.mktemp("many") / "many.dxf")


@pytest.fixture(scope="module")
def crowd(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """300 of them: seconds of work when their profiles are written."""
    return _unequal_tubes(300, tmp_path_factory.mktemp("crowd") / "crowd.dxf")


def frames(sent: str) -> list[str]:
    """Every state of the line, without colours."""
    return [line for line in re.split(r"\r|\n|\x1b\[2K", re.sub(r"\x1b\[[0-9;]*m", "", sent)) if "trying" in line]


# --- telling -----------------------------------------------------------------------------------------------------


def test_without_a_listener_a_loop_is_what_it_was():
    things = ["a", "b"]
    assert steps(things, "things") is things


def test_a_loop_is_entered_stepped_through_and_left():
    heard = Heard()
    with listening(heard):
        assert list(steps("ab", "letters")) == ["a", "b"]
        assert list(steps(iter("c"), "more")) == ["c"]
        assert list(steps(iter("d"), "known", 1)) == ["d"]
    assert heard.told == [
        ("enter", "letters", 2, 0), ("step", 0, 0), ("step", 0, 1), ("leave", 0),
        ("enter", "more", None, 4), ("step", 4, 0), ("leave", 4),
        ("enter", "known", 1, 7), ("step", 7, 0), ("leave", 7),
    ]  # fmt: skip
    assert steps("ab", "letters") == "ab", "it listens no more"


def test_a_loop_that_fails_is_left():
    heard = Heard()
    with listening(heard), pytest.raises(ZeroDivisionError):
        for k in steps([1, 0], "quotients"):
            1 / k
    assert heard.told[-1] == ("leave", 0)


@pytest.mark.slow
def test_the_library_tells_of_its_long_loops(many, tmp_path):
    """Reducing, checking, setting up and writing; each says how many of the 60 there are."""
    from converter import Settings, open_job, write

    heard = Heard()
    with listening(heard):
        job = open_job(str(many), Settings(sections=("44.45x3mm",)))
        assert job.findings
        write([job], str(tmp_path / "out"), ["dxf", "template", "wires"])
    loops = [one[1:3] for one in heard.told if one[0] == "enter"]
    for what in ("tubes", "tubes set up", "tubes checked", "centerlines"):
        assert (what, 60) in loops
    assert ("templates", len(job.parts)) in loops, "equal tubes share one"
    assert ("formats", 3) in loops
    assert sum(one[0] == "leave" for one in heard.told) == len(loops)


# --- what the line says --------------------------------------------------------------------------------------------


def test_the_line_shows_the_innermost_loop_that_lasts(monkeypatch):
    clock = [0.0]
    monkeypatch.setattr(console_module, "monotonic", lambda: clock[0])
    one = ProgressBar("reading")
    assert one.now() == ("reading", None)
    outer = one.enter("files", 5)
    one.step(outer, 1)
    inner = one.enter("runs", 200)
    one.step(inner, 40)
    text, loop = one.now()
    assert (text, loop.what, loop.done) == ("reading", "files", 1), "a loop that just began does not take over"
    clock[0] = 1.0
    text, loop = one.now()
    assert (text, loop.what, loop.done, loop.total) == ("reading, files 2 of 5", "runs", 40, 200)
    one.leave(inner)
    assert one.now()[1].what == "files"
    one.leave(outer)
    assert one.now() == ("reading", None)


def test_a_loop_over_one_thing_is_not_worth_a_line():
    one = ProgressBar("reading a.dxf")
    one.enter("files", 1)
    assert one.now() == ("reading a.dxf", None)


def test_work_that_is_soon_done_shows_nothing(monkeypatch, capsys):
    """Not even what draws is loaded: the watch is stopped before it goes off."""
    monkeypatch.setattr(console_module, "PATIENCE", 60.0)
    with ProgressBar("reading a.dxf") as one:
        assert list(steps("ab", "letters")) == ["a", "b"]
    one._timer.join(60.0)
    assert not one._timer.is_alive() and one._shown is None
    assert capsys.readouterr() == ("", "")


# --- on a terminal -------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_it_shows_after_a_while_counts_and_goes():
    shown = in_terminal([], program=["-c", SCRIPT])
    assert shown.status == 0 and shown.screen == ["the result", ""]
    counts = [int(found[1]) for line in frames(shown.sent) if (found := re.search(r"(\d+) of 30 sticks", line))]
    assert len(set(counts)) > 3 and counts == sorted(counts)
    assert counts[0] > 0, "nothing shows at once"
    assert "trying [U+001B][2J out" in shown.sent and "\x1b[2J" not in shown.sent, (
        "no control character of a name gets through"
    )
    assert "\x1b[?25l" not in shown.sent, "the cursor is never hidden, so it cannot stay so"


@pytest.mark.slow
def test_it_goes_when_the_work_fails():
    shown = in_terminal(["fail"], program=["-c", SCRIPT])
    assert frames(shown.sent) and shown.status == 1 and shown.screen == ["it failed", ""]


@pytest.mark.slow
@pytest.mark.parametrize(("told", "environment"), [("quiet", {}), ("json", {}), ("", {"TERM": "dumb"})])
def test_it_stays_away(told, environment):
    shown = in_terminal([told], program=["-c", SCRIPT], **environment)
    assert shown.status == 0 and shown.sent == "the result\r\n"


@pytest.mark.slow
def test_it_stays_away_from_pipes_and_files(tmp_path):
    assert piped([], program=["-c", SCRIPT]) == (0, "the result\n", "")
    with open(tmp_path / "errors", "wb") as errors:
        shown = in_terminal([], program=["-c", SCRIPT], errors_to=errors.fileno())
    assert shown.sent == "the result\r\n" and (tmp_path / "errors").read_bytes() == b""


@pytest.mark.slow
def test_a_terminal_of_few_signs_gets_a_bar_of_few_signs():
    shown = in_terminal([], program=["-c", SCRIPT], PYTHONIOENCODING="ascii", NO_COLOR="1")
    assert frames(shown.sent) and shown.sent.isascii() and shown.colours == set()


@pytest.mark.slow
def test_a_long_job_shows_its_formats_and_leaves_only_the_result(crowd, tmp_path):
    command = ["convert", crowd, "--section", "44.45x3mm", "--to", "profile", "--out", tmp_path / "out"]
    shown = in_terminal([*command, "--quiet"], program=PROCESS, columns=120)
    assert "of 300" not in shown.sent
    shown = in_terminal([*command, "--force"], program=PROCESS, columns=120)
    assert shown.status == 0
    assert re.search(r"\d+ of 300 profiles", shown.sent)
    assert not any("of 300" in line or "━" in line for line in shown.screen)
    assert shown.screen[-2].endswith("crowd-profile.dxf")


@pytest.mark.slow
def test_interrupted_it_says_so_and_leaves_nothing(crowd, tmp_path):
    command = ["convert", crowd, "--section", "44.45x3mm", "--to", "profile", "--out", tmp_path / "out"]
    shown = in_terminal(command, program=PROCESS, columns=120, after=lambda sent: "of 300" in sent)
    assert shown.status == 130
    assert [line for line in shown.screen if line.strip() and line != "^C"] == [
        "Interrupted; nothing more was written."
    ]
    assert files(tmp_path) == set() and list(tmp_path.iterdir()) == []
