"""Rotation and angle against a molecular-geometry library, and table <-> centerline both ways.

Sign convention: IUPAC Gold Book T06406, looking along B -> C a clockwise turn is positive,
which is the right-hand rule about the direction of feed. gemmi 0.7 uses it too. At collinear
points gemmi returns 0 without saying so, so no case here is collinear.
"""

from __future__ import annotations

import itertools
import re
from math import degrees, sqrt

import gemmi
import numpy as np
import pytest
from hypothesis import given, settings
from places import ROOT
from strategies import placements, tables

from converter.geometry.circles import within_half_turns
from converter.geometry.vectors import angle_between, cross, dot, signed_angle, sub, unit, within_half_turn, within_turn
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild, reverse_table, walk
from converter.model.curve import Arc, Line, Polyline
from converter.model.drawing import Drawing, DrawnCurve
from converter.reducer import reduce_drawing
from converter.reducer.refit import fillet_corners

S = sqrt(0.5)
CASES = [
    # corner points, bends, rotation: cases a to f of the check values, computed with gemmi and Biopython
    ([(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0)], (90, 90), 0.0),
    ([(0, 0, 0), (10, 0, 0), (10, 10, 0), (20, 10, 0)], (90, 90), 180.0),
    ([(0, 0, 0), (10, 0, 0), (10, 10, 0), (10, 10, 10)], (90, 90), 90.0),
    ([(0, 0, 0), (10, 0, 0), (10, 10, 0), (10, 10, -10)], (90, 90), -90.0),
    ([(0, 0, 0), (10, 0, 0), (10, 10, 0), (10 - 10 * S, 10, 10 * S)], (90, 90), 45.0),
    ([(0, 0, 0), (12, 3, 1), (15, 14, -2), (4, 19, 9)], (63.185496, 93.273321), 56.097849),
]


def polyline_run(points, clr=None):
    """The one run of a polyline through corner points (mm)."""
    drawing = Drawing("points", curves=[DrawnCurve(Polyline(np.array(points, float)))])
    (run,), _ = reduce_drawing(drawing)
    return run if clr is None else fillet_corners(run, clr)


@pytest.mark.parametrize(("points", "angles", "rotation"), CASES)
def test_corner_cases_agree_with_published_values_and_gemmi(points, angles, rotation):
    first, second = polyline_run(points).table.bends
    assert (first.angle, second.angle) == pytest.approx(angles, abs=5e-7)
    assert second.rotation == pytest.approx(rotation, abs=5e-7)
    p = [gemmi.Position(*map(float, q)) for q in points]
    twist = degrees(gemmi.calculate_dihedral(*p))
    assert (second.rotation - twist + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-9)
    assert first.angle == pytest.approx(180.0 - degrees(gemmi.calculate_angle(*p[:3])), abs=1e-9)


def test_mirroring_negates_rotations_and_reversing_keeps_them():
    points = CASES[5][0]
    forward = polyline_run(points).table.bends
    mirrored = polyline_run([(x, y, -z) for x, y, z in points]).table.bends
    backward = polyline_run(points[::-1]).table.bends
    assert mirrored[1].rotation == pytest.approx(-forward[1].rotation, abs=1e-9)
    assert backward[1].rotation == pytest.approx(forward[1].rotation, abs=1e-9)
    assert [b.angle for b in backward] == pytest.approx([b.angle for b in forward[::-1]], abs=1e-9)


@pytest.mark.slow
@given(tables(greatest=170.0, zero_straights=False), placements())
@settings(max_examples=30)
def test_rebuilt_corners_have_the_tables_angles_by_gemmi(table, placement):
    """Corners of the rebuilt centerline, handed to gemmi, give back every angle and rotation."""
    corners = corner_points(table, placement)
    p = [gemmi.Position(*c) for c in corners]
    for i, bend in enumerate(table.bends):
        assert 180.0 - degrees(gemmi.calculate_angle(*p[i : i + 3])) == pytest.approx(bend.angle, abs=1e-6)
        if i:
            twist = degrees(gemmi.calculate_dihedral(*p[i - 1 : i + 3]))
            assert (twist - bend.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)


def corner_points(table, placement):
    """Start, corners (tangents of each arc intersected by the setback), end."""
    from converter.reducer.refit import setback

    points = [placement.start]
    for s in rebuild(table, placement):
        if isinstance(s, Arc):
            d = s.start_direction
            k = setback(s.radius, s.angle)
            points.append(tuple(a + k * b for a, b in zip(s.start, d, strict=True)))
    points.append(walk(table, placement)[1].start)
    return points


PARTS = [
    # check values, section 1: straight and length arithmetic (tangent - arc - tangent, textbook)
    ([(0, 0, 0), (20, 0, 0), (20, 20, 0), (20, 20, 20)], 4.5, (15.5, 11, 15.5), (90, 90), (90,), 56.1372),
    ([(0, 0, 0), (20, 0, 0), (30, 10, 0), (50, 10, 0)], 6, (17.5147, 9.1716, 17.5147), (45, 45), (180,), 53.6258),
    (
        [(0, 0, 0), (24, 0, 0), (24, 18, 0), (36, 18, 12), (36, 40, 12)],
        4.5,
        (19.5, 9, 7.9706, 17.5),
        (90, 90, 90),
        (135, 180),
        75.1763,
    ),
]


@pytest.mark.parametrize(("points", "clr", "straights", "angles", "rolls", "length"), PARTS)
def test_straights_and_cut_length_of_worked_parts(points, clr, straights, angles, rolls, length):
    table = polyline_run(points, clr).table
    assert table.straights == pytest.approx(straights, abs=5e-5)
    assert [b.angle for b in table.bends] == pytest.approx(angles, abs=1e-9)
    got = [abs(b.rotation) if roll == 180 else b.rotation for b, roll in zip(table.bends[1:], rolls, strict=True)]
    assert [abs(v) for v in got] == pytest.approx(rolls, abs=1e-6)
    assert table.developed_length == pytest.approx(length, abs=5e-5)


@given(tables(), placements())
@settings(max_examples=60)
def test_table_to_centerline_to_table_is_exact(table, placement):
    """Straights, angles and rotations measured on the rebuilt segments, without the reducer, to 1e-9."""
    segments = rebuild(table, placement)
    arcs = [s for s in segments if isinstance(s, Arc)]
    assert len(arcs) == len(table.bends)
    scale = 1.0 + table.developed_length
    previous_normal = placement.normal
    for arc, bend in zip(arcs, table.bends, strict=True):
        turned = signed_angle(arc.start_direction, arc.end_direction, arc.normal)
        assert (turned - bend.angle + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-9)
        roll = signed_angle(previous_normal, arc.normal, arc.start_direction)
        assert (roll - bend.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-7)
        previous_normal = arc.normal
    straights = [s for s in segments if isinstance(s, Line)]
    assert [s.length for s in straights] == pytest.approx([v for v in table.straights if v > 0.0], abs=1e-9 * scale)
    for a, b in itertools.pairwise(segments):
        assert a.end == pytest.approx(b.start, abs=1e-12)


@pytest.mark.slow
@given(tables(), placements())
@settings(max_examples=40)
def test_feeding_from_end_b_is_the_same_metal(table, placement):
    back, at = reverse_table(table, placement)
    assert [b.rotation for b in back.bends[1:]] == [b.rotation for b in reversed(table.bends[1:])]
    assert back.straights == table.straights[::-1]
    assert at.start == pytest.approx(walk(table, placement)[1].start, abs=1e-9)
    assert walk(back, at)[1].start == pytest.approx(placement.start, abs=1e-6)
    again, home = reverse_table(back, at)
    assert again == table
    assert home.normal == pytest.approx(placement.normal, abs=1e-9)
    for a, b in zip(rebuild(table, placement), reversed(rebuild(back, at)), strict=True):
        assert a.start == pytest.approx(b.end, abs=1e-6)


def test_a_bend_past_half_a_turn_needs_no_corner():
    table = BendTable((Bend(10, 0, 270, 5.0), Bend(0, 90, 181, 7.0)), 3.0)
    first, second = (s for s in rebuild(table, Placement()) if isinstance(s, Arc))
    assert first.end == pytest.approx((5.0, 5.0, 0.0))  # three quarters round (10, 5)
    assert angle_between(first.normal, second.normal) == pytest.approx(90.0)
    assert dot(unit(cross(first.normal, second.normal)), first.end_direction) == pytest.approx(1.0)
    assert sub(first.end, second.start) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("typed", "within"),
    [(0.1, 0.1), (-179.9, -179.9), (180.0, 180.0), (-180.0, 180.0), (-180.0 + 1e-10, 180.0), (180.0 + 1e-10, 180.0),
     (270.0, -90.0), (-270.0, 90.0), (360.0, 0.0), (-1e-12, 0.0), (540.0, 180.0), (720.1, 0.1), (-360.0 - 1e-12, 0.0)],
)  # fmt: skip
def test_a_rotation_within_half_a_turn(typed, within):
    """To the last digit where it lies there already."""
    exact = 0.0 if -180.0 < typed <= 180.0 else 1e-9
    assert abs(within_half_turn(typed) - within) <= exact
    assert -180.0 < within_half_turn(typed) <= 180.0
    (one,) = within_half_turns(np.array([typed]))
    assert -180.0 < one <= 180.0
    assert one == pytest.approx(within_half_turn(typed), abs=1e-9)


def test_no_other_place_brings_rotations_within_half_a_turn():
    """Another form would differ where rounding leaves half a turn on either side."""
    written = re.compile(r"180(?:\.0)?\) % 360(?:\.0)?|% 360(?:\.0)? - 180|> 180(?:\.0)? else \w+ - 360|-= 360")
    for module in (ROOT / "converter").rglob("*.py"):
        if module.parent.name != "geometry":
            assert not written.search(module.read_text(encoding="utf-8")), module


@pytest.mark.parametrize(
    ("degrees_", "slack", "want"),
    [(0.0, 0.0, 0.0), (-90.0, 0.0, 270.0), (720.5, 0.0, 0.5), (-1e-20, 0.0, 0.0), (360.0 - 1e-10, 1e-9, 0.0),
     (360.0 - 1e-8, 1e-9, 360.0 - 1e-8), (360.0, 0.0, 0.0)],
)  # fmt: skip
def test_a_direction_within_a_turn(degrees_, slack, want):
    """A hair below zero is 0, of which Python's remainder makes 360."""
    assert -1e-20 % 360.0 == 360.0
    assert within_turn(degrees_, slack) == want
