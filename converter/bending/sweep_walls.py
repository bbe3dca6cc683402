"""How near one side of the tube comes to planes (floor, ceiling, walls) while a bend is made.

A round tube is a row of balls along its centerline, cut flat at the ends, where discs stand for it. A ball
that turns with the die follows A cos f + B sin f + C, whose least value is exact; anything less simple is
read on a fine grid of angles and lowered by what it can dip between two grid lines (step^2 / 8 times the
greatest second derivative).
"""

from __future__ import annotations

from math import ceil, radians, sqrt

import numpy as np

from converter.bending.sweep_shape import Elements, stations
from converter.bending.sweep_space import Array, Space

#: mm; how far a value may dip between two lines of the grid.
_DIP = 0.15
_COARSEST = radians(3.0)


def least_to_planes(
    elements: Elements, space: Space, radius: float, angle: float, turns: int, draw: float
) -> tuple[float, int, float]:
    """The least distance between the tube's outside and the planes.

    Args:
        elements: one side of the tube before the bend.
        space: the planes.
        radius: half the outside diameter, mm.
        angle: degrees that the bend is made to.
        turns: 1 when this side turns with the die, -1 when it turns the other way about a die that stands
            still, 0 when it does not turn.
        draw: mm per radian that this side is drawn ahead (the die's radius on the side behind, else 0).

    Returns:
        Distance in mm (negative: that far through the plane), index of the plane (-1: there is none), and
        degrees turned at that moment.
    """
    if not space.planes:
        return float("inf"), -1, 0.0
    at = stations(elements, near=radius)
    at_end = at.gap < radius - 1e-9
    end = radians(angle)
    best = (float("inf"), -1, 0.0)
    simple = (turns == 1 and draw == 0.0, turns == 0)
    for disc in (False, True):
        which = at_end if disc else ~at_end
        if not which.any():
            continue
        p, t, slide = at.points[which], at.tangents[which], at.slide[which] * draw
        if any(simple) and not (disc and simple[0]):
            times = _turning(p, space, end) if simple[0] else np.array([0.0, end] if draw else [0.0])
            dip = 0.0
        else:
            reach = float(np.hypot(p[:, 0], p[:, 1]).max()) + draw * end
            curve = reach + 2.0 * draw + (2.0 * radius if disc else 0.0)
            steps = max(1, ceil(end / min(_COARSEST, sqrt(8.0 * _DIP / max(curve, 1e-9)))))
            times = np.linspace(0.0, end, steps + 1)
            dip = _DIP
        values = _distances(p, t if disc else None, slide, space, radius, turns, times)
        plane, point, time = np.unravel_index(int(values.argmin()), values.shape)
        least = float(values[plane, point, time]) - dip
        if least < best[0]:
            moment = times[time] if times.ndim == 1 else times[plane, point, time]
            best = (least, int(plane), float(np.degrees(moment)))
    return best


def _turning(p: Array, space: Space, end: float) -> Array:
    """(planes, points, 3) radians at which each ball may be nearest: both ends, and the bottom of its cosine."""
    nx, ny = space.normals[:, 0:1], space.normals[:, 1:2]
    a = nx * p[:, 0] + ny * p[:, 1]
    b = ny * p[:, 0] - nx * p[:, 1]
    bottom = (np.arctan2(b, a) + np.pi) % (2.0 * np.pi)
    bottom = np.where(bottom <= end, bottom, 0.0)
    return np.stack([np.zeros_like(a), bottom, np.full_like(a, end)], axis=-1)


def _distances(
    p: Array, tangents: Array | None, slide: Array, space: Space, radius: float, turns: int, times: Array
) -> Array:
    """(planes, points, times) distances of balls, or of discs across the tangents, from the planes."""
    n = space.normals
    moments = times if times.ndim == 3 else times[None, None, :]
    c, s = np.cos(moments), np.sin(moments) * turns
    if turns == 0:
        c = np.ones_like(c)
    # the plane turned back is cheaper than the points turned on
    nx = n[:, 0, None, None] * c + n[:, 1, None, None] * s
    ny = n[:, 1, None, None] * c - n[:, 0, None, None] * s
    nz = n[:, 2, None, None]
    x = p[None, :, 0, None] + slide[None, :, None] * moments
    found = nx * x + ny * p[None, :, 1, None] + nz * p[None, :, 2, None] + space.offsets[:, None, None]
    if tangents is None:
        return np.asarray(found - radius)
    lean = nx * tangents[None, :, 0, None] + ny * tangents[None, :, 1, None] + nz * tangents[None, :, 2, None]
    return np.asarray(found - radius * np.sqrt(np.maximum(0.0, 1.0 - lean * lean)))
