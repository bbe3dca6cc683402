"""Meshes to try: STL, OBJ, PLY, 3MF and glTF of tubes, mutated by structure, by number and by byte."""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from collections.abc import Callable
from functools import cache
from random import Random
from typing import Any

import numpy as np
import trimesh
from mesh_tools import ringed
from places import FIXTURES
from tubes import run_of
from wild import FuzzCase, damaged_lines, encoded, name, number, scrambled
from words import reading_words


def mesh_case(rng: Random) -> FuzzCase:
    """A mesh and a command that reads it."""
    kind = rng.choice(tuple(_MAKERS))
    data = _MAKERS[kind](rng)
    ending = kind.split("-")[0] if rng.random() < 0.96 else rng.choice(("stl", "obj", "ply", "3mf", "glb", "gltf", "x"))
    return FuzzCase(
        reading_words(rng, "{0}", thorough=0.005), ((f"a.{ending}", data),), 0 if rng.random() < 0.05 else None
    )


@cache
def _shapes() -> tuple[trimesh.Trimesh, ...]:
    hook = ringed(run_of([(120.0, 0.0, 90.0, 60.0)], 100.0), 10.0, 8, 30.0)
    straight = ringed(run_of([], 200.0), 12.0, 10, 30.0)
    box = trimesh.creation.box((20.0, 20.0, 300.0))
    fixture = trimesh.load(FIXTURES / "mesh" / "freecad-square-straight.stl")
    return hook, straight, box, fixture


def _mesh(rng: Random) -> trimesh.Trimesh:
    """A small mesh; now and then with corners moved far, made one, or faces lost, doubled and turned round."""
    mesh = rng.choice(_shapes()).copy()
    points, faces = np.array(mesh.vertices), np.array(mesh.faces)
    random = np.random.default_rng(rng.randrange(2**32))
    roll = rng.random()
    if roll < 0.15:
        points = points * rng.choice((0.0, 1e-6, 1e-3, 25.4, 1e4, 1e9, 1e30))
    elif roll < 0.3:
        points[random.integers(len(points), size=rng.choice((1, 3)))] = float(
            rng.choice((0.0, 1e3, 1e12, 1e30, np.inf, -np.inf, np.nan))
        )
    elif roll < 0.45:
        points = points + random.normal(0.0, rng.choice((1e-6, 0.05, 1.0, 30.0)), points.shape)
    elif roll < 0.6:
        faces = faces[random.random(len(faces)) < rng.choice((0.1, 0.5, 0.95))]
    elif roll < 0.7:
        faces = np.concatenate((faces, faces[random.integers(len(faces), size=5)][:, ::-1]))
    elif roll < 0.8:
        faces = random.permutation(faces.ravel()).reshape(-1, 3)
    elif roll < 0.9:
        points = points * np.array((1.0, rng.choice((0.0, 1e-9, 0.5, 1.0)), 1.0)) + rng.choice((0.0, 1e5, 1e7))
    return trimesh.Trimesh(points, faces, process=False)


def _saved(mesh: trimesh.Trimesh, kind: str) -> bytes:
    data = mesh.export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


def _maybe(data: bytes, rng: Random) -> bytes:
    return scrambled(data, rng) if rng.random() < 0.5 else data


# --- STL, OBJ ------------------------------------------------------------------------------------


def _stl(rng: Random) -> bytes:
    mesh = _mesh(rng)
    with np.errstate(all="ignore"):
        corners = np.asarray(mesh.vertices, dtype="<f4")[mesh.faces]
    rows = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    rows["v"] = corners
    count = (
        len(corners)
        if rng.random() < 0.8
        else rng.choice((0, 1, len(corners) - 1, len(corners) + 1, 2**31, 2**32 - 1)) % 2**32
    )
    head = rng.choice((b"", b"solid", b"solid facet", b"COLOR=abcd", b"\xff" * 80))
    return _maybe(head.ljust(80, b"\0")[:80] + struct.pack("<I", count) + rows.tobytes(), rng)


def _stl_text(rng: Random) -> bytes:
    text = _saved(_mesh(rng), "stl_ascii").decode()
    return encoded(damaged_lines(text, rng) if rng.random() < 0.6 else text, rng)


def _obj(rng: Random) -> bytes:
    lines = _saved(_mesh(rng), "obj").decode().split("\n")
    for _ in range(rng.choice((0, 1, 1, 3))):
        at = rng.randrange(len(lines) + 1)
        lines.insert(at, rng.choice((
            f"f {rng.randint(-99, 9999)} {number(rng)} 3", "f 1 2", "f 1//1 2//2 3//3 4//4 5//5", "f -1 -2 -3",
            "f 1/1/1 2/2/2",
            f"v {number(rng)} {number(rng)} {number(rng)}", "v 1 2", f"o {name(rng)}", f"g {name(rng)}",
            f"usemtl {name(rng)}",
            f"mtllib {name(rng)}", "mtllib /etc/passwd", "l 1 2", "p 1", "curv 0 1 1 2", "call x", "s off", "\\",
            "vt 0", "vn 0 0",
        )))  # fmt: skip
    text = "\n".join(lines)
    return encoded(damaged_lines(text, rng) if rng.random() < 0.5 else text, rng)


# --- PLY -----------------------------------------------------------------------------------------


def _ply(rng: Random) -> bytes:
    mesh = _mesh(rng)
    with np.errstate(all="ignore"):
        # the library cannot write a mesh without faces as text
        data = mesh.export(file_type="ply", encoding=rng.choice(("binary", "ascii")) if len(mesh.faces) else "binary")
    data = data if isinstance(data, bytes) else data.encode()
    head, end, body = data.partition(b"end_header\n")
    lines = head.decode().split("\n")
    for _ in range(rng.choice((0, 1, 1, 2))):
        at = rng.randrange(1, len(lines))
        kind = rng.randrange(5)
        if kind == 0:
            lines[at] = re.sub(r"\d+$", lambda _: number(rng), lines[at])
        elif kind == 1:
            lines[at] = re.sub(
                r"float|double|int|uint|uchar|list",
                rng.choice(("float", "double", "char", "int64", "list uchar int", "list float float", "", "x")),
                lines[at],
                count=1,
            )
        elif kind == 2:
            lines.insert(
                at,
                rng.choice(
                    (
                        f"element {name(rng)} {number(rng)}",
                        "property float x",
                        "property list uchar int vertex_indices",
                        f"comment {name(rng)}",
                        "element vertex 4000000000",
                        "obj_info",
                    )
                ),
            )
        elif kind == 3:
            del lines[at]
        else:
            lines[at] = rng.choice(
                ("format ascii 1.0", "format binary_big_endian 1.0", "format binary_little_endian 1.0", "format x 9")
            )
    return _maybe(encoded("\n".join(lines)) + end + body, rng)


# --- 3MF -----------------------------------------------------------------------------------------

_XML = 'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"'


def _xml_mesh(rng: Random) -> str:
    mesh = _mesh(rng)
    corners = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.vertices.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist())
    return f"<mesh><vertices>{corners}</vertices><triangles>{faces}</triangles></mesh>"


def _three_mf(rng: Random) -> bytes:
    objects = f'<object id="1" type="model" name="{re.sub(chr(34) + "|[<&]", "", name(rng))}">{_xml_mesh(rng)}</object>'
    items = '<item objectid="1"/>'
    roll = rng.random()
    if roll < 0.35:  # parts of parts: a ladder, a ring, a doubling tree
        depth, wide = rng.choice((1, 3, 40, 200)), rng.choice((1, 1, 2))
        objects += "".join(
            f'<object id="{k}"><components>{f"""<component objectid="{k - 1}"/>""" * wide}</components></object>'
            for k in range(2, depth + 2)
        )
        if rng.random() < 0.3:
            objects += f'<object id="{depth + 2}"><components><component objectid="{depth + 2}"/></components></object>'
        moved = (
            number(rng) if rng.random() < 0.2 else str(rng.choice((0, 1))) for _ in range(rng.choice((12, 12, 11)))
        )
        items = f'<item objectid="{rng.randint(1, depth + 3)}" transform="{" ".join(moved)}"/>'
    elif roll < 0.45:
        items *= rng.choice((0, 2, 500, 21_000))
    unit = rng.choice(("millimeter", "inch", "meter", "micron", "furlong", "", number(rng).replace('"', "")))
    before = rng.choice(("", "", "", "<!DOCTYPE a [<!ENTITY b 'ha'>]>", "<!DOCTYPE a SYSTEM 'file:///etc/passwd'>"))
    body = f"<resources>{objects}</resources><build>{items}</build>"
    text = f'<?xml version="1.0"?>{before}<model unit="{unit}" {_XML}>{body}</model>'
    if rng.random() < 0.35:
        found = list(re.finditer(r'"[^"]*"', text[:200_000]))
        a, b = rng.choice(found).span()
        text = text[: a + 1] + re.sub(r'["<&]', "", number(rng)) + text[b - 1 :]
    model = encoded(text, rng)
    if rng.random() < 0.2:
        model = scrambled(model, rng)
    if rng.random() < 0.03:
        model += b" " * (20 << 20)
    stream = io.BytesIO()
    with zipfile.ZipFile(
        stream, "w", rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_BZIP2))
    ) as out:
        if rng.random() < 0.7:
            out.writestr("[Content_Types].xml", '<?xml version="1.0"?><Types/>')
            out.writestr("_rels/.rels", '<?xml version="1.0"?><Relationships/>')
        out.writestr(rng.choice(("3D/3dmodel.model",) * 8 + ("../x.model", "3d/3DMODEL.model")), model)
        for _ in range(rng.choice((0, 0, 0, 1, 3))):
            out.writestr(
                rng.choice(("3D/other.model", "a/../../b", "3D/3dmodel.model.rels", "Metadata/thumbnail.png")),
                encoded(name(rng)),
            )
    data = stream.getvalue()
    return scrambled(data, rng, 3) if rng.random() < 0.3 else data


# --- glTF ----------------------------------------------------------------------------------------


def _glb(rng: Random) -> bytes:
    with np.errstate(all="ignore"):
        data = _saved(_mesh(rng), "glb")
    size = struct.unpack_from("<I", data, 12)[0]
    structure, body = json.loads(data[20 : 20 + size]), data[20 + size :]
    for _ in range(rng.choice((0, 1, 1, 2))):
        _change_node(structure, rng)
    text = json.dumps(structure).encode()
    text += b" " * (-len(text) % 4)
    total = 20 + len(text) + len(body)
    if rng.random() < 0.1:
        total = rng.choice((0, total - 4, total + 4, 2**32 - 1))
    made = (
        struct.pack(
            "<4sIIII",
            rng.choice((b"glTF",) * 9 + (b"glTX",)),
            rng.choice((2,) * 9 + (1,)),
            total,
            len(text),
            0x4E4F534A,
        )
        + text
        + body
    )
    return scrambled(made, rng) if rng.random() < 0.3 else made


def _gltf(rng: Random) -> bytes:
    with np.errstate(all="ignore"):
        files = trimesh.exchange.gltf.export_gltf(_mesh(rng).scene(), embed_buffers=True)
    structure = json.loads(files["model.gltf"])
    for _ in range(rng.choice((0, 1, 1, 2))):
        _change_node(structure, rng)
    if rng.random() < 0.2:
        buffers = structure.get("buffers")
        for buffer in buffers if isinstance(buffers, list) else []:
            if isinstance(buffer, dict):
                buffer["uri"] = rng.choice(
                    (
                        "/etc/passwd",
                        "../x.bin",
                        "http://127.0.0.1:9/x",
                        "data:,",
                        "data:application/octet-stream;base64,!!!",
                        "",
                        name(rng),
                    )
                )
    text = encoded(json.dumps(structure))
    return scrambled(text, rng) if rng.random() < 0.3 else text


def _change_node(structure: Any, rng: Random) -> None:
    """Another value somewhere in a JSON structure."""
    places: list[tuple[Any, Any]] = []
    todo = [structure]
    while todo:
        one = todo.pop()
        keys = list(one) if isinstance(one, dict) else range(len(one)) if isinstance(one, list) else ()
        for key in keys:
            places.append((one, key))
            if isinstance(one[key], (dict, list)):
                todo.append(one[key])
    if not places:
        return
    holder, key = rng.choice(places)
    old = holder[key]
    holder[key] = rng.choice((
        None, True, -1, 0, 1, 2, 3, 255, 2**31, 2**63, 10**400, 1e308, 0.5, "", "VEC3", "x" * 3000, name(rng), [], {},
        [old], {"a": old},
        [old] * 300 if not isinstance(old, (dict, list)) else [old, old],
    ))  # fmt: skip
    if rng.random() < 0.2:
        if isinstance(holder, dict):
            del holder[key]
        else:
            holder *= 2


_MAKERS: dict[str, Callable[[Random], bytes]] = {
    "stl": _stl, "stl-text": _stl_text, "obj": _obj, "ply": _ply, "3mf": _three_mf, "glb": _glb, "gltf": _gltf,
}  # fmt: skip
