"""What a shape of section must answer: the base of every shape. A shape holds no sizes, `Sizes` go in."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import ClassVar, NamedTuple

from converter.model.section.outline import Outline


class Sizes(NamedTuple):
    """A shape's name and its sizes as `converter.model.section.Section` takes them, mm."""

    shape: str
    od: float
    wall: float
    height: float = 0.0
    corner: float = 0.0


class Shape(ABC):
    """A shape of section.

    A new one goes into a file of its own with an instance of it, and into the list in
    `converter.model.section.registry`; all else asks the shape, or the section made of it.

    Attributes:
        name: in bend tables (JSON and CSV), and in words.
        noun: what a person calls a piece of it, after its sizes.
        name_pattern: regular expression of the words that name it in a written size, as whole words in small letters.
        known_by_size: whether the sizes alone tell it from other shapes, without the word.
        counts: how many outside sizes a person may write.
        rule: how it is written, as a sentence that begins small.
        groove: kind of groove that it lies in; shapes of one kind are told apart by their sizes.
        die_key: key of a die's size in a shop file, or None for a shape that shares another one's.
        die_sizes: 1 or 2: how many lengths stand there, across the bend and in its plane.
        roll_step: degrees of which every roll between bends is a multiple, or None where any will do.
        size_name: what a person calls the outside size seen in a flat profile.
        unrolled: what the length of a wrap around it is made of, beside paper.
        table_sizes: names of the sizes that a JSON table holds beside ``od`` and ``wall``.
        solid: name of the shape without a bore that lies in the same groove, or None.
    """

    name: ClassVar[str]
    noun: ClassVar[str]
    name_pattern: ClassVar[str]
    known_by_size: ClassVar[bool] = True
    counts: ClassVar[tuple[int, ...]]
    rule: ClassVar[str]
    groove: ClassVar[str]
    die_key: ClassVar[str | None] = None
    die_sizes: ClassVar[int] = 1
    roll_step: ClassVar[float | None] = None
    size_name: ClassVar[str] = "size in this plane"
    unrolled: ClassVar[str] = "the outline and pi x paper"
    table_sizes: ClassVar[tuple[str, ...]] = ()
    solid: ClassVar[str | None] = None
    hollow: ClassVar[bool] = True

    def complete(self, sizes: Sizes) -> Sizes:
        """The sizes with what the shape says of those left out (0).

        Raises:
            GeometryError: sizes that contradict one another.
        """
        return sizes

    @abstractmethod
    def outlines(self, sizes: Sizes) -> tuple[Outline, Outline | None]:
        """Outside and bore; None without a bore."""

    @abstractmethod
    def sides(self, sizes: Sizes) -> list[float]:
        """The sizes a person names, outside before wall, mm."""

    @abstractmethod
    def read(self, sides: Sequence[float], wall: float, corner: float | None) -> Sizes:
        """The section of sizes as a person wrote them.

        Args:
            sides: outside sizes in order, as many as one of ``counts``.
            wall: its wall; 0 for a shape without one.
            corner: the corner radius, or None where none was written.

        Raises:
            GeometryError: no such section; the sentence begins small.
        """

    def filling(self, across: float, height: float, wall: float) -> Sizes:
        """The tube of a wall that fills a groove of this shape."""
        return Sizes(self.name, across, wall, height)

    def grooved(self, across: float, height: float) -> str:
        """Name of the shape that a die of its key takes at a size."""
        return self.name

    def around_groove(self, across: float, height: float) -> float | None:
        """Once around a tube that fills a groove, mm; None where its corners are not known from the groove."""
        return None
