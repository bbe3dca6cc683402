"""From a drawing in space to lines on paper: the plane it is seen in, scale, clipping, thinning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, sqrt
from typing import TypeAlias

import numpy as np

from converter.arrays import Array
from converter.exporters.paper.figure import Point
from converter.geometry.vectors import cross, sub
from converter.model.curve import Arc, Curve, Ellipse, Line, Path, Polyline
from converter.reducer.sample import even_points

Box: TypeAlias = tuple[float, float, float, float]

#: A drawing within this many mm, or this share of its size, of a plane is flat.
FLAT, FLAT_SHARE = 0.1, 1e-6
#: Lines on paper are thinned as far as nothing moves by more than this (mm).
THIN = 0.1
_STRETCH = 512
#: Degrees of an arc from point to point.
_ARC_STEP = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """How a drawing is looked at.

    Attributes:
        right, up: (3,) unit vectors in the world that lie along the paper.
        flat: whether lengths in it are true; else it is isometric, and lengths along the axes are in one scale.
        words: how that is told.
        axes: world axes that can be seen, and their direction on paper (unit vector).
    """

    right: Array
    up: Array
    flat: bool
    words: str
    axes: tuple[tuple[str, Point], ...]

    def put(self, points: Array) -> Array:
        """World points (n, 3) in mm as (n, 2), in mm of the drawing."""
        return np.column_stack((points @ self.right, points @ self.up))


#: mm on paper of one mm along an axis in an isometric view: sqrt(2/3).
ISOMETRIC = sqrt(2.0 / 3.0)
_TOP = (((1, 0, 0), (0, 1, 0)), "seen from above, true to scale")
_FRONT = (((1, 0, 0), (0, 0, 1)), "seen from the front (along y), true to scale")
_SIDE = (((0, 1, 0), (0, 0, 1)), "seen from the right (along x), true to scale")


def plane_of(points: Array) -> Plane:
    """The plane that points (n, 3) lie in; isometric where they lie in none."""
    if len(points) == 0:
        return _plane(*_TOP[0], True, _TOP[1])
    center = points.mean(axis=0)
    arms = points - center
    size = float(np.abs(arms).max())
    allowed = max(FLAT, FLAT_SHARE * size)
    for normal, ((right, up), words) in ((2, _TOP), (1, _FRONT), (0, _SIDE)):
        if float(np.ptp(points[:, normal])) <= 2.0 * allowed:
            return _plane(right, up, True, words)
    along, _, normal_vector = np.linalg.svd(arms.T @ arms)[2]
    if float(np.abs(np.cross(arms, along)).max()) <= allowed:  # one line lies in many planes: the upright one
        normal_vector = np.cross((0.0, 0.0, 1.0), along) / np.hypot(along[0], along[1])
    if float(np.abs(arms @ normal_vector).max()) <= allowed:
        if normal_vector[2] < 0.0 or (abs(normal_vector[2]) < 1e-9 and normal_vector[1] > 0.0):
            normal_vector = -normal_vector
        right_vector = np.cross((0.0, 0.0, 1.0), normal_vector)
        right_vector /= np.linalg.norm(right_vector)
        up_vector = np.cross(normal_vector, right_vector)
        return _plane(right_vector, up_vector, True, "seen square to its plane, true to scale")
    r, u = 1.0 / sqrt(2.0), 1.0 / sqrt(6.0)
    return _plane((r, r, 0.0), (-u, u, 2.0 * u), False, "isometric, seen from the front right and above")


def _plane(right: Sequence[float] | Array, up: Sequence[float] | Array, flat: bool, words: str) -> Plane:
    across, upward = np.array(right, dtype=float), np.array(up, dtype=float)
    axes = []
    for name, x, y in zip("xyz", across.tolist(), upward.tolist(), strict=True):
        length = sqrt(x * x + y * y)
        if length > 0.1:
            axes.append((name, (x / length, y / length)))
    return Plane(across, upward, flat, words, tuple(axes))


def apart(axes: Sequence[tuple[str, Point]]) -> list[tuple[str, Point]]:
    """Axes and their directions on paper, those that point nearly the same way (within 30 degrees) named as one."""
    out: list[tuple[str, Point]] = []
    for name, (dx, dy) in axes:
        for i, (names, (ex, ey)) in enumerate(out):
            if dx * ex + dy * ey > 0.866:
                out[i] = (f"{names} {name}", (ex, ey))
                break
        else:
            out.append((name, (dx, dy)))
    return out


def curve_points(curve: Curve) -> Array:
    """Points (n, 3) along a curve, close enough to look smooth on paper."""
    if isinstance(curve, Line):
        return np.array((curve.start, curve.end))
    if isinstance(curve, Polyline):
        return curve.points
    if isinstance(curve, Arc):
        t = np.radians(np.linspace(0.0, curve.angle, max(3, ceil(curve.angle / _ARC_STEP) + 1)))[:, None]
        arm = sub(curve.start, curve.center)
        around: Array = np.array(curve.center) + np.array(arm) * np.cos(t)
        around += np.array(cross(curve.normal, arm)) * np.sin(t)
        return around
    if isinstance(curve, Ellipse):
        turn = curve.end_angle - curve.start_angle
        t = np.radians(np.linspace(curve.start_angle, curve.end_angle, max(3, ceil(turn / 3.0) + 1)))[:, None]
        oval: Array = np.array(curve.center) + np.array(curve.major) * np.cos(t) + np.array(curve.minor) * np.sin(t)
        return oval
    if isinstance(curve, Path):
        return np.concatenate([curve_points(part) for part in curve.parts])
    return even_points(curve, min(2000, max(33, 8 * len(curve.control_points))))


def thinned(points: Array, tol: float = THIN) -> Array:
    """A line (n, 2) with fewer points, none farther than ``tol`` from it (Douglas and Peucker, 1973, from memory).

    Points that fall on the same spot of a fine grid as the one before go first, so that a million of them
    take no time.
    """
    if len(points) > 64:
        spot = np.floor(points / (tol / 4.0))
        keep = np.ones(len(points), bool)
        keep[1:] = (spot[1:] != spot[:-1]).any(axis=1)
        keep[-1] = True
        points = points[keep]
        tol *= 0.6
    n = len(points)
    if n < 3:
        return points
    # cut in stretches first: a spiral of a million points would be looked through once for each of its turns
    cuts = [*range(0, n - 1, _STRETCH), n - 1]
    keep = np.zeros(n, bool)
    keep[cuts] = True
    todo = list(pairwise(cuts))
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        arms = points[a + 1 : b] - points[a]
        chord = points[b] - points[a]
        length = float(np.hypot(*chord))
        if length > 1e-12:
            along = np.clip((arms @ chord) / (length * length), 0.0, 1.0)
            arms = arms - along[:, None] * chord
        away = np.hypot(arms[:, 0], arms[:, 1])
        k = int(away.argmax())
        if float(away[k]) > tol:
            keep[a + 1 + k] = True
            todo += [(a, a + 1 + k), (a + 1 + k, b)]
    return points[keep]


def passed_once(points: Array) -> list[Array]:
    """A line (n, 2) without what it runs over again, as the edges of a box do: dots over dots would look full."""
    if not 3 < len(points) < 40:
        return [points]
    seen: set[frozenset[tuple[float, float]]] = set()
    rounded = np.round(points, 3) + 0.0
    edges = []
    for i, (p, q) in enumerate(pairwise([(x, y) for x, y in rounded.tolist()])):
        edge = frozenset((p, q))
        if p != q and edge not in seen:
            seen.add(edge)
            edges.append(points[i : i + 2])
    twice = sum(p != q for p, q in pairwise(rounded.tolist())) > len(edges)
    return edges if twice else [points]


def clipped(points: Array, box: Box) -> list[Array]:
    """The parts of a line (n, 2) inside a box (x low, y low, x high, y high), in order."""
    x0, y0, x1, y1 = box
    inside = (points[:, 0] >= x0) & (points[:, 0] <= x1) & (points[:, 1] >= y0) & (points[:, 1] <= y1)
    if inside.all():
        return [points]
    found: list[Array] = []
    row: list[Array] = []
    for p, q in pairwise(points):
        part = _inside(p, q, box)
        if part is None:
            if row:
                found.append(np.array(row))
                row = []
            continue
        low, high = part
        step = q - p
        row = row or [p + step * low]
        row.append(p + step * high)
        if high < 1.0:
            found.append(np.array(row))
            row = []
    if row:
        found.append(np.array(row))
    return found


def _inside(p: Array, q: Array, box: Box) -> tuple[float, float] | None:
    """Which share of the straight from p to q lies in a box (Liang and Barsky, 1984, from memory)."""
    low, high = 0.0, 1.0
    for axis in (0, 1):
        step = float(q[axis] - p[axis])
        for edge, sign in ((box[axis], 1.0), (box[axis + 2], -1.0)):
            room = sign * (float(p[axis]) - edge)
            speed = sign * step
            if speed == 0.0:
                if room < 0.0:
                    return None
            elif speed > 0.0:
                low = max(low, -room / speed)
            else:
                high = min(high, -room / speed)
    return (low, high) if low < high else None
