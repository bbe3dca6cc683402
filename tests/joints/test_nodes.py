"""Which ends share a node: corners of mitred rails with a post, a brace or a T drawn a bit high, low or aside."""

from __future__ import annotations

import numpy as np
import pytest
from copes import straight
from frames import RAIL, RUNG
from jobs import job_of

from converter.exporters.solids.fit_up.measure import fit_up
from converter.joints.finding.joints import survey_frame
from converter.joints.in_the_way.clashes import find_clashes
from converter.model.section import Section
from converter.shop.job_file import job_from_text
from converter.tolerances import DEFAULT

R1 = straight("R1", (0.0, 0.0, 0.0), (500.0, 0.0, 0.0), RAIL)
R2 = straight("R2", (0.0, 0.0, 0.0), (0.0, 500.0, 0.0), RAIL)
CARRIES = RAIL.od / 2.0  # a post that runs on by as much carries the whole rail


def cuts(*tubes):
    found = survey_frame(tubes)
    return {f"{j.tube}-{j.end}": (j.kind, set(j.mates)) for j in found.joints}, found


def said(found):
    return {f.code for f in found.findings} - {"joint-drawn"}


MITRED = {"R1-A": ("mitre", {"R2"}), "R2-A": ("mitre", {"R1"})}


def post(z, section=RAIL):
    return straight("POST", (0.0, 0.0, z), (0.0, 0.0, 600.0), section)


@pytest.mark.parametrize("z", [-19.0, -15.0, -5.0, -1.0, 0.0, 1.0, 5.0, 15.0, CARRIES, 24.0])
@pytest.mark.parametrize("section", [RAIL, RUNG])
def test_a_post_that_ends_in_the_corner_leaves_the_mitre_alone(z, section):
    if section is RUNG and z < -15.0:
        z = -15.0  # the smaller post reaches less far
    made, found = cuts(R1, R2, post(z, section))
    assert made == {**MITRED, "POST-A": ("saddle", {"R1", "R2"})}
    assert said(found) == set()
    assert find_clashes(found, DEFAULT) == []


@pytest.mark.parametrize("z", [-CARRIES, -30.0, -100.0])
def test_a_post_that_runs_on_past_the_corner_carries_the_rails(z):
    made, found = cuts(R1, R2, post(z))
    assert made == {"R1-A": ("saddle", {"POST"}), "R2-A": ("saddle", {"POST", "R1"})}
    assert said(found) == set()


def test_a_post_too_high_to_touch_is_said_and_the_corner_stays():
    made, found = cuts(R1, R2, post(30.0))
    assert made == MITRED
    assert said(found) == {"joint-missed"}


@pytest.mark.parametrize("z", [0.0, 1.0, 5.0, 10.0, 15.0, 20.0, 22.0, 30.0, 60.0])
@pytest.mark.parametrize("way", [(400.0, 400.0, 0.0), (400.0, 0.0, 400.0), (300.0, 300.0, 300.0)])
def test_a_brace_that_lands_some_way_up_the_post_leaves_the_mitre_alone(z, way):
    brace = straight("BRACE", (0.0, 0.0, z), (way[0], way[1], z + way[2]), RUNG)
    made, found = cuts(R1, R2, post(0.0), brace)
    assert {key: made[key] for key in MITRED} == MITRED
    assert made["POST-A"] == ("saddle", {"R1", "R2"})
    kind, mates = made["BRACE-A"]
    assert kind == "saddle"
    assert "POST" in mates
    assert said(found) == set()
    assert find_clashes(found, DEFAULT) == []


@pytest.mark.parametrize("x", [0.0, 1.0, 5.0, 10.0, 15.0, 20.0, 30.0, 60.0])
@pytest.mark.parametrize("way", [(0.0, -400.0, 0.0), (0.0, 0.0, 400.0)])
def test_a_t_on_a_mitre(x, way):
    made, found = cuts(R1, R2, straight("T", (x, 0.0, 0.0), (x + way[0], way[1], way[2]), RUNG))
    assert {key: made[key] for key in MITRED} == MITRED
    kind, mates = made["T-A"]
    assert kind == "saddle"
    assert "R1" in mates
    assert said(found) == set()
    assert find_clashes(found, DEFAULT) == []


def test_three_way_corners():
    """Three equal ends: two mitred, the third cut to both; drawn a few mm apart it is the same corner."""
    for shift in (0.0, 1.5, 8.0):
        made, found = cuts(R1, R2, straight("R3", (0.0, 0.0, shift), (0.0, 0.0, 500.0), RAIL))
        assert made == {**MITRED, "R3-A": ("saddle", {"R1", "R2"})}
        assert find_clashes(found, DEFAULT) == []
    box = Section("square", 40.0, 3.0, corner=6.0)
    tubes = [straight(t.name, t.run.placement.start, t.run.end, box) for t in (R1, R2)]
    made, found = cuts(*tubes, straight("R3", (0.0, 0.0, 8.0), (0.0, 0.0, 500.0), box))
    assert made == {**MITRED, "R3-A": ("square", {"R1", "R2"})}  # on the flats of both, which are flush
    assert find_clashes(found, DEFAULT) == []


def test_a_diagonal_that_lands_beside_the_corner_does_not_take_part_in_it():
    """It lands at 30 degrees 60 mm from the corner: near enough to reach the post, too far to be part of the mitre."""
    brace = straight("BRACE", (60.0, 0.0, 0.0), (60.0 + 400.0 * 3.0**0.5 / 2.0, 0.0, 200.0), RAIL)
    made, _ = cuts(R1, straight("POST", (0.0, 0.0, 0.0), (0.0, 0.0, 500.0), RAIL), brace)
    assert made["R1-A"] == ("mitre", {"POST"})
    assert made["POST-A"] == ("mitre", {"R1"})
    assert made["BRACE-A"] == ("saddle", {"R1"})


def test_a_corner_drawn_a_bit_long_is_still_a_corner():
    made, _ = cuts(R1, straight("R2", (0.0, -10.0, 0.0), (0.0, 500.0, 0.0), RAIL))
    assert made == MITRED
    made, _ = cuts(R1, straight("R2", (0.0, -CARRIES, 0.0), (0.0, 500.0, 0.0), RAIL))
    assert made == {"R1-A": ("saddle", {"R2"})}


def test_who_runs_into_nobody_is_cut_to_and_not_cut():
    """The larger one's axis runs into the smaller, not the other way round: they are parted all the same."""
    one = straight("ONE", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG)
    two = straight("TWO", (-2.0, 0.0, 5.0), (300.0, 0.0, 60.0), RAIL)
    made, found = cuts(one, two)
    assert len(made) == 1
    assert find_clashes(found, DEFAULT) == []


@pytest.mark.slow
@pytest.mark.parametrize("z", [-15.0, 0.0, 15.0])
def test_corners_fit_as_solids(z):
    """Post and brace in the corner of two mitred rails: the kernel finds no shared metal and no gap."""
    brace = straight("BRACE", (0.0, 0.0, max(z, 0.0)), (300.0, 300.0, max(z, 0.0) + 300.0), RUNG)
    job = job_of((R1, R2, post(z), brace), "corner.dxf")
    found = fit_up(job)
    assert len(found.joints) == 4
    assert max(fit.overlap for fit in found.joints) < 1e-3
    assert max(fit.gap for fit in found.joints) < 1e-6
    assert max(fit.widest for fit in found.joints if fit.widest is not None) < 0.05
    assert found.clashes == ()
    assert np.isfinite([fit.gap for fit in found.joints]).all()


@pytest.mark.parametrize(("one", "two"), [(2.0, 0.0), (2.0, 2.0), (-2.0, 0.0), (0.0, -1.5)])
def test_mitred_ends_drawn_short_or_long_are_cut_to_fit_and_each_is_said(one, two):
    """Both planes stay at 45 degrees through the corner: long and short points move by what is missing, by hand."""
    tubes = (
        straight("R1", (one, 0.0, 0.0), (500.0, 0.0, 0.0), RAIL),
        straight("R2", (0.0, two, 0.0), (0.0, 500.0, 0.0), RAIL),
    )
    made, found = cuts(*tubes)
    assert made == MITRED
    for joint, off in zip(found.joints, (one, two), strict=True):
        assert (joint.long_point, joint.short_point) == pytest.approx((-CARRIES - off, CARRIES - off))
    drawn = {f.tube: f.message for f in found.findings if f.code == "joint-drawn"}
    assert set(drawn) == {name for name, off in (("R1", one), ("R2", two)) if off}
    for name, off in (("R1", one), ("R2", two)):
        if off:
            how = "short of" if off > 0.0 else "past"
            assert f"{abs(off):.2f} mm {how} the centerline of {'R2' if name == 'R1' else 'R1'}" in drawn[name]


def test_a_saying_of_both_ends_is_met_by_one_of_them():
    """The brace lands on the rail with end A; that end B meets nothing is no news. Naming end B is."""
    brace = straight("BRACE", (0.0, 0.0, 0.0), (0.0, 300.0, 300.0), RUNG)
    rail = straight("RAIL", (-500.0, 0.0, 0.0), (500.0, 0.0, 0.0), RAIL)

    def codes(end):
        job = job_from_text(f'[[joint]]\ntube = "BRACE"\n{end}cope_to = ["RAIL"]\n')
        return [f.code for f in survey_frame([rail, brace], job).findings]

    assert codes("") == []
    assert codes('end = "A"\n') == []
    assert codes('end = "B"\n') == ["joint-unmatched"]


@pytest.mark.parametrize(("apart", "wanted"), [(6.0, True), (14.0, True), (16.0, False), (60.0, False)])
def test_a_brace_too_near_to_its_neighbour_is_said(apart, wanted):
    """Both stand on one place of the rail, steep enough to it; too flat is the second one's cut to the first."""
    a = np.radians(90.0 - apart)
    rail = straight("RAIL", (-500.0, 0.0, 0.0), (500.0, 0.0, 0.0), RAIL)
    post = straight("POST", (0.0, 0.0, 0.0), (0.0, 0.0, 900.0), RUNG)
    lean = straight("LEAN", (0.0, 0.0, 0.0), (0.0, float(900.0 * np.cos(a)), float(900.0 * np.sin(a))), RUNG)
    made, found = cuts(rail, post, lean)
    assert made["LEAN-A"] == ("saddle", {"RAIL", "POST"})
    shallow = [f for f in found.findings if f.code == "joint-angle"]
    assert [f.measured for f in shallow] == ([pytest.approx(apart)] if wanted else [])
    if wanted:
        assert "LEAN, end A: at (0.00, 0.00, 0.00) mm, it is cut to POST too" in shallow[0].message
