"""Every kind of DXF curve, against ezdxf's own geometry, the DXF reference's facts and hand-worked values."""

import math
from itertools import pairwise

import ezdxf
import numpy as np
import pytest
from dxf_tools import VERSIONS, close, codes, cox_de_boor, gap, ignored, new, reread, sample
from ezdxf.math import OCS, Vec3
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from converter.importers.dxf.convert import lwpolyline as read_lwpolyline
from converter.importers.dxf.entities import arc as read_arc
from converter.importers.dxf.entities import ellipse as read_ellipse
from converter.importers.dxf.entities import ocs_axes
from converter.model.curve import Arc, Ellipse, Line, Path, Polyline, Spline

Q = math.sqrt(2) - 1  # tan(90/4): the bulge of a quarter circle


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("binary", [False, True])
def test_every_version_reads_the_same(tmp_path, version, binary):
    """The same tube in each DXF version, ASCII and binary, is the same line, arc and bulged polyline."""
    doc, msp = new(version)
    msp.add_line((0, 0, 5), (10, 0, 5), dxfattribs={"layer": "Röhr"})
    msp.add_arc((10, 5, 5), 5, -90, 0)
    if version == "R12":
        msp.add_polyline2d([(0, 0, 0), (10, 0, Q), (15, 5, 0)], format="xyb")
    else:
        msp.add_lwpolyline([(0, 0, 0), (10, 0, Q), (15, 5, 0)], format="xyb")
    drawing = reread(doc, tmp_path, binary=binary)
    line, arc, path = (c.curve for c in drawing.curves)
    assert line == Line((0, 0, 5), (10, 0, 5))
    assert drawing.curves[0].layer == "Röhr"
    assert arc.radius == 5 and arc.angle == pytest.approx(90) and arc.normal == (0, 0, 1)
    assert close(arc.start, (10, 0, 5)) and close(arc.end, (15, 5, 5))
    assert isinstance(path, Path) and close(path.end, (15, 5, 0)) and path.parts[1].radius == pytest.approx(5)
    assert drawing.units == (None if version == "R12" else "mm")
    assert codes(drawing) == (["units-assumed"] if version == "R12" else [])


def test_names_with_escapes_come_back_readable(tmp_path):
    r"""A name beyond the file's code page is written as \U+XXXX and read as the letters it stands for."""
    doc, msp = new("R2000")
    names = ["Ø42 трубa 管 @c (44)", "管-plain", "Röhr"]
    doc.layers.add(names[1])
    for name in names:
        msp.add_line((0, 0), (1, 0), dxfattribs={"layer": name})
    assert [c.layer for c in reread(doc, tmp_path).curves] == names


angles = st.floats(-720, 720, allow_nan=False)
coordinates = st.floats(-1e4, 1e4, allow_nan=False)
directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: math.hypot(*v) > 1e-3)


@given(
    st.tuples(coordinates, coordinates, coordinates), st.floats(0.1, 1e4), angles, st.floats(0.01, 359.99), directions
)
@settings(max_examples=200)
def test_arcs_in_any_ocs_agree_with_ezdxf(center, radius, first, sweep, extrusion):
    """start_point and end_point of ezdxf honour the extrusion (its construction_tool does not)."""
    entity = ezdxf.entities.Arc.new(
        dxfattribs={
            "center": center, "radius": radius, "start_angle": first, "end_angle": first + sweep, "extrusion": extrusion
        }
    )  # fmt: skip
    arc = read_arc(entity, entity.dxf.__dict__, 1.0)
    scale = 1e-12 * (radius + math.hypot(*center)) + 1e-9
    assert close(arc.start, entity.start_point, scale * 10) and close(arc.end, entity.end_point, scale * 10)
    assert arc.angle == pytest.approx(sweep, abs=1e-9)
    middle = next(entity.vertices([first + sweep / 2]))
    assert close(arc.point(sweep / 2), middle, scale * 100)


@given(directions)
@settings(max_examples=200)
def test_ocs_axes_agree_with_ezdxf(extrusion):
    ocs = OCS(extrusion)
    for ours, theirs in zip(ocs_axes(extrusion), (ocs.ux, ocs.uy, ocs.uz), strict=True):
        assert close(ours, theirs, 1e-12)


@pytest.mark.parametrize(
    ("normal", "ax", "ay"),
    [
        ((0, 0, -1), (-1, 0, 0), (0, 1, 0)),
        ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
        ((0, 1, 0), (-1, 0, 0), (0, 0, 1)),
    ],
)
def test_arbitrary_axis_facts(normal, ax, ay):
    """Worked from the rule in the DXF reference's appendix: Wy x N near the z axis, else Wz x N; Ay = N x Ax."""
    axes = ocs_axes(tuple(map(float, normal)))
    assert close(axes[0], ax, 1e-15) and close(axes[1], ay, 1e-15)


def test_a_mirrored_arc_turns_the_other_way(tmp_path):
    """Extrusion (0, 0, -1): x is mirrored, so the quarter from +x to +y runs from -x to +y, clockwise from above."""
    doc, msp = new()
    msp.add_arc((-3, 4, -5), 2, 0, 90, dxfattribs={"extrusion": (0, 0, -1)})
    (drawn,) = reread(doc, tmp_path).curves
    arc = drawn.curve
    assert close(arc.center, (3, 4, 5)) and close(arc.start, (1, 4, 5)) and close(arc.end, (3, 6, 5))
    assert arc.normal == (0, 0, -1) and arc.angle == 90
    assert close(arc.point(45), (3 - math.sqrt(2), 4 + math.sqrt(2), 5))


@pytest.mark.parametrize(
    ("first", "last", "sweep"),
    [
        *((0, 90, 90), (350, 10, 20), (-90, -3e-14, 90), (270, 360, 90)),
        *((90, 0, 270), (-10, 380, 30), (0, 360, 360), (45, 45, 360)),
    ],
)
def test_arc_angles_wrap(tmp_path, first, last, sweep):
    doc, msp = new()
    msp.add_arc((1, 2), 10, first, last)
    arc = reread(doc, tmp_path).curves[0].curve
    assert arc.angle == pytest.approx(sweep, abs=1e-9)
    a = math.radians(first)
    assert close(arc.start, (1 + 10 * math.cos(a), 2 + 10 * math.sin(a), 0))


def test_circle_is_a_whole_turn(tmp_path):
    doc, msp = new()
    msp.add_circle((1, 2, 3), 4, dxfattribs={"extrusion": (1, 0, 0)})
    arc = reread(doc, tmp_path).curves[0].curve
    assert arc.angle == 360 and arc.start == arc.end and arc.radius == 4
    # in the OCS of +x the axes are y, z, x, so OCS (1, 2, 3) is world (3, 1, 2)
    assert close(arc.center, (3, 1, 2)) and close(arc.normal, (1, 0, 0))


def test_bulge_facts(tmp_path):
    """DXF reference: bulge = tan(angle / 4), negative clockwise; (0,0)-(10,0), tan 22.5: (5, +-5), R 7.071068."""
    doc, msp = new()
    msp.add_lwpolyline([(0, 0, Q), (10, 0, 0)], format="xyb")
    msp.add_lwpolyline([(0, 0, -Q), (10, 0, 0)], format="xyb")
    msp.add_lwpolyline([(0, 0, 1), (10, 0, 0)], format="xyb")
    left, right, half = (c.curve for c in reread(doc, tmp_path).curves)
    assert close(left.center, (5, 5, 0)) and left.radius == pytest.approx(7.0710678, abs=1e-7)
    assert left.normal == (0, 0, 1) and left.angle == pytest.approx(90)
    assert close(right.center, (5, -5, 0)) and right.normal == (0, 0, -1)
    # counter-clockwise from (0, 0) to (10, 0) passes below
    assert close(left.point(45), (5, 5 - math.sqrt(50), 0)) and close(right.point(45), (5, math.sqrt(50) - 5, 0))
    assert close(half.center, (5, 0, 0)) and half.angle == pytest.approx(180) and close(half.point(90), (5, -5, 0))


points_2d = st.lists(st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(-3, 3)), min_size=2, max_size=6)


@given(points_2d, st.booleans(), directions, st.floats(-100, 100))
@settings(max_examples=150)
def test_bulged_polylines_agree_with_ezdxf(points, closed, extrusion, elevation):
    """ezdxf explodes a polyline into LINE and ARC; ours must run through the same places, in order."""
    far = [points[0]]
    for p in points[1:]:
        if math.dist(p[:2], far[-1][:2]) > 1.0:
            far.append(p)
    assume(len(far) >= 2 and not (closed and math.dist(far[0][:2], far[-1][:2]) <= 1.0))
    entity = ezdxf.entities.LWPolyline.new(dxfattribs={"extrusion": extrusion, "elevation": elevation})
    entity.set_points([(x, y, b if abs(b) > 0.01 else 0) for x, y, b in far], format="xyb")
    entity.closed = closed
    curve = read_lwpolyline(entity, entity.dxf.__dict__, 1.0)
    theirs = list(entity.virtual_entities())
    parts = curve.parts if isinstance(curve, Path) else (curve,)
    segments = []
    for part in parts:
        if isinstance(part, Polyline):
            rows = [tuple(r) for r in part.points.tolist()]
            segments += [Line(a, b) for a, b in pairwise(rows)]
        else:
            segments.append(part)
    assert len(segments) == len(theirs)
    for ours, other in zip(segments, theirs, strict=True):
        if other.dxftype() == "LINE":
            assert isinstance(ours, Line) and close(ours.start, other.dxf.start, 1e-7)
            assert close(ours.end, other.dxf.end, 1e-7)
        else:
            assert isinstance(ours, Arc) and ours.radius == pytest.approx(other.dxf.radius, rel=1e-9)
            ends = {0: other.start_point, 1: other.end_point}
            assert min(math.dist(ours.start, ends[0]), math.dist(ours.start, ends[1])) < 1e-6
            span = (other.dxf.end_angle - other.dxf.start_angle) % 360
            middle = next(other.vertices([other.dxf.start_angle + span / 2]))
            assert close(ours.point(ours.angle / 2), middle, 1e-6)


def test_closed_polylines_end_where_they_start(tmp_path):
    doc, msp = new()
    msp.add_lwpolyline([(0, 0), (10, 0), (10, 5), (0, 5)], close=True)
    msp.add_lwpolyline([(0, 0, 1), (10, 0, 1)], format="xyb", close=True)
    msp.add_polyline3d([(0, 0, 0), (10, 0, 3), (10, 5, 6)], close=True)
    box, ring, loop = (c.curve for c in reread(doc, tmp_path).curves)
    assert box.points.tolist() == [[0, 0, 0], [10, 0, 0], [10, 5, 0], [0, 5, 0], [0, 0, 0]]
    assert len(ring.parts) == 2 and all(p.angle == pytest.approx(180) for p in ring.parts)
    assert ring.start == ring.end
    assert loop.start == loop.end == (0, 0, 0) and len(loop.points) == 4


def test_straight_runs_between_bulges_stay_whole(tmp_path):
    doc, msp = new()
    points = [(0, 0, 0), (10, 0, 0), (20, 1, Q), (30, 11, 0), (30, 11, 0), (30, 20, 0), (31, 30, 0)]
    msp.add_lwpolyline(points, format="xyb", dxfattribs={"elevation": 7})
    path = reread(doc, tmp_path).curves[0].curve
    first, bend, last = path.parts
    assert first.points.tolist() == [[0, 0, 7], [10, 0, 7], [20, 1, 7]]
    assert bend.start == (20, 1, 7) and bend.end == (30, 11, 7)
    assert last.points.tolist() == [[30, 11, 7], [30, 20, 7], [31, 30, 7]]


def test_doubled_vertices_drop_out(tmp_path):
    doc, msp = new()
    msp.add_lwpolyline([(0, 0), (0, 0), (5, 0), (5, 0), (5, 5), (5, 5)])
    msp.add_lwpolyline([(0, 0), (5, 0), (5, 0)])
    msp.add_lwpolyline([(1, 1), (1, 1)])
    drawing = reread(doc, tmp_path)
    assert drawing.curves[0].curve.points.tolist() == [[0, 0, 0], [5, 0, 0], [5, 5, 0]]
    assert drawing.curves[1].curve == Line((0, 0, 0), (5, 0, 0))
    assert ignored(drawing) == {("LWPOLYLINE", "no length"): 1}


def test_a_million_vertices_are_one_array():
    """Straight through the converter: the DXF text itself is the library's business."""
    n = 1_000_000
    t = np.linspace(0, 50, n)
    entity = ezdxf.entities.LWPolyline.new()
    values = np.zeros((n, 5))
    values[:, 0], values[:, 1] = 100 * np.cos(t), 100 * np.sin(t)
    entity.lwpoints.values = values
    curve = read_lwpolyline(entity, entity.dxf.__dict__, 25.4)
    assert isinstance(curve, Polyline) and curve.points.shape == (n, 3) and curve.points.dtype == np.float64
    assert np.array_equal(curve.points[:, :2], values[:, :2] * 25.4)


def test_old_polylines(tmp_path):
    """R12: a 3D polyline, a 2D one with elevation, one whose heights stand on the vertices alone."""
    doc, msp = new("R12")
    msp.add_polyline3d([(0, 0, 0), (10, 0, 5), (10, 10, 9)])
    msp.add_polyline2d([(0, 0), (10, 0), (10, 10)], dxfattribs={"elevation": (0, 0, 4)})
    low = msp.add_polyline2d([(0, 0), (10, 0)])
    for v in low.vertices:
        v.dxf.location = (*v.dxf.location.xyz[:2], 6)
    space, flat, low_line = (c.curve for c in reread(doc, tmp_path).curves)
    assert space.points.tolist() == [[0, 0, 0], [10, 0, 5], [10, 10, 9]]
    assert flat.points[:, 2].tolist() == [4, 4, 4]
    assert low_line == Line((0, 0, 6), (10, 0, 6))


def test_a_fitted_polyline_is_its_curve_not_its_frame(tmp_path):
    """DXF reference: vertex flag 16 marks the control frame, 8 the fitted points; 1 the points of a curve fit."""
    doc, msp = new("R2000")
    fitted = msp.add_polyline2d([(0, 0), (5, 20), (10, 0)], dxfattribs={"flags": 4})
    for v in fitted.vertices:
        v.dxf.flags = 16
    fitted.append_vertices([(0, 0), (5, 10), (10, 0)], dxfattribs={"flags": 8})
    curved = msp.add_polyline2d([(0, 0), (10, 0), (20, 0)], dxfattribs={"flags": 2})
    curved.vertices[0].dxf.bulge = Q
    curved.vertices[1].dxf.flags = 1
    curved.vertices[1].dxf.bulge = -Q
    first, second = (c.curve for c in reread(doc, tmp_path).curves)
    assert first.points.tolist() == [[0, 0, 0], [5, 10, 0], [10, 0, 0]]
    assert [type(p) for p in second.parts] == [Arc, Arc]


def test_meshes_are_no_centerlines(tmp_path):
    doc, msp = new()
    msp.add_polyface()
    msp.add_polymesh((3, 3))
    drawing = reread(doc, tmp_path)
    assert drawing.curves == []
    assert ignored(drawing) == {("POLYLINE", "a surface or mesh, not a centerline"): 2}


@given(
    st.tuples(coordinates, coordinates, coordinates), directions, directions, st.floats(0.01, 1),
    st.floats(-7, 7), st.floats(0.01, 6.2),
)  # fmt: skip
@settings(max_examples=150)
def test_ellipses_agree_with_ezdxf(center, major, extrusion, ratio, first, sweep):
    across = Vec3(extrusion).cross(Vec3(major))
    assume(across.magnitude >= 1e-3)
    normal = Vec3(major).cross(across).normalize()
    entity = ezdxf.entities.Ellipse.new(
        dxfattribs={
            "center": center, "major_axis": major, "extrusion": normal, "ratio": ratio, "start_param": first,
            "end_param": first + sweep,
        }
    )  # fmt: skip
    shape = read_ellipse(entity, entity.dxf.__dict__, 1.0)
    theirs = list(entity.vertices(np.linspace(first, first + sweep, 9)))
    for ours, other in zip(sample(shape, 9), theirs, strict=True):
        assert close(ours, other, 1e-8)


def test_a_round_ellipse_is_an_arc(tmp_path):
    doc, msp = new()
    msp.add_ellipse((0, 0), (10, 0), 1.0, 0, math.pi / 2)
    msp.add_ellipse((0, 0), (10, 0), 1.0)
    quarter, whole = (c.curve for c in reread(doc, tmp_path).curves)
    assert isinstance(quarter, Arc) and quarter.radius == 10 and quarter.angle == pytest.approx(90)
    assert close(quarter.start, (10, 0, 0)) and close(quarter.end, (0, 10, 0))
    assert whole.angle == 360 and whole.start == whole.end


def closed_spline(msp, cage):
    spline = msp.add_spline()
    spline.set_closed([Vec3(p) for p in cage])
    return spline


def test_splines_agree_with_ezdxf(tmp_path):
    """Clamped, rational, unclamped, closed and fit-point splines, point by point against ezdxf.math.BSpline."""
    doc, msp = new()
    cage = [(0, 0, 0), (10, 0, 3), (20, 10, 5), (30, 5, 0), (35, -5, 2), (50, 0, 0)]
    entities = [
        msp.add_open_spline(cage),
        msp.add_rational_spline(cage, weights=[1, 2, 0.5, 1, 3, 1]),
        closed_spline(msp, cage),
        msp.add_spline(cage),
    ]
    uniform = msp.add_spline()
    uniform.set_uniform(cage)
    helix = msp.add_spline()
    helix.apply_construction_tool(ezdxf.math.BSpline.from_arc(ezdxf.math.ConstructionArc((0, 0), 10, 0, 90)))
    entities += [uniform, helix]
    drawing = reread(doc, tmp_path)
    assert len(drawing.curves) == len(entities)
    for drawn, entity in zip(drawing.curves, entities, strict=True):
        tool = entity.construction_tool()
        curve = drawn.curve
        assert isinstance(curve, Spline)
        low, high = curve.knots[curve.degree], curve.knots[len(curve.control_points)]
        for u in np.linspace(low, high, 17):
            shift = u - low if entity.fit_point_count() and not entity.control_point_count() else u
            assert close(cox_de_boor(curve, float(u)), tool.point(float(shift)), 1e-8)
        assert close(curve.start, cox_de_boor(curve, low), 1e-9) and close(curve.end, cox_de_boor(curve, high), 1e-9)
    ring = drawing.curves[2].curve
    assert close(ring.start, ring.end, 1e-9)


def test_fit_points_are_met(tmp_path):
    doc, msp = new()
    fit = [(0, 0, 0), (10, 5, 0), (20, -5, 8), (30, 0, 0)]
    msp.add_spline(fit)
    closed = msp.add_spline(fit)
    closed.closed = True
    tangent = msp.add_spline(fit)
    tangent.dxf.start_tangent, tangent.dxf.end_tangent = (0, 1, 0), (0, 1, 0)
    msp.add_spline([(0, 0), (7, 0)])
    plain, ring, leaving, two = (c.curve for c in reread(doc, tmp_path).curves)
    dense = sample(plain, 2001)
    assert max(np.linalg.norm(dense - p, axis=1).min() for p in np.array(fit)) < 0.05
    assert close(ring.start, ring.end)
    step = cox_de_boor(leaving, 1e-6) - np.array(leaving.start)
    assert step[1] / np.linalg.norm(step) == pytest.approx(1, abs=1e-3)
    assert two == Line((0, 0, 0), (7, 0, 0))


def test_degree_one_splines_are_straight(tmp_path):
    """NURBS-minded writers send straights as degree-1 splines."""
    doc, msp = new()
    msp.add_open_spline([(0, 0), (10, 0)], degree=1)
    msp.add_open_spline([(0, 0), (10, 0), (10, 5)], degree=1)
    line, poly = (c.curve for c in reread(doc, tmp_path).curves)
    assert line == Line((0, 0, 0), (10, 0, 0))
    assert poly.points.tolist() == [[0, 0, 0], [10, 0, 0], [10, 5, 0]]


def test_periodic_splines_without_wrapped_points(tmp_path):
    """Some writers give n control points and n + 1 knots: the same closed curve as with the wrapped ones."""
    doc, msp = new()
    cage = [(0, 0, 0), (10, 0, 0), (12, 8, 0), (4, 12, 0), (-3, 6, 0)]
    short = msp.add_spline()
    short.dxf.degree, short.dxf.flags = 3, 3
    short.control_points, short.knots = cage, [0, 1, 2, 3, 4, 5]
    closed_spline(msp, cage)
    ours, theirs = (c.curve for c in reread(doc, tmp_path).curves)
    assert close(ours.start, ours.end)
    assert gap(sample(ours, 401), sample(theirs, 401)) < 0.2


def test_broken_splines_are_named(tmp_path):
    doc, msp = new()
    bad = msp.add_open_spline([(0, 0), (10, 0), (20, 5), (30, 0)])
    bad.knots = [0, 0, 0, 1, 0.5, 1, 1, 1]
    short = msp.add_open_spline([(0, 0), (10, 0), (20, 5), (30, 0)])
    short.knots = [0, 0, 1, 1]
    heavy = msp.add_rational_spline([(0, 0), (10, 0), (20, 5), (30, 0)], weights=[1, -1, 1, 1])
    drawing = reread(doc, tmp_path)
    assert drawing.curves == []
    assert codes(drawing) == ["entity-unread"] * 3
    assert {f.handle for f in drawing.findings} == {e.dxf.handle for e in (bad, short, heavy)}
    assert sum(i.count for i in drawing.ignored) == 3


def test_nothing_of_no_size(tmp_path):
    doc, msp = new()
    msp.add_line((1, 1), (1, 1))
    msp.add_line((1, 1), (1, 1 + 1e-9))
    msp.add_arc((0, 0), 0, 0, 90)
    msp.add_circle((0, 0), 0)
    msp.add_arc((0, 0), 5, 30, 30.0000000001)
    msp.add_open_spline([(1, 1)] * 4)
    drawing = reread(doc, tmp_path)
    assert drawing.curves == []
    assert ignored(drawing) == {
        ("LINE", "no length"): 2,
        ("ARC", "no radius"): 1,
        ("CIRCLE", "no radius"): 1,
        ("ARC", "no length"): 1,
        ("SPLINE", "no length"): 1,
    }
    assert codes(drawing) == []


def test_other_entities_are_counted_with_a_reason(tmp_path):
    doc, msp = new()
    msp.add_text("x")
    msp.add_mtext("y")
    msp.add_point((0, 0))
    msp.add_xline((0, 0), (1, 0))
    msp.add_ray((0, 0), (1, 0))
    msp.add_hatch()
    msp.add_3dface([(0, 0), (1, 0), (1, 1)])
    msp.add_solid([(0, 0), (1, 0), (1, 1)])
    msp.add_linear_dim(base=(0, 2), p1=(0, 0), p2=(5, 0)).render()
    msp.add_mline([(0, 0), (10, 0)])
    msp.add_line((0, 0), (1, 0))
    drawing = reread(doc, tmp_path)
    assert len(drawing.curves) == 1
    counted = ignored(drawing)
    assert all(count == 1 and why for (_, why), count in counted.items())
    kinds = {kind for kind, _ in counted}
    assert kinds == {
        "TEXT", "MTEXT", "POINT", "XLINE", "RAY", "HATCH", "3DFACE", "SOLID", "DIMENSION", "MLINE"
    }  # fmt: skip
    # only the multiline may be a tube in disguise
    assert [(f.code, f.layer) for f in drawing.findings] == [("entity-unread", "0")]


def test_far_from_the_origin_nothing_is_lost(tmp_path):
    """1e7 away a double still holds 2e-9; single precision would be a whole millimetre off."""
    x = 1e7
    doc, msp = new()
    msp.add_line((x + 0.123456, x, 0), (x + 100.654321, x, 0))
    msp.add_arc((x + 100.654321, x + 50), 50, 270, 0)
    msp.add_lwpolyline([(x, x), (x + 0.001, x), (x + 0.001, x + 0.002)])
    line, arc, poly = (c.curve for c in reread(doc, tmp_path).curves)
    assert line.length == pytest.approx(100.530865, abs=5e-9)
    assert close(arc.start, (x + 100.654321, x, 0), 5e-9) and arc.radius == 50
    assert np.ptp(poly.points, axis=0) == pytest.approx([0.001, 0.002, 0], abs=5e-9)


def test_ellipse_type_is_kept(tmp_path):
    doc, msp = new()
    msp.add_ellipse((0, 0), (10, 0), 0.5, 0, math.pi)
    shape = reread(doc, tmp_path).curves[0].curve
    assert isinstance(shape, Ellipse) and close(shape.start, (10, 0, 0)) and close(shape.end, (-10, 0, 0))
    assert close(shape.point(90), (0, 5, 0))
