"""Ends that run along into the side of another curve, as an arc does whose lines were not trimmed to it.

A line that was left running to the corner which an arc rounds off, a whole circle in place of its part: then one bent
tube is read as several, the straight ones too long. Tubes drawn so on purpose would lie in one another.
"""

from __future__ import annotations

from math import radians, sin

import numpy as np

from converter.arrays import Array, Ints
from converter.model.curve import Arc, Line, Path, Polyline
from converter.reducer.chaining.edges import LINE, Edges
from converter.reducer.chaining.junctions import RUN_THROUGH, Links, passed
from converter.tolerances import Tolerances


def untrimmed_ends(edges: Edges, active: Ints, links: Links, tol: Tolerances) -> list[tuple[int, int]]:
    """Ends of tubes that run along into another curve of their layer, each with that curve's edge, in drawn order.

    Args:
        edges: the curves.
        active: the ends that take part.
        links: which end goes on into which.
        tol: the tolerances.
    """
    if not any(isinstance(curve, (Arc, Path)) for curve in edges.curves):
        return []  # straights that lie along one another were one curve drawn twice
    limit = 2.0 * sin(radians(max(RUN_THROUGH, tol.tangent)) / 2.0)
    found: dict[int, int] = {}
    for ends, _, _ in links.junctions:
        group = np.array(ends)
        out = edges.outward(group)
        for i in np.flatnonzero(links.link[group] < 0).tolist():
            beside = np.sqrt(((out - out[i]) ** 2).sum(axis=1)) <= limit
            beside &= (edges.kind[group >> 1] != LINE) | (edges.kind[group[i] >> 1] != LINE)
            beside[i] = False
            if beside.any():
                found[int(group[i])] = int(group[int(np.argmax(beside))]) >> 1
    free = active[links.link[active] < 0]
    free = free[~np.isin(free, [*found])]
    straight = edges.kind[free >> 1] == LINE
    for some, among in ((free[straight], np.flatnonzero(edges.kind != LINE)), (free[~straight], None)):
        onto = passed(edges, some, tol.join, among)
        for end, edge in zip(some[onto >= 0].tolist(), onto[onto >= 0].tolist(), strict=True):
            along = _direction_at(edges, edge, edges.points[end])
            if along is not None and _sine(along, edges.outward(np.array([end]))[0]) <= limit:
                found[end] = edge
    return [(end, found[end]) for end in sorted(found)]


def _sine(one: Array, other: Array) -> float:
    return float(np.linalg.norm(np.cross(one, other)))


def _direction_at(edges: Edges, edge: int, place: Array) -> Array | None:
    """Unit direction of an edge at a place on it, whichever way round; None of splines and ellipses.

    Args:
        edges: the curves.
        edge: one of them.
        place: relative to the edges' origin.
    """
    curve = edges.curves[edge]
    best: tuple[float, Array] | None = None
    for part in curve.parts if isinstance(curve, Path) else (curve,):
        if isinstance(part, Arc):
            arm, normal = place - (np.array(part.center) - edges.origin), np.array(part.normal)
            flat = arm - float(arm @ normal) * normal
            off = float(np.hypot(np.linalg.norm(flat) - part.radius, arm @ normal))
            way = np.cross(normal, flat)
        elif isinstance(part, (Line, Polyline)):
            points = part.points if isinstance(part, Polyline) else np.array([part.start, part.end])
            start, step = points[:-1] - edges.origin, np.diff(points, axis=0)
            square = (step * step).sum(axis=1)
            share = ((place - start) * step).sum(axis=1) / np.where(square > 0.0, square, 1.0)
            gaps = np.linalg.norm(start + np.clip(share, 0.0, 1.0)[:, None] * step - place, axis=1)
            k = int(np.argmin(gaps))
            off, way = float(gaps[k]), step[k]
        else:
            return None
        size = float(np.linalg.norm(way))
        if size > 0.0 and (best is None or off < best[0]):
            best = (off, way / size)
    return None if best is None else best[1]
