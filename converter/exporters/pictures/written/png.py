"""A picture as PNG: the same parts as pixels, drawn larger and made smaller again so that lines are smooth.

Specification of the resolution in the file: PNG 1.2, chunk pHYs (pixels per metre).
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from math import atan2, ceil, cos, hypot, sin
from typing import Any

from converter.errors import MissingLibraryError, OptionError
from converter.exporters.paper.figure import Point
from converter.exporters.pdf.fonts import BOLD as BOLD_FACE
from converter.exporters.pdf.fonts import FACE, shipped_file, usual_file
from converter.exporters.pictures.picture import BOLD, CAPITAL, RING, ROLES, Fill, Label, Picture, Stroke
from converter.units import in_unit

#: Most pixels of a picture: 16 inches square at 600 to the inch.
MOST_PIXELS = 92_160_000
#: Pixels drawn at most, before they are made fewer.
_MOST_DRAWN = 60_000_000
#: Of the nine levels of zlib: 6 takes a third longer for files a fourteenth smaller.
_EFFORT = 3
#: Looked for on this machine, in this order, when a text holds letters that no shipped file has.
_OTHERS = ("DejaVuSans.ttf", "NotoSans-Regular.ttf", "FreeSans.ttf", "LiberationSans-Regular.ttf")


def png_bytes(picture: Picture, *, unit: str, dpi: float = 150.0) -> bytes:
    """A picture as the bytes of a PNG file; equal pictures give equal bytes.

    Args:
        picture: with some extent.
        unit: 'mm' or 'in' for labels that hold both.
        dpi: pixels per inch, 20 to 1200; written into the file.

    Raises:
        OptionError: ``dpi`` is out of range, or the picture would be too large.
        MissingLibraryError: the picture library is not installed.
    """
    if not 20.0 <= dpi <= 1200.0:
        raise OptionError(f"A picture has from 20 to 1200 pixels to the inch, not {dpi:g}.")
    width, height = (max(1, round((picture.high[i] - picture.low[i]) * dpi / 25.4)) for i in (0, 1))
    if width * height > MOST_PIXELS:
        raise OptionError(f"A picture of {width} x {height} pixels is too large: ask for fewer pixels to the inch.")
    fine = max(1, min(4, ceil(400.0 / dpi)))
    while fine > 1 and width * height * fine * fine > _MOST_DRAWN:
        fine -= 1
    canvas = _Canvas(picture, (width * fine, height * fine), dpi * fine / 25.4)
    for fill in picture.fills:
        canvas.fill(fill)
    for stroke in picture.strokes:
        canvas.stroke(stroke)
    for label in picture.labels:
        canvas.label(label, unit)
    return canvas.data(fine, dpi)


class _Canvas:
    """Draws parts in pixels, y down from the top left corner."""

    def __init__(self, picture: Picture, size: tuple[int, int], per_mm: float) -> None:
        try:
            from PIL import Image, ImageDraw
        except ModuleNotFoundError as error:
            if (error.name or "").partition(".")[0] != "PIL":
                raise
            raise MissingLibraryError("PNG needs a library that is not installed: run `pip install pillow`.") from error
        self._pil: Any = Image
        self._draws: Any = ImageDraw
        self._left, self._top = picture.low[0], picture.high[1]
        self._k = per_mm
        self._color = {role: look.light for role, look in ROLES.items()}
        self._image: Any = Image.new("RGB", size, self._color["ground"])
        self._draw: Any = ImageDraw.Draw(self._image)

    def data(self, fine: int, dpi: float) -> bytes:
        """The finished file, of one pixel for ``fine`` by ``fine``."""
        image = self._image if fine == 1 else self._image.reduce(fine)  # the mean of each square of pixels
        out = io.BytesIO()
        image.save(out, "PNG", dpi=(dpi, dpi), optimize=False, compress_level=_EFFORT)
        return out.getvalue()

    def fill(self, one: Fill) -> None:
        """A filled shape; holes are left out of a mask."""
        outlines = [self._pixels(outline) for outline in one.outlines]
        color = self._color[one.role]
        if len(outlines) == 1:
            self._draw.polygon(outlines[0], fill=color)
            return
        mask = self._pil.new("1", self._image.size, 0)
        pen = self._draws.Draw(mask)
        for i, outline in enumerate(outlines):
            pen.polygon(outline, fill=0 if i else 1)
        self._image.paste(color, (0, 0), mask)

    def stroke(self, one: Stroke) -> None:
        """A line with round ends and joints, in dashes where its role has some."""
        look = ROLES[one.role]
        points = self._pixels((*one.points, one.points[0]) if one.closed else one.points)
        width = max(1.0, look.width * self._k)
        for part in dashes(points, [d * self._k for d in look.dash]):
            self._line(part, width, self._color[one.role])

    def label(self, one: Label, unit: str) -> None:
        """A text, its ring or box first."""
        text = in_unit(one.text, unit)
        x, y = self._pixels([one.at])[0]
        h, half = one.height * self._k, RING * one.height * self._k
        box = (x - half, y - h / 2.0 - half, x + half, y - h / 2.0 + half)
        color = self._color[one.role]
        if one.circled:
            self._draw.ellipse(box, fill=self._color["ground"], outline=color, width=max(1, round(0.3 * self._k)))
        if one.boxed:
            self._draw.rectangle(box, fill=color)
            color = self._color["ground"]
        name, text = face_for(text, one.role in BOLD)
        face = font(name, max(1, round(h / CAPITAL)))
        align = "center" if one.circled or one.boxed else one.align
        anchor = {"left": "ls", "center": "ms", "right": "rs"}[align]
        if not one.rotation:
            self._draw.text((x, y), text, fill=color, font=face, anchor=anchor)
            return
        # drawn level around the middle of a square, turned, and laid over
        reach = ceil(face.getlength(text) + 2.0 * h) + 2
        mask = self._pil.new("L", (2 * reach, 2 * reach), 0)
        self._draws.Draw(mask).text((reach, reach), text, fill=255, font=face, anchor=anchor)
        mask = mask.rotate(one.rotation, self._pil.Resampling.BICUBIC)
        self._image.paste(color, (round(x) - reach, round(y) - reach), mask)

    def _pixels(self, points: Sequence[Point]) -> list[Point]:
        return [((x - self._left) * self._k, (self._top - y) * self._k) for x, y in points]

    def _line(self, points: Sequence[Point], width: float, color: str) -> None:
        """Each piece as a rectangle of its exact width, a disc at each point."""
        r = width / 2.0
        for (ax, ay), (bx, by) in pairwise(points):
            turn = atan2(by - ay, bx - ax)
            nx, ny = -r * sin(turn), r * cos(turn)
            self._draw.polygon([(ax + nx, ay + ny), (bx + nx, by + ny), (bx - nx, by - ny), (ax - nx, ay - ny)], color)
        if r > 1.0:
            for x, y in points:
                self._draw.ellipse((x - r, y - r, x + r, y + r), fill=color)


def dashes(points: Sequence[Point], pattern: Sequence[float]) -> list[list[Point]]:
    """A line cut into its dashes; the line itself where there is no pattern.

    Args:
        points: of the line, in order.
        pattern: lengths of dash and gap in turn, in the units of the points.
    """
    if not pattern:
        return [list(points)]
    found: list[list[Point]] = []
    now: list[Point] = [points[0]]
    turn, left = 0, pattern[0]
    for a, b in pairwise(points):
        length = hypot(b[0] - a[0], b[1] - a[1])
        done = 0.0
        while length - done > left:
            done += left
            at = (a[0] + (b[0] - a[0]) * done / length, a[1] + (b[1] - a[1]) * done / length)
            if turn % 2 == 0:
                found.append([*now, at])
            now = [at]
            turn += 1
            left = pattern[turn % len(pattern)]
        left -= length - done
        if turn % 2 == 0:
            now.append(b)
    if turn % 2 == 0 and len(now) > 1:
        found.append(now)
    return found


@lru_cache(maxsize=64)
def font(name: str, size: int) -> Any:
    """A font of a file at a size in pixels.

    Raises:
        MissingLibraryError: the picture library is not installed.
        OSError: the file is not there.
    """
    return _pillow().truetype(name, size)


# --- fonts ------------------------------------------------------------------------------------
# Two come with libraries (`converter.exporters.pdf.fonts`), the same everywhere: the usual one, and one with more
# letters; else one of this machine.


def face_for(text: str, bold: bool = False) -> tuple[str, str]:
    """The first file that has every letter of a text, and the text; else the usual file, and '?' for what it lacks.

    Raises:
        MissingLibraryError: the picture library, or the PDF library that brings the fonts, is not installed.
    """
    weight = BOLD_FACE if bold else FACE
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
