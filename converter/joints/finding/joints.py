"""The joints of a frame, from centerlines and sections alone.

>>> from converter.joints.finding.joints import survey_frame
>>> joints = survey_frame(tubes).joints  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from math import radians, sin

import numpy as np

from converter.arrays import Array
from converter.errors import GeometryError, attempted
from converter.findings import Finding
from converter.geometry.vectors import Vec, add, along, angle_between, any_normal, cross, dot, norm, scale, sub
from converter.joints.bodies import Body, End, bodies
from converter.joints.checks import contact_findings, findings_of_each
from converter.joints.cuts.clock import BendClock, StraightClock
from converter.joints.cuts.flat import Flat, flats_under, plane_of
from converter.joints.cuts.lines import Bound, Branch, NoCutError, ObstaclePart
from converter.joints.cuts.many import LinesAtParts
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut, HalfSpace, angles, lengths_by_mate, mitre_plane, reach_of_many, union
from converter.joints.cuts.square import RectPrism
from converter.joints.finding.contacts import Contact, ends_past, find_contacts, footprint, frame_index
from converter.joints.finding.crowds import crowd_findings
from converter.joints.finding.plan import EndPlan, Key, make_plans
from converter.joints.in_the_way.crossings import Crossing, crossing_findings, find_crossings
from converter.joints.model import MITRE, PLANE, SADDLE, SQUARE, Clock, Joint
from converter.joints.near.index import LegIndex
from converter.model.run import Tube
from converter.processes.memory import paused_gc
from converter.progress import steps
from converter.shop.job_file import JobFile
from converter.tolerances import DEFAULT, Tolerances

#: An earlier tube of a node counts as a mate when it takes more than this off the end (mm).
_LEAST_REMOVED = 0.01
#: Joints that are worked out together.
_TOGETHER = 64
#: Sine of the angle between a tube and what runs along it; cuts take such parts lengthwise from a little less on.
_ALONG = 1e-8


@dataclass(frozen=True)
class FrameSurvey:
    """A frame, and what was found of its joints.

    Attributes:
        frame: the tubes that can have joints; index: theirs.
        contacts, plans: of every end.
        crossings: of tubes away from their ends.
        joints: in the order of the tubes, end A before end B.
        findings: what is to be said of the joints.
        crossing_findings: what is to be said of the crossings.
    """

    frame: list[Body]
    index: LegIndex
    contacts: dict[Key, list[Contact]]
    plans: dict[Key, EndPlan]
    crossings: list[Crossing]
    joints: list[Joint]
    findings: list[Finding]
    crossing_findings: list[Finding]


@paused_gc()
def survey_frame(
    tubes: Sequence[Tube],
    job: JobFile | None = None,
    tol: Tolerances = DEFAULT,
    gap: float = 0.0,
) -> FrameSurvey:
    """Find the joints of a frame.

    Args:
        tubes: the frame; tubes without a section are left out and said.
        job: its ``[[joint]]`` tables overrule the rules of `converter.joints.finding.plan`.
        tol: ``near`` is how far an end may be drawn short of its mate, or past it.
        gap: weld gap that cuts leave, mm.
    """
    frame, findings = bodies(tubes)
    tol = tol.at_limits()
    index = frame_index(frame, tol)
    contacts = find_contacts(frame, index, tol)
    findings += crowd_findings(index.crowds, frame)
    plans, more = make_plans(frame, contacts, job, tol, index.crowds.numbers())
    findings += more
    made: list[Joint] = []
    making = _Making(frame, plans, contacts, gap)
    for key, joint in _each_joint(making):
        plan = plans[key]
        if isinstance(joint, GeometryError):
            findings.append(_no_cut_finding(frame[key[0]].name, plan.end, joint))
            continue
        made.append(joint)
        if plan.choice is not None and plan.choice.kind == SQUARE and joint.kind != SQUARE:
            values = {"place": plan.end.point, "mate": joint.mates[0] if joint.mates else ""}
            findings.append(Finding("joint-unmatched", tube=joint.tube, end=joint.end, variant="square", values=values))
        if isinstance(joint.clock, StraightClock):
            joint.clock.add(joint.end, joint.base, joint.mate_axis)
    made, told = _followed(made, frame, plans, tol)
    cut = {(joint.tube, joint.end) for joint in made}
    crossings = find_crossings(frame, index, plans, ends_past(contacts), tol)
    findings += contact_findings(frame, contacts, plans, cut, tol)
    findings += told
    return FrameSurvey(frame, index, contacts, plans, crossings, made, findings, crossing_findings(crossings))


def _followed(
    made: Sequence[Joint], frame: Sequence[Body], plans: dict[Key, EndPlan], tol: Tolerances
) -> tuple[list[Joint], list[Finding]]:
    """The joints whose cut can be followed around the tube, and what is to be said of all of them."""
    by_name = {body.name: body for body in frame}
    ends = {(frame[key[0]].name, plan.end.letter): plan.end for key, plan in plans.items()}
    kept: list[Joint] = []
    findings: list[Finding] = []
    for joint, looked_at in findings_of_each(made, by_name, tol):
        told = looked_at if isinstance(looked_at, GeometryError) else attempted(_if_it_ends, joint, looked_at)
        if isinstance(told, GeometryError):  # a line beside the axis runs along the mate, and never ends on it
            findings.append(_no_cut_finding(joint.tube, ends[joint.tube, joint.end], told))
            if isinstance(joint.clock, StraightClock):  # the other end is not to be set up by it
                joint.clock.drop(joint.end)
            continue
        kept.append(joint)
        findings += told
    return kept, findings


def _if_it_ends(joint: Joint, told: list[Finding]) -> list[Finding]:
    if _may_never_end(joint):  # of every line that any sheet asks for
        _ = joint.profile
    return told


def _may_never_end(joint: Joint) -> bool:
    """Whether a part of a mate runs along the tube, so that lines may lie within it for ever."""
    way = joint.direction
    for mate in joint.base.mates:
        for part in mate:
            if (
                isinstance(part, (RoundPrism, RectPrism))
                and abs(dot(part.axis, way)) > 0.5  # most: the sine is asked of few
                and norm(cross(part.axis, way)) < _ALONG
            ):
                return True
    return False


def _no_cut_finding(tube: str, end: End, error: GeometryError) -> Finding:
    variant = error.variant if isinstance(error, NoCutError) else "shape"
    values = {"place": end.point, "why": error.message}
    return Finding("joint-parallel", tube=tube, end=end.letter, variant=variant, values=values)


class _Making:
    """What joints are made of.

    Attributes:
        frame: the tubes; plans, contacts: of every end; gap: weld gap, mm.
    """

    def __init__(
        self, frame: Sequence[Body], plans: dict[Key, EndPlan], contacts: dict[Key, list[Contact]], gap: float
    ) -> None:
        self.frame, self.plans, self.contacts, self.gap = frame, plans, contacts, gap
        self._clocks: dict[int, StraightClock] = {}
        self._standing: dict[tuple[Key, float], tuple[ObstaclePart, ...]] = {}

    def clock(self, end: End) -> Clock:
        """The clock of an end; the ends of a straight tube share theirs."""
        return BendClock(end) if end.outside is not None else self._clocks.setdefault(end.body, StraightClock())

    def standing(self, key: Key, gap: float) -> tuple[ObstaclePart, ...]:
        """An end that stands at its node already, as far as its own cut lets it reach; each is worked out once."""
        if (key, gap) not in self._standing:
            bounds = self._bounds(self.plans[key])
            self._standing[key, gap] = (self.frame[key[0]].end_part(key[1], bounds, gap),)
        return self._standing[key, gap]

    def _bounds(self, plan: EndPlan) -> tuple[Bound, ...]:
        end = plan.end
        if plan.kind == MITRE and plan.partner is not None:
            other = self.plans[plan.partner].end
            plane = mitre_plane(end.direction, other.direction, meeting(end, other)[0])
            return ((plane.point, plane.normal),)
        if plan.kind is None:
            return ()
        ahead = plan.onto[0].ahead if plan.onto else 0.0
        return ((along(end.point, end.direction, ahead), end.direction),)


def _each_joint(making: _Making) -> Iterator[tuple[Key, Joint | GeometryError]]:
    """The joint of every planned end, in order, or why there is none; some are worked out together."""
    todo = (key for key in steps(sorted(making.plans), "joints") if making.plans[key].kind is not None)
    while some := list(islice(todo, _TOGETHER)):
        begun = [(key, attempted(_begun, making.plans[key], making)) for key in some]
        several = [one for _, one in begun if isinstance(one, _Landing) and one.beside is not None]
        asked = [(one.first_cut, one.beside) for one in several if one.beside is not None]
        for one, reaches in zip(several, lengths_by_mate(asked), strict=True):
            one.reaches = reaches
        for key, made in begun:
            yield key, attempted(_landed, made, making.frame) if isinstance(made, _Landing) else made


def _begun(plan: EndPlan, making: _Making) -> Joint | _Landing:
    """The joint of a plan, or what a saddle is to be made of."""
    body, end, gap = making.frame[plan.end.body], plan.end, making.gap
    if plan.choice is not None and plan.choice.gap is not None:
        gap = plan.choice.gap
    elif plan.kind == PLANE and plan.choice is None:  # as drawn: to nothing that a weld could reach
        gap = 0.0
    zero = end.outside or any_normal(end.direction)
    branch = Branch(end.point, end.direction, zero, body.section, end.up if body.section.cylinder is None else None)
    clock = making.clock(end)
    if plan.kind == PLANE:
        return _plane(plan, branch, body, clock, gap)
    if plan.kind == MITRE:
        return _mitre(plan, branch, body, making.frame, making.plans, clock, gap)
    return _landing(plan, branch, making, clock, gap)


def _plane(plan: EndPlan, branch: Branch, body: Body, clock: Clock, gap: float) -> Joint:
    assert plan.plane is not None
    point, normal = plan.plane
    ahead_cos = dot(normal, branch.direction)
    facing = scale(normal, 1.0 if ahead_cos >= 0.0 else -1.0)
    plane = HalfSpace(along(point, facing, -gap), facing)
    cut = Cut(branch, ((plane,),))
    ahead = dot(sub(point, branch.point), facing) / max(abs(ahead_cos), 1e-12)
    cut.at_axis()  # a tube parallel to the plane is refused here
    return Joint(
        node=along(branch.point, branch.direction, ahead),
        tube=body.name,
        end=plan.end.letter,
        kind=PLANE,
        mates=(),
        angle=90.0 - min(angle_between(facing, branch.direction), 90.0),
        offset=0.0,
        base=cut,
        clock=clock,
        mate_axis=facing,
        mate_point=point,
        mate_section=None,
        mate_straight=False,
        ahead=ahead,
        straight=plan.end.straight,
        gap=gap,
    )


def _mitre(
    plan: EndPlan,
    branch: Branch,
    body: Body,
    frame: Sequence[Body],
    plans: dict[Key, EndPlan],
    clock: Clock,
    gap: float,
) -> Joint:
    assert plan.partner is not None
    other = plans[plan.partner].end
    node, offset, ahead = meeting(plan.end, other)
    cut = Cut(branch, ((mitre_plane(plan.end.direction, other.direction, node, gap),),))
    return Joint(
        node=node,
        tube=body.name,
        end=plan.end.letter,
        kind=MITRE,
        mates=(frame[other.body].name,),
        angle=angle_between(plan.end.direction, other.direction),
        offset=offset,
        base=cut,
        clock=clock,
        mate_axis=other.direction,
        mate_point=other.point,
        mate_section=frame[other.body].section,
        mate_straight=True,
        ahead=ahead,
        straight=plan.end.straight,
        gap=gap,
    )


def meeting(one: End, other: End) -> tuple[Vec, float, float]:
    """Where two ends meet: (point, distance of their axes, length ahead of the first end's point).

    Halfway between the nearest points of the axes; of ends in line, halfway between the ends.
    """
    k = cross(one.direction, other.direction)
    size = norm(k)
    w = sub(one.point, other.point)
    if size < 1e-6:
        ahead = -dot(w, one.direction) / 2.0
        return along(one.point, one.direction, ahead), norm(along(w, one.direction, -dot(w, one.direction))), ahead
    cosine = dot(one.direction, other.direction)
    s = (dot(w, other.direction) * cosine - dot(w, one.direction)) / (size * size)
    t = (dot(w, other.direction) - dot(w, one.direction) * cosine) / (size * size)
    p, q = along(one.point, one.direction, s), along(other.point, other.direction, t)
    return scale(add(p, q), 0.5), abs(dot(w, k)) / size, s


@dataclass(slots=True)
class _Landing:
    """A saddle on its way.

    Attributes:
        plan, branch, body, clock, gap: of the end that is cut.
        lead: the contact with the first mate.
        mates: names; obstacles: parts of each; flats: those it stands on.
        corner_gap, between: see `Joint`.
        first_cut: to all mates; beside: lines of the end at it, None of a single mate.
        reaches: how far back each mate alone takes those lines off, as soon as it is known.
    """

    plan: EndPlan
    branch: Branch
    body: Body
    clock: Clock
    gap: float
    lead: Contact
    mates: list[Body]
    obstacles: list[tuple[ObstaclePart, ...]]
    flats: list[Flat | None]
    corner_gap: float
    between: float
    first_cut: Cut
    beside: LinesAtParts | None
    reaches: list[Array] = field(default_factory=list)


def _landing(plan: EndPlan, branch: Branch, making: _Making, clock: Clock, gap: float) -> _Landing:
    frame, plans = making.frame, making.plans
    body = frame[plan.end.body]
    leader, lead = (None, plan.onto[0]) if plan.onto else _lead(plan, making.contacts)
    mates = [(frame[lead.body], _solid(lead, body, frame[lead.body], gap))]
    if leader is not None and plans[leader].kind == MITRE:
        mates = [(frame[lead.body], making.standing(leader, gap))]
    for contact in plan.onto[1:]:
        mates.append((frame[contact.body], _solid(contact, body, frame[contact.body], gap)))
    mates += [(frame[key[0]], making.standing(key, gap)) for key in plan.after if key != leader]
    flats = flats_under(branch, [parts[0] if len(parts) == 1 else None for _, parts in mates], gap)
    asked = plan.choice.kind if plan.choice is not None else None
    coped = asked == SADDLE or (asked != SQUARE and body.tube.coped_corners)
    corner_gap = between = 0.0
    obstacles: list[tuple[ObstaclePart, ...]] = []
    for (_, parts), flat in zip(mates, flats, strict=True):
        if flat is None or coped or not (flat.fits or asked == SQUARE):
            obstacles.append(parts)
            continue
        obstacles.append((flat.stop,))
        corner_gap, between = max(corner_gap, flat.corner_gap), max(between, flat.between)
    cut = Cut(branch, union(obstacles))
    beside = cut.beside(branch.lines(angles(2.5))) if len(mates) > 1 else None
    bodies_cut_to = [mate for mate, _ in mates]
    return _Landing(
        plan, branch, body, clock, gap, lead, bodies_cut_to, obstacles, flats, corner_gap, between, cut, beside
    )


def _landed(one: _Landing, frame: Sequence[Body]) -> Joint:
    """The joint, with the mates that take something off."""
    plan, branch, body, lead = one.plan, one.branch, one.body, one.lead
    mates, flats, obstacles, reaches = one.mates, one.flats, one.obstacles, one.reaches
    cut = one.first_cut
    names: tuple[str, ...] = (mates[0].name,)
    if len(mates) > 1:
        first = _first_that_cuts(reaches, len(plan.onto))
        if first:  # what removes nothing leads nothing
            lead = plan.onto[first]
            mates.insert(0, mates.pop(first))
            flats.insert(0, flats.pop(first))
            obstacles.insert(0, obstacles.pop(first))
            reaches.insert(0, reaches.pop(first))
        kept = _that_remove_something(reaches)
        every = [mate.name for mate in mates]
        cut = Cut(branch, union([obstacles[i] for i in kept]))
        names = tuple(dict.fromkeys(every[i] for i in kept))
        if flats[0] is not None:  # of mates whose flats are flush one cuts for all
            names = tuple(
                dict.fromkeys(n for n, flat in zip(every, flats, strict=True) if n in names or flats[0].is_flush(flat))
            )
    flat = flats[0]
    on_flat = flat is not None and flat.is_square and plane_of(cut) is not None
    mate = frame[lead.body]
    return Joint(
        node=lead.foot,
        tube=body.name,
        end=plan.end.letter,
        kind=SQUARE if on_flat else SADDLE,
        mates=names,
        angle=lead.angle,
        offset=lead.offset,
        base=cut,
        clock=one.clock,
        mate_axis=lead.axis,
        mate_point=lead.foot,
        mate_section=mate.section,
        mate_straight=_on_a_straight(branch, mate, lead, cut.mates[0], one.gap),
        ahead=lead.ahead,
        straight=plan.end.straight,
        gap=one.gap,
        corner_gap=one.corner_gap,
        between=one.between if on_flat else 0.0,
    )


def _on_a_straight(branch: Branch, mate: Body, lead: Contact, parts: tuple[ObstaclePart, ...], gap: float) -> bool:
    """Whether a straight of the mate makes the cut alone: bends and ends of the mate near by take nothing off."""
    if mate.legs[lead.leg].arc is not None:
        return False
    if len(parts) == 1:
        return True
    alone = mate.parts(lead.leg, True, gap, (0.0, 0.0, 0.0))[0]
    lines = branch.lines(angles(2.5))
    (stops, met), (straight, all_met) = reach_of_many(
        [(Cut(branch, (parts,)), lines), (Cut(branch, ((alone,),)), lines)]
    )
    return bool((met == all_met).all()) and float(np.abs(stops - straight).max()) < _LEAST_REMOVED


def _lead(plan: EndPlan, contacts: dict[Key, list[Contact]]) -> tuple[Key, Contact]:
    """The first end that stands there already and that this one can be cut to, and the contact with it."""
    for key in plan.after:
        for contact in contacts[plan.key]:
            if contact.body == key[0] and contact.state == "on" and contact.angle > 0.0:
                return key, contact
    raise NoCutError("line", "the tube and what it ends on lie in one line, so no cut joins them")


def _solid(contact: Contact, own: Body, mate: Body, gap: float) -> tuple[ObstaclePart, ...]:
    """The mate about a place: its leg there, and its neighbours where the cut may reach them."""
    # a bend that curves toward the tube is met further off than a straight would be
    reach = 1.5 * footprint(contact, own, mate, gap) + own.half
    sine = sin(radians(max(contact.angle, 10.0)))
    wide = 1.5 * (own.half + mate.half + gap) / sine + own.half
    further = contact.enters + contact.ahead - mate.half / sine
    if mate.legs[contact.leg].arc is not None and further > 0.0:
        reach, wide = reach + further, wide + further
    # the tube's other end may land on the same mate: that is not this end's cut
    back = min(wide, max(0.55 * own.length, mate.half))
    return mate.met_by(contact.end).solid(
        contact.leg, contact.at, reach, gap, (-contact.ahead - wide, -contact.ahead + back, -contact.ahead)
    )


def _first_that_cuts(reaches: Sequence[Array], count: int) -> int:
    """Which of the first ``count`` mates is the first to take off what no other does; 0 where none is."""
    if count < 2:
        return 0
    # the most that any other takes off, from those before and those behind
    before = np.maximum.accumulate(reaches)
    behind = np.maximum.accumulate(reaches[::-1])[::-1]
    for i, one in enumerate(reaches[:count]):
        others = [*before[i - 1 : i if i else 0], *behind[i + 1 : i + 2]]
        if bool((one > np.max(others, axis=0) + _LEAST_REMOVED).any()):
            return i
    return 0


def _that_remove_something(reaches: Sequence[Array]) -> list[int]:
    """Which mates take something off; the leading one always."""
    kept = [0]
    standing = reaches[0]
    # what takes nothing off besides the leading one takes nothing off besides more
    likely = np.flatnonzero((np.array(reaches) > standing + _LEAST_REMOVED).any(axis=1))
    for i in likely.tolist():
        one = reaches[i]
        if bool((one > standing + _LEAST_REMOVED).any()):
            kept.append(i)
            standing = np.maximum(standing, one)
    return kept
