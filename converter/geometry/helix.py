"""A helix through points: a coil as it is rolled, told from other free curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from converter.arrays import Array

#: Turns of a helix, from which on a free curve is told for a coil. Common practice, no source.
COIL = 0.25
#: Of its radius, that a coil may be off a helix, as splines through a dozen points a turn are.
COIL_OFF = 0.002


@dataclass(frozen=True, slots=True)
class Helix:
    """A helix through points.

    Attributes:
        radius: of the cylinder it lies on, mm.
        rise: along the axis for each full turn, mm.
        turns: how many there are.
        residual: how far a point of the middle four fifths lies off it at most, mm: the ends of splines stray.
    """

    radius: float
    rise: float
    turns: float
    residual: float


def coil_through(points: Array, off: float) -> Helix | None:
    """The coil that points in order lie on, within ``off`` mm or `COIL_OFF`; None where they lie on none.

    Args:
        points: as of `fit_helix`.
    """
    helix = fit_helix(points)
    if helix is None or helix.turns < COIL or helix.residual > max(off, COIL_OFF * helix.radius):
        return None
    return helix


def fit_helix(points: Array) -> Helix | None:
    """The helix through the middle four fifths of points in order, by least squares, or None where there is none.

    Its tangents make one angle with the axis, so that their ends lie in a plane square to it; square to the axis the
    points lie on a circle, and their heights grow evenly with the angle (elementary).

    Args:
        points: (n, 3), mm, along the curve, a dozen a turn and more. Uneven steps tell the axis less exactly, by the
            square of their angle / 24.
    """
    end = len(points) // 10
    middle = slice(end, len(points) - end)
    steps = np.diff(points[middle], axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    kept = lengths > 1e-9
    if int(kept.sum()) < 8:
        return None
    tangents = steps[kept] / lengths[kept][:, None]
    axis = np.linalg.svd(tangents - tangents.mean(axis=0))[2][2]
    u = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
    u /= np.linalg.norm(u)
    x, y, height = points @ u, points @ np.cross(axis, u), points @ axis
    # the circle: x^2 + y^2 = 2 a x + 2 b y + c
    terms, squares = np.column_stack((2.0 * x, 2.0 * y, np.ones(len(x)))), x * x + y * y
    (a, b, c), *_ = np.linalg.lstsq(terms[middle], squares[middle], rcond=None)
    if c + a * a + b * b <= 0.0:
        return None
    radius = float(np.sqrt(c + a * a + b * b))
    angle = np.unwrap(np.arctan2(y - b, x - a))
    slope, level = np.polyfit(angle[middle], height[middle], 1)
    lead = np.hypot(radius, slope)
    off = np.hypot(np.hypot(x - a, y - b) - radius, (height - slope * angle - level) * radius / lead)
    turns = float(np.ptp(angle)) / (2.0 * np.pi)
    return Helix(radius, 2.0 * np.pi * abs(float(slope)), turns, float(off[middle].max()))
