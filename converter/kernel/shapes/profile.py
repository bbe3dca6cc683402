"""The lateral faces of a tube whose outline is no circle: one face per straight or round edge of it, per piece.

Along a straight a side is a plane and a rounded corner a cylinder. Around a bend each one is
revolved about the bend's axis: a side becomes a cylinder (square to the bend plane), a plane
(in it) or a cone (askew, after a rotation that is no multiple of 90 degrees), a corner a torus.

Coordinates and sense of the outline are those of `converter.model.section.outline`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, hypot, pi, radians, sin, tau
from typing import Any

from converter.geometry.vectors import Vec, along, cross, distance, scale, sub, unit
from converter.kernel.shapes.maker import TOLERANCE, Maker, wave
from converter.kernel.shapes.round import Side
from converter.model.frames import Piece, Station, slope
from converter.model.section import Edge

#: Sides leaning less than this (mm over their length) in a bend are square to it or lie in its plane:
#: rotations of 90 degrees come out of drawings with a little noise, and no one wants cones of no taper.
_FLUSH = 1e-6

Corner = tuple[float, float, int]


@dataclass(slots=True)
class _ProfileSeam:
    """The outline's vertices and edges where two pieces meet; a corner's curve parameter is angle - shift."""

    vertices: list[Any]
    edges: list[Any]
    shift: float
    bent: bool
    tolerance: float


@dataclass(frozen=True, slots=True)
class _Ends:
    """What a piece spans: its joints, and how the outline's edges are numbered at the far one."""

    start: _ProfileSeam
    end: _ProfileSeam
    moved: int


def side(
    make: Maker, found: Sequence[Piece], shape: Sequence[Edge], outer: bool, closed: bool, quarters: int, gap: float
) -> Side:
    """Build the faces of one outline.

    Args:
        make: what they are built of.
        found: the run's pieces.
        shape: the outline.
        outer: True for the outside, False for the bore.
        closed: whether the last piece ends on the first one's start.
        quarters: by how many quarter turns the section arrives turned (closed runs).
        gap: how far the last piece ends from the first one's start, mm (closed runs).
    """
    count = len(found)
    slack = _slack(found, shape)
    joints = []
    for i in range(count if closed else count + 1):
        at = found[i].start if i < count else found[-1].end
        before = found[i - 1].corner if i or closed else None
        joints.append(_joint(make, at, before, shape, max(slack, 1.01 * gap) if closed and i == 0 else slack))
    faces: list[Any] = []
    for i, piece in enumerate(found):
        wraps = closed and i == count - 1
        moved = quarters * len(shape) // 4 if wraps else 0
        ends = _Ends(joints[i], joints[0] if wraps else joints[i + 1], moved)
        if piece.arc is None:
            faces += _straight(make, piece, shape, outer, ends, found[i - 1].corner if i or closed else None)
        else:
            faces += _bend(make, piece, shape, outer, ends, slack)
    return Side(faces, joints[0].edges, joints[0 if closed else -1].edges)


def _slack(found: Sequence[Piece], shape: Sequence[Edge]) -> float:
    """The tolerance of edges and vertices: the kernel's own, or as much as a nearly flush side leans."""
    lean = 0.0
    for piece in found:
        c, s = cos(radians(piece.roll)), sin(radians(piece.roll))
        for one in shape if piece.arc is not None else ():
            dp, dq = one.end[0] - one.start[0], one.end[1] - one.start[1]
            leans = (abs(dp * c + dq * s), abs(dq * c - dp * s))
            lean = max(lean, *(x for x in leans if x < _FLUSH)) if min(leans) < _FLUSH else lean
    return max(TOLERANCE, lean)


def _joint(make: Maker, at: Station, corner: Corner | None, shape: Sequence[Edge], tolerance: float) -> _ProfileSeam:
    lean = slope(corner)
    shift = 0.0 if corner is None else radians(corner[1])
    points = [at.at(*e.start, _ahead(lean, e.start)) for e in shape]
    vertices = [make.vertex(p, tolerance) for p in points]
    edges = []
    for i, one in enumerate(shape):
        a, b = i, (i + 1) % len(shape)
        if one.center is None:
            length = distance(points[a], points[b])
            curve: Any = make.line(points[a], unit(sub(points[b], points[a])))
            first, last = 0.0, length
        else:
            middle = at.at(*one.center, _ahead(lean, one.center))
            first, last = one.first - shift, one.last - shift
            if corner is None:
                curve = make.circle(middle, at.direction, at.up, one.radius)
            else:
                inside = sub(at.at(cos(shift), sin(shift)), at.point)
                across = sub(at.at(-sin(shift), cos(shift)), at.point)
                major = scale(along(inside, at.direction, hypot(*lean)), one.radius)
                curve = make.ellipse(middle, cross(unit(major), across), major, one.radius)
        edges.append(make.edge(curve, first, last, vertices[a], vertices[b], tolerance))
    return _ProfileSeam(vertices, edges, shift, corner is not None, tolerance)


def _ahead(lean: tuple[float, float], at: tuple[float, float]) -> float:
    return lean[0] * at[0] + lean[1] * at[1]


def _quad(make: Maker, ends: _Ends, sides: Sequence[Any], i: int, natural: bool) -> Any:
    """The loop around face ``i``: start edge, side, end edge back, side back; turned over if not ``natural``."""
    count = len(sides)
    j = (i + 1) % count
    loop = [
        (ends.start.edges[i], True),
        (sides[j], True),
        (ends.end.edges[(i + ends.moved) % count], False),
        (sides[i], False),
    ]
    if not natural:
        loop = [(edge, not ahead) for edge, ahead in reversed(loop)]
    return make.wire(loop)


def _turned(shape: Sequence[Edge], i: int, moved: int) -> float:
    """What a corner's angles gain where the outline's edges are numbered on by ``moved``."""
    return shape[(i + moved) % len(shape)].first - shape[i].first


def _straight(
    make: Maker, piece: Piece, shape: Sequence[Edge], outer: bool, ends: _Ends, before: Corner | None
) -> list[Any]:
    at = piece.start
    count = len(shape)
    lean_a, lean_b = slope(before), slope(piece.corner)
    sides = []
    for i, one in enumerate(shape):
        first, last = _ahead(lean_a, one.start), piece.length - _ahead(lean_b, one.start)
        far = ends.end.vertices[(i + ends.moved) % count]
        sides.append(make.edge(make.line(at.at(*one.start), at.direction), first, last, ends.start.vertices[i], far))
    faces = []
    for i, one in enumerate(shape):
        if one.center is None:
            d = unit(sub(at.at(*one.end), at.at(*one.start)))
            surface: Any = make.plane(at.at(*one.start), cross(d, at.direction), d)
        else:
            surface = make.cylinder(at.at(*one.center), at.direction, at.up, one.radius)
            make.trace(sides[i], make.flat(one.first, 0.0, 0.0, 1.0), surface)
            make.trace(sides[(i + 1) % count], make.flat(one.last, 0.0, 0.0, 1.0), surface)
            v0, v1 = _ahead(lean_a, one.center), piece.length - _ahead(lean_b, one.center)
            for joint, moved, v, k in (
                (ends.start, 0, v0, hypot(*lean_a)),
                (ends.end, ends.moved, v1, -hypot(*lean_b)),
            ):
                # angle on this piece = curve parameter + u0
                u0 = joint.shift - _turned(shape, i, moved)
                if joint.bent:
                    curve: Any = make.traced(wave(u0, v, k * one.radius), one.first - u0, one.last - u0)
                else:
                    curve = make.flat(u0, v, 1.0, 0.0)
                make.trace(joint.edges[(i + moved) % count], curve, surface, joint.tolerance)
        faces.append(make.face(surface, [_quad(make, ends, sides, i, True)], outer))
    return faces


def _bend(make: Maker, piece: Piece, shape: Sequence[Edge], outer: bool, ends: _Ends, slack: float) -> list[Any]:
    arc = piece.arc
    assert arc is not None
    count = len(shape)
    sweep, phi = radians(arc.angle), radians(piece.roll)
    out = scale(sub(arc.start, arc.center), 1.0 / arc.radius)

    def placed(at: tuple[float, float]) -> tuple[float, float]:
        """Distance from the bend's axis, and height along it."""
        return arc.radius - at[0] * cos(phi) - at[1] * sin(phi), at[1] * cos(phi) - at[0] * sin(phi)

    sides = []
    for i, one in enumerate(shape):
        rho, z = placed(one.start)
        curve = make.circle(along(arc.center, arc.normal, z), arc.normal, out, rho)
        far = ends.end.vertices[(i + ends.moved) % count]
        sides.append(make.edge(curve, 0.0, sweep, ends.start.vertices[i], far, slack))
    faces = []
    for i, one in enumerate(shape):
        pair = (sides[i], sides[(i + 1) % count])
        rims = ((ends.start, 0, 0.0), (ends.end, ends.moved, sweep))
        natural = True
        if one.center is not None:
            rho, z = placed(one.center)
            surface: Any = make.torus(along(arc.center, arc.normal, z), arc.normal, out, rho, one.radius)
            # the torus counts v from the outside toward the bend's normal: v = pi + phi - angle, kept near 0..2 pi
            v0 = pi + phi - tau * ((pi + phi - (one.first + one.last) / 2.0) // tau)
            for side_edge, angle in zip(pair, (one.first, one.last), strict=True):
                make.trace(side_edge, make.flat(0.0, v0 - angle, 1.0, 0.0), surface, slack)
            for joint, moved, u in rims:
                shift = joint.shift - _turned(shape, i, moved)
                curve2d = make.flat(u, v0 - shift, 0.0, -1.0)
                make.trace(joint.edges[(i + moved) % count], curve2d, surface, joint.tolerance)
        else:
            (rho0, z0), (rho1, z1) = placed(one.start), placed(one.end)
            natural = z1 < z0  # then the side lies outside the tube's axis and looks away from the bend's
            if abs(z1 - z0) < _FLUSH:
                normal = scale(arc.normal, 1.0 if rho1 > rho0 else -1.0)
                surface, natural = make.plane(along(arc.center, arc.normal, (z0 + z1) / 2.0), normal, out), True
            else:
                surface, u0, du, v0, v1 = _revolved(make, arc.center, arc.normal, out, (rho0, z0), (rho1, z1))
                for side_edge, v in zip(pair, (v0, v1), strict=True):
                    make.trace(side_edge, make.flat(u0, v, du, 0.0), surface, slack)
                for joint, moved, u in rims:
                    curve2d = make.flat(u0 + du * u, v0, 0.0, 1.0 if v1 > v0 else -1.0)
                    make.trace(joint.edges[(i + moved) % count], curve2d, surface, joint.tolerance)
        faces.append(make.face(surface, [_quad(make, ends, sides, i, natural)], natural == outer))
    return faces


def _revolved(
    make: Maker, center: Vec, axis: Vec, out: Vec, a: tuple[float, float], b: tuple[float, float]
) -> tuple[Any, float, float, float, float]:
    """A side revolved about the bend's axis, and where its ends are on it.

    Args:
        a, b: its ends as (distance from the axis, height along it).

    Returns:
        Surface (cylinder or cone), u at the start, direction of u along the bend, v at a and at b.
    """
    if abs(b[0] - a[0]) < _FLUSH:
        return make.cylinder(center, axis, out, (a[0] + b[0]) / 2.0), 0.0, 1.0, a[1], b[1]
    # STEP wants a half angle above zero: the cone's axis points to where it widens
    length = hypot(b[0] - a[0], b[1] - a[1])
    widens = (b[0] - a[0]) * (b[1] - a[1]) > 0.0
    low = a if a[0] < b[0] else b
    angle = atan2(abs(b[0] - a[0]), abs(b[1] - a[1]))
    towards = axis if widens else scale(axis, -1.0)
    surface = make.cone(along(center, axis, low[1]), towards, out, angle, low[0])
    v0, v1 = (0.0, length) if low is a else (length, 0.0)
    return (surface, 0.0, 1.0, v0, v1) if widens else (surface, tau, -1.0, v0, v1)
