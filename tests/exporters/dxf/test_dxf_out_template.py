"""The stick template as DXF, its numbers checked against the tube bent in space."""

from __future__ import annotations

from math import cos, pi, radians, sin

import ezdxf
import pytest
from ezdxf import bbox
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import BARE_SHOP, job_of, write_job
from legible import assert_clear_of_lines, assert_legible
from shapely.geometry import LineString, box
from strategies import placements, tables

from converter.exporters.dxf.stick_template import LAYERS, template_figure
from converter.exporters.paper.figure import Text, spread
from converter.exporters.paper.stick import StickTemplate, Strip, stick_bends
from converter.geometry.vectors import add, cross, distance, rotate, scale, unit
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.model import Die, Shop
from converter.units import Display

ROUND = Section("round", 30.0, 2.0)
BENDS = (
    Bend(100.0, 0.0, 90.0, 50.0),
    Bend(0.0, 120.0, 200.0, 60.0),
    Bend(30.0, -75.0, 12.5, 40.0),
    Bend(80.0, 180.0, 45.0, 40.0),
)


def tube(name="rail", bends=BENDS, tail=75.0, section=ROUND, place=None):
    return Tube(Run(name, None, False, BendTable(tuple(bends), tail), place or Placement()), section)


def written(folder, *tubes, display=None, paper_thickness=0.0, **more):
    job = job_of(tubes, display=display, **more)
    [path] = write_job(job, folder / "out", ["template"], paper_thickness=paper_thickness)
    return ezdxf.readfile(path)


def figure_of(one, display=None, paper_thickness=0.0):
    """The template of a tube with nothing known of how it springs back: as it is drawn."""
    [setup] = job_of([one]).setups
    strip = Strip.of(one.section, paper_thickness)
    return template_figure(one, StickTemplate.of(setup), strip, BARE_SHOP, display or Display())


def lines(doc, layer):
    return [e for e in doc.modelspace().query("LINE") if e.dxf.layer == layer]


def sheet(doc):
    """x of end A, x of end B, y of the bottom and of the top edge of the only template."""
    xs = [e.dxf.start.x for e in lines(doc, "cut")]
    ys = [e.dxf.start.y for e in lines(doc, "sheet-edge")]
    return min(xs), max(xs), min(ys), max(ys)


def surface_point(run, arc, down, od):
    """Where a point of the wrapped sheet ends up on the bent tube, at the middle of one of its arcs.

    Only from what the sheet says of itself: its printed side faces out, its x axis runs with the
    feed, its top edge lies on the outside of bend 1, ``down`` mm below it is the point. Seen from
    outside, with the feed t to the right and the outward normal e toward the eye, "up" is e x t.
    The wrapped sheet is carried along the bends without twist.
    """
    outward = scale(run.placement.toward, -1.0)
    for segment in run.centerline:
        if isinstance(segment, Arc):
            half = segment is arc
            outward = rotate(outward, segment.normal, segment.angle / (2.0 if half else 1.0))
            if half:
                break
    t = unit(cross(arc.normal, add(arc.point(arc.angle / 2.0), scale(arc.center, -1.0))))
    below = scale(cross(outward, t), -1.0)
    turn = down / (od / 2.0)
    radial = add(scale(outward, cos(turn)), scale(below, sin(turn)))
    return add(arc.point(arc.angle / 2.0), scale(radial, od / 2.0))


def check_against_the_bent_tube(doc, run, od, k=1.0, tol=1e-9):
    left, right, bottom, top = (v * k for v in sheet(doc))
    assert left == pytest.approx(0.0, abs=1e-12) and right == pytest.approx(run.table.developed_length, abs=tol)
    assert top - bottom == pytest.approx(pi * od, abs=tol)
    # along: against the lengths of the straights and arcs of the centerline in space
    at, begins, ends, arcs = 0.0, [], [], []
    for segment in run.centerline:
        if isinstance(segment, Arc):
            begins.append(at)
            ends.append(at + segment.length)
            arcs.append(segment)
        at += segment.length
    assert [e.dxf.start.x * k for e in lines(doc, "tangent-start")] == pytest.approx(begins, abs=tol)
    assert [e.dxf.start.x * k for e in lines(doc, "tangent-end")] == pytest.approx(ends, abs=tol)
    # around: every inside line must land where the bent tube comes nearest to the bend's centre
    for layer, side in (("inside-line", -1.0), ("outside-line", 1.0)):
        found = set()
        for line in lines(doc, layer):
            x, y = line.dxf.start.x * k, line.dxf.start.y * k
            [index] = [i for i, b in enumerate(begins) if abs(b - x) < tol and abs(ends[i] - line.dxf.end.x * k) < tol]
            point = surface_point(run, arcs[index], top - y, od)
            assert distance(point, arcs[index].center) == pytest.approx(arcs[index].radius + side * od / 2.0, abs=1e-8)
            found.add(index)
        assert found == set(range(len(arcs)))


@pytest.mark.parametrize("display", [Display(), Display("in"), Display("in", 16)], ids=["mm", "in", "16ths"])
def test_marks_agree_with_the_bent_tube(tmp_path, display):
    one = tube(place=Placement((5.0, 6.0, 7.0), (0.0, 0.6, 0.8), (0.0, -0.8, 0.6)))
    k = 25.4 if display.unit == "in" else 1.0
    doc = written(tmp_path, one, display=display)
    assert doc.header["$INSUNITS"] == (1 if k != 1.0 else 4)
    check_against_the_bent_tube(doc, one.run, 30.0, k)


@pytest.mark.slow
@settings(max_examples=15)
@given(table=tables(most=8), place=placements())
def test_marks_of_random_tubes_agree_with_the_bent_tube(tmp_path_factory, table, place):
    one = tube(bends=table.bends, tail=table.tail, place=place)
    # a random tube that runs into itself would be cut to fit itself
    doc = written(tmp_path_factory.mktemp("t"), one, coped=False)
    check_against_the_bent_tube(doc, one.run, 30.0, tol=1e-7)


def test_numbers_worked_by_hand():
    # 100 + 50 pi/2 = 178.5398; the next arc is 60 * 200 degrees = 209.4395; rolls 0, 120, 45, 225
    a, b, c, d = stick_bends(tube().run)
    assert (a.begin, a.clock, b.clock, c.clock, d.clock) == (100.0, 0.0, 120.0, 45.0, 225.0)
    assert a.end == b.begin == pytest.approx(178.53981633974485)
    assert b.end == pytest.approx(178.53981633974485 + 209.43951023931953)
    around = ROUND.outer
    assert around.perimeter == pytest.approx(30.0 * pi)
    assert around.position(120.0) == pytest.approx(10.0 * pi) and around.position(-90.0) == pytest.approx(22.5 * pi)


def test_a_clock_of_a_whole_turn_is_none():
    bends = [
        Bend(1.0, 0.0, 10.0, 5.0),
        Bend(1.0, 0.1, 10.0, 5.0),
        Bend(1.0, 0.2, 10.0, 5.0),
        Bend(1.0, -0.3, 10.0, 5.0),
    ]
    assert stick_bends(tube(bends=bends).run)[-1].clock == 0.0


@pytest.mark.parametrize(("height", "width", "corner"), [(40.0, 20.0, 3.0), (20.0, 40.0, 0.0), (30.0, 30.0, 15.0)])
def test_way_around_a_square_section(height, width, corner):
    """Against an outline of a geometry library: where a ray meets it, and how far along that is."""
    around = Section("rectangular", width, 1.0, height, corner).outer
    assert around.perimeter == pytest.approx(2 * (height + width) - 8 * corner + 2 * pi * corner)
    core = box(-height / 2 + corner, -width / 2 + corner, height / 2 - corner, width / 2 - corner)
    outline = (
        core.buffer(corner, quad_segs=512).exterior
        if corner
        else box(-height / 2, -width / 2, height / 2, width / 2).exterior
    )
    zero = LineString([(0, 0), (100, 0)]).intersection(outline)
    sense = 1.0 if outline.is_ccw else -1.0
    for roll in range(0, 360, 7):
        ray = LineString([(0, 0), (100 * cos(radians(roll)), 100 * sin(radians(roll)))])
        gone = sense * (outline.project(ray.intersection(outline)) - outline.project(zero)) % outline.length
        assert around.position(roll) == pytest.approx(gone, abs=2e-3) or abs(gone - around.perimeter) < 2e-3
    assert around.position(180.0) == pytest.approx(around.perimeter / 2)


def test_rectangular_sheet_shows_where_its_faces_end():
    one = tube(section=Section("rectangular", 20.0, 1.0, 40.0, 3.0))
    figure = figure_of(one)
    ys = sorted({round(a[1], 6) for a, b, layer in figure.lines if layer == "face-edges"})
    # top edge: middle of the face 20 wide; it ends after 7, the corner is 3 pi/2 long, the next face 34
    total = 2 * 60 - 24 + 6 * pi
    assert (
        len(ys) == 8 and total - ys[-1] == pytest.approx(7.0) and ys[-1] - ys[-2] == pytest.approx(1.5 * pi, abs=1e-5)
    )
    assert ys[-2] - ys[-3] == pytest.approx(34.0)


def test_extra_stick_is_drawn_and_marked_to_be_trimmed(tmp_path):
    """The clamp needs 130 at end A where 100 are drawn, the pressure die 95 at end B where 75 are."""
    die = Die("R50", "round", 30.0, 50.0, clamp=130.0, between=10.0, tail=95.0)
    one = tube(bends=(Bend(100.0, 0.0, 90.0, 50.0), Bend(60.0, 120.0, 45.0, 50.0)), tail=75.0)
    doc = written(tmp_path, one, shop=Shop("one die", (die,), source=__file__))
    left, right, _, _ = sheet(doc)
    length = one.run.table.developed_length
    assert left == pytest.approx(-30.0) and right == pytest.approx(length + 20.0)
    assert sorted(e.dxf.start.x for e in lines(doc, "trim")) == pytest.approx([0.0, length])
    texts = [t.dxf.text for t in doc.modelspace().query("TEXT")]
    assert any("cut length" in t and f"{length + 50.0:.2f}" in t for t in texts)
    assert sum("trim" in t for t in texts) >= 2


def test_scale_bar_and_words(tmp_path):
    for display, unit_mm, size in ((Display(), 1.0, (100.0, 50.0)), (Display("in"), 25.4, (101.6, 50.8))):
        doc = written(tmp_path / display.unit, tube(), display=display)
        bars = lines(doc, "scale")
        assert max(e.dxf.start.distance(e.dxf.end) for e in bars) * unit_mm == pytest.approx(size[0])
        upright = [e for e in bars if e.dxf.start.x == e.dxf.end.x]
        assert max(e.dxf.start.distance(e.dxf.end) for e in upright) * unit_mm == pytest.approx(size[1])
        texts = " ".join(t.dxf.text for t in doc.modelspace().query("TEXT"))
        size_text = "100 mm" if unit_mm == 1.0 else "4 in"
        for words in ("this side out", "outside of bend 1", "clockwise, seen from end A toward end B", size_text):
            assert words in texts
        for words in ("end A of the stick", "end B of the stick", "has no die for this tube", "not marks for a die"):
            assert words in texts
        assert not doc.audit().errors


def test_a_straight_and_a_tube_without_section(tmp_path):
    doc = written(tmp_path, tube("rung", bends=(), tail=300.0), tube("bare", section=None))
    texts = " ".join(t.dxf.text for t in doc.modelspace().query("TEXT"))
    assert "A straight: the zero line may lie anywhere." in texts and "Section unknown" in texts
    assert len(lines(doc, "tangent-start")) == 4 and not lines(doc, "inside-line")
    assert {e.dxf.layer for e in doc.modelspace()} <= {layer.name for layer in LAYERS}


@pytest.mark.slow
@settings(max_examples=20)
@given(table=tables(most=30), od=st.sampled_from([6.0, 12.7, 44.45, 150.0]))
def test_no_text_of_a_template_lies_on_another_or_on_a_line(table, od):
    one = tube(bends=table.bends, tail=table.tail, section=Section("round", od, 0.5))
    figure = figure_of(one, Display("in", 64))
    assert_legible(figure)
    assert_clear_of_lines(figure)


def test_tight_rows_of_bends_stay_legible():
    bends = [Bend(0.0, 0.0 if i == 0 else 90.0, 3.0, 10.0) for i in range(30)]
    thin = tube(bends=bends, section=Section("round", 10.0, 1.0))
    assert_legible(figure_of(thin))
    assert_clear_of_lines(figure_of(thin))


def test_letters_are_no_wider_than_reckoned(tmp_path):
    """Against the font measures of the DXF library, for every text of a template."""
    doc = written(tmp_path, tube("Wide MWMW name"))
    for text in doc.modelspace().query("TEXT"):
        real = bbox.extents([text])
        reckoned = Text(text.dxf.text, (0.0, 0.0), text.dxf.height, "", "left").box()
        wide = max(real.size.x, real.size.y)
        assert wide <= (reckoned[2] - reckoned[0]) * 1.02 + 0.1


def test_templates_of_a_file_do_not_overlap(tmp_path):
    doc = written(tmp_path, tube("a"), tube("b", section=Section("round", 100.0, 3.0)), tube("c", bends=()))
    starts = sorted((e.dxf.start.y for e in lines(doc, "sheet-edge")), reverse=True)
    tops, bottoms = starts[0::2], starts[1::2]
    assert all(bottom > top + 40.0 for bottom, top in zip(bottoms, tops[1:], strict=False))


@given(st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(0.1, 50.0)), max_size=30), st.floats(0.0, 5.0))
def test_spread_keeps_order_and_distance(items, gap):
    items.sort()
    wanted, widths = [w for w, _ in items], [w for _, w in items]
    got = spread(wanted, widths, gap)
    for i in range(len(got) - 1):
        assert got[i + 1] - got[i] >= (widths[i] + widths[i + 1]) / 2 + gap - 1e-6
    if all(b - a >= (u + v) / 2 + gap for a, b, u, v in zip(wanted, wanted[1:], widths, widths[1:], strict=False)):
        assert got == pytest.approx(wanted, abs=1e-6)
