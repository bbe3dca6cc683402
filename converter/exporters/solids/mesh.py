"""Meshes of tubes: STL (binary), 3MF, GLB, written with trimesh from our own triangles.

STL and 3MF are in millimetres, in drawing coordinates (an STL cannot say so; a 3MF does). GLB is in
metres with y up, as glTF 2.0 (3.4) has it: x stays, the drawing's z becomes y, its y becomes -z.
3MF and GLB keep one named object per tube; STL knows no names, so its tubes are one soup unless
every tube gets a file of its own.

GLB and STL hold single-precision numbers. A GLB's tubes are written near their own start and placed
by its nodes, so that a drawing far from the origin keeps its shape; an STL cannot do that.

The mesh library gives every object of a 3MF a random UUID; here they follow from the meshes, so that the same job
gives the same bytes.
"""

from __future__ import annotations

import io
import re
import uuid
import zipfile
from collections.abc import Callable, Iterator, Sequence
from hashlib import sha256
from typing import IO, Any

from converter.errors import MissingLibraryError, WriteError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.solids.bodies import TubeBody, bodies
from converter.exporters.solids.tessellate import CHORD, Points, triangle_count, tube_mesh
from converter.job import Job
from converter.limits import TUBE_TRIANGLES, WRITTEN_TRIANGLES
from converter.progress import steps
from converter.quoting import quoted


def export_stl(job: Job, out: OutputSet, options: WriteOptions, chord: float = CHORD) -> None:
    """Write binary STL, mm.

    Raises:
        WriteError: no tube has a body.
        MissingLibraryError: the mesh library is not installed.
    """
    _export(job, out, options, ".stl", lambda found: _bytes(_scene(found, chord), "stl"), chord)


def export_3mf(job: Job, out: OutputSet, options: WriteOptions, chord: float = CHORD) -> None:
    """Write 3MF, mm, one named object per tube.

    Raises:
        WriteError: no tube has a body.
        MissingLibraryError: the mesh library, or what it needs for 3MF, is not installed.
    """
    _export(job, out, options, ".3mf", lambda found: _bytes_3mf(_scene(found, chord)), chord)


def export_glb(job: Job, out: OutputSet, options: WriteOptions, chord: float = CHORD) -> None:
    """Write binary glTF, metres, y up, one named and coloured node per tube.

    Raises:
        WriteError: no tube has a body.
        MissingLibraryError: the mesh library is not installed.
    """
    _export(job, out, options, ".glb", lambda found: _bytes(_viewer_scene(found, chord), "glb"), chord)


def _export(
    job: Job,
    out: OutputSet,
    options: WriteOptions,
    ending: str,
    data: Callable[[Sequence[TubeBody]], bytes],
    chord: float,
) -> None:
    found = bodies(job)
    _check_fineness(found, chord, options.one_file)
    if options.one_file:
        out.path(options.stem + ending).write_bytes(data(found))
        return
    for body in steps(found, "meshes"):
        out.path(f"{options.stem}-{body.tube.name}{ending}").write_bytes(data([body]))


def _check_fineness(found: Sequence[TubeBody], chord: float, one_file: bool) -> None:
    """Refuse meshes of more triangles than anybody opens, before one is made.

    Raises:
        WriteError: a tube, or all tubes of one file, have too many.
    """
    total = 0
    for body in found:
        count = triangle_count(body.metal, body.section, chord)
        if count > TUBE_TRIANGLES:
            raise WriteError(
                f"The mesh of tube {quoted(body.tube.name)} has about {count:,} triangles, more than the "
                f"{TUBE_TRIANGLES:,} that are written: check the drawing's unit, or write STEP instead.",
                code="too-large",
            )
        total += count
    if one_file and total > WRITTEN_TRIANGLES:
        raise WriteError(
            f"The mesh of all tubes has about {total:,} triangles, more than the {WRITTEN_TRIANGLES:,} that one file "
            "holds: give every tube a file of its own (--file-each), or write STEP instead.",
            code="too-large",
        )


def _load() -> Any:
    try:
        import trimesh
    except ImportError as error:
        raise MissingLibraryError(
            "Meshes need the mesh library, which is not installed: run `pip install trimesh`."
        ) from error
    return trimesh


def _scene(found: Sequence[TubeBody], chord: float) -> Any:
    """Every tube in place, in mm; to a nanometre, which halves the text of a 3MF."""
    import numpy as np

    library = _load()
    scene = library.Scene()
    for body, name in steps(zip(found, _names(found), strict=True), "meshes", len(found)):
        points, faces = tube_mesh(body.metal, body.section, chord)
        mesh = library.Trimesh(np.round(points, 6), faces, process=False)
        scene.add_geometry(mesh, node_name=name, geom_name=name)
    return scene


def _viewer_scene(found: Sequence[TubeBody], chord: float) -> Any:
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


def _names(found: Sequence[TubeBody]) -> list[str]:
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


def _bytes_3mf(scene: Any) -> bytes:
    """A scene as 3MF whose UUIDs (production extension, 4.1) are named after its meshes, not drawn by lot."""
    digest = sha256()
    for name, mesh in scene.geometry.items():
        for part in (name.encode(), mesh.vertices.tobytes(), mesh.faces.tobytes()):
            digest.update(b"%d:" % len(part))
            digest.update(part)
    names = uuid.uuid5(uuid.NAMESPACE_OID, digest.hexdigest())
    given = 0

    def named(_: re.Match[bytes]) -> bytes:
        nonlocal given
        given += 1
        return b'p:UUID="%s"' % str(uuid.uuid5(names, str(given))).encode("ascii")

    out = io.BytesIO()
    drawn = zipfile.ZipFile(io.BytesIO(_bytes(scene, "3mf", compression=zipfile.ZIP_STORED)))
    with drawn, zipfile.ZipFile(out, "w") as package:
        for entry in drawn.namelist():
            info = zipfile.ZipInfo(entry)  # of 1980-01-01, the zip format's first day
            info.create_system, info.compress_type = 3, zipfile.ZIP_DEFLATED
            with drawn.open(entry) as source, package.open(info, "w") as target:
                for piece in _whole_tags(source):
                    # within a value a quote is written &quot;, so no name is taken for one of these
                    target.write(re.sub(rb'\bp:UUID="[^"]*"', named, piece))
    return out.getvalue()


def _whole_tags(stream: IO[bytes]) -> Iterator[bytes]:
    """XML in pieces that end where a tag does."""
    left = b""
    while piece := stream.read(1 << 20):
        ended, mark, left = (left + piece).rpartition(b">")
        yield ended + mark
    yield left


def _bytes(scene: Any, kind: str, **options: Any) -> bytes:
    try:
        data = scene.export(file_type=kind, **options)
    except ImportError as error:
        raise MissingLibraryError(
            f"The mesh library cannot write {kind.upper()} here because {error.name or 'a package'} is not installed: "
            "run `pip install lxml networkx`."
        ) from error
    if not isinstance(data, bytes) or not data:
        raise WriteError(f"The mesh library wrote no {kind.upper()}.")
    return data
