"""Four points in a rectangle, and four more evenly inside it: the corners of a tube's section among many.

Points are (n, 2) in mm in a plane across the tube, where its corners would be if they were sharp, each with the way
out of the section there: halfway between its two sides' normals.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array
from converter.importers.solids.profiles import UNEVEN
from converter.tolerances import Tolerances

#: More corners than this in one direction are a grating or a honeycomb, not a few tubes.
_MOST = 300
#: So many pairs of alike diagonals are a lattice, whose search is given up; so many rectangles are looked into.
_MOST_PAIRS, _MOST_RECTANGLES = 2_000_000, 4_000
#: Cosine of how far a corner's way out may lie from the one that a rectangle has there.
_ALIKE = 0.9
#: Corners in each quarter of a rectangle that are tried for a bore's.
_MOST_INSIDE = 12
_SIGNS = ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))


@dataclass(frozen=True, slots=True)
class Rectangle:
    """Four points around a rectangle: their numbers in order, centre, a unit side, sizes."""

    corners: tuple[int, int, int, int]
    center: Array
    side: Array
    sizes: tuple[float, float]

    @property
    def area(self) -> float:
        """Outside, mm2."""
        return self.sizes[0] * self.sizes[1]


def rectangles(
    spots: Array, outs: Array, choice: list[int], tol: Tolerances, spans: Array | None = None
) -> list[Rectangle]:
    """The rectangles among the chosen points, the smallest `_MOST_RECTANGLES` of them first.

    Two diagonals of one length and one middle make one. Diagonals are sorted into overlapping
    cells by both, so that only those alike are held against each other. None among too many points, or where
    there are more pairs of such diagonals than any rack of tubes has.

    Args:
        spots, outs: (n, 2) points and ways out, which must lead out of a rectangle at its corners.
        spans: (n, 2) from where to where along the tube each point's corner runs: the four of a rectangle overlap
            by more than the join tolerance.
    """
    if not 4 <= len(choice) <= _MOST:
        return []
    one, two = np.triu_indices(len(choice), 1)
    pick = np.array(choice)
    first, second = pick[one], pick[two]
    arms = spots[second] - spots[first]
    lengths = np.hypot(arms[:, 0], arms[:, 1])
    keep = (lengths > tol.join) & ((arms * outs[second]).sum(axis=1) > 0.0) & ((arms * outs[first]).sum(axis=1) < 0.0)
    keep &= (outs[first] * outs[second]).sum(axis=1) < -_ALIKE
    if spans is not None:
        keep &= np.maximum(spans[first, 0], spans[second, 0]) + tol.join < np.minimum(spans[first, 1], spans[second, 1])
    first, second, lengths = first[keep], second[keep], lengths[keep]
    middles = (spots[first] + spots[second]) / 2.0
    pairs = _alike(np.column_stack((middles, lengths)) / (4.0 * tol.fit))
    i, j = first[pairs[:, 0]], second[pairs[:, 0]]
    m, n = first[pairs[:, 1]], second[pairs[:, 1]]
    a, b = spots[m] - spots[i], spots[n] - spots[i]
    width, height = np.hypot(a[:, 0], a[:, 1]), np.hypot(b[:, 0], b[:, 1])
    apart = middles[pairs[:, 0]] - middles[pairs[:, 1]]
    good = (i != m) & (i != n) & (j != m) & (j != n)
    good &= np.hypot(apart[:, 0], apart[:, 1]) <= tol.fit
    good &= (np.minimum(width, height) > tol.join) & (np.abs((a * b).sum(axis=1)) <= 1e-3 * width * height)
    with np.errstate(divide="ignore", invalid="ignore"):
        for here, sx, sy in ((i, -1.0, -1.0), (m, 1.0, -1.0), (n, -1.0, 1.0), (j, 1.0, 1.0)):
            way = (sx * a / width[:, None] + sy * b / height[:, None]) * 0.5**0.5
            good &= (way * outs[here]).sum(axis=1) > _ALIKE
    if spans is not None:
        corners = np.stack((i, j, m, n))
        good &= spans[corners, 0].max(axis=0) + tol.join < spans[corners, 1].min(axis=0)
    found: dict[tuple[int, ...], Rectangle] = {}
    for k in np.flatnonzero(good):
        sizes = (float(width[k]), float(height[k]))
        corners_ = (int(i[k]), int(m[k]), int(j[k]), int(n[k]))
        made = Rectangle(corners_, middles[pairs[k, 0]], a[k] / width[k], sizes)
        found.setdefault(tuple(sorted(corners_)), made)
    return sorted(found.values(), key=lambda r: (r.area, r.corners))[:_MOST_RECTANGLES]


def _alike(cells: Array) -> NDArray[np.int64]:
    """Pairs (n, 2) of rows in one cell of size 1, or of cells moved by half a size; none where there are too many."""
    found = []
    total = 0
    for shift in product((0.0, 0.5), repeat=3):
        keys = np.floor(cells + np.array(shift)).astype(np.int64)
        order = np.lexsort(keys.T)
        group = np.concatenate(([0], np.cumsum((keys[order][1:] != keys[order][:-1]).any(axis=1))))
        lag = 1
        while lag < len(order) and (same := group[lag:] == group[:-lag]).any():
            both = np.column_stack((order[:-lag][same], order[lag:][same]))
            both.sort(axis=1)
            found.append(both)
            total += len(both)
            if total > _MOST_PAIRS:
                return np.empty((0, 2), np.int64)
            lag += 1
    return np.unique(np.concatenate(found), axis=0) if found else np.empty((0, 2), np.int64)


def inside(
    outer: Rectangle, spots: Array, outs: Array, choice: list[int], tol: Tolerances
) -> tuple[tuple[int, int, int, int], tuple[float, float, float, float]] | None:
    """The rectangle inside another one among the chosen points: at an even distance, the thinnest wall first, or else
    with four walls that are alike.

    Returns:
        Its corners around from (-1, -1) of the outer one's side and what is square to it, and the walls across -1,
        side +1, across +1, side -1, mm.
    """
    if len(choice) < 4:
        return None
    pick = np.array(choice)
    turn = np.column_stack((outer.side, (-outer.side[1], outer.side[0])))
    local, ways = (spots[pick] - outer.center) @ turn, outs[pick] @ turn
    walls = np.array(outer.sizes) / 2.0 - np.abs(local)
    keep = (walls.min(axis=1) > tol.fit) & (walls.max(axis=1) * (1.0 - UNEVEN) <= walls.min(axis=1) + 2.0 * tol.fit)
    keep &= (np.sign(local) * ways).min(axis=1) > 0.5
    thin = np.argsort(walls.sum(axis=1), kind="stable")
    rows = [thin[(keep & (local[:, 0] * sx > 0.0) & (local[:, 1] * sy > 0.0))[thin]] for sx, sy in _SIGNS]
    found: list[tuple[float, float, tuple[int, ...], tuple[float, float, float, float]]] = []
    for k in rows[0][:_MOST_INSIDE]:
        for m in rows[2][:_MOST_INSIDE]:
            (left, bottom), (right, top) = walls[k], walls[m]
            other = [_nearest(walls, r, want) for r, want in ((rows[1], (right, bottom)), (rows[3], (left, top)))]
            four = (float(bottom), float(right), float(top), float(left))
            if any(off > 2.0 * tol.fit for _, off in other) or max(four) - min(four) > UNEVEN * max(four):
                continue
            uneven = max(four) - min(four)
            corners = tuple(int(pick[c]) for c in (k, other[0][0], m, other[1][0]))
            found.append((0.0 if uneven <= 2.0 * tol.fit else uneven, sum(four), corners, four))
    if not found:
        return None
    _, _, (a, b, c, d), four = min(found)
    return (a, b, c, d), four


def _nearest(walls: Array, rows: NDArray[np.intp], want: tuple[float, float]) -> tuple[int, float]:
    """Of some rows the one that comes nearest to two walls, and how near."""
    if not len(rows):
        return -1, np.inf
    off = np.abs(walls[rows] - want).max(axis=1)
    k = int(off.argmin())
    return int(rows[k]), float(off[k])
