"""A flat-sided tube followed through a mesh from rectangle to rectangle."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from converter.arrays import Array
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.square.cuts import RectangleCut, rectangle_at
from converter.importers.mesh.thread import Surface, spread
from converter.importers.mesh.weld import MeshBody

SAMPLES = 3000  #: points of the surface from which places to begin are taken
SEEDS = 6  #: places to begin that are tried
REACHES = (0.02, 0.05, 0.1, 0.2, 0.4)  #: of the extent: how far around such a place the faces are looked at
EVEN = 0.03  #: share of the directions of faces there that may lie along the tube
STEP = 0.35  #: of the smaller side: from cut to cut
HALVED = 4  #: times a step is halved where no rectangle is met
MOST_CUTS = 3000  #: to one side: of a tube of 40 mm, 42 m
SAME = 300  #: cuts of the very same faces after which steps grow, since nothing happens within a face; of 40 mm, 4 m
ALIKE = 0.02  #: share by which the sides of cuts that count may differ from the usual ones
CUT_COST = 4e-8  #: seconds of an ordinary processor for each triangle of a cut


@dataclass(frozen=True, slots=True, eq=False)
class FollowedTube:
    """A row of rectangles along a tube.

    Attributes:
        cuts: in order, at least three.
        closed: whether the last leads back to the first.
    """

    cuts: tuple[RectangleCut, ...]
    closed: bool

    @property
    def usual(self) -> RectangleCut:
        """One of the usual size."""
        areas = [abs(one.area) for one in self.cuts]
        return self.cuts[int(np.argsort(areas)[len(areas) // 2])]

    @property
    def length(self) -> float:
        """From the first to the last, mm."""
        return sum(float(np.sqrt(((b.center - a.center) ** 2).sum())) for a, b in pairwise(self.cuts))

    def corners(self, bore: bool) -> float:
        """The radius of the corners by the area they leave: a corner takes (1 - pi / 4) r^2 off a rectangle's."""
        cuts = [one.bore for one in self.cuts if one.bore is not None] if bore else list(self.cuts)
        missing = float(np.median([one.missing for one in cuts]))
        return float(np.sqrt(missing / (4.0 - np.pi)))


def followed(body: MeshBody, effort: Effort) -> FollowedTube | None:
    """The longest row of rectangles that is met from some place of the surface; None where none is."""
    best: FollowedTube | None = None
    extent = float(np.ptp(body.points, axis=0).max())
    met: set[bytes] = set()  # faces of every cut so far: from the same ones the same row begins
    for first in _first_cuts(body, effort):
        if first.faces.tobytes() in met or (best is not None and any(_within(first, one) for one in best.cuts)):
            continue
        ahead, closed = _onward(body, first, 1.0, effort)
        back = [] if closed else _onward(body, first, -1.0, effort)[0]
        whole = [*back[::-1], first, *ahead]
        met.update(one.faces.tobytes() for one in whole)
        row = _alike(whole)
        if len(row) >= 3:
            one = FollowedTube(tuple(row), closed)
            if best is None or len(one.cuts) > len(best.cuts):
                best = one
        if best is not None and (best.length > 0.4 * extent or effort.is_used_up):
            break
        if max(len(ahead), len(back)) == MOST_CUTS:  # it is longer than is followed, wherever that begins
            break
    return best


def _within(first: RectangleCut, one: RectangleCut) -> bool:
    arm = first.center - one.center
    return float(arm @ arm) < (0.5 * one.smaller) ** 2


def _first_cuts(body: MeshBody, effort: Effort) -> Iterator[RectangleCut]:
    """Rectangles through places of the surface where the faces around show a way along."""
    from scipy.spatial import cKDTree

    surface = spread(body, SAMPLES)
    tree = cKDTree(surface.points)
    extent = float(np.ptp(body.points, axis=0).max())
    for k in range(SEEDS):
        # golden steps: never in pace with what repeats along the tube
        at = int((0.5 + k * 0.6180339887) % 1.0 * SAMPLES)
        for reach in REACHES:
            way = _way(surface, tree.query_ball_point(surface.points[at], reach * extent))
            if way is None:
                continue
            effort.left -= 4 * CUT_COST * len(body.faces)
            one = rectangle_at(body, surface.points[at], way, 0.1)
            if one is not None:
                yield one
                break


def _way(surface: Surface, near: list[int]) -> Array | None:
    """The direction that faces lie along; None where they look every way, or all one way."""
    if len(near) < 4:
        return None
    normals = surface.normals[near]
    values, axes = np.linalg.eigh(normals.T @ normals / len(near))
    if values[0] > EVEN or values[1] < 0.02:
        return None
    way: Array = axes[:, 0]
    return way


def _onward(body: MeshBody, first: RectangleCut, sign: float, effort: Effort) -> tuple[list[RectangleCut], bool]:
    """Cuts from the first on, one way; and whether they come back to it."""
    row: list[RectangleCut] = []
    last, way = first, sign * first.axis
    turn = np.zeros(3)
    usual = STEP * first.smaller
    same, stride, may_grow = 0, 1.0, True
    for _ in range(MOST_CUTS):
        if stride > 1.0:
            far = _further(body, last, way, stride * usual, first)
            effort.left -= 2 * CUT_COST * len(body.faces)
            if far is not None:
                row.append(far)
                last, stride = far, 2.0 * stride if may_grow else stride
            else:  # past the end of these faces: nearer and nearer to it
                stride, may_grow = stride / 2.0, False
            continue
        step = usual
        following: RectangleCut | None = None
        for _ in range(HALVED):
            # on as it went: a bend goes on turning
            ahead = way + turn * (step / usual)
            ahead = ahead / np.sqrt(ahead @ ahead)
            effort.left -= 2 * CUT_COST * len(body.faces)
            at = last.center + 0.5 * step * (way + ahead)
            following = rectangle_at(body, at, ahead, 0.0, first)
            if following is not None and 0.2 * step < float((following.center - last.center) @ way) < 2.0 * step:
                break
            following = None
            step /= 2.0
        if following is None or effort.is_used_up:
            return row, False
        same = same + 1 if np.array_equal(following.faces, last.faces) else 0
        may_grow = may_grow or same == 0
        stride = 2.0 if same >= SAME and may_grow else 1.0
        axis = following.axis if following.axis @ ahead > 0.0 else -following.axis
        turn = (axis - way) * (usual / max(step, 1e-9))
        last, way = following, axis
        row.append(following)
        gap = first.center - last.center
        if len(row) > 8 and float(gap @ gap) < usual**2 and float(way @ first.axis) * sign > 0.5:
            return row, True
    return row, False


def _further(body: MeshBody, last: RectangleCut, way: Array, step: float, first: RectangleCut) -> RectangleCut | None:
    """The rectangle that a cut of the very same faces is, straight on by many usual steps; None past their end."""
    one = rectangle_at(body, last.center + step * way, way, 0.0, first)
    if one is None or not np.array_equal(one.faces, last.faces):
        return None
    return one if 0.2 * step < float((one.center - last.center) @ way) < 2.0 * step else None


def _alike(row: list[RectangleCut]) -> list[RectangleCut]:
    """Without the cuts whose size is not the usual one: at an end that is no square cut, they are parts."""
    sizes = np.array([sorted((one.width, one.height)) for one in row])
    usual = np.median(sizes, axis=0)
    kept = (np.abs(sizes / usual - 1.0) <= ALIKE).all(axis=1)
    return [one for one, keep in zip(row, kept, strict=True) if keep]
