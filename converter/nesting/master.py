"""The linear program over the known patterns, and the best whole numbers of them: HiGHS, going on from where it was."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

import numpy as np

from converter.arrays import Array, Ints

if TYPE_CHECKING:
    from highspy import Highs

    from converter.nesting.columns import Patterns


#: Of a bar, that a quotient of costs may be off by.
_ROUNDING = 1e-6


@dataclass(frozen=True)
class Program:
    """What is to be least, over patterns.

    Attributes:
        weights: cost of one bar of each kind.
        penalties: cost of each piece that is left out, far above any bar's.
        budget: (cost of one bar of each kind, most that all may come to), or None.
    """

    weights: Array
    penalties: Array
    budget: tuple[Array, float] | None = None

    def cost(self, bar: int) -> float:
        """What a bar of a kind takes of the budget."""
        return 0.0 if self.budget is None else float(self.budget[0][bar])

    def is_within(self, spent: float) -> bool:
        """Whether the budget allows for a cost."""
        return self.budget is None or spent <= self.budget[1] * (1.0 + _ROUNDING)

    def most_used(self, objective: float) -> Array:
        """How many bars of each kind a solution that is no worse than an objective uses at most."""
        limits = [(self.weights, objective), *([] if self.budget is None else [self.budget])]
        with np.errstate(divide="ignore"):
            most = [np.where(costs > 0.0, np.floor(value / costs + _ROUNDING), inf) for costs, value in limits]
        fewest: Array = np.minimum.reduce(most)
        return fewest


@dataclass(frozen=True)
class Priced:
    """Solution of the linear program over the known patterns.

    Attributes:
        times: of each pattern, not whole.
        objective: what was to be least.
        prices: of each piece.
        bar_prices: a pattern of this bar helps when its pieces are worth more.
    """

    times: Array
    objective: float
    prices: Array
    bar_prices: Array


@dataclass(frozen=True)
class WholeNumbers:
    """Whole numbers of the known patterns.

    Attributes:
        solution: times of each pattern and pieces left out; None where nothing better was met.
        bound: no whole numbers of the known patterns are below.
        is_complete: whether the search was not cut short: then none of the known patterns are better.
    """

    solution: tuple[Ints, Ints] | None
    bound: float
    is_complete: bool


def least_above(value: float, costs: Array, most: Array) -> float | None:
    """The least sum of whole numbers of costs that is not below a value; None where none was met in two seconds.

    Args:
        value: that it is not to be below.
        costs: above 0.
        most: of each, inf for any number.
    """
    from highspy import HighsModelStatus, HighsVarType

    highs = _highs()
    highs.setOptionValue("time_limit", 2.0)
    highs.addRow(value, inf, 0, [], [])
    for i, (cost, times) in enumerate(zip(costs, most, strict=True)):
        highs.addCol(float(cost), 0.0, float(times), 1, [0], [float(cost)])
        highs.changeColIntegrality(i, HighsVarType.kInteger)
    highs.run()
    if highs.getModelStatus() != HighsModelStatus.kOptimal:
        return None
    return float(costs @ np.rint(np.array(highs.getSolution().col_value)))


def _highs() -> Highs:
    """A solver that says nothing, uses one core, and stops at no gap."""
    from highspy import Highs

    highs = Highs()  # type: ignore[no-untyped-call]
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("mip_rel_gap", 0.0)
    return highs


class Master:
    """The program with a row for each piece, each kind of bar that is limited, and the budget.

    Its columns are the pieces left out, then the patterns; new ones are taken up when it is solved.
    """

    def __init__(self, patterns: Patterns, program: Program) -> None:
        self._patterns, self._program = patterns, program
        self._pieces = len(patterns.demand)
        self._limited = np.flatnonzero(np.isfinite(patterns.most))
        self._highs = _highs()
        for wanted in patterns.demand:
            self._highs.addRow(float(wanted), inf, 0, [], [])
        for bar in self._limited:
            self._highs.addRow(-inf, float(patterns.most[bar]), 0, [], [])
        if program.budget is not None:
            self._highs.addRow(-inf, program.budget[1], 0, [], [])
        for i, penalty in enumerate(program.penalties):
            self._highs.addCol(float(penalty), 0.0, inf, 1, [i], [1.0])
        self._held = np.zeros((0, self._pieces), dtype=np.int64)

    def solve(self, wanted: Ints, most: Array, spent: float = 0.0) -> Priced:
        """The linear program over the known patterns that hold no more than is wanted.

        Args:
            wanted: of each piece.
            most: bars there are of each kind, inf for any number.
            spent: of the budget.
        """
        self._take_up()
        for i, count in enumerate(wanted):
            self._highs.changeRowBounds(i, float(count), inf)
        for at, bar in enumerate(self._limited):
            self._highs.changeRowBounds(self._pieces + at, -inf, float(most[bar]))
        self._set_budget(spent)
        fits = np.asarray((self._held <= wanted).all(axis=1)).tolist()
        for i, fit in enumerate(fits):
            self._highs.changeColBounds(self._pieces + i, 0.0, inf if fit else 0.0)
        self._highs.run()
        solution = self._highs.getSolution()
        duals = np.array(solution.row_dual)
        bar_prices = self._program.weights.copy()
        # the price of a row that is held from above is not above zero
        bar_prices[self._limited] -= duals[self._pieces : self._pieces + len(self._limited)]
        if self._program.budget is not None:
            bar_prices -= duals[-1] * self._program.budget[0]
        times = np.maximum(0.0, np.array(solution.col_value)[self._pieces :])
        objective = float(self._highs.getInfo().objective_function_value)
        return Priced(times, objective, duals[: self._pieces], bar_prices)

    def whole(self, seconds: float, below: float) -> WholeNumbers:
        """The best whole number of times of each known pattern, and pieces left out, of a lesser objective.

        Args:
            seconds: after which the best met by then is taken.
            below: the objective that is to be gone under; what is no better is not looked for.
        """
        from highspy import HighsModelStatus, HighsVarType

        self._take_up()
        for i, count in enumerate(self._patterns.demand):
            self._highs.changeRowBounds(i, float(count), inf)
        for at, bar in enumerate(self._limited):
            self._highs.changeRowBounds(self._pieces + at, -inf, float(self._patterns.most[bar]))
        self._set_budget(0.0)
        size = self._pieces + len(self._held)
        for i in range(size):
            self._highs.changeColBounds(i, 0.0, inf)
            self._highs.changeColIntegrality(i, HighsVarType.kInteger)
        costs = np.concatenate([self._program.penalties, self._program.weights[self._patterns.of_bar]])
        row = self._highs.getNumRow()
        self._highs.addRow(-inf, below, size, np.arange(size, dtype=np.int32), costs)
        self._highs.setOptionValue("time_limit", self._highs.getRunTime() + max(0.05, seconds))
        self._highs.run()
        solution, status = self._highs.getSolution(), self._highs.getModelStatus()
        none_better = status == HighsModelStatus.kInfeasible
        found = solution.value_valid and not none_better
        values = np.rint(np.array(solution.col_value)).astype(np.int64)
        bound = below if none_better else min(below, float(self._highs.getInfo().mip_dual_bound))
        is_complete = none_better or status == HighsModelStatus.kOptimal
        for i in range(size):
            self._highs.changeColIntegrality(i, HighsVarType.kContinuous)
        self._highs.deleteRows(1, np.array([row], dtype=np.int32))
        self._highs.setOptionValue("time_limit", inf)
        known = (values[self._pieces :], values[: self._pieces]) if found else None
        return WholeNumbers(known, bound, is_complete)

    def _set_budget(self, spent: float) -> None:
        """Let no more be bought than is left of the budget."""
        if self._program.budget is not None:
            left = max(0.0, self._program.budget[1] - spent)
            self._highs.changeRowBounds(self._pieces + len(self._limited), -inf, left)

    def _take_up(self) -> None:
        """Add the patterns that are new."""
        patterns, first = self._patterns, len(self._held)
        if first == len(patterns.counts):
            return
        places = {int(bar): self._pieces + at for at, bar in enumerate(self._limited)}
        for bar, counts in zip(patterns.of_bar[first:], patterns.counts[first:], strict=True):
            rows = np.flatnonzero(counts).tolist()
            values = counts[rows].astype(float).tolist()
            if bar in places:
                rows, values = [*rows, places[bar]], [*values, 1.0]
            if self._program.budget is not None and self._program.budget[0][bar]:
                rows = [*rows, self._pieces + len(self._limited)]
                values = [*values, float(self._program.budget[0][bar])]
            self._highs.addCol(float(self._program.weights[bar]), 0.0, inf, len(rows), rows, values)
        self._held = np.array(patterns.counts, dtype=np.int64)
