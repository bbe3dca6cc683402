"""Random frames as DXF: bent tubes of lines or polylines with sharp corners, some starting on another tube."""

from __future__ import annotations

import random
from itertools import pairwise
from math import hypot
from pathlib import Path

import ezdxf

Point = tuple[float, float, float]


def random_drawing(path: Path, seed: int) -> Path:
    """One to three tubes of up to six bends, in mm or inches; the same seed gives the same drawing."""
    rng = random.Random(seed)
    inches = rng.random() < 0.3
    doc = ezdxf.new("R2010", units=1 if inches else 4)
    model = doc.modelspace()
    drawn: list[list[Point]] = []
    for number in range(rng.choice([1, 2, 3])):
        points = _corners(rng, rng.choice([0, 1, 2, 3, 4, 6]) if number == 0 else rng.choice([0, 1, 2]))
        if drawn and rng.random() < 0.7:
            points = _moved_onto(rng, points, rng.choice(drawn))
        drawn.append(points)
        layer = f"{rng.choice(['TUBE', 'RAIL', 'BRACE'])}{number}"
        shown = [tuple(c / 25.4 for c in p) for p in points] if inches else points
        if rng.random() < 0.5 and len(shown) > 2:
            model.add_polyline3d(shown, dxfattribs={"layer": layer})
        else:
            for a, b in pairwise(shown):
                model.add_line(a, b, dxfattribs={"layer": layer})
    doc.saveas(path)
    return path


def bays_drawing(path: Path, count: int) -> Path:
    """So many tubes of a frame of bays: bent hoops, rails and braces between them, crosses low down; in mm."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    tubes: list[tuple[str, list[Point]]] = []
    for bay in range(count):
        x, high, shoulder = 900.0 * bay, 900.0 + 40.0 * (bay % 4), 100.0 * (bay % 2)
        hoop = [(x, 0.0, 0.0), (x, 0.0, high - shoulder), (x, 150.0, high), (x, 650.0, high), (x, 800.0, high - 100.0)]
        tubes.append((f"HOOP-{bay + 1}", [*hoop, (x, 800.0, 0.0)]))
        if bay:
            for z, level in ((300.0, "LOW"), (700.0, "HIGH")):
                for y, side in ((0.0, "L"), (800.0, "R")):
                    tubes.append((f"RAIL-{level}-{side}{bay}", [(x - 900.0, y, z), (x, y, z)]))
            tubes.append((f"BRACE-{bay}", [(x - 900.0, 0.0, 300.0), (x, 0.0, 700.0)]))
        tubes.append((f"CROSS-{bay + 1}", [(x, 0.0, 150.0), (x, 800.0, 150.0)]))
    for name, points in tubes[:count]:
        for a, b in pairwise(points):
            model.add_line(a, b, dxfattribs={"layer": name})
    doc.saveas(path)
    return path


def _corners(rng: random.Random, bends: int) -> list[Point]:
    at = tuple(rng.uniform(-500.0, 500.0) for _ in range(3))
    points, before, flat = [at], None, rng.random() < 0.5
    while len(points) < bends + 2:
        way = (rng.gauss(0, 1), rng.gauss(0, 1), 0.0 if flat else rng.gauss(0, 1))
        long = hypot(*way)
        way = tuple(c / long for c in way)
        # neither straight on nor folded back
        if before is not None and not -0.75 < sum(a * b for a, b in zip(way, before, strict=True)) < 0.985:
            continue
        length = rng.choice([rng.uniform(80.0, 200.0), rng.uniform(200.0, 700.0), rng.uniform(300.0, 1500.0)])
        at = tuple(a + length * w for a, w in zip(at, way, strict=True))
        points.append(at)
        before = way
    return [(x, y, z) for x, y, z in points]


def _moved_onto(rng: random.Random, points: list[Point], other: list[Point]) -> list[Point]:
    """So that the first point lies on one of the other tube's straights."""
    k = rng.randrange(len(other) - 1)
    share = rng.uniform(0.3, 0.7)
    goal = tuple(a + share * (b - a) for a, b in zip(other[k], other[k + 1], strict=True))
    way = tuple(g - p for g, p in zip(goal, points[0], strict=True))
    return [(p[0] + way[0], p[1] + way[1], p[2] + way[2]) for p in points]
