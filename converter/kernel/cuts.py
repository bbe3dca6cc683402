"""Tube solids with their ends cut: what stands in a tube's way as solids, and the cut itself.

Cutters are plain solids of the kernel, long enough for one end and no longer, so that they
leave the rest of a bent tube alone. What is cut off and no longer hangs together with the
tube (the slug inside the mate, and all beyond it) falls away.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, pi, radians, sin
from operator import itemgetter
from typing import Any

from converter.errors import GeometryError
from converter.geometry.vectors import Vec, along, cross, scale
from converter.kernel import require
from converter.quoting import quoted


def prism(point: Vec, axis: Vec, up: Vec, half: tuple[float, float, float], span: tuple[float, float]) -> Any:
    """The outside of a straight tube as a solid.

    Args:
        point, axis: a point of its axis, and the axis' unit direction.
        up: unit direction of the section's height, square to the axis.
        half: half height, half width, corner radius, mm; all three equal for round tube.
        span: from where to where along the axis from ``point``, mm.
    """
    require()
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec

    from converter.kernel.shapes import brep

    low, high = span
    base = along(point, axis, low)
    if half[0] == half[1] == half[2]:
        return BRepPrimAPI_MakeCylinder(brep.ax2(base, axis, up), half[0], high - low).Solid()
    return BRepPrimAPI_MakePrism(_face(base, axis, up, half), gp_Vec(*scale(axis, high - low))).Shape()


def bend(
    center: Vec, normal: Vec, start: Vec, sweep: float, half: tuple[float, float, float], roll: float = 0.0
) -> Any:
    """The outside of a bend as a solid.

    Args:
        center, normal, start: it turns from the centerline point ``start`` right-hand about ``normal``.
        sweep: degrees.
        half: as for `prism`.
        roll: degrees from the section's height to the inside of the bend (matters when not round).
    """
    require()
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    out = (start[0] - center[0], start[1] - center[1], start[2] - center[2])
    size = sum(v * v for v in out) ** 0.5
    inside = scale(out, -1.0 / size)
    travel = scale(cross(normal, inside), -1.0)
    # across the bend's inside, so that `roll` turns from the height to the inside about the travel
    side = cross(travel, inside)
    up = along(scale(inside, cos(radians(roll))), side, -sin(radians(roll)))
    face = _face(start, travel, up, half)
    made = BRepPrimAPI_MakeRevol(face, gp_Ax1(gp_Pnt(*center), gp_Dir(*normal)), radians(sweep))
    return made.Shape()


def block(point: Vec, normal: Vec, u: Vec, sizes: tuple[tuple[float, float], ...]) -> Any:
    """A box on a plane.

    Args:
        point: origin; normal, u: square unit vectors.
        sizes: (from, to) along ``normal``, ``u`` and ``normal`` x ``u`` from the origin, mm.
    """
    require()
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox

    from converter.kernel.shapes import brep

    (n0, n1), (u0, u1), (v0, v1) = sizes
    corner = along(along(along(point, normal, n0), u, u0), cross(normal, u), v0)
    return BRepPrimAPI_MakeBox(brep.ax2(corner, normal, u), u1 - u0, v1 - v0, n1 - n0).Solid()


def _face(point: Vec, axis: Vec, up: Vec, half: tuple[float, float, float]) -> Any:
    """A flat face of a rounded rectangle (or a disc) square to ``axis``."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire
    from OCP.gp import gp_Pnt

    from converter.kernel.shapes import brep

    a, b, corner = half
    if a == b == corner:
        ring = BRepBuilderAPI_MakeEdge(brep.circle(point, axis, up, a)).Edge()
        return BRepBuilderAPI_MakeFace(BRepBuilderAPI_MakeWire(ring).Wire()).Face()
    across = cross(axis, up)

    def at(p: float, q: float) -> Vec:
        return along(along(point, up, p), across, q)

    middles = [(a - corner, b - corner), (corner - a, b - corner), (corner - a, corner - b), (a - corner, corner - b)]
    steps = [(corner, 0.0), (0.0, corner), (-corner, 0.0), (0.0, -corner)]
    wire = BRepBuilderAPI_MakeWire()
    for i in range(4):
        (p, q), (ep, eq) = middles[i], steps[(i + 1) % 4]
        if corner > 0.0:
            circle = brep.circle(at(p, q), axis, up, corner)
            wire.Add(BRepBuilderAPI_MakeEdge(circle, i * pi / 2.0, (i + 1) * pi / 2.0).Edge())
        n, m = middles[(i + 1) % 4]
        first, last = at(p + ep, q + eq), at(n + ep, m + eq)
        if sum((x - y) ** 2 for x, y in zip(first, last, strict=True)) > 1e-12:
            wire.Add(BRepBuilderAPI_MakeEdge(gp_Pnt(*first), gp_Pnt(*last)).Edge())
    return BRepBuilderAPI_MakeFace(wire.Wire()).Face()


#: Part of the volume by which a cut may differ from the wanted one before another way is tried.
LIKE = 1e-5


def cut(shape: Any, tools: Sequence[Any], name: str = "tube", wanted: float | None = None) -> tuple[Any, float]:
    """A solid less all tools: the largest piece that is left.

    The kernel's booleans go wrong now and then where surfaces touch (equal tubes), and do not know it.
    So the tools are taken off one by one, forth and back and all at once, until the volume is the wanted one;
    the nearest result counts. Mostly the last tool takes off what is farthest out: the others then meet less metal,
    and never each other.

    Args:
        shape: the tube's solid.
        tools: solids; together they are taken off.
        name: of the tube, for the sentence.
        wanted: volume that should be left, mm3, when it is known.

    Returns:
        A solid that the kernel's checker passes, and its volume in mm3.

    Raises:
        GeometryError: nothing is left, or the kernel makes no sound solid of it.
    """
    require()
    from converter.kernel.shapes.solids import is_valid, volume

    if not tools:
        return shape, volume(shape)
    gone = GeometryError(f"Tube {quoted(name)}: its cuts leave nothing of it.", code="cut-away", where=name)
    if wanted is not None and wanted <= 0.0:
        raise gone
    best: tuple[Any, float] | None = None
    problem = gone
    orders = [[[tool] for tool in reversed(tools)]]
    if len(tools) > 1:
        orders += [[[tool] for tool in tools], [list(tools)]]
    for order in orders:
        left = shape
        try:
            for group in order:
                left = less(left, group, name)
        except GeometryError as error:
            problem = error
            continue
        size, largest = max(((volume(piece), piece) for piece in pieces(left)), key=itemgetter(0), default=(0.0, None))
        if largest is None:
            continue
        if not is_valid(largest):
            problem = unsound(name)
            continue
        if wanted is None:
            return largest, size
        if best is None or abs(size - wanted) < abs(best[1] - wanted):
            best = largest, size
        if abs(size - wanted) <= LIKE * wanted:
            break
    if best is None:
        raise problem
    return best


def joined(parts: Sequence[Any], name: str) -> Any:
    """Solids that touch each other as one solid, no face left between them.

    Raises:
        GeometryError: they do not all touch, or the kernel makes no sound solid of them.
    """
    require()
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse
    from OCP.TopTools import TopTools_ListOfShape

    from converter.kernel.shapes.solids import is_valid, volume

    operation = BRepAlgoAPI_Fuse()
    ones, others = TopTools_ListOfShape(), TopTools_ListOfShape()
    ones.Append(parts[0])
    for part in parts[1:]:
        others.Append(part)
    operation.SetArguments(ones)
    operation.SetTools(others)
    operation.Build()
    made, wanted = [], sum(map(volume, parts))
    if operation.IsDone():
        made.append(operation.Shape())
        operation.SimplifyResult()
        # without the edges that are left in the midst of its surfaces, where the kernel does that soundly
        made.insert(0, operation.Shape())
    for shape in made:
        found = pieces(shape)
        if len(found) == 1 and is_valid(found[0]) and abs(volume(found[0]) - wanted) <= LIKE * wanted:
            return found[0]
    raise GeometryError(
        f"Tube {quoted(name)}: the CAD kernel makes no sound solid of an end that is cut to the tube itself: write "
        "it with its ends square (`--to step`), or draw that end as a tube of its own.",
        code="cut-unsound",
        where=name,
    )


def less(shape: Any, tools: Sequence[Any], name: str) -> Any:
    """A shape less all tools, whatever that leaves of it.

    Raises:
        GeometryError: the kernel gives up.
    """
    require()
    if not tools:
        return shape
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.TopTools import TopTools_ListOfShape

    operation = BRepAlgoAPI_Cut()
    ones, others = TopTools_ListOfShape(), TopTools_ListOfShape()
    ones.Append(shape)
    for tool in tools:
        others.Append(tool)
    operation.SetArguments(ones)
    operation.SetTools(others)
    operation.SetUseOBB(True)
    operation.SetToFillHistory(False)
    operation.Build()
    if not operation.IsDone():
        raise unsound(name)
    return operation.Shape()


def unsound(name: str) -> GeometryError:
    """What is said of a tube of which the kernel makes no solid that is what its cuts leave."""
    return GeometryError(
        f"Tube {quoted(name)}: the CAD kernel makes no sound solid of it with its cuts, so it is not written: write it "
        "with its ends square (`--to step`), or name the other tubes with --run.",
        code="cut-unsound",
        where=name,
    )


def pieces(shape: Any) -> list[Any]:
    """The solids within a shape."""
    require()
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    found = []
    walk = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_SOLID)
    while walk.More():
        found.append(TopoDS.Solid_s(walk.Current()))
        walk.Next()
    return found


def swept_end(point: Vec, axis: Vec, up: Vec, half: tuple[float, float, float], way: Vec) -> Any:
    """The square end of a straight tube moved along a vector that leaves its plane, as a solid; as `prism`."""
    require()
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec

    return BRepPrimAPI_MakePrism(_face(point, axis, up, half), gp_Vec(*way)).Shape()


def swept_strip(ones: Sequence[Vec], others: Sequence[Vec], way: Vec) -> Any:
    """A strip moved along a vector, as a solid.

    Args:
        ones, others: points of its two edges, smooth curves, one pair per cross section.
        way: nowhere in the strip.
    """
    require()
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.BRepFill import BRepFill
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec

    edges = [BRepBuilderAPI_MakeEdge(_through(points)).Edge() for points in (ones, others)]
    return BRepPrimAPI_MakePrism(BRepFill.Face_s(*edges), gp_Vec(*way)).Shape()


def _through(points: Sequence[Vec]) -> Any:
    """A spline through points, at even steps of its parameter: a ruled surface joins equal parameters of two."""
    from OCP.GeomAPI import GeomAPI_Interpolate
    from OCP.gp import gp_Pnt
    from OCP.TColgp import TColgp_HArray1OfPnt
    from OCP.TColStd import TColStd_HArray1OfReal

    array, places = TColgp_HArray1OfPnt(1, len(points)), TColStd_HArray1OfReal(1, len(points))
    for i, point in enumerate(points, 1):
        array.SetValue(i, gp_Pnt(*point))
        places.SetValue(i, float(i))
    made = GeomAPI_Interpolate(array, places, False, 1e-9)
    made.Perform()
    return made.Curve()


def swept(corners: Sequence[Vec], way: Vec) -> Any:
    """A flat polygon moved along a vector, as a solid.

    Args:
        corners: in order around.
        way: not in the polygon's plane.
    """
    require()
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Pnt, gp_Vec

    outline = BRepBuilderAPI_MakePolygon()
    for corner in corners:
        outline.Add(gp_Pnt(*corner))
    outline.Close()
    return BRepPrimAPI_MakePrism(BRepBuilderAPI_MakeFace(outline.Wire()).Face(), gp_Vec(*way)).Shape()
