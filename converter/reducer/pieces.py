"""From a chain of drawn curves to its pieces: straights and bows, as drawn or as fitted.

Pieces follow each other but need not meet or be tangent exactly: that is settled later.
Exact arcs stay as they were drawn. Everything between them is a row of vertices, which
`segment.split` divides; its pieces carry the vertices they stand for, as the proof.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import asin, cos, degrees, radians, sin, sqrt

import numpy as np
from numpy.typing import NDArray

from converter.geometry.circles import fit_circle, fit_line, radius_uncertainty, vec
from converter.geometry.vectors import (
    Vec,
    add,
    along,
    angle_between,
    cross,
    distance,
    dot,
    norm,
    scale,
    signed_angle,
    sub,
    unit,
)
from converter.model.curve import Arc, Curve, Ellipse, Line, Path, Polyline
from converter.model.drawing import DrawnCurve
from converter.reducer.limits import LADDER_EXACT
from converter.reducer.sample import ellipse_as_arc, sample_ellipse, sample_spline
from converter.reducer.segment import Span, split, turn_angles
from converter.tolerances import Tolerances

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight piece from p to q along the unit vector d.

    Attributes:
        proof: (n, 3) vertices it stands for.
        item: index of the drawn curve it comes from.
    """

    p: Vec
    q: Vec
    d: Vec
    proof: Array
    item: int

    @property
    def length(self) -> float:
        """Length in mm along d."""
        return dot(sub(self.q, self.p), self.d)


@dataclass(frozen=True, slots=True, eq=False)
class Bow:
    """A circular piece.

    Attributes:
        arc: the circle, its ends and its angle.
        exact: drawn as an arc; False when fitted.
        uncertainty: +- mm of the radius; 0 when exact.
        level: tolerance in mm of the rung that found it; 0 when exact.
        proof: (n, 3) vertices it stands for.
        item: index of the drawn curve it comes from.
        free: comes from an ellipse or spline, that is from no tessellation.
    """

    arc: Arc
    exact: bool
    uncertainty: float
    level: float
    proof: Array
    item: int
    free: bool = False


Piece = Straight | Bow

ENOUGH = 3000  #: vertices a circle is fitted to; more change nothing


@dataclass(slots=True)
class _Row:
    """Vertices between exact arcs, with what each chord comes from."""

    points: list[Array]
    smooth: list[Flags]
    items: list[Index]

    def add(self, points: Array, smooth: bool, item: int, join: float) -> None:
        """Append a stretch; a gap to the row so far is closed in the middle or at the corner."""
        if self.points and (self.points[-1][-1] != points[0]).any():
            corner = _corner(self.points[-1], points, join)
            last, points = self.points[-1].copy(), points.copy()
            last[-1] = corner
            points[0] = corner
            self.points[-1] = last
        # a stretch after the first brings a chord of no length with it, which is dropped later
        chords = len(points) - (1 if not self.points else 0)
        self.points.append(points)
        self.smooth.append(np.full(chords, smooth))
        self.items.append(np.full(chords, item, np.intp))

    def take(self, closed: bool) -> tuple[Array, Flags, Index]:
        """The vertices (n, 3) without repeats, and per chord whether it is smooth and its item; the row is empty then.

        A closed row comes rolled to start where an arc cannot: at its longest chord, or its sharpest
        vertex where all chords are alike.
        """
        points, smooth, items = np.concatenate(self.points), np.concatenate(self.smooth), np.concatenate(self.items)
        self.points, self.smooth, self.items = [], [], []
        keep = np.ones(len(points), bool)
        keep[1:] = (points[1:] != points[:-1]).any(axis=1)
        if not keep.all():
            points, smooth, items = points[keep], smooth[keep[1:]], items[keep[1:]]
        if closed and len(points) > 3:
            points = points.copy()
            points[-1] = points[0]  # a healed gap at the seam
            lengths = np.sqrt((np.diff(points, axis=0) ** 2).sum(axis=1))
            at = int(lengths.argmax())
            if lengths[at] < 1.5 * float(np.median(lengths)):
                around = np.concatenate((points[-2:-1], points))
                at = int(turn_angles(around).argmax())
            points = np.concatenate((points[at:-1], points[: at + 1]))
            smooth, items = np.roll(smooth, -at), np.roll(items, -at)
        return points, smooth, items


def pieces_of(items: Iterable[tuple[DrawnCurve, bool]], tol: Tolerances, closed: bool = False) -> list[Piece]:
    """The pieces of a chain in order.

    Args:
        items: drawn curves in order with whether each is run backward.
        tol: join and fit tolerances in mm.
        closed: whether the chain is a loop; where it begins is then of no account.

    Returns:
        At least one, unless every curve is a point.
    """
    out: list[Piece] = []
    row = _Row([], [], [])
    for index, (drawn, backward) in enumerate(items):
        curve = drawn.curve.reversed() if backward else drawn.curve
        for part in _parts(curve, tol):
            if isinstance(part, Arc):
                _flush(row, out, tol)
                out.extend(_exact(part, index))
            else:
                points, smooth = part
                row.add(points, smooth, index, tol.join)
    _flush(row, out, tol, closed and not out)
    return out


def _parts(curve: Curve, tol: Tolerances) -> list[Arc | tuple[Array, bool]]:
    if isinstance(curve, Arc):
        return [curve]
    if isinstance(curve, Line):
        return [(np.array((curve.start, curve.end), float), False)]
    if isinstance(curve, Polyline):
        return [(np.asarray(curve.points, float), False)]
    if isinstance(curve, Path):
        return [p for part in curve.parts for p in _parts(part, tol)]
    if isinstance(curve, Ellipse):
        arc = ellipse_as_arc(curve, tol.equal)
        return [arc] if arc is not None else [(sample_ellipse(curve), True)]
    return [(sample_spline(curve), curve.degree > 1)]


def _exact(arc: Arc, item: int) -> list[Piece]:
    """An arc as pieces; a full circle as two halves, since no bend turns 360 degrees."""
    halves = [arc]
    if arc.angle >= 360.0 - 1e-9:
        first = Arc.swept(arc.center, arc.normal, arc.start, 180.0)
        halves = [first, Arc(arc.center, arc.normal, arc.radius, first.end, arc.start, 180.0)]
    return [Bow(a, True, 0.0, 0.0, np.array([a.point(a.angle * k / 8.0) for k in range(9)]), item) for a in halves]


def _corner(before: Array, after: Array, join: float) -> Array:
    """Where two stretches that miss each other by a hair meet: their corner if they make one, else the middle."""
    p, q = vec(before[-1]), vec(after[0])
    middle = np.array(scale(add(p, q), 0.5))
    u, v = sub(p, vec(before[-2])), sub(vec(after[1]), q)
    if norm(u) == 0.0 or norm(v) == 0.0:
        return middle
    u, v = unit(u), unit(v)
    n = cross(u, v)
    s2 = dot(n, n)
    if s2 < 0.01:  # below 6 degrees the corner runs far away
        return middle
    w = sub(q, p)
    a = dot(cross(w, v), n) / s2
    b = dot(cross(w, u), n) / s2
    if max(abs(a), abs(b)) > 2.0 * join:
        return middle
    return np.array(scale(add(along(p, u, a), along(q, v, b)), 0.5))


def _flush(row: _Row, out: list[Piece], tol: Tolerances, closed: bool = False) -> None:
    if not row.points:
        return
    points, smooth, items = row.take(closed)
    if len(points) < 2:
        return
    found = split(points, tol.fit, smooth if smooth.any() else None)
    for k, span in enumerate(found.spans):
        item = int(items[span.first])
        if span.kind == "line":
            out.append(_straight(points, found.spans, k, found.level, item))
        elif span.tangent:
            out.append(_tangent_bow(points, span, found.level, item))
        else:
            free = bool(smooth[span.first : span.last].all())
            out.extend(_fitted_bow(points, found.spans, k, found.level, item, free))


def _core(points: Array, spans: tuple[Span, ...], k: int, level: float) -> Array:
    """The vertices of a span without those near its ends, where the reach may have overshot.

    A straight that holds within the level runs on into a bend of radius R by about
    sqrt(2 R level); the span's own size bounds what may be left out.
    """
    span = spans[k]
    whole = points[span.first : span.last + 1]
    if len(whole) < 8 or level <= LADDER_EXACT:
        return whole
    steps = np.sqrt((np.diff(whole, axis=0) ** 2).sum(axis=1))
    place = np.concatenate(([0.0], np.cumsum(steps)))
    total = float(place[-1])
    cut = min(0.2 * total, 2.0 * sqrt(level * max(total, 1.0)))
    inside = (place >= (cut if k > 0 else 0.0)) & (place <= total - (cut if k < len(spans) - 1 else 0.0))
    core: Array = whole[inside]
    return core if len(core) >= 4 else whole


def _straight(points: Array, spans: tuple[Span, ...], k: int, level: float, item: int) -> Straight:
    span = spans[k]
    proof = points[span.first : span.last + 1]
    if len(proof) == 2 or level <= LADDER_EXACT:
        p, q = vec(proof[0]), vec(proof[-1])
        return Straight(p, q, unit(sub(q, p)), proof, item)
    point, d, _ = fit_line(_core(points, spans, k, level))
    ends = [along(point, d, dot(sub(vec(e), point), d)) for e in (proof[0], proof[-1])]
    return Straight(ends[0], ends[1], d, proof, item)


def _fitted_bow(points: Array, spans: tuple[Span, ...], k: int, level: float, item: int, free: bool) -> list[Piece]:
    span = spans[k]
    return bow_through(points[span.first : span.last + 1], _core(points, spans, k, level), level, item, free)


def bow_through(proof: Array, core: Array, level: float, item: int, free: bool) -> list[Piece]:
    """The fitted bow of vertices in order.

    Args:
        proof: (n, 3) all vertices, mm.
        core: (m, 3) those the circle is fitted to.
        level: tolerance in mm they were found at.
        item: index of the drawn curve.
        free: whether they sample a free curve.

    Returns:
        One bow; two halves for a full circle; a straight where they have no circle.
    """
    circle = fit_circle(core[:: 1 + len(core) // ENOUGH]) or fit_circle(proof)
    if circle is None:  # a bow that is a line after all
        p, q = vec(proof[0]), vec(proof[-1])
        return [Straight(p, q, unit(sub(q, p)), proof, item)]
    c, n = circle.center, circle.normal
    ends = []
    for point in (vec(proof[0]), vec(proof[-1])):
        arm = sub(point, c)
        arm = unit(along(arm, n, -dot(arm, n)))
        ends.append(along(c, arm, circle.radius))
    # a row may begin and end on the same side: count the whole turn along the vertices
    arms = proof[np.linspace(0, len(proof) - 1, min(len(proof), ENOUGH)).astype(np.intp)] - np.array(c)
    x, y = arms[:-1], arms[1:]
    turned = float(np.degrees(np.arctan2(np.cross(x, y) @ np.array(n), (x * y).sum(axis=1))).sum())
    angle = signed_angle(sub(ends[0], c), sub(ends[1], c), n)
    angle += 360.0 * round((turned - angle) / 360.0)
    angle = min(max(angle, 1e-9), 360.0)
    loose = radius_uncertainty(max(circle.residual, 1e-9), radians(angle) / 2.0)
    arc = Arc(c, n, circle.radius, ends[0], ends[1], angle)
    if angle < 360.0 - 1e-6:
        return [Bow(arc, False, loose, level, proof, item, free)]
    halves = _exact(replace(arc, angle=360.0, end=ends[0]), item)
    return [
        Bow(b.arc, False, loose, level, b.proof if i else proof, item, free)
        for i, b in enumerate(halves)
        if isinstance(b, Bow)
    ]


def _tangent_bow(points: Array, span: Span, level: float, item: int) -> Bow:
    """An arc of one or two chords, built tangent to the straights beside it."""
    a, b = span.first, span.last
    t_in, t_out = unit(sub(vec(points[a]), vec(points[a - 1]))), unit(sub(vec(points[b + 1]), vec(points[b])))
    angle = angle_between(t_in, t_out)
    start, end = vec(points[a]), vec(points[b])
    chord = distance(start, end)
    half = radians(angle) / 2.0
    radius = chord / (2.0 * sin(half))
    n = unit(cross(t_in, t_out))
    middle = scale(add(start, end), 0.5)
    inward = unit(cross(n, sub(end, start)))
    center = along(middle, inward, radius * cos(half))
    swing = degrees(2.0 * asin(min(1.0, chord / (2.0 * radius))))
    arc = Arc(center, n, radius, start, end, swing)
    return Bow(arc, False, radius_uncertainty(max(level, 1e-9), half), level, points[a : b + 1], item)
