"""How the cut ends of a job fit, measured on the coped solids: ``elbowroom/fit-up/1``, docs/cope-templates.md.

Lengths in mm, volumes in mm3, points in the drawing's coordinates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import cos, inf, radians
from typing import TYPE_CHECKING, Any

import numpy as np

from converter.arrays import Array
from converter.exporters.paper.cope_words import copes_of
from converter.exporters.solids.bodies import Copy, TubeBody, bodies
from converter.exporters.solids.coped.bodies import coped_bodies, coped_copies
from converter.exporters.solids.coped.ends import MARGIN, cut_points, joints_of, own_end, run_on, wall_points
from converter.exporters.solids.fit_up.distances import (
    ON_SURFACE,
    in_wall,
    least_off,
    nearest_point,
    off_metal,
    off_outside,
)
from converter.geometry.vectors import Vec, along, cross, distance, dot, sub
from converter.joints.bodies import bodies as frame_bodies
from converter.joints.holes import Hole
from converter.joints.model import Joint
from converter.joints.near.legs import STEP, Legs, nearest_of_pairs
from converter.model.bends import Placement
from converter.model.deviation import distances
from converter.progress import steps

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.kernel.topology import Box

FIT_UP_SCHEMA = "elbowroom/fit-up/1"
#: Of the points along an end's edges, how many are asked whether they touch a mate; and how many where that is close.
_LIKELIEST, _FURTHER = 3, 12
#: mm within which two ways to measure a gap agree.
_SAME = 1e-6
#: mm3 below which two tubes that share metal only touch.
LEAST_CLASH = 1.0
#: mm, and parts of a unit vector, within which two joints are equal: far below what is shown of how they fit.
EQUAL = 1e-9
#: mm beyond a joint's box that its fit may depend on.
_ROOM = 5.0


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
    from converter.kernel.fit_up import clashes

    copes_of(job)  # there is something to measure
    bodies(job)
    shown = job.shown.names
    made = coped_bodies(job)
    found, solids = [body for body, _ in made], [solid for _, solid in made]
    place, by_tube = {body.tube.name: i for i, body in enumerate(found)}, joints_of(job.joints)
    fits: list[JointFit] = []
    shared, known = coped_copies(job), list[tuple[JointLook, JointFit]]()
    joined: set[tuple[int, int]] = set()
    for joint in steps(job.joints, "joints measured"):
        mates = [place[name] for name in joint.mates if name in place]
        if not mates or joint.tube not in place:
            continue
        own = place[joint.tube]
        joined |= {(min(own, mate), max(own, mate)) for mate in mates}
        if joint.tube not in shown:
            continue
        at = cut_points(joint)
        look = joint_look(joint, [found[mate] for mate in mates], shared, job.copes.holes, at[1:])
        fit = next((fit for other, fit in known if look is not None and look.equals(other)), None)
        if fit is None:
            others = [(found[mate], solids[mate]) for mate in mates if mate != own]
            end, rest = (solids[own], []) if own not in mates else _own_end(found[own], joint, by_tube[joint.tube])
            fit = _fit(joint, at, end, others + rest)
            if look is not None:
                known.append((look, fit))
        fits.append(replace(fit, joint=joint))
    names = [body.tube.name for body in found]
    apart = _apart(job, found)
    hit = [c for c in clashes(solids, joined, LEAST_CLASH, apart) if {names[c.solid], names[c.other]} & shown]
    return FitUp(tuple(fits), tuple(TubeClash(names[c.solid], names[c.other], c.volume, c.center) for c in hit))


def _own_end(body: TubeBody, joint: Joint, joints: Sequence[Joint]) -> tuple[Any, list[tuple[TubeBody, Any]]]:
    """The solid at an end of a tube that is cut to that tube, and the rest of it as bodies of their own."""
    end, rest = own_end(body.tube, body.section, joint, joints)
    return end, [(replace(body, metal=metal), solid) for metal, solid in rest]


def _apart(job: Job, found: Sequence[TubeBody]) -> Callable[[int, int], bool]:
    """Of two of some bodies whether they surely share no metal: their centerlines, as cuts need them, stay apart."""
    by_tube = joints_of(job.joints)
    run_ons = [run_on(body.tube.run, by_tube.get(body.tube.name, ()))[0] for body in found]
    frame, _ = frame_bodies(replace(body.tube, run=run) for body, run in zip(found, run_ons, strict=True))
    if len(frame) < len(found):  # a tube that joints leave out
        return lambda one, other: False
    legs = [Legs.of(body.legs) for body in frame]
    # a sharp corner reaches further out than the outside beside it
    sharpest = [max(turn for leg in body.legs for turn in leg.corners) for body in frame]
    reach = [body.half / max(cos(radians(turn / 2.0)), 1e-3) for body, turn in zip(frame, sharpest, strict=True)]
    # bends are sampled at steps no longer than this
    step = [STEP * float(one.length[one.sweep > 0.0].max(initial=0.0)) for one in legs]

    def stay_apart(one: int, other: int) -> bool:
        count, more = len(legs[one].length), len(legs[other].length)
        pairs = np.repeat(np.arange(count), more), np.tile(np.arange(more), count)
        near = float(nearest_of_pairs(legs[one].rows(pairs[0]), legs[other].rows(pairs[1]))[2].min())
        return near > reach[one] + reach[other] + max(step[one], step[other]) + MARGIN

    return stay_apart


def _fit(joint: Joint, at: tuple[list[Vec], Vec, Vec], own: Any, mates: Sequence[tuple[TubeBody, Any]]) -> JointFit:
    """How an end of a solid, ``at`` its points of `cut_points`, fits to its mates and their solids.

    The kernel takes its time over surfaces that only touch, as those of a good joint do, and over cutting solids down
    to the joint. So points of the end are looked at first, all along its edges and over its walls behind the cut: the
    volume is made when one lies inside a mate, and the least gap is looked for when none of some lies on one. The
    kernel looks for it only where that cannot be told from whole tubes.
    """
    from converter.kernel.fit_up import TOUCHES, any_inside, edge_points, gap, gaps, grown, is_empty, shared, within

    places, low, high = at
    solids = [solid for _, solid in mates]

    def gaps_of(these: Array) -> list[float]:
        return gaps(these.tolist(), solids, [least_off(these, body).tolist() for body, _ in mates])

    widest = max(gaps_of(np.array(places).reshape(-1, 3)), default=None)
    edges = np.array(edge_points(own, low, high)).reshape(-1, 3)
    points = np.concatenate([edges, np.array(wall_points(joint)).reshape(-1, 3)])
    inside = [
        any_inside(points[in_wall(points, body, ON_SURFACE / 2.0)].tolist(), solid, ON_SURFACE) for body, solid in mates
    ]
    on_mates = np.minimum.reduce([off_outside(edges, body) for body, _ in mates]).argsort()
    least = min(gaps_of(edges[on_mates[:_LIKELIEST]]), default=inf)
    if TOUCHES < least <= ON_SURFACE:  # rounding, most likely: the next ones may be off by less
        least = min([least, *gaps_of(edges[on_mates[_LIKELIEST:_FURTHER]])])
    if least <= TOUCHES and not any(inside):
        return JointFit(joint, 0.0, least, widest)
    known = None if any(inside) or least <= ON_SURFACE else _least_gap(own, (low, high), mates, gaps_of)
    if known is not None:
        return JointFit(joint, 0.0, known, widest)
    end = within(own, low, high)
    # two boxes, so that no new faces of the pieces lie on one another; metal further off than some is left out
    near = [within(solid, *grown(low, high, least + 1.0)) for solid in solids]
    overlap = sum(shared(end, solid)[0] for solid, hit in zip(near, inside, strict=True) if hit)
    return JointFit(joint, float(overlap), gap(end, [solid for solid in near if not is_empty(solid)]), widest)


def _least_gap(
    own: Any, box: Box, mates: Sequence[tuple[TubeBody, Any]], gaps_of: Callable[[Array], list[float]]
) -> float | None:
    """The least gap of an end that touches no mate, mm; None where only the kernel can tell.

    Of whole tubes it is known where the end comes nearest to them. It is the gap where the kernel finds the mates'
    metal, cut and holed as they are, just as near to that place: nowhere is it nearer than to whole tubes.
    """
    nearest = nearest_point(
        own, box, lambda points: np.minimum.reduce([off_metal(points, body.metal, body.section) for body, _ in mates])
    )
    if nearest is None or nearest[1] <= ON_SURFACE:
        return None
    point, at_least = nearest
    (found,) = gaps_of(np.array([point]))
    return found if abs(found - at_least) <= _SAME else None


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


# --- equal joints -----------------------------------------------------------------------------
# The kernel takes its time to measure a joint, so that of equal ones it measures one. An end is equal where its
# tube's solid is a copy of the other's; a mate is equal where its solid is a copy that lies alike to the end, or
# where all that is near is a straight of one section, which lies alike: pickets along a rail.


@dataclass(frozen=True, slots=True)
class JointLook:
    """A joint as seen from its tube: what equal ones share to the letter, and what they share within `EQUAL`."""

    kind: tuple[object, ...]
    numbers: Array

    def equals(self, other: JointLook) -> bool:
        """Whether two joints fit alike."""
        if self.kind != other.kind or self.numbers.shape != other.numbers.shape:
            return False
        return bool((np.abs(self.numbers - other.numbers) <= EQUAL).all())


def joint_look(
    joint: Joint, mates: Sequence[TubeBody], shared: Mapping[str, Copy], holes: Sequence[Hole], box: tuple[Vec, Vec]
) -> JointLook | None:
    """How a joint looks from its tube; None where the tube's solid is its own.

    Args:
        joint: the joint; mates: what it is cut to.
        shared: the tubes whose solids are copies, by name.
        holes: of all tubes.
        box: around the end that is cut, (low, high).
    """
    own = shared.get(joint.tube)
    if own is None:
        return None
    corners = np.array(np.meshgrid(*zip(*box, strict=True), indexing="ij")).reshape(3, -1).T
    far = float(np.linalg.norm(corners - np.asarray(joint.node), axis=1).max()) + _ROOM
    kinds: list[object] = [own.original, joint.end, joint.kind, joint.gap]
    numbers: list[float] = []
    for mate in mates:
        straight = _straight_near(joint.node, mate, holes, far)
        copy = shared.get(mate.tube.name)
        if straight is not None:
            kinds.append(mate.section)
            numbers += (number for vector in _from(own.place, *straight) for number in vector)
        elif copy is not None:
            kinds.append(copy.original)
            place = copy.place
            ways = _from(own.place, place.start, place.direction, place.normal)
            numbers += (number for vector in ways for number in vector)
        else:
            return None
    return JointLook(tuple(kinds), np.array(numbers))


def _from(place: Placement, point: Vec, *ways: Vec) -> Iterator[Vec]:
    """A point and directions as a frame sees them."""
    axes = place.direction, cross(place.normal, place.direction), place.normal
    for vector in (sub(point, place.start), *ways):
        yield dot(vector, axes[0]), dot(vector, axes[1]), dot(vector, axes[2])


def _straight_near(node: Vec, mate: TubeBody, holes: Sequence[Hole], far: float) -> tuple[Vec, Vec, Vec] | None:
    """The only metal of a tube within ``far`` mm of a place, if it is a plain straight: (point, direction, height)."""
    reach = far + mate.section.greater
    found = None
    for piece in mate.metal.pieces:
        line = piece.start
        at = dot(sub(node, line.point), line.direction)
        if piece.arc is None and reach < at < piece.length - reach and found is None:
            # of round tube the height says nothing
            height = line.direction if mate.section.cylinder is not None else line.up
            found = along(line.point, line.direction, at), line.direction, height
    if found is None or distance(found[0], node) > far:
        return None
    near = sum(float(distances(np.array([node]), one)[0]) <= reach for one in mate.tube.run.centerline)
    holed = any(hole.tube == mate.tube.name and distance(hole.node, node) <= 2.0 * reach for hole in holes)
    return None if near != 1 or holed else found
