"""``elbowroom audit`` and ``convert``: verdicts, files, exit statuses."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from collections import Counter

import ezdxf
import pytest
from command_line import corner, failed, files, hook, one_sentence, run
from dxf_tools import new

from converter.cli.screens.findings import findings_text
from converter.findings import Finding
from converter.units import Display

SHOP = """\
units = "mm"
[shop]
name = "Shed"
[[die]]
name = "D25"
od = 25
clr = 100
max_angle = 180
clamp = 60
tail = 40
"""


@pytest.fixture
def shop(tmp_path):
    path = tmp_path / "shed.toml"
    path.write_text(SHOP)
    return path


def test_a_unit_in_doubt_is_told_before_the_errors_that_come_of_it(tmp_path, capsys):
    """A rail drawn in inches without a unit: the shop's inches make it; read as mm its corners do not fit the die."""
    doc, space = new(units=0)
    space.add_lwpolyline([(0, 0), (30, 0), (30, 20)])
    path, shop = tmp_path / "rail.dxf", tmp_path / "shop.toml"
    doc.saveas(path)
    text = 'units = "{}"\n[shop]\nname = "shed"\n[[die]]\nname = "D"\nod = "1.5in"\nclr = "4.5in"\n'
    shop.write_text(text.format("in"))
    words = ["audit", path, "--shop", shop, "--section", "1.5x0.095in"]
    inches = run(capsys, *words)
    assert inches.status == 0 and "read as inches, the unit of the shop file" in " ".join(inches.out.split())
    shop.write_text(text.format("mm"))
    metric = run(capsys, *words, "--json")
    severities = [(f["code"], f["severity"]) for f in metric.json["findings"]]
    assert severities[0] == ("units-assumed", "warning") and ("negative-straight", "error") in severities
    shown = run(capsys, *words).out
    assert shown.index("names no unit") < shown.index("error    ")


def test_a_clean_drawing(tmp_path, shop, capsys):
    """A shop that knows its marks, its springback and its room has nothing to warn of."""
    known = 'mark_offset = 10\n[machine]\nplane = "horizontal"\npivot_height = 900\n'
    known += "".join(f'[[test]]\ndie = "D25"\nstop = {a * 1.02}\nangle = {a}\n' for a in (45, 90))
    shop.write_text(SHOP + known)
    path = hook(tmp_path / "hook.dxf")
    outcome = run(capsys, "audit", path, "--shop", shop, "--section", "25x2mm")
    assert outcome.status == 0
    assert "checked 1 bend in 1 tube against Shed: nothing to say" in outcome.out
    document = run(capsys, "audit", path, "--shop", shop, "--section", "25x2mm", "--json").json
    assert document["schema"] == "elbowroom/audit/1"
    assert document["findings"] == []
    (one,) = document["inputs"]
    assert one.pop("tolerances") == {"join": 0.1, "near": 2.0, "fit": 0.05, "tangent": 0.2, "equal": 1e-6}
    assert (one.pop("drawing_units"), one.pop("read_as"), one.pop("ignored")) == ("mm", "mm", [])
    none = {"errors": 0, "warnings": 0, "notes": 0}
    assert one == {
        "source": str(path), "shop": "Shed", "demo_shop": False, "tubes": 1, "bends_checked": 1, **none,
        "sentences": none,
    }  # fmt: skip


def test_the_sum_counts_what_is_shown_and_json_says_both(tmp_path, capsys):
    """Eight sharp corners without a section: one error in eight places, one warning, and the demo shop's note."""
    doc, space = new(units=4)
    for row in range(4):
        points = [(0, 600 * row), (400, 600 * row), (400, 600 * row + 300), (700, 600 * row + 500)]
        space.add_lwpolyline(points, dxfattribs={"layer": f"T{row}"})
    path = tmp_path / "four.dxf"
    doc.saveas(path)
    text = run(capsys, "audit", path).out
    shown = [line.split()[0] for line in text.splitlines() if re.match("(error|warning|note) ", line)]
    assert shown == ["error", "warning", "warning", "note"]
    sum_up = " ".join(text[text.index("checked 8 bends") :].split())
    assert sum_up.startswith(
        "checked 8 bends in 4 tubes against the demo shop: 1 error (in 8 places), 2 warnings (in 8 places), 1 note"
    )
    assert re.findall(r"^  T\d +(\d+) +(\d+)  1, 2$", text, re.MULTILINE) == [("1", "2")] * 4
    document = run(capsys, "audit", path, "--json").json
    (one,) = document["inputs"]
    assert one["sentences"] == {"errors": 1, "warnings": 2, "notes": 1}
    found = Counter(finding["severity"] for finding in document["findings"])
    assert found == {"error": 8, "warning": 8, "note": 1} == {name: one[f"{name}s"] for name in found}
    each = run(capsys, "audit", path, "--each")
    assert "4 tubes, 1 error (in 8 places), 2 warnings (in 8 places), 1 note" in " ".join(each.out.split())
    (drawing,) = run(capsys, "audit", path, "--each", "--json").json["drawings"]
    assert {key: drawing[key] for key in ("errors", "warnings", "notes", "sentences")} == {
        key: one[key] for key in ("errors", "warnings", "notes", "sentences")
    }
    everything = run(capsys, "audit", path, "--verbose").out
    assert " ".join(everything[everything.index("checked 8") :].split()).startswith(
        "checked 8 bends in 4 tubes against the demo shop: 8 errors, 8 warnings, 1 note"
    )


def test_a_tight_bend_is_an_error_with_numbers(tmp_path, shop, capsys):
    """80 mm drawn, 100 mm die: 20 mm too tight."""
    path = hook(tmp_path / "hook.dxf", radius=80.0)
    outcome = run(capsys, "audit", path, "--shop", shop, "--section", "25x2mm", "--json")
    assert outcome.status == 1
    (error,) = [f for f in outcome.json["findings"] if f["severity"] == "error"]
    assert error["code"] == "radius-too-tight"
    assert (error["tube"], error["bend"], error["layer"]) == ("TUBE", 1, "TUBE")
    assert (error["measured"], error["limit"], error["unit"]) == (pytest.approx(80), pytest.approx(100), "mm")
    assert error["cure"]
    assert error["handle"]
    text = run(capsys, "audit", path, "--shop", shop, "--section", "25x2mm")
    assert text.status == 1
    found = text.out.split("\n\n")[1]
    assert found.startswith("error    ")
    assert "1 error" in text.out.splitlines()[-2]
    assert "1 tube cannot be made as drawn." in text.out


def test_several_inputs_and_the_worst_counts(tmp_path, shop, capsys):
    good = hook(tmp_path / "good.dxf")
    bad = hook(tmp_path / "bad.dxf", radius=80.0)
    outcome = run(capsys, "audit", good, bad, "--shop", shop, "--section", "25x2mm", "--json")
    assert outcome.status == 1
    assert [one["source"] for one in outcome.json["inputs"]] == [str(good), str(bad)]
    assert {f["source"] for f in outcome.json["findings"] if f["severity"] == "error"} == {str(bad)}
    failed(run(capsys, "audit", good, tmp_path / "gone.dxf", "--shop", shop))


def test_the_demo_shop_is_named_when_it_serves(tmp_path, capsys):
    outcome = run(capsys, "audit", hook(tmp_path / "hook.dxf", radius=75.0), "--section", "25x2mm", "--json")
    assert outcome.status == 0
    assert "demo-shop" in {f["code"] for f in outcome.json["findings"]}
    assert outcome.json["inputs"][0]["demo_shop"] is True


def test_without_a_section_the_audit_warns(tmp_path, shop, capsys):
    outcome = run(capsys, "audit", hook(tmp_path / "hook.dxf"), "--shop", shop, "--json")
    assert outcome.status == 0
    assert "section-unknown" in {f["code"] for f in outcome.json["findings"] if f["severity"] == "warning"}


def test_many_findings_alike_are_summed_up(tmp_path, capsys):
    doc = ezdxf.new(units=4)
    for i in range(40):
        points = [(0, 90 * i), (300, 90 * i), (300 + i, 90 * i + 70)]  # no two corners of one angle
        doc.modelspace().add_lwpolyline(points, dxfattribs={"layer": "T"})
    path = tmp_path / "many.dxf"
    doc.saveas(path)
    text = run(capsys, "audit", path, "--clr", "20").out
    assert "and 38 more like this: T-3, T-4, " in text
    assert text.count("1 sharp corner got a radius of") == 2
    assert " ".join(text.split()).count("no section is known, so the dies") == 1  # the same of every tube
    every = " ".join(run(capsys, "audit", path, "--clr", "20", "--verbose").out.split())
    assert every.count("1 sharp corner got a radius of") == every.count("no section is known, so the dies") == 40


def test_of_many_warnings_alike_six_are_shown():
    def short(i):
        values = {"straight": 50.0 - i, "need": 60.0, "die": "D", "extra": 10.0 + i}
        return Finding("end-too-short", tube=f"T-{i}", end="A", variant="clamp", values=values, cure="trim")

    text = findings_text([short(i) for i in range(40)], Display())
    assert text.count("the straight there is") == 6 and "and 34 more like this: T-6, T-7, " in text


# --- convert --------------------------------------------------------------------------------------


def test_convert_writes_the_formats_asked_for(tmp_path, shop, capsys):
    path = hook(tmp_path / "hook.dxf")
    out = tmp_path / "job"
    outcome = run(capsys, "convert", path, "--out", out, "--to", "json, csv", "--shop", shop, "--section", "25x2mm")
    assert outcome.status == 0
    assert files(out) == {"hook.csv", "hook.json"}
    assert outcome.out.splitlines() == [str(out / "hook.csv"), str(out / "hook.json")]
    assert "checked 1 bend" in outcome.err
    document = json.loads((out / "hook.json").read_text())
    assert document["tubes"][0]["bends"][0]["clr"] == pytest.approx(100.0)


def test_convert_writes_even_when_the_audit_finds_errors(tmp_path, shop, capsys):
    path = hook(tmp_path / "hook.dxf", radius=80.0)
    out = tmp_path / "job"
    words = ["convert", path, "--out", out, "--to", "csv", "--shop", shop, "--section", "25x2mm"]
    outcome = run(capsys, *words)
    assert outcome.status == 1
    assert files(out) == {"hook.csv"}
    assert "radius" in outcome.err


def test_convert_never_replaces_without_force_and_never_an_input(tmp_path, shop, capsys):
    path = hook(tmp_path / "hook.dxf")
    words = ["convert", path, "--to", "csv,json", "--shop", shop, "--section", "25x2mm", "--out"]
    out = tmp_path / "job"
    out.mkdir()
    (out / "hook.json").write_text("mine")
    assert "--force" in failed(run(capsys, *words, out))
    assert files(out) == {"hook.json"}
    assert (out / "hook.json").read_text() == "mine"
    assert run(capsys, *words, out, "--force").status == 0
    assert json.loads((out / "hook.json").read_text())["schema"] == "elbowroom/table/1"
    table = out / "hook.csv"
    before = table.read_bytes()
    message = failed(run(capsys, "convert", table, "--out", out, "--to", "csv", "--force", "--shop", shop))
    assert "never replaced" in message
    assert table.read_bytes() == before


def test_convert_two_drawings_of_one_name(tmp_path, shop, capsys):
    """Both are written; the second gets -2."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    one, two = hook(tmp_path / "a" / "x.dxf"), hook(tmp_path / "b" / "x.dxf", scale=2.0)
    out = tmp_path / "job"
    assert run(capsys, "convert", one, two, "--out", out, "--to", "json", "--shop", shop).status == 0
    assert files(out) == {"x.json", "x-2.json"}
    assert json.loads((out / "x-2.json").read_text())["source"] == str(two)


def test_convert_writes_nothing_when_one_input_is_bad(tmp_path, shop, capsys):
    good, bad = hook(tmp_path / "good.dxf"), tmp_path / "bad.dxf"
    bad.write_text("no drawing")
    failed(run(capsys, "convert", good, bad, "--out", tmp_path / "job", "--to", "csv"))
    assert not (tmp_path / "job").exists()


def test_convert_to_standard_output(tmp_path, shop, capsys):
    path = hook(tmp_path / "hook.dxf")
    words = ["convert", path, "--out", "-", "--shop", shop, "--section", "25x2mm"]
    outcome = run(capsys, *words, "--to", "csv")
    assert outcome.status == 0
    rows = list(csv.reader(io.StringIO(outcome.out)))
    assert len(rows) >= 2
    assert "one format" in failed(run(capsys, *words, "--to", "csv,json"))
    outcome = run(capsys, *words, "--to", "csv", "--json")
    assert outcome.status == 2
    one_sentence(outcome.err)


def test_the_csv_reads_back_as_the_same_table(tmp_path, shop, capsys):
    path = hook(tmp_path / "hook.dxf")
    out = tmp_path / "job"
    run(capsys, "convert", path, "--out", out, "--to", "csv", "--shop", shop, "--section", "25x2mm")
    again = run(capsys, "table", out / "hook.csv", "--json").json["tubes"][0]
    first = run(capsys, "table", path, "--section", "25x2mm", "--json").json["tubes"][0]
    for a, b in zip(again["bends"], first["bends"], strict=True):
        assert a == pytest.approx(b, abs=5e-3)
    assert again["developed_length"] == pytest.approx(first["developed_length"], abs=1e-2)
    assert again["section"]["od"] == pytest.approx(25.0, abs=5e-3)


def test_convert_json_lists_what_was_written(tmp_path, shop, capsys):
    path = hook(tmp_path / "hook.dxf")
    outcome = run(capsys, "convert", path, "--out", tmp_path / "job", "--to", "csv", "--shop", shop, "--json")
    assert outcome.json["schema"] == "elbowroom/convert/1"
    assert outcome.json["written"] == [str(tmp_path / "job" / "hook.csv")]


@pytest.mark.parametrize(
    "words",
    [["--to", "dwg"], ["--to", ""], ["--to", ","], ["--step-unit", "ft"], ["--out", ""]],
)
def test_writing_options_out_of_range(words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    hook(tmp_path / "hook.dxf")
    failed(run(capsys, "convert", "hook.dxf", "--out", "job", *words))
    assert files(tmp_path) == {"hook.dxf"}


@pytest.mark.slow
def test_convert_everything(tmp_path, shop, capsys):
    """Every format of the registry, in one go, for two tubes of which one ends on the other."""
    import ezdxf

    from converter.exporters.registry import FORMATS

    path = hook(tmp_path / "hook.dxf")
    doc = ezdxf.readfile(path)  # type: ignore[attr-defined]
    doc.modelspace().add_line((150, 0), (150, -250), dxfattribs={"layer": "RUNG"})
    doc.saveas(path)
    out = tmp_path / "job"
    outcome = run(capsys, "convert", path, "--out", out, "--to", "all", "--shop", shop, "--section", "25x2mm")
    assert outcome.status == 0, outcome.err
    written = files(out)
    assert len(written) == len(outcome.out.splitlines()) >= len(FORMATS)
    assert {name.rsplit(".", 1)[1] for name in written} == {one.ending.lstrip(".") for one in FORMATS}
    assert all((out / name).stat().st_size > 0 for name in written)


_WITHOUT_KERNEL = """
import sys
class Missing:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] == "OCP":
            raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")
sys.meta_path.insert(0, Missing())
from converter.cli.main import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.slow
def test_without_the_kernel_the_rest_is_still_written(tmp_path, shop):
    """A bare Linux lacks libGL: said in one sentence; an error only when STEP was asked for by name."""
    hook(tmp_path / "hook.dxf")

    def convert(*words):
        return subprocess.run(
            [sys.executable, "-c", _WITHOUT_KERNEL, "convert", "hook.dxf", "--shop", str(shop), *words],
            cwd=tmp_path, capture_output=True, text=True, check=False,
        )  # fmt: skip

    usual = convert("--out", "usual", "--section", "25x2mm")
    assert usual.returncode == 0, usual.stderr
    assert {"hook.csv", "hook.step"} <= files(tmp_path / "usual")  # tubes as drawn are written without it
    named = convert("--out", "named", "--to", "csv,wires")
    assert named.returncode == 2
    assert "libgl1" in one_sentence(named.stderr)
    assert not (tmp_path / "named").exists()


# --- demo -----------------------------------------------------------------------------------------


def test_the_demo_shows_the_whole_job(tmp_path, capsys):
    out = tmp_path / "demo"
    outcome = run(capsys, "demo", "--out", out, "--to", "csv,json")
    assert outcome.status == 0, outcome.err
    assert files(out) == {"boathouse.dxf", "shop.toml", "job.toml", "out/boathouse.csv", "out/boathouse.json"}
    assert "on purpose" in outcome.out
    document = json.loads((out / "out" / "boathouse.json").read_text())
    assert len(document["tubes"]) == 10
    assert all(tube["section"] for tube in document["tubes"])
    errors = [f for f in document["findings"] if f["severity"] == "error"]
    assert [(f["code"], f["tube"].split()[0], f["bend"]) for f in errors] == [("radius-too-tight", "LEG", 1)]
    assert errors[0]["measured"] == pytest.approx(2.5 * 25.4)
    assert errors[0]["limit"] == pytest.approx(3.5 * 25.4)
    assert {f["code"] for f in document["findings"] if f["severity"] == "warning"} <= {"springback-none"}
    for name in files(out):
        assert str(out / name) in outcome.out


def test_the_demo_tubes_are_those_it_was_drawn_from(tmp_path, capsys):
    """Drawing and reading back: each table row as designed, whichever end came first."""
    from converter.demo.boathouse import runs

    out = tmp_path / "demo"
    run(capsys, "demo", "--out", out, "--to", "json")
    tubes = json.loads((out / "out" / "boathouse.json").read_text())["tubes"]
    left = next(tube for tube in tubes if tube["name"] == "RAIL-1")
    rows = [(b["feed"] / 25.4, b["rotation"], b["angle"], b["clr"] / 25.4) for b in left["bends"]]
    assert rows[0] == pytest.approx((44, 0, 10, 4.5), abs=1e-6)
    assert rows[1] == pytest.approx((10, 180, 10, 4.5), abs=1e-6)
    assert rows[2] == pytest.approx((12, 90, 180, 4.5), abs=1e-6)
    assert left["tail"] / 25.4 == pytest.approx(16, abs=1e-6)
    drawn = sum(segment.length for run in runs() for segment in run.segments)
    read = sum(tube["developed_length"] for tube in tubes if not tube["name"].startswith("HANDLE"))
    assert read == pytest.approx(drawn, rel=1e-9)


def test_the_demo_never_replaces(tmp_path, capsys):
    out = tmp_path / "demo"
    assert run(capsys, "demo", "--out", out, "--to", "csv").status == 0
    (out / "shop.toml").write_text("mine")
    assert "--force" in failed(run(capsys, "demo", "--out", out, "--to", "csv"))
    assert (out / "shop.toml").read_text() == "mine"
    assert run(capsys, "demo", "--out", out, "--to", "csv", "--force").status == 0


def test_the_command_it_suggests_next_works(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    outcome = run(capsys, "demo", "--to", "csv")
    suggestion = outcome.err.strip().splitlines()[-1].split()
    assert suggestion[0] == "elbowroom"
    again = run(capsys, *suggestion[1:])
    assert again.status == 1
    assert "1 error" in again.out


def test_a_folder_that_cannot_be_made(tmp_path, capsys):
    (tmp_path / "file").write_text("")
    failed(run(capsys, "demo", "--out", tmp_path / "file"))
    failed(run(capsys, "convert", hook(tmp_path / "hook.dxf"), "--out", tmp_path / "file" / "x", "--to", "csv"))
    assert files(tmp_path) == {"file", "hook.dxf"}


def test_corner_tubes_without_radius_are_listed_and_fail(tmp_path, shop, capsys):
    outcome = run(capsys, "audit", corner(tmp_path / "c.dxf"), "--shop", shop)
    assert outcome.status == 1
    assert "bend 1: a sharp corner that nothing gives a radius (no section is known)." in " ".join(outcome.out.split())
    assert len(re.findall("sharp corner that", outcome.out)) == 1, "said once, though table and audit both say it"


def test_the_end_fed_first_changes_the_set_up_and_no_table(tmp_path, capsys):
    """``--feed-from`` means one thing in every command; ``--reverse`` is what turns tables round."""
    drawing = hook(tmp_path / "hook.dxf")
    tables = [run(capsys, "table", drawing, "--section", "25x2mm", "--json").json["tubes"]]
    marks = []
    for end in ("A", "B"):
        out = tmp_path / end
        given = ("--section", "25x2mm", "--feed-from", end, "--out", out, "--to", "json,template", "-q")
        assert run(capsys, "convert", drawing, *given).status in (0, 1)
        tables.append(json.loads((out / "hook.json").read_text())["tubes"])
        setup = run(capsys, "setup", drawing, "--section", "25x2mm", "--feed-from", end, "--json").json["tubes"][0]
        marks.append(setup["feed_from"])
    assert tables[0] == tables[1] == tables[2]
    assert marks == ["A", "B"]


@pytest.fixture
def three(tmp_path):
    """Three drawings with a tube each that both dies of a shop take; bent at neither's radius in the last."""
    for name, layer, bulge in (("a", "RAIL", True), ("b", "LEG", True), ("c", "POST", False)):
        doc, space = new(units=4)
        space.add_lwpolyline([(0, 0), (300, 0), (300, 300)], dxfattribs={"layer": layer})
        if not bulge:
            space.add_lwpolyline([(0, 900), (10, 900), (10, 910)], dxfattribs={"layer": "SMALL"})
        doc.saveas(tmp_path / f"{name}.dxf")
    second = SHOP[SHOP.index("[[die]]") :].replace("D25", "D25 wide").replace("clr = 100", "clr = 120")
    (tmp_path / "two.toml").write_text(SHOP + second)
    return [tmp_path / f"{name}.dxf" for name in "abc"], ["--shop", tmp_path / "two.toml", "--section", "25x2mm"]


@pytest.mark.parametrize("command", ["audit", "setup", "table"])
def test_what_several_drawings_share_is_told_once_below_them(three, capsys, command):
    sources, options = three
    text = " ".join(run(capsys, command, *sources, *options).out.split())
    assert text.count("2 dies take the section") == 1
    assert "a: RAIL, b: LEG, c: POST and c: SMALL: 2 dies take the section" in text
    assert text.index("of all 3 drawings:") < text.index("2 dies take the section")
    # all findings of each stand in its JSON, and on its own page where everything is asked for
    found = "".join(run(capsys, command, *sources, *options, "--json").out)
    assert found.count('"code": "die-choice"') == 4
    assert run(capsys, command, *sources, *options, "--verbose").out.count("2 dies") == 4
    one = " ".join(run(capsys, command, sources[0], *options).out.split())
    assert "RAIL: 2 dies take the section" in one and "drawings:" not in one


def test_an_error_is_told_where_its_drawing_is(three, capsys):
    sources, options = three
    text = run(capsys, "audit", *sources[:1], sources[2], sources[2], *options).out
    assert text.count("error    SMALL") == 2
    assert "of both drawings" not in text


def test_drawings_of_a_batch_of_which_the_worst_is_the_same_stand_together(three, capsys):
    sources, options = three
    text = " ".join(run(capsys, "audit", *sources[:2], "--each", *options, "--metal", "DOM", "--verbose").out.split())
    assert re.search(r"a.dxf: 1 tube, \d notes note [^:]*b.dxf: 1 tube, \d notes RAIL and LEG: 1 sharp", text), text
