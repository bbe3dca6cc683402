"""The full sweep search of an 8-bend tube from both ends against one brute-force clearance check of one pose.

The check is what a script writer would do with trimesh for a single moment of a single bend: mesh the tube on
either side of the die (chords within our own tolerance), then the distance of every vertex from the box of the
machine, and of every vertex of one side from the triangles of the other. Used by ``benchmark.py``; alone:
``python tests/benchmarks/bench_sweep.py``.
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

from converter.bending.room.order import BestOrder, best_order
from converter.model.bends import Bend, BendTable
from converter.model.section import Section
from converter.shop.model import Machine
from converter.shop.room import Box

SECTION = Section("round", 44.45, 3.048)
STAND = Box("the stand", (-300.0, -300.0, -900.0), (200.0, 300.0, -290.0))
MACHINE = Machine(plane="vertical", pivot_height=965.0, ceiling=2700.0, wall_ahead=4000.0, boxes=(STAND,))
TABLE = BendTable(
    (
        Bend(250.0, 0.0, 90.0, 152.4), Bend(180.0, 90.0, 45.0, 152.4), Bend(120.0, -30.0, 120.0, 152.4),
        Bend(160.0, 180.0, 30.0, 152.4), Bend(300.0, -90.0, 60.0, 152.4), Bend(90.0, 37.0, 90.0, 152.4),
        Bend(210.0, 120.0, 75.0, 152.4), Bend(140.0, 90.0, 90.0, 152.4),
    ),
    220.0,
)  # fmt: skip


def search() -> BestOrder:
    """Every order from both ends."""
    found = best_order(TABLE, SECTION, MACHINE, thorough=True)
    assert found.every and found.swept_count > 2000
    return found


def one_pose() -> float:
    """Least clearance of the last bend, half made, from meshes."""
    from sweep_tools import mesh_of, pose

    run, to_t = pose(TABLE, MACHINE, 7, set(range(7)), 45.0)
    whole = mesh_of(run, SECTION, 0.5)
    # the pieces of the mesh on either side of T, parted by length along the centerline
    bends = run.table.bends
    ahead = BendTable(bends[:-1], bends[-1].feed)
    first = mesh_of(type(run)("ahead", None, False, ahead, run.placement), SECTION, 0.5)
    behind_length = run.table.developed_length - to_t
    end = np.array(run.centerline[-1].end)
    start = np.array(run.centerline[-1].start)
    direction = (end - start) / np.linalg.norm(end - start)
    from converter.model.bends import Placement

    place = Placement.leaving(tuple(end - direction * behind_length), tuple(direction))
    second = mesh_of(type(run)("behind", None, False, BendTable((), behind_length), place), SECTION, 0.5)
    box = _box()
    return min(
        float(whole.vertices[:, 2].min()) + MACHINE.pivot_height,
        _closest(box, whole.vertices),
        _closest(first, second.vertices),
        _closest(second, first.vertices),
    )


def _box() -> Any:
    import trimesh

    return trimesh.creation.box(bounds=[STAND.low, STAND.high])


def _closest(mesh: Any, points: np.ndarray) -> float:
    """Least distance of points from a mesh; by its tree where rtree is installed, else triangle by triangle."""
    import trimesh

    try:
        import rtree  # noqa: F401
    except ImportError:
        parts = np.array_split(points, max(1, len(points) * len(mesh.faces) // 500_000))
        return min(float(trimesh.proximity.closest_point_naive(mesh, part)[1].min()) for part in parts)
    return float(trimesh.proximity.closest_point(mesh, points)[1].min())


def measure(times: int = 3) -> tuple[float, float]:
    """Median processor seconds of our whole search and of one brute-force pose, run in turn after a warm-up."""
    taken: tuple[list[float], list[float]] = ([], [])
    for i in range(times + 1):
        for function, into in zip((search, one_pose), taken, strict=True):
            gc.collect()
            begun = time.process_time()
            function()
            if i:
                into.append(time.process_time() - begun)
    return statistics.median(taken[0]), statistics.median(taken[1])


def sweep_ratio(times: int = 3) -> float:
    """How many brute-force poses the whole search takes the time of; the target is under 50."""
    ours, other = measure(times)
    return ours / other


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    mine, theirs = measure()
    print(f"full search {mine:.3f} s, one brute-force pose {theirs:.3f} s: ratio {mine / theirs:.2f} (target < 50)")
