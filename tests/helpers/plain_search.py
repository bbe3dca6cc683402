"""The search of orders written down plainly: every order, every bend of it, one pose after another.

Each pose comes from the bend table's own walk (`sweep_tools.pose`); points are laid along its centerline and each is
measured from. That samples: it says no less than the room there is, and little more, since between two poses or points
a least distance changes by the square of the step only.
"""

from __future__ import annotations

from itertools import permutations
from math import ceil, inf

import numpy as np
from scipy.spatial.distance import cdist
from sweep_tools import box_distance, dense, pose

from converter.model.bends import BendTable
from converter.model.section import Section
from converter.shop.model import Machine

#: mm between points along the centerline, and degrees between poses.
STEP, ANGLE = 6.0, 1.5
#: mm that sampling so may leave out, at two metres from the die: R (a / 2)^2 / 2, and as much again along the tube.
SAMPLING = 1.0

#: Cosines and sines all around, a row each.
_AROUND = np.array([np.cos(np.linspace(0.0, 2.0 * np.pi, 73)), np.sin(np.linspace(0.0, 2.0 * np.pi, 73))])[:, :, None]


def plain_room(
    table: BendTable, section: Section, machine: Machine, end: str, bend: int, made: frozenset[int]
) -> float:
    """The least room in mm while a bend (index in the table's order from end A) is made after others: bend it from
    nothing to its angle in small steps, and measure each time."""
    radius = section.outer.bounding_radius
    least = inf
    angle = table.bends[bend].angle
    for turned in np.linspace(1e-6, angle, ceil(angle / ANGLE) + 1):
        run, _ = pose(table, machine, bend, made, float(turned), end)
        points, turns = dense(run.table, STEP, run.placement)
        least = min(
            least,
            to_planes(points, radius, machine),
            min((box_distance(points, box.low, box.high) for box in machine.boxes), default=inf) - radius,
            to_itself(points, turns) - 2.0 * radius,
        )
    return least


def to_planes(points: np.ndarray, radius: float, machine: Machine) -> float:
    """Least room between a tube, cut flat at its ends, and floor, ceiling and walls; all in machine coordinates."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    balls = points[(length >= radius) & (length <= length[-1] - radius)]
    rims = np.concatenate(
        [rim(points[0], points[1] - points[0], radius), rim(points[-1], points[-1] - points[-2], radius)]
    )
    height, inside = machine.pivot_height, machine.ceiling
    planes = (
        ((0.0, 0.0, 1.0), height),
        ((0.0, 0.0, -1.0), None if inside is None or height is None else inside - height),
        ((-1.0, 0.0, 0.0), machine.wall_ahead),
        ((1.0, 0.0, 0.0), machine.wall_behind),
        ((0.0, -1.0, 0.0), machine.wall_left),
        ((0.0, 1.0, 0.0), machine.wall_right),
    )
    found = [inf]
    for normal, offset in planes:
        if offset is not None:
            found.append(float((rims @ normal).min()) + offset)
            if len(balls):
                found.append(float((balls @ normal).min()) + offset - radius)
    return min(found)


def rim(center: np.ndarray, along: np.ndarray, radius: float) -> np.ndarray:
    """(n, 3) points around the end of a tube."""
    along = along / np.linalg.norm(along)
    one = cross(along, np.array([0.0, 0.0, 1.0] if abs(along[2]) < 0.9 else [0.0, 1.0, 0.0]))
    one /= np.linalg.norm(one)
    return center + radius * (_AROUND[0] * one + _AROUND[1] * cross(along, one))


def cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """What `np.cross` gives of two vectors, which takes ten times as long for two."""
    return a[[1, 2, 0]] * b[[2, 0, 1]] - a[[2, 0, 1]] * b[[1, 2, 0]]


def to_itself(points: np.ndarray, turns: np.ndarray) -> float:
    """Least distance between points of the centerline between which it turns by half a turn or more."""
    some, last = slice(None, None, 2), turns[-1] - np.pi + 1e-6
    before = turns[some] <= last  # of the others none is half a turn away
    if not before.any():
        return inf
    apart = cdist(points[some][before], points)
    return float(apart[turns >= turns[some][before][:, None] + np.pi - 1e-6].min())


def plain_orders(table: BendTable, section: Section, machine: Machine, end: str) -> dict[tuple[int, ...], float]:
    """The room in mm of every order, bends numbered from 1 in the table's order from end A."""
    rooms: dict[tuple[int, frozenset[int]], float] = {}
    found = {}
    for order in permutations(range(len(table.bends))):
        least = inf
        for i, bend in enumerate(order):
            step = bend, frozenset(order[:i])
            if step not in rooms:
                rooms[step] = plain_room(table, section, machine, end, *step)
            least = min(least, rooms[step])
        found[tuple(bend + 1 for bend in order)] = least
    return found
