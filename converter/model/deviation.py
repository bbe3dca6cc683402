"""How far points lie from straights and arcs, and points on these."""

from __future__ import annotations

from collections.abc import Sequence
from math import radians

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import along_axis
from converter.geometry.vectors import cross, sub
from converter.model.curve import Line, Segment

BLOCK = 200  #: points that are measured together


def distances(points: Array, segment: Segment) -> Array:
    """Distance in mm of points (n, 3) from a bounded straight or arc, shape (n,)."""
    if isinstance(segment, Line):
        p = np.array(segment.start)
        d = np.array(segment.end) - p
        size2 = float(d @ d)
        s = np.clip(along_axis(points - p, d) / size2, 0.0, 1.0) if size2 > 0.0 else np.zeros(len(points))
        off = points - p - s[:, None] * d
        straight: Array = np.sqrt((off * off).sum(axis=1))
        return straight
    c, n = np.array(segment.center), np.array(segment.normal)
    reach = sub(segment.start, segment.center)
    x, y = np.array(reach), np.array(cross(segment.normal, reach))
    arm = points - c
    height = along_axis(arm, n)
    u, v = along_axis(arm, x) / segment.radius, along_axis(arm, y) / segment.radius
    turn = np.mod(np.arctan2(v, u), 2.0 * np.pi)
    radial = np.hypot(u, v) - segment.radius
    on = np.hypot(radial, height)
    to_start = np.sqrt(((points - np.array(segment.start)) ** 2).sum(axis=1))
    to_end = np.sqrt(((points - np.array(segment.end)) ** 2).sum(axis=1))
    bowed: Array = np.where(turn <= radians(segment.angle), on, np.minimum(to_start, to_end))
    return bowed


def feet(points: Array, segment: Segment) -> Array:
    """The point of the whole line or circle of a segment that is nearest to each of points (n, 3)."""
    if isinstance(segment, Line):
        p = np.array(segment.start)
        d = np.array(segment.end) - p
        on_line: Array = p + np.multiply.outer(along_axis(points - p, d) / float(d @ d), d)
        return on_line
    c, n = np.array(segment.center), np.array(segment.normal)
    arm = points - c
    flat = arm - np.multiply.outer(along_axis(arm, n), n)
    size = np.sqrt(np.einsum("ij,ij->i", flat, flat))
    on_circle: Array = c + flat * (segment.radius / np.where(size > 0.0, size, 1.0))[:, None]
    return on_circle


def points_along(segment: Segment, fractions: Array) -> Array:
    """Points (n, 3) of a straight or arc at fractions (n,) of its length, mm."""
    if isinstance(segment, Line):
        start = np.array(segment.start)
        straight: Array = start + np.multiply.outer(fractions, np.array(segment.end) - start)
        return straight
    reach = sub(segment.start, segment.center)
    turns = fractions * radians(segment.angle)
    x, y = np.array(reach), np.array(cross(segment.normal, reach))
    bowed: Array = np.array(segment.center) + np.multiply.outer(np.cos(turns), x) + np.multiply.outer(np.sin(turns), y)
    return bowed


def nearest(points: Array, segment: Segment) -> Array:
    """The point of a bounded straight or arc that is nearest to each of points (n, 3); see `distances`."""
    ends = np.array(segment.start), np.array(segment.end)
    if isinstance(segment, Line):
        d = ends[1] - ends[0]
        size2 = float(d @ d)
        s = np.clip(along_axis(points - ends[0], d) / size2, 0.0, 1.0) if size2 > 0.0 else np.zeros(len(points))
        on_line: Array = ends[0] + s[:, None] * d
        return on_line
    reach = sub(segment.start, segment.center)
    x, y = np.array(reach), np.array(cross(segment.normal, reach))
    arm = points - np.array(segment.center)
    turn = np.mod(np.arctan2(along_axis(arm, y), along_axis(arm, x)), 2.0 * np.pi)
    on = np.array(segment.center) + np.multiply.outer(np.cos(turn), x) + np.multiply.outer(np.sin(turn), y)
    is_nearer_start = ((points - ends[0]) ** 2).sum(axis=1) <= ((points - ends[1]) ** 2).sum(axis=1)
    end = np.where(is_nearer_start[:, None], ends[0], ends[1])
    on_arc: Array = np.where((turn <= radians(segment.angle))[:, None], on, end)
    return on_arc


def largest(proofs: Sequence[Array], segments: Sequence[Segment | None]) -> float:
    """Largest distance of each piece's vertices from its own segment or the ones beside it.

    A vertex near a joint may lie on the neighbour, hence the nearest of up to three counts.
    """
    worst = 0.0
    for k, points in enumerate(proofs):
        near = None
        for segment in segments[max(0, k - 1) : k + 2]:
            if segment is None:
                continue
            d = distances(points, segment)
            near = d if near is None else np.minimum(near, d)
        if near is None:  # all three vanished; look at every one
            near = np.min([distances(points, s) for s in segments if s is not None], axis=0)
        worst = max(worst, float(near.max()))
    return worst


def largest_along(points: Array, segments: Sequence[Segment]) -> float:
    """Largest distance in mm of points (n, 3), in order along a tube, from its segments; a loop may begin anywhere."""
    count = len(segments)
    lengths = np.array([s.length for s in segments])
    at = int(np.argmin([float(distances(points[:1], s)[0]) for s in segments]))
    worst = 0.0
    for block in np.array_split(points, 1 + len(points) // BLOCK):
        d = np.diff(block, axis=0)
        ahead = 1.5 * float(np.sqrt(np.einsum("ij,ij->i", d, d)).sum())
        wanted = [(at - 1) % count, at]
        while len(wanted) < count:
            wanted.append((wanted[-1] + 1) % count)
            ahead -= float(lengths[wanted[-1]])
            if ahead < 0.0:
                break
        away = np.array([distances(block, segments[k]) for k in wanted])
        worst = max(worst, float(away.min(axis=0).max()))
        at = wanted[int(away[:, -1].argmin())]
    return worst
