"""Paths through the sets of bends made: the roomiest, and of those that are alike the simplest.

A set of bends made is a number whose bit i stands for bend i, bends counted from 0 from the end fed first. What can
happen while one bend is made depends only on *which* bends were made before, so an order is a path from the empty
set to the full one, and its room is the least on its way: the widest path, found set by set (dynamic programming).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import inf
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Index

_DIGIT = 4  # bits of one bend's number in an order written as one integer
_NEVER = np.iinfo(np.int64).max
#: Sets of bends of tubes looked at in one go: a bound on memory.
_TOGETHER = 1 << 16


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
        largest: (2^n,) the sets, those of most bends first.
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
    largest: Index

    @property
    def whole(self) -> int:
        """The set of all bends."""
        return (1 << self.count) - 1

    def widest(self, rooms: Array) -> Array:
        """(m,) mm of the roomiest order of each of m tubes; -inf where there is none.

        Args:
            rooms: (m, 2^n, n) mm of each bend after each set of others, -inf where it cannot be made.
        """
        width = np.full(rooms.shape[:2], -inf)
        width[:, 0] = inf
        for sets, bends, before in zip(self.sets, self.bends, self.before, strict=True):
            width[:, sets] = np.minimum(width[:, before], rooms[:, before, bends]).max(axis=2)
        found: Array = width[:, self.whole]
        return found

    def come_by(self, held: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(2^n, n): of what can be held after sets of bends, that after sets which orders come by."""
        return held & self._come_by(held[None])[0, :, None]

    def _come_by(self, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(m, 2^n) to which sets steps lead that are good, of (m, 2^n, n)."""
        come = np.zeros(good.shape[:2], bool)
        come[:, 0] = True
        for sets, bends, before in zip(self.sets, self.bends, self.before, strict=True):
            come[:, sets] = (come[:, before] & good[:, before, bends]).any(axis=2)
        return come

    def on_orders(self, rooms: Array, enough: Array) -> NDArray[np.bool_]:
        """(m, 2^n, n) which bends after which sets of others lie on orders that keep ``enough`` room.

        Args:
            rooms: as for `widest`.
            enough: (m,) mm.
        """
        good = rooms >= enough[:, None, None]
        come = self._come_by(good)
        lead = np.zeros(good.shape[:2], bool)  # to the whole one
        lead[:, self.whole] = True
        good &= come[:, :, None]
        for sets, bends, before in zip(self.sets[::-1], self.bends[::-1], self.before[::-1], strict=True):
            use = good[:, before, bends] & lead[:, sets, None]
            good[:, before, bends] = use
            # a set comes before several: none of them undoes what another one says
            rows, which, last = np.nonzero(use)
            lead[rows, before[which, last]] = True
        return good

    def simplest(self, rooms: Array, enough: Array, names: Index) -> list[list[list[int]]]:
        """Of the orders of each of m tubes that keep ``enough`` room all the way the one with the fewest exchanges.

        Args:
            rooms: as for `widest`.
            enough: (k, m) mm.
            names: (m, n), of orders with as few exchanges the first by these numbers (0 to 15) of the bends is taken.

        Returns:
            k times of each tube the bends in order; nothing where there is no such order.
        """
        shift = _DIGIT * self.count
        cost = np.full((len(enough), *rooms.shape[:2]), _NEVER)
        cost[:, :, 0] = 0
        enough = enough[:, :, None, None]
        for sets, bends, before in zip(self.sets, self.bends, self.before, strict=True):
            old = cost[:, :, before]
            usable = (old != _NEVER) & (rooms[:, before, bends] >= enough)
            # exchanges first, then the order read as one number
            swaps = (old >> shift) + self.swaps[before, bends]
            order = ((old & ((1 << shift) - 1)) << _DIGIT) | names[:, bends]
            cost[:, :, sets] = np.where(usable, (swaps << shift) | order, _NEVER).min(axis=3)
        best = cost[:, :, self.whole]
        digits = best[:, :, None] >> _DIGIT * np.arange(self.count - 1, -1, -1) & ((1 << _DIGIT) - 1)
        bend_of = np.argsort(names, axis=1)[None]
        found: list[list[list[int]]] = np.take_along_axis(bend_of, np.minimum(digits, self.count - 1), axis=2).tolist()
        known: list[list[bool]] = (best != _NEVER).tolist()
        return [
            [order if is_one else [] for order, is_one in zip(*some, strict=True)]
            for some in zip(found, known, strict=True)
        ]


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
    return Lattice(
        count, sets, bends, before, swaps, ~within, ahead, behind, members, np.argsort(-sizes, kind="stable")
    )


@dataclass(slots=True, eq=False)
class OrderQuestion:
    """Which orders of one tube fed from one end may be the one to take.

    Attributes:
        rooms: (2^n, n) mm that each bend after each set of others has at most.
        names: of the bends, as for `Lattice.simplest`.
        sure: mm that some order is known to keep; -inf for none.
        hair: mm; rooms that differ by less are not told apart.
        alike: mm; orders whose rooms differ by less are as good as each other.
        swept: (2^n, n) which rooms are exact.
        more: how many steps of other orders to name.
        most: mm that no order has more room than, once it is answered; -inf where there is no order.
        settled: whether some order is known to keep that, but for a hair.
        orders: the simplest order as good as what is known to be kept (else of the most there may be), and the simplest
            that may be as good as the most.
        others: what to sweep along, since many at once cost little more than few: sets and bends of steps that are not
            swept, on orders of the most there may be, those after most bends first.
    """

    rooms: Array
    names: Sequence[int]
    sure: float
    hair: float
    alike: float
    swept: NDArray[np.bool_]
    more: int
    most: float = -inf
    settled: bool = False
    orders: tuple[list[int], list[int]] = field(default_factory=lambda: ([], []))
    others: list[tuple[int, int]] = field(default_factory=list)


@dataclass(slots=True, eq=False)
class TopQuestion:
    """How much room an order of one tube fed from one end may have at most.

    Attributes:
        rooms: as of an `OrderQuestion`.
        most: mm, once it is answered; -inf where there is no order.
    """

    rooms: Array
    most: float = -inf


Question = TypeVar("Question", TopQuestion, OrderQuestion)


def _together(questions: Sequence[Question]) -> Iterator[tuple[Lattice, Sequence[Question]]]:
    """Questions about tubes of as many bends, so many that their tables fit into memory, with the sets of bends."""
    some: dict[int, list[Question]] = {}
    for one in questions:
        some.setdefault(one.rooms.shape[1], []).append(one)
    for count, alike in some.items():
        several = max(1, _TOGETHER >> count)
        for i in range(0, len(alike), several):
            yield lattice(count), alike[i : i + several]


def answer_tops(questions: Sequence[TopQuestion]) -> None:
    """Answer questions, those of tubes of as many bends together."""
    for sets, alike in _together(questions):
        most = sets.widest(np.stack([one.rooms for one in alike]))
        for question, answer in zip(alike, most.tolist(), strict=True):
            question.most = answer


def answer_orders(questions: Sequence[OrderQuestion]) -> None:
    """Answer questions, those of tubes of as many bends together."""
    for sets, alike in _together(questions):
        _answer_alike(sets, alike)


def _answer_alike(sets: Lattice, questions: Sequence[OrderQuestion]) -> None:
    rooms = np.stack([one.rooms for one in questions])
    names = np.array([one.names for one in questions], np.int64)
    sure, hair, alike = np.array([(one.sure, one.hair, one.alike) for one in questions]).T
    most = sets.widest(rooms)
    known = most <= sure + hair
    first, second = sets.simplest(rooms, np.stack([np.where(known, sure - alike, most), most - alike]), names)
    told = zip(questions, most.tolist(), known.tolist(), first, second, strict=True)
    for one, top, settled, *orders in told:
        one.most, one.settled, one.orders = top, settled, (orders[0], orders[1])
    asked = [i for i, question in enumerate(questions) if question.more]
    if asked:
        for i, on in zip(asked, sets.on_orders(rooms[asked], most[asked]), strict=True):
            question = questions[i]
            made, bends = (some[: question.more] for some in np.nonzero((on & ~question.swept)[sets.largest]))
            question.others = list(zip(sets.largest[made].tolist(), bends.tolist(), strict=True))
