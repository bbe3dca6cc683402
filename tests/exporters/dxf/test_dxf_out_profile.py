"""Full-size flat profiles as DXF: congruent with the bent tube, legible, told in words."""

from __future__ import annotations

from itertools import combinations
from math import hypot

import ezdxf
import numpy as np
import pytest
from dxf_tools import overlap
from hypothesis import given, settings
from jobs import job_of, write_job
from strategies import placements, tables

from converter.exporters.dxf import profile as dxf_profile
from converter.exporters.dxf.profile import LAYERS, flat_pieces, profile_figure, rotation_sentences
from converter.geometry.vectors import cross, distance, dot, rotate
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.units import Display

ROUND = Section("round", 30.0, 2.0)
BENDS = (
    Bend(100.0, 0.0, 90.0, 50.0),
    Bend(60.0, 180.0, 200.0, 60.0),
    Bend(30.0, -75.0, 12.5, 40.0),
    Bend(0.0, 0.0, 30.0, 90.0),
    Bend(80.0, 120.0, 45.0, 10.0),
)


def tube(name="rail", bends=BENDS, tail=75.0, section=ROUND, place=None):
    return Tube(Run(name, None, False, BendTable(tuple(bends), tail), place or Placement()), section)


def written(folder, *tubes, display=None):
    [path] = write_job(job_of(tubes, display=display), folder / "out", ["profile"])
    return ezdxf.readfile(path)


def test_pieces_are_the_bends_that_share_a_plane():
    pieces = flat_pieces(tube().run, ROUND)
    assert [(p.first, p.last, p.rotation, p.at_a, p.at_b) for p in pieces] == [
        (1, 2, 0.0, True, False),
        (3, 4, -75.0, False, False),
        (5, 5, 120.0, False, True),
    ]
    assert [p.table.straights for p in pieces] == [(100.0, 60.0, 30.0), (30.0, 0.0, 80.0), (80.0, 75.0)]
    assert [b.rotation for b in pieces[0].table.bends] == [0.0, 180.0]
    assert flat_pieces(tube(bends=()).run, ROUND) == []


def test_size_in_the_plane_of_a_rectangular_tube():
    flat = Section("rectangular", 20.0, 1.0, 40.0)
    bends = [Bend(10.0, 0.0, 90.0, 80.0), Bend(10.0, 90.0, 45.0, 80.0), Bend(10.0, -90.0, 45.0, 80.0)]
    assert [p.size for p in flat_pieces(tube(bends=bends).run, flat)] == [40.0, 20.0, 40.0]
    assert [p.size for p in flat_pieces(tube(bends=bends).run, None)] == [None] * 3


@settings(max_examples=40)
@given(table=tables(most=10), place=placements())
def test_profiles_are_congruent_with_the_bent_tube(table, place):
    """All distances between tangent points and bend centres are those in space; the first bend turns left."""
    run = tube(bends=table.bends, tail=table.tail, place=place).run
    arcs = [s for s in run.centerline if isinstance(s, Arc)]
    for piece in flat_pieces(run, ROUND, 1e-9):
        flat = [s for s in piece.segments if isinstance(s, Arc)]
        real = arcs[piece.first - 1 : piece.last]
        assert flat[0].normal[2] == pytest.approx(1.0)
        a = [p for s in flat for p in (s.start, s.center, s.end)]
        b = [p for s in real for p in (s.start, s.center, s.end)]
        for i, j in combinations(range(len(a)), 2):
            assert distance(a[i], a[j]) == pytest.approx(distance(b[i], b[j]), abs=1e-6)
        assert all(abs(p[2]) < 1e-9 for p in a)


@pytest.mark.parametrize("display", [Display(), Display("in")], ids=["mm", "in"])
def test_file_shows_centerline_edges_and_tangent_points(tmp_path, display):
    doc = written(tmp_path, tube(), display=display)
    k = 25.4 if display.unit == "in" else 1.0
    assert (doc.header["$INSUNITS"], doc.header["$MEASUREMENT"]) == ((1, 0) if k != 1.0 else (4, 1))
    space = doc.modelspace()
    middle = [e for e in space.query("ARC") if e.dxf.layer == "centerline"]
    edges = [e for e in space.query("ARC") if e.dxf.layer == "tube-edge"]
    assert [e.dxf.radius * k for e in middle] == pytest.approx([50.0, 60.0, 40.0, 90.0, 10.0])
    # the bend of radius 10 is tighter than half the tube: no inside edge
    assert sorted(e.dxf.radius * k for e in edges) == pytest.approx([25, 25, 35, 45, 55, 65, 75, 75, 105])
    for arc in edges:
        assert any(distance(tuple(arc.dxf.center), tuple(m.dxf.center)) < 1e-9 for m in middle)
    ticks = [e for e in space.query("LINE") if e.dxf.layer == "tangent-points"]
    # two per bend, the joint of bends 3 and 4 once; each across the centerline and both edges
    assert len(ticks) == 3 * 9
    mids = [tuple((e.dxf.start + e.dxf.end) / 2) for e in ticks]
    for arc in [*middle, *edges]:
        for end in (arc.start_point, arc.end_point):
            assert min(distance(tuple(end), m) for m in mids) < 1e-9
    texts = [t.dxf.text for t in space.query("TEXT")]
    for number in range(1, 6):
        assert texts.count(f"bend {number}") == 1
    assert texts.count("200.00°") == 1 and texts.count("end A") == 1 and texts.count("to bend 3") == 1
    assert f"CLR {display.number(60.0)}" in texts and display.number(100.0) in texts
    assert any(t.startswith("OD ") for t in texts)
    assert {e.dxf.layer for e in space} <= {layer.name for layer in LAYERS} and not doc.audit().errors


def test_words_for_the_roll_agree_with_the_frame():
    """Looking along t with u up, right is t x u; a clock's hand goes from up to right."""
    t, up = (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)
    right = cross(t, up)
    turned = rotate(up, t, 30.0)
    assert dot(turned, right) > 0.0  # +30 about the direction of feed is clockwise, seen along it
    plane, machine = rotation_sentences(30.0, 2, Display())
    assert plane == "Before bend 2 the bend plane rotates 30.00° clockwise, seen from end A toward end B."
    assert machine == "In a fixed bender turn the tube 30.00° counter-clockwise, seen the same way."
    plane, machine = rotation_sentences(-75.0, 3, Display())
    assert "75.00° counter-clockwise" in plane and "75.00° clockwise" in machine
    assert len(rotation_sentences(180.0, 2, Display())) == 1


def boxes(figure):
    return [(t, t.box()) for t in figure.texts if t.rotation % 90.0 == 0.0]


@settings(max_examples=25)
@given(table=tables(most=12))
def test_no_two_labels_overlap(table):
    one = tube(bends=table.bends, tail=table.tail)
    for piece in flat_pieces(one.run, ROUND):
        figure = profile_figure(one, piece, Display("in", 64))
        for (t, a), (u, b) in combinations(boxes(figure), 2):
            # lengths written inside a tube that crosses itself may meet; labels with leaders never
            if {t.align, u.align} == {"center"} and t.height == u.height and "/" in t.text and "/" in u.text:
                continue
            assert not overlap(a, b), (t.text, u.text)


def test_labels_keep_clear_of_the_tube():
    figure = profile_figure(tube(), flat_pieces(tube().run, ROUND)[0], Display())
    [label] = [t for t in figure.texts if t.text == "bend 1"]
    box = label.box()
    arc = flat_pieces(tube().run, ROUND)[0].segments[1]
    for x, y in ((box[0], box[1]), (box[0], box[3]), (box[2], box[1]), (box[2], box[3])):
        away = hypot(x - arc.center[0], y - arc.center[1])
        assert away > arc.radius + 15.0 or away < arc.radius - 15.0


def test_figures_stand_side_by_side_without_overlap(tmp_path):
    doc = written(tmp_path, tube("a"), tube("b", tail=80.0), tube("rung", bends=()), tube("c", section=None))
    texts = list(doc.modelspace().query("TEXT"))
    titles = [t for t in texts if t.dxf.text.endswith("full size")]
    assert len(titles) == 9
    rows = sorted({round(t.dxf.insert.y, 3) for t in titles}, reverse=True)
    assert len(rows) == 3
    assert any("rung" in t.dxf.text and t.dxf.text.startswith("Straight") for t in texts)
    figures = [profile_figure(tube("a"), p, Display()) for p in flat_pieces(tube().run, ROUND)]
    row = [t.dxf.insert.x for t in titles if t.dxf.text.startswith("a:")]
    for figure, x, following in zip(figures, row, row[1:], strict=False):
        assert x + figure.high[0] - figure.low[0] <= following - 39.0


def test_a_job_of_straights_says_so(tmp_path):
    texts = [t.dxf.text for t in written(tmp_path, tube("rung", bends=())).modelspace().query("TEXT")]
    assert "Straight, without a bend to check: rung" in texts


def test_a_sharp_corner_beside_an_arc_or_another_corner_has_its_label():
    """Without a straight between them, too: 100 along, a corner, half a turn of 50, a corner and one more."""
    bends = [
        Bend(100.0, 0.0, 90.0, None), Bend(0.0, 180.0, 180.0, 50.0), Bend(0.0, 180.0, 90.0, None),
        Bend(0.0, 0.0, 45.0, None),
    ]  # fmt: skip
    run = Run("rail", None, False, BendTable(tuple(bends), 80.0), Placement())
    (piece,) = flat_pieces(run, None)
    # up the y axis from (100, 0), clockwise half round to (200, 0), then left twice
    places = [corner for corner, _ in dxf_profile._corners(piece.table)]
    assert np.allclose(places, [(100.0, 0.0), (200.0, 0.0), (200.0, 0.0)])
    assert [out for _, out in dxf_profile._corners(piece.table)][:2] == pytest.approx([-45.0, -135.0])
    figure = profile_figure(Tube(run), piece, Display())
    assert sum(text.text == "sharp corner" for text in figure.texts) == 3
