"""Meshes: watertight, as near as promised, named, in the right unit and place."""

from __future__ import annotations

import re
import uuid
import zipfile
from math import pi, radians, sin

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from jobs import job_of as job_of_tubes
from jobs import write_job
from mesh_tools import swept
from strategies import placements, tables
from tubes import AWAY, BAR, FLAT, OVAL, ROUNDED, SHARP, SQUARE, TIGHT, TUBE, run_of, tube_of

from converter.errors import OptionError, WriteError
from converter.exporters.solids.tessellate import arc_steps, bend_steps, outlines
from converter.job import Job
from converter.model.bends import Placement
from converter.model.frames import pieces
from converter.model.run import Run

SECTIONS = {
    "tube": TUBE, "bar": BAR, "square": SQUARE, "sharp": SHARP, "tight": TIGHT, "flat": FLAT, "oval": OVAL,
    "rounded": ROUNDED,
}  # fmt: skip
FOUR = [(250.0, 0.0, 90.0, 120.0), (80.0, 90.0, 45.0, 120.0), (0.0, -30.0, 200.0, 100.0), (20.0, 180.0, 30.0, 150.0)]
LENGTH = 350.0 + sum(c * radians(a) for _, _, a, c in FOUR) + 60.0


def assert_sound(mesh: trimesh.Trimesh, rings: int = 0) -> None:
    """A closed orientable surface without slivers of no area; ``rings`` handles: V - E + F = 2 - 2 rings."""
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0.0
    assert mesh.area_faces.min() > 0.0
    assert mesh.euler_number == 2 - 2 * rings


def polygon_area(points: np.ndarray) -> float:
    x, y = points[:, 0], points[:, 1]
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2.0)


@pytest.mark.parametrize("name", SECTIONS)
def test_volume_is_that_of_the_chords(name):
    """A section swept by n chords of a circle: area R n sin(angle / n) instead of area R angle (elementary).

    So the mesh's volume is known exactly, and lies below Pappus' by less than the tolerance explains.
    """
    section = SECTIONS[name]
    run = run_of(FOUR, 60.0, AWAY)
    mesh = swept(run, section)
    assert_sound(mesh, rings=0 if name == "bar" else 1)
    loops = outlines(section, 0.05)
    area = polygon_area(loops[0]) - (polygon_area(loops[1]) if len(loops) > 1 else 0.0)
    exact = 0.0
    for piece in pieces(run.table, run.placement):
        if piece.arc is None:
            exact += area * piece.length
        else:
            n = bend_steps(piece, section, 0.05)
            exact += area * piece.arc.radius * n * sin(radians(piece.arc.angle) / n)
    assert mesh.volume == pytest.approx(exact, rel=1e-9)
    assert mesh.volume < section.area * LENGTH


@pytest.mark.slow
@pytest.mark.parametrize("name", SECTIONS)
def test_finer_is_nearer(name):
    """From below to Pappus' volume, by no more than a skin as thick as the tolerance holds."""
    section = SECTIONS[name]
    run = run_of(FOUR, 60.0, AWAY)
    losses = []
    for chord in (0.5, 0.05, 0.005):
        mesh = swept(run, section, chord)
        losses.append(section.area * LENGTH - mesh.volume)
        assert 0.0 < losses[-1] < mesh.area * chord
    assert losses[0] > losses[1] > losses[2]


@pytest.mark.parametrize("chord", [1.0, 0.1, 0.01])
def test_no_triangle_strays_more_than_the_tolerance(chord):
    """Distance of every vertex and many points on triangles from the true surface of a tube in a bend.

    The true distance from the axis circle is known in closed form: hypot(hypot(x, y) - R, z) - r.
    """
    run = run_of([(0.0, 0.0, 270.0, 120.0)], 0.0, Placement((120.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
    mesh = swept(run, BAR, chord)
    rng = np.random.default_rng(7)
    weights = rng.dirichlet((1.0, 1.0, 1.0), 20)
    corners = mesh.triangles[: len(mesh.faces) - 2 * (len(outlines(BAR, chord / 2.0)[0]) - 2)]
    points = np.einsum("kw,nwd->knd", weights, corners).reshape(-1, 3)
    off = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 120.0, points[:, 2]) - 12.5
    # chords lie inside the metal but on the inside of the bend, where they cut across the hollow
    assert np.abs(off).max() <= chord
    assert np.abs(off).max() > chord / 20.0
    on = np.hypot(np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]) - 120.0, mesh.vertices[:, 2]) - 12.5
    assert np.abs(on).max() < 1e-9


def test_steps_of_an_arc_by_hand():
    """Half a step is acos(1 - chord / r): 8.1096 degrees for 1 on 100, but a step is never more than 15 degrees."""
    assert arc_steps(100.0, 360.0, 1.0) == 24
    assert arc_steps(1000.0, 360.0, 1.0) == 71  # 2 acos(0.999) = 5.1254 degrees
    assert arc_steps(0.0, 90.0, 0.1) == 6
    assert arc_steps(10.0, 3.0, 0.1) == 1


@pytest.mark.parametrize("name", SECTIONS)
def test_closed_runs(name):
    """A ring of tube is two closed surfaces, one inside the other (each a torus: V - E + F = 0)."""
    section = SECTIONS[name]
    run = run_of([(100.0, 0.0, 180.0, 120.0), (200.0, 0.0, 180.0, 120.0)], 100.0, AWAY, closed=True)
    mesh = swept(run, section)
    assert_sound(mesh, rings=1)  # 2 - 2 = 0, and so are two tori
    assert mesh.body_count == (1 if name == "bar" else 2)
    exact = section.area * (400.0 + 240.0 * pi)
    assert exact * 0.99 < mesh.volume < exact


def test_a_loop_in_space_closes_although_its_frame_returns_turned():
    """Seven right angles that bring the section back turned by a quarter."""
    rows = [
        (40.0, 0.0, 90.0, 60.0), (180.0, 90.0, 90.0, 60.0), (180.0, -90.0, 90.0, 60.0), (280.0, 90.0, 90.0, 60.0),
        (180.0, 0.0, 90.0, 60.0), (80.0, -90.0, 90.0, 60.0), (180.0, 180.0, 90.0, 60.0),
    ]  # fmt: skip
    run = run_of(rows, 40.0, closed=True)
    for section in (TUBE, BAR, SQUARE, SHARP, TIGHT, ROUNDED):
        mesh = swept(run, section)
        assert_sound(mesh, rings=1)
        exact = section.area * (1160.0 + 210.0 * pi)
        assert exact * 0.99 < mesh.volume < exact * (1.0 + 1e-9)


def test_mitres():
    """The mesh of mitred straights of sharp square tube has no chords at all: its volume is exact."""
    rows = [(100.0, 0.0, 90.0, None), (180.0, 30.0, 45.0, None)]
    mesh = swept(run_of(rows, 70.0, AWAY), SHARP)
    assert_sound(mesh, rings=1)
    assert mesh.volume == pytest.approx((38.1**2 - 33.9**2) * 350.0, rel=1e-9)
    box = swept(run_of([(100.0, 0.0, 90.0, None)], 100.0), SHARP).bounds
    assert box == pytest.approx(np.array([[0.0, -19.05, -19.05], [119.05, 100.0, 19.05]]), abs=1e-9)


def test_the_section_rolls_with_the_tube():
    """First bend from +x toward +y: 50 (od) along z, 30 (height) along y."""
    box = swept(run_of([(100.0, 0.0, 90.0, 120.0)], 50.0), FLAT).bounds
    assert box == pytest.approx(np.array([[0.0, -15.0, -25.0], [235.0, 170.0, 25.0]]), abs=1e-9)


@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(tables(most=10), placements(), st.sampled_from(sorted(SECTIONS)))
def test_random_tubes_are_sound(table, placement, name):
    section = SECTIONS[name]
    run = Run("random", None, False, table, placement)
    assume(all(p.arc is None or p.arc.radius > section.outer.support(p.roll) + 0.01 for p in pieces(table, placement)))
    mesh = swept(run, section, 0.5)
    assert_sound(mesh, rings=0 if name == "bar" else 1)
    exact = section.area * table.developed_length
    assert exact * 0.9 < mesh.volume <= exact * (1.0 + 1e-9)


@pytest.mark.parametrize("chord", [0.0, -1.0, 1e-9, 1e9, float("nan")])
def test_a_senseless_tolerance_is_refused(chord):
    with pytest.raises(OptionError, match="mesh tolerance"):
        swept(run_of([], 100.0), TUBE, chord)


# --- files ---------------------------------------------------------------------------------

NAMES = ["left rail", "Ünï-☃", "a/b\\..'\"=@", "x" * 200, "bell\x07", "world"]
READ = ["left rail", "Ünï-☃", "a/b\\..'\"=@", "x" * 200, "bell\ufffd", "world (2)"]


def job_of(names=NAMES, far: float = 0.0) -> Job:
    tubes = tuple(
        tube_of(run_of(FOUR, 60.0, Placement((far, 1000.0 * i, 25.0)), name=name), SQUARE if i % 2 else TUBE)
        for i, name in enumerate(names)
    )
    return job_of_tubes(tubes, "dock.dxf")


def placed(scene: trimesh.Scene) -> dict[str, trimesh.Trimesh]:
    """The scene's meshes by name, moved to where its nodes put them."""
    found = {}
    for node in scene.graph.nodes_geometry:
        transform, geometry = scene.graph[node]
        assert geometry not in found
        found[geometry] = scene.geometry[geometry].copy().apply_transform(transform)
    return found


def test_the_uuids_of_a_3mf_follow_from_its_meshes(tmp_path):
    """The mesh library draws them by lot; they differ within a file and between jobs, and stay for the same job."""

    def written(folder: str, job: Job) -> tuple[bytes, list[str]]:
        [path] = write_job(job, tmp_path / folder, ["3mf"])
        with zipfile.ZipFile(path) as archive:
            text = archive.read("3D/3dmodel.model").decode("utf-8")
        return path.read_bytes(), re.findall(r'UUID="([^"]*)"', text)

    # a name that looks like what is replaced
    one = job_of(["rail", 'p:UUID="no"'])
    first, numbers = written("one", one)
    again, _ = written("two", one)
    _, others = written("three", job_of(["rail", 'p:UUID="no"'], far=1.0))
    assert first == again
    assert [uuid.UUID(number).version for number in numbers] == [5] * 5, "two objects, the build and its two items"
    assert len(set(numbers) | set(others)) == 10
    assert 'p:UUID="no"' in trimesh.load_scene(tmp_path / "one" / "dock.3mf", process=False).geometry


def test_3mf_is_in_millimetres_with_names(tmp_path):
    job = job_of()
    write_job(job, tmp_path, ["3mf"])
    with zipfile.ZipFile(tmp_path / "dock.3mf") as archive:
        text = archive.read("3D/3dmodel.model").decode("utf-8")
    assert 'unit="millimeter"' in text
    found = placed(trimesh.load_scene(tmp_path / "dock.3mf", process=False))
    assert sorted(found) == sorted(READ)
    for mesh, tube in zip([found[name] for name in READ], job.tubes, strict=True):
        ours = swept(tube.run, tube.section)
        assert mesh.is_watertight
        # vertices are written to a nanometre
        assert mesh.volume == pytest.approx(ours.volume, rel=1e-7)
        assert mesh.bounds == pytest.approx(ours.bounds, abs=1e-6)


def test_glb_is_in_metres_y_up_with_names_and_colours(tmp_path):
    """glTF 2.0 section 3.4: metres, +y up. Drawing x, y, z becomes x, z, -y."""
    job = job_of(far=1e7)
    write_job(job, tmp_path, ["glb"])
    data = (tmp_path / "dock.glb").read_bytes()
    assert data[:4] == b"glTF"
    found = placed(trimesh.load_scene(tmp_path / "dock.glb", process=False))
    assert sorted(found) == sorted(READ)
    colors = []
    for mesh, tube in zip([found[name] for name in READ], job.tubes, strict=True):
        ours = swept(tube.run, tube.section)
        mesh.merge_vertices()
        assert mesh.is_watertight
        # single precision near the tube's own start: a tenth of a micrometre, not the metre that 1e7 mm would leave
        assert mesh.volume == pytest.approx(ours.volume * 1e-9, rel=1e-5)
        low, high = ours.bounds / 1000.0
        assert mesh.bounds[0] == pytest.approx([low[0], low[2], -high[1]], abs=2e-6)
        assert mesh.bounds[1] == pytest.approx([high[0], high[2], -low[1]], abs=2e-6)
        colors.append(tuple(mesh.visual.material.baseColorFactor))
    assert colors[0] == colors[2] != colors[1] == colors[3]


def test_stl_is_binary_millimetres(tmp_path):
    job = job_of(["a", "b"])
    write_job(job, tmp_path, ["stl"])
    data = (tmp_path / "dock.stl").read_bytes()
    ours = [swept(t.run, t.section) for t in job.tubes]
    count = sum(len(m.faces) for m in ours)
    # 80 bytes of header, a count, 50 bytes per triangle: the format's own definition
    assert len(data) == 84 + 50 * count
    assert int.from_bytes(data[80:84], "little") == count
    mesh = trimesh.load_mesh(tmp_path / "dock.stl")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(sum(m.volume for m in ours), rel=1e-5)
    assert mesh.bounds == pytest.approx(trimesh.util.concatenate(ours).bounds, abs=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["stl", "3mf", "glb"])
def test_one_file_each(tmp_path, kind):
    paths = write_job(job_of(), tmp_path, [kind], one_file=False)
    assert len(set(paths)) == len(NAMES)
    assert paths[0].name == f"dock-left rail.{kind}"
    for path in paths:
        scene = trimesh.load_scene(path)
        assert len(scene.geometry) == 1


@pytest.mark.parametrize("kind", ["stl", "3mf", "glb"])
def test_nothing_to_write_is_one_sentence(tmp_path, kind):
    job = job_of(["a"])
    bare = job_of_tubes((tube_of(job.tubes[0].run, None),))
    with pytest.raises(WriteError, match="--section"):
        write_job(bare, tmp_path / "x", [kind])
    assert not (tmp_path / "x").exists()


def test_a_3mf_holds_only_legal_xml(tmp_path):
    """XML 1.0 allows no control characters but tab, line feed and return."""
    write_job(job_of(["".join(map(chr, range(32))) + "\ud800\ufffe"]), tmp_path, ["3mf"])
    with zipfile.ZipFile(tmp_path / "dock.3mf") as archive:
        text = archive.read("3D/3dmodel.model").decode("utf-8")
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe]", text)
