"""The pieces of a chain of drawn curves: exact arcs as drawn, and what stands for the rows of vertices between them.

A row is divided by `segment` where it is exact, and where the vertices tell corners; else it becomes tangent chains of
as few pieces as stay within the fit tolerance (`tangent_row`).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import asin, cos, degrees, radians, sin, sqrt

import numpy as np

from converter.arrays import Array, Flags, Index
from converter.geometry.circles import radius_uncertainty, vec
from converter.geometry.vectors import (
    add,
    along,
    angle_between,
    cross,
    distance,
    dot,
    norm,
    scale,
    sub,
    unit,
)
from converter.model.curve import Arc, Curve, Ellipse, Line, Path, Polyline
from converter.model.drawing import DrawnCurve
from converter.reducer.fitting.dense import telling_vertices
from converter.reducer.fitting.follow import TangentChain
from converter.reducer.fitting.segment import WIDEST, Span, fewest_arcs, split, turn_angles
from converter.reducer.fitting.tangent_row import tangent_rows
from converter.reducer.limits import LADDER_EXACT, MOST_PIECES
from converter.reducer.pieces import Bow, Piece, Straight, bow_through, exact_bows, straight_through
from converter.reducer.sample import ellipse_as_arc, sample_ellipse, sample_spline
from converter.tolerances import Tolerances

SAME_CHORD = 1.2  #: times an arc's longest chord and sharpest turn that a chord left beside it may have


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


def pieces_of(
    items: Iterable[tuple[DrawnCurve, bool]],
    tol: Tolerances,
    closed: bool = False,
    radii: Sequence[float] = (),
    most_pieces: int = MOST_PIECES,
) -> list[Piece]:
    """The pieces of a chain in order.

    Args:
        items: drawn curves in order with whether each is run backward.
        tol: join and fit tolerances in mm.
        closed: whether the chain is a loop; where it begins is then of no account.
        radii: mm, of the shop's dies, preferred among fitted ones that agree with them.
        most_pieces: no tangent chain of more straights and arcs is looked for in a row of vertices.

    Returns:
        At least one, unless every curve is a point.
    """
    out: list[Piece] = []
    row = _Row([], [], [])
    for index, (drawn, backward) in enumerate(items):
        curve = drawn.curve.reversed() if backward else drawn.curve
        for part in _parts(curve, tol):
            if isinstance(part, Arc):
                _flush(row, out, tol, radii, most_pieces)
                out.extend(exact_bows(part, index))
            else:
                points, smooth = part
                row.add(points, smooth, index, tol.join)
    _flush(row, out, tol, radii, most_pieces, closed and not out)
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


def _flush(
    row: _Row, out: list[Piece], tol: Tolerances, radii: Sequence[float], most_pieces: int, closed: bool = False
) -> None:
    if not row.points:
        return
    points, smooth, items = row.take(closed)
    if len(points) < 2:
        return
    if not smooth.any() and len(telling_vertices(points, tol.fit)) < len(points):
        fitted = _tangent_pieces(points, smooth, items, tol.fit, radii, most_pieces, closed)
        if fitted:
            out.extend(fitted)
            return
    spans = split(points, tol.fit, smooth if smooth.any() else None)
    bows = sum(span.kind == "arc" for span in spans.spans)
    exact = spans.level <= LADDER_EXACT
    if smooth.any():  # a corner beside a smooth curve may be no more than the end of an arc that does not quite fit
        bows = _bends_of_spans(spans.spans)
    left = exact and not smooth.any() and _chord_is_left(points, spans.spans)
    if (bows or (smooth.any() and len(spans.spans) > 1)) and (
        left or not (exact and bows <= fewest_arcs(points, WIDEST))
    ):
        wide = WIDEST if exact and not left else tol.fit
        fitted = _tangent_pieces(points, smooth, items, wide, radii, most_pieces, closed)
        if left:
            fitted = fitted if _bends_of(fitted) < _bends_of_spans(spans.spans) else []
        elif fitted and exact and _is_as_drawn(bows, fitted):
            fitted = []
        elif fitted and exact and tol.fit != WIDEST:
            fitted = _tangent_pieces(points, smooth, items, tol.fit, radii, most_pieces, closed)
        if fitted and (smooth.any() or _bends_of(fitted) <= _bends_of_spans(spans.spans)):
            out.extend(fitted)
            return
    for k, span in enumerate(spans.spans):
        item = int(items[span.first])
        if span.kind == "line":
            out.append(_straight(points, spans.spans, k, spans.level, item))
        elif span.tangent:
            out.append(_tangent_bow(points, span, spans.level, item))
        else:
            free = bool(smooth[span.first : span.last].all())
            out.extend(_fitted_bow(points, spans.spans, k, spans.level, item, free))


def _chord_is_left(points: Array, spans: Sequence[Span]) -> bool:
    """Whether the first or last chord of an arc lies beside it as a straight of its own.

    So it comes where gaps were closed: inside the arc every vertex is moved alike, and lies on a circle still, the one
    where it meets the straight is not. Such a chord is as long as its neighbours and turns no more than they do.
    """
    for k, chord in enumerate(spans):
        if chord.kind != "line" or chord.last - chord.first != 1:
            continue
        for arc, other in ((k - 1, k + 1), (k + 1, k - 1)):
            if not 0 <= arc < len(spans) or spans[arc].kind != "arc" or spans[arc].last - spans[arc].first < 3:
                continue
            if 0 <= other < len(spans) and spans[other].kind != "line":
                continue
            inside = points[spans[arc].first : spans[arc].last + 1]
            longest = float(np.sqrt((np.diff(inside, axis=0) ** 2).sum(axis=1)).max())
            around = turn_angles(points[max(chord.first - 1, 0) : chord.last + 2])
            length = norm(vec(points[chord.last] - points[chord.first]))
            if length <= SAME_CHORD * longest and float(around.max()) <= SAME_CHORD * float(turn_angles(inside).max()):
                return True
    return False


def _bends_of_spans(spans: Sequence[Span]) -> int:
    corners = sum(a.kind == b.kind == "line" for a, b in itertools.pairwise(spans))
    return corners + sum(span.kind == "arc" for span in spans)


def _bends_of(pieces: Sequence[Piece]) -> int:
    corners = sum(isinstance(a, Straight) and isinstance(b, Straight) for a, b in itertools.pairwise(pieces))
    return corners + sum(isinstance(piece, Bow) for piece in pieces)


def _is_as_drawn(bows: int, fitted: Sequence[Piece]) -> bool:
    """Whether so many exact arcs are what was drawn, not arcs enough to follow a curve that closely.

    Arcs through a smooth curve miss it by the cube of their length: to come from the miss of the looser chain down to
    that of exact data they would have to be so many times more.
    """
    miss = max((piece.level for piece in fitted if isinstance(piece, Bow)), default=0.0)
    return bool(bows <= _bends_of(fitted) * max(1.0, 0.5 * float(miss / LADDER_EXACT) ** (1.0 / 3.0)))


def _tangent_pieces(
    points: Array, smooth: Flags, items: Index, fit: float, radii: Sequence[float], most_pieces: int, closed: bool
) -> list[Piece]:
    """The pieces of a row as tangent chains from sharp corner to sharp corner; none where it has no such chains."""
    rows = tangent_rows(points, smooth, fit, radii, most_pieces)
    if rows and closed and len(rows) == 1:  # a loop begins in the middle of its longest straight
        at = _middle_of_longest(rows[0].chain)
        if at is not None:
            around = np.concatenate((points[at:-1], points[: at + 1]))
            smooth, items = np.roll(smooth, -at), np.roll(items, -at)
            points = around
            rows = tangent_rows(points, smooth, fit, radii, most_pieces)
    out: list[Piece] = []
    for row in rows or ():
        chain = row.chain
        for k, segment in enumerate(chain.segments):
            if segment is None:
                continue
            first = row.first + chain.breaks[k]
            proof = points[first : row.first + chain.breaks[k + 1] + 1]
            item = int(items[min((first + row.first + chain.breaks[k + 1]) // 2, len(items) - 1)])
            if not isinstance(segment, Arc):
                out.append(Straight(segment.start, segment.end, unit(sub(segment.end, segment.start)), proof, item))
                continue
            bend = chain.places[k][1]
            alone = row.alone[bend]
            arc = replace(segment, radius=chain.table.bends[bend].clr or segment.radius)
            free = bool(smooth[first : row.first + chain.breaks[k + 1]].any())
            out.append(
                Bow(
                    arc,
                    False,
                    row.loose[bend],
                    chain.miss,
                    proof,
                    item,
                    free,
                    tangent=True,
                    doubtful=bend in row.free,
                    scattered=chain.scattered,
                    alone=alone if alone != arc.radius else 0.0,
                )
            )
    return out


def _middle_of_longest(chain: TangentChain) -> int | None:
    """The vertex nearest the middle of the longest straight that has one inside; None without one."""
    best: tuple[float, int] | None = None
    for k, segment in enumerate(chain.segments):
        first, last = chain.breaks[k], chain.breaks[k + 1]
        if isinstance(segment, Line) and last - first > 2:
            best = max(best or (0.0, 0), (distance(segment.start, segment.end), (first + last) // 2))
    return best[1] if best else None


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
    return straight_through(proof, _core(points, spans, k, level), item)


def _fitted_bow(points: Array, spans: tuple[Span, ...], k: int, level: float, item: int, free: bool) -> list[Piece]:
    span = spans[k]
    return bow_through(points[span.first : span.last + 1], _core(points, spans, k, level), level, item, free)


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
