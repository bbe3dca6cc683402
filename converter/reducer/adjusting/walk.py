"""Linear least squares along a walk: what happens at a step moves all that comes after it, and nothing before.

Written as one system, such a problem is dense: the last vertex of a tube depends on every straight and bend before
it. Step by step it has a state of a few numbers (how far the walk has moved so far), and is solved backward and forward
in time linear in the steps: the square-root information form of the Kalman smoother (Bierman 1977, "Factorization
Methods for Discrete Sequential Estimation", from memory). Only orthogonal transformations, no normal equations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from converter.arrays import Array

BLOCK = 256  #: equations that are reduced together
DAMPING = 1e-6  #: of an unknown's own size: decides what nothing else does, in favor of no change


@dataclass(frozen=True, slots=True)
class WalkStep:
    """Equations ``a @ s + c @ x = b`` of a step, and the state after it, ``f @ s + g @ x``.

    Attributes:
        a: (m, states), c: (m, unknowns), b: (m,).
        f: (states, states), g: (states, unknowns).
    """

    a: Array
    c: Array
    b: Array
    f: Array
    g: Array


@dataclass(frozen=True, slots=True)
class WalkSolution:
    """The state before the first step, the unknowns of each step, and their variances for equations of variance 1."""

    state: Array
    unknowns: tuple[Array, ...]
    variances: tuple[Array, ...]


def solve_walk(steps: Sequence[WalkStep]) -> WalkSolution:
    """The least squares solution of all steps together.

    Args:
        steps: at least one; how many unknowns a step has may differ, and be none.

    Raises:
        np.linalg.LinAlgError: it has no solution in finite numbers.
    """
    states = steps[0].a.shape[1]
    ahead = np.zeros((0, states + 1))  # equations of all that follows, in the state before it
    own: list[tuple[Array, Array, Array]] = []
    for step in reversed(steps):
        count = step.c.shape[1]
        later = np.column_stack((ahead[:, :states] @ step.g, ahead[:, :states] @ step.f, ahead[:, states]))
        rows = np.concatenate((np.column_stack((step.c, step.a, step.b)), later))
        r = _triangle(rows, count)
        own.append((r[:count, :count], r[:count, count:-1], r[:count, -1]))
        ahead = r[count : count + states, count:]
    first = _triangle(ahead, states)
    root, right = first[:states, :states], first[:states, states]
    inverse = np.linalg.inv(root)
    state, spread = inverse @ right, inverse @ inverse.T
    begun = state
    unknowns, variances = [], []
    for step, (xx, xs, z) in zip(steps, reversed(own), strict=True):
        inverse = np.linalg.inv(xx)
        gain = inverse @ xs
        x = inverse @ z - gain @ state
        unknowns.append(x)
        through = np.maximum(np.einsum("ij,jk,ik->i", gain, spread, gain), 0.0)
        variances.append(np.einsum("ij,ij->i", inverse, inverse) + through)
        onward = step.f - step.g @ gain
        loose = step.g @ inverse
        spread = onward @ spread @ onward.T + loose @ loose.T
        state = step.f @ state + step.g @ x
    if not all(np.isfinite(x).all() for x in (begun, *unknowns)):
        raise np.linalg.LinAlgError("a walk without a finite solution")
    return WalkSolution(begun, tuple(unknowns), tuple(variances))


def _triangle(rows: Array, damped: int) -> Array:
    """The triangle of equations (m, unknowns + 1), its first ``damped`` unknowns held by a trace of damping.

    Long ones are reduced block by block, of each its triangle: a threaded LAPACK is slower by far where they are long.
    """
    width = rows.shape[1]
    size = np.sqrt(np.einsum("ij,ij->j", rows[:, :damped], rows[:, :damped]))
    held = np.zeros((width, width))
    held[:damped, :damped] = np.diag(DAMPING * np.where(size > 0.0, size, 1.0))
    r = np.concatenate((rows, held))
    block = max(BLOCK, 2 * width)
    while len(r) > block:
        rest = np.zeros((-len(r) % block, width))
        r = _reduced(np.concatenate((r, rest)).reshape(-1, block, width)).reshape(-1, width)
    return _reduced(r)


def _reduced(blocks: Array) -> Array:
    """The triangle of each block of equations."""
    triangles: Array = np.asarray(np.linalg.qr(blocks, mode="r"))
    return triangles
