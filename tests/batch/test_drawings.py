"""Which drawings a batch has."""

from __future__ import annotations

import glob
import os
from pathlib import Path

import pytest

from converter.batch import find_drawings
from converter.batch.record import RECORD, SUMMARY
from converter.errors import OptionError


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def make(*names: str) -> None:
    for name in names:
        path = Path(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")


def found(*inputs: str, out: str | None = None) -> list[str]:
    return [drawing.path for drawing in find_drawings(inputs, out).drawings]


def test_a_folder_is_all_drawings_beneath_it_by_name(here):
    make("d/b.dxf", "d/a.STEP", "d/sub/c.stl", "d/sub/deep/e.igs", "d/z.dxf")
    assert found("d") == ["d/a.STEP", "d/b.dxf", "d/z.dxf", "d/sub/c.stl", "d/sub/deep/e.igs"]


def test_what_is_no_drawing_by_its_name_is_counted_not_taken(here):
    make("d/rail.dxf", "d/notes.txt", "d/rail.dwg", "d/bom.csv", "d/package.json", "d/.hidden.dxf", "d/.git/x.dxf")
    gathered = find_drawings(["d"])
    assert [drawing.path for drawing in gathered.drawings] == ["d/rail.dxf"]
    assert gathered.others == 4  # hidden ones are not even counted


def test_tables_are_taken_where_a_pattern_or_a_name_asks_for_them(here):
    make("d/rail.csv", "d/rail.json", "d/rail.dxf")
    assert found("d/*.csv", "d/rail.json") == ["d/rail.csv", "d/rail.json"]


def test_links_never_lead_round_in_circles(here):
    make("d/a.dxf", "d/sub/b.dxf", "elsewhere/c.dxf")
    os.symlink("..", "d/sub/up")
    os.symlink("../elsewhere", "d/away")
    os.symlink("a.dxf", "d/link.dxf")
    os.symlink("nowhere.dxf", "d/lost.dxf")
    gathered = find_drawings(["d"])
    assert [drawing.path for drawing in gathered.drawings] == ["d/a.dxf", "d/link.dxf", "d/lost.dxf", "d/sub/b.dxf"]
    assert gathered.links == 2
    assert found("d/away") == ["d/away/c.dxf"]


def test_what_a_batch_wrote_is_no_drawing_of_the_next(here):
    make("d/a.dxf", "d/out/a.dxf/a-centerline.dxf", f"d/out/a.dxf/{RECORD}", f"d/old/{SUMMARY}", "d/old/x/b.dxf")
    make("d/new/y.dxf")
    assert found("d") == ["d/a.dxf", "d/new/y.dxf"]
    assert found("d", out="d/new") == ["d/a.dxf"]
    assert found("d/**/*.dxf", out=str(here / "d" / "new")) == ["d/a.dxf"]


def test_the_folder_of_the_drawings_is_not_written_to(here):
    make("d/a.dxf")
    with pytest.raises(OptionError, match=r"--out is the folder of the drawings itself, 'd': name another"):
        find_drawings(["d"], "d/../d")


@pytest.mark.parametrize(
    "pattern",
    ["d/*.dxf", "d/**/*.dxf", "d/?.dxf", "d/[ab].*", "**/b.dxf", "d/*/*.dxf", "*/sub/**/*.step", "d/**/s*/*.dxf"],
)
def test_patterns_mean_what_they_mean_to_python(pattern, here):
    """Python's own ``glob`` is the judge."""
    make("d/a.dxf", "d/b.dxf", "d/sub/b.dxf", "d/sub/deep/c.step", "d/sub/deep/sub/a.dxf", "d/other/e.step", "b.dxf")
    assert sorted(found(pattern)) == sorted(glob.glob(pattern, recursive=True))


def test_a_folder_that_meets_a_pattern_is_taken_whole(here):
    """As when the shell had put the names in the place of the pattern."""
    make("d/2024-1/a.dxf", "d/2024-2/sub/b.dxf", "d/2025-1/c.dxf", "d/2024.dxf")
    assert found("d/2024*") == ["d/2024.dxf", "d/2024-1/a.dxf", "d/2024-2/sub/b.dxf"]


def test_each_file_is_taken_once(here):
    make("d/a.dxf", "d/b.dxf")
    assert found("d/b.dxf", "d", "./d/*.dxf", str(here / "d" / "a.dxf")) == ["d/b.dxf", "d/a.dxf"]


def test_a_name_is_taken_whatever_its_ending(here):
    make("rail.txt", "odd[1].dxf")
    assert found("rail.txt", "missing.dxf", "odd[1].dxf") == ["rail.txt", "missing.dxf", "odd[1].dxf"]


@pytest.mark.parametrize(
    ("inputs", "says"),
    [
        (["empty"], "'empty' stands for no drawing: name a folder"),
        (["d/*.step"], r"'d/\*.step' stands for no drawing"),
        (["results"], "stands for no drawing but results of a batch"),
        (["d", "-"], "standard input holds a single drawing"),
    ],
)
def test_what_stands_for_no_drawing_is_refused(inputs, says, here):
    make("d/a.dxf", f"results/{SUMMARY}", "results/a.dxf")
    Path("empty").mkdir()
    with pytest.raises(OptionError, match=says):
        find_drawings(inputs)


def test_a_folder_that_cannot_be_listed_is_told(here, monkeypatch):
    """Root may list any folder, so the system's refusal is put in its mouth."""
    make("d/a.dxf", "d/closed/b.dxf")
    scandir = os.scandir

    def guarded(path):
        if str(path).endswith("closed"):
            raise PermissionError(13, "Permission denied", path)
        return scandir(path)

    monkeypatch.setattr(os, "scandir", guarded)
    gathered = find_drawings(["d"])
    assert [drawing.path for drawing in gathered.drawings] == ["d/a.dxf"]
    assert gathered.closed == [("d/closed", "Permission denied")]


def places(*inputs: str) -> list[str]:
    return [drawing.place for drawing in find_drawings(inputs).drawings]


def test_every_drawing_has_a_place_of_its_own(here):
    make("x/rail.dxf", "x/rail.step", "y/rail.dxf", "y/deep/rail.dxf")
    assert places("x") == ["rail.dxf", "rail.step"]
    assert places("x/rail.dxf", "y") == ["x/rail.dxf", "y/rail.dxf", "y/deep/rail.dxf"]
    assert places("y/**/*.dxf") == ["rail.dxf", "deep/rail.dxf"]
    assert places("x/rail.dxf") == ["rail.dxf"]


def test_places_differ_also_where_case_and_accents_do_not_count(here):
    make("d/Rail.dxf", "d/rail.dxf", "d/e\u0301.dxf", "d/\u00e9.dxf")
    assert places("d") == ["Rail.dxf", "e\u0301.dxf", "rail.dxf-2", "\u00e9.dxf-2"]
