"""What a person mistypes in a shop file: what the message tells to write instead is put there and read."""

from __future__ import annotations

import re
import tomllib

import pytest

from converter.errors import ShopError
from converter.shop.load import shop_from_text
from converter.shop.toml import parse_toml

FILE = """units = "in"

[shop]
name = "yard"

[machine]
max_angle = 180

[[die]]
name = "1-1/2 tube"           # what you call it
od = 1.5                      # outside diameter
clr = 4.5
clamp = 3                     # straight ahead
invert_clamp = true

[[die]]
name = "pipe"
pipe = "1-1/4"
clr = 5.25
"""
OD = "od = 1.5 "


def message(text: str) -> str:
    with pytest.raises(ShopError) as caught:
        shop_from_text(text, "s.toml")
    return caught.value.message


@pytest.mark.parametrize(
    ("right", "typed", "instead"),
    [
        (OD, "od = 1-1/2 ", 'od = "1-1/2"'),
        (OD, "od = 1 1/2 ", 'od = "1 1/2"'),
        (OD, "od = 1.5in ", 'od = "1.5in"'),
        (OD, "od = 38.1 mm ", 'od = "38.1 mm"'),
        (OD, 'od = 1.5" ', 'od = "1.5"'),
        (OD, 'od = "1-1/2"" ', "od = '1-1/2\"'"),
        (OD, 'od = "1.5 ', 'od = "1.5"'),
        (OD, "od = 1,5 ", "od = 1.5"),
        (OD, "od = .75 ", "od = 0.75"),
        (OD, "od = 2. ", "od = 2.0"),
        (OD, "od = 01.5 ", "od = 1.5"),
        (OD, "od: 1.5 ", "od = 1.5"),
        (OD, "od 1.5 ", "od = 1.5"),
        (OD, "od: 1-1/2 ", 'od = "1-1/2"'),
        ("clr = 4.5", "clr = 4,5", "clr = 4.5"),
        ('name = "1-1/2 tube" ', "name = 1-1/2 tube ", 'name = "1-1/2 tube"'),
        ('name = "1-1/2 tube" ', 'name = "1-1/2 tube ', 'name = "1-1/2 tube"'),
        ('name = "1-1/2 tube" ', 'name = 1-1/2 tube" ', 'name = "1-1/2 tube"'),
        ("invert_clamp = true", "invert_clamp = True", "invert_clamp = true"),
        ("invert_clamp = true", "invert_clamp = yes", "invert_clamp = true"),
        ('units = "in"', "units = in", 'units = "in"'),
        ("[machine]", "[machine", "[machine]"),
        ("[machine]", "machine]", ""),
        ("[[die]]\nname = \"pipe\"", "[[die]\nname = \"pipe\"", "[[die]]"),
    ],
)  # fmt: skip
def test_what_the_message_tells_to_write_is_read(right, typed, instead):
    assert FILE.count(right) == 1
    wrong = FILE.replace(right, typed)
    line = FILE[: FILE.index(right)].count("\n") + 1
    told = message(wrong)
    assert re.match(rf"s\.toml is not a TOML file \(line {line}, column \d+\): ", told)
    if instead:
        assert told.endswith(f"write {instead}.")
        rows = wrong.split("\n")
        rows[line - 1] = instead
        parse_toml("\n".join(rows), "s.toml", "shop file")


@pytest.mark.parametrize(
    ("right", "typed", "cure"),
    [
        (OD, "od = 1.5\nod = 1.75 ", "od stands twice in one table: leave one of the two out"),
        (OD, "od = ", "od has no value: write one behind the equals sign, or leave the line out"),
        (OD, "od = “1.5” ", "“ is no quotation mark here: write straight ones, \" or '"),
        (OD, "od = 1.5\u00a0", "a character that looks like a blank is none (U+00A0): delete it and type a blank"),
        ('[[die]]\nname = "1-1/2 tube"', '[die]\nname = "1-1/2 tube"',
         "[[die]] follows [die]: write [[die]] above each where there may be several, as of dies, else [die] once, "
         "with all its keys below"),
        ('[[die]]\nname = "pipe"', '[die]\nname = "pipe"',
         "[die] follows [[die]]: write [[die]] above each where there may be several, as of dies, else [die] once, "
         "with all its keys below"),
        ('[[die]]\nname = "1-1/2 tube"', '[machine]\nname = "1-1/2 tube"',
         "[machine] follows [machine]: write [[machine]] above each where there may be several, as of dies, else "
         "[machine] once, with all its keys below"),
    ],
)  # fmt: skip
def test_what_a_line_lacks_is_told(right, typed, cure):
    assert message(FILE.replace(right, typed)).endswith(f": {cure}.")


def test_what_nobody_can_tell_keeps_the_parsers_own_words():
    """Lists, escapes and texts of several lines; no line is quoted at length."""
    for text in ("a = [1, 2", "a = [(at (at", 'a = "\\q"', 'a = """x', "a = {b = 1", "= 3", "[]"):
        with pytest.raises(ShopError) as caught:
            parse_toml(text, "x", "job file")
        with pytest.raises(tomllib.TOMLDecodeError):
            tomllib.loads(text)
        assert caught.value.message.startswith("x is not a TOML file (line 1, column ")
    assert len(message(f"a = {'x' * 9000}")) < 200


@pytest.mark.parametrize(
    ("right", "typed", "says"),
    [
        (OD, 'od = "1,5" ', 'od ("1-1/2 tube") must be a length above zero, not "1,5" (write a point for the comma)'),
        (OD, "OD = 1.5 ", "die[1].OD is not a known key: did you mean od?"),
        ("[machine]", "[[machine]]", "machine stands more than once or in two brackets: write [machine] once, in one "
         "bracket"),
        ("clr = 5.25", 'clr = 5.25\n[[metal]]\nname = "x"\ndensity = 7.85',
         "must be a density in kg/m3 (steel has 7850) above 500 up to 30000, not 7.85"),
        ("clr = 5.25", 'clr = 5.25\n[[metal]]\nname = "x"\nyield_mpa = 60000',
         "must be a strength in MPa (1 ksi is 6.895 MPa) above zero up to 10000, not 60000"),
        ("max_angle = 180", "stop_step = 0", "stop_step must be an angle in degrees above zero up to 15, not 0"),
    ],
)  # fmt: skip
def test_values_that_are_wrong_are_told_with_what_to_write(right, typed, says):
    assert says in message(FILE.replace(right, typed))


@pytest.mark.parametrize(("table", "typed", "cure"), [
    ("die", "clr_in = 4.5", 'write clr = "4.5in"'),
    ("die", "clr_mm = 114.3", 'write clr = "114.3mm"'),
    ("die", "od_mm = 38", 'write od = "38mm"'),
    ("die", 'clamp_inches = "3 1/2"', 'write clamp = "3 1/2in"'),
    ("die", "rectangle_in = [2, 1]", 'write rectangle = ["2in", "1in"]'),
    ("die", "max_angle_deg = 120", "write max_angle = 120"),
    ("machine", 'max_length_ft = 24', 'write max_length = "24ft"'),
    ("machine", 'pivot_height_m = 0.9', 'write pivot_height = "0.9m"'),
    ("test", "wall_in = 0.12", 'write wall = "0.12in"'),
    ("stock", "length_ft = 20", 'write length = "20ft"'),
    ("stock", 'section_mm = "25x2"', 'write section = "25x2mm"'),
    ("hole_saw", "size-in = 1.75", 'write size = "1.75in"'),
    # 46 ksi are 317.2 MPa, 29 Msi 199.9 GPa, 0.284 lb/in3 7861 kg/m3 (NIST SP 811: 1 psi is 6894.757 Pa)
    ("metal", "yield_ksi = 46", "write yield_mpa = 317.2"),
    ("metal", "tensile_psi = 58000", "write tensile_mpa = 399.9"),
    ("metal", "yield_strength_ksi = 46", "write yield_mpa = 317.2"),
    ("metal", "modulus_msi = 29", "write modulus_gpa = 199.9"),
    ("metal", "modulus_mpa = 200000", "write modulus_gpa = 200"),
    ("metal", "density_lb_in3 = 0.284", "write density = 7861 (it is in kg/m³)"),
    ("metal", "density_g_cm3 = 7.85", "write density = 7850 (it is in kg/m³)"),
    ("metal", "elongation_percent = 20", "write elongation = 20"),
    # a unit that is none, a value that is no length
    ("die", "clr_x = 4.5", "did you mean clr?"),
    ("die", "clr_in = true", "did you mean clr?"),
    ("metal", 'yield_ksi = "high"', "did you mean yield_mpa?"),
    ("die", "clr_in = inf", "did you mean clr?"),
])  # fmt: skip
def test_a_key_that_bears_its_unit_is_told_by_what_to_write(table, typed, cure):
    heading = f"[{table}]" if table == "machine" else f"[[{table}]]"
    with pytest.raises(ShopError) as caught:
        shop_from_text(f'units = "mm"\n[shop]\nname = "X"\n{heading}\n{typed}\n', "shop.toml")
    assert f"is not a known key: {cure}" in caught.value.message
    if cure.startswith("write") and "(" not in cure:
        # what is to be written is taken; what else belongs there may be missing
        try:
            shop_from_text(f'units = "in"\n[shop]\nname = "X"\n{heading}\n{cure.removeprefix("write ")}\n', "shop.toml")
        except ShopError as error:
            assert "is missing" in error.message, error.message
