"""LINE, ARC, CIRCLE and ELLIPSE as our curves.

Each converter takes an entity's attributes as the DXF library holds them and the factor
from drawing units to mm. ARC and CIRCLE live in an object coordinate system (OCS): centre
and angles are measured in axes that the extrusion direction gives by the arbitrary-axis
rule of the DXF reference, so an extrusion of (0, 0, -1) mirrors them. LINE and ELLIPSE are
in world coordinates.
"""

from __future__ import annotations

from functools import lru_cache
from math import cos, degrees, isfinite, pi, sin
from typing import Any

from converter.errors import GeometryError
from converter.geometry.vectors import Vec, any_normal, cross, norm, scale, unit
from converter.importers.dxf.left_out import LeftOut
from converter.limits import FARTHEST
from converter.model.curve import Arc, Ellipse, Line, check_finite, too_far
from converter.tolerances import DEFAULT

#: shorter than this (mm) is no length: the rounding of CAD files
TINY = DEFAULT.equal
#: a turn this close (degrees) to none or to a whole one is that
_WHOLE = 1e-9

_Z: Vec = (0.0, 0.0, 1.0)
_WORLD: tuple[Vec, Vec, Vec] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), _Z)

Attributes = dict[str, Any]


class NoRadius(LeftOut):
    """An arc of no radius: nothing by itself, but a flattening writer leaves such marks.

    Attributes:
        center: its centre, mm.
    """

    def __init__(self, center: Vec) -> None:
        super().__init__("no radius")
        self.center = center


@lru_cache(maxsize=4096)
def ocs_axes(extrusion: Vec) -> tuple[Vec, Vec, Vec]:
    """World directions of the OCS axes for an extrusion direction (arbitrary-axis rule).

    An extrusion of no length counts as (0, 0, 1), as in the DXF reference's default.
    """
    if extrusion == _Z or norm(extrusion) == 0.0:
        return _WORLD
    z = unit(extrusion)
    x = any_normal(z)
    return (x, cross(z, x), z)


def extrusion_axes(attributes: Attributes) -> tuple[Vec, Vec, Vec]:
    """The OCS axes of an entity."""
    extrusion = attributes.get("extrusion")
    return _WORLD if extrusion is None else ocs_axes(extrusion.xyz)


def line(entity: Any, d: Attributes, k: float) -> Line:
    """A LINE: two points in world coordinates.

    Raises:
        LeftOut: it has no length, or an end is missing in the file.
    """
    if "start" not in d or "end" not in d:
        # the DXF library would put a lost end at the origin, a wrong tube in silence
        raise LeftOut("a line of which an end is missing", unread=True)
    p: Vec = d["start"].xyz
    q: Vec = d["end"].xyz
    if k != 1.0:
        p = (p[0] * k, p[1] * k, p[2] * k)
        q = (q[0] * k, q[1] * k, q[2] * k)
    if abs(q[0] - p[0]) + abs(q[1] - p[1]) + abs(q[2] - p[2]) < TINY:
        raise LeftOut("no length")
    return Line(p, q)


def arc(entity: Any, d: Attributes, k: float) -> Arc:
    """An ARC: counter-clockwise in its OCS from the start to the end angle, whatever turn those are written in.

    Raises:
        NoRadius: it has no radius.
        LeftOut: it has no length, or a value is missing in the file.
        GeometryError: an angle is not a finite number.
    """
    if "start_angle" not in d or "end_angle" not in d:
        raise LeftOut("an arc of which an angle is missing", unread=True)
    first = d["start_angle"]
    turn = d["end_angle"] - first
    if not isfinite(turn):
        raise GeometryError("an arc has an angle that is not a finite number", code="not-finite")
    sweep = turn % 360.0
    if sweep < _WHOLE or sweep > 360.0 - _WHOLE:
        if 0.0 < abs(turn) < _WHOLE:
            raise LeftOut("no length")
        sweep = 360.0  # equal angles draw the whole circle
    return _circular(d, k, first, sweep)


def circle(entity: Any, d: Attributes, k: float) -> Arc:
    """A CIRCLE: a whole turn that starts on its OCS x axis.

    Raises:
        NoRadius: it has no radius.
    """
    return _circular(d, k, 0.0, 360.0)


def _circular(d: Attributes, k: float, first: float, sweep: float) -> Arc:
    if "center" not in d or "radius" not in d:
        raise LeftOut("an arc of which centre or radius is missing", unread=True)
    cx, cy, cz = d["center"].xyz
    r = abs(d["radius"]) * k  # the sign of a radius is ignored by CAD packages
    if k != 1.0:
        cx, cy, cz = cx * k, cy * k, cz * k
    extrusion = d.get("extrusion")
    axes = _WORLD if extrusion is None else ocs_axes(extrusion.xyz)
    a = first * pi / 180.0
    b = (first + sweep) * pi / 180.0
    start = (cx + r * cos(a), cy + r * sin(a), cz)
    end = start if sweep == 360.0 else (cx + r * cos(b), cy + r * sin(b), cz)
    center = (cx, cy, cz)
    if axes is not _WORLD:
        center, start, end = _to_world(axes, center), _to_world(axes, start), _to_world(axes, end)
    if r < TINY:
        raise NoRadius(center)
    return Arc(center, axes[2], r, start, end, sweep)


def _to_world(axes: tuple[Vec, Vec, Vec], p: Vec) -> Vec:
    x, y, z = axes
    a, b, c = p
    return (
        x[0] * a + y[0] * b + z[0] * c,
        x[1] * a + y[1] * b + z[1] * c,
        x[2] * a + y[2] * b + z[2] * c,
    )


def ellipse(entity: Any, d: Attributes, k: float) -> Ellipse | Arc:
    """An ELLIPSE: centre and major axis in world coordinates, parameters in radians; an arc when it is round.

    Raises:
        LeftOut: it has no size, or a value is missing in the file.
        GeometryError: a value is not a finite number.
    """
    if "center" not in d or "major_axis" not in d or "ratio" not in d:
        raise LeftOut("an ellipse of which a value is missing", unread=True)
    center = scale(d["center"].xyz, k)
    major = scale(d["major_axis"].xyz, k)
    ratio = abs(d["ratio"])
    first = degrees(d.get("start_param", 0.0))
    turn = degrees(d.get("end_param", 2.0 * pi)) - first
    check_finite(*center, *major, ratio, turn)
    longest = max(map(abs, major)) * max(1.0, ratio)
    if longest > FARTHEST:
        raise too_far(longest)
    size = norm(major)
    if size < TINY or size * ratio < TINY:
        raise LeftOut("an ellipse without width")
    extrusion = d.get("extrusion")
    normal = _Z if extrusion is None or norm(extrusion.xyz) == 0.0 else unit(extrusion.xyz)
    across = cross(normal, major)
    if norm(across) < TINY:
        raise LeftOut("an ellipse whose plane is not defined", unread=True)
    minor = scale(unit(across), size * ratio)
    sweep = turn % 360.0
    if sweep < _WHOLE or sweep > 360.0 - _WHOLE:
        if 0.0 < abs(turn) < _WHOLE:
            raise LeftOut("no length")
        sweep = 360.0
    shape = Ellipse(center, major, minor, first, first + sweep)
    if abs(ratio - 1.0) > 1e-9:
        return shape
    start = shape.start
    return Arc(center, unit(cross(major, minor)), size, start, start if sweep == 360.0 else shape.end, sweep)
