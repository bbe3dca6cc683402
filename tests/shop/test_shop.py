"""Shop files: what they say, what is refused and in which words. Values are worked by hand."""

import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shop_texts import every_key

from converter.errors import ElbowroomError, ReadError, ShopError
from converter.shop.load import demo_shop, demo_text, load_shop, new_shop_text, shop_from_text
from converter.shop.model import SIZE_MATCH, Die, Machine, Shop
from converter.shop.sections import parse_section
from converter.units import Display

SMALL = """
units = "in"
[shop]
name = "shed"
[[die]]
name = "A"
od = 1.75
clr = "6in"
"""


def small(**changes):
    lines = {"name": '"A"', "od": "1.75", "clr": '"6in"', **changes}
    body = "\n".join(f"{key} = {value}" for key, value in lines.items() if value is not None)
    return f'units = "in"\n[shop]\nname = "shed"\n[[die]]\n{body}\n'


def test_a_die_with_every_key():
    shop = shop_from_text(
        'units = "in"\n[shop]\nname = "shed"\n[machine]\nmax_angle = 190\nplane = "horizontal"\npivot_height = "1m"\n'
        '[[die]]\nname = "A"\nod = 1.75\nclr = "6 in"\nmax_angle = 180\nclamp = 3\nbetween = "3 1/2"\ntail = "50mm"\n'
        "mark_offset = -0.25\ninvert_clamp = true\nmandrel = true\nmax_wall_factor = 18\nmin_d_of_bend = 2.5\n"
    )
    (die,) = shop.dies
    assert (die.name, die.shape, die.max_angle) == ("A", "round", 180.0)
    lengths = (die.size, die.height, die.clr, die.clamp, die.between, die.tail, die.mark_offset)
    assert lengths == pytest.approx((44.45, 44.45, 152.4, 76.2, 88.9, 50.0, -6.35), abs=1e-12)
    assert (die.invert_clamp, die.mandrel, die.max_wall_factor, die.min_d_of_bend) == (True, True, 18.0, 2.5)
    assert shop.machine == Machine(max_angle=190.0, plane="horizontal", pivot_height=1000.0)
    assert not shop.is_demo


def test_defaults_between_is_the_clamp():
    die = shop_from_text(small(clamp="3")).dies[0]
    assert (die.clamp, die.between, die.tail, die.mark_offset, die.max_angle) == (
        pytest.approx(76.2),
        die.clamp,
        0.0,
        None,
        None,
    )


def test_mixed_units_and_shapes():
    shop = shop_from_text(
        'units = "mm"\n[shop]\nname = "shed"\n'
        '[[die]]\nname = "P"\npipe = "1-1/4"\nclr = "5.25in"\n'
        '[[die]]\nname = "S"\nsquare = 40\nclr = 120\n'
        '[[die]]\nname = "R"\nrectangle = [50, 25]\nclr = 120\n'
    )
    pipe, square, rect = shop.dies
    assert (pipe.shape, pipe.size, pipe.clr) == ("round", pytest.approx(42.164), pytest.approx(133.35))
    assert (square.shape, square.size, square.height) == ("square", 40.0, 40.0)
    assert (rect.shape, rect.size, rect.height) == ("rectangular", 50.0, 25.0)
    assert [d.groove(Display("in")) for d in shop.dies] == [
        "1.660 in round",
        "1.575 in square",
        "1.969 x 0.984 in rectangular",
    ]


def test_which_dies_take_which_section():
    shop = demo_shop()

    def names(text):
        return [die.name for die in shop.dies_for(parse_section(text))]

    assert names("1.75x0.120in") == ["R1750", "R1750 wide"]  # the tightest first
    assert names("NPS 1-1/4 sch 40") == names("42.2x3.6mm") == ["P125"]  # 42.2 against 42.164
    assert names("1.5x1.5x0.083in") == ["S1500"] and names("1.5x0.083in") == ["R1500"]
    assert names("25x2mm") == ["M25"] and names("1x0.083in") == []  # 25.4 is not 25
    assert names("1.5in bar") == ["R1500"]


def test_the_limit_of_matching():
    die = Die("A", "round", 25.0, 75.0)
    assert die.takes(parse_section(f"{25 + SIZE_MATCH - 0.001}x2mm"))
    assert not die.takes(parse_section(f"{25 + SIZE_MATCH + 0.001}x2mm"))
    rect = Die("R", "rectangular", 50.8, 120.0, height=25.4)
    lying, standing = parse_section("2x1x.083in"), parse_section("1x2x.083in")
    assert rect.takes(lying) and not rect.takes(standing)
    assert rect.takes(standing, turned=True) and not rect.takes(lying, turned=True)
    assert not rect.takes(parse_section("2x1.5x.083in")) and not rect.takes(parse_section("1.5x1x.083in"))
    assert not rect.takes(parse_section("2x.083in")) and not die.takes(parse_section("25x25x2mm"))


def test_greatest_angle_is_the_lesser_of_die_and_machine():
    die = Die("A", "round", 25.0, 75.0, max_angle=120.0)
    free = Die("B", "round", 25.0, 75.0)
    shop = Shop("shed", (die, free), Machine(max_angle=180.0))
    assert (shop.greatest_angle(die), shop.greatest_angle(free), shop.greatest_angle(None)) == (120.0, 180.0, 180.0)
    assert Shop("shed", (die, free)).greatest_angle(free) is None


def test_demo_and_template_load():
    demo = demo_shop()
    assert demo.is_demo and demo.name == "Demo boathouse" and 5 <= len(demo.dies) <= 7
    assert {die.shape for die in demo.dies} == {"round", "square"}
    assert demo.machine.proven_section == parse_section("2x0.120in")
    new = shop_from_text(new_shop_text(), "new.toml")
    assert [die.name for die in new.dies] == ["R1750", "1-1/4 pipe", "1-1/2 square"]
    shop = shop_from_text(every_key())  # whatever is commented out in the template is right too
    assert shop.tests[0].stop == 93.0 and shop.tests[0].wall == pytest.approx(2.413)
    assert shop.hole_saws[0].size == pytest.approx(38.1)
    assert shop.stock[0].count == 4 and shop.metals[0].density == 7850.0
    assert shop.dies[0].mark_offset == pytest.approx(9.525) and shop.machine.plane == "vertical"
    assert shop.cutting.saw.grip == pytest.approx(76.2) and shop.cutting.keep == pytest.approx(304.8)
    assert shop.allowed.length == pytest.approx(1.524) and shop.allowed.angle == 0.5
    assert shop.rates.hour == 60.0 and shop.prices[0].per_mm == pytest.approx(2.10 / 304.8)
    assert demo_text().isascii()


def test_load_from_a_file(tmp_path):
    path = tmp_path / "sh op ü.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())  # as a Windows editor saves it
    before = path.read_bytes()
    shop = load_shop(path)
    assert shop.source == str(path) and shop.dies[0].clr == pytest.approx(152.4)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"clr": '"abc"'}, 's.toml: die[1].clr ("A") must be a length above zero, not "abc".'),
        ({"clr": "0"}, 's.toml: die[1].clr ("A") must be a length above zero, not 0.'),
        ({"clr": "-3"}, "not -3."),
        ({"clr": "nan"}, "not nan."),
        ({"clr": "inf"}, "not inf."),
        ({"clr": "true"}, "not true."),
        ({"clr": "[1]"}, "not a list."),
        ({"clr": "{ a = 1 }"}, "not a table."),
        ({"clr": '"6 furlong"'}, "Unknown unit 'furlong'"),
        ({"clr": "1" + "0" * 400}, "must be a length above zero"),
        ({"clr": None}, 'die[1].clr ("A") is missing: write clr = and the radius'),
        ({"clr": "0.875"}, "has a clr of 0.875 in, not above half its tube (0.875 in): clr is the radius"),
        ({"clr": None, "cler": "6"}, "die[1].cler is not a known key: did you mean clr?"),
        ({"zzz": "6"}, "die[1].zzz is not a known key: the keys known here are name, od,"),
        ({"name": None}, "die[1].name is missing: write a line name = ... there."),
        ({"name": '""'}, "die[1].name must be a text"),
        ({"name": '"a\\nb"'}, "must be a text of one line"),
        ({"name": "7"}, "must be a text of 1 to 200 characters, not 7."),
        ({"od": None}, 'die[1] ("A") has no size: give exactly one of od, pipe, square, rectangle, flat_oval.'),
        ({"pipe": '"1"'}, "has od and pipe: give exactly one of"),
        ({"od": None, "pipe": '"7"'}, "die[1].pipe (\"A\") must be a pipe size: there is no pipe size NPS 7"),
        ({"od": None, "rectangle": "[1]"}, "must be a list of two lengths, such as [2, 1], not a list."),
        ({"od": None, "rectangle": "[1, 0]"}, 'die[1].rectangle[2] ("A") must be a length above zero, not 0.'),
        ({"max_angle": "0"}, "must be an angle in degrees above zero up to 359, not 0."),
        ({"max_angle": "360"}, "not 360."),
        ({"max_angle": '"180"'}, 'not "180".'),
        ({"clamp": "-1"}, "must be a length of zero or more, not -1."),
        ({"clamp": "3", "between": "2"}, "needs less straight between bends than its clamp holds"),
        ({"invert_clamp": "1"}, "must be true or false, not 1."),
        ({"max_wall_factor": "2"}, "must be a number above 2, not 2."),
    ],
)  # fmt: skip
def test_wrong_keys_are_named_by_path(changes, message):
    with pytest.raises(ShopError) as caught:
        shop_from_text(small(**changes), "s.toml")
    assert message in caught.value.message
    assert "\n" not in caught.value.message and caught.value.file == "s.toml"
    assert caught.value.where and caught.value.where.startswith("die[1]")


def test_between_below_the_clamp_is_fine_when_the_clamp_turns_over():
    assert shop_from_text(small(clamp="3", between="0", invert_clamp="true")).dies[0].between == 0.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("   \n", "is empty"),
        ("[shop]\nname = ", "(line 2, column 8): name has no value: write one behind the equals sign"),
        ("[shop]\nname = 'x", "(line 2, column 10)"),
        ("[shop\n", "line 1, column 6"),
        ("[shop]\nname='a'\nname='b'", "line 3"),
        ("[shop]\nname='a'\n[shop]\n", "line 3"),
        ("a = " + "[" * 5000, "nested too deeply"),
        ("a = " + "9" * 5000, "a number that cannot be read"),
        ("hello world, this is no shop", "line 1"),
        ("name = 'x'", "name is not a known key"),
        ("units = 'mm'", "shop is missing: write a table [shop] with a name; `elbowroom shop new FILE` writes a"),
        ("shop = 3", "shop must be a table, not 3."),
        ("units = 'parsec'\n[shop]\nname='a'", 'units must be one of mm, cm, m, in, ft, not "parsec".'),
        ("units = 4\n[shop]\nname='a'", "units must be one of mm, cm, m, in, ft, not 4."),
        ("[shop]\nname='a'\n[die]\nname='x'", "die must be a list of tables, written [[die]], not a table."),
        ("[shop]\nname='a'\n[[die]]\nname='x'\nod=1\nclr=3", "of no unit: put units"),
        ("[shop]\nname='a'\n[[die]]\nname='x'\nod='1'\nclr='3in'", "of no unit: put units"),
        ("[shop]\nname='a'\n[[stock]]\nsection='1.75x.12'\nlength='6m'", "of no unit: put units"),
        ("[shop]\nname='a'\n[[stock]]\nsection='1.75x.9in'\nlength='6m'", "stock[1].section must be a section: '1.75"),
        ("[shop]\nname='a'\n[[stock]]\nsection='1.75x.12in'\nlength='6m'\ncount=-1", "must be a whole number from 0"),
        ("[shop]\nname='a'\n[machine]\nplane='tilted'", 'must be one of vertical, horizontal, not "tilted".'),
        ("[shop]\nname='a'\n[[test]]\ndie='x'\nstop=93\nangle=90", 'test[1].die names the die "x"'),
        ("[shop]\nname='a'\n[[metal]]\nname='s'\n[[metal]]\nname='S'", 'metal[2].name is "S", the name of metal[1]'),
        (SMALL + SMALL.split('"shed"')[1], 'die[2].name is "A", the name of die[1] too.'),
        (SMALL + "'' = 1\n", "is not a known key"),
    ],
)  # fmt: skip
def test_wrong_files_give_one_sentence(text, message):
    with pytest.raises(ShopError) as caught:
        shop_from_text(text, "s.toml")
    assert message in caught.value.message, caught.value.message
    assert caught.value.message.startswith("s.toml") and caught.value.message.endswith((".", "?"))
    assert "\n" not in caught.value.message


def test_units_do_not_matter_where_none_is_needed():
    shop = shop_from_text(
        "[shop]\nname='a'\n[[die]]\nname='x'\npipe=1.25\nclr='5in'\n[[stock]]\nsection='NPS 1 XS'\nlength='6m'"
    )
    assert shop.dies[0].size == pytest.approx(42.164) and shop.stock[0].length == 6000.0


def test_unreadable_files(tmp_path):
    with pytest.raises(ReadError, match="does not exist"):
        load_shop(tmp_path / "none.toml")
    with pytest.raises(ReadError, match="is a directory"):
        load_shop(tmp_path)
    with pytest.raises(ReadError, match="cannot be read"):
        load_shop("a\0b")
    binary = tmp_path / "b.toml"
    binary.write_bytes(b"[shop]\nname = '\xff\xfe'\n")
    with pytest.raises(ReadError, match=r"is not UTF-8 text \(line 2\)"):
        load_shop(binary)
    large = tmp_path / "l.toml"
    large.write_bytes(b"#" * 2_000_001)
    with pytest.raises(ReadError, match="too large"):
        load_shop(large)
    if os.geteuid():
        large.chmod(0)
        with pytest.raises(ReadError, match="may not be read"):
            load_shop(large)


def test_a_die_is_found_by_name_in_any_case_or_the_nearest_is_named():
    shop = demo_shop()
    assert shop.die("r1750 WIDE").clr == pytest.approx(228.6)
    with pytest.raises(ShopError, match=r"no die named 'R1705': did you mean 'R1750'\?"):
        shop.die("R1705")
    with pytest.raises(ShopError, match="its dies are 'R1250', 'R1500'"):
        shop.die("zzzzzz")


toml_values = st.recursive(
    st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just("1in"),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=200)
@given(
    st.dictionaries(st.sampled_from(["units", "shop", "machine", "die", "metal", "stock", "test", "x"]), toml_values)
)
def test_any_table_gives_a_shop_or_one_sentence(raw):
    from converter.shop.load import _shop

    try:
        shop = _shop(raw, "s.toml", "s.toml")
    except ElbowroomError as error:
        assert error.message.startswith("s.toml: ") and "\n" not in error.message
    else:
        assert shop.name


def test_a_clamp_that_the_file_says_nothing_of_is_not_known():
    """Zero is an answer, and so is what is needed between bends; nothing is none."""
    head = 'units = "mm"\n[shop]\nname = "yard"\n[[die]]\nname = "A"\nod = 25\nclr = 100\n'
    for line, known in (("", False), ("clamp = 0\n", True), ("clamp = 60\n", True), ("between = 60\n", True)):
        (die,) = shop_from_text(head + line).dies
        assert (die.is_clamp_known, die.clamp) == (known, 60.0 if line.startswith("clamp = 6") else 0.0)
