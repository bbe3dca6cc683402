"""Where two tubes overlap deepest.

At that place both tubes are equally deep, so that they overlap there by twice that depth: the sum of the
radii less the distance of the centerlines where round tubes pass one another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from math import pi
from typing import NamedTuple

import numpy as np

from converter.arrays import Array, Ints
from converter.geometry.vectors import Vec
from converter.joints.bodies import Leg
from converter.joints.cuts.trimmed import Trimmed, TrimmedLegs
from converter.joints.near.index import places_on
from converter.joints.near.legs import nearest

#: Points looked at: along a leg at most, around it, and parts of the radius.
_ALONG, _AROUND = 48, 12
_RADII = (0.0, 0.5, 0.85, 1.0)
#: Points of the cloud that looks for the deepest place, how many of them lead, and how often it is drawn.
_CLOUD, _BEST, _ROUNDS = 160, 20, 24
#: Places looked at together: few enough for them to stay in the processor's cache.
_AT_ONCE = 16384


class NearLegs(NamedTuple):
    """Two legs of different tubes that come near one another.

    Attributes:
        tube, mate: the tubes; i, j: their legs.
        axes: of `converter.joints.near.legs.nearest`, where it is known.
    """

    tube: Trimmed
    i: int
    mate: Trimmed
    j: int
    axes: tuple[float, float, float] | None = None

    @property
    def smaller_first(self) -> NearLegs:
        """The smaller tube first."""
        if self.tube.body.half <= self.mate.body.half:
            return self
        axes = self.axes
        return NearLegs(self.mate, self.j, self.tube, self.i, axes and (axes[1], axes[0], axes[2]))

    @property
    def legs(self) -> tuple[Leg, Leg]:
        """Both legs."""
        return self.tube.body.legs[self.i], self.mate.body.legs[self.j]


class _PairDepths:
    """How deep places lie in both legs of pairs at once; places (n, k, 3), ``pair`` (n,)."""

    def __init__(self, pairs: Sequence[NearLegs]) -> None:
        self._legs = TrimmedLegs([leg for pair in pairs for leg in ((pair.tube, pair.i), (pair.mate, pair.j))])

    def depth(self, places: Array, pair: Ints, *, rough: bool) -> Array:
        both = self._legs.depth(np.concatenate((places, places)), np.concatenate((2 * pair, 2 * pair + 1)), rough=rough)
        value: Array = np.minimum(both[: len(pair)], both[len(pair) :])
        return value

    def off_other(self, places: Array, pair: Ints) -> Array:
        """Distances of places from the outsides of the second legs, their cuts left aside."""
        return self._legs.outside(places, 2 * pair + 1)


class JoinedPlaces(NamedTuple):
    """Places where two tubes are joined, and how far about them what they overlap is of no interest, mm."""

    places: Sequence[Vec]
    reach: float


def deepest_of_pairs(
    pairs: Sequence[NearLegs], near: float = 0.0, nodes: Sequence[JoinedPlaces] = ()
) -> list[tuple[float, Vec] | None]:
    """By how much two legs overlap and where they do so deepest; None when they stay further apart than ``near``.

    Args:
        pairs: the legs.
        near: mm; below 0 the overlap is the room between them.
        nodes: of each pair, if any are of interest: None, too, where it shows early that the deepest place lies at one.
    """
    found: list[tuple[float, Vec] | None] = [None] * len(pairs)
    pairs = [pair.smaller_first for pair in pairs]
    gauge = _PairDepths(pairs)
    plain = [_between(pair) for pair in pairs]
    left = [n for n, one in enumerate(plain) if one is None or one[0] > -near]
    asked = [(n, one) for n in left if (one := plain[n]) is not None]
    if asked:
        places = np.array([place for _, (_, place) in asked])[:, None]
        depth = gauge.depth(places, np.array([n for n, _ in asked]), rough=False)[:, 0]
        for (n, one), deep in zip(asked, depth.tolist(), strict=True):
            if abs(2.0 * deep - one[0]) < 1e-6:
                found[n] = one  # no cut takes that place away
    starts = list(_starts(pairs, gauge, [n for n in left if found[n] is None], near, nodes))
    if not starts:
        return found
    pair, place, value, step = (np.array(column) for column in zip(*starts, strict=True))
    places, values = _climbed(gauge, pair, place, value, step)
    # two starts for each, since a cut may part the overlap in two
    best = np.arange(0, len(pair), 2) + (values[1::2] > values[::2])
    exact = gauge.depth(places[best][:, None], pair[best], rough=False)[:, 0]
    for n, (x, y, z), deep in zip(pair[best].tolist(), places[best].tolist(), exact.tolist(), strict=True):
        found[n] = (2.0 * deep, (x, y, z)) if 2.0 * deep > -near else None
    return found


def _starts(
    pairs: Sequence[NearLegs], gauge: _PairDepths, chosen: Sequence[int], near: float, nodes: Sequence[JoinedPlaces]
) -> Iterator[tuple[int, Array, float, float]]:
    """Two places for every pair that may overlap, to climb from: (pair, place, depth there, step to begin with)."""
    stretches = _close_stretches(pairs, gauge, chosen, near)
    samples = {n: _samples(pairs[n], one) for n, one in stretches.items()}
    asked = {n: points for n, (points, _) in samples.items()}
    depths = _of_each(asked, lambda places, some: gauge.depth(places, some, rough=True))
    for n, (points, coarse) in samples.items():
        values = depths[n]
        best = int(values.argmax())
        # between the points it is nowhere deeper by more than this
        more = 2.0 * coarse
        if values[best] < -near / 2.0 - more:
            continue
        if nodes and nodes[n].places and _lies_at(nodes[n], points[values >= values[best] - more], more):
            continue
        far = np.linalg.norm(points - points[best], axis=1) > 4.0 * coarse
        for k in (best, int(np.where(far, values, -np.inf).argmax())):
            yield n, points[k], float(values[k]), coarse


def _lies_at(nodes: JoinedPlaces, points: Array, within: float) -> bool:
    """Whether everything no further than ``within`` from points (n, 3) lies within the reach of nodes."""
    away = np.linalg.norm(points[:, None, :] - np.asarray(nodes.places)[None, :, :], axis=2).min(axis=1)
    return bool((away + within <= nodes.reach).all())


def _of_each(points: Mapping[int, Array], asked: Callable[[Array, Ints], Array]) -> dict[int, Array]:
    """What is asked of the places (n, 3) of each pair, (n,); pairs of like many places at a time, side by side."""
    found: dict[int, Array] = {}
    left = sorted(points, key=lambda n: (-len(points[n]), n))
    while left:
        longest = len(points[left[0]])
        some, left = left[: max(1, _AT_ONCE // longest)], left[max(1, _AT_ONCE // longest) :]
        padded = np.stack([points[n][np.minimum(np.arange(longest), len(points[n]) - 1)] for n in some])
        for n, row in zip(some, asked(padded, np.array(some)), strict=True):
            found[n] = row[: len(points[n])]
    return found


def _climbed(gauge: _PairDepths, pair: Ints, place: Array, value: Array, step: Array) -> tuple[Array, Array]:
    """The deepest places (n, 3) and depths (n,) from some starts; see `_climb`."""
    at_once = max(1, _AT_ONCE // _CLOUD)
    rows = [slice(first, first + at_once) for first in range(0, len(pair), at_once)]
    done = [_climb(gauge, pair[some], place[some], value[some], step[some]) for some in rows]
    return np.concatenate([places for places, _ in done]), np.concatenate([values for _, values in done])


def _climb(gauge: _PairDepths, pair: Ints, start: Array, value: Array, step: Array) -> tuple[Array, Array]:
    """The deepest places from some starts, each by a cloud of points that draws together around its best ones.

    The depth of two tubes at once has a crest that is sharp across and flat along, where a search by
    single steps gets stuck; the cloud takes the crest's shape (the cross-entropy method).
    """
    every = np.arange(len(pair))
    start, value = start.copy(), value.copy()
    at, shape = start, np.eye(3) * step[:, None, None]
    for _ in range(_ROUNDS):
        cloud = at[:, None] + _cloud() @ shape.transpose(0, 2, 1)
        values = gauge.depth(cloud, pair, rough=True)
        order = np.argsort(-values, axis=1)[:, :_BEST]
        lead = values[every, order[:, 0]]
        better = lead > value
        start[better], value[better] = cloud[every, order[:, 0]][better], lead[better]
        leaders = np.take_along_axis(cloud, order[:, :, None], axis=1)
        middle = leaders.mean(axis=1)
        off = leaders - middle[:, None]
        size, axes = np.linalg.eigh(off.transpose(0, 2, 1) @ off / _BEST)
        shape = axes * (1.3 * np.sqrt(np.maximum(size, 1e-12)))[:, None]
        at = (middle + start) / 2.0
    return start, value


@cache
def _cloud() -> Array:
    """Points of the cloud, (n, 3), of size 1: the same ones always."""
    points: Array = np.random.default_rng(1).standard_normal((_CLOUD, 3))
    return points


def lie_near(pairs: Sequence[NearLegs], near: float, nodes: Sequence[JoinedPlaces]) -> list[bool]:
    """Of pairs whether they come within ``near`` of one another only within the reach of one of their nodes.

    A bound: where it does not know it says no.
    """
    found = [False] * len(pairs)
    asked = [n for n, some in enumerate(nodes) if some.places]
    pairs = [pairs[n].smaller_first for n in asked]
    gauge = _PairDepths(pairs)
    for k, (s, spacing, close) in _close_stretches(pairs, gauge, range(len(pairs)), near).items():
        axis = places_on(pairs[k].legs[0], s[max(close[0] - 1, 0) : close[-1] + 2])
        places, reach = nodes[asked[k]]
        away = np.linalg.norm(axis[:, None, :] - np.asarray(places)[None, :, :], axis=2).max(axis=0)
        found[asked[k]] = bool((away + spacing + pairs[k].tube.body.half + abs(near) <= reach).any())
    return found


def _between(pair: NearLegs) -> tuple[float, Vec] | None:
    """Overlap of two round legs where their centerlines are nearest, and the place equally deep in both."""
    r, big = pair.tube.body.section.cylinder, pair.mate.body.section.cylinder
    if r is None or big is None:
        return None
    leg, mate = pair.legs
    s, t, off = pair.axes or nearest(leg, mate)
    p, q = leg.point(s), mate.point(t)
    part = 0.0 if off < 1e-9 else min(max((off + r - big) / (2.0 * off), 0.0), 1.0)
    place = (p[0] + part * (q[0] - p[0]), p[1] + part * (q[1] - p[1]), p[2] + part * (q[2] - p[2]))
    return min(r + big - off, 2.0 * min(r, big)), place


def _samples(pair: NearLegs, stretch: tuple[Array, float, Ints]) -> tuple[Array, float]:
    """Points within a leg along a stretch of it, and how far apart they lie."""
    half, leg = pair.tube.body.half, pair.legs[0]
    s, spacing, close = stretch
    low, high = max(float(s[close[0]]) - spacing, float(s[0])), min(float(s[close[-1]]) + spacing, float(s[-1]))
    count = max(5, min(_ALONG, int((high - low) / (0.2 * half)) + 2))
    s = np.linspace(low, high, count)
    middle, way = places_on(leg, s), _ways(leg, s)
    u = np.cross(way, _aside(way))
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(way, u)
    phi = np.arange(_AROUND) * (2.0 * pi / _AROUND)
    rows = []
    for part in _RADII:
        around = phi if part else phi[:1]
        spoke = np.cos(around)[None, :, None] * u[:, None, :] + np.sin(around)[None, :, None] * v[:, None, :]
        rows.append((middle[:, None, :] + part * half * spoke).reshape(-1, 3))
    return np.concatenate(rows), max(0.3 * half, (high - low) / (count - 1))


def _along(pair: NearLegs) -> tuple[Array, float]:
    """Lengths along the first leg, run on where a cut may leave metal past its end, and their even step."""
    one, leg = pair.tube, pair.legs[0]
    half = one.body.half
    before = 2.0 * half if pair.i == 0 and "A" in one.joints else 0.0
    after = 2.0 * half if pair.i == len(one.body.legs) - 1 and "B" in one.joints else 0.0
    if leg.arc is not None:
        before = after = 0.0
    steps = max(3, min(400, int((leg.length + before + after) / (0.4 * half)) + 2))
    s = np.linspace(-before, leg.length + after, steps)
    return s, float(s[1] - s[0])


def _close_stretches(
    pairs: Sequence[NearLegs], gauge: _PairDepths, chosen: Sequence[int], near: float
) -> dict[int, tuple[Array, float, Ints]]:
    """Lengths along the first legs of some pairs, their even steps, and at which of them the leg may come within
    ``near`` of the outside of the second; without the pairs that do nowhere."""
    steps = {n: _along(pairs[n]) for n in chosen}
    asked = {n: places_on(pairs[n].legs[0], s) for n, (s, _) in steps.items()}
    found = {}
    for n, off in _of_each(asked, gauge.off_other).items():
        s, spacing = steps[n]
        close = np.flatnonzero(off < pairs[n].tube.body.half + near + spacing)
        if len(close):
            found[n] = s, spacing, close
    return {n: found[n] for n in chosen if n in found}


def _ways(leg: Leg, s: Array) -> Array:
    if leg.arc is None:
        return np.broadcast_to(np.asarray(leg.direction), (len(s), 3))
    value: Array = np.cross(np.asarray(leg.arc.normal), places_on(leg, s) - np.asarray(leg.arc.center))
    return value / leg.arc.radius


def _aside(way: Array) -> Array:
    """A direction that is never along the way: the axis it leans on least, row by row."""
    value: Array = np.eye(3)[np.abs(way).argmin(axis=1)]
    return value
