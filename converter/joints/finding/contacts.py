"""What the ends of tubes touch: for every end the tubes its axis runs into, and how it was drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, radians, sin

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Flags, Ints
from converter.errors import GeometryError
from converter.geometry.vectors import Vec, along, any_normal, cross, distance, dot, norm, sub
from converter.joints.bodies import OWN_ROOM, Body, End, Leg
from converter.joints.cuts.lines import Branch, NoCutError, ParallelLines
from converter.joints.cuts.saddle import Cut, angles, union
from converter.joints.cuts.square import rounded
from converter.joints.finding.crowds import find_crowds
from converter.joints.finding.entries import OUTSIDE, Approach, entries_into_bends
from converter.joints.near.axes import places_near_bends
from converter.joints.near.index import LegIndex
from converter.tolerances import PAST_LENGTH, Tolerances

#: Below this angle between the axes (degrees) two tubes are parallel: no cut joins them.
PARALLEL = 1.0
#: Degrees between the axes below which a cope is no longer said to be sound.
LEAST_ANGLE = 15.0
ON, MISSED, BESIDE, LIES_ON, COAXIAL, INSIDE = "on", "missed", "beside", "parallel", "coaxial", "inside"
PAST = "past"
_LIKELIEST = {state: rank for rank, state in enumerate((ON, COAXIAL, LIES_ON, INSIDE, BESIDE, MISSED, PAST))}
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
        state: 'on', 'missed', 'beside', 'parallel', 'coaxial', 'inside' where the axis never leaves the mate's bend, or
            'past' where it runs through the mate and ends beyond its far side by less than the tube's own size.
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


def reach_of_ends(half: float, tol: Tolerances) -> float:
    """How far an end looks for what it is cut to, mm, where no outside reaches further than ``half`` from its axis."""
    return 3.0 * half + tol.near


def frame_index(bodies: Sequence[Body], tol: Tolerances) -> LegIndex:
    """The legs of a frame, found from as far as an end may be off its mate."""
    near = reach_of_ends(max((body.half for body in bodies), default=0.0), tol)
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
    row, leg = row[likely], leg[likely]
    bent = index.shape[3][leg] > 0.0
    contacts = _on_straights(ends, bodies, index, row[~bent], leg[~bent], tol)
    contacts += _on_bends(ends, bodies, index, row[bent], leg[bent], tol)
    for contact in contacts:
        if contact is not None:
            found[(contact.end.body, contact.end.letter)].append(contact)
    return {key: _one_each(contacts) for key, contacts in found.items()}


def ends_past(contacts: Mapping[tuple[int, str], list[Contact]]) -> dict[frozenset[int], list[Contact]]:
    """The ends that run through another tube and end just past it, by the pair of tubes."""
    found: dict[frozenset[int], list[Contact]] = {}
    for contact in (one for some in contacts.values() for one in some if one.state == PAST):
        found.setdefault(frozenset((contact.end.body, contact.body)), []).append(contact)
    return found


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
        keep &= ~(itself & (apart_along < OWN_ROOM * own))
    keep &= ~index.crowds.stands_with(which, at_b, index.body[leg])
    value: NDArray[np.bool_] = keep
    return value


def _one_each(contacts: list[Contact]) -> list[Contact]:
    contacts.sort(key=lambda c: (_LIKELIEST[c.state], abs(c.ahead) + c.offset, c.body, c.leg))
    kept: dict[int, Contact] = {}
    for contact in contacts:
        kept.setdefault(contact.body, contact)
    return list(kept.values())


def _on_straights(
    ends: Sequence[End], bodies: Sequence[Body], index: LegIndex, row: Ints, leg: Ints, tol: Tolerances
) -> list[Contact | None]:
    """What ends are to straights near them, pair by pair; ``row`` and ``leg`` as of `_on_bends`."""
    points, ways = (np.array(v).reshape(-1, 3)[row] for v in ([e.point for e in ends], [e.direction for e in ends]))
    start, a = index.start[leg], index.way[leg]
    k, w = np.cross(a, ways), points - start
    sine, cosine = np.linalg.norm(k, axis=1), (a * ways).sum(axis=1)
    flat = sine < sin(radians(PARALLEL))
    sine = np.where(flat, 1.0, sine)
    # closest points of the two axes (elementary)
    along_mate = (w * a).sum(axis=1)
    ahead = (along_mate * cosine - (w * ways).sum(axis=1)) / (sine * sine)
    at = along_mate + ahead * cosine
    offset = np.abs((w * k).sum(axis=1)) / sine
    half = np.array([body.half for body in bodies])
    own, mate = half[np.array([end.body for end in ends], dtype=np.int64)[row]], half[index.body[leg]]
    before, behind = (np.where(free, tol.near, 1e-6)[leg] for free in _outermost(bodies))
    near = (at >= -before) & (at <= index.length[leg] + behind)
    near &= np.abs(ahead) <= mate / sine + np.maximum(2.0 * own, tol.near)
    foot = start + at[:, None] * a
    found: list[Contact | None] = [None] * len(row)
    looked = np.flatnonzero(flat | near)
    columns = (row, index.body[leg], index.leg[leg], flat, at, foot, ahead, offset, sine, cosine)
    for n, *values in zip(looked.tolist(), *(one[looked].tolist() for one in columns), strict=True):
        i, j, on, is_flat, there, (x, y, z), further, aside, across, level = values
        end, other = ends[i], bodies[j].met_by(ends[i])
        if is_flat:
            found[n] = _parallel(end, bodies[end.body], other, on, tol)
            continue
        angle = degrees(atan2(across, level))
        angle = min(angle, 180.0 - angle)
        place = _NearPlace(on, there, (x, y, z), other.legs[on].direction, further, aside, angle)
        found[n] = _judged(end, bodies[end.body], other, place, _entry(end, bodies[end.body], other, place), tol)
    return found


def _outermost(bodies: Sequence[Body]) -> tuple[Flags, Flags]:
    """Of every leg whether an end of its tube, or a sharp corner, lies at its start and at its end."""
    ends = [(bool(body.ends), leg.corners, i, len(body.legs)) for body in bodies for i, leg in enumerate(body.legs)]
    before = np.array([(has and i == 0) or corners[0] > 0.0 for has, corners, i, _ in ends], dtype=np.bool_)
    behind = np.array([(has and i == n - 1) or corners[1] > 0.0 for has, corners, i, n in ends], dtype=np.bool_)
    return before, behind


@dataclass(frozen=True, slots=True)
class _NearPlace:
    """Where an end's axis comes nearest to a leg: see `Contact`."""

    leg: int
    at: float
    foot: Vec
    axis: Vec
    ahead: float
    offset: float
    angle: float


def _judged(
    end: End, own: Body, mate: Body, place: _NearPlace, enters: float | None, tol: Tolerances
) -> Contact | None:
    """What an end is to a tube that its axis enters at a length back from the end, or passes beside (None)."""
    leg, miss = mate.legs[place.leg], 2.0 * own.half
    ahead, offset = place.ahead, place.offset
    widest = mate.half / sin(radians(place.angle))

    def contact_at(enters: float, state: str) -> Contact:
        return _contact(end, mate, place, enters, state, _end_letter(mate, leg.begin + place.at, tol))

    if enters is None or offset > mate.half + tol.near:  # it enters another leg, which has a place of its own
        if leg.arc is not None and offset < mate.size / 2.0 and abs(ahead) <= widest:
            return contact_at(-ahead, INSIDE)
        beside = offset < mate.half + own.half - tol.near and abs(ahead) <= widest + tol.near
        contact = contact_at(-ahead, BESIDE) if beside else None
        return contact if contact is not None and _metal_meets(contact, own, mate, tol) else None
    depth = enters + ahead  # from the surface to the axis
    if abs(ahead) > max(widest, depth) + max(miss, tol.near):
        return None
    if -tol.near <= enters <= 2.0 * depth + tol.near:
        return contact_at(enters, ON)
    if -miss <= enters < -tol.near:
        return contact_at(enters, MISSED)
    if 2.0 * depth + tol.near < enters <= 2.0 * depth + miss:
        return contact_at(enters, PAST)
    return None


def _contact(end: End, mate: Body, place: _NearPlace, enters: float, state: str, mate_end: str | None) -> Contact:
    one = place
    return Contact(
        end, mate.index, one.leg, one.at, one.foot, one.axis, one.ahead, one.offset, one.angle, enters, state, mate_end
    )


def _entry(end: End, own: Body, mate: Body, place: _NearPlace) -> float | None:
    """Length back from the end at which its axis enters a straight; None when it passes beside it."""
    radius, ahead = mate.section.cylinder, place.ahead
    if radius is not None:
        if place.offset >= radius - PAST_LENGTH:  # an axis along its side is beside it, however that was rounded
            return None
        room = radius * radius - place.offset * place.offset
        return float(room**0.5) / sin(radians(place.angle)) - ahead
    axis = Branch.at(end.point, end.direction, own.section).axis()
    widest = 1.5 * mate.half / sin(radians(max(place.angle, 10.0))) + mate.half
    high = -ahead + widest
    parts = mate.solid(place.leg, place.at, mate.half, 0.0, (-ahead - widest, high, -ahead))
    entries: list[float] = []
    for part in parts:
        try:
            t, hit, _ = part.stops(axis)
        except NoCutError:  # a leg beside this one that the axis runs along
            continue
        # from one part into the next is no way in
        if hit[0] and t[0] <= high and not any(bool(other.holds(axis, t + OUTSIDE)[0]) for other in parts):
            entries.append(float(t[0]))
    return max(entries, default=None)


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


def _on_bends(
    ends: Sequence[End], bodies: Sequence[Body], index: LegIndex, row: Ints, leg: Ints, tol: Tolerances
) -> list[Contact | None]:
    """The nearest places of bends to the axes of ends, near the ends: of each pair the first that is a contact.

    Args:
        row, leg: (n,) the ends and the bends, by their places in ``ends`` and in the index.
    """
    if not len(row):
        return []
    half = np.array([body.half for body in bodies])
    own, mate = np.array([end.body for end in ends])[row], index.body[leg]
    window = 3.0 * half[mate] + 2.0 * half[own] + tol.near
    points, ways = (np.array(v)[row] for v in ([end.point for end in ends], [end.direction for end in ends]))
    bends = index.bends.rows(index.bend[leg])
    out = np.abs(((points - bends.center) * bends.normal).sum(axis=1))
    near = np.flatnonzero(out <= window + half[mate])
    row, leg, points, ways, bends = row[near], leg[near], points[near], ways[near], bends.rows(near)
    places = places_near_bends(points, ways, bends, window[near], half[mate[near]])
    found: list[Contact | None] = [None] * len(row)
    left = np.ones(len(row), dtype=np.bool_)
    for rank in range(int(places.rank.max(initial=-1)) + 1):
        some = np.flatnonzero((places.rank == rank) & left[places.pair])
        pair = places.pair[some]
        foot, axis = bends.rows(pair).at(places.turned[some])
        ahead = points[pair] + places.ahead[some][:, None] * ways[pair] - foot
        looked = zip(
            pair.tolist(),
            foot.tolist(),
            axis.tolist(),
            (places.turned[some] * bends.radius[pair]).tolist(),
            places.ahead[some].tolist(),
            np.linalg.norm(ahead, axis=1).tolist(),
            (ahead * axis).sum(axis=1).tolist(),
            _lines_between(axis, ways[pair]).tolist(),
            strict=True,
        )
        asked: list[tuple[int, Approach, _NearPlace]] = []
        for n, (fx, fy, fz), (ax, ay, az), at, centre, offset, past, angle in looked:
            end = ends[int(row[n])]
            other = bodies[int(index.body[leg[n]])].met_by(end)
            place = _NearPlace(int(index.leg[leg[n]]), at, (fx, fy, fz), (ax, ay, az), centre, offset, angle)
            if _is_of_the_next_leg(other, place, past, tol):
                continue
            if angle < PARALLEL:
                found[n] = _along_bend(end, bodies[end.body], other, place, tol) or found[n]
            else:
                approach = Approach(end, bodies[end.body], other, place.leg, at, centre, angle)
                asked.append((n, approach, place))
        entries = entries_into_bends([approach for _, approach, _ in asked])
        for (n, approach, place), enters in zip(asked, entries, strict=True):
            found[n] = _judged(approach.end, approach.own, approach.mate, place, enters, tol) or found[n]
        left &= np.array([one is None or one.state == PAST for one in found], dtype=np.bool_)
    return found


def _lines_between(one: Array, other: Array) -> Array:
    """Angles between lines of unit directions (n, 3), 0..90 degrees."""
    across = np.linalg.norm(np.cross(one, other), axis=1)
    value: Array = np.degrees(np.arctan2(across, np.abs((one * other).sum(axis=1))))
    return value


def _is_of_the_next_leg(mate: Body, place: _NearPlace, past: float, tol: Tolerances) -> bool:
    """Whether a place lies past an end of its bend, ``past`` mm along it, where the neighbouring leg is nearer."""
    leg = mate.legs[place.leg]
    if 0.0 < place.at < leg.length or abs(past) <= 1e-6:
        return False
    outermost = bool(mate.ends) and place.leg == (len(mate.legs) - 1 if place.at > 0.0 else 0)
    return not outermost or abs(past) > tol.near


def _along_bend(end: End, own: Body, mate: Body, place: _NearPlace, tol: Tolerances) -> Contact | None:
    """The contact of an end with a bend that it is in parallel with."""
    if place.offset >= own.half + mate.half - tol.near:
        return None
    state = COAXIAL if place.offset <= tol.near else LIES_ON
    mate_end = _end_letter(mate, mate.legs[place.leg].begin + place.at, tol)
    if mate_end is not None and state == COAXIAL:
        other = mate.ends[0 if mate_end == "A" else 1]
        if distance(other.point, end.point) <= tol.near and dot(other.direction, end.direction) < 0.0:
            state = ON
    return _contact(end, mate, place, 0.0, state, mate_end)


def _end_letter(mate: Body, here: float, tol: Tolerances) -> str | None:
    if not mate.ends:
        return None
    return "A" if here <= tol.near else "B" if mate.length - here <= tol.near else None


def footprint(contact: Contact, own: Body, mate: Body, gap: float) -> float:
    """How far along the mate's centerline either way a cope may reach, mm."""
    a = radians(max(contact.angle, PARALLEL))
    return (own.half + (mate.half + gap) * cos(a)) / sin(a) + gap
