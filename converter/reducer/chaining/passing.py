"""Corners that lie on another curve: two ends that meet on a tube end there, they are no bend of one.

A rail and a brace that land at one place of a post share a node, but no tube bends inside another.
It is the rule of junctions with the post, drawn in one piece, as the pair that runs through.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import cast

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints
from converter.model.curve import Arc, Line, Path, Polyline
from converter.reducer.chaining.edges import ARC, LINE, Edges, vectors

#: Pairs of a point and a curve's box that are compared at a time.
_AT_ONCE = 2_000_000


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
