"""The proof of a flat-sided tube in a mesh: where metal is along it, and how much of it.

Rectangles tell where sides are, not whether walls are between them: so cuts square to the tube are asked at points in
the middle of each wall, and the volume that the mesh encloses is held against that of section and length.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, blocks
from converter.findings import Clause
from converter.importers.body_checks import GOLDEN, LANES, STATIONS, WALL_PART
from converter.importers.mesh.square.cuts import cut_of
from converter.importers.mesh.square.rows import FramedPart, SquareSizes
from converter.importers.mesh.weld import MeshBody


@dataclass(frozen=True, slots=True)
class MeshWalls:
    """Where cuts show metal.

    Attributes:
        walls: for each of the four walls, the least part of the stations at which a lane of it has metal.
        bore: part of the stations at which the middle has.
    """

    walls: tuple[float, float, float, float]
    bore: float

    @property
    def missing(self) -> int:
        """How many walls are not there."""
        return sum(part < WALL_PART for part in self.walls)


def walls_of(body: MeshBody, stretches: list[FramedPart], length: float, sizes: SquareSizes) -> MeshWalls:
    """Where metal is along a tube of a length (mm): in its four walls, and in its middle."""
    lanes = _lanes(sizes)
    metal = []
    for k in range(STATIONS):
        place = (0.06 + 0.88 * ((0.5 + k * GOLDEN) % 1.0)) * length
        point, up, across, along = _frame(stretches, place)
        cut = cut_of(body, point, along)
        if cut is None:
            metal.append(np.zeros(len(lanes), bool))
            continue
        turn = np.array(((cut.x @ up, cut.x @ across), (cut.y @ up, cut.y @ across)))
        metal.append(_inside(lanes, cut.ends @ turn))
    parts = np.array(metal).mean(axis=0)
    walls = parts[:-1].reshape(4, len(LANES)).min(axis=1).tolist()
    return MeshWalls((walls[0], walls[1], walls[2], walls[3]), float(parts[-1]))


def why_without_walls(proof: MeshWalls, sizes: SquareSizes) -> Clause | None:
    """Why a body with such a proof is no tube of that section; None when it is one."""
    if proof.missing:
        return Clause.of("solid-wall-missing", missing=proof.missing)
    if sizes.wall is not None and proof.bore > 1.0 - WALL_PART:
        return Clause.of("solid-bore-filled")
    return None


def _lanes(sizes: SquareSizes) -> Array:
    """(13, 2) points along up and across in the middle of the four walls, and the middle of the section."""
    deep = 0.5 * (sizes.wall if sizes.wall is not None else 0.5 * sizes.smaller)
    half = np.array((sizes.height, sizes.width)) / 2.0 - deep
    flat = np.maximum(half - sizes.corner, 0.2 * half)
    out = []
    for k, sign in ((0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0)):
        for lane in LANES:
            row = np.zeros(2)
            row[k], row[1 - k] = sign * half[k], lane * flat[1 - k]
            out.append(row)
    return np.array([*out, np.zeros(2)])


def _inside(points: Array, segments: Array) -> NDArray[np.bool_]:
    """Which points (n, 2) lie within closed lines of segments (m, 2, 2): a ray from one inside leaves an odd number."""
    a, b = segments[:, 0], segments[:, 1]
    inside = np.zeros(len(points), bool)
    for k, (x, y) in enumerate(points):
        crossed = (a[:, 1] > y) != (b[:, 1] > y)
        share = (y - a[crossed, 1]) / (b[crossed, 1] - a[crossed, 1])
        right = a[crossed, 0] + share * (b[crossed, 0] - a[crossed, 0]) > x
        inside[k] = int(right.sum()) % 2 == 1
    return inside


def _frame(stretches: list[FramedPart], place: float) -> tuple[Array, Array, Array, Array]:
    """Point, up, across and direction at a place along a tube."""
    one = next((s for s in reversed(stretches) if s.part.place <= place), stretches[0])
    part, s = one.part, place - one.part.place
    point, t = np.array(part.point), np.array(part.t)
    if part.arc is None:
        return point + s * t, one.up, one.across, t
    n, center, angle = np.array(part.n), np.array(part.arc.center), s / part.arc.radius
    assert angle <= radians(part.arc.angle) + 1e-6

    def turned(v: Array) -> Array:
        high = (v @ n) * n
        out: Array = high + np.cos(angle) * (v - high) + np.sin(angle) * np.cross(n, v)
        return out

    return center + turned(point - center), turned(one.up), turned(one.across), turned(t)


def volume_of(body: MeshBody) -> float | None:
    """The volume that a body encloses, mm3, whichever way its faces look; None of one that is open."""
    if body.is_open or body.tangled:
        return None
    middle, sixfold = body.points.mean(axis=0), np.empty(len(body.faces))
    for some in blocks(len(body.faces)):
        corners = body.points[body.faces[some]] - middle
        sixfold[some] = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    return abs(float(sixfold.sum())) / 6.0
