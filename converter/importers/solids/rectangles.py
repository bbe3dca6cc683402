"""Four points in a rectangle, and four more evenly inside it: the corners of a tube's section among many.

Points are (n, 2) in mm in a plane across the tube, each with the radius of its rounded corner
(0: sharp); a rectangle's sizes are those of the section, corners included.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from converter.tolerances import Tolerances

Array = NDArray[np.float64]

#: More corners than this in one direction are a grating or a honeycomb, not a few tubes.
_MOST = 300
#: So many pairs of alike diagonals are a lattice, whose search is given up; so many rectangles are looked into.
_MOST_PAIRS, _MOST_RECTANGLES = 2_000_000, 4_000


@dataclass(frozen=True, slots=True)
class Rectangle:
    """Four points around a rectangle: their numbers in order, centre, a unit side, outside sizes, corner radius."""

    corners: tuple[int, int, int, int]
    center: Array
    side: Array
    sizes: tuple[float, float]
    corner: float

    @property
    def area(self) -> float:
        """Outside, mm2."""
        return self.sizes[0] * self.sizes[1]


def rectangles(
    spots: Array, radii: Array, choice: list[int], tol: Tolerances, spans: Array | None = None
) -> list[Rectangle]:
    """The rectangles with one corner radius among the chosen points, the smallest `_MOST_RECTANGLES` of them first.

    Two diagonals of one length and one middle make one. Diagonals are sorted into overlapping
    cells by both, so that only those alike are held against each other. None among too many points, or where
    there are more pairs of such diagonals than any rack of tubes has.

    Args:
        spans: (n, 2) from where to where along the tube each point's corner runs: the four of a rectangle overlap.
    """
    if not 4 <= len(choice) <= _MOST:
        return []
    one, two = np.triu_indices(len(choice), 1)
    pick = np.array(choice)
    first, second = pick[one], pick[two]
    arms = spots[second] - spots[first]
    lengths = np.hypot(arms[:, 0], arms[:, 1])
    keep = (lengths > tol.join) & (np.abs(radii[first] - radii[second]) <= tol.fit)
    if spans is not None:
        keep &= np.maximum(spans[first, 0], spans[second, 0]) < np.minimum(spans[first, 1], spans[second, 1])
    first, second, lengths = first[keep], second[keep], lengths[keep]
    middles = (spots[first] + spots[second]) / 2.0
    pairs = _alike(np.column_stack((middles, lengths)) / (4.0 * tol.fit))
    i, j = first[pairs[:, 0]], second[pairs[:, 0]]
    m, n = first[pairs[:, 1]], second[pairs[:, 1]]
    a, b = spots[m] - spots[i], spots[n] - spots[i]
    width, height = np.hypot(a[:, 0], a[:, 1]), np.hypot(b[:, 0], b[:, 1])
    apart = middles[pairs[:, 0]] - middles[pairs[:, 1]]
    good = (i != m) & (i != n) & (j != m) & (j != n)
    good &= (np.abs(radii[i] - radii[m]) <= tol.fit) & (np.hypot(apart[:, 0], apart[:, 1]) <= tol.fit)
    good &= (np.minimum(width, height) > tol.join) & (np.abs((a * b).sum(axis=1)) <= 1e-3 * width * height)
    if spans is not None:
        corners = np.stack((i, j, m, n))
        good &= spans[corners, 0].max(axis=0) < spans[corners, 1].min(axis=0)
    found: dict[tuple[int, ...], Rectangle] = {}
    for k in np.flatnonzero(good):
        r = float(radii[i[k]])
        sizes = (float(width[k]) + 2.0 * r, float(height[k]) + 2.0 * r)
        corners_ = (int(i[k]), int(m[k]), int(j[k]), int(n[k]))
        made = Rectangle(corners_, middles[pairs[k, 0]], a[k] / width[k], sizes, r)
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
    outer: Rectangle, spots: Array, radii: Array, choice: list[int], tol: Tolerances
) -> tuple[Rectangle, float] | None:
    """The rectangle at an even distance inside another one among the chosen points, the thinnest wall first.

    Returns:
        The rectangle, its corners in the order of the outer one's sides, and the wall.
    """
    if len(choice) < 4:
        return None
    pick = np.array(choice)
    other = np.array((-outer.side[1], outer.side[0]))
    local = (spots[pick] - outer.center) @ np.column_stack((outer.side, other))
    walls = np.array(outer.sizes) / 2.0 - np.abs(local) - radii[pick][:, None]
    even = (np.abs(walls[:, 0] - walls[:, 1]) <= 2.0 * tol.fit) & (walls.min(axis=1) > tol.fit)
    for k in np.flatnonzero(even)[np.argsort(walls[even].sum(axis=1), kind="stable")]:
        alike = even & (np.abs(walls - walls[k]).max(axis=1) <= 2.0 * tol.fit)
        alike &= np.abs(radii[pick] - radii[pick[k]]) <= tol.fit
        corners = []
        for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
            fits = np.flatnonzero(alike & (local[:, 0] * sx > 0.0) & (local[:, 1] * sy > 0.0))
            if len(fits):
                corners.append(int(pick[fits[0]]))
        if len(corners) == 4:
            wall = float(walls[k].mean())
            sizes = (outer.sizes[0] - 2.0 * wall, outer.sizes[1] - 2.0 * wall)
            c = (corners[0], corners[1], corners[2], corners[3])
            return Rectangle(c, outer.center, outer.side, sizes, float(radii[pick[k]])), wall
    return None
