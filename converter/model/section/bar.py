"""Solid round bar."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi

from converter.errors import GeometryError
from converter.model.section.outline import Outline, circle
from converter.model.section.shape import Shape, Sizes


class Bar(Shape):
    """A disc. Its wall is half its diameter by convention of the JSON contract, whatever is given."""

    name = "bar"
    noun = "bar"
    name_pattern = "bar|rod|solid"
    counts = (1,)
    rule = "a solid bar is round and has one size, such as 25mm bar; others are 25mm square bar and 50x10mm flat bar."
    groove = "round"
    size_name = "OD"
    unrolled = "pi x (OD + paper)"
    hollow = False

    def complete(self, sizes: Sizes) -> Sizes:
        """With half the diameter as its wall."""
        if sizes.height != sizes.od:
            raise GeometryError("a bar has one outside size")
        return sizes._replace(wall=sizes.od / 2.0)

    def outlines(self, sizes: Sizes) -> tuple[Outline, Outline | None]:
        """One circle."""
        return circle(sizes.od / 2.0), None

    def sides(self, sizes: Sizes) -> list[float]:
        """Its diameter."""
        return [sizes.od]

    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """One size and nothing else."""
        if len(sides) != 1 or wall or corner is not None:
            raise GeometryError(self.rule)
        return Sizes(self.name, sides[0], sides[0] / 2.0)

    def filling(self, across: float, height: float, wall: float) -> Sizes:
        """The bar of the groove."""
        return Sizes(self.name, across, wall)

    def around_groove(self, across: float, height: float) -> float | None:
        """The groove's own circle."""
        return pi * across


BAR = Bar()
