"""A quotation as a table of texts, for the terminal and for the job sheet: a row per part, and one for all."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from math import fsum

from converter.job.quotation import Quotation, QuotationPart
from converter.units import Display, rounded_up
from converter.words import mass_text

#: Heads of the columns of `quotation_rows`: of one piece, up to its price; then of all of the part.
QUOTATION_HEADS = (
    "part", "make", "cut length", "mass", "bends", "saw cuts", "copes", "weld",
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

    def length(mm_in: Callable[[Display], float]) -> str:
        return display.each(lambda one: one.length(mm_in(one)) if units else one.number(mm_in(one)))

    def stick(part: QuotationPart, one: Display) -> float:
        return rounded_up(part.each("stick") or 0.0, one)

    def row(
        name: str, off: str, of: _Sum, sticks: Callable[[Display], float], price: str, total: float | None
    ) -> list[str]:
        mass = of("mass")
        return [
            name, off, length(sticks), _DASH if mass is None else mass_text(mass, display),
            *(f"{of(what) or 0.0:.0f}" for what in ("bends", "cuts", "copes")), length(lambda _: of("weld") or 0.0),
            _number(of("minutes"), 0), _number(of("metal_price"), 2), _number(of("work_price"), 2), price,
            _number(total, 2),
        ]  # fmt: skip

    rows = []
    for part in estimate.parts:
        whole = part.whole("price")
        total = None if whole is None else estimate.jobs * whole
        price = _number(part.each("price"), 2)
        rows.append(row(part.part.name, str(part.off), part.each, partial(stick, part), price, total))
    times = "" if estimate.jobs == 1 else f" x {estimate.jobs}"

    def all_sticks(one: Display) -> float:
        return fsum(estimate.jobs * part.off * stick(part, one) for part in estimate.parts)

    count = str(estimate.jobs * estimate.off)
    rows.append(row(f"all{times}", count, estimate.total, all_sticks, "", estimate.total("price")))
    return rows


def _number(value: float | None, places: int) -> str:
    return _DASH if value is None else f"{value:.{places}f}"
