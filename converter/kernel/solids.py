"""Tube solids: one valid closed solid per run, of planes, cylinders, tori (and cones), in place.

The boundary is written down face by face (see `converter.kernel.brep`), not swept: it is
exact, and its volume is Pappus' (section area times developed length).
"""

from __future__ import annotations

from math import hypot, radians
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError
from converter.geometry.vectors import scale
from converter.kernel import require
from converter.model.run import Run
from converter.model.section import Section
from converter.reducer.frames import Piece, check_metal, closing, pieces

if TYPE_CHECKING:
    from converter.kernel.round import Side

#: A closed run that misses itself by more than this (mm) is built open, with two end caps side by side.
CLOSES = 1e-3
#: ... or that arrives with a kink of more than this (degrees).
CLOSES_KINK = 1e-3


def tube_solid(run: Run, section: Section) -> Any:
    """The solid of a run's metal, in drawing coordinates.

    Sharp corners without a radius are mitred. A closed run whose ends meet within `CLOSES`
    is a ring without end caps (its bore is a void); otherwise it is built with both ends cut.

    Args:
        run: its table and placement are taken.
        section: round, bar, square or rectangular.

    Returns:
        The kernel's solid (``TopoDS_Solid``), mm.

    Raises:
        GeometryError: no such solid exists (the sentence says which bend and why).
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    try:
        found = pieces(run.table, run.placement, run.closed)
        check_metal(found, section, run.closed)
        gap, kink, twist = closing(found)
        closed = run.closed and gap <= CLOSES and kink <= CLOSES_KINK
        if section.is_round:
            return _round(found, section, closed, twist, gap)
        return _profiled(found, section, closed, twist, gap)
    except GeometryError as error:
        raise GeometryError(f"Tube {run.name!r} has no solid: {error.message}.", code="no-solid", where=run.name) from error


def _round(found: tuple[Piece, ...], section: Section, closed: bool, twist: float, gap: float) -> Any:
    from converter.kernel import round as lateral

    sizes = [section.od / 2.0] + ([section.bore / 2.0] if section.bore > 0.0 else [])
    return _capped(found, [lateral.side(found, r, i == 0, closed, radians(twist), gap) for i, r in enumerate(sizes)], closed)


def _profiled(found: tuple[Piece, ...], section: Section, closed: bool, twist: float, gap: float) -> Any:
    from converter.kernel import profile as lateral

    quarters = _quarters(section, twist) if closed else 0
    wall = 2.0 * section.wall
    shapes = (
        lateral.outline(section.height, section.od, section.corner),
        lateral.outline(section.height - wall, section.od - wall, section.inner_corner),
    )
    return _capped(found, [lateral.side(found, s, i == 0, closed, quarters, gap) for i, s in enumerate(shapes)], closed)


def _quarters(section: Section, twist: float) -> int:
    """Quarter turns by which a closed run's section arrives turned.

    Raises:
        GeometryError: turned by an angle at which the section does not fit itself.
    """
    quarters = round(twist / 90.0)
    off = radians(abs(twist - 90.0 * quarters)) * hypot(section.od, section.height) / 2.0
    if off > CLOSES or (quarters % 2 and section.od != section.height):
        raise GeometryError(f"the loop brings the section back turned by {twist:.2f} degrees, so it cannot meet itself")
    return quarters % 4


def _capped(found: tuple[Piece, ...], sides: list[Side], closed: bool) -> Any:
    """Outside and bore as one solid: joined by end caps, or as a ring around a void."""
    from converter.kernel import brep

    if closed:
        return brep.solid([one.faces for one in sides])
    faces = [face for one in sides for face in one.faces]
    first, last = found[0].start, found[-1].end
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
