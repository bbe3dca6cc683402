"""Full-size cope templates as PDF to print: an index of all copes and holes, then the sheets of each.

Every sheet stands for itself: it names tube and end (or the tube that passes), carries the scale bar, and says what the
lines are. Small templates share a sheet, each with its name and facts. A template larger than a sheet
goes over several, with join lines that stand in the same place of the template on both neighbours.
docs/cope-templates.md says how to use them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.exporters.paper import cope_drawing as parts
from converter.exporters.paper.figure import LEADING, Figure, Point, Text, scale_bar
from converter.exporters.paper.shelves import Spot, pack
from converter.exporters.paper.templates import Template, templates_of, uses
from converter.exporters.pdf.paper import Pdf, Pen
from converter.joints.cuts.wrap import Tile, Window, clip, tile
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

PENS = {
    parts.CUT: Pen(0.25),
    parts.BORE: Pen(0.18, (0.1, 0.25, 0.7), (2.0, 1.2)),
    parts.MATE: Pen(0.15, (0.45, 0.45, 0.45), (0.8, 0.8)),
    parts.ZERO: Pen(0.25, (0.0, 0.4, 0.15)),
    parts.EDGE: Pen(0.22),
    parts.END: Pen(0.15, (0.35, 0.35, 0.35), (4.0, 1.0, 0.8, 1.0)),
    parts.QUARTERS: Pen(0.15, (0.35, 0.35, 0.35)),
    parts.CLOSING: Pen(0.3, (0.0, 0.4, 0.15)),
    parts.POINTS: Pen(0.2, (0.1, 0.25, 0.7)),
    parts.SCALE: Pen(0.2),
    "join": Pen(0.15, (0.7, 0.1, 0.1), (3.0, 1.5)),
    "join-marks": Pen(0.3, (0.7, 0.1, 0.1)),
    "rule": Pen(0.15, (0.5, 0.5, 0.5)),
}
#: Unprintable edge of a sheet, mm: most printers reach nearer, no source.
BORDER = 10.0
#: Height of the heading, and of scale bar and notes at the foot, mm.
HEAD, FOOT = 13.0, 63.0
_NOTE = 2.0
#: Height of the facts of a template that shares its sheet, and from line to line, mm.
_FACT, _FACT_LINE = 1.8, LEADING * 1.1 * 1.8
_LINE = LEADING * 1.15 * _NOTE
#: Of a sheet that several templates share: its heading, a template's heading, least width, the room between,
#: and the least width of facts beside a template.
_SHARED_HEAD, _CELL_HEAD, _LEAST_CELL, _CELL_GAP, _LEAST_FACTS = 8.0, 9.5, 84.0, 6.0, 48.0
#: Distance between join marks, mm.
_MARKS = 40.0


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
        WriteError: no end of the job is cut to fit.
        MissingLibraryError: the PDF library is not installed.
    """
    templates = templates_of(job, options)
    size = options.paper_size(job.display)
    pdf = Pdf(f"{options.stem}: cope templates", PENS)
    width = size[0] - 2.0 * BORDER
    cells = [cell_of(pdf, one, width) for one in templates]
    page = _index_pages(len(_index_rows(templates)), size) + 1
    starts = [0] * len(templates)
    groups = _grouped(cells, size, options.one_each)
    own = [place(templates[group[0].number].drawing, size) if len(group) == 1 else [] for group in groups]
    for group, sheets in zip(groups, own, strict=True):
        for spot in group:
            starts[spot.number] = page
        page += max(1, len(sheets))
    about = _index_words(templates, sum(joint.is_square for joint in job.shown.joints), job.display)
    _index(pdf, about, options.stem, templates, starts, size)
    for group, sheets in zip(groups, own, strict=True):
        if len(group) > 1:
            _shared_sheet(
                pdf, job.display, options.stem, [(templates[s.number], cells[s.number], s) for s in group], size
            )
        for n, sheet in enumerate(sheets, 1):
            _sheet(pdf, job.display, options.stem, templates[group[0].number], sheet, n, len(sheets))
    out.path(f"{options.stem}-copes.pdf").write_bytes(pdf.data())


def cell_of(pdf: Pdf, one: Template, room: float) -> Cell:
    """The room a template takes on a shared sheet, its heading and its facts with it.

    Facts stand below the template where two fit side by side, else beside it where there is room for them.
    """
    low, high = one.drawing.bounds()
    width, height = max(high[0] - low[0], _LEAST_CELL), high[1] - low[1]
    left = room - width - _CELL_GAP
    aside = width + _CELL_GAP if width > left >= _LEAST_FACTS else 0.0
    rows = tuple(row for fact in one.facts for row in pdf.wrapped(fact, _FACT, left if aside else width))
    if aside:
        return Cell(room, _CELL_HEAD + max(height, len(rows) * _FACT_LINE), rows, aside)
    return Cell(width, _CELL_HEAD + height + 2.0 + len(rows) * _FACT_LINE, rows, 0.0)


def _grouped(cells: Sequence[Cell], size: Point, one_each: bool) -> list[list[Spot]]:
    """Which templates share a sheet, in the order of the first of each; one that needs its own is alone."""
    room = (size[0] - 2.0 * BORDER, size[1] - 2.0 * BORDER - _SHARED_HEAD - FOOT)
    fits = [i for i, c in enumerate(cells) if not one_each and c.width <= room[0] and c.height <= room[1]]
    packed = pack([(cells[i].width, cells[i].height) for i in fits], room, _CELL_GAP)
    groups = [[Spot(fits[s.number], s.x, s.y) for s in group] for group in packed]
    groups += [[Spot(i, 0.0, 0.0)] for i in range(len(cells)) if i not in set(fits)]
    return sorted(groups, key=lambda group: group[0].number)


def _shared_sheet(
    pdf: Pdf, display: Display, stem: str, chosen: Sequence[tuple[Template, Cell, Spot]], size: Point
) -> None:
    """Several templates, each under its name and over its facts."""
    pdf.page(size)
    top, right = size[1] - BORDER, size[0] - BORDER
    pdf.text(f"{stem}: cope templates, full size", (BORDER, top - 4.0), 4.0, room=right - BORDER - 45.0)
    pdf.text(f"{len(chosen)} templates", (right, top - 4.0), 2.6, align="right")
    for one, cell, spot in chosen:
        low, high = one.drawing.bounds()
        x, y = BORDER + spot.x, top - _SHARED_HEAD - spot.y
        pdf.text(one.title, (x, y - 3.0), 3.0, room=cell.width, bold=True)
        pdf.text(one.about, (x, y - 6.8), _NOTE, room=cell.width)
        _template(pdf, one.drawing, (low[0], low[1], high[0], high[1]), x - low[0], y - _CELL_HEAD - high[1])
        first = y - _CELL_HEAD - _FACT - (0.0 if cell.aside else high[1] - low[1] + 2.0)
        for i, row in enumerate(cell.rows):
            pdf.text(row, (x + cell.aside, first - i * _FACT_LINE), _FACT)
    _foot(pdf, uses([one for one, _, _ in chosen]), display, right - BORDER)
    pdf.end_page()


def place(drawing: parts.CopeDrawing, size: Point) -> list[PlacedTemplate]:
    """Lay a template on as few sheets as it takes, upright before sideways."""
    low, high = drawing.bounds()
    best: list[PlacedTemplate] = []
    for page in (size, (size[1], size[0])):
        room = (page[0] - 2.0 * BORDER, page[1] - 2.0 * BORDER - HEAD - FOOT)
        tiles = tile(low, high, room)
        if not best or len(tiles) < len(best):
            top = page[1] - BORDER - HEAD
            best = [PlacedTemplate(page, one, BORDER - one.window[0], top - one.window[3]) for one in tiles]
    return best


def _sheet(
    pdf: Pdf, display: Display, stem: str, one: Template, sheet: PlacedTemplate, number: int, count: int
) -> None:
    page = sheet.size
    pdf.page(page)
    top = page[1] - BORDER
    right = page[0] - BORDER
    which = f"sheet {number} of {count}" if count > 1 else "one sheet"
    heading = f"{one.title}: {'template' if one.hole else 'cope template'}, full size"
    pdf.text(heading, (BORDER, top - 4.0), 4.0, room=right - BORDER - 45.0)
    pdf.text(which, (right, top - 4.0), 2.6, align="right")
    pdf.text(f"{stem}; {one.about}", (BORDER, top - 9.0), _NOTE, room=right - BORDER)
    _template(pdf, one.drawing, sheet.tile.window, sheet.dx, sheet.dy)
    _joins(pdf, sheet)
    _foot(pdf, one.notes, display, right - BORDER)
    pdf.end_page()


def _template(pdf: Pdf, drawing: parts.CopeDrawing, window: Window, dx: float, dy: float) -> None:
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


def _shows(text: Text, window: Window) -> bool:
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


def _foot(pdf: Pdf, said: Sequence[str], display: Display, width: float) -> None:
    """The scale bar, and within its angle what there is to say."""
    bar = scale_bar(display, parts.SCALE)
    lines, words = Figure(lines=bar.lines), [t.text for t in bar.texts]
    x, y = BORDER + 4.0, BORDER + 4.0
    pdf.put(lines, x, y)
    rows = [row for note in [" ".join(words), *said] for row in pdf.wrapped(note, _NOTE, width - 12.0)]
    step = min(_LINE, 49.0 / max(len(rows), 1))
    for i, row in enumerate(rows):
        pdf.text(row, (x + 4.0, y + 49.0 - _NOTE - i * step), _NOTE)


_COLUMNS: tuple[tuple[str, float, str], ...] = (
    ("tube", 0.20, "left"), ("end", 0.04, "left"), ("cut to", 0.25, "left"), ("angle", 0.08, "right"),
    ("offset", 0.08, "right"), ("long", 0.08, "right"), ("short", 0.08, "right"), ("hole saw", 0.11, "right"),
    ("page", 0.08, "right"),
)  # fmt: skip
#: Heads of the same columns over the holes.
_HOLES = ("tube", "", "hole for", "angle", "offset", "from A", "along", "around", "page")
#: Heights of a row of the index, mm: as wanted, and the least one can read.
_ROW, _LEAST_ROW = 6.0, 3.5
_INDEX_HEAD = 24.0


def _index_pages(count: int, size: Point) -> int:
    room = int((size[1] - 2.0 * BORDER - _INDEX_HEAD) // _LEAST_ROW)
    return -(-count // room)


def _index_rows(templates: Sequence[Template]) -> list[int | None]:
    """The lines of the index: a template's number each, None for the heads over the holes."""
    ends = [i for i, one in enumerate(templates) if not one.hole]
    holes = [i for i, one in enumerate(templates) if one.hole]
    return [*ends, *([None] if holes else []), *holes]


def _index(pdf: Pdf, about: str, stem: str, templates: Sequence[Template], starts: Sequence[int], size: Point) -> None:
    """All copes and holes of the job in one table: on one page as long as one can read it."""
    rows = _index_rows(templates)
    pages = _index_pages(len(rows), size)
    per_page = -(-len(rows) // pages)
    room = size[1] - 2.0 * BORDER - _INDEX_HEAD
    row = min(_ROW, room / per_page)
    height = min(2.2, 0.5 * row)
    width = size[0] - 2.0 * BORDER
    for page in range(pages):
        pdf.page(size)
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
        said.append(
            f"{ends} {'end' if ends == 1 else 'ends'} cut to fit. Lengths in {unit}, back from the centerline's end."
        )
    if holes:
        count = f"{holes} {'place' if holes == 1 else 'places'} where a tube passes through"
        said.append(f"{count}{'' if ends else f', lengths in {unit}'}; from A: from end A as it is cut.")
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
