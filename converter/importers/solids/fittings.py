"""Flanges, sockets and fittings on a tube: another diameter on its axis that does not make it a turned part.

What is short against its own diameter is a fitting, by common practice, no source: a flange, a coupling, the legs of
an elbow or a tee. What is long and hollow, or bent, is a tube that such a thing sits on. Elbows may be segments, too.
"""

from __future__ import annotations

from itertools import combinations

from converter.findings import Clause
from converter.geometry.vectors import angle_between, cross, distance, dot, norm, sub
from converter.importers.solids.chains import SAME_RADIUS, PieceChain
from converter.importers.solids.pieces import TubePiece
from converter.tolerances import Tolerances

#: Of two diameters on one axis, what is shorter than this many of its own is the fitting.
FITTING = 4.0
#: Segments of an elbow turn by no more than so many degrees from one to the next, and are so many. Common practice.
_MITRE, _SEGMENTS = 46.0, 3


def turned_step(chain: PieceChain, chains: list[PieceChain], tol: Tolerances) -> tuple[float, float] | None:
    """The two diameters (mm) of a step that makes a chain a turned part or a fitting; None where nothing does.

    Args:
        chain: outside pieces in order.
        chains: all of the body.
        tol: diameters that differ by less than ``fit`` are one.
    """
    for piece, other in _steps(chain, chains, tol):
        beside = next(c for c in chains if any(p is other for p in c.pieces))
        if not _is_long(chain) or not (_is_bent(chain) or _carries(chain, beside, tol)):
            small, large = sorted((2.0 * float(piece.radius), 2.0 * float(other.radius)))
            return small, large
    return None


def _is_long(chain: PieceChain) -> bool:
    return chain.length >= FITTING * 2.0 * chain.radius


def _is_bent(chain: PieceChain) -> bool:
    return any(piece.axis.is_ring for piece in chain.pieces)


def _carries(chain: PieceChain, other: PieceChain, tol: Tolerances) -> bool:
    """Whether a straight chain is a tube beside which the other is a fitting, or a tube pushed into it or over it."""
    bores = [piece.bore.radius for piece in chain.pieces if piece.bore is not None]
    if not bores:
        return False
    if not _is_long(other):
        return True
    others = [piece.bore.radius for piece in other.pieces if piece.bore is not None]
    return bool(others) and abs(max(bores) - max(others)) > tol.fit


def _steps(chain: PieceChain, chains: list[PieceChain], tol: Tolerances) -> list[tuple[TubePiece, TubePiece]]:
    """Other outsides on the axis of a straight of the chain, of another diameter, beside its ends or around it."""
    if chain.closed:
        return []
    mine = set(map(id, chain.pieces))
    found = []
    for piece, start, end in _straights(chain):
        for other in (p for c in chains for p in c.pieces):
            if id(other) in mine or other.axis.number != piece.axis.number:
                continue
            differs = abs(other.radius - piece.radius) > max(0.5 * SAME_RADIUS * piece.radius, 0.5 * tol.fit)
            reach = max(other.radius, piece.radius)
            low = piece.lo - (reach if start else -tol.join)
            high = piece.hi + (reach if end else -tol.join)
            if differs and other.hi >= low and other.lo <= high:
                found.append((piece, other))
    return found


def _straights(chain: PieceChain) -> list[tuple[TubePiece, bool, bool]]:
    """Straight pieces, each with whether the chain ends at its lo and at its hi."""
    last = len(chain.items) - 1
    found = []
    for k, (piece, back) in enumerate(chain.items):
        if not piece.axis.is_ring:
            begins, ends = k == 0, k == last
            found.append((piece, ends if back else begins, begins if back else ends))
    return found


def segmented_elbow(outsides: list[TubePiece], tol: Tolerances) -> Clause | None:
    """That a body is an elbow of straight segments mitred to one another (lobster-back), with its sizes; else None.

    Args:
        outsides: outside pieces of the body.
        tol: ``fit`` is how near the axes of two segments meet, and how much their diameters differ.
    """
    straights = [piece for piece in outsides if not piece.axis.is_ring and piece.is_round]
    pairs = []
    for (i, a), (j, b) in combinations(enumerate(straights), 2):
        turn = angle_between(a.axis.direction, b.axis.direction)
        turn = min(turn, 180.0 - turn)
        sides = _meet(a, b, tol) if tol.tangent < turn <= _MITRE and abs(a.radius - b.radius) <= tol.fit else None
        if sides is not None:
            pairs.append((turn, (i, sides[0]), (j, sides[1])))
    used: set[tuple[int, int]] = set()
    turns: dict[int, list[float]] = {}
    for turn, one, other in sorted(pairs):  # the next but one may meet as well, at twice the angle
        if one not in used and other not in used:
            used |= {one, other}
            for end in (one, other):
                turns.setdefault(end[0], []).append(turn)
    if len(turns) < max(_SEGMENTS, len(straights)) or sorted(map(len, turns.values()))[:3] != [1, 1, 2]:
        return None
    total = sum(sum(own) for own in turns.values()) / 2.0
    od = 2.0 * float(max(straights[k].radius for k in turns))
    return Clause.of("solid-segmented", count=len(turns), od=od, angle=float(total))


def _meet(a: TubePiece, b: TubePiece, tol: Tolerances) -> tuple[int, int] | None:
    """At which ends of two straights their axes meet; None where they do not."""
    n = cross(a.axis.direction, b.axis.direction)
    arm = sub(b.axis.point, a.axis.point)
    if abs(dot(arm, n)) > 2.0 * tol.fit * norm(n):
        return None
    spot = a.axis.at(dot(cross(arm, b.axis.direction), n) / dot(n, n))
    off = [[distance(p.axis.at(p.end(side)), spot) for side in (0, 1)] for p in (a, b)]
    if any(min(own) > p.radius for own, p in zip(off, (a, b), strict=True)):
        return None
    return int(off[0][1] < off[0][0]), int(off[1][1] < off[1][0])
