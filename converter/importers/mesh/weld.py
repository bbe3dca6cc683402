"""From triangle soup to bodies: corners at one place become one vertex, joined triangles one body.

Everything is done for the whole file at once with numpy and one graph search, so that neither
many triangles nor many bodies cost more than their share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints

#: Corners are also put together within this share of the extent when exact equality joins next to nothing.
NEAR = 2e-7
ON_SIDE = 1e-5  #: of a side's length: a vertex so near to it lies on it
MOST_RIM, MOST_NEAR = 300_000, 3_000_000  #: sides of one triangle only, and vertices about them, that are looked at


@dataclass(frozen=True, slots=True, eq=False)
class MeshBody:
    """One connected piece of mesh.

    Attributes:
        points: (n, 3) vertices in mm, those its faces use.
        faces: (m, 3) indices into ``points``; no face has an area of nothing.
        normals: (m, 3) unit normals by the order of the corners.
        areas: (m,) in mm2.
        rim: number of edges that belong to one face only.
        tangled: number of edges that belong to three faces or more.
    """

    points: Array
    faces: Ints
    normals: Array
    areas: Array
    rim: int
    tangled: int

    @property
    def is_open(self) -> bool:
        """Whether the surface has a rim."""
        return self.rim > 0


@dataclass(frozen=True, slots=True)
class Welded:
    """The bodies of one mesh, largest index first drawn first, and how many faces had no area.

    ``on_sides``: vertices in the middle of another triangle's side (T-junctions), drawn to that side's nearer end: they
    lie on a chord of the surface and not on it.
    """

    bodies: tuple[MeshBody, ...]
    flat: int
    on_sides: int = 0


def weld(points: Array, faces: Ints) -> Welded:
    """Split a mesh into its bodies.

    Args:
        points: (n, 3) finite vertices in mm, doubled or not.
        faces: (m, 3) indices.
    """
    if len(faces) == 0:
        return Welded((), 0)
    merged, index = _unique(points)
    corners = index[faces]
    welded = _bodies(merged, corners)
    if len(welded.bodies) > max(20, len(faces) // 4):
        # a writer that rounds each triangle by itself: nearly equal corners are equal
        size = float(np.ptp(points, axis=0).max())
        grid = np.round((points - points.min(axis=0)) / max(size * NEAR, 1e-300))
        merged, index = _unique(points, grid)
        welded = _bodies(merged, index[faces])
    return without_t_junctions(merged, index[faces], welded)


def _unique(points: Array, keys: Array | None = None) -> tuple[Array, Ints]:
    """Rows that differ, and for each row which of them it is; by exact value of ``keys``."""
    rows = np.ascontiguousarray((points if keys is None else keys) + 0.0)  # -0 and 0 are one
    bits = rows.view(np.uint64)
    # a 64-bit hash of the row stands for the row: with a million rows a clash has odds of 1 in 10 million
    mixed = np.zeros(len(rows), np.uint64)
    with np.errstate(over="ignore"):
        for column, odd in enumerate((0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)):
            mixed ^= bits[:, column] * np.uint64(odd)
            mixed ^= mixed >> np.uint64(29)
            mixed *= np.uint64(0xBF58476D1CE4E5B9)
            mixed ^= mixed >> np.uint64(32)
    _, first, inverse = np.unique(mixed, return_index=True, return_inverse=True)
    return points[first], inverse.reshape(-1).astype(np.int64)


def _bodies(points: Array, faces: Ints) -> Welded:
    kept, unit, areas = _with_area(points, faces)
    flat = int(len(faces) - len(kept))
    if len(kept) == 0:
        return Welded((), flat)
    n = len(points)
    of_face = _body_of_face(n, kept)
    counts = np.bincount(of_face)
    if len(counts) > 1:
        order = np.argsort(of_face, kind="stable")
        kept, of_face, unit, areas = kept[order], of_face[order], unit[order], areas[order]
    stops = np.cumsum(counts)
    rims, tangles, crooked = _edges(kept, of_face, len(counts))
    # vertices numbered body by body: a vertex is in one body only
    owner = np.full(n, len(counts), np.int64)
    owner[kept.reshape(-1)] = of_face.repeat(3)
    by_body = np.argsort(owner, kind="stable")
    offsets = np.searchsorted(owner[by_body], np.arange(len(counts) + 1))
    number = np.empty(n, np.int64)
    number[by_body] = np.arange(n)
    local = number[kept]
    coordinates = points[by_body]
    out = []
    for k, stop in enumerate(stops.tolist()):
        start = stop - int(counts[k])
        at, end = int(offsets[k]), int(offsets[k + 1])
        body = MeshBody(
            coordinates[at:end],
            local[start:stop] - at,
            unit[start:stop],
            areas[start:stop],
            int(rims[k]),
            int(tangles[k]),
        )
        out.append(_looking_one_way(body) if crooked[k] else body)
    return Welded(tuple(_looking_out(out)), flat)


def _with_area(points: Array, faces: Ints) -> tuple[Ints, Array, Array]:
    """The triangles that have an area (n, 3), their unit normals (n, 3) and areas (n,) in mm2."""
    a, b, c = (points[faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    double = np.sqrt(np.einsum("ij,ij->i", cross, cross))
    size = np.maximum.reduce([np.abs(ends[:, k] - a[:, k]) for ends in (b, c) for k in range(3)])
    good = double > 1e-12 * size * size
    return faces[good], cross[good] / double[good, None], 0.5 * double[good]


def _body_of_face(count: int, faces: Ints) -> Ints:
    """(m,) the body that each triangle belongs to, in the order of their first ones; ``count`` points in all."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    i, j = (np.concatenate((faces[:, k], faces[:, k + 1])).astype(np.int32) for k in range(2))
    graph = coo_matrix((np.ones(len(i), np.int8), (i, j)), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    _, first, of_face = np.unique(label[faces[:, 0]], return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first, kind="stable")] = np.arange(len(first))
    return rank[of_face.reshape(-1)]


def _looking_out(bodies: list[MeshBody]) -> list[MeshBody]:
    """Bodies, closed ones that are inside out turned over, but for those within the box of another, maybe its bore."""
    inverted = [k for k, body in enumerate(bodies) if not body.is_open and _volume(body) < 0.0]
    if not inverted:
        return bodies
    low = np.array([body.points.min(axis=0) for body in bodies])
    high = np.array([body.points.max(axis=0) for body in bodies])
    for k in inverted:
        if not ((low < low[k]).all(axis=1) & (high > high[k]).all(axis=1)).any():
            bodies[k] = _turned(bodies[k], np.ones(len(bodies[k].faces), bool))
    return bodies


def _volume(body: MeshBody) -> float:
    """mm3 within a closed surface, below 0 where it is inside out; of an open one a number of its sense."""
    arms = body.points[body.faces[:, 0]] - body.points[0]
    return float(np.einsum("ij,ij->i", arms, body.normals) @ body.areas) / 3.0


def _turned(body: MeshBody, which: NDArray[np.bool_]) -> MeshBody:
    """A body, of its faces those turned over that are asked for."""
    return replace(
        body,
        faces=np.where(which[:, None], body.faces[:, ::-1], body.faces),
        normals=np.where(which[:, None], -body.normals, body.normals),
    )


def without_t_junctions(points: Array, faces: Ints, welded: Welded) -> Welded:
    """The same bodies, of a mesh whose vertices on the sides of other triangles are drawn to the ends of those sides.

    Args:
        points: (n, 3) mm.
        faces: (m, 3) indices.
        welded: what they are as they stand.
    """
    from scipy.spatial import cKDTree

    if not any(body.is_open for body in welded.bodies):
        return welded
    pairs = np.sort(np.concatenate((faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]])), axis=1)
    key, count = np.unique(pairs[:, 0] * np.int64(len(points)) + pairs[:, 1], return_counts=True)
    rim = key[count == 1]
    a, b = rim // len(points), rim % len(points)
    ends = np.unique(np.concatenate((a, b)))
    if not 3 <= len(rim) <= MOST_RIM:
        return welded
    side = points[b] - points[a]
    length = np.sqrt((side * side).sum(axis=1))
    tree = cKDTree(points[ends])
    middle = (points[a] + points[b]) / 2.0
    inside = tree.query_ball_point(middle, 0.5 * length, return_length=True)
    if int(inside.sum()) > MOST_NEAR:
        return welded
    near = tree.query_ball_point(middle, 0.5 * length)
    which = np.repeat(np.arange(len(rim)), [len(found) for found in near])
    vertex = ends[np.array([v for found in near for v in found], dtype=np.int64)]
    arm = points[vertex] - points[a[which]]
    share = np.einsum("ij,ij->i", arm, side[which]) / np.maximum(length[which] ** 2, 1e-300)
    off = arm - share[:, None] * side[which]
    on = (np.einsum("ij,ij->i", off, off) < (ON_SIDE * length[which]) ** 2) & (share > 1e-3) & (share < 1.0 - 1e-3)
    if not on.any():
        return welded
    onto = np.arange(len(points))
    onto[vertex[on]] = np.where(share[on] < 0.5, a[which[on]], b[which[on]])
    for _ in range(8):  # an end may lie on a side, too
        onto = onto[onto]
    drawn = onto[faces]
    whole = (drawn[:, 0] != drawn[:, 1]) & (drawn[:, 1] != drawn[:, 2]) & (drawn[:, 0] != drawn[:, 2])
    return replace(_bodies(points, drawn[whole]), flat=welded.flat, on_sides=int((onto[ends] != ends).sum()))


def _looking_one_way(body: MeshBody) -> MeshBody:
    """A body whose faces all look to one side: out of it where it is closed, else as most of its surface does.

    Some programs mesh each face of a solid by itself and give its triangles the sense of that face's own numbers.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order, connected_components

    count = len(body.faces)
    pairs = np.concatenate((body.faces[:, [0, 1]], body.faces[:, [1, 2]], body.faces[:, [2, 0]]))
    key = pairs.min(axis=1) * np.int64(len(body.points)) + pairs.max(axis=1)
    order = np.argsort(key, kind="stable")
    _, starts, uses = np.unique(key[order], return_index=True, return_counts=True)
    one, other = (order[starts[uses == 2] + k] for k in (0, 1))
    alike = (pairs[one, 0] < pairs[one, 1]) != (pairs[other, 0] < pairs[other, 1])  # passed in opposite directions
    one, other = one % count, other % count
    ones = np.ones(len(one), np.int8)
    parts, part = connected_components(
        coo_matrix((ones[alike], (one[alike], other[alike])), shape=(count, count)), directed=False
    )
    beside = coo_matrix((ones[~alike], (part[one[~alike]], part[other[~alike]])), shape=(parts, parts)).tocsr()
    turned = np.zeros(parts, bool)
    seen = np.zeros(parts, bool)
    for first in range(parts):
        if seen[first]:
            continue
        nodes, before = breadth_first_order(beside, first, directed=False)
        seen[nodes] = True
        for node in nodes[1:].tolist():
            turned[node] = not turned[before[node]]
    found = _turned(body, turned[part])
    if body.is_open:
        wrong = 2.0 * float(body.areas[turned[part]].sum()) > float(body.areas.sum())
    else:
        wrong = _volume(found) < 0.0
    return _turned(found, np.ones(count, bool)) if wrong else found


def _edge_keys(faces: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """Of the first, second and third edges of all triangles: a number for its two ends, and whether it rises."""
    a, b = faces.T.reshape(-1), np.roll(faces, -1, axis=1).T.reshape(-1)
    return np.minimum(a, b) * np.int64(faces.max() + 1) + np.maximum(a, b), a < b


def _edges(faces: Ints, of_face: Ints, bodies: int) -> tuple[Ints, Ints, Ints]:
    """Per body: edges with one face, with three or more, and with two faces that look to different sides."""
    key, rising = _edge_keys(faces)
    order = np.argsort(key)
    key = key[order]
    starts = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1])))
    count = np.diff(np.concatenate((starts, [len(key)])))
    forward = np.add.reduceat(rising[order].astype(np.int8), starts)
    who = of_face[order[starts] % len(faces)]
    rim = np.bincount(who[count == 1], minlength=bodies)
    tangled = np.bincount(who[count > 2], minlength=bodies)
    crooked = np.bincount(who[(count == 2) & (forward != 1)], minlength=bodies)
    return rim, tangled, crooked
