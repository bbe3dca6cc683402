"""DXF drawings to try: sound ones of every sort, mutated by group code, by entity, by block, by line and by byte."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from functools import cache
from math import cos, radians, sin
from random import Random
from typing import Any

import ezdxf
from places import FIXTURES
from wild import NAMES, FuzzCase, damaged_lines, encoded, name, number, scrambled
from words import reading_words

Tags = list[tuple[str, str]]

#: Group codes that mean something in an entity, and some that do not.
_CODES = (
    "0", "1", "2", "3", "5", "6", "8", "10", "11", "12", "13", "20", "21", "30", "31", "38", "39", "40", "41", "42",
    "43", "44", "45", "48", "50", "51", "60", "62", "66", "67", "70", "71", "72", "73", "74", "90", "91", "100", "102",
    "210", "220", "230", "310", "330", "370", "420", "999", "1000", "1001", "1070", "1071", "-1", "-5", "400", "9999",
    "x",
)  # fmt: skip
_KINDS = (
    "LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE", "VERTEX", "SEQEND", "INSERT", "ATTRIB",
    "TEXT",
    "MTEXT", "POINT", "HATCH", "DIMENSION", "LEADER", "3DFACE", "SOLID", "MESH", "3DSOLID", "HELIX", "RAY", "XLINE",
    "VIEWPORT",
    "IMAGE", "WIPEOUT", "ACAD_TABLE", "ACAD_PROXY_ENTITY", "MLINE", "REGION", "BODY", "TRACE", "SHAPE", "LAYER",
    "BLOCK",
    "ENDBLK", "ENDSEC", "SECTION", "EOF", "TABLE", "ENDTAB", "CLASS", "DICTIONARY", "line", "", "NO_SUCH_THING",
)  # fmt: skip


def dxf_case(rng: Random) -> FuzzCase:
    """A drawing and a command that reads it."""
    data = _data(rng)
    ending = "dxf" if rng.random() < 0.95 else rng.choice(("csv", "step", "txt", "DXF", "json"))
    return FuzzCase(reading_words(rng, "{0}"), ((f"a.{ending}", data),), piped(rng))


def piped(rng: Random) -> int | None:
    return 0 if rng.random() < 0.08 else None


def _data(rng: Random) -> bytes:
    roll = rng.random()
    if roll < 0.08:
        return scrambled(rng.choice(_binary()), rng)
    if roll < 0.14:
        return scrambled(rng.choice(_fixtures()), rng)
    if roll < 0.30:  # sound as a file, odd as a drawing
        return text_of(_odd_drawing(rng), rng)
    tags = list(rng.choice(_tags()))
    if roll < 0.36:
        return scrambled(text_of(tags, rng), rng)
    if roll < 0.42:
        return encoded(damaged_lines(text_of(tags, rng).decode("utf-8", "replace"), rng), rng)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        rng.choice(MUTATORS)(tags, rng)
    return text_of(tags, rng)


# --- sound drawings ------------------------------------------------------------------------------


def _rail(model: Any) -> None:
    model.add_line((0, 0), (300, 0), dxfattribs={"layer": "TUBE"})
    model.add_arc((300, 100), 100, 270, 0, dxfattribs={"layer": "TUBE"})
    model.add_line((400, 100), (400, 400), dxfattribs={"layer": "TUBE"})
    model.add_line((0, 900), (500, 900), dxfattribs={"layer": "RAIL"})


def _space(model: Any) -> None:
    model.add_line((0, 0, 0), (0, 0, 400), dxfattribs={"layer": "TUBE"})
    model.add_arc((0, 80, -400), 80, 90, 180, dxfattribs={"layer": "TUBE", "extrusion": (1, 0, 0)})
    model.add_polyline3d([(0, 0, 900), (300, 0, 900), (300, 300, 900), (300, 300, 1300)], dxfattribs={"layer": "RAIL"})
    model.add_3dface([(0, 0), (1, 0), (1, 1)])
    model.add_point((5, 5))


def _polylines(model: Any) -> None:
    model.add_lwpolyline(
        [(0, 0, 0, 0, 0), (300, 0, 0, 0, 0.41421356), (400, 100, 0, 0, 0), (400, 400)], dxfattribs={"layer": "TUBE"}
    )
    model.add_polyline2d([(0, 600), (200, 600), (200, 900)], dxfattribs={"layer": "RAIL"})
    model.add_lwpolyline([(600, 0), (900, 0), (900, 300), (600, 300)], close=True, dxfattribs={"layer": "FRAME"})
    model.add_polymesh((3, 3))


def _curves(model: Any) -> None:
    model.add_spline([(0, 0, 0), (100, 50, 0), (200, 0, 30), (300, 50, 0)], dxfattribs={"layer": "TUBE"})
    model.add_open_spline([(0, 500), (100, 550), (200, 500), (300, 550), (400, 500)], dxfattribs={"layer": "RAIL"})
    model.add_rational_spline([(0, 900), (100, 900), (100, 1000)], [1, 0.7071, 1], degree=2)
    model.add_ellipse((0, 1500), (200, 0), 1.0, 0, 1.5, dxfattribs={"layer": "TUBE"})
    model.add_ellipse((900, 1500), (200, 0), 0.4, 0, 3.0, dxfattribs={"layer": "RAIL"})
    model.add_circle((2000, 0), 300, dxfattribs={"layer": "RING"})


def _blocks(model: Any) -> None:
    blocks = model.doc.blocks
    inner, outer = blocks.new("INNER", (10, 0)), blocks.new("OUTER")
    _rail(inner)
    inner.add_attdef("TAG", (0, 0), "value")
    outer.add_blockref("INNER", (0, 0), dxfattribs={"xscale": 2, "yscale": 2, "zscale": 2, "rotation": 30})
    outer.add_line((0, 0), (0, 100))
    model.add_blockref("OUTER", (100, 0), dxfattribs={"layer": "TUBE"}).add_attrib("TAG", "v", (0, 0))
    model.add_blockref(
        "INNER", (0, 2000), dxfattribs={"column_count": 3, "row_count": 2, "column_spacing": 900, "row_spacing": 900}
    )
    model.add_blockref("INNER", (0, -2000), dxfattribs={"xscale": -1})
    layout = model.doc.layout("Layout1")
    layout.add_line((0, 0), (100, 0))


def _words(model: Any) -> None:
    _rail(model)
    model.add_text("40x2", dxfattribs={"layer": "TUBE"})
    model.add_mtext("a\\Pb")
    model.add_linear_dim((0, 50), (0, 0), (300, 0)).render()
    hatch = model.add_hatch()
    hatch.paths.add_polyline_path([(0, 0), (10, 0), (10, 10)])
    model.add_ray((0, 0), (1, 0))
    model.add_xline((0, 0), (1, 0))
    model.add_leader([(0, 0), (10, 10), (20, 10)])
    model.add_line((0, 0), (9, 9), dxfattribs={"layer": "OFF", "linetype": "DASHED", "color": 3})
    model.doc.layers.add("OFF").off()


def _outline(model: Any) -> None:
    for side in (-20, 20):
        model.add_line((0, side), (300, side), dxfattribs={"layer": "TUBE"})
        model.add_arc((300, 100), 100 - side, 270, 0, dxfattribs={"layer": "TUBE"})
        model.add_line((400 - side, 100), (400 - side, 400), dxfattribs={"layer": "TUBE"})


_DRAWN: tuple[Callable[[Any], None], ...] = (_rail, _space, _polylines, _curves, _blocks, _words, _outline)


@cache
def _documents() -> tuple[Any, ...]:
    made = []
    for version in ("R12", "R2000", "R2010", "R2018"):
        for draw in _DRAWN:
            if version == "R12" and draw in (_polylines, _curves, _words):
                continue
            doc = ezdxf.new(version, units=0 if version == "R12" else 1 if draw is _space else 4)
            draw(doc.modelspace())
            made.append(doc)
    return tuple(made)


@cache
def _tags() -> tuple[Tags, ...]:
    """Sound drawings as tags; most without the tables and objects that take the most time to load."""
    found = []
    for doc in _documents():
        stream = io.StringIO()
        doc.write(stream)
        whole = tagged(stream.getvalue())
        found.append(whole)
        short = without(whole, ("CLASSES", "TABLES", "OBJECTS", "THUMBNAILIMAGE", "ACDSDATA"))
        found += [short] * 5
    return tuple(found)


@cache
def _binary() -> tuple[bytes, ...]:
    found = []
    for doc in _documents()[::3]:
        stream = io.BytesIO()
        doc.write(stream, fmt="bin")
        found.append(stream.getvalue())
    return tuple(found)


@cache
def _fixtures() -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted((FIXTURES / "dxf").glob("*.dxf")))


def tagged(text: str) -> Tags:
    lines = text.splitlines()
    return [(lines[i].strip(), lines[i + 1]) for i in range(0, len(lines) - 1, 2)]


def without(tags: Tags, sections: Iterable[str]) -> Tags:
    out: Tags = []
    skipping = False
    for i, tag in enumerate(tags):
        if tag == ("0", "SECTION"):
            skipping = tags[i + 1][1] in sections
        if not skipping:
            out.append(tag)
        if tag == ("0", "ENDSEC"):
            skipping = False
    header = next((i for i, tag in enumerate(out) if tag == ("2", "HEADER")), None)
    if header is not None:  # of its hundreds of variables the three that count
        end = out.index(("0", "ENDSEC"))
        kept: Tags = []
        for i in range(header + 1, end):
            if out[i][0] == "9" and out[i][1] in ("$ACADVER", "$INSUNITS", "$DWGCODEPAGE", "$MEASUREMENT"):
                kept += out[i : i + 2]
        out[header + 1 : end] = kept
    return out


def text_of(tags: Tags, rng: Random) -> bytes:
    end = "\n" if rng.random() < 0.9 else rng.choice(("\r\n", "\r", "\n\n", " \n"))
    pad = "" if rng.random() < 0.8 else rng.choice(("  ", "\t", "00"))
    return encoded("".join(f"{pad}{code}{end}{value}{end}" for code, value in tags), rng)


# --- mutators of tags ----------------------------------------------------------------------------


def _drawn_part(tags: Tags) -> tuple[int, int]:
    """Where blocks and entities stand."""
    starts = [i for i, tag in enumerate(tags) if tag in (("2", "ENTITIES"), ("2", "BLOCKS"))]
    return (min(starts), len(tags)) if starts else (0, len(tags))


def _spot(tags: Tags, rng: Random) -> int:
    a, b = _drawn_part(tags) if rng.random() < 0.85 else (0, len(tags))
    return rng.randrange(a, max(a + 1, b)) if tags else 0


def entity_at(tags: Tags, rng: Random) -> tuple[int, int]:
    """The tags of an entity at random."""
    a, b = _drawn_part(tags)
    starts = [i for i in range(a, b) if tags[i][0] == "0"]
    if len(starts) < 2:
        return 0, len(tags)
    k = rng.randrange(len(starts) - 1)
    return starts[k], starts[k + 1]


def _recode(tags: Tags, rng: Random) -> None:
    i = _spot(tags, rng)
    tags[i : i + 1] = [(rng.choice(_CODES), tags[i][1])] if tags else []


def _revalue(tags: Tags, rng: Random) -> None:
    a, b = _drawn_part(tags)
    numbered = [i for i in range(a, b) if tags[i][0] not in ("0", "8", "2", "5", "100", "102", "330")]
    if numbered:
        i = rng.choice(numbered)
        tags[i] = (tags[i][0], number(rng))


def _rename(tags: Tags, rng: Random) -> None:
    named = [i for i, tag in enumerate(tags) if tag[0] in ("8", "2", "6", "3", "1")]
    if named:
        i = rng.choice(named)
        tags[i] = (tags[i][0], name(rng))


def _rehandle(tags: Tags, rng: Random) -> None:
    held = [i for i, tag in enumerate(tags) if tag[0] in ("5", "330", "340", "350", "360", "105")]
    if held:
        i = rng.choice(held)
        other = tags[rng.choice(held)][1]
        tags[i] = (
            tags[i][0],
            rng.choice((other, "0", "-1", "FFFFFFFFFFFFFFFFFF", "zz", "", "1", number(rng), name(rng))),
        )


def _drop_tag(tags: Tags, rng: Random) -> None:
    del tags[_spot(tags, rng) : _spot(tags, rng) + 1 if rng.random() < 0.02 else None or 0]
    if tags:
        del tags[_spot(tags, rng)]


def _double_tag(tags: Tags, rng: Random) -> None:
    if tags:
        i = _spot(tags, rng)
        tags[i:i] = [tags[i]] * rng.choice((1, 1, 2, 200))


def _add_tag(tags: Tags, rng: Random) -> None:
    tags.insert(_spot(tags, rng), (rng.choice(_CODES), rng.choice((number(rng), name(rng)))))


def _swap_tags(tags: Tags, rng: Random) -> None:
    if tags:
        i, j = _spot(tags, rng), _spot(tags, rng)
        tags[i], tags[j] = tags[j], tags[i]


def _rekind(tags: Tags, rng: Random) -> None:
    a, b = _drawn_part(tags)
    starts = [i for i in range(a, b) if tags[i][0] == "0"]
    if starts:
        tags[rng.choice(starts)] = ("0", rng.choice(_KINDS))


def _double_entity(tags: Tags, rng: Random) -> None:
    a, b = entity_at(tags, rng)
    tags[a:a] = tags[a:b] * rng.choice((1, 1, 2, 10, 300))


def _drop_entity(tags: Tags, rng: Random) -> None:
    a, b = entity_at(tags, rng)
    del tags[a:b]


def _move_entity(tags: Tags, rng: Random) -> None:
    a, b = entity_at(tags, rng)
    moved = tags[a:b]
    del tags[a:b]
    at = rng.randrange(len(tags) + 1)
    tags[at:at] = moved


def _cut_short(tags: Tags, rng: Random) -> None:
    del tags[_spot(tags, rng) :]
    if rng.random() < 0.5:
        tags += [("0", "ENDSEC"), ("0", "EOF")]


def _scale_numbers(tags: Tags, rng: Random) -> None:
    """All of an entity's numbers times something."""
    a, b = entity_at(tags, rng)
    factor = rng.choice((0.0, -1.0, 1e-6, 1e-3, 25.4, 1e3, 1e6, 1e9, 1e12, 1e300))
    for i in range(a, b):
        if tags[i][0] in ("10", "20", "30", "11", "21", "31", "40", "42"):
            try:
                tags[i] = (tags[i][0], repr(float(tags[i][1]) * factor))
            except ValueError:
                continue


def _block(label: str, inside: Tags) -> Tags:
    return [
        ("0", "BLOCK"),
        ("8", "0"),
        ("2", label),
        ("70", "0"),
        ("10", "0"),
        ("20", "0"),
        *inside,
        ("0", "ENDBLK"),
        ("8", "0"),
    ]


def _insert(label: str, rng: Random | None = None) -> Tags:
    more: Tags = []
    for code in ("41", "42", "43", "44", "45", "50", "70", "71", "210", "220", "230"):
        if rng is not None and rng.random() < 0.3:
            more.append((code, number(rng)))
    return [("0", "INSERT"), ("8", "TUBE"), ("2", label), ("10", "0"), ("20", "0"), *more]


_LINE: Tags = [("0", "LINE"), ("8", "TUBE"), ("10", "0"), ("20", "0"), ("11", "100"), ("21", "0")]


def _nest(tags: Tags, rng: Random) -> None:
    """Blocks in blocks: a ladder, a ring, a doubling tree, an array without end."""
    depth = rng.choice((1, 2, 5, 30, 100, 400))
    kind = rng.randrange(4)
    blocks: Tags = []
    for k in range(depth):
        following = k + 1 if kind != 1 else (k + 1) % depth
        inside = (
            _insert(f"N{following}", rng if kind == 3 else None) * (2 if kind == 2 else 1)
            if following < depth
            else _LINE
        )
        blocks += _block(f"N{k}", inside)
    if kind == 1:
        blocks += _block("LOOSE", _LINE)
    whole = [("0", "SECTION"), ("2", "BLOCKS"), *blocks, ("0", "ENDSEC")]
    at = next((i - 1 for i, tag in enumerate(tags) if tag == ("2", "ENTITIES")), len(tags))
    tags[at:at] = whole
    where = next((i + 1 for i, tag in enumerate(tags) if tag == ("2", "ENTITIES")), len(tags))
    tags[where:where] = _insert("N0", rng)


def _flood(tags: Tags, rng: Random) -> None:
    """Very many of an entity, each a little elsewhere, or all in one place."""
    at = next((i + 1 for i, tag in enumerate(tags) if tag == ("2", "ENTITIES")), len(tags))
    count = rng.choice((50, 300, 1500))
    step = rng.choice((0.0, 1e-9, 0.01, 1.0, 100.0))
    kind = rng.randrange(3)
    flood: Tags = []
    for k in range(count):
        x, y = (k * step, 0.0) if kind else (100.0 * cos(radians(k * step)), 100.0 * sin(radians(k * step)))
        flood += [
            ("0", "LINE"),
            ("8", "FLOOD"),
            ("10", repr(x)),
            ("20", repr(y)),
            ("11", repr(x + (step or 1.0) * (kind == 1))),
            ("21", repr(y + (kind == 2) * 50.0)),
        ]
    tags[at:at] = flood


def _count(tags: Tags, rng: Random) -> None:
    """A count that is not that of what follows."""
    counts = [i for i, tag in enumerate(tags) if tag[0] in ("70", "71", "72", "73", "74", "90", "91")]
    if counts:
        i = rng.choice(counts)
        tags[i] = (
            tags[i][0],
            rng.choice(
                (
                    "0",
                    "-1",
                    "1",
                    "2",
                    "3",
                    "8",
                    "16",
                    "32",
                    "64",
                    "127",
                    "128",
                    "255",
                    "1000000",
                    "2147483647",
                    "-2147483648",
                    number(rng),
                )
            ),
        )


def _header(tags: Tags, rng: Random) -> None:
    variable = rng.choice(
        ("$ACADVER", "$INSUNITS", "$DWGCODEPAGE", "$MEASUREMENT", "$LUNITS", "$HANDSEED", "$INSBASE", "$EXTMAX")
    )
    code = {"$ACADVER": "1", "$DWGCODEPAGE": "3", "$HANDSEED": "5", "$INSBASE": "10", "$EXTMAX": "10"}.get(
        variable, "70"
    )
    value = rng.choice(
        (number(rng), name(rng), "AC1009", "AC1032", "AC1006", "AC9999", "ANSI_932", "UTF-8", "1", "4", "6", "20", "21")
    )
    at = next((i + 1 for i, tag in enumerate(tags) if tag == ("2", "HEADER")), 0)
    tags[at:at] = [("9", variable), (code, value)]


def _sections(tags: Tags, rng: Random) -> None:
    marks = [i for i, tag in enumerate(tags) if tag[0] == "0" and tag[1] in ("SECTION", "ENDSEC", "EOF")]
    if not marks:
        return
    i = rng.choice(marks)
    kind = rng.randrange(4)
    if kind == 0:
        del tags[i]
    elif kind == 1:
        tags.insert(i, tags[i])
    elif kind == 2 and i + 1 < len(tags):
        tags[i + 1] = (
            "2",
            rng.choice(("HEADER", "TABLES", "BLOCKS", "ENTITIES", "OBJECTS", "CLASSES", "THUMBNAILIMAGE", name(rng))),
        )
    else:
        tags[i:i] = [("999", name(rng))] * rng.choice((1, 3, 400))


MUTATORS: tuple[Callable[[Tags, Random], None], ...] = (
    _recode, _revalue, _revalue, _revalue, _rename, _rehandle, _drop_tag, _double_tag, _add_tag, _swap_tags, _rekind,
    _double_entity, _drop_entity, _move_entity, _cut_short, _scale_numbers, _nest, _flood, _count, _count, _header,
    _sections,
)  # fmt: skip


# --- odd drawings --------------------------------------------------------------------------------


def _odd_drawing(rng: Random) -> Tags:
    """Lines, arcs and polylines on a coarse grid: they meet, cross, lie on each other, and miss by a little."""
    size = rng.choice((1.0, 10.0, 100.0, 1000.0, 1e5, 1e7))
    shift = rng.choice((0.0, 0.0, 0.0, 1e4, 1e7, 1e9))
    hair = rng.choice((0.0, 0.0, 1e-12, 1e-9, 1e-6, 1e-4, 0.01, 0.09, 0.11, 1.0))
    flat = rng.random() < 0.6

    def at(value: float) -> str:
        return repr(value * size + shift + (rng.uniform(-hair, hair) if hair else 0.0))

    def point(codes: tuple[str, str, str]) -> Tags:
        spots = [rng.randint(-2, 2) + rng.choice((0.0, 0.0, 0.5, 1.0 / 3.0)) for _ in range(3)]
        return [
            (code, at(spot) if k < 2 or not flat else "0")
            for k, (code, spot) in enumerate(zip(codes, spots, strict=True))
        ]

    body: Tags = []
    layers = rng.choice((("TUBE",), ("TUBE", "RAIL"), NAMES[:40]))
    for _ in range(rng.randint(1, rng.choice((4, 12, 40)))):
        layer = ("8", rng.choice(layers))
        kind = rng.randrange(7)
        if kind < 3:
            body += [("0", "LINE"), layer, *point(("10", "20", "30")), *point(("11", "21", "31"))]
        elif kind == 3:
            turns = [float(rng.choice((0, 45, 90, 180, 270, 360, rng.uniform(0, 360)))) for _ in range(2)]
            body += [
                ("0", "ARC"),
                layer,
                *point(("10", "20", "30")),
                ("40", repr(size * rng.choice((0.5, 1.0, 2.0, 1e-3)))),
                ("50", repr(turns[0])),
                ("51", repr(turns[1])),
            ]
            if not flat and rng.random() < 0.5:
                body += [
                    ("210", str(rng.choice((0, 1, -1)))),
                    ("220", str(rng.choice((0, 1)))),
                    ("230", str(rng.choice((0, 1, -1)))),
                ]
        elif kind == 4:
            body += [
                ("0", "CIRCLE"),
                layer,
                *point(("10", "20", "30")),
                ("40", repr(size * rng.choice((0.5, 1.0, 1e-4)))),
            ]
        elif kind == 5:
            count = rng.randint(1, 8)
            body += [("0", "LWPOLYLINE"), layer, ("90", str(count)), ("70", str(rng.randrange(2)))]
            for _ in range(count):
                body += [
                    *point(("10", "20", "30"))[:2],
                    ("42", repr(rng.choice((0.0, 0.0, 0.41421356237, 1.0, -1.0, 5.0, 1e-9)))),
                ]
        else:
            count = rng.randint(1, 6)
            body += [("0", "POLYLINE"), layer, ("66", "1"), ("70", "8")]
            for _ in range(count):
                body += [("0", "VERTEX"), layer, *point(("10", "20", "30")), ("70", "32")]
            body += [("0", "SEQEND")]
    if rng.random() < 0.4:  # each again, the other way round or the same
        body += body
    head = [
        ("0", "SECTION"),
        ("2", "HEADER"),
        ("9", "$INSUNITS"),
        ("70", rng.choice(("0", "1", "4", "5", "6", "2"))),
        ("0", "ENDSEC"),
    ]
    return [*head, ("0", "SECTION"), ("2", "ENTITIES"), *body, ("0", "ENDSEC"), ("0", "EOF")]
