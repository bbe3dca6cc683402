"""Square and rectangular tubes as solids: planes, cylinders, tori and cones as they fall."""

from __future__ import annotations

from math import hypot, pi, radians, sqrt

import pytest
from kernel_probe import assert_sound, bounds, inside, kernel_volume, of_surface, surfaces
from test_solids_round import AWAY, FOUR, TUBE, rounded_cube_edge_loop
from tubes import FLAT, OVAL, ROUNDED, SHARP, SQUARE, TIGHT, run_of

from converter.errors import GeometryError
from converter.geometry.vectors import rotate, sub
from converter.kernel.shapes.solids import tube_solid
from converter.model.frames import Station, closing, pieces

SECTIONS = {"square": SQUARE, "sharp": SHARP, "tight": TIGHT, "flat": FLAT, "oval": OVAL, "rounded": ROUNDED}


def rounded_area(width: float, height: float, corner: float) -> float:
    """A rectangle less the four spandrels its round corners leave out."""
    return width * height - (4.0 - pi) * corner * corner


#: Closed forms written out: outside less bore.
AREA = {
    "square": rounded_area(38.1, 38.1, 4.2) - rounded_area(33.9, 33.9, 2.1),
    "sharp": rounded_area(38.1, 38.1, 0.0) - rounded_area(33.9, 33.9, 0.0),
    "tight": rounded_area(38.1, 38.1, 1.5) - rounded_area(33.9, 33.9, 0.0),
    "flat": rounded_area(50.0, 30.0, 6.0) - rounded_area(44.0, 24.0, 3.0),
    "oval": rounded_area(30.0, 50.0, 15.0) - rounded_area(24.0, 44.0, 12.0),
    "rounded": rounded_area(30.0, 30.0, 15.0) - rounded_area(24.0, 24.0, 12.0),
}
QUARTERS = [
    (250.0, 0.0, 90.0, 120.0), (80.0, 90.0, 45.0, 120.0), (50.0, -90.0, 200.0, 100.0), (0.0, 180.0, 30.0, 150.0)
]  # fmt: skip


@pytest.mark.parametrize("name", SECTIONS)
@pytest.mark.parametrize(
    ("rows", "tail"),
    [
        ([], 300.0),
        (QUARTERS, 60.0),
        (FOUR, 60.0),
        ([(0.0, 0.0, 359.0, 200.0)], 0.0),
        ([(40.0, 0.0, 90.0, 120.0), (50.0, 90.0 + 1e-6, 45.0, 120.0)], 20.0),
        ([(100.0, 0.0, 90.0, None), (180.0, 30.0, 45.0, None), (100.0, 0.0, 30.0, 120.0)], 70.0),
    ],
    ids=["straight", "quarter turns", "askew", "nearly a hoop", "a hair of rotation", "mitred"],
)
def test_volume_is_pappus_and_the_solid_is_sound(name, rows, tail):
    """Pappus for every section and roll: the section's centre lies on the centerline, also where it is askew."""
    length = sum(f + (c or 0.0) * radians(a) for f, _, a, c in rows) + tail
    solid = tube_solid(run_of(rows, tail, AWAY), SECTIONS[name])
    assert_sound(solid)
    assert kernel_volume(solid) == pytest.approx(AREA[name] * length, rel=1e-9)


def test_faces_are_what_they_should_be():
    """One bend of square tube with round corners, outside and bore, and two ends.

    Straights: 4 planes and 4 cylinders each. The bend: 2 planes in its plane, 2 cylinders square
    to it, 4 tori at the corners.
    """
    solid = tube_solid(run_of([(50.0, 0.0, 90.0, 120.0)], 50.0), SQUARE)
    assert surfaces(solid) == {"Plane": 2 * (8 + 2) + 2, "Cylinder": 2 * (8 + 2), "Torus": 2 * 4}
    # corner axes at 120 -+ (19.05 - 4.2) outside, with 4.2; the bore's are the same with 2.1
    tori = sorted((round(t.MajorRadius(), 9), round(t.MinorRadius(), 9)) for t in of_surface(solid, "Torus"))
    assert tori == sorted([(105.15, 4.2), (134.85, 4.2), (105.15, 2.1), (134.85, 2.1)] * 2)
    radii = sorted(round(c.Radius(), 9) for c in of_surface(solid, "Cylinder"))
    # sides square to the bend plane, at 120 -+ 19.05 and for the bore at 120 -+ 16.95
    assert radii[-4:] == [100.95, 103.05, 136.95, 139.05]


def test_an_askew_bend_has_cones():
    """Sharp square rolled by 45: every side is a cone of half angle 45, the nearest edge R - 19.05 sqrt 2 off."""
    run = run_of([(50.0, 0.0, 30.0, 120.0), (50.0, 45.0, 60.0, 120.0)], 50.0)
    solid = tube_solid(run, SHARP)
    assert_sound(solid)
    cones = of_surface(solid, "Cone")
    assert len(cones) == 8
    for cone in cones:
        # STEP allows only half angles above zero
        assert cone.SemiAngle() == pytest.approx(pi / 4.0, abs=1e-12)
    low = min(c.RefRadius() for c in cones)
    assert low == pytest.approx(120.0 - 19.05 * sqrt(2.0), abs=1e-9)


@pytest.mark.parametrize(
    ("rotation", "in_plane"), [(0.0, 15.0), (180.0, 15.0), (90.0, 25.0), (-90.0, 25.0)], ids=lambda v: f"{v:g}"
)
def test_a_rotation_of_90_swaps_the_side_in_the_bend_plane(rotation, in_plane):
    """The section is fixed in the tube: 30 lies in the first bend's plane, and 50 after a quarter roll."""
    run = run_of([(100.0, 0.0, 90.0, 120.0), (60.0, rotation, 90.0, 200.0)], 40.0)
    solid = tube_solid(run, FLAT)
    radii = {round(c.Radius(), 6) for c in of_surface(solid, "Cylinder")}
    assert {200.0 - in_plane, 200.0 + in_plane} <= radii
    assert {105.0, 135.0} <= radii


def test_width_lies_along_the_first_bends_normal():
    """First bend from +x toward +y: 50 (od) along z, 30 (height) along y."""
    box = bounds(tube_solid(run_of([(100.0, 0.0, 90.0, 120.0)], 50.0), FLAT))
    assert box == pytest.approx((0.0, -15.0, -25.0, 235.0, 170.0, 25.0), abs=1e-6)


def test_walls_are_where_they_should_be():
    """Probes through a side and a corner, on the straight and in the middle of an askew bend."""
    run = run_of([(100.0, 0.0, 90.0, 120.0), (60.0, 30.0, 90.0, 200.0)], 40.0)
    solid = tube_solid(run, FLAT)
    # corner: arc centre at (9, 19) from the axis, outside radius 6, bore radius 3; 45 degrees outward
    probes = {
        (0.0, 0.0): False, (11.9, 0.0): False, (12.1, 0.0): True, (14.9, 0.0): True, (15.1, 0.0): False,
        (0.0, 21.9): False, (0.0, -22.1): True, (0.0, 24.9): True, (0.0, 25.1): False,
        (9.0 + 2.9 / sqrt(2), 19.0 + 2.9 / sqrt(2)): False, (9.0 + 3.1 / sqrt(2), 19.0 + 3.1 / sqrt(2)): True,
        (9.0 + 5.9 / sqrt(2), 19.0 + 5.9 / sqrt(2)): True, (9.0 + 6.1 / sqrt(2), 19.0 + 6.1 / sqrt(2)): False,
    }  # fmt: skip
    found = pieces(run.table, run.placement)
    bend = found[3]
    assert bend.bend == 2
    middle = Station(
        bend.arc.point(45.0),
        rotate(bend.start.direction, bend.arc.normal, 45.0),
        rotate(bend.start.across, bend.arc.normal, 45.0),
    )
    straight = Station((50.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    assert hypot(*sub(middle.point, bend.arc.center)) == pytest.approx(200.0)
    for station in (straight, middle):
        for (p, q), metal in probes.items():
            assert inside(solid, station.at(p, q)) is metal, (station, p, q)


def test_closed_frames():
    """A flat frame returns as it left, and so does a way around a cube's diagonal."""
    rows = [(50.0, 0.0, 90.0, 60.0)] + [(100.0, 0.0, 90.0, 60.0)] * 3
    for name in ("square", "flat", "oval"):
        solid = tube_solid(run_of(rows, 50.0, AWAY, closed=True), SECTIONS[name])
        assert_sound(solid, shells=2)
        assert kernel_volume(solid) == pytest.approx(AREA[name] * (400.0 + 120.0 * pi), rel=1e-9)
    loop = run_of(*rounded_cube_edge_loop(), closed=True)
    for name in ("square", "sharp", "tight", "rounded"):
        solid = tube_solid(loop, SECTIONS[name])
        assert_sound(solid, shells=2)
        assert kernel_volume(solid) == pytest.approx(AREA[name] * (1200.0 + 180.0 * pi), rel=1e-9)


@pytest.mark.parametrize(
    ("rotation", "clr", "reach"),
    [(0.0, 15.0, "15.00"), (90.0, 24.9, "25.00"), (45.0, 25.0, "25.80")],
)
def test_a_bend_tighter_than_the_section_is_refused(rotation, clr, reach):
    """The limit follows the roll: 15 flat, 25 on edge; at 45 (9 + 19) cos 45 + 6 = 25.80 mm."""
    run = run_of([(100.0, 0.0, 30.0, 120.0), (60.0, rotation, 90.0, clr)], 40.0)
    with pytest.raises(GeometryError, match=f"bend 2 .*{reach} mm"):
        tube_solid(run, FLAT)
    wider = run_of([(100.0, 0.0, 30.0, 120.0), (60.0, rotation, 90.0, float(reach) + 0.02)], 40.0)
    assert_sound(tube_solid(wider, FLAT))


#: Along +x, +y, +z, -x, -y, +x, -z and closed: seven right angles. Directions go around an odd number of eighths
#: of the sphere, so the section comes back turned by a quarter (parallel transport turns by the area gone around).
QUARTER_LOOP = [
    (40.0, 0.0, 90.0, 60.0), (180.0, 90.0, 90.0, 60.0), (180.0, -90.0, 90.0, 60.0), (280.0, 90.0, 90.0, 60.0),
    (180.0, 0.0, 90.0, 60.0), (80.0, -90.0, 90.0, 60.0), (180.0, 180.0, 90.0, 60.0),
]  # fmt: skip


def test_a_loop_that_comes_back_turned_by_a_quarter():
    """A square section meets itself one side on; a flat one cannot, and that is said."""
    run = run_of(QUARTER_LOOP, 40.0, closed=True)
    gap, kink, twist = closing(pieces(run.table, run.placement, True))
    assert gap < 1e-9 and kink < 1e-9
    assert abs(twist) == pytest.approx(90.0, abs=1e-9)
    for name in ("square", "sharp", "tight", "rounded"):
        solid = tube_solid(run, SECTIONS[name])
        assert_sound(solid, shells=2)
        assert kernel_volume(solid) == pytest.approx(AREA[name] * (1160.0 + 210.0 * pi), rel=1e-9)
    assert_sound(tube_solid(run, TUBE), shells=2)
    with pytest.raises(GeometryError, match=r"turned by -?90\.00°"):
        tube_solid(run, FLAT)
