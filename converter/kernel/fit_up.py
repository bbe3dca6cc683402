"""How solids fit: the volume they share, the gap between them, and what of them lies in a box."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from converter.geometry.vectors import Vec
from converter.kernel import require
from converter.kernel.topology import Box, exact_box, rough_box, subshapes

#: Bounds nearer than this (mm) are looked at.
_NEAR = 1e-3
#: To the kernel places nearer than this (mm) are one.
TOUCHES = 1e-7
#: Steps along an edge whose points are looked at.
_STEPS = 24
Points = NDArray[np.float64]
#: Part of a face's own measure that is no distance.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class SharedMetal:
    """Two solids that share metal.

    Attributes:
        one, other: places in the list of solids; volume: shared, mm3; center: of the shared volume.
    """

    solid: int
    other: int
    volume: float
    center: Vec


def shared(one: Any, other: Any) -> tuple[float, Vec]:
    """The volume two solids share (mm3) and its centre (the origin when there is none)."""
    require()
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    common = BRepAlgoAPI_Common(one, other).Shape()
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(common, props, 1e-9)
    mass = float(props.Mass())
    if mass <= 0.0:
        return 0.0, (0.0, 0.0, 0.0)
    at = props.CentreOfMass()
    return mass, (at.X(), at.Y(), at.Z())


def edge_points(shape: Any, low: Vec, high: Vec) -> list[Vec]:
    """Points of every edge of a shape, those in a box along the axes."""
    require()
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.TopoDS import TopoDS

    found: list[Vec] = []
    for edge in subshapes(shape, "EDGE"):
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(edge))
        first, last = curve.FirstParameter(), curve.LastParameter()
        for i in range(_STEPS + 1):
            p = curve.Value(first + (last - first) * i / _STEPS)
            point = (p.X(), p.Y(), p.Z())
            if all(a <= b <= c for a, b, c in zip(low, point, high, strict=True)):
                found.append(point)
    return found


def any_inside(points: Sequence[Vec], solid: Any, within_mm: float) -> bool:
    """Whether one of some points lies inside a solid, further than ``within_mm`` from its surface."""
    require()
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_State

    left = points
    for box in (rough_box, exact_box):
        if not left:
            return False
        (x0, y0, z0), (x1, y1, z1) = box(solid)
        left = [(x, y, z) for x, y, z in left if x0 < x < x1 and y0 < y < y1 and z0 < z < z1]
    look = BRepClass3d_SolidClassifier(solid)
    for point in left:
        look.Perform(gp_Pnt(*point), within_mm)
        if look.State() == TopAbs_State.TopAbs_IN:
            return True
    return False


def gap(one: Any, others: Sequence[Any]) -> float:
    """Least distance between a solid and others, mm; 0 where they touch."""
    require()
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    return min(float(BRepExtrema_DistShapeShape(one, other).Value()) for other in others)


def gaps(points: Sequence[Vec], others: Sequence[Any], least: Sequence[Sequence[float]]) -> list[float]:
    """Distances of points from the nearest of some solids, mm.

    Args:
        points: which.
        others: the solids.
        least: of each solid, how far each point is from it, at least; the kernel need not look at what is further off
            than another one.
    """
    require()
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt

    looks = []
    for other in others:
        looks.append(BRepExtrema_DistShapeShape())
        looks[-1].LoadS2(other)  # what the kernel makes of a solid, it makes once for all points
    found = []
    for point, *off in zip(points, *least, strict=True):
        vertex, nearest = BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex(), inf
        for i in sorted(range(len(looks)), key=off.__getitem__):
            if off[i] <= nearest:
                looks[i].LoadS1(vertex)
                looks[i].Perform()
                nearest = min(nearest, float(looks[i].Value()))
        found.append(nearest)
    return found


def within(shape: Any, low: Vec, high: Vec) -> Any:
    """The part of a solid within a box along the axes."""
    require()
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
    from OCP.gp import gp_Pnt

    return BRepAlgoAPI_Common(shape, BRepPrimAPI_MakeBox(gp_Pnt(*low), gp_Pnt(*high)).Solid()).Shape()


def is_empty(shape: Any) -> bool:
    """Whether a shape has no face, as what is left of a solid outside a box."""
    return next(subshapes(shape, "FACE"), None) is None


def clashes(
    solids: Sequence[Any], joined: set[tuple[int, int]], least: float, apart: Callable[[int, int], bool]
) -> list[SharedMetal]:
    """Pairs of solids that share more than a volume, those left out that are joined.

    Args:
        solids: the tubes.
        joined: pairs (smaller place first) not to look at.
        least: mm3 that are rounding or paint.
        apart: of a pair (smaller place first) whether it surely shares nothing, which is quicker to say.
    """
    require()
    boxes = [rough_box(solid) for solid in solids]
    exact = cache(lambda place: exact_box(solids[place]))
    order = sorted(range(len(solids)), key=lambda i: boxes[i][0][0])
    found = []
    for place, i in enumerate(order):
        for j in order[place + 1 :]:
            if boxes[j][0][0] > boxes[i][1][0] + _NEAR:
                break
            pair = (min(i, j), max(i, j))
            if pair in joined or not _meet(boxes[i], boxes[j]) or apart(*pair) or not _meet(exact(i), exact(j)):
                continue
            low, high = _common(exact(i), exact(j))
            # two boxes, so that no new faces of the pieces lie on one another
            first = within(solids[pair[0]], low, high)
            volume, center = shared(first, within(solids[pair[1]], *grown(low, high, 1.0)))
            if volume > least:
                found.append(SharedMetal(*pair, volume, center))
    return sorted(found, key=lambda clash: (clash.solid, clash.other))


def grown(low: Vec, high: Vec, by: float) -> Box:
    """A box with more room on all sides."""
    return (low[0] - by, low[1] - by, low[2] - by), (high[0] + by, high[1] + by, high[2] + by)


def _common(one: Box, other: Box) -> Box:
    """What two boxes that meet have in common, with a bit of room."""
    low = (max(one[0][0], other[0][0]), max(one[0][1], other[0][1]), max(one[0][2], other[0][2]))
    high = (min(one[1][0], other[1][0]), min(one[1][1], other[1][1]), min(one[1][2], other[1][2]))
    return grown(low, high, 0.5)


def _meet(one: Box, other: Box) -> bool:
    return all(one[0][k] <= other[1][k] + _NEAR and other[0][k] <= one[1][k] + _NEAR for k in range(3))


@dataclass(frozen=True, slots=True)
class PartNear:
    """An edge by its parameter, or a face by its two.

    Attributes:
        low, high: the corners of the parameters that cover what of it lies in the box: (1,) or (2,).
        at: points (n, 3) at parameters (n, 1) or (n, 2); of a face also where it has been cut away.
        holds: whether the place of some parameters lies in the part.
    """

    low: tuple[float, ...]
    high: tuple[float, ...]
    at: Callable[[Points], Points]
    holds: Callable[[Points], bool]


def edges_near(shape: Any, box: Box) -> Iterator[PartNear]:
    """The edges that come into a box, each whole and once."""
    require()
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_CurveType
    from OCP.TopoDS import TopoDS

    seen: set[Any] = set()
    for part in subshapes(shape, "EDGE"):
        edge = TopoDS.Edge_s(part)
        if hash(part) in seen or BRep_Tool.Degenerated_s(edge) or not _meets(part, box):
            continue
        seen.add(hash(part))
        curve = BRepAdaptor_Curve(edge)

        def at(parameters: Points, curve: Any = curve) -> Points:
            return _rows(curve.Value(u) for (u,) in parameters.tolist())

        first, last = curve.FirstParameter(), curve.LastParameter()
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
            first, last = _beside(box, curve.Line().Position(), first, last)
        if last > first:
            yield PartNear((first,), (last,), at, lambda _: True)


def faces_near(shape: Any, box: Box) -> Iterator[PartNear]:
    """The faces that come into a box."""
    require()
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepClass import BRepClass_FaceClassifier
    from OCP.BRepTools import BRepTools
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from OCP.gp import gp_Pnt2d
    from OCP.TopAbs import TopAbs_State
    from OCP.TopoDS import TopoDS

    for part in subshapes(shape, "FACE"):
        if not _meets(part, box):
            continue
        face = TopoDS.Face_s(part)
        surface = BRepAdaptor_Surface(face)
        u0, u1, v0, v1 = BRepTools.UVBounds_s(face)
        if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Cylinder:
            # a tube's side runs on far beyond the box
            v0, v1 = _beside(box, surface.Cylinder().Axis(), v0, v1)
        if v1 <= v0 or u1 <= u0:
            continue

        def at(parameters: Points, surface: Any = surface) -> Points:
            return _rows(surface.Value(u, v) for u, v in parameters.tolist())

        def holds(place: Points, face: Any = face) -> bool:
            state = BRepClass_FaceClassifier(face, gp_Pnt2d(*place.tolist()), _ROUNDING).State()
            return bool(state in (TopAbs_State.TopAbs_IN, TopAbs_State.TopAbs_ON))

        yield PartNear((u0, v0), (u1, v1), at, holds)


def _rows(points: Iterator[Any]) -> Points:
    return np.array([(p.X(), p.Y(), p.Z()) for p in points]).reshape(-1, 3)


def _meets(part: Any, box: Box) -> bool:
    low, high = rough_box(part)
    return all(low[k] <= box[1][k] and box[0][k] <= high[k] for k in range(3))


def _beside(box: Box, axis: Any, low: float, high: float) -> tuple[float, float]:
    """A stretch along an axis, from where to where as far as a box reaches."""
    way, start = axis.Direction(), axis.Location()
    ahead = [
        (x - start.X()) * way.X() + (y - start.Y()) * way.Y() + (z - start.Z()) * way.Z()
        for x, y, z in product(*zip(*box, strict=True))
    ]
    return max(low, min(ahead)), min(high, max(ahead))
