"""Small templates share sheets: nothing overlaps, each is full size with name and facts; letters beyond Latin-1."""

from __future__ import annotations

from itertools import pairwise
from math import pi

import numpy as np
import pytest
from copes import straight
from frames import RUNG, rack, told_apart
from hypothesis import given, settings
from hypothesis import strategies as st
from test_cope_templates import drawn, printed, tee

from converter.exporters.pdf import fonts as pdf_faces
from converter.exporters.pdf.cope_templates import BORDER, pack
from converter.model.section import Section

side = st.floats(1.0, 100.0)


@settings(max_examples=60)
@given(st.lists(st.tuples(side, side), max_size=25), st.floats(0.0, 8.0))
def test_shelves_hold_everything_once_apart_and_inside(sizes, gap):
    room = (100.0, 150.0)
    sheets = pack(sizes, room, gap)
    assert sorted(s.number for sheet in sheets for s in sheet) == list(range(len(sizes)))
    for sheet in sheets:
        boxes = [(s.x, s.y, s.x + sizes[s.number][0], s.y + sizes[s.number][1]) for s in sheet]
        for i, (x0, y0, x1, y1) in enumerate(boxes):
            assert x0 >= 0.0 and y0 >= 0.0 and x1 <= room[0] + 1e-6 and y1 <= room[1] + 1e-6
            for a0, b0, a1, b1 in boxes[:i]:
                apart_x = max(x0, a0) - min(x1, a1)
                apart_y = max(y0, b0) - min(y1, b1)
                assert max(apart_x, apart_y) >= gap - 1e-6


def test_shelves_by_hand():
    """Three of 40 by 30 and one of 90 by 20 in 100 by 60: two on the first shelf, one below, the wide one elsewhere."""
    sheets = pack([(40.0, 30.0), (40.0, 30.0), (40.0, 20.0), (90.0, 20.0)], (100.0, 60.0), 10.0)
    assert [[(s.number, s.x, s.y) for s in sheet] for sheet in sheets] == [
        [(0, 0.0, 0.0), (1, 50.0, 0.0), (2, 0.0, 40.0)],
        [(3, 0.0, 0.0)],
    ]


def test_templates_that_share_a_sheet_are_full_size_and_apart(tmp_path):
    """Eight ends of 38.1 mm tube go on three sheets: pi x (OD + paper) around on every one of them."""
    pages = printed(tmp_path, told_apart(rack(2)))
    assert len(pages) == 1 + 3
    boxes = []
    for number, page in enumerate(pages[1:]):
        cuts = drawn(page, "cut")
        for cut in cuts:
            assert np.ptp(cut[:, 0]) == pytest.approx(pi * (RUNG.od + 0.1), abs=1e-3)
        frames = [(c[:, 1].max(), c[:, 1].min()) for c in sorted(cuts, key=lambda c: -c[:, 1].max())]
        assert all(above[1] > below[0] + 20.0 for above, below in pairwise(frames))
        boxes += [number] * len(cuts)
        ys = [y for s in page.strokes for _, y in s.points]
        xs = [x for s in page.strokes for x, _ in s.points]
        assert min(xs) >= BORDER - 1e-6 and max(xs) <= page.size[0] - BORDER + 1e-6
        assert min(ys) >= BORDER - 1e-6 and max(ys) <= page.size[1] - BORDER + 1e-6
        bar = [s for s in drawn(page, "scale") if len(s) == 2]
        assert max(np.ptp(s[:, 0]) for s in bar) == pytest.approx(100.0, abs=1e-3)
    assert boxes == [0, 0, 0, 1, 1, 1, 2, 2]
    text = " ".join(page.text.replace("\n", " ") for page in pages[1:])
    for tube in ("LEFT-0", "RIGHT-0", "TOP-0", "BRACE-0"):
        for end in "AB":
            assert text.count(f"{tube} end {end}") == 2  # above the template, and on it
    assert text.count("Zero line (both side edges)") == 8
    assert text.count("Wrap it around") == 3


def test_the_index_names_the_sheet_that_a_template_shares(tmp_path):
    pages = printed(tmp_path, told_apart(rack(2)))
    rows = [row for row in pages[0].text.splitlines() if row]
    for name in ("LEFT-0", "RIGHT-0", "TOP-0", "BRACE-0"):
        assert name in pages[0].text
    numbers = [row.split()[-1] for row in rows if row.split()[-1] in ("2", "3", "4") and "of" not in row]
    assert sorted(numbers) == ["2", "2", "2", "3", "3", "3", "4", "4"]


def test_a_large_template_keeps_sheets_of_its_own(tmp_path):
    big = Section("round", 114.3, 4.0)
    tubes = [*tee(), straight("BIG", (400.0, 0.0, 0.0), (400.0, 0.0, 600.0), big)]
    tubes[0] = straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), Section("round", 168.3, 5.0))
    pages = printed(tmp_path, tubes)
    assert "BIG end A: cope template, full size" in pages[2].text
    assert len(pages) >= 4


@pytest.mark.parametrize(
    "name", ["Ősz-ŕúd", "ŁÓDŹ-ž-ș", "Ράγα-Ωμέγα", "Рельс-Їжак", "Tube-ÆØÅßñç", "Ống-Việt", "Ɖ-ƙ-Ə"]
)
def test_letters_without_any_face_of_the_machine(name, tmp_path, monkeypatch):
    """Latin-1, extended Latin, Greek and Cyrillic come out of faces that installed packages ship."""
    monkeypatch.setattr(pdf_faces, "_MACHINE", ())
    monkeypatch.setattr(pdf_faces, "_machine_files", tuple)
    for usual in (pdf_faces.FACE, pdf_faces.BOLD):
        pdf_faces.register()
        face, text = pdf_faces.face_for(name, usual)
        assert text == name
        assert face in (usual, f"shipped-{usual}")
    pages = printed(tmp_path, tee(name=name))
    assert f"{name} end A" in pages[1].text


def test_letters_that_no_face_has_are_told(monkeypatch):
    monkeypatch.setattr(pdf_faces, "_MACHINE", ())
    monkeypatch.setattr(pdf_faces, "_machine_files", tuple)
    pdf_faces.register()
    assert pdf_faces.face_for("船-1")[1] == "?-1"


def test_no_label_of_a_template_stands_on_a_line_or_another_label(tmp_path):
    """Mates at many angles and offsets: what is written is clear of every line, seen by shapely."""
    from math import cos, radians, sin

    import ezdxf
    import shapely

    from converter.exporters.options import WriteOptions
    from converter.exporters.paper.templates import templates_of
    from converter.job import open_job
    from converter.settings import Settings

    doc = ezdxf.new("R2010", units=4)
    for i, (angle, off) in enumerate([(90, 0), (60, 8), (35, 0), (90, 14), (50, -10), (75, 3)]):
        x = 700.0 * i
        names = f"RUNNER {i}", f"LEG {i}"
        doc.modelspace().add_line((x - 250, 0, 0), (x + 250, 0, 0), dxfattribs={"layer": names[0]})
        end = (x + 400 * cos(radians(angle)), off, 400 * sin(radians(angle)))
        doc.modelspace().add_line((x, off, 0), end, dxfattribs={"layer": names[1]})
    doc.saveas(tmp_path / "frame.dxf")
    job = open_job(str(tmp_path / "frame.dxf"), Settings(sections=("44.45x3mm",)))
    templates = templates_of(job, WriteOptions())
    assert len(templates) >= 5
    for one in templates:
        figure, curves = one.drawing.figure, one.drawing.curves
        boxes = [shapely.box(*text.box()) for text in figure.texts if text.text != "zero line"]
        lines = [shapely.LineString(points) for points, _ in curves]
        lines += [shapely.LineString([a, b]) for a, b, _ in figure.lines]
        for i, box in enumerate(boxes):
            assert not any(box.intersects(other) for other in boxes[:i]), one.title
            inner = box.buffer(-0.05)
            assert not any(inner.intersects(line) for line in lines), (one.title, i)
