"""Files as general-purpose CAD programs read them, headless: FreeCAD, LibreCAD, Gmsh and OpenSCAD.

Two tubes drawn in inches, so that a unit that gets lost shows; expected values are worked by hand (Pappus' theorem,
corners of the drawing). Each program is started once. FreeCAD 0.20.2 without a window crashes on any STEP file with an
assembly (one of two boxes that the kernel's own writer made, too), so it reads whole files by `Part`, which keeps no
names, and names from one file each. No program here reads GLB: other tests hold it to trimesh.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from itertools import pairwise
from math import hypot, pi, sin
from pathlib import Path

import ezdxf
import pytest
import trimesh
from jobs import write_job
from pypdf import PdfReader

from converter.exporters.solids.bodies import bodies
from converter.job import Job, open_job
from converter.settings import Settings

pytestmark = pytest.mark.cad
INCH = 25.4
#: mm: RAIL runs 12 in, bends 90 degrees at 6 in, runs 14 in; POST is 24 in. Lengths, metal areas, boxes.
LENGTHS = {"RAIL": INCH * (12.0 + 6.0 * pi / 2.0 + 14.0), "POST": INCH * 24.0}
AREAS = {"RAIL": INCH**2 * pi / 4.0 * (1.5**2 - 1.26**2), "POST": INCH**2 * pi / 4.0 * (1.0 - 0.87**2)}
BOXES = {
    "RAIL": [0.0, -0.75 * INCH, -0.75 * INCH, 18.75 * INCH, 20.0 * INCH, 0.75 * INCH],
    "POST": [0.0, 29.5 * INCH, -0.5 * INCH, 24.0 * INCH, 30.5 * INCH, 0.5 * INCH],
}
#: Of the metal. Metal of a bend lies further out than its axis: by k^2 / R, k^2 = (ro^2 + ri^2) / 4 (statics).
_OUT = (6.0 + (0.75**2 + 0.63**2) / 4.0 / 6.0) * sin(pi / 4.0) / (pi / 4.0) * sin(pi / 4.0)
_PARTS = ((12.0, (6.0, 0.0)), (3.0 * pi, (12.0 + _OUT, 6.0 - _OUT)), (14.0, (18.0, 13.0)))
MIDDLES = {
    "RAIL": [sum(n * at[i] for n, at in _PARTS) / sum(n for n, _ in _PARTS) * INCH for i in (0, 1)] + [0.0],
    "POST": [12.0 * INCH, 30.0 * INCH, 0.0],
}
FREECAD = """
import json, sys
import FreeCAD, Import, Mesh, Part
folder = {folder!r}
def box(b):
    return [b.XMin, b.YMin, b.ZMin, b.XMax, b.YMax, b.ZMax]
def objects(read, file):
    document = FreeCAD.newDocument("one")
    read(folder + "/" + file, "one")
    told = [
        dict(
            name=o.Label, volume=o.Shape.Volume, length=o.Shape.Length, valid=o.Shape.isValid(),
            box=box(o.Shape.optimalBoundingBox()), middle=list(o.Shape.CenterOfMass) if o.Shape.Solids else [],
            kinds=sorted(e.Curve.TypeId for e in o.Shape.Edges),
        )
        for o in document.Objects if hasattr(o, "Shape")
    ]
    FreeCAD.closeDocument("one")
    return told
mesh = Mesh.Mesh(folder + "/two.stl")
told = dict(
    step=objects(Part.insert, "two.step"),
    single=objects(Import.insert, "two-RAIL.step") + objects(Import.insert, "two-POST.step"),
    dxf=objects(Import.readDXF, "two-centerline.dxf"),
    stl=dict(volume=mesh.Volume, box=box(mesh.BoundBox), parts=mesh.countComponents(), solid=mesh.isSolid()),
)
with open(folder + "/freecad.json", "w") as stream:
    json.dump(told, stream)
"""
GMSH = """
import json
import gmsh
gmsh.initialize()
gmsh.option.setNumber("General.Terminal", 0)
gmsh.option.setNumber("Geometry.OCCImportLabels", 1)
gmsh.option.setString("Geometry.OCCTargetUnit", "MM")
gmsh.model.occ.importShapes({folder!r} + "/two.step")
gmsh.model.occ.synchronize()
told = [
    dict(name=gmsh.model.getEntityName(3, t), color=gmsh.model.getColor(3, t), volume=gmsh.model.occ.getMass(3, t),
         middle=gmsh.model.occ.getCenterOfMass(3, t), box=gmsh.model.getBoundingBox(3, t))
    for _, t in gmsh.model.getEntities(3)
]
with open({folder!r} + "/gmsh.json", "w") as stream:
    json.dump(told, stream)
"""


def program(name: str) -> str:
    """Path of a program; without it the test is skipped, unless CI was to install it."""
    path = shutil.which(name)
    if path is None:
        promised = name in os.environ.get("CAD_PROGRAMS", "").split()
        (pytest.fail if promised else pytest.skip)(f"{name} is not installed")
    return path


def start(*command: str) -> str:
    """Run a program without a screen; what it said."""
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=200, check=False, errors="replace",
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    )  # fmt: skip
    return done.stdout + done.stderr


@pytest.fixture(scope="module")
def job(tmp_path_factory) -> Job:
    drawing = tmp_path_factory.mktemp("cad") / "two.dxf"
    doc = ezdxf.new("R2010", units=1)
    model = doc.modelspace()
    model.add_line((0, 0, 0), (12, 0, 0), {"layer": "RAIL"})
    model.add_arc((12, 6, 0), 6, 270, 0, {"layer": "RAIL"})
    model.add_line((18, 6, 0), (18, 20, 0), {"layer": "RAIL"})
    model.add_line((0, 30, 0), (24, 30, 0), {"layer": "POST"})
    doc.saveas(drawing)
    return open_job(str(drawing), Settings(sections=("RAIL=1.5x0.12in", "POST=1x0.065in")))


@pytest.fixture(scope="module")
def folder(job, tmp_path_factory) -> Path:
    """STEP in inches, all in one file and one file each; DXF; STL and 3MF in millimetres."""
    folder = tmp_path_factory.mktemp("written")
    write_job(job, folder, ["step", "dxf"], step_unit="in")
    write_job(job, folder, ["step"], step_unit="in", one_file=False)
    write_job(job, folder, ["stl", "3mf"], step_unit="mm")
    return folder


@pytest.fixture(scope="module")
def freecad(folder) -> dict:
    script = folder / "read.py"
    script.write_text(FREECAD.format(folder=str(folder)), encoding="utf-8")
    said = start(program("freecadcmd"), str(script))
    assert (folder / "freecad.json").exists(), said
    return json.loads((folder / "freecad.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def gmsh(folder) -> list[dict]:
    program("gmsh")
    python = program("/usr/bin/python3")  # the system's, which has the package of the same name
    said = start(python, "-c", GMSH.format(folder=str(folder)))
    if not (folder / "gmsh.json").exists() and "No module named 'gmsh'" in said:
        program("python3-gmsh")
    assert (folder / "gmsh.json").exists(), said
    return json.loads((folder / "gmsh.json").read_text(encoding="utf-8"))


def in_order(told: list[dict]) -> list[dict]:
    """RAIL before POST, whatever their names: by their boxes."""
    return sorted(told, key=lambda one: one["box"][1])


def test_solids_in_freecad(freecad):
    for told in (in_order(freecad["step"]), in_order(freecad["single"])):
        assert len(told) == 2
        for name, one in zip(LENGTHS, told, strict=True):
            assert one["valid"]
            assert one["volume"] == pytest.approx(AREAS[name] * LENGTHS[name], rel=1e-9)
            assert one["box"] == pytest.approx(BOXES[name], abs=0.01)
            assert one["middle"] == pytest.approx(MIDDLES[name], abs=1e-4)
    assert {one["name"] for one in freecad["single"]} == set(LENGTHS)


def test_solids_in_gmsh(gmsh, job):
    colors = {body.tube.name: body.color for body in bodies(job)}
    assert len(gmsh) == 2
    for name, one in zip(LENGTHS, in_order(gmsh), strict=True):
        assert one["name"].split("/")[-1] == name
        assert one["volume"] == pytest.approx(AREAS[name] * LENGTHS[name], rel=1e-9)
        assert one["middle"] == pytest.approx(MIDDLES[name], abs=1e-4)
        assert one["color"][3] == 255
    assert len({tuple(one["color"]) for one in gmsh}) == len(set(colors.values())) == 2


def test_the_mesh_in_freecad(freecad):
    """Flats on round tube take a little off: the writer's own tolerance, well below a hundredth."""
    stl = freecad["stl"]
    assert stl["parts"] == 2 and stl["solid"]
    assert stl["volume"] == pytest.approx(sum(AREAS[name] * LENGTHS[name] for name in LENGTHS), rel=5e-3)
    low, high = BOXES["RAIL"][:3] + BOXES["RAIL"][3:], BOXES["POST"]
    whole = [min(low[i], high[i]) for i in range(3)] + [max(low[i], high[i]) for i in range(3, 6)]
    assert stl["box"] == pytest.approx(whole, abs=0.2)


def test_the_mesh_in_openscad(folder):
    model, out = folder / "two.scad", folder / "two.off"
    model.write_text('import("two.3mf");\n', encoding="utf-8")
    said = start(program("openscad"), "-o", str(out), str(model))
    assert out.exists(), said
    mesh = trimesh.load(out)
    assert len(mesh.split()) == 2
    assert mesh.volume == pytest.approx(sum(AREAS[name] * LENGTHS[name] for name in LENGTHS), rel=5e-3)
    assert mesh.bounds.ravel() == pytest.approx(
        [0.0, -0.75 * INCH, -0.75 * INCH, 24.0 * INCH, 30.5 * INCH, 0.75 * INCH], abs=0.2
    )


def test_the_centerline_in_freecad(freecad):
    curves = [one for one in freecad["dxf"] if len(one["kinds"]) == 1]
    lengths = sorted(one["length"] for one in curves)
    assert lengths == pytest.approx(sorted([12.0 * INCH, 14.0 * INCH, 24.0 * INCH, 6.0 * INCH * pi / 2.0]))
    assert sorted(one["kinds"][0] for one in curves).count("Part::GeomCircle") == 1


def test_the_centerline_in_librecad(folder):
    """Drawn at scale 1 on paper; layers are told by their colours in the file: straights 7, bends off a die 30."""
    layers = {layer.dxf.name: layer.dxf.color for layer in ezdxf.readfile(folder / "two-centerline.dxf").layers}
    assert (layers["straights"], layers["off-die-bends"]) == (7, 30)
    start(program("librecad"), "dxf2pdf", "-s", "1", "-p", "1200x1200", str(folder / "two-centerline.dxf"))
    content = PdfReader(folder / "two-centerline.pdf").pages[0].get_contents().get_data().decode("latin-1")
    scale = float(re.search(r"^([0-9.]+) 0 0 -[0-9.]+ ", content, re.MULTILINE)[1]) / 72.0 * INCH  # mm for each unit
    strokes: dict[tuple[str, ...], list[list[tuple[float, float]]]] = {}
    color: tuple[str, ...] = ()
    for line in content.splitlines():
        *numbers, verb = line.split() or [""]
        if verb == "SCN":
            color = tuple(numbers)
        elif verb == "m":
            strokes.setdefault(color, []).append([(float(numbers[0]), float(numbers[1]))])
        elif verb == "l" and color:
            strokes[color][-1].append((float(numbers[0]), float(numbers[1])))
    straights = [stroke for stroke in strokes[("0", "0", "0")] if len(stroke) == 2]
    lengths = [scale * hypot(b[0] - a[0], b[1] - a[1]) for stroke in straights for a, b in pairwise(stroke)]
    for inches in (12.0, 14.0, 24.0):
        assert any(length == pytest.approx(inches * INCH, abs=0.05) for length in lengths)
    (bend,) = [points for key, points in strokes.items() if len(key) == 3 and key[0] == "1" and key[2] == "0"]  # orange
    xs, ys = ([scale * point[i] for stroke in bend for point in stroke] for i in (0, 1))
    assert [max(xs) - min(xs), max(ys) - min(ys)] == pytest.approx([6.0 * INCH] * 2, abs=0.05)
