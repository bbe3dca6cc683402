"""The points that fit-up asks the kernel about: none that lies in metal is left out, and those on a surface are."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from frames import RAIL

from converter.exporters.solids.fit_up.distances import in_wall, least_off
from converter.kernel.fit_up import any_inside, gap, gaps
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Bend, BendTable, Placement
from converter.model.metal import metal
from converter.model.run import Run
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
    chosen = in_wall(points, SimpleNamespace(metal=metal(run, section), section=section), 5e-5)
    held = np.array([any_inside([point], solid, 1e-4) for point in points.tolist()])
    assert held.sum() > 0 and not (held & ~chosen).any()
    assert not chosen.all()


def test_points_on_the_surfaces_of_round_tube_are_left_out():
    run = Run("T", None, False, BendTable((), 300.0), Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)))
    body = SimpleNamespace(metal=metal(run, RAIL), section=RAIL)
    out, bore = RAIL.od / 2.0, RAIL.od / 2.0 - RAIL.wall
    across = np.array([out, out - 4e-5, bore, bore + 4e-5, out - 6e-5, bore + 6e-5, (out + bore) / 2.0])
    points = np.column_stack([np.full(7, 150.0), across * 0.6, across * 0.8])
    assert in_wall(points, body, 5e-5).tolist() == [False] * 4 + [True] * 3


@pytest.mark.parametrize("table", TABLES)
def test_no_point_is_said_to_be_further_off_than_the_kernel_finds_it(table):
    """Points in, on and far from two tubes: bounds against the kernel's distances, and the nearer one of each point."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.gp import gp_Pnt

    place = Placement((5.0, -7.0, 3.0), (0.6, 0.8, 0.0), (0.0, 0.0, 1.0))
    runs = [Run("T", None, False, TABLES[table], place), Run("U", None, False, BendTable((), 400.0), Placement())]
    bodies = [SimpleNamespace(metal=metal(run, RAIL), section=RAIL) for run in runs]
    solids = [tube_solid(run, RAIL) for run in runs]
    rng = np.random.default_rng(3)
    middles = np.array([p for s in runs[0].centerline for p in (s.start, s.end)])
    points = middles[rng.integers(len(middles), size=24)] + rng.normal(0.0, 40.0, (24, 3))
    least = [least_off(points, body) for body in bodies]
    vertices = [BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex() for point in points.tolist()]
    away = np.array([[gap(vertex, [solid]) for vertex in vertices] for solid in solids])
    assert (np.array(least) <= away).all() and (np.array(least) > 0.0).any()
    assert gaps(points.tolist(), solids, [one.tolist() for one in least]) == away.min(axis=0).tolist()
