"""Which font file writes a text: one that ships with a library, the same everywhere, else one of this machine.

Two come with libraries (`converter.exporters.pdf.fonts`): the usual one, and one with more letters.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from converter.errors import MissingLibraryError
from converter.exporters.pdf.fonts import BOLD, FACE, shipped_file, usual_file

#: Looked for on this machine, in this order, when a text holds letters that no shipped file has.
_OTHERS = ("DejaVuSans.ttf", "NotoSans-Regular.ttf", "FreeSans.ttf", "LiberationSans-Regular.ttf")


@lru_cache(maxsize=64)
def font(name: str, size: int) -> Any:
    """A font of a file at a size in pixels.

    Raises:
        MissingLibraryError: the picture library is not installed.
        OSError: the file is not there.
    """
    return _pillow().truetype(name, size)


def face_for(text: str, bold: bool = False) -> tuple[str, str]:
    """The first file that has every letter of a text, and the text; else the usual file, and '?' for what it lacks.

    Raises:
        MissingLibraryError: the picture library, or the PDF library that brings the fonts, is not installed.
    """
    weight = BOLD if bold else FACE
    usual = usual_file(weight)
    text = "".join(c if c.isprintable() else " " for c in text.encode("utf-8", "replace").decode())
    missing = {c for c in set(text) if not _has(usual, c)}
    if not missing:
        return usual, text
    for name in filter(None, (shipped_file(weight), *_OTHERS)):
        if _is_installed(name) and all(_has(name, c) for c in set(text)):
            return name, text
    return usual, "".join("?" if c in missing else c for c in text)


@lru_cache(maxsize=4096)
def _has(name: str, letter: str) -> bool:
    """Whether a file draws a letter otherwise than as the box of what it lacks."""
    if letter == " ":
        return True
    face = font(name, 24)
    # no font holds the last code point, a noncharacter
    return bytes(face.getmask(letter)) != bytes(face.getmask("\U0010ffff")) or face.getbbox(letter) != face.getbbox(
        "\U0010ffff"
    )


@lru_cache(maxsize=8)
def _is_installed(name: str) -> bool:
    try:
        font(name, 24)
    except OSError:  # this machine does not have it
        return False
    return True


def _pillow() -> Any:
    try:
        from PIL import ImageFont
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] != "PIL":
            raise
        raise MissingLibraryError("PNG needs a library that is not installed: run `pip install pillow`.") from error
    return ImageFont
