"""Copes led by a bend among several mates: the curve against distances worked by hand, the solid against the curve."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
import pytest
from coped_solids import taken_off
from copes import straight
from frames import RAIL, hoop
from tubes import run_of, tube_of

from converter.exporters.solids.coped.behind_bends import seen_aside, strips
from converter.exporters.solids.coped.ends import _reached, coped_solid, cutters, removed_volume, run_on
from converter.geometry.vectors import scale, sub, unit
from converter.joints.cuts.saddle import angles
from converter.joints.finding.joints import survey_frame
from converter.kernel.cuts import cut
from converter.kernel.shapes.solids import is_valid, tube_solid, volume
from converter.model.section import Section

# a tube that ends on the hoop's bend, where a second tube of that diameter passes; in mm
CASES = {
    "steep": (38.1, (-104.1, -48.7, 681.4), (145.5, 46.3, 378.2), (22.5, 0.0, 529.0), (-351.6, 89.6, 638.7)),
    "low": (30.0, (-142.2, -68.8, 598.9), (181.0, 73.4, 426.9), (16.8, 0.0, 514.5), (-276.7, -254.3, 610.2)),
    "side": (30.0, (140.5, -177.8, 593.7), (-21.5, 185.8, 534.1), (56.5, 4.7, 567.3), (51.3, -58.5, 962.2)),
    "beside": (30.0, (-180.4, -73.0, 493.7), (203.1, 58.3, 547.2), (15.0, -4.0, 520.1), (146.7, -329.9, 711.1)),
}


def frame(name):
    od, a, b, c, d = CASES[name]
    tubes = [hoop("HOOP", 0.0, 0.0), straight("CROSS", a, b, Section("round", od, 2.0)), straight("T", c, d, RAIL)]
    [joint] = [j for j in survey_frame(tubes).joints if j.tube == "T"]
    assert joint.mates == ("HOOP", "CROSS")
    return tubes, joint


def off_hoop(p):
    """Distance of points (n, 3) from the outside of the hoop's first leg, bend and top."""
    x, y, z = p.T
    leg = np.hypot(x, y) + np.maximum(z - 450.0, 0.0)
    top = np.hypot(y, z - 600.0) + np.maximum(150.0 - x, 0.0)
    u = np.hypot(x - 150.0, z - 450.0) - 150.0
    bend = np.where((x <= 150.0) & (z >= 450.0), np.hypot(u, y), np.inf)
    return np.minimum(np.minimum(leg, top), bend) - RAIL.od / 2.0


def off_cross(p, od, a, b):
    way = (np.array(b) - a) / np.linalg.norm(np.array(b) - a)
    return np.linalg.norm(np.cross(p - np.array(a), way), axis=1) - od / 2.0


@pytest.mark.parametrize("name", CASES)
def test_every_line_stops_where_it_first_meets_one_of_them(name):
    """On the nearer outside of both at the cut, and outside of both on the whole way there."""
    od, a, b, *_ = CASES[name]
    _, joint = frame(name)
    branch = joint.cut.branch
    phi = radians(1.0) * np.arange(360.0)
    lines = branch.lines(np.degrees(phi))
    t, met = joint.cut.reach(lines)
    start = np.asarray(branch.point) + lines.p[:, None] * np.asarray(branch.zero) + lines.q[:, None] * branch.side

    def off(back):
        p = start - back[:, None] * np.asarray(branch.direction)
        return np.minimum(off_hoop(p), off_cross(p, od, a, b))

    assert np.count_nonzero(met) > 300
    assert np.abs(off(t)[met]).max() < 1e-6
    for more in np.linspace(0.2, 200.0, 400):
        assert off(t + more)[met].min() > 0.0


@pytest.mark.parametrize(
    "name", ["steep", pytest.param("low", marks=pytest.mark.slow), pytest.param("side", marks=pytest.mark.slow)]
)
def test_the_solid_is_cut_by_that_curve(name):
    """What lies behind the bend goes too, though the boolean with both mates would leave it hanging on."""
    tubes, joint = frame(name)
    tube = tubes[2]
    solid = coped_solid(tube, tube.section, [joint])
    whole = volume(tube_solid(tube.run, tube.section))
    wanted = whole - taken_off(joint)
    assert is_valid(solid)
    assert volume(solid) == pytest.approx(wanted, abs=1e-5 * whole)
    run, more = run_on(tube.run, [joint])
    plain, _ = cut(tube_solid(run, tube.section), cutters(joint, more["A"], behind_bends=False))
    assert abs(volume(plain) - wanted) > 4e-5 * whole


@pytest.mark.slow
def test_beside_a_bend_the_solid_is_cut_level_along_it():
    """Lines that pass beside the bend jump there, so that the quadrature is good to a few 1e-5 only."""
    tubes, joint = frame("beside")
    whole = volume(tube_solid(tubes[2].run, RAIL))
    assert volume(coped_solid(tubes[2], RAIL, [joint])) == pytest.approx(whole - taken_off(joint), abs=1e-4 * whole)


def beside_a_bend(lean):
    """A tube that leans out of a bend's plane by so many degrees and reaches past its side; its only joint."""
    bent = tube_of(run_of([(200.0, 0.0, 90.0, 140.0)], 200.0, name="BENT"), Section("round", 48.3, 2.6))
    arc = bent.run.centerline[1]
    foot, normal = np.array(arc.point(40.0)), np.array(arc.normal)
    outward = (foot - np.array(arc.center)) / arc.radius
    sideways = cos(radians(60.0)) * np.cross(normal, outward) + sin(radians(60.0)) * normal
    begin = foot + 18.0 * normal
    end = begin + 300.0 * (cos(radians(lean)) * outward + sin(radians(lean)) * sideways)
    spoke = straight("SPOKE", tuple(begin.tolist()), tuple(end.tolist()), Section("round", 42.4, 2.6))
    (joint,) = survey_frame([bent, spoke]).joints
    assert not joint.cut.reach(joint.cut.branch.lines(angles(5.0)))[1].all()
    return spoke, joint


@pytest.mark.parametrize("lean", [40.0, 55.0])
def test_lines_beside_a_bend_stop_in_the_solid_where_the_curve_says(lean):
    """A tube that leans out of a bend's plane and reaches past its side: the strip at their level is that surface.

    The volume of the solid is the kernel's, what the joint takes off our integral of the curve; splines at unequal
    steps of their parameters had 18 and 32 mm3 between them.
    """
    spoke, joint = beside_a_bend(lean)
    left = spoke.section.area * spoke.run.table.developed_length - removed_volume(joint)
    assert volume(coped_solid(spoke, spoke.section, [joint])) == pytest.approx(left, rel=1e-6)


def test_what_the_strip_beside_a_bend_takes_off_is_not_taken_off_again():
    """With the bend's own shadow, which lies within it, the solid is the same to what the kernel rounds."""
    spoke, joint = beside_a_bend(40.0)
    run, more = run_on(spoke.run, [joint])
    solid = tube_solid(run, spoke.section)
    tools = cutters(joint, more["A"])
    (bend,) = joint.cut.mates[0]
    shadow = strips(bend, joint.direction, _reached(joint, more["A"])[0])
    assert seen_aside(bend, joint.direction) and len(tools) == 2 and len(shadow) == 1
    without, with_it = (cut(solid, some)[1] for some in (tools, [*tools, *shadow]))
    assert without == pytest.approx(with_it, rel=1e-8)
    assert not seen_aside(bend, unit(sub(bend.axes[1], scale(bend.axes[0], 0.5))))
