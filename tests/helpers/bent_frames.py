"""Random frames of round tubes whose ends land on bends, and where an axis meets a bend by plain search."""

from __future__ import annotations

import random
from dataclasses import replace
from math import dist, radians
from typing import Any

import numpy as np
from copes import straight
from scipy.optimize import brentq, minimize_scalar

from converter.geometry.vectors import along, any_normal
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.model.section import Section

RAILS, SPOKES = (tuple(Section("round", od, 2.0) for od in ods) for ods in ((44.45, 50.8), (25.4, 38.1)))


def bent_frame(seed: int, rails: int = 5, spokes: int = 15) -> list[Tube]:
    """Bent rails apart from one another, and spokes that end on them: half of them at bends, some not quite there."""
    pick = random.Random(seed)
    tubes = []
    for k in range(rails):
        section = pick.choice(RAILS)
        way = np.array([pick.gauss(0.0, 1.0) for _ in range(3)])
        direction = tuple((way / np.linalg.norm(way)).tolist())
        rows = [Bend(200.0, 0.0, pick.uniform(40.0, 120.0), 140.0), Bend(180.0, pick.uniform(-170, 170), 60.0, 140.0)]
        start = (1500.0 * k, pick.uniform(0.0, 200.0), pick.uniform(0.0, 200.0))
        run = Run(
            f"RAIL-{k}", None, False, BendTable(tuple(rows), 200.0), Placement(start, direction, any_normal(direction))
        )
        tubes.append(Tube(run, section))
    for k in range(spokes):
        rail = pick.choice(tubes[:rails])
        arcs = [one for one in rail.run.centerline if isinstance(one, Arc)]
        piece = pick.choice(arcs if k % 2 else list(rail.run.centerline))
        share = pick.uniform(0.15, 0.85)
        on_it = (
            piece.point(share * piece.angle)
            if isinstance(piece, Arc)
            else along(piece.start, piece.direction, share * piece.length)
        )
        off = pick.choice((0.0, 0.0, 0.3, 4.0))
        start = tuple(v + off * pick.gauss(0.0, 1.0) for v in on_it)
        tubes.append(
            straight(f"SPOKE-{k}", start, tuple(v + pick.uniform(-400, 400) for v in start), pick.choice(SPOKES))
        )
    return tubes


def off_arc(arc: Arc, points: Any) -> Any:
    """Distances of points (n, 3) from an arc, by its own plane and its two ends."""
    w = points - np.array(arc.center)
    x = (np.array(arc.start) - arc.center) / arc.radius
    y = np.cross(arc.normal, x)
    u, v, z = w @ x, w @ y, w @ np.array(arc.normal)
    turn = np.arctan2(v, u) % (2.0 * np.pi)
    ends = [np.linalg.norm(points - np.array(p), axis=1) for p in (arc.start, arc.end)]
    return np.where(turn <= radians(arc.angle), np.hypot(np.hypot(u, v) - arc.radius, z), np.minimum(*ends))


def nearest_ahead(arc: Arc, point: Any, way: Any, about: float) -> float:
    """The length along an axis, near ``about``, at which it is nearest to an arc: scipy's bounded minimum."""

    def off(s: float) -> float:
        return float(off_arc(arc, np.array([np.array(point) + s * np.array(way)]))[0]) ** 2

    return float(minimize_scalar(off, bounds=(about - 3.0, about + 3.0), method="bounded", options={"xatol": 1e-9}).x)


def entry_back(arc: Arc, radius: float, point: Any, way: Any, about: float) -> float:
    """The length back from a point at which its axis is at ``radius`` from an arc, near ``about``: scipy's root."""

    def off(t: float) -> float:
        return float(off_arc(arc, np.array([np.array(point) - t * np.array(way)]))[0]) - radius

    return float(brentq(off, about - 1e-3, about + 1e-3, xtol=1e-11))


def inside(tube: Tube, point: Any) -> float:
    """How deep a point lies in the outside of a round tube, mm, its flat ends left aside."""
    best = np.inf
    for piece in tube.run.centerline:
        if isinstance(piece, Arc):
            best = min(best, float(off_arc(piece, np.array([point]))[0]))
        else:
            s = min(max(float(np.dot(np.array(point) - piece.start, piece.direction)), 0.0), piece.length)
            best = min(best, dist(along(piece.start, piece.direction, s), point))
    return float(tube.section.od) / 2.0 - best


def mirrored(tubes: list[Tube]) -> list[Tube]:
    """The frame in a mirror at x = 0: places mirrored, rotations of bends the other way."""
    found = []
    for tube in tubes:
        run, place = tube.run, tube.run.placement
        flipped = [(-v[0], v[1], v[2]) for v in (place.start, place.direction, place.normal)]
        # a normal is an axial vector: the plane's own direction is turned over once more
        normal = tuple(-v for v in flipped[2])
        bends = tuple(
            replace(b, rotation=-b.rotation if abs(b.rotation) < 180.0 else b.rotation) for b in run.table.bends
        )
        table = replace(run.table, bends=bends)
        found.append(replace(tube, run=replace(run, table=table, placement=Placement(flipped[0], flipped[1], normal))))
    return found
