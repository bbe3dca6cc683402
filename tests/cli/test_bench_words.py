"""Small things a person at the bench reads: cautions where the work is, the shop's own unit, what was not given."""

from __future__ import annotations

import pytest
from command_line import failed, run
from pypdf import PdfReader

from converter.demo.dxf_drawing import drawing_text
from converter.words import CUTTING

SHOP = """units = "{units}"
[shop]
name = "bench"
[[die]]
name = "D"
od = {od}
clr = {clr}
"""


@pytest.fixture
def inches(tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text(SHOP.format(units="in", od="1.75", clr="6"), encoding="utf-8")
    return path


def flat(text: str) -> str:
    return " ".join(text.split())


def test_cautions_stand_on_cope_sheets_and_in_the_answer(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.dxf").write_text(drawing_text(), encoding="utf-8")
    outcome = run(capsys, "cope", "job.dxf", "--section", "1.25x0.083in", "--to", "cope-pdf", "--out", "out")
    pages = PdfReader(next((tmp_path / "out").glob("*.pdf"))).pages[1:]
    for sentence in CUTTING:
        assert sentence in flat(outcome.out)
        assert all(sentence in flat(page.extract_text()) for page in pages), sentence


def test_going_too_far_is_told_in_the_shop_s_unit(inches, capsys):
    """Two degrees: 2 sin 1 degree of the leg, 0.349 in for 10 in."""
    page = flat(run(capsys, "springback", inches, "--resume", "93:92", "--target", "90").out)
    assert "0.349 in off for every 10 in of leg" in page and "mm" not in page
    page = flat(run(capsys, "springback", inches, "--resume", "93:92", "--target", "90", "--mm").out)
    assert "3.49 mm off for every 100 mm of leg" in page


def test_recording_says_of_what_metal_and_wall(inches, capsys):
    given = ("springback", inches, "--record", "93:90.5")
    assert "'D' (no metal named, no wall named)" in run(capsys, *given).err
    named = run(capsys, *given, "--metal", "mild steel", "--wall", "0.12")
    assert "'D' (mild steel, wall 0.120 in)" in named.err


def test_what_the_file_does_not_give_is_no_zero(inches, capsys):
    page = run(capsys, "shop", "show", inches).out
    assert "0.000" not in page and "- where the file gives none" in page


def test_making_a_file_that_exists_advises_what_can_be_done(inches, capsys):
    sentence = failed(run(capsys, "shop", "new", inches))
    assert "--force" in sentence and "--out" not in sentence


def test_millimetres_in_a_file_of_inches_are_doubted(tmp_path, capsys):
    path = tmp_path / "shop.toml"
    path.write_text(SHOP.format(units="in", od="44.45", clr="150"), encoding="utf-8")
    assert '"44.45mm"' in run(capsys, "shop", "check", path).err
    for units, od, clr in (("mm", "44.45", "150"), ("in", "1.75", "6"), ("in", '"44.45mm"', '"150mm"')):
        path.write_text(SHOP.format(units=units, od=od, clr=clr), encoding="utf-8")
        assert "Warning" not in run(capsys, "shop", "check", path).err
