"""A cope at half-degree steps against the CAD kernel's boolean of the same pair.

Used by ``tests/benchmarks/benchmark.py``; alone: ``python tests/benchmarks/bench_cope.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path

from places import ROOT

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(ROOT))

#: Copes worked out in one measurement.
BATCH = 20


def measure(times: int = 7) -> tuple[float, float]:
    """Least processor seconds of our profile (outside, bore, extremes) and of the kernel's cut, in turn.

    38.1 x 2.4 on 44.45 at 60 degrees. The kernel cuts the same hollow end by the mate's cylinder; making
    the two bodies is not counted.

    Raises:
        AssertionError: the two lines differ by more than 1e-6 mm.
    """
    import numpy as np
    from copes import edge_points, kernel_cylinder, lengths_of, pair
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from turns import in_turn

    from converter.joints.cuts.saddle import profile

    cut = pair(19.05, 22.225, 60.0, wall=2.4)
    b = cut.branch
    start = np.asarray(b.point) - 150.0 * np.asarray(b.direction)
    # the end stops at the mate's far side less a little: only the near side is cut
    body = BRepAlgoAPI_Cut(
        kernel_cylinder(start, b.direction, 19.05, 150.0), kernel_cylinder(start, b.direction, 16.65, 150.0)
    ).Shape()
    mate = kernel_cylinder((-100.0, 0.0, 0.0), (1.0, 0.0, 0.0), 22.225, 200.0)

    def ours() -> object:
        # many at once, as a frame has them: one alone is over before the clock and the caches settle
        return [profile(cut, 0.5) for _ in range(BATCH)]

    def kernels() -> object:
        return BRepAlgoAPI_Cut(body, mate).Shape()

    phi, t = lengths_of(cut, edge_points(kernels(), cut))
    near = np.abs(t - cut.outside(phi)) < 0.25
    assert near.any() and np.abs(t - cut.outside(phi))[near].max() < 1e-6
    mine, theirs = in_turn(ours, kernels, times=times)
    return mine / BATCH, theirs


def cope_ratio(times: int = 7) -> float:
    """How many times faster our cope is."""
    mine, theirs = measure(times)
    return theirs / mine


if __name__ == "__main__":
    ours_s, kernel_s = measure(15)
    print(f"ours {ours_s * 1e3:.3f} ms, kernel {kernel_s * 1e3:.1f} ms, ratio {kernel_s / ours_s:.0f}")
