"""Least distances while something turns, by branch and bound, many questions at once.

Each item pairs a stretch of one element with a stretch of another (or a box) over a span of angles. Its
distance at the middle angle, chord to chord, is off by no more than the sagittas; over the span it falls by
no more than the metal moves in half of it, nor below the gap between the two planes that part the pair at
the middle angle, as far as the ends of the chords then reach through them. Items that cannot beat the best
value known to their question drop out; of the others the largest doubt is halved, until it is below `SURE`.

What a question comes to does not depend on what is asked along with it, to the last bit: an item looks at no other
question, and those of one question are never parted. Two rules leave out what is sure not to matter, and change no
answer either:

- An item is not looked at when a cheap bound says that it keeps as far as the best value known. Nothing it would be
  halved into comes nearer, so it would neither have been taken nor have made any other item drop out.
- Where only the least of a group of questions counts, a question is given up as a whole once all that is left of it
  keeps farther than the least of the group does. It would not have been that least, and no other question asks it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Index
from converter.bending.room.chords import (
    Chords,
    ElementColumns,
    Swing,
    WholeChords,
    box_gap,
    drawn_chords,
    fall_along,
    greatest_reach,
    rolling_fall,
    segment_to_box,
    segment_to_segment,
    turned_chords,
)
from converter.bending.room.shape import APART, Elements
from converter.bending.room.space import Space

#: mm; an item this surely known is done, and an item that gains less than this is dropped.
SURE = 0.3
_SLIVER = 1e-9
#: mm; what cheap bounds may be off by through rounding.
_HAIR = 1e-6
#: Items looked at in one go, so that they stay near the processor, and kept at once: bounds on memory.
_GLANCE, _MOST = 2_000, 200_000


@dataclass(slots=True)
class NearPairs:
    """Pairs, one per column: stretches a0..a1 of element a and b0..b1 of element (or box) b, angles low..high.

    Attributes:
        places: (3, n) row of the answer, element a, element (or box) b.
        numbers: (9, n) shares a0, a1, b0, b1; radians low, high; how a turns, mm per radian that a is drawn ahead
            and that b is.
    """

    places: Index
    numbers: Array

    def __len__(self) -> int:
        return int(self.places.shape[1])

    def __getitem__(self, which: NDArray[np.bool_] | Index | slice) -> NearPairs:
        return NearPairs(self.places[:, which], self.numbers[:, which])

    @property
    def question(self) -> Index:
        """(n,) row of the answer."""
        found: Index = self.places[0]
        return found

    @classmethod
    def whole(
        cls, question: Index, a: Index, b: Index, low: Array, high: Array, turns: Array, draw: Array, pull: Array
    ) -> NearPairs:
        """Pairs of whole elements."""
        zero, one = np.zeros(len(question)), np.ones(len(question))
        return cls(np.stack([question, a, b]), np.stack([zero, one, zero, one, low, high, turns, draw, pull]))


class Moment(NamedTuple):
    """The least room while one bend is made: mm (inf: nothing to meet), what, degrees, tolerance in mm.

    ``span``: the first and last bend, from the end fed first, between which all lies that decides it; None where
    that is not known. With the same of these bends made there is no more room than this and `SURE`.
    """

    least: float
    against: str | None
    angle: float
    tolerance: float
    span: tuple[int, int] | None = None


@dataclass(slots=True)
class Answers:
    """What each question has come to, and what is asked.

    Attributes:
        least: mm.
        angle: degrees.
        row: the row of the elements that is nearest, or -1.
        against: what it is nearest to, a box or another row; or -1.
        ends: how many ends of the tube (0, 1, 2) are nearest there, within a radius of the end.
        lowered: whether anything nearer was found than what the question began with.
        radius: half the tube's outside diameter, mm.
        deep: mm; what is as low is not measured further.
        starts: where each group of questions starts; of a group only the least counts, of those alone in theirs each.
        line: mm; of the group it only counts whether anything is as low as this; -inf where its least counts.
    """

    least: Array
    angle: Array
    row: Index
    against: Index
    ends: Index
    lowered: NDArray[np.bool_]
    radius: Array
    deep: Array
    starts: Index
    line: Array

    @classmethod
    def of(
        cls, known: Sequence[Moment], enough: Array, radius: Array, deep: Array, group: Index, line: Array
    ) -> Answers:
        """Questions that begin with what is known; what is farther than ``enough`` mm is not looked for."""
        n = len(known)
        return cls(
            np.minimum([one.least for one in known], enough),
            np.array([one.angle for one in known], float),
            np.full(n, -1),
            np.full(n, -1),
            np.zeros(n, np.intp),
            np.zeros(n, bool),
            radius,
            deep,
            starts_of(group),
            line,
        )

    def lowered_rows(self) -> Iterator[tuple[int, float, int, float, int]]:
        """Of the questions that were lowered: row, least, against, angle, ends."""
        rows = np.flatnonzero(self.lowered)
        columns = (rows, self.least[rows], self.against[rows], self.angle[rows], self.ends[rows])
        return zip(*(column.tolist() for column in columns), strict=True)

    def asking(self, question: Index, lower: Array, least: Array) -> NDArray[np.bool_]:
        """(n,) which items belong to questions that may still count.

        Args:
            question, lower: (n,) of items the question, and mm below which none of it comes.
            least: mm each question has come to, at most.
        """
        starts, lined = self.starts, self.line > -np.inf
        if len(starts) == len(least) and not lined.any():
            return np.ones(len(question), bool)  # each counts for itself, and what cannot better it has dropped out
        left = np.full(len(least), np.inf)
        np.minimum.at(left, question, lower)
        known = np.where(lined, self.least, least)
        top = np.repeat(np.minimum.reduceat(known, starts), np.diff(starts, append=len(least)))
        below = (left <= self.line + _HAIR) & (top > self.line)
        open_ = np.where(lined, below, left <= top + _HAIR)
        found: NDArray[np.bool_] = open_[question]
        return found


@dataclass(slots=True)
class _NearDistances:
    """Of each item: distance, its lower bound, another one that only rules out, (3, n) doubts (a, b, angle), (2, n)
    shares of the stretches where they are nearest, whether it counts as a whole, whether it may drop."""

    distance: Array
    lower: Array
    sure: Array
    doubts: Array
    shares: Array
    counts: NDArray[np.bool_]
    dead: NDArray[np.bool_]

    @classmethod
    def joined(cls, parts: Sequence[_NearDistances]) -> _NearDistances:
        """Those of all items, in order."""
        if len(parts) == 1:
            return parts[0]
        return cls(*(np.concatenate([getattr(one, name) for one in parts], axis=-1) for name in cls.__slots__))


class _Near:
    """How near pairs of one kind come, looked at in one way."""

    def __init__(self, elements: Elements, answers: Answers) -> None:
        self.bodies = ElementColumns(elements)
        self.answers = answers

    @cached_property
    def whole(self) -> WholeChords:
        """The elements as wholes."""
        return WholeChords(self.bodies)

    def bound(self, it: NearPairs) -> Array:
        """(n,) mm that whole pairs keep at least, cheaply."""
        raise NotImplementedError

    def look(self, it: NearPairs) -> _NearDistances:
        """How far apart pairs are, and how sure that is."""
        raise NotImplementedError

    def ends(self, it: NearPairs, shares: Array) -> Index:
        """(n,) how many ends of the tube are nearest, at (2, n) shares of the stretches."""
        raise NotImplementedError


class _NearBoxes(_Near):
    def __init__(self, elements: Elements, answers: Answers, space: Space) -> None:
        super().__init__(elements, answers)
        self.low, self.high = space.low.T, space.high.T

    def bound(self, it: NearPairs) -> Array:
        question, a, b = it.places
        turns, draw = it.numbers[6:8]
        low, high = self.low[:, b], self.high[:, b]
        reach = self.whole.drawn(a, it.numbers[4:6], draw)
        apart = box_gap(reach.low, reach.high, low, high)
        near = np.hypot(*np.maximum(np.maximum(low[:2], -high[:2]), 0.0))
        far = np.hypot(*np.maximum(np.abs(low[:2]), np.abs(high[:2])))
        ring = np.maximum(np.maximum(reach.near - far, near - reach.far), 0.0)
        level = np.maximum(np.maximum(reach.low[2] - high[2], low[2] - reach.high[2]), 0.0)
        return np.asarray(np.where(turns == 0.0, apart, np.hypot(ring, level)) - self.answers.radius[question])

    def look(self, it: NearPairs) -> _NearDistances:
        question, a, b = it.places
        low, high, turns, draw = it.numbers[4:8]
        half = (high - low) / 2.0
        chords, swing = Chords.of(self.bodies, a, it.numbers[0:2]), Swing(low, high, turns)
        ends = turned_chords(chords, swing, 1, draw)
        reach = greatest_reach(chords, ends)
        distance, share, apart = segment_to_box(ends[:, 0], ends[:, 1], self.low[:, b], self.high[:, b])
        # while it turns, what is drawn along changes its reach by the draw
        drawn = np.abs(draw) * np.where(turns != 0.0, 1.0 + half, 1.0)
        speed = np.where(turns != 0.0, reach, 0.0) + drawn
        rolls = (turns != 0.0) & (draw != 0.0)
        fall = fall_along(chords, apart, swing, True, draw)
        fall = np.where(rolls, speed * half, np.minimum(fall, speed * half))
        nothing = np.zeros(len(it))
        doubts = np.array([chords.sagitta, nothing, fall])
        gap = distance - self.answers.radius[question]
        lower = gap - doubts.sum(axis=0)
        sure = lower.copy()
        on = np.flatnonzero(rolls)
        sure[on] = gap[on] - chords.sagitta[on] - rolling_fall(chords, ends, apart, reach, it.numbers[4:8], on)
        every = np.ones(len(it), bool)
        return _NearDistances(gap, lower, sure, doubts, np.array([share, nothing]), every, ~every)

    def ends(self, it: NearPairs, shares: Array) -> Index:
        drawn = it.numbers[7] * ((it.numbers[4] + it.numbers[5]) / 2.0)
        radius = self.answers.radius[it.question]
        return _at_end(self.bodies, it.places[1], it.numbers[0:2], shares[0], radius, drawn)


class _NearItself(_Near):
    def bound(self, it: NearPairs) -> Array:
        question, a, b = it.places
        low, high, turns, _, pull = it.numbers[4:9]
        two = self.whole.drawn(b, it.numbers[4:6], pull)
        # what turns stays as far from the die's axis ...
        one = self.whole.reach
        ring = np.maximum(np.maximum(one.near[a] - two.far, two.near - one.far[a]), 0.0)
        level = np.maximum(np.maximum(one.low[2, a] - two.high[2], two.low[2] - one.high[2, a]), 0.0)
        apart = np.hypot(ring, level)
        # ... and what stands still lies where it has turned to
        still = np.flatnonzero((low == high) | (turns == 0.0))
        corners = self.whole.turned(a[still], low[still] * turns[still])
        apart[still] = box_gap(*corners, two.low[:, still], two.high[:, still])
        return np.asarray(apart - 2.0 * self.answers.radius[question])

    def look(self, it: NearPairs) -> _NearDistances:
        question, a, b = it.places
        low, high, turns, _, pull = it.numbers[4:9]
        one, two = Chords.of_both(self.bodies, (a, b), it.numbers[0:4])
        swing = Swing(low, high, turns)
        ends = turned_chords(one, swing, 1)
        distance, sa, sb, apart = segment_to_segment(ends, drawn_chords(two, swing.angles[1], pull))
        fall = fall_along(one, apart, swing, True, None) + fall_along(two, -apart, swing, False, pull)
        fall = np.minimum(fall, (greatest_reach(one, one.ends) + pull) * (high - low) / 2.0)
        doubts = np.array([one.sagitta, two.sagitta, fall])
        gap = distance - 2.0 * self.answers.radius[question]
        lower = gap - doubts.sum(axis=0)
        turned = self.bodies.turn.take(np.concatenate([a, b]), axis=1)
        turned = turned[0] + turned[1] * np.concatenate([it.numbers[0:2], it.numbers[2:4]], axis=1)
        (most_a, most_b), (least_a, least_b) = turned.max(axis=0).reshape(2, -1), turned.min(axis=0).reshape(2, -1)
        most, least = most_a + most_b + high, least_a + least_b + low
        # metal of the bend that has not reached the die yet is still stock behind
        unmade = most_a + high < -_SLIVER
        whole = (least >= APART - _SLIVER) & (least_a + low >= -_SLIVER)
        # perhaps only one point of such a stretch counts
        doubts[0] = np.where(whole, doubts[0], one.arc)
        doubts[1] = np.where(whole, doubts[1], two.arc)
        dead = (most < APART - _SLIVER) | unmade
        return _NearDistances(gap, lower, lower, doubts, np.array([sa, sb]), whole, dead)

    def ends(self, it: NearPairs, shares: Array) -> Index:
        radius = self.answers.radius[it.question]
        pulled = it.numbers[8] * ((it.numbers[4] + it.numbers[5]) / 2.0)
        found = _at_end(self.bodies, it.places[1], it.numbers[0:2], shares[0], radius, np.zeros(len(it)))
        return found + _at_end(self.bodies, it.places[2], it.numbers[2:4], shares[1], radius, pulled)


def starts_of(rising: Index) -> Index:
    """Where each number of (n,) rising ones stands first."""
    if not len(rising):
        return np.zeros(0, np.intp)
    found: Index = np.concatenate([[0], np.flatnonzero(rising[1:] != rising[:-1]) + 1])
    return found


def nearest_to_boxes(elements: Elements, items: NearPairs, space: Space, answers: Answers) -> None:
    """Lower the answers by the distance of the tube's outside from boxes; b of the items are indices of boxes."""
    _branch(items, _NearBoxes(elements, answers, space))


def nearest_to_itself(elements: Elements, items: NearPairs, answers: Answers) -> None:
    """Lower the answers by the distance between parts of the tube that turns 180 degrees or more between them.

    Nearer along the tube it cannot come back on itself: at a least distance the tube leaves the joining
    line squarely (or an end points away) at both sides, and a closed curve turns 360 degrees in all (Fenchel
    1929, from memory), 90 of them at most at each of the two corners.
    """
    _branch(items, _NearItself(elements, answers))


def _branch(items: NearPairs, near: _Near) -> None:
    """Halve doubts until every question is settled within `SURE`, or found to be as low as it is measured."""
    answers, nearest = near.answers, _Nearest(near)
    waiting = [part[_worth_a_look(part, near)] for part in _parts(items)]
    while waiting:
        it = waiting.pop()
        if len(it) > _MOST:
            waiting += _parts(it)
            continue
        if not len(it):
            continue
        seen = _glances(it, near)
        # what is reported may be too high by the sagittas twice (chord for arc, and how it counts)
        done = seen.doubts.sum(axis=0) + seen.doubts[0] + seen.doubts[1] <= SURE
        best = nearest.bettered(it, seen, done)
        keep = ~done & ~seen.dead & (seen.lower < best - SURE) & (best > answers.deep[it.question])
        # as far as the best known for sure: none of it would count, so leaving it out changes nothing
        keep &= seen.sure - _HAIR < best
        kept = np.flatnonzero(keep)
        kept = kept[answers.asking(it.question[kept], seen.lower[kept], answers.least)]
        if len(kept):
            waiting.append(_halved(it, kept, seen.doubts[:, kept].argmax(axis=0)))
    nearest.tell()


def _parts(items: NearPairs) -> list[NearPairs]:
    """Items in parts of no more than `_MOST`, those of one question together as far as that goes."""
    if len(items) <= _MOST:
        return [items]
    order = np.argsort(items.question, kind="stable")
    items = NearPairs(items.places[:, order], items.numbers[:, order])
    starts = starts_of(items.question)
    middle = len(items) // 2
    cut = int(starts[np.abs(starts - middle).argmin()]) or middle
    return [*_parts(items[:cut]), *_parts(items[cut:])]


def _glances(it: NearPairs, near: _Near) -> _NearDistances:
    return _NearDistances.joined([near.look(it[i : i + _GLANCE]) for i in range(0, len(it), _GLANCE)])


def _worth_a_look(items: NearPairs, near: _Near) -> NDArray[np.bool_]:
    """(n,) which whole pairs may matter: those that cheap bounds do not rule out.

    Of each question the pair that may come nearest is looked at first, which tells how near it comes at most.
    """
    if not len(items):
        return np.zeros(0, bool)
    answers, question = near.answers, items.question
    bound = np.concatenate([near.bound(items[i : i + _GLANCE]) for i in range(0, len(items), _GLANCE)]) - _HAIR
    least = answers.least.copy()
    # also where the best known is too low to be measured further: what the first look sees counts even so
    may = bound < least[question]
    may[may] = answers.asking(question[may], bound[may], least)
    rows = np.flatnonzero(may)
    if len(rows) > 1:
        rows = rows[np.lexsort((bound[rows], question[rows]))]
        rows = rows[starts_of(question[rows])]
        first = items[np.sort(rows)]
        seen = _glances(first, near)
        upper = seen.distance + seen.doubts[0] + seen.doubts[1]
        upper = np.where(seen.counts & ~seen.dead, upper, np.inf)
        least[first.question] = np.minimum(least[first.question], upper)
        may &= bound < least[question]
        may[may] = answers.asking(question[may], bound[may], least)
    return may


class _Nearest:
    """The item of each question that is nearest so far."""

    def __init__(self, near: _Near) -> None:
        self.near = near
        count = len(near.answers.least)
        self.items = NearPairs(np.zeros((3, count), np.intp), np.zeros((9, count)))
        self.shares = np.zeros((2, count))
        self.counts = np.zeros(count, bool)

    def bettered(self, it: NearPairs, seen: _NearDistances, done: NDArray[np.bool_]) -> Array:
        """Take what is better than the answers so far; (n,) the best known to the question of each item."""
        answers, asked = self.near.answers, it.question
        upper = seen.distance + seen.doubts[0] + seen.doubts[1]
        known: Array = answers.least[asked]
        good = np.flatnonzero((upper < known) & (seen.counts | done) & ~seen.dead)
        if not len(good):
            return known
        np.minimum.at(answers.least, asked[good], upper[good])
        # of items that are as near the first counts: what is written last stays
        best = good[upper[good] == answers.least[asked[good]]][::-1]
        lowered = asked[best]
        self.items.places[:, lowered], self.items.numbers[:, lowered] = it.places[:, best], it.numbers[:, best]
        self.shares[:, lowered], self.counts[lowered] = seen.shares[:, best], seen.counts[best]
        answers.lowered[lowered] = True
        found: Array = answers.least[asked]
        return found

    def tell(self) -> None:
        """Write down where what was lowered is nearest."""
        answers, rows = self.near.answers, np.flatnonzero(self.near.answers.lowered)
        it = self.items[rows]
        low, high = it.numbers[4:6]
        # of a stretch that counts in part only, the latest angle counts
        answers.angle[rows] = np.degrees(np.where(self.counts[rows], (low + high) / 2.0, high))
        answers.row[rows], answers.against[rows] = it.places[1:3]
        answers.ends[rows] = self.near.ends(it, self.shares[:, rows])


def _halved(items: NearPairs, which: Index, worst: Index) -> NearPairs:
    """Both halves of some items, halved in shares of a (0), of b (1) or in angles (2)."""
    parts: list[Index] = []
    halves: list[Array] = []
    for column in range(3):
        part = which[worst == column]
        if len(part):
            first = items.numbers[:, part]
            second = first.copy()
            first[2 * column + 1] = second[2 * column] = (first[2 * column] + first[2 * column + 1]) / 2.0
            parts += [part, part]
            halves += [first, second]
    return NearPairs(items.places[:, np.concatenate(parts)], np.concatenate(halves, axis=1))


def _at_end(bodies: ElementColumns, rows: Index, shares: Array, share: Array, radius: Array, drawn: Array) -> Index:
    """1 where the point at a share of a stretch lies within a radius of the tube's free end.

    ``drawn``: mm by which a straight held at T has become shorter.
    """
    gap = bodies.gap[:, rows]
    at = shares[0] + (shares[1] - shares[0]) * share
    begin = gap[0] - drawn * bodies.slide[1, rows]
    with np.errstate(invalid="ignore"):
        left = np.where(np.isinf(begin), np.inf, begin + (gap[1] - begin) * at)
    return (left < radius).astype(np.intp)
