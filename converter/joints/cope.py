"""A whole frame's joints in one call: found, hole saws set up, lengths worked out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from converter.findings import Finding
from converter.joints.clash import clashes_said, find_clashes
from converter.joints.find import survey
from converter.joints.hole import Hole, find_holes
from converter.joints.hole_saw import with_hole_saws
from converter.joints.lengths import cut_length, length_changes
from converter.joints.model import Joint
from converter.model.run import Tube
from converter.shop.job import Job
from converter.shop.model import Shop
from converter.tolerances import DEFAULT, Tolerances
from converter.units import Display


@dataclass(frozen=True, slots=True)
class TubeLength:
    """How long a tube is cut: developed length, what each end adds (negative: takes off), and the stick, mm."""

    name: str
    developed: float
    change_a: float
    change_b: float
    cut: float


@dataclass(frozen=True, slots=True)
class Copes:
    """The joints of a frame.

    Attributes:
        joints: in the order of the tubes, end A before end B, with their hole-saw set-up.
        lengths: of every tube, jointed or not.
        findings: everything said of the joints.
        holes: that tubes need where others pass through them.
    """

    joints: tuple[Joint, ...]
    lengths: tuple[TubeLength, ...]
    findings: tuple[Finding, ...]
    holes: tuple[Hole, ...] = ()


def cope_frame(
    tubes: Sequence[Tube],
    shop: Shop,
    job: Job | None = None,
    tol: Tolerances = DEFAULT,
    display: Display | None = None,
    gap: float = 0.0,
) -> Copes:
    """Find the joints, set up the hole saws, work out the lengths.

    Args:
        tubes: the frame.
        shop: whose hole saws are used.
        job: its ``[[joint]]`` tables overrule the usual rules.
        tol, display, gap: see `converter.joints.find.survey`.
    """
    display = display or Display()
    found = survey(tubes, job, tol, display, gap)
    said = [*found.findings, *clashes_said(find_clashes(found, tol), found.frame, display)]
    developed = {tube.name: tube.run.table.developed_length for tube in tubes}
    joints, more = with_hole_saws(found.joints, shop, display, developed)
    changes = length_changes(joints)
    lengths = tuple(
        TubeLength(
            tube.name,
            developed[tube.name],
            changes.get((tube.name, "A"), 0.0),
            changes.get((tube.name, "B"), 0.0),
            cut_length(tube, changes),
        )
        for tube in tubes
    )
    return Copes(tuple(joints), lengths, (*said, *more), tuple(find_holes(found)))
