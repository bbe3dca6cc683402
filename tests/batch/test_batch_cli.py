"""``--each``: what a person types, what is told, what is refused."""

from __future__ import annotations

import csv
import io
import json
from contextlib import nullcontext
from pathlib import Path

import pytest
from command_line import failed, files, hook, run

from converter import batch
from converter.batch import bay
from converter.batch.record import RECORD, SUMMARY
from converter.batch.summary import SUMMARY_CSV


@pytest.fixture
def here(tmp_path, monkeypatch, bays):
    """A folder with drawings; commands use the bays that are there (`test_harm` starts the command as it is)."""
    monkeypatch.setattr(batch, "local_bays", lambda processes: nullcontext(bays))
    monkeypatch.chdir(tmp_path)
    Path("d/sub").mkdir(parents=True)
    hook(Path("d/rail.dxf"), radius=114.3, layer="RAIL")
    hook(Path("d/sub/rail.dxf"), radius=60.0, layer="LEG")
    Path("d/torn.dxf").write_bytes(Path("d/rail.dxf").read_bytes()[:4000])
    Path("d/notes.txt").write_text("to do")
    return tmp_path


SECTION = ("--section", "1.5x0.120in")


def test_a_summary_as_text_json_and_csv(here, capsys):
    text = run(capsys, "audit", "d", "--each", *SECTION)
    assert text.status == 2
    lines = text.out.splitlines()
    assert [line.split()[:2] for line in lines if not line.startswith(" ") and line][:-1] == [
        ["failed", "d/torn.dxf"], ["error", "d/sub/rail.dxf:"], ["warning", "d/rail.dxf:"],
    ]  # fmt: skip
    assert lines[-1] == "3 drawings: 1 failed, 1 with errors, 1 with warnings"
    assert text.err == "left out: 1 file without a drawing's ending\n"

    document = run(capsys, "audit", "d", "--each", *SECTION, "--json").json
    assert document["schema"] == "elbowroom/batch/1" and document["command"] == "audit"
    assert document["counts"] == {
        "drawings": 3, "failed": 1, "error": 1, "warning": 1, "note": 0, "clean": 0, "not shown": 0,
    }  # fmt: skip
    assert document["left_out"] == {"other_files": 1, "links": 0, "results": []}
    by_name = {one["source"]: one for one in document["drawings"]}
    assert list(by_name) == ["d/rail.dxf", "d/torn.dxf", "d/sub/rail.dxf"]
    single = run(capsys, "audit", "d/sub/rail.dxf", *SECTION, "--json").json
    worst = next(finding for finding in single["findings"] if finding["severity"] == "error")
    told = by_name["d/sub/rail.dxf"]
    assert told["worst"] == {key: worst[key] for key in ("code", "severity", "tube", "bend", "message", "cure")}
    assert told["errors"] == sum(finding["severity"] == "error" for finding in single["findings"])
    assert by_name["d/torn.dxf"]["failure"]["code"] == "truncated"

    rows = list(csv.DictReader(io.StringIO(run(capsys, "audit", "d", "--each", *SECTION, "--csv").out)))
    assert [(row["drawing"], row["verdict"], row["errors"]) for row in rows] == [
        (one["source"], one["verdict"], str(one["errors"])) for one in document["drawings"]
    ]
    assert rows[2]["says"] == worst["message"] and rows[2]["code"] == worst["code"]


def test_convert_writes_a_folder_for_each_and_reads_none_of_it_back(here, capsys):
    words = ("convert", "d", "--each", "--out", "d/out", "--to", "csv,dxf", "--processes", "1", *SECTION)
    first = run(capsys, *words)
    assert first.status == 2
    assert files(Path("d/out")) == {
        SUMMARY, SUMMARY_CSV, f"rail.dxf/{RECORD}", "rail.dxf/rail.csv", "rail.dxf/rail-centerline.dxf",
        f"sub/rail.dxf/{RECORD}", "sub/rail.dxf/rail.csv", "sub/rail.dxf/rail-centerline.dxf",
    }  # fmt: skip
    assert first.err.splitlines() == [
        "left out: 1 file without a drawing's ending", f"d/out/{SUMMARY}", f"d/out/{SUMMARY_CSV}",
    ]  # fmt: skip
    again = run(capsys, *words)
    assert again.out.splitlines()[-1].endswith("1 with warnings; 2 had not changed")
    assert json.loads(Path("d/out", SUMMARY).read_text())["unchanged"] == 2
    with Path("d/out", SUMMARY_CSV).open(newline="") as stream:
        assert [row["unchanged"] for row in csv.DictReader(stream)] == ["yes", "no", "yes"]
    elsewhere = run(capsys, "audit", "d", "--each", *SECTION)  # which knows nothing of --out d/out
    assert "3 drawings" in elsewhere.out and "1 folder of results" in elsewhere.err


def test_a_list_for_each_says_that_it_is_alone(here, capsys):
    outcome = run(capsys, "cutlist", "d/rail.dxf", "--each", *SECTION, "--bar", "6m", "--out", "cuts", "--to", "csv")
    assert outcome.status == 0
    assert "as if the others took no bar" in outcome.err
    assert files(Path("cuts")) == {SUMMARY, SUMMARY_CSV, f"rail.dxf/{RECORD}", "rail.dxf/rail-cutlist.csv"}
    (drawing,) = json.loads(Path("cuts", SUMMARY).read_text())["drawings"]
    assert drawing["cuts"] == {"pieces": 1, "bars": 1, "bought": 1}


def test_tubes_are_picked_from_all_drawings(here, capsys):
    outcome = run(capsys, "audit", "d", "--each", "--run", "RAIL*", *SECTION)
    assert "1 with warnings, 1 with no tube to show" in outcome.out
    outcome = run(capsys, "audit", "d", "--each", "--run", "NONE*", *SECTION)
    assert outcome.status == 2
    assert outcome.err.splitlines()[-1] == "elbowroom: No tube of any drawing has a name or a layer like 'NONE*'."


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("audit d", "'d' is a folder: give --each for each drawing in it by itself, or name drawings"),
        ("convert d --out o", "'d' is a folder: give --each"),
        ("cutlist d", "'d' is a folder: give --each"),
        ("audit d/*.step", "No file is called 'd/*.step': give --each if it is a pattern of many"),
        ("audit d/rail.dxf --csv", "--csv lists what came of each drawing: give --each"),
        ("convert d/rail.dxf --out o --csv", "--csv lists what came of each drawing"),
        ("audit d/rail.dxf --out o", "--out goes with --each"),
        ("audit d/rail.dxf --processes 2", "--processes goes with --each"),
        ("cutlist d/rail.dxf --processes 2", "--processes goes with --each"),
        ("audit d --each --picture x.svg", "--picture shows one drawing"),
        ("audit d --each --force", "--force goes with --out"),
        ("audit d --each --out d", "--out is the folder of the drawings itself"),
        ("audit - --each", "standard input holds a single drawing"),
        ("audit d/*.stl --each", "stands for no drawing"),
        ("convert d --each --out -", "--out - takes the file of one drawing"),
        ("cutlist d --each --rack r.toml --take", "--take books what is on one list"),
        ("audit d --watch --csv", "--watch tells what changes as text"),
        ("convert d/none.dxf --watch --out o", "There is no file 'd/none.dxf' to watch"),
    ],
)
def test_what_cannot_be_is_refused(words, says, here, capsys):
    assert says in failed(run(capsys, *words.split()))


def test_limits_are_those_of_each_drawing(here, capsys, monkeypatch):
    limits = []
    monkeypatch.setattr(
        bay.BayPool, "run", lambda self, item: limits.append(item.limits) or bay.DrawingVerdict(item.source)
    )
    run(capsys, "audit", "d/rail.dxf", "--each", "--limit-time", "7", "--limit-memory", "none")
    assert [(limit.seconds, limit.memory) for limit in limits] == [(7.0, None)]
