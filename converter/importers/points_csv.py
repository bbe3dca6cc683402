"""Corner points from CSV: one row per corner, x, y and z, joined by straights in order.

Each tube becomes one path of straights; its corners are sharp until a die or an option
gives them a radius.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import PurePath

from converter.errors import ReadError
from converter.geometry.vectors import Vec, distance
from converter.importers.cells import Sheet, unguard
from converter.importers.columns import Columns, known
from converter.model.curve import Line, Path
from converter.model.drawing import Drawing, DrawnCurve


def with_headings(sheet: Sheet) -> Sheet:
    """The sheet itself, or with headings x, y, z put on when its first row is two or three bare numbers."""
    row, first = sheet.rows[0]
    if known(first) or len(first) not in (2, 3):
        return sheet
    try:
        for cell in first:
            sheet.number(cell, row, "x")
    except ReadError:
        return sheet
    return replace(sheet, rows=((row, ["x", "y", "z"]), *sheet.rows))


def read_points(columns: Columns) -> Drawing:
    """One path of straights per tube.

    Raises:
        ReadError: a cell is blank or no length, or a tube has a single point.
    """
    sheet = columns.sheet
    default = PurePath(sheet.name).stem if sheet.name != "-" else "run"
    groups: dict[str, list[tuple[int, Vec]]] = {}
    layers: dict[str, str] = {}
    name = default
    for row, cells in sheet.rows[1:]:
        name = unguard(columns.text(cells, "tube")) or name
        layer = unguard(columns.text(cells, "layer"))
        if layer:
            layers.setdefault(name, layer)
        groups.setdefault(name, []).append((row, _point(columns, row, cells)))
    if not groups:
        raise sheet.error("there is no row under the headings.", None)
    drawing = Drawing(sheet.name)
    for name, points in groups.items():
        lines = tuple(Line(a, b) for (_, a), (_, b) in pairwise(points) if distance(a, b) > 1e-9)
        if not lines:
            raise sheet.error(f"run {name!r} needs two different points.", points[0][0])
        curve = lines[0] if len(lines) == 1 else Path(lines)
        handle = f"rows {points[0][0]} to {points[-1][0]}"
        drawing.curves.append(DrawnCurve(curve, layers.get(name), handle, name))
    return drawing


def _point(columns: Columns, row: int, cells: list[str]) -> Vec:
    values = []
    for key in "xyz":
        value = columns.value(row, cells, key)
        if value is None:
            if key == "z":
                value = 0.0
            else:
                raise columns.sheet.error("the cell is blank.", row, columns.heading(key))
        values.append(value)
    return (values[0], values[1], values[2])
