"""What is asked of tubes that are swung, worked out for many tubes at once.

A step of a search asks for some situations of one tube, and goes on with what they came to: `alone` takes it through
by itself, `together` takes many through side by side, so that what the tubes ask at the same time is worked out in the
same array calls. What a situation comes to is the same either way, to the last bit.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass, field, replace
from math import inf, radians
from typing import TypeAlias, TypeVar

import numpy as np

from converter.bending.room.near import Answers, Moment, NearPairs, nearest_to_boxes, nearest_to_itself
from converter.bending.room.shape import APART, Elements, Side, forming, halves
from converter.bending.room.space import Space
from converter.bending.room.walls import Motion, least_to_planes
from converter.model.bends import BendTable

#: mm; the greatest error of a least clearance away from the tube's ends.
TOLERANCE = 0.5
#: What the tube meets when it meets itself.
ITSELF = "the tube itself"
UNLIMITED_ROOM = Moment(inf, None, 0.0, TOLERANCE)
#: Situations worked out in one go: a bound on memory.
_SITUATIONS = 4096

#: One bend (index from 0) made after a set of others.
State = tuple[int, frozenset[int]]
#: One side of the tube in such a situation: the bend, whether ahead of the die, the bends made on that side.
SideKey = tuple[int, bool, frozenset[int]]


@dataclass(slots=True, eq=False)
class SwungTube:
    """One tube on one machine, bends counted from the end fed first.

    Attributes:
        table: from the end fed first.
        stops: degrees each bend is turned to.
        space: around the machine.
        radius, thinner: mm, as `converter.bending.room.sweep.half_outside` has them.
        halves: its sides as far as they were asked for.
        walls: the room of sides to planes, as far as it was asked for.
    """

    table: BendTable
    stops: Sequence[float]
    space: Space
    radius: float
    thinner: float
    halves: dict[SideKey, Elements] = field(default_factory=dict)
    walls: dict[SideKey, Moment] = field(default_factory=dict)

    @property
    def deepest(self) -> float:
        """Mm that room is never followed below: the tube hits."""
        return -0.99 * self.radius

    def motion(self, key: SideKey) -> Motion:
        """How a side moves in the room."""
        k, ahead, _ = key
        if ahead:
            return Motion(self.stops[k], 1 if self.space.ahead else 0, 0.0)
        return Motion(self.stops[k], 0 if self.space.ahead else -1, self.table.bends[k].clr or 0.0)


def sides_of(state: State) -> tuple[SideKey, SideKey]:
    """The sides ahead and behind."""
    k, made = state
    return (k, True, frozenset(i for i in made if i < k)), (k, False, frozenset(i for i in made if i > k))


@dataclass(slots=True, eq=False)
class Asked:
    """Situations of one tube, and what is asked of them.

    Attributes:
        tube: the tube.
        states: the situations.
        enough: mm; room to boxes and to the tube itself is not measured where it is more than this ...
        deep: ... nor exactly where it is less than this.
        each: whether the room of each counts; else only the least of all, and the others come out too great.
        line: mm; where only it counts whether the least of all is as low as this; else -inf.
        finished: whether it is the finished tube against itself that is asked, with each bend just made.
        rooms: the room of sides to planes and boxes, as far as it is known; it is filled where each counts.
    """

    tube: SwungTube
    states: Sequence[State]
    enough: float = inf
    deep: float = -inf
    each: bool = True
    line: float = -inf
    finished: bool = False
    rooms: dict[SideKey, Moment] = field(default_factory=dict)


Answer = TypeVar("Answer")
#: Work that asks, is sent the moments of each state of each thing asked, and comes to an answer.
Steps: TypeAlias = Generator[list[Asked], list[list[Moment]], Answer]


def alone(steps: Steps[Answer]) -> Answer:
    """Take work through by itself."""
    return together([steps])[0]


def together(works: Sequence[Steps[Answer]]) -> list[Answer]:
    """Take works through side by side, and what each comes to; what they ask at a time is worked out at once."""
    found: dict[int, Answer] = {}
    waiting: list[tuple[int, list[list[Moment]] | None]] = [(i, None) for i in range(len(works))]
    while waiting:
        asking: list[tuple[int, list[Asked]]] = []
        for i, sent in waiting:
            try:
                asking.append((i, next(works[i]) if sent is None else works[i].send(sent)))
            except StopIteration as end:
                found[i] = end.value
        told = iter(moments_of([one for _, asked in asking for one in asked]))
        waiting = [(i, [next(told) for _ in asked]) for i, asked in asking]
    return [found[i] for i in range(len(works))]


def moments_of(asked: Sequence[Asked]) -> list[list[Moment]]:
    """The least room in each situation of each thing asked."""
    found: list[list[Moment]] = []
    some: list[Asked] = []
    count = 0
    for i, one in enumerate(asked):
        some.append(one)
        count += len(one.states)
        if count >= _SITUATIONS or i == len(asked) - 1:
            found += _moments(some)
            some, count = [], 0
    return found


@dataclass(slots=True)
class _SideRoom:
    """The room of one side, which several states may share: for whom, the group it counts in."""

    asked: Asked
    key: SideKey
    group: int
    found: Moment


def _moments(asked: Sequence[Asked]) -> list[list[Moment]]:
    keys = [[sides_of(state) for state in one.states] for one in asked]
    _bring_halves(asked, keys)
    swung = [one for one in asked if not one.finished]
    of_swung = [pairs for one, pairs in zip(asked, keys, strict=True) if not one.finished]
    _bring_walls(swung, of_swung)
    _bring_rooms(swung, of_swung)
    return _with_itself(asked, keys)


def _bring_halves(asked: Sequence[Asked], keys: Sequence[Sequence[tuple[SideKey, SideKey]]]) -> None:
    lacking: dict[tuple[int, SideKey], SwungTube] = {}
    for one, pairs in zip(asked, keys, strict=True):
        known = one.tube.halves
        lacking |= {(id(known), key): one.tube for pair in pairs for key in pair if key not in known}
    sides = [Side(tube.table, k, made, ahead) for (_, (k, ahead, made)), tube in lacking.items()]
    for ((_, key), tube), elements in zip(lacking.items(), halves(sides), strict=True):
        tube.halves[key] = elements


def _bring_walls(asked: Sequence[Asked], keys: Sequence[Sequence[tuple[SideKey, SideKey]]]) -> None:
    """The room of sides to planes, machine by machine."""
    lacking: dict[int, dict[tuple[int, SideKey], SwungTube]] = {}
    for one, pairs in zip(asked, keys, strict=True):
        known = one.tube.walls
        lacking.setdefault(id(one.tube.space), {}).update(
            ((id(known), key), one.tube) for pair in pairs for key in pair if key not in known
        )
    for sides in lacking.values():
        if not sides:
            continue
        tubes = list(sides.values())
        space = tubes[0].space
        least, plane, angle = least_to_planes(
            [tube.halves[key] for (_, key), tube in sides.items()],
            [tube.motion(key) for (_, key), tube in sides.items()],
            space,
            np.array([tube.radius for tube in tubes]),
        )
        told = zip(sides.items(), least.tolist(), plane.tolist(), angle.tolist(), strict=True)
        for ((_, key), tube), room, i, at in told:
            name = space.planes[i] if i >= 0 else None
            tube.walls[key] = Moment(room, name, at, TOLERANCE + tube.thinner)


def _bring_rooms(asked: Sequence[Asked], keys: Sequence[Sequence[tuple[SideKey, SideKey]]]) -> None:
    """The room of sides to planes and boxes, machine by machine; by that of one side several states are known."""
    lacking: dict[int, list[_SideRoom]] = {}
    group = 0
    for one, pairs in zip(asked, keys, strict=True):
        walls, group = one.tube.walls, group + 1
        new = dict.fromkeys(key for pair in pairs for key in pair if key not in one.rooms)
        if not one.tube.space.boxes:
            one.rooms.update((key, walls[key]) for key in new)
            continue
        into = lacking.setdefault(id(one.tube.space), [])
        for key in new:
            group += one.each
            into.append(_SideRoom(one, key, group, walls[key]))
    for rooms in lacking.values():
        if rooms:
            _read_boxes(rooms)
            for room in rooms:
                room.asked.rooms[room.key] = room.found


def _read_boxes(rooms: Sequence[_SideRoom]) -> None:
    """Lower the room of sides, all on one machine, by its boxes."""
    space = rooms[0].asked.tube.space
    parts = [room.asked.tube.halves[room.key] for room in rooms]
    elements = Elements.joined(parts)
    boxes = len(space.boxes)
    question = np.repeat(np.arange(len(rooms)), np.array([len(part) for part in parts]) * boxes)
    motions = [room.asked.tube.motion(room.key) for room in rooms]
    turns = np.array([float(one.turns) for one in motions])[question]
    draw = np.array([one.draw for one in motions])[question]
    end = np.array([radians(one.angle) for one in motions])[question]
    row = np.repeat(np.arange(len(elements)), boxes)
    # a straight that only slides away behind T is never where it was not at the start
    shrinks = elements.slide[row, 0] != elements.slide[row, 1]
    still = (turns == 0.0) & ((draw == 0.0) | shrinks)
    items = NearPairs.whole(
        question,
        row,
        np.tile(np.arange(boxes), len(elements)),
        np.zeros(len(question)),
        np.where(still, 0.0, end),
        turns,
        draw,
        np.zeros(len(question)),
    )
    answers = _answers([room.asked for room in rooms], [room.found for room in rooms], [room.group for room in rooms])
    nearest_to_boxes(elements, items, space, answers)
    for i in np.flatnonzero(answers.lowered).tolist():
        tube, k = rooms[i].asked.tube, rooms[i].key[0]
        outer = int(elements.outer[answers.row[i]])
        rooms[i].found = Moment(
            float(answers.least[i]),
            space.boxes[int(answers.against[i])],
            float(answers.angle[i]),
            TOLERANCE + int(answers.ends[i]) * tube.radius + tube.thinner,
            (min(k, outer), max(k, outer)),
        )


def _answers(asked: Sequence[Asked], known: Sequence[Moment], group: Sequence[int]) -> Answers:
    numbers = np.array([(one.enough, one.tube.radius, one.deep, one.line) for one in asked]).reshape(-1, 4)
    enough, radius, deep, line = numbers.T
    return Answers.of(known, enough, radius, deep, np.array(group, np.intp), line)


def _with_itself(asked: Sequence[Asked], keys: Sequence[Sequence[tuple[SideKey, SideKey]]]) -> list[list[Moment]]:
    """The least room in each situation, of its sides and of the tube against itself."""
    start: list[Moment] = []
    of: list[Asked] = []
    group: list[int] = []
    pairs = _SelfPairs()
    for one, sides in zip(asked, keys, strict=True):
        for state, (ahead, behind) in zip(one.states, sides, strict=True):
            group.append(len(start) if one.each or not of or of[-1] is not one else group[-1])
            pairs.add(len(start), one, state, (ahead, behind))
            of.append(one)
            if one.finished:
                start.append(UNLIMITED_ROOM)
            else:
                start.append(min(one.rooms[ahead], one.rooms[behind], key=lambda moment: moment.least))
    if pairs.turned:
        answers = _answers(of, start, group)
        elements, items = pairs.items()
        nearest_to_itself(elements, items, answers)
        for i in np.flatnonzero(answers.lowered).tolist():
            tube = of[i].tube
            tolerance = TOLERANCE + int(answers.ends[i]) * tube.radius + 2.0 * tube.thinner
            outer = elements.outer[[answers.row[i], answers.against[i]]]
            span = int(outer.min()), int(outer.max())
            start[i] = Moment(float(answers.least[i]), ITSELF, float(answers.angle[i]), tolerance, span)
    found = iter(start)
    return [[next(found) for _ in one.states] for one in asked]


class _SelfPairs:
    """Every pair of elements between which a tube may turn far enough to meet itself, of the situations added.

    Attributes:
        turned: (question, first row ahead, rows, first row behind, rows, radians at which it begins, radians in all,
            radius, bend) of each situation that turns far enough.
    """

    def __init__(self) -> None:
        self.turned: list[tuple[int, int, int, int, int, float, float, float, int]] = []
        self._bank: list[Elements] = []
        self._first: dict[tuple[int, SideKey], int] = {}
        self._length = 0

    def add(self, question: int, one: Asked, state: State, sides: tuple[SideKey, SideKey]) -> None:
        """One situation."""
        tube, (k, made) = one.tube, state
        bends = tube.table.bends
        stop = radians(bends[k].angle if one.finished else tube.stops[k])
        if stop + sum(radians(bends[j].angle) for j in made) < APART - 1e-9:
            return
        ahead, behind = (self._placed(tube, key) for key in sides)
        begin = stop if one.finished else 0.0
        self.turned.append((question, *ahead, *behind, begin, stop, bends[k].clr or 0.0, k))

    def _placed(self, tube: SwungTube, key: SideKey) -> tuple[int, int]:
        part = tube.halves[key]
        first = self._first.setdefault((id(tube.halves), key), self._length)
        if first == self._length:
            self._bank.append(part)
            self._length += len(part)
        return first, len(part)

    def items(self) -> tuple[Elements, NearPairs]:
        """The elements, and pairs of their rows, situation by situation."""
        of = np.array(self.turned)
        question, ahead, sized, behind, sizes, begin, stop, clr, k = of.T
        zero, one = np.zeros(len(of)), np.ones(len(of))
        moving = forming(clr, k.astype(np.intp), stop)
        # ... and once bent, when it stands still against what lies ahead
        bent = replace(moving, turn=moving.turn[:, ::-1])
        elements = Elements.joined([*self._bank, moving, bent])
        its = self._length + np.arange(len(of))
        rows = np.stack(
            [
                [question, ahead, sized, behind, sizes, begin, stop, one, clr],
                [question, its, one, behind, sizes, begin, stop, one, clr],
                [question, ahead, sized, its + len(of), one, stop, stop, zero, zero],
            ]
        )
        table = rows.transpose(2, 0, 1).reshape(-1, 9)
        counts = (table[:, 2] * table[:, 4]).astype(np.intp)
        row = np.repeat(np.arange(len(table)), counts)
        inside = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
        wide = table[row, 4].astype(np.intp)
        a = table[row, 1].astype(np.intp) + inside // wide
        b = table[row, 3].astype(np.intp) + inside % wide
        low, high, turns, pull = table[row, 5:].T
        far = elements.turn.max(axis=1)
        may = np.flatnonzero(far[a] + far[b] + high >= APART - 1e-9)
        items = NearPairs.whole(
            table[row[may], 0].astype(np.intp),
            a[may],
            b[may],
            low[may],
            high[may],
            turns[may],
            np.zeros(len(may)),
            pull[may],
        )
        return elements, items
