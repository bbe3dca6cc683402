"""Cells of the CSV files that list set-ups and cuts: RFC 4180, no formula, no digit that means nothing.

Lengths and angles are written to a millionth of their unit, which no tape or protractor comes near;
`converter.exporters.data.table_csv` writes more, since it reads back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from converter.exporters.data.table_csv import fraction_cell, number_cell
from converter.units import Display

_DECIMALS = 6


def csv_text(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Header and rows with CRLF line ends; every cell is ready."""
    return "\r\n".join([",".join(header), *(",".join(row) for row in rows)]) + "\r\n"


def length_heads(name: str, display: Display) -> list[str]:
    """``mark_mm``; with fractions ``mark_in`` and ``mark_in_fraction``."""
    head = f"{name}_{display.unit}"
    return [head, f"{head}_fraction"] if display.denominator else [head]


def length_cells(mm: float | None, display: Display) -> list[str]:
    """The cells under `length_heads`; empty for None."""
    if mm is None:
        return [""] * len(length_heads("", display))
    value = mm / 25.4 if display.unit == "in" else mm
    cells = [number_cell(value, _DECIMALS)]
    if display.denominator:
        cells.append(fraction_cell(value, display.denominator))
    return cells


def degrees_cell(degrees: float | None) -> str:
    """An angle; empty for None."""
    return "" if degrees is None else number_cell(degrees, _DECIMALS)


def yes_cell(value: bool) -> str:
    """``yes`` or ``no``."""
    return "yes" if value else "no"
