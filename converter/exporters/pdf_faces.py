"""Faces for a PDF's text: the usual one, and others for letters it lacks.

The usual face ships with the PDF library and has the letters of western Europe. A face with extended
Latin, Greek, Cyrillic and more ships with the plotting library that the CAD kernel brings along; it is
read from there without loading that library. What neither has is looked for among the machine's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

FACE = "Vera"
BOLD = "VeraBd"
_SHIPPED = {FACE: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
#: Of the machine's own faces those looked for, without and with bold.
_MACHINE = ("DejaVuSans.ttf", "NotoSans-Regular.ttf", "FreeSans.ttf", "LiberationSans-Regular.ttf")


def register() -> None:
    """Make the usual faces known to the PDF library."""
    for face in (FACE, BOLD):
        _known(face, f"{face}.ttf")


def face_for(text: str, usual: str = FACE) -> tuple[str, str]:
    """The face that has most letters of a text, the usual one first, and the text with '?' for what it lacks.

    Args:
        text: any; letters that cannot be printed become spaces.
        usual: ``FACE`` or ``BOLD``.
    """
    text = plain(text)
    best, missing = usual, _lacks(usual, text)
    if missing:
        for face in _others(usual):
            left = _lacks(face, text)
            if len(left) < len(missing):
                best, missing = face, left
            if not missing:
                break
    return best, "".join("?" if c in missing else c for c in text)


def plain(text: str) -> str:
    """A text with a space for each letter that cannot be printed; what is no text at all becomes '?'."""
    return "".join(c if c.isprintable() else " " for c in text.encode("utf-8", "replace").decode())


def _lacks(face: str, text: str) -> set[str]:
    from reportlab.pdfbase import pdfmetrics

    known = pdfmetrics.getFont(face).face.charToGlyph
    return {c for c in text if ord(c) not in known}


def _others(usual: str) -> Iterator[str]:
    """Further faces that can be had, the shipped one of the same weight first."""
    folder = _shipped_folder()
    if folder is not None and _known(f"shipped-{usual}", str(folder / _SHIPPED[usual])):
        yield f"shipped-{usual}"
    for name in _MACHINE:
        face = name.partition(".")[0]
        if _known(face, name):
            yield face


@cache
def _shipped_folder() -> Path | None:
    """Where the plotting library keeps its faces, found without importing it."""
    from importlib.util import find_spec

    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        return None
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    return folder if folder.is_dir() else None


def _known(face: str, file: str) -> bool:
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
