"""Tube solids: one valid closed solid per run, of planes, cylinders, tori (and cones), in place.

The boundary is written down face by face (see `converter.kernel.brep`), not swept: it is
exact, and its volume is Pappus' (section area times developed length).
"""

from __future__ import annotations

from math import radians
from typing import Any

from converter.errors import GeometryError
from converter.kernel import require
from converter.model.run import Run
from converter.model.section import Section
from converter.reducer.frames import Piece, check_metal, closing, pieces

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
    from converter.kernel import brep, round as around

    sizes = [section.od / 2.0] + ([section.bore / 2.0] if section.bore > 0.0 else [])
    sides = [around.side(found, r, i == 0, closed, radians(twist), gap) for i, r in enumerate(sizes)]
    if closed:
        return brep.solid([one.faces for one in sides])
    faces = [face for one in sides for face in one.faces]
    first, last = found[0].start, found[-1].end
    back = (-first.direction[0], -first.direction[1], -first.direction[2])
    cap_a = [brep.wire([(e, i > 0) for e in one.first]) for i, one in enumerate(sides)]
    cap_b = [brep.wire([(e, i == 0) for e in one.last]) for i, one in enumerate(sides)]
    faces.append(brep.face(brep.plane(first.point, back, first.up), cap_a))
    faces.append(brep.face(brep.plane(last.point, last.direction, last.up), cap_b))
    return brep.solid([faces])


def _profiled(found: tuple[Piece, ...], section: Section, closed: bool, twist: float, gap: float) -> Any:
    raise GeometryError("square")


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
