"""Tubes that get in each other's way where no cut joins them: metal in metal, and next to it.

Centerlines and sections say which pairs come near (`converter.joints.near.index.near_pairs`); of those the
deepest place in both tubes is looked for, each with its ends as they are cut (`converter.joints.near.overlap`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from converter.findings import Clause, Finding
from converter.geometry.vectors import Vec, distance
from converter.joints.bodies import Body
from converter.joints.cuts.trimmed import Trimmed
from converter.joints.finding.contacts import BESIDE, COAXIAL, INSIDE, LIES_ON, Contact, ends_past
from converter.joints.finding.joints import FrameSurvey
from converter.joints.finding.plan import EndPlan
from converter.joints.in_the_way.crossings import joined_places
from converter.joints.model import Joint
from converter.joints.near.index import LegIndex, near_pairs
from converter.joints.near.legs import Legs, nearest_of_pairs
from converter.joints.near.overlap import JoinedPlaces, NearLegs, deepest_of_pairs, lie_near
from converter.tolerances import Tolerances, same_within

#: mm; tubes that pass with less between them are told, since bending moves them as far.
CLOSE = 1.0
#: The same to judge by: what is exactly so far apart is near, however it was rounded.
NEAR = same_within(CLOSE)
#: Pairs of straights and bends looked at together to begin with.
_AT_FIRST = 512
#: Tubes that one tube is told to be in the way of; of one that lies in so many more the rest is only counted.
MOST = 12


@dataclass(frozen=True, slots=True)
class Clash:
    """Two tubes in each other's way.

    Attributes:
        one, other: names, in the order drawn.
        place: where they overlap deepest (or are nearest).
        overlap: there, mm; below 0 the room between them.
        more: how many other pairs of their straights and bends overlap too.
        unseen: how many further tubes come near the first or the other, of which only the number is known.
        through: the end of one of the two that runs through the other there and ends just past it; None for none.
    """

    tube: str
    other: str
    place: Vec
    overlap: float
    more: int = 0
    unseen: int = 0
    through: Contact | None = None


def find_clashes(frame_survey: FrameSurvey, tol: Tolerances) -> list[Clash]:
    """Pairs of tubes whose metal overlaps or all but touches, each once, in the order drawn.

    Crossings are left out: they are told already.

    Args:
        frame_survey: the frame and its joints.
        tol: ``join`` is how far tubes may be drawn into one another and still count as touching.
    """
    frame, index = frame_survey.frame, frame_survey.index
    if len(frame) < 2:
        return []
    cuts: dict[str, dict[str, Joint]] = {}
    for joint in frame_survey.joints:
        cuts.setdefault(joint.tube, {})[joint.end] = joint
    trimmed = [Trimmed(body, cuts.get(body.name, {})) for body in frame]
    meetings = _Meetings(frame_survey)
    clashes: dict[tuple[int, int], list[Clash]] = {}
    met: Counter[int] = Counter()
    unseen: dict[int, set[int]] = {}

    def full(pair: tuple[int, int]) -> int | None:
        """The tube of a pair that is told to be in the way of too many others already."""
        return None if pair in clashes else next((k for k in pair if met[k] >= MOST), None)

    near = [one for one in _not_apart(index, frame) if not meetings.explain(*one[:3])]
    count = _AT_FIRST
    while near:
        # looked at together, more and more: of a tube that turns out to be in the way of too many others some are
        # looked at for nothing, but no more than before
        some, near, count = near[:count], near[count:], 2 * count
        pairs = [(int(index.body[i]), int(index.body[j])) for i, j, _, _ in some]
        legs = [
            NearLegs(trimmed[one], int(index.leg[i]), trimmed[other], int(index.leg[j]), axes)
            for (one, other), (i, j, _, axes) in zip(pairs, some, strict=True)
        ]
        nodes = [meetings.of(pair) for pair in pairs]
        open_ = [n for n, pair in enumerate(pairs) if full(pair) is None]
        at_nodes = lie_near([legs[n] for n in open_], NEAR, [nodes[n] for n in open_])
        looked_at = [n for n, there in zip(open_, at_nodes, strict=True) if not there]
        found = deepest_of_pairs([legs[n] for n in looked_at], NEAR, [nodes[n] for n in looked_at])
        deep = dict(zip(looked_at, found, strict=True))
        for n, pair in enumerate(pairs):
            if (crowded := full(pair)) is not None:
                unseen.setdefault(crowded, set()).add(sum(pair) - crowded)
                continue
            got = deep.get(n)
            if got is None:
                continue
            overlap, place = got
            reach = nodes[n].reach
            if any(distance(place, node) <= reach for node in nodes[n].places):
                continue  # what the cut leaves there is told with the joint, and a crossing is told already
            if overlap <= tol.join:
                apart = -NEAR < overlap < -tol.join
                if not apart or meetings.is_at_an_end(pair, place, reach):
                    continue  # tubes of one node are as near as they like
            if pair not in clashes:
                met.update(pair)
            clashes.setdefault(pair, []).append(Clash(frame[pair[0]].name, frame[pair[1]].name, place, overlap))
    past = ends_past(frame_survey.contacts)
    made = {key: _worst(clashes[key], past.get(frozenset(key), ()), tol) for key in sorted(clashes)}
    for who, others in unseen.items():
        last = max(key for key in made if who in key)
        made[last] = replace(made[last], unseen=made[last].unseen + len(others))
    return list(made.values())


class _Meetings:
    """Where tubes meet as joints and crossings tell it: whatever is near one another there is told already."""

    def __init__(self, frame_survey: FrameSurvey) -> None:
        self._frame, self._index, plans = frame_survey.frame, frame_survey.index, frame_survey.plans
        # where an end lies along or beside another tube the findings of joints tell it
        self._beside = {
            frozenset((c.end.body, c.body))
            for each in frame_survey.contacts.values()
            for c in each
            if c.state in (COAXIAL, LIES_ON, INSIDE, BESIDE)
        }
        self._ends: dict[int, list[Vec]] = {}
        for key, plan in plans.items():
            self._beside |= {frozenset((key[0], other)) for other in _left(plan, self._index)}
            for who in {key[0], *(c.body for c in plan.onto), *(k[0] for k in plan.after)}:
                self._ends.setdefault(who, []).append(plan.end.point)
        self._joined = joined_places(plans)
        self._crossed: dict[frozenset[str], list[Vec]] = {}
        for crossing in frame_survey.crossings:
            self._crossed.setdefault(frozenset((crossing.outer, crossing.inner)), []).append(crossing.node)

    def explain(self, i: int, j: int, place: Vec) -> bool:
        """Whether two legs of the index come near one another at a place because their tubes meet."""
        a, b = self._frame[int(self._index.body[i])], self._frame[int(self._index.body[j])]
        pair = frozenset((a.index, b.index))
        if pair in self._beside:
            return True
        if a.legs[int(self._index.leg[i])].arc is not None or b.legs[int(self._index.leg[j])].arc is not None:
            return False
        # the joint itself: two straights meet in one place only, and the cut clears it
        return any(distance(place, at) <= 2.0 * (a.half + b.half) for at in self._joined.get(pair, ()))

    def of(self, pair: tuple[int, int]) -> JoinedPlaces:
        """The places of joints and crossings of two tubes, and how far around them what is near is told."""
        one, other = (self._frame[k] for k in pair)
        crossed = self._crossed.get(frozenset((one.name, other.name)), ())
        return JoinedPlaces((*self._joined.get(frozenset(pair), ()), *crossed), 2.0 * (one.half + other.half))

    def is_at_an_end(self, pair: tuple[int, int], place: Vec, reach: float) -> bool:
        """Whether a place is so near to an end that either tube is joined at."""
        return any(distance(place, at) <= reach for k in pair for at in self._ends.get(k, ()))


def _not_apart(index: LegIndex, frame: Sequence[Body]) -> Iterator[tuple[int, int, Vec, tuple[float, float, float]]]:
    """Legs that may come within `NEAR`, the lower first: a place on the first where they do, and where the axes do."""
    i, j, places = near_pairs(index, frame, NEAR)
    legs = Legs.all_of(index)
    s, t, off = nearest_of_pairs(legs.rows(i), legs.rows(j))
    half = np.array([body.half for body in frame])
    kept = np.flatnonzero(off < half[index.body[i]] + half[index.body[j]] + NEAR)
    rows = (one[kept].tolist() for one in (i, j, places, s, t, off))
    for m, n, (x, y, z), *axes in zip(*rows, strict=True):
        yield m, n, (x, y, z), (axes[0], axes[1], axes[2])


def _left(plan: EndPlan, index: LegIndex) -> set[int]:
    """Tubes near an end that the job file leaves as it is."""
    if plan.choice is None or plan.choice.kind != "none":
        return set()
    _, legs = index.near(np.array([plan.end.point]))
    return {int(index.body[leg]) for leg in legs} - {plan.end.body}


def _worst(all_of_them: list[Clash], past: Sequence[Contact], tol: Tolerances) -> Clash:
    worst = max(all_of_them, key=lambda one: one.overlap)
    more = 0
    for n, one in enumerate(all_of_them):
        # legs that follow one another overlap in one place
        apart = all(distance(one.place, other.place) > 50.0 for other in [worst, *all_of_them[:n]])
        more += one is not worst and one.overlap > tol.join and apart
    there = (one for one in past if distance(one.foot, worst.place) <= 2.0 * abs(one.ahead))
    return Clash(worst.tube, worst.other, worst.place, worst.overlap, more, 0, next(there, None))


def clash_findings(clashes: Sequence[Clash], frame: Sequence[Body]) -> list[Finding]:
    """The clashes as findings."""
    layers = {body.name: body.tube.run.layer for body in frame}
    return [
        _clash_finding(one, layers[one.tube])
        if one.through is None or one.more or one.unseen
        else _through_finding(one, one.through, frame)
        for one in clashes
    ]


def _through_finding(one: Clash, contact: Contact, frame: Sequence[Body]) -> Finding:
    own, other = frame[contact.end.body], frame[contact.body]
    return Finding(
        "tube-clash",
        tube=own.name,
        end=contact.end.letter,
        others=(other.name,),
        layer=own.tube.run.layer,
        measured=one.overlap,
        limit=0.0,
        unit="mm",
        at=one.place,
        variant="through",
        values={"other": other.name, "place": one.place, "size": one.overlap, "past": -contact.ahead},
    )


def _clash_finding(one: Clash, layer: str | None) -> Finding:
    code, size, limit, variant = "tube-near", -one.overlap, CLOSE, ""
    values: dict[str, object] = {"other": one.other, "place": one.place, "size": size}
    if one.overlap > 0.0:
        code, size, limit, variant = "tube-clash", one.overlap, 0.0, "overlap"
        values["size"] = size
        values["more"] = Clause.of("clash-places", more=one.more) if one.more else ""
        values["unseen"] = Clause.of("clash-unseen", unseen=one.unseen) if one.unseen else ""
    return Finding(
        code,
        tube=one.tube,
        others=(one.other,),
        layer=layer,
        measured=size,
        limit=limit,
        unit="mm",
        at=one.place,
        variant=variant,
        values=values,
    )
