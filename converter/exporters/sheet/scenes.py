"""What the page's script draws in 3D: tubes as bend tables in place, rounded, short enough to embed.

A tube is ``{"at": [x, y, z, direction, normal of the first bend's plane], "rows": [feed, rotation, angle, radius, ...],
"tail": mm}``, in mm and degrees, a sharp corner of radius 0; ``"up"`` is where the outline's first size points, unless
that is the normal. The script goes along it as `converter.model.centerline.walk` does and turns it into triangles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from converter.bending.room.space import space_of
from converter.bending.setup.setup import Setup, Step
from converter.exporters.pictures.hidden.solid import Solid, rings
from converter.exporters.pictures.run.sketch import SketchShape
from converter.exporters.sheet.content import PartPage
from converter.findings import ERROR
from converter.geometry.vectors import Vec, add, along, cross, dot, rotate, scale, sub, within_half_turn
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import walk
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
#: What has been bent of a stick: its bend table's rows, where the last bend ends, the roll it was made at.
_BentSoFar = tuple[list[Bend], float, float]


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


# --- the stick in the bender ------------------------------------------------------------------
# For every bend there are two moments: fed, with the start of the bend at the die, the tube turned and the bend not
# yet made; and bent, after the bend has sprung back. Both follow from the set-up alone: its marks, its rolls so far,
# and what each bend uses of the stick (docs/sweep.md).


@dataclass(frozen=True, slots=True)
class Pose:
    """The stick at one moment.

    Attributes:
        table: its bends so far, from the end fed first to the other.
        place: where that end lies and its first bend's plane, mm, machine coordinates.
        normal: unit vector square to its first straight, as it lies in the metal: the normal of bend 1's plane.
    """

    table: BendTable
    place: Placement
    normal: Vec


@dataclass(frozen=True, slots=True)
class StepPose:
    """One bend in the bender.

    Attributes:
        bend: its number in the bend table.
        fed, bent: the stick before and after it.
        touch: where the stick touches the die, on its centerline.
        mark: where the pencil mark is while the stick is fed, on the stick's axis.
        clr: radius of the die, or of the bend where there is no die.
    """

    bend: int
    fed: Pose
    bent: Pose
    touch: Vec
    mark: Vec
    clr: float


@dataclass(frozen=True, slots=True)
class _Frame:
    """A place on the stick: point, direction from the end fed first to the other, normal of the bend plane."""

    point: Vec
    direction: Vec
    normal: Vec

    @property
    def axes(self) -> tuple[Vec, Vec, Vec]:
        """Direction, normal and what stands square to both, right-handed."""
        return self.direction, self.normal, cross(self.direction, self.normal)


def step_poses(setup: Setup, machine: Machine) -> tuple[StepPose, ...]:
    """The stick before and after each bend, in the order made; () for a set-up without bends.

    Args:
        setup: its marks, rolls and bends.
        machine: in which plane it bends and which end swings; without a plane a vertical one is taken.
    """
    space = space_of(machine)
    ahead, toward, axis = (_vec(row) for row in space.basis.tolist())
    steps, found = setup.steps, []
    made = [_rows(steps[:i]) for i in range(len(steps) + 1)]
    for i, step in enumerate(steps):
        clr = step.die.clr if step.die else step.radius
        # at T the stick runs toward the stock, and its bend turns right-hand about the die's axis turned over
        there = _Frame(scale(toward, -clr), scale(ahead, -1.0), scale(axis, -1.0))
        begin, end = _begin(steps[:i], step), _end(steps[:i], step)
        found.append(
            StepPose(
                bend=step.bend,
                fed=_placed(setup, made[i], begin, there),
                # where the clamped end swings, the stock ends up at T; where the stock swings, the clamped end stays
                bent=_placed(setup, made[i + 1], end if space.ahead else begin, there),
                touch=there.point,
                mark=along(there.point, ahead, step.start - step.mark),
                clr=clr,
            )
        )
    return tuple(found)


def _rows(made: Sequence[Step]) -> _BentSoFar:
    """What has been bent once these bends are made."""
    rows, at, rolled = [], 0.0, 0.0
    for step in sorted(made, key=lambda step: step.start):
        # `total` is how far the tube was turned; the planes lie the other way round the tube
        rows.append(Bend(step.start - at, within_half_turn(rolled - step.total), step.target, step.radius))
        at, rolled = step.start + step.stick, step.total
    return rows, at, rolled


def _begin(made: Sequence[Step], step: Step) -> _Frame:
    """Where a bend starts on the stick with the bends made, in the stick's own coordinates."""
    rows, at, rolled = _rows([one for one in made if one.start < step.start])
    place = walk(BendTable(tuple(rows), step.start - at))[1]
    normal = rotate(place.normal, place.direction, rolled - step.total)
    return _Frame(place.start, place.direction, normal)


def _end(made: Sequence[Step], step: Step) -> _Frame:
    """Where a bend ends once it is made, in the stick's own coordinates."""
    rows, _, _ = _rows([*(one for one in made if one.start < step.start), step])
    place = walk(BendTable(tuple(rows), 0.0))[1]
    return _Frame(place.start, place.direction, place.normal)


def _placed(setup: Setup, made: _BentSoFar, at: _Frame, there: _Frame) -> Pose:
    """The stick with bends made, moved so that a place of it comes to another."""
    rows, used, _ = made
    own = Placement()
    start = add(there.point, _turned(sub(own.start, at.point), at, there))
    direction, normal = _turned(own.direction, at, there), _turned(own.normal, at, there)
    # the outline of square and rectangular tube counts from bend 1, whichever bend is made first
    rolled = next((step.total for step in setup.steps if step.bend == 1), 0.0)
    return Pose(
        BendTable(tuple(rows), setup.stick_length - used),
        Placement(start, direction, normal),
        rotate(normal, direction, -rolled),
    )


def _turned(v: Vec, at: _Frame, there: _Frame) -> Vec:
    """A vector that is turned with a frame into another."""
    x, y, z = (dot(v, axis) for axis in at.axes)
    a, b, c = there.axes
    return along(along(scale(a, x), b, y), c, z)


def _vec(values: Sequence[float]) -> Vec:
    x, y, z = values
    return (x, y, z)
