"""What the columns of a table mean: headings with units in the names, in any order.

A heading is a name, then perhaps a unit: ``feed_in``, ``Feed (in)``, ``feed [mm]``, ``clr``.
A column of fractions beside a decimal one (``feed_in_fraction``) serves only where the
decimal cell is blank.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from converter.errors import UnitsError
from converter.importers.tables.cells import CellSheet
from converter.units import UNIT_CHOICES, unit_name

TEXT, NUMBER, ANGLE, LENGTH = "text", "number", "angle", "length"

#: column -> kind
KINDS: dict[str, str] = {
    "tube": TEXT, "bend": TEXT, "feed": LENGTH, "rotation": ANGLE, "angle": ANGLE, "clr": LENGTH, "tail": LENGTH,
    "developed_length": LENGTH, "bend_start": LENGTH, "bend_end": LENGTH,
    "clr_plus_minus": LENGTH, "drawn_sharp": TEXT,
    "layer": TEXT, "closed": TEXT, "section": TEXT, "section_label": TEXT,
    "od": LENGTH, "wall": LENGTH, "height": LENGTH, "corner": LENGTH,
    "start_x": LENGTH, "start_y": LENGTH, "start_z": LENGTH,
    "direction_x": NUMBER, "direction_y": NUMBER, "direction_z": NUMBER,
    "normal_x": NUMBER, "normal_y": NUMBER, "normal_z": NUMBER,
    "x": LENGTH, "y": LENGTH, "z": LENGTH,
    # of a table of points, for people: the corners and radii say it all
    "point": TEXT, "has_corner": TEXT, "turns_by": ANGLE,
    **{f"{name}_{v}": LENGTH for name in ("tangent_a", "tangent_b", "center") for v in "xyz"},
}  # fmt: skip

#: other spellings -> column
SPELLINGS: dict[str, str] = {
    "run": "tube", "name": "tube", "tube_name": "tube", "run_name": "tube",
    "no": "bend", "nr": "bend", "bend_no": "bend", "bend_number": "bend",
    "bend_angle": "angle", "radius": "clr", "bend_radius": "clr", "centerline_radius": "clr",
    # as the trade says it: distance between bends, plane of bend, degree of bend
    "straight": "feed", "distance": "feed", "length": "feed", "distance_between_bends": "feed", "dbb": "feed",
    "plane": "rotation", "plane_of_bend": "rotation", "pob": "rotation", "turn": "rotation",
    "degree_of_bend": "angle", "degrees_of_bend": "angle", "dob": "angle", "bend_degrees": "angle",
    "deflection": "angle",
    "cl_radius": "clr", "center_line_radius": "clr", "centreline_radius": "clr", "diameter": "od",
    "roll": "rotation", "total_length": "developed_length", "wall_thickness": "wall", "outside_diameter": "od",
}  # fmt: skip

#: The trade's single letters mean something only together: length, rotation, angle; or Y, B, C.
LETTERS: tuple[dict[str, str], ...] = (
    {"l": "feed", "r": "rotation", "a": "angle"},
    {"y": "feed", "b": "rotation", "c": "angle"},
)
#: Beside the coordinates of corners r is their radius.
CORNER_LETTERS: dict[str, str] = {"x": "x", "y": "y", "r": "clr"}

_JOINTS = re.compile(r"[\s_()\[\]{},/-]+")


@dataclass(frozen=True)
class FileColumn:
    """One column of a file.

    Attributes:
        index: place in the row, from 0.
        key: what it means, a key of `KINDS`.
        unit: unit of its lengths, or None when the heading names none.
        heading: as it stands in the file, for messages.
        fraction: whether it only shows its neighbour as a fraction.
    """

    index: int
    key: str
    unit: str | None
    heading: str
    fraction: bool = False


def column(index: int, heading: str) -> FileColumn | None:
    """The column a heading names, or None for one we do not know."""
    words = [w for w in _JOINTS.split(heading.strip().lower().replace('"', " in ")) if w]
    fraction = bool(words) and words[-1] == "fraction"
    if fraction:
        words.pop()
    for length, unit in _readings(words):
        name = "_".join(words[:length])
        key = SPELLINGS.get(name, name)
        if key in KINDS and (unit is None or KINDS[key] == LENGTH or (KINDS[key] == ANGLE and unit == "deg")):
            return FileColumn(index, key, None if unit == "deg" else unit, heading.strip(), fraction)
    return None


def _spelled_out(headings: Sequence[str]) -> list[str]:
    """The headings with the trade's letters spelled out where all three of a set stand there."""
    names = [re.match(r"\s*([a-z]?)(?![a-z])", h.lower()) for h in headings]
    letters = [m[1] if m else "" for m in names]
    for meaning in (*LETTERS, CORNER_LETTERS):
        if set(meaning) <= set(letters) and ("x" in meaning or "x" not in letters):
            return [
                meaning[letter] + heading.strip()[1:] if letter in meaning else heading
                for letter, heading in zip(letters, headings, strict=True)
            ]
    return list(headings)


def _readings(words: list[str]) -> list[tuple[int, str | None]]:
    """(number of words that make the name, unit): whole heading first, then with a unit at its end."""
    readings: list[tuple[int, str | None]] = [(len(words), None)]
    if len(words) > 1:
        last = words[-1].rstrip(".")
        if last in ("deg", "degree", "degrees", "°"):
            readings.append((len(words) - 1, "deg"))
        else:
            with suppress(UnitsError):
                readings.append((len(words) - 1, unit_name(last)))
    return readings


def count_known_headings(cells: Sequence[str]) -> int:
    """How many cells of a first row are headings we know."""
    return sum(column(i, cell) is not None for i, cell in enumerate(_spelled_out(cells)))


@dataclass(frozen=True)
class Columns:
    """The columns of a file and how to read a cell of each.

    Attributes:
        sheet: the file.
        by_key: columns of each meaning, decimals before fractions.
        unknown: headings that mean nothing to us.
        forced_unit: the units option, or None.
        shop_unit: the unit of the shop file, which counts where nothing names another; or None.
    """

    sheet: CellSheet
    by_key: Mapping[str, tuple[FileColumn, ...]]
    unknown: tuple[str, ...]
    forced_unit: str | None = None
    shop_unit: str | None = None

    @classmethod
    def of(cls, sheet: CellSheet, forced_unit: str | None = None, shop_unit: str | None = None) -> Columns:
        """Read the first row of a sheet as headings.

        Args:
            sheet: the file.
            forced_unit, shop_unit: as of the class.

        Raises:
            ReadError: two columns mean the same.
            UnitsError: the units option names no unit.
        """
        row, headings = sheet.rows[0]
        headings = _spelled_out(headings)
        found: dict[str, list[FileColumn]] = {}
        unknown = []
        for i, heading in enumerate(headings):
            one = column(i, heading)
            if one is None:
                if heading.strip():
                    unknown.append(heading.strip())
                continue
            same = found.setdefault(one.key, [])
            if any(other.fraction == one.fraction for other in same):
                raise sheet.error(f"two columns give the {one.key}: keep one of them.", row, one.heading)
            same.append(one)
        by_key = {key: tuple(sorted(some, key=lambda c: c.fraction)) for key, some in found.items()}
        forced = unit_name(forced_unit) if forced_unit else None
        return cls(sheet, by_key, tuple(unknown), forced, shop_unit if shop_unit in UNIT_CHOICES else None)

    def __contains__(self, key: str) -> bool:
        """Whether the file has a column of this meaning."""
        return key in self.by_key

    @property
    def units(self) -> list[str | None]:
        """The units that the headings of lengths name, None for headings without, each once."""
        some = [c.unit for group in self.by_key.values() for c in group if KINDS[c.key] == LENGTH]
        return list(dict.fromkeys(some))

    @property
    def read_as(self) -> str:
        """The unit that lengths are taken to be in, above all others."""
        named = [unit for unit in self.units if unit]
        return self.forced_unit or (named[0] if named else self.usual_unit)

    @property
    def usual_unit(self) -> str:
        """The unit of headings that name none: the one all others name, else, where none does, the shop's; else mm."""
        named = [unit for unit in self.units if unit]
        return named[0] if len(named) == 1 else "mm" if named else self.shop_unit or "mm"

    def heading(self, key: str) -> str:
        """How the file calls a column."""
        return self.by_key[key][0].heading if key in self.by_key else key

    def text(self, cells: Sequence[str], key: str) -> str:
        """The cell as it stands, '' where there is none."""
        for one in self.by_key.get(key, ()):
            if one.index < len(cells) and cells[one.index].strip():
                return cells[one.index]
        return ""

    def value(self, row: int, cells: Sequence[str], key: str) -> float | None:
        """The cell's number: mm for lengths, degrees for angles; None where it is blank.

        Raises:
            ReadError: it is not a number.
        """
        for one in self.by_key.get(key, ()):
            cell = cells[one.index] if one.index < len(cells) else ""
            if not cell.strip():
                continue
            kind = KINDS[key]
            if kind == LENGTH:
                return self.sheet.length(cell, self.forced_unit or one.unit or self.usual_unit, row, one.heading)
            read = self.sheet.angle if kind == ANGLE else self.sheet.number
            return read(cell, row, one.heading)
        return None
