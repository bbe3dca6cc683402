"""The holes that a tube needs where another passes through it: where each lies, and its outline on the outside.

A line along the passing tube's outside, p + s d, meets the larger tube's outside where its distance from
that tube's axis is R: a quadratic in s whose two roots lie on the near and on the far hole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import within_half_turns
from converter.geometry.vectors import Vec, cross, dot, sub, unit, within_turn
from converter.joints.bodies import Body, Leg
from converter.joints.cuts.lines import Branch, corner_angles
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import angles
from converter.joints.cuts.square import RectPrism
from converter.joints.finding.joints import FrameSurvey
from converter.joints.in_the_way.crossings import Crossing
from converter.model.section import Section
from converter.units import Display

#: Degrees between the points of an outline, and of the finer one that templates are drawn by.
_STEP, _FINE = 2.0, 0.25
#: mm by which a hole may reach past the straights it is worked out for.
_OUT = 0.1
#: Degrees; clocks that lie no further below a full turn are 0.
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Hole:
    """One hole in the wall of a tube. Lengths mm, angles degrees.

    Attributes:
        tube: that needs the hole; through: the tube that passes through it.
        node: on the tube's centerline, where the two axes are nearest; angle: between them; offset: their distance.
        clock: of the hole's middle from the zero line, right-hand positive about the way from end A to end B, [0, 360).
        from_a: along the centerline from end A to the hole's middle.
        zero: the zero line in words; zero_direction: unit vector from the axis to it.
        along, around: size of the hole along the tube, and around it on its outside.
        outline: (clock, from_a) of points around the hole, the first not repeated.
        bend: number of the bend whose outside is the zero line, or None.
        from_tangent: from that bend's tangent point to the hole's middle, or None.
        section: of the tube that needs the hole.
        straight: where the straight that the hole is in begins and ends, counted as ``from_a``.
        fine: (clock, from_a) of many more points around, the first repeated at the end; clocks do not jump.
        passing: the outside of the tube that passes, without ends.
        plug: volume of the metal that goes, mm3.
    """

    tube: str
    through: str
    node: Vec
    angle: float
    offset: float
    clock: float
    from_a: float
    zero: str
    zero_direction: Vec
    along: float
    around: float
    outline: tuple[tuple[float, float], ...]
    bend: int | None
    from_tangent: float | None
    section: Section
    straight: tuple[float, float]
    fine: tuple[Array, Array] = field(repr=False, compare=False)
    passing: RoundPrism | RectPrism = field(repr=False, compare=False)
    plug: float


@dataclass(frozen=True, slots=True)
class _Zero:
    """A zero line: its direction and words; number of its bend and where its tangent point lies, if any."""

    direction: Vec
    words: str
    bend: int | None = None
    tangent: float | None = None


def find_holes(frame_survey: FrameSurvey) -> list[Hole]:
    """The holes of every crossing where one tube passes through another, near and far side, in order of place.

    Only where both are straight there and the larger one is round; the finding ``tube-through`` tells of all.
    """
    made: list[Hole] = []
    first: dict[int, _Zero] = {}  # of straight tubes that nothing else clocks: all their holes count from one line
    for crossing in sorted(
        (one for one in frame_survey.crossings if one.through), key=lambda one: _place(one, frame_survey)
    ):
        outer, inner = frame_survey.frame[crossing.places[0][0]], frame_survey.frame[crossing.places[1][0]]
        legs = outer.legs[crossing.places[0][1]], inner.legs[crossing.places[1][1]]
        if outer.section.cylinder is not None and legs[0].arc is None and legs[1].arc is None:
            made += _holes(crossing, outer, inner, frame_survey, first)
    return sorted(made, key=lambda hole: (hole.tube, hole.from_a, hole.clock))


def _place(crossing: Crossing, frame_survey: FrameSurvey) -> tuple[int, float]:
    tube, number = crossing.places[0]
    leg = frame_survey.frame[tube].legs[number]
    return tube, leg.begin + dot(sub(crossing.node, leg.start), leg.direction)


def _holes(
    crossing: Crossing, outer: Body, inner: Body, frame_survey: FrameSurvey, first: dict[int, _Zero]
) -> list[Hole]:
    leg, passing = outer.legs[crossing.places[0][1]], inner.legs[crossing.places[1][1]]
    axis, d = leg.direction, passing.direction
    up = passing.up if inner.section.cylinder is None else None
    # of a round one the lines at the quarters are those that the hole is longest and widest at
    branch = Branch.at(passing.start, d, inner.section, up or unit(cross(axis, d)), up)
    coarse, phi = angles(_STEP), angles(_FINE)
    if inner.section.cylinder is None:
        coarse, phi = (np.union1d(known, corner_angles(inner.section.outer, 0.0) % 360.0) for known in (coarse, phi))
    lines = branch.lines(phi)
    spokes = lines.p[:, None] * np.asarray(branch.zero) + lines.q[:, None] * np.asarray(branch.side)
    start = np.concatenate((np.zeros((1, 3)), spokes)) + np.asarray(passing.start) - np.asarray(leg.start)
    a, way = np.asarray(axis), np.asarray(d)
    across, flat = way - (way @ a) * a, start - (start @ a)[:, None] * a
    k = float(across @ across)
    middle, radius = -(flat @ across) / k, outer.section.od / 2.0
    root = np.sqrt(np.maximum(middle**2 - ((flat * flat).sum(axis=1) - radius * radius) / k, 0.0))
    reach = (middle - root, middle + root)
    if min(s.min() for s in reach) < -_OUT or max(s.max() for s in reach) > passing.length + _OUT:
        return []  # the passing tube bends or ends before it is through
    sides = [start + s[:, None] * way for s in reach]
    if min((p @ a).min() for p in sides) < -_OUT or max((p @ a).max() for p in sides) > leg.length + _OUT:
        return []  # a hole that runs on into a bend
    zero = _zero_line(outer, crossing, frame_survey, sides[0][0], first)
    listed = np.flatnonzero(np.isin(phi, coarse))
    body = _outside(passing, inner)
    plug = _plug(branch, outer, np.asarray(cross(axis, d)), start[0])
    made = []
    for points in sides:
        clock = np.degrees(np.arctan2(points @ np.asarray(cross(axis, zero.direction)), points @ zero.direction))
        turned: Array = within_half_turns(clock - clock[0])
        turned, from_a, at = turned[1:], (leg.begin + points @ a)[1:], leg.begin + float(points[0] @ a)
        center = within_turn(float(clock[0]), _HAIR)
        made.append(
            Hole(
                tube=outer.name,
                through=inner.name,
                node=crossing.node,
                angle=crossing.angle,
                offset=crossing.offset,
                clock=center,
                from_a=at,
                zero=zero.words,
                zero_direction=zero.direction,
                along=float(np.ptp(from_a)),
                around=float(np.radians(np.ptp(turned))) * radius,
                outline=tuple((within_turn(center + float(turned[i]), _HAIR), float(from_a[i])) for i in listed),
                bend=zero.bend,
                from_tangent=None if zero.tangent is None else abs(at - zero.tangent),
                section=outer.section,
                straight=(leg.begin, leg.begin + leg.length),
                passing=body,
                plug=plug,
                fine=(center + np.append(turned, turned[0]), np.append(from_a, from_a[0])),
            )
        )
    return made


def _outside(passing: Leg, inner: Body) -> RoundPrism | RectPrism:
    if (radius := inner.section.cylinder) is not None:
        return RoundPrism(passing.start, passing.direction, radius)
    return RectPrism(passing.start, passing.direction, passing.up, *inner.section.outer.halves)


def _plug(branch: Branch, outer: Body, across: Array, start: Array) -> float:
    """Volume that a passing tube takes out of one wall, mm3: its lines' ways through the wall over its section.

    A line that passes the axis at the distance q is in one wall for (sqrt(R^2 - q^2) - sqrt(r^2 - q^2)) / sin theta,
    with r the bore's radius (less the second root where q exceeds it).

    Args:
        branch: the passing tube.
        outer: the tube that is passed.
        across: cross product of both directions.
        start: a point of the passing axis, seen from one of the other's.
    """
    phi = angles(_FINE)
    edge = branch.lines(phi)
    radii = np.hypot(edge.p, edge.q)
    sine = float(np.linalg.norm(across))
    nodes, weights = np.polynomial.legendre.leggauss(24)
    spokes = (edge.p[:, None] * np.asarray(branch.zero) + edge.q[:, None] * np.asarray(branch.side)) @ across / sine
    total, radii_of = 0.0, (outer.section.od / 2.0, outer.section.bore_radius)
    for node, weight in zip((nodes + 1.0) / 2.0, weights / 2.0, strict=True):
        q = float(start @ across) / sine + node * spokes
        far, near = (np.sqrt(np.maximum(one * one - q * q, 0.0)) for one in radii_of)
        total += float((weight * node * radii * radii * (far - near)).sum())
    return total / sine * float(np.radians(_FINE))


def _zero_line(
    outer: Body, crossing: Crossing, frame_survey: FrameSurvey, middle: Array, first: dict[int, _Zero]
) -> _Zero:
    """The zero line there.

    The outside of the nearest bend of that straight; on a straight tube the zero line of its cut ends, or, where
    it has none, the middle of its first hole.
    """
    index = crossing.places[0][1]
    leg = outer.legs[index]
    bends = [i for i in (index - 1, index + 1) if 0 <= i < len(outer.legs) and outer.legs[i].arc is not None]
    if bends:
        at = float(middle @ np.asarray(leg.direction))
        chosen = min(bends, key=lambda i: at if i < index else leg.length - at)
        arc = outer.legs[chosen].arc
        assert arc is not None
        tangent = arc.end if chosen < index else arc.start
        out = np.asarray(tangent) - np.asarray(arc.center)
        number = sum(1 for one in outer.legs[: chosen + 1] if one.arc is not None)
        place = leg.begin + (0.0 if chosen < index else leg.length)
        return _Zero(_across(out, leg.direction), f"the outside of bend {number}", number, place)
    joint = next((joint for joint in frame_survey.joints if joint.tube == outer.name), None)
    if joint is not None and len(outer.legs) == 1:
        return _Zero(joint.zero_direction, joint.clock.words("", Display()))
    if outer.index not in first:
        words = f"through the middle of the first hole for {crossing.inner}"
        first[outer.index] = _Zero(_across(middle, leg.direction), words)
    return first[outer.index]


def _across(v: Array, axis: Vec) -> Vec:
    a = np.asarray(axis)
    w = v - (v @ a) * a
    w = w / np.linalg.norm(w)
    return float(w[0]), float(w[1]), float(w[2])


def grouped(holes: Sequence[Hole]) -> list[tuple[Hole, ...]]:
    """Holes of one crossing together, in their order."""
    groups: dict[tuple[object, ...], list[Hole]] = {}
    for hole in holes:
        groups.setdefault((hole.tube, hole.through, hole.node), []).append(hole)
    return [tuple(group) for group in groups.values()]
