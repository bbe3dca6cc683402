"""Pieces on bars: published instances, a count that shares no code, brute force, and what bars and saws allow."""

from __future__ import annotations

from collections import Counter
from itertools import product
from math import ceil, inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import FIXTURES

from converter.nesting import solve
from converter.nesting.columns import Patterns
from converter.nesting.knapsack import COARSE, FINE, Knapsack
from converter.nesting.master import Master
from converter.nesting.model import Nest, Saw, StockBar, WantedLength
from converter.nesting.sharing import Sharing
from converter.nesting.solve import _attainable, nest

#: Rolls of 5600 mm: "Cutting stock problem", Wikipedia (from memory): 73 rolls are least.
ROLLS = {
    1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20, 2000: 10, 2050: 12, 2100: 14, 2140: 16,
    2150: 18, 2200: 20,
}  # fmt: skip
SETS = [
    line.split()
    for name in ("u120.txt", "sets.txt")
    for line in (FIXTURES / "nesting" / name).read_text(encoding="utf-8").splitlines()
]


def count(plan: Nest) -> tuple[Counter, Counter]:
    """(pieces cut, bars used) of a plan, added up cut by cut; every bar is looked at on the way."""
    cut, used = Counter(), Counter()
    for pattern in plan.patterns:
        bar, saw = plan.bars[pattern.bar], plan.saw
        at = saw.trim
        rows = zip(pattern.cut_places(plan.pieces, saw), pattern.pieces, pattern.shared, strict=True)
        for place, i, shared in rows:
            at += plan.pieces[i].length
            assert place == pytest.approx(at, abs=1e-6)
            last = at
            at += saw.kerf - (saw.savings[shared - 1] if shared else 0.0)
        # the last piece ends on the bar, and what the saw holds by is left behind its cut
        assert last <= bar.length + 1e-5
        assert saw.grip == 0.0 or at + saw.grip <= bar.length + 1e-5
        assert pattern.left(plan.bars, plan.pieces, saw) == pytest.approx(max(0.0, bar.length - at), abs=1e-6)
        for i in pattern.pieces:
            cut[i] += pattern.times
        used[pattern.bar] += pattern.times
    for i, piece in enumerate(plan.pieces):
        assert cut[i] + plan.lacking[i] == piece.count
    for k, bar in enumerate(plan.bars):
        assert used[k] == plan.used(k) <= (inf if bar.count is None else bar.count)
    assert plan.cost == pytest.approx(sum(plan.bars[k].cost * n for k, n in used.items()))
    assert plan.on_hand == pytest.approx(
        sum(plan.bars[k].length * n for k, n in used.items() if plan.bars[k].cost == 0)
    )
    assert plan.bound <= plan.cost + 1e-9
    assert plan.on_hand_bound <= plan.on_hand + 1e-9
    return cut, used


def test_the_rolls_of_the_textbook_example():
    plan = nest([WantedLength(length, n) for length, n in ROLLS.items()], [StockBar(5600, None, 1.0)])
    count(plan)
    assert (plan.cost, plan.bound, sum(plan.lacking)) == (73.0, 73.0, 0)


@pytest.mark.parametrize("row", SETS, ids=[row[0] for row in SETS])
def test_instances_of_the_literature(row):
    bar, pieces, fewest, *lengths = map(int, row[1:])
    assert len(lengths) == pieces
    plan = nest([WantedLength(length, n) for length, n in Counter(lengths).items()], [StockBar(bar, None, 1.0)])
    count(plan)
    assert plan.cost == fewest
    assert plan.bound == fewest


def test_raws_of_a_textbook():
    """Chvátal, Linear Programming (1983), chapter 13, from memory: raws of 100, the linear program 452.25, 453 raws."""
    wanted = {45: 97, 36: 610, 31: 395, 14: 211}
    plan = nest([WantedLength(length, n) for length, n in wanted.items()], [StockBar(100, None, 1.0)])
    count(plan)
    assert (plan.cost, plan.bound) == (453.0, 453.0)


def test_several_stock_lengths_at_prices_of_their_own():
    """Gilmore and Gomory (1961), their example, from memory: bars 5, 6 and 9 long at 6, 7 and 10; 170 is least."""
    bars = [StockBar(5, None, 6.0), StockBar(6, None, 7.0), StockBar(9, None, 10.0)]
    plan = nest([WantedLength(2, 20), WantedLength(3, 10), WantedLength(4, 20)], bars)
    count(plan)
    assert plan.cost == plan.bound == 170.0


@pytest.mark.slow
def test_two_thousand_pieces_within_a_thousandth():
    random = np.random.default_rng(3)
    pieces = [WantedLength(round(random.uniform(150, 3000), 1), int(random.integers(28, 80))) for _ in range(40)]
    assert sum(piece.count for piece in pieces) > 2000
    plan = nest(pieces, [StockBar(6000, None, 6000.0)], Saw(2.5, 10.0, 80.0), seconds=120.0)
    count(plan)
    assert plan.gap <= 1e-3


def fewest_by_hand(pieces: list[tuple[float, int]], bars: list[tuple[float, int | None, float]], saw: Saw) -> float:
    """The least cost by going through every filling of every bar; shares no code with the search."""
    best: dict[tuple[int, ...], float] = {}
    fillings = []
    for length, times, cost in bars:
        room = length - saw.trim
        options = []
        for counts in product(*(range(n + 1) for _, n in pieces)):
            if not any(counts):
                continue
            n = sum(counts)
            end = sum(size * k for (size, _), k in zip(pieces, counts, strict=True))
            ends_on_bar = end + saw.kerf * (n - 1) <= room + 1e-9 if saw.grip == 0.0 else False
            if ends_on_bar or end + saw.kerf * n + saw.grip <= room + 1e-9:
                options.append(counts)
        fillings.append((options, times, cost))
    start = tuple(n for _, n in pieces)

    def solve(left: tuple[int, ...], bar: int, used: int) -> float:
        if not any(left):
            return 0.0
        if bar == len(fillings):
            return inf
        options, times, cost = fillings[bar]
        key = (*left, bar, used)
        if key in best:
            return best[key]
        result = solve(left, bar + 1, 0)
        if times is None or used < times:
            for counts in options:
                rest = tuple(max(0, a - b) for a, b in zip(left, counts, strict=True))
                if rest != left:
                    result = min(result, cost + solve(rest, bar, used + 1))
        best[key] = result
        return result

    return solve(start, 0, 0)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.sampled_from([310.0, 455.5, 700.0, 812.25]), st.integers(1, 3)), min_size=1, max_size=3,
             unique_by=lambda p: p[0]),
    st.lists(st.tuples(st.sampled_from([900.0, 1500.0, 2106.0]), st.sampled_from([None, 1]), st.booleans()),
             min_size=1, max_size=2, unique_by=lambda b: b[0]),
    st.sampled_from([Saw(), Saw(3.0), Saw(2.5, 10.0, 60.0)]),
)  # fmt: skip
def test_no_filling_by_hand_costs_less(pieces, bars, saw):
    given_bars = [(length, times, 0.0 if free and times else length) for length, times, free in bars]
    least = fewest_by_hand(pieces, given_bars, saw)
    plan = nest([WantedLength(*piece) for piece in pieces], [StockBar(*bar) for bar in given_bars], saw)
    count(plan)
    if least == inf:
        assert sum(plan.lacking) > 0
    else:
        assert sum(plan.lacking) == 0
        assert plan.cost == pytest.approx(least)
        assert plan.bound <= least + 1e-6


def test_what_is_on_hand_goes_first_and_least_of_it():
    pieces, rack = [WantedLength(1000, 5), WantedLength(700, 4)], [StockBar(2100, 9, 0.0), StockBar(750, 9, 0.0)]
    plan = nest(pieces, [*rack, StockBar(6000, None, 6000.0)], Saw(3.0))
    count(plan)
    assert (plan.cost, sum(plan.lacking)) == (0.0, 0)
    # three bars of 2100 hold five of 1000 and one of 700, three of 750 the rest
    assert plan.on_hand == 8550.0
    assert 8250.0 < plan.on_hand_bound <= 8550.0


@pytest.mark.parametrize("seed", [5, 7, 9])
def test_no_less_can_be_taken_of_what_is_on_hand_than_is(seed):
    """What is taken at the least cost is proven by the bound, which the count and the search by hand hold to be one."""
    random = np.random.default_rng(seed)
    pieces = [WantedLength(round(float(random.uniform(150, 2500)), 2), int(random.integers(1, 9))) for _ in range(12)]
    bars = [StockBar(6000, None, 6000.0), StockBar(2100, 4, 0.0), StockBar(1800, 3, 0.0), StockBar(3200, 2, 0.0)]
    plan = nest(pieces, bars, Saw(3.0, 5.0))
    count(plan)
    assert plan.cost == plan.bound
    assert 0.0 < plan.on_hand == plan.on_hand_bound


def test_the_search_ends_where_tries_bring_nothing(monkeypatch):
    """34 pieces, two lengths to buy: HiGHS went over the same patterns again and again, for seconds."""
    inches = {
        35.52: 4, 12.18: 1, 90.95: 1, 101.1: 3, 82.41: 4, 63.45: 3, 91.22: 5, 8.28: 2, 11.43: 5, 82.42: 5, 96.04: 1,
    }  # fmt: skip
    pieces = [WantedLength(25.4 * length, times) for length, times in inches.items()]
    bars = [StockBar(6096.0, None, 240.0), StockBar(7315.2, None, 300.0)]
    tries, asked = [], []
    dive, whole = solve._dive, Master.whole

    def counted_dive(*given):
        answer = dive(*given)
        tries[-1].append(answer.objective)
        return answer

    def counted_whole(self, seconds, below):
        answer = whole(self, seconds, below)
        asked.append((id(self), len(self._patterns.of_bar), answer.is_complete))
        if answer.solution is not None:
            times, lacking = answer.solution
            tries[-1].append(solve._solution(self._patterns, self._program, times, lacking).objective)
            assert tries[-1][-1] <= below
        else:
            tries[-1].append(inf)
        return answer

    def counted_least(*given):
        tries.append([])
        return least(*given)

    least = solve._least
    monkeypatch.setattr(solve, "_dive", counted_dive)
    monkeypatch.setattr(Master, "whole", counted_whole)
    monkeypatch.setattr(solve, "_least", counted_least)
    plan = nest(pieces, bars, Saw(2.5))
    count(plan)
    assert plan.bound < plan.cost, "nothing is proven, or nothing would end early"
    for objectives in tries:
        best = min(objectives, default=inf)
        assert len(objectives) - (objectives.index(best) if objectives else 0) <= solve._IDLE + 1
    # what was gone through to its end is not gone through again
    through = [(master, known) for master, known, is_complete in asked if is_complete]
    assert len(through) == len(set(through))


def test_the_last_piece_may_end_with_the_bar_unless_the_saw_must_hold_it():
    pieces = [WantedLength(1000, 6)]
    assert nest(pieces, [StockBar(6015, None, 1.0)], Saw(3.0)).cost == 1.0  # five cuts between six pieces
    assert nest(pieces, [StockBar(6014, None, 1.0)], Saw(3.0)).cost == 2.0
    assert nest(pieces, [StockBar(6068, None, 1.0)], Saw(3.0, grip=50.0)).cost == 1.0  # six cuts, 50 held
    assert nest(pieces, [StockBar(6067, None, 1.0)], Saw(3.0, grip=50.0)).cost == 2.0
    assert nest(pieces, [StockBar(6024, None, 1.0)], Saw(3.0, trim=10.0)).cost == 2.0
    assert nest(pieces, [StockBar(6025, None, 1.0)], Saw(3.0, trim=10.0)).cost == 1.0


def test_what_no_bar_is_left_for_is_counted():
    plan = nest(
        [WantedLength(1000, 5), WantedLength(700, 4)], [StockBar(2100, 2, 0.0), StockBar(750, 1, 0.0)], Saw(3.0)
    )
    count(plan)
    assert sum(plan.lacking) == 4
    assert plan.on_hand == 4950.0
    assert nest([WantedLength(5000, 1)], [StockBar(2000, None, 1.0)]).lacking == (1,)
    assert nest([WantedLength(5000, 1)], []).lacking == (1,)


def test_a_bound_is_not_rounded_to_whole_bars_where_it_may_hold_a_piece_left_out():
    """The penalty of such a piece is no number of bars: rounded up, the bound could be above what can be had."""
    bars = (StockBar(2100, 1, 0.0), StockBar(1000, None, 1000.0))
    costs = np.array([0.0, 1000.0])
    short = Patterns((WantedLength(900, 1),), bars, Saw(), inf, 1)
    assert _attainable(950_000.3, short, costs) == 951_000.0
    long = Patterns((WantedLength(900, 1), WantedLength(2000, 2)), bars, Saw(), inf, 1)
    assert _attainable(950_000.3, long, costs) == 950_000.3


def test_with_no_time_the_answer_is_whole_all_the_same():
    random = np.random.default_rng(5)
    pieces = [WantedLength(float(random.integers(150, 3000)), int(random.integers(1, 9))) for _ in range(60)]
    plan = nest(pieces, [StockBar(6000, None, 6000.0)], Saw(2.5), seconds=0.0)
    count(plan)
    assert sum(plan.lacking) == 0
    assert 0.0 <= plan.bound <= plan.cost


@settings(max_examples=40)
@given(st.integers(0, 10_000))
def test_a_filling_is_the_mixed_integer_solvers(seed):
    from scipy.optimize import Bounds, LinearConstraint, milp

    random = np.random.default_rng(seed)
    count_, room = int(random.integers(1, 12)), float(random.uniform(500, 6500))
    sizes = random.uniform(40, 3000, count_).round(int(random.integers(0, 4)))
    worth, most = random.uniform(0, 10, count_), random.integers(0, 7, count_)
    solved = milp(-worth, constraints=LinearConstraint(sizes[None, :], -inf, room), integrality=np.ones(count_),
                  bounds=Bounds(0, most), options={"mip_rel_gap": 0.0})  # fmt: skip
    best = -solved.fun
    for steps in (COARSE, FINE):
        sack = Knapsack(sizes, np.array([room]), steps, Sharing([(0, 0)] * count_, (), sizes))
        (filling,) = sack.fill(worth, most)
        assert np.all(filling <= most)
        assert sizes @ filling <= room + 1e-3
        assert worth @ filling <= best + 1e-6
        assert sack.bounds(worth, most)[0] >= best - 1e-6
    if sack.exact:
        assert worth @ filling == pytest.approx(best)


@pytest.mark.parametrize("make", [
    lambda: WantedLength(0.0, 1), lambda: WantedLength(1.0, 0), lambda: WantedLength(inf, 1),
    lambda: StockBar(0.0, 1, 1.0), lambda: StockBar(1.0, -1, 1.0), lambda: StockBar(1.0, 1, -1.0),
])  # fmt: skip
def test_impossible_pieces_and_bars_are_refused(make):
    with pytest.raises(ValueError, match=r"no (piece|bar)"):
        make()


def test_rooms_are_those_of_a_tape():
    assert Saw(3.0).room(100.0) == 103.0
    assert Saw(3.0, 10.0, 20.0).room(100.0) == 70.0
    assert ceil(nest([WantedLength(10, 10)], [StockBar(100, None, 1.0)]).cost) == 1
