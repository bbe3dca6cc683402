"""The zero line of an end: where the template's first edge goes, and how a person finds it.

On a bent tube it is the outside of the bend nearest to that end. A straight tube has nothing to
go by but its ends: its zero line runs through the long point of the cut at end A (at end B when
only that end is cut) along the whole tube, so that both templates are clocked to one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import cos, radians, sin

from converter.geometry.vectors import Vec, along, cross, dot, norm, scale
from converter.joints.bodies import End
from converter.joints.cuts.saddle import Cut, angles, extremes, level_least
from converter.units import Display

#: Degrees between the angles a long point is looked for at first.
_COARSE = 1.0


@dataclass(frozen=True, slots=True)
class BendClock:
    """The outside of the nearest bend."""

    end: End

    def direction(self, end: str) -> Vec:
        """See `converter.joints.model.Clock`."""
        assert self.end.outside is not None
        return self.end.outside

    def words(self, end: str, display: Display) -> str:
        """See `converter.joints.model.Clock`."""
        where = (
            f"whose tangent point lies {display.length(self.end.straight)} from the centerline's end {end}"
            if self.end.straight > 1e-6
            else f"which starts at the centerline's end {end} itself"
        )
        return f"the outside of bend {self.end.bend}, {where}"


class StraightClock:
    """The long point of one end's cut, for both ends of a straight tube.

    Attributes:
        cuts: (end letter, cut, mate's axis) of every end that is cut, A before B; added as they are made.
    """

    def __init__(self) -> None:
        self.cuts: list[tuple[str, Cut, Vec]] = []

    def add(self, end: str, cut: Cut, mate_axis: Vec) -> None:
        """One more end of the tube is cut."""
        self.cuts.append((end, cut, mate_axis))
        self.cuts.sort(key=lambda one: one[0])

    def drop(self, end: str) -> None:
        """An end is not cut after all."""
        self.cuts = [one for one in self.cuts if one[0] != end]
        self.__dict__.pop("zero_line", None)

    @cached_property
    def zero_line(self) -> tuple[str, Vec, bool]:
        """(end that leads, zero direction, whether every cut is square)."""
        for letter, cut, axis in self.cuts:
            direction, square = long_direction(cut, axis)
            if not square:
                return letter, direction, False
        letter, cut, axis = self.cuts[0]
        return letter, long_direction(cut, axis)[0], True

    def direction(self, end: str) -> Vec:
        """See `converter.joints.model.Clock`."""
        return self.zero_line[1]

    def words(self, end: str, display: Display) -> str:
        """See `converter.joints.model.Clock`."""
        leader, _, square = self.zero_line
        if square:
            if end == leader:
                return "anywhere, since the cut is square and the tube has no bend"
            return f"in line with the zero line at end {leader} (the tube has no bend)"
        if end == leader:
            return "through the long point of this cut (the tube has no bend)"
        return f"in line with the long point of the cut at end {leader} (the tube has no bend)"


def long_direction(cut: Cut, mate_axis: Vec) -> tuple[Vec, bool]:
    """Unit vector from the axis to the long point, and whether the cut is square, so that it is anywhere.

    Of equally long points the one highest in the drawing is taken (z, then y, then x), and where a whole flat of the
    tube is as long, its middle.
    """
    d = cut.branch.direction
    k = cross(mate_axis, d)
    size = norm(k)
    # symmetrical about the plane of both axes, so that two equal long points are found equal
    zero = scale(k, 1.0 / size) if size > 1e-9 else cut.branch.zero
    cut = cut.with_zero(zero)
    phi = angles(_COARSE)
    values = cut.outside(phi)
    side = cross(d, zero)

    def towards(angle: float) -> Vec:
        return along(scale(zero, cos(radians(angle))), side, sin(radians(angle)))

    def height(angle: float) -> tuple[float, ...]:
        return tuple(round(v, 6) for v in reversed(towards(angle)))

    if float(values.max()) - float(values.min()) < 1e-6:
        return towards(max(phi.tolist(), key=height)), True
    best, width = max(level_least(phi, values), key=lambda one: height(one[0]))
    if width > _COARSE:
        return towards(best), False
    near = best + _COARSE * (phi[:3] - 1.0)
    v = towards(extremes(cut.outside, near, cut.outside(near))[0][0])
    v = along(v, d, -dot(v, d))
    return scale(v, 1.0 / norm(v)), False
