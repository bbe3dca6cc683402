"""A tangent chain of straights and arcs of a given division, as close to the vertices as it can be.

The division says how many straights and arcs there are, in which order, and about where they meet. The chain begins
with the best line and circle of each stretch, their directions shared where they meet, and is then fitted as one tube
(`polish`); vertices near a joint change sides as it moves. Where least squares leave single vertices outside a
tolerance, linear programs lower the largest miss (`minimax`).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from converter.arrays import Array, Flags
from converter.geometry.circles import vec
from converter.geometry.vectors import Vec, add, angle_between, any_normal, norm, sub, unit
from converter.model.bends import BendTable, Placement
from converter.model.curve import Arc, Segment
from converter.model.deviation import distances, feet
from converter.reducer.adjusting.directions import Element, bend_between
from converter.reducer.adjusting.linear import RowVertices, least_largest_step, linearized, segments_of
from converter.reducer.adjusting.polish import Polished, polish
from converter.reducer.adjusting.settle import assemble
from converter.reducer.adjusting.spread import least_squares
from converter.reducer.fitting.divisions import PLACES, DividedPart
from converter.reducer.pieces import Bow, Piece, Straight, bow_through, straight_through

ROUNDS = 5  #: times that vertices change sides
STEPS = 4  #: of least squares each time
PROGRAMS = 12  #: linear programs toward the least largest miss
FARTHEST = 24  #: vertices of each piece that every program looks at more
REACH = 2.0  #: times the largest miss: how far a piece may move in one program
SIZES = (0.25, 0.5, 0.75, 0.9, 1.0)  #: parts of a program's step that are tried
SLOW = 3  #: programs in a row that tell how fast the largest miss falls
HOPELESS = 1.1  #: times what is wanted: where the first linear program leaves more, later ones come no closer
LEAST_REACH = 0.02  #: times the largest miss, at which programs end
MOST_ALIKE = 0.5  #: correlation of neighbours' misses: of noise 0, of a smooth curve nearly 1
LEAST_GAIN = 1e-3  #: of the largest miss, below which the next program looks less far
REMEMBERED = 32  #: chains: as many divisions as are tried with two tolerances, and some
MOST_REMEMBERED = 20_000  #: vertices of a chain that is: half a megabyte each
ALL_VERTICES = 3000  #: that a chain is fitted to, and at least
LEAST_VERTICES = 40  #: of each piece


@dataclass(frozen=True, slots=True)
class TangentChain:
    """A tube fitted to a row of vertices.

    Attributes:
        table, placement: the tube; no corners in it.
        loose: three standard deviations of each bend's radius, mm.
        places: per piece ('line' or 'arc', row of the table).
        breaks: (pieces + 1,) index of the vertex where each piece begins, and the last one.
        segments: per piece what it became, None where it has no length.
        miss: largest distance of a vertex from it, mm.
        scattered: the vertices scatter farther than the tolerance about any chain of about so few pieces.
    """

    table: BendTable
    placement: Placement
    loose: tuple[float, ...]
    places: tuple[tuple[str, int], ...]
    breaks: tuple[int, ...]
    segments: tuple[Segment | None, ...]
    miss: float
    scattered: bool = False


def follow(points: Array, stretches: Sequence[DividedPart], weights: Array | None = None) -> TangentChain | None:
    """The tangent chain of these straights and arcs that is closest to the vertices by least squares.

    Args:
        points: (n, 3) vertices, mm.
        stretches: their division; no straight follows a straight.
        weights: (n,) what a vertex's distance counts; None for all alike.

    Returns:
        None where the stretches do not make a chain.
    """
    data = None if weights is None else weights.tobytes()
    follow_once = _followed if len(points) <= MOST_REMEMBERED else _followed.__wrapped__
    return follow_once(points.tobytes(), tuple(stretches), data)


@lru_cache(maxsize=REMEMBERED)
def _followed(data: bytes, stretches: tuple[DividedPart, ...], weight_data: bytes | None) -> TangentChain | None:
    """The same, remembered: the tolerance has no part in it, and finer and looser ones are tried."""
    points = np.frombuffer(data).reshape(-1, 3)
    weights = None if weight_data is None else np.frombuffer(weight_data)
    begun = _begun(points, stretches)
    if begun is None:
        return None
    table, placement = begun
    places = _places(stretches)
    breaks = [stretches[0].first, *(s.last for s in stretches)]
    chain = _measured(points, table, placement, (0.0,) * len(table.bends), places, breaks)
    for turn in range(ROUNDS):
        better = _fitted(points, chain, weights, trimmed=turn == 0)
        if better is None or (turn and (better.breaks == chain.breaks or better.table == chain.table)):
            return better or chain
        chain = better
    return chain


def flatten(points: Array, chain: TangentChain, within: float, fixed: frozenset[int] = frozenset()) -> TangentChain:
    """The chain moved until its largest miss is ``within`` mm, no further than that takes; else nearer to it.

    It is given up where the first program does not come near, since its vertices alone cannot be brought closer, and
    where the programs that are left would not come near at the rate of the last ones.

    Args:
        points: (n, 3) vertices, mm.
        chain: about these vertices.
        within: mm.
        fixed: rows whose radius stays.
    """
    start, end = vec(points[chain.breaks[0]]), vec(points[chain.breaks[-1]])
    reach = REACH * chain.miss
    watched = np.zeros(len(points), bool)
    misses = [chain.miss]
    for number in range(PROGRAMS):
        if chain.miss <= within or _is_slow(misses, within):
            break
        _watch(watched, points, chain)
        proofs = _watched(watched, points, chain)
        linear = linearized(chain.table, chain.placement, proofs, set(fixed), start, end)
        step = least_largest_step(linear, proofs, reach)
        if number == 0 and step is not None and step.largest > HOPELESS * within:
            break
        best = chain
        for size in SIZES if step is not None else ():
            moved = linear.moved(step.state, step.unknowns, size) if step is not None else None
            if moved is None:
                continue
            tried = _measured(points, *moved, chain.loose, chain.places, chain.breaks)
            if tried.miss < best.miss:
                best = tried
            if tried.miss <= within:
                break
            if size == SIZES[-1]:  # what the whole step would lose
                _watch(watched, points, tried)
        if chain.miss - best.miss <= LEAST_GAIN * chain.miss:
            if reach < LEAST_REACH * chain.miss:
                break
            reach /= 4.0
        chain = best
        misses.append(chain.miss)
    return chain


def _is_slow(misses: Sequence[float], within: float) -> bool:
    """Whether the programs that are left do not come within so many mm, each gaining as much as one of the last."""
    if len(misses) <= SLOW:
        return False
    gains = [before - after for before, after in itertools.pairwise(misses[-SLOW - 1 :])]
    return misses[-1] - max(gains) * (PROGRAMS + 1 - len(misses)) > within


def _watch(watched: Flags, points: Array, chain: TangentChain) -> None:
    """Mark of each piece the vertices that lie farthest from the chain."""
    misses = away(points, chain)
    for first, last in itertools.pairwise(chain.breaks):
        own = misses[first : last + 1]
        count = min(FARTHEST, len(own))
        watched[first + np.argpartition(own, len(own) - count)[len(own) - count :]] = True


def _watched(watched: Flags, points: Array, chain: TangentChain) -> list[RowVertices]:
    """Of each piece the marked vertices that are nearer to it than to the ones beside it."""
    misses = away(points, chain)
    out = []
    for k, ((kind, row), segment) in enumerate(zip(chain.places, chain.segments, strict=True)):
        first, last = chain.breaks[max(0, k - 1)], chain.breaks[min(len(chain.places), k + 2)]
        rows = first + np.flatnonzero(watched[first : last + 1])
        if segment is None or not len(rows):
            continue
        rows = rows[distances(points[rows], segment) <= misses[rows] + 1e-9]
        if len(rows):
            out.append(RowVertices(kind, row, points[rows]))
    return out


def is_scattered(points: Array, chain: TangentChain) -> bool:
    """Whether vertices miss the chain by noise: neighbours by what has little to do with each other."""
    together = total = 0.0
    for k, segment in enumerate(chain.segments):
        own = points[chain.breaks[k] : chain.breaks[k + 1]]
        if segment is None or len(own) < 3:
            continue
        off = own - feet(own, segment)
        together += float(np.einsum("ij,ij->", off[1:], off[:-1]))
        total += float(np.einsum("ij,ij->", off, off))
    return together <= MOST_ALIKE * total


def with_radii(
    points: Array, chain: TangentChain, radii: dict[int, float], weights: Array | None = None
) -> TangentChain | None:
    """The chain fitted anew with the radii (mm) of some rows given; None where it does not come out."""
    bends = tuple(replace(b, clr=radii.get(k, b.clr)) for k, b in enumerate(chain.table.bends))
    table = replace(chain.table, bends=bends)
    given: TangentChain | None = _measured(points, table, chain.placement, chain.loose, chain.places, chain.breaks)
    for _ in range(2):
        if given is not None:
            given = _fitted(points, given, weights, fixed=frozenset(radii))
    return given


def _places(stretches: Sequence[DividedPart]) -> tuple[tuple[str, int], ...]:
    out: list[tuple[str, int]] = []
    row = 0
    for stretch in stretches:
        out.append((stretch.kind, row))
        row += stretch.kind == "arc"
    return tuple(out)


def _begun(points: Array, stretches: Sequence[DividedPart]) -> tuple[BendTable, Placement] | None:
    """Lines and circles of the stretches as one tangent walk, not yet fitted together."""
    pieces: list[Piece] = []
    for s in stretches:
        own = points[s.first : s.last + 1]
        if s.kind == "line":
            pieces.append(straight_through(own, own, 0))
            continue
        bows = bow_through(own, own, 0.0, 0, True)
        if len(bows) != 1 or not isinstance(bows[0], Bow):
            return None
        pieces.append(bows[0])
    meets = [_direction(a, b) for a, b in itertools.pairwise(pieces)]
    into = [pieces[0].directions[0], *meets]
    out = [*meets, pieces[-1].directions[1]]
    elements = []
    for k, (piece, t_in, t_out) in enumerate(zip(pieces, into, out, strict=True)):
        if isinstance(piece, Straight):
            elements.append(Element(t_in, t_in, any_normal(t_in), 0.0, piece.length, None, k, 0, True))
        elif angle_between(t_in, t_out) > 1e-6:
            elements.append(bend_between(piece, t_in, t_out, k))
        else:
            return None
    start = vec(points[stretches[0].first])
    lengths = [max(e.length, 1e-3) if e.is_straight else 0.0 for e in elements]
    radii = [e.bow.arc.radius if e.bow else 0.0 for e in elements]
    lengths, radii, start = least_squares(elements, pieces, lengths, radii, start)
    lengths = [max(v, 1e-2) if e.is_straight else 0.0 for v, e in zip(lengths, elements, strict=True)]
    table, placement, _ = assemble(elements, lengths, radii, start, len(pieces))
    return table, placement


def _direction(a: Piece, b: Piece) -> Vec:
    """The one direction where two pieces meet: a straight's, else the mean."""
    if isinstance(a, Straight):
        return a.d
    if isinstance(b, Straight):
        return b.d
    both = add(a.arc.end_direction, b.arc.start_direction)
    return unit(both) if norm(both) > 1e-6 else a.arc.end_direction


def _fitted(
    points: Array,
    chain: TangentChain,
    weights: Array | None,
    *,
    trimmed: bool = False,
    fixed: frozenset[int] = frozenset(),
) -> TangentChain | None:
    """One fit of the chain to the vertices of each piece, and the vertices given to the pieces anew.

    Trimmed, vertices close to where pieces meet are left out: whose they are is not known yet.
    """
    proofs = []
    doubtful = 1 + 2 * -(-len(points) // PLACES) if trimmed else 0
    most = max(LEAST_VERTICES, ALL_VERTICES // len(chain.places))
    for k, (kind, row) in enumerate(chain.places):
        # the vertex where a piece begins is past the end of the one before
        rows = np.arange(chain.breaks[k], chain.breaks[k + 1] + (k + 1 == len(chain.places)))
        cut = min(doubtful, len(rows) // 5)
        rows = rows[cut if k else 0 : len(rows) - (cut if k + 1 < len(chain.places) else 0)]
        if not len(rows):
            continue
        if len(rows) > most:
            if weights is None:
                rows = rows[np.linspace(0, len(rows) - 1, most).astype(np.intp)]
            else:  # of each block the vertex that weighs most
                rows = np.array([b[int(weights[b].argmax())] for b in np.array_split(rows, most)])
        proofs.append(RowVertices(kind, row, points[rows], None if weights is None else weights[rows]))
    first, last = chain.breaks[0], chain.breaks[-1]
    # the ends hold lengthwise: polish measures them from where the walk starts, and to the last vertex
    start, end = vec(points[first]), vec(points[last])
    better: Polished | None = polish(chain.table, chain.placement, proofs, set(fixed), end, start, STEPS)
    if better is None:
        return None
    return _measured(points, better.table, better.placement, better.loose, chain.places, chain.breaks)


def _measured(
    points: Array,
    table: BendTable,
    placement: Placement,
    loose: tuple[float, ...],
    places: tuple[tuple[str, int], ...],
    breaks: Sequence[int],
) -> TangentChain:
    segments = segments_of(table, placement, list(places))
    moved = _breaks(points, segments, breaks)
    chain = TangentChain(table, placement, loose, places, moved, segments, 0.0)
    return TangentChain(table, placement, loose, places, moved, segments, float(away(points, chain).max()))


def _breaks(points: Array, segments: Sequence[Segment | None], breaks: Sequence[int]) -> tuple[int, ...]:
    """Where each piece begins: the first vertex past the plane square to the tube at its tangent point."""
    out = [breaks[0]]
    for k in range(1, len(breaks) - 1):
        after = segments[k] or segments[k - 1]
        if after is None:
            out.append(max(out[-1], breaks[k]))
            continue
        at = after.start if segments[k] is not None else after.end
        if isinstance(after, Arc):
            d = after.start_direction if segments[k] is not None else after.end_direction
        else:
            d = unit(sub(after.end, after.start))
        low = max(out[-1], (breaks[k - 1] + breaks[k]) // 2)
        high = max(low, (breaks[k] + breaks[k + 1]) // 2)
        past = np.flatnonzero((points[low : high + 1] - np.array(at)) @ np.array(d) > 0.0)
        out.append(low + int(past[0]) if past.size else high)
    return (*out, breaks[-1])


def away(points: Array, chain: TangentChain) -> Array:
    """Distance of every vertex from its own piece or the ones beside it, mm."""
    misses = np.full(len(points), np.inf)
    count = len(chain.segments)
    for k, segment in enumerate(chain.segments):
        if segment is None:
            continue
        # of vertices near the joints the nearer piece counts
        low = chain.breaks[max(0, k - 1)]
        high = chain.breaks[min(count, k + 2)]
        rows = slice(low, high + 1)
        misses[rows] = np.minimum(misses[rows], distances(points[rows], segment))
    misses[~np.isfinite(misses)] = 0.0
    return misses
