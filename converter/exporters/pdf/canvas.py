"""PDF in millimetres: true size, text in any script a font on this machine has, nothing left to chance.

Specification: ISO 32000 (a unit of user space is 1/72 in).
"""

from __future__ import annotations

import io
import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import log10
from typing import Any

from converter.errors import MissingLibraryError
from converter.exporters.paper.figure import Figure, Point
from converter.exporters.pdf.fonts import BOLD, FACE, face_for, printable_text, register, runs_left, shaped
from converter.units import NO_BREAK, unbroken

#: Points per mm.
K = 72.0 / 25.4
Color = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Pen:
    """How a layer looks: width in mm, colour (RGB, 0..1), dashes in mm."""

    width: float = 0.2
    color: tuple[float, float, float] = (0.0, 0.0, 0.0)
    dash: tuple[float, ...] = ()


class Pdf:
    """A PDF document that is drawn on in millimetres from the lower left corner of each page.

    Args:
        title: of the document.
        pens: how layers look; a layer without one is thin and black.

    Attributes:
        lacking: letters that were measured, broken into lines or written and that no font has.

    Raises:
        MissingLibraryError: the PDF library is not installed.
    """

    def __init__(self, title: str, pens: dict[str, Pen]) -> None:
        try:
            from reportlab.pdfgen.canvas import Canvas
        except ModuleNotFoundError as error:
            if (error.name or "").partition(".")[0] != "reportlab":
                raise
            raise MissingLibraryError(
                "PDF needs a library that is not installed: run `pip install reportlab`."
            ) from error

        register()
        self._numbers: dict[float, str] = {}  # as they are written
        self._faces: dict[tuple[str, bool], tuple[str, str]] = {}  # of a text: measured, broken and written
        self._widths: dict[tuple[str, str], float] = {}  # of a text in a face, of size 1
        self._lines: dict[tuple[str, float, float, bool], list[str]] = {}  # of a text: height, width, bold
        self._out = io.BytesIO()
        self.lacking: set[str] = set()
        self._pens = pens
        self._canvas: Any = Canvas(self._out, invariant=1)
        self._canvas.setTitle(title)
        self._canvas.setCreator("elbowroom")
        self._canvas.setViewerPreference("PrintScaling", "None")

    def page(self, size: Point) -> None:
        """Begin a page of a size in mm."""
        self._canvas.setPageSize((size[0] * K, size[1] * K))
        self._canvas.setLineCap(1)
        self._canvas.setLineJoin(1)

    def end_page(self) -> None:
        """Finish the page."""
        self._canvas.showPage()

    def polyline(self, points: Sequence[Point], layer: str) -> None:
        """An open line through points, as its layer looks."""
        self.drawn(points, self._pens.get(layer, Pen()))

    def drawn(self, points: Sequence[Point], pen: Pen, *, closed: bool = False) -> None:
        """A line through points with a pen of its own; closed when its last point joins the first."""
        canvas = self._canvas
        canvas.setLineWidth(pen.width * K)
        canvas.setStrokeColorRGB(*pen.color)
        canvas.setDash([d * K for d in pen.dash] if pen.dash else [])
        canvas.addLiteral(self._path(points, closed=closed))
        canvas.addLiteral("S")

    def filled(self, outlines: Sequence[Sequence[Point]], color: Color) -> None:
        """A shape without an edge: its outline, and the outlines of its holes (even-odd)."""
        self._canvas.setFillColorRGB(*color)
        # "n" would end what was begun
        paths = (self._path(outline, closed=True).removeprefix("n ") for outline in outlines)
        self._canvas.addLiteral("n " + " ".join(paths))
        self._canvas.addLiteral("f*")

    def _path(self, points: Sequence[Point], *, closed: bool) -> str:
        """The path through points as operators of a page's content (ISO 32000-1, 8.5.2).

        As the PDF library writes it, whose own paths write every number anew: outlines that lie side by side share
        most of theirs.
        """
        known = self._numbers
        words = ["n"]
        for x, y in points:
            for number in (x * K, y * K):
                if number not in known:
                    known[number] = number_text(number)
                words.append(known[number])
            words.append("l")
        words[3] = "m"
        if closed:
            words.append("h")
        return " ".join(words)

    def ring(self, center: Point, radius: float, ground: Color, pen: Pen) -> None:
        """A filled circle with an edge."""
        self._canvas.setFillColorRGB(*ground)
        self._canvas.setStrokeColorRGB(*pen.color)
        self._canvas.setLineWidth(pen.width * K)
        self._canvas.setDash([])
        self._canvas.circle(center[0] * K, center[1] * K, radius * K, stroke=1, fill=1)

    def text(
        self,
        text: str,
        at: Point,
        height: float,
        *,
        align: str = "left",
        rotation: float = 0.0,
        room: float = 0.0,
        color: Color = (0.0, 0.0, 0.0),
        bold: bool = False,
    ) -> None:
        """One line of text.

        Args:
            text: what it says; letters no font has show as '?'.
            at: where its base line starts, has its middle, or ends, by ``align``, mm.
            height: of a capital letter, mm.
            align: 'left', 'center' or 'right'.
            rotation: degrees counter-clockwise.
            room: width that it must keep to, mm: longer text is cut short with '…'; 0 for any.
            color: RGB, 0..1.
            bold: whether in a bold face.
        """
        face, text = self._face(text, bold)
        size = height / 0.73 * K  # capitals of these faces are 0.73 of the type size
        if room > 0.0 and len(text) > 1 and self._width(text, face, size) > room * K:
            whole = text.removesuffix("…")
            ends = range(1, len(whole))
            fitting = bisect_right(ends, room * K, key=lambda n: self._width(whole[:n].rstrip() + "…", face, size))
            text = whole[:fitting].rstrip() + "…"
        canvas = self._canvas
        canvas.saveState()
        canvas.setFillColorRGB(*color)
        canvas.setFont(face, size)
        canvas.translate(at[0] * K, at[1] * K)
        if rotation:
            canvas.rotate(rotation)
        if runs_left(text):
            self._from_right(text, face, size, align)
        else:
            {"left": canvas.drawString, "center": canvas.drawCentredString, "right": canvas.drawRightString}[align](
                0.0, 0.0, text
            )
        canvas.restoreState()

    def _from_right(self, text: str, face: str, size: float, align: str) -> None:
        """A line with letters that run left, piece by piece; to copy and to search it is as it is read."""
        canvas, pieces = self._canvas, shaped(text, face)
        widths = [self._piece_width(piece, face) * size for piece in pieces]
        x = {"left": 0.0, "center": -sum(widths) / 2.0, "right": -sum(widths)}[align]
        # replacement text (ISO 32000-1, 14.9.4)
        canvas.addLiteral(f"/Span <</ActualText <FEFF{text.encode('utf-16-be').hex().upper()}>>> BDC")
        for piece, width in zip(pieces, widths, strict=True):
            canvas.drawString(x, 0.0, piece)
            x += width
        canvas.addLiteral("EMC")

    def wrapped(self, text: str, height: float, width: float, *, bold: bool = False) -> list[str]:
        """Text broken into lines of at most a width in mm; a word that is longer alone is broken where it must be."""
        key = (text, height, width, bold)
        if key not in self._lines:  # what is laid out is measured first, and often more than once
            self._lines[key] = self._broken(*key)
        return list(self._lines[key])

    def _broken(self, text: str, height: float, width: float, bold: bool) -> list[str]:
        face, text = self._face(text, bold)
        size, most = height / 0.73 * K, width * K
        lines: list[str] = []
        line, used = "", 0.0
        blank = self._width(" ", face, size)
        words = [word.replace(NO_BREAK, " ") for word in re.split(r"[ \t\n\r\f\v]++", unbroken(text)) if word]
        # what is held together goes apart only where it is longer than a line
        words = [p for word in words for p in ([word] if self._width(word, face, size) <= most else word.split(" "))]
        for word in words:
            wide = self._width(word, face, size)  # these faces do not kern: widths add up
            if line and used + blank + wide <= most:
                line, used = f"{line} {word}", used + blank + wide
                continue
            if line:
                lines.append(line)
            if wide > most:
                *full, line = self._cut(word, face, size, most)
                lines += full
                used = self._width(line, face, size)
            else:
                line, used = word, wide
        return [*lines, line]

    def width(self, text: str, height: float, *, bold: bool = False) -> float:
        """Width in mm of a line of text."""
        face, text = self._face(text, bold)
        return self._width(text, face, height / 0.73 * K) / K

    def bookmark(self, key: str, title: str) -> None:
        """Name the page that was begun in the reader's list of contents."""
        self._canvas.bookmarkPage(key)
        self._canvas.addOutlineEntry("".join(c if c.isprintable() else " " for c in title), key)

    def _cut(self, word: str, face: str, size: float, most: float) -> list[str]:
        """A word in pieces that fit in a width in points, of a letter at least; the last is what is left."""
        pieces: list[str] = []
        start, letters = 0, 64
        while True:
            part = word[start : start + letters]  # a long word is never measured whole
            if len(part) <= 1 or self._width(part, face, size) <= most:
                if start + letters >= len(word):
                    return [*pieces, part]
                letters *= 2
                continue
            ends = range(2, len(part) + 1)
            n = 1 + bisect_right(ends, most, key=lambda end: self._width(part[:end], face, size))
            pieces.append(part[:n])
            start += n

    def put(self, figure: Figure, dx: float, dy: float) -> None:
        """Draw a figure's lines, curves and texts with its origin at (dx, dy)."""
        for points, layer in figure.curves:
            self.polyline([(x + dx, y + dy) for x, y in points], layer)
        for (ax, ay), (bx, by), layer in figure.lines:
            self.polyline([(ax + dx, ay + dy), (bx + dx, by + dy)], layer)
        for t in figure.texts:
            self.text(t.text, (t.at[0] + dx, t.at[1] + dy), t.height, align=t.align, rotation=t.rotation)

    def data(self) -> bytes:
        """The finished document."""
        from reportlab import rl_config

        # streams stand in the file as they are: written in letters they take a quarter more room, and time
        before, rl_config.useA85 = rl_config.useA85, 0
        try:
            self._canvas.save()
        finally:
            rl_config.useA85 = before
        return self._out.getvalue()

    def _face(self, text: str, bold: bool) -> tuple[str, str]:
        """The face for a text, and the text in letters that it has; takes note of the others."""
        known = self._faces.get((text, bold))
        if known is None:
            known = self._faces[text, bold] = face_for(text, BOLD if bold else FACE)
            if "?" in known[1]:
                self.lacking |= {a for a, b in zip(printable_text(text), known[1], strict=True) if a != b}
        return known

    def _width(self, text: str, face: str, size: float) -> float:
        unit = self._widths.get((text, face))
        if unit is None:
            pieces = shaped(text, face) if runs_left(text) else [text]
            unit = self._widths[text, face] = sum(self._piece_width(piece, face) for piece in pieces)
        return unit * size

    def _piece_width(self, piece: str, face: str) -> float:
        from reportlab.pdfbase.pdfmetrics import stringWidth

        return float(stringWidth(piece, face, 1.0))


def number_text(number: float) -> str:
    """A number of a page's content, with seven digits and six places at most, as the PDF library writes its own."""
    size = abs(number)
    if size <= 1e-7:
        return "0"
    places = 6 if size < 10.0 else 5 if size < 100.0 else 4 if size < 1000.0 else max(0, 6 - int(log10(size)))
    text = f"{number:.{places}f}"
    if places:
        text = text.rstrip("0").rstrip(".")
    return text[1:] if text[0] == "0" and len(text) > 1 else text
