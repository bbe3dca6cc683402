"""Which points lie together: single-linkage clusters without a quadratic scan.

Points go into the cells of a grid a few tolerances wide; a point just above a cell's lower
wall goes into the cell below too, so that two points within the tolerance always share a
cell. Cells are found by sorting one integer per entry; distances decide, the integers only
propose. Everything is relative to the points' own lowest corner, so a drawing 1e7 mm from
the origin keeps its decimals.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from converter.arrays import Array, Ints, distinct

#: Odd multipliers that spread three cell numbers over one 64-bit integer (collisions only cost time).
_MIX = np.array([73856093 * 83492791 * 2 + 1, 19349663 * 49979687 * 2 + 1, 15485863 * 32452843 * 2 + 1], dtype=np.int64)
#: The grid's origin is shifted by these parts of a cell: round coordinates must not sit on walls.
_PHASE = np.array([0.3819660113, 0.4142135624, 0.3660254038])
#: Cell width in tolerances: wide cells need few double entries, narrow ones propose fewer pairs.
_WIDE, _NARROW = 8.0, 1.0
#: Proposed pairs per point above which the narrow grid, then thinning, is used.
_CROWDED = 40


def cell_entries(points: Array, tol: float, width: float) -> tuple[Ints, Ints]:
    """Sorted cell keys and the point each entry stands for; two points within ``tol`` share a key.

    Args:
        points: (n, d) array, d <= 3.
        tol: distance per axis that must not be torn apart.
        width: cell width, >= tol.
    """
    n, d = points.shape
    if n == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    cells = (points - points.min(axis=0)) / width + _PHASE[:d]
    floor = np.floor(cells)
    low = (cells - floor) < (tol / width) * (1.0 + 1e-6)
    base = floor.astype(np.int64) @ _MIX[:d]
    keys, index = [base], [np.arange(n)]
    for mask in range(1, 1 << d):
        axes = [a for a in range(d) if mask >> a & 1]
        rows = np.flatnonzero(low[:, axes].all(axis=1))
        if rows.size:
            keys.append(base[rows] - int(_MIX[axes].sum()))
            index.append(rows)
    key, who = np.concatenate(keys), np.concatenate(index)
    order = np.argsort(key, kind="stable")
    return key[order], who[order]


def _shifts(key: Ints) -> Iterator[tuple[Ints, int]]:
    """Positions i and shift s such that entries i and i + s share a key: every pair of every group once."""
    n = key.size
    at = np.flatnonzero(key[1:] == key[:-1])
    shift = 1
    while at.size:
        yield at, shift
        shift += 1
        at = at[at + shift < n]
        at = at[key[at + shift] == key[at]]


def _proposed(key: Ints) -> int:
    """How many pairs the groups of equal keys propose."""
    bounds = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1], [True])))
    sizes = np.diff(bounds)
    return int((sizes * (sizes - 1) // 2).sum())


def close_pairs(points: Array, tol: float) -> tuple[Ints, Ints]:
    """Pairs (i, j), i < j, of points not farther apart than ``tol``, each pair once.

    Where points are so crowded that there would be very many pairs, those within a quarter of
    the tolerance are paired in a row and only one of them is compared with the rest: what hangs
    together still hangs together, and time stays near-linear.

    Args:
        points: (n, 3) array.
        tol: > 0.
    """
    n = len(points)
    key, who = cell_entries(points, tol, _WIDE * tol)
    many = _CROWDED * n + 1000
    if _proposed(key) > many:
        key, who = cell_entries(points, tol, _NARROW * tol)
        if _proposed(key) > many:
            return _thinned_pairs(points, tol)
    return _pairs_in_cells(points, tol, key, who)


def _pairs_in_cells(points: Array, tol: float, key: Ints, who: Ints) -> tuple[Ints, Ints]:
    n = len(points)
    found = []
    for at, shift in _shifts(key):
        a, b = who[at], who[at + shift]
        step = points[a] - points[b]
        near = (step * step).sum(axis=1) <= tol * tol
        if near.any():
            a, b = a[near], b[near]
            found.append(np.minimum(a, b) * n + np.maximum(a, b))
    if not found:
        none = np.zeros(0, dtype=np.int64)
        return none, none
    code = distinct(np.concatenate(found))
    return code // n, code % n


def _thinned_pairs(points: Array, tol: float) -> tuple[Ints, Ints]:
    # a cell of a quarter tolerance has a diagonal of 0.43 tolerances: its points all belong together
    key, who = cell_entries(points, 0.0, tol / 4.0)
    same = key[1:] == key[:-1]
    step = points[who[1:]] - points[who[:-1]]
    same &= (step * step).sum(axis=1) <= tol * tol
    heads = who[np.concatenate(([True], ~same))]
    key2, who2 = cell_entries(points[heads], tol, _NARROW * tol)
    a, b = _pairs_in_cells(points[heads], tol, key2, who2)
    return np.concatenate((who[:-1][same], heads[a])), np.concatenate((who[1:][same], heads[b]))


def components(n: int, a: Ints, b: Ints) -> Ints:
    """Label of each of ``n`` items, the lowest member of its group, when items a[k] and b[k] belong together."""
    label = np.arange(n)
    while a.size:
        least = np.minimum(label[a], label[b])
        np.minimum.at(label, label[a], least)
        np.minimum.at(label, label[b], least)
        while True:
            jumped = label[label]
            if np.array_equal(jumped, label):
                break
            label = jumped
        apart = label[a] != label[b]
        a, b = a[apart], b[apart]
    return label


def same_points(points: Array, tol: float) -> Ints:
    """Label per point, the lowest index of its cluster, for a ``tol`` far below any distance that matters.

    Unlike `close_pairs` it costs nothing extra where thousands of points coincide.

    Args:
        points: (n, 3) array.
        tol: points within it are one point.
    """
    key, who = cell_entries(points, tol, _WIDE * tol)
    same = key[1:] == key[:-1]
    step = points[who[1:]] - points[who[:-1]]
    near = (step * step).sum(axis=1) <= tol * tol
    links = same & near
    a, b = [who[:-1][links]], [who[1:][links]]
    torn = same & ~near
    if torn.any():  # some cell holds two different points: look at all pairs of those cells
        mixed = np.isin(key, distinct(key[1:][torn]))
        c, d = _pairs_in_cells(points, tol, key[mixed], who[mixed])
        a.append(c)
        b.append(d)
    return components(len(points), np.concatenate(a), np.concatenate(b))


def split_at_gaps(group: Ints, values: Array, tol: float | Array) -> tuple[Ints, Ints]:
    """Refine groups along a number line: within a group, neighbours more than ``tol`` apart part company.

    Args:
        group: (n,) group of each item.
        values: (n,) place of each item.
        tol: one number, or (n,) the tolerance of each item's group.

    Returns:
        (order, new): items sorted by group and place, and the refined group of each in that order.
    """
    order = np.lexsort((values, group))
    g, v = group[order], values[order]
    limit = tol if isinstance(tol, float) else tol[order][1:]
    breaks = (g[1:] != g[:-1]) | (np.diff(v) > limit)
    return order, np.concatenate(([0], np.cumsum(breaks)))


def keep_shared(items: Ints, group: Ints) -> tuple[Ints, Ints]:
    """Only the items whose (sorted) group has two or more members."""
    if items.size < 2:
        return items[:0], group[:0]
    same = group[1:] == group[:-1]
    shared = np.concatenate(([False], same)) | np.concatenate((same, [False]))
    return items[shared], group[shared]
