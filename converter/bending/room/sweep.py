"""Room to swing: how near a tube comes to its surroundings and to itself while it is bent.

A bend turns the end that was fed first round the die (or the stock, on a machine that swings that side)
through the bend's angle; the other side is drawn along. `Sweeper` answers for one bend made after any set
of others; `sweep_order` for a whole order. docs/sweep.md states the machine's coordinates, what turns,
and what is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, isfinite, radians

import numpy as np

from converter.bending.room.bound import ROUNDING, most_room
from converter.bending.room.near import SURE, Answers, Moment, NearPairs, nearest_to_boxes, nearest_to_itself
from converter.bending.room.shape import APART, Elements, check_table, forming, half, stations
from converter.bending.room.space import Array, Space, space_of
from converter.bending.room.walls import Motion, least_to_planes
from converter.errors import OptionError
from converter.model.bends import BendTable
from converter.model.centerline import reverse_table
from converter.model.section import Section
from converter.quoting import quoted
from converter.shop.model import Machine

#: mm; the greatest error of a least clearance away from the tube's ends.
TOLERANCE = 0.5
#: What the tube meets when it meets itself.
ITSELF = "the tube itself"


@dataclass(frozen=True, slots=True)
class Clearance:
    """The least room of a sequence of bends.

    Attributes:
        least: mm between the tube's outside and what it comes nearest to; negative when it hits; None when
            nothing stands around the machine and the tube does not turn back on itself.
        tolerance: mm by which ``least`` may be off; where an end of the tube is nearest to a box or to the
            tube itself the true clearance is up to this much greater, as ends count as rounded out.
        bend: number of the bend in which it happens, from 1 in the table's order, or None.
        against: what it comes nearest to, or None.
        at_angle: degrees the bend had been turned by, or None.
        order: numbers of the bends in the order made.
        feed_from: 'A' or 'B', the end fed first.
        as_drawn: whether the finished tube comes as near to itself: no other order changes that.
    """

    least: float | None
    bend: int | None
    against: str | None
    at_angle: float | None
    order: tuple[int, ...]
    feed_from: str
    tolerance: float = TOLERANCE
    as_drawn: bool = False

    @property
    def room(self) -> float:
        """`least`, infinite when there is nothing to meet: for comparing."""
        return inf if self.least is None else self.least


UNLIMITED_ROOM = Moment(inf, None, 0.0, TOLERANCE)

#: One bend (index from 0) made after a set of others.
State = tuple[int, frozenset[int]]


def half_outside(section: Section) -> tuple[float, float]:
    """Radius in mm that the tube is taken to have, and how much thinner it may be in some direction.

    What is not round counts as the round that holds it.
    """
    outer = section.outer.bounding_radius
    return outer, outer - section.smaller / 2.0


class Sweeper:
    """One tube fed from one end on one machine; every bend after any set of others, each worked out once.

    Args:
        table: the bends from end A.
        section: of the tube.
        space: around the machine.
        feed_from: 'A' or 'B'.
        extra_a, extra_b: extra stick at the ends, mm.
        stops: degrees each bend is turned to while it is made (springback included), from end A; the
            table's angles when None.
        enough: mm; room to boxes and to the tube itself is not measured where it is more than this ...
        poor: ... nor exactly where it is less than this, which makes a search quick.

    Raises:
        GeometryError: a corner has no radius, or bends overlap.
        OptionError: ``feed_from``, an extra length or a stop makes no sense.
    """

    def __init__(
        self,
        table: BendTable,
        section: Section,
        space: Space,
        feed_from: str = "A",
        *,
        extra_a: float = 0.0,
        extra_b: float = 0.0,
        stops: Sequence[float] | None = None,
        enough: float = inf,
        poor: float = -inf,
    ) -> None:
        if feed_from not in ("A", "B"):
            raise OptionError(f"A tube is fed from end A or end B, not {quoted(feed_from)}.")
        if not (0.0 <= extra_a < inf and 0.0 <= extra_b < inf):
            raise OptionError("Extra at an end must be a length of zero or more.")
        check_table(table)
        angles = [bend.angle for bend in table.bends] if stops is None else list(stops)
        if len(angles) != len(table.bends) or not all(0.0 < angle < 360.0 for angle in angles):
            raise OptionError("Every bend needs one stop angle between 0 and 360 degrees.")
        longer = table
        if table.bends:
            first = replace(table.bends[0], feed=table.bends[0].feed + extra_a)
            longer = BendTable((first, *table.bends[1:]), table.tail + extra_b)
        self.feed_from = feed_from
        self.space = space
        self.count = len(table.bends)
        self._table = longer if feed_from == "A" else reverse_table(longer)[0]
        self._stops = angles if feed_from == "A" else angles[::-1]
        self._radius, self._thinner = half_outside(section)
        self.enough = enough
        self._deep = max(poor, -0.99 * self._radius)
        self._moments: dict[State, Moment] = {}
        self._halves: dict[tuple[int, bool, frozenset[int]], Elements] = {}
        #: Room of each side to the planes; and with boxes, which depends on ``enough`` and ``poor``.
        self._walls: dict[tuple[int, bool, frozenset[int]], Moment] = {}
        self._rooms: dict[tuple[int, bool, frozenset[int]], Moment] = {}

    def quick(self, enough: float, poor: float) -> Sweeper:
        """The same tube, measured within ``enough`` and ``poor`` only; poses and walls are worked out once for both."""
        other = copy(self)
        other.enough, other._deep = enough, max(poor, -0.99 * self._radius)
        other._moments, other._rooms = {}, {}
        return other

    def moments(self, states: Iterable[State]) -> list[Moment]:
        """The least room while each bend is made, bends numbered from 0 in the table's order from end A."""
        asked = [self._fed(state) for state in states]
        new = [state for state in dict.fromkeys(asked) if state not in self._moments]
        if new:
            self._work(new)
        return [self._moments[state] for state in asked]

    def sequence(self, order: Sequence[int]) -> Clearance:
        """The least room over an order of bends, numbered from 0 in the table's order from end A.

        Raises:
            OptionError: the order does not name every bend once.
        """
        if sorted(order) != list(range(self.count)):
            raise OptionError("An order must name every bend once.")
        states = [(bend, frozenset(order[:i])) for i, bend in enumerate(order)]
        found = self.moments(states)
        numbers = tuple(bend + 1 for bend in order)
        least = min(range(len(found)), key=lambda i: found[i].least, default=None)
        if least is None or not isfinite(found[least].least):
            return Clearance(None, None, None, None, numbers, self.feed_from)
        one = found[least]
        as_drawn = one.against == ITSELF and (self.finished < 0.0 or self.finished <= one.least + 2.0 * TOLERANCE)
        return Clearance(
            one.least, order[least] + 1, one.against, one.angle, numbers, self.feed_from, one.tolerance, as_drawn
        )

    def clears(self, order: Sequence[int], margin: float) -> bool:
        """Whether an order keeps a margin (mm) throughout, as `sequence` would say, without measuring by how much.

        Args:
            order: as for `sequence`.
            margin: mm; nothing else is worth measuring once something comes nearer.
        """
        quick = self.quick(self.enough, float(np.nextafter(margin, -inf)))
        states = [(bend, frozenset(order[:i])) for i, bend in enumerate(order)]
        fed = [quick._fed(state) for state in states]
        sides = list(dict.fromkeys(quick._side(k, made, ahead) for k, made in fed for ahead in (True, False)))
        quick._wall([side for side in sides if side not in quick._walls])
        if any(quick._walls[side].least < margin for side in sides):
            return False
        return all(moment.least >= margin for moment in quick.moments(states))

    @cached_property
    def finished(self) -> float:
        """The least room in mm between parts of the finished tube: no order leaves more; inf for none."""
        # of any two parts between which the tube turns, some bend lies between
        states = [(k, frozenset(range(self.count)) - {k}) for k in range(self.count)]
        answers = Answers.of([UNLIMITED_ROOM] * self.count)
        items, elements = self._pairs(states, [bend.angle for bend in self._table.bends], still=True)
        if items is not None and elements is not None:
            nearest_to_itself(elements, items, self._radius, answers, -0.99 * self._radius)
        return float(answers.least.min(initial=inf))

    @property
    def simple_order(self) -> tuple[int, ...]:
        """The simple order, from the end fed first: indices from 0 in the table's order from end A."""
        order = range(self.count)
        return tuple(order if self.feed_from == "A" else reversed(order))

    def most(self) -> Array:
        """(2^n, n) mm that there may be, bends and sets of them counted from the end fed first (`most_room`)."""
        return most_room(self._table, self.space, self._radius, self._stops) + ROUNDING

    def implied_rooms(self, state: State) -> list[tuple[tuple[int, int], float]]:
        """What a situation that was swept tells of others.

        Returns:
            First and last bend, from the end fed first, and mm: with the same of these bends made there is no more
            room for the bend in question.
        """
        k, made = self._fed(state)
        sides = [self._rooms[self._side(k, made, ahead)] for ahead in (True, False)]
        found = [((0, k), sides[0].least), ((k, self.count - 1), sides[1].least)]
        for one in (*sides, self._moments[k, made]):
            if one.span is not None:
                # what is as low as that is not measured further, so the others are as low or measured like this one
                found.append((one.span, max(one.least, self._deep) + SURE))
        return found

    def reach(self, order: Sequence[int] | None = None) -> float:
        """Greatest distance in mm from the die's axis that the tube's centerline comes to as it swings or waits.

        Args:
            order: as for `sequence`; the plain one when None.
        """
        order = self.simple_order if order is None else order
        far = 0.0
        for i, bend in enumerate(order):
            k, made = self._fed((bend, frozenset(order[:i])))
            for ahead in (True, False):
                at = stations(self._half(k, made, ahead)).points
                far = max(far, float(np.hypot(at[:, 0], at[:, 1]).max()))
        return far

    def _fed(self, state: State) -> State:
        """The state with bends numbered from the end fed first."""
        if self.feed_from == "A":
            return state
        last = self.count - 1
        return last - state[0], frozenset(last - i for i in state[1])

    def _side(self, k: int, made: frozenset[int], ahead: bool) -> tuple[int, bool, frozenset[int]]:
        return k, ahead, frozenset(i for i in made if (i < k if ahead else i > k))

    def _half(self, k: int, made: frozenset[int], ahead: bool) -> Elements:
        key = self._side(k, made, ahead)
        found = self._halves.get(key)
        if found is None:
            found = self._halves[key] = half(self._table, k, key[2], ahead)
        return found

    def _work(self, states: list[State]) -> None:
        """Room to planes and boxes side by side (shared by many states), then each state against itself."""
        sides = dict.fromkeys(self._side(k, made, ahead) for k, made in states for ahead in (True, False))
        self._room([side for side in sides if side not in self._rooms])
        start = []
        for k, made in states:
            both = [self._rooms[self._side(k, made, ahead)] for ahead in (True, False)]
            start.append(min(both, key=lambda moment: moment.least))
        answers = Answers.of(start, self.enough)
        items, elements = self._pairs(states, self._stops)
        if items is not None and elements is not None:
            nearest_to_itself(elements, items, self._radius, answers, self._deep)
        for i, state in enumerate(states):
            if not answers.lowered[i]:
                self._moments[state] = start[i]
                continue
            tolerance = TOLERANCE + int(answers.ends[i]) * self._radius + 2.0 * self._thinner
            assert elements is not None
            outer = elements.outer[[answers.row[i], answers.against[i]]]
            span = int(outer.min()), int(outer.max())
            self._moments[state] = Moment(float(answers.least[i]), ITSELF, float(answers.angle[i]), tolerance, span)

    def _motion(self, k: int, ahead: bool) -> Motion:
        """How a side moves in the room."""
        if ahead:
            return Motion(self._stops[k], 1 if self.space.ahead else 0, 0.0)
        return Motion(self._stops[k], 0 if self.space.ahead else -1, self._table.bends[k].clr or 0.0)

    def _room(self, sides: list[tuple[int, bool, frozenset[int]]]) -> None:
        """The least room of sides of the tube to planes and boxes."""
        if not sides:
            return
        self._wall([side for side in sides if side not in self._walls])
        found = [self._walls[side] for side in sides]
        if self.space.boxes:
            found = self._boxes(sides, found)
        self._rooms.update(zip(sides, found, strict=True))

    def _wall(self, sides: list[tuple[int, bool, frozenset[int]]]) -> None:
        """The least room of sides of the tube to planes."""
        parts = [self._half(k, made, ahead) for k, ahead, made in sides]
        motions = [self._motion(k, ahead) for k, ahead, _ in sides]
        for side, found in zip(sides, least_to_planes(parts, motions, self.space, self._radius), strict=True):
            least, plane, angle = found
            name = self.space.planes[plane] if plane >= 0 else None
            self._walls[side] = Moment(least, name, angle, TOLERANCE + self._thinner)

    def _boxes(self, sides: list[tuple[int, bool, frozenset[int]]], found: list[Moment]) -> list[Moment]:
        parts = [self._half(k, made, ahead) for k, ahead, made in sides]
        elements = Elements.joined(parts)
        boxes = len(self.space.boxes)
        counts = np.array([len(part) for part in parts]) * boxes
        motions = [self._motion(k, ahead) for k, ahead, _ in sides]
        question = np.repeat(np.arange(len(sides)), counts)
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
        answers = Answers.of(found, self.enough)
        nearest_to_boxes(elements, items, self.space, self._radius, answers, self._deep)
        outer = elements.outer[answers.row].tolist()
        return [
            moment
            if not answers.lowered[i]
            else Moment(
                float(answers.least[i]),
                self.space.boxes[int(answers.against[i])],
                float(answers.angle[i]),
                TOLERANCE + int(answers.ends[i]) * self._radius + self._thinner,
                (min(k, outer[i]), max(k, outer[i])),
            )
            for i, (moment, (k, _, _)) in enumerate(zip(found, sides, strict=True))
        ]

    def _pairs(
        self, states: list[State], stops: Sequence[float], still: bool = False
    ) -> tuple[NearPairs | None, Elements | None]:
        """Every pair of elements between which the tube may turn far enough to meet itself.

        Args:
            states: bends numbered from the end fed first.
            stops: degrees each bend is turned to.
            still: only the moment each bend is made, not the way there.
        """
        bank: list[Elements] = []
        first: dict[object, int] = {}
        length = 0

        def place(key: object, made: Elements) -> int:
            nonlocal length
            if key not in first:
                bank.append(made)
                first[key] = length
                length += len(made)
            return first[key]

        rows: list[tuple[int, int, int, int, int, float, float, float, float]] = []
        for i, (k, made) in enumerate(states):
            stop = radians(stops[k])
            begin = stop if still else 0.0
            turned = stop + sum(radians(self._table.bends[j].angle) for j in made)
            if turned < APART - 1e-9:
                continue
            sides = [self._half(k, made, ahead) for ahead in (True, False)]
            at = [place(self._side(k, made, ahead), part) for ahead, part in zip((True, False), sides, strict=True)]
            bend = forming(self._table, k, stops[k])
            moving = place(("moving", k), bend)
            # ... and once made, when it stands still against what lies ahead
            made_arc = place(("made", k), replace(bend, turn=bend.turn[:, ::-1]))
            clr = self._table.bends[k].clr or 0.0
            rows.append((i, at[0], len(sides[0]), at[1], len(sides[1]), begin, stop, 1.0, clr))
            rows.append((i, moving, 1, at[1], len(sides[1]), begin, stop, 1.0, clr))
            rows.append((i, at[0], len(sides[0]), made_arc, 1, stop, stop, 0.0, 0.0))
        if not rows:
            return None, None
        elements = Elements.joined(bank)
        table = np.array(rows)
        sizes = (table[:, 2] * table[:, 4]).astype(np.intp)
        row = np.repeat(np.arange(len(rows)), sizes)
        inside = np.arange(len(row)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        wide = table[row, 4].astype(np.intp)
        a = table[row, 1].astype(np.intp) + inside // wide
        b = table[row, 3].astype(np.intp) + inside % wide
        low, high, turns, pull = table[row, 5:].T
        turn = elements.turn
        far = turn[a].max(axis=1) + turn[b].max(axis=1) + high >= APART - 1e-9
        items = NearPairs.whole(
            table[row, 0].astype(np.intp),
            a,
            b,
            low,
            high,
            turns,
            np.zeros(len(row)),
            pull,
        )
        return items[far], elements


class Sweepers:
    """The sweepers of one tube on one machine, by end fed first and extra stick, each made once.

    Args:
        table, section, space, stops: as for `Sweeper`.
    """

    def __init__(self, table: BendTable, section: Section, space: Space, stops: Sequence[float] | None = None) -> None:
        self._tube = table, section, space
        self._stops = stops
        self._sweepers: dict[tuple[str, float, float], Sweeper] = {}

    def of(self, end: str, extra_a: float = 0.0, extra_b: float = 0.0) -> Sweeper:
        """The sweeper of an end fed first and of extra stick at the ends, mm."""
        key = (end, extra_a, extra_b)
        if key not in self._sweepers:
            self._sweepers[key] = Sweeper(*self._tube, end, extra_a=extra_a, extra_b=extra_b, stops=self._stops)
        return self._sweepers[key]


def sweeper(
    table: BendTable,
    section: Section,
    machine: Machine,
    feed_from: str = "A",
    *,
    extra_a: float = 0.0,
    extra_b: float = 0.0,
    stops: Sequence[float] | None = None,
) -> Sweeper:
    """A `Sweeper` for the room that the shop file describes."""
    return Sweeper(table, section, space_of(machine), feed_from, extra_a=extra_a, extra_b=extra_b, stops=stops)


def sweep_order(
    table: BendTable,
    section: Section,
    machine: Machine,
    feed_from: str = "A",
    order: Sequence[int] | None = None,
    enough: float = inf,
) -> Clearance:
    """The least room when a tube is bent in one order.

    Args:
        table: the bends from end A.
        section: of the tube.
        machine: with what the shop file says of its room.
        feed_from: 'A' or 'B', the end fed first.
        order: numbers of the bends from 1 in the order made; None for the plain order from the end fed first.
        enough: as for `Sweeper`.

    Raises:
        GeometryError: a corner has no radius, or bends overlap.
        OptionError: the order does not name every bend once.
    """
    one = Sweeper(table, section, space_of(machine), feed_from, enough=enough)
    return one.sequence(one.simple_order if order is None else [number - 1 for number in order])
