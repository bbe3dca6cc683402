"""The set-up, followed on a simulated bender, makes the tube that was drawn: from both ends, in any order."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import dist

import numpy as np
import pytest
from bending_checks import orders, own_points, shop_for
from hypothesis import given, settings
from hypothesis import strategies as st
from machine import apart, bend_stick
from strategies import placements, tables

from converter.bending.setup.setup import set_up
from converter.model.bends import BendTable, Placement
from converter.model.curve import Line
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.reducer.refit import CORNER_LIMIT
from converter.shop.model import Die, Shop


@pytest.mark.slow
@settings(max_examples=60)
@given(table=tables(most=8), place=placements(), end=st.sampled_from("AB"), data=st.data())
def test_following_the_set_up_makes_the_drawing(table, place, end, data):
    """Without springback the tube off the machine is the run's own centerline, whichever end goes first."""
    run = Run("run", None, False, table, place)
    shop = shop_for(table)
    table = BendTable(
        tuple(replace(b, clr=min((d.clr for d in shop.dies), key=lambda r, b=b: abs(r - b.clr))) for b in table.bends),
        table.tail,
    )
    run = replace(run, table=table)
    setup = set_up([Tube(run, Section("round", 20.0, 2.0))], shop, feed_from=end)[0]
    assert setup.feed_from == end
    extra = setup.extra_a + setup.extra_b
    assert setup.stick_length == pytest.approx(table.developed_length + extra, abs=1e-6)
    samples = sorted(data.draw(st.lists(st.floats(0.0, 1.0), min_size=30, max_size=60, unique=True)))
    samples = [x * table.developed_length for x in samples]
    lead = setup.extra(setup.feed_from)
    made = bend_stick(setup.stick_length, orders(setup), [lead + x for x in samples])
    wanted = own_points(run, samples if end == "A" else [table.developed_length - x for x in samples])
    assert apart(made, wanted) < 1e-5


@pytest.mark.slow
@settings(max_examples=60)
@given(
    table=tables(most=6, greatest=150.0, least=10.0, zero_straights=False),
    end=st.sampled_from("AB"),
    back=st.floats(0.0, 0.08),
    data=st.data(),
)
def test_with_springback_the_straights_stay_where_they_were_drawn(table, end, back, data):
    """Each straight of the tube off the machine lies on its drawn line and both ends where they were drawn."""
    table = BendTable(tuple(replace(b, clr=100.0, feed=b.feed + 700.0) for b in table.bends), table.tail + 700.0)
    run = Run("run", None, False, table, data.draw(placements()))
    stop = 100.0
    shop = shop_for(table, ((stop, stop * (1.0 - back)),))
    setup = set_up([Tube(run, Section("round", 20.0, 2.0))], shop, feed_from=end)[0]
    for step in setup.steps:
        assert step.stop == pytest.approx(step.target / (1.0 - back))
        assert step.radius == pytest.approx(100.0 / (1.0 - back))
        assert step.stick == pytest.approx(100.0 * np.radians(step.stop))
    steps = sorted(setup.steps, key=lambda step: step.start)
    ends = [0.0]
    for step in steps:
        ends += [step.start, step.start + step.stick]
    ends.append(setup.stick_length)
    middles = [(a + b) / 2.0 for a, b in zip(ends[::2], ends[1::2], strict=True)]
    made = bend_stick(setup.stick_length, orders(setup), [0.0, *middles, setup.stick_length])
    # the drawn lines, ends and middles of the straights that are left, from the corners of the drawing alone
    lines = [segment for segment in run.centerline if isinstance(segment, Line)]
    corners = [np.array(lines[0].start)]
    for before, after in pairwise(lines):
        corners.append(crossing(before, after))
    corners.append(np.array(lines[-1].end))
    if end == "B":
        corners.reverse()
    targets = [corners[0]]
    for i, (p, q) in enumerate(pairwise(corners)):
        cut_p = 0.0 if i == 0 else setback(steps[i - 1])
        cut_q = 0.0 if i == len(steps) else setback(steps[i])
        u = (q - p) / np.linalg.norm(q - p)
        targets.append((p + cut_p * u + q - cut_q * u) / 2.0)
    targets.append(corners[-1])
    assert apart(made, np.array(targets)) < 1e-5


def setback(step) -> float:
    """Corner to tangent point of a step's finished radius."""
    return step.radius * np.tan(np.radians(step.target) / 2.0)


def crossing(before: Line, after: Line) -> np.ndarray:
    """Where the lines of two straights meet: the point of the first nearest to the second."""
    p, u = np.array(before.end), np.array(before.end) - np.array(before.start)
    q, v = np.array(after.start), np.array(after.end) - np.array(after.start)
    system = np.array([[u @ u, -u @ v], [u @ v, -v @ v]])
    s, t = np.linalg.solve(system, np.array([(q - p) @ u, (q - p) @ v]))
    assert dist(p + s * u, q + t * v) < 1e-5
    return p + s * u


def test_the_strategy_has_corners():
    """The springback test speaks of corners, so its greatest angle must have one."""
    assert CORNER_LIMIT > 150.0


@pytest.mark.slow
@settings(max_examples=50)
@given(table=tables(most=6, greatest=170.0), end=st.sampled_from("AB"), turned=st.lists(st.booleans(), min_size=6))
def test_any_order_makes_the_same_tube(table, end, turned):
    """Dies that force bends out of order (no room ahead after some bends, no room behind after others)."""
    count = len(table.bends)
    bends = tuple(replace(b, clr=60.0 + i) for i, b in enumerate(table.bends))
    run = Run("run", None, False, BendTable(bends, table.tail), Placement())
    dies = tuple(
        Die(
            f"D{i}",
            "round",
            20.0,
            60.0 + i,
            between=1e5 if turned[i] else 0.0,
            mark_offset=float(i),
        )
        for i in range(count)
    )
    setup = set_up([Tube(run, Section("round", 20.0, 2.0))], Shop("test", dies), feed_from=end)[0]
    assert not setup.plan.lacks
    index = [step.bend for step in setup.steps]
    for bend in range(1, count + 1):
        ahead = [b for b in range(1, count + 1) if (b < bend if end == "A" else b > bend)]
        if turned[bend - 1]:
            assert all(index.index(bend) < index.index(other) for other in ahead)
    length = run.table.developed_length
    samples = [length * k / 40.0 for k in range(41)]
    made = bend_stick(setup.stick_length, orders(setup), [setup.extra(setup.feed_from) + x for x in samples])
    wanted = own_points(run, samples if end == "A" else [length - x for x in samples])
    assert apart(made, wanted) < 1e-5
