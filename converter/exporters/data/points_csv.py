"""The points of centerlines as CSV: ends, corners, tangent points and centers of bends; reads back.

One row for end A, one for each bend and one for end B, tube by tube, in the drawing's coordinates. docs/points-csv.md
describes every column; `converter.importers.tables.points_csv` reads the corners and radii.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import radians, tan
from typing import TYPE_CHECKING

from converter.exporters.data.table_csv import csv_text, degrees_cell, number_cell, text_cell, yes_cell
from converter.geometry.vectors import Vec, along, cross, rotate
from converter.model.run import Tube
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

#: Decimals of coordinates: a table made of them again is right to far less than 1e-6 mm and degrees.
_DECIMALS = 10
#: Degrees; a bend of so much or more has no corner point.
_NO_CORNER = 180.0 - 1e-6
_POINTS = ("", "tangent_a_", "tangent_b_", "center_")


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-points.csv``."""
    text = points_csv(job.shown.tubes, job.display)
    out.path(f"{options.stem}-points.csv").write_text(text, encoding="utf-8", newline="")


def points_csv(tubes: Iterable[Tube], display: Display) -> str:
    """The points as CSV text with CRLF line ends.

    Args:
        tubes: in order.
        display: unit of the lengths; coordinates are decimal in either.

    Raises:
        WriteError: a value is not a finite number.
    """
    u = display.unit
    header = ["tube", "layer", "point", *(f"{v}_{u}" for v in "xyz"), f"clr_{u}", "turns_by_deg", "has_corner"]
    header += [f"{name}{v}_{u}" for name in _POINTS[1:] for v in "xyz"]
    return csv_text(header, [row for tube in tubes for row in _rows(tube, display)])


def _rows(tube: Tube, display: Display) -> Iterable[list[str]]:
    run = tube.run
    name, layer = text_cell(tube.name), "" if run.layer is None else text_cell(run.layer)
    at, direction, normal = run.placement.start, run.placement.direction, run.placement.normal

    def cells(point: Vec | None) -> list[str]:
        return ["", "", ""] if point is None else [_length(v, display) for v in point]

    yield [name, layer, "A", *cells(at), "", "", "", *cells(None) * 3]
    for number, bend in enumerate(run.table.bends, 1):
        start = along(at, direction, bend.feed)
        normal = rotate(normal, direction, bend.rotation)
        onward = rotate(direction, normal, bend.angle)
        if bend.clr is None:
            corner, center, end, radius = start, None, start, "0"
        else:
            inward = cross(normal, direction)
            center = along(start, inward, bend.clr)
            end = along(center, rotate(inward, normal, bend.angle), -bend.clr)
            corner, radius = None, _length(bend.clr, display)
            if bend.angle < _NO_CORNER:
                corner = along(start, direction, bend.clr * tan(radians(bend.angle) / 2.0))
        yield [
            name, layer, str(number), *cells(corner), radius, degrees_cell(bend.angle), yes_cell(corner is not None),
            *cells(start), *cells(end), *cells(center),
        ]  # fmt: skip
        at, direction = end, onward
    yield [name, layer, "B", *cells(along(at, direction, run.table.tail)), "", "", "", *cells(None) * 3]


def _length(mm: float, display: Display) -> str:
    return number_cell(mm / 25.4 if display.unit == "in" else mm, _DECIMALS)
