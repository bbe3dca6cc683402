"""The holes that a tube needs where another passes through it: where each lies, and its outline on the outside.

A line along the passing tube's outside, p + s d, meets the larger tube's outside where its distance from
that tube's axis is R: a quadratic in s whose two roots lie on the near and on the far hole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from converter.geometry.vectors import Vec, any_normal, cross
from converter.joints.bodies import Body
from converter.joints.crossing import Crossing
from converter.joints.find import Survey
from converter.joints.lines import Array, Branch
from converter.joints.saddle import angles

#: Degrees between the points of an outline.
_STEP = 2.0


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


def find_holes(found: Survey) -> list[Hole]:
    """The holes of every crossing where one tube passes through another, near and far side, in order of place.

    Only where both are straight there and the larger one is round; the finding ``tube-through`` tells of all.
    """
    made: list[Hole] = []
    for crossing in found.crossings:
        if not crossing.through:
            continue
        outer, inner = found.frame[crossing.places[0][0]], found.frame[crossing.places[1][0]]
        legs = outer.legs[crossing.places[0][1]], inner.legs[crossing.places[1][1]]
        if outer.section.is_round and legs[0].arc is None and legs[1].arc is None:
            made += _holes(crossing, outer, inner, found)
    return sorted(made, key=lambda hole: (hole.tube, hole.from_a, hole.clock))


def _holes(crossing: Crossing, outer: Body, inner: Body, found: Survey) -> list[Hole]:
    leg, passing = outer.legs[crossing.places[0][1]], inner.legs[crossing.places[1][1]]
    axis, d = leg.direction, passing.direction
    up = passing.up if not inner.section.is_round else None
    branch = Branch.at(passing.start, d, inner.section, up or any_normal(d), up)
    lines = branch.lines(angles(_STEP))
    spokes = lines.p[:, None] * np.asarray(branch.zero) + lines.q[:, None] * np.asarray(branch.side)
    start = np.concatenate((np.zeros((1, 3)), spokes)) + np.asarray(passing.start) - np.asarray(leg.start)
    a, way = np.asarray(axis), np.asarray(d)
    across, flat = way - (way @ a) * a, start - (start @ a)[:, None] * a
    k = float(across @ across)
    middle, radius = -(flat @ across) / k, outer.section.od / 2.0
    root = np.sqrt(np.maximum(middle**2 - ((flat * flat).sum(axis=1) - radius * radius) / k, 0.0))
    sides = [start + s[:, None] * way for s in (middle - root, middle + root)]
    zero, words = _zero_line(outer, crossing.places[0][1], found, sides[0][0])
    made = []
    for points in sides:
        clock = np.degrees(np.arctan2(points @ np.asarray(cross(axis, zero)), points @ np.asarray(zero)))
        turned: Array = (clock - clock[0] + 180.0) % 360.0 - 180.0
        from_a = leg.begin + points @ a
        made.append(
            Hole(
                tube=outer.name,
                through=inner.name,
                node=crossing.node,
                angle=crossing.angle,
                offset=crossing.offset,
                clock=_turn(float(clock[0])),
                from_a=float(from_a[0]),
                zero=words,
                zero_direction=zero,
                along=float(np.ptp(from_a[1:])),
                around=float(np.radians(np.ptp(turned[1:]))) * radius,
                outline=tuple(
                    (_turn(float(clock[0] + t)), s) for t, s in zip(turned[1:], from_a[1:].tolist(), strict=True)
                ),
            )
        )
    return made


def _turn(degrees: float) -> float:
    """Into [0, 360), a hair below 360 as 0."""
    value = degrees % 360.0
    return 0.0 if 360.0 - value < 1e-9 else value


def _zero_line(outer: Body, index: int, found: Survey, first: Array) -> tuple[Vec, str]:
    """Unit vector to the zero line there, and how a person finds it.

    The outside of the nearest bend of that straight; on a straight tube the zero line of its cut ends, or, where
    it has none, the middle of the hole itself.
    """
    leg = outer.legs[index]
    bends = [i for i in (index - 1, index + 1) if 0 <= i < len(outer.legs) and outer.legs[i].arc is not None]
    if bends:
        at = float(first @ np.asarray(leg.direction))
        chosen = min(bends, key=lambda i: at if i < index else leg.length - at)
        arc = outer.legs[chosen].arc
        assert arc is not None
        tangent = arc.end if chosen < index else arc.start
        out = np.asarray(tangent) - np.asarray(arc.center)
        number = sum(1 for one in outer.legs[: chosen + 1] if one.arc is not None)
        return _across(out, leg.direction), f"the outside of bend {number}"
    joint = next((joint for joint in found.joints if joint.tube == outer.name), None)
    if joint is not None and len(outer.legs) == 1:
        return joint.zero_direction, f"in line with the zero line at end {joint.end}"
    return _across(first, leg.direction), "through the middle of this hole"


def _across(v: Array, axis: Vec) -> Vec:
    a = np.asarray(axis)
    w = v - (v @ a) * a
    w = w / np.linalg.norm(w)
    return float(w[0]), float(w[1]), float(w[2])
