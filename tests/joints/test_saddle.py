"""Saddle curves against closed forms, hand-worked values, quadrature and brute force.

Closed forms are elementary; Steinmetz volumes: MathWorld "Steinmetz Solid" and "Cylinder-Cylinder
Intersection" (Moore 1974, Hubbell 1965). Lengths in inches stand for any unit here.
"""

from __future__ import annotations

from math import asin, cos, degrees, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from copes import lengths_of, pair, surface_points
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ellipe, ellipk

from converter.errors import GeometryError
from converter.joints.cuts.lines import Branch, outline_radii
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut, HalfSpace, angles, extremes, mitre_plane, profile
from converter.joints.cuts.square import RectPrism
from converter.joints.cuts.torus import BendPart
from converter.model.section import Section


def depth(cut):
    """From the long point to the short point."""
    _, od, _ = profile(cut)
    return float(od.max() - od.min())


@pytest.mark.parametrize(("theta", "wanted"), [(90, 1.0), (60, 1.73205081), (45, 2.41421356), (30, 3.73205081)])
def test_equal_tubes_cut_as_deep_as_r_cot_half_the_angle(theta, wanted):
    # at the kink a rounding of 1e-16 in the offset is 1e-8 in its root
    assert depth(pair(1.0, 1.0, theta)) == pytest.approx(1.0 / tan(radians(theta / 2)), abs=3e-8)
    assert depth(pair(1.0, 1.0, theta)) == pytest.approx(wanted, abs=4e-8)


@pytest.mark.parametrize("theta", [90.0, 75.0, 60.0, 37.0, 20.0, 15.0])
def test_equal_tubes_are_two_half_ellipses_in_planes(theta):
    """a = r cos phi tan(theta/2) on the obtuse side, r |cos phi| cot(theta/2) on the acute one."""
    cut = pair(2.0, 2.0, theta)
    phi = angles(0.5)
    c, half = np.cos(np.radians(phi)), radians(theta / 2.0)
    wanted = np.where(c > 0.0, 2.0 * c * tan(half), -2.0 * c / tan(half))
    away = np.abs(c) > 1e-6  # at the kink a rounding of 1e-16 in the offset is 1e-8 in its root
    assert np.abs(cut.outside(phi) - wanted)[away].max() < 1e-12
    assert np.abs(cut.outside(phi) - wanted).max() < 1e-7
    for side in (c > 1e-9, c < -1e-9):  # each half lies in one plane
        points = surface_points(cut, phi)[side]
        assert np.linalg.svd(points - points.mean(axis=0))[1][2] < 1e-12


@pytest.mark.parametrize(
    ("r", "big", "theta", "offset", "wanted"),
    [
        (0.5, 1.0, 90, 0.0, 0.13397),
        (0.75, 0.875, 90, 0.0, 0.42431),
        (0.75, 0.875, 60, 0.0, 0.99268),
        (0.75, 0.875, 45, 0.0, 1.53674),
        (0.75, 0.875, 30, 0.0, 2.59808),
        (0.75, 1.0, 90, 0.25, 1.0),
        (0.75, 1.0, 60, 0.25, 1.57318),
        (0.75, 1.5, 90, 0.75, 1.5),
    ],
)
def test_listed_depths(r, big, theta, offset, wanted):
    assert depth(pair(r, big, theta, offset)) == pytest.approx(wanted, abs=5.1e-6)


def test_listed_ordinates():
    """1.5 on 1.75 at 60 degrees, phi = 0, 30 ... 180; the least is at 69.7 degrees."""
    cut = pair(0.75, 0.875, 60)
    wanted = [0.5774, 0.5379, 0.4605, 0.5204, 0.8935, 1.2879, 1.4434]
    assert cut.outside(np.arange(0.0, 181.0, 30.0)) == pytest.approx(wanted, abs=5e-5)
    phi = angles(0.5)
    (at, _), _ = extremes(cut.outside, phi, cut.outside(phi))
    assert min(at, 360.0 - at) == pytest.approx(69.7, abs=0.05)


@settings(max_examples=150)
@given(
    big=st.floats(1.0, 60.0), ratio=st.floats(0.05, 1.0), theta=st.floats(15.0, 90.0), off=st.floats(-1.0, 1.0),
    bore=st.booleans(),
)  # fmt: skip
def test_any_pair_agrees_with_the_closed_form(big, ratio, theta, off, bore):
    """a = [sqrt(R^2 - (e + r sin phi)^2) - r cos phi cos theta] / sin theta, outside and bore."""
    r = ratio * big
    e = off * (big - r)
    cut = pair(r, big, theta, e, wall=0.1 * r)
    used = 0.9 * r if bore else r
    phi = angles(5.0)
    t = radians(theta)
    room = big**2 - (e + used * np.sin(np.radians(phi))) ** 2
    wanted = (np.sqrt(np.maximum(room, 0.0)) - used * np.cos(np.radians(phi)) * cos(t)) / sin(t)
    # sin phi grows toward +y when seen along the outward direction, as the offset does
    assert np.abs(cut.at(phi)[int(bore)] - wanted).max() < 1e-6 * big / sin(t)


def test_the_metal_stops_outside_the_mate_and_not_before():
    """Brute force: on each line, bisect between far back (clear) and the axis (inside) for the first contact."""
    cut = pair(19.05, 22.225, 52.0, 2.5, wall=3.0)
    branch = cut.branch
    for bore in (False, True):
        lines = branch.lines(angles(10.0), bore)
        start = surface_points(cut, angles(10.0), bore) + cut.reach(lines)[0][:, None] * np.asarray(branch.direction)
        for i, point in enumerate(start):
            far, near = 200.0, float(point @ np.asarray(branch.direction))
            for _ in range(80):
                middle = (far + near) / 2.0
                q = point - middle * np.asarray(branch.direction)
                far, near = (middle, near) if np.hypot(q[1], q[2]) > 22.225 else (far, middle)
            assert cut.reach(lines)[0][i] == pytest.approx(far, abs=1e-9)


def test_length_of_the_cut_line():
    """4 sqrt(2) E(m = 1/2) r = 7.640396 r for equal tubes at right angles, by summing a fine polygon."""
    points = surface_points(pair(1.0, 1.0, 90.0), np.linspace(0.0, 360.0, 14401))
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    assert 4.0 * sqrt(2.0) * ellipe(0.5) == pytest.approx(7.640396, abs=5e-7)
    assert length == pytest.approx(4.0 * sqrt(2.0) * ellipe(0.5), rel=1e-7)


def test_area_of_the_template_below_the_cut():
    """4 r^2 of the branch's surface lie between the axis' plane and the cut, so the Steinmetz solid has 16 r^2."""
    cut = pair(3.0, 3.0, 90.0)
    area = sum(
        quad(lambda p: 3.0 * float(cut.outside(np.array([degrees(p)]))[0]), a, a + pi / 2.0)[0]
        for a in (0.0, pi / 2.0, pi, 1.5 * pi)
    )
    assert area == pytest.approx(4.0 * 9.0, rel=1e-9)


def common_volume(r, big, theta):
    """Volume common to both cylinders: twice the lengths from the plane square to the branch, over its section.

    From a(phi) of every radius: near and far side differ by 2 sqrt(R^2 - s^2) / sin theta.
    """

    def ring(radius):
        cut = pair(radius, big, theta)
        phi = angles(0.25)
        acute = cut.outside(phi)
        far = -cut.outside((phi + 180.0) % 360.0)  # the far side, by symmetry through the axes' crossing
        return float((acute - far).mean()) * 2.0 * pi * radius

    return quad(ring, 1e-9, r, limit=200)[0]


@pytest.mark.parametrize("theta", [90.0, 60.0, 30.0])
def test_volume_common_to_equal_tubes(theta):
    assert common_volume(1.0, 1.0, theta) == pytest.approx(16.0 / 3.0 / sin(radians(theta)), rel=1e-5)


def test_volume_common_to_unequal_tubes():
    """(8/3) R [(R^2 + r^2) E(k) - (R^2 - r^2) K(k)], k = r/R: 3.264145706 for 0.75 in 1."""
    r, big = 0.75, 1.0
    wanted = 8.0 / 3.0 * big * ((big**2 + r**2) * ellipe(r**2) - (big**2 - r**2) * ellipk(r**2))
    assert wanted == pytest.approx(3.264145706, abs=1e-9)
    assert common_volume(r, big, 90.0) == pytest.approx(wanted, rel=1e-7)


def test_a_wall_cut_square_to_the_outside_line_would_foul():
    """1.5 x .095 on 1.75 at 90: up to 0.129 in of the bore's edge stand in the mate when cut by the outside line."""
    cut = pair(0.75, 0.875, 90.0, wall=0.095)
    od, bore = cut.at(angles(0.5))
    assert float((bore - od).max()) == pytest.approx(0.129, abs=5e-4)
    od, bore = pair(0.75, 0.875, 45.0, wall=0.095).at(angles(0.5))
    assert float((bore - od).max()) == pytest.approx(0.190, abs=5e-4)
    assert float((od - bore).max()) == pytest.approx(0.095, abs=5e-4)


def test_weld_gap_is_square_to_the_mate():
    cut = pair(10.0, 20.0, 40.0, gap=0.75)
    points = surface_points(cut, angles(3.0))
    assert np.hypot(points[:, 1], points[:, 2]) == pytest.approx(20.75, abs=1e-9)


def test_profile_holds_every_half_degree_and_the_extremes():
    cut = pair(19.05, 22.225, 60.0).with_zero((0.0, 1.0, 0.0))
    phi, od, _ = profile(cut)
    assert set(angles(0.5)) <= set(phi) and phi[0] >= 0.0 and phi[-1] < 360.0
    assert (np.diff(phi) > 0.0).all()
    dense = cut.outside(np.linspace(0.0, 360.0, 200001))
    assert od.min() == pytest.approx(dense.min(), abs=1e-9) and od.min() <= dense.min()
    assert od.max() == pytest.approx(dense.max(), abs=1e-9) and od.max() >= dense.max()


def test_zero_line_and_sense():
    """phi turns right-hand about the outward direction: another zero line shifts the same curve."""
    cut = pair(10.0, 15.0, 50.0, 3.0)
    turned = cut.with_zero(cut.branch.side)
    phi = angles(5.0)
    assert np.abs(turned.outside(phi) - cut.outside(phi + 90.0)).max() < 1e-12
    found, t = lengths_of(cut, surface_points(cut, phi))
    assert np.abs((found - phi + 180.0) % 360.0 - 180.0).max() < 1e-9 and np.abs(t - cut.outside(phi)).max() < 1e-9


def test_lines_that_miss_stop_level_with_the_mates_centerline():
    """r = 2 on R = 1: where |2 sin phi| > 1 nothing is met; a = -r cos phi cos theta / sin theta there."""
    cut = pair(2.0, 1.0, 60.0)
    phi = angles(1.0)
    t, met = cut.reach(cut.branch.lines(phi))
    s = 2.0 * np.abs(np.sin(np.radians(phi)))
    assert (met == (s <= 1.0 + 1e-12)).all()
    flat = -2.0 * np.cos(np.radians(phi)) * cos(radians(60.0)) / sin(radians(60.0))
    assert np.abs(t - flat)[~met].max() < 1e-12
    assert (~met).mean() == pytest.approx(1.0 - 4.0 * asin(0.5) / (2.0 * pi), abs=0.02)


def test_parallel_axes_are_refused():
    branch = Branch.at((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), Section("round", 20.0, 2.0))
    mate = RoundPrism((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 15.0)
    with pytest.raises(GeometryError, match="parallel"):
        Cut(branch, ((mate,),)).outside(angles(5.0))
    with pytest.raises(GeometryError, match="parallel"):
        Cut(branch, ((HalfSpace((0.0, 0.0, 5.0), (0.0, 0.0, 1.0)),),)).outside(angles(5.0))


def test_several_mates_are_their_union():
    a, b = pair(10.0, 12.0, 90.0), pair(10.0, 14.0, 50.0)
    other = RoundPrism((0.0, 0.0, 0.0), (0.6, 0.8, 0.0), 11.0)
    both = Cut(a.branch, (a.mates[0], (other,)))
    phi = angles(2.0)
    wanted = np.maximum(a.outside(phi), Cut(a.branch, ((other,),)).outside(phi))
    assert (both.outside(phi) == wanted).all()
    assert len(both.by_mate(b.branch.lines(phi))) == 2 and b.branch != a.branch


def test_mitre_planes():
    """Two 40 mm tubes at 90 degrees: cut at 45, so the lengths run from -20 to 20; 2 mm gap takes 1/cos 45 each."""
    one, two = (-1.0, 0.0, 0.0), (0.0, -1.0, 0.0)
    branch = Branch((0.0, 0.0, 0.0), one, (0.0, 1.0, 0.0), Section("round", 40.0, 2.0))
    plane = mitre_plane(one, two, (0.0, 0.0, 0.0))
    t = Cut(branch, ((plane,),)).outside(np.array([0.0, 90.0, 180.0, 270.0]))
    assert t == pytest.approx([20.0, 0.0, -20.0, 0.0], abs=1e-12)
    gapped = Cut(branch, ((mitre_plane(one, two, (0.0, 0.0, 0.0), 2.0),),)).at_axis()
    assert gapped == pytest.approx(sqrt(2.0), abs=1e-12)
    with pytest.raises(GeometryError):
        mitre_plane(one, one, (0.0, 0.0, 0.0))


# --- square and rectangular ------------------------------------------------------------------

SQUARE = Section("square", 40.0, 3.0, corner=6.0)


def test_outline_of_a_square_by_hand():
    """Flat: 20 / cos; corner: (20 - 6) sqrt 2 + 6; bore: 17 flat, corner radius 3."""
    psi = np.radians([0.0, 20.0, 45.0, 90.0, 225.0])
    corner = 14.0 * sqrt(2.0) + 6.0
    assert outline_radii(SQUARE.outer, psi) == pytest.approx([20.0, 20.0 / cos(radians(20)), corner, 20.0, corner])
    assert outline_radii(SQUARE.bore, psi)[[0, 2]] == pytest.approx([17.0, 14.0 * sqrt(2.0) + 3.0])
    wide = Section("rectangular", 60.0, 2.0, height=20.0)
    assert outline_radii(wide.outer, np.radians([0.0, 90.0, 45.0])) == pytest.approx([10.0, 30.0, 10.0 * sqrt(2.0)])


def test_round_on_a_flat_face_is_a_slanted_plane():
    """On a face 20 from the axis at 60 degrees: t = (20 - r cos phi cos 60) / sin 60 while it stays on the flat."""
    cut = pair(8.0, 99.0, 60.0)
    mate = RectPrism((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), 20.0, 20.0, 6.0)
    phi = angles(5.0)
    t = radians(60.0)
    wanted = (20.0 - 8.0 * np.cos(np.radians(phi)) * cos(t)) / sin(t)
    assert np.abs(Cut(cut.branch, ((mate,),)).outside(phi) - wanted).max() < 1e-12


def test_round_over_the_corner_of_a_square():
    """At 90 degrees, 19 beside the middle: past 14 the corner arc of 6 falls off: t = 14 + sqrt(36 - (y - 14)^2)."""
    cut = pair(19.0, 99.0, 90.0)
    mate = RectPrism((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), 20.0, 20.0, 6.0)
    phi = angles(1.0)
    y = np.abs(19.0 * np.sin(np.radians(phi)))
    wanted = np.where(y <= 14.0, 20.0, 14.0 + np.sqrt(np.maximum(36.0 - (y - 14.0) ** 2, 0.0)))
    assert np.abs(Cut(cut.branch, ((mate,),)).outside(phi) - wanted).max() < 1e-12


def test_a_rounded_square_with_full_corners_is_a_cylinder():
    cut = pair(15.0, 20.0, 33.0, 3.0)
    mate = RectPrism((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.6, 0.8), 20.0, 20.0, 20.0)
    phi = angles(2.0)
    assert np.abs(Cut(cut.branch, ((mate,),)).outside(phi) - cut.outside(phi)).max() < 1e-11


def test_square_end_on_a_round_mate_by_hand():
    """Square of 40 on R = 30 at 90: on the flat toward the side y = +-20: sqrt(900 - 400); at x, y = 0: 30."""
    branch = Branch((0.0, 0.0, 0.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), SQUARE, (1.0, 0.0, 0.0))
    cut = Cut(branch, ((RoundPrism((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 30.0),),))
    od, bore = cut.at(np.array([0.0, 45.0, 90.0]))
    reach = 14.0 + 6.0 / sqrt(2.0)
    assert od == pytest.approx([30.0, sqrt(900.0 - reach**2), sqrt(500.0)])
    assert bore[2] == pytest.approx(sqrt(900.0 - 17.0**2))


# --- bends -----------------------------------------------------------------------------------


def bend(clr=150.0, size=20.0, sweep=90.0, corner=None, window=90.0):
    corner = size if corner is None else corner
    at = (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (clr, 0.0, 0.0)
    return BendPart(*at, clr, sweep, size, size, corner, 0.0, (-window, window))


def on_bend(direction, section, clr=150.0, at=40.0, corner=None):
    d = np.array(direction) / np.linalg.norm(direction)
    point = (clr * cos(radians(at)), clr * sin(radians(at)), 0.0)
    return Cut(Branch.at(point, tuple(d), section), ((bend(clr, corner=corner),),))


@pytest.mark.parametrize("direction", [(0.0, 0.0, -1.0), (-1.0, -0.8, 0.0), (0.5, 0.3, -0.9), (1.0, 0.84, 0.0)])
def test_on_a_bend_every_point_lies_on_the_torus_and_nothing_before_it(direction):
    cut = on_bend(direction, Section("round", 32.0, 2.0))
    for bore in (False, True):
        lines = cut.branch.lines(angles(2.0), bore)
        _, met = cut.reach(lines)
        assert met.all()
        points = surface_points(cut, angles(2.0), bore)

        def off(p):
            return np.hypot(np.hypot(p[..., 0], p[..., 1]) - 150.0, p[..., 2]) - 20.0

        assert np.abs(off(points)).max() < 1e-11
        back = np.linspace(1e-6, 60.0, 600)[:, None, None] * -np.asarray(cut.branch.direction)
        assert off(points[None] + back).min() > -1e-9


def test_on_a_very_wide_bend_it_is_nearly_a_straight():
    """CLR 1e6: over the 20 mm of the joint the bend leaves its tangent by 2e-4 mm."""
    section = Section("round", 30.0, 2.0)
    clr = 1e6
    cut = on_bend((0.0, 0.0, -1.0), section, clr=clr)
    tangent = (-sin(radians(40.0)), cos(radians(40.0)), 0.0)
    straight = Cut(cut.branch, ((RoundPrism(cut.branch.point, tangent, 20.0),),))
    assert np.abs(cut.outside(angles(3.0)) - straight.outside(angles(3.0))).max() < 1e-3


def test_on_the_bend_of_a_square_tube_the_flat_side_is_a_plane():
    """From above, on the flat of a 40 square bent in its plane: the whole cut lies 20 above the bend's plane."""
    cut = on_bend((0.0, 0.0, -1.0), Section("round", 20.0, 2.0), corner=4.0)
    assert cut.outside(angles(3.0)) == pytest.approx(20.0, abs=1e-11)


def test_a_line_that_only_grazes_a_bend_is_found():
    """Lines near the rim of the torus dip below its surface for less than a sample's step."""
    for inside in (1e-3, 1e-5, 1e-7):
        branch = Branch.at((150.0, 0.0, 20.0 - inside), (-1.0, 0.0, 0.0), Section("round", 1e-4, 1e-5))
        part = BendPart(
            (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -150.0, 0.0), 150.0, 180.0, 20.0, 20.0, 20.0, 0.0, (-61.3, 60.0)
        )
        t, met = Cut(branch, ((part,),)).reach(branch.axis())
        wanted = sqrt(20.0**2 - (20.0 - inside) ** 2)
        assert met.all() and t[0] == pytest.approx(wanted, rel=1e-6)
