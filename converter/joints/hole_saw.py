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

from converter.findings import Finding
from converter.geometry.vectors import cross, dot, norm, scale
from converter.joints.lines import Array
from converter.joints.model import SADDLE, Joint, SawSetting
from converter.joints.plan import point_text
from converter.joints.saddle import Cut, RoundPrism, angles, extremes
from converter.shop.model import HoleSaw, Shop
from converter.units import Display

#: mm; a saw this much off the mate's diameter is no longer the next size: sizes step by 1/16 in.
SIZE = 1.6
#: Degrees between the axes below which a notcher cannot hold the tube.
LEAST_ANGLE = 30.0
#: Degrees by which a drawing's rounding may miss an angle.
_SAME_ANGLE = 1e-3


def with_hole_saws(
    joints: Sequence[Joint], shop: Shop, display: Display | None = None, developed: dict[str, float] | None = None
) -> tuple[list[Joint], list[Finding]]:
    """The joints with their hole-saw set-up where a hole saw makes the cut, and what is to be said.

    Args:
        joints: of `converter.joints.find.find_joints`.
        shop: whose saws there are; with none listed the wanted size is told.
        display: how lengths are written in sentences.
        developed: developed length of each tube, for centre-to-centre settings; left out without.
    """
    display = display or Display()
    said: list[Finding] = []
    done: list[Joint] = []
    listed = bool(shop.hole_saws)
    centers = {(joint.tube, joint.end): joint.ahead for joint in joints if _by_saw(joint)}
    for joint in joints:
        if not _by_saw(joint):
            done.append(joint)
            if joint.kind == SADDLE:
                said.append(_not(joint, display))
            continue
        setting = saw_setting(joint, shop.hole_saws)
        other = centers.get((joint.tube, "B" if joint.end == "A" else "A"))
        if other is not None and developed is not None and joint.tube in developed:
            setting = replace(setting, center_to_center=developed[joint.tube] + joint.ahead + other)
        done.append(replace(joint, hole_saw=setting))
        said += _checked(joint, setting, listed, display)
    if not listed and centers:
        said.append(
            Finding(
                "hole-saw-none",
                f"{shop.name!r} lists no hole saws, so for {len(centers)} "
                f"{'cut' if len(centers) == 1 else 'cuts'} the mate's own diameter is told.",
                cure="List the saws you own as [[hole_saw]] in the shop file.",
            )
        )
    return done, said


def _by_saw(joint: Joint) -> bool:
    """Whether one cylinder makes the cut: one round straight mate."""
    section = joint.mate_section
    return (
        joint.kind == SADDLE
        and len(joint.base.mates) == 1
        and joint.mate_straight
        and section is not None
        and section.is_round
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
        enough = [saw for saw in alike if saw.depth is not None and saw.depth >= depth]
        chosen = min(enough, key=lambda s: s.depth or 0.0) if enough else max(alike, key=lambda s: s.depth or 0.0)
        size, saw_depth, owned = chosen.size, chosen.depth, True
    cuts = 1
    if saw_depth is not None and saw_depth < depth:
        # from both sides each cut goes half way
        cuts = 2 if 2.0 * saw_depth >= depth else 0
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
    if joint.section.is_round and joint.offset < 1e-9:
        r, a = joint.section.od / 2.0, radians(joint.angle)
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


def _place(joint: Joint, display: Display) -> str:
    return f"{joint.tube} end {joint.end} at {point_text(joint.node, display)}"


def _not(joint: Joint, display: Display) -> Finding:
    if len(joint.base.mates) > 1:
        why = f"it is cut to {len(joint.base.mates)} tubes"
    elif joint.mate_section is not None and not joint.mate_section.is_round:
        why = f"{joint.mates[0]} is not round"
    else:
        why = f"it lands on a bend of {joint.mates[0]}"
    return Finding(
        "hole-saw-not",
        f"{_place(joint, display)}: no single hole saw makes this cut, since {why}; use the template.",
        tube=joint.tube,
        at=joint.node,
    )


def _checked(joint: Joint, setting: SawSetting, listed: bool, display: Display) -> list[Finding]:
    said: list[Finding] = []
    assert joint.mate_section is not None
    wanted = joint.mate_section.od

    def say(code: str, text: str, measured: float, limit: float, unit: str, cure: str) -> None:
        said.append(
            Finding(
                code, f"{_place(joint, display)}: {text}.", tube=joint.tube, at=joint.node,
                measured=measured, limit=limit, unit=unit, cure=cure,
            )
        )  # fmt: skip

    if listed and abs(setting.size - wanted) > SIZE:
        say(
            "hole-saw-size",
            f"the nearest hole saw, {display.length(setting.size)}, is {display.length(abs(setting.size - wanted))} "
            f"off the {display.length(wanted)} of {joint.mates[0]}",
            setting.size, wanted, "mm", "Get the size, or cut by the template.",
        )  # fmt: skip
    if setting.saw_depth is not None and setting.cuts != 1:
        how = "it takes two cuts, one from each side" if setting.cuts == 2 else "not even two cuts go through"
        say(
            "hole-saw-depth",
            f"the cut needs {display.length(setting.depth)} of depth and the saw has "
            f"{display.length(setting.saw_depth)}: {how}",
            setting.depth, setting.saw_depth, "mm", "Use a deeper saw, or cut by the template.",
        )  # fmt: skip
    if joint.angle < LEAST_ANGLE - _SAME_ANGLE:
        say(
            "hole-saw-angle",
            f"at {display.angle(joint.angle)} between the axes the tube lies too flat for a hole saw in a notcher "
            f"(about {LEAST_ANGLE:g}° is the least)",
            joint.angle, LEAST_ANGLE, "deg", "Cut by the template.",
        )  # fmt: skip
    return said
