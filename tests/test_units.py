"""Lengths as people type and read them. The inch is 25.4 mm exactly (yard and pound agreement of 1959)."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.errors import OptionError, UnitsError
from converter.units import MM_PER, Display, fraction_text, parse_length


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("1.75in", "mm", 44.45),
        ('1 3/4"', "mm", 44.45),
        ("1-3/4in", "mm", 44.45),
        ("3/8", "in", 9.525),
        (".5 in", "mm", 12.7),
        ("44.45mm", "in", 44.45),
        ("44.45", "mm", 44.45),
        ("1.75", "in", 44.45),
        ("2 m", "mm", 2000.0),
        ("3.5CM", "mm", 35.0),
        ("5' 6-1/2\"", "mm", 1689.1),
        ("5ft 6in", "mm", 1676.4),
        ("10'", "mm", 3048.0),
        ("-2in", "mm", -50.8),
        ("-1' 6\"", "mm", -457.2),
        ("1e2", "mm", 100.0),
        ("65 thou", "mm", 1.651),
        (2, "in", 50.8),
        ("1½in".replace("½", " 1/2"), "mm", 38.1),
    ],
)
def test_what_people_type(text, unit, mm):
    assert parse_length(text, unit) == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "abc",
        "1.75 furlong",
        "1/0in",
        "1..5",
        "--3",
        "1 2 3",
        "nan",
        "inf",
        "1e999",
        "1/2/3",
        "4 in in",
        "9" * 5000 + "/2",
        True,
        None,
    ],
)
def test_what_is_no_length(text):
    with pytest.raises(UnitsError) as caught:
        parse_length(text)
    assert len(str(caught.value)) < 200


def test_every_factor_is_exact():
    """Against the definitions: inch 25.4 mm, foot 12 in, yard 3 ft, statute mile 1760 yd."""
    assert MM_PER["in"] == 25.4
    assert Fraction(str(MM_PER["ft"])) == 12 * Fraction("25.4")
    assert Fraction(str(MM_PER["yd"])) == 36 * Fraction("25.4")
    assert Fraction(str(MM_PER["mi"])) == 1760 * 36 * Fraction("25.4")


@pytest.mark.parametrize(
    ("inches", "denominator", "text"),
    [
        (1.75, 16, "1-3/4"),
        (0.0, 16, "0"),
        (0.03125, 16, "1/16"),  # half up
        (0.0312, 16, "0"),
        (2.999, 16, "3"),
        (-1.5, 8, "-1-1/2"),
        (-0.01, 16, "0"),
        (0.109375, 64, "7/64"),
    ],
)
def test_fractions(inches, denominator, text):
    assert fraction_text(inches, denominator) == text


@given(st.floats(-1e4, 1e4), st.sampled_from([2, 4, 8, 16, 32, 64, 128]))
def test_a_fraction_is_never_off_by_more_than_half_its_step_and_reads_back(inches, denominator):
    text = fraction_text(inches, denominator)
    assert abs(parse_length(text, "in") / 25.4 - inches) <= 0.5 / denominator + 1e-9
    assert fraction_text(parse_length(text, "in") / 25.4, denominator) == text


@pytest.mark.parametrize("denominator", [0, 3, 256, -2])
def test_a_fraction_is_a_power_of_two(denominator):
    with pytest.raises(OptionError, match="power of two"):
        fraction_text(1.0, denominator)


def test_display():
    assert Display().length(114.3) == "114.30 mm"
    assert Display("in").length(114.3) == "4.500 in"
    assert Display("in", 16).length(114.3) == "4-1/2 in"
    assert Display().number(-0.001) == "0.00"
    assert Display().angle(-180.0 + 1e-7) == "180.00°"
    assert Display().angle(-90.0) == "-90.00°"


@pytest.mark.parametrize(("unit", "denominator"), [("ft", None), ("mm", 16), ("in", 3)])
def test_a_display_that_cannot_be(unit, denominator):
    with pytest.raises(OptionError):
        Display(unit, denominator)
