"""The full sweep search of an 8-bend tube from both ends against one brute-force clearance check of one pose.

The check is what a script writer would do with trimesh for a single moment of a single bend: mesh the tube on
either side of the die (chords within our own tolerance), then the distance of every vertex from the box of the
machine, and of every vertex of one side from the triangles of the other. Also whole jobs of tubes of 8 bends.
Used by ``benchmark.py``; alone: ``python tests/benchmarks/bench_sweep.py [COUNT ...]``, which also tells how reading,
set-up and audit grow with the number of tubes (processor time, and the exponent from the smallest job to the largest).
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from math import log
from pathlib import Path
from typing import Any

import numpy as np
from best_order import BestOrder, best_order
from sweep_tools import STAND
from turns import in_turn

from converter import Job, Settings, open_job
from converter.bending.setup.setup import set_up
from converter.model.bends import Bend, BendTable
from converter.model.section import Section
from converter.shop.load import demo_shop
from converter.shop.model import Machine, Shop

SECTION = Section("round", 44.45, 3.048)
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


def measure(times: int = 3) -> tuple[float, ...]:
    """Least processor seconds of our whole search and of one brute-force pose."""
    return in_turn(search, one_pose, times=times)


def sweep_ratio(times: int = 3) -> float:
    """How many brute-force poses the whole search takes the time of; the target is under 50."""
    ours, other = measure(times)
    return ours / other


def job_shop() -> Shop:
    """The demo shop with a stand under its bender."""
    shop = demo_shop()
    return replace(shop, machine=replace(shop.machine, boxes=(STAND,)))


def measure_job(folder: Path, count: int, times: int = 3) -> tuple[float, ...]:
    """Least processor seconds of the verdict on a job of tubes of 8 bends, and of reading its DXF."""
    path = drawn(folder, count)
    settings = Settings(sections=("38.1x3mm",), metal="mild steel")

    def verdict() -> None:
        job = Job.of_tubes(open_job(str(path), settings).tubes, job_shop())
        assert job.findings

    return in_turn(verdict, lambda: open_job(str(path), settings).tubes, times=times)


def measure_together(count: int, times: int = 3) -> tuple[float, ...]:
    """Least processor seconds of the set-ups of tubes of 8 bends, and of the same one after the other."""
    from many_tubes import different_tubes

    tubes, shop = different_tubes(count), job_shop()
    return in_turn(lambda: set_up(tubes, shop), lambda: [set_up([tube], shop) for tube in tubes], times=times)


def drawn(folder: Path, count: int) -> Path:
    """A DXF of so many tubes of 8 bends."""
    from frames import draw
    from many_tubes import different_tubes

    return draw(different_tubes(count), folder / f"{count}.dxf")


def growth(counts: list[int]) -> None:
    """Print how table, set-up and audit grow with a job."""
    rows = []
    print(f"{'tubes':>6} {'table':>9} {'set-up':>9} {'audit':>9}   processor seconds; audit is all of it")
    with tempfile.TemporaryDirectory() as name:
        for count in counts:
            path = drawn(Path(name), count)
            begun = time.process_time()
            tubes = open_job(str(path), Settings(sections=("38.1x3mm",), metal="mild steel")).tubes
            read = time.process_time()
            setups = Job.of_tubes(tubes, job_shop())
            assert len(setups.setups) == count
            ready = time.process_time()
            assert setups.findings
            rows.append((count, read - begun, ready - read, time.process_time() - begun))
            print("{:>6} {:>7.2f} s {:>7.2f} s {:>7.2f} s".format(*rows[-1]), flush=True)
    few, many = rows[0], rows[-1]
    if many[0] > few[0]:
        exponents = [log(last / first) / log(many[0] / few[0]) for first, last in zip(few[1:], many[1:], strict=True)]
        print("grow as tubes ** {:.2f}, {:.2f}, {:.2f}".format(*exponents))


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    mine, theirs = measure()
    print(f"full search {mine:.3f} s, one brute-force pose {theirs:.3f} s: ratio {mine / theirs:.2f} (target < 50)")
    growth([int(count) for count in sys.argv[1:]] or [10, 30, 100, 300])
