"""Where legs of tubes are nearest to each other, for many pairs of legs at once.

Two straights have a closed form. Where one is a bend, places along it are tried and narrowed down, each against
the nearest place of the other leg, which has a closed form too: the foot on a straight, and on a bend the place
that lies in the same direction from its centre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints
from converter.joints.bodies import Leg
from converter.joints.near.index import LegIndex, rows_of

#: Places tried along a bend; then about the best one, and how often.
_COARSE, _FINE, _ROUNDS = 33, 9, 16
#: Part of a bend between the places tried first.
STEP = 1.0 / (_COARSE - 1)
#: Pairs looked at together: few enough for their places to stay in the processor's cache.
_AT_ONCE = 1024


@dataclass(frozen=True, slots=True)
class Legs:
    """Some legs as arrays, one row each.

    Attributes:
        origin, x, y, sweep: see `converter.joints.near.index.rows_of`.
        length: mm.
    """

    origin: Array
    x: Array
    y: Array
    sweep: Array
    length: Array

    @classmethod
    def of(cls, legs: Sequence[Leg]) -> Legs:
        """Of single legs."""
        return cls(*rows_of(legs), np.array([leg.length for leg in legs]))

    @classmethod
    def all_of(cls, index: LegIndex) -> Legs:
        """All legs of an index."""
        return cls(*index.shape, index.length)

    def rows(self, chosen: Ints) -> Legs:
        """Some of them."""
        return Legs(self.origin[chosen], self.x[chosen], self.y[chosen], self.sweep[chosen], self.length[chosen])

    def at(self, part: Array) -> Array:
        """Points at parts (n, k) of their lengths, (3, n, k)."""
        c, s = part, np.zeros_like(part)
        if self._is_bent.any():
            turn = part * self.sweep[:, None]
            c, s = np.where(self._is_bent, np.cos(turn), part), np.where(self._is_bent, np.sin(turn), 0.0)
        # three arrays that numpy goes through in one go, where rows of three numbers would make it start anew each time
        value: Array = np.stack([o + c * x + s * y for o, x, y in zip(*self._columns, strict=True)])
        return value

    def foot(self, points: Array) -> tuple[Array, Array]:
        """The nearest places to points (3, n, k): parts of the length (n, k), and distances."""
        origin, x, y = self._columns
        w = [points[i] - origin[i] for i in range(3)]
        along = w[0] * x[0] + w[1] * x[1] + w[2] * x[2]
        part = along / np.maximum(x[0] * x[0] + x[1] * x[1] + x[2] * x[2], 1e-300)
        if self._is_bent.any():
            sweep = np.where(self._is_bent, self.sweep[:, None], 1.0)
            turn = np.arctan2(w[0] * y[0] + w[1] * y[1] + w[2] * y[2], along)
            turn = np.where(turn < (sweep - 2.0 * np.pi) / 2.0, turn + 2.0 * np.pi, turn)
            part = np.where(self._is_bent, turn / sweep, part)
        part = np.clip(part, 0.0, 1.0)
        off = points - self.at(part)
        return part, np.sqrt(off[0] * off[0] + off[1] * off[1] + off[2] * off[2])

    @property
    def _is_bent(self) -> NDArray[np.bool_]:
        value: NDArray[np.bool_] = (self.sweep > 0.0)[:, None]
        return value

    @property
    def _columns(self) -> tuple[Array, Array, Array]:
        """Origins and axes, the three numbers of each as columns (n, 1)."""
        origin, x, y = (v.T[:, :, None] for v in (self.origin, self.x, self.y))
        return origin, x, y


def nearest_of_pairs(one: Legs, two: Legs) -> tuple[Array, Array, Array]:
    """Nearest places of legs, row by row: (length on the first, on the second, distance), mm, (n,) each."""
    count = len(one.length)
    s, t, off = np.empty(count), np.empty(count), np.empty(count)
    bent_one, bent_two = one.sweep > 0.0, two.sweep > 0.0
    flat = np.flatnonzero(~bent_one & ~bent_two)
    if len(flat):
        s[flat], t[flat], off[flat] = _straights(one.rows(flat), two.rows(flat))
    for chosen, along, other, first in (
        (np.flatnonzero(bent_one & bent_two), one, two, (s, t)),
        (np.flatnonzero(bent_one & ~bent_two), one, two, (s, t)),
        (np.flatnonzero(~bent_one & bent_two), two, one, (t, s)),
    ):
        for start in range(0, len(chosen), _AT_ONCE):
            some = chosen[start : start + _AT_ONCE]
            first[0][some], first[1][some], off[some] = _along(along.rows(some), other.rows(some))
    return s, t, off


def _along(bent: Legs, other: Legs) -> tuple[Array, Array, Array]:
    """The nearest places of bends and other legs: lengths on both, and distances."""
    row: NDArray[np.int64] = np.arange(len(bent.length))
    part = np.broadcast_to(np.linspace(0.0, 1.0, _COARSE), (len(row), _COARSE))
    width = STEP
    for _ in range(_ROUNDS + 1):
        there, off = other.foot(bent.at(part))
        best = off.argmin(axis=1)
        s, t, least = part[row, best], there[row, best], off[row, best]
        part = np.clip(s[:, None] + np.linspace(-width, width, _FINE), 0.0, 1.0)
        width *= 2.0 / (_FINE - 1)
    return s * bent.length, t * other.length, least


def _straights(one: Legs, two: Legs) -> tuple[Array, Array, Array]:
    """Nearest places of straights of limited length (elementary, clamped to their ends in turn).

    Of parallel ones the middle of the first, moved to the ends of the second where it is past them.
    """
    a, b = one.x / one.length[:, None], two.x / two.length[:, None]
    w = one.origin - two.origin
    cosine, wa, wb = (a * b).sum(axis=1), (w * a).sum(axis=1), (w * b).sum(axis=1)
    sine2 = 1.0 - cosine * cosine
    crossing = sine2 > 1e-12
    s = np.where(crossing, (wb * cosine - wa) / np.where(crossing, sine2, 1.0), one.length / 2.0)
    s = np.clip(s, 0.0, one.length)
    t = np.clip(wb + s * cosine, 0.0, two.length)
    s = np.clip(t * cosine - wa, 0.0, one.length)
    off: Array = np.linalg.norm(w + s[:, None] * a - t[:, None] * b, axis=1)
    return s, t, off


def nearest(one: Leg, two: Leg) -> tuple[float, float, float]:
    """Nearest places of two legs: (length on the first, on the second, distance), mm."""
    s, t, off = nearest_of_pairs(Legs.of([one]), Legs.of([two]))
    return float(s[0]), float(t[0]), float(off[0])
