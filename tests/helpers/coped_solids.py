"""Tubes with cut ends as solids of the kernel: built, measured, compared."""

from __future__ import annotations

from math import cos, pi, radians, sin

import numpy as np
import pytest
from copes import find_joints, straight
from frames import RAIL

from converter.exporters.solids.coped.ends import coped_solid, joints_of
from converter.joints.cuts.lines import ParallelLines, outline_radii
from converter.kernel.shapes.solids import is_valid, tube_solid, volume


def taken_off(joint, across=24, around=2880):
    """Volume between the end point's plane and the cut: the curve integrated over the wall, Gauss by trapezoid."""
    section, branch = joint.section, joint.cut.branch
    nodes, weights = np.polynomial.legendre.leggauss(across)
    phi = (np.arange(around) + 0.5) * 2.0 * pi / around
    if section.cylinder is not None:
        inner = np.full(around, section.bore_radius)
        outer = np.full(around, section.cylinder)
    else:
        inner, outer = (outline_radii(loop, phi + branch.turn_rad) for loop in (section.bore, section.outer))
    total = 0.0
    for node, weight in zip(nodes, weights, strict=True):
        r = (outer + inner) / 2.0 + (outer - inner) / 2.0 * node
        t = joint.cut.reach(ParallelLines(branch, r * np.cos(phi), r * np.sin(phi)))[0]
        total += float((weight * (outer - inner) / 2.0 * r * t).sum()) * 2.0 * pi / around
    return total


def tee(theta, section, offset=0.0, rail=RAIL):
    a = radians(theta)
    far = (500.0 * cos(a), offset, 500.0 * sin(a))
    return [
        straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), rail),
        straight("RUNG", (0.0, offset, 0.0), far, section),
    ]


def coped(tubes, job=None, gap=0.0):
    """(tube, its joints, its coped solid) of every tube that is cut."""
    joints, _ = find_joints(tubes, job, gap=gap)
    by_tube = joints_of(joints)
    return [(t, by_tube[t.name], coped_solid(t, t.section, by_tube[t.name])) for t in tubes if t.name in by_tube]


def agrees(tube, joints, solid, rel=1e-6):
    whole = volume(tube_solid(tube.run, tube.section))
    predicted = sum(taken_off(joint) for joint in joints)
    assert is_valid(solid)
    assert whole - volume(solid) == pytest.approx(predicted, abs=rel * whole)
