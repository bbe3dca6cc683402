"""Who is cut to whom: the rules of a node, and what a job file says otherwise.

The rules, in this order:

1. A tube that ends on another that runs on is cut to it; the larger one leads. It is cut to every other that runs on
   there and that its metal meets; an end that sits between two tubes, its axis in neither, is cut to both.
2. Ends that meet with nothing running through: the two largest are mitred when their sections
   are equal and lie alike (of several pairs, the one nearest to a straight line); otherwise the
   smaller is cut to the larger, which runs on.
3. Every further tube of the node is cut to what it meets there already: larger before smaller,
   fewer bends before more, then in drawn order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from converter.findings import Clause, Finding
from converter.geometry.vectors import Vec, along, angle_between, distance, dot, sub
from converter.joints.bodies import Body, End, mirrored_alike, same_section
from converter.joints.finding.contacts import BESIDE, LEAST_ANGLE, ON, PAST, Contact, footprint
from converter.joints.model import MITRE, PLANE, SADDLE, SQUARE
from converter.names import fits
from converter.shop.job_file import JobFile, JointChoice
from converter.tolerances import Tolerances

Key = tuple[int, str]


@dataclass(slots=True)
class EndPlan:
    """What is to be done with an end.

    Attributes:
        end: the end.
        kind: 'saddle', 'mitre', 'plane', or None when it is left as it is.
        onto: tubes that it ends on, the leading one first.
        after: ends of the same node that stand before it.
        partner: the other end of a mitre.
        plane: a point and the normal of the plane that it ends on.
        choice: what the job file says of it, or None.
    """

    end: End
    kind: str | None = None
    onto: list[Contact] = field(default_factory=list)
    after: list[Key] = field(default_factory=list)
    partner: Key | None = None
    plane: tuple[Vec, Vec] | None = None
    choice: JointChoice | None = None

    @property
    def key(self) -> Key:
        """The end as a key."""
        return self.end.body, self.end.letter


def make_plans(
    bodies: Sequence[Body],
    contacts: dict[Key, list[Contact]],
    job: JobFile | None,
    tol: Tolerances,
    crowd: Mapping[Key, int] | None = None,
) -> tuple[dict[Key, EndPlan], list[Finding]]:
    """A plan for every end, by (tube, end letter); ends of one ``crowd`` number are not cut to one another."""
    findings: list[Finding] = []
    plans = {(end.body, end.letter): EndPlan(end) for body in bodies for end in body.ends}
    _choose(bodies, plans, job, tol, findings)
    groups = _nodes(bodies, plans, contacts, tol)
    for group in groups:
        _settle(group, bodies, plans, contacts, tol, findings)
    _cut_one_of_two(bodies, plans)
    _neighbours(bodies, plans, crowd or {})
    findings += _as_drawn(bodies, plans)
    return plans, findings


def _as_drawn(bodies: Sequence[Body], plans: Mapping[Key, EndPlan]) -> list[Finding]:
    """Cut ends that nothing else cuts as their outlines show them."""
    findings: list[Finding] = []
    for plan in plans.values():
        tube = bodies[plan.end.body].tube
        drawn = tube.run.drawn_ends["AB".index(plan.end.letter)]
        if drawn is None or plan.kind is not None or plan.onto or plan.after or plan.choice is not None:
            continue
        if drawn.normal is not None:
            plan.kind, plan.plane = PLANE, (plan.end.point, drawn.normal)
        findings.append(
            Finding(
                "joint-as-drawn", variant="shape" if drawn.normal is None else "", tube=tube.name, end=plan.end.letter,
                layer=tube.run.layer, at=plan.end.point, measured=drawn.past, unit="mm", values={"past": drawn.past},
            )
        )  # fmt: skip
    return findings


def _cut_one_of_two(bodies: Sequence[Body], plans: dict[Key, EndPlan]) -> None:
    """Of two tubes whose ends both land on the other at one place, only one is cut to the other.

    A tube that runs on past the other's end (a rail left long so that it carries a rung) is not cut;
    where neither runs on, the lesser is cut to the larger.
    """
    for key in sorted(plans):
        plan = plans[key]
        for contact in list(plan.onto):
            if contact.mate_end is None:
                continue
            other = plans[(contact.body, contact.mate_end)]
            back = next((c for c in other.onto if c.body == key[0] and c.mate_end in (None, key[1])), None)
            if back is None or (plan.choice is not None and contact.body in _mates_of_job_file(plan, bodies)):
                continue
            asked = other.choice is not None and key[0] in _mates_of_job_file(other, bodies)
            first = _rank(bodies[key[0]], key) < _rank(bodies[contact.body], other.key)
            if back.mate_end is None or asked or first:
                plan.onto.remove(contact)
                if not plan.onto and not plan.after and plan.kind == SADDLE:
                    plan.kind = None


def _mates_of_job_file(plan: EndPlan, bodies: Sequence[Body]) -> set[int]:
    """The tubes that the job file cuts this end to."""
    patterns = plan.choice.cope_to if plan.choice else ()
    return {c.body for c in plan.onto if any(fits(p, bodies[c.body].name) for p in patterns)}


def _choose(
    bodies: Sequence[Body],
    plans: dict[Key, EndPlan],
    job: JobFile | None,
    tol: Tolerances,
    findings: list[Finding],
) -> None:
    """Hand every end the first saying of the job file that speaks of it."""
    for number, choice in enumerate(job.joints if job else (), 1):
        used = False
        for plan in plans.values():
            body = bodies[plan.end.body]
            if not choice.speaks_of(body.name, plan.end.letter):
                continue
            if choice.at is not None and distance(choice.at, plan.end.point) > max(tol.near, 2.0 * body.half):
                continue
            used = True
            if plan.choice is None:
                plan.choice = choice
        if not used:
            end = Clause.of("unmatched-end", letter=choice.end) if choice.end else ""
            near = Clause.of("unmatched-near", place=choice.at) if choice.at is not None else ""
            values = {"number": number, "named": choice.tube, "of_end": end, "near": near}
            findings.append(Finding("joint-unmatched", variant="nowhere", values=values))


def _nodes(
    bodies: Sequence[Body], plans: dict[Key, EndPlan], contacts: dict[Key, list[Contact]], tol: Tolerances
) -> list[list[Key]]:
    """Ends that meet end to end, as groups; an end that meets no other is a group of its own."""
    root: dict[Key, Key] = {key: key for key in plans}

    def find(key: Key) -> Key:
        while root[key] != key:
            root[key] = root[root[key]]
            key = root[key]
        return key

    for key, found in contacts.items():
        if _left_alone(plans[key]):
            continue
        for contact in found:
            other = meets(contact, bodies, tol)
            if other is not None and other != key and not _left_alone(plans[other]):
                root[find(key)] = find(other)
    groups: dict[Key, list[Key]] = {}
    for key in plans:
        groups.setdefault(find(key), []).append(key)
    return list(groups.values())


def meets(contact: Contact, bodies: Sequence[Body], tol: Tolerances) -> Key | None:
    """The end of the other tube that an end meets where it lands; None when the other runs on there.

    It does not run on when it ends within the metal of the tube that lands: such a tube is not carried by
    what is left, so that the two ends form a corner, drawn a bit long or short.
    """
    mate, own = bodies[contact.body], bodies[contact.end.body]
    if contact.state != ON or not mate.ends:
        return None
    here = mate.legs[contact.leg].begin + contact.at
    letter, rest = ("A", here) if here <= mate.length - here else ("B", mate.length - here)
    return (contact.body, letter) if rest <= max(tol.near, own.size / 2.0 - tol.near) else None


def _left_alone(plan: EndPlan) -> bool:
    return plan.choice is not None and plan.choice.kind in ("none", PLANE)


def _rank(body: Body, key: Key) -> tuple[float, int, int, str]:
    return (-round(body.size, 3), len(body.tube.run.table.bends), body.index, key[1])


def _settle(
    group: list[Key],
    bodies: Sequence[Body],
    plans: dict[Key, EndPlan],
    contacts: dict[Key, list[Contact]],
    tol: Tolerances,
    findings: list[Finding],
) -> None:
    """Decide one node."""
    members = sorted(group, key=lambda key: _rank(bodies[key[0]], key)) if len(group) > 1 else group
    inside = set(group)
    for key in members:
        plan = plans[key]
        if plan.choice is not None and plan.choice.kind == PLANE:
            assert plan.choice.point is not None and plan.choice.normal is not None
            plan.kind, plan.plane = PLANE, (plan.choice.point, plan.choice.normal)
            continue
        if _left_alone(plan):
            continue
        found = contacts[key]
        plan.onto = [c for c in found if c.state == ON and c.angle > 0.0 and meets(c, bodies, tol) not in inside]
        beside = [c for c in found if c.state == BESIDE and _runs_by(c, bodies, contacts)]
        if plan.onto or (len(group) == 1 and _is_between(beside)):
            plan.onto += beside
        if len(plan.onto) > 1:
            plan.onto.sort(
                key=lambda c: (c.state != ON, -round(bodies[c.body].size, 3), abs(c.ahead) + c.offset, c.body)
            )
        if plan.onto:
            plan.kind = SADDLE
    if len(members) > 1:
        _meeting(members, bodies, plans, contacts, tol)
    for key in members:
        _follow_choice(plans[key], members, bodies, plans, contacts, findings)
    _without_rings(members, bodies, plans, findings)


def _runs_by(contact: Contact, bodies: Sequence[Body], contacts: dict[Key, list[Contact]]) -> bool:
    """Whether a tube that an end passes and touches carries the whole cut, with no end of its own there."""
    mate, own = bodies[contact.body], bodies[contact.end.body]
    if contact.angle < LEAST_ANGLE:
        return False
    if not mate.ends:
        return True
    here = mate.legs[contact.leg].begin + contact.at
    comes_back = any(
        back.body == own.index and back.state != PAST for letter in "AB" for back in contacts[mate.index, letter]
    )
    return not comes_back and min(here, mate.length - here) > footprint(contact, own, mate, 0.0)


def _is_between(beside: Sequence[Contact]) -> bool:
    """Whether an end has tubes that it touches on opposite sides of its axis."""
    ways = [sub(c.foot, along(c.end.point, c.end.direction, c.ahead)) for c in beside]
    return any(dot(one, other) < 0.0 for one, other in combinations(ways, 2))


def _meeting(
    members: list[Key],
    bodies: Sequence[Body],
    plans: dict[Key, EndPlan],
    contacts: dict[Key, list[Contact]],
    tol: Tolerances,
) -> None:
    """Ends that meet: mitre the best pair that ends on nothing else, cut the others to those before them."""
    tubes = {key[0] for key in members}
    touches = {key: {c.body for c in contacts[key] if c.state == ON and c.angle > 0.0} for key in members}
    # who runs into no other of the node can only be cut to; who lands on one further along comes after it
    members.sort(key=lambda key: (bool(touches[key] & tubes), any(c.body in tubes for c in plans[key].onto)))
    pair = _pair([key for key in members if not plans[key].onto], bodies, plans, touches, tol)
    if pair is not None:
        one, two = pair
        for key, other in ((one, two), (two, one)):
            plans[key].kind, plans[key].partner = MITRE, other
        members[:] = [one, two, *(key for key in members if key not in pair)]
    for i, key in enumerate(members):
        plan = plans[key]
        if plan.kind == MITRE:
            continue
        landed = {c.body for c in plan.onto}
        plan.after = [other for other in members[:i] if other[0] not in landed]
        if not plan.onto and not any(other[0] in touches[key] for other in plan.after):
            in_line = any(c.state == ON and c.angle == 0.0 for c in contacts[key])
            plan.after = plan.after if in_line else []
        if plan.after:
            plan.kind = SADDLE


def _pair(
    members: list[Key],
    bodies: Sequence[Body],
    plans: dict[Key, EndPlan],
    touches: dict[Key, set[int]],
    tol: Tolerances,
) -> tuple[Key, Key] | None:
    """The two ends to mitre: the largest of equal section, nearest to one line; None when the largest is alone.

    Ends drawn to one point come before ends that are drawn short or long.
    """
    if len(members) < 2:
        return None
    if any(choice is not None and choice.kind in (SADDLE, SQUARE) for choice in (plans[key].choice for key in members)):
        return None
    largest = round(bodies[members[0][0]].size, 3)
    able = [key for key in members if abs(bodies[key[0]].size - largest) <= 0.05]
    best: tuple[bool, float, tuple[Key, Key]] | None = None
    for one, two in combinations(able, 2):
        a, b, first, second = bodies[one[0]], bodies[two[0]], plans[one].end, plans[two].end
        if not (same_section(a.section, b.section) and mirrored_alike(first, second, a.section)):
            continue
        opening = angle_between(first.direction, second.direction)
        there = distance(first.point, second.point) <= tol.near
        if not there and two[0] not in touches[one] and one[0] not in touches[two]:
            continue
        if opening > 1.0 and (best is None or (there, opening - 1e-6) > best[:2]):
            best = (there, opening, (one, two))
    return best[2] if best else None


def _follow_choice(
    plan: EndPlan,
    members: list[Key],
    bodies: Sequence[Body],
    plans: dict[Key, EndPlan],
    contacts: dict[Key, list[Contact]],
    findings: list[Finding],
) -> None:
    """Follow the job file for one end."""
    choice = plan.choice
    if choice is None or choice.kind in (PLANE, "none"):
        return
    others = [key for key in members if key != plan.key]
    # a saying of both ends of a tube is met where one of them meets the other tube
    both = [(plan.key[0], end) for end in "AB" if plans[plan.key[0], end].choice is choice]
    anywhere = [bodies[c.body].name for key in both for c in contacts[key] if _is_met(c, plans[key])]
    for pattern in choice.cope_to:
        if not any(fits(pattern, one) for one in anywhere):
            met = sorted({bodies[c.body].name for c in contacts[plan.key] if _is_met(c, plan)})
            cure = "mate" if met else "nothing met"
            findings.append(_unmatched(plan, bodies, "mate", cure, named=pattern, met=met))
    wanted = [key for key in others if any(fits(p, bodies[key[0]].name) for p in choice.cope_to)]
    if choice.kind == MITRE:
        partner = wanted[0] if wanted else (others[0] if others else None)
        if partner is None:
            findings.append(_unmatched(plan, bodies, "mitre"))
            return
        for key, other in ((plan.key, partner), (partner, plan.key)):
            plans[key].kind, plans[key].partner, plans[key].onto, plans[key].after = MITRE, other, [], []
        return
    if choice.cope_to:
        _part(plan, plans)
        past = [c for c in contacts[plan.key] if c.state == PAST]
        plan.onto = [c for c in [*plan.onto, *past] if any(fits(p, bodies[c.body].name) for p in choice.cope_to)]
        plan.after = wanted
        for key in wanted:  # who is cut to is not cut back, unless the job file says so too
            first = plans[key]
            own = first.choice is not None and bool(first.choice.cope_to)
            if not own and plan.key in first.after:
                first.after.remove(plan.key)
                if not first.onto and not first.after:
                    first.kind = None
        plan.kind = SADDLE if plan.onto or plan.after else None


def _is_met(contact: Contact, plan: EndPlan) -> bool:
    """Whether an end meets the tube of a contact, so that the job file may cut it to that."""
    return contact.state in (ON, PAST) or contact in plan.onto


def _unmatched(plan: EndPlan, bodies: Sequence[Body], variant: str, cure: str = "", **values: object) -> Finding:
    """What the job file says of an end that it cannot be."""
    end = plan.end
    return Finding(
        "joint-unmatched",
        tube=bodies[end.body].name,
        end=end.letter,
        at=end.point,
        variant=variant,
        cure=cure,
        values={"place": end.point, **values},
    )


def _part(plan: EndPlan, plans: dict[Key, EndPlan]) -> None:
    """Take an end out of its mitre; the other end is then left as it is."""
    if plan.partner is not None:
        other = plans[plan.partner]
        other.kind, other.partner = None, None
        plan.partner = None


def _without_rings(
    members: list[Key], bodies: Sequence[Body], plans: dict[Key, EndPlan], findings: list[Finding]
) -> None:
    """Refuse ends that are cut to each other in a ring: each would wait for the next."""
    done: set[Key] = set()

    def visit(key: Key, path: list[Key]) -> None:
        if key in done:
            return
        if key in path:
            ring = path[path.index(key) :]
            plan = plans[path[-1]]
            plan.after = [other for other in plan.after if other != key]
            if not plan.onto and not plan.after:
                plan.kind = None
            ends = [Clause.of("ring-end", tube=bodies[k[0]].name, letter=k[1]) for k in ring]
            values = {"place": plan.end.point, "ends": ends}
            findings.append(Finding("joint-ring", tube=bodies[key[0]].name, values=values))
            return
        for other in list(plans[key].after):
            visit(other, [*path, key])
        done.add(key)

    for key in members:
        visit(key, [])


def _neighbours(bodies: Sequence[Body], plans: dict[Key, EndPlan], crowd: Mapping[Key, int]) -> None:
    """Ends that land on one tube so near each other that their metal may meet: the later is cut to the earlier."""
    landed: dict[int, list[tuple[float, float, Key]]] = {}
    for key, plan in plans.items():
        if plan.kind != SADDLE:
            continue
        for contact in plan.onto:
            mate = bodies[contact.body]
            reach = footprint(contact, bodies[key[0]], mate, 0.0)
            landed.setdefault(contact.body, []).append((mate.legs[contact.leg].begin + contact.at, reach, key))
    for found in landed.values():
        found.sort()
        widest = max(reach for _, reach, _ in found)
        for i, (at, reach, key) in enumerate(found):
            for other_at, other_reach, other in found[i + 1 :]:
                if other_at - at > reach + widest:
                    break
                if other_at - at > reach + other_reach or other[0] == key[0]:
                    continue
                if key in crowd and crowd[key] == crowd.get(other):
                    continue
                in_order = sorted((key, other), key=lambda one: _rank(bodies[one[0]], one))
                first, second = (plans[one] for one in in_order)
                fixed = second.choice is not None and bool(second.choice.cope_to)
                if not fixed and first.key not in second.after and second.key not in first.after:
                    second.after.append(first.key)
