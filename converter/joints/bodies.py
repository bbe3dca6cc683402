"""Tubes as joints see them: straights and bends in place, with the section's frame, and their ends."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import acos, degrees, inf, radians, tan
from typing import NamedTuple

from converter.errors import GeometryError
from converter.findings import Finding
from converter.geometry.vectors import Vec, along, angle_between, dot, norm, scale, sub
from converter.joints.cuts.lines import Bound, ObstaclePart
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.square import RectPrism
from converter.joints.cuts.torus import BendPart, tangent_at
from converter.model.curve import Arc, Line
from converter.model.frames import Station, pieces
from converter.model.run import Tube
from converter.model.section import Section
from converter.tolerances import PAST_LENGTH

#: Times half a tube's width, along it from an end: no metal nearer than that is what the end lands on.
OWN_ROOM = 6.0


class Leg(NamedTuple):
    """A straight or a bend of a tube.

    Attributes:
        start, end: centerline points; begin: length of centerline before it; length: its own.
        direction: of travel at its start.
        arc: None for a straight.
        up: the section's height direction at its start (zero for round tube).
        roll: degrees from ``up`` to the inside of the bend.
        corners: degrees of the sharp corners at its start and at its end (0 for none).
    """

    start: Vec
    end: Vec
    begin: float
    length: float
    direction: Vec
    arc: Arc | None
    up: Vec
    roll: float = 0.0
    corners: tuple[float, float] = (0.0, 0.0)

    def point(self, along_it: float) -> Vec:
        """The centerline point at a length from its start (a straight runs on past its ends)."""
        if self.arc is None:
            return along(self.start, self.direction, along_it)
        return self.arc.point(degrees(along_it / self.arc.radius))

    def tangent(self, along_it: float) -> Vec:
        """Direction of travel there."""
        if self.arc is None:
            return self.direction
        return tangent_at(self.arc.center, self.arc.normal, self.arc.radius, self.point(along_it))


@dataclass(frozen=True, slots=True)
class End:
    """An end of a tube.

    Attributes:
        body: index of its tube; letter: 'A' or 'B'.
        point, direction: the centerline's end point and the direction that points out.
        straight: length of the straight there (0 when the tube ends in a bend).
        up: the section's height direction (zero for round tube).
        outside: unit vector to the outside of the nearest bend, or None for a tube without bends.
        bend: 1-based number of that bend, or None.
    """

    body: int
    letter: str
    point: Vec
    direction: Vec
    straight: float
    up: Vec
    outside: Vec | None
    bend: int | None


@dataclass(frozen=True, slots=True)
class Body:
    """A tube with its metal.

    Attributes:
        index: place in the list of tubes; tube: itself; section: its section.
        legs: in order from end A.
        length: of the centerline.
        half: the furthest the outside reaches from the axis.
        ends: A and B; () for a closed run.
        name: of the tube; size: its smaller outside dimension, which decides of two tubes which is the smaller.
        span: from where to where along the centerline, mm from end A, it is there to be landed on: without limits, but
            for an end of its own (`met_by`).
    """

    index: int
    tube: Tube
    section: Section
    legs: tuple[Leg, ...]
    length: float
    half: float
    ends: tuple[End, ...]
    name: str
    size: float
    span: tuple[float, float] = (-inf, inf)

    def met_by(self, end: End) -> Body:
        """The tube as an end meets it: one of its own meets none of the metal next to it, which leads to it."""
        if end.body != self.index:
            return self
        room, (low, high) = own_room(self.half, end.straight), self.span
        return replace(self, span=(room, high) if end.letter == "A" else (low, self.length - room))

    def solid(
        self, leg: int, at: float, reach: float, gap: float, window: tuple[float, float, float]
    ) -> tuple[ObstaclePart, ...]:
        """The parts of the tube about a place, for a cut; the leg itself first.

        Args:
            leg: index of the leg; at: length on it.
            reach: how far along the centerline either way the cut may lie.
            gap: weld gap by which the outside grows, mm.
            window: lengths on the branch in which to look for a bend: from, to, and the nearest to the joint.
        """
        chosen = self.around(leg, at, reach)
        return tuple(part for i in chosen for part in self.parts(i, len(chosen) == 1, gap, window))

    def around(self, leg: int, at: float, reach: float) -> list[int]:
        """The legs no further than ``reach`` along the centerline from a place on one of them, that one first."""
        here = self.legs[leg].begin + at
        low, high = here - reach, here + reach
        chosen = [leg]
        closed = not self.ends
        count = len(self.legs)
        for step in (-1, 1):
            i, edge = leg, max(low, self.span[0]) if step < 0 else min(high, self.span[1])
            while True:
                one = self.legs[i]
                inside = edge < one.begin if step < 0 else edge > one.begin + one.length
                following = i + step
                if not inside:
                    break
                if not 0 <= following < count:
                    if not closed or count < 2:
                        break
                    edge += self.length if step < 0 else -self.length
                    following %= count
                if following in chosen:
                    break
                chosen.append(following)
                i = following
        return chosen

    def parts(self, index: int, alone: bool, gap: float, window: tuple[float, float, float]) -> list[ObstaclePart]:
        """The parts of a leg, see `solid`; ``alone`` is a straight without ends."""
        leg = self.legs[index]
        first = bool(self.ends) and index == 0
        last = bool(self.ends) and index == len(self.legs) - 1
        if leg.arc is None:
            return [self._prism(leg, leg.start, leg.direction, () if alone else self._bounds(leg, first, last), gap)]
        arc = leg.arc
        a, b, corner = self._grown(gap)
        start, stop = self._stretch(leg)
        begin = arc.start if start == 0.0 else leg.point(start)
        sweep = arc.angle if stop - start == leg.length else degrees((stop - start) / arc.radius)
        parts: list[ObstaclePart] = [
            BendPart(arc.center, arc.normal, begin, arc.radius, sweep, a, b, corner, leg.roll, window[:2], window[2])
        ]
        if first and start == 0.0:  # a tube that ends in a bend is taken to run on straight
            parts.append(self._prism(leg, leg.start, leg.direction, ((leg.start, leg.direction),), gap))
        if last and stop == leg.length:
            end = self.ends[1]
            beyond = (end.point, scale(end.direction, -1.0))
            parts.append(self._prism(leg, end.point, end.direction, (beyond,), gap, end.up))
        return parts

    def _bounds(self, leg: Leg, first: bool, last: bool) -> tuple[Bound, ...]:
        found: list[Bound] = []
        before, after = (tan(radians(c) / 2.0) * self.half for c in leg.corners)
        start, stop = self._stretch(leg)
        if start > 0.0:
            found.append((leg.point(start), scale(leg.direction, -1.0)))
        elif not first:
            found.append((along(leg.start, leg.direction, -before - 1e-9), scale(leg.direction, -1.0)))
        if stop < leg.length:
            found.append((leg.point(stop), leg.direction))
        elif not last:
            found.append((along(leg.end, leg.direction, after + 1e-9), leg.direction))
        return tuple(found)

    def _stretch(self, leg: Leg) -> tuple[float, float]:
        """From where to where along a leg the tube is there to be landed on; of most legs all of it."""
        start, stop = (min(max(place - leg.begin, 0.0), leg.length) for place in self.span)
        return start, stop

    def _grown(self, gap: float) -> tuple[float, float, float]:
        a, b, corner = self.section.outer.halves
        return a + gap, b + gap, corner + gap

    def _prism(
        self, leg: Leg, point: Vec, axis: Vec, bounds: tuple[Bound, ...], gap: float, up: Vec | None = None
    ) -> ObstaclePart:
        if (radius := self.section.cylinder) is not None:
            return RoundPrism(point, axis, radius + gap, bounds)
        a, b, corner = self._grown(gap)
        return RectPrism(point, axis, up or leg.up, a, b, corner, bounds)

    def end_part(self, letter: str, bounds: tuple[Bound, ...], gap: float) -> ObstaclePart:
        """The straight at an end, run on or cut off by half-spaces of its own."""
        end = self.ends[0 if letter == "A" else 1]
        leg = self.legs[0 if letter == "A" else -1]
        if leg.arc is None:
            far = leg.end if letter == "A" else leg.start
            if len(self.legs) > 1:
                bounds = (*bounds, (far, scale(end.direction, -1.0)))
        return self._prism(leg, end.point, end.direction, bounds, gap, end.up)


def own_room(half: float, straight: float) -> float:
    """How far along a tube from an end its metal is none that this end lands on, mm: that leads to it.

    Args:
        half: half the tube's width; straight: length of the straight at the end, mm.
    """
    return max(OWN_ROOM * half, straight + half)


def bodies(tubes: Iterable[Tube]) -> tuple[list[Body], list[Finding]]:
    """The tubes that can have joints; the others are said."""
    found: list[Body] = []
    every = list(tubes)
    findings = _unplaced_findings([tube for tube in every if not tube.run.placed]) if len(every) > 1 else []
    for tube in every:
        if not tube.run.placed:
            continue
        if tube.section is None:
            findings.append(_skipped_finding(tube, "section"))
            continue
        try:
            found.append(_body(len(found), tube, tube.section))
        except _NoBodyError as error:
            findings.append(_skipped_finding(tube, error.why, **error.values))
        except GeometryError as error:
            findings.append(_skipped_finding(tube, "shape", why=error.message))
    return found, findings


class _NoBodyError(GeometryError):
    """Why a tube has no possible shape: variant and values of a 'joint-skipped' finding."""

    def __init__(self, why: str, **values: object) -> None:
        super().__init__(why)
        self.why = why
        self.values = values


def _unplaced_findings(tubes: list[Tube]) -> list[Finding]:
    """One note on tubes that a table gives no place: all of them would start at the origin."""
    if not tubes:
        return []
    count = len(tubes)
    values = {"first": tubes[0].name, "count": count}
    variant = "one" if count == 1 else "several"
    return [Finding("joint-unplaced", measured=float(count), variant=variant, values=values)]


def _skipped_finding(tube: Tube, variant: str, **values: object) -> Finding:
    return Finding("joint-skipped", tube=tube.name, layer=tube.run.layer, variant=variant, values=values)


def _body(index: int, tube: Tube, section: Section) -> Body:
    short = min(tube.run.table.straights)
    if short < -1e-6:
        raise _NoBodyError("overlap", overlap=-short)
    half_deep = section.smaller / 2.0
    for bend in tube.run.table.bends:  # as the audit judges it
        if bend.clr is not None and bend.clr + bend.clr_uncertainty <= half_deep + PAST_LENGTH:
            raise _NoBodyError("folds", clr=bend.clr, half=half_deep)
    legs = _framed_legs(tube) if section.cylinder is None else _round_legs(tube)
    if not legs:
        raise _NoBodyError("no length")
    length = legs[-1].begin + legs[-1].length
    ends = () if tube.run.closed else _ends(index, tube, legs)
    half = section.outer.half_diagonal
    return Body(index, tube, section, tuple(legs), length, half, ends, tube.name, section.smaller)


def _round_legs(tube: Tube) -> list[Leg]:
    legs: list[Leg] = []
    begin = 0.0
    for one in tube.run.centerline:
        if isinstance(one, Line):
            leg = Leg(one.start, one.end, begin, one.length, one.direction, None, (0.0, 0.0, 0.0))
        else:
            leg = Leg(one.start, one.end, begin, one.length, one.start_direction, one, (0.0, 0.0, 0.0))
        legs.append(leg)
        begin += leg.length
    if not any(bend.clr is None for bend in tube.run.table.bends):
        return legs
    for i in range(len(legs) - 1):
        a, b = legs[i], legs[i + 1]
        turn = angle_between(a.tangent(a.length), b.direction)
        if turn > 1e-6:
            legs[i] = _with_corners(a, (a.corners[0], turn))
            legs[i + 1] = _with_corners(b, (turn, 0.0))
    return legs


def _with_corners(leg: Leg, corners: tuple[float, float]) -> Leg:
    return Leg(leg.start, leg.end, leg.begin, leg.length, leg.direction, leg.arc, leg.up, leg.roll, corners)


def _framed_legs(tube: Tube) -> list[Leg]:
    run = tube.run
    found = pieces(run.table, run.placement, run.closed)
    legs = []
    begin, corner = 0.0, 0.0
    for piece in found:
        turn = piece.corner[0] if piece.corner else 0.0
        at: Station = piece.start
        legs.append(
            Leg(
                at.point,
                piece.end.point,
                begin,
                piece.length,
                at.direction,
                piece.arc,
                at.up,
                piece.roll,
                (corner, turn),
            )
        )
        begin, corner = begin + piece.length, turn
    return legs


def _ends(index: int, tube: Tube, legs: list[Leg]) -> tuple[End, End]:
    first, last = legs[0], legs[-1]
    out_a, out_b = scale(first.direction, -1.0), last.tangent(last.length)
    count = len(tube.run.table.bends)
    up_a = up_b = first.up
    if norm(first.up) > 0.0:
        run = tube.run
        up_b = pieces(run.table, run.placement)[-1].end.up
    straights = tube.run.table.straights
    outside_a = outside_b = None
    if count:
        outside_a = scale(tube.run.placement.toward, -1.0)
        outside_b = _outside_b(legs)
        # a first bend of a table may be rolled by its own rotation: taken from the shape itself
        outside_a = _outside_a(legs) or outside_a
    return (
        End(index, "A", first.start, out_a, max(straights[0], 0.0), up_a, outside_a, 1 if count else None),
        End(index, "B", tube.run.end, out_b, max(straights[-1], 0.0), up_b, outside_b, count or None),
    )


def _outside_a(legs: list[Leg]) -> Vec | None:
    """Away from the inside of the first bend, or of the first corner, across the first straight."""
    for i, leg in enumerate(legs):
        if leg.arc is not None:
            return _across(sub(leg.arc.start, leg.arc.center), legs[0].direction)
        if i and leg.corners[0] > 0.0:
            return _across(scale(leg.direction, -1.0), legs[0].direction)
    return None


def _outside_b(legs: list[Leg]) -> Vec | None:
    direction = legs[-1].tangent(legs[-1].length)
    for i in range(len(legs) - 1, -1, -1):
        leg = legs[i]
        if leg.arc is not None:
            return _across(sub(leg.arc.end, leg.arc.center), direction)
        if i < len(legs) - 1 and leg.corners[1] > 0.0:
            return _across(leg.direction, direction)
    return None


def _across(v: Vec, direction: Vec) -> Vec | None:
    """The part of v square to a direction, as a unit vector; None where there is none, as at a line folded back."""
    w = along(v, direction, -dot(v, direction))
    size = norm(w)
    return scale(w, 1.0 / size) if size > 1e-9 * norm(v) else None


def same_section(one: Section, other: Section) -> bool:
    """Whether two outsides are equal (within 0.05 mm, below what tube is made to)."""
    if (one.cylinder is None) != (other.cylinder is None):
        return False
    return (
        abs(one.od - other.od) <= 0.05
        and abs(one.height - other.height) <= 0.05
        and abs(one.corner - other.corner) <= 0.5
    )


def mirrored_alike(one: End, other: End, section: Section) -> bool:
    """Whether a mitre plane maps one end's section on the other's (always for round tube)."""
    if section.cylinder is not None:
        return True
    n = sub(one.direction, other.direction)
    size = norm(n)
    if size < 1e-9:
        return False
    n = scale(n, 1.0 / size)
    image = along(one.up, n, -2.0 * dot(one.up, n))
    fit = abs(dot(image, other.up))
    turn = degrees(acos(min(1.0, fit)))
    return turn <= 0.5 or (abs(section.od - section.height) <= 0.05 and abs(turn - 90.0) <= 0.5)
