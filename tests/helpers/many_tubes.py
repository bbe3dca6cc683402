"""Jobs of many different tubes, to measure how what is written grows with them."""

from __future__ import annotations

import random

from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section


def different_tubes(count: int, bends: int = 8, seed: int = 1) -> list[Tube]:
    """Tubes of which no two are alike, side by side; the same seed gives the same tubes.

    Args:
        count: how many.
        bends: of each.
        seed: of the random numbers; the first tubes of a longer job are those of a shorter one.
    """
    rng = random.Random(seed)
    section = Section("round", 38.1, 3.0)
    found = []
    for number in range(count):
        rows = tuple(
            Bend(rng.uniform(150.0, 320.0), rng.uniform(-170.0, 170.0) if i else 0.0, rng.uniform(20.0, 100.0), 114.3)
            for i in range(bends)
        )
        place = Placement((0.0, 2500.0 * number, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
        table = BendTable(rows, rng.uniform(150.0, 320.0))
        found.append(Tube(Run(f"T{number + 1}", "TUBES", False, table, place), section, metal="mild steel"))
    return found
