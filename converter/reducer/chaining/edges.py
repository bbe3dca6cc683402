"""Curves as a table of edges: two ends each, the nodes the ends meet in, directions at the ends.

Edge i has the ends 2i (its start) and 2i + 1 (its end); ``end ^ 1`` is the other end of the
same edge. All coordinates here are relative to the drawing's own lowest corner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import cast

import numpy as np

from converter.arrays import Array, Ints, vectors
from converter.geometry.clusters import close_pairs, components, same_points
from converter.geometry.vectors import Vec
from converter.model.curve import Arc, Curve, Line
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.ends import curve_length, end_directions
from converter.tolerances import Tolerances

_CURVE, _SHEET = attrgetter("curve"), attrgetter("layer", "group")
_START, _END = attrgetter("start"), attrgetter("end")
LINE, ARC, OTHER = 0, 1, 2
_KIND: dict[type, int] = {Line: LINE, Arc: ARC}


@dataclass(frozen=True, slots=True)
class Edges:
    """The drawn curves, gathered once.

    Attributes:
        drawn: the curves, in drawn order.
        curves: their geometry.
        kind: (n,) LINE, ARC or OTHER.
        layer: (n,) number of the layer in ``layers`` (numbered as they first appear); the same layer in two
            groups counts as two.
        layers: their names.
        group: (number of layers,) number of the group each layer is in.
        origin: lowest corner of all ends, world coordinates.
        points: (2n, 3) the ends relative to ``origin``.
    """

    drawn: Sequence[DrawnCurve]
    curves: list[Curve]
    kind: Ints
    layer: Ints
    layers: list[str | None]
    group: Ints
    origin: Array
    points: Array

    @property
    def chords(self) -> Array:
        """(n,) distance from start to end of each edge."""
        steps = self.points[1::2] - self.points[0::2]
        lengths: Array = np.sqrt((steps * steps).sum(axis=1))
        return lengths

    def lengths(self) -> list[float]:
        """Length of each straight and arc in mm; -1 for other curves, whose length costs time to find."""
        lengths: list[float] = self.chords.tolist()
        for i in np.flatnonzero(self.kind != LINE).tolist():
            lengths[i] = curve_length(self.curves[i]) if self.kind[i] == ARC else -1.0
        return lengths

    def place(self, end: int) -> Vec:
        """World coordinates of an end."""
        x, y, z = (self.points[end] + self.origin).tolist()
        return (x, y, z)

    def outward(self, ends: Ints) -> Array:
        """(m, 3) unit directions in which the curves leave their nodes at the given ends."""
        out = np.empty((ends.size, 3))
        edge = ends >> 1
        kind = self.kind[edge]
        rows = np.flatnonzero(kind == LINE)
        if rows.size:
            e = ends[rows]
            step = self.points[e ^ 1] - self.points[e]
            out[rows] = step / np.sqrt((step * step).sum(axis=1))[:, None]
        rows = np.flatnonzero(kind == ARC)
        if rows.size:
            arcs = [cast(Arc, self.curves[i]) for i in edge[rows].tolist()]
            normal = vectors([a.normal for a in arcs])
            center = vectors([a.center for a in arcs]) - self.origin
            d = np.cross(normal, self.points[ends[rows]] - center)
            sign = 1.0 - 2.0 * (ends[rows] & 1)
            out[rows] = d * (sign / np.sqrt((d * d).sum(axis=1)))[:, None]
        for row in np.flatnonzero(kind == OTHER).tolist():
            end = int(ends[row])
            first, last = end_directions(self.curves[end >> 1])
            out[row] = np.negative(last) if end & 1 else first
        return out


def gather(drawn: Sequence[DrawnCurve]) -> Edges:
    """One pass over the Python objects; everything after works on arrays."""
    curves: list[Curve] = list(map(_CURVE, drawn))
    codes: dict[tuple[str | None, str | None], int] = {}
    layer = [codes.setdefault(sheet, len(codes)) for sheet in map(_SHEET, drawn)]
    groups: dict[str | None, int] = {}
    group = [groups.setdefault(name, len(groups)) for _, name in codes]
    kind = [_KIND.get(t, OTHER) for t in map(type, curves)]
    n = len(curves)
    points = np.empty((2 * n, 3))
    points[0::2] = vectors(list(map(_START, curves)))
    points[1::2] = vectors(list(map(_END, curves)))
    origin = points.min(axis=0) if n else np.zeros(3)
    points -= origin
    return Edges(
        drawn, curves, np.array(kind), np.array(layer), [name for name, _ in codes], np.array(group), origin, points
    )


def end_nodes(edges: Edges, tol: Tolerances) -> Ints:
    """Number of the node each end lies in, (2n,), 0 upward.

    Ends that agree to ``tol.equal`` are one node. Then loose ends (alone in their node) heal, the closest
    first: to other loose ends within a hundredth and a tenth of ``tol.join``, at last to whatever lies
    within ``tol.join``. Nodes that are whole already are never pulled together, nor is an end pulled onto
    its own curve: chords shorter than the join tolerance keep their shape.
    """
    node = _numbered(same_points(edges.points, tol.equal))
    at_limits = tol.at_limits()
    for reach in (0.01 * tol.join, 0.1 * tol.join, at_limits.join):
        if reach <= tol.equal:
            continue
        healed = _heal(edges, node, reach, at_limits, loose_only=reach < tol.join)
        if healed is None:
            break
        node = healed
    return node


def _numbered(label: Ints) -> Ints:
    """Labels (the lowest member's place) as 0, 1, 2, ... in the order they first appear."""
    heads = np.zeros(label.size, dtype=bool)
    heads[label] = True
    numbers: Ints = (np.cumsum(heads) - 1)[label]
    return numbers


def _heal(edges: Edges, node: Ints, reach: float, tol: Tolerances, loose_only: bool) -> Ints | None:
    """Nodes after loose ends within ``reach`` have healed, or None when no end is loose."""
    count = int(node.max()) + 1
    loose = np.bincount(node, minlength=count) == 1
    if not loose.any():
        return None
    head = np.empty(count, dtype=np.int64)
    head[node[::-1]] = np.arange(node.size)[::-1]
    chosen = np.flatnonzero(loose) if loose_only else np.arange(count)
    a, b = close_pairs(edges.points[head[chosen]], reach)
    a, b = chosen[a], chosen[b]
    keep = loose[a] | loose[b]
    a, b = a[keep], b[keep]
    if not a.size:
        return node
    short = np.array(
        [
            i
            for i in np.flatnonzero(edges.chords <= tol.join).tolist()
            if edges.kind[i] == LINE or curve_length(edges.curves[i]) <= 4.0 * tol.join
        ],
        dtype=np.int64,
    )
    if short.size:
        # nodes that hang together by short curves: an end may close a ring of them, nothing else
        crowd = components(count, node[2 * short], node[2 * short + 1])
        length = np.bincount(crowd[node[2 * short]], weights=edges.chords[short], minlength=count)
        ring = loose[a] & loose[b] & (length[crowd[a]] > 4.0 * tol.join)
        keep = (crowd[a] != crowd[b]) | ring
        a, b = a[keep], b[keep]
    return _numbered(components(count, a, b))[node]
