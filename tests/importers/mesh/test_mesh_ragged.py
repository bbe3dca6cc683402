"""Ragged, fused and flat-sided meshes: a table or a reason, in bounded work, never an error of our own."""

from __future__ import annotations

import time

import numpy as np
import pytest
import trimesh
from mesh_tools import ringed, saved, scanned, swept
from places import FIXTURES
from tubes import run_of

from converter.importers.mesh import effort as work
from converter.importers.mesh import read as reader
from converter.importers.mesh.develop import DevelopedRow, _design, _settled_knots
from converter.importers.registry import ReadOptions, read
from converter.model.section import Section

MM = ReadOptions(units="mm")
MESHES = FIXTURES / "mesh"
HOOK = run_of([(200.0, 0.0, 120.0, 80.0), (60.0, 40.0, 45.0, 60.0)], 90.0)
TUBE = Section("round", 38.0, 2.5)


def collapsed(mesh: trimesh.Trimesh, share: float, rng: np.random.Generator) -> trimesh.Trimesh:
    """Edges drawn together at random, as a careless decimation does."""
    edges = mesh.edges_unique[rng.permutation(len(mesh.edges_unique))[: int(share * len(mesh.vertices))]]
    onto = np.arange(len(mesh.vertices))
    for a, b in edges:
        onto[onto == onto[b]] = onto[a]
    return trimesh.Trimesh(mesh.vertices, onto[mesh.faces], process=False)


def holed(mesh: trimesh.Trimesh, share: float, rng: np.random.Generator) -> trimesh.Trimesh:
    """Triangles missing."""
    return trimesh.Trimesh(mesh.vertices, mesh.faces[rng.random(len(mesh.faces)) > share], process=False)


def flipped(mesh: trimesh.Trimesh, share: float, rng: np.random.Generator) -> trimesh.Trimesh:
    """Triangles the wrong way round."""
    turned = rng.random(len(mesh.faces)) < share
    return trimesh.Trimesh(mesh.vertices, np.where(turned[:, None], mesh.faces[:, ::-1], mesh.faces), process=False)


def crumpled(mesh: trimesh.Trimesh, share: float, rng: np.random.Generator) -> trimesh.Trimesh:
    """Vertices slid along an edge, so that rings no longer line up."""
    points = mesh.vertices.copy()
    edges = mesh.edges[rng.permutation(len(mesh.edges))[: int(share * len(points))]]
    points[edges[:, 0]] += rng.random((len(edges), 1)) * (points[edges[:, 1]] - points[edges[:, 0]])
    return trimesh.Trimesh(points, mesh.faces, process=False)


def split(mesh: trimesh.Trimesh, share: float, rng: np.random.Generator) -> trimesh.Trimesh:
    """T-junctions: a side halved in one of its two triangles only."""
    chosen = rng.random(len(mesh.faces)) < share
    a, b, c = mesh.faces[chosen].T
    new = len(mesh.vertices) + np.arange(len(a))
    points = np.concatenate((mesh.vertices, (mesh.vertices[a] + mesh.vertices[b]) / 2.0))
    faces = np.concatenate((mesh.faces[~chosen], np.stack((a, new, c), 1), np.stack((new, b, c), 1)))
    return trimesh.Trimesh(points, faces, process=False)


@pytest.mark.parametrize("how", [collapsed, holed, flipped, crumpled, split])
@pytest.mark.parametrize("share", [0.02, 0.5])
def test_a_ragged_tube_is_a_table_or_a_reason(how, share, tmp_path, monkeypatch):
    """A little of it leaves the table as it was drawn, within what the damage moved; much of it is never silent."""
    monkeypatch.setattr(work, "SECONDS", 1.0)
    mesh = how(ringed(HOOK, 19.0, 12, 15.0), share, np.random.default_rng(7))
    drawing = read(saved(mesh, tmp_path / "t.obj"), MM)
    assert drawing.tables or drawing.ignored
    if how in (holed, flipped, split) and share < 0.1:
        (found,) = drawing.tables
        assert sorted(b.angle for b in found.table.bends) == pytest.approx([45.0, 120.0], abs=1e-4)
    for found in drawing.tables:
        assert len(found.table.bends) == 2 or any(f.severity == "warning" for f in found.findings)


def test_what_fails_in_one_body_is_its_reason_and_the_others_are_read(tmp_path, monkeypatch):
    """An array that becomes too small, deep in the fitting, ends that body alone."""
    measure, calls = reader.measure, []

    def failing(body, effort):
        calls.append(body)
        if len(calls) == 1:
            raise ValueError("Shape of array too small")
        return measure(body, effort)

    monkeypatch.setattr(reader, "measure", failing)
    other = run_of([], 400.0)
    mesh = trimesh.util.concatenate([swept(HOOK, TUBE), ringed(other, 10.0, 12, 15.0).apply_translation((0, 0, 500.0))])
    drawing = read(saved(mesh, tmp_path / "t.stl"), MM)
    assert len(drawing.tables) == 1
    assert [i.why_in() for i in drawing.ignored] == [
        "its surface is too damaged or too ragged for a tube to be fitted to it"
    ]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("freecad-tee", "several tubes fused into one body"),
        ("freecad-square-fused", "of 40.00 x 40.00 mm): several tubes or parts in one body"),
        ("openscad-square-fused", "of 40.00 x 40.00 mm): several tubes or parts in one body"),
    ],
)
def test_fused_tubes_are_refused_by_name(name, words):
    drawing = read(MESHES / f"{name}.stl", MM)
    assert not drawing.tables
    assert [words in i.why_in() for i in drawing.ignored] == [True]


# --- work --------------------------------------------------------------------------------------


def test_the_search_ends_when_its_work_is_used_up_and_says_so(tmp_path, monkeypatch):
    """A noisy scan whose table would be compared with others: with little work the first one stands, with a word."""
    path = saved(scanned(HOOK, 19.0, 6.0, 0.1), tmp_path / "t.ply")
    monkeypatch.setattr(work, "SECONDS", 0.04)
    (found,) = read(path, MM).tables
    assert "mesh-search-ended" in [f.code for f in found.findings]
    assert len(found.table.bends) == 2


def test_bodies_that_no_work_is_left_for_are_counted(tmp_path, monkeypatch):
    """Of five different tubes the largest are read, the rest is told, and nothing is lost between."""
    monkeypatch.setattr(work, "SECONDS", 0.045)
    parts = [ringed(run_of([], 400.0), 10.0 + k, 12, 15.0).apply_translation((0.0, 100.0 * k, 0.0)) for k in range(5)]
    drawing = read(saved(trimesh.util.concatenate(parts), tmp_path / "t.stl"), MM)
    (told,) = [f for f in drawing.findings if f.code == "mesh-not-all-read"]
    assert 0 < len(drawing.tables) < 5
    assert dict(told.values)["unseen"] == 5 - len(drawing.tables) == sum(i.count for i in drawing.ignored)
    assert min(t.section.od for t in drawing.tables) > 20.0 + 2.0 * (4 - len(drawing.tables))


@pytest.mark.slow
def test_time_grows_no_faster_than_triangles(tmp_path):
    """Four times the triangles of a noisy scan take at most eight times the processor time."""

    def seconds(edge: float) -> tuple[float, int]:
        path = saved(scanned(HOOK, 19.0, edge, 0.05), tmp_path / "t.ply")
        read(path, MM)
        start = time.process_time()
        read(path, MM)
        return time.process_time() - start, path.stat().st_size

    (few, small), (many, large) = seconds(8.0), seconds(4.0)
    assert large > 3.5 * small
    assert many < 8.0 * few


def test_moved_knots_find_where_a_row_changes():
    """Closed form: curvature 1/80 from 100 to 180 along the row; knots begun 7 mm off settle within 0.05 radii."""
    s = np.linspace(0.0, 300.0, 301)
    row = DevelopedRow(s, np.zeros((301, 2)), np.zeros((301, 3)))
    bent = [False, True, False]
    true = np.array([0.0, 100.0, 180.0, 300.0])
    row.points[:, 0] = _design(row, true, bent) @ np.array([3.0, 0.1, 1.0 / 80.0])
    knots = _settled_knots(row, np.array([0.0, 107.0, 173.0, 300.0]), bent, 19.0)
    assert knots == pytest.approx(true, abs=0.95)
