"""Bars and prices go by the metal, under whatever of its names it is written (docs/springback.md has the names)."""

import pytest

from converter.model.section import Section
from converter.shop.load import shop_from_text
from converter.shop.stock import goes_with, longest_bar, price_for

TUBE = Section("round", 40.0, 2.0)
SHOP = """units = "mm"
[shop]
name = "Bench"
[[die]]
name = "D"
od = 40
clr = 100
[[metal]]
name = "house steel"
yield_mpa = 300
[[stock]]
section = "40x2"
metal = "{stock}"
length = 6000
[[price]]
metal = "{stock}"
per_metre = 3
"""


@pytest.mark.parametrize(
    ("stock", "tube", "goes"),
    [
        ("DOM", "DOM", True),
        ("DOM", "1020 DOM", True),
        ("1020 DOM", "dom", True),
        ("A36", "mild steel", True),
        ("house steel", "House Steel", True),
        ("house steel", "mild steel", False),
        ("304", "316", False),
        ("4130", "4130 HT", False),
    ],
)
def test_a_metal_by_any_of_its_names(stock: str, tube: str, goes: bool):
    shop = shop_from_text(SHOP.format(stock=stock))
    assert goes_with(shop.stock[0], TUBE, tube, shop.metals) is goes
    assert longest_bar(shop, TUBE, tube) == (6000.0 if goes else None)
    assert (price_for(shop, TUBE, tube) is not None) is goes


def test_what_names_no_metal_goes_with_any():
    shop = shop_from_text(SHOP.format(stock="DOM"))
    assert goes_with(shop.stock[0], TUBE, None, shop.metals)
    assert longest_bar(shop, None, "DOM") is None
    assert price_for(shop, TUBE, None) is None, "a price of a metal is none of a tube whose metal is not known"
