"""The triangles of shapes that are flat facets, or that hold nothing but triangles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from converter.kernel.session import kernel_failure
from converter.kernel.topology import subshapes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from converter.model.curve import Points

#: So many flat faces, of which so large a part are triangles, are a mesh that a program made a solid of.
FACETS, MOSTLY = 32, 0.9
#: Facets are flat: how finely the kernel meshes them is of no account (mm, radians).
_COARSE, _ANGLE = 1.0, 1.0


def has_no_surfaces(shape: Any) -> bool:
    """Whether a face of a shape has triangles alone, as tessellated STEP has: the kernel crashes where it asks more."""
    from OCP.BRep import BRep_Tool
    from OCP.TopoDS import TopoDS

    return any(BRep_Tool.Surface_s(TopoDS.Face_s(face)) is None for face in subshapes(shape, "FACE"))


def is_of_facets(shape: Any) -> bool:
    """Whether a shape is a mesh made into a solid: many flat faces, nearly all of them triangles."""
    triangles = count = 0
    for face in subshapes(shape, "FACE"):
        if not _is_flat(face):
            return False
        count += 1
        triangles += sum(1 for _ in subshapes(face, "EDGE")) == 3
    return count >= FACETS and triangles >= MOSTLY * count


def _is_flat(face: Any) -> bool:
    """Whether a face is flat; one whose surface the kernel cannot follow is not."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from OCP.TopoDS import TopoDS

    try:
        surface = BRepAdaptor_Surface(TopoDS.Face_s(face), False)
    except Exception as error:
        kernel_failure(error)
        return False
    return bool(surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane)


def triangles_of(shape: Any, fine: float = _COARSE, angle: float = _ANGLE) -> tuple[Points, NDArray[np.intp]]:
    """Points (n, 3) in mm and triangles (m, 3) of the faces of a shape in place; each face has points of its own.

    Args:
        shape: the kernel's.
        fine, angle: how far (mm) and how much (radians) the triangles of a curved face may lie off it.
    """
    from OCP.BRep import BRep_Tool
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    if not has_no_surfaces(shape):
        BRepMesh_IncrementalMesh(shape, fine, False, angle, False)
    points: list[Points] = [np.empty((0, 3))]
    rows: list[NDArray[np.intp]] = [np.empty((0, 3), np.intp)]
    count = 0
    for face in map(TopoDS.Face_s, subshapes(shape, "FACE")):
        location = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(face, location)
        if mesh is None:
            continue
        move = location.Transformation()
        own = [mesh.Node(k).Transformed(move).Coord() for k in range(1, mesh.NbNodes() + 1)]
        corners = np.array([mesh.Triangle(k).Get() for k in range(1, mesh.NbTriangles() + 1)], np.intp).reshape(-1, 3)
        if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
            corners = corners[:, ::-1]
        points.append(np.array(own, float).reshape(-1, 3))
        rows.append(corners - 1 + count)
        count += len(own)
    return np.concatenate(points), np.concatenate(rows)
