"""Ends cut at a slant that share one cut with a neighbour's: how much of a bar pieces save so, and in which row.

Pieces are edges between the kinds of their ends; a row in which neighbours share cuts is a trail through them. So of a
kind with d ends at most d // 2 cuts are shared, and one less in a part of the pieces that closes to a ring, since a bar
is no ring (Euler 1736: a connected graph is one trail with two odd nodes at most). The tests try every row.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from converter.arrays import Array, Ints

#: Kinds whose odd ends and rings a filling keeps count of; the loss of others is left out of a bound.
_COUNTED = 2


class Placed(NamedTuple):
    """A piece in its row: which, whether its second end is in front, and the kind of the cut shared behind it or 0."""

    piece: int
    turned: bool
    shared: int


class Sharing:
    """What pieces save where their ends share cuts.

    Args:
        ends: of each piece the kinds of its two ends; 0 for an end that shares no cut.
        savings: mm that two ends of kind 1, 2 ... save in one cut.
        sizes: room that each piece takes alone, mm. A piece that two shared cuts would leave nothing of shares none.
    """

    def __init__(self, ends: Sequence[tuple[int, int]], savings: Sequence[float], sizes: Array) -> None:
        self.savings = np.array([0.0, *savings])
        self.ends = [
            pair if size > float(self.savings[list(pair)].sum()) else (0, 0)
            for pair, size in zip(ends, sizes, strict=True)
        ]
        kinds = len(self.savings)
        self._degrees = np.zeros((len(self.ends), kinds), dtype=np.int64)
        for i, pair in enumerate(self.ends):
            for kind in pair:
                self._degrees[i, kind] += 1
        #: Of each piece, what it saves at most: half of each shared cut.
        self.halves: Array = self._degrees @ self.savings / 2.0
        #: What a filling saves less than its halves, at most.
        self.most_lost = float(self.savings.sum())
        worth = self._degrees.sum(axis=0) * self.savings
        self._counted = [int(k) for k in np.argsort(-worth, kind="stable") if worth[k] > 0.0][:_COUNTED]
        self._states = [(0, False, False)]  # odd kinds as bits, whether any end is one that ends a row, whether any is
        for state in self._states:
            for i in range(len(self.ends)):
                after = self._after(state, i, 1)
                if after not in self._states:
                    self._states.append(after)
        #: Of each state of `moves`, what is lost at least, mm.
        self.losses: Array = np.array([self._least_lost(state) for state in self._states])

    def moves(self, piece: int, times: int) -> list[int]:
        """Of each state, the state that a number of a piece leads to."""
        return [self._states.index(self._after(state, piece, times)) for state in self._states]

    def lost(self, counts: Ints) -> float:
        """What pieces save less than their halves in the best row, mm."""
        if not self._counted:
            return 0.0
        degrees = counts @ self._degrees
        lost = float(self.savings[(degrees % 2 == 1)].sum()) / 2.0
        for kinds, closed in self._parts(counts, degrees):
            if closed:
                lost += min(float(self.savings[k]) for k in kinds)
        return lost

    def row(self, counts: Ints, sizes: Array) -> list[Placed]:
        """The row that saves most; trails in the order of their longest piece.

        Args:
            counts: how many of each piece.
            sizes: of the pieces, mm: the longest first.
        """
        trails = self._trails(counts)
        keyed = [(-max(float(sizes[p.piece]) for p in trail), min(p.piece for p in trail), trail) for trail in trails]
        return [placed for *_, trail in sorted(keyed) for placed in trail]

    def _after(self, state: tuple[int, bool, bool], piece: int, times: int) -> tuple[int, bool, bool]:
        odd, ended, _ = state
        counted = [self._counted.index(kind) for kind in self.ends[piece] if kind in self._counted]
        if not counted:
            return state
        for place in counted:
            odd ^= (times % 2) << place
        return odd, ended or len(counted) == 1, True

    def _least_lost(self, state: tuple[int, bool, bool]) -> float:
        odd, ended, shared = state
        if shared and not ended and not odd:
            return min(float(self.savings[kind]) for kind in self._counted)
        return sum(float(self.savings[kind]) / 2.0 for at, kind in enumerate(self._counted) if odd >> at & 1)

    def _parts(self, counts: Ints, degrees: Ints) -> list[tuple[list[int], bool]]:
        """Kinds that pieces connect, and whether these pieces close to a ring."""
        part = list(range(len(self.savings)))
        ended = set()
        for i in np.flatnonzero(counts):
            one, other = self.ends[i]
            if one and other:
                part = [part[one] if label == part[other] else label for label in part]
            elif one or other:
                ended.add(one or other)
        kinds = [k for k in range(1, len(part)) if degrees[k]]
        groups = [[k for k in kinds if part[k] == label] for label in dict.fromkeys(part[k] for k in kinds)]
        return [(group, not any(k in ended or degrees[k] % 2 for k in group)) for group in groups]

    def _trails(self, counts: Ints) -> list[list[Placed]]:
        """Rows whose pieces all share the cuts between them, none of which could go on in another one."""
        # node 0 stands for everything that ends a row: plain ends, and one end of each kind that is odd
        edges = [(int(i), *self.ends[i]) for i in np.flatnonzero(counts) for _ in range(int(counts[i]))]
        degrees = counts @ self._degrees
        edges += [(-1, 0, int(k)) for k in range(1, len(degrees)) if degrees[k] % 2]
        at: list[list[int]] = [[] for _ in degrees]
        for number, (_, one, other) in enumerate(edges):
            at[one].append(number)
            at[other].append(number)
        for numbers in at:
            numbers.reverse()  # taken from the end
        unused = [True] * len(edges)
        trails = []
        cheapest = sorted(range(1, len(degrees)), key=lambda k: float(self.savings[k]))
        for start in (0, *cheapest):
            while any(unused[number] for number in at[start]):
                steps = _circuit(start, edges, at, unused)
                rows: list[list[Placed]] = [[]]
                for number, front, back in steps:
                    piece, one, _ = edges[number]
                    if piece >= 0:
                        rows[-1].append(Placed(piece, front != one, back))
                    if back == 0:
                        rows.append([])
                trails += [[*row[:-1], row[-1]._replace(shared=0)] for row in rows if row]
        return trails


def _circuit(
    start: int, edges: list[tuple[int, int, int]], at: list[list[int]], unused: list[bool]
) -> list[tuple[int, int, int]]:
    """A closed walk over all edges that can be reached from a node (Hierholzer 1873): (edge, from, to) each."""
    stack, walk = [(start, -1, -1)], []
    while stack:
        node = stack[-1][0]
        while at[node] and not unused[at[node][-1]]:
            at[node].pop()
        if at[node]:
            number = at[node].pop()
            unused[number] = False
            _, one, other = edges[number]
            stack.append((other if node == one else one, number, node))
        else:
            to, number, came = stack.pop()
            if number >= 0:
                walk.append((number, to, came))  # walked backwards, which is a walk all the same
    return walk
