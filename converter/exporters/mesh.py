"""Meshes of tubes: STL (binary), 3MF, GLB, written with trimesh from our own triangles.

STL and 3MF are in millimetres, in drawing coordinates (an STL cannot say so; a 3MF does). GLB is in
metres with y up, as glTF 2.0 (3.4) has it: x stays, the drawing's z becomes y, its y becomes -z.
3MF and GLB keep one named object per tube; STL knows no names, so its tubes are one soup unless
every tube gets a file of its own.

GLB and STL hold single-precision numbers. A GLB's tubes are written near their own start and placed
by its nodes, so that a drawing far from the origin keeps its shape; an STL cannot do that.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from converter.errors import MissingLibraryError, WriteError
from converter.exporters.bodies import Body, bodies
from converter.exporters.files import OutputSet
from converter.exporters.registry import ExportJob
from converter.exporters.tessellate import CHORD, Points, tube_mesh
from converter.progress import steps


def export_stl(job: ExportJob, out: OutputSet, chord: float = CHORD) -> None:
    """Write binary STL, mm.

    Raises:
        WriteError: no tube has a body.
        MissingLibraryError: the mesh library is not installed.
    """
    _export(job, out, ".stl", lambda found: _bytes(_scene(found, chord), "stl"))


def export_3mf(job: ExportJob, out: OutputSet, chord: float = CHORD) -> None:
    """Write 3MF, mm, one named object per tube.

    Raises:
        WriteError: no tube has a body.
        MissingLibraryError: the mesh library, or what it needs for 3MF, is not installed.
    """
    _export(job, out, ".3mf", lambda found: _bytes(_scene(found, chord), "3mf"))


def export_glb(job: ExportJob, out: OutputSet, chord: float = CHORD) -> None:
    """Write binary glTF, metres, y up, one named and coloured node per tube.

    Raises:
        WriteError: no tube has a body.
        MissingLibraryError: the mesh library is not installed.
    """
    _export(job, out, ".glb", lambda found: _bytes(_viewer_scene(found, chord), "glb"))


def _export(job: ExportJob, out: OutputSet, ending: str, data: Callable[[Sequence[Body]], bytes]) -> None:
    found = bodies(job)
    if job.one_file:
        out.path(job.stem + ending).write_bytes(data(found))
        return
    for body in steps(found, "meshes"):
        out.path(f"{job.stem}-{body.tube.name}{ending}").write_bytes(data([body]))


def _load() -> Any:
    try:
        import trimesh
    except ImportError as error:
        raise MissingLibraryError(
            "Meshes need the mesh library, which is not installed: run `pip install trimesh`."
        ) from error
    return trimesh


def _scene(found: Sequence[Body], chord: float) -> Any:
    """Every tube in place, in mm; to a nanometre, which halves the text of a 3MF."""
    import numpy as np

    library = _load()
    scene = library.Scene()
    for body, name in steps(zip(found, _names(found), strict=True), "meshes", len(found)):
        points, faces = tube_mesh(body.metal, body.section, chord)
        mesh = library.Trimesh(np.round(points, 6), faces, process=False)
        scene.add_geometry(mesh, node_name=name, geom_name=name)
    return scene


def _viewer_scene(found: Sequence[Body], chord: float) -> Any:
    """Every tube near its own start, in metres, y up, placed by its node."""
    import numpy as np

    library = _load()
    scene = library.Scene()
    for body, name in steps(zip(found, _names(found), strict=True), "meshes", len(found)):
        points, faces = tube_mesh(body.metal, body.section, chord)
        start = np.array(body.tube.run.start)
        material = library.visual.material.PBRMaterial(
            name=body.section.label or f"{body.section.shape} {body.section.od:g} mm",
            baseColorFactor=[*body.color, 1.0],
            metallicFactor=0.2,
            roughnessFactor=0.6,
        )
        mesh = library.Trimesh(_upright(points - start), faces, process=False)
        mesh.visual = library.visual.TextureVisuals(material=material)
        placed = np.eye(4)
        placed[:3, 3] = _upright(start[None])[0]
        scene.add_geometry(mesh, node_name=name, geom_name=name, transform=placed)
    return scene


def _upright(points: Points) -> Points:
    """Drawing coordinates in mm to glTF's: metres, y up."""
    import numpy as np

    return np.column_stack([points[:, 0], points[:, 2], -points[:, 1]]) / 1000.0


def _names(found: Sequence[Body]) -> list[str]:
    """The tubes' names as XML and JSON can hold them, each once."""
    names: list[str] = []
    for body in found:
        # what XML 1.0 (2.2) excludes
        name = re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", body.tube.name) or "tube"
        given, n = name, 1
        while given in names or given == "world":  # the mesh library's own name for the scene's root
            n += 1
            given = f"{name} ({n})"
        names.append(given)
    return names


def _bytes(scene: Any, kind: str) -> bytes:
    try:
        data = scene.export(file_type=kind)
    except ImportError as error:
        raise MissingLibraryError(
            f"The mesh library cannot write {kind.upper()} here because {error.name or 'a package'} is not installed: "
            "run `pip install lxml networkx`."
        ) from error
    if not isinstance(data, bytes) or not data:
        raise WriteError(f"The mesh library wrote no {kind.upper()}.")
    return data
