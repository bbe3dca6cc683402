"""Where two tubes overlap deepest.

At that place both tubes are equally deep, so that they overlap there by twice that depth: the sum of the
radii less the distance of the centerlines where round tubes pass one another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from math import pi

import numpy as np

from converter.geometry.vectors import Vec
from converter.joints.bodies import Body, Leg
from converter.joints.cuts.lines import Array
from converter.joints.cuts.trimmed import Trimmed
from converter.joints.finding.crowds import Ints
from converter.joints.near.legs import nearest
from converter.joints.near.pairs import places_on

#: Points looked at: along a leg at most, around it, and parts of the radius.
_ALONG, _AROUND = 48, 12
_RADII = (0.0, 0.5, 0.85, 1.0)
#: Points of the cloud that looks for the deepest place, how many of them lead, and how often it is drawn.
_BEST, _ROUNDS = 20, 24


@cache
def _cloud() -> Array:
    """Points of the cloud, (n, 3), of size 1: the same ones always."""
    points: Array = np.random.default_rng(1).standard_normal((160, 3))
    return points


def deepest(
    one: Trimmed,
    i: int,
    other: Trimmed,
    j: int,
    near: float = 0.0,
    axes: tuple[float, float, float] | None = None,
) -> tuple[float, Vec] | None:
    """By how much two legs overlap and where they do so deepest; None when they stay further apart than ``near``.

    Args:
        one, other: the tubes; i, j: their legs.
        near: mm; below 0 the overlap is the room between them.
        axes: of `converter.joints.near.legs.nearest`, where it is known.
    """
    if other.body.half < one.body.half:
        return deepest(other, j, one, i, near, axes and (axes[1], axes[0], axes[2]))
    leg, mate = one.body.legs[i], other.body.legs[j]

    def both(p: Array) -> Array:
        value: Array = np.minimum(one.depth(p, (i,), rough=True), other.depth(p, (j,), rough=True))
        return value

    def exactly(place: Vec) -> float:
        p = np.array([place])
        return float(min(one.depth(p, (i,))[0], other.depth(p, (j,))[0]))

    plain = _between(one.body, leg, other.body, mate, axes)
    if plain is not None:
        if plain[0] <= -near:
            return None
        if abs(2.0 * exactly(plain[1]) - plain[0]) < 1e-6:
            return plain  # no cut takes that place away
    sample = _samples(one, i, leg, other, mate, near)
    if sample is None:
        return None
    points, coarse = sample
    values = both(points)
    best = int(values.argmax())
    if values[best] < -near / 2.0 - 2.0 * coarse:
        return None
    # two starts, since a cut may part the overlap in two
    far = np.linalg.norm(points - points[best], axis=1) > 4.0 * coarse
    starts = [best, int(np.where(far, values, -np.inf).argmax())]
    value, place = max((_climb(both, points[k], float(values[k]), coarse) for k in starts), key=lambda got: got[0])
    value = exactly(place)
    return (2.0 * value, place) if 2.0 * value > -near else None


def lies_near(one: Trimmed, i: int, other: Trimmed, j: int, near: float, places: Sequence[Vec], reach: float) -> bool:
    """Whether two legs come within ``near`` of one another only where one of some places is no further than ``reach``.

    A bound: where it does not know it says no.
    """
    if not places:
        return False
    if other.body.half < one.body.half:
        one, i, other, j = other, j, one, i
    axis, spacing = _close_stretch(one, i, one.body.legs[i], other, other.body.legs[j], near)
    if not len(axis):
        return False
    away = np.linalg.norm(axis[:, None, :] - np.asarray(places)[None, :, :], axis=2).max(axis=0)
    return bool((away + spacing + one.body.half + abs(near) <= reach).any())


def _between(
    one: Body, leg: Leg, other: Body, mate: Leg, axes: tuple[float, float, float] | None
) -> tuple[float, Vec] | None:
    """Overlap of two round legs where their centerlines are nearest, and the place equally deep in both."""
    r, big = one.section.cylinder, other.section.cylinder
    if r is None or big is None:
        return None
    s, t, off = axes or nearest(leg, mate)
    p, q = leg.point(s), mate.point(t)
    part = 0.0 if off < 1e-9 else min(max((off + r - big) / (2.0 * off), 0.0), 1.0)
    place = (p[0] + part * (q[0] - p[0]), p[1] + part * (q[1] - p[1]), p[2] + part * (q[2] - p[2]))
    return min(r + big - off, 2.0 * min(r, big)), place


def _climb(both: Callable[[Array], Array], start: Array, value: float, step: float) -> tuple[float, Vec]:
    """The deepest place from a start, by a cloud of points that draws together around its best ones.

    The depth of two tubes at once has a crest that is sharp across and flat along, where a search by
    single steps gets stuck; the cloud takes the crest's shape (the cross-entropy method).
    """
    at, shape = start, np.eye(3) * step
    for _ in range(_ROUNDS):
        cloud = at + _cloud() @ shape.T
        values = both(cloud)
        order = np.argsort(-values)[:_BEST]
        if values[order[0]] > value:
            start, value = cloud[order[0]], float(values[order[0]])
        middle = cloud[order].mean(axis=0)
        spread = (cloud[order] - middle).T @ (cloud[order] - middle) / _BEST
        size, axes = np.linalg.eigh(spread)
        shape = axes * (1.3 * np.sqrt(np.maximum(size, 1e-12)))
        at = (middle + start) / 2.0
    return value, (float(start[0]), float(start[1]), float(start[2]))


def _samples(one: Trimmed, i: int, leg: Leg, other: Trimmed, mate: Leg, near: float) -> tuple[Array, float] | None:
    """Points within a leg where it comes near the other tube's leg, and how far apart they lie; None for none."""
    half = one.body.half
    s, spacing = _along(one, i, leg)
    close = _close(s, spacing, leg, other, mate, half + near)
    if not len(close):
        return None
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


def _along(one: Trimmed, i: int, leg: Leg) -> tuple[Array, float]:
    """Lengths along a leg, run on where a cut may leave metal past its end, and their even step."""
    half = one.body.half
    before = 2.0 * half if i == 0 and "A" in one.joints else 0.0
    after = 2.0 * half if i == len(one.body.legs) - 1 and "B" in one.joints else 0.0
    if leg.arc is not None:
        before = after = 0.0
    steps = max(3, min(400, int((leg.length + before + after) / (0.4 * half)) + 2))
    s = np.linspace(-before, leg.length + after, steps)
    return s, float(s[1] - s[0])


def _close(s: Array, spacing: float, leg: Leg, other: Trimmed, mate: Leg, within: float) -> Ints:
    """At which of some lengths a leg's axis may come within so many mm of the outside of another tube's leg."""
    return np.flatnonzero(other.outside(places_on(leg, s), mate) < within + spacing)


def _close_stretch(one: Trimmed, i: int, leg: Leg, other: Trimmed, mate: Leg, near: float) -> tuple[Array, float]:
    """Points of a leg's axis from where it first to where it last comes close to another tube's leg; and their step."""
    s, spacing = _along(one, i, leg)
    close = _close(s, spacing, leg, other, mate, one.body.half + near)
    if not len(close):
        return np.empty((0, 3)), spacing
    return places_on(leg, s[max(close[0] - 1, 0) : close[-1] + 2]), spacing


def _ways(leg: Leg, s: Array) -> Array:
    if leg.arc is None:
        return np.broadcast_to(np.asarray(leg.direction), (len(s), 3))
    value: Array = np.cross(np.asarray(leg.arc.normal), places_on(leg, s) - np.asarray(leg.arc.center))
    return value / leg.arc.radius


def _aside(way: Array) -> Array:
    """A direction that is never along the way: the axis it leans on least, row by row."""
    value: Array = np.eye(3)[np.abs(way).argmin(axis=1)]
    return value
