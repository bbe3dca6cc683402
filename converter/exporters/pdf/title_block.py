"""The title block (`converter.exporters.paper.title`) on a page: a band across the foot of a sheet, in the lower right
corner of a template.
"""

from __future__ import annotations

from collections.abc import Sequence

from converter.exporters.paper.figure import Point
from converter.exporters.paper.title import Row, TitleBlock
from converter.exporters.pdf.canvas import Color, Pdf, Pen
from converter.quoting import visible

#: Height of a row, of its capitals, and of those of the words before them (7.6 pt), mm.
ROW, _TEXT, _LABEL = 5.2, 2.1, 1.95
#: Shares of the width in each row: of a band, and of a corner.
_BAND = ((0.29, 0.31, 0.20, 0.20), (0.41, 0.21, 0.19, 0.19))
_CORNER = ((0.62, 0.38), (0.62, 0.38), (1.0,), (0.32, 0.33, 0.35))
#: Size of the block in the corner, mm; a scale bar of 4 in beside it still fits on the narrowest paper.
CORNER = (88.0, 4 * ROW)
_FRAME, _RULE = Pen(0.28, (0.2, 0.2, 0.2)), Pen(0.13, (0.55, 0.55, 0.55))
_GREY: Color = (0.32, 0.32, 0.32)


def draw_band(pdf: Pdf, block: TitleBlock, low: Point, width: float, page: str) -> None:
    """Across the page, two rows high; ``low``: its lower left corner, ``page``: ``3 of 9``."""
    _draw(pdf, low, width, _BAND, block.band, page)


def draw_corner(pdf: Pdf, block: TitleBlock, right: Point, page: str) -> None:
    """With its lower right corner at ``right``."""
    _draw(pdf, (right[0] - CORNER[0], right[1]), CORNER[0], _CORNER, block.corner, page)


def _draw(
    pdf: Pdf, low: Point, width: float, shares: Sequence[Sequence[float]], rows: Sequence[Row], page: str
) -> None:
    """Ruled cells, each with a word for what it tells; texts of one column begin level."""
    (x0, y0), top = low, low[1] + len(rows) * ROW
    cells = [
        (i, x0 + width * sum(own[:k]), width * own[k], *cell)
        for i, (own, row) in enumerate(zip(shares, rows, strict=True))
        for k, cell in enumerate(row)
    ]
    beside: dict[tuple[float, float], float] = {}
    for _, x, wide, name, _ in cells:
        beside[x, wide] = max(beside.get((x, wide), 0.0), pdf.width(name, _LABEL) + 2.6)
    for i in range(1, len(rows)):
        pdf.drawn([(x0, y0 + i * ROW), (x0 + width, y0 + i * ROW)], _RULE)
    for i, x, wide, name, text in cells:
        high = top - i * ROW
        if x > x0:
            pdf.drawn([(x, high - ROW), (x, high)], _RULE)
        y, shift = high - 0.5 * ROW - _TEXT / 2.0, beside[x, wide]
        pdf.text(name, (x + 1.2, y), _LABEL, color=_GREY)
        words = page if name == "page" else text
        if words:
            pdf.text(visible(words), (x + shift, y), _TEXT, bold=True, room=wide - shift - 0.8)
    pdf.drawn([(x0, y0), (x0 + width, y0), (x0 + width, top), (x0, top)], _FRAME, closed=True)
