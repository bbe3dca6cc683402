"""Which end goes on into which other end, first within each layer, then from layer to layer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import radians, sin
from typing import cast

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints, vectors
from converter.geometry.clusters import close_pairs
from converter.model.curve import Arc, Line, Path, Polyline
from converter.reducer.chaining.edges import ARC, LINE, Edges
from converter.reducer.chaining.ends import is_straight
from converter.tolerances import Tolerances

#: A run goes through a junction, or on to another layer, when its direction changes by at most this many
#: degrees: more than the tangency tolerance, since CAD rounding of a short chord turns it by more, and far
#: less than any bend worth making.
RUN_THROUGH = 1.0
#: Up to this many ends at one node all pairs are compared; above, an index finds the opposite directions.
_FEW = 100
#: Pairs of a point and a curve's box that are compared at a time.
_AT_ONCE = 2_000_000


@dataclass(slots=True)
class Links:
    """What was decided.

    Attributes:
        link: (2n,) the end that each end goes on into, or -1.
        crossing: (2n,) whether that joint leads to another layer.
        junctions: per junction on one layer: its ends, how many pairs run through, whether the choice was tied.
        passed: per corner that lies on another curve of its layer: one of its two ends, and that curve's edge.
    """

    link: Ints
    crossing: Ints
    junctions: list[tuple[list[int], int, bool]] = field(default_factory=list)
    passed: list[tuple[int, int]] = field(default_factory=list)


def _groups(ends: Ints, key: Ints) -> tuple[Ints, Ints, Ints]:
    """Ends sorted by key, with the start and size of each group."""
    order = np.argsort(key, kind="stable")
    k = key[order]
    starts = np.flatnonzero(np.concatenate(([True], k[1:] != k[:-1]))) if k.size else order
    return ends[order], starts, np.diff(np.concatenate((starts, [k.size])))


def _limit(tol: Tolerances) -> float:
    """Length of the sum of two outward unit directions at the largest turn that still runs through."""
    return 2.0 * sin(radians(max(RUN_THROUGH, tol.tangent)) / 2.0)


def _tangent_pairs(out: Array, limit: float) -> list[tuple[float, int, int]]:
    """Pairs of ends whose outward directions oppose each other: (miss, i, j), i < j."""
    n = len(out)
    if n <= _FEW:
        i, j = np.triu_indices(n, 1)
    else:
        a, b = close_pairs(np.concatenate((out, -out)), limit)
        cross = (a < n) & (b >= n) & (a < b - n)
        i, j = a[cross], b[cross] - n
    total = out[i] + out[j]
    miss = np.sqrt((total * total).sum(axis=1))
    near = miss <= limit
    return list(zip(miss[near].tolist(), i[near].tolist(), j[near].tolist(), strict=True))


def join_within_layers(edges: Edges, node: Ints, active: Ints, tol: Tolerances) -> Links:
    """Joints on each layer by itself.

    Two ends that meet join, smooth or not (a sharp corner is a bend to be made), unless they meet at a
    corner on another curve of their layer: then both end there. Of three or more,
    pairs that continue tangent run through, the smoothest first (two straights before others when equally
    smooth, then in drawn order); what is left over ends there.

    Args:
        edges: the curves.
        node: node of each end.
        active: the ends that take part (not those of closed curves and specks).
        tol: the tolerances.
    """
    links = Links(np.full(2 * len(edges.curves), -1), np.zeros(2 * len(edges.curves), dtype=np.int64))
    ends, starts, sizes = _groups(active, node[active] * len(edges.layers) + edges.layer[active >> 1])
    two = starts[sizes == 2]
    limit = _limit(tol)
    one, other = ends[two], ends[two + 1]
    turn = edges.outward(one) + edges.outward(other)
    sharp = np.flatnonzero((turn * turn).sum(axis=1) > limit * limit)
    if sharp.size:
        passing = passed(edges, one[sharp], tol.join)
        kept = np.ones(one.size, dtype=bool)
        kept[sharp[passing >= 0]] = False
        links.passed = list(zip(one[~kept].tolist(), passing[passing >= 0].tolist(), strict=True))
        one, other = one[kept], other[kept]
    links.link[one], links.link[other] = other, one
    for start, size in zip(starts[sizes > 2].tolist(), sizes[sizes > 2].tolist(), strict=True):
        group = np.sort(ends[start : start + size])
        pairs = _tangent_pairs(edges.outward(group), limit)
        straight = (edges.kind[group >> 1] == LINE).tolist()
        # misses closer than 1e-4 (0.006 degrees) are rounding, not a preference
        pairs.sort(key=lambda p: (round(p[0], 4), not (straight[p[1]] and straight[p[2]]), p[1], p[2]))
        taken: set[int] = set()
        tied = False
        through = 0
        for _, i, j in pairs:
            if i in taken or j in taken:
                tied = True
                continue
            taken |= {i, j}
            through += 1
            links.link[group[i]], links.link[group[j]] = group[j], group[i]
        links.junctions.append((group.tolist(), through, tied))
    return links


def join_across_layers(edges: Edges, node: Ints, active: Ints, tol: Tolerances, links: Links) -> None:
    """Loose ends of different layers that continue tangent, with no other candidate, join.

    A loose end is alone on its layer in its node. One sketch is often spread over layers (straights on one,
    arcs on another), so straight to arc and arc to arc join. A straight onto a straight joins only when both
    runs have bends of their own: a lone straight in line with a run would lengthen it in silence (a
    construction line, an axis), so it stays a run of its own. Curves of different groups never join.
    """
    ends, starts, sizes = _groups(active, node[active] * len(edges.layers) + edges.layer[active >> 1])
    alone = ends[starts[sizes == 1]]
    loose, starts, sizes = _groups(
        alone, node[alone] * (int(edges.group.max()) + 1) + edges.group[edges.layer[alone >> 1]]
    )
    before = links.link.copy()
    limit = _limit(tol)
    chosen: list[tuple[int, int]] = []
    two = starts[sizes == 2]
    if two.size:
        first, second = loose[two], loose[two + 1]
        total = edges.outward(first) + edges.outward(second)
        smooth = (total * total).sum(axis=1) <= limit * limit
        for a, b in zip(first[smooth].tolist(), second[smooth].tolist(), strict=True):
            if not _lengthens(edges, before, a, b, tol):
                chosen.append((a, b))
    for start, size in zip(starts[sizes > 2].tolist(), sizes[sizes > 2].tolist(), strict=True):
        group = loose[start : start + size]
        pairs = [
            (int(group[i]), int(group[j]))
            for _, i, j in _tangent_pairs(edges.outward(group), limit)
            if not _lengthens(edges, before, int(group[i]), int(group[j]), tol)
        ]
        for pair in pairs:
            if sum(bool({*pair} & {*other}) for other in pairs) == 1:  # no other candidate than each other
                chosen.append(pair)
    for a, b in chosen:
        links.link[a], links.link[b] = b, a
        links.crossing[a] = links.crossing[b] = 1


def _lengthens(edges: Edges, link: Ints, a: int, b: int, tol: Tolerances) -> bool:
    """Whether joining two tangent ends would only lengthen a run by a lone straight."""
    if not (is_straight(edges.curves[a >> 1], tol.fit) and is_straight(edges.curves[b >> 1], tol.fit)):
        return False
    return _lone_straight(edges, link, a, tol) or _lone_straight(edges, link, b, tol)


def _lone_straight(edges: Edges, link: Ints, end: int, tol: Tolerances) -> bool:
    """Whether the run that ends here is nothing but straights in one line."""
    at, limit = end, _limit(tol)
    while True:
        if not is_straight(edges.curves[at >> 1], tol.fit):
            return False
        far = at ^ 1
        at = int(link[far])
        if at < 0 or at == end:
            return True
        turn = edges.outward(np.array([far, at])).sum(axis=0)
        if float(np.sqrt((turn * turn).sum())) > limit:
            return False


# --- corners that lie on another curve --------------------------------------------------------
# A rail and a brace that land at one place of a post share a node, but no tube bends inside another. It is the rule of
# junctions with the post, drawn in one piece, as the pair that runs through.


def passed(edges: Edges, ends: Ints, reach: float, among: Ints | None = None) -> Ints:
    """The edge that passes through the place of each end, or -1.

    Args:
        edges: the curves.
        ends: (m,) ends.
        reach: how far in mm from a curve its points may lie, and from its ends they must.
        among: the edges that are looked at; None for all.

    Returns:
        (m,) the lowest-numbered edge of the end's own layer that has the place inside it, not at its
        ends; of splines and ellipses none is found.
    """
    found = np.full(ends.size, -1)
    if not ends.size:
        return found
    start, step, owner, arcs, arc_owner = _pieces(edges, np.arange(len(edges.curves)) if among is None else among)
    places, layers = edges.points[ends], edges.layer[ends >> 1]
    low, high = np.minimum(start, start + step), np.maximum(start, start + step)
    for who, k in _near(places, layers, low, high, edges.layer[owner], reach):
        arm = places[who] - start[k]
        length2 = (step[k] * step[k]).sum(axis=1)
        along = (arm * step[k]).sum(axis=1) / np.sqrt(length2)
        off2 = (arm * arm).sum(axis=1) - along * along
        _take(found, who, owner[k], (off2 <= reach * reach) & (along > reach) & (along < np.sqrt(length2) - reach))
    if arcs:
        center = vectors([a.center for a in arcs]) - edges.origin
        normal, begin = vectors([a.normal for a in arcs]), vectors([a.start for a in arcs]) - edges.origin
        radius = np.array([a.radius for a in arcs])
        sweep = np.radians([a.angle for a in arcs])
        low, high = center - radius[:, None], center + radius[:, None]
        for who, k in _near(places, layers, low, high, edges.layer[arc_owner], reach):
            arm, x = places[who] - center[k], begin[k] - center[k]
            up = (arm * normal[k]).sum(axis=1)
            flat = arm - up[:, None] * normal[k]
            out = np.sqrt((flat * flat).sum(axis=1)) - radius[k]
            turned = (np.cross(normal[k], x) * arm).sum(axis=1), (x * arm).sum(axis=1)
            angle = np.arctan2(*turned) % (2.0 * np.pi)
            slack = reach / radius[k]
            on = (out * out + up * up <= reach * reach) & (angle > slack) & (angle < sweep[k] - slack)
            _take(found, who, arc_owner[k], on)
    return found


def _take(found: Ints, who: Ints, edge: Ints, on: NDArray[np.bool_]) -> None:
    """Keep the lowest-numbered edge of each."""
    for i, e in zip(who[on].tolist(), edge[on].tolist(), strict=True):
        if found[i] < 0 or e < found[i]:
            found[i] = e


def _pieces(edges: Edges, among: Ints) -> tuple[Array, Array, Ints, list[Arc], Ints]:
    """Straights (start, step, edge) and arcs (arc, edge), those within polylines and paths too."""
    kind = edges.kind[among]
    plain = among[kind == LINE]
    start, step = edges.points[2 * plain], edges.points[2 * plain + 1] - edges.points[2 * plain]
    arc_owner = among[kind == ARC].tolist()
    arcs = [cast(Arc, edges.curves[i]) for i in arc_owner]
    starts, steps, owner = [start], [step], [plain]
    for i in among[(kind != LINE) & (kind != ARC)].tolist():
        curve = edges.curves[i]
        parts = curve.parts if isinstance(curve, Path) else (curve,)
        for part in parts:
            if isinstance(part, Arc):
                arcs.append(part)
                arc_owner.append(i)
            elif isinstance(part, (Line, Polyline)):
                points = part.points if isinstance(part, Polyline) else np.array([part.start, part.end])
                starts.append(points[:-1] - edges.origin)
                steps.append(np.diff(points, axis=0))
                owner.append(np.full(len(points) - 1, i))
    start, step, owners = np.concatenate(starts), np.concatenate(steps), np.concatenate(owner)
    real = (step * step).sum(axis=1) > 0.0
    return start[real], step[real], owners[real], arcs, np.array(arc_owner, dtype=np.int64)


def _near(
    places: Array, layers: Ints, low: Array, high: Array, box_layers: Ints, reach: float
) -> Iterator[tuple[Ints, Ints]]:
    """Pairs (place, box) of one layer where the place lies in the box, block by block.

    The axis that parts places and boxes best proposes the pairs.
    """
    best = None
    for axis in range(3):
        order = np.argsort(places[:, axis], kind="stable")
        sorted_places = places[order, axis]
        first = np.searchsorted(sorted_places, low[:, axis] - reach, "left")
        last = np.searchsorted(sorted_places, high[:, axis] + reach, "right")
        total = int((last - first).sum())
        if best is None or total < best[0]:
            best = (total, order, first, last - first)
    assert best is not None
    _, order, first, count = best
    ends = np.cumsum(count)
    done = 0
    while done < len(count):
        base = ends[done - 1] if done else 0
        stop = max(done + 1, int(np.searchsorted(ends, base + _AT_ONCE, "right")))
        some = count[done:stop]
        box = np.repeat(np.arange(done, stop), some)
        offset = np.arange(int(some.sum())) - np.repeat(np.cumsum(some) - some, some)
        who = order[np.repeat(first[done:stop], some) + offset]
        same = layers[who] == box_layers[box]
        who, box = who[same], box[same]
        for axis in range(3):
            at = places[who, axis]
            inside = (at >= low[box, axis] - reach) & (at <= high[box, axis] + reach)
            who, box = who[inside], box[inside]
        yield who, box
        done = stop
