"""Where a flat-sided tube stops: where the cut crosses its axis, and how far the metal reaches past that."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints
from converter.importers.mesh.square.rows import FramedPart, SectionPlaces, SideFaces, SquareSizes, places_on
from converter.importers.mesh.weld import MeshBody

SECTORS = 24  #: around the tube, each with its own last vertex
LEVEL = 2e-4  #: of the smaller side by which vertices may miss the plane of a cut
MOSTLY = 0.6  #: of the sectors that a plane must pass


@dataclass(frozen=True, slots=True)
class SquareEnd:
    """An end.

    Attributes:
        place: where the centerline ends, mm along the tube.
        metal: how far the longest point of metal reaches past that, mm.
        is_plane: whether the cut is a plane; else ``place`` is on the plane nearest to its edge.
        edge: from where to where its edge runs, mm along the tube.
    """

    place: float
    metal: float
    is_plane: bool
    edge: tuple[float, float]


def ends_of(
    body: MeshBody, faces: SideFaces, stretches: list[FramedPart], length: float, sizes: SquareSizes, sigma: float
) -> tuple[SquareEnd, SquareEnd] | None:
    """Both ends of a tube; None where its sides have no edges around it to end at.

    Args:
        body: the mesh.
        faces: its sides.
        stretches, length: the tube; its first and last straights are prolonged to the ends.
        sizes: of its section.
        sigma: standard deviation of the vertices, mm.
    """
    spots = places_on(body.points, stretches)
    edges = [list(_edges_around(body, mask, spots)) for mask in (faces.outer, faces.bore) if mask.any()]
    own = np.unique(body.faces[faces.outer | faces.bore])
    low, high = float(spots.place[own].min()), float(spots.place[own].max())
    slack = max(6.0 * sigma, LEVEL * sizes.smaller)
    out = []
    for first in (True, False):
        place = spots.place if first else length - spots.place
        half = 0.5 * (low + high) if first else length - 0.5 * (low + high)
        of_end = [[edge for edge in skin if float(place[edge].mean()) < half] for skin in edges]
        last = [min(skin, key=lambda edge: float(place[edge].mean())) for skin in of_end if skin]
        if not of_end[0]:
            return None
        rows = np.concatenate([_last_all_around(spots, place, edge) for edge in last])
        if len(rows) < 4:
            return None
        stop, is_plane = _plane(rows, slack)
        edge = np.concatenate(last)
        reach = float(spots.place[edge].min()), float(spots.place[edge].max())
        farthest = low if first else length - high
        out.append(SquareEnd(stop if first else length - stop, stop - farthest, is_plane, reach))
    return out[0], out[1]


def _edges_around(body: MeshBody, mask: NDArray[np.bool_], spots: SectionPlaces) -> Iterator[Ints]:
    """The vertices of each line around the tube at which the chosen faces end; holes do not go around it."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    f = body.faces[mask]
    pairs = np.concatenate((f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]))
    key = pairs.min(axis=1) * np.int64(len(body.points)) + pairs.max(axis=1)
    _, first, count = np.unique(key, return_index=True, return_counts=True)
    rim = pairs[first[count == 1]]
    if len(rim) == 0:
        return
    turned = np.arctan2(spots.q, spots.p)
    step = turned[rim[:, 1]] - turned[rim[:, 0]]
    step = (step + np.pi) % (2.0 * np.pi) - np.pi
    vertices, index = np.unique(rim, return_inverse=True)
    index = index.reshape(-1, 2)
    size = len(vertices)
    graph = coo_matrix((np.ones(len(index), np.int8), (index[:, 0], index[:, 1])), shape=(size, size))
    count_of, label = connected_components(graph, directed=False)
    around = np.bincount(label[index[:, 0]], step, minlength=count_of)
    for k in np.flatnonzero(np.abs(around) > np.pi):
        yield vertices[label == k]


def _last_all_around(spots: SectionPlaces, place: Array, edge: Ints) -> Array:
    """(k, 3) along up, along across and from the end, of the last vertex of an edge in each of `SECTORS` directions."""
    angle = np.arctan2(spots.q[edge], spots.p[edge])
    sector = ((angle / np.pi + 1.0) * SECTORS / 2.0 + 0.01).astype(np.int64) % SECTORS
    order = np.lexsort((place[edge], sector))
    last = edge[order[np.unique(sector[order], return_index=True)[1]]]
    rows: Array = np.stack((spots.p[last], spots.q[last], place[last]), axis=1)
    return rows


def _plane(rows: Array, slack: float) -> tuple[float, bool]:
    """Where the plane through most of the last vertices meets the axis, and whether they lie in it."""
    design = np.stack((np.ones(len(rows)), rows[:, 0], rows[:, 1]), axis=1)
    kept = np.ones(len(rows), bool)
    answer = np.linalg.lstsq(design, rows[:, 2], rcond=None)[0]
    for _ in range(6):
        miss = rows[:, 2] - design @ answer
        usual = 1.4826 * float(np.median(np.abs(miss)))
        # what stops short of the plane is a notch
        inside = miss > max(3.0 * usual, slack)
        if (~inside).sum() < 4 or bool((inside == ~kept).all()):
            break
        kept = ~inside
        answer = np.linalg.lstsq(design[kept], rows[kept, 2], rcond=None)[0]
    miss = np.abs(rows[:, 2] - design @ answer)
    return float(answer[0]), bool((miss <= slack).mean() >= MOSTLY and float(miss[kept].max()) <= slack)
