"""Odd input and odd surroundings: one clear sentence or a sound answer, never a slip of ours or a library's word."""

from __future__ import annotations

import io
import json
import logging
import os
import re
import subprocess
import sys
import warnings
import zipfile
from functools import partial
from pathlib import Path

import click
import ezdxf
import pytest
import trimesh
from command_line import failed, hook, one_sentence, run
from places import ROOT

from converter.cli import streams
from converter.cli.main import elbowroom
from converter.errors import ReadError, UnitsError
from converter.findings import Finding
from converter.importers.registry import read
from converter.model.curve import reach
from converter.quoting import LONGEST_QUOTE, decoded, is_blank, one_line, quoted, reason_of, shortened
from converter.units import FARTHEST, parse_length

HUGE = "9" * 5000


# --- quoting --------------------------------------------------------------------------------


def test_a_quoted_text_is_short_and_shows_its_start_and_its_end():
    text = quoted("left rail " + "x" * 5000 + " the end")
    assert len(text) == LONGEST_QUOTE + 2 and text.startswith("'left rail xxx") and text.endswith("xx the end'")
    assert text.count("…") == 1
    assert quoted("RAIL") == "'RAIL'" and quoted("the guv'nor") == '"the guv\'nor"'
    assert shortened("y" * LONGEST_QUOTE) == "y" * LONGEST_QUOTE


def test_a_quoted_text_shows_every_character_on_one_line():
    assert quoted("a\x1b[31mb\u202ec\r\nd\te\u200bf") == "'a[U+001B][31mb[U+202E]c d e[U+200B]f'"
    assert one_line("  a \n b\u2066 ") == "a b[U+2066]"
    assert shortened(16**6000) == "a number of thousands of digits"


@pytest.mark.parametrize("text", ["", " ", "\t\n", "\u3000", "\u200b", "\u202e \u2066", "\x00", "\ud800"])
def test_what_does_not_show_is_blank(text):
    assert is_blank(text) and not is_blank(f"{text}x")


def test_a_slip_inside_a_library_is_not_handed_on_as_its_words():
    assert reason_of(AttributeError("'list' object has no attribute 'get'")) == "its parts do not fit together"
    assert reason_of(ValueError("line 3: no such unit.")) == "line 3: no such unit"
    assert "set_int_max" not in reason_of(ValueError("too long; use sys.set_int_max_str_digits() to raise it"))


def test_a_long_name_is_shortened_in_a_finding_and_whole_beside_it():
    name = "R" * 5000
    found = Finding("refit", tube=name, values={"bends": 2, "clr": 50.0, "moved": 1.0})
    refitted = "R: 2 bends were changed to a radius of 50.00 mm (refit); the centerline moves by up to 1.00 mm."
    assert len(found.message) < 80 + len(refitted) and found.message.endswith(refitted) and found.tube == name


# --- numbers out of all proportion -----------------------------------------------------------


def drawing(path, *adders):
    """A good line, and on the layer WILD what the adders add, with the handles A0, A1..."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    model.add_line((0, 0), (300, 0), dxfattribs={"layer": "GOOD"})
    for i, add in enumerate(adders):
        add(model, {"layer": "WILD", "handle": f"A{i}"})
    doc.saveas(path)
    return path


SHAPES = (
    lambda v, m, d: m.add_line((0, 0), (v, 50), dxfattribs=d),
    lambda v, m, d: m.add_arc((v, 0), 50, 0, 90, dxfattribs=d),
    lambda v, m, d: m.add_circle((0, 0), abs(v), dxfattribs=d),
    lambda v, m, d: m.add_ellipse((0, 0), (v, 0), 0.5, dxfattribs=d),
    lambda v, m, d: m.add_lwpolyline([(0, 0), (100, 0), (v, v)], dxfattribs=d),
    lambda v, m, d: m.add_lwpolyline([(0, 0, 0, 0, 1.0), (v, 100, 0, 0, 0)], dxfattribs=d),
    lambda v, m, d: m.add_polyline3d([(0, 0, 0), (100, 0, v), (200, 0, 0)], dxfattribs=d),
    lambda v, m, d: m.add_open_spline([(0, 0), (50, v), (100, v), (150, 0)], dxfattribs=d),
    lambda v, m, d: m.add_spline([(0, 0), (50, v), (100, -v), (150, 0)], dxfattribs=d),
)


@pytest.mark.parametrize("value", [1e12, 1e155, 1e200, 1e308, -1e308])
def test_curves_too_far_away_are_left_out_by_name_and_the_rest_is_read(tmp_path, capsys, value):
    path = drawing(tmp_path / "far.dxf", *(partial(shape, value) for shape in SHAPES))
    outcome = run(capsys, "table", path, "--json")
    assert outcome.status == 1 and outcome.err == "", outcome.err
    assert [tube["name"] for tube in outcome.json["tubes"]] == ["GOOD"]
    said = [f for f in outcome.json["findings"] if f["code"] == "entity-unread"]
    assert {f["severity"] for f in said} == {"error"}
    for i in range(len(SHAPES)):
        (message,) = [f["message"] for f in said if f" A{i} on layer 'WILD' was not read" in f["message"]]
        assert not re.search(r"\b(inf|nan)\b", message)


def test_a_block_blown_up_beyond_all_measure_is_left_out_by_name(tmp_path, capsys):
    def add(model, given):
        block = model.doc.blocks.new("B")
        block.add_line((0, 0), (100, 0))
        model.add_blockref("B", (0, 0), dxfattribs={**given, "xscale": 1e300})

    outcome = run(capsys, "table", drawing(tmp_path / "block.dxf", add), "--json")
    assert outcome.status == 1 and [tube["name"] for tube in outcome.json["tubes"]] == ["GOOD"]
    assert any("INSERT A0 on layer 'WILD'" in f["message"] for f in outcome.json["findings"])


def test_a_hair_of_a_bulge_is_a_straight(tmp_path):
    """A chord of 1000 mm with a bulge of 1e-13 has its center 2.5e15 mm away: no number holds it to the millimetre."""
    path = drawing(
        tmp_path / "bulge.dxf", lambda m, d: m.add_lwpolyline([(0, 9, 0, 0, 1e-13), (1000, 9, 0, 0, 0)], dxfattribs=d)
    )
    assert [reach(one.curve) for one in read(path).curves] == [300.0, 1000.0]


@pytest.mark.parametrize("text", ["1e12 mm", "1e308", "1" * 60, "1e8 mi", "9999999999999 1/2 in"])
def test_a_length_that_no_tube_has_is_refused(text):
    with pytest.raises(UnitsError, match=r"is more than 100,000 km, which no tube is|not a finite length"):
        parse_length(text)
    assert parse_length("1 km") * 100_000 == FARTHEST


@pytest.mark.parametrize("cell", ["1e12", "1e308", HUGE, "nan", "inf"])
@pytest.mark.parametrize("column", ["feed_mm", "clr_mm", "start_x_mm", "direction_x", "angle_deg", "bend"])
def test_a_wild_number_in_a_table_is_named_by_its_cell(tmp_path, capsys, column, cell):
    row = {"bend": "1", "feed_mm": "100", "rotation_deg": "0", "angle_deg": "90", "clr_mm": "50"}
    row |= {"start_x_mm": "0", "start_y_mm": "0", "start_z_mm": "0"}
    row |= {"direction_x": "1", "direction_y": "0", "direction_z": "0"} | {column: cell}
    path = tmp_path / "wild.csv"
    path.write_text(f"{','.join(row)}\n{','.join(row.values())}\n,70,,,,,,,,,\n", encoding="utf-8")
    sentence = failed(run(capsys, "table", path))
    assert "row 2" in sentence and column in sentence and len(sentence) < 400


def table_json(path):
    tube = {
        "name": "A", "layer": None, "closed": False, "section": None, "start": [0, 0, 0], "end": [200, 150, 0],
        "bends": [{"feed": 100, "rotation": 0, "angle": 90, "clr": 50}], "tail": 100,
    }  # fmt: skip
    document = {"schema": "elbowroom/table/1", "drawing_units": "mm", "tubes": [tube], "findings": [], "ignored": []}
    path.write_text(json.dumps(document), encoding="utf-8")
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize("value", ["1" + "0" * 400, HUGE, "1e308", "1e400", "NaN", '"100"', "true", "[]", "null"])
@pytest.mark.parametrize("key", ["feed", "tail", "start", "angle"])
def test_a_wild_number_in_our_json_is_named_by_its_tube(tmp_path, capsys, key, value):
    text = table_json(tmp_path / "a.json")
    old = {"feed": '"feed": 100', "tail": '"tail": 100', "start": '"start": [0', "angle": '"angle": 90'}[key]
    new = re.sub(r"\d+$", lambda _: value, old)
    (tmp_path / "a.json").write_text(text.replace(old, new), encoding="utf-8")
    sentence = failed(run(capsys, "table", tmp_path / "a.json"))
    assert "tubes[0] cannot be" in sentence and len(sentence) < 400


@pytest.mark.parametrize(
    ("old", "new"),
    [('"bends": [{', '"bends": [7, {'), ('"bends": [', '"bends": {"x": ['), ('"start": [0, ', '"start": [')],
)
def test_our_json_of_another_shape_is_told_without_pythons_words(tmp_path, capsys, old, new):
    text = table_json(tmp_path / "a.json").replace(old, new)
    if new.endswith('{"x": ['):
        text = text.replace('], "tail"', ']}, "tail"')
    (tmp_path / "a.json").write_text(text, encoding="utf-8")
    sentence = failed(run(capsys, "table", tmp_path / "a.json"))
    assert re.search(r"tubes\[0\] cannot be: (a bend is no|'bends' is no list|a point is no)", sentence)


@pytest.mark.parametrize("command", ["table", "audit", "setup"])
def test_a_bend_of_next_to_nothing_is_a_bend(tmp_path, capsys, command):
    path = tmp_path / "tiny.csv"
    rows = "1,100,0,90,50\n2,80,0,1e-12,50\n3,80,0,90,50\n,70,,,\n"
    path.write_text(f"bend,feed_mm,rotation_deg,angle_deg,clr_mm\n{rows}", encoding="utf-8")
    outcome = run(capsys, command, path, "--section", "25x2mm")
    assert outcome.status in (0, 1) and outcome.err == ""


@pytest.mark.parametrize("command", ["audit", "setup", "cope"])
def test_a_line_folded_back_on_itself_is_told(tmp_path, capsys, command):
    path = tmp_path / "folded.csv"
    path.write_text("x_mm,y_mm,z_mm\n0,0,0\n0,0,900\n300,0,900\n300,600,900\n300,0,900\n", encoding="utf-8")
    outcome = run(capsys, command, path, "--section", "25x2mm", "--json")
    assert outcome.status in (1, 2) and "inside elbowroom" not in outcome.err
    if command == "audit":
        assert "fold-back" in {finding["code"] for finding in outcome.json["findings"]}


# --- containers ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def package():
    return trimesh.creation.annulus(10, 12, 200, sections=16).export(file_type="3mf")


def changed(data: bytes, mark: bytes, at: int, value: int, size: int = 2) -> bytes:
    """A zip package with a number set in every record that starts with ``mark``."""
    out = bytearray(data)
    place = out.find(mark)
    while place >= 0:
        out[place + at : place + at + size] = value.to_bytes(size, "little")
        place = out.find(mark, place + 4)
    return bytes(out)


def without_model(data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            if not name.endswith(".model"):
                new.writestr(name, old.read(name))
    return out.getvalue()


PACKAGES = {
    "unknown compression": (
        lambda d: changed(d, b"PK\x01\x02", 10, 99),
        "(com|)?(pressed|packed) in a way that",
    ),
    "encrypted": (lambda d: changed(d, b"PK\x01\x02", 8, 1), "locked with a password"),
    "strongly encrypted": (lambda d: changed(d, b"PK\x01\x02", 8, 0x41), "locked with a password"),
    "a version to come": (
        lambda d: changed(d, b"PK\x01\x02", 6, 200),
        "(com|)?(pressed|packed) in a way that",
    ),
    "wrong checksum": (lambda d: changed(d, b"PK\x01\x02", 16, 7, 4), "cannot be unpacked"),
    "wrong place": (lambda d: changed(d, b"PK\x01\x02", 42, 99_999_999, 4), "cannot be unpacked"),
    "names that run over": (lambda d: changed(d, b"PK\x01\x02", 28, 60_000), "is damaged|is cut short"),
    "no directory": (lambda d: changed(d, b"PK\x05\x06", 16, 4_000_000_000, 4), "no whole zip package"),
    "cut": (lambda d: d[:-30], "no whole zip package"),
    "no model": (without_model, "without a 3MF model"),
}


@pytest.mark.parametrize("fault", PACKAGES)
def test_a_damaged_package_is_told_in_one_sentence(tmp_path, capsys, package, fault):
    damage, words = PACKAGES[fault]
    path = tmp_path / "tube.3mf"
    path.write_bytes(damage(package))
    sentence = failed(run(capsys, "table", path))
    assert re.search(words, sentence) and "inside elbowroom" not in sentence


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("a.gltf", '{"asset": {"version": "2.0"}, "accessors": [' + HUGE, "not sound JSON"),
        ("a.gltf", "[]", "no glTF"),
        ("a.glb", "glTF", "at least 12 bytes"),
        ("a.glb", "glTF\x02\0\0\0\x0c\0\0\0", "is not sound JSON"),
    ],
)
def test_a_damaged_gltf_is_told_in_one_sentence(tmp_path, capsys, name, text, words):
    (tmp_path / name).write_text(text, encoding="latin-1")
    sentence = failed(run(capsys, "table", tmp_path / name))
    assert words in sentence and "unpack (" not in sentence


# --- names -----------------------------------------------------------------------------------

BLANK = ["   ", "\u3000", "\u200b\u200b", "\u202e"]


@pytest.mark.parametrize("name", BLANK)
def test_tubes_without_a_name_that_shows_get_one_that_reads_back(tmp_path, capsys, name):
    text = table_json(tmp_path / "a.json")
    document = json.loads(text)
    (tube,) = document["tubes"]
    document["tubes"] = [tube | {"name": name, "layer": name}, tube | {"name": "B"}, tube | {"name": name}]
    (tmp_path / "a.json").write_text(json.dumps(document), encoding="utf-8")
    assert run(capsys, "convert", tmp_path / "a.json", "--to", "csv,json", "--out", tmp_path / "out").status in (0, 1)
    tables = [run(capsys, "table", tmp_path / "out" / f"a.{kind}", "--json").json["tubes"] for kind in ("csv", "json")]
    for tubes in tables:
        assert [one["name"] for one in tubes] == ["tube-1", "B", "tube-2"]
        assert [one["bends"] for one in tubes] == [tube["bends"]] * 3


def test_names_that_no_file_keeps_stay_apart(tmp_path, capsys):
    text = table_json(tmp_path / "a.json")
    document = json.loads(text)
    (tube,) = document["tubes"]
    document["tubes"] = [tube | {"name": name} for name in ("a\ud800", "a\udfff", "a\0")]
    (tmp_path / "a.json").write_text(json.dumps(document), encoding="utf-8")
    assert run(capsys, "convert", tmp_path / "a.json", "--to", "csv", "--out", tmp_path / "out").status in (0, 1)
    tubes = run(capsys, "table", tmp_path / "out" / "a.csv", "--json").json["tubes"]
    assert [one["name"] for one in tubes] == ["a\ufffd-1", "a\ufffd-2", "a\ufffd-3"]


def test_a_very_long_name_is_shortened_in_every_sentence(tmp_path, capsys):
    text = table_json(tmp_path / "a.json")
    name = "RAIL " * 1000
    (tmp_path / "a.json").write_text(text.replace('"A"', json.dumps(name)), encoding="utf-8")
    outcome = run(capsys, "audit", tmp_path / "a.json", "--json")
    assert outcome.status in (0, 1) and outcome.json["findings"]
    assert all(len(finding["message"]) < 500 for finding in outcome.json["findings"])
    assert {finding["tube"] for finding in outcome.json["findings"]} == {name, None}


# --- the streams -----------------------------------------------------------------------------


def shell(line: str, folder: Path) -> tuple[int, str]:
    """Exit status of a shell line and what it left on stderr; ``E`` stands for the program."""
    program = f'"{sys.executable}" -m converter'
    wanted = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    done = subprocess.run(
        ["sh", "-c", line.replace("E ", f"{program} ", 1)],
        cwd=folder,
        env=wanted | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("streams")
    hook(made / "hook.dxf")
    return made


@pytest.mark.slow
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device without room")
@pytest.mark.parametrize(
    "line",
    [
        "E table hook.dxf > /dev/full",
        "E table hook.dxf --json > /dev/full",
        "PYTHONUNBUFFERED=1 E table hook.dxf --json > /dev/full",
        "E convert hook.dxf --to csv --out - > /dev/full",
        "E --help > /dev/full",
    ],
)
def test_results_that_find_no_room_are_told_once(folder, line):
    status, err = shell(line, folder)
    assert status == 2
    assert "cannot be written (no space left on device)" in one_sentence(err)


def test_results_cut_by_a_limit_are_told_also_without_a_buffer(folder):
    """The system takes half of one write; without a buffer the rest would be lost in silence."""
    # nor may the limit cut the bytecode that the interpreter keeps beside the modules
    line = "ulimit -f 1; PYTHONDONTWRITEBYTECODE=1 PYTHONUNBUFFERED=1 E convert --help > cut"
    status, err = shell(line, folder)
    assert status == 2 and "cannot be written (file too large)" in one_sentence(err)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("line", "status", "words"),
    [
        ("E table hook.dxf >&-", 2, "cannot be written"),
        ("E table - <&-", 2, "Standard input is empty"),
        ("E table nowhere.dxf 2>&-", 2, ""),
        ("E table hook.dxf <&- >&- 2>&-", 2, ""),
        ("E table nowhere.dxf 2>/dev/full", 2, ""),
        ("E table nowhere.dxf --json > /dev/full", 2, "does not exist"),
    ],
)
def test_closed_and_full_streams_leave_a_status_and_no_traceback(folder, line, status, words):
    got, err = shell(line, folder)
    assert got == status
    assert words in one_sentence(err) if words else err == ""


def test_a_shop_file_on_standard_input_that_is_no_text_is_told(capsys, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"units = '\xff'"), encoding="utf-8"))
    assert "is not UTF-8 text (line 1)" in failed(run(capsys, "shop", "check", "-"))


def test_no_word_of_a_library_reaches_the_user(tmp_path, capsys, monkeypatch):
    path = hook(tmp_path / "hook.dxf")
    whole = read

    def chatty(*given):
        warnings.warn("invalid value encountered", RuntimeWarning, stacklevel=1)
        warnings.warn("to be removed", DeprecationWarning, stacklevel=1)
        logging.getLogger("trimesh").warning("mesh is odd")
        logging.getLogger("ezdxf").error("table is odd")
        return whole(*given)

    monkeypatch.setattr("converter.importers.registry.read", chatty)
    monkeypatch.setattr(logging.getLogger(), "handlers", [])  # pytest's own
    with warnings.catch_warnings():
        warnings.resetwarnings()
        outcome = run(capsys, "table", path)
    assert outcome.status == 0 and outcome.err == ""
    assert logging.lastResort.level == logging.WARNING, "the next in this process hears them again"


def test_a_slip_of_ours_is_one_short_line(tmp_path, capsys, monkeypatch):
    def slip(*given):
        raise RuntimeError("very long\n" * 500)

    monkeypatch.setattr("converter.importers.registry.read", slip)
    sentence = failed(run(capsys, "table", hook(tmp_path / "hook.dxf")))
    assert "RuntimeError: very long very long" in sentence and len(sentence) <= 300


def test_streams_given_up_stay_given_up(tmp_path):
    with open(tmp_path / "a", "w", encoding="utf-8") as stream:
        stream.write("x")
        streams.drop(stream)
    assert (tmp_path / "a").read_text(encoding="utf-8") == ""


# --- options ---------------------------------------------------------------------------------

ODD_VALUES = [
    "", " ", "nan", "-inf", "-1", "1e308", HUGE, "\u0661\u0662", "a\nb", "\u202eabc", "x" * 5000, "=", "RAIL=", "=1x1",
    "½", "1/0", "²", ":", "nan:nan", "1e308:1", "\udcff", "[", "1x1x1x1x1", ",", "1" * 200,
]  # fmt: skip


@pytest.mark.parametrize("command", ["setup", "springback"])
def test_no_value_of_any_option_is_answered_with_a_slip(tmp_path, capsys, monkeypatch, command):
    monkeypatch.chdir(tmp_path)
    function = elbowroom.get_command(click.Context(elbowroom), command)
    base = [command, hook(tmp_path / "hook.dxf")]
    if command == "springback":
        run(capsys, "shop", "new", "shop.toml")
        base = [command, "shop.toml", "--target", "90"]
    for place, option in enumerate(function.params):
        if not isinstance(option, click.Option) or option.is_flag:
            continue
        for value in ODD_VALUES[place % 3 :: 3]:  # a third for each, another one for its neighbour
            outcome = run(capsys, *base, option.opts[-1], value)
            asked = f"{command} {option.opts[-1]} {value[:20]!r}"
            assert outcome.status in (0, 1, 2), asked
            if outcome.status == 2:
                sentence = failed(outcome)
                assert "inside elbowroom" not in sentence and len(sentence) < 700, f"{asked}: {sentence[:300]}"


def test_an_odd_name_of_a_file_that_is_not_there_is_shown_whole_and_visible(capsys):
    assert "no[U+202E]file.dxf does not exist" in failed(run(capsys, "table", "no\u202efile.dxf"))
    sentence = failed(run(capsys, "table", "x" * 5000))
    assert len(sentence) < 400
    with pytest.raises(ReadError):
        read("x" * 5000)


def test_a_file_that_is_not_there_is_looked_for_beside_its_name(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("rail.dxf", "my gate.dxf", "shop.toml", ".hidden.dxf"):
        (tmp_path / name).touch()
    for typed, cure in (
        ("rial.dxf", "did you mean rail.dxf?"),
        ("rail", "did you mean rail.dxf?"),
        ("my", 'did you mean "my gate.dxf"? A name with blanks stands in quotes.'),
        ("orders/rail.dxf", f"there is no folder {tmp_path}/orders."),
        ("hidden.dxf", f"check the name; {tmp_path} was looked in."),
        ("frame.step", f"check the name; {tmp_path} was looked in."),
    ):
        assert failed(run(capsys, "table", typed)) == f"{typed} does not exist: {cure}"
    assert "did you mean shop.toml?" in failed(run(capsys, "table", "rail.dxf", "--shop", "shp.toml"))


def test_a_file_of_another_kind_is_told_as_that(capsys, tmp_path):
    drawing = hook(tmp_path / "hook.dxf")
    shop, job, rack = (tmp_path / f"{name}.toml" for name in ("shop", "job", "rack"))
    shop.write_text('[shop]\nname = "yard"\n', encoding="utf-8")
    job.write_text('[layer.TUBE]\nsection = "25x2mm"\n', encoding="utf-8")
    rack.write_text('[[bar]]\nsection = "25x2mm"\nlength = "6m"\n', encoding="utf-8")
    for option, file, told in (
        ("--job", shop, "is a shop file, not a job file: name it with --shop."),
        ("--shop", job, "is a job file, not a shop file: name it with --job."),
        ("--shop", rack, "is a rack file, not a shop file: name it with --rack."),
        ("--rack", shop, "is a shop file, not a rack file: name it with --shop."),
    ):
        command = "cutlist" if option == "--rack" else "table"
        assert failed(run(capsys, command, drawing, option, file)) == f"{file} {told}"
    both = tmp_path / "both.toml"
    both.write_text('[shop]\nname = "yard"\n[layer.TUBE]\nsection = "25x2mm"\n', encoding="utf-8")
    assert "both.toml: layer is not a known key" in failed(run(capsys, "table", drawing, "--shop", both))


def test_a_format_or_a_bar_that_is_likely_another_names_it(capsys, tmp_path):
    drawing, out = hook(tmp_path / "hook.dxf"), tmp_path / "out"
    for typed, told in (("stp", "did you mean step?"), ("pdf", "did you mean template-pdf, cope-pdf or sheet-pdf?")):
        assert told in failed(run(capsys, "convert", drawing, "--out", out, "--to", typed))
    assert "use csv, points-csv" in failed(run(capsys, "convert", drawing, "--out", out, "--to", "xlsx"))
    bars = ("cutlist", drawing, "--section", "25x2mm", "--bar")
    assert failed(run(capsys, *bars, "6")) == "--bar 6 would be 6 mm: write it with its unit, as 20ft or 6m."
    assert "1 piece from 1 bar" in run(capsys, *bars, "6m").out
    assert "1 piece from 1 bar" in run(capsys, *bars, "800mm").out


def test_a_command_that_there_is_not_names_the_one_meant(capsys, tmp_path):
    assert "No such command 'tabel'. Did you mean table?" in failed(run(capsys, "tabel", "rail.dxf"))
    drawing = tmp_path / "rail.dxf"
    drawing.touch()
    assert "A command stands before the file: elbowroom table FILE." in failed(run(capsys, str(drawing)))
    assert "Did you mean" not in failed(run(capsys, "zzz"))


@pytest.mark.parametrize("name", ["Rohr groß 1", "架子", "Ständer – links"])
def test_names_whose_utf8_was_taken_for_latin_1_are_put_right(name):
    mangled = name.encode("utf-8").decode("latin-1")
    assert decoded(mangled) == name == decoded(name)


@pytest.mark.parametrize("name", ["Tube 1", "Größe", "Ø 38", "Ã", "Ä¤x²", "“post”"])
def test_other_names_stay(name):
    """Of Latin-1 only a letter of two that are UTF-8 by chance would change."""
    assert decoded(name) == name
