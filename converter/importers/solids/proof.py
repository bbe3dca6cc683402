"""The proof: how far a solid's own surface lies from the tube that the table makes.

Points are taken on every face of the outside and the bore (not on the cuts): along all its
edges and on a grid inside. Each one's distance from the rebuilt centerline should be the
radius of the outside or of the bore.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array
from converter.geometry.vectors import Vec, add, cross, scale
from converter.importers.solids.faces import TORUS, Patch, SolidBody
from converter.importers.solids.pieces import TubePiece
from converter.model.curve import Arc, Line, Segment

_GRID = 5
_UNIT = np.linspace(0.1, 0.9, _GRID)


def deviation(body: SolidBody, pieces: list[tuple[TubePiece, float]], segments: tuple[Segment, ...]) -> float:
    """Largest distance in mm of the faces of ``pieces`` from the rebuilt surface.

    Args:
        body: holds the faces' edges.
        pieces: outside and bore pieces, each with the radius its faces should have.
        segments: the rebuilt centerline; its free ends count as running on.
    """
    if not segments or not pieces:
        return 0.0
    every_piece = [piece for piece, _ in pieces]
    rows = _points(body, every_piece)
    counts = [sum(map(len, own)) for own in rows]
    if not any(counts):
        return 0.0
    every = np.concatenate([one for own in rows for one in own])
    owner = np.repeat(_owners(every_piece, segments), counts)
    radius_of = np.repeat([radius for _, radius in pieces], counts)
    off = np.abs(_away(every, owner, segments) - radius_of)
    worst = float(off.max())
    if worst > 1e-6:
        # what lies on the neighbour's stretch counts as the neighbour's
        doubtful = np.flatnonzero(off > 1e-6)
        for step in (-1, 1):
            other = np.clip(owner[doubtful] + step, 0, len(segments) - 1)
            off[doubtful] = np.minimum(
                off[doubtful], np.abs(_away(every[doubtful], other, segments, True) - radius_of[doubtful])
            )
        worst = float(off.max())
    return worst


def _middle(one: Line) -> Vec:
    return scale(add(one.start, one.end), 0.5)


def _owners(pieces: Sequence[TubePiece], segments: Sequence[Segment]) -> NDArray[np.intp]:
    """The rebuilt straights or arcs that pieces became: of their kind, those whose middles lie nearest to their own."""
    bent = np.array([isinstance(one, Arc) for one in segments])
    middles = np.array([one.point(one.angle / 2.0) if isinstance(one, Arc) else _middle(one) for one in segments])
    own = np.array([piece.axis.at((piece.lo + piece.hi) / 2.0) for piece in pieces])
    off = np.linalg.norm(own[:, None] - middles, axis=2)
    of_kind = np.array([piece.axis.is_ring for piece in pieces])[:, None] == bent
    # any of its kind comes before all others
    off = np.where(of_kind, off, off + off.max() + 1.0)
    found: NDArray[np.intp] = off.argmin(axis=1)
    return found


def _points(body: SolidBody, pieces: list[TubePiece]) -> list[list[Array]]:
    """Of each piece the points of its faces, and of each of their edges once."""
    grids = iter(face_grids([patch for piece in pieces for patch in piece.patches if patch.samples is None]))
    found = []
    for piece in pieces:
        rows = [next(grids) if patch.samples is None else patch.samples for patch in piece.patches]
        edges = dict.fromkeys(index for patch in piece.patches for index, _ in patch.rims)
        found.append(rows + [body.rims[index].points for index in edges])
    return found


def face_grids(patches: Sequence[Patch]) -> Array:
    """Grids on faces of the kind their file names, from their own numbers: (faces, points, 3)."""
    if not patches:
        return np.empty((0, _GRID * _GRID, 3))
    shapes = [patch.shape for patch in patches]
    d, x = np.array([shape.axis for shape in shapes]), np.array([patch.x for patch in patches])
    y = np.array([cross(patch.shape.axis, patch.x) for patch in patches])
    ends = np.array([(*patch.u, *patch.v) for patch in patches])
    u = ends[:, 0, None] + (ends[:, 1] - ends[:, 0])[:, None] * _UNIT
    v = ends[:, 2, None] + (ends[:, 3] - ends[:, 2])[:, None] * _UNIT
    out = np.cos(u)[:, :, None] * x[:, None] + np.sin(u)[:, :, None] * y[:, None]
    size = np.array([(shape.radius, shape.major, shape.taper) for shape in shapes])
    ring = np.array([shape.kind == TORUS for shape in shapes])[:, None]
    length = np.where(ends[:, 3] > ends[:, 2], ends[:, 3] - ends[:, 2], 1.0)[:, None]
    widened = size[:, 2, None] / 2.0 * ((v - ends[:, 2, None]) / length - 0.5)
    radius = np.where(ring, size[:, 1, None] + size[:, 0, None] * np.cos(v), size[:, 0, None] + widened)
    height = np.where(ring, size[:, 0, None] * np.sin(v), v)
    grid = out[:, :, None, :] * radius[:, None, :, None] + height[:, None, :, None] * d[:, None, None, :]
    points: Array = grid.reshape(len(patches), -1, 3) + np.array([shape.point for shape in shapes])[:, None]
    return points


def _away(points: Array, owner: NDArray[np.intp], segments: tuple[Segment, ...], clamp: bool = False) -> Array:
    """Distance of each point from its segment's line or circle; beyond its ends from the end when ``clamp``."""
    out = np.empty(len(points))
    count = len(segments)
    table = np.zeros((count, 11))
    bent = np.zeros(count, bool)
    for i, one in enumerate(segments):
        bent[i] = isinstance(one, Arc)
        if isinstance(one, Arc):
            table[i] = [*one.center, *one.normal, one.radius, one.angle, *one.start]
        else:
            table[i] = [*one.start, *one.direction, one.length, 0.0, *one.end]
    arc = bent[owner]
    rows = table[owner]
    if not arc.all():
        p, r = points[~arc], rows[~arc]
        arm = p - r[:, 0:3]
        s = (arm * r[:, 3:6]).sum(axis=1)
        if clamp:
            s = np.clip(s, 0.0, r[:, 6])
        off = arm - s[:, None] * r[:, 3:6]
        out[~arc] = np.sqrt((off * off).sum(axis=1))
    if arc.any():
        p, r = points[arc], rows[arc]
        arm = p - r[:, 0:3]
        height = (arm * r[:, 3:6]).sum(axis=1)
        flat = arm - height[:, None] * r[:, 3:6]
        rho = np.sqrt((flat * flat).sum(axis=1))
        out[arc] = np.hypot(rho - r[:, 6], height)
        if clamp:
            start = r[:, 8:11] - r[:, 0:3]
            side = np.cross(r[:, 3:6], start)
            turn = np.degrees(np.arctan2((flat * side).sum(axis=1), (flat * start).sum(axis=1))) % 360.0
            outside = (turn > r[:, 7] + 1e-6) & (turn < 360.0 - 1e-6)
            out[np.flatnonzero(arc)[outside]] = np.inf
    return out
