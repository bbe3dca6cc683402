"""The lateral faces of round tube: one cylinder per straight, one torus per bend.

Angles around the section (``s``, radians) are measured as in `converter.model.frames`. A
torus has its seam where its own parameters close, on the outside of the bend (kernels and
readers are safest there); a cylinder takes the seam of its neighbour, so that most joints
carry one vertex. Where two seams differ (a rotation between bends) the joint is two edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, radians, sin, tau
from typing import Any

from converter.geometry.vectors import Vec, along, cross, scale, sub, unit
from converter.kernel.shapes.maker import TOLERANCE, Maker, turns, wave
from converter.model.frames import Piece, Station, slope

#: Seams closer than this along the joint (mm) are one vertex.
_SAME = 1e-6
#: Seams closer than this (radians) but apart would leave a sliver edge: the cylinder's goes to the other side.
_SLIVER = radians(5.0)


@dataclass(frozen=True, slots=True)
class Side:
    """The lateral faces of one diameter, and the joint edges (along increasing s) that caps close."""

    faces: list[Any]
    first: list[Any]
    last: list[Any]


@dataclass(slots=True)
class _RoundSeam:
    """The closed curve around the tube where two pieces meet (or the tube ends).

    Attributes:
        corner: the sharp corner whose mitre plane it lies in, seen from the piece before, or None.
        seams: angles of the vertices, increasing, in [0, 2 pi).
        vertices, edges: edge i runs from seams[i] to seams[i + 1] (the last one past 2 pi).
        shift: curve parameter = s - shift.
        tolerance: mm.
    """

    corner: tuple[float, float, int] | None
    seams: list[float]
    vertices: list[Any]
    edges: list[Any]
    shift: float
    tolerance: float

    def ordered(self, seam: float) -> list[tuple[int, float, float, float]]:
        """Edges from one of its vertices around: (index, from s, to s, s of its start counted from the seam)."""
        count = len(self.seams)
        start = min(range(count), key=lambda i: abs((self.seams[i] - seam + pi) % tau - pi))
        found = []
        for k in range(count):
            i = (start + k) % count
            a = self.seams[i]
            b = self.seams[i + 1] if i + 1 < count else self.seams[0] + tau
            found.append((i, a, b, 0.0 if k == 0 else (a - self.seams[start]) % tau))
        return found


def side(
    make: Maker, found: Sequence[Piece], radius: float, outer: bool, closed: bool, twist: float, gap: float
) -> Side:
    """Build the faces of one diameter.

    Args:
        make: what they are built of.
        found: the run's pieces.
        radius: of the tube's outside or bore, mm.
        outer: True for the outside, False for the bore (its faces look at the axis).
        closed: whether the last piece ends on the first one's start.
        twist: radians by which the last frame arrives turned against the first (closed runs).
        gap: how far the last piece ends from the first one's start, mm (closed runs).
    """
    seams = _seams(found, radius)
    count = len(found)
    joints: list[_RoundSeam] = []
    for i in range(count if closed else count + 1):
        at = found[i].start if i < count else found[-1].end
        before = found[i - 1].corner if i or closed else None
        marks = [seams[i]] if i < count else []
        if i:
            marks.append(seams[i - 1])
        elif closed:
            marks.append(seams[-1] + twist)
        joints.append(_joint(make, at, before, radius, marks, gap if closed and i == 0 else 0.0))
    faces = []
    for i, piece in enumerate(found):
        start = joints[i]
        wraps = closed and i == count - 1
        end = joints[0] if wraps else joints[i + 1]
        before = found[i - 1].corner if i or closed else None
        build = _cylinder if piece.arc is None else _torus
        faces.append(build(make, piece, radius, outer, seams[i], start, end, twist if wraps else 0.0, before))
    return Side(faces, joints[0].edges, joints[0 if closed else -1].edges)


def _seams(found: Sequence[Piece], radius: float) -> list[float]:
    """The seam's angle on every piece."""
    fixed = [None if p.arc is None else turns(radians(p.roll) + pi) for p in found]
    count = len(found)
    seams: list[float] = []
    for i, own in enumerate(fixed):
        if own is not None:
            seams.append(own)
            continue
        before = seams[i - 1] if i else None
        after = next((s for s in fixed[i + 1 :] if s is not None), None) if i + 1 < count else None
        choice = before if before is not None else after
        if choice is None:
            choice = 0.0
        if before is not None and after is not None and i + 1 < count and fixed[i + 1] is not None:
            apart = abs((after - before + pi) % tau - pi)
            if apart * radius >= _SAME and apart < _SLIVER:
                choice = turns(before + pi)
        seams.append(choice)
    return seams


def _joint(
    make: Maker, at: Station, corner: tuple[float, float, int] | None, radius: float, marks: list[float], gap: float
) -> _RoundSeam:
    seams = [turns(marks[0])]
    tolerance = max(TOLERANCE, 1.01 * gap)
    for mark in marks[1:]:
        apart = abs((mark - seams[0] + pi) % tau - pi)
        if apart * radius >= _SAME:
            seams.append(turns(mark))
        elif apart * radius > 1e-9:
            tolerance = max(tolerance, 1.01 * apart * radius)
    seams.sort()
    lean = slope(corner)
    # at a corner the joint is seen from the piece after it: its frame is the section's, and the
    # mitre plane leans the other way than from before
    axis_x, shift = at.up, 0.0
    if corner is None:
        curve: Any = make.circle(at.point, at.direction, axis_x, radius)
    else:
        shift = radians(corner[1])
        inside, across = at.at(cos(shift), sin(shift)), at.at(-sin(shift), cos(shift))
        b, n = sub(inside, at.point), sub(across, at.point)
        major = scale(along(b, at.direction, hypot(*lean)), radius)
        curve = make.ellipse(at.point, cross(unit(major), n), major, radius)
    points = [_on(at, radius, s, lean) for s in seams]
    vertices = [make.vertex(p, tolerance) for p in points]
    edges = []
    for i, a in enumerate(seams):
        b_ = seams[i + 1] if i + 1 < len(seams) else seams[0] + tau
        after = vertices[(i + 1) % len(seams)]
        edges.append(make.edge(curve, a - shift, b_ - shift, vertices[i], after, tolerance))
    return _RoundSeam(corner, seams, vertices, edges, shift, tolerance)


def _on(at: Station, radius: float, s: float, lean: tuple[float, float]) -> Vec:
    p, q = radius * cos(s), radius * sin(s)
    return at.at(p, q, lean[0] * p + lean[1] * q)


def _vertex(joint: _RoundSeam, seam: float) -> Any:
    return joint.vertices[joint.ordered(seam)[0][0]]


def _cylinder(
    make: Maker,
    piece: Piece,
    radius: float,
    outer: bool,
    seam: float,
    start: _RoundSeam,
    end: _RoundSeam,
    twist: float,
    before: tuple[float, float, int] | None,
) -> Any:
    at = piece.start
    x = sub(at.at(cos(seam), sin(seam)), at.point)
    surface = make.cylinder(at.point, at.direction, x, radius)
    lean_a, lean_b = slope(before), slope(piece.corner)
    p, q = radius * cos(seam), radius * sin(seam)
    v0, v1 = lean_a[0] * p + lean_a[1] * q, piece.length - lean_b[0] * p - lean_b[1] * q
    side_line = make.line(at.at(p, q), at.direction)
    seam_edge = make.edge(side_line, v0, v1, _vertex(start, seam), _vertex(end, seam + twist))
    make.trace_seam(seam_edge, make.flat(tau, 0.0, 0.0, 1.0), make.flat(0.0, 0.0, 0.0, 1.0), surface)
    for joint, v, lean, turned in (
        (start, 0.0, hypot(*lean_a), seam),
        (end, piece.length, -hypot(*lean_b), seam + twist),
    ):
        for i, a, b, u in joint.ordered(turned):
            # parameter of the joint's curve: s - shift; u counts from the seam
            first, last = a - joint.shift, b - joint.shift
            if joint.corner is None:
                curve: Any = make.flat(u - first, v, 1.0, 0.0)
            else:
                curve = make.traced(wave(u - first, v, lean * radius), first, last)
            make.trace(joint.edges[i], curve, surface, joint.tolerance)
    loop = [(start.edges[i], True) for i, *_ in start.ordered(seam)]
    loop.append((seam_edge, True))
    loop += [(end.edges[i], False) for i, *_ in reversed(end.ordered(seam + twist))]
    loop.append((seam_edge, False))
    return make.face(surface, [make.wire(loop)], outer)


def _torus(
    make: Maker,
    piece: Piece,
    radius: float,
    outer: bool,
    seam: float,
    start: _RoundSeam,
    end: _RoundSeam,
    twist: float,
    before: tuple[float, float, int] | None,
) -> Any:
    arc = piece.arc
    assert arc is not None and before is None
    x = scale(sub(arc.start, arc.center), 1.0 / arc.radius)
    surface = make.torus(arc.center, arc.normal, x, arc.radius, radius)
    sweep = radians(arc.angle)
    outside = make.circle(arc.center, arc.normal, x, arc.radius + radius)
    seam_edge = make.edge(outside, 0.0, sweep, _vertex(start, seam), _vertex(end, seam + twist))
    make.trace_seam(seam_edge, make.flat(0.0, 0.0, 1.0, 0.0), make.flat(0.0, tau, 1.0, 0.0), surface)
    for joint, u, turned in ((start, 0.0, seam), (end, sweep, seam + twist)):
        for i, a, _, around in joint.ordered(turned):
            # the torus counts v from the outside toward the bend's normal: against s
            first = a - joint.shift
            make.trace(joint.edges[i], make.flat(u, tau - around + first, 0.0, -1.0), surface, joint.tolerance)
    loop = [(seam_edge, True)]
    loop += [(end.edges[i], False) for i, *_ in reversed(end.ordered(seam + twist))]
    loop.append((seam_edge, False))
    loop += [(start.edges[i], True) for i, *_ in start.ordered(seam)]
    return make.face(surface, [make.wire(loop)], outer)
