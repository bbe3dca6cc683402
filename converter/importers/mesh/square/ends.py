"""Where a flat-sided tube stops: where the cut crosses its axis, and how far the metal reaches past that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from converter.importers.mesh.square.rows import SideFaces, SquareSizes, Stretch, places_on
from converter.importers.mesh.stations import BodyOnTrack, rim_of
from converter.importers.mesh.weld import MeshBody

Array = NDArray[np.float64]

SECTORS = 24  #: around the tube, each with its own last vertex
NEAR = 4.0  #: of the greater side: how far from the last vertex an end's own ones may lie
LEVEL = 2e-4  #: of the smaller side by which vertices may miss the plane of a cut
MOSTLY = 0.6  #: of the sectors that a plane must pass


@dataclass(frozen=True, slots=True)
class SquareEnd:
    """An end.

    Attributes:
        place: where the centerline ends, mm along the tube.
        metal: how far the longest point of metal reaches past that, mm.
        is_plane: whether the cut is a plane; else ``place`` is on the plane nearest to its edge.
    """

    place: float
    metal: float
    is_plane: bool


def ends_of(
    body: MeshBody, faces: SideFaces, stretches: list[Stretch], length: float, sizes: SquareSizes, sigma: float
) -> tuple[SquareEnd, SquareEnd] | None:
    """Both ends of a tube; None where its sides have no edges to end at.

    Args:
        body: the mesh.
        faces: its sides.
        stretches, length: the tube; its first and last straights are prolonged to the ends.
        sizes: of its section.
        sigma: standard deviation of the vertices, mm.
    """
    greater = max(sizes.width, sizes.height)
    laid = places_on(body.points, stretches)
    lying = BodyOnTrack(laid.place, laid.p, faces.slant, faces.slant, faces.outer)
    rims = [rim_of(body, lying, mask, NEAR * greater) for mask in (faces.outer, faces.bore) if mask.any()]
    own = np.unique(body.faces[faces.outer | faces.bore])
    low, high = float(laid.place[own].min()), float(laid.place[own].max())
    out = []
    for first in (True, False):
        last = low if first else length - high
        edge = [
            _last_all_around(rim, stretches, length, last + NEAR * greater, first) for rim in rims if len(rim)
        ]
        rows = np.concatenate(edge) if edge else np.empty((0, 3))
        if len(rows) < 4:
            return None
        place, is_plane = _plane(rows, max(6.0 * sigma, LEVEL * sizes.smaller))
        out.append(SquareEnd(place if first else length - place, place - last, is_plane))
    return out[0], out[1]


def _last_all_around(rim: Array, stretches: list[Stretch], length: float, within: float, first: bool) -> Array:
    """(k, 3) along up, along across and from the end, of the last vertex of a rim in each of `SECTORS` directions."""
    laid = places_on(rim, stretches)
    place = laid.place if first else length - laid.place
    near = place < within
    angle = np.arctan2(laid.q[near], laid.p[near])
    sector = ((angle / np.pi + 1.0) * SECTORS / 2.0 + 0.01).astype(np.int64) % SECTORS
    order = np.lexsort((place[near], sector))
    last = order[np.unique(sector[order], return_index=True)[1]]
    rows: Array = np.stack((laid.p[near], laid.q[near], place[near]), axis=1)[last]
    return rows


def _plane(rows: Array, slack: float) -> tuple[float, bool]:
    """Where the plane through most of the last vertices meets the axis, and whether they lie in it."""
    design = np.stack((np.ones(len(rows)), rows[:, 0], rows[:, 1]), axis=1)
    kept = np.ones(len(rows), bool)
    answer = np.linalg.lstsq(design, rows[:, 2], rcond=None)[0]
    for _ in range(6):
        miss = rows[:, 2] - design @ answer
        usual = 1.4826 * float(np.median(np.abs(miss)))
        # what stops short of the plane is the rim of a hole
        inside = miss > max(3.0 * usual, slack)
        if (~inside).sum() < 4 or bool((inside == ~kept).all()):
            break
        kept = ~inside
        answer = np.linalg.lstsq(design[kept], rows[kept, 2], rcond=None)[0]
    miss = np.abs(rows[:, 2] - design @ answer)
    return float(answer[0]), bool((miss <= slack).mean() >= MOSTLY and float(miss[kept].max()) <= slack)
