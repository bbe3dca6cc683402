"""Room on a picture: where labels may stand, how dimension lines and leaders are drawn.

Sizes are mm of paper. `Places` remembers what is taken (`cells.Cells`) and never leaves its frame; what finds no room
is told so and can be said in another way.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass, field
from functools import lru_cache
from math import atan2, cos, degrees, hypot, inf, pi, sin
from typing import TYPE_CHECKING, Any

from converter.exporters.paper.figure import Point
from converter.exporters.pictures.cells import Cells
from converter.exporters.pictures.picture import RING, Picture
from converter.units import every_text

if TYPE_CHECKING:
    from converter.exporters.pictures.cells import Strips

Box = tuple[float, float, float, float]
#: Directions tried around a place, degrees from the wanted one.
_TURNS = (0, 20, -20, 40, -40, 65, -65, 90, -90, 120, -120, 150, -150, 180)
#: The same where a leader must find its way between things.
_FINE_TURNS = tuple(sorted(range(-175, 185, 7), key=abs))
#: Distances at which most labels find room.
_NEAR = 5
#: Letters of a plain sans serif that are much narrower or wider than the rest, and how much wider bold ones are.
_NARROW, _WIDE, _BOLDER = " .,:;|!'iljtfrI-()[]/·\"", "MWmw%@…—", 1.13
#: Labels keep about this distance, mm.
_CELL = 0.7
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


@dataclass(slots=True)
class Places:
    """What of a frame is taken.

    Attributes:
        frame: x low, y low, x high, y high; labels stay within.
    """

    frame: Box
    _room: Cells = field(init=False)
    _texts: Cells = field(init=False)

    def __post_init__(self) -> None:
        self._room, self._texts = Cells(self.frame, _CELL), Cells(self.frame, _CELL)

    def copy(self) -> Places:
        """The same, of which more can be taken while this stays."""
        one = copy(self)
        one._room, one._texts = self._room.copy(), self._texts.copy()
        return one

    def take_line(self, a: Point, b: Point, half: float) -> None:
        """Take a strip."""
        self._room.take_line(a, b, half)

    def take_strips(self, strips: Iterable[Strips]) -> None:
        """Take many strips, along lines as `converter.exporters.pictures.cells.chords_of` cuts them up."""
        self._room.take_strips(strips)

    def take_text(self, box: Box) -> None:
        """Take a box that holds a text: leaders keep clear of it too."""
        self._room.take_box(box)
        self._texts.take_box(box)

    def take_slant(self, a: Point, b: Point, half: float) -> None:
        """Take a strip that holds a slanted text."""
        self._room.take_line(a, b, half)
        self._texts.take_line(a, b, half)

    def is_free(self, box: Box) -> bool:
        """Whether a box is within the frame and nothing in it is taken."""
        x0, y0, x1, y1 = self.frame
        return box[0] >= x0 and box[1] >= y0 and box[2] <= x1 and box[3] <= y1 and self._room.is_free(box)

    def is_clear(self, a: Point, b: Point, half: float) -> bool:
        """Whether a strip is within the frame and nothing in it is taken."""
        return all(self.is_free(box) for box in _along(a, b, half))

    def crosses_text(self, a: Point, b: Point) -> bool:
        """Whether a line runs through a text."""
        n = max(1, int(hypot(b[0] - a[0], b[1] - a[1]) / _CELL))
        return not self._texts.is_line_free(a, ((b[0] - a[0]) / n, (b[1] - a[1]) / n), n + 1)

    def crosses(self, start: Point, box: Box, skip: float) -> bool:
        """Whether a leader runs over anything farther than ``skip`` from its start."""
        if skip == inf:
            return False
        end = nearest(box, start)
        length = hypot(end[0] - start[0], end[1] - start[1])
        if length - 1.5 <= skip:  # the box itself may be taken
            return False
        n = int((length - skip - 1.5) / _CELL)
        c, s = ((end[0] - start[0]) / length, (end[1] - start[1]) / length) if length > 1e-9 else (1.0, 0.0)
        step = (c * _CELL, s * _CELL)
        return not self._room.is_line_free((start[0] + c * skip, start[1] + s * skip), step, n + 1)

    def beside(
        self, anchor: Point, size: Point, toward: float, farthest: float, gap: float = 1.5, own: float = inf
    ) -> Point | None:
        """Take the nearest free box around a place whose leader crosses no text.

        Where there is one, a box whose leader crosses nothing at all comes first.

        Args:
            anchor: where its leader starts.
            size: width and height.
            toward: the wanted direction, degrees.
            farthest: how far from the anchor its edge may be.
            gap: least distance from the anchor.
            own: how far the leader may run over what it belongs to; infinite where it may cross anything.

        Returns:
            The middle of the box, or None where there is no room.
        """
        for may in sorted({own, inf}):
            spot = self._nearest_free(anchor, size, toward, farthest, gap, may)
            if spot is not None:
                return spot
        return None

    def _nearest_free(
        self, anchor: Point, size: Point, toward: float, farthest: float, gap: float, own: float
    ) -> Point | None:
        import numpy as np

        w, h = size
        x0, y0, x1, y1 = self.frame
        a = np.radians(toward + _turns(_TURNS if own == inf else _FINE_TURNS))
        c, s = np.cos(a), np.sin(a)
        # the box touches the circle of this radius from outside
        edge = np.minimum(w / 2.0 / np.maximum(np.abs(c), 1e-9), h / 2.0 / np.maximum(np.abs(s), 1e-9))
        ax, ay = anchor
        for rings in _rings(gap, farthest):
            k = rings + edge
            x, y = (ax + c * k).ravel(), (ay + s * k).ravel()
            inside = (x - w / 2.0 >= x0) & (y - h / 2.0 >= y0) & (x + w / 2.0 <= x1) & (y + h / 2.0 <= y1)
            x, y = x[inside], y[inside]
            if not len(x):
                continue
            free = self._room.are_free(x, y, size)
            right, up = w / 2.0, h / 2.0
            for spot in zip(x[free].tolist(), y[free].tolist(), strict=True):
                box = (spot[0] - right, spot[1] - up, spot[0] + right, spot[1] + up)
                if not self.crosses(anchor, box, own) and self._reaches(anchor, box):
                    self.take_text(box)
                    return spot
        return None

    def _reaches(self, anchor: Point, box: Box) -> bool:
        # the last step is within the box's own margin
        end = nearest(box, anchor)
        n = max(1, int(hypot(end[0] - anchor[0], end[1] - anchor[1]) / _CELL))
        k = (n - 1) / n
        return not self.crosses_text(
            anchor, (anchor[0] + (end[0] - anchor[0]) * k, anchor[1] + (end[1] - anchor[1]) * k)
        )


@lru_cache(maxsize=2)
def _turns(degrees: tuple[int, ...]) -> Any:
    import numpy as np

    return np.array(degrees)


@lru_cache(maxsize=256)
def _rings(gap: float, farthest: float) -> Sequence[Any]:
    """Distances of a box from its anchor, the nearest first, in columns of as many as are asked about at once."""
    import numpy as np

    found, out = [], gap
    while out <= farthest:
        found.append(out)
        out += max(1.2, 0.12 * out)
    return [np.array(rings)[:, None] for rings in (found[:_NEAR], found[_NEAR:]) if rings]


def nearest(box: Box, p: Point) -> Point:
    """The point of a box nearest to a point."""
    (x, y), (x0, y0, x1, y1) = p, box
    return x0 if x < x0 else x1 if x > x1 else x, y0 if y < y0 else y1 if y > y1 else y


def _along(a: Point, b: Point, half: float) -> list[Box]:
    n = max(1, int(hypot(b[0] - a[0], b[1] - a[1]) / max(half, 0.5)) + 1)
    spots = [(a[0] + (b[0] - a[0]) * k / n, a[1] + (b[1] - a[1]) * k / n) for k in range(n + 1)]
    return [(x - half, y - half, x + half, y + half) for x, y in spots]


def arrow_head(picture: Picture, tip: Point, direction: float, role: str, size: Point = HEAD) -> None:
    """A filled arrow head that points in a direction (radians)."""
    c, s = cos(direction), sin(direction)
    back = (tip[0] - size[0] * c, tip[1] - size[0] * s)
    side = (-s * size[1], c * size[1])
    picture.fill([[tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1])]], role)


def leader(picture: Picture, places: Places, start: Point, box: Box, role: str = "dim") -> None:
    """A line from a place, with a dot on it, to a label's box."""
    end = nearest(box, start)
    picture.stroke([start, end], role)
    dot = [(start[0] + 0.45 * cos(k * pi / 6), start[1] + 0.45 * sin(k * pi / 6)) for k in range(12)]
    picture.fill([dot], role)
    places.take_line(start, end, 0.2)


def dimension(
    picture: Picture, places: Places, a: Point, b: Point, off: float, text: str, height: float, clear: float = 0.8
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
    if not (places.is_clear(ta, tb, half) and places.is_clear(la, lb, 0.25)):
        return False
    side = 1.0 if off > 0.0 else -1.0
    extensions = [
        (
            (foot[0] + nx * side * clear, foot[1] + ny * side * clear),
            (end[0] + nx * side * 1.0, end[1] + ny * side * 1.0),
        )
        for end, foot in ((p, a), (q, b))
    ]
    if any(places.crosses_text(*line) for line in extensions):
        return False
    picture.stroke([p, q], "dim")
    arrow_head(picture, p, atan2(-uy, -ux), "dim")
    arrow_head(picture, q, atan2(uy, ux), "dim")
    for start, stop in extensions:
        picture.stroke([start, stop], "dim")
        places.take_line(start, stop, 0.15)
    base = (middle[0] - nx * above * height / 2.0, middle[1] - ny * above * height / 2.0)
    picture.label(text, base, height, "note", align="center", rotation=turn if upright else turn - 180.0)
    places.take_slant(ta, tb, half)
    places.take_line(p, q, 0.3)
    return True


def end_mark(picture: Picture, places: Places, letter: str, at: Point, direction: float, height: float) -> Point | None:
    """The letter of an end in a filled square, as near to a place as there is room; returns its middle."""
    side = 2.0 * RING * height
    spot = places.beside(at, (side, side), degrees(direction), 40.0 * height, 0.4)
    if spot is None:
        return None
    picture.label(letter, (spot[0], spot[1] - height / 2.0), height, "end", align="center", boxed=True)
    box = (spot[0] - side / 2.0, spot[1] - side / 2.0, spot[0] + side / 2.0, spot[1] + side / 2.0)
    near = nearest(box, at)
    if hypot(near[0] - at[0], near[1] - at[1]) > 2.5:
        picture.stroke([at, near], "end")
        places.take_line(at, near, 0.3)
    return spot
