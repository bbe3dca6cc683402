"""The stick in the bender, bend by bend, as straights and arcs in the machine's coordinates (docs/sweep.md).

For every bend there are two moments: *fed*, with the start of the bend at the die, the tube turned and the
bend not yet made; and *bent*, after the bend has sprung back. Both follow from the set-up alone: its marks,
its rolls so far, and what each bend uses of the stick.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from converter.bending.room.space import space_of
from converter.bending.setup.setup import Setup, Step
from converter.geometry.vectors import Vec, add, along, cross, dot, rotate, scale, sub, within_half_turn
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild, walk
from converter.model.curve import Segment
from converter.shop.model import Machine


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

    @property
    def segments(self) -> tuple[Segment, ...]:
        """Straights and arcs from the end fed first to the other, mm, machine coordinates."""
        return rebuild(self.table, self.place)


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


#: What has been bent of a stick: its bend table's rows, where the last bend ends, the roll it was made at.
_BentSoFar = tuple[list[Bend], float, float]


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
