"""Tubes that pass through one another: neither ends there, so one needs a hole, or must be cut in two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from converter.findings import Finding
from converter.geometry.vectors import Vec, angle_between, distance
from converter.joints.bodies import Body, Leg
from converter.joints.contact import PARALLEL
from converter.joints.index import LegIndex
from converter.joints.lines import Array
from converter.joints.plan import Key, Plan, point_text
from converter.tolerances import Tolerances
from converter.units import Display

#: Degrees of bend per chord.
_TURN = 5.0


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


def find_crossings(frame: Sequence[Body], plans: dict[Key, Plan], tol: Tolerances) -> list[Crossing]:
    """Pairs of tubes that cross, each place once, joints left out.

    Args:
        frame: the tubes.
        plans: of `converter.joints.plan.make_plans`: two tubes that are joined near a place do not cross there.
        tol: overlaps up to ``near`` are touching, not crossing.
    """
    if len(frame) < 2:
        return []
    widest = max(body.half for body in frame)
    index = LegIndex(frame, 2.0 * widest)
    row, leg = index.near(index.points)
    one = index.owner[row]
    apart = index.body[one] < index.body[leg]
    pairs = np.unique(one[apart] * len(index.body) + leg[apart])
    joined = _joined(plans)
    found: dict[tuple[int, int, int, int, int], Crossing] = {}
    for code in pairs.tolist():
        i, j = divmod(code, len(index.body))
        a, b = frame[int(index.body[i])], frame[int(index.body[j])]
        crossing = _crossing(a, int(index.leg[i]), b, int(index.leg[j]), joined, tol)
        if crossing is not None:
            cell = tuple(round(v / (2.0 * widest)) for v in crossing.node)
            found.setdefault((a.index, b.index, *cell), crossing)  # type: ignore[arg-type]
    return list(found.values())


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
    if any(distance(p, at) <= reach for at in joined.get(frozenset((a.index, b.index)), ())):
        return None
    outer, inner = (a, b) if a.size >= b.size else (b, a)
    overlap = min(a.size, b.size, a.half + b.half - offset)
    through = offset + inner.half <= outer.size / 2.0 - tol.join
    return Crossing(outer.name, inner.name, p if outer is a else q, offset, angle, overlap, through)


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
