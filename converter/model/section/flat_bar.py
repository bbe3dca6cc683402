"""Solid flat bar, and solid square bar, which is its special case of equal sides."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from converter.errors import GeometryError
from converter.model.section.outline import Outline
from converter.model.section.shape import Shape, Sizes


class FlatBar(Shape):
    """A rectangle full of metal, its corners sharp or rounded. Its wall is half its smaller size by the convention
    of round bar, whatever is given.
    """

    name = "flat-bar"
    noun = "flat bar"
    name_pattern = r"flat[ _-]*+bar|rect(?:angular)?[ _-]*+bar"
    known_by_size = False
    counts: ClassVar[tuple[int, ...]] = (2,)
    rule = "a flat bar has two sizes and no wall, such as 50x10mm flat bar."
    groove = "rectangular"
    die_sizes = 2
    roll_step = 90.0
    table_sizes = ("height", "corner")
    hollow = False

    def complete(self, sizes: Sizes) -> Sizes:
        """With half the smaller size as its wall."""
        return sizes._replace(wall=min(sizes.od, sizes.height) / 2.0)

    def outlines(self, sizes: Sizes) -> tuple[Outline, Outline | None]:
        """One rounded rectangle."""
        return Outline(sizes.height, sizes.od, sizes.corner), None

    def sides(self, sizes: Sizes) -> list[float]:
        """Across the bend, in the plane of the first bend."""
        return [sizes.od, sizes.height]

    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """Two sizes; equal ones are a square bar. Without a corner radius the corners are sharp."""
        if len(sides) != 2 or wall:
            raise GeometryError(self.rule)
        across, height = sides
        return Sizes(self.grooved(across, height), across, min(sides) / 2.0, height, corner or 0.0)

    def filling(self, across: float, height: float, wall: float) -> Sizes:
        """The bar of the groove, with sharp corners."""
        return Sizes(self.name, across, wall, height)

    def grooved(self, across: float, height: float) -> str:
        """Square or flat, as the sizes are."""
        return SquareBar.name if across == height else FlatBar.name


class SquareBar(FlatBar):
    """A flat bar of equal sides."""

    name = "square-bar"
    noun = "square bar"
    name_pattern = r"sq(?:uare)?[ _-]*+bar"
    counts = (1, 2)
    rule = "a square bar has equal sides and no wall, such as 25mm square bar."
    die_sizes = 1

    def complete(self, sizes: Sizes) -> Sizes:
        """With half its size as its wall; its sides must be equal."""
        if sizes.height != sizes.od:
            raise GeometryError("a square bar has two equal sides")
        return super().complete(sizes)

    def sides(self, sizes: Sizes) -> list[float]:
        """Its side."""
        return [sizes.od]

    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """One size or two equal ones, and nothing else but a corner radius."""
        across, height = (*sides, *sides)[:2]
        if len(sides) not in self.counts or wall or across != height:
            raise GeometryError(self.rule)
        return Sizes(self.name, across, across / 2.0, across, corner or 0.0)


FLAT_BAR = FlatBar()
SQUARE_BAR = SquareBar()
