"""Faces that go along a round tube, by the circles across them, and the rows that they make one behind the other.

Each parameter line of a swept face that goes around the tube is a circle; their centres in order are the centerline
(the surface is a canal surface of one radius, its centerline the spine).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, tau
from typing import Any

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.TopoDS import TopoDS

from converter.arrays import Array
from converter.geometry.vectors import cross
from converter.importers.solids.faces import CYLINDER, OTHER, TORUS, Patch, SolidBody
from converter.importers.solids.remains import kernel_faces
from converter.kernel.session import kernel_failure
from converter.tolerances import Tolerances

#: Points around a section; sections of a face at first and at most; degrees that the spine turns between two.
_AROUND, _FEWEST, _MOST, _TURN = 17, 65, 1025, 1.5
#: Sections of a face by which it is told whether it may be swept round.
_TRIAL = 9
#: Kinds of surfaces that may be.
_FREE = (
    GeomAbs_SurfaceType.GeomAbs_BSplineSurface,
    GeomAbs_SurfaceType.GeomAbs_BezierSurface,
    GeomAbs_SurfaceType.GeomAbs_OffsetSurface,
    GeomAbs_SurfaceType.GeomAbs_OtherSurface,
)
#: A face is swept round where at least this part of its sections are circles of one radius, with no more between two
#: such ones than so many diameters: where curves of a road meet, some kernels write a surface that bulges.
_CIRCLES, _GAP = 0.5, 1.0
#: Part of a bore's radius by which it may lie beside the outside's centerline, which goes on straight past its ends.
_ASTRAY = 0.02
#: Part of the way around that must be there, as of any round tube.
_CLOSED = 0.9

# --- sections -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SkinStrip:
    """A face that goes along a round tube.

    Attributes:
        patch: the face.
        centers: (n, 3) of its sections in order.
        radius: mm.
        turn: how far it goes around, radians.
        off: how far points of its sections lie from circles of that radius, mm, at most.
        exact: whether the file calls it a cylinder or a torus.
    """

    patch: Patch
    centers: Array
    radius: float
    turn: float
    off: float = 0.0
    exact: bool = False


def skin_strips(body: SolidBody, shapes: Sequence[Any], tol: Tolerances) -> list[SkinStrip]:
    """The faces of a body that go along something round."""
    faces = kernel_faces(shapes)
    found = []
    for patch in body.patches:
        if patch.shape.kind == OTHER:
            strip = _free_strip(patch, BRepAdaptor_Surface(TopoDS.Face_s(faces[patch.index]), True), tol)
        elif patch.shape.kind == CYLINDER:
            strip = _cylinder_strip(patch, body)
        elif patch.shape.kind == TORUS:
            strip = _torus_strip(patch)
        else:
            strip = None
        if strip is not None:
            found.append(strip)
    return found


def is_swept_round(face: Any, tol: Tolerances) -> bool:
    """Whether a face of free form goes along something round, by a few sections; not where the kernel cannot tell."""
    try:
        surface = BRepAdaptor_Surface(TopoDS.Face_s(face), True)
        return surface.GetType() in _FREE and _direction(surface, tol) is not None
    except Exception as error:
        kernel_failure(error)
        return False


def _cylinder_strip(patch: Patch, body: SolidBody) -> SkinStrip | None:
    rims = [body.rims[k].points for k, _ in patch.rims if len(body.rims[k].points)]
    if not rims:
        return None
    point, axis = np.array(patch.shape.point), np.array(patch.shape.axis)
    along = (np.concatenate(rims) - point) @ axis
    low, high = float(along.min()), float(along.max())
    count = max(2, min(_FEWEST, int((high - low) / max(patch.shape.radius, 1e-9)) + 2))
    centers = point + np.linspace(low, high, count)[:, None] * axis
    turn = min(patch.u[1] - patch.u[0], tau)
    return SkinStrip(patch, centers, patch.shape.radius, turn, patch.shape.residual, True)


def _torus_strip(patch: Patch) -> SkinStrip:
    low, high = patch.u
    t = np.linspace(low, high, max(3, int(degrees(high - low) / _TURN) + 2))
    x, y = np.array(patch.x), np.array(cross(patch.shape.axis, patch.x))
    arms = np.cos(t)[:, None] * x + np.sin(t)[:, None] * y
    centers = np.array(patch.shape.point) + patch.shape.major * arms
    return SkinStrip(patch, centers, patch.shape.radius, min(patch.v[1] - patch.v[0], tau), patch.shape.residual, True)


def _free_strip(patch: Patch, surface: Any, tol: Tolerances) -> SkinStrip | None:
    is_u = _direction(surface, tol)
    if is_u is None:
        return None
    around, ahead = _ranges(surface, is_u)
    count = _FEWEST
    while True:
        found = _sections(surface, around, np.linspace(*ahead, count), is_u, tol)
        if found is None:
            return None
        centers, radius, turn, off = found
        if count >= _MOST or len(centers) < 3 or float(turns_along(centers).max()) <= _TURN:
            return SkinStrip(patch, centers, radius, turn, off)
        count = 2 * count - 1


def _direction(surface: Any, tol: Tolerances) -> bool | None:
    """Whether u goes around a face that is swept round, or v; None where neither does."""
    for is_u in (True, False):
        around, ahead = _ranges(surface, is_u)
        if not all(abs(end) < 1e50 for end in (*around, *ahead)):
            return None
        if _sections(surface, around, np.linspace(*ahead, _TRIAL), is_u, tol) is not None:
            return is_u
    return None


def _ranges(surface: Any, is_u: bool) -> tuple[tuple[float, float], tuple[float, float]]:
    """The ranges of a face's parameters around and ahead."""
    u = (surface.FirstUParameter(), surface.LastUParameter())
    v = (surface.FirstVParameter(), surface.LastVParameter())
    return (u, v) if is_u else (v, u)


def _sections(
    surface: Any, around: tuple[float, float], places: Array, is_u: bool, tol: Tolerances
) -> tuple[Array, float, float, float] | None:
    """Centres, radius (mm), how far around (radians) and how far off (mm) sections of a face are; None if not round."""
    steps = np.linspace(*around, _AROUND).tolist()
    rows = [[surface.Value(a, s) if is_u else surface.Value(s, a) for a in steps] for s in places.tolist()]
    points = np.array([[(p.X(), p.Y(), p.Z()) for p in row] for row in rows])
    circles = _circles(points)
    if circles is None:
        return None
    centers, radii, off = circles
    radius = float(np.median(radii))
    good = (off <= tol.fit) & (np.abs(radii - radius) <= tol.fit)
    if int(good.sum()) < max(3, _CIRCLES * len(points)):
        return None
    centers = centers[good]
    arms = points[good] - centers[:, None]
    angles = np.arccos(np.clip((arms[:, 1:] * arms[:, :-1]).sum(axis=2) / radius**2, -1.0, 1.0))
    turn = float(np.median(angles.sum(axis=1)))
    if float(np.linalg.norm(np.diff(centers, axis=0), axis=1).max()) > max(2.0 * _GAP * radius, _long_step(points)):
        return None
    off = np.abs(np.linalg.norm(arms, axis=2) - radius)
    if not good.all():
        off = np.abs(away(points.reshape(-1, 3), centers) - radius)
    return centers, radius, min(turn, tau), float(off.max())


def _long_step(points: Array) -> float:
    """The longest way between neighbouring sections, mm, and a little."""
    means = points.mean(axis=1)
    return 1.5 * float(np.linalg.norm(np.diff(means, axis=0), axis=1).max())


def _circles(points: Array) -> tuple[Array, Array, Array] | None:
    """The least-squares circle of each row of points (rows, n, 3): centres, radii, how far points are off it, mm."""
    means = points.mean(axis=1, keepdims=True)
    arms = points - means
    _, sizes, ways = np.linalg.svd(arms, full_matrices=False)
    if not (sizes[:, 1] > 1e-9 * max(float(sizes.max()), 1e-300)).all():
        return None
    flat = arms @ np.swapaxes(ways[:, :2], 1, 2)
    square = (flat * flat).sum(axis=2)
    rows = np.concatenate((2.0 * flat, np.ones((*flat.shape[:2], 1))), axis=2)
    solved = np.einsum("nij,nj->ni", np.linalg.pinv(rows), square)
    radii = np.sqrt(np.maximum(solved[:, 2] + (solved[:, :2] ** 2).sum(axis=1), 0.0))
    centers = means[:, 0] + np.einsum("ni,nij->nj", solved[:, :2], ways[:, :2])
    round_off = np.abs(np.linalg.norm(points - centers[:, None], axis=2) - radii[:, None]).max(axis=1)
    level_off = np.abs(arms @ ways[:, 2, :, None])[:, :, 0].max(axis=1)
    return centers, radii, np.maximum(round_off, level_off)


def turns_along(points: Array) -> Array:
    """How far a row of points turns at each inner one, degrees."""
    legs = np.diff(points, axis=0)
    legs /= np.maximum(np.linalg.norm(legs, axis=1), 1e-300)[:, None]
    found: Array = np.degrees(np.arccos(np.clip((legs[1:] * legs[:-1]).sum(axis=1), -1.0, 1.0)))
    return found


# --- rows of strips ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SkinRow:
    """Strips of one radius that follow each other.

    Attributes:
        centers: (n, 3) of all, in order, each once.
        radius, off: mm.
        faces: numbers of the faces.
        closed: whether it comes back to where it begins.
    """

    centers: Array
    radius: float
    off: float
    faces: set[int]
    closed: bool

    def extended(self) -> Array:
        """Its centres, gone on straight for four diameters beyond both ends."""
        if self.closed or len(self.centers) < 2:
            return self.centers
        first, last = (ends[0] - ends[1] for ends in (self.centers[:2], self.centers[:-3:-1]))
        out = [8.0 * self.radius * way / np.linalg.norm(way) for way in (first, last)]
        return np.concatenate(([self.centers[0] + out[0]], self.centers, [self.centers[-1] + out[1]]))


def free_radii(strips: list[SkinStrip], below: float, tol: Tolerances) -> list[float]:
    """The radii of free strips below another, the largest first."""
    free = sorted((s.radius for s in strips if not s.exact and s.radius < below - tol.fit), reverse=True)
    return [r for k, r in enumerate(free) if not k or free[k - 1] - r > tol.fit]


def skin_row(strips: list[SkinStrip], radius: float, tol: Tolerances, around: SkinRow | None = None) -> SkinRow | None:
    """The strips of a radius as one row; None where they make none that goes all around.

    Args:
        around: the outside that it is to lie in, on its centerline.
    """
    own = [s for s in strips if abs(s.radius - radius) <= tol.fit + s.off]
    if around is not None:
        own = [
            s
            for s in own
            if s.patch.index not in around.faces
            and float(away(s.centers, around.extended()).max()) <= 2.0 * tol.fit + _ASTRAY * radius
        ]
    # what goes around by half is a hole or a slot; a free face that does is no tube's
    stretches = [one for one in _stretches(own, tol) if _goes_around(one) or not all(s.exact for s in one)]
    free = [k for k, one in enumerate(stretches) if any(not s.exact for s in one)]
    if not free:
        return None
    ways = [one[0].centers for one in stretches]
    order = _ordered(ways, free[0], tol.join + 0.02 * radius)
    if any(k not in {j for j, _ in order} for k in free):
        return None  # in several parts
    used = [stretches[k] for k, _ in order]
    if not all(map(_goes_around, used)):
        return None
    rows = [ways[k][::-1] if back else ways[k] for k, back in order]
    centers = np.concatenate(
        [
            rows[0],
            *(
                row[1:] if np.allclose(row[0], before[-1], atol=tol.join) else row
                for before, row in itertools.pairwise(rows)
            ),
        ]
    )
    closed = bool(np.linalg.norm(centers[0] - centers[-1]) <= tol.join)
    faces = {s.patch.index for one in used for s in one}
    return SkinRow(
        centers,
        float(np.median([s.radius for one in used for s in one])),
        max(s.off for one in used for s in one),
        faces,
        closed,
    )


def _goes_around(stretch: list[SkinStrip]) -> bool:
    return sum(strip.turn for strip in stretch) >= _CLOSED * tau


def _stretches(strips: list[SkinStrip], tol: Tolerances) -> list[list[SkinStrip]]:
    """Strips side by side around the same stretch of centerline put together: halves and quarters."""
    found: list[list[SkinStrip]] = []
    for strip in sorted(strips, key=lambda s: s.patch.index):
        for one in found:
            ends = one[0].centers[[0, -1]], strip.centers[[0, -1]]
            if min(np.abs(ends[0] - ends[1]).max(), np.abs(ends[0] - ends[1][::-1]).max()) <= tol.join and (
                float(away(strip.centers, one[0].centers).max()) <= 2.0 * tol.fit
            ):
                one.append(strip)
                break
        else:
            found.append([strip])
    return found


def _ordered(ways: list[Array], first: int, gap: float) -> list[tuple[int, bool]]:
    """Rows of points head to tail around the one of number ``first``, each with whether it is run backward."""
    order = [(first, False)]
    left = set(range(len(ways))) - {first}
    for at_end in (True, False):
        while left:
            k, back = order[-1] if at_end else order[0]
            end = ways[k][-1 if at_end != back else 0]
            spots = [(float(np.linalg.norm(ways[j][side] - end)), j, side) for j in left for side in (0, -1)]
            far, j, side = min(spots)
            if far > gap:
                break
            left.discard(j)
            # run forward where its start is met from before, or its end from behind
            step = (j, (side != 0) == at_end)
            order.insert(len(order) if at_end else 0, step)
    return order


def away(points: Array, row: Array) -> Array:
    """How far points lie from a row of points joined by straights, mm."""
    a, legs = row[:-1], np.diff(row, axis=0)
    lengths = np.maximum((legs * legs).sum(axis=1), 1e-300)
    best = np.full(len(points), np.inf)
    for part in np.array_split(np.arange(len(a)), max(1, len(a) * len(points) // 500_000 + 1)):
        arms = points[:, None] - a[None, part]
        t = np.clip((arms * legs[part]).sum(axis=2) / lengths[part], 0.0, 1.0)
        best = np.minimum(best, np.linalg.norm(arms - t[:, :, None] * legs[part], axis=2).min(axis=1))
    return best
