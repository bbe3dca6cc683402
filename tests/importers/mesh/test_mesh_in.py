"""Tubes out of meshes: swept, coarse, remeshed and noisy ones give their table back, and say how surely."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from mesh_tools import ringed, saved, scanned, swept
from tubes import run_of

from converter.importers.mesh.ends import starts_smaller
from converter.importers.registry import ReadOptions, read
from converter.model.bends import BendTable, Placement
from converter.model.centerline import reverse_table, walk
from converter.model.drawing import ReadyTable
from converter.model.run import Run
from converter.model.section import Section

MM = ReadOptions(units="mm")
TUBE = Section("round", 44.45, 3.0)
FOUR = [(250.0, 0.0, 90.0, 120.0), (80.0, 90.0, 45.0, 120.0), (60.0, -30.0, 120.0, 100.0), (90.0, 150.0, 30.0, 150.0)]
AWAY = Placement((30.0, 40.0, 50.0), (0.6, 0.0, 0.8), (0.0, 1.0, 0.0))
BENT = run_of(FOUR, 60.0, AWAY)


def wanted(run: Run) -> tuple[BendTable, Placement]:
    """The run from its lexicographically smaller end, as the reader gives it."""
    if starts_smaller(run.table, run.placement):
        return run.table, run.placement
    return reverse_table(run.table, run.placement)


def only(path: Path, options: ReadOptions = MM) -> ReadyTable:
    drawing = read(path, options)
    assert len(drawing.tables) == 1, drawing.ignored
    return drawing.tables[0]


def assert_same(found: ReadyTable, run: Run, length: float, angle: float) -> None:
    """Straights and radii within ``length`` mm, angles and rotations within ``angle`` degrees, ends in place."""
    table, placement = wanted(run)
    assert len(found.table.bends) == len(table.bends)
    assert found.table.straights == pytest.approx(table.straights, abs=length)
    for have, want in zip(found.table.bends, table.bends, strict=True):
        assert have.angle == pytest.approx(want.angle, abs=angle)
        assert (have.rotation - want.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=angle)
        assert have.clr == pytest.approx(want.clr, abs=length)
    assert found.placement is not None
    assert found.placement.start == pytest.approx(placement.start, abs=length)
    ends = walk(found.table, found.placement)[1].start, walk(table, placement)[1].start
    assert ends[0] == pytest.approx(ends[1], abs=4 * length)


@pytest.mark.parametrize("chord", [2.0, 0.1, 0.02])
def test_a_swept_hollow_tube_comes_back(chord, tmp_path):
    """Our own tessellation through an OBJ (8 decimals): table to 1e-5 mm, section, metal flush with the ends."""
    found = only(saved(swept(BENT, TUBE, chord), tmp_path / "t.obj"))
    assert_same(found, BENT, 1e-5, 1e-5)
    assert found.section is not None
    assert (found.section.shape, found.section.od, found.section.wall) == pytest.approx(("round", 44.45, 3.0), abs=1e-6)
    assert found.metal == pytest.approx((0.0, 0.0), abs=1e-5)
    assert found.deviation < 1e-6


@pytest.mark.parametrize("around", [8, 12])
@pytest.mark.parametrize("spin", [0.0, 0.3])
def test_a_coarse_open_skin_is_exact(around, spin, tmp_path):
    """8 or 12 facets, 15 degrees a step: vertices lie on the circle, so the diameter is theirs and not the facets'."""
    found = only(saved(ringed(BENT, 22.225, around, 15.0, spin=spin), tmp_path / "t.obj"))
    assert_same(found, BENT, 1e-5, 1e-5)
    assert found.section is not None
    assert found.section.od == pytest.approx(44.45, abs=1e-6)
    assert [f.code for f in found.findings] == ["mesh-fitted", "mesh-skin"]


@pytest.mark.slow
@pytest.mark.parametrize("edge", [4.0, 8.0])
def test_an_irregular_mesh_without_noise_is_exact(edge, tmp_path):
    """Random vertices on the true surface, no rings: least squares still finds what they were strewn on."""
    found = only(saved(scanned(BENT, 22.225, edge, 0.0), tmp_path / "t.obj"))
    # where a scan ends is known only to the rim's own vertices
    table, _ = wanted(BENT)
    assert [b.clr for b in found.table.bends] == pytest.approx([b.clr for b in table.bends], abs=1e-4)
    assert found.table.straights[1:-1] == pytest.approx(table.straights[1:-1], abs=1e-4)
    assert found.table.straights == pytest.approx(table.straights, abs=0.02)
    assert found.deviation < 1e-5


@pytest.mark.slow
@pytest.mark.parametrize(("edge", "noise", "seed"), [(4.0, 0.1, 1), (4.0, 0.3, 1), (4.0, 0.3, 2), (3.0, 0.5, 2)])
def test_a_noisy_scan_is_known_as_surely_as_it_says(edge, noise, seed, tmp_path):
    """Every radius lies within its uncertainty (three sigma; four allowed here), the noise is found out.

    A tube of 800 mm in 0.3 mm noise: angles to 0.1 degrees, straights to 1.5 mm where bends are short.
    """
    found = only(saved(scanned(BENT, 22.225, edge, noise, seed), tmp_path / "t.ply"))
    table, _ = wanted(BENT)
    assert len(found.table.bends) == 4
    for have, want in zip(found.table.bends, table.bends, strict=True):
        assert 0.0 < have.clr_uncertainty < 30.0 * noise
        assert abs(have.clr - want.clr) < have.clr_uncertainty * 4.0 / 3.0
        assert have.angle == pytest.approx(want.angle, abs=0.4 * noise)
        assert have.rotation == pytest.approx(want.rotation, abs=noise)
    assert found.table.straights == pytest.approx(table.straights, abs=5.0 * noise)
    assert found.section is not None
    assert found.section.od == pytest.approx(44.45, abs=0.1 * noise)
    said = next(f for f in found.findings if f.code == "mesh-fitted")
    assert said.measured == found.deviation
    assert 3.0 * noise < found.deviation < 6.0 * noise
    spread = float(said.message.split("scatter by ")[1].split(" ")[0])
    assert spread == pytest.approx(noise, rel=0.05)


def test_the_deviation_is_the_proof(tmp_path):
    """One vertex pushed out by 0.7 mm: the table stays, the deviation names it, a finding warns."""
    mesh = swept(BENT, Section("bar", 44.45, 22.225), 0.1)
    points = mesh.vertices.copy()
    middle = len(points) // 2
    _, placement = wanted(BENT)
    clean = only(saved(mesh, tmp_path / "clean.obj"))
    points[middle] += 0.7 * mesh.vertex_normals[middle]
    dented = only(saved(trimesh.Trimesh(points, mesh.faces, process=False), tmp_path / "dent.obj"))
    assert clean.deviation < 1e-6
    assert dented.deviation == pytest.approx(0.7, abs=0.05)
    assert dented.table.developed_length == pytest.approx(clean.table.developed_length, abs=1e-3)
    assert dented.placement is not None
    assert dented.placement.start == pytest.approx(placement.start, abs=1e-3)
    assert "rebuild-deviation" in [f.code for f in dented.findings]
    assert "rebuild-deviation" not in [f.code for f in clean.findings]


def test_straights_bars_and_loops(tmp_path):
    """No bends; a solid bar; a loop that starts in the middle of a straight; a ring of two halves."""
    rod = only(saved(swept(run_of([], 500.0), TUBE), tmp_path / "rod.obj"))
    assert rod.table.bends == ()
    assert rod.table.tail == pytest.approx(500.0, abs=1e-6)
    bar = Section("bar", 30.0, 15.0)
    loop = run_of([(100.0, 0.0, 180.0, 120.0), (200.0, 0.0, 180.0, 120.0)], 100.0, closed=True)
    found = only(saved(swept(loop, bar, 0.2), tmp_path / "loop.obj"))
    assert found.closed
    assert found.table.straights == pytest.approx((100.0, 200.0, 100.0), abs=1e-3)
    assert [b.clr for b in found.table.bends] == pytest.approx([120.0, 120.0], abs=1e-5)
    ring = run_of([(0.0, 0.0, 180.0, 120.0), (0.0, 0.0, 180.0, 120.0)], 0.0, closed=True)
    found = only(saved(swept(ring, bar, 0.2), tmp_path / "ring.obj"))
    assert found.closed
    assert [b.angle for b in found.table.bends] == [180.0, 180.0]
    assert [b.clr for b in found.table.bends] == pytest.approx([120.0, 120.0], abs=1e-5)
    assert found.section is not None
    assert found.section.shape == "bar"


def test_a_mitred_end_says_how_far_the_metal_reaches(tmp_path):
    """A rod of 40 cut at 30 degrees: its axis ends where the cut crosses it, the point is 20 tan 30 further."""
    mesh = ringed(run_of([], 400.0, Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))), 20.0, 48, 15.0)
    points = mesh.vertices.copy()
    last = points[:, 0] > 399.0
    points[last, 0] += points[last, 1] * np.tan(np.radians(30.0))
    found = only(saved(trimesh.Trimesh(points, mesh.faces, process=False), tmp_path / "cut.obj"))
    assert found.table.tail == pytest.approx(400.0, abs=1e-3)
    assert found.metal == pytest.approx((0.0, 20.0 * np.tan(np.radians(30.0))), abs=1e-3)


def test_an_outside_and_a_bore_that_nothing_joins(tmp_path):
    """Open outside and open bore as two surfaces: one tube with a wall; a bore looks inward."""
    bore = ringed(BENT, 19.225, 24, 7.5)
    bore = trimesh.Trimesh(bore.vertices, bore.faces[:, ::-1], process=False)
    both = trimesh.util.concatenate([ringed(BENT, 22.225, 24, 7.5), bore])
    found = only(saved(both, tmp_path / "t.obj"))
    assert found.section is not None
    assert found.section.wall == pytest.approx(3.0, abs=1e-6)
    assert "mesh-skin" not in [f.code for f in found.findings]


def test_faces_that_look_inward_are_a_tube_all_the_same(tmp_path):
    mesh = ringed(BENT, 22.225, 16, 15.0)
    found = only(saved(trimesh.Trimesh(mesh.vertices, mesh.faces[:, ::-1], process=False), tmp_path / "t.obj"))
    assert_same(found, BENT, 1e-5, 1e-5)


@pytest.mark.slow
def test_scale_does_not_matter(tmp_path):
    """A 6 mm brake line of 1.2 m and a pipe of 600 mm: nothing in the reader is tuned to a size."""
    for factor in (0.1, 15.0):
        rows = [(f * factor, t, a, r * factor) for f, t, a, r in FOUR]
        run = run_of(rows, 60.0 * factor)
        found = only(saved(scanned(run, 22.225 * factor, 4.0 * factor, 0.0), tmp_path / f"t{factor}.obj"))
        table, _ = wanted(run)
        assert [b.clr for b in found.table.bends] == pytest.approx([b.clr for b in table.bends], rel=1e-6)


def test_oval_and_tapered_tubes_are_said(tmp_path):
    """Flattened by 3 % across: an oval of 2 x 0.03 x 20 in diameter; a cone of 1 mm in radius."""
    mesh = ringed(run_of([], 600.0), 20.0, 32, 15.0)
    points = mesh.vertices.copy()
    points[:, 1] *= 0.97
    points = np.concatenate([points, mesh.vertices * (1, 0.97, 1) + (0, 0, 0)])[: len(mesh.vertices)]
    oval = only(saved(trimesh.Trimesh(points, mesh.faces, process=False), tmp_path / "oval.obj"))
    said = [f for f in oval.findings if f.code == "mesh-not-round"]
    assert len(said) == 1
    assert said[0].measured == pytest.approx(2.0 * 0.03 * 20.0, rel=0.05)
