"""A small table in a picture: every bend of a run in a line, in two columns of lines where they are many."""

from __future__ import annotations

from math import ceil

from converter.exporters.paper.figure import Point
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.places import wide
from converter.exporters.pictures.run.parts import Parts
from converter.units import Display

#: From line to line and between columns, in heights of text.
_LINE, _GAP = 1.8, 1.2
#: More room under the head, in heights of text.
_HEAD = 0.5


def _rows(parts: Parts, display: Display) -> list[list[str]]:
    rows = [["bend", "straight", "rotation", "angle", "CLR"]]
    for straight, turn in zip(parts.straights, parts.turns, strict=False):
        bend = turn.bend
        rotation = display.angle(bend.rotation) if turn.number > 1 else "-"
        radius = "sharp" if bend.clr is None else display.number(bend.clr)
        mark = " !" if turn.wrong else ""
        rows.append(
            [f"{turn.number}{mark}", display.number(straight.length), rotation, display.angle(bend.angle), radius]
        )
    rows.append(["end", display.number(parts.straights[-1].length), "", "", ""])
    return rows


def _widths(rows: list[list[str]], height: float) -> list[float]:
    return [max(wide(row[i], height) for row in rows) + _GAP * height for i in range(len(rows[0]))]


def _folds(count: int, height: float, tall: float) -> int:
    """How many columns of lines it takes to keep to a height."""
    most = max(2, int((tall - (0.5 + _HEAD) * height) / (_LINE * height)))
    return 1 if count <= most else ceil((count - 1) / (most - 1))


def list_size(parts: Parts, display: Display, height: float, tall: float = 1e9) -> Point:
    """Width and height of the list, mm.

    Args:
        parts: the run.
        display: how lengths are written.
        height: of text, mm.
        tall: the height to keep to by more columns, mm.
    """
    rows = _rows(parts, display)
    folds = _folds(len(rows), height, tall)
    lines = 1 + ceil((len(rows) - 1) / folds)
    return folds * sum(_widths(rows, height)) + (folds - 1) * 2.0 * height, lines * _LINE * height + (
        0.5 + _HEAD
    ) * height


def draw_list(
    picture: Picture, parts: Parts, display: Display, corner: Point, height: float, tall: float = 1e9
) -> None:
    """Draw the list with its top left corner at a place; numbers stand right-aligned."""
    rows = _rows(parts, display)
    widths = _widths(rows, height)
    folds = _folds(len(rows), height, tall)
    lines = ceil((len(rows) - 1) / folds)
    for fold in range(folds):
        left = corner[0] + fold * (sum(widths) + 2.0 * height)
        body = rows[1 + fold * lines : 1 + (fold + 1) * lines]
        for i, row in enumerate([rows[0], *body]):
            base = corner[1] - (_LINE * i + 1.3 + (_HEAD if i else 0.0)) * height
            at = left
            wrong = row[0].endswith("!")
            for text, width in zip(row, widths, strict=True):
                at += width
                if text:
                    role = "tight" if wrong else "strong" if i == 0 else "note"
                    picture.label(text, (at - 0.3 * height, base), height, role, align="right")
            if i == 0:
                under = base - 0.5 * height
                picture.stroke([(left, under), (left + sum(widths), under)], "dim")
