"""Round tubes and bars as solids: exact, valid, in place."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin

import pytest
from kernel_probe import assert_sound, bounds, inside, kernel_length, kernel_volume, of_surface, parts, surfaces
from tubes import AWAY, BAR, TUBE, run_of

from converter.errors import GeometryError
from converter.geometry.vectors import along, cross
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Placement
from converter.model.frames import pieces

#: Closed forms written out, not taken from the section: pi/4 (D^2 - d^2).
AREA = {TUBE: pi / 4.0 * (44.45**2 - 38.354**2), BAR: pi / 4.0 * 625.0}

FOUR = [(250.0, 0.0, 90.0, 120.0), (80.0, 90.0, 45.0, 120.0), (50.0, -30.0, 200.0, 100.0), (20.0, 180.0, 30.0, 150.0)]
RACETRACK = [(100.0, 0.0, 180.0, 120.0), (200.0, 0.0, 180.0, 120.0)]
FRAME = [(50.0, 0.0, 90.0, 60.0)] + [(100.0, 0.0, 90.0, 60.0)] * 3
SHAPES = {
    "straight": ([], 300.0),
    "one bend": ([(100.0, 0.0, 90.0, 120.0)], 50.0),
    "four bends": (FOUR, 60.0),
    "no straight at all": ([(0.0, r, a, c) for _, r, a, c in FOUR], 0.0),
    "straights of nothing": ([(1e-7, 0.0, 90.0, 120.0), (-1e-7, 40.0, 60.0, 90.0)], 1e-7),
    "same arc in two": ([(10.0, 0.0, 40.0, 120.0), (0.0, 0.0, 50.0, 120.0)], 10.0),
    "back to back in an S": ([(30.0, 0.0, 90.0, 80.0), (0.0, 180.0, 90.0, 80.0)], 30.0),
    "nearly a hoop": ([(0.0, 0.0, 359.0, 200.0)], 0.0),
    "a hair of rotation": ([(100.0, 0.0, 90.0, 120.0), (80.0, 0.01, 45.0, 120.0), (0.0, 1e-6, 30.0, 120.0)], 40.0),
}


@pytest.mark.parametrize("section", [TUBE, BAR], ids=["tube", "bar"])
@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_volume_is_pappus_and_the_solid_is_sound(shape, section):
    """Pappus: the section's area times the length of the centerline, to 1e-9."""
    rows, tail = SHAPES[shape]
    length = sum(f + c * radians(a) for f, _, a, c in rows) + tail
    solid = tube_solid(run_of(rows, tail, AWAY), section)
    assert_sound(solid)
    assert kernel_volume(solid) == pytest.approx(AREA[section] * length, rel=1e-9)


def test_faces_are_what_they_should_be():
    """5 straights and 4 bends of tube: a cylinder and a torus each, outside and bore, and two ends."""
    run = run_of(FOUR, 60.0, AWAY)
    solid = tube_solid(run, TUBE)
    assert surfaces(solid) == {"Cylinder": 10, "Torus": 8, "Plane": 2}
    radii = sorted((round(t.MajorRadius(), 9), round(t.MinorRadius(), 9)) for t in of_surface(solid, "Torus"))
    assert radii == sorted((c, r) for _, _, _, c in FOUR for r in (22.225, 19.177))
    assert surfaces(tube_solid(run, BAR)) == {"Cylinder": 5, "Torus": 4, "Plane": 2}


@pytest.mark.parametrize("shape", ["four bends", "no straight at all", "nearly a hoop"], ids=str)
def test_the_metal_is_where_the_centerline_is(shape):
    """Around the centerline at many places: bore empty, wall full, outside empty."""
    run = run_of(*SHAPES[shape], AWAY)
    solid = tube_solid(run, TUBE)
    r, n = 22.225, 0
    for part in run.centerline:
        for share in (0.1, 0.5, 0.83):
            if hasattr(part, "angle"):
                point = part.point(part.angle * share)
                t = cross(part.normal, along((0, 0, 0), along(point, part.center, -1.0), 1.0 / part.radius))
                side = part.normal
            else:
                t = part.direction
                point = along(part.start, t, part.length * share)
                side = cross(t, (0.36, 0.48, 0.8))
                side = along((0, 0, 0), side, 1.0 / sum(x * x for x in side) ** 0.5)
            up = cross(side, t)
            for k in range(5):
                a = 2.0 * pi * (k + 0.3) / 5.0
                ray = along(along((0, 0, 0), side, cos(a)), up, sin(a))
                seen = [inside(solid, along(point, ray, d)) for d in (0.0, r - 3.148, r - 2.948, r - 0.1, r + 0.1)]
                assert seen == [False, False, True, True, False]
                n += 1
    assert n >= 15


def test_bounding_box_of_a_quarter_bend():
    """100 along x, a quarter turn toward y on 120, 50 along y: hand-worked from the OD of 44.45."""
    box = bounds(tube_solid(run_of([(100.0, 0.0, 90.0, 120.0)], 50.0), TUBE))
    assert box == pytest.approx((0.0, -22.225, -22.225, 242.225, 170.0, 22.225), abs=1e-6)


@pytest.mark.parametrize("rotation", [1e-7, 1e-4, 0.01, 1.0, -0.01, 179.999])
def test_a_hair_of_rotation_leaves_no_sliver_edges(rotation):
    """Seams of two bends that nearly line up would cut slivers out of the joints between them."""
    solid = tube_solid(run_of([(100.0, 0.0, 90.0, 120.0), (80.0, rotation, 45.0, 120.0)], 50.0), TUBE)
    assert_sound(solid)
    assert min(kernel_length(edge) for edge in parts(solid, "edge")) > 1.0


def test_far_from_the_origin():
    """1e7 mm away the solid is sound and loses nothing that shows."""
    solid = tube_solid(run_of(FOUR, 60.0, Placement((1e7, -2e7, 1e7))), TUBE)
    assert_sound(solid)
    length = sum(f + c * radians(a) for f, _, a, c in FOUR) + 60.0
    assert kernel_volume(solid) == pytest.approx(AREA[TUBE] * length, rel=1e-8)


@pytest.mark.parametrize(
    ("rows", "tail", "length", "faces"),
    [
        ([(0.0, 0.0, 180.0, 120.0)] * 2, 0.0, 240.0 * pi, {"Torus": 4}),
        (RACETRACK, 100.0, 400.0 + 240.0 * pi, {"Torus": 4, "Cylinder": 4}),
        (FRAME, 50.0, 400.0 + 120.0 * pi, {"Torus": 8, "Cylinder": 8}),
    ],
    ids=["hoop", "racetrack", "frame"],
)
def test_closed_runs_have_no_ends(rows, tail, length, faces):
    """A ring of tube is one solid around a void: outside and bore are two closed shells."""
    solid = tube_solid(run_of(rows, tail, AWAY, closed=True), TUBE)
    assert_sound(solid, shells=2)
    assert surfaces(solid) == faces
    assert kernel_volume(solid) == pytest.approx(AREA[TUBE] * length, rel=1e-9)
    assert_sound(tube_solid(run_of(rows, tail, AWAY, closed=True), BAR), shells=1)


def test_a_closed_run_in_space_comes_back_turned():
    """Eight corners over two levels: frames arrive turned, the tube does not care."""
    rows, tail = rounded_cube_edge_loop()
    run = run_of(rows, tail, closed=True)
    solid = tube_solid(run, TUBE)
    assert_sound(solid, shells=2)
    assert kernel_volume(solid) == pytest.approx(AREA[TUBE] * run.table.developed_length, rel=1e-9)


def rounded_cube_edge_loop():
    """Six edges of a cube that go around a space diagonal: 90 degree bends, rotations +-90 in turn."""
    rotations = [0.0, 90.0, -90.0, 90.0, -90.0, 90.0]
    feeds = [100.0] + [200.0] * 5
    return [(f, r, 90.0, 60.0) for f, r in zip(feeds, rotations, strict=True)], 100.0


def test_a_closed_run_that_misses_itself_is_cut():
    """A loop that does not meet is built with two ends rather than bent to meet."""
    rows = [(100.0, 0.0, 180.0, 120.0), (200.0, 0.0, 179.0, 120.0)]
    solid = tube_solid(run_of(rows, 100.0, closed=True), TUBE)
    assert_sound(solid)
    assert surfaces(solid)["Plane"] == 2


@pytest.mark.parametrize("section", [TUBE, BAR], ids=["tube", "bar"])
def test_sharp_corners_are_mitred(section):
    """A mitre loses on the inside what it gains on the outside: the volume is still area times length."""
    rows = [(100.0, 0.0, 90.0, None), (180.0, 30.0, 45.0, None), (100.0, 0.0, 30.0, 120.0)]
    solid = tube_solid(run_of(rows, 70.0, AWAY), section)
    assert_sound(solid)
    assert kernel_volume(solid) == pytest.approx(AREA[section] * (450.0 + 20.0 * pi), rel=1e-9)
    # the longest point of a 90 degree mitre lies half an OD past the corner on both axes
    box = bounds(tube_solid(run_of([(100.0, 0.0, 90.0, None)], 100.0), section))
    r = section.od / 2.0
    assert box == pytest.approx((0.0, -r, -r, 100.0 + r, 100.0, r), abs=1e-6)


def test_a_square_picture_frame_of_mitres():
    rows = [(100.0, 0.0, 90.0, None)] + [(200.0, 0.0, 90.0, None)] * 3
    solid = tube_solid(run_of(rows, 100.0, closed=True), TUBE)
    assert_sound(solid, shells=2)
    assert kernel_volume(solid) == pytest.approx(AREA[TUBE] * 800.0, rel=1e-9)


@pytest.mark.parametrize(
    ("rows", "tail", "words"),
    [
        ([(10.0, 0.0, 90.0, 100.0), (10.0, 0.0, 30.0, 22.2)], 0.0, ["bend 2", "22.20 mm", "22.23 mm"]),
        ([(10.0, 0.0, 90.0, 100.0), (-5.0, 0.0, 30.0, 100.0)], 0.0, ["before bend 2", "5.00 mm"]),
        ([(10.0, 0.0, 90.0, 100.0)], -3.0, ["its last bend reaches 3.00 mm past the end"]),
        ([(30.0, 0.0, 170.0, None)], 100.0, ["bend 1", "mitre"]),
        ([(100.0, 0.0, 90.0, None), (0.0, 0.0, 90.0, 60.0)], 100.0, ["bend 1", "no straight after"]),
        ([(0.0, 0.0, 90.0, None)], 100.0, ["bend 1", "no straight before"]),
        ([(100.0, 0.0, 180.0, None)], 100.0, ["bend 1", "180.00"]),
        ([], 0.0, ["no length"]),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(rows, tail, words):
    run = replace(run_of([], 100.0), table=run_of(rows, 100.0).table)
    run = replace(run, name="Rail 7", table=replace(run.table, tail=tail))
    with pytest.raises(GeometryError) as caught:
        tube_solid(run, TUBE)
    assert caught.value.code == "no-solid"
    for word in ["Rail 7", *words]:
        assert word in caught.value.message
    assert caught.value.message.count(". ") == 0


def test_frames_roll_with_the_tube():
    """After a quarter turn toward y and a rotation of 90, the second bend's inside lies along the section's width."""
    found = pieces(run_of([(100.0, 0.0, 90.0, 60.0), (50.0, 90.0, 90.0, 60.0)], 10.0).table, Placement())
    last = found[-2]
    assert last.roll == 90.0
    # travelling +y with the width along z all the way: +90 about +y turns z to x, so the bend's normal is +x
    assert last.start.direction == pytest.approx((0.0, 1.0, 0.0), abs=1e-12)
    assert last.start.across == pytest.approx((0.0, 0.0, 1.0), abs=1e-12)
    assert last.arc.normal == pytest.approx((1.0, 0.0, 0.0), abs=1e-12)
    # and turned by +90 about +x, travel goes from y to z and the width from z to -y
    assert last.end.direction == pytest.approx((0.0, 0.0, 1.0), abs=1e-12)
    assert last.end.across == pytest.approx((0.0, -1.0, 0.0), abs=1e-12)
