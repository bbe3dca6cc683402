"""A flat drawing in memory: lines, arcs and texts in mm.

A figure is drawn about any origin, knows its bounds, and is put on a page where there is room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, cos, inf, radians, sin

from converter.units import Display

Point = tuple[float, float]
#: x low, y low, x high, y high
Box = tuple[float, float, float, float]
#: widest a character gets on average, in text heights (digits and capitals of a plain sans serif)
CHARACTER = 0.8
#: from line to line, in text heights
LEADING = 1.6


def text_width(text: str, height: float) -> float:
    """Widest a text gets, in mm."""
    return len(text) * CHARACTER * height


def text_height(od: float | None) -> float:
    """Height in mm of the text beside a tube: readable on paper, in keeping with the tube."""
    return 3.5 if od is None else min(7.0, max(2.5, 0.11 * od))


@dataclass(slots=True)
class Text:
    """One line of text; ``at`` is where its base line starts, or its middle, by ``align``."""

    text: str
    at: Point
    height: float
    layer: str
    align: str = "left"
    rotation: float = 0.0

    def box(self) -> Box:
        """Bounds of the turned text."""
        width, height = text_width(self.text, self.height), self.height
        left = {"left": 0.0, "center": -width / 2, "right": -width}.get(self.align.removeprefix("middle "), -width / 2)
        low = -height / 2 if self.align.startswith("middle") else 0.0
        c, s = cos(radians(self.rotation)), sin(radians(self.rotation))
        # descenders reach a quarter of the height below the base line
        corners = [(left + i * width, low + y) for i in (0, 1) for y in (-0.25 * height, height)]
        xs = [self.at[0] + x * c - y * s for x, y in corners]
        ys = [self.at[1] + x * s + y * c for x, y in corners]
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(slots=True)
class Figure:
    """Lines, curves (open lines through points), arcs (counter-clockwise, degrees) and texts with their layers.

    Attributes:
        low, high: corners of its bounds; infinite while it is empty.
    """

    lines: list[tuple[Point, Point, str]] = field(default_factory=list)
    curves: list[tuple[list[Point], str]] = field(default_factory=list)
    arcs: list[tuple[Point, float, float, float, str]] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    low: Point = (inf, inf)
    high: Point = (-inf, -inf)

    def line(self, a: Point, b: Point, layer: str) -> None:
        """Add a line; one of no length is left out."""
        if a != b:
            self.lines.append((a, b, layer))
            self._reach(a, b)

    def curve(self, points: Sequence[Point], layer: str) -> None:
        """Add an open line through two points or more."""
        self.curves.append((list(points), layer))
        self._reach(*points)

    def arc(self, center: Point, radius: float, start: float, end: float, layer: str) -> None:
        """Add an arc from ``start`` to ``end`` degrees, counter-clockwise."""
        self.arcs.append((center, radius, start, end, layer))
        steps = max(2, ceil((end - start) / 5.0))
        for i in range(steps + 1):
            a = radians(start + (end - start) * i / steps)
            self._reach((center[0] + radius * cos(a), center[1] + radius * sin(a)))

    def text(self, text: str, at: Point, height: float, layer: str, align: str = "left", rotation: float = 0.0) -> Text:
        """Add one line of text."""
        one = Text(text, at, height, layer, align, rotation)
        self.texts.append(one)
        box = one.box()
        self._reach(box[:2], box[2:])
        return one

    def block(self, lines: Sequence[str], top_left: Point, height: float, layer: str) -> None:
        """Add lines of text below one another, the first one's top at ``top_left``."""
        x, y = top_left
        for i, line in enumerate(lines):
            self.text(line, (x, y - height - i * LEADING * height), height, layer)

    def _reach(self, *points: Point) -> None:
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        self.low = (min(self.low[0], *xs), min(self.low[1], *ys))
        self.high = (max(self.high[0], *xs), max(self.high[1], *ys))


def block_size(lines: Sequence[str], height: float) -> Point:
    """Width and height in mm of lines of text below one another."""
    return max(text_width(line, height) for line in lines), height * (LEADING * (len(lines) - 1) + 1.25)


def spread(wanted: Sequence[float], widths: Sequence[float], gap: float) -> list[float]:
    """Centres in the same order, as near to the wanted ones as fits without overlap.

    Args:
        wanted: wanted centres, ascending.
        widths: width of each.
        gap: least distance between neighbours.

    Returns:
        Centres that move as little as possible in the least-squares sense: neighbours that
        would overlap form a group that stands about its mean (pool adjacent violators).
    """
    # offsets turn "no overlap" into "ascending"
    offset, at = [], 0.0
    for i, width in enumerate(widths):
        at += width / 2 + (gap if i else 0.0)
        offset.append(at)
        at += width / 2
    groups: list[tuple[float, int]] = []
    for want, off in zip(wanted, offset, strict=True):
        total, count = want - off, 1
        while groups and groups[-1][0] / groups[-1][1] > total / count:
            t, n = groups.pop()
            total, count = total + t, count + n
        groups.append((total, count))
    placed = [t / n for t, n in groups for _ in range(n)]
    return [p + off for p, off in zip(placed, offset, strict=True)]


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
