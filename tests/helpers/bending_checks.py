"""A bender that follows a set-up: orders, points of the tube, a shop."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from machine import Order

from converter.bending.setup.setup import Setup
from converter.model.bends import BendTable
from converter.model.curve import Line
from converter.model.run import Run
from converter.shop.model import Die, Machine, Shop, Trial


def shop_for(table: BendTable, tests: tuple[tuple[float, float], ...] = (), offset: float | None = 7.0) -> Shop:
    """A shop with a die for every radius of the table, and test bends (stop, angle) on each of them."""
    radii = sorted({bend.clr for bend in table.bends})
    apart_enough = [r for r, after in pairwise([*radii, 1e9]) if after - r > 0.2]
    dies = tuple(Die(f"D{r:g}", "round", 20.0, r, mark_offset=offset) for r in apart_enough)
    trials = tuple(Trial(die.name, None, None, stop, angle) for die in dies for stop, angle in tests)
    return Shop("test", dies, Machine(), tests=trials)


def orders(setup: Setup) -> list[Order]:
    """What a person reads off the set-up, and what the metal then does."""
    return [
        Order(step.mark, (step.die.mark_offset or 0.0) if step.die else 0.0, step.roll, step.target, step.radius,
              step.stick)
        for step in setup.steps
    ]  # fmt: skip


def own_points(run: Run, lengths: list[float]) -> np.ndarray:
    """Points of a centerline at distances from its end A: walked along its own segments."""
    found = []
    for wanted in lengths:
        left = wanted
        for segment in run.centerline:
            if left <= segment.length + 1e-9:
                break
            left -= segment.length
        left = min(max(left, 0.0), segment.length)
        if isinstance(segment, Line):
            share = left / segment.length
            found.append([a + (b - a) * share for a, b in zip(segment.start, segment.end, strict=True)])
        else:
            found.append(segment.point(segment.angle * left / segment.length))
    return np.array(found)
