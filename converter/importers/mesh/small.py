"""Small symmetric systems without a BLAS: its threads cost more than they save, and much more on a busy machine."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def solve_spd(matrix: Array, right: Array) -> Array | None:
    """x with matrix x = right by elimination, scaled to a unit diagonal; None where it is singular.

    Args:
        matrix: (n, n) symmetric, positive definite.
        right: (n,) or (n, m).
    """
    diagonal = np.diag(matrix)
    if not bool((diagonal > 0.0).all()):
        return None
    scale = 1.0 / np.sqrt(diagonal)
    columns = right if right.ndim == 2 else right[:, None]
    n = len(matrix)
    work = np.concatenate((matrix * scale[:, None] * scale, columns * scale[:, None]), axis=1)
    for k in range(n):
        pivot = work[k, k]
        if not pivot > 1e-13:
            return None
        work[k, k:] /= pivot
        below = work[k + 1 :]
        below[:, k:] -= below[:, k : k + 1] * work[k, k:]
    for k in range(n - 1, 0, -1):
        work[:k, n:] -= work[:k, k : k + 1] * work[k, n:]
    found = work[:, n:] * scale[:, None]
    if not bool(np.isfinite(found).all()):
        return None
    answer: Array = found if right.ndim == 2 else found[:, 0]
    return answer
