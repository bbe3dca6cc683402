"""A plane cut across a body: its closed outlines, as polygons in the plane. What metal is where, by the kernel itself.

Only imported after `converter.kernel.require`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
from OCP.TopoDS import TopoDS

from converter.arrays import Array
from converter.geometry.vectors import Vec
from converter.kernel.session import kernel_failure
from converter.kernel.topology import subshapes

#: Chords that a curved edge of a cut is made of; the area they lose of a quarter circle is 0.03 %.
_CHORDS = 24
#: mm between ends of edges that are one corner of an outline.
_TOUCH = 1e-3


@dataclass(frozen=True, slots=True)
class Slice:
    """A cut.

    Attributes:
        loops: polygons (n, 2) in mm along ``x`` and ``y`` of the plane, the largest first; those around metal run
            counter-clockwise, those around holes clockwise.
        area: of metal, mm2.
    """

    loops: tuple[Array, ...]
    area: float


def slice_of(shape: Any, point: Vec, normal: Vec, x: Vec) -> Slice | None:
    """The cut of a plane through a solid; None where it misses, or the kernel leaves an outline open.

    Args:
        shape: the kernel's solid.
        point, normal: the plane.
        x: unit vector in it; y is the normal crossed with x.
    """
    try:
        cut = BRepAlgoAPI_Section(shape, gp_Pln(gp_Pnt(*point), gp_Dir(*normal)), False)
        cut.ComputePCurveOn1(False)
        cut.Approximation(False)
        cut.Build()
        if not cut.IsDone():
            return None
        edges = _edges(cut.Shape())
    except Exception as error:
        kernel_failure(error)
        return None
    across, up = np.array(x), np.cross(np.array(normal), np.array(x))
    flat = [np.column_stack(((e - np.array(point)) @ across, (e - np.array(point)) @ up)) for e in edges]
    loops = _closed(flat)
    return _nested(loops) if loops else None


def _edges(shape: Any) -> list[Array]:
    found = []
    for edge in subshapes(shape, "EDGE"):
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(edge))
        count = 1 if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line else _CHORDS
        rows = [curve.Value(float(t)) for t in np.linspace(curve.FirstParameter(), curve.LastParameter(), count + 1)]
        found.append(np.array([(p.X(), p.Y(), p.Z()) for p in rows]))
    return found


def _closed(edges: list[Array]) -> list[Array]:
    """Edges joined end to end into closed polygons; none at all where an end has no other."""
    if not edges:
        return []
    tips = np.array([(e[0], e[-1]) for e in edges])
    free = np.ones(len(edges), bool)
    loops = []
    while free.any():
        k = int(np.flatnonzero(free)[0])
        free[k] = False
        rows = [edges[k]]
        start, at = tips[k, 0], tips[k, 1]
        while float(np.abs(at - start).max()) > _TOUCH:
            away = np.abs(tips - at).max(axis=2)
            away[~free] = np.inf
            k, side = (int(i) for i in np.unravel_index(int(away.argmin()), away.shape))
            if not away[k, side] <= _TOUCH:
                return []
            free[k] = False
            rows.append(edges[k] if side == 0 else edges[k][::-1])
            at = tips[k, 1 - side]
        loops.append(np.concatenate([row[:-1] for row in rows]))
    return [loop for loop in loops if len(loop) >= 3]


def _nested(loops: list[Array]) -> Slice | None:
    """Loops turned by whether they lie in an even or odd number of others, and the metal between them."""
    loops = sorted(loops, key=lambda loop: -abs(area_of(loop)))
    turned, total = [], 0.0
    for k, loop in enumerate(loops):
        depth = sum(_holds(other, loop[0]) for other in loops[:k])
        size = area_of(loop)
        wanted = 1.0 if depth % 2 == 0 else -1.0
        total += wanted * abs(size)
        turned.append(loop if size * wanted > 0.0 else loop[::-1])
    return Slice(tuple(turned), total) if total > 0.0 else None


def area_of(loop: Array) -> float:
    """Signed area of a polygon (n, 2), above zero when it runs counter-clockwise."""
    x, y = loop[:, 0] - loop[0, 0], loop[:, 1] - loop[0, 1]
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2.0


def _holds(loop: Array, p: Array) -> bool:
    """Whether a point lies in a polygon: how often a ray to +x crosses it."""
    a, b = loop, np.roll(loop, -1, axis=0)
    spans = (a[:, 1] > p[1]) != (b[:, 1] > p[1])
    a, b = a[spans], b[spans]
    x = a[:, 0] + (p[1] - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return int((x > p[0]).sum()) % 2 == 1
