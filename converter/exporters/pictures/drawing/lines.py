"""The lines of a drawing as read: what became of each drawn curve, and what the tubes make of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, hypot

import numpy as np

from converter.exporters.paper.figure import Point, Room
from converter.exporters.pictures.drawing.plane import Array, Box, curve_points
from converter.findings import ERROR, Finding
from converter.model.curve import Ellipse, Line, Path, Polyline, Spline
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Tube

#: Findings that say a run stands for curves that are no straights and arcs.
_FITTED = frozenset({"curve-fitted", "not-line-arc"})
#: Findings that say a tube is not where it was drawn.
_MOVED = frozenset({"corner-filleted", "refit", "rebuild-deviation"})
#: Errors at a bend that do not speak of its shape.
_NOT_TIGHT = frozenset({"sweep-hits"})
#: How much of the run beside a sharp corner is drawn with it, mm.
_BESIDE_CORNER = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class RoleLines:
    """A role of `converter.exporters.pictures.picture.ROLES` and the lines (n, 3) in mm that have it."""

    role: str
    lines: list[Array]


def drawn_lines(drawing: Drawing, tubes: Sequence[Tube]) -> list[RoleLines]:
    """The drawn curves by what became of them.

    Returns:
        ``drawn``: part of a run as it stands (also the runs that the file gives as tables or solids);
        ``fitted``: stood for by straights and arcs; ``ignored``: part of no run.
    """
    used = {handle for tube in tubes for handle in tube.run.handles}
    fitted = {h for tube in tubes if _codes(tube) & _FITTED for h in tube.run.handles}
    nameless_fitted = any(_codes(tube) & _FITTED and not tube.run.handles for tube in tubes)
    found: dict[str, list[Array]] = {"ignored": [], "drawn": [], "fitted": []}
    for drawn in drawing.curves:
        if not tubes or (drawn.handle and used and drawn.handle not in used):
            role = "ignored"
        elif (drawn.handle in fitted if drawn.handle else nameless_fitted) and _is_free(drawn):
            role = "fitted"
        else:
            role = "drawn"
        found[role].append(curve_points(drawn.curve))
    ready = {id(tube) for tube in tubes[len(tubes) - len(drawing.tables) :]} if drawing.tables else set()
    for tube in tubes:
        if id(tube) in ready or not drawing.curves:
            found["drawn"] += _centerline(tube)
    return [RoleLines(role, lines) for role, lines in found.items() if lines]


def bent_lines(drawing: Drawing, tubes: Sequence[Tube]) -> list[Array]:
    """Centerlines of the tubes that will not lie where they were drawn."""
    if not drawing.curves:
        return []
    return [points for tube in tubes if _codes(tube) & _MOVED for points in _centerline(tube)]


def tight_lines(tubes: Sequence[Tube], findings: Sequence[Finding]) -> list[Array]:
    """The bends that an error names: their arcs, or the corner with a little of the straights beside it."""
    wanted: dict[str | None, set[int]] = {}
    for f in findings:
        if f.severity == ERROR and f.bend and f.code not in _NOT_TIGHT:
            wanted.setdefault(f.tube, set()).add(f.bend)
    found = []
    for tube in tubes:
        numbers = wanted.get(tube.name, set())
        found += [points for k, points in enumerate(_bends(tube, numbers), 1) if k in numbers] if numbers else []
    return found


def _bends(tube: Tube, numbers: set[int]) -> list[Array]:
    """For each bend its arc, or its corner with a little of what is beside it; empty for those not asked for."""
    segments = tube.run.centerline
    found: list[Array] = []
    at = 0  # how many segments are behind
    for k, bend in enumerate(tube.run.table.bends, 1):
        # as `converter.model.centerline.rebuild` makes them: no straight without a length
        if bend.feed > 1e-9 and at < len(segments) and isinstance(segments[at], Line):
            at += 1
        if bend.clr is not None:
            found.append(curve_points(segments[at]) if k in numbers else _NO_POINTS)
            at += 1
            continue
        before = curve_points(segments[at - 1].reversed()) if at and k in numbers else _NO_POINTS
        after = curve_points(segments[at]) if at < len(segments) and k in numbers else _NO_POINTS
        sides = [_first_part(points) for points in (before, after) if len(points)]
        found.append(np.concatenate([sides[0][::-1], *sides[1:]]) if sides else _NO_POINTS)
    return found


_NO_POINTS: Array = np.zeros((0, 3))


def _first_part(points: Array) -> Array:
    """The beginning of a line, up to `_BESIDE_CORNER` mm or a third of it."""
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    share = min(_BESIDE_CORNER, 0.3 * length) / length
    if len(points) == 2:
        return np.array([points[0], points[0] + share * (points[1] - points[0])])
    return points[: max(2, ceil(share * (len(points) - 1)) + 1)]


def _codes(tube: Tube) -> set[str]:
    return {f.code for f in (*tube.run.findings, *tube.findings)}


def _is_free(drawn: DrawnCurve) -> bool:
    """Whether it was drawn as something else than straights and arcs."""
    curve = drawn.curve
    if isinstance(curve, Path):
        return any(isinstance(part, Polyline) and len(part.points) > 2 for part in curve.parts)
    return isinstance(curve, (Spline, Ellipse)) or (isinstance(curve, Polyline) and len(curve.points) > 2)


def _centerline(tube: Tube) -> list[Array]:
    parts = [curve_points(segment) for segment in tube.run.centerline]
    return [np.concatenate(parts)] if parts else []


class Free:
    """Finds room for labels inside a frame, beside lines where it can be, never on another label.

    Args:
        frame: the box labels stay in, mm of paper.
    """

    #: Above so many straights a drawing is too dense to keep labels off its lines.
    MOST = 6000

    def __init__(self, frame: Box) -> None:
        self._frame = frame
        self._labels = Room(1.0)
        self._all = Room(1.0)
        self._straights = 0

    def keep_off(self, line: Sequence[Point]) -> None:
        """Labels should not lie on this line."""
        self._straights += len(line) - 1
        if self._straights <= self.MOST:
            for a, b in pairwise(line):
                self._all.take_line(a, b, 0.4)

    def take(self, box: Box) -> None:
        """Labels must not lie here."""
        self._labels.take_box(box)
        self._all.take_box(box)

    def place(
        self, anchor: Point, size: Point, toward: float = 45.0, reach: float = 30.0, *, on_lines: bool = True
    ) -> Point | None:
        """Centre of the nearest free box beside an anchor, which is then taken; None when there is none.

        Args:
            anchor: what it belongs to.
            size: width and height, mm.
            toward: preferred direction, degrees.
            reach: how far away it may be, mm.
            on_lines: whether it may lie on lines where no place is clear of them.
        """
        for room in (self._all, self._labels) if on_lines or self._straights > self.MOST else (self._all,):
            for box, center in _around(anchor, size, toward, reach):
                if self._inside(box) and room.is_free(box):
                    self.take(box)
                    return center
        return None

    def place_led(self, anchor: Point, size: Point, toward: float, reach: float) -> Point | None:
        """The same for a label with a leader: one that crosses nothing before one that crosses lines, never a label."""
        for room, own in ((self._all, 1.5), (self._labels, 0.0)):
            for box, center in _around(anchor, size, toward, reach):
                if self._inside(box) and self._all.is_free(box):
                    near = toward_edge(center, size, anchor)
                    far = hypot(near[0] - anchor[0], near[1] - anchor[1])
                    steps = int(max(0.0, far - own - 1.2) / 0.8)
                    c, s = (near[0] - anchor[0]) / max(far, 1e-9), (near[1] - anchor[1]) / max(far, 1e-9)
                    places = ((anchor[0] + c * d, anchor[1] + s * d) for d in (own + 0.8 * k for k in range(steps + 1)))
                    if all(room.is_free((x, y, x, y)) for x, y in places):
                        self.take(box)
                        return center
        return None

    def take_leader(self, start: Point, end: Point) -> None:
        """A leader that was drawn: no label may lie on it."""
        for room in (self._all, self._labels):
            room.take_line(start, end, 0.2)

    def place_along(self, start: Point, end: Point, size: Point) -> tuple[Point, float] | None:
        """Middle and direction (degrees, upright) of a text of a size beside a straight, taken; None without room."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        length = hypot(dx, dy)
        if length < size[0] or length < 1e-9:
            return None
        ux, uy = dx / length, dy / length
        turn = float(np.degrees(np.arctan2(uy, ux)))
        turn = turn - 180.0 if turn > 90.0 + 1e-6 else turn + 180.0 if turn <= -90.0 + 1e-6 else turn
        half = size[1] / 2.0
        for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8):
            for side in (1.0, -1.0):
                off = side * (half + 0.9)
                x, y = start[0] + share * dx - off * uy, start[1] + share * dy + off * ux
                reach = size[0] / 2.0
                a, b = (x - reach * ux, y - reach * uy), (x + reach * ux, y + reach * uy)
                boxes = [
                    (p - half, q - half, p + half, q + half)
                    for k in range(ceil(size[0] / half) + 1)
                    for p, q in [(a[0] + (b[0] - a[0]) * k * half / size[0], a[1] + (b[1] - a[1]) * k * half / size[0])]
                ]
                # its own line passes at the edge of the room that boxes keep, so that is measured a little less
                slim = [(p + 0.35, q + 0.35, r - 0.35, s - 0.35) for p, q, r, s in boxes]
                if all(map(self._inside, boxes)) and all(map(self._all.is_free, slim)):
                    for room in (self._all, self._labels):
                        room.take_line(a, b, half)
                    return (x, y), turn
        return None

    def _inside(self, box: Box) -> bool:
        x0, y0, x1, y1 = self._frame
        return box[0] >= x0 and box[1] >= y0 and box[2] <= x1 and box[3] <= y1


def _around(anchor: Point, size: Point, toward: float, reach: float) -> Iterator[tuple[Box, Point]]:
    """Boxes of a size beside an anchor and their centres, the nearest and those in the wanted direction first."""
    for ring_number in range(ceil(reach / 1.5)):
        for turn in (0, 30, -30, 60, -60, 90, -90, 120, -120, 150, -150, 180):
            yield _beside(anchor, size, toward + turn, 1.6 + 1.5 * ring_number)


def _beside(anchor: Point, size: Point, angle: float, out: float) -> tuple[Box, Point]:
    """The box of a size whose edge lies ``out`` mm from the anchor in a direction, and its centre."""
    a = np.radians(angle)
    c, s = float(np.cos(a)), float(np.sin(a))
    w, h = size
    # from the centre of a box to its edge in this direction
    edge = min(w / 2 / abs(c) if abs(c) > 1e-9 else 1e9, h / 2 / abs(s) if abs(s) > 1e-9 else 1e9)
    x, y = anchor[0] + c * (out + edge), anchor[1] + s * (out + edge)
    return (x - w / 2, y - h / 2, x + w / 2, y + h / 2), (x, y)


def ring(center: Point, radius: float, corners: int = 16, turn: float = 0.0) -> list[Point]:
    """A regular polygon: many corners make a ring, four a diamond, three a triangle."""
    angles = np.radians(90.0 + turn) + np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    return [(center[0] + radius * float(np.cos(a)), center[1] + radius * float(np.sin(a))) for a in angles]


def toward_edge(center: Point, size: Point, other: Point) -> Point:
    """Where the straight from a box's centre toward another point leaves the box."""
    dx, dy = other[0] - center[0], other[1] - center[1]
    far = hypot(dx, dy)
    if far < 1e-9:
        return center
    k = min(size[0] / 2 / abs(dx) if abs(dx) > 1e-9 else 1e9, size[1] / 2 / abs(dy) if abs(dy) > 1e-9 else 1e9)
    return center[0] + dx * min(k, 1.0), center[1] + dy * min(k, 1.0)
