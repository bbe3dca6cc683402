"""``elbowroom shop``: new, check, show."""

from __future__ import annotations

import io
import re
import sys
import tomllib
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from command_line import failed, files, run
from shop_texts import every_key

from converter.cli.screens.shop import shop_text
from converter.errors import ElbowroomError
from converter.shop.load import SHOP, demo_shop, load_shop, new_shop_text, shop_from_text
from converter.shop.schema import Field, ListOfTables, OneTable
from converter.units import Display

DOCUMENT = Path(__file__).parents[2] / "docs" / "shop-file.md"
#: Keys that say what another key beside them says in another unit; the new shop file names them behind that one.
OTHER_UNIT = {
    "rates.minutes_per_metre_of_weld": "minutes_per_foot_of_weld",
    "price.per_metre": "per_foot",
    "price.per_kg": "per_foot",
    "price.per_lb": "per_foot",
}
#: Other values of keys that must be there and are neither names nor numbers.
ANOTHER = {"die.pipe": "1", "stock.section": "2 x 0.095in", "stock.length": "24 ft", "test.die": "1-1/4 pipe"}


def keys(fields: Mapping[str, Field], before: str = "") -> Iterator[str]:
    """The paths of all keys of the schema that hold a value."""
    for key, field in fields.items():
        if isinstance(field.read, OneTable | ListOfTables):
            yield from keys(field.read.fields, f"{before}{key}.")
        else:
            yield before + key


def holding(tables: Any, path: list[str]) -> list[dict[str, Any]]:
    """The tables in which the last key of a path stands."""
    *above, key = path
    found = [tables]
    for name in above:
        inner = [one[name] for one in found if name in one]
        found = [one for group in inner for one in (group if isinstance(group, list) else [group])]
    return [one for one in found if key in one]


def test_a_new_shop_file_is_sound(tmp_path, capsys):
    path = tmp_path / "mine.toml"
    outcome = run(capsys, "shop", "new", path)
    assert (outcome.status, outcome.out) == (0, "")
    assert str(path) in outcome.err
    assert load_shop(path).dies
    outcome = run(capsys, "shop", "check", path)
    assert outcome.status == 0
    assert "is sound" in outcome.out
    assert f"{len(load_shop(path).dies)} dies" in outcome.out


def test_new_never_replaces_without_force(tmp_path, capsys):
    path = tmp_path / "mine.toml"
    path.write_text("mine")
    assert "--force" in failed(run(capsys, "shop", "new", path))
    assert path.read_text() == "mine"
    assert run(capsys, "shop", "new", path, "--force").status == 0
    assert path.read_text() != "mine"
    assert files(tmp_path) == {"mine.toml"}


def test_new_to_standard_output(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    outcome = run(capsys, "shop", "new", "-")
    assert outcome.status == 0
    assert "[[die]]" in outcome.out
    assert files(tmp_path) == set()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(outcome.out.encode())))
    assert run(capsys, "shop", "check", "-").status == 0


def test_quiet_says_nothing(tmp_path, capsys):
    outcome = run(capsys, "shop", "new", tmp_path / "a.toml", "--quiet")
    assert (outcome.status, outcome.out, outcome.err) == (0, "", "")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "empty"),
        ("x = ", "line 1"),
        ("units = 'furlong'\n[shop]\nname='a'", "units"),
        ("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1\nclr='nan'", "clr"),
        ("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1\nclr=-3", "clr"),
        ("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1\nclr=3\nmax_angle=400", "max_angle"),
        ("[shop]\nname='a'\ncolour='red'", "colour"),
    ],
)
def test_a_malformed_shop_file_names_the_key(text, told, tmp_path, capsys):
    path = tmp_path / "bad.toml"
    path.write_text(text)
    assert told in failed(run(capsys, "shop", "check", path))
    outcome = run(capsys, "shop", "check", path, "--json")
    assert outcome.status == 2
    assert outcome.json["schema"] == "elbowroom/error/1"
    assert outcome.json["error"]["file"] == str(path)


def test_a_missing_file_and_a_directory(tmp_path, capsys):
    assert "nowhere.toml" in failed(run(capsys, "shop", "check", tmp_path / "nowhere.toml"))
    assert "directory" in failed(run(capsys, "shop", "show", tmp_path))


def test_show_lists_every_die_and_says_that_the_demo_is_invented(capsys):
    outcome = run(capsys, "shop", "show")
    assert outcome.status == 0
    shop = demo_shop()
    for die in shop.dies:
        assert f"\n  {die.name} " in outcome.out
    assert "invented" in outcome.out
    assert "lengths in inches" in outcome.out


def test_show_in_other_units(tmp_path, capsys):
    """1-1/2 in tube on a 4-1/2 in radius is 38.10 and 114.30 mm."""
    path = tmp_path / "s.toml"
    path.write_text("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1.5\nclr=4.5\n")
    assert "114.30" in run(capsys, "shop", "show", path, "--mm").out
    assert "4-1/2" in run(capsys, "shop", "show", path, "--fraction", "16").out
    assert "4.500" in run(capsys, "shop", "show", path).out
    path.write_text("units='mm'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=38.1\nclr=114.3\n")
    assert "114.30" in run(capsys, "shop", "show", path).out


def test_show_json_is_in_mm(tmp_path, capsys):
    path = tmp_path / "s.toml"
    path.write_text("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1.5\nclr=4.5\n")
    document = run(capsys, "shop", "show", path, "--json").json
    assert document["schema"] == "elbowroom/shop/1"
    assert document["demo"] is False
    assert document["dies"][0]["clr"] == pytest.approx(114.3, abs=1e-12)
    assert run(capsys, "shop", "show", "--json").json["demo"] is True


@pytest.mark.parametrize(
    "words", [["--in", "--mm"], ["--fraction", "7"], ["--fraction", "0"], ["--mm", "--fraction", "8"]]
)
def test_display_options_out_of_range(words, capsys):
    failed(run(capsys, "shop", "show", *words))


@pytest.mark.parametrize("path", sorted(keys(SHOP)))
def test_documents_describe_a_new_shop_file_offers_and_show_shows_every_key(path):
    """Each key in words, in its own table; without it, or with something else in its place, the text is another."""
    told = partial(shop_text, display=Display("in"))
    tables = tomllib.loads(every_key())
    full = told(shop_from_text(every_key()))
    key = path.split(".")[-1]
    assert f"`{key}`" in DOCUMENT.read_text(encoding="utf-8")
    other = OTHER_UNIT.get(path, key)
    (found, *_) = holding(tables, [*path.split(".")[:-1], other])
    if other != key:
        assert re.search(rf"(?m)^# {other} = .*# or .*\b{key}\b", new_shop_text())
        found[key] = 2.0 * found.pop(other)
        assert told(shop_from_text(tomlkit.dumps(tables))) != full
        return
    assert re.search(rf"(?m)^(# )?{key} = ", new_shop_text())
    if key == "units":
        return  # it is what every number is read in, and the display's to show
    if key == "plane":
        del found["bends_to"]  # which goes with a plane only
        full = told(shop_from_text(tomlkit.dumps(tables)))
    value = found.pop(key)
    try:
        shop = shop_from_text(tomlkit.dumps(tables))
    except ElbowroomError:  # it cannot be left out
        found[key] = ANOTHER[path] if path in ANOTHER else another(value)
        if path == "die.name":
            holding(tables, ["test", "die"])[0]["die"] = found[key]
        shop = shop_from_text(tomlkit.dumps(tables))
    assert told(shop) != full, f"{path} is not shown"


def another(value: Any) -> Any:
    """A name or a number unlike the one given."""
    if isinstance(value, list):
        return [another(value[0]), *value[1:]]
    return f"{value} II" if isinstance(value, str) else 1.01 * value


def test_show_shows_saws_without_a_kerf_and_prices_of_any_tube(capsys, tmp_path):
    path = tmp_path / "s.toml"
    path.write_text("units='mm'\n[shop]\nname='a'\n[saw]\ngrip=80\n[[price]]\nper_metre=0.1234\n[[price]]\nper_lb=1\n")
    shown = run(capsys, "shop", "show", path).out
    assert "kerf 3.00 mm (not given), needs 80.00 mm to hold" in shown
    assert "0.1234 for each m of any tube" in shown
    assert "2.2046 for each kg of any tube" in shown  # a pound is 0.45359237 kg
