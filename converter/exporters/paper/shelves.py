"""Many small rectangles on few sheets: shelves across each sheet, filled in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

Size = tuple[float, float]


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
        placed = any(_put(sheet, number, width, height, room, gap) for sheet in sheets)
        if not placed:
            sheets.append(_ShelfSheet())
            _put(sheets[-1], number, width, height, room, gap)
    return [sheet.spots for sheet in sheets]


def _put(sheet: _ShelfSheet, number: int, width: float, height: float, room: Size, gap: float) -> bool:
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
