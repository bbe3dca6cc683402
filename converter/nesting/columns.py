"""Patterns found by column generation (Gilmore and Gomory 1961, 1963), priced and put together by HiGHS.

The linear program over all patterns is solved by generating them: its prices make a knapsack of each bar, and the
knapsack's best filling is the pattern that helps most. When none helps, its value bounds every way of cutting.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import floor, inf
from time import monotonic

import numpy as np

from converter.nesting.knapsack import COARSE, FINE, Counts, Floats, Knapsack
from converter.nesting.model import Saw, StockBar, WantedLength

#: Of the objective: a pattern that would gain less than this share is no help.
_HELP = 1e-7


@dataclass(frozen=True)
class Program:
    """What is to be least, over patterns.

    Attributes:
        weights: cost of one bar of each kind.
        penalties: cost of each piece that is left out, far above any bar's.
        budget: (cost of one bar of each kind, most that all may come to), or None.
    """

    weights: Floats
    penalties: Floats
    budget: tuple[Floats, float] | None = None


@dataclass(frozen=True)
class Relaxed:
    """Solution of the linear program.

    Attributes:
        times: of each pattern, not whole.
        bound: no solution has a lesser objective.
    """

    times: Floats
    bound: float


@dataclass
class Patterns:
    """The patterns known so far of one set of pieces and bars.

    Attributes:
        pieces, bars, saw: what is cut, from what, by what.
        deadline: of `time.monotonic`; after it no more are looked for.
        of_bar: which bar each is of.
        counts: (n, number of pieces), how many of each piece it holds.
    """

    pieces: tuple[WantedLength, ...]
    bars: tuple[StockBar, ...]
    saw: Saw
    deadline: float
    of_bar: list[int] = field(default_factory=list)
    counts: list[Counts] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._numbers: dict[tuple[int, bytes], int] = {}
        self.sizes = np.array([piece.length + self.saw.kerf for piece in self.pieces])
        self.rooms = np.maximum(0.0, [self.saw.room(bar.length) for bar in self.bars])
        self._knapsacks = [Knapsack(self.sizes, self.rooms, steps) for steps in (COARSE, FINE)]
        self.demand = np.array([piece.count for piece in self.pieces], dtype=np.int64)
        self.most = np.array([inf if bar.count is None else bar.count for bar in self.bars])

    def add(self, bar: int, counts: Counts) -> bool:
        """Note a pattern; whether it is new."""
        key = (bar, counts.tobytes())
        if key in self._numbers or not counts.any():
            return False
        self._numbers[key] = len(self.of_bar)
        self.of_bar.append(bar)
        self.counts.append(counts.copy())
        return True

    def fill_in_order(self) -> tuple[Counts, Counts]:
        """A way to cut what can be cut: bar after bar, what costs nothing first, the longest piece that fits.

        Returns:
            Times of each pattern (all of them are new), and of each piece how many are left out.
        """
        left, cut = self.demand.copy(), dict[int, int]()
        by_length = sorted(range(len(self.pieces)), key=lambda i: -self.sizes[i])
        order = sorted(range(len(self.bars)), key=lambda k: (self.bars[k].cost / self.bars[k].length, self.rooms[k]))
        for bar in order:
            times = self.bars[bar].count
            while left.any() and (times is None or times > 0):
                room, counts = float(self.rooms[bar]), np.zeros_like(left)
                for i in by_length:
                    counts[i] = min(left[i], floor(room / self.sizes[i]))
                    room -= counts[i] * self.sizes[i]
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

    def relax(self, program: Program, wanted: Counts, most: Floats, *, prove: bool = False) -> Relaxed:
        """Generate patterns until none helps to cut what is wanted, or time is up.

        Args:
            program: what is to be least.
            wanted: of each piece.
            most: bars there are of each kind, inf for any number.
            prove: go on until the bound is as tight as it gets; else patterns that help a little are let go.
        """
        bars = np.flatnonzero((most > 0) & (self.rooms > 0.0))
        coarse, fine = self._knapsacks
        ways = [coarse] if coarse.exact or not prove else [coarse, fine]
        while True:
            solved = _linear(self, program, wanted, most)
            fillings = ways[0].fill(solved.prices, wanted)
            help_from = _HELP * max(1.0, abs(solved.objective))
            helped = [
                self.add(int(bar), fillings[bar])
                for bar in bars
                if float(solved.prices @ fillings[bar]) - solved.bar_prices[bar] > help_from
            ]
            if monotonic() > self.deadline:
                return Relaxed(solved.times, -inf)
            if not any(helped):
                if len(ways) == 1:
                    break
                ways.pop(0)
        gains = np.maximum(0.0, ways[0].bounds(solved.prices, wanted) - solved.bar_prices)[bars]
        # each bar could gain so much, and no more bars are cut than there are pieces
        return Relaxed(solved.times, solved.objective - float(gains @ np.minimum(most[bars], wanted.sum())))

    def whole(self, program: Program, seconds: float) -> tuple[Counts, Counts, float] | None:
        """The best whole number of times of each known pattern: (times, pieces left out, objective), or None."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        matrix, lower, upper, costs = _rows(self, program, self.demand, self.most, np.arange(len(self.of_bar)))
        size = len(costs)
        solved = milp(
            costs,
            constraints=LinearConstraint(matrix, lower, upper),
            integrality=np.ones(size),
            bounds=Bounds(0.0, inf),
            options={"time_limit": max(0.05, seconds), "mip_rel_gap": 0.0},
        )
        if solved.x is None:
            return None
        values = np.rint(solved.x).astype(np.int64)
        split = len(self.of_bar)
        return values[:split], values[split:], float(costs @ values)


@dataclass(frozen=True)
class _Linear:
    times: Floats
    objective: float
    prices: Floats  # of each piece
    bar_prices: Floats  # a pattern of this bar helps when its pieces are worth more


def _rows(patterns: Patterns, program: Program, wanted: Counts, most: Floats, some: Counts):  # type: ignore[no-untyped-def]
    """(matrix, lower, upper, costs) of some patterns and of pieces left out: a row per piece, a row per kind of bar
    that is limited, the budget's row."""
    from scipy.sparse import csr_matrix, eye_array, hstack, vstack

    of_bar = np.array(patterns.of_bar, dtype=np.int64)[some]
    counts = np.array(patterns.counts, dtype=float)[some].reshape(len(some), len(wanted))
    rows = [hstack([csr_matrix(counts.T), eye_array(len(wanted))])]
    lower, upper = [wanted.astype(float)], [np.full(len(wanted), inf)]

    def row(values: Floats, at_most: float) -> None:
        rows.append(csr_matrix(np.concatenate([values, np.zeros(len(wanted))])[None, :]))
        lower.append(np.array([-inf]))
        upper.append(np.array([at_most]))

    for bar in np.flatnonzero(np.isfinite(most)):
        row((of_bar == bar).astype(float), float(most[bar]))
    if program.budget is not None:
        row(program.budget[0][of_bar], program.budget[1])
    costs = np.concatenate([program.weights[of_bar], program.penalties])
    return vstack(rows, format="csr"), np.concatenate(lower), np.concatenate(upper), costs


def _linear(patterns: Patterns, program: Program, wanted: Counts, most: Floats) -> _Linear:
    """The linear program over the known patterns that hold no more than is wanted, with its prices."""
    from scipy.optimize import linprog

    held = np.array(patterns.counts, dtype=np.int64).reshape(len(patterns.counts), len(wanted))
    some = np.flatnonzero((held <= wanted).all(axis=1))
    matrix, lower, upper, costs = _rows(patterns, program, wanted, most, some)
    count = len(wanted)
    signs = np.where(np.arange(matrix.shape[0]) < count, -1.0, 1.0)
    limits = np.where(signs < 0.0, -lower, upper)
    solved = linprog(costs, A_ub=matrix.multiply(signs[:, None]).tocsr(), b_ub=limits, method="highs")
    duals = -solved.ineqlin.marginals
    bar_prices = program.weights.copy()
    at = count
    for bar in np.flatnonzero(np.isfinite(most)):
        bar_prices[bar] += duals[at]
        at += 1
    if program.budget is not None:
        bar_prices += duals[at] * program.budget[0]
    times = np.zeros(len(patterns.of_bar))
    times[some] = solved.x[: len(some)]
    return _Linear(times, float(solved.fun), duals[:count], bar_prices)
