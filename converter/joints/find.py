"""The joints of a frame, from centerlines and sections alone.

>>> from converter.joints.find import find_joints
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
from converter.joints.checks import check_contacts, check_joint
from converter.joints.clock import BendClock, StraightClock
from converter.joints.contact import Contact, find_contacts, footprint, frame_index
from converter.joints.crossing import Crossing, crossings_said, find_crossings
from converter.joints.crowd import crowds_said
from converter.joints.index import LegIndex
from converter.joints.lines import Bound, Branch, Part
from converter.joints.model import MITRE, PLANE, SADDLE, Clock, Joint
from converter.joints.plan import Key, Plan, make_plans, point_text
from converter.joints.saddle import Cut, HalfSpace, angles, mitre_plane, union
from converter.model.run import Tube
from converter.progress import steps
from converter.shop.job import Job
from converter.tolerances import DEFAULT, Tolerances
from converter.units import Display

#: An earlier tube of a node counts as a mate when it takes more than this off the end (mm).
_MATTERS = 0.01


@dataclass(frozen=True)
class Survey:
    """A frame, and what was found of its joints.

    Attributes:
        frame: the tubes that can have joints; index: theirs.
        contacts, plans: of every end.
        crossings: of tubes away from their ends.
        joints: in the order of the tubes, end A before end B.
        findings: what is to be said of the joints and crossings.
    """

    frame: list[Body]
    index: LegIndex
    contacts: dict[Key, list[Contact]]
    plans: dict[Key, Plan]
    crossings: list[Crossing]
    joints: list[Joint]
    findings: list[Finding]


def find_joints(
    tubes: Sequence[Tube],
    job: Job | None = None,
    tol: Tolerances = DEFAULT,
    display: Display | None = None,
    gap: float = 0.0,
) -> tuple[list[Joint], list[Finding]]:
    """Every end that is cut to fit, and what is to be said of the joints; arguments as of `survey`."""
    found = survey(tubes, job, tol, display, gap)
    return found.joints, found.findings


def survey(
    tubes: Sequence[Tube],
    job: Job | None = None,
    tol: Tolerances = DEFAULT,
    display: Display | None = None,
    gap: float = 0.0,
) -> Survey:
    """Find the joints of a frame.

    Args:
        tubes: the frame; tubes without a section are left out and said.
        job: its ``[[joint]]`` tables overrule the rules of `converter.joints.plan`.
        tol: ``near`` is how far an end may be drawn short of its mate, or past it.
        display: how lengths are written in sentences.
        gap: weld gap that cuts leave, mm.
    """
    display = display or Display()
    frame, said = bodies(tubes)
    index = frame_index(frame, tol)
    contacts = find_contacts(frame, index, tol)
    said += crowds_said(index.crowds, frame, display)
    plans, more = make_plans(frame, contacts, job, tol, display, index.crowds.numbers())
    said += more
    made: list[Joint] = []
    clocks: dict[int, StraightClock] = {}
    for key in steps(sorted(plans), "joints"):
        plan = plans[key]
        if plan.kind is None:
            continue
        try:
            joint = _joint(plan, frame, plans, contacts, clocks, gap, display)
        except GeometryError as error:
            name = frame[key[0]].name
            place = point_text(plan.end.point, display)
            said.append(
                Finding(
                    "joint-parallel",
                    f"{name} end {key[1]} at {place}: {error.message}.",
                    tube=name,
                    cure="Draw the tubes at an angle, or say what the end is cut to in the job file.",
                )
            )
            continue
        made.append(joint)
        if isinstance(joint.clock, StraightClock):
            joint.clock.add(joint.end, joint.base, joint.mate_axis)
    by_name = {body.name: body for body in frame}
    cut = {(joint.tube, joint.end) for joint in made}
    crossings = find_crossings(frame, index, plans, tol)
    said += crossings_said(crossings, display)
    said += check_contacts(frame, contacts, plans, cut, tol, display)
    for joint in made:
        said += check_joint(joint, by_name, tol, display)
    return Survey(frame, index, contacts, plans, crossings, made, said)


def _joint(
    plan: Plan,
    frame: Sequence[Body],
    plans: dict[Key, Plan],
    contacts: dict[Key, list[Contact]],
    clocks: dict[int, StraightClock],
    gap: float,
    display: Display,
) -> Joint:
    """The joint of a plan; the ends of a straight tube share their clock."""
    body = frame[plan.end.body]
    end = plan.end
    if plan.choice is not None and plan.choice.gap is not None:
        gap = plan.choice.gap
    clock: Clock = BendClock(end, display)
    if end.outside is None:
        clock = clocks.setdefault(end.body, StraightClock())
    zero = end.outside or any_normal(end.direction)
    branch = Branch(end.point, end.direction, zero, body.section, None if body.section.is_round else end.up)
    if plan.kind == PLANE:
        return _plane(plan, branch, body, clock, gap)
    if plan.kind == MITRE:
        return _mitre(plan, branch, body, frame, plans, clock, gap)
    return _saddle(plan, branch, body, frame, plans, contacts, clock, gap)


def _plane(plan: Plan, branch: Branch, body: Body, clock: Clock, gap: float) -> Joint:
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
    plan: Plan, branch: Branch, body: Body, frame: Sequence[Body], plans: dict[Key, Plan], clock: Clock, gap: float
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
    plan: Plan,
    branch: Branch,
    body: Body,
    frame: Sequence[Body],
    plans: dict[Key, Plan],
    contacts: dict[Key, list[Contact]],
    clock: Clock,
    gap: float,
) -> Joint:
    leader, lead = (None, plan.onto[0]) if plan.onto else _lead(plan, contacts)
    mates = [(frame[lead.body], _solid(lead, body, frame[lead.body], gap))]
    if leader is not None and plans[leader].kind == MITRE:
        mates = [(frame[lead.body], _standing(leader, frame, plans, gap))]
    for contact in plan.onto[1:]:
        mates.append((frame[contact.body], _solid(contact, body, frame[contact.body], gap)))
    for key in plan.after:
        if key == leader:
            continue
        mates.append((frame[key[0]], _standing(key, frame, plans, gap)))
    cut = Cut(branch, union([parts for _, parts in mates]))
    cut, names = _that_matter(cut, [mate.name for mate, _ in mates])
    mate = frame[lead.body]
    return Joint(
        node=lead.foot,
        tube=body.name,
        end=plan.end.letter,
        kind=SADDLE,
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
    )


def _lead(plan: Plan, contacts: dict[Key, list[Contact]]) -> tuple[Key, Contact]:
    """The first end that stands there already and that this one can be cut to, and the contact with it."""
    for key in plan.after:
        for contact in contacts[plan.key]:
            if contact.body == key[0] and contact.state == "on" and contact.angle > 0.0:
                return key, contact
    raise GeometryError("the tube and what it ends on lie in one line, so no cut joins them", code="parallel")


def _solid(contact: Contact, own: Body, mate: Body, gap: float) -> tuple[Part, ...]:
    """The mate about a place: its leg there, and its neighbours where the cut may reach them."""
    # a bend that curves toward the tube is met further off than a straight would be
    reach = 1.5 * footprint(contact, own, mate, gap) + own.half
    wide = 1.5 * (own.half + mate.half + gap) / sin(radians(max(contact.angle, 10.0))) + own.half
    # the tube's other end may land on the same mate: that is not this end's cut
    back = min(wide, max(0.55 * own.length, mate.half))
    return mate.solid(
        contact.leg, contact.at, reach, gap, (-contact.ahead - wide, -contact.ahead + back, -contact.ahead)
    )


def _standing(key: Key, frame: Sequence[Body], plans: dict[Key, Plan], gap: float) -> tuple[Part, ...]:
    """An end that stands at the node already, as far as its own cut lets it reach."""
    plan = plans[key]
    end = plan.end
    bounds: tuple[Bound, ...] = ()
    if plan.kind == MITRE and plan.partner is not None:
        other = plans[plan.partner].end
        plane = mitre_plane(end.direction, other.direction, meeting(end, other)[0])
        bounds = ((plane.point, plane.normal),)
    elif plan.kind is not None:
        ahead = plan.onto[0].ahead if plan.onto else 0.0
        bounds = ((along(end.point, end.direction, ahead), end.direction),)
    return (frame[key[0]].end_part(key[1], bounds, gap),)


def _that_matter(cut: Cut, names: list[str]) -> tuple[Cut, tuple[str, ...]]:
    """Only the mates that take something off; the leading one always."""
    if len(names) == 1:
        return cut, tuple(names)
    reaches = cut.by_mate(angles(2.5))
    kept = [0]
    standing = reaches[0]
    for i, one in enumerate(reaches[1:], 1):
        if bool((one > standing + _MATTERS).any()):
            kept.append(i)
            standing = np.maximum(standing, one)
    return Cut(cut.branch, tuple(cut.mates[i] for i in kept)), tuple(dict.fromkeys(names[i] for i in kept))
