"""Setting a hole saw up for a cope: which saw, at what angle and offset, and how deep it must go.

A saw of the mate's diameter, its axis laid on the mate's, cuts the tube's outside and its bore
at once. Along its axis the cut curve reaches x = [sqrt(R^2 - (e + r sin phi)^2) cos theta - r cos phi]
/ sin theta from the common perpendicular; the difference between its greatest and its least is how
far the teeth travel in metal: 2 r / sin theta where the axes meet, whatever the saw. A tube that
still runs on past the saw is cut on its far side too. Both are elementary and checked by brute
force in the tests. Ordinary saws are about 1-1/2 in deep, deep ones about 4 in, and notchers
turn to about 60 degrees from square: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from math import cos, radians, sin

import numpy as np

from converter.arrays import Array
from converter.findings import Finding
from converter.geometry.vectors import cross, dot, norm, scale
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import Cut, angles, extremes
from converter.joints.model import SADDLE, Joint, SawSetting
from converter.shop.model import HoleSaw, Shop
from converter.tolerances import PAST_ANGLE, PAST_LENGTH

#: mm; a saw this much off the mate's diameter is no longer the next size: sizes step by 1/16 in.
SIZE = 1.6
#: Degrees between the axes below which a notcher cannot hold the tube.
LEAST_ANGLE = 30.0


def with_hole_saws(
    joints: Sequence[Joint], shop: Shop, developed: dict[str, float] | None = None
) -> tuple[list[Joint], list[Finding]]:
    """The joints with their hole-saw set-up where a hole saw makes the cut, and what is to be said.

    Args:
        joints: of `converter.joints.finding.joints.survey_frame`.
        shop: whose saws there are; with none listed the wanted size is told.
        developed: developed length of each tube, for centre-to-centre settings; left out without.
    """
    findings: list[Finding] = []
    done: list[Joint] = []
    listed = bool(shop.hole_saws)
    centers = {(joint.tube, joint.end): joint.ahead for joint in joints if _by_saw(joint)}
    for joint in joints:
        if not _by_saw(joint):
            done.append(joint)
            if joint.kind == SADDLE and not joint.saw_cuts:
                findings.append(_no_saw_finding(joint))
            continue
        setting = saw_setting(joint, shop.hole_saws)
        other = centers.get((joint.tube, "B" if joint.end == "A" else "A"))
        if other is not None and developed is not None and joint.tube in developed:
            setting = replace(setting, center_to_center=developed[joint.tube] + joint.ahead + other)
        done.append(replace(joint, hole_saw=setting))
        findings += _setting_findings(joint, setting, listed)
    if not listed and centers:
        findings.append(Finding("hole-saw-none", values={"shop": shop.name, "cuts": len(centers)}))
    return done, findings


def _by_saw(joint: Joint) -> bool:
    """Whether one cylinder makes the cut: one round straight mate."""
    section = joint.mate_section
    return (
        joint.kind == SADDLE
        and len(joint.base.mates) == 1
        and joint.mate_straight
        and section is not None
        and section.cylinder is not None
    )


def saw_setting(joint: Joint, saws: Sequence[HoleSaw]) -> SawSetting:
    """The set-up for a cope onto one straight round mate.

    Args:
        joint: such a joint.
        saws: those there are; none for the mate's own diameter.
    """
    assert joint.mate_section is not None
    wanted = joint.mate_section.od
    depth, through = saw_depths(joint, wanted)
    size, saw_depth, owned = wanted, None, False
    if saws:
        nearest = min(abs(saw.size - wanted) for saw in saws)
        alike = [saw for saw in saws if abs(saw.size - wanted) <= nearest + 1e-9]
        enough = [saw for saw in alike if saw.depth is not None and depth <= saw.depth + PAST_LENGTH]
        chosen = min(enough, key=lambda s: s.depth or 0.0) if enough else max(alike, key=lambda s: s.depth or 0.0)
        size, saw_depth, owned = chosen.size, chosen.depth, True
    cuts = 1
    if saw_depth is not None and depth > saw_depth + PAST_LENGTH:
        # from both sides each cut goes half way
        cuts = 2 if depth <= 2.0 * saw_depth + PAST_LENGTH else 0
    return SawSetting(
        size=size,
        depth=depth,
        angle=joint.angle,
        offset=joint.offset,
        from_square=90.0 - joint.angle,
        center=-joint.ahead,
        center_to_center=None,
        depth_through=through,
        saw_depth=saw_depth,
        cuts=cuts,
        owned=owned,
    )


def saw_depths(joint: Joint, size: float) -> tuple[float, float]:
    """Least depths of cut, mm: of the end alone, and with the tube running on past the saw.

    Args:
        joint: a cope onto one straight round mate.
        size: the saw's diameter, mm.
    """
    r = joint.section.cylinder
    if r is not None and joint.offset < 1e-9:
        a = radians(joint.angle)
        if 2.0 * r <= size:
            return 2.0 * r / sin(a), (size * cos(a) + 2.0 * r) / sin(a)
    branch, axis = joint.base.branch, joint.mate_axis
    k = cross(axis, branch.direction)
    k = scale(k, 1.0 / norm(k))
    lean = dot(branch.direction, axis)
    # with the zero line in the plane of both axes the extremes lie on the sampled angles, or near them
    cut = Cut(replace(branch, zero=cross(branch.direction, k)), ((RoundPrism(joint.mate_point, axis, size / 2.0),),))
    phi = angles()

    def travel(at: Array, far: bool) -> Array:
        """Along the saw's axis to the cut on the near side of the saw, or on its far side.

        Only the outside of the tube counts: the travel grows steadily across the tube.
        """
        lines = cut.branch.lines(at)
        back = cut.reach(lines)[0]
        if far:
            off = lines.along(joint.mate_point, k)
            back = back - 2.0 * np.sqrt(np.maximum(size * size / 4.0 - off * off, 0.0)) / sin(radians(joint.angle))
        value: Array = lines.along(joint.mate_point, axis) - back * lean
        return value

    low, high = [], []
    for far in (False, True):
        curve = partial(travel, far=far)
        (_, least), (_, most) = extremes(curve, phi, curve(phi))
        low.append(least)
        high.append(most)
    return high[0] - low[0], max(high) - min(low)


def _finding(
    joint: Joint,
    code: str,
    variant: str = "",
    measured: float | None = None,
    limit: float | None = None,
    unit: str | None = None,
    **values: object,
) -> Finding:
    """A finding on the hole saw of a joint."""
    return Finding(
        code,
        tube=joint.tube,
        end=joint.end,
        at=joint.node,
        measured=measured,
        limit=limit,
        unit=unit,
        variant=variant,
        values={"place": joint.node, "mate": joint.mates[0], **values},
    )


def _no_saw_finding(joint: Joint) -> Finding:
    variant = "bend"
    if len(joint.base.mates) > 1:
        variant = "several"
    elif joint.mate_section is not None and joint.mate_section.cylinder is None:
        variant = "not round"
    return _finding(joint, "hole-saw-not", variant, mates=len(joint.base.mates))


def _setting_findings(joint: Joint, setting: SawSetting, listed: bool) -> list[Finding]:
    findings: list[Finding] = []
    assert joint.mate_section is not None
    wanted, size = joint.mate_section.od, setting.size
    depth, saw_depth, angle = setting.depth, setting.saw_depth, joint.angle
    if listed and abs(size - wanted) > SIZE + PAST_LENGTH:
        off = abs(size - wanted)
        findings.append(_finding(joint, "hole-saw-size", "", size, wanted, "mm", size=size, off=off, wanted=wanted))
    if saw_depth is not None and setting.cuts != 1:
        variant = "twice" if setting.cuts == 2 else "never"
        findings.append(
            _finding(joint, "hole-saw-depth", variant, depth, saw_depth, "mm", depth=depth, saw_depth=saw_depth)
        )
    if angle < LEAST_ANGLE - PAST_ANGLE:
        findings.append(
            _finding(joint, "hole-saw-angle", "", angle, LEAST_ANGLE, "deg", angle=angle, least=LEAST_ANGLE)
        )
    return findings
