"""Edges and faces of a shape as far as they lie in a box: points of them, many at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from converter.kernel import require
from converter.kernel.topology import Box, rough_box, subshapes

Points = NDArray[np.float64]
#: Part of a face's own measure that is no distance.
_ROUNDING = 1e-9


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
