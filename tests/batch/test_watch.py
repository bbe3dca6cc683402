"""Drawings that are saved while they are watched: by renames, in pieces, removed, and with what they depend on."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from threading import Thread

import pytest
from command_line import hook

from converter import Settings
from converter.batch import AuditWork, ConvertWork, DrawingVerdict, batch_items, watch_batch
from converter.batch.verdict import FindingText, TubeFigures, changes_between
from converter.cli.screens.batch import update_text

DIE = "[[die]]\nname = 'R114'\nod = 38.1\nclr = 114.3\nclamp = 50\ntail = 40\n"
SHOP = f"units = 'mm'\nshop.name = 'ours'\n{DIE}"
SETTINGS = Settings(sections=("1.5x0.120in",), shop="shop.toml")


@pytest.fixture
def watched(bays, tmp_path, monkeypatch):
    """Begins to watch a folder with a drawing; gives what is new each time it is asked."""
    monkeypatch.chdir(tmp_path)
    Path("d").mkdir()
    Path("shop.toml").write_text(SHOP)
    hook(Path("d/rail.dxf"), radius=114.3)
    begun = []

    def begin(work=None, inputs=("d",), out=None):
        def plan(gathered):
            return batch_items(gathered.drawings, work or AuditWork(), SETTINGS, out=out)

        begun.append(watch_batch(inputs, plan, bays, out))
        return begun[-1]

    yield begin
    for one in begun:
        one.close()


def saved_as_editors_do(path: Path, **given: float) -> None:
    """Written beside it under another name, then put in its place."""
    fresh = hook(path.with_suffix(".tmp~"), **given)
    os.replace(fresh, path)


def lines_of(update) -> list[str]:
    return changes_between(update.before, update.verdict)


def test_what_was_saved_is_worked_out_again(watched):
    updates = watched()
    (first,) = next(updates)
    assert (first.source, first.before, first.verdict.word) == ("d/rail.dxf", None, "warning")
    saved_as_editors_do(Path("d/rail.dxf"), radius=114.3, scale=1.1)
    (second,) = next(updates)
    assert second.before == first.verdict
    # 300 straight, a quarter of 114.3, 300 straight; then 330 each: 600 + pi / 2 * 114.3 and 60 more
    assert lines_of(second)[:3] == [
        "TUBE, bend 1: feed 300.00 mm -> 330.00 mm",
        "TUBE: tail 300.00 mm -> 330.00 mm",
        "TUBE: developed length 779.54 mm -> 839.54 mm",
    ]
    saved_as_editors_do(Path("d/rail.dxf"), radius=60.0)
    (third,) = next(updates)
    assert third.verdict.word == "error"
    text = update_text([third])
    assert "d/rail.dxf: error (before: warning)" in text and "CLR 114.30 mm -> 60.00 mm" in text
    assert "new error: TUBE, bend 1" in text


def test_half_a_file_is_survived(watched):
    updates = watched()
    (first,) = next(updates)
    whole = Path("d/rail.dxf").read_bytes()
    Path("d/rail.dxf").write_bytes(whole[:4000])
    (torn,) = next(updates)
    assert torn.verdict.word == "failed" and torn.before == first.verdict
    assert "failed; what came of it before still stands" in " ".join(update_text([torn]).split())
    Path("d/rail.dxf").write_bytes(whole)
    (mended,) = next(updates)
    assert mended.before == first.verdict and lines_of(mended) == []
    assert "saved, nothing else has changed" in update_text([mended])


def test_a_file_that_comes_in_pieces_ends_as_it_is_whole(watched):
    """However the pieces fall, the last word is on the whole file."""
    updates = watched()
    next(updates)
    whole = hook(Path("other.dxf"), radius=114.3, scale=2.0).read_bytes()

    def write():
        with Path("d/rail.dxf").open("wb") as stream:
            for n in range(0, len(whole), 1 + len(whole) // 8):
                stream.write(whole[n : n + 1 + len(whole) // 8])
                stream.flush()
                time.sleep(0.03)

    thread = Thread(target=write)
    thread.start()
    while (update := next(updates)[0]).verdict.failure is not None:
        pass
    thread.join()
    assert update.verdict.tables[0].tail == pytest.approx(600.0, abs=1e-6)
    assert update.verdict.tables[0].bends[0][0] == pytest.approx(600.0, abs=1e-6)


def test_the_shop_file_counts_for_all(watched):
    hook(Path("d/other.dxf"), radius=60.0)
    updates = watched()
    assert [update.verdict.word for update in next(updates)] == ["error", "warning"]
    Path("shop.toml").write_text(SHOP + DIE.replace("R114", "R60").replace("114.3", "60"))
    both = next(updates)
    assert [(update.source, update.verdict.word) for update in both] == [
        ("d/other.dxf", "warning"), ("d/rail.dxf", "warning"),
    ]  # fmt: skip
    Path("shop.toml").write_text("units = 'mm\n")
    text = update_text(next(updates))
    assert "d/other.dxf and 1 more: failed" in text and text.count("shop.toml is not a TOML file") == 1
    Path("shop.toml").write_text(SHOP)
    assert [update.verdict.word for update in next(updates)] == ["error", "warning"]


def test_drawings_come_and_go(watched):
    updates = watched()
    next(updates)
    Path("d/sub").mkdir()
    hook(Path("d/sub/new.dxf"), radius=114.3)
    (new,) = next(updates)
    assert (new.source, new.before) == ("d/sub/new.dxf", None)
    saved_as_editors_do(Path("d/sub/new.dxf"), radius=114.3, scale=1.1)  # in a folder that was not there at first
    (changed,) = next(updates)
    assert changed.before == new.verdict
    Path("d/sub/new.dxf").unlink()
    (gone,) = next(updates)
    assert (gone.source, gone.verdict, gone.before) == ("d/sub/new.dxf", None, changed.verdict)
    assert "d/sub/new.dxf is gone" in update_text([gone])


def test_a_drawing_that_is_away_for_a_moment_is_not_gone(watched):
    """Some programs remove a file before they write it anew."""
    updates = watched(inputs=("d/rail.dxf",))
    next(updates)
    whole = hook(Path("other.dxf"), radius=114.3, scale=2.0).read_bytes()
    Path("d/rail.dxf").unlink()

    def write():
        time.sleep(0.4)
        Path("d/rail.dxf").write_bytes(whole)

    thread = Thread(target=write)
    thread.start()
    (update,) = next(updates)
    thread.join()
    assert update.verdict.tables[0].tail == pytest.approx(600.0, abs=1e-6)


def test_files_follow_and_are_no_news(watched):
    updates = watched(ConvertWork(("csv", "json")), out="d/out")
    next(updates)
    saved_as_editors_do(Path("d/rail.dxf"), radius=114.3, scale=1.1)
    (second,) = next(updates)
    assert second.verdict.failure is None and second.verdict.files == ("rail.csv", "rail.json")
    assert ",839.54" in Path("d/out/rail.dxf/rail.csv").read_text()
    os.utime("d/rail.dxf")
    (third,) = next(updates)
    assert third.verdict.unchanged


@pytest.mark.slow
def test_the_command_tells_and_writes_until_it_is_stopped(tmp_path):
    hook(tmp_path / "rail.dxf", radius=114.3)
    words = ("convert", ".", "--watch", "--out", "out", "--to", "csv", "--section", "1.5x0.120in")
    code = "import sys; from converter.cli.main import main; sys.exit(main())"
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert next(line for line in process.stderr if line.startswith("watching"))
        saved_as_editors_do(tmp_path / "rail.dxf", radius=114.3, scale=1.1)
        assert next(line for line in process.stdout if "developed length" in line).split() == [
            "TUBE:", "developed", "length", "779.54", "mm", "->", "839.54", "mm",
        ]  # fmt: skip
        assert ",839.54" in (tmp_path / "out" / "rail.dxf" / "rail.csv").read_text()
        process.terminate()
        _, err = process.communicate(timeout=120)
    finally:
        process.kill()
    assert process.returncode == 143
    assert err.splitlines()[-1] == "Interrupted; nothing more was written."


def verdict(tables=(), findings=(), **given) -> DrawingVerdict:
    return DrawingVerdict("x.dxf", tables=tables, findings=findings, **given)


def tube(name: str, *bends: tuple[float, float, float, float | None], tail: float = 50.0) -> TubeFigures:
    return TubeFigures(name, bends, tail, 500.0)


@pytest.mark.parametrize(
    ("before", "after", "lines"),
    [
        (tube("A", (100, 0, 90, 60)), tube("A", (100.001, 0, 90, 60)), []),
        (
            tube("A", (100, 0, 90, 60)),
            tube("A", (100, 0, 45, None)),
            ["A, bend 1: angle 90.00° -> 45.00°, CLR 60.00 mm -> none"],
        ),
        (
            tube("A", (100, 0, 90, 60), (200, 90, 45, 60)),
            tube("A", (100, 0, 90, 60), (80, 10, 30, 60), (200, 90, 45, 60)),
            ["A, bend 2 is new: feed 80.00 mm, rotation 10.00°, angle 30.00°, CLR 60.00 mm"],
        ),
        (
            tube("A", (100, 0, 90, 60), (200, 90, 45, 60)),
            tube("A", (200, 90, 45, 60)),
            ["A, bend 1 of before is gone: feed 100.00 mm, rotation 0.00°, angle 90.00°, CLR 60.00 mm"],
        ),
        (tube("A"), tube("B"), ["B is new: 0 bends, developed length 500.00 mm", "A is gone"]),
    ],
)  # fmt: skip
def test_changes_of_a_table(before, after, lines):
    assert changes_between(verdict((before,)), verdict((after,))) == lines


def test_changes_of_findings_count_equal_ones():
    one = FindingText("bend-clr", "error", "A", 1, "A, bend 1: it is too tight.", "Buy a die.")
    two = FindingText("note", "note", None, None, "It is a note.", "")
    assert changes_between(verdict(findings=(one,)), verdict(findings=(one, one, two))) == [
        "new error: A, bend 1: it is too tight. Buy a die.",
        "new note: It is a note.",
    ]
    assert changes_between(verdict(findings=(one, two)), verdict(findings=(one,))) == ["no longer: note: It is a note."]
    other_cure = FindingText("bend-clr", "error", "A", 1, one.message, "Buy another.")
    assert changes_between(verdict(findings=(one,)), verdict(findings=(other_cure,))) == []


def test_changes_that_say_the_same_of_several_places_are_one_line():
    """A die's radius changed in the shop file: one line, not one for every bend."""
    every = [FindingText("c", "error", n, b, f"{n}, bend {b}: it is too tight.", "Buy.") for n in "AB" for b in (1, 2)]
    also = FindingText("c", "error", "A", 3, "A, bend 3: it is too wide.", "Buy.")
    assert changes_between(verdict(), verdict(findings=(*every, also))) == [
        "new error: A, bend 1; A, bend 2; B, bend 1 and 1 more place: it is too tight. Buy.",
        "new error: A, bend 3: it is too wide. Buy.",
    ]
    assert changes_between(verdict(findings=tuple(every[:2])), verdict()) == [
        "no longer: error: A, bend 1; A, bend 2: it is too tight."
    ]
