"""Least to buy, then least taken of what is on hand: whole numbers of patterns, with the bound that proves them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from time import monotonic

import numpy as np

from converter.arrays import Array, Ints
from converter.disk.silence import silent_stdout
from converter.nesting.columns import Patterns
from converter.nesting.master import Master, Program, least_above
from converter.nesting.model import Nest, Pattern, Saw, StockBar, WantedLength
from converter.nesting.sharing import Placed

#: Seconds that the search may take where nothing else is said.
SECONDS = 30.0
#: How often a solution is rounded anew, which of these times by putting patterns together, and seconds for that.
DIVES, _WHOLE, _SECONDS_WHOLE = 24, (2, 8, 16, 23), 1.5
#: The search ends after so many tries in a row that brought nothing.
_IDLE = 10
#: Share of the time for the least to buy, where both are looked for.
_FIRST = 0.7
#: Share of a value below which two are one.
_EQUAL = 1e-7


def nest(
    pieces: Sequence[WantedLength],
    bars: Sequence[StockBar],
    saw: Saw | None = None,
    seconds: float = SECONDS,
    dives: int = DIVES,
) -> Nest:
    """Cut pieces from bars so that the bars bought cost least, and least is taken of those on hand.

    Args:
        pieces: what is wanted.
        bars: what there is, and what can be bought.
        saw: what cutting takes; nothing when None.
        seconds: after which the best way found is taken, with the bound known by then.
        dives: how often a solution is rounded anew at most, where the bound is not reached before.

    Source: Gilmore and Gomory, A linear programming approach to the cutting-stock problem, Operations Research 9
    (1961) 849 and 11 (1963) 863; rounding by diving on the residual problem is common practice.
    """
    saw = saw or Saw()
    pieces, bars = tuple(pieces), tuple(bars)
    if not pieces or not bars:
        return Nest(pieces, bars, saw, (), tuple(piece.count for piece in pieces), 0.0, 0.0, 0.0, 0.0)
    with silent_stdout():  # HiGHS says a word now and then
        start = monotonic()
        return _solved(Patterns(pieces, bars, saw, start + _FIRST * seconds, dives), start + seconds)


def _solved(patterns: Patterns, end: float) -> Nest:
    """The nest of what the patterns are to be of; ``end`` of `time.monotonic` is that of the search for both."""
    pieces, bars, saw = patterns.pieces, patterns.bars, patterns.saw
    in_order = patterns.fill_in_order()
    costs = np.array([bar.cost for bar in bars])
    lengths = np.array([bar.length for bar in bars])
    # what is left out costs more than any bar that could hold it, so nothing is left out that could be cut
    penalties = np.array([piece.length for piece in pieces]) / lengths.max() * 1e3 * max(costs.max(), 1.0)
    buying = Program(costs, penalties)
    bought, bound = _least(patterns, buying, in_order, lambda value: _attainable(value, patterns, costs))
    cost = _sum(costs, patterns, bought)
    lost = bought.objective - cost  # for pieces that no bar is there for
    free = np.where(costs == 0.0, lengths, 0.0)
    best, on_hand_bound = bought, 0.0
    if _sum(free, patterns, bought) > 0.0:
        patterns.deadline = end
        within = (costs, cost + _EQUAL * max(1.0, cost))
        taking = Program(free, penalties * max(1.0, lengths.max()), within)
        tried, least = _least(
            patterns, taking, (bought.times, bought.lacking), lambda value: _attainable(value, patterns, free)
        )
        if _sum(costs, patterns, tried) <= within[1] and tried.lacking.sum() <= bought.lacking.sum():
            best = tried
        on_hand_bound = max(0.0, least - float(taking.penalties @ tried.lacking))
    on_hand = _sum(free, patterns, best)
    lacking = tuple(int(n) for n in best.lacking)
    return Nest(
        pieces, bars, saw, _in_words(patterns, best.times), lacking,
        cost, max(0.0, min(cost, bound - lost)), on_hand, min(on_hand, on_hand_bound),
    )  # fmt: skip


def _sum(values: Array, patterns: Patterns, solution: _Solution) -> float:
    """Of a value per bar, over all bars that a solution cuts."""
    of_bar = patterns.of_bar[: len(solution.times)]
    return float(values[of_bar] @ solution.times)


@dataclass(frozen=True)
class _Solution:
    """Whole numbers of patterns: times of each, pieces left out, and what is to be least."""

    times: Ints
    lacking: Ints
    objective: float


def _least(
    patterns: Patterns, program: Program, known: tuple[Ints, Ints], attainable: Callable[[float], float]
) -> tuple[_Solution, float]:
    """The best solution, and what none is below: rounded by diving, then put together of all patterns met so far.

    Args:
        patterns: new ones are added.
        program: what is to be least.
        known: a solution to begin with: times of patterns, pieces left out.
        attainable: the least objective of whole bars that is not below a bound.
    """
    best = _solution(patterns, program, *known)
    bound = attainable(_by_length(patterns, program))
    generator = np.random.default_rng(1)

    def is_proven() -> bool:
        return best.objective <= bound + _EQUAL * max(1.0, abs(bound))

    if is_proven():
        return best, min(bound, best.objective)
    master = Master(patterns, program)
    relaxed = patterns.relax(master, patterns.demand, patterns.most, attainable, program.most_used(best.objective))
    bound = max(bound, attainable(relaxed.bound))
    # what is put together once is not put together again, unless there are further patterns to do it of
    complete_with, idle = 0, 0

    def put_together(seconds: float) -> None:
        nonlocal best, bound, complete_with
        answer = master.whole(seconds, best.objective - 2.0 * _EQUAL * max(1.0, best.objective))
        if answer.solution is not None:
            best = min(best, _solution(patterns, program, *answer.solution), key=lambda one: one.objective)
        complete_with = len(patterns.of_bar) if answer.is_complete else 0
        if is_whole_job:
            bound = max(bound, attainable(answer.bound))

    is_whole_job = not is_proven() and patterns.add_all()
    if is_whole_job:  # a small job: nothing is left to chance
        put_together(max(0.0, min((patterns.deadline - monotonic()) / 2.0, _SECONDS_WHOLE)))

    for attempt in range(patterns.dives):
        left = patterns.deadline - monotonic()
        if is_proven() or left <= 0.0 or idle >= _IDLE:
            break
        before = best.objective
        if attempt in _WHOLE:
            if complete_with < len(patterns.of_bar):
                put_together(min(left / 2.0, _SECONDS_WHOLE))
        else:
            tried = _dive(patterns, master, program, relaxed.times, generator if attempt else None)
            best = min(best, tried, key=lambda one: one.objective)
        idle = 0 if best.objective < before else idle + 1
    return best, min(bound, best.objective)


def _by_length(patterns: Patterns, program: Program) -> float:
    """What no solution is below by length alone: all pieces with their kerfs in the bars' rooms, the cheapest first."""
    most = np.minimum(patterns.most, patterns.demand.sum())
    rates = sorted(
        (float(weight / room), float(room * times))
        for weight, room, times in zip(program.weights, patterns.rooms, most, strict=True)
        if room > 0.0
    )
    left, value = float(patterns.sizes @ patterns.demand), 0.0
    for rate, room in rates:
        value += rate * min(left, room)
        left -= min(left, room)
    # what is left is left out, at the least there is for a mm
    return value + left * float((program.penalties / patterns.sizes).min())


def _dive(
    patterns: Patterns, master: Master, program: Program, times: Array, generator: np.random.Generator | None
) -> _Solution:
    """A solution by rounding: the whole part is cut, the rest solved anew with patterns of its own, again and again.

    Args:
        patterns: new ones are added.
        master: the program over them.
        program: what is to be least.
        times: of the linear program, for all that is wanted.
        generator: of random numbers; None for the plain way.
    """
    wanted, most = patterns.demand.copy(), patterns.most.copy()
    cut: dict[int, int] = {}
    spent = 0.0
    while wanted.any() and monotonic() < patterns.deadline:
        # two dives differ in how much of the whole part they trust, and in which fraction goes up
        trust = 1.0 if generator is None else generator.uniform(0.6, 1.0, len(times))
        whole = np.floor(times * trust + 1e-6).astype(np.int64)
        if not whole.any():
            parts = times if generator is None else times * generator.uniform(0.5, 1.0, len(times))
            if not parts.any():
                break
            whole[np.argmax(parts)] = 1
        before = wanted
        for i in np.flatnonzero(whole):
            bar = patterns.of_bar[i]
            for _ in range(int(whole[i])):
                more = spent + program.cost(bar)
                if most[bar] > 0 and program.is_within(more) and np.minimum(wanted, patterns.counts[i]).any():
                    spent = more
                    cut[int(i)] = cut.get(int(i), 0) + 1
                    wanted = np.maximum(0, wanted - patterns.counts[i])
                    most[bar] -= 1
        if wanted is before:
            break
        if wanted.any():
            times = patterns.relax(master, wanted, most, spent=spent).times
    return _solution(patterns, program, np.array([cut.get(i, 0) for i in range(len(patterns.of_bar))]), wanted)


def _solution(patterns: Patterns, program: Program, times: Ints, lacking: Ints) -> _Solution:
    """A solution with its objective."""
    of_bar = patterns.of_bar[: len(times)]
    return _Solution(times, lacking, float(program.weights[of_bar] @ times + program.penalties @ lacking))


def _attainable(value: float, patterns: Patterns, costs: Array) -> float:
    """The least cost, of whole bars, that is not below a bound."""
    slack = _EQUAL * max(1.0, value)
    bought = np.flatnonzero(costs > 0.0)
    # where a piece may have to be left out the bound holds its penalty, too, which no number of bars comes to
    may_lack = patterns.alone.max() > max(patterns.rooms[np.isinf(patterns.most)], default=0.0)
    if len(bought) == 0 or value <= slack or may_lack:
        return max(0.0, value)
    return max(value, least_above(value - slack, costs[bought], patterns.most[bought]) or value)


def _in_words(patterns: Patterns, times: Ints) -> tuple[Pattern, ...]:
    """The bars as they are cut: nothing more than is wanted, the longest piece first, equal bars together."""
    left = patterns.demand.copy()
    bars: dict[tuple[int, tuple[Placed, ...]], int] = {}
    for i in sorted(np.flatnonzero(times), key=lambda i: -float(patterns.counts[i] @ patterns.sizes)):
        for _ in range(int(times[i])):
            counts = np.minimum(patterns.counts[i], left)
            left = left - counts
            row = tuple(patterns.sharing.row(counts, patterns.alone))
            if row:
                key = (patterns.of_bar[i], row)
                bars[key] = bars.get(key, 0) + 1
    room = {key: patterns.rooms[key[0]] - sum(patterns.alone[one.piece] for one in key[1]) for key in bars}
    order = sorted(bars, key=lambda key: (-patterns.bars[key[0]].length, room[key], key))
    return tuple(
        Pattern(bar, tuple(one.piece for one in row), bars[bar, row], tuple(one.turned for one in row),
                tuple(one.shared for one in row))
        for bar, row in order
    )  # fmt: skip
