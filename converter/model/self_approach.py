"""How near a centerline comes to itself: a quick look at chords of many tubes at once, and points along one of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, radians
from typing import Any

from converter.geometry.vectors import Vec
from converter.model.curve import Arc, Segment

#: Thicknesses that a centerline is looked at along: of tube of 25 mm 2.5 km, beyond what `run-size` takes for a tube.
_MOST_TIMES = 100_000
#: Pairs of parts looked at in one go: a bound on memory.
_PAIRS = 100_000


def nearest_to_itself(segments: Sequence[Segment], thick: float) -> tuple[float, float] | None:
    """How near a centerline comes to itself away from its ends, for a tube ``thick`` mm across.

    Looks a thickness apart first and, where that comes close, a tenth of it apart; what is
    returned is at most that much too large.

    Returns:
        The distance in mm and the later place along the centerline; None where it stays well clear, or is longer than
        `_MOST_TIMES` its thickness.
    """
    from converter.geometry.near import self_approach

    if all(surely_apart([(segments, thick)])) or sum(s.length for s in segments) > _MOST_TIMES * thick:
        return None
    for step in (thick, thick / 10.0):
        points, place = sampled(segments, step)
        met = self_approach(points, place, 2.0 * thick, 1.5 * thick, thick + step)
        if met is None:
            return None
    return met


def surely_apart(tubes: Sequence[tuple[Sequence[Segment], float]]) -> list[bool]:
    """A quick look at chords, of many tubes at once: whether parts of each stay a thickness apart.

    Parts with less than half a turn between them cannot meet (Fenchel's theorem).

    Args:
        tubes: of each its centerline, and mm of its thickness.
    """
    found: list[bool] = []
    some: list[_PartPairs] = []
    count = 0
    for i, (segments, thick) in enumerate(tubes):
        some.append(_PartPairs.of(segments, thick))
        count += len(some[-1].first)
        if count >= _PAIRS or i == len(tubes) - 1:
            found += _keep_apart(some)
            some, count = [], 0
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _PartPairs:
    """The chords of a centerline's parts, (n, 3) from start to end each; every pair of them with half a turn or more
    from the start of the first to the end of the second; and the mm that chords must keep for the tube to be clear."""

    start: Any
    end: Any
    first: Any
    second: Any
    clear: float

    @classmethod
    def of(cls, segments: Sequence[Segment], thick: float) -> _PartPairs:
        """Those of one tube."""
        import numpy as np

        from converter.geometry.near import pairs_apart

        points: list[Vec] = []
        turns: list[float] = []
        slack = 0.0
        for s in segments:
            points.append(s.start)
            if not isinstance(s, Arc):
                turns.append(0.0)
                continue
            # up to a right angle the chord serves: what it leaves out is slack
            count = max(1, ceil(s.angle / 90.0 - 1e-9))
            points += [s.point(s.angle * k / count) for k in range(1, count)]
            turns += [s.angle / count] * count
            slack = max(slack, s.radius * (1.0 - cos(radians(s.angle / count / 2.0))))
        points.append(segments[-1].end)
        total, ends = np.cumsum(turns), np.array(points)
        i, j = pairs_apart(len(turns))
        some = total[j] - total[i] + np.array(turns)[i] >= 180.0
        return cls(ends[:-1], ends[1:], i[some], j[some], thick + 2.0 * slack)


def _keep_apart(some: Sequence[_PartPairs]) -> list[bool]:
    import numpy as np

    from converter.geometry.near import least_between

    sizes = [len(one.first) for one in some]
    shifts = np.repeat(np.cumsum([0, *(len(one.start) for one in some[:-1])]), sizes)
    start, end, first, second = (
        np.concatenate([getattr(one, name) for one in some]) for name in ("start", "end", "first", "second")
    )
    apart = least_between(start, end, first + shifts, second + shifts)
    least = np.full(len(some), np.inf)
    np.minimum.at(least, np.repeat(np.arange(len(some)), sizes), apart)
    return [near > one.clear for near, one in zip(least.tolist(), some, strict=True)]


def sampled(segments: Sequence[Segment], step: float) -> tuple[Any, Any]:
    """Points (n, 3) at most ``step`` mm apart along segments that follow each other, and their places (n,) in mm."""
    import numpy as np

    from converter.model.deviation import points_along

    points: list[Any] = []
    place: list[Any] = []
    at = 0.0
    for s in segments:
        u = np.arange(0.0, (count := max(1, ceil(s.length / step))) + 1.0) / count
        points.append(points_along(s, u))
        place.append(at + u * s.length)
        at += s.length
    return np.concatenate(points), np.concatenate(place)
