"""What the ends of tubes touch: for every end the tubes its axis runs into, and how it was drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import cos, inf, radians, sin

import numpy as np
from numpy.typing import NDArray

from converter.errors import GeometryError
from converter.geometry.vectors import Vec, along, angle_between, any_normal, cross, distance, dot, norm, scale, sub
from converter.joints.bodies import Body, End, Leg
from converter.joints.cuts.lines import Branch, NoCutError, ParallelLines
from converter.joints.cuts.saddle import Cut, angles, union
from converter.joints.cuts.square import rounded
from converter.joints.finding.crowds import Ints, find_crowds
from converter.joints.near.index import LegIndex
from converter.tolerances import Tolerances

#: Below this angle between the axes (degrees) two tubes are parallel: no cut joins them.
PARALLEL = 1.0
#: Degrees between the axes below which a cope is no longer said to be sound.
LEAST_ANGLE = 15.0
ON, MISSED, BESIDE, LIES_ON, COAXIAL, INSIDE = "on", "missed", "beside", "parallel", "coaxial", "inside"
#: Lengths along an end's axis at which the nearest place of a bend is looked for, and how often that is narrowed down.
_SAMPLES, _NARROWER = 129, 16.0
#: mm; so far before a place where the axis enters a mate it is looked at whether that is outside of it.
_OUTSIDE = 1e-4
#: Degrees between the lines of an end that are held against a mate to see whether their metal meets.
_COARSE = 2.5


@dataclass(frozen=True, slots=True)
class Contact:
    """An end at another tube.

    Attributes:
        end: the end; body, leg, at: the other tube, its leg and the length on it of the nearest place.
        foot: that place, on the other tube's centerline.
        axis: the other tube's direction there.
        ahead: from the end point out along its axis to where the axes are closest, mm.
        offset: distance of the axes; angle: between them, 0..90 degrees.
        enters: length back from the end point at which the axis enters the other tube (below 0: short of it).
        state: 'on', 'missed', 'beside', 'parallel', 'coaxial', or 'inside' where the axis never leaves the mate's bend.
        mate_end: 'A' or 'B' when the place is at that end of the other tube, else None.
    """

    end: End
    body: int
    leg: int
    at: float
    foot: Vec
    axis: Vec
    ahead: float
    offset: float
    angle: float
    enters: float
    state: str
    mate_end: str | None

    @property
    def key(self) -> tuple[int, str]:
        """The end as a key."""
        return self.end.body, self.end.letter


def frame_index(bodies: Sequence[Body], tol: Tolerances) -> LegIndex:
    """The legs of a frame, found from as far as an end may be off its mate."""
    near = 3.0 * max((body.half for body in bodies), default=0.0) + tol.near
    return LegIndex(bodies, near, find_crowds(bodies, tol.near))


def find_contacts(bodies: Sequence[Body], index: LegIndex, tol: Tolerances) -> dict[tuple[int, str], list[Contact]]:
    """Every end's contacts, by (tube, end letter); the nearest place of each other tube only.

    Args:
        bodies: the tubes.
        index: of `frame_index`.
        tol: ``near`` is how far an end may be off.
    """
    ends = [end for body in bodies for end in body.ends]
    found: dict[tuple[int, str], list[Contact]] = {(end.body, end.letter): [] for end in ends}
    if not ends:
        return found
    row, leg = index.near(np.array([end.point for end in ends]))
    likely = _likely(ends, bodies, index, row, leg, tol)
    for i, j in zip(row[likely].tolist(), leg[likely].tolist(), strict=True):
        end, mate = ends[i], bodies[int(index.body[j])]
        contact = _contact(end, bodies[end.body], mate, int(index.leg[j]), tol)
        if contact is not None:
            found[(end.body, end.letter)].append(contact)
    return {key: _one_each(contacts) for key, contacts in found.items()}


def _likely(
    ends: Sequence[End], bodies: Sequence[Body], index: LegIndex, row: Ints, leg: Ints, tol: Tolerances
) -> NDArray[np.bool_]:
    """Which pairs of end and leg deserve a closer look: bends all, straights by the bounds of `_contact`."""
    start, chord, _, sweep = index.shape
    half = np.array([body.half for body in bodies])
    w = np.array([end.point for end in ends])[row] - start[leg]
    d = np.array([end.direction for end in ends])[row]
    length = index.length[leg]
    a = chord[leg] / length[:, None]
    own, mate = half[np.array([end.body for end in ends])[row]], half[index.body[leg]]
    cosine, wa, wd = (a * d).sum(axis=1), (w * a).sum(axis=1), (w * d).sum(axis=1)
    sine2 = 1.0 - cosine * cosine
    flat = sine2 < sin(radians(PARALLEL)) ** 2
    safe = np.where(flat, 1.0, sine2)
    ahead = np.where(flat, 0.0, (wa * cosine - wd) / safe)
    at = wa + ahead * cosine
    apart = w + ahead[:, None] * d - at[:, None] * a
    offset2 = (apart * apart).sum(axis=1)
    room = tol.near + 1e-3
    keep = (at > -room) & (at < length + room) & (offset2 < (own + mate + room) ** 2)
    keep &= np.abs(ahead) <= mate / np.sqrt(safe) + np.maximum(2.0 * own, tol.near) + room
    keep |= sweep[leg] > 0.0
    # a tube's own legs near that end are not what it ends on
    which = np.array([end.body for end in ends])[row]
    itself = which == index.body[leg]
    at_b = np.array([end.letter == "B" for end in ends], dtype=np.int64)[row]
    if itself.any():
        total = np.array([body.length for body in bodies])[which]
        apart_along = np.where(at_b == 0, index.begin[leg], total - index.begin[leg] - length)
        keep &= ~(itself & (apart_along < 6.0 * own))
    keep &= ~index.crowds.stands_with(which, at_b, index.body[leg])
    value: NDArray[np.bool_] = keep
    return value


def _one_each(contacts: list[Contact]) -> list[Contact]:
    order = [ON, COAXIAL, LIES_ON, INSIDE, BESIDE, MISSED]
    contacts.sort(key=lambda c: (order.index(c.state), abs(c.ahead) + c.offset, c.body, c.leg))
    kept: dict[int, Contact] = {}
    for contact in contacts:
        kept.setdefault(contact.body, contact)
    return list(kept.values())


def _contact(end: End, own: Body, mate: Body, index: int, tol: Tolerances) -> Contact | None:
    leg = mate.legs[index]
    if mate.index == end.body and _beside_itself(end, own, leg):
        return None
    if leg.arc is not None:
        return _on_bend(end, own, mate, index, tol)
    a, d = leg.direction, end.direction
    k = cross(a, d)
    sine = norm(k)
    w = sub(end.point, leg.start)
    if sine < sin(radians(PARALLEL)):
        return _parallel(end, own, mate, index, tol)
    # closest points of the two axes (elementary)
    cosine = dot(a, d)
    ahead = (dot(w, a) * cosine - dot(w, d)) / (sine * sine)
    at = dot(w, a) + ahead * cosine
    first, last = bool(mate.ends) and index == 0, bool(mate.ends) and index == len(mate.legs) - 1
    if at < -(tol.near if first or leg.corners[0] else 1e-6):
        return None
    if at > leg.length + (tol.near if last or leg.corners[1] else 1e-6):
        return None
    offset = abs(dot(w, k)) / sine
    angle = min(angle_between(a, d), 180.0 - angle_between(a, d))
    return _judged(end, own, mate, index, at, ahead, offset, angle, tol)


def _beside_itself(end: End, own: Body, leg: Leg) -> bool:
    """Whether a leg of the end's own tube is too near along the tube to be what it ends on."""
    apart = leg.begin if end.letter == "A" else own.length - leg.begin - leg.length
    return apart < 6.0 * own.half


def _judged(
    end: End,
    own: Body,
    mate: Body,
    index: int,
    at: float,
    ahead: float,
    offset: float,
    angle: float,
    tol: Tolerances,
) -> Contact | None:
    leg = mate.legs[index]
    miss = 2.0 * own.half
    foot, axis = leg.point(at), leg.tangent(at)
    widest = mate.half / sin(radians(angle))
    if leg.arc is None and abs(ahead) > widest + max(miss, tol.near):
        return None
    here = leg.begin + at
    mate_end = _end_letter(mate, here, tol)

    def contact_at(enters: float, state: str) -> Contact:
        return Contact(end, mate.index, index, at, foot, axis, ahead, offset, angle, enters, state, mate_end)

    enters = _entry(end, own, mate, index, at, ahead, offset, angle)
    if enters is None:
        if leg.arc is not None and offset < mate.size / 2.0 and abs(ahead) <= widest:
            return contact_at(-ahead, INSIDE)
        beside = offset < mate.half + own.half - tol.near and abs(ahead) <= widest + tol.near
        contact = contact_at(-ahead, BESIDE)
        return contact if beside and _metal_meets(contact, own, mate, tol) else None
    depth = enters + ahead  # from the surface to the axis
    if abs(ahead) > max(widest, depth) + max(miss, tol.near):
        return None
    if -tol.near <= enters <= 2.0 * depth + tol.near:
        return contact_at(enters, ON)
    if -miss <= enters < -tol.near:
        return contact_at(enters, MISSED)
    return None


def _entry(
    end: End, own: Body, mate: Body, index: int, at: float, ahead: float, offset: float, angle: float
) -> float | None:
    """Length at which the end's axis enters the mate; None when it passes beside it.

    A bend may be entered further off than a straight would be, up to where the tube has its other end; of several
    places the one nearest to the end is meant, so the stretch that is looked at grows step by step.
    """
    radius = mate.section.cylinder
    bent = mate.legs[index].arc is not None
    if radius is not None and not bent:
        room = radius * radius - offset * offset
        return None if room <= 0.0 else float(room**0.5) / sin(radians(angle)) - ahead
    axis = Branch.at(end.point, end.direction, own.section).axis()
    widest = 1.5 * mate.half / sin(radians(max(angle, 10.0))) + mate.half
    while True:
        high = min(-ahead + widest, own.length) if bent else -ahead + widest
        parts = mate.solid(index, at, widest if bent else mate.half, 0.0, (-ahead - widest, high, -ahead))
        entries: list[float] = []
        for part in parts:
            try:
                t, hit, _ = part.stops(axis)
            except NoCutError:  # a leg beside the bend that the axis runs along
                continue
            # from one part into the next is no way in
            if hit[0] and t[0] <= high and not any(bool(other.holds(axis, t + _OUTSIDE)[0]) for other in parts):
                entries.append(float(t[0]))
        if entries or not bent or high >= own.length:
            return max(entries, default=None)
        widest *= 2.0


def _metal_meets(contact: Contact, own: Body, mate: Body, tol: Tolerances) -> bool:
    """Whether the metal of an end meets a mate that its axis passes, by more than ``near``."""
    if own.section.cylinder is not None and mate.section.cylinder is not None:
        return True  # its offset has told so
    end = contact.end
    branch = Branch.at(end.point, end.direction, own.section, up=end.up if own.section.cylinder is None else None)
    wide = own.half + mate.half / sin(radians(max(contact.angle, 10.0)))
    window = (-contact.ahead - wide, -contact.ahead + wide, -contact.ahead)
    try:
        _, met = Cut(branch, union([mate.solid(contact.leg, contact.at, wide, -tol.near, window)])).reach(
            branch.lines(angles(_COARSE))
        )
    except GeometryError:
        return True
    return bool(met.any())


def _parallel(end: End, own: Body, mate: Body, index: int, tol: Tolerances) -> Contact | None:
    leg = mate.legs[index]
    w = sub(end.point, leg.start)
    at = dot(w, leg.direction)
    if not -tol.near <= at <= leg.length + tol.near:
        return None
    offset = norm(along(w, leg.direction, -at))
    foot = leg.point(at)
    here = leg.begin + at
    mate_end = _end_letter(mate, here, tol)
    in_line = offset <= tol.near
    state = COAXIAL if in_line else LIES_ON
    if mate_end is not None and in_line:
        other = mate.ends[0 if mate_end == "A" else 1]
        if distance(other.point, end.point) <= tol.near and dot(other.direction, end.direction) < 0.0:
            state = ON
    if state == LIES_ON and offset >= own.half + mate.half - tol.near:
        return None
    if state == LIES_ON and mate_end is not None:
        other = mate.ends[0 if mate_end == "A" else 1]
        if dot(other.direction, end.direction) < 0.0:
            return None  # two ends that face each other side by side overlap by next to nothing
    if state == LIES_ON and not _outlines_overlap(end, own, mate, leg, foot, tol):
        return None
    return Contact(end, mate.index, index, at, foot, leg.direction, 0.0, offset, 0.0, 0.0, state, mate_end)


def _outlines_overlap(end: End, own: Body, mate: Body, leg: Leg, foot: Vec, tol: Tolerances) -> bool:
    """Whether the sections of two tubes in parallel overlap by more than ``near``; ``foot``: beside the end."""
    if own.section.cylinder is not None and mate.section.cylinder is not None:
        return True  # its offset has told so
    phi = np.radians(angles(1.0))
    for axis, up, section, middle, other, other_up, other_middle in (
        (end.direction, end.up, own.section, end.point, mate.section, leg.up, foot),
        (leg.direction, leg.up, mate.section, foot, own.section, end.up, end.point),
    ):
        branch = Branch.at(middle, axis, section, up=up if section.cylinder is None else None)
        radii = branch.radii(phi, False)
        lines = ParallelLines(branch, radii * np.cos(phi), radii * np.sin(phi))
        high = other_up if other.cylinder is None else any_normal(axis)
        a, b, corner = other.outer.halves
        p, q = lines.along(other_middle, high), lines.along(other_middle, cross(axis, high))
        if bool((rounded(p, q, a, b, corner) < -tol.near).any()):
            return True
    return False


def _on_bend(end: End, own: Body, mate: Body, index: int, tol: Tolerances) -> Contact | None:
    """The nearest place of a bend to the end's axis, near the end: sampled, then narrowed down."""
    leg = mate.legs[index]
    arc = leg.arc
    assert arc is not None
    window = 3.0 * mate.half + 2.0 * own.half + tol.near
    if abs(dot(sub(end.point, arc.center), arc.normal)) > window + mate.half:
        return None
    x = scale(sub(arc.start, arc.center), 1.0 / arc.radius)
    y = cross(arc.normal, x)
    rel, d = sub(end.point, arc.center), end.direction
    px, py, pz = dot(rel, x), dot(rel, y), dot(rel, arc.normal)
    dx, dy, dz = dot(d, x), dot(d, y), dot(d, arc.normal)
    sweep = radians(arc.angle)

    def squared_at(s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Squared distances from the bend's centerline along the axis, and how far around the bend, radians."""
        qx, qy, qz = px + s * dx, py + s * dy, pz + s * dz
        turn = np.arctan2(qy, qx)
        turn = np.where(turn < (sweep - 2.0 * np.pi) / 2.0, turn + 2.0 * np.pi, turn)
        turn = np.clip(turn, 0.0, sweep)
        return (qx - arc.radius * np.cos(turn)) ** 2 + (qy - arc.radius * np.sin(turn)) ** 2 + qz * qz, turn

    for centre, turned in _nearest_places(squared_at, window, mate.half):
        contact = _at_bend(end, own, mate, index, centre, turned * arc.radius, tol)
        if contact is not None:
            return contact
    return None


def _nearest_places(
    squared_at: Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]],
    window: float,
    within: float,
) -> list[tuple[float, float]]:
    """Where an axis comes nearest to a bend: (length along the axis, radians around the bend).

    It may cross a bend twice: of places in the metal (nearer than ``within``) the one nearest to the end comes first.
    """
    coarse = np.linspace(-window, window, _SAMPLES)
    off, _ = squared_at(coarse)
    low = np.flatnonzero((off[1:-1] <= off[:-2]) & (off[1:-1] < off[2:])) + 1
    places: list[tuple[bool, float, float, float]] = []
    for i in low if len(low) else (int(np.argmin(off)),):
        centre, width, best, turned = float(coarse[i]), window * 2.0 / (_SAMPLES - 1), inf, 0.0
        while width > 1e-10:
            s = centre + np.linspace(-width, width, 65)
            found, turn = squared_at(s)
            k = int(np.argmin(found))
            if found[k] < best:
                best, centre, turned = float(found[k]), float(s[k]), float(turn[k])
            width /= _NARROWER
        inside = best < within * within
        places.append((not inside, abs(centre) if inside else best, centre, turned))
    return [(centre, turned) for *_, centre, turned in sorted(places)]


def _at_bend(end: End, own: Body, mate: Body, index: int, centre: float, at: float, tol: Tolerances) -> Contact | None:
    """The contact with a bend at a length ``centre`` ahead on the end's axis, ``at`` along the bend."""
    leg, d = mate.legs[index], end.direction
    axis = leg.tangent(at)
    between = angle_between(axis, d)
    angle = min(between, 180.0 - between)
    foot = leg.point(at)
    place = along(end.point, d, centre)
    offset = distance(place, foot)
    # past an end of the bend the neighbouring leg has the nearer place
    if (at <= 0.0 or at >= leg.length) and abs(dot(sub(place, foot), axis)) > 1e-6:
        last = at > 0.0
        outermost = bool(mate.ends) and index == (len(mate.legs) - 1 if last else 0)
        if not outermost or abs(dot(sub(place, foot), axis)) > tol.near:
            return None
    if angle < PARALLEL:
        if offset >= own.half + mate.half - tol.near:
            return None
        state = COAXIAL if offset <= tol.near else LIES_ON
        mate_end = _end_letter(mate, leg.begin + at, tol)
        if mate_end is not None and state == COAXIAL:
            other = mate.ends[0 if mate_end == "A" else 1]
            if distance(other.point, end.point) <= tol.near and dot(other.direction, d) < 0.0:
                state = ON
        return Contact(end, mate.index, index, at, foot, axis, centre, offset, angle, 0.0, state, mate_end)
    try:
        return _judged(end, own, mate, index, at, centre, offset, angle, tol)
    except GeometryError:
        return None


def _end_letter(mate: Body, here: float, tol: Tolerances) -> str | None:
    if not mate.ends:
        return None
    return "A" if here <= tol.near else "B" if mate.length - here <= tol.near else None


def footprint(contact: Contact, own: Body, mate: Body, gap: float) -> float:
    """How far along the mate's centerline either way a cope may reach, mm."""
    a = radians(max(contact.angle, PARALLEL))
    return (own.half + (mate.half + gap) * cos(a)) / sin(a) + gap
