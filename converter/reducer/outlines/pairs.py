"""Pieces that run side by side an even distance apart: parallel straights, arcs about one centre.

A line is laid across the middle of each piece, and what it meets next on either side is its neighbour. All of them are
found in one pass along each direction and about each centre, with the pieces at hand kept in order.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from converter.geometry.clusters import close_pairs, components
from converter.reducer.outlines.pieces import SheetPiece, bearing
from converter.tolerances import DEFAULT

#: mm: the least and the greatest width of what may be a tube's outline.
LEAST, WIDEST = 3.0, 400.0
#: Degrees between directions that belong together, and of a group of them at most.
_PARALLEL, _GROUP = 0.05, 0.5
#: So many neighbours on either side are looked at: wall, bore and centerline may be drawn between the sides.
_NEIGHBOURS = 5


@dataclass(frozen=True, slots=True)
class Pair:
    """Two pieces side by side.

    Attributes:
        first, second: their numbers, the lower one first.
        width: from one to the other, mm.
        against: whether the second runs the other way.
        between: pieces that lie between them, from the first on, and how far each is from it in mm.
    """

    first: int
    second: int
    width: float
    against: bool
    between: tuple[tuple[int, float], ...] = ()


def pairs(pieces: Sequence[SheetPiece], least: float = LEAST, widest: float = WIDEST) -> list[Pair]:
    """All pieces that run side by side, in the order of their first pieces.

    Args:
        pieces: of one plane.
        least, widest: mm, how far apart they may be.
    """
    proposed: dict[tuple[int, int], tuple[tuple[int, float], ...]] = {}
    for rows in (*_parallel(pieces), *_concentric(pieces)):
        for i, j, apart, between in _neighbours(rows, least, widest):
            key = (i, j) if i < j else (j, i)
            if key not in proposed or len(between) < len(proposed[key]):
                proposed[key] = between if i < j else tuple((k, apart - far) for k, far in between[::-1])
    out = []
    for (i, j), between in sorted(proposed.items()):
        pair = _pair(pieces, i, j, between)
        if pair is not None and least <= pair.width <= widest:
            out.append(pair)
    return out


#: A piece as a sweep sees it: where it begins and ends along the sweep, its place across it, its number.
_Row = tuple[float, float, float, int]


def _parallel(pieces: Sequence[SheetPiece]) -> Iterator[list[_Row]]:
    """Straights, direction by direction."""
    which = [i for i, piece in enumerate(pieces) if not piece.turn]
    if len(which) < 2:
        return
    ways = np.array([pieces[i].end - pieces[i].start for i in which])
    angle = np.degrees(np.angle(ways)) % 180.0
    angle[angle > 180.0 - _PARALLEL / 2.0] -= 180.0
    order = np.argsort(angle, kind="stable")
    cuts = np.flatnonzero(np.diff(angle[order]) > _PARALLEL) + 1
    for group in np.split(order, cuts):
        spread = angle[group[-1]] - angle[group[0]]
        bins = np.flatnonzero(np.diff(np.floor(angle[group] / _GROUP))) + 1
        for some in np.split(group, bins) if spread > _GROUP else (group,):
            if len(some) < 2:
                continue
            longest = ways[some[np.abs(ways[some]).argmax()]]
            along = longest / abs(longest)
            rows: list[_Row] = []
            for k in some.tolist():
                piece = pieces[which[k]]
                p, q = piece.start / along, piece.end / along
                rows.append((min(p.real, q.real), max(p.real, q.real), (p.imag + q.imag) / 2.0, which[k]))
            yield rows


def _concentric(pieces: Sequence[SheetPiece]) -> Iterator[list[_Row]]:
    """Arcs, centre by centre; along the sweep are degrees."""
    which = [i for i, piece in enumerate(pieces) if piece.turn]
    if len(which) < 2:
        return
    centers = np.array([(pieces[i].center.real, pieces[i].center.imag, 0.0) for i in which])
    label = components(len(centers), *close_pairs(centers, DEFAULT.join))
    by_center: dict[int, list[int]] = {}
    for i, center in zip(which, label.tolist(), strict=True):
        by_center.setdefault(center, []).append(i)
    for members in by_center.values():
        if len(members) < 2:
            continue
        rows: list[_Row] = []
        for i in members:
            piece = pieces[i]
            low = bearing((piece.start if piece.turn > 0.0 else piece.end) - piece.center)
            rows.append((low, low + abs(piece.turn), piece.radius, i))
            rows.append((low - 360.0, low - 360.0 + abs(piece.turn), piece.radius, i))
        yield rows


def _neighbours(
    rows: Sequence[_Row], least: float, widest: float
) -> Iterator[tuple[int, int, float, tuple[tuple[int, float], ...]]]:
    """Pairs (i, j) where j is met on a line across the middle of i, how far, and what is met before it and how far."""
    events = []
    for low, high, across, i in rows:
        events += [(low, 0, across, i), ((low + high) / 2.0, 1, across, i), (high, 2, across, i)]
    events.sort()
    at_hand: list[tuple[float, int]] = []
    for _, kind, across, i in events:
        if kind == 0:
            insort(at_hand, (across, i))
        elif kind == 2:
            del at_hand[bisect_left(at_hand, (across, i))]
        else:
            place = bisect_left(at_hand, (across, i))
            for side in (range(place + 1, len(at_hand)), range(place - 1, -1, -1)):
                before: list[tuple[int, float]] = []
                for j, apart in _met((at_hand[k] for k in side), (across, i), widest):
                    if apart >= least:
                        yield i, j, apart, tuple(before)
                    before.append((j, apart))


def _met(side: Iterable[tuple[float, int]], own: tuple[float, int], widest: float) -> Iterator[tuple[int, float]]:
    """What is met on one side of a piece, and how far, the nearest first; of what is drawn twice one.

    Args:
        side: places across and numbers of the pieces there, the nearest first.
        own: those of the piece itself.
        widest: mm, how far is looked.
    """
    across, i = own
    nearest = 0.0
    count = 0
    for other, j in side:
        apart = abs(other - across)
        if apart > widest or count >= _NEIGHBOURS:
            return
        if j != i and apart - nearest >= DEFAULT.join:
            yield j, apart
            nearest, count = apart, count + 1


def _pair(pieces: Sequence[SheetPiece], i: int, j: int, between: tuple[tuple[int, float], ...]) -> Pair | None:
    """The pair of two pieces, or None where they are not an even distance apart."""
    a, b = pieces[i], pieces[j]
    if a.turn:
        width, against = abs(a.radius - b.radius), a.turn * b.turn < 0.0
    else:
        way = (a.end - a.start) / abs(a.end - a.start)
        first, last = ((b.start - a.start) / way).imag, ((b.end - a.start) / way).imag
        # an even distance over what is shared: judged at the ends of the shorter one
        share = min(1.0, a.length / b.length)
        if abs(first - last) * share > 2.0 * DEFAULT.join:
            return None
        width, against = abs(first + last) / 2.0, ((b.end - b.start) / way).real < 0.0
    return Pair(i, j, width, against, between)
