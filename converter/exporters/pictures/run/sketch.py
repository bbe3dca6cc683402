"""A tube drawn in one view at a scale: outline, skin, centerline; and the exact sizes it has along an axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import atan2, hypot, pi
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError
from converter.exporters.paper.figure import Point
from converter.exporters.pictures.cells import strips_of
from converter.exporters.pictures.hidden.outline import VisibleOutline, bend_steps, outline
from converter.exporters.pictures.hidden.solid import Solid, solid_of
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.views import View, ViewAxes, axes_of
from converter.geometry.vectors import Vec, cross, dot, rotate, scale, sub
from converter.model.curve import Arc, Segment
from converter.model.run import Tube

if TYPE_CHECKING:
    from converter.exporters.pictures.cells import Strips
    from converter.joints.model import Joint

#: A tube thinner than this on paper is drawn as one line, mm.
_ONE_LINE = 0.7
#: Greatest distance of a drawn line from the true one, mm of paper: half of it in each of two steps.
_CHORD = 0.01
#: The same for what is filled under the lines.
_SKIN = 0.05
#: Width of paper, mm.
_SHEET = 180.0
#: Points of a line up to which it takes longer to ask numpy of all at once.
_FEW = 24


@dataclass(frozen=True)
class SketchShape:
    """A tube to be drawn: its surfaces where it has some, its centerline where not.

    Attributes:
        tube: the tube.
        solid: None where its section is not known or its bends overlap.
    """

    tube: Tube
    solid: Solid | None

    @classmethod
    def of(cls, tube: Tube, joints: Sequence[Joint] = ()) -> SketchShape:
        """The shape of a tube; its ends are cut to fit where joints say so."""
        try:
            return cls(tube, solid_of(tube, joints))
        except GeometryError:  # no section, or straights shorter than nothing: its line is all there is
            return cls(tube, None)

    @cached_property
    def line(self) -> tuple[Segment, ...]:
        """The centerline."""
        return self.tube.run.centerline

    @property
    def reach(self) -> float:
        """From the centerline to the outside, mm; 0 where only the line is known."""
        return 0.0 if self.solid is None else self.solid.outer.reach

    @cached_property
    def axes(self) -> ViewAxes:
        """The axes that it is shown along."""
        return axes_of(self.tube.run)

    @cached_property
    def isometric(self) -> View:
        """From the corner that shows it best."""
        return self.axes.best_isometric(self.tube.run)

    @cached_property
    def _outlines(self) -> dict[tuple[Vec, Vec, tuple[int, ...]], VisibleOutline]:
        return {}

    def outline(self, view: View, k: float) -> VisibleOutline:
        """What is seen of its solid, as `converter.exporters.pictures.hidden.outline.outline`; worked out once.

        Args:
            view: from where.
            k: scale of the picture, mm of paper per mm. All that fit on a sheet of paper share one outline.
        """
        assert self.solid is not None
        x0, y0, x1, y1 = self.bounds(view)
        chord = max(_CHORD / max(k, _SHEET / max(x1 - x0, y1 - y0, 1e-9)), 1e-4)
        key = (view.right, view.up, bend_steps(self.solid, chord))
        if key not in self._outlines:
            self._outlines[key] = outline(self.solid, view.right, view.up, chord)
        return self._outlines[key]

    def span(self, axis: Vec) -> tuple[float, float]:
        """Least and greatest coordinate along a unit axis, exact, of the metal (or of the line)."""
        found = [dot(self.tube.run.start, axis), dot(self.tube.run.end, axis)]
        for s in self.line:
            found += [dot(s.start, axis), dot(s.end, axis)]
            if isinstance(s, Arc):
                found += [dot(s.point(a), axis) for a in _extremes(s, axis)]
        if self.solid is None:
            return min(found), max(found)
        ring = self.solid.outer
        low, high = [], []
        count = len(self.solid.pieces)
        for i, piece in enumerate(self.solid.pieces):
            stations = []
            if i or self.solid.cuts[0] is None:
                stations.append((piece.start.point, piece.start.up, piece.start.across))
            if i < count - 1 or self.solid.cuts[1] is None:
                stations.append((piece.end.point, piece.end.up, piece.end.across))
            if piece.arc is not None:
                for angle in _extremes(piece.arc, axis):
                    p = piece.arc.point(angle)
                    stations.append(
                        (p, _turned(piece.start.up, piece.arc, angle), _turned(piece.start.across, piece.arc, angle))
                    )
            for p, up, across in stations:
                a, b = dot(up, axis), dot(across, axis)
                out = abs(a) * ring.up + abs(b) * ring.across + hypot(a, b) * ring.rounding
                low.append(dot(p, axis) - out)
                high.append(dot(p, axis) + out)
        for rim in self.solid.rims:
            if rim is not None:
                along = rim @ axis
                low.append(float(along.min()))
                high.append(float(along.max()))
        return min(low), max(high)

    def rim_middle(self, end: int) -> Vec:
        """The middle of the metal's rim at end A (0) or B (1)."""
        rim = None if self.solid is None else self.solid.rims[end]
        if rim is None:
            return self.tube.run.end if end else self.tube.run.start
        x, y, z = rim.mean(axis=0).tolist()
        return x, y, z

    @cached_property
    def _bounds(self) -> dict[View, tuple[float, float, float, float]]:
        return {}

    def bounds(self, view: View) -> tuple[float, float, float, float]:
        """x low, y low, x high, y high in a view, mm."""
        if view not in self._bounds:
            (x0, x1), (y0, y1) = self.span(view.right), self.span(view.up)
            self._bounds[view] = x0, y0, x1, y1
        return self._bounds[view]


@dataclass(frozen=True)
class Drawn:
    """A tube on paper.

    Attributes:
        view: from where.
        k: scale, mm of paper per mm.
        origin: where the origin of the view comes on paper.
        half: half the tube's thickness on paper.
    """

    view: View
    k: float
    origin: Point
    half: float

    def at(self, p: Vec) -> Point:
        """A point on paper."""
        x, y = self.view.flat(p)
        return self.origin[0] + x * self.k, self.origin[1] + y * self.k

    @property
    def is_line(self) -> bool:
        """Whether it is so thin that its line is all that is drawn."""
        return 2.0 * self.half < _ONE_LINE

    def strips(self, shape: SketchShape) -> list[Strips]:
        """What the tube takes of the paper."""
        import numpy as np

        way = [np.array([self.at(p) for p in points_of(s)]) for s in shape.line]
        found = [strips_of(way, 0.9 * self.half + 0.3)]
        if shape.solid is not None and not self.is_line:
            lines = [points * self.k + self.origin for points, _, _ in shape.outline(self.view, self.k).lines]
            found.append(strips_of(lines, 0.3))
        return found


def draw(picture: Picture, shape: SketchShape, drawn: Drawn, tight: frozenset[int], center: bool) -> None:
    """Draw a tube into a picture.

    Args:
        picture: to draw into.
        shape: the tube.
        drawn: how it comes on paper.
        tight: numbers of bends to be marked.
        center: whether the centerline is drawn too.
    """

    def put(points: Any, near: float = _CHORD) -> list[Point]:
        return simplified(points * drawn.k + drawn.origin, near)

    solid = shape.solid
    if solid is None or drawn.is_line:
        for s, bend in numbered(shape):
            picture.stroke([drawn.at(p) for p in points_of(s)], "tight" if bend in tight else "tube")
        return
    found = shape.outline(drawn.view, drawn.k)
    for one in found.inside:
        picture.fill([put(one)], "bore")
    for one in found.skin:
        picture.fill([put(one, _SKIN)], "skin")
    for one in found.bores:
        picture.fill([put(one)], "bore")
    if center:
        for s, _ in numbered(shape):
            picture.stroke([drawn.at(p) for p in points_of(s)], "center")
    for points, role, piece in found.lines:
        wrong = solid.pieces[piece].bend in tight and role == "tube"
        picture.stroke(put(points), "tight" if wrong else role)


def numbered(shape: SketchShape) -> list[tuple[Segment, int]]:
    """The straights and arcs in order, with the number of their bend; 0 for straights."""
    numbers = iter([i for i, bend in enumerate(shape.tube.run.table.bends, 1) if bend.clr is not None])
    return [(s, next(numbers) if isinstance(s, Arc) else 0) for s in shape.line]


def points_of(segment: Segment) -> list[Vec]:
    """Points along a straight or an arc, near enough to draw."""
    if not isinstance(segment, Arc):
        return [segment.start, segment.end]
    n = max(4, round(segment.angle / 4.0))
    return [segment.point(segment.angle * i / n) for i in range(n + 1)]


def simplified(rows: Any, near: float) -> list[Point]:
    """A line through fewer of its points, none of them farther than ``near`` from it (Ramer, Douglas and Peucker).

    Args:
        rows: (n, 2) points.
        near: as ``rows``.
    """
    points: list[Point] = [(x, y) for x, y in rows.tolist()]
    keep = [False] * len(points)
    keep[0] = keep[-1] = True
    spans = [(0, len(points) - 1)] if len(points) > 2 else []
    while spans:
        a, b = spans.pop()
        if b - a == 1:
            continue
        at, worst = _farthest(rows[a : b + 1]) if b - a > _FEW else _farthest_of_few(points[a : b + 1])
        if worst > near * near:
            keep[a + at] = True
            spans += [(a, a + at), (a + at, b)]
    return [p for p, kept in zip(points, keep, strict=True) if kept]


def _farthest(rows: Any) -> tuple[int, float]:
    """Which of a line's points lies farthest from its ends' chord, and the square of how far."""
    import numpy as np

    x, y = (rows[1:-1] - rows[0]).T
    dx, dy = (rows[-1] - rows[0]).tolist()
    along = np.minimum(np.maximum((x * dx + y * dy) / (dx * dx + dy * dy or 1.0), 0.0), 1.0)
    x, y = x - along * dx, y - along * dy
    off = x * x + y * y
    at = int(off.argmax())
    return at + 1, float(off[at])


def _farthest_of_few(points: list[Point]) -> tuple[int, float]:
    """As `_farthest`, of so few points that it is quicker one by one."""
    (ax, ay), (bx, by) = points[0], points[-1]
    dx, dy = bx - ax, by - ay
    length = dx * dx + dy * dy or 1.0  # of no length, a span is a point: what lies along it is 0
    worst, at = 0.0, 0
    for i, (px, py) in enumerate(points[1:-1], 1):
        x, y = px - ax, py - ay
        along = (x * dx + y * dy) / length
        if along > 0.0:
            along = min(along, 1.0)
            x -= along * dx
            y -= along * dy
        off = x * x + y * y
        if off > worst:
            worst, at = off, i
    return at, worst


def _extremes(arc: Arc, axis: Vec) -> list[float]:
    """Angles in degrees from the start of an arc, within it, at which it runs square to an axis."""
    arm = scale(sub(arc.start, arc.center), 1.0 / arc.radius)
    ahead = cross(arc.normal, arm)
    a = atan2(dot(ahead, axis), dot(arm, axis)) * 180.0 / pi
    return [angle for turn in (-360.0, -180.0, 0.0, 180.0, 360.0) if 0.0 < (angle := a + turn) < arc.angle]


def _turned(v: Vec, arc: Arc, angle: float) -> Vec:
    return rotate(v, arc.normal, angle)
