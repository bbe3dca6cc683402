"""The zero line of an end: where the template's first edge goes, and how a person finds it.

On a bent tube it is the outside of the bend nearest to that end. A straight tube has nothing to
go by but its ends: its zero line runs through the long point of the cut at end A (at end B when
only that end is cut) along the whole tube, so that both templates are clocked to one another.
"""

from __future__ import annotations

from collections.abc import Sequence

from converter.geometry.vectors import Vec, along, cross, dot, norm, scale
from converter.joints.bodies import Body, End
from converter.joints.model import Joint
from converter.joints.saddle import angles, extremes
from converter.units import Display

#: Long points closer than this (mm) are equally long.
_EQUAL = 1e-7
_COARSE = 1.0


def bend_zero(end: End, display: Display) -> tuple[Vec, str] | None:
    """The outside of the nearest bend and how to find it; None for a tube without bends."""
    if end.outside is None:
        return None
    where = (
        f"whose tangent point lies {display.length(end.straight)} from the centerline's end {end.letter}"
        if end.straight > 1e-6
        else f"which starts at the centerline's end {end.letter} itself"
    )
    return end.outside, f"the outside of bend {end.bend}, {where}"


def clocked(joints: Sequence[Joint], bodies: dict[str, Body], display: Display) -> list[Joint]:
    """The joints with the zero lines of straight tubes settled (bent tubes have theirs already)."""
    ends: dict[str, dict[str, int]] = {}
    for i, joint in enumerate(joints):
        ends.setdefault(joint.tube, {})[joint.end] = i
    done = list(joints)
    for name, found in ends.items():
        if bodies[name].ends[0].outside is not None:
            continue
        leader = "A" if "A" in found else "B"
        joint = joints[found[leader]]
        zero, square = long_direction(joint)
        words = f"through the long point of this cut, end {leader} (the tube has no bend)"
        if square:
            words = f"anywhere, since the cut at end {leader} is square and the tube has no bend"
        done[found[leader]] = joint.turned(zero, words)
        for letter, i in found.items():
            if letter != leader:
                where = f"the long point of the cut at end {leader}"
                if square:
                    zero, where = long_direction(joints[i])[0], "the long point of this cut"
                    done[found[leader]] = joint.turned(zero, "in line with the long point of the cut at end B")
                done[i] = joints[i].turned(zero, f"in line with {where} (the tube has no bend)")
    return done


def long_direction(joint: Joint) -> tuple[Vec, bool]:
    """Unit vector from the axis to the long point, and whether the cut is square, so that it is anywhere.

    Of equally long points the one highest in the drawing is taken (z, then y, then x).
    """
    d = joint.direction
    k = cross(joint.mate_axis, d)
    size = norm(k)
    # symmetrical about the plane of both axes, so that two equal long points are found equal
    zero = scale(k, 1.0 / size) if size > 1e-9 else joint.zero_direction
    cut = joint.cut.seen_from(zero)
    phi = angles(_COARSE)
    values = cut.outside(phi)
    side = cross(d, zero)

    def towards(angle: float) -> Vec:
        from math import cos, radians, sin

        return along(scale(zero, cos(radians(angle))), side, sin(radians(angle)))

    least = float(values.min())
    square = float(values.max()) - least < 1e-6
    alike = phi[values <= least + _EQUAL]
    best = max(alike.tolist(), key=lambda angle: tuple(round(v, 6) for v in reversed(towards(angle))))
    if square:
        return towards(best), True
    found = extremes(cut.outside, best + _COARSE * (phi[:3] - 1.0), cut.outside(best + phi[:3] - 1.0))
    v = towards(found[0][0])
    v = along(v, d, -dot(v, d))
    return scale(v, 1.0 / norm(v)), False
