"""Small-vector maths on plain tuples: for single points this beats array libraries by far.

Points and vectors are ``Vec = tuple[float, float, float]`` in the drawing's right-handed
world coordinates, in millimetres. Angles are in degrees unless a name ends in ``_rad``.
"""

from __future__ import annotations

from math import atan2, cos, degrees, radians, sin, sqrt
from typing import TYPE_CHECKING

from converter.errors import GeometryError

if TYPE_CHECKING:
    from converter.arrays import Array

Vec = tuple[float, float, float]

#: Degrees; what rounding leaves of a rotation: half a turn is 180 where it comes this near to -180.
TURN_SLACK = 1e-9


def vec_of(row: Array) -> Vec:
    """A row of three numbers of an array."""
    x, y, z = row.tolist()
    return (x, y, z)


def add(a: Vec, b: Vec) -> Vec:
    """a + b."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def sub(a: Vec, b: Vec) -> Vec:
    """a - b."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def scale(a: Vec, k: float) -> Vec:
    """k * a."""
    return (a[0] * k, a[1] * k, a[2] * k)


def along(p: Vec, d: Vec, k: float) -> Vec:
    """The point p + k * d."""
    return (p[0] + d[0] * k, p[1] + d[1] * k, p[2] + d[2] * k)


def dot(a: Vec, b: Vec) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vec, b: Vec) -> Vec:
    """Vector product, right-handed."""
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def norm(a: Vec) -> float:
    """Length of a."""
    return sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])


def distance(a: Vec, b: Vec) -> float:
    """Distance between two points."""
    return norm(sub(a, b))


def within_half_turn(degrees_: float, slack: float = TURN_SLACK) -> float:
    """The same rotation in (-180, 180], to the last digit where it lies there already.

    Half a turn is 180 and none is 0 whichever side rounding leaves them on, by ``slack`` degrees at most.
    """
    value = degrees_ if -180.0 < degrees_ <= 180.0 else 180.0 - (180.0 - degrees_) % 360.0
    if value <= slack - 180.0:
        return 180.0
    return 0.0 if abs(value) < slack else value


def within_turn(degrees_: float, slack: float = 0.0) -> float:
    """The same direction in [0, 360); what lies no more than ``slack`` degrees below a full turn is 0."""
    value = degrees_ % 360.0
    # of a hair below zero the remainder is 360 itself
    return 0.0 if value >= 360.0 - slack else value


def unit(a: Vec) -> Vec:
    """a / |a|.

    Raises:
        GeometryError: a has no length.
    """
    n = norm(a)
    if not n > 0.0:
        raise GeometryError("a direction of no length")
    return (a[0] / n, a[1] / n, a[2] / n)


def any_normal(d: Vec) -> Vec:
    """A unit vector perpendicular to the unit vector d, the same for the same d.

    The arbitrary-axis rule of the DXF reference: near the world z axis use world y, else world z.
    """
    if abs(d[0]) < 1.0 / 64.0 and abs(d[1]) < 1.0 / 64.0:
        return unit(cross((0.0, 1.0, 0.0), d))
    return unit(cross((0.0, 0.0, 1.0), d))


def rotate(v: Vec, axis: Vec, angle: float) -> Vec:
    """v turned about the unit ``axis`` by ``angle`` degrees, right-hand positive (Rodrigues' formula)."""
    a = radians(angle)
    c, s = cos(a), sin(a)
    k = dot(axis, v) * (1.0 - c)
    x = cross(axis, v)
    return (
        v[0] * c + x[0] * s + axis[0] * k,
        v[1] * c + x[1] * s + axis[1] * k,
        v[2] * c + x[2] * s + axis[2] * k,
    )


def angle_between(a: Vec, b: Vec) -> float:
    """Unsigned angle in degrees, 0..180, accurate near both ends (atan2 of sine and cosine)."""
    return degrees(atan2(norm(cross(a, b)), dot(a, b)))


def signed_angle(a: Vec, b: Vec, axis: Vec) -> float:
    """Angle in degrees from a to b about the unit ``axis``, right-hand positive, in (-180, 180].

    For the normals of two successive bend planes and the direction of feed between them this
    is the bend rotation, equal to the dihedral angle of IUPAC's Gold Book, entry T06406.
    Half a turn is 180 whichever side rounding leaves it on.
    """
    value = degrees(atan2(dot(cross(a, b), axis), dot(a, b)))
    return 180.0 if value <= TURN_SLACK - 180.0 else value
