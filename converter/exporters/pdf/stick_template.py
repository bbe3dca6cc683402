"""Full-size stick templates as PDF to print: first pages with the numbers and the use, then each strip in tiles.

Tiles overlap. Where two meet both have the same line and the same crosses in the same place of the strip: on the tile
before they show where the next one comes, the next one is cut along them and laid on. A tile on which nothing is
marked is left out; the one after it says how far its line lies from the end fed first. Every tile has a scale bar and
a title block. docs/templates.md says how to put them together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil, floor
from typing import TYPE_CHECKING

from converter.errors import WriteError
from converter.exporters.paper import stick_drawing as parts
from converter.exporters.paper.figure import Figure, Point, Text
from converter.exporters.paper.stick import StickTemplate, Strip
from converter.exporters.paper.stick_words import with_verdict
from converter.exporters.paper.title import TitleBlock
from converter.exporters.pdf.canvas import Pdf, Pen
from converter.exporters.pdf.stick_cover import CoverTube, TileMap, cover_pages
from converter.exporters.pdf.tiling import Tile, clip, least_tiles, refuse_in_doubt, unit_doubts
from converter.exporters.pdf.title_block import CORNER, draw_corner
from converter.exporters.sheet.pdf.flow import Flow
from converter.model.run import Tube
from converter.progress import steps
from converter.quoting import LONGEST_PATH, quoted
from converter.units import Display
from converter.words import part_title

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.model.part import Part

JOIN, TRIM_HERE, CROSSES = "join", "trim-here", "join-crosses"
#: By purpose: where metal is cut the widest, then the die's marks, then what is cut of paper, then the rest.
PENS = {
    parts.COPE: Pen(0.5),
    parts.CUT: Pen(0.5),
    parts.MARK: Pen(0.35, (0.6, 0.0, 0.0)),
    parts.TRIM: Pen(0.35, (0.0, 0.0, 0.0), (3.0, 1.5)),
    parts.EDGE: Pen(0.25),
    TRIM_HERE: Pen(0.25, (0.35, 0.35, 0.35)),
    parts.OUTSIDE: Pen(0.25, (0.0, 0.4, 0.15)),
    parts.INSIDE: Pen(0.18, (0.5, 0.1, 0.5), (2.0, 1.2)),
    parts.BEGIN: Pen(0.18, (0.1, 0.25, 0.7), (2.0, 1.2)),
    parts.STOP: Pen(0.18, (0.1, 0.25, 0.7), (2.0, 1.2)),
    parts.END: Pen(0.18, (0.35, 0.35, 0.35), (4.0, 1.0, 0.8, 1.0)),
    parts.FACES: Pen(0.13, (0.5, 0.5, 0.5)),
    parts.CLOCK: Pen(0.13, (0.35, 0.35, 0.35)),
    parts.CLOSING: Pen(0.3, (0.0, 0.4, 0.15)),
    JOIN: Pen(0.18, (0.7, 0.1, 0.1), (3.0, 1.5)),
    CROSSES: Pen(0.25, (0.7, 0.1, 0.1)),
    parts.SCALE: Pen(0.2),
}
#: Unprintable edge of a page, the room around a tile for what is said of its joins, and the title strip's height, mm.
BORDER, GUTTER, TITLE = 10.0, 5.0, CORNER[1] + 3.0
#: How far neighbours overlap; the join runs along the middle. Common practice, no source.
OVERLAP = 12.0
#: What lies on every tile, and how near to a join a line counts for the tiles on both sides, mm.
_EVERYWHERE, _NEAR_JOIN = (parts.EDGE, parts.FACES, parts.CLOSING), 0.5
#: Greatest distance between crosses on a join, and how far their arms reach, mm.
_CROSS_STEP, _CROSS_ARM = 40.0, 2.5
#: Height of the title strip's text, mm: 7.8 pt.
_TEXT = 2.0


@dataclass(frozen=True)
class Join:
    """Where a tile meets a neighbour, in the strip's coordinates.

    Attributes:
        start, end: its line within the tile.
        other: number of the neighbour.
        cut_here: whether this tile is cut along it and laid on the other.
        alone: whether the neighbour is left out.
    """

    start: Point
    end: Point
    other: int
    cut_here: bool
    alone: bool = False

    @property
    def upright(self) -> bool:
        """Whether it runs across the stick."""
        return self.start[0] == self.end[0]


@dataclass(frozen=True)
class TiledStick:
    """A stick's strip on pages.

    Attributes:
        part: that it serves.
        tube, stick, strip: what is drawn; the part's first tube.
        size: of its pages, mm.
        tiles: in rows from the top, each from end A.
        figure: the strip with its labels.
        blank: columns of tiles that are left out, since nothing is marked on them; 0 for the first.
    """

    part: Part
    tube: Tube
    stick: StickTemplate
    strip: Strip
    size: Point
    tiles: tuple[Tile, ...]
    figure: Figure
    blank: frozenset[int]

    @classmethod
    def of(cls, part: Part, stick: StickTemplate, strip: Strip, paper: Point, display: Display) -> TiledStick:
        """The strip on as few pages as it takes, sideways before upright."""
        tube = part.first
        height = parts.label_height(None if tube.section is None else tube.section.od)
        figure = parts.strip_figure(stick, strip, height)
        size, tiles = _least_tiles(figure.low, figure.high, paper, tube)
        joins = [pair for one in tiles for join in _joins(one, tiles) for pair in _join_lines(join, strip)]
        parts.label_strip(figure, stick, strip, height, display, joins)
        return cls(part, tube, stick, strip, size, tiles, figure, _blank_columns(figure, tiles))

    def shift(self, one: Tile) -> Point:
        """What is added to a place of the strip for its place on the page of a tile."""
        window = one.window
        return BORDER + GUTTER - window[0], self.size[1] - BORDER - GUTTER - window[3]

    @cached_property
    def joins(self) -> tuple[tuple[Join, ...], ...]:
        """Of every tile, its joins."""
        return tuple(
            tuple(
                replace(join, alone=self.tiles[join.other - 1].column in self.blank) for join in _joins(one, self.tiles)
            )
            for one in self.tiles
        )

    @property
    def printed(self) -> list[int]:
        """Places of the tiles that are printed, in their order."""
        return [k for k, one in enumerate(self.tiles) if one.column not in self.blank]

    @property
    def map(self) -> TileMap:
        """What of it is printed, for the first pages."""
        return TileMap(1 + max(one.column for one in self.tiles), 1 + max(one.row for one in self.tiles), self.blank)


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-template.pdf``.

    Raises:
        WriteError: no tube that is shown has a bend, or one takes more pages than
            `converter.limits.TEMPLATE_PAGES`, or so many that a unit in doubt is to be looked at first.
        MissingLibraryError: the PDF library is not installed.
    """
    display, paper = job.display, options.paper_size(job.display)
    bent = [
        (part, setup) for part, setup in job.shown.first_setups if setup.tube.run.table.bends and not setup.is_nothing
    ]
    if not bent:
        raise WriteError(
            f"No tube of {quoted(job.source, LONGEST_PATH)} has a bend, so there is no stick template to print.",
            code="no-bends",
            file=job.source,
        )
    refuse_in_doubt(job, (part.first for part, _ in bent), paper)
    sticks = []
    for part, setup in steps(bent, "templates"):
        strip = Strip.of(setup.tube.section, options.paper_thickness)
        stick = StickTemplate.of_part(job, part, setup)
        with unit_doubts(job):
            sticks.append(TiledStick.of(part, stick, strip, paper, display))
    heading = f"{options.stem}: stick templates"
    block = TitleBlock.of_job(job, options.stem)
    pdf = Pdf(heading, PENS)
    straights = [one.tube.name for one in job.shown.setups if not one.tube.run.table.bends]
    tubes = [CoverTube(one.part, one.stick, one.strip, one.map) for one in sticks]
    first = 0
    for _ in range(2):  # the numbers of pages take no room of their own
        cover = Flow(pdf, paper)
        cover_pages(cover, job, heading, tubes, straights, first)
        first = len(cover.pages)
    total = first + sum(len(one.printed) for one in sticks)
    cover.draw(block, display, total - first)
    number = first
    for one in steps(sticks, "templates"):
        for k in one.printed:
            number += 1
            _tile_page(pdf, one, k, block.with_parts([one.part], display), f"{number} of {total}", display)
    out.path(f"{options.stem}-template.pdf").write_bytes(pdf.data())


def _least_tiles(low: Point, high: Point, paper: Point, tube: Tube) -> tuple[Point, tuple[Tile, ...]]:
    """Size of the pages, and the tiles, in as few as it takes."""
    edge = 2.0 * (BORDER + GUTTER)
    choices = [(size, (size[0] - edge, size[1] - edge - TITLE)) for size in ((paper[1], paper[0]), paper)]
    what = f"The stick template of tube {quoted(tube.name)}"
    instead = "write it as DXF (--to template), or pick other tubes (--run)"
    size, tiles = least_tiles(low, high, choices, OVERLAP, what=what, instead=instead)
    return size, tuple(tiles)


def _blank_columns(figure: Figure, tiles: Sequence[Tile]) -> frozenset[int]:
    """Columns of tiles, none at either end, on which nothing lies but the strip's edges and what runs along it all."""
    drawn = [([a, b], layer) for a, b, layer in figure.lines] + figure.curves
    spans = [
        (min(x for x, _ in points), max(x for x, _ in points)) for points, layer in drawn if layer not in _EVERYWHERE
    ]
    row = [one for one in tiles if one.row == 0]
    blank = set()
    for one in row[1:-1]:
        # what lies on the overlap belongs to the tile on whose side of the join it is
        low, high = one.window[0] + OVERLAP / 2.0, one.window[2] - OVERLAP / 2.0
        if not any(start <= high + _NEAR_JOIN and end >= low - _NEAR_JOIN for start, end in spans):
            blank.add(one.column)
    return frozenset(blank)


def _joins(one: Tile, tiles: Sequence[Tile]) -> Iterator[Join]:
    """The joins of a tile: it is cut at its left and its upper one."""
    columns = max(each.column for each in tiles) + 1
    here = one.row * columns + one.column + 1
    left, bottom, right, top = one.window
    for a, b, _ in one.joins:
        if a[0] == b[0]:
            before = a[0] < (left + right) / 2.0
            yield Join(a, b, here - 1 if before else here + 1, before)
        else:
            above = a[1] > (bottom + top) / 2.0
            yield Join(a, b, here - columns if above else here + columns, above)


def _crosses(join: Join, strip: Strip) -> list[Point]:
    """Places of the crosses of a join: counted from the strip's own origin, so that both tiles have them alike."""
    axis = 1 if join.upright else 0
    # across the stick so that both edges of the strip have one
    step = strip.height / max(2, ceil(strip.height / _CROSS_STEP)) if join.upright else _CROSS_STEP
    start, end = sorted((join.start[axis], join.end[axis]))
    places = [k * step for k in range(ceil(start / step - 1e-9), floor(end / step + 1e-9) + 1)]
    return [(join.start[0], s) if join.upright else (s, join.start[1]) for s in places]


def _join_lines(join: Join, strip: Strip) -> list[tuple[Point, Point]]:
    """What is drawn at a join: its line, and the arms of its crosses."""
    found = [(join.start, join.end)]
    for x, y in _crosses(join, strip):
        found += _arms(x, y)
    return found


def _arms(x: float, y: float) -> list[tuple[Point, Point]]:
    a = _CROSS_ARM
    return [((x - a, y - a), (x + a, y + a)), ((x - a, y + a), (x + a, y - a))]


def _tile_page(pdf: Pdf, one: TiledStick, k: int, block: TitleBlock, page: str, display: Display) -> None:
    pdf.page(one.size)
    _strip_part(pdf, one, one.tiles[k])
    for join in one.joins[k]:
        _draw_join(pdf, one, one.tiles[k], join, display)
    left, _, right, _ = one.tiles[k].window
    low, high = one.stick.ends
    places = sorted(one.stick.from_fed_end(min(max(x, low), high)) for x in (left, right))
    span = f"{display.number(places[0])} to {display.length(places[1])} from end {one.stick.feed_from} as cut"
    name = with_verdict(part_title(one.part), one.stick)
    words = [f"{name}: tile {k + 1} of {len(one.tiles)}", f"stick template, full size; {span}"]
    _title_strip(pdf, one.size, words, block, page, display)
    pdf.end_page()


def _strip_part(pdf: Pdf, one: TiledStick, part: Tile) -> None:
    """What of the strip lies in a tile; a label only where all of it does."""
    window, figure = part.window, one.figure
    dx, dy = one.shift(part)
    drawn = [([a, b], layer) for a, b, layer in figure.lines] + figure.curves
    for points, layer in drawn:
        xs = [x for x, _ in points]
        if max(xs) < window[0] or min(xs) > window[2]:
            continue
        for piece in clip(points, window):
            pdf.polyline([(x + dx, y + dy) for x, y in piece], layer)
    for text in figure.texts:
        x0, y0, x1, y1 = text.box()
        if window[0] - 1e-9 <= x0 and x1 <= window[2] + 1e-9 and window[1] - 1e-9 <= y0 and y1 <= window[3] + 1e-9:
            _put_text(pdf, text, dx, dy)


def _put_text(pdf: Pdf, text: Text, dx: float, dy: float) -> None:
    """A label of a figure; one that stands by its middle is not turned."""
    low = text.height / 2.0 if text.align.startswith("middle") else 0.0
    align = text.align.removeprefix("middle").strip() or "center"
    at = (text.at[0] + dx, text.at[1] + dy - low)
    pdf.text(text.text, at, text.height, align=align, rotation=text.rotation)


def _draw_join(pdf: Pdf, one: TiledStick, part: Tile, join: Join, display: Display) -> None:
    """The line and the crosses of a join, and beside the tile what to do there."""
    dx, dy = one.shift(part)
    a, b = ((x + dx, y + dy) for x, y in (join.start, join.end))
    pdf.polyline([a, b], TRIM_HERE if join.cut_here else JOIN)
    for x, y in () if join.alone else _crosses(join, one.strip):
        for start, end in _arms(x + dx, y + dy):
            pdf.polyline([start, end], CROSSES)
    left, _, _, top = part.window
    if join.upright:
        words = f"cut here, lay on tile {join.other}" if join.cut_here else f"tile {join.other} from here on"
        if join.alone:
            far = display.length(one.stick.from_fed_end(join.start[0]))
            measured = f"cut here and lay it {far} from end {one.stick.feed_from} as cut"
            words = measured if join.cut_here else f"nothing is marked on tile {join.other}: left out"
        x = a[0] + 3.5 if join.cut_here else a[0] - 3.5
        pdf.text(words, (x, top + dy + 1.5), _TEXT, align="left" if join.cut_here else "right")
    else:
        words = f"cut here, lay on tile {join.other}" if join.cut_here else f"tile {join.other} from here down"
        y = a[1] - 3.5 if join.cut_here else a[1] + 3.5
        pdf.text(words, (left + dx - 1.5, y), _TEXT, align="right" if join.cut_here else "left", rotation=90.0)


def _title_strip(pdf: Pdf, size: Point, words: Sequence[str], block: TitleBlock, page: str, display: Display) -> None:
    """What a page shows over a scale bar, and the title block, at the foot of every page."""
    x, end, top = BORDER, size[0] - BORDER, BORDER + TITLE - 3.0
    draw_corner(pdf, block, (end, BORDER), page)
    room = end - x - CORNER[0] - 3.0
    rows = [row for i, text in enumerate(words) for row in pdf.wrapped(text, _TEXT * (1.0 if i else 1.2), room)[:2]]
    for i, row in enumerate(rows[:3]):
        first = i == 0
        pdf.text(row, (x, top - 3.0 - i * 3.6), _TEXT * (1.2 if first else 1.0), room=room, bold=first)
    step, count = (12.7, 8) if display.unit == "in" else (10.0, 10)
    y = BORDER + 1.0
    pdf.polyline([(x, y), (x + count * step, y)], parts.SCALE)
    for i in range(count + 1):
        pdf.polyline([(x + i * step, y), (x + i * step, y + (3.0 if i in (0, count) else 1.5))], parts.SCALE)
    size_words = "4 in" if display.unit == "in" else "100 mm"
    pdf.text(f"full size: this bar is {size_words}", (x + 2.0, y + 3.6), _TEXT, room=room)
