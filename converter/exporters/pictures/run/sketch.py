"""A tube drawn in one view at a scale: outline, skin, centerline; and the exact sizes it has along an axis."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import atan2, hypot, pi
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError
from converter.exporters.paper.cells import chords_of
from converter.exporters.paper.figure import Point
from converter.exporters.pictures.hidden.outline import VisibleOutline, bend_steps, outlines
from converter.exporters.pictures.hidden.solid import Solid, solid_of
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.views import View, ViewAxes, axes_of
from converter.geometry.vectors import Vec, cross, dot, rotate, scale, sub
from converter.job import Job, once_per_job
from converter.model.curve import Arc, Segment
from converter.model.run import Tube

if TYPE_CHECKING:
    from converter.arrays import Array
    from converter.exporters.paper.cells import Strips
    from converter.joints.model import Joint

#: A tube thinner than this on paper is drawn as one line, mm.
_ONE_LINE = 0.7
#: Greatest distance of a drawn line from the true one, mm of paper: half of it in each of two steps.
_CHORD = 0.01
#: The same for what is filled under the lines.
_SKIN = 0.05
#: Width of paper, mm.
_SHEET = 180.0
#: Pictures that are kept: a seventh of a megabyte each, of which a job of different tubes asks for none twice.
_MOST_PICTURES = 64
#: Decimals of mm, degrees and directions to which shapes are equal: far finer than a line on paper.
_DECIMALS = 7


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

    def view(self, name: str) -> View:
        """A view by its name."""
        return self.isometric if name == "isometric" else self.axes.named(name, self.tube.run)

    @cached_property
    def _outlines(self) -> dict[tuple[Vec, Vec, tuple[int, ...]], VisibleOutline]:
        return {}

    def look(self, views: Sequence[View]) -> None:
        """Work out side by side what pictures of several views will show: that takes much less time than one by one."""
        if 2.0 * self.reach * min(map(self._sheet_scale, views)) >= _ONE_LINE:  # else its line is drawn
            self.outlines(views, 0.0)

    def _sheet_scale(self, view: View) -> float:
        """Scale at which a view is as large as a sheet of paper, mm of paper per mm."""
        x0, y0, x1, y1 = self.bounds(view)
        return _SHEET / max(x1 - x0, y1 - y0, 1e-9)

    def outline(self, view: View, k: float) -> VisibleOutline:
        """What is seen of its solid in a view; see `outlines`."""
        return self.outlines([view], k)[0]

    def outlines(self, views: Sequence[View], k: float) -> list[VisibleOutline]:
        """What is seen of its solid, as `converter.exporters.pictures.hidden.outline.outlines`; worked out once.

        Args:
            views: from where.
            k: scale of the picture, mm of paper per mm. All that fit on a sheet of paper share one outline.
        """
        solid = self.solid
        assert solid is not None
        chords = [max(_CHORD / max(k, self._sheet_scale(view)), 1e-4) for view in views]
        keys = [(one.right, one.up, bend_steps(solid, chord)) for one, chord in zip(views, chords, strict=True)]
        new = [i for i, key in enumerate(keys) if key not in self._outlines]
        if new:
            axes = [(views[i].right, views[i].up) for i in new]
            found = outlines(solid, axes, [chords[i] for i in new])
            self._outlines.update(zip((keys[i] for i in new), found, strict=True))
        return [self._outlines[key] for key in keys]

    @cached_property
    def ways(self) -> list[Array]:
        """Points (n, 3) along each straight and arc of the centerline, near enough to draw."""
        return [points_of(segment) for segment in self.line]

    def chords(self, view: View) -> tuple[Array, Array]:
        """Both ends of every chord of the centerline in a view, (n, 2) each, mm."""
        a, b = chords_of(self.ways)
        return view.flats(a), view.flats(b)

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

    def way(self, points: Array) -> list[Point]:
        """Points (n, 3) on paper."""
        return (self.view.flats(points) * self.k + self.origin).tolist()  # type: ignore[no-any-return]

    @property
    def is_line(self) -> bool:
        """Whether it is so thin that its line is all that is drawn."""
        return 2.0 * self.half < _ONE_LINE

    def strips(self, shape: SketchShape) -> list[Strips]:
        """What the tube takes of the paper."""
        ends = [(shape.chords(self.view), 0.9 * self.half + 0.3)]
        if shape.solid is not None and not self.is_line:
            ends.append((shape.outline(self.view, self.k).chords, 0.3))
        return [(a * self.k + self.origin, b * self.k + self.origin, half) for (a, b), half in ends]


def draw(picture: Picture, shape: SketchShape, views: Sequence[Drawn], tight: frozenset[int], *, center: bool) -> None:
    """Draw a tube into a picture.

    Args:
        picture: to draw into.
        shape: the tube.
        views: how it comes on paper, once or more, all of one scale: what is seen is worked out side by side.
        tight: numbers of bends to be marked.
        center: whether the centerline is drawn too.
    """
    solid = shape.solid
    if solid is None or views[0].is_line:
        for drawn in views:
            for way, (_, bend) in zip(shape.ways, numbered(shape), strict=True):
                picture.stroke(drawn.way(way), "tight" if bend in tight else "tube")
        return
    found = shape.outlines([drawn.view for drawn in views], views[0].k)
    rows, near = [], []
    for one, drawn in zip(found, views, strict=True):
        covers = ((one.inside, _CHORD), (one.skin, _SKIN), (one.bores, _CHORD))
        for shapes, far in (*covers, ([line for line, _, _ in one.lines], _CHORD)):
            rows += [points * drawn.k + drawn.origin for points in shapes]
            near += [far] * len(shapes)
    simple = iter(simplified(rows, near))
    for one, drawn in zip(found, views, strict=True):
        for shapes, look in ((one.inside, "bore"), (one.skin, "skin"), (one.bores, "bore")):
            for _ in shapes:
                picture.fill([next(simple)], look)
        if center:
            for way in shape.ways:
                picture.stroke(drawn.way(way), "center")
        for _, role, piece in one.lines:
            wrong = solid.pieces[piece].bend in tight and role == "tube"
            picture.stroke(next(simple), "tight" if wrong else role)


def numbered(shape: SketchShape) -> list[tuple[Segment, int]]:
    """The straights and arcs in order, with the number of their bend; 0 for straights."""
    numbers = iter([i for i, bend in enumerate(shape.tube.run.table.bends, 1) if bend.clr is not None])
    return [(s, next(numbers) if isinstance(s, Arc) else 0) for s in shape.line]


def points_of(segment: Segment) -> Array:
    """Points (n, 3) along a straight or an arc, near enough to draw."""
    import numpy as np

    if not isinstance(segment, Arc):
        return np.array([segment.start, segment.end])
    n = max(4, round(segment.angle / 4.0))
    arm = np.subtract(segment.start, segment.center)
    turn = np.radians(segment.angle * np.arange(n + 1) / n)[:, None]
    return np.asarray(segment.center + arm * np.cos(turn) + np.cross(segment.normal, arm) * np.sin(turn))


def simplified(lines: Sequence[Any], near: Sequence[float]) -> list[list[Point]]:
    """Lines through fewer of their points (Ramer, Douglas and Peucker), all of them cut up at once.

    Args:
        lines: (n, 2) points of each.
        near: how far none of a line's points may be from it, for each line, in the unit of its points.
    """
    import numpy as np

    if not lines:
        return []
    rows = np.concatenate(lines)
    ends = np.cumsum([len(line) for line in lines])
    firsts = ends - [len(line) for line in lines]
    keep = np.zeros(len(rows), dtype=bool)
    keep[firsts] = keep[ends - 1] = True
    x, y = rows.T
    # spans of a line by the numbers of their ends, and the square of how far their points may be
    a, b, most = firsts, ends - 1, np.square(near)
    while (within := b - a > 1).any():
        a, b, most = a[within], b[within], most[within]
        counts = b - a - 1
        first = np.cumsum(counts) - counts
        span = np.repeat(np.arange(len(a)), counts)
        at = np.arange(len(span)) + (a + 1 - first)[span]
        dx, dy = x[b] - x[a], y[b] - y[a]
        square = dx * dx + dy * dy
        square[square == 0.0] = 1.0  # of no length, a span is a point: what lies along it is 0
        px, py, dx, dy = x[at] - x[a][span], y[at] - y[a][span], dx[span], dy[span]
        along = np.minimum(np.maximum((px * dx + py * dy) / square[span], 0.0), 1.0)
        px, py = px - along * dx, py - along * dy
        off = px * px + py * py
        worst = np.maximum.reduceat(off, first)
        farthest = np.flatnonzero(off == worst[span])
        middle = np.empty_like(a)
        middle[span[farthest[::-1]]] = at[farthest[::-1]]  # of several that are as far the first, which comes last here
        far = worst > most
        a, middle, b, most = a[far], middle[far], b[far], most[far]
        keep[middle] = True
        a, b, most = np.concatenate((a, middle)), np.concatenate((middle, b)), np.tile(most, 2)
    points = [(px, py) for px, py in rows[keep].tolist()]
    stops = np.cumsum(keep)[ends - 1].tolist()
    return [points[start:stop] for start, stop in zip([0, *stops], stops, strict=False)]


def _extremes(arc: Arc, axis: Vec) -> list[float]:
    """Angles in degrees from the start of an arc, within it, at which it runs square to an axis."""
    arm = scale(sub(arc.start, arc.center), 1.0 / arc.radius)
    ahead = cross(arc.normal, arm)
    a = atan2(dot(ahead, axis), dot(arm, axis)) * 180.0 / pi
    return [angle for turn in (-360.0, -180.0, 0.0, 180.0, 360.0) if 0.0 < (angle := a + turn) < arc.angle]


def _turned(v: Vec, arc: Arc, angle: float) -> Vec:
    return rotate(v, arc.normal, angle)


# --- one sketch for tubes of one shape --------------------------------------------------------
# A picture of a tube shows nothing of where the tube lies. So tubes of one shape, cut alike and turned alike, are drawn
# once; what is written around them is too where it is the same.


class Sketches:
    """What has been drawn already."""

    def __init__(self) -> None:
        self._shapes: dict[Hashable, SketchShape] = {}
        # by what was asked for, which is kept beside so that its ids stay its own
        self._by_id: dict[tuple[int, ...], tuple[Tube, tuple[Joint, ...], SketchShape]] = {}
        self._panels: dict[Hashable, Picture] = {}

    def shape(self, tube: Tube, joints: Sequence[Joint] = ()) -> SketchShape:
        """The shape of a tube, or of one before it that differs at most in its name and where it lies."""
        own = tuple(joint for joint in joints if joint.tube == tube.name)
        key = (id(tube), *map(id, own))
        if key not in self._by_id:
            shape = SketchShape.of(tube, own)
            self._by_id[key] = tube, own, self._shapes.setdefault(shape_key(shape), shape)
        return self._by_id[key][2]

    def panel(self, shape: SketchShape, writing: Hashable, draw: Callable[[], Picture]) -> Picture:
        """The picture of a shape with what is written around it.

        Args:
            shape: of these sketches.
            writing: all else that the picture depends on.
            draw: makes it, where there is none yet.
        """
        key = (id(shape), writing)
        picture = self._panels.pop(key, None)
        if picture is None:
            picture = draw()
        self._panels[key] = picture  # the latest asked for is the last
        if len(self._panels) > _MOST_PICTURES:
            del self._panels[next(iter(self._panels))]
        return picture


@once_per_job
def sketches_of(job: Job) -> Sketches:
    """The sketches of a job, for all that shows its tubes."""
    return Sketches()


def shape_key(shape: SketchShape) -> Hashable:
    """What two shapes have in common that look the same wherever they lie."""
    run = shape.tube.run
    place, table = run.placement, run.table
    numbers = [
        *place.direction,
        *place.normal,
        *(b - a for a, b in zip(run.start, run.end, strict=True)),
        *(size for bend in table.bends for size in (bend.feed, bend.rotation, bend.angle, bend.clr or -1.0)),
        table.tail,
    ]
    cuts: list[Hashable] = []
    for cut in () if shape.solid is None else shape.solid.cuts:
        rows = () if cut is None else (cut.angles, cut.outer, cut.bore)
        cuts.append(tuple((row.round(_DECIMALS) + 0.0).tobytes() for row in rows))
    even = tuple(round(number, _DECIMALS) + 0.0 for number in numbers)
    return shape.tube.section, run.closed, shape.solid is None, even, tuple(cuts)
