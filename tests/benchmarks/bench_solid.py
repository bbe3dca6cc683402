"""Our hollow 4-bend solid against the CAD kernel's pipe sweep of the same tube, as cadquery offers it.

Used by ``tests/benchmarks/benchmark.py``; alone: ``python tests/benchmarks/bench_solid.py``.
"""

from __future__ import annotations

import sys
from typing import Any

from places import ROOT
from turns import in_turn

from converter.kernel.shapes.solids import is_valid, tube_solid, volume
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc
from converter.model.run import Run
from converter.model.section import Section

SECTION = Section("round", 44.45, 3.048)
TABLE = BendTable(
    (
        Bend(250.0, 0.0, 90.0, 114.3), Bend(180.0, 90.0, 45.0, 114.3),
        Bend(120.0, -30.0, 120.0, 152.4), Bend(60.0, 180.0, 30.0, 114.3),
    ),
    200.0,
)  # fmt: skip


def four_bends() -> Run:
    """The tube that is built: four bends in space, two radii."""
    return Run("bench", None, False, TABLE, Placement((1000.0, -500.0, 250.0)))


def swept(run: Run, section: Section) -> Any:
    """The same tube as a sweep of the annulus along the wire: what a script writer would do."""
    import cadquery as cq

    edges = []
    for part in run.centerline:
        if isinstance(part, Arc):
            middle = part.point(part.angle / 2.0)
            edges.append(cq.Edge.makeThreePointArc(cq.Vector(part.start), cq.Vector(middle), cq.Vector(part.end)))
        else:
            edges.append(cq.Edge.makeLine(cq.Vector(part.start), cq.Vector(part.end)))
    path = cq.Wire.assembleEdges(edges)
    at, along = cq.Vector(run.placement.start), cq.Vector(run.placement.direction)
    outer = cq.Wire.makeCircle(section.od / 2.0, at, along)
    inner = cq.Wire.makeCircle(section.bore_radius, at, along)
    return cq.Solid.sweep(outer, [inner], path)


def measure(times: int = 7) -> tuple[float, float]:
    """Least processor seconds of ours and of the sweep, run in turn after a warm-up; the volumes must agree.

    Raises:
        AssertionError: a solid is not valid, or the volumes differ by more than 1e-6 of them.
    """
    run = four_bends()
    made, theirs_made = tube_solid(run, SECTION), swept(run, SECTION)
    exact = SECTION.area * TABLE.developed_length
    assert is_valid(made) and theirs_made.isValid()
    assert abs(volume(made) / exact - 1.0) < 1e-9, "ours misses Pappus' volume"
    assert abs(theirs_made.Volume() / exact - 1.0) < 1e-6, "the sweep misses Pappus' volume"
    mine, theirs = in_turn(lambda: tube_solid(run, SECTION), lambda: swept(run, SECTION), times=times)
    return mine, theirs


def solid_ratio(times: int = 7) -> float:
    """How many times faster ours is built."""
    mine, theirs = measure(times)
    return theirs / mine


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    ours, sweep = measure(15)
    print(f"ours {ours * 1e3:.2f} ms, sweep {sweep * 1e3:.2f} ms, ratio {sweep / ours:.1f}")
