"""The least gap of ends that touch nothing: as the kernel's own search over both solids finds it, and closed forms."""

from __future__ import annotations

from math import radians, sin

import numpy as np
import pytest
from copes import straight
from frames import RAIL, RUNG, hoop
from jobs import job_of

from converter.exporters.solids.coped.bodies import coped_bodies
from converter.exporters.solids.coped.ends import cut_points
from converter.exporters.solids.fit_up import measure as module
from converter.exporters.solids.fit_up.distances import nearest_point, off_metal
from converter.exporters.solids.fit_up.measure import fit_up
from converter.kernel.fit_up import gap, within
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Bend, BendTable, Placement
from converter.model.metal import metal
from converter.model.run import Run
from converter.model.section import Section

SQUARE = Section("square", 40.0, 3.0, corner=6.0)
FLAT = Section("rectangular", 40.0, 3.0, height=60.0, corner=6.0)
PLACE = Placement((5.0, -7.0, 3.0), (0.6, 0.8, 0.0), (0.0, 0.0, 1.0))
TABLES = {
    "straight": BendTable((), 200.0),
    "bent": BendTable((Bend(80.0, 0.0, 100.0, 90.0), Bend(60.0, 70.0, 45.0, 90.0)), 50.0),
    "from bend to bend": BendTable((Bend(0.0, 0.0, 70.0, 90.0), Bend(0.0, 120.0, 200.0, 90.0)), 0.0),
    "mitred": BendTable((Bend(90.0, 0.0, 60.0, None),), 90.0),
}
#: By how far the quick way and the kernel's search may differ, mm: what is shown of a gap is never finer than this, and
#: the kernel's own search misses its edges' nearest places by as much.
SAME = 5e-6


def from_corner(points, pieces):
    """How far from the corner of two straights the nearest places on their centerlines lie."""
    feet = []
    for at in (piece.start for piece in pieces):
        ahead = np.clip((points - np.array(at.point)) @ np.array(at.direction), 0.0, 90.0)
        feet.append(np.array(at.point) + ahead[:, None] * np.array(at.direction))
    off = [np.linalg.norm(points - foot, axis=1) for foot in feet]
    nearest = np.where((off[0] < off[1])[:, None], *feet)
    return np.linalg.norm(nearest - np.array(pieces[1].start.point), axis=1)


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("size", [(40.0, 40.0, 20.0), (60.0, 40.0, 6.0), (40.0, 60.0, 0.0)], ids=str)
def test_points_are_as_far_off_as_the_kernel_says(table, size):
    """Points all around a bar; at open ends and mitres, where metal may reach, perhaps nearer, never further."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.gp import gp_Pnt

    height, width, corner = size
    round_bar = height == width == 2.0 * corner
    section = (
        Section("bar", 40.0, 0.0) if round_bar else Section("rectangular", width, 3.0, height=height, corner=corner)
    )
    run = Run("T", None, False, TABLES[table], PLACE)
    body = metal(run, section)
    solid = tube_solid(run, section)
    rng = np.random.default_rng(11)
    middles = np.array([p for piece in body.pieces for p in (piece.start.point, piece.end.point)])
    points = middles[rng.integers(len(middles), size=40)] + rng.normal(0.0, 60.0, (40, 3))
    off = off_metal(points, body, section)
    away = np.array([gap(BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex(), [solid]) for point in points.tolist()])
    assert (off <= away + 1e-9).all()
    ends = ((body.pieces[0].start, -1.0), (body.pieces[-1].end, 1.0))
    beside = np.logical_or.reduce(
        [sign * ((points - np.array(at.point)) @ np.array(at.direction)) > -1e-9 for at, sign in ends]
    )
    told = (off > 0.0) & ~beside
    if table == "mitred":
        told &= from_corner(points, body.pieces) > 25.0
    assert told.sum() >= 4
    assert off[told] == pytest.approx(away[told], abs=1e-9)


def end_and_mates(job, joint):
    """The mates of a joint, whole, and its end within its box: what the kernel's search is given."""
    made = {body.tube.name: (body, solid) for body, solid in coped_bodies(job)}
    _, low, high = cut_points(joint)
    return [made[name][1] for name in joint.mates], within(made[joint.tube][1], low, high)


def bent_frame():
    """Onto the bend of a hoop, onto its straight, and both ends of a tube on one hoop."""
    hooped = hoop("HOOP", 0.0, 0.0)
    x, z = 900.0 - 150.0 * 0.3, 450.0 + 150.0 * sin(radians(45.0))
    return [
        hooped,
        straight("MID", (x, 0.0, z), (x, 300.0, z), RUNG),
        straight("LEG", (0.0, 8.0, 200.0), (900.0, 8.0, 260.0), RUNG),
    ]


FRAMES = {
    "round": [
        straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL),
        straight("T", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG),
        straight("LEANS", (100.0, 3.0, 0.0), (250.0, 3.0, 150.0), RUNG),
        straight("BESIDE", (-150.0, 12.0, 0.0), (-150.0, 12.0, 300.0), RAIL),
    ],
    "square on square": [
        straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), SQUARE),
        straight("T", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), SQUARE),
        straight("LEANS", (120.0, 0.0, 0.0), (270.0, 0.0, 150.0), Section("square", 30.0, 2.0, corner=5.0)),
    ],
    "round on flat, flat on round": [
        straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), FLAT),
        straight("T", (0.0, 5.0, 0.0), (60.0, 5.0, 300.0), RUNG),
        straight("POLE", (0.0, 400.0, 0.0), (600.0, 400.0, 0.0), Section("round", 60.0, 3.0)),
        straight("STAY", (300.0, 400.0, 0.0), (300.0, 400.0, 400.0), SQUARE),
    ],
    "bent": bent_frame(),
    "several mates": [
        straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL),
        straight("UP", (0.0, 0.0, 0.0), (0.0, 0.0, 400.0), RUNG),
        straight("BRACE", (0.0, 0.0, 30.0), (250.0, 0.0, 280.0), RUNG),
    ],
}


@pytest.mark.parametrize("width", [0.5, 12.0])
@pytest.mark.parametrize("frame", FRAMES)
def test_gaps_are_those_of_the_kernels_search(frame, width, monkeypatch):
    """Of every joint: the kernel looks over all of the end and all of the mates, and agrees."""
    job = job_of(FRAMES[frame], gap=width)
    told = []
    real = module._least_gap
    monkeypatch.setattr(module, "_least_gap", lambda *given: told.append(real(*given)) or told[-1])
    found = fit_up(job).joints
    assert len(found) >= 2
    assert sum(one is not None for one in told) * 2 >= len(told) > 0
    for one in found:
        mates, end = end_and_mates(job, one.joint)
        assert one.gap == pytest.approx(gap(end, mates), abs=SAME)


def test_walls_that_pass_by_are_nearest_between_their_edges():
    """Two skew bars, no end near: the distance of their axes less both radii, on the common perpendicular."""
    bar = Section("bar", 40.0, 0.0)
    own = straight("OWN", (-100.0, 30.0, 57.0), (200.0, 90.0, 57.0), bar)
    mate = straight("MATE", (0.0, -200.0, 0.0), (0.0, 200.0, 0.0), bar)
    solid, body = tube_solid(own.run, bar), metal(mate.run, bar)

    def nearest(low_x):
        return nearest_point(solid, ((low_x, -200.0, -200.0), (190.0, 200.0, 200.0)), lambda p: off_metal(p, body, bar))

    point, near = nearest(-90.0)
    assert near == pytest.approx(57.0 - 40.0, abs=1e-9)
    assert point == pytest.approx((0.0, 50.0, 37.0), abs=1e-3)
    # a box that leaves that place out
    point, near = nearest(30.0)
    assert near > 17.0 + 1.0 and point[0] >= 30.0


@pytest.mark.parametrize("quick", [True, False])
def test_a_mate_out_of_reach_of_the_end_is_no_failure(quick, monkeypatch):
    """A wide gap leaves one of two mates outside the box around the end: the kernel finds no metal of it there."""
    tubes = [
        hoop("HOOP", 0.0, 0.0),
        straight("DIAGONAL", (0.0, 0.0, 50.0), (700.0, 0.0, 600.0), RAIL),
        straight("BRACE", (712.0, 0.0, 600.0), (900.0, 500.0, 400.0), RAIL),
    ]
    job = job_of(tubes, gap=20.0)
    if not quick:
        monkeypatch.setattr(module, "_least_gap", lambda *given: None)
    found = {one.joint.tube: one for one in fit_up(job).joints}
    assert found["BRACE"].joint.mates == ("HOOP", "DIAGONAL")
    assert found["BRACE"].gap == pytest.approx(20.0, abs=SAME)


def test_metal_that_is_cut_away_is_not_counted(monkeypatch):
    """Of a rail only a stub 30 mm beside the end is left: whole tubes do not tell how near that is, the kernel does."""
    job = job_of(FRAMES["round"], gap=0.5)
    [joint] = [joint for joint in job.joints if joint.tube == "T"]
    made = {body.tube.name: (body, solid) for body, solid in coped_bodies(job)}
    rail, _ = made["RAIL"]
    stub = tube_solid(straight("STUB", (-300.0, 0.0, 0.0), (-50.0, 0.0, 0.0), RAIL).run, RAIL)
    told = []
    real = module._least_gap
    monkeypatch.setattr(module, "_least_gap", lambda *given: told.append(real(*given)) or told[-1])
    fit = module._fit(joint, cut_points(joint), made["T"][1], [(rail, stub)])
    assert told == [None]
    _, low, high = cut_points(joint)
    assert fit.gap == pytest.approx(gap(within(made["T"][1], low, high), [stub]), abs=SAME)
    assert fit.gap > 30.0
