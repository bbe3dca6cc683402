"""From windows to straights and bends: where the centerline curves, and about which axes.

Every window knows the curvature of its stretch and how surely. Stretches of clear curvature are
bends; a stretch that no single circle fits is cut where two fit it best, again and again.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array
from converter.geometry.circles import fit_circle, fit_line, vec
from converter.geometry.vectors import along, dot, sub, unit
from converter.importers.mesh.stations import Stations, unrest
from converter.model.bends import BendTable, Placement
from converter.reducer.adjusting.settle import settle
from converter.reducer.pieces import Piece, Straight, bow_through
from converter.tolerances import Tolerances

FLATTEST = 0.006  #: times 1 / radius of the tube: less curvature than this is straight
SURE = 6.0  #: standard deviations of a curvature that is one
VOID = 2.5  #: times the usual distance between windows: there the mesh has no vertices
MOST_TRIED = 64  #: places where a stretch is cut that are tried at first; then those around the best
LEVEL = 0.01  #: mm, nominal: only tells the reducer that these pieces are fitted ones


def draft_from_windows(stations: Stations, radius: float) -> tuple[BendTable, Placement] | None:
    """A first table from windows in order (not a closed run's); None where the reducer finds no table.

    Args:
        stations: windows, with curvatures.
        radius: of the tube, mm.
    """
    assert stations.curvatures is not None and stations.curvature_noise is not None
    centers = stations.centers
    size = np.sqrt((stations.curvatures**2).sum(axis=1))
    limit = np.maximum(SURE * np.median(stations.curvature_noise), FLATTEST / radius)
    bent = size > limit
    # a lone window either way is an accident
    for value in (False, True):
        for a, b in _stretches(bent):
            if bent[a] == value and b - a == 1 and a > 0 and b < len(bent) and size[a] < 3.0 * limit:
                bent[a] = not value
    slack = max(0.004 * radius, 5.0 * unrest(centers))
    pieces: list[Piece] = []
    steps = np.sqrt((np.diff(centers, axis=0) ** 2).sum(axis=1))
    voids = np.flatnonzero(steps > VOID * float(np.median(steps))) + 1
    for a, b in _stretches(bent, voids):
        if pieces and a in voids:
            # no vertices at all: only a straight needs none
            p, q = vec(centers[a - 1]), vec(centers[a])
            pieces.append(Straight(p, q, unit(sub(q, p)), centers[a - 1 : a + 1], 0))
        if not bent[a]:
            pieces += _straight(centers, a, b)
        elif b - a < 4:
            lo, hi = max(0, a - 2), min(len(centers), b + 2)
            pieces += bow_through(centers[lo:hi], centers[lo:hi], LEVEL, 0, False)
        else:
            for c, d in _cut(centers, stations.curvatures, a, b, slack):
                pieces += bow_through(centers[c:d], centers[c:d], LEVEL, 0, False)
    pieces = [p for p in pieces if not isinstance(p, Straight) or p.length > 0.0]
    if not pieces:
        return None
    settled = settle(pieces, Tolerances(tangent=40.0))
    return settled.table, settled.placement


def _stretches(mask: NDArray[np.bool_], cuts: NDArray[np.intp] | None = None) -> list[tuple[int, int]]:
    """First and one past the last index of each stretch of equal values, cut also before the indices ``cuts``."""
    edges = np.flatnonzero(mask[1:] != mask[:-1]) + 1
    if cuts is not None:
        edges = np.union1d(edges, cuts)
    bounds = [0, *edges.tolist(), len(mask)]
    return list(pairwise(bounds))


def _straight(centers: Array, a: int, b: int) -> list[Piece]:
    points = centers[a:b]
    if len(points) < 2:
        return []
    point, d, _ = fit_line(points)
    p, q = (along(point, d, dot(sub(vec(e), point), d)) for e in (points[0], points[-1]))
    return [Straight(p, q, d, points, 0)]


def _cut(centers: Array, curvatures: Array, a: int, b: int, slack: float) -> list[tuple[int, int]]:
    """A curved stretch as one bend, or as several end to end."""
    edge = 2 if b - a >= 9 else 1 if b - a >= 6 else 0  # windows at the ends reach into the straights
    whole = _miss(centers[a + edge : b - edge])
    if whole <= slack or b - a < 8:
        return [(a, b)]
    best, at = whole, 0
    every = max(1, (b - a) // MOST_TRIED)
    low, high = a + 4, b - 3
    while True:
        for k in range(low, high, every):
            worst = max(_miss(centers[a + edge : k]), _miss(centers[k : b - edge]))
            if worst < best:
                best, at = worst, k
        if every == 1 or at == 0:
            break
        low, high = max(a + 4, at - every), min(b - 3, at + every)
        every = max(1, every // 8)
    if at == 0 or best > 0.7 * whole:
        return [(a, b)]
    return [*_cut(centers, curvatures, a, at, slack), *_cut(centers, curvatures, at, b, slack)]


def _miss(points: Array) -> float:
    circle = fit_circle(points) if len(points) >= 3 else None
    return circle.residual if circle is not None else 0.0
