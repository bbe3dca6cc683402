"""Length of weld at cut ends, against curves whose length is known from elsewhere."""

from __future__ import annotations

from math import cos, pi, radians, sin, sqrt

import pytest
from scipy.integrate import quad
from scipy.special import ellipe

from converter.job import Job
from converter.joints.weld import weld_length
from converter.model.bends import BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section


def straight(name, start, direction, length, section, normal):
    return Tube(Run(name, name, False, BendTable((), length), Placement(start, direction, normal)), section)


def joints_of(*tubes):
    return {(joint.tube, joint.end): joint for joint in Job.of_tubes(tubes).joints}


@pytest.mark.parametrize(("r", "mate"), [(20.0, 20.0), (12.0, 30.0)])
@pytest.mark.parametrize("degrees", [90.0, 60.0, 35.0])
def test_a_saddle(r, mate, degrees):
    """Two cylinders at an angle: the curve's length by adaptive quadrature of its textbook parametric form."""
    branch, post = Section("round", 2 * r, 2.0), Section("round", 2 * mate, 2.0)
    t = radians(degrees)
    lean = (sin(t), 0.0, cos(t))
    found = joints_of(
        straight("POST", (0, 0, -900), (0, 0, 1), 1800, post, (1, 0, 0)),
        straight("ARM", (0, 0, 0), lean, 700, branch, (0, 1, 0)),
    )["ARM", "A"]

    def speed(phi):
        # along the branch: (sqrt(R2 - y2) - x cos t) / sin t with (x, y) around it; its derivative by hand
        y, dx, dy = r * sin(phi), -r * sin(phi), r * cos(phi)
        deep = sqrt(max(mate * mate - y * y, 1e-12))
        dz = (-y * dy / deep - dx * cos(t)) / sin(t)
        return sqrt(dx * dx + dy * dy + dz * dz)

    exact = quad(speed, 0.0, 2.0 * pi, points=[pi / 2, 3 * pi / 2], limit=400)[0]
    assert weld_length(found) == pytest.approx(exact, rel=2e-4)


@pytest.mark.parametrize("degrees", [90.0, 120.0, 150.0, 180.0])
def test_a_mitre_is_half_an_ellipse_at_each_end(degrees):
    """Perimeter of an ellipse: 4 a E(e2), the complete elliptic integral (Abramowitz & Stegun 17.3.3, by scipy)."""
    tube, turn = Section("round", 40.0, 2.0), radians(180.0 - degrees)
    found = joints_of(
        straight("ONE", (-500, 0, 0), (1, 0, 0), 500, tube, (0, 1, 0)),
        straight("TWO", (0, 0, 0), (cos(turn), sin(turn), 0.0), 500, tube, (0, 0, 1)),
    )
    long = 20.0 / cos(turn / 2.0)
    around = 4.0 * long * ellipe(1.0 - (20.0 / long) ** 2)
    ends = [weld_length(found["ONE", "B"]), weld_length(found["TWO", "A"])]
    assert sum(ends) == pytest.approx(around, rel=2e-5)
    assert ends[0] == pytest.approx(ends[1], rel=1e-6)


def test_square_tube_on_a_flat_is_its_outline():
    """Four flats and four quarter circles."""
    wide, tube = Section("square", 60.0, 3.0, corner=6.0), Section("square", 30.0, 2.0, corner=4.0)
    found = joints_of(
        straight("POST", (0, 0, -900), (0, 0, 1), 1800, wide, (1, 0, 0)),
        straight("ARM", (0, 0, 0), (1, 0, 0), 700, tube, (0, 0, 1)),
    )["ARM", "A"]
    assert weld_length(found) == pytest.approx(4 * 22.0 + 2 * pi * 4.0, rel=1e-3)
