"""From pieces that nearly fit together to a bend table that means exactly one tube.

Directions come first: every straight keeps its own, arcs lie between them. With directions
fixed, the position of every joint is linear in the straights' lengths and the fitted radii,
so what rounding, healing and fitting left over is spread by linear least squares; radii that
were drawn as arcs are never touched. The rest is measured and reported as the deviation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from converter.geometry.circles import arc_test
from converter.geometry.vectors import (
    Vec,
    add,
    along,
    angle_between,
    any_normal,
    distance,
    scale,
    signed_angle,
    sub,
    unit,
)
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line, Segment
from converter.reducer.adjusting.directions import DirectionChange, Element, arm_of, elements_of, end_of, start_of
from converter.reducer.adjusting.spread import least_squares
from converter.reducer.pieces import Bow, Piece, Straight, bow_through
from converter.tolerances import Tolerances, same_within


@dataclass(frozen=True, slots=True)
class Settled:
    """A table in place.

    Attributes:
        table, placement: the tube.
        items: for each bend the index of the drawn curve it comes from.
        bows: for each bend the piece it comes from, None for a corner.
        joints: what was noticed at joints.
        segments: for each piece the straight or arc it became, None where it vanished.
        places: for each piece ('line' or 'arc', row of the table); the tail has the row after the last.
    """

    table: BendTable
    placement: Placement
    items: tuple[int, ...]
    bows: tuple[Bow | None, ...]
    joints: tuple[DirectionChange, ...]
    segments: tuple[Segment | None, ...]
    places: tuple[tuple[str, int], ...]


def merge(pieces: list[Piece], tol: Tolerances) -> list[Piece]:
    """Put together what was drawn in parts: collinear straights, exact arcs of one circle."""
    out: list[Piece] = []
    for piece in pieces:
        joined = _join(out[-1], piece, tol) if out else None
        if joined is None:
            out.append(piece)
        else:
            out[-1] = joined
    return out


def _join(a: Piece, b: Piece, tol: Tolerances) -> Piece | None:
    if isinstance(a, Straight) and isinstance(b, Straight):
        if angle_between(a.d, b.d) > same_within(tol.tangent):
            return None
        return Straight(a.p, b.q, unit(sub(b.q, a.p)), np.concatenate((a.proof, b.proof)), a.item)
    if isinstance(a, Bow) and isinstance(b, Bow) and a.exact and b.exact:
        same = (
            distance(a.arc.center, b.arc.center) <= tol.join
            and abs(a.arc.radius - b.arc.radius) <= tol.fit
            and angle_between(a.arc.normal, b.arc.normal) <= same_within(tol.tangent)
        )
        angle = a.arc.angle + b.arc.angle
        if same and angle < 360.0 - 1e-6:
            main = a.arc if a.arc.angle >= b.arc.angle else b.arc
            arc = Arc(main.center, main.normal, main.radius, a.arc.start, b.arc.end, angle)
            return replace(a, arc=arc, proof=np.concatenate((a.proof, b.proof)))
    if isinstance(a, Bow) and isinstance(b, Bow) and not (a.exact or b.exact or (a.tangent and b.tangent)):
        # the splitting is maximal, so this is one arc drawn as two, or cut by the start of a loop
        level = max(a.level, b.level)
        together = np.concatenate((a.proof, b.proof[1:]))
        if arc_test(together, min(tol.fit, 4.0 * level)):
            joined = bow_through(together, together, level, a.item, a.free and b.free)
            return joined[0] if len(joined) == 1 else None
    return None


def open_loop(pieces: list[Piece]) -> list[Piece]:
    """A closed row of pieces begun anew in the middle of its longest straight (unchanged without one)."""
    straights = [(round(p.length, 6), -k) for k, p in enumerate(pieces) if isinstance(p, Straight)]
    if not straights:
        return pieces
    best = -max(straights)[1]
    straight = pieces[best]
    if not isinstance(straight, Straight):
        return pieces
    middle = scale(add(straight.p, straight.q), 0.5)
    ahead = replace(straight, p=middle, proof=np.array((middle, straight.q)))
    behind = replace(straight, q=middle, proof=np.array((straight.p, middle)))
    return [ahead, *pieces[best + 1 :], *pieces[:best], behind]


def settle(pieces: list[Piece], tol: Tolerances) -> Settled:
    """The bend table of pieces in order, in place.

    Args:
        pieces: at least one.
        tol: tolerances (mm, degrees).
    """
    elements, joints = elements_of(pieces, tol)
    start = start_of(pieces[0])
    lengths, radii = _drawn_sizes(elements)
    settled = assemble(elements, lengths, radii, start, len(pieces))
    if _worst_joint(settled[2], pieces) > tol.equal:
        lengths, radii, start = least_squares(elements, pieces, lengths, radii, start)
        settled = assemble(elements, lengths, radii, start, len(pieces))
    table, placement, segments = settled
    rows = [e for e in elements if not e.is_straight]
    return Settled(
        table,
        placement,
        tuple(e.item for e in rows),
        tuple(e.bow for e in rows),
        tuple(joints),
        segments,
        _places(elements),
    )


def _places(elements: list[Element]) -> tuple[tuple[str, int], ...]:
    out: list[tuple[str, int]] = []
    row = 0
    for e in elements:
        if e.piece >= 0:
            out.append(("line" if e.is_straight else "arc", row))
        row += not e.is_straight
    return tuple(out)


def _drawn_sizes(elements: list[Element]) -> tuple[list[float], list[float]]:
    lengths = [e.length for e in elements]
    radii = [e.bow.arc.radius if e.bow else 0.0 for e in elements]
    return lengths, radii


def assemble(
    elements: list[Element], lengths: list[float], radii: list[float], start: Vec, pieces: int
) -> tuple[BendTable, Placement, tuple[Segment | None, ...]]:
    """The table that a walk along elements makes, where it stands, and what each of so many pieces became."""
    rows: list[Bend] = []
    segments: list[Segment | None] = [None] * pieces
    feed = 0.0
    point = start
    last_n: Vec | None = None
    first_n: Vec | None = None
    for e, length, radius in zip(elements, lengths, radii, strict=True):
        if e.is_straight:
            feed += length
            end = along(point, e.t_in, length)
            if length > 0.0 and end != point:
                segments[e.piece] = Line(point, end)
            point = end
            continue
        rotation = 0.0
        if last_n is None:
            first_n = e.n
        else:
            rotation = signed_angle(last_n, e.n, e.t_in)
        last_n = e.n
        if e.bow is None:
            rows.append(Bend(feed, rotation, e.angle, None, corner=not e.kink))
        else:
            b, chord = arm_of(e)
            end = along(point, chord, radius)
            segments[e.piece] = Arc(along(point, b, radius), e.n, radius, point, end, e.angle)
            # what settling moved a fitted radius by is doubt about it, too
            loose = 0.0 if e.bow.exact else max(e.bow.uncertainty, abs(radius - e.bow.arc.radius))
            rows.append(Bend(feed, rotation, e.angle, radius, loose))
            point = end
        feed = 0.0
    direction = elements[0].t_in
    placement = Placement(start, direction, first_n if first_n is not None else any_normal(direction))
    return BendTable(tuple(rows), feed), placement, tuple(segments)


def _worst_joint(segments: tuple[Segment | None, ...], pieces: list[Piece]) -> float:
    worst = 0.0
    for segment, piece in zip(segments, pieces, strict=True):
        if segment is None:
            worst = max(worst, distance(start_of(piece), end_of(piece)))
            continue
        for a, b in ((segment.start, start_of(piece)), (segment.end, end_of(piece))):
            worst = max(worst, distance(a, b))
        if isinstance(segment, Arc) and isinstance(piece, Bow) and not piece.exact:
            worst = max(worst, distance(segment.center, piece.arc.center))
    return worst
