"""The tube that an end is coped to, from the edge of the cope alone: the cylinder through its vertices."""

from __future__ import annotations

import numpy as np

from converter.arrays import Array

#: Vertices of an edge below which a cylinder through them proves nothing: it has five unknowns.
FEWEST = 8
#: Part of the vertices that must lie on the cylinder; the others may be of a hole or a notch.
MOSTLY = 0.8
#: Sine of the least angle between a tube and the one that it is cut to.
ACROSS = 0.2
#: Radii of the tube by which the place on its axis may be open (three standard deviations).
OPEN = 0.02
#: Radii of the mate to begin with, as parts of what the depth of the saddle tells.
_TRIES = (1.0, 0.75, 1.5)


def place_on_mate(edge: Array, radius: float, slack: float) -> float | None:
    """Where the axis of a tube comes nearest to that of the tube its end is coped to.

    The edge of a saddle lies on the mate's outside. A cylinder of radius ``R`` across the tube cuts it at
    ``s = sqrt(R^2 - r^2 sin^2 a)`` from the mate's axis, whose second harmonic ``r^2 / 4R`` gives the first guess;
    least squares on the distances of the vertices do the rest.

    Args:
        edge: (k, 3) of its vertices along the tube (mm, from the end inward) and across it.
        radius: of the tube's outside, mm.
        slack: mm that a vertex may lie off the cylinder.

    Returns:
        mm along the tube; None where no cylinder passes through the edge, or where noise leaves the place open.
    """
    from scipy.optimize import least_squares

    if len(edge) < FEWEST:
        return None
    angle = np.arctan2(edge[:, 2], edge[:, 1])
    waves = [np.ones(len(edge))] + [wave(k * angle) for k in (1, 2) for wave in (np.cos, np.sin)]
    mean, b, c, d, e = np.linalg.lstsq(np.stack(waves, axis=1), edge[:, 0], rcond=None)[0]
    depth = float(np.hypot(d, e))
    if depth <= 0.0:
        return None
    toward = np.arctan2(e, d) / 2.0
    across = np.array([0.0, np.cos(toward), np.sin(toward)])
    way = across + np.array([(b * np.cos(toward) + c * np.sin(toward)) / radius, 0.0, 0.0])
    way /= np.linalg.norm(way)
    side = np.cross(way, (1.0, 0.0, 0.0))
    side /= np.linalg.norm(side)
    frame = np.stack((way, side, np.cross(way, side)))
    most = max(radius, radius**2 / (4.0 * depth))

    def axis(x: Array) -> tuple[Array, Array]:
        turned = np.array([1.0, x[0], x[1]]) @ frame
        return np.array([0.0, x[2], x[3]]) @ frame, turned / np.linalg.norm(turned)

    def off(x: Array, points: Array = edge) -> Array:
        point, along = axis(x)
        away: Array = np.linalg.norm(np.cross(points - point, along), axis=1) - x[4]
        return away

    tries = []
    for part in _TRIES:
        size = max(radius, part * most)
        middle = np.array([mean - np.sqrt(max(size**2 - radius**2 / 2.0, 0.0)), 0.0, 0.0])
        begin = [0.0, 0.0, *(frame[1:] @ middle), size]
        tries.append(least_squares(off, begin, x_scale=(1.0, 1.0, size, size, size)))
    best = min(tries, key=lambda one: float(one.cost))
    on = np.abs(off(best.x)) <= max(slack, 3.0 * float(np.median(np.abs(off(best.x)))))
    if on.sum() < FEWEST:
        return None
    best = least_squares(lambda x: off(x, edge[on]), best.x, x_scale=(1.0, 1.0, *([best.x[4]] * 3)))
    if (np.abs(off(best.x)) <= slack).mean() < MOSTLY or best.x[4] < (1.0 - OPEN) * radius:
        return None

    def foot(x: Array) -> float:
        point, along = axis(x)
        lean = along[1:] @ along[1:]
        return float(point[0] - along[0] * (along[1:] @ point[1:]) / lean) if lean > 0.0 else np.inf

    if np.linalg.norm(axis(best.x)[1][1:]) < ACROSS:
        return None
    place = foot(best.x)
    spread = float(np.sqrt(2.0 * best.cost / max(1, on.sum() - 5)))
    slope = np.array([(foot(best.x + h) - foot(best.x - h)) / 2e-6 for h in 1e-6 * np.eye(5)])
    open_by = 3.0 * spread * float(np.sqrt(slope @ np.linalg.pinv(best.jac.T @ best.jac) @ slope))
    return place if open_by <= OPEN * radius and place < float(edge[:, 0].max()) else None
