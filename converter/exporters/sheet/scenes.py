"""What the page's script draws in 3D: tubes as straights and arcs, rounded, short enough to embed.

A tube is ``{"p": start, "n": a normal there, "s": segments}``; a segment is ``[x, y, z]`` (straight to that
point) or ``[cx, cy, cz, nx, ny, nz, degrees]`` (about that centre and axis). mm; the script only turns
them into triangles.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from converter.bending.room.space import space_of
from converter.exporters.sheet.content import PartPage
from converter.exporters.sheet.poses import Pose, step_poses
from converter.findings import ERROR
from converter.geometry.vectors import Vec, cross, norm, sub, unit
from converter.model.curve import Line, Segment
from converter.model.section import Section
from converter.shop.model import Machine

#: Findings that say a bend is tighter than the die.
TIGHT = ("radius-too-tight", "d-of-bend")
#: Share of a tube's length that serves as its diameter where its section is not known.
_THIN = 0.01


def part_scene(part: PartPage, drawing: int, machine: Machine) -> dict[str, Any]:
    """One part: its finished tubes where they were drawn, the first apart, and each step in the bender.

    Args:
        part: the part.
        drawing: number of its drawing in the sheet, from 0.
        machine: that bends it.
    """
    tube = part.tube
    table = tube.run.table
    found: dict[str, Any] = {
        "key": part.key,
        "number": part.number,
        "drawing": drawing,
        "tube": tube_value(tube.run.centerline, tube.run.placement.normal),
        "others": [
            {"tube": tube_value(one.run.centerline, one.run.placement.normal), "turned": one.name in part.part.turned}
            for one in part.part.tubes[1:]
        ],
        "outline": outline(tube.section, table.developed_length),
        "bad": sorted(part.bad_bends),
        "tight": sorted(
            f.bend for f in part.own_findings if f.code in TIGHT and f.severity == ERROR and f.bend is not None
        ),
        "bends": _bend_numbers(part),
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


def tube_value(segments: Sequence[Segment], normal: Vec) -> dict[str, Any]:
    """A chain of straights and arcs for the script."""
    start = segments[0].start if segments else (0.0, 0.0, 0.0)
    return {"p": _point(start), "n": _point(normal, 5), "s": [_segment(one) for one in segments]}


def outline(section: Section | None, length: float) -> list[float]:
    """``[diameter]``, or ``[across, in the bend's plane, corner radius]``; thin where the section is not known."""
    if section is None:
        return [round(max(length * _THIN, 1.0), 2)]
    if section.cylinder is not None:
        return [round(section.od, 2)]
    return [round(section.od, 2), round(section.height, 2), round(section.corner, 2)]


def _pose(pose: Pose) -> dict[str, Any]:
    return tube_value(pose.segments, pose.normal)


def _bend_numbers(part: PartPage) -> list[list[float | int]]:
    """For every bend: its number, the middle of its arc (or its corner) and the way out of the bend there."""
    table = part.tube.run.table
    found: list[list[float | int]] = []
    segments = part.tube.run.centerline
    arcs = [one for one in segments if not isinstance(one, Line)]
    if len(arcs) == len(table.bends):
        for number, arc in enumerate(arcs, 1):
            middle = arc.point(arc.angle / 2.0)
            found.append([number, *_point(middle), *_point(unit(sub(middle, arc.center)), 4)])
        return found
    # sharp corners: where one straight ends and the next begins
    for number, (a, b) in enumerate(pairwise(segments), 1):
        if isinstance(a, Line) and isinstance(b, Line):
            away = sub(a.direction, b.direction)
            if norm(away) < 1e-9:
                away = cross(a.direction, (0.3, 0.5, 0.8))
            found.append([number, *_point(b.start), *_point(unit(away), 4)])
    return found


def _segment(one: Segment) -> list[float]:
    if isinstance(one, Line):
        return _point(one.end)
    return [*_point(one.center), *_point(one.normal, 5), round(one.angle, 3)]


def _point(point: Sequence[float], digits: int = 2) -> list[float]:
    # adding zero makes a negative zero a plain one
    return [round(v, digits) + 0.0 for v in point]
