"""A square or rectangular tube swept along a free curve: its centerline by the triangles of its surface.

No face of such a body tells its section, so the mesh reader follows it, which proves its four walls and its volume. The
centerline is handed on as a drawn spline, so that it is fitted to straights and arcs as any other is.
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt
from typing import Any

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepGProp import BRepGProp
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.GProp import GProp_GProps
from OCP.TopoDS import TopoDS

from converter.findings import Clause, Finding
from converter.importers.mesh.read import tubes_of_triangles
from converter.importers.solids.spine import spline_along
from converter.importers.solids.volume import volume_of
from converter.kernel.topology import subshapes
from converter.kernel.triangles import triangles_of
from converter.model.bends import Placement
from converter.model.centerline import rebuild
from converter.model.curve import Line
from converter.model.drawing import DrawnCurve, ReadyTable, SpineSolid
from converter.tolerances import Tolerances

#: Faces beyond which a body is no tube, and from which a bar has as many.
_MOST_FACES, _FEWEST_FACES = 400, 6
#: Straight edges that the flat face at its end has at least, and how much longer than straight these may be.
_SIDES, _STRAIGHT = 4, 1.0 + 1e-9
#: Surfaces that are not free.
_NOT_FREE = (
    GeomAbs_SurfaceType.GeomAbs_Plane,
    GeomAbs_SurfaceType.GeomAbs_Cylinder,
    GeomAbs_SurfaceType.GeomAbs_Cone,
    GeomAbs_SurfaceType.GeomAbs_Sphere,
    GeomAbs_SurfaceType.GeomAbs_Torus,
)
#: Part by which the lengths that volume and surface give may differ: holes and slanted ends take some away.
_ALIKE = 0.05
#: Shorter than so many times the root of its end's area it is no tube.
_LONG = 3.0
#: How finely its surface is laid out in triangles (mm, radians).
_FINE, _ANGLE = 0.05, 0.3
#: From place to place on its centerline, as part of the smaller side.
_STEP = 0.2
#: So many bends that follow one another without a straight are a curve in arcs.
_CURVE = 3
#: What the mesh reader says that holds of the solid, too.
_OF_SOLIDS = ("solid-ends", "solid-volume", "mesh-rest")


def swept_flat(shape: Any, name: str, tol: Tolerances) -> tuple[DrawnCurve | Clause, list[ReadyTable]] | None:
    """The flat-sided tube or bar that a body is, swept along a free curve; None where it is none.

    Args:
        shape: the kernel's solid, in place, mm.
        name: how the file calls it.
        tol: ``fit`` is above which a surface that strays from the tube is told.

    Returns:
        Its centerline as a spline from end A, with what its solid tells of section and ends; no other tubes.
    """
    if not _may_be_carried(shape):
        return None
    tables, _ = tubes_of_triangles(*triangles_of(shape, _FINE, _ANGLE), name)
    made = tables[0] if len(tables) == 1 else None
    if made is None or made.section is None or made.section.kind.roll_step is None or made.closed:
        return None
    made_of = rebuild(made.table, made.placement or Placement())
    rows = [np.array([one.start for one in made_of[:1]])]
    for one in made_of:
        places = np.linspace(0.0, 1.0, max(2, int(one.length / _FINE) + 1))[1:, None]
        if isinstance(one, Line):
            rows.append(np.array(one.start) + places * (np.array(one.end) - np.array(one.start)))
        else:
            rows.append(np.array([one.point(float(place) * one.angle) for place in places[:, 0]]))
    fine = np.concatenate(rows)
    ahead = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(fine, axis=0), axis=1))))
    even = np.linspace(0.0, ahead[-1], max(4, int(ahead[-1] / (_STEP * made.section.smaller)) + 1))
    centers = np.stack([np.interp(even, ahead, fine[:, k]) for k in range(3)], axis=1)
    off = made.deviation
    swept = Finding("solid-swept", variant="flat", tube=name, measured=off, unit="mm", values={"off": off})
    # of one curve in many arcs the fit to its spline would not say that it is none
    end_to_end = sum(bend.feed == 0.0 for bend in made.table.bends[1:])
    kept = (*_OF_SOLIDS, "mesh-misfit") if end_to_end >= _CURVE else _OF_SOLIDS
    told = tuple(finding for finding in made.findings if finding.code in kept)
    solid = SpineSolid(made.section, made.metal, off, (swept, *told))
    return DrawnCurve(spline_along(centers), None, None, name, name, solid=solid), []


def _may_be_carried(shape: Any) -> bool:
    """Whether a body has free faces, and is as long by its volume as by its surface: one flat face carried along.

    By Pappus a face of area ``A`` and edge ``P`` that is carried square along a line of length ``L`` through its middle
    gives the volume ``A L`` and the sides ``P L``.
    """
    faces = list(subshapes(shape, "FACE"))
    if not _FEWEST_FACES <= len(faces) <= _MOST_FACES or len(list(subshapes(shape, "SOLID"))) != 1:
        return False
    kinds = [BRepAdaptor_Surface(TopoDS.Face_s(face), False).GetType() for face in faces]
    if all(kind in _NOT_FREE for kind in kinds):
        return False
    ends = [face for face, kind in zip(faces, kinds, strict=True) if kind == GeomAbs_SurfaceType.GeomAbs_Plane]
    flat = [face for face in ends if _straight_edges(face) >= _SIDES]
    if not flat:
        return False
    volume, area = volume_of(shape), _area(shape)
    for face in flat:
        own, edge = _area(face), _edge(face)
        if own <= 0.0 or edge <= 0.0:
            continue
        long = volume / own
        if long > _LONG * sqrt(own) and abs((area - 2.0 * own) / edge - long) <= _ALIKE * long:
            return True
    return False


def _straight_edges(face: Any) -> int:
    """How many edges of a face are as long as their ends lie apart: a sweep leaves straight ones as splines."""
    count = 0
    for edge in subshapes(face, "EDGE"):
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(edge))
        apart = curve.Value(curve.FirstParameter()).Distance(curve.Value(curve.LastParameter()))
        count += apart > 0.0 and _edge(edge) <= _STRAIGHT * apart
    return count


def _area(shape: Any) -> float:
    return _integral(BRepGProp.SurfaceProperties_s, shape)


def _edge(shape: Any) -> float:
    return _integral(BRepGProp.LinearProperties_s, shape)


def _integral(of: Callable[[Any, Any], None], shape: Any) -> float:
    """mm or mm2, by one of the kernel's integrals."""
    props = GProp_GProps()
    of(shape, props)
    return float(props.Mass())
