"""The quotation on the job sheet: not there unless asked for; the numbers are those of ``quote --json``, read back."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import ezdxf
import pytest
from command_line import run
from pypdf import PdfReader
from sheet_tools import in_rounding

SHOP = """units = "in"
[shop]
name = "Shed <b>"
[[metal]]
name = "mild steel"
density = 7850
[rates]
currency = "GBP"
hour = 41
minutes_per_tube = 4
minutes_per_cut = 1.7
minutes_per_cope = 7.3
[[price]]
metal = "mild steel"
per_kg = 1.9
"""
#: Columns of the table -> what they are in the JSON, of one piece.
EACH = {
    "mass": "mass", "bends": "bends", "saw cuts": "cuts", "copes": "copes", "minutes": "minutes",
    "metal": "metal_price", "work": "work_price",
}  # fmt: skip
HEADS = [
    "part", "make", "cut length", "mass", "bends", "saw cuts", "copes", "weld",
    "minutes", "metal", "work", "price", "total",
]  # fmt: skip


class Cells(HTMLParser):
    """The cells of the table in the section of the class 'quotation'."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.text = ""
        self._inside = self._cell = False
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        kind = dict(attrs).get("class") or ""
        if tag == "section":
            self._inside = kind == "quotation"
        if not self._inside:
            return
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self._cell = True

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._cell = False

    def handle_data(self, data):
        if self._inside:
            self.text += data
            if self._cell:
                self.rows[-1][-1] += data


@pytest.fixture
def ladder(tmp_path, monkeypatch):
    """Two posts with three rungs and a hook that stands alone."""
    document = ezdxf.new(units=1)
    space = document.modelspace()
    for i, x in enumerate((0, 20)):
        space.add_line((x, 0), (x, 60), dxfattribs={"layer": f"POST-{i}"})
    for i, y in enumerate((15, 30, 45)):
        ends = [(0, y), (20, y)]
        space.add_line(*(ends if i else ends[::-1]), dxfattribs={"layer": f"RUNG-{i}"})
    document.saveas(tmp_path / "ladder.dxf")
    (tmp_path / "shop.toml").write_text(SHOP)
    monkeypatch.chdir(tmp_path)
    return "ladder.dxf", "--shop", "shop.toml", "--section", "1.5x0.120in", "--metal", "mild steel"


def check_row(row: list[str], name: str, off: int, one: dict, total: float, unit: float, kilogram: float) -> None:
    """A row of texts against values of the JSON, to half the last digit shown."""
    shown = dict(zip(HEADS, row, strict=True))
    number = {head: float(match[0]) for head, text in shown.items() if (match := re.match(r"-?[\d.]+", text))}
    assert (shown["part"], number["make"]) == (name, off)
    for head, key in (("cut length", "stick"), ("weld", "weld")):
        assert number[head] == pytest.approx(one[key] / unit, abs=0.5001 * (0.001 if unit > 2 else 0.01))
    for head, key in EACH.items():
        scale = kilogram if head == "mass" else 1.0
        digits = 0.5001 if head in ("minutes", "bends", "saw cuts", "copes") else 0.00501
        assert number[head] == pytest.approx(one[key] * scale, abs=digits), head
    assert number["total"] == pytest.approx(total, abs=0.00501)


def check_table(rows: list[list[str]], document: dict, unit: float, kilogram: float) -> None:
    assert len(document["parts"]) == 2
    for row, part in zip(rows, document["parts"], strict=False):
        off = len(part["tubes"])
        check_row(row, part["part"], off, part["each"], part["total"]["price"], unit, kilogram)
        assert float(row[11]) == pytest.approx(part["each"]["price"], abs=0.00501)
    check_row(rows[-1], "all", 5, document["total"], document["total"]["price"], unit, kilogram)
    assert len(rows) == 3 and rows[-1][11] == ""


def test_the_html_says_what_the_json_says(ladder, capsys):
    document = run(capsys, "quote", *ladder, "--json").json
    run(capsys, "sheet", *ladder, "--to", "html", "--quote")
    page = Path("ladder-sheet.html").read_text(encoding="utf-8")
    for shown, unit, kilogram in (("mm", 1.0, 1.0), ("in", 25.4, 1.0 / 0.45359237)):
        cells = Cells(in_rounding(page, shown))
        assert [head.lower() for head in cells.rows[0]] == HEADS
        check_table(cells.rows[1:], document, unit, kilogram)
        assert "Rates of Shed <b>; prices in GBP." in cells.text
        assert "An estimate from the shop file's rates." in cells.text


def test_the_paper_has_it_on_a_page_of_its_own(ladder, capsys):
    document = run(capsys, "quote", *ladder, "--json").json
    run(capsys, "sheet", *ladder, "--to", "pdf", "--quote")
    texts = [page.extract_text() for page in PdfReader("ladder-sheet.pdf").pages]
    (text,) = [one for one in texts if "quotation, estimated" in one]
    assert "Stick: length to cut" not in text and "RUNG-0" not in text.replace("RUNG, ", "")
    assert "An estimate from the shop file's rates." in " ".join(text.split())
    lines = [line.strip() for line in text.splitlines()]
    found = []
    for name, width in (("POST", 13), ("RUNG", 13), ("all", 12)):
        at = lines.index(name)
        row = lines[at : at + width]
        found.append(row if width == 13 else [*row[:-1], "", row[-1]])
    check_table(found, document, 25.4, 1.0 / 0.45359237)


@pytest.mark.parametrize("jobs_long", [60, 6000])
def test_no_head_is_broken_within_a_word_where_columns_are_full(jobs_long, tmp_path, monkeypatch, capsys):
    """On A4 in mm the numbers took all there was, and the heads stood as "ma/ke", "bend/s", "minute/s"."""
    document = ezdxf.new(units=4)
    for i in range(5):
        document.modelspace().add_line(
            (0, 200 * i), (jobs_long + i, 200 * i), dxfattribs={"layer": f"CROSS_MEMBER_{i}"}
        )
    document.saveas(tmp_path / "bars.dxf")
    (tmp_path / "shop.toml").write_text(SHOP)
    monkeypatch.chdir(tmp_path)
    options = ("--shop", "shop.toml", "--section", "25x1.5mm", "--metal", "mild steel", "--paper", "A4")
    run(capsys, "sheet", "bars.dxf", *options, "--to", "pdf", "--quote")
    (text,) = [
        text for page in PdfReader("bars-sheet.pdf").pages if "quotation, estimated" in (text := page.extract_text())
    ]
    words = {word for line in text.splitlines() for word in line.split()}
    assert {word for head in HEADS for word in head.split()} <= words
    assert f"{jobs_long}.00" in words


def test_prices_are_on_no_sheet_unless_asked_for(ladder, capsys):
    run(capsys, "sheet", *ladder)
    run(capsys, "sheet", *ladder, "--quote", "--out", "quoted")
    paper = " ".join(page.extract_text() for page in PdfReader("ladder-sheet.pdf").pages)
    page = Path("ladder-sheet.html").read_text(encoding="utf-8")
    for text in (paper, re.sub(r'<script type="text/plain".*?</script>', "", in_rounding(page, "mm"), flags=re.DOTALL)):
        assert "GBP" not in text and "uotation, estimated" not in text
    quoted = [page.extract_text() for page in PdfReader("quoted/ladder-sheet.pdf").pages]
    # the list of parts counts the page in: a page for each of two parts, the last one at the end
    pages = [line for line in "\n".join(quoted).split("How this")[0].splitlines() if re.fullmatch(r"[3-9]", line)]
    assert all(f"page\n{i} of {len(quoted)}" in text for i, text in enumerate(quoted, 1))
    assert pages[-1] == str(len(quoted))


def test_invented_rates_are_called_so(ladder, capsys):
    plain = [*ladder[:1], *ladder[3:]]
    run(capsys, "sheet", *plain, "--to", "html", "--quote")
    assert "rates are those of the invented demo shop" in Path("ladder-sheet.html").read_text(encoding="utf-8")
    assert "invented demo shop" in " ".join(run(capsys, "quote", *plain).out.split())
