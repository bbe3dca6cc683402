"""Straight members: those that FreeCAD drew, and odd ones made with the kernel."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

import cadquery as cq
from places import FIXTURES
from tube_bodies import cylinder

from converter.model.frames import pieces
from converter.model.run import Run

STEP = FIXTURES / "step"
#: Sizes that the fixtures were drawn from, mm.
DRAWN = json.loads((STEP / "members.json").read_text(encoding="utf-8"))
HARDWARE = (
    "hex screw", "cap screw", "countersunk screw", "pin", "stud plate", "valve", "connector", "bush", "cone", "bottle",
    "short tube",
)  # fmt: skip


def solids_of(name: str) -> dict[str, cq.Shape]:
    """The solids of a fixture by the names they were drawn with."""
    names = {"hardware": HARDWARE, "t-slot": ("t-slot",)}.get(name)
    if names is None:
        names = [*DRAWN[name], *(["base plate"] if name == "bars" else [])]
        names = [one for one in names if one != "t-slot"]
    solids = cq.importers.importStep(str(STEP / f"solid-freecad-{name}.step")).solids().vals()
    return dict(zip(names, solids, strict=True))


def tube_along_x(width: float, height: float, wall: float, length: float) -> cq.Solid:
    """A rectangular tube with sharp corners."""
    outer = cq.Workplane("YZ").rect(width, height).extrude(length)
    return outer.cut(cq.Workplane("YZ").rect(width - 2 * wall, height - 2 * wall).extrude(length)).val()


def box(low: tuple[float, float, float], sizes: tuple[float, float, float]) -> cq.Solid:
    """A box from its lowest corner."""
    return cq.Solid.makeBox(*sizes, cq.Vector(*low))


def turned(points: list[tuple[float, float]]) -> cq.Shape:
    """A body of revolution about x from (x, radius) points."""
    return cq.Workplane("XY").polyline(points).close().revolve(360, (0, 0, 0), (1, 0, 0)).val()


def odd_members() -> Iterator[cq.Shape]:
    """A dowel, a gland, a boss, a hose barb, a chambered and a hexagonal profile, uneven walls, a window, a lug."""
    yield turned([(0, 0), (0, 2), (1, 3), (44, 3), (45, 2), (45, 0)])
    yield turned([(0, 6), (0, 10), (40, 10), (40, 4), (20, 4), (20, 6)])
    yield (
        box((0, -40, -40), (60, 80, 80))
        .fuse(cylinder((60, 0, 0), (1, 0, 0), 10, 35))
        .cut(cylinder((0, 0, 0), (1, 0, 0), 7, 95))
    )
    barbs = [(x + dx, r) for x in range(0, 70, 10) for dx, r in ((0, 8), (10, 6.5))]
    yield turned([(0, 5), *barbs, (70, 7), (250, 7), (250, 5)])
    tube = tube_along_x(60, 40, 3, 300)
    yield tube.fuse(box((0, -2, -17), (300, 4, 34)))
    yield cq.Workplane("YZ").polygon(6, 20).extrude(300).val()
    yield box((0, -30, -20), (300, 60, 40)).cut(box((0, -27, -17), (300, 54, 33.5)))
    yield tube.cut(box((100, -40, 0), (60, 80, 40)))
    yield tube.fuse(box((100, -40, 20), (100, 80, 10)))


def outline(sizes: tuple[float, float], corners: Sequence[float]) -> list[tuple[str, tuple[float, float], ...]]:
    """Edges of a rectangle around (0, 0), counter-clockwise from (-1, -1): a corner above 0 is a radius, below 0 the
    leg of a cut at a slant.
    """
    w, h = sizes[0] / 2.0, sizes[1] / 2.0
    spots = [(-w, -h), (w, -h), (w, h), (-w, h)]
    ways = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)]
    edges: list[tuple[str, tuple[float, float], ...]] = []
    for k, (x, y) in enumerate(spots):
        r, (dx, dy), (ex, ey) = abs(corners[k]), ways[k], ways[k - 1]
        before, after = (x - r * ex, y - r * ey), (x + r * dx, y + r * dy)
        if r:
            c = (x - r * ex + r * dx, y - r * ey + r * dy)
            middle = (c[0] + r * (ex - dx) * 0.5**0.5, c[1] + r * (ey - dy) * 0.5**0.5)
            edges.append(("arc", before, middle, after) if corners[k] > 0 else ("line", before, after))
        n = (k + 1) % 4
        t = abs(corners[n])
        edges.append(("line", after, (spots[n][0] - t * dx, spots[n][1] - t * dy)))
    return edges


def swept(run: Run, loops: Sequence[list[tuple[str, tuple[float, float], ...]]]) -> cq.Shape:
    """A member of any section along a run, by the kernel's extrusions and revolutions; points are (across, up)."""
    solids = []
    for one in pieces(run.table, run.placement):
        at = one.start
        wires = []
        for loop in loops:
            edges = []
            for kind, *points in loop:
                p = [cq.Vector(*at.at(up, across)) for across, up in points]
                edges.append(cq.Edge.makeLine(*p) if kind == "line" else cq.Edge.makeThreePointArc(*p))
            wires.append(cq.Wire.assembleEdges(edges))
        face = cq.Face.makeFromWires(wires[0], wires[1:])
        if one.arc is None:
            solids.append(cq.Solid.extrudeLinear(face, cq.Vector(*at.direction) * one.length))
        else:
            center, normal = cq.Vector(*one.arc.center), cq.Vector(*one.arc.normal)
            solids.append(cq.Solid.revolve(face, one.arc.angle, center, center + normal))
    return solids[0].fuse(*solids[1:]).clean() if len(solids) > 1 else solids[0]
