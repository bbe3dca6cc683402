"""Wild values, and changes to text and bytes that know nothing of a format."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random


@dataclass(frozen=True)
class FuzzCase:
    """One command to run on files made up for it.

    Attributes:
        words: the command line; ``{0}``, ``{1}``... stand for the files and ``{out}`` for a folder that is not there.
        files: name of each file and what it holds.
        piped: which file goes to standard input, as ``-``; None for none.
    """

    words: tuple[str, ...]
    files: tuple[tuple[str, bytes], ...]
    piped: int | None = None


#: Numbers as text that readers stumble over: out of range, no number at all, other scripts, other countries' commas.
NUMBERS = (
    "0", "-0.0", "1", "-1", "2", "90", "180", "360", "-360", "0.1", "1e-9", "1e-320", "-1e-9", "1e5", "1e7", "1e9",
    "1e11", "1e12", "-1e12", "1e155", "1e200", "1e308", "-1e308", "1e309", "nan", "NaN", "inf", "-inf", "Infinity",
    "2147483647", "2147483648", "-2147483649", "4294967296", "9223372036854775808", "65536", "-32768", "255", "256",
    "9" * 40, "9" * 400, "0x10", "1,5", "1.500,25", "1d5", "1_000", "+-1", "--1", "1e", "e5", ".", "-", "", " ",
    "1 2", "٣٤", "\uff11\uff12", "½", "1/0", "1/2", "½ 3/4", "1e+", "1.2.3", "TRUE", "None", "0.30000000000000004",
    "57.29577951308232", "1e-5", "25.4", "1.0000000000000002", "0.9999999999999999",
)  # fmt: skip

#: Names as people, other programs and ill will write them.
NAMES = (
    "", " ", "0", "TUBE", "RAIL", "tube", "a" * 300, "x" * 5000, "\u202eLIAR", "left\u200bright", "a\u2066b\u2069",
    "\ud800", "a\ud83d", "\U0001f6b2 pipe", "n\u0303", "=1+1", "+cmd", "@SUM(A1)", "-1", "<b>bold</b>", "&amp;", "'",
    '"', "`", "\\", "../../etc/passwd", "/tmp/x", "C:\\x", "con", "nul.dxf", "a\x00b", "a\x07b", "a\nb", "a\rb",
    "a\tb", "\x1b[31mred", "%s%n", "{0}", "{name}", "$(ls)", "מוט", "عمود", "管", "ﬁ", "İ", "ß", "*", "?",
    "[a", "TUBE*",
    "\\U+D800", "\\U+202E", "^I", "%%c", "\\P", "nan", "inf", "None", "40x2", "1.75x0.120", "T-1", "tail", "A", "B",
)  # fmt: skip

#: Pieces of bytes that mean something to some reader.
TOKENS = (
    b"\0", b"\0\0\0\0", b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\xc0\xaf", b"\xf5", b"\x1a",
    b"\x1b[2J", b"\r", b"\n", b"\r\n", b"\x0b", b"\x85", b"\xe2\x80\xae", b"\xe2\x80\xa8", b";", b",", b"\t", b'"',
    b"'", b"#", b"(", b")", b"[", b"]", b"{", b"}", b"<", b">", b"&", b"%", b"$", b"*", b"\\", b"/*", b"*/", b"--",
    b"PK\x03\x04", b"%PDF", b"999", b"EOF", b"ENDSEC", b"0\nSECTION\n", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff",
    b"\x00\x00\x80\x7f", b"\x00\x00\xc0\x7f", b"\x00\x00\x00\x00\x00\x00\xf0\x7f", b"\xff\xff\xff\xff\xff\xff\xef\x7f",
)  # fmt: skip

_NUMBER = re.compile(rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


def number(rng: Random) -> str:
    """A number as text: one of `NUMBERS`, or a usual one."""
    roll = rng.random()
    if roll < 0.6:
        return rng.choice(NUMBERS)
    if roll < 0.8:
        return repr(round(rng.uniform(-1000.0, 1000.0), rng.randrange(8)))
    return repr(rng.uniform(-1.0, 1.0) * 10.0 ** rng.randint(-12, 14))


def name(rng: Random) -> str:
    """A name: one of `NAMES`, or letters at random."""
    if rng.random() < 0.8:
        return rng.choice(NAMES)
    return "".join(
        chr(rng.choice((rng.randrange(32, 127), rng.randrange(0x80, 0x2100)))) for _ in range(rng.randrange(20))
    )


def encoded(text: str, rng: Random | None = None) -> bytes:
    """The text as UTF-8, half surrogates too; now and then in another encoding."""
    if rng is not None and rng.random() < 0.03:
        return text.encode(rng.choice(("utf-16", "utf-16-le", "utf-8-sig", "cp1252", "latin-1", "utf-32")), "replace")
    return text.encode("utf-8", "surrogatepass")


def scrambled(data: bytes, rng: Random, most: int = 6) -> bytes:
    """The bytes with a few changes at random places."""
    out = bytearray(data)
    for _ in range(rng.randint(1, most)):
        if not out:
            break
        rng.choice(_ON_BYTES)(out, rng)
    return bytes(out)


def _span(out: bytearray, rng: Random) -> tuple[int, int]:
    at = rng.randrange(len(out) + 1)
    return at, min(len(out), at + rng.choice((1, 2, 4, 8, 16, 64, 256, 4096)))


def _flip(out: bytearray, rng: Random) -> None:
    out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)


def _set(out: bytearray, rng: Random) -> None:
    out[rng.randrange(len(out))] = rng.randrange(256)


def _drop(out: bytearray, rng: Random) -> None:
    a, b = _span(out, rng)
    del out[a:b]


def _double(out: bytearray, rng: Random) -> None:
    a, b = _span(out, rng)
    out[a:a] = out[a:b] * rng.choice((1, 1, 2, 50))


def _insert(out: bytearray, rng: Random) -> None:
    a, _ = _span(out, rng)
    out[a:a] = rng.choice(TOKENS) * rng.choice((1, 1, 1, 3, 500))


def _replace(out: bytearray, rng: Random) -> None:
    a, b = _span(out, rng)
    out[a:b] = rng.choice(TOKENS)


def _cut(out: bytearray, rng: Random) -> None:
    del out[rng.randrange(len(out)) :]


def _behead(out: bytearray, rng: Random) -> None:
    del out[: rng.randrange(min(len(out), 200))]


def _swap(out: bytearray, rng: Random) -> None:
    a, b = _span(out, rng)
    c, d = _span(out, rng)
    if b <= c:
        out[a:d] = out[c:d] + out[b:c] + out[a:b]


def _renumber(out: bytearray, rng: Random) -> None:
    found = list(_NUMBER.finditer(out[: 1 << 16]))
    if found:
        a, b = rng.choice(found).span()
        out[a:b] = encoded(number(rng))


_ON_BYTES: Sequence[Callable[[bytearray, Random], None]] = (
    _flip, _set, _drop, _double, _insert, _replace, _cut, _behead, _swap, _renumber, _renumber, _renumber,
)  # fmt: skip


def damaged_lines(text: str, rng: Random, most: int = 4) -> str:
    """The text with lines dropped, doubled, swapped, joined, or their numbers and words exchanged."""
    lines = text.split("\n")
    for _ in range(rng.randint(1, most)):
        at = rng.randrange(len(lines))
        kind = rng.randrange(8)
        if kind == 0 and len(lines) > 1:
            del lines[at]
        elif kind == 1:
            lines[at:at] = [lines[at]] * rng.choice((1, 1, 2, 300))
        elif kind == 2:
            other = rng.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == 3:
            del lines[at:]
            if not lines:
                lines = [""]
        elif kind == 4:
            words = re.split(r"(\W+)", lines[at])
            spot = rng.randrange(len(words))
            words[spot] = rng.choice((number(rng), name(rng), ""))
            lines[at] = "".join(words)
        else:
            found = list(re.finditer(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", lines[at]))
            if found:
                a, b = rng.choice(found).span()
                lines[at] = lines[at][:a] + number(rng) + lines[at][b:]
    return "\n".join(lines)
