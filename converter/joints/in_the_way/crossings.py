"""Tubes that pass through one another: neither ends there, so one needs a hole, or must be cut in two."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from converter.arrays import Array, Ints, distinct
from converter.findings import Finding
from converter.geometry.vectors import Vec, angle_between, distance, dot, sub
from converter.joints.bodies import Body, Leg
from converter.joints.cuts.trimmed import Trimmed
from converter.joints.finding.contacts import PARALLEL, Contact
from converter.joints.finding.plan import EndPlan, Key
from converter.joints.near.index import LegIndex, chords_near
from converter.joints.near.legs import Legs, nearest_of_pairs
from converter.joints.near.overlap import NearLegs, deepest_of_pairs
from converter.tolerances import Tolerances

#: mm by which a bound may be off that only saves work.
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Crossing:
    """Two tubes whose metal meets away from their ends.

    Attributes:
        outer, inner: names, the larger tube first.
        node: on the outer tube's centerline; offset: distance of the axes there, mm; angle: between them, degrees.
        overlap: how deep one reaches into the other, mm.
        through: whether the inner one passes wholly within the outer one's outside.
        places: (place in the frame, leg) of the outer and of the inner tube.
        along: where the outer and the inner tube are met on a straight of their own: mm from end A along the
            centerline; None in a bend, where it cannot be cut.
    """

    outer: str
    inner: str
    node: Vec
    offset: float
    angle: float
    overlap: float
    through: bool
    places: tuple[tuple[int, int], tuple[int, int]]
    along: tuple[float | None, float | None] = (None, None)


def find_crossings(
    frame: Sequence[Body],
    index: LegIndex,
    plans: dict[Key, EndPlan],
    past: Mapping[frozenset[int], Sequence[Contact]],
    tol: Tolerances,
) -> list[Crossing]:
    """Pairs of tubes that cross, each place once, joints left out.

    Args:
        frame: the tubes.
        index: of `converter.joints.finding.contacts.frame_index`.
        plans: of `converter.joints.finding.plan.make_plans`: two tubes that are joined near a place do not cross there.
        past: of `converter.joints.finding.contacts.ends_past`: where one of two tubes ends just past the other, and
            needs no hole, they do not cross.
        tol: overlaps up to ``near`` are touching, not crossing.
    """
    if len(frame) < 2:
        return []
    widest = max(body.half for body in frame)
    joined = joined_places(plans)
    found: dict[tuple[int, ...], Crossing] = {}
    i, j = _away_from_ends(index, frame, tol)
    legs = Legs.all_of(index)
    where = nearest_of_pairs(legs.rows(i), legs.rows(j))
    half = np.array([body.half for body in frame])
    limit = half[index.body[i]] + half[index.body[j]]
    place = legs.rows(i).at((where[0] / index.length[i])[:, None])[:, :, 0].T
    # most pairs of a crowded node are near at their ends, which `_crossing` would say one by one
    with np.errstate(invalid="ignore"):
        to_end = np.linalg.norm(_ends_of(frame, index, i, j) - place[:, None, :], axis=2).min(axis=1)
    over = np.flatnonzero((where[2] < limit - tol.near) & (to_end > limit + tol.near - _ROUNDING))
    rows = zip(i[over].tolist(), j[over].tolist(), *(one[over].tolist() for one in where), strict=True)
    likely = []
    for m, n, *near in rows:
        a, b = frame[int(index.body[m])], frame[int(index.body[n])]
        crossing = _crossing(a, int(index.leg[m]), b, int(index.leg[n]), near, joined, tol)
        if crossing is None:
            continue
        ends = () if crossing.through else past.get(frozenset((a.index, b.index)), ())
        if not any(distance(crossing.node, end.foot) <= a.half + b.half for end in ends):
            likely.append((a, b, crossing))
    for a, b, crossing in _that_overlap(likely, tol):
        cell = tuple(round(v / (2.0 * widest)) for v in crossing.node)
        found.setdefault((a.index, b.index, *cell), crossing)
    return list(found.values())


def _away_from_ends(index: LegIndex, frame: Sequence[Body], tol: Tolerances) -> tuple[Ints, Ints]:
    """Legs of different tubes near enough for their metal to meet away from their ends, each pair once."""
    who, i, j, places = chords_near(index, frame, -tol.near)
    half = np.array([body.half for body in frame])
    limit = half[index.body[i]] + half[index.body[j]] - tol.near
    # what meets at an end is that end's own business
    with np.errstate(invalid="ignore"):
        to_end = np.linalg.norm(_ends_of(frame, index, i[who], j[who]) - places[:, None, :], axis=2).min(axis=1)
    kept = distinct(who[to_end > limit[who] + 2.0 * tol.near])
    return i[kept], j[kept]


def _ends_of(frame: Sequence[Body], index: LegIndex, i: Ints, j: Ints) -> Array:
    """The end points of the tubes of pairs of legs, (k, 4, 3); a closed tube's lie nowhere."""
    ends = np.array([[end.point for end in body.ends] or [(np.inf,) * 3] * 2 for body in frame])
    return np.concatenate((ends[index.body[i]], ends[index.body[j]]), axis=1)


def joined_places(plans: Mapping[Key, EndPlan]) -> dict[frozenset[int], list[Vec]]:
    """Where the ends of two tubes are joined, by pair."""
    found: dict[frozenset[int], list[Vec]] = {}
    for key, plan in plans.items():
        others = [contact.body for contact in plan.onto] + [other for other, _ in plan.after]
        others += [plan.partner[0]] if plan.partner else []
        for other in others:
            found.setdefault(frozenset((key[0], other)), []).append(plan.end.point)
    return found


def _crossing(
    a: Body,
    i: int,
    b: Body,
    j: int,
    near: Sequence[float],
    joined: dict[frozenset[int], list[Vec]],
    tol: Tolerances,
) -> Crossing | None:
    """The crossing of two legs whose nearest places are ``near``: length on each, and distance."""
    one, two = a.legs[i], b.legs[j]
    at_joint = joined.get(frozenset((a.index, b.index)), ())
    bent = one.arc is not None or two.arc is not None
    if bent and any(_lies_near(leg, at, a.half + b.half) for at in at_joint for leg in (one, two)):
        return None  # the joint itself: a bend's nearest place would only lead there
    s, t, offset = near
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
    places = ((a.index, i), (b.index, j)) if outer is a else ((b.index, j), (a.index, i))
    met = [None if leg.arc is not None else leg.begin + length for leg, length in ((one, s), (two, t))]
    along = (met[0], met[1]) if outer is a else (met[1], met[0])
    return Crossing(outer.name, inner.name, p if outer is a else q, offset, angle, overlap, through, places, along)


def _that_overlap(
    crossings: Sequence[tuple[Body, Body, Crossing]], tol: Tolerances
) -> list[tuple[Body, Body, Crossing]]:
    """Those whose metal overlaps: of tubes with flats, that lie on one another, only the circles around corners may."""
    flat = [n for n, (a, b, _) in enumerate(crossings) if a.section.cylinder is None or b.section.cylinder is None]
    pairs = []
    for a, b, crossing in (crossings[n] for n in flat):
        legs = dict(crossing.places)
        pairs.append(NearLegs(Trimmed(a, {}), legs[a.index], Trimmed(b, {}), legs[b.index]))
    deep = dict(zip(flat, deepest_of_pairs(pairs), strict=True))
    found = []
    for n, (a, b, crossing) in enumerate(crossings):
        if n not in deep:
            found.append((a, b, crossing))
        elif (got := deep[n]) is not None and got[0] > tol.near:
            found.append((a, b, replace(crossing, overlap=got[0])))
    return found


def _lies_near(leg: Leg, at: Vec, reach: float) -> bool:
    """Whether the place of a joint lies on a leg, or no further than ``reach`` from it."""
    if leg.arc is not None:
        middle = leg.point(leg.length / 2.0)
        return distance(middle, at) <= min(leg.length / 2.0, 2.0 * leg.arc.radius) + reach
    along_it = min(max(dot(sub(at, leg.start), leg.direction), 0.0), leg.length)
    return distance(leg.point(along_it), at) <= reach


def crossing_findings(crossings: Sequence[Crossing]) -> list[Finding]:
    """The crossings as findings: of two tubes that cut into each other with the one that does so more often."""
    times = Counter(name for one in crossings if not one.through for name in (one.outer, one.inner))
    return [_crossing_finding(one, told_of_outer=times[one.outer] > times[one.inner]) for one in crossings]


def _crossing_finding(one: Crossing, *, told_of_outer: bool) -> Finding:
    values: dict[str, object] = {"place": one.node, "angle": one.angle}
    if one.through:
        return Finding(
            "tube-through",
            tube=one.outer,
            measured=one.angle,
            unit="deg",
            at=one.node,
            values={"inner": one.inner, "offset": one.offset, **values},
        )
    own, other = (one.outer, one.inner) if told_of_outer else (one.inner, one.outer)
    along = one.along[0 if told_of_outer else 1]
    return Finding(
        "tube-crossing",
        tube=own,
        measured=one.overlap,
        limit=0.0,
        unit="mm",
        at=one.node,
        cure="" if along is None else "split",
        values={"other": other, "overlap": one.overlap, "own": own, "along": along or 0.0, **values},
    )
