"""A row of vertices as the tangent chain of fewest straights and arcs that stays within the fit tolerance.

`divisions` proposes them, fewest pieces first; `follow` makes each a tangent chain; the first that stays within the
tolerance everywhere is taken. Rows are cut at sharp corners first. Bends whose radii are equal within what the drawing
tells of them get one radius.

A curve that is no tube can be followed, too, by arcs enough. It is known by what a piece more or less changes: arcs
through a smooth curve miss it by the cube of their length, so three in place of two miss by 2 / 3 cubed of it, and
four by 3 / 4 cubed of that. Where straights and arcs were drawn, two in place of three miss by many times more, and a
fourth gains nothing.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import radians

import numpy as np

from converter.arrays import Array, Flags
from converter.geometry.circles import radius_uncertainty
from converter.reducer.fitting.dense import corner_vertex, telling_vertices
from converter.reducer.fitting.divisions import divisions, least_misses
from converter.reducer.fitting.follow import TangentChain, flatten, follow, is_scattered, with_radii
from converter.reducer.fitting.segment import turn_angles
from converter.reducer.limits import MOST_PIECES, MOST_TURN_TANGENT

ATTEMPTS = 14  #: divisions that are tried
NEARLY = 2.0  #: times the tolerance: what linear programs may bring within it
SCATTER = 2.0  #: times the tolerance: noise that is taken, and told, where a third more pieces do not come within it
WINDOW = 3  #: pieces in a row that are looked at together
FEWER = {2: 14.0, 3: 8.0}  #: by how many times one piece less misses more on a free curve, at most (in theory 8, 3.4)
MORE = (1.25, 6.0)  #: by how many times one piece more misses less on a free curve (in theory 3.4, 2.4)
FIRM = 1000.0  #: what a vertex of a drawn straight counts beside those of smooth curves
KINK = 1.0  #: degrees by which a corner in a smooth row stands out
TELLING = 3  #: chords of each piece of a smooth curve, at least: fewer would follow any curve, and tell of none
SAME = 1e-4  #: mm that an equal radius may add to the largest miss


@dataclass(frozen=True, slots=True)
class FittedRow:
    """A stretch of a row, without a sharp corner, as a tangent chain.

    Attributes:
        first, last: its vertices in the row.
        chain: the tube through them.
        free: rows of the chain's table that stand for a curve of no straights and arcs.
        alone: the radius in mm that each bend would have by itself.
        loose: +- mm of each bend's radius.
    """

    first: int
    last: int
    chain: TangentChain
    free: frozenset[int]
    alone: tuple[float, ...]
    loose: tuple[float, ...]


def tangent_rows(
    points: Array, smooth: Flags, fit: float, radii: Sequence[float] = (), most_pieces: int = MOST_PIECES
) -> list[FittedRow] | None:
    """The row from sharp corner to sharp corner as tangent chains.

    Args:
        points: (n, 3) vertices, mm, consecutive ones different.
        smooth: (n - 1,) true for chords between samples of a smooth curve.
        fit: mm, the greatest distance of a vertex from its straight or arc.
        radii: mm, of the shop's dies: preferred where they agree with what was drawn.
        most_pieces: no chain of more straights and arcs is looked for.

    Returns:
        None where a part of the row has no such chain.
    """
    out = []
    rows = np.arange(len(points)) if smooth.any() else telling_vertices(points, fit)
    sharp = [corner_vertex(points, rows, v) for v in _sharp(points[rows], smooth[rows[:-1]])]
    cuts = [0, *sharp, len(points) - 1]
    for first, last in itertools.pairwise(cuts):
        own, chords = points[first : last + 1], smooth[first:last]
        firm = _firm(chords)
        most = min(most_pieces, len(chords) // TELLING) if chords.all() else most_pieces
        chain = _chain(own, fit, firm, max(1, most), chords=not chords.any())
        if chain is None or not (chords.all() or _is_evident(own, chords, chain)):
            return None
        free = _free_rows(own, chain)
        loose = _loose(chords, chain)
        alone = tuple(b.clr or 0.0 for b in chain.table.bends)
        if not free:
            chain = _of_equal_radii(own, chain, loose, fit, radii, firm)
        out.append(FittedRow(first, last, chain, free, alone, loose))
    return out


def _sharp(points: Array, smooth: Flags) -> list[int]:
    """Vertices that are corners: no arc turns so far between two of its vertices, or no neighbour turns as far."""
    if len(points) < 3:
        return []
    turns = np.concatenate(([0.0], turn_angles(points), [0.0]))
    beside = np.maximum(np.append(turns[1:], 0.0), np.append([0.0], turns[:-1]))
    smooth_both = np.zeros(len(points), bool)
    smooth_both[1:-1] = smooth[:-1] | smooth[1:]
    sharp = (turns > MOST_TURN_TANGENT) | (smooth_both & (turns > 3.0 * beside + KINK))
    return [int(v) for v in np.flatnonzero(sharp)]


def _firm(smooth: Flags) -> Array | None:
    """Weights of vertices: straights drawn as such among smooth curves stay where they are, if that will do."""
    if smooth.all() or not smooth.any():
        return None
    weights = np.ones(len(smooth) + 1)
    drawn = np.flatnonzero(~smooth)
    weights[drawn] = weights[drawn + 1] = FIRM
    return weights


def _chain(points: Array, fit: float, firm: Array | None, most: int, *, chords: bool) -> TangentChain | None:
    """The chain of fewest pieces within the tolerance, and no more than ``most``.

    Where noise leaves none, it is the first that only noise keeps out: the least squares chain, for what is no more
    than noise shall not pull at it.
    """
    near: TangentChain | None = None
    for attempt, stretches in enumerate(divisions(points, fit, MOST_TURN_TANGENT)):
        count = len(stretches)
        beyond = near is not None and count > 4 * len(near.places) // 3 + 2
        if beyond or attempt == ATTEMPTS or count > most:
            break
        chain = follow(points, stretches, firm)
        if firm is not None and (chain is None or chain.miss > fit):
            chain = follow(points, stretches)
        if chain is None:
            continue
        closest = flatten(points, chain, fit) if fit < chain.miss <= NEARLY * fit else chain
        if closest.miss <= fit:
            return closest
        if near is None and chords and chain.miss <= SCATTER * fit and is_scattered(points, chain):
            near = replace(chain, scattered=True)
    return near


def _is_evident(points: Array, smooth: Flags, chain: TangentChain) -> bool:
    """Whether chords speak for each arc they were made: many of them, or fewer of one length between straights."""
    kinds = [kind for kind, _ in chain.places]
    lengths = np.sqrt((np.diff(points, axis=0) ** 2).sum(axis=1))
    slack = 1.1 + 4.0 * chain.miss / float(lengths.min())
    for k, kind in enumerate(kinds):
        first, last = chain.breaks[k], min(chain.breaks[k + 1], len(points) - 1)
        if kind == "line" or smooth[max(0, first - 1) : last].any() or last - first >= 6:
            continue
        inner = lengths[first : max(first + 1, last - 1)]
        even = float(inner.max()) <= slack * float(inner.min())
        between = all(kinds[j] == "line" for j in (k - 1, k + 1) if 0 <= j < len(kinds))
        if last - first < 2 or not even or not (between or last - first >= 4):
            return False
    return True


def _free_rows(points: Array, chain: TangentChain) -> frozenset[int]:
    """Rows of bends that another number of pieces would stand for as well, give or take."""
    count = len(chain.places)
    size = min(WINDOW, count)
    if size < 2:
        return frozenset()
    doubted: list[bool] = []
    free: set[int] = set()
    for k in range(count - size + 1):
        rows = [row for kind, row in chain.places[k : k + size] if kind == "arc"]
        if len(rows) < 2:
            continue
        end = chain.breaks[k + size] + (k + size == count)
        less, same, more = least_misses(points[chain.breaks[k] : end], size - 1, size, size + 1)
        floor = 1e-9
        is_free = less < FEWER[size] * max(same, floor) and MORE[0] < same / max(more, floor) < MORE[1]
        doubted.append(is_free)
        if is_free:
            free.update(rows)
    # one window of a tube may look like it by chance; of a free curve they all do
    return frozenset(free) if sum(doubted) >= min(2, len(doubted)) else frozenset()


def _loose(smooth: Flags, chain: TangentChain) -> tuple[float, ...]:
    """+- mm of each radius: by statistics of the vertices; a smooth curve's misses are no chance, so by their size."""
    out = list(chain.loose)
    for k, (kind, row) in enumerate(chain.places):
        if kind == "arc" and smooth[chain.breaks[k] : chain.breaks[k + 1]].any():
            half = radians(chain.table.bends[row].angle) / 2.0
            out[row] = max(out[row], radius_uncertainty(chain.miss, half))
    return tuple(max(v, 1e-9) for v in out)


# --- equal radii ----------------------------------------------------------------------------


def _of_equal_radii(
    points: Array,
    chain: TangentChain,
    loose: tuple[float, ...],
    fit: float,
    radii: Sequence[float],
    firm: Array | None,
) -> TangentChain:
    """The chain with one radius for bends whose own agree, a die's where one agrees with all of them."""
    limit = max(fit, chain.miss)
    for known in (radii, ()) if radii else ((),):
        wanted = _agreed(chain, loose, known)
        if not wanted:
            break
        better = with_radii(points, chain, wanted, firm)
        if better is not None and limit < better.miss <= NEARLY * limit:
            better = flatten(points, better, limit, frozenset(wanted))
        if better is not None and better.miss <= min(limit, 1.5 * chain.miss + SAME):
            return replace(better, loose=chain.loose, scattered=chain.scattered)
    return chain


def _agreed(chain: TangentChain, loose: tuple[float, ...], known: Sequence[float]) -> dict[int, float]:
    """The radius of each row that shares one with others, or with a known one (mm)."""
    own = [b.clr or 0.0 for b in chain.table.bends]
    left = sorted(range(len(own)), key=lambda k: loose[k])
    out: dict[int, float] = {}
    while left:
        seed = left[0]
        group = [k for k in left if abs(own[k] - own[seed]) <= loose[k] + loose[seed]]
        left = [k for k in left if k not in group]
        weights = [1.0 / loose[k] ** 2 for k in group]
        mean = sum(w * own[k] for w, k in zip(weights, group, strict=True)) / sum(weights)
        agrees = [r for r in known if all(abs(own[k] - r) <= max(loose[k], 1e-6) for k in group)]
        if agrees:
            mean = min(agrees, key=lambda r: abs(r - mean))
        if agrees or len(group) > 1:
            out |= dict.fromkeys(group, mean)
    return out
