"""Points of B-splines, rational or not, many parameters at once (de Boor, A Practical Guide to Splines, ch. X)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from converter.model.curve import Spline

Floats = NDArray[np.float64]


def homogeneous(spline: Spline) -> Floats:
    """Control points times their weights, and the weights: (n, 4)."""
    w = np.ones(len(spline.control_points)) if spline.weights is None else spline.weights
    return np.column_stack((spline.control_points * w[:, None], w))


def de_boor(degree: int, knots: Floats, control: Floats, u: Floats) -> Floats:
    """Points of a B-spline of any dimension at the parameters u, (m, dim) (de Boor's algorithm, all at once)."""
    inner = knots[degree : len(control) + 1]
    # the span that holds u; at the far end the last one that is not empty
    k = np.searchsorted(inner, np.minimum(u, inner[-1]), side="right") - 1
    k = np.where(u >= inner[-1], np.searchsorted(inner, inner[-1], side="left") - 1, k)
    k = np.clip(k, 0, len(control) - 1 - degree) + degree
    d = [control[k - degree + j] for j in range(degree + 1)]
    for r in range(1, degree + 1):
        for j in range(degree, r - 1, -1):
            low, high = knots[k - degree + j], knots[k + 1 + j - r]
            span = high - low
            alpha = np.where(span > 0.0, (u - low) / np.where(span > 0.0, span, 1.0), 0.0)[:, None]
            d[j] = (1.0 - alpha) * d[j - 1] + alpha * d[j]
    points: Floats = d[degree]
    return points


def spline_points(spline: Spline, t: Floats) -> Floats:
    """Points of a spline at parameters t (m,), shape (m, 3) in mm."""
    h = de_boor(spline.degree, np.asarray(spline.knots, float), homogeneous(spline), t)
    flat: Floats = h[:, :3] / h[:, 3:]
    return flat


def even_points(spline: Spline, count: int) -> Floats:
    """``count`` >= 2 points at even steps of the parameter, (count, 3), ends included."""
    lo, hi = float(spline.knots[spline.degree]), float(spline.knots[len(spline.control_points)])
    return spline_points(spline, np.linspace(lo, hi, count))
