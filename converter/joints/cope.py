"""A whole frame's joints in one call: found, hole saws set up, lengths worked out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from converter.findings import Finding
from converter.joints.finding.joints import survey_frame
from converter.joints.hole_saw import with_hole_saws
from converter.joints.holes.hole import Hole, find_holes
from converter.joints.in_the_way.clashes import clash_findings, find_clashes
from converter.joints.model import Joint, cut_length, length_changes
from converter.joints.sides import saw_sides
from converter.model.run import Tube
from converter.shop.job_file import JobFile
from converter.shop.model import Shop
from converter.tolerances import DEFAULT, Tolerances


@dataclass(frozen=True, slots=True)
class TubeLength:
    """How long a tube is cut: developed length, what each end adds (negative: takes off), and the stick, mm.

    ``short`` and ``apart`` are of a straight tube that a saw cuts at a slant: see `converter.joints.sides.saw_sides`.
    """

    name: str
    developed: float
    change_a: float
    change_b: float
    cut: float
    short: float | None = None
    apart: float | None = None


@dataclass(frozen=True, slots=True)
class Copes:
    """The joints of a frame.

    Attributes:
        joints: in the order of the tubes, end A before end B, with their hole-saw set-up.
        lengths: of every tube, jointed or not.
        findings: everything told of how ends are cut.
        in_the_way: tubes that cross, overlap or all but touch.
        holes: that tubes need where others pass through them.
    """

    joints: tuple[Joint, ...]
    lengths: tuple[TubeLength, ...]
    findings: tuple[Finding, ...]
    in_the_way: tuple[Finding, ...] = ()
    holes: tuple[Hole, ...] = ()


def cope_frame(
    tubes: Sequence[Tube],
    shop: Shop,
    job: JobFile | None = None,
    tol: Tolerances = DEFAULT,
    gap: float = 0.0,
) -> Copes:
    """Find the joints, set up the hole saws, work out the lengths.

    Args:
        tubes: the frame.
        shop: whose hole saws are used.
        job: its ``[[joint]]`` tables overrule the usual rules.
        tol, gap: see `converter.joints.finding.joints.survey_frame`.
    """
    frame_survey = survey_frame(tubes, job, tol, gap)
    clashes = find_clashes(frame_survey, tol.at_limits())
    in_the_way = [*frame_survey.crossing_findings, *clash_findings(clashes, frame_survey.frame)]
    developed = {tube.name: tube.run.table.developed_length for tube in tubes}
    joints, more = with_hole_saws(frame_survey.joints, shop, developed)
    changes = length_changes(joints)
    of_tube: dict[str, list[Joint]] = {}
    for joint in joints:
        of_tube.setdefault(joint.tube, []).append(joint)
    lengths = tuple(
        TubeLength(
            tube.name,
            developed[tube.name],
            changes.get((tube.name, "A"), 0.0),
            changes.get((tube.name, "B"), 0.0),
            cut_length(tube, changes),
            *saw_sides(tube, of_tube.get(tube.name, ())),
        )
        for tube in tubes
    )
    return Copes(
        tuple(joints), lengths, (*frame_survey.findings, *more), tuple(in_the_way), tuple(find_holes(frame_survey))
    )
