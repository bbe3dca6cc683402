"""The cross-section of a tube: a shape with its sizes. Frozen; lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import cos, isfinite, radians

from converter.errors import GeometryError
from converter.limits import LEAST_SIZE, LEAST_WALL, MOST_SIZE, MOST_SIZE_TO_WALL
from converter.model.section.outline import Outline
from converter.model.section.registry import SHAPES
from converter.model.section.shape import Shape, Sizes
from converter.quoting import quoted
from converter.units import Display, sizes_text

#: A sleeve is at least this many walls across, so that it has a bore itself.
_LEAST_SLEEVE = 2.5


@dataclass(frozen=True, slots=True)
class Properties:
    """A section about its bending axis, which is normal to the plane of the bend, through the middle.

    Textbook integrals over the outside less the bore (`Outline.within`).

    Attributes:
        area: metal, mm2.
        inertia: I, mm4.
        plastic: Z, the integral of the distance from the axis over the metal, mm3.
        depth: size in the plane of the bend, mm.
    """

    area: float
    inertia: float
    plastic: float
    depth: float


@dataclass(frozen=True)
class Section:
    """A tube's section.

    ``turned`` in its methods: the tube lies a quarter turn from its first bend.

    Attributes:
        shape: name of its shape, one of `converter.model.section.SHAPES`.
        od: outside diameter; of a shape with two sizes the width across the bend plane's normal.
        wall: wall thickness; for a bar, half its diameter by convention of the JSON contract it is `od / 2`.
        height: of a shape with two sizes the one in the plane of the first bend; else equal to od.
        corner: outside corner radius of square and rectangular tube; 0 for sharp.
        label: how a person calls it ('NPS 1-1/4 sch 40'), or '' to describe it by size.
    """

    shape: str
    od: float
    wall: float
    height: float = 0.0
    corner: float = 0.0
    label: str = ""

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise GeometryError(f"unknown section shape {quoted(self.shape)}: use one of {', '.join(SHAPES)}")
        for value in (self.od, self.wall, self.height, self.corner):
            if not isfinite(value):
                raise GeometryError("a section's size is not a finite number", code="not-finite")
        if self.od <= 0.0:
            raise GeometryError("a section needs an outside size above zero")
        if self.height == 0.0:
            object.__setattr__(self, "height", self.od)
        for name, value in self.kind.complete(self.sizes)._asdict().items():
            object.__setattr__(self, name, value)
        smallest = self.smaller
        if self.wall <= 0.0:
            raise GeometryError("a section's wall must be above zero")
        if self.kind.hollow and self.wall >= smallest / 2.0:
            raise GeometryError("a wall of half its size or more leaves no bore: give a thinner wall, or a bar")
        if not 0.0 <= self.corner <= smallest / 2.0:
            raise GeometryError("a section's corner radius must be between 0 and half its smaller side")
        _check_plausible(smallest, max(self.od, self.height), self.wall)

    @property
    def kind(self) -> Shape:
        """Its shape, which answers for what all sections of it share."""
        return SHAPES[self.shape]

    @property
    def sizes(self) -> Sizes:
        """Its shape's name and sizes."""
        return Sizes(self.shape, self.od, self.wall, self.height, self.corner)

    @cached_property
    def _outlines(self) -> tuple[Outline, Outline | None]:
        return self.kind.outlines(self.sizes)

    @property
    def outer(self) -> Outline:
        """The outline of its outside."""
        return self._outlines[0]

    @property
    def bore(self) -> Outline | None:
        """The outline of its bore; None for a bar."""
        return self._outlines[1]

    @property
    def loops(self) -> tuple[Outline, ...]:
        """Outside and, where there is one, bore: what a solid or a mesh is made of."""
        return (self.outer,) if self.bore is None else (self.outer, self.bore)

    @cached_property
    def cylinder(self) -> float | None:
        """Radius of the cylinder that its outside is along a straight, mm; None where it is none."""
        return self.outer.radius

    @property
    def bore_radius(self) -> float:
        """Radius of a round bore, mm; 0 where there is none."""
        return 0.0 if self.bore is None or self.bore.radius is None else self.bore.radius

    def is_same_size(self, other: Section, within: float) -> bool:
        """Whether it has the shape and, to so many mm, the sizes of another; corners may differ."""
        return self.shape == other.shape and self._is_size(other.od, other.height, other.wall, within)

    def is_same_stock(self, other: Section, within: float) -> bool:
        """Whether a stick of it is one of another section, which may be told a quarter turn from it."""
        if self.shape != other.shape:
            return False
        sizes = (other.od, other.height), (other.height, other.od)
        return any(self._is_size(od, height, other.wall, within) for od, height in sizes)

    def _is_size(self, od: float, height: float, wall: float, within: float) -> bool:
        return abs(self.od - od) <= within and abs(self.height - height) <= within and abs(self.wall - wall) <= within

    def sliding_inside(self, slip: float) -> Section | None:
        """The section of a sleeve that slides into the bore, with the same wall; None where there is no room for one.

        Args:
            slip: mm left on every side.
        """
        less = 2.0 * (self.wall + slip)
        od, height = self.od - less, self.height - less
        if self.bore is None or min(od, height) < _LEAST_SLEEVE * self.wall:
            return None
        return replace(self, od=od, height=height, corner=max(0.0, self.corner - self.wall - slip), label="")

    @property
    def smaller(self) -> float:
        """The smaller outside size, mm."""
        return min(self.od, self.height)

    @property
    def greater(self) -> float:
        """The greater outside size, mm."""
        return max(self.od, self.height)

    @property
    def lies_two_ways(self) -> bool:
        """Whether a quarter turn shows a bend another size: bent the hard or the easy way."""
        return self.od != self.height

    def depth(self, turned: bool = False) -> float:
        """Outside size in the plane of a bend, mm."""
        return self.od if turned else self.height

    def size_in_plane(self, roll: float) -> float:
        """Outside size in a plane rolled by so many degrees from the first bend's, mm: of two sizes the nearer one."""
        return self.depth(abs(cos(radians(roll))) <= 0.7071)

    @property
    def area(self) -> float:
        """Metal area in mm2."""
        return self.outer.area - (0.0 if self.bore is None else self.bore.area)

    def about_axis(self, turned: bool = False) -> Properties:
        """Area, second moment and moduli about the bending axis."""
        outer, *inner = (loop.turned() if turned else loop for loop in self.loops)
        area, first, second = outer.within(outer.height / 2.0)
        for bore in inner:
            less = bore.within(bore.height / 2.0)
            area, first, second = area - less.area, first - less.first, second - less.second
        return Properties(area, second, first, outer.height)

    def lies_in(self, shape: str, across: float, height: float, slack: float, turned: bool = False) -> bool:
        """Whether a groove takes it.

        Args:
            shape: name of the shape that the groove is made for.
            across, height: its sizes across the bend and in the bend's plane, mm.
            slack: mm by which sizes may differ.
            turned: see above.
        """
        own = (self.height, self.od) if turned else (self.od, self.height)
        return (
            SHAPES[shape].groove == self.kind.groove and abs(across - own[0]) <= slack and abs(height - own[1]) <= slack
        )

    def words(self, display: Display) -> str:
        """What a person calls it: ``1.750 x 0.120 in tube``, ``NPS 2 XS (2.375 x 0.218 in)``, ``25.00 mm bar``.

        Sizes are decimals even where lengths are shown as fractions (walls are not fractions).
        """
        size = sizes_text(self.kind.sides(self.sizes), display)
        if not self.label:
            return f"{size} {self.kind.noun}"
        return f"{self.label} ({size})" if self.kind.hollow else f"{self.label} ({size} {self.kind.noun})"

    def outside_words(self, display: Display) -> str:
        """Its outside size: ``OD 1.750 in``, ``2.000 x 1.000 in``."""
        if self.cylinder is not None:
            return f"{self.kind.size_name} {display.length(self.od)}"
        return f"{display.number(self.od)} x {display.length(self.height)}"


def _check_plausible(smaller: float, larger: float, wall: float) -> None:
    """Refuse sizes in mm that no tube has.

    Raises:
        GeometryError: one is beyond its limit in `converter.limits`.
    """
    if not LEAST_SIZE <= smaller <= larger <= MOST_SIZE:
        size = smaller if smaller < LEAST_SIZE else larger
        raise GeometryError(
            f"a section of {size:g} mm ({size / 25.4:g} in) is no tube, which has {LEAST_SIZE:g} to {MOST_SIZE:g} mm: "
            "check its unit"
        )
    if wall < LEAST_WALL or larger > MOST_SIZE_TO_WALL * wall:
        raise GeometryError(
            f"a wall of {wall:g} mm ({wall / 25.4:g} in) in a section of {larger:g} mm is no tube, whose wall is "
            f"{LEAST_WALL:g} mm or more and the size is at most {MOST_SIZE_TO_WALL:,.0f} times the wall: check its unit"
        )
