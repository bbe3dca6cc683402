"""The demo shows copes: the ladder's three rungs end on its rails, and their templates are written and named."""

from __future__ import annotations

from command_line import files, run
from pdf_tools import read_pdf


def test_the_demo_writes_and_names_its_cope_templates(tmp_path, capsys):
    out = tmp_path / "demo"
    outcome = run(capsys, "demo", "--out", out)
    assert outcome.status == 0, outcome.err
    assert "out/boathouse-copes.pdf" in files(out)
    path = out / "out" / "boathouse-copes.pdf"
    assert "The ladder's rungs are coped to its rails" in outcome.out
    assert f"They are in {path}" in outcome.out
    pages = read_pdf(path)
    text = " ".join(" ".join(page.text.split()) for page in pages[1:])
    for rung in ("RUNG-1", "RUNG-2", "RUNG-3"):
        for end in "AB":
            assert f"{rung} end {end}" in text


def test_the_demo_writes_what_is_asked_for_and_no_more(tmp_path, capsys):
    outcome = run(capsys, "demo", "--out", tmp_path / "demo", "--to", "csv")
    assert "coped" not in outcome.out
    assert not any("copes" in name for name in files(tmp_path / "demo"))
