"""Frozen values that check themselves."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from math import nan, pi, sqrt

import numpy as np
import pytest
from any_finding import any_finding

from converter.errors import ElbowroomError, GeometryError, OptionError
from converter.findings import CODES, Finding, define, has_errors
from converter.geometry.vectors import angle_between, any_normal, cross, dot, norm, rotate, signed_angle, unit
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Ellipse, Line, Path, Polyline, Spline
from converter.model.section import Section
from converter.tolerances import Tolerances


@pytest.mark.parametrize(
    "make",
    [
        lambda: Line((0, 0, 0), (0, 0, 0)),
        lambda: Line((0, 0, 0), (nan, 0, 0)),
        lambda: Arc((0, 0, 0), (0, 0, 1), 0.0, (0, 0, 0), (0, 0, 0), 90),
        lambda: Arc((0, 0, 0), (0, 0, 1), 1.0, (1, 0, 0), (1, 0, 0), 361),
        lambda: Arc((0, 0, nan), (0, 0, 1), 1.0, (1, 0, 0), (1, 0, 0), 360),
        lambda: Polyline(np.zeros((1, 3))),
        lambda: Polyline(np.array([[0, 0, 0], [nan, 0, 0]])),
        lambda: Spline(3, np.zeros((3, 3)), np.zeros(7), None, (0, 0, 0), (0, 0, 0)),
        lambda: Spline(1, np.eye(3)[:2], np.array([0, 0, 1, 1.0]), np.array([1, 0.0]), (1, 0, 0), (0, 1, 0)),
        lambda: Ellipse((0, 0, 0), (1, 0, 0), (0, 0, 0), 0, 90),
        lambda: Ellipse((0, 0, 0), (1, 0, 0), (0, 1, 0), 90, 0),
        lambda: Path(()),
        lambda: Bend(1, 0, 0, 5),
        lambda: Bend(1, 0, 360, 5),
        lambda: Bend(1, -180, 90, 5),
        lambda: Bend(1, 0, 90, 0),
        lambda: Bend(nan, 0, 90, 5),
        lambda: BendTable((), nan),
        lambda: Placement((0, 0, 0), (1, 0, 0), (1, 0, 0)),
        lambda: Placement((0, 0, 0), (2, 0, 0), (0, 0, 1)),
        lambda: Section("round", 25, 12.5),
        lambda: Section("round", 25, 0),
        lambda: Section("round", -25, 2),
        lambda: Section("hexagon", 25, 2),
        lambda: Section("square", 25, 2, height=30),
        lambda: Section("rectangular", 25, 2, height=40, corner=13),
        lambda: Section("round", nan, 2),
        lambda: Finding("no-such-code"),
        lambda: any_finding("hoop", severity="fatal"),
        lambda: define("hoop", "error", "again", "a ring"),
    ],
)
def test_impossible_values_are_refused(make):
    with pytest.raises(GeometryError):
        make()


@pytest.mark.parametrize("field", ["join", "near", "fit", "tangent", "equal"])
@pytest.mark.parametrize("value", [0.0, -1.0, nan])
def test_tolerances_are_above_zero(field, value):
    with pytest.raises(OptionError):
        Tolerances(**{field: value})


def test_values_are_frozen():
    with pytest.raises(FrozenInstanceError):
        Line((0, 0, 0), (1, 0, 0)).start = (9, 9, 9)


def test_every_curve_reversed_twice_is_itself():
    spline = Spline(1, np.array([[0, 0, 0], [1, 0, 0.0]]), np.array([0, 0, 1, 1.0]), None, (0, 0, 0), (1, 0, 0))
    arc = Arc.swept((0, 0, 0), (0, 0, 1), (5, 0, 0), 100)
    ellipse = Ellipse((0, 0, 0), (3, 0, 0), (0, 2, 0), 10, 200)
    for curve in (Line((0, 0, 0), (1, 2, 3)), arc, ellipse, spline, Polyline(np.eye(3)), Path((arc,))):
        back = curve.reversed()
        assert back.start == pytest.approx(curve.end)
        assert back.end == pytest.approx(curve.start)
        assert back.reversed().start == pytest.approx(curve.start)
    assert arc.reversed().point(30) == pytest.approx(arc.point(70))
    assert ellipse.reversed().point(-50) == pytest.approx(ellipse.point(50))
    assert arc.reversed().end_direction == pytest.approx(tuple(-v for v in arc.start_direction))


def test_section_areas_by_hand():
    """Computed values (in2): 1.75 x 0.120 tube, 2.0 bar, 1.5 x 0.083 square with corners of 0, 1.5 and 3 walls."""
    inch2 = 25.4**2
    t = 0.083 * 25.4
    assert Section("round", 44.45, 3.048).area / inch2 == pytest.approx(0.61450, abs=5e-6)
    assert Section("bar", 50.8, 1).area / inch2 == pytest.approx(3.14159, abs=5e-6)
    for corner, area in ((0.0, 0.47044), (1.5, 0.45862), (3.0, 0.44088)):
        assert Section("square", 38.1, t, corner=corner * t).area / inch2 == pytest.approx(area, abs=5e-6)
    assert Section("bar", 50.8, 1).wall == 25.4


def test_vectors():
    """DXF reference, arbitrary axis: N (0,0,-1) gives x (-1,0,0); N (1,0,0) gives (0,1,0)."""
    assert any_normal((0, 0, -1)) == (-1, 0, 0)
    assert any_normal((1, 0, 0)) == (0, 1, 0)
    assert any_normal((0, 1, 0)) == (-1, 0, 0)
    assert rotate((1, 0, 0), (0, 0, 1), 90) == pytest.approx((0, 1, 0))
    assert angle_between((1, 0, 0), (1, 1e-9, 0)) == pytest.approx(1e-9 * 180 / pi)
    assert signed_angle((1, 0, 0), (0, -1, 0), (0, 0, 1)) == pytest.approx(-90)
    assert signed_angle((1, 0, 0), (-1, -1e-13, 0), (0, 0, 1)) == 180.0
    d = unit((1, 2, 3))
    assert norm(d) == pytest.approx(1.0)
    assert dot(cross(d, (0, 0, 1)), d) == pytest.approx(0.0, abs=1e-16)
    assert norm((3, 4, 12)) == 13.0
    assert unit((2, 0, 0)) == (1, 0, 0)
    with pytest.raises(GeometryError):
        unit((0, 0, 0))
    assert sqrt(dot((1, 1, 1), (1, 1, 1))) == pytest.approx(sqrt(3))


def test_findings_know_their_usual_severity():
    assert any_finding("hoop").severity == "error"
    assert any_finding("hoop", severity="note").rank == 2
    assert has_errors([any_finding("hoop")])
    assert not has_errors([Finding("demo-shop")])
    assert all(entry.meaning.endswith(".") for entry in CODES.values())


def test_one_root_for_all_errors():
    from converter import errors

    kinds = [k for k in vars(errors).values() if isinstance(k, type) and issubclass(k, Exception)]
    assert len(kinds) > 6
    for kind in kinds:
        assert issubclass(kind, ElbowroomError)
        error = kind("One sentence.", file="a.dxf", where="layer 0")
        assert (str(error), error.file, error.where) == ("One sentence.", "a.dxf", "layer 0")
        assert error.code == kind.default_code
