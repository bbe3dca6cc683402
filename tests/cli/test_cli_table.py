"""``elbowroom table``: what a person reads, what a program reads, and the exit status."""

from __future__ import annotations

import io
import math
import re
import sys
from types import SimpleNamespace

import ezdxf
import pytest
from command_line import corner, failed, files, hook, one_sentence, run


def test_a_hook_as_text(tmp_path, capsys):
    """Hand-worked: 300, a quarter of 100 (157.08), 300: 757.08 mm in all."""
    outcome = run(capsys, "table", hook(tmp_path / "hook.dxf"))
    assert outcome.status == 0
    assert outcome.err == ""
    rows = [line.split() for line in outcome.out.splitlines()]
    assert ["bend", "feed", "rotation", "angle", "CLR"] in rows
    assert ["1", "300.00", "0.00°", "90.00°", "100.00"] in rows
    assert ["tail", "300.00"] in rows
    assert "developed length 757.08 mm" in outcome.out
    assert "1 tube, 1 bend" in outcome.out
    assert not any(line != line.rstrip() for line in outcome.out.splitlines()), "trailing blanks"


def test_a_hook_as_json_keeps_the_contract(tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf")
    outcome = run(capsys, "table", path, "--json", "--section", "25x2mm")
    document = outcome.json
    assert outcome.status == 0
    own = ["schema", "source", "drawing_units", "tubes", "findings", "ignored"]
    assert list(document) == [*own, "read_as", "tolerances", "parts"]
    assert document["read_as"] == "mm" and document["tolerances"]["join"] == 0.1
    assert document["schema"] == "elbowroom/table/1"
    assert document["source"] == str(path)
    assert document["drawing_units"] == "mm"
    (tube,) = document["tubes"]
    assert tube["layer"] == "TUBE"
    assert tube["section"]["shape"] == "round"
    assert (tube["section"]["od"], tube["section"]["wall"]) == (25.0, 2.0)
    assert tube["start"] == pytest.approx([0, 0, 0], abs=1e-9)
    assert tube["end"] == pytest.approx([400, 400, 0], abs=1e-9)
    (bend,) = tube["bends"]
    assert bend["feed"] == pytest.approx(300, abs=1e-9)
    assert (bend["rotation"], bend["angle"], bend["clr"]) == pytest.approx((0, 90, 100), abs=1e-9)
    assert tube["tail"] == pytest.approx(300, abs=1e-9)
    assert tube["developed_length"] == pytest.approx(600 + 50 * math.pi, abs=1e-9)
    assert tube["closed"] is False
    assert (tube["metal_length"], tube["dies"], tube["free_curves"]) == (None, ["M25"], [])


def test_a_die_of_another_radius_is_told_as_the_nearest(tmp_path, capsys):
    """The demo shop's M25 bends to 75 mm; the hook is drawn to 100, and then to 75."""
    for radius, told in ((100.0, "nearest die M25 (CLR 75.00 mm)"), (75.0, "25.00 x 2.00 mm tube, die M25")):
        text = run(capsys, "table", hook(tmp_path / "hook.dxf", radius=radius), "--section", "25x2mm").out
        assert told in text


def test_lengths_typed_in_inches_have_the_digits_of_what_they_are(tmp_path, capsys):
    """0.007874 in are 0.2 mm, and 1.5 in 38.1 mm; JSON had 0.1999996 and 38.099999999999994."""
    typed = ("--fit", "0.007874in", "--join", "0.0393701in", "--section", "1.5x0.095in")
    outcome = run(capsys, "table", hook(tmp_path / "hook.dxf"), "--json", *typed)
    tolerances, (tube,) = outcome.json["tolerances"], outcome.json["tubes"]
    assert (tolerances["fit"], tolerances["join"]) == (0.2, 1.0)
    assert (tube["section"]["od"], tube["section"]["wall"]) == (38.1, 2.413)


def test_an_inch_drawing_is_shown_in_inches(tmp_path, capsys):
    """$INSUNITS 1: the same numbers are inches; 300 in are 7620 mm in JSON."""
    path = hook(tmp_path / "hook.dxf", unit=1)
    assert ["1", "300.000", "0.00°", "90.00°", "100.000"] in [
        line.split() for line in run(capsys, "table", path).out.splitlines()
    ]
    assert run(capsys, "table", path, "--json").json["tubes"][0]["tail"] == pytest.approx(7620.0, abs=1e-8)
    assert "7620.00" in run(capsys, "table", path, "--mm").out
    assert "drawn in inches" in run(capsys, "table", path).out


def test_the_tolerances_used_are_said(tmp_path, capsys):
    """Defaults in mm; typed in the drawing's unit; shown in the unit shown."""
    path = hook(tmp_path / "hook.dxf")
    assert "tolerances: join 0.1 mm, fit 0.05 mm, tangent 0.2°" in run(capsys, "table", path).out
    text = run(capsys, "table", path, "--join", "0.02in", "--fit", "0.2", "--tangent", "1").out
    assert "tolerances: join 0.508 mm, fit 0.2 mm, tangent 1°" in text
    inches = hook(tmp_path / "inches.dxf", unit=1)
    assert "join 0.02 in," in run(capsys, "table", inches, "--join", "0.02").out


def test_units_option_overrides_and_says_so(tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf")
    document = run(capsys, "table", path, "--units", "in", "--json").json
    assert document["tubes"][0]["tail"] == pytest.approx(7620.0, abs=1e-8)
    assert document["drawing_units"] == "mm"
    assert [f["code"] for f in document["findings"]] == ["units-overridden"]
    assert "read as inches" in run(capsys, "table", path, "--units", "in").out


def test_a_unitless_drawing_is_warned_about(tmp_path, capsys):
    outcome = run(capsys, "table", hook(tmp_path / "hook.dxf", unit=0), "--json")
    assert outcome.status == 0
    assert outcome.json["drawing_units"] is None
    assert [(f["code"], f["severity"]) for f in outcome.json["findings"]] == [("units-assumed", "warning")]


def test_fractions(tmp_path, capsys):
    """88.9 mm is 3-1/2 in; 152.4 mm is 6 in."""
    path = hook(tmp_path / "hook.dxf", radius=152.4, scale=88.9 / 300.0)
    rows = [line.split() for line in run(capsys, "table", path, "--fraction", "16").out.splitlines()]
    assert ["1", "3-1/2", "0.00°", "90.00°", "6"] in rows


def test_a_corner_without_radius_is_an_error(tmp_path, capsys):
    """Corner to corner: 300 and 300, no radius; status 1."""
    path = corner(tmp_path / "corner.dxf")
    outcome = run(capsys, "table", path, "--json")
    assert outcome.status == 1
    (tube,) = outcome.json["tubes"]
    assert tube["bends"][0]["clr"] is None
    assert (tube["bends"][0]["feed"], tube["tail"]) == pytest.approx((300.0, 300.0), abs=1e-9)
    assert [f["code"] for f in outcome.json["findings"] if f["severity"] == "error"] == ["corner-no-radius"]
    text = run(capsys, "table", path)
    assert text.status == 1
    assert "none" in text.out


def test_clr_is_read_in_the_drawing_unit(tmp_path, capsys):
    """--clr 4 in an inch drawing is 101.6 mm; a 90 degree corner costs the straight one radius."""
    path = corner(tmp_path / "corner.dxf", unit=1, leg=20.0)
    outcome = run(capsys, "table", path, "--clr", "4", "--json")
    assert outcome.status == 0
    (bend,) = outcome.json["tubes"][0]["bends"]
    assert (bend["clr"], bend["feed"]) == pytest.approx((101.6, 16 * 25.4), abs=1e-9)
    named = run(capsys, "table", path, "--clr", "101.6mm", "--json").json
    assert named["tubes"] == outcome.json["tubes"]


def test_a_die_rounds_the_corner_and_the_demo_shop_is_named(tmp_path, capsys):
    """25 mm tube: the demo shop's only die for it has a 75 mm radius."""
    path = corner(tmp_path / "corner.dxf")
    outcome = run(capsys, "table", path, "--section", "25x2mm", "--json")
    assert outcome.status == 0
    assert outcome.json["tubes"][0]["bends"][0]["clr"] == pytest.approx(75.0)
    assert {"corner-filleted", "demo-shop"} <= {f["code"] for f in outcome.json["findings"]}
    shop = tmp_path / "shop.toml"
    shop.write_text("units='mm'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=25\nclr=60\n")
    outcome = run(capsys, "table", path, "--section", "25x2mm", "--shop", shop, "--json")
    assert outcome.json["tubes"][0]["bends"][0]["clr"] == pytest.approx(60.0)
    assert "demo-shop" not in {f["code"] for f in outcome.json["findings"]}


def test_refit_moves_the_bend_to_the_die(tmp_path, capsys):
    """100 to 75 mm in 90 degrees: both straights grow by 25 tan 45 = 25 mm."""
    path = hook(tmp_path / "hook.dxf")
    document = run(capsys, "table", path, "--section", "25x2mm", "--refit", "--json").json
    (tube,) = document["tubes"]
    assert (tube["bends"][0]["clr"], tube["bends"][0]["feed"], tube["tail"]) == pytest.approx((75, 325, 325), abs=1e-9)
    assert "refit" in {f["code"] for f in document["findings"]}


def test_section_per_layer_wins_and_a_layer_may_hold_an_equals_sign(tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf", layer="AxB")
    path.write_bytes(path.read_bytes().replace(b"AxB", b"A=B"))
    words = ["--section", "30x2mm", "--section", "A=B=25x2mm"]
    assert run(capsys, "table", path, *words, "--json").json["tubes"][0]["section"]["od"] == 25.0


def test_a_table_from_the_other_end(tmp_path, capsys):
    """Reversed, the straights swap and the ends with them."""
    path = tmp_path / "uneven.dxf"
    corner(path)
    import ezdxf

    doc = ezdxf.new(units=4)
    doc.modelspace().add_lwpolyline([(0, 0), (200, 0), (200, 500)], dxfattribs={"layer": "T"})
    doc.saveas(path)
    one = run(capsys, "table", path, "--clr", "50", "--json").json["tubes"][0]
    other = run(capsys, "table", path, "--clr", "50", "--reverse", "--json").json["tubes"][0]
    assert (one["bends"][0]["feed"], one["tail"]) == pytest.approx((150, 450), abs=1e-9)
    assert (other["bends"][0]["feed"], other["tail"]) == pytest.approx((450, 150), abs=1e-9)
    assert (one["start"], one["end"]) == (
        pytest.approx(other["end"], abs=1e-9),
        pytest.approx(other["start"], abs=1e-9),
    )


def test_standard_input(tmp_path, capsys, monkeypatch):
    data = hook(tmp_path / "hook.dxf").read_bytes()
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(data)))
    outcome = run(capsys, "table", "-", "--json")
    assert outcome.status == 0
    assert outcome.json["source"] == "-"
    assert len(outcome.json["tubes"]) == 1


def test_layers_can_be_chosen(tmp_path, capsys):
    import ezdxf

    doc = ezdxf.new(units=4)
    model = doc.modelspace()
    for i, layer in enumerate(("TUBE", "AXIS", "TUBE 2")):
        model.add_line((0, 100 * i), (500, 100 * i), dxfattribs={"layer": layer, "color": i + 1})
    path = tmp_path / "three.dxf"
    doc.saveas(path)

    def layers(*words):
        return {tube["layer"] for tube in run(capsys, "table", path, *words, "--json").json["tubes"]}

    assert layers() == {"TUBE", "AXIS", "TUBE 2"}
    assert layers("--layer", "tube*") == {"TUBE", "TUBE 2"}
    assert layers("--skip-layer", "AXIS") == {"TUBE", "TUBE 2"}
    assert layers("--skip-layer", "AXIS", "--skip-layer", "TUBE") == {"TUBE 2"}
    assert layers("--skip-color", "2") == {"TUBE", "TUBE 2"}
    message = failed(run(capsys, "table", path, "--layer", "NOTHING"))
    assert "NOTHING" in message


def test_verbose_and_quiet(tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf", unit=0)
    assert "[units-assumed" in run(capsys, "table", path, "--verbose").out
    quiet = run(capsys, "table", path, "--quiet")
    assert (quiet.status, quiet.err) == (0, "")
    assert "developed length" in quiet.out
    failed(run(capsys, "table", path, "--quiet", "--verbose"))


# --- bad input: one sentence, status 2, nothing written -----------------------------------------


def _empty(path):
    path.write_bytes(b"")


def _text(path):
    path.write_text("Dear sir,\nplease find the drawing attached.\n")


def _cut_short(path):
    hook(path)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])


def _header_only(path):
    path.write_text("  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF\n")


def _nan(path):
    path.write_text(
        "0\nSECTION\n2\nENTITIES\n0\nLINE\n8\nT\n10\nnan\n20\n0\n30\n0\n11\n5\n21\n0\n31\n0\n0\nENDSEC\n0\nEOF\n"
    )


def _picture(path):
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(64))


def _noise(path):
    path.write_bytes(bytes(range(256)) * 40)


BAD_FILES = [_empty, _text, _cut_short, _header_only, _nan, _picture, _noise]


@pytest.mark.parametrize("make", BAD_FILES)
@pytest.mark.parametrize("command", ["table", "audit", "convert"])
def test_a_bad_file_is_one_sentence_that_names_it(make, command, tmp_path, capsys):
    path = tmp_path / "bad.dxf"
    make(path)
    out = ["--out", tmp_path / "out"] if command == "convert" else []
    message = failed(run(capsys, command, path, *out))
    assert "bad.dxf" in message
    outcome = run(capsys, command, path, *out, "--json")
    assert outcome.status == 2
    one_sentence(outcome.err)
    assert outcome.json["schema"] == "elbowroom/error/1"
    assert set(outcome.json["error"]) == {"code", "message", "file", "where"}
    assert outcome.json["error"]["file"] == str(path)
    assert files(tmp_path) == {"bad.dxf"}


def test_a_missing_file_a_directory_and_a_wrong_extension(tmp_path, capsys):
    assert "gone.dxf" in failed(run(capsys, "table", tmp_path / "gone.dxf"))
    assert "directory" in failed(run(capsys, "table", tmp_path))
    drawing = hook(tmp_path / "hook.dxf")
    renamed = drawing.rename(tmp_path / "hook.txt")
    assert run(capsys, "table", renamed).status == 0, "what a file is, is decided by its content"


BAD_OPTIONS = [
    ["--units", "furlong"],
    ["--units", "mi"],
    ["--join", "0"],
    ["--join", "-1"],
    ["--join", "nan"],
    ["--join", "1e999"],
    ["--near", "0.01mm"],
    ["--fit", "-1mm"],
    ["--fit", "two"],
    ["--tangent", "0"],
    ["--tangent", "45"],
    ["--tangent", "nan"],
    ["--tangent", "x"],
    ["--clr", "0"],
    ["--clr", "-4"],
    ["--clr", "4 stones"],
    ["--section", ""],
    ["--section", "big"],
    ["--section", "1x2in"],
    ["--section", "=1x0.1in"],
    ["--section", "TUBE=nonsense"],
    ["--fraction", "0"],
    ["--fraction", "3"],
    ["--fraction", "256"],
    ["--fraction", "x"],
    ["--fraction", "8", "--mm"],
    ["--in", "--mm"],
    ["--feed-from", "C"],
    ["--layers", "both"],
    ["--layout", "No such layout"],
    ["--shop", "no-such.toml"],
    ["--job", "no-such.toml"],
    ["--shop", "."],
]


@pytest.mark.slow
@pytest.mark.parametrize("words", BAD_OPTIONS, ids=" ".join)
@pytest.mark.parametrize("command", ["table", "audit", "convert"])
def test_an_option_out_of_range_is_one_sentence(words, command, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    hook(tmp_path / "hook.dxf")
    out = ["--out", "out", "--to", "csv"] if command == "convert" else []
    failed(run(capsys, command, "hook.dxf", *out, *words))
    assert files(tmp_path) == {"hook.dxf"}


def test_how_far_a_tube_strays_is_told_in_the_unit_of_its_lengths(capsys, tmp_path):
    """A bend in chords whose corners are rounded to 0.01 in: the table stays within 0.01 in, and says so in inches."""
    doc = ezdxf.new("R2010", units=1)
    bend = [(10 + 3 * math.sin(math.radians(t)), 3 - 3 * math.cos(math.radians(t))) for t in range(0, 91, 6)]
    points = [(0, 0), *bend, (13, 12)]
    doc.modelspace().add_lwpolyline([(round(x, 2), round(y, 2)) for x, y in points])
    doc.saveas(tmp_path / "chords.dxf")
    text = run(capsys, "table", str(tmp_path / "chords.dxf"), "--fit", "0.02in").out
    (strays,) = re.findall(r"strays up to (\d\.\d+) in from what was drawn", text)
    assert 0.0005 < float(strays) < 0.01


@pytest.mark.parametrize(
    ("rows", "kept"),
    [
        (("300,0,90,100", "0,0,90,100", "300,,,"), 1),  # typed as two bends
        (("400,0,90,", "200,0,90,", "400,,,"), 1),  # as two corners of legs 400, 200, 400
        (("300,0,90,100", "0.2,0,90,100", "300,,,"), 2),  # with some straight between
        (("300,0,90,100", "0,30,90,100", "300,,,"), 2),  # not in one plane
        (("300,0,90,100", "0,0,90,120", "300,,,"), 2),  # of two radii
    ],
)
def test_one_shape_is_one_table_typed_or_drawn(rows, kept, tmp_path, capsys):
    """A U of two quarter bends without a straight between: one half turn, as the corner points of it are.

    By hand: feed and tail 400 less the radius, and the way is 300 + 100 pi + 300.
    """
    typed, points = tmp_path / "typed.csv", tmp_path / "points.csv"
    typed.write_text("\n".join(("feed_mm,rotation_deg,angle_deg,clr_mm", *rows)) + "\n")
    points.write_text("x_mm,y_mm,z_mm\n0,0,0\n400,0,0\n400,200,0\n0,200,0\n")
    document = run(capsys, "table", typed, "--clr", "100", "--json").json
    (tube,) = document["tubes"]
    assert len(tube["bends"]) == kept
    told = [finding for finding in document["findings"] if finding["code"] == "corners-joined"]
    assert len(told) == (kept == 1)
    if kept == 1:
        (drawn,) = run(capsys, "table", points, "--clr", "100", "--json").json["tubes"]
        for one in (tube, drawn):
            (bend,) = one["bends"]
            assert (bend["feed"], bend["angle"], bend["clr"], one["tail"]) == pytest.approx(
                (300.0, 180.0, 100.0, 300.0)
            )
            assert one["developed_length"] == pytest.approx(600.0 + 100.0 * math.pi)


def test_a_blank_radius_is_a_sharp_corner_unless_it_was_drawn_as_a_kink(tmp_path, capsys):
    """It was neither: `--clr` gave it no radius, and no error told that nothing did."""
    path = tmp_path / "typed.csv"
    path.write_text("feed_mm,rotation_deg,angle_deg,clr_mm,drawn_sharp\n400,0,90,,\n500,0,45,,no\n300,,,,\n")
    bare = run(capsys, "table", path, "--json")
    assert bare.status == 1
    assert [f["bend"] for f in bare.json["findings"] if f["code"] == "corner-no-radius"][:1] == [1]
    given = run(capsys, "table", path, "--clr", "100", "--json").json
    (tube,) = given["tubes"]
    # the radius is typed, so no die of the demo shop has a part in it
    assert "demo-shop" not in {finding["code"] for finding in given["findings"]}
    assert [bend["clr"] for bend in tube["bends"]] == [100.0, None]
