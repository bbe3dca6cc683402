"""What hides behind a leading bend stands before none of an end's metal: told by lines, and seen in the solids."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from copes import find_joints, straight
from frames import RAIL, RUNG, hoop

from converter.exporters.solids.coped import ends as exporters_coped
from converter.exporters.solids.coped.behind_bends import hides
from converter.exporters.solids.coped.ends import coped_solid
from converter.geometry.vectors import unit
from converter.joints.cuts.lines import Branch, ParallelLines
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut, HalfSpace
from converter.joints.cuts.square import RectPrism
from converter.joints.cuts.torus import BendPart
from converter.kernel.shapes.solids import is_valid, volume
from converter.model.section import Section

SQUARE = Section("square", 40.0, 3.0, corner=6.0)
BAR = Section("bar", 24.0, 12.0)
#: On the bend of a hoop, and away from it.
FOOT, OUT = np.array([150.0 - 150.0 * 0.5**0.5, 8.0, 450.0 + 150.0 * 0.5**0.5]), np.array([-0.64, 0.2, 0.94])


def end_on_a_bend(point, way, radius):
    """An end that lands on a hoop's bend and partly passes it, cut to the hoop and to a round bar made up here."""
    tube = straight("T", tuple(FOOT), tuple(FOOT + 400.0 * OUT), RAIL)
    [joint] = [joint for joint in find_joints([hoop("HOOP", 0.0, 0.0), tube])[0] if joint.tube == "T"]
    assert not joint.cut.reach(joint.cut.branch.lines(np.arange(0.0, 360.0)))[1].all()
    bar = RoundPrism(tuple((FOOT + point).tolist()), unit(way), radius)
    return tube, replace(joint, base=Cut(joint.base.branch, (*joint.base.mates, (bar,)))), bar


def anywhere_in_the_wall(branch, count, seed=1):
    rng = np.random.default_rng(seed)
    rad = rng.uniform(0.0, 2.0 * np.pi, count)
    outer, inner = (np.broadcast_to(branch.radii(rad, bore), rad.shape) for bore in (False, True))
    r = inner + rng.uniform(0.0, 1.0, count) * (outer - inner)
    return ParallelLines(branch, r * np.cos(rad), r * np.sin(rad))


@pytest.mark.parametrize("section", [RUNG, BAR, SQUARE, Section("rectangular", 20.0, 1.5, height=80.0, corner=2.0)])
def test_lines_lie_all_over_the_wall(section):
    branch = Branch.at((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), section, up=(1.0, 0.0, 0.0))
    lines, between = branch.wall_lines()
    some = anywhere_in_the_wall(branch, 600)
    near = np.hypot(some.p[:, None] - lines.p, some.q[:, None] - lines.q).min(axis=1)
    assert 0.15 * between < near.max() <= between < 1.5


UP = (0.0, 1.0, 0.0)
PARTS = [
    RoundPrism((1.0, 2.0, 3.0), unit((0.3, 1.0, 0.2)), 20.0, (((4.0, 12.0, 5.0), unit((0.3, 1.0, 0.2))),)),
    RectPrism(
        (1.0, 2.0, 3.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), 20.0, 12.0, 3.0, (((0.0, 9.0, 0.0), (0.0, 1.0, 0.0)),)
    ),
    RectPrism((1.0, 2.0, 3.0), UP, (1.0, 0.0, 0.0), 20.0, 12.0, 0.0),
    BendPart((60.0, 0.0, 0.0), (0.0, 0.0, 1.0), (20.0, 0.0, 0.0), 40.0, 50.0, 15.0, 15.0, 15.0, 0.0, (-90.0, 90.0)),
    BendPart((60.0, 0.0, 0.0), (0.0, 0.0, 1.0), (20.0, 0.0, 0.0), 40.0, 50.0, 15.0, 9.0, 2.0, 30.0, (-90.0, 90.0)),
    HalfSpace((1.0, 2.0, 3.0), unit((0.3, 1.0, 0.2))),
]


@pytest.mark.parametrize("part", PARTS, ids=lambda part: type(part).__name__)
@pytest.mark.parametrize("by", [0.3, 2.5])
def test_a_grown_part_holds_all_that_is_near_it_and_a_shrunk_one_lies_deep_in_it(part, by):
    rng = np.random.default_rng(4)
    branch = Branch.at((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), RUNG)
    count = 40000
    p, q, t = rng.uniform(-30.0, 40.0, (3, count))
    moved = rng.normal(size=(3, count))
    moved *= by / np.linalg.norm(moved, axis=0)

    def held(by_part, p, q, t):
        return by_part.holds(ParallelLines(branch, p, q), t)

    for inner, outer in ((part, part.grown(by + 1e-5)), (part.grown(-by - 1e-5), part)):
        inside = held(inner, p, q, t)
        assert inside.sum() > 100
        assert held(outer, p + moved[0], q + moved[1], t + moved[2])[inside].all()


def test_no_line_between_the_lines_is_another_one():
    """Bars moved out of a bend's shadow step by step: wherever it is said to hide one, it does so for any line."""
    said = []
    for aside in np.arange(-60.0, 61.0, 3.0).tolist():
        _, joint, bar = end_on_a_bend(np.array([0.0, aside, 0.0]), (0.8, 0.1, 0.6), 9.0)
        (lead, *_), branch = joint.cut.mates[0], joint.cut.branch
        some = anywhere_in_the_wall(branch, 20000)
        hit, seen = (part.stops(some)[1] for part in (bar, lead))
        said.append(hides(lead, [bar], branch))
        assert not said[-1] or not (hit & ~seen).any()
        assert said[-1] or (bar.grown(3.0).stops(some)[1] & ~lead.grown(-3.0).stops(some)[1]).any()
    assert 5 < sum(said) < len(said) - 5


@pytest.mark.parametrize("deep", [0.0, 14.0])
def test_the_solid_is_the_same_without_what_hides(deep, monkeypatch):
    """A bar within the shadow of the bend, behind it or reaching out in front: the kernel's cuts with and without."""
    tube, joint, bar = end_on_a_bend(np.array([0.0, -12.0, 0.0]) + deep * OUT, (0.8, 0.1, 0.6), 9.0)
    assert hides(joint.cut.mates[0][0], [bar], joint.cut.branch)
    short = coped_solid(tube, RAIL, [joint])
    monkeypatch.setattr(exporters_coped, "hides", lambda *given: False)
    full = coped_solid(tube, RAIL, [joint])
    assert is_valid(short)
    assert volume(short) == pytest.approx(volume(full), rel=1e-9)
