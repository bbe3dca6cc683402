"""Delimited text as rows of cells: encodings, separators, decimal commas, and where each cell stands.

Shared by the readers of bend tables and of corner points. A cell is named the way a
spreadsheet names it: row number counted from the first line, and the heading of its column.
"""

from __future__ import annotations

import csv
import re
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Callable
from dataclasses import dataclass
from io import StringIO
from math import isfinite

from converter.errors import ReadError, TooLargeError, UnitsError
from converter.importers.source import Source
from converter.limits import ROW_CHARACTERS, ROWS
from converter.quoting import quoted, reason_of, shortened
from converter.units import parse_length

_DELIMITERS = (",", ";", "\t")
_PLAIN_NUMBER = re.compile(r"[+-]?(?:\d++(?:\.\d*+)?|\.\d++)(?:[eE][+-]?\d++)?\Z")
_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?\Z")
_POINT = re.compile(r"[+-]?\d*\.\d+\Z")
_DEGREES = re.compile(r"(?<!\s)\s*+(?:°|º|deg(?:rees?)?)\s*+\Z", re.IGNORECASE)
# A text that could begin a formula, with the guard that the CSV exporter puts right before it.
_GUARD = re.compile(r"""(?:\A["'\s;|]*+|(?<!["'\s;|])["'\s;|]++)(?=[=+\-@＝＋－＠])""")


@dataclass(frozen=True)
class CellSheet:
    """The rows of a file that hold anything.

    Attributes:
        name: the file as the user named it.
        rows: (row number from 1, cells) of every row that is not blank, the heading first.
        decimal_comma: whether ``12,5`` is twelve and a half in this file.
    """

    name: str
    rows: tuple[tuple[int, list[str]], ...]
    decimal_comma: bool

    def error(self, message: str, row: int | None, column: str | None = None) -> ReadError:
        """A `ReadError` whose message ends in the place, and which carries it."""
        places = [f"row {row}"] if row is not None else []
        if column:
            places.append(f"column {shortened(column)}")
        where = ", ".join(places) or None
        text = f"{self.name}, {where}: {message}" if where else f"{self.name}: {message}"
        return ReadError(text, code="bad-table", file=self.name, where=where)

    def number(self, text: str, row: int, column: str) -> float:
        """A plain number.

        Raises:
            ReadError: it is not one, or not finite.
        """
        plain = self._with_point(text)
        if _PLAIN_NUMBER.match(plain) and isfinite(value := float(plain)):
            return value
        raise self.error(f"{quoted(text)} is not a number.", row, column)

    def angle(self, text: str, row: int, column: str) -> float:
        """Degrees, with or without a degree sign.

        Raises:
            ReadError: it is not a number.
        """
        return self.number(_DEGREES.sub("", text), row, column)

    def length(self, text: str, unit: str, row: int, column: str) -> float:
        """Millimetres from a number in ``unit``, a fraction, or a length with its own unit.

        Raises:
            ReadError: it is not a length.
        """
        try:
            return parse_length(self._with_point(text), unit)
        except UnitsError as error:
            raise self.error(str(error), row, column) from error

    def _with_point(self, text: str) -> str:
        plain = text.strip().replace("−", "-")
        return plain.replace(",", ".") if self.decimal_comma and _COMMA.match(plain) else plain


def read_sheet(source: Source, score: Callable[[list[str]], int]) -> CellSheet:
    """Read a file's rows.

    Args:
        source: where the bytes come from.
        score: how much a first row, split into cells, looks like one we know; the separator
            with the highest score is taken.

    Raises:
        ReadError: it is not text, has no rows, or its quoting is broken.
    """
    text = _decode(source.read_bytes(), source.name)
    if (count := max(text.count("\n"), text.count("\r"))) > ROWS:
        raise TooLargeError.of(source.name, f"{count:,} rows", f"{ROWS:,}", "cut the table into several")
    # newline="" keeps the line ends inside quotes as they are
    lines = list(StringIO(text, newline=""))
    if (longest := max(map(len, lines), default=0)) > ROW_CHARACTERS:
        where = f"row {next(i for i, line in enumerate(lines, start=1) if len(line) == longest)}"
        raise TooLargeError.of(
            source.name, f"{longest:,} characters", f"{ROW_CHARACTERS:,}", "is it the right file?", where=where
        )
    skip = 0
    while skip < len(lines) and (not lines[skip].strip(" ,;\t\r\n") or lines[skip].startswith(("#", "sep="))):
        skip += 1
    empty = ReadError(f"{source.name} has no rows: export the table again.", code="empty-file", file=source.name)
    if skip == len(lines):
        raise empty
    rows: list[tuple[int, list[str]]] = []
    try:
        first = {d: _first_cells(lines[skip], d) for d in _DELIMITERS}
        delimiter = max(_DELIMITERS, key=lambda d: score(first[d]))
        for number, cells in enumerate(csv.reader(lines[skip:], delimiter=delimiter, strict=True), start=skip + 1):
            if any(cell.strip() for cell in cells):
                rows.append((number, cells))
    except csv.Error as error:
        raise ReadError(
            f"{source.name} is not a readable table ({reason_of(error)}): save it again as CSV.",
            code="bad-table",
            file=source.name,
        ) from error
    if not rows:  # blanks of other kinds
        raise empty
    return CellSheet(source.name, tuple(rows), delimiter != "," and _decimal_comma(rows))


def _first_cells(line: str, delimiter: str) -> list[str]:
    """A first row cut at a separator; whole where it is too long for a cell, as with separators it does not have."""
    try:
        return next(csv.reader([line], delimiter=delimiter))
    except csv.Error:
        return [line]


def unguard(text: str) -> str:
    """Take off every ``'`` that guards a text against being read as a formula; other texts stay."""
    return _GUARD.sub(_unguarded, text) if "'" in text else text


def _unguarded(match: re.Match[str]) -> str:
    run = match[0]
    opens = match.start() == 0 or not {";", "|", "\t", "\r", "\n"}.isdisjoint(run)
    return run[:-1] if opens and run.endswith("'") else run


def _decode(data: bytes, name: str) -> str:
    encoding = "utf-8"
    if data.startswith(BOM_UTF8):
        encoding = "utf-8-sig"
    elif data.startswith((BOM_UTF16_LE, BOM_UTF16_BE)):
        encoding = "utf-16"
    elif b"\0" in data[:65536]:
        raise ReadError(f"{name} is not text: save the table as CSV.", code="not-text", file=name)
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ReadError(
            f"{name} is not UTF-8 text (row {line}): save it as CSV UTF-8.",
            code="not-text",
            file=name,
            where=f"row {line}",
        ) from error


def _decimal_comma(rows: list[tuple[int, list[str]]]) -> bool:
    """A file that is not separated by commas has decimal commas, unless a number shows a point."""
    return not any(_POINT.match(cell.strip()) for _, cells in rows[1:] for cell in cells)
