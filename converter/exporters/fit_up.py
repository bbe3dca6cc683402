"""How the cut ends of a job fit, measured on the coped solids: ``elbowroom/fit-up/1``, docs/cope-templates.md.

Lengths in mm, volumes in mm3, points in the drawing's coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from converter.exporters.cope_words import copes_of
from converter.exporters.coped import cut_points, wall_points
from converter.exporters.coped_bodies import coped_bodies
from converter.geometry.vectors import Vec
from converter.joints.model import Joint
from converter.progress import steps

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.registry import ExportJob

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

    one: str
    other: str
    volume: float
    center: Vec


@dataclass(frozen=True, slots=True)
class FitUp:
    """A job's fit-up: its joints to other tubes in order, and its clashes."""

    joints: tuple[JointFit, ...]
    clashes: tuple[TubeClash, ...]


def fit_up(job: ExportJob) -> FitUp:
    """Cut every end and measure how the tubes fit.

    Raises:
        WriteError: no tube has a solid, or none has a joint or a hole.
        GeometryError: an end cannot be cut.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.fit_up import clashes, gap, grown, widest_gap, within

    made = coped_bodies(job)
    found, solids = [body for body, _ in made], [solid for _, solid in made]
    copes = copes_of(job)
    place = {body.tube.name: i for i, body in enumerate(found)}
    fits = []
    joined: set[tuple[int, int]] = set()
    for joint in steps(copes.joints, "joints measured"):
        mates = [place[name] for name in joint.mates if name in place]
        if not mates or joint.tube not in place:
            continue
        own = place[joint.tube]
        joined |= {(min(own, mate), max(own, mate)) for mate in mates}
        points, low, high = cut_points(joint)
        end = within(solids[own], low, high)
        # two boxes, so that no new faces of the pieces lie on one another
        near = [within(solids[mate], *grown(low, high, 1.0)) for mate in mates]
        overlap = _overlap(joint, end, near)
        fits.append(JointFit(joint, overlap, gap(end, near), widest_gap(points, near) if points else None))
    names = [body.tube.name for body in found]
    hit = clashes(solids, joined, LEAST_CLASH)
    return FitUp(tuple(fits), tuple(TubeClash(names[c.one], names[c.other], c.volume, c.center) for c in hit))


def _overlap(joint: Joint, end: Any, mates: list[Any]) -> float:
    """Volume an end shares with its mates, mm3, all cut down to the joint.

    The kernel takes its time over surfaces that only touch, as those of a good joint do. So points of the end
    are looked at first, all along its edges and over its walls behind the cut: the volume is made when one
    lies inside a mate.
    """
    from converter.kernel.fit_up import any_inside, edge_points, shared

    points = [*edge_points(end), *wall_points(joint)]
    return sum(shared(end, mate)[0] for mate in mates if any_inside(points, mate, _TOUCHING))


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
            {"tubes": [one.one, one.other], "overlap": one.volume, "at": list(one.center)} for one in found.clashes
        ],
    }


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem-fit-up.json``; raises as `fit_up`."""
    from converter.exporters.table_json import dumps

    text = dumps(fit_up_document(job.source, fit_up(job)))
    out.path(f"{job.stem}-fit-up.json").write_text(text, encoding="utf-8")
