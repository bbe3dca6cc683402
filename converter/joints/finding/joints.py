"""The joints of a frame, from centerlines and sections alone.

>>> from converter.joints.finding.joints import find_joints
>>> joints, findings = find_joints(tubes)  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import radians, sin

import numpy as np

from converter.errors import GeometryError
from converter.findings import Finding
from converter.geometry.vectors import Vec, add, along, angle_between, any_normal, cross, dot, norm, scale, sub
from converter.joints.bodies import Body, End, bodies
from converter.joints.checks import contact_findings, joint_findings
from converter.joints.cuts.clock import BendClock, StraightClock
from converter.joints.cuts.flat import flats_under, plane_of
from converter.joints.cuts.lines import Array, Bound, Branch, NoCutError, ObstaclePart
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut, HalfSpace, angles, mitre_plane, union
from converter.joints.cuts.square import RectPrism
from converter.joints.finding.contacts import Contact, find_contacts, footprint, frame_index
from converter.joints.finding.crowds import crowd_findings
from converter.joints.finding.plan import EndPlan, Key, make_plans
from converter.joints.in_the_way.crossings import Crossing, crossing_findings, find_crossings
from converter.joints.model import MITRE, PLANE, SADDLE, SQUARE, Clock, Joint
from converter.joints.near.index import LegIndex
from converter.model.run import Tube
from converter.progress import steps
from converter.shop.job_file import JobFile
from converter.tolerances import DEFAULT, Tolerances

#: An earlier tube of a node counts as a mate when it takes more than this off the end (mm).
_LEAST_REMOVED = 0.01
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


def find_joints(
    tubes: Sequence[Tube],
    job: JobFile | None = None,
    tol: Tolerances = DEFAULT,
    gap: float = 0.0,
) -> tuple[list[Joint], list[Finding]]:
    """Every end that is cut to fit, and what is to be said of the joints; arguments as of `survey_frame`."""
    frame_survey = survey_frame(tubes, job, tol, gap)
    return frame_survey.joints, [*frame_survey.findings, *frame_survey.crossing_findings]


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
    clocks: dict[int, StraightClock] = {}
    standing = _StandingEnds(frame, plans)
    for key in steps(sorted(plans), "joints"):
        plan = plans[key]
        if plan.kind is None:
            continue
        try:
            joint = _joint(plan, frame, standing, contacts, clocks, gap)
        except GeometryError as error:
            findings.append(_no_cut_finding(frame[key[0]].name, plan.end, error))
            continue
        made.append(joint)
        if plan.choice is not None and plan.choice.kind == SQUARE and joint.kind != SQUARE:
            values = {"place": plan.end.point, "mate": joint.mates[0] if joint.mates else ""}
            findings.append(Finding("joint-unmatched", tube=joint.tube, end=joint.end, variant="square", values=values))
        if isinstance(joint.clock, StraightClock):
            joint.clock.add(joint.end, joint.base, joint.mate_axis)
    made, told = _followed(made, frame, plans, tol)
    cut = {(joint.tube, joint.end) for joint in made}
    crossings = find_crossings(frame, index, plans, tol)
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
    for joint in made:
        try:
            told = joint_findings(joint, by_name, tol)
            if _may_never_end(joint):  # of every line that any sheet asks for
                _ = joint.profile
        except GeometryError as error:  # a line beside the axis runs along the mate, and never ends on it
            findings.append(_no_cut_finding(joint.tube, ends[joint.tube, joint.end], error))
        else:
            kept.append(joint)
            findings += told
    return kept, findings


def _may_never_end(joint: Joint) -> bool:
    """Whether a part of a mate runs along the tube, so that lines may lie within it for ever."""
    straights = (part for mate in joint.base.mates for part in mate if isinstance(part, RoundPrism | RectPrism))
    return any(norm(cross(part.axis, joint.direction)) < _ALONG for part in straights)


def _no_cut_finding(tube: str, end: End, error: GeometryError) -> Finding:
    variant = error.variant if isinstance(error, NoCutError) else "shape"
    values = {"place": end.point, "why": error.message}
    return Finding("joint-parallel", tube=tube, end=end.letter, variant=variant, values=values)


def _joint(
    plan: EndPlan,
    frame: Sequence[Body],
    standing: _StandingEnds,
    contacts: dict[Key, list[Contact]],
    clocks: dict[int, StraightClock],
    gap: float,
) -> Joint:
    """The joint of a plan; the ends of a straight tube share their clock."""
    body = frame[plan.end.body]
    end = plan.end
    if plan.choice is not None and plan.choice.gap is not None:
        gap = plan.choice.gap
    clock: Clock = BendClock(end)
    if end.outside is None:
        clock = clocks.setdefault(end.body, StraightClock())
    zero = end.outside or any_normal(end.direction)
    branch = Branch(end.point, end.direction, zero, body.section, end.up if body.section.cylinder is None else None)
    if plan.kind == PLANE:
        return _plane(plan, branch, body, clock, gap)
    if plan.kind == MITRE:
        return _mitre(plan, branch, body, frame, standing.plans, clock, gap)
    return _saddle(plan, branch, body, frame, standing, contacts, clock, gap)


def _plane(plan: EndPlan, branch: Branch, body: Body, clock: Clock, gap: float) -> Joint:
    choice = plan.choice
    assert choice is not None and choice.point is not None and choice.normal is not None
    ahead_cos = dot(choice.normal, branch.direction)
    facing = scale(choice.normal, 1.0 if ahead_cos >= 0.0 else -1.0)
    plane = HalfSpace(along(choice.point, facing, -gap), facing)
    cut = Cut(branch, ((plane,),))
    ahead = dot(sub(choice.point, branch.point), facing) / max(abs(ahead_cos), 1e-12)
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
        mate_point=choice.point,
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


def _saddle(
    plan: EndPlan,
    branch: Branch,
    body: Body,
    frame: Sequence[Body],
    standing: _StandingEnds,
    contacts: dict[Key, list[Contact]],
    clock: Clock,
    gap: float,
) -> Joint:
    leader, lead = (None, plan.onto[0]) if plan.onto else _lead(plan, contacts)
    mates = [(frame[lead.body], _solid(lead, body, frame[lead.body], gap))]
    if leader is not None and standing.plans[leader].kind == MITRE:
        mates = [(frame[lead.body], standing.parts(leader, gap))]
    for contact in plan.onto[1:]:
        mates.append((frame[contact.body], _solid(contact, body, frame[contact.body], gap)))
    for key in plan.after:
        if key == leader:
            continue
        mates.append((frame[key[0]], standing.parts(key, gap)))
    flats = flats_under(branch, [parts[0] if len(parts) == 1 else None for _, parts in mates], gap)
    asked = plan.choice.kind if plan.choice is not None else None
    coped = asked == SADDLE or (asked != SQUARE and body.tube.coped_corners)
    corner_gap = between = 0.0
    obstacles: list[tuple[ObstaclePart, ...]] = []
    for (_, parts), flat in zip(mates, flats, strict=True):
        if flat is None or coped or not (flat.fits or asked == SQUARE):
            obstacles.append(parts)
            continue
        obstacles.append((flat.plane,))
        corner_gap, between = max(corner_gap, flat.corner_gap), max(between, flat.between)
    cut = Cut(branch, union(obstacles))
    kept = [0]
    if len(mates) > 1:
        reaches = cut.by_mate(branch.lines(angles(2.5)))
        first = _first_that_cuts(reaches, len(plan.onto))
        if first:  # what removes nothing leads nothing
            lead = plan.onto[first]
            mates.insert(0, mates.pop(first))
            flats.insert(0, flats.pop(first))
            obstacles.insert(0, obstacles.pop(first))
            reaches.insert(0, reaches.pop(first))
        kept = _that_remove_something(reaches)
    every = [mate.name for mate, _ in mates]
    cut = Cut(branch, union([obstacles[i] for i in kept]))
    names = tuple(dict.fromkeys(every[i] for i in kept))
    if flats[0] is not None and len(every) > 1:  # of mates whose flats are flush one cuts for all
        names = tuple(
            dict.fromkeys(n for n, flat in zip(every, flats, strict=True) if n in names or flats[0].is_flush(flat))
        )
    on_flat = flats[0] is not None and plane_of(cut) is not None
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
        clock=clock,
        mate_axis=lead.axis,
        mate_point=lead.foot,
        mate_section=mate.section,
        mate_straight=mate.legs[lead.leg].arc is None and len(cut.mates[0]) == 1,
        ahead=lead.ahead,
        straight=plan.end.straight,
        gap=gap,
        corner_gap=corner_gap,
        between=between if on_flat else 0.0,
    )


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
    wide = 1.5 * (own.half + mate.half + gap) / sin(radians(max(contact.angle, 10.0))) + own.half
    further = contact.enters + contact.ahead - mate.half / sin(radians(max(contact.angle, 10.0)))
    if mate.legs[contact.leg].arc is not None and further > 0.0:
        reach, wide = reach + further, wide + further
    # the tube's other end may land on the same mate: that is not this end's cut
    back = min(wide, max(0.55 * own.length, mate.half))
    return mate.solid(
        contact.leg, contact.at, reach, gap, (-contact.ahead - wide, -contact.ahead + back, -contact.ahead)
    )


class _StandingEnds:
    """Ends that stand at their nodes already, as far as their own cuts let them reach; each worked out once.

    Attributes:
        plans: of every end.
    """

    def __init__(self, frame: Sequence[Body], plans: dict[Key, EndPlan]) -> None:
        self.plans = plans
        self._frame = frame
        self._made: dict[tuple[Key, float], tuple[ObstaclePart, ...]] = {}

    def parts(self, key: Key, gap: float) -> tuple[ObstaclePart, ...]:
        """An end as it stands in the way of others, the weld gap around it."""
        if (key, gap) not in self._made:
            self._made[key, gap] = (self._frame[key[0]].end_part(key[1], self._bounds(self.plans[key]), gap),)
        return self._made[key, gap]

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
