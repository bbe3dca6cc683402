"""What is said of joints: ends that miss, angles and sizes no cut serves, cuts that eat the end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from math import acos, cos, degrees, radians, sin
from typing import NamedTuple, Protocol

import numpy as np

from converter.arrays import Array, Flags
from converter.errors import GeometryError, attempted
from converter.findings import Clause, Finding
from converter.geometry.vectors import cross, distance, dot, norm, unit
from converter.joints.bodies import Body
from converter.joints.cuts.lines import ObstaclePart, ParallelLines
from converter.joints.cuts.many import LinesAtParts
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut, angles, lengths_by_mate, reach_of_many, union
from converter.joints.cuts.square import RectPrism
from converter.joints.cuts.torus import BendPart
from converter.joints.finding.contacts import (
    BESIDE,
    COAXIAL,
    INSIDE,
    LEAST_ANGLE,
    LIES_ON,
    MISSED,
    ON,
    PARALLEL,
    PAST,
    Contact,
)
from converter.joints.finding.plan import EndPlan, Key
from converter.joints.model import MITRE, SADDLE, SQUARE, Joint
from converter.model.deviation import distances
from converter.tolerances import PAST_ANGLE, PAST_LENGTH, Tolerances, same_within

#: Degrees between the lines that are looked at.
_COARSE = 5.0
#: Joints that are looked at together.
_TOGETHER = 64


class AddFinding(Protocol):
    """Adds a finding on one joint."""

    def __call__(
        self,
        code: str,
        variant: str,
        measured: float | None,
        limit: float | None,
        unit: str | None,
        /,
        **values: object,
    ) -> None:
        """With what its text needs, besides the place and what is measured."""


def contact_findings(
    frame: Sequence[Body],
    contacts: dict[Key, list[Contact]],
    plans: dict[Key, EndPlan],
    cut: set[tuple[str, str]],
    tol: Tolerances,
) -> list[Finding]:
    """Ends that miss their mates, that lie along them, or that were drawn short or long."""
    findings: list[Finding] = []
    along_each: set[frozenset[int]] = set()
    for key, found in contacts.items():
        own, plan = frame[key[0]], plans[key]
        joined = (own.name, key[1]) in cut
        if plan.choice is not None and plan.choice.kind in ("none", "plane"):
            continue
        met = any(contact.state == ON for contact in found)
        if joined:
            onto = [contact for contact in found if contact.state == ON or contact in plan.onto]
            findings += _drawn([one for one in onto if _is_cut_to(one, plan)], own, frame, tol)
        for contact in found:
            mate = frame[contact.body]
            if contact.state == ON:
                continue
            if contact.state in (COAXIAL, LIES_ON, INSIDE):
                pair = frozenset((key[0], contact.body))  # once for two tubes, not for each of their ends
                if pair in along_each:
                    continue
                along_each.add(pair)
                findings.append(_along(contact, own, mate))
            elif (
                contact not in plan.onto and contact.state != PAST and not met and not plan.onto
            ):  # what runs through is told as a clash
                findings.append(_off(contact, own, mate))
    return findings


def _of_contact(
    contact: Contact,
    own: Body,
    mate: Body,
    code: str,
    variant: str,
    measured: float,
    limit: float | None,
    unit: str,
    /,
    **values: object,
) -> Finding:
    """A finding on an end and the tube that it comes to."""
    return Finding(
        code,
        tube=own.name,
        end=contact.end.letter,
        layer=own.tube.run.layer,
        at=contact.foot,
        measured=measured,
        limit=limit,
        unit=unit,
        variant=variant,
        values={"place": contact.foot, "mate": mate.name, **values},
    )


def _is_cut_to(contact: Contact, plan: EndPlan) -> bool:
    """Whether an end is cut to the tube that it comes to."""
    if any(one.body == contact.body for one in plan.onto) or (contact.body, contact.mate_end) in plan.after:
        return True
    return plan.partner is not None and plan.partner[0] == contact.body


def _drawn(contacts: Sequence[Contact], own: Body, frame: Sequence[Body], tol: Tolerances) -> list[Finding]:
    """A note when the end was drawn to neither a mate's centerline nor its outside, where outlines and solids end.

    Mates that it stops as far from, as those side by side, are named together.
    """
    told: dict[tuple[str, int, int], list[Contact]] = {}
    for contact in contacts:
        variant, left = "short" if contact.ahead > 0.0 else "long", 0.0
        if contact.state == ON and abs(contact.enters) <= tol.near:
            variant, left = "outside", contact.enters
            if abs(left) <= same_within(tol.join):
                continue
        if abs(contact.ahead) > same_within(tol.join):
            alike = variant, round(contact.ahead / tol.join), round(left / tol.join)
            told.setdefault(alike, []).append(contact)
    findings = []
    for (way, _, _), some in told.items():
        first, variant = some[0], way if len(some) == 1 else f"{way} of several"
        values: dict[str, object] = {"size": abs(first.ahead)}
        if way == "outside":
            clause = "drawn-short" if first.enters < 0.0 else "drawn-too-far"
            values["how"] = Clause.of(clause, left=abs(first.enters))
        if len(some) > 1:
            values["mates"] = tuple(frame[one.body].name for one in some)
        mate = frame[first.body]
        findings.append(_of_contact(first, own, mate, "joint-drawn", variant, first.ahead, None, "mm", **values))
    return findings


def _along(contact: Contact, own: Body, mate: Body) -> Finding:
    angle, offset = contact.angle, contact.offset
    if contact.state == INSIDE:
        return _of_contact(contact, own, mate, "joint-parallel", "inside", angle, None, "deg", angle=angle)
    if contact.state == COAXIAL:
        return _of_contact(contact, own, mate, "joint-coaxial", "", angle, LEAST_ANGLE, "deg")
    return _of_contact(contact, own, mate, "joint-parallel", "along", angle, LEAST_ANGLE, "deg", offset=offset)


def _off(contact: Contact, own: Body, mate: Body) -> Finding:
    if contact.state == BESIDE:
        offset = contact.offset
        return _of_contact(contact, own, mate, "joint-beside", "", offset, mate.half, "mm", offset=offset)
    assert contact.state == MISSED
    missed = -contact.enters
    return _of_contact(contact, own, mate, "joint-missed", "", missed, None, "mm", missed=missed)


def findings_of_each(
    joints: Sequence[Joint], frame: dict[str, Body], tol: Tolerances
) -> Iterator[tuple[Joint, list[Finding] | GeometryError]]:
    """What is wrong with each cut, or why it cannot be followed around its tube; some are looked at together."""
    todo = iter(joints)
    while some := list(islice(todo, _TOGETHER)):
        looked_at = [None if _surely_fits(joint, frame, tol) else joint for joint in some]
        looks = iter(_looks([joint for joint in looked_at if joint is not None]))
        for joint, closer in zip(some, looked_at, strict=True):
            look = None if closer is None else next(looks)
            if look is None:
                yield joint, []
            else:
                yield joint, look if isinstance(look, GeometryError) else attempted(_findings, joint, frame, look, tol)


class _EndLook(NamedTuple):
    """The lines of an end at its cut, and at mates that lie too near to its direction, with what each takes off."""

    every: _Reached
    further: _FurtherMates | None
    alone: list[Array]


def _looks(joints: Sequence[Joint]) -> list[_EndLook | GeometryError]:
    """The looks at some joints; of one whose lines never end, the error."""
    together = attempted(_reached, joints)
    if isinstance(together, GeometryError):  # of one of them
        one_by_one = [attempted(_reached, [joint]) for joint in joints]
        reached = [one if isinstance(one, GeometryError) else one[0] for one in one_by_one]
    else:
        reached = [*together]
    looks: list[_EndLook | GeometryError] = []
    for joint, every in zip(joints, reached, strict=True):
        if isinstance(every, GeometryError):
            looks.append(every)
            continue
        further = attempted(_further_mates, joint, every)
        looks.append(further if isinstance(further, GeometryError) else _EndLook(every, further, []))
    asked = [(look, look.further) for look in looks if isinstance(look, _EndLook) and look.further is not None]
    for (look, _), alone in zip(asked, lengths_by_mate([(one.cut, one.beside) for _, one in asked]), strict=True):
        look.alone.extend(alone)
    return looks


def _room(joint: Joint, frame: dict[str, Body]) -> float:
    """How long the straight at an end is, or the tube where it has no bends, mm."""
    own = frame[joint.tube]
    return joint.straight if own.tube.run.table.bends else own.length


def _findings(joint: Joint, frame: dict[str, Body], look: _EndLook, tol: Tolerances) -> list[Finding]:
    """What is wrong with one cut."""
    findings: list[Finding] = []
    own = frame[joint.tube]

    def say(
        code: str, variant: str, measured: float | None, limit: float | None, unit: str | None, /, **values: object
    ) -> None:
        findings.append(
            Finding(
                code, tube=joint.tube, end=joint.end, layer=own.tube.run.layer, at=joint.node,
                measured=measured, limit=limit, unit=unit, variant=variant, values={"place": joint.node, **values},
            )
        )  # fmt: skip

    mate = joint.mates[0] if joint.mates else ""
    if joint.angle < LEAST_ANGLE - PAST_ANGLE:
        variant = "plane" if joint.mate_section is None else "mate"
        angle = joint.angle
        say("joint-angle", variant, angle, LEAST_ANGLE, "deg", mate=mate, angle=angle, least=LEAST_ANGLE)
    if joint.kind == MITRE and joint.angle > 180.0 - 1e-6:
        say("joint-butt", "", None, None, None, mate=mate)
    bent = bool(own.tube.run.table.bends)
    room = _room(joint, frame)
    every = look.every
    lines, outside, met = every if joint.mate_straight else every.thinned(3)
    if joint.kind == SADDLE:
        if look.further is not None:
            _check_further(joint, every, look.further, look.alone, say)
        _check_beyond(joint, frame, lines, outside, every, room, tol, say)
        _check_width(joint, frame, met, tol, say)
        _check_mate_end(joint, frame, lines, outside, met, tol, say)
    elif joint.kind == SQUARE:
        if joint.between > 0.0:
            _say_between(joint, joint.between, say)
        _check_mate_end(joint, frame, lines, outside, met, tol, say)
    if joint.corner_gap > max(joint.gap, 0.0) + same_within(tol.fit):
        # without its place, so that ends left open alike are told together
        values = {"mate": mate, "open": round(joint.corner_gap, 6)}
        findings.append(
            Finding(
                "cope-open", tube=joint.tube, end=joint.end, layer=own.tube.run.layer, at=joint.node,
                measured=joint.corner_gap, limit=joint.gap, unit="mm", values=values,
            )
        )  # fmt: skip
    least, most = float(outside.min()), float(outside.max())
    if least >= room - PAST_LENGTH:
        say("end-eaten", "straight" if bent else "tube", least, room, "mm", taken=least, room=room)
    elif most > room + tol.join:
        code, variant = ("cope-into-bend", "") if bent else ("end-eaten", "one side")
        say(code, variant, most, room, "mm", taken=most, room=room)
    return findings


def _surely_fits(joint: Joint, frame: dict[str, Body], tol: Tolerances) -> bool:
    """Whether bounds alone show that nothing is wrong with a cope onto one round straight: most need no closer look."""
    mate_section = joint.mate_section
    if (
        joint.kind != SADDLE
        or len(joint.base.mates) > 1
        or not joint.mate_straight
        or joint.angle < LEAST_ANGLE - PAST_ANGLE
    ):
        return False
    r, mate_radius = joint.section.cylinder, None if mate_section is None else mate_section.cylinder
    if r is None or mate_radius is None:
        return False
    big = mate_radius + joint.gap
    a = radians(joint.angle)
    if r + joint.offset - big > tol.join or (big + r * cos(a)) / sin(a) - joint.ahead > _room(joint, frame):
        return False
    reach = (r + big * cos(a)) / sin(a)
    return all(distance(joint.node, end.point) > reach for end in frame[joint.mates[0]].ends)


class _Reached(NamedTuple):
    """Lines along the outside of an end, where its metal stops on each, and whether it is a mate that stops it."""

    lines: ParallelLines
    outside: Array
    met: Flags

    def thinned(self, step: int) -> _Reached:
        """Every so manieth line."""
        lines = ParallelLines(self.lines.branch, self.lines.p[::step], self.lines.q[::step])
        return _Reached(lines, self.outside[::step], self.met[::step])


def _reached(joints: Sequence[Joint]) -> list[_Reached]:
    asked = [(joint.base, joint.base.branch.lines(angles(_COARSE))) for joint in joints]
    return [_Reached(lines, *found) for (_, lines), found in zip(asked, reach_of_many(asked), strict=True)]


class _FurtherMates(NamedTuple):
    """Mates beside the leading one that lie too near to the end's own direction.

    Attributes:
        leans: of each mate of the joint; flat: which they are.
        cut: to them; beside: lines of the end at it.
    """

    leans: list[float]
    flat: list[int]
    cut: Cut
    beside: LinesAtParts


def _further_mates(joint: Joint, every: _Reached) -> _FurtherMates | None:
    if joint.kind != SADDLE or len(joint.mates) < 2 or len(joint.mates) != len(joint.base.mates):
        return None
    leans = [_lean(joint, parts) for parts in joint.base.mates]
    flat = [i for i, lean in enumerate(leans) if i and PARALLEL < lean < LEAST_ANGLE - PAST_ANGLE]
    if not flat:
        return None
    cut = Cut(joint.base.branch, union([joint.base.mates[i] for i in flat]))
    return _FurtherMates(leans, flat, cut, cut.beside(every.lines))


def _check_further(
    joint: Joint, every: _Reached, mates: _FurtherMates, alone: Sequence[Array], say: AddFinding
) -> None:
    """Mates that lie too near to an end's own direction and cut a stretch of it; ``alone``: what each takes off."""
    for i, reach in zip(mates.flat, alone, strict=True):
        if bool((every.met & (reach >= every.outside)).any()):
            mate, lean = joint.mates[i], mates.leans[i]
            say("joint-angle", "further", lean, LEAST_ANGLE, "deg", mate=mate, angle=lean, least=LEAST_ANGLE)


def _lean(joint: Joint, parts: Sequence[ObstaclePart]) -> float:
    """The least angle between the tube and the straights of a mate, 0..90 degrees."""
    axes = [part.axis for part in parts if isinstance(part, RoundPrism | RectPrism)]
    return min((degrees(acos(min(1.0, abs(dot(axis, joint.direction))))) for axis in axes), default=90.0)


def _check_beyond(
    joint: Joint,
    frame: dict[str, Body],
    lines: ParallelLines,
    outside: Array,
    every: _Reached,
    room: float,
    tol: Tolerances,
    say: AddFinding,
) -> None:
    """A tube that runs into its mate's bend, or a straight beside that, again behind the cut: it lies along it."""
    parts = joint.base.mates[0]
    furthest = max((part.window[1] - part.near for part in parts if isinstance(part, BendPart)), default=None)
    if furthest is None:
        return
    steps = np.linspace(1.0, max(furthest, 2.0), 24)
    t = (outside + steps[:, None]).ravel()
    behind_cut = ParallelLines(lines.branch, np.tile(lines.p, len(steps)), np.tile(lines.q, len(steps)))
    again = np.any([part.holds(behind_cut, t) for part in parts], axis=0) & (t < room)
    if again.any():
        further = steps[again.reshape(len(steps), -1).any(axis=1)][0]
        say("cope-again", "", float(further), None, "mm", mate=joint.mates[0])
        return
    behind = _other_leg(joint, every, frame[joint.tube], frame[joint.mates[0]], room, tol)
    if behind is not None:
        say("cope-again", "", behind, None, "mm", mate=joint.mates[0])


def _other_leg(joint: Joint, every: _Reached, own: Body, mate: Body, room: float, tol: Tolerances) -> float | None:
    """How far behind its cut a tube runs into any straight or bend of a round mate near the joint, mm, or None.

    Farther off it is a clash as any other.
    """
    radius, near = mate.section.cylinder, 2.0 * (own.half + mate.half)
    if radius is None:
        return None
    branch, (lines, outside, met) = joint.base.branch, every
    further = np.arange(1.0, 2.0 * near, 1.0)
    t = outside[:, None] + further
    foot = np.asarray(branch.point) + np.multiply.outer(lines.p, branch.zero) + np.multiply.outer(lines.q, branch.side)
    row, column = np.nonzero(met[:, None] & (t < room))
    points = foot[row] - np.multiply.outer(t[row, column], branch.direction)
    close_by = np.linalg.norm(points - np.asarray(joint.node), axis=1) <= near
    points, column = points[close_by], column[close_by]
    if not len(points):
        return None
    # all places that are looked at lie no further than that from the node
    node = np.array([joint.node])
    close = [one for one in mate.tube.run.centerline if distances(node, one)[0] < near + radius]
    off = np.min([distances(points, one) for one in close], axis=0, initial=np.inf)
    inside = off < radius - tol.join
    return float(further[column][inside].min()) if inside.any() else None


def _check_width(joint: Joint, frame: dict[str, Body], met: Flags, tol: Tolerances, say: AddFinding) -> None:
    """Lines that pass beside every mate: a mate smaller than the tube, or an offset too great."""
    own, mate = frame[joint.tube], frame[joint.mates[0]]
    smaller = mate.size < own.size - 2.0 * tol.join
    over = _over(joint, own, mate)
    if bool(met.all()) or (over <= tol.join and joint.mate_straight):
        return
    beside = 100.0 * float(np.count_nonzero(~met)) / len(met)
    if len(joint.mates) > 1:
        _say_between(joint, beside, say)
        return
    values: dict[str, object] = {"mate": mate.name, "beside": beside}
    if smaller:
        say(
            "mate-smaller", "", own.size, mate.size, "mm",
            own=own.name, size=own.size, mate_size=mate.size, **values,
        )  # fmt: skip
    elif over <= tol.join:
        say("cope-partial", "curves", own.size, mate.size, "mm", **values)
    else:
        variant, room = "turned" if joint.offset <= tol.join else "off", max(mate.size / 2.0 - own.size / 2.0, 0.0)
        say("cope-partial", variant, joint.offset, room, "mm", offset=joint.offset, over=over, **values)


def _say_between(joint: Joint, beside: float, say: AddFinding) -> None:
    variant = "flats" if joint.kind == SQUARE else "between"
    say("cope-partial", variant, beside, None, None, mate=joint.mates[0], mates=joint.mates, beside=beside)


def _over(joint: Joint, own: Body, mate: Body) -> float:
    """How far the end reaches past its mate's side, mm, as seen along the mate's axis and its own together.

    Round tubes by their sizes; flat sides and corners by how far each reaches square to both axes.
    """
    parts = joint.base.mates[0]
    round_ = own.section.cylinder is not None and mate.section.cylinder is not None
    normal = cross(joint.mate_axis, joint.direction)
    if round_ or not joint.mate_straight or len(parts) != 1 or norm(normal) < 1e-9:
        return joint.offset + own.size / 2.0 - mate.size / 2.0
    part = parts[0]
    n = unit(normal)
    if isinstance(part, RectPrism):
        up, across = abs(dot(n, part.up)), abs(dot(n, cross(part.axis, part.up)))
        half = up * (part.half_up - part.corner) + across * (part.half_across - part.corner) + part.corner
    else:
        half = mate.half + joint.gap
    lines = joint.base.branch.lines(angles(1.0))
    return float(np.abs(lines.along(joint.mate_point, n)).max()) - half


def _check_mate_end(
    joint: Joint,
    frame: dict[str, Body],
    lines: ParallelLines,
    outside: Array,
    met: Flags,
    tol: Tolerances,
    say: AddFinding,
) -> None:
    """A mate that stops before it has carried the whole width of the cope."""
    if len(joint.mates) > 1 or (bool(met.all()) and any(getattr(part, "bounds", ()) for part in joint.base.mates[0])):
        return  # a mate that was taken as it is cut itself, and met all around, carries it
    mate = frame[joint.mates[0]]
    branch = joint.base.branch
    for end in mate.ends:
        if distance(joint.node, end.point) > 4.0 * (mate.half + branch.half_width()) / sin(
            radians(max(joint.angle, LEAST_ANGLE))
        ):
            continue
        ahead = lines.along(end.point, end.direction) - outside * dot(branch.direction, end.direction)
        # of the cut's points those that lie on the mate's axis run on past its end
        square = lines.squared(end.point) - 2.0 * outside * lines.along(end.point, branch.direction) + outside * outside
        on_it = np.sqrt(np.maximum(square - ahead * ahead, 0.0)) <= mate.half + joint.gap + tol.join
        past = float(np.where(on_it, ahead, 0.0).max())
        if past > tol.near:
            say("mate-ends", "", past, 0.0, "mm", mate=mate.name, mate_end=end.letter, past=past)
