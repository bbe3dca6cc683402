"""Tubes drawn as splines and as noisy chords: what people draw who draw no arcs."""

from __future__ import annotations

from math import ceil, cos, radians, tan

import numpy as np
from scipy.interpolate import make_interp_spline

from converter.model.bends import BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Line, Polyline, Spline


def bezier_chain(table: BendTable, placement: Placement, degree: int, *, rational: bool) -> Spline:
    """A B-spline of a Bezier piece for each straight, and of several for each arc: exact ones where rational.

    The others are parabolas over 8 degrees, or cubics over 40 (4/3 tan of a quarter of the angle, as usual), raised to
    the degree.
    """
    parts: list[np.ndarray] = []
    for segment in rebuild(table, placement):
        if isinstance(segment, Line):
            ends = np.linspace(segment.start, segment.end, degree + 1)
            parts.append(np.column_stack((ends, np.ones(degree + 1))))
            continue
        count = ceil(segment.angle / (80.0 if rational else 8.0 if degree == 2 else 40.0))
        for k in range(count):
            a, b = segment.angle * k / count, segment.angle * (k + 1) / count
            p, q = np.array(segment.point(a)), np.array(segment.point(b))
            u, v = (np.cross(segment.normal, r - segment.center) for r in (p, q))
            half = radians(b - a) / 2.0
            if rational or degree == 2:
                flat = np.array([p, p + u * tan(half), q])
                weights = np.array([1.0, cos(half) if rational else 1.0, 1.0])
            else:
                arm = 4.0 / 3.0 * tan(half / 2.0)
                flat, weights = np.array([p, p + u * arm, q - v * arm, q]), np.ones(4)
            raised = np.column_stack((flat * weights[:, None], weights))
            while len(raised) <= degree:
                share = (np.arange(1, len(raised)) / len(raised))[:, None]
                inner = share * raised[:-1] + (1.0 - share) * raised[1:]
                raised = np.concatenate((raised[:1], inner, raised[-1:]))
            parts.append(np.column_stack((raised[:, :3] / raised[:, 3:], raised[:, 3])))
    points = np.concatenate([parts[0][:1], *(part[1:] for part in parts)])
    knots = np.repeat(np.arange(len(parts) + 1.0), [degree + 1, *[degree] * (len(parts) - 1), degree + 1])
    ends = (tuple(points[0, :3].tolist()), tuple(points[-1, :3].tolist()))
    return Spline(degree, points[:, :3], knots, points[:, 3] if rational else None, *ends)


def even_points(table: BendTable, placement: Placement, step: float) -> np.ndarray:
    """Points on a tube at even distances of about ``step`` mm, wherever that falls: none at tangent points."""
    segments = rebuild(table, placement)
    ends = np.cumsum([0.0, *(s.length for s in segments)])
    points = []
    for s in np.linspace(0.0, ends[-1], max(8, ceil(ends[-1] / step))):
        k = min(int(np.searchsorted(ends, s, side="right")) - 1, len(segments) - 1)
        segment, share = segments[k], (s - ends[k]) / segments[k].length
        if isinstance(segment, Line):
            a, b = np.array(segment.start), np.array(segment.end)
            points.append(a + (b - a) * share)
        else:
            points.append(np.array(segment.point(min(segment.angle * share, segment.angle))))
    return np.array(points)


def interpolating(table: BendTable, placement: Placement, step: float, degree: int) -> Spline:
    """The smooth spline (scipy's) through even points of a tube, with the knots that Dierckx's FITPACK takes.

    They are given, since older scipy (1.13) has none for even degrees.
    """
    points = even_points(table, placement, step)
    at = np.arange(float(len(points)))
    half = (degree + 1) // 2
    inner = (at if degree % 2 else (at[1:] + at[:-1]) / 2.0)[half:-half]
    knots = np.r_[[at[0]] * (degree + 1), inner, [at[-1]] * (degree + 1)]
    curve = make_interp_spline(at, points, k=degree, t=knots)
    return Spline(degree, curve.c, curve.t, None, tuple(curve.c[0].tolist()), tuple(curve.c[-1].tolist()))


def noisy_chords(table: BendTable, placement: Placement, turn: float, noise: float, seed: int) -> Polyline:
    """Chords of at most ``turn`` degrees, straights in parts of 10 mm, each vertex off by up to ``noise`` mm."""
    points = [np.array(placement.start)]
    for segment in rebuild(table, placement):
        if isinstance(segment, Line):
            a, b = np.array(segment.start), np.array(segment.end)
            count = ceil(segment.length / 10.0)
            points += [a + (b - a) * k / count for k in range(1, count + 1)]
        else:
            count = ceil(segment.angle / turn)
            points += [np.array(segment.point(segment.angle * k / count)) for k in range(1, count + 1)]
    rng = np.random.default_rng(seed)
    off = rng.normal(size=(len(points), 3))
    off *= noise * rng.random((len(points), 1)) / np.linalg.norm(off, axis=1, keepdims=True)
    return Polyline(np.array(points) + off)
