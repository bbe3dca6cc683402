"""A whole frame's joints in one call: found, hole saws set up, lengths worked out, and the sides that a saw leaves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from converter.findings import Finding
from converter.geometry.vectors import signed_angle, within_half_turn
from converter.joints.finding.joints import survey_frame
from converter.joints.hole_saw import with_hole_saws
from converter.joints.holes import Hole, find_holes
from converter.joints.in_the_way.clashes import clash_findings, find_clashes
from converter.joints.model import Joint
from converter.model.end_cuts import EndCuts
from converter.model.run import Tube
from converter.shop.job_file import JobFile
from converter.shop.model import Shop
from converter.tolerances import DEFAULT, PAST_LENGTH, Tolerances


@dataclass(frozen=True, slots=True)
class TubeLength:
    """How long a tube is cut, mm.

    Attributes:
        name: of the tube.
        developed: its developed length.
        cuts: of its ends.
        short: from short point to short point of a straight tube that a saw cuts at a slant, on the side that has both;
            else None.
    """

    name: str
    developed: float
    cuts: EndCuts
    short: float | None = None

    @property
    def cut(self) -> float:
        """From longest point to longest point of metal."""
        return self.cuts.along(self.developed)

    @property
    def is_nothing(self) -> bool:
        """Whether the cuts leave nothing of the tube."""
        return self.cut <= PAST_LENGTH


@dataclass(frozen=True)
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

    @cached_property
    def cuts(self) -> dict[str, EndCuts]:
        """What the ends of every tube are cut to, by its name."""
        return {one.name: one.cuts for one in self.lengths}


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
    of_tube: dict[str, list[Joint]] = {}
    for joint in joints:
        of_tube.setdefault(joint.tube, []).append(joint)
    lengths = tuple(tube_length(tube, of_tube.get(tube.name, ())) for tube in tubes)
    return Copes(
        tuple(joints), lengths, (*frame_survey.findings, *more), tuple(in_the_way), tuple(find_holes(frame_survey))
    )


def tube_length(tube: Tube, joints: Iterable[Joint] = ()) -> TubeLength:
    """What the ends of a tube are cut to, and how long that makes it.

    Args:
        tube: the tube.
        joints: of its ends; an end without one is square at the centerline's end.
    """
    ends = {joint.end: joint for joint in joints}
    a, b = (ends[end].end_cut if end in ends else None for end in "AB")
    one, developed = EndCuts(a, b), tube.run.table.developed_length
    sides = {end: joint.long_side for end, joint in sorted(ends.items()) if joint.long_side is not None}
    if tube.run.table.bends or not sides or any(joint.plane is None for joint in ends.values()):
        return TubeLength(tube.name, developed, one)
    if len(sides) == 2:
        one = replace(one, apart=within_half_turn(signed_angle(sides["A"], sides["B"], ends["B"].direction)))
    short = None
    if len(sides) == 1 or one.on_one_side:
        short = developed - sum(joint.short_point for joint in ends.values())
    return TubeLength(tube.name, developed, one, short)
