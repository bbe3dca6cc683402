"""PDF in millimetres: true size, text in any script a font on this machine has, nothing left to chance.

Specification: ISO 32000 (a unit of user space is 1/72 in).
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from converter.errors import MissingLibraryError
from converter.exporters.figure import Figure, Point
from converter.exporters.pdf_faces import BOLD, FACE, face_for, plain, register

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
        self._widths: dict[tuple[str, str], float] = {}  # of a text in a face, of size 1
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
        path = canvas.beginPath()
        path.moveTo(points[0][0] * K, points[0][1] * K)
        for x, y in points[1:]:
            path.lineTo(x * K, y * K)
        if closed:
            path.close()
        canvas.drawPath(path, stroke=1, fill=0)

    def filled(self, outlines: Sequence[Sequence[Point]], color: Color) -> None:
        """A shape without an edge: its outline, and the outlines of its holes (even-odd)."""
        path = self._canvas.beginPath()
        for outline in outlines:
            path.moveTo(outline[0][0] * K, outline[0][1] * K)
            for x, y in outline[1:]:
                path.lineTo(x * K, y * K)
            path.close()
        self._canvas.setFillColorRGB(*color)
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=0)

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
        while room > 0.0 and len(text) > 1 and self._width(text, face, size) > room * K:
            text = text[:-2].rstrip() + "…" if text.endswith("…") else text[:-1] + "…"
        canvas = self._canvas
        canvas.saveState()
        canvas.setFillColorRGB(*color)
        canvas.setFont(face, size)
        canvas.translate(at[0] * K, at[1] * K)
        canvas.rotate(rotation)
        {"left": canvas.drawString, "center": canvas.drawCentredString, "right": canvas.drawRightString}[align](
            0.0, 0.0, text
        )
        canvas.restoreState()

    def wrapped(self, text: str, height: float, width: float, *, bold: bool = False) -> list[str]:
        """Text broken into lines of at most a width in mm; a word that is longer alone is broken where it must be."""
        face, text = self._face(text, bold)
        size, most = height / 0.73 * K, width * K
        lines: list[str] = []
        line, used = "", 0.0
        blank = self._width(" ", face, size)
        for found in text.split():
            word = found
            wide = self._width(word, face, size)  # these faces do not kern: widths add up
            if line and used + blank + wide <= most:
                line, used = f"{line} {word}", used + blank + wide
                continue
            if line:
                lines.append(line)
            while len(word) > 1 and wide > most:
                n = self._fitting(word, face, size, most)
                lines.append(word[:n])
                word = word[n:]
                wide = self._width(word, face, size)
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

    def _fitting(self, word: str, face: str, size: float, most: float) -> int:
        """How many letters of a word fit in a width in points, at least one."""
        low, high = 1, len(word)
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self._width(word[:middle], face, size) <= most else (low, middle - 1)
        return low

    def put(self, figure: Figure, dx: float, dy: float) -> None:
        """Draw a figure's lines and texts with its origin at (dx, dy)."""
        for (ax, ay), (bx, by), layer in figure.lines:
            self.polyline([(ax + dx, ay + dy), (bx + dx, by + dy)], layer)
        for t in figure.texts:
            self.text(t.text, (t.at[0] + dx, t.at[1] + dy), t.height, align=t.align, rotation=t.rotation)

    def data(self) -> bytes:
        """The finished document."""
        self._canvas.save()
        return self._out.getvalue()

    def _face(self, text: str, bold: bool) -> tuple[str, str]:
        """The face for a text, and the text in letters that it has; takes note of the others."""
        face, shown = face_for(text, BOLD if bold else FACE)
        if "?" in shown:
            self.lacking |= {letter for letter, put in zip(plain(text), shown, strict=True) if put != letter}
        return face, shown

    def _width(self, text: str, face: str, size: float) -> float:
        unit = self._widths.get((text, face))
        if unit is None:
            from reportlab.pdfbase.pdfmetrics import stringWidth

            unit = self._widths[text, face] = float(stringWidth(text, face, 1.0))
        return unit * size
