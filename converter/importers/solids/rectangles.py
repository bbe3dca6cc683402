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


def rectangles(spots: Array, radii: Array, choice: list[int], tol: Tolerances) -> list[Rectangle]:
    """All rectangles with one corner radius among the chosen points, the smallest first; none among too many.

    Two diagonals of one length and one middle make one. Diagonals are sorted into overlapping
    cells by both, so that only those alike are held against each other.
    """
    if not 4 <= len(choice) <= _MOST:
        return []
    one, two = np.triu_indices(len(choice), 1)
    pick = np.array(choice)
    first, second = pick[one], pick[two]
    arms = spots[second] - spots[first]
    lengths = np.hypot(arms[:, 0], arms[:, 1])
    keep = (lengths > tol.join) & (np.abs(radii[first] - radii[second]) <= tol.fit)
    first, second, lengths = first[keep], second[keep], lengths[keep]
    middles = (spots[first] + spots[second]) / 2.0
    cells = np.column_stack((middles, lengths)) / (4.0 * tol.fit)
    found: dict[tuple[int, ...], Rectangle] = {}
    for shift in product((0.0, 0.5), repeat=3):
        keys = np.floor(cells + np.array(shift)).astype(np.int64)
        order = np.lexsort(keys.T)
        same = (keys[order][1:] == keys[order][:-1]).all(axis=1)
        for k in np.flatnonzero(same):
            end = k + 1
            while end < len(same) and same[end]:
                end += 1
            for m in range(k + 1, end + 1):
                pair = (int(order[k]), int(order[m]))
                made = _rectangle(spots, radii, (int(first[pair[0]]), int(second[pair[0]])), pair, first, second, tol)
                if made is not None:
                    found.setdefault(tuple(sorted(made.corners)), made)
    return sorted(found.values(), key=lambda r: (r.area, r.corners))


def _rectangle(
    spots: Array,
    radii: Array,
    ends: tuple[int, int],
    pair: tuple[int, int],
    first: NDArray[np.intp],
    second: NDArray[np.intp],
    tol: Tolerances,
) -> Rectangle | None:
    i, j = ends
    m, n = int(first[pair[1]]), int(second[pair[1]])
    if {i, j} & {m, n} or abs(float(radii[i] - radii[m])) > tol.fit:
        return None
    middle, other = (spots[i] + spots[j]) / 2.0, (spots[m] + spots[n]) / 2.0
    if float(np.hypot(*(middle - other))) > tol.fit:
        return None
    a, b = spots[m] - spots[i], spots[n] - spots[i]
    width, height = float(np.hypot(*a)), float(np.hypot(*b))
    if min(width, height) <= tol.join or abs(float(a @ b)) > 1e-3 * width * height:
        return None
    r = float(radii[i])
    return Rectangle((i, m, j, n), middle, a / width, (width + 2.0 * r, height + 2.0 * r), r)


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
