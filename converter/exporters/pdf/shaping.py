"""Text that runs from right to left, for a PDF: in the order it is seen, its letters joined.

The order is that of the Unicode Bidirectional Algorithm (UAX #9, by `python-bidi`), the joined letters are
HarfBuzz's, as the PDF library passes them on. All sentences here are English, with names of any script in them: each
name is laid out by itself (UAX #9, HL3), so that a number or a comma behind it stays behind it.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from itertools import groupby

from converter.errors import MissingLibraryError

#: Bidirectional classes of letters that run from right to left, and of what belongs to the letter before.
_FROM_RIGHT, _MARK = ("R", "AL"), "NSM"
#: What may stand between two words of one name, and what ends it.
_WORD = re.compile(r"[^ ]+| +")
_CLOSING = ",.;:!?)"
_MIRRORED = str.maketrans("()[]{}<>«»", ")(][}{><»«")
_NUMBER = re.compile(r"[0-9]{1,4}(?=[,.;:!?)]?\Z)")


def runs_left(text: str) -> bool:
    """Whether any letter of a text runs from right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(c) in _FROM_RIGHT for c in text)


def shaped(text: str, face: str) -> list[str]:
    """A text as pieces to be drawn one after the other from the left.

    Args:
        text: in the order it is read.
        face: registered with the PDF library, that has its letters.

    Returns:
        Pieces, each of them plain or with its glyphs placed by the PDF library.
    """
    return [piece for run in phrases(text) for piece in ([run] if not runs_left(run) else _ordered(run, face))]


def phrases(text: str) -> list[str]:
    """A text cut into what runs left and what does not: neighbouring words of such letters, with a number at the end.

    The text is the pieces together.
    """
    found: list[str] = []
    inside = False
    for word in _WORD.findall(text):
        if runs_left(word):
            # the blanks between two of its words belong to the name
            found.append(f"{found.pop(-2)}{found.pop()}{word}" if inside and len(found) > 1 else word)
            inside = word[-1] not in _CLOSING
        elif inside and word.isspace():
            found.append(word)
        elif inside and _NUMBER.match(word):
            found.append(f"{found.pop(-2)}{found.pop()}{word}")
            inside = False
        else:
            inside = False
            found.append(word)
    apart = [piece for one in found for piece in _without_closing(one)]
    return ["".join(run) for run in _joined(apart)]


def _joined(pieces: list[str]) -> list[list[str]]:
    """Neighbours that both do not run left, together."""
    runs: list[list[str]] = []
    for piece in pieces:
        if runs and not runs_left(piece) and not runs_left(runs[-1][-1]):
            runs[-1].append(piece)
        else:
            runs.append([piece])
    return runs


def _without_closing(phrase: str) -> list[str]:
    """A name, and the punctuation of the sentence behind it apart."""
    name = phrase.rstrip(_CLOSING) if runs_left(phrase) else phrase
    # a bracket that the name itself opens stays its own
    if phrase[len(name) :].startswith(")") and name.count("(") > name.count(")"):
        name += ")"
    return [part for part in (name, phrase[len(name) :]) if part]


@lru_cache(maxsize=4096)
def _ordered(phrase: str, face: str) -> list[str]:
    """A name in the order it is seen, letters joined.

    Raises:
        MissingLibraryError: a library for it is not installed.
    """
    try:
        import uharfbuzz  # noqa: F401 - without it the PDF library leaves letters apart, and says nothing
        from bidi import get_display
    except ModuleNotFoundError as error:
        raise MissingLibraryError(
            "A name that runs from right to left needs libraries that are not installed: run "
            "`pip install python-bidi uharfbuzz`."
        ) from error
    from reportlab.pdfbase.ttfonts import shapeStr

    from_right = _first_strong(phrase) in _FROM_RIGHT
    seen = str(get_display(phrase, base_dir="R" if from_right else "L"))
    if from_right:
        seen = seen.translate(_MIRRORED)  # which `get_display` leaves to whoever draws
    pieces: list[str] = []
    for letters, group in groupby(seen, key=lambda c: unicodedata.bidirectional(c) in (*_FROM_RIGHT, _MARK)):
        run = "".join(group)
        # HarfBuzz takes letters as they are read, and gives them back as they are seen
        pieces.append(shapeStr(run[::-1], face, 1.0) if letters else run)
    return pieces


def _first_strong(text: str) -> str:
    return next((kind for c in text if (kind := unicodedata.bidirectional(c)) in ("L", *_FROM_RIGHT)), "L")
