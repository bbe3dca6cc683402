"""How near straights and bends of tubes come to one another: pairs that do, and their nearest places."""

from __future__ import annotations

from collections.abc import Sequence
from math import radians
from typing import Any

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints
from converter.geometry.near import segments_apart
from converter.joints.bodies import Body, Leg
from converter.joints.near.index import LegIndex

#: Degrees of bend per chord.
_TURN = 15.0
#: mm by which the balls around chords are larger: more than rounding.
_ROUNDING = 1e-3


def near_pairs(index: LegIndex, frame: Sequence[Body], more: float) -> tuple[Ints, Ints, Array]:
    """Legs of different tubes whose outsides come within ``more`` mm, and a place on the first where they do."""
    who, i, j, places = chords_near(index, frame, more)
    pairs, first = np.unique(who, return_index=True)
    return i[pairs], j[pairs], places[first]


def chords_near(index: LegIndex, frame: Sequence[Body], more: float) -> tuple[Ints, Ints, Ints, Array]:
    """(pair, i, j, places): chords of legs i[pair], j[pair] that come within their half sizes and ``more``, and where.

    A pair stands there once for every two chords that do.
    """
    half = np.array([body.half for body in frame])
    start, way, sag, first = _chords(index)
    i, j = index.legs_near_legs
    # balls around legs first, then around chords: most of two legs that come near do not come near themselves
    middle, ball = _balls(index)
    off = sum((middle[i, k] - middle[j, k]) ** 2 for k in range(3))
    some = np.flatnonzero(
        off <= (half[index.body[i]] + half[index.body[j]] + more + ball[i] + ball[j] + _ROUNDING) ** 2
    )
    i, j = i[some], j[some]
    count = np.diff(first)
    many = count[i] * count[j]
    pair = np.repeat(np.arange(len(i)), many)
    k = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
    a, b = first[i[pair]] + k // count[j[pair]], first[j[pair]] + k % count[j[pair]]
    limit = half[index.body[i]] + half[index.body[j]] + more
    middle, ball = start + way / 2.0, np.linalg.norm(way, axis=1) / 2.0 + sag
    off = sum((middle[a, k] - middle[b, k]) ** 2 for k in range(3))
    some = np.flatnonzero(off <= (limit[pair] + ball[a] + ball[b] + _ROUNDING) ** 2)
    pair, a, b = pair[some], a[some], b[some]
    off, places = segments_apart(start[a], way[a], start[b], way[b])
    close = np.flatnonzero(off < limit[pair] + sag[a] + sag[b])
    return pair[close], i, j, places[close]


def _balls(index: LegIndex) -> tuple[Array, Array]:
    """Balls that hold the centerlines of legs: middles (m, 3), and radii, mm."""
    origin, x, y, sweep = index.shape
    # a bend's lies about the middle of its chord, or of its circle where it goes further than half around
    bent, half = sweep > 0.0, np.minimum(sweep, np.pi) / 2.0
    c, s = np.cos(half), np.sin(half)
    along = np.where(bent, c * c, 0.5)
    aside = np.where(bent, c * s, 0.0)
    middle: Array = origin + along[:, None] * x + aside[:, None] * y
    return middle, np.linalg.norm(x, axis=1) * np.where(bent, s, 0.5)


def _chords(index: LegIndex) -> tuple[Array, Array, Array, Ints]:
    """Every leg as chords: (start, vector, greatest distance of the leg from it), and each leg's first chord."""
    origin, x, y, sweep = index.shape
    count = np.maximum(np.ceil(sweep / radians(_TURN)), 1.0).astype(np.int64)
    owner = np.repeat(np.arange(len(count)), count)
    first = np.concatenate(([0], np.cumsum(count)))
    part = np.arange(len(owner)) - first[owner]
    turn = (sweep / count)[owner]
    bent = (sweep > 0.0)[owner]

    def at(n: NDArray[np.floating[Any]]) -> Array:
        c, s = np.where(bent, np.cos(n * turn), n), np.where(bent, np.sin(n * turn), 0.0)
        value: Array = origin[owner] + c[:, None] * x[owner] + s[:, None] * y[owner]
        return value

    start = at(part.astype(np.float64))
    way = at(part.astype(np.float64) + 1.0) - start
    sag = np.where(bent, np.linalg.norm(x, axis=1)[owner] * (1.0 - np.cos(turn / 2.0)), 0.0)
    return start, way, sag, first


def places_on(leg: Leg, at: Array) -> Array:
    """Points of a leg's centerline at lengths from its start, (n, 3); a straight runs on past its ends."""
    if leg.arc is None:
        line: Array = np.asarray(leg.start) + at[:, None] * np.asarray(leg.direction)
        return line
    center = np.asarray(leg.arc.center)
    x = np.asarray(leg.arc.start) - center
    y = np.asarray(leg.direction) * leg.arc.radius
    turn = at / leg.arc.radius
    arc: Array = center + np.cos(turn)[:, None] * x + np.sin(turn)[:, None] * y
    return arc
