"""Convex hulls of many sets of points, side by side."""

from __future__ import annotations

from collections.abc import Sequence

from converter.arrays import Array, Ints


def hulls(sets: Sequence[Array]) -> list[Array]:
    """The convex hull of each set of points (n, 2), counter-clockwise from its lowest x; of under three the points.

    As in Andrew's monotone chain the points are put in order, and of the chain below and of the one above all is left
    out that turns the wrong way, here in all chains at once: a point on or above the line between two others is on no
    lower hull, whether or not those two are.
    """
    import numpy as np

    if not sets:
        return []
    points = np.concatenate(sets)
    of = np.repeat(np.arange(len(sets)), [len(one) for one in sets])
    order = np.lexsort((points[:, 1], points[:, 0], of))
    points, of = points[order], of[order]
    new = np.ones(len(of), dtype=bool)
    new[1:] = (of[1:] != of[:-1]) | (points[1:] != points[:-1]).any(axis=1)
    points, of = points[new], of[new]
    below, above = _chain(points, of), _chain(points[::-1], of[::-1])
    starts = np.arange(len(sets) + 1)
    low, high = np.searchsorted(below[1], starts).tolist(), np.searchsorted(-above[1], -starts, "right").tolist()
    found = []
    for i in range(len(sets)):
        under, over = below[0][low[i] : low[i + 1]], above[0][high[i + 1] : high[i]]
        found.append(np.concatenate((under[:-1], over[:-1])) if len(under) + len(over) > 4 else under)
    return found


def _chain(points: Array, of: Ints) -> tuple[Array, Ints]:
    """Of points in order, set after set, those at which the chain of their set turns left, and its ends."""
    import numpy as np

    while True:
        a, b, c = points[:-2], points[1:-1], points[2:]
        ahead, on = b - a, c - a
        wrong = np.zeros(len(of), dtype=bool)
        wrong[1:-1] = (of[:-2] == of[2:]) & (ahead[:, 0] * on[:, 1] <= ahead[:, 1] * on[:, 0])
        if not wrong.any():
            return points, of
        # every second of those in a row: of two that rounding alone keeps apart, on a corner, each seems to turn wrong
        places = np.arange(len(of))
        first = np.maximum.accumulate(np.where(wrong, 0, places + 1))
        kept = ~wrong | ((places - first) % 2 == 1)
        points, of = points[kept], of[kept]
