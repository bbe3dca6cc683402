"""Ends on bends of square and rectangular tube that reach past them: curve, solid and the kernel's tubes agree."""

from __future__ import annotations

from math import cos, radians, sin
from pathlib import Path

import numpy as np
import pytest
from coped_solids import taken_off
from copes import straight
from frames import RUNG
from scipy.optimize import minimize_scalar
from tubes import run_of, tube_of

from converter import Settings, open_job
from converter.exporters.solids.coped import ends
from converter.exporters.solids.coped.behind_bends import strips
from converter.exporters.solids.coped.ends import coped_solid, removed_volume
from converter.joints.cuts.saddle import angles
from converter.joints.finding.joints import survey_frame
from converter.kernel.fit_up import shared
from converter.kernel.shapes.solids import is_valid, tube_solid, volume
from converter.model.section import Section

SQUARE = Section("square", 40.0, 3.0, corner=6.0)
OBLONG = Section("rectangular", 60.0, 3.0, height=40.0, corner=6.0)
#: Section of both, rotation between the two bends of the mate, degrees that the end leans out of the second one's
#: normal and in its plane from outward to ahead, mm off its middle.
CASES = {
    "turned": (SQUARE, 33.0, (10.0, 40.0), 14.0),
    "aside": (SQUARE, 0.0, (8.0, 150.0), 12.0),
    "in the plane": (SQUARE, 0.0, (90.0, 20.0), 14.0),
    "askew": (SQUARE, 0.0, (60.0, 30.0), 12.0),
    "oblong": (OBLONG, 90.0, (25.0, 0.0), 12.0),
    "round": (RUNG, 20.0, (80.0, 10.0), 10.0),
}


def frame(name):
    """The mate, the tube that ends on it, and the joint."""
    section, rotation, (lean, turn), off = CASES[name]
    mate = section if section is not RUNG else SQUARE
    bent = tube_of(run_of([(250.0, 0.0, 40.0, 150.0), (150.0, rotation, 60.0, 150.0)], 250.0, name="BENT"), mate)
    arc = bent.run.centerline[3]
    foot, normal = np.array(arc.point(30.0)), np.array(arc.normal)
    outward = (foot - np.array(arc.center)) / arc.radius
    flat = cos(radians(turn)) * outward + sin(radians(turn)) * np.cross(normal, outward)
    way = cos(radians(lean)) * normal + sin(radians(lean)) * flat
    across = np.cross(way, np.cross(normal, outward))
    begin = foot + off * across / np.linalg.norm(across)
    spoke = straight("SPOKE", tuple(begin.tolist()), tuple((begin + 300.0 * way).tolist()), section)
    [joint] = [joint for joint in survey_frame([bent, spoke]).joints if joint.tube == "SPOKE"]
    return bent, spoke, joint


@pytest.mark.parametrize("name", CASES)
def test_lines_beside_such_a_bend_stop_level_with_its_centerline(name):
    """Where they come nearest to it, by a search of its own: not to the outside, a corner of which may be nearest."""
    bent, _, joint = frame(name)
    arc, branch = bent.run.centerline[3], joint.cut.branch
    lines = branch.lines(angles(2.0))
    t, met = joint.cut.reach(lines)
    assert not met.all()
    start = np.asarray(branch.point) + lines.p[:, None] * np.asarray(branch.zero) + lines.q[:, None] * branch.side
    normal, center = np.asarray(arc.normal), np.asarray(arc.center)
    for begin, length in zip(start[~met], t[~met], strict=True):

        def away(back, begin=begin):
            w = begin - back * np.asarray(branch.direction) - center
            up = w @ normal
            return np.hypot(np.linalg.norm(w - up * normal) - arc.radius, up)

        nearest = minimize_scalar(
            away, bounds=(length - 15.0, length + 15.0), method="bounded", options={"xatol": 1e-9}
        )
        assert length == pytest.approx(nearest.x, abs=1e-4)


@pytest.mark.parametrize("name", CASES)
def test_the_solid_is_cut_where_the_curve_says(name):
    """The kernel's volume against our integral of the curve; and the mate's outside holds none of what is left."""
    bent, spoke, joint = frame(name)
    assert not joint.cut.reach(joint.cut.branch.lines(angles(2.0)))[1].all()
    solid = coped_solid(spoke, spoke.section, [joint])
    whole = spoke.section.area * spoke.run.table.developed_length
    assert is_valid(solid)
    assert volume(solid) == pytest.approx(whole - removed_volume(joint), rel=2e-6)
    mate = bent.section
    filled = Section("flat-bar", mate.od, min(mate.od, mate.height) / 2.0, height=mate.height, corner=mate.corner)
    assert shared(solid, tube_solid(bent.run, filled))[0] < 1e-2


def test_a_step_of_the_cut_that_runs_along_the_wall_is_counted_whole():
    """Between two of a few places across the wall it would be 3.5 mm3 off: evenly over many more, by another sum."""
    drawing = Path(__file__).resolve().parents[3] / "fixtures" / "step" / "solid-freecad-cope-bend.step"
    (joint,) = open_job(str(drawing), Settings(sections=("2x2x0.120in",))).joints
    assert removed_volume(joint) == pytest.approx(taken_off(joint, 24, 5760), abs=0.2)


@pytest.mark.parametrize("wrong", [(), (3.0,), (3.0, 2.3), (3.0, 2.3, 4.1)])
def test_strips_with_which_the_kernel_goes_wrong_are_made_with_other_steps(wrong, monkeypatch):
    """What comes of a strip that is lost is seen by the volume that is left, against the integral over the wall."""
    _, spoke, joint = frame("turned")
    tried: list[float] = []

    def lost(*given, **named):
        step = named.get("step", given[4] if len(given) > 4 else ends.STEP)
        tried.append(step)
        return [] if step in wrong else strips(*given, **named)

    monkeypatch.setattr(ends, "strips", lost)
    wanted = spoke.section.area * 300.0 - removed_volume(joint)
    off = abs(volume(coped_solid(spoke, spoke.section, [joint])) / wanted - 1.0)
    if len(wrong) < 3:
        assert off < 1e-5
    else:
        assert off > 1e-4  # nothing is left to try
    assert list(dict.fromkeys(tried)) == [3.0, 2.3, 4.1][: len(wrong) + 1]
