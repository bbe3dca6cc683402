"""The isometric of a run with everything that a bender asks for written on it.

Straights are dimensioned along the tube, each bend has a call-out with its number, angle, radius and rotation.
Where there are more bends than there is room, the bends keep their numbers and a table in the picture says
the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from itertools import zip_longest
from math import atan2, ceil, cos, degrees, hypot, inf, pi, sin

from converter.exporters.paper.figure import Box, Point
from converter.exporters.paper.room import LabelSpot, Room, Wish
from converter.exporters.pictures.annotation import CELL, HEAD, arrow_head, dimension, end_mark, leader, wide
from converter.exporters.pictures.picture import RING, Picture
from converter.exporters.pictures.run.parts import DrawnStraight, Parts, Turn, bend_words
from converter.exporters.pictures.run.sketch import Drawn, SketchShape, draw
from converter.exporters.pictures.views import ViewAxes
from converter.geometry.vectors import Vec
from converter.units import Display

#: Beside the arrow.
TRAVEL = "stick travels"
#: More bends than this are listed in a table.
MOST_CALLED_OUT = 12
#: From line to line, in heights of text.
_LINE = 1.75
#: Room left around the tube, as a share of a quarter of the frame or of so many heights of text.
_MARGIN = 0.65
#: Half a tube is at most so many heights of text on paper: what is written around a short one has room, too.
_THICKEST = 8.0
#: Strain of a leader that crosses something, and so little that labels are not written in another order.
_CROSSING, _LITTLE_STRAIN = 12.0, 9.0
#: Text of a list is not made smaller than this to keep it in its room, mm.
_LEAST_LIST = 1.2
#: From line to line and between columns, in heights of text.
_LIST_LINE, _GAP = 1.8, 1.2
#: More room under the head, in heights of text.
_HEAD = 0.5


def isometric_panel(
    shape: SketchShape,
    parts: Parts,
    display: Display,
    frame: Box,
    height: float,
    fed_from: str = "A",
    ends: Mapping[str, str] | None = None,
    least: float = 0.0,
) -> Picture:
    """The isometric within a frame, as a picture in the frame's coordinates.

    Args:
        shape, parts: the tube.
        display: how lengths are written.
        frame: x low, y low, x high, y high, mm.
        height: of text, mm.
        fed_from: the end that goes into the bender first, 'A' or 'B', from which the arrow of the stick's travel goes.
        ends: 'A' or 'B' -> a word for how it is cut.
        least: height of the least text, mm.
    """
    if len(parts.turns) <= MOST_CALLED_OUT:
        panel = _Panel(shape, parts, display, frame, height, fed_from, ends or {}, least)
        labels = panel.measured()
        best = panel.called_out(labels)
        # who comes first takes the nearest room: the other way round all may find some
        if best is None or best.strain > _LITTLE_STRAIN:
            best = panel.called_out(labels[::-1], inf if best is None else best.strain) or best
        if best is not None:
            return best.finished()
    return _listed(shape, parts, display, frame, height, fed_from, ends or {}, least)


def _listed(
    shape: SketchShape,
    parts: Parts,
    display: Display,
    frame: Box,
    height: float,
    fed_from: str,
    ends: Mapping[str, str],
    least: float,
) -> Picture:
    """The isometric with bends numbered only, and a list beside or below it: where more is left for the tube."""
    least = min(height, max(least, _LEAST_LIST))
    x0, y0, x1, y1 = frame
    number = min(height, 2.0)
    choices = []
    for beside in (x1 - x0 >= y1 - y0, x1 - x0 < y1 - y0):
        room = (0.5 * (x1 - x0), y1 - y0) if beside else (x1 - x0, 0.5 * (y1 - y0))
        text = height
        size = list_size(parts, display, text)
        while (size[0] > room[0] or size[1] > room[1]) and text > least:
            text = max(text - 0.1, least)
            size = list_size(parts, display, text, room[1])
        rest = (x0, y0, x1 - size[0] - 3.0, y1) if beside else (x0, y0 + size[1] + 3.0, x1, y1)
        corner = (x1 - size[0], y1) if beside else (x0, y0 + size[1])
        # where neither list has room the first one stands
        k = _fitted(shape, parts, rest, number).k if size[0] <= room[0] and size[1] <= room[1] else 0.0
        choices.append((k, rest, corner, text, room[1]))
    _, rest, corner, text, tall = max(choices, key=lambda choice: choice[0])
    panel = _Panel(shape, parts, display, rest, number, fed_from, ends, least)
    panel.numbered()
    picture = panel.finished()
    draw_list(picture, parts, display, corner, text, tall)
    return picture


def _fitted(shape: SketchShape, parts: Parts, frame: Box, height: float) -> Drawn:
    """The tube as large as a frame holds it with room around it for what is written there."""
    view = shape.isometric
    x0, y0, x1, y1 = frame
    width, tall = x1 - x0, y1 - y0
    mx, my = min(0.24 * width, 11.0 * height) * _MARGIN, min(0.22 * tall, 7.0 * height) * _MARGIN
    low_x, low_y, high_x, high_y = shape.bounds(view)
    for x, y in (view.flat(parts.start), view.flat(parts.end)):  # where an end is cut they lie off the metal
        low_x, low_y, high_x, high_y = min(low_x, x), min(low_y, y), max(high_x, x), max(high_y, y)
    k = min((width - 2 * mx) / max(high_x - low_x, 1e-9), (tall - 2 * my) / max(high_y - low_y, 1e-9))
    k = min(k, _THICKEST * height / max(shape.reach, 1e-9))
    middle = ((low_x + high_x) / 2.0, (low_y + high_y) / 2.0)
    origin = ((x0 + x1) / 2.0 - middle[0] * k, (y0 + y1) / 2.0 - middle[1] * k)
    return Drawn(view, k, origin, shape.reach * k)


class _Panel:
    """A tube drawn in a frame, with what is written around it, and what is taken of the room there."""

    def __init__(
        self,
        shape: SketchShape,
        parts: Parts,
        display: Display,
        frame: Box,
        height: float,
        fed_from: str,
        ends: Mapping[str, str],
        least: float,
    ) -> None:
        self.picture = Picture()
        self._least = min(least, height)
        self._crossed, self._longest = 0, 0.0  # leaders that run over something; the longest, in heights of text
        self._parts, self._display, self._h = parts, display, height
        self._room = Room(CELL, frame)
        self._shape, self._drawn = shape, _fitted(shape, parts, frame, height)
        self._middle = ((frame[0] + frame[2]) / 2.0, (frame[1] + frame[3]) / 2.0)
        self._room.take_strips(self._drawn.strips(shape))
        self._ends(shape.tube.run.closed, fed_from)
        self._cuts(shape, ends)

    @property
    def strain(self) -> float:
        """How hard it is to see what belongs to what."""
        return self._longest + _CROSSING * self._crossed

    # --- ends -----------------------------------------------------------------------------

    def _ends(self, closed: bool, fed_from: str) -> None:
        """Ends A and B and the arrow of the stick's travel; a straight one goes into no bender."""
        a, b = self._drawn.at(self._parts.start), self._drawn.at(self._parts.end)
        ta, tb = self._direction(self._parts.start_direction), self._direction(self._parts.end_direction)
        tail, ahead = a, False
        if self._parts.turns:
            tail, ahead = self._feed(a, ta) if fed_from == "A" else self._feed(b, tb + pi)
        for letter, end, out in (("A", a, ta + pi), ("B", b, tb + (pi / 2.0 if closed else 0.0))):
            place = tail if ahead and letter == fed_from else end
            end_mark(self.picture, self._room, letter, place, out, 1.25 * self._h)

    def _cuts(self, shape: SketchShape, ends: Mapping[str, str]) -> None:
        """A word at each end that is cut to fit."""
        for letter, point, d, sign in (
            ("A", shape.rim_middle(0), self._parts.start_direction, -1.0),
            ("B", shape.rim_middle(1), self._parts.end_direction, 1.0),
        ):
            word = ends.get(letter)
            if word:
                size = (wide(word, self._h), 1.4 * self._h)
                out = degrees(self._direction(d)) + (90.0 - 60.0 * sign)
                at, half = self._drawn.at(point), self._drawn.half
                spot = self._room.beside([at], Wish(size, out, 30.0 * self._h, half + 1.0, half + 2.0))
                if spot is not None:
                    self._centered(word, spot)
                    self._lead(spot)

    def _direction(self, d: Vec) -> float:
        x, y = self._drawn.view.flat(d)
        return atan2(y, x) if hypot(x, y) > 1e-6 else 0.0

    def _feed(self, a: Point, turn: float) -> tuple[Point, bool]:
        """The arrow out of the end fed first, or beside the tube: where the stick travels in the bender.

        Returns:
            Its far end, and whether it stands before the end of the tube.
        """
        h = self._h
        length, gap = 5.0 * h, 0.6 * h
        c, s = cos(turn), sin(turn)
        off = self._drawn.half + 1.6 * h
        tries = [(a[0] - gap * c, a[1] - gap * s)]  # before the open end, else beside the tube
        tries += [(a[0] + length * c - side * off * s, a[1] + length * s + side * off * c) for side in (1.0, -1.0)]
        for tip in tries:
            start = (tip[0] - length * c, tip[1] - length * s)
            # what is taken of the tube reaches past its end
            back = max(0.8, 1.45 * self._drawn.half + 1.8 - gap) if tip == tries[0] else 0.8
            if self._room.is_clear(start, (tip[0] - back * c, tip[1] - back * s), 0.5):
                break
        else:
            starts = [(tip[0] - length * c, tip[1] - length * s) for tip in tries]
            x0, y0, x1, y1 = self._room.frame
            kept = [k for k, (x, y) in enumerate(starts) if x0 < x < x1 and y0 < y < y1]
            tip, start = tries[(kept or [0])[0]], starts[(kept or [0])[0]]
        self.picture.stroke([tip, (start[0] + 1.5 * c, start[1] + 1.5 * s)], "feed")
        arrow_head(self.picture, start, turn + pi, "feed", (1.5 * h, 0.55 * h))
        self._room.take_line([start, tip], 0.5 * h)
        width = wide(TRAVEL, h, bold=True)
        middle = ((start[0] + tip[0]) / 2.0, (start[1] + tip[1]) / 2.0)
        spot = self._room.beside([middle], Wish((width, 1.3 * h), degrees(turn) + 90.0, 20.0 * h, 0.8))
        if spot is not None:
            self._centered(TRAVEL, spot, "feed")
        return start, tip == tries[0]

    # --- straights and bends --------------------------------------------------------------

    def measured(self) -> list[DrawnStraight | Turn]:
        """Write lengths beside their straights; returns all that is still to be written, from end A to end B."""
        found: list[DrawnStraight | Turn] = []
        for straight, turn in zip_longest(self._parts.straights, self._parts.turns):
            if not self._measured(straight):
                found.append(straight)
            if turn is not None:
                found.append(turn)
        return found

    def called_out(self, labels: Sequence[DrawnStraight | Turn], bearable: float = inf) -> _Panel | None:
        """The same with straights and bends called out in this order.

        Returns:
            None where one finds no room, or the strain comes up to what is bearable.
        """
        panel = copy(self)
        panel.picture, panel._room = self.picture.copy(), self._room.copy()
        for one in labels:
            found = panel._bend(one) if isinstance(one, Turn) else panel._short(one)
            if not found or panel.strain >= bearable:
                return None
        return panel

    def numbered(self) -> None:
        """Write only the numbers of the bends, those that fit."""
        h = self._h
        side = 2.0 * RING * h + 0.4
        for turn in self._parts.turns:
            at = self._drawn.at(turn.middle)
            out = degrees(self._outward(turn, at))
            half = self._drawn.half
            spot = self._room.beside([at], Wish((side, side), out, 40.0 * h, half + 0.8, half + 2.0))
            if spot is not None:
                self._centered(str(turn.number), spot, "tight" if turn.wrong else "strong", circled=True)
                leader(self.picture, self._room, spot)

    def _centered(self, text: str, spot: LabelSpot, role: str = "note", *, circled: bool = False) -> None:
        """A line of text in the middle of its place."""
        x, y = spot.middle
        self.picture.label(text, (x, y - self._h / 2.0), self._h, role, align="center", circled=circled)

    def _measured(self, straight: DrawnStraight) -> bool:
        """A dimension line beside a straight, on the side where there is more room; False where it has none."""
        if abs(straight.length) < 1e-6:
            return True
        if straight.length < 0.0:
            return False
        a, b = self._drawn.at(straight.start), self._drawn.at(straight.end)
        out = (a[0] + b[0]) / 2.0 - self._middle[0], (a[1] + b[1]) / 2.0 - self._middle[1]
        side = 1.0 if -(b[1] - a[1]) * out[0] + (b[0] - a[0]) * out[1] >= 0.0 else -1.0
        text = self._display.number(straight.length)
        half = self._drawn.half
        near = half + 1.6 * self._h
        return any(
            dimension(self.picture, self._room, a, b, sign * (near + step * self._h), text, self._h, half + 0.5)
            for step in (0.0, 2.2)
            for sign in (side, -side)
        )

    def _short(self, straight: DrawnStraight) -> bool:
        """The length of a straight that is too short on paper for its dimension, at the end of a leader."""
        a, b = self._drawn.at(straight.start), self._drawn.at(straight.end)
        at = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
        text = f"straight {self._display.number(straight.length)}"
        size = (wide(text, self._h), 1.5 * self._h)
        out = degrees(atan2(at[1] - self._middle[1], at[0] - self._middle[0]))
        half = self._drawn.half
        spot = self._room.beside([at], Wish(size, out, 22.0 * self._h, half + 1.2 * self._h, half + 2.0))
        if spot is None:
            return False
        self._centered(text, spot)
        self._lead(spot)
        return True

    def _outward(self, turn: Turn, at: Point) -> float:
        x, y = self._drawn.view.flat(turn.outward)
        if hypot(x, y) < 0.2 * hypot(*turn.outward):
            x, y = at[0] - self._middle[0], at[1] - self._middle[1]
        return atan2(y, x) if hypot(x, y) > 1e-9 else 0.0

    def _bend(self, turn: Turn) -> bool:
        """The call-out of a bend: its number in a circle, its lines beside it."""
        h = self._h
        lines = bend_words(turn, self._display)
        if turn.wrong:
            lines.append(turn.wrong)
        ring = 2.0 * RING * h
        size = (
            ring + 1.0 + max(wide(line, h) for line in lines),
            max(h * (_LINE * (len(lines) - 1) + 1.5), ring + 0.4),
        )
        at = self._drawn.at(turn.middle)
        out = degrees(self._outward(turn, at))
        half = self._drawn.half
        spot = self._room.beside([at], Wish(size, out, 24.0 * h, half + 1.5 * h, half + 2.0))
        if spot is None:
            return False
        left, middle = spot.box[0], spot.middle[1]
        role = "tight" if turn.wrong else "strong"
        self.picture.label(
            str(turn.number), (left + ring / 2.0, middle - h / 2.0), h, role, align="center", circled=True
        )
        top = middle + _LINE * h * (len(lines) - 1) / 2.0 - h / 2.0
        for i, line in enumerate(lines):
            wrong = bool(turn.wrong) and i == len(lines) - 1
            self.picture.label(line, (left + ring + 1.0, top - _LINE * h * i), h, "tight" if wrong else "note")
        self._lead(spot)
        return True

    def _lead(self, spot: LabelSpot) -> None:
        """A leader from what is labelled to its label, counted in the strain."""
        self._longest = max(self._longest, spot.far / self._h)
        self._crossed += spot.crossed > 0
        leader(self.picture, self._room, spot)

    # --- the rest -------------------------------------------------------------------------

    def finished(self) -> Picture:
        """The tube, and over it what is written on it, with a small cross of the drawing's axes."""
        self._axes(self._shape.axes)
        whole = Picture()
        draw(whole, self._shape, [self._drawn], self._parts.wrong, center=False)
        whole.put(self.picture, 0.0, 0.0)
        return whole

    def _axes(self, axes: ViewAxes) -> None:
        """A small cross of the drawing's axes, where there is room for one in a corner."""
        if axes.own:
            return
        x0, y0, x1, _ = self._room.frame
        h = max(0.85 * self._h, self._least)
        arm = 3.4 * h
        reach = arm + 1.6 * h
        for x in (x0 + reach, x1 - reach):
            box = (x - reach, y0, x + reach, y0 + 1.75 * reach)
            if self._room.is_free(box):
                self._room.take_text(box)
                middle = (x, y0 + 0.75 * reach)
                for axis, letter in ((axes.x, "x"), (axes.y, "y"), (axes.z, "z")):
                    u, v = self._drawn.view.flat(axis)
                    tip = (middle[0] + arm * u, middle[1] + arm * v)
                    self.picture.stroke([middle, tip], "dim")
                    arrow_head(self.picture, tip, atan2(v, u), "dim", HEAD)
                    far = (middle[0] + (arm + 0.9 * h) * u, middle[1] + (arm + 0.9 * h) * v)
                    self.picture.label(letter, (far[0], far[1] - h / 2.0), h, "dim", align="center")
                return


def _rows(parts: Parts, display: Display) -> list[list[str]]:
    rows = [["bend", "straight", "rotation", "angle", "CLR"]]
    for straight, turn in zip(parts.straights, parts.turns, strict=False):
        bend = turn.bend
        rotation = display.angle(bend.rotation) if turn.number > 1 else "-"
        radius = "sharp" if bend.clr is None else display.number(bend.clr)
        mark = " !" if turn.wrong else ""
        rows.append(
            [f"{turn.number}{mark}", display.number(straight.length), rotation, display.angle(bend.angle), radius]
        )
    rows.append(["end", display.number(parts.straights[-1].length), "", "", ""])
    return rows


def _widths(rows: list[list[str]], height: float) -> list[float]:
    return [max(wide(row[i], height) for row in rows) + _GAP * height for i in range(len(rows[0]))]


def _folds(count: int, height: float, tall: float) -> int:
    """How many columns of lines it takes to keep to a height."""
    most = max(2, int((tall - (0.5 + _HEAD) * height) / (_LIST_LINE * height)))
    return 1 if count <= most else ceil((count - 1) / (most - 1))


def list_size(parts: Parts, display: Display, height: float, tall: float = 1e9) -> Point:
    """Width and height of the list, mm.

    Args:
        parts: the run.
        display: how lengths are written.
        height: of text, mm.
        tall: the height to keep to by more columns, mm.
    """
    rows = _rows(parts, display)
    folds = _folds(len(rows), height, tall)
    lines = 1 + ceil((len(rows) - 1) / folds)
    return folds * sum(_widths(rows, height)) + (folds - 1) * 2.0 * height, lines * _LIST_LINE * height + (
        0.5 + _HEAD
    ) * height


def draw_list(
    picture: Picture, parts: Parts, display: Display, corner: Point, height: float, tall: float = 1e9
) -> None:
    """Draw the list with its top left corner at a place; numbers stand right-aligned."""
    rows = _rows(parts, display)
    widths = _widths(rows, height)
    folds = _folds(len(rows), height, tall)
    lines = ceil((len(rows) - 1) / folds)
    for fold in range(folds):
        left = corner[0] + fold * (sum(widths) + 2.0 * height)
        body = rows[1 + fold * lines : 1 + (fold + 1) * lines]
        for i, row in enumerate([rows[0], *body]):
            base = corner[1] - (_LIST_LINE * i + 1.3 + (_HEAD if i else 0.0)) * height
            at = left
            wrong = row[0].endswith("!")
            for text, width in zip(row, widths, strict=True):
                at += width
                if text:
                    role = "tight" if wrong else "strong" if i == 0 else "note"
                    picture.label(text, (at - 0.3 * height, base), height, role, align="right")
            if i == 0:
                under = base - 0.5 * height
                picture.stroke([(left, under), (left + sum(widths), under)], "dim")
