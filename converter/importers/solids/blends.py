"""Fillets and weld beads around a tube's end: what lies behind them, and how far the tube would reach on it."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, sqrt, tau

import numpy as np

from converter.geometry.vectors import Vec, along, cross, dot, sub
from converter.importers.solids.faces import CONE, CYLINDER, OTHER, PLANE, TORUS, Patch, Rim, SolidBody
from converter.importers.solids.pieces import TubePiece

#: A blend reaches further from the axis than this many outside radii.
_WIDER = 1.001
#: Places around a tube at which it is asked how far it reaches on a mate.
_AROUND = 360


def across_blends(
    body: SolidBody, piece: TubePiece, cuts: list[Patch], own: set[int]
) -> Iterator[tuple[Patch, Rim, bool]]:
    """The faces on the other side of the fillets and weld beads among what ends a tube.

    Args:
        cuts: faces that end its outside.
        own: numbers of its faces, and of its bore's.

    Yields:
        Flat and round faces, each with the edge that it has in common with a blend and how the blend runs it.
    """
    blends = [patch for patch in cuts if patch.shape.kind in (TORUS, CONE, OTHER) and _widens(body, patch, piece)]
    mine = own | {patch.index for patch in blends}
    for blend in blends:
        for number, forward in blend.rims:
            rim = body.rims[number]
            for k in rim.faces:
                if k not in mine and len(rim.points) and body.patches[k].shape.kind in (PLANE, CYLINDER, TORUS):
                    yield body.patches[k], rim, forward


def _widens(body: SolidBody, patch: Patch, piece: TubePiece) -> bool:
    """Whether a face reaches out beyond the tube, as what fills the corner to something wider does."""
    rows = [body.rims[number].points for number, _ in patch.rims if len(body.rims[number].points)]
    if piece.axis.is_ring or not rows:
        return False
    arms = np.concatenate(rows) - np.array(piece.axis.point)
    off = np.linalg.norm(np.cross(arms, np.array(piece.axis.direction)), axis=1)
    return bool(off.max() > _WIDER * piece.radius)


def reach_on(piece: TubePiece, t: float, out: Vec, face: Patch) -> float | None:
    """How far the outside of a straight tube reaches past its centerline's end to a plane or cylinder across it, mm.

    Args:
        piece: its last straight.
        t: where the centerline ends.
        out: the direction out of the tube there.
        face: what it ends on; None comes back of other kinds, and where the tube passes beside it.
    """
    shape, point = face.shape, piece.axis.at(t)
    if shape.kind == PLANE:
        slope = abs(dot(shape.axis, out))
        return piece.radius * sqrt(max(0.0, 1.0 - slope * slope)) / slope if slope > 0.0 else None
    if shape.kind != CYLINDER:
        return None
    # of each line of the outside the first place on the cylinder: |(p + s out - c) x u| = R
    d = cross(out, shape.axis)
    a = dot(d, d)
    if a <= 0.0:
        return None
    best = None
    for k in range(_AROUND):
        arm = along((0.0, 0.0, 0.0), piece.axis.x, piece.radius * cos(tau * k / _AROUND))
        arm = along(arm, piece.axis.y, piece.radius * cos(tau * (k / _AROUND - 0.25)))
        w = cross(sub(along(point, arm, 1.0), shape.point), shape.axis)
        b, c = dot(w, d) / a, (dot(w, w) - shape.radius**2) / a
        s = -b - sqrt(max(0.0, b * b - c))
        best = s if best is None else max(best, s)
    return best
