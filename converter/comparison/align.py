"""Two bend tables of one shape laid on each other: the best fit of their centerlines, each mm weighing the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from converter.comparison.apart import farthest, feet_on
from converter.geometry.circles import vec
from converter.geometry.vectors import cross
from converter.model.bends import BendTable, Placement
from converter.model.centerline import rebuild, walk
from converter.model.curve import Line, Segment

Points = NDArray[np.float64]

#: Places in each straight and arc, ends included, by which a picture draws it.
_DRAWN = 33
#: Steps of the fit at most: where two ends snap from one curve to another it may go to and fro.
_STEPS = 60
#: Degrees before an arc's start that are its start.
_HAIR = 1e-7


@dataclass(frozen=True)
class Pairing:
    """One centerline moved onto another, points that belong together lying at the same share of a straight or arc.

    Attributes:
        turn: (3, 3), applied first.
        shift: (3,) mm, applied then.
        mean: root of the mean square of the distances of the pairs along the centerline, mm.
    """

    turn: Points
    shift: Points
    mean: float


@dataclass(frozen=True)
class Alignment:
    """How one centerline is moved onto another, as well as it goes.

    Attributes:
        turn: (3, 3), applied first.
        shift: (3,) mm, applied then.
        mean: root of the mean square of the distances of each centerline's points from the other centerline, mm.
        most: the greatest of these distances (Hausdorff), mm.
        at: mm from end A along the nominal centerline, where it is.
        worst: (2, 3) there: the point of the nominal one and that of the moved one, mm.
        ends: mm that the moved ends A and B lie from the nominal ones.
        nominal, moved: (n, 3) points of both, place by place, to be drawn, mm.
    """

    turn: Points
    shift: Points
    mean: float
    most: float
    at: float
    worst: Points
    ends: tuple[float, float]
    nominal: Points
    moved: Points


def element_points(table: BendTable, place: Placement, fractions: Points) -> Points:
    """Points of each straight and arc in turn, at the same fractions of their own lengths.

    Args:
        table: lengths in mm, angles in degrees; a sharp corner is an arc of no length.
        place: where end A stands.
        fractions: (n,) from 0 to 1.

    Returns:
        (2 k + 1, n, 3) for k bends, mm.
    """
    point, t, n = (np.array(v) for v in (place.start, place.direction, place.normal))
    rows = []
    for bend in table.bends:
        rows.append(point + np.outer(fractions * bend.feed, t))
        point = point + bend.feed * t
        n = _about(n, t, radians(bend.rotation))
        inward = np.array(cross(tuple(n), tuple(t)))
        angles = fractions * radians(bend.angle)
        radius = bend.clr or 0.0
        rows.append(point + radius * (np.outer(np.sin(angles), t) + np.outer(1.0 - np.cos(angles), inward)))
        point = (
            rows[-1][-1]
            if fractions[-1] == 1.0
            else point + radius * (sin(radians(bend.angle)) * t + (1.0 - cos(radians(bend.angle))) * inward)
        )
        t = _about(t, n, radians(bend.angle))
        # rounding of one bend would grow with each that follows
        t = t / np.linalg.norm(t)
        n = n - (n @ t) * t
        n = n / np.linalg.norm(n)
    rows.append(point + np.outer(fractions * table.tail, t))
    return np.array(rows)


def _about(v: Points, axis: Points, angle: float) -> Points:
    """A vector turned right-hand about a unit axis (Rodrigues)."""
    turned = v * cos(angle) + np.cross(axis, v) * sin(angle) + axis * (axis @ v) * (1.0 - cos(angle))
    return np.asarray(turned)


def element_lengths(table: BendTable) -> Points:
    """Length of each straight and arc in turn, mm; overlaps (negative straights) count nothing."""
    lengths = [value for bend in table.bends for value in (bend.feed, bend.arc_length)] + [table.tail]
    return np.maximum(0.0, lengths)


def paired(nominal: BendTable, measured: BendTable, place: Placement | None = None) -> Pairing:
    """The measured centerline moved onto the nominal one, share by share: least squares over the nominal length.

    Integrals are taken by the 8-point rule of Gauss and Legendre in each straight and arc; the rotation is that of
    Kabsch (Acta Cryst. A32, 1976). It tells at once which way round two tubes lie, and is where `aligned` begins.

    Args:
        nominal, measured: tables with the same number of bends.
        place: where the nominal tube stands.
    """
    from scipy.spatial.transform import Rotation

    place = place or Placement()
    at, _ = _gauss()
    weight = _weights(nominal)
    fixed = element_points(nominal, place, at).reshape(-1, 3)
    free = element_points(measured, place, at).reshape(-1, 3)
    middle, own = weight @ fixed, weight @ free
    rotation, _ = Rotation.align_vectors(fixed - middle, free - own, weights=weight)
    turn = rotation.as_matrix()
    shift = middle - turn @ own
    return Pairing(turn, shift, float(np.sqrt(weight @ ((free @ turn.T + shift - fixed) ** 2).sum(axis=1))))


def aligned(nominal: BendTable, measured: BendTable, place: Placement | None = None) -> Alignment:
    """The measured centerline laid on the nominal one: least squares of the distances between the two curves.

    Distances are those of points of each from the nearest point of the other, both ways and no mm counted twice, so
    that a bend of another radius is off by as much as its arc lies beside the drawn one. Levenberg and Marquardt's
    method (MINPACK's) goes on from `paired`; the greatest distance is then found for itself.

    Args:
        nominal, measured: tables with the same number of bends.
        place: where the nominal tube stands.
    """
    from scipy.optimize import least_squares
    from scipy.spatial.transform import Rotation

    place = place or Placement()
    start = paired(nominal, measured, place)
    lines, own = _chain(nominal, place), _chain(measured, place)
    at, _ = _gauss()
    fixed = element_points(nominal, place, at).reshape(-1, 3)
    free = element_points(measured, place, at).reshape(-1, 3)
    roots = [np.sqrt(_weights(table) / 2.0)[:, None] for table in (nominal, measured)]
    middle = free.mean(axis=0)
    size = max(float(np.abs(free - middle).max()), 1e-9)

    def motion(six: Points) -> tuple[Points, Points]:
        """Turn and shift: by the first three numbers about the middle, in mm at the tube's size, then by the others."""
        turn = Rotation.from_rotvec(six[:3] / size).as_matrix() @ start.turn
        return turn, start.turn @ middle + start.shift + six[3:] - turn @ middle

    def off(six: Points) -> Points:
        turn, shift = motion(six)
        back, onto = (fixed - shift) @ turn, free @ turn.T + shift
        ways = feet_on(own, back)[0] - back, feet_on(lines, onto)[0] - onto
        return np.concatenate([(root * way).ravel() for root, way in zip(roots, ways, strict=True)])

    best = least_squares(off, np.zeros(6), method="lm", xtol=1e-9, ftol=1e-12, max_nfev=_STEPS)
    turn, shift = motion(best.x)
    end_a, end_b = (turn @ np.array(each) + shift for each in (place.start, walk(measured, place)[1].start))
    moved = _chain(measured, _moved(place, turn, shift))
    there, back = farthest(lines, moved), farthest(moved, lines)
    worst = np.array([there.point, there.foot] if there.distance >= back.distance else [back.foot, back.point])
    drawn = element_points(nominal, place, np.linspace(0.0, 1.0, _DRAWN))
    return Alignment(
        turn, shift, float(np.sqrt(2.0 * best.cost)),
        max(there.distance, back.distance), _along(lines, worst[0]), worst,
        (float(np.linalg.norm(end_a - drawn[0, 0])), float(np.linalg.norm(end_b - drawn[-1, -1]))),
        drawn.reshape(-1, 3), _beside(drawn, moved, (end_a, end_b)),
    )  # fmt: skip


def _chain(table: BendTable, place: Placement) -> tuple[Segment, ...]:
    """The straights and arcs; a point where a table has no length at all."""
    return rebuild(table, place) or (Line(place.start, place.start),)


def _moved(place: Placement, turn: Points, shift: Points) -> Placement:
    """Where end A stands after a motion."""
    start, direction, normal = turn @ np.array(place.start) + shift, turn @ place.direction, turn @ place.normal
    return Placement(vec(start), vec(direction), vec(normal))


def _along(chain: Sequence[Segment], point: Points) -> float:
    """mm along a chain to a point on it."""
    i = int(feet_on(chain, point[None])[1][0])
    segment = chain[i]
    here = float(np.linalg.norm(point - np.array(segment.start)))
    if not isinstance(segment, Line):
        here = segment.radius * radians(segment.angle_to(vec(point), _HAIR))
    return sum(each.length for each in chain[:i]) + here


def _beside(drawn: Points, chain: Sequence[Segment], ends: tuple[Points, Points]) -> Points:
    """Where a picture draws the made centerline: its point beside each drawn one.

    That is the nearest one; along the straights at the ends, share by share, so that an end is drawn where it is.

    Args:
        drawn: (2 k + 1, n, 3) points of each straight and arc, mm.
        chain: the made centerline laid on the drawn one.
        ends: (3,) its ends A and B.
    """
    beside = feet_on(chain, drawn.reshape(-1, 3))[0].reshape(drawn.shape)
    share = np.linspace(0.0, 1.0, drawn.shape[1])[:, None]
    first = ends[0], beside[0, -1] if len(drawn) > 1 else ends[1]
    last = beside[-1, 0] if len(drawn) > 1 else ends[0], ends[1]
    beside[0], beside[-1] = (one + share * (other - one) for one, other in (first, last))
    points: Points = beside.reshape(-1, 3)
    return points


def _gauss() -> tuple[Points, Points]:
    """Fractions and weights of the 8-point rule of Gauss and Legendre on 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    return (nodes + 1.0) / 2.0, weights / 2.0


def _weights(table: BendTable) -> Points:
    """Of the points at the places of `_gauss`: shares of the whole length, (8 (2 k + 1),)."""
    weight: Points = (element_lengths(table)[:, None] * _gauss()[1]).ravel()
    return weight / weight.sum() if weight.sum() > 0.0 else np.full(len(weight), 1.0 / len(weight))
