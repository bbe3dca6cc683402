"""Lengths as people type and read them. The inch is 25.4 mm exactly (yard and pound agreement of 1959)."""

from __future__ import annotations

import itertools
import re
import unicodedata
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.errors import OptionError, UnitsError
from converter.units import MM_PER, Display, fraction_text, parse_length, unbroken


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
        ("1½in", "mm", 38.1),
        ('1 ½"', "mm", 38.1),
        ('1-½"', "mm", 38.1),
        ("¾", "in", 19.05),
        ("-⅞ in", "mm", -22.225),
        ("5' 6½\"", "mm", 1689.1),
        ("5½'", "mm", 1676.4),
        ("1 1\u20442 in", "mm", 38.1),  # the slash that fractions have of their own
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
        "½½",
        "1½½in",
        "1.5½in",
        "1/½",
        "½/2",
        "½1",
        "⅟2",
        "²in",
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


def test_every_fraction_that_is_one_character():
    """Against the value that Unicode's own table gives: the nearest fraction with a denominator up to ten."""
    characters = [chr(code) for code in range(0x110000) if "VULGAR FRACTION" in unicodedata.name(chr(code), "")]
    assert len(characters) == 19
    for one in characters:
        value = Fraction(unicodedata.numeric(one)).limit_denominator(10)
        assert parse_length(one, "mm") == pytest.approx(float(value), rel=1e-15), one
        assert parse_length(f"3{one}mm") == pytest.approx(float(3 + value), rel=1e-15), one


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


def test_a_number_stays_with_its_unit_its_fraction_and_its_name():
    text = "draw marks at 45-7/16 in (bend 2), turn 33.01° counter-clockwise seen from end A; 1 3/4 in of 1.5 x 0.12 in"
    assert unbroken(text).split(" ") == [
        "draw", "marks", "at", "45-7/16\u00a0in\u00a0(bend\u00a02),", "turn", "33.01°\u00a0counter-clockwise", "seen",
        "from", "end\u00a0A;", "1\u00a03/4\u00a0in", "of", "1.5\u00a0x\u00a00.12\u00a0in",
    ]  # fmt: skip
    assert unbroken("between 1.68 and 1.96 % of the stop") == "between 1.68 and 1.96\u00a0% of the stop"
    assert unbroken("at (18.000, 0.000, -34.000) in there") == "at (18.000,\u00a00.000,\u00a0-34.000)\u00a0in there"


@pytest.mark.parametrize("wide", [50.0, 65.0, 80.0])
def test_no_line_of_a_page_ends_within_a_number(wide):
    """Read back from the lines themselves: none ends with a number whose unit, bend or direction begins the next."""
    from converter.exporters.pdf.canvas import Pdf

    text = " ".join(f"Turn 12{i}.5° clockwise, mark at 4{i}-7/16 in (bend {i}) from end A." for i in range(9))
    lines = Pdf("test", {}).wrapped(text, 2.5, wide)
    assert " ".join(lines) == text
    for line, after in itertools.pairwise(lines):
        assert not re.search(r"(?:\d|°|\bbend|\bend|\bin)$", line), (line, after)
