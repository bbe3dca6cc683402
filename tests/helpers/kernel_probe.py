"""What the tests ask the CAD kernel about a shape: independent of how we built it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.BRepGProp import BRepGProp
from OCP.gp import gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label, TDF_LabelSequence
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum, TopAbs_State
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool

KINDS = {
    "face": (TopAbs_ShapeEnum.TopAbs_FACE, TopoDS.Face_s),
    "edge": (TopAbs_ShapeEnum.TopAbs_EDGE, TopoDS.Edge_s),
    "vertex": (TopAbs_ShapeEnum.TopAbs_VERTEX, TopoDS.Vertex_s),
    "shell": (TopAbs_ShapeEnum.TopAbs_SHELL, TopoDS.Shell_s),
    "solid": (TopAbs_ShapeEnum.TopAbs_SOLID, TopoDS.Solid_s),
}


def parts(shape: Any, kind: str) -> list[Any]:
    """Sub-shapes as they are met, shared ones as often as they are used."""
    which, cast = KINDS[kind]
    found = []
    explorer = TopExp_Explorer(shape, which)
    while explorer.More():
        found.append(cast(explorer.Current()))
        explorer.Next()
    return found


def surfaces(shape: Any) -> Counter[str]:
    """How many faces of each kind of surface: 'Plane', 'Cylinder', 'Cone', 'Torus', ..."""
    return Counter(BRepAdaptor_Surface(f).GetType().name.removeprefix("GeomAbs_") for f in parts(shape, "face"))


def of_surface(shape: Any, kind: str) -> list[Any]:
    """The surfaces of one kind ('Torus', 'Cylinder', 'Cone'), as gp values."""
    adapted = [BRepAdaptor_Surface(f) for f in parts(shape, "face")]
    return [getattr(a, kind)() for a in adapted if a.GetType().name == f"GeomAbs_{kind}"]


def valid(shape: Any) -> bool:
    return bool(BRepCheck_Analyzer(shape).IsValid())


def kernel_volume(shape: Any) -> float:
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props, 1e-12)
    return float(props.Mass())


def kernel_length(shape: Any) -> float:
    props = GProp_GProps()
    BRepGProp.LinearProperties_s(shape, props)
    return float(props.Mass())


def greatest_tolerance(shape: Any) -> float:
    return max(BRep_Tool.Tolerance_s(one) for kind in ("face", "edge", "vertex") for one in parts(shape, kind))


def edge_uses(shape: Any) -> list[tuple[int, int]]:
    """For every edge: how often its faces use it forward and reversed (1, 1 on a closed manifold)."""
    uses: dict[Any, list[int]] = {}
    for one in parts(shape, "edge"):
        side = 0 if one.Orientation() == TopAbs_Orientation.TopAbs_FORWARD else 1
        uses.setdefault(one.TShape(), [0, 0])[side] += 1
    return [(a, b) for a, b in uses.values()]


def inside(shape: Any, point: tuple[float, float, float]) -> bool:
    """Whether a point is in the metal."""
    classifier = BRepClass3d_SolidClassifier(shape, gp_Pnt(*point), 1e-7)
    return bool(classifier.State() == TopAbs_State.TopAbs_IN)


def bounds(shape: Any) -> tuple[float, ...]:
    """xmin, ymin, zmin, xmax, ymax, zmax, tight."""
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    box.SetGap(0.0)
    return tuple(box.Get())


def corners(shape: Any) -> list[tuple[float, float, float]]:
    """Where its vertices are, each once, sorted to 1e-5."""
    points = [BRep_Tool.Pnt_s(one) for one in parts(shape, "vertex")]
    return sorted({(round(p.X(), 5) + 0.0, round(p.Y(), 5) + 0.0, round(p.Z(), 5) + 0.0) for p in points})


def assert_sound(solid: Any, shells: int = 1) -> None:
    """One valid, closed, manifold solid of positive volume and small tolerances."""
    assert valid(solid)
    assert len(parts(solid, "solid")) == 1
    found = parts(solid, "shell")
    assert len(found) == shells
    assert all(BRep_Tool.IsClosed_s(one) for one in found)
    assert set(edge_uses(solid)) == {(1, 1)}
    assert kernel_volume(solid) > 0.0
    assert greatest_tolerance(solid) <= 1e-6


@dataclass
class Product:
    """A product of a STEP file in one of its places, in mm: what it is called there, and by itself."""

    name: str
    shape: Any
    color: tuple[float, float, float] | None = None
    part: str = ""


@dataclass
class StepFile:
    """What a STEP file holds: the assembly's name (None for bare parts) and its products, place by place, in order."""

    assembly: str | None
    products: list[Product] = field(default_factory=list)


def read_step(path: Path) -> StepFile:
    """Read a STEP file with the kernel's assembly reader; every status is checked."""
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    reader.SetColorMode(True)
    assert reader.ReadFile(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    assert reader.Transfer(document)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    colors = XCAFDoc_DocumentTool.ColorTool_s(document.Main())
    roots = TDF_LabelSequence()
    tool.GetFreeShapes(roots)
    result = StepFile(None)
    for root in roots:
        if not tool.IsAssembly_s(root):
            result.products.append(_product(root, root, tool, colors))
            continue
        assert result.assembly is None, "more than one assembly"
        result.assembly = _name(root)
        children = TDF_LabelSequence()
        tool.GetComponents_s(root, children)
        for child in children:
            part = TDF_Label()
            assert tool.GetReferredShape_s(child, part)
            result.products.append(_product(child, part, tool, colors))
    return result


def _product(placed: Any, label: Any, tool: Any, colors: Any) -> Product:
    color = Quantity_Color()
    rgb = None
    for kind in (XCAFDoc_ColorType.XCAFDoc_ColorSurf, XCAFDoc_ColorType.XCAFDoc_ColorGen):
        if rgb is None and colors.GetColor_s(label, kind, color):
            rgb = tuple(color.Values(Quantity_TypeOfColor.Quantity_TOC_sRGB))
    name, part = _name(placed), _name(label)
    # a number stands where the kernel reads no name of the place
    return Product(part if name.isdecimal() else name, tool.GetShape_s(placed), rgb, part)


def _name(label: Any) -> str:
    name = TDataStd_Name()
    return str(name.Get().ToExtString()) if label.FindAttribute(TDataStd_Name.GetID_s(), name) else ""


def curves(shape: Any) -> list[Any]:
    """The curves of a shape's edges, in order, once each."""
    seen: list[Any] = []
    for one in parts(shape, "edge"):
        if not any(one.IsSame(other) for other in seen):
            seen.append(one)
    return [BRepAdaptor_Curve(one) for one in seen]
