"""Straight members by cuts across them: what a body is all along, whatever its corners are like.

Rails (`converter.importers.solids.square`) need corners that are alike; a cut shows the four walls of a tube with
any corners, the fullness of a bar, and which open profile a body is. It counts where most cuts along the body agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from converter.arrays import Array
from converter.findings import Clause
from converter.geometry.vectors import Vec, along, any_normal, cross, dot, scale
from converter.importers.body_checks import BAR_WIDTHS
from converter.importers.solids.chains import PieceChain
from converter.importers.solids.faces import CYLINDER, PLANE, Patch, Rim, SolidBody
from converter.importers.solids.pieces import Axis, TubePiece
from converter.importers.solids.profiles import BAR, CHANNEL, OTHER, TUBE, Profile, profile_of
from converter.importers.solids.reasons import STUB
from converter.importers.solids.slices import slice_of
from converter.importers.solids.square import SquareTube, odd_of, usual_corner
from converter.tolerances import Tolerances

#: So many times the metal of a straight profile is that of a bent one; part by which half a square may be off.
_BENT, _HALF = 1.03, 0.02
#: An open profile is named from this many of its greater sizes on; shorter it is a bracket. Common practice, no source.
_PROFILE_SIZES = 1.0
#: Where a body is cut, as parts of its extent: nothing even, so that a row of holes is not met every time.
_STATIONS = (0.463, 0.287, 0.689, 0.131, 0.853, 0.373, 0.577)
#: Bodies of more faces are cut less often, or not at all: a cut takes time with all of them.
_MANY, _MOST = 300, 1500
#: A full edge of a member runs along this much of it, and a member has at least so many.
_FULL, _EDGES = 0.5, 3
#: Directions that are tried, those with most straight edges first.
_DIRECTIONS = 3


@dataclass(frozen=True, slots=True)
class StraightMember:
    """A straight member.

    Attributes:
        profile: its cut, by the axes ``x`` and ``y``.
        origin: point in the plane of parameter 0.
        direction, x, y: right-handed unit vectors, ``direction`` along it.
        low, high: extent of the body along it from ``origin``, mm.
    """

    profile: Profile
    origin: Vec
    direction: Vec
    x: Vec
    y: Vec
    low: float
    high: float

    @property
    def length(self) -> float:
        """Of the body along it, mm."""
        return self.high - self.low


def member_of(solid: Any, body: SolidBody, tol: Tolerances) -> StraightMember | None:
    """The straight member that a solid is, of whatever profile; None when cuts across it do not agree."""
    if len(body.patches) > _MOST:
        return None
    best: StraightMember | None = None
    for direction, low, high in _directions(body):
        member = _along(solid, body, direction, low, high, tol)
        if member is not None and (best is None or _rank(member) > _rank(best)):
            best = member
    return best


def _rank(member: StraightMember) -> tuple[bool, bool, float]:
    """A tube before an open profile before a bar, of two bars the longer."""
    kind = member.profile.kind
    return kind == TUBE, kind not in (BAR, OTHER), member.length


def _directions(body: SolidBody) -> list[tuple[Vec, float, float]]:
    """Directions in which long straight edges run, and the body's extent along each."""
    lines = [rim.points[[0, -1]] for rim in body.rims if _is_straight(rim)]
    every = [rim.points for rim in body.rims if len(rim.points)]
    if len(lines) < _EDGES:
        return []
    ends = np.array(lines)
    steps = ends[:, 1] - ends[:, 0]
    lengths = np.sqrt((steps * steps).sum(axis=1))
    units = steps[lengths > 0.0] / lengths[lengths > 0.0][:, None]
    lengths = lengths[lengths > 0.0]
    points = np.concatenate(every)
    found: list[tuple[float, Vec, float, float]] = []
    free = np.ones(len(units), bool)
    for k in np.argsort(-lengths, kind="stable"):
        if not free[k]:
            continue
        alike = np.abs(units @ units[k]) > 1.0 - 1e-9
        free &= ~alike
        spans = points @ units[k]
        low, high = float(spans.min()), float(spans.max())
        full = alike & (lengths >= _FULL * (high - low))
        if int(full.sum()) >= _EDGES:
            d = (float(units[k, 0]), float(units[k, 1]), float(units[k, 2]))
            found.append((float(lengths[full].sum()), d, low, high))
    found.sort(key=lambda one: -one[0])
    return [one[1:] for one in found[:_DIRECTIONS]]


def _is_straight(rim: Rim) -> bool:
    """Whether an edge is a line, also one that the file stores as a spline."""
    if rim.straight or len(rim.points) < 2:
        return rim.straight
    steps = rim.points - rim.points[0]
    way = steps[-1]
    length = float(np.sqrt(way @ way))
    return length > 0.0 and float(np.abs(steps - np.outer(steps @ way / length**2, way)).max()) <= 1e-6 * length


def _along(solid: Any, body: SolidBody, d: Vec, low: float, high: float, tol: Tolerances) -> StraightMember | None:
    """The member along a direction: the profile that most of the cuts across it show."""
    x = any_normal(d)
    y = cross(d, x)
    seen: list[Profile] = []
    stations = _STATIONS if len(body.patches) <= _MANY else _STATIONS[:3]
    for part in stations:
        cut = slice_of(solid, scale(d, low + part * (high - low)), d, x)
        profile = None if cut is None else profile_of(cut)
        if profile is not None:
            seen.append(profile)
        elif cut is None and not seen and part != stations[0]:
            return None
        if seen and not _is_worth_it(seen[0], high - low):
            return None
    if not seen:
        return None
    within = 2.0 * tol.fit
    groups = [[other for other in seen if other.is_like(one, within)] for one in seen]
    best = max(groups, key=len)
    if 2 * len(best) <= len(stations):
        return None
    # holes take metal away: the fullest cut is the section
    profile = max(best, key=lambda one: one.area)
    if not _is_worth_it(profile, high - low):
        return None
    return StraightMember(profile, (0.0, 0.0, 0.0), d, x, y, low, high)


def _is_worth_it(profile: Profile, length: float) -> bool:
    """Whether a body so long could be a member of this kind, so that more cuts are worth while."""
    if profile.kind == TUBE:
        return length >= STUB * max(profile.sizes)
    if profile.kind == BAR:
        return length >= BAR_WIDTHS * max(profile.sizes)
    return length >= _PROFILE_SIZES * max(profile.sizes)


def name_of(member: StraightMember, volume: float) -> Clause:
    """What a member that is no tube or bar is called; a bent one is as long as its volume (mm3) makes its profile."""
    kind = member.profile.kind
    sizes = tuple(sorted(map(float, member.profile.sizes), reverse=True))
    along = volume / member.profile.area if member.profile.area > 0.0 else 0.0
    length = along if along > _BENT * member.length else member.length
    is_half = kind == CHANNEL and abs(sizes[0] - 2.0 * sizes[1]) <= _HALF * sizes[0]
    return Clause.of("solid-half-square" if is_half else f"solid-{kind}-profile", sizes=sizes, length=float(length))


# --- as rails -------------------------------------------------------------------------------


def as_square(member: StraightMember, body: SolidBody, tol: Tolerances) -> SquareTube:
    """A member of four walls, or a full one, as `square_table` takes it: rails at its corners, sharp or not."""
    profile = member.profile
    axes = _frame(member)
    lateral = _corner_faces(member, body, axes)
    w, h = profile.sizes
    outer = tuple(_rail(member, body, axes, k, (w / 2.0, h / 2.0), lateral[0][k], k, tol) for k in range(4))
    inner: tuple[PieceChain, ...] = ()
    if profile.kind == TUBE:
        bottom, right, top, left = profile.walls
        low, high = (left - w / 2.0, bottom - h / 2.0), (w / 2.0 - right, h / 2.0 - top)
        spots = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
        inner = tuple(_rail(member, body, axes, 4 + k, spots[k], lateral[1][k], None, tol) for k in range(4))
    lo = min(rail.items[0][0].lo for rail in outer)
    hi = max(rail.items[0][0].hi for rail in outer)
    center = _spot(axes, 0.0, 0.0)
    middle = TubePiece(Axis(center, member.direction, 0.0, axes[1], axes[2], -1), 0.0, lo, hi, [])
    wall = sum(profile.walls) / 4.0 if profile.walls else min(w, h) / 2.0
    sides = (axes[1], axes[2])
    return SquareTube(
        PieceChain([(middle, False)], False),
        outer,
        inner,
        sides,
        (w, h),
        wall,
        usual_corner(outer, tol),
        usual_corner(inner, tol) if inner else 0.0,
        odd_of(profile.walls, outer, inner, tol),
    )


_Frame = tuple[Vec, Vec, Vec]


def _frame(member: StraightMember) -> _Frame:
    """A point on the axis and the two directions of its sides."""
    p = member.profile
    center = along(along(member.origin, member.x, float(p.center[0])), member.y, float(p.center[1]))
    side = along(scale(member.x, float(p.side[0])), member.y, float(p.side[1]))
    return center, side, cross(member.direction, side)


def _spot(axes: _Frame, a: float, b: float) -> Vec:
    return along(along(axes[0], axes[1], a), axes[2], b)


_SIGNS = ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))


def _corner_faces(member: StraightMember, body: SolidBody, axes: _Frame) -> tuple[list[list[Patch]], list[list[Patch]]]:
    """Faces that round or cut off each of the four corners, outside and inside."""
    found: tuple[list[list[Patch]], list[list[Patch]]] = ([[], [], [], []], [[], [], [], []])
    w, h = member.profile.sizes
    half, across = np.array((w / 2.0, h / 2.0)), np.column_stack((axes[1], axes[2]))
    d = np.array(member.direction)
    wall = max(member.profile.walls, default=0.0)
    on = 1e-3 * max(w, h)
    for patch in body.patches:
        lean = abs(dot(patch.shape.axis, member.direction))
        if not (patch.shape.kind == CYLINDER and lean > 1.0 - 1e-6) and not (patch.shape.kind == PLANE and lean < 1e-6):
            continue
        rows = [body.rims[k].points for k, _ in patch.rims if len(body.rims[k].points)]
        if not rows:
            continue
        points = np.concatenate(rows)
        if float(np.ptp(points @ d)) < 0.2 * member.length:
            continue
        local = (points - np.array(axes[0])) @ across
        spread = np.ptp(local, axis=0)
        if float(spread.max()) > 0.5 * min(w, h) + on or float(spread.min()) <= on:
            continue
        middle = local.mean(axis=0)
        k = _SIGNS.index((1.0 if middle[0] > 0.0 else -1.0, 1.0 if middle[1] > 0.0 else -1.0))
        reach = half - np.abs(local).max(axis=0)
        if float(np.abs(reach).max()) <= on:
            found[0][k].append(patch)
        elif wall and float(reach.min()) >= 0.5 * wall and float(reach.max()) <= 1.5 * wall:
            found[1][k].append(patch)
    return found


def _rail(
    member: StraightMember,
    body: SolidBody,
    axes: _Frame,
    number: int,
    spot: tuple[float, float],
    faces: list[Patch],
    corner: int | None,
    tol: Tolerances,
) -> PieceChain:
    """A corner as a rail: of radius 0 where it is sharp, else with its faces, the round one's radius."""
    if corner is not None:
        spot = (_SIGNS[corner][0] * spot[0], _SIGNS[corner][1] * spot[1])
    at = _spot(axes, *spot)
    d = member.direction
    axis = Axis(at, d, 0.0, axes[1], axes[2], -number - 2)
    lacking = (member.profile.corners if number < 4 else member.profile.inner_corners)[number % 4]
    if faces:
        points = np.concatenate([body.rims[k].points for f in faces for k, _ in f.rims if len(body.rims[k].points)])
        round_ = [f.shape.radius for f in faces if f.shape.kind == CYLINDER]
        radius = round_[0] if round_ else lacking
    else:
        points = _edge_points(body, axis, tol)
        # a side that is round all along has no face for each of its corners
        radius = 0.0 if len(points) else lacking
    if len(points):
        t = axis.places(points)
        low, high = float(t.min()), float(t.max())
    else:
        base = dot(at, d)
        low, high = member.low - base, member.high - base
    return PieceChain([(TubePiece(axis, radius, low, high, faces), False)], False)


def _edge_points(body: SolidBody, axis: Axis, tol: Tolerances) -> Array:
    """Ends of the straight edges along an axis: a sharp corner, in one part or in several."""
    rows = []
    o, d = np.array(axis.point), np.array(axis.direction)
    for rim in body.rims:
        if _is_straight(rim):
            arm = rim.points[[0, -1]] - o
            off = arm - np.outer(arm @ d, d)
            if float(np.abs(off).max()) <= tol.fit:
                rows.append(rim.points[[0, -1]])
    return np.concatenate(rows) if rows else np.empty((0, 3))
