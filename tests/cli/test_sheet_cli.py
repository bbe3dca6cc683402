"""`elbowroom sheet`, and the sheet among what `convert` and `demo` write."""

from __future__ import annotations

import io
import json
import re
import sys
from pathlib import Path

import pytest
from any_finding import each_in_either_unit
from command_line import corner, failed, files, hook, run
from places import FIXTURES
from sheet_tools import packed_block

from converter import Settings, open_job
from converter.job import NoRunsError

MARKERS = re.compile("[\ue0f0-\ue0f2]")
PAIR = re.compile("\ue0f0[^\ue0f0-\ue0f2]*\ue0f1[^\ue0f0-\ue0f2]*\ue0f2")


def pdf_text(path: Path) -> list[str]:
    """The text of every page."""
    from pypdf import PdfReader

    return [page.extract_text() for page in PdfReader(path).pages]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty current folder."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


def test_both_sheets_are_written_to_the_current_folder_and_named_on_stdout(here, tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf")
    told = run(capsys, "sheet", path, "--section", "1.5x0.120in", "--metal", "mild steel", "--clr", "100mm")
    assert told.out.split() == ["hook-sheet.html", "hook-sheet.pdf"]
    assert files(here) == {"hook-sheet.html", "hook-sheet.pdf"}
    assert "checked 1 bend in 1 tube" in told.err.replace("\n", " ")


def test_only_what_is_asked_for_is_written(here, tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf")
    for word, names in (("pdf", {"hook-sheet.pdf"}), (" HTML ", {"hook-sheet.html"})):
        run(capsys, "sheet", path, "--to", word, "--out", word.strip().lower())
        assert files(here / word.strip().lower()) == names
    assert "--to takes html, pdf or all, not 'dxf'." in failed(run(capsys, "sheet", path, "--to", "pdf,dxf"))
    assert "--to takes" in failed(run(capsys, "sheet", path, "--to", ","))


def test_an_existing_sheet_stays_unless_forced(here, tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf")
    kept = here / "hook-sheet.pdf"
    kept.write_text("mine")
    assert "exists already: give --force" in failed(run(capsys, "sheet", path))
    assert kept.read_text() == "mine"
    assert files(here) == {"hook-sheet.pdf"}, "the HTML sheet is not left behind alone"
    assert run(capsys, "sheet", path, "--to", "pdf", "--force", "-q").status == 0
    assert kept.read_bytes().startswith(b"%PDF")


def test_json_names_what_was_written_and_found(here, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1741478400")  # 2025-03-09
    path = hook(tmp_path / "hook.dxf", radius=20.0)
    told = run(capsys, "sheet", path, "--section", "1.5x0.120in", "--to", "pdf", "--json")
    document = told.json
    assert document["schema"] == "elbowroom/sheet/1"
    assert document["source"] == str(path)
    assert document["demo_shop"] is True
    assert document["written"] == ["hook-sheet.pdf"]
    assert document["made"] == "2025-03-09"
    assert re.fullmatch("[0-9a-f]{10}", document["revision"])
    assert document["tubes"] == ["TUBE"]
    tight = [f for f in document["findings"] if f["severity"] == "error"]
    assert tight
    assert tight[0]["bend"] == 1
    assert tight[0]["unit"] == "mm"
    assert tight[0]["measured"] == pytest.approx(20.0)
    assert told.status == 1, "an error was found"
    assert not MARKERS.search(told.out)
    assert document["revision"] in pdf_text(here / "hook-sheet.pdf")[0]


def test_several_inputs_go_on_one_sheet(here, tmp_path, capsys):
    """Parts are numbered on; the mark changes with any of the drawings and with their order."""
    hooks = [hook(tmp_path / f"{name}.dxf", radius=radius) for name, radius in (("a", 100.0), ("b", 90.0), ("c", 20.0))]
    good = ("--section", "1.5x0.120in", "--metal", "mild steel")
    told = run(capsys, "sheet", *hooks, *good, "--json")
    assert files(here) == {"a-and-2-more-sheet.html", "a-and-2-more-sheet.pdf"}
    document = told.json
    assert document["source"] is None and document["sources"] == [str(path) for path in hooks]
    assert [(part["source"], part["quantity"]) for part in document["parts"]] == [(str(path), 1) for path in hooks]
    texts = pdf_text(here / "a-and-2-more-sheet.pdf")
    assert all(document["revision"] in text for text in texts)
    assert "a, b and c" in texts[0]
    assert [text.splitlines()[0] for text in texts[1:4]] == ["a", "b", "c"], "a page for each drawing"
    assert [re.search(r"part\s+\d of 3", " ".join(text.split()))[0] for text in texts[5:8]] == [
        "part 1 of 3",
        "part 2 of 3",
        "part 3 of 3",
    ]
    page = (here / "a-and-2-more-sheet.html").read_text(encoding="utf-8")
    blocks = packed_block(page, "scenes")
    assert [(block["number"], block["drawing"]) for block in blocks] == [(1, 0), (2, 1), (3, 2)]
    assert document["revision"] in page and page.count('data-view="job"') == 3
    swapped = run(capsys, "sheet", hooks[1], hooks[0], hooks[2], *good, "--to", "pdf", "--json").json
    assert swapped["revision"] != document["revision"]
    alone = run(capsys, "sheet", hooks[0], *good, "--to", "pdf", "--json").json
    assert alone["written"] == ["a-sheet.pdf"] and alone["revision"] not in (document["revision"], swapped["revision"])
    assert told.status == 1 and {finding["source"] for finding in document["findings"]} >= {str(hooks[2])}


def test_exit_status_follows_the_findings(here, tmp_path, capsys):
    good = ("--section", "1.5x0.120in", "--metal", "mild steel", "--to", "pdf", "-q")
    # 88.9 mm is the demo shop's 3.5 in die for this tube
    path = hook(tmp_path / "good.dxf", radius=114.3)
    clean = run(capsys, "sheet", path, *good)
    assert clean.status == 0, clean
    assert clean.err == ""
    tight = run(capsys, "sheet", hook(tmp_path / "tight.dxf", radius=20.0), *good)
    assert tight.status == 1
    assert (here / "tight-sheet.pdf").exists(), "written all the same"
    assert "does not exist" in failed(run(capsys, "sheet", "nowhere.dxf"))


def test_standard_input_is_read(here, tmp_path, capsys, monkeypatch):
    class Piped:
        buffer = io.BytesIO(hook(tmp_path / "hook.dxf").read_bytes())

    monkeypatch.setattr(sys, "stdin", Piped())
    told = run(capsys, "sheet", "-", "--to", "pdf", "-q")
    assert told.out.split() == ["drawing-sheet.pdf"]
    assert "standard input" in pdf_text(here / "drawing-sheet.pdf")[0]


@pytest.mark.parametrize(("word", "size"), [("a4", (210.0, 297.0)), ("LETTER", (215.9, 279.4))])
def test_paper_is_chosen(here, tmp_path, capsys, word, size):
    from pypdf import PdfReader

    run(capsys, "sheet", hook(tmp_path / "hook.dxf"), "--to", "pdf", "--paper", word)
    box = PdfReader(here / "hook-sheet.pdf").pages[0].mediabox
    assert (float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72) == pytest.approx(size, abs=0.01)


def test_wrong_options_fail_before_anything_is_written(here, tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf")
    assert "--paper takes A4 or Letter, not 'A3'." in failed(run(capsys, "sheet", path, "--paper", "A3"))
    assert "--gap must be a length of zero or more" in failed(run(capsys, "sheet", path, "--gap", "-1mm"))
    assert "--feed-from takes A, B or best" in failed(run(capsys, "sheet", path, "--feed-from", "C"))
    assert "names no folder" in failed(run(capsys, "sheet", path, "--out", ""))
    assert "power of two" in failed(run(capsys, "sheet", path, "--fraction", "10"))
    assert files(here) == set()


def test_the_end_asked_for_goes_first(here, tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf", radius=114.3)
    given = ("--section", "1.5x0.120in", "--to", "pdf", "--force", "-q")
    for end in "AB":
        run(capsys, "sheet", path, *given, "--feed-from", end)
        page = pdf_text(here / "hook-sheet.pdf")[2]  # after the first page and the bars
        assert f"end {end} goes into the bender first" in page
        assert f"Load the stick with end {end} first" in page.replace("\n", " ")


# --- convert ------------------------------------------------------------------------------------


def test_convert_writes_the_sheets_among_others(here, tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf", radius=114.3)
    told = run(capsys, "convert", path, "--out", ".", "--to", "csv,sheet,sheet-pdf", "--section", "1.5x0.120in")
    assert set(told.out.split()) == {"hook.csv", "hook-sheet.html", "hook-sheet.pdf"}
    assert files(here) == {"hook.csv", "hook-sheet.html", "hook-sheet.pdf"}


def test_the_sheet_is_not_among_the_usual_formats(here, tmp_path, capsys):
    """It is 5 MB for every drawing, and has a command of its own."""
    run(capsys, "convert", hook(tmp_path / "hook.dxf"), "--out", ".")
    assert len(files(here)) >= 5
    assert not [name for name in files(here) if "sheet" in name]


def test_other_formats_are_the_same_with_and_without_the_sheet(here, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1741478400")
    path = corner(tmp_path / "corner.dxf", unit=1, leg=20.0)
    others = "csv,json,dxf,profile,template"
    given = ("--section", "1.5x0.120in", "--fraction", "16")
    run(capsys, "convert", path, "--out", "alone", "--to", others, *given)
    run(capsys, "convert", path, "--out", "both", "--to", f"{others},sheet,sheet-pdf", *given)
    alone, both = files(here / "alone"), files(here / "both")
    assert alone == both - {"corner-sheet.html", "corner-sheet.pdf"}
    for name in alone:
        first, second = ((here / folder / name).read_bytes() for folder in ("alone", "both"))
        if name.endswith(".dxf"):  # a DXF keeps when it was written and a fingerprint of its own
            assert len(first.splitlines()) == len(second.splitlines()), name
        else:
            assert first == second, name
        assert not MARKERS.search(second.decode("utf-8")), f"{name} holds both units at once"


def test_no_output_shows_the_marks_that_hold_both_units(here, tmp_path, capsys):
    path = corner(tmp_path / "corner.dxf", unit=1, leg=20.0)
    given = ("--section", "1.5x0.120in", "--out", "out")
    for words in (("--to", "csv,sheet-pdf"), ("--to", "json,sheet", "--json", "--force")):
        told = run(capsys, "convert", path, *given, *words)
        assert not MARKERS.search(told.out + told.err)
    for name in files(here / "out"):
        data = (here / "out" / name).read_bytes()
        texts = pdf_text(here / "out" / name) if name.endswith(".pdf") else [data.decode("utf-8")]
        assert not MARKERS.search("".join(texts)), name
        # and not written out as an escape or an entity either
        assert not re.search(r"(?i)\\ue0f[012]|&#x?e0f[012];|U\+E0F[012]", "".join(texts)), name


@pytest.mark.slow
def test_no_text_file_of_the_whole_demo_holds_both_units(here, capsys):
    """With coped ends, templates, solids and everything else that can be written at once."""
    run(capsys, "demo", "--to", "all", "-q")
    endings = {".csv", ".json", ".dxf", ".html", ".step", ".svg"}
    seen = set()
    for name in files(here / "elbowroom-demo"):
        path = here / "elbowroom-demo" / name
        if path.suffix in endings:
            seen.add(path.suffix)
            text = path.read_text(encoding="utf-8")
            # DXF and STEP write letters beyond ASCII as escapes of their own
            assert not re.search("[\ue0f0-\ue0f2]|(?i:U\\+E0F[012]|X2\\\\E0F[012])", text), name
    assert seen == endings


def test_both_sheets_bear_the_same_mark(here, tmp_path, capsys):
    told = run(capsys, "sheet", hook(tmp_path / "hook.dxf"), "--json").json
    assert told["revision"] in (here / "hook-sheet.html").read_text(encoding="utf-8")
    assert all(f"mark\n{told['revision']}" in page for page in pdf_text(here / "hook-sheet.pdf"))


def test_convert_says_what_the_sheet_says(here, tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf", radius=114.3)
    given = ("--section", "1.5x0.120in", "--out", "out", "--json")
    alone = run(capsys, "convert", path, *given, "--to", "csv").json["findings"]
    whole = run(capsys, "convert", path, *given, "--to", "sheet-pdf").json["findings"]
    assert alone == whole, "what is true of the job does not depend on what is written"
    assert {"springback-none", "springback-estimate"} & {f["code"] for f in whole}, "the set-up's findings are there"


def test_one_sheet_goes_to_standard_output(here, tmp_path, monkeypatch):
    from converter.cli.main import main

    class Out(io.StringIO):
        buffer = io.BytesIO()

    out = Out()
    monkeypatch.setattr(sys, "stdout", out)
    main(["convert", str(hook(tmp_path / "hook.dxf")), "--out", "-", "--to", "sheet-pdf", "-q"])
    assert out.buffer.getvalue().startswith(b"%PDF")
    assert files(here) == set()


def test_two_drawings_of_one_name_get_two_sheets(here, tmp_path, capsys):
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
    first, second = hook(tmp_path / "a" / "hook.dxf"), corner(tmp_path / "b" / "hook.dxf")
    told = run(capsys, "convert", first, second, "--out", ".", "--to", "sheet-pdf", "-q")
    assert told.out.split() == ["hook-sheet.pdf", "hook-2-sheet.pdf"]
    marks = [re.search(r"mark\s([0-9a-f]{10})", pdf_text(here / name)[0])[1] for name in told.out.split()]
    assert marks[0] != marks[1]


# --- demo ---------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_demo_names_the_sheet_first(here, capsys):
    told = run(capsys, "demo", "--json").json
    assert [Path(path).name for path in told["written"][:2]] == ["boathouse-sheet.html", "boathouse-sheet.pdf"]
    assert all(Path(path).is_file() for path in told["written"])
    shown = run(capsys, "demo", "--force").out
    written = shown[shown.index("\nwritten\n") :].split()
    assert written[1].endswith("boathouse-sheet.html")
    assert not MARKERS.search(shown)


def test_the_demo_writes_what_is_asked_for(here, capsys):
    told = run(capsys, "demo", "--to", "csv", "--json").json
    assert not [path for path in told["written"] if "sheet" in path]
    assert [Path(path).suffix for path in told["written"]] == [".dxf", ".toml", ".toml", ".csv"]


# --- findings in both units -----------------------------------------------------------------------

#: Quick ones, and every mesh; of all other fixtures `tests/job/test_job.py` looks at them where it has them.
_QUICK = ("freecad-flat-r12.dxf", "freecad-unsure.dxf", "openscad-ring.dxf", "gmsh-skin.stl", "freecad-tube.obj")
_READABLE = sorted(
    path
    for path in FIXTURES.rglob("*")
    if path.parent.name in ("dxf", "mesh") and (path.name in _QUICK or path.suffix in (".stl", ".ply", ".obj"))
)
_MARKED = [pytest.param(path, marks=[] if path.name in _QUICK else pytest.mark.slow) for path in _READABLE]


def test_there_are_fixtures_to_read():
    assert {*_QUICK} <= {path.name for path in _READABLE} and len(_READABLE) >= 15


@pytest.mark.parametrize("path", _MARKED, ids=lambda path: path.name)
def test_every_finding_is_written_in_either_unit(path):
    try:
        findings = open_job(str(path), Settings(sections=("1.75x0.120in",))).findings
    except NoRunsError as nothing:  # fixtures of what is no tube
        findings = nothing.findings
    each_in_either_unit(findings)


def test_a_reader_shows_lengths_in_the_unit_asked_for(tmp_path):
    """A seam drawing of 44.45 mm (1.75 in) tubes: the reader's own warning follows the unit shown."""
    import ezdxf

    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    for x in (0.0, 300.0):
        model.add_circle((0, 0, x), 22.225)
    for y in (22.225, -22.225):
        model.add_line((0, y, 0), (0, y, 300))
    doc.saveas(tmp_path / "seam.dxf")
    for unit, size in (("mm", "44.45 mm"), ("in", "1.750 in")):
        result = open_job(str(tmp_path / "seam.dxf"), Settings(unit=unit))
        messages = [f.message_in(result.display) for f in result.findings if f.code == "outline-suspect"]
        assert len(messages) == 1
        assert f"tubes of {size}" in messages[0]


def test_the_json_of_the_sheet_is_plain(here, tmp_path, capsys):
    told = run(capsys, "sheet", hook(tmp_path / "hook.dxf"), "--to", "pdf", "--json", "--in")
    assert json.loads(told.out)["findings"]
    assert " mm" not in " ".join(f["message"] for f in told.json["findings"])


def test_a_dies_name_stands_on_one_line_of_the_set_up(here, tmp_path, capsys):
    """Such as the shop file to start from has it: ``1-1/2 tube`` was broken behind ``1-1/2``."""
    shop = tmp_path / "shop.toml"
    shop.write_text(
        'units = "mm"\n[shop]\nname = "Boathouse"\n[[die]]\nname = "1-1/2 tube"\nod = 38.1\nclr = 100\nclamp = 60\n'
    )
    path = hook(tmp_path / "hook.dxf", radius=100.0)
    told_of = run(capsys, "sheet", path, "--section", "38.1x3mm", "--shop", shop, "--to", "pdf", "-q")
    assert told_of.status == 0, told_of.err
    told = "\n".join(pdf_text(here / "hook-sheet.pdf"))
    table = told[told.index("Set-up, in the order made") :]
    assert "1-1/2 tube" in table[: table.index("Marks lie along")].split("\n")
