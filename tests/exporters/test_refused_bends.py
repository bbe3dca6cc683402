"""A bend that an error names has no mark and no stop in any output, and all that is cut by says why; JSON flags it.

The tube: a hook whose first bend is tighter than the shop's only die, and a second one that fits it.
"""

from __future__ import annotations

import csv
import io

import ezdxf
import pytest
from command_line import run
from pypdf import PdfReader
from shop_texts import DIE_R100, shop_text, table

SHOP = shop_text("Boathouse", table("[machine]", stop_step=0.5), DIE_R100 + "mark_offset = 10\n")
BOTH = "Not to be made as drawn: see the findings"


@pytest.fixture
def given(tmp_path, monkeypatch):
    """300, a quarter bend of 60 mm radius, 300, a quarter bend of 100 mm radius the other way, 300; end B on a post."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    at = {"layer": "HOOK"}
    model.add_line((0, 0), (300, 0), at)
    model.add_arc((300, 60), 60, 270, 0, at)
    model.add_line((360, 60), (360, 360), at)
    model.add_arc((460, 360), 100, 90, 180, at)
    model.add_line((460, 460), (760, 460), at)
    model.add_line((760, 0), (760, 900), {"layer": "POST"})
    doc.saveas(tmp_path / "hook.dxf")
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return ["hook.dxf", "--shop", "shop.toml", "--section", "40x3mm", "--run", "HOOK"]


def test_set_up_in_text_csv_and_json(given, capsys):
    (tube,) = run(capsys, "setup", *given, "--json").json["tubes"]
    bends = {bend["bend"]: bend for bend in tube["bends"]}
    assert {number: bend["refused"] for number, bend in bends.items()} == {1: True, 2: False}
    text = run(capsys, "setup", *given)
    assert text.status == 1
    refused, kept = (f"{bends[n]['mark']:.2f}" for n in (1, 2))
    assert kept in text.out and refused not in text.out and "not to be made as drawn" in text.out
    rows = {row["bend"]: row for row in csv.DictReader(io.StringIO(run(capsys, "setup", *given, "--csv").out))}
    assert [rows[n]["refused"] for n in ("stick", "1", "2")] == ["", "yes", "no"]
    for head in (
        "mark_mm", "mark_from_a_mm", "mark_from_b_mm", "start_mm", "stop_angle_deg", "stop_set_deg", "comes_out_deg",
    ):  # fmt: skip
        assert (rows["1"][head], bool(rows["2"][head])) == ("", True), head
    assert float(rows["2"]["mark_mm"]) == pytest.approx(bends[2]["mark"], abs=1e-5)


def test_templates_and_profile(given, capsys, tmp_path):
    outcome = run(capsys, "convert", *given, "--to", "template,template-pdf,profile,cope-pdf,setup-csv", "--out", "out")
    assert outcome.status == 1
    out = tmp_path / "out"
    template = ezdxf.readfile(out / "hook-template.dxf")
    # one for bend 2 only
    assert len(template.query("LINE[layer=='die-marks']")) == 1
    words = [text.dxf.text for text in template.query("TEXT")]
    assert any(word.startswith("die mark 2") for word in words) and not any("die mark 1" in word for word in words)
    assert "HOOK: stick template, full size" not in words
    assert "HOOK, not to be made as drawn: stick template, full size" in words
    assert any(BOTH in word for word in words)
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(out / "hook-template.pdf").pages]
    assert all("HOOK, not to be made as drawn" in page for page in pages) and BOTH in pages[0]
    profile = [text.dxf.text for text in ezdxf.readfile(out / "hook-profile.dxf").query("TEXT")]
    assert "Bend 1 is not to be made as drawn: see the findings." in profile and not any(
        "Bend 2 is" in w for w in profile
    )
    assert any(BOTH in page.extract_text() for page in PdfReader(out / "hook-copes.pdf").pages)
    rows = list(csv.DictReader(io.StringIO((out / "hook-setup.csv").read_text(encoding="utf-8"))))
    assert [row["refused"] for row in rows] == ["", "yes", "no"]


def test_nothing_is_said_of_what_can_be_made(given, capsys, tmp_path):
    assert run(capsys, "convert", *given, "--refit", "--to", "template,profile,setup-csv", "--out", "out").status == 0
    words = [
        text.dxf.text
        for name in ("template", "profile")
        for text in ezdxf.readfile(tmp_path / "out" / f"hook-{name}.dxf").query("TEXT")
    ]
    assert any("die mark 1" in word for word in words) and not any("not to be made" in word for word in words)
    rows = csv.DictReader(io.StringIO((tmp_path / "out" / "hook-setup.csv").read_text(encoding="utf-8")))
    assert [row["refused"] for row in rows] == ["", "no", "no"]
