"""Slivers: lines no longer than the join tolerance that trimming or snapping left at a corner or an end.

Read as it is drawn, a sliver is a corner of its own, which no die bends. A chord of a curve is no sliver: it lies
between chords, and turns little from one to the next.
"""

from __future__ import annotations

import numpy as np

from converter.arrays import Ints
from converter.reducer.chaining.edges import LINE, Edges
from converter.tolerances import Tolerances

#: Degrees that a sliver turns off what it joins, at one end at least; chords of a curve turn less (our choice).
_SHARP = 20.0
#: What it joins is longer than so many join tolerances.
_LONGER = 4.0


def slivers(edges: Edges, node: Ints, tol: Tolerances) -> tuple[set[int], Ints]:
    """The slivers among edges, and the nodes as they are without them: the two ends of one that lies between are one.

    Args:
        edges: the curves.
        node: (2n,) node of each end.
        tol: ``join`` is how long a sliver is at most.
    """
    chords = edges.chords
    likely = (edges.kind == LINE) & (chords <= tol.join) & (node[0::2] != node[1::2])
    found: set[int] = set()
    if not likely.any() or not (chords > _LONGER * tol.join).any():
        return found, node
    order = np.argsort(node, kind="stable")
    bounds = np.searchsorted(node[order], np.arange(int(node.max()) + 2))
    for i in np.flatnonzero(likely).tolist():
        own = (2 * i, 2 * i + 1)
        # the node of an end, without that end
        beside = [[e for e in order[bounds[node[end]] : bounds[node[end] + 1]].tolist() if e != end] for end in own]
        others = [e for ends in beside for e in ends]
        if not others or max(map(len, beside)) > 1:
            continue
        if any(chords[e >> 1] <= _LONGER * tol.join or edges.layer[e >> 1] != edges.layer[i] for e in others):
            continue
        if max(_turns(edges, [(end, *ends) for end, ends in zip(own, beside, strict=True) if ends])) > _SHARP:
            found.add(i)
    if not found:
        return found, node
    # what a sliver joins is longer, so none of these nodes is another one's
    first = 2 * np.array(sorted(found))
    number = np.arange(int(node.max()) + 1)
    number[node[first + 1]] = node[first]
    return found, number[node]


def _turns(edges: Edges, joints: list[tuple[int, int]]) -> list[float]:
    """Degrees between the two edges whose ends meet, for each such pair of ends."""
    one, other = (edges.outward(np.array(ends)) for ends in zip(*joints, strict=True))
    cosines = np.clip(-(one * other).sum(axis=1), -1.0, 1.0)
    turns: list[float] = np.degrees(np.arccos(cosines)).tolist()
    return turns
