"""``elbowroom cope --out``: templates and solids of cut ends, and the options that go with them."""

from __future__ import annotations

import json
from math import pi

import ezdxf
import numpy as np
import pytest
from command_line import failed, files, run
from pdf_tools import read_pdf

from converter.exporters.pdf import tiling


def frame(path):
    """A rail of 1200 along x and a rung that ends on it at 90 degrees."""
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_line((-600, 0), (600, 0), dxfattribs={"layer": "RAIL"})
    doc.modelspace().add_line((0, 0), (0, 500), dxfattribs={"layer": "RUNG"})
    doc.saveas(path)
    return path


SIZES = ("--section", "RAIL=44.45x3mm", "--section", "RUNG=38.1x2mm")


def width(path):
    [cut] = ezdxf.readfile(path).modelspace().query('LWPOLYLINE[layer=="cut"]')
    return float(np.ptp([p[0] for p in cut.get_points()]))


def depths(path):
    [cut] = ezdxf.readfile(path).modelspace().query('LWPOLYLINE[layer=="cut"]')
    [end] = ezdxf.readfile(path).modelspace().query('LINE[layer=="centerline-end"]')
    return end.dxf.start.y - np.array([p[1] for p in cut.get_points()])


def test_templates_of_a_frame(tmp_path, capsys):
    drawing, out = frame(tmp_path / "frame.dxf"), tmp_path / "copes"
    outcome = run(capsys, "cope", drawing, *SIZES, "--out", out)
    assert outcome.status == 0, outcome.err
    assert files(out) == {"frame-copes.dxf", "frame-copes.pdf"}
    assert str(out / "frame-copes.pdf") in outcome.out.splitlines()
    assert read_pdf(out / "frame-copes.pdf")[1].size == pytest.approx((210.0, 297.0), abs=1e-3)
    assert width(out / "frame-copes.dxf") == pytest.approx(pi * 38.2, abs=1e-9)
    again = run(capsys, "cope", drawing, *SIZES, "--out", out)
    assert "exist" in failed(again)
    assert run(capsys, "cope", drawing, *SIZES, "--out", out, "--force").status == 0


def test_gap_sheet_and_paper(tmp_path, capsys):
    drawing, out = frame(tmp_path / "frame.dxf"), tmp_path / "copes"
    words = ("--gap", "1mm", "--paper", "letter", "--paper-thickness", "0.25mm")
    outcome = run(capsys, "cope", drawing, *SIZES, "--out", out, *words)
    assert outcome.status == 0, outcome.err
    assert read_pdf(out / "frame-copes.pdf")[1].size == pytest.approx((215.9, 279.4), abs=1e-3)
    assert width(out / "frame-copes.dxf") == pytest.approx(pi * (38.1 + 0.25), abs=1e-9)
    # the gap lies square to the mate's outside: the short point, straight above it, moves by it
    assert depths(out / "frame-copes.dxf").max() == pytest.approx(44.45 / 2.0 + 1.0, abs=1e-6)


def test_everything_and_json(tmp_path, capsys):
    drawing, out = frame(tmp_path / "frame.dxf"), tmp_path / "copes"
    outcome = run(capsys, "cope", drawing, *SIZES, "--out", out, "--to", "all", "--json")
    assert outcome.status == 0, outcome.err
    said = json.loads(outcome.out)
    assert said["schema"] == "elbowroom/cope/1"
    assert {path.rsplit("/", 1)[1] for path in said["written"]} == files(out)
    lists = {"frame-copes.csv", "frame-fit-up.json"}
    assert files(out) == {"frame-copes.dxf", "frame-copes.pdf", "frame-coped.step", *lists}


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--to", "cope-pdf"), "go with --out"),
        (("--force",), "go with --out"),
        (("--out", "copes", "--to", "step"), "--to takes"),
        (("--out", "copes", "--to", ","), "--to takes"),
        (("--out", "copes", "--paper", "A0"), "--paper takes"),
        (("--out", "copes", "--paper-thickness", "5mm"), "thickness of paper"),
        (("--out", "copes", "--paper-thickness", "thick"), "thick"),
        (("--out", ""), "names no folder"),
    ],
)
def test_options_out_of_place(words, why, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    frame(tmp_path / "frame.dxf")
    assert why in failed(run(capsys, "cope", "frame.dxf", *SIZES, *words))
    assert files(tmp_path) == {"frame.dxf"}


@pytest.mark.parametrize("format", ["cope-pdf", "template-pdf"])
def test_a_template_of_too_many_pages_tells_of_the_unit_in_doubt(format, tmp_path, capsys, monkeypatch):
    """A section in mm typed without its unit beside a drawing in inches: 150 in across, and so is the paper."""
    monkeypatch.setattr(tiling, "TEMPLATE_PAGES", 50)
    doc = ezdxf.new("R2010", units=1)
    space = doc.modelspace()
    space.add_lwpolyline([(-9e3, 0), (9e3, 0), (9e3, 9e3)], dxfattribs={"layer": "RAIL"})
    space.add_line((0, 0), (5e3, 9e3), dxfattribs={"layer": "RUNG"})
    drawing = tmp_path / "frame.dxf"
    doc.saveas(drawing)
    words = ("convert", drawing, "--section", "150x150x6", "--clr", "600", "--to", format, "--out", tmp_path / "out")
    told = failed(run(capsys, *words))
    assert "pages of paper, and 50 are the most: write it as DXF" in told
    assert "The section '150x150x6' names no unit and was read in inches" in told
    assert told.endswith("Write the unit with it: 150x150x6mm.")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("format", ["cope-pdf", "template-pdf"])
def test_no_template_is_printed_of_a_tube_longer_around_than_long_whose_unit_is_in_doubt(format, tmp_path, capsys):
    """By hand: 40 in square, corners of two walls, 6 in: 160 - 8 x 6 + 2 pi 6 = 149.699 in around, the rung 55 in long.

    With its unit the size is printed; so is a pipe of 16 in, 50.27 in around, whose unit is in doubt too: the tubes are
    longer than that.
    """
    doc = ezdxf.new("R2010", units=1)
    space = doc.modelspace()
    space.add_lwpolyline([(-30, 0), (40, 0), (40, 50)], dxfattribs={"layer": "RAIL"})
    space.add_line((0, 0), (33, 44), dxfattribs={"layer": "RUNG"})
    drawing = tmp_path / "frame.dxf"
    doc.saveas(drawing)

    def outcome(section: str):
        words = ("convert", drawing, "--section", section, "--clr", "24", "--to", format, "--out", tmp_path / "out")
        return run(capsys, *words)

    told = failed(outcome("40x40x3"))
    assert "is 149.699 in, which is more than it is long (" in told
    assert told.endswith("Write the unit with it: 40x40x3mm.") and told.count("names no unit") == 1
    assert not (tmp_path / "out").exists()
    for section, doubts in (("40x40x3mm", 0), ("16x0.5", 1)):
        told = outcome(section)
        assert told.err.count("names no unit") == doubts
        (made,) = (tmp_path / "out").iterdir()
        made.unlink()


@pytest.mark.parametrize("name", ["frame-coped.step", "frame-fit-up.json"])
def test_a_file_in_the_way_is_refused_before_solids_are_cut(name, tmp_path, capsys, monkeypatch):
    """The formats that take longest come last; what they would refuse is told before anything is written."""
    from converter.exporters.pdf import cope_templates

    def no_work(*given):
        raise AssertionError("worked")

    source, out = frame(tmp_path / "frame.dxf"), tmp_path / "out"
    out.mkdir()
    (out / name).write_text("theirs")
    monkeypatch.setattr(cope_templates, "export", no_work)
    message = failed(run(capsys, "cope", source, *SIZES, "--to", "all", "--out", out))
    assert "exists already" in message and name in message
    assert [path.name for path in out.iterdir()] == [name]
