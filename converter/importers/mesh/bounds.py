"""What a mesh file announces, held against its size and our limits before anything of that size is made.

A count in a header costs its writer four bytes; the library would take it at its word.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any

from converter.errors import ReadError, TooLargeError
from converter.importers.tables.json_text import read_json
from converter.limits import (
    MESH_BYTES,
    NESTING,
    PACKAGE_BYTES,
    PACKAGE_FILES,
    PACKAGE_FREE,
    PACKAGE_RATIO,
    PLACED_MESHES,
    TRIANGLES,
    size_text,
)
from converter.quoting import quoted, shortened

_ALONE = "export the tubes alone, or a coarser mesh"
#: Bytes by the number that glTF 2.0 (3.6.2.2) gives a component's type, and components by the name of an element's.
_COMPONENT_BYTES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}
_COMPONENTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
#: Bytes of PLY's types of numbers, by either name.
_PLY_BYTES = {
    "char": 1, "int8": 1, "uchar": 1, "uint8": 1, "short": 2, "int16": 2, "ushort": 2, "uint16": 2,
    "int": 4, "int32": 4, "uint": 4, "uint32": 4, "float": 4, "float32": 4, "double": 8, "float64": 8,
}  # fmt: skip
_PLY_END = re.compile(rb"^end_header[ \t]*+\r?\n", re.MULTILINE)
_DOCTYPE, _COMPONENT = (
    tuple(word.encode(encoding) for encoding in ("utf-8", "utf-16-le", "utf-16-be"))
    for word in ("<!DOCTYPE", "component")
)


def check_triangles(count: int, name: str) -> None:
    """Refuse a file of more triangles than are worked on.

    Raises:
        TooLargeError: it has.
    """
    if count > TRIANGLES:
        raise TooLargeError.of(name, f"{count:,} triangles, each as often as it is placed", f"{TRIANGLES:,}", _ALONE)


def check_ply(data: bytes, name: str) -> None:
    """Hold the counts in a PLY's header against what follows it.

    Raises:
        ReadError: it announces more than the file holds.
    """
    end = _PLY_END.search(data, 0, 1 << 20)
    if end is None:
        raise ReadError(f"{name} is no PLY mesh: its header does not end; export it again.", code="damaged", file=name)
    lines = [line.split() for line in data[: end.start()].decode("latin-1").splitlines()]
    is_text = any(line[:2] == ["format", "ascii"] for line in lines)
    announced, least, count, what = 0, 0, 0, []
    for line in [*lines, ["element", "", "0"]]:
        if line[:1] == ["element"] and len(line) == 3 and line[2].isdecimal():
            announced += count * least
            least, count = 0, int(line[2][:20])
            what += [f"{count:,} {shortened(line[1], 20)}"] if count else []
        elif line[:1] == ["property"] and len(line) > 1:
            # as text a number has a digit and a blank; a list may be empty, but has its own length
            least += 2 if is_text else _PLY_BYTES.get(line[2] if line[1] == "list" and len(line) > 2 else line[1], 1)
    if announced > len(data) - end.end() + 1:
        raise ReadError(
            f"{name} is cut short: it announces {' and '.join(what)} and has {size_text(len(data))}; "
            "export or copy it again.",
            code="truncated",
            file=name,
        )


# --- glTF -----------------------------------------------------------------------------------


def check_gltf(data: bytes, kind: str, name: str) -> None:
    """Hold what a glTF's structure announces against its buffers and our limits.

    Args:
        data: the file.
        kind: 'glb' or 'gltf'.
        name: of the file, for messages.

    Raises:
        ReadError: it is no JSON, or announces more than its buffers hold, or more than is read.
    """
    binary = 0
    if kind == "glb":
        end = 20 + int.from_bytes(data[12:16], "little")
        binary = int.from_bytes(data[end : end + 4], "little")
        data = data[20:end]
    header = read_json(data.rstrip(b"\x00 "), name)
    if not isinstance(header, dict):
        raise ReadError(f"{name} is no glTF: its JSON holds no structure.", code="damaged", file=name)
    try:
        _check_buffers(header, binary, name)
        _check_accessors(header, name)
        _check_nodes(header, name)
    except (TypeError, KeyError, IndexError, AttributeError, ValueError) as error:
        raise ReadError(
            f"{name} is damaged: its structure cannot be followed; export it again.",
            code="damaged",
            file=name,
        ) from error


def _check_buffers(header: Mapping[str, Any], binary: int, name: str) -> None:
    """Refuse a buffer that names no file and is not in this one; ``binary``: bytes behind the structure of a .glb."""
    for i, buffer in enumerate(header.get("buffers", [])):
        size = _count(buffer.get("byteLength", 0))
        here = binary if i == 0 else 0
        if buffer.get("uri") is None and size > here:
            raise ReadError(
                f"{name} is cut short: buffer {i} announces {size} bytes and names no file, and {here} bytes are "
                "there; export or copy it again.",
                code="truncated",
                file=name,
            )


def _check_accessors(header: Mapping[str, Any], name: str) -> None:
    buffers = sum(_count(b.get("byteLength", 0)) for b in header.get("buffers", []))
    if buffers > MESH_BYTES:
        raise TooLargeError.of(name, f"buffers of {size_text(buffers)}", size_text(MESH_BYTES), _ALONE)
    views = header.get("bufferViews", [])
    total = 0
    for i, accessor in enumerate(header.get("accessors", [])):
        count = _count(accessor["count"])
        element = _COMPONENT_BYTES[accessor["componentType"]] * _COMPONENTS[accessor["type"]]
        total += count * element
        if "bufferView" in accessor:
            view = views[accessor["bufferView"]]
            needs = (count - 1) * _count(view.get("byteStride", element)) + element if count else 0
            if needs > _count(view["byteLength"]):
                raise ReadError(
                    f"{name} is damaged: accessor {i} announces {count:,} values, more than its buffer holds; "
                    "export it again.",
                    code="damaged",
                    file=name,
                )
    if total > MESH_BYTES:
        raise TooLargeError.of(name, f"values of {size_text(total)}", size_text(MESH_BYTES), _ALONE)


def _check_nodes(header: Mapping[str, Any], name: str) -> None:
    accessors = header.get("accessors", [])
    triangles = [
        sum(
            accessors[p["indices"] if "indices" in p else p["attributes"]["POSITION"]]["count"] // 3
            for p in mesh["primitives"]
        )
        for mesh in header.get("meshes", [])
    ]
    nodes = header.get("nodes", [])
    children: dict[object, list[object]] = {i: node.get("children", []) for i, node in enumerate(nodes)}
    placing = [i for i, node in enumerate(nodes) if "mesh" in node]
    check_placed(children, dict.fromkeys(placing, 1), range(len(nodes)), name)
    if len(placing) > PLACED_MESHES:
        raise TooLargeError.of(name, f"{len(placing):,} placed meshes", f"{PLACED_MESHES:,}", _ALONE)
    check_triangles(sum(triangles[nodes[i]["mesh"]] for i in placing), name)


def _count(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(value)
    return value


def check_placed(
    children: Mapping[object, list[object]], own: Mapping[object, int], roots: Sequence[object], name: str
) -> dict[object, int]:
    """How many meshes each of some roots places, through whatever it is made of; nothing is placed for it.

    Args:
        children: of each part, those it is made of; one that stands there twice is placed twice.
        own: meshes of a part itself.
        roots: parts to count.
        name: of the file, for messages.

    Raises:
        ReadError: a part contains itself, or parts are nested more than `NESTING` deep.
    """
    counts: dict[object, int] = {}
    depth: dict[object, int] = {}
    for root in roots:
        todo: list[tuple[object, bool]] = [(root, False)]
        open_parts: set[object] = set()
        while todo:
            part, done = todo.pop()
            if done:
                open_parts.discard(part)
                below = children.get(part, [])
                counts[part] = own.get(part, 0) + sum(counts[child] for child in below)
                depth[part] = 1 + max((depth[child] for child in below), default=0)
            elif part not in counts:
                if part in open_parts:
                    raise ReadError(
                        f"{name} is damaged: part {quoted(part)} contains itself; export it again.",
                        code="damaged",
                        file=name,
                    )
                open_parts.add(part)
                todo.append((part, True))
                todo += [(child, False) for child in dict.fromkeys(children.get(part, [])) if child not in counts]
    deepest = max(depth.values(), default=0)
    if deepest > NESTING:
        raise TooLargeError.of(name, f"parts within parts, {deepest} deep", f"{NESTING} levels", _ALONE)
    return counts


# --- 3MF ------------------------------------------------------------------------------------


def check_package(data: bytes, name: str) -> None:
    """Hold a 3MF's list of contents against our limits, before anything in it is unpacked.

    Unpacking never goes beyond the sizes that the list states.

    Raises:
        ReadError: it has too much in it, is packed in another way than 3MF allows, or lies about its sizes.
        zipfile.BadZipFile: it is no whole package.
    """
    entries = data.count(b"PK\x01\x02")
    if entries > PACKAGE_FILES:
        raise TooLargeError.of(name, f"{entries:,} files in its package", f"{PACKAGE_FILES:,}", _ALONE)
    with zipfile.ZipFile(BytesIO(data)) as package:
        infos = package.infolist()
        total = sum(info.file_size for info in infos)
        if total > PACKAGE_BYTES:
            raise TooLargeError.of(name, f"{size_text(total)} in its package", size_text(PACKAGE_BYTES), _ALONE)
        for info in infos:
            if info.file_size > PACKAGE_FREE and info.file_size > PACKAGE_RATIO * info.compress_size:
                sizes = f"from {size_text(info.compress_size)} to {size_text(info.file_size)}"
                raise TooLargeError(
                    f"{name} is no sound 3MF: {quoted(info.filename)} in it unpacks {sizes}, more than "
                    f"{PACKAGE_RATIO} times as much.",
                    file=name,
                )
            if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise ReadError(
                    f"{name} is no sound 3MF: {quoted(info.filename)} in it is packed in a way that 3MF does not have; "
                    "export it again.",
                    code="damaged",
                    file=name,
                )


def check_models(data: bytes, name: str) -> None:
    """Refuse a 3MF whose models declare entities or place their meshes too often.

    Args:
        data: a package that `check_package` has passed.
        name: of the file, for messages.

    Raises:
        ReadError: one does.
    """
    structure = _Structure()
    with zipfile.ZipFile(BytesIO(data)) as package:
        for entry in package.namelist():
            if not entry.lower().endswith(".model"):
                continue
            text = package.read(entry)
            if any(word in text for word in _DOCTYPE):
                raise ReadError(
                    f"{name} is no sound 3MF: {quoted(entry)} in it declares a document type, which 3MF forbids.",
                    code="damaged",
                    file=name,
                )
            # most models are flat, and then there is nothing to count
            if any(word in text for word in _COMPONENT) or text.count(b"item") > PLACED_MESHES:
                structure.add(text, entry.strip("/"))
    counts = check_placed(structure.children, structure.own, [*structure.children, *structure.items], name)
    placed = sum(counts[item] for item in structure.items)
    if placed > PLACED_MESHES:
        raise TooLargeError.of(name, f"{placed:,} placed meshes", f"{PLACED_MESHES:,}", _ALONE)


class _Structure:
    """What the objects of a 3MF are made of. An object is known by its file in the package and its id there.

    Attributes:
        children: of each object, its components.
        own: meshes of each object itself.
        items: what the build list places.
    """

    def __init__(self) -> None:
        self.children: dict[object, list[object]] = {}
        self.own: dict[object, int] = {}
        self.items: list[object] = []

    def add(self, text: bytes, entry: str) -> None:
        """Add one model of the package."""
        from lxml import etree

        def place(element: Any) -> tuple[str, str]:
            paths = [str(v).strip("/") for k, v in element.attrib.items() if str(k).endswith("path")]
            return (paths[0] if paths else entry, str(element.get("objectid", "")))

        parts: list[object] = []
        meshes = 0
        tags = ("{*}object", "{*}component", "{*}mesh", "{*}item")
        for _, element in etree.iterparse(BytesIO(text), tag=tags, resolve_entities=False, no_network=True):
            word = etree.QName(element).localname
            if word == "component":
                parts.append(place(element))
            elif word == "item":
                self.items.append(place(element))
            elif word == "mesh":
                meshes += 1
            else:
                key = (entry, str(element.get("id", "")))
                self.children[key], self.own[key] = parts, meshes
                parts, meshes = [], 0
            element.clear()
