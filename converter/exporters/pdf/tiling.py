"""A template that is larger than a page, on as few pages as it takes: tiles, their joins, what of a line is on each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import TYPE_CHECKING

from converter.errors import WriteError
from converter.exporters.paper.figure import Box, Point
from converter.limits import TEMPLATE_PAGES
from converter.model.run import Tube
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.job import Job


@contextmanager
def unit_doubts(job: Job) -> Iterator[None]:
    """Let the refusal of a template of too many pages tell of a unit in doubt, which most likely is why it is so large.

    Raises:
        WriteError: that of `least_tiles`, with the job's doubt behind it.
    """
    try:
        yield
    except WriteError as error:
        doubt = _doubt_text(job)
        if error.code != "too-many-pages" or not doubt:
            raise
        raise WriteError(f"{error.message} {doubt}", code=error.code, file=job.source) from error


def refuse_in_doubt(job: Job, tubes: Iterable[Tube], paper: Point) -> None:
    """Refuse templates that come of a unit in doubt before any is drawn: of a tube that is longer around than along.

    Such a tube may well be meant, as a stub of wide pipe is; beside a unit that is in doubt it hardly is, and hundreds
    of pages of paper come of it. A template that goes on one sheet whatever its unit is written.

    Args:
        job: whose findings count.
        tubes: those that get templates.
        paper: size of a sheet, mm.

    Raises:
        WriteError: the doubt in words, and the tube that shows it.
    """
    doubt = _doubt_text(job)
    for tube in tubes if doubt else ():
        around = 0.0 if tube.section is None else tube.section.outer.perimeter
        long = tube.run.table.developed_length
        if around > max(long, *paper):
            length = job.display.length
            raise WriteError(
                f"No template is written: once around the tube {quoted(tube.name)} is {length(around)}, which is more "
                f"than it is long ({length(long)}). {doubt}",
                code="too-many-pages",
                file=job.source,
            )


def _doubt_text(job: Job) -> str:
    """The first finding that doubts a unit, with its cure; '' for none."""
    doubt = next((finding for finding in job.shown.reading_findings if finding.doubts_unit), None)
    return "" if doubt is None else f"{doubt.message_in(job.display)} {doubt.cure_in(job.display)}"


def least_tiles(
    low: Point, high: Point, choices: Sequence[tuple[Point, Point]], overlap: float, *, what: str, instead: str
) -> tuple[Point, list[Tile]]:
    """The size of the pages, and the tiles, in as few as it takes; of equal choices the first.

    Args:
        low, high: the template's bounds, mm.
        choices: sizes of pages, each with the room for a tile on it, mm.
        overlap: of neighbours, mm.
        what: the template, as a sentence begins with it.
        instead: what is to be done where it takes too many, as a sentence goes on.

    Raises:
        WriteError: it takes more pages than `converter.limits.TEMPLATE_PAGES`; nothing was drawn for it.
    """
    counts = [tile_count(low, high, room, overlap) for _, room in choices]
    pages = min(counts)
    if pages > TEMPLATE_PAGES:
        raise WriteError(
            f"{what} would take {pages:,} pages of paper, and {TEMPLATE_PAGES:,} are the most: {instead}.",
            code="too-many-pages",
        )
    size, room = choices[counts.index(pages)]
    return size, tile(low, high, room, overlap)


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet's part of a drawing.

    Attributes:
        column, row: from 0, rows from the top.
        window: (left, bottom, right, top) in the drawing.
        joins: straight joins with neighbours that lie in it, as (from, to, label): the same points on both.
    """

    column: int
    row: int
    window: Box
    joins: tuple[tuple[Point, Point, str], ...]


def tile(low: Point, high: Point, cell: Point, overlap: float = 10.0) -> list[Tile]:
    """Spread a drawing over sheets that overlap.

    Args:
        low, high: the drawing's bounds.
        cell: width and height that a sheet holds.
        overlap: of neighbours; the join runs along its middle.
    """
    width, height = high[0] - low[0], high[1] - low[1]
    columns, rows = (_count(size, room, overlap) for size, room in ((width, cell[0]), (height, cell[1])))
    found = []
    for row in range(rows):
        for column in range(columns):
            left = low[0] + column * (cell[0] - overlap)
            top = high[1] - row * (cell[1] - overlap)
            window = (left, max(low[1], top - cell[1]), min(high[0], left + cell[0]), top)
            joins = []
            here = row * columns + column + 1
            for step, other in ((-1, here - 1), (1, here + 1)):
                if 0 <= column + step < columns:
                    x = left + (overlap / 2.0 if step < 0 else cell[0] - overlap / 2.0)
                    joins.append(((x, window[1]), (x, window[3]), _label(here, other)))
            for step, other in ((-1, here - columns), (1, here + columns)):
                if 0 <= row + step < rows:
                    y = top - (overlap / 2.0 if step < 0 else cell[1] - overlap / 2.0)
                    joins.append(((window[0], y), (window[2], y), _label(here, other)))
            found.append(Tile(column, row, window, tuple(joins)))
    return found


def tile_count(low: Point, high: Point, cell: Point, overlap: float = 10.0) -> int:
    """How many sheets `tile` spreads a drawing over."""
    return _count(high[0] - low[0], cell[0], overlap) * _count(high[1] - low[1], cell[1], overlap)


def _count(size: float, room: float, overlap: float) -> int:
    return 1 if size <= room + 1e-9 else ceil((size - overlap) / (room - overlap) - 1e-9)


def _label(here: int, other: int) -> str:
    return f"join {min(here, other)} | {max(here, other)}"


def clip(points: Sequence[Point], window: Box) -> list[list[Point]]:
    """The stretches of a line through points that lie within a window (Liang and Barsky, piece by piece)."""
    found: list[list[Point]] = []
    current: list[Point] = []
    x0, y0, x1, y1 = window
    for a, b in pairwise(points):
        (ax, ay), (bx, by) = a, b
        # most pieces of a large template lie beside a window
        beside = (ax < x0 and bx < x0) or (ax > x1 and bx > x1) or (ay < y0 and by < y0) or (ay > y1 and by > y1)
        part = None if beside else _clipped(a, b, window)
        if part is None:
            current = []
            continue
        start, end = part
        if not current or current[-1] != start:
            current = [start]
            found.append(current)
        if end != start:
            current.append(end)
        if end != b:
            current = []
    return [one for one in found if len(one) > 1]


def _clipped(a: Point, b: Point, window: Box) -> tuple[Point, Point] | None:
    dx, dy = b[0] - a[0], b[1] - a[1]
    first, last = 0.0, 1.0
    for step, room in (
        (-dx, a[0] - window[0]),
        (dx, window[2] - a[0]),
        (-dy, a[1] - window[1]),
        (dy, window[3] - a[1]),
    ):
        if step == 0.0:
            if room < 0.0:
                return None
            continue
        t = room / step
        if step < 0.0:
            first = max(first, t)
        else:
            last = min(last, t)
    if first > last:
        return None
    start = a if first == 0.0 else (a[0] + first * dx, a[1] + first * dy)
    end = b if last == 1.0 else (a[0] + last * dx, a[1] + last * dy)
    return start, end
