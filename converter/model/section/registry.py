"""Every shape of section by its name; a new one is registered here."""

from __future__ import annotations

from converter.model.section.bar import BAR
from converter.model.section.flat_bar import FLAT_BAR, SQUARE_BAR
from converter.model.section.flat_oval import FLAT_OVAL
from converter.model.section.rectangular import RECTANGULAR, SQUARE
from converter.model.section.round import ROUND
from converter.model.section.shape import Shape

#: In the order in which words in a written size are looked for, and in which messages list them.
SHAPES: dict[str, Shape] = {
    shape.name: shape for shape in (ROUND, SQUARE_BAR, FLAT_BAR, SQUARE, RECTANGULAR, BAR, FLAT_OVAL)
}


def shape_of_size(count: int) -> Shape:
    """The shape that so many outside sizes (1 or 2) and a wall mean where no word names one."""
    return next(one for one in SHAPES.values() if one.known_by_size and one.hollow and one.counts == (count,))
