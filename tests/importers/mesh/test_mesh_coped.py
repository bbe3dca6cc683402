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
