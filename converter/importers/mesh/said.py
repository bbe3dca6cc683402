"""What is said about a tube read from a mesh: how well it fits, what the mesh does not know, what is odd."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from converter.findings import Finding
from converter.importers.mesh.load import Loaded
from converter.importers.mesh.tube import Measured
from converter.units import Display

EXACT = 1e-3  #: mm; a standard deviation below this is rounding, not noise
COARSE = 2e-3  #: mm between neighbouring single-precision numbers above which it is said
ODD = 0.01  #: of the diameter: ovality or taper that is said


def said_of(name: str, tube: Measured, display: Display) -> list[Finding]:
    """The findings on one tube.

    Args:
        name: what the sentences call it.
        tube: as measured.
        display: how lengths are written.
    """
    od = 2.0 * tube.radius
    noisy = tube.sigma > EXACT
    found = [
        Finding(
            "mesh-fitted",
            f"{name}: the tube made from the table stays within {_fine(tube.deviation, display)} of all "
            f"{tube.vertices} vertices of its surface"
            + (
                f", which scatter by {_fine(tube.sigma, display)} (standard deviation); "
                f"its outside diameter is known to {_fine(tube.od_loose, display)}."
                if noisy
                else "."
            ),
            tube=name,
            measured=tube.deviation,
            unit="mm",
        )
    ]
    if tube.bore is None:
        found.append(
            Finding(
                "mesh-skin",
                f"{name}: the mesh has only the outside, of {display.length(od)}; without a bore the wall is not known "
                "and a solid bar is assumed.",
                tube=name,
                measured=od,
                unit="mm",
                cure="Name the section: as an option or in a job file.",
            )
        )
    limit = max(8.0 * tube.sigma, 0.05)
    if tube.deviation > limit:
        found.append(
            Finding(
                "rebuild-deviation",
                f"{name}: a vertex of the mesh lies {_fine(tube.deviation, display)} off the tube made from the table.",
                tube=name,
                measured=tube.deviation,
                limit=limit,
                unit="mm",
                cure="Look there for a dent, a swage or a part that touches the tube.",
            )
        )
    certain = max(ODD * od, 0.05, 3.0 * tube.sigma)
    for value, what in ((tube.oval, "oval by"), (abs(tube.taper), "tapered by")):
        if value > certain:
            found.append(
                Finding(
                    "mesh-not-round",
                    f"{name}: the surface is {what} {_fine(value, display)} in diameter; "
                    f"{display.length(od)} is the mean.",
                    tube=name,
                    measured=value,
                    limit=certain,
                    unit="mm",
                )
            )
    return found


def too_coarse_numbers(points: NDArray[np.float64], loaded: Loaded) -> Finding | None:
    """A finding where single precision is too coarse so far from the origin, else None."""
    if not loaded.single:
        return None
    largest = float(np.abs(points).max())
    step = float(np.spacing(np.float32(largest)))
    if step <= COARSE:
        return None
    return Finding(
        "mesh-precision",
        f"The mesh lies {largest:.4g} mm from the origin, where its single-precision numbers are {step:.2g} mm apart: "
        "nothing in it is known better than that.",
        measured=step,
        limit=COARSE,
        unit="mm",
        cure="Move the tubes near the origin before exporting.",
    )


def _fine(mm: float, display: Display) -> str:
    return f"{mm:.4f} mm" if display.unit == "mm" else f"{mm / 25.4:.5f} in"
