"""From a chain of pieces to a bend table in place.

End A is the end whose centerline point comes first by x, then y, then z (what differs by
less than the join tolerance counts as equal); where both ends lie there, the one the tube
leaves in the first direction by the same order. A closed tube starts in the middle of its
longest straight (of several, the one whose middle comes first) and runs so that it leaves
in a direction whose first number that is not zero is above zero. A square or rectangular
tube whose section lies square only to the bend next to its other end starts there.
"""

from __future__ import annotations

from dataclasses import replace
from math import degrees, radians

from converter.findings import Finding
from converter.geometry.circles import radius_uncertainty
from converter.geometry.vectors import (
    Vec,
    add,
    any_normal,
    distance,
    dot,
    norm,
    scale,
    signed_angle,
    sub,
)
from converter.importers.solids.chains import PieceChain
from converter.importers.solids.ends import ChainEnd
from converter.importers.solids.pieces import TubePiece, near_angle
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import walk
from converter.model.curve import Arc, Line, Segment
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.chain import Chain
from converter.reducer.general import reduce_chain
from converter.tolerances import Tolerances

_NO_LENGTH = 1e-9
#: Decimals (mm) that a section's sizes are kept to: what lies beyond is rounding.
NEAT = 9


def segments_of(chain: PieceChain, ends: tuple[ChainEnd, ChainEnd] | None, tol: Tolerances) -> list[Segment]:
    """The straights and arcs of a chain, from its first piece on; zero straights left out.

    Args:
        chain: pieces in order.
        ends: where the centerline ends at both free ends; None for a closed chain.
        tol: ``join`` bounds how far a tangent point may lie from where the faces meet.
    """
    spans = []
    for piece, backward in chain.items:
        spans.append([piece.hi, piece.lo] if backward else [piece.lo, piece.hi])
    count = len(spans)
    if ends is not None:
        spans[0][0], spans[-1][1] = ends[0].t, ends[1].t
    for k in range(count if chain.closed and count > 1 else count - 1):
        a, b = chain.items[k][0], chain.items[(k + 1) % count][0]
        s, t = _tangent_point(a, b, spans[k][1], spans[(k + 1) % count][0], tol)
        spans[k][1], spans[(k + 1) % count][0] = s, t
    made: list[Segment] = []
    for (piece, _), (lo, hi) in zip(chain.items, spans, strict=True):
        axis = piece.axis
        start, end = axis.at(lo), axis.at(hi)
        if not axis.is_ring:
            if distance(start, end) > _NO_LENGTH:
                made.append(Line(start, end))
            continue
        normal = axis.direction if hi > lo else scale(axis.direction, -1.0)
        if chain.closed and count == 1:
            made.append(_whole_ring(axis.point, axis.direction, axis.major))
        elif abs(hi - lo) > _NO_LENGTH:
            made.append(Arc(axis.point, normal, axis.major, start, end, min(360.0, degrees(abs(hi - lo)))))
    return made


def _whole_ring(center: Vec, normal: Vec, radius: float) -> Arc:
    if _first_sign(normal) < 0.0:
        normal = scale(normal, -1.0)
    start = add(center, scale(any_normal(normal), radius))
    return Arc(center, normal, radius, start, start, 360.0)


def _tangent_point(a: TubePiece, b: TubePiece, s: float, t: float, tol: Tolerances) -> tuple[float, float]:
    """Both pieces' places of the point where they touch: by their axes where those say it exactly."""
    if a.axis.is_ring == b.axis.is_ring:
        return s, t
    if a.axis.is_ring:
        t, s = _tangent_point(b, a, t, s, tol)
        return s, t
    foot = a.axis.place(b.axis.point)
    if abs(foot - s) > tol.join:
        return s, t
    turn = near_angle(b.axis.place(a.axis.at(foot)), t)
    return (foot, turn) if abs(turn - t) * b.axis.major <= tol.join else (s, t)


def canonical(made: list[Segment], closed: bool, tol: Tolerances) -> tuple[list[Segment], bool]:
    """Segments in the order this module's head describes, and whether an open row was turned around."""
    if closed:
        return _closed_order(made), False
    a, b = made[0].start, made[-1].end
    order = _compare(a, b, tol.join)
    if order == 0:
        order = _compare(made[0].start_direction, scale(made[-1].end_direction, -1.0), 1e-6)
    if order <= 0:
        return made, False
    return [one.reversed() for one in reversed(made)], True


def _closed_order(made: list[Segment]) -> list[Segment]:
    if len(made) == 1:
        return made
    straights = [one for one in made if isinstance(one, Line)]
    if straights:
        longest = max(one.length for one in straights)
        ties = [k for k, one in enumerate(made) if isinstance(one, Line) and one.length > longest - 1e-6]
        best = min(ties, key=lambda k: _rounded(scale(add(made[k].start, made[k].end), 0.5)))
    else:
        best = min(range(len(made)), key=lambda k: _rounded(made[k].start))
    if _first_sign(made[best].start_direction) < 0.0:
        made = [one.reversed() for one in reversed(made)]
        best = len(made) - 1 - best
        if not straights:
            best = (best + 1) % len(made)
    return made[best:] + made[:best]


def _rounded(p: Vec) -> tuple[float, ...]:
    return tuple(round(v, 4) for v in p)


def _compare(a: Vec, b: Vec, slack: float) -> int:
    for p, q in zip(a, b, strict=True):
        if abs(p - q) > slack:
            return -1 if p < q else 1
    return 0


def _first_sign(d: Vec) -> float:
    return next((v for v in d if abs(v) > 1e-6), 1.0)


def table_of(
    made: list[Segment], closed: bool, name: str, tol: Tolerances
) -> tuple[BendTable, Placement, tuple[Finding, ...]] | None:
    """The bend table of straights and arcs in order, and what is told of settling them."""
    exact = None if closed else _exact_table(made, tol)
    if exact is not None:
        return exact[0], exact[1], ()
    drawn = tuple((DrawnCurve(one, None, None, name), False) for one in made)
    run = reduce_chain(Chain(drawn, closed, None, 0), name, tol)
    return None if run is None else (run.table, run.placement, run.findings)


def _exact_table(made: list[Segment], tol: Tolerances) -> tuple[BendTable, Placement] | None:
    """The table where every joint is tangent and closed to rounding; None where it is not."""
    rows: list[Bend] = []
    feed = 0.0
    last: Segment | None = None
    heading: Vec = made[0].start_direction
    normal: Vec | None = None
    first_normal: Vec | None = None
    for one in made:
        if last is not None and (isinstance(last, Line) and isinstance(one, Line)):
            return None
        if last is not None and distance(last.end, one.start) > tol.equal:
            return None
        if isinstance(one, Line):
            d = one.direction
            feed += one.length
        else:
            d = one.start_direction
            n = one.normal
            if one.angle >= 360.0 - 1e-6:
                return None
            rotation = 0.0
            if normal is None:
                first_normal = n
            else:
                rotation = signed_angle(normal, n, heading)
            rows.append(Bend(feed, rotation, one.angle, one.radius))
            normal, feed = n, 0.0
        if last is not None and norm(sub(d, heading)) > 1e-6:
            return None
        heading = one.end_direction
        last = one
    if last is None:
        return None
    table = BendTable(tuple(rows), feed)
    t = made[0].start_direction
    if first_normal is None:
        return table, Placement.leaving(made[0].start, t)
    square = sub(first_normal, scale(t, dot(first_normal, t)))
    placement = Placement(made[0].start, t, scale(square, 1.0 / norm(square)))
    end = walk(table, placement)[1]
    if distance(end.start, last.end) > tol.equal or norm(sub(end.direction, heading)) > 1e-6:
        return None
    return table, placement


def with_doubt(table: BendTable, chain: PieceChain, backward: bool) -> BendTable:
    """The table with each radius' uncertainty, where the bend's surface had to be recognised from points."""
    rings = [piece for piece in chain.pieces if piece.axis.is_ring]
    doubts = [max((p.shape.residual for p in ring.patches), default=0.0) for ring in rings]
    if chain.closed or len(rings) != len(table.bends) or max(doubts, default=0.0) <= 1e-6:
        return table
    if backward:
        doubts.reverse()
    rows = tuple(
        replace(b, clr_uncertainty=max(b.clr_uncertainty, radius_uncertainty(d, radians(min(b.angle, 180.0)) / 2.0)))
        if d > 1e-6
        else b
        for b, d in zip(table.bends, doubts, strict=True)
    )
    return replace(table, bends=rows)
