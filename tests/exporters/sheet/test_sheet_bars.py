"""Which bars a job is cut from, on its sheets: the list of `cutlist`, worked out once; nothing without bars."""

from __future__ import annotations

import ezdxf
import pytest
from command_line import run
from pypdf import PdfReader
from sheet_tools import in_rounding

from converter.job import cutlist

SHOP = """units = "mm"
[shop]
name = "Boathouse"
[saw]
kerf = 3
keep = 250
mitre = 45
[[stock]]
section = "40x2mm"
length = 3000
[[stock]]
section = "40x2mm"
length = 1500
count = 1
"""


@pytest.fixture
def frame(tmp_path, monkeypatch):
    """A mitred ring and two posts, some with a name that a page must escape."""
    doc = ezdxf.new("R2010", units=4)
    corners = [(0, 0), (1200, 0), (1200, 800), (0, 800)]
    for i, corner in enumerate(corners):
        doc.modelspace().add_line(corner, corners[(i + 1) % 4], {"layer": ("RAIL", "SIDE & CO")[i % 2]})
    for i in range(2):
        doc.modelspace().add_line((3000, 300 * i), (3700, 300 * i), {"layer": "POST"})
    doc.saveas(tmp_path / "frame.dxf")
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return ["frame.dxf", "--section", "40x2mm", "--shop", "shop.toml"]


def bars_section(html: str) -> str:
    return html.partition('<section class="bars"')[2].partition("</section>")[0]


def test_both_sheets_show_the_bars_of_the_list_worked_out_once(frame, tmp_path, capsys, monkeypatch):
    (group,) = run(capsys, "cutlist", *frame, "--json").json["groups"]
    asked, nest = [], cutlist.nest
    monkeypatch.setattr(cutlist, "nest", lambda *args: asked.append(args) or nest(*args))
    assert run(capsys, "sheet", *frame).status == 0
    assert len(asked) == 1
    html = in_rounding((tmp_path / "frame-sheet.html").read_text(encoding="utf-8"), "mm", "0.01 mm")
    section = bars_section(html)
    reader = PdfReader(tmp_path / "frame-sheet.pdf")
    paper = next(text for page in reader.pages if (text := page.extract_text()).startswith("Cutting list"))
    assert any("Cutting list" in one.title for one in reader.outline)
    names = {"RAIL": "RAIL", "POST": "POST", "SIDE & CO": "SIDE &amp; CO"}
    assert {piece["name"] for piece in group["pieces"]} == names.keys()
    for piece in group["pieces"]:
        assert names[piece["name"]] in section and piece["name"] in paper
        assert f"{piece['length']:.2f}" in section and f"{piece['length']:.2f}" in paper
    drops = {f"{pattern['left_over']:.2f}" for pattern in group["patterns"]}
    assert all(f"{drop} drop" in section or f"{drop} scrap" in section for drop in drops)
    assert all(f"{drop} drop" in paper or f"{drop} scrap" in paper for drop in drops)
    cuts = sum(1 for pattern in group["patterns"] for angle in pattern["head_angles"] if angle)
    assert cuts and section.count(">45.00°<") == paper.count("\n45.00°") == cuts
    assert "No way of cutting these pieces buys less." in section and "No way of cutting" in paper


def test_without_bars_there_is_nothing_of_it(frame, tmp_path, capsys):
    (tmp_path / "shop.toml").write_text(SHOP.partition("[[stock]]")[0], encoding="utf-8")
    run(capsys, "sheet", *frame)
    assert not bars_section((tmp_path / "frame-sheet.html").read_text(encoding="utf-8"))
    assert "Cutting list" not in "".join(page.extract_text() for page in PdfReader(tmp_path / "frame-sheet.pdf").pages)


def test_what_no_bar_is_long_enough_for_is_named(frame, tmp_path, capsys):
    (tmp_path / "shop.toml").write_text(SHOP.replace("3000", "1100").replace("1500", "1000"), encoding="utf-8")
    run(capsys, "sheet", *frame)
    section = bars_section((tmp_path / "frame-sheet.html").read_text(encoding="utf-8"))
    paper = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(tmp_path / "frame-sheet.pdf").pages)
    assert "is more than a bar gives" in section.replace("\xa0", " ")
    assert "is more than a bar gives" in paper


def test_two_sections_share_a_page(frame, tmp_path, capsys):
    given = [*frame[:1], "--section", "40x2mm", "--section", "POST=30x2mm", *frame[3:], "--bar", "2m"]
    assert run(capsys, "cutlist", *given, "--out", "out", "--to", "pdf").status == 0
    (page,) = PdfReader(tmp_path / "out" / "frame-cutlist.pdf").pages
    text = " ".join(page.extract_text().split())
    assert text.startswith("Cutting list 6 pieces from ") and text.count("pieces from") == 1
    assert "40.00 x 2.00 mm tube" in text and "30.00 x 2.00 mm tube" in text
