"""How fast meshes are read: ours against the mesh library's own load and split of the same file, in turn.

``python tests/benchmarks/bench_mesh.py``. A script, not a test; `mesh_ratio` serves the benchmark.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import trimesh
from mesh_tools import swept
from tubes import run_of
from turns import in_turn

from converter.importers.registry import ReadOptions, read
from converter.model.bends import Placement
from converter.model.section import Section

ROWS = [(250.0, 0.0, 90.0, 120.0), (80.0, 90.0, 45.0, 120.0), (60.0, -30.0, 120.0, 100.0), (90.0, 150.0, 30.0, 150.0)]


def write_mesh(path: Path, tubes: int, chord: float) -> int:
    """A binary STL of that many tubes side by side; returns how many triangles it has."""
    section = Section("round", 44.45, 3.0)
    parts = [
        swept(run_of(ROWS, 60.0, Placement((k % 10 * 1500.0, k // 10 * 1500.0, 0.0))), section, chord)
        for k in range(tubes)
    ]
    whole = trimesh.util.concatenate(parts)
    whole.export(str(path))
    return len(whole.faces)


def mesh_ratio(tubes: int = 1, chord: float = 0.004, times: int = 3) -> tuple[float, float, int]:
    """Least processor seconds of ours and of the library's load and split, and the number of triangles."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tubes.stl"
        count = write_mesh(path, tubes, chord)
        found = []
        ours, theirs = in_turn(lambda: found.append(_ours(path)), lambda: found.append(_theirs(path)), times=times)
    assert set(found) == {tubes}, found
    return ours, theirs, count


def _ours(path: Path) -> int:
    return len(read(path, ReadOptions(units="mm")).tables)


def _theirs(path: Path) -> int:
    return len(trimesh.load(str(path)).split())


if __name__ == "__main__":
    for tubes, chord in ((1, 0.004), (10, 0.04), (40, 0.15)):
        ours, theirs, count = mesh_ratio(tubes, chord)
        print(f"{tubes:3} tubes, {count:7} triangles: {ours:.2f} s, library {theirs:.2f} s, ratio {ours / theirs:.2f}")
