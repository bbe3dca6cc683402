"""What a command says as text and as JSON is the same: every number of the text is one of the document's.

The text is walked, not the commands: each number with decimals, or with a fraction, is to be one of the document's
values as it is shown in that unit; one in a column whose head is a key of the document, of that key. What a text
derives from the document stands in `derived`.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from math import ceil, floor, fsum
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from command_line import run

SHOP = """units = "mm"
[shop]
name = "s"
[[die]]
name = "D41"
od = 38.1
clr = 107.3
clamp = 41.7
tail = 23.1
max_angle = 170
mark_offset = 7.3
[[metal]]
name = "steel"
yield_mpa = 350
tensile_mpa = 450
modulus_gpa = 205
density = 7850
[[stock]]
section = "38.1x2.3mm"
length = 2937
[[stock]]
section = "25.4x1.7mm"
length = 1013
[saw]
kerf = 2.7
trim = 5.3
keep = 113
[tolerance]
length = 1.7
angle = 0.37
[rates]
currency = "USD"
hour = 61.37
minutes_per_tube = 4.7
minutes_per_cut = 1.9
minutes_per_cope = 6.3
minutes_per_bend = 2.7
minutes_per_foot_of_weld = 7.9
[[price]]
section = "38.1x2.3mm"
per_metre = 6.37
[[price]]
section = "25.4x1.7mm"
per_kg = 3.19
"""
#: One of the numbers that a document holds, at the key that holds it.
Value = tuple[str, float | str]
_TOKEN = re.compile(r"(?<![\w.,])[-+]?(?:\d+-\d+/\d+|\d+/\d+|\d+\.\d+)(?![\w.]*\d)")
#: Heads of columns that are keys of a document, and those that have another name there.
HEADS = {
    "feed": "feed", "rotation": "rotation", "angle": "angle", "CLR": "clr", "mass": "mass", "weld": "weld",
    "metal": "metal_price", "work": "work_price", "price": "price", "total": "price", "each": "bar", "from": "from",
    "to": "to", "cut length": "stick_length", "leg before": "leg", "off by": "off", "stop": "stop", "mark": "mark",
    "angle drawn": "drawn",
}  # fmt: skip
#: mm; steps in which lengths are shown, and keys of lengths that are cut to: rounded up, so that none comes out short.
STEPS = {"mm": 0.01, "in": 0.0254, "fraction": 25.4 / 16.0}
TO_CUT = ("stick", "stick_length", "cut_length", "length", "stops")


@pytest.fixture(scope="module")
def drawing(tmp_path_factory):
    """A bent rail with copes on it, twice the same, one tube too long, and one too tight: no two lengths alike."""
    folder = tmp_path_factory.mktemp("job")
    doc = ezdxf.new("R2010", units=4)
    space = doc.modelspace()
    space.add_lwpolyline([(0, 0), (713.7, 0), (1130.3, 411.9), (1130.3, 1507.1)], dxfattribs={"layer": "RAIL"})
    for i, layer in enumerate(("RUNG", "RUNG", "BRACE")):
        space.add_line((131.3 + 167.7 * i, 0, 0), (131.3 + 167.7 * i, 0, 397.9), {"layer": layer})
    space.add_lwpolyline([(-2000, -700), (-613.3, -700), (-613.3, 1371.1)], dxfattribs={"layer": "LONG"})
    space.add_lwpolyline([(-3000, 0), (-2963.1, 0), (-2963.1, 53.9)], dxfattribs={"layer": "TIGHT"})
    doc.saveas(folder / "frame.dxf")
    (folder / "shop.toml").write_text(SHOP, encoding="utf-8")
    thin = ("--section", "RUNG=25.4x1.7mm", "--section", "BRACE=25.4x1.7mm", "--section", "38.1x2.3mm")
    return [folder / "frame.dxf", "--shop", folder / "shop.toml", *thin, "--metal", "steel", "--clr", "107.3mm"]


COMMANDS = {
    "table": ["table"],
    "refit": ["table", "--refit"],
    "audit": ["audit"],
    "cope": ["cope"],
    "split": ["split", "--longest", "1100mm"],
    "quote": ["quote", "--jobs", "3"],
    "cutlist": ["cutlist", "--jobs", "2"],
    "compare": ["compare", "--run", "RAIL", "--measured", "43.7:1,46.1:2"],
    "convert": ["convert", "--to", "csv,json"],
}
UNITS = {"mm": ["--mm"], "in": ["--in"], "fraction": ["--fraction", "16"]}


def values(document: Any, key: str = "") -> Iterator[Value]:
    """Every number of a document, those within its sentences too, with the key that it stands at."""
    if isinstance(document, dict):
        for name, one in document.items():
            # {"drawn": ..., "off": ...} is of the key that it stands at as well
            for found, value in values(one, name):
                yield found, value
                if key and isinstance(one, int | float):
                    yield key, value
    elif isinstance(document, list):
        for one in document:
            yield from values(one, key)
    elif isinstance(document, str):
        yield from ((key, token) for token in _TOKEN.findall(document))
    elif isinstance(document, int | float) and not isinstance(document, bool):
        yield key, float(document)


def shown(value: float | str, unit: str, key: str = "") -> set[str]:
    """All that a number may be shown as: a length, rounded up where it is to be cut; a mass, an angle, a price."""
    if isinstance(value, str):
        return {value}
    found = {f"{value:.{places}f}" for places in (0, 1, 2)} | {f"{value * 2.2046226218:.2f}"}
    step, places = STEPS[unit], 2 if unit == "mm" else 3
    steps = ceil(value / step - 1e-6) if key in TO_CUT else floor(abs(value) / step + 0.5)
    if unit == "fraction":
        found.add(_fraction(steps, value < 0.0))
    elif key in TO_CUT:
        found.add(f"{steps * 10.0**-places:.{places}f}")
    else:
        found.add(f"{value / (1.0 if unit == 'mm' else 25.4):.{places}f}")
    # sizes across, and what is less than a sixteenth, are decimals beside fractions, too
    found.add(f"{value / 25.4:.3f}")
    return found


def _fraction(sixteenths: int, below: bool) -> str:
    whole, rest = divmod(sixteenths, 16)
    text = f"{whole}-{Fraction(rest, 16)}" if whole and rest else str(Fraction(rest, 16)) if rest else str(whole)
    return f"-{text}" if below and sixteenths else text


def columns(text: str) -> Iterator[tuple[str, str]]:
    """Each number that stands under a head of `HEADS`, with the key of that head; columns of numbers end together."""
    ends: dict[int, str] = {}
    for line in text.splitlines():
        cells = [(match.end(), match[0]) for match in re.finditer(r"\S+(?: \S+)*", line)]
        heads = {end: HEADS[cell] for end, cell in cells if cell in HEADS}
        if len(heads) > 1:
            ends = {end: heads.get(end, "") for end, _ in cells}
        elif not line.strip():
            ends = {}
        else:
            for end, cell in cells:
                for token in _TOKEN.findall(cell)[-1:]:
                    if ends.get(end) and cell.rstrip("°").endswith(token):
                        yield ends[end], token


def derived(name: str, document: Any, unit: str) -> Iterator[float | str]:
    """What a text works out from what its document says."""
    yield from (0.0,)
    for group in document.get("groups", ()):
        yield 100.0 * group["pieces_length"] / max(group["bars_length"], 1.0)
    if name == "quote":  # the sum of what the rows show
        step = STEPS[unit]
        sticks = ((part["total"]["stick"], part["each"]["stick"]) for part in document["parts"])
        yield fsum(round(total / each) * ceil(each / step - 1e-6) * step for total, each in sticks)
    if name == "compare":
        bends = [bend for tube in document["tubes"] for bend in tube["bends"]]
        both = [one for bend in bends for one in bend.values() if isinstance(one, dict)]
        yield from (one["drawn"] + one["off"] for one in both if None not in one.values())


def unexplained(name: str, text: str, document: Any, table: Any, unit: str) -> list[str]:
    """Numbers of a text that its document does not know, and numbers of a column that no value of its key is."""
    of_key: dict[str, set[str]] = defaultdict(set)
    for key, value in values(document):
        of_key[key] |= shown(value, unit, key)
    of_key["feed"] |= of_key["tail"]  # the last row of a table
    known = set().union(*of_key.values(), *(shown(one, unit) for one in derived(name, document, unit)))
    known |= set().union(*(shown(one["section"][key], unit) for one in table["tubes"] for key in ("od", "wall")))
    known |= {one.lstrip("-") for one in known}  # "too little", "shorter"
    text = re.sub(r"(?m)^(?:tolerances: .*\n)", "", text)
    wrong = [token for token in _TOKEN.findall(text) if token.lstrip("+") not in known]
    return wrong + [
        f"{key}: {token}" for key, token in columns(text)
        if key in of_key and token.lstrip("+") not in of_key[key] | {"0.00", "0.000"} and key != "price"
    ]  # fmt: skip


@pytest.fixture
def told(drawing, capsys, tmp_path):
    """The text and the document of a command."""

    def tell(name: str, unit: str) -> tuple[str, Any, Any]:
        command, *options = COMMANDS[name]
        out = ("--out", tmp_path / "out", "--force") if command == "convert" else ()
        words = (command, *drawing, *options, *out, *UNITS[unit])
        text, found = run(capsys, *words), run(capsys, *words, "--json")
        assert text.status == found.status
        return text.out, found.json, run(capsys, "table", *drawing, "--json").json

    return tell


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("name", COMMANDS)
def test_every_number_of_the_text_is_one_of_the_documents(told, name, unit):
    text, document, table = told(name, unit)
    assert unexplained(name, text, document, table, unit) == []


@pytest.mark.parametrize(("name", "least"), [("table", 0.9), ("split", 0.9), ("quote", 0.9), ("cutlist", 0.9)])
def test_another_number_in_a_text_is_found(told, name, least):
    """Each number of the text in turn, a step of its last digit off: the walk finds nearly all of them."""
    text, document, table = told(name, "mm")
    places = [
        match.end() - 1 for match in _TOKEN.finditer(text) if "tolerances" not in text[: match.end()].rsplit("\n")[-1]
    ]
    found = [
        unexplained(name, f"{text[:at]}{(int(text[at]) + 1) % 10}{text[at + 1 :]}", document, table, "mm") != []
        for at in places
    ]
    assert sum(found) >= least * len(found) > 10, (sum(found), len(found))


def test_the_files_and_findings_of_convert_are_the_same(told):
    text, document, _ = told("convert", "mm")
    assert [line for line in text.splitlines() if line.startswith("/")] == document["written"]


def test_columns_that_are_mixed_up_are_found(told):
    """The numbers of a column are those of its key, though each of another column is a number of the document too."""
    text, document, table = told("table", "mm")
    mixed = text.replace("    feed", "     CLR", 1)
    assert mixed != text
    assert any(one.startswith("clr: ") for one in unexplained("table", mixed, document, table, "mm"))


def test_what_a_text_tells_of_how_a_drawing_was_read_is_in_its_document(drawing, capsys):
    """Unit, tolerances, dies and what was left out: in the document of every command whose page tells them."""
    documents = {name: run(capsys, name, *drawing, "--json").json for name in ("table", "setup", "cope", "split")}
    documents["audit"] = run(capsys, "audit", *drawing, "--json").json["inputs"][0]
    for name, document in documents.items():
        assert (document["drawing_units"], document["read_as"], document["ignored"]) == ("mm", "mm", []), name
        assert document["tolerances"]["fit"] == 0.05, name
    text = run(capsys, "table", *drawing).out
    dies = {tube["name"]: tube["dies"] for tube in documents["table"]["tubes"]}
    assert dies["RAIL"] == ["D41"] and dies["BRACE"] == [] and "die D41" in text
    setups = {tube["name"]: tube for tube in documents["setup"]["tubes"]}
    assert (setups["RAIL"]["section"]["od"], setups["RAIL"]["metal"]) == (38.1, "steel")
    assert setups["TIGHT"]["refused"] and not setups["RAIL"]["refused"] and setups["RAIL"]["lacking"] is None


def test_the_length_of_the_metal_of_a_solid_is_in_the_document(capsys):
    """Of finished solids, whose cut ends reach past their centerlines or stop short of them."""
    path = Path(__file__).resolve().parents[2] / "fixtures" / "step" / "solid-freecad-grille.step"
    text = " ".join(run(capsys, "table", path, "--mm").out.split())
    told = re.findall(r"from long point to long point (\S+) mm", text)
    tubes = run(capsys, "table", path, "--json").json["tubes"]
    lengths = {f"{tube['metal_length']:.2f}" for tube in tubes if tube["metal_length"] is not None}
    assert told and set(told) <= lengths
