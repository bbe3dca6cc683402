"""The best filling of a bar's room with pieces of given worth, none more often than it is wanted.

Dynamic programming over the room in steps, once for the rooms of all bars. Where lengths are no multiples of the
step they are rounded up for a filling that fits, down for a worth that no filling exceeds. A mixed-integer solver
gives the same answer (the tests hold it to that); it was measured at tens of milliseconds each, and hundreds are asked.

Pieces that share cuts count with what they save at most; a table for each state of `Sharing` knows what is lost of it.
"""

from __future__ import annotations

from math import gcd

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints
from converter.nesting.sharing import Sharing

#: Steps that the longest room is divided in: for a first answer, and for the last.
COARSE, FINE = 6_000, 120_000
#: mm; lengths that are multiples of a whole number of these may be worked with exactly.
_UNIT = 1e-3
#: Of a step: what rounding of binary fractions may add.
_DUST = 1e-6
#: How often a filling that loses more than its state says is looked for anew, in less room.
_AGAIN = 4
#: mm; what a filling may lie over its room.
_OVER = 1e-7


class Knapsack:
    """Fillings of the same rooms with the same pieces, at any worth.

    Args:
        sizes: (m,) room that each piece takes, less what it saves at most, mm.
        rooms: (k,) of the bars, mm.
        steps: the longest room in steps; fewer where all lengths are multiples of a longer one.
        sharing: what pieces save where their ends share cuts.
    """

    def __init__(self, sizes: Array, rooms: Array, steps: int, sharing: Sharing) -> None:
        longest = float(rooms.max())
        lengths = np.concatenate([sizes, sharing.losses])  # which fill whole steps of any room
        whole = np.rint(lengths / _UNIT)
        exact = bool(np.all(np.abs(lengths - whole * _UNIT) < _UNIT * 2e-3))
        step = longest / max(1, steps // len(sharing.losses))
        common = gcd(*(int(n) for n in whole)) * _UNIT if exact else 0.0
        #: Whether both roundings are one: nothing is rounded.
        self.exact = exact and longest / max(common, _UNIT) <= FINE
        if self.exact:
            step = common
        self._up = np.maximum(1, np.ceil(sizes / step - _DUST)).astype(np.int64)
        self._down = np.floor(sizes / step + _DUST).astype(np.int64)
        self._rooms_up = np.floor(rooms / step + _DUST).astype(np.int64)
        self._rooms_down = self._rooms_up if self.exact else np.floor(rooms / step + 1.0).astype(np.int64)
        self._sizes, self._rooms, self._step, self._sharing = sizes, rooms, step, sharing

    def fill(self, worth: Array, most: Ints) -> list[Ints]:
        """The best filling of each room: how many of each piece."""
        losses = np.ceil(self._sharing.losses / self._step - _DUST).astype(np.int64)
        table = _Table(self._up, worth, most, int(self._rooms_up.max()), self._sharing)
        return [self._filled(table, losses, float(room)) for room in self._rooms]

    def bounds(self, worth: Array, most: Ints) -> Array:
        """What no filling of each room is worth more than."""
        losses = np.floor(self._sharing.losses / self._step + _DUST).astype(np.int64)
        table = _Table(self._down, worth, most, int(self._rooms_down.max()), self._sharing)
        return np.array([table.of(int(room), losses)[0] for room in self._rooms_down])

    def _filled(self, table: _Table, losses: Ints, room: float) -> Ints:
        """A filling that fits: what more is lost than its state says is taken off the room it is looked for in."""
        within = room
        for _ in range(_AGAIN):
            counts = table.filling(int(np.floor(within / self._step + _DUST)), losses)
            over = float(self._sizes @ counts) + self._sharing.lost(counts) - room
            # a table counts sizes rounded up, so without losses nothing is over but dust
            if over <= max(_OVER, self._step * _DUST * counts.sum()):
                return counts
            within -= over
        return table.filling(int(np.floor((room - self._sharing.most_lost) / self._step)), losses)


class _Table:
    """Best worth for each room in steps and each state of what is shared, and how it comes about."""

    def __init__(self, sizes: Ints, worth: Array, most: Ints, room: int, sharing: Sharing) -> None:
        self._best = np.full((len(sharing.losses), room + 1), -np.inf)
        self._best[0] = 0.0
        self._sizes, self._sharing = sizes, sharing
        #: (piece, times, where each state leads to, of each state where it helps)
        self._offers: list[tuple[int, int, list[int], list[NDArray[np.bool_]]]] = []
        for i in np.flatnonzero((worth > 0.0) & (most > 0) & (sizes <= room)):
            if sizes[i] == 0:  # shorter than half a step, of a bound: all of it fits, whatever cuts it shares
                self._best[:] = self._best.max(axis=0) + worth[i] * most[i]
                continue
            left, times = int(min(most[i], room // sizes[i])), 1
            while left > 0:  # 1, 2, 4 ... and the rest make every number up to the most
                times = min(times, left)
                self._offer(int(i), times, worth[i] * times)
                left, times = left - times, 2 * times

    def of(self, room: int, losses: Ints) -> tuple[float, int, int]:
        """(worth, state, what is left of it without its loss) of the best filling of a room."""
        found = [
            (float(self._best[s, left]), s, left) for s, loss in enumerate(losses) if (left := room - int(loss)) >= 0
        ]
        return max(found, key=lambda one: one[0], default=(0.0, 0, 0))

    def filling(self, room: int, losses: Ints) -> Ints:
        """How many of each piece the best filling of a room has."""
        counts = np.zeros(len(self._sizes), dtype=np.int64)
        _, state, room = self.of(room, losses)
        for piece, times, moves, better in reversed(self._offers):
            size = int(self._sizes[piece]) * times
            if room < size:
                continue
            # of several states that led here the last one that helped
            came = [s for s, to in enumerate(moves) if to == state and better[s][room - size]]
            if came:
                counts[piece] += times
                room, state = room - size, came[-1]
        return counts

    def _offer(self, piece: int, times: int, worth: float) -> None:
        size = int(self._sizes[piece]) * times
        if size >= self._best.shape[1]:
            return
        moves = self._sharing.moves(piece, times)
        with_it = self._best[:, :-size] + worth
        helps = []
        for state, to in enumerate(moves):
            better = with_it[state] > self._best[to, size:]
            np.copyto(self._best[to, size:], with_it[state], where=better)
            helps.append(better)
        self._offers.append((piece, times, moves, helps))
