"""What reading a mesh takes, and that a long process that reads many mesh files does not keep it."""

from __future__ import annotations

import subprocess
import sys
import tracemalloc

import pytest
from mesh_tools import saved, scanned, swept
from tubes import run_of

from converter.importers.registry import ReadOptions, read
from converter.model.section import Section

# in a process of its own, not a fork of pytest's: what that one has free would be filled, and never given back
READ = """
import sys
from pathlib import Path
from converter.importers.mesh.load import load
from converter.importers.source import Source

def held():
    # MB of its own, in memory or swapped out; pages of libraries come and go as the system likes
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return sum(int(line.split()[1]) for line in lines if line.startswith(("RssAnon:", "VmSwap:"))) / 1e3

many, tiny = map(Path, sys.argv[1:])
load(Source.of(tiny))  # loads the libraries
before = held()
parts = load(Source.of(many)).parts
print(len(parts), held() - before)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is looked up as Linux tells it")
def test_what_a_3mf_took_goes_back_to_the_system(tmp_path):
    """It takes a tree of XML of a hundred MB and more: 115 MB stayed where they were not given back, else 4."""
    import trimesh

    many, tiny = tmp_path / "many.3mf", tmp_path / "tiny.3mf"
    rings = {f"P{i}": trimesh.creation.annulus(18.0, 20.0, 400.0, sections=500) for i in range(20)}
    for i, ring in enumerate(rings.values()):
        ring.apply_translation((60.0 * i, 0.0, 0.0))
    trimesh.Scene(rings).export(many)
    trimesh.Scene({"P": trimesh.creation.annulus(18.0, 20.0, 400.0, sections=8)}).export(tiny)
    done = subprocess.run([sys.executable, "-c", READ, many, tiny], capture_output=True, text=True, check=True)
    count, stayed = done.stdout.split()
    assert int(count) == 20
    assert float(stayed) < 60.0, stayed


HOOK = run_of([(200.0, 0.0, 90.0, 80.0), (120.0, 180.0, 60.0, 80.0)], 90.0)


@pytest.mark.parametrize("extension", ["ply", "glb"])
def test_a_mesh_takes_few_copies_of_itself(extension, tmp_path):
    """A triangle that is welded takes 24 bytes of corners, 24 of its normal, 8 of its area, 12 of its share of points.

    360 bytes a triangle were held at once while all triangles were worked on together; now it is 160.
    """
    mesh = swept(HOOK, Section("round", 38.0, 2.5), 0.01)
    path = saved(mesh, tmp_path / f"hook.{extension}")
    assert _most_held(path) < 220.0 * len(mesh.faces)


def test_a_scan_takes_few_copies_of_itself(tmp_path):
    """Its normals are smoothed, and its triangles turned to one side: 490 bytes each while that was done for all."""
    mesh = scanned(HOOK, 19.0, 1.2, 0.05)
    path = saved(mesh, tmp_path / "scan.ply")
    assert _most_held(path) < 300.0 * len(mesh.faces)


def _most_held(path) -> int:
    """Bytes that reading a mesh file holds at its peak, once the libraries are loaded."""
    options = ReadOptions(units="mm")
    assert len(read(path, options).tables) == 1
    tracemalloc.start(1)
    try:
        read(path, options)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
