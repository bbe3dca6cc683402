"""How near a long thin body comes to itself: points along a curve, numpy."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def self_approach(points: Array, place: Array, apart: float, ends: float) -> tuple[float, float] | None:
    """The least distance between points of a curve that lie far apart along it.

    Args:
        points: (n, 3) along the curve, mm.
        place: (n,) their places along it, mm, increasing.
        apart: only pairs further apart along the curve than this count.
        ends: points nearer to either end of the curve than this do not count.

    Returns:
        The distance in mm and the place of the later point; None where no pair counts.
    """
    inside = (place >= place[0] + ends) & (place <= place[-1] - ends)
    points, place = points[inside], place[inside]
    best: tuple[float, float] | None = None
    # blocks keep the table of distances small on a long tube
    for lo in range(0, len(points), 256):
        block = points[lo : lo + 256]
        d = np.sqrt(((block[:, None, :] - points[None, :, :]) ** 2).sum(axis=2))
        d[np.abs(place[lo : lo + 256, None] - place[None, :]) <= apart] = np.inf
        if d.size and float(d.min()) < (best[0] if best else np.inf):
            i, j = np.unravel_index(int(d.argmin()), d.shape)
            best = (float(d[i, j]), float(max(place[lo + i], place[j])))
    return best


@lru_cache(64)
def pairs_apart(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """All pairs i, j of ``count`` things in a row with at least one between them."""
    i, j = np.triu_indices(count, 2)
    return i, j


def least_between(start: Array, end: Array, first: NDArray[np.intp], second: NDArray[np.intp]) -> Array:
    """Distances between pairs of straight segments.

    Args:
        start, end: (n, 3) ends of the segments, mm.
        first, second: (m,) the segments of each pair.

    Returns:
        (m,) distances in mm: the closest points of two lines, held to the segments
        (Ericson, Real-Time Collision Detection, 5.1.9, from memory).
    """
    p, q = start[first], start[second]
    u, v = end[first] - p, end[second] - q
    w = p - q
    a, b, c = (np.einsum("ij,ij->i", x, y) for x, y in ((u, u), (u, v), (v, v)))
    d, e = np.einsum("ij,ij->i", u, w), np.einsum("ij,ij->i", v, w)
    det = a * c - b * b
    s = np.clip(np.where(det > 1e-12 * a * c, (b * e - c * d) / np.where(det > 0.0, det, 1.0), 0.0), 0.0, 1.0)
    t = (b * s + e) / np.where(c > 0.0, c, 1.0)
    over = np.clip(t, 0.0, 1.0)
    s = np.where(over == t, s, np.clip((b * over - d) / np.where(a > 0.0, a, 1.0), 0.0, 1.0))
    gap = w + s[:, None] * u - over[:, None] * v
    distances: Array = np.sqrt(np.einsum("ij,ij->i", gap, gap))
    return distances
