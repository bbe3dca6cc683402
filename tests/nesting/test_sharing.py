"""Mitred ends that share cuts: held to every row of a few pieces, every filling of a bar, and a hand-worked frame."""

from __future__ import annotations

from functools import cache
from itertools import permutations, product
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_nest import count

from converter.nesting.knapsack import COARSE, FINE, Knapsack
from converter.nesting.model import Saw, StockBar, WantedLength
from converter.nesting.sharing import Sharing
from converter.nesting.solve import nest

KINDS = st.tuples(st.integers(0, 3), st.integers(0, 3))


@cache
def most_saved(pieces: tuple[tuple[int, int], ...], savings: tuple[float, ...]) -> float:
    """Every row of the pieces, each either way round; neighbours whose ends are of one kind save it."""
    best = 0.0
    for row in set(permutations(pieces)):
        # of all ways round, from left to right: the most saved with each kind on the right
        saved = {0: 0.0}
        for one, other in row:
            after: dict[int, float] = {}
            for right, sum_ in saved.items():
                for front, back in ((one, other), (other, one)):
                    more = savings[front - 1] if front and front == right else 0.0
                    after[back] = max(after.get(back, -inf), sum_ + more)
            saved = after
        best = max(best, *saved.values())
    return best


def expanded(ends: list[tuple[int, int]], counts: np.ndarray) -> tuple[tuple[int, int], ...]:
    return tuple(sorted(pair for pair, n in zip(ends, counts, strict=True) for _ in range(int(n))))


@settings(max_examples=150)
@given(st.lists(st.tuples(KINDS, st.integers(1, 3)), min_size=1, max_size=4).filter(lambda p: sum(n for _, n in p) < 7))
def test_a_row_saves_what_the_best_of_all_rows_does(pieces):
    ends, savings = [pair for pair, _ in pieces], (20.0, 13.5, 31.25)
    counts = np.array([n for _, n in pieces])
    sizes = np.array([100.0 + 10.0 * i for i in range(len(ends))])
    sharing = Sharing(ends, savings, sizes)
    most = most_saved(expanded(ends, counts), savings)
    assert float(sharing.halves @ counts) - sharing.lost(counts) == pytest.approx(most)
    row = sharing.row(counts, sizes)
    assert [sum(1 for one in row if one.piece == i) for i in range(len(ends))] == counts.tolist()
    saved = 0.0
    for one, after in zip(row, [*row[1:], None], strict=True):
        if one.shared:
            assert after is not None
            assert one.shared == ends[one.piece][0 if one.turned else 1] == ends[after.piece][1 if after.turned else 0]
            saved += savings[one.shared - 1]
    assert saved == pytest.approx(most)


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.integers(1, 3))
def test_no_filling_is_worth_more_than_its_bound_and_every_one_fits(seed, kinds):
    random = np.random.default_rng(seed)
    savings = tuple(random.uniform(5.0, 60.0, kinds).round(3))
    ends = [tuple(int(k) for k in random.integers(0, kinds + 1, 2)) for _ in range(3)]
    alone, worth, most = random.uniform(130, 400, 3).round(2), random.uniform(1, 10, 3), random.integers(1, 3, 3)
    room = float(random.uniform(400, 1200))
    sharing = Sharing(ends, savings, alone)
    best = 0.0
    for numbers in product(*(range(int(n) + 1) for n in most)):
        counts = np.array(numbers)
        if any(numbers) and alone @ counts - most_saved(expanded(ends, counts), savings) <= room:
            best = max(best, float(worth @ counts))
    for steps in (COARSE, FINE):
        sack = Knapsack(alone - sharing.halves, np.array([room]), steps, sharing)
        (filling,) = sack.fill(worth, most)
        assert np.all(filling <= most)
        assert alone @ filling - most_saved(expanded(ends, filling), savings) <= room + 1e-3
        assert sack.bounds(worth, most)[0] >= best - 1e-9
    if kinds == 1:  # nothing is left out of what one kind loses
        assert worth @ filling == pytest.approx(best)


def least_by_hand(pieces: list[WantedLength], bars: list[StockBar], saw: Saw) -> float:
    """The least cost by going through every filling of every bar, each in every row; shares no code with the search."""
    ends = [piece.ends for piece in pieces]
    fillings = []
    for bar in bars:
        for numbers in product(*(range(piece.count + 1) for piece in pieces)):
            counts = np.array(numbers)
            used = sum((p.length + saw.kerf) * n for p, n in zip(pieces, numbers, strict=True))
            used -= most_saved(expanded(ends, counts), saw.savings)
            if any(numbers) and used + saw.trim + saw.grip - (0.0 if saw.grip else saw.kerf) <= bar.length + 1e-9:
                fillings.append((numbers, bar.cost))

    @cache
    def least(left: tuple[int, ...]) -> float:
        if not any(left):
            return 0.0
        found = inf
        for numbers, cost in fillings:
            rest = tuple(max(0, a - b) for a, b in zip(left, numbers, strict=True))
            if rest != left:
                found = min(found, cost + least(rest))
        return found

    return least(tuple(piece.count for piece in pieces))


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.sampled_from([310.0, 455.5, 512.0, 702.25]), st.integers(1, 3), KINDS), min_size=1,
             max_size=3, unique_by=lambda p: p[0]),
    st.lists(st.sampled_from([900.0, 1500.0, 2106.0]), min_size=1, max_size=2, unique=True),
    st.sampled_from([(3.0, 0.0, 0.0), (2.5, 10.0, 60.0)]),
    st.sampled_from([(50.0, 31.0, 12.5), (140.0, 90.0, 64.0)]),
)  # fmt: skip
def test_no_way_by_hand_costs_less(pieces, lengths, takes, savings):
    saw = Saw(*takes, savings)
    wanted = [WantedLength(*piece) for piece in pieces]
    bars = [StockBar(length, None, length) for length in lengths]
    plan = nest(wanted, bars, saw)
    count(plan)
    least = least_by_hand(wanted, bars, saw)
    assert plan.bound <= least + 1e-6
    assert plan.cost == pytest.approx(least)


def test_a_frame_of_mitred_rails_by_hand():
    """Rails of 1000 in tube of 50, mitred at 45 at both ends: n take n * 1000 - (n - 1) * (50 - kerf * sqrt 2)."""
    kerf = 3.0
    saving = 50.0 + kerf - kerf * 2.0**0.5
    pieces = [WantedLength(1000.0, 6, (1, 1))]
    saw = Saw(kerf, savings=(saving,))
    took = 6 * 1000.0 + 5 * (kerf - saving)
    assert took == pytest.approx(6000.0 - 5 * (50.0 - kerf * 2.0**0.5))
    plan = nest(pieces, [StockBar(took + 1e-3, None, 1.0)], saw)
    count(plan)
    assert (plan.cost, plan.bound) == (1.0, 1.0)
    (pattern,) = plan.patterns
    assert pattern.shared == (1, 1, 1, 1, 1, 0)
    assert pattern.cut_places(plan.pieces, saw)[-1] == pytest.approx(took)
    assert nest(pieces, [StockBar(took - 2e-2, None, 1.0)], saw).cost == 2.0
    assert nest([WantedLength(1000.0, 6)], [StockBar(took + 1e-3, None, 1.0)], saw).cost == 2.0


def test_a_piece_that_two_cuts_leave_nothing_of_shares_none():
    plan = nest([WantedLength(60.0, 4, (1, 2))], [StockBar(1000.0, None, 1.0)], Saw(3.0, savings=(40.0, 30.0)))
    assert plan.patterns[0].shared == (0, 0, 0, 0)


@pytest.mark.slow
def test_two_thousand_mitred_pieces_within_a_thousandth():
    random = np.random.default_rng(3)
    pieces = [
        WantedLength(round(random.uniform(250, 3000), 1), int(random.integers(28, 80)), tuple(random.integers(0, 2, 2)))
        for _ in range(40)
    ]
    plan = nest(pieces, [StockBar(6000, None, 6000.0)], Saw(2.5, 10.0, 80.0, (49.0,)), seconds=120.0)
    count(plan)
    assert plan.gap <= 1e-3
    alone = nest([WantedLength(p.length, p.count) for p in pieces], plan.bars, Saw(2.5, 10.0, 80.0), seconds=120.0)
    assert plan.cost < alone.bound
