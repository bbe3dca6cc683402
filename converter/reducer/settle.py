"""From pieces that nearly fit together to a bend table that means exactly one tube.

Directions come first: every straight keeps its own, arcs lie between them. With directions
fixed, the position of every joint is linear in the straights' lengths and the fitted radii,
so what rounding, healing and fitting left over is spread by linear least squares; radii that
were drawn as arcs are never touched. The rest is measured and reported as the deviation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, degrees, radians, sin, sqrt

import numpy as np
from numpy.typing import NDArray

from converter.geometry.circles import arc_test
from converter.geometry.vectors import (
    Vec,
    add,
    along,
    angle_between,
    any_normal,
    cross,
    distance,
    dot,
    norm,
    rotate,
    scale,
    signed_angle,
    sub,
    unit,
)
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line, Segment
from converter.reducer.pieces import LADDER_EXACT, Bow, Piece, Straight, bow_through
from converter.tolerances import Tolerances

Array = NDArray[np.float64]

SHORT = 10.0  #: straights shorter than this many join tolerances may have a direction worth nothing
CLEAR_TURN = 1e-4  #: sine below which two directions do not tell the plane of a bend


@dataclass(frozen=True, slots=True)
class Joint:
    """What was noticed where two pieces meet: 'kink', 'near-tangent' or 'fold-back', at which row."""

    kind: str
    row: int
    angle: float
    item: int


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
    joints: tuple[Joint, ...]
    segments: tuple[Segment | None, ...]
    places: tuple[tuple[str, int], ...]


@dataclass(slots=True)
class _Element:
    """A step of the walk: a straight (turn None), a bend, or a corner (bow None), with fixed directions."""

    t_in: Vec
    t_out: Vec
    n: Vec
    angle: float
    length: float
    bow: Bow | None
    piece: int
    item: int
    is_straight: bool
    kink: bool = False


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
        if angle_between(a.d, b.d) > tol.tangent:
            return None
        return Straight(a.p, b.q, unit(sub(b.q, a.p)), np.concatenate((a.proof, b.proof)), a.item)
    if isinstance(a, Bow) and isinstance(b, Bow) and a.exact and b.exact:
        same = (
            distance(a.arc.center, b.arc.center) <= tol.join
            and abs(a.arc.radius - b.arc.radius) <= tol.fit
            and angle_between(a.arc.normal, b.arc.normal) <= tol.tangent
        )
        angle = a.arc.angle + b.arc.angle
        if same and angle < 360.0 - 1e-6:
            main = a.arc if a.arc.angle >= b.arc.angle else b.arc
            arc = Arc(main.center, main.normal, main.radius, a.arc.start, b.arc.end, angle)
            return replace(a, arc=arc, proof=np.concatenate((a.proof, b.proof)))
    if isinstance(a, Bow) and isinstance(b, Bow) and not a.exact and not b.exact:
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
    elements, joints = _elements(pieces, tol)
    start = _start_of(pieces[0])
    lengths, radii = _drawn_sizes(elements)
    settled = _assemble(elements, lengths, radii, start, len(pieces))
    if _worst_joint(settled[2], pieces) > tol.equal:
        lengths, radii, start = _least_squares(elements, pieces, lengths, radii, start)
        settled = _assemble(elements, lengths, radii, start, len(pieces))
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


def _places(elements: list[_Element]) -> tuple[tuple[str, int], ...]:
    out: list[tuple[str, int]] = []
    row = 0
    for e in elements:
        if e.piece >= 0:
            out.append(("line" if e.is_straight else "arc", row))
        row += not e.is_straight
    return tuple(out)


# --- directions ---------------------------------------------------------------------------


def _directions(piece: Piece) -> tuple[Vec, Vec]:
    if isinstance(piece, Straight):
        return piece.d, piece.d
    return piece.arc.start_direction, piece.arc.end_direction


def _slack(piece: Piece, tol: Tolerances) -> float:
    """Degrees by which a fitted bow's end direction may be off: the reach overshoots by sqrt(2 R level)."""
    if isinstance(piece, Straight) or piece.exact:
        return 0.0
    radius = piece.arc.radius
    over = min(0.5, 2.0 * sqrt(2.0 * max(piece.level, 1e-9) / radius))
    return degrees(over) + (0.5 * piece.arc.angle if len(piece.proof) <= 3 else 0.0)


def _unreliable(piece: Piece, mismatch: float, tol: Tolerances) -> bool:
    """A straight so short that rounding of its ends explains the mismatch (degrees)."""
    return (
        isinstance(piece, Straight)
        and piece.length <= SHORT * tol.join
        and piece.length * sin(radians(min(mismatch, 90.0))) <= tol.join
    )


def _elements(pieces: list[Piece], tol: Tolerances) -> tuple[list[_Element], list[Joint]]:
    """Fix the direction at every joint; turn what is left over into corners."""
    count = len(pieces)
    drawn = [_directions(p) for p in pieces]
    into = [d[0] for d in drawn]
    out = [d[1] for d in drawn]
    _replace_short(pieces, into, out, tol)
    corners: dict[int, str] = {}
    near: dict[int, float] = {}
    for k in range(count - 1):
        a, b = pieces[k], pieces[k + 1]
        mismatch = angle_between(out[k], into[k + 1])
        both_straight = isinstance(a, Straight) and isinstance(b, Straight)
        allowed = tol.tangent + _slack(a, tol) + _slack(b, tol)
        if mismatch > allowed or (both_straight and mismatch > 0.0):
            corners[k] = "corner" if both_straight else "kink"
            continue
        if mismatch > 1e-3 and _slack(a, tol) == _slack(b, tol) == 0.0:
            near[k] = mismatch
        joint = _shared(a, b, out[k], into[k + 1])
        out[k] = into[k + 1] = joint
        # a straight has one direction only; it is never changed by its neighbours here
    elements: list[_Element] = []
    joints: list[Joint] = []
    rows = 0
    for k, piece in enumerate(pieces):
        if isinstance(piece, Straight):
            d = into[k]
            elements.append(_Element(d, d, any_normal(d), 0.0, piece.length, None, k, piece.item, True))
        else:
            elements.append(_bend(piece, into[k], out[k], k))
            rows += 1
        if k in near:
            joints.append(Joint("near-tangent", max(rows, 1), near[k], piece.item))
        if k in corners:
            t_in, t_out = elements[-1].t_out, into[k + 1]
            angle = angle_between(t_in, t_out)
            n = cross(t_in, t_out)
            n = unit(n) if norm(n) > 1e-9 else any_normal(t_in)
            if angle > 1e-7:
                rows += 1
                item = pieces[k + 1].item
                elements.append(_Element(t_in, t_out, n, angle, 0.0, None, -1, item, False, corners[k] == "kink"))
                if angle > 180.0 - tol.tangent:
                    joints.append(Joint("fold-back", rows, angle, piece.item))
                elif corners[k] == "kink":
                    joints.append(Joint("kink", rows, angle, piece.item))
    return elements, joints


def _replace_short(pieces: list[Piece], into: list[Vec], out: list[Vec], tol: Tolerances) -> None:
    """A straight too short to have a direction of its own takes it from the bows beside it."""
    for k, piece in enumerate(pieces):
        if not isinstance(piece, Straight) or piece.length > SHORT * tol.join:
            continue
        sides = []
        if k > 0 and isinstance(pieces[k - 1], Bow):
            sides.append(out[k - 1])
        if k + 1 < len(pieces) and isinstance(pieces[k + 1], Bow):
            sides.append(into[k + 1])
        if not sides:
            continue
        mean = sides[0] if len(sides) == 1 else add(sides[0], sides[1])
        if norm(mean) > 0.5 and _unreliable(piece, angle_between(piece.d, mean), tol):
            into[k] = out[k] = unit(mean)


def _shared(a: Piece, b: Piece, da: Vec, db: Vec) -> Vec:
    """The one direction at a smooth joint: the straight's, else the drawn arc's, else the mean."""
    if isinstance(a, Straight):
        return da
    if isinstance(b, Straight):
        return db
    if a.exact != b.exact:
        return da if a.exact else db
    mean = unit(add(da, db))
    if a.exact or max(a.level, b.level) <= LADDER_EXACT:
        return mean
    # two fitted bows: where one ends is worth less than where their circles are. The tangent
    # lies in both planes; in one plane it is square to the line of centres.
    across = cross(a.arc.normal, b.arc.normal)
    if norm(across) < 0.2:
        apart = sub(b.arc.center, a.arc.center)
        if norm(apart) < 0.2 * max(a.arc.radius, b.arc.radius):
            return mean
        across = cross(a.arc.normal, apart)
    across = unit(across)
    return across if dot(across, mean) > 0.0 else scale(across, -1.0)


def _bend(bow: Bow, t_in: Vec, t_out: Vec, k: int) -> _Element:
    """A bend between two fixed directions, in the plane they span where they tell one."""
    c = cross(t_in, t_out)
    s = norm(c)
    normal = bow.arc.normal
    if s > CLEAR_TURN and abs(dot(c, normal)) > 0.5 * s:
        n = scale(c, (1.0 if dot(c, normal) > 0.0 else -1.0) / s)
    else:
        n = unit(along(normal, t_in, -dot(normal, t_in)))
    angle = signed_angle(t_in, t_out, n)
    angle += 360.0 * round((bow.arc.angle - angle) / 360.0)
    angle = min(max(angle, 1e-9), 360.0 - 1e-9)
    return _Element(t_in, rotate(t_in, n, angle), n, angle, 0.0, bow, k, bow.item, False)


def _start_of(piece: Piece) -> Vec:
    return piece.p if isinstance(piece, Straight) else piece.arc.start


def _end_of(piece: Piece) -> Vec:
    return piece.q if isinstance(piece, Straight) else piece.arc.end


# --- sizes --------------------------------------------------------------------------------


def _drawn_sizes(elements: list[_Element]) -> tuple[list[float], list[float]]:
    lengths = [e.length for e in elements]
    radii = [e.bow.arc.radius if e.bow else 0.0 for e in elements]
    return lengths, radii


def _arm(e: _Element) -> tuple[Vec, Vec]:
    """Per unit of radius: from the start of a bend to its centre, and from its start to its end."""
    b = cross(e.n, e.t_in)
    a = radians(e.angle)
    c, s = cos(a), sin(a)
    chord = add(scale(b, 1.0 - c), scale(e.t_in, s))
    return b, chord


def _assemble(
    elements: list[_Element], lengths: list[float], radii: list[float], start: Vec, pieces: int
) -> tuple[BendTable, Placement, tuple[Segment | None, ...]]:

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
            b, chord = _arm(e)
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
            worst = max(worst, distance(_start_of(piece), _end_of(piece)))
            continue
        for a, b in ((segment.start, _start_of(piece)), (segment.end, _end_of(piece))):
            worst = max(worst, distance(a, b))
        if isinstance(segment, Arc) and isinstance(piece, Bow) and not piece.exact:
            worst = max(worst, distance(segment.center, piece.arc.center))
    return worst


def _least_squares(
    elements: list[_Element], pieces: list[Piece], lengths: list[float], radii: list[float], start: Vec
) -> tuple[list[float], list[float], Vec]:
    """Lengths, fitted radii and the start that bring the walk closest to the pieces.

    Directions stay fixed, so every position is linear in the unknowns. Straights that would
    come out negative are held at zero and the rest is solved again.
    """
    held: set[int] = set()
    for _ in range(6):
        free = [i for i, e in enumerate(elements) if e.is_straight and i not in held]
        loose = [i for i, e in enumerate(elements) if e.bow is not None and not e.bow.exact]
        column = {i: 3 + j for j, i in enumerate([*free, *loose])}
        solution = _solve(elements, pieces, lengths, radii, start, column)
        new_lengths = [
            lengths[i] + float(solution[column[i]]) if i in column and e.is_straight else 0.0
            for i, e in enumerate(elements)
        ]
        new_radii = [r + float(solution[column[i]]) if i in column and i in loose else r for i, r in enumerate(radii)]
        negative = [i for i in free if new_lengths[i] < 0.0]
        if any(new_radii[i] <= 0.0 for i in loose):
            return lengths, radii, start  # nothing sensible: keep what was drawn, the deviation tells
        if not negative:
            break
        held.update(negative)
    x, y, z = (float(v) for v in solution[:3])
    new_lengths = [max(0.0, v) for v in new_lengths]
    return new_lengths, new_radii, add(start, (x, y, z))


def _solve(
    elements: list[_Element],
    pieces: list[Piece],
    lengths: list[float],
    radii: list[float],
    start: Vec,
    column: dict[int, int],
) -> Array:
    """Changes of [start (3), free straights, fitted radii] by linear least squares; smallest where open."""
    size = 3 + len(column)
    # the position so far as a linear map of the unknowns: pos = start + const + coef @ unknowns
    coef = np.zeros((3, size))
    coef[:, :3] = np.eye(3)
    const = np.zeros(3)
    origin = np.array(start)
    rows: list[Array] = [coef.copy()]
    right: list[Array] = [np.zeros(3)]

    def want(directions: Array, at: Array, coefs: Array, target: Array, weight: float = 1.0) -> None:
        rows.append(weight * (directions @ coefs))
        right.append(weight * (directions @ (target - origin - at)))

    for i, e in enumerate(elements):
        if e.is_straight:
            d = np.array(e.t_in)
            u = np.array(any_normal(e.t_in))
            across = np.stack((u, np.cross(d, u)))
            piece = pieces[e.piece]
            for target in (_start_of(piece), _end_of(piece)):
                want(across, const, coef, np.array(target))
            if i in column:
                const = const + lengths[i] * d
                coef = coef.copy()
                coef[:, column[i]] += d
            continue
        if e.bow is None:
            continue
        b, chord = (np.array(v) for v in _arm(e))
        center_coef, center_const = coef.copy(), const + radii[i] * b
        if i in column:
            center_coef[:, column[i]] += b
        center = np.array(e.bow.arc.center)
        if e.bow.exact:
            want(np.eye(3), center_const, center_coef, center)
        else:
            proof = e.bow.proof[np.linspace(0, len(e.bow.proof) - 1, min(16, len(e.bow.proof))).astype(int)]
            weight = 2.0 / sqrt(len(proof))
            arms = proof - center
            arms = arms / np.sqrt((arms * arms).sum(axis=1))[:, None]
            n = np.array(e.n)
            for arm, vertex in zip(arms, proof, strict=True):
                # |vertex - centre| = radius, linear near the fitted circle
                row = arm @ center_coef
                row[column[i]] += 1.0
                rows.append(weight * row[None, :])
                right.append(weight * np.array([arm @ (vertex - origin - center_const) - radii[i]]))
                want(n[None, :], center_const, center_coef, vertex, weight)
        const = const + radii[i] * chord
        if i in column:
            coef = coef.copy()
            coef[:, column[i]] += chord
    want(np.eye(3), const, coef, np.array(_end_of(pieces[-1])))
    solution, *_ = np.linalg.lstsq(np.concatenate(rows), np.concatenate(right), rcond=1e-12)
    result: Array = solution
    return result
