"""What is written on pictures: dimensions, leaders, marks of ends, and how much room a text takes.

Sizes are mm of paper. Room for all of it is found by `converter.exporters.paper.room`; what finds none is told so and
can be said in another way.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from math import atan2, cos, degrees, hypot, pi, sin

from converter.exporters.paper.figure import Point
from converter.exporters.paper.room import LabelSpot, Room, Wish
from converter.exporters.pictures.picture import RING, Picture
from converter.units import every_text

#: Letters of a plain sans serif that are much narrower or wider than the rest, and how much wider bold ones are.
_NARROW, _WIDE, _BOLDER = " .,:;|!'iljtfrI-()[]/·\"", "MWmw%@…—", 1.13
#: Labels on pictures keep about this distance, mm.
CELL = 0.7
#: Length and half width of an arrow head.
HEAD = (2.0, 0.45)


@lru_cache(maxsize=4096)
def wide(text: str, height: float, *, bold: bool = False) -> float:
    """Width to keep for a text, in whatever unit and rounding, mm."""
    k = height * (_BOLDER if bold else 1.0)
    return (sum(max(sum(map(_width, one)) for one in texts) for texts in every_text(text)) + 0.3) * k


@lru_cache(maxsize=1024)
def _width(c: str) -> float:
    """Width of a letter in heights of a capital, at least; letters of East Asian scripts are as wide as high."""
    if unicodedata.east_asian_width(c) in "WF":
        return 1.45
    if c in _NARROW:
        return 0.62
    return 1.4 if c in _WIDE else 1.08 if c.isupper() else 0.9


def arrow_head(picture: Picture, tip: Point, direction: float, role: str, size: Point = HEAD) -> None:
    """A filled arrow head that points in a direction (radians)."""
    c, s = cos(direction), sin(direction)
    back = (tip[0] - size[0] * c, tip[1] - size[0] * s)
    side = (-s * size[1], c * size[1])
    picture.fill([[tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1])]], role)


def leader(picture: Picture, room: Room, spot: LabelSpot, role: str = "dim") -> None:
    """A line from a place, with a dot on it, to its label."""
    x, y = spot.anchor
    picture.stroke([spot.anchor, spot.end], role)
    picture.fill([[(x + 0.45 * cos(k * pi / 6), y + 0.45 * sin(k * pi / 6)) for k in range(12)]], role)
    room.take_line([spot.anchor, spot.end], 0.2)


def dimension(
    picture: Picture, room: Room, a: Point, b: Point, off: float, text: str, height: float, clear: float = 0.8
) -> bool:
    """A dimension line beside a-b, to the left of that direction by ``off`` (negative: to the right).

    Its extension lines begin ``clear`` away from a and b.

    Returns:
        False, and nothing is drawn, where its line and its text have no room.
    """
    length = hypot(b[0] - a[0], b[1] - a[1])
    width = wide(text, height)
    if length < width + 2.0 * HEAD[0]:
        return False
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    nx, ny = -uy, ux
    p, q = (a[0] + nx * off, a[1] + ny * off), (b[0] + nx * off, b[1] + ny * off)
    # text reads from below or from the right, and stands above its line
    turn = degrees(atan2(uy, ux))
    upright = -90.0 + 1e-6 < turn <= 90.0 + 1e-6
    above = 1.0 if upright else -1.0
    lift = 0.5 + height / 2.0 + 0.1 * height
    middle = ((p[0] + q[0]) / 2.0 + nx * lift * above, (p[1] + q[1]) / 2.0 + ny * lift * above)
    ta = (middle[0] - ux * width / 2.0, middle[1] - uy * width / 2.0)
    tb = (middle[0] + ux * width / 2.0, middle[1] + uy * width / 2.0)
    half = 0.62 * height
    inset = 0.8
    la, lb = (p[0] + ux * inset, p[1] + uy * inset), (q[0] - ux * inset, q[1] - uy * inset)
    if not (room.is_clear(ta, tb, half) and room.is_clear(la, lb, 0.25)):
        return False
    side = 1.0 if off > 0.0 else -1.0
    extensions = [
        (
            (foot[0] + nx * side * clear, foot[1] + ny * side * clear),
            (end[0] + nx * side * 1.0, end[1] + ny * side * 1.0),
        )
        for end, foot in ((p, a), (q, b))
    ]
    if any(room.crosses_text(*line) for line in extensions):
        return False
    picture.stroke([p, q], "dim")
    arrow_head(picture, p, atan2(-uy, -ux), "dim")
    arrow_head(picture, q, atan2(uy, ux), "dim")
    for start, stop in extensions:
        picture.stroke([start, stop], "dim")
        room.take_line([start, stop], 0.15)
    base = (middle[0] - nx * above * height / 2.0, middle[1] - ny * above * height / 2.0)
    picture.label(text, base, height, "note", align="center", rotation=turn if upright else turn - 180.0)
    room.take_slant(ta, tb, half)
    room.take_line([p, q], 0.3)
    return True


def end_mark(picture: Picture, room: Room, letter: str, at: Point, direction: float, height: float) -> Point | None:
    """The letter of an end in a filled square, as near to a place as there is room; returns its middle."""
    side = 2.0 * RING * height
    spot = room.beside([at], Wish((side, side), degrees(direction), 40.0 * height, 0.4))
    if spot is None:
        return None
    x, y = spot.middle
    picture.label(letter, (x, y - height / 2.0), height, "end", align="center", boxed=True)
    if spot.far > 2.5:
        picture.stroke([at, spot.end], "end")
        room.take_line([at, spot.end], 0.3)
    return x, y
