"""The axis of a round body, roughly: its surface drawn in by its own radius falls onto a thread.

Nothing is known at first but points with normals. Where a surface is a tube of radius r, the
points p - r n all lie on its centerline, hence crowd there; for any other r, and for faces that
belong to no tube (end faces, the bore), they spread out. So the radius is the one that makes
them crowd, the crowd is the centerline, and a spanning tree puts it in order.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, pi

import numpy as np

from converter.arrays import Array, Ints, blocks
from converter.importers.mesh.weld import MeshBody

SAMPLES = 1600  #: points of the surface looked at to find the radius
PER_RADIUS = 28.0  #: points per radius of length looked at to find the thread
MOST = 40000  #: and never more than this
SMOOTH = 0.99  #: mean cosine between faces and their surroundings above which they need no smoothing
REACH = 0.5  #: of the radius: what counts as crowding together
BESIDE = 2.0  #: of the radius: what is further from the longest way branches off
ENOUGH = 0.35  #: share of the crowd expected on a centerline that makes a point belong to it


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Points spread evenly over a body: (n, 3) points in mm, (n, 3) unit normals, total area in mm2."""

    points: Array
    normals: Array
    area: float


@dataclass(frozen=True, slots=True, eq=False)
class Thread:
    """A rough centerline: ordered points (k, 3) in mm, whether it closes, the radius, and which side is out.

    Attributes:
        points, closed: the centerline.
        radius: of the surface, mm; to a few percent.
        outward: 1.0 where the faces' normals point away from it, -1.0 where they point to it.
        unbranched: share of all that crowds which lies along it; the rest branches off, or lies elsewhere.
    """

    points: Array
    closed: bool
    radius: float
    outward: float
    unbranched: float = 1.0


def spread(body: MeshBody, count: int, normals: Array | None = None) -> Surface:
    """``count`` points evenly over the faces of a body; ``normals`` (m, 3) overrides the faces' own."""
    total = np.cumsum(body.areas)
    k = np.arange(count)
    face = np.searchsorted(total, (k + 0.5) / count * total[-1]).clip(0, len(total) - 1)
    # the plastic number's sequence fills a square evenly (Roberts 2018, from memory)
    u, v = (0.5 + k * 0.7548776662466927) % 1.0, (0.5 + k * 0.5698402909980532) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    a, b, c = (body.points[body.faces[face, i]] for i in range(3))
    points = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return Surface(points, (body.normals if normals is None else normals)[face], float(total[-1]))


def smooth_normals(body: MeshBody, radius: float) -> Array | None:
    """Normals of the faces averaged over about a quarter of the radius; None where they are not that small, or smooth.

    Area vectors of neighbouring faces add up to that of the patch's rim, so noise within cancels.
    """
    from scipy.sparse import coo_matrix, diags

    p, f = body.points, body.faces
    longest = np.zeros(len(f))
    for some in blocks(len(f)):
        for i in range(3):
            side = p[f[some, i]] - p[f[some, i - 1]]
            np.maximum(longest[some], np.einsum("ij,ij->i", side, side), out=longest[some])
    np.sqrt(longest, out=longest)
    small = longest <= 0.25 * radius
    if small.mean() < 0.5:
        return None
    edge = float(np.median(longest[small]))
    del longest
    n = len(p)
    corners = f.reshape(-1)
    at = np.empty((n, 3))
    for axis in range(3):
        at[:, axis] = np.bincount(corners, np.repeat(body.normals[:, axis] * body.areas, 3), n)
    lean = np.empty(len(f))
    for some in blocks(len(f)):
        total, size = _sum_of_corners(at, f[some])
        lean[some] = np.einsum("ij,ij->i", total, body.normals[some]) / np.where(size > 0.0, size, 1.0)
    if float(lean[small].mean()) > SMOOTH:
        return None
    del lean
    rounds = min(60, max(1, ceil((0.25 * radius / edge) ** 2)))
    graph = coo_matrix((n, n), dtype=np.float32).tocsr()  # how often an edge is there is exact in single precision
    for k in range(3):
        ends = f[:, k].astype(np.int32), f[:, k - 1].astype(np.int32)
        graph = graph + coo_matrix((np.ones(len(f), np.float32), ends), shape=(n, n)).tocsr()
    graph = graph + graph.T + diags(np.ones(n, np.float32))
    graph = diags(1.0 / np.asarray(graph.sum(axis=1, dtype=np.float64)).reshape(-1)) @ graph
    for _ in range(rounds):
        at = graph @ at
    del graph
    averaged = body.normals.copy()
    for some in blocks(len(f)):
        total, size = _sum_of_corners(at, f[some])
        own = small[some] & (size > 0.0)
        averaged[some][own] = total[own] / size[own, None]
    return averaged


def _sum_of_corners(at: Array, faces: Ints) -> tuple[Array, Array]:
    """Of faces (m, 3) the sum (m, 3) of what stands ``at`` their corners (n, 3), and its length (m,)."""
    total = at[faces[:, 0]] + at[faces[:, 1]] + at[faces[:, 2]]
    return total, np.sqrt(np.einsum("ij,ij->i", total, total))


def candidates(surface: Surface) -> list[float]:
    """Diameters the body may have, mm: distances straight across it that occur most often, at most eight."""
    p, n = surface.points, surface.normals
    spacing = np.sqrt(surface.area / len(p))
    found: list[Array] = []
    for k in np.linspace(0, len(p) - 1, min(50, len(p))).astype(np.intp):
        arm = p - p[k]
        depth = arm @ n[k]
        off = arm - depth[:, None] * n[k]
        near = ((off * off).sum(axis=1) < (1.1 * spacing) ** 2) & (n @ n[k] < -0.8)
        found.append(np.abs(depth[near]))
    across = np.concatenate(found)
    across = across[across > 0.0]
    if len(across) == 0:
        return []
    log = np.log(across)
    bins = np.arange(log.min() - 0.05, log.max() + 0.1, 0.05)
    count, _ = np.histogram(log, bins)
    both = count[:-1] + count[1:] if len(count) > 1 else count
    out: list[float] = []
    for b in np.argsort(both)[::-1]:
        if both[b] < 3 or len(out) == 8:
            break
        inside = across[(log >= bins[b]) & (log < bins[min(b + 2, len(bins) - 1)])]
        if len(inside) == 0:
            continue
        d = float(np.median(inside))
        if all(abs(np.log(d / other)) > 0.08 for other in out):
            out.append(d)
    return out


def crowding(surface: Surface, radius: float, outward: float) -> tuple[Array, Array, float]:
    """The surface drawn in by the radius: (n, 3) points, how crowded each is (1 on a centerline), expected count."""
    from scipy.spatial import cKDTree

    drawn = surface.points - outward * radius * surface.normals
    tree = cKDTree(drawn)
    count = tree.query_ball_point(drawn, REACH * radius, return_length=True) - 1
    length = surface.area / (2.0 * pi * radius)
    expected = len(drawn) * 2.0 * REACH * radius / length
    return drawn, count / expected, expected


def find_radius(body: MeshBody) -> tuple[float, float] | None:
    """The radius of a body's outside in mm and the side its normals are on (1 or -1); None where nothing crowds."""
    count = SAMPLES
    surface = spread(body, count)
    diameters = candidates(surface)
    found: list[tuple[float, float, float]] = []
    for d in diameters:
        radius = d / 2.0
        length = surface.area / (2.0 * pi * radius)
        needed = int(8.0 * length / (2.0 * REACH * radius)) + 1
        if needed > MOST:
            continue
        looked = surface if needed <= count else spread(body, needed)
        for outward in (1.0, -1.0):
            _, crowd, _ = crowding(looked, radius, outward)
            share = float((crowd > ENOUGH).mean())
            if share > 0.2:
                found.append((share, radius, outward))
                break
        if found and found[-1][0] > 0.8:
            break  # next to all of the surface is on this one
    if not found:
        return None
    # of outside and bore the outside: the largest of those that crowd about as well as the best
    top = max(share for share, _, _ in found)
    _, radius, outward = max((one for one in found if one[0] >= 0.6 * top), key=lambda one: one[1])
    return radius, outward


def find_thread(body: MeshBody, radius: float, outward: float) -> Thread | None:
    """The rough centerline of a body of a known radius; None where there is no thread longer than the radius."""
    from scipy.spatial import cKDTree

    total = float(body.areas.sum())
    length = total / (2.0 * pi * radius)
    count = int(np.clip(PER_RADIUS * length / radius, 600, MOST))
    surface = spread(body, count, smooth_normals(body, radius))
    drawn, crowd, _ = crowding(surface, radius, outward)
    on = crowd > ENOUGH
    if on.sum() < 12:
        return None
    nodes = _nodes(drawn[on], radius)
    if len(nodes) < 2:
        return None
    path, closed = _in_order(nodes, radius)
    if len(path) < 2:
        return None
    # a ragged surface crowds beside its way, a branch leads away from it
    beside = cKDTree(path).query(nodes)[0] <= BESIDE * radius
    return Thread(path, closed, radius, outward, float(beside.mean()))


def _nodes(drawn: Array, radius: float) -> Array:
    """The crowd thinned to points about two thirds of a radius apart, each the middle of its surroundings."""
    from scipy.spatial import cKDTree

    cell = np.floor(drawn / (0.8 * radius)).astype(np.int64)
    _, inverse, counts = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
    inverse = inverse.reshape(-1)
    nodes = np.stack([np.bincount(inverse, drawn[:, k]) for k in range(3)], axis=1) / counts[:, None]
    weight = counts.astype(float)
    tree = cKDTree(drawn)
    for _ in range(3):
        near = cKDTree(nodes).sparse_distance_matrix(tree, 0.7 * radius, output_type="coo_matrix").tocsr()
        near.data[:] = 1.0
        weight = np.asarray(near.sum(axis=1)).reshape(-1)
        keep = weight > 0
        nodes, near, weight = nodes[keep], near[keep], weight[keep]
        nodes = (near @ drawn) / weight[:, None]
    order = np.argsort(weight)[::-1]
    taken = np.zeros(len(nodes), bool)
    gone = np.zeros(len(nodes), bool)
    neighbours = cKDTree(nodes).query_ball_point(nodes, 0.45 * radius)
    for k in order:
        if not gone[k]:
            taken[k] = True
            gone[neighbours[k]] = True
    picked: Array = nodes[taken]
    return picked


def _in_order(nodes: Array, radius: float) -> tuple[Array, bool]:
    """The longest way through the spanning tree of the nodes, and whether its ends meet."""
    from scipy.sparse.csgraph import dijkstra, minimum_spanning_tree
    from scipy.spatial import cKDTree

    tree = cKDTree(nodes)
    near = tree.sparse_distance_matrix(tree, 4.0 * radius, output_type="coo_matrix").tocsr()
    spanning = minimum_spanning_tree(near)

    def farthest(start: int) -> tuple[int, Array, Ints]:
        length, before = dijkstra(spanning, directed=False, indices=start, return_predecessors=True)
        length = np.where(np.isfinite(length), length, -1.0)
        return int(np.argmax(length)), length, before

    # begin in the largest connected part
    label = _labels(spanning)
    biggest = int(np.bincount(label).argmax())
    start, _, _ = farthest(int(np.flatnonzero(label == biggest)[0]))
    end, _, before = farthest(start)
    path = [end]
    while path[-1] != start:
        path.append(int(before[path[-1]]))
    way = nodes[path]
    if len(way) >= 8:
        gap = way[0] - way[-1]
        first, last = way[1] - way[0], way[-1] - way[-2]
        size = float(np.sqrt(gap @ gap))
        if size < 2.0 * radius and first @ last > 0.3 * np.sqrt((first @ first) * (last @ last)):
            return way, True
    return way, False


def _labels(graph: object) -> Ints:
    from scipy.sparse.csgraph import connected_components

    label: Ints = connected_components(graph, directed=False)[1]
    return label
