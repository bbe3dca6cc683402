"""The JSON of joints: ``elbowroom/cope/1``, described in docs/cope-json.md.

Lengths in mm, angles in degrees, points in the drawing's coordinates, numbers in full precision.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from converter.exporters.data.table_json import finding_value, point_value, reading_value, with_parts
from converter.findings import Finding
from converter.joints.cope import TubeLength
from converter.joints.holes import Hole
from converter.joints.model import Joint, SawSetting
from converter.units import Display

if TYPE_CHECKING:
    from converter.job import Job

COPE_SCHEMA = "elbowroom/cope/1"


def job_cope(job: Job) -> dict[str, Any]:
    """The joints of the tubes shown of a job, with their parts."""
    shown = job.shown
    document = cope_document(job.source, shown.joints, shown.lengths, shown.joint_findings, shown.holes, job.display)
    return with_parts(document | reading_value(job), shown.parts)


def cope_document(
    source: str,
    joints: Iterable[Joint],
    lengths: Iterable[TubeLength] = (),
    findings: Iterable[Finding] = (),
    holes: Iterable[Hole] = (),
    display: Display | None = None,
) -> dict[str, Any]:
    """The joints as plain values, ready for `converter.exporters.data.table_json.dumps`.

    Args:
        source: the file as the user named it.
        joints: with their hole-saw set-up.
        lengths: of the tubes.
        findings: everything said.
        holes: where tubes pass through others.
        display: how sentences show lengths; mm for None.
    """
    return {
        "schema": COPE_SCHEMA,
        "source": source,
        "joints": [joint_value(joint, display) for joint in joints],
        "tubes": [
            {
                "name": one.name,
                "developed_length": one.developed,
                "change_a": one.cuts.change("A"),
                "change_b": one.cuts.change("B"),
                "cut_length": one.cut,
                "short_length": one.short,
                "long_points_apart": one.cuts.apart,
            }
            for one in lengths
        ],
        "holes": [hole_value(hole) for hole in holes],
        "findings": [finding_value(finding, display) for finding in findings],
    }


def joint_value(joint: Joint, display: Display | None = None) -> dict[str, Any]:
    """One joint: the keys other programs rely on first; ``display``: how its zero line shows lengths."""
    # adding 0.0 writes a negative zero as 0.0
    return {
        "node": point_value(joint.node),
        "tube": joint.tube,
        "end": joint.end,
        "kind": joint.kind,
        "mates": list(joint.mates),
        "angle": joint.angle,
        "offset": joint.offset,
        "zero": joint.zero_in(display),
        "zero_direction": point_value(joint.zero_direction),
        "profile": [[phi, od + 0.0, bore + 0.0] for phi, od, bore in joint.profile],
        "long_point": joint.long_point + 0.0,
        "short_point": joint.short_point + 0.0,
        "hole_saw": None if joint.hole_saw is None else _saw(joint.hole_saw),
        "end_point": point_value(joint.end_point),
        "direction": point_value(joint.direction),
        "center_cut": joint.center_cut + 0.0,
        "length_change": joint.end_cut.change + 0.0,
        "straight": joint.straight,
        "gap": joint.gap,
        "saw_angle": joint.end_cut.saw_angle,
        "flat_cuts": [{"mate": cut.mate, "angle": cut.angle} for cut in joint.end_cut.flat_cuts],
        "corner_gap": joint.corner_gap,
    }


def hole_value(hole: Hole) -> dict[str, Any]:
    """One hole that a tube needs."""
    return {
        "tube": hole.tube,
        "through": hole.through,
        "node": point_value(hole.node),
        "angle": hole.angle,
        "offset": hole.offset,
        "clock": hole.clock,
        "from_a": hole.from_a,
        "zero": hole.zero,
        "zero_direction": point_value(hole.zero_direction),
        "bend": hole.bend,
        "from_tangent": hole.from_tangent,
        "along": hole.along,
        "around": hole.around,
        "outline": [[clock, from_a] for clock, from_a in hole.outline],
    }


def _saw(saw: SawSetting) -> dict[str, Any]:
    return {
        "size": saw.size,
        "depth": saw.depth,
        "angle": saw.angle,
        "offset": saw.offset,
        "from_square": saw.from_square + 0.0,
        "center": saw.center + 0.0,
        "center_to_center": saw.center_to_center,
        "depth_through": saw.depth_through,
        "saw_depth": saw.saw_depth,
        "cuts": saw.cuts,
        "owned": saw.owned,
    }
