"""What the kernel's shapes are made of: their parts one by one, several as one, the box around them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

from converter.geometry.vectors import Vec

#: Low and high corner, mm.
Box = tuple[Vec, Vec]


def subshapes(shape: Any, kind: str, outside: str = "SHAPE") -> Iterator[Any]:
    """The parts of a shape of one kind in the kernel's order, as often as it lists them.

    Args:
        shape: any.
        kind: 'SOLID', 'SHELL', 'FACE', 'EDGE' or 'VERTEX'.
        outside: parts within parts of this kind are left out; none are by default.
    """
    explorer, kinds = _explorer()
    walk = explorer(shape, kinds[kind], kinds[outside])
    while walk.More():
        yield walk.Current()
        walk.Next()


@cache
def _explorer() -> tuple[Any, dict[str, Any]]:
    """The kernel's walk through parts, and its kinds of shape by name."""
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer

    kinds = TopAbs_ShapeEnum.__members__
    return TopExp_Explorer, {name.removeprefix("TopAbs_"): kind for name, kind in kinds.items()}


def compound(shapes: Iterable[Any]) -> Any:
    """Shapes as one."""
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound

    whole = TopoDS_Compound()
    builder = BRep_Builder()
    builder.MakeCompound(whole)
    for shape in shapes:
        builder.Add(whole, shape)
    return whole


def exact_box(*shapes: Any) -> Box:
    """The box along the axes around shapes; the kernel raises where there is nothing to be around."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    box = Bnd_Box()
    for shape in shapes:
        BRepBndLib.AddOptimal_s(shape, box, False, False)
    return _corners(box)


def rough_box(shape: Any) -> Box:
    """A box along the axes that a shape lies in; it is quick, and may be larger than `exact_box`."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    box = Bnd_Box()
    BRepBndLib.Add_s(shape, box, False)
    return _corners(box)


def _corners(box: Any) -> Box:
    low, high = box.CornerMin(), box.CornerMax()
    return (low.X(), low.Y(), low.Z()), (high.X(), high.Y(), high.Z())
