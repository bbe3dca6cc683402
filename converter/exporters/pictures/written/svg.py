"""A picture as SVG 1.1: text that scales, readable by people who cannot see it, safe with any name.

Every part wears the class of its role: ``r-tube`` on a line, ``f-tube`` on a text or a filled shape. The file brings
its style sheet: light, dark where the reader's screen is dark, and light in print. There are no scripts and nothing is
fetched. In a page `converter.exporters.sheet.squeeze` writes them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape  # `xml.sax.saxutils` has one too, and loads all of http with it
from typing import TYPE_CHECKING

from converter.exporters.paper.figure import Point
from converter.exporters.pictures.picture import BOLD, CAPITAL, RING, ROLES, Fill, Label, Picture, RoleLook, Stroke
from converter.units import in_unit

if TYPE_CHECKING:
    from collections.abc import Iterable

#: What XML 1.0 (section 2.2) lets nobody write, not even escaped.
_UNSPEAKABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
#: Of a number with two decimals: a last nought, or two.
_SAYS_NOTHING = re.compile(r"\.00|(?<=\.\d)0(?!\d)")
#: A sans serif as wide as the one the labels were placed with.
FAMILY = "'Bitstream Vera Sans','DejaVu Sans',Verdana,Geneva,sans-serif"


def svg_text(picture: Picture, *, unit: str) -> str:
    """A picture as the text of an SVG file.

    Args:
        picture: with some extent.
        unit: 'mm' or 'in' for labels that hold both.

    Returns:
        Well-formed XML; ends with a line break. Equal pictures give equal texts.
    """
    x, y = picture.low
    width, height = picture.high[0] - x, picture.high[1] - y
    across, tall = mm_text(width), mm_text(height)
    names = "p-title p-desc" if picture.description else "p-title"
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{across}mm" height="{tall}mm" '
        f'viewBox="0 0 {across} {tall}" role="img" aria-labelledby="{names}" '
        f'class="picture" font-family="{FAMILY}">',
        f'<title id="p-title">{_xml_text(in_unit(picture.title, unit))}</title>',
    ]
    if picture.description:
        out.append(f'<desc id="p-desc">{_xml_text(in_unit(picture.description, unit))}</desc>')
    out.append(f"<style>{_style()}</style>")
    out.append(f'<rect class="f-ground" width="{across}" height="{tall}"/>')
    put = _SvgWriter(x, picture.high[1])
    out += [put.fill(one) for one in picture.fills]
    out += [put.stroke(one) for one in picture.strokes]
    for label in picture.labels:
        out += put.label(label, unit)
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _style() -> str:
    """The style sheet of a picture."""
    pens = "".join(_pen(role, look) for role, look in ROLES.items())
    light, dark = (
        "".join(_colors(role, color) for role, color in colors.items())
        for colors in ({r: look.light for r, look in ROLES.items()}, {r: look.dark for r, look in ROLES.items()})
    )
    return f"{pens}{light}@media screen and (prefers-color-scheme:dark){{{dark}}}@media print{{{light}}}"


def _pen(role: str, look: RoleLook) -> str:
    """How a line of a role is drawn."""
    if look.width == 0.0:
        return ""
    dash = ";stroke-dasharray:" + " ".join(f"{d:g}" for d in look.dash) if look.dash else ""
    return f".r-{role}{{fill:none;stroke-width:{look.width:g};stroke-linecap:round;stroke-linejoin:round{dash}}}"


def _colors(role: str, color: str) -> str:
    """A role's colour: of its lines (``r-``), and of its texts and filled shapes (``f-``)."""
    line = f".r-{role}{{stroke:{color}}}" if ROLES[role].width else ""
    return f"{line}.f-{role}{{fill:{color};stroke:none}}"


class _SvgWriter:
    """Writes parts with y down from the top left corner."""

    def __init__(self, left: float, top: float) -> None:
        self._left, self._top = left, top

    def fill(self, one: Fill) -> str:
        path = "".join(f"M{self._points(outline)}z" for outline in one.outlines)
        return f'<path class="f-{one.role}" fill-rule="evenodd" d="{path}"/>'

    def stroke(self, one: Stroke) -> str:
        return f'<path class="r-{one.role}" d="M{self._points(one.points)}{"z" if one.closed else ""}"/>'

    def label(self, one: Label, unit: str) -> Iterable[str]:
        """A label; its ring or box first."""
        x, y = one.at[0] - self._left, self._top - one.at[1]
        if one.circled:
            ring = f'cx="{mm_text(x)}" cy="{mm_text(y - one.height / 2.0)}" r="{mm_text(RING * one.height)}"'
            yield f'<circle class="f-ground" {ring}/>'
            yield f'<circle class="r-{one.role}" style="stroke-dasharray:none;stroke-width:.3" {ring}/>'
        if one.boxed:
            half = RING * one.height
            corner, side = f'x="{mm_text(x - half)}" y="{mm_text(y - one.height / 2.0 - half)}"', mm_text(2.0 * half)
            box = f'{corner} width="{side}" height="{side}"'
            yield f'<rect class="f-{one.role}" {box}/>'
        framed = one.circled or one.boxed
        anchor = {"left": "", "center": ' text-anchor="middle"', "right": ' text-anchor="end"'}
        align = anchor["center" if framed else one.align]
        turn = f' transform="rotate({mm_text(-one.rotation)} {mm_text(x)} {mm_text(y)})"' if one.rotation else ""
        role = "ground" if one.boxed else one.role
        bold = ' font-weight="bold"' if one.role in BOLD else ""
        size = mm_text(one.height / CAPITAL)
        place = f'x="{mm_text(x)}" y="{mm_text(y)}" font-size="{size}"{align}{bold}{turn}'
        yield f'<text class="f-{role}" {place}>{_xml_text(in_unit(one.text, unit))}</text>'

    def _points(self, points: Sequence[Point]) -> str:
        numbers = tuple(v for x, y in points for v in (x - self._left, self._top - y))
        return _short(("%.2f,%.2f " * len(points))[:-1] % numbers)


def mm_text(value: float) -> str:
    """A number to a hundredth of a millimetre, without what says nothing (``-0``, ``1.50``)."""
    return _short(f"{value:.2f}")


def _short(numbers: str) -> str:
    """Numbers of two decimals each, without what says nothing."""
    return _SAYS_NOTHING.sub("", numbers.replace("-0.00", "0"))


def speakable(text: str) -> str:
    """Text with a blank for what XML cannot hold."""
    return _UNSPEAKABLE.sub(" ", text)


def _xml_text(text: str) -> str:
    """Text as XML content: escaped, and what XML cannot hold as a blank."""
    return escape(speakable(text), quote=False)
