"""Does something refer to itself, by way of others? Asked of a file's references before a library follows them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Ints

#: References in a row, each to the next, that are followed; what programs write has some dozens.
DEEPEST_CHAIN = 20_000


def in_cycle(owners: Ints, targets: Ints, count: int) -> int | None:
    """One that refers to itself by way of others, or begins a chain of more than `DEEPEST_CHAIN`; None for none.

    The time is that of sorting the references.

    Args:
        owners, targets: (n,) who refers to whom, as numbers from 0.
        count: how many there are.
    """
    # each refers to what stands before it, or each to what stands behind it: most programs write so
    if not len(owners) or bool((owners < targets).all()) or bool((owners > targets).all()):
        return None
    left = _left(owners, targets, count)
    inside = left[owners] & left[targets]
    if not inside.any():
        return None
    following = dict(zip(owners[inside].tolist(), targets[inside].tolist(), strict=True))
    at, seen = next(iter(following)), set[int]()
    while at not in seen and at in following:
        seen.add(at)
        at = following[at]
    return int(at)


def _left(owners: Ints, targets: Ints, count: int) -> NDArray[np.bool_]:
    """What is left when those that refer to nothing that is left are taken away, round by round."""
    order = np.argsort(targets, kind="stable")
    by_target = owners[order]
    begins = np.searchsorted(targets[order], np.arange(count + 1))
    refers = np.bincount(owners, minlength=count)
    left = np.ones(count, dtype=bool)
    front = np.flatnonzero(refers == 0)
    for _ in range(DEEPEST_CHAIN):
        if not len(front):
            break
        left[front] = False
        sizes = begins[front + 1] - begins[front]
        # rows of the references to all of the front, side by side
        steps = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        who, times = np.unique(by_target[np.repeat(begins[front], sizes) + steps], return_counts=True)
        refers[who] -= times
        front = who[refers[who] == 0]
    return left
