"""Ends that are cut to their own tube: the end alone loses metal, and the tube is one sound solid where it closes."""

from __future__ import annotations

import json
from math import cos, radians, sin, sqrt

import ezdxf
import numpy as np
import pytest
from coped_solids import agrees
from copes import find_joints, lengths_of, straight
from frames import RAIL, RUNG
from jobs import job_of
from kernel_probe import parts
from tubes import run_of, tube_of

from converter import open_job
from converter.cli.main import main
from converter.errors import GeometryError
from converter.exporters.solids.coped import ends as exporters_coped
from converter.exporters.solids.coped.ends import coped_solid, own_end
from converter.exporters.solids.fit_up.measure import fit_up
from converter.geometry.vectors import cross, dot, sub
from converter.kernel.shapes.solids import is_valid, tube_solid, volume
from converter.model.bends import Placement
from converter.model.section import Section

SQUARE = Section("square", 40.0, 3.0, corner=6.0)
BAR = Section("bar", 30.0, 15.0)
ALONG_X = Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
EYE = [(600.0, 0.0, 300.0, 100.0)]
LOOP = [(400.0, 0.0, 90.0, 100.0), (100.0, 0.0, 90.0, 100.0), (100.0, 0.0, 90.0, 100.0)]
FRAME = [(460.0, 0.0, 90.0, 60.0), (300.0, 0.0, 90.0, 60.0), (400.0, 0.0, 90.0, 60.0)]
SHARP = [(400.0, 0.0, 90.0, None), (300.0, 0.0, 90.0, None), (300.0, 0.0, 90.0, None)]


def closes(bends, section):
    """A tube that leaves along x, bends about z, and ends where its last straight comes nearest to the x axis."""
    begun = run_of(bends, 1.0, ALONG_X).centerline[-1]
    tail = -begun.start[1] / begun.direction[1]
    return tube_of(run_of(bends, tail, ALONG_X, name="LOOP"), section)


def both_ways(section):
    """An eye at each end of a straight, both closing onto it."""
    return tube_of(run_of([(90.0, 0.0, 270.0, 90.0), (800.0, 180.0, 270.0, 90.0)], 90.0, ALONG_X, name="LOOP"), section)


def meets_itself(solid):
    """Whether the kernel's check for faces that cross or cover one another finds any; it doubts bends of a plain tube,
    so of those nothing follows."""
    from OCP.BOPAlgo import BOPAlgo_ArgumentAnalyzer

    look = BOPAlgo_ArgumentAnalyzer()
    look.SetShape1(solid)
    look.ArgumentTypeMode = look.SelfInterMode = look.SmallEdgeMode = True
    look.Perform()
    return look.HasFaulty()


def cut_edges(solid, joint, bore):
    """(phi, t) along the kernel's edges across the outside (or the bore) of an end, short of its own bend."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve

    branch = joint.cut.branch
    radius = branch.section.bore_radius if bore else branch.section.cylinder
    found = []
    for edge in parts(solid, "edge"):
        curve = BRepAdaptor_Curve(edge)
        places = np.linspace(curve.FirstParameter(), curve.LastParameter(), 41)
        points = np.array([(p.X(), p.Y(), p.Z()) for p in map(curve.Value, places.tolist())])
        phi, t = lengths_of(joint.cut, points)
        off = points - np.asarray(branch.point) + t[:, None] * np.asarray(branch.direction)
        across = np.abs(np.linalg.norm(off, axis=1) - radius).max() < 1e-4 and np.ptp(np.unwrap(np.radians(phi))) > 0.1
        if across and t.max() < joint.straight - 1.0:
            found.append((phi, t))
    return np.concatenate(found, axis=1)


@pytest.mark.parametrize(
    ("bends", "section", "gap"),
    [
        *((LOOP, RUNG, 0.0), (LOOP, BAR, 0.0), (LOOP, SQUARE, 0.0), (EYE, RUNG, 0.0), (EYE, SQUARE, 0.0)),
        *((SHARP, RUNG, 0.0), (FRAME, RUNG, 0.0)),
        *((EYE, RUNG, 0.5), (EYE, SQUARE, 0.5), (FRAME, RUNG, 0.5)),
    ],
    ids=[
        *("loop", "bar", "square", "eye", "square eye", "sharp", "mitred frame"),
        *("eye with a gap", "square eye with a gap", "mitred frame with a gap"),
    ],
)
def test_only_the_end_loses_metal(bends, section, gap):
    """The volume against the template's integral; one solid whose faces neither cross nor cover one another.

    With a gap the cut is the same, so much further off: the fit of all of them is measured below.
    """
    tube = closes(bends, section)
    joints, _ = find_joints([tube], gap=gap)
    assert {joint.mates for joint in joints} == {("LOOP",)}
    solid = coped_solid(tube, section, joints)
    agrees(tube, joints, solid)
    assert len(parts(solid, "solid")) == 1 and not meets_itself(solid)


@pytest.mark.parametrize("section", [RUNG, SQUARE], ids=["round", "square"])
def test_both_ends_of_a_tube_closed_onto_it(section):
    tube = both_ways(section)
    joints, _ = find_joints([tube])
    assert [(joint.end, joint.mates) for joint in joints] == [("A", ("LOOP",)), ("B", ("LOOP",))]
    solid = coped_solid(tube, section, joints)
    agrees(tube, joints, solid)
    assert not meets_itself(solid)


def test_the_metal_where_an_end_lands_is_all_there():
    """Along the leg that the end lands on the wall is whole: what cuts the end would have taken 38 mm of it."""
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_State

    tube = closes(LOOP, RUNG)
    joints, _ = find_joints([tube])
    look = BRepClass3d_SolidClassifier(coped_solid(tube, RUNG, joints))
    wall = (RUNG.cylinder + RUNG.bore_radius) / 2.0
    for x in np.linspace(150.0, 250.0, 11).tolist():
        for turn in range(0, 360, 30):
            look.Perform(gp_Pnt(x, wall * cos(radians(turn)), wall * sin(radians(turn))), 1e-6)
            assert look.State() == TopAbs_State.TopAbs_IN


@pytest.mark.parametrize(("bends", "theta"), [(LOOP, 90.0), (EYE, 60.0)], ids=["loop", "eye"])
def test_the_cut_is_the_template_s(bends, theta):
    """The kernel's edges around outside and bore against the curves of the template, and those in closed form."""
    tube = closes(bends, RUNG)
    [joint], _ = find_joints([tube])
    solid = coped_solid(tube, RUNG, [joint])
    big, a = RUNG.cylinder, radians(theta)
    # phi of the closed form counts from the obtuse side, in the plane of both axes: against the leg's direction here
    leg = (1.0, 0.0, 0.0) if dot(joint.direction, (1.0, 0.0, 0.0)) < 0.0 else (-1.0, 0.0, 0.0)
    across = cross(joint.direction, cross(leg, joint.direction))
    zero = np.degrees(np.arctan2(dot(across, joint.cut.branch.side), dot(across, joint.cut.branch.zero)))
    for bore, r in ((False, RUNG.cylinder), (True, RUNG.bore_radius)):
        phi, t = cut_edges(solid, joint, bore)
        template = joint.cut.at(phi)[int(bore)]
        assert np.abs(t - template).max() < 1e-4
        p = np.radians(phi - zero)
        closed = (np.sqrt(np.maximum(big**2 - (r * np.sin(p)) ** 2, 0.0)) - r * np.cos(p) * -cos(a)) / sin(a)
        assert np.abs(template - closed).max() < 1e-6
        assert np.ptp(phi) > 340.0


def test_with_another_tube_at_the_same_place():
    """A post ends where the loop closes: each is cut to the other; the loop's other end stands on a third tube."""
    tube = closes(LOOP, RUNG)
    up = straight("UP", (200.0, 0.0, 0.0), (200.0, 0.0, 300.0), RUNG)
    foot = straight("FOOT", (0.0, 0.0, -300.0), (0.0, 0.0, 300.0), RAIL)
    joints = [joint for joint in find_joints([tube, up, foot])[0] if joint.tube == "LOOP"]
    assert [joint.mates for joint in joints] == [("FOOT",), ("LOOP", "UP")]
    agrees(tube, joints, coped_solid(tube, RUNG, joints))


def test_a_cut_into_a_sharp_corner_is_refused():
    """The last straight is 26 mm: the cut reaches 19 mm back, and the mitre 8 mm ahead."""
    tail = 26.0
    bends = [(700.0, 0.0, 90.0, None), (300.0, 0.0, 135.0, None), ((300.0 - tail) * sqrt(2.0), 0.0, 45.0, None)]
    tube = closes(bends, RUNG)
    assert tube.run.table.tail == pytest.approx(tail)
    joints, _ = find_joints([tube])
    assert [joint.mates for joint in joints] == [("LOOP",)]
    with pytest.raises(GeometryError, match=r"'LOOP': its end B is cut to the tube itself, and the cut takes"):
        coped_solid(tube, RUNG, joints)


# --- the bend that leads to the end ------------------------------------------------------


def test_an_end_is_not_cut_to_the_bend_that_leads_to_it():
    """An eye that closes 58 mm from its bend: the bend's far end, where the last straight begins, cuts none of that."""
    [joint], _ = find_joints([closes(EYE, RUNG)])
    alone = [straight("LEG", (-600.0, 0.0, 0.0), (900.0, 0.0, 0.0), RUNG)]
    at, way = joint.end_point, joint.direction
    alone.append(straight("TAIL", tuple(p - 300.0 * d for p, d in zip(at, way, strict=True)), at, RUNG))
    [same], _ = find_joints(alone)
    phi = np.arange(0.0, 360.0, 0.5)
    lines = joint.cut.branch.lines(phi)
    points = lines.p[:, None] * np.asarray(joint.cut.branch.zero) + lines.q[:, None] * np.asarray(joint.cut.branch.side)
    other = same.cut.branch
    phi_there = np.degrees(np.arctan2(points @ np.asarray(other.side), points @ np.asarray(other.zero)))
    for mine, theirs in zip(joint.cut.at(phi), same.cut.at(phi_there), strict=True):
        assert np.abs(mine - theirs).max() < 1e-9
    # (R + r cos 60) / sin 60 on the outside, where both are 19.05
    assert joint.short_point == pytest.approx(19.05 * 1.5 / (sqrt(3.0) / 2.0), abs=1e-6)


# --- fit-up ------------------------------------------------------------------------------


@pytest.mark.parametrize("gap", [0.0, 0.5])
@pytest.mark.parametrize("bends", [LOOP, EYE, SHARP, FRAME], ids=["loop", "eye", "sharp", "mitred frame"])
def test_the_fit_of_an_end_to_its_own_tube(bends, gap):
    found = fit_up(job_of([closes(bends, RUNG)], gap=gap))
    assert found.clashes == () and len(found.joints) == (2 if bends is FRAME else 1)
    for one in found.joints:
        assert one.overlap == 0.0
        assert (one.gap, one.widest) == pytest.approx((gap, gap), abs=1e-6)


def test_the_measure_bites(monkeypatch):
    """An end that was not cut shares with its leg what the cut takes off, less what lies in the leg's bore."""
    from converter.exporters.solids.fit_up import measure as module

    tube = closes(LOOP, RUNG)

    def uncut(tube, section, joint, joints):
        _, rest = own_end(tube, section, joint, joints)
        end = straight("END", (200.0, joint.straight, 0.0), (200.0, 0.0, 0.0), section)
        return tube_solid(end.run, section), rest

    monkeypatch.setattr(module, "own_end", uncut)
    [fit] = fit_up(job_of([tube])).joints
    [joint], _ = find_joints([tube])
    wall = RUNG.area * exporters_coped.removed_volume(joint) / (RUNG.area * joint.short_point)
    assert 0.2 * wall < fit.overlap < exporters_coped.removed_volume(joint)


# --- files -------------------------------------------------------------------------------


def test_a_drawing_of_a_hook_goes_full_circle(tmp_path, capsys):
    """A shank that closes onto itself in an eye of 270 degrees, drawn as a line, an arc and a line: solid and back."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    for start, end in (((0, 0), (600, 0)), ((540, 60), (540, 0))):
        model.add_line(start, end)
    model.add_arc((600, 60), 60, -90, 180)
    drawing, out = tmp_path / "hook.dxf", tmp_path / "out"
    doc.saveas(drawing)
    words = ["--section", "38.1x2.413mm", "--to", "step-coped,fit-up", "--out", str(out)]
    assert main(["cope", str(drawing), *words]) == 0, capsys.readouterr().err
    capsys.readouterr()
    [fit] = json.loads((out / "hook-fit-up.json").read_text())["joints"]
    assert fit["mates"] == [fit["tube"]] and fit["overlap"] == 0.0 and fit["gap"] < 1e-6
    [drawn], [read] = open_job(str(drawing)).tubes, open_job(str(out / "hook-coped.step")).tubes
    table, again = drawn.run.table, read.run.table
    assert [(b.feed, b.angle, b.clr) for b in again.bends] == [
        pytest.approx((b.feed, b.angle, b.clr), abs=1e-5) for b in table.bends
    ]
    assert again.tail == pytest.approx(table.tail, abs=1e-5)
    assert np.abs(sub(read.run.end, drawn.run.end)).max() < 1e-5
    [joint], _ = find_joints([read])
    assert joint.mates == (read.name,) and joint.angle == pytest.approx(90.0, abs=1e-5)


def test_equal_loops_share_a_solid():
    """Three alike in one drawing: cut once, all of the same volume."""
    tubes = []
    for i in range(3):
        place = Placement((0.0, 0.0, 100.0 * i), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
        tubes.append(tube_of(run_of(LOOP, 200.0, place, name=f"LOOP-{i}"), RUNG))
    job = job_of(tubes)
    from converter.exporters.solids.coped.bodies import coped_bodies

    solids = [solid for _, solid in coped_bodies(job)]
    assert all(is_valid(solid) for solid in solids)
    assert [volume(solid) for solid in solids] == pytest.approx([volume(solids[0])] * 3, rel=1e-9)
    assert [(one.overlap, one.joint.tube) for one in fit_up(job).joints] == [(0.0, f"LOOP-{i}") for i in range(3)]
