"""Pictures as small SVG, for a page that holds hundreds: what `written.svg` writes, in fewer characters.

What every picture says of itself (fonts, the rule of filling) stands in the page's style once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from itertools import pairwise
from math import hypot
from typing import TYPE_CHECKING

from converter.exporters.pictures.picture import BOLD, CAPITAL, RING
from converter.exporters.pictures.written.svg import mm_text, speakable

if TYPE_CHECKING:
    from converter.exporters.paper.figure import Point
    from converter.exporters.pictures.picture import Label, Picture

#: Paths are written in whole steps of which so many make a millimetre of paper.
GRID = 25
#: Corners and radius of the dot that a leader begins with, mm of paper.
DOT = (12, 0.45)
#: Where the text of a label stands, by its alignment.
_ANCHOR = {"left": "", "center": ' text-anchor="middle"', "right": ' text-anchor="end"'}
#: A place on the grid, down from the top left corner.
_Step = tuple[int, int]


def squeezed(picture: Picture, prefix: str, write: Callable[[str], tuple[str, str]]) -> str:
    """A picture as an SVG element of a page: lines of one look in one path, texts of one look in one group.

    What stands on something else stays on it: shapes come first, then lines, rings and boxes, and texts last.

    Args:
        picture: with some extent.
        prefix: starts the id of its title.
        write: attributes and content of the text that a label is, as HTML; attributes begin with a blank.
    """
    left, top = picture.low[0], picture.high[1]

    def on_grid(points: Sequence[Point]) -> list[_Step]:
        return [(round((x - left) * GRID), round((top - y) * GRID)) for x, y in points]

    shapes: list[tuple[str, str]] = []
    strokes: dict[str, str] = {}
    dots: dict[str, str] = {}
    for fill in picture.fills:
        outline, *holes = fill.outlines
        if not holes and (middle := _dot_middle(outline)):
            dots[fill.role] = dots.get(fill.role, "") + _path(on_grid([middle, middle]))
            continue
        if holes:
            look, shape = f"f-{fill.role}", "".join(_path(on_grid(one), closed=True) for one in fill.outlines)
        else:
            look, shape = f"f-{fill.role} all", _path(_one_way_round(on_grid(outline)), closed=True)
            # shapes of one look that follow each other cover together what they cover one by one
            if shapes and shapes[-1][0] == look:
                shape = shapes.pop()[1] + shape
        shapes.append((look, shape))
    for stroke in picture.strokes:
        look = f"r-{stroke.role}"
        strokes[look] = strokes.get(look, "") + _path(on_grid(stroke.points), closed=stroke.closed)
    paths = [*shapes, *strokes.items(), *((f"dot r-{role}", path) for role, path in dots.items())]
    marks: list[str] = []
    texts: dict[str, list[str]] = {}
    for label in picture.labels:
        x, y = label.at[0] - left, top - label.at[1]
        marks += _marks(label, x, y)
        look, text = _text(label, x, y, write)
        texts.setdefault(look, []).append(text)
    size = f"{mm_text(picture.high[0] - left)} {mm_text(top - picture.low[1])}"
    title = escape(f"{prefix}-title")
    return "\n".join(
        [
            f'<svg viewBox="0 0 {size}" role="img" aria-labelledby="{title}" class="picture">',
            f'<title id="{title}">{escape(picture.title, quote=False)}</title>',
            f'<g class="grid" transform="scale({1.0 / GRID:g})">',
            *(f'<path class="{look}" d="{path}"/>' for look, path in paths),
            "</g>",
            *marks,
            *(_group(look, own) for look, own in texts.items()),
            "</svg>",
        ]
    )


def _marks(label: Label, x: float, y: float) -> list[str]:
    """What lies under a label: its ring or its box."""
    middle, half = y - label.height / 2.0, RING * label.height
    found = []
    if label.circled:
        found.append(
            f'<circle class="ring r-{label.role}" cx="{mm_text(x)}" cy="{mm_text(middle)}" r="{mm_text(half)}"/>'
        )
    if label.boxed:
        side = f'width="{mm_text(2.0 * half)}" height="{mm_text(2.0 * half)}"'
        found.append(f'<rect class="f-{label.role}" x="{mm_text(x - half)}" y="{mm_text(middle - half)}" {side}/>')
    return found


def _text(label: Label, x: float, y: float, write: Callable[[str], tuple[str, str]]) -> tuple[str, str]:
    """The look of a label, and its text without it."""
    framed = label.circled or label.boxed
    bold = ' font-weight="bold"' if label.role in BOLD else ""
    look = f'class="f-{"ground" if label.boxed else label.role}" font-size="{mm_text(label.height / CAPITAL)}"'
    at = f' x="{mm_text(x)}" y="{mm_text(y)}"'
    turn = f' transform="rotate({mm_text(-label.rotation)} {mm_text(x)} {mm_text(y)})"' if label.rotation else ""
    number, content = write(speakable(label.text))
    return f"{look}{_ANCHOR['center' if framed else label.align]}{bold}", f"<text{at}{turn}{number}>{content}</text>"


def _group(look: str, texts: list[str]) -> str:
    """Texts of one look."""
    return f"<g {look}>{''.join(texts)}</g>" if len(texts) > 1 else texts[0].replace("<text", f"<text {look}", 1)


def _one_way_round(points: list[_Step]) -> list[_Step]:
    """The same closed shape, run through so that its area is positive: shapes that overlap then make no hole."""
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise([*points, points[0]]))
    return points if area >= 0 else points[::-1]


def _dot_middle(points: Sequence[Point]) -> Point | None:
    """The middle of a small even polygon, for which a line of no length with round ends stands; None of any other."""
    if len(points) != DOT[0]:
        return None
    x, y = (sum(axis) / len(points) for axis in zip(*points, strict=True))
    return None if any(abs(hypot(p - x, q - y) - DOT[1]) > 0.02 for p, q in points) else (x, y)


def _path(points: list[_Step], *, closed: bool = False) -> str:
    """Points as ``M50 100l25 25z``: steps of what was rounded, so that they do not add up to an error."""
    # what the grid brings together is one point
    steps = [step for a, b in pairwise(points) for step in (b[0] - a[0], b[1] - a[1]) if a != b]
    start, line = _joined(points[0]), _joined(steps or (0, 0))  # a dot is a line of no length
    return f"M{start}l{line}{'z' if closed else ''}"


def _joined(numbers: Sequence[int]) -> str:
    """Numbers with no more between them than a reader of paths needs: a sign separates."""
    return " ".join(map(str, numbers)).replace(" -", "-")
