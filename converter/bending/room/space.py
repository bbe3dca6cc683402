"""The room around a bender, in coordinates that suit the bend.

Bend coordinates: the origin is the centre of the bend, X points ahead (the way the stick is fed), Y from
the stick toward the centre of the die (where the swung end goes), Z along the die's axis, X x Y = Z.
Machine coordinates are X, left, up; see docs/sweep.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from converter.arrays import Array
from converter.shop.model import Machine

#: Where the swung end goes, in machine coordinates (ahead, left, up).
_TOWARD = {"up": (0.0, 0.0, 1.0), "down": (0.0, 0.0, -1.0), "left": (0.0, 1.0, 0.0), "right": (0.0, -1.0, 0.0)}


@dataclass(frozen=True, slots=True, eq=False)
class Space:
    """Planes and boxes around the bend, in bend coordinates (mm).

    Attributes:
        basis: (3, 3), its rows X, Y and Z in machine coordinates.
        planes: name of each plane.
        normals: (p, 3) unit normals that point into the room.
        offsets: (p,) so that ``normals @ point + offsets`` is the distance from each plane.
        boxes: name of each box.
        low, high: (b, 3) corners.
        ahead: True when the clamped end swings, False when the stock behind the die does.
    """

    basis: Array
    planes: tuple[str, ...]
    normals: Array
    offsets: Array
    boxes: tuple[str, ...]
    low: Array
    high: Array
    ahead: bool

    @property
    def empty(self) -> bool:
        """Whether nothing stands around the bender."""
        return not self.planes and not self.boxes


@lru_cache(maxsize=64)
def space_of(machine: Machine) -> Space:
    """What the shop file says of the room around the machine; the same one for the same machine, whose tubes are swung
    in it together.

    Args:
        machine: without a plane nothing is known of where the tube swings, so nothing stands around; the tube
            against itself is the same in any plane.

    Returns:
        The floor where the pivot's height is known, the ceiling where both heights are, walls and boxes.
    """
    if machine.plane is None:
        machine = Machine(plane="vertical", swings=machine.swings)
    to = machine.bends_to or ("left" if machine.plane == "horizontal" else "up")
    ahead = np.array([1.0, 0.0, 0.0])
    toward = np.array(_TOWARD[to])
    basis = np.array([ahead, toward, np.cross(ahead, toward)])
    known: list[tuple[str, tuple[float, float, float], float]] = []
    if machine.pivot_height is not None:
        known.append(("the floor", (0.0, 0.0, 1.0), machine.pivot_height))
        if machine.ceiling is not None:
            known.append(("the ceiling", (0.0, 0.0, -1.0), machine.ceiling - machine.pivot_height))
    for name, normal, distance in (
        ("the wall ahead", (-1.0, 0.0, 0.0), machine.wall_ahead),
        ("the wall behind", (1.0, 0.0, 0.0), machine.wall_behind),
        ("the wall on the left", (0.0, -1.0, 0.0), machine.wall_left),
        ("the wall on the right", (0.0, 1.0, 0.0), machine.wall_right),
    ):
        if distance is not None:
            known.append((name, normal, distance))
    # boxes stay square to the axes: the basis only exchanges and reverses them
    corners = np.array([[box.low, box.high] for box in machine.boxes], float).reshape(-1, 2, 3) @ basis.T
    return Space(
        basis,
        tuple(name for name, _, _ in known),
        np.array([normal for _, normal, _ in known], float).reshape(-1, 3) @ basis.T,
        np.array([distance for _, _, distance in known], float),
        tuple(box.name for box in machine.boxes),
        corners.min(axis=1),
        corners.max(axis=1),
        machine.swings != "behind",
    )


def other_plane(machine: Machine) -> Machine:
    """The same machine turned onto its side: a vertical plane becomes horizontal and the other way round."""
    return replace(machine, plane="vertical" if machine.plane == "horizontal" else "horizontal", bends_to=None)
