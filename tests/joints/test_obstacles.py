"""All parts of a cut at once say what each says alone: boxes around bends leave out only lines that never come in."""

from __future__ import annotations

import numpy as np
import pytest
from bent_frames import bent_frame
from heaps import heap
from plain_tubes import landing_frame

from converter.joints.cuts.many import Obstacles, each, first_met
from converter.joints.cuts.saddle import angles
from converter.joints.cuts.torus import BendPart
from converter.joints.finding.joints import survey_frame


@pytest.mark.parametrize("tubes", [heap(30, 5.0), heap(30, 60.0, seed=2), landing_frame(4), bent_frame(3)])
def test_many_parts_at_once_are_the_same_to_the_last_digit(tubes):
    """The parts of all cuts, each asked about every line, nothing left out."""
    joints = survey_frame(tubes).joints
    every = [part for joint in joints for mate in joint.base.mates for part in mate]
    bends = 0
    for joint in joints[::4]:
        branch = joint.base.branch
        near = [part for part in every if abs(np.dot(getattr(part, "axis", (0, 0, 0)), branch.direction)) < 0.999]
        lines = branch.lines(angles(15.0))
        alone = []
        for part in near:
            t, met, _ = part.stops(lines)
            alone.append(np.where(met, t, -np.inf))
            bends += isinstance(part, BendPart) and bool(met.any())
        obstacles = Obstacles(near)
        assert (each([obstacles.at(lines)])[0] == np.array(alone)).all()
        assert (first_met([obstacles.at(lines)])[0] == np.max(alone, axis=0)).all()
    assert bends
