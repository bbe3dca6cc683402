"""Tubes of any section written down plainly: the bend table walked with scipy's rotations, distances by shapely.

Nothing of `converter.joints` or `converter.model.frames` is used: a place's foot on each straight and bend is found by
itself, and in the plane there the section is a box or a line (its outline without the corner radius) around which
shapely measures. Slow, and of one tube at a time.
"""

from __future__ import annotations

import random
from math import radians

import numpy as np
import shapely
from copes import straight
from scipy.spatial.transform import Rotation

from converter.geometry.vectors import any_normal
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section

SECTIONS = {
    "square": Section("square", 40.0, 3.0, corner=6.0),
    "rectangular": Section("rectangular", 30.0, 2.0, 50.0, 4.0),
    "flat-oval": Section("flat-oval", 30.0, 2.0, 60.0),
    "bar": Section("bar", 25.0, 12.5),
    "round": Section("round", 38.1, 2.4),
}


def turned(vector: np.ndarray, axis: np.ndarray, degrees: float) -> np.ndarray:
    return Rotation.from_rotvec(radians(degrees) * axis).apply(vector)


class PlainTube:
    """A tube whose outside is measured from; its ends are flat and stop it."""

    def __init__(self, tube: Tube) -> None:
        place, table = tube.run.placement, tube.run.table
        a, b = tube.section.height / 2.0, tube.section.od / 2.0
        self.corner = {"round": a, "bar": a, "flat-oval": min(a, b)}.get(tube.section.shape, tube.section.corner)
        x, y = max(a - self.corner, 0.0), max(b - self.corner, 0.0)
        flat = min(x, y) < 1e-9
        self.core = shapely.LineString([(-x, -y), (x, y)]) if flat else shapely.box(-x, -y, x, y)
        point, way, across = (np.array(v) for v in (place.start, place.direction, place.normal))
        self.pieces = []
        roll = 0.0
        for bend in table.bends:
            self.pieces.append(("straight", point, way, across, bend.feed))
            point = point + bend.feed * way
            roll += bend.rotation
            normal = turned(across, way, roll)
            center = point + bend.clr * np.cross(normal, way)
            self.pieces.append(("bend", point, way, across, (center, normal, bend.clr, radians(bend.angle))))
            point = center + turned(point - center, normal, bend.angle)
            way, across = turned(way, normal, bend.angle), turned(across, normal, bend.angle)
        self.pieces.append(("straight", point, way, across, table.tail))

    def outside(self, points: np.ndarray) -> np.ndarray:
        """Distance of places (n, 3) from the outside, below 0 inside; inf beside which there is no tube."""
        best = np.full(len(points), np.inf)
        for kind, start, way, across, rest in self.pieces:
            if kind == "straight":
                s = (points - start) @ way
                on_it = (s >= -1e-9) & (s <= rest + 1e-9)
                p, q = (points - start) @ np.cross(across, way), (points - start) @ across
            else:
                center, normal, clr, sweep = rest
                x = (start - center) / clr
                u, v, z = (points - center) @ x, (points - center) @ way, (points - center) @ normal
                angle = np.mod(np.arctan2(v, u) + 1e-9, 2.0 * np.pi) - 1e-9
                on_it = angle <= sweep + 1e-9
                # back to the plane in which the bend starts: there the section is as in the straight before it
                local = start + (np.hypot(u, v) - clr)[:, None] * x + z[:, None] * normal
                p, q = (local - start) @ np.cross(across, way), (local - start) @ across
            away = shapely.distance(shapely.points(p, q), self.core) - self.corner
            best = np.where(on_it, np.minimum(best, away), best)
        return best

    def within(self, step: float) -> np.ndarray:
        """Places (n, 3) on the centerline, ``step`` apart."""
        found = []
        for kind, start, way, _, rest in self.pieces:
            if kind == "straight":
                found.append(start + np.arange(0.0, rest, step)[:, None] * way)
                continue
            center, normal, clr, sweep = rest
            angles = np.arange(0.0, sweep, step / clr)
            found.append(center + np.array([turned(start - center, normal, np.degrees(a)) for a in angles]))
        return np.concatenate(found)


def way_of(pick: random.Random) -> tuple[float, float, float]:
    v = np.array([pick.gauss(0.0, 1.0) for _ in range(3)])
    return tuple((v / np.linalg.norm(v)).tolist())


def bent_tube(name, start, way, rows, tail, section) -> Tube:
    table = BendTable(tuple(Bend(*row) for row in rows), tail)
    return Tube(Run(name, None, False, table, Placement(tuple(start), way, any_normal(way))), section)


def landing_frame(seed: int, mates: int = 10) -> list[Tube]:
    """Mates of every section, straight and bent, apart from one another; on each lands a straight end, and one that
    is a bend right up to its end."""
    pick = random.Random(seed)
    tubes = []
    sections = list(SECTIONS.values())
    for k in range(mates):
        section, x = sections[k % len(sections)], 3000.0 * k
        turn = pick.choice((0.0, 90.0, 180.0))
        rows = [(250.0, 0.0, pick.uniform(50.0, 120.0), 150.0), (200.0, turn, 60.0, 150.0)] if k % 3 else []
        mate = bent_tube(f"MATE-{k}", (x, 0.0, 0.0), way_of(pick), rows, 250.0 if rows else 900.0, section)
        tubes.append(mate)
        line = PlainTube(mate).within(1.0)
        for j, share in enumerate((pick.uniform(0.26, 0.4), pick.uniform(0.64, 0.74))):
            i = int(share * (len(line) - 1))
            along_mate = line[i + 1] - line[i]
            while True:
                way = np.array(way_of(pick))
                if abs(way @ along_mate) < 0.75:
                    break
            start = tuple((line[i] + pick.choice((0.0, 0.0, 0.2, 1.0)) * np.array(way_of(pick))).tolist())
            own = pick.choice(sections)
            if j:
                tubes.append(bent_tube(f"BENT-{k}", start, tuple(way.tolist()), [(0.0, 0.0, 50.0, 150.0)], 300.0, own))
            else:
                tubes.append(straight(f"STRAIGHT-{k}", start, tuple((np.array(start) + 500.0 * way).tolist()), own))
    return tubes


def thrown(seed: int, count: int = 8, box: float = 250.0) -> list[Tube]:
    """Tubes of every section, straight and bent, whose middles lie in a box."""
    pick = random.Random(seed)
    sections = list(SECTIONS.values())
    tubes = []
    for k in range(count):
        way = way_of(pick)
        start = tuple(pick.uniform(0.0, box) - 450.0 * v for v in way)
        rows = [(400.0, 0.0, pick.uniform(40.0, 120.0), 120.0)] if pick.random() < 0.6 else []
        tubes.append(bent_tube(f"T{k}", start, way, rows, 400.0 if rows else 900.0, pick.choice(sections)))
    return tubes
