"""From triangle soup to bodies: corners at one place become one vertex, joined triangles one body.

Everything is done for the whole file at once with numpy and one graph search, so that neither
many triangles nor many bodies cost more than their share.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from converter.arrays import Array, Flags, Ints, Places, blocks

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

    def middles(self, which: slice | Flags) -> Array:
        """The middles (k, 3) of some faces, mm."""
        p, f = self.points, self.faces[which]
        return (p[f[:, 0]] + p[f[:, 1]] + p[f[:, 2]]) / 3.0

    def used_by(self, which: Flags) -> Flags:
        """(n,) whether each vertex is a corner of one of the faces that are marked in a mask (m,)."""
        used = np.zeros(len(self.points), bool)
        for some in blocks(len(which)):
            used[self.faces[some][which[some]]] = True
        return used


@dataclass(frozen=True, slots=True)
class Welded:
    """The bodies of one mesh, largest index first drawn first, and how many faces had no area.

    ``on_sides``: vertices in the middle of another triangle's side (T-junctions), drawn to that side's nearer end: they
    lie on a chord of the surface and not on it.
    """

    bodies: tuple[MeshBody, ...]
    flat: int
    on_sides: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class _Joined:
    """The triangles of a mesh that have an area, sorted by body.

    Attributes:
        points: (n, 3) mm.
        faces: (m, 3) indices, those of the first body first.
        owner: (n,) body of each vertex, for it is in one only; the number of bodies for one in none.
        counts: (bodies,) triangles of each.
        flat: triangles that were left out, as they have no area.
        rims, tangles, crooked: (bodies,) edges of each with one face, with three or more, and with two faces that look
            to different sides.
    """

    points: Array
    faces: Places
    owner: Places
    counts: Ints
    flat: int
    rims: Ints
    tangles: Ints
    crooked: Ints


def weld(points: Array, faces: Ints) -> Welded:
    """Split a mesh into its bodies.

    What it is given is let go of as soon as it is not needed, so whoever has no more use for it keeps it in no name.

    Args:
        points: (n, 3) finite vertices in mm, doubled or not.
        faces: (m, 3) indices.
    """
    if len(faces) == 0:
        return Welded((), 0)
    merged, index = _unique(points)
    corners = _looked_up(index, faces)
    joined = _joined(merged, corners)
    if len(joined.counts) > max(20, len(faces) // 4):
        # a writer that rounds each triangle by itself: nearly equal corners are equal
        size = float(np.ptp(points, axis=0).max())
        grid = np.round((points - points.min(axis=0)) / max(size * NEAR, 1e-300))
        merged, index = _unique(points, grid)
        corners = _looked_up(index, faces)
        joined = _joined(merged, corners)
    del points, faces, index
    flat, on_sides = joined.flat, 0
    if joined.rims.any():
        drawn, on_sides = _without_t_junctions(merged, corners)
        if on_sides:
            joined = _joined(merged, drawn)
    del merged, corners
    bodies = _bodies(joined)
    for body in _inside_out(bodies):
        _turn(body, np.ones(len(body.faces), bool))
    return Welded(tuple(bodies), flat, on_sides)


def _unique(points: Array, keys: Array | None = None) -> tuple[Array, Places]:
    """Rows that differ, and for each row which of them it is; by exact value of ``keys``."""
    rows = points if keys is None else keys
    # a 64-bit hash of the row stands for the row: with a million rows a clash has odds of 1 in 10 million
    mixed = np.zeros(len(rows), np.uint64)
    with np.errstate(over="ignore"):
        for some in blocks(len(rows)):
            bits = np.ascontiguousarray(rows[some] + 0.0).view(np.uint64)  # -0 and 0 are one
            part = mixed[some]
            for column, odd in enumerate((0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)):
                part ^= bits[:, column] * np.uint64(odd)
                part ^= part >> np.uint64(29)
                part *= np.uint64(0xBF58476D1CE4E5B9)
                part ^= part >> np.uint64(32)
    _, first, inverse = np.unique(mixed, return_index=True, return_inverse=True)
    return points[first], inverse.reshape(-1).astype(np.int32)


def _looked_up(index: Places, faces: Ints | Places) -> Places:
    """``index[faces]``, for which numpy would make indices of its own of all faces at once."""
    out = np.empty(faces.shape, np.int32)
    for some in blocks(len(faces)):
        out[some] = index[faces[some]]
    return out


def _joined(points: Array, faces: Places) -> _Joined:
    """Triangles sorted by body, without those that have no area."""
    good = np.empty(len(faces), bool)
    for some in blocks(len(faces)):
        a, b, c = (points[faces[some, k]] for k in range(3))
        size = np.maximum.reduce([np.abs(ends[:, k] - a[:, k]) for ends in (b, c) for k in range(3)])
        good[some] = _twice_area(points, faces[some])[1] > 1e-12 * size * size
    kept = faces if good.all() else faces[good]
    flat = len(faces) - len(kept)
    if len(kept) == 0:
        none = np.zeros(0, np.int64)
        return _Joined(points, kept, np.zeros(len(points), np.int32), none, flat, none, none, none)
    body = _body_of_face(len(points), kept)
    counts = np.bincount(body)
    if len(counts) > 1:
        order = np.argsort(body, kind="stable")
        kept, body = kept[order], body[order]
    owner = np.full(len(points), len(counts), np.int32)
    for k in range(3):
        owner[kept[:, k]] = body
    return _Joined(points, kept, owner, counts, flat, *_edges(edge_keys(kept, len(points)), owner, len(counts)))


def _twice_area(points: Array, faces: Places) -> tuple[Array, Array]:
    """The normals (m, 3) of triangles, not of unit length, and these lengths: twice their areas, mm2."""
    a, b, c = (points[faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    return cross, np.sqrt(np.einsum("ij,ij->i", cross, cross))


def _bodies(joined: _Joined) -> list[MeshBody]:
    """The bodies, each with vertices of its own, its faces looking one way."""
    points, faces, counts = joined.points, joined.faces, joined.counts
    stops = np.cumsum(counts)
    by_body = np.argsort(joined.owner, kind="stable")  # vertices, numbered anew
    offsets = np.searchsorted(joined.owner[by_body], np.arange(len(counts) + 1)).tolist()
    number = np.empty(len(points), np.int32)
    number[by_body] = np.arange(len(points), dtype=np.int32)
    coordinates = points[by_body]
    corners = np.empty(faces.shape, np.int64)
    normals, areas = np.empty(faces.shape), np.empty(len(faces))
    for some in blocks(len(faces)):
        cross, double = _twice_area(points, faces[some])
        normals[some], areas[some] = cross / double[:, None], 0.5 * double
        corners[some] = number[faces[some]]
    out = []
    for k, stop in enumerate(stops.tolist()):
        own = slice(stop - int(counts[k]), stop)
        corners[own] -= offsets[k]
        body_points = coordinates[offsets[k] : offsets[k + 1]]
        rim, tangled = int(joined.rims[k]), int(joined.tangles[k])
        one = MeshBody(body_points, corners[own], normals[own], areas[own], rim, tangled)
        if joined.crooked[k]:
            _turn(one, _looking_another_way(one))
        out.append(one)
    return out


def _body_of_face(count: int, faces: Places) -> Places:
    """(m,) the body that each triangle belongs to, in the order of their first ones; ``count`` points in all."""
    _, label = _connected(
        count, ((faces[some, k], faces[some, k + 1]) for k in (0, 1) for some in blocks(len(faces), 4))
    )
    _, first, of_face = np.unique(label[faces[:, 0]], return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int32)
    rank[np.argsort(first, kind="stable")] = np.arange(len(first))
    return rank[of_face.reshape(-1)]


def _connected(count: int, pairs: Iterable[tuple[Places, Places]]) -> tuple[int, Places]:
    """How many parts ``count`` things are that pairs of them connect, and of each its part, by their first ones.

    Pairs are given a share after the other: the graph search copies its graph several times.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    parts, part = count, np.arange(count, dtype=np.int32)
    for i, j in pairs:
        graph = coo_matrix((np.ones(len(i), np.int8), (part[i], part[j])), shape=(parts, parts))
        parts, together = connected_components(graph, directed=False)
        part = together[part]
    return int(parts), part


def _inside_out(bodies: list[MeshBody]) -> list[MeshBody]:
    """Closed bodies that are inside out, but for those within the box of another, maybe its bore."""
    inverted = [k for k, body in enumerate(bodies) if not body.is_open and _volume(body) < 0.0]
    if not inverted:
        return []
    low = np.array([body.points.min(axis=0) for body in bodies])
    high = np.array([body.points.max(axis=0) for body in bodies])
    return [bodies[k] for k in inverted if not ((low < low[k]).all(axis=1) & (high > high[k]).all(axis=1)).any()]


def _volume(body: MeshBody, turned: Flags | None = None) -> float:
    """mm3 within a closed surface, below 0 where it is inside out; of an open one a number of its sense.

    ``turned``: (m,) faces that are thought turned over.
    """
    depth = np.empty(len(body.faces))
    for some in blocks(len(body.faces)):
        arms = body.points[body.faces[some, 0]] - body.points[0]
        depth[some] = np.einsum("ij,ij->i", arms, body.normals[some])
    if turned is not None:
        np.negative(depth, out=depth, where=turned)
    return float(depth @ body.areas) / 3.0


def _turn(body: MeshBody, which: Flags) -> None:
    """Turn some faces (mask) of a body over where they stand, for all of them copied are as large as the mesh."""
    for some in blocks(len(which)):
        own = which[some]
        body.faces[some][own] = body.faces[some][own, ::-1]
        body.normals[some][own] *= -1.0


def _without_t_junctions(points: Array, faces: Places) -> tuple[Places, int]:
    """The triangles of a mesh whose vertices on the sides of other triangles are drawn to the ends of those sides.

    Args:
        points: (n, 3) mm.
        faces: (m, 3) indices.

    Returns:
        The triangles, without those that this leaves no three corners, and how many vertices were drawn.
    """
    from scipy.spatial import cKDTree

    keys = edge_keys(faces, len(points))
    keys.sort()
    rim = keys[_uses(keys)[0]] >> 1
    a, b = rim // len(points), rim % len(points)
    ends = np.unique(np.concatenate((a, b)))
    if not 3 <= len(rim) <= MOST_RIM:
        return faces, 0
    side = points[b] - points[a]
    length = np.sqrt((side * side).sum(axis=1))
    tree = cKDTree(points[ends])
    middle = (points[a] + points[b]) / 2.0
    inside = tree.query_ball_point(middle, 0.5 * length, return_length=True)
    if int(inside.sum()) > MOST_NEAR:
        return faces, 0
    near = tree.query_ball_point(middle, 0.5 * length)
    which = np.repeat(np.arange(len(rim)), [len(found) for found in near])
    vertex = ends[np.array([v for found in near for v in found], dtype=np.int64)]
    arm = points[vertex] - points[a[which]]
    share = np.einsum("ij,ij->i", arm, side[which]) / np.maximum(length[which] ** 2, 1e-300)
    off = arm - share[:, None] * side[which]
    on = (np.einsum("ij,ij->i", off, off) < (ON_SIDE * length[which]) ** 2) & (share > 1e-3) & (share < 1.0 - 1e-3)
    if not on.any():
        return faces, 0
    onto = np.arange(len(points))
    onto[vertex[on]] = np.where(share[on] < 0.5, a[which[on]], b[which[on]])
    for _ in range(8):  # an end may lie on a side, too
        onto = onto[onto]
    drawn = _looked_up(onto.astype(np.int32), faces)
    whole = (drawn[:, 0] != drawn[:, 1]) & (drawn[:, 1] != drawn[:, 2]) & (drawn[:, 0] != drawn[:, 2])
    return drawn[whole], int((onto[ends] != ends).sum())


def _looking_another_way(body: MeshBody) -> Flags:
    """(m,) the faces that are to be turned over so that all look to one side: out of a body where it is closed, else as
    most of its surface does.

    Some programs mesh each face of a solid by itself and give its triangles the sense of that face's own numbers.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order

    count = len(body.faces)
    keys = edge_keys(body.faces, len(body.points))
    order = np.argsort(keys >> 1, kind="stable").astype(np.int32)
    keys = keys[order]
    at = np.flatnonzero(_uses(keys)[1])
    alike = (keys[at] ^ keys[at + 1]) & 1 == 1  # passed in opposite directions
    del keys
    one, other = order[at] % count, order[at + 1] % count
    del order, at
    parts, part = _connected(
        count, ((one[some][alike[some]], other[some][alike[some]]) for some in blocks(len(one), 8))
    )
    one, other = part[one[~alike]], part[other[~alike]]
    beside = coo_matrix((np.ones(len(one), np.int8), (one, other)), shape=(parts, parts)).tocsr()
    turned = np.zeros(parts, bool)
    seen = np.zeros(parts, bool)
    for first in range(parts):
        if seen[first]:
            continue
        nodes, before = breadth_first_order(beside, first, directed=False)
        seen[nodes] = True
        for node in nodes[1:].tolist():
            turned[node] = not turned[before[node]]
    found = turned[part]
    if body.is_open:
        wrong = 2.0 * float(body.areas[found].sum()) > float(body.areas.sum())
    else:
        wrong = _volume(body, found) < 0.0
    return ~found if wrong else found


def edge_keys(faces: Ints | Places, count: int) -> Ints:
    """(3 m,) of the first, the second and the third edges of all triangles: a number for their ends, and their sense.

    ``key >> 1`` is (lesser end) * ``count`` + (greater end), ``key & 1`` is 1 where the first end is the lesser.

    Args:
        faces: (m, 3) indices.
        count: of the vertices.
    """
    out = np.empty((3, len(faces)), np.int64)
    for k in range(3):
        for some in blocks(len(faces)):
            a, b = (faces[some, j % 3].astype(np.int64) for j in (k, k + 1))
            out[k, some] = 2 * (np.minimum(a, b) * count + np.maximum(a, b)) + (a < b)
    return out.reshape(-1)


def _uses(keys: Ints) -> tuple[Flags, Flags, Flags]:
    """Where in sorted keys edges begin that are there once, twice, and more often."""
    new = np.ones(len(keys) + 2, bool)
    for some in blocks(len(keys) - 1):
        new[1:-2][some] = (keys[1:][some] ^ keys[:-1][some]) > 1
    once, again = new[:-2] & new[1:-1], new[:-2] & ~new[1:-1]
    return once, again & new[2:], again & ~new[2:]


def _edges(keys: Ints, owner: Places, bodies: int) -> tuple[Ints, Ints, Ints]:
    """Per body: edges with one face, with three or more, and with two faces that look to different sides.

    Args:
        keys: of all edges; they are sorted in place.
        owner: (n,) body of each vertex.
        bodies: how many there are.
    """
    keys.sort()
    once, twice, often = _uses(keys)
    twice[:-1] &= keys[1:] == keys[:-1]  # in the same sense
    rim, tangled, crooked = (
        np.bincount(owner[(keys[odd] >> 1) // len(owner)], minlength=bodies) for odd in (once, often, twice)
    )
    return rim, tangled, crooked
