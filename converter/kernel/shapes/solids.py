"""Tubes as solids and centerlines as wires, in place.

A run is one valid closed solid of planes, cylinders, tori (and cones). Its boundary is written down face by
face (see `converter.kernel.shapes.brep`), not swept: it is exact, and its volume is Pappus' (section area
times developed length).
"""

from __future__ import annotations

from math import radians
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError
from converter.geometry.vectors import scale, sub
from converter.kernel import require
from converter.model.bends import Placement
from converter.model.curve import Arc
from converter.model.metal import TubeMetal, metal, quarters
from converter.model.run import Run
from converter.model.section import Outline, Section
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.kernel.shapes.maker import Maker
    from converter.kernel.shapes.round import Side


def tube_solid(run: Run, section: Section, made: TubeMetal | None = None) -> Any:
    """The solid of a run's metal, in drawing coordinates.

    Sharp corners without a radius are mitred. A closed run whose ends meet is a ring without
    end caps (its bore is a void).

    Args:
        run: its table and placement are taken.
        section: of any shape.
        made: the same run and section through `converter.model.metal.metal`, when it is at hand.

    Returns:
        The kernel's solid (``TopoDS_Solid``), mm.

    Raises:
        GeometryError: no such solid exists (the sentence says which bend and why).
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from converter.kernel.shapes import brep

    return made_solid(brep, section, made or metal(run, section))


def made_solid(make: Maker, section: Section, made: TubeMetal) -> Any:
    """The solid of a tube's metal, of whatever makes it."""
    return _capped(make, made, [_lateral(make, made, loop, i == 0) for i, loop in enumerate(section.loops)])


def _lateral(make: Maker, made: TubeMetal, loop: Outline, outer: bool) -> Side:
    """The faces along one outline of the section: of a circle cylinders and tori, each in one piece."""
    from converter.kernel.shapes import profile
    from converter.kernel.shapes import round as ring

    if loop.radius is not None:
        return ring.side(make, made.pieces, loop.radius, outer, made.closed, radians(made.twist), made.gap)
    return profile.side(make, made.pieces, loop.edges, outer, made.closed, quarters(made.twist), made.gap)


def _capped(make: Maker, made: TubeMetal, sides: list[Side]) -> Any:
    """Outside and bore as one solid: joined by end caps, or as a ring around a void."""
    if made.closed:
        return make.solid([one.faces for one in sides])
    faces = [face for one in sides for face in one.faces]
    first, last = made.pieces[0].start, made.pieces[-1].end
    cap_a = [make.wire([(e, i > 0) for e in one.first]) for i, one in enumerate(sides)]
    cap_b = [make.wire([(e, i == 0) for e in one.last]) for i, one in enumerate(sides)]
    faces.append(make.face(make.plane(first.point, scale(first.direction, -1.0), first.up), cap_a))
    faces.append(make.face(make.plane(last.point, last.direction, last.up), cap_b))
    return make.solid([faces])


def in_own_frame(shape: Any, place: Placement) -> Any:
    """A copy of a shape, moved so that ``place`` comes to lie in the origin, its direction along x, its normal along z.

    Raises:
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from converter.kernel.shapes import brep

    return _moved(shape, brep.to_own_frame(place))


def in_place(shape: Any, place: Placement) -> Any:
    """A copy of a shape that lies in its own frame, moved so that this frame comes to stand at ``place``.

    Raises:
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from converter.kernel.shapes import brep

    return _moved(shape, brep.to_own_frame(place).Inverted())


def mirrored(shape: Any, old: Placement, new: Placement) -> Any:
    """A copy of a solid as seen in the mirror of a frame's direction and normal, moved with the frame from ``old`` to
    ``new``. Its surfaces may be left-handed, which the kernel's STEP writer puts right.

    Raises:
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf

    from converter.kernel.shapes import brep

    seen = gp_Trsf()
    seen.SetMirror(gp_Ax2(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 1.0, 0.0)))
    motion = brep.to_own_frame(new).Inverted()
    motion.Multiply(seen)
    motion.Multiply(brep.to_own_frame(old))
    return _moved(shape, motion)


def _moved(shape: Any, motion: Any) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform

    return BRepBuilderAPI_Transform(shape, motion, True).Shape()


def volume(shape: Any) -> float:
    """Volume in mm3, integrated by the kernel to about 1e-12."""
    require()
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props, 1e-12)
    return float(props.Mass())


def is_valid(shape: Any) -> bool:
    """Whether the kernel's own checker finds nothing wrong."""
    require()
    from OCP.BRepCheck import BRepCheck_Analyzer

    return bool(BRepCheck_Analyzer(shape).IsValid())


def centerline_wire(run: Run) -> Any:
    """A run's centerline as one wire in place, mm; closed when the run closes within 1e-6 mm.

    Raises:
        GeometryError: the run has no centerline.
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from converter.kernel.shapes import brep

    if not run.centerline:
        raise GeometryError(f"Tube {quoted(run.name)} has no centerline to write.", where=run.name)
    first, last = run.centerline[0].start, run.centerline[-1].end
    closed = run.closed and max(abs(a - b) for a, b in zip(first, last, strict=True)) < 1e-6
    vertices = [brep.vertex(part.start, 1e-6) for part in run.centerline]
    vertices.append(vertices[0] if closed else brep.vertex(last, 1e-6))
    edges = []
    for i, part in enumerate(run.centerline):
        if isinstance(part, Arc):
            x = scale(sub(part.start, part.center), 1.0 / part.radius)
            curve: Any = brep.circle(part.center, part.normal, x, part.radius)
            end = radians(part.angle)
        else:
            curve, end = brep.line(part.start, part.direction), part.length
        edges.append(brep.edge(curve, 0.0, end, vertices[i], vertices[i + 1], 1e-6))
    return brep.open_wire(edges, closed)
