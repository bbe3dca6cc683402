"""A share of the campaign with fixed seeds: whatever is read, it ends with an answer or one sentence, and no half file.

``python tests/fuzz/run.py`` goes on without limit; docs/fuzzing.md has what it found.
"""

from __future__ import annotations

import os
import signal
from pathlib import Path
from tempfile import mkdtemp
from types import SimpleNamespace

import campaign as campaign_module
import pytest
from campaign import SORTS, Tally, campaign, made_case
from judge import holds, judged
from records_cases import judged_records
from wild import FuzzCase

import converter.cli.main as main_module
import converter.importers.dxf.records as records
from converter.errors import ReadError

#: Cases of each sort, in parts that a busy machine gets through: half a minute of processor time in all.
_PARTS = {
    "dxf": (30, 30), "dxf-rare": (8,), "records": (60,), "step": (8, 8), "step-rare": (8,), "iges": (10, 10),
    "brep": (3,), "mesh": (50,), "csv": (100,), "json": (100,), "toml": (100,), "typed": (100,), "compare": (40,),
    "options": (30,),
}  # fmt: skip


def _holds(tally: Tally, cases: int) -> None:
    assert tally.faults == []
    assert sum(tally.counts.values()) == cases
    if cases >= 20:
        assert min(tally.counts["read"], tally.counts["refused"]) > 0, "too tame or too wild to find anything"


@pytest.mark.slow
@pytest.mark.parametrize(("sort", "part"), [(sort, k) for sort, parts in _PARTS.items() for k in range(len(parts))])
def test_whatever_is_read_ends_with_an_answer_or_one_sentence(sort, part, tmp_path):
    first, count = sum(_PARTS[sort][:part]), _PARTS[sort][part]
    _holds(campaign(sort, 1, range(first, first + count), keep=tmp_path), count)


@pytest.mark.slow
def test_so_it_does_by_the_command(tmp_path):
    for sort in ("dxf", "csv", "toml"):
        tally = campaign(sort, 2, range(2), command_every=1, keep=tmp_path)
        assert (tally.faults, tally.by_command) == ([], 2)


def test_a_case_is_the_same_on_every_run():
    for sort in SORTS:
        assert made_case(sort, 3, 5) == made_case(sort, 3, 5) != made_case(sort, 3, 6)


def _slip(folder: Path) -> int:
    raise TypeError("an oversight")


def _library_words(folder: Path) -> int:
    raise ReadError("Its 'list' object has no attribute 'x'.")


def _strange_exit(folder: Path) -> int:
    raise SystemExit(7)


def _no_number(folder: Path) -> int:
    print("feed nan mm")
    return 0


def _left_behind(folder: Path) -> int:
    (folder / "rest").touch()
    return 0


def _temporary_left(folder: Path) -> int:
    mkdtemp()
    return 0


def _written_over(folder: Path) -> int:
    (folder / "a.csv").write_text("x")
    return 0


def _half_results(folder: Path) -> int:
    (folder / "out").mkdir()
    raise ReadError("There is no such file.")


def _crash(folder: Path) -> int:
    os.kill(os.getpid(), signal.SIGSEGV)
    return 0


def _hang(folder: Path) -> int:
    while True:
        pass


def _chatter(folder: Path) -> int:
    os.write(1, b"chatter")
    return 0


#: A command of ours that misbehaves, and what the judge must say of it.
_ILL = {
    _slip: "Something went wrong inside",
    _library_words: "no attribute",
    _strange_exit: "exit status 141",
    _no_number: "'nan' stands in the answer",
    _left_behind: "left behind",
    _temporary_left: "left in the temporary folder",
    _written_over: "was written over",
    _half_results: "results of a failure",
    _crash: "SIGSEGV",
    _hang: "hang",
    _chatter: "wrote past us",
}


@pytest.mark.parametrize("ill", _ILL)
def test_the_judge_sees(ill, tmp_path, monkeypatch):
    """In a process of its own where it would end ours."""
    case = FuzzCase(("table", "{0}"), (("a.csv", b"x,y,z\n1,2,3\n"),))
    folder = tmp_path / "case"
    monkeypatch.setattr(main_module, "elbowroom", SimpleNamespace(main=lambda **_: ill(folder)))
    monkeypatch.setattr(campaign_module, "HANG_SECONDS", 1.0)
    monkeypatch.setitem(SORTS, "ill", lambda rng: case)
    if ill in (_crash, _hang, _chatter):
        ((_, why),) = campaign("ill", 1, [0]).faults
    else:
        verdict = judged(case, folder)
        assert verdict.kind == "fault"
        why = verdict.why
    assert _ILL[ill] in why


def test_a_record_that_the_fast_lane_reads_otherwise_is_seen(monkeypatch, tmp_path):
    """Color and visibility exchanged."""
    monkeypatch.setattr(records, "_LOOKS", {62: "invisible", 60: "color", 420: "true_color"})
    verdicts = [judged_records(made_case("records", 3, count), tmp_path) for count in range(20)]
    assert {verdict.kind for verdict in verdicts} >= {"fault"}
    assert all("entities differ" in verdict.why for verdict in verdicts if verdict.kind == "fault")


@pytest.mark.parametrize("data", ["inf".encode("utf-16-le"), b'"i\\u006ef"', "i\u200bnf".encode(), b"A\\U+0049NF"])
def test_a_name_that_the_case_itself_brings_is_no_number(data):
    """In another encoding, with characters that no one sees, written as an escape."""
    assert holds(FuzzCase(("table", "{0}"), (("a.dxf", data),)), "inf")
    assert not holds(FuzzCase(("table", "{0}"), (("a.dxf", data),)), "nan")
