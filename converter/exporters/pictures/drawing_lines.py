"""The lines of a drawing as read: what became of each drawn curve, and what the tubes make of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, hypot

import numpy as np

from converter.exporters.figure import Point, Room
from converter.exporters.pictures.drawing_plane import Array, Box, curve_points
from converter.findings import ERROR, Finding
from converter.model.curve import Ellipse, Path, Polyline, Spline
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
class Lines:
    """A role of `converter.exporters.pictures.picture.ROLES` and the lines (n, 3) in mm that have it."""

    role: str
    lines: list[Array]


def drawn_lines(drawing: Drawing, tubes: Sequence[Tube]) -> list[Lines]:
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
    return [Lines(role, lines) for role, lines in found.items() if lines]


def bent_lines(drawing: Drawing, tubes: Sequence[Tube]) -> list[Array]:
    """Centerlines of the tubes that will not lie where they were drawn."""
    if not drawing.curves:
        return []
    return [points for tube in tubes if _codes(tube) & _MOVED for points in _centerline(tube)]


def tight_lines(tubes: Sequence[Tube], findings: Sequence[Finding]) -> list[Array]:
    """The bends that an error names: their arcs, or the corner with a little of the straights beside it."""
    wanted = {(f.tube, f.bend) for f in findings if f.severity == ERROR and f.bend and f.code not in _NOT_TIGHT}
    by_name = {tube.name: tube for tube in tubes}
    found = []
    for name, number in sorted(wanted, key=str):
        tube = by_name.get(name or "")
        if tube is None or not 1 <= (number or 0) <= len(tube.run.table.bends):
            continue
        found.append(_bend_points(tube, number or 0))
    return found


def _bend_points(tube: Tube, number: int) -> Array:
    bend = tube.run.table.bends[number - 1]
    if bend.clr is not None:
        arcs = [segment for segment in tube.run.centerline if hasattr(segment, "radius")]
        row = sum(b.clr is not None for b in tube.run.table.bends[: number - 1])
        if row < len(arcs):
            return curve_points(arcs[row])
    corner = np.array(tube.run.bend_point(number))
    sides = []
    for segment in tube.run.centerline:
        for near in (segment.start, segment.end):
            length = segment.length
            if float(np.linalg.norm(np.array(near) - corner)) < 1e-6 * (1.0 + length):
                points = curve_points(segment if near == segment.start else segment.reversed())
                share = min(_BESIDE_CORNER, 0.3 * length) / length
                if len(points) == 2:
                    points = np.array([points[0], points[0] + share * (points[1] - points[0])])
                sides.append(points[: max(2, ceil(share * (len(points) - 1)) + 1)])
    if len(sides) < 2:
        return np.array([corner, corner])
    return np.concatenate([sides[0][::-1], sides[1]])


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

    def place(self, anchor: Point, size: Point, toward: float = 45.0, reach: float = 30.0) -> Point | None:
        """Centre of the nearest free box beside an anchor, which is then taken; None when there is none.

        Args:
            anchor: what it belongs to.
            size: width and height, mm.
            toward: preferred direction, degrees.
            reach: how far away it may be, mm.
        """
        for room in (self._all, self._labels):
            for ring in range(ceil(reach / 1.5)):
                for turn in (0, 30, -30, 60, -60, 90, -90, 120, -120, 150, -150, 180):
                    box, center = _beside(anchor, size, toward + turn, 1.6 + 1.5 * ring)
                    if self._inside(box) and room.is_free(box):
                        self.take(box)
                        return center
        return None

    def _inside(self, box: Box) -> bool:
        x0, y0, x1, y1 = self._frame
        return box[0] >= x0 and box[1] >= y0 and box[2] <= x1 and box[3] <= y1


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
