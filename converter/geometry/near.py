"""How near points along a curve, and straight segments, come to one another: numpy."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array

#: Points from which on a tree finds pairs, and rows of their table that are looked at in one go.
_MANY, _ROWS = 2_000, 128


def self_approach(points: Array, place: Array, apart: float, ends: float, within: float) -> tuple[float, float] | None:
    """The least distance between points of a curve that lie far apart along it.

    Args:
        points: (n, 3) along the curve, mm.
        place: (n,) their places along it, mm, increasing.
        apart: only pairs further apart along the curve than this count.
        ends: points nearer to either end of the curve than this do not count.
        within: mm; pairs that are further from each other do not count.

    Returns:
        The distance in mm and the place of the later point (of equal distances that of the first pair); None where
        no pair counts.
    """
    inside = (place >= place[0] + ends) & (place <= place[-1] - ends)
    points, place = points[inside], place[inside]
    if len(points) < 2:
        return None
    # a little wider than asked: what finds them rounds otherwise than we do
    pairs = _pairs_within(points, within * (1.0 + 1e-9))
    pairs = pairs[place[pairs[:, 1]] - place[pairs[:, 0]] > apart]
    way = points[pairs[:, 0]] - points[pairs[:, 1]]
    d = np.sqrt(way[:, 0] * way[:, 0] + way[:, 1] * way[:, 1] + way[:, 2] * way[:, 2])
    if not d.size or float(d.min()) > within:
        return None
    least = pairs[d == d.min()]
    later = least[np.lexsort((least[:, 1], least[:, 0]))[0], 1]
    return float(d.min()), float(place[later])


def _pairs_within(points: Array, within: float) -> NDArray[np.intp]:
    """Pairs (m, 2) of points no further than so many mm from each other, the lower number first, in any order."""
    if len(points) > _MANY:
        from scipy.spatial import cKDTree  # whose import takes as long as looking at 4,000 points pair by pair

        found: NDArray[np.intp] = cKDTree(points).query_pairs(within, output_type="ndarray")
        return found
    rows = []
    for i in range(0, len(points), _ROWS):
        some = points[i : i + _ROWS]
        near = i + np.flatnonzero(
            ((points[i:] >= some.min(axis=0) - within) & (points[i:] <= some.max(axis=0) + within)).all(axis=1)
        )
        way = some[:, None] - points[near]
        one, other = np.nonzero(np.einsum("ijk,ijk->ij", way, way) <= within * within)
        pairs = np.stack((one + i, near[other]), axis=1)
        rows.append(pairs[pairs[:, 0] < pairs[:, 1]])
    return np.concatenate(rows)


@lru_cache(64)
def pairs_apart(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """All pairs i, j of ``count`` things in a row with at least one between them."""
    i, j = np.triu_indices(count, 2)
    return i, j


def least_between(start: Array, end: Array, first: NDArray[np.intp], second: NDArray[np.intp]) -> Array:
    """Distances between pairs of straight segments, (m,) in mm.

    Args:
        start, end: (n, 3) ends of the segments, mm.
        first, second: (m,) the segments of each pair.
    """
    way = end - start
    return segments_apart(start[first], way[first], start[second], way[second])[0]


def segments_apart(p: Array, u: Array, q: Array, v: Array) -> tuple[Array, Array]:
    """Distances of segments p + s u and q + t v, 0 <= s, t <= 1, row by row, and the places on the first ones.

    The closest points of two lines, held to the segments in turn (Ericson, Real-Time Collision Detection, 5.1.9,
    from memory). A segment may be a point.
    """
    w = p - q
    uu, vv, uv = (u * u).sum(axis=1), (v * v).sum(axis=1), (u * v).sum(axis=1)
    uw, vw = (u * w).sum(axis=1), (v * w).sum(axis=1)
    det = uu * vv - uv * uv
    flat = det <= 1e-12 * uu * vv
    s = np.clip(np.where(flat, 0.5, (uv * vw - vv * uw) / np.where(flat, 1.0, det)), 0.0, 1.0)
    t = np.clip((uv * s + vw) / np.where(vv > 0.0, vv, 1.0), 0.0, 1.0)
    s = np.clip((uv * t - uw) / np.where(uu > 0.0, uu, 1.0), 0.0, 1.0)
    place = p + s[:, None] * u
    return np.linalg.norm(place - q - t[:, None] * v, axis=1), place
