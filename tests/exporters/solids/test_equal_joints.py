"""Equal joints of a frame are measured once, and each is told what the kernel says of itself alone."""

from __future__ import annotations

from dataclasses import replace

import pytest
from copes import straight
from frames import RAIL, RUNG, rack
from jobs import job_of
from plain_tubes import thrown

from converter.exporters.solids.bodies import all_bodies
from converter.exporters.solids.coped.bodies import coped_bodies
from converter.exporters.solids.fit_up import measure as module
from converter.exporters.solids.fit_up.measure import LEAST_CLASH, fit_up
from converter.kernel.fit_up import clashes
from converter.model.section import Section

POST, PICKET = Section("square", 50.0, 3.0, corner=4.0), Section("square", 20.0, 1.5, corner=2.0)


def gate(count: int, post: Section, picket: Section, lean: float = 0.0):
    """Pickets between two rails, 120 mm apart."""
    end = 120.0 * (count + 2)
    rails = [straight(name, (0.0, 0.0, z), (end, 0.0, z), post) for name, z in (("LOW", 0.0), ("HIGH", 600.0))]
    feet = [120.0 * (i + 1) for i in range(count)]
    return rails + [straight(f"P{i}", (x, 0.0, 0.0), (x + lean, 0.0, 600.0), picket) for i, x in enumerate(feet)]


def measured(job, monkeypatch, *, one_by_one: bool):
    """The fit-up, and how many joints the kernel measured."""
    real, asked = module._fit, []
    with monkeypatch.context() as patch:
        patch.setattr(module, "_fit", lambda *given: asked.append(given) or real(*given))
        if one_by_one:
            patch.setattr(module, "joint_look", lambda *given: None)
        return fit_up(job), len(asked)


@pytest.mark.parametrize(
    ("tubes", "gap", "most"),
    [
        (gate(5, POST, PICKET), 0.0, 2),
        (gate(5, RAIL, RUNG, lean=60.0), 0.4, 2),
        (rack(4), 0.0, 16),
    ],
    ids=["square", "round", "rack"],
)
def test_each_fits_as_measured_alone(tubes, gap, most, monkeypatch):
    """To 1e-9 mm and mm3 what the kernel measures at each joint."""
    job = job_of(tubes, gap=gap)
    together, count = measured(job, monkeypatch, one_by_one=False)
    alone, every = measured(job, monkeypatch, one_by_one=True)
    assert count <= most < every == len(together.joints)
    assert together.clashes == alone.clashes
    for one, other in zip(together.joints, alone.joints, strict=True):
        assert one.joint is other.joint
        assert one.overlap == pytest.approx(other.overlap, abs=1e-9)
        assert one.gap == pytest.approx(other.gap, abs=1e-9)
        assert (one.widest is None) == (other.widest is None)
        if one.widest is not None:
            assert one.widest == pytest.approx(other.widest, abs=1e-9)


def test_what_is_not_equal_is_measured_itself(monkeypatch):
    """One picket of another section, one that leans, and one near the end of its rails."""
    tubes = gate(6, RAIL, RUNG)
    tubes[3] = replace(tubes[3], section=Section("round", 38.1, 3.0))
    tubes[4] = straight("LEANS", (360.0, 0.0, 0.0), (380.0, 0.0, 600.0), RUNG)
    tubes[7] = straight("LAST", (935.0, 0.0, 0.0), (935.0, 0.0, 600.0), RUNG)
    job = job_of(tubes, gap=0.5)
    together, count = measured(job, monkeypatch, one_by_one=False)
    alone, _ = measured(job, monkeypatch, one_by_one=True)
    assert count >= 2 + 3 * 2 - 2
    for one, other in zip(together.joints, alone.joints, strict=True):
        assert (one.overlap, one.gap) == pytest.approx((other.overlap, other.gap), abs=1e-9)


@pytest.mark.parametrize("seed", [1, 5])
def test_centerlines_that_stay_apart_share_no_metal(seed):
    """Against the kernel's common volumes of all pairs."""
    job = job_of(thrown(seed, 4))
    found = all_bodies(job)
    solids = [solid for _, solid in coped_bodies(job)]
    apart = module._apart(job, found)
    every = clashes(solids, set(), LEAST_CLASH, lambda one, other: False)
    assert every and clashes(solids, set(), LEAST_CLASH, apart) == every
