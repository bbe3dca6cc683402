"""Drawings of entities that tubes are seldom drawn with, and STEP files of solids as other programs write them."""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import ezdxf
from dxf_cases import MUTATORS, Tags, entity_at, piped, tagged, text_of, without
from exchange_cases import STEP_MUTATORS, spoilt
from tubes import run_of
from wild import FuzzCase, damaged_lines, encoded, name, number, scrambled
from words import reading_words

from converter.disk.silence import silent_stdout


def rare_dxf_case(rng: Random) -> FuzzCase:
    """A drawing of rare entities and a command that reads it."""
    tags = list(rng.choice(_tags()))
    roll = rng.random()
    if roll < 0.08:
        data = scrambled(text_of(tags, rng), rng)
    elif roll < 0.16:
        data = encoded(damaged_lines(text_of(tags, rng).decode("utf-8", "replace"), rng), rng)
    else:
        for _ in range(rng.choice((1, 1, 2, 3, 6))):
            rng.choice((*MUTATORS, *_ON_RARE, *_ON_RARE))(tags, rng)
        data = text_of(tags, rng)
    return FuzzCase(reading_words(rng, "{0}"), (("a.dxf", data),), piped(rng))


def rare_step_case(rng: Random) -> FuzzCase:
    """A STEP file of solids and a command that reads it."""
    text = rng.choice(_solids())
    return FuzzCase(reading_words(rng, "{0}"), (("a.step", spoilt(text, rng, STEP_MUTATORS)),), piped(rng))


# --- DXF -----------------------------------------------------------------------------------------


def _hatches(model: Any) -> None:
    hatch = model.add_hatch(color=2, dxfattribs={"layer": "TUBE"})
    path = hatch.paths.add_edge_path()
    path.add_line((0, 0), (300, 0))
    path.add_arc((300, 100), 100, 270, 0)
    path.add_ellipse((0, 0), (100, 0), 0.5, 0, 180)
    path.add_spline([(0, 0), (10, 20), (30, 10), (50, 0)], degree=3)
    hatch.paths.add_polyline_path([(0, 0, 1), (10, 0), (10, 10, -0.5)], is_closed=True)
    model.add_mpolygon(color=3).paths.add_polyline_path([(0, 0), (50, 0), (50, 50)])
    model.add_line((0, 200), (300, 200), dxfattribs={"layer": "TUBE"})


def _wide(model: Any) -> None:
    model.add_lwpolyline(
        [(0, 0, 5, 2, 0), (300, 0, 2, 8, 0.41421356), (400, 100, 0, 0, 0), (400, 400, 1, 1, 0)],
        dxfattribs={"layer": "TUBE", "const_width": 3, "elevation": 70, "extrusion": (0, 0.6, 0.8), "thickness": 9},
    )
    model.add_arc((0, 0), 50, 0, 90, dxfattribs={"layer": "RAIL", "extrusion": (1, 1, 1), "thickness": 4})
    model.add_line((0, 0, 50), (0, 0, 300), dxfattribs={"layer": "RAIL", "thickness": 20, "extrusion": (0, 1, 0)})
    polyline = model.add_polyline2d([(0, 600), (200, 600), (200, 900)], dxfattribs={"layer": "TUBE"})
    polyline.dxf.default_start_width = 4
    polyline.dxf.flags |= 2  # curve fitted
    model.add_mline([(0, 0), (300, 0), (300, 300)], dxfattribs={"layer": "TUBE"})


def _faces(model: Any) -> None:
    from ezdxf.render.forms import cylinder

    mesh = cylinder(8, 20.0, top_center=(0, 0, 300))
    mesh.render_polyface(model, dxfattribs={"layer": "TUBE"})
    mesh.render_3dfaces(model, dxfattribs={"layer": "RAIL"})
    mesh.render_mesh(model, dxfattribs={"layer": "RAIL"})
    model.add_polymesh((4, 3))
    model.add_solid([(0, 0), (1, 0), (1, 1), (0, 1)])
    model.add_trace([(0, 0), (1, 0), (1, 1), (0, 1)])
    model.add_3dsolid()
    model.add_body()
    model.add_region()
    model.add_line((0, 900), (500, 900), dxfattribs={"layer": "TUBE"})


def _spaces(model: Any) -> None:
    doc = model.doc
    model.add_line((0, 0), (500, 0), dxfattribs={"layer": "TUBE"})
    paper = doc.layout("Layout1")
    paper.add_viewport((100, 100), (200, 200), (0, 0), 500)
    paper.add_line((0, 0), (250, 0), dxfattribs={"layer": "TUBE"})
    doc.layouts.new("Second").add_arc((0, 0), 50, 0, 90)
    doc.add_xref_def("../other.dxf", "XREF")
    model.add_blockref("XREF", (0, 0), dxfattribs={"xscale": 2})
    doc.add_image_def("a.png", (10, 10))
    model.add_image(doc.add_image_def("b.png", (10, 10)), (0, 0), (10, 10))
    model.add_underlay(doc.add_underlay_def("c.pdf"), (0, 0, 0))
    model.add_wipeout([(0, 0), (10, 10)])
    group = doc.groups.new("G")
    group.extend(list(model)[:2])


def _skewed(model: Any) -> None:
    blocks = model.doc.blocks
    inner, middle, outer = blocks.new("I", (5, 5)), blocks.new("M"), blocks.new("O")
    inner.add_line((0, 0), (100, 0))
    inner.add_arc((100, 50), 50, 270, 0)
    middle.add_blockref("I", (10, 0), dxfattribs={"xscale": 0.2, "yscale": 0.05, "zscale": 3, "rotation": 30})
    outer.add_blockref("M", (0, 0), dxfattribs={"xscale": -1, "yscale": 2, "rotation": 45, "extrusion": (0, 0.6, 0.8)})
    blocks.new("E").add_ellipse((0, 600), (9, 0), 0.5, 0, 2)
    model.add_blockref("E", (0, 0), dxfattribs={"xscale": 2})
    model.add_blockref("O", (100, 0), dxfattribs={"layer": "TUBE"})
    model.add_blockref("M", (0, 900), dxfattribs={"column_count": 2, "column_spacing": 700, "zscale": 4})


def _closed(model: Any) -> None:
    points = [(0, 0, 0), (30, 24, 0), (60, 0, 15), (20, 50, 0)]
    model.add_spline(dxfattribs={"layer": "TUBE"}).set_closed(points)
    model.add_line((0, 200), (300, 200), dxfattribs={"layer": "TUBE"})


def _knotted(model: Any) -> None:
    points = [(0, 0, 0), (30, 24, 0), (60, 0, 15), (20, 50, 0)]
    model.add_rational_spline(points, [1, 0.5, 1, 0.5], degree=2, dxfattribs={"layer": "TUBE"})
    spline = model.add_spline([(0, 150), (30, 155), (60, 150)], dxfattribs={"layer": "RAIL"})
    spline.dxf.start_tangent, spline.dxf.end_tangent = (1, 0, 0), (0, 1, 0)
    model.add_helix(10, 5, 1, dxfattribs={"layer": "RAIL"})


_DRAWN: tuple[Callable[[Any], None], ...] = (_hatches, _wide, _faces, _spaces, _skewed, _closed, _knotted)

_PROXY: Tags = [
    ("0", "ACAD_PROXY_ENTITY"), ("5", "F0F"), ("330", "1F"), ("100", "AcDbEntity"), ("8", "TUBE"),
    ("100", "AcDbProxyEntity"), ("90", "498"), ("91", "500"), ("92", "8"), ("310", "0800000000000000"), ("93", "0"),
    ("94", "0"),
]  # fmt: skip


@cache
def _tags() -> tuple[Tags, ...]:
    """Each drawing whole, and three times without what takes the longest to load."""
    found = []
    for version, units in (("R2000", 4), ("R2013", 4)):
        for draw in _DRAWN:
            doc = ezdxf.new(version, units=units)
            draw(doc.modelspace())
            stream = io.StringIO()
            doc.write(stream)
            whole = tagged(stream.getvalue())
            short = without(whole, ("CLASSES", "TABLES", "OBJECTS", "THUMBNAILIMAGE", "ACDSDATA"))
            found += [whole, short, short, short]
    return tuple(found)


def _coded(tags: Tags, rng: Random, codes: tuple[str, ...], values: tuple[str, ...]) -> None:
    """Another value after one of these codes, within an entity if it has one."""
    spots = [i for i, tag in enumerate(tags) if tag[0] in codes]
    if spots:
        i = rng.choice(spots)
        tags[i] = (tags[i][0], rng.choice(values) if rng.random() < 0.8 else number(rng))


def _flags(tags: Tags, rng: Random) -> None:
    _coded(tags, rng, ("70", "71", "72", "73", "74", "75"), ("0", "1", "2", "4", "8", "11", "16", "64", "128", "1064"))


def _extruded(tags: Tags, rng: Random) -> None:
    """An entity in another plane, or in none."""
    a, b = entity_at(tags, rng)
    way = [(code, rng.choice(("0", "1", "-1", "0.6", "1e-12", "1e9", "nan"))) for code in ("210", "220", "230")]
    tags[b:b] = way if b > a + 2 else []


def _scaled(tags: Tags, rng: Random) -> None:
    starts = [i for i, tag in enumerate(tags) if tag == ("0", "INSERT")]
    if starts:
        at = rng.choice(starts) + 1
        scales = ("0", "1", "-1", "2", "0.5", "1e-9", "1e9", "-0.3333")
        tags[at + 3 : at + 3] = [(code, rng.choice(scales)) for code in ("41", "42", "43") if rng.random() < 0.7]


def _odd_units(tags: Tags, rng: Random) -> None:
    at = next((i for i, tag in enumerate(tags) if tag == ("9", "$INSUNITS")), None)
    if at is not None and at + 1 < len(tags):
        tags[at + 1] = (tags[at + 1][0], rng.choice((*map(str, range(25)), "99", "-1", "32767", number(rng))))


def _weights(tags: Tags, rng: Random) -> None:
    _coded(tags, rng, ("41", "40", "42", "43"), ("0", "-1", "1e-12", "1e12", "1", "2", "0.5", "nan"))


def _proxy(tags: Tags, rng: Random) -> None:
    a, _ = entity_at(tags, rng)
    proxy = list(_PROXY)
    proxy[9] = ("310", rng.choice(("", "zz", "00" * 127, "FFFFFFFF", "0", name(rng).replace("\n", " "))))
    tags[a:a] = proxy


_ON_RARE = (_flags, _extruded, _scaled, _odd_units, _weights, _proxy)


# --- STEP ----------------------------------------------------------------------------------------


@cache
def _solids() -> tuple[str, ...]:
    """A bent and a straight tube as the kernel writes them: in each protocol, with sides of splines, in an assembly."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax1, gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec
    from OCP.TopLoc import TopLoc_Location

    from converter.kernel.shapes.solids import tube_solid
    from converter.shop.sections import parse_section

    def straight(turned: bool) -> Any:
        axes = gp_Ax2(gp_Pnt(7, 0, 0), gp_Dir(1, 1, 0) if turned else gp_Dir(0, 0, 1))
        outer = BRepPrimAPI_MakeCylinder(axes, 20.0, 300.0).Shape()
        return BRepAlgoAPI_Cut(outer, BRepPrimAPI_MakeCylinder(axes, 18.0, 300.0).Shape()).Shape()

    turn, shift = gp_Trsf(), gp_Trsf()
    turn.SetRotation(gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 1, 1)), 0.7)
    shift.SetTranslation(gp_Vec(500, 0, 10))
    tube, hook = straight(True), tube_solid(run_of([(100.0, 0.0, 90.0, 60.0)], 80.0), parse_section("25x2mm"))
    nested = _compound(tube.Moved(TopLoc_Location(turn)), hook)
    assembly = _compound(nested.Moved(TopLoc_Location(shift)), nested, tube.Moved(TopLoc_Location(shift)))
    spline = BRepBuilderAPI_NurbsConvert(straight(False), True).Shape()
    return (
        _written(tube, "AP203", "MM", 0), _written(hook, "AP214IS", "INCH", 0), _written(hook, "AP242DIS", "M", 0),
        _written(spline, "AP214IS", "MM", 0), _written(assembly, "AP214IS", "MM", 1),
        _written(assembly, "AP203", "INCH", 1), _written(assembly, "AP242DIS", "MM", 1),
    )  # fmt: skip


def _compound(*shapes: Any) -> Any:
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound

    made, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(made)
    for shape in shapes:
        builder.Add(made, shape)
    return made


def _written(shape: Any, schema: str, unit: str, assembly: int) -> str:
    """The text of a STEP file; the kernel's settings are put back."""
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    settings = {"write.step.schema": schema, "write.step.unit": unit}
    before = {key: Interface_Static.CVal_s(key) for key in settings}
    assemblies = Interface_Static.IVal_s("write.step.assembly")
    try:
        writer = STEPControl_Writer()
        for key, value in settings.items():
            Interface_Static.SetCVal_s(key, value)
        Interface_Static.SetIVal_s("write.step.assembly", assembly)
        with tempfile.TemporaryDirectory() as folder, silent_stdout():
            path = Path(folder) / "a.step"
            writer.Transfer(shape, STEPControl_StepModelType.STEPControl_AsIs)
            writer.Write(str(path))
            # the date and the name of the file are not ours to try
            return re.sub(
                r"FILE_NAME\('[^']*','[^']*'", "FILE_NAME('a','2026-01-01T00:00:00'", path.read_text("latin-1")
            )
    finally:
        for key, value in before.items():
            Interface_Static.SetCVal_s(key, value)
        Interface_Static.SetIVal_s("write.step.assembly", assemblies)
