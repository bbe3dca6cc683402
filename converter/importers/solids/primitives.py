"""Which plane, cylinder, torus, cone or sphere do points and normals of a surface lie on?

Method: normals of a cylinder are square to its axis; normals of a sphere meet in its centre;
the normals of any surface of revolution meet its axis, so their lines belong to one linear
complex (Pottmann and Randrup, "Rotational and helical surface approximation", 1998, from
memory), found as the null direction of their Pluecker coordinates. What is left is a circle
or a line in the half plane through that axis. numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, hypot

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import crossed, vec
from converter.geometry.vectors import Vec
from converter.tolerances import Tolerances

#: A surface that strays from a primitive by up to this part of its radius is that, and said to be off.
ALMOST = 0.1
_PLANE, _CYLINDER, _TORUS, _CONE, _SPHERE, _OTHER = "plane", "cylinder", "torus", "cone", "sphere", "other"


@dataclass(slots=True)
class Primitive:
    """A surface.

    Attributes:
        kind: 'plane', 'cylinder', 'torus', 'cone', 'sphere' or 'other'.
        point: on the axis (plane: on it; torus, sphere: the centre).
        axis: unit vector (plane: its normal).
        radius: cylinder, sphere; torus: of the tube; cone: at ``point``.
        major: torus: of the centerline.
        slope: cone: half angle in radians, positive where it widens along the axis.
        residual: largest distance in mm of the samples from it; 0 when the file itself names it.
        oval: cylinder: largest diameter less smallest, mm, of an oval one.
        taper: cylinder: diameter at one end less that at the other, mm, of a slightly conical one.
    """

    kind: str
    point: Vec
    axis: Vec
    radius: float = 0.0
    major: float = 0.0
    slope: float = 0.0
    residual: float = 0.0
    oval: float = 0.0
    taper: float = 0.0


def recognise(points: Array, normals: Array, tol: Tolerances) -> tuple[Primitive, int]:
    """The primitive of sampled points (n, 3) with unit normals (n, 3), n >= 6.

    Returns:
        The primitive ('other' when none comes within the fit tolerance), and +1 when the
        normals look away from its axis (for a plane: along it), -1 when towards it.
    """
    middle = points.mean(axis=0)
    p = points - middle
    size = float(np.sqrt((p * p).sum(axis=1).max()))
    other = Primitive(_OTHER, vec(middle), (0.0, 0.0, 1.0))
    if size <= 0.0:
        return other, 1
    found = _plane(p, normals, size, tol) or _sphere(p, normals, size, tol)
    if found is None:
        found = _cylinder(p, normals, size, tol)
        if found is None or found[0].residual > 1e-9:
            # a slender cone is nearly a cylinder, a bend of great radius too: the closer one counts
            made = [one for one in (found, _revolved(p, normals, size, tol)) if one is not None]
            if not made:
                return other, 1
            found = min(made, key=_residual)
    shape, outward = found
    shape.point = vec(np.array(shape.point) + middle)
    return shape, outward


def astray(shape: Primitive, points: Array) -> float:
    """The largest distance of points (n, 3) from a primitive that is not 'other', mm."""
    arms = points - np.array(shape.point)
    along = arms @ np.array(shape.axis)
    off = np.sqrt(np.maximum((arms * arms).sum(axis=1) - along * along, 0.0))
    if shape.kind == _PLANE:
        away = along
    elif shape.kind == _SPHERE:
        away = np.hypot(off, along) - shape.radius
    elif shape.kind == _TORUS:
        away = np.hypot(off - shape.major, along) - shape.radius
    else:  # a cylinder is a cone that does not widen
        away = (off - shape.radius - along * np.tan(shape.slope)) * np.cos(shape.slope)
    return float(np.abs(away).max())


def _residual(found: tuple[Primitive, int]) -> float:
    return found[0].residual


def _plane(p: Array, n: Array, size: float, tol: Tolerances) -> tuple[Primitive, int] | None:
    _, axes = np.linalg.eigh(p.T @ p)
    normal = axes[:, 0]
    off = float(np.abs(p @ normal).max())
    if off > min(tol.fit, 1e-3 * size):
        return None
    if float((n @ normal).sum()) < 0.0:
        normal = -normal
    return Primitive(_PLANE, (0.0, 0.0, 0.0), vec(normal), residual=off), 1


def _sphere(p: Array, n: Array, size: float, tol: Tolerances) -> tuple[Primitive, int] | None:
    # p - r n = c for all samples: linear in c and r
    # about the middle of both: r = sum(n . p) / sum(n . n), and c what is left of the means
    mean_p, mean_n = p.mean(axis=0), n.mean(axis=0)
    spread = n - mean_n
    varied = float((spread * spread).sum())
    if varied <= 1e-12 * len(p):
        return None  # a plane
    r = float((spread * (p - mean_p)).sum()) / varied
    c = mean_p - r * mean_n
    off = float(np.abs(np.sqrt(((p - c) ** 2).sum(axis=1)) - abs(r)).max())
    normal_off = float(np.abs(p - r * n - c).max())
    if off > tol.fit or normal_off > max(10.0 * tol.fit, 0.02 * abs(r)) or abs(r) > 50.0 * size:
        return None
    return Primitive(_SPHERE, vec(c), (0.0, 0.0, 1.0), abs(r), residual=off), 1 if r > 0.0 else -1


def _across(d: Array) -> tuple[Array, Array]:
    helper = np.array([0.0, 1.0, 0.0]) if abs(d[1]) < 0.7 else np.array([0.0, 0.0, 1.0])
    x = np.cross(helper, d)
    x /= np.sqrt(x @ x)
    return x, np.cross(d, x)


def _circle(px: Array, py: Array) -> tuple[float, float, float] | None:
    """Least-squares circle of points in a plane: Kasa's start, then Gauss-Newton on distances."""
    mx, my = float(px.mean()), float(py.mean())
    x, y = px - mx, py - my
    rows = np.column_stack((2.0 * x, 2.0 * y, np.ones_like(x)))
    solution = np.linalg.lstsq(rows, x * x + y * y, rcond=None)[0]
    cx, cy = float(solution[0]), float(solution[1])
    square = float(solution[2]) + cx * cx + cy * cy
    if not square > 0.0:
        return None
    r = float(np.sqrt(square))
    for _ in range(6):
        dx, dy = x - cx, y - cy
        dist = np.sqrt(dx * dx + dy * dy)
        if float(dist.min()) <= 0.0:
            return None
        jac = np.column_stack((-dx / dist, -dy / dist, -np.ones_like(dist)))
        step = np.linalg.lstsq(jac, r - dist, rcond=None)[0]
        cx, cy, r = cx + float(step[0]), cy + float(step[1]), r + float(step[2])
        if float(np.abs(step).max()) < 1e-13 * max(1.0, abs(r)):
            break
    return (cx + mx, cy + my, r) if r > 0.0 else None


def _cylinder(p: Array, n: Array, size: float, tol: Tolerances) -> tuple[Primitive, int] | None:
    _, axes = np.linalg.eigh(n.T @ n)
    d = axes[:, 0]
    if float(np.abs(n @ d).max()) > 0.003:
        return None
    x, y = _across(d)
    px, py = p @ x, p @ y
    circle = _circle(px, py)
    if circle is None or circle[2] > 50.0 * size:
        return None
    cx, cy, r = circle
    dist = np.hypot(px - cx, py - cy)
    off = float(np.abs(dist - r).max())
    if off > max(tol.fit, ALMOST * r / 2.0):
        return None
    shape = Primitive(_CYLINDER, vec(cx * x + cy * y), vec(d), r, residual=off)
    if off > min(tol.fit, 0.002 * r):
        shape.oval = 2.0 * float(dist.max() - dist.min())
    outward = 1 if float(((px - cx) * (n @ x) + (py - cy) * (n @ y)).sum()) > 0.0 else -1
    return shape, outward


def _revolved(p: Array, n: Array, size: float, tol: Tolerances) -> tuple[Primitive, int] | None:
    axis = _revolution_axis(p, n, size)
    if axis is None:
        return None
    c, d = axis
    arms = p - c
    z = arms @ d
    flat = arms - np.outer(z, d)
    rho = np.sqrt((flat * flat).sum(axis=1))
    if float(rho.max()) <= 0.0:
        return None
    n_rho = (n * flat).sum(axis=1) / np.where(rho > 0.0, rho, 1.0)
    n_z = n @ d
    return _cone(c, d, rho, z, n_rho, n_z, tol) or _torus(c, d, rho, z, n_rho, n_z, tol)


def _revolution_axis(p: Array, n: Array, size: float) -> tuple[Array, Array] | None:
    """The line that all normals meet: a point on it and its direction; None when there is none, or many."""
    moments = crossed(p, n) / size
    _, spread, rows = np.linalg.svd(np.concatenate((moments, n), axis=1), full_matrices=False)
    if spread[5] > 0.02 * spread[0] or spread[4] < 1e-7 * spread[0]:
        return None
    a, m = rows[5, :3], rows[5, 3:] * size
    length = float(np.sqrt(a @ a))
    if length < 1e-9:
        return None
    a, m = a / length, m / length
    # a pitch (a . m) would be a screw; the foot of the axis is a x m
    if abs(float(a @ m)) > 0.02 * size:
        return None
    return np.cross(a, m), a


def _cone(
    c: Array, d: Array, rho: Array, z: Array, n_rho: Array, n_z: Array, tol: Tolerances
) -> tuple[Primitive, int] | None:
    if float(z.max() - z.min()) <= 1e-9:
        return None
    k, r0 = np.polyfit(z, rho, 1)
    off = float(np.abs(rho - r0 - k * z).max()) / hypot(1.0, float(k))
    if off > tol.fit or float(np.abs(n_rho * k + n_z).max()) > 0.02:
        return None
    outward = 1 if float(n_rho.sum()) > 0.0 else -1
    return Primitive(_CONE, vec(c), vec(d), float(r0), slope=atan(float(k)), residual=off), outward


def _torus(
    c: Array, d: Array, rho: Array, z: Array, n_rho: Array, n_z: Array, tol: Tolerances
) -> tuple[Primitive, int] | None:
    circle = _circle(rho, z)
    if circle is None:
        return None
    major, height, r = circle
    off = float(np.abs(np.hypot(rho - major, z - height) - r).max())
    if off > max(tol.fit, ALMOST * r / 2.0) or major <= 0.0:
        return None
    shape = Primitive(_TORUS, vec(c + height * d), vec(d), r, major, residual=off)
    if off > min(tol.fit, 0.002 * r):
        dist = np.hypot(rho - major, z - height)
        shape.oval = 2.0 * float(dist.max() - dist.min())
    outward = 1 if float(((rho - major) * n_rho + (z - height) * n_z).sum()) > 0.0 else -1
    return shape, outward
