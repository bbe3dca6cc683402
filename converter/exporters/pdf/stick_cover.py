"""The first pages of printed stick templates: how they are used, and the numbers of every tube."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.exporters.paper.figure import Figure, scale_bar
from converter.exporters.paper.stick import StickTemplate, Strip
from converter.exporters.paper.stick_drawing import SCALE
from converter.exporters.paper.stick_words import HEADS, bend_row, facts, notes, with_verdict
from converter.exporters.pdf.canvas import Pdf, Pen
from converter.exporters.sheet.pdf.flow import Flow, TableColumn
from converter.exporters.sheet.pdf.frame import EDGE, HEADING, SMALL
from converter.findings.wording import listed
from converter.model.part import Part
from converter.words import part_lines, part_title

if TYPE_CHECKING:
    from converter.job import Job

#: Height of the table's text, mm, and the columns' shares of its width; those of words.
_TABLE = SMALL
_SHARES = (4.0, 5.0, 8.0, 22.0, 8.0, 8.0, 7.0, 8.0, 8.0, 27.0, 7.0)
_WORDS = ("tangent points", "die", "turn the tube")
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


def cover_pages(
    flow: Flow, job: Job, heading: str, tubes: Sequence[CoverTube], straights: Sequence[str], own: int
) -> None:
    """Lay out the first pages.

    Args:
        flow: gets them.
        job: whose templates.
        heading: of the first page.
        tubes: in the order of their tiles.
        straights: names of tubes without a bend, which have no template here.
        own: how many first pages there are; 0 while that is not known.
    """
    flow.begin(f"{heading}, full size")
    flow.paragraph(
        "Print every page at full size, without fitting to the page, and measure both arms of the bar below. Put the "
        "tiles of a tube together: cut a tile along its line 'cut here' and lay it on the tile that is named there, so "
        "that the crosses of both meet. Cut the strip along its ends and its long edges."
    )
    bar = scale_bar(job.display, SCALE)
    (x0, y0), tall = bar.low, max(b[1] for _, b, _ in bar.lines)

    def drawn_bar(pdf: Pdf, low: float) -> None:
        pdf.put(Figure(lines=bar.lines), EDGE - x0, low - y0)
        for i, words in enumerate(text.text for text in bar.texts):
            pdf.text(words, (EDGE - x0 + 8.0, low - y0 + tall - 9.0 - 3.8 * i), SMALL)

    flow.space(3.0)
    flow.drawn(tall - y0 + 3.0, drawn_bar)
    if straights:
        names = listed(straights if len(straights) <= 12 else [*straights[:12], f"{len(straights) - 12} more"])
        flow.paragraph(f"Without a bend, and so without a template here: {names}.")
    said = [notes(one.part.first, one.stick, job.shop, job.display) for one in tubes]
    shared = [note for note in said[0] if all(note in own_notes for own_notes in said)] if len(said) > 1 else []
    if any(one.tiles.blank for one in tubes):
        shared.insert(0, _AFTER_A_GAP)
    for note in shared:
        flow.paragraph(note)
    page = own + 1
    for one, own_notes in zip(tubes, said, strict=True):
        _tube(flow, job, one, page, [note for note in own_notes if note not in shared])
        page += one.tiles.printed


def _tube(flow: Flow, job: Job, one: CoverTube, page: int, own_notes: Sequence[str]) -> None:
    """Name with how many, pages, tubes, facts, numbers and use of one part."""
    display, tube = job.display, one.part.first
    flow.space(4.0)
    flow.keep(46.0)
    count, last = one.tiles.count, page + one.tiles.printed - 1
    where = f"tile 1, page {page}" if count == 1 else f"tiles 1 to {count}, pages {page} to {last}"
    flow.paragraph(f"{with_verdict(part_title(one.part), one.stick)}: {where}", HEADING, bold=True)
    for words in part_lines(one.part)[1:]:
        flow.paragraph(words)
    if count > 1:
        _tile_map(flow, one.tiles)
    unit = "inches" if display.unit == "in" else display.unit
    flow.paragraph(f"{', '.join(facts(tube, one.stick, one.strip, display))}. Lengths below are in {unit}.")
    flow.space(1.0)
    columns = [
        TableColumn(head, share, "left" if head in _WORDS else "right")
        for head, share in zip(HEADS, _SHARES, strict=True)
    ]
    flow.table(columns, [bend_row(one.stick, bend, display) for bend in one.stick.bends], _TABLE)
    flow.space(1.5)
    for note in own_notes:
        flow.paragraph(note)


def _tile_map(flow: Flow, tiles: TileMap) -> None:
    """How the tiles lie, end A at the left, and which are left out."""
    per_line = max(1, int(flow.width / max(_NARROWEST, min(_WIDEST, flow.width / tiles.columns))))
    wide = min(_WIDEST, flow.width / min(per_line, tiles.columns))
    for first in range(0, tiles.columns, per_line):

        def drawn(pdf: Pdf, low: float, columns: range = range(first, min(first + per_line, tiles.columns))) -> None:
            for row in range(tiles.rows):
                y = low + 1.0 + (tiles.rows - 1 - row) * _TALL
                for column in columns:
                    pen = _LEFT_OUT if column in tiles.blank else _PRINTED
                    x = EDGE + (column - columns[0]) * wide
                    box = [(x + 0.3, y), (x + wide - 0.3, y), (x + wide - 0.3, y + _TALL), (x + 0.3, y + _TALL)]
                    pdf.drawn(box, pen, closed=True)
                    at, number = (x + wide / 2.0, y + (_TALL - SMALL) / 2.0), str(tiles.number(column, row))
                    pdf.text(number, at, SMALL, align="center", color=pen.color, bold=pen is _PRINTED)

        flow.drawn(tiles.rows * _TALL + 2.0, drawn)
    if tiles.blank:
        numbers = sorted(tiles.number(column, row) for column in tiles.blank for row in range(tiles.rows))
        flow.paragraph(
            f"{'Tile' if len(numbers) == 1 else 'Tiles'} {', '.join(map(str, numbers))} (dashed): left out, since "
            "nothing is marked there."
        )
