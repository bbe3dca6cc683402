"""Plain records taken from the text of a DXF: the same drawing as the DXF library gives alone, and that they are taken.

What is expected comes from ezdxf, which reads the whole file where the fast lane is closed.
"""

from __future__ import annotations

import random
from io import StringIO

import ezdxf
import pytest
from benchmark import many_runs
from places import FIXTURES
from random_drawings import random_drawing
from two_ways import both, drawing_of

from converter.importers.dxf.records import PlainRecord, read_records
from converter.importers.registry import ReadOptions

OPTIONS = (ReadOptions(keep_left_out=True), ReadOptions(keep_left_out=True, skip_colors=("red",), layout="Model"))


def small_drawing(version: str = "R2010") -> bytes:
    """Lines, arcs and circles among other kinds, in model space and in paper space."""
    doc = ezdxf.new(version)
    doc.layers.add("OFF").off()
    model = doc.modelspace()
    block = doc.blocks.new("B")
    block.add_line((0, 0), (10, 0))
    for k in range(4):
        y = 100.0 * k
        model.add_line((0, y), (100, y), dxfattribs={"layer": "RAIL", "color": 1 if k == 2 else 256})
        model.add_arc((100, y + 20), 20, 270, 360, dxfattribs={"extrusion": (0, 0, -1 if k == 3 else 1)})
        model.add_polyline3d([(0, y, 50), (10, y, 50), (10, y + 10, 60)])
        model.add_blockref("B", (500, y))
        model.add_circle((900, y), 30 * k, dxfattribs={"layer": "OFF" if k == 1 else "0"})
        model.add_text("note")
    doc.layout("Layout1").add_line((0, 0), (7, 7))
    text = StringIO()
    doc.write(text)
    return text.getvalue().encode()


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010"])
@pytest.mark.parametrize("options", OPTIONS)
def test_a_drawing_of_many_kinds_is_the_librarys_in_the_same_order(version, options):
    quick, slow = both(small_drawing(version), options)
    assert quick == slow
    assert "Line" in str(quick) and "Arc" in str(quick)


def test_fixtures_are_read_as_by_the_library_alone():
    names = sorted(FIXTURES.rglob("*.dxf"))
    assert len(names) > 10
    for name in names:
        quick, slow = both(name.read_bytes(), OPTIONS[0])
        assert quick == slow, name


def mutated(data: bytes, rng: random.Random) -> bytes:
    """A drawing with a few slips in or about its entities."""
    lines = data.decode("latin-1").replace("\r\n", "\n").split("\n")
    first = lines.index("ENTITIES") + 1
    for _ in range(rng.choice((1, 1, 2))):
        k = rng.randrange(first, max(first + 2, len(lines) - 1200), 2)
        slip = rng.randrange(10)
        if slip == 0:
            del lines[k : k + 2]
        elif slip == 1:
            lines[k:k] = lines[k : k + rng.randrange(2, 30, 2)]
        elif slip == 2:
            lines[k + 1] = rng.choice(("", "abc", "1e400", "nan", "-1", "0", " 7 ", "2F", "EOF", "LINE"))
        elif slip == 3:
            lines[k] = rng.choice(("0", "00", "5", "8", "67", "330", "100", "102", "1001", "999", "10", "x", "38"))
        elif slip == 4:
            lines[k:k] = ["999", "a comment"]
        elif slip == 5:
            lines[k:k] = rng.choice((["67", "1"], ["60", "1"], ["62", "1.0"], ["330", "1F"], ["5", "1"], ["48", "x"]))
        elif slip == 6:
            lines[k:k] = ["0", "ENDSEC", "0", "SECTION", "2", "ENTITIES"]
        elif slip == 7:
            kind = rng.choice(("INSERT", "POLYLINE", "SEQEND", "VERTEX", "POINT", "TEXT", "EOF", "ARC "))
            lines[k:k] = ["0", kind, "5", rng.choice(("FE1", "FE2", "1")), "8", "0"]
        elif slip == 8:
            lines[k : k + 4] = [*lines[k + 2 : k + 4], *lines[k : k + 2]]
        else:
            del lines[k : k + rng.randrange(2, 40, 2)]
    return rng.choice(("\n", "\r\n")).join(lines).encode("latin-1")


@pytest.mark.slow
def test_damaged_and_odd_drawings_are_read_as_by_the_library_alone(tmp_path):
    rng = random.Random(11)
    whole = [small_drawing(), small_drawing("R12"), random_drawing(tmp_path / "r.dxf", 3).read_bytes()]
    for number in range(60):
        data = mutated(rng.choice(whole), rng)
        quick, slow = both(data, OPTIONS[0])
        assert quick == slow, number


def test_the_second_of_two_sections_of_entities_counts_as_in_the_library():
    lines = small_drawing().decode().split("\n")
    at = lines.index("ENTITIES") + 1
    start = next(k for k in range(at + 1, len(lines)) if lines[k] == "ARC") - 1
    lines[start:start] = ["  0", "ENDSEC", "  0", "SECTION", "  2", "ENTITIES"]
    quick, slow = both("\n".join(lines).encode(), OPTIONS[0])
    assert quick == slow


def test_records_longer_than_a_block_are_read(monkeypatch):
    import converter.importers.dxf.records as records

    whole = both(small_drawing(), OPTIONS[0])[1]
    monkeypatch.setattr(records, "_BLOCK", 40)
    assert drawing_of(small_drawing(), OPTIONS[0]) == whole


def test_the_library_makes_no_entity_of_a_plain_record(tmp_path):
    """What makes large drawings quick, counted: it must not stop unnoticed."""
    many_runs(tmp_path / "many.dxf", runs=20)
    with open(tmp_path / "many.dxf", encoding="utf-8") as text:
        doc, model = read_records(text)
    assert sum(isinstance(one, PlainRecord) for one in model) == len(model) == 220
    assert not [one for one in doc.entitydb.values() if one.dxftype() in ("LINE", "ARC")]
    assert [one.dxf.handle for one in model] == [
        one.dxf.handle for one in ezdxf.readfile(tmp_path / "many.dxf").modelspace()
    ]
