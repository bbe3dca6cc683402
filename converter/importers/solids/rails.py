"""Corners of square and rectangular members as rails: where a section's corners would run if they were sharp.

A sharp corner is an edge. A rounded one is a quarter of a cylinder or torus, one cut off at a slant a plane or cone
between two flats: of both the corner that the flats would meet in is taken. So corners of any make are held against
each other by one point across the member, and by the way out of its section there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, product
from math import cos, pi, sin, sqrt, tau

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import fit_circle, fit_line, vec
from converter.geometry.vectors import Vec, along, any_normal, cross, dot, norm, scale, sub, unit
from converter.importers.solids.faces import CONE, CYLINDER, PLANE, TORUS, Patch, Rim, SolidBody, half_turn
from converter.importers.solids.pieces import Axis, FacePieces, TubePiece
from converter.importers.solids.profiles import CORNER_LOSS
from converter.tolerances import Tolerances

#: A square bar has four corners; a tube four more inside.
BAR_CORNERS, TUBE_CORNERS = 4, 8
#: Turns (radians) between which a face may be the rounded corner of a rectangle.
_QUARTER = (1.0, 2.2)
#: The same of a side that is round all along: two corners of half its size.
_HALF = (3.0, 3.3)
#: Cosine of the angle between faces below which their edge is a sharp corner of a rectangle, and between which it
#: may be one side of a corner cut off at a slant.
_SQUARE = 0.2
_SLANT = (0.3, 0.95)
#: Legs of a corner cut off at a slant differ by no more than this factor; its face has no more edges at a slant.
_UNEQUAL, _MOST_SLANTS = 4.0, 24
#: mm within which the rings of one axis are of one size, or in one plane.
_ONE_PLACE = 0.1
_STEPS = np.linspace(0.0, 1.0, 9)


@dataclass(slots=True, eq=False)
class Rail(TubePiece):
    """A stretch of a corner, on the axis where the flats beside it meet.

    Attributes:
        radius: of the corner; where it is cut off at a slant, of a round one that takes as much off.
        out: unit vector at ``lo``, halfway between the outward normals of both flats.
        gaps: how much of it is not there but was bridged (in t).
    """

    out: Vec = (0.0, 0.0, 0.0)
    gaps: float = 0.0

    @property
    def part(self) -> float:
        """How much of it is there."""
        return 1.0 - self.gaps / max(self.hi - self.lo, 1e-9)


def rails_of(body: SolidBody, found: FacePieces, tol: Tolerances) -> list[Rail]:
    """The corners of a body that may be those of square members, across gaps where a branch was fused on."""
    axes = EdgeAxes()
    rounded = [_rounded(p, 0.0, axes, tol) for p in found.pieces if _QUARTER[0] <= p.turn <= _QUARTER[1]]
    halves = [p for p in found.pieces if _HALF[0] <= p.turn <= _HALF[1]]
    rounded += [_rounded(p, turn, axes, tol) for p in halves for turn in (-pi / 4.0, pi / 4.0)]
    sharp, slanted = _edges(body, axes, tol)
    return _bridged(_in_company([r for r in (*rounded, *sharp, *slanted) if r is not None]), tol)


# --- rounded corners ------------------------------------------------------------------------


def _rounded(piece: TubePiece, turn: float, axes: EdgeAxes, tol: Tolerances) -> Rail | None:
    """The rail of a rounded corner whose middle lies so far from the middle of its face, radians."""
    axis = piece.axis
    middle = _middle_of_turn(piece) + turn
    a, b = sqrt(2.0) * piece.radius * cos(middle), sqrt(2.0) * piece.radius * sin(middle)
    t = piece.lo + (piece.hi - piece.lo) * _STEPS
    if axis.is_ring:
        major = axis.major + a
        if major <= tol.join:
            return None
        own = axes.find(along(axis.point, axis.direction, b), axis.direction, major, tol)
        radial = scale(sub(axis.at(piece.lo), axis.point), 1.0 / axis.major)
        spots = np.outer(np.cos(t), axis.x) + np.outer(np.sin(t), axis.y)
        points = np.array(axis.point) + b * np.array(axis.direction) + major * spots
        out = along(scale(radial, cos(middle)), axis.direction, sin(middle))
    else:
        off = along(scale(axis.x, a), axis.y, b)
        own = axes.find(along(axis.point, off, 1.0), axis.direction, 0.0, tol)
        points = np.array(axis.point) + np.array(off) + np.outer(t, axis.direction)
        out = along(scale(axis.x, cos(middle)), axis.y, sin(middle))
    # by the faces: those of a body that looks into its metal have been turned over in its pieces, but not in its edges
    sign = 1 if sum(patch.sign for patch in piece.patches) >= 0 else -1
    return _stretch(own, points, out, piece.radius, piece.patches, sign)


def _middle_of_turn(piece: TubePiece) -> float:
    """Where around its axis the middle of a corner lies: from ``x``, or from the way out of a bend, radians."""
    axis = piece.axis
    spans: list[tuple[float, float]] = []
    for patch in piece.patches:
        shape = patch.shape
        low, high = patch.v if axis.is_ring else patch.u
        at = (low + high) / 2.0
        if axis.is_ring:
            at = at if dot(shape.axis, axis.direction) > 0.0 else -at
        else:
            way = along(scale(patch.x, cos(at)), cross(shape.axis, patch.x), sin(at))
            at = float(np.arctan2(dot(way, axis.y), dot(way, axis.x)))
        if spans:
            at = spans[0][0] + half_turn(at - spans[0][0])
        spans.append((at, (high - low) / 2.0))
    return (min(a - h for a, h in spans) + max(a + h for a, h in spans)) / 2.0


def _stretch(axis: Axis, points: Array, out: Vec, radius: float, patches: list[Patch], sign: int) -> Rail:
    """The rail on an axis through points; ``out`` holds at the first of them."""
    t = axis.places(points)
    if axis.is_ring:
        t = np.unwrap(t)
    lo, hi = float(t.min()), float(t.max())
    if axis.is_ring:
        out = _turned_about(out, axis.direction, lo - float(t[0]))
    return Rail(axis, radius, lo, hi, patches, sign, out=out)


def _turned_about(v: Vec, axis: Vec, turn: float) -> Vec:
    flat = sub(v, scale(axis, dot(v, axis)))
    return along(along(scale(axis, dot(v, axis)), flat, cos(turn)), cross(axis, flat), sin(turn))


# --- sharp corners, and those cut off at a slant ----------------------------------------------


def _edges(body: SolidBody, axes: EdgeAxes, tol: Tolerances) -> tuple[list[Rail], list[Rail]]:
    """Edges between faces that are square to each other, and faces between two edges at a slant, as rails."""
    rails: list[Rail] = []
    slants: dict[int, list[int]] = {}
    for number, rim in enumerate(body.rims):
        if len(rim.points) < 2 or len(rim.faces) != 2 or rim.faces[0] == rim.faces[1]:
            continue
        p = _middle_point(rim)
        one, two = (body.patches[k] for k in rim.faces)
        n, m = normal_at(one, p), normal_at(two, p)
        if n is None or m is None:
            continue
        lean = abs(dot(n, m))
        if lean <= _SQUARE:
            rail = _sharp(body, number, (n, m), axes, tol)
            if rail is not None:
                rails.append(rail)
        elif _SLANT[0] <= lean <= _SLANT[1]:
            for k in rim.faces:
                if body.patches[k].shape.kind in (PLANE, CONE):
                    slants.setdefault(k, []).append(number)
    slanted = []
    for k, numbers in slants.items():
        for pair in combinations(numbers, 2) if len(numbers) <= _MOST_SLANTS else ():
            rail = _slanted(body, k, pair, axes, tol)
            if rail is not None:
                slanted.append(rail)
    return _joined(rails, tol), slanted


def _middle_point(rim: Rim) -> Vec:
    middle = rim.points[len(rim.points) // 2] if len(rim.points) > 2 else rim.points.mean(axis=0)
    return vec(middle)


def _sharp(body: SolidBody, number: int, normals: tuple[Vec, Vec], axes: EdgeAxes, tol: Tolerances) -> Rail | None:
    rim = body.rims[number]
    one, two = rim.faces
    left, other = _left_of(body, number, one, normals[0]), _left_of(body, number, two, normals[1])
    convex = dot(left, scale(normals[1], float(body.patches[two].sign))) < 0.0
    return _on_carrier(rim.points, scale(along(left, other, 1.0), -1.0), 0.0, [], 1 if convex else -1, axes, tol)


def _left_of(body: SolidBody, number: int, face: int, normal: Vec) -> Vec:
    """The way from the middle of an edge into one of its faces: to the left, seen from outside, as the face runs it."""
    rim, patch = body.rims[number], body.patches[face]
    forward = next(ahead for index, ahead in patch.rims if index == number)
    k = len(rim.points) // 2
    step = rim.points[min(k + 1, len(rim.points) - 1)] - rim.points[k - 1]
    return unit(cross(scale(normal, float(patch.sign)), scale(vec(step), 1.0 if forward else -1.0)))


def _slanted(body: SolidBody, k: int, pair: tuple[int, int], axes: EdgeAxes, tol: Tolerances) -> Rail | None:
    """The corner that face k cuts off between two edges; None where the faces beyond are not square to each other."""
    rims = [body.rims[number] for number in pair]
    beyond = [next(j for j in rim.faces if j != k) for rim in rims]
    carrier = EdgeAxes()
    spans = [_on_carrier(rim.points, (0.0, 0.0, 1.0), 0.0, [], 1, carrier, tol) for rim in rims]
    first, second = spans
    if first is None or second is None or beyond[0] == beyond[1] or first.axis.is_ring != second.axis.is_ring:
        return None
    rows = []
    middle: tuple[Vec, Vec, Vec] | None = None
    for part in _STEPS:
        p = first.axis.at(first.lo + (first.hi - first.lo) * float(part))
        q = second.axis.at(second.axis.place(p))
        n, m = normal_at(body.patches[beyond[0]], p), normal_at(body.patches[beyond[1]], q)
        if n is None or m is None or abs(dot(n, m)) > _SQUARE:
            return None
        step = sub(q, p)
        # in the first flat's plane, as far out as the second one lies
        rows.append(along(p, m, dot(step, m)))
        middle = middle or (p, q, rows[-1])
    if middle is None:
        return None
    p, q, corner = middle
    legs = norm(sub(corner, p)), norm(sub(corner, q))
    out = sub(corner, scale((p[0] + q[0], p[1] + q[1], p[2] + q[2]), 0.5))
    if min(legs) <= tol.join or max(legs) > _UNEQUAL * min(legs) or norm(out) <= 0.0:
        return None
    lacking = sqrt(legs[0] * legs[1] / 2.0 / CORNER_LOSS)
    at = _middle_point(rims[0])
    n, m = normal_at(body.patches[k], at), normal_at(body.patches[beyond[0]], at)
    if n is None or m is None:
        return None
    convex = dot(_left_of(body, pair[0], k, n), scale(m, float(body.patches[beyond[0]].sign))) < 0.0
    return _on_carrier(np.array(rows), out, lacking, [body.patches[k]], 1 if convex else -1, axes, tol, at_first=True)


def _on_carrier(
    points: Array,
    out: Vec,
    radius: float,
    patches: list[Patch],
    sign: int,
    axes: EdgeAxes,
    tol: Tolerances,
    at_first: bool = False,
) -> Rail | None:
    """The rail through points of a line or circle, ``out`` given at their middle or first; None on any other curve."""
    middle, d, off = fit_line(points)
    if off <= 0.1 * tol.fit:
        axis = axes.find(middle, d, 0.0, tol)
        return _stretch(axis, points, unit(out), radius, patches, sign)
    if len(points) < 5:
        return None
    circle = fit_circle(points)
    if circle is None or circle.residual > 0.1 * tol.fit:
        return None
    axis = axes.find(circle.center, circle.normal, circle.radius, tol)
    if not at_first:
        t = np.unwrap(axis.places(points))
        out = _turned_about(out, axis.direction, float(t[0] - t[len(points) // 2]))
    return _stretch(axis, points, unit(out), radius, patches, sign)


def normal_at(patch: Patch, p: Vec) -> Vec | None:
    """The unit normal of a face's primitive at a point of it, away from its axis (a plane's: along it)."""
    shape = patch.shape
    if shape.kind == PLANE:
        return shape.axis
    arm = sub(p, shape.point)
    flat = sub(arm, scale(shape.axis, dot(arm, shape.axis)))
    size = norm(flat)
    if size <= 0.0:
        return None
    out = scale(flat, 1.0 / size)
    if shape.kind == CYLINDER:
        return out
    if shape.kind == CONE:
        return unit(along(out, shape.axis, -float(np.tan(shape.slope))))
    if shape.kind == TORUS:
        arm = sub(arm, scale(out, shape.major))
        return unit(arm) if norm(arm) > 0.0 else None
    return None


# --- which of them, and how far ---------------------------------------------------------------


def _in_company(rails: list[Rail]) -> list[Rail]:
    """Without rings that have not the corners of a section on one bend axis.

    The rims of holes and rounded ends have one radius, the corners of a bend have several in several planes.
    """
    cells: dict[tuple[int, int, int], list[Rail]] = {}
    for rail in rails:
        if rail.axis.is_ring:
            cells.setdefault(cell(foot(rail.axis.point, rail.axis.direction)), []).append(rail)
    kept = []
    for rail in rails:
        if rail.axis.is_ring:
            beside = [r for c in around(foot(rail.axis.point, rail.axis.direction)) for r in cells.get(c, ())]
            majors = [r.axis.major for r in beside]
            levels = [dot(sub(r.axis.point, rail.axis.point), rail.axis.direction) for r in beside]
            few = len(beside) < (TUBE_CORNERS if rail.is_full_ring else BAR_CORNERS)
            if few or min(max(majors) - min(majors), max(levels) - min(levels)) <= _ONE_PLACE:
                continue
        kept.append(rail)
    return kept


def _joined(rails: list[Rail], tol: Tolerances) -> list[Rail]:
    """Edges in parts as one: touching stretches of one axis."""
    by_axis: dict[int, list[Rail]] = {}
    for rail in rails:
        by_axis.setdefault(rail.axis.number, []).append(rail)
    out: list[Rail] = []
    for own in by_axis.values():
        own.sort(key=lambda r: r.lo)
        gap = tol.join / (own[0].axis.major or 1.0)
        for rail in own:
            if out and out[-1].axis is rail.axis and out[-1].sign == rail.sign and rail.lo <= out[-1].hi + gap:
                out[-1].hi = max(out[-1].hi, rail.hi)
            else:
                out.append(rail)
    return out


def _bridged(rails: list[Rail], tol: Tolerances) -> list[Rail]:
    """Rails joined over a gap that a parallel rail close by runs past: a branch was fused on, or a notch cut."""
    past = _Past([r for r in rails if not r.axis.is_ring])
    rings = [r for r in rails if r.axis.is_ring]

    def runs_on(last: Rail, rail: Rail) -> bool:
        gap = rail.lo - last.hi
        if last.axis.is_ring:
            return any(_is_past(other, last, gap) for other in rings)
        return past.any_over(last, rail, gap, tol)

    return over_gaps(rails, runs_on, tol)


def _is_past(ring: Rail, last: Rail, gap: float) -> bool:
    """Whether another ring on the same bend axis, within three gaps, runs past the gap after a rail."""
    axis, own = ring.axis, last.axis
    arm = sub(axis.point, own.point)
    if axis.number == own.number or norm(cross(axis.direction, own.direction)) > 1e-5:
        return False
    if norm(cross(arm, own.direction)) > 1e-3 or np.hypot(norm(arm), axis.major - own.major) > 3.0 * gap * own.major:
        return False
    turns = [axis.place(own.at(last.hi + part * gap)) for part in (-0.01, 1.01)]
    return all((t - ring.lo) % tau <= ring.hi - ring.lo for t in turns)


def over_gaps(rails: list[Rail], is_one: Callable[[Rail, Rail], bool], tol: Tolerances) -> list[Rail]:
    """Rails of one axis and radius joined over the gaps of which ``is_one`` says that the corner runs on."""
    gone: set[int] = set()
    by_axis: dict[int, list[Rail]] = {}
    for rail in rails:
        by_axis.setdefault(rail.axis.number, []).append(rail)
    for own in by_axis.values():
        own.sort(key=lambda r: (r.sign, r.radius, r.lo))
        last = own[0]
        for rail in own[1:]:
            alike = abs(rail.radius - last.radius) <= tol.fit and rail.sign == last.sign
            out = last.out
            if rail.axis.is_ring:
                out = _turned_about(out, rail.axis.direction, rail.lo - last.lo)
            if alike and dot(rail.out, out) > 0.9 and rail.lo > last.hi and is_one(last, rail):
                last.gaps += rail.lo - last.hi + rail.gaps
                last.hi = rail.hi
                last.patches = [*last.patches, *rail.patches]
                gone.add(id(rail))
            else:
                last = rail
    return [r for r in rails if id(r) not in gone]


class _Past:
    """Straight rails as arrays, to ask which of them run past a gap."""

    def __init__(self, lines: list[Rail]) -> None:
        self._axes = np.array([r.axis.number for r in lines])
        self._points = np.array([r.axis.point for r in lines]).reshape(-1, 3)
        self._ways = np.array([r.axis.direction for r in lines]).reshape(-1, 3)
        self._ends = np.array([(r.axis.at(r.lo), r.axis.at(r.hi)) for r in lines]).reshape(-1, 2, 3)

    def any_over(self, a: Rail, b: Rail, gap: float, tol: Tolerances) -> bool:
        """Whether another rail, parallel and within three gaps, runs from before a's end to past b's start."""
        d, o = np.array(a.axis.direction), np.array(a.axis.point)
        arms = self._points - o
        near = (self._axes != a.axis.number) & (np.abs(np.cross(self._ways, d)).max(axis=1) <= 1e-5)
        near &= np.sqrt((np.cross(arms, d) ** 2).sum(axis=1)) <= 3.0 * gap
        places = np.sort((self._ends[near] - o) @ d, axis=1)
        return bool(((places[:, 0] <= a.hi - tol.join) & (places[:, 1] >= b.lo + tol.join)).any())


class EdgeAxes:
    """Axes of corners, found again by where they lie: lines by their foot from the origin, rings by their centre."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, ...], list[Axis]] = {}
        self._count = 0

    def find(self, point: Vec, d: Vec, major: float, tol: Tolerances) -> Axis:
        """The axis through a point along d (or the ring about it), made when there is none."""
        spot = point if major else foot(point, d)
        for axis in (one for near in around(spot) for one in self._cells.get(near, ())):
            if (major > 0.0) != axis.is_ring or norm(cross(axis.direction, d)) > 1e-5:
                continue
            arm = sub(point, axis.point)
            if (norm(arm) if major else norm(cross(arm, axis.direction))) <= tol.fit and (
                abs(axis.major - major) <= tol.fit
            ):
                return axis
        x = any_normal(d)
        self._count += 1
        made = Axis(point, d, major, x, cross(d, x), -self._count)
        self._cells.setdefault(cell(spot), []).append(made)
        return made


def foot(point: Vec, d: Vec) -> Vec:
    """The point of a line nearest to the origin."""
    return sub(point, scale(d, dot(point, d)))


def cell(p: Vec) -> tuple[int, int, int]:
    """The millimetre cell of a point."""
    return (round(p[0]), round(p[1]), round(p[2]))


def around(p: Vec) -> Iterator[tuple[int, int, int]]:
    """The cell of a point and the 26 about it."""
    x, y, z = cell(p)
    yield from product((x - 1, x, x + 1), (y - 1, y, y + 1), (z - 1, z, z + 1))
