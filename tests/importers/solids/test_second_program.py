"""What several CAD programs write of the same things, as docs/what-is-read.md lists it; tables here are what was drawn.

The numbers stand in fixtures/step/make_gmsh.py, make_freecad_bent.py and make_solvespace_solid.py.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from member_bodies import DRAWN, STEP
from places import FIXTURES
from tube_bodies import same_table

from converter.importers.registry import read
from converter.importers.step.read import read_step
from converter.job import open_job
from converter.model.bends import Bend, BendTable
from converter.model.centerline import reverse_table
from converter.settings import Settings


def bent(feed, angle, clr, tail):
    return BendTable((Bend(float(feed), 0.0, float(angle), float(clr)),), float(tail))


def straight(length):
    return BendTable((), float(length))


HOOK = bent(150, 90, 90, 200)
ROUND = (HOOK, "round", 33.7, 33.7, 2.6)
SQUARE = (bent(150, 90, 100, 120), "square", 30, 30, 2)
BENT_BARS = [(bent(120, 90, 60, 160), "square-bar", 20, 20, 10), (bent(140, 45, 30, 110), "flat-bar", 40, 8, 4)]
COPED = [(straight(400), "round", 33.7, 33.7, 2.6), (bent(300, 90, 150, 300), "round", 48.3, 48.3, 2.6)]
#: Of each file: its tables, with shape, greater and smaller size, wall (of a bar half the smaller), and their findings.
DRAWN_TUBES = {
    "gmsh-rhs": ([(straight(300), "rectangular", 60, 40, 3)], ["solid-off"]),
    "gmsh-rhs-bent": ([(bent(120, 60, 110, 140), "rectangular", 50, 30, 3)], ["solid-off"]),
    "gmsh-square-bent": ([SQUARE], []),
    "freecad-square-bent": ([SQUARE], []),
    "gmsh-bars": ([(straight(300), "square-bar", 20, 20, 10), (straight(260), "flat-bar", 50, 8, 4)], []),
    "gmsh-bars-bent": (BENT_BARS, []),
    "freecad-bars-bent": (BENT_BARS, []),
    "gmsh-flanged": ([ROUND], ["solid-ends", "solid-remains", "solid-remains"]),
    "gmsh-faces": ([ROUND], ["solid-joined"]),
    "gmsh-frame": (
        [(straight(380), "bar", 12, 12, 6)] * 3 + [(straight(600), "square-bar", 20, 20, 10)] * 2,
        ["solid-ends"] * 6 + ["solid-fused"] * 5,
    ),
    "gmsh-cope-bend": (COPED, ["solid-ends"]),
    "freecad-cope-bend": (COPED, ["solid-ends"]),
    "solvespace-bar": ([(straight(260), "flat-bar", 50, 8, 4)], []),
}


def is_table(got, want):
    """Equal within a millionth, from either end."""
    return any(same_table(got, table, 1e-6) for table in (want, reverse_table(want)[0]))


@pytest.mark.parametrize("name", DRAWN_TUBES)
def test_tubes_and_bars_come_back_as_drawn(name):
    wanted, codes = DRAWN_TUBES[name]
    tables = read_step(STEP / f"solid-{name}.step").tables
    assert len(tables) == len(wanted)
    for got, (table, shape, greater, smaller, wall) in zip(tables, wanted, strict=True):
        assert is_table(got.table, table), (got.table, table)
        assert got.section.shape == shape and got.section.wall == pytest.approx(wall)
        assert sorted((got.section.od, got.section.height)) == pytest.approx([smaller, greater])
    assert sorted(f.code for table in tables for f in table.findings) == codes


def test_odd_corners_are_told_by_radius_and_slant():
    """Outside 6, 8, sharp, a slant of 5, inside 3, 2, 1, 0: the sharp one is 6 (sqrt 2 - 1) off on its diagonal."""
    (one,) = read_step(STEP / "solid-gmsh-rhs.step").tables
    (told,) = one.findings
    assert "outside have radii from 0.00 mm to 8.00 mm, 1 of its corners outside is cut off" in told.message
    assert "inside have radii from 0.00 mm to 3.00 mm" in told.message
    assert one.deviation == pytest.approx(6.0 * (sqrt(2.0) - 1.0), abs=1e-5)


def test_a_flange_and_a_plate_fused_onto_a_bent_tube_are_told_with_size_and_place():
    (tube,) = read_step(STEP / "solid-gmsh-flanged.step").tables
    told = [dict(f.value_pairs) for f in tube.findings if f.code == "solid-remains"]
    boxes = {(one["kind"], *(round(v, 3) for v in one["sizes"] + one["place"])) for one in told}
    assert boxes == {
        ("a plate", 120.0, 8.0, 90.0, 240.0, 204.0, 0.0),
        ("a flange, washer or collar", 12.0, 100.0, 100.0, -6.0, 0.0, 0.0),
    }


def test_a_skin_without_a_bore_has_no_known_wall():
    (tube,) = read_step(STEP / "solid-gmsh-skin.step").tables
    assert is_table(tube.table, HOOK) and tube.section is None
    assert {f.code: f.measured for f in tube.findings} == {"solid-skin": pytest.approx(33.7), "solid-joined": 3}


def words_of(name):
    """Why nothing in a file is a tube."""
    return [one.why_in() for one in read(FIXTURES / name).ignored]


def test_what_is_no_stock_and_a_plate_are_named():
    hexagon, pin, stud, boss = words_of("step/solid-gmsh-hardware.step")
    assert "hexagon of 13.00 mm across flats" in hexagon
    assert "a pin or stud: 6.00 mm across, 24.00 mm long" in pin
    assert "a pin or stud: 8.00 mm across, 25.00 mm long" in stud
    assert "a bush or spacer: 20.00 mm across, 20.00 mm long, its wall 5.00 mm" in boss
    assert all("not taken for stock" in one for one in (hexagon, pin, stud, boss))
    (plate,) = words_of("step/solid-gmsh-bars.step")
    assert "a plate" in plate


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("step/solid-gmsh-open.step", {"angle": "an angle (L)", "channel": "a channel (C)", "beam": "a beam (H or I)"}),
        ("step/solid-solvespace-channel.step", {"channel": "a channel (C)"}),
        pytest.param("step/solid-solvespace-beam.step", {"beam": "a beam (H or I)"}, marks=pytest.mark.slow),
        ("brep/gmsh-t-slot.brep", {"t-slot": "a T-slot profile"}),
    ],
)
@pytest.mark.usefixtures("forked_trials")
def test_open_profiles_are_named_with_their_sizes(name, kinds):
    for (drawn, kind), words in zip(kinds.items(), words_of(name), strict=True):
        greater, smaller = sorted(np.ptp(np.array(DRAWN["open"][drawn]), axis=0), reverse=True)
        assert f"{kind} of {greater:.2f} x {smaller:.2f} mm, 400.00 mm long" in words


@pytest.mark.parametrize("program", ["gmsh", "freecad"])
@pytest.mark.parametrize(
    ("name", "angle", "mates", "straight_mate"),
    [("bend", 60.0, 1, False), ("two", 45.0, 2, True)],
)
def test_an_end_cut_to_a_bend_and_between_two_mates(program, name, angle, mates, straight_mate):
    """The computed cut leaves the brace as long as the program's own Boolean cut did, to 0.01 mm."""
    job = open_job(str(STEP / f"solid-{program}-cope-{name}.step"), Settings(coped=True))
    brace = job.drawing.tables[0]
    (joint,) = (one for one in job.joints if one.tube == job.tubes[0].run.name)
    assert (len(joint.mates), joint.mate_straight, joint.hole_saw) == (mates, straight_mate, None)
    assert joint.angle == pytest.approx(angle, abs=1e-4)
    assert joint.long_point == pytest.approx(-min(brace.metal), abs=0.01)
    assert not any(f.code == "solid-remains" for table in job.drawing.tables for f in table.findings)
