"""A mesh cut by a plane, and the rectangles that its cuts are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from converter.arrays import Array, Ints
from converter.importers.mesh.weld import MeshBody

LEVEL = 0.94  #: cosine between a side's direction and faces that are of it: a fifth of a right angle
SMOOTHED, SPAN = 96, 3  #: steps around a line that is smoothed, and those on either side whose chord is its direction
LEAST_FLAT = 0.12  #: of a side's length is flat at least; the rest are its corners
LEAST_FULL, MOST_FULL = 0.78, 1.02  #: share of a rectangle's area that is enclosed: a circle has 0.785
LEAST_SQUARE = 0.22  #: how strongly the faces look in four directions: 0 of a circle, 1 of a sharp rectangle
ALIKE, ABOUT_ALIKE = 0.15, 0.3  #: share by which sides of equal rectangles differ; of one cut aslant
_NO_FACES: Ints = np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class PlaneCut:
    """A plane cut.

    Attributes:
        point, normal, x, y: of the plane, mm and unit vectors.
        ends: (n, 2, 2) ends of the segments by x and y from ``point``, mm.
        faces: (n,) face of each.
        loop: (n,) which connected line each is of.
        count: of lines.
    """

    point: Array
    normal: Array
    x: Array
    y: Array
    ends: Array
    faces: Ints
    loop: Ints
    count: int


@dataclass(frozen=True, slots=True, eq=False)
class RectangleCut:
    """A line of a cut that is a rectangle, its corners sharp or rounded.

    Attributes:
        center: in space, mm.
        x, y: unit vectors along its sides.
        width, height: along x and y, mm.
        missing: area that its corners leave of the full rectangle, mm2.
        axis: unit normal of a plane square to the faces that were cut.
        area: enclosed, below 0 where the faces look inward.
        faces: (n,) of the mesh, that it cuts; ascending.
        bore: the same of the line inside it, or None.
    """

    center: Array
    x: Array
    y: Array
    width: float
    height: float
    missing: float
    axis: Array
    area: float
    faces: Ints
    bore: RectangleCut | None = None

    @property
    def smaller(self) -> float:
        """The smaller of its sides, mm."""
        return min(self.width, self.height)


def across(normal: Array) -> tuple[Array, Array]:
    """Two unit vectors square to a unit vector and to each other."""
    x = np.cross(normal, (1.0, 0.0, 0.0) if abs(normal[0]) < 0.7 else (0.0, 1.0, 0.0))
    x = x / np.sqrt(x @ x)
    return x, np.cross(normal, x)


def cut_of(body: MeshBody, point: Array, normal: Array) -> PlaneCut | None:
    """The cut of a mesh with a plane; None where there is none. A vertex on the plane counts as above it."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    height = (body.points - point) @ normal
    above = height >= 0.0
    corners = above[body.faces]
    # by columns: along rows of three numpy takes several times as long, and this is asked of every face
    faces = np.flatnonzero((corners[:, 0] != corners[:, 1]) | (corners[:, 0] != corners[:, 2]))
    if len(faces) < 3:
        return None
    f, up = body.faces[faces], corners[faces]
    # the corner that is alone on its side; the two sides at it are crossed
    alone = np.where(up.sum(axis=1) == 1, np.argmax(up, axis=1), np.argmin(up, axis=1))
    rows = np.arange(len(f))
    tip = f[rows, alone]
    x, y = across(normal)
    ends = np.empty((len(f), 2, 2))
    keys = np.empty((len(f), 2), np.int64)
    for k in (0, 1):
        other = f[rows, (alone + 1 + k) % 3]
        share = height[tip] / (height[tip] - height[other])
        at = body.points[tip] + share[:, None] * (body.points[other] - body.points[tip]) - point
        ends[:, k, 0], ends[:, k, 1] = at @ x, at @ y
        keys[:, k] = np.minimum(tip, other) * np.int64(len(height)) + np.maximum(tip, other)
    _, index = np.unique(keys, return_inverse=True)
    index = index.reshape(-1, 2)
    size = int(index.max()) + 1
    graph = coo_matrix((np.ones(len(index), np.int8), (index[:, 0], index[:, 1])), shape=(size, size))
    count, label = connected_components(graph, directed=False)
    return PlaneCut(point, normal, x, y, ends, faces, label[index[:, 0]].astype(np.int64), int(count))


def rectangles_in(body: MeshBody, cut: PlaneCut, near: float) -> list[RectangleCut]:
    """The lines of a cut that are rectangles around its point, or pass it within ``near`` of their smaller side."""
    out = []
    for k in range(cut.count):
        own = np.flatnonzero(cut.loop == k)
        if len(own) < 4:
            continue
        ends, normals = cut.ends[own], body.normals[cut.faces[own]]
        flat = np.stack((normals @ cut.x, normals @ cut.y), axis=1)
        rectangle = _rectangle(cut, ends, flat, near)
        if rectangle is None and len(own) > 2 * SMOOTHED:
            # small faces with noise look anywhere: the line itself tells more
            rectangle = _rectangle(cut, *_smoothed(ends, flat), near)
        if rectangle is not None:
            length = np.sqrt(((ends[:, 1] - ends[:, 0]) ** 2).sum(axis=1))
            axis = np.linalg.eigh(np.einsum("i,ij,ik->jk", length, normals, normals))[1][:, 0]
            axis = axis if axis @ cut.normal > 0.0 else -axis
            out.append(replace(rectangle, axis=axis, faces=cut.faces[own]))
    return out


def _smoothed(ends: Array, flat: Array) -> tuple[Array, Array]:
    """A line (n, 2, 2) that goes around its middle in even steps, and the normals (m, 2) of its surroundings.

    They are outward or inward, as most of ``flat``, the normals (n, 2) of its segments, are.
    """
    middle = ends.mean(axis=1)
    arm = middle - middle.mean(axis=0)
    side = ends[:, 1] - ends[:, 0]
    sign = 1.0 if float((np.hypot(side[:, 0], side[:, 1]) * (arm * flat).sum(axis=1)).sum()) >= 0.0 else -1.0
    line = middle[np.argsort(np.arctan2(arm[:, 1], arm[:, 0]), kind="stable")]
    line = np.concatenate((line, line[:1]))
    place = np.concatenate(([0.0], np.cumsum(np.sqrt((np.diff(line, axis=0) ** 2).sum(axis=1)))))
    at = np.linspace(0.0, place[-1], SMOOTHED, endpoint=False)
    even = np.stack([np.interp(at, place, line[:, k]) for k in (0, 1)], axis=1)
    ahead = np.roll(even, -SPAN, axis=0) - np.roll(even, SPAN - 1, axis=0)
    return np.stack((even, np.roll(even, -1, axis=0)), axis=1), sign * np.stack((ahead[:, 1], -ahead[:, 0]), axis=1)


def _rectangle(cut: PlaneCut, ends: Array, flat: Array, near: float) -> RectangleCut | None:
    """The rectangle that segments (n, 2, 2) with normals (n, 2) are; its axis is the plane's normal."""
    side = ends[:, 1] - ends[:, 0]
    length = np.sqrt((side * side).sum(axis=1))
    total = float(length.sum())
    if total <= 0.0:
        return None
    size = np.sqrt((flat * flat).sum(axis=1))
    flat = flat / np.where(size > 0.0, size, 1.0)[:, None]
    middle = ends.mean(axis=1)
    area = 0.5 * float((length * (middle * flat).sum(axis=1)).sum())
    if area < 0.0:
        flat = -flat
    turned = np.arctan2(flat[:, 1], flat[:, 0])
    fourfold = complex((length * np.exp(4j * turned)).sum()) / total
    if abs(fourfold) < LEAST_SQUARE:
        return None
    angle = float(np.angle(fourfold)) / 4.0
    c, s = np.cos(angle), np.sin(angle)
    places = []
    for k, way in enumerate(np.array(((c, s), (-s, c), (-c, -s), (s, -c)))):
        of_side = flat @ way > LEVEL
        weight = length[of_side]
        if not of_side.any() or float(weight.sum()) <= 0.0:
            return None
        places.append((float((weight * (middle[of_side] @ way)).sum() / weight.sum()), float(weight.sum()), k))
    width, height = places[0][0] + places[2][0], places[1][0] + places[3][0]
    if min(width, height) <= 0.0 or any(long < LEAST_FLAT * (height if k % 2 == 0 else width) for _, long, k in places):
        return None
    if not LEAST_FULL <= abs(area) / (width * height) <= MOST_FULL:
        return None
    u, v = 0.5 * (places[0][0] - places[2][0]), 0.5 * (places[1][0] - places[3][0])
    slack = near * min(width, height)
    if abs(u) > 0.5 * width + slack or abs(v) > 0.5 * height + slack:
        return None
    x, y = c * cut.x + s * cut.y, -s * cut.x + c * cut.y
    center = cut.point + u * x + v * y
    missing = max(0.0, width * height - abs(area))
    return RectangleCut(center, x, y, width, height, missing, cut.normal, area, _NO_FACES)


def rectangle_at(
    body: MeshBody, point: Array, normal: Array, near: float, like: RectangleCut | None = None
) -> RectangleCut | None:
    """The largest rectangle around a point in a cut square to the faces it meets there; None where there is none.

    Args:
        body: the mesh.
        point: about its middle, mm.
        normal: unit, about along the tube; the plane is turned until it is square to the faces.
        near: how far outside of it, in its smaller side, the point may lie.
        like: one of about the same size, or None for any.
    """
    best: RectangleCut | None = None
    for turn in range(4):
        cut = cut_of(body, point, normal)
        if cut is None:
            return None
        lines = rectangles_in(body, cut, near)
        outer = [one for one in lines if like is None or _is_like(one, like, ABOUT_ALIKE if turn == 0 else ALIKE)]
        if not outer:
            return None
        best = max(outer, key=lambda one: abs(one.area))
        lean = float(best.axis @ normal)
        if lean > 0.99995:
            break
        if lean < 0.5:
            return None
        point, normal = best.center, best.axis
    if best is None or (like is not None and not _is_like(best, like, ALIKE)):
        return None
    inside = [
        one
        for one in lines
        if one.area * best.area < 0.0
        and abs(one.area) < abs(best.area)
        and bool((np.abs(one.center - best.center) < 0.25 * best.smaller).all())
    ]
    bore = max(inside, key=lambda one: abs(one.area), default=None)
    return replace(best, bore=bore)


def _is_like(one: RectangleCut, like: RectangleCut, within: float) -> bool:
    """Whether two rectangles have the same sides, a quarter turn apart or not."""
    a, b = sorted((one.width, one.height)), sorted((like.width, like.height))
    return all(abs(p / q - 1.0) <= within for p, q in zip(a, b, strict=True))
