"""Square and rectangular tube in a body, by its corners.

The corners of the section run along the whole tube as rails: rounded ones as quarter cylinders
and tori (their axes are the rails), sharp ones as edges. Eight rails that follow each other in
parallel, four in a rectangle around four, are a tube: outside, inside, wall, corner radii and
centerline are read off them, whatever became of the flat faces between (CAD programs merge those
of several tubes into one).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from converter.findings import Clause
from converter.geometry.circles import fit_circle, fit_line
from converter.geometry.vectors import Vec, add, along, any_normal, cross, dot, norm, scale, sub, unit
from converter.importers.solids.chains import PieceChain, chains_of
from converter.importers.solids.faces import CONE, CYLINDER, PLANE, TORUS, Patch, SolidBody
from converter.importers.solids.pieces import Axis, FacePieces, TubePiece
from converter.importers.solids.reasons import STUB
from converter.importers.solids.rectangles import Rectangle, inside, rectangles
from converter.tolerances import Tolerances

Array = NDArray[np.float64]

#: Turns (radians) between which a face may be the rounded corner of a rectangle.
_QUARTER = (1.0, 2.2)
#: Cosine of the angle between faces below which their edge is a sharp corner of a rectangle.
_SQUARE = 0.2
#: A square tube has at least four corners outside and four inside, and four sides each.
_CORNERS = 8


@dataclass(frozen=True, slots=True)
class SquareTube:
    """A tube found by its rails.

    Attributes:
        chain: its centerline as pieces (without faces).
        outer, inner: four rails each, around the section, run as the chain is.
        sides: two unit vectors across the tube's first piece, along the section's sides.
        sizes: outside size along each of the two, mm.
        wall, corner, inner_corner: mm.
        odd: what of the section one wall and one corner radius do not say.

    A solid bar has no inner rails, and half its smaller size for a wall.
    """

    chain: PieceChain
    outer: tuple[PieceChain, ...]
    inner: tuple[PieceChain, ...]
    sides: tuple[Vec, Vec]
    sizes: tuple[float, float]
    wall: float
    corner: float
    inner_corner: float
    odd: tuple[Clause, ...] = ()


def square_tubes(body: SolidBody, found: FacePieces, tol: Tolerances, facing: int, taken: set[int]) -> list[SquareTube]:
    """All square and rectangular tubes of a body.

    Args:
        facing: 1 for a solid, -1 for one whose faces look into the metal, 0 where faces tell
            nothing: outside corners must be convex and inside ones concave, or either.
        taken: faces of round tubes found already.
    """
    if len(body.patches) - len(taken) < _CORNERS:
        return []
    corners = [p for p in found.pieces if _QUARTER[0] <= p.turn <= _QUARTER[1]]
    rails = _bridged(_in_company([*corners, *_sharp(body, tol)]), tol)
    if len(rails) < _CORNERS:
        return []
    chains = chains_of(rails, tol)
    tubes: list[SquareTube] = []
    for group in _parallel(chains, tol):
        tubes += _tubes(group, tol, facing)
    return tubes


# --- sharp corners --------------------------------------------------------------------------


def _sharp(body: SolidBody, tol: Tolerances) -> list[TubePiece]:
    """Straight and circular edges between faces that are square to each other, as rails of radius 0."""
    axes = EdgeAxes()
    rails: list[TubePiece] = []
    for number, rim in enumerate(body.rims):
        if len(rim.points) < 2 or len(rim.faces) != 2 or rim.faces[0] == rim.faces[1]:
            continue
        middle = rim.points[len(rim.points) // 2] if len(rim.points) > 2 else rim.points.mean(axis=0)
        p = (float(middle[0]), float(middle[1]), float(middle[2]))
        normals = [_normal(body.patches[k], p) for k in rim.faces]
        if normals[0] is None or normals[1] is None or abs(dot(normals[0], normals[1])) > _SQUARE:
            continue
        rail = _rail(rim.points, axes, tol)
        if rail is not None:
            rail.sign = _convex(body, number, p)
            rails.append(rail)
    return _joined(rails, tol)


def _convex(body: SolidBody, number: int, p: Vec) -> int:
    """+1 where the metal fills a quarter at an edge, -1 where it fills three, by the senses of face and edge."""
    rim = body.rims[number]
    one, two = (body.patches[k] for k in rim.faces)
    n, m = _normal(one, p), _normal(two, p)
    if n is None or m is None:
        return 1
    forward = next(ahead for index, ahead in one.rims if index == number)
    k = len(rim.points) // 2
    step = rim.points[min(k + 1, len(rim.points) - 1)] - rim.points[k - 1]
    ahead = (float(step[0]), float(step[1]), float(step[2]))
    # a face lies to the left of its edges, seen from outside
    left = cross(scale(n, float(one.sign)), scale(ahead, 1.0 if forward else -1.0))
    return 1 if dot(left, scale(m, float(two.sign))) < 0.0 else -1


def _normal(patch: Patch, p: Vec) -> Vec | None:
    shape = patch.shape
    if shape.kind == PLANE:
        return shape.axis
    arm = sub(p, shape.point)
    flat = sub(arm, scale(shape.axis, dot(arm, shape.axis)))
    size = norm(flat)
    if size <= 0.0:
        return None
    out = scale(flat, 1.0 / size)
    if shape.kind == CYLINDER:
        return out
    if shape.kind == CONE:
        return unit(along(out, shape.axis, -float(np.tan(shape.slope))))
    if shape.kind == TORUS:
        arm = sub(arm, scale(out, shape.major))
        return unit(arm) if norm(arm) > 0.0 else None
    return None


def _rail(points: Array, axes: EdgeAxes, tol: Tolerances) -> TubePiece | None:
    middle, d, off = fit_line(points)
    if off <= 0.1 * tol.fit:
        axis = axes.find(middle, d, 0.0, tol)
        t = axis.places(points)
        return TubePiece(axis, 0.0, float(t.min()), float(t.max()), [])
    if len(points) < 5:
        return None
    circle = fit_circle(points)
    if circle is None or circle.residual > 0.1 * tol.fit:
        return None
    axis = axes.find(circle.center, circle.normal, circle.radius, tol)
    t = np.unwrap(axis.places(points))
    return TubePiece(axis, 0.0, float(t.min()), float(t.max()), [])


def _in_company(rails: list[TubePiece]) -> list[TubePiece]:
    """Without the rings that have not eight on one bend axis: the rims of holes."""
    cells: dict[tuple[int, int, int], int] = {}
    for rail in rails:
        if rail.axis.is_ring:
            here = cell(foot(rail.axis.point, rail.axis.direction))
            cells[here] = cells.get(here, 0) + 1
    return [
        rail
        for rail in rails
        if not rail.axis.is_ring
        or sum(cells.get(c, 0) for c in around(foot(rail.axis.point, rail.axis.direction))) >= _CORNERS
    ]


def _joined(rails: list[TubePiece], tol: Tolerances) -> list[TubePiece]:
    """Edges in parts as one: touching stretches of one axis."""
    by_axis: dict[int, list[TubePiece]] = {}
    for rail in rails:
        by_axis.setdefault(rail.axis.number, []).append(rail)
    out: list[TubePiece] = []
    for own in by_axis.values():
        own.sort(key=lambda r: r.lo)
        gap = tol.join / (own[0].axis.major or 1.0)
        for rail in own:
            if out and out[-1].axis is rail.axis and rail.lo <= out[-1].hi + gap:
                out[-1].hi = max(out[-1].hi, rail.hi)
            else:
                out.append(rail)
    return out


def _bridged(rails: list[TubePiece], tol: Tolerances) -> list[TubePiece]:
    """Straight rails joined over a gap that a parallel rail close by runs past: a branch was fused on there."""
    lines = [r for r in rails if not r.axis.is_ring]
    gone: set[int] = set()
    by_axis: dict[int, list[TubePiece]] = {}
    for rail in lines:
        by_axis.setdefault(rail.axis.number, []).append(rail)
    past = _Past(lines)
    for own in by_axis.values():
        own.sort(key=lambda r: (r.radius, r.lo))
        last = own[0]
        for rail in own[1:]:
            gap = rail.lo - last.hi
            if abs(rail.radius - last.radius) <= tol.fit and gap > 0.0 and past.any_over(last, rail, gap, tol):
                last.hi = rail.hi
                last.patches = [*last.patches, *rail.patches]
                gone.add(id(rail))
            else:
                last = rail
    return [r for r in rails if id(r) not in gone]


class _Past:
    """Straight rails as arrays, to ask which of them run past a gap."""

    def __init__(self, lines: list[TubePiece]) -> None:
        self._axes = np.array([r.axis.number for r in lines])
        self._points = np.array([r.axis.point for r in lines]).reshape(-1, 3)
        self._ways = np.array([r.axis.direction for r in lines]).reshape(-1, 3)
        self._ends = np.array([(r.axis.at(r.lo), r.axis.at(r.hi)) for r in lines]).reshape(-1, 2, 3)

    def any_over(self, a: TubePiece, b: TubePiece, gap: float, tol: Tolerances) -> bool:
        """Whether another rail, parallel and within three gaps, runs from before a's end to past b's start."""
        d, o = np.array(a.axis.direction), np.array(a.axis.point)
        arms = self._points - o
        near = (self._axes != a.axis.number) & (np.abs(np.cross(self._ways, d)).max(axis=1) <= 1e-5)
        near &= np.sqrt((np.cross(arms, d) ** 2).sum(axis=1)) <= 3.0 * gap
        places = np.sort((self._ends[near] - o) @ d, axis=1)
        return bool(((places[:, 0] <= a.hi - tol.join) & (places[:, 1] >= b.lo + tol.join)).any())


# --- parallel rails -------------------------------------------------------------------------


def _parallel(chains: list[PieceChain], tol: Tolerances) -> list[list[PieceChain]]:
    """Chains that follow the same path side by side, all run the same way as the first of their group."""
    groups: list[list[PieceChain]] = []
    for chain in chains:
        for group in groups:
            aligned = _aligned(group[0], chain)
            if aligned is not None:
                group.append(aligned)
                break
        else:
            groups.append([chain])
    return [group for group in groups if len(group) >= _CORNERS]


def _turned(chain: PieceChain) -> PieceChain:
    return PieceChain([(piece, not back) for piece, back in reversed(chain.items)], chain.closed)


def _aligned(lead: PieceChain, chain: PieceChain) -> PieceChain | None:
    if len(lead.items) != len(chain.items) or lead.closed != chain.closed:
        return None
    if not chain.closed:
        return next((c for c in (chain, _turned(chain)) if _same_path(lead, c)), None)
    count = len(chain.items)
    for one in (chain, _turned(chain)):
        for k in range(count):
            moved = PieceChain(one.items[k:] + one.items[:k], True)
            if _same_path(lead, moved):
                return moved
    return None


def _same_path(a: PieceChain, b: PieceChain) -> bool:
    for (p, p_back), (q, q_back) in zip(a.items, b.items, strict=True):
        if p.axis.is_ring != q.axis.is_ring:
            return False
        d, e = _along(p, p_back), _along(q, q_back)
        if norm(sub(d, e)) > 1e-4:
            return False
        if p.axis.is_ring:
            arm = sub(q.axis.point, p.axis.point)
            if norm(cross(arm, p.axis.direction)) > 1e-3 or abs((p.hi - p.lo) - (q.hi - q.lo)) > 0.05:
                return False
    return True


def _along(piece: TubePiece, back: bool) -> Vec:
    """Direction of travel of a straight; the axis a bend turns about right-hand positive."""
    return scale(piece.axis.direction, -1.0) if back else piece.axis.direction


# --- rectangles -----------------------------------------------------------------------------


def _tubes(group: list[PieceChain], tol: Tolerances, facing: int) -> list[SquareTube]:
    """The tubes of a group: the smallest rectangles first that have another one inside at an even distance."""
    spots, axes = _spots(group)
    radii = np.array([chain.items[0][0].radius for chain in group])
    signs = [1 if sum(p.sign * p.length for p in chain.pieces) >= 0.0 else -1 for chain in group]
    every = range(len(group))
    convex = [i for i in every if not facing or signs[i] == facing]
    concave = [i for i in every if not facing or signs[i] != facing]
    if len(concave) < _CORNERS // 2:
        return []
    spans = _spans(group)
    used: set[int] = set()
    tubes = []
    for outer in rectangles(spots, radii, convex, tol, spans):
        if used & set(outer.corners):
            continue
        if len(group[0].items) == 1 and max(group[i].length for i in outer.corners) < STUB * max(outer.sizes):
            continue
        low, high = spans[list(outer.corners), 0].max(), spans[list(outer.corners), 1].min()
        beside = np.maximum(spans[:, 0], low) < np.minimum(spans[:, 1], high)
        free = [i for i in concave if beside[i] and i not in used and i not in outer.corners]
        found = inside(outer, spots, radii, free, tol)
        if found is not None:
            inner, wall = found
            tubes.append(_tube(group, outer, inner, wall, axes))
            used |= {*outer.corners, *inner.corners}
    return tubes


def _spots(group: list[PieceChain]) -> tuple[Array, tuple[Vec, Vec]]:
    """Where rails pass through a plane across the first piece: (n, 2), and the plane's two directions."""
    lead, back = group[0].items[0]
    axis = lead.axis
    if axis.is_ring:
        x, y = axis.x, axis.direction
        rows = [
            (c.items[0][0].axis.major, dot(sub(c.items[0][0].axis.point, axis.point), axis.direction)) for c in group
        ]
        # at the bend's start the outward direction is the arm's
        start = lead.hi if back else lead.lo
        x = unit(sub(axis.at(start), axis.point))
        return np.array(rows), (x, y)
    x = axis.x
    y = cross(axis.direction, x)
    rows = [
        (dot(sub(c.items[0][0].axis.point, axis.point), x), dot(sub(c.items[0][0].axis.point, axis.point), y))
        for c in group
    ]
    return np.array(rows), (x, y)


def _spans(group: list[PieceChain]) -> Array:
    """From where to where single straights run along the first one's axis: (n, 2); chains with bends all alike."""
    axis = group[0].items[0][0].axis
    if len(group[0].items) > 1 or axis.is_ring:
        return np.tile((0.0, 1.0), (len(group), 1))
    rows = []
    for rail in group:
        piece = rail.items[0][0]
        rows.append(sorted(axis.place(piece.axis.at(t)) for t in (piece.lo, piece.hi)))
    return np.array(rows)


def _tube(
    group: list[PieceChain], outer: Rectangle, inner: Rectangle, wall: float, axes: tuple[Vec, Vec]
) -> SquareTube:
    rails = tuple(group[i] for i in outer.corners)
    items = []
    for k, (lead, back) in enumerate(rails[0].items):
        others = [rail.items[k][0] for rail in rails]
        items.append((_middle(lead, others), back))
    side = along(scale(axes[0], float(outer.side[0])), axes[1], float(outer.side[1]))
    other = along(scale(axes[0], -float(outer.side[1])), axes[1], float(outer.side[0]))
    return SquareTube(
        PieceChain(items, rails[0].closed),
        rails,
        tuple(group[i] for i in inner.corners),
        (side, other),
        outer.sizes,
        wall,
        outer.corner,
        inner.corner,
    )


def _middle(lead: TubePiece, rails: list[TubePiece]) -> TubePiece:
    """The stretch of centerline between four rails' stretches, with the lead's own parameters."""
    axis = lead.axis
    count = float(len(rails))
    if axis.is_ring:
        total = rails[0].axis.point
        for rail in rails[1:]:
            total = add(total, rail.axis.point)
        center = scale(total, 1.0 / count)
        major = sum(rail.axis.major for rail in rails) / count
        return TubePiece(Axis(center, axis.direction, major, axis.x, axis.y, axis.number), 0.0, lead.lo, lead.hi, [])
    total = (0.0, 0.0, 0.0)
    for rail in rails:
        arm = sub(rail.axis.point, axis.point)
        total = add(total, sub(arm, scale(axis.direction, dot(arm, axis.direction))))
    point = along(axis.point, total, 1.0 / count)
    ends = [sorted(dot(sub(r.axis.at(t), point), axis.direction) for t in (r.lo, r.hi)) for r in rails]
    lo, hi = (sum(e[k] for e in ends) / count for k in (0, 1))
    return TubePiece(Axis(point, axis.direction, 0.0, axis.x, axis.y, axis.number), 0.0, lo, hi, [])


class EdgeAxes:
    """Axes of edges, each found again by where it lies: lines by their foot from the origin, rings by their centre."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, ...], list[Axis]] = {}
        self._count = 0

    def find(self, point: Vec, d: Vec, major: float, tol: Tolerances) -> Axis:
        """The axis through a point along d (or the ring about it), made when there is none."""
        spot = point if major else foot(point, d)
        for axis in (one for near in around(spot) for one in self._cells.get(near, ())):
            if (major > 0.0) != axis.is_ring or norm(cross(axis.direction, d)) > 1e-5:
                continue
            arm = sub(point, axis.point)
            if (norm(arm) if major else norm(cross(arm, axis.direction))) <= tol.fit and (
                abs(axis.major - major) <= tol.fit
            ):
                return axis
        x = any_normal(d)
        self._count += 1
        made = Axis(point, d, major, x, cross(d, x), -self._count)
        self._cells.setdefault(cell(spot), []).append(made)
        return made


def foot(point: Vec, d: Vec) -> Vec:
    """The point of a line nearest to the origin."""
    return sub(point, scale(d, dot(point, d)))


def cell(p: Vec) -> tuple[int, int, int]:
    """The millimetre cell of a point."""
    return (round(p[0]), round(p[1]), round(p[2]))


def around(p: Vec) -> Iterator[tuple[int, int, int]]:
    """The cell of a point and the 26 about it."""
    x, y, z = cell(p)
    yield from product((x - 1, x, x + 1), (y - 1, y, y + 1), (z - 1, z, z + 1))
