"""Bodies made with the kernel, and what the reader makes of them."""

from __future__ import annotations

import cadquery as cq
import pytest
from tubes import run_of

from converter.importers.solids.read import find_tubes
from converter.model.bends import BendTable, Placement
from converter.model.centerline import reverse_table
from converter.model.section import Section

ROUND = Section("round", 30.0, 2.5)


BENT = run_of(
    [(100, 0, 90, 60), (0, 45, 120, 60), (50, 90, 30, 80)], 80, Placement((10, 20, 30), (0.6, 0.8, 0), (0, 0, 1))
)


def tubes(shape, name="part"):
    return find_tubes(getattr(shape, "wrapped", shape), name)


def only(shape):
    found, ignored = tubes(shape)
    assert len(found) == 1, ([x.why_in() for x in ignored], found)
    assert not ignored
    return found[0]


def reason(shape):
    found, ignored = tubes(shape)
    assert not found
    assert len(ignored) == 1 and ignored[0].kind == "solid" and ignored[0].count == 1
    return ignored[0].why_in()


def cylinder(at, along, radius, length):
    return cq.Solid.makeCylinder(radius, length, cq.Vector(*at), cq.Vector(*along))


def pipe(at, along, radius, wall, length):
    return cylinder(at, along, radius, length).cut(cylinder(at, along, radius - wall, length))


def faceted(stl):
    """A mesh made into a solid of flat faces, as CAD programs do."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid, BRepBuilderAPI_Sewing
    from OCP.StlAPI import StlAPI_Reader
    from OCP.TopoDS import TopoDS, TopoDS_Shape

    triangles, sewing = TopoDS_Shape(), BRepBuilderAPI_Sewing(1e-4)
    assert StlAPI_Reader().Read(triangles, str(stl))
    sewing.Add(triangles)
    sewing.Perform()
    return cq.Shape.cast(BRepBuilderAPI_MakeSolid(TopoDS.Shell_s(sewing.SewedShape())).Solid())


def same_table(a: BendTable, b: BendTable, tol: float) -> bool:
    if len(a.bends) != len(b.bends) or abs(a.tail - b.tail) > tol:
        return False
    return all(
        abs(p.feed - q.feed) <= tol
        and abs(p.angle - q.angle) <= tol
        and abs(p.clr - q.clr) <= tol
        and abs((p.rotation - q.rotation + 180.0) % 360.0 - 180.0) <= tol
        for p, q in zip(a.bends, b.bends, strict=True)
    )


def assert_is(found, run, section, tol=1e-6):
    """The table of ``run``, from either end, in place, with its section."""
    ways = [(run.table, run.placement), reverse_table(run.table, run.placement)]
    fits = [
        placement
        for table, placement in ways
        if same_table(found.table, table, tol)
        and all(abs(a - b) <= tol for a, b in zip(found.placement.start, placement.start, strict=True))
        and all(abs(a - b) <= tol for a, b in zip(found.placement.direction, placement.direction, strict=True))
    ]
    assert fits, (found.table, run.table)
    got = found.section
    assert (got.shape, got.wall) == (section.shape, pytest.approx(section.wall))
    assert sorted((got.od, got.height)) == pytest.approx(sorted((section.od, section.height)))
    assert got.corner == pytest.approx(section.corner, abs=tol)


def codes(one):
    return {f.code: f.measured for f in one.findings}


def plate(sides, thick):
    return cq.Workplane("XY").box(sides, sides, thick)


def angle_iron():
    outline = [(0, 0), (40, 0), (40, 4), (4, 4), (4, 40), (0, 40)]
    return cq.Workplane("XY").polyline(outline).close().extrude(300).val()


def spring():
    path = cq.Workplane(obj=cq.Wire.makeHelix(10, 60, 20))
    return cq.Workplane("XZ").center(20, 0).circle(2).sweep(path, isFrenet=True).val()


def shaft():
    return cylinder((0, 0, 0), (0, 0, 1), 20, 100).fuse(cylinder((0, 0, 100), (0, 0, 1), 12, 60))
