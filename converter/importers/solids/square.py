"""Square and rectangular tube and bar in a body, by the corners of their sections.

Corners run along the whole member as rails (`converter.importers.solids.rails`). Eight that follow each other in
parallel, four in a rectangle around four, are a tube; four without any inside may be a bar: outside, inside, walls,
corners and centerline are read off them, whatever became of the flat faces between (CAD programs merge those of
several members into one).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import sqrt

import numpy as np

from converter.arrays import Array
from converter.findings import Clause
from converter.geometry.vectors import Vec, add, along, cross, dot, norm, scale, sub, unit
from converter.importers.body_checks import BAR_WIDTHS
from converter.importers.solids.chains import PieceChain, chains_of
from converter.importers.solids.faces import CONE, PLANE
from converter.importers.solids.pieces import Axis, TubePiece
from converter.importers.solids.profiles import CORNER_LOSS
from converter.importers.solids.rails import BAR_CORNERS, TUBE_CORNERS, Rail, over_gaps
from converter.importers.solids.reasons import STUB
from converter.importers.solids.rectangles import Rectangle, inside, rectangles
from converter.tolerances import Tolerances

#: Flat bar is bent the hard way to no centerline radius below so many of its widths, without any straight so many;
#: plates are cut so. Common practice, no source.
_HARD_WAY, _HARD_RING = 2.0, 5.0
#: Corners of a bar are there along this part of it; between them others are fused on.
_THERE = 0.6
#: Corners are cut off at a slant by up to this part of the smaller size; more is an octagon or another section.
_DEEP = 0.25
#: Corners are rounded unlike each other by up to this part of it; half of a round bar, split along it, is by all of it.
_UNLIKE = 0.5
#: A corner in parts runs on between them over no more than the shorter one's length, asked at so many places.
_GAP_PLACES = (0.2, 0.5, 0.8)


@dataclass(frozen=True, slots=True)
class SquareTube:
    """A tube or bar found by its rails.

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

    @property
    def rails(self) -> set[int]:
        """Which rails it is made of."""
        return {id(piece) for chain in (*self.outer, *self.inner) for piece in chain.pieces}


def square_tubes(rails: list[Rail], tol: Tolerances, facing: int) -> list[SquareTube]:
    """All square and rectangular tubes among the corners of a body.

    Args:
        facing: 1 for a solid, -1 for one whose faces look into the metal, 0 where faces tell
            nothing: outside corners must be convex and inside ones concave, or either.
    """
    if len(rails) < TUBE_CORNERS:
        return []
    tubes: list[SquareTube] = []
    for group in _parallel(rails, TUBE_CORNERS, tol):
        tubes += _tubes(group, tol, facing)
    return tubes


def square_bars(
    rails: list[Rail], tol: Tolerances, facing: int, is_metal: Callable[[Vec], bool]
) -> Iterator[SquareTube]:
    """What may be square and flat bar among the corners of a solid, the smaller ones of a place first.

    Args:
        facing: see `square_tubes`.
        is_metal: whether a point lies in the solid's metal: corners run on through others fused on across them.
    """
    convex = [rail for rail in rails if rail.sign == facing]
    if len(convex) < BAR_CORNERS:
        return

    def runs_on(last: Rail, rail: Rail) -> bool:
        gap = rail.lo - last.hi
        if rail.axis.is_ring or gap > min(last.hi - last.lo, rail.hi - rail.lo):
            return False
        within = scale(last.out, -(sqrt(2.0) * last.radius + 10.0 * tol.fit))
        return all(is_metal(add(last.axis.at(last.hi + part * gap), within)) for part in _GAP_PLACES)

    for group in _parallel(over_gaps(convex, runs_on, tol), BAR_CORNERS, tol):
        spots, outs, axes = _spots(group)
        for outer in rectangles(spots, outs, list(range(len(group))), tol, _spans(group)):
            bar = _tube(group, outer, None, (), axes, tol)
            if _is_bar(bar) and not is_cut_deep(bar):
                yield bar


def _is_bar(bar: SquareTube) -> bool:
    """Whether a full rectangle is long enough for a bar, and bent as one can be."""
    least, width = sorted(bar.sizes)
    pieces = bar.chain.pieces
    if bar.chain.length < BAR_WIDTHS * width or any(piece.is_full_ring for piece in pieces):
        return False
    if any(isinstance(piece, Rail) and piece.part < _THERE for rail in bar.outer for piece in rail.pieces):
        return False
    tight = _HARD_WAY if any(not piece.axis.is_ring for piece in pieces) else _HARD_RING
    # in the plane of a bend across the flat lies the greater size
    hard = (one for one in zip(pieces, _depths(bar), strict=True) if one[0].axis.is_ring and one[1] > 1.01 * least)
    return width - least <= 1e-3 * width or not any(
        piece.axis.major < tight * depth * (1.0 - 1e-4) for piece, depth in hard
    )


def _depths(bar: SquareTube) -> list[float]:
    """The bar's size in the plane of each piece that is a bend, mm."""
    found = []
    for k, piece in enumerate(bar.chain.pieces):
        if not piece.axis.is_ring:
            found.append(0.0)
            continue
        majors = [rail.pieces[k].axis.major for rail in bar.outer]
        found.append(max(majors) - min(majors))
    return found


# --- parallel rails -------------------------------------------------------------------------


def _parallel(rails: list[Rail], least: int, tol: Tolerances) -> list[list[PieceChain]]:
    """Chains of rails that follow the same path side by side, all run the same way as the first of their group."""
    groups: list[list[PieceChain]] = []
    for chain in chains_of(list(rails), tol):
        for group in groups:
            aligned = _aligned(group[0], chain)
            if aligned is not None:
                group.append(aligned)
                break
        else:
            groups.append([chain])
    return [group for group in groups if len(group) >= least]


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
    """The tubes of a group: the smallest rectangles first that have another one inside."""
    spots, outs, axes = _spots(group)
    signs = [1 if sum(p.sign * p.length for p in chain.pieces) >= 0.0 else -1 for chain in group]
    every = range(len(group))
    convex = [i for i in every if not facing or signs[i] == facing]
    concave = [i for i in every if not facing or signs[i] != facing]
    if len(concave) < TUBE_CORNERS // 2:
        return []
    spans = _spans(group)
    used: set[int] = set()
    tubes = []
    for outer in rectangles(spots, outs, convex, tol, spans):
        if used & set(outer.corners):
            continue
        if len(group[0].items) == 1 and max(group[i].length for i in outer.corners) < STUB * max(outer.sizes):
            continue
        low, high = spans[list(outer.corners), 0].max(), spans[list(outer.corners), 1].min()
        beside = np.maximum(spans[:, 0], low) + tol.join < np.minimum(spans[:, 1], high)
        free = [i for i in concave if beside[i] and i not in used and i not in outer.corners]
        found = inside(outer, spots, outs, free, tol)
        if found is not None:
            inner, walls = found
            tube = _tube(group, outer, inner, walls, axes, tol)
            if not is_cut_deep(tube):
                tubes.append(tube)
                used |= {*outer.corners, *inner}
    return tubes


def _spots(group: list[PieceChain]) -> tuple[Array, Array, tuple[Vec, Vec]]:
    """Where rails pass through a plane across the first piece (n, 2), their ways out, the plane's two directions."""
    lead, back = group[0].items[0]
    axis = lead.axis
    firsts = [chain.items[0][0] for chain in group]
    ways = [piece.out if isinstance(piece, Rail) else (0.0, 0.0, 0.0) for piece in firsts]
    if axis.is_ring:
        rows = [(p.axis.major, dot(sub(p.axis.point, axis.point), axis.direction)) for p in firsts]
        radials = [unit(sub(p.axis.at(p.lo), p.axis.point)) for p in firsts]
        outs = [(dot(w, r), dot(w, axis.direction)) for w, r in zip(ways, radials, strict=True)]
        # at the bend's start the outward direction is the arm's
        x = unit(sub(axis.at(lead.hi if back else lead.lo), axis.point))
        return np.array(rows), np.array(outs), (x, axis.direction)
    x, y = axis.x, cross(axis.direction, axis.x)
    arms = [sub(p.axis.point, axis.point) for p in firsts]
    return (
        np.array([(dot(arm, x), dot(arm, y)) for arm in arms]),
        np.array([(dot(w, x), dot(w, y)) for w in ways]),
        (x, y),
    )


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
    group: list[PieceChain],
    outer: Rectangle,
    inner: tuple[int, ...] | None,
    walls: tuple[float, ...],
    axes: tuple[Vec, Vec],
    tol: Tolerances,
) -> SquareTube:
    rails = tuple(group[i] for i in outer.corners)
    bore = tuple(group[i] for i in inner or ())
    items = []
    for k, (lead, back) in enumerate(rails[0].items):
        others = [rail.items[k][0] for rail in rails]
        items.append((_middle(lead, others), back))
    side = along(scale(axes[0], float(outer.side[0])), axes[1], float(outer.side[1]))
    other = along(scale(axes[0], -float(outer.side[1])), axes[1], float(outer.side[0]))
    return SquareTube(
        PieceChain(items, rails[0].closed),
        rails,
        bore,
        (side, other),
        outer.sizes,
        sum(walls) / 4.0 if walls else min(outer.sizes) / 2.0,
        usual_corner(rails, tol),
        usual_corner(bore, tol) if bore else 0.0,
        odd_of(walls, rails, bore, tol),
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


# --- the section ------------------------------------------------------------------------------


def usual_corner(rails: tuple[PieceChain, ...], tol: Tolerances) -> float:
    """The radius that most corners have; of several as frequent, the one nearest to their mean."""
    radii = [_main(rail).radius for rail in rails]
    mean = sum(radii) / len(radii)
    counts = [sum(abs(r - other) <= tol.fit for other in radii) for r in radii]
    return max(zip(counts, radii, strict=True), key=lambda one: (one[0], -abs(one[1] - mean)))[1]


def odd_of(
    walls: tuple[float, ...], outer: tuple[PieceChain, ...], inner: tuple[PieceChain, ...], tol: Tolerances
) -> tuple[Clause, ...]:
    """What of a section no section of one wall and one corner radius says."""
    told = []
    if walls and max(walls) - min(walls) > tol.fit:
        told.append(Clause.of("solid-walls-differ", least=float(min(walls)), most=float(max(walls))))
    for where, rails in (("outside", outer), ("inside", inner)):
        radii = [_main(rail).radius for rail in rails if not _is_slanted(rail)]
        if radii and max(radii) - min(radii) > tol.fit:
            told.append(Clause.of("solid-corners-differ", where=where, least=float(min(radii)), most=float(max(radii))))
        if len(radii) < len(rails):
            told.append(Clause.of("solid-corners-chamfered", where=where, count=len(rails) - len(radii)))
    return tuple(told)


def is_cut_deep(tube: SquareTube) -> bool:
    """Whether corners are cut off at a slant by so much, or rounded so unlike, that it has another section."""
    legs = [sqrt(2.0 * CORNER_LOSS) * _main(rail).radius for rail in tube.outer if _is_slanted(rail)]
    radii = [_main(rail).radius for rail in tube.outer if not _is_slanted(rail)]
    unlike = max(radii, default=0.0) - min(radii, default=0.0) > _UNLIKE * min(tube.sizes)
    return unlike or max(legs, default=0.0) > _DEEP * min(tube.sizes)


def _main(rail: PieceChain) -> TubePiece:
    return max(rail.pieces, key=lambda piece: (not piece.axis.is_ring, piece.length))


def _is_slanted(rail: PieceChain) -> bool:
    """Whether a corner is cut off at a slant."""
    return any(patch.shape.kind in (PLANE, CONE) for patch in _main(rail).patches)
