"""A quotation as a table of texts, for the terminal and for the job sheet: a row per part, and one for all."""

from __future__ import annotations

from collections.abc import Callable

from converter.job.quotation import Quotation
from converter.units import Display
from converter.words import mass_text

#: Heads of the columns of `quotation_rows`: of one piece, up to its price; then of all of the part.
QUOTATION_HEADS = (
    "part", "off", "cut length", "mass", "bends", "saw cuts", "copes", "weld",
    "minutes", "metal", "work", "price", "total",
)  # fmt: skip
_DASH = "-"
_Sum = Callable[[str], float | None]


def money_text(estimate: Quotation) -> str:
    """In what the prices are: ``prices in USD``."""
    return f"prices in {estimate.currency}" if estimate.currency else "prices in the shop's currency"


def quotation_rows(estimate: Quotation, display: Display, *, units: bool = False) -> list[list[str]]:
    """The cells, as of `QUOTATION_HEADS`: a row per part for one piece of it, the last one for all pieces and jobs.

    Args:
        estimate: of a job.
        display: how lengths and masses are shown.
        units: whether lengths stand with their unit.
    """

    def row(name: str, off: str, of: _Sum, price: str, total: float | None) -> list[str]:
        def length(what: str) -> str:
            mm = of(what) or 0.0
            return display.each(lambda one: one.length(mm) if units else one.number(mm))

        mass = of("mass")
        return [
            name, off, length("stick"), _DASH if mass is None else mass_text(mass, display),
            *(f"{of(what) or 0.0:.0f}" for what in ("bends", "cuts", "copes")), length("weld"),
            _number(of("minutes"), 0), _number(of("metal_price"), 2), _number(of("work_price"), 2), price,
            _number(total, 2),
        ]  # fmt: skip

    rows = []
    for part in estimate.parts:
        whole = part.whole("price")
        total = None if whole is None else estimate.jobs * whole
        rows.append(row(part.part.name, str(part.off), part.each, _number(part.each("price"), 2), total))
    times = "" if estimate.jobs == 1 else f" x {estimate.jobs}"
    rows.append(row(f"all{times}", str(estimate.jobs * estimate.off), estimate.total, "", estimate.total("price")))
    return rows


def _number(value: float | None, places: int) -> str:
    return _DASH if value is None else f"{value:.{places}f}"
