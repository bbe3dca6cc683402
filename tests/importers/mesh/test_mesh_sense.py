"""Triangles that look to different sides: a body's faces are made to look one way, out of it where it is closed."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from mesh_tools import ringed, saved, swept
from places import FIXTURES
from tube_bodies import same_table
from tubes import run_of

from converter.importers.mesh.weld import weld
from converter.importers.registry import ReadOptions, read
from converter.model.section import Section

MM = ReadOptions(units="mm")
HOOK = run_of([(200.0, 0.0, 90.0, 80.0), (120.0, 180.0, 60.0, 80.0)], 90.0)
TUBE = Section("round", 38.0, 2.5)
SQUARE = Section("square", 40.0, 3.0, 40.0, 6.0)


def turned(mesh: trimesh.Trimesh, which: np.ndarray) -> trimesh.Trimesh:
    faces = np.where(which[:, None], mesh.faces[:, ::-1], mesh.faces)
    return trimesh.Trimesh(mesh.vertices, faces, process=False)


def test_a_hollow_tube_as_gmsh_meshes_it():
    """The numbers stand in fixtures/mesh/make_gmsh_hollow.py; a general mesh library says that the senses differ."""
    path = FIXTURES / "mesh" / "gmsh-hollow.stl"
    mesh = trimesh.load(path)
    assert mesh.is_watertight and not mesh.is_winding_consistent
    (tube,) = read(path, MM).tables
    assert same_table(tube.table, run_of([(120.0, 0.0, 90.0, 60.0)], 90.0).table, 1e-3)
    assert (tube.section.od, tube.section.wall) == pytest.approx((30.0, 2.0), abs=1e-4)


@pytest.mark.parametrize("section", [TUBE, SQUARE])
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 1.0])
def test_triangles_of_any_sense_give_the_same_tube(section, share, tmp_path):
    mesh = swept(HOOK, section, 0.3)
    which = np.random.default_rng(7).random(len(mesh.faces)) < share
    (right,) = read(saved(mesh, tmp_path / "a.stl"), MM).tables
    (tube,) = read(saved(turned(mesh, which), tmp_path / "b.stl"), MM).tables
    assert same_table(tube.table, right.table, 1e-4) and tube.deviation == pytest.approx(right.deviation, abs=1e-5)
    assert (tube.section.od, tube.section.wall) == pytest.approx((section.od, section.wall), abs=1e-4)


def test_faces_look_as_a_general_mesh_library_turns_them():
    mesh = swept(HOOK, TUBE, 0.3)
    mixed = turned(mesh, np.random.default_rng(3).random(len(mesh.faces)) < 0.4)
    (body,) = weld(np.array(mixed.vertices), np.array(mixed.faces)).bodies
    ours = trimesh.Trimesh(body.points, body.faces, process=False)
    trimesh.repair.fix_normals(mixed)
    assert ours.is_winding_consistent and ours.volume == pytest.approx(mixed.volume, rel=1e-9) and ours.volume > 0.0
    assert np.allclose(
        np.cross(*np.diff(ours.triangles, axis=1).swapaxes(0, 1)), body.normals * 2 * body.areas[:, None]
    )


def test_a_cavity_within_its_body_keeps_its_sense(tmp_path):
    """A tube closed at both ends is two surfaces: the bore looks into itself, and is known by that."""
    outside = swept(run_of([], 400.0), Section("bar", 38.0, 19.0), 0.1)
    inside = swept(run_of([], 394.0), Section("bar", 33.0, 16.5), 0.1)
    start = outside.bounds.mean(axis=0) - inside.bounds.mean(axis=0)
    inside.apply_translation(start)
    whole = trimesh.util.concatenate([outside, turned(inside, np.ones(len(inside.faces), bool))])
    (tube,) = read(saved(whole, tmp_path / "t.stl"), MM).tables
    assert tube.section.wall == pytest.approx(2.5, abs=1e-4)


def test_an_open_skin_looks_as_most_of_it_did():
    mesh = ringed(HOOK, 19.0, 24, 10.0)
    some = np.arange(len(mesh.faces)) % 3 == 0
    for which in (some, ~some):
        mixed = turned(mesh, which)
        (body,) = weld(np.array(mixed.vertices), np.array(mixed.faces)).bodies
        ours = trimesh.Trimesh(body.points, body.faces, process=False)
        assert body.is_open and ours.is_winding_consistent
        most = mesh if which.sum() * 2 < len(which) else turned(mesh, np.ones(len(mesh.faces), bool))
        assert ours.volume == pytest.approx(most.volume, rel=1e-9)


def test_a_band_with_one_side_is_left_to_be_refused():
    """Its triangles cannot look one way."""
    angle = np.linspace(0.0, 2.0 * np.pi, 41)[:-1]
    across = np.array([-8.0, 8.0])[:, None]
    radius = 60.0 + across * np.cos(angle / 2.0)
    points = np.stack((radius * np.cos(angle), radius * np.sin(angle), across * np.sin(angle / 2.0)), -1).reshape(-1, 3)
    low, high = np.arange(40), np.arange(40, 80)
    next_low, next_high = np.append(low[1:], high[0]), np.append(high[1:], low[0])
    faces = np.concatenate((np.stack((low, next_low, high), 1), np.stack((high, next_low, next_high), 1)))
    (body,) = weld(points, faces).bodies
    assert len(body.faces) == 80 and not trimesh.Trimesh(body.points, body.faces, process=False).is_winding_consistent
