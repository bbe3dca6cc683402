"""Paths through the sets of bends made: the roomiest, and of those that are alike the simplest.

A set of bends made is a number whose bit i stands for bend i, bends counted from 0 from the end fed first. What can
happen while one bend is made depends only on *which* bends were made before, so an order is a path from the empty
set to the full one, and its room is the least on its way: the widest path, found set by set (dynamic programming).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray

from converter.bending.room.space import Array, Index

_DIGIT = 4  # bits of one bend's number in an order written as one integer
_NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Every set of ``count`` bends, by size.

    Attributes:
        count: n.
        bends: of each size from 1: (m, size) the bends of each set, one of which is made last.
        before: of each size from 1: (m, size) the sets without that bend.
        sets: of each size from 1: (m,) the sets.
        swaps: (2^n, n) how many bends that the simple order makes later are made before that bend.
        open: (2^n, n) whether each bend is not in each set.
        ahead, behind: (2^n, n) the nearest bend of each set before and after each bend; n where there is none.
        members: of each set the bends in it, rising.
    """

    count: int
    sets: tuple[Index, ...]
    bends: tuple[Index, ...]
    before: tuple[Index, ...]
    swaps: Index
    open: NDArray[np.bool_]
    ahead: Index
    behind: Index
    members: tuple[tuple[int, ...], ...]

    @property
    def whole(self) -> int:
        """The set of all bends."""
        return (1 << self.count) - 1

    def widest(self, rooms: Array) -> float:
        """The room in mm of the roomiest order; -inf when there is none.

        Args:
            rooms: (2^n, n) mm of each bend after each set of others, -inf where it cannot be made.
        """
        width = np.full(1 << self.count, -inf)
        width[0] = inf
        for sets, bends, before in zip(self.sets, self.bends, self.before, strict=True):
            width[sets] = np.minimum(width[before], rooms[before, bends]).max(axis=1)
        return float(width[self.whole])

    def come_by(self, held: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(2^n, n): of what can be held after sets of bends, that after sets which orders come by."""
        come = np.zeros(1 << self.count, bool)
        come[0] = True
        for sets, bends, before in zip(self.sets, self.bends, self.before, strict=True):
            come[sets] = (come[before] & held[before, bends]).any(axis=1)
        return held & come[:, None]

    def on_orders(self, rooms: Array, enough: float) -> list[tuple[int, int]]:
        """The sets of bends made, and the bend, that lie on orders which keep ``enough`` room (mm), the longest first.

        Args:
            rooms, enough: as for `simplest`.
        """
        good = rooms >= enough
        come = np.zeros(1 << self.count, bool)  # from the empty set
        come[0] = True
        for sets, bends, before in zip(self.sets, self.bends, self.before, strict=True):
            come[sets] = (come[before] & good[before, bends]).any(axis=1)
        lead = np.zeros(1 << self.count, bool)  # to the whole one
        lead[self.whole] = True
        found: list[tuple[int, int]] = []
        for sets, bends, before in list(zip(self.sets, self.bends, self.before, strict=True))[::-1]:
            use = good[before, bends] & lead[sets][:, None]
            lead[before[use]] = True
            use &= come[before]
            found += zip(before[use].tolist(), bends[use].tolist(), strict=True)
        return found

    def simplest(self, rooms: Array, enough: float, names: Sequence[int]) -> list[int] | None:
        """Of the orders that keep ``enough`` room (mm) all the way the one with the fewest exchanges.

        Args:
            rooms: as for `widest`.
            enough: mm.
            names: of orders with as few exchanges the first by these numbers (0 to 15) of the bends is taken.
        """
        shift = _DIGIT * self.count
        digit = np.asarray(names, np.int64)
        cost = np.full(1 << self.count, _NEVER)
        cost[0] = 0
        for sets, bends, before in zip(self.sets, self.bends, self.before, strict=True):
            old = cost[before]
            usable = (old != _NEVER) & (rooms[before, bends] >= enough)
            # exchanges first, then the order read as one number
            swaps = (old >> shift) + self.swaps[before, bends]
            order = ((old & ((1 << shift) - 1)) << _DIGIT) | digit[bends]
            cost[sets] = np.where(usable, (swaps << shift) | order, _NEVER).min(axis=1)
        best = int(cost[self.whole])
        if best == _NEVER:
            return None
        bend_of = {name: bend for bend, name in enumerate(names)}
        return [bend_of[best >> _DIGIT * i & ((1 << _DIGIT) - 1)] for i in range(self.count - 1, -1, -1)]


@lru_cache(maxsize=16)
def lattice(count: int) -> Lattice:
    """Every set of so many bends."""
    members = tuple(tuple(i for i in range(count) if made >> i & 1) for made in range(1 << count))
    sizes = np.array([len(one) for one in members])
    sets = tuple(np.flatnonzero(sizes == size) for size in range(1, count + 1))
    bends = tuple(np.array([members[made] for made in one], np.intp) for one in sets)
    before = tuple(one[:, None] ^ (1 << last) for one, last in zip(sets, bends, strict=True))
    swaps = sizes[np.arange(1 << count)[:, None] >> (np.arange(count) + 1)]
    within = np.arange(1 << count)[:, None] >> np.arange(count) & 1 > 0
    ahead, behind = np.full(within.shape, count), np.full(within.shape, count)
    for i in range(count):
        ahead[:, i + 1 :][within[:, i]] = i
        last = count - 1 - i
        behind[:, :last][within[:, last]] = last
    return Lattice(count, sets, bends, before, swaps, ~within, ahead, behind, members)
