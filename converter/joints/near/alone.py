"""Which tubes of a drawing lie too far from all others to be cut to them, found without looking at their shape.

Tubes that are drawn one beside the other, each for itself, are told by this before any joint is looked for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array
from converter.joints.finding.contacts import reach_of_ends
from converter.model.run import Run, Tube
from converter.tolerances import Tolerances

#: Pairs of boxes to compare, per tube: where more share a strip of the drawing, none is taken to lie alone.
_PAIRS_EACH = 400


def lying_alone(tubes: Sequence[Tube], tol: Tolerances) -> NDArray[np.bool_]:
    """Of each tube whether no other comes so near that an end of one could be cut to the other.

    A tube lies within the ellipsoid whose foci are its ends and whose long axis is its length (elementary). Boxes
    around these that stay apart are proof; what is no proof counts as near.

    Args:
        tubes: of the whole job.
        tol: ``near`` is how far an end may be drawn short of its mate, or past it.
    """
    count = len(tubes)
    if count < 2:
        return np.ones(count, dtype=np.bool_)
    half = max((tube.section.outer.half_diagonal for tube in tubes if tube.section is not None), default=0.0)
    low, high = _boxes([tube.run for tube in tubes])
    # twice as far as an end looks for its mate
    high = high + 2.0 * reach_of_ends(half, tol)
    order, many = min((_strips(low[:, axis], high[:, axis]) for axis in range(3)), key=lambda one: int(one[1].sum()))
    if int(many.sum()) > _PAIRS_EACH * count:
        return np.zeros(count, dtype=np.bool_)
    first = np.repeat(np.arange(count), many)
    second = first + 1 + np.arange(len(first)) - np.repeat(np.cumsum(many) - many, many)
    one, other = order[first], order[second]
    near = ((low[one] <= high[other]) & (low[other] <= high[one])).all(axis=1)
    alone = np.ones(count, dtype=np.bool_)
    alone[one[near]] = alone[other[near]] = False
    return alone


def _boxes(runs: Sequence[Run]) -> tuple[Array, Array]:
    """The least and the greatest coordinates (n, 3) that each run may have, mm."""
    start, end = np.array([run.start for run in runs]), np.array([run.end for run in runs])
    # a straight that came out negative is gone back over
    backward = np.array([sum(min(straight, 0.0) for straight in run.table.straights) for run in runs])
    long = np.array([run.table.developed_length for run in runs]) - 2.0 * backward
    way = end - start
    # (s w)^2 + b^2 (1 - s^2) for a direction that makes the cosine s with the axis, where 4 b^2 = long^2 - way^2
    wide = np.sqrt(np.maximum(long * long - (way * way).sum(axis=1), 0.0)[:, None] + way * way) / 2.0
    middle = (start + end) / 2.0
    return middle - wide, middle + wide


def _strips(low: Array, high: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The boxes in the order of where they begin along an axis, and how many others begin within each."""
    order = np.argsort(low, kind="stable")
    ends = np.searchsorted(low[order], high[order], "right")
    return order, np.maximum(ends - np.arange(len(order)) - 1, 0)
