"""Mesh files: every format, units, names, instances, what is no tube, and everything that can be wrong with a file."""

from __future__ import annotations

import json
import struct

import numpy as np
import pytest
import trimesh
from mesh_tools import ringed, saved, swept
from places import FIXTURES
from tubes import run_of

from converter.errors import ElbowroomError, OptionError, ReadError
from converter.importers.registry import ReadOptions, read
from converter.model.bends import Placement
from converter.model.drawing import Ignored
from converter.model.section import Section

FIXTURES = FIXTURES / "mesh"
TUBE = Section("round", 38.0, 2.5)
HOOK = run_of([(200.0, 0.0, 90.0, 80.0), (120.0, 180.0, 60.0, 80.0)], 90.0)


def rows(table):
    return [(b.feed, b.rotation, b.angle, b.clr) for b in table.bends]


@pytest.mark.parametrize("extension", ["stl", "obj", "ply", "3mf", "glb"])
def test_every_format(extension, tmp_path):
    """Single precision (STL, PLY, GLB) costs 1e-4 mm here; the unit is asked for where the format has none."""
    mesh = swept(HOOK, TUBE)
    if extension == "glb":
        mesh.apply_scale(0.001)
    drawing = read(saved(mesh, tmp_path / f"hook.{extension}"))
    (found,) = drawing.tables
    for have, want in zip(rows(found.table), rows(HOOK.table), strict=True):
        assert have == pytest.approx(want, abs=1e-3)
    assert found.table.tail == pytest.approx(90.0, abs=1e-3)
    assert found.section.wall == pytest.approx(2.5, abs=1e-4)
    stated = {"3mf": "mm", "glb": "m"}.get(extension)
    assert drawing.units == stated
    assert ("units-assumed" in [f.code for f in drawing.findings]) == (stated is None)


def test_text_stl_and_uppercase_names(tmp_path):
    path = tmp_path / "HOOK.STL"
    path.write_text(trimesh.exchange.stl.export_stl_ascii(swept(HOOK, TUBE)))
    (found,) = read(path).tables
    assert found.table.bends[1].rotation == pytest.approx(180.0, abs=1e-3)
    assert found.name == "HOOK"


def test_a_binary_stl_without_a_name(tmp_path):
    """Through a pipe there is no extension: its records tell; random bytes of the same length do not."""
    path = tmp_path / "nameless"
    path.write_bytes(stl_bytes())
    assert len(read(path).tables) == 1
    path.write_bytes(np.random.default_rng(3).bytes(len(stl_bytes())))
    with pytest.raises(ReadError, match="no reader knows"):
        read(path)


def test_units_assumed_names_both_readings_and_the_option_decides(tmp_path):
    path = saved(swept(HOOK, TUBE), tmp_path / "hook.stl")
    assumed = next(f for f in read(path).findings if f.code == "units-assumed")
    # the hook reaches 280 + 69.28 + 45 + 19 sin 60 in x, by hand
    reach = 280.0 + 80.0 * (1.0 - 0.5) + 90.0 * np.sin(np.radians(60.0)) + 19.0 * 0.5
    assert assumed.measured == pytest.approx(reach, rel=1e-3)
    assert "25.4" not in assumed.message
    assert f"{assumed.measured * 0.0254:.4g} m ({assumed.measured:.6g} in) if it was made in inches" in assumed.message
    assert f"{assumed.measured:.6g} mm ({assumed.measured / 25.4:.6g} in);" in assumed.message
    inches = read(path, ReadOptions(units="in"))
    assert inches.tables[0].section.od == pytest.approx(38.0 * 25.4, rel=1e-6)
    assert not inches.findings
    with pytest.raises(ElbowroomError, match="furlong"):
        read(path, ReadOptions(units="furlong"))
    with pytest.raises(OptionError, match="use one of"):
        read(path, ReadOptions(units="ly"))


def test_a_3mf_in_inches(tmp_path):
    """The unit stands in the model's XML; the option overrides it and is said."""
    import zipfile

    plain = saved(trimesh.Scene(swept(HOOK, TUBE)), tmp_path / "mm.3mf")
    path = tmp_path / "in.3mf"
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b'unit="millimeter"', b'unit="inch"'))
    drawing = read(path)
    assert drawing.units == "in"
    assert drawing.tables[0].section.od == pytest.approx(38.0 * 25.4, rel=1e-9)
    over = read(path, ReadOptions(units="mm"))
    assert over.tables[0].section.od == pytest.approx(38.0, rel=1e-9)
    assert [f.code for f in over.findings] == ["units-overridden"]


def test_names_instances_and_what_is_no_tube(tmp_path):
    """One geometry placed twice is two runs, each in its place; plates and balls are listed with the reason."""
    scene = trimesh.Scene()
    scene.add_geometry(swept(HOOK, TUBE), node_name="rail left", geom_name="rail")
    moved = trimesh.transformations.rotation_matrix(1.0, (1.0, 2.0, 3.0), (5.0, 6.0, 7.0))
    moved[:3, 3] += (3000.0, 100.0, 5.0)
    scene.graph.update("rail right", matrix=moved, geometry="rail")
    scene.add_geometry(trimesh.creation.box((500.0, 500.0, 10.0)), node_name="plate", geom_name="plate")
    scene.add_geometry(trimesh.creation.icosphere(4, 80.0), node_name="ball", geom_name="ball")
    drawing = read(saved(scene, tmp_path / "frame.3mf"))
    assert sorted(t.name for t in drawing.tables) == ["rail left", "rail right"]
    for table in drawing.tables:
        assert sorted(b.angle for b in table.table.bends) == pytest.approx([60.0, 90.0], abs=1e-6)
    right = next(t for t in drawing.tables if t.name == "rail right")
    ends = np.array([right.placement.start])
    assert (
        np.abs(ends - trimesh.transform_points(np.zeros((1, 3)), moved)).max() < 1e-6 or right.placement.start[0] < 3000
    )
    assert sum(i.count for i in drawing.ignored) == 2
    reasons = " ".join(i.why_in() for i in drawing.ignored)
    assert "a plate or block" in reasons
    assert "round but not long" in reasons
    assert read(tmp_path / "frame.3mf", ReadOptions(layers=("rail l*",))).tables[0].name == "rail left"


@pytest.mark.slow
@pytest.mark.parametrize("extension", ["3mf", "glb"])
def test_tubes_stand_in_the_files_order(extension, tmp_path):
    """Meshes in the order of the file, and the places of one mesh in theirs."""
    scene = trimesh.Scene()
    names = ["SILL", "RAIL", "ARM", "HOOP"]
    for at, name in enumerate(names):
        mesh = swept(run_of([(200.0 + 10.0 * at, 0.0, 90.0, 80.0)], 90.0), TUBE)
        mesh.apply_scale(0.001 if extension == "glb" else 1.0)
        mesh.apply_translation((0.0, 0.0, 500.0 * at))
        scene.add_geometry(mesh, node_name=name, geom_name=name)
    again = trimesh.transformations.translation_matrix((0.0, 0.0, 9000.0))
    scene.graph.update("RAIL-2", matrix=again, geometry="RAIL")
    tables = read(saved(scene, tmp_path / f"rack.{extension}")).tables
    assert [round(one.table.bends[0].feed) for one in tables] == [200, 210, 210, 220, 230]
    assert [one.name for one in tables if "RAIL" not in one.name] == ["SILL", "ARM", "HOOP"]
    assert tables[1].placement.start[2] < tables[2].placement.start[2]


def test_many_bodies_in_one_stl(tmp_path):
    """Nine tubes far from each other: nine tables, none lost, in the order of the file."""
    parts = [
        swept(run_of([(100.0 + k, 0.0, 90.0, 80.0)], 60.0, Placement((0.0, 400.0 * k, 0.0))), TUBE) for k in range(9)
    ]
    drawing = read(saved(trimesh.util.concatenate(parts), tmp_path / "nine.stl"))
    assert len(drawing.tables) == 9
    longest = sorted(max(t.table.straights) for t in drawing.tables)
    assert longest == pytest.approx([100.0 + k for k in range(9)], abs=1e-3)


@pytest.mark.slow
def test_a_mesh_far_from_the_origin_says_what_single_precision_costs(tmp_path):
    """At 1e7 mm neighbouring single-precision numbers are 1 mm apart (2^23 < 1e7 < 2^24)."""
    mesh = swept(HOOK, TUBE)
    mesh.apply_translation((1e7, 0.0, 0.0))
    drawing = read(saved(mesh, tmp_path / "far.stl"))
    said = next(f for f in drawing.findings if f.code == "mesh-precision")
    assert said.measured == 1.0
    exact = read(saved(mesh, tmp_path / "far.obj"))
    assert "mesh-precision" not in [f.code for f in exact.findings]
    assert exact.tables[0].table.bends[0].clr == pytest.approx(80.0, abs=1e-3)
    assert exact.tables[0].placement.start[0] == pytest.approx(1e7, abs=1e-3)


# --- programs ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "want", "straights", "section", "within"),
    [
        ("freecad-tube.stl", [(0.0, 75.0, 60.0), (40.0, 50.0, 60.0)], (150.0, 80.0, 110.0), (30.0, 2.0), 1e-3),
        ("freecad-tube.obj", [(0.0, 75.0, 60.0), (40.0, 50.0, 60.0)], (150.0, 80.0, 110.0), (30.0, 2.0), 1e-3),
        ("freecad-tube.ply", [(0.0, 75.0, 60.0), (40.0, 50.0, 60.0)], (150.0, 80.0, 110.0), (30.0, 2.0), 1e-3),
        ("openscad-hook.stl", [(0.0, 90.0, 80.0), (180.0, 60.0, 80.0)], (200.0, 120.0, 90.0), (38.0, 2.5), 2e-3),
        ("freecad-square.stl", [(0.0, 90.0, 100.0)], (200.0, 150.0), (30.0, 2.0), 1e-3),
        ("freecad-square-straight.stl", [], (300.0,), (40.0, 3.0), 1e-3),
        ("openscad-square.stl", [], (300.0,), (40.0, 3.0), 1e-3),
        ("openscad-square-bent.stl", [(0.0, 90.0, 90.0)], (150.0, 120.0), (40.0, 3.0), 1e-3),
        ("gmsh-skin.stl", [(0.0, 80.0, 55.0), (-60.0, 45.0, 55.0)], (120.0, 60.0, 90.0), (30.0, 15.0), 1e-3),
    ],
)
def test_meshes_from_other_programs(name, want, straights, section, within):
    """Tubes drawn in three programs from the numbers in their scripts; OpenSCAD writes six digits."""
    (found,) = read(FIXTURES / name, ReadOptions(units="mm")).tables
    assert found.table.straights == pytest.approx(straights, abs=within)
    for bend, (rotation, angle, clr) in zip(found.table.bends, want, strict=True):
        assert abs((bend.rotation - rotation + 180.0) % 360.0 - 180.0) < within
        assert (bend.angle, bend.clr) == pytest.approx((angle, clr), abs=within)
    assert (found.section.od, found.section.wall) == pytest.approx(section, abs=within)
    assert found.deviation < within


def faces_apart(mesh: trimesh.Trimesh) -> list[trimesh.Trimesh]:
    """A tube's faces each by itself: stretches of the surface, as triangles in order."""
    return [trimesh.Trimesh(mesh.vertices, part, process=False) for part in np.array_split(mesh.faces, 5)]


def test_a_gltf_mesh_given_face_by_face_is_one_surface(tmp_path):
    """CAD kernels write each face of a solid as a primitive of one mesh; each was a skin of its own, and a bar."""
    parts = faces_apart(swept(HOOK, TUBE))
    places = [np.eye(4), trimesh.transformations.translation_matrix((0.0, 0.0, 500.0))]
    buffers, views, accessors, primitives = b"", [], [], []
    for part in parts:
        used = np.unique(part.faces)
        onto = np.zeros(len(part.vertices), np.uint32)
        onto[used] = np.arange(len(used))
        for data, kind, code in (
            (part.vertices[used].astype("<f4"), "VEC3", 5126),
            (onto[part.faces].astype("<u4").reshape(-1), "SCALAR", 5125),
        ):
            views.append({"buffer": 0, "byteOffset": len(buffers), "byteLength": data.nbytes})
            accessors.append(
                {"bufferView": len(views) - 1, "componentType": code, "count": len(data), "type": kind}
                | ({"min": data.min(axis=0).tolist(), "max": data.max(axis=0).tolist()} if kind == "VEC3" else {})
            )
            buffers += data.tobytes()
        primitives.append({"attributes": {"POSITION": len(accessors) - 2}, "indices": len(accessors) - 1})
    (tmp_path / "tube.bin").write_bytes(buffers)
    header = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"name": "frame", "children": [1, 2]}]
        + [{"name": f"Bügel {k}", "mesh": 0, "matrix": m.T.reshape(-1).tolist()} for k, m in enumerate(places)],
        "meshes": [{"name": "tube", "primitives": primitives}],
        "buffers": [{"uri": "tube.bin", "byteLength": len(buffers)}],
        "bufferViews": views,
        "accessors": accessors,
    }
    (tmp_path / "tube.gltf").write_text(json.dumps(header))
    drawing = read(tmp_path / "tube.gltf", ReadOptions(units="mm"))
    assert sorted(table.name for table in drawing.tables) == ["Bügel 0", "Bügel 1"] and not drawing.ignored
    for table in drawing.tables:
        assert (table.section.od, table.section.wall) == pytest.approx((38.0, 2.5), abs=1e-3)
        assert sorted(table.table.straights) == pytest.approx([90.0, 120.0, 200.0], abs=1e-3)
    starts = sorted(round(table.placement.start[2], 3) for table in drawing.tables)
    assert starts[1] - starts[0] == pytest.approx(500.0, abs=1e-3)


# --- bad input --------------------------------------------------------------------------------


def stl_bytes() -> bytes:
    return bytes(swept(HOOK, TUBE).export(file_type="stl"))


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("short.stl", stl_bytes()[:5000], "cut short"),
        ("tiny.stl", b"\0" * 50, "cut short"),
        ("none.stl", b"\0" * 84, "no triangles"),
        ("half.stl", b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0", "cut short"),
        ("none.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "no triangles"),
        ("bad.obj", b"v 0 0 0\nv 1 0 0\nv 0 x 0\nf 1 2 3\n", "bad.obj"),
        ("points.ply", b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\n"
         b"property float z\nend_header\n0 0 0\n", "points.ply"),
        ("cut.ply", swept(HOOK, TUBE).export(file_type="ply")[:3000], "cut.ply"),
        ("cut.glb", trimesh.Scene(swept(HOOK, TUBE)).export(file_type="glb")[:3000], "cut short"),
        ("cut.3mf", trimesh.Scene(swept(HOOK, TUBE)).export(file_type="3mf")[:3000], "cut short"),
        ("no.3mf", b"PK\x03\x04 but nothing else", "cut short"),
        ("bad.gltf", b'{"asset": {"version": "2.0"}, "scenes": [', "bad.gltf"),
    ],
)  # fmt: skip
def test_a_damaged_file_is_one_sentence(name, data, says, tmp_path):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(ReadError) as caught:
        read(path)
    assert says in caught.value.message
    assert "\n" not in caught.value.message
    assert caught.value.message.endswith(".")


def glb_bytes() -> bytes:
    return bytes(trimesh.Scene(swept(HOOK, TUBE)).export(file_type="glb"))


def test_a_gltf_whose_buffer_is_missing_names_it(tmp_path):
    """A name in a URI has its blanks as %20; a buffer beside the file is read, one that is not there is named."""
    files = trimesh.Scene(swept(HOOK, TUBE)).export(file_type="gltf")
    text = files.pop("model.gltf")
    for name, data in files.items():
        text = text.replace(name.encode(), b"the%20" + name.encode())
        (tmp_path / f"the {name}").write_bytes(data)
    path = tmp_path / "t.gltf"
    path.write_bytes(text)
    assert len(read(path, ReadOptions(units="mm")).tables) == 1
    for name in files:
        (tmp_path / f"the {name}").unlink()
    with pytest.raises(
        ReadError, match=r"t\.gltf keeps its numbers in another file, 'the%20\S+', which is not beside it"
    ):
        read(path)
    path.write_bytes(text.replace(b"the%20", b"../"))
    with pytest.raises(ReadError, match="outside its own folder"):
        read(path)


@pytest.mark.parametrize(("end", "says"), [(200, "its structure announces"), (-900, "its binary buffer announces")])
def test_a_glb_cut_short_that_states_its_cut_length(end, says, tmp_path):
    cut = glb_bytes()[:end]
    path = tmp_path / "t.glb"
    path.write_bytes(cut[:8] + struct.pack("<I", len(cut)) + cut[12:])
    with pytest.raises(ReadError, match=f"cut short: {says}"):
        read(path)


def test_a_glb_without_its_buffer(tmp_path):
    whole = glb_bytes()
    end = 20 + struct.unpack("<I", whole[12:16])[0]
    path = tmp_path / "t.glb"
    path.write_bytes(whole[:8] + struct.pack("<I", end) + whole[12:end])
    with pytest.raises(ReadError, match=r"buffer 0 announces .* names no file, and 0 bytes are there"):
        read(path)


def test_the_unit_in_which_tubes_would_be_tubes_is_offered(tmp_path):
    """A tube of 38 in metres: 0.038 mm across as millimetres; in mm in a format of metres: 38 m across."""
    mesh = swept(HOOK, TUBE)
    millimetres = saved(trimesh.Scene(mesh), tmp_path / "mm.glb")
    with pytest.raises(ReadError, match=r"read in m, and tube in it is then 38 m .*, which is no tube's size.*38 mm"):
        read(millimetres)
    assert read(millimetres, ReadOptions(units="mm")).tables[0].section.od == pytest.approx(38.0, abs=1e-3)
    metres = saved(mesh.copy().apply_scale(0.001), tmp_path / "m.stl")
    doubt = next(f for f in read(metres).findings if f.code == "units-doubted")
    assert "38 mm" in doubt.message and doubt.message.endswith("in m.")
    assert "--units m)" in doubt.cure_in()
    assert not [f for f in read(saved(mesh, tmp_path / "t.stl")).findings if f.code == "units-doubted"]


@pytest.mark.slow
def test_every_cut_of_a_file_is_a_sentence_or_a_table(tmp_path):
    """Truncated anywhere, scrambled anywhere: never a traceback."""
    rng = np.random.default_rng(5)
    for extension in ("stl", "obj", "ply", "glb", "3mf"):
        whole = bytes(saved(swept(HOOK, TUBE, 1.0), tmp_path / f"w.{extension}").read_bytes())
        for k in range(12):
            data = bytearray(whole[: int(len(whole) * rng.uniform(0.01, 1.0))] if k % 2 else whole)
            for at in rng.integers(0, len(data), 3 if k % 3 else 0):
                data[at] = rng.integers(0, 256)
            path = tmp_path / f"c{k}.{extension}"
            path.write_bytes(bytes(data))
            try:
                drawing = read(path)
            except ElbowroomError as error:
                assert "\n" not in error.message
            else:
                assert drawing.tables or drawing.ignored


def test_corners_that_are_no_numbers_and_triangles_of_no_area_are_counted(tmp_path):
    """NaN would load in silence; its triangles are left out and listed, the tube stays."""
    mesh = swept(HOOK, TUBE)
    header = b"\0" * 80
    triangles = np.asarray(mesh.triangles, dtype="<f4")
    bad = np.full((2, 3, 3), np.nan, dtype="<f4")
    flat = np.repeat(triangles[:3, :1], 3, axis=1)
    every = np.concatenate([triangles, bad, flat])
    body = b"".join(struct.pack("<12fH", 0.0, 0.0, 0.0, *t.ravel(), 0) for t in every)
    path = tmp_path / "nan.stl"
    path.write_bytes(header + struct.pack("<I", len(every)) + body)
    drawing = read(path)
    assert drawing.tables[0].table.bends[0].clr == pytest.approx(80.0, abs=1e-3)
    assert {(i.kind, i.count, i.why_in()) for i in drawing.ignored} == {
        ("triangle", 2, "a corner is not a number"),
        ("triangle", 3, "it has no area"),
    }


def test_doubled_and_tangled_triangles_do_no_harm(tmp_path):
    """Every tenth triangle twice, and some the other way round: not a manifold, still the tube."""
    mesh = ringed(HOOK, 19.0, 24, 7.5)
    faces = np.concatenate([mesh.faces, mesh.faces[::10], mesh.faces[::25][:, ::-1]])
    (found,) = read(saved(trimesh.Trimesh(mesh.vertices, faces, process=False), tmp_path / "t.obj")).tables
    assert found.table.bends[0].clr == pytest.approx(80.0, abs=1e-3)


def test_what_is_too_coarse_to_be_read_says_how_fine_it_is_to_be(tmp_path):
    """Six facets around and one chord to a bend: the reason told what else it might be, and nothing to do about it."""
    drawing = read(str(saved(ringed(HOOK, 19.0, 6, 90.0), tmp_path / "coarse.stl")), ReadOptions(units="mm"))
    (left,) = drawing.ignored
    assert drawing.tables == [] and left.amount == "1 body"
    assert "too coarse (facets of 15° serve, around the tube and along its bends)" in left.why_in()
    finer = read(str(saved(ringed(HOOK, 19.0, 24, 15.0), tmp_path / "finer.stl")), ReadOptions(units="mm"))
    assert len(finer.tables) == 1 and finer.ignored == []


def test_what_was_left_out_is_counted_as_people_count():
    assert Ignored("body", 7, "why").amount == "7 bodies"
    assert Ignored("TEXT", 2, "why").amount == "2 TEXT"
