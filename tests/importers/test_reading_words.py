"""Every text, cure and clause of the readers' catalogue in mm and in inches, from findings that are really made."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest
import trimesh
from dxf_text import text as dxf_text
from dxf_tools import FIXTURES, new, reread
from flat_meshes import by_kernel
from iges_tools import build as build_iges
from iges_tools import line
from member_bodies import box as block
from member_bodies import odd_members, solids_of, tube_along_x
from mesh_tools import ringed, saved, scanned, swept
from outline_drawings import (
    bent_tube,
    drawn_tubes,
    flat_pattern,
    floor_plan,
    sides_and_centerline,
    three_views,
    two_views_of_a_tube,
    views_of_a_tube,
    wireframe,
)
from outline_drawings import plate as holed_plate
from places import FIXTURES as EVERY
from tube_bodies import angle_iron, cylinder, faceted, pipe, plate, shaft, spring
from tubes import run_of

from converter.findings import CODES, Clause, Finding
from converter.findings.catalogue import bodies, reading
from converter.findings.entries import CLAUSES
from converter.findings.wording import reason
from converter.geometry.vectors import Vec
from converter.importers.dxf import read_dxf
from converter.importers.dxf.flat_arcs import FlatMark, restore_flat_arcs
from converter.importers.dxf.left_out import Tally
from converter.importers.file_units import no_unit_finding
from converter.importers.mesh.tube import measure
from converter.importers.mesh.tube_findings import tube_findings
from converter.importers.mesh.weld import weld
from converter.importers.not_stock import not_stock
from converter.importers.registry import ReadOptions, read
from converter.importers.solids.end_to_end import end_to_end_findings
from converter.importers.solids.read import find_tubes
from converter.importers.solids.remains import MOST_NAMED
from converter.importers.step.construction import FreeCurve, settle_free_curves
from converter.importers.step.outside import OutsideParts
from converter.importers.step.read import ShapeReading
from converter.job import open_job
from converter.kernel.shapes.solids import tube_solid
from converter.model.centerline import walk
from converter.model.curve import Line
from converter.model.drawing import Drawing, DrawnCurve, Ignored
from converter.model.section import Section
from converter.reducer import reduce_drawing
from converter.settings import Settings
from converter.tolerances import DEFAULT
from converter.units import Display

Told = tuple[list[Finding], list[Ignored]]

STEP = EVERY / "step"
_SOURCE = inspect.getsource(reading) + inspect.getsource(bodies)
#: Codes and clauses of the readers' catalogue.
_CODES = re.findall(r'^define\(\s*"([^"]+)"', _SOURCE, re.MULTILINE)
_CLAUSES = re.findall(r'^clause\(\s*"([^"]+)"', _SOURCE, re.MULTILINE)
#: What is told of the mesh reader with words of the reducer's catalogue.
_MORE = {("kink", "mesh"), ("rebuild-deviation", "mesh")}
#: Says what lengths would be in the other unit, so it names both in either.
_NAMES_BOTH = ("units-assumed",)
#: Made only by a file that is no sound STEP, which is tried out in a process of its own.
_FAULTS = {("file-repaired", "malformed")}
#: What an end would seldom be with what was left out.
_ENDS = {("left-out-touches", variant) for variant in ("other tubes", "cut", "cut longer")}
#: What is seldom told, and how it reads in inches.
_SELDOM = {
    Clause.of("solid-faces-not-evaluated", error="Standard_Failure"): "the CAD kernel cannot evaluate its faces "
    "(Standard_Failure)",
    Clause.of("solid-impossible", reason="a direction of no length"): "its numbers make no tube (a direction of no "
    "length)",
    Clause.of("solid-without-faces"): "it has no faces",
    Clause.of("solid-nothing-round", faces=1): "none of its 1 face goes round a tube",
    Clause.of("solid-fit-tolerance", fit=0.127): "the fit tolerance is 0.005 in",
    Clause.of("mesh-strays-from-flat", sigma=0.254, sizes=(50.8, 25.4)): "its sides are flat, but they lie 0.010 in "
    "off a square or rectangular tube or bar of 2.000 x 1.000 in on the whole: it is another shape, or a round tube in "
    "too coarse a mesh (facets of 15° serve, around the tube and along its bends)",
    Clause.of("solid-bore-filled"): "corners as of square tube, but its bore is full of metal",
    Clause.of("solid-too-little-metal"): "corners as of square tube, but less than half of its metal is there",
    Clause.of("solid-section-turned", angle=3.0): "its section is turned by 3.00° against the first bend",
}


def without_end_marks(text: str) -> str:
    """A DXF with two polylines of two vertices before its first line, which have no end mark."""
    vertex = "  0\nVERTEX\n  8\n0\n 10\n{x}\n 20\n900.0\n 30\n0.0\n 70\n    32\n"
    polyline = "  0\nPOLYLINE\n  8\n0\n 66\n     1\n 70\n     8\n" + vertex.format(x=0.0) + vertex.format(x=400.0)
    before, line, behind = text.partition("  0\nLINE\n")
    return before + 2 * polyline.replace("900.0", "800.0", 2) + line + behind


def drawings(tmp_path: Path) -> Iterator[Drawing]:
    """Drawings in DXF: of every unit, with layers off, flat arcs, a solid's edges, damage, what is not read."""
    for code, option in ((0, None), (99, None), (4, "in")):
        doc, model = new(units=code)
        model.add_line((0, 0), (500, 0))
        yield reread(doc, tmp_path, units=option)
    doc, model = new(units=0)
    model.add_line((0, 0), (0.5, 0))
    yield reread(doc, tmp_path)
    doc, _ = new()
    doc.blocks.new("LOOSE").add_line((0, 0), (500, 0))
    yield reread(doc, tmp_path)
    for measurement, shop in ((0, None), (1, "in")):
        doc, model = new(units=0)
        doc.header["$MEASUREMENT"] = measurement
        model.add_line((0, 0), (500, 0))
        yield reread(doc, tmp_path, shop_units=shop)
    for count in (1, 23):
        doc, model = new()
        for i in range(count):
            doc.layers.add(f"OFF-{i}").off()
            model.add_line((0, i), (9, i), dxfattribs={"layer": f"OFF-{i}"})
        yield reread(doc, tmp_path)
    for layers in (("NOTES",), ("NOTES", "DIM")):
        doc, model = new()
        for i, layer in enumerate(("0", *layers)):
            model.add_line((0, 90 * i), (500, 90 * i), dxfattribs={"layer": layer})
        if "DIM" not in layers:
            model.add_lwpolyline(
                [(-99, -99), (900, -99), (900, 600), (-99, 600)], close=True, dxfattribs={"layer": "A"}
            )
        yield reread(doc, tmp_path)
    doc, model = new()
    model.add_line((0, 0), (500, 0))
    for x in (0, 500):
        model.add_line((x - 2, 48), (x + 2, 52))
    model.add_line((0, 50), (500, 50))
    yield reread(doc, tmp_path)
    doc, model = new()
    model.add_arc((0, 0), 60, 0, 90)
    model.add_line((-8, 0), (8, 0))
    model.add_line((0, -8), (0, 8))
    yield reread(doc, tmp_path)
    doc, model = new()
    hook = doc.blocks.new("HOOK")
    hook.add_arc((0, 0), 50, 0, 90)
    model.add_blockref("HOOK", (0, 0), {"yscale": 2.0})
    yield reread(doc, tmp_path)
    doc, _ = new()
    doc.layout("Layout1").add_line((0, 0), (500, 0))
    yield reread(doc, tmp_path)
    yield read_dxf(FIXTURES / "freecad-unsure.dxf")
    doc, model = new()
    model.add_line((0, 0, 0), (100, 0, 0))
    model.add_line((150, 0, 50), (150, 0, 150))
    model.add_arc((100, 0, 50), 0, 0, 0)
    flat = reread(doc, tmp_path)
    yield flat
    curves = [one for one in flat.curves if isinstance(one.curve, Line)]
    nameless = [FlatMark((100.0, 0.0, 50.0), "RAIL", None, 1)]
    yield Drawing("flat.dxf", findings=restore_flat_arcs(curves, nameless, lambda _: False)[1])
    doc, model = new()
    for x in (0.0, 300.0):
        model.add_circle((0, 0, x), 22.225)
    for y in (22.225, -22.225, 22.225):
        model.add_line((0, y, 0), (0, y, 300))
    yield reread(doc, tmp_path)
    whole = dxf_text(20)
    spoilt = re.sub(r"(LTSCALE\n 40\n).*\n", r"\g<1>1.2.3\n", whole, count=1)
    spoilt = re.sub(r"(AcDbLine\n 10\n).*\n", r"\g<1>0,0\n", spoilt, count=1)
    spoilt = re.sub(r"( 11\n)100.0\n", r"\g<1>1.0D+02\n", spoilt, count=1)
    third, fourth = re.findall(r"LINE\n  5\n(\w+)\n", whole)[2:4]
    for data in (spoilt, spoilt.replace(f"LINE\n  5\n{fourth}\n", f"LINE\n  5\n{third}\n")):
        (tmp_path / "spoilt.dxf").write_text(data)
        yield read_dxf(tmp_path / "spoilt.dxf")
    section = "  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n  8\n0\n 10\n0.0\n 20\n50.0\n 11\n9.0\n 21\n50.0\n  0\nENDSEC\n"
    for data in (without_end_marks(whole), whole.replace("  0\nEOF\n", section + "  0\nEOF\n"), whole + section):
        (tmp_path / "open.dxf").write_text(data)
        yield read_dxf(tmp_path / "open.dxf")
    for part in (
        holed_plate,
        flat_pattern,
        floor_plan,
        wireframe,
        three_views,
        bent_tube,
        views_of_a_tube,
        two_views_of_a_tube,
    ):
        doc, model = new()
        part(model)
        yield reread(doc, tmp_path)
    doc, model = new()
    model.add_lwpolyline([(0, 0), (900, 0), (900, 700), (0, 700)], close=True)
    model.add_arc((400, 300), 100, 0, 90)
    yield reread(doc, tmp_path)
    doc, model = new()
    drawn_tubes(model)
    yield reread(doc, tmp_path, from_outline=True)
    doc, model = new()
    model.add_line((0, 0), (500, 0))
    yield reread(doc, tmp_path, from_outline=True)
    tally = Tally()
    for i in range(22):
        tally.lose("MLINE", "a multiline: explode it into lines", "RAIL", f"{i}A" if i else None)
    yield Drawing("tally.dxf", findings=tally.findings())


def tables(tmp_path: Path) -> Iterator[Drawing]:
    """Tables in CSV and JSON: headings without a unit or of another one, a wrong total, a plane that is not known."""
    rows = "100,0,90,60\n200,,,\n"
    for headings, option, shop in (
        ("feed,rotation,angle,clr", None, None),
        ("feed,rotation,angle,clr", None, "in"),
        ("feed,rotation,angle,clr_in", None, "mm"),
        ("feed_mm,rotation,angle,clr_in", "cm", None),
    ):
        (tmp_path / "a.csv").write_text(f"{headings}\n{rows}")
        yield read(tmp_path / "a.csv", ReadOptions(units=option, shop_units=shop))
    (tmp_path / "a.csv").write_text("feed_mm,rotation,angle,clr_mm,developed_length_mm\n100,0,90,60,999\n200,,,,\n")
    yield read(tmp_path / "a.csv")
    from converter.exporters.data.table_json import dumps, table_document

    job = open_job(str(tmp_path / "a.csv"))
    (tmp_path / "a.json").write_text(dumps(table_document("a", "mm", job.tubes)))
    yield read(tmp_path / "a.json")


def step_drawing() -> Drawing:
    """What the STEP reader tells at its end of what it met on the way."""
    drawing = Drawing("a.step", findings=[no_unit_finding([]), no_unit_finding(["in", "mm"])])
    met = ShapeReading(ReadOptions(), drawing)
    met.hidden["edge"] = 3
    met.sampled["hyperbola"], met.sampled["parabola"] = 1, 2
    met.unread["HANDLE"] = 2
    for part in range(9):
        why = Clause.of("solid-not-stock", why=Clause.of("solid-boss", length=9.0, od=12.0))
        met.ignored["solid", Clause.of("solid-no-tube", part=f"part {part}", why=why)] += 1
    met.finish()
    few = not_stock(drawing.ignored[-2:])
    return Drawing("a.step", findings=[*drawing.findings, *([few] if few else [])], ignored=drawing.ignored)


def iges(tmp_path: Path) -> Iterator[Drawing]:
    """IGES headers without a unit, with an unknown one, and not at life size."""
    for unit, scale in ((",", "1."), ("3,5HCHAIN", "1."), ("2,2HMM", "0.5"), ("1,2HMM", "1."), ("99,2HMM", "1.")):
        (tmp_path / "a.igs").write_text(build_iges([line((0, 0, 0), (100, 0, 0))], unit, scale))
        yield read(tmp_path / "a.igs")
    yield read(tmp_path / "a.igs", ReadOptions(units="in"))
    (tmp_path / "a.igs").write_text(build_iges([line((0, 0, 0), (100, 0, 0))], "99,5HCHAIN"))
    yield read(tmp_path / "a.igs")


def solids() -> Iterator[Told]:
    """Solids that are almost tubes, and some that are none."""
    tube = cylinder((0, 0, 0), (1, 0, 0), 15, 200)
    stepped = cylinder((0, 0, 0), (0, 0, 1), 15, 200).fuse(cylinder((0, 0, 200), (0, 0, 1), 15.3, 200))
    bent = cq.Shape.cast(tube_solid(run_of([(100, 0, 90, 60)], 80), Section("bar", 30, 15)))
    half_bored = bent.cut(cylinder((0, 0, 0), (1, 0, 0), 12, 100))
    inside = cq.Workplane("YZ").rect(34, 34).extrude(200).edges("|X").fillet(4)
    uneven = cq.Workplane("YZ").rect(40, 40).extrude(200).edges("|X").fillet(5).cut(inside)
    shapes = [
        cq.Solid.makeCone(15, 15.5, 200),
        cq.Workplane("XY").ellipse(15.2, 15).extrude(200).val(),
        tube.cut(cylinder((0, 0.5, 0), (1, 0, 0), 12, 200)),
        tube.Faces()[0],
        tube.fuse(cylinder((100, 0, 0), (0, 1, 0), 15, 200)),
        stepped,
        half_bored,
        uneven.val(),
        plate(100, 8).val(),
        plate(100, 8).edges("|Z").fillet(6).faces(">Z").workplane().hole(9).val(),
        plate(50, 10).val().fuse(cylinder((0, 0, 0), (0, 0, 1), 6, 18)),
        cq.Solid.makeSphere(20, angleDegrees1=-90),
        cq.Solid.makeCone(30, 10, 80),
        cylinder((0, 0, 0), (0, 0, 1), 50, 10),
        plate(20, 20).faces(">Z").val(),
        angle_iron(),
        *(block((0, 0, 0), (400, w, 20)).cut(block((0, 2, 2), (400, w - 4, 18))) for w in (40, 60)),
        shaft(),
        spring(),
        faceted(EVERY / "mesh" / "freecad-square.stl"),
    ]
    shapes += [*solids_of("open").values(), *solids_of("t-slot").values()]
    shapes += [solids_of("rhs")[name] for name in ("one sharp", "chamfered")]
    hardware = solids_of("hardware")
    shapes += [hardware[name] for name in ("hex screw", "countersunk screw", "pin", "bush")]
    shapes += [*odd_members()]
    shapes += [
        tube.cut(cylinder((0, 0, 0), (1, 0, 0), 12, 150)),
        block((0, 0, 0), (9, 9, 9)).cut(block((1, 1, 1), (7, 7, 8))),
    ]
    shapes += [block((0, 0, 0), (400, 40, 8)).fuse(block((0, 0, 0), (40, 400, 8)))]
    hard_way = tube_solid(run_of([(100, 0, 90, 90)], 80), Section("flat-bar", 8, 4, 40))
    shapes += [cq.Shape.cast(hard_way), pipe((0, 0, 0), (1, 0, 0), 20, 2, 400).cut(block((-1, 0, 0), (402, 60, 60)))]
    for shape in (*shapes, *tubes_with_more()):
        found, ignored = find_tubes(shape.wrapped, "part")
        yield [finding for table in found for finding in table.findings], ignored


def lobster_back() -> cq.Shape:
    """Three short segments, mitred by 40 degrees each."""
    body, at, way = None, cq.Vector(0, 0, 0), 0.0
    for k in range(3):
        d = cq.Vector(np.cos(way), np.sin(way), 0)
        part = cq.Solid.makeCylinder(30, 160, at - d * 60, d)
        for spot, turn, out in ((at, way - np.pi / 9, -1), (at + d * 40, way + np.pi / 9, 1)):
            square = way if (k, out) in ((0, -1), (2, 1)) else turn
            normal = cq.Vector(np.cos(square), np.sin(square), 0) * out
            part = part.cut(cq.Workplane(cq.Plane(spot, normal=normal)).box(500, 500, 500, (True, True, False)).val())
        body = part if body is None else body.fuse(part)
        at, way = at + d * 40, way + np.pi * 2 / 9
    return body


def tubes_with_more() -> Iterator[cq.Shape]:
    """Tubes with ends that are not square, and with other things in their bodies."""
    tube, ball = pipe((0, 0, 0), (1, 0, 0), 15, 2, 300), cq.Solid.makeSphere(60, angleDegrees1=-90)
    square = cq.Shape.cast(tube_solid(run_of([], 300), Section("square", 40, 3)))
    slant = cq.Workplane("XY").box(100, 100, 100).rotate((0, 0, 0), (0, 1, 0), 45).translate((320, 0, 0)).val()
    yield tube.cut(slant)
    yield tube.cut(cylinder((300, 0, -100), (0, 0, 1), 20, 200))
    yield tube.cut(ball.translate(cq.Vector(340, 0, 0)))
    yield square.cut(ball.translate(cq.Vector(340, 17, 9)))
    yield lobster_back()
    yield tube.fuse(pipe((300, 0, 0), (1, 0, 0), 15, 4, 200))
    yield tube.fuse(pipe((250, 0, 0), (1, 0, 0), 13, 2, 300))
    base = plate(100, 8).val().rotate(cq.Vector(), cq.Vector(0, 1, 0), 90)
    yield tube.fuse(base)
    yield cq.Compound.makeCompound([*tube.Faces(), *base.translate(cq.Vector(0, 200, 0)).Faces()])
    lug = cq.Workplane("XY").box(6, 6, 20).translate((20, 0, 20)).val()
    yield tube.fuse(*(lug.translate(cq.Vector(20.0 * k, 0, 0)) for k in range(MOST_NAMED + 1)))
    bent = cq.Shape.cast(tube_solid(run_of([(300, 0, 90, 100)], 250), Section("round", 40, 2)))
    yield bent.intersect(cq.Workplane("XY").box(2000, 2000, 1000, (True, True, False)).val())
    yield bent.transformGeometry(cq.Matrix([[1.5, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]]))


def faceted_plate() -> cq.Shape:
    """Triangles that are no tube."""
    holed = cq.Workplane("XY").box(100, 60, 8).faces(">Z").hole(20).val()
    points, corners = holed.tessellate(0.05, 0.2)
    faces = [cq.Face.makeFromWires(cq.Wire.makePolygon([points[k] for k in corner], close=True)) for corner in corners]
    return cq.Solid.makeSolid(cq.Shell.makeShell(faces))


def steps(tmp_path: Path) -> Iterator[Told]:
    """STEP files in parts: surfaces, files beside them, a centerline beside its solid."""
    skins = read(STEP / "solid-freecad-skins.step")
    yield [finding for table in skins.tables for finding in table.findings], skins.ignored
    for name in ("pieces", "pieces-named"):
        parts = read(STEP / f"solid-freecad-{name}.step")
        yield [*parts.findings, *(finding for table in parts.tables for finding in table.findings)], parts.ignored
    for name in ("cadquery-swept", "freecad-bar-spline"):
        swept = read(STEP / f"solid-{name}.step").curves[0].solid
        yield [] if swept is None else list(swept.findings), []
    halves = read(STEP / "solid-freecad-halves.step")
    yield [finding for table in halves.tables for finding in table.findings], halves.ignored
    spring().exportStep(str(tmp_path / "spring.step"))
    yield [], read(tmp_path / "spring.step").ignored
    for number, mesh in enumerate((faceted(EVERY / "mesh" / "freecad-square.stl"), faceted_plate())):
        mesh.exportStep(str(tmp_path / f"facets{number}.step"))
        facets = read(tmp_path / f"facets{number}.step")
        yield [finding for table in facets.tables for finding in table.findings], facets.ignored
    elbow = next(table for table in parts.tables if table.table.bends)
    row = [replace(elbow, name="bend 0", table=run_of([(0.0, 0.0, 5.0, 100.0)], 0.0).table)]
    for k in range(1, 11):
        row.append(replace(row[0], name=f"bend {k}", placement=walk(row[-1].table, row[-1].placement)[1]))
    yield end_to_end_findings(row, DEFAULT), []
    beside = OutsideParts(None, lambda *_: None, lambda _: None)
    beside.read["post.stp"] = 1
    beside.missing |= {f"{k}.stp": ("it does not lie beside this file", {"Rail": None}) for k in range(22)}
    beside.missing["0.stp"] = (Clause.of("outside-unread", error="it is cut short"), {"Rail": None, "Post": None})
    yield beside.findings(), []
    table = skins.tables[0]
    line = FreeCurve(DrawnCurve(Line((10.0, 0.0, 0.0), (140.0, 0.0, 0.0))), 0)
    left = [why for _, why in settle_free_curves([line], {1: True}, [table], DEFAULT)]
    yield [], [Ignored("edge", 1, why) for why in left if why is not None]
    sections = read(STEP / "freecad-sections.step")
    yield sections.findings, sections.ignored


def meshes(tmp_path: Path) -> Iterator[Told]:
    """A mesh as it is, and its tube with every doubt that there can be."""
    run = run_of([(100.0, 0.0, 90.0, 80.0), (60.0, -50.0, 45.0, 120.0)], 80.0)
    path = saved(swept(run, Section("bar", 38.0, 19.0), 0.5), tmp_path / "bar.stl")
    for units in (None, "in"):
        drawing = read(path, ReadOptions(units=units))
        yield [*drawing.findings, *(f for table in drawing.tables for f in table.findings)], drawing.ignored
    mesh = swept(run, Section("bar", 38.0, 19.0), 0.5)
    tube = measure(weld(np.array(mesh.vertices), np.array(mesh.faces)).bodies[0])
    doubt = replace(
        tube.doubt,
        misfit=replace(tube.doubt.misfit, clear=True, beside=0.5, noise=0.1),
        others=(1, 3),
        angles=(2.0, 0.1),
        straights=(0.0, 5.0, 0.0),
        rotations=(0.0, 3.0),
    )
    yield tube_findings("open", replace(tube, doubt=replace(doubt, rotations=(0.0, 9998.0)))), []
    sharp = replace(tube.table, bends=tuple(replace(bend, clr=None, corner=True) for bend in tube.table.bends))
    yield (
        tube_findings(
            "odd", replace(tube, searched=False, deviation=2.0, sigma=0.02, oval=1.0, taper=-1.0, doubt=doubt)
        ),
        [],
    )
    yield tube_findings("sharp", replace(tube, table=sharp)), []
    mesh.apply_translation((1e7, 0.0, 0.0))
    yield read(saved(mesh, tmp_path / "far.stl"), ReadOptions(units="mm")).findings, []
    several = trimesh.util.concatenate([ringed(one, 15.0, 24, 10.0) for one in (run, run_of([], 500.0))])
    for strange in (several, scanned(run_of([], 300.0), 10.0, 2.0, 0.6)):
        yield [], read(saved(strange, tmp_path / "strange.stl"), ReadOptions(units="mm")).ignored
    yield [], read(FIXTURES.parent / "mesh/freecad-tee.stl", ReadOptions(units="mm")).ignored
    for odd in flat_sided():
        drawing = read(saved(by_kernel(odd, 60.0, 1.0), tmp_path / "flat.stl"), ReadOptions(units="mm"))
        yield [f for table in drawing.tables for f in table.findings], drawing.ignored
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("converter.importers.mesh.effort.SECONDS", 0.01)
        two = [ringed(run_of([], 500.0), radius, 24, 10.0) for radius in (15.0, 20.0)]
        two[1].apply_translation((0.0, 200.0, 0.0))
        drawing = read(saved(trimesh.util.concatenate(two), tmp_path / "two.stl"), ReadOptions(units="mm"))
        yield drawing.findings, drawing.ignored


def flat_sided() -> Iterator[cq.Shape]:
    """A coped bar, a tube with a lug, one with a large block; a plate; an off-center bore."""
    yield block((0, -30, -20), (400, 60, 40)).cut(cylinder((0, 0, -50), (0, 0, 1), 45, 100))
    tube = tube_along_x(60, 40, 3, 600)
    yield tube.fuse(block((200, -5, 15), (30, 10, 15)))
    yield tube.fuse(block((200, -90, 15), (200, 180, 200)))
    yield block((0, 0, 0), (300, 200, 10))
    yield block((0, -30, -20), (600, 60, 40)).cut(block((0, -29, -19), (600, 50, 30)))


def jobs(tmp_path: Path) -> Iterator[Finding]:
    """What is told of drawings once they are tubes: runs of no tube's size, ends that touch what was left out."""
    for size in (0.001, 9e6):
        doc, model = new(units=6)
        model.add_line((0, 0), (size / 1000.0, 0))
        (run,), _ = reduce_drawing(reread(doc, tmp_path))
        yield from run.findings
    for hidden in (((0, 90), (500, 90)), ((-90, 400), (-90, 490))):
        doc, model = new()
        model.add_lwpolyline([(0, 0), (500, 0), (-90, 400)])
        model.add_line(*hidden, dxfattribs={"linetype": "HIDDEN"})
        runs, _ = reduce_drawing(reread(doc, tmp_path))
        yield from (finding for run in runs for finding in run.findings)
    doc, model = new()
    sides_and_centerline(model, "CL")
    yield from reread(doc, tmp_path).findings
    doc, model = new()
    drawn_tubes(model)
    doc.saveas(tmp_path / "sides.dxf")
    for sections in ((), ("1x0.065in",)):
        sides = Settings(sections=sections, read=ReadOptions(from_outline=True))
        findings = open_job(str(tmp_path / "sides.dxf"), sides).findings
        yield from (f for f in findings if f.code.startswith(("outline-", "section-differs")))
    table = tmp_path / "typed.csv"
    table.write_text("bend,feed_mm,rotation,angle,clr_mm,section\n1,200,0,90,100,40x2mm\ntail,200,,,,\n")
    findings = open_job(str(table), Settings(sections=("30x2mm",))).findings
    yield from (f for f in findings if f.code == "section-differs")
    doc, model = new()
    model.add_line((0, 0), (500, 0), dxfattribs={"layer": "25mm bar"})
    doc.saveas(tmp_path / "bar.dxf")
    findings = open_job(str(tmp_path / "bar.dxf"), Settings(sections=("30x2mm",))).findings
    yield from (f for f in findings if f.code == "section-differs")
    beside = {"RAIL": ((-300, 0, 0), (300, 0, 0)), "NOTE": ((0, 0, 0), (0, 40, 40))}
    for layer, ends in beside.items():
        yield from left_out(tmp_path, layer, ends)


def left_out(tmp_path: Path, layer: str, ends: tuple[Vec, Vec]) -> list[Finding]:
    """What is told of an upright rung when a line at its foot, a tube but for a note, is left out."""
    doc, model = new()
    model.add_line((0, 0, 0), (0, 0, 300), dxfattribs={"layer": "RUNG"})
    model.add_line(*ends, dxfattribs={"layer": layer})
    doc.saveas(tmp_path / "foot.dxf")
    sections = ("RUNG=1x0.083in", *(() if layer == "NOTE" else (f"{layer}=44.45x2mm",)))
    settings = Settings(sections=sections, read=ReadOptions(skip_layers=(layer,)))
    return [f for f in open_job(str(tmp_path / "foot.dxf"), settings).findings if f.code == "left-out-touches"]


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> Told:
    """Everything that the readers tell of all these."""
    tmp_path = tmp_path_factory.mktemp("words")
    findings: list[Finding] = []
    ignored: list[Ignored] = []
    for drawing in (*drawings(tmp_path), *tables(tmp_path), *iges(tmp_path), step_drawing()):
        findings += drawing.findings
        ignored += drawing.ignored
        findings += [finding for table in drawing.tables for finding in table.findings]
    for some, left in (*solids(), *steps(tmp_path), *meshes(tmp_path)):
        findings += some
        ignored += left
    findings += jobs(tmp_path)
    return findings, ignored


def clauses_of(value: object) -> Iterator[str]:
    """Names of all clauses in a value."""
    if isinstance(value, Clause):
        yield value.name
        for _, part in value.values:
            yield from clauses_of(part)
    elif isinstance(value, tuple):
        for part in value:
            yield from clauses_of(part)


def test_every_text_of_the_catalogue_is_really_told(told):
    findings, ignored = told
    every = {(code, variant) for code in _CODES for variant in CODES[code].says} | _MORE
    assert len(_CODES) == 46 and every - {(f.code, f.variant) for f in findings} == _FAULTS | _ENDS
    values = [value for finding in findings for _, value in finding.value_pairs] + [one.why for one in ignored]
    assert set(_CLAUSES) <= set(CLAUSES)
    seldom = {one.name for one in _SELDOM}
    assert set(_CLAUSES) - {name for value in values for name in clauses_of(value)} == seldom
    assert {one: reason(one, Display("in")) for one in _SELDOM} == _SELDOM


@pytest.mark.parametrize(("unit", "other"), [("mm", "in"), ("in", "mm")])
def test_every_text_is_a_sentence_in_the_unit_asked_for(told, unit, other):
    findings, ignored = told
    for finding in findings:
        message, cure = finding.message_in(Display(unit)), finding.cure_in(Display(unit))
        assert message.startswith(f"{finding.tube}" if finding.tube else message[:1].upper()), message
        assert message.endswith(".") and not message.endswith("..") and "  " not in message, message
        assert not cure or (cure.endswith(".") and cure[0].isupper()), cure
        wrong = re.search(rf"\d {other}\b|[{{}}]", f"{message} {cure}")
        assert not wrong or finding.code in _NAMES_BOTH, message
    for one in ignored:
        assert not re.search(rf"\d {other}\b|[{{}}]", one.why_in(Display(unit)))


def test_what_an_end_would_be_with_what_was_left_out():
    values = {"kind": "LINE", "why": "on layer 'RAIL'", "mates": ("RAIL", "POST"), "difference": 12.7}
    touches = "RUNG, end A: the end touches what was left out (LINE on layer 'RAIL'); "
    told = {
        variant: Finding("left-out-touches", tube="RUNG", end="A", variant=variant, values=values).message_in(
            Display("in")
        )
        for _, variant in _ENDS
    }
    assert told == {
        "other tubes": f"{touches}together they would be other tubes.",
        "cut": f"{touches}with it, the end is cut to fit RAIL and POST.",
        "cut longer": f"{touches}with it, the end is cut to fit RAIL and POST, and the cut length is 0.500 in greater "
        "there.",
    }


def test_a_doubtful_unit_is_told_in_both_units():
    values = {"code": "", "extent": 100.0, "in_inches": 2540.0}
    finding = Finding("units-assumed", variant="drawing", values=values)
    start = "The drawing names no unit and was read as mm: its largest extent is then"
    assert finding.message == (f"{start} 100 mm (3.93701 in); it would be 2540 mm (100 in) if it was drawn in inches.")
    assert finding.message_in(Display("in")) == (
        f"{start} 3.93701 in (100 mm); it would be 100 in (2540 mm) if it was drawn in inches."
    )


def test_a_reason_without_lengths_is_the_text_itself():
    assert reason("a point") == "a point"
    assert Ignored("solid", 1, Clause.of("solid-disc", length=10.0, od=25.4)).why_in(Display("in")) == (
        "a disc or ring: 0.394 in long, 1.000 in across"
    )
