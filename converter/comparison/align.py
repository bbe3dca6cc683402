"""Two bend tables of one shape laid on each other: the best fit of their centerlines, each mm weighing the same."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from converter.geometry.vectors import cross
from converter.model.bends import BendTable, Placement

Points = NDArray[np.float64]

#: Places in each straight and arc at which distances are looked at, ends included.
_LOOKED_AT = 33


@dataclass(frozen=True)
class Alignment:
    """How one centerline is moved onto another, as well as it goes.

    Attributes:
        turn: (3, 3), applied first.
        shift: (3,) mm, applied then.
        mean: root of the mean square of the distances along the centerline, mm.
        most: the greatest distance, mm.
        at: mm from end A along the nominal centerline, where it is.
        nominal, moved: (n, 3) points of both, place by place, mm.
    """

    turn: Points
    shift: Points
    mean: float
    most: float
    at: float
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


def aligned(nominal: BendTable, measured: BendTable, place: Placement | None = None) -> Alignment:
    """The measured centerline moved onto the nominal one: least squares over the nominal length, no mm counted twice.

    Points that belong together lie at the same fraction of the same straight or arc. Integrals are taken by the
    8-point rule of Gauss and Legendre in each; the rotation is that of Kabsch (Acta Cryst. A32, 1976).

    Args:
        nominal, measured: tables with the same number of bends.
        place: where the nominal tube stands.
    """
    from scipy.spatial.transform import Rotation

    place = place or Placement()
    nodes, gauss = np.polynomial.legendre.leggauss(8)
    at, weights = (nodes + 1.0) / 2.0, gauss / 2.0
    weight = (element_lengths(nominal)[:, None] * weights).ravel()
    weight = weight / weight.sum() if weight.sum() > 0.0 else np.full(len(weight), 1.0 / len(weight))
    fixed = element_points(nominal, place, at).reshape(-1, 3)
    free = element_points(measured, place, at).reshape(-1, 3)
    middle, own = weight @ fixed, weight @ free
    rotation, _ = Rotation.align_vectors(fixed - middle, free - own, weights=weight)
    turn = rotation.as_matrix()
    shift = middle - turn @ own
    mean = float(np.sqrt(weight @ ((free @ turn.T + shift - fixed) ** 2).sum(axis=1)))
    along = np.linspace(0.0, 1.0, _LOOKED_AT)
    lines = element_points(nominal, place, along).reshape(-1, 3)
    moved = element_points(measured, place, along).reshape(-1, 3) @ turn.T + shift
    distances = np.linalg.norm(moved - lines, axis=1)
    lengths = element_lengths(nominal)
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    places = (starts[:, None] + lengths[:, None] * along).ravel()
    worst = int(np.argmax(distances))
    return Alignment(turn, shift, mean, float(distances[worst]), float(places[worst]), lines, moved)
