"""Round tube, and pipe, which is round tube of a nominal size."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi

from converter.errors import GeometryError
from converter.model.section.outline import Outline, circle
from converter.model.section.shape import Shape, Sizes


class Round(Shape):
    """A ring."""

    name = "round"
    noun = "tube"
    name_pattern = "round|rd"
    counts = (1,)
    rule = "round tube has one size and a wall, such as 1.75x0.120in."
    groove = "round"
    die_key = "od"
    size_name = "OD"
    unrolled = "pi x (OD + paper)"
    solid = "bar"

    def complete(self, sizes: Sizes) -> Sizes:
        """As they are; there is one outside size."""
        if sizes.height != sizes.od:
            raise GeometryError("a round section has one outside size")
        return sizes

    def outlines(self, sizes: Sizes) -> tuple[Outline, Outline | None]:
        """Two circles."""
        return circle(sizes.od / 2.0), circle((sizes.od - 2.0 * sizes.wall) / 2.0)

    def sides(self, sizes: Sizes) -> list[float]:
        """Diameter and wall."""
        return [sizes.od, sizes.wall]

    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """One size and a wall."""
        if corner is not None:
            raise GeometryError("round tube has no corner radius: write square before the size if it is square.")
        return Sizes(self.name, sides[0], wall)

    def around_groove(self, across: float, height: float) -> float | None:
        """The groove's own circle."""
        return pi * across


ROUND = Round()
