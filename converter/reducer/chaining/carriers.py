"""Which straights share a carrier line and overlap, which arcs share a circle and overlap.

Nothing here compares everything with everything: candidates come from sorting, group by
group, along direction, offset and place; only what is left is measured exactly. A drawing
without overlaps leaves nothing after a few sorts.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints, distinct, vectors
from converter.geometry.clusters import cell_entries, components, keep_shared, split_at_gaps
from converter.model.curve import Arc

#: Directions are grouped in cells this wide (per component of the unit vector); two straights whose
#: directions differ by less than the slack always meet in a cell: 0.01 mm of rounding on 40 mm.
_CELL, _SLACK = 1e-2, 5e-4
#: A direction's sign is taken so that it points along this; no axis or diagonal is square to it.
_AHEAD = np.array([0.7236067977, 0.5257311121, 0.4472135955])


@dataclass(frozen=True, slots=True)
class Straights:
    """Straights to compare: (m, 3) starts and ends relative to the drawing's corner."""

    start: Array
    end: Array


def overlapping_straights(lines: Straights, join: float) -> list[list[int]]:
    """Groups of two or more straights that lie on one line (within ``join``) and overlap (by more than ``join``).

    Args:
        lines: the straights.
        join: the join tolerance in mm.
    """
    step = lines.end - lines.start
    length = np.sqrt((step * step).sum(axis=1))
    usable = np.flatnonzero(length > join)
    if usable.size < 2:
        return []
    d = step[usable] / length[usable, None]
    ahead = d @ _AHEAD
    d = np.where((ahead < 0.0)[:, None], -d, d)
    # nearly square to the reference: either sign may come out, so both are entered
    both = np.flatnonzero(np.abs(ahead) < _SLACK)
    if both.size:
        d = np.concatenate((d, -d[both]))
        usable = np.concatenate((usable, usable[both]))
    key, who = cell_entries(d, _SLACK, _CELL)
    item, group = keep_shared(who, key)
    if not item.size:
        return []
    direction, line, group = d[item], usable[item], _numbered(group)
    # one frame per group, and how far its members stray from the group's direction
    heads = np.flatnonzero(np.concatenate(([True], group[1:] != group[:-1])))
    mean = np.add.reduceat(direction, heads)
    mean /= np.sqrt((mean * mean).sum(axis=1))[:, None]
    stray = direction - mean[group]
    spread = np.sqrt(np.maximum.reduceat((stray * stray).sum(axis=1), heads))
    reach = join + spread * np.maximum.reduceat(length[line], heads)
    pick = np.abs(mean).argmin(axis=1)
    u = np.cross(mean, np.eye(3)[pick])
    u /= np.sqrt((u * u).sum(axis=1))[:, None]
    v = np.cross(mean, u)
    middle = 0.5 * (lines.start[line] + lines.end[line])
    frame, tol = group, reach[group]
    for axis in (u, v):
        offset = (middle * axis[frame]).sum(axis=1)
        order, new = split_at_gaps(group, offset, tol)
        kept, group = keep_shared(order, new)
        if not kept.size:
            return []
        line, frame, tol, middle = line[kept], frame[kept], tol[kept], middle[kept]
    t0 = (lines.start[line] * mean[frame]).sum(axis=1)
    t1 = (lines.end[line] * mean[frame]).sum(axis=1)
    low, high = np.minimum(t0, t1), np.maximum(t0, t1)
    return _verified(lines, length, line, _numbered(group), low, high, join)


def _numbered(group: Ints) -> Ints:
    """Sorted group labels as 0, 1, 2, ..."""
    numbers: Ints = np.concatenate(([0], np.cumsum(group[1:] != group[:-1])))
    return numbers


def _verified(
    lines: Straights, length: Array, line: Ints, group: Ints, low: Array, high: Array, join: float
) -> list[list[int]]:
    """Sweep each group along its line; keep what overlaps and truly shares a carrier."""
    order = np.lexsort((low, group))
    line, group, low, high = line[order], group[order], low[order], high[order]
    base = float(low.min())
    lift = group * (float(high.max()) - base + 1.0)  # groups one after the other on one axis
    reach = high - base + lift
    record = np.maximum.accumulate(reach)
    holder = np.maximum.accumulate(np.where(reach >= record, np.arange(line.size), 0))
    over = np.concatenate(([False], low[1:] - base + lift[1:] < record[:-1] - join))
    stretch, kept = np.cumsum(~over), np.arange(line.size)
    kept, stretch = keep_shared(kept, stretch)
    if not kept.size:
        return []
    follows = kept[over[kept]]
    against = holder[follows - 1]
    alike = _one_carrier(lines, length, line[follows], line[against], join)
    a, b = [line[follows[alike]]], [line[against[alike]]]
    if not alike.all():  # parallel neighbours in between: look at every overlapping pair of those stretches
        number = np.cumsum(~over)
        mixed = kept[np.isin(stretch, number[follows[~alike]])]
        number = number[mixed]
        at = np.arange(mixed.size)
        shift = 1
        while at.size:
            at = at[at + shift < mixed.size]
            i, j = mixed[at], mixed[at + shift]
            at = at[(number[at] == number[at + shift]) & (low[j] < high[i] - join)]
            i, j = line[mixed[at]], line[mixed[at + shift]]
            same = _one_carrier(lines, length, i, j, join)
            a.append(i[same])
            b.append(j[same])
            shift += 1
    return _listed(len(length), np.concatenate(a), np.concatenate(b))


def _one_carrier(lines: Straights, length: Array, i: Ints, j: Ints, join: float) -> NDArray[np.bool_]:
    """Whether both ends of the shorter straight of each pair lie within ``join`` of the longer one's line."""
    swap = length[i] < length[j]
    long, short = np.where(swap, j, i), np.where(swap, i, j)
    d = (lines.end[long] - lines.start[long]) / length[long, None]
    good = np.ones(i.size, dtype=bool)
    for point in (lines.start[short], lines.end[short]):
        off = np.cross(point - lines.start[long], d)
        good &= (off * off).sum(axis=1) <= join * join
    good &= i != j
    return good


def _listed(n: int, a: Ints, b: Ints) -> list[list[int]]:
    label = components(n, a, b)
    members = distinct(np.concatenate((a, b)))
    groups: dict[int, list[int]] = {}
    for m, head in zip(members.tolist(), label[members].tolist(), strict=True):
        groups.setdefault(head, []).append(m)
    return list(groups.values())


def overlapping_arcs(arcs: list[Arc], join: float) -> list[list[int]]:
    """Groups of two or more arcs of one circle (within ``join``) of which some overlap (by more than ``join``).

    Args:
        arcs: the arcs, world coordinates.
        join: the join tolerance in mm.
    """
    if len(arcs) < 2:
        return []
    center = vectors([a.center for a in arcs])
    radius = np.array([a.radius for a in arcs])
    item, group = np.arange(len(arcs)), np.zeros(len(arcs), dtype=np.int64)
    for values in (center[:, 0], center[:, 1], center[:, 2], radius):
        order, new = split_at_gaps(group, values[item], join)
        kept, group = keep_shared(order, new)
        if not kept.size:
            return []
        item = item[kept]
    group = _numbered(group)
    return _overlapping_on_circles(arcs, item, group, join)


def _overlapping_on_circles(arcs: list[Arc], item: Ints, group: Ints, join: float) -> list[list[int]]:
    mine = [arcs[i] for i in item.tolist()]
    normal, center = vectors([a.normal for a in mine]), vectors([a.center for a in mine])
    start, end = vectors([a.start for a in mine]), vectors([a.end for a in mine])
    radius, sweep = np.array([a.radius for a in mine]), np.radians([a.angle for a in mine])
    heads = np.flatnonzero(np.concatenate(([True], group[1:] != group[:-1])))
    head = heads[group]
    tilt = np.cross(normal, normal[head])
    flat = np.sqrt((tilt * tilt).sum(axis=1)) * radius <= join
    along = (normal * normal[head]).sum(axis=1) > 0.0
    x = start[head] - center[head]
    x /= np.sqrt((x * x).sum(axis=1))[:, None]
    y = np.cross(normal[head], x)
    arm = np.where(along[:, None], start, end) - center
    slack = join / radius
    # an angle within the slack below 0 is 0: the first arc's own start must not come last
    angle = np.mod(np.arctan2((arm * y).sum(axis=1), (arm * x).sum(axis=1)) + slack, 2.0 * pi)
    order = np.lexsort((angle, group))
    g, a, w = group[order], angle[order], sweep[order]
    last = np.concatenate((g[1:] != g[:-1], [True]))
    following = np.where(last, a[heads][g] + 2.0 * pi, np.roll(a, -1))
    over = a + w > following + slack[order]
    wanted = np.zeros(heads.size, dtype=bool)
    wanted[g[over]] = True
    wanted[group[~flat]] = True
    tails = np.concatenate((heads[1:], [group.size]))
    groups: list[list[int]] = []
    for i in np.flatnonzero(wanted).tolist():
        groups += _by_circle(arcs, item[heads[i] : tails[i]].tolist(), join)
    return groups


def _by_circle(arcs: list[Arc], members: list[int], join: float) -> list[list[int]]:
    """Members of one cluster of centres and radii, sorted out by circle: longest arcs lead."""
    circles: list[list[int]] = []
    for i in sorted(members, key=lambda m: -arcs[m].angle):
        for circle in circles:
            if _one_circle(arcs[circle[0]], arcs[i], join):
                circle.append(i)
                break
        else:
            circles.append([i])
    return [sorted(circle) for circle in circles if len(circle) > 1]


def _one_circle(a: Arc, b: Arc, join: float) -> bool:
    offset = np.subtract(a.center, b.center)
    tilt = np.cross(a.normal, b.normal)
    r = max(a.radius, b.radius)
    return bool(
        abs(a.radius - b.radius) <= join
        and float(np.sqrt(offset @ offset)) <= join
        and float(np.sqrt(tilt @ tilt)) * r <= join
    )
