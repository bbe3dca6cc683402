"""Curves drawn twice, or lying on others, drop out.

First twins (the same curve again, either direction, any kind), then straights that overlap on
one line, then arcs that overlap on one circle. On one layer the first drawn stays. Of twins on
two layers the one stays that is joined to more curves of its own layer, so that a construction
line traced over a tube never takes the tube's straight away; where that is equal, the one of the
layer that was drawn on first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import inf
from typing import cast

import numpy as np

from converter.arrays import Array, Flags, Ints
from converter.findings import Finding
from converter.geometry.clusters import keep_shared, split_at_gaps
from converter.geometry.vectors import Vec
from converter.model.curve import Arc, Curve, Line, Path, Polyline
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.carriers import Straights, overlapping_arcs, overlapping_straights
from converter.reducer.chaining.edges import ARC, LINE, OTHER, Edges
from converter.reducer.chaining.ends import curve_length, is_straight, sample
from converter.reducer.chaining.overlap import Attached, Member, Verdict, resolve
from converter.reducer.chaining.remarks import overlap_findings
from converter.tolerances import Tolerances

#: A polyline of more corners than this is not searched for segments that cover straights ...
_CORNERS = 500
#: ... nor are more than this many segments in all.
_SEGMENTS = 100_000


def drop_duplicates(
    edges: Edges, node: Ints, tol: Tolerances
) -> tuple[list[DrawnCurve], list[int], list[Finding]] | None:
    """The curves without duplicates and overlaps.

    Args:
        edges: the curves.
        node: node of each end.
        tol: ``join`` says what lies on what.

    Returns:
        None when there is nothing to drop; else the curves that stay in drawn order, the place each had
        (of a union the place of the first-drawn curve in it), and the findings.
    """
    verdict = Verdict()
    _twins(edges, node, tol, verdict)
    _overlaps(edges, node, tol, verdict)
    if not verdict.lost and not verdict.left_alone:
        return None
    left = [(i, i, edges.drawn[i]) for i in range(len(edges.curves)) if i not in verdict.dropped]
    for k, (edge, curve) in enumerate(verdict.added):
        # what its outline told of the old one is not told of the union
        union = replace(edges.drawn[edge], curve=curve, section=None, ends=(None, None), solid=None)
        left.append((edge, len(edges.curves) + k, union))
    left.sort(key=lambda entry: entry[:2])
    return [d for _, _, d in left], [place for place, _, _ in left], overlap_findings(edges, verdict)


# --- twins -----------------------------------------------------------------------------------


def _twins(edges: Edges, node: Ints, tol: Tolerances, verdict: Verdict) -> None:
    a, b = node[0::2], node[1::2]
    count = int(node.max()) + 1
    key = np.minimum(a, b) * count + np.maximum(a, b)
    order = np.argsort(key, kind="stable")
    item, group = keep_shared(order, key[order])
    groups = [g.tolist() for g in np.split(item, np.flatnonzero(np.diff(group)) + 1)] if item.size else []
    groups += _closed_alike(edges, node, tol)
    groups = [part for members in groups for part in _by_group(edges, members, members)]
    if not groups:
        return
    sets = [twins for members in groups for twins in _sorted_out(edges, members, tol)]
    if not sets:
        return
    survivors = []
    for twins in sets:  # on each layer first
        first: dict[int, int] = {}
        for i in sorted(twins):
            layer = int(edges.layer[i])
            if layer in first:
                _drop(edges, verdict, i, layer)
            else:
                first[layer] = i
        survivors.append(list(first.values()))
    attached = _attached(edges, node, verdict)
    for twins in survivors:
        if len(twins) < 2:
            continue
        layers = edges.layer[twins].tolist()
        # every twin brings its own two ends, so the counts compare fairly
        joined = [
            sum(attached.count(int(n), k) for n in node[2 * i : 2 * i + 2]) for i, k in zip(twins, layers, strict=True)
        ]
        keep = min(zip(joined, layers, twins, strict=True), key=lambda t: (-t[0], t[1]))[2]
        for i in twins:
            if i != keep and i not in verdict.dropped:
                _drop(edges, verdict, i, int(edges.layer[keep]))


def _by_group(edges: Edges, rows: list[int], owners: list[int]) -> list[list[int]]:
    """Rows that belong to edges, split by the edges' groups; those of two or more. A tube inside another is no copy."""
    if len(edges.group) < 2 or not edges.group.any():
        return [rows]
    parts: dict[int, list[int]] = {}
    for row, edge in zip(rows, owners, strict=True):
        parts.setdefault(int(edges.group[edges.layer[edge]]), []).append(row)
    return [part for part in parts.values() if len(part) > 1]


def _drop(edges: Edges, verdict: Verdict, i: int, onto: int) -> None:
    verdict.dropped.add(i)
    verdict.lose(int(edges.layer[i]), onto, 1, curve_length(edges.curves[i]), i)


def _attached(edges: Edges, node: Ints, verdict: Verdict) -> Attached:
    """What meets where, without what was dropped."""
    alive = np.ones(len(edges.curves), dtype=bool)
    alive[list(verdict.dropped)] = False
    ends = np.flatnonzero(np.repeat(alive, 2))
    return Attached(node[ends].tolist(), edges.layer[ends >> 1].tolist())


def _closed_alike(edges: Edges, node: Ints, tol: Tolerances) -> list[list[int]]:
    """Closed curves (not circles) that fill the same box: the same loop may start at another corner."""
    rows = np.flatnonzero((node[0::2] == node[1::2]) & (edges.kind == OTHER))
    if rows.size < 2:
        return []
    boxes = np.array([_box(edges.curves[i]) for i in rows.tolist()])
    item, group = np.arange(rows.size), np.zeros(rows.size, dtype=np.int64)
    for axis in range(6):
        order, new = split_at_gaps(group, boxes[item, axis], tol.join)
        kept, group = keep_shared(order, new)
        item = item[kept]
        if not item.size:
            return []
    return [rows[g].tolist() for g in np.split(item, np.flatnonzero(np.diff(group)) + 1)]


def _box(curve: Curve) -> Array:
    points = sample(curve)
    return np.concatenate((points.min(axis=0), points.max(axis=0)))


def _sorted_out(edges: Edges, members: list[int], tol: Tolerances) -> Iterator[list[int]]:
    """Sets of two or more true twins among curves that share their ends."""
    sets: list[list[int]] = []
    for i in sorted(members):
        for twins in sets:
            if _same(edges.curves[twins[0]], edges.curves[i], tol.join):
                twins.append(i)
                break
        else:
            sets.append([i])
    return (twins for twins in sets if len(twins) > 1)


def _same(one: Curve, other: Curve, join: float) -> bool:
    """Whether two curves are the same within ``join``, in either direction, closed ones from any corner."""
    if isinstance(one, Line) and isinstance(other, Line):
        return True  # they share both nodes
    if isinstance(one, Arc) and isinstance(other, Arc):
        if one.angle == 360.0 or other.angle == 360.0:
            return False  # compared as circles
        return _within(np.array([one.point(one.angle / 2.0)]), np.array([other.point(other.angle / 2.0)]), join)
    if type(one) is not type(other):
        return is_straight(one, join) and is_straight(other, join)
    p, q = sample(one), sample(other)
    if p.shape != q.shape:
        p, q = _by_length(p), _by_length(q)
    if _within(p, q, join) or _within(p, q[::-1], join):
        return True
    if len(p) < 4 or not _within(p[:1], p[-1:], join) or not _within(q[:1], q[-1:], join):
        return False
    p, q = p[:-1], q[:-1]
    start = int(((q - p[0]) ** 2).sum(axis=1).argmin())
    turned = np.roll(q, -start, axis=0)
    return _within(p, turned, join) or _within(p, np.roll(turned[::-1], 1, axis=0), join)


def _within(p: Array, q: Array, join: float) -> bool:
    return bool((((p - q) ** 2).sum(axis=1) <= join * join).all())


def _by_length(points: Array, count: int = 257) -> Array:
    """Points at even steps of length along a polyline."""
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    s = np.concatenate(([0.0], np.cumsum(steps)))
    at = np.linspace(0.0, s[-1], count)
    return np.column_stack([np.interp(at, s, points[:, k]) for k in range(3)])


# --- overlaps on one carrier -------------------------------------------------------------------


def _overlaps(edges: Edges, node: Ints, tol: Tolerances, verdict: Verdict) -> None:
    """Straights that lie on one line first, then arcs that lie on one circle."""
    alive = np.ones(len(edges.curves), dtype=bool)
    alive[list(verdict.dropped)] = False
    lines = np.flatnonzero(alive & (edges.kind == LINE))
    owners = np.flatnonzero(alive & (edges.kind == ARC)).tolist()
    corners, round_parts = _fixed_parts(edges, alive) if lines.size or owners else ([], [])
    search = _OverlapSearch(edges, node, tol, verdict)
    search.resolve_lines(lines, corners)
    arcs = [cast(Arc, edges.curves[i]) for i in owners] + [arc for _, arc in round_parts]
    fixed = [False] * len(owners) + [True] * len(round_parts)
    search.resolve_circles(owners + [i for i, _ in round_parts], arcs, fixed)


def _fixed_parts(edges: Edges, alive: Flags) -> tuple[list[tuple[int, Array]], list[tuple[int, Arc]]]:
    """Straights and arcs inside polylines and paths, as many as is sensible: (edge, corners) and (edge, arc)."""
    straights: list[tuple[int, Array]] = []
    arcs: list[tuple[int, Arc]] = []
    room = _SEGMENTS
    for i in np.flatnonzero(alive & (edges.kind == OTHER)).tolist():
        curve = edges.curves[i]
        for part in curve.parts if isinstance(curve, Path) else (curve,):
            if isinstance(part, Arc):
                arcs.append((i, part))
            elif isinstance(part, (Line, Polyline)):
                points = sample(part)
                if len(points) <= min(_CORNERS, room):
                    straights.append((i, points))
                    room -= len(points)
    return straights, arcs


@dataclass(slots=True)
class _OverlapSearch:
    """Looks for overlaps among the curves that no twin has dropped.

    Attributes:
        edges, node, tol: as `drop_duplicates` has them.
        verdict: what becomes of them.
    """

    edges: Edges
    node: Ints
    tol: Tolerances
    verdict: Verdict
    _attached: Attached | None = None  # as the twins left it

    def resolve_lines(self, lines: Ints, corners: list[tuple[int, Array]]) -> None:
        """Settle straights that overlap on one line.

        Args:
            lines: edges that are straights.
            corners: straights within polylines and paths, which stay as they are: the edge, and its corners.
        """
        edges = self.edges
        owner, start, end = lines, edges.points[2 * lines], edges.points[2 * lines + 1]
        if corners and lines.size:
            owner = np.concatenate((owner, np.repeat([i for i, _ in corners], [len(p) - 1 for _, p in corners])))
            start = np.concatenate((start, *(p[:-1] - edges.origin for _, p in corners)))
            end = np.concatenate((end, *(p[1:] - edges.origin for _, p in corners)))
        groups = overlapping_straights(Straights(start, end), self.tol.join)
        for group in (part for rows in groups for part in _by_group(edges, rows, owner[rows].tolist())):
            if min(group) < lines.size:
                fixed = [row >= lines.size for row in group]
                self._resolve_line(owner[group].tolist(), fixed, start[group], end[group])

    def resolve_circles(self, owners: list[int], arcs: list[Arc], fixed: list[bool]) -> None:
        """Settle arcs that overlap on one circle: of these edges; those within polylines and paths are fixed."""
        groups = overlapping_arcs(arcs, self.tol.join)
        for group in (part for rows in groups for part in _by_group(self.edges, rows, [owners[k] for k in rows])):
            if not all(fixed[k] for k in group):
                self._resolve_circle([(owners[k], arcs[k], fixed[k]) for k in group])

    def _resolve(self, members: list[Member], cut: Callable[[Member, float, float], Curve], turn: float = inf) -> None:
        self._attached = self._attached or _attached(self.edges, self.node, self.verdict)
        resolve(members, self._attached, self.tol.join, cut, self.verdict, turn=turn)

    def _resolve_line(self, owners: list[int], fixed: list[bool], start: Array, end: Array) -> None:
        edges = self.edges
        steps = end - start
        longest = int((steps * steps).sum(axis=1).argmax())
        origin, d = start[longest], steps[longest] / np.linalg.norm(steps[longest])
        a, b = ((start - origin) @ d).tolist(), ((end - origin) @ d).tolist()
        members = []
        points: dict[float, Vec] = {}
        forward: dict[int, bool] = {}
        for k, edge in enumerate(owners):
            layer = int(edges.layer[edge])
            ahead = a[k] < b[k]
            low, high = (a[k], b[k]) if ahead else (b[k], a[k])
            if fixed[k]:
                members.append(Member(edge, layer, low, high, fixed=True))
                continue
            first, last = (2 * edge, 2 * edge + 1) if ahead else (2 * edge + 1, 2 * edge)
            members.append(Member(edge, layer, low, high, int(self.node[first]), int(self.node[last])))
            points.setdefault(low, edges.place(first))
            points.setdefault(high, edges.place(last))
            forward[edge] = ahead

        def cut(member: Member, low: float, high: float) -> Curve:
            p, q = points[low], points[high]
            return Line(p, q) if forward[member.edge] else Line(q, p)

        self._resolve(members, cut)

    def _resolve_circle(self, group: list[tuple[int, Arc, bool]]) -> None:
        lead = max((arc for _, arc, _ in group), key=lambda arc: arc.angle)
        per_degree = lead.length / lead.angle
        spans = []
        for _, arc, _ in group:
            ahead = float(np.dot(arc.normal, lead.normal)) > 0.0
            spans.append((lead.angle_to(arc.start if ahead else arc.end), arc.angle, ahead))
        seam = _seam(spans, self.tol.join / per_degree)
        members = []
        ahead_of: dict[int, bool] = {}
        for (edge, arc, fixed), (begin, angle, ahead) in zip(group, spans, strict=True):
            low = 0.0 if arc.angle == 360.0 else ((begin - seam + 1e-6) % 360.0 - 1e-6) * per_degree
            low_end, high_end = (2 * edge, 2 * edge + 1) if ahead else (2 * edge + 1, 2 * edge)
            nodes = (-1, -1) if fixed else (int(self.node[low_end]), int(self.node[high_end]))
            members.append(
                Member(edge, int(self.edges.layer[edge]), low, low + angle * per_degree, *nodes, fixed=fixed)
            )
            ahead_of[edge] = ahead
        arcs = {edge: arc for edge, arc, fixed in group if not fixed}

        def cut(member: Member, low: float, high: float) -> Curve:
            arc = arcs[member.edge]
            angle = min((high - low) / per_degree, 360.0)
            if ahead_of[member.edge]:
                return Arc.swept(arc.center, arc.normal, arc.point((low - member.low) / per_degree), angle)
            return Arc.swept(arc.center, arc.normal, arc.point((member.high - high) / per_degree), angle)

        self._resolve(members, cut, 360.0 * per_degree)


def _seam(spans: list[tuple[float, float, bool]], slack: float) -> float:
    """Where to cut the circle open: a place no arc runs over, else the start of the longest arc."""
    for begin, _, _ in spans:
        if not any(slack < (begin - other) % 360.0 < angle - slack for other, angle, _ in spans):
            return begin
    return max(spans, key=lambda span: span[1])[0]
