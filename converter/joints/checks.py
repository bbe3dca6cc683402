"""What is said of joints: ends that miss, angles and sizes no cut serves, cuts that eat the end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import acos, cos, degrees, radians, sin

import numpy as np

from converter.findings import Finding
from converter.geometry.vectors import cross, distance, dot, norm, unit
from converter.joints.bodies import Body
from converter.joints.contact import BESIDE, COAXIAL, LIES_ON, MISSED, ON, PARALLEL, Contact
from converter.joints.lines import Array, Hits, Lines
from converter.joints.model import MITRE, SADDLE, Joint
from converter.joints.plan import Key, Plan, point_text
from converter.joints.saddle import RoundPrism, angles
from converter.joints.square import RectPrism
from converter.joints.torus import BendPart
from converter.tolerances import Tolerances
from converter.units import Display

#: Degrees between the axes below which a cope is no longer said to be sound.
LEAST_ANGLE = 15.0
#: Degrees by which a drawing's rounding may miss an angle.
_SAME_ANGLE = 1e-3
#: mm; an end drawn nearer than this to where it belongs is drawn there.
DRAWN = 0.01
#: Degrees between the lines that are looked at.
_COARSE = 5.0


def check_contacts(
    frame: Sequence[Body],
    contacts: dict[Key, list[Contact]],
    plans: dict[Key, Plan],
    cut: set[tuple[str, str]],
    tol: Tolerances,
    display: Display,
) -> list[Finding]:
    """Ends that miss their mates, that lie along them, or that were drawn short or long."""
    said: list[Finding] = []
    along_each: set[frozenset[int]] = set()
    for key, found in contacts.items():
        own, plan = frame[key[0]], plans[key]
        joined = (own.name, key[1]) in cut
        if plan.choice is not None and plan.choice.kind in ("none", "plane"):
            continue
        met = any(contact.state == ON for contact in found)
        for contact in found:
            mate = frame[contact.body]
            if contact.state == ON:
                if joined:
                    said += _drawn(contact, own, mate, plan, tol, display)
            elif contact.state in (COAXIAL, LIES_ON):
                pair = frozenset((key[0], contact.body))  # once for two tubes, not for each of their ends
                if pair in along_each:
                    continue
                along_each.add(pair)
                said.append(_along(contact, own, mate, display))
            elif not met:
                said.append(_off(contact, own, mate, display))
    return said


def _where(contact: Contact, own: Body, display: Display) -> str:
    return f"{own.name} end {contact.end.letter} at {point_text(contact.foot, display)}"


def _drawn(contact: Contact, own: Body, mate: Body, plan: Plan, tol: Tolerances, display: Display) -> list[Finding]:
    """A note when the end was not drawn to the mate's centerline."""
    used = any(one.body == contact.body for one in plan.onto) or (contact.body, contact.mate_end) in plan.after
    used = used or (plan.partner is not None and plan.partner[0] == contact.body)
    if not used or abs(contact.ahead) <= DRAWN:
        return []
    where = f"{_where(contact, own, display)}: its centerline"
    size = display.length(abs(contact.ahead))
    if abs(contact.enters) <= tol.near:
        left = display.length(abs(contact.enters))
        how = (
            "exactly"
            if abs(contact.enters) <= DRAWN
            else f"but for {left} {'short' if contact.enters < 0.0 else 'too far'}"
        )
        text = f"{where} stops at the outside of {mate.name} ({how}), {size} before its centerline"
    elif contact.ahead > 0.0:
        text = f"{where} stops {size} short of the centerline of {mate.name}"
    else:
        text = f"{where} runs {size} past the centerline of {mate.name}"
    return [
        Finding(
            "joint-drawn",
            f"{text}; the cut is made to fit all the same.",
            tube=own.name,
            layer=own.tube.run.layer,
            at=contact.foot,
            measured=contact.ahead,
            unit="mm",
        )
    ]


def _along(contact: Contact, own: Body, mate: Body, display: Display) -> Finding:
    if contact.state == COAXIAL:
        return Finding(
            "joint-coaxial",
            f"{_where(contact, own, display)} lies in line with {mate.name}, so no cut joins them.",
            tube=own.name,
            layer=own.tube.run.layer,
            at=contact.foot,
            measured=contact.angle,
            limit=LEAST_ANGLE,
            unit="deg",
            cure="Draw one tube where they overlap, or end to end with a sleeve.",
        )
    return Finding(
        "joint-parallel",
        f"{_where(contact, own, display)} lies along {mate.name}, {display.length(contact.offset)} from its "
        "centerline, so their metal overlaps and no cut joins them.",
        tube=own.name,
        layer=own.tube.run.layer,
        at=contact.foot,
        measured=contact.angle,
        limit=LEAST_ANGLE,
        unit="deg",
        cure="Move the tubes apart, or draw them at an angle.",
    )


def _off(contact: Contact, own: Body, mate: Body, display: Display) -> Finding:
    if contact.state == BESIDE:
        return Finding(
            "joint-beside",
            f"{_where(contact, own, display)}: its axis passes {display.length(contact.offset)} from that of "
            f"{mate.name}, beside the tube, and only part of it would touch; it is not cut.",
            tube=own.name,
            layer=own.tube.run.layer,
            at=contact.foot,
            measured=contact.offset,
            limit=mate.half,
            unit="mm",
            cure="Move the end so that its axis runs into the other tube.",
        )
    assert contact.state == MISSED
    return Finding(
        "joint-missed",
        f"{_where(contact, own, display)} stops {display.length(-contact.enters)} short of the outside of "
        f"{mate.name}, so it is not joined to it.",
        tube=own.name,
        layer=own.tube.run.layer,
        at=contact.foot,
        measured=-contact.enters,
        unit="mm",
        cure="Draw the end to the other tube's centerline, or raise --near.",
    )


def check_joint(joint: Joint, frame: dict[str, Body], tol: Tolerances, display: Display) -> list[Finding]:
    """What is wrong with one cut."""
    said: list[Finding] = []
    own = frame[joint.tube]

    def say(code: str, text: str, measured: float | None, limit: float | None, unit: str, cure: str) -> None:
        where = f"{joint.tube} end {joint.end} at {point_text(joint.node, display)}"
        said.append(
            Finding(
                code, f"{where}: {text}.", tube=joint.tube, layer=own.tube.run.layer, at=joint.node,
                measured=measured, limit=limit, unit=unit, cure=cure,
            )
        )  # fmt: skip

    shallow = joint.angle
    if shallow < LEAST_ANGLE - _SAME_ANGLE:
        what = "the plane" if joint.mate_section is None else joint.mates[0]
        say(
            "joint-angle",
            f"it meets {what} at {display.angle(shallow)}, too shallow to cut and weld (the least is "
            f"{LEAST_ANGLE:g}°)",
            shallow, LEAST_ANGLE, "deg", "Draw it steeper, or end it on something else.",
        )  # fmt: skip
    if joint.kind == MITRE and joint.angle > 180.0 - 1e-6:
        say("joint-butt", f"it meets {joint.mates[0]} in line; both ends are cut square", None, None, "", "")
    room = joint.straight if own.tube.run.table.bends else own.length
    if _plainly_sound(joint, frame, room, tol):
        return said
    lines = joint.base.branch.lines(angles(_COARSE if joint.mate_straight else 3.0 * _COARSE))
    outside, met = joint.base.reach(lines)
    if joint.kind == SADDLE:
        _check_further(joint, display, say)
        _check_beyond(joint, lines, outside, room, say)
        _check_width(joint, frame, met, tol, display, say)
        _check_mate_end(joint, frame, lines, outside, met, tol, display, say)
    part = "straight" if own.tube.run.table.bends else "tube"
    if float(outside.min()) >= room:
        say(
            "end-eaten",
            f"the cut takes {display.length(float(outside.min()))} off all around, and the {part} there is only "
            f"{display.length(room)} long, so nothing of the end is left",
            float(outside.min()), room, "mm", "Lengthen the tube, or cut it to fewer tubes.",
        )  # fmt: skip
    elif float(outside.max()) > room + tol.join:
        say(
            "cope-into-bend" if own.tube.run.table.bends else "end-eaten",
            f"the cut reaches {display.length(float(outside.max()))} back, past the {display.length(room)} of the "
            f"{part} there" + (", into the bend, where the template no longer fits" if part == "straight" else ""),
            float(outside.max()), room, "mm", "Leave a longer straight at that end.",
        )  # fmt: skip
    return said


Say = Callable[[str, str, float | None, float | None, str, str], None]


def _plainly_sound(joint: Joint, frame: dict[str, Body], room: float, tol: Tolerances) -> bool:
    """Whether bounds alone show that a cope onto one round straight fits: most do, and need no closer look."""
    mate_section = joint.mate_section
    if (
        joint.kind != SADDLE
        or len(joint.base.mates) > 1
        or not joint.mate_straight
        or joint.angle < LEAST_ANGLE - _SAME_ANGLE
    ):
        return False
    if mate_section is None or not mate_section.is_round or not joint.section.is_round:
        return False
    r, big = joint.section.od / 2.0, mate_section.od / 2.0 + joint.gap
    a = radians(joint.angle)
    if r + joint.offset - big > tol.join or (big + r * cos(a)) / sin(a) - joint.ahead > room:
        return False
    reach = (r + big * cos(a)) / sin(a)
    return all(distance(joint.node, end.point) > reach for end in frame[joint.mates[0]].ends)


def _check_further(joint: Joint, display: Display, say: Say) -> None:
    """Mates beside the leading one that cut a stretch of the end and lie too near to its own direction."""
    if len(joint.mates) < 2 or len(joint.mates) != len(joint.base.mates):
        return
    reaches = joint.base.by_mate(angles(_COARSE))
    furthest = np.max(reaches, axis=0)
    for name, parts, reach in list(zip(joint.mates, joint.base.mates, reaches, strict=True))[1:]:
        lean = 90.0
        for part in parts:
            if isinstance(part, RoundPrism | RectPrism):
                lean = min(lean, degrees(acos(min(1.0, abs(dot(part.axis, joint.direction))))))
        if PARALLEL < lean < LEAST_ANGLE - _SAME_ANGLE and bool((np.isfinite(reach) & (reach >= furthest)).any()):
            say(
                "joint-angle",
                f"it is cut to {name} too, which it meets at {display.angle(lean)}, too shallow to cut and weld (the "
                f"least is {LEAST_ANGLE:g}°)",
                lean, LEAST_ANGLE, "deg", "Draw them further apart, or end one of them elsewhere.",
            )  # fmt: skip


def _check_beyond(joint: Joint, lines: Lines, outside: Array, room: float, say: Say) -> None:
    """A tube that runs into its mate's bend again behind the cut: it lies along the bend, not on it."""
    bends = [part for part in joint.base.mates[0] if isinstance(part, BendPart)]
    for part in bends:
        for further in np.linspace(1.0, max(part.window[1] - part.near, 2.0), 24):
            t = outside + float(further)
            if bool((part.holds(lines, t) & (t < room)).any()):
                say(
                    "cope-again",
                    f"behind the cut it runs into the bend of {joint.mates[0]} again",
                    float(further), None, "mm", "Turn it so that it leaves the bend, or end it elsewhere.",
                )  # fmt: skip
                return


def _check_width(joint: Joint, frame: dict[str, Body], met: Hits, tol: Tolerances, display: Display, say: Say) -> None:
    """Lines that pass beside every mate: a mate smaller than the tube, or an offset too great."""
    own, mate = frame[joint.tube], frame[joint.mates[0]]
    smaller = mate.size < own.size - 2.0 * tol.join
    over = _over(joint, own, mate)
    if bool(met.all()) or (over <= tol.join and joint.mate_straight):
        return
    part = 100.0 * float(np.count_nonzero(~met)) / len(met)
    if smaller:
        say(
            "mate-smaller",
            f"{mate.name} ({display.length(mate.size)}) is smaller than the tube ({display.length(own.size)}), so "
            f"{part:.0f}% of the end passes beside it; there the cut stops level with the centerline of {mate.name}",
            own.size, mate.size, "mm", f"Cut {mate.name} to {own.name} instead (job file), or flatten the end.",
        )  # fmt: skip
        return
    if over <= tol.join:
        say(
            "cope-partial",
            f"{mate.name} curves away under it, so {part:.0f}% of the end passes beside it; there the cut stops where "
            "it passes closest",
            own.size, mate.size, "mm", "End it on a straight, or use a smaller tube.",
        )  # fmt: skip
        return
    sits = f"it sits {display.length(joint.offset)} off the centerline of {mate.name}"
    if joint.offset <= tol.join:
        sits = f"turned as it is, it is wider across than {mate.name}"
    say(
        "cope-partial",
        f"{sits}, so {part:.0f}% of the end passes "
        f"beside it, by up to {display.length(over)}; there the cut stops level with that centerline",
        joint.offset, max(mate.size / 2.0 - own.size / 2.0, 0.0), "mm", "Move it nearer to the middle.",
    )  # fmt: skip


def _over(joint: Joint, own: Body, mate: Body) -> float:
    """How far the end reaches past its mate's side, mm, as seen along the mate's axis and its own together.

    Round tubes by their sizes; flat sides and corners by how far each reaches square to both axes.
    """
    parts = joint.base.mates[0]
    round_ = own.section.is_round and mate.section.is_round
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
    lines: Lines,
    outside: Array,
    met: Hits,
    tol: Tolerances,
    display: Display,
    say: Say,
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
            say(
                "mate-ends",
                f"{mate.name} ends {display.length(past)} too soon at its end {end.letter} to carry the whole cut",
                past, 0.0, "mm", f"Leave {mate.name} so much longer at that end, or mitre the two (job file).",
            )  # fmt: skip
