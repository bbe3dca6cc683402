"""A whole frame's joints in one call: found, hole saws set up, lengths worked out, and the sides that a saw leaves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from converter.findings import Finding
from converter.geometry.vectors import signed_angle, within_half_turn
from converter.joints.finding.joints import survey_frame
from converter.joints.hole_saw import with_hole_saws
from converter.joints.holes import Hole, find_holes
from converter.joints.in_the_way.clashes import clash_findings, find_clashes
from converter.joints.model import Joint, cut_length, length_changes
from converter.model.run import Tube
from converter.shop.job_file import JobFile
from converter.shop.model import Shop
from converter.tolerances import DEFAULT, PAST_LENGTH, Tolerances

#: Degrees; long points no further apart lie on one side of a tube.
_ONE_SIDE = 0.5


@dataclass(frozen=True, slots=True)
class TubeLength:
    """How long a tube is cut: developed length, what each end adds (negative: takes off), and the stick, mm.

    ``short`` and ``apart`` are of a straight tube that a saw cuts at a slant: see `saw_sides`.
    """

    name: str
    developed: float
    change_a: float
    change_b: float
    cut: float
    short: float | None = None
    apart: float | None = None

    @property
    def has_opposite_sides(self) -> bool:
        """Whether its long points lie on opposite sides."""
        return self.apart is not None and abs(self.apart) > 180.0 - _ONE_SIDE

    @property
    def is_nothing(self) -> bool:
        """Whether the cuts leave nothing of the tube."""
        return self.cut <= PAST_LENGTH


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


def saw_sides(tube: Tube, joints: Iterable[Joint]) -> tuple[float | None, float | None]:
    """(length from short point to short point, angle from the long point of end A to that of end B) of a straight tube.

    Args:
        tube: the tube.
        joints: of its ends; an end without one is square at the centerline's end.

    Returns:
        The length in mm, None unless a side of the tube has both short points on it; the angle in degrees,
        right-hand positive about the way from end A to end B, in (-180, 180], None unless both ends are slanted.
        Both None for a bent tube, and where an end is no saw cut.
    """
    ends = {joint.end: joint for joint in joints}
    if tube.run.table.bends or any(joint.plane is None for joint in ends.values()):
        return None, None
    slanted = [joint for end in "AB" if (joint := ends.get(end)) is not None and joint.long_side is not None]
    if not slanted:
        return None, None
    apart = None
    if len(slanted) == 2:
        one, other = slanted[0].long_side, slanted[1].long_side
        assert one is not None and other is not None
        apart = within_half_turn(signed_angle(one, other, slanted[1].direction))
        if abs(apart) > _ONE_SIDE:
            return None, apart
    return tube.run.table.developed_length - sum(joint.short_point for joint in ends.values()), apart
