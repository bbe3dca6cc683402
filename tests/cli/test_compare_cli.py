"""``elbowroom compare``: files and typed measures, verdict, records, picture; what cannot be compared is said."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from pathlib import Path

import ezdxf
import pytest
from command_line import failed, run
from pypdf import PdfReader

SHOP = """units = "mm"
[shop]
name = "Boathouse"
[tolerance]
length = 2
angle = 0.5
[[die]]
name = "R100"
od = 25
clr = 100
clamp = 60
mark_offset = 10
"""
LAW = ((30.0, 31.0), (90.0, 92.0))


@pytest.fixture
def rail(tmp_path):
    """300, 90 degrees, 400, 60 degrees the other way, 350: in a plane; springback tested on its die."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    points = [(0, 0, 0), (400, 0, 0), (400, 600, 0), (900, 900, 0)]
    model.add_polyline3d(points, dxfattribs={"layer": "RAIL"})
    path = tmp_path / "rail.dxf"
    doc.saveas(path)
    shop = tmp_path / "shop.toml"
    tests = "".join(
        f'[[test]]\ndie = "R100"\nmetal = "mild steel"\nwall = 2\nstop = {stop}\nangle = {angle}\n'
        for angle, stop in LAW
    )
    shop.write_text(SHOP + tests, encoding="utf-8")
    return [str(path), "--section", "25x2mm", "--metal", "mild steel", "--shop", str(shop)]


def test_what_is_typed_is_found_again_and_the_stop_corrected(capsys, rail):
    outcome = run(capsys, "compare", *rail, "--measured", "88.5:1", "--json")
    document = outcome.json["tubes"][0]
    assert outcome.status == 1
    first, second = document["bends"]
    assert first["angle"]["off"] == pytest.approx(-1.5, abs=0.01)
    assert second["angle"]["off"] == pytest.approx(0.0, abs=1e-6)
    assert [(e["what"], e["bend"]) for e in document["excesses"] if e["what"] == "angle"] == [("angle", 1)]
    # the law of the two test bends by hand: a stop moves by (92 - 31) / (90 - 30) for each degree
    step = next(step for step in document["next"] if step["bend"] == 1)
    assert step["stop_next"] - step["stop"] == pytest.approx(1.5 * 61.0 / 60.0, abs=0.01)
    assert step["mark_next"] == pytest.approx(step["mark"], abs=1e-6)
    text = " ".join(run(capsys, "compare", *rail, "--measured", "88.5:1").out.split())
    assert "angle of bend 1: 1.50° too little, where 0.50° may be" in text
    assert "the shop's own limits" in text
    clean = run(capsys, "compare", *rail, "--measured", "90:1")
    assert clean.status == 0
    assert "Everything is within limits" in " ".join(clean.out.split())


@pytest.mark.parametrize("unit", ["--mm", "--in"])
def test_of_what_is_as_drawn_no_difference_of_nothing_is_told(capsys, rail, tmp_path, unit):
    """The drawn tube compared with its own table; 0.3 mm less of tail is told in mm and, 0.012 in, in inches."""
    made = tmp_path / "made.csv"
    made.write_text(run(capsys, "convert", *rail, "--to", "csv", "--out", "-").out)
    same = " ".join(run(capsys, "compare", rail[0], made, *rail[1:], unit).out.split())
    assert "end B is where it was drawn." in same and "the made one lies on it all along." in same
    assert "Its ends are as far apart as drawn; its centerline is as long as drawn." in same
    assert "o as made, which lies on it" in same
    assert not re.search(r"\b0\.0+ (mm|in)\b", same)
    rows = list(csv.DictReader(io.StringIO(made.read_text())))
    rows[-1] |= {"feed_mm": str(float(rows[-1]["feed_mm"]) - 0.3), "developed_length_mm": ""}
    with made.open("w", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    other = " ".join(run(capsys, "compare", rail[0], made, *rail[1:], unit).out.split())
    shorter = {"--mm": "0.30 mm shorter", "--in": "0.012 in shorter"}[unit]
    assert f"its centerline is {shorter}." in other and "o as made, its miss drawn" in other


def test_a_bend_table_typed_in_a_file_is_compared_from_either_end(capsys, rail, tmp_path):
    table = run(capsys, "convert", *rail, "--to", "csv", "--out", "-").out
    rows = list(csv.DictReader(io.StringIO(table)))
    angle = next(key for key in rows[0] if key.startswith("angle"))
    feed = next(key for key in rows[0] if key.startswith("feed"))
    rows[0][angle] = str(float(rows[0][angle]) + 1.0)
    rows[1][feed] = str(float(rows[1][feed]) - 4.0)
    made = tmp_path / "made.csv"
    with made.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    document = run(capsys, "compare", rail[0], str(made), *rail[1:], "--json").json["tubes"][0]
    assert document["bends"][0]["angle"]["off"] == pytest.approx(1.0)
    assert document["bends"][1]["straight"]["off"] == pytest.approx(-4.0)
    # two corners moved: by hand, the leg loses 4 and gains R (tan(91/2) - tan(90/2))
    assert document["bends"][1]["leg"] == pytest.approx(-4.0 + 100.0 * (1.017607 - 1.0), abs=1e-3)
    run(capsys, "convert", *rail, "--reverse", "--to", "csv", "--out", str(tmp_path / "other"))
    turned = run(capsys, "compare", rail[0], str(tmp_path / "other" / "rail.csv"), *rail[1:], "--json").json["tubes"][0]
    assert turned["from_b"] is True
    assert turned["end_miss"] == pytest.approx(0.0, abs=1e-3)


def test_points_without_a_unit_are_measured_in_that_of_the_drawing(capsys, rail, tmp_path):
    """The rail's own corners in inches, as measured beside a drawing in inches and a shop file in mm."""
    doc = ezdxf.readfile(rail[0])
    doc.units = 1
    for line in doc.modelspace():
        for vertex in line.vertices:
            vertex.dxf.location = vertex.dxf.location / 25.4
    doc.saveas(tmp_path / "inches.dxf")
    made = tmp_path / "made.csv"
    made.write_text("x,y,z\n0,0,0\n15.748,0,0\n15.748,23.622,0\n35.433,35.433,0\n", encoding="utf-8")
    document = run(capsys, "compare", str(tmp_path / "inches.dxf"), str(made), *rail[1:], "--json").json["tubes"][0]
    assert document["end_miss"] == pytest.approx(0.0, abs=0.02)


@pytest.mark.slow
def test_a_solid_of_the_made_tube_is_compared(capsys, rail, tmp_path):
    run(capsys, "convert", *rail, "--to", "step", "--out", str(tmp_path / "made"))
    document = run(capsys, "compare", rail[0], str(tmp_path / "made" / "rail.step"), *rail[1:], "--json").json["tubes"][
        0
    ]
    assert document["best_fit"]["most"] == pytest.approx(0.0, abs=1e-3)
    assert document["within"] is True


def test_test_bends_are_recorded(capsys, rail, tmp_path):
    shop = tmp_path / "shop.toml"
    outcome = run(capsys, "compare", *rail, "--measured", "88.5:1", "--stops", "91:1", "--learn")
    assert "Recorded 2 test bends" in outcome.err
    tests = tomllib.loads(shop.read_text(encoding="utf-8"))["test"]
    assert len(tests) == len(LAW) + 2
    bend = next(test for test in tests if test["stop"] == 91)
    assert (bend["die"], bend["angle"], bend["metal"]) == ("R100", 88.5, "mild steel")
    assert bend["wall"] == tests[0].get("wall", bend["wall"]) and not isinstance(bend["wall"], str), "in its own unit"
    assert (tmp_path / "shop.toml.before").exists()


def test_both_are_drawn(capsys, rail, tmp_path):
    file = tmp_path / "miss.svg"
    run(capsys, "compare", *rail, "--measured", "88.5:1", "--picture", str(file))
    text = file.read_text(encoding="utf-8")
    assert "as made, its miss drawn" in text
    assert "exists already" in failed_after_text(run(capsys, "compare", *rail, "--measured", "88:1", "--picture", file))
    assert run(capsys, "compare", *rail, "--measured", "88:1", "--picture", file, "--force").status == 1


def test_both_are_drawn_in_letters_and_on_a_sheet(capsys, rail, tmp_path):
    text = run(capsys, "compare", *rail, "--measured", "88.5:1").out
    document = run(capsys, "compare", *rail, "--measured", "88.5:1", "--json").json["tubes"][0]
    picture = next(each for each in text.split("\n\n") if ". as drawn, from A to B; o" in each).splitlines()
    assert any("A" in line for line in picture[:-1]) and any("B" in line for line in picture[:-1])
    assert sum(line.count("o") for line in picture[:-1]) > 20
    times = int(picture[-1].partition("miss drawn ")[2].split()[0])
    # the factor is the one of the picture, and brings the miss near to what one can see of a tube of a metre
    assert 20.0 < times * document["best_fit"]["most"] < 200.0
    sheet = tmp_path / "miss.pdf"
    outcome = run(capsys, "compare", *rail, "--measured", "88.5:1", "--sheet", str(sheet))
    assert f"sheet in {sheet}" in outcome.err
    (page,) = PdfReader(sheet).pages
    paper = " ".join(page.extract_text().split())
    assert f"its miss drawn {times} times larger" in paper
    for sentence in ("RAIL: as made against as drawn", "-1.50", "Held at end A", "For the next piece", "they pinch"):
        assert sentence in paper
    before = sheet.read_bytes()
    assert "exists already" in failed_after_text(
        run(capsys, "compare", *rail, "--measured", "88:1", "--sheet", str(sheet))
    )
    assert "ends in .pdf" in failed_after_text(run(capsys, "compare", *rail, "--measured", "88:1", "--sheet", "a.svg"))
    assert sheet.read_bytes() == before


def test_another_tube_is_said_and_not_fitted(capsys, rail, tmp_path):
    other = tmp_path / "other.csv"
    other.write_text("feed_mm,rotation_deg,angle_deg,clr_mm\n20,0,30,100\n900,0,140,100\n60,,,\n", encoding="utf-8")
    said = failed(run(capsys, "compare", rail[0], str(other), *rail[1:]))
    assert "nothing like" in said and "nothing was fitted" in said


def test_two_made_tubes_of_one_name_are_said(capsys, rail, tmp_path):
    both = tmp_path / "both.csv"
    rows = "".join(f"{name},300,0,90,100\n{name},400,180,60,100\n{name},350,,,\n" for name in ("RAIL", "OTHER"))
    both.write_text("tube,feed_mm,rotation_deg,angle_deg,clr_mm\n" + rows, encoding="utf-8")
    assert run(capsys, "compare", rail[0], str(both), *rail[1:], "--json").json["tubes"][0]["tube"] == "RAIL"
    both.write_text("tube,feed_mm,rotation_deg,angle_deg,clr_mm\n" + rows.replace("RAIL", "THIRD"), encoding="utf-8")
    assert "none is named" in failed(run(capsys, "compare", rail[0], str(both), *rail[1:]))


FRAME = [(0, 0, 0), (400, 0, 0), (400, 600, 0), (900, 900, 0)]


@pytest.fixture
def frame(rail, tmp_path):
    """Three tubes of the rail's shape, side by side; the arguments, the shop's among them."""
    doc = ezdxf.new("R2010", units=4)
    for i, name in enumerate(("LEFT", "RIGHT", "SPARE")):
        points = [(x, y, z + 200.0 * i) for x, y, z in FRAME]
        doc.modelspace().add_polyline3d(points, dxfattribs={"layer": name})
    doc.saveas(tmp_path / "frame.dxf")
    return [str(tmp_path / "frame.dxf"), *rail[1:]]


def measured_tubes(path, rows):
    """A bend table of tubes: name, angle of the first bend, and whether there is a second."""
    lines = ["tube,feed_mm,rotation_deg,angle_deg,clr_mm"]
    for name, angle, is_whole in rows:
        lines += [f"{name},300,0,{angle},100"]
        lines += [f"{name},442.265,180,59.036,100", f"{name},526.457,,,"] if is_whole else [f"{name},400,,,"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


def test_several_tubes_are_compared_each_with_the_one_of_its_name(capsys, frame, tmp_path):
    made = measured_tubes(tmp_path / "made.csv", [("left", 90, True), ("RIGHT", 88.5, True)])
    outcome = run(capsys, "compare", frame[0], made, *frame[1:], "--json")
    left, right = outcome.json["tubes"]
    assert (left["tube"], right["tube"]) == ("LEFT", "RIGHT")
    assert left["bends"][0]["angle"]["off"] == pytest.approx(0.0, abs=1e-6)
    assert right["bends"][0]["angle"]["off"] == pytest.approx(-1.5, abs=1e-6)
    assert outcome.json["not_measured"] == ["SPARE"] and outcome.json["refused"] == []
    assert outcome.status == 1 and "not compared: 'SPARE'" in outcome.err
    # each as if it were alone, and only those that were picked
    alone = run(capsys, "compare", frame[0], made, *frame[1:], "--run", "RIGHT", "--json")
    assert alone.json["tubes"] == [right] and alone.json["not_measured"] == []
    both = run(capsys, "compare", frame[0], made, *frame[1:], "--run", "LEFT", "--run", "R*", "--json")
    assert both.json["tubes"] == [left, right]
    text = run(capsys, "compare", frame[0], made, *frame[1:]).out
    assert text.index("LEFT") < text.index("RIGHT") and text.count("Held at end A") == 2
    sheet = tmp_path / "both.pdf"
    run(capsys, "compare", frame[0], made, *frame[1:], "--sheet", sheet)
    first, second = (" ".join(page.extract_text().split()) for page in PdfReader(sheet).pages)
    assert "LEFT: as made against as drawn" in first
    assert "RIGHT: as made against as drawn" in second
    shop = frame[frame.index("--shop") + 1]
    before = len(tomllib.loads(Path(shop).read_text(encoding="utf-8"))["test"])
    run(capsys, "compare", frame[0], made, *frame[1:], "--learn")
    assert len(tomllib.loads(Path(shop).read_text(encoding="utf-8"))["test"]) == before + 4


def test_of_several_tubes_what_cannot_be_compared_is_said_beside_the_others(capsys, frame, tmp_path):
    made = measured_tubes(tmp_path / "made.csv", [("LEFT", 90, True), ("RIGHT", 90, False)])
    outcome = run(capsys, "compare", frame[0], made, *frame[1:], "--json")
    assert outcome.status == 2
    assert [tube["tube"] for tube in outcome.json["tubes"]] == ["LEFT"]
    (refused,) = outcome.json["refused"]
    assert refused["tube"] == "RIGHT" and "not one shape" in refused["message"]
    assert "RIGHT' was drawn with 2 bends and the made tube has 1 bend" in " ".join(outcome.err.split())
    picture = tmp_path / "miss.svg"
    other = measured_tubes(tmp_path / "all.csv", [("LEFT", 90, True), ("RIGHT", 90, True)])
    wrong = failed(run(capsys, "compare", frame[0], other, *frame[1:], "--picture", picture))
    assert "--picture draws one tube" in wrong and not picture.exists()
    assert "pick the one that was made" in failed(run(capsys, "compare", *frame, "--measured", "88:1"))
    assert "pick the one that was made" in failed(run(capsys, "compare", frame[0], other, *frame[1:], "--stops", "9:1"))
    alien = measured_tubes(tmp_path / "alien.csv", [("THIRD", 90, True), ("FOURTH", 90, True)])
    assert "none of their names ('THIRD', 'FOURTH')" in failed(run(capsys, "compare", frame[0], alien, *frame[1:]))


def failed_after_text(outcome):
    assert outcome.status == 2
    return outcome.err


def test_what_cannot_be_compared_is_said(capsys, rail, tmp_path):
    assert "not both" in failed(run(capsys, "compare", *rail))
    assert "There is no bend 3" in failed(run(capsys, "compare", *rail, "--measured", "88:3"))
    assert "There is no straight 4" in failed(run(capsys, "compare", *rail, "--straights", "88:4"))
    for wrong in ("88", "88:", ":1", "x:1", "88:1.5", "88:1,87:1", "nan:1", "900:1"):
        failed(run(capsys, "compare", *rail, "--measured", wrong))
    assert "--tolerance takes" in failed(run(capsys, "compare", *rail, "--measured", "88:1", "--tolerance", "tight"))
    assert "--shop" in failed(run(capsys, "compare", *rail[:-2], "--measured", "88:1", "--learn"))
    other = tmp_path / "other.csv"
    other.write_text("feed_mm,rotation_deg,angle_deg,clr_mm\n300,0,90,100\n400,,,\n", encoding="utf-8")
    assert "not one shape, so nothing was fitted" in failed(run(capsys, "compare", rail[0], str(other), *rail[1:]))
    named = run(capsys, "compare", *rail, "--measured", "88.5:1", "--tolerance", "iso13920-d")
    assert "ISO 13920, class D" in " ".join(named.out.split())


def test_an_angle_that_may_be_another_bends_is_told_where_the_next_stop_is(capsys, rail):
    """20 degrees of difference are no error of making (`OTHER_ANGLE`); twice the angle has no stop."""
    for typed, told in (("88:1", False), ("60:1", True), ("179:1", True)):
        text = " ".join(run(capsys, "compare", *rail, "--measured", typed).out.split())
        assert ("Bend 1 came out so far off that what was measured may be of another bend" in text) == told
        assert "turned in all" in text and "as made in what was typed, the rest as the set-up means it" in text


def test_a_mirror_image_has_no_settings_for_the_next_piece(capsys, rail, tmp_path):
    """What takes back a tube whose turns were all made the other way would make a third shape."""
    rows = [(0, 0, 0), (400, 0, 0), (400, 600, 0), (400, 800, 500), (1000, 800, 500)]
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_polyline3d(rows, dxfattribs={"layer": "RAIL"})
    doc.saveas(tmp_path / "rail.dxf")
    for name, sign in (("made", 1), ("mirror", -1)):
        lines = [f"{x},{y},{sign * z},{0 if i in (0, 4) else 100}" for i, (x, y, z) in enumerate(rows)]
        (tmp_path / f"{name}.csv").write_text("\n".join(["x_mm,y_mm,z_mm,clr_mm", *lines]), encoding="utf-8")
    rail[0] = str(tmp_path / "rail.dxf")
    right = run(capsys, "compare", rail[0], tmp_path / "made.csv", *rail[1:], "--json").json["tubes"][0]
    # corner points with the die's radius: nothing was measured to be off, so nothing moves
    assert [step["mark_next"] for step in right["next"]] == pytest.approx([step["mark"] for step in right["next"]])
    assert len(right["next"]) == 3 and not right["mirrored"]
    mirror = run(capsys, "compare", rail[0], tmp_path / "mirror.csv", *rail[1:], "--json").json["tubes"][0]
    assert mirror["mirrored"] and mirror["next"] == []
    text = " ".join(run(capsys, "compare", rail[0], tmp_path / "mirror.csv", *rail[1:]).out.split())
    assert "What to set for the next piece is not told until that is cleared up" in text
    assert "turned in all" not in text


def test_a_bend_that_is_not_to_be_made_has_no_settings_and_teaches_nothing(capsys, rail, tmp_path):
    """A radius of 80 on a die of 100, as `setup` refuses it; the other bend has its settings."""
    drawn = tmp_path / "drawn.csv"
    drawn.write_text("feed_mm,rotation_deg,angle_deg,clr_mm\n300,0,90,80\n400,180,60,100\n350,,,\n", encoding="utf-8")
    given = [str(drawn), *rail[1:]]
    setup = run(capsys, "setup", *given, "--json").json["tubes"][0]
    assert [bend["refused"] for bend in setup["bends"]] == [True, False]
    document = run(capsys, "compare", *given, "--measured", "88:1,59:2", "--json").json["tubes"][0]
    assert document["refused"] == [1] and [step["bend"] for step in document["next"]] == [2]
    sheet = tmp_path / "miss.pdf"
    text = run(capsys, "compare", *given, "--measured", "88:1,59:2", "--sheet", sheet).out
    said = "Bend 1 is not to be made as drawn, so there are no settings: `elbowroom audit` says why."
    assert said in " ".join(text.split()) and said in " ".join(PdfReader(sheet).pages[0].extract_text().split())
    outcome = run(capsys, "compare", *given, "--measured", "88:1,59:2", "--learn")
    assert "Recorded 1 test bend in" in outcome.err


def test_of_the_tubes_shown_only_their_own_springback_is_told(capsys, tmp_path):
    """`setup --run` told of dies that only tubes not shown are bent on."""
    doc = ezdxf.new("R2010", units=1)
    for name, z in (("RAIL 1.5x0.120in", 0.0), ("LEG 1.25x0.083in", 30.0)):
        doc.modelspace().add_polyline3d([(0, 0, z), (20, 0, z), (20, 20, z)], dxfattribs={"layer": name})
    doc.saveas(tmp_path / "two.dxf")
    given = ("setup", tmp_path / "two.dxf", "--metal", "mild steel")
    both = run(capsys, *given).out
    assert both.count("The springback of") == 2
    for name, other in (("RAIL*", "R1250"), ("LEG*", "R1500")):
        shown = run(capsys, *given, "--run", name).out
        assert shown.count("The springback of") == 1 and other not in shown
