"""Shop, job and rack files, and words typed on the command line: tried beside a sound drawing."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from random import Random

from places import DOCS, ROOT
from wild import FuzzCase, damaged_lines, encoded, name, number, scrambled
from words import optional_words, typed_words

_DRAWING = (
    b"999\nmade up\n0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n"
    b"0\nLINE\n8\nTUBE\n10\n0\n20\n0\n30\n0\n11\n300\n21\n0\n31\n0\n"
    b"0\nARC\n8\nTUBE\n10\n300\n20\n150\n30\n0\n40\n150\n50\n270\n51\n0\n"
    b"0\nLINE\n8\nTUBE\n10\n450\n20\n150\n30\n0\n11\n450\n21\n500\n31\n0\n"
    b"0\nLINE\n8\nRUNGS\n10\n0\n20\n900\n30\n0\n11\n500\n21\n900\n31\n0\n0\nENDSEC\n0\nEOF\n"
)

_RACK = """units = "mm"

[[bar]]
section = "40x2mm"
metal = "304 stainless"   # may be left out
length = 6000
count = 4                 # 1 when left out

[[bar]]
section = "40x2mm"
length = 812.5
"""
_VALUES = (
    '"mm"', '"in"', '""', '"25mm"', '"1 3/4\\""', "[]", "{}", "[1, 2]", "[[1]]", "true", "false", "0", "-1", "1e308",
    "inf", "nan",
    "-inf", "1979-05-27", "07:32:00", "0x1F", "1_000", '"\\u202e"', '"\\ud800"', "'''\nx\n'''", '"40x2mm"',
    "[0, 0, 0]", '["RAIL*"]',
    "{a = 1}", '"' + "x" * 4000 + '"', "[" * 80 + "]" * 80, "9" * 5000, "1.0000000000000001",
)  # fmt: skip


def toml_case(rng: Random) -> FuzzCase:
    """A shop, job or rack file and a command that goes by it."""
    kind = rng.choice(("shop", "shop", "job", "rack"))
    text = rng.choice(_files()[kind])
    for _ in range(rng.choice((0, 1, 1, 2, 3))):
        text = rng.choice(_ON_TOML)(text, rng)
    data = scrambled(encoded(text), rng) if rng.random() < 0.1 else encoded(text, rng)
    return FuzzCase(_words(kind, rng), (("a.dxf", _DRAWING), (f"{kind}.toml", data)))


def _words(kind: str, rng: Random) -> tuple[str, ...]:
    section = ("--section", rng.choice(("40x2mm", "44.45x3mm", "1.75x0.120in", "30x30x2mm")))
    if kind == "shop":
        return rng.choice((
            ("shop", "check", "{1}"), ("shop", "check", "{1}", "--json"), ("shop", "show", "{1}"),
            ("audit", "{0}", "--shop", "{1}", *section), ("audit", "{0}", "--shop", "{1}", "--json", *section),
            ("setup", "{0}", "--shop", "{1}", *section),
            ("setup", "{0}", "--shop", "{1}", "--json", "--feed-from", "best", *section),
            ("quote", "{0}", "--shop", "{1}", "--json", *section),
            ("cutlist", "{0}", "--shop", "{1}", "--seconds", "0.2", *section),
            ("springback", "{1}", "--json"),
            ("springback", "{1}", "--record", rng.choice(("93:90.5", "46:45", "45:46", number(rng) + ":1"))),
            ("springback", "{1}", "--target", rng.choice(("90", number(rng)))),
            ("split", "{0}", "--shop", "{1}", *section),
            ("compare", "{0}", "--measured", "88.5:1", "--shop", "{1}", *section),
            ("compare", "{0}", "--measured", "88.5:1", "--shop", "{1}", "--learn", "--json", *section),
        ))  # fmt: skip
    if kind == "job":
        return rng.choice((
            ("table", "{0}", "--job", "{1}", "--json"), ("audit", "{0}", "--job", "{1}"),
            ("audit", "{0}", "--job", "{1}", "--json"),
            ("setup", "{0}", "--job", "{1}", "--json"), ("cope", "{0}", "--job", "{1}"),
            ("cope", "{0}", "--job", "{1}", "--json"),
        ))  # fmt: skip
    return rng.choice((
        ("cutlist", "{0}", "--rack", "{1}", "--seconds", "0.2", *section),
        ("cutlist", "{0}", "--rack", "{1}", "--seconds", "0.2", "--json", *section),
        ("cutlist", "{0}", "--rack", "{1}", "--seconds", "0.2", "--take", *section),
        ("cutlist", "--rack", "{1}", "--put-back"),
    ))  # fmt: skip


@cache
def _files() -> dict[str, tuple[str, ...]]:
    """Sound files: those of the package, and every example of their pages in docs/."""

    def examples(page: str) -> list[str]:
        return re.findall(r"```toml\n(.*?)```", (DOCS / page).read_text(encoding="utf-8"), re.DOTALL)

    shops = [(ROOT / "converter" / "shop" / f"{stem}.toml").read_text(encoding="utf-8") for stem in ("demo", "new")]
    uncommented = re.sub(r"(?m)^# (\[\[?\w+\]?\]|\w+ = )", r"\1", shops[1])
    return {
        "shop": (*shops, shops[0], uncommented, *examples("shop-file.md")),
        "job": tuple(examples("job-file.md")),
        "rack": (_RACK,),
    }


# --- mutators of TOML ----------------------------------------------------------------------------


def _value(text: str, rng: Random) -> str:
    """Another value after a key."""
    found = list(re.finditer(r"(?m)(?<==) *[^#\n]+", text))
    if not found:
        return text
    a, b = rng.choice(found).span()
    new = rng.choice(
        (rng.choice(_VALUES), number(rng), number(rng), '"' + re.sub(r'["\\\n\r\x00-\x1f]', "", name(rng)) + '"')
    )
    return f"{text[:a]} {new} {text[b:]}"


def _key(text: str, rng: Random) -> str:
    """A key or the name of a table by another's."""
    found = list(re.finditer(r"(?m)^[\w.\"*\-]+(?= *=)|(?<=\[)[\w.\"*\-]+(?=\])", text))
    if not found:
        return text
    a, b = rng.choice(found).span()
    new = rng.choice(
        (rng.choice(found)[0], rng.choice(found)[0], "a.b.c", ".".join("a" * 40), '"\\u202e"', '""', name(rng))
    )
    return text[:a] + new + text[b:]


def _line(text: str, rng: Random) -> str:
    return damaged_lines(text, rng, 2)


def _double(text: str, rng: Random) -> str:
    """A table twice, or very often."""
    parts = re.split(r"(?m)^(?=\[)", text)
    at = rng.randrange(len(parts))
    parts[at:at] = [parts[at]] * rng.choice((1, 1, 2, 100))
    return "".join(parts)


def _drop(text: str, rng: Random) -> str:
    parts = re.split(r"(?m)^(?=\[)", text)
    del parts[rng.randrange(len(parts))]
    return "".join(parts)


_ON_TOML: tuple[Callable[[str, Random], str], ...] = (_value, _value, _value, _value, _key, _line, _double, _drop)


# --- typed words ---------------------------------------------------------------------------------


def typed_case(rng: Random) -> FuzzCase:
    """A sound drawing and options typed oddly."""
    command = rng.choice(
        ("table", "table", "audit", "setup", "split", "cutlist", "compare", "convert", "quote", "cope")
    )
    words = typed_words(rng, command, "{0}")
    if command == "convert":
        words = (*words, "--out", "{out}", *(("--to", "csv") if "--to" not in words else ()))
    if command == "cutlist" and "--seconds" not in words:
        words = (*words, "--seconds", "0.2")
    return FuzzCase(words, (("a.dxf", _DRAWING),))


def compare_case(rng: Random) -> FuzzCase:
    """A sound drawing, and what was measured: typed, or as a table of its own."""
    section = ("--section", "40x2mm") if rng.random() < 0.5 else ()
    if rng.random() < 0.5:
        words = typed_words(rng, "compare", "{0}")
        if not {"--measured", "--rotations", "--straights"} & set(words) and rng.random() < 0.9:
            words += rng.choice((("--measured", "91.5:1"), ("--straights", "301:1,349:2"), ("--measured", "89:1")))
        return FuzzCase((*words, *section, "--run", "TUBE"), (("a.dxf", _DRAWING),))
    from table_cases import csv_case

    if rng.random() < 0.25:
        measured = csv_case(rng).files[0][1]
    else:
        row, tail = ["300", "0", "90", "150"], "350"
        for _ in range(rng.choice((0, 1, 1, 2))):
            at = rng.randrange(4)
            plain = (
                re.fullmatch(r"\d+(\.\d+)?", row[at]) is not None
            )  # what stands there since the round before may be odd
            off = str(float(row[at]) + rng.uniform(-9.0, 9.0)) if plain and rng.random() < 0.6 else None
            row[at] = off or number(rng).replace(",", ".")
        if rng.random() < 0.2:
            tail = number(rng)
        measured = encoded("feed_mm,rotation_deg,angle_deg,clr_mm\n" + ",".join(row) + f"\n{tail},,,\n")
    more = rng.choice(((), ("--json",), ("--tolerance", "iso2768-m"), ("--json", "--tolerance", "iso13920-c")))
    return FuzzCase(
        ("compare", "{0}", "{1}", "--run", "TUBE", *section, *more), (("a.dxf", _DRAWING), ("m.csv", measured))
    )


#: A rail with a post that ends on it, and a brace between: ends to cope, a corner to mitre.
_FRAME = (
    b"0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n"
    b"0\nLINE\n8\nTUBE\n10\n0\n20\n0\n30\n0\n11\n800\n21\n0\n31\n0\n"
    b"0\nLINE\n8\nTUBE\n10\n800\n20\n0\n30\n0\n11\n800\n21\n600\n31\n0\n"
    b"0\nLINE\n8\nRUNGS\n10\n400\n20\n0\n30\n0\n11\n400\n21\n500\n31\n0\n"
    b"0\nLINE\n8\nRUNGS\n10\n400\n20\n500\n30\n0\n11\n800\n21\n300\n31\n0\n0\nENDSEC\n0\nEOF\n"
)


def options_case(rng: Random) -> FuzzCase:
    """One or two sound drawings, or a damaged one among them, and options of the commands that write."""
    files = [("a.dxf", rng.choice((_DRAWING, _FRAME, _FRAME)))]
    if rng.random() < 0.4:
        files.append(("b.dxf", rng.choice((_DRAWING, _FRAME, scrambled(_FRAME, rng)))))
    return FuzzCase(optional_words(rng, *(f"{{{k}}}" for k in range(len(files)))), tuple(files))
