"""Holes in coped solids: the volume taken, no clash left, the file read back."""

from __future__ import annotations

import json

import pytest
from command_line import run
from copes import kernel_cylinder, straight
from frames import RAIL, hoop
from jobs import job_of, write_job
from passing_tubes import BIG, POST, R, holes, passing

from converter.exporters.solids.coped.bodies import coped_bodies
from converter.exporters.solids.fit_up.measure import fit_up
from converter.kernel.shapes.solids import is_valid, tube_solid, volume
from converter.model.section import Section

PIN = Section("round", 16.0, 2.0)
BOX = Section("square", 20.0, 2.0, corner=3.0)


def job(*tubes):
    return job_of(tubes, "post.dxf")


def solid_of(name, *tubes):
    [found] = [solid for body, solid in coped_bodies(job(*tubes)) if body.tube.name == name]
    return found


@pytest.mark.slow
@pytest.mark.parametrize(("theta", "offset"), [(90.0, 0.0), (50.0, 4.0), (35.0, -6.0), (90.0, 15.0), (70.0, 17.0)])
def test_what_a_hole_takes_is_what_the_kernel_and_the_integral_say(theta, offset):
    """The kernel's common volume of the wall and a plain cylinder; offsets up to where the side lies in the wall."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common

    bar = passing(theta, offset)
    cylinder = kernel_cylinder(bar.run.placement.start, bar.run.placement.direction, 12.0, 600.0)
    plain = tube_solid(POST.run, BIG)
    wanted = volume(BRepAlgoAPI_Common(plain, cylinder).Shape())
    assert sum(hole.plug for hole in holes(POST, bar)) == pytest.approx(wanted, rel=1e-3)
    made = solid_of("POST", POST, bar)
    assert is_valid(made)
    assert volume(plain) - volume(made) == pytest.approx(wanted, rel=1e-6)


def test_a_small_square_hole_takes_its_area_times_the_wall_and_a_bit():
    """20 by 20 less the corners, through walls of 3 that are passed aslant: 2 A (sqrt(R^2 - q^2) - sqrt(r^2 - q^2))."""
    made = solid_of("POST", POST, passing(section=BOX))
    assert is_valid(made)
    area = 400.0 - (4.0 - 3.141592653589793) * 9.0
    middle = 2.0 * area * 3.0
    steepest = 2.0 * area * ((R * R - 100.0) ** 0.5 - (27.0 * 27.0 - 100.0) ** 0.5)
    assert middle < volume(tube_solid(POST.run, BIG)) - volume(made) < steepest


def test_tubes_that_pass_through_no_longer_clash():
    """Two pegs and a box through a post that ends on a rail: nothing shares metal, and the post still fits its rail."""
    rail = straight("RAIL", (-300.0, 0.0, 800.0), (300.0, 0.0, 800.0), Section("round", 76.1, 3.0))
    peg = straight("PEG", (-60.0, -200.0, 400.0), (60.0, 200.0, 400.0), PIN)
    box = straight("BOX", (0.0, -200.0, 550.0), (0.0, 200.0, 550.0), BOX)
    found = fit_up(job(rail, POST, passing(60.0, 5.0), peg, box))
    assert found.clashes == ()
    [fit] = found.joints
    assert (fit.overlap, fit.gap, fit.widest) == (0.0, pytest.approx(0.0, abs=1e-6), pytest.approx(0.0, abs=1e-4))


def test_a_job_with_holes_only_has_coped_solids_and_a_fit_up(tmp_path):
    paths = write_job(job(POST, passing()), tmp_path / "out", ["step-coped", "fit-up"])
    assert [path.name for path in paths] == ["post-coped.step", "post-fit-up.json"]
    report = json.loads(paths[1].read_text())
    assert report["joints"] == [] and report["clashes"] == []


def test_read_back_the_same_tubes_and_the_same_holes(tmp_path, capsys):
    """A bent tube with a bar through its leg: centerlines, holes, STEP, read again."""
    bar = straight("BAR", (-200.0, 0.0, 250.0), (200.0, 0.0, 250.0), PIN)
    tubes = [hoop("HOOP", 0.0, 0.0, RAIL), bar]
    [path] = write_job(job(*tubes), tmp_path / "out", ["step-coped"])
    drawn = run(capsys, "cope", path, "--json").json
    want = holes(*tubes)
    assert len(want) == len(drawn["holes"]) == 2
    for one, other in zip(want, drawn["holes"], strict=True):
        assert (other["tube"], other["through"]) == ("HOOP", "BAR")
        for key in ("clock", "from_a", "along", "around"):
            assert other[key] == pytest.approx(getattr(one, key), abs=1e-6)
    table = run(capsys, "table", path, "--json").json
    [back] = [tube for tube in table["tubes"] if tube["name"] == "HOOP"]
    assert [bend["angle"] for bend in back["bends"]] == pytest.approx([90.0, 90.0])
    assert back["developed_length"] == pytest.approx(tubes[0].run.table.developed_length, abs=1e-6)
