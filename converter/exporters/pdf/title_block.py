"""The title block (`converter.exporters.paper.title`) on a page: a band across the foot of a sheet, in the lower right
corner of a template.
"""

from __future__ import annotations

from collections.abc import Sequence

from converter.exporters.paper.figure import Point
from converter.exporters.paper.title import Row, TitleBlock
from converter.exporters.pdf.paper import Color, Pdf, Pen
from converter.quoting import visible

#: Height of a row, of its capitals, and of those of the words before them (7.6 pt), mm.
ROW, _TEXT, _LABEL = 5.2, 2.1, 1.95
#: Shares of the width: of a band of two rows, and of a corner of four.
_BAND, _CORNER = (0.28, 0.30, 0.20, 0.22), (0.58, 0.42)
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


def _draw(pdf: Pdf, low: Point, width: float, shares: Sequence[float], rows: Sequence[Row], page: str) -> None:
    """Ruled cells, each with a word for what it tells."""
    (x0, y0), top = low, low[1] + len(rows) * ROW
    starts = [x0 + width * sum(shares[:i]) for i in range(len(shares))]
    for i in range(1, len(rows)):
        pdf.drawn([(x0, y0 + i * ROW), (x0 + width, y0 + i * ROW)], _RULE)
    for x in starts[1:]:
        pdf.drawn([(x, y0), (x, top)], _RULE)
    pdf.drawn([(x0, y0), (x0 + width, y0), (x0 + width, top), (x0, top)], _FRAME, closed=True)
    for k, (x, share) in enumerate(zip(starts, shares, strict=True)):
        beside = max(pdf.width(row[k][0], _LABEL) for row in rows) + 2.6
        for i, row in enumerate(rows):
            name, text = row[k]
            text = page if name == "page" else text
            y = top - (i + 0.5) * ROW - _TEXT / 2.0
            pdf.text(name, (x + 1.2, y), _LABEL, color=_GREY)
            if text:
                pdf.text(visible(text), (x + beside, y), _TEXT, bold=True, room=share * width - beside - 0.8)
