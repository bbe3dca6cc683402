"""Random runs against the CAD kernel, by hand: ``python tests/fuzz/stress.py --cases 10000 --seed 1``.

Each run is a table a bender could in principle make, placed anywhere, also 1e7 mm from the origin. The kernel builds
its wire and its solid; the kernel's own integrals of length and volume are held against the table's, the end of the
wire and of the table against one another, and both against a frame that the kernel's own translations and rotations
carry along the table. Volume is area times developed length (Pappus: the section's centroid lies on the centerline).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from math import cos, pi, radians, sin
from pathlib import Path
from random import Random
from time import process_time

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

from kernel_probe import assert_sound, kernel_length, kernel_volume  # noqa: E402

from converter.geometry.vectors import Vec, cross, distance, dot, unit  # noqa: E402
from converter.model.bends import Bend, BendTable, Placement  # noqa: E402
from converter.model.run import Run  # noqa: E402
from converter.model.section import Section  # noqa: E402

#: mm from the origin: a tube is drawn near it, or in the coordinates of a site.
FAR = (0.0, 1e3, 1e7)
#: mm: how far lengths and ends may be off near the origin, and per mm from it (doubles keep 1.2e-16 of it; the kernel
#: adds up several).
CLOSE, PER_FAR = 1e-9, 2e-15


def random_run(rng: Random) -> tuple[Run, float]:
    """A run and how far from the origin it lies, mm."""
    bends = []
    for i in range(rng.choice((1, 1, 2, 3, 5, 8, 12))):
        rotation = 0.0 if i == 0 else rng.choice((0.0, 90.0, -90.0, 180.0, rng.uniform(-179.0, 180.0)))
        angle = rng.choice((45.0, 90.0, 180.0, rng.uniform(0.5, 330.0)))
        bends.append(Bend(rng.uniform(0.5, 500.0), rotation, angle, rng.uniform(30.0, 300.0)))
    far = rng.choice(FAR)
    start = tuple(rng.uniform(-far, far) for _ in range(3))
    a, b, c = (rng.uniform(0.0, 2.0 * pi) for _ in range(3))
    z = (sin(b) * cos(a), sin(b) * sin(a), cos(b))
    x = (cos(b) * cos(a), cos(b) * sin(a), -sin(b))
    y = cross(z, x)
    ahead = unit(tuple(cos(c) * x[k] + sin(c) * y[k] for k in range(3)))
    normal = unit(cross(ahead, cross(z, ahead)))
    table = BendTable(tuple(bends), rng.uniform(0.5, 500.0))
    return Run("random", None, False, table, Placement(start, ahead, normal)), far


def random_section(rng: Random) -> Section:
    """A round tube or bar that the tightest bend of `random_run` takes."""
    od = rng.uniform(6.0, 50.0)
    wall = od * rng.uniform(0.03, 0.3)
    return Section("round", od, wall) if rng.random() < 0.8 else Section("bar", od, od / 2.0)


def carried_frame(run: Run) -> tuple[Vec, Vec]:
    """End B and the direction there, by the kernel's own motions of a point and two directions along the table."""
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Vec

    place = run.placement
    point, ahead, normal = gp_Pnt(*place.start), gp_Dir(*place.direction), gp_Dir(*place.normal)
    for bend in run.table.bends:
        point.Translate(gp_Vec(ahead).Multiplied(bend.feed))
        normal.Rotate(gp_Ax1(point, ahead), radians(bend.rotation))
        inward = gp_Vec(normal).Crossed(gp_Vec(ahead))
        axis = gp_Ax1(point.Translated(inward.Multiplied(bend.clr or 0.0)), normal)
        point.Rotate(axis, radians(bend.angle))
        ahead.Rotate(axis, radians(bend.angle))
    point.Translate(gp_Vec(ahead).Multiplied(run.table.tail))
    return (point.X(), point.Y(), point.Z()), (ahead.X(), ahead.Y(), ahead.Z())


def misses(rng: Random) -> dict[str, float]:
    """How far the kernel and the table are apart, each as a part of what is allowed: at most 1."""
    from OCP.BRepAdaptor import BRepAdaptor_CompCurve
    from OCP.gp import gp_Pnt, gp_Vec
    from OCP.TopoDS import TopoDS

    from converter.kernel.shapes.solids import centerline_wire, tube_solid

    run, far = random_run(rng)
    section = random_section(rng)
    allowed = CLOSE + PER_FAR * far * (3.0 + len(run.table.bends))
    wire = centerline_wire(run)
    length = run.table.developed_length
    found = {"length": abs(kernel_length(wire) - length) / (allowed + 1e-10 * length)}
    curve = BRepAdaptor_CompCurve(TopoDS.Wire_s(wire) if hasattr(TopoDS, "Wire_s") else wire)
    point, way = gp_Pnt(), gp_Vec()
    curve.D1(curve.LastParameter(), point, way)
    end, ahead = (point.X(), point.Y(), point.Z()), unit((way.X(), way.Y(), way.Z()))
    found["end"] = distance(end, run.end) / allowed
    carried, way_carried = carried_frame(run)
    found["end frame"] = max(distance(carried, run.end), distance(carried, end)) / allowed
    found["end frame's direction"] = distance(way_carried, ahead) / (1e-9 + 1e-12 * len(run.table.bends))
    last = run.centerline[-1]
    drawn = unit(tuple(q - p for p, q in zip(last.start, last.end, strict=True)))
    found["end direction"] = distance(ahead, drawn) / (1e-9 + 4.0 * allowed / last.length)
    solid = tube_solid(run, section)
    if far <= 1e3:  # the kernel's own tolerance is 1e-7 mm, below what doubles keep further out
        assert_sound(solid)
    area = pi / 4.0 * (section.od**2 - (0.0 if section.bore is None else (section.od - 2.0 * section.wall) ** 2))
    found["volume"] = abs(kernel_volume(solid) / (area * length) - 1.0) / (1e-9 + 1e-14 * far)
    assert abs(dot(run.placement.direction, run.placement.normal)) < 1e-9
    return found


def stress(seed: int, numbers: range) -> tuple[Counter[str], dict[str, float], list[tuple[int, str]]]:
    """How many runs agree, the greatest miss of each sort as a part of what is allowed, and what does not agree."""
    counts: Counter[str] = Counter()
    worst: dict[str, float] = {}
    wrong: list[tuple[int, str]] = []
    for number in numbers:
        try:
            found = misses(Random(f"stress/{seed}/{number}"))
        except Exception as error:  # any is a fault; the rest goes on
            wrong.append((number, f"{type(error).__name__}: {error}"))
            counts["fault"] += 1
            continue
        for name, part in found.items():
            worst[name] = max(part, worst.get(name, 0.0))
        over = {name: part for name, part in found.items() if part > 1.0}
        counts["off" if over else "agree"] += 1
        if over:
            wrong.append((number, str(over)))
    return counts, worst, wrong


def main() -> int:
    """Run it; the exit status is 1 where something does not agree."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--cases", type=int, default=1000)
    reader.add_argument("--first", type=int, default=0)
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    bad = 0
    for first in range(asked.first, asked.first + asked.cases, 500):
        began = process_time()
        counts, worst, wrong = stress(asked.seed, range(first, min(first + 500, asked.first + asked.cases)))
        bad += len(wrong)
        row = {"first": first, **counts, "seconds": round(process_time() - began, 1)}
        print(json.dumps(row | {"worst": {k: f"{v:.2g}" for k, v in worst.items()}, "wrong": wrong}), flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
