"""Tube solids: one valid closed solid per run, of planes, cylinders, tori (and cones), in place.

The boundary is written down face by face (see `converter.kernel.brep`), not swept: it is
exact, and its volume is Pappus' (section area times developed length).
"""

from __future__ import annotations

from math import radians
from typing import TYPE_CHECKING, Any

from converter.geometry.vectors import scale
from converter.kernel import require
from converter.model.metal import Metal, metal, quarters
from converter.model.run import Run
from converter.model.section import Section

if TYPE_CHECKING:
    from converter.kernel.round import Side


def tube_solid(run: Run, section: Section, made: Metal | None = None) -> Any:
    """The solid of a run's metal, in drawing coordinates.

    Sharp corners without a radius are mitred. A closed run whose ends meet is a ring without
    end caps (its bore is a void).

    Args:
        run: its table and placement are taken.
        section: round, bar, square or rectangular.
        made: the same run and section through `converter.model.metal.metal`, when it is at hand.

    Returns:
        The kernel's solid (``TopoDS_Solid``), mm.

    Raises:
        GeometryError: no such solid exists (the sentence says which bend and why).
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    made = made or metal(run, section)
    return _round(made, section) if section.is_round else _profiled(made, section)


def _round(made: Metal, section: Section) -> Any:
    from converter.kernel import round as lateral

    sizes = [section.od / 2.0] + ([section.bore / 2.0] if section.bore > 0.0 else [])
    twist = radians(made.twist)
    return _capped(
        made, [lateral.side(made.pieces, r, i == 0, made.closed, twist, made.gap) for i, r in enumerate(sizes)]
    )


def _profiled(made: Metal, section: Section) -> Any:
    from converter.kernel import profile as lateral

    wall = 2.0 * section.wall
    shapes = (
        lateral.outline(section.height, section.od, section.corner),
        lateral.outline(section.height - wall, section.od - wall, section.inner_corner),
    )
    turned = quarters(made.twist)
    return _capped(
        made, [lateral.side(made.pieces, s, i == 0, made.closed, turned, made.gap) for i, s in enumerate(shapes)]
    )


def _capped(made: Metal, sides: list[Side]) -> Any:
    """Outside and bore as one solid: joined by end caps, or as a ring around a void."""
    from converter.kernel import brep

    if made.closed:
        return brep.solid([one.faces for one in sides])
    faces = [face for one in sides for face in one.faces]
    first, last = made.pieces[0].start, made.pieces[-1].end
    cap_a = [brep.wire([(e, i > 0) for e in one.first]) for i, one in enumerate(sides)]
    cap_b = [brep.wire([(e, i == 0) for e in one.last]) for i, one in enumerate(sides)]
    faces.append(brep.face(brep.plane(first.point, scale(first.direction, -1.0), first.up), cap_a))
    faces.append(brep.face(brep.plane(last.point, last.direction, last.up), cap_b))
    return brep.solid([faces])


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
