"""What every shape of section answers, against a geometry library, a section library, and by hand."""

from __future__ import annotations

from math import cos, degrees, hypot, pi, radians, sin

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import lengths, sections

from converter.errors import GeometryError
from converter.exporters.data.table_csv import table_text
from converter.exporters.data.table_json import dumps, table_document
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.importers.tables.bend_csv import read_table_csv
from converter.importers.tables.bend_json import read_table_json
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import SHAPES, Outline, Section, circle
from converter.shop.sections import describe, parse_section
from converter.units import Display

#: Chords of a quarter circle in the polygons that stand for the true outlines.
FINE = 128


def polygon(outline: Outline, chords: int = FINE) -> shapely.Polygon:
    """An outline as the geometry library draws it: a rectangle, a line or a point made wider by the corner's radius."""
    up, across, r = outline.halves
    core = shapely.MultiPoint([(p * (up - r), q * (across - r)) for p in (-1, 1) for q in (-1, 1)]).convex_hull
    return core.buffer(r, quad_segs=chords) if r > 0.0 else core


def ring(section: Section, chords: int = FINE) -> shapely.Polygon:
    """The metal of a section as the geometry library draws it."""
    outer = polygon(section.outer, chords)
    return outer if section.bore is None else outer.difference(polygon(section.bore, chords))


def drawn(outline: Outline) -> shapely.Polygon:
    """An outline by its own edges."""
    points = []
    for edge in outline.edges:
        if edge.center is None:
            points.append(edge.start)
            continue
        for a in np.linspace(edge.first, edge.last, 2 * FINE, endpoint=False):
            points.append((edge.center[0] + edge.radius * cos(a), edge.center[1] + edge.radius * sin(a)))
    return shapely.Polygon(points)


def moments(metal: shapely.Polygon, axis: int) -> tuple[float, float]:
    """Integrals of c**2 dA and abs(c) dA over a polygon, c its coordinate 0 or 1, by Green's theorem edge by edge."""
    second = first = 0.0
    for sign, box in ((1.0, (0.0, 1e4)), (-1.0, (-1e4, 0.0))):
        low = [-1e4, -1e4]
        high = [1e4, 1e4]
        low[axis], high[axis] = box
        for part in shapely.get_parts(metal.intersection(shapely.box(*low, *high))):
            for loop, adds in ((part.exterior, 1.0), *((one, -1.0) for one in part.interiors)):
                points = np.asarray(loop.coords)
                c, d = points[:, axis], points[:, 1 - axis]
                cross = c[:-1] * d[1:] - c[1:] * d[:-1]
                way = adds * np.sign(cross.sum())
                first += sign * way * float((cross * (c[:-1] + c[1:])).sum()) / 6.0
                second += way * float((cross * (c[:-1] ** 2 + c[:-1] * c[1:] + c[1:] ** 2)).sum()) / 12.0
    return second, first


@given(sections())
@settings(max_examples=20)
def test_outlines_are_those_of_a_geometry_library(section):
    """Shapely: buffered hulls. Area, way around, farthest point, extent, and the edges themselves."""
    for outline in section.loops:
        true = polygon(outline)
        assert outline.area == pytest.approx(true.area, rel=8e-5)
        assert outline.perimeter == pytest.approx(true.length, rel=8e-5)
        assert outline.perimeter == pytest.approx(sum(edge.length for edge in outline.edges), rel=1e-12)
        assert outline.bounding_radius == pytest.approx(max(hypot(*c) for c in true.exterior.coords), rel=8e-5)
        assert outline.half_diagonal >= outline.bounding_radius * (1.0 - 1e-12)
        own = drawn(outline)
        assert own.exterior.is_ccw and own.symmetric_difference(true).area < 2e-4 * true.area
        for a, b in zip(outline.edges, (*outline.edges[1:], outline.edges[0]), strict=True):
            assert a.end == b.start
            if a.center is not None:
                for point, angle in ((a.start, a.first), (a.end, a.last)):
                    on = (a.center[0] + a.radius * cos(angle), a.center[1] + a.radius * sin(angle))
                    assert point == pytest.approx(on, abs=1e-6)
    assert section.area == pytest.approx(ring(section).area, abs=8e-5 * section.outer.area)
    assert (section.outer.radius is None) == (section.cylinder is None)


@given(sections(), st.floats(-400.0, 400.0))
@settings(max_examples=20)
def test_extent_in_any_direction_is_that_of_a_dense_outline(section, angle):
    corners = np.asarray(polygon(section.outer).exterior.coords)
    far = float((corners @ [cos(radians(angle)), sin(radians(angle))]).max())
    assert section.outer.support(angle) == pytest.approx(far, rel=8e-5)


@given(sections(), st.floats(0.0, 359.0))
@settings(max_examples=20)
def test_way_around_is_that_of_a_dense_outline(section, angle):
    """Shapely: where a ray meets the outline, and how far along that is from the zero line."""
    edge = polygon(section.outer).exterior
    far = 2.0 * section.outer.bounding_radius

    def along(turn):
        ray = shapely.LineString([(0.0, 0.0), (far * cos(radians(turn)), far * sin(radians(turn)))])
        return edge.project(shapely.Point(edge.intersection(ray).coords[0]))

    gone = (along(angle) - along(0.0)) * (1.0 if edge.is_ccw else -1.0) % edge.length
    off = abs(section.outer.position(angle) - gone)
    assert min(off, edge.length - off) < 1e-4 * edge.length


@given(sections(), st.booleans())
@settings(max_examples=20)
def test_moments_are_those_of_a_dense_polygon(section, turned):
    """Second moment and plastic modulus about either axis, by Green's theorem on polygons of the geometry library."""
    own = section.about_axis(turned)
    inertia, plastic = moments(ring(section), 1 if turned else 0)
    outer, _ = moments(polygon(section.outer), 1 if turned else 0)
    assert own.depth == (section.od if turned else section.height)
    # thin walls are differences of two nearly equal outlines, whose polygons are a little small
    assert own.inertia == pytest.approx(inertia, abs=2e-4 * outer)
    assert own.plastic == pytest.approx(plastic, abs=8e-4 * outer / own.depth)
    assert own.area == pytest.approx(section.area, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("name", SHAPES)
def test_against_a_section_library(name):
    """Sectionproperties on finite elements, random sizes, about both axes. In that library s is plastic."""
    from sectionproperties.analysis import Section as Analysis
    from sectionproperties.pre import Geometry

    draw = np.random.default_rng(sorted(SHAPES).index(name) + 3)
    shape = SHAPES[name]
    across, height, part = *(float(x) for x in draw.uniform(20.0, 120.0, 2)), float(draw.uniform(0.05, 0.3))
    height = across if shape.die_sizes == 1 else height
    section = Section(*shape.filling(across, height, part * min(across, height)))
    geometry = Geometry(ring(section, 32))
    geometry.create_mesh([section.area / 50.0])
    analysis = Analysis(geometry)
    analysis.calculate_geometric_properties()
    analysis.calculate_plastic_properties()
    # there x lies along our height: the bending axis across the height is its y
    (about_width, about_height, _), plastic = analysis.get_ic(), analysis.get_s()
    own, turned = section.about_axis(), section.about_axis(turned=True)
    assert own.area == pytest.approx(analysis.get_area(), rel=2e-3)
    assert (turned.inertia, own.inertia) == pytest.approx((about_width, about_height), rel=3e-3)
    assert (turned.plastic, own.plastic) == pytest.approx((plastic[0], plastic[1]), rel=3e-3)


@given(sections(), st.sampled_from(["mm", "in"]))
@settings(max_examples=20)
def test_any_section_comes_back_from_its_tables(section, unit):
    tube = Tube(Run("rail", None, False, BendTable((Bend(100.0, 0.0, 30.0, 400.0),), 50.0), Placement()), section)
    data = table_text([tube], Display(unit)).encode()
    again = read_table_csv(Source("a.csv", None, data), ReadOptions()).tables[0].section
    assert again.shape == section.shape
    assert (again.od, again.wall, again.height, again.corner) == pytest.approx(
        (section.od, section.wall, section.height, section.corner), abs=1e-5
    )
    data = dumps(table_document("a.dxf", "mm", [tube])).encode()
    again = read_table_json(Source("a.json", None, data), ReadOptions()).tables[0].section
    assert (again.shape, again.label) == (section.shape, section.label)
    # JSON has digits enough for a millionth of a micrometre, so that 1.5 in is 38.1 mm
    assert (again.od, again.wall, again.height, again.corner) == pytest.approx(
        (section.od, section.wall, section.height, section.corner), abs=1e-9
    )


@given(sections(), st.sampled_from(["mm", "in"]))
@settings(max_examples=20)
def test_what_a_section_is_called_reads_back(section, unit):
    assume(section.od == section.height or abs(section.od - section.height) > 0.1)
    again = parse_section(describe(section, Display(unit)))
    assert again.shape == section.shape
    half = 0.0127 if unit == "in" else 0.0051
    assert (again.od, again.wall, again.height) == pytest.approx((section.od, section.wall, section.height), abs=half)


def test_a_circle_is_all_corner():
    """Closed forms of a circle against those of a rectangle whose corners are all of it."""
    own, other = circle(12.0), Outline(24.0, 24.0, 12.0)
    for name in ("area", "perimeter", "bounding_radius"):
        assert getattr(own, name) == pytest.approx(getattr(other, name), rel=1e-12)
    assert own.radius == 12.0 and other.radius is None and own.half_diagonal == 12.0
    assert [degrees(one.last - one.first) for one in own.edges] == [360.0]
    assert own.within(5.0) == pytest.approx(other.within(5.0))
    assert own.turned() is own
    assert own.area == pytest.approx(pi * 144.0)


def test_edges_are_seen_only_where_flats_meet():
    assert Outline(20.0, 30.0, 0.0).creases and Outline(20.0, 30.0, 4.0).creases
    assert not circle(5.0).creases and not Outline(20.0, 30.0, 10.0).creases


@pytest.mark.parametrize("name", SHAPES)
def test_a_shape_fills_the_groove_of_its_own_dies(name):
    shape = SHAPES[name]
    section = Section(*shape.filling(50.0, 50.0 if shape.die_sizes == 1 else 30.0, 2.0))
    assert section.lies_in(name, section.od, section.height, 0.1)
    assert not section.lies_in(name, section.od + 0.2, section.height, 0.1)
    assert section.lies_in(name, section.height, section.od, 0.1, turned=True)
    others = [one for one in SHAPES.values() if one.groove != shape.groove]
    assert others and not any(section.lies_in(one.name, section.od, section.height, 0.1) for one in others)
    length = shape.around_groove(section.od, section.height)
    assert length is None or length == pytest.approx(section.outer.perimeter)


@pytest.mark.parametrize(
    ("sizes", "why"),
    [
        (("round", 25.0, 2.0, 30.0), "one outside size"),
        (("bar", 25.0, 2.0, 30.0), "one outside size"),
        (("square", 25.0, 2.0, 30.0), "two equal sides"),
        (("hexagonal", 25.0, 2.0), "unknown section shape 'hexagonal': use one of round, square"),
    ],
)
def test_sizes_that_contradict_a_shape_are_refused(sizes, why):
    with pytest.raises(GeometryError, match=why):
        Section(*sizes)


@given(lengths(5.0, 60.0))
def test_a_plane_rolled_past_half_way_shows_the_other_size(roll):
    section = Section("rectangular", 60.0, 2.0, height=30.0)
    assert section.size_in_plane(roll) == (30.0 if roll <= 45.0 else 60.0)
    assert Section("round", 60.0, 2.0).size_in_plane(roll) == 60.0
