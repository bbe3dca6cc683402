"""Irregular and noisy meshes: the division into bends, evidence for one more or less, and what is said to be open."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
from eval_mesh import judge, mesh_of
from mesh_tools import scanned
from tubes import run_of

from converter.importers.mesh.choose import closed_up, merged, without
from converter.importers.mesh.develop import developed, points_at
from converter.importers.mesh.feet import parts_of
from converter.importers.mesh.misfit import misfit_of
from converter.importers.mesh.stations import Stations
from converter.importers.mesh.tube import measure
from converter.importers.mesh.tube_findings import tube_findings
from converter.importers.mesh.weld import weld

ROWS = [(100.0, 0.0, 90.0, 80.0), (60.0, -50.0, 45.0, 120.0)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "seed"), [("irregular", 0), ("irregular", 6), ("irregular", 8), ("noisy", 3), ("noisy", 11), ("noisy", 14)]
)
def test_tubes_that_were_once_divided_wrongly(kind, seed):
    """S-bends with a few mm between them, slight bends beside long ones: right, or wrong and said; radii covered."""
    run, r, mesh, noise = mesh_of(kind, seed)
    body = weld(np.array(mesh.vertices), np.array(mesh.faces)).bodies[0]
    verdict = judge(kind, run, r, body, noise)
    assert verdict.what == "right", verdict.text
    assert verdict.inside == verdict.bends


def test_the_curvature_of_a_developed_row_turns_by_the_rotation():
    """Two bends rolled by -50 degrees: the row's second differences have their curvatures, 50 degrees apart."""
    run = run_of(ROWS, 80.0)
    length = run.table.developed_length
    places = np.linspace(0.0, length, 700)
    centers = points_at(parts_of(run.table, run.placement), places)
    none = np.zeros(700)
    row = developed(Stations(centers, np.zeros((700, 3)), none, False, 0.0))
    step = row.places[1]
    bow = np.diff(row.points, 2, axis=0) / step**2
    # 100 mm straight, 80 pi / 2 = 125.7 mm of bend, 60 mm straight, 120 pi / 4 = 94.2 mm of bend
    first, between, second = (bow[np.searchsorted(row.places, s) - 1] for s in (160.0, 255.0, 330.0))
    assert np.hypot(*first) == pytest.approx(1.0 / 80.0, rel=1e-3)
    assert np.hypot(*between) == pytest.approx(0.0, abs=1e-9)
    assert np.hypot(*second) == pytest.approx(1.0 / 120.0, rel=1e-3)
    turn = np.degrees(np.arctan2(second[1], second[0]) - np.arctan2(first[1], first[0]))
    assert (turn + 180.0) % 360.0 - 180.0 == pytest.approx(-50.0, abs=0.05)


def test_misfit_is_told_from_scatter():
    """A straight of radius 10 with 0.05 mm of noise; then its axis 0.04 mm aside over 20 mm of 400."""
    rng = np.random.default_rng(4)
    n = 12000
    place, angle = rng.uniform(0.0, 400.0, n), rng.uniform(0.0, 2.0 * np.pi, n)
    up = np.stack((np.zeros(n), np.cos(angle), np.sin(angle)), axis=1)
    noise = rng.normal(0.0, 0.05, n)
    quiet = misfit_of(noise, up, place, 10.0, 4)
    assert not quiet.clear
    assert quiet.noise == pytest.approx(0.05, rel=0.03)
    aside = noise + np.where((place > 200.0) & (place < 220.0), 0.04 * up[:, 2], 0.0)
    off = misfit_of(aside, up, place, 10.0, 4)
    assert off.clear
    assert off.beside == pytest.approx(0.04, abs=0.02)
    assert 198.0 < off.place < 222.0
    assert off.noise == pytest.approx(0.05, rel=0.03)


def test_simpler_tables_are_as_long():
    """A bend made straight, two made one, a straight closed up: the metal keeps its length."""
    table = run_of([(50.0, 0.0, 30.0, 60.0), (4.0, 0.0, 40.0, 60.0), (70.0, 90.0, 20.0, 90.0)], 30.0).table
    for one in (without(table, 0), without(table, 1), without(table, 2), merged(table, 1), closed_up(table, 1)):
        assert one.developed_length == pytest.approx(table.developed_length, rel=1e-9)
    assert [b.angle for b in without(table, 1).bends] == [30.0, 20.0]
    assert without(table, 1).bends[1].rotation == 90.0
    # arcs of 10 pi and 40 pi / 3 with 4 mm between them over 70 degrees
    whole = merged(table, 1).bends[0]
    assert whole.angle == 70.0
    assert whole.clr == pytest.approx((10.0 * np.pi + 4.0 + 40.0 * np.pi / 3.0) / np.radians(70.0))


@pytest.mark.slow
def test_a_surface_that_is_no_row_of_bends_is_said():
    """A straight that sags by a sine of 0.4 mm over 600: no table follows it exactly, and it is said."""
    mesh = scanned(run_of([], 600.0), 15.0, 3.0, 0.02)
    points = mesh.vertices.copy()
    axis = int(np.argmax(np.ptp(points, axis=0)))
    points[:, (axis + 1) % 3] += 0.4 * np.sin((points[:, axis] - points[:, axis].min()) * np.pi / 100.0)
    found = measure(weld(np.array(points), np.array(mesh.faces)).bodies[0])
    codes = {f.code for f in tube_findings("t", found) if f.severity != "note"}
    assert len(found.table.bends) > 1
    assert "mesh-uncertain" in codes


def test_a_coil_in_a_mesh_is_told_for_one():
    """Wound by cadquery's kernel: a turn of 100 mm centerline radius rising 60 mm, sqrt((200 pi)^2 + 60^2) long.

    It was a table of eight bends, with doubts of each.
    """
    helix, way = cq.Wire.makeHelix(60.0, 60.0, 100.0), cq.Vector(0.0, 100.0, 60.0 / (2.0 * np.pi))
    start = cq.Vector(100.0, 0.0, 0.0)
    bar = cq.Solid.sweep(cq.Wire.makeCircle(10.0, start, way), [], helix, True, True)
    points, faces = bar.tessellate(0.2, 0.3)
    (body,) = weld(np.array([p.toTuple() for p in points]), np.array(faces)).bodies
    tube = measure(body)
    assert tube.table.developed_length == pytest.approx(np.hypot(200.0 * np.pi, 60.0), rel=1e-3)
    told = {finding.code: finding for finding in tube_findings("rail", tube)}
    assert "a coil of 1.00 turns, 100.00 mm centerline radius, rising " in told["not-line-arc"].message
    assert not {"mesh-misfit", "mesh-ambiguous", "mesh-uncertain", "mesh-search-ended"} & set(told)


def test_a_row_of_bends_of_several_planes_is_no_coil():
    """Three bends without straights between that turn to one side and the other."""
    rows = [(80.0, 0.0, 60.0, 100.0), (0.0, 120.0, 60.0, 100.0), (0.0, -120.0, 60.0, 100.0)]
    mesh = scanned(run_of(rows, 80.0), 20.0, 3.0, 0.0, 5)
    tube = measure(weld(np.array(mesh.vertices), np.array(mesh.faces)).bodies[0])
    assert len(tube.table.bends) == 3
    assert not [finding for finding in tube_findings("row", tube) if finding.code == "not-line-arc"]
