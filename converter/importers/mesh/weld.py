"""From triangle soup to bodies: corners at one place become one vertex, joined triangles one body.

Everything is done for the whole file at once with numpy and one graph search, so that neither
many triangles nor many bodies cost more than their share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

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
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    a, b, c = (points[faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    double = np.sqrt(np.einsum("ij,ij->i", cross, cross))
    size = np.maximum.reduce([np.abs(ends[:, k] - a[:, k]) for ends in (b, c) for k in range(3)])
    good = double > 1e-12 * size * size
    kept = faces[good]
    flat = int(len(faces) - len(kept))
    if len(kept) == 0:
        return Welded((), flat)
    n = len(points)
    i = np.concatenate((kept[:, 0], kept[:, 1]))
    j = np.concatenate((kept[:, 1], kept[:, 2]))
    graph = coo_matrix((np.ones(len(i), np.int8), (i, j)), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    of_face = label[kept[:, 0]]
    # bodies in the order of their first face
    _, first, of_face = np.unique(of_face, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first, kind="stable")] = np.arange(len(first))
    of_face = rank[of_face.reshape(-1)]
    order = np.argsort(of_face, kind="stable")
    kept, of_face = kept[order], of_face[order]
    unit = (cross[good] / double[good, None])[order]
    areas = (0.5 * double[good])[order]
    counts = np.bincount(of_face)
    stops = np.cumsum(counts)
    rims, tangles = _edges(kept, of_face, len(counts))
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
        out.append(
            MeshBody(
                coordinates[at:end],
                local[start:stop] - at,
                unit[start:stop],
                areas[start:stop],
                int(rims[k]),
                int(tangles[k]),
            )
        )
    return Welded(tuple(out), flat)


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


def _edges(faces: Ints, of_face: Ints, bodies: int) -> tuple[Ints, Ints]:
    """Per body: edges with one face, edges with three or more."""
    a, b = faces.T.reshape(-1), np.roll(faces, -1, axis=1).T.reshape(-1)
    key = np.minimum(a, b) * np.int64(faces.max() + 1) + np.maximum(a, b)
    owner = np.concatenate((of_face, of_face, of_face))
    order = np.argsort(key)
    key, owner = key[order], owner[order]
    starts = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1])))
    count = np.diff(np.concatenate((starts, [len(key)])))
    who = owner[starts]
    rim = np.bincount(who[count == 1], minlength=bodies)
    tangled = np.bincount(who[count > 2], minlength=bodies)
    return rim, tangled
