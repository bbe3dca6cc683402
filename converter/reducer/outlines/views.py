"""One thing drawn from several sides, side by side on a sheet: the views are no tubes, whatever they are drawn with.

Each view is as wide or as high as its neighbour, and of the two that stand beside one view the third size agrees as
well. Three sizes that agree by chance are rare, but equal parts laid out in rows agree in all of them; so a view that
is the like of its neighbour is none. Two views have one size in common; they are told where each is one line, bent, and
both end in line with one another, as the views of a tube do. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from converter.arrays import Array, Ints
from converter.findings import Clause
from converter.geometry.clusters import close_pairs, components
from converter.model.curve import Arc, Curve, Path, Polyline
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.ends import curve_length, middle, sample
from converter.reducer.fitting.segment import turn_angles
from converter.reducer.outlines.evidence import Evidence
from converter.tolerances import DEFAULT

#: Curves of such a drawing at most, and parts of it that lie apart.
_CURVES, _VIEWS = 1000, 8
#: Parts that are looked at, and how often boxes that meet are put together.
_PARTS, _ROUNDS = 300, 10
#: Points along an arc: 0.03 % of its radius is what they miss of its height.
_POINTS = 33
#: mm: sizes of one thing in two views differ by so much where coordinates are rounded.
_ALIKE = 0.5
#: mm and part of the greatest size: less deep, a thing is flat, and one view shows it.
_DEEP, _DEEP_SHARE = 10.0, 0.02
#: Part of the width: two views that lean to two sides by so much are no parts of one kind.
_LEAN = 0.05
#: Part of the sheet's width and height that a border takes.
_AROUND = 0.999


def views_seen(curves: Sequence[DrawnCurve]) -> tuple[str, Evidence] | None:
    """That a flat drawing holds three views of one thing ('views') or two of one tube ('two views'); None otherwise.

    Args:
        curves: everything drawn, mm.
    """
    if not 2 <= len(curves) <= _CURVES:
        return None
    ends = np.array([p for drawn in curves for p in (drawn.curve.start, drawn.curve.end)])
    size = np.ptp(ends, axis=0)
    flat = int(np.argmin(size))
    if size[flat] > DEFAULT.join:
        return None
    one, other = close_pairs(ends, DEFAULT.join)
    own = np.arange(0, len(ends), 2)
    part = components(len(ends), np.concatenate((one, own)), np.concatenate((other, own + 1)))[::2]
    plane = [axis for axis in range(3) if axis != flat]
    both = ends[:, plane].reshape(-1, 2, 2)
    if not 2 <= len(_apart(part, both.min(axis=1), both.max(axis=1))) <= _VIEWS:
        return None
    points = [sample(drawn.curve, _POINTS)[:, plane] for drawn in curves]
    views = _apart(part, np.array([p.min(axis=0) for p in points]), np.array([p.max(axis=0) for p in points]))
    if len(views) == 2:
        found = _two_views(curves, points, views)
        return None if found is None else ("two views", found)
    found = _three_views(curves, views)
    return None if found is None else ("views", found)


def _two_views(curves: Sequence[DrawnCurve], points: Sequence[Array], views: Sequence[_SheetView]) -> Evidence | None:
    """That two views show one tube."""
    one, other = views
    for axis in (0, 1):
        depths = one.size[1 - axis], other.size[1 - axis]
        if not one.is_as_wide(other, axis) or min(*depths, one.size[axis]) < _DEEP:
            continue
        ends = [_free_ends([points[k] for k in view.curves], axis) for view in views]
        if any(len(own) != 2 for own in ends) or float(np.abs(ends[0] - ends[1]).max()) > _ALIKE:
            continue
        turns = [sorted(turn for k in view.curves for turn in _turns(curves[k].curve)) for view in views]
        lean = [_lean([points[k] for k in view.curves], axis) for view in views]
        if turns[0] == turns[1] and lean[0] * lean[1] >= -_LEAN * _LEAN:
            continue  # parts of one kind, one longer than the other
        words = Clause.of("outline-two-views", size=one.size[axis], depths=depths, how="wide" if axis == 0 else "high")
        return Evidence(words, False, None, 2, tuple(middle(curves[view.curves[0]].curve) for view in views))
    return None


def _free_ends(rows: Sequence[Array], axis: int) -> Array:
    """Where along an axis the ends lie that meet no other end, in order."""
    ends = np.array([row[k] for row in rows for k in (0, -1)])
    met = np.unique(np.concatenate(close_pairs(np.column_stack((ends, np.zeros(len(ends)))), DEFAULT.join)))
    free: Array = np.sort(np.delete(ends, met, axis=0)[:, axis])
    return free


def _turns(curve: Curve) -> list[tuple[int, int]]:
    """Radius (mm, 0 of a corner) and angle (degrees) of each bend of a curve, rounded."""
    if isinstance(curve, Path):
        return [turn for part in curve.parts for turn in _turns(part)]
    if isinstance(curve, Arc):
        return [(round(curve.radius), round(curve.angle))]
    if isinstance(curve, Polyline):
        return [(0, round(turn)) for turn in turn_angles(np.asarray(curve.points, float)).tolist()]
    return []


def _lean(rows: Sequence[Array], axis: int) -> float:
    """How far most of what is drawn lies to one side along an axis: from -0.5 to 0.5 of the width."""
    starts, ends = np.concatenate([row[:-1] for row in rows]), np.concatenate([row[1:] for row in rows])
    lengths = np.sqrt(((ends - starts) ** 2).sum(axis=1))
    along = (starts[:, axis] + ends[:, axis]) / 2.0
    low, high = min(starts[:, axis].min(), ends[:, axis].min()), max(starts[:, axis].max(), ends[:, axis].max())
    return float(((lengths @ along) / lengths.sum() - low) / (high - low) - 0.5)


def _three_views(curves: Sequence[DrawnCurve], views: Sequence[_SheetView]) -> Evidence | None:
    """That three views show one thing."""
    lengths = {view: sum(curve_length(curves[k].curve) for k in view.curves) for view in views}
    for base, over, beside in permutations(views, 3):
        depth = over.size[1]
        if not (over.is_as_wide(base, 0) and beside.is_as_wide(base, 1) and abs(beside.size[0] - depth) <= _ALIKE):
            continue
        if min(depth, *base.size) < max(_DEEP, _DEEP_SHARE * max(base.size)):
            continue
        if len({(*(round(side) for side in view.size), round(lengths[view])) for view in (base, over, beside)}) < 3:
            continue
        seen = Clause.of("outline-views", width=base.size[0], height=base.size[1], depth=depth)
        return Evidence(seen, False, None, 3, tuple(middle(curves[v.curves[0]].curve) for v in (base, over, beside)))
    return None


@dataclass(frozen=True, slots=True)
class _SheetView:
    """Curves that lie apart from all others.

    Attributes:
        curves: their places.
        low, high: corners of the box around them, mm in the plane.
    """

    curves: tuple[int, ...]
    low: tuple[float, float]
    high: tuple[float, float]

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        return self.high[0] - self.low[0], self.high[1] - self.low[1]

    def is_as_wide(self, other: _SheetView, axis: int) -> bool:
        """Whether both reach from and to the same along an axis."""
        return abs(self.low[axis] - other.low[axis]) <= _ALIKE and abs(self.high[axis] - other.high[axis]) <= _ALIKE


def _apart(part: Ints, low: Array, high: Array) -> list[_SheetView]:
    """What lies apart in a drawing; a border around all is nothing of it, and of very many parts there is none.

    Args:
        part: (n,) of the curves, by what they hang together with.
        low, high: (n, 2) corners of the boxes around them.
    """
    for again in range(_ROUNDS):
        labels, number = np.unique(part, return_inverse=True)
        if not 2 <= len(labels) <= _PARTS:
            return []
        least, most = np.full((len(labels), 2), np.inf), np.full((len(labels), 2), -np.inf)
        np.minimum.at(least, number, low)
        np.maximum.at(most, number, high)
        around = ((most - least) >= _AROUND * np.ptp(np.concatenate((low, high)), axis=0)).all(axis=1)
        if not again and around.any() and len(labels) > 2:
            inner = ~around[number]
            inside = _apart(part[inner], low[inner], high[inner])
            places = np.flatnonzero(inner).tolist()
            return [_SheetView(tuple(places[k] for k in view.curves), view.low, view.high) for view in inside]
        meet = (least[:, None] <= most).all(axis=2) & (most[:, None] >= least).all(axis=2)
        one, other = np.nonzero(np.triu(meet, 1))
        if not one.size:
            break
        part = components(len(labels), one, other)[number]
    return [
        _SheetView(tuple(np.flatnonzero(number == k).tolist()), tuple(least[k].tolist()), tuple(most[k].tolist()))
        for k in range(len(labels))
    ]
