"""``elbowroom setup``: the page, the JSON contract, exit statuses, options."""

from __future__ import annotations

import json
import re
from math import pi

import ezdxf
import pytest
from command_line import corner, failed, hook, run

SHOP = """
units = "mm"
[shop]
name = "Test"
[machine]
max_angle = 180
plane = "horizontal"
pivot_height = 1000
[[die]]
name = "R100"
od = 25
clr = 100
clamp = 60
between = 60
tail = 40
mark_offset = 10
[[test]]
die = "R100"
stop = 92
angle = 90
"""

#: of the design, to the letter
TUBE_KEYS = {"name", "feed_from", "stick_length", "developed_length", "extra_a", "extra_b", "bends", "clearance"}
BEND_KEYS = {
    "bend", "die", "mark", "target_angle", "stop_angle", "springback_source", "radius_out", "roll", "roll_arc",
}  # fmt: skip


@pytest.fixture
def shop(tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text(SHOP)
    return path


def test_the_contract(tmp_path, capsys, shop):
    outcome = run(capsys, "setup", hook(tmp_path / "hook.dxf"), "--shop", shop, "--section", "25x2mm", "--json")
    assert outcome.status == 0, outcome
    document = outcome.json
    assert document["schema"] == "elbowroom/setup/1"
    (tube,) = document["tubes"]
    assert tube.keys() >= TUBE_KEYS
    assert tube["clearance"].keys() == {"least", "bend", "against", "unknown"}
    (bend,) = tube["bends"]
    assert bend.keys() >= BEND_KEYS
    radius = 100.0 * 92.0 / 90.0
    start = 300.0 - (radius - 100.0)
    assert bend["mark"] == pytest.approx(start - 10.0)
    assert (bend["bend"], bend["die"], bend["springback_source"]) == (1, "R100", "tests")
    assert (bend["target_angle"], bend["stop_angle"]) == (pytest.approx(90.0), pytest.approx(92.0))
    assert bend["radius_out"] == pytest.approx(radius)
    assert (bend["roll"], bend["roll_arc"]) == (0.0, 0.0)
    assert tube["stick_length"] == pytest.approx(2.0 * start + 100.0 * 92.0 * pi / 180.0)
    assert tube["stick_length"] == tube["developed_length"] + tube["extra_a"] + tube["extra_b"]
    assert tube["drawn_length"] == pytest.approx(600.0 + 50.0 * pi)


def test_feeding_from_the_other_end(tmp_path, capsys, shop):
    drawing = tmp_path / "ends.dxf"
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_lwpolyline([(0, 0), (500, 0), (500, 300)])
    doc.saveas(drawing)
    words = ["setup", drawing, "--shop", shop, "--section", "25x2mm", "--json", "--feed-from"]
    from_a, from_b = (run(capsys, *words, end).json["tubes"][0] for end in "Ab")
    assert (from_a["feed_from"], from_b["feed_from"]) == ("A", "B")
    a, b = from_a["bends"][0], from_b["bends"][0]
    assert b["mark_from_b"] == b["mark"]
    assert a["mark"] + b["mark"] == pytest.approx(from_a["stick_length"] - a["arc"] - 20.0)
    assert run(capsys, *words, "best").json["tubes"][0]["feed_from"] == "A"
    assert "A, B or best" in failed(run(capsys, *words[:-2], "--feed-from", "C"))


def test_the_page_in_fractions(tmp_path, capsys, shop):
    words = ["setup", hook(tmp_path / "hook.dxf"), "--shop", shop, "--section", "25x2mm"]
    outcome = run(capsys, *words, "--fraction", "16")
    assert outcome.status == 0
    # 300 - 2.222 - 10 = 287.78 mm = 11.330 in -> 11-5/16; stick 756.13 mm = 29.769 in -> 29-13/16, rounded up
    assert "cut length 29-13/16 in" in outcome.out
    assert "11-5/16" in outcome.out
    assert "1. Cut a stick to 29-13/16 in" in outcome.out
    assert "Keep hands away" in outcome.out
    brief = run(capsys, *words, "--mm", "--brief")
    assert "287.78" in brief.out
    assert "Cut a stick" not in brief.out


def test_what_cannot_be_held_exits_with_one(tmp_path, capsys, shop):
    drawing = tmp_path / "tight.dxf"
    doc = ezdxf.new("R2010", units=4)
    # corners 220 apart: 20 of straight between two quarter bends of 100
    doc.modelspace().add_lwpolyline([(0, 0), (400, 0), (400, 220), (800, 220)])
    doc.saveas(drawing)
    outcome = run(capsys, "setup", drawing, "--shop", shop, "--section", "25x2mm", "--json")
    assert outcome.status == 1
    errors = [f for f in outcome.json["findings"] if f["severity"] == "error"]
    assert [(f["code"], f["limit"]) for f in errors] == [("straight-too-short", 60.0)]
    assert errors[0]["measured"] == pytest.approx(20.0 - 2.0 * 100.0 * 2.0 / 90.0)
    page = run(capsys, "setup", drawing, "--shop", shop, "--section", "25x2mm")
    assert page.status == 1
    assert "cannot be bent so" in page.out


def test_another_order_is_no_error(tmp_path, capsys, shop):
    """50 between needs 60 for the clamp and 40 for the pressure die: bend 2 first. The audit judges the order taken."""
    drawing = tmp_path / "order.dxf"
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_lwpolyline([(0, 0), (400, 0), (400, 250), (800, 250)])
    doc.saveas(drawing)
    words = ["--shop", shop, "--section", "25x2mm"]
    assert run(capsys, "audit", drawing, *words).status == 0
    outcome = run(capsys, "setup", drawing, *words, "--json")
    assert outcome.status == 0, outcome.out
    assert outcome.json["tubes"][0]["order"] == [2, 1]
    assert "order-changed" in {f["code"] for f in outcome.json["findings"]}


def test_a_bad_file_is_one_sentence_and_two(tmp_path, capsys):
    failed(run(capsys, "setup", tmp_path / "none.dxf"))
    outcome = run(capsys, "setup", tmp_path / "none.dxf", "--json")
    assert outcome.status == 2
    assert json.loads(outcome.out)["schema"] == "elbowroom/error/1"


def test_the_demo_shop_serves_and_corners_get_its_radius(tmp_path, capsys):
    outcome = run(capsys, "setup", corner(tmp_path / "corner.dxf"), "--section", "1.75x0.120in", "--json")
    (tube,) = outcome.json["tubes"]
    assert tube["bends"][0]["die"] == "R1750"
    assert "demo-shop" in {f["code"] for f in outcome.json["findings"]}


def test_tubes_that_differ_in_nothing_but_their_marks_are_not_alike(tmp_path, capsys):
    """Equal sticks, angles and turns, and the bends elsewhere: each is told in full, with its own marks."""
    drawing = ezdxf.new("R2010", units=4)
    for i, first in enumerate((380.0, 430.0)):
        y = 2000.0 * i
        corners = [
            (0.0, y),
            (first, y),
            (first, y + 600.0),
            (first + 500.0, y + 600.0),
            (first + 500.0, y + 1380.0 - first),
        ]
        drawing.modelspace().add_lwpolyline(corners, dxfattribs={"layer": f"RAIL {i}"})
    drawing.saveas(tmp_path / "two.dxf")
    (tmp_path / "shop.toml").write_text(SHOP)
    options = ("--section", "25x2mm", "--clr", "100", "--shop", tmp_path / "shop.toml")
    told = run(capsys, "setup", tmp_path / "two.dxf", *options).out
    assert "just like" not in told
    tables = re.findall(r"mark +from end A\n +bend 1 +(\S+) mm\n +bend 2 +(\S+) mm\n +bend 3 +(\S+) mm\n", told)
    ours, theirs = (tuple(map(float, row)) for row in tables)
    assert [b - a for a, b in zip(ours, theirs, strict=True)] == pytest.approx([50.0] * 3, abs=0.011)


def test_the_list_of_what_is_cut_agrees_with_the_parts_above(tmp_path, capsys, shop):
    """A part with an error has no stick cut; one without has."""
    document = ezdxf.new("R2010", units=4)
    for layer, y, radius in (("TIGHT", 0.0, 40.0), ("GOOD", 2000.0, 100.0)):
        model = document.modelspace()
        model.add_line((0, y), (400, y), dxfattribs={"layer": layer})
        model.add_arc((400, y + radius), radius, 270, 360, dxfattribs={"layer": layer})
        model.add_line((400 + radius, y + radius), (400 + radius, y + radius + 400), dxfattribs={"layer": layer})
    document.saveas(tmp_path / "two.dxf")
    text = run(capsys, "setup", tmp_path / "two.dxf", "--shop", shop, "--section", "25x2mm").out
    above, below = text.split("to cut  cut length")
    assert above.count("Cut no stick for it yet.") == 1
    assert [" ".join(row.split()[:2]) for row in below.split("\n")[1:3]] == ["not yet", "1 x"]
    assert [row.split()[-1] for row in below.split("\n")[1:3]] == ["TIGHT", "GOOD"]


def test_where_every_bend_is_refused_nothing_is_told_of_marks(tmp_path, capsys, shop):
    """A radius that no die makes: no mark, no stop, and no sentence on how marks are rounded, measured or turned."""
    path = tmp_path / "hook.csv"
    path.write_text("feed_mm,rotation_deg,angle_deg,clr_mm\n300,0,90,20\n300,,,\n", encoding="utf-8")
    given = (path, "--shop", shop, "--section", "25x2mm")
    text = " ".join(run(capsys, "setup", *given).out.split())
    assert "not to be made as drawn" in text
    assert "Each mark" not in text and "Marks lie" not in text and "behind a stop" not in text
    path.write_text("feed_mm,rotation_deg,angle_deg,clr_mm\n300,0,90,20\n300,0,90,100\n300,,,\n", encoding="utf-8")
    text = " ".join(run(capsys, "setup", *given).out.split())
    assert "Each mark" in text and "Marks lie" in text
