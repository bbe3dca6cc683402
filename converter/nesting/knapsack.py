"""The best filling of a bar's room with pieces of given worth, none more often than it is wanted.

Dynamic programming over the room in steps, once for the rooms of all bars. Where lengths are no multiples of the
step they are rounded up for a filling that fits, down for a worth that no filling exceeds. A mixed-integer solver
gives the same answer (the tests hold it to that); it was measured at tens of milliseconds each, and hundreds are asked.
"""

from __future__ import annotations

from math import gcd

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

#: Steps that the longest room is divided in: for a first answer, and for the last.
COARSE, FINE = 6_000, 120_000
#: mm; lengths that are multiples of a whole number of these may be worked with exactly.
_UNIT = 1e-3
#: Of a step: what rounding of binary fractions may add.
_DUST = 1e-6


class Knapsack:
    """Fillings of the same rooms with the same pieces, at any worth.

    Args:
        sizes: (m,) room that each piece takes, mm.
        rooms: (k,) of the bars, mm.
        steps: the longest room in steps; fewer where all lengths are multiples of a longer one.
    """

    def __init__(self, sizes: Floats, rooms: Floats, steps: int) -> None:
        longest = float(rooms.max())
        whole = np.rint(np.concatenate([sizes, rooms]) / _UNIT)
        exact = bool(np.all(np.abs(np.concatenate([sizes, rooms]) - whole * _UNIT) < _UNIT * 2e-3))
        step = longest / steps
        common = gcd(*(int(n) for n in whole)) * _UNIT if exact else 0.0
        #: Whether both roundings are one: nothing is rounded.
        self.exact = exact and longest / max(common, _UNIT) <= FINE
        if self.exact:
            step = common
        self._up = np.maximum(1, np.ceil(sizes / step - _DUST)).astype(np.int64)
        self._down = np.floor(sizes / step + _DUST).astype(np.int64)
        self._rooms_up = np.floor(rooms / step + _DUST).astype(np.int64)
        self._rooms_down = self._rooms_up if self.exact else np.floor(rooms / step + 1.0).astype(np.int64)

    def fill(self, worth: Floats, most: Counts) -> list[Counts]:
        """The best filling of each room: how many of each piece."""
        table = _Table(self._up, worth, most, int(self._rooms_up.max()))
        return [table.filling(int(room)) for room in self._rooms_up]

    def bounds(self, worth: Floats, most: Counts) -> Floats:
        """What no filling of each room is worth more than."""
        table = _Table(self._down, worth, most, int(self._rooms_down.max()))
        return table.best[self._rooms_down]


class _Table:
    """Best worth for each room in steps, and how it comes about."""

    def __init__(self, sizes: Counts, worth: Floats, most: Counts, room: int) -> None:
        self.best = np.zeros(room + 1)
        self._sizes = sizes
        self._offers: list[tuple[int, int, NDArray[np.bool_]]] = []
        for i in np.flatnonzero((worth > 0.0) & (most > 0) & (sizes <= room)):
            if sizes[i] == 0:  # shorter than half a step: all of it fits
                self.best += worth[i] * most[i]
                continue
            left, times = int(min(most[i], room // sizes[i])), 1
            while left > 0:  # 1, 2, 4 ... and the rest make every number up to the most
                times = min(times, left)
                self._offer(int(i), times, worth[i] * times)
                left, times = left - times, 2 * times

    def _offer(self, piece: int, times: int, worth: float) -> None:
        size = int(self._sizes[piece]) * times
        if size >= len(self.best):
            return
        with_it = self.best[:-size] + worth
        better = with_it > self.best[size:]
        np.copyto(self.best[size:], with_it, where=better)
        self._offers.append((piece, times, better))

    def filling(self, room: int) -> Counts:
        """How many of each piece the best filling of a room has."""
        counts = np.zeros(len(self._sizes), dtype=np.int64)
        for piece, times, better in reversed(self._offers):
            size = int(self._sizes[piece]) * times
            if room >= size and better[room - size]:
                counts[piece] += times
                room -= size
        return counts
