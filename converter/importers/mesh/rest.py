"""What of a body's surface is not the round tube's that was found in it."""

from __future__ import annotations

import numpy as np

from converter.arrays import Array
from converter.findings import Finding
from converter.geometry.circles import vec
from converter.importers.mesh.feet import TablePart, feet_of
from converter.importers.mesh.weld import MeshBody

#: Triangles that are looked at, and of these the largest ones: lugs and flanges are of few, large ones.
MOST_LOOKED_AT, LARGEST = 8_000, 1_000
#: Share of the surface, and of the radius that it reaches off the tube, that are told.
LEAST_SHARE, LEAST_AWAY = 0.002, 0.1


def rest_finding(
    body: MeshBody, parts: list[TablePart], radius: float, slack: float, span: tuple[float, float] | None
) -> Finding | None:
    """What lies outside a tube, or beyond its ends, told; None where that is next to nothing.

    Args:
        body: the tube, and perhaps more.
        parts: of the tube, as fitted.
        radius: of its outside, mm.
        slack: by which its own surface may lie off it, mm.
        span: how far its metal reaches, mm along ``parts``; None of a closed one.
    """
    faces, areas = body.faces, body.areas
    if len(faces) > MOST_LOOKED_AT:
        some = np.arange(0, len(faces), 1 + len(faces) // MOST_LOOKED_AT)
        large = np.argpartition(areas, -LARGEST)[-LARGEST:]
        some = np.union1d(some, large)
        faces, areas = faces[some], areas[some]
    # their middles: of what stands on a tube each triangle may have a corner there
    away = _away(body.points[faces].mean(axis=1), parts, radius, span)
    beyond = away > slack
    share = float(areas[beyond].sum() / body.areas.sum())
    if share < LEAST_SHARE:
        return None
    points = body.points[np.unique(faces[beyond])]
    farthest = float(_away(points, parts, radius, span).max())
    if farthest < LEAST_AWAY * radius:
        return None
    place = vec((points.min(axis=0) + points.max(axis=0)) / 2.0)
    values = {"percent": 100.0 * share, "away": farthest, "place": place}
    return Finding("mesh-rest", tube="", measured=100.0 * share, at=place, values=values)


def _away(points: Array, parts: list[TablePart], radius: float, span: tuple[float, float] | None) -> Array:
    """How far points lie outside a tube, or beyond its ends, mm; less than nothing within its metal."""
    feet = feet_of(points, parts, 0.0)  # an end that was prolonged may run through the tube elsewhere
    away = feet.off - radius
    if span is None:
        return away
    return np.maximum(away, np.maximum(span[0] - feet.place, feet.place - span[1]))
