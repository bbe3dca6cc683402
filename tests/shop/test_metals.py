"""The built-in metals: figures as the standards state them (ksi), names, and a shop's own on top."""

import pytest

from converter.errors import ShopError
from converter.shop.metals import ALIASES, BUILT_IN, find_metal, need_metal, same_metal
from converter.shop.model import Metal

KSI = 6.894757293168361

#: Minimum yield and tensile in ksi. A513-5 and A500 from sellers' pages, AMS 4902 read; the rest from memory.
MINIMUM = {
    "mild steel": (36, 58), "1020 DOM": (60, 70), "A500-B": (46, 58), "A500-C": (50, 62), "A53-B": (35, 60),
    "4130 normalised": (75, 95), "304": (30, 75), "316": (30, 75), "6061-T6": (35, 42), "3003-H14": (17, 20),
    "Ti Grade 2": (40, 50), "Ti-3Al-2.5V CWSR": (105, 125), "Ti-3Al-2.5V annealed": (70, 90),
    "4130 heat-treated": (100, 125), "4130 HT-150": (135, 150), "4130 HT-180": (160, 180),
}  # fmt: skip


def test_every_metal_has_its_minimum_and_its_standard():
    assert {metal.name for metal in BUILT_IN} == set(MINIMUM)
    for metal in BUILT_IN:
        ksi = MINIMUM[metal.name]
        assert (metal.yield_mpa, metal.tensile_mpa) == pytest.approx((ksi[0] * KSI, ksi[1] * KSI), abs=0.06)
        assert metal.standard.startswith(("ASTM", "AMS", "MIL"))
        assert "from memory" in metal.standard or "page" in metal.standard or "read" in metal.standard
        assert 60.0 < metal.modulus_gpa < 210.0 and 2600.0 < metal.density < 8100.0 and 0.0 < metal.elongation < 50.0


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("A36", "mild steel"), ("Mild Steel", "mild steel"), ("steel", "mild steel"), ("dom", "1020 DOM"),
        ("DOM 1020", "1020 DOM"), ("4130", "4130 normalised"), ("4130N", "4130 normalised"),
        ("4130 Normalized", "4130 normalised"), ("chromoly", "4130 normalised"), ("4130-HT", "4130 heat-treated"),
        ("4130 heat treated", "4130 heat-treated"), ("304 stainless", "304"), ("304L", "304"), ("1.4301", "304"),
        ("316L", "316"), ("6061 T6", "6061-T6"), ("6061", "6061-T6"), ("3003", "3003-H14"), ("Ti Gr. 2", "Ti Grade 2"),
        ("titanium grade 2", "Ti Grade 2"), ("Ti-3Al-2.5V", "Ti-3Al-2.5V CWSR"), ("ti 3/2.5", "Ti-3Al-2.5V CWSR"),
        ("Grade 9", None), ("Ti Grade 9", "Ti-3Al-2.5V annealed"), ("unobtainium", None), ("", None), (None, None),
    ],
)  # fmt: skip
def test_names_as_people_write_them(typed, name):
    found = find_metal(typed)
    assert (found and found.name) == name


def test_no_two_metals_share_a_name():
    names = [one for metal in BUILT_IN for one in (metal.name, *ALIASES.get(metal.name, ()))]
    for metal in BUILT_IN:
        for name in (metal.name, *ALIASES.get(metal.name, ())):
            assert find_metal(name).name == metal.name, name
    assert len({name.casefold() for name in names}) == len(names)


def test_a_shops_own_metal_wins_value_by_value():
    own = [Metal("4130", yield_mpa=550.0)]
    found = find_metal("4130", own)
    assert (found.name, found.yield_mpa, found.standard) == ("4130", 550.0, "the shop file")
    assert found.tensile_mpa == pytest.approx(95 * KSI, abs=0.1) and found.modulus_gpa == 200.0
    assert find_metal("chromoly", own) == found  # another name of the same metal
    assert find_metal("304", own).name == "304"
    # no tensile strength below the yield strength: what was not given is then unknown
    assert find_metal("4130", [Metal("4130", yield_mpa=900.0)]).tensile_mpa is None
    assert find_metal("4130", [Metal("4130", tensile_mpa=300.0)]).yield_mpa is None
    bare = find_metal("greenium", [Metal("Greenium", density=5000.0)])
    assert (bare.density, bare.yield_mpa) == (5000.0, None)


def test_same_metal():
    assert same_metal("4130", "chromoly") and not same_metal("4130", "304")
    assert same_metal("Greenium", "greenium") and not same_metal("greenium", "304")
    assert same_metal(None, None) and not same_metal(None, "304")


def test_an_unknown_metal_is_named_with_the_nearest():
    with pytest.raises(ShopError, match=r"no metal named '4310': did you mean '4130'\?"):
        need_metal("4310")
    with pytest.raises(ShopError, match="--metal: there is no metal named 'zzz': add it as a") as caught:
        need_metal("zzz", [Metal("greenium")], "--metal")
    assert "greenium" in caught.value.message and caught.value.code == "unknown-metal"
