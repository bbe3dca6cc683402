"""A template that is larger than a page, on as few pages as it takes."""

from __future__ import annotations

from collections.abc import Sequence

from converter.errors import WriteError
from converter.exporters.paper.figure import Point
from converter.joints.cuts.wrap import Tile, tile, tile_count
from converter.limits import TEMPLATE_PAGES


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
