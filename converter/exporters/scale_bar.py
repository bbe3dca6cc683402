"""A bar of known length along and across the sheet, to prove that a print is full size."""

from __future__ import annotations

from converter.exporters.figure import Figure
from converter.units import Display


def scale_bar(display: Display, layer: str) -> Figure:
    """The bar: 100 mm by 50 mm, or 4 in by 2 in, ticked every 10 mm or half inch."""
    figure = Figure()
    unit = 25.4 if display.unit == "in" else 1.0
    step, along, across = (0.5, 8, 4) if display.unit == "in" else (10.0, 10, 5)
    step *= unit
    height = 4.0
    figure.line((0.0, 0.0), (along * step, 0.0), layer)
    figure.line((0.0, 0.0), (0.0, across * step), layer)
    for i in range(along + 1):
        tall = 3.0 if i in (0, along) else 1.5
        figure.line((i * step, 0.0), (i * step, -tall), layer)
    for i in range(across + 1):
        tall = 3.0 if i in (0, across) else 1.5
        figure.line((0.0, i * step), (-tall, i * step), layer)
    whole, part = (f"{along * step / unit:g} {display.unit}", f"{across * step / unit:g} {display.unit}")
    figure.block(
        [
            f"Full size (1:1). Measure the print: this bar is {whole} along and {part} up.",
            "If either is off, print again without fitting to the page.",
        ],
        (6.0, across * step),
        height,
        layer,
    )
    return figure
