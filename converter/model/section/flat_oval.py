"""Flat-sided oval tube ("flat oval"): two half circles joined by two flats, outside and bore a wall apart."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from math import pi

from converter.errors import GeometryError
from converter.model.section.outline import Edge, Outline, closed
from converter.model.section.shape import Shape, Sizes

#: mm by which the two sizes differ at least, and a radius that is given may be off half the smaller size: rounding.
_ROUNDING = 0.01


class Oval(Outline):
    """The outline; made by `oval`."""

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """Two flats and two arcs of half a turn, from the side at +p, which is an arc where the height is greater."""
        r, lies = self.corner, self.width > self.height
        out = abs(self.width - self.height) / 2.0
        found = []
        for k, sign in enumerate((1.0, -1.0)):
            # turned half round for the other side
            if lies:
                arc = Edge((sign * r, sign * out), (-sign * r, sign * out), (0.0, sign * out), r, k * pi, (k + 1) * pi)
                found += [Edge((sign * r, -sign * out), arc.start), arc]
            else:
                ends = (sign * out, -sign * r), (sign * out, sign * r)
                found.append(Edge(*ends, (sign * out, 0.0), r, (k - 0.5) * pi, (k + 0.5) * pi))
                found.append(Edge(ends[1], (-sign * out, sign * r)))
        return closed(found)

    def turned(self) -> Oval:
        """The same outline a quarter turn on."""
        return oval(self.width, self.height)


def oval(height: float, width: float) -> Oval:
    """The flat oval of two sizes in mm."""
    return Oval(height, width, min(height, width) / 2.0)


class FlatOval(Shape):
    """Bent the easy way where the smaller size lies in the plane of the bend, else the hard way."""

    name = "flat-oval"
    noun = "flat-oval tube"
    name_pattern = "flat[ _-]*(?:sided[ _-]*)?oval"
    known_by_size = False
    counts = (2,)
    rule = "a flat oval needs two sizes and a wall, such as flat-oval 60x30x2mm."
    groove = "flat-oval"
    die_key = "flat_oval"
    die_sizes = 2
    roll_step = 90.0
    table_sizes = ("height",)

    def complete(self, sizes: Sizes) -> Sizes:
        """With half the smaller size as the radius of its round sides."""
        self.grooved(sizes.od, sizes.height)
        radius = min(sizes.od, sizes.height) / 2.0
        if sizes.corner and abs(sizes.corner - radius) > _ROUNDING:
            raise GeometryError("the round sides of a flat oval have half its smaller size as their radius")
        return sizes._replace(corner=radius)

    def outlines(self, sizes: Sizes) -> tuple[Outline, Outline | None]:
        """Two flat ovals a wall apart."""
        less = 2.0 * sizes.wall
        return oval(sizes.height, sizes.od), oval(sizes.height - less, sizes.od - less)

    def sides(self, sizes: Sizes) -> list[float]:
        """Across the bend, in the plane of the first bend, wall."""
        return [sizes.od, sizes.height, sizes.wall]

    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """Two sizes and a wall."""
        if corner is not None:
            raise GeometryError("a flat oval has no corner radius: its round sides are half circles.")
        return Sizes(self.name, sides[0], wall, sides[1])

    def grooved(self, across: float, height: float) -> str:
        """Its name; the sizes must differ."""
        if abs(across - height) < _ROUNDING:
            raise GeometryError("a flat oval has two different sizes, else it is round")
        return self.name

    def around_groove(self, across: float, height: float) -> float | None:
        """The groove's own flat oval."""
        return oval(height, across).perimeter


FLAT_OVAL = FlatOval()
