"""The points that fit-up asks the kernel about: none that lies in metal is left out, and those on a surface are."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from frames import RAIL

from converter.exporters.solids.fit_up import in_wall
from converter.kernel.fit_up import any_inside
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section

TABLES = {
    "bent": BendTable((Bend(80.0, 0.0, 100.0, 90.0), Bend(60.0, 70.0, 45.0, 90.0)), 50.0),
    "mitred": BendTable((Bend(90.0, 0.0, 60.0, None),), 90.0),
}
SECTIONS = [RAIL, Section("rectangular", 40.0, 3.0, height=60.0, corner=6.0), Section("bar", 20.0, 0.0)]


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.shape)
def test_no_point_in_the_metal_is_missed(table, section):
    """Against the kernel's own word on each of many points around a tube."""
    run = Run("T", None, False, TABLES[table], Placement((5.0, -7.0, 3.0), (0.6, 0.8, 0.0), (0.0, 0.0, 1.0)))
    solid = tube_solid(run, section)
    rng = np.random.default_rng(7)
    middles = np.array([p for s in run.centerline for p in (s.start, s.end)])
    near = 0.6 * max(section.od, section.height)
    count = 30 if table == "bent" else 60  # the kernel takes long over bends
    points = middles[rng.integers(len(middles), size=count)] + rng.uniform(-1.0, 1.0, (count, 3)) * near
    chosen = in_wall(points, SimpleNamespace(tube=Tube(run, section), section=section), 5e-5)
    metal = np.array([any_inside([point], solid, 1e-4) for point in points.tolist()])
    assert metal.sum() > 0 and not (metal & ~chosen).any()
    assert not chosen.all()


def test_points_on_the_surfaces_of_round_tube_are_left_out():
    run = Run("T", None, False, BendTable((), 300.0), Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)))
    body = SimpleNamespace(tube=Tube(run, RAIL), section=RAIL)
    out, bore = RAIL.od / 2.0, RAIL.od / 2.0 - RAIL.wall
    across = np.array([out, out - 4e-5, bore, bore + 4e-5, out - 6e-5, bore + 6e-5, (out + bore) / 2.0])
    points = np.column_stack([np.full(7, 150.0), across * 0.6, across * 0.8])
    assert in_wall(points, body, 5e-5).tolist() == [False] * 4 + [True] * 3
