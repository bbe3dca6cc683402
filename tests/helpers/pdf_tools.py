"""What a printed PDF holds, read back from its page contents with pypdf: lines in mm, and text."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from converter.exporters.pdf.canvas import Pen

MM = 25.4 / 72.0


@dataclass(frozen=True)
class Stroke:
    """A stroked path: pen width in mm, colour, dashes in mm, points in mm from the page's lower left corner."""

    width: float
    color: tuple[float, ...]
    dash: tuple[float, ...]
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class PdfPage:
    """A page: size in mm, its lines, its text, and the sizes of its type in points."""

    size: tuple[float, float]
    strokes: tuple[Stroke, ...]
    text: str
    type_sizes: tuple[float, ...] = ()


def read_pdf(path: Path, first: int | None = None) -> list[PdfPage]:
    """The pages of a file, all or the first so many."""
    from pypdf import PdfReader

    return [_page(page) for page in PdfReader(path).pages[:first]]


def lines_of(page: PdfPage, pen: Pen) -> list[np.ndarray]:
    """The lines of a page that are drawn with a pen, by which a layer is told: (points, 2) arrays in mm."""
    return [
        np.array(s.points)
        for s in page.strokes
        if s.width == pytest.approx(pen.width, abs=1e-3)
        and s.color == pytest.approx(pen.color, abs=1e-3)
        and s.dash == pytest.approx(pen.dash, abs=1e-3)
    ]


def _page(page: Any) -> PdfPage:
    box = page.mediabox
    strokes: list[Stroke] = []
    matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    stack: list[Any] = []
    width, color, dash = 1.0, (0.0, 0.0, 0.0), ()
    points: list[tuple[float, float]] = []
    sizes: list[float] = []

    def at(x: Any, y: Any) -> tuple[float, float]:
        a, b, c, d, e, f = matrix
        x, y = float(x), float(y)
        return ((a * x + c * y + e) * MM, (b * x + d * y + f) * MM)

    for operands, operator in page.get_contents().operations:
        match operator:
            case b"q":
                stack.append((matrix, width, color, dash))
            case b"Q":
                matrix, width, color, dash = stack.pop()
            case b"cm":
                a, b, c, d, e, f = (float(v) for v in operands)
                p, q, r, s, t, u = matrix
                matrix = (
                    a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s,
                    e * p + f * r + t, e * q + f * s + u,
                )  # fmt: skip
            case b"Tf":
                assert abs(matrix[0] * matrix[3] - matrix[1] * matrix[2] - 1.0) < 1e-4, "type is not scaled"
                sizes.append(float(operands[1]))
            case b"w":
                width = float(operands[0])
            case b"RG":
                color = tuple(float(v) for v in operands)
            case b"d":
                dash = tuple(float(v) * MM for v in operands[0])
            case b"m":
                assert not points, "one path, one line"
                points = [at(*operands)]
            case b"l":
                points.append(at(*operands))
            case b"S":
                strokes.append(Stroke(width * MM, color, dash, tuple(points)))
                points = []
            case b"c" | b"v" | b"y" | b"re" | b"W" | b"W*":
                raise AssertionError(f"{operator!r} is not read here")
    return PdfPage((float(box.width) * MM, float(box.height) * MM), tuple(strokes), page.extract_text(), tuple(sizes))
