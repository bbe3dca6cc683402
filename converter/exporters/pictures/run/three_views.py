"""Front, top and right view of a run side by side, with its sizes over all.

First angle for millimetres, third angle for inches, each with its symbol (ISO 5456-2), and every view named.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import atan2, cos, degrees, hypot, pi, sin

from converter.exporters.paper.figure import Box, Point
from converter.exporters.paper.room import Room, Wish
from converter.exporters.pictures.annotation import CELL, dimension, end_mark, leader, wide
from converter.exporters.pictures.picture import RING, Picture
from converter.exporters.pictures.run.parts import Parts
from converter.exporters.pictures.run.sketch import Drawn, SketchShape, draw
from converter.exporters.pictures.views import ViewAxes
from converter.geometry.vectors import Vec
from converter.units import Display

_NAMES = {"front": "front view", "top": "top view", "right": "view from the right"}
#: More bends than this are not numbered here.
_MOST_NUMBERED = 12
#: A number farther than this from the middle of its bend has a line to it, mm.
_FAR = 6.0


def views_panel(
    shape: SketchShape, parts: Parts, display: Display, frame: Box, height: float, names: Sequence[str]
) -> Picture:
    """Views within a frame, as a picture in the frame's coordinates.

    Args:
        shape, parts: the tube.
        display: how lengths are written; its unit decides between first and third angle.
        frame: x low, y low, x high, y high, mm.
        height: of text, mm.
        names: of 'front', 'top', 'right'.
    """
    picture = Picture()
    third = display.unit == "in"
    axes = shape.axes
    views = [axes.named(name, shape.tube.run) for name in names]
    # where each stands: column and row from the lower left
    columns, rows = _grid(third)
    sizes = {view.name: shape.bounds(view) for view in views}
    wides = [max((_wide(sizes[n]) for n in names if columns[n] == c), default=0.0) for c in (0, 1)]
    talls = [max((_tall(sizes[n]) for n in names if rows[n] == r), default=0.0) for r in (0, 1)]
    pad_x, pad_y = 5.5 * height, 5.0 * height
    used_x, used_y = sum(w > 0.0 for w in wides), sum(t > 0.0 for t in talls)
    x0, y0, x1, y1 = frame
    spare_x, spare_y = x1 - x0 - 2.0 * pad_x * used_x, y1 - y0 - 2.0 * pad_y * used_y
    k = min(spare_x / max(sum(wides), 1e-9), spare_y / max(sum(talls), 1e-9))
    left = x0 + (x1 - x0 - k * sum(wides) - 2.0 * pad_x * used_x) / 2.0
    low = y0 + (y1 - y0 - k * sum(talls) - 2.0 * pad_y * used_y) / 2.0
    room = Room(CELL, frame)
    drawn: dict[str, tuple[Drawn, Box]] = {}
    for view in views:
        column, row = columns[view.name], rows[view.name]
        bx0, by0, bx1, by1 = sizes[view.name]
        x = left + pad_x + column * (k * wides[0] + 2.0 * pad_x * (wides[0] > 0.0))
        y = low + pad_y + row * (k * talls[0] + 2.0 * pad_y * (talls[0] > 0.0))
        one = Drawn(view, k, (x - bx0 * k, y - by0 * k), shape.reach * k)
        drawn[view.name] = one, (x, y, x + (bx1 - bx0) * k, y + (by1 - by0) * k)
        a, b = shape.chords(view)
        room.take_strips([(a * k + one.origin, b * k + one.origin, one.half + 0.3)])
    draw(picture, shape, [one for one, _ in drawn.values()], parts.wrong, center=True)
    for name, (_, box) in drawn.items():
        _name(picture, room, _NAMES[name], box, height)
    _sizes(picture, room, shape, axes, display, {n: box for n, (_, box) in drawn.items()}, third, height)
    for one, _ in drawn.values():
        _marks(picture, room, one, parts, height)
    if len(names) > 1:
        _symbol(picture, room, third, height, frame)
    return picture


def _grid(third: bool) -> tuple[dict[str, int], dict[str, int]]:
    """Column and row of each view."""
    if third:
        return {"front": 0, "top": 0, "right": 1}, {"front": 0, "top": 1, "right": 0}
    return {"front": 1, "top": 1, "right": 0}, {"front": 1, "top": 0, "right": 1}


def _wide(box: Box) -> float:
    return box[2] - box[0]


def _tall(box: Box) -> float:
    return box[3] - box[1]


def _name(picture: Picture, room: Room, text: str, box: Box, height: float) -> None:
    """The name of a view under it."""
    half = wide(text, height) / 2.0
    x = min(max((box[0] + box[2]) / 2.0, room.frame[0] + half), room.frame[2] - half)
    base = box[1] - 2.6 * height
    picture.label(text, (x, base), height, "note", align="center")
    room.take_text((x - half, base - 0.3 * height, x + half, base + 1.1 * height))


def _sizes(
    picture: Picture,
    room: Room,
    shape: SketchShape,
    axes: ViewAxes,
    display: Display,
    boxes: dict[str, Box],
    third: bool,
    height: float,
) -> None:
    """The sizes over all: width above the front column, height and depth at its outer side."""

    def size(axis: Vec) -> str:
        low, high = shape.span(axis)
        return display.number(high - low) if high - low > 1e-6 else ""

    above = next((boxes[n] for n in (("top", "front") if third else ("front", "top")) if n in boxes), None)
    if above is not None:
        _over(picture, room, (above[0], above[3]), (above[2], above[3]), size(axes.x), height)
    for name, axis in (("front", axes.z), ("top", axes.y)):
        if name in boxes:
            b = boxes[name]
            x = b[0] if third else b[2]
            ends = ((x, b[1]), (x, b[3])) if third else ((x, b[3]), (x, b[1]))
            _over(picture, room, *ends, size(axis), height)
    if "right" in boxes:
        b = boxes["right"]
        if "top" not in boxes:
            _over(picture, room, (b[0], b[3]), (b[2], b[3]), size(axes.y), height)
        if "front" not in boxes:
            _over(picture, room, (b[2], b[3]), (b[2], b[1]), size(axes.z), height)


def _over(picture: Picture, room: Room, a: Point, b: Point, text: str, height: float) -> None:
    """A dimension, or where the view is too thin for it the number at the end of a leader; no text is no size."""
    off = 1.6 * height
    if not text or any(dimension(picture, room, a, b, k * off, text, height) for k in (1.0, 1.5, 2.0)):
        return
    length = hypot(b[0] - a[0], b[1] - a[1])
    ux, uy = ((b[0] - a[0]) / length, (b[1] - a[1]) / length) if length > 1e-9 else (1.0, 0.0)
    nx, ny = -uy, ux
    p, q = (a[0] + nx * off, a[1] + ny * off), (b[0] + nx * off, b[1] + ny * off)
    size = (wide(text, height), 1.5 * height)
    middle = ((p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0)
    spot = room.beside([middle], Wish(size, degrees(atan2(ny, nx)), 12.0 * height, 0.8))
    if spot is None:
        return
    picture.stroke([p, q], "dim")
    for foot, end in ((a, p), (b, q)):
        picture.stroke([(foot[0] + nx * 0.8, foot[1] + ny * 0.8), (end[0] + nx, end[1] + ny)], "dim")
    x, y = spot.middle
    picture.label(text, (x, y - height / 2.0), height, "note", align="center")
    leader(picture, room, spot)


def _marks(picture: Picture, room: Room, one: Drawn, parts: Parts, height: float) -> None:
    """Ends A and B, and numbers of the bends, where there is room."""
    for letter, point, direction, sign in (
        ("A", parts.start, parts.start_direction, -1.0),
        ("B", parts.end, parts.end_direction, 1.0),
    ):
        x, y = one.view.flat(direction)
        at = one.at(point)
        turn = atan2(sign * y, sign * x) if hypot(x, y) > 1e-6 else 0.0
        end_mark(picture, room, letter, at, turn, height)
    if len(parts.turns) > _MOST_NUMBERED:
        return
    side = 2.0 * RING * height + 0.3
    for turn_ in parts.turns:
        at = one.at(turn_.middle)
        x, y = one.view.flat(turn_.outward)
        out = degrees(atan2(y, x)) if hypot(x, y) > 1e-6 else 90.0
        wish = Wish((side, side), out, one.half + 5.0 * height, one.half + 0.6, one.half + 2.0)
        spot = room.beside([at], wish)
        if spot is None:
            continue
        role = "tight" if turn_.wrong else "strong"
        x, y = spot.middle
        picture.label(str(turn_.number), (x, y - height / 2.0), height, role, align="center", circled=True)
        if spot.far > _FAR:
            leader(picture, room, spot)


def _symbol(picture: Picture, room: Room, third: bool, height: float, frame: Box) -> None:
    """The symbol of the arrangement: a cone's two views (ISO 5456-2), with its name, in a free corner."""
    text = f"{'third' if third else 'first'} angle"
    r = 1.6 * height
    width, tall = max(6.5 * r, wide(text, height)), 2.0 * r + 2.6 * height
    x0, y0, x1, y1 = frame
    for x in (x1 - width, x0) if third else (x0, x1 - width):
        for y in (y1 - tall, y0) if third else (y0, y1 - tall):
            if room.is_free((x, y, x + width, y + tall)):
                room.take_text((x, y, x + width, y + tall))
                middle = (x + width / 2.0, y + tall - r)
                _cone(picture, middle, r, third)
                picture.label(text, (middle[0], y + 0.5 * height), height, "note", align="center")
                return


def _cone(picture: Picture, middle: Point, r: float, third: bool) -> None:
    """The cone points to the left: its view from the left stands left of it in third angle, else right."""
    side = 1.0 if third else -1.0
    x, y = middle[0] + side * 1.6 * r, middle[1]
    half = r
    picture.stroke(
        [(x - half, y - r / 2.0), (x + half, y - r), (x + half, y + r), (x - half, y + r / 2.0)], "dim", closed=True
    )
    cx = middle[0] - side * 1.6 * r
    for radius in (r / 2.0, r):
        ring = [(cx + radius * cos(k * pi / 16), y + radius * sin(k * pi / 16)) for k in range(32)]
        picture.stroke(ring, "dim", closed=True)
    picture.stroke([(x - 1.25 * r, y), (x + 1.25 * r, y)], "dim")
    picture.stroke([(cx - 1.2 * r, y), (cx + 1.2 * r, y)], "dim")
    picture.stroke([(cx, y - 1.2 * r), (cx, y + 1.2 * r)], "dim")
