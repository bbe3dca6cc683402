"""Questions of the room that tubes have, answered for many tubes at once.

A search asks about some situations of one tube, and goes on with the answer: `alone` takes such work through by itself,
`together` takes that of many tubes through side by side, so that what they ask at the same time is worked out in the
same array calls. The answers are the same either way, to the last bit.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from math import inf, radians
from typing import Any, TypeAlias, TypeVar

import numpy as np

from converter.arrays import Array, Index
from converter.bending.room.bound import MostRoom, most_rooms
from converter.bending.room.near import SURE, Answers, Moment, NearPairs, nearest_to_boxes, nearest_to_itself
from converter.bending.room.order_sets import OrderQuestion, TopQuestion, answer_orders, answer_tops
from converter.bending.room.screen import SimpleQuestion, answer_simply
from converter.bending.room.shape import APART, ElementRows, Elements, SideKey, TubeSide, bits_of, forming, halves
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

#: One bend (index from 0 from the end fed first) after a set of others (bit i stands for bend i).
Situation: TypeAlias = tuple[int, int]


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
    halves: dict[SideKey, ElementRows] = field(default_factory=dict)
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


def sides_of(situation: Situation) -> tuple[SideKey, SideKey]:
    """The sides ahead and behind."""
    k, made = situation
    return (k, True, made & ((1 << k) - 1)), (k, False, made >> (k + 1) << (k + 1))


@dataclass(slots=True, eq=False)
class BoundQuestion:
    """What room floor, ceiling, walls and boxes can leave a tube at most.

    Attributes:
        tube: the tube.
        most: sets of bends and bends counted from the end fed first, once it is answered.
    """

    tube: SwungTube
    most: MostRoom | None = None


@dataclass(slots=True, eq=False)
class RoomQuestion:
    """What is asked about situations of one tube.

    Attributes:
        tube: the tube.
        situations: which.
        enough: mm; room to boxes and to the tube itself is not measured where it is more than this ...
        deep: ... nor exactly where it is less than this.
        poor: mm; where each situation counts, room to planes is not measured exactly where it is less than this.
        each: whether the room of each counts; else only the least of all, and the others come out too great.
        line: mm; where only it counts whether the least of all is as low as this; else -inf.
        finished: whether it is the finished tube against itself that is asked, with each bend just bent.
        walls: the room of sides to planes, where only the line counts: as far as that leaves a doubt.
        rooms: the room of sides to planes and boxes; where each situation counts it is filled, and asked once.
        moments: the least room in each situation, once it is answered.
    """

    tube: SwungTube
    situations: Sequence[Situation]
    enough: float = inf
    deep: float = -inf
    poor: float = -inf
    each: bool = True
    line: float = -inf
    finished: bool = False
    walls: dict[SideKey, Moment] = field(default_factory=dict)
    rooms: dict[SideKey, Moment] = field(default_factory=dict)
    moments: list[Moment] = field(default_factory=list)

    def sides(self) -> Iterator[tuple[SideKey, SideKey]]:
        """The sides ahead and behind of each situation."""
        return map(sides_of, self.situations)


Result = TypeVar("Result")
Question: TypeAlias = SimpleQuestion | RoomQuestion | BoundQuestion | TopQuestion | OrderQuestion
#: Work that asks, goes on when its questions are answered, and comes to a result.
Steps: TypeAlias = Generator[list[Question], None, Result]
#: Which questions wait until all works that go side by side have come to one like it, so that they are worked out at
#: once: the rest are answered before, for they cost little, and bounds last, for a search begins with them.
_KINDS: dict[type, int] = {RoomQuestion: 1, BoundQuestion: 2}


def alone(steps: Steps[Result]) -> Result:
    """Take work through by itself."""
    return together([steps])[0]


def together(works: Sequence[Steps[Result]]) -> list[Result]:
    """Take works through side by side, and what each comes to; what they ask at a time is worked out at once."""
    steps = side_by_side(works)
    answered_by: dict[type, Callable[[list[Any]], None]] = {
        SimpleQuestion: answer_simply,
        BoundQuestion: _answer_bounds,
        TopQuestion: answer_tops,
        OrderQuestion: answer_orders,
        RoomQuestion: _answer_rooms,
    }
    try:
        while True:
            sorts: dict[type, list[Any]] = {}
            for one in next(steps):
                sorts.setdefault(type(one), []).append(one)
            for sort, some in sorts.items():
                answered_by[sort](some)
    except StopIteration as end:
        results: list[Result] = end.value
        return results


def side_by_side(works: Sequence[Steps[Result]]) -> Steps[list[Result]]:
    """Several works as one, which asks what they ask, the kind that comes first (`_KINDS`) before all others."""
    results: dict[int, Result] = {}
    asked: dict[int, list[Question]] = {}
    kinds: dict[int, int] = {}
    going = list(range(len(works)))
    while going:
        for i in going:
            try:
                asked[i] = next(works[i])
                kinds[i] = _kind(asked[i])
            except StopIteration as end:
                results[i] = end.value
                kinds.pop(i, None)
        first = min(kinds.values(), default=0)
        going = sorted(i for i, kind in kinds.items() if kind == first)
        if going:
            yield [question for i in going for question in asked[i]]
    return [results[i] for i in range(len(works))]


def _kind(questions: Sequence[Question]) -> int:
    """That of what is asked at a time."""
    if len(questions) == 1:
        return _KINDS.get(type(questions[0]), 0)
    return max((_KINDS.get(type(one), 0) for one in questions), default=0)


def _answer_bounds(questions: Sequence[BoundQuestion]) -> None:
    some: dict[tuple[int, int], list[BoundQuestion]] = {}
    for one in questions:
        some.setdefault((id(one.tube.space), len(one.tube.table.bends)), []).append(one)
    for alike in some.values():
        tubes = [one.tube for one in alike]
        mosts = most_rooms(
            [tube.table for tube in tubes],
            tubes[0].space,
            [tube.radius for tube in tubes],
            [tube.stops for tube in tubes],
        )
        for one, most in zip(alike, mosts, strict=True):
            one.most = most


def _answer_rooms(questions: Sequence[RoomQuestion]) -> None:
    some: list[RoomQuestion] = []
    count = 0
    for i, one in enumerate(questions):
        some.append(one)
        count += len(one.situations)
        if count >= _SITUATIONS or i == len(questions) - 1:
            for question, moments in zip(some, _moments(some), strict=True):
                question.moments = moments
            some, count = [], 0


def _moments(questions: Sequence[RoomQuestion]) -> list[list[Moment]]:
    _bring_halves(questions)
    swung = [one for one in questions if not one.finished]
    _bring_walls(swung)
    _bring_rooms(swung)
    return _with_itself(questions)


def _lacking(questions: Iterable[RoomQuestion], at_hand: str) -> list[tuple[SwungTube, SideKey]]:
    """The sides of which something is not at hand yet, each once; it is a dictionary of each tube."""
    found: dict[tuple[int, SideKey], SwungTube] = {}
    for one in questions:
        ready: dict[SideKey, object] = getattr(one.tube, at_hand)
        place = id(ready)
        for pair in one.sides():
            for key in pair:
                if key not in ready:
                    found[place, key] = one.tube
    return [(tube, key) for (_, key), tube in found.items()]


def _bring_halves(questions: Sequence[RoomQuestion]) -> None:
    lacking = _lacking(questions, "halves")
    for (tube, key), rows in zip(lacking, halves([TubeSide(tube.table, key) for tube, key in lacking]), strict=True):
        tube.halves[key] = rows


def _bring_walls(questions: Sequence[RoomQuestion]) -> None:
    """The room of sides to planes, machine by machine; of what is above or below what is asked no more than that."""
    exact = [one for one in questions if one.line == -inf and not (one.each and one.enough < inf)]
    for one in exact:
        one.walls = one.tube.walls
    lacking = [(tube, key, tube.walls, (-inf, inf)) for tube, key in _lacking(exact, "walls")]
    for one in questions:
        if one.walls is one.tube.walls:
            continue
        # what begins so much above the line comes to the same below it
        low, high = (one.line, one.line) if one.line > -inf else (one.poor, one.enough)
        doubt = low, high + 2.0 * SURE
        for key in dict.fromkeys(key for pair in one.sides() for key in pair if key not in one.rooms):
            if key in one.tube.walls:
                one.walls[key] = one.tube.walls[key]
            else:
                lacking.append((one.tube, key, one.walls, doubt))
    for some in _by_space(lacking, lambda side: side[0].space):
        _read_walls(some)


def _read_walls(
    sides: Sequence[tuple[SwungTube, SideKey, dict[SideKey, Moment], tuple[float, float]]],
) -> None:
    """Write down the room of sides, all on one machine, to planes where each belongs, as exactly as is in doubt."""
    space = sides[0][0].space
    least, plane, angle = least_to_planes(
        [tube.halves[key] for tube, key, _, _ in sides],
        [tube.motion(key) for tube, key, _, _ in sides],
        space,
        np.array([tube.radius for tube, _, _, _ in sides]),
        np.array([doubt for _, _, _, doubt in sides]).T,
    )
    told = zip(sides, least.tolist(), plane.tolist(), angle.tolist(), strict=True)
    for (tube, key, into, _), room, i, at in told:
        into[key] = Moment(room, space.planes[i] if i >= 0 else None, at, TOLERANCE + tube.thinner)


@dataclass(slots=True)
class _SideRoom:
    """The room of one side, which several situations of a question may share."""

    question: RoomQuestion
    key: SideKey
    moment: Moment


def _bring_rooms(questions: Sequence[RoomQuestion]) -> None:
    """The room of sides to planes and boxes, machine by machine.

    It is measured of every side, even where only the least of all counts: what a situation comes to against the tube
    itself goes by what its sides leave.
    """
    lacking: list[_SideRoom] = []
    for one in questions:
        walls, rooms = one.walls, one.rooms
        new = dict.fromkeys(key for pair in one.sides() for key in pair if key not in rooms)
        if not one.tube.space.boxes or any(walls[key].least <= one.line for key in new):
            for key in new:
                rooms[key] = walls[key]
        else:
            lacking += [_SideRoom(one, key, walls[key]) for key in new]
    for some in _by_space(lacking, lambda side: side.question.tube.space):
        _read_boxes(some)
    for side in lacking:
        side.question.rooms[side.key] = side.moment


Sorted = TypeVar("Sorted")


def _by_space(some: Iterable[Sorted], space_of: Callable[[Sorted], Space]) -> list[list[Sorted]]:
    """Those of each machine, in order."""
    found: dict[int, list[Sorted]] = {}
    for one in some:
        found.setdefault(id(space_of(one)), []).append(one)
    return list(found.values())


def _read_boxes(sides: Sequence[_SideRoom]) -> None:
    """Lower the room of sides, all on one machine, by its boxes."""
    space = sides[0].question.tube.space
    parts = [side.question.tube.halves[side.key] for side in sides]
    elements = Elements.gathered(parts)
    boxes = len(space.boxes)
    question = np.repeat(np.arange(len(sides)), np.array([len(part) for part in parts]) * boxes)
    motions = [side.question.tube.motion(side.key) for side in sides]
    turns, draw, angle = np.array([(one.turns, one.draw, radians(one.angle)) for one in motions]).T[:, question]
    row = np.repeat(np.arange(len(elements)), boxes)
    # a straight that only slides away behind T is never where it was not at the start
    shrinks = elements.slide[row, 0] != elements.slide[row, 1]
    still = (turns == 0.0) & ((draw == 0.0) | shrinks)
    items = NearPairs.whole(
        question,
        row,
        np.tile(np.arange(boxes), len(elements)),
        np.zeros(len(question)),
        np.where(still, 0.0, angle),
        turns,
        draw,
        np.zeros(len(question)),
    )
    every = np.arange(len(sides))
    known, limits = [side.moment for side in sides], _limits([side.question for side in sides])
    answers = Answers.of(known, *limits, every, np.full(len(sides), -inf))
    nearest_to_boxes(elements, items, space, answers)
    outer = elements.outer[answers.row].tolist()
    for i, least, against, angle_at, ends in answers.lowered_rows():
        tube, k = sides[i].question.tube, sides[i].key[0]
        tolerance = TOLERANCE + ends * tube.radius + tube.thinner
        sides[i].moment = Moment(least, space.boxes[against], angle_at, tolerance, (min(k, outer[i]), max(k, outer[i])))


def _limits(questions: Sequence[RoomQuestion]) -> tuple[Array, Array, Array]:
    """(n,) each: what is enough, half the outside diameter, and what is not measured further, mm."""
    enough, radius, deep = np.array([(one.enough, one.tube.radius, one.deep) for one in questions]).reshape(-1, 3).T
    return enough, radius, deep


def _with_itself(questions: Sequence[RoomQuestion]) -> list[list[Moment]]:
    """The least room in each situation, of its sides and of the tube against itself."""
    found: list[list[Moment]] = []
    for one in questions:
        if one.finished:
            found.append([UNLIMITED_ROOM] * len(one.situations))
            continue
        rooms = one.rooms
        both = [(rooms[ahead], rooms[behind]) for ahead, behind in one.sides()]
        found.append([ahead if ahead.least <= behind.least else behind for ahead, behind in both])
    pairs = _self_pairs(questions, [_is_settled(*one) for one in zip(questions, found, strict=True)])
    if pairs is not None:
        elements, items = pairs
        sizes = np.array([len(one.situations) for one in questions])
        of = np.repeat(np.arange(len(questions)), sizes)
        each = np.array([one.each for one in questions])[of]
        start = (np.cumsum(sizes) - sizes)[of]
        inside = np.arange(len(of)) - start
        group = start + np.where(each, inside, 0)
        known, line = [moment for one in found for moment in one], np.array([one.line for one in questions])
        enough, radius, deep = _limits(questions)
        answers = Answers.of(known, enough[of], radius[of], deep[of], group, line[of])
        nearest_to_itself(elements, items, answers)
        low = np.minimum(elements.outer[answers.row], elements.outer[answers.against]).tolist()
        high = np.maximum(elements.outer[answers.row], elements.outer[answers.against]).tolist()
        for i, least, _, angle, ends in answers.lowered_rows():
            tube = questions[of[i]].tube
            tolerance = TOLERANCE + ends * tube.radius + 2.0 * tube.thinner
            found[of[i]][inside[i]] = Moment(least, ITSELF, angle, tolerance, (low[i], high[i]))
    return found


def _is_settled(question: RoomQuestion, moments: Sequence[Moment]) -> bool:
    """Whether what the sides leave is as low as the line, where only the line counts."""
    return question.line > -inf and any(one.least <= question.line for one in moments)


def _self_pairs(questions: Sequence[RoomQuestion], settled: Sequence[bool]) -> tuple[Elements, NearPairs] | None:
    """The elements of situations, and every pair of them between which the tube may turn far enough to meet itself, of
    the questions that are not settled."""
    bends = _question_bends(questions)
    asked = np.repeat(~np.array(settled, bool), [len(one.situations) for one in questions])
    far = np.flatnonzero((bends.turned >= APART - 1e-9) & asked)
    if not len(far):
        return None
    parts: list[ElementRows] = []
    places: list[tuple[int, int, int, int]] = []
    first: dict[tuple[int, SideKey], int] = {}
    length = 0
    for i in far.tolist():
        tube, situation = bends.situations[i]
        place: list[int] = []
        for key in sides_of(situation):
            part = tube.halves[key]
            at = first.setdefault((id(tube.halves), key), length)
            if at == length:
                parts.append(part)
                length += len(part)
            place += [at, len(part)]
        places.append((place[0], place[1], place[2], place[3]))
    begin, stop, clr = bends.begin[far], bends.stop[far], bends.clr[far]
    moving = forming(clr, bends.bend[far], stop)
    # ... and once bent, when it stands still against what lies ahead
    bent = Elements(moving.rows.copy())
    bent.turn[:] = moving.turn[:, ::-1]
    elements = Elements.gathered(parts, moving, bent)
    ahead, wide, behind, deep = np.array(places).T
    zero, one, its = np.zeros(len(far)), np.ones(len(far)), length + np.arange(len(far))
    table = np.stack(
        [
            [far, ahead, wide, behind, deep, begin, stop, one, clr],
            [far, its, one, behind, deep, begin, stop, one, clr],
            [far, ahead, wide, its + len(far), one, stop, stop, zero, zero],
        ]
    )
    return elements, _pairs_of(elements, table.transpose(2, 0, 1).reshape(-1, 9))


def _pairs_of(elements: Elements, table: Array) -> NearPairs:
    """Every pair of rows: of each line question, first row and count of a, of b, radians low and high, turns, pull."""
    counts = (table[:, 2] * table[:, 4]).astype(np.intp)
    line = np.repeat(np.arange(len(table)), counts)
    inside = np.arange(len(line)) - np.repeat(np.cumsum(counts) - counts, counts)
    wide = table[line, 4].astype(np.intp)
    a = table[line, 1].astype(np.intp) + inside // wide
    b = table[line, 3].astype(np.intp) + inside % wide
    turn = elements.turn.max(axis=1)
    may = np.flatnonzero(turn[a] + turn[b] + table[line, 6] >= APART - 1e-9)
    low, high, turns, pull = table[line[may], 5:].T
    question = table[line[may], 0].astype(np.intp)
    return NearPairs.whole(question, a[may], b[may], low, high, turns, np.zeros(len(may)), pull)


@dataclass(frozen=True, slots=True, eq=False)
class _QuestionBends:
    """The bend of each situation of some questions: (n,) its index, radians at which it begins and stops, its radius,
    and how far the tube turns in all."""

    situations: list[tuple[SwungTube, Situation]]
    bend: Index
    begin: Array
    stop: Array
    clr: Array
    turned: Array


def _question_bends(questions: Sequence[RoomQuestion]) -> _QuestionBends:
    situations = [(one.tube, situation) for one in questions for situation in one.situations]
    most = max((len(one.tube.table.bends) for one in questions), default=0)
    numbers = np.zeros((3, len(questions), most))
    for i, one in enumerate(questions):
        bends = one.tube.table.bends
        angles = [radians(bend.angle) for bend in bends]
        numbers[0, i, : len(bends)] = angles
        numbers[1, i, : len(bends)] = angles if one.finished else [radians(stop) for stop in one.tube.stops]
        numbers[2, i, : len(bends)] = [bend.clr or 0.0 for bend in bends]
    of = np.repeat(np.arange(len(questions)), [len(one.situations) for one in questions])
    k = np.array([bend for _, (bend, _) in situations], np.intp)
    made = bits_of([made for _, (_, made) in situations], most)
    stop = numbers[1, of, k]
    begin = np.where(np.array([one.finished for one in questions], bool)[of], stop, 0.0)
    return _QuestionBends(situations, k, begin, stop, numbers[2, of, k], stop + (numbers[0, of] * made).sum(axis=1))
