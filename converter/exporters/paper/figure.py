"""A flat drawing in memory: lines, arcs and texts in mm, and room kept free for labels.

A figure is drawn about any origin, knows its bounds, and is put on a page where there is
room. Labels find their own place: a grid of cells remembers what is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, cos, floor, hypot, inf, radians, sin

from converter.units import Display

Point = tuple[float, float]
#: widest a character gets on average, in text heights (digits and capitals of a plain sans serif)
CHARACTER = 0.8
#: Columns of cells that are asked about at once.
_BLOCK = 256
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

    def box(self) -> tuple[float, float, float, float]:
        """Bounds (x low, y low, x high, y high) of the turned text."""
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


class Room:
    """Which places of a drawing are taken, in square cells.

    What would fill very many cells (a run of a kilometre) is kept as it is and asked each time.

    Args:
        cell: side of a cell in mm; labels keep about this distance.
    """

    #: Cells that one strip, and all strips together, may fill.
    MOST_OF_ONE, MOST = 100_000, 1_000_000

    def __init__(self, cell: float) -> None:
        self._cell = cell
        # (block of columns, row) -> its columns, a bit each: boxes are many cells wide, and asked about often
        self._in_use: dict[tuple[int, int], int] = {}
        self._count = 0
        self._strips: list[tuple[Point, Point, float]] = []

    def take_box(self, box: tuple[float, float, float, float]) -> None:
        """Take a box (x low, y low, x high, y high)."""
        half = (box[3] - box[1]) / 2.0
        if self._is_fine((box[2] - box[0]) / self._cell + 1.0, half):
            self._take(box)
        else:
            y = (box[1] + box[3]) / 2.0
            self._strips.append(((box[0], y), (box[2], y), half))

    def take_line(self, a: Point, b: Point, half_width: float) -> None:
        """Take a straight strip of twice the half width."""
        length = hypot(b[0] - a[0], b[1] - a[1])
        step = max(self._cell, half_width)
        if not self._is_fine((length / step + 2.0) * (2.0 * half_width / self._cell + 2.0), half_width):
            self._strips.append((a, b, half_width))
            return
        steps = max(1, ceil(length / step))
        for i in range(steps + 1):
            x, y = a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps
            self._take((x - half_width, y - half_width, x + half_width, y + half_width))

    def is_free(self, box: tuple[float, float, float, float]) -> bool:
        """Whether nothing in a box is taken."""
        in_use = self._in_use
        for rows, block, mask in self._cells(box):
            for row in rows:
                if in_use.get((block, row), 0) & mask:
                    return False
        return not self._strips or not self._in_strip(box)

    def _in_strip(self, box: tuple[float, float, float, float]) -> bool:
        return any(_meets(box, a, b, half + self._cell / 2.0) for a, b, half in self._strips)

    def _is_fine(self, across: float, half_width: float) -> bool:
        """Whether so many cells, by those of twice a half width, can be told one by one."""
        cells = across * (2.0 * half_width / self._cell + 2.0)
        return cells <= self.MOST_OF_ONE and self._count <= self.MOST

    def place(self, anchor: Point, size: Point, toward: float) -> Point:
        """Take the nearest free box beside an anchor and return its centre.

        Args:
            anchor: what the label belongs to.
            size: width and height of the label.
            toward: preferred direction in degrees.
        """
        w, h = size
        for ring in range(400):
            for turn in (0, 25, -25, 50, -50, 80, -80, 110, -110, 145, -145, 180):
                a = radians(toward + turn)
                c, s = cos(a), sin(a)
                out = (ring + 1) * self._cell + abs(c) * w / 2 + abs(s) * h / 2
                x, y = anchor[0] + c * out, anchor[1] + s * out
                box = (x - w / 2, y - h / 2, x + w / 2, y + h / 2)
                if self.is_free(box):
                    self.take_box(box)
                    return x, y
        return anchor

    def _take(self, box: tuple[float, float, float, float]) -> None:
        in_use = self._in_use
        for rows, block, mask in self._cells(box):
            for row in rows:
                before = in_use.get((block, row), 0)
                after = before | mask
                if after != before:
                    in_use[block, row] = after
                    self._count += (before ^ after).bit_count()

    def _cells(self, box: tuple[float, float, float, float]) -> list[tuple[range, int, int]]:
        """The cells of a box: rows, block of columns, and the bits of the columns in it."""
        k = 1.0 / self._cell
        first, last = floor(box[0] * k), floor(box[2] * k)
        rows = range(floor(box[1] * k), floor(box[3] * k) + 1)
        found = []
        for block in range(first // _BLOCK, last // _BLOCK + 1):
            start = block * _BLOCK
            low, high = max(first - start, 0), min(last - start, _BLOCK - 1)
            if low <= high:
                found.append((rows, block, (2 << high) - (1 << low)))
        return found


def _meets(box: tuple[float, float, float, float], a: Point, b: Point, half: float) -> bool:
    """Whether a box and the square of a half width, moved from a to b, have a place in common."""
    first, last = 0.0, 1.0
    for axis in (0, 1):
        low, high = box[axis] - half - a[axis], box[axis + 2] + half - a[axis]
        way = b[axis] - a[axis]
        if way == 0.0:
            if low > 0.0 or high < 0.0:
                return False
            continue
        # the shares of the way at which the square is level with the box along this axis
        enter, leave = sorted((low / way, high / way))
        first, last = max(first, enter), min(last, leave)
    return first <= last


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
