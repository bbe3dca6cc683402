"""Random tubes against the CAD kernel, each a table a bender could in principle make, placed anywhere.

The kernel builds the wire and the solid; its own integrals of length and volume are held against the table's, the end
of the wire and of the table against one another, and both against a frame that the kernel's own translations and
rotations carry along the table. Volume is area times developed length (Pappus: the section's centroid lies on the
centerline), the area by closed forms of its own.
"""

from __future__ import annotations

from math import cos, pi, radians, sin
from random import Random

from kernel_probe import assert_sound, kernel_length, kernel_volume
from tubes import metal_area

from converter.geometry.vectors import Vec, cross, distance, dot, unit
from converter.model.bends import Bend, BendTable, Placement
from converter.model.frames import pieces
from converter.model.run import Run
from converter.model.section import SHAPES, Section

#: mm from the origin: a tube is drawn near it, or in the coordinates of a site.
FAR = (0.0, 1e3, 1e7)
#: mm: how far lengths and ends may be off near the origin, and per mm from it (doubles keep 1.2e-16 of it; the kernel
#: adds up several).
CLOSE, PER_FAR = 1e-9, 2e-15


def random_run(rng: Random) -> tuple[Run, float]:
    """A run and how far from the origin it lies, mm."""
    bends = []
    for i in range(rng.choice((1, 1, 2, 3, 5, 8, 12))):
        rotation = 0.0 if i == 0 else rng.choice((0.0, 90.0, -90.0, 180.0, rng.uniform(-179.0, 180.0)))
        angle = rng.choice((45.0, 90.0, 180.0, rng.uniform(0.5, 330.0)))
        bends.append(Bend(rng.uniform(0.5, 500.0), rotation, angle, rng.uniform(30.0, 300.0)))
    far = rng.choice(FAR)
    start = tuple(rng.uniform(-far, far) for _ in range(3))
    a, b, c = (rng.uniform(0.0, 2.0 * pi) for _ in range(3))
    z = (sin(b) * cos(a), sin(b) * sin(a), cos(b))
    x = (cos(b) * cos(a), cos(b) * sin(a), -sin(b))
    y = cross(z, x)
    ahead = unit(tuple(cos(c) * x[k] + sin(c) * y[k] for k in range(3)))
    normal = unit(cross(ahead, cross(z, ahead)))
    table = BendTable(tuple(bends), rng.uniform(0.5, 500.0))
    return Run("random", None, False, table, Placement(start, ahead, normal)), far


def random_section(rng: Random, most: float = 50.0) -> Section:
    """Any shape of section, thin to solid, with corners from sharp to all of its side."""
    shape = rng.choice(list(SHAPES.values()))
    across, height = rng.uniform(6.0, most), rng.uniform(6.0, most)
    if shape.die_sizes == 1:
        height = across
    small = min(across, height)
    _, od, wall, height, corner = shape.filling(across, height, small * rng.uniform(0.03, 0.45))
    if "corner" in shape.table_sizes:
        corner = small * rng.choice((0.0, 0.5, rng.uniform(0.05, 0.45)))
    return Section(shape.name, od, wall, height, corner)


def bendable(run: Run, section: Section) -> bool:
    """Whether every bend is wider than the section reaches toward its centre."""
    found = pieces(run.table, run.placement)
    return all(one.arc is None or one.arc.radius > section.outer.support(one.roll) + 0.01 for one in found)


def carried_frame(run: Run) -> tuple[Vec, Vec]:
    """End B and the direction there, by the kernel's own motions of a point and two directions along the table."""
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Vec

    place = run.placement
    point, ahead, normal = gp_Pnt(*place.start), gp_Dir(*place.direction), gp_Dir(*place.normal)
    for bend in run.table.bends:
        point.Translate(gp_Vec(ahead).Multiplied(bend.feed))
        normal.Rotate(gp_Ax1(point, ahead), radians(bend.rotation))
        inward = gp_Vec(normal).Crossed(gp_Vec(ahead))
        axis = gp_Ax1(point.Translated(inward.Multiplied(bend.clr or 0.0)), normal)
        point.Rotate(axis, radians(bend.angle))
        ahead.Rotate(axis, radians(bend.angle))
    point.Translate(gp_Vec(ahead).Multiplied(run.table.tail))
    return (point.X(), point.Y(), point.Z()), (ahead.X(), ahead.Y(), ahead.Z())


def tube_misses(rng: Random) -> dict[str, float]:
    """How far the kernel and the table are apart, each as a part of what is allowed: at most 1."""
    from OCP.BRepAdaptor import BRepAdaptor_CompCurve
    from OCP.gp import gp_Pnt, gp_Vec
    from OCP.TopoDS import TopoDS

    from converter.kernel.shapes.solids import centerline_wire, tube_solid

    run, far = random_run(rng)
    section = next(one for _ in range(100) if bendable(run, one := random_section(rng)))
    allowed = CLOSE + PER_FAR * far * (3.0 + len(run.table.bends))
    wire = centerline_wire(run)
    length = run.table.developed_length
    found = {"length": abs(kernel_length(wire) - length) / (allowed + 1e-10 * length)}
    curve = BRepAdaptor_CompCurve(TopoDS.Wire_s(wire) if hasattr(TopoDS, "Wire_s") else wire)
    point, way = gp_Pnt(), gp_Vec()
    curve.D1(curve.LastParameter(), point, way)
    end, ahead = (point.X(), point.Y(), point.Z()), unit((way.X(), way.Y(), way.Z()))
    found["end"] = distance(end, run.end) / allowed
    carried, way_carried = carried_frame(run)
    found["end frame"] = max(distance(carried, run.end), distance(carried, end)) / allowed
    found["end frame's direction"] = distance(way_carried, ahead) / (1e-9 + 1e-12 * len(run.table.bends))
    last = run.centerline[-1]
    drawn = unit(tuple(q - p for p, q in zip(last.start, last.end, strict=True)))
    found["end direction"] = distance(ahead, drawn) / (1e-9 + 4.0 * allowed / last.length)
    solid = tube_solid(run, section)
    if far <= 1e3:  # the kernel's own tolerance is 1e-7 mm, below what doubles keep further out
        assert_sound(solid)
    area = metal_area(section)
    found["volume"] = abs(kernel_volume(solid) / (area * length) - 1.0) / (1e-9 + 1e-14 * far)
    assert abs(dot(run.placement.direction, run.placement.normal)) < 1e-9
    return found
