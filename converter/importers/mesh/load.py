"""A mesh file as named meshes in mm, read with the mesh library; every way it can fail is one sentence."""

from __future__ import annotations

import re
import zipfile
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path, PurePath
from typing import Any
from urllib.parse import unquote

import numpy as np

from converter.arrays import Array, Ints
from converter.disk.reading import open_to_read
from converter.errors import MissingLibraryError, ReadError, TooLargeError
from converter.importers.mesh.bounds import (
    check_gltf,
    check_models,
    check_package,
    check_ply,
    check_triangles,
)
from converter.importers.source import Source, raise_own_mistake
from converter.limits import MESH_BYTES, size_text
from converter.processes.memory import own_garbage_collected
from converter.quoting import decoded, quoted, reason_of

#: Unit of a 3MF's numbers by the word in its model (3MF core specification, 3.1) -> our name.
UNITS_3MF = {"micron": "um", "millimeter": "mm", "centimeter": "cm", "inch": "in", "foot": "ft", "meter": "m"}
_UNIT_3MF = re.compile(rb"\bunit\s*+=\s*+[\"'](\w++)[\"']")


@dataclass(frozen=True, slots=True, eq=False)
class MeshPart:
    """One mesh of a file, placed: its name ('' for none), (n, 3) vertices in the file's unit, (m, 3) faces."""

    name: str
    points: Array
    faces: Ints


@dataclass(frozen=True, slots=True)
class LoadedMeshes:
    """What a file holds.

    Attributes:
        parts: its meshes, each as often as it is placed; whoever reads them takes them out, so that none is kept.
        kind: 'STL', 'OBJ', 'PLY', '3MF', 'glTF'.
        unit: the file's unit, or None where the format has none.
        single: whether the numbers are stored in single precision.
    """

    parts: deque[MeshPart]
    kind: str
    unit: str | None
    single: bool


def kind_of(data: bytes, name: str) -> str:
    """'stl', 'obj', 'ply', '3mf', 'glb' or 'gltf', by content and then by name."""
    head = data[:4096]
    if head.startswith(b"glTF"):
        return "glb"
    if head.startswith(b"PK"):
        return "3mf"
    if re.match(rb"ply[ \t]*\r?\n", head):
        return "ply"
    extension = PurePath(name).suffix.lower().lstrip(".")
    if head.lstrip().startswith(b"{"):
        return "gltf"
    if extension in ("stl", "obj", "ply", "3mf", "glb", "gltf"):
        return extension
    return "obj" if re.search(rb"(?m)^[^\S\n]*+[vfog]\s", head) and b"\0" not in head else "stl"


def load(source: Source) -> LoadedMeshes:
    """Read a mesh file.

    Raises:
        ReadError: it is damaged, cut short, or holds no triangles.
        MissingLibraryError: the mesh library is not installed.
    """
    library = _library()
    data = source.read_bytes()
    name = source.name
    kind = kind_of(data, name)
    with _as_read_errors(kind, name), own_garbage_collected():
        _check(data, kind, name)
        loaded = library.load(
            BytesIO(data), file_type=kind, process=False, skip_materials=True, **_options(library, kind, source)
        )
        parts = deque(_parts(loaded, library, name))
        del loaded  # whose meshes refer to themselves
    if not parts:
        raise ReadError(
            f"{name} holds no triangles: export the tubes' surfaces as a mesh.", code="no-geometry", file=name
        )
    with _as_read_errors(kind, name):
        unit = _unit_3mf(data, name) if kind == "3mf" else "m" if kind in ("glb", "gltf") else None
    double = kind in ("3mf", "obj") or (kind == "ply" and b"double" in data[:4096]) or _is_text_stl(data, kind)
    return LoadedMeshes(parts, "glTF" if kind in ("glb", "gltf") else kind.upper(), unit, not double)


def _library() -> Any:
    try:
        import scipy.sparse.csgraph  # noqa: F401
        import trimesh
    except ImportError as error:
        raise MissingLibraryError(
            f"Reading meshes needs {error.name or 'a library'}, not installed here: run `pip install trimesh scipy`."
        ) from error
    return trimesh


def _options(library: Any, kind: str, source: Source) -> dict[str, Any]:
    if kind == "obj":
        return {"split_object": True, "group_material": False}
    if kind in ("gltf", "glb") and source.path is not None:
        return {"resolver": _beside(library, source)}
    return {}


def _beside(library: Any, source: Source) -> Any:
    """What hands the library the buffers that a glTF file names: files in its folder, of bounded size."""

    class FilesBeside(library.resolvers.FilePathResolver):  # type: ignore[misc]
        def path_beside(self, name: str) -> Path:
            # a URI writes a blank as %20, many writers do not
            for spelt in (name, unquote(name)):
                try:
                    path: Path = self.absolute(spelt)
                except ValueError as error:
                    raise ReadError(
                        f"{source.name} keeps its numbers in another file, {quoted(name)}, outside its own folder, "
                        "where none is read: copy it there, or export it as one .glb.",
                        code="missing-file",
                        file=source.name,
                    ) from error
                if path.exists():
                    return path
            raise _missing(source.name, name)

        def get(self, name: str) -> bytes:
            path = self.path_beside(name)
            with open_to_read(path, f"the buffer that {source.name} names must be a file") as stream:
                data = stream.read(MESH_BYTES + 1)
            if len(data) > MESH_BYTES:
                raise TooLargeError(
                    f"{path} has more than the {size_text(MESH_BYTES)} that are read.", file=source.name
                )
            return data

    return FilesBeside(str(source.path))


def _missing(file: str, buffer: str) -> ReadError:
    """A glTF's buffer is not where it should be."""
    return ReadError(
        f"{file} keeps its numbers in another file, {quoted(buffer)}, which is not beside it: copy both, or export "
        "it as one .glb.",
        code="missing-file",
        file=file,
    )


@contextmanager
def _as_read_errors(kind: str, name: str) -> Iterator[None]:
    """Whatever the library raises on a damaged file becomes one sentence; a mistake of ours stays what it is."""
    try:
        yield
    except ReadError:
        raise
    except ImportError as error:
        raise MissingLibraryError(
            f"Reading {kind.upper()} needs {error.name or 'a package'}, which is not installed: "
            "run `pip install lxml networkx`."
        ) from error
    except MemoryError as error:
        raise ReadError(f"{name} needs more memory than there is: export a coarser mesh.", file=name) from error
    except Exception as error:
        raise_own_mistake(error)
        raise ReadError(
            f"{name} is damaged or is no {kind.upper()} mesh ({reason_of(error)}): export it again.",
            code="damaged",
            file=name,
        ) from error


def _parts(loaded: Any, library: Any, name: str) -> Iterator[MeshPart]:
    if isinstance(loaded, library.Scene):
        total = 0
        for nodes in _meshes(loaded):
            rows: list[Array] = []
            corners: list[Ints] = []
            for node in nodes:
                matrix, geometry = loaded.graph[node]
                mesh = loaded.geometry[geometry]
                if not _has_faces(mesh):
                    continue
                total += len(mesh.faces)
                check_triangles(total, name)
                points = _points(mesh, name)
                matrix = np.asarray(matrix, dtype=np.float64)
                if not np.array_equal(matrix, np.eye(4)):
                    points = points @ matrix[:3, :3].T + matrix[:3, 3]
                faces = np.asarray(mesh.faces, dtype=np.int64)
                if np.linalg.det(matrix[:3, :3]) < 0.0:
                    faces = faces[:, ::-1]
                corners.append(faces + sum(len(row) for row in rows) if rows else faces)
                rows.append(points)
            if rows:
                called = str(nodes[0]) if len(nodes) == 1 else str(_parent(loaded, nodes[0]))
                part = _named(called, str(loaded.graph[nodes[0]][1]))
                if len(rows) > 1:
                    rows, corners = [np.concatenate(rows)], [np.concatenate(corners)]
                yield MeshPart(part, rows[0], corners[0])
    elif _has_faces(loaded):
        check_triangles(len(loaded.faces), name)
        yield MeshPart("", _points(loaded, name), np.asarray(loaded.faces, dtype=np.int64))


def _meshes(scene: Any) -> list[list[Any]]:
    """The scene's nodes that have triangles, in the file's order; those of one glTF mesh together, which may be given
    face by face."""
    found: dict[Any, list[Any]] = {}
    # the library keeps the meshes in order, but goes through the tree of nodes from the last branch to the first
    rank = {name: at for at, name in enumerate(scene.geometry)}
    nodes = scene.graph.nodes_geometry[::-1]
    for node in sorted(nodes, key=lambda node: rank[scene.graph[node][1]]):
        metadata = scene.geometry[scene.graph[node][1]].metadata or {}
        parent = _parent(scene, node)
        together = metadata.get("from_gltf_primitive") and parent is not None and node != parent
        found.setdefault(("of", parent) if together else ("", node), []).append(node)
    return list(found.values())


def _parent(scene: Any, node: Any) -> Any:
    return scene.graph.transforms.parents.get(node)


def _points(mesh: Any, name: str) -> Array:
    points = np.asarray(mesh.vertices, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 3:
        raise ReadError(f"{name} is damaged: its corners are no points in space; export it again.", file=name)
    return points


def _has_faces(mesh: Any) -> bool:
    return len(getattr(mesh, "faces", ())) > 0


def _named(node: str, geometry: str) -> str:
    """The node's name, unless the library made it up; then the geometry's; '' where it made both up."""
    for name in (node, geometry):
        if not re.fullmatch(r"(?:geometry|object|mesh|world|GLTF)?_?\d*|[0-9a-f]{8,32}|.*_[0-9a-f]{12,32}", name):
            return decoded(name)
    return ""


def _check(data: bytes, kind: str, name: str) -> None:
    """What the library would read in silence although it is cut short.

    Raises:
        ReadError: it is.
    """
    if kind == "stl":
        _check_stl(data, name)
    elif kind == "glb":
        _check_glb(data, name)
    elif kind == "gltf":
        check_gltf(data, kind, name)
    elif kind == "ply":
        check_ply(data, name)
    elif kind == "3mf":
        _check_3mf(data, name)


def _cut_short(name: str, what: str) -> ReadError:
    return ReadError(f"{name} is cut short: {what}; export or copy it again.", code="truncated", file=name)


def _check_stl(data: bytes, name: str) -> None:
    if _is_text_stl(data, "stl"):
        if b"endsolid" not in data[-4096:].lower() and b"endfacet" not in data[-200:].lower():
            raise _cut_short(name, "its last facet does not end")
        check_triangles(data.count(b"endfacet"), name)
        return
    if len(data) < 84:
        raise _cut_short(name, f"a binary STL has at least 84 bytes, it has {len(data)}")
    count = int.from_bytes(data[80:84], "little")
    if len(data) < 84 + 50 * count:
        raise _cut_short(name, f"it announces {count} triangles and holds {(len(data) - 84) // 50}")
    check_triangles(count, name)
    if count == 0:
        raise ReadError(
            f"{name} holds no triangles: export the tubes' surfaces as a mesh.", code="no-geometry", file=name
        )


def _check_glb(data: bytes, name: str) -> None:
    if len(data) < 12:
        raise _cut_short(name, f"a binary glTF has at least 12 bytes, it has {len(data)}")
    length = int.from_bytes(data[8:12], "little")
    if len(data) < length:
        raise _cut_short(name, f"it announces {length} bytes and holds {len(data)}")
    at = 12
    for chunk in ("structure", "binary buffer"):
        size = int.from_bytes(data[at : at + 4], "little")
        if len(data) > at and len(data) < at + 8 + size:
            raise _cut_short(name, f"its {chunk} announces {size} bytes and holds {max(0, len(data) - at - 8)}")
        at += 8 + size
    check_gltf(data, "glb", name)


def _check_3mf(data: bytes, name: str) -> None:
    try:
        check_package(data, name)
        with zipfile.ZipFile(BytesIO(data)) as package:
            if any(entry.flag_bits & 1 for entry in package.infolist()):
                raise ReadError(
                    f"{name} is a zip package locked with a password: export it again without one.",
                    code="locked",
                    file=name,
                )
            broken = package.testzip()
            models = [n for n in package.namelist() if n.lower().endswith(".model")]
    except (zipfile.BadZipFile, OSError, ValueError) as error:
        raise _cut_short(name, "it is no whole zip package") from error
    except NotImplementedError as error:
        raise ReadError(
            f"{name} is a zip package compressed in a way that is not read: export it again, or unpack it and pack "
            "it anew as plain zip.",
            code="foreign-format",
            file=name,
        ) from error
    if broken:
        raise ReadError(
            f"{name} is damaged: {quoted(broken)} inside it cannot be unpacked; export or copy it again.",
            code="damaged",
            file=name,
        )
    if not models:
        raise ReadError(f"{name} is a zip archive without a 3MF model: unpack it.", code="foreign-format", file=name)
    with _as_read_errors("3mf", name):
        check_models(data, name)


def _is_text_stl(data: bytes, kind: str) -> bool:
    if kind != "stl" or not data[:4096].lstrip().lower().startswith(b"solid"):
        return False
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    return len(data) != 84 + 50 * count and b"facet" in data[:4096].lower()


def _unit_3mf(data: bytes, name: str) -> str:
    with zipfile.ZipFile(BytesIO(data)) as package:
        for entry in package.namelist():
            if not entry.lower().endswith(".model"):
                continue
            with package.open(entry) as stream:
                head = stream.read(65536)
            tags = re.finditer(rb"<(?:\w++:)?model\b([^<>]*+)", head)
            found = next((unit for tag in tags if (unit := _UNIT_3MF.search(tag[1]))), None)
            if found:
                word = found[1].decode("ascii", "replace").lower()
                if word not in UNITS_3MF:
                    raise ReadError(
                        f"{name} names a unit that 3MF does not know, {quoted(word)}: export it again.", file=name
                    )
                return UNITS_3MF[word]
    return "mm"  # the specification's default
