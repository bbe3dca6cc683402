"""How the cut ends of a job fit, measured on the coped solids: ``elbowroom/fit-up/1``, docs/cope-templates.md.

Lengths in mm, volumes in mm3, points in the drawing's coordinates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING, Any

import numpy as np

from converter.exporters.paper.cope_words import copes_of
from converter.exporters.solids.bodies import TubeBody, bodies
from converter.exporters.solids.coped import cut_points, wall_points
from converter.exporters.solids.coped_bodies import coped_bodies
from converter.geometry.vectors import Vec
from converter.joints.cuts.lines import Array, Hits
from converter.joints.model import Joint
from converter.model.curve import Arc
from converter.progress import steps

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

FIT_UP_SCHEMA = "elbowroom/fit-up/1"
#: mm to which a point on a mate's surface is not inside it.
_TOUCHING = 1e-4
#: mm3 below which two tubes that share metal only touch.
LEAST_CLASH = 1.0


@dataclass(frozen=True, slots=True)
class JointFit:
    """How one cut end fits.

    Attributes:
        joint: the end.
        overlap: volume it shares with its mates, mm3.
        gap: least distance from its mates, mm.
        widest: greatest distance from its mates along the outside's cut line, mm, or None when no line meets one.
    """

    joint: Joint
    overlap: float
    gap: float
    widest: float | None


@dataclass(frozen=True, slots=True)
class TubeClash:
    """Two tubes that share metal without being joined: names, volume in mm3, centre of the shared volume."""

    tube: str
    other: str
    volume: float
    center: Vec


@dataclass(frozen=True, slots=True)
class FitUp:
    """A job's fit-up: its joints to other tubes in order, and its clashes."""

    joints: tuple[JointFit, ...]
    clashes: tuple[TubeClash, ...]


def fit_up(job: Job) -> FitUp:
    """Cut every end and measure how the tubes fit.

    Raises:
        WriteError: no tube has a solid, or none has a joint or a hole.
        GeometryError: an end cannot be cut.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.fit_up import clashes, gap, grown, widest_gap, within

    copes_of(job)  # there is something to measure
    bodies(job)
    shown = job.shown.names
    made = coped_bodies(job)
    found, solids = [body for body, _ in made], [solid for _, solid in made]
    place = {body.tube.name: i for i, body in enumerate(found)}
    fits = []
    joined: set[tuple[int, int]] = set()
    for joint in steps(job.joints, "joints measured"):
        mates = [place[name] for name in joint.mates if name in place]
        if not mates or joint.tube not in place:
            continue
        own = place[joint.tube]
        joined |= {(min(own, mate), max(own, mate)) for mate in mates}
        if joint.tube not in shown:
            continue
        points, low, high = cut_points(joint)
        end = within(solids[own], low, high)
        # two boxes, so that no new faces of the pieces lie on one another
        near = [within(solids[mate], *grown(low, high, 1.0)) for mate in mates]
        overlap = _overlap(joint, end, [(found[mate], solid) for mate, solid in zip(mates, near, strict=True)])
        fits.append(JointFit(joint, overlap, gap(end, near), widest_gap(points, near) if points else None))
    names = [body.tube.name for body in found]
    hit = [c for c in clashes(solids, joined, LEAST_CLASH) if {names[c.solid], names[c.other]} & shown]
    return FitUp(tuple(fits), tuple(TubeClash(names[c.solid], names[c.other], c.volume, c.center) for c in hit))


def _overlap(joint: Joint, end: Any, mates: Sequence[tuple[TubeBody, Any]]) -> float:
    """Volume an end shares with its mates and their solids, mm3, all cut down to the joint.

    The kernel takes its time over surfaces that only touch, as those of a good joint do. So points of the end
    are looked at first, all along its edges and over its walls behind the cut: the volume is made when one
    lies inside a mate.
    """
    from converter.kernel.fit_up import any_inside, edge_points, shared

    points = np.array([*edge_points(end), *wall_points(joint)])
    return sum(
        shared(end, solid)[0]
        for body, solid in mates
        if any_inside(points[in_wall(points, body, _TOUCHING / 2.0)].tolist(), solid, _TOUCHING)
    )


def in_wall(points: Array, body: TubeBody, within: float) -> Hits:
    """Which points may lie in a tube's metal, further than ``within`` mm from its surface; none that does is missed.

    The kernel takes milliseconds to tell that of one point, and most points of a good joint lie on a mate's surface.
    Straights count as if they ran on, for ends do where a cut needs metal, and bends as whole turns. Around a section
    that is not round there is a ring from its bore's nearest to its outside's farthest point.
    """
    run = body.tube.run
    half_up, half_across, corner = body.section.loops[0].halves
    outside = hypot(half_up - corner, half_across - corner) + corner - within
    bore = min((min(loop.halves[:2]) for loop in body.section.loops[1:]), default=-1.0) + within
    lines = []
    away = []
    for piece in run.centerline:
        if isinstance(piece, Arc):
            off = points - np.asarray(piece.center)
            height = off @ np.asarray(piece.normal)
            across = np.linalg.norm(off - height[:, None] * np.asarray(piece.normal), axis=1)
            away.append(np.hypot(across - piece.radius, height))
            lines += [(piece.start, piece.start_direction), (piece.end, piece.end_direction)]
        else:
            lines.append((piece.start, piece.direction))
    for start, direction in lines:
        away.append(np.linalg.norm(np.cross(points - np.asarray(start), np.asarray(direction)), axis=1))
    found = np.zeros(len(points), dtype=bool)
    for distance in away:
        found |= (distance < outside) & (distance > bore)
    return found


def fit_up_document(source: str, found: FitUp) -> dict[str, Any]:
    """The fit-up as plain values."""
    return {
        "schema": FIT_UP_SCHEMA,
        "source": source,
        "joints": [
            {
                "tube": one.joint.tube,
                "end": one.joint.end,
                "mates": list(one.joint.mates),
                "node": list(one.joint.node),
                "overlap": one.overlap,
                "gap": one.gap,
                "widest_gap": one.widest,
            }
            for one in found.joints
        ],
        "clashes": [
            {"tubes": [one.tube, one.other], "overlap": one.volume, "at": list(one.center)} for one in found.clashes
        ],
    }


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-fit-up.json``; raises as `fit_up`."""
    from converter.exporters.data.table_json import dumps

    text = dumps(fit_up_document(job.source, fit_up(job)))
    out.path(f"{options.stem}-fit-up.json").write_text(text, encoding="utf-8")
