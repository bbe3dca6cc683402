"""A template that is larger than a page, on as few pages as it takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from converter.errors import WriteError
from converter.exporters.paper.figure import Point
from converter.joints.cuts.wrap import Tile, tile, tile_count
from converter.limits import TEMPLATE_PAGES

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
        doubt = next((finding for finding in job.shown.reading_findings if finding.doubts_unit), None)
        if error.code != "too-many-pages" or doubt is None:
            raise
        words = f"{error.message} {doubt.message_in(job.display)} {doubt.cure_in(job.display)}"
        raise WriteError(words, code=error.code, file=job.source) from error


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
