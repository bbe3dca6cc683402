"""The volume of a solid: by the kernel, which integrates face by face, and in closed form where its faces are plain.

By the divergence theorem three times the volume is the flux of the place through the faces. It is elementary through
a plane bounded by lines and circular arcs, and through a cylinder or torus that is cut along its own directions, as
the skins of tubes are. Whatever else a body has, it is left to the kernel.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from math import cos, sin
from typing import Any, TypeVar

import numpy as np
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps

from converter.arrays import Array
from converter.geometry.vectors import Vec, along, cross, dot, norm, scale, sub
from converter.importers.solids.faces import CYLINDER, PLANE, TORUS, Patch, SolidBody

Answer = TypeVar("Answer")

#: mm by which the edges of a skin may stray from lines along its own directions.
_STRAY = 1e-3


def signed_volume(solid: Any) -> float:
    """A solid's volume by the kernel, mm3: below 0 where its faces look into the metal."""
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, props)
    return float(props.Mass())


def volume_of(solid: Any) -> float:
    """A solid's volume by the kernel, mm3, whichever way its faces look."""
    return abs(signed_volume(solid))


@dataclass(frozen=True)
class BodyVolume:
    """The volume of a solid, asked of the kernel only where it matters: that takes milliseconds for a bent tube.

    Attributes:
        solid: the kernel's.
        body: its faces.
    """

    solid: Any
    body: SolidBody

    @cached_property
    def by_kernel(self) -> float:
        """By the kernel, mm3."""
        return volume_of(self.solid)

    @cached_property
    def by_faces(self) -> float | None:
        """By its faces in closed form, mm3; None where they are not plain enough."""
        volume = volume_within(self.body)
        return None if volume is None else abs(volume)

    def tells(self, told: Callable[[float], Answer]) -> Answer:
        """What is told of the volume: nothing where the faces give no cause, else what the kernel's number tells."""
        if self.by_faces is not None and not (nothing := told(self.by_faces)):
            return nothing
        return told(self.by_kernel)


def volume_within(body: SolidBody) -> float | None:
    """The volume that the faces of a closed body enclose, mm3: below 0 where they look into the metal.

    Returns:
        None where a face is of another kind or cut otherwise than told above, or an edge has no face on both sides.
    """
    if any(patch.samples is not None or patch.shape.kind not in (PLANE, CYLINDER, TORUS) for patch in body.patches):
        return None
    rims = [rim for rim in body.rims if len(rim.points)]
    if not rims or any(len(rim.faces) != 2 for rim in rims):
        return None
    x, y, z = rims[0].points[0].tolist()
    skins: list[Patch] = []
    flux = 0.0
    for patch in body.patches:
        if patch.shape.kind != PLANE:
            skins.append(patch)
            continue
        through = _through_plane(patch, body, (x, y, z))
        if through is None:
            return None
        flux += through
    if not _are_cut_along(skins, body):
        return None
    for patch in skins:
        flux_of = _through_cylinder if patch.shape.kind == CYLINDER else _through_torus
        flux += patch.sign * flux_of(patch, sub(patch.shape.point, (x, y, z)))
    return flux / 3.0


def _through_plane(patch: Patch, body: SolidBody, origin: Vec) -> float | None:
    """The flux through a flat face; None where an edge is no line or arc, or its edges make no sense."""
    area: Vec = (0.0, 0.0, 0.0)
    for number, forward in patch.rims:
        swept = body.rims[number].swept
        if swept is None:
            return None
        area = along(area, swept, 1.0 if forward else -1.0)
    out = scale(patch.shape.axis, float(patch.sign))
    size = dot(area, out)
    if size <= 0.0 or norm(along(area, out, -size)) > 1e-6 * size:
        return None
    return dot(sub(patch.shape.point, origin), out) * size


def _around(patch: Patch) -> tuple[float, Vec]:
    """How far a skin goes around its axis, radians, and the integral of the direction out from it over that."""
    (low, high), x = patch.u, patch.x
    y = cross(patch.shape.axis, x)
    return high - low, along(scale(x, sin(high) - sin(low)), y, cos(low) - cos(high))


def _through_cylinder(patch: Patch, center: Vec) -> float:
    """The flux out of a cylinder's axis through a stretch of it; ``center``: its point, from where places count."""
    turn, ways = _around(patch)
    radius = patch.shape.radius
    return radius * (patch.v[1] - patch.v[0]) * (radius * turn + dot(center, ways))


def _through_torus(patch: Patch, center: Vec) -> float:
    """The flux out of a torus's ring through a stretch of it, as of `_through_cylinder`."""
    turn, ways = _around(patch)
    major, minor = patch.shape.major, patch.shape.radius
    low, high = patch.v
    up, out = dot(center, patch.shape.axis), dot(center, ways)
    # integrals over the angle w around the tube of 1, cos w, cos^2 w, sin w, sin w cos w
    one, c, s = high - low, sin(high) - sin(low), cos(low) - cos(high)
    cc, sc = (one + (sin(2.0 * high) - sin(2.0 * low)) / 2.0) / 2.0, (cos(2.0 * low) - cos(2.0 * high)) / 4.0
    # of minor (major + minor cos w) (minor + (major + out) cos w + up sin w), out by its integral over the turn
    level = minor * (major * one + minor * c) + major * (major * c + minor * cc) + up * (major * s + minor * sc)
    return minor * (turn * level + out * (major * c + minor * cc))


def _are_cut_along(skins: list[Patch], body: SolidBody) -> bool:
    """Whether each skin is all of the range that its parameters give: every edge of it lies on the edge of that."""
    if not skins:
        return True
    rows = [[body.rims[number].points for number, _ in patch.rims] for patch in skins]
    counts = [sum(map(len, own)) for own in rows]
    if not all(counts):
        return False
    points = np.concatenate([points for own in rows for points in own])
    numbers = [
        (*one.shape.point, *one.shape.axis, *one.x, *cross(one.shape.axis, one.x), one.shape.major, one.shape.radius)
        for one in skins
    ]
    known = np.repeat(
        np.array([(*row, *one.u, *one.v) for row, one in zip(numbers, skins, strict=True)]), counts, axis=0
    )
    ring, tube = known[:, 12], known[:, 13]
    arms = points - known[:, 0:3]
    height, p, q = (np.einsum("ij,ij->i", arms, known[:, k : k + 3]) for k in (3, 6, 9))
    far = np.hypot(p, q)
    off = _turns_off(np.arctan2(q, p), known[:, 14], known[:, 15]) * far
    across = np.minimum(np.abs(height - known[:, 16]), np.abs(height - known[:, 17]))
    wrapped = _turns_off(np.arctan2(height, far - ring), known[:, 16], known[:, 17]) * tube
    off = np.minimum(off, np.where(ring > 0.0, wrapped, across))
    return bool(off.max() <= _STRAY)


def _turns_off(angle: Array, low: Array, high: Array) -> Array:
    """How far angles are from the nearer of two others, radians, whole turns aside."""
    turn = 2.0 * np.pi
    return np.minimum(*(np.abs((angle - one + np.pi) % turn - np.pi) for one in (low, high)))
