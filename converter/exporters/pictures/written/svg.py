"""A picture as SVG 1.1: text that scales, readable by people who cannot see it, safe with any name.

Every part wears the class of its role: ``r-tube`` on a line, ``f-tube`` on a text or a filled shape. A file on
its own brings its style sheet: light, dark where the reader's screen is dark, and light in print. Inside a
page the page brings it (`style`), so that many pictures share one. There are no scripts and nothing is fetched.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape  # `xml.sax.saxutils` has one too, and loads all of http with it
from typing import TYPE_CHECKING

from converter.exporters.paper.figure import Point
from converter.exporters.pictures.picture import BOLD, CAPITAL, RING, ROLES, Fill, Label, Picture, RoleLook, Stroke
from converter.units import in_unit, pieces

if TYPE_CHECKING:
    from collections.abc import Iterable

#: What XML 1.0 (section 2.2) lets nobody write, not even escaped.
_UNSPEAKABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
#: Of a number with two decimals: a last nought, or two.
_SAYS_NOTHING = re.compile(r"\.00|(?<=\.\d)0(?!\d)")
#: A sans serif as wide as the one the labels were placed with.
FAMILY = "'Bitstream Vera Sans','DejaVu Sans',Verdana,Geneva,sans-serif"
_GROUND = ROLES["ground"].light


def svg_text(
    picture: Picture,
    *,
    unit: str | None = None,
    standalone: bool = True,
    css_classes: bool = True,
    id_prefix: str = "p",
) -> str:
    """A picture as the text of an SVG element.

    Args:
        picture: with some extent.
        unit: 'mm' or 'in' for labels that hold both; None keeps both, as elements of the classes ``u-mm`` and
            ``u-in``: the page hides one of them (on its own, a file shows the millimetres).
        standalone: an XML file with its own style sheet and ground; else an element for an HTML page.
        css_classes: False writes colours and pens into each element, for programs that know no style sheets.
        id_prefix: starts every id, so that many pictures live in one page.

    Returns:
        Well-formed XML; ends with a line break when it stands alone. Equal pictures give equal texts.
    """
    x, y = picture.low
    width, height = picture.high[0] - x, picture.high[1] - y
    across, tall = mm_text(width), mm_text(height)
    title, told = f"{id_prefix}-title", f"{id_prefix}-desc"
    names = [title, told] if picture.description else [title]
    out = ['<?xml version="1.0" encoding="UTF-8"?>'] if standalone else []
    out.append(
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{across}mm" height="{tall}mm" '
        f'viewBox="0 0 {across} {tall}" role="img" aria-labelledby={_quoted(" ".join(names))} '
        f'class="picture" font-family="{FAMILY}">'
    )
    out.append(f"<title id={_quoted(title)}>{_xml_text(_text_in_unit(picture.title, unit))}</title>")
    if picture.description:
        out.append(f"<desc id={_quoted(told)}>{_xml_text(_text_in_unit(picture.description, unit))}</desc>")
    if standalone:
        if css_classes:
            out.append(f"<style>{style()}{'' if unit else '.u-in{display:none}'}</style>")
        ground = 'class="f-ground"' if css_classes else f'fill="{_GROUND}"'
        out.append(f'<rect {ground} width="{across}" height="{tall}"/>')
    put = _SvgWriter(x, picture.high[1], css_classes)
    out += [put.fill(one) for one in picture.fills]
    out += [put.stroke(one) for one in picture.strokes]
    for label in picture.labels:
        out += put.label(label, unit)
    out.append("</svg>")
    return "\n".join(out) + ("\n" if standalone else "")


def style(scope: str = "") -> str:
    """The style sheet of pictures, for a page that holds some.

    Args:
        scope: a selector put before each rule, with its blank (``".sheet "``), or ''.
    """
    pens = "".join(_pen(scope, role, look) for role, look in ROLES.items())
    light, dark = (
        "".join(_colors(scope, role, color) for role, color in colors.items())
        for colors in ({r: look.light for r, look in ROLES.items()}, {r: look.dark for r, look in ROLES.items()})
    )
    return f"{pens}{light}@media screen and (prefers-color-scheme:dark){{{dark}}}@media print{{{light}}}"


def _pen(scope: str, role: str, look: RoleLook) -> str:
    """How a line of a role is drawn."""
    if look.width == 0.0:
        return ""
    dash = ";stroke-dasharray:" + " ".join(f"{d:g}" for d in look.dash) if look.dash else ""
    return f"{scope}.r-{role}{{fill:none;stroke-width:{look.width:g};stroke-linecap:round;stroke-linejoin:round{dash}}}"


def _colors(scope: str, role: str, color: str) -> str:
    """A role's colour: of its lines (``r-``), and of its texts and filled shapes (``f-``)."""
    line = f"{scope}.r-{role}{{stroke:{color}}}" if ROLES[role].width else ""
    return f"{line}{scope}.f-{role}{{fill:{color};stroke:none}}"


class _SvgWriter:
    """Writes parts with y down from the top left corner."""

    def __init__(self, left: float, top: float, classes: bool) -> None:
        self._left, self._top, self._classes = left, top, classes

    def fill(self, one: Fill) -> str:
        path = "".join(f"M{self._points(outline)}z" for outline in one.outlines)
        return f'<path {self._paint(one.role)} fill-rule="evenodd" d="{path}"/>'

    def stroke(self, one: Stroke) -> str:
        return f'<path {self._pen(one.role)} d="M{self._points(one.points)}{"z" if one.closed else ""}"/>'

    def label(self, one: Label, unit: str | None) -> Iterable[str]:
        """A label, once for each unit where both are kept and differ; its ring or box first."""
        x, y = one.at[0] - self._left, self._top - one.at[1]
        if one.circled:
            ring = f'cx="{mm_text(x)}" cy="{mm_text(y - one.height / 2.0)}" r="{mm_text(RING * one.height)}"'
            yield f"<circle {self._paint('ground')} {ring}/>"
            yield f"<circle {self._pen(one.role, solid=True)} {ring}/>"
        if one.boxed:
            half = RING * one.height
            corner, side = f'x="{mm_text(x - half)}" y="{mm_text(y - one.height / 2.0 - half)}"', mm_text(2.0 * half)
            box = f'{corner} width="{side}" height="{side}"'
            yield f"<rect {self._paint(one.role)} {box}/>"
        texts = {name: _xml_text(in_unit(one.text, name)) for name in ("mm", "in")}
        if unit:
            yield self._text(one, texts[unit], x, y, "")
        elif texts["mm"] == texts["in"]:
            yield self._text(one, texts["mm"], x, y, "")
        else:
            yield self._text(one, texts["mm"], x, y, "u-mm")
            yield self._text(one, texts["in"], x, y, "u-in")

    def _text(self, one: Label, text: str, x: float, y: float, kind: str) -> str:
        framed = one.circled or one.boxed
        anchor = {"left": "", "center": ' text-anchor="middle"', "right": ' text-anchor="end"'}
        align = anchor["center" if framed else one.align]
        turn = f' transform="rotate({mm_text(-one.rotation)} {mm_text(x)} {mm_text(y)})"' if one.rotation else ""
        look = self._paint("ground" if one.boxed else one.role, kind)
        bold = ' font-weight="bold"' if one.role in BOLD else ""
        size = mm_text(one.height / CAPITAL)
        return f'<text {look} x="{mm_text(x)}" y="{mm_text(y)}" font-size="{size}"{align}{bold}{turn}>{text}</text>'

    def _paint(self, role: str, more: str = "") -> str:
        """Attributes of a filled shape or a text."""
        if self._classes:
            return f'class="f-{role}{" " + more if more else ""}"'
        return f'fill="{ROLES[role].light}"' + (f' class="{more}"' if more else "")

    def _pen(self, role: str, solid: bool = False) -> str:
        """Attributes of a line; ``solid`` leaves out its dashes and draws it thin."""
        look = ROLES[role]
        if self._classes:
            return f'class="r-{role}"' + (' style="stroke-dasharray:none;stroke-width:.3"' if solid else "")
        dash = "" if solid or not look.dash else f' stroke-dasharray="{" ".join(f"{d:g}" for d in look.dash)}"'
        return (
            f'fill="none" stroke="{look.light}" stroke-width="{0.3 if solid else look.width:g}" '
            f'stroke-linecap="round" stroke-linejoin="round"{dash}'
        )

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


def _quoted(text: str) -> str:
    """The value of an attribute, in its quotes."""
    return f'"{escape(text)}"'


def _text_in_unit(text: str, unit: str | None) -> str:
    """Text in one unit, or with the inches in brackets after the millimetres."""
    if unit:
        return in_unit(text, unit)
    return "".join(a if a == b else f"{a} ({b})" for a, b in pieces(text))
