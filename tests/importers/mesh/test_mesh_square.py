"""Square and rectangular tube and bar out of meshes: random ones give their table back, what is none is named."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
import trimesh
from eval_mesh_square import judge
from flat_meshes import by_kernel, flat_mesh
from member_bodies import box, tube_along_x
from mesh_tools import saved, swept
from tubes import run_of

from converter.findings import Clause
from converter.importers.mesh.square.proof import walls_of, why_without_walls
from converter.importers.mesh.square.rows import SquareSizes, stretches_of
from converter.importers.mesh.weld import weld
from converter.importers.registry import ReadOptions, read
from converter.model.bends import BendTable, Placement
from converter.model.drawing import Drawing
from converter.model.section import Section

MM = ReadOptions(units="mm")
SQUARE = Section("square", 38.1, 2.1, corner=4.0)
ROWS = [(250.0, 0.0, 90.0, 120.0), (80.0, 90.0, 45.0, 120.0)]
RUN = run_of(ROWS, 200.0, Placement((30.0, 40.0, 50.0), (0.6, 0.0, 0.8), (0.0, 1.0, 0.0)))


def drawn(mesh: trimesh.Trimesh, tmp_path, kind: str = "obj") -> Drawing:
    return read(saved(mesh, tmp_path / f"t.{kind}"), MM)


@pytest.mark.parametrize(
    ("kind", "seeds"),
    [
        ("swept", (0, 2, 3)),
        ("kernel", (0, 2, 3, 5)),
        ("mitred", (0, 1, 3)),
        ("coped", (0,)),
        ("drilled", (0, 1)),
        ("single", (0,)),
    ],
)
def test_a_random_tube_comes_back(kind, seeds):
    """Section, straights, rotations, angles and radii to 1e-3 mm and degrees, whatever its ends and its mesh."""
    for seed in seeds:
        what, said, text = judge(flat_mesh(kind, seed), kind == "coped")
        assert (what, said) == ("right", False), f"{kind} {seed}: {text}"


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["remeshed", "noisy"])
def test_what_a_rough_mesh_leaves_open_is_said(kind):
    """With vertices strewn over the sides, and scattered: right, or refused, or said to be in doubt."""
    for seed in (0, 3):
        what, said, text = judge(flat_mesh(kind, seed), False)
        assert what != "wrong" or said, f"{kind} {seed}: {text}"


@pytest.mark.parametrize("kind", ["stl", "obj", "3mf", "glb"])
def test_every_format(kind, tmp_path):
    mesh = swept(RUN, SQUARE, 1.0)
    if kind == "glb":
        mesh.apply_scale(0.001)
    drawing = read(saved(mesh, tmp_path / f"t.{kind}"), ReadOptions() if kind in ("3mf", "glb") else MM)
    (table,) = drawing.tables
    assert table.section is not None
    assert (table.section.shape, table.section.od, table.section.wall, table.section.corner) == (
        "square",
        pytest.approx(38.1, abs=1e-3),
        pytest.approx(2.1, abs=1e-3),
        pytest.approx(4.0, abs=5e-3),
    )
    # end A is the end that comes first by x
    assert [(b.rotation, b.angle, b.clr) for b in table.table.bends] == [
        pytest.approx((0.0, 90.0, 120.0), abs=2e-3),
        pytest.approx((90.0, 45.0, 120.0), abs=2e-3),
    ]
    assert table.table.straights == pytest.approx((250.0, 80.0, 200.0), abs=2e-3)
    assert table.deviation < 1e-3


def test_the_end_of_a_cut_is_where_it_crosses_the_axis(tmp_path):
    """A bar of 40 x 20 cut at 45 degrees across its width: its axis ends in the middle, the point is 20 further."""
    bar = (
        cq.Workplane("YZ")
        .rect(40, 20)
        .extrude(400)
        .cut(cq.Workplane("XY").polyline([(400, -20), (400, 20), (360, 20)]).close().extrude(60, both=True))
    )
    (table,) = drawn(by_kernel(bar.val(), 40.0, 1.0), tmp_path).tables
    assert table.section is not None
    assert (table.section.shape, table.section.od, table.section.height) == (
        "flat-bar",
        pytest.approx(40.0),
        pytest.approx(20.0),
    )
    assert table.table.tail == pytest.approx(380.0, abs=1e-4)
    assert table.metal == pytest.approx((0.0, 20.0), abs=1e-4)
    assert [f.variant for f in table.findings if f.code == "solid-ends"] == ["cut"]
    assert [f.variant for f in table.findings if f.code == "mesh-skin"] == ["flat"]


def test_a_cope_says_to_where_its_length_runs(tmp_path):
    tube = tube_along_x(60, 40, 3, 400).cut(cq.Solid.makeCylinder(45, 200, cq.Vector(0, 0, -100), cq.Vector(0, 0, 1)))
    longest = max(tube.Solids(), key=lambda one: one.Volume())
    (table,) = drawn(by_kernel(longest, 60.0, 0.5), tmp_path).tables
    (told,) = [f for f in table.findings if f.code == "solid-ends"]
    # the longest point lies at the edges of the width, 45 cos(asin(30 / 45)) from the mate's axis
    assert (told.variant, told.end) == ("edge", "A")
    assert table.metal is not None
    assert table.table.tail + table.metal[0] == pytest.approx(400.0 - np.sqrt(45.0**2 - 30.0**2), abs=0.05)


def test_what_else_is_on_a_tube_is_told(tmp_path):
    """A lug of 30 x 10 x 6 and a window: the tube, and what is more or less than it."""
    tube = tube_along_x(60, 40, 3, 600)
    (table,) = drawn(by_kernel(tube.fuse(box((200, -5, 15), (30, 10, 15))), 60.0, 1.0), tmp_path).tables
    (rest,) = [f for f in table.findings if f.code == "mesh-rest"]
    assert dict(rest.value_pairs)["away"] == pytest.approx(10.0, abs=0.1)
    assert table.table.tail == pytest.approx(600.0, abs=1e-4)
    (table,) = drawn(by_kernel(tube.cut(box((200, -25, 0), (120, 50, 30))), 60.0, 1.0), tmp_path).tables
    assert [f.variant for f in table.findings if f.code == "solid-volume"] == ["less"]


REFUSED = {
    "a plate or block: solid": box((0, 0, 0), (300, 200, 10)),
    "a flat oval": cq.Workplane("YZ").slot2D(60, 20).extrude(400).val(),
    "no square or rectangular tube": cq.Workplane("YZ")
    .polyline([(0, 0), (40, 0), (40, 4), (4, 4), (4, 40), (0, 40)])
    .close()
    .extrude(300)
    .val(),
}


def test_walls_are_proven_by_metal_in_them():
    """A window along one wall takes that wall; a full section has metal where the bore would be."""
    sizes = SquareSizes(60.0, 40.0, 0.0, 3.0, 0.0)
    tube = tube_along_x(60, 40, 3, 400)  # its width along y
    along_x = Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    stretches = stretches_of(BendTable((), 400.0), along_x)
    for solid, why in (
        (tube, None),
        (tube.cut(box((30, -20, 10), (340, 40, 20))), Clause.of("solid-wall-missing", missing=1)),
        (box((0, -30, -20), (400, 60, 40)), Clause.of("solid-bore-filled")),
    ):
        mesh = by_kernel(solid, 60.0, 1.0)
        (body,) = weld(np.array(mesh.vertices), np.array(mesh.faces)).bodies
        assert why_without_walls(walls_of(body, stretches, 400.0, sizes), sizes) == why


@pytest.mark.parametrize("says", REFUSED)
def test_what_only_looks_like_one_is_named(says, tmp_path):
    drawing = drawn(by_kernel(REFUSED[says], 60.0, 1.0), tmp_path)
    assert not drawing.tables
    assert says in " ".join(one.why_in() for one in drawing.ignored)


def test_a_closed_loop_is_refused_by_name(tmp_path):
    loop = run_of([(100.0, 0.0, 180.0, 120.0), (200.0, 0.0, 180.0, 120.0)], 100.0, closed=True)
    drawing = drawn(swept(loop, Section("square-bar", 30.0, 15.0, corner=3.0), 0.5), tmp_path)
    assert not drawing.tables
    assert "closed loop" in drawing.ignored[0].why_in()
