"""What is told of a tube read from a mesh: how well it fits, what the mesh does not know, what is odd."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from converter.findings import Clause, Finding
from converter.geometry.circles import fit_circle
from converter.geometry.helix import coil_through
from converter.importers.mesh.load import LoadedMeshes
from converter.importers.mesh.measured import Measured
from converter.model.centerline import rebuild
from converter.model.curve import Arc
from converter.tolerances import DEFAULT, same_within

EXACT = 1e-3  #: mm; a standard deviation below this is rounding, not noise
COARSE = 2e-3  #: mm between neighbouring single-precision numbers above which it is told
OFF = 5e-5  #: of the radius: a vertex further off than this, and than its scatter explains, is told
COIL_BENDS, NO_STRAIGHT = 3, 0.1  #: bends of a coil at least; of the radius, straight between them at most
ARC_STEPS = 12  #: points on each of them
LOOSE_ANGLE = 0.5  #: degrees of uncertainty of an angle that are told
_ANY_TURN = 180.0  #: degrees of uncertainty from which a rotation is not known at all
LOOSE_ROTATION = 1.0  #: degrees of uncertainty of a rotation that are told
LOOSE_STRAIGHT = 2.0  #: mm of uncertainty of a straight between bends that are told
ODD = 0.01  #: of the diameter: ovality or taper that is told


def tube_findings(name: str, tube: Measured) -> list[Finding]:
    """The findings on one tube.

    Args:
        name: what the sentences call it.
        tube: as measured.
    """
    od, deviation, sigma = 2.0 * float(tube.radius), float(tube.deviation), float(tube.sigma)
    fitted = {"deviation": deviation, "vertices": int(tube.vertices), "sigma": sigma, "loose": float(tube.od_loose)}
    findings = [
        Finding(
            "mesh-fitted",
            variant="scattered" if sigma > EXACT else "",
            tube=name,
            measured=deviation,
            unit="mm",
            values=fitted,
        )
    ]
    if tube.bore is None:
        skin: dict[str, object] = {"od": od}
        if tube.sizes is not None:
            skin = {"sizes": (float(tube.sizes.width), float(tube.sizes.height))}
        variant = "" if tube.sizes is None else "flat"
        findings.append(Finding("mesh-skin", variant=variant, tube=name, measured=od, unit="mm", values=skin))
    limit = max(8.0 * sigma, OFF * od / 2.0)
    if deviation > same_within(limit):
        findings.append(
            Finding(
                "rebuild-deviation",
                variant="mesh",
                tube=name,
                measured=deviation,
                limit=limit,
                unit="mm",
                values={"deviation": deviation},
            )
        )
    coil = _coil_finding(name, tube)
    if not tube.searched and coil is None:
        values = {"sigma": sigma, "bends": len(tube.table.bends)}
        findings.append(Finding("mesh-search-ended", tube=name, measured=sigma, unit="mm", values=values))
    findings += [coil] if coil is not None else _doubt_findings(name, tube)
    findings += [replace(remark, tube=name) for remark in tube.remarks]
    certain = max(ODD * od, 0.05, 3.0 * sigma)
    for variant, value in (("oval", float(tube.oval)), ("tapered", abs(float(tube.taper)))):
        if value > same_within(certain):
            findings.append(
                Finding(
                    "mesh-not-round",
                    variant=variant,
                    tube=name,
                    measured=value,
                    limit=certain,
                    unit="mm",
                    values={"by": value, "od": od},
                )
            )
    return findings


def _coil_finding(name: str, tube: Measured) -> Finding | None:
    """That a tube of bends without straights between is a coil, which no row of bends is; else None."""
    bends = tube.table.bends
    between = [bend.feed for bend in bends[1:]] + [0.0]
    if len(bends) < COIL_BENDS or max(between) > NO_STRAIGHT * tube.radius or tube.sizes is not None:
        return None
    arcs = [segment for segment in rebuild(tube.table, tube.placement) if isinstance(segment, Arc)]
    points = np.array([arc.point(arc.angle * k / ARC_STEPS) for arc in arcs for k in range(ARC_STEPS)] + [arcs[-1].end])
    helix, circle = coil_through(points, max(DEFAULT.fit, 3.0 * tube.sigma)), fit_circle(points)
    if helix is None or circle is None or circle.residual <= max(DEFAULT.fit, 10.0 * tube.sigma):
        return None  # or a single bend would do
    coil = Clause.of("coil", turns=helix.turns, radius=helix.radius, rise=helix.rise)
    values = {"other_bend": len(bends), "away": circle.residual, "limit": DEFAULT.fit, "coil": coil}
    return Finding(
        "not-line-arc", tube=name, bend=1, measured=circle.residual, limit=DEFAULT.fit, unit="mm", values=values
    )


def _doubt_findings(name: str, tube: Measured) -> list[Finding]:
    """What is not sure about the table."""
    findings = []
    doubt = tube.doubt
    if doubt.misfit.clear:
        beside, noise = float(doubt.misfit.beside), float(doubt.misfit.noise)
        values = {"beside": beside, "noise": noise}
        findings.append(Finding("mesh-misfit", tube=name, measured=beside, unit="mm", values=values))
    findings += [
        Finding(
            "kink",
            variant="mesh",
            tube=name,
            bend=k + 1,
            measured=bend.angle,
            unit="deg",
            values={"angle": float(bend.angle)},
        )
        for k, bend in enumerate(tube.table.bends)
        if bend.clr is None
    ]
    if doubt.others:
        bends = len(tube.table.bends)
        findings.append(
            Finding(
                "mesh-ambiguous",
                tube=name,
                measured=float(bends),
                values={"others": tuple(int(n) for n in doubt.others), "bends": bends},
            )
        )
    if len(doubt.angles) == len(tube.table.bends) and doubt.angles:
        turn, k = max((a, k) for k, a in enumerate(doubt.angles))
        length, j = max((s, j) for j, s in enumerate(doubt.straights))
        roll, i = max((r, i) for i, r in enumerate(doubt.rotations))
        told = zip((turn, length, roll), (LOOSE_ANGLE, LOOSE_STRAIGHT, LOOSE_ROTATION), strict=True)
        if any(loose > same_within(least) for loose, least in told):
            findings.append(
                Finding(
                    "mesh-uncertain",
                    tube=name,
                    bend=k + 1,
                    measured=turn,
                    limit=LOOSE_ANGLE,
                    unit="deg",
                    values={
                        "angle": float(turn),
                        "rotation": Clause.of("mesh-open-by", angle=float(roll))
                        if roll < _ANY_TURN
                        else Clause.of("mesh-open-altogether"),
                        "rotated": i + 1,
                        "straight": float(length),
                        "before": j + 1,
                    },
                )
            )
    return findings


def coarse_numbers_finding(largest: float, loaded: LoadedMeshes) -> Finding | None:
    """A finding where single precision is too coarse so far from the origin, else None; ``largest``: coordinate, mm."""
    if not loaded.single:
        return None
    step = float(np.spacing(np.float32(largest)))
    if step <= COARSE:
        return None
    return Finding(
        "mesh-precision",
        measured=step,
        limit=COARSE,
        unit="mm",
        values={"away": largest, "step": step},
    )
