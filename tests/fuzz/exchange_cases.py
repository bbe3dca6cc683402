"""STEP, IGES and BREP files to try: sound ones, mutated by entity, by reference, by number, by line and by byte."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from random import Random

from iges_tools import Entity, arc, build, line
from places import FIXTURES
from step_tools import METRE, based, hook
from step_tools import build as step_of
from wild import FuzzCase, damaged_lines, encoded, name, number, scrambled
from words import reading_words

#: Bytes of a fixture that is small enough to be tried many times.
_SMALL = 60_000


def step_case(rng: Random) -> FuzzCase:
    """A STEP file and a command that reads it."""
    roll = rng.random()
    text = rng.choice(_steps()) if roll < 0.7 else rng.choice(_step_fixtures())
    return _case(rng, "a.step", spoilt(text, rng, STEP_MUTATORS))


def iges_case(rng: Random) -> FuzzCase:
    """An IGES file and a command that reads it."""
    if rng.random() < 0.6:
        text = build(
            _entities(rng),
            rng.choice(("2,2HMM", "1,2HIN", "6,1HM", "2HMM", "", number(rng))),
            rng.choice(("1.", "1.", "2.", number(rng))),
        )
    else:
        text = rng.choice(_iges_fixtures())
    if rng.random() < 0.3:
        return _case(rng, "a.igs", encoded(text, rng))
    return _case(rng, "a.igs", spoilt(text, rng, (_iges_field, _iges_field, _iges_record)))


def brep_case(rng: Random) -> FuzzCase:
    """A BREP file and a command that reads it."""
    text = rng.choice(_brep_fixtures())
    return _case(rng, "a.brep", spoilt(text, rng, (_brep_word, _brep_word, _brep_line)))


def _case(rng: Random, file: str, data: bytes) -> FuzzCase:
    return FuzzCase(reading_words(rng, "{0}"), ((file, data),), 0 if rng.random() < 0.05 else None)


def spoilt(text: str, rng: Random, mutators: tuple[Callable[[str, Random], str], ...]) -> bytes:
    roll = rng.random()
    if roll < 0.15:
        return scrambled(encoded(text), rng)
    if roll < 0.25:
        return encoded(damaged_lines(text, rng), rng)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        text = rng.choice(mutators)(text, rng)
    return encoded(text, rng)


# --- STEP ----------------------------------------------------------------------------------------


@cache
def _steps() -> tuple[str, ...]:
    return (
        step_of(hook()),
        step_of(hook(degrees=True), degrees=True),
        step_of(hook(scale=0.001), unit=METRE),
        step_of(
            hook(scale=1 / 25.4), unit=based("INCH", 25.4, ["( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) )"])
        ),
        step_of(hook(), name=None),
        step_of(hook(), unit=None),
        *((FIXTURES / "step" / f"{stem}.step").read_text("latin-1") for stem in _WIRES),
    )


_WIRES = (
    "freecad-sketch",
    "freecad-loose",
    "freecad-wire-ap203-inch",
    "freecad-wire-ap242-mm",
    "solvespace-wires",
    "freecad-nurbs",
)


@cache
def _step_fixtures() -> tuple[str, ...]:
    paths = sorted((FIXTURES / "step").glob("*.step"))
    return tuple(path.read_text("latin-1") for path in paths if path.stat().st_size < _SMALL)


_INSTANCE = re.compile(r"#(\d+)\s*=\s*([^;]*);")
_KEYWORDS = (
    "CARTESIAN_POINT", "DIRECTION", "VECTOR", "LINE", "CIRCLE", "ELLIPSE", "TRIMMED_CURVE", "POLYLINE",
    "B_SPLINE_CURVE_WITH_KNOTS",
    "COMPOSITE_CURVE", "EDGE_CURVE", "VERTEX_POINT", "ADVANCED_FACE", "CLOSED_SHELL", "MANIFOLD_SOLID_BREP", "PLANE",
    "CYLINDRICAL_SURFACE", "TOROIDAL_SURFACE", "AXIS2_PLACEMENT_3D", "PRODUCT", "SHAPE_REPRESENTATION",
    "NEXT_ASSEMBLY_USAGE_OCCURRENCE",
    "ITEM_DEFINED_TRANSFORMATION", "MAPPED_ITEM", "REPRESENTATION_MAP", "GEOMETRIC_CURVE_SET", "SURFACE_CURVE",
    "PCURVE", "NOTHING",
)  # fmt: skip


def _instance(text: str, rng: Random) -> re.Match[str] | None:
    found = list(_INSTANCE.finditer(text))
    return rng.choice(found) if found else None


def _put(text: str, span: tuple[int, int], new: str) -> str:
    return text[: span[0]] + new + text[span[1] :]


def _step_number(text: str, rng: Random) -> str:
    found = list(re.finditer(r"(?<=[(,])\s*-?\d+\.\d*(?:E[-+]?\d+)?", text))
    return _put(text, rng.choice(found).span(), number(rng)) if found else text


def _step_reference(text: str, rng: Random) -> str:
    found = list(re.finditer(r"(?<=[(,])\s*#\d+", text))
    names = re.findall(r"#(\d+)\s*=", text)
    if not found or not names:
        return text
    new = rng.choice(
        (
            f"#{rng.choice(names)}",
            f"#{rng.choice(names)}",
            "#0",
            "#999999999",
            "#99999999999999999999",
            "#-1",
            "$",
            "*",
            number(rng),
        )
    )
    return _put(text, rng.choice(found).span(), new)


def _step_self(text: str, rng: Random) -> str:
    """An entity that refers to itself."""
    one = _instance(text, rng)
    if one is None:
        return text
    return _put(text, one.span(2), re.sub(r"#\d+", f"#{one[1]}", one[2], count=rng.randint(1, 3)))


def _step_keyword(text: str, rng: Random) -> str:
    one = _instance(text, rng)
    return text if one is None else _put(text, one.span(2), re.sub(r"^\w+", rng.choice(_KEYWORDS), one[2]))


def _step_drop(text: str, rng: Random) -> str:
    one = _instance(text, rng)
    return text if one is None else _put(text, one.span(), "")


def _step_double(text: str, rng: Random) -> str:
    one = _instance(text, rng)
    if one is None:
        return text
    again = one[0] if rng.random() < 0.5 else f"#{rng.randrange(10**6)}={one[2]};"
    return _put(text, one.span(), one[0] + "\n" + again * rng.choice((1, 1, 200)))


def _step_arguments(text: str, rng: Random) -> str:
    """Arguments exchanged, left out, added, or of another sort."""
    one = _instance(text, rng)
    if one is None:
        return text
    words = re.split(r"([(),])", one[2])
    at = rng.randrange(len(words))
    kind = rng.randrange(4)
    if kind == 0:
        del words[at]
    elif kind == 1:
        other = rng.randrange(len(words))
        words[at], words[other] = words[other], words[at]
    elif kind == 2:
        words.insert(
            at,
            rng.choice(
                (
                    ",$",
                    ",*",
                    ",.T.",
                    ",.WRONG.",
                    "(",
                    ")",
                    "((",
                    f",'{name(rng)}'",
                    ",#1",
                    f",{number(rng)}",
                    '"1F"',
                    ",(())",
                )
            ),
        )
    else:
        words[at] = rng.choice(("$", "*", ".F.", "''", "()", number(rng)))
    return _put(text, one.span(2), "".join(words))


def _step_text(text: str, rng: Random) -> str:
    found = list(re.finditer(r"'[^']*'", text))
    new = rng.choice(
        (
            name(rng).replace("'", "''"),
            "\\X2\\D800\\X0\\",
            "\\X2\\202E\\X0\\",
            "\\X4\\FFFFFFFF\\X0\\",
            "\\S\\",
            "\\X\\",
            "\\X2\\00",
            "'",
        )
    )
    return _put(text, rng.choice(found).span(), f"'{new}'") if found else text


def _step_nest(text: str, rng: Random) -> str:
    one = _instance(text, rng)
    depth = rng.choice((10, 70, 3000))
    return (
        text
        if one is None
        else _put(text, one.span(2), one[2].replace("(", "(" * depth, 1).replace(")", ")" * depth, 1))
    )


def _step_ring(text: str, rng: Random) -> str:
    """An assembly that contains itself: two entities of one sort point at each other."""
    found = [one for one in _INSTANCE.finditer(text) if "#" in one[2]]
    if len(found) < 2:
        return text
    first, second = rng.sample(found, 2)
    for one, other in sorted(((first, second), (second, first)), key=lambda pair: -pair[0].start()):
        text = _put(text, one.span(2), re.sub(r"#\d+", f"#{other[1]}", one[2], count=1))
    return text


def _step_header(text: str, rng: Random) -> str:
    words = ("ISO-10303-21;", "HEADER;", "ENDSEC;", "DATA;", "END-ISO-10303-21;", "FILE_SCHEMA", "FILE_DESCRIPTION")
    word = rng.choice(words)
    return text.replace(
        word,
        rng.choice(("", word * 2, word.lower(), rng.choice(words), f"/* {name(rng)} */{word}", word.replace(";", ""))),
        1,
    )


STEP_MUTATORS = (
    _step_number, _step_number, _step_number, _step_reference, _step_reference, _step_self, _step_keyword, _step_drop,
    _step_double, _step_arguments, _step_arguments, _step_text, _step_nest, _step_ring, _step_header,
)  # fmt: skip


# --- IGES ----------------------------------------------------------------------------------------


@cache
def _iges_fixtures() -> tuple[str, ...]:
    return tuple(
        path.read_text("latin-1") for path in sorted((FIXTURES / "iges").glob("*.igs")) if path.stat().st_size < _SMALL
    )


_IGES_KINDS = (
    100,
    102,
    104,
    106,
    108,
    110,
    112,
    114,
    116,
    120,
    122,
    124,
    126,
    128,
    142,
    144,
    186,
    308,
    314,
    402,
    406,
    408,
    502,
    504,
    510,
    0,
    -1,
    9999,
)


def _entities(rng: Random) -> list[Entity]:
    """Lines and arcs that make a hook, and entities of any kind with values at random."""
    made = [line((0, 0, 0), (100, 0, 0)), arc((100, 50, 0), (100, 0), (150, 50)), line((150, 50, 0), (150, 200, 0))]
    for _ in range(rng.choice((0, 1, 1, 2, 5))):
        values = ",".join(
            rng.choice((number(rng), str(rng.randint(-3, 40)), "", f"{rng.randint(0, 9)}H{name(rng)[:9]}"))
            for _ in range(rng.choice((1, 3, 6, 9, 40)))
        )
        made.insert(
            rng.randrange(len(made) + 1),
            Entity(
                rng.choice(_IGES_KINDS),
                values,
                rng.choice((0, 1, -1)),
                rng.random() < 0.1,
                name(rng)[:8],
                rng.randrange(5),
                rng.choice((0, 3, -1, -999)),
            ),
        )
    one = rng.randrange(len(made))
    values = made[one].values.split(",")
    values[rng.randrange(len(values))] = number(rng)
    if rng.random() < 0.5:
        made[one] = made[one]._replace(values=",".join(values))
    return [
        entity._replace(
            values=re.sub(r"[^\x20-\x7e]", "?", entity.values), name=re.sub(r"[^\x20-\x7e]", "?", entity.name)
        )
        for entity in made
    ]


def _iges_field(text: str, rng: Random) -> str:
    """A field of a directory entry or a value of a parameter, in its place."""
    lines = text.split("\n")
    rows = [i for i, row in enumerate(lines) if len(row) > 72 and row[72] in "GDP"]
    if not rows:
        return text
    i = rng.choice(rows)
    row = lines[i]
    if row[72] == "D":
        at = 8 * rng.randrange(9)
        new = rng.choice((number(rng), str(rng.randint(-9, 999)), ""))[:8].rjust(8)
        lines[i] = row[:at] + new + row[at + 8 :]
    else:
        width = 64 if row[72] == "P" else 72
        words = row[:width].split(",")
        words[rng.randrange(len(words))] = rng.choice(
            (number(rng), str(rng.randint(-9, 9999)), "", "9999999", f"{rng.randint(0, 99999)}Hx")
        )
        lines[i] = ",".join(words)[:width].ljust(width) + row[width:]
    return "\n".join(lines)


def _iges_record(text: str, rng: Random) -> str:
    lines = text.split("\n")
    i = rng.randrange(len(lines))
    kind = rng.randrange(3)
    if kind == 0:
        del lines[i]
    elif kind == 1:
        lines.insert(i, lines[i])
    elif len(lines[i]) > 72:
        lines[i] = lines[i][:72] + rng.choice("SGDPTCFX ") + lines[i][73:]
    return "\n".join(lines)


# --- BREP ----------------------------------------------------------------------------------------


@cache
def _brep_fixtures() -> tuple[str, ...]:
    return tuple(path.read_text("latin-1") for path in sorted((FIXTURES / "brep").glob("*.brep")))


def _brep_word(text: str, rng: Random) -> str:
    found = list(re.finditer(r"\S+", text[40:]))
    if not found:
        return text
    a, b = (40 + at for at in rng.choice(found).span())
    return (
        text[:a]
        + rng.choice((number(rng), str(rng.randint(-3, 99)), "", rng.choice(found)[0], "+1", "-2", "*", "Wi", "So"))
        + text[b:]
    )


def _brep_line(text: str, rng: Random) -> str:
    return damaged_lines(text, rng, 1)
