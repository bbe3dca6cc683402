"""The numbers of a tube that make its largest miss least: linear programs over the vertices that miss most.

Near a tube each vertex's distance changes linearly with the numbers of the table, so the least largest distance is a
linear program (Cheney and Goldstein 1959, "Newton's method for convex programming and Tchebycheff approximation",
from memory), solved again from where it leads. The program has the state of the walk at every row among its unknowns,
so that it stays sparse however many bends there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from converter.arrays import Array
from converter.reducer.adjusting.linear import LinearTube, RowVertices

STATES = 6  #: of the walk
LENGTHWISE = 0.02  #: of the largest distance: what an end may be off lengthwise


@dataclass(slots=True)
class _SparseRows:
    """Rows of a sparse system, and its right side."""

    rows: list[Array] = field(default_factory=list)
    columns: list[Array] = field(default_factory=list)
    values: list[Array] = field(default_factory=list)
    right: list[Array] = field(default_factory=list)
    count: int = 0

    def add(self, block: Array, right: Array, columns: Array) -> None:
        """Append a block (m, k) that stands in these columns (k,)."""
        size = len(block)
        self.rows.append(np.repeat(np.arange(self.count, self.count + size), len(columns)))
        self.columns.append(np.tile(columns, size))
        self.values.append(block.ravel())
        self.right.append(right)
        self.count += size

    def matrix(self, width: int) -> Any:
        """The system as scipy's sparse matrix, (count, width)."""
        from scipy.sparse import coo_matrix

        places = (np.concatenate(self.rows), np.concatenate(self.columns))
        return coo_matrix((np.concatenate(self.values), places), (self.count, width))


@dataclass(frozen=True, slots=True)
class WalkChange:
    """What a step changes: the state before the first row (shift in mm, turn in radians), and each row's unknowns.

    ``largest`` is the largest distance after it, mm, as far as distances change linearly.
    """

    state: Array
    unknowns: tuple[Array, ...]
    largest: float


def least_largest_step(linear: LinearTube, proofs: Sequence[RowVertices], reach: float) -> WalkChange | None:
    """The step that makes the largest distance of vertices least.

    Args:
        linear: the tube about these vertices.
        proofs: the vertices, without weights, in the order that ``linear`` was made of.
        reach: mm that a row may move in a step, so that distances change about as the program has it.

    Returns:
        None where the program has no solution.
    """
    from scipy.optimize import linprog

    starts = np.cumsum([0, *(STATES + step.c.shape[1] for step in linear.steps)])
    largest = int(starts[-1])  # the last unknown: the largest distance
    near, same = _SparseRows(), _SparseRows()
    bounds = np.tile((-np.inf, np.inf), (largest + 1, 1))
    bounds[largest, 0] = 0.0
    for k, step in enumerate(linear.steps):
        own = np.arange(starts[k], starts[k + 1])
        mine = [proof for proof in proofs if proof.row == k]
        near.add(*_distances(np.concatenate((step.a, step.c), axis=1), step.b, mine), np.append(own, largest))
        extent = max((float(np.ptp(p.points, axis=0).max()) for p in mine), default=0.0)
        limits = np.array([reach] * 3 + [reach / max(extent, 1.0)] * 3)
        bounds[own[:STATES]] = np.stack((-limits, limits), axis=1)
        if k + 1 < len(linear.steps):
            onward = np.concatenate((step.f, step.g, -np.eye(STATES)), axis=1)
            after = np.arange(starts[k + 1], starts[k + 1] + STATES)
            same.add(onward, np.zeros(STATES), np.concatenate((own, after)))
    solved = linprog(
        np.append(np.zeros(largest), 1.0),
        A_ub=near.matrix(largest + 1),
        b_ub=np.concatenate(near.right),
        A_eq=same.matrix(largest + 1) if same.count else None,
        b_eq=np.concatenate(same.right) if same.count else None,
        bounds=bounds,
        method="highs",
    )
    if solved.x is None or not np.isfinite(solved.x).all():
        return None
    parts = np.split(np.asarray(solved.x[:largest], dtype=np.float64), starts[1:-1])
    return WalkChange(parts[0][:STATES], tuple(part[STATES:] for part in parts), float(solved.x[-1]))


def _distances(equations: Array, values: Array, proofs: Sequence[RowVertices]) -> tuple[Array, Array]:
    """Rows and right side of what is to be no more than the largest distance, whose column is the last.

    Of each vertex its distance; of an end its distance lengthwise on both sides, which is to be next to nothing.
    """
    out, misses = [], []
    at = 0
    for proof in proofs:  # two equations a vertex, square to each other
        size = len(proof.points)
        first, second = slice(at, at + size), slice(at + size, at + 2 * size)
        at += 2 * size
        miss = np.hypot(values[first], values[second])
        safe = np.where(miss > 0.0, miss, 1.0)[:, None]
        toward = values[first, None] / safe * equations[first] + values[second, None] / safe * equations[second]
        out.append(np.concatenate((-toward, np.full((size, 1), -1.0)), axis=1))
        misses.append(miss)
    for side in (1.0, -1.0):
        ends = -side * equations[at:]
        out.append(np.concatenate((ends, np.full((len(ends), 1), -LENGTHWISE)), axis=1))
        misses.append(side * values[at:])
    return np.concatenate(out), -np.concatenate(misses)
