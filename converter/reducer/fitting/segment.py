"""Splitting a row of vertices into the fewest straights and arcs.

A vertex row is what lies between exact arcs: polylines, tessellated arcs, samples of splines.
The longest straight or arc that holds from each vertex is taken in turn. Its reach is found by
doubling and halving over a thinned set of the vertices and then proved on all of them, so a
million vertices cost a few passes, not a search.

The tolerance is climbed like a ladder: data that is exact to 1e-5 mm is split at 1e-5 mm, so
that tangent points fall where they were drawn; only noisy data is split at the full fit
tolerance. A chain of chords counts as an arc on evidence (enough chords, small equal turns,
half a turn at each end); otherwise its vertices stay sharp corners to be bent.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import atan2, degrees, hypot, radians, sin

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array
from converter.geometry.circles import arc_test, crossed, fit_circle, line_residual
from converter.reducer.limits import LADDER_EXACT, MOST_PIECES, MOST_TURN_TANGENT, too_many_pieces

LADDER = (LADDER_EXACT, 2e-4, 2e-3, 1e-2)  #: mm; below the fit tolerance, which is the last rung
WIDEST = 0.05  #: mm; data is exact where it needs about as few arcs at this tolerance
THIN = 40  #: vertices looked at while searching
MOST_TURN = 22.6  #: degrees per vertex of a tessellated arc without further evidence (16 chords a circle)
FEW_TURN = 15.1  #: degrees per vertex of a one-chord arc beside arcs that are certain


@dataclass(frozen=True, slots=True)
class Span:
    """Vertices first..last lie on one straight or one arc.

    Attributes:
        kind: 'line' or 'arc'.
        first, last: vertex indices, first < last.
        tangent: for an arc of one or two chords: it is tangent to the straights beside it and
            is to be built from them.
    """

    kind: str
    first: int
    last: int
    tangent: bool = False


@dataclass(frozen=True, slots=True)
class SpanSplit:
    """The spans of a vertex row in order, and the tolerance (mm) of the rung that found them."""

    spans: tuple[Span, ...]
    level: float


def split(points: Array, fit: float, smooth: NDArray[np.bool_] | None = None) -> SpanSplit:
    """Split a row of vertices (n, 3), n >= 2, consecutive ones different, in mm.

    Args:
        points: the vertices in order.
        fit: the greatest distance in mm a vertex may lie from its straight or arc.
        smooth: (n - 1,) true for chords between samples of a smooth curve, which need no
            evidence of being tessellated.

    Returns:
        spans that follow each other: the last vertex of one is the first of the next.
    """
    n = len(points)
    if n == 2:
        return SpanSplit((Span("line", 0, 1),), 0.0)
    points = points - points[0]
    turns = turn_angles(points)
    if smooth is None and float(turns.min()) > MOST_TURN_TANGENT:
        return SpanSplit(tuple(Span("line", i, i + 1) for i in range(n - 1)), 0.0)
    best = _climb(points, fit)
    return SpanSplit(_judge(points, turns, _merged(points, best, fit), smooth, best.level), best.level)


def fewest_arcs(points: Array, fit: float) -> int:
    """How many arcs a row of vertices (n, 3) takes within so many mm, each as long as it can be."""
    spans = _greedy(points - points[0], fit, MOST_PIECES)
    return MOST_PIECES if spans is None else sum(span.kind == "arc" for span in spans)


def _climb(points: Array, fit: float) -> SpanSplit:
    """The tightest rung that needs hardly more spans than the fit tolerance itself.

    Raises:
        GeometryError: even that one needs more than a tube has pieces.
    """
    rungs = [*(r for r in LADDER if r < fit), fit]
    first = _greedy(points, rungs[0], min(len(points) // 4, MOST_PIECES))
    if first is not None:
        return SpanSplit(first, rungs[0])  # many vertices, few spans: the data is exact
    loosest = _greedy(points, fit, MOST_PIECES)
    if loosest is None:
        raise too_many_pieces()
    best = SpanSplit(loosest, fit)
    for rung in reversed(rungs[:-1]):
        spans = _greedy(points, rung, int(1.2 * len(best.spans) + 1))
        if spans is None:
            break
        best = SpanSplit(spans, rung)
    return best


def _merged(points: Array, found: SpanSplit, fit: float) -> tuple[Span, ...]:
    """Neighbours that noise just above the rung split in two, put together: straights, and arcs of one circle."""
    eps = min(fit, 4.0 * found.level)
    out: list[Span] = []
    for span in found.spans:
        joined = span
        while out:
            whole = points[out[-1].first : joined.last + 1]
            if line_residual(whole) <= eps:
                joined = Span("line", out[-1].first, joined.last)
            elif joined.kind == "arc" == out[-1].kind and arc_test(whole, eps):
                joined = Span("arc", out[-1].first, joined.last)
            else:
                break
            out.pop()
        out.append(joined)
    return tuple(out)


def turn_angles(points: Array) -> Array:
    """The turn in degrees at each inner vertex of points (n, 3): shape (n - 2,)."""
    d = np.diff(points, axis=0)
    a, b = d[:-1], d[1:]
    across = crossed(a, b)
    turns: Array = np.degrees(np.arctan2(np.sqrt((across * across).sum(axis=1)), (a * b).sum(axis=1)))
    return turns


def _greedy(points: Array, eps: float, most: int) -> tuple[Span, ...] | None:
    """The longest straight or arc from each vertex in turn; None when more than ``most`` are needed."""
    spans: list[Span] = []
    i, last = 0, len(points) - 1
    hints = _same_bend(points)

    def on_line(a: int, b: int, thin: bool) -> bool:
        return b - a < 2 or line_residual(_pick(points, a, b, thin)) <= eps

    def on_arc(a: int, b: int, thin: bool) -> bool:
        return b - a < 3 or arc_test(_pick(points, a, b, thin), eps)

    while i < last:
        if len(spans) >= most:
            return None
        line = _reach(i, last, on_line, hints)
        if line == last:
            spans.append(Span("line", i, last))
            break
        arc = _reach(i, last, on_arc, hints)
        if arc - i >= 3 and arc > line and _path(points, i, line) <= 0.5 * _path(points, i, arc):
            spans.append(Span("arc", i, arc))
            i = arc
        else:
            spans.append(Span("line", i, line))
            i = line
    return tuple(spans)


def _same_bend(points: Array) -> NDArray[np.intp]:
    """For each vertex the last one up to which the vertices in between bend alike: a hint, never a proof.

    The bend at a vertex is the curvature vector of the circle through it and its neighbours:
    2 a x b / (|a| |b| |a + b|) for the chords a, b that meet there (Menger curvature).
    """
    d = np.diff(points, axis=0)
    a, b = d[:-1], d[1:]
    both = a + b
    k = crossed(a, b)
    size = np.sqrt(np.einsum("ij,ij->i", a, a) * np.einsum("ij,ij->i", b, b) * np.einsum("ij,ij->i", both, both))
    k *= (2.0 / np.where(size > 0.0, size, 1.0))[:, None]
    change = np.diff(k, axis=0)
    large = np.einsum("ij,ij->i", change, change) > 1e-6 * np.einsum("ij,ij->i", k[:-1], k[:-1]) + 1e-18
    breaks = np.append(np.flatnonzero(large) + 1, len(points) - 2)  # inner vertices after which it changes
    inner = np.arange(1, len(points) - 1)
    ends = breaks[np.searchsorted(breaks, inner)] + 1
    return np.append(ends, [len(points) - 1] * 2)


def _reach(i: int, last: int, holds: Callable[[int, int, bool], bool], hints: NDArray[np.intp]) -> int:
    """The furthest vertex j up to which ``holds`` from i, found on thinned vertices, proved on all."""
    good, step = i + 1, 2
    bad = last + 1
    hint = int(hints[i])
    if hint > good and holds(i, hint, True):
        good = hint
        step = 2 * (hint - i)
        if hint < last and not holds(i, hint + 1, True):
            bad = hint + 1
    while good < last and bad > last:
        j = min(i + step, last)
        if holds(i, j, True):
            good = j
            step *= 2
        else:
            bad = j
    good = _between(i, good, bad, holds, True)
    if good - i <= THIN or holds(i, good, False):
        return good
    # the thinned vertices missed something in between, mostly close to the end: back off, then close in
    bad, back = good, 1
    while good > i + 1 and not holds(i, good, False):
        bad, good = good, max(i + 1, good - back)
        back *= 2
    return _between(i, good, bad, holds, False)


def _between(i: int, good: int, bad: int, holds: Callable[[int, int, bool], bool], thin: bool) -> int:
    while bad - good > 1:
        mid = (good + bad) // 2
        if holds(i, mid, thin):
            good = mid
        else:
            bad = mid
    return good


def _pick(points: Array, a: int, b: int, thin: bool) -> Array:
    if not thin or b - a <= THIN:
        return points[a : b + 1]
    index = np.linspace(a, b, THIN + 1).astype(np.intp)
    picked: Array = points[index]
    return picked


def _path(points: Array, a: int, b: int) -> float:
    d = np.diff(points[a : b + 1], axis=0)
    return float(np.sqrt((d * d).sum(axis=1)).sum())


# --- evidence -----------------------------------------------------------------------------


def _judge(
    points: Array, turns: Array, spans: tuple[Span, ...], smooth: NDArray[np.bool_] | None, eps: float
) -> tuple[Span, ...]:
    """Keep arcs that the vertices speak for, break the others into their chords, find the short ones."""
    out: list[Span] = []
    step = 0.0  # the coarsest turn per chord among the arcs that are certain
    ends = [_end_directions(points, s) for s in spans]
    for k, span in enumerate(spans):
        if span.kind == "line":
            out.append(span)
            continue
        is_smooth = smooth is not None and bool(smooth[span.first : span.last].all())
        before = ends[k - 1][1] if k > 0 else None
        after = ends[k + 1][0] if k + 1 < len(spans) else None
        if is_smooth or _is_tessellated(points, turns, span, (before, *ends[k], after), eps):
            out.append(span)
            step = max(step, float(np.median(turns[span.first : span.last - 1])))
        else:
            out.extend(Span("line", v, v + 1) for v in range(span.first, span.last))
    return _short_arcs(points, turns, out, step, eps)


def _end_directions(points: Array, span: Span) -> tuple[Array, Array]:
    """Directions of travel at the first and the last vertex of a span: of its chord, or of its circle."""
    if span.kind == "line":
        d = points[span.last] - points[span.first]
        return d, d
    circle = fit_circle(_pick(points, span.first, span.last, True))
    if circle is None:
        d = points[span.last] - points[span.first]
        return d, d
    n, c = np.array(circle.normal), np.array(circle.center)
    return np.cross(n, points[span.first] - c), np.cross(n, points[span.last] - c)


def _is_tessellated(
    points: Array,
    turns: Array,
    span: Span,
    directions: tuple[Array | None, Array, Array, Array | None],
    eps: float,
) -> bool:
    inner = turns[span.first : span.last - 1]  # turn at vertex v is turns[v - 1]
    top, typical = float(inner.max()), float(np.median(inner))
    chords = span.last - span.first
    if chords >= 6 and top <= FEW_TURN:
        return True
    lengths = np.sqrt((np.diff(points[span.first : span.last + 1], axis=0) ** 2).sum(axis=1))
    before, first, last, after = directions
    noise = degrees(2.0 * eps / float(lengths.min()))
    met = [
        _angle(a, b) <= max(0.02 * typical, 1e-3) + noise
        for a, b in ((before, first), (last, after))
        if a is not None and b is not None
    ]
    tangent_ends = bool(met) and all(met)
    limit = MOST_TURN_TANGENT if tangent_ends else MOST_TURN
    if chords >= 6:
        return top <= limit
    slack = 1.05 + 4.0 * eps / float(lengths.min())
    even = float(lengths.max()) <= slack * float(lengths.min())
    if chords >= 4:
        # inner chords alike: that free corners should lie on one circle is a coincidence from here on
        inner_even = float(lengths[1:-1].max()) <= slack * float(lengths[1:-1].min())
        return (even or inner_even) and top <= limit
    # three chords: every isosceles trapezium lies on a circle, so more must speak for it
    return even and tangent_ends and top <= limit


def _angle(a: Array, b: Array) -> float:
    c = np.cross(a, b)
    return degrees(atan2(float(np.sqrt(c @ c)), float(a @ b)))


def _near_half(turn: float, full: float, noise: float) -> bool:
    return abs(turn - full / 2.0) <= max(0.02 * full, 1e-3) + noise


def _short_arcs(points: Array, turns: Array, spans: list[Span], step: float, eps: float) -> tuple[Span, ...]:
    """Arcs of two chords (turns half, whole, half) and, beside certain arcs, of one (two equal turns).

    ``step`` is the coarsest turn per chord of the certain arcs in the same row, 0 for none.
    """
    out: list[Span] = []
    k = 0
    tolerance = max(eps, 1e-5)
    while k < len(spans):
        taken = 0
        if k > 0 and spans[k].kind == "line" and out[-1].kind == "line":
            for count in (2, 1) if step else (2,):
                if k + count < len(spans) and all(s.kind == "line" for s in spans[k : k + count + 1]):
                    a, b = spans[k].first, spans[k + count - 1].last
                    if b - a == count and _tangent_chords(points, turns, a, b, step, tolerance):
                        taken = count
                        break
        if taken:
            out.append(Span("arc", spans[k].first, spans[k + taken - 1].last, tangent=True))
            k += taken
        else:
            out.append(spans[k])
            k += 1
    return tuple(out)


def _tangent_chords(points: Array, turns: Array, a: int, b: int, step: float, tolerance: float) -> bool:
    """Whether chords a..b are a tangent arc between the straights before a and after b."""
    ends = (float(turns[a - 1]), float(turns[b - 1]))
    chords = np.diff(points[a - 1 : b + 2], axis=0)
    lengths = np.sqrt((chords * chords).sum(axis=1))
    inner = lengths[1:-1]
    if abs(float(inner.max()) - float(inner.min())) > 0.02 * float(inner.max()):
        return False
    if b - a == 2:
        whole = float(turns[a])
        noise = degrees(2.0 * tolerance / float(inner.min()))
        if not (all(_near_half(t, whole, noise) for t in ends) and whole <= MOST_TURN_TANGENT):
            return False
    else:
        whole = sum(ends)
        # one chord looks like two slight corners: only beside arcs drawn as coarsely or coarser
        if abs(ends[0] - ends[1]) > max(0.02 * whole, 1e-3) or whole > min(FEW_TURN, 1.05 * step):
            return False
    if whole <= 0.0:
        return False
    # all in one plane and turning one way
    normals = np.cross(chords[:-1], chords[1:])
    size = np.sqrt((normals * normals).sum(axis=1))
    if float(size.min()) == 0.0:
        return False
    normals = normals / size[:, None]
    slack = hypot(tolerance / float(inner.min()), 1e-6) / sin(radians(whole / 2.0))
    return float((normals[1:] @ normals[0]).min()) >= 1.0 - min(0.01, slack * slack)
