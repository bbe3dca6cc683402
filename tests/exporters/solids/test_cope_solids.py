"""Solids with cut ends: their volume against the profile's integral, validity, fit-up, names, and the full circle."""

from __future__ import annotations

import json
from math import cos, pi, radians, sin

import numpy as np
import pytest
from coped_solids import agrees, coped, taken_off, tee
from copes import find_joints, straight
from frames import RAIL, RUNG, hoop, rack
from jobs import job_of, write_job
from kernel_probe import parts, surfaces
from tubes import run_of, tube_of

from converter.errors import GeometryError
from converter.exporters.solids.coped import ends as exporters_coped
from converter.exporters.solids.coped.ends import coped_solid
from converter.exporters.solids.fit_up.measure import fit_up
from converter.geometry.vectors import distance
from converter.kernel.fit_up import shared
from converter.kernel.shapes.solids import is_valid, tube_solid, volume
from converter.model.bends import Placement
from converter.model.section import Section
from converter.shop.job_file import JobFile, JointChoice

SQUARE = Section("square", 40.0, 3.0, corner=6.0)


@pytest.mark.slow
@pytest.mark.parametrize("section", [RUNG, RAIL], ids=["smaller", "equal"])
@pytest.mark.parametrize(("theta", "offset"), [(90.0, 0.0), (60.0, 3.0), (45.0, 0.0), (30.0, 8.0), (15.0, 0.0)])
def test_volume_taken_off(section, theta, offset):
    """Round on round, also where part of the end passes beside its mate (equal tubes set off, 8 mm off)."""
    [(tube, joints, solid)] = coped(tee(theta, section, offset))
    agrees(tube, joints, solid)


def test_two_equal_bars_at_90_degrees():
    """A bar cut to an equal bar loses half of what two crossing cylinders share, 16 r^3 / 3 (closed form)."""
    bar = Section("bar", 40.0, 20.0)
    [(_, _, solid)] = coped(tee(90.0, bar, rail=bar))
    assert is_valid(solid)
    assert pi * 20.0**2 * 500.0 - volume(solid) == pytest.approx(8.0 * 20.0**3 / 3.0, rel=1e-6)


@pytest.mark.parametrize(
    ("own", "rail"),
    [(RUNG, SQUARE), (Section("square", 30.0, 2.0, corner=5.0), SQUARE), (SQUARE, Section("round", 60.0, 3.0))],
)
@pytest.mark.parametrize("theta", [90.0, 55.0])
def test_square_tube_takes_part(own, rail, theta):
    [(tube, joints, solid)] = coped(tee(theta, own, rail=rail))
    agrees(tube, joints, solid, rel=1e-5)


def test_a_solid_that_is_far_off_its_cuts_is_not_handed_out(monkeypatch):
    """Whatever the kernel's cuts made of it: here the cuts are said to take a fifth of the metal more than they do."""
    right = exporters_coped.removed_volume
    monkeypatch.setattr(exporters_coped, "removed_volume", lambda joint: right(joint) + 0.2 * RUNG.area * 500.0)
    with pytest.raises(GeometryError, match="'RUNG': the CAD kernel makes no sound solid of it with its cuts"):
        coped(tee(90.0, RUNG))
    monkeypatch.setattr(exporters_coped, "removed_volume", lambda joint: right(joint) + 0.02 * RUNG.area * 500.0)
    [(_, _, solid)] = coped(tee(90.0, RUNG))
    assert is_valid(solid)


@pytest.mark.parametrize("theta", [90.0, 72.0, 45.0])
@pytest.mark.parametrize("offset", [3e-4, 2e-3, 0.05])
def test_equal_tubes_a_hair_off_have_no_whisker_left(offset, theta):
    """What passes beside the mate by so little is cut level, too: the solid ends at the long point, or lengths grow."""
    import cadquery as cq

    [(tube, joints, solid)] = coped(tee(theta, RAIL, offset))
    (joint,) = joints
    out, end = np.array(joint.direction), np.array(joint.cut.branch.point)
    ahead = [(np.array(v.toTuple()) - end) @ out for v in cq.Shape.cast(solid).Vertices()]
    assert max(ahead) == pytest.approx(-joint.long_point, abs=1e-3)
    agrees(tube, joints, solid)


def test_on_a_bend():
    """Onto a torus, and onto a bend and the straight before it."""
    x, z = 900.0 - 150.0 * (1.0 - cos(radians(45.0))), 450.0 + 150.0 * sin(radians(45.0))
    tubes = [
        hoop("HOOP", 0.0, 0.0),
        straight("MID", (x, 0.0, z), (x, 300.0, z), RUNG),
        straight("NEAR", (897.0, 0.0, 480.0), (1100.0, 300.0, 500.0), RUNG),
    ]
    for tube, joints, solid in coped(tubes):
        agrees(tube, joints, solid)
        assert "Torus" in surfaces(solid)


def test_several_mates_and_a_mitred_corner():
    corner = [
        straight("A", (0.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL),
        straight("B", (0.0, 0.0, 0.0), (0.0, 300.0, 0.0), RAIL),
        straight("C", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG),
        straight("D", (0.0, 0.0, 60.0), (200.0, 30.0, 280.0), RUNG),
    ]
    found = coped(corner)
    assert sorted(joint.kind for _, joints, _ in found for joint in joints) == ["mitre", "mitre", "saddle", "saddle"]
    for tube, joints, solid in found:
        agrees(tube, joints, solid)


@pytest.mark.slow
def test_mates_that_do_not_cut_all_the_way_through():
    """The template's rule where mates are narrower than the tube: what lies behind a mate goes, and nothing in front.

    Equal tubes that touch along lines (the kernel's boolean goes wrong on the first try), and a turned
    rectangle whose corner lies beyond its axis.
    """
    wide = Section("round", 50.8, 2.41)
    far = (-223.278455, 0.0, 447.377616)
    three = [
        straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), Section("round", 38.1, 1.65)),
        straight("UP", (0.0, 0.0, 0.0), (0.0, 0.0, 500.0), wide),
        straight("BRACE", (0.0, 0.0, 0.0), far, wide),
    ]
    [(_, first, _), (tube, joints, solid)] = coped(three)
    assert first[0].mates == ("RAIL",) and joints[0].mates == ("RAIL", "UP")
    agrees(tube, joints, solid, rel=1e-5)
    flat = Section("rectangular", 31.75, 2.0, height=47.625, corner=4.0)
    foot, end = (0.0, 8.095058, -4.200669), (353.553391, 170.940482, 309.616742)
    turned = [
        straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), flat),
        straight("RUNG", foot, end, Section("square", 44.45, 2.0)),
    ]
    [(tube, joints, solid)] = coped(turned)
    agrees(tube, joints, solid, rel=3e-4)  # the curve jumps: the quadrature has no more


def test_a_plane():
    tube = straight("POST", (0.0, 0.0, 0.0), (100.0, 0.0, 300.0), RUNG)
    choice = JointChoice("POST", "A", kind="plane", point=(0.0, 0.0, 0.0), normal=(0.0, 0.0, 1.0))
    [(post, joints, solid)] = coped([tube], JobFile(source="job.toml", joints=(choice,)))
    agrees(post, joints, solid)
    assert is_valid(solid)


def test_an_end_drawn_short_is_run_on_to_its_mate():
    """Drawn 23 mm off the axis, just short of the mate's outside: metal is added, by the same amount as predicted."""
    tubes = [
        straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL),
        straight("RUNG", (0.0, 0.0, 23.0), (0.0, 0.0, 400.0), RUNG),
    ]
    [(tube, joints, solid)] = coped(tubes)
    assert joints[0].ahead == pytest.approx(23.0)
    agrees(tube, joints, solid)
    assert volume(solid) > volume(tube_solid(tube.run, tube.section))


def test_a_cut_leaves_the_rest_of_a_bent_tube_alone():
    """A U whose far leg runs through the line of the rail that its near leg ends on, beyond the rail's own end."""
    place = Placement((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
    u = tube_of(run_of([(300.0, 0.0, 90.0, 100.0), (400.0, 0.0, 90.0, 100.0)], 500.0, place, name="U"), RUNG)
    rail = straight("RAIL", (-300.0, 0.0, 0.0), (150.0, 0.0, 0.0), RAIL)
    [(tube, joints, solid)] = coped([rail, u])
    assert [joint.end for joint in joints] == ["A"]
    agrees(tube, joints, solid)


def test_nothing_left_is_said():
    from converter.kernel.cuts import cut, prism

    stub = prism((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (5.0, 5.0, 5.0), (0.0, 10.0))
    eats = prism((0.0, 0.0, -20.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (50.0, 50.0, 50.0), (0.0, 40.0))
    with pytest.raises(GeometryError, match=r"'STUB'.*leave nothing"):
        cut(stub, [eats], "STUB")
    with pytest.raises(GeometryError, match=r"'STUB'.*leave nothing"):
        cut(stub, [stub], "STUB", wanted=-1.0)


# --- fit-up ------------------------------------------------------------------------------


def test_both_parts_touch_and_do_not_overlap():
    tubes = [*tee(90.0, RUNG), straight("EQUAL", (300.0, 0.0, 0.0), (300.0, 200.0, 200.0), RAIL)]
    found = fit_up(job_of(tubes))
    assert [one.joint.tube for one in found.joints] == ["RUNG", "EQUAL"]
    for one in found.joints:
        assert one.overlap < 1e-3
        assert one.gap < 1e-6
        assert one.widest < 1e-6
    assert found.clashes == ()


def test_the_measure_bites():
    """Uncut, the rung reaches into the rail: the volume is that of the integral, less what lies in the rail's bore."""
    bar = Section("bar", 60.0, 30.0)
    rail, rung = tee(90.0, RUNG, rail=bar)
    [joint], _ = find_joints([rail, rung])
    both, center = shared(tube_solid(rung.run, RUNG), tube_solid(rail.run, bar))
    assert both == pytest.approx(taken_off(joint), rel=1e-6)
    assert distance(center, (0.0, 0.0, center[2])) < 1e-6 and 0.0 < center[2] < 30.0


def test_a_weld_gap_shows():
    """All along the cut, square to the mate's outside: 0.5 mm."""
    [one] = fit_up(job_of(tee(60.0, RUNG), gap=0.5)).joints
    assert one.overlap == 0.0
    assert one.gap == pytest.approx(0.5, abs=1e-6)
    assert one.widest == pytest.approx(0.5, abs=1e-6)


def test_clashes_are_named_with_their_place():
    """A tube laid through another, neither ending there; one that passes clear is not named."""
    tubes = [
        *tee(90.0, RUNG),
        straight("THROUGH", (200.0, -200.0, 10.0), (200.0, 200.0, 10.0), RUNG),
        straight("CLEAR", (-200.0, -200.0, 60.0), (-200.0, 200.0, 60.0), RUNG),
    ]
    found = fit_up(job_of(tubes))
    [clash] = found.clashes
    assert (clash.tube, clash.other) == ("RAIL", "THROUGH")
    assert clash.volume > 100.0
    assert clash.center[0] == pytest.approx(200.0, abs=1e-3) and abs(clash.center[1]) < 1e-3


def test_the_report_as_a_file(tmp_path):
    [path] = write_job(job_of(tee(90.0, RUNG), "frame.dxf"), tmp_path / "out", ["fit-up"])
    said = json.loads(path.read_text())
    assert path.name == "frame-fit-up.json"
    assert said["schema"] == "elbowroom/fit-up/1" and said["source"] == "frame.dxf" and said["clashes"] == []
    [joint] = said["joints"]
    assert joint["tube"] == "RUNG" and joint["end"] == "A" and joint["mates"] == ["RAIL"]
    assert joint["overlap"] < 1e-3 and joint["gap"] < 1e-6


# --- files -------------------------------------------------------------------------------


def test_one_file_each(tmp_path):
    job = job_of(tee(90.0, RUNG), "frame.dxf")
    paths = write_job(job, tmp_path / "out", ["step-coped"], one_file=False)
    assert [p.name for p in paths] == ["frame-RAIL-coped.step", "frame-RUNG-coped.step"]


@pytest.mark.parametrize("hoops", [2, 5])  # 6 tubes; 21 tubes
def test_full_circle(hoops, tmp_path):
    """A frame as centerlines, its ends cut, as STEP, read back by our own importer: the same runs, the same joints."""
    from converter.job import open_job

    tubes = rack(hoops)
    [path] = write_job(job_of(tubes, "frame.dxf"), tmp_path / "out", ["step-coped"])
    back = open_job(str(path)).tubes
    assert [t.name for t in back] == [t.name for t in tubes]
    for one, two in zip(tubes, back, strict=True):
        assert two.section.od == pytest.approx(one.section.od, abs=1e-6)
        assert two.section.wall == pytest.approx(one.section.wall, abs=1e-6)
        assert two.run.table.developed_length == pytest.approx(one.run.table.developed_length, abs=1e-5)
        assert distance(two.run.start, one.run.start) < 1e-5
        assert distance(two.run.end, one.run.end) < 1e-5
        assert len(two.run.table.bends) == len(one.run.table.bends)
        for a, b in zip(one.run.table.bends, two.run.table.bends, strict=True):
            assert (b.feed, b.rotation, b.angle, b.clr) == pytest.approx((a.feed, a.rotation, a.angle, a.clr), abs=1e-5)
    drawn, read = (find_joints(one)[0] for one in (tubes, back))
    assert [(j.tube, j.end, j.kind, j.mates) for j in read] == [(j.tube, j.end, j.kind, j.mates) for j in drawn]
    for a, b in zip(drawn, read, strict=True):
        assert distance(a.node, b.node) < 1e-5
        assert b.angle == pytest.approx(a.angle, abs=1e-5)
        assert np.abs(np.array(a.profile) - np.array(b.profile)).max() < 1e-4


def test_no_slug_is_left_behind():
    """One solid per tube, though the tube runs on through its mate before the cut."""
    tubes = [
        straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), Section("round", 60.0, 3.0)),
        straight("RUNG", (0.0, 0.0, -25.0), (0.0, 0.0, 400.0), RUNG),
    ]
    [(_, _, solid)] = coped(tubes)
    assert len(parts(solid, "solid")) == 1
    assert is_valid(solid)


@pytest.mark.parametrize("deep", [0.05, 0.5, 5.0])
def test_an_end_cut_too_little_is_measured(deep, monkeypatch):
    """The rung's solid moved into its rail: the fit-up sees the volume, not only that the surfaces no longer touch."""
    from converter.exporters.solids.coped import bodies as module
    from converter.geometry.vectors import along

    tubes = tee(60.0, RUNG)

    def too_long(tube, section, joints, made=None):
        solid = coped_solid(tube, section, joints, made)
        if not joints:
            return solid
        from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
        from OCP.gp import gp_Trsf, gp_Vec

        move = gp_Trsf()
        move.SetTranslation(gp_Vec(*along((0.0, 0.0, 0.0), joints[0].direction, deep)))
        return BRepBuilderAPI_Transform(solid, move).Shape()

    monkeypatch.setattr(module, "coped_solid", too_long)
    [fit] = fit_up(job_of(tubes, "tee.dxf")).joints
    # the wall's ring, deep along the axis, less what the rail's bore takes of it when it goes through
    ring = pi * (RUNG.cylinder**2 - RUNG.bore_radius**2)
    assert 0.2 * ring * min(deep, 2.0) < fit.overlap < 1.01 * ring * deep


def test_formats_of_one_writing_share_the_joints_and_the_cut_solids(monkeypatch, tmp_path):
    """STEP and fit-up of three tubes: each is cut once, the joints are found once; another writing begins anew."""
    from converter.exporters.solids.coped import bodies as module
    from converter.joints import cope

    calls = {"solids": 0, "frames": 0}

    def count(name, function):
        def counted(*given):
            calls[name] += 1
            return function(*given)

        return counted

    monkeypatch.setattr(module, "coped_solid", count("solids", module.coped_solid))
    monkeypatch.setattr(cope, "cope_frame", count("frames", cope.cope_frame))
    tubes = [*tee(90.0, RUNG), straight("POST", (300.0, 0.0, 0.0), (300.0, 0.0, 400.0), RUNG)]
    frame = job_of(tubes, "tee.dxf")
    write_job(frame, tmp_path / "one", ["cope-dxf", "step-coped", "fit-up"])
    assert calls == {"solids": 3, "frames": 1}
    loose = job_of(tubes, "tee.dxf", gap=1.0)
    write_job(loose, tmp_path / "two", ["step-coped", "fit-up"])
    assert calls == {"solids": 6, "frames": 2}
    gaps = [
        json.loads((tmp_path / n / "tee-fit-up.json").read_text())["joints"][0]["widest_gap"] for n in ("one", "two")
    ]
    assert gaps == [pytest.approx(0.0, abs=1e-4), pytest.approx(1.0, abs=1e-3)]
