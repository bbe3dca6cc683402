"""What is one body with a round tube in a mesh and is not the tube: told with its share and its place, in no table.

Bodies are made and meshed by cadquery's kernel; areas are the kernel's own, of the solids before they were meshed.
"""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
import trimesh
from mesh_tools import saved, scanned, swept
from tube_bodies import cylinder, pipe
from tubes import run_of

from converter.importers.mesh.read import HOLLOW
from converter.importers.registry import ReadOptions, read
from converter.kernel.shapes.solids import tube_solid
from converter.model.section import Section

X, Y = (1, 0, 0), (0, 1, 0)
#: 300 mm, 30 degrees on 150 mm, 200 mm.
BENT = run_of([(300.0, 0.0, 30.0, 150.0)], 200.0)
TUBE = Section("round", 42.4, 2.6)


def meshed(shape, folder, name="m.stl", by=(0.0, 0.0, 0.0)):
    points, faces = shape.tessellate(0.1, 0.35)
    mesh = trimesh.Trimesh(np.array([p.toTuple() for p in points]) + np.array(by), faces)
    return read(saved(mesh, folder / name), ReadOptions(units="mm"))


def rest_of(table):
    return [finding for finding in table.findings if finding.code == "mesh-rest"]


def bent():
    return cq.Shape.cast(tube_solid(BENT, TUBE))


@pytest.mark.parametrize("by", [(0.0, 0.0, 0.0), (5000.0, -300.0, 70.0)])
def test_a_strut_on_a_bent_tube(by, tmp_path):
    tube = bent()
    strut = pipe((150, 0, 0), Y, 12.5, 2, 200).cut(cylinder((-50, 0, 0), X, 21.2, 400))
    body = tube.fuse(strut)
    (table,) = meshed(body, tmp_path, by=by).tables
    (bend,) = table.table.bends
    assert (bend.feed, bend.angle, bend.clr, table.table.tail) == pytest.approx((300, 30, 150, 200), abs=1e-3)
    (rest,) = rest_of(table)
    # all of the strut but where it meets the tube, whose metal it takes away there
    share = 100.0 * (strut.Area() - (tube.Area() + strut.Area() - body.Area()) / 2.0) / body.Area()
    assert rest.measured == pytest.approx(share, rel=0.03) and rest.severity == "warning"
    values = dict(rest.value_pairs)
    assert values["away"] == pytest.approx(200.0 - 21.2, abs=0.5)
    # from the saddle's nearest point, sqrt(21.2^2 - 12.5^2) = 17.1, to the strut's end
    middle = np.array((150.0, (17.1 + 200.0) / 2.0, 0.0)) + np.array(by)
    assert rest.at == values["place"] == pytest.approx(middle, abs=1.0)


def test_a_flange_on_the_end(tmp_path):
    flange = cylinder((-8, 0, 0), X, 50, 8).cut(cylinder((-8, 0, 0), X, 18, 8))
    (table,) = meshed(pipe((0, 0, 0), X, 20, 2, 600).fuse(flange), tmp_path).tables
    (rest,) = rest_of(table)
    assert rest.at == pytest.approx((-4, 0, 0), abs=0.3) and "30.00 mm off it" in rest.message
    assert table.table.developed_length == pytest.approx(600, abs=1e-3), "to the flange: what is told has to be seen"


def test_a_lug_of_few_triangles_on_a_fine_mesh(tmp_path):
    lug = cq.Solid.makeBox(30, 20, 6, cq.Vector(100, 20, -3))
    points, faces = bent().fuse(lug).tessellate(0.01, 0.05)
    mesh = trimesh.Trimesh([p.toTuple() for p in points], faces).subdivide_to_size(4.0)
    assert len(mesh.faces) > 40_000
    (table,) = read(saved(mesh, tmp_path / "fine.stl"), ReadOptions(units="mm")).tables
    (rest,) = rest_of(table)
    assert rest.at == pytest.approx((115, 30, 0), abs=1.0)


def test_tubes_alone_have_no_rest(tmp_path):
    """Coped, drilled, capped, mitred, scanned with noise; what is cut out of a tube is no rest."""
    cope = cylinder((0, 0, -200), (0, 0, 1), 24.15, 400)
    coped = max(bent().cut(cope).Solids(), key=lambda one: one.Volume())
    drilled = bent().cut(cylinder((150, -100, 0), Y, 6, 200))
    box = cq.Solid.makeBox(200, 200, 200, cq.Vector(-200, -100, -100)).rotate((0, 0, 0), (0, 0, 1), 40)
    slant = bent().cut(box.translate(cq.Vector(40, 0, 0)))
    capped = bent().fuse(cylinder((-5, 0, 0), X, 21.2, 5))
    for number, shape in enumerate((coped, drilled, slant, capped)):
        (table,) = meshed(shape, tmp_path, f"{number}.stl").tables
        assert not rest_of(table), number
        # the drawn table, cut where the plane crosses the axis; the cap's length is the tube's
        (bend,) = table.table.bends
        feed = {2: 260.0, 3: 305.0}.get(number, 300.0)
        found = (bend.feed, bend.angle, bend.clr, table.table.tail)
        assert found == pytest.approx((feed, 30, 150, 200), abs=1e-3), number
    noisy = scanned(BENT, 21.2, 4.0, 0.15)
    for number, mesh in enumerate((noisy, swept(BENT, TUBE))):
        (table,) = read(saved(mesh, tmp_path / f"m{number}.stl"), ReadOptions(units="mm")).tables
        assert not rest_of(table), number


def test_the_bore_of_a_rail_in_a_frame_is_no_bar(tmp_path):
    """Two posts and a rail as one body: the rail's bore is a closed surface, which was a bar of 26 mm."""
    posts = [pipe((0, y, 0), X, 20, 2, 600) for y in (0, 400)]
    rail = pipe((300, 0, 0), Y, 15, 2, 400)
    for y in (0, 400):
        rail = rail.cut(cylinder((0, y, 0), X, 20, 600))
    frame = posts[0].fuse(posts[1], rail)
    drawing = meshed(frame, tmp_path)
    assert not drawing.tables
    assert [(one.kind, one.count) for one in drawing.ignored if one.why == HOLLOW] == [("body", 1)]
