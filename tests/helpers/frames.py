"""Invented frames: many tubes with joints, as tubes and as drawings."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from copes import straight

from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section

RAIL, RUNG = Section("round", 44.45, 3.048), Section("round", 38.1, 2.413)


def hoop(name: str, x: float, y: float, section: Section = RAIL) -> Tube:
    """A portal: up 600, over by two quarter bends of 150 to 900 wide, down again; feet at (x, y, 0)."""
    bends = (Bend(450.0, 0.0, 90.0, 150.0), Bend(600.0, 0.0, 90.0, 150.0))
    placement = Placement((x, y, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
    return Tube(Run(name, "RAIL", False, BendTable(bends, 450.0), placement), section)


def rack(hoops: int, spacing: float = 400.0) -> list[Tube]:
    """Hoops in a row, each tied to the next by three rungs (two at the legs, one at the top) and a brace.

    Five hoops and their ties make 21 tubes, 41 make 201.
    """
    tubes = [hoop(f"HOOP-{i}", 0.0, spacing * i) for i in range(hoops)]
    for i in range(hoops - 1):
        y, z = spacing * i, spacing * (i + 1)
        low, side = (200.0, 400.0) if i % 2 else (260.0, 500.0)  # rungs of neighbours must not run into one line
        tubes.append(straight(f"LEFT-{i}", (0.0, y, low), (0.0, z, low), RUNG))
        tubes.append(straight(f"RIGHT-{i}", (900.0, y, low), (900.0, z, low), RUNG))
        tubes.append(straight(f"TOP-{i}", (side, y, 600.0), (side, z, 600.0), RUNG))
        tubes.append(straight(f"BRACE-{i}", (900.0, y, low - 120.0), (900.0, z, low - 80.0), RUNG))
    return tubes


def ladder_beside(rungs: int) -> list[Tube]:
    """A rail that passes 40 mm off the axes of rungs, which it overlaps by 1.275 mm: 22.225 and 19.05 mm are theirs."""
    rail = straight("RAIL", (-300.0, 0.0, 40.0), (100.0 * rungs + 300.0, 0.0, 40.0), RAIL)
    return [rail, *(straight(f"R{i}", (100.0 * i, -300.0, 0.0), (100.0 * i, 300.0, 0.0), RUNG) for i in range(rungs))]


def told_apart(tubes: list[Tube]) -> list[Tube]:
    """The same tubes, each of a metal of its own, so that no two are one part."""
    return [replace(tube, metal=f"metal of {tube.name}") for tube in tubes]


def draw(tubes: list[Tube], path: Path) -> Path:
    """The centerlines as a DXF in mm: a layer for rails and one for rungs, a LINE or ARC per piece."""
    import ezdxf
    from ezdxf.math import OCS, Vec3

    from converter.model.curve import Arc

    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    for tube in tubes:
        layer = {"layer": "RAIL" if tube.section == RAIL else "RUNG"}
        for piece in tube.run.centerline:
            if isinstance(piece, Arc):
                ocs = OCS(Vec3(piece.normal))
                center, start, end = (ocs.from_wcs(Vec3(p)) for p in (piece.center, piece.start, piece.end))
                model.add_arc(
                    center,
                    piece.radius,
                    (start - center).angle_deg,
                    (end - center).angle_deg,
                    dxfattribs={**layer, "extrusion": piece.normal},
                )
            else:
                model.add_line(piece.start, piece.end, dxfattribs=layer)
    doc.saveas(path)
    return path
