"""Tubes that pass through one another: neither ends there, so one needs a hole, or must be cut in two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import radians
from typing import Any

import numpy as np
from numpy.typing import NDArray

from converter.findings import Finding
from converter.geometry.vectors import Vec, angle_between, distance, dot, sub
from converter.joints.bodies import Body, Leg
from converter.joints.contact import PARALLEL
from converter.joints.index import Ints, LegIndex
from converter.joints.lines import Array
from converter.joints.plan import Key, Plan, point_text
from converter.tolerances import Tolerances
from converter.units import Display

#: Degrees of bend per chord.
_TURN = 15.0


@dataclass(frozen=True, slots=True)
class Crossing:
    """Two tubes whose metal meets away from their ends.

    Attributes:
        outer, inner: names, the larger tube first.
        node: on the outer tube's centerline; offset: distance of the axes there, mm; angle: between them, degrees.
        overlap: how deep one reaches into the other, mm.
        through: whether the inner one passes wholly within the outer one's outside.
    """

    outer: str
    inner: str
    node: Vec
    offset: float
    angle: float
    overlap: float
    through: bool


def find_crossings(frame: Sequence[Body], index: LegIndex, plans: dict[Key, Plan], tol: Tolerances) -> list[Crossing]:
    """Pairs of tubes that cross, each place once, joints left out.

    Args:
        frame: the tubes.
        index: of `converter.joints.contact.frame_index`.
        plans: of `converter.joints.plan.make_plans`: two tubes that are joined near a place do not cross there.
        tol: overlaps up to ``near`` are touching, not crossing.
    """
    if len(frame) < 2:
        return []
    widest = max(body.half for body in frame)
    joined = _joined(plans)
    found: dict[tuple[int, ...], Crossing] = {}
    for i, j in _near_pairs(index, frame, tol):
        a, b = frame[int(index.body[i])], frame[int(index.body[j])]
        crossing = _crossing(a, int(index.leg[i]), b, int(index.leg[j]), joined, tol)
        if crossing is not None:
            cell = tuple(round(v / (2.0 * widest)) for v in crossing.node)
            found.setdefault((a.index, b.index, *cell), crossing)
    return list(found.values())


def _near_pairs(index: LegIndex, frame: Sequence[Body], tol: Tolerances) -> list[tuple[int, int]]:
    """Legs of different tubes whose chords come near enough for their metal to meet, each pair once."""
    i, j = index.legs_near_legs()
    other = index.body[i] != index.body[j]
    i, j = i[other], j[other]
    half = np.array([body.half for body in frame])
    start, way, sag, first = _chords(index)
    count = np.diff(first)
    many = count[i] * count[j]
    pair = np.repeat(np.arange(len(i)), many)
    k = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
    a, b = first[i[pair]] + k // count[j[pair]], first[j[pair]] + k % count[j[pair]]
    limit = half[index.body[i]] + half[index.body[j]] - tol.near
    reach = limit[pair] + sag[a] + sag[b]
    off, places = segments_apart(start[a], way[a], start[b], way[b])
    close = np.flatnonzero(off < reach)
    # what meets at an end is that end's own business
    who, places = pair[close], places[close]
    ends = np.array([[end.point for end in body.ends] or [(np.inf,) * 3] * 2 for body in frame])
    own = np.concatenate((ends[index.body[i[who]]], ends[index.body[j[who]]]), axis=1)
    with np.errstate(invalid="ignore"):
        to_end = np.linalg.norm(own - places[:, None, :], axis=2).min(axis=1)
    kept = np.unique(who[to_end > limit[who] + 2.0 * tol.near])
    return list(zip(i[kept].tolist(), j[kept].tolist(), strict=True))


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


def segments_apart(p: Array, u: Array, q: Array, v: Array) -> tuple[Array, Array]:
    """Distances of segments p + s u and q + t v, 0 <= s, t <= 1, row by row, and the places on the first ones.

    Elementary, clamped in turn.
    """
    w = p - q
    uu, vv, uv = (u * u).sum(axis=1), (v * v).sum(axis=1), (u * v).sum(axis=1)
    uw, vw = (u * w).sum(axis=1), (v * w).sum(axis=1)
    det = uu * vv - uv * uv
    flat = det < 1e-12 * uu * vv
    s = np.clip(np.where(flat, 0.5, (uv * vw - vv * uw) / np.where(flat, 1.0, det)), 0.0, 1.0)
    t = np.clip((uv * s + vw) / vv, 0.0, 1.0)
    s = np.clip((uv * t - uw) / uu, 0.0, 1.0)
    place = p + s[:, None] * u
    return np.linalg.norm(place - q - t[:, None] * v, axis=1), place


def _joined(plans: dict[Key, Plan]) -> dict[frozenset[int], list[Vec]]:
    """Where the ends of two tubes are joined, by pair."""
    found: dict[frozenset[int], list[Vec]] = {}
    for key, plan in plans.items():
        others = [contact.body for contact in plan.onto] + [other for other, _ in plan.after]
        others += [plan.partner[0]] if plan.partner else []
        for other in others:
            found.setdefault(frozenset((key[0], other)), []).append(plan.end.point)
    return found


def _crossing(
    a: Body, i: int, b: Body, j: int, joined: dict[frozenset[int], list[Vec]], tol: Tolerances
) -> Crossing | None:
    one, two = a.legs[i], b.legs[j]
    at_joint = joined.get(frozenset((a.index, b.index)), ())
    bent = one.arc is not None or two.arc is not None
    if bent and any(_lies_near(leg, at, a.half + b.half) for at in at_joint for leg in (one, two)):
        return None  # the joint itself: a bend's nearest place would only lead there
    s, t, offset = nearest(one, two)
    if offset >= a.half + b.half - tol.near:
        return None
    p, q = one.point(s), two.point(t)
    angle = angle_between(one.tangent(s), two.tangent(t))
    angle = min(angle, 180.0 - angle)
    if angle < PARALLEL:
        return None  # said where one's end lies along the other
    reach = 2.0 * (a.half + b.half) / max(np.sin(np.radians(angle)), 0.25)
    ends = [end.point for end in (*a.ends, *b.ends)]
    if any(distance(p, end) <= a.half + b.half + tol.near for end in ends):
        return None  # an end's own business
    if any(distance(p, at) <= reach for at in at_joint):
        return None
    outer, inner = (a, b) if a.size >= b.size else (b, a)
    overlap = min(a.size, b.size, a.half + b.half - offset)
    through = offset + inner.half <= outer.size / 2.0 - tol.join
    return Crossing(outer.name, inner.name, p if outer is a else q, offset, angle, overlap, through)


def _lies_near(leg: Leg, at: Vec, reach: float) -> bool:
    """Whether the place of a joint lies on a leg, or no further than ``reach`` from it."""
    if leg.arc is not None:
        middle = leg.point(leg.length / 2.0)
        return distance(middle, at) <= min(leg.length / 2.0, 2.0 * leg.arc.radius) + reach
    along_it = min(max(dot(sub(at, leg.start), leg.direction), 0.0), leg.length)
    return distance(leg.point(along_it), at) <= reach


def nearest(one: Leg, two: Leg) -> tuple[float, float, float]:
    """Nearest places of two legs: (length on the first, on the second, distance), mm.

    Bends are looked at as chords first, then narrowed down on the true arcs.
    """
    if one.arc is None and two.arc is None:
        return _lines(one, two)
    u, v = _places(one), _places(two)
    p, q = _points(one, u), _points(two, v)
    off = np.linalg.norm(p[:, None, :] - q[None, :, :], axis=2)
    k, m = np.unravel_index(int(off.argmin()), off.shape)
    s, t, best = float(u[k]), float(v[m]), float(off[k, m])
    width_s, width_t = float(u[1] - u[0]), float(v[1] - v[0])
    for _ in range(40):
        u = np.clip(s + np.linspace(-width_s, width_s, 9), 0.0, one.length)
        v = np.clip(t + np.linspace(-width_t, width_t, 9), 0.0, two.length)
        p, q = _points(one, u), _points(two, v)
        off = np.linalg.norm(p[:, None, :] - q[None, :, :], axis=2)
        k, m = np.unravel_index(int(off.argmin()), off.shape)
        s, t, best = float(u[k]), float(v[m]), min(best, float(off[k, m]))
        width_s, width_t = width_s / 2.0, width_t / 2.0
    return s, t, best


def _places(leg: Leg) -> Array:
    steps = 33 if leg.arc is None else max(2, int(leg.arc.angle / _TURN) + 1)
    value: Array = np.linspace(0.0, leg.length, steps)
    return value


def _points(leg: Leg, at: Array) -> Array:
    if leg.arc is None:
        line: Array = np.asarray(leg.start) + at[:, None] * np.asarray(leg.direction)
        return line
    center = np.asarray(leg.arc.center)
    x = np.asarray(leg.arc.start) - center
    y = np.asarray(leg.direction) * leg.arc.radius
    turn = at / leg.arc.radius
    arc: Array = center + np.cos(turn)[:, None] * x + np.sin(turn)[:, None] * y
    return arc


def _lines(one: Leg, two: Leg) -> tuple[float, float, float]:
    """Nearest places of two straights of limited length (elementary, clamped to their ends in turn)."""
    a, b = np.asarray(one.direction), np.asarray(two.direction)
    w = np.asarray(one.start) - np.asarray(two.start)
    cosine = float(a @ b)
    sine2 = 1.0 - cosine * cosine
    s = float((w @ b) * cosine - w @ a) / sine2 if sine2 > 1e-12 else one.length / 2.0
    s = min(max(s, 0.0), one.length)
    t = min(max(float(w @ b) + s * cosine, 0.0), two.length)
    s = min(max(t * cosine - float(w @ a), 0.0), one.length)
    return s, t, distance(one.point(s), two.point(t))


def crossings_said(crossings: Sequence[Crossing], display: Display) -> list[Finding]:
    """The crossings as findings."""
    said = []
    for one in crossings:
        place = point_text(one.node, display)
        if one.through:
            said.append(
                Finding(
                    "tube-through",
                    f"{one.inner} passes through {one.outer} at {place}, at {display.angle(one.angle)}, "
                    f"{display.length(one.offset)} off its centerline: {one.outer} needs a hole there.",
                    tube=one.outer,
                    measured=one.angle,
                    unit="deg",
                )
            )
        else:
            said.append(
                Finding(
                    "tube-crossing",
                    f"{one.inner} and {one.outer} cross at {place}, at {display.angle(one.angle)}: their metal "
                    f"overlaps by up to {display.length(one.overlap)}, and neither ends there.",
                    tube=one.inner,
                    measured=one.overlap,
                    limit=0.0,
                    unit="mm",
                    cure="Cut one of them in two where they cross, or move them apart.",
                )
            )
    return said
