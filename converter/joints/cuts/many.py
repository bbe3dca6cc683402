"""Lines and round parts in pairs, many at once: where each line enters its part, and whether a place lies in it.

The same as the parts say of the lines of one branch, to rounding; what is flat is left to them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from converter.geometry.vectors import Vec
from converter.joints.cuts.lines import Array, Hits, ObstaclePart
from converter.joints.cuts.saddle import RoundPrism
from converter.joints.cuts.torus import BendPart, Rings

Ints = NDArray[np.int64]


class ManyParts:
    """Parts as arrays.

    A line is given by a point (k, 3) and a unit direction (k, 3): at length t it is at point - t direction. ``part``
    (k,) says by its place in the list with which part each is paired.
    """

    def __init__(self, every: Sequence[ObstaclePart]) -> None:
        self._bent = np.array([isinstance(part, BendPart) for part in every], dtype=np.bool_)
        self._flat = np.array([isinstance(p, BendPart) and not p.half_up == p.half_across == p.corner for p in every])
        self._round = np.array([isinstance(part, RoundPrism) for part in every], dtype=np.bool_)
        self._bends = _bends(every)
        self._tubes = _tubes(every)

    def stops(self, points: Array, ways: Array, part: Ints, low: Array, high: Array) -> tuple[Array, Ints]:
        """(t, left): where each line enters its part, -inf where it does not; and which are left for the part to tell.

        Bends are looked for between the lengths ``low`` and ``high`` (k,).
        """
        t = np.full(len(part), -np.inf)
        for some in self._bend_groups(part):
            t[some] = self._rings(points[some], ways[some], part[some]).entries(low[some], high[some]).t
        left = ~self._bent[part] & ~self._round[part]
        some = np.flatnonzero(self._round[part])
        if len(some):
            t[some], left[some] = self._into_tubes(points[some], ways[some], part[some])
        return t, np.flatnonzero(left)

    def hold(self, points: Array, ways: Array, part: Ints, t: Array) -> tuple[Hits, Ints]:
        """(held, left): whether the place at the length ``t`` of each line lies inside its part; and which are left."""
        held = np.zeros(len(part), dtype=np.bool_)
        for some in self._bend_groups(part):
            rings = self._rings(points[some], ways[some], part[some])
            held[some] = rings.hold(np.arange(len(some)), t[some])
        some = np.flatnonzero(self._round[part])
        held[some] = self._in_tubes(points[some], ways[some], part[some], t[some])
        return held, np.flatnonzero(~self._bent[part] & ~self._round[part])

    def _bend_groups(self, part: Ints) -> list[Ints]:
        bent, flat = self._bent[part], self._flat[part]
        return [some for some in (np.flatnonzero(bent & ~flat), np.flatnonzero(bent & flat)) if len(some)]

    def _rings(self, points: Array, ways: Array, part: Ints) -> Rings:
        table = self._bends[part]
        w = points - table[:, :3]
        axes = [table[:, i : i + 3] for i in (3, 6, 9)]
        return Rings(
            table[:, 12],
            table[:, 13],
            (table[:, 14], table[:, 15], table[:, 16]),
            table[:, 17],
            np.stack([(w * axis).sum(axis=1) for axis in axes]),
            np.stack([(ways * axis).sum(axis=1) for axis in axes]),
        )

    def _into_tubes(self, points: Array, ways: Array, part: Ints) -> tuple[Array, Hits]:
        """See `RoundPrism.stops`; and which lines run lengthwise in a part that nothing ends."""
        point, axis, radius, bounds = (one[part] for one in self._tubes)
        w, d = points - point, ways
        k = np.cross(axis, d)
        sine = np.linalg.norm(k, axis=1)
        lengthwise = sine < 1e-9
        safe = np.where(lengthwise, 1.0, sine)
        off = (w * k).sum(axis=1) / safe
        across = d - (d * axis).sum(axis=1)[:, None] * axis
        beside = (w * across).sum(axis=1) / (safe * safe)
        room = radius * radius - off * off
        half = np.sqrt(np.maximum(room, 0.0)) / safe
        low, high, hit = beside - half, beside + half, room >= -1e-9 * radius * radius
        if bool(lengthwise.any()):
            along = (w * axis).sum(axis=1)
            hit = np.where(lengthwise, (w * w).sum(axis=1) - along * along <= radius * radius, hit)
            low, high = np.where(lengthwise, -np.inf, low), np.where(lengthwise, np.inf, high)
        for i in (0, 1):
            at, normal = bounds[:, i, :3], bounds[:, i, 3:]
            ahead = (normal * d).sum(axis=1)
            start = ((points - at) * normal).sum(axis=1)
            level = np.abs(ahead) < 1e-12
            hit &= ~level | (start <= 1e-9)
            edge = start / np.where(level, 1.0, ahead)
            low = np.where(~level & (ahead > 0.0), np.maximum(low, edge), low)
            high = np.where(~level & (ahead < 0.0), np.minimum(high, edge), high)
        hit &= low <= high
        endless = lengthwise & ((hit & np.isinf(high)) | ~bounds.any(axis=(1, 2)))
        return np.where(hit, high, -np.inf), endless

    def _in_tubes(self, points: Array, ways: Array, part: Ints, t: Array) -> Hits:
        """See `RoundPrism.holds`."""
        point, axis, radius, bounds = (one[part] for one in self._tubes)
        places = points - t[:, None] * ways
        w = places - point
        aside = w - (w * axis).sum(axis=1)[:, None] * axis
        held: Hits = (aside * aside).sum(axis=1) < radius * radius
        for i in (0, 1):
            held &= ((places - bounds[:, i, :3]) * bounds[:, i, 3:]).sum(axis=1) <= 0.0
        return held


def _bends(every: Iterable[ObstaclePart]) -> Array:
    """Bends as rows: centre, the axes x, y and z, radius, sweep, half sizes, corner and roll; others as zeros."""
    rows = []
    for one in every:
        if not isinstance(one, BendPart):
            rows.append((0.0,) * 18)
            continue
        x, y = one.axes
        sizes = (one.clr, one.sweep, one.half_up, one.half_across, one.corner, one.roll)
        rows.append((*one.center, *x, *y, *one.normal, *sizes))
    return np.array(rows, dtype=np.float64).reshape(-1, 18)


def _tubes(every: Iterable[ObstaclePart]) -> tuple[Array, Array, Array, Array]:
    """Straight round parts as rows: point, axis, radius, and two half-spaces (of no effect where there are fewer)."""
    points: list[Vec] = []
    axes: list[Vec] = []
    radii: list[float] = []
    bounds: list[Sequence[tuple[float, ...]]] = []
    for one in every:
        here = one if isinstance(one, RoundPrism) else None
        points.append(here.point if here else (0.0, 0.0, 0.0))
        axes.append(here.axis if here else (0.0, 0.0, 1.0))
        radii.append(here.radius if here else 0.0)
        given: list[tuple[float, ...]] = [(*point, *normal) for point, normal in (here.bounds if here else ())]
        bounds.append([*given, *[(0.0,) * 6] * 2][:2])
    return np.array(points), np.array(axes), np.array(radii), np.array(bounds).reshape(-1, 2, 6)
