"""From pieces to chains: which pieces are outsides, which are bores, and which follow each other tangent.

Pieces are linked where an end of one meets an end of another and they head opposite ways out.
No topology is asked, so loose and badly sewn faces chain as well as solids. A straight that a
joint interrupts is one straight where its axis and radius go on beyond the mate.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import tau

from converter.geometry.vectors import Vec, along, angle_between, distance, scale
from converter.importers.solids.faces import SolidBody
from converter.importers.solids.pieces import FacePieces, TubePiece, overlap
from converter.tolerances import Tolerances

#: Directions that differ by less than this (degrees) run on; what is above the tolerance is said as a kink.
RUNS_ON = 1.0
#: A wall changes where it does by more than this part; each stretch is so many diameters long, the body so many.
_WALL, _STRETCH, _BODY = 0.1, 2.0, 10.0
#: Radii that differ by less than this part are one tube that is off; more is another part.
SAME_RADIUS = 0.06


@dataclass(slots=True)
class PieceChain:
    """Outside pieces in order, each with whether it is run from hi to lo."""

    items: list[tuple[TubePiece, bool]]
    closed: bool

    @property
    def pieces(self) -> list[TubePiece]:
        """Without their directions."""
        return [piece for piece, _ in self.items]

    @property
    def length(self) -> float:
        """Of the surface along the centerline, mm."""
        return sum(piece.length for piece in self.pieces)

    @property
    def radius(self) -> float:
        """Of its longest piece, straights before bends, mm."""
        return max(self.pieces, key=lambda p: (not p.axis.is_ring, p.length)).radius


def nest(pieces: list[TubePiece], oriented: bool) -> None:
    """Set ``bore`` and ``inside``: on each axis the outsides and bores, from the largest radius in.

    Args:
        pieces: all pieces; ``sign`` +1 for outsides where ``oriented``.
        oriented: whether the signs can be believed (a solid's faces look out of the metal).
    """
    by_axis: dict[int, list[TubePiece]] = {}
    for piece in pieces:
        if piece.is_round:
            by_axis.setdefault(piece.axis.number, []).append(piece)
    for own in by_axis.values():
        own.sort(key=lambda p: -p.radius)
        for i, outer in enumerate(own):
            if outer.inside or (oriented and outer.sign < 0):
                continue
            for inner in own[i + 1 :]:
                # a bore that runs on through a flange is the bore of both
                shared = oriented and inner.sign < 0
                if inner.inside and not shared:
                    continue
                if overlap(outer, inner) <= 0.3 * min(outer.hi - outer.lo, inner.hi - inner.lo):
                    continue
                if oriented and inner.sign > 0:
                    break  # another outside within this one: it has no bore of its own in between
                inner.inside = True
                if outer.bore is None:
                    outer.bore = inner
                    continue
                if abs(inner.radius - outer.bore.radius) > 0.1 * inner.radius:
                    inner.inside = False
                    break


def part_at_walls(found: FacePieces, tol: Tolerances) -> None:
    """Part straights whose bore goes on narrower to an end, once bores are nested: two tubes welded end to end.

    A narrow stretch that is short is a ring or a bush, one between two wide ones a sleeve, and a short body a fitting.
    """
    for piece in [p for p in found.pieces if p.is_round and not p.inside and p.bore is not None and not p.axis.is_ring]:
        bores = [
            p
            for p in found.pieces
            if p.axis.number == piece.axis.number and p.sign != piece.sign and p.is_round and p.radius < piece.radius
            if overlap(piece, p) > tol.join
        ]
        if len(bores) != 2 or piece.length < _BODY * 2.0 * piece.radius:
            continue
        left, right = sorted(bores, key=lambda p: p.lo)
        stretches = [min(p.hi, piece.hi) - max(p.lo, piece.lo) for p in bores]
        if min(stretches) < _STRETCH * 2.0 * piece.radius or not _walls_differ(left, right, piece.radius, tol):
            continue
        if not -tol.join <= right.lo - left.hi <= piece.radius:
            continue
        if max(piece.lo - left.lo, right.hi - piece.hi) > piece.radius:
            continue  # of a tube that is pushed into this one
        at = left.hi if left.radius > right.radius else right.lo
        left.inside = right.inside = True
        found.pieces.append(replace(piece, lo=at, bore=right))
        piece.hi, piece.bore = at, left


def _walls_differ(a: TubePiece | None, b: TubePiece | None, radius: float, tol: Tolerances) -> bool:
    """Whether two bores of one outside radius leave walls that no single tube has."""
    if a is None or b is None:
        return False
    return abs(a.radius - b.radius) > max(2.0 * tol.fit, _WALL * (radius - max(a.radius, b.radius)))


def bridge(found: FacePieces, body: SolidBody, tol: Tolerances, is_metal: Callable[[Vec], bool] | None = None) -> None:
    """Join pieces of one line and radius across the gap that a mate makes.

    Args:
        is_metal: whether a point lies in a solid's metal: a bar goes on through a plate, not through a square tube.
    """
    by_line: dict[int, list[TubePiece]] = {}
    for piece in found.pieces:
        if not piece.axis.is_ring and piece.is_round:
            by_line.setdefault(piece.axis.number, []).append(piece)
    for own in by_line.values():
        own.sort(key=lambda p: (p.lo, p.hi))
        i = 0
        while i < len(own):
            a = own[i]
            for b in own[i + 1 :]:
                if (
                    abs(a.radius - b.radius) <= tol.fit
                    and a.sign == b.sign
                    and (
                        _bridged(found, body, a, b, tol)
                        or _goes_through(found, body, a, b, is_metal)
                        or _has_one_bore(found, a, b, tol)
                    )
                ):
                    share = [(p.hi - p.lo) * p.turn for p in (a, b)]
                    a.turn = min(tau, sum(share) / ((a.hi - a.lo) + (b.hi - b.lo)))
                    a.hi = max(a.hi, b.hi)
                    a.patches += b.patches
                    own.remove(b)
                    found.pieces.remove(b)
                    break
            else:
                i += 1


def _bridged(found: FacePieces, body: SolidBody, a: TubePiece, b: TubePiece, tol: Tolerances) -> bool:
    gap = b.lo - a.hi
    left, right = _mates(found, body, a), _mates(found, body, b)
    if not left or not right:
        return False
    if gap <= a.radius + tol.join and (gap <= 0.0 or _facing(body, found, left, right)):
        return True
    lines = {found.axis_of[k] for k in left} & {found.axis_of[k] for k in right} - {-1}
    for number in lines:
        sizes = [p for p in found.pieces if p.axis.number == number and p.is_round]
        if not sizes:
            continue
        widest = max(p.radius for p in sizes)
        hollow = any(p.sign != a.sign and p.radius < widest for p in sizes)
        # past a hollow mate that is thicker the tube would show inside it
        if gap <= 8.0 * widest and (not hollow or widest <= a.radius * (1.0 + SAME_RADIUS)):
            return True
    return False


def _has_one_bore(found: FacePieces, a: TubePiece, b: TubePiece, tol: Tolerances) -> bool:
    """Whether one bore runs on within two outsides and across the gap between them, no longer than either."""
    return b.lo - a.hi <= min(a.length, b.length) and any(
        p.axis.number == a.axis.number
        and p.sign != a.sign
        and p.radius < a.radius - tol.fit
        and p.is_round
        and p.lo <= a.lo + tol.join
        and p.hi >= b.hi - tol.join
        for p in found.pieces
    )


def _goes_through(
    found: FacePieces, body: SolidBody, a: TubePiece, b: TubePiece, is_metal: Callable[[Vec], bool] | None
) -> bool:
    """Whether a gap of up to two diameters between the two sides of a flat mate is full of metal out to the skin."""
    gap = b.lo - a.hi
    if is_metal is None or not 0.0 < gap <= 4.0 * a.radius or a.turn < 0.9 * tau:
        return False
    if not _facing(body, found, _mates(found, body, a), _mates(found, body, b)):
        return False
    rays = (a.axis.x, a.axis.y, scale(a.axis.x, -1.0), scale(a.axis.y, -1.0))
    middles = [a.axis.at(a.hi + part * gap) for part in (0.25, 0.5, 0.75)]
    return all(
        is_metal(middle) and all(is_metal(along(middle, ray, 0.95 * a.radius)) for ray in rays) for middle in middles
    )


def _facing(body: SolidBody, found: FacePieces, left: set[int], right: set[int]) -> bool:
    """Whether the two sides of a short gap are the two skins of one wall."""
    for i in left:
        for j in right:
            p, q = body.patches[i].shape, body.patches[j].shape
            if i == j or (found.axis_of[i] >= 0 and found.axis_of[i] == found.axis_of[j]):
                return True
            if p.kind == q.kind == "plane" and angle_between(p.axis, q.axis) % 180.0 < 0.5:
                return True
    return False


def _mates(found: FacePieces, body: SolidBody, piece: TubePiece) -> set[int]:
    """Faces beside a piece that belong to something else, too: not its own cuts and caps."""
    number = piece.axis.number
    mine = {p.index for p in piece.patches}
    beside: set[int] = set()
    for patch in piece.patches:
        for rim, _ in patch.rims:
            beside.update(k for k in body.rims[rim].faces if k not in mine)
    out = set()
    for k in beside:
        if found.axis_of[k] == number:
            continue
        others = {j for rim, _ in body.patches[k].rims for j in body.rims[rim].faces if j != k}
        if any(found.axis_of[j] != number or _is_collar(body, j, piece) for j in others):
            out.add(k)
    return out


def _is_collar(body: SolidBody, k: int, piece: TubePiece) -> bool:
    """Whether a face on the piece's own axis is something around it: a washer, a flange."""
    patch = body.patches[k]
    return patch.sign == piece.sign and patch.shape.radius > piece.radius * (1.0 + SAME_RADIUS)


def chains_of(outsides: list[TubePiece], tol: Tolerances) -> list[PieceChain]:
    """Link outside pieces end to end; each piece is in one chain.

    Where more than two ends meet (tubes that touch), the best-aligned pair of one radius links.
    """
    links: dict[tuple[int, int], tuple[int, int]] = {}
    ends = [(i, side, *p.station(side)) for i, p in enumerate(outsides) if not p.is_full_ring for side in (0, 1)]
    ends.sort(key=lambda e: e[2])
    pairs = []
    for k, (i, side, at, out) in enumerate(ends):
        for j, other, at2, out2 in ends[k + 1 :]:
            if at2[0] - at[0] > tol.join:
                break
            if (i == j and outsides[i].axis.major == 0.0) or distance(at, at2) > tol.join:
                continue
            a, b = outsides[i].radius, outsides[j].radius
            kink = angle_between(out, scale(out2, -1.0))
            if _walls_differ(outsides[i].bore, outsides[j].bore, a, tol) and _are_long(outsides[i], outsides[j]):
                continue  # welded end to end
            if abs(a - b) <= SAME_RADIUS * max(a, b) and kink <= max(RUNS_ON, tol.tangent):
                pairs.append((round(abs(a - b), 6), kink, (i, side), (j, other)))
    for _, _, one, two in sorted(pairs):
        if one not in links and two not in links:
            links[one] = two
            links[two] = one
    used: set[int] = set()
    chains = []
    starts = [i for i in range(len(outsides)) if (i, 0) not in links or (i, 1) not in links]
    for start in [*starts, *range(len(outsides))]:
        if start not in used:
            chains.append(_walk(outsides, links, start, used))
    return chains


def _are_long(a: TubePiece, b: TubePiece) -> bool:
    """Whether two pieces are each long enough to be a tube of its own wall, or one of them is a bend."""
    return all(p.axis.is_ring or p.length >= _STRETCH * 2.0 * p.radius for p in (a, b))


def _walk(
    outsides: list[TubePiece], links: dict[tuple[int, int], tuple[int, int]], start: int, used: set[int]
) -> PieceChain:
    side = 0 if (start, 0) not in links else 1
    if (start, 0) in links and (start, 1) in links:
        side = 0
    items = []
    at = start
    while True:
        used.add(at)
        items.append((outsides[at], side == 1))
        after = links.get((at, 1 - side))
        if after is None:
            return PieceChain(items, outsides[at].is_full_ring)
        if after[0] == start:
            return PieceChain(items, True)
        at, side = after
