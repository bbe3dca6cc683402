"""The cleaned centerline as DXF: true place, units, layers, and the same runs when read back."""

from __future__ import annotations

from dataclasses import replace

import ezdxf
import numpy as np
import pytest
from any_finding import any_finding
from ezdxf import bbox
from ezdxf.math import Vec3
from hypothesis import HealthCheck, assume, given, settings
from jobs import job_of, write_job
from scipy.spatial import cKDTree
from strategies import placements, tables

from converter.exporters.dxf.page import text_safe
from converter.geometry.vectors import any_normal, cross, distance, unit
from converter.importers.registry import read
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import walk
from converter.model.curve import Arc, Line
from converter.model.run import Run, Tube
from converter.reducer import reduce_drawing
from converter.units import Display

FRAME = (
    Bend(100.0, 0.0, 90.0, 50.0),
    Bend(0.0, 120.0, 200.0, 60.0),
    Bend(30.0, -75.0, 12.5, 40.0),
    Bend(80.0, 180.0, 45.0, 40.0),
)
SKEW = Placement(
    (10.0, -20.0, 30.0),
    unit((1.0, 2.0, 3.0)),
    unit(cross(unit((1.0, 2.0, 3.0)), (0.3, -1.0, 0.2))),
)


def tube(name="rail", bends=FRAME, tail=75.0, place=SKEW, layer=None):
    return Tube(Run(name, layer, False, BendTable(tuple(bends), tail), place))


def written(tmp_path, *tubes, findings=(), display=None):
    job = job_of(tubes, display=display, findings=findings)
    [path] = write_job(job, tmp_path / "out", ["dxf"])
    return path


def curves(path):
    return [e for e in ezdxf.readfile(path).modelspace() if e.dxftype() in ("LINE", "ARC")]


def ends(entity):
    """Both end points in world coordinates, by the DXF library's own reading of the extrusion."""
    if entity.dxftype() == "LINE":
        return tuple(entity.dxf.start), tuple(entity.dxf.end)
    return tuple(entity.start_point), tuple(entity.end_point)


PLANES = [
    (0, 0, 1),
    (0, 0, -1),
    (1, 0, 0),
    (-1, 0, 0),
    (0, 1, 0),
    (0, -1, 0),
    (1e-3, 0, 1),
    (1 / 64, 0, 1),
    (1, -1, -1),
]


@pytest.mark.parametrize("normal", PLANES)
@pytest.mark.parametrize("unit_name", ["mm", "in"])
def test_arcs_are_at_their_true_place_in_every_plane(tmp_path, normal, unit_name):
    n = unit(normal)
    place = Placement((1.0, 2.0, 3.0), any_normal(n), n)
    one = tube(place=place)
    k = 25.4 if unit_name == "in" else 1.0
    entities = curves(written(tmp_path, one, display=Display(unit_name)))
    assert len(entities) == len(one.run.centerline)
    for entity, segment in zip(entities, one.run.centerline, strict=True):
        a, b = (tuple(v * k for v in p) for p in ends(entity))
        straight = distance(a, segment.start) + distance(b, segment.end)
        turned = distance(b, segment.start) + distance(a, segment.end)
        assert min(straight, turned) < 1e-9
        if isinstance(segment, Arc):
            assert entity.dxf.radius * k == pytest.approx(segment.radius, abs=1e-12)
            # the middle of the arc tells the way round: 200 degrees is not 160
            half = (entity.dxf.end_angle - entity.dxf.start_angle) % 360.0 / 2.0
            arm = Vec3.from_deg_angle(entity.dxf.start_angle + half, entity.dxf.radius)
            mid = tuple(v * k for v in entity.ocs().to_wcs(entity.dxf.center + arm))
            assert distance(mid, segment.point(segment.angle / 2)) < 1e-9


def test_flat_drawings_need_no_extrusion(tmp_path):
    """Readers that overlook the extrusion still read a drawing in the xy plane right."""
    flat = tube(bends=(Bend(50.0, 0.0, 90.0, 30.0), Bend(20.0, 180.0, 90.0, 30.0)), place=Placement())
    for entity in curves(written(tmp_path, flat)):
        assert not entity.dxf.hasattr("extrusion") or tuple(entity.dxf.extrusion) == (0.0, 0.0, 1.0)


@pytest.mark.parametrize(("name", "code", "metric"), [("mm", 4, 1), ("in", 1, 0)])
def test_units_are_set_and_the_numbers_are_in_them(tmp_path, name, code, metric):
    path = written(tmp_path, tube(bends=(), tail=254.0, place=Placement()), display=Display(name))
    doc = ezdxf.readfile(path)
    assert (doc.header["$INSUNITS"], doc.header["$MEASUREMENT"]) == (code, metric) and doc.dxfversion >= "AC1024"
    [line] = doc.modelspace().query("LINE")
    assert line.dxf.end.x == pytest.approx(254.0 if name == "mm" else 10.0, rel=1e-15)
    assert read(str(path)).units == name and not doc.audit().errors


def test_bends_the_dies_cannot_make_lie_on_layers_of_their_own(tmp_path):
    findings = [
        any_finding("radius-too-tight", tube="rail", bend=2),
        any_finding("radius-between-dies", tube="rail", bend=3),
        any_finding("radius-too-tight", severity="warning", tube="rail", bend=4),
        any_finding("radius-too-tight", tube="other", bend=1),
        any_finding("corner-no-radius", tube="rail", bend=1),
    ]
    layers = [e.dxf.layer for e in curves(written(tmp_path, tube(), findings=findings))]
    assert layers == [
        "straights",
        "bends",
        "tight-bends",
        "straights",
        "off-die-bends",
        "straights",
        "bends",
        "straights",
    ]


def test_sharp_corners_are_marked_and_keep_their_bend_numbers(tmp_path):
    bends = (Bend(50.0, 0.0, 90.0, None), Bend(60.0, 90.0, 90.0, 20.0))
    path = written(
        tmp_path, tube(bends=bends, place=Placement()), findings=[any_finding("radius-too-tight", tube="rail", bend=2)]
    )
    [point] = ezdxf.readfile(path).modelspace().query("POINT")
    assert tuple(point.dxf.location) == pytest.approx((50.0, 0.0, 0.0)) and point.dxf.layer == "corners"
    assert [e.dxf.layer for e in curves(path)] == ["straights", "straights", "tight-bends", "straights"]


def reread(path):
    runs, _ = reduce_drawing(read(str(path)))
    return runs


def same(back, was, tol):
    assert (back.name, back.layer) == (was.name, was.layer)
    assert len(back.table.bends) == len(was.table.bends)
    for x, y in zip(back.table.bends, was.table.bends, strict=True):
        assert (x.feed, x.angle, x.clr) == (
            pytest.approx(y.feed, abs=tol),
            pytest.approx(y.angle, abs=tol),
            pytest.approx(y.clr, abs=tol),
        )
        assert (x.rotation - y.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=tol)
    assert back.table.tail == pytest.approx(was.table.tail, abs=tol)
    assert distance(back.start, was.start) < tol and distance(back.end, was.end) < tol


def test_reads_back_to_the_same_runs_with_their_names(tmp_path):
    shifted = Placement((1000.0, 0.0, 0.0))
    tubes = [
        tube("rail =1/..\"é", layer="FRAME"),
        tube("straight", bends=(), tail=300.0, place=shifted, layer="FRAME"),
        tube("lone arc", bends=(Bend(0.0, 0.0, 30.0, 500.0),), tail=0.0,
             place=replace(shifted, start=(0, 0, 900.0)), layer="管"),
        tube("lone arc down", bends=(Bend(0.0, 0.0, 30.0, 500.0),), tail=0.0,
             place=Placement((0, 0, 2000.0), (1.0, 0, 0), (0, 0, -1.0)), layer="caret ^J"),
        tube("x" * 200, place=replace(SKEW, start=(5e3, 0, 0)), layer="=cmd|'/c'!A1"),
    ]  # fmt: skip
    findings = [any_finding("radius-too-tight", tube=tubes[0].name, bend=2)]
    for folder, display in (("mm", Display()), ("in", Display("in"))):
        back = reread(written(tmp_path / folder, *tubes, findings=findings, display=display))
        assert len(back) == len(tubes)
        for run, was in zip(back, tubes, strict=True):
            same(run, was.run, 1e-6)


def touches_itself(run):
    """Whether the centerline comes back to within 3 mm of itself: no tube can, and its ends would chain otherwise."""
    points, where = [], []
    for i, segment in enumerate(run.centerline):
        steps = max(2, int(segment.length // 2.0) + 1)
        for j in range(steps + 1):
            t = j / steps
            if isinstance(segment, Arc):
                points.append(segment.point(segment.angle * t))
            else:
                points.append(tuple(a + (b - a) * t for a, b in zip(segment.start, segment.end, strict=True)))
            where.append(i)
    pairs = cKDTree(points).query_pairs(3.0, output_type="ndarray")
    order = np.array(where)
    return bool((np.abs(order[pairs[:, 0]] - order[pairs[:, 1]]) > 2).any())


@pytest.mark.slow
@settings(max_examples=15, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(table=tables(most=30), place=placements())
def test_random_tables_read_back(tmp_path_factory, table, place):
    """Up to 30 bends, zero straights and bends over 180 degrees among them."""
    was = tube(bends=table.bends, tail=table.tail, place=place, layer="L")
    assume(not touches_itself(was.run))
    back = reread(written(tmp_path_factory.mktemp("r"), was))
    assert len(back) == 1
    same(back[0], was.run, 1e-5)


def test_labels_show_names_and_nothing_is_far_off(tmp_path):
    path = written(tmp_path, tube('50%%u^J"'), tube("b\nc", place=Placement()))
    space = ezdxf.readfile(path).modelspace()
    texts = [t.plain_text() for t in space.query("TEXT")]
    assert texts == ['50% %u^J"', "b c"]
    assert bbox.extents(space.query("LINE ARC")).size.magnitude < 1000.0


@pytest.mark.parametrize(
    ("text", "safe"), [("a%%%b", "a% % %b"), ("a^b", "a^ b"), ("a\tb\x00", "a b "), ("\udc80", "?")]
)
def test_text_is_free_of_control_sequences(text, safe):
    assert text_safe(text) == safe and "%%" not in safe


def test_lines_and_arcs_only_besides_marks(tmp_path):
    kinds = {e.dxftype() for e in ezdxf.readfile(written(tmp_path, tube())).modelspace()}
    assert kinds == {"LINE", "ARC", "TEXT"}
    assert all(isinstance(s, Line | Arc) for s in tube().run.centerline)


def test_runs_that_touch_end_to_end_on_one_layer_read_back_apart(tmp_path):
    """Two tubes in line on one layer: tangent where they meet, and two runs all the same."""
    first = tube("a", layer="L", place=Placement())
    end = walk(first.run.table, first.run.placement)[1]
    second = tube("b", layer="L", place=Placement(end.start, end.direction, end.normal))
    back = reread(written(tmp_path, first, second))
    assert [run.name for run in back] == ["a", "b"]
