"""The same input gives the same bytes: in any process, on any day, wherever and however the command is run."""

from __future__ import annotations

import ast
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import ezdxf
import ezdxf.document
import pytest
from command_line import failed, files, hook
from command_line import run as command
from frames import draw, rack
from places import ROOT

from converter.dates import LAST, file_time, fixed_time, sheet_date
from converter.demo.dxf_drawing import drawing_text
from converter.errors import OptionError
from converter.exporters.dxf.page import DxfPage, Layer, steady
from converter.exporters.registry import FORMATS

FIXTURES = ROOT / "fixtures"
#: The date in files for which none was set: with it as SOURCE_DATE_EPOCH they are what they are without.
YEAR_2000 = "946684800"
SIZES = ["--section", "RAIL=44.45x3.048mm", "--section", "Ступень=38.1x2.413mm"]

#: Runs commands in one process, once or again, each time in a new copy of a folder; tells a hash of every file they
#: made and of what they said. Of the HTML sheet what counts is all but the day, which is today's where none is set.
CHILD = """
import contextlib, hashlib, io, json, os, pathlib, shutil, sys
from converter.cli.main import main
from converter.dates import sheet_date
if os.environ.get("ONE_PROCESSOR") and hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
start = pathlib.Path.cwd()
given = {path.name for path in (start / "given").iterdir()}
told = []
for number in range(int(sys.argv[2])):
    folder = start / f"round {number}"
    shutil.copytree(start / "given", folder)
    os.chdir(folder)
    day = b">" + sheet_date().isoformat().encode() + b"<"
    for k, words in enumerate(json.loads(sys.argv[1])):
        out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="")
        with contextlib.redirect_stdout(out):
            status = main(words)
        assert status in (0, 1), (status, words)
        out.flush()
        (folder / f"said-{k}").write_bytes(out.buffer.getvalue())
    hashes = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name not in given:
            data = path.read_bytes()
            hashes[name] = hashlib.sha256(data.replace(day, b">DAY<") if name.endswith(".html") else data).hexdigest()
    told.append(hashes)
print("RESULT " + json.dumps(told))
"""


@dataclass(frozen=True)
class Around:
    """What is around a process and is no input.

    Attributes:
        folder: name of its folder.
        seed: of Python's hashes.
        environment: besides.
        epoch: SOURCE_DATE_EPOCH, or None where it is not set.
        litter: files in the current folder that the program must not take for its own.
        rounds: how often it runs the commands.
    """

    folder: str
    seed: str
    environment: dict[str, str] = field(default_factory=dict)
    epoch: str | None = YEAR_2000
    litter: tuple[str, ...] = ()
    rounds: int = 1


#: Of the seeds, 0 and 4 would put the classes of a DXF in two orders.
AROUND = (
    Around("here", "0", {"TZ": "UTC", "LANG": "C.UTF-8", "LC_ALL": "C.UTF-8"}),
    Around(
        "in a folder of a much longer name",
        "4",
        {"TZ": "Pacific/Kiritimati", "LANG": "C", "LC_ALL": "C", "COLUMNS": "61", "ONE_PROCESSOR": "1"}
        | dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"),
        litter=("Vera.ttf", "VeraBd.ttf", "DejaVuSans.ttf", "shop.toml", "job.toml"),
    ),
    Around("undated", "random", {"TZ": "America/Los_Angeles", "LANG": "de_DE.UTF-8"}, epoch=None, rounds=2),
)


def frame(path: Path) -> Path:
    """Two hoops tied by a rung: two joints; the layer of the rung is in letters that not every font has."""
    draw(rack(2)[:3], path)
    document = ezdxf.readfile(path)
    for piece in document.modelspace():
        if piece.dxf.layer == "RUNG":
            piece.dxf.layer = "Ступень"
    document.saveas(path)
    return path


def told_by_child(around: Around, commands: list[list[str]], drawing: Path, folder: Path) -> list[dict[str, str]]:
    """What each round of a child process made: file name -> hash."""
    own = folder / around.folder
    (own / "given").mkdir(parents=True)
    (own / "tmp").mkdir()
    shutil.copy(drawing, own / "given" / "frame.dxf")
    for name in around.litter:
        (own / "given" / name).write_text("not what it is called", encoding="ascii")
    replaced = {"SOURCE_DATE_EPOCH", "TZ", "LANG", "LC_ALL", "COLUMNS"}
    environment = {key: value for key, value in os.environ.items() if key not in replaced}
    environment |= {"PYTHONHASHSEED": around.seed, "TMPDIR": str(own / "tmp"), "HOME": str(own), **around.environment}
    if around.epoch is not None:
        environment["SOURCE_DATE_EPOCH"] = around.epoch
    done = subprocess.run(
        [sys.executable, "-c", CHILD, json.dumps(commands), str(around.rounds)],
        cwd=own,
        env={**environment, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    rounds: list[dict[str, str]] = json.loads(done.stdout.rsplit("RESULT ", 1)[1])
    return rounds


def the_same_everywhere(commands: list[list[str]], folder: Path) -> set[str]:
    """Run commands in all surroundings, hold every file of every round to one content; return the files' names."""
    drawing = frame(folder / "frame.dxf")
    first: dict[str, str] = {}
    for around in AROUND:
        rounds = told_by_child(around, commands, drawing, folder)
        undated = rounds[0]
        for number, got in enumerate(rounds):
            first = first or got
            assert sorted(got) == sorted(first)
            differ = [name for name in first if got[name] != first[name]]
            if around.epoch is None:  # what is printed shows today; a PDF's id depends on whether a date is set
                dated = (".pdf", "-copes.dxf", "-template.dxf")
                differ = [name for name in differ if not name.endswith(dated) or got[name] != undated[name]]
            assert differ == [], f"other bytes {around.folder}, round {number}"
    return set(first)


@pytest.mark.slow
def test_every_format_in_any_process(tmp_path):
    """Formats come from the registry; besides what the reading commands say, and the drawing of the demo.

    First what loads nothing heavy. The kernel orders some things by their addresses and counts others through the life
    of a process.
    """
    drawings = [str(FIXTURES / "dxf" / name) for name in ("librecad-mixed.dxf", "freecad-body.dxf")]
    readable = ["step/solid-freecad-rack.step", "step/gmsh-wires.step", "mesh/freecad-tube.stl"]
    names = the_same_everywhere(
        [
            ["cope", "frame.dxf", *SIZES, "--json"],
            ["setup", "frame.dxf", *SIZES, "--json"],
            *(["audit", drawing, "--json"] for drawing in drawings),
            ["demo", "--out", "demo", "--to", "csv"],
            ["convert", "frame.dxf", *SIZES, "--to", "all", "--out", "out"],
            ["convert", "frame.dxf", *SIZES, "--to", "step,wires,3mf", "--file-each", "--out", "each"],
            ["cope", "frame.dxf", *SIZES, "--out", "copes", "--to", "cope-pdf", "--json"],
            *(["table", str(FIXTURES / name), "--json"] for name in readable),
        ],
        tmp_path,
    )
    assert {Path(name).suffix for name in names if name.startswith("out/")} == {one.ending for one in FORMATS}
    assert sum(name.endswith(".step") for name in names) >= 3 + 2 * 3
    assert {"demo/boathouse.dxf", "said-10"} <= names


# --- dates ---------------------------------------------------------------------------------------------------------


def test_a_date_that_is_set_is_the_date_of_sheets_and_files(monkeypatch):
    """2025-03-09T00:00:00Z is 20156 days of 86400 s after 1970 began."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(20156 * 86400 + 3661))
    assert sheet_date() == date(2025, 3, 9)
    assert file_time() == "2025-03-09T01:01:01Z"
    for last in (LAST, 0):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", str(last))
        assert fixed_time().timestamp() == last


@pytest.mark.parametrize("unset", [None, ""])
def test_without_one_only_the_sheet_knows_the_day(monkeypatch, unset):
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    if unset is not None:
        monkeypatch.setenv("SOURCE_DATE_EPOCH", unset)
    before = date.today()
    assert before <= sheet_date() <= date.today()
    assert file_time() == "2000-01-01T00:00:00Z"


ODD = ["soon", "-1", "٣", "1.5", " 5", "1e9", str(LAST + 1), "9" * 5000]


@pytest.mark.parametrize("odd", ODD)
def test_a_date_that_is_none_is_refused(monkeypatch, odd):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", odd)
    with pytest.raises(OptionError, match="SOURCE_DATE_EPOCH") as caught:
        fixed_time()
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    "words",
    [
        ("convert", "hook.dxf", "--to", "csv", "--out", "out"),
        ("convert", "hook.dxf", "--to", "sheet-pdf", "--section", "25x2mm", "--out", "out"),
        ("sheet", "hook.dxf", "--section", "25x2mm", "--out", "out"),
        ("cope", "hook.dxf", "--section", "25x2mm", "--out", "out"),
        ("demo", "--out", "out"),
    ],
)
def test_a_date_that_is_none_stops_whatever_writes(monkeypatch, tmp_path, capsys, words):
    hook(tmp_path / "hook.dxf")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "soon")
    assert "'soon'" in failed(command(capsys, *words))
    assert files(tmp_path) == {"hook.dxf"}


def chances(source: str) -> list[str]:
    """Calls by which a module would read the clock, draw lots, or take the order of a folder, as readable lines."""
    clocks = {"utcnow", "today", "time", "time_ns", "localtime", "gmtime", "getmtime"}
    lots = {"uuid1", "uuid4", "urandom", "getrandbits", "token_hex", "token_bytes", "token_urlsafe"}
    lots |= {"Random", "default_rng", "RandomState"}
    orders = {"listdir", "scandir", "iterdir", "glob", "rglob"}
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        last = getattr(node.func, "attr", getattr(node.func, "id", ""))
        owner = node.func.value if isinstance(node.func, ast.Attribute) else None
        of = getattr(owner, "attr", getattr(owner, "id", ""))
        if last in ("Random", "default_rng", "RandomState") and len(node.args) == 1:
            continue  # seeded
        now = last == "now" and of in ("datetime", "date")
        if now or last in clocks | lots | orders or of in ("random", "secrets"):
            found.append(f"{node.lineno} calls {ast.unparse(node.func)}")
    return found


def test_one_place_reads_the_clock_and_none_draws_lots():
    """`converter/dates.py`; random are only names of folders, marks inside the program that no name can forge, and the
    key of the page that `serve` answers.
    """
    package = ROOT / "converter"
    found = {
        path.relative_to(package).as_posix(): calls
        for path in sorted(package.rglob("*.py"))
        if (calls := chances(path.read_text(encoding="utf-8")))
    }
    # what is not finished yet has names that no other process takes, and is looked for by folder
    names = {"disk/stage.py", "exporters/registry.py", "units.py", "cli/commands/serve.py"}
    # these list folders and sort what they find
    listing = ("batch/drawings.py", "batch/record.py", "disk/reading.py")
    assert set(found) == {"dates.py", *listing, *names}, found
    assert all(len(found[name]) == 1 for name in listing), found


@pytest.mark.parametrize(
    "source",
    [
        "datetime.now(UTC)",
        "date.today()",
        "time.time()",
        "uuid.uuid4()",
        "random.random()",
        "np.random.default_rng()",
        "random.Random()",
        "[p for p in folder.iterdir()]",
    ],
)
def test_a_chance_is_seen(source):
    assert len(chances(source)) == 1
    assert chances("random.Random(7)") == []


# --- the libraries -------------------------------------------------------------------------------------------------


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[datetime]]:
    """The hour that the DXF library sees; a test sets it."""
    hour = [datetime(2026, 3, 9, 8, 0, 0)]

    class Clock(datetime):
        @classmethod
        def now(cls, tz: object = None) -> datetime:
            return hour[0]

    monkeypatch.setattr(ezdxf.document, "datetime", Clock)
    yield hour


def test_the_drawing_of_the_demo_does_not_know_the_hour(clock):
    first = drawing_text()
    clock[0] = datetime(2027, 1, 2, 3, 4, 5)
    assert drawing_text() == first
    assert not ezdxf.options.write_fixed_meta_data_for_testing, "put back"


def test_a_drawing_written_does_not_know_the_hour(tmp_path, clock):
    def written(name: str) -> bytes:
        page = DxfPage("mm", [Layer("EDGE")])
        page.line((0.0, 0.0), (10.0, 5.0), "EDGE")
        page.save(tmp_path / name)
        return (tmp_path / name).read_bytes()

    first = written("a.dxf")
    clock[0] = datetime(2027, 1, 2, 3, 4, 5)
    assert written("b.dxf") == first


def test_the_clock_of_these_tests_is_the_one_the_library_reads(clock, tmp_path):
    """Without `steady` the bytes do change."""

    def written() -> str:
        doc = ezdxf.new("R2010")
        doc.saveas(tmp_path / "plain.dxf")
        return (tmp_path / "plain.dxf").read_text()

    first = written()
    clock[0] = datetime(2027, 1, 2, 3, 4, 5)
    assert written() != first


def test_the_setting_is_put_back_after_an_error():
    with pytest.raises(ZeroDivisionError), steady():
        assert ezdxf.options.write_fixed_meta_data_for_testing
        raise ZeroDivisionError
    assert not ezdxf.options.write_fixed_meta_data_for_testing
