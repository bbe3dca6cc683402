"""Faces for a PDF's text: the usual one, and others for letters it lacks.

The usual face ships with the PDF library and has the letters of western Europe. A face with extended
Latin, Greek, Cyrillic and more ships with the plotting library that the CAD kernel brings along; it is
read from there without loading that library. What neither has, the letters of East Asia first of all, is looked for
among the machine's own.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterator
from functools import cache, lru_cache
from itertools import groupby
from pathlib import Path

from converter.errors import MissingLibraryError

FACE = "Vera"
BOLD = "VeraBd"
_SHIPPED = {FACE: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
#: Of the machine's own faces those looked for first, without and with bold.
_MACHINE = ("DejaVuSans.ttf", "NotoSans-Regular.ttf", "FreeSans.ttf", "LiberationSans-Regular.ttf")
#: Of all others those that are upright, of usual width and weight, by their file's name; so many are opened at most.
_SLANTED = re.compile(r"(?i)italic|oblique|bold|black|light|thin|mono|narrow|condensed|serif|emoji|symbol|math")
_MOST_OPENED = 400
#: Bidirectional classes of letters that run from right to left, and of what belongs to the letter before.
_FROM_RIGHT, _MARK = ("R", "AL"), "NSM"
#: What may stand between two words of one name, and what ends it.
_WORD = re.compile(r"[^ ]+| +")
_CLOSING = ",.;:!?)"
_MIRRORED = str.maketrans("()[]{}<>«»", ")(][}{><»«")
_NUMBER = re.compile(r"[0-9]{1,4}(?=[,.;:!?)]?\Z)")


def register() -> None:
    """Make the usual faces known to the PDF library."""
    for face in (FACE, BOLD):
        _register_face(face, usual_file(face))


def face_for(text: str, usual: str = FACE) -> tuple[str, str]:
    """The face that has most letters of a text, the usual one first, and the text with '?' for what it lacks.

    Args:
        text: any; letters that cannot be printed become spaces.
        usual: ``FACE`` or ``BOLD``.
    """
    text = printable_text(text)
    best, missing = usual, _lacks(usual, text)
    if missing:
        for face in _others(usual, text):
            left = _lacks(face, text)
            if len(left) < len(missing):
                best, missing = face, left
            if not missing:
                break
    return best, "".join("?" if c in missing else c for c in text)


def printable_text(text: str) -> str:
    """A text with a space for each letter that cannot be printed; what is no text at all becomes '?'."""
    return "".join(c if c.isprintable() else " " for c in text.encode("utf-8", "replace").decode())


def _lacks(face: str, text: str) -> set[str]:
    from reportlab.pdfbase import pdfmetrics

    known = pdfmetrics.getFont(face).face.charToGlyph
    return {c for c in text if ord(c) not in known}


def _others(usual: str, text: str) -> Iterator[str]:
    """Further faces that can be had, the shipped one of the same weight first, then any with letters of a text."""
    shipped = shipped_file(usual)
    if shipped and _register_face(f"shipped-{usual}", shipped):
        yield f"shipped-{usual}"
    for name in _MACHINE:
        face = name.partition(".")[0]
        if _register_face(face, name):
            yield face
    wanted = frozenset(c for c in text if ord(c) > 0x24F)  # Latin letters are in all of those above
    for file in _machine_files() if wanted else ():
        if not wanted.isdisjoint(_letters_of(file)) and _register_face(f"machine-{file.name}", str(file)):
            yield f"machine-{file.name}"


@cache
def _machine_files() -> tuple[Path, ...]:
    """Font files of this machine, in the same order every time."""
    from reportlab import rl_config

    found: dict[str, Path] = {}
    for folder in rl_config.TTFSearchPath:
        top = os.path.expandvars(os.path.expanduser(folder))
        for at, _, names in os.walk(top) if Path(top).is_absolute() else ():
            for name in names:
                if name.lower().endswith((".ttf", ".ttc")) and not _SLANTED.search(name):
                    found.setdefault(name, Path(at) / name)
    return tuple(found[name] for name in sorted(found)[:_MOST_OPENED])


@cache
def _letters_of(file: Path) -> frozenset[str]:
    """The letters of a font file, of the first face in it; none where it cannot be read."""
    import struct

    from fontTools.ttLib import TTFont, TTLibError

    try:
        with TTFont(file, fontNumber=0, lazy=True) as font:
            return frozenset(map(chr, font.getBestCmap() or ()))
    except (
        TTLibError,
        OSError,
        struct.error,
        ValueError,
        LookupError,
        AssertionError,
    ):  # a broken font; there are others
        return frozenset()


@cache
def usual_file(usual: str) -> str:
    """The file of ``FACE`` or ``BOLD`` in the PDF library: by its bare name others would be taken before it.

    Raises:
        MissingLibraryError: the PDF library is not installed.
    """
    from importlib.util import find_spec

    spec = find_spec("reportlab")
    if spec is None or spec.origin is None:
        raise MissingLibraryError("Text needs fonts that are not installed: run `pip install reportlab`.")
    return str(Path(spec.origin).parent / "fonts" / f"{usual}.ttf")


@cache
def shipped_file(usual: str) -> str:
    """The file with more letters that goes with ``FACE`` or ``BOLD``; '' when it is not there.

    The plotting library keeps it; it is found without importing that.
    """
    from importlib.util import find_spec

    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        return ""
    file = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / _SHIPPED[usual]
    return str(file) if file.is_file() else ""


def _register_face(face: str, file: str) -> bool:
    """Register a face unless it is; False when this machine does not have the file."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    if face in pdfmetrics.getRegisteredFontNames():
        return True
    try:
        pdfmetrics.registerFont(TTFont(face, file))
    except TTFError:
        return False
    return True


# --- text that runs from right to left: in the order it is seen, its letters joined -----------
# The order is that of the Unicode Bidirectional Algorithm (UAX #9, by `python-bidi`), the joined letters are
# HarfBuzz's, as the PDF library passes them on. All sentences here are English, with names of any script in them:
# each name is laid out by itself (UAX #9, HL3), so that a number or a comma behind it stays behind it.


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
