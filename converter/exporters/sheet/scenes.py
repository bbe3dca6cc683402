"""What the page's script draws in 3D: tubes as bend tables in place, rounded, short enough to embed.

A tube is ``{"at": [x, y, z, direction, normal of the first bend's plane], "rows": [feed, rotation, angle, radius, ...],
"tail": mm}``, in mm and degrees, a sharp corner of radius 0; ``"up"`` is where the outline's first size points, unless
that is the normal. The script goes along it as `converter.model.centerline.walk` does and turns it into triangles.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from converter.bending.room.space import space_of
from converter.exporters.pictures.hidden.solid import Solid, rings
from converter.exporters.pictures.run.sketch import SketchShape
from converter.exporters.sheet.content import PartPage
from converter.exporters.sheet.poses import Pose, step_poses
from converter.findings import ERROR
from converter.model.bends import BendTable, Placement
from converter.model.section import Section
from converter.shop.model import Machine

#: Findings that say a bend is tighter than the die.
TIGHT = ("radius-too-tight", "d-of-bend")
#: Share of a tube's length that serves as its diameter where its section is not known.
_THIN = 0.01
#: Places around an end at which its cut is told.
_AROUND = 48
#: Decimals of a direction: some hundredths of a mm at the end of the longest stick.
_FINE = 5


def part_scene(part: PartPage, drawing: int, machine: Machine, shape: SketchShape) -> dict[str, Any]:
    """One part: its finished tubes where they were drawn, the first apart, and each step in the bender.

    Args:
        part: the part.
        drawing: number of its drawing in the sheet, from 0.
        machine: that bends it.
        shape: of its first tube, as its picture is drawn: it is seen from the same side, with the same cuts.
    """
    tube = part.tube
    table = tube.run.table
    found: dict[str, Any] = {
        "key": part.key,
        "number": part.number,
        "drawing": drawing,
        "tube": tube_value(table, tube.run.placement),
        "others": [
            {"tube": tube_value(one.run.table, one.run.placement), "turned": one.name in part.part.turned}
            for one in part.part.tubes[1:]
        ],
        "outline": outline(tube.section, table.developed_length),
        "bore": 0.0 if tube.section is None or tube.section.cylinder is None else _bore(tube.section),
        "cuts": [None, None] if shape.solid is None else [_cut(shape.solid, end) for end in (0, 1)],
        "eye": _point(shape.isometric.toward, 4),
        "bad": sorted(part.bad_bends),
        "tight": sorted(
            f.bend for f in part.own_findings if f.code in TIGHT and f.severity == ERROR and f.bend is not None
        ),
        "first": part.setup.feed_from if part.setup else "A",
        "steps": [],
    }
    setup = part.setup
    if setup is None or setup.plan.lacks:
        return found
    for step, pose in zip(setup.steps, step_poses(setup, machine), strict=True):
        made = setup.steps[: setup.steps.index(step) + 1]
        found["steps"].append(
            {
                "bend": step.bend,
                "fed": _pose(pose.fed),
                "bent": _pose(pose.bent),
                "made": [one.bend for one in sorted(made, key=lambda one: one.start)],
                "touch": _point(pose.touch),
                "mark": _point(pose.mark),
                "clr": round(pose.clr, 2),
                "groove": round(step.die.height if step.die else (tube.section.height if tube.section else 0.0), 2),
            }
        )
    return found


def room_scene(machine: Machine) -> dict[str, Any]:
    """Floor, ceiling, walls and boxes around the bender, and the axes it bends in, in machine coordinates."""
    space = space_of(machine)
    up = machine.pivot_height
    return {
        "toward": _point(tuple(space.basis[1].tolist()), 6),
        "axis": _point(tuple(space.basis[2].tolist()), 6),
        "ahead": space.ahead,
        "floor": None if up is None else round(-up, 2),
        "ceiling": None if up is None or machine.ceiling is None else round(machine.ceiling - up, 2),
        "walls": [
            [axis, round(sign * distance, 2), name]
            for axis, sign, distance, name in (
                (0, 1.0, machine.wall_ahead, "wall ahead"),
                (0, -1.0, machine.wall_behind, "wall behind"),
                (1, 1.0, machine.wall_left, "wall on the left"),
                (1, -1.0, machine.wall_right, "wall on the right"),
            )
            if distance is not None
        ],
        "boxes": [[_point(box.low), _point(box.high)] for box in machine.boxes],
    }


def tube_value(table: BendTable, place: Placement) -> dict[str, Any]:
    """A tube for the script: its bend table and where it lies."""
    rows = [
        round(number, digits) + 0.0
        for bend in table.bends
        for number, digits in ((bend.feed, 3), (bend.rotation, 4), (bend.angle, 4), (bend.clr or 0.0, 3))
    ]
    at = [*_point(place.start), *_point(place.direction, _FINE), *_point(place.normal, _FINE)]
    return {"at": at, "rows": rows, "tail": round(table.tail, 3) + 0.0}


def outline(section: Section | None, length: float) -> list[float]:
    """``[diameter]``, or ``[across, in the bend's plane, corner radius]``; thin where the section is not known."""
    if section is None:
        return [round(max(length * _THIN, 1.0), 2)]
    if section.cylinder is not None:
        return [round(section.od, 2)]
    return [round(section.od, 2), round(section.height, 2), round(section.corner, 2)]


def _bore(section: Section) -> float:
    """Diameter of the bore of a round tube, mm; 0 of a bar."""
    outside, inside = rings(section)
    return 0.0 if inside is None else round(section.od * inside.reach / outside.reach, 2)


def _cut(solid: Solid, end: int) -> dict[str, list[float]] | None:
    """The cut of an end: directions of the angles 0 and 90 degrees around, and how far back the metal stops, mm, on the
    outside and at the bore; negative beyond the centerline's end."""
    import numpy as np

    cut = solid.cuts[end]
    if cut is None:
        return None
    station = solid.pieces[-1].end if end else solid.pieces[0].start
    around = np.linspace(0.0, 2.0 * np.pi, _AROUND, endpoint=False)
    return {
        "up": _point(station.up, _FINE),
        "across": _point(station.across, _FINE),
        "outer": _point(cut.at(around).tolist()),
        "inner": _point(cut.at(around, bore=True).tolist()),
    }


def _pose(pose: Pose) -> dict[str, Any]:
    value, up = tube_value(pose.table, pose.place), _point(pose.normal, _FINE)
    return value if up == value["at"][6:] else {**value, "up": up}


def _point(point: Sequence[float], digits: int = 2) -> list[float]:
    # adding zero makes a negative zero a plain one
    return [round(v, digits) + 0.0 for v in point]
