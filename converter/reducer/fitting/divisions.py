"""The fewest straights and arcs that a row of vertices can stand for, found over the whole row at once.

For each pair of places in a row the best line and the best circle through the vertices between them have a closed
form in moments, which are running sums: their squared misses cost a few array operations a place. Dynamic programming
over the places then gives, for a price per piece, the division of least price and misses together (the segmentation of
Bellman 1961, "On the approximation of curves by line segments using dynamic programming"). Falling prices give more
and more pieces, the same ones whatever the tolerance, so a wider tolerance stops at fewer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import radians, sin

import numpy as np

from converter.arrays import Array, Index
from converter.geometry.circles import crossed

PLACES = 400  #: rows of so many vertices are searched vertex by vertex
COARSE = 180  #: places of a longer row that are searched first, twice as many while pieces take fewer than `FINE` each
FINE = 6
AROUND = 16  #: places looked at around each joint of a coarse division, at most
VERTICES = 2400  #: looked at, and as many for each coarse place more; more say the same again
COARSE_PRICE = 0.3  #: mm2; of the coarse division whose joints are looked at closely, whatever the tolerance
WIDE = 0.5  #: mm; divisions are searched up to this rms miss, or the fit tolerance where that is more
BOUNDED = 4800  #: vertices of that rms miss that a single piece may miss by, at most
PRICES = np.geomspace(1e6, 1e-9, 76)  #: mm2 per piece, falling: each 1.6 times less
ARC_PRICE = 2.0  #: a bend says three numbers (plane, angle, radius) where a straight says one
LOOKED_AT = 100  #: vertices that tell a free curve
REMEMBERED = 4  #: rows of vertices: a curve that strays is looked at with a finer fit and with looser ones
MOST_REMEMBERED = 20_000  #: vertices of such a row: half a megabyte each
LEAST_INTERVALS = 2  #: vertices after its first that an arc needs


@dataclass(frozen=True, slots=True)
class DividedPart:
    """Vertices first..last on one straight (kind 'line') or on one arc ('arc')."""

    kind: str
    first: int
    last: int


def divisions(points: Array, fit: float, turn: float) -> Iterator[tuple[DividedPart, ...]]:
    """Divisions of a row of vertices (n, 3), fewest pieces first, from the first whose rms miss is within ``fit``.

    A division is its stretches in order, the last vertex of one the first of the next. Two straights never follow each
    other: the row has no sharp corner.

    Args:
        points: vertices in order, mm, consecutive ones different.
        fit: mm; no division of fewer pieces stays within it everywhere.
        turn: degrees that an arc turns between neighbouring vertices, at most.
    """
    look = _costs_of if len(points) <= MOST_REMEMBERED else _costs_of.__wrapped__
    rows, places, costs = look(points.tobytes(), max(fit, WIDE), turn)
    low = _first_within(costs, len(rows) * fit * fit)
    known: tuple[tuple[str, int, int], ...] = ()
    for price in PRICES[low:].tolist():
        pieces, _ = _cheapest(costs, price)
        if not pieces or pieces == known:
            continue
        known = pieces
        yield tuple(DividedPart(kind, int(rows[places[a]]), int(rows[places[b]])) for kind, a, b in pieces)


@lru_cache(maxsize=REMEMBERED)
def _costs_of(data: bytes, wide: float, turn: float) -> tuple[Index, Index, list[tuple[Array, Array]]]:
    """What is looked at of a row of vertices, and the misses of its pieces: the same for a finer and a looser fit."""
    points = np.frombuffer(data).reshape(-1, 3)
    rows, places = _looked_at(points, turn)
    return rows, places, _all_misses(points[rows], places, wide, turn)


def _all_misses(points: Array, places: Index, wide: float, turn: float) -> list[tuple[Array, Array]]:
    bound = min(len(points), BOUNDED) * wide * wide
    return [_misses(points, places, i, bound, turn) for i in range(len(places) - 1)]


def _first_within(costs: list[tuple[Array, Array]], most: float) -> int:
    """The index of the highest price whose division misses by no more (mm2): misses fall with the price."""
    low, high = 0, len(PRICES) - 1
    while low < high:
        middle = (low + high) // 2
        if _cheapest(costs, float(PRICES[middle]))[1] <= most:
            high = middle
        else:
            low = middle + 1
    return low


def _looked_at(points: Array, turn: float) -> tuple[Index, Index]:
    """Vertices that are looked at, and which of them a piece may begin at.

    All, or those around the joints that a coarse search leaves, and some more: a coarse place that is not quite where
    two pieces meet costs a short piece more; there the joint is looked for.
    """
    coarse_places = COARSE
    while True:
        step = 1 + (len(points) - 1) // (VERTICES * coarse_places // COARSE)
        rows = np.unique(np.append(np.arange(0, len(points), step), len(points) - 1))
        n = len(rows)
        if n <= PLACES:
            return rows, np.arange(n)
        looked_at = points[rows]
        coarse = _coarse_places(looked_at, coarse_places)
        pieces, _ = _cheapest(_all_misses(looked_at, coarse, WIDE, turn), COARSE_PRICE)
        if (pieces and FINE * len(pieces) <= len(coarse)) or 2 * coarse_places > n:
            break
        coarse_places *= 2
    most = PLACES * coarse_places // COARSE
    around = max(4, min(AROUND, most // max(1, len(pieces) - 1)))
    chosen = [coarse[::2], coarse[-1:]]
    for _, joint, _ in pieces[1:]:
        before, after = int(coarse[joint - 1]), int(coarse[joint + 1])
        chosen.append(np.unique(np.linspace(before, after, min(around, after - before + 1)).astype(np.intp)))
    return rows, np.unique(np.concatenate(chosen))


def _coarse_places(points: Array, count: int) -> Index:
    """About so many vertices, as many along length, along turning and along the count."""
    n = len(points)
    d = np.diff(points, axis=0)
    size = np.sqrt((d * d).sum(axis=1))
    t = d / size[:, None]
    turned = np.zeros(n - 1)
    turned[1:] = np.sqrt(((t[1:] - t[:-1]) ** 2).sum(axis=1))
    along = np.cumsum(size / size.sum() + turned / max(float(turned.sum()), 1e-300) + 1.0 / (n - 1))
    wanted = np.linspace(0.0, float(along[-1]), count)[1:-1]
    return np.unique(np.concatenate(([0], np.minimum(np.searchsorted(along, wanted) + 1, n - 1), [n - 1])))


def _misses(points: Array, places: Index, i: int, bound: float, turn: float) -> tuple[Array, Array]:
    """Sums of squared misses in mm2 of the best straight and the best arc from place i to the places after it.

    Returns:
        Two rows, as long as any of them stays within ``bound``; infinite where an arc cannot be.
    """
    start, reach = int(places[i]), 32
    while True:
        ahead = places[i + 1 : i + 1 + reach]
        q = points[start : int(ahead[-1]) + 1] - points[start]
        lines, arcs = _closed_form(_up_to(_running(q), ahead - start), turn)
        within = np.flatnonzero(np.minimum(lines, arcs) <= bound)
        beyond = not within.size or int(within[-1]) + 1 < len(ahead)
        if beyond or i + 1 + reach >= len(places):
            break
        reach *= 2
    count = int(within[-1]) + 1 if within.size else 1
    lines, arcs = lines[:count], arcs[:count]
    lines[lines > bound] = np.inf
    arcs[arcs > bound] = np.inf
    return lines, arcs


def least_misses(points: Array, *counts: int) -> tuple[float, ...]:
    """The least rms miss in mm of vertices (n, 3) from so many straights or arcs, which need not be tangent."""
    rows = points[np.unique(np.linspace(0, len(points) - 1, min(len(points), LOOKED_AT)).astype(np.intp))]
    n = len(rows)
    first, last = np.triu_indices(n, 1)
    cost = np.full((n, n), np.inf)
    cost[first, last] = stretch_misses(rows, first, last)
    total = np.full(n, np.inf)
    total[0] = 0.0
    by_count = [0.0]
    for _ in range(max(counts)):
        total = (total[:, None] + cost).min(axis=0)
        by_count.append(float(np.sqrt(total[-1] / n)))
    return tuple(by_count[k] for k in counts)


def stretch_misses(points: Array, first: Index, last: Index) -> Array:
    """Squared misses in mm2 of the vertices first..last of points (n, 3), from their best straight or arc."""
    sums = _running(points - points.mean(axis=0))
    lines, arcs = _closed_form(_between(sums, first, last), 180.0)
    misses: Array = np.minimum(lines, arcs)
    return misses


@dataclass(frozen=True, slots=True)
class MomentSums:
    """Moments of stretches of vertices, one stretch a row: sums over its vertices from ``first`` to ``last``, included.

    Attributes:
        count: vertices; s1: of q, s2: of q q', s3: of |q|2 q, s4: of |q|4.
        area: twice the area vector about the origin, of the chords.
        chord: (k, 3) from the first vertex to the last; longest: of its chords.
    """

    count: Array
    s1: Array
    s2: Array
    s3: Array
    s4: Array
    area: Array
    chord: Array
    longest: Array


def _running(q: Array) -> MomentSums:
    """Moments of the stretches from the first of the vertices q (n, 3) to each, mm; q[0] at the origin or about it."""
    square = np.einsum("ij,ij->i", q, q)
    swept, chords = np.zeros_like(q), np.zeros(len(q))
    swept[1:] = crossed(q[:-1], q[1:])
    chords[1:] = np.sqrt((np.diff(q, axis=0) ** 2).sum(axis=1))
    return MomentSums(
        np.arange(1.0, len(q) + 1.0),
        np.cumsum(q, axis=0),
        np.cumsum(q[:, :, None] * q[:, None, :], axis=0),
        np.cumsum(square[:, None] * q, axis=0),
        np.cumsum(square * square),
        np.cumsum(swept, axis=0),
        q,
        chords,
    )


def _up_to(sums: MomentSums, ends: Index) -> MomentSums:
    """Moments of the stretches from the first vertex, which is the origin, to those at ``ends``."""
    s1, s2, s3, s4 = sums.s1[ends], sums.s2[ends], sums.s3[ends], sums.s4[ends]
    longest: Array = np.maximum.accumulate(sums.longest)[ends]
    return MomentSums(sums.count[ends], s1, s2, s3, s4, sums.area[ends], sums.chord[ends], longest)


def _between(sums: MomentSums, first: Index, last: Index) -> MomentSums:
    """Moments of the stretches first..last; chords are not looked at, so that any arc may be."""

    def part(running: Array) -> Array:
        before = np.concatenate((np.zeros_like(running[:1]), running))
        summed: Array = running[last] - before[first]
        return summed

    q = sums.chord
    # closed by the chord back, so that it is the same about any point
    area = sums.area[last] - sums.area[first] - crossed(q[first], q[last])
    return MomentSums(
        (last - first + 1).astype(np.float64),
        part(sums.s1),
        part(sums.s2),
        part(sums.s3),
        part(sums.s4),
        area,
        q[last] - q[first],
        np.zeros(len(first)),
    )


def _closed_form(of: MomentSums, turn: float) -> tuple[Array, Array]:
    """Squared misses of stretches of vertices from their best straight, and from their best arc.

    Args:
        of: their moments.
        turn: degrees that an arc turns between neighbouring vertices, at most.
    """
    count, s1, s2, s3 = of.count, of.s1, of.s2, of.s3
    mean = s1 / count[:, None]
    scatter = s2 - count[:, None, None] * mean[:, :, None] * mean[:, None, :]
    total = np.trace(scatter, axis1=1, axis2=2)
    d = _units(of.chord)
    for _ in range(2):  # power iterations: the chord is nearly the principal axis already
        d = _units(np.einsum("ijk,ik->ij", scatter, d))
    lines = np.maximum(total - np.einsum("ij,ijk,ik->i", d, scatter, d), 0.0)

    normal = _units(of.area)
    adjugate = _adjugate(scatter)
    for _ in range(2):  # inverse iterations toward the axis of least scatter
        refined = _units(np.einsum("ijk,ik->ij", adjugate, normal))
        keep = (np.einsum("ij,ij->i", refined, normal) > 0.5)[:, None]
        normal = np.where(keep, refined, normal)
    u = d - np.einsum("ij,ij->i", d, normal)[:, None] * normal
    u = _units(u)
    v = crossed(normal, u)
    out = np.einsum("ij,ijk,ik->i", normal, scatter, normal)
    # Kasa's circle in the plane, about the mean
    m2 = np.einsum("ij,ij->i", mean, mean)
    s2m = np.einsum("ijk,ik->ij", s2, mean)
    cubic = s3 - 2.0 * s2m + m2[:, None] * s1 - mean * total[:, None]
    quartic = (
        of.s4
        + 4.0 * np.einsum("ij,ij->i", mean, s2m)
        - 4.0 * np.einsum("ij,ij->i", mean, s3)
        + 2.0 * m2 * np.trace(s2, axis1=1, axis2=2)
        - 3.0 * count * m2 * m2
    )
    uu = np.einsum("ij,ijk,ik->i", u, scatter, u)
    vv = np.einsum("ij,ijk,ik->i", v, scatter, v)
    uv = np.einsum("ij,ijk,ik->i", u, scatter, v)
    ru, rv = np.einsum("ij,ij->i", u, cubic), np.einsum("ij,ij->i", v, cubic)
    det = uu * vv - uv * uv
    sound = (det > 1e-13 * total * total) & (of.area != 0.0).any(axis=1) & (count > LEAST_INTERVALS)
    det = np.where(sound, det, 1.0)
    a, b = (ru * vv - rv * uv) / det, (rv * uu - ru * uv) / det
    radius2 = (a * a + b * b) / 4.0 + total / count
    algebraic = quartic - total * total / count - (a * ru + b * rv)
    arcs = np.maximum(algebraic, 0.0) / (4.0 * radius2) + np.maximum(out, 0.0)
    sound &= of.longest <= 2.0 * np.sqrt(radius2) * sin(radians(turn) / 2.0)
    return lines, np.where(sound, arcs, np.inf)


def _units(rows: Array) -> Array:
    size = np.sqrt(np.einsum("ij,ij->i", rows, rows))
    units: Array = rows / np.where(size > 0.0, size, 1.0)[:, None]
    return units


def _adjugate(m: Array) -> Array:
    """Adjugates of symmetric (n, 3, 3): in the direction of the inverse, and defined where that is not."""
    a, b, c = m[:, 0, :], m[:, 1, :], m[:, 2, :]
    return np.stack((crossed(b, c), crossed(c, a), crossed(a, b)), axis=2)


def _cheapest(costs: list[tuple[Array, Array]], price: float) -> tuple[tuple[tuple[str, int, int], ...], float]:
    """The pieces (kind, from place, to place) of least price and misses together, and their misses in mm2."""
    n = len(costs) + 1
    best = np.full((2, n), np.inf)  # by the kind of the last piece: 0 straight, 1 arc
    came = np.zeros((2, n), np.intp)
    before = np.zeros((2, n), np.intp)
    best[1, 0] = 0.0
    for i, (lines, arcs) in enumerate(costs):
        ahead = slice(i + 1, i + 1 + len(lines))
        after_arc = best[1, i]
        total = after_arc + lines + price
        better = total < best[0, ahead]
        best[0, ahead][better] = total[better]
        came[0, ahead][better] = i
        before[0, ahead][better] = 1
        kind = 0 if best[0, i] < after_arc else 1
        total = best[kind, i] + arcs + ARC_PRICE * price
        better = total < best[1, ahead]
        best[1, ahead][better] = total[better]
        came[1, ahead][better] = i
        before[1, ahead][better] = kind
    kind = 0 if best[0, -1] <= best[1, -1] else 1
    if not np.isfinite(best[kind, -1]):
        return (), np.inf
    pieces: list[tuple[str, int, int]] = []
    at, missed = n - 1, 0.0
    while at > 0:
        start, earlier = int(came[kind, at]), int(before[kind, at])
        missed += float(costs[start][kind][at - start - 1])
        pieces.append(("arc" if kind else "line", start, at))
        at, kind = start, earlier
    return tuple(reversed(pieces)), missed
