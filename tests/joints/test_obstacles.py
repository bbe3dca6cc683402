"""All parts of a cut at once say what each says alone: boxes around bends leave out only lines that never come in."""

from __future__ import annotations

import numpy as np
import pytest
from bent_frames import bent_frame
from heaps import heap
from plain_tubes import landing_frame

from converter.joints.cuts.many import EachLine, ManyParts, Obstacles, each, first_met
from converter.joints.cuts.round import RoundPrism
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


FRAMES = [heap(30, 5.0), landing_frame(4), bent_frame(3)]


@pytest.mark.parametrize("tubes", FRAMES)
def test_many_cuts_at_once_say_what_each_says_alone(tubes):
    """All cuts of a frame together, each with its own lines, as many or few as it likes."""
    cuts = [joint.base for joint in survey_frame(tubes).joints]
    asked = [(Obstacles([part for mate in cut.mates for part in mate]), cut) for cut in cuts]
    lines = [cut.branch.lines(angles(3.0 * (1 + n % 4))) for n, (_, cut) in enumerate(asked)]
    for together in (each, first_met):
        found = together([one.at(some) for (one, _), some in zip(asked, lines, strict=True)])
        alone = [together([one.at(some)])[0] for (one, _), some in zip(asked, lines, strict=True)]
        assert all((a == b).all() for a, b in zip(found, alone, strict=True))
    assert any(isinstance(part, BendPart) for cut in cuts for mate in cut.mates for part in mate)


@pytest.mark.parametrize("tubes", FRAMES)
def test_lines_in_pairs_with_cylinders_are_told_the_same_to_the_last_digit(tubes):
    """The axis of every end with every straight round part: where it enters, and whether a place lies inside."""
    joints = survey_frame(tubes).joints
    parts = [p for joint in joints for mate in joint.base.mates for p in mate if isinstance(p, RoundPrism)][::3]
    branches = [joint.base.branch for joint in joints]
    row, part = (one.ravel() for one in np.meshgrid(np.arange(len(branches)), np.arange(len(parts)), indexing="ij"))
    lines, many = EachLine.axes_of([branches[i] for i in row]), ManyParts(parts)
    window = np.full(len(row), -1e3), np.full(len(row), 1e3)
    found, left = many.stops(lines, part, *window)
    at = np.where(np.isfinite(found), found, 0.0) - 1e-2
    held, none_left = many.hold(lines, part, at)
    told = [k for k in range(len(row)) if k not in set(left.tolist())]
    assert not len(none_left) and len(told) > 20
    for k in told:
        t, met, _ = parts[part[k]].stops(branches[row[k]].axis())
        assert found[k] == (t[0] if met[0] else -np.inf)
        assert held[k] == parts[part[k]].holds(branches[row[k]].axis(), at[k : k + 1])[0]
    assert 0 < np.isfinite(found).sum() < len(found) and held.any()
