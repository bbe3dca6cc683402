"""What work and metal cost a shop: ``[rates]`` and ``[[price]]`` of its file, for quotations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from converter.model.section import Section
from converter.shop.schema import Field, Place, number, number_or_zero, section, text
from converter.tolerances import same_within
from converter.units import KG_PER_LB, MM_PER

RATES = {
    "currency": Field(text, default=""),
    "hour": Field(number_or_zero),
    "minutes_per_tube": Field(number_or_zero),
    "minutes_per_cut": Field(number_or_zero),
    "minutes_per_cope": Field(number_or_zero),
    "minutes_per_bend": Field(number_or_zero),
    "minutes_per_metre_of_weld": Field(number_or_zero),
    "minutes_per_foot_of_weld": Field(number_or_zero),
}
_PER = {"per_metre": 1.0 / MM_PER["m"], "per_foot": 1.0 / MM_PER["ft"], "per_kg": 1.0, "per_lb": 1.0 / KG_PER_LB}
PRICE = {"section": Field(section), "metal": Field(text)} | {key: Field(number()) for key in _PER}
#: mm; a bar or a price is for a tube's section when no size differs by more: rounding of inches.
SAME_STOCK = same_within(0.05)


@dataclass(frozen=True, slots=True)
class Rates:
    """Minutes of work and the price of an hour; None where the shop file does not say.

    Attributes:
        currency: as it stands before amounts, or ''.
        hour: price of an hour.
        tube: minutes for each tube: fetching, marking, checking.
        cut: minutes for each saw cut.
        cope: minutes for each end that is coped or mitred.
        bend: minutes for each bend.
        weld: minutes for each mm of weld.
    """

    currency: str = ""
    hour: float | None = None
    tube: float | None = None
    cut: float | None = None
    cope: float | None = None
    bend: float | None = None
    weld: float | None = None


@dataclass(frozen=True, slots=True)
class Price:
    """What metal costs.

    Attributes:
        section, metal: what it is the price of; None for any.
        per_mm: price of a mm of bar, or None.
        per_kg: price of a kg, or None; one of the two is given.
    """

    section: Section | None
    metal: str | None
    per_mm: float | None
    per_kg: float | None

    def fits(self, section: Section | None, metal: str | None) -> bool:
        """Whether it is the price of such a tube."""
        if self.section is not None and (section is None or not section.is_same_stock(self.section, SAME_STOCK)):
            return False
        return self.metal is None or (metal is not None and metal.casefold() == self.metal.casefold())

    @property
    def nearness(self) -> tuple[bool, bool]:
        """The greater, the more it says of what it is the price of."""
        return self.section is not None, self.metal is not None


def rates_of(values: dict[str, Any], place: Place) -> Rates:
    """``[rates]`` of a shop file.

    Raises:
        ShopError: the weld is given in two units.
    """
    metre, foot = values["minutes_per_metre_of_weld"], values["minutes_per_foot_of_weld"]
    if metre is not None and foot is not None:
        place.key("minutes_per_foot_of_weld").fail("says the same as minutes_per_metre_of_weld: give one")
    weld = metre / MM_PER["m"] if metre is not None else foot / MM_PER["ft"] if foot is not None else None
    return Rates(
        values["currency"],
        values["hour"],
        values["minutes_per_tube"],
        values["minutes_per_cut"],
        values["minutes_per_cope"],
        values["minutes_per_bend"],
        weld,
    )


def price_of(values: dict[str, Any], place: Place) -> Price:
    """One ``[[price]]`` of a shop file.

    Raises:
        ShopError: it has no amount, or two.
    """
    given = [key for key in _PER if values[key] is not None]
    if len(given) != 1:
        found = f"has {' and '.join(given)}" if given else "has no amount"
        place.fail(f"{found}: give exactly one of {', '.join(_PER)}")
    amount = values[given[0]] * _PER[given[0]]
    by_length = given[0] in ("per_metre", "per_foot")
    return Price(values["section"], values["metal"], amount if by_length else None, None if by_length else amount)


def price_for(prices: Sequence[Price], section: Section | None, metal: str | None) -> Price | None:
    """The price that says most of a tube: of its section and metal before its section before its metal; or None."""
    fitting = [price for price in prices if price.fits(section, metal)]
    return max(fitting, key=lambda price: price.nearness, default=None)
