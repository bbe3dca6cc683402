"""A joint: one end of one tube, and everything it is cut to."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from math import atan2, degrees
from typing import Protocol

import numpy as np

from converter.geometry.vectors import Vec, cross, dot
from converter.joints.cuts.flat import SQUARE as SQUARE_ANGLE
from converter.joints.cuts.flat import from_square, long_side, plane_of, planes_of
from converter.joints.cuts.saddle import STEP, Cut, HalfSpace, level_least, profile
from converter.model.end_cuts import EndCut, SawCut
from converter.model.section import Section
from converter.tolerances import PAST_ANGLE
from converter.units import Display

SADDLE, MITRE, PLANE, SQUARE = "saddle", "mitre", "plane", "square"


@dataclass(frozen=True, slots=True)
class SawSetting:
    """How to set a hole saw up for a cope.

    Attributes:
        size: the saw's diameter, mm.
        depth: least depth that cuts through on the near side, clearance not added, mm.
        angle: between the saw's axis and the tube's, degrees (90 is square).
        offset: between the two axes, mm.
        from_square: 90 - angle: what a notcher marked from square is set to, degrees.
        center: from the centerline's end point back along the tube's axis to the saw's axis, mm.
        center_to_center: along the centerline to the saw's axis of the cope at the other end, or None.
        depth_through: least depth when the tube runs on past the saw, so that it cuts both sides, mm.
        saw_depth: how deep the saw goes, or None when it is not known.
        cuts: 1, or 2 when the saw must come from both sides; 0 when it cannot cut through.
        owned: whether the shop has it; else it is the size that would be wanted.
    """

    size: float
    depth: float
    angle: float
    offset: float
    from_square: float
    center: float
    center_to_center: float | None
    depth_through: float
    saw_depth: float | None
    cuts: int
    owned: bool


class Clock(Protocol):
    """Where the zero line of an end lies; worked out when it is asked for."""

    def direction(self, end: str) -> Vec:
        """Unit vector from the axis to the zero line at that end."""
        ...

    def words(self, end: str, display: Display) -> str:
        """How a person finds it at that end; '' for a place between the ends."""
        ...


@dataclass(frozen=True)
class Joint:
    """One end that is cut to fit. Lengths mm, angles degrees, places in drawing coordinates.

    Attributes:
        node: where the tube's axis meets its mate's (nearest point on the mate's centerline).
        tube, end: name of the tube, 'A' or 'B'.
        kind: 'saddle', 'mitre', 'plane' or 'square' (on the flat of its mate).
        mates: names of the tubes it is cut to, the leading one first; () for a plane.
        angle: between the axes; of a saddle and a square end the smaller one, 0..90; of a mitre the one between the two
            tubes, 0..180; of a plane the one between axis and plane, 0..90.
        offset: distance between the axes.
        base: the end and what cuts it, with any zero line.
        clock: where the zero line lies.
        mate_axis: unit direction of the leading mate there (the plane's normal for a plane).
        mate_point: a point of that axis.
        mate_section: the leading mate's section, None for a plane.
        mate_straight: whether the cut lies on a straight of the leading mate.
        ahead: from the end point out along the axis to where the axes are closest (0 when drawn so).
        straight: length of the straight at that end.
        gap: weld gap that the cut leaves.
        hole_saw: set-up, or None when no hole saw makes this cut (or none was asked for).
        corner_gap: what a cut square on a flat leaves open to the mate's corner radii, at most, the weld gap counted.
        between: percent of a square cut that comes down between mates side by side, on neither.
    """

    node: Vec
    tube: str
    end: str
    kind: str
    mates: tuple[str, ...]
    angle: float
    offset: float
    base: Cut = field(repr=False)
    clock: Clock = field(repr=False)
    mate_axis: Vec
    mate_point: Vec
    mate_section: Section | None
    mate_straight: bool
    ahead: float
    straight: float
    gap: float = 0.0
    hole_saw: SawSetting | None = None
    corner_gap: float = 0.0
    between: float = 0.0

    @cached_property
    def plane(self) -> HalfSpace | None:
        """The plane that the cut lies in, so that a saw makes it, or None."""
        return plane_of(self.base)

    @cached_property
    def saw_cuts(self) -> tuple[SawCut, ...]:
        """The cuts of a saw that make the end: one in its plane, or one along each flat of several; () for others.

        What lies ahead of any of them is sawn off.
        """
        if self.plane is not None:
            angle = from_square(self.plane, self.direction)
            return (SawCut(0.0 if angle <= SQUARE_ANGLE else angle, self.mates[0] if self.mates else ""),)
        planes = planes_of(self.base) if self.kind == SADDLE else ()
        pairs = zip(self.mates, planes, strict=False)
        return tuple(SawCut(from_square(one, self.direction), mate) for mate, one in pairs)

    @property
    def is_square(self) -> bool:
        """Whether it is cut square to the tube, so that it needs neither template nor set-up."""
        return [cut.angle for cut in self.saw_cuts] == [0.0]

    @property
    def long_side(self) -> Vec | None:
        """Unit vector from the axis to the side of the long point of a slanted saw cut, else None."""
        return None if self.plane is None or self.is_square else long_side(self.plane, self.direction)

    def zero_in(self, display: Display | None = None) -> str:
        """The zero line in words; lengths in mm for None."""
        return self.clock.words(self.end, display or Display())

    @cached_property
    def zero_direction(self) -> Vec:
        """Unit vector from the axis to the zero line."""
        return self.clock.direction(self.end)

    @cached_property
    def cut(self) -> Cut:
        """The end, with its zero line, and what cuts it."""
        return self.base.with_zero(self.zero_direction)

    @property
    def direction(self) -> Vec:
        """Unit vector that points out of the end."""
        return self.base.branch.direction

    @property
    def end_point(self) -> Vec:
        """The centerline's end point, from which the profile counts."""
        return self.base.branch.point

    @property
    def section(self) -> Section:
        """Section of the tube that is cut."""
        return self.base.branch.section

    @cached_property
    def profile(self) -> tuple[tuple[float, float, float], ...]:
        """(phi, outside, bore): the cut once around at every half degree, and at its extremes."""
        phi, od, bore = profile(self.cut)
        return tuple(zip(phi.tolist(), od.tolist(), bore.tolist(), strict=True))

    @cached_property
    def long_point(self) -> float:
        """Least length on the outside: the metal reaches furthest there."""
        return min(od for _, od, _ in self.profile)

    @cached_property
    def short_point(self) -> float:
        """Greatest length on the outside."""
        return max(od for _, od, _ in self.profile)

    @cached_property
    def long_phi(self) -> float:
        """The angle of the long point; of several the first from the zero line, and of a whole flat its middle."""
        if self.is_square:
            return 0.0
        phi, outside = np.array([row[:2] for row in self.profile]).T
        middle, width = level_least(phi, outside)[0]
        if width > 2.0 * STEP and self.long_side is not None:
            # exactly: the ends of a flat lie between the angles of the profile
            d, zero, side = self.direction, self.zero_direction, self.long_side
            middle = degrees(atan2(dot(cross(d, zero), side), dot(zero, side))) % 360.0
        return 0.0 if 360.0 - middle < PAST_ANGLE else middle

    @cached_property
    def center_cut(self) -> float:
        """Length at the centerline: where the tube's axis meets what it is cut to."""
        return self.base.at_axis()

    @cached_property
    def end_cut(self) -> EndCut:
        """How much longer it makes the tube, and what a saw cuts: the longest point of metal counts, on the outside or
        at the bore."""
        return EndCut(0.0 - min(min(od, bore) for _, od, bore in self.profile), self.saw_cuts)
