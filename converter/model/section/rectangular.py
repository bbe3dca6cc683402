"""Rectangular tube, and square tube, which is its special case of equal sides."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from converter.errors import GeometryError
from converter.model.section.outline import Outline
from converter.model.section.shape import Shape, Sizes

#: Outside corner radius of square and rectangular tube, in walls, where none is given.
CORNER_WALLS = 2.0


class Rectangular(Shape):
    """A rectangle with rounded corners; the bore's are the outside's less the wall, never below 0."""

    name = "rectangular"
    noun = "rectangular tube"
    name_pattern = "rectangular|rectangle|rect"
    counts: ClassVar[tuple[int, ...]] = (2,)
    rule = "a rectangle needs two sizes and a wall, such as 2x1x0.083in."
    groove = "rectangular"
    die_key = "rectangle"
    die_sizes = 2
    roll_step = 90.0
    table_sizes = ("height", "corner")

    def outlines(self, sizes: Sizes) -> tuple[Outline, Outline | None]:
        """Two rounded rectangles a wall apart."""
        less = 2.0 * sizes.wall
        inner = max(0.0, sizes.corner - sizes.wall)
        return (
            Outline(sizes.height, sizes.od, sizes.corner),
            Outline(sizes.height - less, sizes.od - less, inner),
        )

    def sides(self, sizes: Sizes) -> list[float]:
        """Across the bend, in the plane of the first bend, wall."""
        return [sizes.od, sizes.height, sizes.wall]

    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """Two sizes and a wall; equal ones are a square. Without a corner radius the corner is two walls."""
        across, height = sides
        corner = self._usual_corner(across, height, wall) if corner is None else corner
        return Sizes(self.grooved(across, height), across, wall, height, corner)

    def filling(self, across: float, height: float, wall: float) -> Sizes:
        """With corners of two walls."""
        return Sizes(self.name, across, wall, height, self._usual_corner(across, height, wall))

    def grooved(self, across: float, height: float) -> str:
        """Square or rectangular, as the sizes are."""
        return Square.name if across == height else Rectangular.name

    def _usual_corner(self, across: float, height: float, wall: float) -> float:
        return min(CORNER_WALLS * wall, min(across, height) / 2.0)


class Square(Rectangular):
    """A rectangle of equal sides."""

    name = "square"
    noun = "square tube"
    name_pattern = "square|sq"
    counts = (1, 2)
    rule = "a square has equal sides."
    die_key = "square"
    die_sizes = 1

    def complete(self, sizes: Sizes) -> Sizes:
        """As they are; they must be equal."""
        if sizes.height != sizes.od:
            raise GeometryError("a square section has two equal sides")
        return sizes

    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """One size or two equal ones, and a wall."""
        across, height = (*sides, *sides)[:2]
        if across != height:
            raise GeometryError(self.rule)
        return super().read((across, height), wall, corner)


RECTANGULAR = Rectangular()
SQUARE = Square()
