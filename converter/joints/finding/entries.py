"""Where the axes of ends enter the outsides of bent mates, for many at once.

The bend and what lies beside it on its tube are the same parts that a cut is made by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import permutations
from math import radians, sin

import numpy as np

from converter.arrays import Ints
from converter.joints.bodies import Body, End
from converter.joints.cuts.lines import Branch, NoCutError, ObstaclePart, ParallelLines
from converter.joints.cuts.many import EachLine, ManyParts

#: mm; so far before a place where the axis enters a mate it is looked at whether that is outside of it.
OUTSIDE = 1e-4


@dataclass(frozen=True, slots=True)
class Approach:
    """An axis near a bend: the end, its tube and the other, the leg that is the bend and the length on it of the
    nearest place, the length ahead of the end to it, and the angle between the axes, degrees."""

    end: End
    own: Body
    mate: Body
    leg: int
    at: float
    ahead: float
    angle: float


def entries_into_bends(approaches: Sequence[Approach]) -> list[float | None]:
    """Length back from each end at which its axis enters the mate; None where it passes beside it.

    A bend may be entered further off than a straight would be, up to where the tube has its other end; of several
    places the one nearest to the end is meant, so the stretch that is looked at grows step by step.
    """
    found: list[float | None] = [None] * len(approaches)
    widest = [1.5 * a.mate.half / sin(radians(max(a.angle, 10.0))) + a.mate.half for a in approaches]
    parts = _LegParts()
    left = list(range(len(approaches)))
    while left:
        high = [min(-approaches[i].ahead + widest[i], approaches[i].own.length) for i in left]
        reached = _nearest_entries([approaches[i] for i in left], [widest[i] for i in left], high, parts)
        further = []
        for i, end, entry in zip(left, high, reached, strict=True):
            if np.isfinite(entry):
                found[i] = entry
            elif end < approaches[i].own.length:
                widest[i] *= 2.0
                further.append(i)
        left = further
    return found


@dataclass(slots=True)
class _LegParts:
    """The parts of legs that were asked for, each made once; a bend's window is that of whoever asks."""

    every: list[ObstaclePart] = field(default_factory=list)
    of_leg: dict[tuple[int, tuple[float, float], int, bool], list[int]] = field(default_factory=dict)

    def around(self, approach: Approach, reach: float) -> list[int]:
        """The numbers of the parts of a mate about a place."""
        mate = approach.mate
        legs = mate.around(approach.leg, approach.at, reach)
        if len(legs) == 1:
            return self._of(mate, legs[0], True)
        return [number for leg in legs for number in self._of(mate, leg, False)]

    def _of(self, mate: Body, leg: int, alone: bool) -> list[int]:
        key = (mate.index, mate.span, leg, alone)
        if key not in self.of_leg:
            made = mate.parts(leg, alone, 0.0, (0.0, 0.0, 0.0))
            self.of_leg[key] = list(range(len(self.every), len(self.every) + len(made)))
            self.every += made
        return self.of_leg[key]


def _nearest_entries(
    approaches: Sequence[Approach], widest: Sequence[float], high: Sequence[float], parts: _LegParts
) -> list[float]:
    """Of each axis the greatest length up to ``high`` at which it enters a part from outside of all, -inf for none."""
    numbers = [parts.around(a, wide) for a, wide in zip(approaches, widest, strict=True)]
    row = np.repeat(np.arange(len(numbers)), [len(one) for one in numbers])
    part: Ints = np.array([number for one in numbers for number in one], dtype=np.int64)
    many = ManyParts(parts.every)
    branches = [Branch.at(a.end.point, a.end.direction, a.own.section) for a in approaches]
    axes = EachLine.axes_of(branches)
    ahead, most = np.array([a.ahead for a in approaches]), np.array(high)
    t, left = many.stops(axes.rows(row), part, (-ahead - np.array(widest))[row], most[row])
    for k in left.tolist():
        t[k] = _alone(branches[row[k]].axis(), parts.every[part[k]])
    entered = np.isfinite(t) & (t <= most[row])
    # from one part into the next is no way in
    first = np.cumsum([0, *(len(one) for one in numbers)])
    several = [i for i, one in enumerate(numbers) if len(one) > 1]
    pairs = [
        (first[i] + one, first[i] + other) for i in several for one, other in permutations(range(len(numbers[i])), 2)
    ]
    if pairs:
        one, other = np.array(pairs).T
        asked = np.flatnonzero(entered[one])
        one, other, at = one[asked], other[asked], t[one[asked]] + OUTSIDE
        held, left = many.hold(axes.rows(row[one]), part[other], at)
        for k in left.tolist():
            held[k] = bool(parts.every[part[other[k]]].holds(branches[row[one[k]]].axis(), at[k : k + 1])[0])
        entered[one[held]] = False
    best = np.full(len(approaches), -np.inf)
    np.maximum.at(best, row[entered], t[entered])
    return [float(v) for v in best]


def _alone(axis: ParallelLines, part: ObstaclePart) -> float:
    """Where one axis enters one part, -inf where it does not."""
    try:
        t, hit, _ = part.stops(axis)
    except NoCutError:  # a leg beside the bend that the axis runs along
        return -np.inf
    return float(t[0]) if hit[0] else -np.inf
