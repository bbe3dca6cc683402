"""Section properties against published tables, a general-purpose section library and plain integration."""

from itertools import pairwise
from math import isclose, pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.bending.metal.springback import springback_part, yielding_modulus
from converter.model.section import Outline, Section, circle
from converter.shop.sections import parse_section

IN = 25.4

#: section, A, I, S, Z in inch units, computed for the project's own notes from the closed forms (not by this code).
TABLE = [
    ("1.5x0.095in", 0.41932, 0.10394, 0.13859, 0.18782),
    ("1.75x0.120in", 0.61450, 0.20519, 0.23450, 0.31940),
    ("2.0x0.120in", 0.70874, 0.31440, 0.31440, 0.42470),
    ("2.0in bar", 3.14159, 0.78540, 0.78540, 1.33333),
    ("NPS 1-1/4 sch 40", 0.66853, 0.19471, 0.23459, 0.32437),
    ("1.5x1.5x0.083in r0", 0.47044, 0.15797, 0.21063, 0.25027),
    ("1.5x1.5x0.083in r0.083", 0.46453, 0.15481, 0.20641, 0.24594),
    ("1.5x1.5x0.083in r0.1245", 0.45862, 0.15167, 0.20222, 0.24163),
    ("1.5x1.5x0.083in r0.166", 0.45270, 0.14842, 0.19789, 0.23724),
    ("1.5x1.5x0.083in r0.249", 0.44088, 0.14160, 0.18881, 0.22821),
]


def elastic_modulus(own):
    """S, mm3: moment at first yield per yield stress."""
    return own.inertia / (own.depth / 2.0)


@pytest.mark.parametrize(("text", "area", "inertia", "elastic", "plastic"), TABLE)
def test_the_table_of_known_sections(text, area, inertia, elastic, plastic):
    own = parse_section(text).about_axis()
    found = (own.area / IN**2, own.inertia / IN**4, elastic_modulus(own) / IN**3, own.plastic / IN**3)
    assert found == pytest.approx((area, inertia, elastic, plastic), rel=2e-5, abs=6e-6)


def test_pipe_agrees_with_a_published_handbook():
    """Mott, Machine Elements in Mechanical Design, 4th ed., table A16-6: 1-1/4 schedule 40."""
    own = parse_section("NPS 1-1/4 sch 40").about_axis()
    assert own.area / IN**2 == pytest.approx(0.669, abs=5e-4)
    assert own.inertia / IN**4 == pytest.approx(0.1947, abs=5e-5)
    assert elastic_modulus(own) / IN**3 == pytest.approx(0.2346, abs=5e-5)


def test_shape_factors_of_textbooks():
    """Bar 16/(3 pi) = 1.698; a thin round tube tends to 4/pi; a thin square tube to 9/8."""
    for section, factor, near in (
        (Section("bar", 50.0, 25.0), 16.0 / (3.0 * pi), 1e-12),
        (Section("round", 50.0, 0.001), 4.0 / pi, 1e-4),
        (Section("square", 50.0, 0.001), 9.0 / 8.0, 1e-4),
    ):
        own = section.about_axis()
        assert own.plastic / elastic_modulus(own) == pytest.approx(factor, rel=near)


def closed_round(d, b):
    """A, I, S, Z of a round tube, textbook."""
    return pi / 4 * (d**2 - b**2), pi / 64 * (d**4 - b**4), pi / 32 * (d**4 - b**4) / d, (d**3 - b**3) / 6


@given(st.floats(5.0, 200.0), st.floats(0.01, 0.49))
def test_round_tube_is_the_textbook_formula(od, part):
    section = Section("round", od, od * part)
    own = section.about_axis()
    expected = closed_round(od, 2.0 * section.bore_radius)
    assert (own.area, own.inertia, elastic_modulus(own), own.plastic) == pytest.approx(expected, rel=1e-9)
    assert isclose(own.area, section.area, rel_tol=1e-12)


@given(st.floats(10.0, 200.0), st.floats(10.0, 200.0), st.floats(0.02, 0.45), st.floats(0.0, 1.0), st.booleans())
def test_rectangles_against_slicing(od, height, part, round_part, turned):
    """Strips of the section summed up: 20 000 slices, midpoint rule."""
    small = min(od, height)
    section = Section("rectangular", od, small * part, height=height, corner=small / 2.0 * round_part)
    own = section.about_axis(turned)
    y, width, dy = sliced(section, turned)
    found = (own.area, own.inertia, own.plastic)
    summed = tuple((width * f * dy).sum() for f in (np.ones_like(y), y**2, np.abs(y)))
    assert found == pytest.approx(summed, rel=2e-5)
    assert isclose(own.area, section.area, rel_tol=1e-9)
    assert own.depth == (od if turned else height)


def sliced(section, turned=False, n=20_000):
    """Middles, widths of metal and thickness of n slices of a section across its depth; worked out on its own."""
    width, depth = (section.height, section.od) if turned else (section.od, section.height)

    def chord(w, d, r, y):
        y = np.abs(y)
        into = np.clip(y - (d / 2 - r), 0.0, None)
        full = w - 2 * r + 2 * np.sqrt(np.clip(r**2 - into**2, 0.0, None))
        return np.where(y <= d / 2, full, 0.0)

    # slices end where the width jumps or turns, so that none straddles it
    marks = {depth / 2, max(0.0, depth / 2 - section.wall), depth / 2 - (section.corner or 0.0)} - {0.0}
    marks = sorted({*marks, *(-one for one in marks)})
    edges = np.unique(np.concatenate([np.linspace(a, b, n // 4 + 1) for a, b in pairwise(marks)]))
    y = (edges[1:] + edges[:-1]) / 2
    corner = section.outer.corner
    solid = chord(width, depth, corner, y)
    if section.bore is not None:
        t = section.wall
        inner = section.bore.corner
        solid = solid - chord(width - 2 * t, depth - 2 * t, inner, y)
    return y, solid, np.diff(edges)


def test_a_rectangle_turned_is_the_other_rectangle():
    flat = Section("rectangular", 60.0, 3.0, height=30.0, corner=6.0)
    tall = Section("rectangular", 30.0, 3.0, height=60.0, corner=6.0)
    assert flat.about_axis(turned=True) == tall.about_axis()
    assert tall.about_axis().inertia > flat.about_axis().inertia


def test_outlines_of_a_bar_have_no_bore():
    bar = Section("bar", 20.0, 10.0)
    assert bar.outer == circle(10.0) and bar.bore is None and bar.loops == (bar.outer,)


@pytest.mark.slow
@pytest.mark.parametrize("text", ["1.5x0.095in", "2in bar", "1.5x1.5x0.083in", "2x1x0.083in", "NPS 1-1/4 sch 40"])
def test_against_a_section_library(text):
    """Mesh-based, inscribed polygons: a little low. In that library z is elastic and s is plastic."""
    from sectionproperties.analysis import Section as Analysis
    from sectionproperties.pre import library

    section = parse_section(text)
    n = 256
    if section.shape == "bar":
        geometry = library.circular_section(d=section.od, n=n)
    elif section.shape == "round":
        geometry = library.circular_hollow_section(d=section.od, t=section.wall, n=n)
    else:
        geometry = library.rectangular_hollow_section(
            d=section.height, b=section.od, t=section.wall, r_out=section.corner, n_r=64
        )
    geometry.create_mesh([section.od**2 / 40.0])
    analysis = Analysis(geometry)
    analysis.calculate_geometric_properties()
    analysis.calculate_plastic_properties()
    own = section.about_axis()
    library_values = (analysis.get_area(), analysis.get_ic()[0], analysis.get_z()[0], analysis.get_s()[0])
    assert (own.area, own.inertia, elastic_modulus(own), own.plastic) == pytest.approx(library_values, rel=1e-3)


# --- past yield ---------------------------------------------------------------------------------------


def fibre_modulus(section, elastic_half, turned=False):
    """Moment per yield stress by adding up fibres: stress y / elastic_half, never past 1."""
    y, width, dy = sliced(section, turned, 200_000)
    return float((np.clip(y / elastic_half, -1.0, 1.0) * y * width * dy).sum())


@pytest.mark.parametrize(
    "text", ["1.5x0.095in", "1.5in bar", "1.5x1.5x0.083in", "1.5x1.5x0.083in r0", "2x1x0.083in", "25x10mm"]
)
@pytest.mark.parametrize("part", [0.02, 0.1, 0.3, 0.7, 0.9, 0.97, 1.0, 1.5])
def test_moment_past_yield_is_that_of_the_fibres(text, part):
    section = parse_section(text)
    half = part * section.height / 2.0
    assert yielding_modulus(section, half) == pytest.approx(fibre_modulus(section, half), rel=2e-6)


@given(st.floats(0.001, 3.0), st.floats(0.02, 0.49))
def test_moment_grows_from_elastic_to_plastic(part, wall):
    """Never above Z, never below what an elastic section of that curvature or first yield gives."""
    section = Section("round", 40.0, 40.0 * wall)
    own, half = section.about_axis(), part * 20.0
    moment = yielding_modulus(section, half)
    assert moment <= own.plastic * (1.0 + 1e-9)
    assert moment <= own.inertia / half * (1.0 + 1e-9)
    if part >= 1.0:
        assert moment == pytest.approx(own.inertia / half, rel=1e-9)
    else:
        assert moment >= elastic_modulus(own) * (1.0 - 1e-9)


#: s = yield x R / (E c); what springs back of a thin tube, a bar, a rectangle, a thin square tube. From the
#: project's notes, each checked there against fibre integration.
CLOSED = [
    (0.05, 0.063635, 0.084777, 0.074938, 0.056234),
    (0.1, 0.127111, 0.168918, 0.149500, 0.112375),
    (0.2, 0.252940, 0.332781, 0.296000, 0.224000),
    (0.5, 0.608998, 0.746830, 0.687500, 0.546875),
]


@pytest.mark.parametrize(("s", "tube", "bar", "rectangle", "square"), CLOSED)
def test_closed_forms_of_springback(s, tube, bar, rectangle, square):
    def part(section, half_depth):
        return springback_part(section, 1000.0 * s * half_depth / 100.0, 1.0, 100.0)

    t = 1e-4
    assert part(Section("bar", 20.0, 10.0), 10.0) == pytest.approx(bar, abs=6e-7)
    # a thin wall at the mean radius
    assert part(Section("round", 20.0 + t, t), 10.0) == pytest.approx(tube, abs=2e-5)
    assert part(Section("square", 20.0 + t, t), 10.0) == pytest.approx(square, abs=2e-5)
    # a solid rectangle is an outline without a bore: Gardiner 1957, R/Rf = 4x^3 - 3x + 1 with x = s/2
    sheet = Outline(20.0, 50.0, 0.0)
    area, first, second = sheet.within(10.0)
    assert (area, first, second) == pytest.approx((1000.0, 5000.0, 50.0 * 20.0**3 / 12.0), rel=1e-12)
    h = 10.0 * s
    moment = sheet.within(h)[2] / h + first - sheet.within(h)[1]
    assert h * moment / second == pytest.approx(rectangle, abs=6e-7)
    x = s / 2.0
    assert 1.0 - h * moment / second == pytest.approx(4.0 * x**3 - 3.0 * x + 1.0, abs=1e-12)


def test_gardiner_at_a_tenth():
    """The published example: x = 0.1 gives R/Rf = 0.704."""
    x = 0.1
    assert 4 * x**3 - 3 * x + 1 == pytest.approx(0.704)
    assert sqrt(1.0) - (3 * 0.2 - 0.2**3) / 2 == pytest.approx(0.704)


#: E in Msi, yield in ksi; percent of the loaded angle for a 1.5 x 0.095 in tube at 3 D and 6 D and a 1.5 in bar.
METALS = [
    (29.0, 60.0, 1.682, 3.364, 2.107, 4.214, 91.54, 93.13),
    (29.0, 75.0, 2.103, 4.205, 2.634, 5.266, 91.93, 93.95),
    (28.0, 30.0, 0.871, 1.742, 1.091, 2.183, 90.79, 91.60),
    (10.0, 35.0, 2.846, 5.690, 3.564, 7.124, 92.64, 95.43),
    (14.5, 105.0, 5.886, 11.759, 7.369, 14.696, 95.63, 101.99),
    (14.5, 70.0, 3.925, 7.846, 4.915, 9.818, 93.68, 97.66),
    (15.0, 40.0, 2.168, 4.336, 2.716, 5.430, 91.99, 94.08),
]


@pytest.mark.parametrize("row", METALS)
def test_springback_of_common_metals(row):
    msi, ksi, *percents, stop_3, stop_6 = row
    k = 6.894757293168361
    tube, bar = parse_section("1.5x0.095in"), parse_section("1.5in bar")
    found = [springback_part(s, ksi * k, msi * k, d * 38.1) for s in (tube, bar) for d in (3.0, 6.0)]
    assert [100.0 * f for f in found] == pytest.approx(percents, abs=6e-4)
    assert [90.0 / (1.0 - f) for f in found[:2]] == pytest.approx([stop_3, stop_6], abs=6e-3)


@pytest.mark.parametrize("text", ["1.5x0.095in", "1.5in bar", "1.5x1.5x0.083in", "2x1x0.083in"])
@pytest.mark.parametrize("radius", [60.0, 200.0, 1500.0])
def test_springback_against_fibres(text, radius):
    """Straight addition of fibres, to five digits: M from the stresses, then the elastic unloading M R / (E I)."""
    section = parse_section(text)
    y, width, dy = sliced(section, n=200_000)
    stress = np.clip(200_000.0 * y / radius, -414.0, 414.0)
    moment, inertia = (stress * y * width * dy).sum(), (y**2 * width * dy).sum()
    expected = min(1.0, moment * radius / (200_000.0 * inertia))
    assert springback_part(section, 414.0, 200.0, radius) == pytest.approx(expected, rel=1e-5)


def test_what_never_yields_springs_all_the_way_back():
    section = parse_section("25x2mm")
    edge = 12.5 * 200_000.0 / 400.0  # radius of first yield
    assert springback_part(section, 400.0, 200.0, edge) == 1.0
    assert springback_part(section, 400.0, 200.0, edge * 10.0) == 1.0
    assert 0.9 < springback_part(section, 400.0, 200.0, edge * 0.9) < 1.0
