"""The section of a wall that fills a die's groove, for test bends that name only die and wall."""

from __future__ import annotations

from converter.bending.metal.springback import WALL_MATCH
from converter.errors import OptionError
from converter.model.section import SHAPES, Section
from converter.quoting import quoted
from converter.shop.model import Die
from converter.units import Display


def section_on(die: Die, wall_mm: float | None, display: Display | None = None) -> Section | None:
    """The section of a given wall that fills a die's groove; None without a wall.

    A wall of half the size is a solid bar. Square and rectangular tube gets corners of two walls.

    Raises:
        OptionError: the wall is zero or over half of what the die takes.
    """
    if wall_mm is None:
        return None
    half = min(die.size, die.height) / 2.0
    shown = display or Display()
    if wall_mm <= 0.0 or wall_mm > half + WALL_MATCH:
        raise OptionError(
            f"A wall of {shown.length(wall_mm)} does not go with the die {quoted(die.name)} "
            f"({die.groove(shown)}): it must be above zero and no more than half the size."
        )
    shape = SHAPES[die.shape]
    if shape.solid is not None and wall_mm >= half - WALL_MATCH:
        return Section(shape.solid, die.size, half)
    if wall_mm >= half:
        raise OptionError(f"The die {quoted(die.name)} takes {die.shape} tube, and that wall leaves no bore.")
    return Section(*shape.filling(die.size, die.height, wall_mm))
