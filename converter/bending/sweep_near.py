"""Least distances while something turns, by branch and bound, many questions at once.

Each item pairs a stretch of one element with a stretch of another (or a box) over a span of angles. Its
distance at the middle angle, chord to chord, is off by no more than the sagittas; over the span it falls by
no more than the metal moves in half of it, nor below the gap between the two planes that part the pair at
the middle angle, as far as the ends of the chords then reach through them. Items that cannot beat the best
value known to their question drop out; of the others the largest doubt is halved, until it is below `SURE`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from math import inf

import numpy as np
from numpy.typing import NDArray

from converter.bending.sweep_shape import APART, Elements
from converter.bending.sweep_space import Array, Index, Space

#: mm; an item this surely known is done, and an item that gains less than this is dropped.
SURE = 0.3
_SLIVER = 1e-9
_MOST = 60_000  # items looked at in one go: a bound on memory


@dataclass(slots=True)
class Items:
    """Rows of pairs: stretches a0..a1 of element a and b0..b1 of element (or box) b, angles low..high in radians.

    ``question`` is the row of the answer; ``turns`` and ``draw`` move a, ``pull`` moves b (mm per radian).
    """

    question: Index
    a: Index
    b: Index
    a0: Array
    a1: Array
    b0: Array
    b1: Array
    low: Array
    high: Array
    turns: Array
    draw: Array
    pull: Array

    def __len__(self) -> int:
        return len(self.question)

    def __getitem__(self, which: NDArray[np.bool_] | Index | slice) -> Items:
        return Items(*(getattr(self, f.name)[which] for f in fields(self)))

    @classmethod
    def joined(cls, parts: list[Items]) -> Items:
        """All rows of several."""
        return cls(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(cls)))

    @classmethod
    def whole(
        cls, question: Index, a: Index, b: Index, low: Array, high: Array, turns: Array, draw: Array, pull: Array
    ) -> Items:
        """Pairs of whole elements."""
        n = len(question)
        zero, one = np.zeros(n), np.ones(n)
        return cls(
            question, a, b,
            zero, one, zero, one, low, high, turns, draw, pull,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Moment:
    """The least room while one bend is made: mm (inf: nothing to meet), what, degrees, tolerance in mm."""

    least: float
    against: str | None
    angle: float
    tolerance: float


@dataclass(slots=True)
class Answers:
    """What each question has come to.

    Attributes:
        least: mm.
        angle: degrees.
        against: index of the box, or -1.
        ends: how many ends of the tube (0, 1, 2) are nearest there, within a radius of the end.
        lowered: whether anything nearer was found than what the question began with.
    """

    least: Array
    angle: Array
    against: Index
    ends: Index
    lowered: NDArray[np.bool_]

    @classmethod
    def of(cls, known: Sequence[Moment], enough: float = inf) -> Answers:
        """Questions that begin with what is known; what is farther than ``enough`` mm is not looked for."""
        n = len(known)
        return cls(
            np.array([min(one.least, enough) for one in known], float),
            np.array([one.angle for one in known], float),
            np.full(n, -1),
            np.zeros(n, np.intp),
            np.zeros(n, bool),
        )


@dataclass(slots=True)
class _Looked:
    """Of each item: distance, its lower bound, doubts (a, b, angle), whether it counts as a whole, whether it
    may drop, how many ends of the tube are nearest."""

    distance: Array
    lower: Array
    doubts: Array
    counts: NDArray[np.bool_]
    dead: NDArray[np.bool_]
    ends: Index


def nearest_to_boxes(
    elements: Elements, items: Items, space: Space, radius: float, answers: Answers, deep: float
) -> None:
    """Lower the answers by the distance of the tube's outside from boxes; ``items.b`` are indices of boxes.

    What is as low as ``deep`` (mm) is not measured further.
    """

    def look(it: Items) -> _Looked:
        middle = (it.low + it.high) / 2.0
        p, q, reach = _ends(elements, it.a, it.a0, it.a1, middle, it.turns, it.draw)
        distance, share, apart = segment_to_box(p, q, space.low[it.b], space.high[it.b])
        # while it turns, what is drawn along changes its reach by the draw
        drawn = np.abs(it.draw) * np.where(it.turns != 0.0, 1.0 + (it.high - it.low) / 2.0, 1.0)
        speed = np.where(it.turns != 0.0, reach, 0.0) + drawn
        half = (it.high - it.low) / 2.0
        rolls = (it.turns != 0.0) & (it.draw != 0.0)
        fall = _fall(elements, it.a, it.a0, it.a1, apart, it.turns, it.draw, it)
        fall = np.where(rolls, speed * half, np.minimum(fall, speed * half))
        doubts = np.column_stack([elements.sagitta(it.a, it.a1 - it.a0), np.zeros(len(it)), fall])
        ends = _at_end(elements, it.a, it.a0, it.a1, share, radius, it.draw * middle)
        gap = distance - radius
        return _Looked(gap, gap - doubts.sum(axis=1), doubts, np.ones(len(it), bool), np.zeros(len(it), bool), ends)

    _branch(items, look, answers, deep, boxes=True)


def nearest_to_itself(elements: Elements, items: Items, radius: float, answers: Answers, deep: float) -> None:
    """Lower the answers by the distance between parts of the tube that turns 180 degrees or more between them.

    Nearer along the tube it cannot come back on itself: at a least distance the tube leaves the joining
    line squarely (or an end points away) at both sides, and a closed curve turns 360 degrees in all (Fenchel
    1929, from memory), 90 of them at most at each of the two corners. What is as low as ``deep`` (mm) is not
    measured further.
    """

    def look(it: Items) -> _Looked:
        middle = (it.low + it.high) / 2.0
        nothing = np.zeros(len(it))
        pa, qa, reach = _ends(elements, it.a, it.a0, it.a1, middle, it.turns, nothing)
        pb, qb, _ = _ends(elements, it.b, it.b0, it.b1, middle, nothing, it.pull)
        distance, sa, sb, apart = segment_to_segment(pa, qa, pb, qb)
        fall = _fall(elements, it.a, it.a0, it.a1, apart, it.turns, nothing, it)
        fall += _fall(elements, it.b, it.b0, it.b1, -apart, nothing, it.pull, it)
        fall = np.minimum(fall, (reach + it.pull) * (it.high - it.low) / 2.0)
        doubts = np.column_stack([elements.sagitta(it.a, it.a1 - it.a0), elements.sagitta(it.b, it.b1 - it.b0), fall])
        gap = distance - 2.0 * radius
        lower = gap - doubts.sum(axis=1)
        ta = _turn(elements, it.a, it.a0), _turn(elements, it.a, it.a1)
        tb = _turn(elements, it.b, it.b0), _turn(elements, it.b, it.b1)
        most = np.maximum(*ta) + np.maximum(*tb) + it.high
        least = np.minimum(*ta) + np.minimum(*tb) + it.low
        # metal of the bend that has not reached the die yet is still stock behind
        unmade = np.maximum(*ta) + it.high < -_SLIVER
        whole = (least >= APART - _SLIVER) & (np.minimum(*ta) + it.low >= -_SLIVER)
        # perhaps only one point of such a stretch counts
        doubts[:, 0] = np.where(whole, doubts[:, 0], elements.arc(it.a, it.a1 - it.a0))
        doubts[:, 1] = np.where(whole, doubts[:, 1], elements.arc(it.b, it.b1 - it.b0))
        ends = _at_end(elements, it.a, it.a0, it.a1, sa, radius, nothing)
        ends += _at_end(elements, it.b, it.b0, it.b1, sb, radius, it.pull * middle)
        return _Looked(gap, lower, doubts, whole, (most < APART - _SLIVER) | unmade, ends)

    _branch(items, look, answers, deep, boxes=False)


def _branch(items: Items, look: Callable[[Items], _Looked], answers: Answers, deep: float, boxes: bool) -> None:
    """Halve doubts until every question is settled within `SURE`, or found to be as low as ``deep``."""
    waiting = [items[i : i + _MOST] for i in range(0, len(items), _MOST)]
    while waiting:
        it = waiting.pop()
        seen = look(it)
        doubt = seen.doubts.sum(axis=1)
        # what is reported may be too high by the sagittas twice (chord for arc, and how it counts)
        done = np.asarray(doubt + seen.doubts[:, 0] + seen.doubts[:, 1] <= SURE, bool)
        _improve(it, seen, seen.distance + seen.doubts[:, 0] + seen.doubts[:, 1], done, answers, boxes)
        best = answers.least[it.question]
        keep = ~seen.dead & ~done & (seen.lower < best - SURE) & (best > deep)
        if not keep.any():
            continue
        rest = it[keep]
        worst = seen.doubts[keep].argmax(axis=1)
        parts = [_halved(rest, worst == i, i) for i in range(3) if (worst == i).any()]
        more = Items.joined(parts)
        waiting += [more[i : i + _MOST] for i in range(0, len(more), _MOST)]


def _improve(it: Items, seen: _Looked, upper: Array, done: NDArray[np.bool_], answers: Answers, boxes: bool) -> None:
    good = np.flatnonzero((seen.counts | done) & ~seen.dead & (upper < answers.least[it.question]))
    if not len(good):
        return
    order = good[np.lexsort((upper[good], it.question[good]))]
    asked, first = np.unique(it.question[order], return_index=True)
    best = order[first]
    answers.least[asked] = upper[best]
    # of a stretch that counts in part only, the latest angle counts
    answers.angle[asked] = np.degrees(np.where(seen.counts, (it.low + it.high) / 2.0, it.high)[best])
    answers.against[asked] = it.b[best] if boxes else -1
    answers.ends[asked] = seen.ends[best]
    answers.lowered[asked] = True


def _halved(items: Items, which: NDArray[np.bool_], column: int) -> Items:
    names = (("a0", "a1"), ("b0", "b1"), ("low", "high"))[column]
    first, second = items[which], items[which]
    middle = (getattr(first, names[0]) + getattr(first, names[1])) / 2.0
    setattr(first, names[1], middle)
    setattr(second, names[0], middle)
    return Items.joined([first, second])


def _turn(elements: Elements, rows: Index, share: Array) -> Array:
    turn = elements.turn[rows]
    return np.asarray(turn[:, 0] + (turn[:, 1] - turn[:, 0]) * share)


def _at_end(elements: Elements, rows: Index, x0: Array, x1: Array, share: Array, radius: float, drawn: Array) -> Index:
    """1 where the point at a share of the stretch x0..x1 lies within a radius of the tube's free end.

    ``drawn``: mm by which a straight held at T has become shorter.
    """
    gap, slide = elements.gap[rows], elements.slide[rows]
    at = x0 + (x1 - x0) * share
    begin = gap[:, 0] - drawn * (slide[:, 1] - slide[:, 0])
    with np.errstate(invalid="ignore"):
        left = np.where(np.isinf(begin), np.inf, begin + (gap[:, 1] - begin) * at)
    return (left < radius).astype(np.intp)


def _ends(
    elements: Elements,
    rows: Index,
    x0: Array,
    x1: Array,
    angle: Array,
    turns: Array,
    draw: Array,
) -> tuple[Array, Array, Array]:
    """Both ends of the chords of stretches, moved: drawn ahead, then turned; and their reach from the die's axis."""
    c, s = np.cos(angle * turns), np.sin(angle * turns)
    found = []
    reach = np.zeros(len(rows))
    slide = elements.slide[rows]
    for share in (x0, x1):
        p = elements.point(rows, share)
        x = p[:, 0] + (slide[:, 0] + (slide[:, 1] - slide[:, 0]) * share) * draw * angle
        y = p[:, 1]
        found.append(np.column_stack([x * c - y * s, x * s + y * c, p[:, 2]]))
        reach = np.maximum(reach, np.hypot(x, y))
    # an arc reaches past its chord by no more than its sagitta
    return found[0], found[1], reach + elements.sagitta(rows, x1 - x0)


def _fall(
    elements: Elements,
    rows: Index,
    x0: Array,
    x1: Array,
    across: Array,
    turns: Array,
    draw: Array,
    span: Items,
) -> Array:
    """How far the ends of moving chords come back along unit vectors ``across`` during their span of angles, mm.

    ``across`` points from the other body to the chord at the middle angle; what turns is not drawn too.
    """
    middle = (span.low + span.high) / 2.0
    slide = elements.slide[rows]
    least = np.full(len(rows), np.inf)
    now = np.full(len(rows), np.inf)
    for share in (x0, x1):
        p = elements.point(rows, share)
        pull = (slide[:, 0] + (slide[:, 1] - slide[:, 0]) * share) * draw * across[:, 0]
        a = across[:, 0] * p[:, 0] + across[:, 1] * p[:, 1]
        b = (across[:, 1] * p[:, 0] - across[:, 0] * p[:, 1]) * turns
        rest = across[:, 2] * p[:, 2]
        still = turns == 0.0

        def at(angle: Array, a: Array = a, b: Array = b, pull: Array = pull, still: Array = still) -> Array:
            return np.asarray(np.where(still, a, a * np.cos(angle) + b * np.sin(angle)) + pull * angle)

        lowest = np.minimum(at(span.low), at(span.high))
        bottom = (np.arctan2(b, a) + np.pi) % (2.0 * np.pi)
        inside = ~still & (bottom > span.low) & (bottom < span.high)
        lowest = np.where(inside, np.minimum(lowest, -np.hypot(a, b)), lowest)
        least = np.minimum(least, lowest + rest)
        now = np.minimum(now, at(middle) + rest)
    return np.asarray(now - least)


def segment_to_segment(p1: Array, q1: Array, p2: Array, q2: Array) -> tuple[Array, Array, Array, Array]:
    """(n,) least distances between segments, the shares along each where they are nearest, and (n, 3) unit
    vectors from the second to the first there (zero where they touch).

    Closest points by clamping (C. Ericson, Real-Time Collision Detection, 2005, 5.1.9, from memory).
    """
    d1, d2, r = q1 - p1, q2 - p2, p1 - p2
    a, e = (d1 * d1).sum(axis=1), (d2 * d2).sum(axis=1)
    b, c, f = (d1 * d2).sum(axis=1), (d1 * r).sum(axis=1), (d2 * r).sum(axis=1)
    safe_a, safe_e = np.where(a > 0.0, a, 1.0), np.where(e > 0.0, e, 1.0)
    across = a * e - b * b
    free = across > 1e-12 * safe_a * safe_e
    s = np.where(free, np.clip((b * f - c * e) / np.where(free, across, 1.0), 0.0, 1.0), 0.0)
    t = np.where(e > 0.0, (b * s + f) / safe_e, 0.0)
    clamped = np.clip(t, 0.0, 1.0)
    again = np.clip((b * clamped - c) / safe_a, 0.0, 1.0)
    s = np.where((t != clamped) | (e <= 0.0), np.where(a > 0.0, again, 0.0), s)
    apart = r + d1 * s[:, None] - d2 * clamped[:, None]
    distance, across = _sized(apart)
    return distance, s, clamped, across


def segment_to_box(p: Array, q: Array, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """(n,) least distances from segments to boxes square to the axes (0 inside), the shares where they are
    nearest, and (n, 3) unit vectors from box to segment there (zero inside).

    The squared distance along a segment is convex and made of parabolas that meet where the segment
    crosses the planes of the faces, so its slope is a broken line whose zero is found exactly.
    """
    d = q - p
    moving = np.abs(d) > 0.0
    safe = np.where(moving, d, 1.0)
    crossings = np.concatenate([(low - p) / safe, (high - p) / safe], axis=1)
    crossings = np.where(np.concatenate([moving, moving], axis=1), np.clip(crossings, 0.0, 1.0), 0.0)
    n = len(p)
    t = np.sort(np.concatenate([crossings, np.zeros((n, 1)), np.ones((n, 1))], axis=1), axis=1)
    at = p[:, None, :] + d[:, None, :] * t[:, :, None]
    outside = np.minimum(at - low[:, None, :], 0.0) + np.maximum(at - high[:, None, :], 0.0)
    slope = (outside * d[:, None, :]).sum(axis=2)
    falling = (slope < 0.0).sum(axis=1)  # slopes rise along the segment
    i = np.clip(falling - 1, 0, t.shape[1] - 2)
    rows = np.arange(n)
    s0, s1, t0, t1 = slope[rows, i], slope[rows, i + 1], t[rows, i], t[rows, i + 1]
    rise = s1 - s0
    share = np.where(rise > 0.0, t0 - s0 * (t1 - t0) / np.where(rise > 0.0, rise, 1.0), t0)
    share = np.where(falling == 0, 0.0, np.where(falling == t.shape[1], 1.0, np.clip(share, 0.0, 1.0)))
    point = p + d * share[:, None]
    rest = np.minimum(point - low, 0.0) + np.maximum(point - high, 0.0)
    distance, across = _sized(rest)
    return distance, share, across


def _sized(vectors: Array) -> tuple[Array, Array]:
    size = np.sqrt((vectors * vectors).sum(axis=1))
    return size, vectors / np.where(size > 0.0, size, 1.0)[:, None]
