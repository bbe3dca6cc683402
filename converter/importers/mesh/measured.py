"""What is known of a tube that was found in a mesh."""

from __future__ import annotations

from dataclasses import dataclass

from converter.findings import Finding
from converter.importers.mesh.doubt import Doubt
from converter.importers.mesh.square.rows import SquareSizes
from converter.model.bends import BendTable, Placement


@dataclass(frozen=True, slots=True)
class Measured:
    """A tube found in a mesh.

    Attributes:
        table, placement, closed: as fitted, cut to the metal, from the smaller end.
        radius, bore: mm; bore is None where the mesh has no inside.
        deviation: largest distance in mm of a vertex of its skins from the tube's surface.
        sigma: standard deviation of the vertices, mm.
        od_loose: uncertainty of the outside diameter, mm.
        metal: how far the metal reaches past the centerline's ends.
        vertices: how many were measured.
        oval: greatest less smallest diameter of the best ellipse, mm.
        taper: diameter at end B less that at end A, mm.
        outward: 1.0 where the faces look away from the centerline.
        is_open: whether the surface has a rim.
        doubt: what is not sure about the table.
        searched: whether all tables that may fit as well were tried; False where that took too much.
        sizes: of a flat-sided section, whose ``radius`` is half its smaller side; None of a round one.
        remarks: what else is to be said of it, but for its name.
    """

    table: BendTable
    placement: Placement
    closed: bool
    radius: float
    bore: float | None
    deviation: float
    sigma: float
    od_loose: float
    metal: tuple[float, float]
    vertices: int
    oval: float
    taper: float
    outward: float
    is_open: bool
    doubt: Doubt
    searched: bool = True
    sizes: SquareSizes | None = None
    remarks: tuple[Finding, ...] = ()
