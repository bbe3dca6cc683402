"""Outlines with hidden lines removed: against meshes of the same tubes, and against what can be worked by hand."""

from __future__ import annotations

from itertools import pairwise
from math import cos, radians, sin, sqrt

import numpy as np
import pytest
import shapely
from picture_tools import ROUND, examples, shadow, stopped
from tubes import run_of, tube_of

from converter.errors import GeometryError
from converter.exporters.pictures.hidden.outline import outline, outlines
from converter.exporters.pictures.hidden.sight import Sight
from converter.exporters.pictures.hidden.skin import hulls
from converter.exporters.pictures.hidden.solid import solid_of
from converter.exporters.pictures.run.sketch import SketchShape, simplified
from converter.exporters.pictures.views import View, ViewAxes
from converter.geometry.vectors import cross
from converter.model.bends import Placement
from converter.model.section import Section

TUBES = examples()
SOLID = ("five", "none", "one", "square", "flat", "oval", "mitred", "small", "ring", "bar")
VIEWS = [ViewAxes().front(), ViewAxes().top(), ViewAxes().right(), *(ViewAxes().isometric(i) for i in range(4))]
#: Straight out of the paper.
OUT = View("out", (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def lines_of(tube, view, role="tube"):
    found = outline(solid_of(tube), view.right, view.up, 0.005)
    return [np.array(points) for points, kind, _ in found.lines if kind == role]


# --- against a mesh -----------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("name", SOLID)
def test_the_skin_covers_what_a_mesh_covers_and_lines_run_around_it(name):
    """Union of projected triangles (chords within 0.4 % of the tube's size) against fills; its rim against lines."""
    tube = TUBES[name]
    for view in VIEWS[:5]:
        found = outline(solid_of(tube), view.right, view.up, 0.02)
        shapes = [shapely.Polygon(one) for one in found.skin]
        assert all(one.is_valid for one in shapes), (name, view.name)
        ours, theirs = shapely.union_all(shapes), shadow(tube, view, 0.004 * tube.section.od)
        if name == "none" and view.name == "right":
            theirs = shapely.Polygon(theirs.exterior)  # one looks through the bore
        assert ours.symmetric_difference(theirs).area < 0.006 * theirs.area, (name, view)
        drawn = shapely.MultiLineString([list(points) for points, kind, _ in found.lines if kind == "tube"])
        rings = [ring for part in shapely.get_parts(theirs) for ring in (part.exterior, *part.interiors)]
        rim = [p for ring in rings if ring.length > 5 for p in ring.segmentize(3.0).coords]
        assert shapely.distance(shapely.points(rim), drawn).max() < 0.01 * tube.section.od, (name, view)


@pytest.mark.slow
@pytest.mark.parametrize("name", SOLID)
def test_places_are_hidden_where_a_ray_meets_the_mesh(name):
    """Rays from random places on the surface toward the eye, against the triangles of a mesh.

    Places seen at less than 9 degrees are left out: there the mesh's own chords decide.
    """
    tube = TUBES[name]
    solid = solid_of(tube)
    random = np.random.default_rng(7)
    hidden = 0
    for view in VIEWS[1:5]:
        toward = np.array(view.toward)
        count = 40
        piece = random.integers(0, len(solid.size), count)
        f, u = random.random(count), random.random(count) * solid.outer.turn
        if name == "flat":
            u = 2 * np.floor(u / 2) + 1 + (u % 1)  # its corners have no size: places on its flats only
        points, normals = solid.points(piece, f, u), solid.normals(piece, f, u)
        out = normals @ toward
        sight = Sight(solid, np.array([(view.right, view.up)]))
        mine = sight.hidden(points, piece, np.zeros(count, dtype=int)) | (out < 0.0)
        size = tube.section.od
        theirs = stopped(points + normals * 0.002 * size, toward, tube, 0.004 * size, 0.001 * size)
        sure = np.abs(out) > 0.16
        assert (mine == theirs)[sure].all(), (name, view.name, points[sure & (mine != theirs)])
        hidden += int((mine & (out > 0.16)).sum())
    if name == "five":
        assert hidden > 2  # the test saw places that face the eye and are covered by another part


@pytest.mark.parametrize("name", SOLID)
def test_sizes_over_all_are_those_of_the_mesh(name):
    """A mesh's vertices lie on the surface, so its bounds are short by at most its chord error."""
    from converter.exporters.solids.tessellate import tube_mesh
    from converter.model.metal import metal

    tube = TUBES[name]
    vertices, _ = tube_mesh(metal(tube.run, tube.section), tube.section, 0.01)
    for axis in (*np.eye(3), np.array([0.36, 0.48, 0.8])):
        low, high = SketchShape.of(tube).span(tuple(axis))
        along = vertices @ axis
        if name == "mitred":  # sharp corners reach out to their mitres, spans stop at square ends
            continue
        assert 0.0 <= along.min() - low + 1e-9 < 0.03
        assert 0.0 <= high - along.max() + 1e-9 < 0.03


@pytest.mark.slow
@pytest.mark.parametrize(
    "section", [Section("flat-oval", 60, 2, 30), Section("square", 30, 2, 30, 4)], ids=["flat oval", "square"]
)
def test_a_hollow_inside_hides_its_own_silhouette(section):
    """The inside flat of a bend is a hollow cylinder: where it is seen edge on, the bend stands before it.

    Such an edge is upright in the picture; the only upright lines of the bend to see are on the rim of the shadow.
    """
    tube = tube_of(run_of([(100, 0, 90, 120)], 100), section)
    seen = 0
    for view in VIEWS[3:]:
        rim = shadow(tube, view, 0.05).boundary
        lines = outline(solid_of(tube), view.right, view.up, 0.005).lines
        for points in (points for points, kind, piece in lines if kind == "tube" and piece == 1):
            for a, b in pairwise(points):
                if abs(a[0] - b[0]) < 1e-3 and abs(a[1] - b[1]) > 1.0:
                    seen += 1
                    assert shapely.LineString([a, b]).centroid.distance(rim) < 0.1, (view.name, a, b)
    assert seen, "the outside of the bend has upright edges"


@pytest.mark.parametrize("name", SOLID)
def test_views_side_by_side_are_the_views_one_by_one(name):
    """Of one tube in seven views, each as fine as it likes: the same lines and shapes, point by point."""
    solid = solid_of(TUBES[name])
    chords = [0.02 + 0.01 * n for n in range(len(VIEWS))]
    together = outlines(solid, [(view.right, view.up) for view in VIEWS], chords)
    for view, chord, found in zip(VIEWS, chords, together, strict=True):
        alone = outline(solid, view.right, view.up, chord)
        assert [line[1:] for line in found.lines] == [line[1:] for line in alone.lines], view.name
        pairs = [([line[0] for line in found.lines], [line[0] for line in alone.lines])]
        pairs += [(getattr(found, of), getattr(alone, of)) for of in ("skin", "bores", "inside")]
        for mine, theirs in pairs:
            assert all(np.allclose(a, b, rtol=0.0, atol=1e-9) for a, b in zip(mine, theirs, strict=True)), view.name


def test_hulls_are_those_of_another_library():
    """Clouds, grids with points in a row and twice, outlines drawn out, and what has no area, all at once."""
    random = np.random.default_rng(3)
    turn = np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False)
    oval = np.column_stack([np.cos(turn), 0.3 * np.sin(turn)])
    sets = [random.normal(size=(n, 2)) for n in (3, 4, 40, 200)]
    sets += [np.round(3.0 * random.normal(size=(60, 2))), np.concatenate([oval, oval + np.array((0.4, 0.1))])]
    for points, hull in zip(sets, hulls(sets), strict=True):
        theirs = shapely.MultiPoint(points).convex_hull
        mine = shapely.Polygon(hull)
        assert mine.is_valid and mine.exterior.is_ccw and mine.symmetric_difference(theirs).area < 1e-12
        assert len(hull) == len(shapely.get_coordinates(theirs.exterior)) - 1  # corners only, each once
        assert tuple(hull[0]) == min(map(tuple, points))
    # corners that are there twice but for rounding, as those of two outlines that end in one mitre
    square = np.array([[0.0, 0.0], [300.0, 0.1], [300.0, 70.0], [0.0, 70.0]])
    for _ in range(50):
        (hull,) = hulls([np.concatenate([square + random.normal(scale=1e-14, size=(4, 2)) for _ in range(3)])])
        assert shapely.Polygon(hull).area == pytest.approx(shapely.Polygon(square).area, rel=1e-9)
    assert hulls([]) == []
    row = np.column_stack([np.arange(5.0), 2.0 * np.arange(5.0)])
    flat, one = hulls([row, np.zeros((4, 2))])
    assert flat.tolist() == [[0.0, 0.0], [4.0, 8.0]] and one.tolist() == [[0.0, 0.0]]


# --- worked by hand -----------------------------------------------------------------------


def test_a_straight_seen_at_45_degrees():
    """Sides r from the axis; ends are ellipses r by r sin 45; only the near half of the far end shows."""
    place = Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    tube = tube_of(run_of([], 200.0, place), Section("bar", 20.0, 10.0))
    h = sqrt(0.5)
    # the eye at +x and -y: end B faces it
    view = View("slanted", (h, h, 0.0), (0.0, 0.0, 1.0))
    assert np.allclose(view.toward, (h, -h, 0.0))
    lines = lines_of(tube, view)
    sides = [line for line in lines if len(line) == 2]
    assert sorted(line[0, 1] for line in sides) == pytest.approx([-10.0, 10.0])
    assert all(abs(line[:, 0]).min() < 1e-9 and abs(line[:, 0]).max() == pytest.approx(200 * h) for line in sides)
    far, near = sorted((line for line in lines if len(line) > 2), key=lambda line: line[:, 0].mean())
    for end, middle in ((far, 0.0), (near, 200 * h)):
        x, y = end[:, 0] - middle, end[:, 1]
        assert np.allclose((x / (10 * h)) ** 2 + (y / 10) ** 2, 1.0)
    assert near[:, 0].min() == pytest.approx(200 * h - 10 * h, abs=0.05)  # whole
    assert near[:, 0].max() == pytest.approx(200 * h + 10 * h, abs=0.05)
    assert far[:, 0].max() < 1e-3  # the half away from the tube
    assert far[:, 0].min() == pytest.approx(-10 * h, abs=0.05)


def test_a_straight_seen_along_itself_is_a_circle_with_its_bore():
    tube = tube_of(run_of([], 300.0), ROUND)
    found = outline(solid_of(tube), OUT.right, OUT.up)
    radii = {round(float(np.hypot(*np.array(points).T).mean()), 6) for points, _, _ in found.lines}
    assert radii == {15.0, 13.0}
    assert len(found.bores) == 1
    assert np.allclose(np.hypot(*np.array(found.bores[0]).T), 13.0)


@pytest.mark.parametrize("angle", [90, 180, 250, 340])
def test_a_bend_seen_square_to_its_plane_lies_between_two_circles(angle):
    """R + r and R - r about the bend's centre, each for the bend's whole angle."""
    tube = tube_of(run_of([(0, 0, angle, 100)], 0.0), ROUND)
    sides = [line - (0.0, 100.0) for line in lines_of(tube, ViewAxes().top()) if len(line) > 20]
    radii = [np.hypot(*line.T) for line in sides]
    circles = [r.mean() for r in radii if np.ptp(r) < 1e-9]
    assert sorted(circles) == pytest.approx([85.0, 115.0])
    for line, r in zip(sides, radii, strict=True):
        if np.ptp(r) < 1e-9:
            turn = np.unwrap(np.arctan2(line[:, 1], line[:, 0]))
            assert np.degrees(np.ptp(turn)) == pytest.approx(angle)


def test_a_bend_seen_in_its_plane_is_a_bar_with_a_round_end():
    """A half turn of radius 100, the eye in its plane square to the ends: 200 + 2r long, round where it turns."""
    tube = tube_of(run_of([(0, 0, 180, 100)], 0.0), ROUND)
    view = View("edge on", (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))  # the eye along +x, where the bend turns to
    points = np.concatenate(lines_of(tube, view))
    assert points.min(axis=0) == pytest.approx((-15.0, -15.0), abs=1e-6)
    assert points.max(axis=0) == pytest.approx((215.0, 15.0), abs=1e-6)
    beyond = points[points[:, 0] > 200.0 + 1e-6]
    assert np.allclose(np.hypot(beyond[:, 0] - 200.0, beyond[:, 1]), 15.0)
    assert beyond[:, 0].max() == pytest.approx(215.0, abs=0.05)


@pytest.mark.parametrize("angle", [30.0, 60.0])
def test_a_line_stops_exactly_where_another_part_begins_to_hide_it(angle):
    """A straight that crosses above another at an angle hides 2r / sin(angle) of each of its sides, where it lies."""
    r, c = 15.0, 100.0
    # 600 along x, left, up and back on a level 200 higher, then askew over the first straight
    tube = tube_of(run_of([(600, 0, 90, c), (200, 90, 180, c), (0, -90, 90 - angle, c)], 900.0), ROUND)
    first, last = tube.run.centerline[0], tube.run.centerline[-1]
    assert abs(last.start[2]) == pytest.approx(200.0)
    assert last.start[2] == pytest.approx(last.end[2])
    view = ViewAxes().top() if last.start[2] > 0 else View("below", (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))
    d = np.array(view.flat(last.direction))
    start = np.array(view.flat(last.start))
    assert abs(d[1]) == pytest.approx(sin(radians(angle)))
    found = outline(solid_of(tube), view.right, view.up, 0.01)
    sides = [np.array(p) for p, kind, piece in found.lines if kind == "tube" and piece == 0 and len(p) == 2]
    for y in (-r, r):
        # the crossing straight's axis meets the side's line at x; its sides r / sin(angle) before and after
        x = start[0] + d[0] * (y - start[1]) / d[1]
        assert 0.0 < x < first.end[0]
        parts = sorted((line[:, 0].min(), line[:, 0].max()) for line in sides if abs(line[0, 1] - y) < 1e-6)
        half = r / abs(d[1])
        assert len(parts) == 2
        assert parts[0] == pytest.approx((0.0, x - half), abs=2e-3)
        assert parts[1] == pytest.approx((x + half, 600.0), abs=2e-3)


def test_the_outline_of_a_bend_that_folds_over_itself_has_no_gaps():
    """A bend of 1.1 r shows its inside whole from above; from a corner its skin is lined all around."""
    tube = tube_of(run_of([(100, 0, 180, 16.5)], 100.0), ROUND)
    flat, steep = (lines_of(tube, view) for view in (ViewAxes().top(), ViewAxes().isometric()))
    inner = [line for line in flat if len(line) > 20 and np.allclose(np.hypot(*(line - (100, 16.5)).T), 1.5)]
    assert len(inner) == 1
    seen = shapely.MultiLineString([list(line) for line in steep])
    dark = shapely.union_all([shapely.Polygon(p) for p in outline(solid_of(tube), *_axes(ViewAxes().isometric())).skin])
    assert shapely.distance(shapely.points(list(dark.exterior.segmentize(2.0).coords)), seen).max() < 0.2


def _axes(view):
    return view.right, view.up


def test_flats_seen_edge_on_keep_their_sides():
    """Square tube in the front view: both sides of a straight that leans away are drawn in full."""
    tube = TUBES["square"]
    lines = shapely.MultiLineString([list(line) for line in lines_of(tube, ViewAxes().front())])
    low, high = SketchShape.of(tube).bounds(ViewAxes().front())[1::2]
    for x in (145.0, 175.0):
        side = shapely.LineString([(x, 20.0), (x, high - 5.0)])
        assert side.difference(lines.buffer(0.01)).length < 0.1
    assert low == pytest.approx(-15.0)


def test_a_tube_without_a_section_or_with_overlapping_bends_has_no_surface():
    for name in ("bare", "overlapping"):
        with pytest.raises(GeometryError):
            solid_of(TUBES[name])
        assert SketchShape.of(TUBES[name]).solid is None
    assert SketchShape.of(TUBES["bare"]).span((1.0, 0.0, 0.0))[0] == 0.0


# --- views --------------------------------------------------------------------------------


def test_the_isometric_shows_the_three_axes_alike():
    """ISO 5456-3: equal foreshortening (sqrt 2/3), 120 degrees between the axes, z upright."""
    for corner in range(4):
        view = ViewAxes().isometric(corner)
        on_paper = [np.array(view.flat(axis)) for axis in ((1, 0, 0), (0, 1, 0), (0, 0, 1))]
        assert [np.hypot(*p) for p in on_paper] == pytest.approx([sqrt(2 / 3)] * 3)
        assert on_paper[2] == pytest.approx((0.0, sqrt(2 / 3)))
        assert abs(on_paper[0] @ on_paper[1]) == pytest.approx(cos(radians(60)) * 2 / 3)
        assert view.toward[2] > 0.0  # from above
        assert cross(view.right, view.up) == pytest.approx(view.toward)


def test_a_plane_run_that_lies_askew_is_shown_in_its_plane():
    from converter.exporters.pictures.views import axes_of

    a = radians(30)
    place = Placement((5.0, 6.0, 7.0), (cos(a), sin(a), 0.0), (sin(a), -cos(a), 0.0))
    run = run_of([(100, 0, 90, 60), (150, 180, 60, 60)], 80, place)
    axes = axes_of(run)
    assert axes.own
    front = axes.front()
    depths = [np.dot(p, front.toward) for s in run.centerline for p in (s.start, s.end)]
    assert np.ptp(depths) < 1e-9
    assert axes.z == pytest.approx((0.0, 0.0, 1.0))
    assert not axes_of(TUBES["five"].run).own
    assert not axes_of(TUBES["one"].run).own


def test_simplified_lines_stay_near():
    """And have the corners that GEOS keeps by the same rule, whatever else is made fewer beside them."""
    angles = np.linspace(0, 1.4, 200) ** 2  # uneven, so that no two points are as far
    arc = np.array([np.cos(angles), np.sin(angles)]).T
    wound = np.array([np.cos(7 * angles), np.sin(5 * angles)]).T
    lines, near = [arc, arc[:2], wound, 100 * arc[::-1], arc[:3]], [0.01, 0.01, 0.2, 0.3, 0.1]
    for line, most, fewer in zip(lines, near, simplified(lines, near), strict=True):
        assert shapely.hausdorff_distance(shapely.LineString(line), shapely.LineString(fewer)) <= 1.01 * most
        assert fewer == list(shapely.simplify(shapely.LineString(line), most, preserve_topology=False).coords)
    assert len(simplified([arc], [0.01])[0]) < 20
    assert len(simplified([arc[:1].repeat(5, axis=0)], [0.1])[0]) == 2, "a line of no length"
    assert simplified([], []) == []
