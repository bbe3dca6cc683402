"""Elbows of segments mitred to one another: built from cylinders cut on the planes between them."""

from __future__ import annotations

from math import cos, radians, sin, tan

import cadquery as cq
import pytest
from tube_bodies import reason, tubes


def elbow(segments: int, leg: float, od: float = 114.3, wall: float = 3.0, clr: float = 170.0) -> cq.Shape:
    """90 degrees in so many segments, the outer two longer by a leg."""
    step = 90.0 / (segments - 1)
    chord = 2 * clr * tan(radians(step / 2))
    x = y = 0.0
    body = None
    for k in range(segments):
        way = radians(k * step)
        length = chord if 0 < k < segments - 1 else chord / 2 + leg
        d = cq.Vector(cos(way), sin(way), 0)
        start, end = cq.Vector(x, y, 0), cq.Vector(x, y, 0) + d * length
        long = cq.Solid.makeCylinder(od / 2, length + 2 * od, start - d * od, d)
        long = long.cut(cq.Solid.makeCylinder(od / 2 - wall, length + 2 * od, start - d * od, d))
        for at, out in ((start, -1), (end, 1)):
            turn = 0.0 if (k, out) in ((0, -1), (segments - 1, 1)) else out * step / 2
            n = cq.Vector(cos(way + radians(turn)), sin(way + radians(turn)), 0) * out
            plane = cq.Plane(at, normal=n)
            long = long.cut(cq.Workplane(plane).box(900, 900, 900, (True, True, False)).val())
        body = long if body is None else body.fuse(long)
        x, y = end.x, end.y
    return body.clean()


def test_a_short_one_is_told_with_its_sizes():
    why = reason(elbow(4, 20))
    assert "an elbow of 4 segments mitred to one another (lobster-back), 114.30 mm across, 90.00° in all" in why


def test_segments_beside_long_legs_are_told_once_and_the_legs_read():
    found, _ = tubes(elbow(4, 300))
    half = 170 * tan(radians(15))
    assert sorted(t.table.tail for t in found) == pytest.approx([300 + half, 300 + half], abs=1e-3)
    (told,) = [f for t in found for f in t.findings if f.code == "solid-remains"]
    assert "lobster-back" in dict(told.value_pairs)["kind"]


def test_one_without_legs_is_told_too():
    assert "an elbow of 5 segments" in reason(elbow(5, 0.5))


def test_a_mitred_pair_is_two_tubes():
    found, left = tubes(elbow(2, 100))
    assert len(found) == 2 and not left
