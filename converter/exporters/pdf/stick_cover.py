"""The first pages of printed stick templates: how they are used, and the numbers of every tube."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.exporters.paper.figure import Figure, Point, scale_bar
from converter.exporters.paper.stick import StickTemplate, Strip
from converter.exporters.paper.stick_drawing import SCALE
from converter.exporters.paper.stick_words import HEADS, bend_row, facts, notes, with_verdict
from converter.exporters.pdf.canvas import Pdf, Pen
from converter.exporters.pdf.title_block import CORNER
from converter.findings.wording import listed
from converter.model.part import Part
from converter.words import part_lines, part_title

if TYPE_CHECKING:
    from converter.job import Job

Op = Callable[[Pdf], None]
#: Left free at the edges and at the foot, mm; heights of headings and text (7.8 pt), and from line to line.
_EDGE, _FOOT = 10.0, 13.0 + CORNER[1]
_HEAD, _NAME, _TEXT, _LINE = 4.5, 3.0, 2.0, 3.6
_RULE = Pen(0.15, (0.5, 0.5, 0.5))
#: Of the map of tiles: width of a tile, at most and at least, its height, and how its edges are drawn where it is
#: printed and where not.
_WIDEST, _NARROWEST, _TALL = 10.0, 6.5, 5.0
_PRINTED, _LEFT_OUT = Pen(0.3), Pen(0.15, (0.5, 0.5, 0.5), (0.8, 0.8))
#: Of every strip of which tiles are left out.
_AFTER_A_GAP = (
    "Where tiles of a strip are left out, the tile after such a gap says how far from the end that goes first its left "
    "line is laid."
)


@dataclass(frozen=True, slots=True)
class TileMap:
    """How the tiles of a strip lie: columns along it, rows around it, and the columns that are left out."""

    columns: int
    rows: int
    blank: frozenset[int]

    @property
    def count(self) -> int:
        """Of all tiles."""
        return self.columns * self.rows

    @property
    def printed(self) -> int:
        """Of those that are printed."""
        return self.rows * (self.columns - len(self.blank))

    def number(self, column: int, row: int) -> int:
        """Of a tile: counted along each row."""
        return row * self.columns + column + 1


@dataclass(frozen=True, slots=True)
class CoverTube:
    """A part of the list: what is drawn of its first tube, and how its tiles lie."""

    part: Part
    stick: StickTemplate
    strip: Strip
    tiles: TileMap


class _Pages:
    """Lines of text from the top of pages down."""

    def __init__(self, pdf: Pdf, size: Point) -> None:
        self.pdf, self.size = pdf, size
        self.width = size[0] - 2.0 * _EDGE
        self.pages: list[list[Op]] = []
        self.y = 0.0

    def need(self, height: float) -> None:
        """A new page unless so much is left."""
        if not self.pages or self.y - height < _FOOT:
            self.pages.append([])
            self.y = self.size[1] - _EDGE

    def op(self, op: Op) -> None:
        self.pages[-1].append(op)

    def text(self, words: str, x: float, height: float, *, bold: bool = False, room: float = 0.0) -> None:
        """A line at the present height."""
        at = (x, self.y)
        self.op(lambda pdf: pdf.text(words, at, height, bold=bold, room=room))

    def paragraph(self, words: str) -> None:
        for row in self.pdf.wrapped(words, _TEXT, self.width):
            self.need(_LINE)
            self.y -= _LINE
            self.text(row, _EDGE, _TEXT)

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """A table as wide as the page at most; a cell is broken where it must be, and heads stay with the first row."""
        widths = self._widths(heads, rows)
        wrapped = [
            [self.pdf.wrapped(c, _TEXT, w - 2.0, bold=not i) for c, w in zip(row, widths, strict=True)]
            for i, row in enumerate((heads, *rows))
        ]
        heights = [max(map(len, cells)) * _LINE for cells in wrapped]
        for i, (cells, tall) in enumerate(zip(wrapped, heights, strict=True)):
            self.need(sum(heights[:2]) + 2.0 if not i else tall + 1.0)
            x = _EDGE
            top = self.y
            for cell, width in zip(cells, widths, strict=True):
                for k, line in enumerate(cell):
                    self.y = top - (k + 1) * _LINE
                    self.text(line, x, _TEXT, bold=not i)
                x += width
            self.y = top - tall - 1.0
            self._rule(sum(widths))

    def _rule(self, width: float) -> None:
        ends = [(_EDGE, self.y), (_EDGE + width, self.y)]
        self.op(lambda pdf: pdf.drawn(ends, _RULE))

    def _widths(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[float]:
        wanted = []
        for head, *cells in zip(heads, *rows, strict=True):
            longest = max(self.pdf.width(word, _TEXT, bold=True) for word in head.split())
            longest = max(longest, 0.65 * self.pdf.width(head, _TEXT, bold=True))  # two lines at most
            wanted.append(2.5 + max(longest, *(self.pdf.width(cell, _TEXT) for cell in cells)))
        over = max(1.0, sum(wanted) / self.width)
        return [width / over for width in wanted]


def cover_pages(
    pdf: Pdf, size: Point, job: Job, heading: str, tubes: Sequence[CoverTube], straights: Sequence[str], own: int
) -> list[list[Op]]:
    """What is drawn on each first page.

    Args:
        pdf: to measure text with.
        size: of a page, mm.
        job: whose templates.
        heading: of the first page.
        tubes: in the order of their tiles.
        straights: names of tubes without a bend, which have no template here.
        own: how many first pages there are; 0 while that is not known.
    """
    pages = _Pages(pdf, size)
    pages.need(80.0)
    pages.y -= _HEAD
    pages.text(f"{heading}, full size", _EDGE, _HEAD, bold=True, room=pages.width)
    pages.y -= 3.0
    pages.paragraph(
        "Print every page at full size, without fitting to the page, and measure both arms of the bar below. Put the "
        "tiles of a tube together: cut a tile along its line 'cut here' and lay it on the tile that is named there, so "
        "that the crosses of both meet. Cut the strip along its ends and its long edges."
    )
    bar = scale_bar(job.display, SCALE)
    low = pages.y - 4.0 - max(b[1] for _, b, _ in bar.lines)
    pages.op(lambda pdf: pdf.put(Figure(lines=bar.lines), _EDGE + 4.0, low))
    pages.y = low + 40.0
    for words in (text.text for text in bar.texts):
        pages.y -= _LINE
        pages.text(words, _EDGE + 12.0, _TEXT)
    pages.y = low - 3.0
    if straights:
        names = listed(straights if len(straights) <= 12 else [*straights[:12], f"{len(straights) - 12} more"])
        pages.paragraph(f"Without a bend, and so without a template here: {names}.")
    said = [notes(one.part.first, one.stick, job.shop, job.display) for one in tubes]
    shared = [note for note in said[0] if all(note in own_notes for own_notes in said)] if len(said) > 1 else []
    if any(one.tiles.blank for one in tubes):
        shared.insert(0, _AFTER_A_GAP)
    for note in shared:
        pages.paragraph(note)
    page = own + 1
    for one, own_notes in zip(tubes, said, strict=True):
        _tube(pages, job, one, page, [note for note in own_notes if note not in shared])
        page += one.tiles.printed
    return pages.pages


def _tube(pages: _Pages, job: Job, one: CoverTube, page: int, own_notes: Sequence[str]) -> None:
    """Name with how many, pages, tubes, facts, numbers and use of one part."""
    display, tube = job.display, one.part.first
    pages.need(30.0)
    pages.y -= 3.0 + 1.6 * _NAME
    count, last = one.tiles.count, page + one.tiles.printed - 1
    where = f"tile 1, page {page}" if count == 1 else f"tiles 1 to {count}, pages {page} to {last}"
    pages.text(with_verdict(part_title(one.part), one.stick), _EDGE, _NAME, bold=True, room=pages.width - 65.0)
    at = (_EDGE + pages.width, pages.y)
    pages.op(lambda pdf: pdf.text(where, at, _TEXT, align="right"))
    pages.y -= 1.0
    for words in part_lines(one.part)[1:]:
        pages.paragraph(words)
    if count > 1:
        _tile_map(pages, one.tiles)
    unit = "inches" if display.unit == "in" else display.unit
    pages.paragraph(f"{', '.join(facts(tube, one.stick, one.strip, display))}. Lengths below are in {unit}.")
    pages.y -= 1.5
    pages.table(HEADS, [bend_row(one.stick, bend, display) for bend in one.stick.bends])
    pages.y -= 1.0
    for note in own_notes:
        pages.paragraph(note)


def _tile_map(pages: _Pages, tiles: TileMap) -> None:
    """How the tiles lie, end A at the left, and which are left out."""
    per_line = max(1, int(pages.width / max(_NARROWEST, min(_WIDEST, pages.width / tiles.columns))))
    wide = min(_WIDEST, pages.width / min(per_line, tiles.columns))
    for first in range(0, tiles.columns, per_line):
        pages.need(tiles.rows * _TALL + 3.0)
        pages.y -= 1.5
        for row in range(tiles.rows):
            pages.y -= _TALL
            for column in range(first, min(first + per_line, tiles.columns)):
                blank = column in tiles.blank
                x, y = _EDGE + (column - first) * wide, pages.y
                box = [(x + 0.3, y), (x + wide - 0.3, y), (x + wide - 0.3, y + _TALL), (x + 0.3, y + _TALL)]
                pen, number = (_LEFT_OUT if blank else _PRINTED), str(tiles.number(column, row))
                at = (x + wide / 2.0, y + (_TALL - _TEXT) / 2.0)
                pages.op(_tile_box(box, pen, number, at))
    if tiles.blank:
        numbers = sorted(tiles.number(column, row) for column in tiles.blank for row in range(tiles.rows))
        pages.y -= 1.0
        pages.paragraph(
            f"{'Tile' if len(numbers) == 1 else 'Tiles'} {', '.join(map(str, numbers))} (dashed): left out, since "
            "nothing is marked there."
        )


def _tile_box(box: list[Point], pen: Pen, number: str, at: Point) -> Op:
    def op(pdf: Pdf) -> None:
        pdf.drawn(box, pen, closed=True)
        pdf.text(number, at, _TEXT, align="center", color=pen.color, bold=pen is _PRINTED)

    return op
