"""Text on its way into a page: names made harmless to read, lengths in both units side by side.

A page shows text from a drawing as it is, so what does not show, or turns its neighbours round (control
characters, direction marks, line separators), is written out as its code point.
"""

from __future__ import annotations

import json
import unicodedata
from typing import TYPE_CHECKING, Any

from converter.units import pieces

if TYPE_CHECKING:
    from markupsafe import Markup

#: Categories that do not show: control, format, surrogate, private use, line and paragraph separators.
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
#: Joiners that scripts and pictographs need.
_JOINERS = "\u200c\u200d"


def plain(text: str) -> str:
    """Text in which every character shows: U+202E becomes ``[U+202E]``; line breaks and tabs become blanks."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(c) for c in text)


def _shown(c: str) -> str:
    if c in "\t\n\r":
        return " "
    if unicodedata.category(c) in _UNSEEN and c not in _JOINERS:
        return f"[U+{ord(c):04X}]"
    return c


def said(text: str) -> Markup:
    """Text as HTML: escaped, and where it holds both units, each in a span of the class ``u-mm`` or ``u-in``.

    Only the words that differ stand in spans.
    """
    from markupsafe import Markup, escape

    out = []
    for metric, inch in pieces(text):
        for a, b in _differing(plain(metric), plain(inch)):
            if a == b:
                out.append(escape(a))
                continue
            out.append(Markup('<span class="u-mm">{}</span>').format(a) if a else Markup(""))
            out.append(Markup('<span class="u-in">{}</span>').format(b) if b else Markup(""))
    return Markup("").join(out)


def _differing(a: str, b: str) -> list[tuple[str, str]]:
    """Two texts cut into stretches of words: equal ones, and ones that differ."""
    if a == b:
        return [(a, a)] if a else []
    left, right = a.split(" "), b.split(" ")
    if len(left) != len(right):
        return [(a, b)]
    found: list[tuple[list[str], list[str], bool]] = []
    for p, q in zip(left, right, strict=True):
        if not found or found[-1][2] != (p == q):
            found.append(([], [], p == q))
        found[-1][0].append(p)
        found[-1][1].append(q)
    # the blank between two stretches stands before the second
    return [((" " if i else "") + " ".join(p), (" " if i else "") + " ".join(q)) for i, (p, q, _) in enumerate(found)]


def data(value: Any) -> Markup:
    """JSON for a data block of a page: nothing in it can end the block or open a tag."""
    from markupsafe import Markup

    text = json.dumps(value, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))
