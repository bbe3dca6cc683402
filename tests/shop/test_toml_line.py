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
