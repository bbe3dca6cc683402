"""Straights coped at both ends, as CAD kernels mesh them: no vertex lies between the cuts."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
from tube_bodies import cylinder, pipe

from converter.importers.registry import read


@pytest.mark.parametrize("leaning", [0.0, 20.0])
@pytest.mark.parametrize(("radius", "wall"), [(16.0, 2.0), (24.0, 4.0), (12.0, 0.9)])
def test_a_straight_between_two_saddles_is_one_with_its_own_section_and_length(radius, wall, leaning, tmp_path):
    """Faces of a saddle look toward the axis, as the bore does: their edge on the outside was taken for its.

    Expected by hand: from the middle of one post to that of the other there are 400 mm; of posts as wide as the rail
    the saddle's longest point lies beside the post's axis, where the outside is tangent to it.
    """
    way = np.array([np.cos(np.radians(leaning)), 0.0, np.sin(np.radians(leaning))])
    rail = pipe((0, 0, 0), way, radius, wall, 400.0)
    for middle in (np.zeros(3), 400.0 * way):
        rail = rail.cut(cylinder(middle - (0, 0, 200), (0, 0, 1), radius, 400.0))
    path = tmp_path / "rail.stl"
    cq.exporters.export(cq.Workplane(rail), str(path), tolerance=0.1, angularTolerance=0.15)
    (found,) = read(path).tables
    assert not found.table.bends and not [f for f in found.findings if f.severity == "error"]
    assert (found.section.od, found.section.wall) == (
        pytest.approx(2 * radius, abs=1e-3),
        pytest.approx(wall, abs=1e-3),
    )
    assert abs(np.dot(found.placement.direction, way)) == pytest.approx(1.0, abs=1e-9)
    assert found.table.tail + sum(found.metal) == pytest.approx(400.0, abs=0.5)
    assert found.deviation < 1e-3


def _coped(path, mates):
    """A rail of 400 mm along x from the origin, cut there by cylinders (point, direction, radius), as an STL."""
    rail = pipe((0, 0, 0), (1, 0, 0), 15.0, 2.0, 400.0)
    for at, along, radius in mates:
        way = np.array(along, float) / np.linalg.norm(along)
        rail = rail.cut(cylinder(np.array(at) - 200.0 * way, way, radius, 400.0))
    longest = max(rail.Solids(), key=lambda solid: solid.Volume())
    cq.exporters.export(cq.Workplane(longest), str(path), tolerance=0.1, angularTolerance=0.15)


@pytest.mark.parametrize("file", ["rail.stl", "rail.step"])
@pytest.mark.parametrize(
    ("at", "along", "radius", "place"),
    [
        ((0, 0, 0), (0, 0, 1), 15.0, 0.0),
        ((0, 0, 0), (0, 0.6, 0.8), 40.0, 0.0),
        ((0, 0, 0), (1, 0, 1), 24.0, 0.0),
        ((30, 0, 0), (1, 2, 1), 20.0, 30.0),
        # beside the rail's axis by 6 mm: nearest to it where the cross product of the axes says
        ((10, 6, 0), (0, 0, 1), 30.0, 10.0),
    ],
)
def test_a_coped_end_goes_to_the_axis_of_its_mate_in_meshes_as_in_solids(at, along, radius, place, file, tmp_path):
    """It was 17 mm short of it in a mesh, at the mean of the saddle's edge, without a word."""
    if file.endswith("stl"):
        _coped(tmp_path / file, [(at, along, radius)])
    else:
        rail = pipe((0, 0, 0), (1, 0, 0), 15.0, 2.0, 400.0)
        way = np.array(along, float) / np.linalg.norm(along)
        rail = rail.cut(cylinder(np.array(at) - 200.0 * way, way, radius, 400.0))
        longest = max(rail.Solids(), key=lambda solid: solid.Volume())
        cq.exporters.export(cq.Workplane(longest), str(tmp_path / file))
    (found,) = read(tmp_path / file).tables
    assert found.placement.start == pytest.approx((place, 0.0, 0.0), abs=2e-3)
    assert found.table.tail == pytest.approx(400.0 - place, abs=2e-3)
    assert [(f.variant, f.end) for f in found.findings if f.code == "solid-ends"] == [("mate", "A")]


def test_an_end_cut_to_two_mates_of_a_mesh_is_told_as_no_plane(tmp_path):
    _coped(tmp_path / "rail.stl", [((0, 0, 0), (0, 0, 1), 20.0), ((0, 0, 0), (1, 1, 0), 20.0)])
    (found,) = read(tmp_path / "rail.stl").tables
    assert [(f.variant, f.end) for f in found.findings if f.code == "solid-ends"] == [("edge", "A")]


def test_noise_on_a_cope_tells_the_axis_of_its_mate_or_that_it_does_not(tmp_path):
    """A cylinder through a noisy edge leaves the place open by more the larger the mate is."""
    import trimesh

    variants = set()
    for radius in (16.0, 60.0):
        _coped(tmp_path / "rail.stl", [((0, 0, 0), (0, 0, 1), radius)])
        mesh = trimesh.load_mesh(tmp_path / "rail.stl")
        mesh.vertices += np.random.default_rng(4).normal(0.0, 0.02, mesh.vertices.shape)
        mesh.export(tmp_path / "noisy.stl")
        (found,) = read(tmp_path / "noisy.stl").tables
        (told,) = [f for f in found.findings if f.code == "solid-ends" and f.end == "A"]
        assert told.variant == "edge" or found.placement.start[0] == pytest.approx(0.0, abs=0.4)
        variants.add(told.variant)
    assert variants == {"mate", "edge"}
