"""Corner points from CSV: one row per corner, x, y and z, joined by straights in order.

Each tube becomes one path of straights. A column ``clr`` gives its corners a radius, one for all
or one each; corners without are sharp until a die or an option gives them one, as is one of radius 0.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import radians, tan
from pathlib import PurePath

from converter.errors import ReadError
from converter.geometry.vectors import Vec, along, angle_between, cross, distance, dot, sub, unit
from converter.importers.tables.cells import CellSheet, unguard
from converter.importers.tables.columns import Columns, count_known_headings
from converter.model.curve import Arc, Line, Path
from converter.model.drawing import Drawing, DrawnCurve
from converter.quoting import quoted
from converter.tolerances import DEFAULT


def with_headings(sheet: CellSheet) -> CellSheet:
    """The sheet itself, or with headings x, y, z put on when its first row is two or three bare numbers."""
    row, first = sheet.rows[0]
    if count_known_headings(first) or len(first) not in (2, 3):
        return sheet
    try:
        for cell in first:
            sheet.number(cell, row, "x")
    except ReadError:
        return sheet
    return replace(sheet, rows=((row, ["x", "y", "z"]), *sheet.rows))


def read_points(columns: Columns) -> Drawing:
    """One path per tube: straights, with an arc at each corner whose radius (``clr``) is given.

    A single radius in a tube's rows serves all its corners; otherwise each row gives its own
    corner's, and a blank one or 0 leaves the corner sharp.

    Raises:
        ReadError: a cell is blank or no length, a tube has a single point, a radius is too large
            for its legs.
    """
    sheet = columns.sheet
    default = PurePath(sheet.name).stem if sheet.name != "-" else "tube"
    groups: dict[str, list[_Corner]] = {}
    layers: dict[str, str] = {}
    name = default
    for row, cells in sheet.rows[1:]:
        name = unguard(columns.text(cells, "tube")) or name
        layer = unguard(columns.text(cells, "layer"))
        if layer:
            layers.setdefault(name, layer)
        radius = columns.value(row, cells, "clr")
        if radius is not None and radius < 0.0:
            raise sheet.error("a radius is below zero.", row, columns.heading("clr"))
        groups.setdefault(name, []).append(_Corner(row, _place(columns, row, cells), radius))
    if not groups:
        raise sheet.error("there is no row under the headings.", None)
    drawing = Drawing(sheet.name)
    for name, corners in groups.items():
        kept = [
            c
            for c, before in zip(corners, [None, *corners], strict=False)
            if not before or distance(c.at, before.at) > 1e-9
        ]
        if len(kept) < 2:
            raise sheet.error(f"tube {quoted(name)} needs two different points.", corners[0].row)
        parts = _path(sheet, kept)
        curve = parts[0] if len(parts) == 1 and isinstance(parts[0], Line) else Path(parts)
        handle = f"rows {corners[0].row} to {corners[-1].row}"
        drawing.curves.append(DrawnCurve(curve, layers.get(name), handle, name, group=name))
    return drawing


@dataclass(frozen=True, slots=True)
class _Corner:
    """A point, its row in the file, and the radius its row gives (mm; 0 for sharp) or None."""

    row: int
    at: Vec
    radius: float | None


def _path(sheet: CellSheet, corners: list[_Corner]) -> tuple[Line | Arc, ...]:
    """Straights between the corners, arcs where they have a radius: setback R tan(angle / 2) on each leg."""
    given = {c.radius for c in corners if c.radius is not None}
    count = sum(c.radius is not None for c in corners)
    common = given.pop() if count == 1 else None
    parts: list[Line | Arc] = []
    at = corners[0].at
    for before, corner, after in zip(corners, corners[1:], corners[2:], strict=False):
        radius = common if common is not None else corner.radius
        u, v = unit(sub(corner.at, before.at)), unit(sub(after.at, corner.at))
        angle = angle_between(u, v)
        if radius is None or radius <= DEFAULT.equal or angle < 1e-6:
            if distance(at, corner.at) > 1e-9:  # the arc before may end here
                parts.append(Line(at, corner.at))
            at = corner.at
            continue
        back = radius * tan(radians(angle) / 2.0)
        room = min(dot(sub(corner.at, at), u), distance(corner.at, after.at))
        if angle > 179.5 or back > room + 1e-9:
            raise sheet.error(
                f"a radius of {radius:g} mm needs {back:g} mm of leg, and there are {room:g} mm.", corner.row
            )
        start = along(corner.at, u, -back)
        if distance(at, start) > 1e-9:
            parts.append(Line(at, start))
        n = unit(cross(u, v))
        arc = Arc.swept(along(start, cross(n, u), radius), n, start, angle)
        parts.append(arc)
        at = arc.end
    if distance(at, corners[-1].at) > 1e-9:
        parts.append(Line(at, corners[-1].at))
    return tuple(parts)


def _place(columns: Columns, row: int, cells: list[str]) -> Vec:
    """The corner of a row, unless the row says that its bend has none."""
    if columns.text(cells, "has_corner").strip().lower() == "no":
        raise columns.sheet.error(
            "a bend of 180 degrees or more has no corner, so corners cannot tell this tube: read its bend table.",
            row,
        )
    return _point(columns, row, cells)


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
