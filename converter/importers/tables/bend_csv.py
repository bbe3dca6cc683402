"""Bend tables from CSV: our own exactly, and hand-made ones with the same headings in any order.

A row is a bend, or the tail (the straight after the last bend). docs/table-csv.md describes
the columns. What cannot be read is named by row and column; nothing is guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from converter.errors import ElbowroomError, GeometryError, ReadError
from converter.findings import NOTE, Finding
from converter.geometry.vectors import Vec, along, dot, norm, rotate, scale, unit, within_half_turn
from converter.importers.source import Source
from converter.importers.tables.cells import read_sheet, unguard
from converter.importers.tables.columns import KINDS, LENGTH, Columns, count_known_headings
from converter.importers.tables.points_csv import read_points, with_headings
from converter.limits import FARTHEST
from converter.model.bends import Bend, BendTable, Placement
from converter.model.drawing import Drawing, Ignored, ReadyTable
from converter.model.section import SHAPES, Section
from converter.quoting import quoted, shortened
from converter.tolerances import same_within
from converter.units import unit_word

if TYPE_CHECKING:
    from converter.importers.registry import ReadOptions

#: Most digits of the number of a bend.
_MOST_DIGITS = 9
_YES, _NO = ("yes", "true", "1", "y"), ("no", "false", "0", "n", "")
#: What belongs to a tube as a whole: any of its rows may say it, and none may contradict.
_WHOLE = (
    "layer", "closed", "section", "section_label", "od", "wall", "height", "corner", "developed_length", "tail",
    "start_x", "start_y", "start_z", "direction_x", "direction_y", "direction_z", "normal_x", "normal_y", "normal_z",
)  # fmt: skip
#: What rows say of a tube as a whole: key of the column -> (row, text, cells).
_TubeFacts = dict[str, tuple[int, str, list[str]]]


def read_table_csv(source: str | Source, options: ReadOptions) -> Drawing:
    """Read bend tables, or corner points when the columns are x, y and z.

    Args:
        source: file name, or an opened source.
        options: ``units`` gives or overrides the unit of lengths; ``layers`` and ``skip_layers`` pick tubes.

    Returns:
        A drawing with one table per tube, in order of first appearance (or curves, for points).

    Raises:
        ReadError: no table can be read; ``where`` names row and column.
        UnitsError: the units option names no unit.
    """
    given = Source.of(source)
    sheet = with_headings(read_sheet(given, lambda cells: 100 * count_known_headings(cells) + len(cells)))
    columns = Columns.of(sheet, options.units, options.shop_units)
    if "angle" not in columns and "x" in columns and "y" in columns:
        drawing = read_points(columns)
    else:
        drawing = _read_tables(columns)
    drawing.tables = [t for t in drawing.tables if options.wants(t.layer)]
    drawing.curves = [c for c in drawing.curves if options.wants(c.layer)]
    _settle_units(drawing, columns)
    if columns.unknown:
        names = ", ".join(map(shortened, columns.unknown[:8])) + ("…" if len(columns.unknown) > 8 else "")
        drawing.ignored.append(Ignored("column", len(columns.unknown), f"headings that no table of ours has: {names}"))
    return drawing


def _read_tables(columns: Columns) -> Drawing:
    sheet = columns.sheet
    missing = [key for key in ("feed", "rotation", "angle") if key not in columns]
    if missing:
        raise sheet.error(
            f"there is no column for {' and '.join(missing)}; a bend table has headings such as feed_mm, rotation_deg, "
            "angle_deg and clr_mm, and corner points have x_mm, y_mm and z_mm.",
            sheet.rows[0][0],
        )
    if "clr" not in columns:
        raise sheet.error(
            "there is no column for the radius, and feeds from tangent point to tangent point mean nothing without "
            "one: add a column clr_mm or clr_in.",
            sheet.rows[0][0],
        )
    width = len(sheet.rows[0][1])
    default = PurePath(sheet.name).stem if sheet.name != "-" else "tube"
    groups: dict[str, list[tuple[int, list[str]]]] = {}
    name = default
    for row, cells in sheet.rows[1:]:
        if any(cell.strip() for cell in cells[width:]):
            raise sheet.error(f"there are {len(cells)} cells under {width} headings.", row)
        name = unguard(columns.text(cells, "tube")) or name
        groups.setdefault(name, []).append((row, cells))
    if not groups:
        raise sheet.error("there is no row under the headings.", None)
    drawing = Drawing(sheet.name)
    for name, rows in groups.items():
        _TubeRows(columns, name, rows).read_into(drawing)
    return drawing


@dataclass(frozen=True)
class _TubeRows:
    """The rows of one tube."""

    columns: Columns
    name: str
    rows: list[tuple[int, list[str]]]

    def error(self, message: str, row: int | None = None, key: str | None = None) -> ReadError:
        columns = self.columns
        return columns.sheet.error(message, row or self.rows[0][0], columns.heading(key) if key else None)

    def read_into(self, drawing: Drawing) -> None:
        whole = self.whole()
        bends, tail = self.bends(whole)
        place = self.placement(whole)
        if bends and bends[0].rotation:
            # the first bend plane is the datum: the roll before it only places the tube
            if place is not None:
                normal = rotate(place.normal, place.direction, bends[0].rotation)
                place = Placement(place.start, place.direction, normal)
            first = bends[0]
            bends[0] = Bend(first.feed, 0.0, first.angle, first.clr, first.clr_uncertainty, first.corner)
        try:
            table = BendTable(tuple(bends), tail)
        except GeometryError as error:
            raise self.error(f"tube {quoted(self.name)} cannot be: {error.message}.") from error
        if not table.developed_length > 0.0:
            raise self.error(f"tube {quoted(self.name)} has no length.", key="feed")
        self.compare_length(table, whole, drawing)
        layer = whole.get("layer")
        ready = ReadyTable(
            self.name,
            table,
            place,
            self.section(whole),
            unguard(layer[1]) if layer else None,
            self.flag(whole, "closed"),
        )
        drawing.tables.append(ready)

    def whole(self) -> _TubeFacts:
        """What the rows say of the tube as a whole."""
        found: _TubeFacts = {}
        for key in _WHOLE:
            if key not in self.columns:
                continue
            for row, cells in self.rows:
                text = self.columns.text(cells, key)
                if not text:
                    continue
                first = found.setdefault(key, (row, text, cells))
                if first[1].strip() != text.strip():
                    raise self.error(
                        f"{quoted(text)} contradicts row {first[0]}, which gives {quoted(first[1])} for "
                        f"the same tube {quoted(self.name)}.",
                        row,
                        key,
                    )
        return found

    def number(self, whole: _TubeFacts, key: str) -> float | None:
        if key not in whole:
            return None
        row, _, cells = whole[key]
        return self.columns.value(row, cells, key)

    def flag(self, whole: _TubeFacts, key: str) -> bool:
        row, text, _ = whole.get(key, (0, "", []))
        return self.yes(text, row, key)

    def yes(self, text: str, row: int, key: str) -> bool:
        word = text.strip().lower()
        if word in _YES or word in _NO:
            return word in _YES
        raise self.error(f"{quoted(text)} must be yes or no.", row, key)

    def bends(self, whole: _TubeFacts) -> tuple[list[Bend], float]:
        numbered: dict[int, tuple[int, Bend]] = {}
        tail: float | None = None
        tail_row = 0
        for row, cells in self.rows:
            label = self.columns.text(cells, "bend").strip()
            blank_angle = not self.columns.text(cells, "angle")
            if label.lower() == "tail" or (not label and blank_angle):
                if tail_row:
                    raise self.error(
                        f"tube {quoted(self.name)} has a second tail; the first is in row {tail_row}.", row
                    )
                if label and not blank_angle:
                    raise self.error("the tail has an angle; a bend has a number there.", row, "angle")
                tail, tail_row = self.needed(row, cells, "feed"), row
                continue
            number = self.bend_number(label, row, len(numbered) + 1)
            if number in numbered:
                raise self.error(
                    f"bend {number} of tube {quoted(self.name)} is in row {numbered[number][0]} already.", row, "bend"
                )
            numbered[number] = (row, self.bend(row, cells))
        for wanted in range(1, len(numbered) + 1):
            if wanted not in numbered:
                raise self.error(f"tube {quoted(self.name)} has {len(numbered)} bends but none with number {wanted}.")
        bends = [numbered[i][1] for i in sorted(numbered)]
        if tail is None:
            tail = self.number(whole, "tail")
        if tail is None:
            total = self.number(whole, "developed_length")
            if total is None:
                raise self.error(
                    f"tube {quoted(self.name)} has no tail: add a row with 'tail' in the bend "
                    "column and the straight after the last bend as its feed.",
                    self.rows[-1][0],
                )
            tail = total - sum(b.feed + b.arc_length for b in bends)
        return bends, tail

    def bend_number(self, label: str, row: int, next_number: int) -> int:
        if not label:
            return next_number
        if label.isdecimal() and len(label) <= _MOST_DIGITS and int(label) > 0:
            return int(label)
        raise self.error(f"{quoted(label)} is neither the number of a bend nor 'tail'.", row, "bend")

    def bend(self, row: int, cells: list[str]) -> Bend:
        columns = self.columns
        feed = self.needed(row, cells, "feed")
        rotation = columns.value(row, cells, "rotation") or 0.0
        angle = self.needed(row, cells, "angle")
        if not 0.0 < angle < 360.0:
            raise self.error(f"a bend turns by more than 0 and less than 360 degrees, not {angle:g}.", row, "angle")
        if not -360.0 <= rotation <= 360.0:
            raise self.error(f"a rotation is between -360 and 360 degrees, not {rotation:g}.", row, "rotation")
        rotation = within_half_turn(rotation)
        clr = columns.value(row, cells, "clr")
        if clr is not None and not clr > 0.0:
            raise self.error("a radius is above zero; leave the cell blank for a sharp corner.", row, "clr")
        drawn_sharp = columns.text(cells, "drawn_sharp")
        try:
            return Bend(
                feed,
                rotation,
                angle,
                clr,
                columns.value(row, cells, "clr_plus_minus") or 0.0,
                clr is None if not drawn_sharp.strip() else self.yes(drawn_sharp, row, "drawn_sharp"),
            )
        except GeometryError as error:
            raise self.error(f"{error}.", row) from error

    def needed(self, row: int, cells: list[str], key: str) -> float:
        value = self.columns.value(row, cells, key)
        if value is None:
            raise self.error("the cell is blank.", row, key)
        return value

    def section(self, whole: _TubeFacts) -> Section | None:
        shape = whole["section"][1].strip().lower() if "section" in whole else ""
        try:
            if shape and shape not in SHAPES:
                from converter.shop.sections import parse_section

                return parse_section(whole["section"][1].strip(), self.columns.read_as)
            od, wall = self.number(whole, "od"), self.number(whole, "wall")
            height, corner = self.number(whole, "height"), self.number(whole, "corner")
            if od is None:
                if shape or wall is not None:
                    raise self.error(f"tube {quoted(self.name)} has a section without an outside size.", key="od")
                return None
            shape = shape or ("rectangular" if height not in (None, od) else "round")
            if not SHAPES[shape].hollow:
                wall = od / 2.0
            if wall is None:
                raise self.error(f"tube {quoted(self.name)} has a section without a wall.", whole["od"][0], "wall")
            label = unguard(whole["section_label"][1]) if "section_label" in whole else ""
            return Section(shape, od, wall, height or 0.0, corner or 0.0, label)
        except ReadError:
            raise
        except ElbowroomError as error:
            key = "od" if shape in SHAPES else "section"
            raise self.error(f"{str(error).rstrip('.')}.", whole[key][0] if key in whole else None, key) from error

    def placement(self, whole: _TubeFacts) -> Placement | None:
        vectors: dict[str, Vec | None] = {}
        for name in ("start", "direction", "normal"):
            values = [self.number(whole, f"{name}_{axis}") for axis in "xyz"]
            given = [v for v in values if v is not None]
            if given and len(given) < 3:
                axis = "xyz"[values.index(None)]
                raise self.error(
                    f"tube {quoted(self.name)} has no {name}_{axis} beside the others.", key=f"{name}_{axis}"
                )
            vectors[name] = (given[0], given[1], given[2]) if given else None
        start, direction, normal = vectors["start"], vectors["direction"], vectors["normal"]
        if start is None and direction is None and normal is None:
            return None
        start = start or (0.0, 0.0, 0.0)
        direction = self.unit_vector(direction or (1.0, 0.0, 0.0), whole, "direction_x")
        if normal is None:
            return Placement.leaving(start, direction)
        normal = self.unit_vector(normal, whole, "normal_x")
        lean = dot(normal, direction)
        if abs(lean) > 0.02:
            raise self.error("the normal is not perpendicular to the direction.", whole["normal_x"][0], "normal_x")
        if abs(lean) > 1e-12:
            normal = unit(along(normal, direction, -lean))
        return Placement(start, direction, normal)

    def unit_vector(self, v: Vec, whole: _TubeFacts, key: str) -> Vec:
        size = norm(v)
        if not 0.0 < size <= FARTHEST:
            raise self.error("a direction of no length, or of one beyond all measure.", whole[key][0], key)
        return v if abs(size - 1.0) < 1e-12 else scale(v, 1.0 / size)

    def compare_length(self, table: BendTable, whole: _TubeFacts, drawing: Drawing) -> None:
        """Say when the total in the file is not what the rows add up to; the rows count."""
        total = self.number(whole, "developed_length")
        limit = 0.1 * (len(table.bends) + 1)
        if total is None or abs(total - table.developed_length) <= same_within(limit):
            return
        row = whole["developed_length"][0]
        drawing.findings.append(
            Finding(
                "length-disagrees",
                tube=self.name,
                measured=table.developed_length,
                limit=total,
                unit="mm",
                values={"row": row, "total": total, "sum": table.developed_length},
            )
        )


def _settle_units(drawing: Drawing, columns: Columns) -> None:
    """Set the drawing's units, and tell what must be told of them."""
    named = [u for u in columns.units if u]
    drawing.units = named[0] if named else None
    drawing.read_as = columns.read_as
    forced = columns.forced_unit
    if forced and named and named != [forced]:
        drawing.findings.append(
            Finding(
                "units-overridden",
                variant="headings",
                values={"stated": list(map(unit_word, named)), "read_as": unit_word(forced)},
            )
        )
    elif not forced and None in columns.units:
        blank = next(k for k in columns.by_key if KINDS[k] == LENGTH and columns.by_key[k][0].unit is None)
        by_shop = not named and columns.shop_unit is not None
        drawing.findings.append(
            Finding(
                "units-assumed",
                variant="one heading" if named else "headings, shop" if by_shop else "headings",
                severity=NOTE if len(named) == 1 else "",
                values={"heading": columns.heading(blank), "read_as": unit_word(columns.usual_unit)},
            )
        )
