"""Joints that fit alike: an equal end of an equal tube at metal that is equal as far as the joint reaches.

The kernel takes its time to measure a joint, so that of equal ones it measures one. An end is equal where its tube's
solid is a copy of the other's; a mate is equal where its solid is a copy that lies alike to the end, or where all that
is near is a straight of one section, which lies alike: pickets along a rail.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from converter.arrays import Array
from converter.exporters.solids.bodies import Copy, TubeBody
from converter.geometry.vectors import Vec, along, cross, distance, dot, sub
from converter.joints.holes.hole import Hole
from converter.joints.model import Joint
from converter.model.bends import Placement
from converter.model.deviation import distances

#: mm, and parts of a unit vector, within which two joints are equal: far below what is shown of how they fit.
EQUAL = 1e-9
#: mm beyond a joint's box that its fit may depend on.
_ROOM = 5.0


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
