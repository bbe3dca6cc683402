"""Circles and lines through rows of points: numpy arrays of shape (n, 3), lengths in mm.

The least-squares circle is Kåsa's (1976) algebraic fit in the plane of the points, followed
by Gauss-Newton steps on the true distances (Chernov and Lesort 2005), so that it is unbiased
on short arcs. The arc through two given ends has one unknown and a closed form.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, sqrt
from typing import Any

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import TURN_SLACK, Vec, cross, dot, norm
from converter.limits import GREATEST_RADIUS


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle in space: centre, unit normal, radius (mm), and the largest residual of its points."""

    center: Vec
    normal: Vec
    radius: float
    residual: float


def along_axis(q: Array, u: Array) -> Array:
    """Components of the rows of q (n, 3) along u (3,). Written out: a threaded BLAS is slower at this by far."""
    row: Array = q[:, 0] * u[0] + q[:, 1] * u[1] + q[:, 2] * u[2]
    return row


def crossed(a: Array, b: Array) -> Array:
    """a x b, row by row of (n, 3). Written out: np.cross is several times slower."""
    out = np.empty_like(a)
    out[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    out[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    out[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def within_half_turns(degrees: Array) -> Array:
    """Rotations (n,) in (-180, 180], half a turn as 180; what is next to nothing stays."""
    off = (degrees > 180.0) | (degrees <= -180.0)
    value = np.where(off, 180.0 - (180.0 - degrees) % 360.0, degrees) if off.any() else degrees
    return np.where(value <= TURN_SLACK - 180.0, 180.0, value)


def _total(a: Array, b: Array) -> float:
    """Sum of products of two rows, without the threads of a BLAS."""
    return float(np.einsum("i,i->", a, b))


def vec(a: Any) -> Vec:
    """A plain tuple from a row of three numbers."""
    x, y, z = (float(v) for v in a)
    return (x, y, z)


def _area_normal(q: Array) -> tuple[Array, float]:
    """Unit normal of the polygon q (n, 3) by its area vector, and twice its area; zeros when it has none."""
    total = _area_vector(q)
    size = float(np.sqrt(total @ total))
    return (total / size if size > 0.0 else total), size


def _area_vector(q: Array) -> Array:
    a = q[1:-1] - q[0]
    b = q[2:] - q[0]
    # written out: np.cross is several times slower on short arrays
    return np.array(
        [
            float((a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]).sum()),
            float((a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]).sum()),
            float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()),
        ]
    )


def line_residual(q: Array) -> float:
    """Largest distance of the points q (n, 3) from the segment between the first and the last."""
    d = q[-1] - q[0]
    size = sqrt(float(d @ d))
    r = q[1:-1] - q[0]
    if len(r) == 0:
        return 0.0
    if size == 0.0:
        return sqrt(float((r * r).sum(axis=1).max()))
    u = d / size
    s = along_axis(r, u)
    off = r - np.multiply.outer(s, u)
    worst = float((off * off).sum(axis=1).max())
    outside = max(-float(s.min()), float(s.max()) - size, 0.0)
    return sqrt(worst) + outside


def fit_line(q: Array) -> tuple[Vec, Vec, float]:
    """Least-squares line of points q (n, 3), n >= 2: a point, a unit direction first to last, largest residual."""
    if len(q) == 2:
        d = q[1] - q[0]
        return vec(q[0]), vec(d / np.sqrt(d @ d)), 0.0
    mean = q.mean(axis=0)
    r = q - mean
    # the principal axis by the 3 x 3 covariance: linear time, no (n, n) work
    _, axes = np.linalg.eigh(_scatter(r))
    u = axes[:, 2]
    if u @ (q[-1] - q[0]) < 0.0:
        u = -u
    off = r - np.multiply.outer(along_axis(r, u), u)
    return vec(mean), vec(u), sqrt(float((off * off).sum(axis=1).max()))


def arc_test(q: Array, eps: float) -> bool:
    """Whether the points q (n, 3), n >= 3, lie in order on one arc through the first and last, within eps mm.

    The arc turns one way only and by less than a full circle.
    """
    q = q - q[0]
    area = _area_vector(q)
    size = sqrt(float(area @ area))
    d = q[-1]
    chord2 = float(d @ d)
    if size <= 1e-12 * max(chord2, 1e-300):
        return False
    n = area / size
    if float(np.abs(along_axis(q, n)).max()) > eps:
        return False
    extent2 = float((q * q).sum(axis=1).max())
    if chord2 < 0.05 * extent2:
        x, y = _plane_axes(n)
        px, py = along_axis(q, x), along_axis(q, y)
        cx, cy, r = _kasa(px, py)
    else:
        chord = sqrt(chord2)
        x = d / chord
        y = np.array([n[1] * x[2] - n[2] * x[1], n[2] * x[0] - n[0] * x[2], n[0] * x[1] - n[1] * x[0]])
        h = chord / 2.0
        px, py = along_axis(q, x) - h, along_axis(q, y)
        # all points satisfy x^2 + y^2 - h^2 = 2 k y with the centre at (0, k)
        yy = _total(py, py)
        if yy == 0.0:
            return False
        cx, cy = 0.0, _total(py, px * px + py * py - h * h) / (2.0 * yy)
        r = sqrt(cy * cy + h * h)
    dx, dy = px - cx, py - cy
    if float(np.abs(np.sqrt(dx * dx + dy * dy) - r).max()) > eps:
        return False
    turn = np.arctan2(dx[:-1] * dy[1:] - dy[:-1] * dx[1:], dx[:-1] * dx[1:] + dy[:-1] * dy[1:])
    return float(turn.min()) > 0.0 and float(turn.sum()) < 2.0 * np.pi + 1e-9


def _scatter(q: Array) -> Array:
    """q transposed times q, (3, 3)."""
    product: Array = np.einsum("ij,ik->jk", q, q)
    return product


def _solve3(a: Array, b: Array) -> Vec | None:
    """The solution of three linear equations by Cramer's rule; None where they are singular."""
    c0, c1, c2, right = (vec(column) for column in (a[:, 0], a[:, 1], a[:, 2], b))
    across = cross(c1, c2)
    det = dot(c0, across)
    if not abs(det) > 1e-30 * norm(c0) * norm(c1) * norm(c2):
        return None
    return (dot(right, across) / det, dot(c0, cross(right, c2)) / det, dot(c0, cross(c1, right)) / det)


def _plane_axes(n: Array) -> tuple[Array, Array]:
    a = np.array([0.0, 1.0, 0.0]) if abs(n[0]) < 0.7 and abs(n[1]) < 0.7 else np.array([0.0, 0.0, 1.0])
    x = np.cross(a, n)
    x /= np.sqrt(x @ x)
    return x, np.cross(n, x)


def _kasa(px: Array, py: Array) -> tuple[float, float, float]:
    mx, my = float(px.mean()), float(py.mean())
    x, y = px - mx, py - my
    z = x * x + y * y
    sxx, syy, sxy = _total(x, x), _total(y, y), _total(x, y)
    sxz, syz = _total(x, z), _total(y, z)
    det = sxx * syy - sxy * sxy
    if det <= 0.0:
        return mx, my, 0.0
    cx = (sxz * syy - syz * sxy) / (2.0 * det)
    cy = (syz * sxx - sxz * sxy) / (2.0 * det)
    return mx + cx, my + cy, sqrt(cx * cx + cy * cy + float(z.mean()))


def fit_circle(q: Array) -> Circle | None:
    """Least-squares circle of the points q (n, 3), n >= 3, its normal by the right hand in their order.

    Returns None when the points lie on a line, or on a circle too wide to be told from one (`GREATEST_RADIUS`).
    """
    origin = q.mean(axis=0)
    p = q - origin
    n, size = _area_normal(p)
    if size == 0.0:
        return None
    if len(p) > 3:
        # the plane itself by least squares; the area vector only tells its side
        _, axes = np.linalg.eigh(_scatter(p))
        best = axes[:, 0]
        if best @ n < 0.0:
            best = -best
        if best @ n > 0.5:
            n = best
    x, y = _plane_axes(n)
    px, py = along_axis(p, x), along_axis(p, y)
    cx, cy, r = _kasa(px, py)
    if r <= 0.0:
        return None
    for _ in range(8 if len(q) > 3 else 2):
        dx, dy = px - cx, py - cy
        dist = np.sqrt(dx * dx + dy * dy)
        if float(dist.min()) == 0.0:
            break
        jac = np.stack((-dx / dist, -dy / dist, -np.ones_like(dist)), axis=1)
        res = dist - r
        step = _solve3(_scatter(jac), -np.einsum("ij,i->j", jac, res))
        if step is None:
            break
        cx, cy, r = cx + step[0], cy + step[1], r + step[2]
        if max(abs(v) for v in step) < 1e-12 * max(1.0, abs(r)):
            break
    if not 0.0 < r <= GREATEST_RADIUS:
        return None
    radial = np.sqrt((px - cx) ** 2 + (py - cy) ** 2) - r
    out = along_axis(p, n)
    residual = sqrt(float((radial * radial + out * out).max()))
    return Circle(vec(origin + cx * x + cy * y), vec(n), r, residual)


def radius_uncertainty(residual: float, half_sweep_rad: float) -> float:
    """How loosely a radius is known: dR = dsagitta * cos h / (1 - cos h), h half the sweep.

    The sagitta s = R (1 - cos h) and the chord c = 2 R sin h give R(s, c); its derivative at
    constant chord is the factor (elementary; checked numerically in the tests).
    """
    c = cos(half_sweep_rad)
    if c <= 0.0:
        return residual
    return residual * max(1.0, c / (1.0 - c)) if c < 1.0 else float("inf")
