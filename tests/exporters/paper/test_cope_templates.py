"""Wrap templates: measured on the PDF's and the DXF's own coordinates, against closed forms and quadrature."""

from __future__ import annotations

import sys
from itertools import pairwise
from math import cos, hypot, pi, radians, sin, sqrt

import ezdxf
import numpy as np
import pytest
from copes import find_joints, pair, straight, surface_points
from frames import RAIL, RUNG, hoop, rack, told_apart
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import job_of, write_job
from pdf_tools import lines_of, read_pdf
from scipy.integrate import quad
from shapely.geometry import LineString, Polygon, box

from converter.errors import MissingLibraryError, OptionError, WriteError
from converter.exporters.options import WriteOptions
from converter.exporters.paper.wraps import Around, wrap
from converter.exporters.pdf.cope_templates import BORDER, PENS
from converter.exporters.pdf.tiling import clip, tile
from converter.model.section import Section
from converter.shop.model import HoleSaw, Shop
from converter.units import Display

R = RAIL.od / 2.0


def tee(theta=90.0, section=RUNG, offset=0.0, rail=RAIL, length=500.0, name="RUNG"):
    a = radians(theta)
    foot = (0.0, offset, 0.0)
    far = (length * cos(a), offset, length * sin(a))
    return [straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), rail), straight(name, foot, far, section)]


def job(tubes, stem="part", display=None, **more):
    return job_of(tubes, f"{stem}.dxf", display=display, **more)


def printed(tmp_path, tubes, first=None, **how):
    """The pages, or only the first so many, as a PDF reader sees them."""
    options = {name: how.pop(name) for name in ("paper", "paper_thickness", "one_each") if name in how}
    [path] = write_job(job(tubes, **how), tmp_path / "out", ["cope-pdf"], **options)
    return read_pdf(path, first)


def drawn(page, layer):
    return lines_of(page, PENS[layer])


def cut_line(page):
    return max(drawn(page, "cut"), key=len)


def edge_length(points):
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


# --- the print, measured -----------------------------------------------------------------


@pytest.mark.parametrize("paper", [0.0, 0.1, 0.25])
def test_equal_tubes_at_90_degrees_measure_4_r_squared_on_the_print(paper, tmp_path):
    """Between the cut and the centerline's end: r |cos phi| around, so 4 r^2 (closed form) on paper of no thickness."""
    page = printed(tmp_path, tee(section=RAIL), paper_thickness=paper)[1]
    cut = cut_line(page)
    [end] = [line for line in drawn(page, "centerline-end") if len(line) == 2]
    assert end[0, 1] == pytest.approx(end[1, 1], abs=1e-3)
    depth = end[0, 1] - cut[:, 1]
    area = float(np.trapezoid(depth, cut[:, 0]))
    assert area == pytest.approx(4.0 * R * (R + paper / 2.0), rel=2e-5)
    assert depth.max() == pytest.approx(R, abs=1e-3)
    assert depth.min() == pytest.approx(0.0, abs=1e-3)
    assert cut[-1, 0] - cut[0, 0] == pytest.approx(pi * (RAIL.od + paper), abs=1e-3)


@pytest.mark.parametrize(("theta", "offset"), [(90.0, 0.0), (60.0, 0.0), (45.0, 3.0), (30.0, 2.0)])
def test_edge_length_and_area_agree_with_quadrature(theta, offset, tmp_path):
    """The closed form of docs/cope.md, integrated apart from our own curve; its zero line is found on the print."""
    paper = 0.1
    page = printed(tmp_path, tee(theta, offset=offset), paper_thickness=paper)[1]
    cut = cut_line(page)
    r, a, k = RUNG.od / 2.0, radians(theta), (RUNG.od + paper) / 2.0

    def back(phi):
        return (sqrt(R * R - (offset + r * sin(phi)) ** 2) - r * cos(phi) * cos(a)) / sin(a)

    def slope(phi):
        h = 1e-5
        return (back(phi + h) - back(phi - h)) / (2.0 * h)

    long = quad(lambda phi: hypot(k, slope(phi)), 0.0, 2.0 * pi, limit=400)[0]
    area = quad(lambda phi: k * back(phi), 0.0, 2.0 * pi, limit=400)[0]
    assert edge_length(cut) == pytest.approx(long, rel=2e-5)
    [end] = drawn(page, "centerline-end") or [None]
    base = min(line[0, 1] for line in drawn(page, "sheet-edge"))
    below = float(np.trapezoid(cut[:, 1] - base, cut[:, 0]))
    joint = find_joints(tee(theta, offset=offset))[0][0]
    one = wrap(joint, paper)
    assert below == pytest.approx(one.base * one.width - area, rel=2e-5)
    if end is not None:
        assert end[0, 1] - base == pytest.approx(one.base, abs=1e-3)
    # the line starts and ends at the zero line: the long point of a straight tube
    assert cut[0, 1] == pytest.approx(cut[-1, 1], abs=1e-3)
    assert cut[0, 1] == pytest.approx(cut[:, 1].max(), abs=1e-3)


def test_the_bore_line_is_dashed_and_true(tmp_path):
    page = printed(tmp_path, tee(60.0))[1]
    joint = find_joints(tee(60.0))[0][0]
    [bore] = drawn(page, "bore")
    cut = cut_line(page)
    phi = np.array([row[0] for row in joint.profile])
    wanted = np.array([row[2] - row[1] for row in joint.profile])
    x = cut[0, 0] + np.radians(phi) * (RUNG.od + 0.1) / 2.0
    shown = np.interp(x, cut[:, 0], cut[:, 1]) - np.interp(x, bore[:, 0], bore[:, 1])
    assert np.abs(shown - wanted).max() < 5e-3  # both are straight between their points
    assert PENS["bore"].dash


@pytest.mark.parametrize(("display", "sheet", "size"), [
    (Display(), "", (210.0, 297.0)), (Display("in"), "", (215.9, 279.4)), (Display("in"), "A4", (210.0, 297.0)),
])  # fmt: skip
def test_sheets_and_scale_bar(display, sheet, size, tmp_path):
    """A bar of 100 by 50 mm, or 4 by 2 in, on every sheet; all within the border."""
    pages = printed(tmp_path, tee(), display=display, paper=sheet)
    assert len(pages) == 2
    along, up = (100.0, 50.0) if display.unit == "mm" else (101.6, 50.8)
    assert all(page.size == pytest.approx(size, abs=1e-3) for page in pages)
    sheet_page = pages[1]
    spans = [(p[:, 0].max() - p[:, 0].min(), p[:, 1].max() - p[:, 1].min()) for p in drawn(sheet_page, "scale")]
    assert any(w == pytest.approx(along, abs=1e-3) and h == pytest.approx(0.0, abs=1e-3) for w, h in spans)
    assert any(h == pytest.approx(up, abs=1e-3) and w == pytest.approx(0.0, abs=1e-3) for w, h in spans)
    every = np.concatenate([np.array(s.points) for s in sheet_page.strokes])
    assert every.min() >= BORDER - 0.01
    assert (every.max(axis=0) <= np.array(size) - BORDER + 0.01).all()


def test_closing_marks_meet_when_wrapped(tmp_path):
    """The marks at one side edge stand at the heights of those at the other, a width apart."""
    page = printed(tmp_path, tee())[1]
    marks = sorted((float(p[:, 1].mean()), float(p[:, 0].mean())) for p in drawn(page, "closing-marks"))
    assert len(marks) == 4
    width = pi * (RUNG.od + 0.1)
    for (low, left), (same, right) in (marks[:2], marks[2:]):
        assert low == pytest.approx(same, abs=1e-3)
        assert right - left == pytest.approx(width, abs=1e-3)


def big():
    return tee(25.0, Section("round", 101.6, 5.0), rail=Section("round", 114.3, 6.0), length=900.0)


def test_sheets_joined_at_their_marks_give_the_whole_curve(tmp_path):
    """Only the print is used: every sheet is laid on its neighbour by the join crosses, then the curve is measured."""
    pages = printed(tmp_path, big())[1:]
    assert len(pages) > 2
    labels = {}
    for i, page in enumerate(pages):
        for word in page.text.splitlines():
            if word.startswith("join "):
                labels.setdefault(word, []).append(i)
    shift = {0: np.zeros(2)}
    lines = [{tuple(np.round(p.ravel(), 3)): p for p in drawn(page, "join")} for page in pages]
    crosses = [np.array([p.mean(axis=0) for p in drawn(page, "join-marks")]) for page in pages]
    for label, where in sorted(labels.items()):
        assert len(where) == 2, label
        one, two = where
        assert two not in shift or one in shift
        # the upright join of a neighbour in the row, else the level one
        upright = two - one == 1
        ends = [next(p for p in lines[i].values() if (p[0, 0] == p[1, 0]) == upright) for i in where]
        sets = []
        for i, line in zip(where, ends, strict=True):
            axis = 0 if upright else 1
            on = crosses[i][np.abs(crosses[i][:, axis] - line[0, axis]) < 1e-4]
            assert len(on) >= 2
            sets.append(np.unique(np.round(on, 5), axis=0))
        move = sets[0][0] - sets[1][0]
        common = min(len(s) for s in sets)
        assert np.abs(sets[0][:common] - (sets[1][:common] + move)).max() < 1e-4
        found = shift[one] + move
        if two in shift:
            assert np.abs(shift[two] - found).max() < 1e-4, "the sheets do not close"
        shift[two] = found
    assert set(shift) == set(range(len(pages)))
    pieces = [p + shift[i] for i, page in enumerate(pages) for p in drawn(page, "cut") if len(p) > 10]
    joint = find_joints(big())[0][0]
    one = wrap(joint, 0.1)
    whole = np.column_stack((one.x, -one.od))
    # where the first sheet's drawing starts is taken from its first point: phi = 0
    whole = whole - whole[0] + pieces[0][0]
    joined = LineString(pieces[0]).union(LineString(pieces[1]))
    for piece in pieces[2:]:
        joined = joined.union(LineString(piece))
    for point in whole[:: max(1, len(whole) // 400)]:
        assert joined.distance(LineString([point, point + 1e-9])) < 1e-3
    for piece in pieces:
        assert LineString(whole).buffer(1e-3).covers(LineString(piece))


# --- what it says ----------------------------------------------------------------------


def test_a_sheet_names_tube_end_mates_zero_line_and_saw(tmp_path):
    shop = Shop("yard", (), hole_saws=(HoleSaw(44.45, 60.0),), source=__file__)
    tubes = [hoop("HOOP", 0.0, 0.0), straight("LÖWE π", (0.0, 0.0, 200.0), (300.0, 0.0, 380.0), RUNG)]
    pages = printed(tmp_path, tubes, shop=shop)
    text = " ".join(pages[1].text.split())
    joint = find_joints(tubes)[0][0]
    for words in (
        "LÖWE π end A",
        "oped to HOOP",
        f"Zero line (both side edges): {joint.zero_in()}",
        "zero line",
        f"long {joint.long_point:.2f}",
        f"short {joint.short_point:.2f}",
        f"{joint.angle:.2f}°",
        "Hole saw 44.45 mm",
        "paper 0.1 mm thick",
        f"Once around {pi * (RUNG.od + 0.1):.2f} mm",
        "bar is 100 mm along and 50 mm up",
    ):
        assert words in text, words


def test_a_bent_tube_tells_the_way_to_its_tangent_point(tmp_path):
    """The lower edge and the tangent point: straight less base, by hand."""
    plate = straight("PLATE-RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)
    leg = hoop("LEG", 0.0, 0.0, RUNG)
    joints, _ = find_joints([plate, leg])
    [joint] = [j for j in joints if j.tube == "LEG"]
    one = wrap(joint, 0.1)
    assert one.base == 40.0  # short point 22.225, 15 more, rounded up to 5
    page = next(p for p in printed(tmp_path, [plate, leg])[1:] if "LEG end" in p.text)
    text = " ".join(page.text.split())
    assert "the outside of bend 1" in text
    assert "From the lower edge to that tangent point: 410.00 mm." in text


def test_the_template_ends_where_the_straight_ends():
    plate = straight("PLATE-RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)
    from tubes import run_of, tube_of

    from converter.model.bends import Placement

    place = Placement((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
    leg = tube_of(run_of([(33.0, 0.0, 90.0, 100.0)], 200.0, place, name="LEG"), RUNG)
    [joint] = [j for j in find_joints([plate, leg])[0] if j.tube == "LEG"]
    assert wrap(joint, 0.1).base == pytest.approx(33.0)


def test_the_index_lists_every_end_and_its_page(tmp_path):
    pages = printed(tmp_path, told_apart(rack(2)), one_each=True)
    joints, _ = find_joints(rack(2))
    assert len(pages) == 1 + len(joints)
    for joint in joints:
        rows = [row for row in pages[0].text.splitlines() if row.startswith(joint.tube)]
        assert len(rows) == sum(other.tube == joint.tube for other in joints), joint.tube
    words = pages[0].text.split()
    for number, joint in enumerate(joints, 2):
        assert f"{joint.tube} end {joint.end}\n" in pages[number - 1].text
        assert "1 template" in pages[number - 1].text and f"page {number} of {len(pages)}" in " ".join(
            pages[number - 1].text.split()
        )
        assert str(number) in words
        assert f"{joint.long_point:.2f}" in words and f"{joint.angle:.2f}°" in words


@pytest.mark.slow
def test_an_index_of_sixty_ends_is_one_page_and_more_than_fit_go_on(tmp_path):
    many = told_apart(rack(16))
    joints, _ = find_joints(many)
    assert len(joints) > 100
    pages = printed(tmp_path, many, first=4)
    index = [page for page in pages if "ends cut to fit" in page.text]
    assert 1 < len(index) <= 3
    assert sum(page.text.count("HOOP-") for page in index) == len(joints)
    (tmp_path / "few").mkdir()
    few = printed(tmp_path / "few", told_apart(rack(8)), first=2)
    assert len(find_joints(rack(8))[0]) == 56
    assert [i for i, page in enumerate(few) if "ends cut to fit" in page.text] == [0]


def test_letters_of_any_script_do_not_break_the_print(tmp_path):
    pages = printed(tmp_path, tee(name="管\u0007 %%c ^ <b>"))
    assert "%%c ^ <b>" in pages[1].text


# --- DXF ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("display", "k"), [(Display(), 1.0), (Display("in"), 25.4)])
def test_dxf_is_full_size_in_its_unit(display, k, tmp_path):
    [path] = write_job(job(tee(section=RAIL), display=display), tmp_path / "out", ["cope-dxf"])
    assert path.name == "part-copes.dxf"
    doc = ezdxf.readfile(path)
    assert doc.header["$INSUNITS"] == (4 if k == 1.0 else 1)
    [cut] = doc.modelspace().query('LWPOLYLINE[layer=="cut"]')
    points = np.array([(x, y) for x, y, *_ in cut.get_points()]) * k
    assert np.ptp(points[:, 0]) == pytest.approx(pi * (RAIL.od + 0.1), abs=1e-9)
    assert np.ptp(points[:, 1]) == pytest.approx(R, abs=1e-3)
    [end] = doc.modelspace().query('LINE[layer=="centerline-end"]')
    area = np.trapezoid(end.dxf.start.y * k - points[:, 1], points[:, 0])
    assert area == pytest.approx(4.0 * R * (R + 0.05), rel=2e-5)
    texts = {entity.dxf.text for entity in doc.modelspace().query("TEXT")}
    assert any("RUNG end A" in text for text in texts)
    assert any(text == "zero line" for text in texts)
    assert doc.layers.get("bore").dxf.linetype == "DASHED"
    assert not doc.audit().has_errors


def test_templates_of_one_dxf_do_not_lie_on_one_another(tmp_path):
    [path] = write_job(job(told_apart(rack(2))), tmp_path / "out", ["cope-dxf"])
    cuts = ezdxf.readfile(path).modelspace().query('LWPOLYLINE[layer=="cut"]')
    spans = sorted((min(p[1] for p in c.get_points()), max(p[1] for p in c.get_points())) for c in cuts)
    assert len(spans) == len(find_joints(rack(2))[0])
    assert all(a[1] < b[0] for a, b in pairwise(spans))


# --- the geometry behind it --------------------------------------------------------------


def test_seen_from_outside_with_the_end_up_x_runs_to_the_right():
    """The point at phi = 1 degree lies right of the zero line for one who looks at the zero line from outside."""
    cut = pair(19.05, 22.225, 60.0, 3.0, wall=2.0)
    points = surface_points(cut, np.array([0.0, 1.0]))
    b = cut.branch
    look, up = -np.asarray(b.zero), np.asarray(b.direction)
    assert (points[1] - points[0]) @ np.cross(look, up) > 0.0


@pytest.mark.parametrize("section", [
    Section("square", 40.0, 3.0, corner=6.0), Section("rectangular", 60.0, 3.0, height=30.0, corner=5.0),
    Section("square", 40.0, 3.0, corner=20.0),
])  # fmt: skip
@pytest.mark.parametrize("turn", [0.0, 33.0, 45.0, -170.0])
def test_around_a_square_tube(section, turn):
    """Against the way along a finely sampled outline grown by half the paper."""
    paper = 0.3
    around = Around(section.outer, paper, turn)
    grown = Polygon(
        [(x, y) for x, y in _outline(section)]
    ).buffer(paper / 2.0, quad_segs=2000).exterior  # fmt: skip
    assert around.total == pytest.approx(grown.length, abs=1e-3)
    phi = np.linspace(0.0, 360.0, 37)
    x = around.position(phi)
    assert x[0] == 0.0 and x[-1] == around.total and (np.diff(x) > 0.0).all()
    from shapely.geometry import Point

    flat = LineString(_outline(section) + _outline(section)[:1])
    zero = None
    for angle, at in zip(phi[:-1], x[:-1], strict=True):
        psi = radians(angle + turn)
        ray = LineString([(0.0, 0.0), (200.0 * cos(psi), 200.0 * sin(psi))])
        hit = flat.intersection(ray)
        # the paper lies square above the metal: nearest place of its middle
        way = grown.project(Point(hit.x, hit.y))
        zero = way if zero is None else zero
        wanted = (way - zero) % grown.length
        wanted = min(wanted, grown.length - wanted), max(wanted, grown.length - wanted)
        assert min(abs(at - w) for w in wanted) < 0.02


def _outline(section):
    a, b, r = section.height / 2.0, section.od / 2.0, section.corner
    points = []
    for k, (x, y) in enumerate([(a - r, b - r), (r - a, b - r), (r - a, r - b), (a - r, r - b)]):
        for i in range(401):
            t = radians(90.0 * k + 90.0 * i / 400)
            points.append((x + r * cos(t), y + r * sin(t)))
    return points


def test_round_sections_as_rectangles_of_full_corners_agree():
    """A square tube whose corners leave no flats is a round one."""
    square = Around(Section("square", 40.0, 3.0, corner=20.0).outer, 0.1, 12.0)
    round_ = Around(Section("round", 40.0, 3.0).outer, 0.1, 0.0)
    phi = np.linspace(0.0, 360.0, 721)
    assert np.abs(square.position(phi) - round_.position(phi)).max() < 1e-9


def test_kinks_are_not_cut_off():
    """Two mates: the template's straight pieces stay within 0.005 mm of the curve, also where one takes over."""
    tubes = [
        straight("RAIL", (-600.0, 0.0, 0.0), (600.0, 0.0, 0.0), RAIL),
        straight("UP", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG),
        straight("BRACE", (0.0, 0.0, 0.0), (200.0, 15.0, 200.0), RUNG),
    ]
    [joint] = [j for j in find_joints(tubes)[0] if len(j.mates) == 2]
    one = wrap(joint, 0.1)
    fine = np.linspace(0.0, 360.0, 200_001)
    x = np.radians(fine) * (RUNG.od + 0.1) / 2.0
    off = np.abs(np.interp(x, one.x, one.od) - joint.cut.outside(fine))
    steep = np.abs(np.gradient(joint.cut.outside(fine), x))
    assert (off / np.hypot(1.0, steep)).max() < 5e-3
    stretches = one.governs()
    assert {name for name, _, _ in stretches} == set(joint.mates)
    assert stretches[0][1] == 0.0 and stretches[-1][2] == pytest.approx(one.width)


coordinate = st.floats(-50.0, 150.0, allow_nan=False).map(lambda v: round(v, 3))


@settings(max_examples=150)
@given(st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=12))
def test_clipping_keeps_just_what_lies_in_the_window(points):
    window = (0.0, 10.0, 100.0, 90.0)
    inside = clip(points, window)
    length = sum(edge_length(np.array(piece)) for piece in inside)
    steps = [LineString([a, b]).intersection(box(*window)).length for a, b in pairwise(points)]
    assert length == pytest.approx(sum(steps), abs=1e-3)
    every = [p for piece in inside for p in piece]
    assert all(-1e-9 <= x <= 100.0 + 1e-9 and 10.0 - 1e-9 <= y <= 90.0 + 1e-9 for x, y in every)


@pytest.mark.parametrize(("size", "count"), [(190.0, 1), (190.1, 2), (370.0, 2), (370.1, 3)])
def test_how_many_sheets(size, count):
    """A sheet of 190 and an overlap of 10: 190, 370, 550 ... (by hand)."""
    tiles = tile((0.0, 0.0), (size, 50.0), (190.0, 100.0))
    assert len(tiles) == count
    assert tiles[0].window[0] == 0.0 and tiles[-1].window[2] == size
    for a, b in pairwise(tiles):
        assert a.window[2] - b.window[0] == pytest.approx(10.0)


# --- refusals ----------------------------------------------------------------------------


def test_what_cannot_be_printed_is_refused(tmp_path):
    with pytest.raises(OptionError, match="thickness of paper"):
        WriteOptions(paper_thickness=-0.1)
    with pytest.raises(OptionError, match="A4 or Letter"):
        WriteOptions(paper="A0")
    alone = [straight("ALONE", (0.0, 0.0, 0.0), (100.0, 0.0, 0.0), RAIL)]
    for name in ("cope-dxf", "cope-pdf", "step-coped", "fit-up"):
        with pytest.raises(WriteError, match="no cope"):
            write_job(job(alone), tmp_path / "out", [name])
    bare = [straight("BARE", (0.0, 0.0, 0.0), (100.0, 0.0, 0.0), None)]
    with pytest.raises(WriteError, match=r"1 of 1 tubes were left out, the first of them BARE: .*no section is known"):
        write_job(job(bare), tmp_path / "out", ["cope-pdf"])
    paths = write_job(job(alone), tmp_path / "out", ["csv", "cope-pdf"])
    assert [p.name for p in paths] == ["part.csv"]


def test_without_the_pdf_library_one_sentence(tmp_path, monkeypatch):
    for name in [name for name in sys.modules if name.split(".")[0] == "reportlab"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "reportlab", None)
    with pytest.raises(MissingLibraryError, match="pip install reportlab"):
        write_job(job(tee()), tmp_path / "out", ["cope-pdf"])
    assert not (tmp_path / "out").exists()


def test_the_same_job_prints_the_same_file(tmp_path):
    one, two = (write_job(job(tee()), tmp_path / name, ["cope-pdf"])[0].read_bytes() for name in "ab")
    assert one == two
