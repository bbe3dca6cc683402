"""Tubes drawn by their outline, in closed form: both sides an even distance off, and what closes them."""

from __future__ import annotations

import random
from collections.abc import Sequence

from converter.geometry.vectors import Vec, along, cross, sub
from converter.model.bends import BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Line, Segment


def beside(segment: Segment, left: float) -> Segment:
    """A straight or arc of the plane z = const, moved to its left by so many mm; an arc keeps its centre."""
    if isinstance(segment, Line):
        side = cross((0.0, 0.0, 1.0), segment.direction)
        return Line(along(segment.start, side, left), along(segment.end, side, left))
    radius = segment.radius - left * segment.normal[2]

    def moved(p: Vec) -> Vec:
        return along(segment.center, sub(p, segment.center), radius / segment.radius)

    return Arc(segment.center, segment.normal, radius, moved(segment.start), moved(segment.end), segment.angle)


def outline(
    table: BendTable, placement: Placement, width: float, caps: tuple[bool, bool] = (True, True)
) -> list[Segment]:
    """The sides of a tube that lies in a plane of constant z, and lines across its ends where they are closed."""
    segments = rebuild(table, placement)
    left, right = ([beside(s, d) for s in segments] for d in (width / 2.0, -width / 2.0))
    closing = []
    if caps[0]:
        closing.append(Line(left[0].start, right[0].start))
    if caps[1]:
        closing.append(Line(right[-1].end, left[-1].end))
    return [*left, *right, *closing]


def split_and_shuffled(segments: Sequence[Segment], rng: random.Random) -> list[Segment]:
    """The same as people's drawings come: some entities in two, either way round, in any order."""
    out: list[Segment] = []
    for s in segments:
        share = rng.uniform(0.1, 0.9)
        if rng.random() < 0.6 or s.length < 10.0:  # parts stay well above what counts as one point
            out.append(s)
        elif isinstance(s, Line):
            middle = along(s.start, sub(s.end, s.start), share)
            out += [Line(s.start, middle), Line(middle, s.end)]
        else:
            middle = s.point(s.angle * share)
            out += [
                Arc(s.center, s.normal, s.radius, s.start, middle, s.angle * share),
                Arc(s.center, s.normal, s.radius, middle, s.end, s.angle * (1.0 - share)),
            ]
    out = [s if rng.random() < 0.5 else s.reversed() for s in out]
    rng.shuffle(out)
    return out


def draw(space, segments: Sequence[Segment]) -> None:
    """Write segments of a plane z = const as LINE and ARC."""
    from math import atan2, degrees

    for s in segments:
        if isinstance(s, Line):
            space.add_line(s.start, s.end)
            continue
        ends = (s.start, s.end) if s.normal[2] > 0.0 else (s.end, s.start)
        first, last = (degrees(atan2(p[1] - s.center[1], p[0] - s.center[0])) for p in ends)
        space.add_arc(s.center, s.radius, first, last)
