"""The cross-section of a tube: round, bar, square, rectangular. Frozen; lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, pi

from converter.errors import GeometryError

SHAPES = ("round", "square", "rectangular", "bar")


@dataclass(frozen=True, slots=True)
class Section:
    """A tube's section.

    Attributes:
        shape: 'round' (tube or pipe), 'bar' (solid round), 'square', 'rectangular'.
        od: outside diameter; for square and rectangular the width across the bend plane's normal.
        wall: wall thickness; for a bar, half its diameter by convention of the JSON contract it is `od / 2`.
        height: for square and rectangular the size in the plane of the first bend; else equal to od.
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
            raise GeometryError(f"unknown section shape {self.shape!r}: use one of {', '.join(SHAPES)}")
        for value in (self.od, self.wall, self.height, self.corner):
            if not isfinite(value):
                raise GeometryError("a section's size is not a finite number", code="not-finite")
        if self.od <= 0.0:
            raise GeometryError("a section needs an outside size above zero")
        if self.height == 0.0:
            object.__setattr__(self, "height", self.od)
        if self.shape == "bar":
            object.__setattr__(self, "wall", self.od / 2.0)
        if self.shape == "square" and self.height != self.od:
            raise GeometryError("a square section has two equal sides")
        smallest = min(self.od, self.height)
        if self.wall <= 0.0:
            raise GeometryError("a section's wall must be above zero")
        if self.shape != "bar" and self.wall >= smallest / 2.0:
            raise GeometryError(
                f"a wall of {self.wall:g} mm leaves no bore in {smallest:g} mm: give a thinner wall, or a bar"
            )
        if not 0.0 <= self.corner <= smallest / 2.0:
            raise GeometryError("a section's corner radius must be between 0 and half its smaller side")

    @property
    def is_round(self) -> bool:
        """Whether its outside is a cylinder."""
        return self.shape in ("round", "bar")

    @property
    def bore(self) -> float:
        """Inside diameter (round); 0 for a bar."""
        return 0.0 if self.shape == "bar" else self.od - 2.0 * self.wall

    @property
    def inner_corner(self) -> float:
        """Inside corner radius: the outside one less the wall, never below 0."""
        return max(0.0, self.corner - self.wall)

    @property
    def area(self) -> float:
        """Metal area in mm2 (square corners lose (4 - pi) r^2 each ring)."""
        if self.shape == "bar":
            return pi * self.od * self.od / 4.0
        if self.shape == "round":
            return pi * (self.od * self.od - self.bore * self.bore) / 4.0
        outer = self.od * self.height - (4.0 - pi) * self.corner**2
        inner = (self.od - 2.0 * self.wall) * (self.height - 2.0 * self.wall) - (4.0 - pi) * self.inner_corner**2
        return outer - inner
