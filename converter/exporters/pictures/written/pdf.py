"""A picture on a page of a PDF: the same parts as true vectors, in their light colours."""

from __future__ import annotations

from converter.exporters.paper.figure import Point
from converter.exporters.pdf.canvas import Color, Pdf, Pen
from converter.exporters.pictures.picture import BOLD, RING, ROLES, Label, Picture
from converter.units import in_unit


def draw(pdf: Pdf, picture: Picture, dx: float, dy: float, scale: float = 1.0, *, unit: str) -> None:
    """Draw a picture on the page that was begun.

    Args:
        pdf: the document.
        picture: what to draw.
        dx, dy: where the picture's origin comes on the page, mm from its lower left corner.
        scale: factor on the picture's points and heights of text; pens keep their widths.
        unit: 'mm' or 'in' for labels that hold both.
    """

    def put(point: Point) -> Point:
        return point[0] * scale + dx, point[1] * scale + dy

    for fill in picture.fills:
        pdf.filled([[put(p) for p in outline] for outline in fill.outlines], color_of(fill.role))
    for stroke in picture.strokes:
        pdf.drawn([put(p) for p in stroke.points], pen_of(stroke.role), closed=stroke.closed)
    for label in picture.labels:
        _write(pdf, label, put(label.at), label.height * scale, in_unit(label.text, unit))


def pen_of(role: str) -> Pen:
    """The pen of a role on paper."""
    look = ROLES[role]
    return Pen(look.width, color_of(role), look.dash)


def color_of(role: str) -> Color:
    """The colour of a role on paper, RGB 0..1."""
    text = ROLES[role].light
    red, green, blue = (int(text[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return red, green, blue


def _write(pdf: Pdf, one: Label, at: Point, height: float, text: str) -> None:
    middle, half = (at[0], at[1] + height / 2.0), RING * height
    color = color_of(one.role)
    if one.circled:
        pdf.ring(middle, half, color_of("ground"), Pen(0.3, color))
    if one.boxed:
        (x, y) = middle
        box = [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
        pdf.filled([box], color)
        color = color_of("ground")
    align = "center" if one.circled or one.boxed else one.align
    pdf.text(text, at, height, align=align, rotation=one.rotation, color=color, bold=one.role in BOLD)
