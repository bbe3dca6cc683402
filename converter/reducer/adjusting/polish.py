"""The last step for noisy data: every number of the table at once, by least squares on the vertices.

Pieces fitted one by one know nothing of each other; a short straight between two bends then
has a poor direction although what follows it is long and well known. Here start, directions,
straights, rotations, angles and fitted radii change together until the vertices' distances
from the tube are least (Gauss-Newton), in time linear in the bends (`linear`, `walk`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec
from converter.model.bends import BendTable, Placement
from converter.reducer.adjusting.linear import RowVertices, linearized
from converter.reducer.adjusting.walk import WalkSolution, solve_walk

STEPS = 12
MOST_VERTICES = 60  #: per piece; more say the same again


@dataclass(frozen=True, slots=True)
class Polished:
    """A table in place, and three standard deviations of each bend's radius in mm."""

    table: BendTable
    placement: Placement
    loose: tuple[float, ...]


def polish(
    table: BendTable,
    placement: Placement,
    proofs: list[RowVertices],
    fixed: set[int],
    end: Vec,
    start: Vec | None = None,
    steps: int = STEPS,
) -> Polished | None:
    """The table and placement closest to the vertices.

    Args:
        table: where to begin; feeds of 0 stay 0.
        placement: where it stands.
        proofs: the vertices of each piece.
        fixed: rows whose radius was drawn and stays.
        end: drawn point at end B.
        start: drawn point at end A, where the placement does not begin there.
        steps: how many, at most.

    Returns:
        None where the search does not come closer.
    """
    start = placement.start if start is None else start
    linear = linearized(table, placement, proofs, fixed, start, end)
    first = linear.cost
    solution: WalkSolution | None = None
    for _ in range(steps):
        try:
            solution = solve_walk(linear.steps)
        except np.linalg.LinAlgError:
            break
        size = 1.0
        while size > 0.05:
            moved = linear.moved(solution.state, solution.unknowns, size)
            if moved is not None:
                after = linearized(*moved, proofs, fixed, start, end)
                if after.cost < linear.cost:
                    break
            size /= 2.0
        else:
            break
        gain = linear.cost - after.cost
        linear, solution = after, None
        if gain <= 1e-9 * linear.cost:
            break
    if linear.cost > first:
        return None
    spread = [0.0] * len(table.bends)
    free = linear.residuals - linear.unknowns
    try:
        solution = solution or solve_walk(linear.steps)
    except np.linalg.LinAlgError:
        free = 0
    if free > 0 and solution is not None:
        for row, (names, variances) in enumerate(zip(linear.names, solution.variances, strict=True)):
            for kind, variance in zip(names, variances.tolist(), strict=True):
                if kind == "radius":
                    spread[row] = 3.0 * sqrt(linear.cost / free * variance)
    return Polished(linear.table, linear.placement, tuple(spread))


def thinned(points: Array) -> Array:
    """At most `MOST_VERTICES` of the rows of points, evenly."""
    if len(points) <= MOST_VERTICES:
        return points
    picked: Array = points[np.linspace(0, len(points) - 1, MOST_VERTICES).astype(np.intp)]
    return picked
