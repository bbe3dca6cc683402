"""The mark on a job sheet: the same for the same job, another one for whatever changes a number."""

from __future__ import annotations

import io
import re
import shutil
import sys
from datetime import date
from pathlib import Path

import pytest
from command_line import corner, hook

from converter import Settings, open_job, write
from converter.demo.boathouse import JOB_TEXT, STEM
from converter.demo.dxf_drawing import drawing_text
from converter.errors import WriteError
from converter.exporters.sheet.revision import Revision, canonical_text, revision_of
from converter.shop.load import demo_text

EPOCH = "1741478400"  # 2025-03-09T00:00:00Z: 20156 days of 86400 s since 1970


def job_of(source: Path | str, feed_from: str | None = None, gap: float = 0.0, **settings: object):
    """Everything worked out for a drawing, as the sheet gets it."""
    return open_job(str(source), Settings(feed_from=feed_from, gap=f"{gap} mm", **settings))  # type: ignore[arg-type]


def mark_of(source: Path | str, feed_from: str | None = None, gap: float = 0.0, **settings: object) -> str:
    """The mark alone."""
    return revision_of([job_of(source, feed_from, gap, **settings)]).mark


@pytest.fixture
def boathouse(tmp_path: Path) -> Path:
    """The invented job: drawing, shop file and job file in a folder."""
    folder = tmp_path / "boathouse"
    folder.mkdir()
    (folder / f"{STEM}.dxf").write_text(drawing_text(), encoding="utf-8")
    (folder / "shop.toml").write_text(demo_text(), encoding="utf-8")
    (folder / "job.toml").write_text(JOB_TEXT, encoding="utf-8")
    return folder


def boathouse_mark(folder: Path, **settings: object) -> str:
    return mark_of(folder / f"{STEM}.dxf", shop=str(folder / "shop.toml"), job=str(folder / "job.toml"), **settings)


def test_the_mark_is_ten_hexadecimal_digits_and_the_date_is_shown_with_it(tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", EPOCH)
    revision = revision_of([job_of(hook(tmp_path / "hook.dxf"))])
    assert re.fullmatch(r"[0-9a-f]{10}", revision.mark)
    assert revision.issued == date(2025, 3, 9)
    assert revision.text == f"{revision.mark} of 2025-03-09"


def test_without_a_fixed_date_it_is_today(monkeypatch, tmp_path):
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    before = date.today()
    made = revision_of([job_of(hook(tmp_path / "hook.dxf"))]).issued
    assert before <= made <= date.today()


def test_day_path_file_name_and_unit_leave_the_mark_alone(boathouse, tmp_path, monkeypatch):
    first = boathouse_mark(boathouse)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", EPOCH)
    assert boathouse_mark(boathouse) == first
    assert boathouse_mark(boathouse, unit="mm") == first
    assert boathouse_mark(boathouse, unit="in", denominator=16) == first
    elsewhere = tmp_path / "else where"
    shutil.copytree(boathouse, elsewhere)
    (elsewhere / f"{STEM}.dxf").rename(elsewhere / "renamed.dxf")
    (elsewhere / "shop.toml").rename(elsewhere / "s.toml")
    again = mark_of(elsewhere / "renamed.dxf", shop=str(elsewhere / "s.toml"), job=str(elsewhere / "job.toml"))
    assert again == first


def test_standard_input_gives_the_mark_of_the_file(tmp_path, monkeypatch):
    path = hook(tmp_path / "hook.dxf")
    named = mark_of(path)

    class Piped:
        buffer = io.BytesIO(path.read_bytes())

    monkeypatch.setattr(sys, "stdin", Piped())
    assert mark_of("-") == named


def test_other_inputs_written_at_the_same_time_leave_the_mark_alone(tmp_path):
    job = job_of(hook(tmp_path / "hook.dxf"))
    before = revision_of([job]).mark
    write([job, job_of(corner(tmp_path / "corner.dxf"))], str(tmp_path / "out"), ["csv"])
    assert revision_of([job]).mark == revision_of([job_of(tmp_path / "hook.dxf")]).mark == before


def test_a_byte_more_in_drawing_shop_or_job_file_changes_the_mark(boathouse):
    first = boathouse_mark(boathouse)
    marks = {first}
    for name in ("shop.toml", "job.toml"):
        path = boathouse / name
        kept = path.read_bytes()
        path.write_bytes(kept + b"\n# a word\n")
        marks.add(boathouse_mark(boathouse))
        path.write_bytes(kept)
    drawing = boathouse / f"{STEM}.dxf"
    drawing.write_bytes(b"999\na word\n" + drawing.read_bytes())
    marks.add(boathouse_mark(boathouse))
    assert len(marks) == 4, "drawing, shop file and job file each count"


def test_every_option_that_changes_a_number_changes_the_mark(tmp_path):
    path = corner(tmp_path / "corner.dxf")
    given = {"sections": ("1.5x0.120in",), "metal": "mild steel"}
    marks = [
        mark_of(path, **given),
        mark_of(path, feed_from="B", **given),
        mark_of(path, clr="200mm", **given),
        mark_of(path, **{**given, "metal": "4130"}),
        mark_of(path, **{**given, "sections": ("1.5x0.095in",)}),
    ]
    assert len(set(marks)) == len(marks)


def test_the_weld_gap_of_copes_counts(boathouse):
    path, shop, job = boathouse / f"{STEM}.dxf", str(boathouse / "shop.toml"), str(boathouse / "job.toml")
    assert job_of(path, shop=shop, job=job).copes.joints, "the ladder's rungs are coped"
    marks = {mark_of(path, gap=gap, shop=shop, job=job) for gap in (0.0, 0.5)}
    assert len(marks) == 2


def test_a_shop_file_that_went_away_is_told_in_a_sentence(boathouse):
    job = job_of(boathouse / f"{STEM}.dxf", shop=str(boathouse / "shop.toml"))
    assert job.findings
    (boathouse / "shop.toml").unlink()
    with pytest.raises(WriteError, match=r"shop\.toml' cannot be read again for the revision mark"):
        revision_of([job])


def test_the_last_digits_of_arithmetic_do_not_count_but_a_thousandth_does():
    # 0.1 + 0.2 is not 0.3 in binary; 25.4/128 ends in half a step of most roundings
    assert canonical_text([0.1 + 0.2, 25.4 / 128 + 1e-15, -0.0]) == canonical_text([0.3, 25.4 / 128 - 1e-15, 0.0])
    assert canonical_text([100.0]) != canonical_text([100.001])


def test_texts_cannot_run_into_one_another():
    assert canonical_text(["a", "b,c"]) != canonical_text(["a,b", "c"])
    assert canonical_text({"a": 1, "b": 2}) == canonical_text({"b": 2, "a": 1})


def test_a_revision_shows_both():
    assert Revision("3f09c2a1b7", date(2026, 3, 9)).text == "3f09c2a1b7 of 2026-03-09"
