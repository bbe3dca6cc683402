"""From primitives to pieces: what lies on one axis with one radius is one straight or one bend, however it was split.

An axis is a line (of cylinders) or a ring (the centre circle of tori). Faces of one axis and
radius become pieces: stretches without a gap. Halves, quarters, and what holes and slots leave
of a face all fall together again, since only their extent along the axis counts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import atan2, cos, pi, radians, sin, sqrt, tan, tau

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec, along, any_normal, cross, dot, norm, scale, sub
from converter.importers.solids.faces import CONE, CYLINDER, TORUS, Patch, SolidBody
from converter.tolerances import Tolerances

#: A cone that changes its diameter by less than this part over its length, on a slope below `SLIGHT`, is a tube.
TAPER = 0.2
SLIGHT = 0.1
#: Fraction of a turn below which a stretch of cylinder is the corner of something else.
ROUND = 200.0 / 360.0


@dataclass(slots=True)
class Axis:
    """A line, or a ring of radius ``major`` about ``direction``; ``x`` and ``y`` are where ring angles start."""

    point: Vec
    direction: Vec
    major: float
    x: Vec
    y: Vec
    number: int

    @property
    def is_ring(self) -> bool:
        """Whether it is the centre circle of tori."""
        return self.major > 0.0

    def at(self, t: float) -> Vec:
        """The point at ``t``: mm along a line, radians around a ring."""
        if self.major == 0.0:
            return along(self.point, self.direction, t)
        return along(along(self.point, self.x, self.major * cos(t)), self.y, self.major * sin(t))

    def heading(self, t: float) -> Vec:
        """Unit tangent at ``t``, towards larger t."""
        if self.major == 0.0:
            return self.direction
        return along(scale(self.x, -sin(t)), self.y, cos(t))

    def place(self, p: Vec) -> float:
        """``t`` of the point of the axis nearest to p."""
        arm = sub(p, self.point)
        if self.major == 0.0:
            return dot(arm, self.direction)
        return atan2(dot(arm, self.y), dot(arm, self.x))

    def places(self, p: Array) -> Array:
        """As `place`, for points (n, 3)."""
        arm = p - np.array(self.point)
        if self.major == 0.0:
            found: Array = arm @ np.array(self.direction)
        else:
            found = np.arctan2(arm @ np.array(self.y), arm @ np.array(self.x))
        return found

    def around(self, p: Array) -> Array:
        """Angles in radians of points (n, 3) around the axis, right-hand positive about its heading."""
        arm = p - np.array(self.point)
        if self.major == 0.0:
            around: Array = np.arctan2(arm @ np.array(self.y), arm @ np.array(self.x))
            return around
        height = arm @ np.array(self.direction)
        flat = np.hypot(arm @ np.array(self.x), arm @ np.array(self.y))
        # outward x direction = -heading: so the angle from outward runs against the axis
        around = np.arctan2(-height, flat - self.major)
        return around


@dataclass(slots=True, eq=False)
class TubePiece:
    """A stretch of tube surface on one axis.

    Attributes:
        axis, radius: of the surface.
        lo, hi: extent along the axis (mm or radians, lo < hi).
        patches: its faces.
        sign: +1 when its faces look away from the axis, -1 when towards it (by the larger part).
        turn: how much of the way around is there, radians (2 pi: all).
        bore: the piece that is its inside, or None.
        inside: whether it is another one's bore.
    """

    axis: Axis
    radius: float
    lo: float
    hi: float
    patches: list[Patch]
    sign: int = 1
    turn: float = tau
    bore: TubePiece | None = None
    inside: bool = False

    @property
    def length(self) -> float:
        """Along the centerline, mm."""
        return (self.hi - self.lo) * (self.axis.major or 1.0)

    @property
    def is_round(self) -> bool:
        """Whether enough of the way around is there to be a tube."""
        return self.turn >= ROUND * tau

    @property
    def is_full_ring(self) -> bool:
        """A whole torus."""
        return self.axis.is_ring and self.hi - self.lo > tau - 1e-6

    def end(self, side: int) -> float:
        """``t`` at side 0 (lo) or 1 (hi)."""
        return self.hi if side else self.lo

    def station(self, side: int) -> tuple[Vec, Vec]:
        """Centerline point and outward direction at side 0 or 1."""
        t = self.end(side)
        heading = self.axis.heading(t)
        return self.axis.at(t), heading if side else scale(heading, -1.0)


@dataclass(slots=True)
class FacePieces:
    """The pieces of a body and, for each face, the number of its axis (-1: none)."""

    pieces: list[TubePiece]
    axes: list[Axis]
    axis_of: list[int]
    refused: list[str] = field(default_factory=list)


def pieces_of(body: SolidBody, tol: Tolerances, oriented: bool = False) -> FacePieces:
    """Group the faces of a body.

    Args:
        body: faces as primitives; slightly conical ones are turned into cylinders of mean radius here.
        oriented: whether faces look out of metal, so that an outside and a bore of its size are never one.
        tol: ``fit`` tells axes and radii apart, ``join`` closes gaps along an axis.
    """
    axes: list[Axis] = []
    axis_of = [-1] * len(body.patches)
    stretches: list[list[tuple[float, float, Patch]]] = []
    order = sorted(
        (p for p in body.patches if p.shape.kind in (CYLINDER, TORUS, CONE)),
        key=lambda p: (p.shape.residual, p.index),
    )
    for patch in order:
        if patch.shape.kind == TORUS:
            number = _ring(axes, patch, tol)
        else:
            reach = _reach(body, patch)
            if patch.shape.kind == CONE and not _flatten(patch, reach):
                continue
            number = _line(axes, patch, reach, tol)
        if number < 0:
            continue
        if number == len(stretches):
            stretches.append([])
        axis_of[patch.index] = number
        axis = axes[number]
        if axis.is_ring:
            lo, hi = _ring_range(axis, patch)
        else:
            lo, hi = _line_range(axis, patch, reach)
        stretches[number].append((lo, hi, patch))
    pieces: list[TubePiece] = []
    for axis, own in zip(axes, stretches, strict=True):
        sides = [[one for one in own if one[2].sign == sign] for sign in (1, -1)] if oriented else [own]
        for group in (group for side in sides for group in _by_radius(side, tol)):
            pieces += _merged(axis, group, tol)
    return FacePieces(pieces, axes, axis_of)


def _reach(body: SolidBody, patch: Patch) -> tuple[float, float]:
    """Extent of a face along its own axis, by its edges."""
    rows = [body.rims[number].points for number, _ in patch.rims]
    points = np.concatenate(rows) if rows else np.empty((0, 3))
    if not len(points):
        return patch.v
    z = (points - np.array(patch.shape.point)) @ np.array(patch.shape.axis)
    return float(z.min()), float(z.max())


def _flatten(patch: Patch, reach: tuple[float, float]) -> bool:
    """Turn a slight cone into a cylinder of its mean radius; False when it is a real cone."""
    shape = patch.shape
    k = tan(shape.slope)
    radii = [shape.radius + k * z for z in reach]
    mean = (radii[0] + radii[1]) / 2.0
    if abs(k) > SLIGHT or abs(radii[1] - radii[0]) > TAPER * mean or mean <= 0.0:
        return False
    shape.kind, shape.radius, shape.slope = CYLINDER, mean, 0.0
    shape.taper = 2.0 * (radii[1] - radii[0])
    return True


def _line(axes: list[Axis], patch: Patch, reach: tuple[float, float], tol: Tolerances) -> int:
    shape = patch.shape
    a, b = along(shape.point, shape.axis, reach[0]), along(shape.point, shape.axis, reach[1])
    slack = tol.fit + shape.residual
    d = shape.axis
    # two short straights beside a slight bend lie close, too: the direction tells them apart
    lean = radians(tol.tangent) / 2.0 + 4.0 * shape.residual / max(reach[1] - reach[0], tol.fit)
    for axis in axes:
        if axis.major == 0.0 and _off(axis, a) <= slack and _off(axis, b) <= slack:
            turned = cross(axis.direction, d)
            if dot(turned, turned) <= lean * lean:
                return axis.number
    x = any_normal(d)
    axes.append(Axis(a, d, 0.0, x, cross(d, x), len(axes)))
    return len(axes) - 1


def _off(axis: Axis, p: Vec) -> float:
    arm = sub(p, axis.point)
    k = dot(arm, axis.direction)
    return sqrt(max(0.0, dot(arm, arm) - k * k))


def _ring(axes: list[Axis], patch: Patch, tol: Tolerances) -> int:
    shape = patch.shape
    if shape.major <= shape.radius * 0.5:
        return -1
    slack = tol.fit + shape.residual
    for axis in axes:
        if (
            axis.major > 0.0
            and abs(axis.major - shape.major) <= slack
            and norm(sub(axis.point, shape.point)) <= slack
            and norm(cross(axis.direction, shape.axis)) * shape.major <= slack
        ):
            return axis.number
    d = shape.axis
    x = patch.x
    axes.append(Axis(shape.point, d, shape.major, x, cross(d, x), len(axes)))
    return len(axes) - 1


def _line_range(axis: Axis, patch: Patch, reach: tuple[float, float]) -> tuple[float, float]:
    shape = patch.shape
    ends = [dot(sub(along(shape.point, shape.axis, z), axis.point), axis.direction) for z in reach]
    return min(ends), max(ends)


def _ring_range(axis: Axis, patch: Patch) -> tuple[float, float]:
    start = atan2(dot(patch.x, axis.y), dot(patch.x, axis.x))
    lo, hi = patch.u
    if dot(patch.shape.axis, axis.direction) < 0.0:
        lo, hi = -hi, -lo
    return start + lo, start + hi


def _by_radius(own: list[tuple[float, float, Patch]], tol: Tolerances) -> list[list[tuple[float, float, Patch]]]:
    groups: list[tuple[float, list[tuple[float, float, Patch]]]] = []
    for one in own:
        radius = one[2].shape.radius
        slack = tol.fit + one[2].shape.residual
        for mean, group in groups:
            if abs(mean - radius) <= slack:
                group.append(one)
                break
        else:
            groups.append((radius, [one]))
    return [group for _, group in groups]


def _merged(axis: Axis, own: list[tuple[float, float, Patch]], tol: Tolerances) -> list[TubePiece]:
    ring = axis.is_ring
    gap = tol.join / axis.major if ring else tol.join
    if ring:
        own = [_wound(lo, hi, patch) for lo, hi, patch in own]
    own = sorted(own, key=lambda one: (one[0], one[2].index))
    runs: list[list[tuple[float, float, Patch]]] = []
    high = 0.0
    for one in own:
        if runs and one[0] <= high + gap:
            runs[-1].append(one)
            high = max(high, one[1])
        else:
            runs.append([one])
            high = one[1]
    if ring and len(runs) > 1:
        # the last may run on into the first, past a full turn
        last, first = runs[-1], runs[0]
        if max(hi for _, hi, _ in last) >= first[0][0] + tau - gap:
            runs = [last + [(lo + tau, hi + tau, p) for lo, hi, p in first], *runs[1:-1]]
    return [_piece(axis, one) for one in runs]


def _wound(lo: float, hi: float, patch: Patch) -> tuple[float, float, Patch]:
    """A ring stretch with its start brought into [0, 2 pi)."""
    start = lo % tau
    if tau - start < 1e-9:
        start = 0.0
    return start, start + (hi - lo), patch


def _piece(axis: Axis, own: list[tuple[float, float, Patch]]) -> TubePiece:
    lo, hi = min(a for a, _, _ in own), max(b for _, b, _ in own)
    if axis.is_ring:
        hi = min(hi, lo + tau)
    areas = [(b - a) * _width(axis, p) for a, b, p in own]
    total = sum(areas)
    facing = sum(area * p.sign for area, (_, _, p) in zip(areas, own, strict=True))
    turn = min(tau, total / (hi - lo)) if hi > lo else 0.0
    main = max(zip(areas, own, strict=True), key=lambda one: (-one[1][2].shape.residual, one[0]))[1][2]
    return TubePiece(axis, main.shape.radius, lo, hi, [p for _, _, p in own], 1 if facing >= 0.0 else -1, turn)


def _width(axis: Axis, patch: Patch) -> float:
    around = patch.v if axis.is_ring else patch.u
    return min(around[1] - around[0], tau)


def overlap(a: TubePiece, b: TubePiece) -> float:
    """How much of their common axis two pieces share (in t)."""
    if a.axis.is_ring:
        turns = (-tau, 0.0, tau)
        return max(min(a.hi, b.hi + k) - max(a.lo, b.lo + k) for k in turns)
    return min(a.hi, b.hi) - max(a.lo, b.lo)


def near_angle(t: float, to: float) -> float:
    """``t`` moved by whole turns to lie within half a turn of ``to``."""
    return to + pi - (pi - (t - to)) % tau
