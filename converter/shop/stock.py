"""Which bars and prices go with a tube: by size, and by metal under whatever name it is written."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf

from converter.errors import OptionError
from converter.model.section import Section
from converter.quoting import shortened
from converter.shop.metals import same_metal
from converter.shop.model import SAME_STOCK, Metal, Price, Shop, Stick
from converter.shop.schema import Field, length, section, text, whole
from converter.units import parse_length

#: mm; no shorter bar is sold. Common practice, no source.
_LEAST_BAR = 1000.0
#: A bar of a shop file or a job file.
STOCK = {
    "section": Field(section, required=True),
    "metal": Field(text),
    "length": Field(length, required=True),
    "count": Field(whole),
}


def goes_with(bar: Stick, section: Section, metal: str | None, own: Sequence[Metal]) -> bool:
    """Whether a tube may be cut from a bar: sizes agree to `SAME_STOCK`, a metal that is not named goes with any.

    Args:
        bar: of the rack.
        section, metal: of the tube.
        own: the shop's metals.
    """
    if not bar.section.is_same_stock(section, SAME_STOCK):
        return False
    return not metal or bar.metal is None or same_metal(bar.metal, metal, own)


def longest_bar(shop: Shop, section: Section | None, metal: str | None) -> float | None:
    """The longest bar on the rack that a tube may be cut from, mm; None where the rack has none of its section."""
    if section is None:
        return None
    longest_first = sorted(shop.stock, key=lambda bar: -bar.length)
    fitting = (bar for bar in longest_first if bar.count != 0 and goes_with(bar, section, metal, shop.metals))
    return next((bar.length for bar in fitting), None)


def longest_stick(shop: Shop, section: Section | None, metal: str | None, is_bent: bool) -> float:
    """The longest stick that a tube may be cut to, mm: what the machine takes of one that is bent, and what the saw
    leaves of the longest bar; infinite where the shop says neither."""
    bar = longest_bar(shop, section, metal)
    on_rack = inf if bar is None else shop.cutting.saw.longest(bar)
    machine = shop.machine.max_length if is_bent else None
    return on_rack if machine is None else min(on_rack, machine)


def price_for(shop: Shop, section: Section | None, metal: str | None) -> Price | None:
    """The price that says most of a tube: of its section and metal before its section before its metal; or None."""

    def fits(price: Price) -> bool:
        if price.section is not None and (section is None or not section.is_same_stock(price.section, SAME_STOCK)):
            return False
        return price.metal is None or (metal is not None and same_metal(price.metal, metal, shop.metals))

    return max((price for price in shop.prices if fits(price)), key=lambda price: price.nearness, default=None)


def bar_lengths(typed: Iterable[str], unit: str) -> list[float]:
    """Bars to buy in mm, as typed.

    Args:
        typed: lengths.
        unit: of bare numbers.

    Raises:
        OptionError: a bare number makes a bar that nobody sells: feet or metres were meant.
        UnitsError: one is no length.
    """
    found = []
    for one in typed:
        mm = parse_length(one, unit)
        if mm < _LEAST_BAR and one.strip()[-1:].isdigit():
            shown = shortened(one)
            raise OptionError(f"--bar {shown} would be {shown} {unit}: write it with its unit, as 20ft or 6m.")
        found.append(mm)
    return found
