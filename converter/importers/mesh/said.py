"""What is said about a tube read from a mesh: how well it fits, what the mesh does not know, what is odd."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from converter.findings import Finding
from converter.importers.mesh.load import Loaded
from converter.importers.mesh.tube import Measured
from converter.units import Display, fine_length, small_length

EXACT = 1e-3  #: mm; a standard deviation below this is rounding, not noise
COARSE = 2e-3  #: mm between neighbouring single-precision numbers above which it is said
OFF = 5e-5  #: of the radius: a vertex further off than this, and than its scatter explains, is said
LOOSE_ANGLE = 0.5  #: degrees of uncertainty of an angle that are said
LOOSE_ROTATION = 1.0  #: degrees of uncertainty of a rotation that are said
LOOSE_STRAIGHT = 2.0  #: mm of uncertainty of a straight between bends that are said
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
    limit = max(8.0 * tube.sigma, OFF * tube.radius)
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
    found += _doubts(name, tube, display)
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


def _doubts(name: str, tube: Measured, display: Display) -> list[Finding]:
    """What is not sure about the table."""
    found = []
    doubt = tube.doubt
    if doubt.misfit.clear:
        found.append(
            Finding(
                "mesh-misfit",
                f"{name}: in places the centerline of the table lies {_fine(doubt.misfit.beside, display)} beside that "
                f"of the surface, more than its scatter explains ({_fine(doubt.misfit.noise, display)}).",
                tube=name,
                measured=doubt.misfit.beside,
                unit="mm",
                cure="Check the table's bends against the part: the surface is no row of straights and bends there, "
                "or a bend is missing or in two.",
            )
        )
    found += [
        Finding(
            "kink",
            f"{name}: the surface has a corner of {display.angle(bend.angle)} at bend {k + 1}, which no bend makes.",
            tube=name,
            bend=k + 1,
            measured=bend.angle,
            unit="deg",
            cure="Give it a radius: with the radius option, a die, or in the mesh.",
        )
        for k, bend in enumerate(tube.table.bends)
        if bend.clr is None
    ]
    if doubt.others:
        counts = " or ".join(str(n) for n in doubt.others)
        found.append(
            Finding(
                "mesh-ambiguous",
                f"{name}: the surface is fitted as well by {counts} bends as by the table's {len(tube.table.bends)}.",
                tube=name,
                measured=float(len(tube.table.bends)),
                cure="Check the number of bends against the part; a finer or less noisy mesh tells more.",
            )
        )
    if len(doubt.angles) == len(tube.table.bends) and doubt.angles:
        turn, k = max((a, k) for k, a in enumerate(doubt.angles))
        length, j = max((s, j) for j, s in enumerate(doubt.straights))
        roll, i = max((r, i) for i, r in enumerate(doubt.rotations))
        if turn > LOOSE_ANGLE or length > LOOSE_STRAIGHT or roll > LOOSE_ROTATION:
            found.append(
                Finding(
                    "mesh-uncertain",
                    f"{name}: the surface leaves the angle of bend {k + 1} open by {display.angle(turn)}, the "
                    f"rotation before bend {i + 1} by {display.angle(roll)} and the straight before bend {j + 1} by "
                    f"{display.length(length)}.",
                    tube=name,
                    bend=k + 1,
                    measured=turn,
                    limit=LOOSE_ANGLE,
                    unit="deg",
                    cure="A finer or less noisy mesh tells more; where straight and bend meet hardly shows in scatter.",
                )
            )
    return found


def too_coarse_numbers(points: NDArray[np.float64], loaded: Loaded, display: Display) -> Finding | None:
    """A finding where single precision is too coarse so far from the origin, else None."""
    if not loaded.single:
        return None
    largest = float(np.abs(points).max())
    step = float(np.spacing(np.float32(largest)))
    if step <= COARSE:
        return None
    return Finding(
        "mesh-precision",
        f"The mesh lies {small_length(largest, display)} from the origin, where its single-precision numbers are "
        f"{small_length(step, display)} apart: nothing in it is known better than that.",
        measured=step,
        limit=COARSE,
        unit="mm",
        cure="Move the tubes near the origin before exporting.",
    )


def _fine(mm: float, display: Display) -> str:
    return fine_length(mm, display)
