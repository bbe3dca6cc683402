"""The steps of a tube with their directions fixed: straights, bends, corners.

Directions are worth more than positions: a straight's own direction is kept, a joint that
nearly continues is smoothed to one direction, a joint that does not becomes a corner.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, degrees, radians, sin, sqrt

from converter.geometry.vectors import (
    Vec,
    add,
    along,
    angle_between,
    any_normal,
    cross,
    dot,
    norm,
    rotate,
    scale,
    signed_angle,
    sub,
    unit,
)
from converter.reducer.limits import CLEAR_TURN, LADDER_EXACT
from converter.reducer.pieces import Bow, Piece, Straight
from converter.tolerances import PAST_SHARE, Tolerances, same_within

SHORT = 10.0  #: straights shorter than this many join tolerances may have a direction worth nothing
#: Degrees; a joint that misses tangency by less does so by the digits of its file, and changes no angle as it is shown.
_WORTH_SAYING = 0.01


@dataclass(frozen=True, slots=True)
class DirectionChange:
    """What was noticed where two pieces meet: 'kink', 'near-tangent' or 'fold-back', at which row."""

    kind: str
    row: int
    angle: float
    item: int


@dataclass(slots=True)
class Element:
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


def _slack(piece: Piece) -> float:
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


def elements_of(pieces: list[Piece], tol: Tolerances) -> tuple[list[Element], list[DirectionChange]]:
    """Fix the direction at every joint; turn what is left over into corners."""
    count = len(pieces)
    drawn = [p.directions for p in pieces]
    into = [d[0] for d in drawn]
    out = [d[1] for d in drawn]
    _replace_short(pieces, into, out, tol)
    corners: dict[int, str] = {}
    near: dict[int, float] = {}
    for k in range(count - 1):
        a, b = pieces[k], pieces[k + 1]
        mismatch = angle_between(out[k], into[k + 1])
        both_straight = isinstance(a, Straight) and isinstance(b, Straight)
        allowed = same_within(tol.tangent) + _slack(a) + _slack(b)
        if mismatch > allowed or (both_straight and mismatch > 0.0):
            corners[k] = "corner" if both_straight else "kink"
            continue
        if mismatch > same_within(_WORTH_SAYING) and _slack(a) == _slack(b) == 0.0:
            near[k] = mismatch
        joint = _shared(a, b, out[k], into[k + 1])
        out[k] = into[k + 1] = joint
        # a straight has one direction only; it is never changed by its neighbours here
    elements: list[Element] = []
    joints: list[DirectionChange] = []
    rows = 0
    for k, piece in enumerate(pieces):
        if isinstance(piece, Straight):
            d = into[k]
            elements.append(Element(d, d, any_normal(d), 0.0, piece.length, None, k, piece.item, True))
        else:
            elements.append(bend_between(piece, into[k], out[k], k))
            rows += 1
        if k in near:
            joints.append(DirectionChange("near-tangent", max(rows, 1), near[k], piece.item))
        if k in corners:
            t_in, t_out = elements[-1].t_out, into[k + 1]
            angle = angle_between(t_in, t_out)
            n = cross(t_in, t_out)
            n = unit(n) if norm(n) > 1e-9 else any_normal(t_in)
            if angle > 1e-7:
                rows += 1
                item = pieces[k + 1].item
                elements.append(Element(t_in, t_out, n, angle, 0.0, None, -1, item, False, corners[k] == "kink"))
                if angle > 180.0 - tol.tangent * (1.0 - PAST_SHARE):
                    joints.append(DirectionChange("fold-back", rows, angle, piece.item))
                elif corners[k] == "kink":
                    joints.append(DirectionChange("kink", rows, angle, piece.item))
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


def bend_between(bow: Bow, t_in: Vec, t_out: Vec, k: int) -> Element:
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
    return Element(t_in, rotate(t_in, n, angle), n, angle, 0.0, bow, k, bow.item, False)


def start_of(piece: Piece) -> Vec:
    """Where a piece starts as drawn or fitted, mm."""
    return piece.p if isinstance(piece, Straight) else piece.arc.start


def end_of(piece: Piece) -> Vec:
    """Where a piece ends as drawn or fitted, mm."""
    return piece.q if isinstance(piece, Straight) else piece.arc.end


def arm_of(e: Element) -> tuple[Vec, Vec]:
    """Per unit of radius: from the start of a bend to its centre, and from its start to its end."""
    b = cross(e.n, e.t_in)
    a = radians(e.angle)
    c, s = cos(a), sin(a)
    chord = add(scale(b, 1.0 - c), scale(e.t_in, s))
    return b, chord
