"""Drawings of plain records, spoilt where the fast lane looks: what it reads must be what the DXF library gives.

The library (ezdxf) reads the same bytes alone, and every attribute of every entity and the whole drawing are compared.
"""

from __future__ import annotations

import io
import time
from functools import cache
from pathlib import Path
from random import Random

import ezdxf
from judge import FuzzVerdict
from two_ways import both, entities_of, fast_lane_closed
from wild import NAMES, NUMBERS, FuzzCase, encoded, number, scrambled

from converter.importers.registry import ReadOptions

Pairs = list[tuple[str, str]]

#: Handles as programs and accidents write them; the numbers that Python takes for one too.
_HANDLES = (
    "0", "00", "1F", "1f", "001F", " 1F", "1F ", "0x1F", "1_F", "-1F", "+1F", "FFFFFFFFFFFFFFFFF", "G", "", "1.5", "٣",
    "1F\u00a0",
)  # fmt: skip
_CODES = (
    "0", "00", "5", "05", "6", "8", " 8", "008", "10", "20", "30", "11", "21", "31", "39", "40", "48", "50", "51", "60",
    "62", "62.0", "67", "100", "102", "210", "220", "230", "310", "330", "347", "360", "370", "410", "420", "430",
    "440", "999", "1000", "1001", "1070", "-1", "-5", "", "x", "+8", "1_0", "٨",
)  # fmt: skip
_PLAIN = ("LINE", "ARC", "CIRCLE")
_OTHERS = (
    "POINT", "TEXT", "INSERT", "POLYLINE", "VERTEX", "SEQEND", "ATTRIB", "LWPOLYLINE", "line", "ARC ", " LINE", "XLINE",
    "ENDSEC", "EOF", "SECTION", "NO_SUCH_THING", "",
)  # fmt: skip
#: Groups added to a record.
_GROUPS: tuple[Pairs, ...] = (
    [("67", "1")], [("67", "0")], [("410", "Layout1")], [("410", "Model")], [("60", "1")], [("60", "0")],
    [("62", "0")], [("62", "-3")], [("62", "1.0")], [("62", "257")], [("420", "16711680")], [("420", "-1")],
    [("430", "RED$x")], [("440", "33554687")], [("370", "-3")], [("48", "0.5")], [("6", "DASHED")], [("39", "2.5")],
    [("210", "0"), ("220", "0"), ("230", "-1")], [("210", "0"), ("220", "0")], [("210", "0"), ("230", "1")],
    [("102", "{ACAD_REACTORS"), ("330", "1F"), ("102", "}")],
    [("102", "{ACAD_XDICTIONARY"), ("360", "1F"), ("102", "}")],
    [("1001", "ACAD"), ("1000", "x"), ("1070", "1")], [("999", "a comment")], [("100", "AcDbLine")],
    [("100", "AcDbEntity")], [("330", "1F")], [("330", "0")], [("5", "2F")], [("8", "")],
    [("8", "TUBE"), ("8", "RAIL")],
    [("310", "00FF")], [("347", "1F")],
)  # fmt: skip


@cache
def _drawings() -> tuple[tuple[str, ...], ...]:
    """Sound drawings, as lines: many plain records, with a few others between, in every version."""
    made = []
    for version in ("R12", "R2000", "R2004", "R2010", "R2018"):
        doc = ezdxf.new(version)
        model = doc.modelspace()
        doc.layers.add("RAIL").off()
        doc.blocks.new("B").add_line((0, 0), (10, 0))
        for k in range(6):
            y = 100.0 * k
            looks = {"layer": "RAIL"} if k % 3 else {"layer": "TUBE", "color": 1, "linetype": "DASHED"}
            model.add_line((0, y, k), (100, y, k), dxfattribs=looks)
            model.add_arc((100, y + 20), 20, 270, 360, dxfattribs={"layer": "TUBE"})
            if k % 2:
                model.add_circle((900, y), 30 + k, dxfattribs={"extrusion": (0, 0, -1)})
                model.add_point((0, y))
            if k == 3:
                model.add_blockref("B", (500, y))
                model.add_polyline3d([(0, y, 50), (10, y, 50), (10, y + 10, 60)])
        if version != "R12":
            doc.layout("Layout1").add_line((0, 0), (7, 7))
        stream = io.StringIO()
        doc.write(stream)
        made.append(tuple(stream.getvalue().split("\n")))
    return tuple(made)


def records_case(rng: Random) -> FuzzCase:
    """A drawing of plain records, spoilt about one of them, or sound; the command is named, but not run."""
    lines = list(rng.choice(_drawings()))
    first = lines.index("ENTITIES") + 1
    end = next(k for k in range(first, len(lines)) if lines[k] == "ENDSEC") - 1
    pairs: Pairs = list(zip(lines[first:end:2], lines[first + 1 : end : 2], strict=True))
    for _ in range(rng.choice((0, 1, 1, 1, 2, 3))):
        rng.choice(_ON_RECORDS)(pairs, rng)
    flat = [text for pair in pairs for text in pair]
    text = rng.choice(("\n", "\n", "\r\n", "\r")).join([*lines[:first], *flat, *lines[end:]])
    data = encoded(text, rng)
    if rng.random() < 0.1:
        at = len(encoded("\n".join(lines[:first])))
        data = data[:at] + scrambled(data[at:], rng)
    return FuzzCase(("table", "{0}", "--json"), (("a.dxf", data),))


def judged_records(case: FuzzCase, folder: Path) -> FuzzVerdict:
    """Read both ways: ``read`` where the fast lane took records, ``refused`` where it left all to the library."""
    data = case.files[0][1]
    began = time.process_time()
    try:
        quick, taken = entities_of(data)
        with fast_lane_closed():
            slow, _ = entities_of(data)
        drawings = both(data, ReadOptions(keep_left_out=True))
    except Exception as error:  # whatever it is, nothing may come through
        return FuzzVerdict("fault", f"{type(error).__name__} came through: {error}", time.process_time() - began)
    seconds = time.process_time() - began
    if quick != slow:
        return FuzzVerdict("fault", f"entities differ: {_difference(quick, slow)}", seconds)
    if drawings[0] != drawings[1]:
        return FuzzVerdict("fault", f"drawings differ: {_difference(*drawings)}", seconds)
    return FuzzVerdict("read" if taken else "refused", "", seconds)


def _difference(quick: object, slow: object) -> str:
    one, other = str(quick), str(slow)
    at = next((k for k, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), 0)
    return f"{one[max(0, at - 100) : at + 200]!r}, and the library has {other[max(0, at - 100) : at + 200]!r}"


# --- slips -------------------------------------------------------------------------------------


def _record(pairs: Pairs, rng: Random) -> tuple[int, int]:
    """Where a record, a plain one most of the time, begins and ends."""
    starts = [k for k, (code, _) in enumerate(pairs) if code.strip() == "0"] or [0]
    plain = [k for k in starts if pairs[k][1].strip() in _PLAIN] if pairs else []
    begin = rng.choice(plain if plain and rng.random() < 0.8 else starts)
    return begin, next((k for k in starts if k > begin), len(pairs))


def _value(pairs: Pairs, rng: Random) -> None:
    a, b = _record(pairs, rng)
    at = rng.randrange(a, max(a + 1, b))
    if at >= len(pairs):
        return
    code, old = pairs[at]
    if code.strip() in ("5", "330"):
        new = rng.choice((*_HANDLES, rng.choice(pairs)[1], old.lower(), "0" + old, f" {old}"))
    elif code.strip() in ("8", "6", "0", "100"):
        new = rng.choice((rng.choice(NAMES).replace("\n", " "), *_PLAIN, *_OTHERS, f" {old}", f"{old} ", old.lower()))
    else:
        new = rng.choice((number(rng), rng.choice(NUMBERS), f" {old}", f"{old} ", old + "0", f"{old}e0", f"+{old}"))
    pairs[at] = (code, new.replace("\r", " ").replace("\n", " "))


def _code(pairs: Pairs, rng: Random) -> None:
    a, b = _record(pairs, rng)
    at = rng.randrange(a, max(a + 1, b))
    if at < len(pairs):
        old = pairs[at][0]
        pairs[at] = (
            rng.choice((rng.choice(_CODES), old.strip(), f"{old} ", f"\t{old}", "0" + old.strip())),
            pairs[at][1],
        )


def _drop(pairs: Pairs, rng: Random) -> None:
    a, b = _record(pairs, rng)
    at = rng.randrange(a, max(a + 1, b))
    del pairs[at : at + rng.choice((1, 1, 2, 5))]


def _add(pairs: Pairs, rng: Random) -> None:
    a, b = _record(pairs, rng)
    at = rng.randint(min(a + 1, len(pairs)), max(a + 1, b))
    pairs[at:at] = [(code if rng.random() < 0.5 else code.rjust(3), text) for code, text in rng.choice(_GROUPS)]


def _again(pairs: Pairs, rng: Random) -> None:
    """A record twice, with its handle or another, or a piece of it."""
    a, b = _record(pairs, rng)
    copy = list(pairs[a : rng.choice((b, b, rng.randint(a, b)))])
    if rng.random() < 0.5:
        copy = [(code, "FFA1" if code.strip() == "5" else text) for code, text in copy]
    where = rng.choice((a, b))
    pairs[where:where] = copy


def _move(pairs: Pairs, rng: Random) -> None:
    a, b = _record(pairs, rng)
    taken = pairs[a:b]
    del pairs[a:b]
    at = _record(pairs, rng)[0] if pairs else 0
    pairs[at:at] = taken


def _kind(pairs: Pairs, rng: Random) -> None:
    a, _ = _record(pairs, rng)
    if a < len(pairs):
        pairs[a] = (pairs[a][0], rng.choice((*_PLAIN, *_OTHERS)))


def _between(pairs: Pairs, rng: Random) -> None:
    """Another record between two: one that others belong to, the end of the section, a section anew."""
    a, _ = _record(pairs, rng)
    pairs[a:a] = rng.choice((
        [("0", "INSERT"), ("5", "FE1"), ("8", "0"), ("66", "1"), ("2", "B"), ("10", "0"), ("20", "0")],
        [("0", "POLYLINE"), ("5", "FE2"), ("8", "0"), ("66", "1"), ("70", "8")], [("0", "SEQEND"), ("5", "FE3")],
        [("0", "VERTEX"), ("5", "FE4"), ("8", "0"), ("10", "1"), ("20", "2"), ("30", "3")],
        [("0", "ATTRIB"), ("5", "FE5")],
        [("0", "ENDSEC"), ("0", "SECTION"), ("2", "ENTITIES")], [("0", "ENDSEC")], [("0", "EOF")],
        [("0", "ENDSEC"), ("0", "SECTION"), ("2", "OBJECTS")], [("999", "ENTITIES")], [("2", "ENTITIES")],
        [("0", "LINE"), ("5", "FE6"), ("8", "0"), ("10", "1"), ("20", "2"), ("11", "3"), ("21", "4")],
        [("0", "CIRCLE"), ("8", "0"), ("10", "1"), ("20", "2"), ("40", "3")],
    ))  # fmt: skip


def _swap(pairs: Pairs, rng: Random) -> None:
    """Two groups of a record exchanged."""
    a, b = _record(pairs, rng)
    if b - a > 2 and b <= len(pairs):
        one, two = rng.randrange(a + 1, b), rng.randrange(a + 1, b)
        pairs[one], pairs[two] = pairs[two], pairs[one]


_ON_RECORDS = (_value, _value, _value, _code, _code, _drop, _add, _add, _again, _move, _kind, _between, _swap)
