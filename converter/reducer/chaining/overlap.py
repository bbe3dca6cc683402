"""What to keep where curves lie on one carrier (one line, one circle) and overlap.

Places along the carrier are lengths in mm. On one layer, overlapping curves become their
union, cut only where some other curve attaches. From layer to layer nothing is cut: what
stands alone on its layer and is covered by another layer drops out; a piece that belongs to
a run of its own layer stays, and so does the other, and that is said.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf

from converter.model.curve import Curve

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Member:
    """One curve on the carrier.

    Attributes:
        edge: its number; lower was drawn first.
        layer: number of its layer.
        low, high: where it lies along the carrier, low < high.
        low_node, high_node: the nodes of those ends.
        fixed: part of a bigger curve (a polyline, a path): it covers others but is never changed.
    """

    edge: int
    layer: int
    low: float
    high: float
    low_node: int = -1
    high_node: int = -1
    fixed: bool = False


@dataclass(slots=True)
class CarrierPiece:
    """What stays: a stretch of the carrier, drawn by ``member``; ``whole`` when that is the member itself."""

    member: Member
    low: float
    high: float
    nodes: tuple[int, int]
    whole: bool


@dataclass(slots=True)
class Verdict:
    """The outcome for the whole drawing.

    Attributes:
        dropped: edges that are gone (replaced ones too).
        added: (edge it takes its layer, handle and place from, new curve).
        lost: per (layer dropped from, layer it lay on): number of curves, total length, first edge.
        left_alone: per pair of layers where both stayed: number, total length of the overlap, first edge.
        places: edges by which the places of `lost` and `left_alone` can be shown, per the same pairs.
    """

    dropped: set[int] = field(default_factory=set)
    added: list[tuple[int, Curve]] = field(default_factory=list)
    lost: dict[tuple[int, int], tuple[int, float, int]] = field(default_factory=dict)
    left_alone: dict[tuple[int, int], tuple[int, float, int]] = field(default_factory=dict)
    places: dict[tuple[int, int], list[int]] = field(default_factory=dict)

    def lose(self, layer: int, onto: int, count: int, length: float, edge: int) -> None:
        """Count curves that dropped out."""
        c, total, first = self.lost.get((layer, onto), (0, 0.0, edge))
        self.lost[layer, onto] = (c + count, total + length, min(first, edge))
        self.places.setdefault((layer, onto), []).append(edge)

    def stay(self, layer: int, onto: int, length: float, edge: int) -> None:
        """Count an overlap that was left alone."""
        c, total, first = self.left_alone.get((layer, onto), (0, 0.0, edge))
        self.left_alone[layer, onto] = (c + 1, total + length, min(first, edge))
        self.places.setdefault((layer, onto), []).append(edge)


class Attached:
    """How many ends lie in each node, per layer and in all."""

    def __init__(self, nodes: Iterable[int], layers: Iterable[int]) -> None:
        self._both = Counter(zip(nodes, layers, strict=True))
        self._all: Counter[int] = Counter()
        for (node, _), count in self._both.items():
            self._all[node] += count

    def count(self, node: int, layer: int) -> int:
        """Ends of one layer in a node."""
        return self._both[node, layer]

    def others(self, node: int, own: Counter[int], layer: int | None = None) -> int:
        """Ends in a node (of one layer, or of any) beyond the ``own`` ones."""
        count = self._all[node] if layer is None else self._both[node, layer]
        return count - own[node]


def union(intervals: Iterable[Interval], slack: float) -> list[Interval]:
    """Merged intervals; gaps up to ``slack`` close."""
    merged: list[Interval] = []
    for low, high in sorted(intervals):
        if merged and low <= merged[-1][1] + slack:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return merged


def covered(low: float, high: float, cover: list[Interval], slack: float) -> bool:
    """Whether one of the merged intervals reaches from low to high, within ``slack``."""
    return any(a <= low + slack and high <= b + slack for a, b in cover)


def _own_ends(members: Iterable[Member]) -> Counter[int]:
    return Counter(n for m in members for n in (m.low_node, m.high_node))


def _overlapping(members: list[Member], join: float) -> list[list[Member]]:
    """Members in rows that overlap by more than ``join``; those that only touch stay apart."""
    rows: list[list[Member]] = []
    reach = 0.0
    for m in sorted(members, key=lambda m: (m.low, m.high)):
        if rows and m.low < reach - join:
            rows[-1].append(m)
            reach = max(reach, m.high)
        else:
            rows.append([m])
            reach = m.high
    return rows


def _pieces(row: list[Member], attached: Attached, join: float, turn: float) -> list[CarrierPiece]:
    """The union of one row, cut where other curves attach to the ends inside it; a full turn is never cut."""
    if len(row) == 1:
        m = row[0]
        return [CarrierPiece(m, m.low, m.high, (m.low_node, m.high_node), True)]
    own = _own_ends(row)
    ends = sorted([(m.low, m.low_node) for m in row] + [(m.high, m.high_node) for m in row])
    first, last = ends[0], ends[-1]
    cuts = [first]
    if last[0] - first[0] >= turn - join:
        last = (first[0] + turn, first[1])
    else:
        for place, node in ends:
            if cuts[-1][0] + join < place < last[0] - join and attached.others(node, own) > 0:
                cuts.append((place, node))
    cuts.append(last)
    pieces = []
    for (low, a), (high, b) in pairwise(cuts):
        shared = [(min(m.high, high) - max(m.low, low), m) for m in row]
        enough = min(join, max(length for length, _ in shared))
        over = [m for length, m in shared if length >= enough]
        same = [m for m in over if abs(m.low - low) <= join and abs(m.high - high) <= join]
        member = min(same or over, key=lambda m: m.edge)
        pieces.append(CarrierPiece(member, low, high, (a, b), bool(same)))
    return pieces


def resolve(
    members: list[Member],
    attached: Attached,
    join: float,
    cut: Callable[[Member, float, float], Curve],
    verdict: Verdict,
    turn: float = inf,
) -> None:
    """Decide one carrier and add the outcome to ``verdict``.

    Args:
        members: the curves on it, two or more.
        attached: what meets in the nodes.
        join: the join tolerance, mm.
        cut: makes the curve of a member, in the member's direction, between two places along the carrier.
        verdict: collects.
        turn: length of the carrier where it closes (a circle), mm.
    """
    layers = sorted({m.layer for m in members})
    fixed = {n: union(((m.low, m.high) for m in members if m.fixed and m.layer == n), join) for n in layers}
    stretches: list[tuple[int, list[CarrierPiece], list[Member]]] = []
    for layer in layers:
        free = [m for m in members if m.layer == layer and not m.fixed]
        touching: list[tuple[list[CarrierPiece], list[Member]]] = []
        for row in _overlapping(free, join):
            pieces = [p for p in _pieces(row, attached, join, turn) if not covered(p.low, p.high, fixed[layer], join)]
            _settle(row, pieces, layer, cut, verdict)
            if not pieces:
                continue
            if touching and pieces[0].low <= touching[-1][0][-1].high + join:
                touching[-1][0].extend(pieces)
                touching[-1][1].extend(row)
            else:
                touching.append((pieces, list(row)))
        stretches += [(layer, pieces, row) for pieces, row in touching]
    if len(layers) > 1:
        _between_layers(stretches, fixed, attached, join, verdict)


def _settle(
    row: list[Member],
    pieces: list[CarrierPiece],
    layer: int,
    cut: Callable[[Member, float, float], Curve],
    verdict: Verdict,
) -> None:
    """Write down what one row of one layer became."""
    stays = {p.member.edge for p in pieces if p.whole}
    gone = [m for m in row if m.edge not in stays]
    if not gone:
        return
    verdict.dropped.update(m.edge for m in gone)
    for p in pieces:
        if not p.whole:
            verdict.added.append((p.member.edge, cut(p.member, p.low, p.high)))
    lost = sum(m.high - m.low for m in row) - sum(p.high - p.low for p in pieces)
    verdict.lose(layer, layer, max(len(row) - len(pieces), 1), max(lost, 0.0), min(m.edge for m in gone))


def _between_layers(
    stretches: list[tuple[int, list[CarrierPiece], list[Member]]],
    fixed: dict[int, list[Interval]],
    attached: Attached,
    join: float,
    verdict: Verdict,
) -> None:
    def reach(pieces: list[CarrierPiece]) -> Interval:
        return pieces[0].low, max(p.high for p in pieces)

    def size(stretch: tuple[int, list[CarrierPiece], list[Member]]) -> tuple[int, float]:
        low, high = reach(stretch[1])
        return -stretch[0], high - low

    left = list(stretches)
    for stretch in sorted(stretches, key=size):
        layer, pieces, row = stretch
        own = _own_ends(row)
        if any(attached.others(n, own, layer) > 0 for p in pieces for n in p.nodes):
            continue
        cover = [(reach(q), other) for other, q, _ in left if other != layer]
        cover += [(interval, other) for other, intervals in fixed.items() if other != layer for interval in intervals]
        low, high = reach(pieces)
        if not covered(low, high, union((c for c, _ in cover), join), join):
            continue
        onto = max(cover, key=lambda c: min(c[0][1], high) - max(c[0][0], low))[1]
        left.remove(stretch)
        edges = {p.member.edge for p in pieces}
        verdict.dropped |= edges
        verdict.added = [new for new in verdict.added if new[0] not in edges]
        verdict.lose(layer, onto, len(pieces), sum(p.high - p.low for p in pieces), min(edges))
    for i, (layer, pieces, _) in enumerate(left):
        low, high = reach(pieces)
        others = [(other, *reach(q)) for other, q, _ in left[i + 1 :]]
        others += [(other, *interval) for other, intervals in fixed.items() for interval in intervals]
        for other, a, b in others:
            length = min(high, b) - max(low, a)
            if other != layer and length > join:
                verdict.stay(layer, other, length, pieces[0].member.edge)
