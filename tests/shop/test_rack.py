"""Rack files: read, booked into with comments kept, taken back; never half, never in silence."""

from __future__ import annotations

import threading
import tomllib

import pytest

from converter.errors import ElbowroomError, ReadError, ShopError
from converter.shop.model import Stick
from converter.shop.rack import load_rack, put_back, take
from converter.shop.sections import parse_section, typed

TUBE = parse_section("25x2mm")
TEXT = """# my rack
units = "mm"

[[bar]]
section = "25x2mm"  # shelf 3
length = 6000
count = 4

[[bar]]
section = "25x2mm"
metal = "304 stainless"
length = 1200
"""


@pytest.fixture
def rack(tmp_path):
    path = tmp_path / "rack.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def test_a_rack_file_is_read(rack):
    first, second = load_rack(rack).bars
    assert (first.length, first.count, first.metal) == (6000.0, 4, None)
    assert (second.length, second.count, second.metal) == (1200.0, 1, "304 stainless")


def test_bars_go_out_and_drops_go_in_and_comments_stay(rack):
    first, second = load_rack(rack).bars
    before = take(rack, [Stick(first.section, None, 6000.0, 3), second], [Stick(TUBE, "4130", 812.37, 2)])
    text = rack.read_text(encoding="utf-8")
    assert "# my rack" in text
    assert "# shelf 3" in text
    assert tomllib.loads(text)["bar"] == [
        {"section": "25x2mm", "length": 6000, "count": 1},
        {"section": "25x2mm tube", "metal": "4130", "length": "812.3 mm", "count": 2},  # rounded down
    ]
    assert (rack.parent / before).read_text(encoding="utf-8") == TEXT
    put_back(rack)
    assert rack.read_text(encoding="utf-8") == TEXT
    put_back(rack)
    assert rack.read_text(encoding="utf-8") == text


def test_a_rack_may_be_emptied_and_filled_again(rack):
    take(rack, load_rack(rack).bars, [])
    assert load_rack(rack).bars == ()
    take(rack, [], [Stick(parse_section("50x30x2mm r4mm"), None, 700.0, 1)])
    (bar,) = load_rack(rack).bars
    assert bar.section.is_same_size(parse_section("50x30x2mm"), 1e-3)
    assert bar.length == 700.0


@pytest.mark.parametrize("text", [
    "1.75x0.120in", "NPS 2 XS", "1.5x1.5x0.083in", "50x30x2mm r4mm", "25mm bar", "flat-oval 60x30x2mm",
    "20mm square bar", "30x10mm flat bar",
])  # fmt: skip
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_section_is_written_so_that_it_reads_back(text, unit):
    section = parse_section(text)
    again = parse_section(typed(section, unit))
    assert again.is_same_size(section, 1e-4)
    assert again.corner == pytest.approx(section.corner, abs=1e-4)
    assert typed(section, unit) == section.label or f"{unit} " in typed(section, unit)


@pytest.mark.parametrize(
    ("unit", "length", "tube"),
    [  # 812.37 mm is 31.98307 in, 2.66525 ft; 44.45 x 3.048 mm is 1.75 x 0.12 in
        ("mm", "812.3 mm", "44.45x3.048mm tube"),
        ("cm", "81.23 cm", "44.45x3.048mm tube"),
        ("m", "0.8123 m", "44.45x3.048mm tube"),
        ("in", "31.983 in", "1.75x0.12in tube"),
        ("ft", "2.6652 ft", "1.75x0.12in tube"),
    ],
)
def test_a_drop_is_booked_in_the_files_own_unit(rack, unit, length, tube):
    rack.write_text(f'units = "{unit}"\n', encoding="utf-8")
    drop = Stick(parse_section("44.45x3.048mm"), None, 812.37, 1)
    take(rack, [], [drop])
    assert tomllib.loads(rack.read_text(encoding="utf-8"))["bar"] == [{"section": tube, "length": length}]
    (bar,) = load_rack(rack).bars
    assert bar.length <= drop.length < bar.length + 0.1
    take(rack, [], [bar])  # what is booked once more is no shorter
    assert {bar.length for bar in load_rack(rack).bars} == {bar.length}


def test_bars_that_are_gone_are_told_in_the_files_own_unit(rack):
    rack.write_text('units = "in"\n[[bar]]\nsection = "1.75x0.12"\nlength = 240\n', encoding="utf-8")
    (bar,) = load_rack(rack).bars
    with pytest.raises(ShopError, match=r"1 of the bars that are to be cut \(240\.000 in\)"):
        take(rack, [Stick(bar.section, None, bar.length, 2)], [])


def test_bars_that_are_gone_stop_the_booking(rack):
    first, _ = load_rack(rack).bars
    with pytest.raises(ShopError, match=r"2 of the bars that are to be cut .* no longer on the rack"):
        take(rack, [Stick(first.section, None, 6000.0, 6)], [])
    assert rack.read_text(encoding="utf-8") == TEXT
    assert not (rack.parent / "rack.toml.before").exists()


def test_several_at_once_book_one_behind_the_other(rack):
    first, _ = load_rack(rack).bars
    refused = []

    def book() -> None:
        try:
            take(rack, [Stick(first.section, None, 6000.0, 1)], [Stick(TUBE, None, 400.0, 1)])
        except ElbowroomError as error:
            refused.append(error)

    threads = [threading.Thread(target=book) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    bars = load_rack(rack).bars
    assert len(refused) == 2  # there were four
    assert [bar.length for bar in bars] == [1200.0, 400.0, 400.0, 400.0, 400.0]


def test_the_ends_of_lines_and_a_mark_of_encoding_stay(rack):
    rack.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    take(rack, [], [Stick(TUBE, None, 400.0, 1)])
    data = rack.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf# my rack\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")


def test_what_is_wrong_is_named(tmp_path, rack):
    with pytest.raises(ReadError, match="nothing to take back"):
        put_back(rack)
    with pytest.raises(ReadError, match="does not exist"):
        load_rack(tmp_path / "none.toml")
    for text, says in (
        ('[[bar]]\nsection = "25x2mm"\nlength = 6000\n', "no unit"),
        ('units = "mm"\n[[bar]]\nlength = 6000\n', r"bar\[1\]"),
        ('units = "mm"\n[[bar]]\nsection = "25x2mm"\nlength = -1\n', r"bar\[1\]\.length"),
        ('units = "mm"\n[[bar]]\nsection = "25x2mm"\nlength = 1\ncount = -1\n', r"bar\[1\]\.count"),
        ('units = "mm"\nbars = 3\n', "bars"),
        ("units = ", "line 1"),
    ):
        rack.write_text(text, encoding="utf-8")
        with pytest.raises(ShopError, match=says):
            load_rack(rack)
