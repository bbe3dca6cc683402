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

import numpy as np
from numpy.typing import NDArray

from converter.bending.room.shape import APART, Elements
from converter.bending.room.space import Array, Index, Space

#: mm; an item this surely known is done, and an item that gains less than this is dropped.
SURE = 0.3
_SLIVER = 1e-9
#: mm; what cheap bounds may be off by through rounding.
_HAIR = 1e-6
#: Items looked at in one go, so that they stay near the processor, and kept at once: bounds on memory.
_GLANCE, _MOST = 6_000, 200_000


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


@dataclass(frozen=True, slots=True)
class Moment:
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
        group: rising; of the questions of a group only the least counts, of those alone in theirs each.
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
    group: Index
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
            group,
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
        left = np.full(len(least), np.inf)
        np.minimum.at(left, question, lower)
        known = np.where(self.line > -np.inf, self.least, least)
        starts = np.flatnonzero(np.diff(self.group, prepend=-1))
        top = np.repeat(np.minimum.reduceat(known, starts), np.diff(starts, append=len(least)))
        lined = (left <= self.line + _HAIR) & (top > self.line)
        open_ = np.where(self.line > -np.inf, lined, left <= top + _HAIR)
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


class _ElementColumns:
    """Elements by columns, as they are looked up again and again."""

    def __init__(self, elements: Elements) -> None:
        slide, turn = elements.slide, elements.turn
        self.radius = np.linalg.norm(elements.along, axis=1)
        self.columns = np.concatenate(
            [
                elements.origin.T,
                elements.along.T,
                elements.across.T,
                [elements.sweep, self.radius, slide[:, 0], slide[:, 1] - slide[:, 0]],
            ]
        )
        self.turn = np.stack([turn[:, 0], turn[:, 1] - turn[:, 0]])
        self.slide = self.columns[11:13]
        self.gap = elements.gap.T


class _Chords:
    """The chords of stretches, as they lie before any motion.

    Attributes:
        ends: (3, 2, n) points.
        arc: (n,) mm of the stretch where it is bent, else 0.
        sagitta: (n,) mm between chord and stretch.
        slide: (2, n) share of the draw at both ends.
    """

    def __init__(self, bodies: _ElementColumns, rows: Index, shares: Array) -> None:
        of = bodies.columns.take(rows, axis=1)
        origin, along, across, sweep, radius = of[0:3], of[3:6], of[6:9], of[9], of[10]
        bent = np.flatnonzero(sweep > 0.0)
        on_along, on_across = shares.copy(), np.zeros(shares.shape)
        turned = sweep[bent] * shares[:, bent]
        on_along[:, bent], on_across[:, bent] = np.cos(turned), np.sin(turned)
        self.ends = origin[:, None, :] + along[:, None, :] * on_along + across[:, None, :] * on_across
        width = shares[1, bent] - shares[0, bent]
        self.sagitta, self.arc = np.zeros(len(rows)), np.zeros(len(rows))
        self.sagitta[bent] = radius[bent] * (1.0 - np.cos(sweep[bent] * width / 2.0))
        self.arc[bent] = radius[bent] * sweep[bent] * width
        self.slide = of[11] + of[12] * shares


class _Near:
    """How near pairs of one kind come, looked at in one way."""

    def __init__(self, elements: Elements, answers: Answers) -> None:
        self.bodies = _ElementColumns(elements)
        self.answers = answers

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
        reach = _Reach(_Chords(self.bodies, a, it.numbers[0:2]), it.numbers[4:6], draw)
        apart = _apart(reach.low, reach.high, low, high)
        near = np.hypot(*np.maximum(np.maximum(low[:2], -high[:2]), 0.0))
        far = np.hypot(*np.maximum(np.abs(low[:2]), np.abs(high[:2])))
        ring = np.maximum(np.maximum(reach.near - far, near - reach.far), 0.0)
        level = np.maximum(np.maximum(reach.low[2] - high[2], low[2] - reach.high[2]), 0.0)
        return np.asarray(np.where(turns == 0.0, apart, np.hypot(ring, level)) - self.answers.radius[question])

    def look(self, it: NearPairs) -> _NearDistances:
        question, a, b = it.places
        low, high, turns, draw = it.numbers[4:8]
        middle, half = (low + high) / 2.0, (high - low) / 2.0
        chords = _Chords(self.bodies, a, it.numbers[0:2])
        ends, reach = _moved(chords, middle, turns, draw)
        distance, share, apart = segment_to_box(ends[:, 0], ends[:, 1], self.low[:, b], self.high[:, b])
        # while it turns, what is drawn along changes its reach by the draw
        drawn = np.abs(draw) * np.where(turns != 0.0, 1.0 + (high - low) / 2.0, 1.0)
        speed = np.where(turns != 0.0, reach, 0.0) + drawn
        rolls = (turns != 0.0) & (draw != 0.0)
        fall = _fall(chords, apart, turns, draw, low, middle, high)
        fall = np.where(rolls, speed * half, np.minimum(fall, speed * half))
        doubts = np.stack([chords.sagitta, np.zeros(len(it)), fall])
        gap = distance - self.answers.radius[question]
        lower = gap - doubts.sum(axis=0)
        sure = lower.copy()
        on = np.flatnonzero(rolls)
        sure[on] = gap[on] - chords.sagitta[on] - _rolling_fall(chords, ends, apart, reach, it.numbers[4:8], on)
        shares = np.stack([share, np.zeros(len(it))])
        return _NearDistances(gap, lower, sure, doubts, shares, np.ones(len(it), bool), np.zeros(len(it), bool))

    def ends(self, it: NearPairs, shares: Array) -> Index:
        drawn = it.numbers[7] * ((it.numbers[4] + it.numbers[5]) / 2.0)
        radius = self.answers.radius[it.question]
        return _at_end(self.bodies, it.places[1], it.numbers[0:2], shares[0], radius, drawn)


class _NearItself(_Near):
    def bound(self, it: NearPairs) -> Array:
        question, a, b = it.places
        low, high, turns, _, pull = it.numbers[4:9]
        one = _Chords(self.bodies, a, it.numbers[0:2])
        two = _Reach(_Chords(self.bodies, b, it.numbers[2:4]), it.numbers[4:6], pull)
        still = low == high
        # what stands still lies where it has turned to; what turns stays as far from the die's axis
        ends, _ = _moved(one, low, turns, None)
        first = _Reach(one, it.numbers[4:6], np.zeros(len(it)))
        apart = _apart(ends.min(axis=1) - one.sagitta, ends.max(axis=1) + one.sagitta, two.low, two.high)
        ring = np.maximum(np.maximum(first.near - two.far, two.near - first.far), 0.0)
        level = np.maximum(np.maximum(first.low[2] - two.high[2], two.low[2] - first.high[2]), 0.0)
        return np.asarray(
            np.where(still | (turns == 0.0), apart, np.hypot(ring, level)) - 2.0 * self.answers.radius[question]
        )

    def look(self, it: NearPairs) -> _NearDistances:
        question, a, b = it.places
        low, high, turns, _, pull = it.numbers[4:9]
        middle = (low + high) / 2.0
        one, two = _Chords(self.bodies, a, it.numbers[0:2]), _Chords(self.bodies, b, it.numbers[2:4])
        ends, reach = _moved(one, middle, turns, None)
        others = _drawn(two, middle, pull)
        distance, sa, sb, apart = segment_to_segment(ends[:, 0], ends[:, 1], others[:, 0], others[:, 1])
        fall = _fall(one, apart, turns, None, low, middle, high) + _fall(two, -apart, None, pull, low, middle, high)
        fall = np.minimum(fall, (reach + pull) * (high - low) / 2.0)
        doubts = np.stack([one.sagitta, two.sagitta, fall])
        gap = distance - 2.0 * self.answers.radius[question]
        lower = gap - doubts.sum(axis=0)
        turn_a, turn_b = self.bodies.turn.take(a, axis=1), self.bodies.turn.take(b, axis=1)
        ta = turn_a[0] + turn_a[1] * it.numbers[0:2]
        tb = turn_b[0] + turn_b[1] * it.numbers[2:4]
        most_a, least_a = ta.max(axis=0), ta.min(axis=0)
        most = most_a + tb.max(axis=0) + high
        least = least_a + tb.min(axis=0) + low
        # metal of the bend that has not reached the die yet is still stock behind
        unmade = most_a + high < -_SLIVER
        whole = (least >= APART - _SLIVER) & (least_a + low >= -_SLIVER)
        # perhaps only one point of such a stretch counts
        doubts[0] = np.where(whole, doubts[0], one.arc)
        doubts[1] = np.where(whole, doubts[1], two.arc)
        return _NearDistances(gap, lower, lower, doubts, np.stack([sa, sb]), whole, (most < APART - _SLIVER) | unmade)

    def ends(self, it: NearPairs, shares: Array) -> Index:
        radius = self.answers.radius[it.question]
        pulled = it.numbers[8] * ((it.numbers[4] + it.numbers[5]) / 2.0)
        found = _at_end(self.bodies, it.places[1], it.numbers[0:2], shares[0], radius, np.zeros(len(it)))
        return found + _at_end(self.bodies, it.places[2], it.numbers[2:4], shares[1], radius, pulled)


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
    answers = near.answers
    waiting = [part[_worth_a_look(part, near)] for part in _parts(items)]
    while waiting:
        it = waiting.pop()
        if len(it) > _MOST:
            waiting += _parts(it)
            continue
        if not len(it):
            continue
        seen = _seen(it, near)
        # what is reported may be too high by the sagittas twice (chord for arc, and how it counts)
        done = seen.doubts.sum(axis=0) + seen.doubts[0] + seen.doubts[1] <= SURE
        best = _improve(it, seen, done, near)
        keep = ~done & ~seen.dead & (seen.lower < best - SURE) & (best > answers.deep[it.question])
        # as far as the best known for sure: none of it would count, so leaving it out changes nothing
        keep &= seen.sure - _HAIR < best
        kept = np.flatnonzero(keep)
        kept = kept[answers.asking(it.question[kept], seen.lower[kept], answers.least)]
        if len(kept):
            waiting.append(_halved(it, kept, seen.doubts[:, kept].argmax(axis=0)))


def _parts(items: NearPairs) -> list[NearPairs]:
    """Items in parts of no more than `_MOST`, those of one question together as far as that goes."""
    if len(items) <= _MOST:
        return [items]
    order = np.argsort(items.question, kind="stable")
    items = NearPairs(items.places[:, order], items.numbers[:, order])
    starts = np.flatnonzero(np.diff(items.question, prepend=-1))
    middle = len(items) // 2
    cut = int(starts[np.abs(starts - middle).argmin()]) or middle
    return [*_parts(items[:cut]), *_parts(items[cut:])]


def _seen(it: NearPairs, near: _Near) -> _NearDistances:
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
    may = (bound < least[question]) & (least > answers.deep)[question]
    may[may] = answers.asking(question[may], bound[may], least)
    rows = np.flatnonzero(may)
    if len(rows) > 1:
        rows = rows[np.lexsort((bound[rows], question[rows]))]
        rows = rows[np.diff(question[rows], prepend=-1) > 0]
        first = items[np.sort(rows)]
        seen = _seen(first, near)
        upper = seen.distance + seen.doubts[0] + seen.doubts[1]
        upper = np.where(seen.counts & ~seen.dead, upper, np.inf)
        least[first.question] = np.minimum(least[first.question], upper)
        may &= bound < least[question]
        may[may] = answers.asking(question[may], bound[may], least)
    return may


def _improve(it: NearPairs, seen: _NearDistances, done: NDArray[np.bool_], near: _Near) -> Array:
    """Take what is better than the answers so far; (n,) the best known to the question of each item."""
    answers = near.answers
    upper = seen.distance + seen.doubts[0] + seen.doubts[1]
    known = answers.least[it.question]
    good = np.flatnonzero((upper < known) & (seen.counts | done) & ~seen.dead)
    if not len(good):
        return known
    asked = it.question[good]
    order = np.lexsort((upper[good], asked))
    asked = asked[order]
    first = np.flatnonzero(np.diff(asked, prepend=-1))
    asked, best = asked[first], good[order[first]]
    answers.least[asked] = upper[best]
    # of a stretch that counts in part only, the latest angle counts
    low, high = it.numbers[4:6, best]
    middle = (low + high) / 2.0
    answers.angle[asked] = np.degrees(np.where(seen.counts[best], middle, high))
    answers.row[asked], answers.against[asked] = it.places[1:3, best]
    answers.ends[asked] = near.ends(it[best], seen.shares[:, best])
    answers.lowered[asked] = True
    found: Array = answers.least[it.question]
    return found


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


class _Reach:
    """Boxes around chords while they are drawn ahead: (3, n) corners; (n,) mm that they keep from the die's axis, and
    reach away from it, whatever they are turned by."""

    def __init__(self, chords: _Chords, angles: Array, draw: Array) -> None:
        ends, out = chords.ends, chords.sagitta
        # at every angle a box drawn along X is within that at the first and the last
        x = np.concatenate([ends[0] + chords.slide * draw * angle for angle in angles])
        self.low = np.stack([x.min(axis=0), ends[1].min(axis=0), ends[2].min(axis=0)]) - out
        self.high = np.stack([x.max(axis=0), ends[1].max(axis=0), ends[2].max(axis=0)]) + out
        low, high = self.low[:2], self.high[:2]
        self.near = np.hypot(*np.maximum(np.maximum(low, -high), 0.0))
        self.far = np.hypot(*np.maximum(np.abs(low), np.abs(high)))


def _apart(low: Array, high: Array, other_low: Array, other_high: Array) -> Array:
    """(n,) mm between boxes given by (3, n) corners."""
    gap = np.maximum(np.maximum(low - other_high, other_low - high), 0.0)
    return np.asarray(np.sqrt((gap * gap).sum(axis=0)))


def _at_end(bodies: _ElementColumns, rows: Index, shares: Array, share: Array, radius: Array, drawn: Array) -> Index:
    """1 where the point at a share of a stretch lies within a radius of the tube's free end.

    ``drawn``: mm by which a straight held at T has become shorter.
    """
    gap = bodies.gap[:, rows]
    at = shares[0] + (shares[1] - shares[0]) * share
    begin = gap[0] - drawn * bodies.slide[1, rows]
    with np.errstate(invalid="ignore"):
        left = np.where(np.isinf(begin), np.inf, begin + (gap[1] - begin) * at)
    return (left < radius).astype(np.intp)


def _moved(chords: _Chords, angle: Array, turns: Array, draw: Array | None) -> tuple[Array, Array]:
    """(3, 2, n) ends of chords drawn ahead, then turned; and (n,) the greatest reach of the stretches from the axis."""
    c, s = np.cos(angle * turns), np.sin(angle * turns)
    x, y, z = chords.ends
    if draw is not None:
        x = x + chords.slide * draw * angle
    # an arc reaches past its chord by no more than its sagitta
    reach = np.hypot(x, y).max(axis=0) + chords.sagitta
    return np.stack([x * c - y * s, x * s + y * c, z]), reach


def _drawn(chords: _Chords, angle: Array, draw: Array) -> Array:
    """(3, 2, n) ends of chords drawn ahead only."""
    x, y, z = chords.ends
    return np.stack([x + chords.slide * draw * angle, y, z])


def _fall(
    chords: _Chords, across: Array, turns: Array | None, draw: Array | None, low: Array, middle: Array, high: Array
) -> Array:
    """(n,) mm that the ends of moving chords come back along unit vectors ``across`` (3, n) from low to high angles.

    ``across`` points from the other body to the chord at the middle angle; what turns is not drawn too. None: nothing
    turns, or is drawn.
    """
    x, y, z = chords.ends
    a = across[0] * x + across[1] * y
    rest = across[2] * z
    pull = None if draw is None else chords.slide * draw * across[0]
    if turns is None:
        first = last = now = a
    else:
        b = (across[1] * x - across[0] * y) * turns
        still = turns == 0.0
        first, last, now = (np.where(still, a, a * np.cos(w) + b * np.sin(w)) for w in (low, high, middle))
    if pull is not None:
        first, last, now = first + pull * low, last + pull * high, now + pull * middle
    lowest = np.minimum(first, last)
    if turns is not None:
        bottom = (np.arctan2(b, a) + np.pi) % (2.0 * np.pi)
        inside = ~still & (bottom > low) & (bottom < high)
        lowest = np.where(inside, np.minimum(lowest, -np.hypot(a, b)), lowest)
    found: Array = (now + rest).min(axis=0) - (lowest + rest).min(axis=0)
    return found


def _rolling_fall(chords: _Chords, ends: Array, across: Array, reach: Array, numbers: Array, which: Index) -> Array:
    """Of some items (n,) mm that the ends of chords that turn and are drawn too come back along ``across``, at most.

    By Taylor's formula about the middle angle: along a unit vector a point at a distance q from the axis that is drawn
    by d a radian has a second derivative of q + 2 d at most.

    Args:
        ends: (3, 2, n) where they are at the middle angle.
        reach: (n,) mm from the axis there.
        numbers: (4, n) radians low and high, sense of the turn, mm drawn per radian.
    """
    low, high, turns, draw = numbers[:, which]
    half, middle = (high - low) / 2.0, (low + high) / 2.0
    x, y, z = ends[:, :, which]
    ux, uy, uz = across[:, which]
    slope = turns * (uy * x - ux * y) + draw * chords.slide[:, which] * (
        ux * np.cos(middle * turns) + uy * np.sin(middle * turns)
    )
    drawn = np.abs(draw)
    drop = np.abs(slope) * half + (reach[which] + drawn * half + 2.0 * drawn) * half * half / 2.0
    now = ux * x + uy * y + uz * z
    found: Array = now.min(axis=0) - (now - drop).min(axis=0)
    return found


def segment_to_segment(p1: Array, q1: Array, p2: Array, q2: Array) -> tuple[Array, Array, Array, Array]:
    """(n,) least distances between segments given by (3, n) ends, the shares along each where they are nearest, and
    (3, n) unit vectors from the second to the first there (zero where they touch).

    Closest points by clamping (C. Ericson, Real-Time Collision Detection, 2005, 5.1.9, from memory).
    """
    d1, d2, r = q1 - p1, q2 - p2, p1 - p2
    a, e = (d1 * d1).sum(axis=0), (d2 * d2).sum(axis=0)
    b, c, f = (d1 * d2).sum(axis=0), (d1 * r).sum(axis=0), (d2 * r).sum(axis=0)
    safe_a, safe_e = np.where(a > 0.0, a, 1.0), np.where(e > 0.0, e, 1.0)
    across = a * e - b * b
    free = across > 1e-12 * safe_a * safe_e
    s = np.where(free, ((b * f - c * e) / np.where(free, across, 1.0)).clip(0.0, 1.0), 0.0)
    t = np.where(e > 0.0, (b * s + f) / safe_e, 0.0)
    clamped = t.clip(0.0, 1.0)
    again = ((b * clamped - c) / safe_a).clip(0.0, 1.0)
    s = np.where((t != clamped) | (e <= 0.0), np.where(a > 0.0, again, 0.0), s)
    distance, apart = _sized(r + d1 * s - d2 * clamped)
    return distance, s, clamped, apart


def segment_to_box(p: Array, q: Array, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """(n,) least distances from segments to boxes square to the axes (0 inside), all given by (3, n) corners; the
    shares where they are nearest, and (3, n) unit vectors from box to segment there (zero inside).

    The squared distance along a segment is convex and made of parabolas that meet where the segment
    crosses the planes of the faces, so its slope is a broken line whose zero is found exactly.
    """
    d = q - p
    moving = d != 0.0
    safe = np.where(moving, d, 1.0)
    n = p.shape[1]
    t = np.zeros((8, n))
    t[0:3] = np.where(moving, ((low - p) / safe).clip(0.0, 1.0), 0.0)
    t[3:6] = np.where(moving, ((high - p) / safe).clip(0.0, 1.0), 0.0)
    t[7] = 1.0
    t.sort(axis=0)
    at = p[:, None, :] + d[:, None, :] * t
    outside = np.minimum(at - low[:, None, :], 0.0) + np.maximum(at - high[:, None, :], 0.0)
    slope = (outside * d[:, None, :]).sum(axis=0)
    falling = (slope < 0.0).sum(axis=0)  # slopes rise along the segment
    i = (falling - 1).clip(0, 6)
    rows = np.arange(n)
    s0, s1, t0, t1 = slope[i, rows], slope[i + 1, rows], t[i, rows], t[i + 1, rows]
    rise = s1 - s0
    share = np.where(rise > 0.0, t0 - s0 * (t1 - t0) / np.where(rise > 0.0, rise, 1.0), t0)
    share = np.where(falling == 0, 0.0, np.where(falling == 8, 1.0, share.clip(0.0, 1.0)))
    point = p + d * share
    distance, across = _sized(np.minimum(point - low, 0.0) + np.maximum(point - high, 0.0))
    return distance, share, across


def _sized(vectors: Array) -> tuple[Array, Array]:
    """(n,) lengths of (3, n) vectors, and the unit vectors."""
    size = np.sqrt((vectors * vectors).sum(axis=0))
    return size, vectors / np.where(size > 0.0, size, 1.0)
