"""Patterns found by column generation (Gilmore and Gomory 1961, 1963), priced and put together by HiGHS.

The linear program over all patterns is solved by generating them: its prices make a knapsack of each bar, and the
knapsack's best filling is the pattern that helps most. When none helps, its value bounds every way of cutting.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import floor, inf
from time import monotonic

import numpy as np

from converter.arrays import Array, Ints
from converter.nesting.knapsack import COARSE, FINE, Knapsack
from converter.nesting.master import Master, Priced
from converter.nesting.model import SLACK, Saw, StockBar, WantedLength
from converter.nesting.sharing import Sharing

#: Of the objective: a pattern that would gain less than this share is no help.
_HELP = 1e-7
#: Rounds of pricing after which it is looked whether it is worth while to go on, and what is not: a share.
_ROUNDS, _LITTLE = 5, 5e-4
#: Fillings of what is left over by the best one, each of what the one before leaves, for one round of pricing.
_BESIDE = 12
#: Fillings that are looked at for all patterns of a small job.
_ALL = 3_000


@dataclass(frozen=True)
class Relaxed:
    """Solution of the linear program.

    Attributes:
        times: of each pattern, not whole.
        bound: no solution has a lesser objective.
    """

    times: Array
    bound: float


@dataclass
class Patterns:
    """The patterns known so far of one set of pieces and bars.

    Attributes:
        pieces, bars, saw: what is cut, from what, by what.
        deadline: of `time.monotonic`; after it no more are looked for.
        dives: how often a solution is rounded anew at most.
        of_bar: which bar each is of.
        counts: (n, number of pieces), how many of each piece it holds.
    """

    pieces: tuple[WantedLength, ...]
    bars: tuple[StockBar, ...]
    saw: Saw
    deadline: float
    dives: int
    of_bar: list[int] = field(default_factory=list)
    counts: list[Ints] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._numbers: dict[tuple[int, bytes], int] = {}
        #: mm that each piece takes of a bar alone, and beside others that it shares every cut with
        self.alone = np.array([piece.length + self.saw.kerf for piece in self.pieces])
        self.sharing = Sharing([piece.ends for piece in self.pieces], self.saw.savings, self.alone)
        self.sizes = self.alone - self.sharing.halves
        self.rooms = np.maximum(0.0, [self.saw.room(bar.length) + SLACK for bar in self.bars])
        self._knapsacks = [Knapsack(self.sizes, self.rooms, steps, self.sharing) for steps in (COARSE, FINE)]
        self.demand = np.array([piece.count for piece in self.pieces], dtype=np.int64)
        self.most = np.array([inf if bar.count is None else bar.count for bar in self.bars])

    def add(self, bar: int, counts: Ints) -> bool:
        """Note a pattern; whether it is new."""
        key = (bar, counts.tobytes())
        if key in self._numbers or not counts.any():
            return False
        self._numbers[key] = len(self.of_bar)
        self.of_bar.append(bar)
        self.counts.append(counts.copy())
        return True

    def fill_in_order(self) -> tuple[Ints, Ints]:
        """A way to cut what can be cut: bar after bar, free ones first, the longest piece that fits, no cut shared.

        Returns:
            Times of each pattern (all of them are new), and of each piece how many are left out.
        """
        left, cut = self.demand.copy(), dict[int, int]()
        by_length = sorted(range(len(self.pieces)), key=lambda i: -self.alone[i])
        order = sorted(range(len(self.bars)), key=lambda k: (self.bars[k].cost / self.bars[k].length, self.rooms[k]))
        for bar in order:
            times = self.bars[bar].count
            while left.any() and (times is None or times > 0):
                room, counts = float(self.rooms[bar]), np.zeros_like(left)
                for i in by_length:
                    counts[i] = min(left[i], floor(room / self.alone[i]))
                    room -= counts[i] * self.alone[i]
                if not counts.any():
                    break
                self.add(bar, counts)
                number = self._numbers[bar, counts.tobytes()]
                # the same again while there is enough for it
                again = int(np.min(left[counts > 0] // counts[counts > 0]))
                again = again if times is None else min(again, times)
                left -= again * counts
                cut[number] = cut.get(number, 0) + again
                times = None if times is None else times - again
        return np.array([cut.get(i, 0) for i in range(len(self.of_bar))], dtype=np.int64), left

    def add_all(self) -> bool:
        """Note every pattern that takes no further piece, of each bar; whether they are few enough for that."""
        looked = 0
        for bar in np.flatnonzero(self.rooms > 0.0):
            room = float(self.rooms[bar])
            counts = [np.zeros_like(self.demand)]  # those of the pieces so far, of which more may be added
            for i in range(len(self.pieces)):
                grown = list(counts)
                while counts:
                    counts = [more for before in counts if (more := self._with(before, i, room)) is not None]
                    grown += counts
                    looked += len(counts)
                    if looked > _ALL:
                        return False
                counts = grown
            for filling in counts:
                if all(self._with(filling, i, room) is None for i in range(len(self.pieces))):
                    self.add(int(bar), filling)
        return True

    def _with(self, counts: Ints, piece: int, room: float) -> Ints | None:
        """With one more of a piece; None where it does not fit or is not wanted."""
        if counts[piece] >= self.demand[piece]:
            return None
        more = counts.copy()
        more[piece] += 1
        return more if float(self.sizes @ more) + self.sharing.lost(more) <= room else None

    def relax(
        self,
        master: Master,
        wanted: Ints,
        most: Array,
        attainable: Callable[[float], float] | None = None,
        used: Array | None = None,
        spent: float = 0.0,
    ) -> Relaxed:
        """Generate patterns until none helps to cut what is wanted, or time is up.

        Args:
            master: the program over the patterns.
            wanted: of each piece.
            most: bars there are of each kind, inf for any number.
            attainable: the least objective of whole bars that is not below a bound; the search for patterns ends where
                a tighter bound would tell no more. Without it, it ends where patterns help but little.
            used: bars of each kind that a solution within the bound uses at most; as ``most`` when None.
            spent: of the program's budget.
        """
        at_most = np.minimum(most if used is None else np.minimum(most, used), wanted.sum())
        bars = np.flatnonzero((most > 0) & (self.rooms > 0.0))
        coarse, fine = self._knapsacks
        ways = [coarse] if coarse.exact or attainable is None else [coarse, fine]
        objectives, bound = [inf], -inf
        while True:
            solved = master.solve(wanted, most, spent)
            objectives.append(solved.objective)
            if monotonic() > self.deadline:
                return Relaxed(solved.times, bound)
            helped = self._price(ways[0], solved, wanted, bars)
            if attainable is None:
                if not helped or solved.objective > (1.0 - _LITTLE) * objectives[-min(_ROUNDS, len(objectives))]:
                    return Relaxed(solved.times, bound)
            elif len(objectives) % _ROUNDS == 0 or not helped:
                gains = np.maximum(0.0, ways[0].bounds(solved.prices, wanted) - solved.bar_prices)[bars]
                # each bar could gain so much, and no more bars are cut than there are pieces, or than it may cost
                bound = max(bound, solved.objective - float(gains @ at_most[bars]))
                if attainable(bound) >= attainable(solved.objective) or (not helped and len(ways) == 1):
                    return Relaxed(solved.times, bound)
                if not helped:
                    ways.pop(0)

    def _price(self, knapsack: Knapsack, solved: Priced, wanted: Ints, bars: Ints) -> bool:
        """Add patterns that help at the prices of a linear program; whether there was one.

        Beside the best filling of each bar those of what it leaves over, and so on: pieces that are wanted once each
        have their patterns after few rounds.
        """
        help_from = _HELP * max(1.0, abs(solved.objective))
        left, helped = wanted, False
        for _ in range(_BESIDE):
            fillings = knapsack.fill(solved.prices, left)
            gains = np.array([float(solved.prices @ filling) for filling in fillings]) - solved.bar_prices
            added = [self.add(int(bar), fillings[bar]) for bar in bars if gains[bar] > help_from]
            helped |= any(added)
            best = int(bars[np.argmax(gains[bars])])
            if not any(added) or not fillings[best].any():
                break
            left = left - fillings[best]
        return helped
