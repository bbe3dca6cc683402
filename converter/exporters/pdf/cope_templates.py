"""Full-size cope templates as PDF to print: an index of all copes and holes, then the sheets of each.

Every sheet stands for itself: it names tube and end (or the tube that passes), carries scale bar and title block, and
says what the lines are. Small templates share a sheet, each with its name and facts. A template larger than a sheet
goes over several, with join lines that stand in the same place of the template on both neighbours.
docs/cope-templates.md says how to use them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from converter.exporters.paper import cope_drawing as parts
from converter.exporters.paper.figure import LEADING, Box, Figure, Point, Text, scale_bar
from converter.exporters.paper.templates import Template, templates_of, uses
from converter.exporters.paper.title import TitleBlock
from converter.exporters.pdf.canvas import Pdf, Pen
from converter.exporters.pdf.tiling import Tile, clip, least_tiles, refuse_in_doubt, unit_doubts
from converter.exporters.pdf.title_block import CORNER, draw_corner
from converter.findings.wording import counted
from converter.quoting import quoted
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

#: By purpose: what metal is cut by the widest, then what the paper is laid by, then the rest.
PENS = {
    parts.CUT: Pen(0.5),
    parts.BORE: Pen(0.18, (0.1, 0.25, 0.7), (2.0, 1.2)),
    parts.MATE: Pen(0.15, (0.45, 0.45, 0.45), (0.8, 0.8)),
    parts.ZERO: Pen(0.25, (0.0, 0.4, 0.15)),
    parts.EDGE: Pen(0.22),
    parts.END: Pen(0.15, (0.35, 0.35, 0.35), (4.0, 1.0, 0.8, 1.0)),
    parts.QUARTERS: Pen(0.15, (0.35, 0.35, 0.35)),
    parts.CLOSING: Pen(0.2, (0.0, 0.4, 0.15)),
    parts.POINTS: Pen(0.2, (0.1, 0.25, 0.7)),
    parts.SCALE: Pen(0.2),
    "join": Pen(0.15, (0.7, 0.1, 0.1), (3.0, 1.5)),
    "join-marks": Pen(0.3, (0.7, 0.1, 0.1)),
    "rule": Pen(0.15, (0.5, 0.5, 0.5)),
}
#: Unprintable edge of a sheet, mm: most printers reach nearer, no source.
BORDER = 10.0
#: Height of the heading, and of scale bar, notes and title block at the foot, mm.
HEAD, FOOT = 13.0, 57.0
_NOTE = 2.0
#: Of the foot: where the bar's corner stands from the border, how far its upright arm reaches, and where the title
#: block stands above the bar.
_BAR, _ARM, _OVER = 4.0, 50.0, 2.5
#: Height of the facts of a template beside or below it (7.6 pt), and from line to line, mm.
_FACT, _FACT_LINE = 1.95, 1.5 * 1.95
_LINE = LEADING * 1.15 * _NOTE
#: Of a sheet that several templates share: its heading, a template's heading, least width, the room between,
#: and the least width of facts beside a template.
_SHARED_HEAD, _CELL_HEAD, _LEAST_CELL, _CELL_GAP, _LEAST_FACTS = 8.0, 9.5, 84.0, 6.0, 42.0
#: Distance between join marks, and how far neighbouring sheets overlap, mm.
_MARKS, _OVERLAP = 40.0, 10.0
Size = tuple[float, float]


@dataclass(frozen=True, slots=True)
class PlacedTemplate:
    """A page and where on it the template stands: template (x, y) is at page (x + dx, y + dy), mm."""

    size: Point
    tile: Tile
    dx: float
    dy: float


@dataclass(frozen=True, slots=True)
class Cell:
    """What a template takes of a shared sheet: width and height in mm, its facts line by line, and where they stand.

    Attributes:
        aside: how far right of the template's left edge the facts begin, mm; 0 for below it.
    """

    width: float
    height: float
    rows: tuple[str, ...]
    aside: float


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-copes.pdf``.

    Raises:
        WriteError: no end of the job is cut to fit, or a template takes more pages than
            `converter.limits.TEMPLATE_PAGES`, or so many that a unit in doubt is to be looked at first.
        MissingLibraryError: the PDF library is not installed.
    """
    size = options.paper_size(job.display)
    cut = {joint.tube for joint in job.shown.joints if not joint.is_square} | {hole.tube for hole in job.shown.holes}
    refuse_in_doubt(job, (part.first for part in job.shown.parts if part.first.name in cut), size)
    templates = templates_of(job, options)
    pdf = Pdf(f"{options.stem}: cope templates", PENS)
    width = size[0] - 2.0 * BORDER
    cells = [_cell_of(pdf, one, width) for one in templates]
    page = _index_pages(len(_index_rows(templates)), size) + 1
    starts = [0] * len(templates)
    groups = _grouped(cells, size, options.one_each)
    # one that is too large for a sheet with its facts has tiles of its own
    with unit_doubts(job):
        own = [[] if _fits(cells[one[0].number], size) else place(templates[one[0].number], size) for one in groups]
    for group, sheets in zip(groups, own, strict=True):
        for spot in group:
            starts[spot.number] = page
        page += max(1, len(sheets))
    about = _index_words(templates, sum(joint.is_square for joint in job.shown.joints), job.display)
    foot = _Foot(TitleBlock.of_job(job, options.stem), job.display, page - 1)
    _index(pdf, about, options.stem, templates, starts, size, foot)
    for group, sheets in zip(groups, own, strict=True):
        if not sheets:
            _shared_sheet(pdf, options.stem, [(templates[s.number], cells[s.number], s) for s in group], size, foot)
        for n, sheet in enumerate(sheets, 1):
            _sheet(pdf, options.stem, templates[group[0].number], sheet, (n, len(sheets)), foot)
    out.path(f"{options.stem}-copes.pdf").write_bytes(pdf.data())


def _cell_of(pdf: Pdf, one: Template, room: float) -> Cell:
    """The room a template takes on a shared sheet, its heading and its facts with it.

    Facts stand below the template where two fit side by side, else beside it where that is lower.
    """
    low, high = one.drawing.bounds()
    width, height = max(high[0] - low[0], _LEAST_CELL), high[1] - low[1]
    left = room - width - _CELL_GAP

    def rows(wide: float) -> tuple[str, ...]:
        return tuple(row for fact in one.facts for row in pdf.wrapped(fact, _FACT, wide))

    below = rows(width)
    cell = Cell(width, _CELL_HEAD + height + 2.0 + len(below) * _FACT_LINE, below, 0.0)
    if width > left >= _LEAST_FACTS:
        aside = rows(left)
        beside = Cell(room, _CELL_HEAD + max(height, len(aside) * _FACT_LINE), aside, width + _CELL_GAP)
        return min(beside, cell, key=lambda one: one.height)
    return cell


def _room(size: Point) -> Point:
    """What templates and their facts may take of a sheet, mm."""
    return size[0] - 2.0 * BORDER, size[1] - 2.0 * BORDER - _SHARED_HEAD - FOOT


def _fits(cell: Cell, size: Point) -> bool:
    """Whether a template and its facts stand on one sheet."""
    room = _room(size)
    return cell.width <= room[0] and cell.height <= room[1]


def _grouped(cells: Sequence[Cell], size: Point, one_each: bool) -> list[list[Spot]]:
    """Which templates share a sheet, in the order of the first of each; one that needs its own is alone."""
    fits = [i for i, cell in enumerate(cells) if not one_each and _fits(cell, size)]
    packed = pack([(cells[i].width, cells[i].height) for i in fits], _room(size), _CELL_GAP)
    groups = [[Spot(fits[s.number], s.x, s.y) for s in group] for group in packed]
    groups += [[Spot(i, 0.0, 0.0)] for i in range(len(cells)) if i not in set(fits)]
    return sorted(groups, key=lambda group: group[0].number)


def _shared_sheet(pdf: Pdf, stem: str, chosen: Sequence[tuple[Template, Cell, Spot]], size: Point, foot: _Foot) -> None:
    """Templates, each under its name and beside or over its facts."""
    pdf.page(size)
    top, right = size[1] - BORDER, size[0] - BORDER
    pdf.text(f"{stem}: cope templates, full size", (BORDER, top - 4.0), 4.0, room=right - BORDER - 45.0)
    pdf.text(counted(len(chosen), "template"), (right, top - 4.0), 2.6, align="right")
    for one, cell, spot in chosen:
        low, high = one.drawing.bounds()
        x, y = BORDER + spot.x, top - _SHARED_HEAD - spot.y
        pdf.text(one.title, (x, y - 3.0), 3.0, room=cell.width, bold=True)
        pdf.text(one.about, (x, y - 6.8), _NOTE, room=cell.width)
        _template(pdf, one.drawing, (low[0], low[1], high[0], high[1]), x - low[0], y - _CELL_HEAD - high[1])
        first = y - _CELL_HEAD - _FACT - (0.0 if cell.aside else high[1] - low[1] + 2.0)
        for i, row in enumerate(cell.rows):
            pdf.text(row, (x + cell.aside, first - i * _FACT_LINE), _FACT)
    foot.draw(pdf, size, uses([one for one, _, _ in chosen]), [one for one, _, _ in chosen])
    pdf.end_page()


def place(one: Template, size: Point) -> list[PlacedTemplate]:
    """Lay a template on as few sheets as it takes, upright before sideways.

    Raises:
        WriteError: it takes more than `converter.limits.TEMPLATE_PAGES`.
    """
    low, high = one.drawing.bounds()
    choices = [
        (page, (page[0] - 2.0 * BORDER, page[1] - 2.0 * BORDER - HEAD - FOOT)) for page in (size, (size[1], size[0]))
    ]
    what = f"The {'template' if one.hole else 'cope template'} {quoted(one.title)}"
    instead = "write it as DXF (--to cope-dxf), or pick other tubes (--run)"
    page, tiles = least_tiles(low, high, choices, _OVERLAP, what=what, instead=instead)
    top = page[1] - BORDER - HEAD
    return [PlacedTemplate(page, each, BORDER - each.window[0], top - each.window[3]) for each in tiles]


def _sheet(pdf: Pdf, stem: str, one: Template, sheet: PlacedTemplate, which: tuple[int, int], foot: _Foot) -> None:
    """A tile of a large template; ``which``: its number and how many there are."""
    page = sheet.size
    pdf.page(page)
    top = page[1] - BORDER
    right = page[0] - BORDER
    where = "one sheet" if which[1] == 1 else f"sheet {which[0]} of {which[1]}"
    heading = f"{one.title}: {'template' if one.hole else 'cope template'}, full size"
    pdf.text(heading, (BORDER, top - 4.0), 4.0, room=right - BORDER - 45.0)
    pdf.text(where, (right, top - 4.0), 2.6, align="right")
    pdf.text(f"{stem}; {one.about}", (BORDER, top - 9.0), _NOTE, room=right - BORDER)
    _template(pdf, one.drawing, sheet.tile.window, sheet.dx, sheet.dy)
    _joins(pdf, sheet)
    foot.draw(pdf, page, one.notes, [one])
    pdf.end_page()


def _template(pdf: Pdf, drawing: parts.CopeDrawing, window: Box, dx: float, dy: float) -> None:
    """What of a template lies in a window, moved by (dx, dy)."""
    for points, layer in drawing.curves:
        for piece in clip(points, window):
            pdf.polyline([(x + dx, y + dy) for x, y in piece], layer)
    for a, b, layer in drawing.figure.lines:
        for piece in clip([a, b], window):
            pdf.polyline([(x + dx, y + dy) for x, y in piece], layer)
    for t in drawing.figure.texts:
        if _shows(t, window):
            pdf.text(t.text, (t.at[0] + dx, t.at[1] + dy), t.height, align=t.align, rotation=t.rotation)


def _shows(text: Text, window: Box) -> bool:
    """Whether most of a label lies in a window."""
    x0, y0, x1, y1 = text.box()
    return window[0] <= (x0 + x1) / 2.0 <= window[2] and window[1] <= (y0 + y1) / 2.0 <= window[3]


def _joins(pdf: Pdf, sheet: PlacedTemplate) -> None:
    """Join lines with crosses at the same places of the template on both sheets."""
    for (ax, ay), (bx, by), label in sheet.tile.joins:
        a, b = (ax + sheet.dx, ay + sheet.dy), (bx + sheet.dx, by + sheet.dy)
        pdf.polyline([a, b], "join")
        upright = ax == bx
        start, end = (ay, by) if upright else (ax, bx)
        # counted from the template's own origin, so that both sheets have them alike
        k = int(start // _MARKS)
        while k * _MARKS <= end:
            s = k * _MARKS
            k += 1
            if s < start:
                continue
            x, y = (ax + sheet.dx, s + sheet.dy) if upright else (s + sheet.dx, ay + sheet.dy)
            pdf.polyline([(x - 2.5, y - 2.5), (x + 2.5, y + 2.5)], "join-marks")
            pdf.polyline([(x - 2.5, y + 2.5), (x + 2.5, y - 2.5)], "join-marks")
        at = (a[0] - 1.0, a[1] + 8.0) if upright else (a[0] + 8.0, a[1] + 1.0)
        pdf.text(label, at, 1.8, rotation=90.0 if upright else 0.0)


@dataclass(slots=True)
class _Foot:
    """What stands at the foot of the sheets: the scale bar, within its angle the notes, and the title block.

    Attributes:
        block: of the whole job.
        display: of the bar's unit.
        count: of pages.
        number: of the last page that has it.
    """

    block: TitleBlock
    display: Display
    count: int
    number: int = 0

    def draw(self, pdf: Pdf, size: Point, notes: Sequence[str], templates: Sequence[Template] = ()) -> None:
        """Scale bar, notes, and the title block of these templates."""
        bar = scale_bar(self.display, parts.SCALE)
        x, y = BORDER + _BAR, BORDER + _BAR
        pdf.put(Figure(lines=bar.lines), x, y)
        block = (size[0] - BORDER, y + _OVER)
        self.draw_block(pdf, block, templates)
        wide, narrow = size[0] - 2.0 * BORDER - 2.0 * _BAR, block[0] - CORNER[0] - x - 2.0 * _BAR
        tall = _ARM - _OVER - CORNER[1] - 1.0  # above the block
        text = [" ".join(t.text for t in bar.texts), *notes]
        step = _LINE
        while True:  # closer lines where there is much to say
            rows = _rows_around(pdf, text, (wide, narrow), int(tall / step))
            if len(rows) * step <= _ARM - 1.0 or step <= 1.3 * _NOTE:
                break
            step = max(1.3 * _NOTE, 0.95 * step)
        for i, row in enumerate(rows):
            pdf.text(row, (x + _BAR, y + _ARM - 1.0 - _NOTE - i * step), _NOTE)

    def draw_block(self, pdf: Pdf, right: Point, templates: Sequence[Template] = ()) -> None:
        """The title block alone, its lower right corner at a place."""
        self.number += 1
        served = [one.part for one in templates if one.part is not None]
        block = self.block.with_parts(served, self.display) if served else self.block
        draw_corner(pdf, block, right, f"{self.number} of {self.count}")


def _rows_around(pdf: Pdf, notes: Sequence[str], widths: tuple[float, float], first: int) -> list[str]:
    """Notes in lines: the first so many of the greater width, the others of the less."""
    wide, narrow = widths
    rows: list[str] = []
    for note in notes:
        left = max(0, first - len(rows))
        here = pdf.wrapped(note, _NOTE, wide) if left else []
        rows += here[:left]
        rest = " ".join(here[left:]) if left else note
        rows += pdf.wrapped(rest, _NOTE, narrow) if rest else []
    return rows


_COLUMNS: tuple[tuple[str, float, str], ...] = (
    ("tube", 0.20, "left"), ("end", 0.04, "left"), ("cut to", 0.25, "left"), ("angle", 0.08, "right"),
    ("offset", 0.08, "right"), ("long", 0.08, "right"), ("short", 0.08, "right"), ("hole saw", 0.11, "right"),
    ("page", 0.08, "right"),
)  # fmt: skip
#: Heads of the same columns over the holes.
_HOLES = ("tube", "", "hole for", "angle", "offset", "from A", "along", "around", "page")
#: Heights of a row of the index, mm: as wanted, and the least one can read.
_ROW, _LEAST_ROW = 6.0, 3.9
_INDEX_HEAD = 24.0


def _index_room(size: Point) -> float:
    """What rows of the index may take of a page, mm."""
    return size[1] - 2.0 * BORDER - _INDEX_HEAD - CORNER[1] - 3.0


def _index_pages(count: int, size: Point) -> int:
    return -(-count // int(_index_room(size) // _LEAST_ROW))


def _index_rows(templates: Sequence[Template]) -> list[int | None]:
    """The lines of the index: a template's number each, None for the heads over the holes."""
    ends = [i for i, one in enumerate(templates) if not one.hole]
    holes = [i for i, one in enumerate(templates) if one.hole]
    return [*ends, *([None] if holes else []), *holes]


def _index(
    pdf: Pdf, about: str, stem: str, templates: Sequence[Template], starts: Sequence[int], size: Point, foot: _Foot
) -> None:
    """All copes and holes of the job in one table: on one page as long as one can read it."""
    rows = _index_rows(templates)
    pages = _index_pages(len(rows), size)
    per_page = -(-len(rows) // pages)
    row = min(_ROW, _index_room(size) / per_page)
    height = min(2.2, 0.5 * row)
    width = size[0] - 2.0 * BORDER
    for page in range(pages):
        pdf.page(size)
        foot.draw_block(pdf, (size[0] - BORDER, BORDER))
        top = size[1] - BORDER
        pdf.text(f"{stem}: copes", (BORDER, top - 4.5), 4.5, room=width - 45.0)
        if pages > 1:
            pdf.text(f"index {page + 1} of {pages}", (BORDER + width, top - 4.5), 2.6, align="right")
        for i, words in enumerate(pdf.wrapped(about, _NOTE, width)):
            pdf.text(words, (BORDER, top - 10.0 - i * _LINE), _NOTE)
        chosen = rows[page * per_page : (page + 1) * per_page]
        y = top - _INDEX_HEAD + 4.0
        if chosen[0] is not None:
            heads = _HOLES if templates[chosen[0]].hole else [name for name, _, _ in _COLUMNS]
            _row(pdf, heads, y, 2.0, width)
            pdf.polyline([(BORDER, y - 1.5), (BORDER + width, y - 1.5)], "rule")
        for i, k in enumerate(chosen):
            at = y - 1.5 - (i + 0.75) * row
            if k is None:
                _row(pdf, _HOLES, at, min(2.0, height), width)
                pdf.polyline([(BORDER, at - 0.2 * row), (BORDER + width, at - 0.2 * row)], "rule")
            else:
                _row(pdf, [*templates[k].row, str(starts[k])], at, height, width)
        pdf.end_page()


def _index_words(templates: Sequence[Template], square: int, display: Display) -> str:
    """What the index counts, and what its lengths are; ``square``: ends that are cut square, without a template."""
    unit = "inches" if display.unit == "in" else display.unit
    holes = sum(one.hole for one in templates)
    ends = len(templates) - holes
    said = []
    if ends:
        said.append(f"{counted(ends, 'end')} cut to fit. Lengths in {unit}, back from the centerline's end.")
    if holes:
        places = f"{counted(holes, 'place')} where a tube passes through"
        said.append(f"{places}{'' if ends else f', lengths in {unit}'}; from A: from end A as it is cut.")
    if square:
        more = "1 more end is cut square and needs" if square == 1 else f"{square} more ends are cut square and need"
        said.append(f"{more} no template.")
    return " ".join([*said, "Print at full size, without fitting to the page."])


def _row(pdf: Pdf, cells: Sequence[str], y: float, height: float, width: float) -> None:
    left = BORDER
    for text, (_, part, align) in zip(cells, _COLUMNS, strict=True):
        room = part * width - 1.5
        if text:
            pdf.text(text, (left if align == "left" else left + room, y), height, align=align, room=room)
        left += part * width


# --- small templates on shared sheets ---------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a rectangle lies: its number, and its left upper corner from the left upper corner of the room."""

    number: int
    x: float
    y: float


@dataclass(slots=True)
class _Shelf:
    y: float
    height: float
    x: float


@dataclass(slots=True)
class _ShelfSheet:
    shelves: list[_Shelf] = field(default_factory=list)
    spots: list[Spot] = field(default_factory=list)


def pack(sizes: Sequence[Size], room: Size, gap: float) -> list[list[Spot]]:
    """Lay rectangles out, each on the first sheet and shelf that takes it.

    Args:
        sizes: width and height of each, mm; none greater than the room.
        room: of a sheet, mm.
        gap: kept between neighbours, mm.

    Returns:
        The spots of each sheet; sheets in the order of their first rectangles.
    """
    sheets: list[_ShelfSheet] = []
    for number, (width, height) in enumerate(sizes):
        placed = any(_on_shelf(sheet, number, width, height, room, gap) for sheet in sheets)
        if not placed:
            sheets.append(_ShelfSheet())
            _on_shelf(sheets[-1], number, width, height, room, gap)
    return [sheet.spots for sheet in sheets]


def _on_shelf(sheet: _ShelfSheet, number: int, width: float, height: float, room: Size, gap: float) -> bool:
    for shelf in sheet.shelves:
        last = shelf is sheet.shelves[-1]
        tall = shelf.height if not last else max(shelf.height, height)  # the lowest shelf may still grow
        if height <= tall and shelf.x + width <= room[0] + 1e-9 and shelf.y + tall <= room[1] + 1e-9:
            sheet.spots.append(Spot(number, shelf.x, shelf.y))
            shelf.x += width + gap
            shelf.height = tall
            return True
    y = sheet.shelves[-1].y + sheet.shelves[-1].height + gap if sheet.shelves else 0.0
    if sheet.shelves and y + height > room[1] + 1e-9:
        return False
    sheet.shelves.append(_Shelf(y, height, width + gap))
    sheet.spots.append(Spot(number, 0.0, y))
    return True
